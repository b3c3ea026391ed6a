//! The store: what stages made, kept by what it was made from, so that nothing is made twice.
//!
//! ```text
//! form                 what this folder is, and the version of its form
//! results/ab/abcd…     a stage's result by its key: what it said, the parts that it made, the files that it names
//! files/ab/abcd…       the bytes of artefacts by their digest, each kept once, read-only
//! unfinished/WRITER/   what is being made
//! aside/               what was found damaged
//! ```
//!
//! Guarantees, each with a test in `pipeline/store/tests.rs`:
//! - A result is there whole or not at all, and what it names was on the disk before it.
//! - What is handed out was checked against its digest: results each time, files once in the life of a [`Store`].
//! - What is damaged counts as absent. It is moved to `aside/`, never deleted, and [`Store::notices`] tells of it.
//! - Any number of threads, processes and machines may use a store at once. There are no locks, so none can be left behind.
//! - What a writer leaves unfinished is taken away by whoever opens the store next, once that writer is provably gone.
//!
//! Not guaranteed: that what was found a moment ago is still there. Somebody may tidy; whoever meets that looks again.

mod draft;
mod key;
mod publish;
mod result;
#[cfg(test)]
mod tests;
mod tidy;
pub(crate) mod writer;

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use tempfile::TempDir;
use turnhue_stages::workpiece::{OrderedFile, Part, Workpiece};

use crate::clock::Moment;
use crate::diagnostic::Diagnostic;
use crate::disk::{copy_hashing, link, links_are_refused, sync_folder};
use result::{Opened, StoredOrder, Unreadable};

use crate::digest::Digest;
pub use draft::Draft;
pub use key::Key;
pub use publish::Done;
pub use result::Entry;
pub use tidy::{Heap, Spared, Tidied, Usage, Wish};

/// The version of the store's form. Raised when what is kept means something else; belongs into every [`Key`].
pub const FORM: u32 = 1;

/// The file that says what the folder is.
const FORM_FILE: &str = "form";
const FORM_LINE: &str = "turnhue store, form ";

/// How long a stamp of use stands: using a result within a day of the last use writes nothing.
const DAY: Duration = Duration::from_secs(24 * 60 * 60);

/// A store, open. Shared by the threads of a process.
#[derive(Debug)]
pub struct Store {
    folders: Arc<Folders>,
    /// What the run's clock said when the store was opened.
    now: SystemTime,
    /// This writer's folder below `unfinished/`, made when it is needed.
    own: Mutex<Option<TempDir>>,
    drafts: AtomicU64,
    /// Files whose bytes were checked.
    checked: Mutex<BTreeSet<Digest>>,
    notices: Mutex<Vec<Diagnostic>>,
}

/// Where things are.
#[derive(Debug)]
struct Folders {
    root: PathBuf,
    results: PathBuf,
    files: PathBuf,
    unfinished: PathBuf,
    aside: PathBuf,
}

impl Folders {
    fn below(root: &Path) -> Self {
        Self {
            root: root.to_owned(),
            results: root.join("results"),
            files: root.join("files"),
            unfinished: root.join("unfinished"),
            aside: root.join("aside"),
        }
    }

    fn file(&self, digest: Digest) -> PathBuf {
        by_digits(&self.files, &digest.to_string())
    }

    fn result(&self, key: &Key) -> PathBuf {
        by_digits(&self.results, &key.to_string())
    }
}

/// Folders with many thousand names are slow on some systems; two digits part them.
fn by_digits(folder: &Path, digits: &str) -> PathBuf {
    folder.join(&digits[..2]).join(digits)
}

/// How a file came into a run folder.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Placed {
    /// As a further name of the file in the store.
    Linked,
    /// As a copy, brought to the disk, where the system refused that.
    Copied,
}

/// Why a file did not come into a run folder.
#[derive(Debug)]
pub enum NotPlaced {
    /// It is not in the store any more, or was damaged: what made it must run again.
    Absent,
    /// The target could not be written.
    Target(io::Error),
}

