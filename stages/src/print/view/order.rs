//! Cells from the farthest to the nearest, without sorting for each view.

use glam::{DVec3, IVec3};

use crate::Side;
use crate::print::Sheet;

/// No face.
pub(super) const NONE: u32 = u32::MAX;

/// A cell with faces, on a line of cells along x.
#[derive(Clone, Copy, Debug)]
struct Standing {
    x: i32,
    /// For each side the place of the cell's face among the faces, or [`NONE`].
    faces: [u32; 6],
}

/// The cells that have faces, line by line.
#[derive(Debug)]
pub(super) struct Order {
    cells: Vec<Standing>,
    /// For each line along x, in the order of z, then y, where its cells begin.
    starts: Vec<u32>,
    counts: IVec3,
}

/// A face to draw.
#[derive(Clone, Copy, Debug)]
pub(super) struct Drawn {
    pub(super) cell: IVec3,
    pub(super) side: Side,
    /// Its place among the faces.
    pub(super) face: u32,
}

impl Order {
    pub(super) fn of(sheet: &Sheet) -> Self {
        let counts = sheet.grid.counts;
        let mut keys: Vec<([i32; 3], u32)> =
            (0u32..).zip(sheet.faces.iter()).map(|(at, face)| ([face.cell.z, face.cell.y, face.cell.x], at)).collect();
        keys.sort_unstable();
        let mut cells: Vec<Standing> = Vec::new();
        let mut starts = vec![0u32; counts.y as usize * counts.z as usize + 1];
        for same in keys.chunk_by(|a, b| a.0 == b.0) {
            let [z, y, x] = same[0].0;
            let mut faces = [NONE; 6];
            same.iter().for_each(|&(_, face)| faces[sheet.faces[face as usize].side as usize] = face);
            cells.push(Standing { x, faces });
            starts[(z * counts.y + y) as usize + 1] += 1;
        }
        for line in 1..starts.len() {
            starts[line] += starts[line - 1];
        }
        Self { cells, starts, counts }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.cells.is_empty()
    }

    fn line(&self, y: i32, z: i32) -> &[Standing] {
        let line = (z * self.counts.y + y) as usize;
        &self.cells[self.starts[line] as usize..self.starts[line + 1] as usize]
    }

    /// Calls with each face that looks to one of the sides, farther ones before those that can hide them. `eye` is where
    /// the viewer stands, in cells; an infinite coordinate is one that all cells lie on the same side of.
    pub(super) fn far_to_near(&self, eye: DVec3, shown: impl Fn(IVec3, Side) -> bool, mut each: impl FnMut(Drawn)) {
        let [ex, ey, ez] = [eye.x, eye.y, eye.z].map(layer);
        let mut draw = |standing: &Standing, y, z| {
            let cell = IVec3::new(standing.x, y, z);
            for (side, &face) in Side::ALL.into_iter().zip(&standing.faces) {
                if face != NONE && shown(cell, side) {
                    each(Drawn { cell, side, face });
                }
            }
        };
        for z in layers(self.counts.z, ez) {
            for y in layers(self.counts.y, ey) {
                let line = self.line(y, z);
                let (below, rest) = line.split_at(line.partition_point(|s| s.x < ex));
                let (own, above) = rest.split_at(rest.partition_point(|s| s.x == ex));
                below.iter().chain(above.iter().rev()).chain(own).for_each(|standing| draw(standing, y, z));
            }
        }
    }

    /// Every corner of a cell that has faces, in cells from the grid's origin.
    pub(super) fn corners(&self) -> impl Iterator<Item = DVec3> + '_ {
        let lines = (0..self.counts.z).flat_map(|z| (0..self.counts.y).map(move |y| (y, z)));
        lines.flat_map(move |(y, z)| {
            let ends = [self.line(y, z).first(), self.line(y, z).last()];
            let xs = [ends[0].map_or(0, |s| s.x), ends[1].map_or(0, |s| s.x + 1)];
            let corners = xs.map(|x| [[0, 0], [1, 0], [0, 1], [1, 1]].map(|[v, w]| IVec3::new(x, y + v, z + w)));
            let some = ends[0].is_some();
            corners.into_iter().flatten().filter(move |_| some).map(|corner| corner.as_dvec3())
        })
    }
}

/// The layer of cells that the eye is in.
fn layer(eye: f64) -> i32 {
    eye.floor().clamp(-1.0, f64::from(i32::MAX)) as i32
}

/// The layers along an axis, the eye's own last.
fn layers(count: i32, eye: i32) -> impl Iterator<Item = i32> {
    let below = 0..eye.clamp(0, count);
    let above = (eye.saturating_add(1).clamp(0, count)..count).rev();
    let own = (0..count).contains(&eye).then_some(eye);
    below.chain(above).chain(own)
}
