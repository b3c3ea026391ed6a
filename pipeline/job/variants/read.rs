//! Reading what a job says under `variants`, every fault at its place.

use std::collections::BTreeSet;
use std::sync::Arc;

use serde_json::{Map, Value};

use super::combine::{Key, Rule};
use super::name::{self, Labels};
use super::setting::{MODEL, PROCESS, Part, Setting, Stray};
use super::{Change, Pick, Written};
use crate::diagnostic::{Diagnostic, listed, nearest};
use crate::job::settings::join;
use crate::job::{Step, Text};

const AT: &str = "variants";
const EVERY: &str = "every";
const TOGETHER: &str = "together";
const NAMED: &str = "named";
const SKIP: &str = "skip";
const KEYS: [&str; 4] = [EVERY, TOGETHER, NAMED, SKIP];
/// The key that names a value.
pub(super) const AS: &str = "as";

/// The most rules under `skip`: each is held against every combination.
const MOST_RULES: usize = 1000;
/// The most settings that vary, or that one variant changes: each is held against every other.
const MOST_SETTINGS: usize = 256;

/// What the job itself says, which variants change.
pub(in crate::job) struct Own<'a> {
    pub(in crate::job) text: &'a Text,
    pub(in crate::job) steps: &'a [Step],
    /// Whether every stage could be read, so that a name that is not among them is a mistake of the variants.
    pub(in crate::job) whole: bool,
}

impl Written {
    /// Reads them; adds every fault. Gives nothing if there was one.
    pub(super) fn read(own: &Own<'_>, value: Value, faults: &mut Vec<Diagnostic>) -> Option<Self> {
        let before = faults.len();
        let mut reader = Reader { own, faults, next: 0 };
        let variants = reader.read(value);
        (faults.len() == before).then_some(variants)
    }
}

/// A pick that has no name in the names of variants yet.
type Bare = (Option<String>, Vec<Change>);

/// A group as it is written.
struct Raw {
    under: String,
    picks: Vec<Bare>,
}

struct Reader<'a, 'b> {
    own: &'a Own<'a>,
    faults: &'b mut Vec<Diagnostic>,
    next: u32,
}

impl Reader<'_, '_> {
    fn read(&mut self, value: Value) -> Written {
        let map = self.map(value, AT, "{ every: { voxelise.cell: [2 mm, 3 mm] } }");
        let (mut groups, mut named, mut skip, mut any) = (Vec::new(), Vec::new(), Vec::new(), false);
        for (key, value) in map {
            let at = join(AT, &key);
            any |= key != SKIP;
            match key.as_str() {
                EVERY => groups.extend(self.every(value, &at)),
                TOGETHER => groups.extend(self.together(value, &at)),
                NAMED => named = self.named(value, &at),
                SKIP => skip = self.skip(value, &at),
                _ => self.unknown(&key, &at),
            }
        }
        if !any {
            self.fault("the job's `variants` ask for none", AT, "write { every: { voxelise.cell: [2 mm, 3 mm] } }");
        }
        let settings: BTreeSet<&Setting> =
            groups.iter().flat_map(|group| &group.picks).flat_map(|(_, changes)| changes).map(|c| &c.setting).collect();
        if !self.bears(settings.len(), AT) {
            return Written { groups: Vec::new(), named: Vec::new(), skip };
        }
        self.refuse_overlaps(&groups);
        groups.sort_by(|a, b| order(a).cmp(&order(b)));
        let labels = Labels::of(groups.iter().flat_map(|group| &group.picks).flat_map(|(_, c)| c).map(|c| &c.setting));
        let groups = groups.into_iter().map(|group| self.group(group, &labels)).collect();
        let named = named.into_iter().map(|(name, changes)| {
            let pick = self.pick(String::new(), name.clone(), None, changes);
            (name, pick)
        });
        Written { groups, named: named.collect(), skip }
    }

