#![allow(clippy::unwrap_used)]

mod pieces;

use std::collections::BTreeMap;
use std::io;
use std::io::Write;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

use glam::{DVec3, IVec3};
use proptest::prelude::*;

use super::*;
use crate::findings::{Severity, Unit, Value};
use crate::process::{Family, Figure};
use crate::stage::{Outcome, Shelf};
use crate::workpiece::OrderedFile;
use crate::{Side, Srgb};
use pieces::{Piece, packed};

struct NoShelf;

impl Shelf for NoShelf {
    fn create(&mut self, _: &str) -> io::Result<Box<dyn Write + '_>> {
        Err(io::ErrorKind::Unsupported.into())
    }

    fn path(&self, name: &str) -> PathBuf {
        name.into()
    }
}

fn process() -> Process {
    fn figure<T>(value: T) -> Figure<T> {
        Figure { value, range: None, basis: "invented for the test".to_owned() }
    }
    let mm = |mm| figure(Length::from_mm(mm));
    Process {
        name: "powder".to_owned(),
        family: Family::BinderJetting,
        build_volume: figure([100.0, 100.0, 100.0].map(Length::from_mm)),
        layer: mm(0.1),
        minimum_wall: mm(0.9),
        detail: mm(0.5),
        gap: mm(0.5),
        opening: mm(4.0),
        bleed: mm(0.1),
        edge_radius: mm(0.1),
        base: None,
        gamut: None,
        profile: None,
        clearance: None,
        tolerance: mm(0.2),
        density: figure(1.5),
        strength: None,
        most_triangles: figure(100_000),
        most_bytes: figure(10_000_000),
    }
}

/// Runs the stage on bytes laid on disk.
fn run_on(bytes: &[u8], piece: &Piece, process: &Process, settings: &Settings) -> Outcome {
    let mut file = tempfile::NamedTempFile::new().unwrap();
    file.write_all(bytes).unwrap();
    file.flush().unwrap();
    let order = OrderedFile { name: "piece.3mf".to_owned(), path: file.path().to_owned() };
    let workpiece = piece.workpiece().with_order(order);
    let (files, cancel, mut shelf) = (BTreeMap::new(), AtomicBool::new(false), NoShelf);
    let mut shop = Shop::new(process, &files, &[], &cancel, &mut shelf);
    Validate::run(settings, workpiece, &mut shop).unwrap();
    shop.close()
}

fn run(piece: &Piece) -> Outcome {
    run_on(&packed(&piece.mesh), piece, &process(), &Settings::default())
}

fn codes(outcome: &Outcome) -> Vec<&str> {
    outcome.findings.iter().map(|f| f.code.as_str()).collect()
}

fn finding<'o>(outcome: &'o Outcome, code: &str) -> &'o Finding {
    outcome.findings.iter().find(|f| f.code == code).unwrap_or_else(|| panic!("no {code}: {:?}", outcome.findings))
}

fn value<'o>(outcome: &'o Outcome, name: &str) -> &'o Value {
    &outcome.facts.iter().find(|f| f.name == name).unwrap_or_else(|| panic!("no fact '{name}'")).value
}

fn number(outcome: &Outcome, name: &str) -> f64 {
    match value(outcome, name) {
        Value::Number(number) => *number,
        Value::Whole(whole) => *whole as f64,
        other => panic!("{name} is {other:?}"),
    }
}

fn triple(outcome: &Outcome, name: &str) -> [f64; 3] {
    match value(outcome, name) {
        Value::Triple(triple) => *triple,
        other => panic!("{name} is {other:?}"),
    }
}

fn column(outcome: &Outcome, name: &str, column: usize) -> Vec<String> {
    match value(outcome, name) {
        Value::Table { rows, .. } => rows.iter().map(|row| row[column].clone()).collect(),
        other => panic!("{name} is {other:?}"),
    }
}

#[track_caller]
fn near(found: f64, expected: f64) {
    assert!((found - expected).abs() < 1e-9 * expected.abs().max(1.0), "{found} is not {expected}");
}

