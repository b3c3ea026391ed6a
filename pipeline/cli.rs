//! The command line.

use std::ffi::OsString;
use std::io::{self, Write as _};
use std::num::NonZeroUsize;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::{Args, Parser, Subcommand};
use serde_json::{Value, json};
use turnhue_reports::record::{self, Record, Verdict};
use turnhue_stages::chain::coupon::reading::Row;

use crate::calibrate::{Choice, Refusal, Request, calibrate};
use crate::clock::{Clock as _, SystemClock};
use crate::diagnostic::{Diagnostic, harmless, nearest};
use crate::job::files;
use crate::plan::{Night, Plan, Stages, plan_night};
use crate::run::{Failure, Published, RECORD, Surroundings, run};
use crate::terminal::{Progress, Voice};
use crate::{advise, exit, pages, schema};

/// From an organic 3D model and a job file to a colour-turning cube sculpture that is ready to order.
#[derive(Debug, Parser)]
#[command(name = "turnhue", version, after_help = exit::HELP)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
    #[command(flatten)]
    manner: Manner,
}

#[derive(Clone, Copy, Debug, Args)]
struct Manner {
    /// Say only what is wrong
    #[arg(long, short, global = true)]
    quiet: bool,
    /// Use so many threads (default: one a core); results do not depend on it
    #[arg(long, global = true, value_name = "N")]
    threads: Option<NonZeroUsize>,
}

#[derive(Debug, Subcommand)]
enum Command {
    /// Run jobs; each makes a run folder DIR/COMMISSION/RUN that appears whole or not at all
    #[command(after_help = exit::HELP)]
    Run {
        /// Job files, or patterns such as 'jobs/*.yaml'; one that fails does not stop the others
        #[arg(required = true, value_name = "JOB")]
        jobs: Vec<PathBuf>,
        /// Folder below which runs are kept
        #[arg(long, value_name = "DIR", default_value = "runs")]
        into: PathBuf,
        /// Print one JSON object a job: `run`, `summary` and `order` are paths, `verdict` a word
        #[arg(long)]
        json: bool,
        /// Leave out the comparison of sizes that a job asks for under `advise`; not one that has to find the cell
        #[arg(long)]
        no_advice: bool,
    },
    /// Compare sizes of the cell for each job and recommend one; keeps nothing on the disk
    #[command(after_help = exit::HELP)]
    Advise {
        /// Job files
        #[arg(required = true, value_name = "JOB")]
        jobs: Vec<PathBuf>,
        /// Folder below which a hidden one is made while it works
        #[arg(long, value_name = "DIR", default_value = "runs")]
        into: PathBuf,
        /// Print one JSON object a job
        #[arg(long)]
        json: bool,
    },
    /// Read jobs and everything they name, check the chain and say it in words; runs and writes nothing
    #[command(after_help = exit::HELP)]
    Check {
        /// Job files
        #[arg(required = true, value_name = "JOB")]
        jobs: Vec<PathBuf>,
        /// Print one JSON object a job
        #[arg(long)]
        json: bool,
    },
    /// List the stages, or every setting of one with its type, unit and default
    Stages {
        /// A stage
        name: Option<String>,
        /// Print JSON; for one stage, the JSON Schema of its settings
        #[arg(long)]
        json: bool,
    },
    /// Write a process file with what was read off a printed coupon: bleed, clearance, minimum wall
    #[command(after_help = exit::HELP)]
    Calibrate {
        /// Folder of the run that made the coupon
        #[arg(value_name = "RUN")]
        run: PathBuf,
        /// Process file to begin from; it stays as it is
        #[arg(long, value_name = "FILE")]
        process: PathBuf,
        /// The smallest patch (row C) whose faces all show their colours: its number, or its cell, such as 0.9 mm
        #[arg(long, value_name = "PATCH")]
        smallest_patch: Option<Choice>,
        /// The thinnest line (row L) that shows its own colour in every band: its number, or its width
        #[arg(long, value_name = "LINE")]
        thinnest_line: Option<Choice>,
        /// The first slot (row F) in which the key slides: its number, or its gap
        #[arg(long, value_name = "SLOT")]
        first_sliding: Option<Choice>,
        /// The thinnest fin (row T) that is whole: its number, or its thickness
        #[arg(long, value_name = "FIN")]
        thinnest_wall: Option<Choice>,
        /// The new process file
        #[arg(long, value_name = "FILE")]
        into: PathBuf,
        /// Write over the new file if it is there
        #[arg(long)]
        replace: bool,
    },
    /// Draw the summary page of finished runs anew, from their records
    Report {
        /// Run folders
        #[arg(required = true, value_name = "RUN")]
        runs: Vec<PathBuf>,
    },
    /// Print the JSON Schema of a job file with every stage's settings, for editors
    Schema,
}

