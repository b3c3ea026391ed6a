//! The variants that a job asks for: which settings take which values, and which combinations are made of them.

mod combine;
mod name;
mod read;
mod setting;

use std::sync::Arc;

use serde_json::{Map, Value};

pub(super) use read::Own;
pub(crate) use setting::Part;

use self::combine::Rule;
use self::setting::Setting;
use crate::diagnostic::Diagnostic;

/// The most variants that a job may ask for.
pub const MOST_VARIANTS: usize = 20_000;

/// What a job says under `variants`, as it is written.
#[derive(Clone, Debug)]
struct Written {
    /// Each gives one of its picks to every variant of the product; in the order in which their settings take effect.
    groups: Vec<Vec<Arc<Pick>>>,
    /// Variants beside the product, each by its name.
    named: Vec<(String, Arc<Pick>)>,
    /// Combinations that are left out of the product.
    skip: Vec<Rule>,
}

/// The variants that a job asks for.
#[derive(Clone, Debug, Default)]
pub struct Variants {
    /// The product in the order of its lists, the last one fastest; then the named ones by name.
    pub list: Vec<Arc<Variant>>,
    /// How many values each list of the product has.
    pub lists: Vec<usize>,
    /// How many combinations were left out by rules.
    pub skipped: usize,
    /// How many variants are named.
    pub named: usize,
    /// What should be looked at.
    pub cautions: Vec<Diagnostic>,
}

impl Variants {
    /// Reads and combines them; adds every fault. Gives nothing if there was one.
    pub(super) fn read(own: &Own<'_>, value: Value, faults: &mut Vec<Diagnostic>) -> Option<Self> {
        let written = Written::read(own, value, faults)?;
        written.combine(own.text).map_err(|fault| faults.push(fault)).ok()
    }
}

/// Settings that change together: one value of a list, or one place in lists that go in step.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Pick {
    /// Its number within the job's variants.
    pub(crate) id: u32,
    /// The name that the job gives it by `as`.
    pub(crate) name: Option<String>,
    /// The part or setting that it was written under, for people: `colour`; empty for lists in step.
    under: String,
    /// What stands for it in the names of variants.
    label: String,
    pub(crate) changes: Vec<Change>,
}

/// A setting with the value that it takes in place of the job's own.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    pub(crate) setting: Setting,
    /// The value as the job has it; `null` takes the setting out.
    pub(crate) value: Value,
    /// The path of the setting's key in the job file.
    pub(crate) key: String,
    /// The path of the value there.
    pub(crate) at: String,
}

impl Change {
    /// The setting: `hollow.openings[0].width`, `model.file` or `process`.
    #[must_use]
    pub fn setting(&self) -> String {
        self.setting.to_string()
    }

    /// The value as the job has it; `null` where the variant takes the setting out.
    #[must_use]
    pub const fn value(&self) -> &Value {
        &self.value
    }
}

/// One variant of a job: its name, and what it changes.
#[derive(Clone, Debug, PartialEq)]
pub struct Variant {
    name: String,
    picks: Vec<Arc<Pick>>,
}

impl Variant {
    /// Its name: unique within the job, whatever is small or capital in it, at most 60 characters, and safe as a folder's
    /// name on every system. Does not hang on the order in which variants are listed.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What it changes, in the order in which settings take effect.
    pub fn changes(&self) -> impl Iterator<Item = &Change> {
        self.picks.iter().flat_map(|pick| &pick.changes)
    }

    /// The changed settings with their values: `{ "hollow.wall": "2.5 mm" }`.
    #[must_use]
    pub fn values(&self) -> Value {
        Value::Object(self.changes().map(|change| (change.setting(), change.value.clone())).collect::<Map<_, _>>())
    }

    /// What it changes, in words: `voxelise.cell 3 mm, colour dusk`. What has a name of its own goes by that.
    #[must_use]
    pub fn in_words(&self) -> String {
        let words: Vec<String> = self.picks.iter().flat_map(|pick| pick.in_words()).collect();
        if words.is_empty() { "the job as it is".to_owned() } else { words.join(", ") }
    }

    pub(crate) fn picks(&self) -> &[Arc<Pick>] {
        &self.picks
    }
}

impl Pick {
    fn in_words(&self) -> Vec<String> {
        if let Some(name) = &self.name {
            return vec![[self.under.as_str(), name].join(" ").trim_start().to_owned()];
        }
        self.changes.iter().map(|change| format!("{} {}", change.setting, brief(&change.value))).collect()
    }

    /// What it changes of a part.
    pub(crate) fn of_part(&self, part: Part) -> impl Iterator<Item = &Change> {
        self.changes.iter().filter(move |change| change.setting.part == part)
    }
}

/// A value in words.
fn brief(value: &Value) -> String {
    match value {
        Value::Null => "left out".to_owned(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}
