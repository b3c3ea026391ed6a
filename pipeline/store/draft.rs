//! The shelf of a stage that is running: its files lie among what is unfinished until the result is published.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use turnhue_reports::record;
use turnhue_stages::stage::{Artefact, Shelf};
use turnhue_stages::workpiece::OrderedFile;

use super::result::StoredOrder;
use super::{Folders, Store};
use crate::digest::Digest;
use crate::disk::{Hashing, Written, plain_name};

/// Where a stage puts its files. Gone when dropped, unless it is published.
#[derive(Debug)]
pub struct Draft {
    folder: PathBuf,
    made: BTreeMap<String, Written>,
    /// Names that earlier stages of the run took, and what lies under them.
    earlier: BTreeMap<String, Digest>,
    folders: Arc<Folders>,
    /// Further names of files that the store has already, for as long as the result that names them is not there: what has
    /// two names is not tidied away.
    pub(super) held: BTreeSet<PathBuf>,
}

impl Store {
    /// Opens a draft for a stage, given the files that earlier stages of the run made.
    ///
    /// # Errors
    /// If nothing can be written to the store.
    pub fn draft<'a>(&self, earlier: impl IntoIterator<Item = &'a record::File>) -> io::Result<Draft> {
        let earlier = earlier.into_iter().map(|file| Some((file.name.clone(), file.blake3.parse().ok()?)));
        let earlier = earlier.collect::<Option<_>>();
        let wrong = || io::Error::new(io::ErrorKind::InvalidInput, "an earlier file has no digest");
        Ok(Draft {
            earlier: earlier.ok_or_else(wrong)?,
            folder: self.new_folder()?,
            made: BTreeMap::new(),
            folders: Arc::clone(&self.folders),
            held: BTreeSet::new(),
        })
    }
}

impl Draft {
    /// Where its files lie now.
    pub(crate) fn folder(&self) -> &Path {
        &self.folder
    }

    /// An artefact with its size and digest.
    pub(super) fn file(&self, artefact: &Artefact) -> io::Result<(record::File, Digest)> {
        let Artefact { name, what } = artefact;
        let Some(written) = self.made.get(name) else {
            return Err(io::Error::new(io::ErrorKind::InvalidInput, format!("'{name}' was not made on this shelf")));
        };
        let digest = Digest::from(written.hasher.finalize());
        let (name, what) = (name.clone(), what.clone());
        Ok((record::File { name, what, bytes: written.bytes, blake3: digest.to_string() }, digest))
    }

    /// The file to order, as it is kept.
    pub(super) fn order(&self, order: &OrderedFile) -> io::Result<StoredOrder> {
        let made = self.made.get(&order.name).map(|written| Digest::from(written.hasher.finalize()));
        match made.or_else(|| self.earlier.get(&order.name).copied()) {
            Some(blake3) => Ok(StoredOrder { name: order.name.clone(), blake3 }),
            None => {
                let message = format!("'{}' is to be ordered, and no stage made it", order.name);
                Err(io::Error::new(io::ErrorKind::InvalidInput, message))
            }
        }
    }
}

impl Shelf for Draft {
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + '_>> {
        plain_name(name)?;
        if self.earlier.contains_key(name) {
            let message = format!("an earlier stage made '{name}' already");
            return Err(io::Error::new(io::ErrorKind::AlreadyExists, message));
        }
        let file = File::create_new(self.folder.join(name))?;
        let written = self.made.entry(name.to_owned()).or_default();
        Ok(Box::new(Hashing { file, written }))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.earlier.get(name).map_or_else(|| self.folder.join(name), |digest| self.folders.file(*digest))
    }
}

impl Drop for Draft {
    fn drop(&mut self) {
        // What cannot be taken away now is when the store is next opened.
        let _ = fs::remove_dir_all(&self.folder);
        for held in &self.held {
            let _ = fs::remove_file(held);
        }
    }
}
