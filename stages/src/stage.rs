//! What a stage is.
//!
//! A stage is a type that implements [`Stage`]: its name, purpose and version, a settings struct that documents itself,
//! the parts it needs and gives, and `run`. The list of stages that ship is [`crate::shipped`]; a program that uses the
//! library hands its own list, with its own stages in it, to the pipeline.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use schemars::{JsonSchema, Schema};
use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::findings::{Fact, Finding};
use crate::marked::{self, Sight};
use crate::memo::{Memo, Recall};
use crate::outlook::Outlook;
use crate::process::Process;
use crate::solid::Cells;
use crate::workpiece::{Part, Workpiece};

/// One step of the chain.
pub trait Stage: Send + Sync + 'static {
    /// The settings, read from the job file. Derive `Deserialize` with `deny_unknown_fields`, `Serialize` and
    /// `JsonSchema`; document every field with its unit, and give defaults. They must survive a round trip through JSON.
    type Settings: Serialize + DeserializeOwned + JsonSchema + Send + Sync + 'static;

    /// The name in job files: one lower-case word.
    const NAME: &'static str;
    /// One line that says what the stage is for.
    const PURPOSE: &'static str;
    /// Raised whenever the results for the same settings and piece change.
    const VERSION: u32;

    /// The parts that must be on the workpiece before the stage runs.
    const NEEDS: &'static [Part];
    /// The parts that are on the workpiece after it ran, whatever the settings and the model. Parts that are made from
    /// these are gone then, unless the stage gives them too.
    const GIVES: &'static [Part];

    /// The files that the settings name, as written there. The pipeline reads them before anything runs and puts their
    /// bytes on the [`Shop`].
    fn files(settings: &Self::Settings) -> Vec<String> {
        let _ = settings;
        Vec::new()
    }

    /// What the piece will grow to by this stage, and the memory that takes, reckoned before anything runs from what is known
    /// before the stage. Bounds from above where it cannot know.
    fn outlook(settings: &Self::Settings, before: Outlook) -> Outlook {
        let _ = settings;
        before.after(0.0, 0.0)
    }

    /// Checks what can be checked without the piece: ranges, and the content of the files named. Must not touch the
    /// shelf of the shop.
    ///
    /// # Errors
    /// [`Misfit`] for the first setting that makes no sense.
    fn check(settings: &Self::Settings, shop: &Shop<'_>) -> Result<(), Misfit> {
        let _ = (settings, shop);
        Ok(())
    }

    /// Does the work: takes the piece, gives it back with the parts added; says facts and findings, and makes
    /// artefacts, on the shop. The same settings and piece must give the same results and bytes on any number of
    /// threads. A piece that cannot be made well is a finding; only settings that do not fit this piece at all stop the
    /// run. Must not name itself in messages: the pipeline does.
    ///
    /// # Errors
    /// See [`Halt`].
    fn run(settings: &Self::Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt>;
}

/// A setting that makes no sense, or does not fit this piece.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Misfit {
    /// The setting, as a path below the stage: `wall`, `openings[0].width`; empty for the stage as a whole.
    pub setting: String,
    /// What is wrong, as a fragment that completes "could not run STAGE:".
    pub message: String,
    /// What to do.
    pub remedy: String,
}

impl Misfit {
    /// A setting, what is wrong with it, and what to do.
    pub fn new(setting: impl Into<String>, message: impl Into<String>, remedy: impl Into<String>) -> Self {
        Self { setting: setting.into(), message: message.into(), remedy: remedy.into() }
    }
}

/// The cells, for stages that cannot do anything without any: a form that is thinner than the cells everywhere has none.
///
/// # Errors
/// A [`Misfit`] if no cell is solid.
pub fn some_cubes(cells: &Cells) -> Result<&Cells, Misfit> {
    if cells.extent().is_some() {
        return Ok(cells);
    }
    Err(Misfit::new(
        "",
        "no cube is left: the form is thinner than the cells everywhere",
        "set `repair.thin: thicken`, make `voxelise.cell` smaller, or the piece larger with `scale`",
    ))
}

/// Why a stage stopped the run.
#[derive(Debug)]
pub enum Halt {
    /// The settings do not fit this model.
    Misfit(Misfit),
    /// An artefact could not be written or read back.
    Shelf {
        /// The artefact.
        name: String,
        /// What the system said.
        error: io::Error,
    },
    /// Somebody asked the run to stop.
    Cancelled,
}

