//! What entries tell: runs, nights, choices, orders, deliveries, notes.
//!
//! What is not known is left out. Names of people stand in an entry only where somebody gave them.

use std::sync::OnceLock;
use std::{env, fs};

use serde::{Deserialize, Serialize};
use turnhue_reports::record::Verdict;

use super::values::{Day, FileName, PlainName};
use crate::digest::Digest;

/// What happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Deed {
    /// A run was published, or a run that was there already was asked for again.
    Run(Box<RunDeed>),
    /// A run ended without a result.
    FailedRun(Box<FailedRun>),
    /// Pages of a run were drawn anew from its record.
    Redrawn(Redrawn),
    /// The pages of a job's variants were drawn.
    Night(Night),
    /// One run was picked.
    Choice(Choice),
    /// The file of a run was ordered.
    Order(Order),
    /// A piece was handed over.
    Delivery(Delivery),
    /// Something was written down.
    Note(Note),
}

impl Deed {
    /// The run that it is about, if it is about one.
    #[must_use]
    pub fn run(&self) -> Option<&PlainName> {
        match self {
            Self::Run(run) => Some(&run.run),
            Self::FailedRun(failed) => failed.run.as_ref(),
            Self::Redrawn(redrawn) => Some(&redrawn.run),
            Self::Night(_) => None,
            Self::Choice(choice) => Some(&choice.run),
            Self::Order(order) => Some(&order.run),
            Self::Delivery(delivery) => Some(&delivery.run),
            Self::Note(note) => note.run.as_ref(),
        }
    }

    /// The inputs that went in.
    #[must_use]
    pub fn inputs(&self) -> &[Input] {
        match self {
            Self::Run(run) => &run.inputs,
            Self::FailedRun(failed) => &failed.inputs,
            _ => &[],
        }
    }
}

/// A file of a folder, with its digest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sealed {
    /// Its name in the folder.
    pub name: FileName,
    /// Its size in bytes.
    pub bytes: u64,
    /// Its digest.
    pub blake3: Digest,
}

/// A file that went in, and where its bytes are kept.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Input {
    /// Its name, as the job says it.
    pub name: String,
    /// What it is: job, model, process, …
    pub what: String,
    /// Its size in bytes.
    pub bytes: u64,
    /// Its digest.
    pub blake3: Digest,
    /// Its name in the commission's folder of inputs.
    pub kept: PlainName,
}

/// A run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunDeed {
    /// The name of its folder.
    pub run: PlainName,
    /// The job.
    pub job: Job,
    /// The readable name of the variant, where the job has variants.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub variant: Option<String>,
    /// What the piece comes to.
    pub verdict: Verdict,
    /// The program that made it.
    pub tool: Build,
    /// Where it was made.
    #[serde(default)]
    pub machine: Machine,
    /// Every stage, in order.
    #[serde(default)]
    pub stages: Vec<StageDone>,
    /// Every file that went in.
    #[serde(default)]
    pub inputs: Vec<Input>,
    /// Every file in the run folder.
    pub files: Vec<Sealed>,
    /// How long it took, in seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seconds: Option<f64>,
    /// The most memory that the program held while it ran, in bytes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub peak_memory: Option<u64>,
}

/// A job file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Job {
    /// The file's name.
    pub file: String,
    /// The digest of its bytes.
    pub blake3: Digest,
}

/// A program in one build.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Build {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
    /// The digest of the executable: two builds of one version differ in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub blake3: Option<Digest>,
}

impl Build {
    /// This very program. The digest is left out where the system hides the executable.
    #[must_use]
    pub fn this() -> Self {
        static DIGEST: OnceLock<Option<Digest>> = OnceLock::new();
        let digest = || {
            let mut hasher = blake3::Hasher::new();
            hasher.update_reader(fs::File::open(env::current_exe().ok()?).ok()?).ok()?;
            Some(Digest::from(hasher.finalize()))
        };
        Self {
            name: env!("CARGO_PKG_NAME").to_owned(),
            version: env!("CARGO_PKG_VERSION").to_owned(),
            blake3: *DIGEST.get_or_init(digest),
        }
    }
}

/// A machine, as far as it matters to whoever asks later how a result came about.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Machine {
    /// The operating system.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub system: Option<String>,
    /// The architecture.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub architecture: Option<String>,
    /// The processor's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub processor: Option<String>,
    /// The host's name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub host: Option<String>,
    /// How many threads were used.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub threads: Option<usize>,
    /// The memory that was allowed, in bytes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub memory: Option<u64>,
}

