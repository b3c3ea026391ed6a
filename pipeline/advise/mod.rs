//! The right cell: the job's own chain, run with one size of the cell after another, and the smallest that does.
//!
//! Nothing here reckons what a stage reckons: each size goes through the very stages that the job names, with the
//! settings that it gives them, and what they say is put into rows. Stages are told that only what sizes are compared by is
//! wanted ([`Shop::brief`](turnhue_stages::stage::Shop::brief)); the few files that one needs of another go into a hidden folder
//! that is gone afterwards. What stands before the cells is run once for all sizes.

pub(crate) mod cell;
mod choose;
mod facts;
mod sizes;
mod table;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc;
use std::thread;

use turnhue_reports::advice::{Advice, Size};
use turnhue_stages::findings::Fact;
use turnhue_stages::outlook::Outlook;
use turnhue_stages::stage::{Misfit, Wanted};
use turnhue_stages::units::Memory;
use turnhue_stages::workpiece::Workpiece;

use self::choose::Bounds;
use self::facts::Told;
use self::sizes::Ends;
use crate::diagnostic::Diagnostic;
use crate::events::{Event, Listener};
use crate::job::AdviseRequest;
use crate::plan::{Plan, PlannedStep, misfit_of};
use crate::run::{Failure, Surroundings, disk_failure, run_stage};
use crate::shelf::Aside;

/// Compares sizes of the cell for a plan. Leaves nothing on the disk.
///
/// # Errors
/// See [`Failure`]. A size with which the piece cannot be made is a row with the reason, and no failure.
pub fn advise(plan: &Plan, surroundings: &Surroundings<'_>, listener: &mut dyn Listener) -> Result<Advice, Failure> {
    let aside = Aside::open(surroundings.into).map_err(|error| {
        let message = format!("could not make a folder in {}: {error}", surroundings.into.display());
        Failure::Disk(Box::new(
            Diagnostic::error(message).remedy("name a folder that can be written with `--into DIR`"),
        ))
    })?;
    compare(plan, aside.path(), surroundings.cancel, listener)
}

/// The advice in words, with its table.
#[must_use]
pub fn in_words(plan: &Plan, advice: &Advice) -> String {
    table::in_words(plan.commission().as_str(), advice)
}

/// The advice as CSV: a line for each size.
#[must_use]
pub fn csv(advice: &Advice) -> String {
    table::csv(advice)
}

/// The smallest cell that will be tried on a piece of which so much is known, mm.
pub(crate) fn finest(plan: &Plan, before: Outlook) -> f64 {
    let index = cell::stage_in(&plan.job.steps);
    index.map_or(cell::IN_PLACE, |index| Ends::of(plan, index, before, &asked(plan)).low())
}

/// What will be compared, in words.
pub(crate) fn planned(plan: &Plan) -> String {
    let request = asked(plan);
    let mut words = format!("compares {} sizes of the cell", request.count());
    for (name, length) in [("from", request.from), ("to", request.to)] {
        words += &length.map_or(String::new(), |length| format!(", {name} {length}"));
    }
    words += &request.budget.map_or(String::new(), |budget| format!(", within {budget} for one copy"));
    words +=
        &request.likeness.map_or(String::new(), |least| format!(", with at least {least} of the volume in common"));
    for missing in facts::missing(&plan.job.steps) {
        words += &format!("\n           {missing}");
    }
    words
}

/// The most memory that comparing sizes will hold.
pub(crate) fn memory(plan: &Plan) -> Memory {
    let Some(index) = cell::stage_in(&plan.job.steps) else { return Memory::from_bytes(0) };
    let before = plan.job.steps[..index].iter().fold(plan.job.model.outlook, |known, step| step.stage.outlook(known));
    let request = asked(plan);
    let own = cell::named(&plan.job.steps[index], before.size.max_element());
    let cells = sizes::row(Ends::of(plan, index, before, &request), request.count(), own);
    let largest = largest(plan, index, before, &cells);
    let at_once = at_once(largest, cells.len()) as u64;
    Memory::from_bytes(largest.bytes().saturating_mul(at_once))
}

/// The most memory that one of the sizes takes.
fn largest(plan: &Plan, index: usize, before: Outlook, cells: &[f64]) -> Memory {
    let of_each = cells.iter().map(|&cell| sizes::memory(plan, index, before, cell));
    of_each.max().unwrap_or(Memory::from_bytes(0))
}

