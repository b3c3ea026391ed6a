//! What every stage owes, as a suite that any stage can run in its tests, also one from outside the project: settings
//! survive a round trip, bad settings are refused, what the stage says it gives is there, a finding that has a place is
//! pictured, the same piece comes out on one thread and on many, with a memo and without, and a draft says the same as the piece itself.

use std::collections::BTreeMap;
use std::io::{self, Write};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use crate::Length;
use crate::findings::{Finding, Severity};
use crate::memo::Memo;
use crate::process::{Family, Figure, Process};
use crate::stage::{AnyStage, Halt, Outcome, Shelf, Shop, Wanted};
use crate::workpiece::Workpiece;

/// A shelf in a folder of its own, removed when dropped.
#[derive(Debug)]
pub struct Folder {
    path: PathBuf,
}

impl Folder {
    /// Takes an existing empty folder.
    #[must_use]
    pub fn at(path: PathBuf) -> Self {
        Self { path }
    }
}

impl Shelf for Folder {
    fn create(&mut self, name: &str) -> io::Result<Box<dyn Write + '_>> {
        Ok(Box::new(std::fs::File::create_new(self.path(name))?))
    }

    fn path(&self, name: &str) -> PathBuf {
        self.path.join(name)
    }
}

/// An invented powder process.
#[must_use]
pub fn process() -> Process {
    fn figure<T>(value: T) -> Figure<T> {
        Figure { value, range: None, basis: "invented for tests".to_owned() }
    }
    let mm = |mm| figure(Length::from_mm(mm));
    Process {
        name: "Test powder".to_owned(),
        family: Family::BinderJetting,
        build_volume: figure([Length::from_mm(250.0), Length::from_mm(380.0), Length::from_mm(200.0)]),
        layer: mm(0.1),
        minimum_wall: mm(2.0),
        detail: mm(0.6),
        gap: mm(1.5),
        opening: mm(6.0),
        bleed: mm(0.3),
        edge_radius: mm(0.2),
        base: None,
        gamut: None,
        profile: None,
        clearance: None,
        tolerance: mm(0.3),
        density: figure(1.5),
        strength: Some(figure(10.0)),
        most_triangles: figure(1_000_000),
        most_bytes: figure(64_000_000),
    }
}

/// A run of one stage: its settings as in a job file, the files that they name, and the piece.
pub struct Trial<'a> {
    /// The stage.
    pub stage: &'a dyn AnyStage,
    /// Its settings.
    pub settings: serde_json::Value,
    /// Files that the settings name.
    pub files: BTreeMap<String, Arc<[u8]>>,
    /// The piece before.
    pub piece: Workpiece,
}

