//! What people record by hand: notes, choices, orders, deliveries.

use std::fs;
use std::path::{Path, PathBuf};

use turnhue_reports::record::{self, Record, Verdict};

use super::chain::{Entry, Head};
use super::deeds::{Choice, Deed, Delivery, Despite, Note, Order};
use super::values::{Day, PlainName};
use super::{Ledger, Trouble, audit, folders};
use crate::clock::Clock;
use crate::diagnostic::{Diagnostic, nearest};
use crate::run::RECORD;

/// What was recorded.
#[derive(Clone, Debug)]
pub struct Recorded {
    /// The new end of the ledger.
    pub head: Head,
    /// What to look at.
    pub cautions: Vec<Diagnostic>,
    /// The folder of the commission.
    pub commission: PathBuf,
}

/// Finds a commission's folder: by its name below the folder of runs, or by its path.
///
/// # Errors
/// [`Trouble::Wrong`] if there is neither.
pub fn find_commission(name: &Path, into: &Path) -> Result<PathBuf, Trouble> {
    let below = into.join(name);
    if below.is_dir() {
        return Ok(below);
    }
    if name.is_dir() {
        return Ok(name.to_owned());
    }
    let there = folders::list(into).unwrap_or_default();
    let meant = name.to_str().and_then(|name| nearest(name, there.keys().map(String::as_str)));
    let fault = Diagnostic::error(format!("there is no commission {} in {}", name.display(), into.display()));
    Err(Trouble::wrong(fault.remedy(match meant {
        Some(meant) => format!("is `{meant}` meant?"),
        None => "name it as the job does, with `--into DIR` if runs are kept elsewhere, or give its folder".to_owned(),
    })))
}

/// A note to record.
#[derive(Clone, Debug)]
pub struct NoteRequest {
    /// The commission's folder.
    pub commission: PathBuf,
    /// What it says.
    pub text: String,
    /// Who wrote it.
    pub by: Option<String>,
    /// The run that it is about: its folder, or its name in the commission.
    pub run: Option<PathBuf>,
}

/// Records a note.
///
/// # Errors
/// See [`Trouble`].
pub fn note(request: &NoteRequest, clock: &dyn Clock) -> Result<Recorded, Trouble> {
    said("a note", &request.text)?;
    let run = request.run.as_deref().map(|run| run_of(&request.commission, run)).transpose()?;
    let deed = Deed::Note(Note { text: request.text.clone(), by: request.by.clone(), run });
    let head = Ledger::of(&request.commission).append(clock, &[deed])?;
    Ok(Recorded { head, cautions: Vec::new(), commission: request.commission.clone() })
}

/// The name of a run that must be in that commission.
fn run_of(commission: &Path, run: &Path) -> Result<PlainName, Trouble> {
    let below = run.to_str().and_then(|name| name.parse::<PlainName>().ok());
    if let Some(name) = below.filter(|name| commission.join(name).is_dir()) {
        return Ok(name);
    }
    let place = RunPlace::find(run)?;
    let same = fs::canonicalize(commission).is_ok_and(|commission| commission == place.commission);
    same.then_some(place.name).ok_or_else(|| {
        Trouble::wrong(
            Diagnostic::error(format!("{} is no run of {}", run.display(), commission.display()))
                .remedy("name a run folder of this commission"),
        )
    })
}

/// An empty sentence tells nobody anything later.
fn said(what: &str, text: &str) -> Result<(), Trouble> {
    if text.trim().is_empty() {
        return Err(Trouble::wrong(Diagnostic::error(format!("{what} is empty")).remedy("say it in a few words")));
    }
    Ok(())
}

/// A choice to record.
#[derive(Clone, Debug)]
pub struct ChoiceRequest {
    /// The run folder.
    pub run: PathBuf,
    /// Why.
    pub why: String,
    /// Who chose.
    pub by: Option<String>,
}

/// Records a choice by hand.
///
/// # Errors
/// See [`Trouble`].
pub fn choose(request: &ChoiceRequest, clock: &dyn Clock) -> Result<Recorded, Trouble> {
    said("the reason", &request.why)?;
    let run = Known::find(&request.run)?;
    let cautions = run.faults_of_the_piece().into_iter().map(Diagnostic::caution).collect();
    let deed = Choice {
        run: run.place.name.clone(),
        rule: None,
        why: request.why.clone(),
        night: None,
        by: request.by.clone(),
    };
    run.append(clock, Deed::Choice(deed), cautions)
}

/// An order to record.
#[derive(Clone, Debug)]
pub struct OrderRequest {
    /// The run folder.
    pub run: PathBuf,
    /// Who prints it.
    pub bureau: Option<String>,
    /// What it costs, in the user's words.
    pub price: Option<String>,
    /// The day; today if it is not given.
    pub on: Option<Day>,
    /// The bureau's number of the order.
    pub reference: Option<String>,
    /// Why it is ordered whatever speaks against it.
    pub despite: Option<String>,
}

