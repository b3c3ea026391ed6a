//! What comparing sizes of the cell came to: the rows, the one that is recommended, and the words for it. Part of the
//! record; `view` draws it.

pub(crate) mod plot;
pub(crate) mod row;
pub(crate) mod view;

use std::fmt;

use serde::{Deserialize, Serialize};
pub use turnhue_stages::print::scores::Effect;

pub use self::row::{JUDGES, MEASURES, PRICES, StageSaid};

use crate::record::File;

/// What comparing sizes of the cell came to.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Advice {
    /// The most that one copy may cost, where the job says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub budget: Option<Money>,
    /// The least volume overlap in per cent, where the job says.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub least_likeness: Option<f64>,
    /// The sizes that were tried, from the smallest cell to the largest.
    pub sizes: Vec<Size>,
    /// The job's own cell in mm, where it names one.
    pub own: Option<f64>,
    /// The recommended cell in mm, where there is one.
    pub recommended: Option<f64>,
    /// The recommendation, a sentence or two each, the most important first.
    pub words: Vec<String>,
    /// What could not be told, and what to add to the job for it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub missing: Vec<String>,
    /// The same as files of the run.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub files: Vec<File>,
}

impl Advice {
    /// The row of the recommended cell.
    #[must_use]
    pub fn chosen(&self) -> Option<&Size> {
        self.sizes.iter().find(|size| Some(size.cell) == self.recommended)
    }
}

/// What became of the piece with one size of the cell. What no stage said is left out.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Size {
    /// The edge of a cell, mm.
    pub cell: f64,
    /// Cells of the solid.
    pub cells: Option<i64>,
    /// Whether the effect holds.
    pub effect: Option<Effect>,
    /// What decided that, in words.
    pub decided_by: Option<String>,
    /// Area that is named right, worst side, per cent.
    pub legibility: Option<f64>,
    /// What is left of the difference between neighbouring sides, per cent.
    pub separation: Option<f64>,
    /// The volume that model and cubes have in common, per cent.
    pub likeness: Option<f64>,
    /// One copy, all in.
    pub price: Option<Money>,
    /// Weight, g.
    pub weight: Option<f64>,
    /// The thinnest wall or other part of the piece, mm.
    pub smallest_wall: Option<f64>,
    /// The smallest cell, mm, at which the effect holds with as many cells.
    pub smallest_cell_that_holds: Option<f64>,
    /// The finished size that comes with it.
    pub smallest_size_that_holds: Option<String>,
    /// The codes of the faults that were found.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub faults: Vec<String>,
    /// Why the piece could not be made at this size.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refused: Option<String>,
}

/// An amount of money.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Money {
    /// Exact decimal text, such as `181.50`.
    pub amount: String,
    /// ISO 4217 code.
    pub currency: String,
}

impl fmt::Display for Money {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}", self.amount, self.currency)
    }
}
