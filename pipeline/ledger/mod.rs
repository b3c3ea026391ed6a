//! The ledger of a commission: what was made from what, chosen, ordered, delivered and noted, as a chain of entries that
//! only grows.
//!
//! ```text
//! runs/COMMISSION/
//!   ledger/00000001.jsonl …   entries, each with the digest of the one before
//!   inputs/DIGEST.EXT …       the bytes of every job, model, process, …
//!   nights/NAME/ …            pages of a job's variants
//!   RUN/ …                    run folders
//!   commission.html           the page of all that, no part of the record
//! ```
//!
//! **What it guarantees.** A segment of the ledger appears whole or not at all, also when the power goes, and once it is
//! there it is never written again. Many writers on many machines may append at once: each entry is chained to the one
//! that stands before it. A changed byte in an entry, or in a file that an entry names, is found by `audit::audit`.
//!
//! **What it does not.** Whoever may write the folder may cut off its newest entries, or write the whole ledger anew:
//! only a head that is kept elsewhere tells. Entries carry the time of the clock of whoever wrote them, right or wrong.
//!
//! **Damage.** Nothing is appended to a ledger that is not whole: an entry chained to a damaged one would make it look
//! accepted. The message names the place; the way out is a copy of the segment, or another commission.

pub mod acts;
pub mod audit;
pub mod commands;
pub mod deeds;
pub mod export;
pub mod history;
pub mod page;
pub mod values;

mod chain;
mod folders;
mod inputs;
mod line;
mod segments;

use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};

use turnhue_reports::record;

pub use chain::{Entry, Head};
pub use folders::{seal, seal_file};
pub use line::FORM;

use crate::clock::Clock;
use crate::diagnostic::Diagnostic;
use crate::exit;
use crate::shelf::make_folders_for_good;
use chain::Walk;
use deeds::{Deed, Input};
use line::Content;

/// The folder of segments in a commission's folder.
pub const LEDGER: &str = "ledger";
/// The folder of inputs in a commission's folder.
pub const INPUTS: &str = "inputs";
/// The folder of pages of variants in a commission's folder.
pub const NIGHTS: &str = "nights";

/// A segment that is longer, in bytes, takes no more entries; the rest of them go into the next.
const LONG_SEGMENT: usize = 8 << 20;

/// Why something could not be recorded or told.
#[derive(Clone, Debug)]
pub enum Trouble {
    /// What was asked for makes no sense.
    Wrong(Vec<Diagnostic>),
    /// The ledger, or what it names, is damaged.
    NotWhole(Vec<Diagnostic>),
    /// Something speaks against it.
    Refused(Vec<Diagnostic>),
    /// A file could not be read or written.
    Disk(Box<Diagnostic>),
}

impl Trouble {
    /// What to tell.
    #[must_use]
    pub fn faults(&self) -> &[Diagnostic] {
        match self {
            Self::Wrong(faults) | Self::NotWhole(faults) | Self::Refused(faults) => faults,
            Self::Disk(fault) => std::slice::from_ref(&**fault),
        }
    }

    /// The exit code.
    #[must_use]
    pub fn code(&self) -> u8 {
        match self {
            Self::Wrong(_) => exit::WRONG_JOB,
            Self::NotWhole(_) | Self::Refused(_) => exit::FAULTS,
            Self::Disk(_) => exit::FAILED,
        }
    }

    fn wrong(fault: Diagnostic) -> Self {
        Self::Wrong(vec![fault])
    }

    fn disk(doing: &str, path: &Path, error: &io::Error) -> Self {
        Self::Disk(Box::new(
            Diagnostic::error(format!("could not {doing} {}: {error}", path.display()))
                .remedy("see that the disk has room, and that the folder can be read and written"),
        ))
    }
}

/// The ledger of a commission, to read and to append to. Threads may share one.
#[derive(Debug)]
pub struct Ledger {
    commission: PathBuf,
    /// How far this handle has read; what it has read is not read again by the next append.
    walk: Mutex<Option<Walk>>,
}

/// What is there of a ledger, whole or not.
#[derive(Debug)]
pub struct Examined {
    /// The entries that can be read, in order.
    pub entries: Vec<Entry>,
    /// The head, if the chain is whole.
    pub head: Option<Head>,
    /// All that is wrong with it.
    pub faults: Vec<Diagnostic>,
}

impl Ledger {
    /// The ledger of the commission in that folder. Nothing is read or made yet.
    #[must_use]
    pub fn of(commission: &Path) -> Self {
        Self { commission: commission.to_owned(), walk: Mutex::new(None) }
    }

    /// Reads and checks every entry, in order.
    ///
    /// # Errors
    /// [`Trouble::NotWhole`] if the chain is broken, [`Trouble::Disk`] if the folder cannot be listed.
    pub fn read(&self) -> Result<Vec<Entry>, Trouble> {
        let mut entries = Vec::new();
        let walk = self.walk(&mut |entry| entries.push(entry))?;
        if walk.faults.is_empty() { Ok(entries) } else { Err(Trouble::NotWhole(walk.into_faults())) }
    }

    /// Reads and checks every entry, and tells all that is there and all that is wrong with it.
    ///
    /// # Errors
    /// [`Trouble::Disk`] if the folder cannot be listed.
    pub fn examine(&self) -> Result<Examined, Trouble> {
        let mut entries = Vec::new();
        let walk = self.walk(&mut |entry| entries.push(entry))?;
        Ok(Examined { entries, head: walk.head(), faults: walk.into_faults() })
    }

