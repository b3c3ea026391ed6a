//! From what a job asks for to a plan that can run: every file read, every stage known, every setting checked, every
//! need met by a stage before. All faults are gathered; with one of them there is no [`Plan`], and nothing else runs.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use serde_json::{Value, json};
use turnhue_reports::record::File;
use turnhue_stages::process::Process;
use turnhue_stages::solid::Surface;
use turnhue_stages::stage::{AnyStage, Misfit, ReadyStage, Shelf, Shop};
use turnhue_stages::workpiece::Part;

use crate::diagnostic::{Diagnostic, Place, listed, nearest};
use crate::job::{Commission, Draft, ModelRequest, Step, Text, Title, settings};
use crate::{input, model};

/// The stages that a job may name.
pub type Stages = [Box<dyn AnyStage>];

/// Largest file that a stage's settings may name, in bytes, unless it is YAML: 256 MiB.
pub const LARGEST_FILE: u64 = 256 << 20;

/// A job of which everything has been read and checked. Holds all that a run needs: nothing is read again.
pub struct Plan {
    pub(crate) job: Text,
    pub(crate) commission: Commission,
    pub(crate) title: Title,
    pub(crate) model: ModelRequest,
    pub(crate) surface: Arc<Surface>,
    pub(crate) process_file: String,
    pub(crate) process: Process,
    pub(crate) files: BTreeMap<String, Arc<[u8]>>,
    pub(crate) inputs: Vec<File>,
    pub(crate) steps: Vec<PlannedStep>,
}

/// A stage with its checked settings.
pub(crate) struct PlannedStep {
    pub(crate) stage: Box<dyn ReadyStage>,
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
    let resolved = Resolver { text: &text, folder, stages, faults: &mut faults, inputs: Vec::new() }.resolve(draft);
    match resolved.filter(|_| faults.is_empty()) {
        Some(resolved) => Ok(resolved.plan(text)),
        None => {
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
        &self.commission
    }

    /// The job with every default filled in.
    #[must_use]
    pub fn resolved(&self) -> Value {
        let stages: Vec<Value> = self.steps.iter().map(|s| json!({ s.stage.name(): s.stage.settings() })).collect();
        json!({
            "commission": self.commission,
            "title": self.title,
            "model": self.model,
            "process": self.process_file,
            "stages": stages,
        })
    }

    /// The chain in words, a stage a paragraph.
    #[must_use]
    pub fn in_words(&self) -> String {
        let mut words = format!("{}: {}\n", self.commission.as_str(), self.title.as_str());
        let size = self.surface.bounds().map(|[low, high]| (high - low).to_array()).unwrap_or_default();
        words += &format!(
            "  model    {}: {} triangles, {:.1} × {:.1} × {:.1} mm (width, depth, height)\n",
            self.model.file,
            self.surface.triangles().len(),
            size[0],
            size[1],
            size[2]
        );
        words += &format!("  process  {}: {}, {}\n", self.process_file, self.process.name, self.process.family.name());
        for (index, step) in self.steps.iter().enumerate() {
            let stage = &step.stage;
            words += &format!("  {:>2}. {}: {}\n", index + 1, stage.name(), step.purpose);
            words += &format!("      takes {}; gives {}\n", parts(&stage.needs()), parts(&stage.gives()));
            if let Value::Object(settings) = stage.settings() {
                for (name, value) in settings.iter().filter(|(_, value)| !value.is_null()) {
                    words += &format!("      {name}: {}\n", plain(value));
                }
            }
        }
        words
    }
}

fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

fn parts(parts: &[Part]) -> String {
    if parts.is_empty() {
        return "nothing".to_owned();
    }
    parts.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}

/// A job of which everything has been read, but the chain may still be wrong.
struct Resolved {
    commission: Commission,
    title: Title,
    model: ModelRequest,
    surface: Arc<Surface>,
    process_file: String,
    process: Process,
    files: BTreeMap<String, Arc<[u8]>>,
    inputs: Vec<File>,
    steps: Vec<PlannedStep>,
}

impl Resolved {
    fn plan(self, job: Text) -> Plan {
        let (length, digest) = job.length_and_digest();
        let mut inputs = vec![file(&job.source().name, "job file", length, digest)];
        inputs.extend(self.inputs);
        Plan {
            commission: self.commission,
            title: self.title,
            model: self.model,
            surface: self.surface,
            process_file: self.process_file,
            process: self.process,
            files: self.files,
            inputs,
            steps: self.steps,
            job,
        }
    }
}

fn file(name: &str, what: &str, bytes: u64, digest: blake3::Hash) -> File {
    File { name: name.to_owned(), what: what.to_owned(), bytes, blake3: digest.to_hex().to_string() }
}

/// Reads what a draft names, and gathers what is wrong with it.
struct Resolver<'a> {
    text: &'a Text,
    folder: &'a Path,
    stages: &'a Stages,
    faults: &'a mut Vec<Diagnostic>,
    inputs: Vec<File>,
}

