//! Runs a plan and records it. Takes nothing but a finished [`Plan`]; publishes a whole run folder or leaves nothing.

use std::io::{self, Write as _};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use turnhue_reports::advice::Advice;
use turnhue_reports::record::{self, FORM, JobText, Record, StageRecord, Tool, Verdict};
use turnhue_stages::findings::Fact;
use turnhue_stages::stage::{Halt, Outcome, Shelf, Shop, Wanted};
use turnhue_stages::workpiece::Workpiece;

use crate::advise;
use crate::clock::{Clock, Moment};
use crate::diagnostic::Diagnostic;
use crate::events::{Both, Event, Listener, Recorder};
use crate::pages;
use crate::plan::{Plan, PlannedStep, misfit_of};
use crate::shelf::RunFolder;

/// The record's file name in the run folder.
pub const RECORD: &str = "run.json";

/// The files in the run folder that hold what comparing sizes of the cell came to.
const ADVICE_TABLE: &str = "advice.csv";
const ADVICE: &str = "advice.json";

/// The stage that measures the ordered file; without it no piece counts as ready to order.
const MEASURES_THE_ORDER: &str = "validate";

/// Where a run happens, and what may stop it.
pub struct Surroundings<'a> {
    /// The folder below which runs are kept.
    pub into: &'a Path,
    /// Tells the time.
    pub clock: &'a dyn Clock,
    /// Asks the run to stop.
    pub cancel: &'a AtomicBool,
}

/// A run that ended well; its piece may still have faults.
#[derive(Debug)]
pub struct Published {
    /// The run folder.
    pub folder: PathBuf,
    /// What was recorded.
    pub record: Record,
    /// The summary page, if it could be drawn.
    pub summary: Option<PathBuf>,
}

impl Published {
    /// The file to order, where the chain makes one.
    #[must_use]
    pub fn order(&self) -> Option<PathBuf> {
        self.record.order.as_ref().map(|name| self.folder.join(name))
    }
}

/// Why a run ended early. Nothing of it is left.
#[derive(Debug)]
pub enum Failure {
    /// Settings do not fit the model.
    Misfit(Box<Diagnostic>),
    /// Something could not be written or read back.
    Disk(Box<Diagnostic>),
    /// Somebody asked it to stop.
    Cancelled,
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
            Self::Misfit(fault) | Self::Disk(fault) | Self::Defect(fault) => (**fault).clone(),
            Self::Cancelled => Diagnostic::error("the run was stopped").remedy("nothing of it was kept: run it again"),
        }
    }
}

/// Runs a plan.
///
/// # Errors
/// See [`Failure`].
pub fn run(plan: &Plan, surroundings: &Surroundings<'_>, listener: &mut dyn Listener) -> Result<Published, Failure> {
    let begun = surroundings.clock.elapsed();
    let started = surroundings.clock.now();
    let mut folder = open_folder(plan, surroundings.into, started)?;
    let name = folder.name().to_owned();
    listener.hear(&Event::RunBegan {
        commission: plan.job.commission.as_str(),
        run: &name,
        stages: plan.job.steps.len(),
        memory: plan.memory().map(|(memory, _)| memory),
    });

    let advice = take_advice(plan, surroundings, &mut folder, listener)?;
    let steps = advise::chain_of(plan, advice.as_ref())?;
    let mut recorder = Recorder::default();
    let piece = run_chain(plan, &steps, surroundings, &mut folder, &mut Both(&mut recorder, listener))?;
    let seconds = (surroundings.clock.elapsed() - begun).as_secs_f64();
    let mut record = record_of(plan, &steps, name, started, seconds, &piece, recorder.stages);
    record.advice = advice;
    write_record(&mut folder, &record).map_err(|error| disk_failure("could not write the record", &error))?;
    let has_summary = draw_pages(&mut folder, &record, listener);
    let folder = folder.publish().map_err(|error| disk_failure("could not put the run folder in its place", &error))?;
    listener.hear(&Event::Published { folder: &folder });
    let summary = has_summary.then(|| folder.join(pages::SUMMARY));
    Ok(Published { folder, record, summary })
}

