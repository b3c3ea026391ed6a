//! `turnhue calibrate`: from what a maker read off a printed coupon to a process file with the figures that follow.
//!
//! The coupon's sizes come from the record of the run that made it, the figures from
//! [`turnhue_stages::chain::coupon::reading`], and the new file from the old one's text with those figures alone changed
//! (`figures`).

mod figures;

use std::fmt;
use std::fs::File;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::str::FromStr;

use turnhue_reports::record::{self, Record, StageRecord};
use turnhue_stages::Length;
use turnhue_stages::chain::coupon::reading::{self, Calibration, Ladders, Readings, Row};
use turnhue_stages::process::Process;

use crate::clock::Moment;
use crate::diagnostic::Diagnostic;
use crate::job::{Site, Text, settings};
use crate::run::RECORD;

/// The stage that makes coupons, and its file that is ordered.
const STAGE: &str = "coupon";
const ORDERED: &str = "coupon.3mf";

/// What is asked for.
#[derive(Clone, Debug)]
pub struct Request {
    /// The folder of the run that made the coupon.
    pub run: PathBuf,
    /// The process file that is taken for the new one.
    pub process: PathBuf,
    /// What was read in each row.
    pub read: [(Row, Option<Choice>); 4],
    /// The new file.
    pub into: PathBuf,
    /// Whether a file that is there may be replaced.
    pub replace: bool,
}

/// One of a row: by the number printed beside it, or by its size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Choice {
    /// Its number, from 1.
    Number(usize),
    /// Its size.
    Size(Length),
}

impl FromStr for Choice {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        if let Ok(number) = text.parse::<usize>() {
            return if number > 0 {
                Ok(Self::Number(number))
            } else {
                Err("numbers on the coupon begin at 1".to_owned())
            };
        }
        if text.eq_ignore_ascii_case("none") {
            return Err(
                "if none held, this coupon cannot tell the figure: print one with larger sizes (see `turnhue stages \
                        coupon`)"
                    .to_owned(),
            );
        }
        let size = text.parse::<Length>().ok().filter(|size| size.mm() > 0.0);
        size.map(Self::Size)
            .ok_or_else(|| format!("'{text}' is neither a number on the coupon, such as 3, nor a size, such as 0.9 mm"))
    }
}

