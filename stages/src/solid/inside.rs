//! Which cell centres lie inside a surface: generalized winding number above one half.
//!
//! Steps
//! 1. Neighbouring triangles are turned alike ([`super::chain`]).
//! 2. The rim ∂S is joined to its own middles by cones (the cap C), so that S + C is closed.
//! 3. Around a closed surface the winding number is a whole number: the signed crossings of S + C along each line of cell
//!    centres, counted from the far left. Whether a line meets a triangle is decided in the (y, z) plane by exact
//!    predicates (Shewchuk 1997) with a tie rule, so that a line through an edge or a corner counts it once.
//! 4. The winding number of S alone is that number less the one of C, which is summed over a tree ([`super::winding`]),
//!    and only where it can matter: far from every hole |w(C)| is below ½ and cannot change the answer of step 3 …
//!    provided that step 3 says at least 1 or at most 0, which whole numbers do.
//! 5. Of a model that is inside out more cells lie below −½ than above ½: those are its inside. (The sign of the volume by
//!    the divergence theorem would not do: of an open model it depends on where the origin lies.)
//!
//! This gives the same cells as summing all solid angles for every centre (step 4 alone, with C empty and S in the tree)
//! while the costly sum runs over the holes' rims instead of all triangles. The decomposition into crossings and a cap
//! is known for closed curves and surfaces from the winding number's topological definition; tests compare with the
//! plain sum.

use glam::{DVec3, IVec3};
use rayon::prelude::*;
use robust::{Coord, orient2d};

use super::chain;
use super::winding::Winding;
use super::{Cells, Grid, Surface};

/// How inside and outside were told apart.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Told {
    /// Triangles turned to agree with their neighbours.
    pub turned: usize,
    /// Whether the model as a whole was inside out.
    pub inside_out: bool,
    /// Edges on the rims of holes, with multiplicity.
    pub rim_edges: usize,
    /// Cells for which the rims' own winding number had to be summed.
    pub summed: usize,
}

/// The cells whose centres lie inside the surface.
#[must_use]
pub fn solid_cells(surface: &Surface, grid: Grid) -> (Cells, Told) {
    let (surface, turned) = chain::turned_alike(surface);
    let rim = chain::rim(surface.triangles());
    let cap = chain::cap(&surface, &rim);
    let rim_edges = cap.len();
    let crossed = Crossings::new(surface.each_triangle().chain(cap.iter().copied()).collect(), grid);
    let cap = Winding::new(cap);
    let blocks = near_rims(&cap, &grid);

    let layers: Vec<Layer> = (0..grid.counts.z).into_par_iter().map(|k| crossed.layer(k, &cap, &blocks)).collect();
    let count = |inside_out: bool| -> usize {
        layers.iter().flat_map(|layer| layer.inside(inside_out)).map(|word| word.count_ones() as usize).sum()
    };
    let inside_out = count(true) > count(false);
    let words_a_line = (grid.counts.x as usize).div_ceil(64);
    let cells = Cells::from_lines(grid, |j, k, line| {
        let start = j as usize * words_a_line;
        line.copy_from_slice(&layers[k as usize].inside(inside_out)[start..start + words_a_line]);
    });
    let summed = layers.iter().map(|layer| layer.summed).sum();
    (cells, Told { turned, inside_out, rim_edges, summed })
}

/// One layer of cells, line by line.
struct Layer {
    /// One bit a cell: winding number above ½.
    above: Vec<u64>,
    /// One bit a cell: winding number below −½.
    below: Vec<u64>,
    /// For how many cells the cap was summed.
    summed: usize,
}

impl Layer {
    fn inside(&self, inside_out: bool) -> &[u64] {
        if inside_out { &self.below } else { &self.above }
    }
}

/// Edge of the blocks of cells in which a bound on the cap's winding number is kept.
const BLOCK: i32 = 8;

/// The blocks of cells in which the cap's winding number may reach one half.
struct Blocks {
    counts: IVec3,
    near: Vec<bool>,
}

impl Blocks {
    fn near(&self, cell: IVec3) -> bool {
        let b = cell / BLOCK;
        !self.near.is_empty() && self.near[((b.z * self.counts.y + b.y) * self.counts.x + b.x) as usize]
    }
}

fn near_rims(cap: &Winding, grid: &Grid) -> Blocks {
    let counts = (grid.counts + BLOCK - 1) / BLOCK;
    let total = counts.as_i64vec3().element_product();
    // Half the block's diagonal, from its middle to its corner cells' far corners.
    let radius = f64::from(BLOCK) * grid.cell * 3f64.sqrt() / 2.0;
    let near = (0..total)
        .into_par_iter()
        .map(|at| {
            let (nx, ny) = (i64::from(counts.x), i64::from(counts.y));
            let block = IVec3::new((at % nx) as i32, (at / nx % ny) as i32, (at / nx / ny) as i32);
            let middle = grid.corner(block * BLOCK + BLOCK / 2);
            // The expansion may be off by 1 %: ask from 0.49 on.
            cap.bound(middle, radius) > 0.49
        })
        .collect();
    Blocks { counts, near }
}

/// All triangles, sorted by the layers of cell centres that they reach.
struct Crossings {
    grid: Grid,
    triangles: Vec<[DVec3; 3]>,
    /// Triangles that reach layer `k`: `reach[starts[k]..starts[k + 1]]`.
    reach: Vec<u32>,
    starts: Vec<usize>,
}