impl Machine {
    /// This machine. `threads` and `memory`, in bytes, are what the program was given.
    #[must_use]
    pub fn here(threads: Option<usize>, memory: Option<u64>) -> Self {
        let line = |path: &str| fs::read_to_string(path).ok().map(|text| text.trim().to_owned());
        let processor = || {
            let text = fs::read_to_string("/proc/cpuinfo").ok()?;
            let line = text.lines().find(|line| line.starts_with("model name"))?;
            Some(line.split_once(':')?.1.trim().to_owned())
        };
        Self {
            system: Some(env::consts::OS.to_owned()),
            architecture: Some(env::consts::ARCH.to_owned()),
            processor: processor(),
            host: line("/proc/sys/kernel/hostname").filter(|name| !name.is_empty()),
            threads,
            memory,
        }
    }

    /// The most memory that this program has held so far, in bytes, where the system tells.
    #[must_use]
    pub fn peak_memory() -> Option<u64> {
        let text = fs::read_to_string("/proc/self/status").ok()?;
        let line = text.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
        line.trim().strip_suffix("kB")?.trim().parse::<u64>().ok()?.checked_mul(1024)
    }
}

/// How a stage of a run came about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StageDone {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: u32,
    /// The key of its result in the store.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<Digest>,
    /// Whether it ran.
    pub from: Origin,
    /// How long that took, in seconds.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seconds: Option<f64>,
}

/// Where a stage's result came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// The stage ran.
    Made,
    /// The result was in the store.
    Store,
}

/// A run without a result.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct FailedRun {
    /// The name that its folder would have had, where that was known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<PlainName>,
    /// The job.
    pub job: Job,
    /// The readable name of the variant, where the job has variants.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub variant: Option<String>,
    /// Why, in words.
    pub why: String,
    /// The program that tried.
    pub tool: Build,
    /// Where it was tried.
    #[serde(default)]
    pub machine: Machine,
    /// The files that went in, as far as they were kept.
    #[serde(default)]
    pub inputs: Vec<Input>,
}

/// Pages of a run that were drawn anew.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Redrawn {
    /// The run.
    pub run: PlainName,
    /// The program that drew them.
    pub tool: Build,
    /// The pages; every other file of the run stays as it was. Of a folder within the run's, of which a file is named here, all.
    pub files: Vec<Sealed>,
}

/// The pages of a job's variants.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Night {
    /// The name of their folder below `nights`.
    pub night: PlainName,
    /// The program that drew them.
    pub tool: Build,
    /// The runs that are on the page.
    pub runs: Vec<PlainName>,
    /// How many variants failed.
    #[serde(default)]
    pub failed: usize,
    /// Every file in the folder.
    pub files: Vec<Sealed>,
}

/// A run that was picked.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Choice {
    /// The run.
    pub run: PlainName,
    /// The rule in the job that picked it; nothing where somebody did by hand.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rule: Option<String>,
    /// Why, in words.
    pub why: String,
    /// The night that it was picked from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub night: Option<PlainName>,
    /// Who picked it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
}

/// An order.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Order {
    /// The run whose file was ordered.
    pub run: PlainName,
    /// The ordered file, as it was when the order was recorded; of several the first.
    pub file: Sealed,
    /// The ordered files beside that one, where the piece comes in several parts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub more: Vec<Sealed>,
    /// The day.
    pub on: Day,
    /// Who prints it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bureau: Option<String>,
    /// What it costs, as the user wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price: Option<String>,
    /// The bureau's number of the order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub reference: Option<String>,
    /// Why it was ordered all the same, where something spoke against it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub despite: Option<Despite>,
}

impl Order {
    /// All ordered files.
    pub fn files(&self) -> impl Iterator<Item = &Sealed> {
        std::iter::once(&self.file).chain(&self.more)
    }
}

/// An order against advice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Despite {
    /// What spoke against it.
    pub what: Vec<String>,
    /// Why it was ordered.
    pub why: String,
}

/// A delivery.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Delivery {
    /// The run of which the piece was printed.
    pub run: PlainName,
    /// The day.
    pub on: Day,
    /// To whom.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<String>,
}

/// A note.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// What it says.
    pub text: String,
    /// Who wrote it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// The run that it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<PlainName>,
}
