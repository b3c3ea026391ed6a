//! The package of an order: the folder `order` of a run with all that bureau and client need, and `order.zip` with the same.
//!
//! Guarantees, each with its test in `tests/package.rs`:
//!
//! - Only what is ready to order is packed, and of it the very files that the record names: one whose digest is another by
//!   now is refused.
//! - The same run gives the same bytes: no time, host or path goes in. Within the ZIP file nothing is compressed, for what is
//!   large in it is so already; thus its bytes do not hang on a compressor either.
//! - A package appears whole or not at all. Where one is replaced, the old one stays until the new one is on the disk.

use std::fmt;
use std::fs::{self, File};
use std::io::{self, Read as _, Seek, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};
use turnhue_reports::package::{self, Ordered, ordered_files};
use turnhue_reports::record::{self, Record, Unreadable, Verdict};
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

use crate::diagnostic::Diagnostic;
use crate::disk::{copy_hashing, link, links_are_refused, seal, sync_folder};
use crate::run::{Failure, RECORD, disk_failure};
use crate::{exit, input};

/// The folder of the package in the run's.
pub const FOLDER: &str = "order";

/// The package in one file.
pub const ZIP: &str = "order.zip";

/// Digests of everything in the folder, as `b3sum --check` reads them.
const BLAKE3: &str = "digests-blake3.txt";

/// The same, as `sha256sum --check` reads them.
const SHA256: &str = "digests-sha256.txt";

/// Largest picture that a sheet takes in, in bytes: 64 MiB.
const LARGEST_PICTURE: u64 = 64 << 20;

/// Why there is no package.
#[derive(Debug)]
pub(crate) enum Unpacked {
    /// It could not be put together. The run is as good as before.
    Undrawn(String),
    /// An ordered file is not the one that the record names.
    Changed(String),
    /// The disk did not take it, or did not give what goes in.
    Disk(String, io::Error),
}

impl Unpacked {
    fn disk(what: impl fmt::Display, error: io::Error) -> Self {
        Self::Disk(format!("could not {what}"), error)
    }

    /// As what keeps a command from being done.
    fn failure(self) -> Failure {
        match self {
            Self::Undrawn(reason) => Failure::defect(&format!("the package could not be drawn: {reason}")),
            Self::Changed(what) => Failure::Changed(Box::new(
                Diagnostic::error(what).remedy("`turnhue verify` tells what else was changed; put it back from a copy"),
            )),
            Self::Disk(what, error) => disk_failure(&what, &error),
        }
    }
}

/// A file of the package, with all that is said of it.
struct Packed {
    name: String,
    what: &'static str,
    bytes: u64,
    blake3: String,
    sha256: String,
}

impl Packed {
    fn of(name: &str, what: &'static str, content: &[u8]) -> Self {
        Self {
            name: name.to_owned(),
            what,
            bytes: content.len() as u64,
            blake3: blake3::hash(content).to_hex().to_string(),
            sha256: hexadecimal(Sha256::digest(content)),
        }
    }
}

/// Puts the package of the run in the folder `run` into the folder `into`, which has none, and gives its files by their names
/// there. What is left where that fails is for whoever owns `into`.
pub(crate) fn put(record: &Record, run: &Path, into: &Path) -> Result<Vec<record::File>, Unpacked> {
    let artefacts = record.stages.iter().flat_map(|stage| &stage.artefacts);
    if let Some(taken) = artefacts.map(|file| file.name.as_str()).find(|name| [FOLDER, ZIP].contains(name)) {
        return Err(Unpacked::Undrawn(format!(
            "a stage made a file named {taken}, which is where the package would be"
        )));
    }
    let mut packed: Vec<Packed> = Vec::new();
    for file in ordered_files(record) {
        packed.push(measure(run, file)?);
    }
    let sheets = draw(record, run, &packed)?;
    let mut texts: Vec<(Packed, String)> = sheets
        .into_iter()
        .map(|sheet| (Packed::of(sheet.name, sheet.what, sheet.text.as_bytes()), sheet.text))
        .collect();
    let digests = [(BLAKE3, false), (SHA256, true)].map(|(name, sha256)| {
        let lines = packed.iter().chain(texts.iter().map(|(packed, _)| packed));
        let lines = lines.map(|file| format!("{}  {}\n", if sha256 { &file.sha256 } else { &file.blake3 }, file.name));
        let text: String = lines.collect();
        (Packed::of(name, "digests of the package", text.as_bytes()), text)
    });
    texts.extend(digests);

    let folder = into.join(FOLDER);
    fs::create_dir(&folder).map_err(|error| Unpacked::disk(format_args!("make {}", folder.display()), error))?;
    for file in &packed {
        take(&run.join(&file.name), &folder.join(&file.name), file)?;
    }
    for (file, text) in texts {
        let path = folder.join(&file.name);
        let write = || {
            let mut to = File::create_new(&path)?;
            to.write_all(text.as_bytes())?;
            to.sync_all()
        };
        write().map_err(|error| Unpacked::disk(format_args!("write {}", path.display()), error))?;
        packed.push(file);
    }
    let path = into.join(ZIP);
    let zip = zip(&path, &format!("{}-{}", record.commission, record.run), &folder, &packed)
        .and_then(|zip| sync_folder(&folder).map(|()| zip))
        .map_err(|error| Unpacked::disk(format_args!("write {}", path.display()), error))?;
    let files = packed.into_iter().map(|file| record::File {
        name: format!("{FOLDER}/{}", file.name),
        what: file.what.to_owned(),
        bytes: file.bytes,
        blake3: file.blake3,
    });
    Ok(files.chain([zip]).collect())
}

