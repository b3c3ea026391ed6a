//! The first screen: where the commission stands, whether its record is whole, and what comes next, with the command for it.

use super::{Checked, Commission, Deed, Run};
use crate::answers::Answer;
use crate::numbers;
use crate::record::Verdict;
use crate::said;

/// What a commission has come to.
pub(crate) struct Standing<'a> {
    stage: Stage,
    /// The run that it is about.
    pub(crate) run: Option<&'a str>,
    /// The entry that says so.
    pub(crate) entry: Option<u64>,
    answer: Answer,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Stage {
    Making,
    Chosen,
    Ordered,
    Delivered,
}

/// What to do next: words, and a command where one does it.
pub(crate) struct Next {
    pub(crate) word: &'static str,
    pub(crate) meaning: String,
    pub(crate) command: Option<String>,
}

const ASKED: &str = "Where does it stand?";

impl<'a> Standing<'a> {
    /// What people recorded last decides; a choice by a job's rules does not undo an order.
    pub(crate) fn of(commission: &'a Commission) -> Self {
        let mut standing = Self::in_the_making(commission);
        for entry in &commission.entries {
            let (stage, run, answer) = match &entry.deed {
                Deed::Choice(choice) if choice.rule.is_none() || standing.stage <= Stage::Chosen => {
                    let by = match (&choice.by, &choice.rule) {
                        (Some(by), _) => format!("{by} chose run `{}`", choice.run),
                        (None, Some(_)) => format!("The rules of its job chose run `{}`", choice.run),
                        (None, None) => format!("Run `{}` was chosen", choice.run),
                    };
                    let on = numbers::day(entry.time.get(..10).unwrap_or_default());
                    let meaning = format!("{by} on {on}. It is not ordered yet.");
                    (Stage::Chosen, &choice.run, answer("known", "Chosen", &meaning))
                }
                Deed::Order(order) => {
                    let from = after(" from ", order.bureau.as_ref());
                    let price = after(" for ", order.price.as_ref());
                    let meaning = format!("Run `{}` was ordered{from}{price}.", order.run);
                    let class = if order.despite.is_some() { "open" } else { "ready" };
                    (Stage::Ordered, &order.run, answer(class, &on_day("Ordered on", &order.on), &meaning))
                }
                Deed::Delivery(delivery) => {
                    let to = after(" to ", delivery.to.as_ref());
                    let meaning = format!("The piece of run `{}` was handed over{to}.", delivery.run);
                    (Stage::Delivered, &delivery.run, answer("ready", &on_day("Delivered on", &delivery.on), &meaning))
                }
                _ => continue,
            };
            standing = Self { stage, run: Some(run), entry: Some(entry.seq), answer };
        }
        if commission.checked.is_broken() {
            standing.answer.meaning += " So far as its entries can be read.";
        }
        standing
    }

    fn in_the_making(commission: &'a Commission) -> Self {
        let runs: Vec<&Run> = newest_runs(commission);
        let ready = runs.iter().filter(|run| run.verdict == Verdict::ReadyToOrder).count();
        let lead = runs.iter().rfind(|run| run.verdict == Verdict::ReadyToOrder).or(runs.last());
        let meaning = match (runs.len(), ready) {
            (0, _) if commission.checked.is_broken() => "No run can be read.".to_owned(),
            (0, _) => "No run has come to a result yet.".to_owned(),
            (1, 0) => "There is one run, and it cannot be ordered as it is.".to_owned(),
            (1, 1) => "There is one run, ready to order, and nothing is chosen yet.".to_owned(),
            (all, ready) => format!("Of {all} runs {ready} can be ordered, and nothing is chosen yet."),
        };
        let answer = answer("open", "In the making", &meaning);
        Self { stage: Stage::Making, run: lead.map(|run| run.run.as_str()), entry: None, answer }
    }

    pub(crate) fn answer(&self) -> &Answer {
        &self.answer
    }

