//! The folder of a run, which appears whole or not at all.
//!
//! Files are made in a hidden folder beside the place where the run will be: `.RUN.unfinished`. Whoever holds that
//! folder holds the run's name, so two programs that begin at once cannot take the same one. When all is done, every
//! file is brought to the disk, the folder renamed in one step, and the folder around it brought to the disk too. A run
//! that fails, is stopped or panics takes its folder away, with the folders made for it.

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Component, Path, PathBuf};

use tempfile::TempDir;
use turnhue_reports::record;
use turnhue_stages::stage::Shelf;

/// The folder of a run that is not finished.
#[derive(Debug)]
pub(crate) struct RunFolder {
    staged: Option<TempDir>,
    parent: PathBuf,
    name: String,
    made: BTreeMap<String, Written>,
    /// Folders made for this run around its own, outermost first.
    around: Vec<PathBuf>,
}

/// A hidden folder for files that are not kept: gone when it is dropped, with the folders made for it.
#[derive(Debug)]
pub(crate) struct Aside {
    folder: Option<TempDir>,
    path: PathBuf,
    around: Vec<PathBuf>,
}

impl Aside {
    /// Below a folder that is made if it is not there.
    pub(crate) fn open(parent: &Path) -> io::Result<Self> {
        let around = make_folders(parent)?;
        // From here on, dropping it takes away what was made.
        let mut aside = Self { folder: None, path: PathBuf::new(), around };
        aside.take(parent)?;
        Ok(aside)
    }

    /// Below a folder that is there.
    pub(crate) fn within(parent: &Path) -> io::Result<Self> {
        let mut aside = Self { folder: None, path: PathBuf::new(), around: Vec::new() };
        aside.take(parent)?;
        Ok(aside)
    }

    fn take(&mut self, parent: &Path) -> io::Result<()> {
        let folder = tempfile::Builder::new().prefix(".sizes-").suffix(".unfinished").tempdir_in(parent)?;
        self.path = folder.path().to_owned();
        self.folder = Some(folder);
        Ok(())
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }
}

impl Drop for Aside {
    fn drop(&mut self) {
        drop(self.folder.take());
        remove_folders(&self.around);
    }
}

impl Shelf for Aside {
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + '_>> {
        plain_name(name)?;
        Ok(Box::new(File::create_new(self.path.join(name))?))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }
}

/// What has been written of a file.
#[derive(Clone, Debug, Default)]
struct Written {
    bytes: u64,
    hasher: blake3::Hasher,
}

/// So many runs of one job within a second have a name.
const MOST_RUNS: usize = 1000;

impl RunFolder {
    /// Takes the name `base` below `parent`, or the first that is free of `base-2`, `base-3`, …, and makes the folder
    /// in which the run is staged.
    pub(crate) fn open(parent: &Path, base: &str) -> io::Result<Self> {
        let around = make_folders(parent)?;
        let taken = (1..=MOST_RUNS).find_map(|number| {
            let name = if number == 1 { base.to_owned() } else { format!("{base}-{number}") };
            take_name(parent, &name).map(|staged| staged.map(|staged| (staged, name))).transpose()
        });
        match taken.unwrap_or_else(|| Err(io::Error::new(io::ErrorKind::AlreadyExists, "every name is taken"))) {
            Ok((staged, name)) => {
                Ok(Self { staged: Some(staged), parent: parent.to_owned(), name, made: BTreeMap::new(), around })
            }
            Err(error) => {
                remove_folders(&around);
                Err(error)
            }
        }
    }

    /// The name of the run.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// Where the files are until the run is published.
    pub(crate) fn staged(&self) -> &Path {
        self.staged.as_ref().map_or(&self.parent, TempDir::path)
    }

    /// Size and digest of a file that was made here.
    pub(crate) fn file(&self, name: &str, what: &str) -> record::File {
        let written = self.made.get(name).cloned().unwrap_or_default();
        record::File {
            name: name.to_owned(),
            what: what.to_owned(),
            bytes: written.bytes,
            blake3: written.hasher.finalize().to_hex().to_string(),
        }
    }

