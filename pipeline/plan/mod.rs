//! From what a job asks for to a plan that can run: every file read, every stage known, every setting checked, every
//! need met by a stage before. All faults are gathered; with one of them there is no [`Plan`], and nothing else runs.

mod chain;
mod common;
mod inputs;
mod listing;
mod night;
mod resolve;
mod share;
mod source;
mod words;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use serde_json::{Value, json};
use turnhue_stages::outlook::Outlook;
use turnhue_stages::process::Process;
use turnhue_stages::stage::{AnyStage, Misfit, ReadyStage};
use turnhue_stages::units::Memory;

use crate::advise::cell;
use crate::diagnostic::Diagnostic;
use crate::job::{AdviseRequest, Commission, PackageRequest, Site, Text, Title, Variant, settings};
use crate::model::Placed;

/// The stages that a job may name.
pub type Stages = [Box<dyn AnyStage>];

pub use common::{Common, Seconds};
pub use inputs::{Input, Role};
pub(crate) use night::plan_recorded;
pub use night::{Night, plan_night, plan_night_bytes};
pub use resolve::LARGEST_FILE;
pub use share::Share;

/// A job of which everything has been read and checked, or one variant of it. Holds all that a run needs: nothing is
/// read again. What variants have in common they share.
#[derive(Clone)]
pub struct Plan {
    pub(crate) text: Arc<Text>,
    pub(crate) job: Resolved,
    variant: Option<Arc<Variant>>,
}

/// What a job asks for, with every file read and every setting in its type. Alone it may still have faults.
#[derive(Clone)]
pub(crate) struct Resolved {
    pub(crate) commission: Commission,
    pub(crate) title: Title,
    /// The model's file, as the job names it.
    pub(crate) model_file: String,
    pub(crate) model: Arc<Placed>,
    pub(crate) process_file: String,
    pub(crate) process: Arc<Process>,
    /// What the first stage begins with, in two lines: the model and the process, each with its digests.
    pub(crate) beginning: [Arc<str>; 2],
    /// The files that settings name, by the name written there; also those that other variants name.
    pub(crate) files: Arc<BTreeMap<String, Arc<[u8]>>>,
    /// What goes in: the job file first.
    pub(crate) inputs: Vec<Arc<Input>>,
    pub(crate) steps: Vec<PlannedStep>,
    /// The sizes of the cell to compare, where the job asks for it.
    pub(crate) advise: Option<AdviseRequest>,
    /// What the sheets of the order say that the run does not know.
    pub(crate) package: Option<PackageRequest>,
}

/// A stage with its checked settings.
#[derive(Clone)]
pub(crate) struct PlannedStep {
    pub(crate) stage: Arc<dyn ReadyStage>,
    pub(crate) purpose: &'static str,
    /// Where its settings stand in the job file.
    pub(crate) site: Arc<Site>,
    /// See [`Self::settings`]. Not open to the crate, so that it cannot be another stage's.
    settings: Arc<str>,
}

impl PlannedStep {
    fn new(stage: Box<dyn ReadyStage>, purpose: &'static str, site: Site) -> Self {
        let settings = Arc::from(stage.settings().to_string());
        Self { stage: Arc::from(stage), purpose, site: Arc::new(site), settings }
    }

    /// The same, with the stage of another step that has the same settings.
    fn sharing(self, stage: &Arc<dyn ReadyStage>, settings: &Arc<str>) -> Self {
        Self { stage: Arc::clone(stage), settings: Arc::clone(settings), ..self }
    }

    /// The settings, defaults filled in, as one line of JSON: equal for equal settings.
    pub(crate) fn settings(&self) -> &Arc<str> {
        &self.settings
    }

    /// The same stage with other settings, read by the stage itself.
    pub(crate) fn with(&self, settings: Value) -> Result<Self, Misfit> {
        let stage = self.stage.with(settings)?;
        Ok(Self::new(stage, self.purpose, (*self.site).clone()))
    }
}

/// Plans the job in a file, whatever variants of it the job asks for beside: [`plan_night`] plans those. Reads the job,
/// its model and every file that it names; writes nothing and runs nothing.
///
/// # Errors
/// All that is wrong with the job and its inputs.
pub fn plan(path: &Path, stages: &Stages) -> Result<Plan, Vec<Diagnostic>> {
    plan_night(path, stages).map(Night::into_job)
}

/// As [`plan`], for the bytes of a job file that stands in `folder`.
///
/// # Errors
/// As there.
pub fn plan_bytes(name: &str, bytes: Vec<u8>, folder: &Path, stages: &Stages) -> Result<Plan, Vec<Diagnostic>> {
    plan_night_bytes(name, bytes, folder, stages).map(Night::into_job)
}

impl Plan {
    /// The commission under which the piece is kept.
    #[must_use]
    pub fn commission(&self) -> &Commission {
        &self.job.commission
    }

    /// Which variant of its job it is; nothing where it is the job itself.
    #[must_use]
    pub fn variant(&self) -> Option<&Variant> {
        self.variant.as_deref()
    }

    /// The settings of its stages in order, each as one line of JSON, after two lines for the model and the process: two
    /// plans of one night make the same piece if all of these are the same, and their runs have in common what the first
    /// stages have.
    pub fn chain(&self) -> impl Iterator<Item = &Arc<str>> {
        self.job.beginning.iter().chain(self.job.steps.iter().map(PlannedStep::settings))
    }

    /// Every file that goes in, the job file first.
    #[must_use]
    pub fn inputs(&self) -> &[Arc<Input>] {
        &self.job.inputs
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
        let mut known = self.job.model.outlook;
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
        if let Some(package) = &self.job.package {
            resolved["package"] = json!(package);
        }
        resolved
    }
}

/// Attaches the place in the job file to what a stage says about its settings.
pub(crate) fn misfit_of(text: &Text, step: &PlannedStep, misfit: Misfit) -> Diagnostic {
    let name = step.stage.name();
    let message = format!("could not run {name}: {}", misfit.message);
    settings::at_setting(text, &step.site, Misfit { message, ..misfit })
}
