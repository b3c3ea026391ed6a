//! What variants are compared by, taken from a record.

use std::cmp::Ordering;
use std::str::FromStr;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use turnhue_stages::findings::{Fact, Severity, Value};
use turnhue_stages::{Six, Srgb};

use crate::advice::row::{StageSaid, number};
use crate::advice::{JUDGES, MEASURES, PRICES, Size};
use crate::record::{Record, Verdict};
use crate::{colours, pictures, said};

/// A figure by which variants are compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Figure {
    /// The price of one copy.
    Price,
    /// The share of the area that is named right, on the side that does worst.
    Legibility,
    /// The share of the volume that model and cubes have in common.
    Likeness,
    /// What is left in print of the difference between neighbouring sides, of those that lose most.
    Separation,
    /// The weight of one copy.
    Weight,
    /// The smallest wall or part of the file to order, as measured.
    SmallestWall,
    /// The edge of a cell.
    Cell,
    /// How many cells the piece has.
    Cells,
    /// How many cautions there are.
    Cautions,
}

impl Figure {
    /// All of them; of two variants that are alike in what is asked for, the first figure of these that tells them apart
    /// decides.
    pub const ALL: [Self; 9] = [
        Self::Price,
        Self::Legibility,
        Self::Likeness,
        Self::Separation,
        Self::Weight,
        Self::SmallestWall,
        Self::Cautions,
        Self::Cell,
        Self::Cells,
    ];

    /// What it is called in a sentence.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Price => "price",
            Self::Legibility => "legibility",
            Self::Likeness => "likeness",
            Self::Separation => "separation kept",
            Self::Weight => "weight",
            Self::SmallestWall => "smallest wall",
            Self::Cell => "cell",
            Self::Cells => "number of cells",
            Self::Cautions => "number of cautions",
        }
    }

    /// Which of two values is the better, where one is.
    pub(crate) const fn better(self) -> Option<Ordering> {
        match self {
            Self::Price | Self::Weight | Self::Cautions => Some(Ordering::Less),
            Self::Legibility | Self::Likeness | Self::Separation | Self::SmallestWall => Some(Ordering::Greater),
            Self::Cell | Self::Cells => None,
        }
    }

    /// The stage without which nobody says it; every chain counts its cautions.
    #[must_use]
    pub const fn stage(self) -> Option<&'static str> {
        match self {
            Self::Price => Some(PRICES),
            Self::Legibility | Self::Separation => Some(JUDGES),
            Self::Weight | Self::SmallestWall => Some(MEASURES),
            Self::Likeness | Self::Cell | Self::Cells => Some("voxelise"),
            Self::Cautions => None,
        }
    }

    /// Its name among settings, in job files and in the links of a page.
    pub(crate) const fn key(self) -> &'static str {
        match self {
            Self::Price => "price",
            Self::Legibility => "legibility",
            Self::Likeness => "likeness",
            Self::Separation => "separation",
            Self::Weight => "weight",
            Self::SmallestWall => "smallest-wall",
            Self::Cell => "cell",
            Self::Cells => "cells",
            Self::Cautions => "cautions",
        }
    }

    /// How a variant differs from another of which it has less or more: `{}` stands for by how much.
    pub(crate) const fn differs(self) -> [&'static str; 2] {
        match self {
            Self::Price => ["costs {} less", "costs {} more"],
            Self::Legibility => ["is {} less legible", "is {} more legible"],
            Self::Likeness => ["is {} less like the model", "is {} more like the model"],
            Self::Separation => {
                ["keeps {} less of the difference between sides", "keeps {} more of the difference between sides"]
            }
            Self::Weight => ["is {} lighter", "is {} heavier"],
            Self::SmallestWall => ["is {} thinner at its smallest wall", "is {} thicker at its smallest wall"],
            Self::Cell => ["has cells that are {} smaller", "has cells that are {} larger"],
            Self::Cells | Self::Cautions => ["has {} fewer", "has {} more"],
        }
    }

    /// What a difference is counted in: one of it, and several. A difference of shares is one of points. Money brings its
    /// currency.
    pub(crate) const fn counted_in(self) -> [&'static str; 2] {
        match self {
            Self::Price => ["", ""],
            Self::Legibility | Self::Likeness | Self::Separation => ["point", "points"],
            Self::Weight => ["g", "g"],
            Self::SmallestWall | Self::Cell => ["mm", "mm"],
            Self::Cells => ["cell", "cells"],
            Self::Cautions => ["caution", "cautions"],
        }
    }

    /// The sign behind a value, and how many digits stand behind its point. Money brings its currency.
    pub(crate) const fn unit(self) -> (&'static str, usize) {
        match self {
            Self::Price | Self::Cells | Self::Cautions => ("", 0),
            Self::Legibility | Self::Likeness | Self::Separation => (" %", 1),
            Self::Weight => (" g", 1),
            Self::SmallestWall => (" mm", 2),
            Self::Cell => (" mm", 3),
        }
    }
}

