//! Shadows along the axes: of triangles and of cubes, on a lattice of places across the axis.

use std::sync::atomic::{AtomicU64, Ordering};

use glam::DVec2;
use rayon::prelude::*;

use crate::solid::{Cells, Grid, Surface};

/// Places in a shadow: as many as fit into this, from one in the middle of each cell's shadow to 8 × 8 in it.
const PLACES: f64 = (1 << 20) as f64;

/// Triangles that one task draws.
const TASK: usize = 4096;

/// Intersection over union of the shadows along x, y and z.
pub(super) fn overlaps(surface: &Surface, cells: &Cells) -> [f64; 3] {
    [0, 1, 2].map(|axis| {
        let screen = Screen::of(cells.grid(), axis);
        overlap(&screen, &screen.of_surface(surface), &of_cubes(cells, axis))
    })
}

/// Where a shadow falls: rows along one axis, lined up along the other.
struct Screen {
    /// The axes of rows and of their order.
    axes: [usize; 2],
    /// Places in a cell along an axis.
    parts: i32,
    counts: [i32; 2],
    words_a_row: usize,
    low: DVec2,
    /// Distance of places, in mm.
    pitch: f64,
}

/// One bit a place, row by row, each in whole words.
type Rows = Vec<AtomicU64>;

impl Screen {
    fn of(grid: &Grid, axis: usize) -> Self {
        let axes = [[1, 2], [0, 2], [0, 1]][axis];
        let cells = axes.map(|axis| grid.counts[axis]);
        let parts = (PLACES / (f64::from(cells[0]) * f64::from(cells[1]))).sqrt().clamp(1.0, 8.0) as i32;
        let counts = cells.map(|n| n * parts);
        let words_a_row = (counts[0] as usize).div_ceil(64);
        let low = DVec2::from_array(axes.map(|axis| grid.origin[axis]));
        Self { axes, parts, counts, words_a_row, low, pitch: grid.cell / f64::from(parts) }
    }

    /// The shadow of all triangles.
    fn of_surface(&self, surface: &Surface) -> Rows {
        let rows: Rows = (0..self.words_a_row * self.counts[1] as usize).map(|_| AtomicU64::new(0)).collect();
        // Places at whole numbers.
        let place = |p: glam::DVec3| (DVec2::from_array(self.axes.map(|axis| p[axis])) - self.low) / self.pitch - 0.5;
        surface.triangles().par_chunks(TASK).enumerate().for_each(|(task, triangles)| {
            for n in 0..triangles.len() {
                self.draw(surface.corners(task * TASK + n).map(place), &rows);
            }
        });
        rows
    }

    /// Adds the places under a triangle. Bits are only ever added, so it does not matter who comes first.
    fn draw(&self, corners: [DVec2; 3], rows: &Rows) {
        let [a, b, c] = corners;
        let (low, high) = (a.min(b).min(c).y, a.max(b).max(c).y);
        let (first, last) = (low.ceil().max(0.0) as i32, high.floor().min(f64::from(self.counts[1] - 1)) as i32);
        for row in first..=last {
            let Some((from, to)) = span(corners, f64::from(row)) else { continue };
            let from = from.ceil().max(0.0) as usize;
            let to = to.floor().min(f64::from(self.counts[0] - 1));
            if to < from as f64 {
                continue;
            }
            let to = to as usize;
            for w in from / 64..=to / 64 {
                let mask = (u64::MAX << from.saturating_sub(w * 64)) & (u64::MAX >> (63 - (to - w * 64).min(63)));
                let word = &rows[row as usize * self.words_a_row + w];
                if word.load(Ordering::Relaxed) & mask != mask {
                    word.fetch_or(mask, Ordering::Relaxed);
                }
            }
        }
    }
}

/// From where to where a triangle spans the line at `y`.
fn span(corners: [DVec2; 3], y: f64) -> Option<(f64, f64)> {
    let mut span: Option<(f64, f64)> = None;
    let mut take = |x: f64| span = Some(span.map_or((x, x), |(from, to)| (from.min(x), to.max(x))));
    for n in 0..3 {
        let (p, q) = (corners[n], corners[(n + 1) % 3]);
        if p.y == y {
            take(p.x);
        }
        if (p.y < y) != (q.y < y) {
            take(p.x + (q.x - p.x) * ((y - p.y) / (q.y - p.y)));
        }
    }
    span
}

/// The shadow of a solid of cubes, one bit a cell, row by row.
fn of_cubes(cells: &Cells, axis: usize) -> Cells {
    let counts = cells.grid().counts;
    let (across, other) = [(counts.y, counts.z), (counts.x, counts.z), (counts.x, counts.y)][axis];
    let grid = Grid { counts: glam::IVec3::new(across, other, 1), ..*cells.grid() };
    Cells::from_lines(grid, |row, _, words| match axis {
        0 => {
            for j in 0..counts.y {
                let any = cells.line(j, row).iter().any(|&word| word != 0);
                words[j as usize / 64] |= u64::from(any) << (j % 64);
            }
        }
        1 => (0..counts.y).for_each(|j| add(words, cells.line(j, row))),
        _ => (0..counts.z).for_each(|k| add(words, cells.line(row, k))),
    })
}

fn add(words: &mut [u64], others: &[u64]) {
    words.iter_mut().zip(others).for_each(|(word, other)| *word |= other);
}

/// Intersection over union; 0 if both are empty.
fn overlap(screen: &Screen, surface: &Rows, cubes: &Cells) -> f64 {
    let count = |row: i32| {
        let cells = cubes.line(row / screen.parts, 0);
        let start = row as usize * screen.words_a_row;
        let mut counts = [0usize; 2];
        for (w, word) in surface[start..start + screen.words_a_row].iter().enumerate() {
            let places = (screen.counts[0] as usize - w * 64).min(64);
            let mut shadow = 0u64;
            for bit in 0..places {
                let cell = (w * 64 + bit) / screen.parts as usize;
                shadow |= (cells[cell / 64] >> (cell % 64) & 1) << bit;
            }
            let word = word.load(Ordering::Relaxed);
            counts[0] += (word & shadow).count_ones() as usize;
            counts[1] += (word | shadow).count_ones() as usize;
        }
        counts
    };
    let [both, either] =
        (0..screen.counts[1]).into_par_iter().map(count).reduce(|| [0; 2], |a, b| [a[0] + b[0], a[1] + b[1]]);
    if either == 0 { 0.0 } else { both as f64 / either as f64 }
}
