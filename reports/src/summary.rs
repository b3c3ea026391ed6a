//! The summary page of a run: one file that opens offline, for the maker and for the client.
//!
//! What it guarantees, each with its test in `tests/summary.rs`:
//!
//! - The page asks for nothing: no address but `data:`, and a content security policy that says so; links lead to files beside it.
//!   It runs no script but those of `templates/script/`, and with the piece in the round that of `vendor/`, which the policy
//!   allows by their digests: no text of the record is part of a script or of what sets it off.
//! - With the script or without, the six sides stand on it as designed beside printed, where that was predicted.
//! - However large the frames of a turn are, they make it no larger than [`LARGEST_TURNING`]: of larger frames every
//!   second, third, sixth or ninth is shown, or none.
//! - No text of the record becomes markup.
//! - Every finding, fact, artefact and input of the record is in the page. Of a finding's places the first
//!   [`MOST_PLACES`] are, with the number of the others.

use std::cmp::Reverse;

use askama::Template;
use turnhue_stages::findings::Severity;
use turnhue_stages::process::Figure;
use turnhue_stages::{Length, Srgb};

use crate::address;
use crate::advice::view::AdviceView;
use crate::answers::{self, Answer, COST_STAGE};
use crate::cautions::{self, Caution};
use crate::colours;
use crate::cost;
use crate::files::{self, Group};
use crate::in_the_round::InTheRound;
use crate::inside::Inside;
use crate::mounting::{self, Divided, Mounting};
use crate::numbers;
use crate::palette::Palette;
use crate::pictures::{self, Picture};
use crate::proof::{self, Proof};
use crate::record::{File, Record, StageRecord, Verdict};
use crate::said::{self, Said, Told};
use crate::script;
use crate::shell::Shell;
use crate::turntable;
use crate::views::{self, CornerView, Pictures, Shot, SideView};

/// How many places of one finding the page lists; `run.json` has them all.
pub const MOST_PLACES: usize = 6;

/// The largest page with the frames of a turn, in bytes: one that still goes into an e-mail.
pub const LARGEST_TURNING: usize = 6_000_000;

/// Draws the summary page of a run, as HTML.
///
/// `pictures` gives the bytes of an artefact by its name in the run folder. It is asked only for names that the record
/// lists and that cannot lead out of the folder. A picture that is missing, or is neither PNG nor JPEG, is left out of
/// the page.
///
/// # Errors
/// If the page cannot be put together, which no record can cause.
pub fn draw(record: &Record, pictures: &dyn Fn(&str) -> Option<Vec<u8>>) -> Result<String, askama::Error> {
    let told = colours::of_sides(record);
    let in_the_round = InTheRound::of(record, pictures);
    let mut shell = Shell::of(record)?.running(&[script::THEME, script::TURNTABLE]);
    if in_the_round.as_ref().is_some_and(|piece| piece.packed.is_some()) {
        shell = shell.running(&[script::IN_THE_ROUND]);
    }
    let proof = Proof::of(record, told);
    let mut page = Page {
        record,
        shell,
        order: answers::order(record),
        effect: answers::effect(proof.as_ref().and_then(|proof| proof.effect.as_ref())),
        price: answers::cost(record),
        proof,
        in_the_round,
        palette: Palette::of(record, told),
        corners: views::corners(record, pictures),
        sides: views::sides(record, told, pictures),
        inside: colours::of_inside(record),
        what: key_facts(record, &WHAT),
        key_facts: key_facts(record, &ASKED),
        findings: findings(record, pictures),
        cost: record
            .stages
            .iter()
            .rfind(|stage| stage.name == COST_STAGE)
            .map(|stage| (Said::of(&stage.facts), cost::Drawn::of(stage))),
        advice: record.advice.as_ref().map(AdviceView::of),
        divided: Divided::of(record, pictures),
        hollowed: Inside::of(record, pictures),
        mounting: Mounting::of(record, pictures),
        process: process_rows(record),
        cautions: cautions::of(record),
        stages: record.stages.iter().zip(1..).map(|(stage, number)| StageView::of(number, stage, pictures)).collect(),
        to_order: files::to_order(record),
        groups: files::groups(record),
        command: format!("turnhue run {}", said::shell_word(&job_name(record))),
        resolved: format!("{:#}", record.resolved),
    };
    let still = page.render()?;
    let room = LARGEST_TURNING.saturating_sub(still.len() + FIGURE);
    match (&mut page.proof, proof::turntable(record, pictures, room)) {
        (Some(proof), Some(turntable)) => {
            proof.turntable = Some(turntable);
            page.render()
        }
        _ => Ok(still),
    }
}

