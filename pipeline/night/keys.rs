//! The keys of a chain's results: what each hangs on.

use std::collections::BTreeMap;

use crate::plan::{Plan, PlannedStep, Role};
use crate::store::{FORM, Key, Store};

/// The keys of the results of a plan's stages, in order. Each hangs on the one before it, and so on everything that went in so
/// far: the model as it stands, the process and the title for the first; then each stage with its version, its settings and the
/// files that they name.
pub(crate) fn of_chain(plan: &Plan, steps: &[PlannedStep]) -> Vec<Key> {
    let mut before = of_start(plan);
    let mut keys = Vec::with_capacity(steps.len());
    for step in steps {
        let files = step.stage.files();
        let digests: Vec<&str> = files.iter().map(|name| digest_of(plan, name)).collect();
        let version = step.stage.version().to_le_bytes();
        let own = [before.bytes(), step.stage.name().as_bytes(), &version[..], step.settings().as_bytes()];
        let files = files.iter().zip(&digests).flat_map(|(name, digest)| [name.as_bytes(), digest.as_bytes()]);
        before = Key::of(own.into_iter().chain(files));
        keys.push(before);
    }
    keys
}

/// The digest of a file that settings name; empty for one that is not among the inputs, which no plan allows.
fn digest_of<'a>(plan: &'a Plan, name: &str) -> &'a str {
    let input = plan.inputs().iter().find(|input| input.role == Role::Setting && input.file.name == name);
    input.map_or("", |input| input.file.blake3.as_str())
}

/// What every chain of a plan begins with.
fn of_start(plan: &Plan) -> Key {
    let model = &plan.job.model;
    let notes = serde_json::to_vec(&model.findings().collect::<Vec<_>>()).unwrap_or_default();
    let process = serde_json::to_vec(&*plan.job.process).unwrap_or_default();
    let title = plan.job.title.as_str().as_bytes();
    Key::of([&FORM.to_le_bytes()[..], model.digest(), &notes, &process, title])
}

/// How long the stage at a place of a plan will take, in seconds: nothing where the store has its result, else as long as that
/// stage took in the mean, where `times` knows it.
pub fn expected(store: &Store, times: &BTreeMap<String, f64>, plan: &Plan, stage: usize) -> Option<f64> {
    let key = *of_chain(plan, &plan.job.steps).get(stage)?;
    if store.find(&key).is_some() {
        return Some(0.0);
    }
    times.get(plan.job.steps.get(stage)?.stage.name()).copied()
}
