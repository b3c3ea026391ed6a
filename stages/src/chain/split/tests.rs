#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;
use std::path::Path;

use glam::{DVec3, IVec3};
use proptest::prelude::*;
use serde_json::{Value, json};

use super::*;
use crate::chain::colour::Colour;
use crate::chain::hollow::Hollow;
use crate::chain::validate::Validate;
use crate::conformance::{Trial, process};
use crate::division::{Peg, PegKind};
use crate::findings::Severity;
use crate::solid::samples::random_solid;
use crate::solid::{Components, Grid, Neighbours, Skin, contact_counts, make_well_composed};
use crate::stage::{Outcome, erase};

fn colours() -> Value {
    json!({
        "right": "tomato", "left": "teal", "back": "gold", "front": "seagreen", "top": "ivory", "bottom": "indigo",
        "inside": "white",
    })
}

fn grid(cell: f64, counts: [i32; 3]) -> Grid {
    Grid { origin: DVec3::new(-7.0, 3.0, 0.5), cell, counts: IVec3::from_array(counts) }
}

/// Colours the piece and divides it.
fn split(piece: Workpiece, settings: Value, folder: &Path) -> Result<(Workpiece, Outcome), Halt> {
    let stage = erase::<Colour>();
    let made = tempfile::tempdir_in(folder).unwrap().keep();
    let colour = Trial { stage: stage.as_ref(), settings: colours(), files: BTreeMap::new(), piece };
    let (piece, _) = colour.run(made).unwrap();
    let stage = erase::<Split>();
    let made = tempfile::tempdir_in(folder).unwrap().keep();
    Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece }.run(made)
}

fn hollowed(piece: Workpiece, settings: Value) -> Workpiece {
    let folder = tempfile::tempdir().unwrap();
    let stage = erase::<Hollow>();
    Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece }.run(folder.path().to_owned()).unwrap().0
}

fn block(cell: f64, counts: [i32; 3]) -> Workpiece {
    Workpiece::default().with_cells(Cells::from_fn(grid(cell, counts), |_| true))
}

/// Every edge in exactly two triangles that run along it in opposite directions.
fn is_closed(skin: &Skin) -> bool {
    let mut edges: BTreeMap<(u32, u32), i32> = BTreeMap::new();
    for &[a, b, c] in &skin.triangles {
        for (p, q) in [(a, b), (b, c), (c, a)] {
            *edges.entry((p, q)).or_default() += 1;
        }
    }
    edges.iter().all(|(&(p, q), &count)| count == 1 && edges.get(&(q, p)) == Some(&1))
}

fn cuts_at(planes: [&[i32]; 3]) -> Cuts {
    Cuts { planes: planes.map(<[i32]>::to_vec), most: IVec3::splat(1000), shows: 0 }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, ..ProptestConfig::default() })]

    /// Put together, the parts are cell for cell the whole piece, and no cell is in two of them; each is one body; and where
    /// the whole touches itself nowhere in an edge or a corner, no part does.
    #[test]
    fn the_parts_are_the_whole(
        solid in random_solid(), seed in any::<[prop::sample::Index; 3]>(), most in 2..9i32, mend in prop::bool::ANY,
    ) {
        let mut solid = solid;
        if mend {
            let leave = crate::solid::Leave::any(*solid.grid());
            make_well_composed(&mut solid, leave);
        }
        let Some([low, high]) = solid.extent() else { return Ok(()) };
        let plane = |axis: usize| {
            let n = high[axis] - low[axis];
            if n > 0 { vec![low[axis] + 1 + seed[axis].index(n as usize) as i32] } else { vec![] }
        };
        let planes = [0, 1, 2].map(plane);
        let mut cuts = cuts_at([&planes[0], &planes[1], &planes[2]]);
        cuts.most = IVec3::splat(most * 8);
        let bodies = bodies::divided(&solid, &cuts);
        let sum: usize = bodies.iter().map(|body| body.cells.count()).sum();
        prop_assert_eq!(sum, solid.count());
        let all = bodies.iter().fold(Cells::empty(*solid.grid()), |all, body| all.or(&body.cells));
        prop_assert_eq!(&all, &solid);
        for body in &bodies {
            prop_assert_eq!(Components::of(&body.cells, Neighbours::Faces).len(), 1);
            if contact_counts(&solid).total() == 0 {
                prop_assert_eq!(contact_counts(&body.cells).total(), 0);
            }
        }
    }
}

