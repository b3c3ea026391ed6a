//! Reading what a draft and its variants name: models, processes, the settings of each stage and the files that they
//! name. What several variants have in common is read and checked once.

use std::collections::{BTreeMap, BTreeSet};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use turnhue_stages::colorimetry::profile;
use turnhue_stages::formats::model::Format;
use turnhue_stages::process::Process;
use turnhue_stages::stage::{Misfit, ReadyStage, Shelf, Shop};

use super::inputs::Whence;
use super::{Input, PlannedStep, Resolved, Role, Stages, chain, misfit_of};
use crate::advise::cell;
use crate::diagnostic::{Diagnostic, Place, listed, nearest};
use crate::job::{Draft, ModelRequest, Moved, Part, Pick, Site, Step, Text, against_itself, faces_up, settings, text};
use crate::model;
use crate::model::{Placed, Refusal};

/// Largest file that a stage's settings may name, in bytes, unless it is YAML: 256 MiB.
pub const LARGEST_FILE: u64 = 256 << 20;

/// A model that is read, with what it was read from.
struct Modelled {
    file: String,
    placed: Arc<Placed>,
    inputs: Vec<Arc<Input>>,
    /// What it is, in a line: the same for the same.
    line: Arc<str>,
}

/// A process that is read, with what it was read from.
struct Processed {
    file: String,
    process: Arc<Process>,
    inputs: Vec<Arc<Input>>,
    line: Arc<str>,
}

/// What a job or a variant of it comes to, as far as it could be read.
pub(super) struct Gathered {
    model: Option<Arc<Modelled>>,
    process: Option<Arc<Processed>>,
    steps: Vec<Option<PlannedStep>>,
}

/// The files that settings name, by the name written there.
type Files = BTreeMap<String, Arc<[u8]>>;

/// What was read of a file, or why not.
type Read = Result<Arc<[u8]>, crate::input::Trouble>;

/// Which of the job's picks a variant has for a part.
type Ids = Vec<u32>;

/// Reads what a job and its variants name. Looks at every part, also where another is at fault; keeps every fault.
pub(super) struct Resolver<'a> {
    text: &'a Text,
    whence: Whence<'a>,
    stages: &'a Stages,
    faults: Vec<Diagnostic>,
    /// The faults that were told: what variants have in common is told once.
    told: BTreeSet<(Option<(String, usize)>, String)>,
    read: BTreeMap<String, Read>,
    inputs: BTreeMap<(String, String), Arc<Input>>,
    /// The files that settings name, as far as they could be read.
    files: Files,
    /// The names of all that were tried.
    tried: BTreeSet<String>,
    models: BTreeMap<String, Option<Arc<Modelled>>>,
    processes: BTreeMap<String, Option<Arc<Processed>>>,
    steps: BTreeMap<(usize, Ids), Option<PlannedStep>>,
    /// One stage for all that have the same settings.
    alike: BTreeMap<(usize, Arc<str>), Arc<dyn ReadyStage>>,
    checked: BTreeSet<(usize, Ids, String)>,
}

impl<'a> Resolver<'a> {
    /// A resolver for the job with this text, whose files lie there.
    pub(super) fn new(text: &'a Text, whence: Whence<'a>, stages: &'a Stages) -> Self {
        Self {
            text,
            whence,
            stages,
            faults: Vec::new(),
            told: BTreeSet::new(),
            read: BTreeMap::new(),
            inputs: BTreeMap::new(),
            files: BTreeMap::new(),
            tried: BTreeSet::new(),
            models: BTreeMap::new(),
            processes: BTreeMap::new(),
            steps: BTreeMap::new(),
            alike: BTreeMap::new(),
            checked: BTreeSet::new(),
        }
    }

    /// Reads what the job itself names, or one variant of it that stands for the whole.
    pub(super) fn own(&mut self, draft: &Draft, picks: &[Arc<Pick>]) -> Gathered {
        let gathered = self.gather(draft, picks);
        self.refuse_repeats(&draft.steps);
        let mut faults = Vec::new();
        // Variants have the same stages in the same order.
        chain::check(self.text, &gathered.steps, self.stages, &mut faults);
        self.add(faults);
        gathered
    }

