//! The result of a stage as one file: first what is known of it, then the parts that it made.
//!
//! | bytes | what |
//! | --- | --- |
//! | 16 | `turnhue result 1` |
//! | 32 | BLAKE3 digest of the next two |
//! | 8 | length of the head, little-endian |
//! | that many | the head: JSON, see [`Entry`] |
//! | the rest | the parts that the head lists, one after the other |
//!
//! The head holds the digest of each part and the key, so that nothing can be changed, cut, or kept under another name
//! without being found. Its own length and those of the parts fill the file: one that was cut shows at a glance.

use std::fs::File;
use std::io::{self, BufReader, Read, Seek, SeekFrom, Write};

use serde::{Deserialize, Serialize};
use turnhue_reports::record;
use turnhue_stages::findings::{Fact, Finding};
use turnhue_stages::workpiece::Part;

use super::key::Key;
use crate::digest::Digest;

const BEGINNING: &[u8; 16] = b"turnhue result 1";
const DIGEST_AT: usize = BEGINNING.len();
const LENGTH_AT: usize = DIGEST_AT + 32;
const HEAD_AT: usize = LENGTH_AT + 8;

/// The longest head that is read, in bytes: some hundred times that of a stage that says much.
const MOST_HEAD: u64 = 64 << 20;

/// What is known of a result without its parts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// Under which it is kept.
    pub key: Key,
    /// The stage's name.
    pub stage: String,
    /// The stage's version.
    pub version: u32,
    /// How long the stage took when the result was made, in seconds.
    pub seconds: f64,
    /// What it measured.
    pub facts: Vec<Fact>,
    /// What it found.
    pub findings: Vec<Finding>,
    /// The files that it made; their bytes are kept by their digests.
    pub artefacts: Vec<record::File>,
    /// The parts that it made, in the order of [`Part::ALL`].
    pub(super) parts: Vec<StoredPart>,
    /// The parts that were there before and are gone.
    pub(super) gone: Vec<Part>,
    /// The file to order, if this stage said which it is; of several the first.
    pub(super) order: Option<StoredOrder>,
    /// The files to order beside that one. Results from before there could be several have none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub(super) more_orders: Vec<StoredOrder>,
}

/// A part that lies behind the head.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StoredPart {
    pub(super) part: Part,
    pub(super) bytes: u64,
    pub(super) blake3: Digest,
}

/// The file to order.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StoredOrder {
    pub(super) name: String,
    pub(super) blake3: Digest,
}

impl Entry {
    /// The bytes that its parts take in the store.
    #[must_use]
    pub fn bytes_of_parts(&self) -> u64 {
        self.parts.iter().fold(0, |sum, part| sum.saturating_add(part.bytes))
    }

    /// The names of the files to order, if the stage said which they are.
    pub fn orders(&self) -> impl Iterator<Item = &str> {
        self.stored_orders().map(|order| order.name.as_str())
    }

    pub(super) fn stored_orders(&self) -> impl Iterator<Item = &StoredOrder> {
        self.order.iter().chain(&self.more_orders)
    }

    /// The digests of the files that it made, in the order of [`Self::artefacts`].
    pub fn digests(&self) -> impl Iterator<Item = Digest> {
        // They were read or written as digests.
        self.artefacts.iter().filter_map(|file| file.blake3.parse().ok())
    }

    /// Whether another result of the same key says the same, however long it took.
    pub(super) fn says_the_same(&self, other: &Self) -> bool {
        Self { seconds: 0.0, ..self.clone() } == Self { seconds: 0.0, ..other.clone() }
    }
}

/// Why a result cannot be had from its file.
#[derive(Debug)]
pub(super) enum Unreadable {
    File(io::Error),
    /// A fragment that completes "the result is damaged:".
    Damaged(String),
}

impl From<io::Error> for Unreadable {
    fn from(error: io::Error) -> Self {
        match error.kind() {
            io::ErrorKind::UnexpectedEof => Self::Damaged("it was cut".to_owned()),
            _ => Self::File(error),
        }
    }
}