/// Opens the run folder before any work is done: a folder that cannot be written shows at once.
fn open_folder(plan: &Plan, into: &Path, started: Moment) -> Result<RunFolder, Failure> {
    let parent = into.join(plan.job.commission.as_str());
    RunFolder::open(&parent, &run_name(plan, started)).map_err(|error| {
        let message = format!("could not make a run folder in {}: {error}", parent.display());
        Failure::Disk(Box::new(
            Diagnostic::error(message).remedy("name a folder that can be written with `--into DIR`"),
        ))
    })
}

/// The moment, and eight digits of a digest of all that went in: the same inputs with the same program share them.
fn run_name(plan: &Plan, started: Moment) -> String {
    let mut hasher = blake3::Hasher::new();
    hasher.update(env!("CARGO_PKG_VERSION").as_bytes());
    for input in &plan.job.inputs {
        // Digests have one length, so nothing can be shifted from one input to the next.
        hasher.update(input.file.blake3.as_bytes());
    }
    format!("{}-{}", started.compact(), &hasher.finalize().to_hex()[..8])
}

/// Compares sizes of the cell, where the job asks for it, and writes down what came of it.
fn take_advice(
    plan: &Plan,
    surroundings: &Surroundings<'_>,
    folder: &mut RunFolder,
    listener: &mut dyn Listener,
) -> Result<Option<Advice>, Failure> {
    if !plan.compares_sizes() {
        return Ok(None);
    }
    let mut advice = advise::compare(plan, folder.staged(), surroundings.cancel, listener)?;
    let json =
        serde_json::to_string_pretty(&advice).unwrap_or_else(|error| panic!("an advice is JSON: {error}")) + "\n";
    for (name, what, text) in [
        (ADVICE_TABLE, "sizes of the cell beside each other, as CSV", advise::csv(&advice)),
        (ADVICE, "sizes of the cell beside each other, with the recommendation, as JSON", json),
    ] {
        let written = folder.create(name).and_then(|mut out| out.write_all(text.as_bytes()));
        written.map_err(|error| disk_failure(&format!("could not write {name}"), &error))?;
        advice.files.push(folder.file(name, what));
    }
    Ok(Some(advice))
}

fn run_chain(
    plan: &Plan,
    steps: &[PlannedStep],
    surroundings: &Surroundings<'_>,
    folder: &mut RunFolder,
    listener: &mut dyn Listener,
) -> Result<Workpiece, Failure> {
    let mut piece = Workpiece::default().with_surface(Arc::clone(&plan.job.model.surface));
    let mut known: Vec<Fact> = Vec::new();
    for (index, step) in steps.iter().enumerate() {
        go_on(surroundings)?;
        listener.hear(&Event::StageBegan { index, name: step.stage.name(), purpose: step.purpose });
        let begun = surroundings.clock.elapsed();
        let (next, mut outcome) = run_stage(plan, step, piece, &known, surroundings.cancel, folder, Wanted::Piece)?;
        if index == 0 {
            // What reading the model left out is known before any stage; the first one's findings carry it.
            outcome.findings.splice(0..0, plan.job.model.findings());
        }
        let seconds = (surroundings.clock.elapsed() - begun).as_secs_f64();
        piece = next;
        tracing::debug!(stage = step.stage.name(), seconds, facts = outcome.facts.len(), "stage ended");
        known.extend(outcome.facts.iter().cloned());
        let record = stage_record(step, outcome, seconds, folder);
        listener.hear(&Event::StageEnded { index, record: &record });
    }
    go_on(surroundings)?;
    Ok(piece)
}

fn go_on(surroundings: &Surroundings<'_>) -> Result<(), Failure> {
    if surroundings.cancel.load(Ordering::Relaxed) { Err(Failure::Cancelled) } else { Ok(()) }
}