    /// Reads what the job names with some of its settings changed.
    pub(super) fn gather(&mut self, draft: &Draft, picks: &[Arc<Pick>]) -> Gathered {
        let model = self.model_with(draft, picks);
        let process = self.process_with(draft, picks);
        let mut steps = Vec::new();
        for (index, step) in draft.steps.iter().enumerate() {
            let ids = ids(picks, Part::Stage(index));
            let planned = self.step_with(index, step, picks, &ids);
            if let (Some(planned), Some(process)) = (&planned, &process) {
                self.check_settings(index, ids, planned, process);
            }
            steps.push(planned);
        }
        if steps.iter().all(Option::is_some) {
            let all: Vec<_> = steps.iter().flatten().collect();
            let fault = cell::check(self.text, &all, draft.advise.is_some());
            self.add(fault);
        }
        Gathered { model, process, steps }
    }

    /// The faults, and what every plan of the night shares of files.
    pub(super) fn finish(&mut self) -> (Vec<Diagnostic>, Arc<Files>) {
        (std::mem::take(&mut self.faults), Arc::new(std::mem::take(&mut self.files)))
    }

    /// Puts together what was read; nothing where something could not be.
    pub(super) fn resolved(&mut self, draft: &Draft, gathered: Gathered, files: &Arc<Files>) -> Option<Resolved> {
        let (model, process) = (gathered.model?, gathered.process?);
        let steps = gathered.steps.into_iter().collect::<Option<Vec<_>>>()?;
        let mut inputs = vec![self.job_file()];
        inputs.extend(model.inputs.iter().chain(&process.inputs).map(Arc::clone));
        let mut named = BTreeSet::new();
        for step in &steps {
            for name in step.stage.files() {
                if let Some(bytes) = files.get(&name)
                    && !named.contains(&name)
                {
                    inputs.push(self.keep(Role::Setting, &name, &named_by(step), bytes));
                    named.insert(name);
                }
            }
        }
        Some(Resolved {
            commission: draft.commission.clone()?,
            title: draft.title.clone()?,
            model_file: model.file.clone(),
            model: Arc::clone(&model.placed),
            process_file: process.file.clone(),
            process: Arc::clone(&process.process),
            beginning: [Arc::clone(&model.line), Arc::clone(&process.line)],
            files: Arc::clone(files),
            inputs,
            steps,
            advise: draft.advise.clone(),
            package: draft.package.clone(),
        })
    }

    fn add(&mut self, faults: impl IntoIterator<Item = Diagnostic>) {
        for fault in faults {
            let place = fault.place().map(|place| (place.file().to_owned(), place.span().start));
            if self.told.insert((place, fault.message().to_owned())) {
                self.faults.push(fault);
            }
        }
    }

    fn job_file(&mut self) -> Arc<Input> {
        let (bytes, _) = self.text.bytes_and_digest();
        self.keep(Role::Job, &self.text.source().name, "job file", bytes)
    }

    /// The input of that name; there is one, whoever asks.
    fn keep(&mut self, role: Role, name: &str, what: &str, bytes: &Arc<[u8]>) -> Arc<Input> {
        let key = (name.to_owned(), what.to_owned());
        let input = self.inputs.entry(key).or_insert_with(|| Arc::new(Input::new(role, name, what, Arc::clone(bytes))));
        Arc::clone(input)
    }

    /// The bytes of a file that the job names at this place.
    fn bytes(&mut self, name: &str, what: &str, largest: u64, at: &Place) -> Option<Arc<[u8]>> {
        let whence = self.whence;
        let read = self.read.entry(name.to_owned()).or_insert_with(|| {
            let bytes = whence.read(Path::new(name), largest)?;
            tracing::debug!(name, bytes = bytes.len(), "read {what}");
            Ok(Arc::from(bytes))
        });
        match read.clone() {
            Ok(bytes) => Some(bytes),
            Err(mut trouble) => {
                if trouble.missing && trouble.remedy.is_empty() {
                    trouble.remedy = "paths in a job file are relative to the job file's folder".to_owned();
                }
                self.add([Diagnostic::error(trouble.message).at(at.clone()).remedy(trouble.remedy)]);
                None
            }
        }
    }

