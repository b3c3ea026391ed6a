//! Folders that entries name, as they are on the disk.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io;
use std::path::Path;

use rayon::prelude::*;

use super::deeds::Sealed;
use crate::digest::Digest;

/// What something in a folder is. Links are not followed: what they lead to is not in the folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    File,
    Folder,
    Other,
}

/// What is in a folder, by name.
pub(super) fn list(folder: &Path) -> io::Result<BTreeMap<String, Kind>> {
    let entries = fs::read_dir(folder)?.map(|entry| {
        let entry = entry?;
        let about = entry.file_type()?;
        let kind = match (about.is_file(), about.is_dir()) {
            (true, _) => Kind::File,
            (_, true) => Kind::Folder,
            _ => Kind::Other,
        };
        Ok((entry.file_name().to_string_lossy().into_owned(), kind))
    });
    entries.collect()
}

/// Whether a name is that of something that was not finished when its writer was stopped, or that is being made.
pub(super) fn is_unfinished(name: &str) -> bool {
    name.starts_with('.') && name.ends_with(".unfinished")
}

/// Size and digest of a file.
pub(super) fn measure(path: &Path) -> io::Result<(u64, Digest)> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(File::open(path)?)?;
    Ok((hasher.count(), hasher.finalize().into()))
}

/// Every file in a folder with its digest, by name; what entries say of a run or a night.
///
/// # Errors
/// If the folder or a file cannot be read, or something in it is no file.
pub fn seal(folder: &Path) -> io::Result<Vec<Sealed>> {
    let listed: Vec<(String, Kind)> = list(folder)?.into_iter().collect();
    let sealed = listed.par_iter().map(|(name, kind)| {
        if *kind != Kind::File {
            return Err(io::Error::new(io::ErrorKind::InvalidData, format!("{name} is not a file")));
        }
        seal_file(folder, name)
    });
    sealed.collect()
}

/// A file of a folder with its digest.
///
/// # Errors
/// If it cannot be read, or the name is no plain one.
pub fn seal_file(folder: &Path, name: &str) -> io::Result<Sealed> {
    let name = name.parse().map_err(|error: String| io::Error::new(io::ErrorKind::InvalidInput, error))?;
    let (bytes, blake3) = measure(&folder.join(&name))?;
    Ok(Sealed { name, bytes, blake3 })
}