/// Records an order of the run's file, or of all files of its parts, with their digests. A piece with faults, and a run that is not as the ledger says, are
/// refused unless a reason is given, which is recorded together with what spoke against it.
///
/// # Errors
/// See [`Trouble`].
pub fn order(request: &OrderRequest, clock: &dyn Clock) -> Result<Recorded, Trouble> {
    if let Some(why) = &request.despite {
        said("the reason of `--despite`", why)?;
    }
    let run = Known::find(&request.run)?;
    let seal = |name: &String| {
        let path = run.place.folder.join(name);
        folders::seal_file(&run.place.folder, name).map_err(|error| Trouble::disk("read", &path, &error))
    };
    let mut files = run.place.record.orders().map(seal).collect::<Result<Vec<_>, _>>()?.into_iter();
    let Some(file) = files.next() else {
        let fault = Diagnostic::error(format!("run {} made no file to order", run.place.name));
        return Err(Trouble::wrong(fault.remedy("put `colour` into the chain of its job and run it again")));
    };

    let against = run.against_an_order()?;
    let despite = match (&request.despite, against.is_empty()) {
        (None, false) => return Err(Trouble::Refused(against.into_iter().map(refusal).collect())),
        (Some(why), false) => Some(Despite { what: against, why: why.clone() }),
        (_, true) => None,
    };
    let mut cautions = Vec::new();
    if request.despite.is_some() && despite.is_none() {
        cautions.push(Diagnostic::caution("nothing speaks against this order: the reason of `--despite` is left out"));
    }
    if run.place.record.verdict == Verdict::NotValidated {
        let caution = Diagnostic::caution("nothing measured the ordered file");
        cautions.push(caution.remedy("end the chain with `validate` next time"));
    }
    let deed = Order {
        run: run.place.name.clone(),
        file,
        more: files.collect(),
        on: request.on.clone().unwrap_or_else(|| Day::of(clock.now())),
        bureau: request.bureau.clone(),
        price: request.price.clone(),
        reference: request.reference.clone(),
        despite,
    };
    run.append(clock, Deed::Order(deed), cautions)
}

fn refusal(what: String) -> Diagnostic {
    Diagnostic::error(what)
        .during("recording an order")
        .remedy("see to it first; or say `--despite REASON`, which is recorded, if it was ordered all the same")
}

/// A delivery to record.
#[derive(Clone, Debug)]
pub struct DeliveryRequest {
    /// The folder of the run of which the piece was printed.
    pub run: PathBuf,
    /// The day; today if it is not given.
    pub on: Option<Day>,
    /// To whom.
    pub to: Option<String>,
}

/// Records a delivery.
///
/// # Errors
/// See [`Trouble`].
pub fn deliver(request: &DeliveryRequest, clock: &dyn Clock) -> Result<Recorded, Trouble> {
    let run = Known::find(&request.run)?;
    let ordered =
        run.entries.iter().any(|entry| matches!(&entry.deed, Deed::Order(order) if order.run == run.place.name));
    let mut cautions = Vec::new();
    if !ordered {
        let caution = Diagnostic::caution(format!("no entry says that run {} was ordered", run.place.name));
        cautions.push(caution.remedy("see that it is the right run; `turnhue history` lists the orders"));
    }
    let on = request.on.clone().unwrap_or_else(|| Day::of(clock.now()));
    let deed = Delivery { run: run.place.name.clone(), on, to: request.to.clone() };
    run.append(clock, Deed::Delivery(deed), cautions)
}

/// A run folder in its commission.
struct RunPlace {
    folder: PathBuf,
    commission: PathBuf,
    name: PlainName,
    record: Record,
}

impl RunPlace {
    fn find(run: &Path) -> Result<Self, Trouble> {
        let wrong = |why: String| {
            let fault = Diagnostic::error(format!("{} is no run folder: {why}", run.display()));
            Trouble::wrong(fault.remedy("name a run's folder, such as runs/COMMISSION/RUN"))
        };
        // By its full path: `.` has a commission around it too.
        let folder = fs::canonicalize(run).map_err(|error| wrong(error.to_string()))?;
        let name = folder.file_name().and_then(|name| name.to_str()?.parse().ok());
        let (Some(name), Some(commission)) = (name, folder.parent().map(Path::to_owned)) else {
            return Err(wrong("its name cannot be that of a run".to_owned()));
        };
        let record = record::read(&folder.join(RECORD)).map_err(|error| wrong(format!("its record: {error}")))?;
        Ok(Self { folder, commission, name, record })
    }
}

/// A run that its ledger knows.
struct Known {
    place: RunPlace,
    ledger: Ledger,
    entries: Vec<Entry>,
}

impl Known {
    fn find(run: &Path) -> Result<Self, Trouble> {
        let place = RunPlace::find(run)?;
        let ledger = Ledger::of(&place.commission);
        let entries = ledger.read()?;
        let run = Self { place, ledger, entries };
        if run.verdict().is_none() {
            let fault = Diagnostic::error(format!("the ledger knows no run {}", run.place.name));
            return Err(Trouble::wrong(fault.remedy("run its job again: the run is recorded then")));
        }
        Ok(run)
    }

    /// The verdict that the ledger tells: the record in the folder may have been changed.
    fn verdict(&self) -> Option<Verdict> {
        self.entries.iter().rev().find_map(|entry| match &entry.deed {
            Deed::Run(run) if run.run == self.place.name => Some(run.verdict),
            _ => None,
        })
    }

    fn faults_of_the_piece(&self) -> Option<String> {
        let first =
            self.place.record.findings().first().map(|(stage, finding)| format!("{stage}: {}", finding.message));
        let first = first.map(|first| format!(", first of all {first}")).unwrap_or_default();
        (self.verdict() == Some(Verdict::HasFaults))
            .then(|| format!("the piece of run {} has faults{first}", self.place.name))
    }

    fn against_an_order(&self) -> Result<Vec<String>, Trouble> {
        let changed = audit::of_run(&self.place.commission, &self.place.name, &self.entries)?;
        let changed = changed.iter().map(|fault| fault.message().to_owned());
        Ok(self.faults_of_the_piece().into_iter().chain(changed).collect())
    }

    fn append(&self, clock: &dyn Clock, deed: Deed, cautions: Vec<Diagnostic>) -> Result<Recorded, Trouble> {
        let head = self.ledger.append(clock, &[deed])?;
        Ok(Recorded { head, cautions, commission: self.place.commission.clone() })
    }
}
