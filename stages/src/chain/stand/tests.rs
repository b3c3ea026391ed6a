#![allow(clippy::unwrap_used)]

use std::collections::{BTreeMap, BTreeSet};

use glam::{DVec2, DVec3, IVec3};
use proptest::prelude::*;
use serde_json::{Value as Json, json};

use super::balance::{GRAVITY, Mass, Stance};
use super::*;
use crate::chain::hollow::Hollow;
use crate::conformance::Trial;
use crate::findings::{Severity, Value};
use crate::formats::{stl, threemf};
use crate::solid::{Cells, Grid, Nearest, forms};
use crate::stage::Outcome;

/// A solid of 2 mm cells.
fn solid(counts: [i32; 3], holds: impl Fn(IVec3) -> bool + Sync) -> Workpiece {
    let grid = Grid { origin: DVec3::ZERO, cell: 2.0, counts: counts.into() };
    Workpiece::default().with_cells(Cells::from_fn(grid, holds))
}

fn run<S: Stage>(piece: &Workpiece, settings: Json) -> Result<(Workpiece, Outcome), Halt> {
    let folder = tempfile::tempdir().unwrap();
    let stage = crate::stage::erase::<S>();
    let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece: piece.clone() };
    trial.run(folder.path().to_path_buf())
}

fn hollowed(piece: &Workpiece, width: f64) -> Workpiece {
    run::<Hollow>(piece, json!({ "wall": 4, "openings": [{ "side": "bottom", "width": width }] })).unwrap().0
}

/// A block of 40 × 40 × 60 mm behind a wall of 4 mm, with an opening 12 mm wide.
fn block() -> Workpiece {
    hollowed(&solid([20, 20, 30], |_| true), 12.0)
}

fn stood(piece: &Workpiece, settings: Json) -> Result<(Workpiece, Outcome), Halt> {
    run::<Stand>(piece, settings)
}

fn number(outcome: &Outcome, name: &str) -> f64 {
    match outcome.facts.iter().find(|fact| fact.name == name).map(|fact| &fact.value) {
        Some(Value::Number(value)) => *value,
        other => panic!("{name}: {other:?}"),
    }
}

fn near(found: f64, expected: f64, by: f64) {
    assert!((found - expected).abs() <= by, "{found}, not {expected} ± {by}");
}

fn body<'a>(piece: &'a Workpiece, name: &str) -> &'a Surface {
    &piece.mounts().unwrap().bodies.iter().find(|body| body.name == name).unwrap().surface
}

fn codes(outcome: &Outcome) -> BTreeSet<&str> {
    outcome.findings.iter().map(|finding| finding.code.as_str()).collect()
}

fn is_closed(surface: &Surface) -> bool {
    let mut edges: BTreeMap<[u32; 2], i32> = BTreeMap::new();
    for &[a, b, c] in surface.triangles() {
        for [from, to] in [[a, b], [b, c], [c, a]] {
            *edges.entry([from.min(to), from.max(to)]).or_default() += if from < to { 1 } else { 1 << 16 };
        }
    }
    edges.values().all(|&uses| uses == 1 + (1 << 16))
}

#[test]
fn a_block_is_stood_as_it_would_be_by_hand() {
    let (piece, outcome) = stood(&block(), json!({})).unwrap();
    // The cavity's ceiling lies 4 mm below the top: 56 mm; the gap is 1 mm; no clearance is known: 0.35 mm a side.
    near(number(&outcome, "clearance"), 0.35, 0.0);
    near(number(&outcome, "post width"), 11.3, 1e-9);
    near(number(&outcome, "ceiling at the axis"), 56.0, 1e-9);
    near(number(&outcome, "post height"), 55.0, 1e-9);
    // 40 · 40 · 60 less a cavity of 32 · 32 · 52 and a shaft of 12 · 12 · 4, at 1.5 g/cm³.
    let volume = 96_000.0 - 53_248.0 - 576.0;
    near(number(&outcome, "weight of the piece"), volume * 1.5e-3, 1e-6);
    // Its centre lies on the axis, and its height follows from the three boxes.
    near(number(&outcome, "axis to the piece's centre of mass"), 0.0, 1e-9);
    let height = (96_000.0 * 30.0 - 53_248.0 * 30.0 - 576.0 * 2.0) / volume;
    let Value::Triple(centre) = outcome.facts.iter().find(|f| f.name == "centre of mass of the piece").unwrap().value
    else {
        panic!()
    };
    near(centre[2], height, 1e-9);
    assert!(outcome.findings.is_empty(), "{:?}", outcome.findings);
    // The bottom is level all over: 14 mm around the opening, of which 10 are taken.
    near(number(&outcome, "area that the piece rests on"), 32.0 * 32.0 - 12.0 * 12.0, 1e-9);

    let mounts = piece.mounts().unwrap();
    assert_eq!(mounts.axis, DVec2::splat(20.0));
    for mount in &mounts.bodies {
        assert!(is_closed(&mount.surface), "{}", mount.name);
        assert!(mount.surface.signed_volume() > 0.0);
    }
    // From the piece's underside: a collar of 8 mm, a base, a spacer of 2 mm.
    let [low, high] = body(&piece, "stand").bounds().unwrap();
    near(high.z, 55.0, 1e-9);
    near(low.z, mounts.foot, 0.0);
    near(mounts.foot - mounts.rest, 2.0, 1e-12);
    near(mounts.swept.high, 60.0, 1e-12);
    // The farthest corner of the block, if the base is no wider.
    near(mounts.swept.radius, (mounts.base).max(20.0 * 2f64.sqrt()), 1e-9);
}

