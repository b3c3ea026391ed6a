#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;
use crate::solid::banded::banded;
use crate::solid::samples::{listed, random_solid};
use crate::solid::{Leave, Patch, Skin, enclosed_voids, make_well_composed};
use crate::{Side, Six};

/// The triangles as a skin, for what skins are asked.
fn skin_of(seen: &Sewn<u32>) -> Skin {
    let (points, triangles) = (seen.points.clone(), seen.triangles.clone());
    Skin { points, patches: vec![Patch::Inside; triangles.len()], triangles }
}

fn areas(points: &[DVec3], triangles: &[[u32; 3]]) -> impl Iterator<Item = (Side, f64)> {
    triangles.iter().map(|corners| {
        let [a, b, c] = corners.map(|at| points[at as usize]);
        let twice = (b - a).cross(c - a);
        let side = Side::ALL.into_iter().find(|side| twice.dot(side.normal()) > 0.999 * twice.length());
        (side.unwrap(), twice.length() / 2.0)
    })
}

/// A number for each face, so that few of those side by side are alike, or many.
fn inks(faces: &[Face], many: bool) -> Vec<u32> {
    faces
        .iter()
        .map(|face| face.side as u32 + if many { 6 * (face.cell.element_sum() as u32 % 3) } else { 0 })
        .collect()
}

proptest! {
    /// The closed form: faces × cell² for each side and each ink, cells × cell³.
    #[test]
    fn areas_and_volume_are_those_of_the_cubes(mut cells in random_solid(), many in any::<bool>(), mended in any::<bool>()) {
        let leave = Leave::any(*cells.grid());
        if mended {
            make_well_composed(&mut cells, leave);
        }
        let faces = outside_faces(&cells, None);
        let ink = inks(&faces, many);
        let seen = outside(&cells, None, (&faces, &ink), 99, None);
        let mut found: BTreeMap<(Side, u32), f64> = BTreeMap::new();
        for ((side, area), &ink) in areas(&seen.points, &seen.triangles).zip(&seen.ink) {
            prop_assert!(area > 0.4);
            *found.entry((side, ink)).or_default() += area;
        }
        let mut counted: BTreeMap<(Side, u32), f64> = BTreeMap::new();
        for (face, &ink) in faces.iter().zip(&ink) {
            *counted.entry((face.side, ink)).or_default() += 1.0;
        }
        prop_assert_eq!(found.keys().collect::<Vec<_>>(), counted.keys().collect::<Vec<_>>());
        prop_assert!(found.values().zip(counted.values()).all(|(a, b)| (a - b).abs() < 1e-9));

        let skin = skin_of(&seen);
        let whole = (cells.count() + enclosed_voids(&cells).count()) as f64;
        prop_assert!((skin.volume() - whole).abs() < 1e-6, "{} {whole}", skin.volume());
        prop_assert!(skin.is_closed() || !mended);
        prop_assert!(seen.triangles.len() <= 2 * faces.len());
    }

    /// Against the skin that is cut along the same bands for the file to order.
    #[test]
    fn bands_have_the_area_of_those_that_are_printed(mut cells in random_solid(), seed in any::<u64>()) {
        let leave = Leave::any(*cells.grid());
        make_well_composed(&mut cells, leave);
        let faces = outside_faces(&cells, None);
        // Any four bits for each face, and often none.
        let bits = (0..faces.len() as u64).map(|n| (seed | 1).wrapping_mul(2 * n + 1) >> 59);
        let held: Vec<[bool; 4]> = bits.map(|bits| [0, 1, 2, 3].map(|at| bits < 16 && bits >> at & 1 == 1)).collect();
        let ink = inks(&faces, false);
        let seen = outside(&cells, None, (&faces, &ink), 99, Some(Bands { held: &held, width: 0.2, bare: 77 }));
        let cut = banded(&Skin::of(&cells, None, &faces), &faces, cells.grid(), &held, 0.2).unwrap();
        let mut bands: Six<[f64; 2]> = Six([[0.0; 2]; 6]);
        for ((side, area), &ink) in areas(&seen.points, &seen.triangles).zip(&seen.ink) {
            bands[side][0] += if ink == 77 { area } else { 0.0 };
        }
        let printed = cut.skin.patches.iter().zip(&cut.band).map(|(patch, band)| *band && matches!(patch, Patch::Outside(_)));
        let shown: Vec<[u32; 3]> = cut.skin.triangles.iter().zip(printed).filter(|(_, band)| *band).map(|(t, _)| *t).collect();
        for (side, area) in areas(&cut.skin.points, &shown) {
            bands[side][1] += area;
        }
        prop_assert!(bands.0.iter().all(|[seen, printed]| (seen - printed).abs() < 1e-6), "{bands:?}");
        prop_assert!(skin_of(&seen).is_closed());
    }
}

/// A block of 3 × 3 × 3 with a shaft of one cell that goes two cells up from its foot: 54 faces less the mouth, eight walls
/// and a floor more.
#[test]
fn an_opening_is_as_deep_as_its_shaft() {
    let block: Vec<[i32; 3]> = (0..27).map(|i| [i % 3, i / 3 % 3, i / 9]).collect();
    let cells = listed(&block);
    let shafts = Cells::from_fn(*cells.grid(), |cell| cell.x == 1 && cell.y == 1 && cell.z < 2);
    let void = Void {
        cavity: Cells::empty(*cells.grid()),
        shafts,
        openings: vec![],
        per_cell: 1,
        moved: BTreeMap::new(),
        wall: 1.0,
    };
    let faces = outside_faces(&cells, Some(&void));
    let ink = inks(&faces, false);
    let seen = outside(&cells, Some(&void), (&faces, &ink), 99, None);
    let skin = skin_of(&seen);
    assert!(skin.is_closed());
    assert!((skin.volume() - 25.0).abs() < 1e-9);
    let within: f64 =
        areas(&seen.points, &seen.triangles).zip(&seen.ink).filter(|(_, ink)| **ink == 99).map(|((_, a), _)| a).sum();
    assert!((within - 9.0).abs() < 1e-9);
    // By hand: the foot is four rectangles around the mouth, which have twelve corners; four more above, four on the floor.
    assert_eq!(seen.points.len(), 12 + 4 + 4);
    // V − E + F = 2 of a closed surface without a handle.
    assert_eq!(seen.triangles.len(), 2 * (seen.points.len() - 2));
}