impl From<Misfit> for Halt {
    fn from(misfit: Misfit) -> Self {
        Self::Misfit(misfit)
    }
}

/// Where artefacts are put. The pipeline's shelf is a run folder that appears whole or not at all.
pub trait Shelf: Send {
    /// Opens a new artefact.
    ///
    /// # Errors
    /// If it cannot be created, or exists already.
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + '_>>;

    /// Where the artefact lies until the run is published.
    fn path(&self, name: &str) -> PathBuf;
}

/// A file that a stage made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Artefact {
    /// File name in the run folder.
    pub name: String,
    /// What it is, in a few words for people.
    pub what: String,
}

/// What a run is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// The piece, with everything that can be said of it and drawn.
    Piece,
    /// Everything that can be said of it: see [`Shop::draft`].
    Facts,
    /// What it can be compared by: see [`Shop::brief`].
    Comparison,
}

/// What a stage may use beside the piece, and where it puts what it has to say.
pub struct Shop<'a> {
    process: &'a Process,
    title: &'a str,
    files: &'a BTreeMap<String, Arc<[u8]>>,
    cancel: &'a AtomicBool,
    shelf: &'a mut dyn Shelf,
    facts: Vec<Fact>,
    findings: Vec<Finding>,
    /// What shows more of a finding than its places do, by the finding's number.
    sights: BTreeMap<usize, Sight>,
    artefacts: Vec<Artefact>,
    known: &'a [Fact],
    wanted: Wanted,
    recall: Recall<'a>,
}

/// What a stage said and made.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// Facts, in the order in which they were said.
    pub facts: Vec<Fact>,
    /// Findings, in the order in which they were said.
    pub findings: Vec<Finding>,
    /// Artefacts, in the order in which they were made.
    pub artefacts: Vec<Artefact>,
}

impl<'a> Shop<'a> {
    /// Sets up a shop: the process, the bytes of the files that settings name, the facts said by the stages before,
    /// the flag that asks to stop, and the shelf for artefacts.
    pub fn new(
        process: &'a Process,
        files: &'a BTreeMap<String, Arc<[u8]>>,
        known: &'a [Fact],
        cancel: &'a AtomicBool,
        shelf: &'a mut dyn Shelf,
    ) -> Self {
        Self {
            process,
            title: "",
            files,
            cancel,
            shelf,
            known,
            facts: Vec::new(),
            findings: Vec::new(),
            sights: BTreeMap::new(),
            artefacts: Vec::new(),
            wanted: Wanted::Piece,
            recall: Recall::NOTHING,
        }
    }

    /// Sets the piece's title, for files that carry one.
    #[must_use]
    pub fn titled(mut self, title: &'a str) -> Self {
        self.title = title;
        self
    }

    /// The piece's title; empty when nobody gave one.
    #[must_use]
    pub fn title(&self) -> &str {
        self.title
    }

    /// Lets the stage recall pure work that runs before it have left in a memo, and leave its own. Nothing that the stage
    /// says or makes changes by it.
    #[must_use]
    pub fn with_memo(mut self, memo: &'a Memo) -> Self {
        self.recall = Recall::from(memo);
        self
    }

