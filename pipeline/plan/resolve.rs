//! Reading what a draft names: the model, the process, the settings of each stage and the files that they name.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use turnhue_stages::colorimetry::profile;
use turnhue_stages::formats::model::Format;
use turnhue_stages::process::Process;
use turnhue_stages::stage::{Misfit, Shelf, Shop};

use super::{Input, PlannedStep, Resolved, Role, Stages, chain, misfit_of};
use crate::advise::cell;
use crate::diagnostic::{Diagnostic, Place, listed, nearest};
use crate::job::{Draft, ModelRequest, Site, Step, Text, faces_up, settings, text};
use crate::model::{Placed, Refusal};
use crate::{input, model};

/// Largest file that a stage's settings may name, in bytes, unless it is YAML: 256 MiB.
pub const LARGEST_FILE: u64 = 256 << 20;

/// Reads what a draft names. Looks at every part, also where another is at fault; adds every fault.
pub(super) fn resolve(
    text: &Text,
    draft: Draft,
    folder: &Path,
    stages: &Stages,
    faults: &mut Vec<Diagnostic>,
) -> Option<Resolved> {
    let (files, tried) = (BTreeMap::new(), BTreeSet::new());
    Resolver { text, folder, stages, faults, inputs: vec![job_file(text)], files, tried }.resolve(draft)
}

fn job_file(text: &Text) -> Arc<Input> {
    let (bytes, digest) = text.bytes_and_digest();
    let digest = digest.to_hex().to_string();
    Arc::new(Input::with_digest(Role::Job, &text.source().name, "job file", Arc::clone(bytes), digest))
}

struct Resolver<'a> {
    text: &'a Text,
    folder: &'a Path,
    stages: &'a Stages,
    faults: &'a mut Vec<Diagnostic>,
    inputs: Vec<Arc<Input>>,
    /// The files that settings name, as far as they could be read.
    files: BTreeMap<String, Arc<[u8]>>,
    /// The names of all that were tried.
    tried: BTreeSet<String>,
}

