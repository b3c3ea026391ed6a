#![allow(clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;
use std::path::Path;
use std::sync::Arc;

use proptest::prelude::*;
use serde_json::json;

use super::blocks::{Block, Dress, Solid, Zone};
use super::*;
use crate::conformance::{Trial, process};
use crate::findings::Severity;
use crate::formats::threemf::read;
use crate::paint::Paint;
use crate::stage::{Outcome, erase};

/// Every directed edge comes once, with its opposite; and around every point the triangles make one fan: a closed manifold.
fn is_closed_manifold(triangles: &[[u32; 3]]) -> bool {
    let mut next: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    for &[a, b, c] in triangles {
        for (at, from, to) in [(a, b, c), (b, c, a), (c, a, b)] {
            // Seen from `at`, the triangle leads from one neighbour to the next.
            if at == from || next.insert((at, from), to).is_some() {
                return false;
            }
        }
    }
    let mut around: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for &(at, from) in next.keys() {
        around.entry(at).or_default().push(from);
    }
    around.iter().all(|(&at, neighbours)| {
        let mut seen = BTreeSet::new();
        let mut now = neighbours[0];
        while seen.insert(now) {
            match next.get(&(at, now)) {
                Some(&then) => now = then,
                None => return false,
            }
        }
        seen.len() == neighbours.len()
    })
}

fn volume(points: &[glam::DVec3], triangles: &[[u32; 3]]) -> f64 {
    let six = |t: &[u32; 3]| {
        let [a, b, c] = t.map(|i| points[i as usize]);
        a.dot(b.cross(c))
    };
    triangles.iter().map(six).sum::<f64>() / 6.0
}

/// Bodies: sets of points that triangles hold together.
fn bodies(points: usize, triangles: &[[u32; 3]]) -> usize {
    let mut parent: Vec<usize> = (0..points).collect();
    fn root(parent: &mut [usize], mut at: usize) -> usize {
        while parent[at] != at {
            parent[at] = parent[parent[at]];
            at = parent[at];
        }
        at
    }
    for t in triangles {
        for pair in [[t[0], t[1]], [t[1], t[2]]] {
            let [a, b] = pair.map(|p| root(&mut parent, p as usize));
            parent[a] = b;
        }
    }
    let used: BTreeSet<usize> = triangles.iter().flatten().map(|&p| p as usize).collect();
    used.into_iter().map(|p| root(&mut parent, p)).collect::<BTreeSet<_>>().len()
}

#[test]
fn blocks_of_different_sizes_meet_in_shared_points() {
    let mut solid = Solid::default();
    solid.lay(Block { low: [0, 0, 0], high: [10_000, 8_000, 2_000] }, Dress::Bare);
    solid.lay(Block { low: [1_000, 1_000, 2_000], high: [2_500, 3_000, 4_000] }, Dress::Sides);
    solid.cut(Block { low: [6_000, 0, 0], high: [7_000, 3_000, 2_000] });
    solid.paint(Zone { low: [3_000, 4_000], high: [9_000, 6_000], z: 2_000, colour: Side::Left });
    let meshed = solid.mesh();
    assert!(is_closed_manifold(&meshed.triangles));
    // By hand: 10 · 8 · 2 + 1.5 · 2 · 2 − 1 · 3 · 2.
    assert!((volume(&meshed.points, &meshed.triangles) - 160.0).abs() < 1e-9);
    assert!((solid.volume() - 160.0).abs() < 1e-9);
    let area = |ink: Ink| {
        let areas = meshed.triangles.iter().zip(&meshed.ink).filter(|(_, other)| **other == ink).map(|(t, _)| {
            let [a, b, c] = t.map(|i| meshed.points[i as usize]);
            (b - a).cross(c - a).length() / 2.0
        });
        areas.sum::<f64>()
    };
    // The zone on the plate is 6 · 2 in the left's colour, the block's left face 2 · 2.
    assert!((area(Ink::Side(Side::Left)) - 16.0).abs() < 1e-9);
    assert!((area(Ink::Side(Side::Top)) - 3.0).abs() < 1e-9);
}

#[test]
fn the_check_of_closed_manifolds_can_fail() {
    let mut solid = Solid::default();
    solid.lay(Block { low: [0, 0, 0], high: [1_000, 1_000, 1_000] }, Dress::Bare);
    let mut triangles = solid.mesh().triangles;
    assert!(is_closed_manifold(&triangles));
    triangles.pop();
    assert!(!is_closed_manifold(&triangles));
    // Two cubes that touch in an edge alone.
    solid.lay(Block { low: [1_000, 1_000, 0], high: [2_000, 2_000, 1_000] }, Dress::Bare);
    assert!(!is_closed_manifold(&solid.mesh().triangles));
}

