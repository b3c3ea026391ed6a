//! The commands about what is kept: explain, reproduce, tidy.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::Ordering;

use serde_json::json;
use turnhue_stages::units::Memory;

use super::making::{Places, code_of};
use super::{Desk, stop_when_asked};
use crate::clock::SystemClock;
use crate::diagnostic::{Diagnostic, harmless};
use crate::exit;
use crate::explain::{Unexplained, explain};
use crate::ledger::deeds::Deed;
use crate::ledger::{LEDGER, Ledger, Trouble};
use crate::reproduce::{Compared, Irreproducible, reproduce};
use crate::store::{Spared, Tidied, Wish};
use crate::terminal::Progress;

impl Desk<'_> {
    pub(super) fn explain(&mut self, run: &Path, stage: &str) -> u8 {
        match explain(run, stage) {
            Ok(words) => {
                self.out.print(&words);
                exit::READY
            }
            Err(Unexplained::Wrong(fault)) => {
                self.voice.diagnose(&fault);
                exit::WRONG_JOB
            }
            Err(Unexplained::Ledger(trouble)) => self.trouble(&trouble),
        }
    }

    pub(super) fn reproduce(&mut self, runs: &[PathBuf], into: Option<&Path>, json: bool) -> u8 {
        let (cancel, clock) = (stop_when_asked(), SystemClock::start());
        let mut worst = exit::READY;
        let fresh = match Fresh::open(into) {
            Ok(fresh) => fresh,
            Err((fault, code)) => {
                self.voice.diagnose(&fault);
                return code;
            }
        };
        for run in runs {
            if cancel.load(Ordering::Relaxed) {
                return exit::STOPPED;
            }
            let mut progress = Progress::new(self.voice);
            let compared = reproduce(run, fresh.path(), self.stages, (&clock, &cancel), &mut progress);
            drop(progress);
            worst = worst.max(match compared {
                Ok(compared) => self.tell_compared(&compared, into.is_some(), json),
                Err(Irreproducible::Wrong(faults)) => {
                    self.voice.diagnose_all(&faults);
                    exit::WRONG_JOB
                }
                Err(Irreproducible::Ledger(trouble)) => self.trouble(&trouble),
                Err(Irreproducible::Failed(failure)) => {
                    self.voice.diagnose(&failure.in_words());
                    code_of(&failure)
                }
            });
        }
        worst
    }

    fn tell_compared(&mut self, compared: &Compared, is_kept: bool, json: bool) -> u8 {
        if json {
            self.out.json(&json!(compared));
        } else if !self.voice.quiet || !compared.is_same() {
            let anew = if is_kept { format!("  anew     {}\n", compared.anew.display()) } else { String::new() };
            self.out.print(&harmless(&(compared.in_words() + &anew)));
        }
        if compared.is_same() { exit::READY } else { exit::FAULTS }
    }

    pub(super) fn tidy(&mut self, places: &Places, keep: Memory, all: bool, of_others: bool, dry: bool) -> u8 {
        let spared = if all { Ok(Spared::default()) } else { spared(&places.into) };
        let tidied = spared
            .map_err(|trouble| self.trouble(&trouble))
            .and_then(|spared| self.tidied(places, &Wish { keep, spared: &spared, of_others, dry }));
        match tidied {
            Ok(tidied) => {
                self.out.print(&tidied.in_words());
                exit::READY
            }
            Err(code) => code,
        }
    }

    /// Makes room in the store after a run, in silence.
    pub(super) fn make_room(&self, places: &Places, keep: Memory) -> u8 {
        let spared = spared(&places.into).map_err(|trouble| self.trouble(&trouble));
        let tidied = spared
            .and_then(|spared| self.tidied(places, &Wish { keep, spared: &spared, of_others: false, dry: false }));
        tidied.err().unwrap_or(exit::READY)
    }

    /// # Errors
    /// The exit code of what was told.
    fn tidied(&self, places: &Places, wish: &Wish<'_>) -> Result<Tidied, u8> {
        let store = places.open_store(&SystemClock::start()).map_err(|failure| self.fail(&failure))?;
        let tidied = store.tidy(wish);
        store.notices().iter().for_each(|notice| self.voice.diagnose(notice));
        tidied.map_err(|error| {
            let folder = store.folder().display();
            let fault = Diagnostic::error(format!("could not tidy the store in {folder}: {error}"));
            self.voice.diagnose(&fault.remedy("see that it can be read and written, and tidy it again"));
            exit::FAILED
        })
    }

    fn trouble(&self, trouble: &Trouble) -> u8 {
        trouble.faults().iter().for_each(|fault| self.voice.diagnose(fault));
        trouble.code()
    }
}

/// What the ledgers of all commissions in a folder of runs name: results, and files.
fn spared(into: &Path) -> Result<Spared, Trouble> {
    let mut spared = Spared::default();
    // Where nobody can look, nobody can tell what a record names.
    let unseen = |error: io::Error| {
        let message = format!("could not look for records in the folder of runs {}: {error}", into.display());
        let remedy = "name it with `--into DIR`, or let also go what records name with `--all`";
        Trouble::Wrong(vec![Diagnostic::error(message).remedy(remedy)])
    };
    let entries = fs::read_dir(into).and_then(Iterator::collect::<io::Result<Vec<_>>>).map_err(unseen)?;
    for commission in entries.iter().map(fs::DirEntry::path).filter(|path| path.join(LEDGER).is_dir()) {
        for entry in Ledger::of(&commission).read()? {
            let Deed::Run(run) = entry.deed else { continue };
            spared
                .keys
                .extend(run.stages.iter().filter_map(|stage| stage.key?.to_string().parse::<crate::store::Key>().ok()));
            spared.digests.extend(run.files.iter().map(|file| file.blake3));
        }
    }
    Ok(spared)
}

/// A fresh place: a folder that the user names and that is empty, or one that goes away afterwards.
enum Fresh {
    Named(PathBuf),
    Passing(tempfile::TempDir),
}

impl Fresh {
    /// # Errors
    /// Why there is none, with the exit code.
    fn open(named: Option<&Path>) -> Result<Self, (Box<Diagnostic>, u8)> {
        let Some(folder) = named else {
            return tempfile::tempdir().map(Self::Passing).map_err(|error| {
                let fault = Diagnostic::error(format!("could not make a fresh folder: {error}"));
                (Box::new(fault.remedy("name an empty folder with `--into DIR`")), exit::FAILED)
            });
        };
        let empty = fs::create_dir_all(folder).and_then(|()| Ok(fs::read_dir(folder)?.next().is_none()));
        match empty {
            Ok(true) => Ok(Self::Named(folder.to_owned())),
            Ok(false) => {
                let fault = Diagnostic::error(format!("{} is not empty", folder.display()));
                let remedy = "a run is made anew in a fresh place: name an empty folder, or leave `--into` out";
                Err((Box::new(fault.remedy(remedy)), exit::WRONG_JOB))
            }
            Err(error) => {
                let fault = Diagnostic::error(format!("could not make {}: {error}", folder.display()));
                Err((Box::new(fault.remedy("name an empty folder that can be written")), exit::FAILED))
            }
        }
    }

    fn path(&self) -> &Path {
        match self {
            Self::Named(path) => path,
            Self::Passing(folder) => folder.path(),
        }
    }
}