#[test]
fn volumes_are_those_of_prisms_discs_and_washers() {
    let settings = json!({
        "base": { "diameter": 80, "thickness": 16 }, "shaft": { "shape": "square", "across": 6, "length": 10, "clearance": 0.1 },
        "peg": { "wall": 3, "grip": 5, "clearance": 0.25, "panel": 4 }, "spacer": { "diameter": 60, "thickness": 3, "play": 0.5 },
        "collar": { "lift": 5, "ledge": 4 },
    });
    let (piece, outcome) = stood(&block(), settings).unwrap();
    let pi = std::f64::consts::PI;
    // The socket is 6.2 mm wide, so its corners lie 3.1 √2 out; the hub is 3 mm more; the head's flats 1.7 mm beyond it (the
    // play and a wall of 1.2 mm); the recess 0.25 mm more a side.
    let hub = 3.1 * 2f64.sqrt() + 3.0;
    let (head, recess) = (2.0 * (hub + 1.7), 2.0 * (hub + 1.95));
    let hexagon = |across: f64| 3f64.sqrt() / 2.0 * across * across;
    near(number(&outcome, "hub diameter"), 2.0 * hub, 1e-9);
    // Circles are polygons that leave the arc by 0.01 mm at most: an area smaller by 2/3 of that over the radius, twice.
    let washer = pi * (30.0f64.powi(2) - (hub + 0.5).powi(2)) * 3.0;
    near(body(&piece, "spacer").signed_volume() / washer, 1.0, 1e-3);
    // The hub ends 1 mm below spacer and panel: 8 mm below the base; the socket is 10.5 mm deep.
    let hub_end = 3.0 + 4.0 + 1.0f64;
    let hub_end = hub_end.max(10.5 + 1.2 - 5.0);
    let peg = hexagon(head) * 5.0 + pi * hub * hub * hub_end - 6.2 * 6.2 * 10.5;
    near(body(&piece, "peg").signed_volume() / peg, 1.0, 1e-3);
    // The recess: 5.5 mm straight, then a frustum at 45° to a hexagon of 4 mm.
    let tall = recess / 2.0 - 2.0;
    let (below, above) = (hexagon(recess), hexagon(4.0));
    let frustum = tall / 3.0 * (below + above + (below * above).sqrt());
    let stand = pi * 40.0 * 40.0 * 16.0 + 20.0 * 20.0 * 5.0 + 11.3 * 11.3 * 55.0 - below * 5.5 - frustum;
    near(body(&piece, "stand").signed_volume() / stand, 1.0, 1e-3);
    near(number(&outcome, "weight of the stand"), stand * 1.24e-3, 1e-3 * stand);
}