    /// Each key with a list of values.
    fn every(&mut self, value: Value, at: &str) -> Vec<Raw> {
        let map = self.map(value, at, "{ voxelise.cell: [2 mm, 3 mm] }");
        let lists = map.into_iter().filter_map(|(key, list)| {
            let at = join(at, &key);
            let list = self.list(list, &at)?;
            let setting = self.setting(&key, &at)?;
            let values = list.into_iter().enumerate();
            let picks: Vec<_> =
                values.filter_map(|(index, value)| self.values(&setting, value, &at, &format!("{at}[{index}]"))).collect();
            self.refuse_repeats(&picks, &at);
            Some(Raw { under: key, picks })
        });
        lists.collect()
    }

    /// Lists that go in step: one map of them, or several.
    fn together(&mut self, value: Value, at: &str) -> Vec<Raw> {
        match value {
            Value::Array(maps) if !maps.is_empty() => maps
                .into_iter()
                .enumerate()
                .filter_map(|(index, map)| self.in_step(map, &format!("{at}[{index}]")))
                .collect(),
            map => self.in_step(map, at).into_iter().collect(),
        }
    }

    fn in_step(&mut self, value: Value, at: &str) -> Option<Raw> {
        let mut map = self.map(value, at, "{ colour.right: [red, gold], colour.left: [navy, teal] }");
        let names = map.remove(AS).and_then(|names| self.list(names, &join(at, AS)));
        let mut lists = Vec::new();
        for (key, list) in map {
            let at = join(at, &key);
            if let (Some(list), Some(setting)) = (self.list(list, &at), self.setting(&key, &at)) {
                lists.push((setting, list, at));
            }
        }
        let (first_length, first_at) = lists.first().map(|(_, list, at)| (list.len(), at.clone()))?;
        let lengths = lists.iter().map(|(_, list, at)| (list.len(), at.clone()));
        let lengths = lengths.chain(names.iter().map(|names| (names.len(), join(at, AS))));
        let unequal: Vec<_> = lengths.filter(|&(length, _)| length != first_length).collect();
        for (length, at) in &unequal {
            let message = format!("lists that go in step are of one length: this one has {length}, the first {first_length}");
            let place = self.own.text.key_place(at);
            let first = self.own.text.key_place(&first_at);
            let label = format!("{first_length} here");
            self.faults.push(
                Diagnostic::error(message)
                    .at(place)
                    .related(first, label)
                    .remedy("give each list a value for every combination; values that are combined freely stand under `every`"),
            );
        }
        if !unequal.is_empty() {
            return None;
        }
        let mut picks = Vec::new();
        for index in 0..first_length {
            let mut pick: Bare = (None, Vec::new());
            if let Some(name) = names.as_ref().and_then(|names| names.get(index)) {
                pick.0 = self.name(name, &format!("{}[{index}]", join(at, AS)));
            }
            for (setting, list, at) in &lists {
                let value = self.values(setting, list[index].clone(), at, &format!("{at}[{index}]"));
                let Some((name, changes)) = value else { continue };
                pick.0 = pick.0.or(name);
                pick.1.extend(changes);
            }
            picks.push(pick);
        }
        self.refuse_repeats(&picks, at);
        Some(Raw { under: String::new(), picks })
    }

    /// Single variants by name.
    fn named(&mut self, value: Value, at: &str) -> Vec<(String, Vec<Change>)> {
        let map = self.map(value, at, "{ sturdy: { hollow.wall: 4 mm } }");
        let mut seen = BTreeSet::new();
        let mut named = Vec::new();
        for (name, value) in map {
            let at = join(at, &name);
            if let Err(why) = name::check(&name) {
                self.faults.push(Diagnostic::error(why).at(self.own.text.key_place(&at)));
            }
            if !seen.insert(name.to_lowercase()) {
                let message = format!("the name `{name}` comes twice: capital and small letters are one to some systems");
                self.faults.push(
                    Diagnostic::error(message).at(self.own.text.key_place(&at)).remedy("give each variant a name of its own"),
                );
            }
            if let Some(changes) = self.one(value, &at) {
                named.push((name, changes));
            }
        }
        named
    }

