//! `estimate`: what the piece will cost, from a rate file.
//!
//! Printing is priced by the volume of material, by the box around the piece, by its outside surface and by the copy;
//! then come finishing, quantity breaks, the minimum order, shipping by weight, and tax. Money is decimal from the
//! file to the page; see [`invoice`] for where it is rounded. A piece with a void is priced solid as well.
//!
//! Facts: `printed material`, `box`, `outside surface`, `weight`, `price` (the first entry of `copies`, all in),
//! `lead time`, `rates`, and the tables `parts of the price`, `cost by copies` and `hollow beside solid`.

mod invoice;
mod rates;

use std::str::FromStr;

use rust_decimal::Decimal;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Side;
use crate::findings::{Fact, Finding, Unit, Value};
use crate::solid::Cells;
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::void::Void;
use crate::workpiece::{Part, Workpiece};
use invoice::{Amounts, Invoice, copy, invoice};
use rates::{Currency, Finishing, Rates};

/// What the piece will cost, by number of copies.
#[derive(Clone, Copy, Debug)]
pub struct Estimate;

/// The most copies that are priced, and the most numbers of copies in a table.
const MOST_COPIES: u32 = 10_000;
const MOST_ROWS: usize = 24;

/// The largest volume (cm³), surface (cm²) or weight (g) that is priced: with the bounds of a rate file every product
/// stays within 28 digits.
const LARGEST: f64 = 1e9;

/// Settings of `estimate`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// The rate file: a bureau's price list.
    pub rates: String,
    /// Numbers of copies to price, each from 1 to 10 000; the first is the price of the piece.
    #[serde(default = "one_copy")]
    pub copies: Vec<u32>,
    /// Finishing to price, by the names in the rate file; left out, what the rate file calls usual.
    #[serde(default)]
    pub finishing: Option<Vec<String>>,
}

fn one_copy() -> Vec<u32> {
    vec![1]
}

impl Stage for Estimate {
    type Settings = Settings;
    const NAME: &'static str = "estimate";
    const PURPOSE: &'static str = "Says what the piece will cost, by number of copies, from a bureau's rate file";
    const VERSION: u32 = 1;

    fn needs(_: &Settings) -> Vec<Part> {
        vec![Part::Cells]
    }

    fn gives(_: &Settings) -> Vec<Part> {
        Vec::new()
    }

    fn files(settings: &Settings) -> Vec<String> {
        vec![settings.rates.clone()]
    }

    fn check(settings: &Settings, shop: &Shop<'_>) -> Result<(), Misfit> {
        check_copies(&settings.copies)?;
        chosen(settings, &read(settings, shop)?).map(drop)
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        check_copies(&settings.copies)?;
        let rates = read(settings, shop)?;
        let chosen = chosen(settings, &rates)?;
        let cells =
            piece.cells.as_deref().ok_or_else(|| Misfit::new("", "there are no cells", "run voxelise before"))?;
        let printed = measure(cells, piece.void.as_deref(), shop)?;
        let invoices: Vec<Invoice> = settings.copies.iter().map(|&n| invoice(&rates, &chosen, &printed, n)).collect();

        say_amounts(shop, &printed);
        say_price(shop, &rates, &chosen, &printed, &invoices);
        if piece.void.is_some() {
            let solid = measure(cells, None, shop)?;
            let prices = [&printed, &solid].map(|amounts| invoice(&rates, &chosen, amounts, 1));
            shop.fact(hollow_beside_solid(&rates.currency, [&printed, &solid], &prices));
        }
        warn(shop, &rates, &chosen, &printed, &invoices);
        Ok(piece)
    }
}

fn check_copies(copies: &[u32]) -> Result<(), Misfit> {
    let remedy = "give numbers of copies such as [1, 5, 10]";
    if copies.is_empty() || copies.len() > MOST_ROWS {
        let message = format!("needs 1 to {MOST_ROWS} numbers of copies, not {}", copies.len());
        return Err(Misfit::new("copies", message, remedy));
    }
    match copies.iter().position(|n| !(1..=MOST_COPIES).contains(n)) {
        Some(i) => {
            let message = format!("must be from 1 to {MOST_COPIES}, not {}", copies[i]);
            Err(Misfit::new(format!("copies[{i}]"), message, remedy))
        }
        None => Ok(()),
    }
}

