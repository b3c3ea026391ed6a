//! The record of a run, `run.json`: what was asked, what went in, what came out, and what was found.

use std::collections::BTreeMap;
use std::fmt;
use std::io::{self, Read, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};
use turnhue_stages::findings::{Fact, Finding, Severity};
use turnhue_stages::process::Process;

use crate::advice::Advice;
use crate::package::PackageRequest;

/// The version of the record's form. Raised when a field changes its meaning; a reader takes its own version and older.
///
/// Form 2 holds nothing that differs between two runs of the same: when and where a run was made, how long it took and the
/// text of the job are in the ledger of its commission. What records of form 1 say of it is kept.
pub const FORM: u32 = 2;

/// The record of a run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Record {
    /// [`FORM`] when it was written.
    pub form: u32,
    /// The commission under which the record is kept.
    pub commission: String,
    /// The name of the run: its folder below the commission's.
    pub run: String,
    /// The piece's title.
    pub title: String,
    /// Which variant of its job it is, where the job has several.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub variant: Option<Variant>,
    /// What the piece comes to.
    pub verdict: Verdict,
    /// The file to order, by its name in the run folder, where the chain makes one; of several the first.
    pub order: Option<String>,
    /// All files to order, where the piece comes in several parts.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub orders: Vec<String>,
    /// The program that made the run.
    pub tool: Tool,
    /// When the run began: UTC, RFC 3339. In form 1 alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub started: Option<String>,
    /// How long it took, in seconds. In form 1 alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seconds: Option<f64>,
    /// The job file as it was read. In form 1 alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<JobText>,
    /// The job of this piece alone, with every default filled in; a job file itself.
    pub resolved: serde_json::Value,
    /// The process for which the piece is made.
    pub process: Process,
    /// Every file that went in but the job file: model, process, and what settings name.
    pub inputs: Vec<File>,
    /// What each stage did, in order.
    pub stages: Vec<StageRecord>,
    /// What comparing sizes of the cell came to, where the job asked for it. Records from before there was such a thing
    /// have none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub advice: Option<Advice>,
    /// What the job tells for the sheets of the order. Records from before there were such sheets have nothing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub package: Option<PackageRequest>,
}

/// What the piece comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// No stage found a fault, and `validate` measured the ordered file.
    ReadyToOrder,
    /// At least one stage found a fault.
    HasFaults,
    /// No fault was found, but nothing measured the ordered file: the chain has no `validate`.
    NotValidated,
}

/// A variant of a job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Variant {
    /// Its name, readable and safe for a folder.
    pub name: String,
    /// What it changes: settings by their path, such as `hollow.wall`, with the values that they take.
    pub changes: BTreeMap<String, serde_json::Value>,
}

/// A program.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Tool {
    /// Its name.
    pub name: String,
    /// Its version.
    pub version: String,
}

/// A job file as it was read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobText {
    /// The file's name.
    pub file: String,
    /// Its text.
    pub text: String,
}

/// A file with its digest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct File {
    /// As the job names it, or its name in the run folder.
    pub name: String,
    /// What it is, in a few words for people.
    pub what: String,
    /// Its size.
    pub bytes: u64,
    /// BLAKE3 digest of its content, in hexadecimal.
    pub blake3: String,
}

/// What a stage did.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct StageRecord {
    /// The stage's name.
    pub name: String,
    /// The stage's version.
    pub version: u32,
    /// Its settings, defaults filled in.
    pub settings: serde_json::Value,
    /// The parts it needed, in words.
    pub needs: Vec<String>,
    /// The parts it gave, in words.
    pub gives: Vec<String>,
    /// How long it took, in seconds. In form 1 alone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seconds: Option<f64>,
    /// The name of its result in the store, in hexadecimal. From form 2 on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
    /// What it measured.
    pub facts: Vec<Fact>,
    /// What it found.
    pub findings: Vec<Finding>,
    /// The files it made.
    pub artefacts: Vec<File>,
}