    /// Takes a file away that could not be finished.
    pub(crate) fn discard(&mut self, name: &str) {
        self.made.remove(name);
        let _ = fs::remove_file(self.path(name));
    }

    /// Brings everything to the disk and puts the folder in its place.
    pub(crate) fn publish(mut self) -> io::Result<PathBuf> {
        let target = self.parent.join(&self.name);
        for entry in fs::read_dir(self.staged())? {
            File::options().write(true).open(entry?.path())?.sync_all()?;
        }
        sync_folder(self.staged())?;
        fs::rename(self.staged(), &target)?;
        // From here on the folder is the user's.
        self.around.clear();
        if let Some(staged) = self.staged.take() {
            let _ = staged.keep();
        }
        if let Err(error) = sync_folder(&self.parent) {
            // The run is in its place; only a power cut within moments could still take its name away.
            tracing::warn!("could not bring {} to the disk: {error}", self.parent.display());
        }
        Ok(target)
    }
}

impl Drop for RunFolder {
    fn drop(&mut self) {
        drop(self.staged.take());
        remove_folders(&self.around);
    }
}

impl Shelf for RunFolder {
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + '_>> {
        plain_name(name)?;
        let file = File::create_new(self.path(name))?;
        let written = self.made.entry(name.to_owned()).or_default();
        Ok(Box::new(Hashing { file, written }))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.staged().join(name)
    }
}

fn plain_name(name: &str) -> io::Result<()> {
    let mut parts = Path::new(name).components();
    if matches!((parts.next(), parts.next()), (Some(Component::Normal(_)), None)) {
        return Ok(());
    }
    Err(io::Error::new(io::ErrorKind::InvalidInput, format!("'{name}' is not a plain file name")))
}

/// Writes to a file and takes its digest on the way.
struct Hashing<'a> {
    file: File,
    written: &'a mut Written,
}

impl Write for Hashing<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let count = self.file.write(bytes)?;
        self.written.hasher.update(&bytes[..count]);
        self.written.bytes += count as u64;
        Ok(count)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// Takes a name if nobody has it: neither a run that is there nor one that is being made.
fn take_name(parent: &Path, name: &str) -> io::Result<Option<TempDir>> {
    let target = parent.join(name);
    if target.symlink_metadata().is_ok() {
        return Ok(None);
    }
    match hidden_folder(parent, name) {
        // Between the two looks another program may have published under this name.
        Ok(staged) if target.symlink_metadata().is_ok() => staged.close().map(|()| None),
        Ok(staged) => Ok(Some(staged)),
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => Ok(None),
        Err(error) => Err(error),
    }
}

fn hidden_folder(parent: &Path, name: &str) -> io::Result<TempDir> {
    let (prefix, suffix) = (format!(".{name}"), ".unfinished");
    let mut builder = tempfile::Builder::new();
    builder.prefix(&prefix).suffix(suffix).rand_bytes(0);
    // Left to itself, a temporary folder is for its owner alone; this one will be published.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o777));
    builder.tempdir_in(parent)
}

/// Makes a folder with those around it; gives the ones that were not there, outermost first.
fn make_folders(folder: &Path) -> io::Result<Vec<PathBuf>> {
    let mut missing: Vec<PathBuf> = folder
        .ancestors()
        .take_while(|folder| !folder.as_os_str().is_empty() && !folder.exists())
        .map(Path::to_owned)
        .collect();
    missing.reverse();
    fs::create_dir_all(folder).inspect_err(|_| remove_folders(&missing))?;
    Ok(missing)
}

/// Takes folders away again, innermost first; one that is not empty, or not there, stays as it is.
fn remove_folders(folders: &[PathBuf]) {
    for folder in folders.iter().rev() {
        let _ = fs::remove_dir(folder);
    }
}

