//! The outside of a solid of cubes in few triangles: to be looked at, not to be printed.
//!
//! Faces of one plane and one ink are joined into rectangles. The cavity is not part of it: an opening ends where its shaft
//! does. Guarantees (`tests` in this file check each on random solids): each side has exactly the area of its faces, the
//! volume is that of the cells and of air that is shut in, bands have the area of those that are cut into the skin, and
//! where the solid touches itself nowhere every edge lies in exactly two triangles.

use glam::{DVec3, IVec3};

use super::rectangles::{Rectangle, Sewn, join, sewn};
use super::skin::outside_faces;
use super::{Cells, Face, Grid};
use crate::void::Void;

/// Bands without ink along edges of faces.
#[derive(Clone, Copy, Debug)]
pub struct Bands<'a> {
    /// For each face which of its edges have one, as [`super::banded::banded`] takes them.
    pub held: &'a [[bool; 4]],
    /// Their width in mm, less than half a cell.
    pub width: f64,
    /// The ink in them.
    pub bare: u32,
}

/// The triangles of the outside. `faces` are those of [`outside_faces`] with the ink of each, `inside` is the ink in the
/// shafts of openings.
#[must_use]
pub fn outside(
    cells: &Cells,
    void: Option<&Void>,
    (faces, ink): (&[Face], &[u32]),
    inside: u32,
    bands: Option<Bands<'_>>,
) -> Sewn<u32> {
    let mut tiles: Vec<Tile> = (0..).zip(faces).map(|(at, &face)| Tile::of(at, face, ink, bands)).collect();
    if let Some(void) = void {
        tiles.extend(shafts(cells, void, faces).map(|face| Tile { face, ink: inside, held: [false; 4] }));
    }
    // Plane by plane; within a plane no order is needed.
    tiles.sort_by_key(|tile| (tile.face.side, tile.face.cell[tile.face.side.axis()]));
    let lines = Lines::new(cells.grid(), bands);
    let same_plane = |a: &Tile, b: &Tile| {
        let axis = a.face.side.axis();
        a.face.side == b.face.side && a.face.cell[axis] == b.face.cell[axis]
    };
    let rectangles: Vec<_> = tiles.chunk_by(same_plane).flat_map(|plane| lines.rectangles(plane)).collect();
    sewn(&rectangles, |corner| lines.place(corner))
}

/// The faces of the shafts: those that the outside has once the shafts are open, and had not before.
fn shafts(cells: &Cells, void: &Void, faces: &[Face]) -> impl Iterator<Item = Face> {
    let mut known = faces.iter().peekable();
    // Both lists have one order, and the second holds the first.
    outside_faces(&cells.minus(&void.shafts), None).into_iter().filter(move |face| known.next_if_eq(&face).is_none())
}

/// A face, its ink, and which of its edges have a band.
struct Tile {
    face: Face,
    ink: u32,
    held: [bool; 4],
}

impl Tile {
    fn of(at: usize, face: Face, ink: &[u32], bands: Option<Bands<'_>>) -> Self {
        Self { face, ink: ink[at], held: bands.map_or([false; 4], |bands| bands.held[at]) }
    }

    /// The ink on one of the nine parts of a face that may have bands: across and up, 0 is low, 1 the middle, 2 high.
    fn ink_at(&self, across: usize, up: usize, bare: u32) -> u32 {
        let [left, right, below, above] = self.held;
        let held = left && across == 0 || right && across == 2 || below && up == 0 || above && up == 2;
        if held { bare } else { self.ink }
    }
}

/// The lines along which faces are cut: between cells, and where there are bands also at their edges.
struct Lines<'a> {
    grid: &'a Grid,
    bands: Option<Bands<'a>>,
    /// Lines a cell.
    per_cell: u32,
}

impl<'a> Lines<'a> {
    fn new(grid: &'a Grid, bands: Option<Bands<'a>>) -> Self {
        Self { grid, bands, per_cell: if bands.is_some() { 3 } else { 1 } }
    }

    /// The rectangles of a plane.
    fn rectangles(&self, plane: &[Tile]) -> Vec<Rectangle<u32>> {
        let Some(Face { cell, side }) = plane.first().map(|tile| tile.face) else { return Vec::new() };
        let axis = side.axis();
        let at = |tile: &Tile| [tile.face.cell[(axis + 1) % 3] as u32, tile.face.cell[(axis + 2) % 3] as u32];
        let low = plane.iter().map(at).fold([u32::MAX; 2], |a, b| [a[0].min(b[0]), a[1].min(b[1])]);
        let high = plane.iter().map(at).fold([0; 2], |a, b| [a[0].max(b[0]), a[1].max(b[1])]);
        let n = self.per_cell as usize;
        let [width, height] = [0, 1].map(|i: usize| (high[i] + 1 - low[i]) as usize * n);
        let mut parts = vec![None; width * height];
        for tile in plane {
            let [u, v] = [at(tile)[0] - low[0], at(tile)[1] - low[1]].map(|cell| cell as usize * n);
            let corner = v * width + u;
            for (across, up) in (0..n).flat_map(|up| (0..n).map(move |across| (across, up))) {
                let ink = self.bands.map_or(tile.ink, |bands| tile.ink_at(across, up, bands.bare));
                parts[corner + up * width + across] = Some(ink);
            }
        }
        let line = (cell[axis] as u32 + u32::from(side.positive())) * self.per_cell;
        let mut rectangles = Vec::new();
        join(&mut parts, width, |from, to, ink| {
            let moved = |at: [u32; 2]| [at[0] + low[0] * self.per_cell, at[1] + low[1] * self.per_cell];
            rectangles.push(Rectangle { side, plane: line, low: moved(from), high: moved(to), ink });
        });
        rectangles
    }

    /// Where lines cross, in mm.
    fn place(&self, lines: [u32; 3]) -> DVec3 {
        let cells = IVec3::from_array(lines.map(|line| (line / self.per_cell) as i32));
        let beyond = |line: u32| match (self.bands, line % self.per_cell) {
            (Some(bands), 1) => bands.width,
            (Some(bands), 2) => self.grid.cell - bands.width,
            _ => 0.0,
        };
        self.grid.corner(cells) + DVec3::from_array(lines.map(beyond))
    }
}

#[cfg(test)]
mod tests;
