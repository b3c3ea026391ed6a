//! Publishing: results appear whole, with every file that they name, or not at all.
//!
//! 1. What was made is brought to the disk where it lies, files and result, and made read-only.
//! 2. Files get their names by digest; a name that is taken holds the same bytes.
//! 3. The folders of these names are brought to the disk.
//! 4. Results get their names by key.
//! 5. The folders of these are brought to the disk.
//!
//! Whatever the moment at which the power goes, a result that is there names nothing that is not. No step takes a lock:
//! every name that is given is given at once and to one. Steps are taken for a number of results together, since waiting
//! for the disk is what takes long.

use std::collections::BTreeSet;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use turnhue_stages::stage::Outcome;
use turnhue_stages::workpiece::{Part, Workpiece};

use super::key::Key;
use super::result::{self, Entry, StoredPart};
use super::{Draft, Store};
use crate::diagnostic::Diagnostic;
use crate::digest::Digest;
use crate::disk::{all_at_once, link, links_are_refused, seal, sync_folder};

/// What a stage has done.
#[derive(Debug)]
pub struct Done {
    /// The key of the result.
    pub key: Key,
    /// The stage's name.
    pub stage: String,
    /// The stage's version.
    pub version: u32,
    /// How long it took, in seconds.
    pub seconds: f64,
    /// What it said and made.
    pub outcome: Outcome,
    /// The piece that it was given.
    pub before: Workpiece,
    /// The piece that it gave.
    pub after: Workpiece,
}

/// A result on its way.
struct UnderWay {
    draft: Draft,
    entry: Entry,
    /// The result's own file, not in its place yet.
    result: PathBuf,
    /// The files that it names, and where they lie.
    files: Vec<(PathBuf, Digest)>,
}

impl Store {
    /// Publishes one result: see [`Self::publish_all`].
    ///
    /// # Errors
    /// As there.
    pub fn publish(&self, draft: Draft, done: &Done) -> io::Result<Entry> {
        self.publish_all([(draft, done)]).pop().unwrap_or_else(|| Err(io::Error::other("nothing was published")))
    }

    /// Publishes results, each with the files of its draft, and gives for each, in order, what is kept under its key from
    /// now on: where another writer came first, that one's. Many at once take little longer than one.
    ///
    /// An error is that of one result, which is not published then, while the others are.
    pub fn publish_all<'a>(&self, done: impl IntoIterator<Item = (Draft, &'a Done)>) -> Vec<io::Result<Entry>> {
        let mut all: Vec<io::Result<UnderWay>> =
            done.into_iter().map(|(draft, done)| self.prepare(draft, done)).collect();
        each_path(&mut all, UnderWay::own_files, seal);
        for one in &mut all {
            then(one, |under_way| self.put_files(under_way));
        }
        each_path(&mut all, |under_way| self.folders_of_files(under_way), sync_folder);
        for one in &mut all {
            then(one, |under_way| self.put_result(under_way));
        }
        each_path(&mut all, |under_way| self.folders_of_result(under_way), sync_folder);
        all.into_iter().map(|one| one.map(|under_way| under_way.entry)).collect()
    }

    /// The piece with its files to order where the store keeps them, after its result was published.
    #[must_use]
    pub fn settled(&self, piece: Workpiece, entry: &Entry) -> Workpiece {
        match &entry.order {
            Some(_) => piece.with_orders(entry.stored_orders().map(|order| self.ordered(order))),
            None => piece,
        }
    }

    /// Writes the result beside its draft.
    fn prepare(&self, draft: Draft, done: &Done) -> io::Result<UnderWay> {
        let change = done.after.change_since(&done.before);
        let made = change.made.iter().filter_map(|&part| Some((part, done.after.to_bytes(part)?)));
        let (names, parts): (Vec<Part>, Vec<Vec<u8>>) = made.unzip();
        let stored = |(&part, bytes): (&Part, &Vec<u8>)| StoredPart {
            part,
            bytes: bytes.len() as u64,
            blake3: Digest::of(bytes),
        };
        let orders = if change.made.contains(&Part::Order) { done.after.orders() } else { &[] };
        let mut orders = orders.iter().map(|order| draft.order(order)).collect::<io::Result<Vec<_>>>()?.into_iter();
        let files = done.outcome.artefacts.iter().map(|made| draft.file(made)).collect::<io::Result<Vec<_>>>()?;
        let entry = Entry {
            key: done.key,
            stage: done.stage.clone(),
            version: done.version,
            seconds: done.seconds,
            facts: done.outcome.facts.clone(),
            findings: done.outcome.findings.clone(),
            parts: names.iter().zip(&parts).map(stored).collect(),
            gone: change.gone,
            order: orders.next(),
            more_orders: orders.collect(),
            artefacts: files.iter().map(|(file, _)| file.clone()).collect(),
        };
        let result = draft.folder().with_extension("result");
        let files = files.into_iter().map(|(file, digest)| (draft.folder().join(file.name), digest)).collect();
        let mut under_way = UnderWay { draft, entry, result, files };
        // From here on it goes when the draft goes.
        under_way.draft.held.insert(under_way.result.clone());
        let mut out = io::BufWriter::new(File::create_new(&under_way.result)?);
        result::write(&under_way.entry, &parts, &mut out)?;
        let file = out.into_inner()?;
        // When it was used last is told by the run's clock from the beginning.
        file.set_modified(self.now)?;
        Ok(under_way)
    }

    /// Gives every file its name by digest.
    fn put_files(&self, under_way: &mut UnderWay) -> io::Result<()> {
        for (number, (from, digest)) in under_way.files.iter().enumerate() {
            let to = self.folders.file(*digest);
            let held = under_way.draft.folder().with_extension(format!("held-{number}"));
            if self.put_file(from, &to, (&held, *digest))? {
                self.checked().insert(*digest);
            } else {
                under_way.draft.held.insert(held);
            }
        }
        Ok(())
    }

    /// Gives a file its name, or holds the one that has it. Tells whether it was this one that got it.
    fn put_file(&self, from: &Path, to: &Path, (held, digest): (&Path, Digest)) -> io::Result<bool> {
        let bytes = fs::metadata(from)?.len();
        // A name may be taken, and free again a moment later, where somebody tidies; not for long.
        for _ in 0..8 {
            if put(from, to)? {
                return Ok(true);
            }
            match fs::symlink_metadata(to) {
                // What is damaged makes room for this one: later stages read it under that name.
                Ok(there) if there.is_file() && there.len() == bytes => {
                    if self.file(digest).is_none() {
                        continue;
                    }
                }
                Ok(_) => self.set_aside(to, None, "a file by digest", "it has another size than what it should hold"),
                Err(error) if error.kind() == io::ErrorKind::NotFound => continue,
                Err(error) => return Err(error),
            }
            match link(to, held) {
                Ok(_) => return Ok(false),
                // Not to be held, but there.
                Err(error) if links_are_refused(&error) => return Ok(false),
                Err(error) if error.kind() == io::ErrorKind::NotFound => {}
                Err(error) => return Err(error),
            }
        }
        Err(io::Error::other(format!("{} comes and goes", to.display())))
    }

    /// Gives the result its name, or takes what another writer made of the same key.
    fn put_result(&self, under_way: &mut UnderWay) -> io::Result<()> {
        let to = self.folders.result(&under_way.entry.key);
        if put(&under_way.result, &to)? {
            return Ok(());
        }
        match self.find(&under_way.entry.key) {
            Some(first) => {
                if !first.says_the_same(&under_way.entry) {
                    self.tell(different(&first));
                }
                under_way.entry = first;
                Ok(())
            }
            // It was damaged, or named what is not there: ours takes its place, at once for all who look.
            None => fs::rename(&under_way.result, &to),
        }
    }

    /// The folders whose names must be on the disk before a result names its files. Also where another writer put the
    /// file, who may not have come so far yet.
    fn folders_of_files(&self, under_way: &UnderWay) -> Vec<PathBuf> {
        let files: Vec<PathBuf> = under_way.files.iter().map(|(_, digest)| self.folders.file(*digest)).collect();
        around(&files, &self.folders.files)
    }

    fn folders_of_result(&self, under_way: &UnderWay) -> Vec<PathBuf> {
        around(&[self.folders.result(&under_way.entry.key)], &self.folders.results)
    }
}

