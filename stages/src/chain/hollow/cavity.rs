//! Which cells of the finer lattice are cavity.

use glam::IVec3;

use crate::solid::distance::{Beyond, Distances};
use crate::solid::{Cells, Components, Leave, Neighbours, make_well_composed};

/// The lattice on which the cavity is laid out.
pub(super) struct Lattice {
    /// The solid on the finer lattice.
    pub(super) solid: Cells,
    /// How many lattice cells lie along the edge of a cell.
    pub(super) per_cell: i32,
    /// Distance from each lattice cell's centre to the outside.
    pub(super) depth: Distances,
}

/// The finest share of the wall that a lattice cell may take. The cavity's rounded edges are polygons with sides about as
/// long as a lattice cell: with this share they leave 1 to 3 % more material than exact arcs, which `tests` measure.
const SHARE_OF_WALL: f64 = 0.6;

impl Lattice {
    pub(super) fn new(cells: &Cells, wall: f64) -> Self {
        let per_cell = (cells.grid().cell / (SHARE_OF_WALL * wall)).ceil().max(1.0) as i32;
        let solid = refined(cells, per_cell);
        let outside = crate::solid::air(&solid);
        Self { depth: Distances::to_cubes(&outside, Beyond::Cubes), solid, per_cell }
    }

    /// The same cells on the finer lattice.
    pub(super) fn refine(&self, cells: &Cells) -> Cells {
        refined(cells, self.per_cell)
    }
}

fn refined(cells: &Cells, per_cell: i32) -> Cells {
    if per_cell == 1 {
        return cells.clone();
    }
    Cells::from_lines(cells.grid().refined(per_cell), |j, k, words| {
        for i in cells
            .line(j / per_cell, k / per_cell)
            .iter()
            .enumerate()
            .flat_map(|(w, &word)| crate::solid::bits(word).map(move |bit| w * 64 + bit as usize))
        {
            for fine in i * per_cell as usize..(i + 1) * per_cell as usize {
                words[fine / 64] |= 1 << (fine % 64);
            }
        }
    })
}

/// The part of a cavity from which loose powder leaves through the shafts: where a ball of the gap's width can roll to,
/// and the corners beside it. `shafts` lie on the same lattice as the cavity.
///
/// A corner of three walls lies √3 radii from the middle of a ball that touches all three; powder no deeper in a corner
/// than that comes out with the rest.
pub(super) fn emptied(cavity: &Cells, shafts: &Cells, gap: f64) -> Cells {
    let void = cavity.or(shafts);
    let edge = cavity.grid().cell;
    let radius = gap / 2.0;
    // A lattice cell is itself wide enough for the ball.
    if 2.0 * radius <= edge {
        return reached(&void, shafts, cavity);
    }
    let to_material = Distances::to_cubes(&crate::solid::air(&void), Beyond::Nothing);
    let rolled = reached(&to_material.at_least(radius).zip(&void, |a, b| a & b), shafts, &void);
    let beside = Distances::to_cubes(&rolled, Beyond::Nothing);
    let beyond = beside.at_least(radius * 3f64.sqrt() + edge / 2.0);
    reached(&void.minus(&beyond).or(shafts), shafts, cavity)
}

/// The cells of `among` in those components of `void` that touch a shaft.
fn reached(void: &Cells, shafts: &Cells, among: &Cells) -> Cells {
    let components = Components::of(void, Neighbours::Faces);
    let mut touched = vec![false; components.len()];
    for component in shafts.iter().filter_map(|cell| components.at(cell)) {
        touched[component] = true;
    }
    components.cells_where(|c| touched[c]).zip(among, |a, b| a & b)
}

/// Gives back to the material the cavity cells with which the printed solid would touch itself in an edge or a corner
/// only, and those that are cut off from the shafts by that; until none is left.
pub(super) fn mended(lattice: &Lattice, mut cavity: Cells, shafts: &Cells, gap: f64) -> Cells {
    loop {
        let before = cavity.count();
        let mut printed = lattice.solid.minus(&cavity).minus(shafts);
        make_well_composed(&mut printed, Leave::to_add(cavity.clone()));
        cavity = emptied(&cavity.minus(&printed), shafts, gap);
        if cavity.count() == before {
            return cavity;
        }
    }
}

/// The lattice cells around a lattice corner.
pub(super) fn around(corner: IVec3) -> impl Iterator<Item = IVec3> {
    (0..8).map(move |i| corner - IVec3::new(i & 1, i >> 1 & 1, i >> 2))
}
