//! What the stages said of a piece, as a row among others. Facts are found by their stage and name.

use turnhue_reports::advice::{Effect, Money, Size};
use turnhue_stages::findings::{Fact, Finding, Severity, Value};

use crate::plan::PlannedStep;

/// The stage that tells whether the effect holds.
pub(crate) const JUDGES: &str = "proof";
/// The stage that says what the piece costs.
pub(super) const PRICES: &str = "estimate";
/// The stage that measures the file to order.
const MEASURES: &str = "validate";

/// Faults of the effect itself: what they say stands in the row's `effect`.
const OF_THE_EFFECT: &str = "effect-";

/// What the stages said of one piece, in order: each stage with its facts and findings.
#[derive(Debug, Default)]
pub(super) struct Told {
    pub(super) stages: Vec<(&'static str, Vec<Fact>, Vec<Finding>)>,
}

impl Told {
    /// The last value of that name that the stage said; of any stage where none is named.
    fn value(&self, stage: Option<&str>, name: &str) -> Option<&Value> {
        let said = self.stages.iter().rev().filter(|(by, ..)| stage.is_none_or(|stage| stage == *by));
        let mut facts = said.flat_map(|(_, facts, _)| facts.iter().rev());
        facts.find(|fact| fact.name == name).map(|fact| &fact.value)
    }

    fn number(&self, stage: Option<&str>, name: &str) -> Option<f64> {
        match self.value(stage, name)? {
            Value::Number(number) => Some(tidy(*number)).filter(|number| number.is_finite()),
            #[expect(clippy::cast_precision_loss, reason = "no count comes near 2^53")]
            Value::Whole(whole) => Some(*whole as f64),
            _ => None,
        }
    }

    fn text(&self, name: &str) -> Option<&str> {
        match self.value(Some(JUDGES), name)? {
            Value::Text(text) => Some(text),
            _ => None,
        }
    }

    /// The row of this piece.
    pub(super) fn row(&self, cell: f64) -> Size {
        let whole = |name| match self.value(None, name)? {
            Value::Whole(whole) => Some(*whole),
            _ => None,
        };
        let price = match self.value(Some(PRICES), "price") {
            Some(Value::Money { amount, currency }) => {
                Some(Money { amount: amount.clone(), currency: currency.clone() })
            }
            _ => None,
        };
        let measured = |name| self.number(Some(MEASURES), name);
        let thinnest =
            [measured("thinnest wall"), measured("thinnest part")].into_iter().flatten().min_by(f64::total_cmp);
        Size {
            cell,
            cells: whole("cells after repair").or_else(|| whole("cells")),
            effect: self.text("effect").and_then(Effect::named),
            decided_by: self.text("decided by").map(str::to_owned),
            legibility: self.number(Some(JUDGES), "legibility"),
            separation: self.number(Some(JUDGES), "separation kept"),
            likeness: self.number(None, "volume overlap"),
            price,
            weight: measured("weight").or_else(|| self.number(Some(PRICES), "weight")),
            smallest_wall: thinnest,
            smallest_cell_that_holds: self.number(Some(JUDGES), "smallest cell that holds"),
            smallest_size_that_holds: self.text("smallest size that holds").map(str::to_owned),
            faults: self.faults(),
            refused: None,
        }
    }

    /// The codes of the faults, each once, in the order in which they were found.
    fn faults(&self) -> Vec<String> {
        let found = self.stages.iter().flat_map(|(.., findings)| findings);
        let grave = found.filter(|f| f.severity == Severity::Fault && !f.code.starts_with(OF_THE_EFFECT));
        let mut codes: Vec<String> = Vec::new();
        for finding in grave {
            if !codes.contains(&finding.code) {
                codes.push(finding.code.clone());
            }
        }
        codes
    }
}

/// To nine digits behind the point: what is a sum of rounded parts reads as the number that is meant.
fn tidy(number: f64) -> f64 {
    let rounded = (number * 1e9).round() / 1e9;
    if rounded.is_finite() { rounded } else { number }
}

/// What cannot be told without stages that the chain lacks, and the line to add.
pub(super) fn missing(steps: &[PlannedStep]) -> Vec<String> {
    const WANTED: [(&str, &str, &str); 3] = [
        (JUDGES, "whether the effect holds", "`- proof` after `colour`"),
        (MEASURES, "the smallest wall, and faults of the file to order", "`- validate` after `colour`"),
        (PRICES, "the price", "`- estimate: { rates: rates/bureau-demo.yaml }`, with your own bureau's price list"),
    ];
    let lacks = |stage: &str| steps.iter().all(|step| step.stage.name() != stage);
    let wanted = WANTED.into_iter().filter(|(stage, ..)| lacks(stage));
    wanted.map(|(stage, what, line)| format!("without `{stage}` nothing tells {what}: add a line {line}")).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use turnhue_stages::findings::Unit;

    use super::*;

    #[test]
    fn facts_are_found_by_stage_and_name() {
        let money = Fact {
            name: "price".to_owned(),
            value: Value::Money { amount: "9.50".into(), currency: "EUR".into() },
            unit: None,
        };
        let told = Told {
            stages: vec![
                (
                    "voxelise",
                    vec![Fact::number("volume overlap", 90.0, Unit::Percent), Fact::whole("cells", 9, Unit::Cells)],
                    vec![],
                ),
                ("repair", vec![Fact::number("volume overlap", 91.0, Unit::Percent)], vec![]),
                (
                    "proof",
                    vec![Fact::text("effect", "marginal"), Fact::number("legibility", 80.1 + 1e-14, Unit::Percent)],
                    vec![Finding::fault("effect-fails", "x", "y")],
                ),
                (
                    "validate",
                    vec![
                        Fact::number("thinnest wall", 2.5, Unit::Mm),
                        Fact::number("thinnest part", 1.999_999_999_999_9, Unit::Mm),
                        Fact::number("weight", 12.0, Unit::Gram),
                    ],
                    vec![
                        Finding::fault("too-large", "x", "y"),
                        Finding::fault("too-large", "z", "y"),
                        Finding::note("n", "x", ""),
                    ],
                ),
                ("estimate", vec![Fact::number("weight", 12.04, Unit::Gram), money], vec![]),
            ],
        };
        let row = told.row(3.0);
        assert_eq!((row.cell, row.cells, row.effect), (3.0, Some(9), Some(Effect::Marginal)));
        assert_eq!((row.likeness, row.legibility, row.separation), (Some(91.0), Some(80.1), None));
        assert_eq!((row.smallest_wall, row.weight), (Some(2.0), Some(12.0)));
        assert_eq!(row.price.unwrap().to_string(), "9.50 EUR");
        // What is wrong with the effect is said once.
        assert_eq!(row.faults, ["too-large"]);
        assert_eq!(Told::default().row(1.0), Size { cell: 1.0, ..Size::default() });
    }
}
