//! Names of variants: short, readable, and safe as a folder's name on every system.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use serde_json::Value;

use super::setting::{Part, Setting};
use super::{Change, Pick};
use crate::job::refused_as_folder;

/// Longest name of a variant, in characters.
pub(crate) const LONGEST: usize = 60;
/// Longest part of it that stands for one value.
const LONGEST_VALUE: usize = 24;

/// Checks a name that people gave to a variant, or to a value by `as`.
pub(super) fn check(name: &str) -> Result<(), String> {
    let longest = LONGEST - 1 - DIGITS;
    match refused_as_folder(name, longest) {
        Some(why) => Err(format!("`{name}` cannot be part of a folder's name: {why}")),
        None => Ok(()),
    }
}

/// What settings are called in names: of each the last word of its path, with as many before it as tell it from the
/// others.
pub(super) struct Labels(BTreeMap<Setting, String>);

impl Labels {
    pub(super) fn of<'a>(settings: impl Iterator<Item = &'a Setting>) -> Self {
        let settings: BTreeSet<&Setting> = settings.collect();
        let names: Vec<Vec<String>> = settings.iter().map(|setting| setting.names()).collect();
        let label = |own: &Vec<String>| {
            let alike = |words: usize| names.iter().filter(|other| other.starts_with(&own[..words])).count();
            let words = (1..own.len()).find(|&words| alike(words) == 1).unwrap_or(own.len());
            // A lone number says nothing.
            let is_number = |word: &String| word.bytes().all(|byte| byte.is_ascii_digit());
            let words = (words..own.len()).find(|&words| !is_number(&own[words - 1])).unwrap_or(own.len());
            own[..words].iter().rev().map(|word| plain(word)).collect::<Vec<_>>().join("-")
        };
        Self(settings.iter().zip(&names).map(|(&setting, own)| (setting.clone(), label(own))).collect())
    }

    /// A change in a name: `wall-2.5mm`; of a file, its name alone.
    fn change(&self, change: &Change) -> String {
        let setting = &change.setting;
        let names_file = setting.part == Part::Process || setting.part == Part::Model && setting.below() == "file";
        let value = match change.value.as_str() {
            Some(file) if names_file => {
                return or_digest(plain(&Path::new(file).file_stem().unwrap_or_default().to_string_lossy()), &change.value);
            }
            _ => or_digest(of_value(&change.value), &change.value),
        };
        self.0.get(setting).map_or_else(|| value.clone(), |label| format!("{label}-{value}"))
    }

    /// What a pick without a name of its own is called: by the change that tells it from the others, or by all of its
    /// changes.
    pub(super) fn pick(&self, changes: &[Change], told_apart: Option<usize>) -> String {
        let telling = told_apart.and_then(|at| changes.get(at..=at)).unwrap_or(changes);
        let words: Vec<String> = telling.iter().map(|change| self.change(change)).collect();
        if words.is_empty() { "as-it-is".to_owned() } else { words.join("_") }
    }
}

/// Which change alone tells the picks of a group apart, if they all change the same.
pub(super) fn told_apart<'a>(picks: impl Iterator<Item = &'a [Change]> + Clone) -> Option<usize> {
    let first = picks.clone().next()?;
    let differs = |at: usize| {
        let mut seen = BTreeSet::new();
        picks.clone().all(|changes| {
            changes.get(at).is_some_and(|change| {
                let value = or_digest(of_value(&change.value), &change.value);
                change.setting == first[at].setting && seen.insert(value)
            })
        })
    };
    (0..first.len()).find(|&at| differs(at))
}

/// Digits of a digest that make a name unique.
const DIGITS: usize = 6;

