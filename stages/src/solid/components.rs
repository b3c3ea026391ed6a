//! Connected components of a solid or of the air around it.
//!
//! Works on runs (maximal rows of solid cells along x, read straight from the bit words) joined by a union-find forest,
//! in one pass over neighbouring lines (Rosenfeld & Pfaltz 1966, "Sequential operations in digital picture processing",
//! with runs in place of pixels). Components are numbered by their first cell, z slowest and x fastest, so that the
//! numbers do not depend on the number of threads.
//!
//! Guarantees: every solid cell has exactly one label; the sizes add up to [`Cells::count`]; air that reaches the border
//! of the grid is outside, as if the grid went on for ever with no solid cell.

use glam::IVec3;
use rayon::prelude::*;

use super::forest::Forest;
use super::{Cells, Grid};

/// Which cells count as neighbours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Neighbours {
    /// The 6 that share a face.
    Faces,
    /// The 18 that share a face or an edge.
    Edges,
    /// The 26 that share a face, an edge or a corner.
    Corners,
}

impl Neighbours {
    /// The lines before a line, as steps in j and k, whose runs may touch its runs; and how far past their ends two runs
    /// still touch.
    fn earlier_lines(self) -> &'static [([i32; 2], i32)] {
        match self {
            Self::Faces => &[([-1, 0], 0), ([0, -1], 0)],
            Self::Edges => &[([-1, 0], 1), ([-1, -1], 0), ([0, -1], 1), ([1, -1], 0)],
            Self::Corners => &[([-1, 0], 1), ([-1, -1], 1), ([0, -1], 1), ([1, -1], 1)],
        }
    }
}

/// A row of cells along x, as long as it goes: cells `first` up to but not including `end`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Run {
    first: i32,
    end: i32,
}

/// The connected components of a solid.
#[derive(Clone, Debug)]
pub struct Components {
    grid: Grid,
    /// Every run, line by line.
    runs: Vec<Run>,
    /// Where each line's runs begin, and the end of the last.
    starts: Vec<usize>,
    /// The component of each run.
    labels: Vec<u32>,
    /// Cells in each component.
    sizes: Vec<usize>,
    /// First run of each component.
    heads: Vec<usize>,
    /// Whether each component has a cell on the border of the grid.
    on_border: Vec<bool>,
}

impl Components {
    /// Finds the components of the solid cells.
    #[must_use]
    pub fn of(cells: &Cells, neighbours: Neighbours) -> Self {
        let grid = *cells.grid();
        let (runs, starts) = runs_of(cells);
        let roots = joined(&grid, &runs, &starts, neighbours).roots();
        let mut found =
            Self { grid, labels: vec![0; runs.len()], runs, starts, sizes: vec![], heads: vec![], on_border: vec![] };
        found.number(&roots);
        found
    }

    /// Numbers the components, given the lowest run that is joined to each, and adds up what their runs say.
    fn number(&mut self, roots: &[usize]) {
        let IVec3 { x: nx, y: ny, z: nz } = self.grid.counts;
        for line in 0..self.starts.len() - 1 {
            let (j, k) = ((line as i32) % ny, (line as i32) / ny);
            let edge_line = j == 0 || j == ny - 1 || k == 0 || k == nz - 1;
            let span = self.starts[line]..self.starts[line + 1];
            for (at, &root) in span.clone().zip(&roots[span]) {
                // The lowest run comes first, so the others find its number.
                if root == at {
                    self.labels[at] = self.sizes.len() as u32;
                    self.sizes.push(0);
                    self.heads.push(at);
                    self.on_border.push(false);
                }
                let label = self.labels[root] as usize;
                let Run { first, end } = self.runs[at];
                self.labels[at] = label as u32;
                self.sizes[label] += (end - first) as usize;
                self.on_border[label] |= edge_line || first == 0 || end == nx;
            }
        }
    }

