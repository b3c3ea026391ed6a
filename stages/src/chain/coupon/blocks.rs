//! Solids made of blocks whose faces lie along the axes, at any distances, and their boundary in triangles.
//!
//! Coordinates are whole micrometres, so that faces which should meet do. The blocks' faces cut space into a grid of
//! unequal cells; each cell is empty or has a dress. Steps of the meshing:
//!
//! 1. the faces between a full and an empty cell, plane by plane, each with its ink;
//! 2. faces of one plane and one ink are joined into rectangles;
//! 3. a rectangle whose edges hold corners of other rectangles becomes a fan around its middle that takes them all in.
//!
//! Guarantees (checked in `super::tests`): every edge lies in exactly two triangles that run along it in opposite
//! directions, unless two cells touch in an edge alone; no triangle lacks area; normals look into the air; triangles end
//! where the ink changes.

use std::ops::Range;

use glam::DVec3;

use crate::Side;

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

/// A closed surface in mm, with the ink of each triangle.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Meshed {
    pub(super) points: Vec<DVec3>,
    pub(super) triangles: Vec<[u32; 3]>,
    pub(super) ink: Vec<Ink>,
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
    pub(super) fn mesh(&self) -> Meshed {
        let grid = self.grid();
        let rectangles = grid.rectangles(&self.zones);
        Sewing::new(&grid, &rectangles).sewn(&rectangles)
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

/// A rectangle of faces, by the numbers of the lines that bound it.
#[derive(Clone, Copy, Debug)]
struct Rectangle {
    side: Side,
    /// The line on which it stands, across its side's axis.
    plane: usize,
    low: [usize; 2],
    high: [usize; 2],
    ink: Ink,
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

    fn rectangles(&self, zones: &[Zone]) -> Vec<Rectangle> {
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
                let plane = layer + usize::from(side.positive());
                join(&mut faces, self.counts[u], |low, high, ink| {
                    rectangles.push(Rectangle { side, plane, low, high, ink });
                });
            }
        }
        rectangles
    }

    fn place(&self, [x, y, z]: [usize; 3]) -> DVec3 {
        DVec3::new(f64::from(self.lines[0][x]), f64::from(self.lines[1][y]), f64::from(self.lines[2][z])) / 1000.0
    }
}

/// Takes the faces of a plane away in rectangles of one ink: as wide as possible, then as high.
fn join(faces: &mut [Option<Ink>], width: usize, mut each: impl FnMut([usize; 2], [usize; 2], Ink)) {
    for at in 0..faces.len() {
        let Some(ink) = faces[at] else { continue };
        let (u, v) = (at % width, at / width);
        let same = |face: &&Option<Ink>| **face == Some(ink);
        let wide = faces[at..(v + 1) * width].iter().take_while(same).count();
        let mut high = v + 1;
        while (high + 1) * width <= faces.len()
            && faces[high * width + u..high * width + u + wide].iter().all(|face| *face == Some(ink))
        {
            high += 1;
        }
        for row in v..high {
            faces[row * width + u..row * width + u + wide].fill(None);
        }
        each([u, v], [u + wide, high], ink);
    }
}

impl Rectangle {
    /// The corners as numbers of lines, counter-clockwise seen from the air.
    fn corners(&self) -> [[usize; 3]; 4] {
        let axis = self.side.axis();
        let at = |u: usize, v: usize| {
            let mut corner = [0; 3];
            corner[axis] = self.plane;
            corner[(axis + 1) % 3] = u;
            corner[(axis + 2) % 3] = v;
            corner
        };
        let [low, high] = [self.low, self.high];
        let around = [at(low[0], low[1]), at(high[0], low[1]), at(high[0], high[1]), at(low[0], high[1])];
        if self.side.positive() { around } else { [around[0], around[3], around[2], around[1]] }
    }
}

/// Puts rectangles together with shared points.
struct Sewing<'a> {
    grid: &'a Grid,
    /// Every corner once, sorted: a corner's place is its number.
    corners: Vec<[usize; 3]>,
    /// For each axis the corners, with the coordinate along it last, sorted: those on one line stand together.
    along: [Vec<[usize; 3]>; 3],
}

/// The corner with its coordinate along `axis` last.
fn turned(corner: [usize; 3], axis: usize) -> [usize; 3] {
    [corner[(axis + 1) % 3], corner[(axis + 2) % 3], corner[axis]]
}

fn turned_back(corner: [usize; 3], axis: usize) -> [usize; 3] {
    let mut back = [0; 3];
    back[(axis + 1) % 3] = corner[0];
    back[(axis + 2) % 3] = corner[1];
    back[axis] = corner[2];
    back
}

impl<'a> Sewing<'a> {
    fn new(grid: &'a Grid, rectangles: &[Rectangle]) -> Self {
        let mut corners: Vec<_> = rectangles.iter().flat_map(Rectangle::corners).collect();
        corners.sort_unstable();
        corners.dedup();
        let along = [0, 1, 2].map(|axis| {
            let mut along: Vec<_> = corners.iter().map(|&corner| turned(corner, axis)).collect();
            along.sort_unstable();
            along
        });
        Self { grid, corners, along }
    }

    fn number(&self, corner: [usize; 3]) -> u32 {
        self.corners.partition_point(|&other| other < corner) as u32
    }

    /// The corners on the edge from one corner to the next, the first among them, the last not.
    fn edge(&self, from: [usize; 3], to: [usize; 3]) -> Vec<u32> {
        let axis = (0..3).find(|&axis| from[axis] != to[axis]).unwrap_or_default();
        let [a, b] = [turned(from, axis), turned(to, axis)];
        let line = &self.along[axis];
        let [low, high] = [a.min(b), a.max(b)];
        let range = line.partition_point(|&c| c < low)..=line.partition_point(|&c| c < high);
        let mut numbers: Vec<u32> = line[range].iter().map(|&c| self.number(turned_back(c, axis))).collect();
        if a > b {
            numbers.reverse();
        }
        numbers.pop();
        numbers
    }

    fn sewn(&self, rectangles: &[Rectangle]) -> Meshed {
        let mut meshed = Meshed::default();
        meshed.points.extend(self.corners.iter().map(|&corner| self.grid.place(corner)));
        for rectangle in rectangles {
            let corners = rectangle.corners();
            let ring: Vec<u32> = (0..4).flat_map(|i| self.edge(corners[i], corners[(i + 1) % 4])).collect();
            let mut triangle = |corners: [u32; 3]| {
                meshed.triangles.push(corners);
                meshed.ink.push(rectangle.ink);
            };
            if let &[a, b, c, d] = ring.as_slice() {
                triangle([a, b, c]);
                triangle([a, c, d]);
                continue;
            }
            let hub = meshed.points.len() as u32;
            for (i, &from) in ring.iter().enumerate() {
                triangle([hub, from, ring[(i + 1) % ring.len()]]);
            }
            meshed.points.push(self.grid.place(corners[0]).midpoint(self.grid.place(corners[2])));
        }
        meshed
    }
}
