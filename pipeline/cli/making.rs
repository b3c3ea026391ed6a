//! The commands that make pieces, or say what making them would come to: run, advise, check, compare.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};

use clap::Args;
use serde_json::{Value, json};
use turnhue_reports::record::Verdict;
use turnhue_stages::units::Memory;

use super::{Desk, stop_when_asked};
use crate::clock::{Clock, SystemClock};
use crate::diagnostic::{Diagnostic, harmless};
use crate::night::{self, Ended, NightPage};
use crate::plan::{Night, Plan, Share};
use crate::run::{Failure, Published, Surroundings};
use crate::store::Store;
use crate::terminal::Progress;
use crate::{advise, exit};

/// Where runs and results of stages are kept.
#[derive(Clone, Debug, Args)]
pub(super) struct Places {
    /// Folder below which runs are kept
    #[arg(long, value_name = "DIR", default_value = "runs")]
    pub(super) into: PathBuf,
    /// Folder of the store of results (default: `.store` in the folder of runs)
    #[arg(long, value_name = "DIR")]
    pub(super) store: Option<PathBuf>,
}

impl Places {
    pub(super) fn store_folder(&self) -> PathBuf {
        self.store.clone().unwrap_or_else(|| self.into.join(".store"))
    }

    pub(super) fn open_store(&self, clock: &dyn Clock) -> Result<Store, Failure> {
        fs::create_dir_all(&self.into).map_err(|error| {
            let message = format!("could not make a run folder in {}: {error}", self.into.display());
            let remedy = "name a folder that can be written with `--into DIR`";
            Failure::Disk(Box::new(Diagnostic::error(message).remedy(remedy)))
        })?;
        Store::open(&self.store_folder(), clock.now()).map_err(|fault| {
            let beside = self
                .store
                .is_none()
                .then(|| fault.clone().remedy("name a folder that can be written with `--into DIR`"));
            Failure::Disk(beside.map_or(fault, Box::new))
        })
    }
}

/// How runs are made.
#[derive(Clone, Debug, Args)]
pub(super) struct Running {
    #[command(flatten)]
    pub(super) places: Places,
    /// Make only the I-th of N parts of each job's variants; `turnhue compare` draws the page when all are made
    #[arg(long, value_name = "I/N")]
    share: Option<Share>,
    /// Memory that what runs at once may take, such as 4 GiB, as far as it is known beforehand
    #[arg(long, value_name = "SIZE", default_value_t = Memory::usual())]
    memory: Memory,
    /// Tidy the store afterwards, so that no more than this is left, such as 50 GiB; what records name stays
    #[arg(long, value_name = "SIZE")]
    keep: Option<Memory>,
    /// Leave out the comparison of sizes that a job asks for under `advise`; not one that has to find the cell
    #[arg(long)]
    no_advice: bool,
}

