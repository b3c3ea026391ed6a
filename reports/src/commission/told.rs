//! Tales as the page shows them: in sentences, with pictures and figures where they stand open.

use std::collections::{BTreeMap, BTreeSet};

use serde::Deserialize;

use super::changes::Changes;
use super::story::{self, MOST_OPEN, Tale, Variants, What};
use super::{Choice, Commission, Deed, Delivery, Failed, Files, Note, Order, Run, StageDone};
use crate::address;
use crate::night::choose::counted;
use crate::night::{DATA, Figure, Made, thumbnail};
use crate::numbers;
use crate::pictures::Picture;
use crate::record::{self, Record, Verdict};

/// The record's file name in the folder of a run.
const RECORD: &str = "run.json";
/// The folder of the pages of variants.
const NIGHTS: &str = "nights";
/// So many variants of a night are shown.
const MOST_BEST: usize = 4;
/// So many reasons are told why variants failed, and so many runs are named whose pages were drawn anew.
const MOST_NAMED: usize = 6;

/// The tales of one day.
pub(crate) struct Day<'a> {
    pub(crate) date: String,
    pub(crate) told: Vec<Told<'a>>,
}

/// One tale.
pub(crate) struct Told<'a> {
    pub(crate) seq: u64,
    /// When it was over, as RFC 3339 and as the time of its day; and when it began, if it went on for more than a minute.
    pub(crate) over: &'a str,
    pub(crate) time: &'a str,
    pub(crate) began: Option<String>,
    /// The class that gives its tone.
    pub(crate) class: &'static str,
    pub(crate) view: View<'a>,
}

/// What is shown of it.
pub(crate) enum View<'a> {
    Run(Box<RunView<'a>>),
    Failed { failed: &'a Failed, why: &'a str, remedy: &'a str },
    Redrawn { runs: Vec<Linked<'a>>, more: usize, count: usize, is_package: bool },
    Variants(Box<VariantsView<'a>>),
    Choice { choice: &'a Choice, run: Linked<'a> },
    Order { order: &'a Order, run: Linked<'a> },
    Delivery { delivery: &'a Delivery, run: Linked<'a> },
    Note { note: &'a Note, run: Option<Linked<'a>> },
}

/// A run by its name, and where its summary lies if there is one.
pub(crate) struct Linked<'a> {
    pub(crate) name: &'a str,
    pub(crate) address: Option<String>,
}

/// A run that was made.
pub(crate) struct RunView<'a> {
    pub(crate) run: &'a Run,
    pub(crate) name: Linked<'a>,
    pub(crate) verdict: &'static str,
    pub(crate) title: Option<String>,
    pub(crate) picture: Option<Picture>,
    pub(crate) figures: Vec<(&'static str, String)>,
    pub(crate) changes: Option<Changes>,
    pub(crate) took: String,
    /// Whether it is the last one, whose times stand open.
    pub(crate) is_newest: bool,
    /// The stages with their times; none where the tale is folded.
    pub(crate) bars: Vec<Bar<'a>>,
    /// What made it, and what it held of memory.
    pub(crate) by: String,
}

/// A stage's time beside that of the longest stage of its run.
pub(crate) struct Bar<'a> {
    pub(crate) stage: &'a str,
    /// Its length in per cent; nothing where it did not run.
    pub(crate) length: Option<u32>,
    pub(crate) time: String,
}

/// The variants of a job.
pub(crate) struct VariantsView<'a> {
    pub(crate) job: &'a str,
    pub(crate) head: String,
    /// Its page.
    pub(crate) address: Option<String>,
    /// What became of them.
    pub(crate) counts: String,
    pub(crate) took: String,
    pub(crate) best: Vec<Best>,
    pub(crate) reasons: Vec<(&'a str, usize)>,
    pub(crate) more_reasons: usize,
}

/// One of the best variants of a night.
pub(crate) struct Best {
    pub(crate) name: String,
    pub(crate) address: String,
    pub(crate) picture: Option<Picture>,
    pub(crate) is_chosen: bool,
    pub(crate) figures: Vec<(&'static str, String)>,
}

/// The tales of a commission, those that are folded apart from those that stand open.
pub(crate) struct Story<'a> {
    pub(crate) older: Vec<Day<'a>>,
    pub(crate) newest: Vec<Day<'a>>,
}

impl Story<'_> {
    pub(crate) fn count_older(&self) -> usize {
        self.older.iter().map(|day| day.told.len()).sum()
    }

    /// On which days what is folded was over.
    pub(crate) fn older_days(&self) -> String {
        match (self.older.first(), self.older.last()) {
            (Some(first), Some(last)) if self.older.len() > 1 => format!("from {} to {}", first.date, last.date),
            (Some(only), _) => format!("on {}", only.date),
            _ => String::new(),
        }
    }
}