/// A value of a figure.
#[derive(Clone, Debug, PartialEq)]
pub(crate) enum Quantity {
    /// In the figure's unit: per cent, g, mm or a count.
    Number(f64),
    /// An exact amount.
    Money {
        amount: Decimal,
        /// ISO 4217 code; where a bound has none, it is that of the prices.
        currency: Option<String>,
    },
}

impl Quantity {
    /// The order of two values of the same figure; none where their currencies differ.
    pub(crate) fn compare(&self, other: &Self) -> Option<Ordering> {
        match (self, other) {
            (Self::Number(a), Self::Number(b)) => Some(a.total_cmp(b)),
            (Self::Money { amount: a, currency: own }, Self::Money { amount: b, currency: theirs }) => {
                let differ = own.is_some() && theirs.is_some() && own != theirs;
                (!differ).then(|| a.cmp(b))
            }
            _ => None,
        }
    }

    /// The value as a plain number, for axes and sorting.
    pub(crate) fn number(&self) -> f64 {
        match self {
            Self::Number(number) => *number,
            Self::Money { amount, .. } => amount.to_f64().unwrap_or(f64::MAX),
        }
    }

    /// The currency, where it is money.
    pub(crate) fn currency(&self) -> Option<&str> {
        match self {
            Self::Number(_) => None,
            Self::Money { currency, .. } => currency.as_deref(),
        }
    }

    /// In words, with its unit.
    pub(crate) fn words(&self, figure: Figure) -> String {
        self.rounded(figure, figure.unit().1)
    }

    /// In words, with as many digits as it takes to tell it from `bound`.
    pub(crate) fn words_beside(&self, figure: Figure, bound: &Self) -> String {
        let reads_alike = |text: &String| {
            let same = |other: f64| (other - bound.number()).abs() <= f64::EPSILON * bound.number().abs();
            text.split(' ').next().and_then(|number| number.parse().ok()).is_some_and(same)
        };
        let decimals = figure.unit().1;
        let tries = (decimals..=9).map(|decimals| self.rounded(figure, decimals));
        tries.filter(|text| !reads_alike(text)).chain([self.rounded(figure, 9)]).next().unwrap_or_default()
    }

    fn rounded(&self, figure: Figure, decimals: usize) -> String {
        match self {
            Self::Money { amount, currency } => {
                format!("{amount}{}", currency.as_ref().map(|code| format!(" {code}")).unwrap_or_default())
            }
            Self::Number(number) => {
                let text = format!("{number:.decimals$}");
                // Lengths are written as a job has them: 3 mm, not 3.000 mm.
                let lengths = matches!(figure, Figure::Cell | Figure::SmallestWall) && text.contains('.');
                let text = if lengths { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
                format!("{text}{}", figure.unit().0)
            }
        }
    }
}

/// A fault of a variant, without its places.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Fault {
    pub(crate) stage: String,
    pub(crate) code: String,
    pub(crate) message: String,
    pub(crate) remedy: String,
}

/// What was made of a variant: all of its record that a night compares, and no more, so that thousands can be held.
#[derive(Clone, Debug)]
pub struct Made {
    pub(crate) verdict: Verdict,
    cell: Option<f64>,
    pub(crate) size: Size,
    pub(crate) faults: Vec<Fault>,
    pub(crate) cautions: usize,
    /// What the stages said but for tables: `proof: legibility`, and its value.
    pub(crate) facts: Vec<(String, String)>,
    /// The settings of the stages as paths: `hollow.wall`, and its value.
    settings: Vec<(String, String)>,
    pub(crate) colours: Option<Six<Srgb>>,
    /// The names of the pictures of the piece.
    pictures: Vec<String>,
}

