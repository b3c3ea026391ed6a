//! A setting that variants change, as a path: `hollow.openings[0].width`, `model.file`, `process`.

use std::fmt;

use serde_json::{Map, Value};

use crate::job::Step;

/// The part of a job that a setting belongs to, in the order in which parts take effect.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Part {
    Model,
    Process,
    /// The stage at that place in the chain.
    Stage(usize),
}

/// A setting of a part.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Setting {
    pub(crate) part: Part,
    /// What stands first in its path: `model`, `process` or the stage's name.
    pub(super) owner: String,
    /// The way to it below the part; empty for the part as a whole.
    below: Vec<Hop>,
}

/// A step of the way to a setting.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Hop {
    Key(String),
    Item(usize),
}

pub(super) const MODEL: &str = "model";
pub(super) const PROCESS: &str = "process";

/// Why a path names no setting of a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Stray {
    /// It begins with no part of the job: the name that it begins with.
    Owner(String),
    /// It cannot be a path.
    Malformed,
}

impl Setting {
    /// Reads a path.
    pub(super) fn read(path: &str, steps: &[Step]) -> Result<Self, Stray> {
        let end = path.find(['.', '[']).unwrap_or(path.len());
        let (owner, rest) = path.split_at(end);
        let stage = || steps.iter().position(|step| step.name == owner).map(Part::Stage);
        let part = match owner {
            MODEL => Part::Model,
            PROCESS => Part::Process,
            _ => stage().ok_or_else(|| Stray::Owner(owner.to_owned()))?,
        };
        let below = hops(rest.strip_prefix('.').map_or(rest, |rest| if rest.is_empty() { "." } else { rest }))?;
        Ok(Self { part, owner: owner.to_owned(), below })
    }

    /// A setting below this one.
    pub(super) fn child(&self, path: &str) -> Result<Self, Stray> {
        let mut child = self.clone();
        child.below.extend(hops(path)?);
        Ok(child)
    }

    /// Whether it stands for a whole part.
    pub(super) fn is_whole(&self) -> bool {
        self.below.is_empty()
    }

    /// Whether one of the two sets the other too.
    pub(super) fn overlaps(&self, other: &Self) -> bool {
        self.part == other.part && self.below.iter().zip(&other.below).all(|(a, b)| a == b)
    }

    /// Its path below its part: `openings[0].width`.
    pub(crate) fn below(&self) -> String {
        let mut path = String::new();
        for hop in &self.below {
            match hop {
                Hop::Key(key) if path.is_empty() => path += key,
                Hop::Key(key) => path += &format!(".{key}"),
                Hop::Item(index) => path += &format!("[{index}]"),
            }
        }
        path
    }

    /// Its names from the last to the first: the shortest row of them that is no other setting's will do as a name.
    pub(super) fn names(&self) -> Vec<String> {
        let below = self.below.iter().rev().map(|hop| match hop {
            Hop::Key(key) => key.clone(),
            Hop::Item(index) => index.to_string(),
        });
        below.chain([self.owner.clone()]).collect()
    }

    /// The setting in the values of its part.
    pub(super) fn find<'a>(&self, within: &'a Value) -> Option<&'a Value> {
        self.below.iter().try_fold(within, |value, hop| match hop {
            Hop::Key(key) => value.get(key),
            Hop::Item(index) => value.get(index),
        })
    }

    /// Whether what is set at `other` holds this setting, and if so its value there.
    pub(super) fn find_in_change<'a>(&self, other: &Self, value: &'a Value) -> Option<Option<&'a Value>> {
        let is_below = self.part == other.part && self.below.starts_with(&other.below);
        is_below.then(|| {
            let rest = self.below[other.below.len()..].to_vec();
            Self { below: rest, ..self.clone() }.find(value)
        })
    }

    /// Whether it can be set in the values of its part.
    ///
    /// # Errors
    /// The path of what is there and can hold no such setting: a list without that item, or a value that is no map.
    pub(super) fn fits(&self, within: &Value) -> Result<(), String> {
        let mut value = Some(within);
        for (at, hop) in self.below.iter().enumerate() {
            value = match (hop, value) {
                // A map that is not there is made.
                (Hop::Key(_), None) => None,
                (Hop::Key(key), Some(Value::Object(map))) => map.get(key),
                (Hop::Item(index), Some(Value::Array(items))) if *index < items.len() => items.get(*index),
                _ => return Err(Self { below: self.below[..at].to_vec(), ..self.clone() }.to_string()),
            };
        }
        Ok(())
    }

    /// Sets it in the values of its part. Nothing (`null`) takes it out; maps on the way to it are made. Where it does
    /// not fit, nothing changes.
    pub(crate) fn set(&self, within: &mut Value, to: Value) {
        let Some((last, way)) = self.below.split_last() else {
            *within = to;
            return;
        };
        let around = way.iter().try_fold(within, |value, hop| match (hop, value) {
            (Hop::Key(key), Value::Object(map)) => {
                Some(map.entry(key.clone()).or_insert_with(|| Value::Object(Map::new())))
            }
            (Hop::Item(index), Value::Array(items)) => items.get_mut(*index),
            _ => None,
        });
        match (last, around) {
            (Hop::Key(key), Some(Value::Object(map))) if to.is_null() => drop(map.remove(key)),
            (Hop::Key(key), Some(Value::Object(map))) => drop(map.insert(key.clone(), to)),
            (Hop::Item(index), Some(Value::Array(items))) => {
                if let Some(item) = items.get_mut(*index) {
                    *item = to;
                }
            }
            _ => {}
        }
    }
}

