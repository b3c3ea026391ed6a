//! In what variants differ, line by line: for two of them beside each other, and for the script of the page, which sifts,
//! plots and compares by them.

use std::collections::BTreeMap;

use serde::Serialize;

use super::choose::Choice;
use super::figures::{Figure, Made};
use super::front::Fronts;
use super::page::{figure_words, leading_number};
use super::{Night, Outcome, Row, table};
use crate::record::Verdict;
use crate::said;

/// The most bytes of what variants can be compared in beyond settings and figures.
const MOST_SAID: usize = 3_000_000;

/// Something in which variants differ.
#[derive(Serialize)]
pub(super) struct Line {
    /// Its name in links to a choice.
    key: String,
    pub(super) name: String,
    kind: Kind,
    /// The values that occur, in the order in which they come.
    values: Vec<String>,
    /// Which of them each variant has, by row.
    of: Vec<Option<usize>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    measure: Option<Measure>,
    /// How a value is introduced in a sentence: `cells of`.
    #[serde(skip_serializing_if = "str::is_empty")]
    of_what: &'static str,
}

/// What a line tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
enum Kind {
    Setting,
    Outcome,
    Best,
    Figure,
    Fact,
}

/// A line of numbers.
#[derive(Serialize)]
struct Measure {
    /// By row; nothing where it is not known, or in another currency than the others.
    numbers: Vec<Option<f64>>,
    /// The sign behind them.
    unit: String,
    /// How many digits stand behind their point.
    decimals: usize,
    /// Which is the better: −1 the less, 1 the more, 0 neither.
    better: i8,
    /// How a variant with less, and one with more, is said to differ; `{}` stands for the difference.
    #[serde(skip_serializing_if = "Option::is_none")]
    differs: Option<[&'static str; 2]>,
    /// What the difference is counted in: one of it, and several.
    counted_in: [String; 2],
}

impl Line {
    fn of(key: &str, name: &str, kind: Kind, cells: impl Iterator<Item = Option<String>>) -> Self {
        let mut values: Vec<String> = Vec::new();
        let mut known: BTreeMap<String, usize> = BTreeMap::new();
        let mut place = |cell: String| {
            *known.entry(cell).or_insert_with_key(|cell| {
                values.push(cell.clone());
                values.len() - 1
            })
        };
        let of = cells.map(|cell| cell.filter(|cell| !cell.is_empty()).map(&mut place)).collect();
        Self { key: key.to_owned(), name: said::capitalised(name), kind, values, of, measure: None, of_what: "" }
    }

    fn setting(night: &Night, path: &str) -> Self {
        let cells = night.rows.iter().map(|row| row.setting(path).map(str::to_owned));
        let mut line = Self::of(path, path, Kind::Setting, cells);
        line.name = path.to_owned();
        line.of_what = match path {
            "voxelise.cell" => "cells of",
            "hollow.wall" => "walls of",
            "scale.height" => "a height of",
            _ => "",
        };
        line.measure = measured_setting(&line);
        line
    }

    fn figure(night: &Night, currency: Option<&str>, figure: Figure) -> Self {
        let quantity = |row: &Row| row.made().and_then(|made| made.figure(figure));
        let words = night.rows.iter().map(|row| figure_words(row.made()?, figure));
        let mut line = Self::of(figure.key(), figure.word(), Kind::Figure, words);
        let comparable =
            |row| quantity(row).filter(|quantity| quantity.currency() == currency || figure != Figure::Price);
        let (unit, decimals) = figure.unit();
        let [one, several] = figure.counted_in();
        let money = currency.filter(|_| figure == Figure::Price);
        let or_money = |word: &str| money.unwrap_or(word).to_owned();
        line.measure = Some(Measure {
            numbers: night.rows.iter().map(|row| comparable(row).map(|quantity| quantity.number())).collect(),
            unit: or_money(unit.trim_start()),
            decimals: if money.is_some() { 2 } else { decimals },
            better: figure.better().map_or(0, |better| better as i8),
            differs: Some(figure.differs()),
            counted_in: [or_money(one), or_money(several)],
        });
        line
    }

