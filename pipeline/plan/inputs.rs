//! The files that go into runs, with their bytes, and where they are read.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use turnhue_reports::record::File;

use crate::input::{self, Trouble};

/// A file that went in, with its bytes as they were when it was planned: the record keeps them, and nothing is read
/// twice.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// What it is in the job.
    pub role: Role,
    /// For the record: its name as the job has it, its size and its digest.
    pub file: File,
    /// Its content.
    pub bytes: Arc<[u8]>,
}

/// What an input is in the job.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    /// The job file itself.
    Job,
    /// The model.
    Model,
    /// A file that the model names, which lies beside it.
    BesideModel,
    /// The process file.
    Process,
    /// The profile that the process file names.
    Profile,
    /// A file that the settings of a stage name.
    Setting,
}

impl Input {
    /// An input; `what` tells people what it is.
    pub(crate) fn new(role: Role, name: &str, what: &str, bytes: Arc<[u8]>) -> Self {
        let blake3 = blake3::hash(&bytes).to_hex().to_string();
        Self::with_digest(role, name, what, bytes, blake3)
    }

    /// As [`Self::new`], where the digest is known.
    pub(crate) fn with_digest(role: Role, name: &str, what: &str, bytes: Arc<[u8]>, blake3: String) -> Self {
        let file = File { name: name.to_owned(), what: what.to_owned(), bytes: bytes.len() as u64, blake3 };
        Self { role, file, bytes }
    }
}

/// Where the files lie that a job names.
#[derive(Clone, Copy)]
pub(crate) enum Whence<'a> {
    /// In the job's folder, or wherever their names lead from there.
    Folder(&'a Path),
    /// In a record, by the names that the job had for them.
    Record(&'a BTreeMap<String, Arc<[u8]>>),
}

impl Whence<'_> {
    /// Reads a file of at most `largest` bytes by the name that the job has for it.
    pub(super) fn read(self, name: &Path, largest: u64) -> Result<Vec<u8>, Trouble> {
        match self {
            Self::Folder(folder) => input::read(&folder.join(name), largest),
            Self::Record(kept) => match kept.get(name.to_string_lossy().as_ref()) {
                Some(bytes) => Ok(bytes.to_vec()),
                None => Err(Trouble {
                    message: format!("the record of the run does not hold {}", name.display()),
                    remedy: "`turnhue verify` tells what else is missing from the commission".to_owned(),
                    missing: true,
                }),
            },
        }
    }

    /// A file's name for people.
    pub(super) fn shown(self, name: &str) -> String {
        match self {
            Self::Folder(folder) => folder.join(name).display().to_string(),
            Self::Record(_) => name.to_owned(),
        }
    }
}
