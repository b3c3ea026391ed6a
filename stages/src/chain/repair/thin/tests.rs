#![expect(clippy::unwrap_used, reason = "tests")]

use glam::DVec3;
use proptest::prelude::*;

use super::super::tests::{codes, is_sound, number, run as repair, sheet, whole};
use super::super::{Islands, Settings};
use super::*;
use crate::conformance::Trial;
use crate::findings::Severity;
use crate::solid::forms::{cuboid, sphere, together};
use crate::solid::inside::solid_cells;
use crate::solid::samples::{grid, mirrored};
use crate::stage::Outcome;
use crate::units::Force;
use crate::workpiece::Workpiece;

const THICKEN: Settings = Settings {
    islands: Islands::Largest,
    voids: super::super::Voids::Fill,
    contacts: super::super::Contacts::Mend,
    thin: Thin::Thicken,
    tolerance: None,
    handling_load: Force::from_newtons(5.0),
    least_safety: 3.0,
};

fn plate(low: [f64; 3], high: [f64; 3]) -> Surface {
    cuboid(DVec3::from(low), DVec3::from(high))
}

/// A ball of 8 mm around (16, 16, 16).
fn ball() -> Surface {
    sphere(8.0, 4).mapped(|p| p + 16.0)
}

fn thickened(cells: &Cells, surface: &Surface) -> (Cells, Outcome) {
    repair(&THICKEN, cells, surface.clone()).unwrap()
}

fn range(low: [i32; 3], high: [i32; 3]) -> impl Fn(IVec3) -> bool + Sync {
    move |c| c.cmpge(low.into()).all() && c.cmplt(high.into()).all()
}

/// Asserts what `thicken` promises, and gives the cells that were added.
fn sound_and_whole(cells: &Cells, surface: &Surface) -> Cells {
    let (thick, outcome) = thickened(cells, surface);
    assert_eq!(whole(&outcome, "places not converted"), 0);
    assert_eq!(number(&outcome, "surface not converted"), 0.0);
    assert!(is_sound(&thick));
    let (again, _) = thickened(&thick, surface);
    assert_eq!(again, thick);
    thick.minus(cells)
}

#[test]
fn a_fin_stands_on_its_whole_root() {
    // A plate a quarter of a cell thick, between two layers of centres, that runs 7 mm out of a ball.
    let surface = together(&[ball(), plate([20.0, 16.125, 12.25], [30.75, 16.375, 19.75])]);
    let (cells, _) = solid_cells(&surface, grid([32, 32, 32]));
    let (_, left) = repair(&Settings::default(), &cells, surface.clone()).unwrap();
    assert!(codes(&left).contains(&(Severity::Caution, "not-converted")));
    // Both faces, from where the ball's cubes are more than 1 mm away, which is 9 mm from its middle at most steps; and
    // the rims of the plate: 2 · 7.5 · (30.75 − 25) mm² within the steps of the cubes and the pieces astride the limit.
    let area = number(&left, "surface not converted");
    assert!((area - 2.0 * 7.5 * 5.75).abs() < 2.0 * 7.5 * 1.5, "{area}");

    let added = sound_and_whole(&cells, &surface);
    let fin = Cells::from_fn(*cells.grid(), range([20, 16, 12], [31, 17, 20])).minus(&cells);
    // Every cell of the fin, but for dents beside the ball itself; and nothing else but what mends contacts there.
    let beside = |c: &IVec3| (c.as_dvec3() + 0.5 - 16.0).length() < 10.5;
    let (dents, besides) = (fin.minus(&added), added.minus(&fin));
    assert!(dents.iter().chain(besides.iter()).all(|c| beside(&c)), "{} {}", dents.count(), besides.count());
    assert!(dents.count() + besides.count() <= 8, "{} {}", dents.count(), besides.count());
}

#[test]
fn a_hair_becomes_a_row_of_cubes() {
    let surface = together(&[ball(), plate([20.0, 16.125, 16.125], [30.75, 16.375, 16.375])]);
    let (cells, _) = solid_cells(&surface, grid([32, 32, 32]));
    let added = sound_and_whole(&cells, &surface);
    let hair = Cells::from_fn(*cells.grid(), range([20, 16, 16], [31, 17, 17])).minus(&cells);
    assert_eq!(added, hair);
}

#[test]
fn a_leaf_without_any_cube_becomes_a_plate() {
    // A sheet within one layer of cells makes a plate of one; one between two layers belongs to both.
    for (height, layers) in [(3.25, 3..4), (3.0, 2..4)] {
        let leaf = sheet([1.25, 1.25, height], [7.5, 0.0, 0.0], [0.0, 5.5, 0.0]);
        let empty = Cells::empty(grid([10, 8, 6]));
        assert!(matches!(repair(&Settings::default(), &empty, leaf.clone()), Err(Halt::Misfit(_))));
        let added = sound_and_whole(&empty, &leaf);
        assert_eq!(added, Cells::from_fn(*empty.grid(), range([1, 1, layers.start], [9, 7, layers.end])));
    }
}

