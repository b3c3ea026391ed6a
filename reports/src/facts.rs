//! Facts looked up by the names under which stages say them. A name or a heading that is not there is no error: a record
//! may come from another version, or from a stage of somebody's own.

use turnhue_stages::Side;
use turnhue_stages::findings::{Fact, Unit, Value};

use crate::record::{Record, StageRecord};

/// A stage with its place in the chain, from 1.
pub(crate) type Numbered<'a> = (usize, &'a StageRecord);

/// The last stage of that name.
pub(crate) fn stage<'a>(record: &'a Record, name: &str) -> Option<Numbered<'a>> {
    (1..).zip(&record.stages).filter(|(_, stage)| stage.name == name).last()
}

/// The last fact of that name that the stage said.
pub(crate) fn fact<'a>(stage: &'a StageRecord, name: &str) -> Option<&'a Fact> {
    stage.facts.iter().rfind(|fact| fact.name == name)
}

/// The words of a fact.
pub(crate) fn words<'a>(stage: &'a StageRecord, name: &str) -> Option<&'a str> {
    match &fact(stage, name)?.value {
        Value::Text(words) => Some(words),
        _ => None,
    }
}

/// A fact that is a table.
pub(crate) fn table<'a>(stage: &'a StageRecord, name: &str) -> Option<Grid<'a>> {
    Grid::of(fact(stage, name)?)
}

/// A table, read by the headings of its columns.
#[derive(Clone, Copy)]
pub(crate) struct Grid<'a> {
    columns: &'a [String],
    /// The rows, each with a text for every column.
    pub(crate) rows: &'a [Vec<String>],
}

impl<'a> Grid<'a> {
    /// The table of a fact.
    pub(crate) fn of(fact: &'a Fact) -> Option<Self> {
        match &fact.value {
            Value::Table { columns, rows } => Some(Self { columns, rows }),
            _ => None,
        }
    }

    /// The headings of the columns, with their units.
    pub(crate) fn headings(&self) -> &'a [String] {
        self.columns
    }

    /// The place of the column whose heading, without its unit, is `heading`.
    fn column(&self, heading: &str) -> Option<usize> {
        self.columns.iter().position(|known| name_and_unit(known).0 == heading)
    }

    /// The text of a row below a heading.
    pub(crate) fn text(&self, row: &'a [String], heading: &str) -> Option<&'a str> {
        Some(row.get(self.column(heading)?)?.as_str()).filter(|text| !text.is_empty())
    }

    /// The number of a row below a heading.
    pub(crate) fn number(&self, row: &'a [String], heading: &str) -> Option<f64> {
        self.text(row, heading)?.parse().ok().filter(|number: &f64| number.is_finite())
    }

    /// The numbers below a heading, if every row has one.
    pub(crate) fn numbers(&self, heading: &str) -> Option<Vec<f64>> {
        self.rows.iter().map(|row| self.number(row, heading)).collect()
    }

    /// The row that begins with `first`.
    pub(crate) fn row(&self, first: &str) -> Option<&'a [String]> {
        self.rows.iter().find(|row| row.first().is_some_and(|text| text == first)).map(Vec::as_slice)
    }
}

/// The sides that a text names, in its order.
pub(crate) fn sides_in(text: &str) -> Vec<Side> {
    let words = text.split(|letter: char| !letter.is_alphabetic());
    words.filter_map(|word| Side::ALL.into_iter().find(|side| side.word().eq_ignore_ascii_case(word))).collect()
}

/// What a column is about, and its unit: `area, cm²`, `area (cm²)` and `area cm²` say the same.
pub(crate) fn name_and_unit(heading: &str) -> (&str, Option<Unit>) {
    const UNITS: [Unit; 12] = [
        Unit::Mm,
        Unit::Mm2,
        Unit::Mm3,
        Unit::Cm2,
        Unit::Cm3,
        Unit::Gram,
        Unit::Percent,
        Unit::Degrees,
        Unit::Newton,
        Unit::NewtonMm,
        Unit::Hours,
        Unit::Millilitre,
    ];
    let Some((name, last)) = heading.rsplit_once(' ') else { return (heading, None) };
    let sign = last.trim_start_matches('(').trim_end_matches(')');
    match UNITS.into_iter().find(|unit| unit.sign() == sign) {
        Some(unit) => (name.trim_end_matches(','), Some(unit)),
        None => (heading, None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn headings_are_told_from_their_units_however_they_are_written() {
        for (heading, name, unit) in [
            ("area, cm²", "area", Some(Unit::Cm2)),
            ("visible (mm²)", "visible", Some(Unit::Mm2)),
            ("in its own colour %", "in its own colour", Some(Unit::Percent)),
            ("azimuth, °", "azimuth", Some(Unit::Degrees)),
            ("faces", "faces", None),
            ("mm", "mm", None),
            ("cells left over", "cells left over", None),
        ] {
            assert_eq!(name_and_unit(heading), (name, unit));
        }
    }

    #[test]
    fn tables_are_read_by_heading_and_gaps_are_no_numbers() {
        let rows = vec![vec!["front".into(), "12.5".into(), String::new()], vec!["back".into(), "much".into()]];
        let fact = Fact::table("shares", &["side", "own colour, %", "from, %"], rows);
        let grid = Grid::of(&fact).unwrap_or_else(|| panic!("this is a table"));
        let front = grid.row("front").unwrap_or_else(|| panic!("it has this row"));
        assert_eq!(grid.number(front, "own colour"), Some(12.5));
        assert_eq!(grid.text(front, "from"), None);
        assert_eq!(grid.number(front, "to"), None);
        assert_eq!(grid.numbers("own colour"), None);
        assert!(grid.row("left").is_none());
    }

    #[test]
    fn sides_are_found_in_words() {
        assert_eq!(sides_in("right and back"), [Side::Right, Side::Back]);
        assert_eq!(sides_in("Top–left"), [Side::Top, Side::Left]);
        assert!(sides_in("upright, frontal").is_empty());
    }
}
