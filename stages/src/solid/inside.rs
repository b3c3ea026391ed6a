//! Which cell centres lie inside a surface: generalized winding number above one half.
//!
//! Steps
//! 1. Neighbouring triangles are turned alike ([`super::chain`]), and patches that show their back are turned
//!    (`outward`).
//! 2. The rim ∂S is joined to its own middles by cones (the cap C), so that S + C is closed.
//! 3. Around a closed surface the winding number is a whole number: the signed crossings of S + C along each line of cell
//!    centres, counted from the far left (`crossings`).
//! 4. The winding number of S alone is that number less w(C), so it is above ½ where the whole number is larger than w(C)
//!    rounded to the nearest one. That is found for whole blocks of cells at once (`borrowed`): far from holes it is 0.
//! 5. Of a model that is inside out more cells lie below −½ than above ½: those are its inside. (The sign of the volume by
//!    the divergence theorem would not do: of an open model it depends on where the origin lies.)
//!
//! A closed surface has no cap, and step 3 alone gives its cells, exactly. Of an open one every cell is told as the sum of
//! all solid angles would tell it, but for cells whose winding number is nearer to ½ than the accuracy asked for; yet the
//! costly sum runs over the holes' rims instead of all triangles, and only where a whole block does not settle it. The
//! decomposition into crossings and a cap is known for closed curves and surfaces from the winding number's topological
//! definition; tests compare with the plain sum.

mod borrowed;

use std::borrow::Cow;
use std::ops::Range;

use glam::DVec3;
use rayon::prelude::*;

use self::borrowed::Borrowed;
use super::chain::{self, Patches};
use super::crossings::{Rule, at_most, crossings};
use super::edges::Edges;
use super::outward;
use super::{Cells, Grid, Surface};

/// How inside and outside were told apart.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Told {
    /// Triangles turned to agree with their neighbours.
    pub turned: usize,
    /// Patches turned whole, since they showed their backs.
    pub patches_turned: usize,
    /// Whether the model as a whole was inside out.
    pub inside_out: bool,
    /// Edges on the rims of holes, with multiplicity.
    pub rim_edges: usize,
    /// Cells for which the rims' own winding number had to be summed one by one.
    pub summed: usize,
}

/// Cells whose winding number is nearer to ½ than this may be told either way, unless somebody asks for more or less. Sums
/// of solid angles round far below it.
pub const ACCURACY: f64 = 1e-6;

/// The cells whose centres lie inside the surface, with the usual accuracy.
#[must_use]
pub fn solid_cells(surface: &Surface, grid: Grid) -> (Cells, Told) {
    solid_cells_within(surface, grid, ACCURACY)
}

/// The cells whose centres lie inside the surface. Cells whose winding number is nearer to ½ than `accuracy` may be told
/// either way; all others are told as the exact number tells them.
#[must_use]
pub fn solid_cells_within(surface: &Surface, grid: Grid, accuracy: f64) -> (Cells, Told) {
    let mut told = Told::default();
    let edges = Edges::of(surface.triangles());
    let triangles = turned_outward(surface, &edges, &mut told);
    let cap = chain::cap(surface.points(), &chain::rim(&triangles, &edges));
    drop(edges);
    told.rim_edges = cap.len();
    let closed = Closed { points: surface.points(), triangles: &triangles, cap: &cap };
    let borrowed = Borrowed::of(&cap, grid, accuracy);
    told.summed = borrowed.summed;

    let (cells, below) = closed.cells(grid, &borrowed, 1);
    if below <= cells.count() {
        return (cells, told);
    }
    told.inside_out = !told.inside_out;
    (closed.cells(grid, &borrowed, -1).0, told)
}

/// The triangles turned to agree with their neighbours, and patches to show their outside.
fn turned_outward<'a>(surface: &'a Surface, edges: &Edges, told: &mut Told) -> Cow<'a, [[u32; 3]]> {
    let patches = Patches::of(surface, edges);
    let mut triangles = Cow::Borrowed(surface.triangles());
    told.turned = patches.turned.len();
    for &t in &patches.turned {
        triangles.to_mut()[t as usize].swap(1, 2);
    }
    // A single patch has nothing that it could disagree with: step 5 turns the model.
    if patches.count > 1 {
        let votes = outward::votes(surface.points(), &triangles, &patches);
        let backs = votes.iter().filter(|&&vote| vote < 0).count();
        if backs > 0 && votes.iter().all(|&vote| vote <= 0) {
            // Nothing shows its front: the model as a whole is inside out, with the walls of its voids.
            told.inside_out = true;
            triangles.to_mut().iter_mut().for_each(|triangle| triangle.swap(1, 2));
        } else if backs > 0 {
            told.patches_turned = backs;
            let all = triangles.to_mut().iter_mut().zip(&patches.of);
            all.filter(|(_, patch)| votes[**patch as usize] < 0).for_each(|(triangle, _)| triangle.swap(1, 2));
        }
    }
    triangles
}

/// A surface with its cap: closed, as a chain.
struct Closed<'a> {
    points: &'a [DVec3],
    triangles: &'a [[u32; 3]],
    cap: &'a [[DVec3; 3]],
}

/// Triangles that one task sends through the lines.
const TASK: usize = 1 << 13;
/// Crossings that are held at once, at most: half a gigabyte.
const HELD: u64 = 1 << 26;

