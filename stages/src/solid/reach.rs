//! Which cells lie at least so far from a set of cubes or centres: what [`Distances`] tells, for one distance and faster
//! where that is a few cells.
//!
//! The cells nearer than a distance are the set's Minkowski sum with a ball of whole cells. A ball is rows along x, of
//! `2 half + 1` cells; sums with rows of one length are taken together, 64 cells at a time: a cell of the sum is within
//! `half` of any of the set's lines that those rows lead to. Past some number of rows the distances themselves are
//! faster.

use std::collections::BTreeMap;

use glam::IVec3;

use super::distance::{Beyond, Distances, To};
use super::{Cells, air};

/// With more rows than this, distances are faster: about where both take as long.
const MOST_ROWS: usize = 900;

/// The cells whose centres lie at least `distance` mm from the nearest of the cubes.
#[must_use]
pub fn far_from_cubes(cubes: &Cells, beyond: Beyond, distance: f64) -> Cells {
    far(To::Cubes, cubes, beyond, distance)
}

/// The cells whose centres lie at least `distance` mm from the nearest of the cells' centres.
#[must_use]
pub fn far_from_centres(cells: &Cells, distance: f64) -> Cells {
    far(To::Centres, cells, Beyond::Nothing, distance)
}

fn far(to: To, cells: &Cells, beyond: Beyond, distance: f64) -> Cells {
    let least = Distances::squared_halves_of(distance, cells.grid().cell);
    match Ball::nearer_than(to, least) {
        Some(ball) => air(&ball.around(cells, beyond)),
        None => Distances::to(to, cells, beyond).at_least(distance),
    }
}

/// A ball of whole cells around a cell.
struct Ball {
    /// For each reach along x: the steps along y and z to the lines within that.
    rows: BTreeMap<u32, Vec<[i32; 2]>>,
}

impl Ball {
    /// The cells whose squared distance, in half edges, is below `least`; `None` if that is a great many.
    fn nearer_than(to: To, least: f64) -> Option<Self> {
        let near = |i: i32, j: i32, k: i32| {
            let squared: u32 = [i, j, k].into_iter().map(|n| to.squared_halves(n)).sum();
            f64::from(squared) < least
        };
        let mut rows: BTreeMap<u32, Vec<[i32; 2]>> = BTreeMap::new();
        // The rows of a ball with that radius would be too many.
        let most = (MOST_ROWS as f64).sqrt() as i32;
        let reach = (0..most).find(|&n| !near(n, 0, 0))? - 1;
        for k in -reach..=reach {
            for j in -reach..=reach {
                if let Some(half) = (0..=reach).rev().find(|&i| near(i, j, k)) {
                    rows.entry(half as u32).or_default().push([j, k]);
                }
            }
        }
        (rows.values().map(Vec::len).sum::<usize>() <= MOST_ROWS).then_some(Self { rows })
    }

    /// The cells around each of the set's.
    fn around(&self, cells: &Cells, beyond: Beyond) -> Cells {
        let IVec3 { x: nx, y: ny, z: nz } = cells.grid().counts;
        Cells::from_lines(*cells.grid(), |j, k, words| {
            let mut row = vec![0; words.len()];
            for (&half, steps) in &self.rows {
                row.fill(0);
                for [dj, dk] in steps {
                    let (j, k) = (j + dj, k + dk);
                    if (0..ny).contains(&j) && (0..nz).contains(&k) {
                        row.iter_mut().zip(cells.line(j, k)).for_each(|(row, word)| *row |= word);
                    } else if beyond == Beyond::Cubes {
                        row.fill(u64::MAX);
                    }
                }
                lengthen(&mut row, half);
                if beyond == Beyond::Cubes {
                    for i in (0..half as i32).flat_map(|i| [i, nx - 1 - i]).filter(|&i| (0..nx).contains(&i)) {
                        row[i as usize / 64] |= 1 << (i % 64);
                    }
                }
                words.iter_mut().zip(&row).for_each(|(word, row)| *word |= row);
            }
            cells.grid().trim(words);
        })
    }
}

/// Sets every bit within `half` of one that is set.
fn lengthen(words: &mut [u64], half: u32) {
    // Once every bit has spread over `done`, it may spread by as much again.
    let mut done = 0;
    while done < half {
        let by = (done + 1).min(half - done).min(63);
        let mut carried = 0;
        for word in words.iter_mut() {
            let next = *word >> (64 - by);
            *word |= *word << by | carried;
            carried = next;
        }
        done += by;
    }
    // And down. What came up from a bit comes back to it at most.
    let mut done = 0;
    while done < half {
        let by = (done + 1).min(half - done).min(63);
        let mut carried = 0;
        for word in words.iter_mut().rev() {
            let next = *word << (64 - by);
            *word |= *word >> by | carried;
            carried = next;
        }
        done += by;
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solid::samples::grid;

    fn few_cells() -> impl Strategy<Value = Cells> {
        let seeds = proptest::collection::vec((0..200i32, 0..20i32, 0..20i32), 0..9);
        (prop_oneof![1..9, 62..67, 126..131], 1..9i32, 1..9i32, seeds).prop_map(|(nx, ny, nz, seeds)| {
            let mut cells = Cells::empty(grid([nx, ny, nz]));
            for (x, y, z) in seeds {
                cells.set(IVec3::new(x % nx, y % ny, z % nz), true);
            }
            cells
        })
    }

    proptest! {
        /// Against every cube or centre, one by one: the definition.
        #[test]
        fn agrees_with_looking_at_every_cube(
            solid in few_cells(), halves in 0u32..16, cubes: bool, around: bool,
        ) {
            let grid = *solid.grid();
            let beyond = if around && cubes { Beyond::Cubes } else { Beyond::Nothing };
            let distance = f64::from(halves) / 2.0 * grid.cell;
            let found = if cubes { far_from_cubes(&solid, beyond, distance) } else { far_from_centres(&solid, distance) };
            let to_edge = |n: i32| f64::from(n.abs()) - if cubes && n != 0 { 0.5 } else { 0.0 };
            let between = |step: IVec3| step.to_array().map(|n| to_edge(n).powi(2)).iter().sum::<f64>();
            for at in air(&Cells::empty(grid)).iter() {
                let mut squared = solid.iter().map(|cell| between(cell - at)).fold(f64::INFINITY, f64::min);
                if beyond == Beyond::Cubes {
                    let border = (at + 1).min(grid.counts - at).min_element();
                    squared = squared.min(to_edge(border).powi(2));
                }
                prop_assert_eq!(found.solid(at), squared >= (f64::from(halves) / 2.0).powi(2), "{}", at);
            }
        }
    }

    #[test]
    fn near_and_far_the_two_ways_agree() {
        // Either side of the number of rows from which on distances are taken.
        let solid = Cells::from_fn(grid([90, 40, 40]), |c| (c * c).element_sum() % 977 == 5);
        for distance in [13.0, 16.4, 17.0, 30.0] {
            let by_distances = Distances::to_cubes(&solid, Beyond::Cubes).at_least(distance * solid.grid().cell);
            assert_eq!(far_from_cubes(&solid, Beyond::Cubes, distance * solid.grid().cell), by_distances, "{distance}");
        }
    }
}
