//! Solids made of blocks whose faces lie along the axes, at any distances, and their boundary in triangles.
//!
//! Coordinates are whole micrometres, so that faces which should meet do. The blocks' faces cut space into a grid of
//! unequal cells; each cell is empty or has a dress. Steps of the meshing:
//!
//! 1. the faces between a full and an empty cell, plane by plane, each with its ink;
//! 2. faces of one plane and one ink are joined into rectangles;
//! 3. rectangles become triangles that take in every corner of others on their edges (`crate::solid::rectangles`).
//!
//! Guarantees (checked in `super::tests`): every edge lies in exactly two triangles that run along it in opposite
//! directions, unless two cells touch in an edge alone; no triangle lacks area; normals look into the air; triangles end
//! where the ink changes.

use std::ops::Range;

use glam::DVec3;

use crate::Side;
use crate::solid::rectangles::{Rectangle, Sewn, join, sewn};

/// A box, in µm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Block {
    pub(super) low: [i32; 3],
    pub(super) high: [i32; 3],
}

/// What a block is covered with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub(super) enum Dress {
    /// Bare material.
    Bare = 1,
    /// Each face in the colour of the side that it looks to.
    Sides = 2,
    /// The dark of the numbers.
    Text = 3,
}

/// A rectangle on the top faces at one height that has an ink of its own, in µm.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Zone {
    pub(super) low: [i32; 2],
    pub(super) high: [i32; 2],
    pub(super) z: i32,
    /// The side whose colour it has.
    pub(super) colour: Side,
}

/// What a triangle carries.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Ink {
    Bare,
    Side(Side),
    Text,
}

/// Blocks in the order in which they are laid: a later one takes the place of what was there.
#[derive(Clone, Debug, Default)]
pub(super) struct Solid {
    laid: Vec<(Block, Option<Dress>)>,
    zones: Vec<Zone>,
}

impl Solid {
    pub(super) fn lay(&mut self, block: Block, dress: Dress) {
        self.laid.push((block, Some(dress)));
    }

    /// Takes away what lies in the block.
    pub(super) fn cut(&mut self, block: Block) {
        self.laid.push((block, None));
    }

    pub(super) fn paint(&mut self, zone: Zone) {
        self.zones.push(zone);
    }

    /// Its volume, in mm³, and the box around it.
    pub(super) fn volume(&self) -> f64 {
        let grid = self.grid();
        let width = |axis: usize, at: usize| f64::from(grid.lines[axis][at + 1] - grid.lines[axis][at]);
        let cells = grid.each().filter(|&cell| grid.dress(cell).is_some());
        cells.map(|[x, y, z]| width(0, x) * width(1, y) * width(2, z)).sum::<f64>() / 1e9
    }

    /// Lowest and highest corner of what was laid, in mm.
    pub(super) fn bounds(&self) -> [DVec3; 2] {
        let mm = |corner: [i32; 3]| DVec3::from_array(corner.map(|c| f64::from(c) / 1000.0));
        let laid = self.laid.iter().filter(|(_, dress)| dress.is_some());
        laid.fold([DVec3::MAX, DVec3::MIN], |[low, high], (block, _)| {
            [low.min(mm(block.low)), high.max(mm(block.high))]
        })
    }

    /// Its boundary.
    pub(super) fn mesh(&self) -> Sewn<Ink> {
        let grid = self.grid();
        sewn(&grid.rectangles(&self.zones), |corner| grid.place(corner))
    }

    fn grid(&self) -> Grid {
        let zone_lines = |axis: usize| {
            self.zones.iter().flat_map(move |z| if axis < 2 { vec![z.low[axis], z.high[axis]] } else { vec![z.z] })
        };
        let lines = [0, 1, 2].map(|axis| {
            let blocks = self.laid.iter().flat_map(|(block, _)| [block.low[axis], block.high[axis]]);
            let mut lines: Vec<i32> = blocks.chain(zone_lines(axis)).collect();
            lines.sort_unstable();
            lines.dedup();
            lines
        });
        let counts = [0, 1, 2].map(|axis: usize| lines[axis].len().saturating_sub(1));
        let mut grid = Grid { lines, counts, cells: vec![0; counts.iter().product()] };
        for (block, dress) in &self.laid {
            let [xs, ys, zs] = [0, 1, 2].map(|axis: usize| grid.span(axis, block.low[axis], block.high[axis]));
            for z in zs {
                for y in ys.clone() {
                    let row = grid.index([xs.start, y, z]);
                    grid.cells[row..row + xs.len()].fill(dress.map_or(0, |dress| dress as u8));
                }
            }
        }
        grid
    }
}