impl fmt::Display for Setting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let below = self.below();
        let dot = if below.is_empty() || below.starts_with('[') { "" } else { "." };
        write!(f, "{}{dot}{below}", self.owner)
    }
}

fn hops(path: &str) -> Result<Vec<Hop>, Stray> {
    let mut found = Vec::new();
    let mut rest = path;
    while !rest.is_empty() {
        if let Some(item) = rest.strip_prefix('[') {
            let (index, tail) = item.split_once(']').ok_or(Stray::Malformed)?;
            found.push(Hop::Item(index.parse().map_err(|_| Stray::Malformed)?));
            rest = tail;
        } else {
            let key = if found.is_empty() { rest } else { rest.strip_prefix('.').ok_or(Stray::Malformed)? };
            let end = key.find(['.', '[']).unwrap_or(key.len());
            if end == 0 {
                return Err(Stray::Malformed);
            }
            found.push(Hop::Key(key[..end].to_owned()));
            rest = &key[end..];
        }
    }
    Ok(found)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde_json::json;

    use super::*;

    fn steps() -> Vec<Step> {
        let step = |name: &str| Step { name: name.to_owned(), settings: json!({}), at: String::new() };
        vec![step("scale"), step("hollow")]
    }

    fn setting(path: &str) -> Setting {
        Setting::read(path, &steps()).unwrap()
    }

    #[test]
    fn paths_are_read_and_written_alike() {
        for (path, part) in [
            ("process", Part::Process),
            ("model.file", Part::Model),
            ("hollow", Part::Stage(1)),
            ("hollow.openings[0].width", Part::Stage(1)),
            ("scale.a[1][2].b.c", Part::Stage(0)),
        ] {
            assert_eq!(setting(path).to_string(), path);
            assert_eq!(setting(path).part, part);
        }
    }

    #[test]
    fn what_is_no_path_is_refused() {
        assert_eq!(Setting::read("hallow.wall", &steps()), Err(Stray::Owner("hallow".to_owned())));
        assert_eq!(Setting::read("", &steps()), Err(Stray::Owner(String::new())));
        for path in ["hollow.", "hollow..wall", "hollow.a[", "hollow.a[x]", "hollow.a[1]b", "hollow.a.", "hollow[-1]"] {
            assert_eq!(Setting::read(path, &steps()), Err(Stray::Malformed), "{path}");
        }
    }

    #[test]
    fn a_setting_is_set_where_it_stands() {
        let mut value = json!({ "wall": 1, "openings": [{ "side": "top" }] });
        for (path, to) in
            [("hollow.openings[0].width", json!(5)), ("hollow.foot.cells", json!(2)), ("hollow.wall", Value::Null)]
        {
            assert_eq!(setting(path).fits(&value), Ok(()));
            setting(path).set(&mut value, to);
        }
        let expected = json!({ "openings": [{ "side": "top", "width": 5 }], "foot": { "cells": 2 } });
        assert_eq!(value, expected);
        for (path, around) in [
            ("hollow.openings[1].width", "hollow.openings"),
            ("hollow.openings[1]", "hollow.openings"),
            ("hollow.foot.cells.x", "hollow.foot.cells"),
            ("hollow.foot[0]", "hollow.foot"),
            ("hollow.new[0]", "hollow.new"),
        ] {
            assert_eq!(setting(path).fits(&value), Err(around.to_owned()));
            setting(path).set(&mut value, json!(5));
        }
        assert_eq!(value["openings"], expected["openings"]);
    }

    #[test]
    fn a_setting_within_another_overlaps_it() {
        assert!(setting("hollow.openings").overlaps(&setting("hollow.openings[0].width")));
        assert!(setting("hollow").overlaps(&setting("hollow.wall")));
        assert!(!setting("hollow.openings[1]").overlaps(&setting("hollow.openings[0].width")));
        assert!(!setting("hollow.wall").overlaps(&setting("scale.wall")));
    }
}
