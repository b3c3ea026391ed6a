//! The folder of a run, put together from what the store holds: artefacts by link, then the record and the pages.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use turnhue_reports::advice::Advice;
use turnhue_reports::night::{Figure, Made};
use turnhue_reports::package::ordered_files;
use turnhue_reports::record::{self, FORM, File, Record, StageRecord, Tool, Verdict};
use turnhue_stages::workpiece::Part;

use super::chains;
use super::worker::Works;
use crate::diagnostic::Diagnostic;
use crate::events::Silence;
use crate::job::Variant;
use crate::package::{self, Unpacked};
use crate::pages;
use crate::plan::{Plan, PlannedStep, Role};
use crate::run::{Failure, Published, RECORD, Surroundings, disk_failure};
use crate::shelf::RunFolder;
use crate::store::Entry;

/// The stage that measures the ordered file; without it no piece counts as ready to order.
const MEASURES_THE_ORDER: &str = "validate";

/// The record of a run, from what its stages gave.
pub(crate) fn record_of(
    plan: &Plan,
    steps: &[PlannedStep],
    name: &str,
    kept: &[Arc<Entry>],
    advice: Option<Advice>,
) -> Record {
    let stages = steps.iter().zip(kept).map(|(step, kept)| stage_record(step, kept)).collect();
    let inputs = plan.inputs().iter().filter(|input| input.role != Role::Job).map(|input| input.file.clone());
    let mut record = Record {
        form: FORM,
        commission: plan.job.commission.as_str().to_owned(),
        run: name.to_owned(),
        title: plan.job.title.as_str().to_owned(),
        variant: plan.variant().map(variant_of),
        verdict: Verdict::NotValidated,
        order: kept.iter().rev().find_map(|entry| entry.order().map(str::to_owned)),
        tool: Tool { name: env!("CARGO_PKG_NAME").to_owned(), version: env!("CARGO_PKG_VERSION").to_owned() },
        started: None,
        seconds: None,
        job: None,
        resolved: plan.resolved_with(steps),
        process: (*plan.job.process).clone(),
        inputs: inputs.collect(),
        stages,
        advice,
        package: plan.job.package.clone(),
    };
    record.verdict = verdict(&record);
    record
}

fn variant_of(variant: &Variant) -> record::Variant {
    let changes = variant.changes().map(|change| (change.setting(), change.value().clone()));
    record::Variant { name: variant.name().to_owned(), changes: changes.collect() }
}