#[test]
fn what_is_written_lies_on_the_plate_and_is_what_was_made() {
    let folder = tempfile::tempdir().unwrap();
    let stage = crate::stage::erase::<Stand>();
    let trial = Trial { stage: stage.as_ref(), settings: json!({}), files: BTreeMap::new(), piece: block() };
    let (piece, outcome) = trial.run(folder.path().to_path_buf()).unwrap();
    // Three bodies as 3MF and STL; a section and a view; pictures of findings.
    let pictured = outcome.findings.iter().filter(|finding| finding.picture.is_some()).count();
    assert_eq!(outcome.artefacts.len(), 3 * 2 + 2 + pictured);
    for mount in &piece.mounts().unwrap().bodies {
        let name = if mount.name == "stand" { "stand".to_owned() } else { format!("stand-{}", mount.name) };
        let read = |ending: &str| std::fs::read(folder.path().join(format!("{name}.{ending}"))).unwrap();
        let file = stl::read(&read("stl")).unwrap();
        assert_eq!(file.bounds().unwrap()[0], DVec3::ZERO);
        near(file.signed_volume() / mount.surface.signed_volume(), 1.0, 1e-5);
        let limits = threemf::read::Limits { part_bytes: 1 << 30, triangles: 1 << 20 };
        let file = threemf::read::read(std::io::Cursor::new(read("3mf")), limits).unwrap();
        assert_eq!(file.triangles, mount.surface.triangles());
    }
    // The peg lies on its head: what is widest lies on the plate.
    let peg = stl::read(&std::fs::read(folder.path().join("stand-peg.stl")).unwrap()).unwrap();
    let width = |z: f64| {
        let at: Vec<DVec3> = peg.points().iter().copied().filter(|p| (p.z - z).abs() < 1e-3).collect();
        let low = at.iter().map(|p| p.x).fold(f64::INFINITY, f64::min);
        at.iter().map(|p| p.x).fold(f64::NEG_INFINITY, f64::max) - low
    };
    assert!(width(0.0) > width(peg.bounds().unwrap()[1].z));
}

#[test]
fn every_shaft_has_its_socket() {
    for (shaft, across) in [
        (json!({ "shape": "square", "across": 8, "clearance": 0.2 }), [8.4, 8.4]),
        (json!({ "shape": "hex", "across": 8, "clearance": 0.2 }), [8.4 / (3f64.sqrt() / 2.0), 8.4]),
        (json!({ "shape": "round", "across": 8, "clearance": 0.2 }), [8.4, 8.4]),
        (json!({ "shape": "flatted", "across": 8, "flat": 7, "clearance": 0.2 }), [7.4, 8.4]),
    ] {
        let (piece, outcome) = stood(&block(), json!({ "shaft": shaft })).unwrap();
        let peg = body(&piece, "peg");
        assert!(is_closed(peg));
        let mounts = piece.mounts().unwrap();
        let mouth: Vec<DVec3> = peg.points().iter().copied().filter(|p| (p.z - mounts.hub_end).abs() < 1e-9).collect();
        let socket: Vec<DVec2> =
            mouth.iter().map(|p| p.truncate() - mounts.axis).filter(|p| p.length() < mounts.hub - 1.0).collect();
        for axis in 0..2 {
            let low = socket.iter().map(|p| p[axis]).fold(f64::INFINITY, f64::min);
            let high = socket.iter().map(|p| p[axis]).fold(f64::NEG_INFINITY, f64::max);
            // A round socket's polygon goes around its circle.
            assert!(
                (-1e-9..0.05).contains(&(high - low - across[axis])),
                "{shaft}: {} for {}",
                high - low,
                across[axis]
            );
        }
        assert_eq!(codes(&outcome).contains("round-shaft"), shaft["shape"] == "round");
    }
}

#[test]
fn torques_are_those_of_the_thrust_washer() {
    // 2 kg on a ring from 10 to 20 mm with 0.2: 0.05884 and 0.06102 N·m, by a pocket calculator with g = 9.80665.
    let [wear, pressure] = balance::friction(0.2, 2.0 * GRAVITY, [10.0, 20.0]);
    near(wear, 58.84, 0.005);
    near(pressure, 61.02, 0.005);
    // 1 kg with 0.1: 0.01471 and 0.01525 N·m.
    let [wear, pressure] = balance::friction(0.1, GRAVITY, [10.0, 20.0]);
    near(wear, 14.71, 0.005);
    near(pressure, 15.25, 0.005);
    // A ball of 2 kg and radius 0.1 m (2/5 m r²) to 2 turns a minute in 2 s: 0.000838 N·m.
    near(balance::acceleration(0.4 * 2000.0 * 100.0 * 100.0, 2.0, 2.0), 0.838, 0.0005);
    // 1 kg 10 mm off the axis on a slope of 1 in 10 (5.7106°): 9.80665 · 10 · 0.0995.
    near(balance::uphill(GRAVITY, 10.0, 5.710_593), 9.758, 0.0005);
    assert_eq!(Torque::of([3.0, 4.0], 1.0, 0.5, 2.0).needed, 11.0);
}