/// What was written.
#[derive(Clone, Debug)]
pub struct Written {
    /// The new file.
    pub path: PathBuf,
    /// Each figure that changed: its name, and what it was and is, in words.
    pub changed: Vec<(&'static str, String)>,
    /// What to look at.
    pub cautions: Vec<Diagnostic>,
}

/// Why nothing was written.
#[derive(Clone, Debug)]
pub enum Refusal {
    /// What was given makes no sense.
    Wrong(Vec<Diagnostic>),
    /// The file could not be written.
    Disk(Box<Diagnostic>),
}

impl From<Diagnostic> for Refusal {
    fn from(wrong: Diagnostic) -> Self {
        Self::Wrong(vec![wrong])
    }
}

/// Writes the new process file, whole or not at all.
///
/// # Errors
/// See [`Refusal`].
pub fn calibrate(request: &Request, now: Moment) -> Result<Written, Refusal> {
    if request.read.iter().all(|(_, choice)| choice.is_none()) {
        return Err(Diagnostic::error("nothing was read off")
            .remedy("give at least one of --smallest-patch, --thinnest-line, --first-sliding and --thinnest-wall")
            .into());
    }
    if request.into.symlink_metadata().is_ok() && !request.replace {
        return Err(Diagnostic::error(format!("{} is there already", request.into.display()))
            .remedy("name another file with --into, or say --replace to write over it")
            .into());
    }
    let (text, process) = read_process(&request.process)?;
    let (record, ladders) = read_coupon(&request.run)?;
    let readings = readings(&request.read, &ladders)?;
    let calibration = reading::calibrate(&ladders, &readings).map_err(|message| {
        Diagnostic::error(message).remedy("look at both rows again, in daylight; or give the one that you are sure of")
    })?;

    let basis = |row: &[Row]| basis(&record, &request.read, row, &ladders, now);
    let figures = figures::of(&calibration, basis);
    let new = figures::put(&text, &process, &figures).map_err(|message| {
        let by_hand: Vec<String> = figures.iter().map(|figure| figure.in_yaml()).collect();
        Diagnostic::error(format!("{}: {message}", request.process.display()))
            .remedy(format!("write the figures in by hand: {}", by_hand.join("; ")))
    })?;
    write(&request.into, new.as_bytes(), request.replace).map_err(|error| {
        let taken = error.kind() == io::ErrorKind::AlreadyExists;
        Refusal::Disk(Box::new(
            Diagnostic::error(format!("could not write {}: {error}", request.into.display())).remedy(if taken {
                "somebody made that file meanwhile: name another with --into"
            } else {
                "name a file in a folder that is there and can be written"
            }),
        ))
    })?;
    let changed = figures.iter().map(|figure| (figure.field, figure.change(&process))).collect();
    Ok(Written { path: request.into.clone(), changed, cautions: cautions(&record, &process, request, &calibration) })
}

fn read_process(path: &Path) -> Result<(Text, Process), Refusal> {
    let text = Text::open(path).map_err(Refusal::Wrong)?;
    let mut faults = Vec::new();
    let process = settings::read::<Process>(&text, "", text.value().clone(), &mut faults);
    let Some(process) = process else {
        let doing = format!("reading the process file {}", path.display());
        return Err(Refusal::Wrong(faults.into_iter().map(|fault| fault.during(doing.clone())).collect()));
    };
    match process.check() {
        Ok(()) => Ok((text, process)),
        Err(misfit) => Err(settings::at_setting(&text, &Site::default(), misfit).into()),
    }
}

fn read_coupon(run: &Path) -> Result<(Record, Ladders), Refusal> {
    let path = run.join(RECORD);
    let record = record::read(&path).map_err(|error| {
        Diagnostic::error(format!("could not read the record {}: {error}", path.display()))
            .remedy("name the folder of the run that made the coupon, such as runs/COMMISSION/RUN")
    })?;
    let Some(stage) = coupon(&record) else {
        let chain: Vec<&str> = record.stages.iter().map(|stage| stage.name.as_str()).collect();
        return Err(Diagnostic::error(format!("run {} made no coupon: its chain is {}", record.run, chain.join(", ")))
            .remedy(
                "name the run whose coupon you hold; for a new one put `coupon` behind `colour` in a job and run it",
            )
            .into());
    };
    let ladders = Ladders::of_facts(&stage.facts).map_err(|message| {
        Diagnostic::error(format!("could not read the coupon's sizes from {}: {message}", path.display()))
            .remedy("take the record as the run wrote it")
    })?;
    Ok((record, ladders))
}

fn coupon(record: &Record) -> Option<&StageRecord> {
    record.stages.iter().rfind(|stage| stage.name == STAGE)
}

/// How a row's reading is given.
const fn option(row: Row) -> &'static str {
    match row {
        Row::Cells => "--smallest-patch",
        Row::Lines => "--thinnest-line",
        Row::Fits => "--first-sliding",
        Row::Thicknesses => "--thinnest-wall",
    }
}

fn readings(read: &[(Row, Option<Choice>)], ladders: &Ladders) -> Result<Readings, Refusal> {
    let (mut readings, mut faults) = (Readings::default(), Vec::new());
    for &(row, choice) in read {
        let Some(choice) = choice else { continue };
        let place = place(choice, ladders.row(row));
        if place.is_none() {
            faults.push(not_there(row, choice, ladders.row(row)));
        }
        match row {
            Row::Cells => readings.patch = place,
            Row::Lines => readings.line = place,
            Row::Fits => readings.slot = place,
            Row::Thicknesses => readings.fin = place,
        }
    }
    if faults.is_empty() { Ok(readings) } else { Err(Refusal::Wrong(faults)) }
}

/// The place of one of a row; sizes are told to the micrometre.
fn place(choice: Choice, sizes: &[f64]) -> Option<usize> {
    match choice {
        Choice::Number(number) => number.checked_sub(1).filter(|&place| place < sizes.len()),
        Choice::Size(size) => sizes.iter().position(|mm| (mm - size.mm()).abs() < 5e-4),
    }
}