    /// What may be recalled of pure work.
    #[must_use]
    pub fn recall(&self) -> Recall<'a> {
        self.recall
    }

    /// Makes it the shop of a draft: [`Wanted::Facts`].
    #[must_use]
    pub fn drafting(self) -> Self {
        self.wanting(Wanted::Facts)
    }

    /// Says what is wanted, where it is not the piece itself.
    #[must_use]
    pub fn wanting(mut self, wanted: Wanted) -> Self {
        self.wanted = wanted;
        self
    }

    /// Whether only facts and findings are wanted, since the piece is one of several that are compared and none of them
    /// is kept. A stage may then leave out every artefact that no later stage reads, and the work of making it; its facts
    /// and findings must be the same, but for the pictures that findings name.
    #[must_use]
    pub fn draft(&self) -> bool {
        self.wanted != Wanted::Piece
    }

    /// Whether, in a draft, only what sizes of the cell are compared by is wanted. A stage may then leave out what takes
    /// long and is said nowhere beside other sizes. The facts that it says must be those of the piece itself, and it must
    /// find the same faults.
    #[must_use]
    pub fn brief(&self) -> bool {
        self.wanted == Wanted::Comparison
    }

    /// What the printing process can hold.
    #[must_use]
    pub fn process(&self) -> &Process {
        self.process
    }

    /// The bytes of a file that the settings name.
    ///
    /// # Panics
    /// If the stage did not list the file in [`Stage::files`].
    #[must_use]
    pub fn file(&self, name: &str) -> &[u8] {
        self.files.get(name).unwrap_or_else(|| panic!("'{name}' is not among the stage's files"))
    }

    /// The last fact of that name, from this stage or one before it.
    #[must_use]
    pub fn known(&self, name: &str) -> Option<&Fact> {
        self.facts.iter().rev().chain(self.known.iter().rev()).find(|fact| fact.name == name)
    }

    /// Says a fact.
    pub fn fact(&mut self, fact: Fact) {
        self.facts.push(fact);
    }

    /// Says a finding. One that has places and no picture gets one once the stage has run: the piece with the places marked.
    pub fn finding(&mut self, finding: Finding) {
        self.findings.push(finding);
    }

    /// Says a finding, and what shows it beside its places, or from where it is seen best; not asked for in a draft.
    pub fn finding_seen(&mut self, finding: Finding, sight: impl FnOnce() -> Sight) {
        if !self.draft() {
            self.sights.insert(self.findings.len(), sight());
        }
        self.findings.push(finding);
    }

    /// The findings so far.
    pub(crate) fn findings(&self) -> &[Finding] {
        &self.findings
    }

    /// The numbers of the findings that have somewhere to look and no picture yet, with what shows them.
    pub(crate) fn unpictured(&mut self) -> Vec<(usize, Sight)> {
        let mut sights = std::mem::take(&mut self.sights);
        let mut sight = |at: usize| sights.remove(&at).unwrap_or_default();
        let findings = self.findings.iter().enumerate().filter(|(_, finding)| finding.picture.is_none());
        let due = findings.map(|(at, finding)| (at, sight(at), finding.places.is_empty()));
        due.filter(|(_, sight, nowhere)| !(*nowhere && sight.is_empty())).map(|(at, sight, _)| (at, sight)).collect()
    }

    /// Names the artefact that shows a finding.
    pub(crate) fn picture(&mut self, finding: usize, artefact: String) {
        self.findings[finding].picture = Some(artefact);
    }

    /// Makes an artefact: `write` gets a buffered writer. Returns where the file lies until the run is published.
    ///
    /// # Errors
    /// [`Halt::Shelf`] if it cannot be written.
    pub fn artefact(
        &mut self,
        name: &str,
        what: &str,
        write: impl FnOnce(&mut dyn Write) -> io::Result<()>,
    ) -> Result<PathBuf, Halt> {
        let halt = |error| Halt::Shelf { name: name.to_owned(), error };
        {
            let mut writer = io::BufWriter::with_capacity(1 << 16, self.shelf.create(name).map_err(halt)?);
            write(&mut writer).map_err(halt)?;
            writer.flush().map_err(halt)?;
        }
        self.artefacts.push(Artefact { name: name.to_owned(), what: what.to_owned() });
        Ok(self.shelf.path(name))
    }

    /// A name for a new artefact: the one asked for, or, where an earlier stage took it, the same with a number.
    #[must_use]
    pub fn free_name(&self, name: &str) -> String {
        let (stem, ending) = name.rsplit_once('.').unwrap_or((name, ""));
        let numbered =
            (2..).map(|n| if ending.is_empty() { format!("{stem}-{n}") } else { format!("{stem}-{n}.{ending}") });
        let mut names = std::iter::once(name.to_owned()).chain(numbered);
        names.find(|name| !self.shelf.path(name).exists()).unwrap_or_else(|| name.to_owned())
    }

    /// Stops the stage if somebody asked for it; to be called now and then in long work.
    ///
    /// # Errors
    /// [`Halt::Cancelled`].
    pub fn go_on(&self) -> Result<(), Halt> {
        if self.cancel.load(Ordering::Relaxed) { Err(Halt::Cancelled) } else { Ok(()) }
    }

    /// Closes the shop and gives what was said and made.
    #[must_use]
    pub fn close(self) -> Outcome {
        Outcome { facts: self.facts, findings: self.findings, artefacts: self.artefacts }
    }
}

