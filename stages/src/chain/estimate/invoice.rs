//! What an order comes to, in exact decimal arithmetic.
//!
//! Rounding: measured amounts come in rounded to 0.001 cm³, 0.01 cm² and 0.1 g. Every line of an invoice is rounded
//! to the currency's smallest unit, halves away from zero, and sums are made of rounded lines, so that they can be
//! checked by hand. The price for a piece, total over copies, is rounded once more and is for information.

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

use super::rates::{Finishing, Rates, Shipping};

/// What a piece measures, as far as it is charged for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Amounts {
    /// Printed material, cm³.
    pub(super) material: Decimal,
    /// The box around the piece, cm³.
    pub(super) bounds: Decimal,
    /// Outside surface, cm².
    pub(super) surface: Decimal,
    /// Weight, g.
    pub(super) weight: Decimal,
    /// In how many parts it comes, each of which is handled, finished and wrapped by itself.
    pub(super) parts: u32,
}

/// A line of the price for one copy: what it is, how it comes about, what it costs.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    pub(super) what: String,
    pub(super) how: String,
    pub(super) cost: Decimal,
}

/// One copy: its lines for printing and for finishing.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Lines {
    pub(super) print: Vec<Line>,
    pub(super) finishing: Vec<Line>,
}

/// What one copy costs before anything that depends on their number.
pub(super) fn lines_of_one(rates: &Rates, chosen: &[&Finishing], amounts: &Amounts) -> Lines {
    let line = |what: &str, parts: &[(Decimal, Decimal, &str)]| {
        let charged = parts.iter().filter(|(rate, ..)| !rate.is_zero()).map(|(rate, amount, unit)| {
            let rate = rates.currency.rate(*rate);
            if unit.is_empty() { rate } else { format!("{amount} {unit} × {rate}") }
        });
        let how = charged.collect::<Vec<_>>().join(" + ");
        let cost = parts.iter().map(|(rate, amount, _)| rate * amount).sum();
        Line { what: what.to_owned(), how, cost: rates.currency.round(cost) }
    };
    let print = &rates.print;
    let (parts, counted) = (Decimal::from(amounts.parts), if amounts.parts == 1 { "" } else { "parts" });
    let lines = [
        line("each copy", &[(print.per_part.0, parts, counted)]),
        line("material", &[(print.per_cm3_material.0, amounts.material, "cm³")]),
        line("box around the piece", &[(print.per_cm3_box.0, amounts.bounds, "cm³")]),
        line("outside surface", &[(print.per_cm2_surface.0, amounts.surface, "cm²")]),
    ];
    Lines {
        print: lines.into_iter().filter(|line| !line.how.is_empty()).collect(),
        finishing: chosen
            .iter()
            .map(|f| line(&f.name, &[(f.per_part.0, parts, counted), (f.per_cm2.0, amounts.surface, "cm²")]))
            .collect(),
    }
}

/// What an order of some copies comes to. Every amount is rounded to the currency's smallest unit.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Invoice {
    pub(super) copies: u32,
    /// Copies × the print lines of one.
    pub(super) print: Decimal,
    /// Copies × the finishing lines of one.
    pub(super) finishing: Decimal,
    /// Off the printing by the quantity break that is reached.
    pub(super) discount: Decimal,
    /// What is added to reach the minimum order.
    pub(super) top_up: Decimal,
    /// `None` if no parcel can carry a copy.
    pub(super) shipping: Option<Decimal>,
    pub(super) tax: Decimal,
    pub(super) total: Decimal,
    /// Total over copies.
    pub(super) each: Decimal,
    /// Working days, where the rates say.
    pub(super) days: Option<u32>,
}

/// What an order of so many copies (1 or more) comes to.
pub(super) fn invoice(rates: &Rates, chosen: &[&Finishing], amounts: &Amounts, copies: u32) -> Invoice {
    let round = |amount| rates.currency.round(amount);
    let one = lines_of_one(rates, chosen, amounts);
    let number = Decimal::from(copies);
    let sum = |lines: &[Line]| lines.iter().map(|line| line.cost).sum::<Decimal>();
    let print = number * sum(&one.print);
    let finishing = number * sum(&one.finishing);
    let discount = round(print * rates.off(copies) / Decimal::ONE_HUNDRED);
    let work = print + finishing - discount;
    let top_up = (round(rates.minimum_order.0) - work).max(Decimal::ZERO);
    let shipping = match &rates.shipping {
        Some(shipping) => parcels(shipping, amounts, copies).map(round),
        None => Some(Decimal::ZERO),
    };
    let net = work + top_up + shipping.unwrap_or_default();
    let tax = round(net * rates.tax.0 / Decimal::ONE_HUNDRED);
    let total = net + tax;
    let days = rates.lead_time.as_ref().map(|lead| lead.of(copies) + chosen.iter().map(|f| f.days).sum::<u32>());
    Invoice { copies, print, finishing, discount, top_up, shipping, tax, total, each: round(total / number), days }
}

/// What the wrapping of a copy weighs, in g.
pub(super) fn packaging(shipping: &Shipping, amounts: &Amounts) -> Decimal {
    shipping.packaging_g.0 * Decimal::from(amounts.parts)
}

/// What it costs to send so many copies: parcels as full as the heaviest step allows, then one with the rest. `None` if a
/// single copy is too heavy, with the wrapping of all its parts.
fn parcels(shipping: &Shipping, amounts: &Amounts, copies: u32) -> Option<Decimal> {
    let each = (amounts.weight + packaging(shipping, amounts)) / Decimal::ONE_THOUSAND;
    let price = |copies: u32| {
        let parcel = each * Decimal::from(copies);
        shipping.steps.iter().find(|step| parcel <= step.up_to_kg.0).map(|step| step.price.0)
    };
    let heaviest = shipping.steps.last()?.up_to_kg.0;
    let fit = if each.is_zero() { copies } else { (heaviest / each).floor().to_u32().unwrap_or(u32::MAX).min(copies) };
    if fit == 0 {
        return None;
    }
    let (full, rest) = (copies / fit, copies % fit);
    let last = if rest == 0 { Decimal::ZERO } else { price(rest)? };
    Some(Decimal::from(full) * price(fit)? + last)
}