fn read(settings: &Settings, shop: &Shop<'_>) -> Result<Rates, Misfit> {
    Rates::read(shop.file(&settings.rates)).map_err(|wrong| {
        Misfit::new("rates", format!("the rate file {}: {wrong}", settings.rates), "correct the rate file")
    })
}

/// The finishing that is priced.
fn chosen<'a>(settings: &Settings, rates: &'a Rates) -> Result<Vec<&'a Finishing>, Misfit> {
    let Some(names) = &settings.finishing else {
        return Ok(rates.finishing.iter().filter(|option| option.usual).collect());
    };
    let mut chosen = Vec::with_capacity(names.len());
    for (i, name) in names.iter().enumerate() {
        let setting = format!("finishing[{i}]");
        let Some(option) = rates.finishing.iter().find(|option| option.name == *name) else {
            let known: Vec<_> = rates.finishing.iter().map(|option| format!("'{}'", option.name)).collect();
            let message = format!("'{name}' is not in the rate file {}", settings.rates);
            let remedy =
                if known.is_empty() { "leave it out".to_owned() } else { format!("known: {}", known.join(", ")) };
            return Err(Misfit::new(setting, message, remedy));
        };
        if names[..i].contains(name) {
            return Err(Misfit::new(setting, format!("'{name}' stands there twice"), "name it once"));
        }
        chosen.push(option);
    }
    Ok(chosen)
}

/// What the piece measures, with its void or, given `None`, as if it were solid.
fn measure(cells: &Cells, void: Option<&Void>, shop: &Shop<'_>) -> Result<Amounts, Misfit> {
    let edge = cells.grid().cell / 10.0;
    let solid = cells.count() as f64 * edge.powi(3);
    let material = void.map_or(solid, |void| hollow_material(solid, edge, void, shop));
    let faces = Side::ALL.iter().map(|&side| outside_faces(cells, void, side)).sum::<usize>();
    let bounds = cells.extent().map_or(0.0, |[lo, hi]| (hi - lo + 1).as_dvec3().element_product() * edge.powi(3));
    let material = measured(material, 3)?;
    // The process file's figure as it was written there.
    let density = Decimal::from_str(&shop.process().density.value.to_string()).unwrap_or_default();
    Ok(Amounts {
        material,
        bounds: measured(bounds, 3)?,
        surface: measured(faces as f64 * edge.powi(2), 2)?,
        weight: (material * density).round_dp_with_strategy(1, rust_decimal::RoundingStrategy::MidpointAwayFromZero),
    })
}

/// Material of a piece with a void, in cm³: what `validate` measured on the ordered file, or what `hollow` says, or else
/// the solid less the cells of shafts and cavity.
fn hollow_material(solid: f64, edge: f64, void: &Void, shop: &Shop<'_>) -> f64 {
    // A stage before the void was made may have said a volume of its own: more than the solid it can't be.
    let said = ["volume", "material"].into_iter().filter_map(|name| cm3(shop.known(name)?)).find(|&v| v <= solid);
    said.unwrap_or_else(|| {
        let fine = edge / f64::from(void.per_cell);
        solid - void.shafts.count() as f64 * edge.powi(3) - void.cavity.count() as f64 * fine.powi(3)
    })
}

fn cm3(fact: &Fact) -> Option<f64> {
    match (&fact.value, fact.unit) {
        (Value::Number(volume), Some(Unit::Cm3)) => Some(*volume),
        (Value::Number(volume), Some(Unit::Mm3)) => Some(*volume / 1000.0),
        _ => None,
    }
}