/// What the figure around the frames of a turn takes, with leave for its script, in bytes; some 2000.
const FIGURE: usize = 8_000;

#[derive(Template)]
#[template(path = "summary.html", whitespace = "minimize")]
struct Page<'a> {
    record: &'a Record,
    shell: Shell,
    order: Answer,
    effect: Answer,
    price: Answer,
    proof: Option<Proof>,
    in_the_round: Option<InTheRound>,
    palette: Option<Palette>,
    corners: Vec<CornerView>,
    sides: Vec<SideView>,
    inside: Option<Srgb>,
    /// What the piece is, in figures.
    what: Vec<KeyFact<'a>>,
    key_facts: Vec<KeyFact<'a>>,
    findings: Vec<Told<'a>>,
    cost: Option<(Said, cost::Drawn)>,
    advice: Option<AdviceView<'a>>,
    divided: Option<Divided>,
    hollowed: Option<Inside>,
    mounting: Option<Mounting>,
    process: Vec<(&'static str, String, &'a str)>,
    cautions: Vec<Caution>,
    stages: Vec<StageView<'a>>,
    to_order: Vec<&'a File>,
    groups: Vec<Group<'a>>,
    command: String,
    resolved: String,
}

impl Page<'_> {
    /// The name under which to save the job.
    fn job_name(&self) -> String {
        job_name(self.record)
    }

    /// How many findings there are, by severity: `1 caution, 3 notes`.
    fn found(&self) -> String {
        let count = |severity| self.findings.iter().filter(|told| told.finding.severity == severity).count();
        let counts = [(Severity::Fault, "fault"), (Severity::Caution, "caution"), (Severity::Note, "note")]
            .map(|(severity, word)| (count(severity), word));
        let words: Vec<_> = counts
            .iter()
            .filter(|(count, _)| *count > 0)
            .map(|&(count, word)| if count == 1 { format!("1 {word}") } else { format!("{count} {word}s") })
            .collect();
        if words.is_empty() { "no findings".to_owned() } else { words.join(", ") }
    }

    /// Whether any side is shown as designed beside printed.
    fn has_pairs(&self) -> bool {
        self.sides.iter().any(|view| matches!(view.shot, Shot::Pair(_)))
    }

    /// The sections that are on the page, in order: where they are, and their names.
    fn contents(&self) -> Vec<(&'static str, &'static str)> {
        let has_faults = self.record.has_faults();
        let sections = [
            ("findings", "Findings", has_faults),
            ("look", "How it will look", self.proof.is_some()),
            ("round", "In the round", self.in_the_round.is_some()),
            ("sides", "From each side", !self.sides.is_empty()),
            ("palette", "Colours beside each other", self.palette.is_some()),
            ("findings", "Findings", !has_faults),
            ("parts", "In parts", self.divided.is_some()),
            ("inside", "Inside", self.hollowed.is_some()),
            ("stand", "On its stand", self.mounting.is_some()),
            ("advice", "The right cell", self.advice.is_some()),
            ("cost", "Cost", self.cost.is_some()),
            ("care", "Handle with care", true),
            ("files", "Files", true),
            ("process", "The process", true),
            ("stages", "Stage by stage", true),
            ("again", "Make it again", true),
        ];
        sections.into_iter().filter(|(.., shown)| *shown).map(|(place, name, _)| (place, name)).collect()
    }

    /// The section that shows what a finding without a picture is about, if it is on the page.
    fn seen_under(&self, told: &Told<'_>) -> Option<(&'static str, &'static str)> {
        let place = told.section().filter(|_| told.shown.is_none())?;
        self.contents().into_iter().find(|(known, _)| *known == place)
    }

    /// When the run began and how long it took, where the record says it.
    fn when(&self) -> String {
        match (&self.record.started, self.record.seconds) {
            (Some(started), Some(seconds)) => {
                format!(", {}, in {}", numbers::moment(started), numbers::seconds(seconds))
            }
            _ => String::new(),
        }
    }

    /// What went in.
    fn put_in(&self) -> Vec<&File> {
        self.record.inputs.iter().collect()
    }

    /// Whether to order a file: nothing is said of files that are not made for it.
    fn advice(&self, file: &File) -> Option<&'static str> {
        self.record.orders().any(|order| *order == file.name).then_some(match self.record.verdict {
            Verdict::ReadyToOrder => "Order this one",
            Verdict::HasFaults => "Do not order: it has faults",
            Verdict::NotValidated => "Not measured: do not order yet",
        })
    }
}

