//! The shape of the cavity's boundary: its lattice corners moved to the surface at the wall's distance from the outside.
//!
//! Notation: w the wall, h the edge of a lattice cell, d(p) the exact distance of a point p from the outside.
//!
//! Steps
//! 1. A corner with d < w moves straight away from the nearest block of air until d = w.
//! 2. A corner moves outwards along each axis on which the cavity has a face there, as far as d ≥ w allows. Flat walls
//!    come out flat and their edges sharp, as the exact offset has them.
//! 3. Around the inner edges of the solid the exact offset is a rounded surface that bulges into the cavity, and the
//!    chord between two corners on it dips below w. Each triangle is sampled, and its corners are pushed away from the
//!    outside until every sample keeps w plus what may be missed between samples.
//!
//! No corner moves along an axis by as much as h/2 where another corner of the boundary lies ahead; so no two corners
//! meet, and neighbours stay in order. A corner on the wall of a shaft moves within that wall only.
//!
//! What may be missed: the distance to one block is convex with a second derivative of at most 1/d ≤ 1/w where the block
//! is met at an edge or a corner, and linear where it is met at a face throughout. (Blocks behind a nearer neighbour do
//! not count.) Linear interpolation over a triangle whose smallest enclosing circle has radius r errs by at most r²/(2w)
//! (Waldron 1998, "The error in linear interpolation at the vertices of a simplex").
//!
//! Rejected: the lattice cells themselves as cavity, no corners moved. A cell wholly behind the wall stands off a slanted
//! one by up to √3 h, so a few per cent of the wall would need a lattice many times finer, in triangles its square.

use std::collections::BTreeMap;

use glam::{BVec3, DVec3, IVec3};
use rayon::prelude::*;

use super::boundary::{Boundary, Corner, Quad};
use super::cavity::SLACK;
use crate::solid::clearance::{Block, Met, Shore, nearest};
use crate::solid::skin::split;
use crate::solid::{Cells, Grid};
use crate::void::{self, Void};

/// Below this share of the wall a gap counts as closed: far below what any process resolves, far above rounding.
const CLOSE: f64 = 1e-9;
/// Each side of a triangle is sampled at this many places beyond its first.
const SAMPLES: usize = 4;
/// Most rounds of pushing triangles; where more would be needed, the corners are told as thin.
const ROUNDS: usize = 24;
/// By which share of h a sample is pushed beyond the wall, in the first round. What is lacking shrinks from round to round
/// by about half, and would go on doing so until the rounds are over, far below what matters …
const BEYOND: f64 = 1e-6;
/// … so each round pushes so many times farther beyond the wall than the last: where it is reached soon, as nearly
/// everywhere, the wall stays as thin as it may be …
const FARTHER: f64 = 4.0;
/// … up to this share.
const MOST_BEYOND: f64 = 0.03;

/// How far off their cell the blocks lie against which points are held, less w, as a share of h: a moved corner lies less
/// than √3 h off its cell, and what may be missed is less than h / 6 even for a triangle as large as its corners allow.
const REACH: f64 = 2.0;

/// How far a corner may move along an axis, as a share of h: short of where another may come to meet it …
const HALFWAY: f64 = 0.49;
/// … short of the next corner on the way into the cavity …
const INWARDS: f64 = 0.98;
/// … and outwards as far as a flat wall can lie: half a lattice cell, and the slack with which cells were chosen.
const OUTWARDS: f64 = 0.5 + SLACK;

/// A cavity in the making. It may be shaped again and again as it gives way: what stayed as it was keeps its shape.
pub(super) struct Mould<'a> {
    cells: &'a Cells,
    shore: Shore,
    wall: f64,
    /// The edge of a lattice cell.
    edge: f64,
    per_cell: i32,
    /// The grid of the solid, on which the lattice's places are counted.
    grid: Grid,
    boundary: Boundary,
    /// Where the corners of the boundary lie.
    points: Vec<DVec3>,
}

impl<'a> Mould<'a> {
    /// For cavities of a solid.
    pub(super) fn new(cells: &'a Cells, void: &Void) -> Self {
        let (wall, edge) = (void.wall, void.cavity.grid().cell);
        let shore = Shore::of(cells, wall + REACH * edge, edge);
        let boundary = Boundary::none(void);
        Self { cells, shore, wall, edge, per_cell: void.per_cell, grid: *cells.grid(), boundary, points: Vec::new() }
    }