#[test]
fn what_fits_stays_whole() {
    let folder = tempfile::tempdir().unwrap();
    // Too long along x of the machine, but not along its y.
    let (piece, said) = split(block(3.0, [20, 4, 4]), json!({ "build": [50, 70, 50] }), folder.path()).unwrap();
    assert!(piece.division().unwrap().segments.is_empty());
    assert_eq!(piece.orders().len(), 1);
    assert_eq!(piece.order().unwrap().name, "piece.3mf");
    assert_eq!(said.findings[0].code, "stays-whole");
    assert!(said.findings[0].message.contains("turned a quarter about z"), "{}", said.findings[0].message);
}

/// Volumes by hand: a block of 20 × 8 × 8 cells of 3 mm in two parts of 10 × 8 × 8, two pins with their sockets.
#[test]
fn pins_and_sockets_have_their_volumes_and_the_skins_are_closed() {
    let folder = tempfile::tempdir().unwrap();
    let settings = json!({ "build": [36, 36, 36], "pins": { "width": 5, "height": 4, "clearance": 0.25 } });
    let (piece, said) = split(block(3.0, [20, 8, 8]), settings, folder.path()).unwrap();
    let parts = &piece.division().unwrap().segments;
    assert_eq!(parts.len(), 2);
    let half = 30.0 * 24.0 * 24.0;
    // The narrower pin has 0.7 of the width.
    let pins = 4.0 * (5.0 * 5.0 + 3.5 * 3.5);
    let sockets = 4.25 * (5.5 * 5.5 + 4.0 * 4.0);
    for (part, volume) in parts.iter().zip([half + pins, half - sockets]) {
        let skin = part.skin();
        assert!(is_closed(&skin));
        let used: std::collections::BTreeSet<u32> = skin.triangles.iter().flatten().copied().collect();
        assert_eq!(used.len(), skin.points.len(), "points that no triangle has");
        assert!((skin.volume() - volume).abs() < 1e-6, "{} instead of {volume}", skin.volume());
        assert!(skin.triangles.iter().all(|t| {
            let [a, b, c] = t.map(|i| skin.points[i as usize]);
            (b - a).cross(c - a).length() > 1e-6
        }));
    }
    assert_eq!(
        piece.orders().iter().map(|order| order.name.as_str()).collect::<Vec<_>>(),
        ["part-1.3mf", "part-2.3mf"]
    );
    assert!(said.findings.iter().all(|finding| finding.severity < Severity::Fault), "{:?}", said.findings);
    assert_eq!(parts[0].bounds()[1].x - parts[0].bounds()[0].x, 34.0);
}

/// Each pin lies in the middle of a socket that is wider and deeper by the clearance, on the same axis and place.
#[test]
fn every_pin_has_its_socket() {
    let folder = tempfile::tempdir().unwrap();
    let settings = json!({ "build": [43, 43, 43], "pins": { "clearance": 0.2 } });
    let (piece, _) = split(block(2.5, [30, 28, 30]), settings, folder.path()).unwrap();
    let parts = &piece.division().unwrap().segments;
    assert_eq!(parts.len(), 8);
    let grid = *piece.cells().unwrap().grid();
    let of = |kind: PegKind| -> Vec<Peg> {
        parts.iter().flat_map(|part| part.pegs.clone()).filter(|peg| peg.kind == kind).collect()
    };
    let (pins, sockets) = (of(PegKind::Pin), of(PegKind::Socket));
    // Twelve seams between eight boxes, two pins each.
    assert_eq!((pins.len(), sockets.len()), (24, 24));
    for pin in &pins {
        let socket = sockets.iter().find(|socket| socket.middle(&grid).distance(pin.middle(&grid)) < 1e-9).unwrap();
        assert_eq!(socket.side, pin.side.opposite());
        assert!((socket.width - pin.width - 0.4).abs() < 1e-9 && (socket.depth - pin.depth - 0.2).abs() < 1e-9);
    }
    for part in parts {
        assert!(is_closed(&part.skin()));
        let size = part.bounds()[1] - part.bounds()[0];
        assert!(size.max_element() <= 43.0 + 1e-9, "{size}");
    }
}