/// What the job says about the sizes; the usual where it says nothing.
fn asked(plan: &Plan) -> AdviseRequest {
    plan.job.advise.clone().unwrap_or_default()
}

/// The chain with the recommended cell, where the job leaves it to be found.
///
/// # Errors
/// [`Failure::Misfit`] at the cell if none is recommended: what would be printed then is known to disappoint, and nobody
/// should have to find that out from a piece that was made all the same.
pub(crate) fn chain_of(plan: &Plan, advice: Option<&Advice>) -> Result<Vec<PlannedStep>, Failure> {
    let mut steps = plan.job.steps.clone();
    let Some((open, advice)) = steps.iter().position(cell::is_open).zip(advice) else { return Ok(steps) };
    let misfit = |misfit| Failure::Misfit(Box::new(misfit_of(&plan.text, &plan.job.steps[open], misfit)));
    let Some(cell) = advice.recommended else {
        let why = advice.words.first().map_or("no size was tried", String::as_str);
        let remedy = "write a length in the place of `advise` to make the piece all the same, make it larger with `scale`, \
                      or change what `advise` may try and must keep to; `turnhue advise` shows every size";
        return Err(misfit(Misfit::new(cell::SETTING, why, remedy)));
    };
    steps[open] = cell::with(&steps[open], cell).map_err(misfit)?;
    Ok(steps)
}

/// Compares the sizes, with files in folders below `scratch`.
pub(crate) fn compare(
    plan: &Plan,
    scratch: &Path,
    cancel: &AtomicBool,
    listener: &mut dyn Listener,
) -> Result<Advice, Failure> {
    let index = cell::stage_in(&plan.job.steps).ok_or_else(|| {
        let message = "sizes of the cell cannot be compared: the chain has no `voxelise`";
        Failure::Misfit(Box::new(Diagnostic::error(message).remedy("add `- voxelise: { cell: 3 mm }` to the stages")))
    })?;
    let request = asked(plan);
    let begun = Begun::with(plan, index, scratch, cancel)?;
    let before = begun.piece.surface().map_or(plan.job.model.outlook, Outlook::of);
    let own = cell::named(&plan.job.steps[index], before.size.max_element());
    let cells = sizes::row(Ends::of(plan, index, before, &request), request.count(), own);
    listener.hear(&Event::AdviceBegan { sizes: cells.len() });

    let at_once = at_once(largest(plan, index, before, &cells), cells.len());
    let trial = |cell: f64| begun.try_one(cell, own == Some(cell));
    let done = |cell: f64| listener.hear(&Event::SizeTried { cell });
    let sizes = each(&cells, at_once, trial, done)?;

    let bounds = Bounds::of(&request);
    if let Some(currency) = choose::other_currency(&sizes, &bounds) {
        let message = format!("the prices are in {currency}, so that a budget in another currency cannot be kept to");
        let remedy = format!("write the budget in {currency}");
        let fault = Diagnostic::error(message).at(plan.text.place("advise.budget")).remedy(remedy);
        return Err(Failure::Misfit(Box::new(fault)));
    }
    Ok(choose::choose(sizes, own, &bounds, facts::missing(&plan.job.steps)))
}

/// So many sizes are tried at once: as there are threads, while all of them fit into memory.
fn at_once(largest: Memory, sizes: usize) -> usize {
    let fit = Memory::usual().bytes() / largest.bytes().max(1);
    usize::try_from(fit).unwrap_or(usize::MAX).min(rayon::current_num_threads()).min(sizes).max(1)
}

