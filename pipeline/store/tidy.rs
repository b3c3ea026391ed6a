//! Making room: which results go, and in which order.
//!
//! 1. Files that no result names.
//! 2. Results, the least recently used first, until what is left fits; with each the files that no other result names.
//!
//! Spared is what records name, and every file that has a further name: it lies in a run folder, or is in the hands of
//! somebody who publishes, and room would not come of taking it away. What is aside is the user's.
//!
//! Results go, and their going is brought to the disk, before files do, so that at no moment a result names what was
//! tidied away. Whoever has found a result meanwhile meets absence, never half of something.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::{self, Write as _};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use turnhue_stages::units::Memory;

use super::key::Key;
use super::result::Opened;
use super::writer::Writer;
use super::{Store, writer};
use crate::digest::Digest;
use crate::disk::{all_at_once, link, sync_folder};

/// What tidying spares.
#[derive(Clone, Debug, Default)]
pub struct Spared {
    /// Results, with every file that they name.
    pub keys: BTreeSet<Key>,
    /// Files.
    pub digests: BTreeSet<Digest>,
}

/// What is asked of a tidying.
#[derive(Clone, Copy, Debug)]
pub struct Wish<'a> {
    /// What may be left of results and files, if so much can go.
    pub keep: Memory,
    /// What must not go.
    pub spared: &'a Spared,
    /// Whether what others left unfinished goes too, of whom nothing is known here. Ends the work of whoever is at it.
    pub of_others: bool,
    /// Whether only to tell what would go.
    pub dry: bool,
}

/// What a store holds.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Usage {
    /// Results.
    pub results: Heap,
    /// Files, each counted once however many names it has.
    pub files: Heap,
    /// Writers whose work is not finished.
    pub unfinished: Heap,
    /// What was found damaged.
    pub aside: Heap,
}

impl Usage {
    /// What counts against the limit: results and files.
    #[must_use]
    pub fn kept(&self) -> Memory {
        Memory::from_bytes(self.results.bytes.saturating_add(self.files.bytes))
    }
}

/// A number of things and what they take.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Heap {
    /// How many.
    pub count: u64,
    /// Their bytes together.
    pub bytes: u64,
}

impl Heap {
    fn add(&mut self, bytes: u64) {
        self.count += 1;
        self.bytes = self.bytes.saturating_add(bytes);
    }
}

impl fmt::Display for Heap {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} ({})", self.count, Memory::from_bytes(self.bytes))
    }
}

/// What a tidying did, or would do.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tidied {
    /// Whether nothing was done but to look.
    pub dry: bool,
    /// Results that went.
    pub results: Heap,
    /// Files that went.
    pub files: Heap,
    /// Unfinished work of others that went.
    pub unfinished: Heap,
    /// What is left.
    pub left: Usage,
    /// What was asked for.
    pub keep: u64,
}

impl Tidied {
    /// What was done, for people.
    #[must_use]
    pub fn in_words(&self) -> String {
        let mut words = format!(
            "{} {} results and {} files; {} results and {} files are left\n",
            if self.dry { "would remove" } else { "removed" },
            self.results,
            self.files,
            self.left.results,
            self.left.files
        );
        // Writing to a string cannot fail.
        if self.unfinished.count > 0 {
            let verb = if self.dry { "would end" } else { "ended" };
            let _ = writeln!(words, "{verb} the unfinished work of {} writers", self.unfinished);
        }
        if self.left.kept().bytes() > self.keep {
            let _ = writeln!(
                words,
                "more than {} is left: it is named by a record or lies in a run folder (`--all` disregards records; delete \
                 runs that are not wanted any more)",
                Memory::from_bytes(self.keep)
            );
        }
        if self.left.unfinished.count > 0 {
            let _ = writeln!(
                words,
                "{} writers have unfinished work here; those that are gone from other machines go with `--all`, once nobody \
                 is at work",
                self.left.unfinished
            );
        }
        if self.left.aside.count > 0 {
            let _ =
                writeln!(words, "{} damaged things lie in `aside`: look at them, then delete them", self.left.aside);
        }
        words
    }
}

/// A result, as tidying sees it.
struct Kept {
    used: SystemTime,
    key: Key,
    path: PathBuf,
    bytes: u64,
    names: BTreeSet<Digest>,
}