#[test]
fn a_block_tips_where_statics_says() {
    // b and h as for a block: atan(50 / 100) = 26.565°, atan(40 / 120) = 18.435°, atan(60 / 90) = 33.690°.
    for (counts, cell, degrees) in [([2, 3, 4], 50.0, 26.565), ([2, 3, 6], 40.0, 18.435), ([4, 4, 6], 30.0, 33.690)] {
        let outcome = run(&Piece::box_of(counts, cell));
        assert!((number(&outcome, "tipping angle") - degrees).abs() < 5e-4, "{counts:?}");
    }
    // One wide and twelve high: atan(0.5 / 6) = 4.76°.
    let tower = run(&Piece::box_of([1, 1, 12], 5.0));
    assert_eq!(finding(&tower, "tips-easily").severity, Severity::Caution);
}

#[test]
fn a_box_of_cubes_has_its_closed_form_measures() {
    // A 2 × 3 × 4 box of unit cubes: 52 faces, boundary with 54 points and 104 edges, Euler characteristic 2.
    let outcome = run(&Piece::box_of([2, 3, 4], 1.0));
    assert_eq!(codes(&outcome), [""; 0]);
    near(number(&outcome, "volume"), 24.0 / 1000.0);
    near(number(&outcome, "surface area"), 52.0 / 100.0);
    near(number(&outcome, "weight"), 24.0 / 1000.0 * 1.5);
    assert_eq!(triple(&outcome, "size"), [2.0, 3.0, 4.0]);
    triple(&outcome, "centre of mass").into_iter().zip([1.0, 1.5, 2.0]).for_each(|(a, b)| near(a, b));
    near(number(&outcome, "triangles"), 104.0);
    near(number(&outcome, "Euler characteristic"), 2.0);
    near(number(&outcome, "bodies"), 1.0);
    near(number(&outcome, "thinnest part"), 2.0);
    let by_side = ["12.00", "12.00", "8.00", "8.00", "6.00", "6.00"];
    assert_eq!(column(&outcome, "outside area by side", 1), by_side);
    assert_eq!(column(&outcome, "views", 1), by_side);
    assert_eq!(column(&outcome, "views", 2), ["100.00"; 6]);
    assert_eq!(value(&outcome, "inside"), &Value::Text("solid: the piece has no cavity".to_owned()));
    assert_eq!(value(&outcome, "fits the build volume"), &Value::Text("as it stands".to_owned()));
}

#[test]
fn units_of_facts_are_those_of_the_report() {
    let outcome = run(&Piece::box_of([2, 3, 4], 1.0));
    for (name, unit) in [
        ("volume", Unit::Cm3),
        ("surface area", Unit::Cm2),
        ("weight", Unit::Gram),
        ("size", Unit::Mm),
        ("file size", Unit::Bytes),
        ("least share in the side's own colour", Unit::Percent),
    ] {
        assert_eq!(outcome.facts.iter().find(|f| f.name == name).unwrap().unit, Some(unit), "{name}");
    }
}

#[test]
fn a_ring_has_the_topology_of_a_torus() {
    // 3 × 3 × 1 cells without the middle one: genus 1, so the Euler characteristic is 0; 32 faces.
    let outcome = run(&Piece::of(1.0, [3, 3, 1], |c| c != IVec3::new(1, 1, 0)));
    assert_eq!(codes(&outcome), [""; 0]);
    near(number(&outcome, "Euler characteristic"), 0.0);
    near(number(&outcome, "surface area"), 0.32);
}

#[test]
fn a_hollow_cube_without_an_opening_traps_powder() {
    // Outer edge 20, wall 2: 20³ − 16³ = 3904 mm³ of material round 16³ = 4096 mm³ of powder.
    let piece = Piece::hollow_cube().sealed();
    let outcome = run(&piece);
    assert_eq!(codes(&outcome), ["trapped-powder"]);
    near(number(&outcome, "volume"), 3.904);
    near(number(&outcome, "sealed volume"), 4096.0);
    near(number(&outcome, "thinnest wall"), 2.0);
    near(number(&outcome, "Euler characteristic"), 4.0);
    let fault = finding(&outcome, "trapped-powder");
    assert_eq!((fault.severity, fault.places[0].mm), (Severity::Fault, [10.0; 3]));
    assert!(fault.message.contains("4.10 cm³"), "{}", fault.message);

    let powderless = Process { family: Family::MaterialJetting, ..process() };
    let outcome = run_on(&packed(&piece.mesh), &piece, &powderless, &Settings::default());
    assert_eq!(codes(&outcome), ["sealed-cavity"]);
    assert_eq!(outcome.findings[0].severity, Severity::Caution);
}