impl UnderWay {
    fn own_files(&self) -> Vec<PathBuf> {
        self.files.iter().map(|(path, _)| path.clone()).chain([self.result.clone()]).collect()
    }
}

fn around(paths: &[PathBuf], above: &Path) -> Vec<PathBuf> {
    let above = (!paths.is_empty()).then(|| above.to_owned());
    paths.iter().filter_map(|path| path.parent().map(Path::to_owned)).chain(above).collect()
}

/// Gives a file a further name, for as long as it keeps the first, and makes the folder of that name if it is not there.
/// Where a file system knows one name for each file only, the file moves. Tells whether it got the name.
fn put(from: &Path, to: &Path) -> io::Result<bool> {
    let put = || match link(from, to) {
        Err(error) if links_are_refused(&error) && !to.exists() => fs::rename(from, to).map(|()| true),
        other => other,
    };
    match (put(), to.parent()) {
        // Another writer may make the folder between this one's two looks at it: it is not looked at, but made.
        (Err(error), Some(folder)) if error.kind() == io::ErrorKind::NotFound => {
            fs::create_dir_all(folder)?;
            put()
        }
        (answer, _) => answer,
    }
}

/// Takes one a step further, if it has come so far.
fn then(one: &mut io::Result<UnderWay>, act: impl FnOnce(&mut UnderWay) -> io::Result<()>) {
    if let Ok(under_way) = one
        && let Err(error) = act(under_way)
    {
        *one = Err(error);
    }
}

/// Does the same to the paths of all at once, each once. Who has a path that fails has come to its end.
fn each_path(
    all: &mut [io::Result<UnderWay>],
    paths_of: impl Fn(&UnderWay) -> Vec<PathBuf>,
    act: impl Fn(&Path) -> io::Result<()> + Sync,
) {
    let paths: BTreeSet<PathBuf> = all.iter().flatten().flat_map(&paths_of).collect();
    let paths: Vec<PathBuf> = paths.into_iter().collect();
    let failed = paths.iter().zip(all_at_once(&paths, act)).filter_map(|(path, answer)| Some((path, answer.err()?)));
    for (path, error) in failed {
        for one in all.iter_mut() {
            // Errors cannot be copied; what they say can.
            let again = || io::Error::new(error.kind(), format!("{}: {error}", path.display()));
            then(one, |under_way| if paths_of(under_way).contains(path) { Err(again()) } else { Ok(()) });
        }
    }
}

fn different(first: &Entry) -> Diagnostic {
    Diagnostic::caution(format!(
        "the stage `{}` came to another result than the one that is kept under the same key {}",
        first.stage, first.key
    ))
    .remedy("the same input must give the same bytes: report it as a defect with the job; the kept result was taken")
}