    fn model_with(&mut self, draft: &Draft, picks: &[Arc<Pick>]) -> Option<Arc<Modelled>> {
        let site = Site::at("model").with(moved(picks, Part::Model));
        if !site.is_changed() {
            return self.model(draft.model.as_ref()?, &site);
        }
        let mut value = self.text.value().get("model").filter(|value| value.is_object())?.clone();
        change(&mut value, picks, Part::Model);
        let mut faults = Vec::new();
        let request: Option<ModelRequest> = settings::read_at(self.text, &site, value, &mut faults);
        faults.extend(request.as_ref().and_then(|request| against_itself(self.text, &site, request)));
        self.add(faults);
        self.model(&request?, &site)
    }

    fn model(&mut self, request: &ModelRequest, site: &Site) -> Option<Arc<Modelled>> {
        let key = serde_json::to_string(request).unwrap_or_default();
        if let Some(known) = self.models.get(&key) {
            return known.clone();
        }
        let model = self.read_model(request, site).map(Arc::new);
        self.models.insert(key, model.clone());
        model
    }

    fn read_model(&mut self, request: &ModelRequest, site: &Site) -> Option<Modelled> {
        let at = site.place(self.text, "file");
        let bytes = self.bytes(&request.file, "model", model::LARGEST, &at)?;
        let mut inputs = vec![self.keep(Role::Model, &request.file, "model", &bytes)];
        let mut beside = Beside { whence: self.whence, file: &request.file, found: Vec::new() };
        let read = model::read(&bytes, request, &mut |name| beside.read(name));
        inputs.append(&mut beside.found);
        let fault = match read {
            Ok(placed) => {
                let line = line_of(&placed.resolved(&request.file).to_string(), &inputs);
                return Some(Modelled { file: request.file.clone(), placed: Arc::new(placed), inputs, line });
            }
            Err(Refusal::File(message)) => {
                Diagnostic::error(format!("could not read the model {}: {message}", request.file)).at(at)
            }
            Err(Refusal::NoUnit(format)) => {
                Diagnostic::error(format!("the unit of the model is not known: {} file does not say it", a(format)))
                    .at(self.text.key_place("model"))
                    .label("has no `units`")
                    .remedy("add `units: mm`, or whichever of mm, cm, m, in, ft and um its numbers are in")
            }
            // Seen before, in the job alone.
            Err(Refusal::FacesUp) if request.up.is_some() && request.facing.is_some() => return None,
            Err(Refusal::FacesUp) => faces_up(self.text, site),
            Err(Refusal::NoBody(message)) => Diagnostic::error(message)
                .at(site.place(self.text, "bodies"))
                .remedy("write `bodies: all`, `bodies: largest`, or the numbers of those that are meant"),
        };
        self.add([fault]);
        None
    }

    fn process_with(&mut self, draft: &Draft, picks: &[Arc<Pick>]) -> Option<Arc<Processed>> {
        let changed = picks.iter().flat_map(|pick| pick.of_part(Part::Process)).last();
        match changed.and_then(|change| Some((change.value.as_str()?, &change.at))) {
            Some((name, at)) => self.process(name, at),
            None => self.process(draft.process.as_deref()?, "process"),
        }
    }

    fn process(&mut self, name: &str, at: &str) -> Option<Arc<Processed>> {
        if let Some(known) = self.processes.get(name) {
            return known.clone();
        }
        let process = self.read_process(name, &self.text.place(at)).map(Arc::new);
        self.processes.insert(name.to_owned(), process.clone());
        process
    }

    fn read_process(&mut self, name: &str, at: &Place) -> Option<Processed> {
        let doing = format!("reading the process file named in {at}");
        let bytes = self.bytes(name, "process file", text::LARGEST, at)?;
        let mut inputs = vec![self.keep(Role::Process, name, "process file", &bytes)];
        let mut faults = Vec::new();
        let process = Text::parse(&self.whence.shown(name), bytes.to_vec())
            .map_err(|refused| faults = refused)
            .ok()
            .and_then(|text| self.process_of(name, &text, &mut inputs, &mut faults));
        self.add(faults.into_iter().map(|fault| fault.during(doing.clone())));
        let line = line_of(name, &inputs);
        Some(Processed { file: name.to_owned(), process: Arc::new(process?), inputs, line })
    }

