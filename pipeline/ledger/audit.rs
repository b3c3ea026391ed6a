//! Whether a commission is as its ledger says: the chain of entries, and every file that they name.
//!
//! 1. The chain is walked, and what entries name is gathered; where two name a file, the later one holds.
//! 2. Folders are compared with that by names: what is missing and what was added.
//! 3. Every named file that is there is measured, several at a time: size first, then digest.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::chain::{Entry, Head};
use super::deeds::{Deed, Sealed};
use super::folders::{self, Kind};
use super::page::PAGE;
use super::values::{FileName, PlainName};
use super::{INPUTS, LEDGER, Ledger, NIGHTS, Trouble, segments};
use crate::diagnostic::Diagnostic;
use crate::digest::Digest;

/// The description that an export adds to a commission's folder.
pub(super) const DESCRIPTION: &str = "ro-crate-metadata.json";
/// The same for people, as RO-Crate 1.1 names it ("RO-Crate Website").
pub(super) const PREVIEW: &str = "ro-crate-preview.html";

/// So many digits of a head are enough to tell it.
const FEWEST_DIGITS: usize = 16;

/// What came of looking at a commission.
#[derive(Clone, Debug)]
pub struct Audit {
    /// The commission's folder.
    pub commission: PathBuf,
    /// How many entries could be read.
    pub entries: usize,
    /// The end of the chain, if the chain is whole.
    pub head: Option<Head>,
    /// How many files were measured.
    pub files: usize,
    /// Their size together.
    pub bytes: u64,
    /// What is not as the ledger says.
    pub faults: Vec<Diagnostic>,
    /// What to look at.
    pub cautions: Vec<Diagnostic>,
}

impl Audit {
    /// Whether all is as the ledger says.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.faults.is_empty()
    }
}

impl fmt::Display for Audit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let verdict = match self.faults.len() {
            0 => "whole".to_owned(),
            1 => "not whole: 1 fault".to_owned(),
            faults => format!("not whole: {faults} faults"),
        };
        writeln!(f, "{}: {verdict}", self.commission.display())?;
        writeln!(f, "  entries  {}", self.entries)?;
        #[allow(clippy::cast_precision_loss, reason = "to three digits")]
        writeln!(f, "  files    {} ({:.1} MB) measured", self.files, self.bytes as f64 / 1e6)?;
        if let Some(head) = self.head {
            writeln!(f, "  head     {}", head.digest)?;
            writeln!(
                f,
                "Keep the head elsewhere, in a mail or on paper: `turnhue verify --head` then tells also whether"
            )?;
            writeln!(f, "the newest entries were cut off or all of them written anew.")?;
        }
        Ok(())
    }
}

/// A head that was kept elsewhere: a digest, or at least 16 digits of its beginning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct KnownHead(String);

impl std::str::FromStr for KnownHead {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let digits = text.trim().to_ascii_lowercase();
        let hex = digits.bytes().all(|b| b.is_ascii_hexdigit());
        if hex && (FEWEST_DIGITS..=64).contains(&digits.len()) {
            Ok(Self(digits))
        } else {
            Err(format!("'{text}' is no head: at least {FEWEST_DIGITS} of its 64 digits 0-9 and a-f are expected"))
        }
    }
}

/// Looks at a commission. A known head must stand in the chain.
///
/// # Errors
/// [`Trouble::Wrong`] if the folder is none of a commission, [`Trouble::Disk`] if a folder cannot be listed. What is not
/// whole is no error here: see [`Audit::faults`].
pub fn audit(commission: &Path, known: Option<&KnownHead>) -> Result<Audit, Trouble> {
    let ledger = Ledger::of(commission);
    if !ledger.folder().is_dir() {
        let fault = Diagnostic::error(format!("{} has no ledger", commission.display()));
        return Err(Trouble::wrong(fault.remedy(
            "name a commission's folder, such as runs/COMMISSION; runs from before there were ledgers have none: run their \
             jobs again",
        )));
    }
    let mut named = Named::default();
    let mut heads = BTreeSet::new();
    let walk = ledger.walk(&mut |entry| {
        heads.insert(entry.digest);
        named.take(&entry);
    })?;
    let (head, mut cautions) = (walk.head(), walk.cautions.clone());
    let mut faults = walk.into_faults();
    let is_chain_whole = faults.is_empty();
    if let Some(fault) = known.and_then(|known| unknown_head(known, &heads)) {
        faults.push(fault);
    }
    let mut look =
        Look { commission, is_chain_whole, faults: &mut faults, cautions: &mut cautions, measures: Vec::new() };
    look.at_ledger()?;
    look.at_inputs(&named)?;
    look.at_nights(&named)?;
    look.at_runs(&named)?;
    look.at_orders(&named);
    let measures = look.measures;
    let measured: Vec<Option<Diagnostic>> = measures.par_iter().map(Measure::take).collect();
    faults.extend(measured.into_iter().flatten());
    Ok(Audit {
        commission: commission.to_owned(),
        entries: heads.len(),
        head: head.filter(|head| head.seq > 0),
        files: measures.len(),
        bytes: measures.iter().map(|measure| measure.bytes).sum(),
        faults,
        cautions,
    })
}

