//! The page of a night: all variants of a job beside each other, whoever made them and when.
//!
//! It is drawn from the run folders and the ledger alone, so the parts that several machines made come together in it.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use turnhue_reports::night::{self as report, DATA, Files, Made, Outcome, PAGE, Row, TABLE};
use turnhue_reports::record::File;

use super::records::{sealed, trouble};
use super::{names, records};

use crate::disk::sync_folder;
use crate::input;
use crate::ledger::deeds::{Build, Choice, Deed, FailedRun, Night as NightDeed};
use crate::ledger::{Entry, Ledger, NIGHTS};
use crate::plan::{Night, Plan};
use crate::run::{Failure, Surroundings, disk_failure};
use crate::shelf::{make_folders_for_good, replace};

/// Largest picture that the page takes in, in bytes: 64 MiB.
const LARGEST_PICTURE: u64 = 64 << 20;

/// The pages of a night, in their place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NightPage {
    /// The page.
    pub page: PathBuf,
    /// The variant that the job's rules chose, by its name, and its run folder.
    pub chosen: Option<(String, PathBuf)>,
    /// Of each rule that was tried, what it came to.
    pub why: Vec<String>,
}

/// Draws the page of a job with several variants from what is there of them, and enters it, with what the job's rules choose,
/// into the ledger.
///
/// # Errors
/// If the page cannot be written, or the ledger cannot be used.
pub fn draw(night: &Night, surroundings: &Surroundings<'_>) -> Result<NightPage, Failure> {
    let job = night.job();
    let commission = surroundings.into.join(job.job.commission.as_str());
    let ledger = Ledger::of(&commission);
    let told = Told::of(ledger.read().map_err(trouble)?);
    let rows: Vec<Row> = night.plans().iter().map(|plan| row(plan, &commission, &told)).collect();
    let name = names::of_night(job);
    let drawn = report::Night {
        title: job.job.title.as_str().to_owned(),
        commission: job.job.commission.as_str().to_owned(),
        job: name.clone(),
        rows,
        rules: night.rules().to_vec(),
    };
    let picture = |run: &str, name: &str| input::read(&commission.join(run).join(name), LARGEST_PICTURE).ok();
    let files =
        report::draw(&drawn, &picture).map_err(|error| Failure::defect(&format!("the night's page: {error}")))?;
    let folder = commission.join(NIGHTS).join(&name);
    let written = write(&folder, &files)
        .map_err(|error| disk_failure(&format!("could not write the page in {}", folder.display()), &error))?;

    let mut deeds = Vec::new();
    let deed = night_deed(&name, &drawn, &written)?;
    if told.nights.get(&name) != Some(&deed) {
        deeds.push(Deed::Night(deed));
    }
    let pick = files.choice.as_ref().and_then(|choice| choice.pick.as_ref());
    let why = files.choice.as_ref().map_or_else(Vec::new, |choice| choice.words.clone());
    if let Some(pick) = pick {
        let choice = Choice {
            run: records::plain(&drawn.rows[pick.row].run)?,
            rule: night.rules().get(pick.rule - 1).and_then(|rule| serde_json::to_string(rule).ok()),
            why: why.last().cloned().unwrap_or_default(),
            night: Some(records::plain(&name)?),
            by: None,
        };
        if told.choices.get(&name) != Some(&choice) {
            deeds.push(Deed::Choice(choice));
        }
    }
    ledger.append(surroundings.clock, &deeds).map_err(trouble)?;
    let chosen = pick.map(|pick| (pick.variant.clone(), commission.join(&drawn.rows[pick.row].run)));
    Ok(NightPage { page: folder.join(PAGE), chosen, why })
}

/// What the ledger says last of what stands on the page.
#[derive(Default)]
struct Told {
    failures: BTreeMap<String, String>,
    nights: BTreeMap<String, NightDeed>,
    choices: BTreeMap<String, Choice>,
}

impl Told {
    fn of(entries: Vec<Entry>) -> Self {
        let mut told = Self::default();
        for entry in entries {
            match entry.deed {
                Deed::FailedRun(failed) => {
                    let FailedRun { run, why, .. } = *failed;
                    run.map(|run| told.failures.insert(run.as_str().to_owned(), why));
                }
                Deed::Night(night) => {
                    told.nights.insert(night.night.as_str().to_owned(), night);
                }
                Deed::Choice(choice) => {
                    let night = choice.night.as_ref().map_or("", |night| night.as_str()).to_owned();
                    told.choices.insert(night, choice);
                }
                _ => {}
            }
        }
        told
    }
}

fn row(plan: &Plan, commission: &Path, told: &Told) -> Row {
    let run = names::of_run(plan);
    let folder = commission.join(&run);
    let not_run = |why: String, remedy: &str| Outcome::NotRun { why, remedy: remedy.to_owned() };
    let outcome = if folder.symlink_metadata().is_ok() {
        match super::folder::unchanged(&folder, &run) {
            Ok(record) => Outcome::Made(Box::new(Made::of(&record))),
            // What is not as it was made must not be chosen.
            Err(what) => not_run(
                format!("its folder is there and is not as it was made: {what}"),
                "move its folder away, and run the job again",
            ),
        }
    } else if let Some(why) = told.failures.get(&run) {
        let (why, remedy) = why.split_once("; ").unwrap_or((why, ""));
        Outcome::Failed { why: why.to_owned(), remedy: remedy.to_owned() }
    } else {
        not_run("it has not been run yet".to_owned(), "run the job again: it goes on from what is there")
    };
    let (name, changes) = plan.variant().map_or_else(
        || (names::of_job(plan), Vec::new()),
        |variant| {
            let changes = variant.changes().map(|change| (change.setting(), as_written(change.value())));
            (variant.name().to_owned(), changes.collect())
        },
    );
    Row { name, changes, run, outcome }
}

fn as_written(value: &serde_json::Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

fn night_deed(name: &str, drawn: &report::Night, written: &[File]) -> Result<NightDeed, Failure> {
    let made = drawn.rows.iter().filter(|row| matches!(row.outcome, Outcome::Made(_)));
    Ok(NightDeed {
        night: records::plain(name)?,
        tool: Build::this(),
        runs: made.map(|row| records::plain(&row.run)).collect::<Result<_, _>>()?,
        failed: drawn.rows.iter().filter(|row| matches!(row.outcome, Outcome::Failed { .. })).count(),
        files: written.iter().map(sealed).collect::<Result<_, _>>()?,
    })
}

/// Writes the files of a night, each in the place of an older one in one step, the page last.
fn write(folder: &Path, files: &Files) -> io::Result<Vec<File>> {
    make_folders_for_good(folder)?;
    let all = [
        (TABLE, "the variants as a table", &files.table),
        (DATA, "the variants for programs", &files.data),
        (PAGE, "the page of the night", &files.page),
    ];
    let written = all.into_iter().map(|(name, what, text)| {
        if !fs::read(folder.join(name)).is_ok_and(|there| there == text.as_bytes()) {
            replace(&folder.join(name), text.as_bytes())?;
        }
        let blake3 = blake3::hash(text.as_bytes()).to_hex().to_string();
        Ok(File { name: name.to_owned(), what: what.to_owned(), bytes: text.len() as u64, blake3 })
    });
    let written = written.collect::<io::Result<Vec<_>>>()?;
    sync_folder(folder)?;
    Ok(written)
}
