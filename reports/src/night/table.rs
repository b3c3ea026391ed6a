//! A night as CSV (RFC 4180) and as JSON.

use std::collections::BTreeMap;

use serde::Serialize;

use super::choose::Choice;
use super::figures::{Figure, Made, Quantity};
use super::front::Fronts;
use super::{Night, Outcome, Row};
use crate::advice::Effect;
use crate::record::Verdict;

/// The version of the form of the JSON.
const FORM: u32 = 1;

/// Word of a verdict, as `run.json` has it.
pub(crate) const fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::ReadyToOrder => "ready-to-order",
        Verdict::HasFaults => "has-faults",
        Verdict::NotValidated => "not-validated",
    }
}

/// What became of a variant, in a word.
pub(crate) const fn outcome(row: &Row) -> &'static str {
    match &row.outcome {
        Outcome::Made(made) => verdict(made.verdict),
        Outcome::Failed { .. } => "failed",
        Outcome::NotRun { .. } => "not-run",
    }
}

/// The codes of a variant's faults, each once, in the order in which they were found.
pub(crate) fn codes(made: &Made) -> Vec<&str> {
    let mut codes: Vec<&str> = Vec::new();
    for fault in &made.faults {
        if !codes.contains(&fault.code.as_str()) {
            codes.push(&fault.code);
        }
    }
    codes
}

/// Why there is no run, and what to do.
fn missing(row: &Row) -> Option<(&str, &str)> {
    match &row.outcome {
        Outcome::Made(_) => None,
        Outcome::Failed { why, remedy } | Outcome::NotRun { why, remedy } => Some((why, remedy)),
    }
}

/// The figures that are numbers, with the heading of their column: name and unit.
const NUMBERS: [(Figure, &str); 7] = [
    (Figure::Cells, "cells"),
    (Figure::Cell, "cell_mm"),
    (Figure::Weight, "weight_g"),
    (Figure::SmallestWall, "smallest_wall_mm"),
    (Figure::Legibility, "legibility_percent"),
    (Figure::Separation, "separation_kept_percent"),
    (Figure::Likeness, "likeness_percent"),
];

/// The variants as CSV: one header line, numbers with a point, what is not known left empty.
pub(crate) fn csv(night: &Night, fronts: &Fronts, choice: Option<&Choice>) -> String {
    let settings = night.settings();
    let mut head = vec!["variant".to_owned(), "run".to_owned(), "outcome".to_owned()];
    head.extend(settings.iter().map(|&path| path.to_owned()));
    head.extend(["price".to_owned(), "currency".to_owned()]);
    head.extend(NUMBERS.iter().map(|(_, heading)| (*heading).to_owned()));
    let last = ["effect", "faults", "cautions", "unbeaten_legibility", "unbeaten_likeness", "chosen", "why"];
    head.extend(last.map(str::to_owned));
    let mut text = line(&head);
    let chosen = choice.and_then(|choice| choice.pick.as_ref()).map(|pick| pick.row);
    for (at, row) in night.rows.iter().enumerate() {
        let made = row.made();
        let number = |figure| match made.and_then(|made| made.figure(figure)) {
            Some(Quantity::Number(number)) => number.to_string(),
            _ => String::new(),
        };
        let price = made.and_then(|made| made.size.price.as_ref());
        let mut fields = vec![row.name.clone(), row.run.clone(), outcome(row).to_owned()];
        fields.extend(settings.iter().map(|path| row.setting(path).unwrap_or_default().to_owned()));
        fields.push(price.map(|price| price.amount.clone()).unwrap_or_default());
        fields.push(price.map(|price| price.currency.clone()).unwrap_or_default());
        fields.extend(NUMBERS.iter().map(|&(figure, _)| number(figure)));
        fields.extend([
            made.and_then(|made| made.size.effect).map_or("", Effect::word).to_owned(),
            made.map(|made| codes(made).join(" ")).unwrap_or_default(),
            number(Figure::Cautions),
            yes(fronts.legibility.has(at)).to_owned(),
            yes(fronts.likeness.has(at)).to_owned(),
            yes(chosen == Some(at)).to_owned(),
            missing(row).map(|(why, _)| why.to_owned()).unwrap_or_default(),
        ]);
        text += &line(&fields);
    }
    text
}

const fn yes(is: bool) -> &'static str {
    if is { "yes" } else { "no" }
}

fn line(fields: &[String]) -> String {
    let fields: Vec<String> = fields.iter().map(|field| quoted(&tame(field))).collect();
    fields.join(",") + "\r\n"
}

