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

use super::cavity::{SLACK, around};
use crate::solid::clearance::{Block, Met, Shore, nearest};
use crate::solid::skin::{each_cavity_face, face_corners, split};
use crate::solid::{Cells, Face};
use crate::void::Void;

/// Below this share of the wall a gap counts as closed: far below what any process resolves, far above rounding.
const CLOSE: f64 = 1e-9;
/// Each side of a triangle is sampled at this many places beyond its first.
const SAMPLES: usize = 4;
/// Most rounds of pushing triangles; `Shaped::thin` says where more would be needed.
const ROUNDS: usize = 24;
/// By which share of h a sample is pushed beyond the wall, in the first round. What a push lacks shrinks from round to
/// round by about half and would go on doing so for ever …
const BEYOND: f64 = 1e-4;
/// … so each round pushes farther beyond the wall than the last, up to this share.
const MOST_BEYOND: f64 = 1e-2;

/// What came out.
pub(super) struct Shaped {
    /// Where the corners lie.
    pub(super) moved: BTreeMap<[i32; 3], DVec3>,
    /// Corners near which the wall stayed too thin.
    pub(super) thin: Vec<IVec3>,
}

/// A corner of the cavity's boundary.
struct Corner {
    at: IVec3,
    /// Axes along which it may move.
    free: BVec3,
    /// On each axis: where the cavity's faces here look, −1, 0 (none, or both ways) or 1.
    outward: IVec3,
    /// The box within which it may move: its place on the lattice, and how far below and above that along each axis.
    home: DVec3,
    below: DVec3,
    above: DVec3,
}

impl Corner {
    /// The point pushed as far along `push` as it would go freely, by way of the axes along which it may still move.
    fn pushed(&self, point: DVec3, push: DVec3) -> DVec3 {
        let (low, high) = (self.home - self.below, self.home + self.above);
        let mut moved = point;
        // Each round at least one more axis comes to its end.
        for _ in 0..3 {
            let left = push.length_squared() - (moved - point).dot(push);
            let ended = (push.cmpgt(DVec3::ZERO) & moved.cmpge(high)) | (push.cmplt(DVec3::ZERO) & moved.cmple(low));
            let open = DVec3::select(self.free & !ended, push, DVec3::ZERO);
            if left <= 0.0 || open == DVec3::ZERO {
                break;
            }
            // At most doubled, lest an axis nearly across the push carries it all.
            moved = (moved + open * (left / open.length_squared()).min(2.0)).clamp(low, high);
        }
        moved
    }
}

/// How far a corner may move along an axis, as a share of h: short of where another may come to meet it …
const HALFWAY: f64 = 0.49;
/// … short of the next corner on the way into the cavity …
const INWARDS: f64 = 0.98;
/// … and outwards as far as a flat wall can lie: half a lattice cell, and the slack with which cells were chosen.
const OUTWARDS: f64 = 0.5 + SLACK;

/// Moves the corners of the void's cavity.
pub(super) fn shape(cells: &Cells, void: &Void) -> Shaped {
    let mut faces = Vec::new();
    each_cavity_face(void, |face| faces.push(face));
    let corners = corners(cells, void, &faces);
    let order_of_all: Vec<[i32; 3]> = corners.iter().map(|c| order(c.at)).collect();
    let place =
        |at: IVec3| order_of_all.binary_search(&order(at)).expect("every corner of a face is one of the corners");
    let mould = Mould { shore: Shore::of(cells), wall: void.wall, edge: void.cavity.grid().cell };
    let mut points: Vec<DVec3> = corners.par_iter().map(|c| mould.settle(c)).collect();
    let quads: Vec<[usize; 4]> = faces.par_iter().map(|&face| face_corners(face).map(place)).collect();
    let thin = mould.push(&corners, &quads, &mut points);
    Shaped {
        moved: corners.iter().zip(&points).map(|(c, &p)| (order(c.at), p)).collect(),
        thin: thin.into_iter().map(|i| corners[i].at).collect(),
    }
}

fn order(corner: IVec3) -> [i32; 3] {
    [corner.z, corner.y, corner.x]
}