/// A file, as tidying sees it.
struct Bytes {
    path: PathBuf,
    bytes: u64,
    /// Whether it may go once no result names it.
    may_go: bool,
    named_by: usize,
}

impl Store {
    /// What the store holds.
    ///
    /// # Errors
    /// If its folders cannot be read.
    pub fn usage(&self) -> io::Result<Usage> {
        let mut usage = Usage::default();
        each_by_digits(&self.folders.results, |_, about| usage.results.add(about.len()))?;
        each_by_digits(&self.folders.files, |_, about| usage.files.add(about.len()))?;
        for folder in entries(&self.folders.unfinished)? {
            usage.unfinished.add(bytes_below(&folder));
        }
        for folder in entries(&self.folders.aside)? {
            usage.aside.add(bytes_below(&folder));
        }
        Ok(usage)
    }

    /// Makes room: see the head of this file.
    ///
    /// # Errors
    /// If the store cannot be read, or something cannot be removed. What was removed until then is gone.
    pub fn tidy(&self, wish: &Wish<'_>) -> io::Result<Tidied> {
        let mut files = self.all_files(wish.spared)?;
        let mut results = self.all_results(wish.dry)?;
        for digest in results.iter().flat_map(|result| &result.names) {
            if let Some(file) = files.get_mut(digest) {
                file.named_by += 1;
            }
        }
        let mut going: Vec<Digest> = unnamed(&files);
        let freed =
            |digests: &[Digest]| digests.iter().filter_map(|d| files.get(d)).map(|file| file.bytes).sum::<u64>();
        let mut left = files.values().map(|file| file.bytes).sum::<u64>() - freed(&going);
        left += results.iter().map(|result| result.bytes).sum::<u64>();

        results.sort_by_key(|result| (result.used, result.key));
        let mut leaving: Vec<Kept> = Vec::new();
        for result in results {
            if left <= wish.keep.bytes() {
                break;
            }
            if wish.spared.keys.contains(&result.key) {
                continue;
            }
            left -= result.bytes;
            for digest in &result.names {
                let Some(file) = files.get_mut(digest) else { continue };
                file.named_by -= 1;
                if file.named_by == 0 && file.may_go {
                    left -= file.bytes;
                    going.push(*digest);
                }
            }
            leaving.push(result);
        }

        let mut tidied = Tidied { dry: wish.dry, keep: wish.keep.bytes(), ..Tidied::default() };
        self.remove_results(&leaving, &mut tidied)?;
        self.remove_files(going.iter().filter_map(|digest| files.get(digest)), &mut tidied)?;
        if wish.of_others {
            self.end_others(&mut tidied)?;
        }
        tidied.left = self.usage()?;
        if wish.dry {
            let Tidied { results, files, unfinished, left, .. } = &mut tidied;
            for (heap, gone) in
                [(&mut left.results, results), (&mut left.files, files), (&mut left.unfinished, unfinished)]
            {
                heap.count = heap.count.saturating_sub(gone.count);
                heap.bytes = heap.bytes.saturating_sub(gone.bytes);
            }
        }
        Ok(tidied)
    }

    fn all_files(&self, spared: &Spared) -> io::Result<BTreeMap<Digest, Bytes>> {
        let mut files = BTreeMap::new();
        each_by_digits(&self.folders.files, |path, about| {
            if let Some(digest) = name_of(path) {
                let may_go = names(about) == 1 && !spared.digests.contains(&digest);
                files.insert(digest, Bytes { path: path.to_owned(), bytes: about.len(), may_go, named_by: 0 });
            }
        })?;
        Ok(files)
    }

    /// Every result that can be read. One that is damaged is set aside, unless this is only to look.
    fn all_results(&self, dry: bool) -> io::Result<Vec<Kept>> {
        let mut results = Vec::new();
        let read = |path: &Path, key: &Key| Opened::read(File::open(path).ok()?, key).ok();
        each_by_digits(&self.folders.results, |path, about| {
            let Some(key) = name_of(path) else { return };
            let opened = if dry { read(path, &key) } else { self.open_result(&key) };
            if let (Some(opened), Ok(used)) = (opened, about.modified()) {
                let names = opened.entry.digests().collect();
                results.push(Kept { used, key, path: path.to_owned(), bytes: about.len(), names });
            }
        })?;
        Ok(results)
    }

