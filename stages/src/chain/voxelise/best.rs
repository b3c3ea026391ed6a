//! The place of the grid at which the cubes keep the form best.
//!
//! Steps
//! 1. The source solid is found on two lattices, each [`STEPS`] times finer than the cells: at the middles of the small
//!    cubes, which are the samples of the volume, and at their corners, where the centres of all cells lie that a shift by
//!    whole small cubes can give.
//! 2. Along an axis on which the form is its own mirror image about its middle, but for [`ASKEW`] of its samples, only the
//!    two places are tried that keep it so: a boundary between cells in the middle, and the centre of a cell. On others
//!    all [`STEPS`].
//! 3. For every place the samples are counted that the cubes have in common with the form, 64 at a time: the lines of a
//!    row of cells are summed bit by bit into planes of binary digits, and the digits counted under the cells whose centres
//!    are in.
//! 4. The place with the largest intersection over union is taken; of equals the one with the smaller shift along x, then
//!    y, then z. So the usual place stays where none is better, and the same one is taken every time.
//!
//! Fractions are compared exactly, as whole numbers. Samples that cut cells into whole parts find a little too much in
//! common (see [`crate::solid::likeness`]), but alike at every place: they serve to compare, and the gain is told, not the
//! overlap.

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use super::placing::Placing;
use crate::outlook::Outlook;
use crate::solid::inside::solid_cells;
use crate::solid::{Cells, Grid, Surface};
use crate::stage::{Halt, Misfit, Shop};
use crate::units::Memory;

/// Small cubes along the edge of a cell, and so places that are tried along an axis: the most that memory allows.
const STEPS: [i32; 2] = [4, 2];

/// Share of its samples that may lack their mirror image in a form that counts as symmetric. Meshes of symmetric forms
/// are not the same on both sides to the last digit; what a hand has made different on purpose is more.
const ASKEW: f64 = 0.01;

/// What was tried, and what came of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Best {
    /// From the usual place to the best, in mm.
    pub(super) shift: DVec3,
    /// How many places were tried.
    pub(super) tried: usize,
    /// Intersection over union at the usual place, from 0 to 1.
    pub(super) usual: f64,
    /// And at the best.
    pub(super) overlap: f64,
    /// The axes along which the form is symmetric and stays so; always false where one place was tried alone.
    pub(super) symmetric: [bool; 3],
}

/// Bytes that trying takes: a bit for each sample and for each centre, beside telling them.
pub(super) fn takes(piece: &Outlook) -> f64 {
    let steps = f64::from(STEPS[0]);
    super::telling(piece, steps) + 2.0 * steps.powi(3) * piece.cells() / 8.0
}

/// Tries places for a grid that lies where it usually would. Only the lattice is bounded by `memory`.
pub(super) fn find(
    surface: &Surface,
    usual: &Grid,
    placing: Placing,
    memory: Memory,
    shop: &Shop<'_>,
) -> Result<Best, Halt> {
    let tried = placing.tried();
    let lattices = STEPS.map(|steps| Lattices::around(usual, tried, steps));
    let lattices = lattices.iter().find(|lattices| lattices.bytes() <= memory.bytes() as f64).ok_or_else(|| {
        let needed = Memory::from_bytes(lattices[1].bytes() as u64);
        Misfit::new(
            "grid",
            format!("to try places for the grid would take about {needed}, more than the limit of {memory}"),
            "leave grid out, choose a larger cell, or raise memory",
        )
    })?;
    let samples = solid_cells(surface, lattices.samples).0;
    shop.go_on()?;
    let centres = solid_cells(surface, lattices.centres).0;
    shop.go_on()?;

    // The usual place is about the middle along x and y alone.
    let symmetric = [0, 1, 2].map(|axis| tried[axis] && axis < 2 && askew(&samples, axis) <= ASKEW);
    let steps = lattices.steps;
    let along = |axis: usize| match (tried[axis], symmetric[axis]) {
        (false, _) => vec![0],
        (true, true) => vec![0, steps / 2],
        (true, false) => (0..steps).collect(),
    };
    let shifts = [along(0), along(1), along(2)];
    let whole = samples.count() as u64;
    let counts = counts(&samples, &centres, steps, &shifts);
    let fraction = |[both, cubes]: [u64; 2]| (both, whole + cubes * steps.pow(3) as u64 - both);

    let mut best: Option<(IVec3, (u64, u64))> = None;
    for &x in &shifts[0] {
        for &y in &shifts[1] {
            for &z in &shifts[2] {
                let shift = IVec3::new(x, y, z);
                let this = fraction(counts[place(shift, steps)]);
                let (both, either) = best.map_or((0, 1), |(_, fraction)| fraction);
                if best.is_none() || u128::from(this.0) * u128::from(either) > u128::from(both) * u128::from(this.1) {
                    best = Some((shift, this));
                }
            }
        }
    }
    let share = |(both, either): (u64, u64)| if either == 0 { 0.0 } else { both as f64 / either as f64 };
    let first = fraction(counts[0]);
    let (shift, most) = best.unwrap_or((IVec3::ZERO, first));
    Ok(Best {
        shift: usual.cell / f64::from(steps) * shift.as_dvec3(),
        tried: shifts.iter().map(Vec::len).product(),
        usual: share(first),
        overlap: share(most),
        symmetric,
    })
}

/// The two lattices on which the source solid is found.
struct Lattices {
    steps: i32,
    /// Small cubes, from where the first cell begins; a cell more than there are beginnings.
    samples: Grid,
    /// For each small cube the centre of the cell that begins with it.
    centres: Grid,
}