/// Cube faces to a side that are there to be seen and handled: those of shafts are cut away.
fn outside_faces(cells: &Cells, void: Option<&Void>, side: Side) -> usize {
    let there =
        |&cell: &glam::IVec3| !cells.solid(cell + side.step()) && !void.is_some_and(|void| void.shafts.solid(cell));
    cells.iter().filter(there).count()
}

/// A measured amount as a decimal with so many digits behind the point.
fn measured(amount: f64, digits: usize) -> Result<Decimal, Misfit> {
    let text = format!("{amount:.digits$}");
    Decimal::from_str(&text).ok().filter(|_| (0.0..=LARGEST).contains(&amount)).ok_or_else(|| {
        let message = format!("the piece measures {text} cm³ or cm², which is outside what can be priced");
        Misfit::new("", message, "check the piece's size")
    })
}

fn say_amounts(shop: &mut Shop<'_>, printed: &Amounts) {
    let number = |amount: Decimal| f64::from_str(&amount.to_string()).unwrap_or_default();
    shop.fact(Fact::number("printed material", number(printed.material), Unit::Cm3));
    shop.fact(Fact::number("box", number(printed.bounds), Unit::Cm3));
    shop.fact(Fact::number("outside surface", number(printed.surface), Unit::Cm2));
    shop.fact(Fact::number("weight", number(printed.weight), Unit::Gram));
}

fn say_price(shop: &mut Shop<'_>, rates: &Rates, chosen: &[&Finishing], printed: &Amounts, invoices: &[Invoice]) {
    let terms = rates.valid.as_ref().map_or(String::new(), |valid| format!("; valid {valid}"));
    shop.fact(Fact::text("rates", format!("{}: {}{terms}", rates.name, rates.basis)));
    let money = &rates.currency;
    if let Some(first) = invoices.first() {
        let amount = Value::Money { amount: money.text(first.total), currency: money.code().to_owned() };
        shop.fact(Fact { name: "price".to_owned(), value: amount, unit: None });
        if let Some(days) = first.days {
            shop.fact(Fact::whole("lead time", days as usize, Unit::WorkingDays));
        }
        shop.fact(parts_of_the_price(rates, chosen, printed, first));
    }
    shop.fact(cost_by_copies(rates, invoices));
}

/// How the price of the first number of copies comes about, line by line.
fn parts_of_the_price(rates: &Rates, chosen: &[&Finishing], printed: &Amounts, order: &Invoice) -> Fact {
    let money = &rates.currency;
    let row = |what: &str, how: String, cost: Decimal| vec![what.to_owned(), how, money.text(cost)];
    let one = copy(rates, chosen, printed);
    let number = Decimal::from(order.copies);
    let times = |how: &str| if order.copies == 1 { how.to_owned() } else { format!("{} × ({how})", order.copies) };
    let mut rows: Vec<_> =
        one.print.iter().chain(&one.finishing).map(|l| row(&l.what, times(&l.how), number * l.cost)).collect();
    if !order.discount.is_zero() {
        let how = format!("{} % off {}", rates.off(order.copies), money.text(order.print));
        rows.push(row("quantity break", how, -order.discount));
    }
    if !order.top_up.is_zero() {
        let how = format!("up to {}", money.text(rates.minimum_order.0));
        rows.push(row("minimum order", how, order.top_up));
    }
    match (&rates.shipping, order.shipping) {
        (Some(shipping), Some(cost)) => {
            let how = times(&format!("{} g + {} g packaging", printed.weight, shipping.packaging_g.0));
            rows.push(row("shipping", how, cost));
        }
        (Some(_), None) => {
            rows.push(vec!["shipping".to_owned(), "too heavy for every parcel".to_owned(), "?".to_owned()]);
        }
        (None, _) => {}
    }
    if !rates.tax.0.is_zero() {
        rows.push(row("tax", format!("{} % of {}", rates.tax.0, money.text(order.total - order.tax)), order.tax));
    }
    let copies = if order.copies == 1 { "1 copy".to_owned() } else { format!("{} copies", order.copies) };
    rows.push(row("total", copies, order.total));
    Fact::table("parts of the price", &["part", "how it comes about", money.code()], rows)
}

