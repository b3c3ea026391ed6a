//! The page of a commission, drawn from its ledger and its run folders. It is no part of the record: no entry names it, nothing
//! hangs on it, and each drawing takes the place of the one before in one step. Of two that are drawn at once the later one stays.

use std::fmt::Display;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};

use turnhue_reports::commission::{self as report, Amiss, Checked, Measured, StageDone};

use super::audit::{Audit, DESCRIPTION};
use super::chain::{Entry, Head};
use super::deeds::{Build, Choice, Deed, Delivery, FailedRun, Machine, Night, Note, Order, Origin, Redrawn, RunDeed};
use super::{Examined, LEDGER, Ledger};
use crate::clock::Clock;
use crate::diagnostic::{Diagnostic, Place};
use crate::package;
use crate::{input, shelf};

/// The page's file name in the folder of the commission.
pub use turnhue_reports::commission::PAGE;

/// Largest file that the page reads, in bytes: 64 MiB.
const LARGEST_FILE: u64 = 64 << 20;

/// The commission around a run's folder, if there is one.
#[must_use]
pub fn around(run: &Path) -> Option<PathBuf> {
    let commission = fs::canonicalize(run).ok()?.parent()?.to_owned();
    commission.join(LEDGER).is_dir().then_some(commission)
}

/// Draws the page of a commission and gives its place; `audit` is what was found in it just now, if somebody looked. Nothing is
/// drawn where nothing is recorded, and not in a copy that was handed on: it stays as it was.
///
/// # Errors
/// A caution: a page that cannot be drawn changes nothing.
pub fn draw(commission: &Path, audit: Option<&Audit>, clock: &dyn Clock) -> Result<Option<PathBuf>, Box<Diagnostic>> {
    if !commission.join(LEDGER).is_dir() || commission.join(DESCRIPTION).exists() {
        return Ok(None);
    }
    let page = commission.join(PAGE);
    let failed = |why: &dyn Display| {
        let caution = Diagnostic::caution(format!("could not draw the page {}: {why}", page.display()));
        Box::new(caution.remedy("the record itself is as it was; `turnhue history COMMISSION --page` draws it anew"))
    };
    let Examined { entries, head, faults } = Ledger::of(commission).examine().map_err(|trouble| {
        let why = trouble.faults().first().map(|fault| fault.message().to_owned());
        failed(&why.unwrap_or_default())
    })?;
    if entries.is_empty() && faults.is_empty() {
        return Ok(None);
    }
    let checked = match audit {
        Some(audit) => checked(commission, head, &audit.faults, Some(audit)),
        None => checked(commission, head, &faults, None),
    };
    let html = html(commission, &entries, checked, Some(clock.now().rfc3339())).map_err(|why| failed(&why))?;
    shelf::replace(&page, html.as_bytes()).map_err(|error| failed(&error))?;
    Ok(Some(page))
}

/// The page of a copy of a commission in which all is as these entries say.
///
/// # Errors
/// Why it could not be drawn.
pub(super) fn of_copy(commission: &Path, entries: &[Entry], audit: &Audit) -> Result<String, String> {
    html(commission, entries, checked(commission, audit.head, &audit.faults, Some(audit)), None)
}

/// Not even a defect in the drawing of a page ends the command that draws it.
fn html(commission: &Path, entries: &[Entry], checked: Checked, drawn: Option<String>) -> Result<String, String> {
    let whole = fs::canonicalize(commission).unwrap_or_else(|_| commission.to_owned());
    let name = |path: Option<&Path>| Some(path?.file_name()?.to_string_lossy().into_owned());
    let told = report::Commission {
        name: name(Some(&whole)).unwrap_or_default(),
        runs: name(whole.parent()).unwrap_or_else(|| "runs".to_owned()),
        entries: entries.iter().map(entry).collect(),
        drawn,
        checked,
    };
    let file = |folder: &str, name: &str| input::read(&commission.join(folder).join(name), LARGEST_FILE).ok();
    catch_unwind(AssertUnwindSafe(|| report::draw(&told, &file)))
        .map_err(|_| "a defect in the drawing of the page".to_owned())?
        .map_err(|error| error.to_string())
}

