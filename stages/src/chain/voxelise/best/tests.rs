//! The best place against every place tried one by one, sample by sample, on forms made of boxes.

use std::collections::BTreeMap;

use proptest::prelude::*;
use serde_json::json;

use super::super::{Voxelise, placing};
use super::*;
use crate::conformance::Trial;
use crate::findings::{Fact, Unit};
use crate::solid::forms::{cuboid, together};
use crate::solid::samples::mirrored;
use crate::stage::{Outcome, erase};
use crate::workpiece::Workpiece;

/// Boxes by their low and high corners; a point in any of them is inside.
type Boxes = Vec<[DVec3; 2]>;

fn surface(boxes: &Boxes) -> Surface {
    together(&boxes.iter().map(|&[low, high]| cuboid(low, high)).collect::<Vec<_>>())
}

fn inside(boxes: &Boxes, point: DVec3) -> bool {
    boxes.iter().any(|&[low, high]| point.cmpgt(low).all() && point.cmplt(high).all())
}

const BEST: Placing = Placing { x: placing::Anchor::Best, y: placing::Anchor::Best, z: placing::Anchor::Lowest };

fn usual(surface: &Surface, cell: f64) -> Grid {
    let (origin, counts) = placing::place(BEST, DVec3::ZERO, surface.bounds().unwrap(), cell);
    Grid { origin, cell, counts: DVec3::from_array(counts).as_ivec3() }
}

/// Runs the stage on a form; gives its cells and what it said.
fn run(surface: &Surface, settings: serde_json::Value) -> Result<(Cells, Outcome), Halt> {
    let stage = erase::<Voxelise>();
    let piece = Workpiece::default().with_surface(surface.clone());
    let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece };
    let folder = tempfile::tempdir().unwrap();
    let (piece, outcome) = trial.run(folder.path().to_path_buf())?;
    Ok((piece.cells().unwrap().clone(), outcome))
}

fn fact<'a>(outcome: &'a Outcome, name: &str) -> &'a Fact {
    outcome.facts.iter().find(|fact| fact.name == name).unwrap_or_else(|| panic!("no {name}"))
}

/// Samples that the cubes have in common with the form, and samples in either, with the grid's corner at `low`.
fn by_hand(boxes: &Boxes, usual: &Grid, low: DVec3, steps: i32) -> (u64, u64) {
    let fine = usual.cell / f64::from(steps);
    let counts = steps * (usual.counts + 4);
    let first = usual.origin - 2.0 * usual.cell;
    let (mut both, mut either) = (0, 0);
    for n in 0..counts.element_product() {
        let at = IVec3::new(n % counts.x, n / counts.x % counts.y, n / counts.x / counts.y);
        let sample = first + fine * (at.as_dvec3() + 0.5);
        let centre = low + usual.cell * (((sample - low) / usual.cell).floor() + 0.5);
        let (form, cube) = (inside(boxes, sample), inside(boxes, centre));
        both += u64::from(form && cube);
        either += u64::from(form || cube);
    }
    (both, either)
}

#[test]
fn a_box_that_the_usual_place_cuts_badly() {
    let boxes = vec![[DVec3::new(1.0, 2.0, 3.0), DVec3::new(10.3, 11.3, 12.0)]];
    let surface = surface(&boxes);
    // 9.3 mm across a boundary in the middle become 4 cells of 3 mm, whose centres are 4.5 mm off it; around the centre of
    // a cell they become 3. The samples, 0.75 mm apart, see 9 mm of the box.
    let (cells, outcome) = run(&surface, json!({ "cell": 3.0, "grid": "best" })).unwrap();
    assert_eq!((cells.grid().counts, cells.count()), (IVec3::new(5, 5, 3), 27));
    assert_eq!(fact(&outcome, "places tried for the grid"), &Fact::whole("places tried for the grid", 4, Unit::Count));
    assert_eq!(fact(&outcome, "grid moved by"), &Fact::triple("grid moved by", DVec3::new(1.5, 1.5, 0.0), Unit::Mm));
    let usual = 100.0 * 12.0 * 12.0 / (16.0 * 16.0);
    let name = "volume overlap gained by the place";
    assert_eq!(fact(&outcome, name), &Fact::number(name, 100.0 - usual, Unit::Percent));
    let kept = Fact::text("symmetry kept by the grid", "left to right and front to back");
    assert_eq!(fact(&outcome, "symmetry kept by the grid"), &kept);
}

#[test]
fn trying_takes_no_more_memory_than_it_may() {
    let boxes =
        vec![[DVec3::ZERO, DVec3::new(31.0, 17.0, 10.0)], [DVec3::new(20.0, 10.0, 9.0), DVec3::new(31.0, 17.0, 21.0)]];
    let surface = surface(&boxes);
    let tried = |memory: &str| {
        let (_, outcome) = run(&surface, json!({ "cell": 1.0, "grid": "best", "memory": memory }))?;
        Ok::<_, Halt>(fact(&outcome, "places tried for the grid").value.clone())
    };
    // 32 × 18 × 21 cells: with a cell more on x and y, 4³ samples in each and as many centres, 8 bits a byte: about 230 kB;
    // with 2³ about 30 kB.
    assert_eq!(tried("1 MiB").unwrap(), crate::findings::Value::Whole(16));
    assert_eq!(tried("100 KiB").unwrap(), crate::findings::Value::Whole(4));
    match tried("20 KiB") {
        Err(Halt::Misfit(misfit)) => {
            assert_eq!(misfit.setting, "grid");
            assert!(misfit.message.contains("more than the limit of 20 KiB"), "{misfit:?}");
        }
        other => panic!("{other:?}"),
    }
}