impl Closed<'_> {
    /// The cells whose winding number, times `sign`, is above ½, and how many are below −½.
    fn cells(&self, grid: Grid, borrowed: &Borrowed, sign: i32) -> (Cells, usize) {
        let mut cells = Cells::empty(grid);
        let mut below = 0;
        for layers in self.slabs(grid) {
            let crossed = self.crossed(grid, layers.clone());
            below += cells.fill_layers(layers.clone(), |j, k, words| {
                let line = (k - layers.start) as usize * grid.counts.y as usize + j as usize;
                let start = crossed.partition_point(|step| step.line() < line);
                let steps = crossed[start..].iter().take_while(|step| step.line() == line);
                fill_line(words, grid.counts.x, steps, sign, |i| borrowed.at(i, j, k), borrowed.plain(j, k))
            });
        }
        (cells, below)
    }

    /// Layers that are gone through at once, so few that their crossings can be held.
    fn slabs(&self, grid: Grid) -> Vec<Range<i32>> {
        let (ys, zs) = rules(grid);
        let most: u64 = self.each(|corners| std::iter::once(at_most(corners, ys, zs))).into_iter().sum();
        let slabs = most.div_ceil(HELD).clamp(1, grid.counts.z.max(1) as u64) as i32;
        let bound = |slab: i32| (i64::from(grid.counts.z) * i64::from(slab) / i64::from(slabs)) as i32;
        (0..slabs).map(|slab| bound(slab)..bound(slab + 1)).collect()
    }

    /// The steps of the winding number along the lines of some layers, in the order of lines and of cells.
    fn crossed(&self, grid: Grid, layers: Range<i32>) -> Vec<Step> {
        let (ys, zs) = rules(grid);
        let zs = Rule { origin: zs.origin + zs.step * f64::from(layers.start), count: layers.len() as i32, ..zs };
        let mut steps = self.each(|corners| {
            crossings(corners, ys, zs).map(|crossing| {
                let [j, k] = crossing.line;
                let behind = ((crossing.x - grid.origin.x) / grid.cell - 0.5).ceil();
                let first = behind.clamp(0.0, f64::from(grid.counts.x)) as u32;
                Step::new(k as usize * ys.count as usize + j as usize, first, crossing.enters)
            })
        });
        steps.par_sort_unstable();
        steps
    }

    /// What `each` gives for all triangles, on all threads.
    fn each<T: Send, I: Iterator<Item = T>>(&self, each: impl Fn([DVec3; 3]) -> I + Sync) -> Vec<T> {
        let corners = |t: &[u32; 3]| t.map(|i| self.points[i as usize]);
        let surface = self.triangles.par_chunks(TASK).flat_map_iter(|task| task.iter().flat_map(|t| each(corners(t))));
        let cap = self.cap.par_chunks(TASK).flat_map_iter(|task| task.iter().flat_map(|&corners| each(corners)));
        surface.chain(cap).collect()
    }
}

/// The coordinates of lines of cell centres, along y and z.
fn rules(grid: Grid) -> (Rule, Rule) {
    let rule = |axis: usize| Rule { origin: grid.origin[axis], step: grid.cell, count: grid.counts[axis] };
    (rule(1), rule(2))
}

/// A step of the winding number just before a cell's centre: line, cell and direction in one word, which sorts by them.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Step(u64);

impl Step {
    /// Bits for a cell's number on its line, up to its count, and one for the direction.
    const CELL: u32 = 21;

    fn new(line: usize, first: u32, enters: bool) -> Self {
        Self((line as u64) << (Self::CELL + 1) | u64::from(first) << 1 | u64::from(enters))
    }

    fn line(self) -> usize {
        (self.0 >> (Self::CELL + 1)) as usize
    }

    fn first(self) -> i32 {
        (self.0 >> 1) as i32 & ((1 << Self::CELL) - 1)
    }

    fn height(self) -> i32 {
        if self.0 & 1 == 1 { 1 } else { -1 }
    }
}

/// Fills a line of cells whose winding number times `sign` is above ½; says how many are below −½. `borrowed` is the cap's
/// rounded number for each cell, and `plain` says that it is 0 all along.
fn fill_line<'a>(
    words: &mut [u64],
    count: i32,
    steps: impl Iterator<Item = &'a Step>,
    sign: i32,
    borrowed: impl Fn(i32) -> i32,
    plain: bool,
) -> usize {
    let (mut whole, mut from, mut below) = (0, 0, 0);
    let mut run = |from: i32, to: i32, whole: i32| {
        if plain {
            match sign * whole {
                1.. => set(words, from, to),
                0 => {}
                _ => below += (to - from) as usize,
            }
            return;
        }
        for i in from..to {
            match sign * (whole - borrowed(i)) {
                1.. => set(words, i, i + 1),
                0 => {}
                _ => below += 1,
            }
        }
    };
    for step in steps {
        if step.first() > from {
            run(from, step.first(), whole);
            from = step.first();
        }
        whole += step.height();
    }
    run(from, count, whole);
    below
}

/// Sets the bits from one place up to another.
fn set(words: &mut [u64], from: i32, to: i32) {
    if from >= to {
        return;
    }
    let (first, last) = (from as usize, to as usize - 1);
    let (low, high) = (u64::MAX << (first % 64), u64::MAX >> (63 - last % 64));
    if first / 64 == last / 64 {
        words[first / 64] |= low & high;
        return;
    }
    words[first / 64] |= low;
    words[first / 64 + 1..last / 64].fill(u64::MAX);
    words[last / 64] |= high;
}

#[cfg(test)]
mod tests;