    /// Number of components.
    #[must_use]
    pub fn len(&self) -> usize {
        self.sizes.len()
    }

    /// Whether there is no solid cell at all.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.sizes.is_empty()
    }

    /// Cells in each component.
    #[must_use]
    pub fn sizes(&self) -> &[usize] {
        &self.sizes
    }

    /// The component with the most cells; of equals, the first.
    #[must_use]
    pub fn largest(&self) -> Option<usize> {
        let most = self.sizes.iter().max()?;
        self.sizes.iter().position(|size| size == most)
    }

    /// The first cell of a component, z slowest and x fastest.
    ///
    /// # Panics
    /// If there is no such component.
    #[must_use]
    pub fn first_cell(&self, component: usize) -> IVec3 {
        let run = self.heads[component];
        let line = self.starts.partition_point(|&start| start <= run) - 1;
        let ny = self.grid.counts.y;
        IVec3::new(self.runs[run].first, line as i32 % ny, line as i32 / ny)
    }

    /// Whether a component has a cell on the border of the grid.
    ///
    /// # Panics
    /// If there is no such component.
    #[must_use]
    pub fn on_border(&self, component: usize) -> bool {
        self.on_border[component]
    }

    /// The component of a cell, if it is solid.
    #[must_use]
    pub fn at(&self, cell: IVec3) -> Option<usize> {
        if !self.grid.holds(cell) {
            return None;
        }
        let line = cell.z as usize * self.grid.counts.y as usize + cell.y as usize;
        let runs = &self.runs[self.starts[line]..self.starts[line + 1]];
        let run = runs.partition_point(|run| run.end <= cell.x);
        runs.get(run).filter(|run| run.first <= cell.x).map(|_| self.labels[self.starts[line] + run] as usize)
    }

    /// Every row of cells along x, as long as it goes: its component, its first cell, and its last.
    pub(crate) fn rows(&self) -> impl Iterator<Item = (usize, [IVec3; 2])> + '_ {
        let ny = self.grid.counts.y;
        (0..self.starts.len() - 1).flat_map(move |line| {
            let end = move |x: i32| IVec3::new(x, line as i32 % ny, line as i32 / ny);
            let row = move |at: usize| {
                let Run { first, end: past } = self.runs[at];
                (self.labels[at] as usize, [end(first), end(past - 1)])
            };
            (self.starts[line]..self.starts[line + 1]).map(row)
        })
    }

    /// The cells of those components that `keep` asks for.
    #[must_use]
    pub fn cells_where(&self, keep: impl Fn(usize) -> bool + Sync) -> Cells {
        let ny = self.grid.counts.y as usize;
        Cells::from_lines(self.grid, |j, k, words| {
            let line = k as usize * ny + j as usize;
            for at in self.starts[line]..self.starts[line + 1] {
                if keep(self.labels[at] as usize) {
                    set_run(words, self.runs[at]);
                }
            }
        })
    }
}

/// The air of the grid: every cell that is not solid.
#[must_use]
pub fn air(solid: &Cells) -> Cells {
    let nx = solid.grid().counts.x;
    Cells::from_lines(*solid.grid(), |j, k, words| {
        set_run(words, Run { first: 0, end: nx });
        for (word, line) in words.iter_mut().zip(solid.line(j, k)) {
            *word &= !line;
        }
    })
}

/// The air that is reached from outside the grid through faces of cells.
#[must_use]
pub fn flood_from_outside(solid: &Cells) -> Cells {
    let air = Components::of(&air(solid), Neighbours::Faces);
    air.cells_where(|component| air.on_border(component))
}

/// The air that is not reached from outside the grid through faces of cells.
#[must_use]
pub fn enclosed_voids(solid: &Cells) -> Cells {
    let air = Components::of(&air(solid), Neighbours::Faces);
    air.cells_where(|component| !air.on_border(component))
}