    fn process_of(
        &mut self,
        name: &str,
        text: &Text,
        inputs: &mut Vec<Arc<Input>>,
        faults: &mut Vec<Diagnostic>,
    ) -> Option<Process> {
        let mut process: Process = settings::read(text, "", text.value().clone(), faults)?;
        let refused = process.check().err().or_else(|| self.read_profile(name, &mut process, inputs).err());
        let Some(misfit) = refused else { return Some(process) };
        faults.push(settings::at_setting(text, &Site::default(), misfit));
        None
    }

    /// Reads the ICC profile that a process names, from beside the process file.
    fn read_profile(
        &mut self,
        process_file: &str,
        process: &mut Process,
        inputs: &mut Vec<Arc<Input>>,
    ) -> Result<(), Misfit> {
        let Some(profile) = process.profile.as_mut().map(|figure| &mut figure.value) else { return Ok(()) };
        let wrong = |message: String, remedy: &str| Misfit::new("profile.value", message, remedy);
        let beside = Path::new(process_file).with_file_name(profile.name());
        let bytes = self.whence.read(&beside, profile::LARGEST).map_err(|trouble| {
            let elsewhere = trouble.missing && trouble.remedy.is_empty();
            let relative = "paths in a process file are relative to the process file's folder";
            wrong(trouble.message, if elsewhere { relative } else { &trouble.remedy })
        })?;
        let (shown, bytes) = (beside.to_string_lossy(), Arc::from(bytes));
        inputs.push(self.keep(Role::Profile, &shown, "named by the process file", &bytes));
        profile.take(&bytes).map_err(|message| {
            wrong(
                format!("the profile {} {message}", profile.name()),
                "ask the bureau for its RGB or CMYK output profile, or leave `profile` out: then `gamut` says what is printable",
            )
        })
    }