impl Store {
    /// Opens a store, making it where there is none, and takes away what writers that are gone left unfinished. `now` is
    /// the stamp of what is used from now on.
    ///
    /// # Errors
    /// If the folder is something else, was made by a newer version of the program, or cannot be read.
    pub fn open(folder: &Path, now: Moment) -> Result<Self, Box<Diagnostic>> {
        read_or_make_form(folder)?;
        let store = Self {
            folders: Arc::new(Folders::below(folder)),
            now: UNIX_EPOCH + Duration::from_secs(now.0),
            own: Mutex::new(None),
            drafts: AtomicU64::new(0),
            checked: Mutex::default(),
            notices: Mutex::default(),
        };
        store.remove_leftovers();
        Ok(store)
    }

    /// Where it is.
    #[must_use]
    pub fn folder(&self) -> &Path {
        &self.folders.root
    }

    /// What was found damaged, set aside or strange since this was last asked.
    #[must_use]
    pub fn notices(&self) -> Vec<Diagnostic> {
        std::mem::take(&mut held(&self.notices))
    }

    /// What is known of the result that is kept under a key, if it is there, whole, and every file that it names is there
    /// with the size it should have. Marks it as used.
    #[must_use]
    pub fn find(&self, key: &Key) -> Option<Entry> {
        let opened = self.open_result(key)?;
        if !self.has_files(&opened.entry) {
            return None;
        }
        self.mark_used(opened.file());
        Some(opened.entry)
    }

    /// How long stages took in the mean, in seconds, by their names: of as many results as can be looked at quickly.
    #[must_use]
    pub fn times(&self) -> BTreeMap<String, f64> {
        const MOST: usize = 1000;
        let folders = fs::read_dir(&self.folders.results).into_iter().flatten().flatten();
        let results = folders.flat_map(|folder| fs::read_dir(folder.path()).into_iter().flatten().flatten());
        let mut sums: BTreeMap<String, (f64, f64)> = BTreeMap::new();
        for result in results.take(MOST) {
            let Some(key) = result.file_name().to_str().and_then(|name| name.parse().ok()) else { continue };
            if let Ok(opened) =
                File::open(result.path()).map_err(Unreadable::from).and_then(|file| Opened::read(file, &key))
            {
                let (seconds, count) = sums.entry(opened.entry.stage).or_default();
                (*seconds, *count) = (*seconds + opened.entry.seconds, *count + 1.0);
            }
        }
        sums.into_iter().map(|(stage, (seconds, count))| (stage, seconds / count)).collect()
    }