impl Resolver<'_> {
    fn resolve(mut self, draft: Draft) -> Option<Resolved> {
        let model = draft.model.as_ref().and_then(|request| self.model(request));
        let process = draft.process.as_deref().and_then(|name| self.process(name));
        self.refuse_repeats(&draft.steps);
        let steps: Vec<_> = draft.steps.into_iter().map(|step| self.step(step)).collect();
        for step in steps.iter().flatten() {
            self.read_files(step);
        }
        if let Some(process) = &process {
            steps.iter().flatten().for_each(|step| self.check_settings(step, process));
        }
        chain::check(self.text, &steps, self.stages, self.faults);
        if steps.iter().all(Option::is_some) {
            let steps: Vec<_> = steps.iter().flatten().collect();
            self.faults.extend(cell::check(self.text, &steps, draft.advise.is_some()));
        }
        Some(Resolved {
            commission: draft.commission?,
            title: draft.title?,
            model_file: draft.model?.file,
            model: Arc::new(model?),
            process_file: draft.process?,
            process: Arc::new(process?),
            files: Arc::new(self.files),
            inputs: self.inputs,
            steps: steps.into_iter().collect::<Option<_>>()?,
            advise: draft.advise,
        })
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    fn input(&mut self, role: Role, name: &str, what: &str, largest: u64, at: Place) -> Option<Arc<[u8]>> {
        match input::read(&self.path(name), largest) {
            Ok(bytes) => {
                tracing::debug!(name, bytes = bytes.len(), "read {what}");
                let input = Arc::new(Input::new(role, name, what, Arc::from(bytes)));
                self.inputs.push(Arc::clone(&input));
                Some(Arc::clone(&input.bytes))
            }
            Err(mut trouble) => {
                if trouble.missing && trouble.remedy.is_empty() {
                    trouble.remedy = "paths in a job file are relative to the job file's folder".to_owned();
                }
                self.faults.push(Diagnostic::error(trouble.message).at(at).remedy(trouble.remedy));
                None
            }
        }
    }

    fn model(&mut self, request: &ModelRequest) -> Option<Placed> {
        const AT: &str = "model.file";
        let bytes = self.input(Role::Model, &request.file, "model", model::LARGEST, self.text.place(AT))?;
        let mut beside = Beside { path: self.path(&request.file), file: &request.file, found: Vec::new() };
        let read = model::read(&bytes, request, &mut |name| beside.read(name));
        self.inputs.append(&mut beside.found);
        let fault = match read {
            Ok(placed) => return Some(placed),
            Err(Refusal::File(message)) => {
                Diagnostic::error(format!("could not read the model {}: {message}", request.file))
                    .at(self.text.place(AT))
            }
            Err(Refusal::NoUnit(format)) => {
                Diagnostic::error(format!("the unit of the model is not known: {} file does not say it", a(format)))
                    .at(self.text.key_place("model"))
                    .label("has no `units`")
                    .remedy("add `units: mm`, or whichever of mm, cm, m, in, ft and um its numbers are in")
            }
            // Seen before, in the job alone.
            Err(Refusal::FacesUp) if request.up.is_some() && request.facing.is_some() => return None,
            Err(Refusal::FacesUp) => faces_up(self.text),
            Err(Refusal::NoBody(message)) => Diagnostic::error(message)
                .at(self.text.place("model.bodies"))
                .remedy("write `bodies: all`, `bodies: largest`, or the numbers of those that are meant"),
        };
        self.faults.push(fault);
        None
    }

    fn process(&mut self, name: &str) -> Option<Process> {
        let doing = format!("reading the process file named in {}", self.text.place("process"));
        let bytes = self.input(Role::Process, name, "process file", text::LARGEST, self.text.place("process"))?;
        let mut faults = Vec::new();
        let process = Text::parse(&self.path(name).display().to_string(), bytes.to_vec())
            .map_err(|refused| faults = refused)
            .ok()
            .and_then(|text| self.process_of(name, &text, &mut faults));
        self.faults.extend(faults.into_iter().map(|fault| fault.during(doing.clone())));
        process
    }

    fn process_of(&mut self, name: &str, text: &Text, faults: &mut Vec<Diagnostic>) -> Option<Process> {
        let mut process: Process = settings::read(text, "", text.value().clone(), faults)?;
        let refused = process.check().err().or_else(|| self.read_profile(name, &mut process).err());
        let Some(misfit) = refused else { return Some(process) };
        faults.push(settings::at_setting(text, &Site::default(), misfit));
        None
    }

    /// Reads the ICC profile that a process names, from beside the process file.
    fn read_profile(&mut self, process_file: &str, process: &mut Process) -> Result<(), Misfit> {
        let Some(profile) = process.profile.as_mut().map(|figure| &mut figure.value) else { return Ok(()) };
        let wrong = |message: String, remedy: &str| Misfit::new("profile.value", message, remedy);
        let beside = Path::new(process_file).with_file_name(profile.name());
        let bytes = input::read(&self.folder.join(&beside), profile::LARGEST).map_err(|trouble| {
            let elsewhere = trouble.missing && trouble.remedy.is_empty();
            let relative = "paths in a process file are relative to the process file's folder";
            wrong(trouble.message, if elsewhere { relative } else { &trouble.remedy })
        })?;
        let shown = beside.to_string_lossy();
        let bytes: Arc<[u8]> = Arc::from(bytes);
        let what = "named by the process file";
        self.inputs.push(Arc::new(Input::new(Role::Profile, &shown, what, Arc::clone(&bytes))));
        profile.take(&bytes).map_err(|message| {
            wrong(
                format!("the profile {} {message}", profile.name()),
                "ask the bureau for its RGB or CMYK output profile, or leave `profile` out: then `gamut` says what is printable",
            )
        })
    }

    fn refuse_repeats(&mut self, steps: &[Step]) {
        let mut first: BTreeMap<&str, &Step> = BTreeMap::new();
        for step in steps {
            if let Some(before) = first.get(step.name.as_str()) {
                self.faults.push(
                    Diagnostic::error(format!("the stage `{}` comes twice", step.name))
                        .at(self.text.key_place(&step.at))
                        .label("again here")
                        .related(self.text.key_place(&before.at), "first here")
                        .remedy("keep one of the two"),
                );
            } else {
                first.insert(&step.name, step);
            }
        }
    }

    fn step(&mut self, step: Step) -> Option<PlannedStep> {
        let Some(stage) = self.stages.iter().find(|stage| stage.name() == step.name) else {
            let names = || self.stages.iter().map(|stage| stage.name());
            self.faults.push(
                Diagnostic::error(format!("there is no stage `{}`", step.name))
                    .at(self.text.key_place(&step.at))
                    .label("unknown stage")
                    .remedy(match nearest(&step.name, names()) {
                        Some(name) => format!("is `{name}` meant?"),
                        None => format!("the stages are {}", listed(names())),
                    }),
            );
            return None;
        };
        if !step.settings.is_object() {
            self.faults.push(
                Diagnostic::error(format!("the settings of `{}` must be a map", step.name))
                    .at(self.text.place(&step.at))
                    .label("expected `name: value` pairs")
                    .remedy(format!("`turnhue stages {}` lists its settings", step.name)),
            );
            return None;
        }
        let (site, mut faults) = (Site::at(step.at), Vec::new());
        let ready = settings::read_with(self.text, &site, step.settings, &mut faults, |value| stage.read(value));
        self.faults.extend(faults.into_iter().map(|fault| of_stage(fault, &step.name)));
        Some(PlannedStep::new(ready?, stage.purpose(), site))
    }

    fn read_files(&mut self, step: &PlannedStep) {
        for name in step.stage.files() {
            if !self.tried.insert(name.clone()) {
                continue;
            }
            let below = settings::find_text(&step.stage.settings(), &name).unwrap_or_default();
            let at = step.site.place(self.text, &below);
            let is_yaml = Path::new(&name)
                .extension()
                .is_some_and(|end| ["yaml", "yml"].iter().any(|yaml| end.eq_ignore_ascii_case(yaml)));
            let largest = if is_yaml { text::LARGEST } else { LARGEST_FILE };
            let bytes =
                self.input(Role::Setting, &name, &format!("named by {}", step.stage.name()), largest, at.clone());
            if let Some(bytes) = bytes.filter(|bytes| !is_yaml || self.passes_guard(&name, bytes, &at)) {
                self.files.insert(name, bytes);
            }
        }
    }

    /// A stage parses its YAML files by itself: hostile ones must not come that far.
    fn passes_guard(&mut self, name: &str, bytes: &[u8], at: &Place) -> bool {
        let guarded = Text::parse(&self.path(name).display().to_string(), bytes.to_vec());
        let passes = guarded.is_ok();
        let doing = format!("reading the file named in {at}");
        self.faults.extend(guarded.err().into_iter().flatten().map(|fault| fault.during(doing.clone())));
        passes
    }

    fn check_settings(&mut self, step: &PlannedStep, process: &Process) {
        // What a stage says about a file that could not be read would be nonsense.
        if step.stage.files().iter().any(|name| !self.files.contains_key(name)) {
            return;
        }
        let never = AtomicBool::new(false);
        let mut shelf = NoShelf;
        let shop = Shop::new(process, &self.files, &[], &never, &mut shelf);
        // Where the cell is still to be found, the other settings are checked beside a length in its place.
        let checked = if cell::is_open(step) { cell::with(step, cell::IN_PLACE) } else { Ok(step.clone()) };
        if let Err(misfit) = checked.and_then(|checked| checked.stage.check(&shop)) {
            self.faults.push(misfit_of(self.text, step, misfit));
        }
    }
}