#[test]
fn a_hollow_cube_with_an_opening_is_in_order() {
    // Outer edge 20, wall 2, opening 4 × 4 through the bottom's 2 mm: 3904 − 32 mm³.
    let outcome = run(&Piece::hollow_cube());
    assert_eq!(codes(&outcome), [""; 0]);
    near(number(&outcome, "volume"), 3.904 - 0.032);
    near(number(&outcome, "thinnest wall"), 2.0);
    near(number(&outcome, "wall asked for"), 2.0);
    near(number(&outcome, "narrowest opening"), 4.0);
    near(number(&outcome, "sealed cavities"), 0.0);
    near(number(&outcome, "Euler characteristic"), 2.0);
    assert_eq!(column(&outcome, "views", 1), ["400.00", "400.00", "400.00", "400.00", "400.00", "384.00"]);
    assert_eq!(column(&outcome, "views", 2), ["100.00"; 6]);
    assert_eq!(column(&outcome, "views", 3), ["0.00", "0.00", "0.00", "0.00", "0.00", "16.00"]);
}

#[test]
fn a_wall_short_by_a_hundredth_is_a_fault() {
    // The cavity's side at x = 18 moved outwards.
    let with = |by: f64| {
        let mut piece = Piece::hollow_cube();
        piece.mesh.move_points(|p| p.x == 18.0 && p.y > 1.0 && p.y < 19.0 && p.z > 1.0 && p.z < 19.0, by * DVec3::X);
        run(&piece)
    };
    let outcome = with(0.01);
    assert_eq!(codes(&outcome), ["wall-too-thin"]);
    near(number(&outcome, "thinnest wall"), 1.99);
    let fault = finding(&outcome, "wall-too-thin");
    assert_eq!(fault.severity, Severity::Fault);
    assert!(fault.message.contains("1.9900") && fault.remedy.contains("hollow.wall"), "{fault:?}");
    assert!(!fault.places.is_empty() && fault.places.iter().all(|p| p.mm[0] > 16.0), "{fault:?}");
    assert_eq!(codes(&with(1e-8)), [""; 0]);

    let outcome = with(1.5);
    assert_eq!(codes(&outcome), ["wall-too-thin", "wall-below-process", "thin-part"]);
    near(number(&outcome, "thinnest part"), 0.5);
}

#[test]
fn a_wall_may_be_demanded() {
    let piece = Piece::hollow_cube();
    let settings = Settings { wall: Some(Length::from_mm(2.5)) };
    let outcome = run_on(&packed(&piece.mesh), &piece, &process(), &settings);
    assert_eq!(codes(&outcome), ["wall-too-thin"]);
}

#[test]
fn the_wall_round_a_ball_shaped_cavity() {
    // Cube of edge 20 round a ball of radius 7.5 with corners on its axes: the wall is 10 − 7.5 there.
    let piece = Piece::cube_with_ball(7.5);
    let powderless = Process { family: Family::MaterialJetting, ..process() };
    let outcome = run_on(&packed(&piece.mesh), &piece, &powderless, &Settings::default());
    assert_eq!(codes(&outcome), ["sealed-cavity"]);
    near(number(&outcome, "thinnest wall"), 2.5);
}

#[test]
fn cubes_that_share_an_edge_or_a_corner_touch() {
    // Two cubes sharing one edge: 14 points where the file shares them, 16 where each cube has its own. One corner: 15.
    let edge = |c: IVec3| c == IVec3::ZERO || c == IVec3::new(1, 1, 0);
    let corner = |c: IVec3| c == IVec3::ZERO || c == IVec3::ONE;
    let outcome = run(&Piece::of(1.0, [2, 2, 1], edge));
    assert!(codes(&outcome).contains(&"touches-itself"), "{:?}", codes(&outcome));
    near(number(&outcome, "touching edges"), 1.0);

    let outcome = run(&Piece::of(1.0, [2, 2, 2], corner));
    assert!(codes(&outcome).contains(&"touches-itself"));
    near(number(&outcome, "touching edges"), 0.0);
    near(number(&outcome, "touching points"), 1.0);
    assert_eq!(finding(&outcome, "touches-itself").places[0].mm, [1.0; 3]);

    for (counts, solid, points) in [([2, 2, 1], &edge as &dyn Fn(IVec3) -> bool, 2.0), ([2, 2, 2], &corner, 1.0)] {
        let mut piece = Piece::of(1.0, counts, solid);
        piece.mesh = piece.mesh.with_own_points_for_each_cube();
        assert_eq!(piece.mesh.points.len(), 16);
        let outcome = run(&piece);
        assert!(codes(&outcome).contains(&"touches-itself"), "{:?}", codes(&outcome));
        assert!(!codes(&outcome).contains(&"not-closed"));
        near(number(&outcome, "touching points"), points);
        near(number(&outcome, "bodies"), 2.0);
        assert_eq!(finding(&outcome, "separate-bodies").severity, Severity::Caution);
    }
}

