//! Puts figures into the text of a process file: what else stands there, comments above all, stays as it is.
//!
//! Scalars are replaced where they stand; a range or a figure that is not there yet goes before the key behind which it
//! reads best. The new text is then read anew and must give the old process with those figures changed: a file written in
//! a way that this does not understand is refused, never spoilt.

use std::ops::Range;

use turnhue_stages::Length;
use turnhue_stages::chain::coupon::reading::{Calibration, Measured, Row};
use turnhue_stages::process::{Figure, Process};

use crate::job::{Text, settings};

/// A figure to put in.
#[derive(Clone, Debug)]
pub(super) struct New {
    /// Its name in the process file.
    pub(super) field: &'static str,
    measured: Measured,
    basis: String,
}

/// The key before which a figure goes that is not there yet: every process file has it.
const BEFORE: &str = "tolerance";

/// The figures of a calibration; `basis` says what those rest on that come from some rows.
pub(super) fn of(calibration: &Calibration, basis: impl Fn(&[Row]) -> String) -> Vec<New> {
    let figures: [(&'static str, Option<Measured>, &[Row]); 3] = [
        ("minimum_wall", calibration.minimum_wall, &[Row::Thicknesses]),
        ("bleed", calibration.bleed, &[Row::Cells, Row::Lines]),
        ("clearance", calibration.clearance, &[Row::Fits]),
    ];
    let new = |(field, measured, rows): (&'static str, Option<Measured>, &[Row])| {
        measured.map(|measured| New { field, measured, basis: basis(rows) })
    };
    figures.into_iter().filter_map(new).collect()
}

impl New {
    /// The figure as one line of YAML.
    pub(super) fn in_yaml(&self) -> String {
        let Measured { value, range: [low, high] } = self.measured;
        format!("{}: {{ value: {value}, range: [{low}, {high}], basis: {} }}", self.field, quoted(&self.basis))
    }

    /// The figure as one member of a JSON object.
    fn in_json(&self) -> String {
        let Measured { value, range: [low, high] } = self.measured;
        let basis = quoted(&self.basis);
        format!(r#""{}": {{ "value": "{value}", "range": ["{low}", "{high}"], "basis": {basis} }}"#, self.field)
    }

    /// What it was and what it is.
    pub(super) fn change(&self, process: &Process) -> String {
        let Measured { value, range: [low, high] } = self.measured;
        let now = format!("{value} ({low} to {high})");
        match old(process, self.field) {
            Some(old) => format!("{} → {now}", old.value),
            None => format!("new: {now}"),
        }
    }

    fn figure(&self) -> Figure<Length> {
        Figure { value: self.measured.value, range: Some(self.measured.range), basis: self.basis.clone() }
    }
}

fn old<'a>(process: &'a Process, field: &str) -> Option<&'a Figure<Length>> {
    match field {
        "minimum_wall" => Some(&process.minimum_wall),
        "bleed" => Some(&process.bleed),
        _ => process.clearance.as_ref(),
    }
}

/// A text in double quotes, which YAML and JSON read alike.
fn quoted(text: &str) -> String {
    serde_json::Value::from(text).to_string()
}

/// The text with the figures put in.
///
/// # Errors
/// A plain message if the new text would not give the process that it should.
pub(super) fn put(text: &Text, process: &Process, figures: &[New]) -> Result<String, String> {
    let mut edits: Vec<Edit> = figures.iter().flat_map(|figure| edits(text, figure)).collect();
    // From the back, so that places in front stay true; what goes in at one place keeps its order.
    edits.reverse();
    edits.sort_by_key(|edit| std::cmp::Reverse(edit.at.start));
    let mut new = text.source().text.clone();
    for edit in edits {
        new.replace_range(edit.at, &edit.with);
    }

    let mut wanted = process.clone();
    for figure in figures {
        match figure.field {
            "minimum_wall" => wanted.minimum_wall = figure.figure(),
            "bleed" => wanted.bleed = figure.figure(),
            _ => wanted.clearance = Some(figure.figure()),
        }
    }
    let read = Text::parse(&text.source().name, new.clone().into_bytes()).ok().and_then(|text| {
        let process = settings::read::<Process>(&text, "", text.value().clone(), &mut Vec::new())?;
        process.check().is_ok().then_some(process)
    });
    match read {
        Some(read) if read == wanted => Ok(new),
        _ => Err("the figures cannot be put into this file without spoiling it".to_owned()),
    }
}

