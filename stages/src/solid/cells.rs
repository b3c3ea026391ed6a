//! A solid of cubes: where the grid sits, and one bit a cell.

use std::ops::Range;

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use crate::Side;

/// A regular grid of cubes: cell `(i, j, k)` fills `origin + cell · [i, i+1] × [j, j+1] × [k, k+1]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    /// Lowest corner, in mm.
    pub origin: DVec3,
    /// Edge of a cell, in mm; positive.
    pub cell: f64,
    /// Cells along x, y and z.
    pub counts: IVec3,
}

impl Grid {
    /// The corner with the lattice coordinates `at`; `(0, 0, 0)` is the origin.
    #[must_use]
    pub fn corner(&self, at: IVec3) -> DVec3 {
        self.origin + self.cell * at.as_dvec3()
    }

    /// The middle of a cell.
    #[must_use]
    pub fn centre(&self, cell: IVec3) -> DVec3 {
        self.origin + self.cell * (cell.as_dvec3() + 0.5)
    }

    /// Whether a cell lies on the grid.
    #[must_use]
    pub fn holds(&self, cell: IVec3) -> bool {
        cell.cmpge(IVec3::ZERO).all() && cell.cmplt(self.counts).all()
    }

    /// Number of cells on the grid, solid or not.
    #[must_use]
    pub fn len(&self) -> usize {
        self.counts.to_array().iter().map(|&n| n as usize).product()
    }

    /// Whether the grid has no cell.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Clears the bits past the grid's end in the words of a line along x.
    pub fn trim(&self, words: &mut [u64]) {
        let past = self.counts.x as usize % 64;
        if let (Some(last), true) = (words.last_mut(), past > 0) {
            *last &= u64::MAX >> (64 - past);
        }
    }

    /// The same space cut `parts` times finer along each axis.
    #[must_use]
    pub fn refined(&self, parts: i32) -> Self {
        Self { origin: self.origin, cell: self.cell / f64::from(parts), counts: self.counts * parts }
    }
}

/// Which cells of a grid are solid: one bit a cell, each line along x in whole 64-bit words.
#[derive(Clone, Debug, PartialEq)]
pub struct Cells {
    grid: Grid,
    words_a_line: usize,
    words: Vec<u64>,
}

impl Cells {
    /// No cell solid.
    #[must_use]
    pub fn empty(grid: Grid) -> Self {
        let words_a_line = (grid.counts.x as usize).div_ceil(64);
        let lines = grid.counts.y as usize * grid.counts.z as usize;
        Self { grid, words_a_line, words: vec![0; words_a_line * lines] }
    }

    /// From its words, as [`Self::words`] gives them.
    ///
    /// # Errors
    /// A plain message if the grid makes no sense, if there are not as many words as it needs, or if a bit past the end of
    /// a line is set.
    pub fn from_words(grid: Grid, words: Vec<u64>) -> Result<Self, String> {
        if !(grid.origin.is_finite()
            && grid.cell.is_finite()
            && grid.cell > 0.0
            && grid.counts.cmpge(IVec3::ZERO).all())
        {
            return Err(format!(
                "a grid of {} cells of {} mm from {} on makes no sense",
                grid.counts, grid.cell, grid.origin
            ));
        }
        let words_a_line = (grid.counts.x as usize).div_ceil(64);
        let needed = grid.counts.to_array()[1..].iter().try_fold(words_a_line, |n, &m| n.checked_mul(m as usize));
        if needed != Some(words.len()) {
            return Err(format!("a grid of {} cells does not fill {} words of 64 cells", grid.counts, words.len()));
        }
        let past = if grid.counts.x % 64 == 0 { 0 } else { u64::MAX << (grid.counts.x % 64) };
        if past != 0 && words.chunks(words_a_line).any(|line| line[words_a_line - 1] & past != 0) {
            return Err("a cell past the end of a line is solid".to_owned());
        }
        Ok(Self { grid, words_a_line, words })
    }

    /// Every line along x, y before z: see [`Self::line`].
    #[must_use]
    pub fn words(&self) -> &[u64] {
        &self.words
    }

    /// Solid where `solid` says so, asked line by line on all threads.
    pub fn from_fn(grid: Grid, solid: impl Fn(IVec3) -> bool + Sync) -> Self {
        Self::from_lines(grid, |j, k, line| {
            for i in 0..grid.counts.x {
                if solid(IVec3::new(i, j, k)) {
                    line[i as usize / 64] |= 1 << (i % 64);
                }
            }
        })
    }

