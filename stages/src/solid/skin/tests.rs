#![allow(clippy::unwrap_used)]

use std::collections::BTreeMap;

use proptest::prelude::*;

use super::*;
use crate::solid::samples::{lattice_shell, listed, random_solid};
use crate::solid::{Leave, contact_counts, make_well_composed};

impl Skin {
    /// Every edge in exactly two triangles that run along it in opposite directions, no triangle with equal corners.
    pub(crate) fn is_closed(&self) -> bool {
        let mut edges: BTreeMap<(u32, u32), usize> = BTreeMap::new();
        for &[a, b, c] in &self.triangles {
            for edge in [(a, b), (b, c), (c, a)] {
                *edges.entry(edge).or_default() += 1;
            }
        }
        edges.iter().all(|(&(a, b), &n)| a != b && n == 1 && edges.contains_key(&(b, a)))
    }
}

fn skin_of(cells: &Cells) -> Skin {
    Skin::of(cells, None, &outside_faces(cells, None))
}

/// V − E + F of a closed triangle mesh.
fn euler(skin: &Skin) -> i64 {
    skin.points.len() as i64 - skin.triangles.len() as i64 / 2
}

#[test]
fn worked_shapes() {
    // Faces, volume and Euler characteristic worked out from V − E + F − C of each solid.
    let ring: Vec<[i32; 3]> = (0..9).filter(|&i| i != 4).map(|i| [i % 3, i / 3, 0]).collect();
    let shut: Vec<[i32; 3]> = (0..27).filter(|&i| i != 13).map(|i| [i % 3, i / 3 % 3, i / 9]).collect();
    let block: Vec<[i32; 3]> = (0..24).map(|i| [i % 2, i / 2 % 3, i / 6]).collect();
    for (cells, faces, chi) in [(vec![[0, 0, 0]], 6, 2), (block, 52, 2), (ring, 32, 0), (shut, 60, 4)] {
        let skin = skin_of(&listed(&cells));
        assert_eq!(skin.triangles.len(), 2 * faces);
        assert!((skin.volume() - cells.len() as f64).abs() < 1e-9);
        assert_eq!(euler(&skin), chi);
        assert!(skin.is_closed());
    }
}

#[test]
fn air_that_is_shut_in_is_inside() {
    let shut: Vec<[i32; 3]> = (0..27).filter(|&i| i != 13).map(|i| [i % 3, i / 3 % 3, i / 9]).collect();
    let cells = listed(&shut);
    assert_eq!(outside_faces(&cells, None).len(), 54);
    assert_eq!(skin_of(&cells).patches.iter().filter(|p| **p == Patch::Inside).count(), 12);
}

#[test]
fn touching_cubes_do_not_give_a_closed_skin_and_so_the_check_can_fail() {
    assert!(!skin_of(&listed(&[[0, 0, 0], [1, 1, 0]])).is_closed());
    assert!(contact_counts(&lattice_shell(4, 9)).total() > 0);
    assert!(!skin_of(&lattice_shell(4, 9)).is_closed());
}

proptest! {
    #[test]
    fn the_skin_of_a_mended_solid_is_closed_and_holds_its_cells(mut cells in random_solid()) {
        let leave = Leave::any(*cells.grid());
        make_well_composed(&mut cells, leave);
        let skin = skin_of(&cells);
        prop_assert!(skin.is_closed());
        prop_assert_eq!(skin.triangles.len(), 2 * cells.faces_by_side().0.iter().sum::<usize>());
        prop_assert!((skin.volume() - cells.count() as f64).abs() < 1e-6);
        // Each outside triangle looks the way its face does.
        let faces = outside_faces(&cells, None);
        for (triangle, patch) in skin.triangles.iter().zip(&skin.patches) {
            if let Patch::Outside(face) = patch {
                let [a, b, c] = triangle.map(|i| skin.points[i as usize]);
                prop_assert_eq!((b - a).cross(c - a), faces[*face as usize].side.normal());
            }
        }
    }

    /// Against every side of every cell of the cavity, one by one: the definition, and the order that files keep.
    #[test]
    fn the_faces_of_a_cavity_are_those_without_cavity_or_shaft_behind(cavity in random_solid(), shaft in 0..6i32) {
        let grid = *cavity.grid();
        let shafts = Cells::from_fn(grid, |cell| cell.x == shaft && !cavity.solid(cell));
        let void = Void { shafts, openings: vec![], cavity, per_cell: 1, moved: BTreeMap::new(), wall: 1.0 };
        let mut found = Vec::new();
        each_cavity_face(&void, |face| found.push(face));
        let sides = |cell: IVec3| Side::ALL.map(|side| Face { cell: cell + side.step(), side: side.opposite() });
        let bare = |face: &Face| !void.cavity.solid(face.cell) && !void.shafts.solid(face.cell);
        let expected: Vec<Face> = void.cavity.iter().flat_map(sides).filter(bare).collect();
        prop_assert_eq!(found, expected);
    }
}