/// Text for a place.
struct Edit {
    at: Range<usize>,
    with: String,
}

fn edits(text: &Text, new: &New) -> Vec<Edit> {
    let field = new.field;
    if text.value().get(field).is_none_or(serde_json::Value::is_null) {
        return vec![insert(text, BEFORE, &new.in_yaml(), &new.in_json(), is_flow(text, ""))];
    }
    let Measured { value, range: [low, high] } = new.measured;
    let mut edits = vec![
        replace(text, &format!("{field}.value"), &length(text, &format!("{field}.value"), value)),
        replace(text, &format!("{field}.basis"), &quoted(&new.basis)),
    ];
    if text.value()[field].get("range").is_some() {
        for (place, bound) in [low, high].into_iter().enumerate() {
            let path = format!("{field}.range[{place}]");
            edits.push(replace(text, &path, &length(text, &format!("{field}.range"), bound)));
        }
    } else {
        let (yaml, json) = (format!("range: [{low}, {high}]"), format!(r#""range": ["{low}", "{high}"]"#));
        edits.push(insert(text, &format!("{field}.basis"), &yaml, &json, is_flow(text, field)));
    }
    edits
}

/// Whether the key at `path` is in double quotes, as in JSON, which knows no text without.
fn is_json(text: &Text, path: &str) -> bool {
    text.key_place(path).text().starts_with('"')
}

/// A length, in quotes where keys are.
fn length(text: &Text, path: &str, length: Length) -> String {
    if is_json(text, path) { quoted(&length.to_string()) } else { length.to_string() }
}

fn replace(text: &Text, path: &str, with: &str) -> Edit {
    let (place, key) = (text.place(path), text.key_place(path).span());
    let start = place.span().start;
    // The space behind a text over several lines, up to what comes next, is counted to it.
    let end = start + place.text().trim_end().len();
    // The sign with which such a text begins is not. Where a comment stands beside the sign, the text is left as it is, and
    // so the file refused.
    let head = text.source().text.get(key.end..start).filter(|head| !head.contains('#'));
    let sign = head.and_then(|head| head.find(['|', '>'])).map(|at| key.end + at);
    Edit { at: sign.unwrap_or(start)..end, with: with.to_owned() }
}

/// Puts a member before the key at `path`: on the same line in a map in brackets, else on a line of its own.
fn insert(text: &Text, path: &str, yaml: &str, json: &str, flow: bool) -> Edit {
    let at = text.key_place(path).span().start;
    let member = if is_json(text, path) { json } else { yaml };
    let with = if flow {
        format!("{member}, ")
    } else {
        let source = &text.source().text;
        let before = &source[source[..at].rfind('\n').map_or(0, |end| end + 1)..at];
        let indent: String = before.chars().map(|c| if c.is_whitespace() { c } else { ' ' }).collect();
        let end = if source.contains("\r\n") { "\r\n" } else { "\n" };
        format!("{member}{end}{indent}")
    };
    Edit { at: at..at, with }
}

/// Whether the map at `path` stands in brackets: whether one opens between its key and the first key in it.
fn is_flow(text: &Text, path: &str) -> bool {
    let source = &text.source().text;
    let from = if path.is_empty() { 0 } else { text.key_place(path).span().end };
    let value = if path.is_empty() { Some(text.value()) } else { text.value().get(path) };
    let keys = value.and_then(serde_json::Value::as_object).into_iter().flat_map(|map| map.keys());
    let starts = keys.map(|key| text.key_place(&settings::join(path, key)).span().start);
    let to = starts.min().unwrap_or(from).max(from);
    source[from..to].lines().any(|line| line.split('#').next().is_some_and(|code| code.contains('{')))
}