/// A text that a spreadsheet does not take for a formula: one that begins like one gets an apostrophe before it (common
/// practice, no source). Numbers stay what they are.
fn tame(field: &str) -> String {
    let like_a_formula = field.starts_with(['=', '+', '-', '@', '\t', '\r']);
    let is_number = field.strip_prefix(['+', '-']).is_some_and(|digits| {
        digits.bytes().any(|byte| byte.is_ascii_digit())
            && digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.')
    });
    if like_a_formula && !is_number { format!("'{field}") } else { field.to_owned() }
}

fn quoted(field: &str) -> String {
    if field.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", field.replace('"', "\"\""))
    } else {
        field.to_owned()
    }
}

/// A night for programs.
#[derive(Serialize)]
struct Data<'a> {
    form: u32,
    commission: &'a str,
    title: &'a str,
    job: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    choice: Option<&'a Choice>,
    variants: Vec<Variant<'a>>,
}

#[derive(Serialize)]
struct Variant<'a> {
    variant: &'a str,
    run: &'a str,
    outcome: &'static str,
    changes: BTreeMap<&'a str, &'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    price: Option<Price<'a>>,
    /// In the order of the names.
    figures: BTreeMap<&'static str, f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    effect: Option<&'static str>,
    faults: Vec<Fault<'a>>,
    cautions: usize,
    unbeaten: Unbeaten,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<&'a str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    remedy: Option<&'a str>,
}

#[derive(Serialize)]
struct Price<'a> {
    amount: &'a str,
    currency: &'a str,
}

#[derive(Serialize)]
struct Fault<'a> {
    stage: &'a str,
    code: &'a str,
    message: &'a str,
    remedy: &'a str,
}

#[derive(Serialize)]
struct Unbeaten {
    legibility: bool,
    likeness: bool,
}

/// The night as JSON, for programs.
pub(crate) fn json(night: &Night, fronts: &Fronts, choice: Option<&Choice>) -> String {
    let variants = night.rows.iter().enumerate().map(|(at, row)| {
        let made = row.made();
        let figures = NUMBERS.iter().filter_map(|&(figure, name)| match made?.figure(figure)? {
            Quantity::Number(number) => Some((name, number)),
            Quantity::Money { .. } => None,
        });
        let faults = made.iter().flat_map(|made| &made.faults);
        let price = made.and_then(|made| made.size.price.as_ref());
        Variant {
            variant: &row.name,
            run: &row.run,
            outcome: outcome(row),
            changes: row.changes.iter().map(|(path, value)| (path.as_str(), value.as_str())).collect(),
            price: price.map(|price| Price { amount: &price.amount, currency: &price.currency }),
            figures: figures.collect(),
            effect: made.and_then(|made| made.size.effect).map(Effect::word),
            faults: faults
                .map(|fault| Fault {
                    stage: &fault.stage,
                    code: &fault.code,
                    message: &fault.message,
                    remedy: &fault.remedy,
                })
                .collect(),
            cautions: made.map_or(0, |made| made.cautions),
            unbeaten: Unbeaten { legibility: fronts.legibility.has(at), likeness: fronts.likeness.has(at) },
            why: missing(row).map(|(why, _)| why),
            remedy: missing(row).map(|(_, remedy)| remedy).filter(|remedy| !remedy.is_empty()),
        }
    });
    let data = Data {
        form: FORM,
        commission: &night.commission,
        title: &night.title,
        job: &night.job,
        choice,
        variants: variants.collect(),
    };
    // Texts and finite numbers under keys that are texts: nothing here can fail.
    serde_json::to_string_pretty(&data).unwrap_or_default() + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_begins_like_a_formula_is_tamed_and_numbers_are_not() {
        for (field, kept) in [
            ("=HYPERLINK(\"http://x\")", "'=HYPERLINK(\"http://x\")"),
            ("+cmd|' /C calc'!A0", "'+cmd|' /C calc'!A0"),
            ("@SUM(1)", "'@SUM(1)"),
            ("-y", "'-y"),
            ("+z", "'+z"),
            ("\tx", "'\tx"),
            ("-", "'-"),
            ("-1+1", "'-1+1"),
            ("-2.5", "-2.5"),
            ("2.5 mm", "2.5 mm"),
            ("", ""),
        ] {
            assert_eq!(tame(field), kept);
        }
    }

    #[test]
    fn fields_are_quoted_as_rfc_4180_has_it() {
        // RFC 4180, 2.6 and 2.7.
        assert_eq!(quoted("b CRLF\r\nbb"), "\"b CRLF\r\nbb\"");
        assert_eq!(quoted("b\"bb"), "\"b\"\"bb\"");
        assert_eq!(quoted("a,b"), "\"a,b\"");
        assert_eq!(quoted("plain"), "plain");
    }
}