    /// Whether all variants have the same.
    fn is_same(&self) -> bool {
        self.of.windows(2).all(|two| two[0] == two[1])
    }

    fn value(&self, row: usize) -> &str {
        self.of[row].map_or("–", |at| &self.values[at])
    }

    /// About what it takes on the page.
    fn bytes(&self) -> usize {
        self.name.len() + self.values.iter().map(|value| value.len() + 3).sum::<usize>() + 4 * self.of.len() + 60
    }
}

/// The numbers of a setting, where each of its values is one and all are in the same unit.
fn measured_setting(line: &Line) -> Option<Measure> {
    let unit = |text: &str| text.split_once(' ').map_or("", |(_, unit)| unit).to_owned();
    let first = unit(line.values.first()?);
    let of_value: Option<Vec<f64>> =
        line.values.iter().map(|text| leading_number(text).filter(|_| unit(text) == first)).collect();
    let of_value = of_value?;
    let decimals = line.values.iter().map(|text| {
        let number = text.split(' ').next().unwrap_or_default();
        number.split_once('.').map_or(0, |(_, decimals)| decimals.len())
    });
    Some(Measure {
        numbers: line.of.iter().map(|of| of.map(|at| of_value[at])).collect(),
        decimals: decimals.max().unwrap_or_default().min(6),
        better: 0,
        differs: None,
        counted_in: [first.clone(), first.clone()],
        unit: first,
    })
}

/// What became of a variant, as what is said of it in a sentence.
fn became(row: &Row) -> &'static str {
    match &row.outcome {
        Outcome::Failed { .. } => "could not be made",
        Outcome::NotRun { .. } => "was not run",
        Outcome::Made(made) => match made.verdict {
            Verdict::ReadyToOrder => "is ready to order",
            Verdict::NotValidated => "was not validated",
            Verdict::HasFaults => "has faults",
        },
    }
}

/// What stands among the figures already.
const FIGURES_ALREADY: [&str; 6] = [
    "proof: effect",
    "proof: legibility",
    "proof: separation kept",
    "validate: weight",
    "estimate: price",
    "estimate: weight",
];

/// All in which variants differ: settings, figures, then facts by their stages.
pub(super) fn lines(night: &Night, fronts: &Fronts) -> Vec<Line> {
    let rows = &night.rows;
    let settings = night.settings();
    let has_cell = settings.contains(&"voxelise.cell");
    let outcome = Line::of("outcome", "outcome", Kind::Outcome, rows.iter().map(|row| Some(became(row).to_owned())));
    let best = rows.iter().enumerate().map(|(at, row)| {
        let is_best = fronts.legibility.has(at) || fronts.likeness.has(at);
        let competes = row.made().is_some_and(Made::has_no_fault);
        competes.then(|| if is_best { "nothing beats it" } else { "another is better" }.to_owned())
    });
    let best = Line::of("best", "for its price", Kind::Best, best);
    let faults = rows.iter().map(|row| Some(table::codes(row.made()?).join(", ")));
    let faults = Line::of("faults", "faults", Kind::Fact, faults);
    let currency = fronts.legibility.currency.as_deref();
    // The size of a cell is a setting where it varies as one.
    let figures = Figure::ALL.into_iter().filter(|figure| *figure != Figure::Cell || !has_cell);
    let figures = figures.map(|figure| Line::figure(night, currency, figure));
    let settings = settings.into_iter().map(|path| Line::setting(night, path));
    let mut lines: Vec<Line> =
        settings.chain([outcome, best]).chain(figures).chain([faults]).filter(|line| !line.is_same()).collect();
    let mut room = MOST_SAID;
    for (name, cells) in facts(night) {
        let line = Line::of(name, name, Kind::Fact, cells.into_iter().map(|cell| cell.map(str::to_owned)));
        if line.is_same() {
            continue;
        }
        let Some(left) = room.checked_sub(line.bytes()) else { break };
        room = left;
        lines.push(line);
    }
    lines
}

