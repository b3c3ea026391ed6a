//! Makes a run again from its record alone, and compares every file byte by byte.
//!
//! Nothing is taken but the folder of the commission: the job's text and every file that went in lie in its inputs, by the
//! digests that its ledger names. The run is made in a fresh place with a store of its own, so nothing is taken from before.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use serde::Serialize;
use turnhue_stages::units::Memory;

use crate::clock::Clock;
use crate::diagnostic::Diagnostic;
use crate::events::Listener;
use crate::ledger::deeds::{Build, Deed, Input, RunDeed};
use crate::ledger::{INPUTS, Ledger, Trouble};
use crate::night::ADVICE;
use crate::plan::{Plan, Stages, plan_recorded};
use crate::run::{Failure, Published, Surroundings, run};
use crate::store::Store;

/// What comparing a run with one made anew came to.
#[derive(Clone, Debug, Serialize)]
pub struct Compared {
    /// The name of the run.
    pub run: String,
    /// Where it was made anew.
    pub anew: PathBuf,
    /// How many files are the same, byte by byte.
    pub same: usize,
    /// Files of which the bytes are not the same.
    pub changed: Vec<String>,
    /// Files that the record names and the run's folder has not.
    pub missing: Vec<String>,
    /// Files that were not made anew.
    pub not_made: Vec<String>,
    /// Files that were made anew and that the record does not name.
    pub new: Vec<String>,
    /// Where the program that made the run is another than this one, that program and this.
    pub programs: Option<[String; 2]>,
}

impl Compared {
    /// Whether every file came out the same.
    #[must_use]
    pub fn is_same(&self) -> bool {
        [&self.changed, &self.missing, &self.not_made, &self.new].iter().all(|names| names.is_empty())
    }

    /// In words.
    #[must_use]
    pub fn in_words(&self) -> String {
        let mut words = match self.is_same() {
            true => format!("{}: reproduced, {} files the same byte by byte\n", self.run, self.same),
            false => format!("{}: not the same; {} files are\n", self.run, self.same),
        };
        if let Some([made, this]) = &self.programs {
            words += &format!("  made by {made}, made anew by {this}\n");
        }
        for (what, names) in
            [("changed", &self.changed), ("missing", &self.missing), ("not made", &self.not_made), ("new", &self.new)]
        {
            for name in names {
                words += &format!("  {what:8} {name}\n");
            }
        }
        words
    }
}

/// Why a run could not be made anew.
#[derive(Debug)]
pub enum Irreproducible {
    /// What was asked for is not there, or the record does not hold enough.
    Wrong(Vec<Diagnostic>),
    /// The ledger cannot be read.
    Ledger(Trouble),
    /// The run failed.
    Failed(Failure),
}

impl Irreproducible {
    fn wrong(fault: Diagnostic) -> Self {
        Self::Wrong(vec![fault])
    }
}

/// Makes the run in a folder anew below `fresh`, which must be empty, and compares.
///
/// # Errors
/// See [`Irreproducible`].
pub fn reproduce(
    folder: &Path,
    fresh: &Path,
    stages: &Stages,
    (clock, cancel): (&dyn Clock, &AtomicBool),
    listener: &mut dyn Listener,
) -> Result<Compared, Irreproducible> {
    let folder = folder.canonicalize().map_err(|error| {
        let fault = Diagnostic::error(format!("could not find the run {}: {error}", folder.display()));
        Irreproducible::wrong(fault.remedy("name the folder of a run, such as runs/COMMISSION/RUN"))
    })?;
    let deed = deed_of(&folder)?;
    let plan = plan_again(&folder, &deed, stages)?;
    let store = Store::open(&fresh.join(".store"), clock.now()).map_err(|fault| Irreproducible::wrong(*fault))?;
    let surroundings = Surroundings { into: fresh, store: &store, clock, cancel, memory: Memory::usual() };
    let anew = run(&plan, &surroundings, listener).map_err(Irreproducible::Failed)?;
    compare(&folder, &deed, &anew)
}

/// What the ledger says last of how the run in a folder was made.
fn deed_of(folder: &Path) -> Result<RunDeed, Irreproducible> {
    let name = folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let entries = Ledger::of(folder.parent().unwrap_or(Path::new("/"))).read().map_err(Irreproducible::Ledger)?;
    let deed = entries.into_iter().rev().find_map(|entry| match entry.deed {
        Deed::Run(deed) if deed.run.as_str() == name => Some(*deed),
        _ => None,
    });
    deed.ok_or_else(|| {
        let fault = Diagnostic::error(format!("no entry of a ledger beside {} names it", folder.display()));
        Irreproducible::wrong(fault.remedy("name a run folder within the folder of its commission"))
    })
}

