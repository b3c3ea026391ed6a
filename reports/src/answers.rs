//! The first screen of the summary: what the piece is, and three answers: whether its effect will hold, whether it can be
//! ordered, what it costs. What nobody reckoned is said so, with the stage that would.

use turnhue_stages::findings::Severity;

use crate::facts;
use crate::proof::{self, Effect};
use crate::record::{Record, StageRecord, Verdict};
use crate::said;

/// The stage whose facts are the cost of the piece.
pub(crate) const COST_STAGE: &str = "estimate";

/// What the piece comes to in one respect.
pub(crate) struct Answer {
    /// The question.
    pub(crate) asked: &'static str,
    /// Its class in the style sheet, from which it has its tone and its sign.
    pub(crate) class: &'static str,
    /// The answer, in a word or two.
    pub(crate) word: String,
    /// What it means, or why it is so, and what to do next.
    pub(crate) meaning: String,
}

/// Whether the effect will hold, by the last prediction of the run.
pub(crate) fn effect(effect: Option<&Effect>) -> Answer {
    let asked = "Will the effect hold?";
    match effect {
        Some(effect) => Answer {
            asked,
            class: effect.class,
            word: effect.word.clone(),
            meaning: effect.decided_by.as_deref().map_or_else(String::new, said::sentence),
        },
        None => Answer {
            asked,
            class: "open",
            word: "Not predicted".to_owned(),
            meaning: format!(
                "Add the stage `{}` to the job to see what the printed piece will look like.",
                proof::STAGE
            ),
        },
    }
}

/// Whether the piece can be ordered.
pub(crate) fn order(record: &Record) -> Answer {
    let asked = "Can it be ordered?";
    let count = |severity| record.findings().iter().filter(|(_, finding)| finding.severity == severity).count();
    let (class, word, meaning) = match record.verdict {
        Verdict::ReadyToOrder => {
            let first = match count(Severity::Caution) {
                0 => String::new(),
                1 => " Read the caution below first.".to_owned(),
                n => format!(" Read the {n} cautions below first."),
            };
            let meaning = format!("The file to order was read back and measured, and no stage found a fault.{first}");
            ("ready", "Ready to order", meaning)
        }
        Verdict::HasFaults => {
            let faults = match count(Severity::Fault) {
                1 => "1 fault stands below, with".to_owned(),
                n => format!("{n} faults stand below, each with"),
            };
            let meaning = format!("Do not order this piece as it is: {faults} what to do about it.");
            ("faults", "Has faults", meaning)
        }
        Verdict::NotValidated => {
            let meaning = "No stage found a fault, but nothing measured the file to order. Add the stage `validate` to \
                           the job and run it again before ordering.";
            ("open", "Not validated", meaning.to_owned())
        }
    };
    Answer { asked, class, word: word.to_owned(), meaning }
}

/// What it costs, for as many copies as were asked for first.
pub(crate) fn cost(record: &Record) -> Answer {
    let asked = "What does it cost?";
    let stage = facts::stage(record, COST_STAGE).map(|(_, stage)| stage);
    let told = |name| stage.and_then(|stage| facts::fact(stage, name)).map(said::value);
    let Some(price) = told("price") else {
        return Answer {
            asked,
            class: "open",
            word: "Not priced".to_owned(),
            meaning: format!("Add the stage `{COST_STAGE}` with a file of rates to the job."),
        };
    };
    let copies = match stage.and_then(copies) {
        Some("1") => "For one copy, all in".to_owned(),
        Some(copies) => format!("For {copies} copies, all in"),
        None => "All in".to_owned(),
    };
    let lead = told("lead time").map_or_else(String::new, |time| format!("; ready in {time}"));
    let meaning = format!("{copies}{lead}. The bureau’s own offer is what counts.");
    Answer { asked, class: "known", word: price, meaning }
}

/// For how many copies the price is told.
fn copies(stage: &StageRecord) -> Option<&str> {
    facts::table(stage, "cost by copies")?.rows.first()?.first().map(String::as_str)
}