    /// Moves the corners of the void's cavity. Gives those near which the wall stayed too thin.
    pub(super) fn shape(&mut self, void: &Void) -> Vec<IVec3> {
        let boundary = Boundary::of(self.cells, void);
        let cells: Vec<IVec3> = boundary.corners.iter().map(|corner| self.cell_of(corner.at)).collect();
        self.shore.list(cells.into_iter().chain(boundary.quads.iter().map(|quad| quad.behind)));
        let kept = |corner: &Corner| {
            let before = self.boundary.numbers.number(corner.at)?;
            (self.boundary.corners[before] == *corner).then(|| self.points[before])
        };
        let kept: Vec<Option<DVec3>> = boundary.corners.par_iter().map(kept).collect();
        let place = |(corner, kept): (&Corner, &Option<DVec3>)| kept.unwrap_or_else(|| self.settle(corner));
        let mut points: Vec<DVec3> = boundary.corners.par_iter().zip(&kept).map(place).collect();
        let new = boundary.quads.iter().map(|quad| quad.corners.iter().any(|&c| kept[c as usize].is_none()));
        let thin = self.push(&boundary, new.collect(), &mut points);
        let thin = thin.into_iter().map(|c| boundary.corners[c].at).collect();
        (self.boundary, self.points) = (boundary, points);
        thin
    }

    /// Where the corners lie, by `[z, y, x]`, in mm.
    pub(super) fn moved(&self) -> BTreeMap<[i32; 3], DVec3> {
        let order = |at: IVec3| [at.z, at.y, at.x];
        self.boundary.corners.iter().zip(&self.points).map(|(corner, &point)| (order(corner.at), point)).collect()
    }

    /// The cell of the solid with that lattice corner in it or at its lower end.
    fn cell_of(&self, corner: IVec3) -> IVec3 {
        corner.div_euclid(IVec3::splat(self.per_cell)).min(self.grid.counts - 1)
    }

    /// Where a corner may move.
    fn room(&self, corner: &Corner) -> Room {
        let home = void::place(&self.grid, self.per_cell, corner.at);
        let reach = |faces: bool, alone: f64| self.edge * if faces { HALFWAY } else { alone };
        let (inward, outwards) = (reach(corner.faces_inwards, INWARDS), reach(corner.faces_outwards, OUTWARDS));
        // Below its place lies the inside of the cavity where its faces look up, and the other way round.
        let (mut below, mut above) = (DVec3::splat(self.edge * HALFWAY), DVec3::splat(self.edge * HALFWAY));
        for axis in 0..3 {
            match corner.outward[axis] {
                1 => (below[axis], above[axis]) = (inward, outwards),
                -1 => (below[axis], above[axis]) = (outwards, inward),
                _ => {}
            }
        }
        Room { free: corner.free, home, low: home - below, high: home + above }
    }

    /// Steps 1 and 2 for one corner.
    fn settle(&self, corner: &Corner) -> DVec3 {
        let blocks = self.shore.blocks(self.cell_of(corner.at));
        let room = self.room(corner);
        let mut point = room.home;
        for _ in 0..8 {
            let Some(way) = nearest(blocks.clone(), point) else { break };
            let gap = self.wall - way.length();
            if gap <= 0.0 {
                break;
            }
            point = room.pushed(point, way.normalize_or_zero() * gap);
        }
        for axis in (0..3).filter(|&axis| room.free.test(axis) && corner.outward[axis] != 0) {
            let up = corner.outward[axis] > 0;
            let ends = blocks.clone().filter_map(|block| block.stops(point, axis, up, self.wall));
            // As far outwards as the wall and its room allow.
            point[axis] = if up {
                ends.fold(room.high[axis], f64::min).max(point[axis])
            } else {
                ends.fold(room.low[axis], f64::max).min(point[axis])
            };
        }
        point
    }

    /// Step 3, for the quads that are `wanted` and what moves with them. Gives the numbers of the corners of triangles that
    /// stayed too near to the outside.
    fn push(&self, boundary: &Boundary, mut wanted: Vec<bool>, points: &mut [DVec3]) -> Vec<usize> {
        let quads = &boundary.quads;
        let beside = Beside::of(boundary);
        let mut strongest = vec![DVec3::ZERO; points.len()];
        let mut share = BEYOND;
        for _ in 0..ROUNDS {
            let beyond = self.edge * share;
            share = (share * FARTHER).min(MOST_BEYOND);
            let active: Vec<u32> = (0..quads.len() as u32).filter(|&q| wanted[q as usize]).collect();
            wanted.fill(false);
            let pushed = |&q: &u32| Some((q, self.pushes(&quads[q as usize], points, beyond)?));
            let pushes: Vec<(u32, [DVec3; 4])> = active.par_iter().filter_map(pushed).collect();
            if pushes.is_empty() {
                return Vec::new();
            }
            let of_corners =
                || pushes.iter().flat_map(|(q, pushes)| quads[*q as usize].corners.into_iter().zip(pushes));
            for (corner, &push) in of_corners() {
                stronger(&mut strongest[corner as usize], push);
            }
            for (corner, _) in of_corners() {
                let corner = corner as usize;
                let push = std::mem::replace(&mut strongest[corner], DVec3::ZERO);
                if push != DVec3::ZERO {
                    points[corner] = self.room(&boundary.corners[corner]).pushed(points[corner], push);
                    beside.quads(corner).iter().for_each(|&q| wanted[q as usize] = true);
                }
            }
        }
        let thin =
            quads.iter().zip(&wanted).filter(|(quad, wanted)| **wanted && self.pushes(quad, points, 0.0).is_some());
        let mut thin: Vec<usize> = thin.flat_map(|(quad, _)| quad.corners.map(|c| c as usize)).collect();
        thin.sort_unstable();
        thin.dedup();
        thin
    }

