//! A commission as others can read it: a copy of its folder with a description by the Process Run Crate profile 0.5 of
//! RO-Crate 1.1 (<https://w3id.org/ro/wfrun/process/0.5>).
//!
//! The copy is a commission's folder too: `verify` takes it. The same record gives the same bytes, whenever and wherever
//! it is exported: the date is SOURCE_DATE_EPOCH, or that of the last entry.

mod description;

use std::collections::BTreeMap;
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use super::audit::{DESCRIPTION, PREVIEW, audit};
use super::chain::Entry;
use super::deeds::{Deed, Sealed};
use super::page::{self, PAGE};
use super::{INPUTS, LEDGER, Ledger, NIGHTS, Trouble, folders, segments};
use crate::clock::Moment;
use crate::diagnostic::Diagnostic;
use crate::digest::Digest;
use crate::disk::sync_folder;

/// What to export, and what to say of it that no entry tells.
#[derive(Clone, Debug)]
pub struct ExportRequest {
    /// The commission's folder.
    pub commission: PathBuf,
    /// The new folder.
    pub to: PathBuf,
    /// Who made the pieces and hands the record out.
    pub by: Option<String>,
    /// The URL of the licence.
    pub licence: Option<String>,
    /// The date of the export; that of the last entry unless given.
    pub epoch: Option<Moment>,
}

/// The moment that SOURCE_DATE_EPOCH names (<https://reproducible-builds.org/specs/source-date-epoch/>), if it is set.
///
/// # Errors
/// [`Trouble::Wrong`] if it is no number of seconds.
pub fn epoch() -> Result<Option<Moment>, Trouble> {
    /// The end of the year 9999: later dates have no four-digit year.
    const LATEST: u64 = 253_402_300_799;
    let Some(text) = std::env::var_os("SOURCE_DATE_EPOCH") else { return Ok(None) };
    let seconds = text.to_str().and_then(|text| text.parse::<u64>().ok()).filter(|&seconds| seconds <= LATEST);
    seconds.map(|seconds| Some(Moment(seconds))).ok_or_else(|| {
        let fault = format!("SOURCE_DATE_EPOCH is '{}', which is no date", text.to_string_lossy());
        Trouble::wrong(Diagnostic::error(fault).remedy("set it to seconds since 1970-01-01T00:00:00Z, or unset it"))
    })
}

/// Exports a commission that is whole; the new folder appears whole or not at all. Gives the number of files copied.
///
/// # Errors
/// [`Trouble::NotWhole`] if the commission is not as its ledger says, [`Trouble::Wrong`] if the new folder is there
/// already or the ledger is empty, [`Trouble::Disk`] if files cannot be copied.
pub fn export(request: &ExportRequest) -> Result<usize, Trouble> {
    if let Some(licence) = request.licence.as_ref().filter(|licence| !is_url(licence)) {
        let fault = format!("'{licence}' is no URL of a licence");
        return Err(Trouble::wrong(
            Diagnostic::error(fault).remedy("give one such as https://creativecommons.org/licenses/by/4.0/"),
        ));
    }
    if request.to.symlink_metadata().is_ok() {
        let fault = Diagnostic::error(format!("{} is there already", request.to.display()));
        return Err(Trouble::wrong(fault.remedy("name a new folder with `--to`")));
    }
    let audit = audit(&request.commission, None)?;
    if !audit.is_whole() {
        let doing = "looking at what is to be exported";
        return Err(Trouble::NotWhole(audit.faults.into_iter().map(|fault| fault.during(doing)).collect()));
    }
    let entries = Ledger::of(&request.commission).read()?;
    let Some(last) = entries.last() else {
        let fault = Diagnostic::error(format!("nothing is recorded in {}", request.commission.display()));
        return Err(Trouble::wrong(fault.remedy("run a job of the commission first")));
    };
    let disk = |error: io::Error| Trouble::disk("export to", &request.to, &error);
    let mut files = named(&entries);
    files.insert(LEDGER.to_owned(), segments_of(&request.commission).map_err(disk)?);
    let date = request.epoch.unwrap_or(last.time);
    let description = description::of(request, &entries, &files, date);
    let page = page::of_copy(&request.commission, &entries, &audit).map_err(|why| disk(io::Error::other(why)))?;
    // Pages of runs and nights lead to the commission's by its own name.
    copy(request, &files, &[(DESCRIPTION, &description), (PREVIEW, &page), (PAGE, &page)]).map_err(disk)?;
    Ok(files.values().map(BTreeMap::len).sum())
}