    /// Fills each line along x, given its `j` and `k`, on all threads. Bits past the grid's end must stay zero.
    pub fn from_lines(grid: Grid, fill: impl Fn(i32, i32, &mut [u64]) + Sync) -> Self {
        let mut cells = Self::empty(grid);
        cells.fill_layers(0..grid.counts.z, |j, k, line| {
            fill(j, k, line);
            0
        });
        cells
    }

    /// Fills each line along x of some layers, given its `j` and `k`, on all threads; gives the sum of what `fill` gives.
    /// Bits past the grid's end must stay zero.
    ///
    /// # Panics
    /// If a layer is off the grid.
    pub fn fill_layers(&mut self, layers: Range<i32>, fill: impl Fn(i32, i32, &mut [u64]) -> usize + Sync) -> usize {
        let ny = self.grid.counts.y as usize;
        if self.words_a_line * ny == 0 {
            return 0;
        }
        let words_a_layer = self.words_a_line * ny;
        let words = &mut self.words[layers.start as usize * words_a_layer..layers.end as usize * words_a_layer];
        let lines = words.par_chunks_mut(self.words_a_line).enumerate();
        lines.map(|(line, words)| fill((line % ny) as i32, layers.start + (line / ny) as i32, words)).sum()
    }

    /// Where the grid sits.
    #[must_use]
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The words of the line along x at `j`, `k`: bit `i % 64` of word `i / 64` is cell `i`.
    #[must_use]
    pub fn line(&self, j: i32, k: i32) -> &[u64] {
        let start = (k as usize * self.grid.counts.y as usize + j as usize) * self.words_a_line;
        &self.words[start..start + self.words_a_line]
    }