    fn refuse_repeats(&mut self, steps: &[Step]) {
        let mut first: BTreeMap<&str, &Step> = BTreeMap::new();
        let mut faults = Vec::new();
        for step in steps {
            if let Some(before) = first.get(step.name.as_str()) {
                faults.push(
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
        self.add(faults);
    }

    /// A stage with what the picks change of it. Each set of picks is read once.
    fn step_with(&mut self, index: usize, step: &Step, picks: &[Arc<Pick>], ids: &Ids) -> Option<PlannedStep> {
        let key = (index, ids.clone());
        if let Some(known) = self.steps.get(&key) {
            return known.clone();
        }
        let part = Part::Stage(index);
        let site = Site::at(step.at.as_str()).with(moved(picks, part));
        let mut settings = step.settings.clone();
        change(&mut settings, picks, part);
        let planned = self.step(step, settings, site).map(|planned| self.like_others(index, planned));
        if let Some(planned) = &planned {
            self.read_files(planned);
        }
        self.steps.insert(key, planned.clone());
        planned
    }

    /// The stage itself may serve many variants.
    fn like_others(&mut self, index: usize, planned: PlannedStep) -> PlannedStep {
        let key = (index, Arc::clone(planned.settings()));
        match self.alike.get_key_value(&key) {
            Some(((_, settings), stage)) => planned.sharing(stage, settings),
            None => {
                self.alike.insert(key, Arc::clone(&planned.stage));
                planned
            }
        }
    }

    fn step(&mut self, step: &Step, settings: serde_json::Value, site: Site) -> Option<PlannedStep> {
        let Some(stage) = self.stages.iter().find(|stage| stage.name() == step.name) else {
            let names = || self.stages.iter().map(|stage| stage.name());
            let fault = Diagnostic::error(format!("there is no stage `{}`", step.name))
                .at(self.text.key_place(&step.at))
                .label("unknown stage")
                .remedy(match nearest(&step.name, names()) {
                    Some(name) => format!("is `{name}` meant?"),
                    None => format!("the stages are {}", listed(names())),
                });
            self.add([fault]);
            return None;
        };
        if !settings.is_object() {
            let fault = Diagnostic::error(format!("the settings of `{}` must be a map", step.name))
                .at(self.text.place(&step.at))
                .label("expected `name: value` pairs")
                .remedy(format!("`turnhue stages {}` lists its settings", step.name));
            self.add([fault]);
            return None;
        }
        let mut faults = Vec::new();
        let ready = settings::read_with(self.text, &site, settings, &mut faults, |value| stage.read(value));
        self.add(faults.into_iter().map(|fault| of_stage(fault, &step.name)));
        Some(PlannedStep::new(ready?, stage.purpose(), site))
    }

    fn read_files(&mut self, step: &PlannedStep) {
        for name in step.stage.files() {
            let below = settings::find_text(&step.stage.settings(), &name).unwrap_or_default();
            let at = step.site.place(self.text, &below);
            let is_yaml = Path::new(&name)
                .extension()
                .is_some_and(|end| ["yaml", "yml"].iter().any(|yaml| end.eq_ignore_ascii_case(yaml)));
            let largest = if is_yaml { text::LARGEST } else { LARGEST_FILE };
            let bytes = self.bytes(&name, &named_by(step), largest, &at);
            if !self.tried.insert(name.clone()) {
                continue;
            }
            if let Some(bytes) = bytes.filter(|bytes| !is_yaml || self.passes_guard(&name, bytes, &at)) {
                self.files.insert(name, bytes);
            }
        }
    }

    /// A stage parses its YAML files by itself: hostile ones must not come that far.
    fn passes_guard(&mut self, name: &str, bytes: &[u8], at: &Place) -> bool {
        let guarded = Text::parse(&self.whence.shown(name), bytes.to_vec());
        let passes = guarded.is_ok();
        let doing = format!("reading the file named in {at}");
        self.add(guarded.err().into_iter().flatten().map(|fault| fault.during(doing.clone())));
        passes
    }

    /// Asks the stage about its settings; once for each set of picks and each process.
    fn check_settings(&mut self, index: usize, ids: Ids, step: &PlannedStep, process: &Processed) {
        // What a stage says about a file that could not be read would be nonsense.
        if !self.checked.insert((index, ids, process.file.clone()))
            || step.stage.files().iter().any(|name| !self.files.contains_key(name))
        {
            return;
        }
        let never = AtomicBool::new(false);
        let mut shelf = NoShelf;
        let shop = Shop::new(&process.process, &self.files, &[], &never, &mut shelf);
        // Where the cell is still to be found, the other settings are checked beside a length in its place.
        let checked = if cell::is_open(step) { cell::with(step, cell::IN_PLACE) } else { Ok(step.clone()) };
        if let Err(misfit) = checked.and_then(|checked| checked.stage.check(&shop)) {
            self.add([misfit_of(self.text, step, misfit)]);
        }
    }
}

/// What a file is that a stage's settings name.
fn named_by(step: &PlannedStep) -> String {
    format!("named by {}", step.stage.name())
}

/// A line that says what was read, the digest of every file with it.
fn line_of(what: &str, inputs: &[Arc<Input>]) -> Arc<str> {
    let digests = inputs.iter().map(|input| input.file.blake3.as_str());
    Arc::from([what].into_iter().chain(digests).collect::<Vec<_>>().join(" "))
}

/// The picks that change a part.
fn ids(picks: &[Arc<Pick>], part: Part) -> Ids {
    picks.iter().filter(|pick| pick.of_part(part).next().is_some()).map(|pick| pick.id).collect()
}

/// Where the settings stand that picks change.
fn moved(picks: &[Arc<Pick>], part: Part) -> Vec<Moved> {
    let changes = picks.iter().flat_map(|pick| pick.of_part(part));
    changes.map(|c| Moved { setting: c.setting.below(), key: c.key.clone(), value: c.at.clone() }).collect()
}

/// Changes the values of a part as picks say.
fn change(value: &mut serde_json::Value, picks: &[Arc<Pick>], part: Part) {
    for change in picks.iter().flat_map(|pick| pick.of_part(part)) {
        change.setting.set(value, change.value.clone());
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
    whence: Whence<'a>,
    file: &'a str,
    /// What was read, for the record.
    found: Vec<Arc<Input>>,
}

impl Beside<'_> {
    /// Reads a file by its plain name.
    fn read(&mut self, name: &str) -> Result<Vec<u8>, String> {
        let beside = Path::new(self.file).with_file_name(name);
        let bytes = self
            .whence
            .read(&beside, model::LARGEST)
            .map_err(|trouble| format!("{}; it must lie beside the model", trouble.message))?;
        let shown = beside.to_string_lossy().into_owned();
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