#[test]
fn stances_are_those_of_a_block() {
    for (inside, height, degrees) in [(50.0, 100.0, 26.565), (40.0, 120.0, 18.435), (60.0, 90.0, 33.690)] {
        near(Stance { weight: 1.0, inside, height }.angle(), degrees, 5e-4);
    }
    // 1 kg, 50 mm inside, pushed 200 mm high: 9.80665 · 50 / 200.
    let stance = Stance { weight: GRAVITY, inside: 50.0, height: 100.0 };
    near(stance.push(200.0), 2.4517, 5e-5);
    // 10 mm off the axis: ω = √(9806.65 · 50 / (10 · 100)) = 22.144 a second, 211.5 turns a minute.
    near(stance.spin(10.0), 211.46, 0.01);
    assert!(stance.spin(0.0).is_infinite());
}

#[test]
fn a_box_has_the_moment_of_inertia_of_the_textbooks() {
    // About its own upright axis m (a² + b²) / 12; about another by the parallel axis theorem.
    let cuboid = forms::cuboid(DVec3::new(-10.0, -20.0, 3.0), DVec3::new(10.0, 20.0, 33.0));
    let grams = 20.0 * 40.0 * 30.0 * 2e-3;
    let mass = Mass::of(cuboid.each_triangle(), 2.0, DVec2::ZERO);
    near(mass.grams, grams, 1e-9);
    near(mass.about_axis, grams * (400.0 + 1600.0) / 12.0, 1e-6);
    near((mass.centre - DVec3::new(0.0, 0.0, 18.0)).length(), 0.0, 1e-9);
    let aside = Mass::of(cuboid.each_triangle(), 2.0, DVec2::new(3.0, 4.0));
    near(aside.about_axis, grams * (2000.0 / 12.0 + 25.0), 1e-6);
    near((aside.centre - mass.centre).length(), 0.0, 1e-9);
}

/// A block that leans to the right: every layer of cells a little farther out.
fn leaning() -> Workpiece {
    hollowed(
        &solid([50, 20, 40], |c| {
            let from = (c.z - 6).max(0) / 2;
            (from..from + 20).contains(&c.x)
        }),
        12.0,
    )
}

#[test]
fn the_base_bears_the_tilt_and_is_no_wider_than_that() {
    for tilt in [5.0, 10.0, 20.0] {
        let (piece, outcome) = stood(&leaning(), json!({ "base": { "tilt": tilt } })).unwrap();
        let angle = number(&outcome, "tipping angle on the stand");
        assert!(angle >= tilt && !codes(&outcome).contains("stand-tips"), "{tilt}: {angle}");
        // By hand: the middle of piece and stand, and the spacer's edge 1 mm inside the base's.
        let mounts = piece.mounts().unwrap();
        let hull = piece.hull().unwrap();
        let (p, s) = (hull.skin.volume() * 1.5, body(&piece, "stand").signed_volume() * 1.24);
        let Value::Triple(of_all) =
            outcome.facts.iter().find(|f| f.name == "centre of mass with the stand").unwrap().value
        else {
            panic!()
        };
        // The post may stand off the axis: by the divergence theorem, tetrahedron by tetrahedron.
        let moment = |[a, b, c]: [DVec3; 3]| a.dot(b.cross(c)) / 24.0 * (a + b + c);
        let moment: DVec3 = body(&piece, "stand").each_triangle().map(moment).sum();
        let centre = (p * hull.skin.centre() + 1.24 * moment) / (p + s);
        let off = (centre.truncate() - mounts.axis).length();
        near(angle, libm::atan((mounts.base - 1.0 - off) / (of_all[2] - mounts.foot)).to_degrees(), 1e-6);
        // Half a millimetre less does not, unless there is no less.
        let least = json!({ "base": { "tilt": tilt, "diameter": 2.0 * mounts.base - 1.0 } });
        match stood(&leaning(), least) {
            Ok((_, narrower)) => assert!(number(&narrower, "tipping angle on the stand") < tilt),
            Err(halt) => assert!(matches!(halt, Halt::Misfit(misfit) if misfit.setting == "base.diameter")),
        }
    }
    let (_, outcome) = stood(&leaning(), json!({ "base": { "tilt": 40, "diameter": 60 } })).unwrap();
    assert!(codes(&outcome).contains("stand-tips"));
}

