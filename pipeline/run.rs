//! One run: where it happens, what comes of it, why it may fail, and how one stage of it runs. Several are run by
//! [`crate::night`].

use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::atomic::AtomicBool;

use turnhue_reports::record::{self, Record, Unreadable, Verdict};
use turnhue_stages::findings::Fact;
use turnhue_stages::memo::Memo;
use turnhue_stages::stage::{Halt, Outcome, Shelf, Shop, Wanted};
use turnhue_stages::units::Memory;
use turnhue_stages::workpiece::Workpiece;

use crate::clock::Clock;
use crate::diagnostic::Diagnostic;
use crate::events::Listener;
use crate::night::{self, Ended};
use crate::plan::{Plan, PlannedStep, misfit_of};
use crate::store::Store;

/// The record's file name in the run folder.
pub const RECORD: &str = "run.json";

/// Where runs happen, and what may stop them.
#[derive(Clone, Copy)]
pub struct Surroundings<'a> {
    /// The folder below which runs are kept.
    pub into: &'a Path,
    /// The store of results.
    pub store: &'a Store,
    /// Tells the time.
    pub clock: &'a dyn Clock,
    /// Asks to stop.
    pub cancel: &'a AtomicBool,
    /// So much memory may be taken by what runs at once, as far as that is known beforehand.
    pub memory: Memory,
}

/// A run that ended well; its piece may still have faults.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Published {
    /// The commission under which it is kept.
    pub commission: String,
    /// Its name.
    pub name: String,
    /// The run folder.
    pub folder: PathBuf,
    /// What the piece comes to.
    pub verdict: Verdict,
    /// The file to order, where the chain makes one.
    pub order: Option<PathBuf>,
    /// All files to order: one, or one for each part of the piece.
    pub orders: Vec<PathBuf>,
    /// The summary page, if it could be drawn.
    pub summary: Option<PathBuf>,
    /// The package of the order in one file, where the run has one.
    pub package: Option<PathBuf>,
    /// What comparing sizes of the cell came to, in words.
    pub advice: Vec<String>,
    /// The price of one copy, as it is said, where the chain has one.
    pub price: Option<String>,
    /// Whether the folder was there already.
    pub was_there: bool,
}

impl Published {
    /// What the piece comes to, in a few words.
    #[must_use]
    pub const fn in_short(&self) -> &'static str {
        match self.verdict {
            Verdict::ReadyToOrder => "ready to order",
            Verdict::HasFaults => "has faults",
            Verdict::NotValidated => "not validated",
        }
    }

    /// What was recorded.
    ///
    /// # Errors
    /// If the record cannot be read back.
    pub fn record(&self) -> Result<Record, Unreadable> {
        record::read(&self.folder.join(RECORD))
    }
}

/// Why a run ended early. It leaves no run folder; what its stages gave before is in the store.
#[derive(Clone, Debug)]
pub enum Failure {
    /// Settings do not fit the model.
    Misfit(Box<Diagnostic>),
    /// Something could not be written or read back.
    Disk(Box<Diagnostic>),
    /// There is no room on the disk, or none may be written to: any other run would fail likewise.
    Full(Box<Diagnostic>),
    /// Somebody asked it to stop.
    Cancelled,
    /// A run folder of that name is there and is not as it was made.
    Changed(Box<Diagnostic>),
    /// The ledger of the commission is damaged: nothing is made that could not be recorded.
    Ledger(Box<Diagnostic>),
    /// A stage has a defect.
    Defect(Box<Diagnostic>),
}

impl Failure {
    pub(crate) fn defect(message: &str) -> Self {
        Self::Defect(Box::new(
            Diagnostic::error(format!("turnhue has a defect: {message}"))
                .remedy("this is not your job's fault: report it with the job file and the model"),
        ))
    }

    /// The failure for people.
    #[must_use]
    pub fn in_words(&self) -> Diagnostic {
        match self {
            Self::Misfit(fault)
            | Self::Disk(fault)
            | Self::Full(fault)
            | Self::Changed(fault)
            | Self::Ledger(fault)
            | Self::Defect(fault) => (**fault).clone(),
            Self::Cancelled => Diagnostic::error("the run was stopped")
                .remedy("what its stages gave so far is kept: the same command goes on from there"),
        }
    }
}

/// Runs a plan: a night of one.
///
/// # Errors
/// See [`Failure`].
pub fn run(plan: &Plan, surroundings: &Surroundings<'_>, listener: &mut dyn Listener) -> Result<Published, Failure> {
    let ended = night::run(std::slice::from_ref(plan), surroundings, listener)?;
    match ended.into_iter().next() {
        Some(Ended::Published(published)) => Ok(*published),
        Some(Ended::Failed(failure)) => Err(failure),
        Some(Ended::NotRun) | None => Err(Failure::Cancelled),
    }
}

/// Runs one stage.
pub(crate) fn run_stage(
    plan: &Plan,
    step: &PlannedStep,
    piece: Workpiece,
    known: &[Fact],
    cancel: &AtomicBool,
    shelf: &mut dyn Shelf,
    (wanted, memo): (Wanted, Option<&Memo>),
) -> Result<(Workpiece, Outcome), Failure> {
    let name = step.stage.name();
    let _entered = tracing::debug_span!("stage", name).entered();
    let shop = Shop::new(&plan.job.process, &plan.job.files, known, cancel, shelf).titled(plan.job.title.as_str());
    let mut shop = shop.wanting(wanted);
    if let Some(memo) = memo {
        shop = shop.with_memo(memo);
    }
    // One stage with a defect must not take the other jobs of a night with it. Whatever it has half changed is
    // dropped with the run.
    let ended = catch_unwind(AssertUnwindSafe(|| step.stage.run(piece, &mut shop)))
        .map_err(|_| Failure::defect(&format!("the stage `{name}` panicked; the lines above say where")))?;
    let piece = ended.map_err(|halt| failure(plan, step, halt))?;
    if let Some(part) = step.stage.gives().iter().find(|&&part| !piece.has(part)) {
        return Err(Failure::defect(&format!("the stage `{name}` promised {part} and did not give it")));
    }
    Ok((piece, shop.close()))
}

fn failure(plan: &Plan, step: &PlannedStep, halt: Halt) -> Failure {
    match halt {
        Halt::Misfit(misfit) => Failure::Misfit(Box::new(misfit_of(&plan.text, step, misfit))),
        Halt::Shelf { name, error } => {
            let fault = disk(&format!("could not write or read back {name}"), &error);
            let fault = Box::new(fault.during(format!("running `{}`", step.stage.name())));
            if is_full(&error) { Failure::Full(fault) } else { Failure::Disk(fault) }
        }
        Halt::Cancelled => Failure::Cancelled,
    }
}

fn disk(message: &str, error: &io::Error) -> Diagnostic {
    Diagnostic::error(format!("{message}: {error}")).remedy(
        "see that the disk has room and can be written, or name another folder with `--into DIR` or `--store DIR`; the same \
         command then goes on from what is in the store",
    )
}

/// Something could not be written or read.
pub(crate) fn disk_failure(message: &str, error: &io::Error) -> Failure {
    let fault = Box::new(disk(message, error));
    if is_full(error) { Failure::Full(fault) } else { Failure::Disk(fault) }
}

/// Whether whatever else is written would fail likewise.
fn is_full(error: &io::Error) -> bool {
    use io::ErrorKind::{QuotaExceeded, ReadOnlyFilesystem, StorageFull};
    matches!(error.kind(), StorageFull | QuotaExceeded | ReadOnlyFilesystem)
}
