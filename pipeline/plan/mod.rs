//! From what a job asks for to a plan that can run: every file read, every stage known, every setting checked, every
//! need met by a stage before. All faults are gathered; with one of them there is no [`Plan`], and nothing else runs.

mod chain;
mod resolve;
mod source;
mod words;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use serde_json::{Value, json};
use turnhue_reports::record::File;
use turnhue_stages::outlook::Outlook;
use turnhue_stages::process::Process;
use turnhue_stages::stage::{AnyStage, Misfit, ReadyStage};
use turnhue_stages::units::Memory;

use crate::advise::cell;
use crate::diagnostic::{Diagnostic, Place};
use crate::job::{AdviseRequest, Commission, Draft, Text, Title, settings};
use crate::model::Placed;

/// The stages that a job may name.
pub type Stages = [Box<dyn AnyStage>];

pub use resolve::LARGEST_FILE;

/// A job of which everything has been read and checked. Holds all that a run needs: nothing is read again.
pub struct Plan {
    pub(crate) text: Text,
    pub(crate) job: Resolved,
}

/// What a job asks for, with every file read and every setting in its type. Alone it may still have faults.
pub(crate) struct Resolved {
    pub(crate) commission: Commission,
    pub(crate) title: Title,
    /// The model's file, as the job names it.
    pub(crate) model_file: String,
    pub(crate) model: Placed,
    pub(crate) process_file: String,
    pub(crate) process: Process,
    /// The files that settings name, by the name written there.
    pub(crate) files: BTreeMap<String, Arc<[u8]>>,
    pub(crate) inputs: Vec<File>,
    pub(crate) steps: Vec<PlannedStep>,
    /// The sizes of the cell to compare, where the job asks for it.
    pub(crate) advise: Option<AdviseRequest>,
}

/// A stage with its checked settings.
#[derive(Clone)]
pub(crate) struct PlannedStep {
    pub(crate) stage: Arc<dyn ReadyStage>,
    pub(crate) purpose: &'static str,
    /// The path in the job file below which its settings stand.
    pub(crate) at: String,
}

/// Plans the job in a file. Reads the job, its model and every file that it names; writes nothing and runs nothing.
///
/// # Errors
/// All that is wrong with the job and its inputs.
pub fn plan(path: &Path, stages: &Stages) -> Result<Plan, Vec<Diagnostic>> {
    plan_text(Text::open(path)?, path.parent().unwrap_or(Path::new("")), stages)
}

/// As [`plan`], for the bytes of a job file that stands in `folder`.
///
/// # Errors
/// As there.
pub fn plan_bytes(name: &str, bytes: Vec<u8>, folder: &Path, stages: &Stages) -> Result<Plan, Vec<Diagnostic>> {
    plan_text(Text::parse(name, bytes)?, folder, stages)
}

fn plan_text(text: Text, folder: &Path, stages: &Stages) -> Result<Plan, Vec<Diagnostic>> {
    let mut faults = Vec::new();
    let draft = Draft::read(&text, &mut faults);
    let resolved = resolve::resolve(&text, draft, folder, stages, &mut faults);
    match resolved {
        Some(resolved) if faults.is_empty() => Ok(Plan { text, job: resolved }),
        _ => {
            let elsewhere = |place: &Place| place.file() != text.source().name;
            faults.sort_by_key(|fault| fault.place().map(|place| (elsewhere(place), place.line_and_column())));
            Err(faults)
        }
    }
}

impl Plan {
    /// The commission under which the piece is kept.
    #[must_use]
    pub fn commission(&self) -> &Commission {
        &self.job.commission
    }

    /// The same plan, without the comparison of sizes that the job asks for under `advise`. Where the cell itself is to be
    /// found by one, it stays.
    #[must_use]
    pub fn without_advice(mut self) -> Self {
        if !self.job.steps.iter().any(cell::is_open) {
            self.job.advise = None;
        }
        self
    }

    /// Whether a run compares sizes of the cell.
    #[must_use]
    pub fn compares_sizes(&self) -> bool {
        self.job.advise.is_some() || self.job.steps.iter().any(cell::is_open)
    }

    /// What the piece will grow to, stage by stage. Where its cell is still to be found, with the smallest that is tried.
    #[must_use]
    pub fn outlook(&self) -> Vec<Outlook> {
        let mut known = Outlook::of(&self.job.model.surface);
        let stages = self.job.steps.iter();
        stages
            .map(|step| {
                let found =
                    cell::is_open(step).then(|| cell::with(step, crate::advise::finest(self, known)).ok()).flatten();
                known = found.as_ref().unwrap_or(step).stage.outlook(known);
                known
            })
            .collect()
    }

    /// The most memory that a run will hold, and what needs it: a stage, or comparing sizes, of which several are tried at
    /// once where there are threads.
    #[must_use]
    pub fn memory(&self) -> Option<(Memory, &'static str)> {
        let stages = self.job.steps.iter().map(|step| step.stage.name());
        let of_stages = self.outlook().iter().map(Outlook::peak).zip(stages).max_by_key(|&(memory, _)| memory);
        let of_advice = self.compares_sizes().then(|| (crate::advise::memory(self), "comparing sizes"));
        of_stages.into_iter().chain(of_advice).max_by_key(|&(memory, _)| memory)
    }

    /// The job with every default filled in.
    #[must_use]
    pub fn resolved(&self) -> Value {
        self.resolved_with(&self.job.steps)
    }

    /// As [`Self::resolved`], with these stages: the ones that were run, where a cell was found for them.
    pub(crate) fn resolved_with(&self, steps: &[PlannedStep]) -> Value {
        let stages: Vec<Value> = steps.iter().map(|s| json!({ s.stage.name(): s.stage.settings() })).collect();
        let mut resolved = json!({
            "commission": self.job.commission,
            "title": self.job.title,
            "model": self.job.model.resolved(&self.job.model_file),
            "process": self.job.process_file,
            "stages": stages,
        });
        if let Some(advise) = &self.job.advise {
            resolved["advise"] = json!(advise);
        }
        resolved
    }
}

/// Attaches the place in the job file to what a stage says about its settings.
pub(crate) fn misfit_of(text: &Text, step: &PlannedStep, misfit: Misfit) -> Diagnostic {
    let name = step.stage.name();
    let message = format!("could not run {name}: {}", misfit.message);
    settings::at_setting(text, &step.at, Misfit { message, ..misfit })
}