/// Tells a commission.
pub(crate) fn story<'a>(commission: &'a Commission, files: Files<'_>) -> Story<'a> {
    let tales = story::tales(&commission.entries);
    let (older, newest) = tales.split_at(tales.len().saturating_sub(MOST_OPEN));
    let teller = Teller::of(commission, files);
    let mut before = older.iter().rev().find_map(|tale| teller.record_of(tale));
    let mut newest: Vec<_> = newest.iter().map(|tale| teller.tell(tale, Some(&mut before))).collect();
    let runs = newest.iter_mut().filter_map(|told| match &mut told.view {
        View::Run(run) => Some(run),
        _ => None,
    });
    if let Some(run) = runs.last() {
        run.is_newest = true;
    }
    let older: Vec<_> = older.iter().map(|tale| teller.tell(tale, None)).collect();
    Story { older: by_day(older), newest: by_day(newest) }
}

/// The record of a run, if it can be read and is that of this run.
pub(crate) fn read(run: &str, files: Files<'_>) -> Option<Record> {
    record::parse(&files(run, RECORD)?).ok().filter(|record| record.run == run)
}

fn by_day(told: Vec<Told<'_>>) -> Vec<Day<'_>> {
    let mut days: Vec<Day<'_>> = Vec::new();
    for told in told {
        let date = numbers::day(told.over.get(..10).unwrap_or_default());
        match days.last_mut() {
            Some(day) if day.date == date => day.told.push(told),
            _ => days.push(Day { date, told: vec![told] }),
        }
    }
    days
}

/// The time of a day, `09:12`.
fn time(moment: &str) -> &str {
    moment.get(11..16).unwrap_or_default()
}

struct Teller<'a, 'f> {
    /// What the last entry of each run says it comes to: what is no run of the commission is not linked.
    verdicts: BTreeMap<&'a str, Verdict>,
    files: Files<'f>,
}

impl<'a, 'f> Teller<'a, 'f> {
    fn of(commission: &'a Commission, files: Files<'f>) -> Self {
        let verdicts = commission.entries.iter().filter_map(|entry| match &entry.deed {
            Deed::Run(run) => Some((run.run.as_str(), run.verdict)),
            _ => None,
        });
        Self { verdicts: verdicts.collect(), files }
    }

    /// The record of the single run that a tale is about.
    fn record_of(&self, tale: &Tale<'_>) -> Option<Record> {
        match tale.what {
            What::Run(run) => read(&run.run, self.files),
            _ => None,
        }
    }

    /// A tale that stands open is told with the record of the run before; one that is folded without any record.
    fn tell(&self, tale: &Tale<'a>, before: Option<&mut Option<Record>>) -> Told<'a> {
        let (class, view) = self.view(tale, before);
        let same_day = tale.began.get(..10) == tale.over.get(..10);
        let began = (tale.began.get(..16) != tale.over.get(..16))
            .then(|| if same_day { time(tale.began).to_owned() } else { numbers::moment(tale.began) });
        Told { seq: tale.first, over: tale.over, time: time(tale.over), began, class, view }
    }

    fn view(&self, tale: &Tale<'a>, before: Option<&mut Option<Record>>) -> (&'static str, View<'a>) {
        match &tale.what {
            What::Run(run) => (tone(run.verdict), View::Run(Box::new(self.run(run, before)))),
            What::Failed(failed) => {
                let (why, remedy) = failed.why.split_once("; ").unwrap_or((&failed.why, ""));
                ("fault", View::Failed { failed, why, remedy })
            }
            What::Redrawn { runs, is_package } => {
                let named = runs.iter().take(MOST_NAMED).map(|run| self.link(run)).collect();
                let (count, more) = (runs.len(), runs.len().saturating_sub(MOST_NAMED));
                ("quiet", View::Redrawn { runs: named, more, count, is_package: *is_package })
            }
            What::Variants(variants) => ("known", View::Variants(Box::new(self.variants(variants, before.is_some())))),
            What::Choice(choice) => ("known", View::Choice { choice, run: self.link(&choice.run) }),
            What::Order(order) => {
                let class = if order.despite.is_some() { "caution" } else { "ready" };
                (class, View::Order { order, run: self.link(&order.run) })
            }
            What::Delivery(delivery) => ("ready", View::Delivery { delivery, run: self.link(&delivery.run) }),
            What::Note(note) => ("note", View::Note { note, run: note.run.as_ref().map(|run| self.link(run)) }),
        }
    }

    fn link(&self, name: &'a str) -> Linked<'a> {
        Linked { name, address: self.verdicts.contains_key(name).then(|| summary(name)) }
    }

    fn run(&self, run: &'a Run, before: Option<&mut Option<Record>>) -> RunView<'a> {
        let mut view = RunView {
            run,
            name: self.link(&run.run),
            verdict: word(run.verdict),
            title: None,
            picture: None,
            figures: Vec::new(),
            changes: None,
            took: took(run),
            is_newest: false,
            bars: Vec::new(),
            by: by(run),
        };
        let Some(before) = before else { return view };
        view.bars = bars(&run.stages);
        if let Some(record) = read(&run.run, self.files) {
            let made = Made::of(&record);
            view.picture = self.thumbnail(&run.run, &made);
            view.figures = figures(&made);
            view.changes = before.as_ref().map(|before| Changes::between(before, &record));
            view.title = Some(record.title.clone());
            *before = Some(record);
        }
        view
    }

    fn thumbnail(&self, run: &str, made: &Made) -> Option<Picture> {
        thumbnail::of(&(self.files)(run, made.designed().or_else(|| made.printed())?)?)
    }

    fn variants(&self, variants: &Variants<'a>, is_open: bool) -> VariantsView<'a> {
        let night = variants.night;
        let all = night.map_or(variants.runs.len() + variants.failed.len(), |night| night.runs.len() + night.failed);
        let of_night = |verdict| {
            let is = |run: &&String| self.verdicts.get(run.as_str()) == Some(&verdict);
            night.map_or_else(|| variants.count(verdict), |night| night.runs.iter().filter(is).count())
        };
        let counts = [
            (of_night(Verdict::ReadyToOrder), "ready to order"),
            (of_night(Verdict::NotValidated), "not validated"),
            (of_night(Verdict::HasFaults), "with faults"),
            (night.map_or(variants.failed.len(), |night| night.failed), "could not be made"),
        ];
        let counts: Vec<_> =
            counts.iter().filter(|(count, _)| *count > 0).map(|(count, words)| format!("{count} {words}")).collect();
        let head = match (night, variants.runs.is_empty() && variants.failed.is_empty()) {
            (Some(_), true) => "the page of its variants was drawn anew, with".to_owned(),
            _ => String::new(),
        };
        let reasons = variants.reasons();
        VariantsView {
            job: variants.job,
            head: if head.is_empty() { counted(all, "variant", "variants") } else { format!("{head} {all}") },
            address: night.map(|night| format!("{NIGHTS}/{}/index.html", address::part(&night.night))),
            counts: counts.join(", "),
            took: took_together(variants),
            best: if is_open { self.best(variants) } else { Vec::new() },
            more_reasons: reasons.len().saturating_sub(MOST_NAMED),
            reasons: reasons.into_iter().take(MOST_NAMED).collect(),
        }
    }

    /// The best variants, by the data of their night: the chosen one first, then those that nothing beats.
    fn best(&self, variants: &Variants<'a>) -> Vec<Best> {
        let Some(night) = variants.night.filter(|_| !variants.runs.is_empty()) else { return Vec::new() };
        let data = (self.files)(&format!("{NIGHTS}/{}", night.night), DATA);
        let Some(data) = data.and_then(|bytes| serde_json::from_slice::<NightData>(&bytes).ok()) else {
            return Vec::new();
        };
        let chosen = data.choice.and_then(|choice| choice.pick).map(|pick| pick.variant);
        let on_page: BTreeSet<&str> = night.runs.iter().map(String::as_str).collect();
        let mut known: Vec<(u8, VariantData)> = data
            .variants
            .into_iter()
            .filter(|variant| on_page.contains(variant.run.as_str()))
            .filter(|variant| self.verdicts.get(variant.run.as_str()) == Some(&Verdict::ReadyToOrder))
            .map(|variant| {
                let rank = match &variant.unbeaten {
                    _ if chosen.as_ref() == Some(&variant.variant) => 0,
                    Unbeaten { legibility: true, .. } => 1,
                    Unbeaten { likeness: true, .. } => 2,
                    Unbeaten { .. } => 3,
                };
                (rank, variant)
            })
            .collect();
        known.sort_by_key(|(rank, _)| *rank);
        let best = known.into_iter().take(MOST_BEST).map(|(rank, variant)| {
            let made = read(&variant.run, self.files).map(|record| Made::of(&record));
            Best {
                address: summary(&variant.run),
                picture: made.as_ref().and_then(|made| self.thumbnail(&variant.run, made)),
                is_chosen: rank == 0,
                figures: made.as_ref().map(figures).unwrap_or_default(),
                name: variant.variant,
            }
        });
        best.collect()
    }
}

/// What is read of the data of a night, see `night::table`.
#[derive(Deserialize)]
struct NightData {
    choice: Option<ChoiceData>,
    #[serde(default)]
    variants: Vec<VariantData>,
}

#[derive(Deserialize)]
struct ChoiceData {
    pick: Option<PickData>,
}

#[derive(Deserialize)]
struct PickData {
    variant: String,
}

#[derive(Deserialize)]
struct VariantData {
    variant: String,
    run: String,
    #[serde(default)]
    unbeaten: Unbeaten,
}

#[derive(Default, Deserialize)]
struct Unbeaten {
    legibility: bool,
    likeness: bool,
}

/// The address of a run's summary, from the folder of the commission.
fn summary(run: &str) -> String {
    format!("{}/summary.html", address::part(run))
}

const fn tone(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::ReadyToOrder => "ready",
        Verdict::NotValidated => "caution",
        Verdict::HasFaults => "fault",
    }
}

const fn word(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::ReadyToOrder => "ready to order",
        Verdict::NotValidated => "not validated",
        Verdict::HasFaults => "has faults",
    }
}

/// The figures that a client asks for first.
pub(crate) fn figures(made: &Made) -> Vec<(&'static str, String)> {
    const ASKED: [(&str, Figure); 5] = [
        ("Price", Figure::Price),
        ("Cube edge", Figure::Cell),
        ("Weight", Figure::Weight),
        ("Legibility", Figure::Legibility),
        ("Likeness", Figure::Likeness),
    ];
    ASKED.into_iter().filter_map(|(label, figure)| Some((label, numbers::tidy(&made.said(figure)?)))).collect()
}

/// How many stages ran, and how many results were taken from the store.
fn stages_in_words(made: usize, stored: usize) -> String {
    match (made, stored) {
        (made, 0) => format!("{} made", counted(made, "stage", "stages")),
        (0, stored) => format!("{} taken from the store", counted(stored, "stage", "stages")),
        (made, stored) => format!("{} made, {stored} taken from the store", counted(made, "stage", "stages")),
    }
}

fn took(run: &Run) -> String {
    let stored = run.stages.iter().filter(|stage| stage.is_stored).count();
    let stages = stages_in_words(run.stages.len() - stored, stored);
    match run.seconds {
        Some(seconds) => format!("Took {}: {stages}", numbers::seconds(seconds)),
        None => format!("How long it took is not known: {stages}"),
    }
}

fn took_together(variants: &Variants<'_>) -> String {
    if variants.runs.is_empty() {
        return String::new();
    }
    let [made, stored] = variants.stages();
    format!("Together they took {}: {}", numbers::seconds(variants.seconds()), stages_in_words(made, stored))
}

fn by(run: &Run) -> String {
    let memory = run.peak_memory.map(|bytes| format!(", at most {} of memory", numbers::bytes(bytes)));
    format!("By {}{}; {}", run.by, memory.unwrap_or_default(), counted(run.files, "file", "files"))
}

fn bars(stages: &[StageDone]) -> Vec<Bar<'_>> {
    let longest = stages.iter().filter_map(|stage| stage.seconds).fold(0.0, f64::max);
    let bar = |stage: &StageDone| {
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 1 and 100; saturates")]
        let length = |seconds: f64| if longest > 0.0 { (seconds / longest * 100.0).round().max(1.0) as u32 } else { 1 };
        match stage.seconds.filter(|_| !stage.is_stored) {
            Some(seconds) => (Some(length(seconds)), numbers::seconds(seconds)),
            None if stage.is_stored => (None, "from the store".to_owned()),
            None => (None, "time not known".to_owned()),
        }
    };
    stages
        .iter()
        .map(|stage| {
            let (length, time) = bar(stage);
            Bar { stage: &stage.name, length, time }
        })
        .collect()
}