impl Desk<'_> {
    pub(super) fn run(&mut self, jobs: &[PathBuf], running: &Running, json: bool) -> u8 {
        let (cancel, clock) = (stop_when_asked(), SystemClock::start());
        let mut worst = exit::READY;
        for job in jobs {
            if cancel.load(Ordering::Relaxed) {
                return exit::STOPPED;
            }
            worst = worst.max(self.run_job(job, running, &cancel, &clock, json));
        }
        if let Some(keep) = running.keep.filter(|_| running.places.store_folder().is_dir()) {
            worst = worst.max(self.make_room(&running.places, keep));
        }
        worst
    }

    fn run_job(&mut self, job: &Path, running: &Running, cancel: &AtomicBool, clock: &dyn Clock, json: bool) -> u8 {
        let night = match self.night(job) {
            Ok(night) => night,
            Err(ended) => {
                self.tell(job, &ended, json);
                return ended.code();
            }
        };
        self.voice.diagnose_all(night.cautions());
        let night = if running.no_advice { night.without_advice() } else { night };
        let night = if let Some(share) = running.share { night.share(share) } else { night };
        let plans = night.plans();
        // Not before the job is known to be right: a wrong one leaves nothing behind.
        let store = match running.places.open_store(clock) {
            Ok(store) => store,
            Err(failure) => {
                let ended = JobEnded::Failed(failure);
                self.tell(job, &ended, json);
                return ended.code();
            }
        };
        let into = running.places.into.as_path();
        let surroundings = &Surroundings { into, store: &store, clock, cancel, memory: running.memory };
        if running.share.is_none() {
            // Of shares, whoever puts them together draws it, as the page of the night.
            self.told.insert(into.join(night.job().job.commission.as_str()));
        }
        let mut progress = Progress::new(self.voice);
        let ended = night::run(plans, surroundings, &mut progress);
        drop(progress);
        match ended {
            Ok(ended) if night.has_variants() => {
                let page = running.share.is_none().then(|| night::draw_page(&night, surroundings));
                self.tell_night(job, plans, &ended, page, json)
            }
            Ok(ended) => {
                let ended = ended.into_iter().next().map_or(JobEnded::Failed(Failure::Cancelled), JobEnded::of);
                self.tell(job, &ended, json);
                ended.code()
            }
            Err(failure) => {
                let ended = JobEnded::Failed(failure);
                self.tell(job, &ended, json);
                ended.code()
            }
        }
    }

    /// Tells how the variants of a job ended, and gives the exit code.
    fn tell_night(
        &mut self,
        job: &Path,
        plans: &[Plan],
        ended: &[Ended],
        page: Option<Result<NightPage, Failure>>,
        json: bool,
    ) -> u8 {
        let mut faults: Vec<Diagnostic> = Vec::new();
        let failures = ended.iter().filter_map(|ended| match ended {
            Ended::Failed(failure) => Some(failure),
            Ended::Published(_) | Ended::NotRun => None,
        });
        // What many variants fail of is told once.
        let no_page = page.as_ref().and_then(|page| page.as_ref().err());
        for fault in failures.chain(no_page).map(Failure::in_words) {
            if !faults.contains(&fault) {
                faults.push(fault);
            }
        }
        self.voice.diagnose_all(&faults);
        // What was not run because the disk is full was not stopped by anybody.
        let full = ended.iter().any(|ended| matches!(ended, Ended::Failed(Failure::Full(_))));
        let stopped = !full && ended.iter().any(|ended| matches!(ended, Ended::NotRun));
        if stopped {
            self.voice.diagnose(&Failure::Cancelled.in_words());
        }
        let no_page = no_page.map(code_of);
        let page = page.and_then(Result::ok);
        if json {
            let variants: Vec<Value> = plans.iter().zip(ended).map(|(plan, ended)| variant_json(plan, ended)).collect();
            self.out.json(&json!({
                "job": text(job),
                "variants": variants,
                "page": page.as_ref().map(|page| text(&page.page)),
                "chosen": page.as_ref().and_then(|page| page.chosen.as_ref()).map(|(name, run)| json!({ "variant": name, "run": text(run) })),
                "why": page.as_ref().map(|page| &page.why),
                "faults": faults,
            }));
        } else if !self.voice.quiet {
            self.out.print(&harmless(&night_in_words(plans, ended, page.as_ref())));
        }
        let counted = ended.iter().filter(|ended| stopped || !matches!(ended, Ended::NotRun));
        counted.map(code_of_variant).chain(no_page).max().unwrap_or(exit::READY)
    }

    /// Draws the pages of jobs with variants from what is there of them.
    pub(super) fn compare(&mut self, jobs: &[PathBuf], places: &Places, json: bool) -> u8 {
        let (cancel, clock) = (stop_when_asked(), SystemClock::start());
        let store = match places.open_store(&clock) {
            Ok(store) => store,
            Err(failure) => return self.fail(&failure),
        };
        let memory = Memory::usual();
        let surroundings = Surroundings { into: &places.into, store: &store, clock: &clock, cancel: &cancel, memory };
        let mut worst = exit::READY;
        for job in jobs {
            let drawn = self.night(job).and_then(|night| {
                self.told.insert(places.into.join(night.job().job.commission.as_str()));
                night::draw_page(&night, &surroundings).map_err(JobEnded::Failed)
            });
            match drawn {
                Ok(page) if json => self.out.json(&json!({
                    "job": text(job),
                    "page": text(&page.page),
                    "chosen": page.chosen.as_ref().map(|(name, run)| json!({ "variant": name, "run": text(run) })),
                    "why": page.why,
                })),
                Ok(page) => self.out.print(&harmless(&page_in_words(&page))),
                Err(ended) => {
                    worst = worst.max(ended.code());
                    self.tell(job, &ended, json);
                }
            }
        }
        worst
    }

    pub(super) fn check(&mut self, jobs: &[PathBuf], places: &Places, share: Option<Share>, json: bool) -> u8 {
        // Where there is a store, it knows how long things took; none is made for that.
        let clock = SystemClock::start();
        let store = places.store_folder().is_dir().then(|| places.open_store(&clock).ok()).flatten();
        let times = store.as_ref().map(Store::times).unwrap_or_default();
        let took = |plan: &Plan, stage: usize| night::expected(store.as_ref()?, &times, plan, stage);
        let mut worst = exit::READY;
        for job in jobs {
            let (night, faults) = match self.night(job) {
                Ok(night) => {
                    let cautions = night.cautions().to_vec();
                    let night = if let Some(share) = share { night.share(share) } else { night };
                    (Some(night), cautions)
                }
                Err(ended) => {
                    worst = worst.max(ended.code());
                    (None, ended.faults())
                }
            };
            self.voice.diagnose_all(&faults);
            if json {
                let plan = night.as_ref().map(Night::job);
                self.out.json(&json!({
                    "job": text(job),
                    "plan": plan.map(Plan::resolved),
                    "memory": plan.and_then(Plan::memory).map(|(memory, _)| memory.bytes()),
                    "variants": night.as_ref().map(|night| night.variants_json(Some(&took))),
                    "faults": faults,
                }));
            } else if let Some(night) = night
                && !self.voice.quiet
            {
                self.out.print(&night.in_words(Some(&took)));
            }
        }
        worst
    }

    pub(super) fn advise(&mut self, jobs: &[PathBuf], into: &Path, json: bool) -> u8 {
        let cancel = stop_when_asked();
        let mut worst = exit::READY;
        for job in jobs {
            if cancel.load(Ordering::Relaxed) {
                return exit::STOPPED;
            }
            let advised = self.night(job).map(Night::into_job).and_then(|plan| {
                let advice = advise::advise(&plan, into, &cancel, &mut Progress::new(self.voice));
                advice.map(|advice| (plan, advice)).map_err(JobEnded::Failed)
            });
            let faults = advised.as_ref().err().map(JobEnded::faults).unwrap_or_default();
            worst = worst.max(advised.as_ref().err().map_or(exit::READY, JobEnded::code));
            self.voice.diagnose_all(&faults);
            let advised = advised.ok();
            if json {
                let advice = advised.as_ref().map(|(_, advice)| advice);
                self.out.json(&json!({ "job": text(job), "advice": advice, "faults": faults }));
            } else if let Some((plan, advice)) = &advised {
                // The table is the result, and no chatter that `--quiet` would leave out.
                self.out.print(&advise::in_words(plan, advice));
            }
        }
        worst
    }

    fn tell(&mut self, job: &Path, ended: &JobEnded, json: bool) {
        match ended {
            JobEnded::Published(published) => {
                match published.record() {
                    Ok(record) => self.voice.findings(&record),
                    Err(error) => {
                        self.voice.diagnose(&Diagnostic::caution(format!("the record cannot be read back: {error}")));
                    }
                }
                if published.verdict == Verdict::NotValidated {
                    self.voice.diagnose(
                        &Diagnostic::caution("nothing measured the file to order")
                            .remedy("end the chain with `validate` before you order the piece"),
                    );
                }
            }
            _ => self.voice.diagnose_all(&ended.faults()),
        }
        if json {
            self.out.json(&ended.json(job));
        } else if let JobEnded::Published(published) = ended
            && !self.voice.quiet
        {
            self.out.print(&result_in_words(published));
        }
    }
}