fn cost_by_copies(rates: &Rates, invoices: &[Invoice]) -> Fact {
    let money = &rates.currency;
    let headings = ["print", "finishing", "discount", "minimum top-up", "shipping", "tax", "total", "each"]
        .map(|heading| format!("{heading} ({})", money.code()));
    let columns: Vec<&str> = std::iter::once("copies")
        .chain(headings.iter().map(String::as_str))
        .chain(rates.lead_time.as_ref().map(|_| "working days"))
        .collect();
    let rows = invoices.iter().map(|order| {
        let shipping = order.shipping.map_or_else(|| "?".to_owned(), |cost| money.text(cost));
        let mut row = vec![order.copies.to_string()];
        row.extend([order.print, order.finishing, -order.discount, order.top_up].map(|amount| money.text(amount)));
        row.push(shipping);
        row.extend([order.tax, order.total, order.each].map(|amount| money.text(amount)));
        row.extend(order.days.map(|days| days.to_string()));
        row
    });
    Fact::table("cost by copies", &columns, rows.collect())
}

fn hollow_beside_solid(money: &Currency, [hollow, solid]: [&Amounts; 2], prices: &[Invoice; 2]) -> Fact {
    let row = |what: &str, hollow: Decimal, solid: Decimal, text: &dyn Fn(Decimal) -> String| {
        let saved = solid - hollow;
        let share = if solid.is_zero() { Decimal::ZERO } else { saved * Decimal::ONE_HUNDRED / solid };
        vec![what.to_owned(), text(hollow), text(solid), text(saved), format!("{:.0}", share.round())]
    };
    let plain = |amount: Decimal| amount.to_string();
    let priced = |amount: Decimal| money.text(amount);
    let price = format!("price of one copy ({})", money.code());
    let rows = vec![
        row("material (cm³)", hollow.material, solid.material, &plain),
        row("weight (g)", hollow.weight, solid.weight, &plain),
        row(&price, prices[0].total, prices[1].total, &priced),
    ];
    Fact::table("hollow beside solid", &["", "hollow", "solid", "saved", "saved (%)"], rows)
}

/// Says what the prices rest on, and what to look at before ordering.
fn warn(shop: &mut Shop<'_>, rates: &Rates, chosen: &[&Finishing], printed: &Amounts, invoices: &[Invoice]) {
    let money = &rates.currency;
    shop.finding(Finding::note(
        "rates-basis",
        format!("The prices come from \"{}\": {}.", rates.name, rates.basis),
        "Ask the bureau for a binding offer before ordering.",
    ));
    if let (Some(shipping), true) = (&rates.shipping, invoices.iter().any(|order| order.shipping.is_none())) {
        let heaviest = shipping.steps.last().map_or(Decimal::ZERO, |step| step.up_to_kg.0);
        shop.finding(Finding::caution(
            "parcel-too-heavy",
            format!(
                "One copy weighs {} g and its packaging {} g; the rate file ships parcels of up to {heaviest} kg. \
                 Shipping is not in the price.",
                printed.weight, shipping.packaging_g.0
            ),
            "Ask for a price by freight, lower hollow.wall or the scale, or add a step under shipping.steps in the \
             rate file. Lift a heavy piece with two people.",
        ));
    }
    for order in invoices {
        let Some(next) = rates.breaks.iter().find(|step| step.from > order.copies && step.from <= MOST_COPIES) else {
            continue;
        };
        let more = invoice(rates, chosen, printed, next.from);
        if more.total < order.total && more.shipping.is_some() == order.shipping.is_some() {
            shop.finding(Finding::note(
                "more-for-less",
                format!(
                    "{} copies come to {} {}, less than {} copies at {} {}.",
                    more.copies,
                    money.text(more.total),
                    money.code(),
                    order.copies,
                    money.text(order.total),
                    money.code()
                ),
                format!("Order {} copies.", more.copies),
            ));
        }
    }
}

#[cfg(test)]
mod tests;