impl Resolver<'_> {
    /// Looks at every part of the draft, also where another is at fault.
    fn resolve(mut self, draft: Draft) -> Option<Resolved> {
        let surface = draft.model.as_ref().and_then(|request| self.model(request));
        let process = draft.process.as_deref().and_then(|name| self.process(name));
        let (steps, files) = self.steps(draft.steps);
        if let Some(process) = &process {
            self.check_settings(&steps, process, &files);
        }
        let steps = steps.into_iter().collect::<Option<Vec<_>>>()?;
        Some(Resolved {
            commission: draft.commission?,
            title: draft.title?,
            model: draft.model?,
            surface: Arc::new(surface?),
            process_file: draft.process?,
            process: process?,
            files: files.into_iter().filter_map(|(name, bytes)| Some((name, bytes?))).collect(),
            inputs: self.inputs,
            steps,
        })
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }

    fn input(&mut self, name: &str, what: &str, largest: u64, at: &str) -> Option<Vec<u8>> {
        match input::read(&self.path(name), largest) {
            Ok(bytes) => {
                self.inputs.push(file(name, what, bytes.len() as u64, blake3::hash(&bytes)));
                Some(bytes)
            }
            Err(trouble) => {
                self.faults.push(Diagnostic::error(trouble.message).at(self.text.place(at)).remedy(trouble.remedy));
                None
            }
        }
    }

    fn model(&mut self, request: &ModelRequest) -> Option<Surface> {
        const AT: &str = "model.file";
        if !Path::new(&request.file).extension().is_some_and(|end| end.eq_ignore_ascii_case("stl")) {
            self.faults.push(
                Diagnostic::error("a model must be an STL file")
                    .at(self.text.place(AT))
                    .remedy("save the model as STL, with `.stl` at the end of its name"),
            );
            return None;
        }
        let bytes = self.input(&request.file, "model", model::LARGEST, AT)?;
        if request.up.parts().0 == request.facing.parts().0 {
            return None;
        }
        match model::read(&bytes, request) {
            Ok(surface) => Some(surface),
            Err(message) => {
                self.faults.push(
                    Diagnostic::error(format!("could not take the model {}: {message}", request.file))
                        .at(self.text.place(AT))
                        .remedy("save the model anew, or name the file that is meant"),
                );
                None
            }
        }
    }

    fn process(&mut self, name: &str) -> Option<Process> {
        let doing = || format!("reading the process file named in {}", self.text.place("process"));
        let bytes = self.input(name, "process file", crate::job::text::LARGEST, "process")?;
        let mut faults = Vec::new();
        let process = Text::parse(&self.path(name).display().to_string(), bytes)
            .map_err(|refused| faults = refused)
            .ok()
            .and_then(|text| {
                let process: Process = settings::read(&text, "", text.value().clone(), &mut faults)?;
                match process.check() {
                    Ok(()) => Some(process),
                    Err((field, message)) => {
                        let at = text.place(&format!("{field}.value"));
                        faults.push(Diagnostic::error(format!("`{field}` {message}")).at(at));
                        None
                    }
                }
            });
        self.faults.extend(faults.into_iter().map(|fault| fault.during(doing())));
        process
    }

    /// Looks every stage up, reads its settings and the files that they name, and checks the chain. Keeps the place of
    /// a step that could not be read, so that the chain is still judged as it was meant.
    fn steps(&mut self, steps: Vec<Step>) -> (Vec<Option<PlannedStep>>, BTreeMap<String, Option<Arc<[u8]>>>) {
        self.refuse_repeats(&steps);
        let mut files = BTreeMap::new();
        let mut whole = true;
        let mut planned = Vec::with_capacity(steps.len());
        for step in steps {
            let ready = self.step(step);
            whole &= ready.is_some();
            if let Some(ready) = &ready {
                self.read_files(ready, &mut files);
            }
            planned.push(ready);
        }
        // With a stage missing, what it would give is not known, and the rest of the chain cannot be judged.
        if whole {
            self.check_chain(&planned.iter().flatten().collect::<Vec<_>>());
        }
        (planned, files)
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
        let mut faults = Vec::new();
        let ready = settings::read_with(self.text, &step.at, step.settings, &mut faults, |value| stage.read(value));
        self.faults.extend(faults.into_iter().map(|fault| of_stage(fault, &step.name)));
        Some(PlannedStep { stage: ready?, purpose: stage.purpose(), at: step.at })
    }

    fn read_files(&mut self, step: &PlannedStep, files: &mut BTreeMap<String, Option<Arc<[u8]>>>) {
        for name in step.stage.files() {
            if files.contains_key(&name) {
                continue;
            }
            let settings = step.stage.settings();
            let below = settings::find_text(&settings, &name).unwrap_or_default();
            let at = settings::join(&step.at, &below);
            let is_yaml = Path::new(&name)
                .extension()
                .is_some_and(|end| ["yaml", "yml"].iter().any(|yaml| end.eq_ignore_ascii_case(yaml)));
            let largest = if is_yaml { crate::job::text::LARGEST } else { LARGEST_FILE };
            let what = format!("named by {}", step.stage.name());
            let mut bytes = self.input(&name, &what, largest, &at);
            if is_yaml {
                bytes = bytes.filter(|bytes| self.passes_guard(&name, bytes, &at));
            }
            files.insert(name, bytes.map(Arc::from));
        }
    }

    /// A stage parses its YAML files by itself: hostile ones must not come that far.
    fn passes_guard(&mut self, name: &str, bytes: &[u8], at: &str) -> bool {
        let guarded = Text::parse(&self.path(name).display().to_string(), bytes.to_vec());
        let passes = guarded.is_ok();
        let doing = format!("reading the file named in {}", self.text.place(at));
        self.faults.extend(guarded.err().into_iter().flatten().map(|fault| fault.during(doing.clone())));
        passes
    }

    fn check_settings(
        &mut self,
        steps: &[Option<PlannedStep>],
        process: &Process,
        files: &BTreeMap<String, Option<Arc<[u8]>>>,
    ) {
        let read: BTreeMap<_, _> =
            files.iter().filter_map(|(name, bytes)| Some((name.clone(), Arc::clone(bytes.as_ref()?)))).collect();
        let never = AtomicBool::new(false);
        for step in steps.iter().flatten() {
            // What a stage says about a file that could not be read would be nonsense.
            if step.stage.files().iter().any(|name| !read.contains_key(name)) {
                continue;
            }
            let mut shelf = NoShelf;
            let shop = Shop::new(process, &read, &[], &never, &mut shelf);
            if let Err(misfit) = step.stage.check(&shop) {
                self.faults.push(misfit_of(self.text, step, misfit));
            }
        }
    }

    fn check_chain(&mut self, steps: &[&PlannedStep]) {
        let mut have = vec![Part::Surface];
        for (index, step) in steps.iter().enumerate() {
            for part in step.stage.needs() {
                if !have.contains(&part) {
                    self.faults.push(self.unmet(step, part, &steps[index + 1..]));
                    // Say it once: what comes after would lack the same part for the same reason.
                    have.push(part);
                }
            }
            have.extend(step.stage.gives());
        }
    }

    fn unmet(&self, step: &PlannedStep, part: Part, later: &[&PlannedStep]) -> Diagnostic {
        let name = step.stage.name();
        let fault = Diagnostic::error(format!("`{name}` needs {part}, which no stage before it makes"))
            .at(self.text.key_place(&step.at))
            .label(format!("needs {part}"));
        if let Some(maker) = later.iter().find(|later| later.stage.gives().contains(&part)) {
            let maker_name = maker.stage.name();
            return fault
                .related(self.text.key_place(&maker.at), format!("makes {part}"))
                .remedy(format!("put `{maker_name}` before `{name}`"));
        }
        match self.makers(part).as_slice() {
            [] => fault,
            [one] => fault.remedy(format!("`{one}` makes {part}: put it before `{name}`")),
            many => {
                fault.remedy(format!("{} make {part}: put one of them before `{name}`", listed(many.iter().copied())))
            }
        }
    }

    /// The stages that give a part when left to their defaults, without those that need it themselves.
    fn makers(&self, part: Part) -> Vec<&'static str> {
        let makes = |stage: &&Box<dyn AnyStage>| {
            stage.read(json!({})).is_ok_and(|ready| ready.gives().contains(&part) && !ready.needs().contains(&part))
        };
        self.stages.iter().filter(makes).map(|stage| stage.name()).collect()
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

/// Attaches the place in the job file to what a stage says about its settings.
pub(crate) fn misfit_of(text: &Text, step: &PlannedStep, misfit: Misfit) -> Diagnostic {
    let name = step.stage.name();
    let message = format!("could not run {name}: {}", misfit.message);
    settings::at_setting(text, &step.at, Misfit { message, ..misfit })
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