/// Every outside face of the whole is on one part, in its colour; all others on parts have the colour of the inside.
#[test]
fn faces_keep_their_colours_and_seams_take_that_of_the_inside() {
    let folder = tempfile::tempdir().unwrap();
    let cells =
        Cells::from_fn(grid(2.0, [30, 20, 24]), |c| (c - IVec3::new(15, 10, 12)).length_squared() < 110 || c.z < 6);
    let (piece, _) =
        split(Workpiece::default().with_cells(cells), json!({ "build": [35, 41, 35] }), folder.path()).unwrap();
    let whole = piece.paint().unwrap();
    let colour_of: BTreeMap<_, _> = whole
        .faces
        .iter()
        .zip(&whole.ink)
        .map(|(face, &ink)| ((face.cell.to_array(), face.side), whole.colours[ink as usize]))
        .collect();
    let mut seen = 0;
    for part in &piece.division().unwrap().segments {
        let paint = part.paint();
        for (face, &ink) in paint.faces.iter().zip(&paint.ink) {
            let known = colour_of.get(&(face.cell.to_array(), face.side));
            seen += usize::from(known.is_some());
            assert_eq!(paint.colours[ink as usize], known.copied().unwrap_or(whole.inside));
        }
    }
    assert_eq!(seen, whole.faces.len());
}

/// The parts of a hollow piece are hollow, each opens to the outside or to a neighbour through the same cells, and the
/// opening of the whole is where it was.
#[test]
fn cavity_and_openings_work_in_every_part() {
    let folder = tempfile::tempdir().unwrap();
    let hollow = hollowed(
        block(3.0, [14, 14, 28]),
        json!({ "wall": "3 mm", "openings": [{ "side": "bottom", "width": "12 mm" }] }),
    );
    let opening = hollow.void().unwrap().openings[0].clone();
    let (piece, said) = split(hollow, json!({ "build": [50, 50, 50] }), folder.path()).unwrap();
    let parts = &piece.division().unwrap().segments;
    assert_eq!(parts.len(), 2);
    let voids: Vec<&Void> = parts.iter().map(|part| part.void().unwrap()).collect();
    assert!(voids.iter().all(|void| void.cavity.count() > 0));
    assert_eq!(voids[0].openings[0], opening);
    assert_eq!((voids[0].openings.len(), voids[1].openings.len()), (2, 1));
    let (below, above) = (&voids[0].openings[1], &voids[1].openings[0]);
    assert_eq!((below.side, above.side), (crate::Side::Top, crate::Side::Bottom));
    assert!((below.mouth() - above.mouth()).abs() < 1e-9);
    for axis in 0..2 {
        assert!((below.low[axis] - above.low[axis]).abs() < 1e-9 && (below.high[axis] - above.high[axis]).abs() < 1e-9);
    }
    assert!(below.width() >= process().opening.value.mm());
    for part in parts {
        let skin = part.skin();
        assert!(is_closed(&skin));
        assert!(skin.volume() < 0.8 * part.cells().count() as f64 * 27.0);
    }
    assert!(said.findings.iter().all(|finding| finding.severity < Severity::Fault));
}