    /// The changes of a named variant; the bare name stands for the job as it is.
    fn one(&mut self, value: Value, at: &str) -> Option<Vec<Change>> {
        let map = match value {
            Value::Null => Map::new(),
            Value::Object(map) => map,
            _ => {
                self.fault("a variant is a map of settings", at, "write it like `sturdy: { hollow.wall: 4 mm }`");
                return None;
            }
        };
        if !self.bears(map.len(), at) {
            return None;
        }
        let mut changes: Vec<Change> = Vec::new();
        for (key, value) in map {
            let at = join(at, &key);
            let Some(setting) = self.setting(&key, &at) else { continue };
            let Some((_, more)) = self.values(&setting, value, &at, &at) else { continue };
            for change in more {
                self.refuse_overlap(changes.iter(), &change);
                changes.push(change);
            }
        }
        changes.sort_by(|a, b| a.setting.cmp(&b.setting));
        Some(changes)
    }

    fn bears(&mut self, settings: usize, at: &str) -> bool {
        let few = settings <= MOST_SETTINGS;
        if !few {
            let message = format!("{settings} settings are changed here; at most {MOST_SETTINGS} are taken");
            self.fault(&message, at, "make several jobs of it");
        }
        few
    }

    fn skip(&mut self, value: Value, at: &str) -> Vec<Rule> {
        let Some(mut list) = self.list(value, at) else { return Vec::new() };
        if list.len() > MOST_RULES {
            let message = format!("`skip` has {} rules; at most {MOST_RULES} are taken", list.len());
            self.fault(&message, at, "list the values that are wanted, under `named` if need be");
            list.truncate(MOST_RULES);
        }
        let rules = list.into_iter().enumerate().map(|(index, rule)| {
            let at = format!("{at}[{index}]");
            let map = self.map(rule, &at, "{ voxelise.cell: 2 mm, hollow.wall: 2 mm }");
            let wanted = map.into_iter().filter_map(|(key, value)| Some((self.key(&key, &join(&at, &key))?, value)));
            Rule { wanted: wanted.collect(), at: at.clone() }
        });
        rules.collect()
    }

    /// What a rule looks at.
    fn key(&mut self, key: &str, at: &str) -> Option<Key> {
        if key == AS {
            return Some(Key::Name);
        }
        let setting = self.setting(key, at)?;
        if setting.is_whole() && setting.part != Part::Process {
            let message = format!("a rule names settings, and `{key}` is a whole part of the job");
            self.fault(&message, at, "write a setting such as `hollow.wall`, or `as: NAME` for a value with a name");
            return None;
        }
        let own = self.own_value(setting.part).and_then(|own| setting.find(own)).cloned();
        Some(Key::Setting(setting, own))
    }

    /// What the job itself says of a part.
    fn own_value(&self, part: Part) -> Option<&Value> {
        match part {
            Part::Model => self.own.text.value().get(MODEL),
            Part::Process => self.own.text.value().get(PROCESS),
            Part::Stage(index) => Some(&self.own.steps.get(index)?.settings),
        }
    }

    /// A value for a setting, or a map of settings for a whole part: what it changes, and the name that it gives itself.
    fn values(&mut self, setting: &Setting, mut value: Value, key: &str, at: &str) -> Option<Bare> {
        let name = match &mut value {
            Value::Object(map) => map.remove(AS),
            _ => None,
        };
        let name = match name {
            Some(name) => Some(self.name(&name, &join(at, AS))?),
            None => None,
        };
        if !setting.is_whole() || setting.part == Part::Process {
            let change = Change { setting: setting.clone(), value, key: key.to_owned(), at: at.to_owned() };
            return self.fits(&change).then(|| (name, vec![change]));
        }
        let map = match value {
            Value::Object(map) => map,
            Value::Null => Map::new(),
            _ => {
                let message = format!("`{setting}` is a whole part of the job: it takes a map of settings");
                self.fault(&message, at, "write { wall: 2 mm }, or name one setting as `hollow.wall`");
                return None;
            }
        };
        if !self.bears(map.len(), at) {
            return None;
        }
        let mut changes: Vec<Change> = Vec::new();
        for (below, value) in map {
            let at = join(at, &below);
            let Ok(setting) = setting.child(&below) else {
                self.malformed(&below, &at);
                continue;
            };
            let change = Change { setting, value, key: at.clone(), at };
            self.refuse_overlap(changes.iter(), &change);
            if self.fits(&change) {
                changes.push(change);
            }
        }
        Some((name, changes))
    }