#[test]
fn an_opening_moved_as_told_brings_the_axis_to_the_centre_of_mass() {
    let solid = solid([40, 20, 40], |c| c.z < 4 || c.x >= 20);
    let asked = |at: Json| json!({ "wall": 4, "openings": [{ "side": "bottom", "width": 12, "at": at }] });
    let (aside, _) = run::<Hollow>(&solid, asked(json!([24, 20]))).unwrap();
    let (_, outcome) = stood(&aside, json!({ "post": { "reach": 0 } })).unwrap();
    let before = number(&outcome, "axis to the piece's centre of mass");
    let told = number(&outcome, "axis to the piece's centre of mass then");
    let finding = outcome.findings.iter().find(|finding| finding.code == "off-axis").unwrap();
    let at: Json =
        serde_json::from_str(finding.remedy.split("`at: ").nth(1).unwrap().split('`').next().unwrap()).unwrap();
    let (moved, _) = run::<Hollow>(&solid, asked(at.clone())).unwrap();
    let opening = &moved.void().unwrap().openings[0];
    let middle = (opening.low + opening.high) / 2.0;
    assert_eq!(json!([middle.x, middle.y]), json!([at[0].as_f64(), at[1].as_f64()]), "hollow takes the place");
    let (_, outcome) = stood(&moved, json!({ "post": { "reach": 0 } })).unwrap();
    let after = number(&outcome, "axis to the piece's centre of mass");
    assert!(before > 4.0 && after < before / 2.0, "{before} → {after}");
    // The centre itself moves by what the opening no longer takes out.
    near(after, told, 1.0);
}

/// What of an upright line through a place lies in the skin: the heights at which it crosses.
fn crossings(skin: &crate::solid::Skin, place: DVec2) -> Vec<f64> {
    let mut heights: Vec<f64> = Vec::new();
    for t in &skin.triangles {
        let [a, b, c] = t.map(|i| skin.points[i as usize]);
        let [u, v] = [(b - a).truncate(), (c - a).truncate()];
        let (area, at) = (u.perp_dot(v), place - a.truncate());
        if area != 0.0 {
            let (s, t) = (at.perp_dot(v) / area, u.perp_dot(at) / area);
            if s >= 0.0 && t >= 0.0 && s + t <= 1.0 {
                heights.push(a.z + s * (b.z - a.z) + t * (c.z - a.z));
            }
        }
    }
    heights.sort_by(f64::total_cmp);
    heights
}

/// Blocks with tops of random heights over cells of 6 mm, higher in the middle, with an opening from below.
fn rugged() -> impl Strategy<Value = Workpiece> {
    (proptest::collection::vec(0..6i32, 49), 5..7i32).prop_filter_map("nothing fits", |(tops, wide)| {
        let counts = [21, 21, 40];
        let top = |c: IVec3| {
            let [i, j] = [c.x / 3, c.y / 3];
            14 + 2 * tops[(i + 7 * j) as usize] + 3 * (3 - (i - 3).abs().max((j - 3).abs()))
        };
        let piece = solid(counts, |c| c.z < top(c));
        let asked = json!({ "wall": 3, "openings": [{ "side": "bottom", "width": 2 * wide }] });
        run::<Hollow>(&piece, asked).ok().map(|(piece, _)| piece)
    })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(12))]
    #[test]
    fn the_post_keeps_its_clearance_and_reaches_as_far_as_it_can(piece in rugged()) {
        let hull = piece.hull().unwrap();
        let (stands, outcome) = stood(&piece, json!({ "post": { "gap": 0.5 } })).unwrap();
        let opening = &piece.void().unwrap().openings[0];
        let (top, mouth) = (number(&outcome, "post height") + opening.low.z, opening.low.z);
        // Sections from below: rows of the table.
        let Value::Table { rows, .. } = &outcome.facts.iter().find(|f| f.name == "post").unwrap().value else { panic!() };
        let mut level = mouth;
        for row in rows {
            let [x, y, from, to, free, u, v, beside] = [0, 1, 2, 3, 4, 5, 6, 7].map(|i| row[i].parse::<f64>().unwrap());
            prop_assert!((from - level).abs() < 1e-3 && to > from);
            level = to;
            // Brute force: upright lines over the section and its clearance meet nothing up to where the way is free.
            prop_assert!(beside >= 0.35);
            let half = DVec2::new(x, y) / 2.0 + beside - 1e-5;
            let mut lowest = f64::INFINITY;
            for i in 0..=40 {
                for j in 0..=40 {
                    let place = DVec2::new(u, v) + half * (DVec2::new(f64::from(i), f64::from(j)) / 20.0 - 1.0);
                    let above = crossings(&hull.skin, place).into_iter().find(|&z| z > mouth + 1e-9);
                    prop_assert!(above.is_some_and(|z| z > free - 2e-3), "{place}: {above:?} below {free}");
                    lowest = lowest.min(above.unwrap());
                }
            }
            // Nor is the way said to end long before it does: lines some 0.3 mm apart cannot miss a wall that is 3 mm thick by
            // more than its slope tells.
            prop_assert!(lowest < free + 1.5, "{lowest} is far over {free}");
            prop_assert!(to <= free - 0.5 + 2e-3);
        }
        prop_assert!((level - top).abs() < 2e-3);
        // No place of the stand inside is nearer than 0.35 mm, by the distance to the nearest triangle.
        let skin = Surface::new(hull.skin.points.clone(), hull.skin.triangles.clone()).unwrap();
        let nearest = Nearest::new(&skin, *piece.cells().unwrap().grid());
        for [a, b, c] in body(&stands, "stand").each_triangle().filter(|t| t.iter().all(|p| p.z >= mouth)) {
            for i in 0..=8 {
                for j in 0..=8 - i {
                    let [u, v, w] = [i, j, 8 - i - j].map(|n| f64::from(n) / 8.0);
                    let point = a * u + b * v + c * w;
                    // The collar touches: it is what the piece rests on.
                    if point.z > mouth + 1e-9 {
                        prop_assert!(nearest.within(point, 0.35 - 1e-6).is_none(), "{point}");
                    }
                }
            }
        }
        for mount in &stands.mounts().unwrap().bodies {
            prop_assert!(is_closed(&mount.surface));
        }
    }
}

