//! Why a stage of a run was run, or was not.
//!
//! Told from the ledger and the records of the commission: what the stage's result hangs on, and which run before it was the
//! most like it.

use std::path::Path;

use serde_json::Value;
use turnhue_reports::record::{self, Record, StageRecord};

use crate::diagnostic::{Diagnostic, harmless, listed, nearest};
use crate::ledger::deeds::{Deed, Origin, RunDeed};
use crate::ledger::{Entry, Ledger, Trouble};
use crate::run::RECORD;

/// Why there is nothing to explain.
#[derive(Debug)]
pub enum Unexplained {
    /// What was asked for is not there.
    Wrong(Box<Diagnostic>),
    /// The ledger cannot be read.
    Ledger(Trouble),
}

/// The run in a folder of a commission, with the ledger's entries about runs so far.
struct Told {
    record: Record,
    deed: RunDeed,
    /// When it was written into the ledger.
    time: String,
    /// Earlier runs, the oldest first, with when they were written.
    earlier: Vec<(String, RunDeed)>,
    /// Later ones: variants of one night are entered as they end.
    later: Vec<(String, RunDeed)>,
}

/// Says why a stage of the run in `folder` was run or taken from the store.
///
/// # Errors
/// See [`Unexplained`].
pub fn explain(folder: &Path, stage: &str) -> Result<String, Unexplained> {
    let told = told(folder)?;
    let Some(at) = told.record.stages.iter().position(|done| done.name == stage) else {
        let names = || told.record.stages.iter().map(|done| done.name.as_str());
        let fault = Diagnostic::error(format!("run {} has no stage `{stage}`", told.record.run));
        return Err(wrong(fault.remedy(match nearest(stage, names()) {
            Some(name) => format!("is `{name}` meant?"),
            None => format!("its stages are {}", listed(names())),
        })));
    };
    let done = told.deed.stages.get(at);
    let made = done.is_none_or(|done| done.from == Origin::Made);
    let mut words = format!("{} of run {}, entered {}\n", stage, told.record.run, told.time);
    words += &match (made, done.and_then(|done| done.seconds)) {
        (true, Some(seconds)) => format!("  was run, in {seconds:.2} s\n"),
        (true, None) => "  was run\n".to_owned(),
        (false, _) => "  was taken from the store\n".to_owned(),
    };
    words += &format!("  because {}\n", if made { why_made(&told, at, folder) } else { why_stored(&told, at) });
    words += &hangs_on(&told.record, at);
    Ok(harmless(&words))
}

fn wrong(fault: Diagnostic) -> Unexplained {
    Unexplained::Wrong(Box::new(fault))
}

fn told(folder: &Path) -> Result<Told, Unexplained> {
    let path = folder.join(RECORD);
    let record = record::read(&path).map_err(|error| {
        let fault = Diagnostic::error(format!("could not read the record {}: {error}", path.display()));
        wrong(fault.remedy("name the folder of a run, such as runs/COMMISSION/RUN"))
    })?;
    let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    let entries = Ledger::of(whole.parent().unwrap_or(Path::new("."))).read().map_err(Unexplained::Ledger)?;
    let runs = entries.into_iter().filter_map(|Entry { time, deed, .. }| match deed {
        Deed::Run(deed) => Some((time.rfc3339(), *deed)),
        _ => None,
    });
    let mut earlier: Vec<(String, RunDeed)> = runs.collect();
    let own = earlier.iter().position(|(_, deed)| deed.run.as_str() == record.run);
    let mut later = own.map_or_else(Vec::new, |at| earlier.split_off(at)).into_iter();
    match later.next() {
        Some((time, deed)) => Ok(Told { record, deed, time, earlier, later: later.collect() }),
        None => {
            let fault = Diagnostic::error(format!("the ledger has no entry for run {}", record.run));
            Err(wrong(fault.remedy("run its job again: an entry is then written for it")))
        }
    }
}

/// The key of a stage's result, in an entry.
fn key(deed: &RunDeed, at: usize) -> Option<String> {
    deed.stages.get(at)?.key.as_ref().map(ToString::to_string)
}

fn why_stored(told: &Told, at: usize) -> String {
    let own = key(&told.deed, at);
    let maker = |runs: &[(String, RunDeed)]| {
        let made = runs.iter().rev().find(|(_, deed)| made_by(deed, own.as_deref()));
        made.map(|(time, deed)| (deed.run.as_str().to_owned(), time.clone()))
    };
    match (maker(&told.earlier), maker(&told.later)) {
        (Some((run, time)), _) => format!("run {run} had made the same on {time}"),
        (None, Some((run, time))) => format!("run {run}, entered after it on {time}, had made the same"),
        (None, None) => {
            "the same had been made before: by another commission, or by a run that was not finished".to_owned()
        }
    }
}

/// Whether a run made the result with that key itself.
fn made_by(deed: &RunDeed, wanted: Option<&str>) -> bool {
    let is_it = |index| wanted.is_some() && key(deed, index).as_deref() == wanted;
    deed.stages.iter().enumerate().any(|(index, done)| done.from == Origin::Made && is_it(index))
}