#[test]
fn lines_in_a_mirror() {
    for count in [1, 5, 63, 64, 65, 100, 128, 130] {
        let words = (count as usize).div_ceil(64);
        let bit = |n: i32| n % 7 < 3 && n % 5 != 1;
        let line = |bit: &dyn Fn(i32) -> bool| {
            let mut line = vec![0u64; words];
            (0..count).filter(|&n| bit(n)).for_each(|n| line[n as usize / 64] |= 1 << (n % 64));
            line
        };
        let mut image = vec![0; words];
        mirror(&line(&bit), count, &mut image);
        assert_eq!(image, line(&|n| bit(count - 1 - n)), "{count}");
    }
}

/// One to three boxes, wide enough for lines of more than one word. Off simple fractions, where a face could go through
/// samples and each side of the comparison give it to another box.
fn boxes() -> impl Strategy<Value = Boxes> {
    let corner = (0.0..30.0f64, 0.0..4.0f64, 0.0..3.0f64);
    let size = (2.0..16.0f64, 1.0..4.0f64, 1.0..4.0f64);
    let one = (corner, size).prop_map(|(low, size)| {
        let low = DVec3::from(low);
        [low, low + DVec3::from(size) + DVec3::new(0.0137, 0.0171, 0.0193)]
    });
    prop::collection::vec(one, 1..4)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20))]

    #[test]
    fn no_place_that_was_tried_is_better(boxes in boxes(), upwards in any::<bool>()) {
        let surface = surface(&boxes);
        let usual = usual(&surface, 1.0);
        let placing = if upwards { Placing { z: placing::Anchor::Best, ..BEST } } else { BEST };
        let (process, files, cancel) = (crate::conformance::process(), BTreeMap::new(), false.into());
        let mut shelf = crate::conformance::Folder::at("nowhere".into());
        let shop = Shop::new(&process, &files, &[], &cancel, &mut shelf);
        let best = find(&surface, &usual, placing, Memory::usual(), &shop).unwrap();

        let places = |axis: usize| match (placing.tried()[axis], best.symmetric[axis]) {
            (false, _) => vec![0.0],
            (true, true) => vec![0.0, 0.5],
            (true, false) => vec![0.0, 0.25, 0.5, 0.75],
        };
        let mut tried = Vec::new();
        for &x in &places(0) {
            for &y in &places(1) {
                tried.extend(places(2).into_iter().map(|z| DVec3::new(x, y, z)));
            }
        }
        prop_assert_eq!(best.tried, tried.len());
        // Half a cell up from the lowest point centres lie on the lowest face: neither side of the comparison is wrong then.
        let on_a_face = |shift: DVec3| shift.z == 0.5;
        prop_assume!(!on_a_face(best.shift));
        let mut most = (DVec3::ZERO, (0u64, 1u64));
        for &shift in tried.iter().filter(|&&shift| !on_a_face(shift)) {
            let (both, either) = by_hand(&boxes, &usual, usual.origin + shift, 4);
            let share = both as f64 / either as f64;
            prop_assert!(share <= best.overlap + 1e-12, "{share} at {shift}, {best:?}");
            if shift == DVec3::ZERO {
                prop_assert!((share - best.usual).abs() < 1e-12, "{share}, {best:?}");
            }
            if both * most.1.1 > most.1.0 * either {
                most = (shift, (both, either));
            }
        }
        prop_assert_eq!(best.shift, most.0);
        prop_assert!((best.overlap - most.1.0 as f64 / most.1.1 as f64).abs() < 1e-12);
    }

    #[test]
    fn a_form_that_is_its_mirror_image_stays_so(boxes in boxes(), axis in 0..2usize) {
        let image = |&[mut low, mut high]: &[DVec3; 2]| {
            (low[axis], high[axis]) = (-high[axis], -low[axis]);
            [low, high]
        };
        let both: Boxes = boxes.iter().copied().chain(boxes.iter().map(image)).collect();
        let (cells, outcome) = run(&surface(&both), json!({ "cell": 0.9, "grid": "best" })).unwrap();
        // The boxes reach equally far to both sides, so the grid does.
        prop_assert_eq!(&mirrored(&cells, axis), &cells);
        let kept = format!("{:?}", fact(&outcome, "symmetry kept by the grid").value);
        prop_assert!(kept.contains(["left to right", "front to back"][axis]), "{kept}");
    }

    #[test]
    fn a_mirrored_form_is_kept_as_well(boxes in boxes()) {
        let image: Boxes =
            boxes.iter().map(|&[low, high]| [DVec3::new(-high.x, low.y, low.z), DVec3::new(-low.x, high.y, high.z)]).collect();
        let settings = json!({ "cell": 0.9, "grid": "best" });
        let said = |boxes: &Boxes| fact(&run(&surface(boxes), settings.clone()).unwrap().1, "volume overlap gained by the place").clone();
        prop_assert_eq!(said(&boxes), said(&image));
    }
}
