//! A ledger in words.

use turnhue_reports::record::Verdict;

use super::chain::Entry;
use super::deeds::{Choice, Deed, Delivery, FailedRun, Night, Note, Order, Origin, Redrawn, RunDeed};
use crate::diagnostic::harmless;

/// An entry in words: a line with its number, its time and what happened, and indented ones with the rest. What comes
/// from entries is made harmless to the terminal.
#[must_use]
pub fn in_words(entry: &Entry) -> String {
    let (head, rest) = told(&entry.deed);
    let head = format!("{:>4}  {}  {head}", entry.seq, entry.time.rfc3339());
    let lines = [head].into_iter().chain(rest.into_iter().map(|line| format!("      {line}")));
    lines.map(|line| harmless(&line).replace('\n', "\n      ") + "\n").collect()
}

pub(super) fn told(deed: &Deed) -> (String, Vec<String>) {
    match deed {
        Deed::Run(run) => run_told(run),
        Deed::FailedRun(failed) => failed_told(failed),
        Deed::Redrawn(Redrawn { run, files, tool }) => (
            format!("pages of {run} drawn anew"),
            vec![format!("{}, by {} {}", count(files.len(), "file"), tool.name, tool.version)],
        ),
        Deed::Night(night) => night_told(night),
        Deed::Choice(choice) => choice_told(choice),
        Deed::Order(order) => order_told(order),
        Deed::Delivery(Delivery { run, on, to }) => {
            (format!("{run} delivered on {on}{}", after(" to ", to.as_ref())), Vec::new())
        }
        Deed::Note(Note { text, by, run }) => {
            let about = after(" about ", run.as_ref());
            (format!("note{about}{}", after(" by ", by.as_ref())), vec![text.clone()])
        }
    }
}

/// A count with its word.
fn count(number: usize, word: &str) -> String {
    format!("{number} {word}{}", if number == 1 { "" } else { "s" })
}

/// A word and a value, if there is one.
fn after(word: &str, value: Option<impl ToString>) -> String {
    value.map(|value| format!("{word}{}", value.to_string())).unwrap_or_default()
}

fn run_told(run: &RunDeed) -> (String, Vec<String>) {
    let verdict = match run.verdict {
        Verdict::ReadyToOrder => "ready to order",
        Verdict::HasFaults => "has faults",
        Verdict::NotValidated => "not validated",
    };
    let stored = run.stages.iter().filter(|stage| stage.from == Origin::Store).count();
    let mut how = format!("{}, {stored} from the store", count(run.stages.len(), "stage"));
    if let Some(seconds) = run.seconds {
        how += &format!(", {seconds:.1} s");
    }
    how += &format!(", by {} {}{}", run.tool.name, run.tool.version, after(" on ", run.machine.host.as_ref()));
    let what =
        format!("job {}, {}, {}", run.job.file, count(run.inputs.len(), "input"), count(run.files.len(), "file"));
    (format!("run {}: {verdict}", run.run), vec![what, how])
}

fn failed_told(failed: &FailedRun) -> (String, Vec<String>) {
    let name = failed.run.as_ref().map(ToString::to_string).or_else(|| failed.variant.clone());
    let head = format!("run{} of job {} failed", after(" ", name), failed.job.file);
    (head, vec![failed.why.clone()])
}

fn night_told(night: &Night) -> (String, Vec<String>) {
    let failed = if night.failed > 0 { format!(", {} failed", night.failed) } else { String::new() };
    (format!("night {}: {}{failed}", night.night, count(night.runs.len(), "run")), Vec::new())
}

fn choice_told(choice: &Choice) -> (String, Vec<String>) {
    let night = after(" from night ", choice.night.as_ref());
    let head = format!("{} chosen{night}{}", choice.run, after(" by ", choice.by.as_ref()));
    let rule = choice.rule.as_ref().map(|rule| format!("rule: {rule}"));
    (head, rule.into_iter().chain([choice.why.clone()]).collect())
}

fn order_told(order: &Order) -> (String, Vec<String>) {
    let head = format!("{} ordered on {}{}", order.run, order.on, after(" from ", order.bureau.as_ref()));
    let more = [("price ", order.price.as_ref()), ("reference ", order.reference.as_ref())];
    let told = order.files().map(|file| format!("{}, {} bytes, digest {}", file.name, file.bytes, file.blake3));
    let mut rest: Vec<String> = told.collect();
    rest.extend(more.into_iter().filter_map(|(word, value)| value.map(|value| format!("{word}{value}"))));
    if let Some(despite) = &order.despite {
        rest.extend(despite.what.iter().map(|what| format!("despite this: {what}")));
        rest.push(format!("because: {}", despite.why));
    }
    (head, rest)
}