    /// The piece that a chain of results leads to, begun with `start`. Only the parts that are still there at its end are
    /// read. `None` if one of them, or the file to order, is not there any more: [`Self::find`] tells which result must be
    /// made again.
    #[must_use]
    pub fn piece<'a>(&self, start: Workpiece, chain: impl IntoIterator<Item = &'a Entry>) -> Option<Workpiece> {
        let sources = Sources::of(chain);
        let mut piece = if sources.begins_anew { Workpiece::default() } else { start };
        for part in Part::ALL {
            if let Some(entry) = sources.parts.get(&part) {
                piece = self.with_part(piece, part, entry)?;
            }
        }
        Some(piece)
    }

    /// Where a file with that digest lies, its bytes checked; `None` if it is not there.
    #[must_use]
    pub fn file(&self, digest: Digest) -> Option<PathBuf> {
        let path = self.folders.file(digest);
        if self.checked().contains(&digest) {
            return path.exists().then_some(path);
        }
        let file = self.opened(&path, "a file by digest")?;
        match copy_hashing(&file, io::sink()) {
            Ok(read) if Digest::from(read.hasher.finalize()) == digest => {
                self.checked().insert(digest);
                Some(path)
            }
            Ok(_) => {
                self.set_aside(&path, Some(&file), "a file by digest", "it has another digest than its name");
                None
            }
            Err(error) => {
                self.tell(unreadable(&path, &error));
                None
            }
        }
    }

    /// Puts a file into a folder of the user's, its bytes checked: as a further name where the system has that, else as a
    /// copy. The file is read-only there too.
    ///
    /// # Errors
    /// See [`NotPlaced`].
    pub fn place(&self, digest: Digest, target: &Path) -> Result<Placed, NotPlaced> {
        let path = self.file(digest).ok_or(NotPlaced::Absent)?;
        match link(&path, target) {
            Ok(true) => Ok(Placed::Linked),
            Ok(false) => {
                let message = format!("{} exists already", target.display());
                Err(NotPlaced::Target(io::Error::new(io::ErrorKind::AlreadyExists, message)))
            }
            Err(error) if links_are_refused(&error) => self.copy(digest, &path, target),
            Err(_) if !path.exists() => Err(NotPlaced::Absent),
            Err(error) => Err(NotPlaced::Target(error)),
        }
    }

    fn copy(&self, digest: Digest, path: &Path, target: &Path) -> Result<Placed, NotPlaced> {
        let from = self.opened(path, "a file by digest").ok_or(NotPlaced::Absent)?;
        let to = File::create_new(target).map_err(NotPlaced::Target)?;
        let abandon = |why| {
            let _ = fs::remove_file(target);
            Err(why)
        };
        match copy_hashing(&from, &to) {
            Ok(read) if Digest::from(read.hasher.finalize()) == digest => {}
            Ok(_) => {
                self.set_aside(path, Some(&from), "a file by digest", "it has another digest than its name");
                return abandon(NotPlaced::Absent);
            }
            Err(error) => return abandon(NotPlaced::Target(error)),
        }
        let sealed = to.metadata().and_then(|about| {
            let mut permissions = about.permissions();
            permissions.set_readonly(true);
            to.set_permissions(permissions)?;
            to.sync_all()
        });
        sealed.map(|()| Placed::Copied).or_else(|error| abandon(NotPlaced::Target(error)))
    }

    fn open_result(&self, key: &Key) -> Option<Opened> {
        let path = self.folders.result(key);
        let file = self.opened(&path, "a result")?;
        // Where it is damaged, to tell that no other has taken its place meanwhile.
        let examined = file.try_clone().ok();
        match Opened::read(file, key) {
            Ok(opened) => Some(opened),
            Err(Unreadable::Damaged(reason)) => {
                self.set_aside(&path, examined.as_ref(), "a result", &reason);
                None
            }
            Err(Unreadable::File(error)) => {
                self.tell(unreadable(&path, &error));
                None
            }
        }
    }

    /// Opens what should be a plain file.
    fn opened(&self, path: &Path, what: &str) -> Option<File> {
        match fs::symlink_metadata(path) {
            // A pipe would keep whoever opens it waiting.
            Ok(about) if !about.is_file() => {
                self.set_aside(path, None, what, "it is not a file");
                return None;
            }
            Ok(_) => {}
            Err(error) if error.kind() == io::ErrorKind::NotFound => return None,
            Err(error) => {
                self.tell(unreadable(path, &error));
                return None;
            }
        }
        match File::open(path) {
            Ok(file) => Some(file),
            Err(error) if error.kind() == io::ErrorKind::NotFound => None,
            Err(error) => {
                self.tell(unreadable(path, &error));
                None
            }
        }
    }

    /// Whether the files that a result names are there, with the sizes that they should have.
    fn has_files(&self, entry: &Entry) -> bool {
        entry.artefacts.iter().zip(entry.digests()).all(|(artefact, digest)| {
            let path = self.folders.file(digest);
            match fs::symlink_metadata(&path) {
                Ok(about) if about.is_file() && about.len() == artefact.bytes => true,
                Ok(_) => {
                    self.set_aside(&path, None, "a file by digest", "it has another size than what it should hold");
                    false
                }
                Err(_) => false,
            }
        })
    }

    fn with_part(&self, piece: Workpiece, part: Part, entry: &Entry) -> Option<Workpiece> {
        if let (Part::Order, Some(_)) = (part, &entry.order) {
            for order in entry.stored_orders() {
                self.file(order.blake3)?;
            }
            return Some(piece.with_orders(entry.stored_orders().map(|order| self.ordered(order))));
        }
        // Read anew: another writer may have published the same result since, laid out in another way.
        let mut opened = self.open_result(&entry.key)?;
        let reason = match opened.part(part) {
            Ok(bytes) => match piece.with_bytes(part, &bytes) {
                Ok(piece) => return Some(piece),
                Err(unsound) => format!("could not read a part: {unsound}"),
            },
            Err(Unreadable::Damaged(reason)) => reason,
            Err(Unreadable::File(error)) => {
                self.tell(unreadable(&self.folders.result(&entry.key), &error));
                return None;
            }
        };
        self.set_aside(&self.folders.result(&entry.key), Some(opened.file()), "a result", &reason);
        None
    }

    fn ordered(&self, order: &StoredOrder) -> OrderedFile {
        OrderedFile { name: order.name.clone(), path: self.folders.file(order.blake3) }
    }

    /// Stamps a result as used now, unless it was within the last day. Where that is not allowed, nothing is lost but the
    /// order in which results are tidied away.
    fn mark_used(&self, file: &File) {
        let used = file.metadata().and_then(|about| about.modified());
        if used.is_ok_and(|used| self.now.duration_since(used).is_ok_and(|since| since >= DAY)) {
            let _ = file.set_modified(self.now);
        }
    }

    /// Moves what is damaged out of the way and tells of it. Nothing is moved if another than what was examined lies there
    /// by now: somebody published anew.
    fn set_aside(&self, path: &Path, examined: Option<&File>, what: &str, reason: &str) {
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if examined.is_some_and(|file| !lies_at(file, path)) {
            return;
        }
        let moved = fs::create_dir_all(&self.folders.aside).and_then(|()| {
            let folder = tempfile::Builder::new().prefix("").rand_bytes(8).tempdir_in(&self.folders.aside)?;
            fs::rename(path, folder.path().join(&name))?;
            Ok(folder.keep().join(&name))
        });
        let told = format!("{what} in the store is damaged: {reason}");
        match moved {
            Ok(aside) => self.tell(Diagnostic::caution(told).remedy(format!(
                "it is made again; what was there lies in {} and can be looked at or deleted",
                aside.display()
            ))),
            // Somebody else did it.
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => self.tell(Diagnostic::caution(told).remedy(format!(
                "it is made again; it could not be moved out of the way, so delete {} by hand: {error}",
                path.display()
            ))),
        }
    }

    fn tell(&self, notice: Diagnostic) {
        held(&self.notices).push(notice);
    }

    fn checked(&self) -> MutexGuard<'_, BTreeSet<Digest>> {
        held(&self.checked)
    }

    /// A new folder for a draft, below this writer's own.
    fn new_folder(&self) -> io::Result<PathBuf> {
        let mut own = held(&self.own);
        // Somebody may have taken it away who was told to clear up everything.
        if own.as_ref().is_none_or(|own| !own.path().exists()) {
            *own = Some(writer::folder_below(&self.folders.unfinished)?);
        }
        let own = own.as_ref().map_or(self.folders.unfinished.as_path(), TempDir::path);
        let folder = own.join(self.drafts.fetch_add(1, Ordering::Relaxed).to_string());
        fs::create_dir(&folder)?;
        Ok(folder)
    }

    fn remove_leftovers(&self) {
        writer::sweep(&self.folders.unfinished);
    }
}