/// Tries the sizes, some at a time, the smallest cell first: it takes longest, so that the others fill the gap at the end.
/// Which thread tries which changes nothing.
///
/// These are threads of their own rather than rayon's: one of those that waits for the pieces of its own work takes up
/// whatever else there is, and would begin further sizes while the memory of the first is still held.
fn each(
    cells: &[f64],
    at_once: usize,
    trial: impl Fn(f64) -> Result<Size, Failure> + Sync,
    mut done: impl FnMut(f64),
) -> Result<Vec<Size>, Failure> {
    /// As much as a main thread usually has.
    const STACK: usize = 8 << 20;
    let (next, failed) = (AtomicUsize::new(0), AtomicBool::new(false));
    let mut tried: Vec<Option<Result<Size, Failure>>> = cells.iter().map(|_| None).collect();
    thread::scope(|scope| {
        let (tell, told) = mpsc::channel();
        for _ in 0..at_once {
            let (tell, next, failed, trial) = (tell.clone(), &next, &failed, &trial);
            let work = move || {
                while let Some(&cell) = cells.get(next.fetch_add(1, Ordering::Relaxed)) {
                    if failed.load(Ordering::Relaxed) {
                        return;
                    }
                    let row = trial(cell);
                    failed.fetch_or(row.is_err(), Ordering::Relaxed);
                    let _ = tell.send((cell, row));
                }
            };
            if let Err(error) = thread::Builder::new().stack_size(STACK).spawn_scoped(scope, work) {
                tracing::warn!("could not start a thread: {error}");
            }
        }
        drop(tell);
        for (cell, row) in told {
            done(cell);
            if let Some(at) = cells.iter().position(|&other| other == cell) {
                tried[at] = Some(row);
            }
        }
    });
    let mut rows = Vec::new();
    for row in tried {
        match row {
            Some(row) => rows.push(row?),
            // Passed over after another failed, which stands behind it in the list.
            None => continue,
        }
    }
    if rows.len() == cells.len() { Ok(rows) } else { Err(Failure::defect("sizes of the cell were not tried")) }
}

/// A chain that has come up to the stage that makes the cells.
struct Begun<'a> {
    plan: &'a Plan,
    index: usize,
    scratch: &'a Path,
    cancel: &'a AtomicBool,
    piece: Workpiece,
    known: Vec<Fact>,
}

impl<'a> Begun<'a> {
    fn with(plan: &'a Plan, index: usize, scratch: &'a Path, cancel: &'a AtomicBool) -> Result<Self, Failure> {
        let piece = Workpiece::default().with_surface(Arc::clone(&plan.job.model.surface));
        let mut begun = Self { plan, index, scratch, cancel, piece, known: Vec::new() };
        let steps: Vec<_> = plan.job.steps[..index].iter().collect();
        let (piece, _, known) = begun.chain(&steps, Wanted::Comparison)?;
        (begun.piece, begun.known) = (piece, known);
        Ok(begun)
    }

    /// Tries one size. The job's own stage stays as it is.
    fn try_one(&self, cell: f64, is_own: bool) -> Result<Size, Failure> {
        let planned = &self.plan.job.steps[self.index];
        let varied = if is_own { Ok(planned.clone()) } else { cell::with(planned, cell) };
        let refused = |why: String| Ok(Size { cell, refused: Some(why), ..Size::default() });
        let varied = match varied {
            Ok(varied) => varied,
            Err(misfit) => return refused(misfit.message),
        };
        let rest: Vec<PlannedStep> = self.plan.job.steps[self.index + 1..].iter().map(for_one_copy).collect();
        let steps: Vec<_> = std::iter::once(&varied).chain(&rest).collect();
        // Of the job's own cell everything is wanted: from which size on as many cells would hold.
        let wanted = if is_own { Wanted::Facts } else { Wanted::Comparison };
        match self.chain(&steps, wanted) {
            Ok((_, told, _)) => Ok(told.row(cell)),
            // A defect of a stage at one size is no reason to say nothing of the others.
            Err(Failure::Misfit(fault) | Failure::Defect(fault)) => refused(fault.message().to_owned()),
            Err(failure) => Err(failure),
        }
    }

    /// Runs stages for what they say.
    fn chain(&self, steps: &[&PlannedStep], wanted: Wanted) -> Result<(Workpiece, Told, Vec<Fact>), Failure> {
        let (mut piece, mut known, mut told) = (self.piece.clone(), self.known.clone(), Told::default());
        let mut shelf = Aside::within(self.scratch)
            .map_err(|error| disk_failure("could not make a folder for a size of the cell", &error))?;
        for step in steps {
            let (next, outcome) = run_stage(self.plan, step, piece, &known, self.cancel, &mut shelf, wanted)?;
            piece = next;
            known.extend(outcome.facts.iter().cloned());
            told.stages.push((step.stage.name(), outcome.facts, outcome.findings));
        }
        if self.cancel.load(Ordering::Relaxed) { Err(Failure::Cancelled) } else { Ok((piece, told, known)) }
    }
}

/// The stage that prices the piece, asked for one copy; any other as it is.
fn for_one_copy(step: &PlannedStep) -> PlannedStep {
    const COPIES: &str = "copies";
    let mut settings = step.stage.settings();
    if step.stage.name() != facts::PRICES || settings.get(COPIES).is_none() {
        return step.clone();
    }
    settings[COPIES] = serde_json::json!([1]);
    step.with(settings).unwrap_or_else(|_| step.clone())
}
