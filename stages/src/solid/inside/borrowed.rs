//! How much of the whole number around a closed surface is the cap's own: w(C) rounded, for every cell.
//!
//! Blocks of cells are looked at as balls. Where the cap's winding number rounds to one number all over the ball, the whole
//! block is settled; else it is cut in eight, down to single cells, each with the part of the tree that its block opened.

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use crate::solid::Grid;
use crate::solid::winding::{Ball, Front, Winding};

/// Edge, in cells, of the blocks in which the answer is kept.
const BLOCK: i32 = 8;
/// Edge, in cells, of the blocks that are tasks.
const TASK: i32 = 64;

/// The cap's winding number rounded, for every cell of a grid.
pub(super) struct Borrowed {
    /// Blocks along each axis; zero where there is no cap.
    counts: IVec3,
    blocks: Vec<Block>,
    /// Whether the number is 0 all along the lines of blocks along x: by `y`, then `z`.
    plain: Vec<bool>,
    /// For how many cells the number was found one by one.
    pub(super) summed: usize,
}

/// A block of cells.
#[derive(Clone)]
enum Block {
    Same(i32),
    Each(Box<[i16; (BLOCK * BLOCK * BLOCK) as usize]>),
}

impl Borrowed {
    /// Finds the numbers of a cap, for cells whose number is farther than `accuracy` from a half.
    pub(super) fn of(cap: &[[DVec3; 3]], grid: Grid, accuracy: f64) -> Self {
        if cap.is_empty() {
            return Self { counts: IVec3::ZERO, blocks: Vec::new(), plain: Vec::new(), summed: 0 };
        }
        let search = Search { tree: Winding::new(cap.to_vec()), grid, accuracy };
        let counts = (grid.counts + BLOCK - 1) / BLOCK;
        let place = |block: IVec3| {
            (block.z as usize * counts.y as usize + block.y as usize) * counts.x as usize + block.x as usize
        };
        let mut blocks = vec![Block::Same(0); counts.to_array().iter().map(|&n| n as usize).product()];
        let mut summed = 0;
        for (low, block) in search.tasks().flatten() {
            summed += if let Block::Each(_) = block { search.cells(low) } else { 0 };
            blocks[place(low / BLOCK)] = block;
        }
        let plain = blocks
            .chunks(counts.x as usize)
            .map(|line| line.iter().all(|block| matches!(block, Block::Same(0))))
            .collect();
        Self { counts, blocks, plain, summed }
    }

    /// The cap's number at a cell, rounded.
    pub(super) fn at(&self, i: i32, j: i32, k: i32) -> i32 {
        let line = self.line(j, k);
        match &self.blocks[line * self.counts.x as usize + (i / BLOCK) as usize] {
            Block::Same(number) => *number,
            Block::Each(numbers) => i32::from(numbers[within(IVec3::new(i, j, k) % BLOCK)]),
        }
    }

    /// Whether the number is 0 all along a line of cells.
    pub(super) fn plain(&self, j: i32, k: i32) -> bool {
        self.plain.is_empty() || self.plain[self.line(j, k)]
    }

    fn line(&self, j: i32, k: i32) -> usize {
        (k / BLOCK) as usize * self.counts.y as usize + (j / BLOCK) as usize
    }
}

/// Where a cell's number stands in its block.
fn within(cell: IVec3) -> usize {
    ((cell.z * BLOCK + cell.y) * BLOCK + cell.x) as usize
}

struct Search {
    tree: Winding,
    grid: Grid,
    accuracy: f64,
}

impl Search {
    /// Goes through the grid in blocks of [`TASK`]; gives the blocks of [`BLOCK`] that are not 0, by their lowest cells.
    fn tasks(&self) -> impl Iterator<Item = Vec<(IVec3, Block)>> {
        let counts = ((self.grid.counts + TASK - 1) / TASK).as_i64vec3();
        let found: Vec<Vec<(IVec3, Block)>> = (0..counts.element_product())
            .into_par_iter()
            .map(|at| {
                let (nx, ny) = (counts.x, counts.y);
                let low = IVec3::new((at % nx) as i32, (at / nx % ny) as i32, (at / nx / ny) as i32) * TASK;
                let mut found = Vec::new();
                self.search(low, TASK, &self.tree.front(), &mut found);
                found
            })
            .collect();
        found.into_iter()
    }