/// Which results the parts of a piece come from.
#[derive(Debug, Default)]
struct Sources<'a> {
    parts: BTreeMap<Part, &'a Entry>,
    /// Whether nothing is left of the piece that the chain began with.
    begins_anew: bool,
}

impl<'a> Sources<'a> {
    fn of(chain: impl IntoIterator<Item = &'a Entry>) -> Self {
        let mut sources = Self::default();
        for entry in chain {
            for gone in &entry.gone {
                sources.parts.remove(gone);
            }
            let made = entry.parts.iter().map(|stored| stored.part).chain(entry.order.as_ref().map(|_| Part::Order));
            for part in made {
                sources.parts.insert(part, entry);
            }
            sources.begins_anew |= entry.gone.contains(&Part::Surface);
        }
        sources
    }
}

fn read_or_make_form(folder: &Path) -> Result<(), Box<Diagnostic>> {
    let path = folder.join(FORM_FILE);
    let text = match fs::read_to_string(&path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            make_form(folder).map_err(|error| cannot_open(folder, &error))?;
            fs::read_to_string(&path)
        }
        other => other,
    };
    let text = text.map_err(|error| cannot_open(folder, &error))?;
    let form = text.lines().next().and_then(|line| line.strip_prefix(FORM_LINE)?.parse::<u32>().ok());
    match form {
        Some(FORM) => Ok(()),
        Some(form) if form > FORM => Err(Box::new(
            Diagnostic::error(format!(
                "the store in {} has form {form}, and this program knows forms up to {FORM}",
                folder.display()
            ))
            .remedy("use the newer program that made it, or another folder with `--store DIR`"),
        )),
        _ => Err(Box::new(
            Diagnostic::error(format!("{} does not say that its folder is a store of turnhue", path.display())).remedy(
                format!(
                    "expected a first line `{FORM_LINE}{FORM}`: if the folder is a store and the file was damaged, write \
                     that line into it; else name another folder with `--store DIR`"
                ),
            ),
        )),
    }
}