#[test]
fn a_flipped_triangle_is_found() {
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    piece.mesh.triangles[5].swap(1, 2);
    let outcome = run(&piece);
    let fault = finding(&outcome, "turned-wrong");
    assert!(fault.message.contains("3 edges"), "{}", fault.message);
    assert!(!codes(&outcome).contains(&"not-closed"));
}

#[test]
fn a_missing_triangle_is_found() {
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    piece.mesh.triangles.remove(5);
    piece.mesh.colours.remove(5);
    let outcome = run(&piece);
    assert!(finding(&outcome, "not-closed").message.contains("3 edges"));
    near(number(&outcome, "open edges"), 3.0);
    assert!(codes(&outcome).contains(&"face-missing"));
}

#[test]
fn a_surface_that_is_torn_along_repeated_points_is_found() {
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    let corner = piece.mesh.points[piece.mesh.triangles[0][0] as usize];
    piece.mesh.points.push(corner);
    piece.mesh.triangles[0][0] = piece.mesh.points.len() as u32 - 1;
    let outcome = run(&piece);
    assert_eq!(codes(&outcome), ["not-closed"]);
    assert!(outcome.findings[0].message.contains("repeats the points"), "{}", outcome.findings[0].message);
}

#[test]
fn a_triangle_without_area_is_found() {
    // A triangle on its edge: one side of the box's first triangle is split by a point that lies on it.
    let mut piece = Piece::box_of([1, 1, 1], 2.0);
    piece.mesh.add_flat_triangle();
    let outcome = run(&piece);
    assert!(codes(&outcome).contains(&"flat-triangle"), "{:?}", codes(&outcome));
    assert!(!codes(&outcome).contains(&"not-closed"));
}

#[test]
fn an_inside_out_piece_is_found() {
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    piece.mesh.triangles.iter_mut().for_each(|t| t.swap(1, 2));
    let outcome = run(&piece);
    assert_eq!(codes(&outcome), ["inside-out"]);
}

#[test]
fn one_miscoloured_triangle_is_found_where_it_is() {
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    let t = piece.mesh.triangle_at(DVec3::new(2.0, 1.5, 2.5), Side::Right);
    piece.mesh.colours[t] = Some(Srgb([1, 2, 3]));
    let outcome = run(&piece);
    assert_eq!(codes(&outcome), ["wrong-colour", "view-not-its-colour"]);
    let fault = finding(&outcome, "wrong-colour");
    assert_eq!(fault.places.len(), 1);
    assert_eq!(fault.places[0].cell, Some([1, 1, 2]));
    let [x, y, z] = fault.places[0].mm;
    assert!(x == 2.0 && (1.0..2.0).contains(&y) && (2.0..3.0).contains(&z));
    assert!(fault.message.contains("#010203") && fault.message.contains("right"), "{}", fault.message);
    // The triangle is half of one of the 12 faces that look right; to which half the two rays on the face's diagonal
    // count is open, so its share lies between one and three quarters of a face.
    let share: f64 = column(&outcome, "views", 2)[0].parse().unwrap();
    assert!((93.7..=98.0).contains(&share), "{share}");
}

#[test]
fn a_file_without_colours_is_found() {
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    piece.mesh.colours.fill(None);
    let outcome = run(&piece);
    assert!(finding(&outcome, "wrong-colour").message.contains("no colour"));
    near(number(&outcome, "triangles without a colour"), 104.0);
    assert_eq!(column(&outcome, "views", 2), ["0.00"; 6]);
}

#[test]
fn a_miscoloured_inside_is_found() {
    let mut piece = Piece::hollow_cube();
    let t = piece.mesh.triangle_at(DVec3::new(2.0, 11.0, 11.0), Side::Right);
    piece.mesh.colours[t] = piece.mesh.colours[0];
    assert_eq!(codes(&run(&piece)), ["inside-wrong-colour"]);
}

