//! Which bins of a lattice are occupied, on levels of growing coarseness, and the search through them from a point
//! outwards.
//!
//! Steps
//! 1. Occupied bins are bits, 4 × 4 × 4 to a word, and words with a bit set are the bits of the next coarser level, up to
//!    a level of one word.
//! 2. A query looks at the rings of bins around the point. What lies beyond a ring is farther than the ring's border; so
//!    once the nearest thing found is nearer than that, it is the nearest of all. After two rings without an end the
//!    search goes on with the rings of the next level, so that one far from everything does not walk through air bin by
//!    bin. A bin, coarse or not, is opened only if it may hold something nearer, the nearest first.

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use super::{Cells, bits};

/// Edge of the block of bins that a word holds, and that is one bin of the next level.
const BLOCK: i32 = 4;

/// Rings of one level that are looked at before the next.
const RINGS: i32 = 2;

/// By how much, in bins, places may be out by rounding, for each bin that they lie from the lattice's corner.
pub(super) const SLACK: f64 = 1e-9;

/// A bin of some level: the word and the bit in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Bin {
    pub(super) word: u32,
    bit: u32,
}

impl Bin {
    pub(super) fn of(at: IVec3, blocks: IVec3) -> Self {
        let (block, within) = (at / BLOCK, at % BLOCK);
        Self {
            word: ((block.z * blocks.y + block.y) * blocks.x + block.x) as u32,
            bit: ((within.z * BLOCK + within.y) * BLOCK + within.x) as u32,
        }
    }

    /// The bits of the word before this one.
    pub(super) fn below(self) -> u64 {
        (1 << self.bit) - 1
    }
}

/// Blocks along each axis that hold so many bins.
pub(super) fn blocks(counts: IVec3) -> IVec3 {
    (counts + BLOCK - 1) / BLOCK
}

/// Which bins of one level are occupied.
#[derive(Clone, Debug)]
struct Level {
    /// Bins along each axis.
    counts: IVec3,
    /// Words along each axis.
    blocks: IVec3,
    words: Vec<u64>,
}

impl Level {
    fn empty(counts: IVec3) -> Self {
        let blocks = blocks(counts);
        let words = vec![0; blocks.to_array().iter().map(|&n| n as usize).product()];
        Self { counts, blocks, words }
    }
}

/// Which bins are occupied.
#[derive(Clone, Debug)]
pub(super) struct Bins {
    low: DVec3,
    /// Edge of a bin, in mm.
    edge: f64,
    /// Finest first; the last level is one word.
    levels: Vec<Level>,
}

impl Bins {
    /// Bins with an edge in mm, counted from the lowest corner, of which those listed are occupied.
    pub(super) fn listed(low: DVec3, edge: f64, counts: IVec3, occupied: impl Iterator<Item = Bin>) -> Self {
        let mut finest = Level::empty(counts);
        for bin in occupied {
            finest.words[bin.word as usize] |= 1 << bin.bit;
        }
        Self { low, edge, levels: coarser(finest) }
    }

    /// A bin for each cell of a grid: the solid ones are occupied.
    pub(super) fn solid(cells: &Cells) -> Self {
        let grid = cells.grid();
        let mut finest = Level::empty(grid.counts);
        let blocks = finest.blocks;
        let layer = (blocks.x * blocks.y).max(1) as usize;
        finest.words.par_chunks_mut(layer).enumerate().for_each(|(block_z, words)| {
            let lines = (0..BLOCK * BLOCK * blocks.y).map(|n| (n / (BLOCK * blocks.y), n % (BLOCK * blocks.y)));
            for (z, y) in lines {
                let k = block_z as i32 * BLOCK + z;
                if y >= grid.counts.y || k >= grid.counts.z {
                    continue;
                }
                let row = (y / BLOCK * blocks.x) as usize;
                let shift = (z * BLOCK + y % BLOCK) * BLOCK;
                for (w, &line) in cells.line(y, k).iter().enumerate() {
                    let mut line = line;
                    let mut block = row + w * 64 / BLOCK as usize;
                    while line != 0 {
                        words[block] |= (line & 0xf) << shift;
                        line >>= BLOCK;
                        block += 1;
                    }
                }
            }
        });
        Self { low: grid.origin, edge: grid.cell, levels: coarser(finest) }
    }

    /// Whether no bin is occupied.
    pub(super) fn is_empty(&self) -> bool {
        self.levels.last().is_none_or(|level| level.words.iter().all(|&word| word == 0))
    }

    /// Blocks of the finest level along each axis.
    pub(super) fn blocks(&self) -> IVec3 {
        self.levels[0].blocks
    }

    /// The words of the finest level.
    pub(super) fn words(&self) -> &[u64] {
        &self.levels[0].words
    }

    /// The least squared distance (mm²) of what is in the bins from a point, if at most `at_most`²; or any that is no more
    /// than `enough`². `squared` gives that of what is in an occupied bin of the finest level.
    pub(super) fn search(
        &self,
        point: DVec3,
        at_most: f64,
        enough: f64,
        squared: impl Fn(IVec3) -> f64,
    ) -> Option<f64> {
        if self.is_empty() || !point.is_finite() || at_most.is_nan() || at_most < 0.0 {
            return None;
        }
        let at = (point - self.low) / self.edge;
        let mut search = Search {
            bins: self,
            at,
            slack: SLACK * (1.0 + at.abs().max_element()),
            best: at_most * at_most,
            enough: enough * enough,
            found: false,
            squared,
        };
        search.run();
        search.found.then_some(search.best)
    }
}