/// Runs the program with these arguments and these stages.
pub fn main(arguments: impl IntoIterator<Item = OsString>, stages: &Stages) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(message) => return usage(&message),
    };
    let voice = Voice::new(arguments.manner.quiet);
    prepare(arguments.manner, voice);
    let mut desk = Desk { stages, voice, out: Out::default() };
    let code = match &arguments.command {
        Command::Run { jobs, into, json, no_advice } => desk.run(&files::named(jobs), into, *json, !no_advice),
        Command::Advise { jobs, into, json } => desk.advise(&files::named(jobs), into, *json),
        Command::Check { jobs, json } => desk.check(&files::named(jobs), *json),
        Command::Stages { name, json } => desk.describe(name.as_deref(), *json),
        Command::Calibrate {
            run,
            process,
            smallest_patch,
            thinnest_line,
            first_sliding,
            thinnest_wall,
            into,
            replace,
        } => {
            let read = [
                (Row::Cells, *smallest_patch),
                (Row::Lines, *thinnest_line),
                (Row::Fits, *first_sliding),
                (Row::Thicknesses, *thinnest_wall),
            ];
            let [run, process, into] = [run, process, into].map(Clone::clone);
            desk.calibrate(&Request { run, process, read, into, replace: *replace })
        }
        Command::Report { runs } => desk.report(runs),
        Command::Schema => desk.schema(),
    };
    ExitCode::from(code.max(desk.out.close(voice)))
}

/// Help and version go to stdout and are no mistake; a wrong command line is one.
fn usage(message: &clap::Error) -> ExitCode {
    let wrong = if message.use_stderr() { exit::WRONG_JOB } else { exit::READY };
    let printed = message.print().and_then(|()| io::stdout().flush());
    let unheard = printed.is_err_and(|error| error.kind() != io::ErrorKind::BrokenPipe);
    ExitCode::from(if unheard { wrong.max(exit::FAILED) } else { wrong })
}

/// Logs for whoever looks for a defect, and the threads.
fn prepare(manner: Manner, voice: Voice) {
    if let Some(filter) = std::env::var_os("TURNHUE_LOG") {
        match filter.to_string_lossy().parse::<tracing_subscriber::EnvFilter>() {
            Ok(filter) => {
                let logs = tracing_subscriber::fmt().with_env_filter(filter).with_writer(io::stderr);
                // A second subscriber in one process: the first goes on.
                let _ = logs.with_ansi(false).log_internal_errors(false).try_init();
            }
            Err(error) => voice.say(&format!("caution: TURNHUE_LOG is not a log filter: {error}")),
        }
    }
    if let Some(threads) = manner.threads {
        // Threads of an earlier call in the same process go on; results do not depend on their number.
        let _ = rayon::ThreadPoolBuilder::new().num_threads(threads.get()).build_global();
    }
}

/// Where results go. A reader that has gone away is no failure; a full disk is.
#[derive(Default)]
struct Out {
    error: Option<io::Error>,
}

impl Out {
    fn print(&mut self, text: &str) {
        if self.error.is_none() {
            self.error = io::stdout().lock().write_all(text.as_bytes()).err();
        }
    }

    fn json(&mut self, value: &Value) {
        self.print(&format!("{value}\n"));
    }

    fn close(&mut self, voice: Voice) -> u8 {
        let error = self.error.take().or_else(|| io::stdout().flush().err());
        match error {
            Some(error) if error.kind() != io::ErrorKind::BrokenPipe => {
                voice.diagnose(&Diagnostic::error(format!("could not write the results: {error}")));
                exit::FAILED
            }
            _ => exit::READY,
        }
    }
}

struct Desk<'a> {
    stages: &'a Stages,
    voice: Voice,
    out: Out,
}

