//! The folder of a run, which appears whole or not at all.
//!
//! It is put together below `.unfinished/`, in a folder whose name says who does so. When all is done, every file is brought
//! to the disk, the folder renamed in one step, and the folder around it brought to the disk too. A run that fails, is stopped
//! or panics takes its folder away, with the folders made for it; what a killed program leaves is swept away by the next.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::TempDir;
use turnhue_reports::record;
use turnhue_stages::stage::Shelf;

use crate::disk::{plain_name, sync_folder};
use crate::ledger::{INPUTS, LEDGER, NIGHTS};
use crate::store::writer;

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

/// The folder of what is not finished, in the folder of all runs.
const UNFINISHED: &str = ".unfinished";

/// The run's own folder in the one that says who makes it.
const STAGED: &str = "run";

/// The folder of a run that is not finished.
#[derive(Debug)]
pub(crate) struct RunFolder {
    /// Goes with everything in it when this is dropped.
    _staged: TempDir,
    inner: PathBuf,
    parent: PathBuf,
    name: String,
    files: Vec<record::File>,
    /// Files that were written here, and are yet to be brought to the disk.
    written: Vec<String>,
    /// Folders made for this run around its own, outermost first.
    around: Vec<PathBuf>,
}

impl RunFolder {
    /// Makes the folder in which the run of that name is put together: below `.unfinished` in the folder of all runs, in one
    /// whose name says who makes it. `commission` is the folder of its commission's.
    pub(crate) fn open(into: &Path, commission: &str, name: &str) -> io::Result<Self> {
        let parent = into.join(commission);
        let around = make_folders(&parent)?;
        let unfinished = into.join(UNFINISHED);
        let made = writer::folder_below(&unfinished).and_then(|staged| {
            // The folder around is for its owner alone; this one will be published.
            let inner = staged.path().join(STAGED);
            fs::create_dir(&inner).map(|()| (staged, inner))
        });
        let (staged, inner) = made.inspect_err(|_| remove_folders(&around))?;
        let (files, written, name) = (Vec::new(), Vec::new(), name.to_owned());
        Ok(Self { _staged: staged, inner, parent, name, files, written, around })
    }

    /// Where the files are until the run is published.
    pub(crate) fn staged(&self) -> &Path {
        &self.inner
    }

    /// The files so far, with size and digest.
    pub(crate) fn files(&self) -> Vec<record::File> {
        self.files.clone()
    }

    /// Takes a file in that somebody put into the folder under its name, and brought to the disk.
    pub(crate) fn take(&mut self, file: &record::File) {
        self.files.push(file.clone());
    }

    /// Writes a file.
    pub(crate) fn write(&mut self, name: &str, what: &str, bytes: &[u8]) -> io::Result<()> {
        plain_name(name)?;
        let path = self.staged().join(name);
        let mut file = File::create_new(&path)?;
        file.write_all(bytes).inspect_err(|_| drop(fs::remove_file(&path)))?;
        let blake3 = blake3::hash(bytes).to_hex().to_string();
        self.files.push(record::File {
            name: name.to_owned(),
            what: what.to_owned(),
            bytes: bytes.len() as u64,
            blake3,
        });
        self.written.push(name.to_owned());
        Ok(())
    }

    /// Brings everything to the disk and puts the folder in its place. Where a folder of that name is there already, somebody
    /// else has made the same run meanwhile: theirs stays. Says whether that was so.
    pub(crate) fn publish(mut self) -> io::Result<(PathBuf, bool)> {
        let target = self.parent.join(&self.name);
        for name in &self.written {
            File::options().write(true).open(self.staged().join(name))?.sync_all()?;
        }
        sync_folder(self.staged())?;
        match fs::rename(self.staged(), &target) {
            Ok(()) => {}
            Err(error) if target.is_dir() => {
                tracing::debug!("{} was made by somebody else meanwhile: {error}", target.display());
                return Ok((target, true));
            }
            Err(error) => return Err(error),
        }
        // From here on the folder is the user's.
        self.around.clear();
        if let Err(error) = sync_folder(&self.parent) {
            // The run is in its place; only a power cut within moments could still take its name away.
            tracing::warn!("could not bring {} to the disk: {error}", self.parent.display());
        }
        Ok((target, false))
    }
}