/// The corners of all faces between cavity and material, in the order of the lattice.
fn corners(cells: &Cells, void: &Void, faces: &[Face]) -> Vec<Corner> {
    // The cavity looks towards the material: against the face's own side.
    let looks_of = |face: &Face| face_corners(*face).map(|corner| (order(corner), 1u8 << face.side.opposite() as u8));
    let mut looks: Vec<([i32; 3], u8)> = faces.par_iter().flat_map_iter(looks_of).collect();
    looks.par_sort_unstable();
    looks.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 |= next.1;
        }
        same
    });
    let is_corner = |at: IVec3| looks.binary_search_by_key(&order(at), |&(at, _)| at).is_ok();
    let edge = void.cavity.grid().cell;
    let corner = |&([z, y, x], sides): &([i32; 3], u8)| {
        let at = IVec3::new(x, y, z);
        let looks = |side: usize| i32::from(sides >> side & 1);
        let outward = [0, 1, 2].map(|axis| looks(2 * axis) - looks(2 * axis + 1));
        let outward = IVec3::from_array(outward);
        let reach = |way: IVec3, alone: f64| edge * if faces_another(at, way, is_corner) { HALFWAY } else { alone };
        let (inward, outwards) = (reach(-outward, INWARDS), reach(outward, OUTWARDS));
        // Below its place lies the inside of the cavity where its faces look up, and the other way round.
        let (mut below, mut above) = (DVec3::splat(edge * HALFWAY), DVec3::splat(edge * HALFWAY));
        for axis in 0..3 {
            match outward[axis] {
                1 => (below[axis], above[axis]) = (inward, outwards),
                -1 => (below[axis], above[axis]) = (outwards, inward),
                _ => {}
            }
        }
        Corner { at, free: free_axes(cells, void, at), outward, home: void.place(at), below, above }
    };
    looks.par_iter().map(corner).collect()
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

/// What the corners are moved against.
struct Mould<'a> {
    shore: Shore<'a>,
    wall: f64,
    edge: f64,
}