/// Reads an ordered file, which must be the one that the record names.
fn measure(run: &Path, file: &record::File) -> Result<Packed, Unpacked> {
    let path = run.join(&file.name);
    let read = || -> io::Result<(u64, String, String)> {
        let mut sha256 = Sha256::new();
        let read = copy_hashing(&File::open(&path)?, &mut sha256)?;
        Ok((read.bytes, read.hasher.finalize().to_hex().to_string(), hexadecimal(sha256.finalize())))
    };
    let (bytes, blake3, sha256) =
        read().map_err(|error| Unpacked::disk(format_args!("read {}", path.display()), error))?;
    if (bytes, &blake3) != (file.bytes, &file.blake3) {
        let message = format!("{} was changed since it was made: the record says {}", path.display(), file.blake3);
        return Err(Unpacked::Changed(message));
    }
    Ok(Packed { name: file.name.clone(), what: "an ordered file", bytes, blake3, sha256 })
}

/// Draws the sheets. What the record says cannot keep them from being drawn; not even a defect may take the run with it.
fn draw(record: &Record, run: &Path, ordered: &[Packed]) -> Result<Vec<package::Sheet>, Unpacked> {
    let files = ordered_files(record);
    let ordered: Vec<Ordered<'_>> =
        files.into_iter().zip(ordered).map(|(file, packed)| Ordered { file, sha256: &packed.sha256 }).collect();
    let picture = |name: &str| input::read(&run.join(name), LARGEST_PICTURE).ok();
    catch_unwind(AssertUnwindSafe(|| package::draw(record, &ordered, &picture)))
        .map_err(|_| Unpacked::Undrawn("a defect in the drawing of a sheet".to_owned()))?
        .map_err(|error| Unpacked::Undrawn(error.to_string()))
}

/// Gives an ordered file its name in the package: a further one where the disk has such, else that of a copy.
fn take(from: &Path, to: &Path, file: &Packed) -> Result<(), Unpacked> {
    let failed = |error: io::Error| Unpacked::disk(format_args!("put {} into the package", from.display()), error);
    match link(from, to) {
        Ok(true) => return Ok(()),
        Ok(false) => return Err(failed(io::ErrorKind::AlreadyExists.into())),
        Err(error) if links_are_refused(&error) => {}
        Err(error) => return Err(failed(error)),
    }
    let copied = File::open(from).and_then(|from| copy_hashing(&from, File::create_new(to)?)).map_err(failed)?;
    if copied.hasher.finalize().to_hex().as_str() != file.blake3 {
        return Err(Unpacked::Changed(format!("{} was changed while it was packed", from.display())));
    }
    seal(to).map_err(failed)
}

/// Writes the ZIP file: everything below a folder named after commission and run, so that two orders that are unpacked beside
/// each other do not mix.
fn zip(path: &Path, top: &str, folder: &Path, files: &[Packed]) -> io::Result<record::File> {
    let plain = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(DateTime::default())
        .unix_permissions(0o644);
    let mut zip = ZipWriter::new(File::options().read(true).write(true).create_new(true).open(path)?);
    for file in files {
        let large = file.bytes >= u64::from(u32::MAX);
        zip.start_file(format!("{top}/{}", file.name), plain.large_file(large))?;
        io::copy(&mut File::open(folder.join(&file.name))?.take(file.bytes), &mut zip)?;
    }
    let mut file = zip.finish()?;
    file.sync_all()?;
    file.rewind()?;
    let written = copy_hashing(&file, io::sink())?;
    Ok(record::File {
        name: ZIP.to_owned(),
        what: "the package in one file".to_owned(),
        bytes: written.bytes,
        blake3: written.hasher.finalize().to_hex().to_string(),
    })
}

/// The names of the package's files that are in a run folder; none where there is no package.
pub(crate) fn names_there(run: &Path) -> io::Result<Vec<String>> {
    let mut names = Vec::new();
    match fs::read_dir(run.join(FOLDER)) {
        Ok(entries) => {
            for entry in entries {
                names.push(format!("{FOLDER}/{}", entry?.file_name().to_string_lossy()));
            }
        }
        Err(error) if matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::NotADirectory) => {}
        Err(error) => return Err(error),
    }
    names.sort();
    names.extend(run.join(ZIP).is_file().then(|| ZIP.to_owned()));
    Ok(names)
}

