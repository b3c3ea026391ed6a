//! The page of a commission: its history as a story, where it stands, and whether its record is whole. Drawn from what the
//! ledger tells and from the run folders, as HTML.
//!
//! What it guarantees, each with its test in `tests/commission.rs` or beside the code:
//!
//! - No text of an entry, a record or a night becomes markup or script, and no name leads out of the commission's folder.
//! - Every entry is told: by itself, or counted with others of its kind. The variants of a night are one tale, and of a long
//!   history all but the last [`MOST_OPEN`] tales are folded, without pictures.
//! - It claims no check that was not made.
//! - A run or a night that cannot be read is told as far as the ledger knows it.

mod changes;
mod page;
mod standing;
mod story;
mod told;

use crate::record::Verdict;

pub use self::story::MOST_OPEN;

/// The page's file name in the folder of the commission.
pub const PAGE: &str = "commission.html";

/// A commission, as its ledger tells it.
#[derive(Clone, Debug)]
pub struct Commission {
    /// Its name.
    pub name: String,
    /// The folder of all runs, as commands name it: `runs`.
    pub runs: String,
    /// What happened, in order.
    pub entries: Vec<Entry>,
    /// When the page is drawn: UTC, RFC 3339. A copy has no such moment: it comes out the same whenever it is made.
    pub drawn: Option<String>,
    /// What was checked.
    pub checked: Checked,
}

/// What was checked of a record when the page was drawn.
#[derive(Clone, Debug, Default)]
pub struct Checked {
    /// The digest of the last entry, where every entry is whole.
    pub head: Option<String>,
    /// What is not as the record says.
    pub amiss: Vec<Amiss>,
    /// The files that were measured, where that was done.
    pub files: Option<Measured>,
}

impl Checked {
    /// Whether some entries are damaged, so that others may be unreadable too.
    pub(crate) fn is_broken(&self) -> bool {
        self.head.is_none() && !self.amiss.is_empty()
    }
}

/// Something that is not as the record says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Amiss {
    /// What, with its file.
    pub what: String,
    /// What to do about it.
    pub remedy: String,
}

/// How many files were measured.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Measured {
    /// Their number.
    pub files: usize,
    /// Their size together.
    pub bytes: u64,
}

/// An entry of the ledger.
#[derive(Clone, Debug)]
pub struct Entry {
    /// Its number, from 1.
    pub seq: u64,
    /// When it was written: UTC, RFC 3339.
    pub time: String,
    /// What happened.
    pub deed: Deed,
}

/// What happened.
#[derive(Clone, Debug)]
pub enum Deed {
    /// A run was made.
    Run(Run),
    /// A run ended without a result.
    Failed(Failed),
    /// Pages of a run were drawn anew.
    Redrawn(Redrawn),
    /// The pages of a job's variants were drawn.
    Night(Night),
    /// A run was picked.
    Choice(Choice),
    /// The file of a run was ordered.
    Order(Order),
    /// A piece was handed over.
    Delivery(Delivery),
    /// Something was written down.
    Note(Note),
}

/// A run.
#[derive(Clone, Debug)]
pub struct Run {
    /// The name of its folder.
    pub run: String,
    /// The file name of its job.
    pub job: String,
    /// The name of the variant, where the job has variants.
    pub variant: Option<String>,
    /// What the piece comes to.
    pub verdict: Verdict,
    /// The program that made it, with its version, and the machine, where that is known.
    pub by: String,
    /// Every stage, in order.
    pub stages: Vec<StageDone>,
    /// How long it took, in seconds.
    pub seconds: Option<f64>,
    /// The most memory that the program held, in bytes.
    pub peak_memory: Option<u64>,
    /// How many files it has.
    pub files: usize,
}

/// A stage of a run.
#[derive(Clone, Debug)]
pub struct StageDone {
    /// Its name.
    pub name: String,
    /// How long it ran, in seconds; nothing where its result was taken from the store.
    pub seconds: Option<f64>,
    /// Whether its result was taken from the store.
    pub is_stored: bool,
}

/// A run without a result.
#[derive(Clone, Debug)]
pub struct Failed {
    /// The name that its folder would have had, where that was known.
    pub run: Option<String>,
    /// The file name of its job.
    pub job: String,
    /// The name of the variant, where the job has variants.
    pub variant: Option<String>,
    /// Why, and what to do.
    pub why: String,
}

/// Pages of a run that were drawn anew.
#[derive(Clone, Debug)]
pub struct Redrawn {
    /// The run.
    pub run: String,
    /// Whether these are the sheets of its package alone.
    pub is_package: bool,
}

/// The pages of a job's variants.
#[derive(Clone, Debug)]
pub struct Night {
    /// The name of their folder below `nights`.
    pub night: String,
    /// The runs on the page.
    pub runs: Vec<String>,
    /// How many variants failed.
    pub failed: usize,
}

/// A choice.
#[derive(Clone, Debug)]
pub struct Choice {
    /// The run that was picked.
    pub run: String,
    /// The rule of the job that picked it, as the ledger has it; nothing where somebody did.
    pub rule: Option<String>,
    /// Why.
    pub why: String,
    /// The night that it was picked from.
    pub night: Option<String>,
    /// Who picked it.
    pub by: Option<String>,
}

/// An order.
#[derive(Clone, Debug)]
pub struct Order {
    /// The run.
    pub run: String,
    /// The ordered files, each with its size and BLAKE3 digest.
    pub files: Vec<(String, u64, String)>,
    /// The day, such as `2027-03-01`.
    pub on: String,
    /// Who prints it.
    pub bureau: Option<String>,
    /// What it costs.
    pub price: Option<String>,
    /// The bureau's number of the order.
    pub reference: Option<String>,
    /// What spoke against it, and why it was ordered all the same.
    pub despite: Option<(Vec<String>, String)>,
}

/// A delivery.
#[derive(Clone, Debug)]
pub struct Delivery {
    /// The run of which the piece was printed.
    pub run: String,
    /// The day.
    pub on: String,
    /// To whom.
    pub to: Option<String>,
}

/// A note.
#[derive(Clone, Debug)]
pub struct Note {
    /// What it says.
    pub text: String,
    /// Who wrote it.
    pub by: Option<String>,
    /// The run that it is about.
    pub run: Option<String>,
}

impl Commission {
    /// Whether this is the page of a copy that was handed on.
    pub(crate) fn is_copy(&self) -> bool {
        self.drawn.is_none()
    }
}

/// Bytes of a file by its folder in the commission's, such as `nights/night`, and its name there.
pub type Files<'a> = &'a dyn Fn(&str, &str) -> Option<Vec<u8>>;

/// Draws the page of a commission, as HTML.
///
/// `files` is asked for records of runs, for their pictures, and for the data of nights, by folders that entries name. What is
/// missing or cannot be read is left out.
///
/// # Errors
/// If the page cannot be put together, which no commission can cause.
pub fn draw(commission: &Commission, files: Files<'_>) -> Result<String, askama::Error> {
    page::draw(commission, files)
}