/// The runs of every line, and where each line's begin.
fn runs_of(cells: &Cells) -> (Vec<Run>, Vec<usize>) {
    let IVec3 { y: ny, z: nz, .. } = cells.grid().counts;
    let layers: Vec<(Vec<Run>, Vec<usize>)> = (0..nz)
        .into_par_iter()
        .map(|k| {
            let mut runs = Vec::new();
            let ends = (0..ny)
                .map(|j| {
                    append_runs(cells.line(j, k), &mut runs);
                    runs.len()
                })
                .collect();
            (runs, ends)
        })
        .collect();
    let mut runs = Vec::with_capacity(layers.iter().map(|(runs, _)| runs.len()).sum());
    let mut starts = Vec::with_capacity(ny as usize * nz as usize + 1);
    starts.push(0);
    for (layer, ends) in layers {
        let base = runs.len();
        runs.extend(layer);
        starts.extend(ends.iter().map(|end| base + end));
    }
    (runs, starts)
}

/// Appends the runs of one line.
fn append_runs(words: &[u64], runs: &mut Vec<Run>) {
    let mut first = None;
    for (w, &word) in words.iter().enumerate() {
        let base = w as i32 * 64;
        let mut done = 0;
        // Alternately skips to the next set bit and to the next clear one.
        while done < 64 {
            let rest = if first.is_none() { word >> done } else { !word >> done };
            let step = rest.trailing_zeros();
            if step + done >= 64 {
                break;
            }
            done += step;
            let at = base + done as i32;
            match first.take() {
                None => first = Some(at),
                Some(first) => runs.push(Run { first, end: at }),
            }
        }
    }
    if let Some(first) = first {
        runs.push(Run { first, end: words.len() as i32 * 64 });
    }
}

/// Joins the runs that touch.
fn joined(grid: &Grid, runs: &[Run], starts: &[usize], neighbours: Neighbours) -> Forest {
    let IVec3 { y: ny, z: nz, .. } = grid.counts;
    let mut forest = Forest::of(runs.len());
    let line = |j: i32, k: i32| k as usize * ny as usize + j as usize;
    for k in 0..nz {
        for j in 0..ny {
            for &([dj, dk], reach) in neighbours.earlier_lines() {
                if (0..ny).contains(&(j + dj)) && k + dk >= 0 {
                    join_lines(&mut forest, runs, starts, [line(j, k), line(j + dj, k + dk)], reach);
                }
            }
        }
    }
    forest
}

/// Joins the runs of two lines that overlap, or miss each other by less than `reach`.
fn join_lines(forest: &mut Forest, runs: &[Run], starts: &[usize], lines: [usize; 2], reach: i32) {
    let [mut a, mut b] = lines.map(|line| starts[line]);
    let [a_end, b_end] = lines.map(|line| starts[line + 1]);
    while a < a_end && b < b_end {
        if runs[a].first < runs[b].end + reach && runs[b].first < runs[a].end + reach {
            forest.join(a, b);
        }
        // Runs of one line are at least a cell apart, so the run that ends first touches nothing further on.
        if runs[a].end < runs[b].end {
            a += 1;
        } else {
            b += 1;
        }
    }
}

/// Sets the bits of a run.
fn set_run(words: &mut [u64], Run { first, end }: Run) {
    let (first, end) = (first as usize, end as usize);
    for (w, word) in words.iter_mut().enumerate().take(end.div_ceil(64)).skip(first / 64) {
        let from = first.saturating_sub(w * 64);
        let to = (end - w * 64).min(64);
        *word |= (u64::MAX << from) & (u64::MAX >> (64 - to));
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "tests")]
mod tests {
    use std::collections::BTreeSet;

    use proptest::prelude::*;

    use super::*;
    use crate::solid::samples::{grid, random_solid};