    /// Every line as it stands, after the same checks.
    ///
    /// # Errors
    /// As [`Ledger::read`].
    pub fn lines(&self) -> Result<String, Trouble> {
        self.read()?;
        let folder = self.folder();
        let failed = |error| Trouble::disk("read", &folder, &error);
        let mut lines = String::new();
        for number in segments::list(&folder).map_err(failed)?.numbers {
            lines += &String::from_utf8_lossy(&segments::read(&folder, number).map_err(failed)?);
        }
        Ok(lines)
    }

    /// Appends entries, all at the clock's present moment, and gives the new head. They are on the disk when this returns.
    /// Other writers may come between a long list of entries, never into one.
    ///
    /// # Errors
    /// [`Trouble::NotWhole`] if the ledger is damaged: nothing is appended then. [`Trouble::Disk`] if it cannot be read
    /// or written.
    pub fn append(&self, clock: &dyn Clock, deeds: &[Deed]) -> Result<Head, Trouble> {
        let folder = self.folder();
        make_folders_for_good(&folder).map_err(|error| Trouble::disk("make", &folder, &error))?;
        let mut kept = self.walk.lock().unwrap_or_else(PoisonError::into_inner);
        // Damage may be mended before the next try, so what was read of a broken chain is not kept.
        let mut walk = match kept.take() {
            Some(walk) => walk,
            None => self.walk(&mut |_| ())?,
        };
        let mut rest = deeds;
        loop {
            let Some(head) = walk.head() else { return Err(Trouble::NotWhole(walk.into_faults())) };
            let Some(batch) = Batch::of(rest, head, clock) else {
                *kept = Some(walk);
                return Ok(head);
            };
            let written = segments::publish(&folder, walk.next, &batch.bytes);
            let free = written.map_err(|error| Trouble::disk("write the next entry in", &folder, &error))?;
            if free {
                walk.published(batch.head, batch.time);
                rest = &rest[batch.entries..];
            } else {
                let next = walk.next;
                self.take(&mut walk, next, &mut |_| ());
            }
        }
    }

    /// Keeps the bytes of inputs, each once under its digest, and gives what a [`deeds::RunDeed`] says of them.
    ///
    /// # Errors
    /// [`Trouble::Disk`] if they cannot be written, or do not have the digests that `files` say.
    pub fn keep_inputs(&self, files: &[(record::File, Arc<[u8]>)]) -> Result<Vec<Input>, Trouble> {
        let folder = self.commission.join(INPUTS);
        make_folders_for_good(&folder)
            .and_then(|()| inputs::keep(&folder, files))
            .map_err(|error| Trouble::disk("keep inputs in", &folder, &error))
    }

    /// The folder of the commission.
    #[must_use]
    pub fn commission(&self) -> &Path {
        &self.commission
    }

    fn folder(&self) -> PathBuf {
        self.commission.join(LEDGER)
    }

    /// Walks along all segments.
    fn walk(&self, each: &mut dyn FnMut(Entry)) -> Result<Walk, Trouble> {
        let folder = self.folder();
        let listing = segments::list(&folder).map_err(|error| Trouble::disk("list", &folder, &error))?;
        let mut walk = Walk::begin();
        for number in listing.numbers {
            self.take(&mut walk, number, each);
        }
        Ok(walk)
    }

    fn take(&self, walk: &mut Walk, number: u32, each: &mut dyn FnMut(Entry)) {
        let folder = self.folder();
        let shown = folder.join(segments::name(number)).display().to_string();
        match segments::read(&folder, number) {
            Ok(bytes) => walk.take(number, &shown, &bytes, each),
            Err(error) => walk.unreadable(number, &shown, &error),
        }
    }
}

/// Entries that go into one segment.
struct Batch {
    bytes: Vec<u8>,
    entries: usize,
    head: Head,
    time: crate::clock::Moment,
}

impl Batch {
    /// As many deeds as a segment takes, chained to the head; nothing if there are none.
    fn of(deeds: &[Deed], mut head: Head, clock: &dyn Clock) -> Option<Self> {
        if deeds.is_empty() {
            return None;
        }
        let (time, mut bytes, mut entries) = (clock.now(), Vec::new(), 0);
        for deed in deeds {
            let seq = head.seq + 1;
            let (line, digest) = Content::new(seq, time, head.digest, deed).seal();
            bytes.extend(line);
            head = Head { seq, digest };
            entries += 1;
            if bytes.len() > LONG_SEGMENT {
                break;
            }
        }
        Some(Self { bytes, entries, head, time })
    }
}

/// Reads bytes as the first segment of a ledger, as [`Ledger::read`] does with files.
///
/// # Errors
/// What is wrong with them, at least one fault.
pub fn read_segment(shown: &str, bytes: &[u8]) -> Result<Vec<Entry>, Vec<Diagnostic>> {
    let (mut walk, mut entries) = (Walk::begin(), Vec::new());
    walk.take(1, shown, bytes, &mut |entry| entries.push(entry));
    if walk.faults.is_empty() { Ok(entries) } else { Err(walk.into_faults()) }
}

#[cfg(test)]
mod tests;