    /// How the corners of a quad have to be pushed so that its two triangles keep the wall and `beyond` more, or `None`
    /// where the wall holds.
    fn pushes(&self, quad: &Quad, points: &[DVec3], beyond: f64) -> Option<[DVec3; 4]> {
        let corners = quad.corners.map(|c| points[c as usize]);
        let middle = (corners[0] + corners[1] + corners[2] + corners[3]) / 4.0;
        let size2 = corners.iter().map(|c| (*c - middle).length_squared()).fold(0.0, f64::max);
        // Both triangles lie in a circle of that radius; a tenth more than covers what samples may miss.
        let clear = self.wall + 1.1 * size2 / (2.0 * self.wall);
        let near2 = (clear + size2.sqrt()).powi(2);
        let near = |block: &Block| block.to(middle).length_squared() < near2;
        let mut blocks = self.shore.blocks(quad.behind).filter(|b| near(b) && !self.surely_clear(b, &corners, clear));
        let first = blocks.next()?;
        let halves = split(corners);
        let [mut one, mut other] = halves.map(|half| Triangle::of(half.map(|i| corners[i]), self.wall));
        for block in std::iter::once(first).chain(blocks) {
            one.meet(block);
            other.meet(block);
        }
        if one.worst.is_none() && other.worst.is_none() {
            return None;
        }
        let mut pushes = [DVec3::ZERO; 4];
        for (half, triangle) in halves.iter().zip([&one, &other]) {
            for (&i, push) in half.iter().zip(triangle.pushes(beyond)) {
                stronger(&mut pushes[i], push);
            }
        }
        Some(pushes)
    }

    /// Whether the wall holds against a block all over a quad, as its corners alone tell: the block is met at one face by
    /// all of them, or is `clear`: farther than the distance can bend in between.
    fn surely_clear(&self, block: &Block, corners: &[DVec3; 4], clear: f64) -> bool {
        let [a, b, c, d] = corners;
        let ways = [block.to(*a), block.to(*b), block.to(*c), block.to(*d)];
        let least = ways.iter().map(|way| way.length_squared()).fold(f64::INFINITY, f64::min);
        least > clear * clear
            || (least >= (self.wall * (1.0 - CLOSE)).powi(2)
                && ways.iter().all(|&way| block.met(way) == Met::Face && way.dot(ways[0]) > 0.0))
    }
}

/// About how many blocks of air are listed for a cell on the cavity's boundary: those of a flat outside that are a wall's
/// distance off and within reach. Lengths in mm.
pub(super) fn blocks_listed(cell: f64, per_cell: f64, wall: f64) -> f64 {
    let reach = wall + REACH * cell / per_cell;
    std::f64::consts::PI * (reach * reach - wall * wall) / (cell * cell)
}

/// Where a corner may move: along some axes, within a box around its place on the lattice.
struct Room {
    free: BVec3,
    home: DVec3,
    low: DVec3,
    high: DVec3,
}

impl Room {
    /// The point pushed as far along `push` as it would go freely, by way of the axes along which it may still move.
    fn pushed(&self, point: DVec3, push: DVec3) -> DVec3 {
        let mut moved = point;
        // Each round at least one more axis comes to its end.
        for _ in 0..3 {
            let left = push.length_squared() - (moved - point).dot(push);
            let ended =
                (push.cmpgt(DVec3::ZERO) & moved.cmpge(self.high)) | (push.cmplt(DVec3::ZERO) & moved.cmple(self.low));
            let open = DVec3::select(self.free & !ended, push, DVec3::ZERO);
            if left <= 0.0 || open == DVec3::ZERO {
                break;
            }
            // At most doubled, lest an axis nearly across the push carries it all.
            moved = (moved + open * (left / open.length_squared()).min(2.0)).clamp(self.low, self.high);
        }
        moved
    }
}