    /// What comes next. Nothing in a copy, which is for reading.
    pub(crate) fn next(&self, commission: &Commission) -> Option<Next> {
        if commission.is_copy() {
            return None;
        }
        if !commission.checked.amiss.is_empty() {
            return Some(Next {
                word: "Mend its record",
                meaning: "What is amiss stands below, each with what to do about it. Then look again:".to_owned(),
                command: Some(format!("turnhue verify {}", whole(commission))),
            });
        }
        let run = self.run.map(|name| format!("{}/{name}", place(commission)));
        let run = run.as_deref().map(said::shell_word).unwrap_or_default();
        let verdict = newest_runs(commission).iter().find(|of| Some(of.run.as_str()) == self.run).map(|of| of.verdict);
        Some(match (self.stage, verdict) {
            (Stage::Delivered, _) => Next {
                word: "Hand on its record",
                meaning: "A copy of all of it in one folder, with this page:".to_owned(),
                command: Some(format!("turnhue export {} --to FOLDER", whole(commission))),
            },
            (Stage::Ordered, _) => Next {
                word: "Hand it over",
                meaning: "When it comes, check it by the order sheet. When the client has it, say so:".to_owned(),
                command: Some(format!("turnhue deliver {run} --to NAME")),
            },
            (_, None) => Next {
                word: "Make it",
                meaning: "The last try says below what kept it from being made; mend that and run its job again."
                    .to_owned(),
                command: None,
            },
            (Stage::Chosen, Some(Verdict::ReadyToOrder)) => Next {
                word: "Order it",
                meaning: "Read its cautions first. When it is ordered, say so:".to_owned(),
                command: Some(format!("turnhue order {run} --bureau NAME --price AMOUNT")),
            },
            (Stage::Making, Some(Verdict::ReadyToOrder)) => Next {
                word: "Choose a run",
                meaning: "Look at the summaries below, then say which it is, and why:".to_owned(),
                command: Some(format!("turnhue choose {run} --why REASON")),
            },
            (_, Some(Verdict::HasFaults)) => Next {
                word: "Mend its faults",
                meaning: "Its summary says of each fault what to do about it. Change the job and run it again."
                    .to_owned(),
                command: None,
            },
            (_, Some(Verdict::NotValidated)) => Next {
                word: "Have it measured",
                meaning: "Nothing measured its file: end the chain of its job with `validate` and run it again."
                    .to_owned(),
                command: None,
            },
        })
    }
}

impl PartialOrd for Stage {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some((*self as u8).cmp(&(*other as u8)))
    }
}

fn answer(class: &'static str, word: &str, meaning: &str) -> Answer {
    Answer { asked: ASKED, class, word: word.to_owned(), meaning: numbers::bound(meaning) }
}

fn on_day(word: &str, day: &str) -> String {
    format!("{word} {}", numbers::day(day))
}

fn after(word: &str, value: Option<&String>) -> String {
    value.map(|value| format!("{word}{value}")).unwrap_or_default()
}

/// Every run once, as the last entry tells it.
fn newest_runs(commission: &Commission) -> Vec<&Run> {
    let mut seen = std::collections::BTreeSet::new();
    let runs = commission.entries.iter().rev().filter_map(|entry| match &entry.deed {
        Deed::Run(run) if seen.insert(run.run.as_str()) => Some(run),
        _ => None,
    });
    let mut runs: Vec<&Run> = runs.collect();
    runs.reverse();
    runs
}

/// The commission's folder, as commands that take one of its runs name it.
fn place(commission: &Commission) -> String {
    format!("{}/{}", commission.runs, commission.name)
}

/// The commission, as commands that take all of it name it: runs are looked for in `runs` unless they are told otherwise.
pub(crate) fn whole(commission: &Commission) -> String {
    said::shell_word(&if commission.runs == "runs" { commission.name.clone() } else { place(commission) })
}

/// Whether the record is whole, as far as that was looked at.
pub(crate) fn record(commission: &Commission) -> Answer {
    let asked = "Is its record whole?";
    let Checked { amiss, files, .. } = &commission.checked;
    let entries = match commission.entries.len() {
        1 => "The one entry".to_owned(),
        count => format!("All {} entries", numbers::tidy(&count.to_string())),
    };
    let when = commission.drawn.as_deref().map(numbers::moment);
    let when = |copied: &str| when.as_ref().map_or_else(|| copied.to_owned(), |when| format!("on {when}"));
    let (class, word, meaning) = match (amiss.len(), files) {
        (0, Some(files)) => {
            let measured =
                format!("{} files ({})", numbers::tidy(&files.files.to_string()), numbers::bytes(files.bytes));
            let meaning = format!("{entries} and {measured} were as recorded {}.", when("when this copy was made"));
            ("ready", "Whole", meaning)
        }
        (0, None) => {
            let verify = format!("`turnhue verify {}` does that", whole(commission));
            let meaning = format!("{entries} were whole {}. Files were not checked: {verify}.", when("then"));
            ("known", "Entries whole", meaning)
        }
        (count, measured) => {
            let things = if count == 1 { "One thing is".to_owned() } else { format!("{count} things are") };
            let unmeasured = if measured.is_none() { " Files were not checked." } else { "" };
            let meaning = format!("{things} not as recorded, seen {}.{unmeasured}", when("when this copy was made"));
            ("faults", "Not whole", meaning)
        }
    };
    let meaning = meaning.replacen("The one entry were", "The one entry was", 1);
    Answer { asked, class, word: word.to_owned(), meaning }
}
