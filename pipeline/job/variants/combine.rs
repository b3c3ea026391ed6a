//! From lists of values to variants: the product, what is left out of it, and the named ones.

use std::sync::Arc;

use serde_json::Value;

use super::setting::Setting;
use super::{MOST_VARIANTS, Pick, Variant, Variants, Written, name};
use crate::diagnostic::{Diagnostic, nearest};
use crate::job::Text;

/// A combination that is left out: all of its settings must have these values.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Rule {
    pub(super) wanted: Vec<(Key, Value)>,
    /// Its path in the job file.
    pub(super) at: String,
}

/// What a rule looks at.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Key {
    /// The value of a setting, and what the job itself has there.
    Setting(Setting, Option<Value>),
    /// The name that a value was given by `as`.
    Name,
}

impl Written {
    /// Makes every combination and names it.
    ///
    /// # Errors
    /// If there are too many, or none.
    pub(super) fn combine(&self, text: &Text) -> Result<Variants, Diagnostic> {
        let product = self.product_size();
        let all = product.saturating_add(self.named.len() as u128);
        if all > MOST_VARIANTS as u128 {
            let message = format!("the job asks for {all} variants; at most {MOST_VARIANTS} are taken");
            let remedy = "leave values out, or make several jobs of it; `skip` takes away from the product what was counted";
            return Err(Diagnostic::error(message).at(text.key_place("variants")).remedy(remedy));
        }
        let rules: Vec<_> = self.skip.iter().map(|rule| Sieve::of(rule, &self.groups)).collect();
        let mut matched = vec![false; rules.len()];
        let mut kept: Vec<Vec<&Arc<Pick>>> = Vec::new();
        for number in 0..product as usize {
            let places = self.places(number);
            let mut skipped = false;
            for (rule, matched) in rules.iter().zip(&mut matched) {
                let matches = rule.matches(&places);
                *matched |= matches;
                skipped |= matches;
            }
            if !skipped {
                kept.push(self.groups.iter().zip(&places).map(|(group, &at)| &group[at]).collect());
            }
        }
        if kept.is_empty() && self.named.is_empty() {
            let fault = Diagnostic::error("`skip` leaves no variant").at(text.key_place("variants.skip"));
            return Err(fault.remedy("leave a rule out, or add a value that none of them matches"));
        }
        let named = self.named.iter().map(|(name, pick)| {
            let picks = if pick.changes.is_empty() { Vec::new() } else { vec![Arc::clone(pick)] };
            Arc::new(Variant { name: name.clone(), picks })
        });
        let cautions = self.skip.iter().zip(matched).filter(|(_, matched)| !matched);
        Ok(Variants {
            lists: self.groups.iter().map(Vec::len).collect(),
            skipped: product as usize - kept.len(),
            named: self.named.len(),
            list: self.of_product(&kept).into_iter().chain(named).collect(),
            cautions: cautions.map(|(rule, _)| self.idle(rule, text)).collect(),
        })
    }

    fn product_size(&self) -> u128 {
        if self.groups.is_empty() {
            return 0;
        }
        self.groups.iter().fold(1, |size: u128, group| size.saturating_mul(group.len() as u128))
    }

    /// Which pick of each group a combination has.
    fn places(&self, number: usize) -> Vec<usize> {
        let mut rest = number;
        let mut places: Vec<usize> = self
            .groups
            .iter()
            .rev()
            .map(|group| {
                let at = rest % group.len();
                rest /= group.len();
                at
            })
            .collect();
        places.reverse();
        places
    }

    fn of_product(&self, kept: &[Vec<&Arc<Pick>>]) -> Vec<Arc<Variant>> {
        let picks: Vec<Vec<&Pick>> = kept.iter().map(|picks| picks.iter().map(|pick| &***pick).collect()).collect();
        let taken: Vec<&str> = self.named.iter().map(|(name, _)| name.as_str()).collect();
        let names = name::of_product(&picks, &taken);
        let variants = names.into_iter().zip(kept);
        variants
            .map(|(name, picks)| Arc::new(Variant { name, picks: picks.iter().map(|pick| Arc::clone(pick)).collect() }))
            .collect()
    }

    /// Says that a rule leaves nothing out.
    fn idle(&self, rule: &Rule, text: &Text) -> Diagnostic {
        let varied: Vec<String> =
            self.changes().map(|change| change.setting.to_string()).chain(["as".to_owned()]).collect();
        let of_key = |key: &Key| match key {
            Key::Setting(setting, _) => setting.to_string(),
            Key::Name => "as".to_owned(),
        };
        let fixed = rule.wanted.iter().map(|(key, _)| of_key(key)).find(|key| !varied.contains(key));
        let meant = fixed.as_ref().and_then(|key| nearest(key, varied.iter().map(String::as_str)));
        let fault = Diagnostic::caution("this rule matches no variant: it leaves nothing out").at(text.place(&rule.at));
        match (meant, fixed) {
            (Some(meant), _) => fault.remedy(format!("is `{meant}` meant?")),
            (None, Some(fixed)) => fault.remedy(format!("`{fixed}` is the same in all variants: see its value in the job")),
            (None, None) => fault.remedy("write values as they stand in the lists; all of a rule's settings must match"),
        }
    }

    fn changes(&self) -> impl Iterator<Item = &super::Change> {
        self.groups.iter().flatten().flat_map(|pick| &pick.changes)
    }
}

/// A rule against the product: of some groups the picks that it matches. It matches where every one of them has such a
/// pick.
struct Sieve {
    groups: Vec<(usize, Vec<bool>)>,
    /// It asks for what no variant has.
    never: bool,
}

impl Sieve {
    fn of(rule: &Rule, groups: &[Vec<Arc<Pick>>]) -> Self {
        let mut sieve = Self { groups: Vec::new(), never: false };
        for (key, value) in &rule.wanted {
            let deciding = groups.iter().enumerate().find_map(|(at, picks)| Some((at, hits(picks, key, value)?)));
            match (deciding, key) {
                (Some(deciding), _) => sieve.groups.push(deciding),
                // Nothing changes it: what the job has there decides.
                (None, Key::Setting(_, own)) => sieve.never |= own.as_ref() != Some(value),
                (None, Key::Name) => sieve.never = true,
            }
        }
        sieve
    }

    fn matches(&self, places: &[usize]) -> bool {
        !self.never && self.groups.iter().all(|(group, hits)| hits[places[*group]])
    }
}

/// Which picks of a group have that value, if the group decides about it.
fn hits(picks: &[Arc<Pick>], key: &Key, value: &Value) -> Option<Vec<bool>> {
    match key {
        Key::Name => {
            let named: Vec<bool> =
                picks.iter().map(|pick| pick.name.is_some() && pick.name.as_deref() == value.as_str()).collect();
            named.contains(&true).then_some(named)
        }
        Key::Setting(setting, own) => {
            let decides = picks.iter().any(|pick| found(pick, setting).is_some());
            // A pick that does not set it leaves what the job has.
            let is_it = |pick: &Arc<Pick>| found(pick, setting).unwrap_or(own.as_ref()) == Some(value);
            decides.then(|| picks.iter().map(is_it).collect())
        }
    }
}

/// What a pick says of a setting, if it sets it or what holds it.
fn found<'a>(pick: &'a Pick, setting: &Setting) -> Option<Option<&'a Value>> {
    pick.changes.iter().find_map(|change| setting.find_in_change(&change.setting, &change.value))
}
