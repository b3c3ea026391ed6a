//! The page of a night: the variants of one job beside each other, which of them nothing beats, and which the job's rules
//! choose. Drawn from the records of the runs, as HTML, CSV and JSON.
//!
//! What it guarantees, each with its test in `tests/night.rs` or beside the code:
//!
//! - The same night gives the same bytes; no time is among them.
//! - No text of a job or a record becomes markup, script or a spreadsheet's formula.
//! - Every variant stands in the table, whatever became of it.
//! - The page stays below [`LARGEST`] with a thousand variants: what pictures do not fit are linked, and drawn when they
//!   come into sight.

pub mod choose;
mod figures;
mod front;
mod lines;
mod page;
mod plot;
mod table;
pub(crate) mod thumbnail;

use std::collections::{BTreeMap, BTreeSet};

use serde_json::Value;

pub use self::choose::{Choice, Pick, Rule};
pub use self::figures::{Figure, Made};
use crate::record::Record;
use crate::said;

/// The page's file name in the folder of the night.
pub const PAGE: &str = "index.html";
/// The table's file name there.
pub const TABLE: &str = "table.csv";
/// The file name of the same for programs.
pub const DATA: &str = "night.json";

/// The largest page with a thousand variants, in bytes.
pub const LARGEST: usize = 10_000_000;

/// The variants of one job.
#[derive(Clone, Debug)]
pub struct Night {
    /// The piece's title.
    pub title: String,
    /// The commission under which the runs are kept.
    pub commission: String,
    /// The name of the job.
    pub job: String,
    /// The variants, in the job's order; their names differ.
    pub rows: Vec<Row>,
    /// How one of them is chosen: the first rule that picks one decides.
    pub rules: Vec<Rule>,
}

/// A variant, and what became of it.
#[derive(Clone, Debug)]
pub struct Row {
    /// Its readable name.
    pub name: String,
    /// What it changes: the path of each setting, such as `hollow.wall`, and its value as the job writes it.
    pub changes: Vec<(String, String)>,
    /// The name of its run's folder, below the commission's: the page stands two folders beside it.
    pub run: String,
    /// What became of it.
    pub outcome: Outcome,
}

/// What became of a variant.
#[derive(Clone, Debug)]
pub enum Outcome {
    /// It was made, with faults or without.
    Made(Box<Made>),
    /// It could not be made.
    Failed {
        /// Why, as a sentence or a fragment.
        why: String,
        /// What to do about it.
        remedy: String,
    },
    /// It was not run, or its run cannot be read.
    NotRun {
        /// Why, as a sentence or a fragment.
        why: String,
        /// What to do about it.
        remedy: String,
    },
}

impl Row {
    /// The row of a run, from its record. A run that is no variant goes by its own name.
    #[must_use]
    pub fn of(record: &Record) -> Self {
        let variant = record.variant.as_ref();
        Self {
            name: variant.map_or(&record.run, |variant| &variant.name).clone(),
            changes: variant.map(|variant| changes(&variant.changes)).unwrap_or_default(),
            run: record.run.clone(),
            outcome: Outcome::Made(Box::new(Made::of(record))),
        }
    }

    /// What was made.
    pub(crate) fn made(&self) -> Option<&Made> {
        match &self.outcome {
            Outcome::Made(made) => Some(made),
            Outcome::Failed { .. } | Outcome::NotRun { .. } => None,
        }
    }

    /// Its value of a setting: as it changes it, else as its record has it.
    pub(crate) fn setting(&self, path: &str) -> Option<&str> {
        let changed = self.changes.iter().rfind(|(changed, _)| changed == path).map(|(_, value)| value.as_str());
        changed.or_else(|| self.made()?.setting(path))
    }
}

/// What a variant changes, as a [`Row`] has it. A group of settings, such as a palette, becomes a change for each.
#[must_use]
pub fn changes(changes: &BTreeMap<String, Value>) -> Vec<(String, String)> {
    let each = changes.iter().flat_map(|(path, value)| {
        if value.is_null() {
            return vec![(path.clone(), "not set".to_owned())];
        }
        let within = said::settings(value).into_iter().map(move |(within, value)| match within.as_str() {
            "" => (path.clone(), value),
            item if item.starts_with('[') => (format!("{path}{item}"), value),
            name => (format!("{path}.{name}"), value),
        });
        within.collect()
    });
    each.collect()
}

impl Night {
    /// The settings in which the variants differ, in the order in which they are first changed.
    pub(crate) fn settings(&self) -> Vec<&str> {
        let mut settings: Vec<&str> = Vec::new();
        let mut seen = BTreeSet::new();
        for (path, _) in self.rows.iter().flat_map(|row| &row.changes) {
            if seen.insert(path.as_str()) {
                settings.push(path);
            }
        }
        let first = self.rows.first();
        settings.retain(|path| {
            let value = first.and_then(|row| row.setting(path));
            self.rows.len() == 1 || self.rows.iter().any(|row| row.setting(path) != value)
        });
        settings
    }
}

/// The files of a night's folder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Files {
    /// [`PAGE`], as HTML.
    pub page: String,
    /// [`TABLE`]: CSV after RFC 4180.
    pub table: String,
    /// [`DATA`]: JSON.
    pub data: String,
    /// What was chosen and why, where the job has rules.
    pub choice: Option<Choice>,
}

/// Draws the page of a night and what stands beside it.
///
/// `picture` gives the bytes of an artefact by its run's folder and its name there. It is asked only for names that the
/// run's record lists and that cannot lead out of its folder. A picture that is missing or cannot be read is left out.
///
/// # Errors
/// If the page cannot be put together, which no night can cause.
pub fn draw(night: &Night, picture: &dyn Fn(&str, &str) -> Option<Vec<u8>>) -> Result<Files, askama::Error> {
    let choice = choose::choose(&night.rows, &night.rules);
    let fronts = front::of(&night.rows);
    Ok(Files {
        page: page::draw(night, &fronts, choice.as_ref(), picture)?,
        table: table::csv(night, &fronts, choice.as_ref()),
        data: table::json(night, &fronts, choice.as_ref()),
        choice,
    })
}