/// A figure that a client asks for first, with the stage that said it.
struct KeyFact<'a> {
    label: &'static str,
    value: String,
    /// The stage's place in the chain, from 1.
    number: usize,
    stage: &'a str,
}

/// A figure that is asked for: its label, and the names under which a stage may say it, the best first.
type Asked = (&'static str, &'static [&'static str]);

/// What the piece is.
const WHAT: [Asked; 4] = [
    ("Width × depth × height", &["size"]),
    ("Cubes", &["cells after repair", "cells"]),
    ("Cube edge", &["cell"]),
    ("Weight", &["weight"]),
];

/// What else is asked for first.
const ASKED: [Asked; 5] = [
    ("Volume in common with the model", &["volume overlap"]),
    ("Thinnest wall", &["thinnest wall", "wall"]),
    ("Own colour, worst side", &["least share in the side's own colour"]),
    ("Material", &["volume", "material"]),
    ("Saved by the cavity", &["material saved"]),
];

/// Figures that are asked for, as far as the stages said them; of stages that say the same, the last knows best.
fn key_facts<'a>(record: &'a Record, asked: &[Asked]) -> Vec<KeyFact<'a>> {
    let said = |name: &str| {
        let stages = record.stages.iter().zip(1..);
        let facts = stages.flat_map(|(stage, number)| stage.facts.iter().map(move |fact| (number, stage, fact)));
        facts.filter(|(_, _, fact)| fact.name == name).last()
    };
    let answer = |&(label, names): &Asked| {
        let (number, stage, fact) = names.iter().find_map(|name| said(name))?;
        Some(KeyFact { label, value: said::value(fact), number, stage: &stage.name })
    };
    asked.iter().filter_map(answer).collect()
}

/// Every finding with its stage, faults first.
fn findings<'a>(record: &'a Record, pictures: Pictures<'_>) -> Vec<Told<'a>> {
    let stages = record.stages.iter().zip(1..);
    let told = |(stage, number)| Told::all(number, stage, MOST_PLACES).map(move |told| told.shown_by(stage, pictures));
    let mut findings: Vec<_> = stages.flat_map(told).collect();
    findings.sort_by_key(|told| Reverse(told.finding.severity));
    findings
}

/// The name of the job file, without the folders of whoever ran it; where the record has none, one after the run.
fn job_name(record: &Record) -> String {
    record.job.as_ref().map_or_else(|| format!("{}.yaml", record.run), |job| file_name(&job.file).to_owned())
}

/// A stage, as the page shows it.
struct StageView<'a> {
    stage: &'a StageRecord,
    time: String,
    settings: Vec<(String, String)>,
    said: Said,
    findings: Vec<Told<'a>>,
    /// The names of what it made, frames of a series drawn together.
    made: Vec<String>,
    pictures: Vec<(&'a File, Picture)>,
    /// Whether its facts have a section of their own.
    is_cost: bool,
}

impl<'a> StageView<'a> {
    fn of(number: usize, stage: &'a StageRecord, pictures: Pictures<'_>) -> Self {
        Self {
            stage,
            time: stage.seconds.map_or_else(String::new, |seconds| format!(" · {}", numbers::seconds(seconds))),
            settings: said::settings(&stage.settings),
            said: Said::of(&stage.facts),
            findings: Told::all(number, stage, 0).collect(),
            made: names(&stage.artefacts),
            pictures: stage
                .artefacts
                .iter()
                .filter(|file| !stage.findings.iter().any(|finding| finding.picture.as_ref() == Some(&file.name)))
                .filter_map(|file| Some((file, picture_beside(file, pictures)?)))
                .collect(),
            is_cost: stage.name == COST_STAGE,
        }
    }
}

impl StageView<'_> {
    /// What it took, in words.
    fn took(&self) -> String {
        if self.stage.needs.is_empty() {
            "took nothing".to_owned()
        } else {
            format!("took {}", self.stage.needs.join(", "))
        }
    }

    /// What it gave, in words: parts of the piece, files, findings.
    fn gave(&self) -> String {
        let counted = |count: usize, one: &str| {
            (count > 0).then(|| if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") })
        };
        let mut gave = self.stage.gives.clone();
        gave.extend(counted(self.stage.facts.len(), "figure").filter(|_| gave.is_empty()));
        gave.extend(counted(self.stage.artefacts.len(), "file"));
        gave.extend(counted(self.stage.findings.len(), "finding"));
        if gave.is_empty() { "gave nothing".to_owned() } else { format!("gave {}", gave.join(", ")) }
    }

    /// The class of the gravest of its findings.
    fn worst(&self) -> &'static str {
        match self.stage.findings.iter().map(|finding| finding.severity).max() {
            Some(Severity::Fault) => "fault",
            Some(Severity::Caution) => "caution",
            Some(Severity::Note) => "note",
            None => "quiet",
        }
    }
}