/// How a job without variants ended.
pub(super) enum JobEnded {
    Published(Box<Published>),
    Refused(Vec<Diagnostic>),
    Failed(Failure),
}

impl JobEnded {
    fn of(ended: Ended) -> Self {
        match ended {
            Ended::Published(published) => Self::Published(published),
            Ended::Failed(failure) => Self::Failed(failure),
            Ended::NotRun => Self::Failed(Failure::Cancelled),
        }
    }

    pub(super) fn code(&self) -> u8 {
        match self {
            Self::Published(published) => code_of_verdict(published.verdict),
            Self::Refused(_) => exit::WRONG_JOB,
            Self::Failed(failure) => code_of(failure),
        }
    }

    /// What kept the job from being published.
    pub(super) fn faults(&self) -> Vec<Diagnostic> {
        match self {
            Self::Published(_) => Vec::new(),
            Self::Refused(faults) => faults.clone(),
            Self::Failed(failure) => vec![failure.in_words()],
        }
    }

    /// The same keys, however it ended.
    fn json(&self, job: &Path) -> Value {
        let published = match self {
            Self::Published(published) => Some(&**published),
            Self::Refused(_) | Self::Failed(_) => None,
        };
        let mut json = published_json(published);
        json["job"] = text(job);
        json["faults"] = json!(self.faults());
        json
    }
}

const fn code_of_verdict(verdict: Verdict) -> u8 {
    match verdict {
        Verdict::ReadyToOrder | Verdict::NotValidated => exit::READY,
        Verdict::HasFaults => exit::FAULTS,
    }
}

