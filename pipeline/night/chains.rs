//! The chain of a variant, settled: its cell found where the job leaves that open, and what can be known of each stage
//! before it runs.

use std::fs;
use std::io::{self, Write as _};

use turnhue_reports::advice::Advice;
use turnhue_stages::stage::{Artefact, Outcome, Shelf};
use turnhue_stages::workpiece::Workpiece;

use super::graph::Chain;
use super::{keys, names};
use crate::advise;
use crate::events::Listener;
use crate::plan::Plan;
use crate::run::{Failure, Surroundings, disk_failure};
use crate::store::{Done, Entry, Key, Store};

/// The files that hold what comparing sizes of the cell came to.
const ADVICE_TABLE: &str = "advice.csv";
pub(crate) const ADVICE: &str = "advice.json";

/// Settles the chain of a plan.
pub(super) fn settle(
    plan: &Plan,
    surroundings: &Surroundings<'_>,
    listener: &mut dyn Listener,
) -> Result<Chain, Failure> {
    let advice = take_advice(plan, surroundings, listener)?;
    let steps = advise::chain_of(plan, advice.as_ref())?;
    let keys = keys::of_chain(plan, &steps);
    let outlook = plan.outlook();
    let peaks = outlook.iter().map(turnhue_stages::outlook::Outlook::peak).collect();
    let weights = outlook.iter().map(|outlook| outlook.holds + outlook.takes).collect();
    Ok(Chain { steps, keys, peaks, weights, advice })
}

/// Compares sizes of the cell, where the job asks for it; what came of it before is in the store.
pub(super) fn take_advice(
    plan: &Plan,
    surroundings: &Surroundings<'_>,
    listener: &mut dyn Listener,
) -> Result<Option<Advice>, Failure> {
    if !plan.compares_sizes() {
        return Ok(None);
    }
    let store = surroundings.store;
    let failed = |error: &io::Error| disk_failure("could not keep what comparing sizes came to", error);
    let key = Key::of([&b"comparing sizes"[..], names::digest(plan).as_bytes()]);
    if let Some(advice) = store.find(&key).and_then(|entry| kept_advice(store, &entry)) {
        return Ok(Some(advice));
    }
    let mut draft = store.draft([]).map_err(|error| failed(&error))?;
    let begun = surroundings.clock.elapsed();
    let mut advice = advise::compare(plan, draft.folder(), surroundings.cancel, listener)?;
    let json =
        serde_json::to_string_pretty(&advice).unwrap_or_else(|error| panic!("an advice is JSON: {error}")) + "\n";
    let mut outcome = Outcome::default();
    for (name, what, text) in [
        (ADVICE_TABLE, "sizes of the cell beside each other, as CSV", advise::csv(&advice)),
        (ADVICE, "sizes of the cell beside each other, with the recommendation, as JSON", json),
    ] {
        let written = draft.create(name).and_then(|mut out| out.write_all(text.as_bytes()));
        written.map_err(|error| failed(&error))?;
        outcome.artefacts.push(Artefact { name: name.to_owned(), what: what.to_owned() });
    }
    let seconds = (surroundings.clock.elapsed() - begun).as_secs_f64();
    let (before, after) = (Workpiece::default(), Workpiece::default());
    let done = Done { key, stage: "advise".to_owned(), version: 1, seconds, outcome, before, after };
    let entry = store.publish(draft, &done).map_err(|error| failed(&error))?;
    advice.files.clone_from(&entry.artefacts);
    Ok(Some(advice))
}

/// What comparing sizes came to, as the store has it; none if it cannot be read.
fn kept_advice(store: &Store, entry: &Entry) -> Option<Advice> {
    let json = entry.artefacts.iter().find(|file| file.name == ADVICE)?;
    let path = store.file(json.blake3.parse().ok()?)?;
    let mut advice: Advice = serde_json::from_slice(&fs::read(path).ok()?).ok()?;
    advice.files.clone_from(&entry.artefacts);
    Some(advice)
}