impl Record {
    /// The names of the files to order: one, or one for each part of the piece.
    pub fn orders(&self) -> impl Iterator<Item = &String> {
        let several = &self.orders;
        several.iter().chain(self.order.iter().filter(|_| several.is_empty()))
    }

    /// Every finding with the name of its stage, faults first.
    #[must_use]
    pub fn findings(&self) -> Vec<(&str, &Finding)> {
        let mut all: Vec<_> =
            self.stages.iter().flat_map(|s| s.findings.iter().map(|f| (s.name.as_str(), f))).collect();
        all.sort_by_key(|(_, finding)| std::cmp::Reverse(finding.severity));
        all
    }

    /// Whether any stage found a fault.
    #[must_use]
    pub fn has_faults(&self) -> bool {
        self.findings().first().is_some_and(|(_, finding)| finding.severity == Severity::Fault)
    }

    /// The last fact of that name that the stage said.
    #[must_use]
    pub fn fact(&self, stage: &str, name: &str) -> Option<&Fact> {
        self.stages.iter().filter(|s| s.name == stage).flat_map(|s| &s.facts).rfind(|f| f.name == name)
    }
}

/// The largest record that is read, in bytes: some hundred times the record of a long chain.
const MOST_BYTES: u64 = 64 << 20;

/// Why a record could not be read: a fragment that completes "could not read the record:".
#[derive(Debug)]
pub enum Unreadable {
    /// The file cannot be opened or read.
    File(io::Error),
    /// The file is larger than any record.
    TooLarge,
    /// A later version wrote it.
    Newer {
        /// Its form.
        form: u32,
        /// The program that wrote it, where it says so.
        tool: Option<Tool>,
    },
    /// It is not a record, or it is damaged.
    NotARecord(serde_json::Error),
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(error) => error.fmt(f),
            Self::TooLarge => write!(f, "the file is over {} MiB, which no record is", MOST_BYTES >> 20),
            Self::Newer { form, tool } => {
                write!(
                    f,
                    "it has form {form}, and this program reads forms up to {FORM}; use the program that wrote it"
                )?;
                tool.as_ref().map_or(Ok(()), |tool| write!(f, ", {} {}", tool.name, tool.version))
            }
            Self::NotARecord(error) => write!(f, "it is not the record of a run, or it is damaged: {error}"),
        }
    }
}

impl std::error::Error for Unreadable {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::File(error) => Some(error),
            Self::NotARecord(error) => Some(error),
            Self::TooLarge | Self::Newer { .. } => None,
        }
    }
}

/// Reads the record of a run from its file.
///
/// # Errors
/// [`Unreadable`], above all [`Unreadable::Newer`] if a later version wrote it in a form unknown here.
pub fn read(path: &Path) -> Result<Record, Unreadable> {
    let mut bytes = Vec::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(MOST_BYTES + 1).read_to_end(&mut bytes))
        .map_err(Unreadable::File)?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(Unreadable::TooLarge);
    }
    parse(&bytes)
}

/// Reads the record of a run from the bytes of its file.
///
/// # Errors
/// As [`read`].
pub fn parse(bytes: &[u8]) -> Result<Record, Unreadable> {
    refuse_newer(bytes)?;
    serde_json::from_slice(bytes).map_err(Unreadable::NotARecord)
}

/// Writes a record as JSON that people can read too.
///
/// # Errors
/// If `to` cannot be written.
pub fn write(record: &Record, mut to: impl Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut to, record)?;
    to.write_all(b"\n")
}

/// Looks at the form before anything else: the rest of a newer record may be unknown here.
fn refuse_newer(bytes: &[u8]) -> Result<(), Unreadable> {
    #[derive(Deserialize)]
    struct Head {
        form: u32,
        #[serde(default)]
        tool: serde_json::Value,
    }
    let head: Head = serde_json::from_slice(bytes).map_err(Unreadable::NotARecord)?;
    if head.form <= FORM {
        return Ok(());
    }
    Err(Unreadable::Newer { form: head.form, tool: serde_json::from_value(head.tool).ok() })
}