#[test]
fn two_plates_are_joined_by_their_thin_web() {
    let plates = [plate([2.0, 2.0, 2.0], [6.0, 12.0, 12.0]), plate([14.0, 2.0, 2.0], [18.0, 12.0, 12.0])];
    let web = plate([5.0, 7.125, 4.25], [15.0, 7.375, 9.75]);
    let [left, right] = plates;
    let surface = together(&[left, right, web]);
    let (cells, _) = solid_cells(&surface, grid([20, 14, 14]));
    assert_eq!(cells.count(), 2 * 4 * 10 * 10);
    let (left, outcome) = repair(&Settings::default(), &cells, surface.clone()).unwrap();
    assert_eq!(left.count(), 4 * 10 * 10, "the other plate is an island");
    assert!(codes(&outcome).contains(&(Severity::Caution, "not-converted")));
    let added = sound_and_whole(&cells, &surface);
    assert_eq!(added, Cells::from_fn(*cells.grid(), range([6, 7, 4], [14, 8, 10])));
    let (_, outcome) = thickened(&cells, &surface);
    assert_eq!(whole(&outcome, "cells added to thicken"), 8 * 6);
    assert_eq!(whole(&outcome, "cells added to join thin parts"), 0);
}

#[test]
fn a_loose_piece_is_joined_by_the_shortest_run() {
    // 8 mm apart. An odd plate has a middle row; an even one has four rows that are equally near to it.
    for (width, rows) in [(9.0, 1), (10.0, 4)] {
        let two = [
            plate([2.0, 2.0, 2.0], [6.0, 2.0 + width, 2.0 + width]),
            plate([14.0, 2.0, 2.0], [18.0, 2.0 + width, 2.0 + width]),
        ];
        let surface = together(&two);
        let (cells, _) = solid_cells(&surface, grid([20, 14, 14]));
        let added = sound_and_whole(&cells, &surface);
        assert_eq!(added.count(), 8 * rows);
        let (_, outcome) = thickened(&cells, &surface);
        assert_eq!(whole(&outcome, "cells added to thicken"), 0);
        assert!(codes(&outcome).contains(&(Severity::Caution, "thin-parts-joined")));
    }
}

#[test]
fn a_refused_part_is_a_fault_with_its_place() {
    let surface = together(&[ball(), plate([20.0, 16.125, 12.25], [30.75, 16.375, 19.75])]);
    let (cells, _) = solid_cells(&surface, grid([32, 32, 32]));
    let refuse = Settings { thin: Thin::Refuse, ..Settings::default() };
    let (same, outcome) = repair(&refuse, &cells, surface.clone()).unwrap();
    let (left, _) = repair(&Settings::default(), &cells, surface).unwrap();
    assert_eq!(same, left);
    let fault = outcome.findings.iter().find(|finding| finding.severity == Severity::Fault).unwrap();
    assert_eq!(fault.code, "not-converted");
    assert!(fault.remedy.contains("repair.thin: thicken"), "{}", fault.remedy);
    let [x, y, z] = fault.places[0].mm;
    assert!((25.0..31.0).contains(&x) && (16.0..16.5).contains(&y) && (12.0..20.0).contains(&z), "{:?}", fault.places);
}

#[test]
fn runs_hold_together_by_faces_and_are_as_straight_as_they_can_be() {
    let ends = [[0, 0, 0], [5, 0, 0], [3, 3, 0], [4, 4, 4], [7, 2, -3], [-1, 6, 11]];
    for to in ends.map(IVec3::from) {
        let cells = super::run(IVec3::ZERO, to);
        let way = to.as_dvec3();
        for cell in &cells {
            // The middle of a cube that meets the line is within half its diagonal of it.
            let at = cell.as_dvec3();
            let along = if way == DVec3::ZERO { 0.0 } else { (at.dot(way) / way.length_squared()).clamp(0.0, 1.0) };
            assert!(at.distance(along * way) <= 0.75f64.sqrt() + 1e-12, "{cell} on the way to {to}");
        }
        let (low, high) = cells.iter().fold((IVec3::ZERO, IVec3::ZERO), |(l, h), &c| (l.min(c), h.max(c)));
        assert_eq!((low, high), (to.min(IVec3::ZERO), to.max(IVec3::ZERO)));
        let solid = Cells::from_fn(grid(high - low + 1), |c| cells.contains(&(c + low)));
        assert_eq!(Components::of(&solid, Neighbours::Faces).len(), 1);
        assert_eq!(solid.count(), cells.len());
    }
    // A straight one has the cells between, a diagonal one two more at each edge that it passes through, six at a corner.
    let counts = ends.map(|to| super::run(IVec3::ZERO, to.into()).len());
    assert_eq!(counts[..4], [1, 6, 4 + 2 * 3, 5 + 6 * 4]);
}