/// The picture on a card: the same camera for all.
const DESIGNED: &str = "view-corner-front-right.png";
/// The printed piece in the step of its turn that comes nearest to it: 45°, in steps of 5°.
const PRINTED: &str = "turn-printed-009.jpg";

impl Made {
    /// Takes from a record what variants are compared by.
    #[must_use]
    pub fn of(record: &Record) -> Self {
        let stages: Vec<StageSaid<'_>> = record
            .stages
            .iter()
            .map(|stage| StageSaid { stage: &stage.name, facts: &stage.facts, findings: &stage.findings })
            .collect();
        let cell = number(&stages, None, "cell");
        let findings = record.findings();
        let faults = findings.iter().filter(|(_, finding)| finding.severity == Severity::Fault);
        let fault = |&(stage, finding): &(&str, &turnhue_stages::findings::Finding)| Fault {
            stage: stage.to_owned(),
            code: finding.code.clone(),
            message: finding.message.clone(),
            remedy: finding.remedy.clone(),
        };
        let is_line = |fact: &&Fact| !matches!(fact.value, Value::Table { .. });
        let facts = record.stages.iter().flat_map(|stage| {
            stage.facts.iter().filter(is_line).map(|fact| (format!("{}: {}", stage.name, fact.name), said::value(fact)))
        });
        let settings = record.stages.iter().flat_map(|stage| {
            said::settings(&stage.settings).into_iter().map(|(path, value)| (format!("{}.{path}", stage.name), value))
        });
        let made = record.stages.iter().flat_map(|stage| &stage.artefacts);
        Self {
            verdict: record.verdict,
            cell,
            size: Size::said(cell.unwrap_or_default(), &stages),
            faults: faults.map(fault).collect(),
            cautions: findings.iter().filter(|(_, finding)| finding.severity == Severity::Caution).count(),
            facts: facts.collect(),
            settings: settings.collect(),
            colours: colours::of_sides(record),
            pictures: made
                .map(|file| &file.name)
                .filter(|name| [DESIGNED, PRINTED].contains(&name.as_str()) && pictures::is_picture(name))
                .cloned()
                .collect(),
        }
    }

    /// A figure in words, with its unit; none where nothing says it.
    #[must_use]
    pub fn said(&self, figure: Figure) -> Option<String> {
        self.figure(figure).map(|quantity| quantity.words(figure))
    }

    /// Whether the file can be ordered: it was measured, and no stage found a fault.
    pub(crate) fn is_fit_to_order(&self) -> bool {
        self.verdict == Verdict::ReadyToOrder && self.faults.is_empty()
    }

    /// Whether no stage found a fault.
    pub(crate) fn has_no_fault(&self) -> bool {
        self.verdict != Verdict::HasFaults && self.faults.is_empty()
    }

    /// A setting by its path.
    pub(crate) fn setting(&self, path: &str) -> Option<&str> {
        self.settings.iter().find(|(known, _)| known == path).map(|(_, value)| value.as_str())
    }

    /// The name of the picture of the piece as designed.
    pub(crate) fn designed(&self) -> Option<&str> {
        self.picture(DESIGNED)
    }

    /// The name of the picture of the piece as printed.
    pub(crate) fn printed(&self) -> Option<&str> {
        self.picture(PRINTED)
    }

    fn picture(&self, wanted: &str) -> Option<&str> {
        self.pictures.iter().find(|name| *name == wanted).map(String::as_str)
    }

    /// The value of a figure, where a stage said it.
    pub(crate) fn figure(&self, figure: Figure) -> Option<Quantity> {
        let number = match figure {
            Figure::Price => {
                let price = self.size.price.as_ref()?;
                let amount = Decimal::from_str(&price.amount).ok()?;
                return Some(Quantity::Money { amount, currency: Some(price.currency.clone()) });
            }
            Figure::Legibility => self.size.legibility,
            Figure::Likeness => self.size.likeness,
            Figure::Separation => self.size.separation,
            Figure::Weight => self.size.weight,
            Figure::SmallestWall => self.size.smallest_wall,
            Figure::Cell => self.cell,
            #[expect(clippy::cast_precision_loss, reason = "no count comes near 2^53")]
            Figure::Cells => self.size.cells.map(|cells| cells as f64),
            #[expect(clippy::cast_precision_loss, reason = "no count comes near 2^53")]
            Figure::Cautions => Some(self.cautions as f64),
        };
        number.map(Quantity::Number)
    }
}