/// Whether a file is one page of the sheets to build by: these are also together in one file for each paper.
fn is_page(name: &str) -> bool {
    let number = name.strip_prefix("handbuild-").and_then(|rest| rest.strip_suffix(".svg"));
    number.is_some_and(|number| number.len() >= 3 && number.bytes().all(|digit| digit.is_ascii_digit()))
}

/// Names of files, of the frames of a turn and of single pages the first and the last of each series.
fn names(files: &[File]) -> Vec<String> {
    let of_series = |series| files.iter().filter(move |file| turntable::series(&file.name) == Some(series));
    let frames = turntable::SERIES.iter().filter_map(|series| {
        let (first, last) = (of_series(series).next()?, of_series(series).next_back()?);
        Some(format!("{} … {}", first.name, last.name))
    });
    let pages = || files.iter().filter(|file| is_page(&file.name));
    let pages = pages().next().zip(pages().next_back()).map(|(first, last)| format!("{} … {}", first.name, last.name));
    let alone = |file: &&File| !turntable::is_frame(&file.name) && !is_page(&file.name);
    files.iter().filter(alone).map(|file| file.name.clone()).chain(frames).chain(pages).collect()
}

/// A picture beside the views and those of findings.
fn picture_beside(file: &File, pictures: Pictures<'_>) -> Option<Picture> {
    let name = &file.name;
    let shown = views::is_view(name) || proof::is_picture(name) || mounting::is_picture(name);
    let beside = pictures::is_picture(name) && !shown;
    Picture::of(&beside.then(|| pictures(&file.name)).flatten()?)
}

/// What the process can hold: name, figure and basis.
pub(crate) fn process_rows(record: &Record) -> Vec<(&'static str, String, &str)> {
    let process = &record.process;
    let mut lengths = vec![
        ("Layer", &process.layer),
        ("Minimum wall", &process.minimum_wall),
        ("Smallest detail", &process.detail),
        ("Narrowest gap", &process.gap),
        ("Smallest opening", &process.opening),
        ("Colour bleed (standard deviation)", &process.bleed),
        ("Edge rounding (radius)", &process.edge_radius),
        ("Tolerance (either way)", &process.tolerance),
    ];
    lengths.extend(process.clearance.as_ref().map(|clearance| ("Clearance (on each side)", clearance)));
    let volume = process.build_volume.value.map(|length| length.mm());
    let mut rows = vec![("Build volume", numbers::millimetres(&volume), process.build_volume.basis.as_str())];
    rows.extend(lengths.into_iter().map(|(name, figure)| (name, length(figure), figure.basis.as_str())));
    if let Some(base) = &process.base {
        rows.push(("Bare material", base.value.to_string(), &base.basis));
    }
    if let Some(profile) = &process.profile {
        rows.push(("Printable colours", format!("as {} says", profile.value.name()), &profile.basis));
    } else if let Some(gamut) = &process.gamut {
        rows.push(("Printable colours", format!("between {} patches", gamut.value.len()), &gamut.basis));
    }
    let density = format!("{}\u{a0}g/cm³", numbers::measured(process.density.value));
    rows.push(("Density", density, &process.density.basis));
    if let Some(strength) = &process.strength {
        rows.push(("Bending strength", format!("{}\u{a0}MPa", numbers::measured(strength.value)), &strength.basis));
    }
    let most = |count: u64| i64::try_from(count).unwrap_or(i64::MAX);
    let triangles = numbers::whole(most(process.most_triangles.value));
    rows.push(("Most triangles in a file", triangles, &process.most_triangles.basis));
    rows.push(("Largest file", numbers::bytes(process.most_bytes.value), &process.most_bytes.basis));
    rows
}

/// A length with its range, where it has one: `0.3 mm (0.2 to 0.45)`.
pub(crate) fn length(figure: &Figure<Length>) -> String {
    let value = numbers::millimetres(&[figure.value.mm()]);
    match figure.range.map(|ends| ends.map(|end| numbers::measured(end.mm()))) {
        Some([least, most]) => format!("{value} ({least} to {most})"),
        None => value,
    }
}

fn file_name(path: &str) -> &str {
    path.rsplit('/').next().unwrap_or(path)
}