/// Makes a folder with those around it, and brings their names to the disk.
pub(crate) fn make_folders_for_good(folder: &Path) -> io::Result<()> {
    for made in make_folders(folder)? {
        made.parent().filter(|around| !around.as_os_str().is_empty()).map_or(Ok(()), sync_folder)?;
    }
    Ok(())
}

/// Brings the names in a folder to the disk, where the system can.
pub(crate) fn sync_folder(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<_> =
            fs::read_dir(folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_run_appears_whole() {
        let home = tempfile::tempdir().unwrap();
        let parent = home.path().join("runs/C-1");
        let mut folder = RunFolder::open(&parent, "r").unwrap();
        folder.create("a.txt").unwrap().write_all(b"abc").unwrap();
        assert_eq!(names(&parent), [".r.unfinished"]);
        // BLAKE3 of "abc": the team's published test value, also printed by `b3sum`.
        assert_eq!(folder.file("a.txt", "").blake3, "6437b3ac38465133ffb63b75273a8db548c558465d79db03fd359c6cd5bd9d85");
        let target = folder.publish().unwrap();
        assert_eq!(names(&parent), ["r"]);
        assert_eq!(fs::read(target.join("a.txt")).unwrap(), b"abc");
    }

    #[test]
    fn an_abandoned_run_leaves_nothing() {
        let home = tempfile::tempdir().unwrap();
        let mut folder = RunFolder::open(&home.path().join("runs/C-1"), "r").unwrap();
        folder.create("a.txt").unwrap().write_all(b"abc").unwrap();
        drop(folder);
        assert!(names(home.path()).is_empty());
    }

    #[test]
    fn what_is_put_aside_leaves_nothing() {
        let home = tempfile::tempdir().unwrap();
        let mut aside = Aside::open(&home.path().join("runs/C-1")).unwrap();
        aside.create("a.txt").unwrap().write_all(b"abc").unwrap();
        let mut within = Aside::within(aside.path()).unwrap();
        within.create("a.txt").unwrap().write_all(b"abc").unwrap();
        assert!(within.create("a.txt").is_err() && within.create("../b").is_err());
        assert!(aside.path().file_name().unwrap().to_str().unwrap().starts_with('.'));
        drop(within);
        assert_eq!(names(aside.path()), ["a.txt"]);
        drop(aside);
        assert!(names(home.path()).is_empty());
        // What was there before stays.
        fs::create_dir(home.path().join("runs")).unwrap();
        drop(Aside::open(&home.path().join("runs")).unwrap());
        assert_eq!(names(home.path()), ["runs"]);
    }

    #[test]
    fn a_name_belongs_to_one_run() {
        let home = tempfile::tempdir().unwrap();
        let first = RunFolder::open(home.path(), "r").unwrap();
        let second = RunFolder::open(home.path(), "r").unwrap();
        assert_eq!((first.name(), second.name()), ("r", "r-2"));
        first.publish().unwrap();
        second.publish().unwrap();
        assert_eq!(RunFolder::open(home.path(), "r").unwrap().name(), "r-3");
        assert_eq!(names(home.path()), ["r", "r-2"]);
    }

    #[test]
    fn artefacts_stay_in_their_folder_and_are_made_once() {
        let home = tempfile::tempdir().unwrap();
        let mut folder = RunFolder::open(home.path(), "r").unwrap();
        for name in ["", ".", "..", "../x", "a/b", "/x"] {
            assert!(folder.create(name).is_err(), "{name}");
        }
        assert!(folder.create("a").is_ok());
        assert!(folder.create("a").is_err());
    }

    #[cfg(unix)]
    #[test]
    fn others_may_read_a_published_run_where_the_system_lets_them() {
        use std::os::unix::fs::PermissionsExt;
        let home = tempfile::tempdir().unwrap();
        let usual = home.path().join("usual");
        fs::create_dir(&usual).unwrap();
        let run = RunFolder::open(home.path(), "r").unwrap().publish().unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode(&run), mode(&usual));
    }
}