/// A level and all that are coarser.
fn coarser(finest: Level) -> Vec<Level> {
    let mut levels = vec![finest];
    while let Some(finer) = levels.last()
        && finer.words.len() > 1
    {
        let mut level = Level::empty(finer.blocks);
        let IVec3 { x: nx, y: ny, .. } = finer.blocks;
        for (at, _) in finer.words.iter().enumerate().filter(|&(_, &word)| word != 0) {
            let at = at as i32;
            let bin = Bin::of(IVec3::new(at % nx, at / nx % ny, at / nx / ny), level.blocks);
            level.words[bin.word as usize] |= 1 << bin.bit;
        }
        levels.push(level);
    }
    levels
}

/// One query on its way.
struct Search<'a, F> {
    bins: &'a Bins,
    /// The point in bins of the finest level, from the lattice's corner.
    at: DVec3,
    /// By how much, in such bins, places may be out by rounding.
    slack: f64,
    /// The squared distance of the nearest thing so far, or up to which one is wanted.
    best: f64,
    /// The squared distance that is near enough.
    enough: f64,
    found: bool,
    squared: F,
}

impl<F: Fn(IVec3) -> f64> Search<'_, F> {
    fn run(&mut self) {
        for level in 0..self.bins.levels.len() {
            let counts = self.bins.levels[level].counts;
            let at = self.at / width(level);
            let middle = at.floor().as_ivec3().clamp(IVec3::ZERO, counts - 1);
            let rings = if level + 1 == self.bins.levels.len() { BLOCK } else { RINGS + 1 };
            for ring in 0..rings {
                self.ring(level, middle, ring);
                let beyond = beyond(at, middle, ring, counts) * width(level) - self.slack;
                let beyond = beyond.max(0.0) * self.bins.edge;
                if self.done() || self.best <= beyond * beyond {
                    return;
                }
            }
        }
    }

    fn done(&self) -> bool {
        self.found && self.best <= self.enough
    }

    /// Opens the bins that lie `ring` bins from the middle one.
    fn ring(&mut self, level: usize, middle: IVec3, ring: i32) {
        let counts = self.bins.levels[level].counts;
        let (low, high) = ((middle - ring).max(IVec3::ZERO), (middle + ring).min(counts - 1));
        for z in low.z..=high.z {
            for y in low.y..=high.y {
                if (z - middle.z).abs() == ring || (y - middle.y).abs() == ring {
                    (low.x..=high.x).for_each(|x| self.look(level, IVec3::new(x, y, z)));
                    continue;
                }
                for x in [middle.x - ring, middle.x + ring] {
                    if (0..counts.x).contains(&x) {
                        self.look(level, IVec3::new(x, y, z));
                    }
                }
            }
        }
    }

    /// Opens a bin, if it is occupied and may hold something nearer.
    fn look(&mut self, level: usize, at: IVec3) {
        let Level { blocks, words, .. } = &self.bins.levels[level];
        let bin = Bin::of(at, *blocks);
        if words[bin.word as usize] >> bin.bit & 1 == 1 && !self.done() && self.gap_squared(level, at) <= self.best {
            self.open(level, at);
        }
    }

    fn open(&mut self, level: usize, at: IVec3) {
        if level == 0 {
            let squared = (self.squared)(at);
            if squared <= self.best {
                self.best = squared;
                self.found = true;
            }
            return;
        }
        let finer = &self.bins.levels[level - 1];
        let word = ((at.z * finer.blocks.y + at.y) * finer.blocks.x + at.x) as usize;
        let mut within = [(0.0, IVec3::ZERO); 64];
        let mut count = 0;
        for bit in bits(finer.words[word]) {
            let at = at * BLOCK + IVec3::new(bit % BLOCK, bit / BLOCK % BLOCK, bit / BLOCK / BLOCK);
            let gap = self.gap_squared(level - 1, at);
            if gap <= self.best {
                within[count] = (gap, at);
                count += 1;
            }
        }
        within[..count].sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
        for &(gap, at) in &within[..count] {
            if gap > self.best || self.done() {
                return;
            }
            self.open(level - 1, at);
        }
    }

    /// The squared distance in mm to a bin, or a little less.
    fn gap_squared(&self, level: usize, at: IVec3) -> f64 {
        let low = at.as_dvec3() * width(level);
        let high = low + width(level);
        let gap = (low - self.at).max(self.at - high) - self.slack;
        (gap.max(DVec3::ZERO) * self.bins.edge).length_squared()
    }
}

/// The edge of a level's bins in those of the finest.
fn width(level: usize) -> f64 {
    f64::from(BLOCK.pow(level as u32))
}

/// How far it is, in bins, from a place to the nearest bin that is more than `ring` bins from the middle one; infinite if
/// there is none.
fn beyond(at: DVec3, middle: IVec3, ring: i32, counts: IVec3) -> f64 {
    let mut least = f64::INFINITY;
    for axis in 0..3 {
        let (low, high) = (middle[axis] - ring, middle[axis] + ring + 1);
        if low > 0 {
            least = least.min((at[axis] - f64::from(low)).max(0.0));
        }
        if high < counts[axis] {
            least = least.min((f64::from(high) - at[axis]).max(0.0));
        }
    }
    least
}
