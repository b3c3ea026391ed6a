//! A job with its variants, all of them planned.

use std::collections::BTreeMap;
use std::collections::btree_map::Entry;
use std::path::Path;
use std::sync::Arc;

use turnhue_reports::night::{Figure, Rule};

use super::inputs::Whence;
use super::resolve::Resolver;
use super::{Plan, Share, Stages};
use crate::diagnostic::{Diagnostic, Place};
use crate::job::{Change, Draft, Text, Variant};

/// A job with its variants: a plan for each. A job that asks for none is the only one of its night.
#[derive(Clone)]
pub struct Night {
    pub(super) job: Plan,
    pub(super) plans: Vec<Plan>,
    /// Nothing for a job without variants.
    pub(super) made_from: Option<MadeFrom>,
    pub(super) share: Option<Share>,
    /// How one of the variants is chosen.
    rules: Vec<Rule>,
    cautions: Vec<Diagnostic>,
}

/// What the variants were made from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct MadeFrom {
    /// How many values each list of the product has.
    pub(super) lists: Vec<usize>,
    /// How many combinations its rules leave out.
    pub(super) skipped: usize,
    /// How many variants are named.
    pub(super) named: usize,
    /// How many came to the same as others.
    pub(super) repeated: usize,
}

impl Night {
    /// The plans that are run: one for each variant, as the job lists them, or the job's own where it asks for none.
    #[must_use]
    pub fn plans(&self) -> &[Plan] {
        &self.plans
    }

    /// The plan of the job itself, without what variants change.
    #[must_use]
    pub fn job(&self) -> &Plan {
        &self.job
    }

    /// As [`Self::job`].
    #[must_use]
    pub fn into_job(self) -> Plan {
        self.job
    }

    /// Whether the job asks for variants.
    #[must_use]
    pub fn has_variants(&self) -> bool {
        self.made_from.is_some()
    }

    /// How one of the variants is chosen: the rules in the order in which they are tried.
    #[must_use]
    pub fn rules(&self) -> &[Rule] {
        &self.rules
    }

    /// What should be looked at, and keeps nothing from being run.
    #[must_use]
    pub fn cautions(&self) -> &[Diagnostic] {
        &self.cautions
    }

    /// The part of the night that belongs to a share: variants whose chains begin alike stay together as far as they can,
    /// so that few stages are run in two shares. Hangs on nothing but the variants themselves, not even on their order.
    #[must_use]
    pub fn share(mut self, share: Share) -> Self {
        let mut sorted: Vec<usize> = (0..self.plans.len()).collect();
        sorted.sort_by(|&a, &b| self.plans[a].chain().cmp(self.plans[b].chain()));
        let mut mine = sorted[share.range(sorted.len())].to_vec();
        mine.sort_unstable();
        self.share = Some(share);
        self.plans = mine.into_iter().map(|at| self.plans[at].clone()).collect();
        self
    }

    /// The same night, each plan as [`Plan::without_advice`].
    #[must_use]
    pub fn without_advice(self) -> Self {
        let plans = self.plans.into_iter().map(Plan::without_advice).collect();
        Self { job: self.job.without_advice(), plans, ..self }
    }
}

/// Plans every variant of the job in a file. Reads the job, its models and every file that it names, each once; writes
/// nothing and runs nothing.
///
/// # Errors
/// All that is wrong with the job, its variants and its inputs.
pub fn plan_night(path: &Path, stages: &Stages) -> Result<Night, Vec<Diagnostic>> {
    let folder = path.parent().unwrap_or(Path::new(""));
    plan_text(Text::open(path)?, Whence::Folder(folder), stages)
}

/// As [`plan_night`], for the bytes of a job file that stands in `folder`.
///
/// # Errors
/// As there.
pub fn plan_night_bytes(name: &str, bytes: Vec<u8>, folder: &Path, stages: &Stages) -> Result<Night, Vec<Diagnostic>> {
    plan_text(Text::parse(name, bytes)?, Whence::Folder(folder), stages)
}

/// Plans one run from what a record holds of it: the job's text, the files that went in, by their names, and which variant it
/// was. Nothing else of the job is looked at, for the record need not hold what other variants name.
///
/// # Errors
/// As [`plan_night`].
pub(crate) fn plan_recorded(
    name: &str,
    bytes: Vec<u8>,
    files: &BTreeMap<String, Arc<[u8]>>,
    variant: Option<&str>,
    stages: &Stages,
) -> Result<Plan, Vec<Diagnostic>> {
    let (text, mut faults) = (Arc::new(Text::parse(name, bytes)?), Vec::new());
    let draft = Draft::read(&text, &mut faults);
    let listed = draft.variants.iter().flat_map(|variants| &variants.list);
    let variant = match variant {
        None => None,
        Some(name) => match listed.into_iter().find(|listed| listed.name() == name) {
            Some(variant) => Some(Arc::clone(variant)),
            None => {
                faults.push(Diagnostic::error(format!("the job has no variant `{name}`")).at(text.place("variants")));
                return Err(faults);
            }
        },
    };
    let mut resolver = Resolver::new(&text, Whence::Record(files), stages);
    let own = resolver.own(&draft, variant.as_ref().map_or(&[], |variant| variant.picks()));
    let (found, files) = resolver.finish();
    faults.extend(found);
    match resolver.resolved(&draft, own, &files).filter(|_| faults.is_empty()) {
        Some(job) => Ok(Plan { text: Arc::clone(&text), job, variant }),
        None => Err(faults),
    }
}