fn not_there(row: Row, choice: Choice, sizes: &[f64]) -> Diagnostic {
    let has: Vec<String> = sizes.iter().zip(1..).map(|(mm, number)| format!("{number} ({mm} mm)")).collect();
    let asked = match choice {
        Choice::Number(number) => format!("{number}"),
        Choice::Size(size) => format!("of {size}"),
    };
    Diagnostic::error(format!("{}: the coupon has no {} {asked}", option(row), row.item())).remedy(format!(
        "row {} has {}",
        row.letter(),
        has.join(", ")
    ))
}

/// What a figure rests on: which coupon, when it was read, and what was seen.
fn basis(record: &Record, read: &[(Row, Option<Choice>)], rows: &[Row], ladders: &Ladders, now: Moment) -> String {
    let made = coupon(record).and_then(|stage| stage.artefacts.iter().find(|file| file.name == ORDERED));
    let digest = made.and_then(|file| file.blake3.get(..16)).unwrap_or("unknown");
    let seen = read.iter().filter(|(row, _)| rows.contains(row)).filter_map(|&(row, choice)| {
        let sizes = ladders.row(row);
        let place = place(choice?, sizes)?;
        Some(format!("{} {} ({} mm)", row.item(), place + 1, sizes[place]))
    });
    let seen: Vec<String> = seen.collect();
    let day = &now.rfc3339()[..10];
    format!("read off coupon of run {} (digest {digest}) on {day}: {}", record.run, seen.join(", "))
}

fn cautions(record: &Record, process: &Process, request: &Request, calibration: &Calibration) -> Vec<Diagnostic> {
    let mut cautions = Vec::new();
    if record.process.name != process.name {
        cautions.push(
            Diagnostic::caution(format!(
                "the coupon was made for the process '{}', and {} is '{}'",
                record.process.name,
                request.process.display(),
                process.name
            ))
            .remedy("see that both are the same printer and material: a coupon tells nothing about another one"),
        );
    }
    let moved = request.into.parent() != request.process.parent();
    if let Some(profile) = process.profile.as_ref().filter(|_| moved) {
        cautions.push(
            Diagnostic::caution(format!("the new file is in another folder than the profile {}", profile.value.name()))
                .remedy("copy the profile there too: a process file looks for it beside itself"),
        );
    }
    // The end that nothing on the coupon bounds is told as nothing, or as the thinnest that a wall can be.
    let open = |measured: Option<reading::Measured>| measured.is_some_and(|m| m.range[0].mm() <= reading::GRAIN);
    let rows = [
        (open(calibration.bleed), "every patch or line held", "bleed"),
        (open(calibration.clearance), "the key slides into the narrowest slot", "clearance"),
        (open(calibration.minimum_wall), "the thinnest fin held", "minimum_wall"),
    ];
    for (_, what, field) in rows.into_iter().filter(|(open, ..)| *open) {
        cautions.push(
            Diagnostic::caution(format!("{what}: `{field}` may be smaller than what was written"))
                .remedy("print a coupon with smaller sizes if it matters (see `turnhue stages coupon`)"),
        );
    }
    cautions
}

/// Writes a file that appears whole: under another name first, then in one step.
fn write(path: &Path, bytes: &[u8], replace: bool) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mut builder = tempfile::Builder::new();
    builder.prefix(".calibrate-");
    // Left to itself, a temporary file is for its owner alone; this one is as any other that is made here.
    #[cfg(unix)]
    builder.permissions(std::os::unix::fs::PermissionsExt::from_mode(0o666));
    let mut file = builder.tempfile_in(folder)?;
    file.write_all(bytes)?;
    file.as_file().sync_all()?;
    let kept: File = if replace { file.persist(path)? } else { file.persist_noclobber(path)? };
    drop(kept);
    Ok(())
}

impl fmt::Display for Written {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "{}", self.path.display())?;
        self.changed.iter().try_for_each(|(field, change)| writeln!(f, "  {field:13} {change}"))
    }
}

#[cfg(test)]
mod tests;