/// Which quads lie beside each corner.
struct Beside {
    starts: Vec<u32>,
    quads: Vec<u32>,
}

impl Beside {
    fn of(boundary: &Boundary) -> Self {
        let mut starts = vec![0u32; boundary.corners.len() + 1];
        let corners = || boundary.quads.iter().flat_map(|quad| quad.corners);
        corners().for_each(|corner| starts[corner as usize + 1] += 1);
        for corner in 1..starts.len() {
            starts[corner] += starts[corner - 1];
        }
        let mut next = starts.clone();
        let mut quads = vec![0; 4 * boundary.quads.len()];
        for (at, corner) in corners().enumerate() {
            let slot = &mut next[corner as usize];
            quads[*slot as usize] = at as u32 / 4;
            *slot += 1;
        }
        Self { starts, quads }
    }

    fn quads(&self, corner: usize) -> &[u32] {
        &self.quads[self.starts[corner] as usize..self.starts[corner + 1] as usize]
    }
}

/// A triangle that is held against blocks, one after the other.
struct Triangle {
    wall: f64,
    samples: [DVec3; WEIGHTS.len()],
    /// What may be missed between the samples where a block is not met at a face.
    missed: f64,
    /// By how much a sample lacks the wall, which one, and the way to it from the block: of the block that lacks most.
    worst: Option<(f64, usize, DVec3)>,
}

impl Triangle {
    fn of(corners: [DVec3; 3], wall: f64) -> Self {
        let [a, b, c] = corners;
        let longest2 = (a - b).length_squared().max((b - c).length_squared()).max((c - a).length_squared());
        // Jung: the enclosing circle of a triangle has at most the radius √(longest²/3); samples cut it SAMPLES times finer.
        let missed = longest2 / (3.0 * (SAMPLES * SAMPLES) as f64) / (2.0 * wall);
        let mut samples = [DVec3::ZERO; WEIGHTS.len()];
        for (sample, [i, j, k]) in samples.iter_mut().zip(WEIGHTS) {
            *sample = a * i + b * j + c * k;
        }
        Self { wall, samples, missed, worst: None }
    }

    fn meet(&mut self, block: &Block) {
        let (mut nearest, mut curved) = ((f64::INFINITY, 0, DVec3::ZERO), false);
        for (number, &sample) in self.samples.iter().enumerate() {
            let way = block.to(sample);
            let met = block.met(way);
            if met == Met::Behind {
                continue;
            }
            curved |= met == Met::Around;
            let squared = way.length_squared();
            if squared < nearest.0 {
                nearest = (squared, number, way);
            }
        }
        let (squared, number, way) = nearest;
        let lack = self.wall + if curved { self.missed } else { 0.0 } - squared.sqrt();
        if lack > CLOSE * self.wall && self.worst.is_none_or(|(most, ..)| lack > most) {
            self.worst = Some((lack, number, way));
        }
    }

    /// By how much each corner has to move so that the worst sample keeps the wall and `beyond` more: not at all where the
    /// wall holds.
    fn pushes(&self, beyond: f64) -> [DVec3; 3] {
        let Some((lack, number, way)) = self.worst else { return [DVec3::ZERO; 3] };
        // The smallest moves of the corners that move the sample so far (least squares over the weights).
        let (weights, way) = (WEIGHTS[number], way.normalize_or_zero());
        let total: f64 = weights.iter().map(|w| w * w).sum();
        weights.map(|w| way * ((lack + beyond) * w / total))
    }
}

/// Of two pushes the stronger wins; of equals the first.
fn stronger(known: &mut DVec3, push: DVec3) {
    if push.length_squared() > known.length_squared() {
        *known = push;
    }
}

/// The weights of the samples of a triangle.
static WEIGHTS: [[f64; 3]; (SAMPLES + 1) * (SAMPLES + 2) / 2] = weights();

const fn weights() -> [[f64; 3]; (SAMPLES + 1) * (SAMPLES + 2) / 2] {
    let mut weights = [[0.0; 3]; (SAMPLES + 1) * (SAMPLES + 2) / 2];
    let (mut at, mut i) = (0, 0);
    while i <= SAMPLES {
        let mut j = 0;
        while j <= SAMPLES - i {
            let share = SAMPLES as f64;
            weights[at] = [i as f64 / share, j as f64 / share, (SAMPLES - i - j) as f64 / share];
            (at, j) = (at + 1, j + 1);
        }
        i += 1;
    }
    weights
}