fn damaged<T>(reason: impl Into<String>) -> Result<T, Unreadable> {
    Err(Unreadable::Damaged(reason.into()))
}

/// Writes a result.
///
/// # Errors
/// If `to` cannot be written, or if the head cannot be read back as it is: a fact that is no finite number has no JSON.
pub(super) fn write(entry: &Entry, parts: &[Vec<u8>], mut to: impl Write) -> io::Result<()> {
    let head = serde_json::to_vec(entry)?;
    if serde_json::from_slice::<Entry>(&head).ok().as_ref() != Some(entry) {
        let message = format!("what the stage `{}` said cannot be kept: a number is not finite", entry.stage);
        return Err(io::Error::new(io::ErrorKind::InvalidData, message));
    }
    let length = (head.len() as u64).to_le_bytes();
    to.write_all(BEGINNING)?;
    to.write_all(digest_of_head(&length, &head).bytes())?;
    to.write_all(&length)?;
    to.write_all(&head)?;
    parts.iter().try_for_each(|part| to.write_all(part))
}

fn digest_of_head(length: &[u8], head: &[u8]) -> Digest {
    blake3::Hasher::new().update(length).update(head).finalize().into()
}

/// A result's file, with its head read and checked.
#[derive(Debug)]
pub(super) struct Opened {
    pub(super) entry: Entry,
    file: File,
    parts_at: u64,
}

impl Opened {
    /// Reads and checks the head of the result that should be kept under `key`.
    pub(super) fn read(file: File, key: &Key) -> Result<Self, Unreadable> {
        let whole = file.metadata()?.len();
        let mut from = BufReader::with_capacity(1 << 15, &file);
        let mut start = [0; HEAD_AT];
        from.read_exact(&mut start)?;
        if start[..DIGEST_AT] != BEGINNING[..] {
            return damaged("it does not begin as a result does");
        }
        let mut length = [0; 8];
        length.copy_from_slice(&start[LENGTH_AT..]);
        let bytes = u64::from_le_bytes(length);
        if bytes > whole.min(MOST_HEAD) {
            return damaged(format!("its head should have {bytes} bytes"));
        }
        let mut head = Vec::with_capacity(bytes as usize);
        from.take(bytes).read_to_end(&mut head)?;
        if start[DIGEST_AT..LENGTH_AT] != digest_of_head(&length, &head).bytes()[..] {
            return damaged("its head has another digest than it says");
        }
        let entry: Entry = match serde_json::from_slice(&head) {
            Ok(entry) => entry,
            Err(error) => return damaged(format!("its head makes no sense: {error}")),
        };
        if entry.key != *key {
            return damaged(format!("it is the result of key {}", entry.key));
        }
        if let Some(wrong) = entry.artefacts.iter().find(|file| file.blake3.parse::<Digest>().is_err()) {
            return damaged(format!("'{}' is no digest", wrong.blake3));
        }
        let parts_at = HEAD_AT as u64 + bytes;
        if parts_at.checked_add(entry.bytes_of_parts()) != Some(whole) {
            return damaged(format!("it has {whole} bytes, and should have {}", parts_at + entry.bytes_of_parts()));
        }
        Ok(Self { entry, file, parts_at })
    }

    /// The bytes of a part that the head lists, checked.
    pub(super) fn part(&mut self, part: Part) -> Result<Vec<u8>, Unreadable> {
        let mut at = self.parts_at;
        for stored in &self.entry.parts {
            if stored.part != part {
                at += stored.bytes;
                continue;
            }
            self.file.seek(SeekFrom::Start(at))?;
            // The file is that long: see `read`.
            let mut bytes = Vec::with_capacity(stored.bytes as usize);
            (&self.file).take(stored.bytes).read_to_end(&mut bytes)?;
            if Digest::of(&bytes) != stored.blake3 {
                return damaged(format!("{part} has another digest than the head says"));
            }
            return Ok(bytes);
        }
        damaged(format!("it has not got {part}"))
    }

    /// The file, to tell whether another now lies in its place.
    pub(super) fn file(&self) -> &File {
        &self.file
    }
}
