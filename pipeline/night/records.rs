//! What a night writes into the ledger of its commission: an entry for each run, and the bytes of what went in.
//!
//! Entries are appended some at a time. What is cut off before its entry is written is found the next time: a run folder
//! that no entry names gets one then.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

use turnhue_reports::record::{File, Record};

use super::Ended;
use super::folder::Finished;
use super::worker::{Source, Works};
use crate::clock::Clock;
use crate::digest::Digest;
use crate::ledger::deeds::{Build, Deed, FailedRun, Input, Job, Machine, Origin, Redrawn, RunDeed, Sealed, StageDone};
use crate::ledger::values::PlainName;
use crate::ledger::{LEDGER, Ledger, Trouble};
use crate::plan::{Plan, Role};
use crate::run::{Failure, Surroundings};

/// So many entries are appended at a time; the last ones when the night ends.
const AT_A_TIME: usize = 32;

/// The ledger during a night.
pub(super) struct Records<'a> {
    ledger: Ledger,
    surroundings: &'a Surroundings<'a>,
    machine: Machine,
    /// Runs of which there is an entry, and failures, by run, of which the last entry says the same.
    known: BTreeSet<String>,
    known_failures: BTreeMap<String, String>,
    /// Where the bytes of inputs are kept, by digest.
    kept: BTreeMap<String, PlainName>,
    waiting: Mutex<Vec<Deed>>,
}

impl<'a> Records<'a> {
    /// Opens the ledger of the plans' commission, and keeps what goes in.
    pub(super) fn open(plans: &[Plan], surroundings: &'a Surroundings<'a>) -> Result<Self, Failure> {
        let commission = plans.first().map_or("", |plan| plan.job.commission.as_str());
        let ledger = Ledger::of(&surroundings.into.join(commission));
        let (mut known, mut known_failures) = (BTreeSet::new(), BTreeMap::new());
        for entry in ledger.read().map_err(trouble)? {
            match entry.deed {
                Deed::Run(run) => {
                    known_failures.remove(run.run.as_str());
                    known.insert(run.run.as_str().to_owned());
                }
                Deed::FailedRun(failed) => {
                    let FailedRun { run, why, .. } = *failed;
                    run.map(|run| known_failures.insert(run.as_str().to_owned(), why));
                }
                _ => {}
            }
        }
        let inputs: BTreeMap<&str, _> =
            plans.iter().flat_map(Plan::inputs).map(|input| (input.file.blake3.as_str(), input)).collect();
        let inputs: Vec<_> =
            inputs.values().map(|input| (input.file.clone(), std::sync::Arc::clone(&input.bytes))).collect();
        let kept = ledger.keep_inputs(&inputs).map_err(trouble)?;
        let kept = inputs.into_iter().zip(kept).map(|((file, _), input)| (file.blake3, input.kept)).collect();
        let threads = Some(rayon::current_num_threads());
        let machine = Machine::here(threads, Some(surroundings.memory.bytes()));
        Ok(Self { ledger, surroundings, machine, known, known_failures, kept, waiting: Mutex::default() })
    }

    /// Writes entries for runs that were there before this night and have none.
    pub(super) fn catch_up(&self, plans: &[Plan], ended: &[Option<Ended>]) -> Result<(), Failure> {
        for (plan, ended) in plans.iter().zip(ended) {
            let Some(Ended::Published(published)) = ended else { continue };
            if self.known.contains(&published.name) {
                continue;
            }
            let Ok(record) = published.record() else { continue };
            let files = super::folder::files_there(&published.folder, &record)?;
            let stages = record.stages.iter().map(|_| (Source::Store, None)).collect::<Vec<_>>();
            self.append(|| self.deed(plan, &record, &files, &stages, None))?;
        }
        Ok(())
    }

    /// A run was published.
    pub(super) fn made(&self, works: &Works<'_>, variant: usize, finished: &Finished) -> Result<(), Failure> {
        // Where somebody else published the same run meanwhile, the entry is theirs to write; if they do not come to it, the next
        // night finds that it is missing.
        if self.known.contains(&finished.published.name) || finished.published.was_there {
            return Ok(());
        }
        self.append(|| {
            let stages: Vec<_> = finished.nodes.iter().map(|&node| (works.claim(node), works.seconds(node))).collect();
            let made = stages.iter().filter(|(source, _)| *source == Source::Made);
            let seconds = made.filter_map(|(_, seconds)| *seconds).sum::<f64>() + finished.seconds;
            self.deed(&works.plans[variant], &finished.record, &finished.files, &stages, Some(seconds))
        })
    }

    /// A run ended without a result. That this cannot be written down changes nothing of that.
    pub(super) fn failed(&self, plan: &Plan, name: &str, failure: &Failure) {
        let why = failure.in_words();
        let why = format!("{}; {}", why.message(), why.what_to_do());
        if self.known_failures.get(name) == Some(&why) {
            return;
        }
        let deed = self.job(plan).and_then(|job| {
            Ok(FailedRun {
                run: Some(plain(name)?),
                job,
                variant: plan.variant().map(|variant| variant.name().to_owned()),
                why,
                tool: Build::this(),
                machine: self.machine.clone(),
                inputs: self.inputs(plan)?,
            })
        });
        let written = self.append(|| deed.map(|deed| Deed::FailedRun(Box::new(deed))));
        if let Err(failure) = written {
            tracing::warn!("could not record a failure: {}", failure.in_words().message());
        }
    }

    /// Appends what waits.
    pub(super) fn flush(&self) -> Result<(), Failure> {
        // Held until they are on the disk: entries stand in the order in which they were made.
        let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
        if waiting.is_empty() {
            return Ok(());
        }
        self.ledger.append(self.surroundings.clock, &waiting).map_err(trouble)?;
        waiting.clear();
        Ok(())
    }