fn plan_text(text: Text, whence: Whence<'_>, stages: &Stages) -> Result<Night, Vec<Diagnostic>> {
    let (text, mut faults) = (Arc::new(text), Vec::new());
    let draft = Draft::read(&text, &mut faults);
    let mut resolver = Resolver::new(&text, whence, stages);
    let own = resolver.own(&draft, &[]);
    let variants = draft.variants.iter().flat_map(|variants| &variants.list);
    let gathered: Vec<_> =
        variants.map(|variant| (Arc::clone(variant), resolver.gather(&draft, variant.picks()))).collect();
    let (found, files) = resolver.finish();
    faults.extend(found);
    let job = resolver.resolved(&draft, own, &files).filter(|_| faults.is_empty());
    let Some(job) = job else {
        let elsewhere = |place: &Place| place.file() != text.source().name;
        faults.sort_by_key(|fault| fault.place().map(|place| (elsewhere(place), place.line_and_column())));
        return Err(faults);
    };
    let mut plan = |(variant, gathered)| {
        let job = resolver.resolved(&draft, gathered, &files)?;
        Some(Plan { text: Arc::clone(&text), job, variant: Some(variant) })
    };
    let plans: Vec<Plan> = gathered.into_iter().filter_map(&mut plan).collect();
    let job = Plan { text: Arc::clone(&text), job, variant: None };
    let in_vain = in_vain(&draft, &text);
    let Some(variants) = draft.variants else {
        return Ok(Night {
            plans: vec![job.clone()],
            job,
            made_from: None,
            share: None,
            rules: draft.choose,
            cautions: in_vain,
        });
    };
    let all = plans.len();
    let (plans, repeated) = once_each(plans, &text);
    let made_from = MadeFrom {
        lists: variants.lists,
        skipped: variants.skipped,
        named: variants.named,
        repeated: all - plans.len(),
    };
    let cautions = variants.cautions.into_iter().chain(repeated).chain(in_vain).collect();
    Ok(Night { job, plans, made_from: Some(made_from), share: None, rules: draft.choose, cautions })
}

/// The rules that can never pick, since no stage of the job says what they go by.
fn in_vain(draft: &Draft, text: &Text) -> Vec<Diagnostic> {
    let is_there = |stage: &str| draft.steps.iter().any(|step| step.name == stage);
    let caution = |(at, rule): (usize, &Rule)| {
        let lacking = |figure: Figure| Some((figure, figure.stage().filter(|stage| !is_there(stage))?));
        let (figure, stage) = rule.figures().into_iter().find_map(lacking)?;
        let message = format!("this rule goes by the {}, which no stage of the job says", figure.word());
        let remedy = format!("add the stage `{stage}`, or take the rule out: it never picks");
        Some(Diagnostic::caution(message).at(text.place(&format!("choose[{at}]"))).remedy(remedy))
    };
    draft.choose.iter().enumerate().filter_map(caution).collect()
}

/// Leaves out variants that come to the same as one before them, and says which.
fn once_each(plans: Vec<Plan>, text: &Text) -> (Vec<Plan>, Vec<Diagnostic>) {
    let mut first: BTreeMap<Vec<Arc<str>>, usize> = BTreeMap::new();
    let mut kept: Vec<Plan> = Vec::new();
    // By the change that makes no difference: one list may hold the same for many variants.
    let mut repeats: BTreeMap<(String, String), (usize, String)> = BTreeMap::new();
    for plan in plans {
        match first.entry(plan.chain().cloned().collect()) {
            Entry::Vacant(entry) => {
                entry.insert(kept.len());
                kept.push(plan);
            }
            Entry::Occupied(entry) => {
                let before = &kept[*entry.get()];
                let (message, at) = repeat(&plan, before);
                repeats.entry(at).or_insert((0, message)).0 += 1;
            }
        }
    }
    let cautions = repeats.into_iter().map(|((key, value), (count, message))| {
        let place = if value.is_empty() { text.key_place(&key) } else { text.place(&value) };
        let more = if count > 1 { format!("; so it is with {} more", count - 1) } else { String::new() };
        Diagnostic::caution(message + &more).at(place).remedy("it is made once; leave one of the two out")
    });
    let cautions = cautions.collect();
    (kept, cautions)
}

/// That a variant comes to the same as one before it, and the change at which that shows: its key and its value in the
/// job file.
fn repeat(plan: &Plan, before: &Plan) -> (String, (String, String)) {
    let name = |plan: &Plan| plan.variant().map(|variant| variant.name().to_owned()).unwrap_or_default();
    let message = format!("the variant `{}` comes to the same as `{}`", name(plan), name(before));
    let is_new = |change: &&Change| {
        let mut others = before.variant().into_iter().flat_map(Variant::changes);
        !others.any(|other| other.setting() == change.setting() && other.value() == change.value())
    };
    let changes = || plan.variant().into_iter().flat_map(Variant::changes);
    let telling = changes().find(is_new).or_else(|| changes().last());
    let at = telling.map(|change| (change.key.clone(), change.at.clone()));
    (message, at.unwrap_or_else(|| (format!("variants.named.{}", name(plan)), String::new())))
}
