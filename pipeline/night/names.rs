//! What a run is called: after what went in, not after when. The same again has the same name, and so the same folder.

use serde_json::{Value, json};

use crate::plan::{Plan, Role};

/// The longest beginning of a run's name, in characters: it stays readable, and a folder on every system.
const LONGEST: usize = 64;

/// The name of a plan's run: its variant's, or its job file's where it has no variants, and eight digits of a digest of all
/// that the result hangs on.
pub(crate) fn of_run(plan: &Plan) -> String {
    let readable = match plan.variant() {
        Some(variant) => variant.name().to_owned(),
        None => of_job(plan),
    };
    format!("{readable}-{}", &digest(plan).to_hex()[..8])
}

/// The name of a job's night: that of [`of_job`], and where the file's name could not be kept as it is, digits of its digest,
/// so that no two jobs have one page.
pub(crate) fn of_night(plan: &Plan) -> String {
    let name = of_job(plan);
    let stem = stem(plan);
    if name == stem { name } else { format!("{name}-{}", &blake3::hash(stem.as_bytes()).to_hex()[..8]) }
}

fn stem(plan: &Plan) -> String {
    let file = &plan.text.source().name;
    std::path::Path::new(file).file_stem().map(|stem| stem.to_string_lossy().into_owned()).unwrap_or_default()
}

/// The name of a plan's job: its file's, without its ending, as far as it can be a folder's.
pub(crate) fn of_job(plan: &Plan) -> String {
    let plain: String =
        stem(plan).chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let words: Vec<&str> = plain.split('-').filter(|word| !word.is_empty()).collect();
    let name: String = words.join("-").chars().take(LONGEST).collect();
    if name.is_empty() { "job".to_owned() } else { name }
}

/// A digest of everything that the bytes of a run hang on: the job of this piece alone with its defaults, what it names, and
/// the versions of the program and of its stages. Not of the job file: a remark more in it changes no piece.
pub(crate) fn digest(plan: &Plan) -> blake3::Hash {
    let inputs = plan.inputs().iter().filter(|input| input.role != Role::Job);
    let inputs: Vec<Value> = inputs.map(|input| json!([input.file.name, input.file.blake3])).collect();
    let stages: Vec<Value> =
        plan.job.steps.iter().map(|step| json!([step.stage.name(), step.stage.version()])).collect();
    let all = json!({
        "program": env!("CARGO_PKG_VERSION"),
        "variant": plan.variant().map(|variant| json!([variant.name(), variant.values()])),
        "resolved": plan.resolved(),
        "inputs": inputs,
        "stages": stages,
    });
    blake3::hash(all.to_string().as_bytes())
}