fn checked(commission: &Path, head: Option<Head>, faults: &[Diagnostic], audit: Option<&Audit>) -> Checked {
    // The page may be handed on: where the commission lies on this machine is nobody's business.
    let around = format!("{}{}", commission.display(), std::path::MAIN_SEPARATOR);
    let amiss = faults.iter().map(|fault| {
        let place =
            fault.place().map(|place: &Place| format!("{}, line {}: ", place.file(), place.line_and_column().0));
        let what = format!("{}{}", place.unwrap_or_default(), fault.message());
        Amiss { what: what.replace(&around, ""), remedy: fault.what_to_do().replace(&around, "") }
    });
    Checked {
        head: head.filter(|head| head.seq > 0).map(|head| head.digest.to_string()),
        amiss: amiss.collect(),
        files: audit.map(|audit| Measured { files: audit.files, bytes: audit.bytes }),
    }
}

fn entry(entry: &Entry) -> report::Entry {
    report::Entry { seq: entry.seq, time: entry.time.rfc3339(), deed: deed(&entry.deed) }
}

fn deed(deed: &Deed) -> report::Deed {
    match deed {
        Deed::Run(run) => report::Deed::Run(of_run(run)),
        Deed::FailedRun(failed) => report::Deed::Failed(of_failed(failed)),
        Deed::Redrawn(redrawn) => report::Deed::Redrawn(of_redrawn(redrawn)),
        Deed::Night(Night { night, runs, failed, .. }) => report::Deed::Night(report::Night {
            night: night.to_string(),
            runs: runs.iter().map(ToString::to_string).collect(),
            failed: *failed,
        }),
        Deed::Choice(choice) => report::Deed::Choice(of_choice(choice)),
        Deed::Order(order) => report::Deed::Order(of_order(order)),
        Deed::Delivery(Delivery { run, on, to }) => {
            report::Deed::Delivery(report::Delivery { run: run.to_string(), on: on.to_string(), to: to.clone() })
        }
        Deed::Note(Note { text, by, run }) => {
            let run = run.as_ref().map(ToString::to_string);
            report::Deed::Note(report::Note { text: text.clone(), by: by.clone(), run })
        }
    }
}

/// The name of a file without the folders of whoever ran it.
fn file_name(path: &str) -> String {
    path.rsplit(['/', '\\']).next().unwrap_or(path).to_owned()
}

fn of_run(run: &RunDeed) -> report::Run {
    let stage = |stage: &super::deeds::StageDone| StageDone {
        name: stage.name.clone(),
        seconds: stage.seconds,
        is_stored: stage.from == Origin::Store,
    };
    report::Run {
        run: run.run.to_string(),
        job: file_name(&run.job.file),
        variant: run.variant.clone(),
        verdict: run.verdict,
        by: by(&run.tool, &run.machine),
        stages: run.stages.iter().map(stage).collect(),
        seconds: run.seconds,
        peak_memory: run.peak_memory,
        files: run.files.len(),
    }
}

fn by(tool: &Build, machine: &Machine) -> String {
    let threads = machine.threads.map(|threads| match threads {
        1 => ", one thread".to_owned(),
        threads => format!(", {threads} threads"),
    });
    let host = machine.host.as_ref().map(|host| format!(" on {host}"));
    format!("{} {}{}{}", tool.name, tool.version, host.unwrap_or_default(), threads.unwrap_or_default())
}

fn of_failed(failed: &FailedRun) -> report::Failed {
    report::Failed {
        run: failed.run.as_ref().map(ToString::to_string),
        job: file_name(&failed.job.file),
        variant: failed.variant.clone(),
        why: failed.why.clone(),
    }
}

fn of_redrawn(redrawn: &Redrawn) -> report::Redrawn {
    let of_package = |name: &str| name == package::ZIP || name.split('/').next() == Some(package::FOLDER);
    report::Redrawn {
        run: redrawn.run.to_string(),
        is_package: redrawn.files.iter().all(|file| of_package(file.name.as_str())),
    }
}

fn of_choice(choice: &Choice) -> report::Choice {
    report::Choice {
        run: choice.run.to_string(),
        rule: choice.rule.clone(),
        why: choice.why.clone(),
        night: choice.night.as_ref().map(ToString::to_string),
        by: choice.by.clone(),
    }
}

fn of_order(order: &Order) -> report::Order {
    let files = order.files().map(|file| (file.name.to_string(), file.bytes, file.blake3.to_string()));
    report::Order {
        run: order.run.to_string(),
        files: files.collect(),
        on: order.on.to_string(),
        bureau: order.bureau.clone(),
        price: order.price.clone(),
        reference: order.reference.clone(),
        despite: order.despite.as_ref().map(|despite| (despite.what.clone(), despite.why.clone())),
    }
}