#[test]
fn a_tilted_outside_face_is_found() {
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    piece.mesh.move_points(|p| p == DVec3::new(2.0, 3.0, 4.0), DVec3::splat(-1e-3));
    let outcome = run(&piece);
    assert!(codes(&outcome).contains(&"faces-no-side"), "{:?}", codes(&outcome));
}

#[test]
fn a_face_off_the_cells_is_found() {
    // One cell more in the file than the job has.
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    piece.mesh = Piece::box_of([3, 3, 4], 1.0).mesh;
    let outcome = run(&piece);
    assert!(codes(&outcome).contains(&"off-the-cells") && codes(&outcome).contains(&"face-missing"));
}

#[test]
fn openings_must_be_where_the_job_has_them() {
    // The job has the opening somewhere else: the flood gets in.
    let mut piece = Piece::hollow_cube();
    piece.move_opening(DVec3::new(2.0, 0.0, 0.0));
    assert!(codes(&run(&piece)).contains(&"opening-missing"));

    // The job has an opening, the file has none: the cavity is sealed and the mouth closed.
    let mut piece = Piece::hollow_cube();
    piece.mesh = Piece::hollow_cube().sealed().mesh;
    let outcome = run(&piece);
    assert!(codes(&outcome).contains(&"opening-missing") && codes(&outcome).contains(&"trapped-powder"));
    assert_eq!(finding(&outcome, "opening-missing").places[0].mm, [10.0, 10.0, 0.0]);

    // The file has a second hole.
    let mut piece = Piece::hollow_cube();
    piece.mesh = Piece::hollow_cube_with_a_second_hole().mesh;
    let outcome = run(&piece);
    assert!(codes(&outcome).contains(&"opening-leaks"), "{:?}", codes(&outcome));

    // The job has none, the file has one.
    let mut piece = Piece::hollow_cube().sealed();
    piece.mesh = Piece::hollow_cube().mesh;
    let outcome = run(&piece);
    assert!(codes(&outcome).contains(&"off-the-cells") && codes(&outcome).contains(&"face-missing"));
}

#[test]
fn an_opening_too_narrow_for_the_process_is_a_fault() {
    let piece = Piece::hollow_cube();
    let mut narrow = process();
    narrow.opening.value = Length::from_mm(4.5);
    let outcome = run_on(&packed(&piece.mesh), &piece, &narrow, &Settings::default());
    assert_eq!(codes(&outcome), ["opening-too-narrow"]);
    assert!(outcome.findings[0].message.contains("4.00 mm wide") && outcome.findings[0].message.contains("4.5 mm"));
    narrow.family = Family::MaterialJetting;
    assert!(codes(&run_on(&packed(&piece.mesh), &piece, &narrow, &Settings::default())).is_empty());
}

#[test]
fn a_piece_may_be_laid_down_to_fit() {
    let piece = Piece::box_of([2, 3, 4], 1.0);
    let fits = |room: [f64; 3]| {
        let mut process = process();
        process.build_volume.value = room.map(Length::from_mm);
        run_on(&packed(&piece.mesh), &piece, &process, &Settings::default())
    };
    for (room, words) in [
        ([2.0, 3.0, 4.0], "as it stands"),
        ([4.0, 4.0, 4.0], "as it stands"),
        ([3.0, 2.0, 4.0], "turned a quarter about z"),
        ([2.0, 4.0, 3.0], "laid on its back"),
        ([4.0, 3.0, 2.0], "laid on its side"),
        ([3.0, 4.0, 2.0], "laid on its back and turned a quarter about z"),
        ([4.0, 2.0, 3.0], "laid on its side and turned a quarter about z"),
    ] {
        assert_eq!(value(&fits(room), "fits the build volume"), &Value::Text(words.to_owned()), "{room:?}");
    }
    let outcome = fits([3.9, 3.9, 3.9]);
    assert_eq!(codes(&outcome), ["too-large"]);
    assert!(outcome.findings[0].message.contains("2.0 × 3.0 × 4.0 mm"));
}

#[test]
fn limits_on_the_file_are_kept() {
    let piece = Piece::box_of([2, 3, 4], 1.0);
    let bytes = packed(&piece.mesh);
    let mut tight = process();
    (tight.most_triangles.value, tight.most_bytes.value) = (104, bytes.len() as u64);
    assert_eq!(codes(&run_on(&bytes, &piece, &tight, &Settings::default())), [""; 0]);
    (tight.most_triangles.value, tight.most_bytes.value) = (103, bytes.len() as u64 - 1);
    assert_eq!(codes(&run_on(&bytes, &piece, &tight, &Settings::default())), ["too-many-triangles", "file-too-large"]);
}