/// What is not as entries say in the folder of one run.
pub(super) fn of_run(commission: &Path, run: &PlainName, entries: &[Entry]) -> Result<Vec<Diagnostic>, Trouble> {
    let mut named = Named::default();
    entries.iter().filter(|entry| entry.deed.run() == Some(run)).for_each(|entry| named.take(entry));
    let (mut faults, mut cautions) = (Vec::new(), Vec::new());
    let mut look =
        Look { commission, is_chain_whole: true, faults: &mut faults, cautions: &mut cautions, measures: Vec::new() };
    match named.runs.get(run) {
        Some(files) => look.at_folder(Path::new(run.as_str()), files)?,
        None => look.unnamed(Path::new(run.as_str())),
    }
    let measured: Vec<Option<Diagnostic>> = look.measures.par_iter().map(Measure::take).collect();
    faults.extend(measured.into_iter().flatten());
    Ok(faults)
}

fn unknown_head(known: &KnownHead, heads: &BTreeSet<Digest>) -> Option<Diagnostic> {
    let stands = heads.iter().any(|head| head.to_string().starts_with(&known.0));
    (!stands).then(|| {
        Diagnostic::error(format!("no entry has the digest {}, which was the head once", known.0)).remedy(
            "see that the head belongs to this commission; if it does, the newest entries were cut off or the ledger was \
             written anew: put it back from a copy",
        )
    })
}

/// A file that an entry names.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Expected {
    bytes: u64,
    digest: Digest,
    /// The entry.
    seq: u64,
}

type Files = BTreeMap<FileName, Expected>;

/// What entries name.
#[derive(Default)]
struct Named {
    runs: BTreeMap<PlainName, Files>,
    nights: BTreeMap<PlainName, Files>,
    inputs: Files,
    orders: Vec<(PlainName, FileName, Expected)>,
}

impl Named {
    fn take(&mut self, entry: &Entry) {
        let seq = entry.seq;
        let expected = |file: &Sealed| Expected { bytes: file.bytes, digest: file.blake3, seq };
        let all = |files: &[Sealed]| files.iter().map(|file| (file.name.clone(), expected(file))).collect::<Files>();
        match &entry.deed {
            Deed::Run(run) => drop(self.runs.insert(run.run.clone(), all(&run.files))),
            Deed::Redrawn(redrawn) => {
                let files = self.runs.entry(redrawn.run.clone()).or_default();
                let within = |name: &FileName| name.parts().0.map(str::to_owned);
                let folders: BTreeSet<String> = redrawn.files.iter().filter_map(|file| within(&file.name)).collect();
                files.retain(|name, _| within(name).is_none_or(|folder| !folders.contains(&folder)));
                files.extend(all(&redrawn.files));
            }
            Deed::Night(night) => drop(self.nights.insert(night.night.clone(), all(&night.files))),
            Deed::Order(order) => {
                self.orders.extend(order.files().map(|file| (order.run.clone(), file.name.clone(), expected(file))));
            }
            Deed::FailedRun(_) | Deed::Choice(_) | Deed::Delivery(_) | Deed::Note(_) => {}
        }
        for input in entry.deed.inputs() {
            self.inputs.insert(input.kept.clone().into(), Expected { bytes: input.bytes, digest: input.blake3, seq });
        }
    }
}

/// Parts files from those that lie in folders.
fn by_folder(files: &Files) -> (Files, BTreeMap<&str, Files>) {
    let (mut own, mut within) = (Files::new(), BTreeMap::<&str, Files>::new());
    for (file, &expected) in files {
        match file.parts() {
            (None, _) => drop(own.insert(file.clone(), expected)),
            (Some(folder), name) => {
                // The parts of a file's name are names of files.
                within.entry(folder).or_default().extend(name.parse().map(|name: FileName| (name, expected)));
            }
        }
    }
    (own, within)
}