    /// Steps to the neighbours, by how many coordinates may change.
    fn steps(neighbours: Neighbours) -> Vec<IVec3> {
        let most = match neighbours {
            Neighbours::Faces => 1,
            Neighbours::Edges => 2,
            Neighbours::Corners => 3,
        };
        (0..27)
            .map(|n| IVec3::new(n % 3 - 1, n / 3 % 3 - 1, n / 9 - 1))
            .filter(|s| (1..=most).contains(&s.abs().element_sum()))
            .collect()
    }

    /// Floods cell by cell from a seed: the slow way, sharing nothing with the code under test.
    fn flood(cells: &Cells, seed: IVec3, steps: &[IVec3]) -> BTreeSet<[i32; 3]> {
        let mut seen = BTreeSet::from([seed.to_array()]);
        let mut stack = vec![seed];
        while let Some(cell) = stack.pop() {
            for next in steps.iter().map(|&s| cell + s).filter(|&c| cells.solid(c)) {
                if seen.insert(next.to_array()) {
                    stack.push(next);
                }
            }
        }
        seen
    }

    proptest! {
        #[test]
        fn components_are_what_a_flood_reaches(cells in random_solid()) {
            for neighbours in [Neighbours::Faces, Neighbours::Edges, Neighbours::Corners] {
                let found = Components::of(&cells, neighbours);
                let steps = steps(neighbours);
                let mut seen = 0;
                for label in 0..found.len() {
                    let reached = flood(&cells, found.first_cell(label), &steps);
                    prop_assert_eq!(reached.len(), found.sizes()[label]);
                    let set = found.cells_where(|l| l == label);
                    prop_assert_eq!(set.iter().map(|c| c.to_array()).collect::<BTreeSet<_>>(), reached.clone());
                    prop_assert!(reached.iter().all(|&c| found.at(c.into()) == Some(label)));
                    seen += reached.len();
                }
                prop_assert_eq!(seen, cells.count());
                prop_assert!(cells.iter().all(|c| found.at(c).is_some()));
            }
        }

        #[test]
        fn outside_air_is_what_a_flood_from_a_wider_grid_reaches(cells in random_solid()) {
            // The same solid with a rim of air, flooded from a corner of the rim.
            let counts = cells.grid().counts;
            let wider = Grid { counts: counts + 2, ..*cells.grid() };
            let rimmed = Cells::from_fn(wider, |c| !cells.solid(c - 1));
            let reached = flood(&rimmed, IVec3::ZERO, &steps(Neighbours::Faces));
            let outside = flood_from_outside(&cells);
            let voids = enclosed_voids(&cells);
            for n in 0..cells.grid().len() as i32 {
                let c = IVec3::new(n % counts.x, n / counts.x % counts.y, n / counts.x / counts.y);
                prop_assert_eq!(outside.solid(c), reached.contains(&(c + 1).to_array()));
                prop_assert_eq!(u8::from(outside.solid(c)) + u8::from(voids.solid(c)) + u8::from(cells.solid(c)), 1);
            }
        }
    }

    #[test]
    fn a_grid_without_cells_has_no_components() {
        for counts in [IVec3::ZERO, IVec3::new(0, 3, 3), IVec3::new(3, 0, 3), IVec3::new(3, 3, 0), IVec3::splat(3)] {
            let cells = Cells::empty(grid(counts));
            let found = Components::of(&cells, Neighbours::Corners);
            assert!(found.is_empty() && found.largest().is_none(), "{counts}");
            assert_eq!(flood_from_outside(&cells).count(), cells.grid().len(), "{counts}");
        }
    }

    #[test]
    fn the_first_of_equals_is_the_largest() {
        let cells = Cells::from_fn(grid([7, 1, 1]), |c| ![1, 4].contains(&c.x));
        let found = Components::of(&cells, Neighbours::Faces);
        assert_eq!(found.sizes(), [1, 2, 2]);
        assert_eq!(found.first_cell(found.largest().unwrap()), IVec3::new(2, 0, 0));
    }
}