/// Unequal cells between lines.
struct Grid {
    /// Where the lines stand along each axis, in µm, upwards.
    lines: [Vec<i32>; 3],
    counts: [usize; 3],
    /// 0, or the cell's [`Dress`]; x runs fastest.
    cells: Vec<u8>,
}

impl Grid {
    fn index(&self, [x, y, z]: [usize; 3]) -> usize {
        (z * self.counts[1] + y) * self.counts[0] + x
    }

    fn each(&self) -> impl Iterator<Item = [usize; 3]> + '_ {
        let [nx, ny, _] = self.counts;
        (0..self.cells.len()).map(move |at| [at % nx, at / nx % ny, at / nx / ny])
    }

    fn dress(&self, cell: [usize; 3]) -> Option<Dress> {
        match self.cells[self.index(cell)] {
            0 => None,
            1 => Some(Dress::Bare),
            2 => Some(Dress::Sides),
            _ => Some(Dress::Text),
        }
    }

    /// The cells between two coordinates that are lines.
    fn span(&self, axis: usize, low: i32, high: i32) -> Range<usize> {
        let at = |value: i32| self.lines[axis].partition_point(|&line| line < value);
        at(low)..at(high)
    }

    /// The ink on a cell's face, if it looks into the air.
    fn face(&self, cell: [usize; 3], side: Side, zones: &[Zone]) -> Option<Ink> {
        let dress = self.dress(cell)?;
        let axis = side.axis();
        let mut beyond = cell;
        if side.positive() {
            beyond[axis] += 1;
            if beyond[axis] < self.counts[axis] && self.dress(beyond).is_some() {
                return None;
            }
        } else if cell[axis] > 0 {
            beyond[axis] -= 1;
            if self.dress(beyond).is_some() {
                return None;
            }
        }
        Some(match dress {
            Dress::Sides => Ink::Side(side),
            Dress::Text => Ink::Text,
            Dress::Bare if side == Side::Top => self.zone(cell, zones).map_or(Ink::Bare, Ink::Side),
            Dress::Bare => Ink::Bare,
        })
    }

    /// The colour of the zone over a cell's top, the last where several lie there.
    fn zone(&self, [x, y, z]: [usize; 3], zones: &[Zone]) -> Option<Side> {
        let [left, front, top] = [self.lines[0][x], self.lines[1][y], self.lines[2][z + 1]];
        let holds = |zone: &&Zone| {
            zone.z == top && (zone.low[0]..zone.high[0]).contains(&left) && (zone.low[1]..zone.high[1]).contains(&front)
        };
        zones.iter().rev().find(holds).map(|zone| zone.colour)
    }

    fn rectangles(&self, zones: &[Zone]) -> Vec<Rectangle<Ink>> {
        let mut rectangles = Vec::new();
        for side in Side::ALL {
            let axis = side.axis();
            let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
            let mut faces = vec![None; self.counts[u] * self.counts[v]];
            for layer in 0..self.counts[axis] {
                for (at, face) in faces.iter_mut().enumerate() {
                    let mut cell = [0; 3];
                    cell[axis] = layer;
                    cell[u] = at % self.counts[u];
                    cell[v] = at / self.counts[u];
                    *face = self.face(cell, side, zones);
                }
                let plane = (layer + usize::from(side.positive())) as u32;
                join(&mut faces, self.counts[u], |low, high, ink| {
                    rectangles.push(Rectangle { side, plane, low, high, ink });
                });
            }
        }
        rectangles
    }

    fn place(&self, corner: [u32; 3]) -> DVec3 {
        let [x, y, z] = corner.map(|line| line as usize);
        DVec3::new(f64::from(self.lines[0][x]), f64::from(self.lines[1][y]), f64::from(self.lines[2][z])) / 1000.0
    }
}