/// A file to measure.
struct Measure {
    path: PathBuf,
    bytes: u64,
    digest: Digest,
    seq: u64,
}

impl Measure {
    /// What is wrong with it.
    fn take(&self) -> Option<Diagnostic> {
        let shown = self.path.display();
        let said = format!("entry {} says {} bytes with digest {}", self.seq, self.bytes, self.digest);
        let size = match self.path.symlink_metadata() {
            Ok(about) => about.len(),
            Err(error) => return Some(changed(&format!("{shown} could not be read: {error}"), &said)),
        };
        if size != self.bytes {
            return Some(changed(&format!("{shown} was changed: it has {size} bytes"), &said));
        }
        match folders::measure(&self.path) {
            Ok((_, digest)) if digest == self.digest => None,
            Ok((_, digest)) => Some(changed(&format!("{shown} was changed: it has digest {digest}"), &said)),
            Err(error) => Some(changed(&format!("{shown} could not be read: {error}"), &said)),
        }
    }
}

fn changed(message: &str, said: &str) -> Diagnostic {
    Diagnostic::error(format!("{message}; {said}")).remedy(
        "put the file back from a copy, or remove its whole run folder and run the job again: the same job gives the \
         same bytes",
    )
}

/// Compares folders with what is named, and gathers what is to be measured.
struct Look<'a> {
    commission: &'a Path,
    /// Whether every entry could be read: a damaged one may be what names a folder.
    is_chain_whole: bool,
    faults: &'a mut Vec<Diagnostic>,
    cautions: &'a mut Vec<Diagnostic>,
    measures: Vec<Measure>,
}