/// A stage as the pipeline holds it: [`Stage`] without its types. Every [`Stage`] has one: [`erase`].
pub trait AnyStage: Send + Sync {
    /// See [`Stage::NAME`].
    fn name(&self) -> &'static str;
    /// See [`Stage::PURPOSE`].
    fn purpose(&self) -> &'static str;
    /// See [`Stage::VERSION`].
    fn version(&self) -> u32;
    /// See [`Stage::NEEDS`].
    fn needs(&self) -> &'static [Part];
    /// See [`Stage::GIVES`].
    fn gives(&self) -> &'static [Part];
    /// JSON Schema of the settings.
    fn schema(&self) -> Schema;
    /// Reads settings.
    ///
    /// # Errors
    /// A [`Misfit`] with the path of the setting that could not be read.
    fn read(&self, settings: serde_json::Value) -> Result<Box<dyn ReadyStage>, Misfit>;
}

/// A stage with its settings.
pub trait ReadyStage: Send + Sync {
    /// See [`Stage::NAME`].
    fn name(&self) -> &'static str;
    /// See [`Stage::VERSION`].
    fn version(&self) -> u32;
    /// See [`Stage::NEEDS`].
    fn needs(&self) -> &'static [Part];
    /// See [`Stage::GIVES`].
    fn gives(&self) -> &'static [Part];
    /// The settings with every default filled in.
    fn settings(&self) -> serde_json::Value;
    /// The same stage with other settings, read as in [`AnyStage::read`].
    ///
    /// # Errors
    /// As there.
    fn with(&self, settings: serde_json::Value) -> Result<Box<dyn ReadyStage>, Misfit>;
    /// See [`Stage::files`].
    fn files(&self) -> Vec<String>;
    /// See [`Stage::outlook`].
    fn outlook(&self, before: Outlook) -> Outlook;
    /// See [`Stage::check`].
    ///
    /// # Errors
    /// As there.
    fn check(&self, shop: &Shop<'_>) -> Result<(), Misfit>;
    /// See [`Stage::run`]. Then draws every finding that has somewhere to look: see [`crate::marked`].
    ///
    /// # Errors
    /// As there.
    fn run(&self, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt>;
}

/// Takes the types off a stage.
#[must_use]
pub fn erase<S: Stage>() -> Box<dyn AnyStage> {
    Box::new(Erased::<S>(std::marker::PhantomData))
}

struct Erased<S>(std::marker::PhantomData<fn() -> S>);

struct Ready<S: Stage>(S::Settings);

impl<S: Stage> AnyStage for Erased<S> {
    fn name(&self) -> &'static str {
        S::NAME
    }

    fn purpose(&self) -> &'static str {
        S::PURPOSE
    }

    fn version(&self) -> u32 {
        S::VERSION
    }

    fn needs(&self) -> &'static [Part] {
        S::NEEDS
    }

    fn gives(&self) -> &'static [Part] {
        S::GIVES
    }

    fn schema(&self) -> Schema {
        schemars::schema_for!(S::Settings)
    }

    fn read(&self, settings: serde_json::Value) -> Result<Box<dyn ReadyStage>, Misfit> {
        read::<S>(settings)
    }
}

fn read<S: Stage>(settings: serde_json::Value) -> Result<Box<dyn ReadyStage>, Misfit> {
    let settings: S::Settings = serde_path_to_error::deserialize(settings).map_err(|error| {
        let path = error.path().to_string();
        Misfit::new(if path == "." { String::new() } else { path }, error.into_inner().to_string(), "")
    })?;
    Ok(Box::new(Ready::<S>(settings)))
}

impl<S: Stage> ReadyStage for Ready<S> {
    fn name(&self) -> &'static str {
        S::NAME
    }

    fn version(&self) -> u32 {
        S::VERSION
    }

    fn settings(&self) -> serde_json::Value {
        serde_json::to_value(&self.0).unwrap_or_else(|error| panic!("settings of {} must be JSON: {error}", S::NAME))
    }

    fn with(&self, settings: serde_json::Value) -> Result<Box<dyn ReadyStage>, Misfit> {
        read::<S>(settings)
    }

    fn needs(&self) -> &'static [Part] {
        S::NEEDS
    }

    fn gives(&self) -> &'static [Part] {
        S::GIVES
    }

    fn files(&self) -> Vec<String> {
        S::files(&self.0)
    }

    fn outlook(&self, before: Outlook) -> Outlook {
        S::outlook(&self.0, before)
    }

    fn check(&self, shop: &Shop<'_>) -> Result<(), Misfit> {
        S::check(&self.0, shop)
    }

    fn run(&self, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let piece = S::run(&self.0, piece, shop)?;
        marked::show(&piece, shop)?;
        Ok(piece)
    }
}
