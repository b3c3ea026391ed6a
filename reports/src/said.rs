//! What stages said, as lines and tables that can be read.

use serde_json::Value as Json;
use turnhue_stages::findings::{Fact, Finding, Place, Severity, Value};

use crate::numbers;

/// Facts, as the page shows them.
pub(crate) struct Said {
    /// Name and value, with its unit.
    pub(crate) lines: Vec<(String, String)>,
    /// The facts that are tables.
    pub(crate) tables: Vec<Table>,
}

/// A table.
pub(crate) struct Table {
    /// What it shows.
    pub(crate) caption: String,
    /// The columns.
    pub(crate) columns: Vec<Column>,
    /// The rows, each text with its column.
    pub(crate) rows: Vec<Vec<String>>,
}

/// A column of a table.
pub(crate) struct Column {
    /// Its heading.
    pub(crate) heading: String,
    /// Whether it holds numbers only.
    pub(crate) numeric: bool,
}

/// A finding, as the page shows it.
pub(crate) struct Told<'a> {
    /// The stage that found it.
    pub(crate) stage: &'a str,
    /// The finding.
    pub(crate) finding: &'a Finding,
    /// The places listed.
    pub(crate) places: Vec<String>,
    /// How many places are not listed.
    pub(crate) more: usize,
}

impl Said {
    /// Sorts facts into lines and tables.
    pub(crate) fn of(facts: &[Fact]) -> Self {
        let mut said = Self { lines: Vec::new(), tables: Vec::new() };
        for fact in facts {
            match &fact.value {
                Value::Table { columns, rows } => said.tables.push(Table::of(&fact.name, columns, rows)),
                _ => said.lines.push((capitalised(&fact.name), value(fact))),
            }
        }
        said
    }
}

impl Table {
    fn of(name: &str, columns: &[String], rows: &[Vec<String>]) -> Self {
        let numeric = |at: usize| {
            let mut texts = rows.iter().filter_map(|row| row.get(at)).filter(|text| !text.is_empty()).peekable();
            texts.peek().is_some() && texts.all(|text| numbers::is_number(text))
        };
        Self {
            caption: capitalised(name),
            columns: columns
                .iter()
                .enumerate()
                .map(|(at, heading)| Column { heading: capitalised(heading), numeric: numeric(at) })
                .collect(),
            rows: rows.iter().map(|row| row.iter().map(|text| numbers::tidy(text)).collect()).collect(),
        }
    }

    /// Whether it has too many columns to stay a table on a phone.
    pub(crate) fn is_wide(&self) -> bool {
        self.columns.len() > 3
    }

    /// A row's texts with their columns; texts beyond the last column keep none.
    pub(crate) fn cells<'t>(&'t self, row: &'t [String]) -> impl Iterator<Item = (&'t str, &'t Column)> {
        row.iter().map(String::as_str).zip(&self.columns)
    }
}

impl<'a> Told<'a> {
    /// A finding of a stage with its first `most` places.
    pub(crate) fn of(stage: &'a str, finding: &'a Finding, most: usize) -> Self {
        let places = finding.places.iter().take(most).map(place).collect();
        Self { stage, finding, places, more: finding.places.len().saturating_sub(most) }
    }

    /// The severity as a word, which is its class in the style sheet too.
    pub(crate) fn severity(&self) -> &'static str {
        match self.finding.severity {
            Severity::Fault => "fault",
            Severity::Caution => "caution",
            Severity::Note => "note",
        }
    }
}

/// The value of a fact that is not a table, with its unit.
pub(crate) fn value(fact: &Fact) -> String {
    match &fact.value {
        Value::Number(number) => numbers::quantity(*number, fact.unit),
        Value::Whole(number) => numbers::count(*number, fact.unit),
        Value::Triple(numbers) => numbers::triple(*numbers, fact.unit),
        Value::Text(words) => words.clone(),
        Value::Money { amount, currency } => numbers::money(amount, currency),
        Value::Table { rows, .. } => format!("a table of {} rows", rows.len()),
    }
}

/// Settings as the paths that a job file would use, with their values: `openings[0].width`, `24 mm`.
pub(crate) fn settings(settings: &Json) -> Vec<(String, String)> {
    let mut lines = Vec::new();
    flatten(String::new(), settings, &mut lines);
    lines
}

/// Words with a capital at their beginning.
pub(crate) fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

fn flatten(path: String, value: &Json, lines: &mut Vec<(String, String)>) {
    match value {
        Json::Object(fields) => {
            for (name, field) in fields {
                let separator = if path.is_empty() { "" } else { "." };
                flatten(format!("{path}{separator}{name}"), field, lines);
            }
        }
        Json::Array(items) if items.iter().any(|item| item.is_object() || item.is_array()) => {
            for (place, item) in items.iter().enumerate() {
                flatten(format!("{path}[{place}]"), item, lines);
            }
        }
        Json::Array(items) if items.is_empty() => lines.push((path, "none".to_owned())),
        Json::Array(items) => lines.push((path, items.iter().map(scalar).collect::<Vec<_>>().join(", "))),
        Json::Null if path.is_empty() => {}
        single => lines.push((path, scalar(single))),
    }
}

fn scalar(value: &Json) -> String {
    match value {
        Json::String(text) => text.clone(),
        Json::Null => "not set".to_owned(),
        Json::Bool(true) => "yes".to_owned(),
        Json::Bool(false) => "no".to_owned(),
        other => other.to_string(),
    }
}

fn place(place: &Place) -> String {
    let [x, y, z] = place.mm.map(numbers::measured);
    let cell = place.cell.map(|[i, j, k]| format!(" (cell {i}, {j}, {k})")).unwrap_or_default();
    format!("x {x}, y {y}, z {z} mm{cell}")
}