/// Names for variants of the product, each from its picks. None is longer than [`LONGEST`], and no two are the same, in
/// small letters or large, nor any of `taken`. A name depends on the variant and on what others are called like it, and
/// never on their order.
pub(super) fn of_product(picks: &[Vec<&Pick>], taken: &[&str]) -> Vec<String> {
    let mut names: Vec<String> = picks.iter().map(|picks| shortened(picks, 0)).collect();
    let taken: BTreeSet<String> = taken.iter().map(|name| name.to_lowercase()).collect();
    // More and more digits, until no two are alike: one round does unless somebody has searched for two digests.
    for digits in [DIGITS, 16, 32] {
        let mut count: BTreeMap<String, usize> = BTreeMap::new();
        for name in &names {
            *count.entry(name.to_lowercase()).or_default() += 1;
        }
        for (name, picks) in names.iter_mut().zip(picks) {
            let lower = name.to_lowercase();
            if count[&lower] > 1 || taken.contains(&lower) {
                *name = shortened(picks, digits);
            }
        }
    }
    names
}

/// The names of picks in a row, cut to the length, with so many digits of their digest; with some where it was cut.
fn shortened(picks: &[&Pick], digits: usize) -> String {
    let name = picks.iter().map(|pick| pick.label.as_str()).collect::<Vec<_>>().join("_");
    if digits == 0 && name.len() <= LONGEST {
        return name;
    }
    let digits = digits.max(DIGITS);
    let mut hasher = blake3::Hasher::new();
    for change in picks.iter().flat_map(|pick| &pick.changes) {
        hasher.update(format!("{}\0{}\0", change.setting, change.value).as_bytes());
    }
    let room = LONGEST - 1 - digits;
    let kept = name[..name.len().min(room)].trim_end_matches(['.', '-', '_']);
    format!("{kept}-{}", &hasher.finalize().to_hex()[..digits])
}

/// A value in a name; empty if it has no short form.
fn of_value(value: &Value) -> String {
    match value {
        Value::Null => "none".to_owned(),
        Value::Bool(_) | Value::Number(_) => plain(&value.to_string()),
        Value::String(text) => plain(text),
        Value::Array(items) if items.iter().all(|item| !item.is_array() && !item.is_object()) => {
            let items: Vec<String> = items.iter().map(of_value).collect();
            let joined = items.join("-");
            if joined.len() > LONGEST_VALUE { String::new() } else { joined }
        }
        Value::Array(_) | Value::Object(_) => String::new(),
    }
}

/// The value's digest where it has no short form: it stays the same wherever the value stands in a list.
fn or_digest(short: String, value: &Value) -> String {
    if short.is_empty() { blake3::hash(value.to_string().as_bytes()).to_hex()[..4].to_owned() } else { short }
}

/// Text in a name: small letters, digits, dots and hyphens, no blanks.
fn plain(text: &str) -> String {
    let mut short = String::new();
    for (at, c) in text.trim().chars().enumerate() {
        match c {
            '+' => short += "plus-",
            '-' if at == 0 => short += "minus-",
            _ if c.is_ascii_alphanumeric() => short.push(c.to_ascii_lowercase()),
            // What would begin or end a name with a dot, or make two of them.
            '.' if !short.is_empty() && !short.ends_with(['.', '-']) => short.push('.'),
            ' ' | '#' | '"' | '\'' => {}
            _ if !short.is_empty() && !short.ends_with(['.', '-']) => short.push('-'),
            _ => {}
        }
    }
    short.truncate(LONGEST_VALUE);
    short.trim_end_matches(['.', '-']).to_owned()
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn values_have_short_forms() {
        for (value, short) in [
            (json!("3 mm"), "3mm"),
            (json!(2.5), "2.5"),
            (json!(-2), "minus-2"),
            (json!("-y"), "minus-y"),
            (json!("+z"), "plus-z"),
            (json!("#c8553D"), "c8553d"),
            (json!("at least 3"), "atleast3"),
            (json!("85 %"), "85"),
            (json!(".."), ""),
            (json!("é"), ""),
            (json!([1, 5]), "1-5"),
            (json!(null), "none"),
            (json!({ "a": 1 }), ""),
        ] {
            assert_eq!(of_value(&value), short, "{value}");
        }
    }
}