fn is_url(text: &str) -> bool {
    let rest = text.strip_prefix("https://").or_else(|| text.strip_prefix("http://"));
    rest.is_some_and(|rest| {
        !rest.is_empty() && rest.bytes().all(|b| b.is_ascii_graphic() && !b"\"<>\\^`{|}".contains(&b))
    })
}

/// Size and digest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Content {
    bytes: u64,
    digest: Digest,
}

/// Files by their folder in the commission's, then by name.
type Files = BTreeMap<String, BTreeMap<String, Content>>;

/// The files that entries name, as the last entry that names one has it.
fn named(entries: &[Entry]) -> Files {
    let mut files = Files::new();
    for entry in entries {
        match &entry.deed {
            // What an earlier entry named in this folder, and this one does not, is gone.
            Deed::Run(run) => {
                forget(&mut files, run.run.as_str());
                add(&mut files, run.run.as_str(), &run.files);
            }
            Deed::Night(night) => {
                let folder = night_folder(night.night.as_str());
                forget(&mut files, &folder);
                add(&mut files, &folder, &night.files);
            }
            Deed::Redrawn(redrawn) => {
                let run = redrawn.run.as_str();
                for within in redrawn.files.iter().filter_map(|file| file.name.parts().0) {
                    forget(&mut files, &format!("{run}/{within}"));
                }
                add(&mut files, run, &redrawn.files);
            }
            Deed::FailedRun(_) | Deed::Choice(_) | Deed::Order(_) | Deed::Delivery(_) | Deed::Note(_) => {}
        }
        for input in entry.deed.inputs() {
            let content = Content { bytes: input.bytes, digest: input.blake3 };
            files.entry(INPUTS.to_owned()).or_default().insert(input.kept.to_string(), content);
        }
    }
    files
}

/// Takes away what was said of a folder and the folders in it.
fn forget(files: &mut Files, folder: &str) {
    files.retain(|known, _| known != folder && known.strip_prefix(folder).is_none_or(|rest| !rest.starts_with('/')));
}

/// Adds the files of a folder, some of which lie in a folder of it.
fn add(files: &mut Files, folder: &str, sealed: &[Sealed]) {
    for file in sealed {
        let (folder, name) = place(folder, file);
        files.entry(folder).or_default().insert(name, Content { bytes: file.bytes, digest: file.blake3 });
    }
}

/// The folder in which a file of a folder lies, in the commission's, and its plain name.
fn place(folder: &str, file: &Sealed) -> (String, String) {
    match file.name.parts() {
        (None, name) => (folder.to_owned(), name.to_owned()),
        (Some(within), name) => (format!("{folder}/{within}"), name.to_owned()),
    }
}

fn night_folder(night: &str) -> String {
    format!("{NIGHTS}/{night}")
}

fn segments_of(commission: &Path) -> io::Result<BTreeMap<String, Content>> {
    let folder = commission.join(LEDGER);
    let measured = segments::list(&folder)?.numbers.into_iter().map(|number| {
        let name = segments::name(number);
        let (bytes, digest) = folders::measure(&folder.join(&name))?;
        Ok((name, Content { bytes, digest }))
    });
    measured.collect()
}

/// Copies everything into a hidden folder beside the new one, with what stands beside it, which then appears in one step.
fn copy(request: &ExportRequest, files: &Files, beside: &[(&str, &str)]) -> io::Result<()> {
    let around = request.to.parent().filter(|around| !around.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".export-").suffix(".unfinished");
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o777));
    let staged = builder.tempdir_in(around)?;
    for (folder, files) in files {
        let (from, to) = (request.commission.join(folder), staged.path().join(folder));
        fs::create_dir_all(&to)?;
        for name in files.keys() {
            fs::copy(from.join(name), to.join(name))?;
            File::open(to.join(name))?.sync_all()?;
        }
        sync_folder(&to)?;
    }
    for (name, text) in beside {
        let mut out = File::create_new(staged.path().join(name))?;
        out.write_all(text.as_bytes())?;
        out.sync_all()?;
    }
    sync_folder(staged.path())?;
    fs::rename(staged.path(), &request.to)?;
    let _ = staged.keep();
    sync_folder(around)
}
