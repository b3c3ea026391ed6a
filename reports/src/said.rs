//! What stages said, as lines and tables that can be read.

use serde_json::Value as Json;
use turnhue_stages::Srgb;
use turnhue_stages::findings::{Fact, Finding, Place, Severity, Value};

use crate::numbers;
use crate::pictures::{self, Picture};
use crate::record::{File, StageRecord};
use crate::views::Pictures;

/// Most rows of a table that stands open: a table of twelve pairs of sides is read, one of 72 steps of a turn is not.
const MOST_ROWS: usize = 36;

/// Most columns of a table that fits into the narrower half of a page.
const MOST_COLUMNS: usize = 6;

/// What stands in a cell for which there is nothing to say.
const NOTHING: [&str; 2] = ["", "–"];

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
    /// Whether it holds numbers only, and is not the first, which says what the row is about.
    pub(crate) numeric: bool,
    /// Whether it holds colours only, which are not broken in two.
    pub(crate) colours: bool,
}

/// A finding, as the page shows it.
pub(crate) struct Told<'a> {
    /// The stage's place in the chain, from 1.
    pub(crate) number: usize,
    /// The stage that found it.
    pub(crate) stage: &'a str,
    /// The finding.
    pub(crate) finding: &'a Finding,
    /// The places listed.
    pub(crate) places: Vec<String>,
    /// How many places are not listed.
    pub(crate) more: usize,
    /// The picture that shows where.
    pub(crate) shown: Option<Shown<'a>>,
}

/// A picture of a finding.
pub(crate) struct Shown<'a> {
    /// The picture.
    pub(crate) picture: Picture,
    /// What it shows, in words.
    pub(crate) what: &'a str,
}

impl Said {
    /// Sorts facts into lines and tables.
    pub(crate) fn of(facts: &[Fact]) -> Self {
        let mut said = Self { lines: Vec::new(), tables: Vec::new() };
        for fact in facts {
            match Table::of_fact(fact) {
                Some(table) => said.tables.push(table),
                None => said.lines.push((capitalised(&fact.name), value(fact))),
            }
        }
        said
    }
}

impl Table {
    /// The table of a fact, if it is one.
    pub(crate) fn of_fact(fact: &Fact) -> Option<Self> {
        match &fact.value {
            Value::Table { columns, rows } => Some(Self::of(&fact.name, columns, rows)),
            _ => None,
        }
    }

    /// A table under a name, in words.
    pub(crate) fn of(name: &str, columns: &[String], rows: &[Vec<String>]) -> Self {
        let all = |at: usize, is: fn(&str) -> bool| {
            let mut texts =
                rows.iter().filter_map(|row| row.get(at)).filter(|text| !NOTHING.contains(&text.as_str())).peekable();
            at > 0 && texts.peek().is_some() && texts.all(|text| is(text))
        };
        let column = |(at, heading): (usize, &String)| Column {
            heading: capitalised(heading),
            numeric: all(at, numbers::is_number),
            colours: all(at, |text| text.parse::<Srgb>().is_ok()),
        };
        Self {
            caption: capitalised(name),
            columns: columns.iter().enumerate().map(column).collect(),
            rows: rows.iter().map(|row| row.iter().map(|text| numbers::tidy(text)).collect()).collect(),
        }
    }

    /// Whether it has too many rows to be read from one end to the other: then it is folded, and left off paper.
    pub(crate) fn is_long(&self) -> bool {
        self.rows.len() > MOST_ROWS
    }

    /// Whether it has more columns than fit beside what went in: then it moves within its place.
    pub(crate) fn is_broad(&self) -> bool {
        self.columns.len() > MOST_COLUMNS
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
    /// What a stage found, each with its first `most` places.
    pub(crate) fn all(number: usize, stage: &'a StageRecord, most: usize) -> impl Iterator<Item = Self> {
        stage.findings.iter().map(move |finding| Self {
            number,
            stage: &stage.name,
            finding,
            places: finding.places.iter().take(most).map(place).collect(),
            more: finding.places.len().saturating_sub(most),
            shown: None,
        })
    }

    /// With the picture that the finding names, if it is among what the stage made.
    pub(crate) fn shown_by(mut self, stage: &'a StageRecord, pictures: Pictures<'_>) -> Self {
        let named = |file: &&File| self.finding.picture.as_ref() == Some(&file.name);
        let file = stage.artefacts.iter().find(named).filter(|file| pictures::is_picture(&file.name));
        let picture = file.and_then(|file| Picture::of(&pictures(&file.name)?));
        self.shown = file.zip(picture).map(|(file, picture)| Shown { picture, what: &file.what });
        self
    }

    /// The section of the page that shows what its stage works on, whatever the finding: its figures are there too.
    pub(crate) fn section(&self) -> Option<&'static str> {
        Some(match self.stage {
            "hollow" => "inside",
            "colour" => "palette",
            "proof" => "look",
            "split" => "parts",
            "stand" | "case" => "stand",
            "estimate" => "cost",
            _ => return None,
        })
    }

    /// Whether nothing has to be done about it.
    pub(crate) fn is_note(&self) -> bool {
        self.finding.severity == Severity::Note
    }

    /// Where it is: how many places, in words.
    pub(crate) fn where_to_look(&self) -> String {
        match self.finding.places.len() {
            1 => "at 1 place".to_owned(),
            n => format!("at {n} places"),
        }
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

/// A text in pieces, each with whether it stood between backticks: a name from the job file. A backtick without a
/// partner stays what it is.
pub(crate) fn pieces(text: &str) -> Vec<(bool, &str)> {
    let split = text.split('`');
    if split.clone().count().is_multiple_of(2) {
        return vec![(false, text)];
    }
    split
        .enumerate()
        .map(|(place, piece)| (!place.is_multiple_of(2), piece))
        .filter(|(_, piece)| !piece.is_empty())
        .collect()
}

/// Words as a sentence, with a capital and a full stop, whoever wrote them as a fragment.
pub(crate) fn sentence(words: &str) -> String {
    let words = words.trim_end();
    let open =
        words.ends_with(|last: char| last.is_alphanumeric() || matches!(last, ')' | '`' | '%' | '°' | '²' | '³'));
    capitalised(words) + if open { "." } else { "" }
}

/// Words with a capital at their beginning.
pub(crate) fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// A file name as a word that a POSIX shell takes as it is, so that the command can be pasted without harm.
pub(crate) fn shell_word(name: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'.' | b'_' | b'-' | b'/');
    let path = if name.starts_with('-') { format!("./{name}") } else { name.to_owned() };
    if !path.is_empty() && path.bytes().all(plain) { path } else { format!("'{}'", path.replace('\'', r"'\''")) }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fragments_become_sentences_and_sentences_stay() {
        for (words, expected) in [
            ("nothing to do; look at `wall`", "Nothing to do; look at `wall`."),
            ("8 places were mended", "8 places were mended."),
            ("Ask the bureau.", "Ask the bureau."),
            ("\"Demo\": not an offer!", "\"Demo\": not an offer!"),
            ("the wall is 2 mm (asked for: 3 mm)", "The wall is 2 mm (asked for: 3 mm)."),
            ("", ""),
        ] {
            assert_eq!(sentence(words), expected);
        }
    }
}
