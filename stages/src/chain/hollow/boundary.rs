//! The boundary of the cavity on its lattice: which corners it has, how they may move, and its quads.

use glam::{BVec3, IVec3};
use rayon::prelude::*;

use super::cavity::around;
use crate::solid::skin::{each_cavity_face, face_corners};
use crate::solid::{Cells, Face, Grid, Numbered};
use crate::void::Void;

/// Corners and quads, in the order of the lattice.
pub(super) struct Boundary {
    /// The numbers of the corners, as cells of a grid that has one for each corner of the lattice.
    pub(super) numbers: Numbered,
    pub(super) corners: Vec<Corner>,
    pub(super) quads: Vec<Quad>,
}

/// A corner of the cavity's boundary: all that its shape hangs on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Corner {
    pub(super) at: IVec3,
    /// Axes along which it may move.
    pub(super) free: BVec3,
    /// On each axis: where the cavity's faces here look, −1, 0 (none, or both ways) or 1.
    pub(super) outward: IVec3,
    /// Whether another corner of the boundary lies ahead on the way outwards, and on the way into the cavity.
    pub(super) faces_outwards: bool,
    pub(super) faces_inwards: bool,
}

/// A face of a lattice cell between cavity and material.
#[derive(Clone, Copy, Debug)]
pub(super) struct Quad {
    /// The numbers of its corners, counter-clockwise from the cavity.
    pub(super) corners: [u32; 4],
    /// The cell of the solid on the material's side.
    pub(super) behind: IVec3,
}

impl Boundary {
    /// Of a void without a cavity.
    pub(super) fn none(void: &Void) -> Self {
        let numbers = Numbered::of(Cells::empty(corner_grid(void)));
        Self { numbers, corners: Vec::new(), quads: Vec::new() }
    }

    /// Of a void's cavity in a solid.
    pub(super) fn of(cells: &Cells, void: &Void) -> Self {
        let mut faces: Vec<Face> = Vec::new();
        each_cavity_face(void, |face| faces.push(face));
        let mut set = Cells::empty(corner_grid(void));
        faces.iter().flat_map(|&face| face_corners(face)).for_each(|at| set.set(at, true));
        let numbers = Numbered::of(set);
        let number = |at: IVec3| numbers.number(at).expect("every corner of a face is one of the corners");
        let quad = |&face: &Face| Quad {
            corners: face_corners(face).map(|at| number(at) as u32),
            behind: face.cell.div_euclid(IVec3::splat(void.per_cell)),
        };
        let quads: Vec<Quad> = faces.par_iter().map(quad).collect();
        let mut looks = vec![0u8; numbers.cells().count()];
        for (face, quad) in faces.iter().zip(&quads) {
            // The cavity looks towards the material: against the face's own side.
            quad.corners.iter().for_each(|&c| looks[c as usize] |= 1 << face.side.opposite() as u8);
        }
        let ats: Vec<IVec3> = numbers.cells().iter().collect();
        let shafts = void.shafts.extent().map(|[low, high]| [low * void.per_cell, (high + 1) * void.per_cell]);
        let corner = |(&at, &sides): (&IVec3, &u8)| {
            let looks = |side: usize| i32::from(sides >> side & 1);
            let outward = IVec3::from_array([0, 1, 2].map(|axis| looks(2 * axis) - looks(2 * axis + 1)));
            let faces = |way: IVec3| faces_another(at, way, |at| numbers.cells().solid(at));
            let beside_shafts = shafts.is_some_and(|[low, high]| at.cmpge(low).all() && at.cmple(high).all());
            let free = if beside_shafts { free_axes(cells, void, at) } else { BVec3::TRUE };
            Corner { at, free, outward, faces_outwards: faces(outward), faces_inwards: faces(-outward) }
        };
        let corners = ats.par_iter().zip(&looks).map(corner).collect();
        Self { numbers, corners, quads }
    }
}

/// A grid with a cell for each corner of the void's lattice.
fn corner_grid(void: &Void) -> Grid {
    let lattice = void.cavity.grid();
    Grid { counts: lattice.counts + 1, ..*lattice }
}

/// Whether another corner of the boundary lies next to this one along any of the axes of `way`, or across.
fn faces_another(at: IVec3, way: IVec3, is_corner: impl Fn(IVec3) -> bool) -> bool {
    (1..8).any(|part| {
        let step = way * IVec3::new(part & 1, part >> 1 & 1, part >> 2);
        step != IVec3::ZERO && is_corner(at + step)
    })
}

/// The axes along which a corner may move: not across the wall of a shaft.
fn free_axes(cells: &Cells, void: &Void, corner: IVec3) -> BVec3 {
    let n = IVec3::splat(void.per_cell);
    let mut free = BVec3::TRUE;
    for piece in around(corner).filter(|p| void.shafts.solid(p.div_euclid(n))) {
        for axis in 0..3 {
            let mut across = piece;
            across[axis] = 2 * corner[axis] - 1 - piece[axis];
            let cell = across.div_euclid(n);
            if !void.cavity.solid(across) && cells.solid(cell) && !void.shafts.solid(cell) {
                free.set(axis, false);
            }
        }
    }
    free
}
