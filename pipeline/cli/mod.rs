//! The command line.

mod keeping;
mod making;

use std::collections::BTreeSet;
use std::ffi::OsString;
use std::io::{self, Write as _};
use std::num::NonZeroUsize;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use clap::{Args, Parser, Subcommand};
use serde_json::{Value, json};
use signal_hook::flag;
use turnhue_reports::record;
use turnhue_stages::chain::coupon::reading::Row;
use turnhue_stages::units::Memory;

use self::making::{JobEnded, Places, Running, code_of};
use crate::calibrate::{Choice, Refusal, Request, calibrate};
use crate::clock::{Clock as _, SystemClock};
use crate::diagnostic::{Diagnostic, nearest};
use crate::job::files;
use crate::plan::{Night, Share, Stages, plan_night};
use crate::run::{Failure, RECORD};
use crate::terminal::Voice;
use crate::{exit, ledger, night, package, pages, schema};

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
    /// Run jobs with all their variants; each makes a run folder DIR/COMMISSION/RUN that appears whole or not at all
    #[command(after_help = exit::HELP)]
    Run {
        /// Job files, or patterns such as 'jobs/*.yaml'; one that fails does not stop the others
        #[arg(required = true, value_name = "JOB")]
        jobs: Vec<PathBuf>,
        #[command(flatten)]
        running: Running,
        /// Print one JSON object a job: `run`, `summary` and `order` are paths, `verdict` a word
        #[arg(long)]
        json: bool,
    },
    /// Draw the page on which the variants of a job stand beside each other, from what is there of them
    Compare {
        /// Job files
        #[arg(required = true, value_name = "JOB")]
        jobs: Vec<PathBuf>,
        #[command(flatten)]
        places: Places,
        /// Print one JSON object a job
        #[arg(long)]
        json: bool,
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
    /// Read jobs and everything they name, check the chain and its variants and say them in words; runs and writes nothing
    #[command(after_help = exit::HELP)]
    Check {
        /// Job files
        #[arg(required = true, value_name = "JOB")]
        jobs: Vec<PathBuf>,
        #[command(flatten)]
        places: Places,
        /// Look at this share of the variants alone: 3/8 is the third of eight
        #[arg(long, value_name = "I/N")]
        share: Option<Share>,
        /// Print one JSON object a job
        #[arg(long)]
        json: bool,
    },
    /// Say why a stage of a run was run, or taken from the store
    Explain {
        /// A run folder
        #[arg(value_name = "RUN")]
        run: PathBuf,
        /// A stage of it
        stage: String,
    },
    /// Make runs anew from their records alone, in a fresh place, and compare every file byte by byte
    #[command(after_help = exit::HELP)]
    Reproduce {
        /// Run folders, each within the folder of its commission
        #[arg(required = true, value_name = "RUN")]
        runs: Vec<PathBuf>,
        /// An empty folder that is kept; else one is made that goes away
        #[arg(long, value_name = "DIR")]
        into: Option<PathBuf>,
        /// Print one JSON object a run
        #[arg(long)]
        json: bool,
    },
    /// Make room in the store of results: the least recently used go first, those that a record names stay
    Tidy {
        #[command(flatten)]
        places: Places,
        /// So much may be left, such as 20 GiB; without it, what no record names goes
        #[arg(long, value_name = "SIZE")]
        keep: Option<Memory>,
        /// Let also go what records name; it is made again when it is needed
        #[arg(long)]
        all: bool,
        /// Let also go what others left unfinished of whom nothing is known here, such as other machines; ends the work of
        /// whoever is still at it
        #[arg(long)]
        others: bool,
        /// Only say what would go
        #[arg(long)]
        dry: bool,
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
    /// Put together what bureau and client need of a run: RUN/order and RUN/order.zip, from its record
    #[command(after_help = exit::HELP)]
    Pack {
        /// A run folder
        #[arg(value_name = "RUN")]
        run: PathBuf,
        /// Put them into this folder instead; it must have neither
        #[arg(long, value_name = "DIR")]
        into: Option<PathBuf>,
    },
    /// Print the JSON Schema of a job file with every stage's settings, for editors
    Schema,
    #[command(flatten)]
    Ledger(ledger::commands::Command),
}

/// Runs the program with these arguments and these stages.
pub fn main(arguments: impl IntoIterator<Item = OsString>, stages: &Stages) -> ExitCode {
    let arguments = match Arguments::try_parse_from(arguments) {
        Ok(arguments) => arguments,
        Err(message) => return usage(&message),
    };
    let voice = Voice::new(arguments.manner.quiet);
    prepare(arguments.manner, voice);
    let mut desk = Desk { stages, voice, out: Out::default(), told: BTreeSet::new() };
    let code = match &arguments.command {
        Command::Run { jobs, running, json } => desk.run(&files::named(jobs), running, *json),
        Command::Compare { jobs, places, json } => desk.compare(&files::named(jobs), places, *json),
        Command::Advise { jobs, into, json } => desk.advise(&files::named(jobs), into, *json),
        Command::Check { jobs, places, share, json } => desk.check(&files::named(jobs), places, *share, *json),
        Command::Explain { run, stage } => desk.explain(run, stage),
        Command::Reproduce { runs, into, json } => desk.reproduce(runs, into.as_deref(), *json),
        Command::Tidy { places, keep, all, others, dry } => {
            desk.tidy(places, keep.unwrap_or(Memory::from_bytes(0)), *all, *others, *dry)
        }
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
        Command::Pack { run, into } => desk.pack(run, into.as_deref()),
        Command::Schema => desk.schema(),
        Command::Ledger(command) => desk.ledger(command),
    };
    desk.draw_commissions();
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
    /// Commissions of which something was recorded, whose pages are to be drawn: once, however many runs there were.
    told: BTreeSet<PathBuf>,
}

impl Desk<'_> {
    /// Plans a job with its variants. A stage whose checks have a defect must not take the other jobs with it.
    fn night(&self, job: &Path) -> Result<Night, JobEnded> {
        match catch_unwind(AssertUnwindSafe(|| plan_night(job, self.stages))) {
            Ok(planned) => planned.map_err(JobEnded::Refused),
            Err(_) => Err(JobEnded::Failed(Failure::defect("planning panicked; the lines above say where"))),
        }
    }

    /// Draws the pages of commissions of which something was recorded. What fails of that is told and changes no exit code.
    fn draw_commissions(&mut self) {
        let clock = SystemClock::start();
        for commission in std::mem::take(&mut self.told) {
            if let Err(caution) = ledger::page::draw(&commission, None, &clock) {
                self.voice.diagnose(&caution);
            }
        }
    }

    /// Tells of a failure, and gives its exit code.
    fn fail(&self, failure: &Failure) -> u8 {
        self.voice.diagnose(&failure.in_words());
        code_of(failure)
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
                    Ok(pages) => {
                        self.told.extend(ledger::page::around(run));
                        if let Err(failure) = night::enter_redrawn(run, &record, &pages, &SystemClock::start()) {
                            worst = worst.max(self.fail(&failure));
                        }
                        if !self.voice.quiet {
                            self.out.print(&format!("{}\n", run.join(pages::SUMMARY).display()));
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

    fn pack(&mut self, run: &Path, into: Option<&Path>) -> u8 {
        let packaged = match package::pack(run, into) {
            Ok(packaged) => packaged,
            Err(why) => {
                self.voice.diagnose(&why.in_words());
                return why.code();
            }
        };
        self.told.extend(into.is_none().then(|| ledger::page::around(run)).flatten());
        let entered = match into {
            None => night::enter_redrawn(run, &packaged.record, &packaged.names, &SystemClock::start()),
            Some(_) => Ok(()),
        };
        if !self.voice.quiet {
            self.out.print(&format!("{}\n{}\n", packaged.folder.display(), packaged.zip.display()));
        }
        entered.map_or_else(|failure| self.fail(&failure), |()| exit::READY)
    }

    fn ledger(&mut self, command: &ledger::commands::Command) -> u8 {
        let answer = command.perform(&SystemClock::start());
        answer.said.iter().for_each(|said| self.voice.diagnose(said));
        self.out.print(&answer.text);
        answer.code
    }

    fn schema(&mut self) -> u8 {
        self.out.print(&format!("{:#}\n", schema::of_job(self.stages)));
        exit::READY
    }
}

/// The flag that the first Ctrl-C, or a request to end, raises; what runs then ends at the next point where a stage looks. A
/// second one ends the program at once; what it leaves unfinished is swept away by the next.
///
/// Where a signal was ignored when the program was started, as a script's `&` does with interrupts and `nohup` with hanging up,
/// it stays ignored. A request to end is always heard: queues send it.
fn stop_when_asked() -> Arc<AtomicBool> {
    let flag = Arc::new(AtomicBool::new(false));
    for (signal, may_be_ignored) in signals() {
        if may_be_ignored && is_ignored(signal) {
            continue;
        }
        // In this order: the first one finds the flag down.
        let listening = flag::register_conditional_shutdown(signal, exit::STOPPED.into(), Arc::clone(&flag))
            .and_then(|_| flag::register(signal, Arc::clone(&flag)));
        if let Err(error) = listening {
            tracing::warn!("cannot listen for signal {signal}: {error}");
        }
    }
    flag
}

/// The signals that ask to stop, and whether one that was ignored stays so.
fn signals() -> Vec<(i32, bool)> {
    use signal_hook::consts::{SIGINT, SIGTERM};
    let signals = vec![(SIGINT, true), (SIGTERM, false)];
    #[cfg(unix)]
    let signals = [signals, vec![(signal_hook::consts::SIGHUP, true)]].concat();
    signals
}

/// Whether a signal was ignored when the program was started, where the system tells: proc_pid_status(5), `SigIgn`.
fn is_ignored(signal: i32) -> bool {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let mask = status.lines().find_map(|line| line.strip_prefix("SigIgn:"));
    let mask = mask.and_then(|mask| u64::from_str_radix(mask.trim(), 16).ok()).unwrap_or(0);
    mask >> (signal - 1) & 1 == 1
}