    /// Makes an entry and lets it wait; in the order in which they are made, so that who made something stands before those
    /// who had it from the store.
    fn append(&self, deed: impl FnOnce() -> Result<Deed, Failure>) -> Result<(), Failure> {
        let full = {
            let mut waiting = self.waiting.lock().unwrap_or_else(PoisonError::into_inner);
            waiting.push(deed()?);
            waiting.len() >= AT_A_TIME
        };
        if full { self.flush() } else { Ok(()) }
    }

    fn deed(
        &self,
        plan: &Plan,
        record: &Record,
        files: &[File],
        stages: &[(Source, Option<f64>)],
        seconds: Option<f64>,
    ) -> Result<Deed, Failure> {
        let stages = record.stages.iter().zip(stages).map(|(stage, &(source, seconds))| StageDone {
            name: stage.name.clone(),
            version: stage.version,
            key: stage.key.as_deref().and_then(|key| key.parse().ok()),
            from: match source {
                Source::Made => Origin::Made,
                Source::Store => Origin::Store,
            },
            seconds,
        });
        Ok(Deed::Run(Box::new(RunDeed {
            run: plain(&record.run)?,
            job: self.job(plan)?,
            variant: record.variant.as_ref().map(|variant| variant.name.clone()),
            verdict: record.verdict,
            tool: Build::this(),
            machine: self.machine.clone(),
            stages: stages.collect(),
            inputs: self.inputs(plan)?,
            files: files.iter().map(sealed).collect::<Result<_, _>>()?,
            seconds,
            peak_memory: Machine::peak_memory(),
        })))
    }

    fn job(&self, plan: &Plan) -> Result<Job, Failure> {
        let job = plan.inputs().iter().find(|input| input.role == Role::Job);
        let job = job.ok_or_else(|| Failure::defect("a plan has no job file"))?;
        Ok(Job { file: job.file.name.clone(), blake3: digest(&job.file)? })
    }

    fn inputs(&self, plan: &Plan) -> Result<Vec<Input>, Failure> {
        let inputs = plan.inputs().iter().map(|input| {
            let kept = self.kept.get(&input.file.blake3).ok_or_else(|| Failure::defect("an input was not kept"))?;
            Ok(Input {
                name: input.file.name.clone(),
                what: input.file.what.clone(),
                bytes: input.file.bytes,
                blake3: digest(&input.file)?,
                kept: kept.clone(),
            })
        });
        inputs.collect()
    }
}

fn digest(file: &File) -> Result<Digest, Failure> {
    file.blake3.parse().map_err(|_| Failure::defect(&format!("the digest of {} is none", file.name)))
}

pub(super) fn plain(name: &str) -> Result<PlainName, Failure> {
    name.parse().map_err(|_| Failure::defect(&format!("'{name}' cannot be a file's name")))
}

pub(super) fn sealed(file: &File) -> Result<Sealed, Failure> {
    let name = file.name.parse().map_err(|_| Failure::defect(&format!("'{}' cannot be a file's name", file.name)))?;
    Ok(Sealed { name, bytes: file.bytes, blake3: digest(file)? })
}

/// What keeps the ledger from being read or written, as what keeps runs from being made.
pub(super) fn trouble(trouble: Trouble) -> Failure {
    match trouble {
        Trouble::Disk(fault) => Failure::Disk(fault),
        Trouble::Wrong(faults) | Trouble::NotWhole(faults) | Trouble::Refused(faults) => {
            match faults.into_iter().next() {
                Some(fault) => Failure::Ledger(Box::new(fault)),
                None => Failure::defect("the ledger cannot be used and does not say why"),
            }
        }
    }
}

/// Enters into the ledger that pages of a run were drawn anew, unless they came out as they were, or the ledger knows nothing of
/// the run.
///
/// # Errors
/// If the ledger cannot be read or written.
pub fn enter_redrawn(
    folder: &Path,
    record: &Record,
    pages: &[impl AsRef<str>],
    clock: &dyn Clock,
) -> Result<(), Failure> {
    let whole = folder.canonicalize().unwrap_or_else(|_| folder.to_owned());
    let Some(commission) = whole.parent().filter(|commission| commission.join(LEDGER).is_dir()) else { return Ok(()) };
    let ledger = Ledger::of(commission);
    let mut known: Option<BTreeMap<String, Sealed>> = None;
    for entry in ledger.read().map_err(trouble)? {
        let files = match entry.deed {
            Deed::Run(run) if run.run.as_str() == record.run => run.files,
            Deed::Redrawn(redrawn) if redrawn.run.as_str() == record.run => redrawn.files,
            _ => continue,
        };
        known.get_or_insert_default().extend(files.into_iter().map(|file| (file.name.as_str().to_owned(), file)));
    }
    let Some(known) = known else { return Ok(()) };
    let files: Vec<File> = super::folder::files_there(&whole, record)?;
    let files: Vec<Sealed> = files
        .iter()
        .filter(|file| pages.iter().any(|page| page.as_ref() == file.name))
        .map(sealed)
        .collect::<Result<_, _>>()?;
    // What a folder held and holds no more is not in it any more.
    let within: BTreeSet<&str> = files.iter().filter_map(|file| file.name.parts().0).collect();
    let is_gone = |file: &Sealed| file.name.parts().0.is_some_and(|of| within.contains(of)) && !files.contains(file);
    if files.iter().all(|file| known.get(file.name.as_str()) == Some(file)) && !known.values().any(is_gone) {
        return Ok(());
    }
    let deed = Deed::Redrawn(Redrawn { run: plain(&record.run)?, tool: Build::this(), files });
    ledger.append(clock, &[deed]).map_err(trouble)?;
    Ok(())
}
