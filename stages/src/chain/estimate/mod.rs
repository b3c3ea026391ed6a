//! `estimate`: what the piece will cost, from a rate file.
//!
//! Printing is priced by the volume of material, by the box around the piece, by its outside surface and by the copy;
//! then come finishing, quantity breaks, the minimum order, shipping by weight, and tax. Money is decimal from the
//! file to the page; `invoice` says where it is rounded. A piece with a void is priced solid as well. A divided piece is priced
//! part by part: each has its own handling, box, finishing and wrapping, and a copy is all of them.
//!
//! Facts: `printed material`, `box`, `outside surface`, `weight`, `price` (the first entry of `copies`, all in),
//! `lead time`, `rates`, and the tables `parts of the price`, `cost by copies` and `hollow beside solid`.

mod account;
mod invoice;
mod measure;
mod rates;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::division::Division;
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::workpiece::{Part, Workpiece};
use account::Account;
use invoice::Amounts;
use measure::{measure, measure_parts};
use rates::{Finishing, Rates};

/// What the piece will cost, by number of copies.
#[derive(Clone, Copy, Debug)]
pub struct Estimate;

/// The most copies that are priced, and the most numbers of copies in a table.
const MOST_COPIES: u32 = 10_000;
const MOST_ROWS: usize = 24;

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
    const PURPOSE: &'static str = "says what the piece will cost, by number of copies, from a bureau's rate file";
    const VERSION: u32 = 2;
    const NEEDS: &'static [Part] = &[Part::Cells];
    const GIVES: &'static [Part] = &[];

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
        let cells = piece.cells().expect("the plan saw to it");
        let parts = piece.division().and_then(Division::parts);
        let printed = match parts {
            Some(parts) => measure_parts(parts, shop)?,
            None => measure(cells, piece.void(), shop)?,
        };
        // As many parts, without their voids.
        let solid = piece.void().map(|_| measure(cells, None, shop)).transpose()?;
        let solid = solid.map(|solid| Amounts { parts: printed.parts, ..solid });
        Account::new(&rates, &chosen, &printed, &settings.copies).tell(shop, solid.as_ref());
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

#[cfg(test)]
mod tests;