impl Trial<'_> {
    /// Runs the stage once with its artefacts in `folder`, which must exist and be empty.
    ///
    /// # Errors
    /// As the stage's `check` and `run`.
    ///
    /// # Panics
    /// If the settings cannot be read.
    pub fn run(&self, folder: PathBuf) -> Result<(Workpiece, Outcome), Halt> {
        self.run_for(Wanted::Piece, None, folder)
    }

    /// As [`Trial::run`], with a memo of what runs before it have done.
    ///
    /// # Errors
    /// As there.
    ///
    /// # Panics
    /// As there.
    pub fn run_with(&self, memo: &Memo, folder: PathBuf) -> Result<(Workpiece, Outcome), Halt> {
        self.run_for(Wanted::Piece, Some(memo), folder)
    }

    fn run_for(&self, wanted: Wanted, memo: Option<&Memo>, folder: PathBuf) -> Result<(Workpiece, Outcome), Halt> {
        let ready = self.stage.read(self.settings.clone()).unwrap_or_else(|misfit| panic!("settings: {misfit:?}"));
        let (process, cancel) = (process(), AtomicBool::new(false));
        let mut shelf = Folder::at(folder);
        let shop = Shop::new(&process, &self.files, &[], &cancel, &mut shelf).titled("Test piece");
        let shop = shop.wanting(wanted);
        let mut shop = if let Some(memo) = memo { shop.with_memo(memo) } else { shop };
        ready.check(&shop)?;
        let piece = ready.run(self.piece.clone(), &mut shop)?;
        Ok((piece, shop.close()))
    }

    /// The suite.
    ///
    /// # Panics
    /// With the obligation that is not met.
    pub fn suite(&self, scratch: impl Fn() -> PathBuf) {
        let ready = self.stage.read(self.settings.clone()).unwrap_or_else(|misfit| panic!("settings: {misfit:?}"));
        let resolved = ready.settings();
        let again = self.stage.read(resolved.clone()).unwrap_or_else(|misfit| panic!("resolved settings: {misfit:?}"));
        assert_eq!(again.settings(), resolved, "settings must survive a round trip");
        assert!(self.stage.read(serde_json::json!({ "no such setting": 1 })).is_err(), "unknown settings are refused");
        for &part in ready.needs() {
            assert!(self.piece.has(part), "the trial's piece must have {part}, which the stage needs");
        }

        let run = |threads, memo| {
            let folder = scratch();
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads can be started");
            let run = || self.run_for(Wanted::Piece, memo, folder.clone());
            let (piece, outcome) = pool.install(run).unwrap_or_else(|halt| panic!("{halt:?}"));
            let bytes: BTreeMap<String, Vec<u8>> = outcome
                .artefacts
                .iter()
                .map(|a| (a.name.clone(), std::fs::read(folder.join(&a.name)).expect("artefacts can be read back")))
                .collect();
            (piece, outcome.facts, outcome.findings, bytes)
        };
        let (piece, facts, findings, bytes) = run(1, None);
        for &part in ready.gives() {
            assert!(piece.has(part), "the stage says that it gives {part}");
        }
        each_is_pictured(&findings, &piece, &bytes);
        // Twice with a memo: one that knows nothing yet, and one that knows this very run.
        let memo = Memo::new(1 << 30);
        let others = [(2, None), (3, None), (8, None), (2, Some(&memo)), (1, Some(&memo))];
        for (threads, memo) in others {
            let how = format!("on {threads} threads, {} a memo", if memo.is_some() { "with" } else { "without" });
            let other = run(threads, memo);
            assert_eq!(other.0.surface(), piece.surface(), "the surface {how}");
            assert_eq!(other.0.cells(), piece.cells(), "the cells {how}");
            assert_eq!(other.0.void(), piece.void(), "the void {how}");
            assert_eq!(other.0.paint(), piece.paint(), "the paint {how}");
            assert_eq!(other.1, facts, "the facts {how}");
            assert_eq!(other.2, findings, "the findings {how}");
            assert_eq!(other.3, bytes, "the artefacts {how}");
        }

        let run = |wanted| self.run_for(wanted, None, scratch()).unwrap_or_else(|halt| panic!("{halt:?}"));
        let (piece_of_draft, draft) = run(Wanted::Facts);
        let unpictured = |finding: &Finding| Finding { picture: None, ..finding.clone() };
        assert_eq!(draft.facts, facts, "the facts of a draft");
        assert!(draft.findings.iter().map(unpictured).eq(findings.iter().map(unpictured)), "the findings of a draft");
        for &part in ready.gives() {
            assert!(piece_of_draft.has(part), "a draft gives {part} too");
        }
        let (piece_of_brief, brief) = run(Wanted::Comparison);
        let faults = |findings: &[Finding]| -> Vec<String> {
            findings.iter().filter(|f| f.severity == Severity::Fault).map(|f| f.code.clone()).collect()
        };
        assert!(brief.facts.iter().all(|fact| facts.contains(fact)), "what is said for a comparison");
        assert_eq!(faults(&brief.findings), faults(&findings), "the faults found for a comparison");
        for &part in ready.gives() {
            assert!(piece_of_brief.has(part), "what runs for a comparison gives {part} too");
        }
    }
}

/// That every finding with places has a picture, where there is anything to draw, and that every picture is a PNG that the
/// stage made (ISO/IEC 15948, 5.2).
fn each_is_pictured(findings: &[Finding], piece: &Workpiece, made: &BTreeMap<String, Vec<u8>>) {
    let can_be_drawn = piece.cells().is_some() || piece.surface().is_some();
    for finding in findings {
        let shown = finding.picture.as_ref().map(|name| made.get(name).map_or(&[][..], Vec::as_slice));
        assert!(shown.is_some() || finding.places.is_empty() || !can_be_drawn, "{finding:?} has no picture");
        assert!(shown.is_none_or(|png| png.starts_with(b"\x89PNG\r\n\x1a\n")), "{finding:?}: its picture is none");
    }
}