fn plan_again(folder: &Path, deed: &RunDeed, stages: &Stages) -> Result<Plan, Irreproducible> {
    let kept = folder.join("..").join(INPUTS);
    let mut files = BTreeMap::new();
    let mut job = None;
    let mut faults = Vec::new();
    for input in &deed.inputs {
        match read_kept(&kept, input) {
            Ok(bytes) if input.blake3 == deed.job.blake3 && input.name == deed.job.file => job = Some(bytes),
            Ok(bytes) => {
                files.insert(input.name.clone(), Arc::from(bytes));
            }
            Err(fault) => faults.push(*fault),
        }
    }
    if !faults.is_empty() {
        return Err(Irreproducible::Wrong(faults));
    }
    let Some(job) = job else {
        let fault = Diagnostic::error(format!("the record does not hold the job of run {}", deed.run.as_str()));
        return Err(Irreproducible::wrong(fault.remedy("`turnhue verify` tells what else is missing")));
    };
    let plan =
        plan_recorded(&deed.job.file, job, &files, deed.variant.as_deref(), stages).map_err(Irreproducible::Wrong)?;
    // Whoever ran it may have asked to leave the comparison of sizes out.
    let compared = deed.files.iter().any(|file| file.name.as_str() == ADVICE);
    Ok(if compared { plan } else { plan.without_advice() })
}

/// The bytes of an input, as the record keeps them.
fn read_kept(kept: &Path, input: &Input) -> Result<Vec<u8>, Box<Diagnostic>> {
    let remedy = "put it back from a copy, such as an export of the commission";
    let boxed = |message: String| Box::new(Diagnostic::error(message).remedy(remedy));
    let path = kept.join(&input.kept);
    let bytes = fs::read(&path).map_err(|error| {
        let what = &input.what;
        boxed(format!("could not read {} ({what}) in {}: {error}", input.name, path.display()))
    })?;
    if blake3::hash(&bytes).to_hex().as_str() == input.blake3.to_string() {
        return Ok(bytes);
    }
    Err(boxed(format!("{} ({}) was changed: {}", input.name, input.what, path.display())))
}

fn compare(folder: &Path, deed: &RunDeed, anew: &Published) -> Result<Compared, Irreproducible> {
    let read = |folder: &Path, name: &str| fs::read(folder.join(name)).ok();
    let mut compared = Compared {
        run: deed.run.as_str().to_owned(),
        anew: anew.folder.clone(),
        same: 0,
        changed: Vec::new(),
        missing: Vec::new(),
        not_made: Vec::new(),
        new: Vec::new(),
        programs: programs(&deed.tool),
    };
    for file in &deed.files {
        let name = file.name.as_str();
        match (read(folder, name), read(&anew.folder, name)) {
            (Some(before), Some(now)) if before == now => compared.same += 1,
            (Some(_), Some(_)) => compared.changed.push(name.to_owned()),
            (None, _) => compared.missing.push(name.to_owned()),
            (Some(_), None) => compared.not_made.push(name.to_owned()),
        }
    }
    let failed = |error: &std::io::Error| {
        let message = format!("could not list {}: {error}", anew.folder.display());
        Irreproducible::wrong(Diagnostic::error(message).remedy("see that the folder can be read"))
    };
    for name in names_in(&anew.folder).map_err(|error| failed(&error))? {
        if !deed.files.iter().any(|file| file.name.as_str() == name) {
            compared.new.push(name);
        }
    }
    compared.new.sort();
    Ok(compared)
}

/// The names of the files in a run folder, and in the folders in it.
fn names_in(folder: &Path) -> std::io::Result<Vec<String>> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if entry.file_type()?.is_dir() {
            for inner in fs::read_dir(entry.path())? {
                names.push(format!("{name}/{}", inner?.file_name().to_string_lossy()));
            }
        } else {
            names.push(name);
        }
    }
    Ok(names)
}

/// The program that made a run and this one, where they are not the same version.
fn programs(made: &Build) -> Option<[String; 2]> {
    let this = Build::this();
    let words = |build: &Build| format!("{} {}", build.name, build.version);
    (made.version != this.version || made.name != this.name).then(|| [words(made), words(&this)])
}
