//! The files that go into runs, with their bytes.

use std::sync::Arc;

use turnhue_reports::record::File;

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