/// The exit code for a failure of a whole job.
pub(super) const fn code_of(failure: &Failure) -> u8 {
    match failure {
        Failure::Misfit(_) => exit::WRONG_JOB,
        Failure::Cancelled => exit::STOPPED,
        Failure::Disk(_) | Failure::Full(_) | Failure::Changed(_) | Failure::Ledger(_) | Failure::Defect(_) => {
            exit::FAILED
        }
    }
}

/// The exit code for one of several variants: settings that do not fit the model are a fault of the variant, not of the job.
fn code_of_variant(ended: &Ended) -> u8 {
    match ended {
        Ended::Published(published) => code_of_verdict(published.verdict),
        Ended::Failed(Failure::Misfit(_)) => exit::FAULTS,
        Ended::Failed(failure) => code_of(failure),
        Ended::NotRun => exit::STOPPED,
    }
}

fn text(path: &Path) -> Value {
    Value::from(path.to_string_lossy())
}

fn published_json(published: Option<&Published>) -> Value {
    json!({
        "run": published.map(|published| text(&published.folder)),
        "verdict": published.map(|published| published.verdict),
        "summary": published.and_then(|published| published.summary.as_deref().map(text)),
        "order": published.and_then(|published| published.order.as_deref().map(text)),
        "package": published.and_then(|published| published.package.as_deref().map(text)),
        "orders": published.map_or_else(Vec::new, |published| published.orders.iter().map(|path| text(path)).collect()),
    })
}

fn variant_json(plan: &Plan, ended: &Ended) -> Value {
    let (published, fault) = match ended {
        Ended::Published(published) => (Some(&**published), None),
        Ended::Failed(failure) => (None, Some(failure.in_words())),
        Ended::NotRun => (None, None),
    };
    let mut json = published_json(published);
    json["variant"] = plan.variant().map(|variant| variant.name().to_owned()).into();
    json["faults"] = json!(fault.into_iter().collect::<Vec<_>>());
    json
}

fn result_in_words(published: &Published) -> String {
    let verdict = match published.verdict {
        Verdict::ReadyToOrder => "ready to order",
        Verdict::HasFaults => "has faults: do not order it",
        Verdict::NotValidated => "not validated",
    };
    let there = if published.was_there { " (was there already)" } else { "" };
    let mut words = format!("{}: {verdict}{there}\n  run      {}\n", published.commission, published.folder.display());
    for sentence in &published.advice {
        words += &harmless(&format!("  advice   {sentence}\n"));
    }
    let orders = published.orders.iter().map(|path| ("order", path));
    let pages = [("package", &published.package), ("summary", &published.summary)];
    for (name, path) in orders.chain(pages.into_iter().filter_map(|(name, path)| Some((name, path.as_ref()?)))) {
        words += &format!("  {name:8} {}\n", path.display());
    }
    words
}

fn night_in_words(plans: &[Plan], ended: &[Ended], page: Option<&NightPage>) -> String {
    let verdict = |wanted: Verdict| {
        ended.iter().filter(|ended| matches!(ended, Ended::Published(published) if published.verdict == wanted)).count()
    };
    let failed = ended.iter().filter(|ended| matches!(ended, Ended::Failed(_))).count();
    let not_run = ended.iter().filter(|ended| matches!(ended, Ended::NotRun)).count();
    let counts = [
        (verdict(Verdict::ReadyToOrder), "ready to order"),
        (verdict(Verdict::NotValidated), "not validated"),
        (verdict(Verdict::HasFaults), "with faults"),
        (failed, "failed"),
        (not_run, "not run"),
    ];
    let counts: Vec<_> =
        counts.iter().filter(|(count, _)| *count > 0).map(|(count, words)| format!("{count} {words}")).collect();
    let commission = plans.first().map_or_else(String::new, |plan| format!("{}: ", plan.commission().as_str()));
    let counts = if counts.is_empty() { "nothing in this part".to_owned() } else { counts.join(", ") };
    let noun = if ended.len() == 1 { "variant" } else { "variants" };
    let mut words = format!("{commission}{} {noun}: {counts}\n", ended.len());
    words += &page.map_or_else(String::new, page_in_words);
    words
}

fn page_in_words(page: &NightPage) -> String {
    let mut words = format!("  page     {}\n", page.page.display());
    if let Some((name, folder)) = &page.chosen {
        words += &format!("  chosen   {name}: {}\n", folder.display());
    }
    for why in &page.why {
        words += &format!("  why      {why}\n");
    }
    words
}