    fn remove_results(&self, leaving: &[Kept], tidied: &mut Tidied) -> io::Result<()> {
        for result in leaving {
            if tidied.dry || remove(&result.path)? {
                tidied.results.add(result.bytes);
            }
        }
        if tidied.dry {
            return Ok(());
        }
        let folders: BTreeSet<PathBuf> = leaving.iter().filter_map(|r| r.path.parent().map(Path::to_owned)).collect();
        let folders: Vec<PathBuf> = folders.into_iter().collect();
        all_at_once(&folders, sync_folder).into_iter().collect()
    }

    /// Takes files away. Each is moved aside first and looked at again: between the first look and the move somebody may
    /// have given it a further name, to publish a result that names it.
    fn remove_files<'a>(&self, going: impl Iterator<Item = &'a Bytes>, tidied: &mut Tidied) -> io::Result<()> {
        let mut own = None;
        for file in going {
            if tidied.dry {
                tidied.files.add(file.bytes);
                continue;
            }
            let own = match &own {
                Some(own) => own,
                None => own.insert(writer::folder_below(&self.folders.unfinished)?),
            };
            let taken = own.path().join("taken");
            match fs::rename(&file.path, &taken) {
                Ok(()) => {}
                Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
                Err(error) => return Err(error),
            }
            if names(&fs::symlink_metadata(&taken)?) > 1 {
                link(&taken, &file.path)?;
            } else {
                tidied.files.add(file.bytes);
            }
            fs::remove_file(&taken)?;
        }
        Ok(())
    }

    /// Takes away what others left unfinished, unless they are known to be at it.
    fn end_others(&self, tidied: &mut Tidied) -> io::Result<()> {
        let this = Writer::this();
        for folder in entries(&self.folders.unfinished)? {
            let name = folder.file_name().and_then(|name| name.to_str()).unwrap_or_default();
            let at_it = Writer::of_folder(name).zip(this.as_ref()).is_some_and(|(writer, this)| writer.is_alive(this));
            if at_it {
                continue;
            }
            let bytes = bytes_below(&folder);
            if !tidied.dry {
                fs::remove_dir_all(&folder)?;
            }
            tidied.unfinished.add(bytes);
        }
        Ok(())
    }
}

/// Files that no result names, and that may go.
fn unnamed(files: &BTreeMap<Digest, Bytes>) -> Vec<Digest> {
    files.iter().filter(|(_, file)| file.named_by == 0 && file.may_go).map(|(digest, _)| *digest).collect()
}

fn name_of<T: std::str::FromStr>(path: &Path) -> Option<T> {
    path.file_name()?.to_str()?.parse().ok()
}

/// Removes a file; tells whether it was there.
fn remove(path: &Path) -> io::Result<bool> {
    match fs::remove_file(path) {
        Ok(()) => Ok(true),
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error),
    }
}

/// What a folder holds, by name; nothing if it is not there.
fn entries(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => {
            return Ok(Vec::new());
        }
        Err(error) => return Err(error),
    };
    let mut paths = entries.map(|entry| entry.map(|entry| entry.path())).collect::<io::Result<Vec<_>>>()?;
    paths.sort();
    Ok(paths)
}

/// Every plain file two levels below a folder.
fn each_by_digits(folder: &Path, mut each: impl FnMut(&Path, &fs::Metadata)) -> io::Result<()> {
    for part in entries(folder)? {
        for path in entries(&part)? {
            match fs::symlink_metadata(&path) {
                Ok(about) if about.is_file() => each(&path, &about),
                // Somebody else tidies.
                Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
                _ => {}
            }
        }
    }
    Ok(())
}

/// The bytes of all files below a path, as far as they can be seen.
fn bytes_below(path: &Path) -> u64 {
    match fs::symlink_metadata(path) {
        Ok(about) if about.is_dir() => {
            entries(path).unwrap_or_default().iter().fold(0, |sum, path| sum.saturating_add(bytes_below(path)))
        }
        Ok(about) => about.len(),
        Err(_) => 0,
    }
}

/// How many names a file has.
#[cfg(unix)]
fn names(about: &fs::Metadata) -> u64 {
    std::os::unix::fs::MetadataExt::nlink(about)
}

/// Cannot be told here; files that have further names keep them.
#[cfg(not(unix))]
fn names(_: &fs::Metadata) -> u64 {
    1
}