#[test]
fn a_pointed_ceiling_is_followed_in_steps() {
    // A roof at 45°: each cell that the layers rise they draw in by one.
    let house = hollowed(
        &solid([30, 30, 40], |c| {
            let inset = (c.z - 20).max(0);
            c.x.min(29 - c.x).min(c.y.min(29 - c.y)) >= inset
        }),
        12.0,
    );
    let (_, outcome) = stood(&house, json!({})).unwrap();
    let Value::Table { rows, .. } = &outcome.facts.iter().find(|f| f.name == "post").unwrap().value else { panic!() };
    assert!(rows.len() > 2, "{rows:?}");
    // The tip is at most as wide as a step and the least wall allow, so the roof falls off to it by no more than that.
    let left = number(&outcome, "left under the ceiling at the axis");
    assert!((1.0..1.0 + 1.6 + 0.35 + 2.0).contains(&left), "{left}");
}

#[test]
fn a_wall_on_one_side_makes_the_post_give_way_on_that_side_alone() {
    // A tower over the left part of a block: its right wall stands over the opening, which is x 14 to 26 mm.
    let asked = json!({ "wall": 4, "openings": [{ "side": "bottom", "width": 12, "at": [20, 20] }] });
    let (tower, _) = run::<Hollow>(&solid([20, 20, 30], |c| c.z < 12 || c.x < 14), asked).unwrap();
    let (_, outcome) = stood(&tower, json!({})).unwrap();
    let Value::Table { rows, .. } = &outcome.facts.iter().find(|f| f.name == "post").unwrap().value else { panic!() };
    let last: Vec<f64> = rows.last().unwrap().iter().map(|text| text.parse().unwrap()).collect();
    // Full depth; the width is what the wall leaves, to x 24 mm or a step less, of which the middle lies left of the axis.
    assert!(last[1] > 11.0 && (8.0..9.4).contains(&last[0]) && last[5] < 19.5, "{last:?}");
    near(number(&outcome, "left under the ceiling at the axis"), number(&outcome, "gap over the post"), 1e-3);
}

#[test]
fn a_tip_is_no_higher_than_a_post_is_wide() {
    // A tower on a block: 8 mm wide inside, from 20 mm up to 56 mm.
    let narrow = |a: i32| (6..14).contains(&a);
    let tower = hollowed(&solid([20, 20, 30], |c| c.z < 12 || narrow(c.x) && narrow(c.y)), 12.0);
    for least in [5.0, 6.0, 8.0, 10.0] {
        let (_, outcome) = stood(&tower, json!({ "post": { "least": least } })).unwrap();
        let Value::Table { rows, .. } = &outcome.facts.iter().find(|f| f.name == "post").unwrap().value else {
            panic!()
        };
        let steps = rows.iter().map(|row| [row[0].parse::<f64>().unwrap(), row[3].parse::<f64>().unwrap()]);
        let sturdy = steps.filter(|[width, _]| *width >= least).map(|[_, top]| top).next_back().unwrap();
        // Less a clearance on each side and the ledges of its steps a post of 6 mm goes up all the way; one of 8 is a tip there.
        let height = if least < 7.0 { 55.0 } else { sturdy + least };
        near(number(&outcome, "post height"), height, 1e-3);
    }
}