    /// The solid cells from `first` to `last` on the line along x at `j`, `k`; both must lie on the grid.
    pub fn solid_between(&self, first: i32, last: i32, j: i32, k: i32) -> impl Iterator<Item = i32> + '_ {
        let line = self.line(j, k);
        (first / 64..=last / 64).flat_map(move |w| {
            let from = if w == first / 64 { u64::MAX << (first % 64) } else { u64::MAX };
            let to = if w == last / 64 { u64::MAX >> (63 - last % 64) } else { u64::MAX };
            bits(line[w as usize] & from & to).map(move |bit| w * 64 + bit)
        })
    }

    /// Whether a cell is solid; cells off the grid are not.
    #[must_use]
    pub fn solid(&self, cell: IVec3) -> bool {
        self.grid.holds(cell) && self.words[self.word(cell)] >> (cell.x % 64) & 1 == 1
    }

    /// Makes a cell of the grid solid or not.
    ///
    /// # Panics
    /// If the cell is off the grid.
    pub fn set(&mut self, cell: IVec3, solid: bool) {
        assert!(self.grid.holds(cell), "cell {cell} is off the grid");
        let word = self.word(cell);
        let bit = 1u64 << (cell.x % 64);
        if solid {
            self.words[word] |= bit;
        } else {
            self.words[word] &= !bit;
        }
    }

    fn word(&self, cell: IVec3) -> usize {
        (cell.z as usize * self.grid.counts.y as usize + cell.y as usize) * self.words_a_line + cell.x as usize / 64
    }

    /// Number of solid cells.
    #[must_use]
    pub fn count(&self) -> usize {
        self.words.par_iter().map(|w| w.count_ones() as usize).sum()
    }

    /// The solid cells, z slowest, x fastest.
    pub fn iter(&self) -> impl Iterator<Item = IVec3> + '_ {
        let ny = self.grid.counts.y as usize;
        self.words.chunks(self.words_a_line.max(1)).enumerate().flat_map(move |(line, words)| {
            let (j, k) = ((line % ny) as i32, (line / ny) as i32);
            words
                .iter()
                .enumerate()
                .flat_map(move |(w, &word)| bits(word).map(move |b| IVec3::new((w * 64) as i32 + b, j, k)))
        })
    }

    /// Cell by cell on two solids with the same grid: `op` takes and gives whole words.
    ///
    /// # Panics
    /// If the grids differ.
    #[must_use]
    pub fn zip(&self, other: &Self, op: impl Fn(u64, u64) -> u64 + Sync) -> Self {
        assert_eq!(self.grid, other.grid, "both solids must lie on one grid");
        let words = self.words.par_iter().zip(&other.words).map(|(&a, &b)| op(a, b)).collect();
        Self { grid: self.grid, words_a_line: self.words_a_line, words }
    }

    /// The cells of this solid that are not in the other.
    #[must_use]
    pub fn minus(&self, other: &Self) -> Self {
        self.zip(other, |a, b| a & !b)
    }

    /// The cells of either.
    #[must_use]
    pub fn or(&self, other: &Self) -> Self {
        self.zip(other, |a, b| a | b)
    }

    /// Lowest and highest solid cell of the box around the solid, or `None` when empty.
    #[must_use]
    pub fn extent(&self) -> Option<[IVec3; 2]> {
        let mut extent: Option<[IVec3; 2]> = None;
        let ny = self.grid.counts.y as usize;
        for (line, words) in self.words.chunks(self.words_a_line.max(1)).enumerate() {
            let Some(first) = words.iter().position(|&w| w != 0) else { continue };
            let last = words.iter().rposition(|&w| w != 0).unwrap_or(first);
            let (j, k) = ((line % ny) as i32, (line / ny) as i32);
            let lo = IVec3::new((first * 64) as i32 + words[first].trailing_zeros() as i32, j, k);
            let hi = IVec3::new((last * 64 + 63) as i32 - words[last].leading_zeros() as i32, j, k);
            extent = Some(extent.map_or([lo, hi], |[a, b]| [a.min(lo), b.max(hi)]));
        }
        extent
    }

    /// Number of cube faces that look to each side.
    #[must_use]
    pub fn faces_by_side(&self) -> crate::Six<usize> {
        let lines = (0..self.grid.counts.z).flat_map(|k| (0..self.grid.counts.y).map(move |j| (j, k)));
        lines.fold(crate::Six([0; 6]), |mut counts, (j, k)| {
            for side in Side::ALL {
                counts[side] += self.faces_of_line(j, k, side);
            }
            counts
        })
    }

    /// Number of faces that look to a side, of the cells in a line along x.
    fn faces_of_line(&self, j: i32, k: i32, side: Side) -> usize {
        let line = self.line(j, k);
        let step = side.step();
        let beside = IVec3::new(0, j, k) + step.with_x(0);
        let beside = if self.grid.holds(beside) { self.line(beside.y, beside.z) } else { &[] };
        let word = |words: &[u64], at: Option<usize>| at.and_then(|at| words.get(at)).copied().unwrap_or(0);
        let open = |at: usize| {
            let behind = match step.x {
                1 => line[at] >> 1 | word(line, Some(at + 1)) << 63,
                -1 => line[at] << 1 | word(line, at.checked_sub(1)) >> 63,
                _ => word(beside, Some(at)),
            };
            (line[at] & !behind).count_ones() as usize
        };
        (0..line.len()).map(open).sum()
    }
}

/// The positions of the set bits of a word, lowest first.
pub fn bits(mut word: u64) -> impl Iterator<Item = i32> {
    std::iter::from_fn(move || {
        (word != 0).then(|| {
            let bit = word.trailing_zeros() as i32;
            word &= word - 1;
            bit
        })
    })
}

/// A face of a cube: the cell and the side on which it looks out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub struct Face {
    /// The solid cell behind the face.
    pub cell: IVec3,
    /// Where it looks.
    pub side: Side,
}

#[cfg(test)]
mod tests {
    use glam::DVec3;
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// Counted face by face, over lines of one, two and three words.
        #[test]
        fn faces_are_counted_whole_words_at_a_time(seed in any::<u64>(), x in 1..140, y in 1..4, z in 1..4) {
            let grid = Grid { origin: DVec3::ZERO, cell: 1.0, counts: IVec3::new(x, y, z) };
            let solid = |c: IVec3| {
                let number = (c.x + 150 * (c.y + 5 * c.z)) as u64;
                number.wrapping_mul(seed | 1).wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 62 != 0
            };
            let cells = Cells::from_fn(grid, solid);
            let counted = |side: Side| cells.iter().filter(|&c| !cells.solid(c + side.step())).count();
            prop_assert_eq!(cells.faces_by_side(), crate::Six::from_fn(counted));
        }
    }
}