#[test]
fn the_same_on_any_number_of_threads_pictures_and_all() {
    let surface = together(&[
        ball(),
        plate([20.0, 16.125, 12.25], [30.75, 16.375, 19.75]),
        plate([1.0, 1.0, 1.0], [3.0, 3.0, 3.0]),
    ]);
    let (cells, _) = solid_cells(&surface, grid([32, 32, 32]));
    let (stage, folder) = (crate::stage::erase::<super::super::Repair>(), tempfile::tempdir().unwrap());
    let number = std::cell::Cell::new(0);
    let scratch = || {
        number.set(number.get() + 1);
        let path = folder.path().join(number.get().to_string());
        std::fs::create_dir(&path).unwrap();
        path
    };
    for (thin, least) in [("leave", 2), ("thicken", 1), ("refuse", 2)] {
        let piece = Workpiece::default().with_surface(surface.clone()).with_cells(cells.clone());
        let trial = Trial {
            stage: stage.as_ref(),
            settings: serde_json::json!({ "thin": thin }),
            files: BTreeMap::new(),
            piece,
        };
        trial.suite(scratch);
        let (_, outcome) = trial.run(scratch()).unwrap();
        let pictures = outcome.findings.iter().filter(|finding| finding.picture.is_some()).count();
        assert_eq!(outcome.artefacts.len(), pictures, "{thin}: {:?}", outcome.artefacts);
        assert!(pictures >= least, "{thin}: {:?}", outcome.findings);
    }
}

/// A coordinate within a grid of 12 cells, in eighths, so that mirroring is exact.
fn eighths() -> impl Strategy<Value = f64> {
    (0..=96).prop_map(|n| f64::from(n) / 8.0)
}

fn corner() -> impl Strategy<Value = DVec3> {
    (eighths(), eighths(), eighths()).prop_map(|(x, y, z)| DVec3::new(x, y, z))
}

/// Triangles anywhere, and blocks of cells that have nothing to do with them.
fn scene() -> impl Strategy<Value = (Surface, Cells)> {
    let triangles = prop::collection::vec([corner(), corner(), corner()], 1..5);
    let block = (prop::array::uniform3(0..12i32), prop::array::uniform3(1..5i32));
    (triangles, prop::collection::vec(block, 1..4)).prop_map(|(triangles, blocks)| {
        let names = (0..triangles.len() as u32).map(|t| [3 * t, 3 * t + 1, 3 * t + 2]).collect();
        let surface = Surface::new(triangles.into_iter().flatten().collect(), names).unwrap();
        let inside = |c: IVec3| {
            blocks.iter().any(|&(low, size)| range(low, (IVec3::from(low) + IVec3::from(size)).to_array())(c))
        };
        (surface, Cells::from_fn(grid([12, 12, 12]), inside))
    })
}

proptest! {
    // Each case repairs a piece two or three times over.
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn whatever_is_thickened_is_whole_sound_and_stays_as_it_is((surface, cells) in scene()) {
        sound_and_whole(&cells, &surface);
    }

    #[test]
    fn a_mirrored_model_is_thickened_to_the_mirror_image((surface, cells) in scene(), axis in 0..3usize) {
        // Which of equally large pieces stays is decided by their order, which a mirror turns round: keep all here.
        let settings = Settings { islands: Islands::All, ..THICKEN };
        let image = surface.mapped(|mut p| {
            p[axis] = 12.0 - p[axis];
            p
        });
        let (thick, _) = repair(&settings, &cells, surface).unwrap();
        let (other, _) = repair(&settings, &mirrored(&cells, axis), image).unwrap();
        prop_assert_eq!(other, mirrored(&thick, axis));
    }

    #[test]
    fn the_least_gap_is_that_of_brute_force(
        body in prop::collection::vec(prop::array::uniform3(0..70i32), 1..9),
        piece in prop::collection::vec(prop::array::uniform3(0..70i32), 1..9),
    ) {
        let solid = Cells::from_fn(grid([70, 70, 70]), |c| body.contains(&c.to_array()));
        let piece: Vec<IVec3> = piece.into_iter().map(IVec3::from).collect();
        let pairs = || piece.iter().flat_map(|&p| body.iter().map(move |&b| [p, IVec3::from(b)]));
        let squared = |[a, b]: [IVec3; 2]| (a - b).as_i64vec3().length_squared();
        let least = pairs().map(squared).min();
        prop_assert_eq!(least_gap(&solid, &piece), least);
        for pair in nearest_pairs(&solid, &piece, least.unwrap(), IVec3::splat(69)) {
            prop_assert!(pairs().any(|p| p == pair) && Some(squared(pair)) == least);
        }
    }
}