/// Every fact but those that stand among the figures, with what each row has of it, in the order in which they are said.
fn facts(night: &Night) -> Vec<(&str, Vec<Option<&str>>)> {
    let mut facts: Vec<(&str, Vec<Option<&str>>)> = Vec::new();
    let mut places: BTreeMap<&str, usize> = BTreeMap::new();
    for (at, row) in night.rows.iter().enumerate() {
        let said = row.made().into_iter().flat_map(|made| &made.facts);
        for (name, value) in said.filter(|(name, _)| !FIGURES_ALREADY.contains(&name.as_str())) {
            let place = *places.entry(name).or_insert_with(|| {
                facts.push((name, vec![None; night.rows.len()]));
                facts.len() - 1
            });
            facts[place].1[at] = Some(value);
        }
    }
    facts
}

/// Two variants beside each other, as they stand without a script.
pub(super) struct Beside<'a> {
    pub(super) names: [&'a str; 2],
    /// In what they differ, and what each has.
    pub(super) lines: Vec<(&'a str, [&'a str; 2])>,
}

impl<'a> Beside<'a> {
    pub(super) fn of(night: &'a Night, rows: [usize; 2], lines: &'a [Line]) -> Self {
        let both = |line: &'a Line| (line.name.as_str(), rows.map(|row| line.value(row)));
        Self {
            names: rows.map(|row| night.rows[row].name.as_str()),
            lines: lines.iter().map(both).filter(|(_, [a, b])| a != b).collect(),
        }
    }
}

/// The two that stand beside each other at first: the chosen one, or the first without faults, and the next best, or the
/// next that nothing beats, or simply the next. Nothing where fewer than two were made.
pub(super) fn pair(night: &Night, fronts: &Fronts, choice: Option<&Choice>) -> Option<[usize; 2]> {
    let pick = choice.and_then(|choice| choice.pick.as_ref());
    let made = |is: fn(&Made) -> bool| {
        night.rows.iter().enumerate().filter(move |(_, row)| row.made().is_some_and(is)).map(|(at, _)| at)
    };
    let first = pick.map(|pick| pick.row).into_iter().chain(made(Made::has_no_fault)).chain(made(|_| true)).next()?;
    let best = fronts.legibility.unbeaten.iter().copied();
    let next = pick.and_then(|pick| pick.next_row).into_iter().chain(best).chain(made(|_| true));
    next.into_iter().find(|&row| row != first).map(|second| [first, second])
}

/// What the script of the page knows of a night, as a data block holds it.
#[derive(Serialize)]
pub(super) struct Known<'a> {
    variants: Vec<&'a str>,
    /// Which have no fault, and so compete.
    competes: Vec<bool>,
    chosen: Option<usize>,
    /// The two that stand beside each other until others are pinned.
    pair: Option<[usize; 2]>,
    /// Addresses of the pictures of the piece as printed, by row.
    printed: &'a [Option<String>],
    lines: &'a [Line],
}

impl<'a> Known<'a> {
    pub(super) fn of(
        night: &'a Night,
        chosen: Option<usize>,
        pair: Option<[usize; 2]>,
        printed: &'a [Option<String>],
        lines: &'a [Line],
    ) -> Self {
        let rows = &night.rows;
        Self {
            variants: rows.iter().map(|row| row.name.as_str()).collect(),
            competes: rows.iter().map(|row| row.made().is_some_and(Made::has_no_fault)).collect(),
            chosen,
            pair,
            printed,
            lines,
        }
    }

    /// As JSON that can stand within a `script` element: no text of a job can end it (HTML Standard, 4.12.1.3, which advises
    /// just this escape).
    pub(super) fn json(&self) -> String {
        // Texts and numbers under keys that are texts: nothing here can fail.
        serde_json::to_string(self).unwrap_or_default().replace('<', "\\u003c")
    }
}
