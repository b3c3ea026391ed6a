//! A night's palettes: the same piece in other colours, through `colour`, `validate` and `estimate`. On one thread
//! (`RAYON_NUM_THREADS=1`) the times are those of the processor.

use std::sync::atomic::{AtomicU32, Ordering};

use divan::Bencher;
use serde_json::{Value, json};
use turnhue_stages::memo::Memo;
use turnhue_stages::workpiece::Workpiece;

use crate::pieces::{Begun, folder, trial};

/// The three stages that a palette goes through.
struct Palettes {
    begun: Begun,
    colour: Value,
    estimate: Value,
    next: AtomicU32,
}

impl Palettes {
    fn new() -> Self {
        let (begun, colour) = Begun::demo("colour");
        let palettes = Self { begun, colour, estimate: Begun::demo("estimate").1, next: AtomicU32::new(0) };
        assert!(palettes.begun.piece.hull().is_some());
        palettes
    }

    /// Six colours that no palette had before.
    fn colour(&self) -> Value {
        let number = self.next.fetch_add(1, Ordering::Relaxed);
        let mut settings = self.colour.clone();
        for (at, side) in (0..).zip(["right", "left", "back", "front", "top", "bottom"]) {
            // Odd factors: over all 2²⁴ colours, each is met once.
            let colour = (number * 6 + at).wrapping_mul(0x9e_3779) & 0xff_ffff;
            settings[side] = json!(format!("#{colour:06x}"));
        }
        settings
    }

    fn run(&self, settings: &Value, memo: Option<&Memo>) {
        let folder = folder();
        let stages = [("colour", settings.clone()), ("validate", json!({})), ("estimate", self.estimate.clone())];
        stages.into_iter().fold(self.begun.piece.clone(), |piece: Workpiece, (stage, settings)| {
            let (trial, folder) = (trial(stage, settings, piece), folder.path().to_owned());
            let run = memo.map_or_else(|| trial.run(folder.clone()), |memo| trial.run_with(memo, folder.clone()));
            run.unwrap().0
        });
    }
}

/// What one more palette takes, all else of the piece being known.
#[divan::bench(sample_count = 40)]
fn further_palette(bencher: Bencher<'_, '_>) {
    let (palettes, memo) = (Palettes::new(), Memo::new(1 << 30));
    palettes.run(&palettes.colour(), Some(&memo));
    eprintln!("the memo holds {} bytes of the demo", memo.bytes());
    bencher.with_inputs(|| palettes.colour()).bench_values(|settings| palettes.run(&settings, Some(&memo)));
}

/// A stage at a time.
#[divan::bench(sample_count = 40, args = ["colour", "validate", "estimate"])]
fn further_palette_of(bencher: Bencher<'_, '_>, stage: &str) {
    let (palettes, memo, kept) = (Palettes::new(), Memo::new(1 << 30), folder());
    palettes.run(&palettes.colour(), Some(&memo));
    let coloured = trial("colour", palettes.colour(), palettes.begun.piece.clone());
    let coloured = coloured.run_with(&memo, kept.path().to_owned()).unwrap().0;
    let inputs = || {
        let trial = match stage {
            "colour" => trial(stage, palettes.colour(), palettes.begun.piece.clone()),
            "validate" => trial(stage, json!({}), coloured.clone()),
            _ => trial(stage, palettes.estimate.clone(), coloured.clone()),
        };
        (trial, folder())
    };
    bencher.with_inputs(inputs).bench_local_values(|(trial, folder)| {
        let made = trial.run_with(&memo, folder.path().to_owned()).unwrap();
        (made, folder)
    });
}

/// The first palette of a piece, of which nothing is known.
#[divan::bench(sample_count = 10)]
fn first_palette(bencher: Bencher<'_, '_>) {
    let palettes = Palettes::new();
    let inputs = || (palettes.colour(), Memo::new(1 << 30));
    bencher.with_inputs(inputs).bench_values(|(settings, memo)| palettes.run(&settings, Some(&memo)));
}

/// The same without a memo.
#[divan::bench(sample_count = 10)]
fn palette_without_memo(bencher: Bencher<'_, '_>) {
    let palettes = Palettes::new();
    bencher.with_inputs(|| palettes.colour()).bench_values(|settings| palettes.run(&settings, None));
}
