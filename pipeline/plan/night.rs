//! A job with its variants, all of them planned.

use std::path::Path;
use std::sync::Arc;

use super::{Plan, Stages, resolve};
use crate::diagnostic::{Diagnostic, Place};
use crate::job::{Draft, Text};

/// A job with its variants: a plan for each. A job that asks for none is the only one of its night.
#[derive(Clone)]
pub struct Night {
    job: Plan,
    plans: Vec<Plan>,
    cautions: Vec<Diagnostic>,
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

    /// What should be looked at, and keeps nothing from being run.
    #[must_use]
    pub fn cautions(&self) -> &[Diagnostic] {
        &self.cautions
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
    plan_text(Text::open(path)?, path.parent().unwrap_or(Path::new("")), stages)
}

/// As [`plan_night`], for the bytes of a job file that stands in `folder`.
///
/// # Errors
/// As there.
pub fn plan_night_bytes(name: &str, bytes: Vec<u8>, folder: &Path, stages: &Stages) -> Result<Night, Vec<Diagnostic>> {
    plan_text(Text::parse(name, bytes)?, folder, stages)
}

fn plan_text(text: Text, folder: &Path, stages: &Stages) -> Result<Night, Vec<Diagnostic>> {
    let (text, mut faults) = (Arc::new(text), Vec::new());
    let draft = Draft::read(&text, &mut faults);
    let resolved = resolve::resolve(&text, draft, folder, stages, &mut faults);
    match resolved {
        Some(resolved) if faults.is_empty() => {
            let job = Plan { text, job: resolved };
            Ok(Night { plans: vec![job.clone()], job, cautions: Vec::new() })
        }
        _ => {
            let elsewhere = |place: &Place| place.file() != text.source().name;
            faults.sort_by_key(|fault| fault.place().map(|place| (elsewhere(place), place.line_and_column())));
            Err(faults)
        }
    }
}