fn why_made(told: &Told, at: usize, folder: &Path) -> String {
    let own = key(&told.deed, at);
    let again = told.earlier.iter().rev().find(|(_, deed)| made_by(deed, own.as_deref()));
    if let Some((time, deed)) = again {
        return format!(
            "the store no longer had what run {} ({time}) had made: it was tidied away, was damaged, or is another store",
            deed.run.as_str()
        );
    }
    let same = |deed: &RunDeed, index| key(deed, index).is_some() && key(deed, index) == key(&told.deed, index);
    let alike = |deed: &RunDeed| (0..at).take_while(|&index| same(deed, index)).count();
    // Variants of the same night that took it over are entered before it at times, and say nothing.
    let others = told.earlier.iter().filter(|(_, deed)| !same(deed, at));
    // Of runs that are alike equally far, the latest.
    let Some((_, like)) = others.max_by_key(|(_, deed)| alike(deed)) else {
        return "no run of this commission had made it before".to_owned();
    };
    let Ok(other) = record::read(&folder.join("..").join(like.run.as_str()).join(RECORD)) else {
        return format!(
            "what it hangs on was not the same as in run {}, whose record cannot be read",
            like.run.as_str()
        );
    };
    let first = alike(like);
    let differing = differences(&told.record, &other, first);
    let name = &told.record.stages[first].name;
    let where_ = if first == at { String::new() } else { format!("`{name}`, before it, is not the same: ") };
    format!(
        "{where_}{}",
        if differing.is_empty() {
            format!("it differs from run {}", other.run)
        } else {
            listed_all(&differing) + &format!(" (the run most like it is {})", other.run)
        }
    )
}

fn listed_all(differing: &[String]) -> String {
    differing.join("; ")
}

/// What differs between two runs at the first stage whose results differ.
fn differences(own: &Record, other: &Record, at: usize) -> Vec<String> {
    let mut found = Vec::new();
    let Some(stage) = own.stages.get(at) else { return found };
    match other.stages.get(at) {
        Some(like) if like.name == stage.name => {
            if like.version != stage.version {
                found.push(format!(
                    "`{}` is in version {}, and was in version {}",
                    stage.name, stage.version, like.version
                ));
            }
            let mut settings = Vec::new();
            compare(&stage.name, &stage.settings, &like.settings, &mut settings);
            found.extend(settings);
        }
        Some(like) => found.push(format!("`{}` stands where `{}` stood", stage.name, like.name)),
        None => found.push(format!("the chain ended before `{}`", stage.name)),
    }
    for input in &own.inputs {
        match other.inputs.iter().find(|like| like.name == input.name) {
            Some(like) if like.blake3 == input.blake3 => {}
            Some(like) => found.push(format!(
                "{} has other bytes (digest {}…, was {}…)",
                input.name,
                &input.blake3[..8.min(input.blake3.len())],
                &like.blake3[..8.min(like.blake3.len())]
            )),
            None => found.push(format!("{} ({}) did not go in", input.name, input.what)),
        }
    }
    if at == 0 {
        for part in ["title", "model", "process"] {
            if own.resolved.get(part) != other.resolved.get(part) {
                compare(part, &own.resolved[part], &other.resolved[part], &mut found);
            }
        }
    }
    found
}

/// The settings that differ, by their path.
fn compare(path: &str, own: &Value, other: &Value, found: &mut Vec<String>) {
    match (own, other) {
        (Value::Object(own), Value::Object(other)) => {
            let names: std::collections::BTreeSet<&String> = own.keys().chain(other.keys()).collect();
            for name in names {
                let (own, other) = (own.get(name).unwrap_or(&Value::Null), other.get(name).unwrap_or(&Value::Null));
                compare(&format!("{path}.{name}"), own, other, found);
            }
        }
        (Value::Array(own), Value::Array(other)) if own.len() == other.len() => {
            for (index, (own, other)) in own.iter().zip(other).enumerate() {
                compare(&format!("{path}[{index}]"), own, other, found);
            }
        }
        _ if own == other => {}
        _ => found.push(format!("{path} is {}, and was {}", plain(own), plain(other))),
    }
}

fn plain(value: &Value) -> String {
    match value {
        Value::Null => "left out".to_owned(),
        Value::String(text) => text.clone(),
        value => value.to_string(),
    }
}

/// All that a stage's result hangs on.
fn hangs_on(record: &Record, at: usize) -> String {
    let mut words = "  it hangs on\n".to_owned();
    for input in &record.inputs {
        words += &format!("    {} ({}), digest {}\n", input.name, input.what, input.blake3);
    }
    let stage = |stage: &StageRecord| {
        let key = stage.key.as_deref().map_or_else(String::new, |key| format!(", key {}…", &key[..12.min(key.len())]));
        format!("    {} version {}, {}{key}\n", stage.name, stage.version, stage.settings)
    };
    words += &record.stages[..=at].iter().map(stage).collect::<String>();
    words
}