#[test]
fn a_collar_keeps_clear_of_legs() {
    // Legs of 3 × 3 cells at the corners, 4 layers high; the belly over them takes the opening.
    let corner = |a: i32| !(3..17).contains(&a);
    let table = hollowed(&solid([20, 20, 30], |c| c.z >= 4 || corner(c.x) && corner(c.y)), 12.0);
    let (piece, outcome) = stood(&table, json!({})).unwrap();
    let mounts = piece.mounts().unwrap();
    // The legs end 8 mm above the base, so the collar is as high again as they are.
    near(number(&outcome, "collar height"), 16.0, 1e-9);
    let [low, _] = body(&piece, "stand").bounds().unwrap();
    near(low.z, mounts.foot, 0.0);
    // 14 cells between the legs, 6 of them the opening: four rings level, the legs' corners beyond.
    near(number(&outcome, "rest around the opening"), 4.0 * 2.0 - 0.5, 1e-9);
    let halt = stood(&table, json!({ "collar": { "ledge": 9 } })).unwrap_err();
    assert!(matches!(&halt, Halt::Misfit(misfit) if misfit.setting == "collar.ledge"), "{halt:?}");
    assert!(stood(&table, json!({ "collar": { "ledge": 7 } })).is_ok());
    // A plate on legs right under the ring around the opening leaves a collar no room at all.
    let middle = |c: IVec3| (7..13).contains(&c.x) && (7..13).contains(&c.y);
    let shelf = |c: IVec3| c.z < 2 && !middle(c) || (2..6).contains(&c.z) && corner(c.x) && corner(c.y);
    let shelved = hollowed(&solid([20, 20, 30], |c| c.z >= 6 || shelf(c)), 12.0);
    let halt = stood(&shelved, json!({})).unwrap_err();
    assert!(matches!(&halt, Halt::Misfit(misfit) if misfit.remedy.contains("`foot`")), "{halt:?}");
}

#[test]
fn what_cannot_be_is_refused_with_a_remedy() {
    let block = block();
    let narrow = hollowed(&solid([20, 20, 30], |_| true), 6.0);
    let front = run::<Hollow>(
        &solid([20, 20, 30], |_| true),
        json!({ "wall": 4, "openings": [{ "side": "front", "width": 12 }] }),
    );
    let front = front.unwrap().0;
    for (piece, settings, setting, remedy) in [
        // No opening to stand on.
        (&front, json!({}), "", "hollow.openings"),
        (&front, json!({ "opening": 1 }), "", "side: bottom"),
        (&block, json!({ "opening": 2 }), "opening", "opening 1"),
        (&block, json!({ "opening": 0 }), "opening", "opening 1"),
        // An opening of 6 mm leaves a post of 5.3 mm: less than a post, less than the shaft.
        (&narrow, json!({}), "shaft.across", "hollow.openings[0].width"),
        (&narrow, json!({ "post": { "least": 5 } }), "shaft.across", "6.7 mm"),
        (&narrow, json!({ "shaft": { "across": 4 } }), "post.least", "6.7 mm"),
        // A printer that cannot make the wall.
        (&block, json!({ "printer": { "smallest_wall": 12 } }), "printer.smallest_wall", "12.7 mm"),
        (&block, json!({ "peg": { "wall": 0.8 } }), "peg.wall", "smallest_wall"),
        (&block, json!({ "printer": { "nozzle": 2 } }), "printer.smallest_wall", "nozzle"),
        (&block, json!({ "base": { "thickness": 2 }, "collar": { "ledge": 1 } }), "base.thickness", "thick"),
        // What does not go together.
        (&block, json!({ "base": { "diameter": 20 } }), "base.diameter", "at least"),
        (&block, json!({ "spacer": { "diameter": 12 } }), "spacer.diameter", "leave it out"),
        (&block, json!({ "spacer": { "diameter": 300 } }), "spacer.diameter", "leave it out"),
        (&block, json!({ "post": { "gap": 60 } }), "post.gap", "smaller"),
        (&block, json!({ "shaft": { "shape": "hex", "flat": 5.5 } }), "shaft.flat", "flatted"),
        (&block, json!({ "shaft": { "flat": 2 } }), "shaft.flat", "measure"),
        (&block, json!({ "clearance": -1 }), "clearance", "leave it out"),
        (&block, json!({ "turn": { "speed": 0 } }), "turn.speed", "leave it out"),
        (
            &block,
            json!({ "spacer": { "friction": { "value": 0.2, "range": [0.3, 0.4], "basis": "x" } } }),
            "spacer.friction.range[0]",
            "",
        ),
        (&block, json!({ "motor": { "torque": -5 } }), "motor.torque", ""),
    ] {
        match stood(piece, settings.clone()) {
            Err(Halt::Misfit(misfit)) => {
                assert_eq!(misfit.setting, setting, "{settings}: {misfit:?}");
                assert!(misfit.remedy.contains(remedy), "{settings}: {misfit:?}");
                assert!(!misfit.message.is_empty());
            }
            other => panic!("{settings}: {:?}", other.map(|(_, outcome)| outcome.findings)),
        }
    }
}

