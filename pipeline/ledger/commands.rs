//! The commands that write and read ledgers.

use std::path::{Path, PathBuf};

use clap::Subcommand;
use serde_json::{Value, json};

use super::acts::{self, ChoiceRequest, DeliveryRequest, NoteRequest, OrderRequest, Recorded, find_commission};
use super::audit::{self, Audit, KnownHead};
use super::export::{self, ExportRequest};
use super::values::Day;
use super::{Ledger, Trouble, history, page};
use crate::clock::Clock;
use crate::diagnostic::Diagnostic;
use crate::exit;

/// A command about the record of a commission.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a note into a commission's record
    #[command(after_help = HELP)]
    Note {
        /// A commission: its name, or its folder
        #[arg(value_name = "COMMISSION")]
        commission: PathBuf,
        /// What to note
        text: String,
        /// The run that it is about: its folder, or its name
        #[arg(long, value_name = "RUN")]
        run: Option<PathBuf>,
        /// Who says so
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        /// Folder below which runs are kept
        #[arg(long, value_name = "DIR", default_value = "runs")]
        into: PathBuf,
    },
    /// Record that a run was chosen, and why
    #[command(after_help = HELP)]
    Choose {
        /// A run folder
        #[arg(value_name = "RUN")]
        run: PathBuf,
        /// Why
        #[arg(long, value_name = "TEXT")]
        why: String,
        /// Who chose
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
    },
    /// Record that a run's file was ordered, with its digest; refuses a piece with faults and files that were changed
    #[command(after_help = HELP)]
    Order {
        /// A run folder
        #[arg(value_name = "RUN")]
        run: PathBuf,
        /// Who prints it
        #[arg(long, value_name = "TEXT")]
        bureau: Option<String>,
        /// What it costs, such as "312.40 EUR"
        #[arg(long, value_name = "AMOUNT")]
        price: Option<String>,
        /// The day, such as 2027-03-01; today in UTC unless you say
        #[arg(long, value_name = "DATE")]
        on: Option<Day>,
        /// The bureau's number of the order
        #[arg(long, value_name = "TEXT")]
        reference: Option<String>,
        /// Why it was ordered whatever speaks against it; recorded together with that
        #[arg(long, value_name = "REASON")]
        despite: Option<String>,
    },
    /// Record that a piece was delivered
    #[command(after_help = HELP)]
    Deliver {
        /// The folder of the run of which it was printed
        #[arg(value_name = "RUN")]
        run: PathBuf,
        /// The day, such as 2027-03-01; today in UTC unless you say
        #[arg(long, value_name = "DATE")]
        on: Option<Day>,
        /// To whom
        #[arg(long, value_name = "TEXT")]
        to: Option<String>,
    },
    /// Tell what happened to a commission, the newest last
    #[command(after_help = HELP)]
    History {
        /// A commission: its name, or its folder
        #[arg(value_name = "COMMISSION")]
        commission: PathBuf,
        /// Print the entries as they stand, a JSON object each
        #[arg(long)]
        json: bool,
        /// Draw the commission's page anew instead, and say where it is
        #[arg(long, conflicts_with = "json")]
        page: bool,
        /// Folder below which runs are kept
        #[arg(long, value_name = "DIR", default_value = "runs")]
        into: PathBuf,
    },
    /// Check that a commission is as its record says: every entry, and every file that one names
    #[command(after_help = HELP)]
    Verify {
        /// A commission: its name, or its folder
        #[arg(value_name = "COMMISSION")]
        commission: PathBuf,
        /// A head that was kept elsewhere, or 16 digits of it: it must stand in the record
        #[arg(long, value_name = "DIGEST")]
        head: Option<KnownHead>,
        /// Print one JSON object
        #[arg(long)]
        json: bool,
        /// Folder below which runs are kept
        #[arg(long, value_name = "DIR", default_value = "runs")]
        into: PathBuf,
    },
    /// Copy a whole commission into a new folder with a description of it: an RO-Crate
    #[command(after_help = HELP)]
    Export {
        /// A commission: its name, or its folder
        #[arg(value_name = "COMMISSION")]
        commission: PathBuf,
        /// The new folder
        #[arg(long, value_name = "DIR")]
        to: PathBuf,
        /// Who made the pieces and hands the record out
        #[arg(long, value_name = "NAME")]
        by: Option<String>,
        /// The licence of what is in it: a URL, such as <https://creativecommons.org/licenses/by/4.0/>
        #[arg(long, value_name = "URL")]
        licence: Option<String>,
        /// Folder below which runs are kept
        #[arg(long, value_name = "DIR", default_value = "runs")]
        into: PathBuf,
    },
}

/// What `--help` says about exit codes.
const HELP: &str = "\
Exit codes:
  0  done; `verify`: all is as the record says
  1  the record, or a file that it names, is not whole; `order`: something speaks against it
  2  the command line is wrong, or there is no such commission or run
  3  a file could not be read or written";

