//! The sheets that go with an order: what to print and how to treat it, for the bureau; how to care for it, for the client; a
//! label for the parcel and the shelf. Drawn from the record and its artefacts alone.
//!
//! What they guarantee, each with its test in `tests/package.rs`:
//!
//! - A sheet asks for nothing and runs no script, and its content security policy says so. No text of the record becomes
//!   markup.
//! - Everything that the record knows stands there with its figure; what nobody knows yet is a line to fill in.
//! - Every caution of the record is on the order sheet: the bureau should know.

mod arrival;
mod client;
mod colours;
mod handling;
mod label;
mod order;
mod packing;
mod request;

use std::fmt;

pub use request::{Amiss, PackageRequest, Paper};
use turnhue_stages::findings::{Fact, Unit, Value};

use crate::facts::Grid;
use crate::record::{File, Record, Verdict};
use crate::said;

/// The order sheet's file name.
pub const ORDER_SHEET: &str = "order-sheet.html";
/// The client sheet's.
pub const CLIENT_SHEET: &str = "client-sheet.html";
/// The label's, as a drawing and as a page to print.
pub const LABEL: [&str; 2] = ["label.svg", "label.html"];

/// A sheet that was drawn.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Its file name in the package.
    pub name: &'static str,
    /// What it is, in a few words for people.
    pub what: &'static str,
    /// It, as HTML or SVG.
    pub text: String,
}

/// A file that is ordered, with the digest that a record has not.
#[derive(Clone, Copy, Debug)]
pub struct Ordered<'a> {
    /// The file.
    pub file: &'a File,
    /// SHA-256 of its content, in hexadecimal: what most systems can reckon without further programs.
    pub sha256: &'a str,
}

/// The files that a run makes to be ordered, in order.
#[must_use]
pub fn ordered_files(record: &Record) -> Vec<&File> {
    let artefacts = || record.stages.iter().rev().flat_map(|stage| &stage.artefacts);
    record.order.iter().filter_map(|name| artefacts().find(|file| file.name == *name)).collect()
}

/// Why sheets could not be drawn.
#[derive(Debug)]
pub enum Undrawn {
    /// The piece should not be ordered as it is, or makes no file to order.
    NotReady,
    /// A sheet cannot be put together, which no record can cause.
    Template(askama::Error),
}

impl fmt::Display for Undrawn {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotReady => f.write_str("the piece is not ready to order"),
            Self::Template(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for Undrawn {}

impl From<askama::Error> for Undrawn {
    fn from(error: askama::Error) -> Self {
        Self::Template(error)
    }
}

/// Draws the sheets of an order, for a piece that is ready for it. `ordered` has each of [`ordered_files`]; `pictures` gives the
/// bytes of an artefact by its name in the run folder, as for [`crate::summary::draw`].
///
/// # Errors
/// See [`Undrawn`].
pub fn draw(
    record: &Record,
    ordered: &[Ordered<'_>],
    pictures: &dyn Fn(&str) -> Option<Vec<u8>>,
) -> Result<Vec<Sheet>, Undrawn> {
    if record.verdict != Verdict::ReadyToOrder || ordered.is_empty() {
        return Err(Undrawn::NotReady);
    }
    let [label, labels] = label::draw(record, ordered)?;
    let sheet = |name, what, text| Sheet { name, what, text };
    Ok(vec![
        sheet(ORDER_SHEET, "the sheet for the bureau", order::draw(record, ordered, pictures)?),
        sheet(CLIENT_SHEET, "the sheet for the client", client::draw(record, ordered, pictures)?),
        sheet(LABEL[0], "the label", label),
        sheet(LABEL[1], "the label, to print", labels),
    ])
}

/// The last fact of that name that any stage said: it knows best.
fn fact<'a>(record: &'a Record, name: &str) -> Option<&'a Fact> {
    record.stages.iter().flat_map(|stage| &stage.facts).rfind(|fact| fact.name == name)
}

/// The value of that fact, with its unit.
fn value(record: &Record, name: &str) -> Option<String> {
    fact(record, name).map(said::value)
}

/// The number of that fact, where it is one and has that unit.
fn number(record: &Record, name: &str, unit: Unit) -> Option<f64> {
    let fact = fact(record, name).filter(|fact| fact.unit == Some(unit))?;
    match fact.value {
        Value::Number(number) if number.is_finite() => Some(number),
        _ => None,
    }
}

/// The table of that name.
fn table<'a>(record: &'a Record, name: &str) -> Option<Grid<'a>> {
    record
        .stages
        .iter()
        .rev()
        .flat_map(|stage| stage.facts.iter().rev())
        .filter(|fact| fact.name == name)
        .find_map(Grid::of)
}

/// Width, depth and height of the piece in mm.
fn size(record: &Record) -> Option<[f64; 3]> {
    match fact(record, "size").map(|fact| (&fact.value, fact.unit))? {
        (Value::Triple(size), Some(Unit::Mm)) => Some(*size).filter(|size| size.iter().all(|edge| *edge > 0.0)),
        _ => None,
    }
}

/// A count with its noun: `1 copy`, `3 copies`.
fn counted(count: usize, one: &str, many: &str) -> String {
    let number = crate::numbers::whole(i64::try_from(count).unwrap_or(i64::MAX));
    format!("{number} {}", if count == 1 { one } else { many })
}