impl Desk<'_> {
    fn run(&mut self, jobs: &[PathBuf], into: &Path, json: bool, advice: bool) -> u8 {
        let cancel = stop_when_asked();
        let clock = SystemClock::start();
        let surroundings = Surroundings { into, clock: &clock, cancel: &cancel };
        let mut worst = exit::READY;
        for job in jobs {
            if cancel.load(Ordering::Relaxed) {
                return exit::FAILED;
            }
            let ended = self.run_one(job, &surroundings, advice);
            worst = worst.max(ended.code());
            self.tell(job, &ended, json);
        }
        worst
    }

    fn run_one(&self, job: &Path, surroundings: &Surroundings<'_>, advice: bool) -> Ended {
        let plan = match self.plan(job) {
            Ok(plan) if advice => plan,
            Ok(plan) => plan.without_advice(),
            Err(ended) => return ended,
        };
        match run(&plan, surroundings, &mut Progress::new(self.voice)) {
            Ok(published) => Ended::Published(Box::new(published)),
            Err(failure) => Ended::Failed(failure),
        }
    }

    fn advise(&mut self, jobs: &[PathBuf], into: &Path, json: bool) -> u8 {
        let cancel = stop_when_asked();
        let clock = SystemClock::start();
        let surroundings = Surroundings { into, clock: &clock, cancel: &cancel };
        let mut worst = exit::READY;
        for job in jobs {
            if cancel.load(Ordering::Relaxed) {
                return exit::FAILED;
            }
            let advised = self.plan(job).and_then(|plan| {
                let advice = advise::advise(&plan, &surroundings, &mut Progress::new(self.voice));
                advice.map(|advice| (plan, advice)).map_err(Ended::Failed)
            });
            let faults = advised.as_ref().err().map(Ended::faults).unwrap_or_default();
            worst = worst.max(advised.as_ref().err().map_or(exit::READY, Ended::code));
            faults.iter().for_each(|fault| self.voice.diagnose(fault));
            let advised = advised.ok();
            if json {
                let advice = advised.as_ref().map(|(_, advice)| advice);
                self.out.json(&json!({ "job": job.to_string_lossy(), "advice": advice, "faults": faults }));
            } else if let Some((plan, advice)) = &advised {
                // The table is the result, and no chatter that `--quiet` would leave out.
                self.out.print(&advise::in_words(plan, advice));
            }
        }
        worst
    }

    fn plan(&self, job: &Path) -> Result<Plan, Ended> {
        self.night(job).map(Night::into_job)
    }

    /// Plans a job with its variants. A stage whose checks have a defect must not take the other jobs with it.
    fn night(&self, job: &Path) -> Result<Night, Ended> {
        match catch_unwind(AssertUnwindSafe(|| plan_night(job, self.stages))) {
            Ok(planned) => planned.map_err(Ended::Refused),
            Err(_) => Err(Ended::Failed(Failure::defect("planning panicked; the lines above say where"))),
        }
    }

    fn tell(&mut self, job: &Path, ended: &Ended, json: bool) {
        match ended {
            Ended::Published(published) => {
                self.voice.findings(&published.record);
                if published.record.verdict == Verdict::NotValidated {
                    self.voice.diagnose(
                        &Diagnostic::caution("nothing measured the file to order")
                            .remedy("end the chain with `validate` before you order the piece"),
                    );
                }
            }
            _ => ended.faults().iter().for_each(|fault| self.voice.diagnose(fault)),
        }
        if json {
            self.out.json(&ended.json(job));
        } else if let Ended::Published(published) = ended
            && !self.voice.quiet
        {
            self.out.print(&result_in_words(published));
        }
    }

    fn check(&mut self, jobs: &[PathBuf], json: bool) -> u8 {
        let mut worst = exit::READY;
        for job in jobs {
            let (night, faults) = match self.night(job) {
                Ok(night) => {
                    let cautions = night.cautions().to_vec();
                    (Some(night), cautions)
                }
                Err(ended) => {
                    worst = worst.max(ended.code());
                    (None, ended.faults())
                }
            };
            faults.iter().for_each(|fault| self.voice.diagnose(fault));
            if json {
                let plan = night.as_ref().map(Night::job);
                self.out.json(&json!({
                    "job": job.to_string_lossy(),
                    "plan": plan.map(Plan::resolved),
                    "memory": plan.and_then(Plan::memory).map(|(memory, _)| memory.bytes()),
                    "variants": night.as_ref().map(|night| night.variants_json(None)),
                    "faults": faults,
                }));
            } else if let Some(night) = night
                && !self.voice.quiet
            {
                self.out.print(&night.in_words(None));
            }
        }
        worst
    }

    fn describe(&mut self, name: Option<&str>, json: bool) -> u8 {
        let Some(name) = name else {
            if json {
                let stages = self.stages.iter();
                let list = stages.map(|s| json!({ "name": s.name(), "purpose": s.purpose(), "version": s.version() }));
                let list = Value::Array(list.collect());
                self.out.json(&list);
            } else {
                self.out.print(&schema::stages_in_words(self.stages));
            }
            return exit::READY;
        };
        let Some(stage) = self.stages.iter().find(|stage| stage.name() == name) else {
            let meant = nearest(name, self.stages.iter().map(|stage| stage.name()));
            self.voice.diagnose(&Diagnostic::error(format!("there is no stage `{name}`")).remedy(match meant {
                Some(meant) => format!("is `{meant}` meant?"),
                None => "`turnhue stages` lists them".to_owned(),
            }));
            return exit::WRONG_JOB;
        };
        if json {
            self.out.json(stage.schema().as_value());
        } else {
            self.out.print(&schema::stage_in_words(stage.as_ref()));
        }
        exit::READY
    }

    fn calibrate(&mut self, request: &Request) -> u8 {
        match calibrate(request, SystemClock::start().now()) {
            Ok(written) => {
                written.cautions.iter().for_each(|caution| self.voice.diagnose(caution));
                if !self.voice.quiet {
                    self.out.print(&written.to_string());
                }
                exit::READY
            }
            Err(Refusal::Wrong(faults)) => {
                faults.iter().for_each(|fault| self.voice.diagnose(fault));
                exit::WRONG_JOB
            }
            Err(Refusal::Disk(fault)) => {
                self.voice.diagnose(&fault);
                exit::FAILED
            }
        }
    }

    fn report(&mut self, runs: &[PathBuf]) -> u8 {
        let mut worst = exit::READY;
        for run in runs {
            let path = run.join(RECORD);
            let (code, message) = match record::read(&path) {
                Err(error) => (exit::WRONG_JOB, format!("could not read the record {}: {error}", path.display())),
                Ok(record) => match pages::redraw(&record, run) {
                    Err(message) => (exit::FAILED, message),
                    Ok(page) => {
                        if !self.voice.quiet {
                            self.out.print(&format!("{}\n", page.display()));
                        }
                        continue;
                    }
                },
            };
            worst = worst.max(code);
            self.voice.diagnose(&Diagnostic::error(message));
        }
        worst
    }

    fn schema(&mut self) -> u8 {
        self.out.print(&format!("{:#}\n", schema::of_job(self.stages)));
        exit::READY
    }
}

