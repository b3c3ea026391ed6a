//! Every stage that ships meets what every stage owes, each on the piece that the stages before it made.

#![allow(clippy::unwrap_used)]

use std::cell::Cell;
use std::collections::BTreeMap;
use std::fs;
use std::path::PathBuf;
use std::sync::Arc;

use glam::{DVec2, DVec3};
use serde_json::{Value, json};
use turnhue_stages::conformance::Trial;
use turnhue_stages::mounts::{Mounts, Swept};
use turnhue_stages::shipped;
use turnhue_stages::solid::Surface;
use turnhue_stages::workpiece::{Part, Workpiece};

/// A block with a flat foot and a point on top: closed, with slanted walls.
fn house() -> Surface {
    let points = [[0, 0, 0], [4, 0, 0], [4, 4, 0], [0, 4, 0], [0, 0, 3], [4, 0, 3], [4, 4, 3], [0, 4, 3], [2, 2, 6]];
    let triangles = [
        [0, 2, 1],
        [0, 3, 2],
        [0, 1, 5],
        [0, 5, 4],
        [1, 2, 6],
        [1, 6, 5],
        [2, 3, 7],
        [2, 7, 6],
        [3, 0, 4],
        [3, 4, 7],
        [4, 5, 8],
        [5, 6, 8],
        [6, 7, 8],
        [7, 4, 8],
    ];
    Surface::new(points.map(|p| DVec3::from_array(p.map(f64::from))).to_vec(), triangles.to_vec()).unwrap()
}

/// A stand under the house, for stages that need one.
fn mounts() -> Mounts {
    Mounts {
        axis: DVec2::splat(20.0),
        foot: -8.0,
        rest: -10.0,
        hub: 7.0,
        hub_end: -17.0,
        swept: Swept { radius: 32.0, low: -8.0, high: 60.0 },
        mass: 120.0,
        torque: 10.0,
        base: 25.0,
        bodies: Vec::new(),
    }
}

/// Settings for a stage on the house. A new stage needs a line here.
fn settings(stage: &str) -> Value {
    match stage {
        "scale" => json!({ "height": "60 mm" }),
        "voxelise" => json!({ "cell": "3 mm" }),
        "foot" => json!({ "cells": 2, "width": "18 mm" }),
        "repair" | "coupon" | "validate" | "stand" | "handbuild" => json!({}),
        "proof" => json!({ "pixels": 64, "film": 64 }),
        "hollow" => json!({ "wall": "2.5 mm", "openings": [{ "side": "bottom", "width": "12 mm" }] }),
        "colour" => json!({
            "right": { "picture": "day.png" },
            "left": { "gradient": { "from": "teal", "to": "gold", "along": "z", "mix": "lab" } },
            "back": "gold",
            "front": { "picture": { "file": "day.png", "fit": "whole", "ground": "seagreen" } },
            "top": "ivory",
            "bottom": "indigo",
            "over": [
                { "band": { "from": 0, "to": "6 mm", "colour": "black" } },
                { "spot": { "low": [0, 0, 0], "high": ["20 mm", "1 mm", "20 mm"], "colour": "red", "sides": ["front"] } },
            ],
        }),
        "split" => json!({ "build": ["45 mm", "45 mm", "40 mm"] }),
        "estimate" => json!({ "rates": "rates.yaml", "copies": [1, 5] }),
        "case" => json!({ "cover": { "kind": "lid" } }),
        other => panic!("`{other}` has no trial yet"),
    }
}

#[test]
fn every_stage_meets_what_it_owes() {
    let (folder, number) = (tempfile::tempdir().unwrap(), Cell::new(0));
    let scratch = || -> PathBuf {
        number.set(number.get() + 1);
        let path = folder.path().join(number.get().to_string());
        fs::create_dir(&path).unwrap();
        path
    };
    let rates: Arc<[u8]> = include_bytes!("../../jobs/rates/bureau-demo.yaml").as_slice().into();
    let picture: Arc<[u8]> = include_bytes!("../../jobs/pictures/day.png").as_slice().into();
    let files = BTreeMap::from([("rates.yaml".to_owned(), rates), ("day.png".to_owned(), picture)]);

    let mut piece = Workpiece::default().with_surface(house());
    let mut places = 0;
    for stage in shipped() {
        if stage.needs().contains(&Part::Mounts) && !piece.has(Part::Mounts) {
            piece = piece.with_mounts(mounts());
        }
        let trial = Trial { stage: stage.as_ref(), settings: settings(stage.name()), files: files.clone(), piece };
        trial.suite(scratch);
        let (next, outcome) = trial.run(scratch()).unwrap();
        assert!(!outcome.facts.is_empty(), "`{}` says nothing", stage.name());
        for finding in &outcome.findings {
            assert!(!finding.message.is_empty() && !finding.code.is_empty(), "`{}`: {finding:?}", stage.name());
            assert!(finding.severity < turnhue_stages::findings::Severity::Fault, "`{}`: {finding:?}", stage.name());
            places += finding.places.len();
        }
        piece = next;
    }
    assert!(places > 0, "no finding has a place, and the suite looked for no picture");
}

#[test]
fn a_shaft_that_is_shorter_than_the_wall_is_no_thin_wall() {
    // One layer of 2.2 mm cells lies below a cavity that begins at 2.5 mm: the shaft's walls go on to there.
    let folder = tempfile::tempdir().unwrap();
    let mut piece = Workpiece::default().with_surface(house());
    for stage in
        shipped().into_iter().filter(|s| ["scale", "voxelise", "hollow", "colour", "validate"].contains(&s.name()))
    {
        let settings = match stage.name() {
            "voxelise" => json!({ "cell": "2.2 mm" }),
            "colour" => json!({
                "right": "tomato", "left": "teal", "back": "gold", "front": "seagreen", "top": "ivory", "bottom": "indigo",
            }),
            name => settings(name),
        };
        let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece };
        let (next, outcome) = trial.run(folder.path().to_owned()).unwrap();
        let faults: Vec<_> =
            outcome.findings.iter().filter(|f| f.severity == turnhue_stages::findings::Severity::Fault).collect();
        assert!(faults.is_empty(), "`{}`: {faults:?}", stage.name());
        piece = next;
    }
}