/// Says what the folder is, in a file that appears whole. Only an empty folder becomes a store.
fn make_form(folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)?;
    for entry in fs::read_dir(folder)? {
        let name = entry?.file_name();
        let name = name.to_string_lossy();
        // Another may be making the same store this moment, and be further.
        if !name.starts_with('.') && ![FORM_FILE, "results", "files", "unfinished", "aside"].contains(&&*name) {
            let message = format!("it holds '{name}' and no file `{FORM_FILE}`, so it is something else than a store");
            return Err(io::Error::new(io::ErrorKind::InvalidInput, message));
        }
    }
    let mut file = tempfile::Builder::new().prefix(".form-").tempfile_in(folder)?;
    let text = format!(
        "{FORM_LINE}{FORM}\n\nWhat stages made, by what it was made from. All of it can be made again: `turnhue tidy` makes room.\n"
    );
    io::Write::write_all(&mut file, text.as_bytes())?;
    file.as_file().sync_all()?;
    match file.persist_noclobber(folder.join(FORM_FILE)) {
        Ok(_) => {}
        Err(error) if error.error.kind() == io::ErrorKind::AlreadyExists => {}
        Err(error) => return Err(error.error),
    }
    sync_folder(folder)
}

fn cannot_open(folder: &Path, error: &io::Error) -> Box<Diagnostic> {
    Box::new(
        Diagnostic::error(format!("could not open the store in {}: {error}", folder.display()))
            .remedy("name a folder that can be written with `--store DIR`"),
    )
}

fn unreadable(path: &Path, error: &io::Error) -> Diagnostic {
    Diagnostic::caution(format!("could not read {} in the store: {error}", path.display()))
        .remedy("what it holds is made again; see that you may read it")
}

/// Whether that file is the one at that path.
#[cfg(unix)]
fn lies_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let name = |about: &fs::Metadata| (about.dev(), about.ino());
    matches!((file.metadata(), fs::symlink_metadata(path)), (Ok(file), Ok(there)) if name(&file) == name(&there))
}

/// Cannot be told here.
#[cfg(not(unix))]
fn lies_at(_: &File, path: &Path) -> bool {
    path.exists()
}

/// What a lock holds. A thread that panicked while holding it left nothing half done: all that is done under locks here is
/// to put one thing in or take everything out.
fn held<T>(lock: &Mutex<T>) -> MutexGuard<'_, T> {
    lock.lock().unwrap_or_else(PoisonError::into_inner)
}