    /// Whether the job has a place for a change.
    fn fits(&mut self, change: &Change) -> bool {
        if change.setting.part == Part::Process {
            if change.value.is_string() {
                return true;
            }
            self.fault("a process is the name of a file", &change.at, "write a name such as processes/powder.yaml");
            return false;
        }
        // What the job itself says may be at fault, and that is shown.
        let own = self.own_value(change.setting.part).filter(|own| own.is_object());
        let Some(Err(around)) = own.map(|own| change.setting.fits(own)) else { return true };
        let message = format!("the job has no `{}` that could be changed", change.setting);
        let place = self.own.text.key_place(&change.key);
        let remedy = format!("see what the job has under `{around}`, or give a value for the whole of that");
        self.faults.push(Diagnostic::error(message).at(place).label("nothing is there").remedy(remedy));
        false
    }

    fn setting(&mut self, path: &str, at: &str) -> Option<Setting> {
        match Setting::read(path, self.own.steps) {
            Ok(setting) if setting.part == Part::Process && !setting.is_whole() => {
                self.fault("a process is a file, and has no settings here", at, "write `process`, and name another file");
                None
            }
            Ok(setting) => Some(setting),
            Err(Stray::Malformed) => {
                self.malformed(path, at);
                None
            }
            Err(Stray::Owner(owner)) => {
                self.stray(&owner, at);
                None
            }
        }
    }

    fn malformed(&mut self, path: &str, at: &str) {
        let place = self.own.text.key_place(at);
        let fault = Diagnostic::error(format!("`{path}` is not the path of a setting")).at(place);
        self.faults.push(fault.remedy("write it like `hollow.wall`, or `hollow.openings[0].width` with quotes around it"));
    }

    fn stray(&mut self, owner: &str, at: &str) {
        if !self.own.whole {
            return;
        }
        let names = || self.own.steps.iter().map(|step| step.name.as_str()).chain([MODEL, PROCESS]);
        let remedy = match nearest(owner, names()) {
            Some(name) => format!("is `{name}` meant?"),
            None => format!("what can vary begins with {}", listed(names())),
        };
        let fault = Diagnostic::error(format!("the job has no stage `{owner}` whose settings could vary"));
        self.faults.push(fault.at(self.own.text.key_place(at)).label("not in the chain").remedy(remedy));
    }

    fn unknown(&mut self, key: &str, at: &str) {
        let remedy = match nearest(key, KEYS) {
            Some(name) => format!("is `{name}` meant?"),
            None => format!("known here: {}", listed(KEYS)),
        };
        let fault = Diagnostic::error(format!("the key `{key}` is not known")).label("unknown key");
        self.faults.push(fault.at(self.own.text.key_place(at)).remedy(remedy));
    }

    fn name(&mut self, value: &Value, at: &str) -> Option<String> {
        let Some(name) = value.as_str() else {
            self.fault("a name is text", at, "write a short word such as dusk");
            return None;
        };
        match name::check(name) {
            Ok(()) => Some(name.to_owned()),
            Err(why) => {
                self.fault(&why, at, "");
                None
            }
        }
    }