impl Lattices {
    /// Where places are tried, cells may begin up to one cell before the grid.
    fn around(usual: &Grid, tried: [bool; 3], steps: i32) -> Self {
        let before = IVec3::from_array(tried.map(i32::from));
        let fine = usual.cell / f64::from(steps);
        let first = usual.origin - usual.cell * before.as_dvec3();
        let begin = usual.counts + before;
        Self {
            steps,
            samples: Grid { origin: first, cell: fine, counts: steps * (begin + before) },
            centres: Grid { origin: first + (usual.cell - fine) / 2.0, cell: fine, counts: steps * begin },
        }
    }

    /// What both take, with one bit a sample.
    fn bytes(&self) -> f64 {
        let bits = |grid: &Grid| grid.counts.as_dvec3().element_product();
        (bits(&self.samples) + bits(&self.centres)) / 8.0
    }
}

/// The share of a solid's samples whose mirror image about the middle of the lattice is not in it.
fn askew(samples: &Cells, axis: usize) -> f64 {
    let IVec3 { x: nx, y: ny, z: nz } = samples.grid().counts;
    let lacking: usize = (0..nz)
        .into_par_iter()
        .map(|k| {
            let mut image = vec![0u64; (nx as usize).div_ceil(64)];
            (0..ny)
                .map(|j| {
                    let line = samples.line(j, k);
                    if axis == 0 {
                        mirror(line, nx, &mut image);
                    } else {
                        image.copy_from_slice(samples.line(ny - 1 - j, k));
                    }
                    line.iter().zip(&image).map(|(a, b)| (a & !b).count_ones() as usize).sum::<usize>()
                })
                .sum::<usize>()
        })
        .sum();
    match samples.count() {
        0 => 0.0,
        count => lacking as f64 / count as f64,
    }
}

/// A line of so many bits, the other way round.
fn mirror(line: &[u64], count: i32, image: &mut [u64]) {
    let spare = (image.len() * 64) as u32 - count as u32;
    let turned = |w: usize| line.len().checked_sub(w + 1).map_or(0, |w| line[w].reverse_bits());
    for (w, word) in image.iter_mut().enumerate() {
        // The bits past the line's end have come to its beginning.
        let above = if spare == 0 { 0 } else { turned(w + 1) << (64 - spare) };
        *word = turned(w) >> spare | above;
    }
}

/// Where the counts of a shift stand.
fn place(shift: IVec3, steps: i32) -> usize {
    ((shift.z * steps + shift.y) * steps + shift.x) as usize
}

/// For each shift: the samples that its cubes have in common with the form, and its cubes.
fn counts(samples: &Cells, centres: &Cells, steps: i32, shifts: &[Vec<i32>; 3]) -> Vec<[u64; 2]> {
    let begin = centres.grid().counts;
    let layer = |z: i32| {
        let mut counts = vec![[0u64; 2]; steps.pow(3) as usize];
        if !shifts[2].contains(&(z % steps)) {
            return counts;
        }
        let mut digits = Digits::none(samples.line(0, 0).len());
        for y in (0..begin.y).filter(|y| shifts[1].contains(&(y % steps))) {
            let line = centres.line(y, z);
            if line.iter().all(|&word| word == 0) {
                continue;
            }
            digits.clear();
            for n in 0..steps * steps {
                digits.add(samples.line(y + n % steps, z + n / steps));
            }
            for &x in &shifts[0] {
                let [both, cubes] = digits.under(line, x, steps);
                let counts = &mut counts[place(IVec3::new(x, y % steps, z % steps), steps)];
                counts[0] += both;
                counts[1] += cubes;
            }
        }
        counts
    };
    let none = || vec![[0u64; 2]; steps.pow(3) as usize];
    let add =
        |a: Vec<[u64; 2]>, b: Vec<[u64; 2]>| a.into_iter().zip(b).map(|(a, b)| [a[0] + b[0], a[1] + b[1]]).collect();
    (0..begin.z).into_par_iter().map(layer).reduce(none, add)
}

/// Sums of up to 16 bits for each place of a line: plane `p` holds the binary digit of 2ᵖ.
struct Digits {
    planes: Vec<[u64; 5]>,
}

impl Digits {
    fn none(words: usize) -> Self {
        Self { planes: vec![[0; 5]; words] }
    }

    fn clear(&mut self) {
        self.planes.fill([0; 5]);
    }

    fn add(&mut self, line: &[u64]) {
        for (planes, &word) in self.planes.iter_mut().zip(line) {
            let mut carry = word;
            for plane in planes {
                (*plane, carry) = (*plane ^ carry, *plane & carry);
            }
        }
    }

    /// The sum under the cells that begin at every `steps`-th place from `first` on and whose centres are in; and how many
    /// those are.
    fn under(&self, centres: &[u64], first: i32, steps: i32) -> [u64; 2] {
        let every = (0..64 / steps).fold(0u64, |mask, n| mask | 1 << (n * steps + first));
        let (mut both, mut cubes) = (0, 0);
        let mut before = 0;
        for (w, planes) in self.planes.iter().enumerate() {
            let begin = centres.get(w).map_or(0, |word| word & every);
            cubes += u64::from(begin.count_ones());
            let covered = (1..steps).fold(begin, |covered, n| covered | begin << n | before >> (64 - n));
            before = begin;
            for (digit, plane) in planes.iter().enumerate() {
                both += u64::from((plane & covered).count_ones()) << digit;
            }
        }
        [both, cubes]
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