#[test]
fn a_file_that_cannot_be_read_is_a_fault() {
    let piece = Piece::box_of([2, 3, 4], 1.0);
    let bytes = packed(&piece.mesh);
    for damaged in [&bytes[..bytes.len() / 2], b"", b"solid whelk"] {
        let outcome = run_on(damaged, &piece, &process(), &Settings::default());
        assert_eq!(codes(&outcome), ["file-unreadable"]);
        assert!(outcome.facts.is_empty());
    }
}

#[test]
fn the_same_file_says_the_same_on_any_number_of_threads() {
    let mut piece = Piece::cube_with_ball(9.4);
    piece.mesh.colours[3] = Some(Srgb([1, 2, 3]));
    let on = |threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        let outcome = pool.install(|| run(&piece));
        (serde_json::to_string(&outcome.facts).unwrap(), serde_json::to_string(&outcome.findings).unwrap())
    };
    let one = on(1);
    assert!(one.1.contains("wall-too-thin") && one.1.contains("wall-below-process"), "{}", one.1);
    for threads in [2, 3, 8] {
        assert_eq!(on(threads), one);
    }
}

#[test]
fn settings_refuse_what_makes_no_sense() {
    let (process, files, cancel, mut shelf) = (process(), BTreeMap::new(), AtomicBool::new(false), NoShelf);
    let shop = Shop::new(&process, &files, &[], &cancel, &mut shelf);
    let settings = Settings { wall: Some(Length::from_mm(0.0)) };
    assert_eq!(Validate::check(&settings, &shop).unwrap_err().setting, "wall");
    assert_eq!(Validate::check(&Settings::default(), &shop), Ok(()));
    let erased = crate::stage::erase::<Validate>();
    assert_eq!(erased.read(serde_json::json!({})).unwrap().settings(), serde_json::json!({ "wall": null }));
    assert!(erased.read(serde_json::json!({ "walls": 3 })).is_err());
}

#[test]
fn a_point_beyond_a_kilometre_is_refused() {
    let mut piece = Piece::box_of([2, 3, 4], 1.0);
    piece.mesh.move_points(|p| p == DVec3::ZERO, DVec3::splat(-1e300));
    let outcome = run(&piece);
    assert_eq!(codes(&outcome), ["file-unreadable"]);
    assert!(outcome.findings[0].message.contains("more than a kilometre away"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever a file's mesh looks like, the stage answers with numbers that a record can hold, and a mesh that is not
    /// the one asked for has a fault.
    #[test]
    fn damaged_meshes_are_measured_and_found_out(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), 0..4), 1..6),
        by in -30.0..30.0f64,
    ) {
        let asked = Piece::hollow_cube();
        let mut piece = Piece::hollow_cube();
        for (first, second, kind) in changes {
            let mesh = &mut piece.mesh;
            let (t, other) = (first.index(mesh.triangles.len()), second.index(mesh.triangles.len()));
            match kind {
                // A point of the cavity may move inwards without harm; one of the outside may not move at all.
                0 => {
                    let point = first.get_mut(&mut mesh.points);
                    if point.min_element() == 0.0 || point.max_element() == 20.0 {
                        *point += by;
                    }
                }
                1 => mesh.triangles[t] = mesh.triangles[other],
                2 => mesh.triangles[t].rotate_left(1),
                _ => mesh.triangles[t].swap(0, 2),
            }
        }
        let outcome = run(&piece);
        for fact in &outcome.facts {
            let finite = match &fact.value {
                Value::Number(number) => number.is_finite(),
                Value::Triple(triple) => triple.iter().all(|n| n.is_finite()),
                _ => true,
            };
            prop_assert!(finite, "{fact:?}");
        }
        let turned = |mesh: &pieces::FileMesh| {
            let mut triangles: Vec<[u32; 3]> = mesh.triangles.clone();
            for t in &mut triangles {
                let least = (0..3).min_by_key(|&i| t[i]).unwrap();
                t.rotate_left(least);
            }
            (mesh.points.clone(), triangles)
        };
        prop_assert_eq!(outcome.findings.is_empty(), turned(&piece.mesh) == turned(&asked.mesh));
    }
}