impl Crossings {
    fn new(triangles: Vec<[DVec3; 3]>, grid: Grid) -> Self {
        let layers = |t: &[DVec3; 3]| {
            let (lo, hi) = (t[0].z.min(t[1].z).min(t[2].z), t[0].z.max(t[1].z).max(t[2].z));
            centres_between(lo, hi, grid.origin.z, grid.cell, grid.counts.z)
        };
        let mut starts = vec![0usize; grid.counts.z as usize + 1];
        for triangle in &triangles {
            for k in layers(triangle) {
                starts[k as usize + 1] += 1;
            }
        }
        for k in 0..grid.counts.z as usize {
            starts[k + 1] += starts[k];
        }
        let mut next = starts.clone();
        let mut reach = vec![0u32; starts[grid.counts.z as usize]];
        for (t, triangle) in triangles.iter().enumerate() {
            for k in layers(triangle) {
                reach[next[k as usize]] = t as u32;
                next[k as usize] += 1;
            }
        }
        Self { grid, triangles, reach, starts }
    }

    fn layer(&self, k: i32, cap: &Winding, blocks: &Blocks) -> Layer {
        let (nx, ny) = (self.grid.counts.x as usize, self.grid.counts.y as usize);
        let steps = self.steps(k);
        let words_a_line = nx.div_ceil(64);
        let words = vec![0u64; words_a_line * ny];
        let mut layer = Layer { above: words.clone(), below: words, summed: 0 };
        for j in 0..ny {
            let mut whole = 0i32;
            for i in 0..nx {
                whole += steps[j * (nx + 1) + i];
                let cell = IVec3::new(i as i32, j as i32, k);
                let mut winding = f64::from(whole);
                if blocks.near(cell) {
                    layer.summed += 1;
                    winding -= cap.at(self.grid.centre(cell));
                }
                let (word, bit) = (j * words_a_line + i / 64, i % 64);
                layer.above[word] |= u64::from(winding > 0.5) << bit;
                layer.below[word] |= u64::from(winding < -0.5) << bit;
            }
        }
        layer
    }

    /// For each line of the layer and each cell on it, by how much the winding number steps just before its centre.
    fn steps(&self, k: i32) -> Vec<i32> {
        let grid = &self.grid;
        let (nx, ny) = (grid.counts.x as usize, grid.counts.y);
        let z = grid.centre(IVec3::new(0, 0, k)).z;
        let mut steps = vec![0i32; (nx + 1) * ny as usize];
        for &t in &self.reach[self.starts[k as usize]..self.starts[k as usize + 1]] {
            let triangle = &self.triangles[t as usize];
            let (lo, hi) = (
                triangle[0].y.min(triangle[1].y).min(triangle[2].y),
                triangle[0].y.max(triangle[1].y).max(triangle[2].y),
            );
            for j in centres_between(lo, hi, grid.origin.y, grid.cell, ny) {
                let y = grid.centre(IVec3::new(0, j, 0)).y;
                let Some((x, step)) = crossing(triangle, y, z) else { continue };
                let first = ((x - grid.origin.x) / grid.cell - 0.5).ceil().clamp(0.0, nx as f64);
                steps[j as usize * (nx + 1) + first as usize] += step;
            }
        }
        steps
    }
}

/// The cells whose centres lie between two coordinates, on an axis of `count` cells; one too many rather than one too few.
fn centres_between(lo: f64, hi: f64, origin: f64, cell: f64, count: i32) -> std::ops::Range<i32> {
    let first = ((lo - origin) / cell - 0.5).floor().clamp(0.0, f64::from(count));
    let last = ((hi - origin) / cell - 0.5).ceil() + 1.0;
    first as i32..last.clamp(first, f64::from(count)) as i32
}

/// Where the line {(x, y, z) : x any} meets the triangle, and the step of the winding number there for a walk towards
/// +x: +1 when it enters (the triangle's normal looks back), −1 when it leaves.
fn crossing([a, b, c]: &[DVec3; 3], y: f64, z: f64) -> Option<(f64, i32)> {
    let ab = turn(*a, *b, y, z)?;
    if turn(*b, *c, y, z)? != ab || turn(*c, *a, y, z)? != ab {
        return None;
    }
    let normal = (*b - *a).cross(*c - *a);
    let x = a.x - ((y - a.y) * normal.y + (z - a.z) * normal.z) / normal.x;
    let (lo, hi) = (a.x.min(b.x).min(c.x), a.x.max(b.x).max(c.x));
    // Nearly edge-on triangles divide by nearly zero: the crossing still lies within the triangle.
    let x = if x.is_finite() { x.clamp(lo, hi) } else { (lo + hi) / 2.0 };
    // Counter-clockwise in (y, z) means that the normal looks towards +x: the walk leaves.
    Some((x, if ab == Turn::Left { -1 } else { 1 }))
}

/// On which hand of an edge a point lies.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Turn {
    Left,
    Right,
}

/// Where the point (y, z) lies from the edge p → q in the (y, z) plane; `None` if the edge is a point there, as those of
/// needles along x are. A point on the edge's line is taken as if moved by (ε, ε²): the same rule for every edge, so
/// exactly one of two triangles on either side gets it.
fn turn(p: DVec3, q: DVec3, y: f64, z: f64) -> Option<Turn> {
    let det = orient2d(Coord { x: p.y, y: p.z }, Coord { x: q.y, y: q.z }, Coord { x: y, y: z });
    // d/dε of the determinant: −(q.z − p.z) first, then (q.y − p.y).
    let (dy, dz) = (q.y - p.y, q.z - p.z);
    let sign = [det, -dz, dy].into_iter().find(|&d| d != 0.0)?;
    Some(if sign > 0.0 { Turn::Left } else { Turn::Right })
}

#[cfg(test)]
mod tests;
