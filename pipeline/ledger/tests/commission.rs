//! A small commission for the tests: two runs, a night, and what people recorded.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use turnhue_reports::record::{self, Verdict};

use super::{MORNING, Set};
use crate::digest::Digest;
use crate::ledger::deeds::{
    Build, Choice, Deed, FailedRun, Input, Job, Machine, Night, Note, Origin, RunDeed, StageDone,
};
use crate::ledger::values::PlainName;
use crate::ledger::{Ledger, acts, seal};

/// The record that the reports' tests keep: it was written by a run of the demo.
const RECORD: &str = include_str!("../../../reports/tests/records/form-1.json");

pub(super) const SMALL: &str = "small-1a2b3c4d";
pub(super) const TALL: &str = "tall-5e6f7a8b";

pub(super) struct Commission {
    _home: tempfile::TempDir,
    pub(super) folder: PathBuf,
    pub(super) ledger: Ledger,
}

pub(super) fn name(text: &str) -> PlainName {
    text.parse().unwrap()
}

fn build() -> Build {
    Build { name: "turnhue".into(), version: "0.1.0".into(), blake3: Some(Digest::of(b"the program")) }
}

fn file(name: &str, what: &str, text: &str) -> (record::File, Arc<[u8]>) {
    let blake3 = Digest::of(text.as_bytes()).to_string();
    let file = record::File { name: name.into(), what: what.into(), bytes: text.len() as u64, blake3 };
    (file, Arc::from(text.as_bytes()))
}

impl Commission {
    /// With a run that is ready to order, one with faults, and one that failed.
    pub(super) fn new() -> Self {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("runs/HB-1");
        let commission = Self { ledger: Ledger::of(&folder), folder, _home: home };
        let files =
            [file("jobs/night.yaml", "job", "commission: HB-1\n"), file("whelk.stl", "model", "solid\nendsolid\n")];
        let inputs = commission.ledger.keep_inputs(&files).unwrap();
        let small = commission.run(SMALL, Verdict::ReadyToOrder, &inputs);
        let tall = commission.run(TALL, Verdict::HasFaults, &inputs);
        let failed = Deed::FailedRun(Box::new(FailedRun {
            run: None,
            job: job(),
            variant: Some("wide".into()),
            why: "no opening fits".into(),
            tool: build(),
            machine: Machine::default(),
            inputs: inputs.clone(),
        }));
        commission.append(&[small, tall]);
        commission.append(&[failed]);
        commission.append(&[commission.night()]);
        commission
    }

    pub(super) fn append(&self, deeds: &[Deed]) {
        self.ledger.append(&Set::to(MORNING), deeds).unwrap();
    }

    /// Writes a run folder; gives its entry.
    pub(super) fn run(&self, run: &str, verdict: Verdict, inputs: &[Input]) -> Deed {
        let folder = self.folder.join(run);
        fs::create_dir_all(&folder).unwrap();
        let mut record: serde_json::Value = serde_json::from_str(RECORD).unwrap();
        record["verdict"] = serde_json::to_value(verdict).unwrap();
        fs::write(folder.join("run.json"), record.to_string()).unwrap();
        fs::write(folder.join("piece.3mf"), format!("the piece of {run}")).unwrap();
        fs::write(folder.join("summary.html"), "<!doctype html>").unwrap();
        Deed::Run(Box::new(RunDeed {
            run: name(run),
            job: job(),
            variant: Some(run.split('-').next().unwrap().into()),
            verdict,
            tool: build(),
            machine: Machine { host: Some("bench".into()), threads: Some(2), ..Machine::default() },
            stages: vec![StageDone {
                name: "scale".into(),
                version: 1,
                key: Some(Digest::of(b"key")),
                from: Origin::Made,
                seconds: Some(0.5),
            }],
            inputs: inputs.to_vec(),
            files: seal(&folder).unwrap(),
            seconds: Some(61.4),
            peak_memory: Some(1 << 20),
        }))
    }

    fn night(&self) -> Deed {
        let folder = self.folder.join("nights/night");
        fs::create_dir_all(&folder).unwrap();
        fs::write(folder.join("index.html"), "<!doctype html><title>Night</title>").unwrap();
        fs::write(folder.join("table.csv"), "run,verdict\n").unwrap();
        let (runs, files) = (vec![name(SMALL), name(TALL)], seal(&folder).unwrap());
        Deed::Night(Night { night: name("night"), tool: build(), runs, failed: 1, files })
    }

    /// What people record after the runs.
    pub(super) fn with_the_rest(self) -> Self {
        let choice = Choice {
            run: name(SMALL),
            rule: Some("the cheapest that is ready".into()),
            why: "312 EUR".into(),
            night: Some(name("night")),
            by: None,
        };
        let note = Note { text: "client likes\nthe small one".into(), by: Some("Ada".into()), run: Some(name(SMALL)) };
        self.append(&[Deed::Choice(choice)]);
        acts::order(&self.order(SMALL, None), &Set::to(MORNING + 3600)).unwrap();
        let delivery = acts::DeliveryRequest { run: self.folder.join(SMALL), on: None, to: Some("the library".into()) };
        acts::deliver(&delivery, &Set::to(MORNING + 7200)).unwrap();
        self.ledger_anew().append(&Set::to(MORNING + 7200), &[Deed::Note(note)]).unwrap();
        self
    }

    pub(super) fn order(&self, run: &str, despite: Option<&str>) -> acts::OrderRequest {
        acts::OrderRequest {
            run: self.folder.join(run),
            bureau: Some("Bureau One".into()),
            price: Some("312.40 EUR".into()),
            on: None,
            reference: Some("B-77".into()),
            despite: despite.map(str::to_owned),
        }
    }

    pub(super) fn ledger_anew(&self) -> Ledger {
        Ledger::of(&self.folder)
    }

    /// Every file, in order.
    pub(super) fn files(&self) -> Vec<PathBuf> {
        files(&self.folder)
    }
}

pub(super) fn job() -> Job {
    Job { file: "night.yaml".into(), blake3: Digest::of(b"commission: HB-1\n") }
}

/// Every file below a folder, in order.
pub(super) fn files(folder: &Path) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths.into_iter().flat_map(|path| if path.is_dir() { files(&path) } else { vec![path] }).collect()
}

/// Writes over a file that people may only read.
pub(super) fn replace(path: &Path, bytes: &[u8]) {
    fs::remove_file(path).unwrap();
    fs::write(path, bytes).unwrap();
}