#[test]
fn a_cavity_that_blocks_the_post_is_a_fault_with_a_remedy() {
    // A pit from above, down to 14 mm over the ground, right over the opening.
    let pit = |a: i32| (5..15).contains(&a);
    let pitted = hollowed(&solid([20, 20, 30], |c| c.z < 7 || !(pit(c.x) && pit(c.y))), 12.0);
    let (_, outcome) = stood(&pitted, json!({})).unwrap();
    let finding = outcome.findings.iter().find(|finding| finding.code == "post-blocked").unwrap();
    assert_eq!(finding.severity, Severity::Fault);
    // 14 mm less a wall of 4 mm.
    near(finding.places[0].mm[2], 10.0, 1e-9);
    assert!(finding.remedy.contains("hollow.openings[0].at"), "{finding:?}");
    near(number(&outcome, "post height"), 9.0, 1e-9);
    let (_, outcome) = stood(&pitted, json!({ "post": { "reach": 9 } })).unwrap();
    assert!(!codes(&outcome).contains("post-blocked"));
}

#[test]
fn a_post_stays_inside_where_the_piece_is_open_above() {
    let asked = json!({ "wall": 4, "openings": [{ "side": "bottom", "width": 12 }, { "side": "top", "width": 12 }] });
    let (through, _) = run::<Hollow>(&solid([20, 20, 30], |_| true), asked).unwrap();
    let (piece, outcome) = stood(&through, json!({})).unwrap();
    // 60 mm less a wall of 4 mm and the gap.
    near(body(&piece, "stand").bounds().unwrap()[1].z, 55.0, 1e-9);
    assert!(outcome.facts.iter().all(|fact| !matches!(fact.value, Value::Number(n) if !n.is_finite())));
    let halt = stood(&through, json!({ "opening": 2 })).unwrap_err();
    assert!(matches!(halt, Halt::Misfit(misfit) if misfit.setting == "opening" && misfit.remedy.contains('1')));
}

#[test]
fn what_does_not_fit_or_hold_is_found() {
    for (settings, code, severity) in [
        (json!({ "printer": { "build": [60, 60, 40] } }), "stand-too-large", Severity::Fault),
        (json!({ "motor": { "torque": 0.1 } }), "motor-too-weak", Severity::Caution),
        (json!({ "turn": { "speed": 10 } }), "unusual-speed", Severity::Note),
        (json!({ "spacer": { "diameter": 26 }, "base": { "tilt": 30 } }), "stand-rocks", Severity::Caution),
    ] {
        let (_, outcome) = stood(&block(), settings.clone()).unwrap();
        let finding = outcome.findings.iter().find(|finding| finding.code == code);
        assert!(
            finding.is_some_and(|f| f.severity == severity && !f.remedy.is_empty()),
            "{settings}: {:?}",
            outcome.findings
        );
    }
    let (_, outcome) = stood(&block(), json!({ "motor": { "torque": 500 } })).unwrap();
    assert!(outcome.findings.is_empty(), "{:?}", outcome.findings);
}

#[test]
fn the_clearance_comes_from_whoever_knows_it() {
    let mut process = crate::conformance::process();
    let settings: Settings = serde_json::from_value(json!({})).unwrap();
    assert_eq!(settings.clearance(&process).0, 0.35);
    process.clearance =
        Some(crate::process::Figure { value: crate::Length::from_mm(0.2), range: None, basis: "a coupon".to_owned() });
    let (clearance, basis) = settings.clearance(&process);
    assert!(clearance == 0.2 && basis.contains("a coupon"));
    let settings: Settings = serde_json::from_value(json!({ "clearance": "0.5 mm" })).unwrap();
    assert_eq!(settings.clearance(&process).0, 0.5);
    // Corners that come out rounded by more than the clearance are gone past.
    let (_, outcome) = stood(&block(), json!({ "clearance": 0.1 })).unwrap();
    near(number(&outcome, "post width"), 11.8, 1e-9);
}
