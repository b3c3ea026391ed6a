//! The files of a ledger: `00000001.jsonl`, `00000002.jsonl`, …, each published whole and never touched again.
//!
//! A segment is written to a temporary file beside its place, brought to the disk, and linked to the next free number.
//! Linking fails where the name is taken, also on file systems that several machines share, so writers need no lock:
//! whoever finds the number taken reads what came meanwhile and tries the next. The temporary of a writer that was killed
//! harms nothing, and is taken away by the next night.
//!
//! Where the file system knows no links (FAT, some network shares), the segment is created under its own name and written
//! in one go. There, a reader may meet half a segment, and a writer that is killed leaves one: keep such a ledger to one
//! writer.

use std::fs::{self, File};
use std::io::{self, Read as _, Write as _};
use std::path::Path;

use super::folders::is_unfinished;
use crate::disk::sync_folder;
use crate::store::writer;

/// The largest segment that is read, in bytes; writers begin a new one long before.
const MOST_BYTES: u64 = 256 << 20;

/// The last number of a segment: names have eight digits.
const LAST: u32 = 99_999_999;

const DIGITS: usize = 8;
const EXTENSION: &str = ".jsonl";

/// What is in a ledger's folder.
#[derive(Debug, Default)]
pub(super) struct Listing {
    /// The numbers of the segments, ascending.
    pub(super) numbers: Vec<u32>,
    /// Temporaries of writers that did not finish, or are at work.
    pub(super) unfinished: Vec<String>,
    /// What does not belong here.
    pub(super) others: Vec<String>,
}

/// Lists a ledger's folder; one that is not there is empty.
pub(super) fn list(folder: &Path) -> io::Result<Listing> {
    let mut listing = Listing::default();
    let entries = match fs::read_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(listing),
        entries => entries?,
    };
    for entry in entries {
        let name = entry?.file_name().to_string_lossy().into_owned();
        if let Some(number) = number(&name) {
            listing.numbers.push(number);
        } else if is_unfinished(&name) {
            listing.unfinished.push(name);
        } else {
            listing.others.push(name);
        }
    }
    listing.numbers.sort_unstable();
    listing.unfinished.sort();
    listing.others.sort();
    Ok(listing)
}

/// The name of a segment.
pub(super) fn name(number: u32) -> String {
    format!("{number:0DIGITS$}{EXTENSION}")
}

fn number(name: &str) -> Option<u32> {
    let digits = name.strip_suffix(EXTENSION)?;
    let plain = digits.len() == DIGITS && digits.bytes().all(|b| b.is_ascii_digit());
    digits.parse().ok().filter(|&number| plain && number > 0)
}

/// The bytes of a segment.
pub(super) fn read(folder: &Path, number: u32) -> io::Result<Vec<u8>> {
    let path = folder.join(name(number));
    // A link may lead anywhere, and a pipe may never end.
    let about = path.symlink_metadata()?;
    if !about.is_file() {
        return Err(io::Error::new(io::ErrorKind::InvalidData, "it is not a file"));
    }
    let mut bytes = Vec::new();
    File::open(&path)?.take(MOST_BYTES + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > MOST_BYTES {
        return Err(io::Error::new(io::ErrorKind::InvalidData, format!("it is over {} MiB", MOST_BYTES >> 20)));
    }
    Ok(bytes)
}

/// Publishes a segment under its number; says whether the number was free.
pub(super) fn publish(folder: &Path, number: u32, bytes: &[u8]) -> io::Result<bool> {
    if number > LAST {
        return Err(io::Error::other(format!("the ledger is full: {LAST} is the last number of a segment")));
    }
    let target = folder.join(name(number));
    // What is published is only read from then on.
    let mut temporary = writer::file_in(folder, "segment", 0o444)?;
    temporary.write_all(bytes)?;
    temporary.as_file().sync_all()?;
    match fs::hard_link(temporary.path(), &target) {
        Ok(()) => {}
        // On a network the link may be made and the answer lost: then the name is taken, by this very file.
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
            if !same_file(temporary.path(), &target) {
                return Ok(false);
            }
        }
        Err(error) if matches!(error.kind(), io::ErrorKind::Unsupported | io::ErrorKind::PermissionDenied) => {
            return create_whole(&target, bytes);
        }
        Err(error) => return Err(error),
    }
    temporary.close()?;
    sync_folder(folder)?;
    Ok(true)
}

#[cfg(unix)]
fn same_file(one: &Path, other: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let id = |path: &Path| path.symlink_metadata().map(|about| (about.dev(), about.ino())).ok();
    id(one).is_some_and(|one| id(other) == Some(one))
}

#[cfg(not(unix))]
fn same_file(_: &Path, _: &Path) -> bool {
    false
}

fn create_whole(target: &Path, bytes: &[u8]) -> io::Result<bool> {
    let mut file = match File::create_new(target) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => return Ok(false),
        file => file?,
    };
    // Half a segment must not stay: it is this writer's own, and nobody could chain on to it.
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    written.inspect_err(|_| drop(fs::remove_file(target)))?;
    target.parent().map_or(Ok(()), sync_folder)?;
    Ok(true)
}
