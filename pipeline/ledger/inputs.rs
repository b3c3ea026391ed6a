//! The bytes of every input, kept once under their digest: `inputs/DIGEST.EXT`.

use std::fs;
use std::io::{self, Write as _};
use std::path::Path;
use std::sync::Arc;

use turnhue_reports::record::File;

use super::deeds::Input;
use super::values::PlainName;
use crate::digest::Digest;
use crate::disk::sync_folder;
use crate::store::writer;

/// Longer endings of names are left out of the name under which a file is kept.
const LONGEST_EXTENSION: usize = 8;

/// Keeps these files in a folder that is there, each read-only and once, and says under which names.
pub(super) fn keep(folder: &Path, files: &[(File, Arc<[u8]>)]) -> io::Result<Vec<Input>> {
    let mut new = false;
    let kept = files.iter().map(|(file, bytes)| {
        let input = named(file, bytes)?;
        new |= keep_one(&folder.join(&input.kept), bytes)?;
        Ok(input)
    });
    let kept = kept.collect::<io::Result<Vec<_>>>()?;
    if new {
        sync_folder(folder)?;
    }
    Ok(kept)
}

fn named(file: &File, bytes: &[u8]) -> io::Result<Input> {
    let digest = Digest::of(bytes);
    let wrong = |message: String| io::Error::new(io::ErrorKind::InvalidInput, message);
    if file.blake3 != digest.to_string() {
        return Err(wrong(format!("the bytes of {} are not those with digest {}", file.name, file.blake3)));
    }
    let extension = extension(&file.name).map(|extension| format!(".{extension}")).unwrap_or_default();
    let kept: PlainName = format!("{digest}{extension}").parse().map_err(wrong)?;
    Ok(Input { name: file.name.clone(), what: file.what.clone(), bytes: bytes.len() as u64, blake3: digest, kept })
}

/// The ending of a name, where it is a plain one: it tells people and programs what the file is.
fn extension(name: &str) -> Option<String> {
    let extension = Path::new(name).extension()?.to_str()?.to_ascii_lowercase();
    let plain = extension.len() <= LONGEST_EXTENSION && extension.bytes().all(|b| b.is_ascii_alphanumeric());
    plain.then_some(extension)
}

/// Says whether the file is new. One that is there is left alone, and made anew only where it is damaged.
fn keep_one(path: &Path, bytes: &[u8]) -> io::Result<bool> {
    let there = path.symlink_metadata().is_ok_and(|about| about.is_file() && about.len() == bytes.len() as u64);
    if there && fs::read(path).is_ok_and(|kept| kept == bytes) {
        return Ok(false);
    }
    let folder = path.parent().unwrap_or(Path::new("."));
    let mut temporary = writer::file_in(folder, "input", 0o444)?;
    temporary.write_all(bytes)?;
    temporary.as_file().sync_all()?;
    // Whoever else writes this name writes the same bytes.
    temporary.persist(path)?;
    Ok(true)
}