/// What a setting's fault needs beside its place: whose setting it is, and where the settings are listed.
fn of_stage(fault: Diagnostic, name: &str) -> Diagnostic {
    let fault = fault.during(format!("reading the settings of `{name}`"));
    if fault.what_to_do().is_empty() {
        fault.remedy(format!("`turnhue stages {name}` lists its settings"))
    } else {
        fault
    }
}

/// The files that lie beside a model, of which it may name some.
struct Beside<'a> {
    path: PathBuf,
    file: &'a str,
    /// What was read, for the record.
    found: Vec<Arc<Input>>,
}

impl Beside<'_> {
    /// Reads a file by its plain name.
    fn read(&mut self, name: &str) -> Result<Vec<u8>, String> {
        let bytes = input::read(&self.path.with_file_name(name), model::LARGEST)
            .map_err(|trouble| format!("{}; it must lie beside the model", trouble.message))?;
        let shown = Path::new(self.file).with_file_name(name).to_string_lossy().into_owned();
        let kept = Arc::from(bytes.as_slice());
        self.found.push(Arc::new(Input::new(Role::BesideModel, &shown, "named by the model", kept)));
        Ok(bytes)
    }
}

/// A format with its article.
fn a(format: Format) -> String {
    let article = if matches!(format, Format::Stl | Format::Obj) { "an" } else { "a" };
    format!("{article} {format}")
}

/// The shelf of a shop in which nothing is made.
struct NoShelf;

impl Shelf for NoShelf {
    fn create(&mut self, _: &str) -> io::Result<Box<dyn io::Write + '_>> {
        Err(io::Error::new(io::ErrorKind::Unsupported, "nothing is made while planning"))
    }

    fn path(&self, name: &str) -> PathBuf {
        PathBuf::from(name)
    }
}