/// How a job ended.
enum Ended {
    Published(Box<Published>),
    Refused(Vec<Diagnostic>),
    Failed(Failure),
}

impl Ended {
    fn code(&self) -> u8 {
        match self {
            Self::Published(published) => match published.record.verdict {
                Verdict::ReadyToOrder | Verdict::NotValidated => exit::READY,
                Verdict::HasFaults => exit::FAULTS,
            },
            Self::Refused(_) | Self::Failed(Failure::Misfit(_)) => exit::WRONG_JOB,
            Self::Failed(Failure::Disk(_) | Failure::Cancelled | Failure::Defect(_)) => exit::FAILED,
        }
    }

    /// What kept the job from being published.
    fn faults(&self) -> Vec<Diagnostic> {
        match self {
            Self::Published(_) => Vec::new(),
            Self::Refused(faults) => faults.clone(),
            Self::Failed(failure) => vec![failure.in_words()],
        }
    }

    /// The same keys, however it ended.
    fn json(&self, job: &Path) -> Value {
        let text = |path: &Path| Value::from(path.to_string_lossy());
        let published = match self {
            Self::Published(published) => Some(published),
            Self::Refused(_) | Self::Failed(_) => None,
        };
        json!({
            "job": text(job),
            "run": published.map(|published| text(&published.folder)),
            "verdict": published.map(|published| published.record.verdict),
            "summary": published.and_then(|published| published.summary.as_deref().map(text)),
            "order": published.and_then(|published| published.order().as_deref().map(text)),
            "faults": self.faults(),
        })
    }
}

fn result_in_words(published: &Published) -> String {
    let Record { commission, verdict, .. } = &published.record;
    let verdict = match verdict {
        Verdict::ReadyToOrder => "ready to order",
        Verdict::HasFaults => "has faults: do not order it",
        Verdict::NotValidated => "not validated",
    };
    let mut words = format!("{commission}: {verdict}\n  run      {}\n", published.folder.display());
    if let Some(advice) = &published.record.advice {
        for sentence in &advice.words {
            words += &harmless(&format!("  advice   {sentence}\n"));
        }
    }
    for (name, path) in [("order", published.order()), ("summary", published.summary.clone())] {
        if let Some(path) = path {
            words += &format!("  {name:8} {}\n", path.display());
        }
    }
    words
}

/// The flag that the first Ctrl-C raises; the run then ends at the next point where a stage looks. A second one ends
/// the program at once, which leaves a hidden `.….unfinished` folder behind.
fn stop_when_asked() -> Arc<AtomicBool> {
    let flag = Arc::new(AtomicBool::new(false));
    let raised = Arc::clone(&flag);
    let handler = move || {
        if raised.swap(true, Ordering::Relaxed) {
            std::process::exit(exit::FAILED.into());
        }
    };
    if let Err(error) = ctrlc::try_set_handler(handler) {
        tracing::debug!("cannot listen for Ctrl-C: {error}");
    }
    flag
}
