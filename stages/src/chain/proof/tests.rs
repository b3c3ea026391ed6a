#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::AtomicBool;

use glam::{DVec3, IVec3};
use serde_json::json;

use super::*;
use crate::conformance::Trial;
use crate::findings::{Fact, Severity, Value};
use crate::paint::Paint;
use crate::solid::Grid;
use crate::solid::skin::outside_faces;
use crate::stage::{Outcome, erase};
use crate::{Six, Srgb};

/// Six invented colours, well apart.
const SIX: [Srgb; 6] = [
    Srgb([200, 85, 61]),
    Srgb([42, 111, 151]),
    Srgb([233, 196, 106]),
    Srgb([88, 129, 87]),
    Srgb([244, 241, 222]),
    Srgb([61, 64, 91]),
];

/// A ball of so many cells across.
fn ball(across: i32, cell: f64) -> Workpiece {
    let grid = Grid { origin: DVec3::ZERO, cell, counts: IVec3::splat(across) };
    let cells = Cells::from_fn(grid, |c| (2 * c + 1 - across).length_squared() <= across * across);
    let faces: Arc<[_]> = outside_faces(&cells, None).into();
    let ink = faces.iter().map(|face| face.side as u32).collect();
    let paint = Paint { colours: SIX.to_vec(), faces, ink, sides: Six(SIX), inside: SIX[0], guard: None };
    Workpiece::default().with_cells(cells).with_paint(paint)
}

fn run(piece: Workpiece, settings: serde_json::Value) -> (Outcome, tempfile::TempDir) {
    let folder = tempfile::tempdir().unwrap();
    let stage = erase::<Proof>();
    let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece };
    let (_, outcome) = trial.run(folder.path().to_owned()).unwrap();
    (outcome, folder)
}

fn fact<'a>(outcome: &'a Outcome, name: &str) -> &'a Fact {
    outcome.facts.iter().find(|fact| fact.name == name).unwrap_or_else(|| panic!("no fact '{name}'"))
}

fn number(outcome: &Outcome, name: &str) -> f64 {
    match fact(outcome, name).value {
        Value::Number(number) => number,
        ref other => panic!("{name}: {other:?}"),
    }
}

fn text<'a>(outcome: &'a Outcome, name: &str) -> &'a str {
    match &fact(outcome, name).value {
        Value::Text(text) => text,
        other => panic!("{name}: {other:?}"),
    }
}

const SMALL: fn() -> serde_json::Value = || json!({ "pixels": 64, "film": 0 });

#[test]
fn a_ball_of_small_cells_fails_and_is_told_what_would_hold() {
    // Common practice, no source: 0.6 mm cells run together in powder, 3 mm cells hold.
    let (outcome, _folder) = run(ball(50, 0.6), SMALL());
    assert_eq!(text(&outcome, "effect"), "fails");
    let [finding] = &outcome.findings[..] else { panic!("{:?}", outcome.findings) };
    assert_eq!((finding.severity, finding.code.as_str()), (Severity::Fault, "effect-fails"));
    let enough = number(&outcome, "smallest cell that holds");
    assert!((1.5..=3.0).contains(&enough), "{enough}");
    assert!(finding.remedy.contains(&format!("{enough:.2} mm")), "{}", finding.remedy);
    // The size told is that of as many cells: 50 of them.
    let size = format!("{0:.1} × {0:.1} × {0:.1} mm", 50.0 * enough);
    assert_eq!(text(&outcome, "smallest size that holds"), size);
    // What is told to hold does, and what is a tenth smaller does not.
    let effect = |cell: f64| text(&run(ball(50, cell), SMALL()).0, "effect").to_owned();
    assert_eq!(effect(enough), "holds");
    assert_ne!(effect(enough * 0.9), "holds");
}

#[test]
fn a_palm_size_ball_of_large_cells_holds() {
    let (outcome, folder) = run(ball(30, 3.0), SMALL());
    assert_eq!(text(&outcome, "effect"), "holds");
    assert!(outcome.findings.is_empty(), "{:?}", outcome.findings);
    assert!(number(&outcome, "smallest cell that holds") <= 3.0);
    let Value::Table { rows, .. } = &fact(&outcome, "turn").value else { panic!() };
    assert_eq!(rows.len(), 72);
    // Six sides and 72 steps, each designed and printed; no film was asked for.
    assert_eq!(outcome.artefacts.len(), 2 * (6 + 72));
    assert!(outcome.artefacts.iter().all(|artefact| Path::new(folder.path()).join(&artefact.name).exists()));
}

#[test]
fn ranges_of_the_process_show_in_the_scores() {
    let mut process = crate::conformance::process();
    process.bleed.range = Some([Length::from_mm(0.1), Length::from_mm(1.2)]);
    let cancel = AtomicBool::new(false);
    let folder = tempfile::tempdir().unwrap();
    let mut shelf = crate::conformance::Folder::at(folder.path().to_owned());
    let files = BTreeMap::new();
    let mut shop = Shop::new(&process, &files, &[], &cancel, &mut shelf).drafting();
    let settings: Settings = serde_json::from_value(json!({})).unwrap();
    Proof::run(&settings, ball(30, 3.0), &mut shop).unwrap();
    let outcome = shop.close();
    // Holds as stated, but 1.2 mm of bleed on 3 mm cells would fail.
    assert_eq!(text(&outcome, "effect"), "marginal");
    assert!(text(&outcome, "decided by").starts_with("with the harshest figures"));
    let Value::Table { rows, .. } = &fact(&outcome, "legibility by process range").value else { panic!() };
    let at = |row: usize| rows[row][1].parse::<f64>().unwrap();
    assert!(at(1) > at(0) && at(0) > at(2), "{rows:?}");
    assert!(outcome.artefacts.is_empty(), "a draft draws nothing");
}

#[test]
fn settings_without_sense_are_told() {
    for (settings, setting) in [
        (json!({ "pixels": 0 }), "pixels"),
        (json!({ "pixels": 5000 }), "pixels"),
        (json!({ "film": 3 }), "film"),
        (json!({ "distance": 0 }), "distance"),
        (json!({ "distance": "-3 m" }), "distance"),
        (json!({ "eye": "9000 m" }), "eye"),
        // Within the piece.
        (json!({ "distance": 20, "pixels": 64 }), "distance"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        let stage = erase::<Proof>();
        let trial =
            Trial { stage: stage.as_ref(), settings: settings.clone(), files: BTreeMap::new(), piece: ball(30, 3.0) };
        match trial.run(folder.path().to_owned()) {
            Err(Halt::Misfit(misfit)) => assert_eq!(misfit.setting, setting, "{settings}"),
            other => panic!("{settings}: {:?}", other.map(|(_, outcome)| outcome)),
        }
    }
}