#[test]
fn what_cannot_be_is_refused_with_a_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let refused = |piece: Workpiece, settings: Value| match split(piece, settings, folder.path()) {
        Err(Halt::Misfit(misfit)) => {
            assert!(!misfit.remedy.is_empty());
            (misfit.setting, misfit.message)
        }
        other => panic!("{:?}", other.map(|(_, said)| said.findings)),
    };
    let (setting, message) = refused(block(3.0, [9, 9, 9]), json!({ "build": [5, 5, 5] }));
    assert!(setting == "build" && message.contains("single cube"), "{message}");
    let (setting, message) = refused(block(1.0, [40, 40, 40]), json!({ "build": [7, 7, 7], "pins": { "height": 2 } }));
    assert!(setting == "build" && message.contains("parts"), "{message}");
    for (settings, at) in [
        (json!({ "margin": -1 }), "margin"),
        (json!({ "build": [20, 20, 20], "margin": 10 }), "margin"),
        (json!({ "pins": { "width": 1 } }), "pins.width"),
        (json!({ "pins": { "height": 0.1 } }), "pins.height"),
        (json!({ "pins": { "clearance": 9 } }), "pins.clearance"),
        (json!({ "pins": { "width": 4, "clearance": 0.8 } }), "pins.width"),
        (json!({ "opening": 2 }), "opening"),
    ] {
        assert_eq!(refused(block(3.0, [30, 9, 9]), settings).0, at);
    }
    // An opening as wide as the piece allows, across every place for a cut.
    let hollow = hollowed(
        block(3.0, [9, 9, 9]),
        json!({ "wall": "3 mm", "openings": [{ "side": "bottom", "width": "18 mm" }] }),
    );
    let (setting, message) = refused(hollow, json!({ "build": [20, 20, 40], "pins": { "width": 4 } }));
    assert!(setting == "build" && message.contains("opening"), "{message}");
}

#[test]
fn a_seam_without_room_for_pins_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let (_, said) = split(block(3.0, [20, 2, 2]), json!({ "build": [40, 40, 40] }), folder.path()).unwrap();
    assert!(said.findings.iter().any(|finding| finding.code == "seam-without-pins" && !finding.places.is_empty()));
}

/// A bit that a cut leaves loose goes with its neighbour; one that is hooked under its own layer stays by itself.
#[test]
fn loose_bits_go_with_a_neighbour_unless_they_are_locked_in() {
    let solid = Cells::from_fn(grid(1.0, [9, 3, 6]), |c| c.x != 6 || c.z >= 3);
    let bodies = bodies::divided(&solid, &cuts_at([&[], &[], &[3]]));
    assert_eq!(bodies.len(), 2, "the small leg goes with the layer above");
    // A hook: from the plane down at x = 8, and under the body at x = 6, 7.
    let hooked = Cells::from_fn(grid(1.0, [9, 1, 6]), |c| match c.z {
        0 => true,
        1 => c.x == 8 || c.x < 4,
        2 => c.x == 8 || c.x < 7,
        _ => true,
    });
    let below = Cells::from_fn(*hooked.grid(), |c| hooked.solid(c) && !(c.z == 0 && (c.x == 4 || c.x == 5)));
    let bodies = bodies::divided(&below, &cuts_at([&[], &[], &[3]]));
    assert_eq!(bodies.len(), 3, "the hook would lock the layers together");
}

fn validated(piece: &Workpiece) -> Outcome {
    let folder = tempfile::tempdir().unwrap();
    let stage = erase::<Validate>();
    let trial = Trial { stage: stage.as_ref(), settings: json!({}), files: BTreeMap::new(), piece: piece.clone() };
    trial.run(folder.path().to_owned()).unwrap().1
}

fn number(said: &Outcome, name: &str) -> f64 {
    match &said.facts.iter().find(|fact| fact.name == name).unwrap_or_else(|| panic!("no `{name}`")).value {
        crate::findings::Value::Number(number) => *number,
        crate::findings::Value::Whole(number) => *number as f64,
        other => panic!("`{name}` is {other:?}"),
    }
}

