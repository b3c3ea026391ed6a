//! Cells in the order of their grid, with numbers: where a list of things has one for each cell of a set, which of them
//! belongs to a cell.

use glam::IVec3;

use super::Cells;

/// A set of cells that are numbered from 0 on, z slowest and x fastest.
#[derive(Clone, Debug)]
pub struct Numbered {
    cells: Cells,
    /// How many cells of the set come before each word of each line.
    before: Vec<u32>,
}

impl Numbered {
    /// Numbers the cells of a set.
    #[must_use]
    pub fn of(cells: Cells) -> Self {
        let counts = cells.grid().counts;
        let lines = (0..counts.z).flat_map(|k| (0..counts.y).map(move |j| (j, k)));
        let mut sum = 0;
        let mut before = Vec::new();
        for (j, k) in lines {
            for word in cells.line(j, k) {
                before.push(sum);
                sum += word.count_ones();
            }
        }
        Self { cells, before }
    }

    /// The set.
    #[must_use]
    pub fn cells(&self) -> &Cells {
        &self.cells
    }

    /// The number of a cell, if it is in the set.
    #[must_use]
    pub fn number(&self, cell: IVec3) -> Option<usize> {
        if !self.cells.solid(cell) {
            return None;
        }
        let line = self.cells.line(cell.y, cell.z);
        let (word, bit) = (cell.x as usize / 64, cell.x % 64);
        let lines_before = cell.z as usize * self.cells.grid().counts.y as usize + cell.y as usize;
        let within = (line[word] & ((1 << bit) - 1)).count_ones();
        Some((self.before[lines_before * line.len() + word] + within) as usize)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solid::samples::random_solid;

    proptest! {
        #[test]
        fn the_number_is_the_place_among_all(solid in random_solid()) {
            let numbered = Numbered::of(solid.clone());
            for (number, cell) in solid.iter().enumerate() {
                prop_assert_eq!(numbered.number(cell), Some(number));
            }
            for cell in crate::solid::air(&solid).iter().chain([IVec3::splat(-1), solid.grid().counts]) {
                prop_assert_eq!(numbered.number(cell), None);
            }
        }
    }
}
