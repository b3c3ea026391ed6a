//! One piece in many palettes: with a memo that goes from run to run, and without one, every fact, every finding and every
//! byte is the same.

#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::fs;
use std::sync::Arc;

use glam::{DVec3, IVec3};
use proptest::prelude::*;
use serde_json::{Value, json};
use turnhue_stages::conformance::Trial;
use turnhue_stages::findings::{Fact, Finding};
use turnhue_stages::memo::Memo;
use turnhue_stages::shipped;
use turnhue_stages::solid::{Cells, Grid};
use turnhue_stages::workpiece::Workpiece;

/// What a chain of stages said and made.
type Made = (Vec<Fact>, Vec<Finding>, BTreeMap<String, Vec<u8>>);

fn run(chain: &[(&str, Value)], mut piece: Workpiece, memo: Option<&Memo>) -> (Workpiece, Made) {
    let rates: Arc<[u8]> = include_bytes!("../../jobs/rates/bureau-demo.yaml").as_slice().into();
    let (folder, stages) = (tempfile::tempdir().unwrap(), shipped());
    let (mut facts, mut findings, mut files) = (Vec::new(), Vec::new(), BTreeMap::new());
    for (name, settings) in chain {
        let stage = stages.iter().find(|stage| stage.name() == *name).unwrap().as_ref();
        let files_of = BTreeMap::from([("rates.yaml".to_owned(), Arc::clone(&rates))]);
        let trial = Trial { stage, settings: settings.clone(), files: files_of, piece };
        let path = folder.path().to_owned();
        let (next, said) = match memo {
            Some(memo) => trial.run_with(memo, path),
            None => trial.run(path),
        }
        .unwrap();
        facts.extend(said.facts);
        findings.extend(said.findings);
        for artefact in said.artefacts {
            files.insert(artefact.name.clone(), fs::read(folder.path().join(&artefact.name)).unwrap());
        }
        piece = next;
    }
    (piece, (facts, findings, files))
}

/// A block of 7 × 6 × 8 cells of 4 mm with a corner cut off, hollowed through its foot.
fn hollowed() -> Workpiece {
    let grid = Grid { origin: DVec3::new(-3.0, 2.0, 0.0), cell: 4.0, counts: IVec3::new(7, 6, 8) };
    let piece = Workpiece::default().with_cells(Cells::from_fn(grid, |c| c.x + c.y + c.z < 14));
    let settings = json!({ "wall": "3 mm", "openings": [{ "side": "bottom", "width": "8 mm" }] });
    run(&[("hollow", settings)], piece, None).0
}

/// Few colours, so that sides often share one.
fn colour() -> impl Strategy<Value = Value> {
    prop::sample::select(&["#c8553d", "#2a6f97", "#e9c46a", "#588157", "#f4f1de", "white"][..]).prop_map(|c| json!(c))
}

fn coat() -> impl Strategy<Value = Value> {
    prop_oneof![
        6 => colour(),
        1 => (colour(), colour()).prop_map(|(from, to)| json!({ "gradient": { "from": from, "to": to, "along": "z" } })),
    ]
}

fn palette() -> impl Strategy<Value = Value> {
    let band =
        (colour(), 1..30u32).prop_map(|(colour, to)| json!([{ "band": { "from": 0, "to": to, "colour": colour } }]));
    let guard = prop_oneof![3 => Just(json!("none")), 1 => Just(json!({ "width": "0.5 mm" }))];
    (prop::array::uniform6(coat()), colour(), prop_oneof![3 => Just(json!([])), 1 => band], guard).prop_map(
        |([right, left, back, front, top, bottom], inside, over, guard)| {
            json!({
                "right": right, "left": left, "back": back, "front": front, "top": top, "bottom": bottom,
                "inside": inside, "over": over, "guard": guard,
            })
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn a_memo_changes_nothing(palettes in prop::collection::vec(palette(), 3), wall in prop::sample::select(&[2.0, 3.5][..])) {
        let piece = hollowed();
        // One that keeps all, and one that has room for a part and lets go of it all the time.
        for limit in [1 << 30, 40_000] {
            let memo = Memo::new(limit);
            for palette in &palettes {
                let chain = [
                    ("colour", palette.clone()),
                    ("validate", json!({ "wall": wall })),
                    ("estimate", json!({ "rates": "rates.yaml" })),
                ];
                let fresh = run(&chain, piece.clone(), None).1;
                for _ in 0..2 {
                    let recalled = run(&chain, piece.clone(), Some(&memo)).1;
                    prop_assert_eq!(&recalled.0, &fresh.0);
                    prop_assert_eq!(&recalled.1, &fresh.1);
                    prop_assert!(recalled.2 == fresh.2, "an artefact differs");
                }
                prop_assert!(memo.bytes() <= limit);
            }
        }
    }
}

/// The ordered file, spoilt between `colour` and `validate`, is found out although the memo knows the piece.
#[test]
fn a_memo_does_not_hide_a_file_that_was_spoilt() {
    let (piece, memo) = (hollowed(), Memo::new(1 << 30));
    let colours = |top: &str| json!({ "right": "#c8553d", "left": "#2a6f97", "back": "#e9c46a", "front": "#588157", "top": top, "bottom": "#3d405b" });
    run(&[("colour", colours("#f4f1de")), ("validate", json!({}))], piece.clone(), Some(&memo));

    let (stages, folder) = (shipped(), tempfile::tempdir().unwrap());
    let stage = |name: &str| stages.iter().find(|stage| stage.name() == name).unwrap().as_ref();
    let trial = |name, settings, piece| Trial { stage: stage(name), settings, files: BTreeMap::new(), piece };
    let path = || folder.path().to_owned();
    let (painted, _) = trial("colour", colours("#aabbcc"), piece.clone()).run_with(&memo, path()).unwrap();
    let validated = || trial("validate", json!({}), painted.clone()).run_with(&memo, path()).unwrap().1;
    let faults = || validated().findings.iter().map(|finding| finding.code.clone()).collect::<Vec<_>>();
    assert_eq!(faults(), [""; 0]);

    // The same mesh in the colours of the palette before: every triangle of the top is wrong.
    let ordered = folder.path().join("piece.3mf");
    let other = tempfile::tempdir().unwrap();
    trial("colour", colours("#f4f1de"), piece).run_with(&memo, other.path().to_owned()).unwrap();
    fs::copy(other.path().join("piece.3mf"), &ordered).unwrap();
    assert_eq!(faults(), ["wrong-colour", "view-not-its-colour"]);

    // A byte of the mesh's text.
    let mut bytes = fs::read(&ordered).unwrap();
    let at = bytes.len() / 2;
    bytes[at] ^= 0x10;
    fs::write(&ordered, &bytes).unwrap();
    assert_eq!(faults(), ["file-unreadable"]);
}