impl Mould<'_> {
    /// Steps 1 and 2 for one corner.
    fn settle(&self, corner: &Corner) -> DVec3 {
        let mut blocks = Vec::new();
        self.shore.blocks_near(corner.home, self.wall + 2.0 * self.edge, &mut blocks);
        let mut point = corner.home;
        for _ in 0..8 {
            let Some(way) = nearest(&blocks, point) else { break };
            let gap = self.wall - way.length();
            if gap <= 0.0 {
                break;
            }
            point = corner.pushed(point, way.normalize_or_zero() * gap);
        }
        for axis in (0..3).filter(|&axis| corner.free.test(axis) && corner.outward[axis] != 0) {
            point = self.outwards(&blocks, corner, point, axis);
        }
        point
    }

    /// Moves a point along an axis as far as the wall and its box allow.
    fn outwards(&self, blocks: &[Block], corner: &Corner, mut point: DVec3, axis: usize) -> DVec3 {
        let up = corner.outward[axis] > 0;
        let limit = if up { corner.home[axis] + corner.above[axis] } else { corner.home[axis] - corner.below[axis] };
        let ends = blocks.iter().filter_map(|block| block.stops(point, axis, up, self.wall));
        let end =
            if up { ends.fold(limit, f64::min).max(point[axis]) } else { ends.fold(limit, f64::max).min(point[axis]) };
        point[axis] = end;
        point
    }

    /// Step 3. Gives the corners of triangles that stayed too near to the outside.
    fn push(&self, corners: &[Corner], quads: &[[usize; 4]], points: &mut [DVec3]) -> Vec<usize> {
        let mut active: Vec<usize> = (0..quads.len()).collect();
        let mut of_corner: Vec<Vec<u32>> = vec![Vec::new(); corners.len()];
        for (q, quad) in quads.iter().enumerate() {
            for &c in quad {
                of_corner[c].push(q as u32);
            }
        }
        for round in 0..ROUNDS {
            let beyond = self.edge * (BEYOND * (1u64 << round) as f64).min(MOST_BEYOND);
            let pushes: Vec<[(usize, DVec3); 6]> =
                active.par_iter().filter_map(|&q| self.pushes(quads[q], points, beyond)).collect();
            if pushes.is_empty() {
                return Vec::new();
            }
            // The strongest push on a corner wins; of equals the first.
            let mut strongest: BTreeMap<usize, DVec3> = BTreeMap::new();
            for (corner, push) in pushes.into_iter().flatten() {
                let known = strongest.entry(corner).or_insert(DVec3::ZERO);
                if push.length_squared() > known.length_squared() {
                    *known = push;
                }
            }
            active.clear();
            for (corner, push) in strongest {
                points[corner] = corners[corner].pushed(points[corner], push);
                active.extend(of_corner[corner].iter().map(|&q| q as usize));
            }
            active.sort_unstable();
            active.dedup();
        }
        let mut thin: Vec<usize> =
            active.iter().filter(|&&q| self.pushes(quads[q], points, 0.0).is_some()).flat_map(|&q| quads[q]).collect();
        thin.sort_unstable();
        thin.dedup();
        thin
    }

    /// How the corners of a quad's two triangles have to be pushed to keep the wall and `beyond` more, or `None` where
    /// the wall holds.
    fn pushes(&self, quad: [usize; 4], points: &[DVec3], beyond: f64) -> Option<[(usize, DVec3); 6]> {
        let corners = quad.map(|c| points[c]);
        let middle = corners.iter().sum::<DVec3>() / 4.0;
        let size = corners.iter().map(|c| (*c - middle).length()).fold(0.0, f64::max);
        let mut blocks = Vec::new();
        self.shore.blocks_near(middle, self.wall + 2.0 * size, &mut blocks);
        blocks.retain(|block| !self.surely_clear(block, corners, size));
        if blocks.is_empty() {
            return None;
        }
        let mut pushes = [(quad[0], DVec3::ZERO); 6];
        let mut any = false;
        for (half, triangle) in split(corners).into_iter().enumerate() {
            let push = self.lacking(triangle.map(|i| corners[i]), &blocks, beyond);
            for (slot, i) in triangle.into_iter().enumerate() {
                let weighted = push.map_or(DVec3::ZERO, |p| p[slot]);
                pushes[3 * half + slot] = (quad[i], weighted);
            }
            any |= push.is_some();
        }
        any.then_some(pushes)
    }

    /// Whether the wall holds against a block all over a quad of that size, as its corners alone tell: the block is met
    /// at one face by all of them, or lies farther than the distance can bend in between.
    fn surely_clear(&self, block: &Block, corners: [DVec3; 4], size: f64) -> bool {
        let ways = corners.map(|corner| block.to(corner));
        let least = ways.iter().map(|way| way.length_squared()).fold(f64::INFINITY, f64::min);
        // Both triangles lie in a circle of that radius; a tenth more than covers what samples may miss.
        let bend = 1.1 * size * size / (2.0 * self.wall);
        least > (self.wall + bend).powi(2)
            || (least >= (self.wall * (1.0 - CLOSE)).powi(2)
                && ways.iter().all(|&way| block.met(way) == Met::Face && way.dot(ways[0]) > 0.0))
    }

    /// By how much each corner of a triangle has to move so that its worst sample keeps the wall and `beyond` more; `None`
    /// where the wall holds.
    fn lacking(&self, triangle: [DVec3; 3], blocks: &[Block], beyond: f64) -> Option<[DVec3; 3]> {
        let [a, b, c] = triangle;
        let longest2 = (a - b).length_squared().max((b - c).length_squared()).max((c - a).length_squared());
        // Jung: the enclosing circle of a triangle has at most the radius √(longest²/3); samples cut it SAMPLES times finer.
        let missed = longest2 / (3.0 * (SAMPLES * SAMPLES) as f64) / (2.0 * self.wall);
        let samples = WEIGHTS.map(|weights| blend(triangle, weights));
        let mut worst: Option<(f64, [f64; 3], DVec3)> = None;
        for block in blocks {
            let (mut nearest, mut curved) = ((f64::INFINITY, [0.0; 3], DVec3::ZERO), false);
            for (weights, &sample) in WEIGHTS.iter().zip(&samples) {
                let way = block.to(sample);
                let met = block.met(way);
                if met == Met::Behind {
                    continue;
                }
                curved |= met == Met::Around;
                let distance = way.length();
                if distance < nearest.0 {
                    nearest = (distance, *weights, way);
                }
            }
            let lack = self.wall + if curved { missed } else { 0.0 } - nearest.0;
            if lack > CLOSE * self.wall && worst.is_none_or(|(most, ..)| lack > most) {
                worst = Some((lack, nearest.1, nearest.2.normalize_or_zero()));
            }
        }
        // The smallest moves of the corners that move the sample by the lack (least squares over the weights).
        worst.map(|(lack, weights, way)| {
            let total: f64 = weights.iter().map(|w| w * w).sum();
            weights.map(|w| way * ((lack + beyond) * w / total))
        })
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

fn blend(corners: [DVec3; 3], weights: [f64; 3]) -> DVec3 {
    corners[0] * weights[0] + corners[1] * weights[1] + corners[2] * weights[2]
}
