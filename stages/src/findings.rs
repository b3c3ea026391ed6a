//! What a stage says about the piece: facts (named numbers with a unit) and findings (what is wrong, where, and what
//! to do about it).

use glam::DVec3;
use serde::{Deserialize, Serialize};

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing.
    Note,
    /// The piece can be ordered, but look at this first.
    Caution,
    /// The piece must not be ordered as it is.
    Fault,
}

/// A place on the piece.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Millimetres, in the coordinates of the ordered file.
    pub mm: [f64; 3],
    /// The cell, counted from the grid's lowest corner, where one is meant.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cell: Option<[i32; 3]>,
}

impl Place {
    /// A point in millimetres.
    #[must_use]
    pub fn at(mm: DVec3) -> Self {
        Self { mm: mm.to_array(), cell: None }
    }
}

/// Something found out about the piece: what it is, where, what it means, what to do.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    /// Fault, caution or note.
    pub severity: Severity,
    /// A short stable name, such as `wall-too-thin`, for scripts and for looking it up.
    pub code: String,
    /// What was found and what it means for the piece, in a sentence or two, with numbers.
    pub message: String,
    /// What to do about it; names the setting that helps.
    pub remedy: String,
    /// Where; empty when it concerns the whole piece.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub places: Vec<Place>,
    /// The artefact that shows the place: the name of a PNG in the run folder.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub picture: Option<String>,
}

impl Finding {
    /// A fault: the piece must not be ordered as it is.
    pub fn fault(code: &str, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::new(Severity::Fault, code, message.into(), remedy.into())
    }

    /// A caution: look at this before ordering.
    pub fn caution(code: &str, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::new(Severity::Caution, code, message.into(), remedy.into())
    }

    /// A note: worth knowing.
    pub fn note(code: &str, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self::new(Severity::Note, code, message.into(), remedy.into())
    }

    fn new(severity: Severity, code: &str, message: String, remedy: String) -> Self {
        Self { severity, code: code.to_owned(), message, remedy, places: Vec::new(), picture: None }
    }

    /// Says where.
    #[must_use]
    pub fn at(mut self, places: impl IntoIterator<Item = Place>) -> Self {
        self.places.extend(places);
        self
    }

    /// Shows where, by the name of an artefact.
    #[must_use]
    pub fn pictured(mut self, artefact: String) -> Self {
        self.picture = Some(artefact);
        self
    }
}

/// The unit of a fact.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Unit {
    /// Millimetres.
    #[serde(rename = "mm")]
    Mm,
    /// Square millimetres.
    #[serde(rename = "mm²")]
    Mm2,
    /// Cubic millimetres.
    #[serde(rename = "mm³")]
    Mm3,
    /// Cubic centimetres.
    #[serde(rename = "cm³")]
    Cm3,
    /// Square centimetres.
    #[serde(rename = "cm²")]
    Cm2,
    /// Grams.
    #[serde(rename = "g")]
    Gram,
    /// Newtons.
    #[serde(rename = "N")]
    Newton,
    /// Megapascals: newtons a square millimetre.
    #[serde(rename = "MPa")]
    Megapascal,
    /// Per cent.
    #[serde(rename = "%")]
    Percent,
    /// Cells of the solid.
    #[serde(rename = "cells")]
    Cells,
    /// Cube faces.
    #[serde(rename = "faces")]
    Faces,
    /// Triangles.
    #[serde(rename = "triangles")]
    Triangles,
    /// Things of the kind that the fact's name says.
    #[serde(rename = "count")]
    Count,
    /// Bytes.
    #[serde(rename = "bytes")]
    Bytes,
    /// Degrees of arc.
    #[serde(rename = "°")]
    Degrees,
    /// A plain ratio.
    #[serde(rename = "1")]
    One,
    /// Working days.
    #[serde(rename = "working days")]
    WorkingDays,
    /// Hours.
    #[serde(rename = "h")]
    Hours,
    /// Newton millimetres, of a torque.
    #[serde(rename = "N·mm")]
    NewtonMm,
    /// Turns a minute.
    #[serde(rename = "rpm")]
    Rpm,
    /// Millilitres.
    #[serde(rename = "ml")]
    Millilitre,
}

impl Unit {
    /// The sign that is printed behind a number.
    #[must_use]
    pub const fn sign(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::Mm2 => "mm²",
            Self::Mm3 => "mm³",
            Self::Cm3 => "cm³",
            Self::Cm2 => "cm²",
            Self::Gram => "g",
            Self::Newton => "N",
            Self::Megapascal => "MPa",
            Self::Percent => "%",
            Self::Cells => "cells",
            Self::Faces => "faces",
            Self::Triangles => "triangles",
            Self::Count | Self::One => "",
            Self::Bytes => "bytes",
            Self::Degrees => "°",
            Self::WorkingDays => "working days",
            Self::Hours => "h",
            Self::NewtonMm => "N·mm",
            Self::Rpm => "rpm",
            Self::Millilitre => "ml",
        }
    }
}

/// The value of a fact.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Value {
    /// A measured number.
    Number(f64),
    /// A count.
    Whole(i64),
    /// Three numbers along x, y and z.
    Triple([f64; 3]),
    /// Words.
    Text(String),
    /// An amount of money, as exact decimal text with its currency (ISO 4217).
    Money {
        /// Exact decimal text, such as `181.50`.
        amount: String,
        /// ISO 4217 code.
        currency: String,
    },
    /// A small table.
    Table {
        /// Column headings, with units.
        columns: Vec<String>,
        /// Rows of as many texts as there are columns.
        rows: Vec<Vec<String>>,
    },
}

/// A named number with its unit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    /// Lower-case words, such as `enclosed voids filled`.
    pub name: String,
    /// What was measured.
    pub value: Value,
    /// Its unit, where it has one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<Unit>,
}

impl Fact {
    /// A measured number; −0 is said as 0.
    #[must_use]
    pub fn number(name: &str, value: f64, unit: Unit) -> Self {
        Self { name: name.to_owned(), value: Value::Number(value + 0.0), unit: Some(unit) }
    }

    /// A count of something.
    #[must_use]
    pub fn whole(name: &str, value: usize, unit: Unit) -> Self {
        let value = i64::try_from(value).unwrap_or(i64::MAX);
        Self { name: name.to_owned(), value: Value::Whole(value), unit: Some(unit) }
    }

    /// Three numbers along x, y and z.
    #[must_use]
    pub fn triple(name: &str, value: DVec3, unit: Unit) -> Self {
        Self { name: name.to_owned(), value: Value::Triple(value.to_array()), unit: Some(unit) }
    }

    /// Words.
    pub fn text(name: &str, value: impl Into<String>) -> Self {
        Self { name: name.to_owned(), value: Value::Text(value.into()), unit: None }
    }

    /// A small table.
    #[must_use]
    pub fn table(name: &str, columns: &[&str], rows: Vec<Vec<String>>) -> Self {
        let columns = columns.iter().map(|&c| c.to_owned()).collect();
        Self { name: name.to_owned(), value: Value::Table { columns, rows }, unit: None }
    }
}