    /// Cells of a block that lie on the grid.
    fn cells(&self, low: IVec3) -> usize {
        (self.grid.counts - low).min(IVec3::splat(BLOCK)).element_product() as usize
    }

    fn search(&self, low: IVec3, edge: i32, front: &Front, found: &mut Vec<(IVec3, Block)>) {
        if low.cmpge(self.grid.counts).any() {
            return;
        }
        let (front, same) = self.same(front, self.ball(low, edge));
        match same {
            Some(0) => {}
            Some(number) => found.extend(self.parts(low, edge).map(|part| (part, Block::Same(number)))),
            None if edge > BLOCK => {
                for corner in eighths(edge) {
                    self.search(low + corner, edge / 2, &front, found);
                }
            }
            None => {
                let mut numbers = Box::new([0i16; (BLOCK * BLOCK * BLOCK) as usize]);
                self.each(low, low, edge, &front, numbers.as_mut_slice());
                found.push((low, Block::Each(numbers)));
            }
        }
    }

    /// The blocks of [`BLOCK`] on the grid in a larger one.
    fn parts(&self, low: IVec3, edge: i32) -> impl Iterator<Item = IVec3> {
        let (n, counts) = (edge / BLOCK, self.grid.counts);
        (0..n * n * n)
            .map(move |at| low + BLOCK * IVec3::new(at % n, at / n % n, at / n / n))
            .filter(move |part| part.cmplt(counts).all())
    }

    /// Settles the cells from `low` on, within the block that begins at `block`.
    fn each(&self, block: IVec3, low: IVec3, edge: i32, front: &Front, numbers: &mut [i16]) {
        if low.cmpge(self.grid.counts).any() {
            return;
        }
        if edge == 1 {
            let settled = self.tree.settle(front, self.grid.centre(low), self.accuracy);
            numbers[within(low - block)] = number(rounded(settled.value, self.accuracy));
            return;
        }
        let (front, same) = self.same(front, self.ball(low, edge));
        if let Some(same) = same {
            for at in 0..edge * edge * edge {
                let cell = IVec3::new(at % edge, at / edge % edge, at / edge / edge);
                numbers[within(low - block + cell)] = number(f64::from(same));
            }
            return;
        }
        for corner in eighths(edge) {
            self.each(block, low + corner, edge / 2, &front, numbers);
        }
    }

    /// The one number to which the cap's rounds all over a ball, if that can be told; and the front that was opened.
    fn same(&self, front: &Front, ball: Ball) -> (Front, Option<i32>) {
        let (front, estimate) = self.tree.look(front, ball);
        let same = estimate.rounded().or_else(|| self.tree.smooth(&front, ball)?.rounded());
        (front, same)
    }

    /// The ball around the centres of a block's cells.
    fn ball(&self, low: IVec3, edge: i32) -> Ball {
        let half = f64::from(edge - 1) / 2.0;
        Ball { centre: self.grid.centre(low) + self.grid.cell * half, radius: self.grid.cell * half * 3f64.sqrt() }
    }
}

/// The nearest whole number. What lies within the accuracy of a half goes towards 0, lest rounding decides: in the plane of
/// a sheet, for one.
fn rounded(value: f64, accuracy: f64) -> f64 {
    let off = (value.abs().fract() - 0.5).abs();
    if off <= accuracy { value.trunc() } else { value.round() }
}

/// A winding number as it is kept: no model winds 32 767 times around a cell, but a file may.
fn number(rounded: f64) -> i16 {
    rounded as i16
}

/// The lowest corners of the eight halves of a block.
fn eighths(edge: i32) -> impl Iterator<Item = IVec3> {
    (0..8).map(move |at| edge / 2 * IVec3::new(at & 1, at >> 1 & 1, at >> 2))
}