impl Look<'_> {
    fn at_ledger(&mut self) -> Result<(), Trouble> {
        let folder = self.commission.join(LEDGER);
        let listing = segments::list(&folder).map_err(|error| Trouble::disk("list", &folder, &error))?;
        listing.others.iter().for_each(|name| self.added(&folder.join(name)));
        listing.unfinished.iter().for_each(|name| self.unfinished(&folder.join(name)));
        Ok(())
    }

    fn at_inputs(&mut self, named: &Named) -> Result<(), Trouble> {
        let folder = Path::new(INPUTS);
        let listed = self.list(folder)?;
        self.missing(folder, &named.inputs, &listed);
        for (name, kind) in listed {
            let path = self.commission.join(folder).join(&name);
            let expected = name.parse::<FileName>().ok().and_then(|name| named.inputs.get(&name));
            match (kind, expected) {
                (Kind::File, Some(&expected)) => self.measure(path, expected),
                (Kind::File, None) if is_kept_input(&path, &name) => self.cautions.push(
                    Diagnostic::caution(format!("{} is an input that no entry names", path.display()))
                        .remedy("a run was stopped before it was recorded; you may remove the file"),
                ),
                _ => self.stranger(&path, &name),
            }
        }
        Ok(())
    }

    fn at_nights(&mut self, named: &Named) -> Result<(), Trouble> {
        let folder = Path::new(NIGHTS);
        self.at_folders(folder, &named.nights, &[])
    }

    fn at_runs(&mut self, named: &Named) -> Result<(), Trouble> {
        self.at_folders(Path::new(""), &named.runs, &[LEDGER, INPUTS, NIGHTS])
    }

    /// A folder of folders of files. Those in `own` are looked at elsewhere.
    fn at_folders(&mut self, around: &Path, named: &BTreeMap<PlainName, Files>, own: &[&str]) -> Result<(), Trouble> {
        for (name, files) in named {
            self.at_folder(&around.join(name), files)?;
        }
        for (name, kind) in self.list(around)? {
            let known = name.parse::<PlainName>().is_ok_and(|name| named.contains_key(&name));
            let relative = around.join(&name);
            let path = self.commission.join(&relative);
            if kind == Kind::Folder && (known || own.contains(&name.as_str())) {
                continue;
            } else if around == Path::new("") && kind == Kind::File && name == PAGE {
                // Drawn from the record, and no part of it.
            } else if around == Path::new("") && [DESCRIPTION, PREVIEW].contains(&name.as_str()) {
                self.cautions.push(Diagnostic::caution(format!(
                    "{} is the description of an export, and no entry names it: it is not checked",
                    path.display()
                )));
            } else if kind == Kind::Folder && !folders::is_unfinished(&name) {
                self.unnamed(&relative);
            } else {
                self.stranger(&path, &name);
            }
        }
        Ok(())
    }

    /// A folder of files, and of folders that hold some of the files.
    fn at_folder(&mut self, folder: &Path, files: &Files) -> Result<(), Trouble> {
        let (files, within) = by_folder(files);
        self.at_files(folder, &files, &within)?;
        for (name, files) in &within {
            self.at_files(&folder.join(name), files, &BTreeMap::new())?;
        }
        Ok(())
    }

    /// The files of one folder, in which there are these folders besides.
    fn at_files(&mut self, folder: &Path, files: &Files, within: &BTreeMap<&str, Files>) -> Result<(), Trouble> {
        let path = self.commission.join(folder);
        if !path.symlink_metadata().is_ok_and(|about| about.is_dir()) {
            let seq = files.values().map(|file| file.seq).max().unwrap_or(0);
            self.faults.push(
                Diagnostic::error(format!(
                    "{} is missing: entry {seq} names it, with {} files",
                    path.display(),
                    files.len()
                ))
                .remedy("put the folder back from a copy, or run its job again: the same job gives the same bytes"),
            );
            return Ok(());
        }
        let listed = self.list(folder)?;
        self.missing(folder, files, &listed);
        for (name, kind) in listed {
            let path = path.join(&name);
            let expected = name.parse::<FileName>().ok().and_then(|name| files.get(&name));
            match (kind, expected) {
                (Kind::File, Some(&expected)) => self.measure(path, expected),
                (Kind::Folder, None) if within.contains_key(name.as_str()) => {}
                (_, Some(_)) => {
                    self.faults.push(changed(&format!("{} is not a file", path.display()), "a file was expected"));
                }
                (_, None) => self.stranger(&path, &name),
            }
        }
        Ok(())
    }

    /// The ordered file must still be the one that was ordered, whatever later runs wrote there.
    fn at_orders(&mut self, named: &Named) {
        for (run, file, ordered) in &named.orders {
            let now = named.runs.get(run).and_then(|files| files.get(file));
            if now.is_none_or(|now| (now.digest, now.bytes) != (ordered.digest, ordered.bytes)) {
                let path = self.commission.join(run).join(file);
                self.measure(path, *ordered);
            }
        }
    }

    fn list(&self, folder: &Path) -> Result<BTreeMap<String, Kind>, Trouble> {
        let path = self.commission.join(folder);
        match folders::list(&path) {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(BTreeMap::new()),
            listed => listed.map_err(|error| Trouble::disk("list", &path, &error)),
        }
    }

    fn measure(&mut self, path: PathBuf, Expected { bytes, digest, seq }: Expected) {
        self.measures.push(Measure { path, bytes, digest, seq });
    }

    fn missing(&mut self, folder: &Path, files: &Files, listed: &BTreeMap<String, Kind>) {
        for (name, expected) in files.iter().filter(|(name, _)| !listed.contains_key(name.as_str())) {
            let path = self.commission.join(folder).join(name);
            let said = format!("entry {} names it with digest {}", expected.seq, expected.digest);
            self.faults.push(changed(&format!("{} is missing", path.display()), &said));
        }
    }

    /// Something that no entry names: left over by a stopped writer, or added.
    fn stranger(&mut self, path: &Path, name: &str) {
        if folders::is_unfinished(name) { self.unfinished(path) } else { self.added(path) }
    }

    fn added(&mut self, path: &Path) {
        self.faults.push(
            Diagnostic::error(format!("{} was added: no entry names it", path.display()))
                .remedy("move it out of the commission's folder; what is to be kept goes into a note"),
        );
    }

    fn unnamed(&mut self, folder: &Path) {
        let remedy = if self.is_chain_whole {
            "if it is a run that was stopped before it was recorded, run its job again, and it will be; otherwise move it \
             out of the commission's folder"
        } else {
            "the entry that names it may be a damaged one: mend the ledger first"
        };
        let fault = format!("no entry names the folder {}", self.commission.join(folder).display());
        self.faults.push(Diagnostic::error(fault).remedy(remedy));
    }

    fn unfinished(&mut self, path: &Path) {
        self.cautions.push(
            Diagnostic::caution(format!("{} was not finished", path.display()))
                .remedy("if no run is at work here, its writer was stopped: you may remove it"),
        );
    }
}

/// Whether a file is what its name says: the digest of its bytes.
fn is_kept_input(path: &Path, name: &str) -> bool {
    let digest = name.split('.').next().and_then(|digest| digest.parse::<Digest>().ok());
    digest.is_some_and(|digest| folders::measure(path).is_ok_and(|(_, is)| is == digest))
}