impl Drop for RunFolder {
    fn drop(&mut self) {
        remove_folders(&self.around);
    }
}

/// Takes away what writers that are gone left unfinished, in the folder of all runs and in a commission's. The folder around
/// stays: others may be about to put something into it.
pub(crate) fn sweep(into: &Path, commission: &str) {
    writer::sweep(&into.join(UNFINISHED));
    let commission = into.join(commission);
    let nights = fs::read_dir(commission.join(NIGHTS)).into_iter().flatten().flatten().map(|night| night.path());
    let folders = [LEDGER, INPUTS].map(|name| commission.join(name));
    folders.into_iter().chain(nights).chain([commission]).for_each(|folder| writer::sweep_files(&folder));
}

/// Puts a file in the place of an older one, whole or not at all.
pub(crate) fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = writer::file_in(path.parent().unwrap_or(Path::new(".")), "page", 0o666)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    file.persist(path).map_err(|error| error.error)?;
    Ok(())
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

    fn run(home: &Path, name: &str) -> RunFolder {
        RunFolder::open(home, "C-1", name).unwrap()
    }

    #[test]
    fn a_run_appears_whole() {
        let home = tempfile::tempdir().unwrap();
        let into = home.path().join("runs");
        let mut folder = run(&into, "r");
        folder.write("a.txt", "letters", b"abc").unwrap();
        assert_eq!(names(&into.join("C-1")), [""; 0]);
        // BLAKE3 of "abc": the team's published test value, also printed by `b3sum`.
        let digest = "6437b3ac38465133ffb63b75273a8db548c558465d79db03fd359c6cd5bd9d85";
        assert_eq!(folder.files()[0].blake3, digest);
        let (target, was_there) = folder.publish().unwrap();
        assert_eq!((names(&into.join("C-1")), was_there), (vec!["r".to_owned()], false));
        assert_eq!(fs::read(target.join("a.txt")).unwrap(), b"abc");
        sweep(&into, "C-1");
        assert_eq!(names(&into), [UNFINISHED, "C-1"]);
        assert_eq!(names(&into.join(UNFINISHED)), [""; 0]);
    }

    #[test]
    fn an_abandoned_run_leaves_nothing() {
        let home = tempfile::tempdir().unwrap();
        let into = home.path().join("runs");
        let mut folder = run(&into, "r");
        folder.write("a.txt", "letters", b"abc").unwrap();
        drop(folder);
        sweep(&into, "C-1");
        assert_eq!(names(&into), [UNFINISHED]);
    }

    #[test]
    fn whoever_comes_second_leaves_the_first_ones_run_alone() {
        let home = tempfile::tempdir().unwrap();
        let (mut first, mut second) = (run(home.path(), "r"), run(home.path(), "r"));
        first.write("a.txt", "letters", b"abc").unwrap();
        second.write("a.txt", "letters", b"other").unwrap();
        assert!(!first.publish().unwrap().1);
        let (target, was_there) = second.publish().unwrap();
        assert!(was_there);
        assert_eq!(fs::read(target.join("a.txt")).unwrap(), b"abc");
        assert_eq!(names(&home.path().join("C-1")), ["r"]);
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
    fn files_stay_in_their_folder_and_are_made_once() {
        let home = tempfile::tempdir().unwrap();
        let mut folder = run(home.path(), "r");
        for name in ["", ".", "..", "../x", "a/b", "/x"] {
            assert!(folder.write(name, "", b"").is_err(), "{name}");
        }
        assert!(folder.write("a", "", b"").is_ok());
        assert!(folder.write("a", "", b"").is_err());
    }

    #[cfg(unix)]
    #[test]
    fn others_may_read_a_published_run_where_the_system_lets_them() {
        use std::os::unix::fs::PermissionsExt;
        let home = tempfile::tempdir().unwrap();
        let usual = home.path().join("usual");
        fs::create_dir(&usual).unwrap();
        let (run, _) = run(home.path(), "r").publish().unwrap();
        let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode();
        assert_eq!(mode(&run), mode(&usual));
    }
}