/// The files of a hollow piece in four parts measure what they should; a file that was changed, or put in another's place,
/// is found.
#[test]
fn the_files_of_the_parts_are_measured_anew() {
    let folder = tempfile::tempdir().unwrap();
    let hollow = hollowed(
        block(3.0, [26, 14, 28]),
        json!({ "wall": "3 mm", "openings": [{ "side": "bottom", "width": "9 mm", "at": ["10 mm", "25 mm"] }] }),
    );
    let (piece, _) = split(hollow, json!({ "build": [50, 50, 50] }), folder.path()).unwrap();
    let parts = &piece.division().unwrap().segments;
    assert_eq!(parts.len(), 4);
    let said = validated(&piece);
    let faults: Vec<_> = said.findings.iter().filter(|finding| finding.severity == Severity::Fault).collect();
    assert!(faults.is_empty(), "{faults:?}");
    let volume: f64 = parts.iter().map(|part| part.skin().volume()).sum();
    assert!((number(&said, "volume") - volume / 1000.0).abs() < 1e-3);
    assert!(number(&said, "thinnest wall") >= 3.0 - 1e-6);
    // Put together it stands as a block of that size does: its middle of mass is near its middle.
    assert!(number(&said, "tipping angle") > 20.0);
    let size = said.facts.iter().find(|fact| fact.name == "size").unwrap();
    assert_eq!(size.value, crate::findings::Value::Triple([78.0, 42.0, 84.0]));

    let orders = piece.orders().to_vec();
    let swapped = [1, 0, 2, 3].map(|at: usize| orders[at].clone());
    let said = validated(&piece.clone().with_orders(swapped));
    for part in ["part 1: ", "part 2: "] {
        let faults = said.findings.iter().filter(|f| f.severity == Severity::Fault && f.message.starts_with(part));
        assert!(faults.count() > 0, "{:?}", said.findings);
    }
    let said = validated(&piece.clone().with_orders(orders[..3].to_vec()));
    assert_eq!(said.findings[0].code, "files-missing");

    // A part whose pins are thinner by a tenth of a mm, and one whose sockets are shallower, than the job has them.
    let mut division = piece.division().unwrap().clone();
    division.segments[0].pegs[0].width += 0.1;
    division.segments[3].pegs[0].depth += 0.1;
    let said = validated(&piece.clone().with_division(division).with_orders(orders));
    let wrong: Vec<_> = said.findings.iter().filter(|finding| finding.code == "peg-wrong").collect();
    assert_eq!(wrong.len(), 2, "{:?}", said.findings);
}

#[test]
fn the_section_cuts_the_parts_through_a_pin() {
    let folder = tempfile::tempdir().unwrap();
    let (piece, said) = split(block(3.0, [40, 10, 10]), json!({ "build": [70, 70, 70] }), folder.path()).unwrap();
    assert!(said.artefacts.iter().any(|file| file.name == "parts-section.svg"));
    let division = piece.division().unwrap();
    assert_eq!(division.segments.len(), 2);
    let drawing = inside::drawing(division, "").unwrap();
    let area = |mark: &crate::formats::drawing::Mark| match &mark.shape {
        crate::formats::drawing::Shape::Lines(lines) => {
            let outlines: Vec<_> = lines.iter().map(|line| line.points.clone()).collect();
            crate::solid::section::area(&outlines)
        }
        _ => 0.0,
    };
    // Filled are the two parts, and after them the patches beside their names.
    let areas: Vec<f64> = drawing.marks.iter().filter(|mark| mark.fill.is_some()).map(area).take(2).collect();
    // 120 × 30 mm, less what a socket is larger than the pin in it; the two pins of a seam differ in width.
    let cut = areas.iter().sum::<f64>();
    let sizes = |kind: PegKind| {
        let pegs = division.segments.iter().flat_map(|s| &s.pegs).filter(move |peg| peg.kind == kind);
        let mut sizes: Vec<f64> = pegs.map(|peg| peg.width * peg.depth).collect();
        sizes.sort_by(f64::total_cmp);
        sizes
    };
    let mut gaps = sizes(PegKind::Socket).into_iter().zip(sizes(PegKind::Pin)).map(|(socket, pin)| socket - pin);
    let scale = drawing.marks.iter().find_map(|mark| match &mark.shape {
        crate::formats::drawing::Shape::Words { words, .. } => {
            words.split("Scale 1 : ").nth(1)?.split(' ').next()?.parse::<f64>().ok()
        }
        _ => None,
    });
    let cut = cut * scale.unwrap().powi(2);
    let missing = 3600.0 - cut;
    assert!(missing > 0.0 && gaps.any(|gap| (missing - gap).abs() < 1e-6), "{missing} mm²");
}
