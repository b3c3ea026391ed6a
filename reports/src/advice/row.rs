//! What the stages said of a piece, as a row among others. Facts are found by their stage and name.

use turnhue_stages::findings::{Fact, Finding, Severity, Value};

use super::{Effect, Money, Size};

/// The stage that tells whether the effect holds.
pub const JUDGES: &str = "proof";
/// The stage that says what the piece costs.
pub const PRICES: &str = "estimate";
/// The stage that measures the file to order.
pub const MEASURES: &str = "validate";

/// Faults of the effect itself: what they say stands in the row's `effect`.
const OF_THE_EFFECT: &str = "effect-";

/// What one stage said.
#[derive(Clone, Copy, Debug)]
pub struct StageSaid<'a> {
    /// Its name.
    pub stage: &'a str,
    /// What it measured.
    pub facts: &'a [Fact],
    /// What it found.
    pub findings: &'a [Finding],
}

impl Size {
    /// The row of a piece whose cell has an edge of `cell` mm, from what the stages said of it, in order.
    #[must_use]
    pub fn said(cell: f64, stages: &[StageSaid<'_>]) -> Self {
        let whole = |name| match value(stages, None, name)? {
            Value::Whole(whole) => Some(*whole),
            _ => None,
        };
        let text = |name| match value(stages, Some(JUDGES), name)? {
            Value::Text(text) => Some(text.as_str()),
            _ => None,
        };
        let price = match value(stages, Some(PRICES), "price") {
            Some(Value::Money { amount, currency }) => {
                Some(Money { amount: amount.clone(), currency: currency.clone() })
            }
            _ => None,
        };
        let judged = |name| number(stages, Some(JUDGES), name);
        let measured = |name| number(stages, Some(MEASURES), name);
        let thinnest =
            [measured("thinnest wall"), measured("thinnest part")].into_iter().flatten().min_by(f64::total_cmp);
        Self {
            cell,
            cells: whole("cells after repair").or_else(|| whole("cells")),
            effect: text("effect").and_then(Effect::named),
            decided_by: text("decided by").map(str::to_owned),
            legibility: judged("legibility"),
            separation: judged("separation kept"),
            likeness: number(stages, None, "volume overlap"),
            price,
            weight: measured("weight").or_else(|| number(stages, Some(PRICES), "weight")),
            smallest_wall: thinnest,
            smallest_cell_that_holds: judged("smallest cell that holds"),
            smallest_size_that_holds: text("smallest size that holds").map(str::to_owned),
            faults: faults(stages),
            refused: None,
        }
    }
}

/// The last value of that name that the stage said; of any stage where none is named.
fn value<'a>(stages: &[StageSaid<'a>], stage: Option<&str>, name: &str) -> Option<&'a Value> {
    let said = stages.iter().rev().filter(|said| stage.is_none_or(|stage| stage == said.stage));
    let mut facts = said.flat_map(|said| said.facts.iter().rev());
    facts.find(|fact| fact.name == name).map(|fact| &fact.value)
}

/// As [`value`], where it is a number.
pub(crate) fn number(stages: &[StageSaid<'_>], stage: Option<&str>, name: &str) -> Option<f64> {
    match value(stages, stage, name)? {
        Value::Number(number) => Some(tidy(*number)).filter(|number| number.is_finite()),
        #[expect(clippy::cast_precision_loss, reason = "no count comes near 2^53")]
        Value::Whole(whole) => Some(*whole as f64),
        _ => None,
    }
}

/// The codes of the faults, each once, in the order in which they were found.
fn faults(stages: &[StageSaid<'_>]) -> Vec<String> {
    let found = stages.iter().flat_map(|said| said.findings);
    let grave = found.filter(|f| f.severity == Severity::Fault && !f.code.starts_with(OF_THE_EFFECT));
    let mut codes: Vec<String> = Vec::new();
    for finding in grave {
        if !codes.contains(&finding.code) {
            codes.push(finding.code.clone());
        }
    }
    codes
}

/// To nine digits behind the point: what is a sum of rounded parts reads as the number that is meant.
fn tidy(number: f64) -> f64 {
    let rounded = (number * 1e9).round() / 1e9;
    if rounded.is_finite() { rounded } else { number }
}
