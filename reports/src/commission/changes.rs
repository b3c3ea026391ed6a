//! What a run changed since the one before it: settings of its job by their path, files that went in, the program.

use std::collections::BTreeMap;

use crate::record::Record;
use crate::said;

/// So many changes are told.
const MOST: usize = 8;

/// What differs between two runs.
pub(crate) struct Changes {
    /// The run before.
    pub(crate) before: String,
    /// What differs, in words, names between backticks.
    pub(crate) said: Vec<Change>,
    /// How many more there are.
    pub(crate) more: usize,
}

/// One difference.
pub(crate) struct Change {
    /// The path of a setting, or the name of a file.
    pub(crate) name: String,
    /// What became of it.
    pub(crate) became: Became,
}

/// What became of a setting or a file.
pub(crate) enum Became {
    /// It went from one value to another.
    Other(String, String),
    /// It came in with this value.
    New(String),
    /// It is gone, and had this value.
    Gone(String),
    /// The stage came into the chain.
    Joined,
    /// The stage left the chain.
    Left,
    /// The file has the same name and other content.
    Content,
}

impl Changes {
    /// What `after` changed since `before`.
    pub(crate) fn between(before: &Record, after: &Record) -> Self {
        let mut said = settings(before, after);
        said.extend(inputs(before, after));
        let version = |record: &Record| record.tool.version.clone();
        if version(before) != version(after) {
            let became = Became::Other(version(before), version(after));
            said.push(Change { name: after.tool.name.clone(), became });
        }
        let more = said.len().saturating_sub(MOST);
        said.truncate(MOST);
        Self { before: before.run.clone(), said, more }
    }
}

/// The settings of a job that say something of the piece, by their path, and stages by their name, which have no value. A stage's
/// settings have its name in front rather than its place in the chain, so that a stage more does not make all others differ.
///
/// Files go by their names without folders: where they lie is another matter on every machine.
fn flat(record: &Record) -> BTreeMap<String, Option<String>> {
    let mut flat = BTreeMap::new();
    let plain = |value: String| {
        let is_file = record.inputs.iter().any(|file| file.name == value);
        Some(if is_file { base(&value).to_owned() } else { value })
    };
    for (path, value) in said::settings(&record.resolved) {
        let first = path.split(['.', '[']).next().unwrap_or_default();
        if !matches!(first, "stages" | "commission" | "variants") {
            flat.insert(path, plain(value));
        }
    }
    let mut times: BTreeMap<&str, usize> = BTreeMap::new();
    for stage in &record.stages {
        let time = times.entry(&stage.name).or_default();
        *time += 1;
        let name = if *time > 1 { format!("{} ({time})", stage.name) } else { stage.name.clone() };
        let settings = said::settings(&stage.settings);
        flat.extend(settings.into_iter().map(|(path, value)| (format!("{name}.{path}"), plain(value))));
        flat.insert(name, None);
    }
    flat
}

fn settings(before: &Record, after: &Record) -> Vec<Change> {
    let (old, new) = (flat(before), flat(after));
    // What a stage brings along or takes with it goes without saying.
    let goes_with_stage = |path: &str, there: &BTreeMap<String, _>, absent: &BTreeMap<String, _>| {
        path.split_once('.').is_some_and(|(stage, _)| there.contains_key(stage) && !absent.contains_key(stage))
    };
    let came = new.iter().filter(|(path, value)| old.get(*path) != Some(value) && !goes_with_stage(path, &new, &old));
    let gone = old.iter().filter(|(path, _)| !new.contains_key(*path) && !goes_with_stage(path, &old, &new));
    let came = came.map(|(path, value)| (path, old.get(path).cloned().flatten(), value.clone()));
    let gone = gone.map(|(path, value)| (path, value.clone(), None));
    let change = |(path, was, is): (&String, Option<String>, Option<String>)| {
        let became = match (was, is) {
            (Some(was), Some(is)) => Became::Other(was, is),
            (None, Some(is)) => Became::New(is),
            (Some(was), None) => Became::Gone(was),
            (None, None) if new.contains_key(path) => Became::Joined,
            (None, None) => Became::Left,
        };
        Change { name: path.clone(), became }
    };
    came.map(change).chain(gone.map(change)).collect()
}

/// Files of one name with other content: a file under another name differs as a setting.
fn inputs(before: &Record, after: &Record) -> impl Iterator<Item = Change> {
    let other = after.inputs.iter().filter(|file| {
        let was = before.inputs.iter().find(|was| base(&was.name) == base(&file.name) && was.what == file.what);
        was.is_some_and(|was| was.blake3 != file.blake3)
    });
    other.map(|file| Change { name: base(&file.name).to_owned(), became: Became::Content })
}

fn base(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or(path)
}