proptest! {
    #[test]
    fn stacked_blocks_are_closed_and_hold_their_volume(
        towers in proptest::collection::vec((0i32..8, 0i32..8, 1i32..4, 1i32..4, 1i32..5), 1..12),
    ) {
        // Towers on a plate, on a lattice with odd steps. Where two touch along an edge alone, cells fill it.
        let at = |i: i32| i * 1_100 + i * i * 7;
        let mut solid = Solid::default();
        let height = |x: i32, y: i32| {
            let over = towers.iter().filter(|&&(a, b, w, d, _)| (a..a + w).contains(&x) && (b..b + d).contains(&y));
            over.map(|t| t.4).max().unwrap_or(0)
        };
        solid.lay(Block { low: [0, 0, -500], high: [at(12), at(12), 0] }, Dress::Bare);
        for &(x, y, w, d, h) in &towers {
            solid.lay(Block { low: [at(x), at(y), 0], high: [at(x + w), at(y + d), h * 900] }, Dress::Sides);
        }
        let corner_contact = (1..12).any(|x| (1..12).any(|y| {
            let [a, b, c, d] = [height(x - 1, y - 1), height(x, y - 1), height(x - 1, y), height(x, y)];
            a.min(d) > b.max(c) || b.min(c) > a.max(d)
        }));
        prop_assume!(!corner_contact);
        let meshed = solid.mesh();
        prop_assert!(is_closed_manifold(&meshed.triangles));
        prop_assert!((volume(&meshed.points, &meshed.triangles) - solid.volume()).abs() < 1e-6);
    }
}

fn painted() -> Workpiece {
    let sides = Six(["tomato", "teal", "gold", "seagreen", "ivory", "indigo"].map(|name| name.parse().unwrap()));
    let colours = sides.0.to_vec();
    let paint = Paint { colours, faces: Arc::new([]), ink: vec![], sides, inside: Srgb([0; 3]), guard: None };
    Workpiece::default().with_paint(paint)
}

fn run(settings: serde_json::Value, folder: &Path) -> Result<Outcome, Halt> {
    let stage = erase::<Coupon>();
    let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece: painted() };
    Ok(trial.run(folder.to_owned())?.1)
}

#[test]
fn the_file_is_closed_and_within_its_limits() {
    let folder = tempfile::tempdir().unwrap();
    let outcome = run(json!({}), folder.path()).unwrap();
    assert!(outcome.findings.is_empty(), "{:?}", outcome.findings);
    let bytes = std::fs::read(folder.path().join("coupon.3mf")).unwrap();
    let model = read::read(Cursor::new(bytes), read::Limits { part_bytes: 1 << 26, triangles: 150_000 }).unwrap();
    assert!(is_closed_manifold(&model.triangles));
    // The plaque and the key.
    assert_eq!(bodies(model.points.len(), &model.triangles), 2);
    let fact = |name: &str| outcome.facts.iter().find(|fact| fact.name == name).unwrap().value.clone();
    let crate::findings::Value::Number(cm3) = fact("coupon volume") else { panic!() };
    assert!((volume(&model.points, &model.triangles) / 1000.0 - cm3).abs() < 1e-6);
    let crate::findings::Value::Triple(size) = fact("coupon size") else { panic!() };
    assert!(size[0] < 90.0 && size[1] < 75.0 && size[2] < 12.0, "{size:?}");
    // All six sides' colours but the bottom's, bare material, and the numbers.
    let colours: BTreeSet<Option<Srgb>> = model.colours.into_iter().collect();
    assert_eq!(colours.len(), 7);
}

#[test]
fn patches_show_each_side_its_colour() {
    let ladders = Ladders { cells: vec![1.5, 1.0], lines: vec![1.0, 0.5], gaps: vec![0.1, 0.2], walls: vec![3.0, 2.0] };
    let meshed = layout::lay_out(&ladders, &process(), 4_000).solid.mesh();
    for side in [Side::Right, Side::Left, Side::Back, Side::Front] {
        let areas =
            meshed.triangles.iter().zip(&meshed.ink).filter(|(_, ink)| **ink == Ink::Side(side)).map(|(t, _)| {
                let [a, b, c] = t.map(|i| meshed.points[i as usize]);
                (b - a).cross(c - a).dot(side.normal()) / 2.0
            });
        // By hand: 5 cells across are 1 + 2 + 3 + 2 + 1 faces of 1.5 mm, 8 cells 2 · (1 + 2 + 3 + 4) faces of 1 mm.
        assert!((areas.sum::<f64>() - (9.0 * 2.25 + 20.0)).abs() < 1e-9, "{side}");
    }
}

