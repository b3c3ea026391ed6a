//! What is told about the price: facts with their tables, and findings.

use std::str::FromStr;

use rust_decimal::Decimal;

use super::MOST_COPIES;
use super::invoice::{Amounts, Invoice, invoice, lines_of_one, packaging};
use super::rates::{Finishing, Rates};
use crate::findings::{Fact, Finding, Unit, Value};
use crate::stage::Shop;

/// In the place of an amount that the rate file can't tell.
const UNKNOWN: &str = "?";

/// The invoices for some numbers of copies, with what they rest on.
pub(super) struct Account<'a> {
    rates: &'a Rates,
    chosen: &'a [&'a Finishing],
    printed: &'a Amounts,
    orders: Vec<Invoice>,
}

impl<'a> Account<'a> {
    /// Works out the invoices.
    pub(super) fn new(rates: &'a Rates, chosen: &'a [&'a Finishing], printed: &'a Amounts, copies: &[u32]) -> Self {
        let orders = copies.iter().map(|&n| invoice(rates, chosen, printed, n)).collect();
        Self { rates, chosen, printed, orders }
    }

    /// Says every fact and finding; `solid` is what a hollow piece would measure without its void.
    pub(super) fn tell(&self, shop: &mut Shop<'_>, solid: Option<&Amounts>) {
        let amounts = [
            ("printed material", self.printed.material, Unit::Cm3),
            ("box", self.printed.bounds, Unit::Cm3),
            ("outside surface", self.printed.surface, Unit::Cm2),
            ("weight", self.printed.weight, Unit::Gram),
        ];
        for (name, amount, unit) in amounts {
            shop.fact(Fact::number(name, f64::from_str(&amount.to_string()).unwrap_or_default(), unit));
        }
        shop.fact(Fact::text("rates", self.terms()));
        if let Some(first) = self.orders.first() {
            shop.fact(self.price(first));
            if let Some(days) = first.days {
                shop.fact(Fact::whole("lead time", days as usize, Unit::WorkingDays));
            }
            shop.fact(self.parts_of_the_price(first));
        }
        shop.fact(self.cost_by_copies());
        if let Some(solid) = solid {
            shop.fact(self.hollow_beside_solid(solid));
        }
        shop.finding(self.basis());
        self.too_heavy().into_iter().chain(self.more_for_less()).for_each(|finding| shop.finding(finding));
    }

    fn money(&self, amount: Decimal) -> String {
        self.rates.currency.text(amount)
    }

    /// The name of the price list and what it rests on.
    fn terms(&self) -> String {
        let valid = self.rates.valid.as_ref().map_or(String::new(), |valid| format!("; valid {valid}"));
        format!("{}: {}{valid}", self.rates.name, self.rates.basis)
    }

    fn price(&self, order: &Invoice) -> Fact {
        let currency = self.rates.currency.code().to_owned();
        let value = Value::Money { amount: self.money(order.total), currency };
        Fact { name: "price".to_owned(), value, unit: None }
    }

    /// How the price of an order comes about, line by line.
    fn parts_of_the_price(&self, order: &Invoice) -> Fact {
        let row = |what: &str, how: String, cost: Decimal| vec![what.to_owned(), how, self.money(cost)];
        let times = |how: &str| if order.copies == 1 { how.to_owned() } else { format!("{} × ({how})", order.copies) };
        let one = lines_of_one(self.rates, self.chosen, self.printed);
        let mut rows: Vec<_> = one
            .print
            .iter()
            .chain(&one.finishing)
            .map(|line| row(&line.what, times(&line.how), Decimal::from(order.copies) * line.cost))
            .collect();
        if !order.discount.is_zero() {
            let how = format!("{} % off {}", self.rates.off(order.copies), self.money(order.print));
            rows.push(row("quantity break", how, -order.discount));
        }
        if !order.top_up.is_zero() {
            let how = format!("up to {}", self.money(self.rates.minimum_order.0));
            rows.push(row("minimum order", how, order.top_up));
        }
        if let Some(shipping) = &self.rates.shipping {
            let wrapping = packaging(shipping, self.printed);
            let weight = times(&format!("{} g + {wrapping} g packaging", self.printed.weight));
            rows.push(vec!["shipping".to_owned(), weight, self.shipping(order)]);
        }
        if !order.tax.is_zero() {
            let how = format!("{} % of {}", self.rates.tax.0, self.money(order.total - order.tax));
            rows.push(row("tax", how, order.tax));
        }
        let copies = if order.copies == 1 { "1 copy".to_owned() } else { format!("{} copies", order.copies) };
        rows.push(row("total", copies, order.total));
        Fact::table("parts of the price", &["part", "how it comes about", self.rates.currency.code()], rows)
    }

    fn shipping(&self, order: &Invoice) -> String {
        order.shipping.map_or_else(|| UNKNOWN.to_owned(), |cost| self.money(cost))
    }

    fn cost_by_copies(&self) -> Fact {
        let headings = ["print", "finishing", "discount", "minimum top-up", "shipping", "tax", "total", "each"]
            .map(|heading| format!("{heading} ({})", self.rates.currency.code()));
        let columns: Vec<&str> = std::iter::once("copies")
            .chain(headings.iter().map(String::as_str))
            .chain(self.rates.lead_time.as_ref().map(|_| "working days"))
            .collect();
        let row = |order: &Invoice| {
            let mut row = vec![order.copies.to_string()];
            row.extend([order.print, order.finishing, -order.discount, order.top_up].map(|amount| self.money(amount)));
            row.push(self.shipping(order));
            row.extend([order.tax, order.total, order.each].map(|amount| self.money(amount)));
            row.extend(order.days.map(|days| days.to_string()));
            row
        };
        Fact::table("cost by copies", &columns, self.orders.iter().map(row).collect())
    }

    /// One copy as it is and as it would be without its void.
    fn hollow_beside_solid(&self, solid: &Amounts) -> Fact {
        let [hollow_order, solid_order] =
            [self.printed, solid].map(|amounts| invoice(self.rates, self.chosen, amounts, 1));
        let plain = |amount: Decimal| amount.to_string();
        let money = |amount: Decimal| self.money(amount);
        let mut price = comparison(
            format!("price of one copy ({})", self.rates.currency.code()),
            [hollow_order.total, solid_order.total],
            &money,
        );
        // Prices compare only if shipping is in both or in neither.
        if hollow_order.shipping.is_some() != solid_order.shipping.is_some() {
            price[2] = format!("{} without shipping", price[2]);
            price[3..].fill(UNKNOWN.to_owned());
        }
        let rows = vec![
            comparison("material (cm³)".to_owned(), [self.printed.material, solid.material], &plain),
            comparison("weight (g)".to_owned(), [self.printed.weight, solid.weight], &plain),
            price,
        ];
        Fact::table("hollow beside solid", &["", "hollow", "solid", "saved", "saved (%)"], rows)
    }

    fn basis(&self) -> Finding {
        Finding::note(
            "rates-basis",
            format!("The prices come from \"{}\": {}.", self.rates.name, self.rates.basis),
            "Ask the bureau for a binding offer before ordering.",
        )
    }

    fn too_heavy(&self) -> Option<Finding> {
        let shipping = self.rates.shipping.as_ref()?;
        self.orders.iter().find(|order| order.shipping.is_none())?;
        let heaviest = shipping.steps.last()?.up_to_kg.0;
        Some(Finding::caution(
            "parcel-too-heavy",
            format!(
                "One copy weighs {} g and its packaging {} g; the rate file ships parcels of up to {heaviest} kg. \
                 Shipping is not in the price.",
                self.printed.weight,
                packaging(shipping, self.printed)
            ),
            "Ask for a price by freight, make the piece lighter with hollow or scale, or add a step under \
             shipping.steps in the rate file. Take a second person to lift a heavy piece.",
        ))
    }

    /// For each order that costs more than one of the number of copies at which the next quantity break is reached.
    fn more_for_less(&self) -> impl Iterator<Item = Finding> {
        self.orders.iter().filter_map(|order| {
            let next = self.rates.breaks.iter().map(|step| step.from).find(|&from| from > order.copies)?;
            let more = invoice(self.rates, self.chosen, self.printed, next.min(MOST_COPIES));
            (more.copies == next && more.total < order.total).then(|| {
                let [more_costs, costs] =
                    [&more, order].map(|o| format!("{} {}", self.money(o.total), self.rates.currency.code()));
                Finding::note(
                    "more-for-less",
                    format!("{next} copies come to {more_costs}, less than {} copies at {costs}.", order.copies),
                    format!("Order {next} copies."),
                )
            })
        })
    }
}

/// A row of the hollow piece beside the solid one.
fn comparison(what: String, [hollow, solid]: [Decimal; 2], text: &dyn Fn(Decimal) -> String) -> Vec<String> {
    let saved = solid - hollow;
    let share = if solid.is_zero() { Decimal::ZERO } else { saved * Decimal::ONE_HUNDRED / solid };
    vec![what, text(hollow), text(solid), text(saved), format!("{:.0}", share.round())]
}