    fn map(&mut self, value: Value, at: &str, example: &str) -> Map<String, Value> {
        match value {
            Value::Object(map) if !map.is_empty() => map,
            Value::Object(_) | Value::Null => {
                self.fault("nothing is listed here", at, &format!("write {example}, or leave the key out"));
                Map::new()
            }
            _ => {
                self.fault("this must be a map", at, &format!("write it like {example}"));
                Map::new()
            }
        }
    }

    fn list(&mut self, value: Value, at: &str) -> Option<Vec<Value>> {
        match value {
            Value::Array(list) if !list.is_empty() => return Some(list),
            Value::Array(_) => self.fault("the list is empty", at, "write a value, or leave the key out"),
            _ => self.fault("this must be a list of values", at, "put the values in brackets: [2 mm, 3 mm]"),
        }
        None
    }

    fn fault(&mut self, message: &str, at: &str, remedy: &str) {
        self.faults.push(Diagnostic::error(message).at(self.own.text.place(at)).remedy(remedy));
    }

    /// A value that stands twice in a list would make every variant with it twice; two values of one name could not be
    /// told apart.
    fn refuse_repeats(&mut self, picks: &[Bare], at: &str) {
        let mut values: BTreeSet<String> = BTreeSet::new();
        let mut names = BTreeSet::new();
        for (index, (name, changes)) in picks.iter().enumerate() {
            let place = changes.first().map_or_else(|| format!("{at}[{index}]"), |change| change.at.clone());
            let all: Vec<String> = changes.iter().map(|change| format!("{}={}", change.setting, change.value)).collect();
            if !values.insert(all.join("\n")) {
                self.fault("this comes twice", &place, "keep one of the two");
            } else if let Some(name) = name
                && !names.insert(name.to_lowercase())
            {
                self.fault(&format!("two values are called `{name}`"), &place, "give each a name of its own");
            }
        }
    }

    /// No two groups may set the same.
    fn refuse_overlaps(&mut self, groups: &[Raw]) {
        for (index, group) in groups.iter().enumerate() {
            let mut told = BTreeSet::new();
            for change in group.picks.iter().flat_map(|(_, changes)| changes) {
                let others = groups[..index].iter().flat_map(|group| &group.picks).flat_map(|(_, changes)| changes);
                if told.insert(&change.setting) {
                    self.refuse_overlap(others, change);
                }
            }
            // Within lists that go in step, of one combination: the others repeat it.
            let first = group.picks.first().map_or(&[][..], |(_, changes)| changes);
            for (at, change) in first.iter().enumerate() {
                self.refuse_overlap(first[..at].iter(), change);
            }
        }
    }

    fn refuse_overlap<'a>(&mut self, mut others: impl Iterator<Item = &'a Change>, change: &Change) {
        if let Some(other) = others.find(|other| other.setting.overlaps(&change.setting)) {
            let text = self.own.text;
            self.faults.push(
                Diagnostic::error(format!("`{}` is set twice", change.setting))
                    .at(text.key_place(&change.key))
                    .label("again here")
                    .related(text.key_place(&other.key), format!("`{}` is set here", other.setting))
                    .remedy("let one list decide about a setting"),
            );
        }
    }

    fn group(&mut self, raw: Raw, labels: &Labels) -> Vec<Arc<Pick>> {
        let told_apart = name::told_apart(raw.picks.iter().map(|(_, changes)| changes.as_slice()));
        let picks = raw.picks.into_iter().map(|(name, changes)| {
            let label = name.clone().unwrap_or_else(|| labels.pick(&changes, told_apart));
            self.pick(raw.under.clone(), label, name, changes)
        });
        picks.collect()
    }

    fn pick(&mut self, under: String, label: String, name: Option<String>, changes: Vec<Change>) -> Arc<Pick> {
        let id = self.next;
        self.next += 1;
        Arc::new(Pick { id, name, under, label, changes })
    }
}

/// Where a group's first setting takes effect.
fn order(group: &Raw) -> Option<&Setting> {
    group.picks.iter().flat_map(|(_, changes)| changes).map(|change| &change.setting).min()
}