#[test]
fn a_process_that_cannot_hold_it_is_told() {
    let small = |change: fn(&mut Process)| {
        let mut process = process();
        change(&mut process);
        let folder = tempfile::tempdir().unwrap();
        let (files, cancel) = (BTreeMap::new(), std::sync::atomic::AtomicBool::new(false));
        let mut shelf = crate::conformance::Folder::at(folder.path().to_owned());
        let mut shop = Shop::new(&process, &files, &[], &cancel, &mut shelf);
        Coupon::run(&Settings::default(), painted(), &mut shop).unwrap();
        let findings = shop.close().findings;
        findings.into_iter().map(|finding| (finding.severity, finding.code)).collect::<Vec<_>>()
    };
    assert_eq!(
        small(|process| process.build_volume.value = [Length::from_mm(50.0); 3]),
        [(Severity::Fault, "coupon-too-large".to_owned())]
    );
    assert_eq!(
        small(|process| process.most_triangles.value = 100),
        [(Severity::Fault, "coupon-too-many-triangles".to_owned())]
    );
    assert_eq!(
        small(|process| process.most_bytes.value = 1000),
        [(Severity::Fault, "coupon-file-too-large".to_owned())]
    );
    assert_eq!(
        small(|process| process.detail.value = Length::from_mm(1.8)),
        [(Severity::Caution, "coupon-numbers".to_owned())]
    );
    assert_eq!(small(|process| process.bleed.value = Length::from_mm(0.0)).len(), 2);
}

#[test]
fn settings_that_make_no_sense_are_refused() {
    let folder = tempfile::tempdir().unwrap();
    for (settings, setting) in [
        (json!({ "cells": ["1 mm"] }), "cells"),
        (json!({ "cells": ["1 mm", "2 mm"] }), "cells"),
        (json!({ "cells": ["1 mm", "1 mm"] }), "cells"),
        (json!({ "lines": ["1 mm", "0 mm"] }), "lines"),
        (json!({ "gaps": ["0.2 mm", "0.1 mm"] }), "gaps"),
        (json!({ "gaps": ["-0.2 mm", "0.1 mm"] }), "gaps"),
        (json!({ "walls": [9, 8, 7, 6, 5, 4, 3, 2, 1, 0.5] }), "walls"),
        (json!({ "walls": [1000, 8] }), "walls"),
        (json!({ "thickness": "0.5 mm" }), "thickness"),
    ] {
        match run(settings.clone(), folder.path()) {
            Err(Halt::Misfit(misfit)) => assert_eq!(misfit.setting, setting, "{settings}"),
            other => panic!("{settings}: {other:?}"),
        }
    }
}

#[test]
fn the_sheet_escapes_what_jobs_say_and_asks_for_nothing() {
    let title = "<script>alert(1)</script> & \"co\"";
    let ladders = ladders::of_process(&process());
    let layout = layout::lay_out(&ladders, &process(), 4_000);
    let inks = Inks::new(painted().paint().unwrap().sides, &process());
    let page = sheet::page(&ladders, &layout, &inks, title, &process());
    assert!(!page.contains("<script"), "markup from the job");
    assert!(page.contains("&lt;script&gt;alert(1)&lt;/script&gt; &amp; &quot;co&quot;"));
    for request in ["http:", "https:", "src=", "@import", "url("] {
        let beside = page.replace("http://www.w3.org/2000/svg", "");
        assert!(!beside.contains(request), "{request}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn any_coupon_is_closed(
        bleed in 0.0f64..1.2, detail in 0.05f64..2.0, wall in 0.3f64..5.0, tolerance in 0.0f64..1.0, gap in 0.1f64..4.0,
    ) {
        let mut process = process();
        for (figure, mm) in [
            (&mut process.bleed, bleed), (&mut process.detail, detail), (&mut process.minimum_wall, wall),
            (&mut process.tolerance, tolerance), (&mut process.gap, gap),
        ] {
            figure.value = Length::from_mm(mm);
        }
        let ladders = ladders::of_process(&process);
        prop_assert_eq!(Ladders::of_facts(&ladders.facts()), Ok(ladders.clone()));
        let layout = layout::lay_out(&ladders, &process, 4_000);
        let meshed = layout.solid.mesh();
        prop_assert!(is_closed_manifold(&meshed.triangles));
        prop_assert_eq!(bodies(meshed.points.len(), &meshed.triangles), 2);
        prop_assert!(meshed.triangles.len() < 150_000);
    }
}