fn stage_record(step: &PlannedStep, kept: &Entry) -> StageRecord {
    let words = |parts: &[Part]| parts.iter().map(ToString::to_string).collect();
    StageRecord {
        name: step.stage.name().to_owned(),
        version: step.stage.version(),
        settings: step.stage.settings(),
        needs: words(step.stage.needs()),
        gives: words(step.stage.gives()),
        seconds: None,
        key: Some(kept.key.to_string()),
        facts: kept.facts.clone(),
        findings: kept.findings.clone(),
        artefacts: kept.artefacts.clone(),
    }
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

/// A run folder that was put in its place.
pub(super) struct Finished {
    pub(super) published: Published,
    pub(super) record: Record,
    /// Every file in it.
    pub(super) files: Vec<File>,
    /// The runs of its stages.
    pub(super) nodes: Vec<usize>,
    /// Why a page could not be drawn, if one could not.
    pub(super) no_page: Option<String>,
    /// How long it took to put together.
    pub(super) seconds: f64,
}

/// Puts the folder of a variant together, of which every stage has its result.
pub(super) fn finish(
    works: &Works<'_>,
    variant: usize,
    name: &str,
    surroundings: &Surroundings<'_>,
) -> Result<Finished, Failure> {
    let begun = surroundings.clock.elapsed();
    let (plan, Some(chain)) = (&works.plans[variant], &works.chains[variant]) else {
        return Err(Failure::defect("a variant without a chain is done"));
    };
    let nodes = works.nodes_of(variant);
    let kept = works.results(&nodes);
    let record = record_of(plan, &chain.steps, name, &kept, chain.advice.clone());
    let parent = surroundings.into.join(plan.job.commission.as_str());
    let failed =
        |what: &str, error: &io::Error| disk_failure(&format!("could not {what} in {}", parent.display()), error);
    let mut folder = RunFolder::open(surroundings.into, plan.job.commission.as_str(), name)
        .map_err(|error| failed("make a run folder", &error))?;
    for (at, kept) in nodes.iter().zip(&kept) {
        for file in &kept.artefacts {
            works.place(*at, file, &mut folder)?;
        }
    }
    for file in chain.advice.iter().flat_map(|advice| &advice.files) {
        if !works.place_kept(file, &mut folder)? {
            // It was damaged or tidied away meanwhile.
            chains::take_advice(plan, surroundings, &mut Silence)?;
            if !works.place_kept(file, &mut folder)? {
                return Err(Failure::defect(&format!("{} was made again and is not there", file.name)));
            }
        }
    }
    let mut bytes = Vec::new();
    let written = record::write(&record, &mut bytes).and_then(|()| folder.write(RECORD, "the record", &bytes));
    written.map_err(|error| failed("write the record", &error))?;
    let mut no_page = draw_pages(&mut folder, &record).map_err(|error| failed("write a page", &error))?;
    // Of many variants few are ordered: theirs are packed when somebody asks for it.
    if plan.variant().is_none() && record.verdict == Verdict::ReadyToOrder && !ordered_files(&record).is_empty() {
        no_page = pack(&mut folder, &record)?.or(no_page);
    }
    let files = folder.files();
    let (folder, was_there) = folder.publish().map_err(|error| failed("put the run folder in its place", &error))?;
    let seconds = (surroundings.clock.elapsed() - begun).as_secs_f64();
    let published = published(&record, folder, was_there);
    Ok(Finished { published, record, files, nodes, no_page, seconds })
}

fn published(record: &Record, folder: PathBuf, was_there: bool) -> Published {
    let package = folder.join(package::ZIP);
    // A stage may have taken the name for something else.
    let taken = artefacts(record).any(|file| file.name == pages::SUMMARY);
    let summary = folder.join(pages::SUMMARY);
    Published {
        commission: record.commission.clone(),
        name: record.run.clone(),
        verdict: record.verdict,
        order: record.order.as_ref().map(|name| folder.join(name)),
        summary: (!taken && summary.is_file()).then_some(summary),
        package: package.is_file().then_some(package),
        advice: record.advice.as_ref().map_or_else(Vec::new, |advice| advice.words.clone()),
        price: Made::of(record).said(Figure::Price),
        was_there,
        folder,
    }
}

/// Draws the pages of a run, or says why one could not be. Without them the run is still whole. A disk that does not take them
/// is another matter: on another day it would, and the run would not be the same.
fn draw_pages(folder: &mut RunFolder, record: &Record) -> io::Result<Option<String>> {
    let pages = match pages::draw(record, folder.staged()) {
        Ok(pages) => pages,
        Err(reason) => return Ok(Some(reason)),
    };
    for page in pages {
        match folder.write(page.name, "a page", page.html.as_bytes()) {
            Ok(()) => {}
            // A stage took its name.
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => return Ok(Some(error.to_string())),
            Err(error) => return Err(error),
        }
    }
    Ok(None)
}

/// Puts the package of the order into a run folder, or says why there is none. As with pages, a run is whole without, but for a
/// disk that does not take it.
fn pack(folder: &mut RunFolder, record: &Record) -> Result<Option<String>, Failure> {
    match package::put(record, folder.staged(), folder.staged()) {
        Ok(files) => {
            files.iter().for_each(|file| folder.take(file));
            Ok(None)
        }
        Err(Unpacked::Undrawn(reason)) => Ok(Some(reason)),
        Err(Unpacked::Changed(what)) => Err(Failure::Changed(Box::new(Diagnostic::error(what)))),
        Err(Unpacked::Disk(what, error)) => Err(disk_failure(&what, &error)),
    }
}

/// The run of that name, if its folder is there and holds what its record says. Of what was changed only people can say whether
/// it should stay.
pub(super) fn there(plan: &Plan, name: &str, surroundings: &Surroundings<'_>) -> Result<Option<Published>, Failure> {
    let folder = surroundings.into.join(plan.job.commission.as_str()).join(name);
    if folder.symlink_metadata().is_err() {
        return Ok(None);
    }
    match unchanged(&folder, name) {
        Ok(record) => Ok(Some(published(&record, folder, true))),
        Err(what) => {
            let message = format!("the run folder {} is there and is not as it was made: {what}", folder.display());
            let remedy = "move it away, and run the job again: it is made anew from the store";
            Err(Failure::Changed(Box::new(Diagnostic::error(message).remedy(remedy))))
        }
    }
}

/// The record of the run of that name in a folder that is there, if that holds what its record says, by name and size: else what
/// is not so. `turnhue verify` looks at every byte.
pub(super) fn unchanged(folder: &Path, name: &str) -> Result<Record, String> {
    let record = record::read(&folder.join(RECORD)).map_err(|error| format!("{RECORD}: {error}"))?;
    if record.run != name {
        return Err(format!("{RECORD} is that of run {}", record.run));
    }
    for file in artefacts(&record) {
        match fs::symlink_metadata(folder.join(&file.name)) {
            Ok(about) if about.is_file() && about.len() == file.bytes => {}
            Ok(about) if about.is_file() => {
                return Err(format!("{} has {} bytes instead of {}", file.name, about.len(), file.bytes));
            }
            Ok(_) => return Err(format!("{} is not a file", file.name)),
            Err(_) => return Err(format!("{} is missing", file.name)),
        }
    }
    Ok(record)
}

/// The files that a record names.
fn artefacts(record: &Record) -> impl Iterator<Item = &File> {
    let advice = record.advice.iter().flat_map(|advice| &advice.files);
    record.stages.iter().flat_map(|stage| &stage.artefacts).chain(advice)
}

/// Every file of a run folder that is there: those of its record as it has them, the record and pages as they are.
pub(super) fn files_there(folder: &Path, record: &Record) -> Result<Vec<File>, Failure> {
    let mut files: Vec<File> = artefacts(record).cloned().collect();
    let pages = [(RECORD, "the record"), (pages::PRINT_MODEL, "a page"), (pages::SUMMARY, "a page")];
    let pages = pages.map(|(name, what)| (name.to_owned(), what));
    let packed =
        package::names_there(folder).map_err(|error| disk_failure("could not list the package of a run", &error))?;
    for (name, what) in pages.into_iter().chain(packed.into_iter().map(|name| (name, "of the package"))) {
        match fs::read(folder.join(&name)) {
            Ok(bytes) => files.push(File {
                name,
                what: what.to_owned(),
                bytes: bytes.len() as u64,
                blake3: blake3::hash(&bytes).to_hex().to_string(),
            }),
            Err(error) if error.kind() == io::ErrorKind::NotFound => {}
            Err(error) => return Err(disk_failure(&format!("could not read {name} of a run"), &error)),
        }
    }
    Ok(files)
}