/// What a command came to.
#[derive(Clone, Debug, Default)]
pub struct Answer {
    /// The exit code.
    pub code: u8,
    /// The result, for stdout.
    pub text: String,
    /// Faults and cautions, for stderr.
    pub said: Vec<Diagnostic>,
}

impl Command {
    /// Does it.
    #[must_use]
    pub fn perform(&self, clock: &dyn Clock) -> Answer {
        let done = match self {
            Self::Note { commission, text, run, by, into } => {
                find_commission(commission, into).and_then(|commission| {
                    let request = NoteRequest { commission, text: text.clone(), by: by.clone(), run: run.clone() };
                    acts::note(&request, clock).map(|recorded| answer(recorded, clock))
                })
            }
            Self::Choose { run, why, by } => {
                let request = ChoiceRequest { run: run.clone(), why: why.clone(), by: by.clone() };
                acts::choose(&request, clock).map(|recorded| answer(recorded, clock))
            }
            Self::Order { run, bureau, price, on, reference, despite } => {
                let [bureau, price, reference, despite] = [bureau, price, reference, despite].map(Clone::clone);
                let request = OrderRequest { run: run.clone(), bureau, price, on: on.clone(), reference, despite };
                acts::order(&request, clock).map(|recorded| answer(recorded, clock))
            }
            Self::Deliver { run, on, to } => {
                let request = DeliveryRequest { run: run.clone(), on: on.clone(), to: to.clone() };
                acts::deliver(&request, clock).map(|recorded| answer(recorded, clock))
            }
            Self::History { commission, page: true, into, .. } => {
                find_commission(commission, into).and_then(|commission| drawn(&commission, clock))
            }
            Self::History { commission, json, into, .. } => {
                find_commission(commission, into).and_then(|commission| history_of(&commission, *json))
            }
            Self::Verify { commission, head, json, into } => find_commission(commission, into)
                .and_then(|commission| audit::audit(&commission, head.as_ref()))
                .map(|audit| {
                    let no_page = page::draw(&audit.commission, Some(&audit), clock).err();
                    let mut answer = audited(audit, *json);
                    answer.said.extend(no_page.map(|caution| *caution));
                    answer
                }),
            Self::Export { commission, to, by, licence, into } => {
                find_commission(commission, into).and_then(|commission| {
                    let [by, licence] = [by, licence].map(Clone::clone);
                    let request = ExportRequest { commission, to: to.clone(), by, licence, epoch: export::epoch()? };
                    export::export(&request).map(|files| Answer {
                        text: format!("{}: {files} files and their description\n", to.display()),
                        ..Answer::default()
                    })
                })
            }
        };
        done.unwrap_or_else(|trouble| Answer {
            code: trouble.code(),
            text: String::new(),
            said: trouble.faults().to_vec(),
        })
    }
}

/// What was recorded; it is on the page at once.
fn answer(recorded: Recorded, clock: &dyn Clock) -> Answer {
    let text = format!("entry {}, head {}\n", recorded.head.seq, recorded.head.digest);
    let mut said = recorded.cautions;
    said.extend(page::draw(&recorded.commission, None, clock).err().map(|caution| *caution));
    Answer { code: exit::READY, text, said }
}

/// The page, drawn because somebody asked for it.
fn drawn(commission: &Path, clock: &dyn Clock) -> Result<Answer, Trouble> {
    match page::draw(commission, None, clock) {
        Ok(Some(page)) => Ok(Answer { text: format!("{}\n", page.display()), ..Answer::default() }),
        Ok(None) => {
            let fault = Diagnostic::error(format!("{} has no page to draw", commission.display()));
            Err(Trouble::wrong(fault.remedy("a commission has one once something is recorded; a copy keeps its own")))
        }
        Err(caution) => Err(Trouble::Disk(caution)),
    }
}

fn history_of(commission: &Path, json: bool) -> Result<Answer, Trouble> {
    let ledger = Ledger::of(commission);
    let text = if json { ledger.lines()? } else { ledger.read()?.iter().map(history::in_words).collect() };
    Ok(Answer { text, ..Answer::default() })
}

fn audited(audit: Audit, json: bool) -> Answer {
    let code = if audit.is_whole() { exit::READY } else { exit::FAULTS };
    let text = if json { format!("{}\n", as_json(&audit)) } else { audit.to_string() };
    let said = audit.cautions.into_iter().chain(audit.faults).collect();
    Answer { code, text, said }
}

fn as_json(audit: &Audit) -> Value {
    json!({
        "commission": audit.commission.to_string_lossy(),
        "whole": audit.is_whole(),
        "entries": audit.entries,
        "head": audit.head.map(|head| head.digest.to_string()),
        "files": audit.files,
        "bytes": audit.bytes,
        "faults": audit.faults,
        "cautions": audit.cautions,
    })
}
