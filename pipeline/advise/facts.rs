//! What the stages of a trial said, and what cannot be told without one of them.

pub(crate) use turnhue_reports::advice::{JUDGES, PRICES};
use turnhue_reports::advice::{MEASURES, Size, StageSaid};
use turnhue_stages::findings::{Fact, Finding};

use crate::plan::PlannedStep;

/// What the stages said of one piece, in order: each stage with its facts and findings.
#[derive(Debug, Default)]
pub(super) struct Told {
    pub(super) stages: Vec<(&'static str, Vec<Fact>, Vec<Finding>)>,
}

impl Told {
    /// The row of this piece.
    pub(super) fn row(&self, cell: f64) -> Size {
        let said = self.stages.iter().map(|(stage, facts, findings)| StageSaid { stage, facts, findings });
        Size::said(cell, &said.collect::<Vec<_>>())
    }
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
    use turnhue_reports::advice::Effect;
    use turnhue_stages::findings::{Unit, Value};

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