/// Runs one stage.
pub(crate) fn run_stage(
    plan: &Plan,
    step: &PlannedStep,
    piece: Workpiece,
    known: &[Fact],
    cancel: &AtomicBool,
    shelf: &mut dyn Shelf,
    wanted: Wanted,
) -> Result<(Workpiece, Outcome), Failure> {
    let name = step.stage.name();
    let _entered = tracing::debug_span!("stage", name).entered();
    let shop = Shop::new(&plan.job.process, &plan.job.files, known, cancel, shelf).titled(plan.job.title.as_str());
    let mut shop = shop.wanting(wanted);
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
            Failure::Disk(Box::new(fault.during(format!("running `{}`", step.stage.name()))))
        }
        Halt::Cancelled => Failure::Cancelled,
    }
}

fn disk(message: &str, error: &io::Error) -> Diagnostic {
    Diagnostic::error(format!("{message}: {error}")).remedy(
        "nothing of the run was kept: see that the disk has room and can be written, or name another folder with \
         `--into DIR`",
    )
}

pub(crate) fn disk_failure(message: &str, error: &io::Error) -> Failure {
    Failure::Disk(Box::new(disk(message, error)))
}

fn stage_record(step: &PlannedStep, outcome: Outcome, seconds: f64, folder: &RunFolder) -> StageRecord {
    let stage = &step.stage;
    let words = |parts: &[turnhue_stages::workpiece::Part]| parts.iter().map(ToString::to_string).collect();
    StageRecord {
        name: stage.name().to_owned(),
        version: stage.version(),
        settings: stage.settings(),
        needs: words(stage.needs()),
        gives: words(stage.gives()),
        seconds: Some(seconds),
        key: None,
        facts: outcome.facts,
        findings: outcome.findings,
        artefacts: outcome.artefacts.iter().map(|made| folder.file(&made.name, &made.what)).collect(),
    }
}

fn record_of(
    plan: &Plan,
    steps: &[PlannedStep],
    run: String,
    started: Moment,
    seconds: f64,
    piece: &Workpiece,
    stages: Vec<StageRecord>,
) -> Record {
    let source = plan.text.source();
    let mut record = Record {
        form: FORM,
        commission: plan.job.commission.as_str().to_owned(),
        run,
        title: plan.job.title.as_str().to_owned(),
        verdict: Verdict::NotValidated,
        order: piece.order().map(|order| order.name.clone()),
        tool: Tool { name: env!("CARGO_PKG_NAME").to_owned(), version: env!("CARGO_PKG_VERSION").to_owned() },
        variant: None,
        started: Some(started.rfc3339()),
        seconds: Some(seconds),
        job: Some(JobText { file: source.name.clone(), text: source.text.clone() }),
        resolved: plan.resolved_with(steps),
        process: (*plan.job.process).clone(),
        inputs: plan.job.inputs.iter().map(|input| input.file.clone()).collect(),
        stages,
        advice: None,
    };
    record.verdict = verdict(&record);
    record
}

fn verdict(record: &Record) -> Verdict {
    if record.has_faults() {
        Verdict::HasFaults
    } else if record.stages.iter().any(|stage| stage.name == MEASURES_THE_ORDER) {
        Verdict::ReadyToOrder
    } else {
        Verdict::NotValidated
    }
}

fn write_record(folder: &mut RunFolder, record: &Record) -> io::Result<()> {
    let mut out = io::BufWriter::new(folder.create(RECORD)?);
    record::write(record, &mut out)?;
    out.flush()
}

/// Whether the pages were drawn, the summary above all. Without them the run is still whole.
fn draw_pages(folder: &mut RunFolder, record: &Record, listener: &mut dyn Listener) -> bool {
    let drawn = pages::draw(record, folder.staged()).and_then(|pages| {
        pages.iter().try_for_each(|page| write_page(folder, page).map_err(|error| error.to_string()))
    });
    if let Err(reason) = &drawn {
        listener.hear(&Event::PageFailed { reason });
    }
    drawn.is_ok()
}

fn write_page(folder: &mut RunFolder, page: &pages::Page) -> io::Result<()> {
    let mut out = folder.create(page.name)?;
    let written = out.write_all(page.html.as_bytes());
    drop(out);
    written.inspect_err(|_| folder.discard(page.name))
}