/// A package that was made on its own.
#[derive(Clone, Debug)]
pub struct Packaged {
    /// The folder with the files.
    pub folder: PathBuf,
    /// The same in one file.
    pub zip: PathBuf,
    /// The files by their names in the folder around.
    pub names: Vec<String>,
    /// The record of the run.
    pub record: Record,
}

/// Why a run was not packed.
#[derive(Debug)]
pub enum NotPacked {
    /// There is no such run.
    NoRun(PathBuf, Unreadable),
    /// It should not be ordered, or there is nothing to order.
    NotReady(Box<Diagnostic>),
    /// There is something in the place of the package.
    Taken(PathBuf),
    /// It could not be done.
    Failed(Failure),
}

impl NotPacked {
    /// For people.
    #[must_use]
    pub fn in_words(&self) -> Diagnostic {
        match self {
            Self::NoRun(path, error) => {
                Diagnostic::error(format!("could not read the record {}: {error}", path.display()))
                    .remedy("name a run's folder, such as runs/COMMISSION/RUN")
            }
            Self::NotReady(fault) => (**fault).clone(),
            Self::Taken(path) => Diagnostic::error(format!("{} is there already", path.display()))
                .remedy("move it away, or name another folder with `--into DIR`"),
            Self::Failed(failure) => failure.in_words(),
        }
    }

    /// The exit code of the program.
    #[must_use]
    pub fn code(&self) -> u8 {
        match self {
            Self::NoRun(..) | Self::Taken(_) => exit::WRONG_JOB,
            Self::NotReady(_) => exit::FAULTS,
            Self::Failed(_) => exit::FAILED,
        }
    }
}

/// Makes the package of a run from its record and what lies in its folder: there, in the place of the one that it has, or in
/// another folder that has none.
///
/// # Errors
/// See [`NotPacked`].
pub fn pack(run: &Path, elsewhere: Option<&Path>) -> Result<Packaged, NotPacked> {
    let path = run.join(RECORD);
    let record = record::read(&path).map_err(|error| NotPacked::NoRun(path, error))?;
    ready(&record)?;
    let into = elsewhere.unwrap_or(run);
    let failed = |doing: &str, error: &io::Error| {
        NotPacked::Failed(disk_failure(&format!("could not {doing} {}", into.display()), error))
    };
    if elsewhere.is_some() {
        fs::create_dir_all(into).map_err(|error| failed("make", &error))?;
        if let Some(taken) =
            [FOLDER, ZIP].map(|name| into.join(name)).into_iter().find(|path| path.symlink_metadata().is_ok())
        {
            return Err(NotPacked::Taken(taken));
        }
    }
    let staged = tempfile::Builder::new().prefix(".order-").suffix(".unfinished").tempdir_in(into);
    let staged = staged.map_err(|error| failed("write in", &error))?;
    let files = put(&record, run, staged.path()).map_err(|why| NotPacked::Failed(why.failure()))?;
    replace(staged.path(), into).map_err(|error| failed("put the package into", &error))?;
    Ok(Packaged {
        folder: into.join(FOLDER),
        zip: into.join(ZIP),
        names: files.into_iter().map(|file| file.name).collect(),
        record,
    })
}

fn ready(record: &Record) -> Result<(), NotPacked> {
    let fault = match record.verdict {
        Verdict::HasFaults => {
            Diagnostic::error(format!("the piece of run {} has faults: it is not packed", record.run))
                .remedy("see to them first: the summary says what to do")
        }
        Verdict::NotValidated => {
            Diagnostic::error(format!("nothing measured the file to order of run {}: it is not packed", record.run))
                .remedy("end the chain with `validate`, and run the job again")
        }
        Verdict::ReadyToOrder if ordered_files(record).is_empty() => {
            Diagnostic::error(format!("run {} made no file to order", record.run))
                .remedy("put `colour` into the chain of its job, and run it again")
        }
        Verdict::ReadyToOrder => return Ok(()),
    };
    Err(NotPacked::NotReady(Box::new(fault)))
}

/// Puts what is in `staged` into its place; what was there goes when `staged` does. What fails is put back as it was.
fn replace(staged: &Path, into: &Path) -> io::Result<()> {
    let old = staged.join("old");
    fs::create_dir(&old)?;
    let mut undo: Vec<(PathBuf, PathBuf)> = Vec::new();
    let mut moved = |from: PathBuf, to: PathBuf| -> io::Result<()> {
        let done = fs::rename(&from, &to);
        match done {
            Ok(()) => undo.push((to, from)),
            Err(_) => undo.drain(..).rev().for_each(|(is, was)| drop(fs::rename(is, was))),
        }
        done
    };
    for name in [FOLDER, ZIP] {
        if into.join(name).symlink_metadata().is_ok() {
            moved(into.join(name), old.join(name))?;
        }
    }
    for name in [FOLDER, ZIP] {
        moved(staged.join(name), into.join(name))?;
    }
    sync_folder(into)
}

fn hexadecimal(digest: impl AsRef<[u8]>) -> String {
    digest.as_ref().iter().map(|byte| format!("{byte:02x}")).collect()
}
