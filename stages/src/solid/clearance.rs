//! Distance from any point to the outside of a solid of cubes, exactly: the outside is a set of closed cubes, and the
//! distance to a cube is the length of what is left after clamping the point to it.

use glam::{BVec3, DVec3, IVec3};
use rayon::prelude::*;

use super::{Cells, Grid, Numbered};

/// A closed cube of air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    low: DVec3,
    high: DVec3,
    /// On which of its sides, below and above along each axis, there is air as well.
    air_below: BVec3,
    air_above: BVec3,
}

/// A component of a way shorter than this share of the cell is rounding.
const ROUNDING: f64 = 1e-9;

impl Block {
    fn of(cells: &Cells, cell: IVec3) -> Self {
        let grid = cells.grid();
        let air = |sign: i32| {
            let to = |axis: IVec3| !cells.solid(cell + sign * axis);
            BVec3::new(to(IVec3::X), to(IVec3::Y), to(IVec3::Z))
        };
        Self { low: grid.corner(cell), high: grid.corner(cell + 1), air_below: air(-1), air_above: air(1) }
    }

    /// From the block's nearest point to `point`.
    #[must_use]
    pub fn to(&self, point: DVec3) -> DVec3 {
        point - point.clamp(self.low, self.high)
    }

    /// Whether another block of air is nearer to every point of a box.
    fn hides(&self, low: DVec3, high: DVec3) -> bool {
        let least = ROUNDING * (self.high.x - self.low.x);
        (self.air_below & high.cmplt(self.low - least) | self.air_above & low.cmpgt(self.high + least)).any()
    }

    /// Where a point that moves along an axis, up or down, comes within `wall` of the block; `None` if it passes by.
    #[must_use]
    pub fn stops(&self, point: DVec3, axis: usize, up: bool, wall: f64) -> Option<f64> {
        let mut across = self.to(point);
        let ahead = across[axis];
        across[axis] = 0.0;
        let left = wall * wall - across.length_squared();
        // A point that slides along at the wall's distance, up to rounding, passes by.
        if left <= ROUNDING * wall * wall || (up && ahead > 0.0) || (!up && ahead < 0.0) {
            return None;
        }
        Some(if up { self.low[axis] - left.sqrt() } else { self.high[axis] + left.sqrt() })
    }

    /// How the block is met along a way from its nearest point: at a face, around an edge or corner, or not at all
    /// because a block of air beside it is nearer.
    #[must_use]
    pub fn met(&self, way: DVec3) -> Met {
        let least = ROUNDING * (self.high.x - self.low.x);
        let (below, above) = (way.cmplt(DVec3::splat(-least)), way.cmpgt(DVec3::splat(least)));
        if (below & self.air_below | above & self.air_above).any() {
            return Met::Behind;
        }
        if (below | above).bitmask().count_ones() > 1 { Met::Around } else { Met::Face }
    }
}

/// See [`Block::met`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Met {
    /// The distance is linear nearby.
    Face,
    /// The distance is curved nearby.
    Around,
    /// Another block is nearer.
    Behind,
}

/// The air around a solid, ready to be asked which of its blocks are near.
///
/// The nearest block of air to a point in the solid is one with material beside it, so only these are kept. They are
/// listed for whole cells at a time, since many points lie in each.
#[derive(Clone, Debug)]
pub struct Shore {
    /// The cells of air that have material beside them, on a grid one cell larger all around.
    shore: Numbered,
    blocks: Vec<Block>,
    /// How near to a cell a block must lie to be listed for it.
    reach: f64,
    /// How far off its cell a point may lie along an axis.
    sway: f64,
    /// Which list is a cell's, on the grid of the solid; `NONE` where there is none yet.
    lists: Vec<u32>,
    /// Where each list ends in `listed`, and the numbers of its blocks.
    ends: Vec<u32>,
    listed: Vec<u32>,
}

/// No list.
const NONE: u32 = u32::MAX;

impl Shore {
    /// Finds the shore of a solid, to be asked about points no more than `sway` off their cell along any axis and blocks
    /// no more than `reach` from it, in mm. Cells off the grid are air.
    #[must_use]
    pub fn of(cells: &Cells, reach: f64, sway: f64) -> Self {
        let grid = cells.grid();
        let around = Grid { origin: grid.origin - grid.cell, cell: grid.cell, counts: grid.counts + 2 };
        let shore = Numbered::of(beside(&moved(cells, around)));
        let blocks = shore.cells().iter().map(|at| Block::of(cells, at - 1)).collect();
        let lists = vec![NONE; grid.len()];
        Self { shore, blocks, reach, sway, lists, ends: vec![0], listed: Vec::new() }
    }

    /// Makes the lists of blocks near some cells of the solid, in any order, where they are not made yet.
    ///
    /// # Panics
    /// If a cell is off the grid.
    pub fn list(&mut self, cells: impl IntoIterator<Item = IVec3>) {
        let mut wanted = Vec::new();
        for cell in cells {
            let place = self.place(cell);
            if self.lists[place] == NONE {
                self.lists[place] = (self.ends.len() - 1 + wanted.len()) as u32;
                wanted.push(cell);
            }
        }
        let made: Vec<Vec<u32>> = wanted.par_iter().map(|&cell| self.near(cell)).collect();
        for list in made {
            self.listed.extend(list);
            self.ends.push(self.listed.len() as u32);
        }
    }

    /// The blocks near a cell: the nearest to a point no farther off than the sway is one of them, if it is as near as the
    /// reach. None without a list.
    pub fn blocks(&self, cell: IVec3) -> impl Iterator<Item = &Block> + Clone {
        let list = self.lists[self.place(cell)];
        let listed = match list {
            NONE => &[],
            list => &self.listed[self.ends[list as usize] as usize..self.ends[list as usize + 1] as usize],
        };
        listed.iter().map(|&number| &self.blocks[number as usize])
    }

    /// Where a cell of the solid comes among all.
    fn place(&self, cell: IVec3) -> usize {
        let counts = self.shore.cells().grid().counts - 2;
        assert!(cell.cmpge(IVec3::ZERO).all() && cell.cmplt(counts).all(), "cell {cell} is off the grid");
        (cell.z as usize * counts.y as usize + cell.y as usize) * counts.x as usize + cell.x as usize
    }

    /// The numbers of the blocks within reach of a cell that are the nearest to some point near it.
    fn near(&self, cell: IVec3) -> Vec<u32> {
        let grid = self.shore.cells().grid();
        let (low, high) = (grid.corner(cell + 1), grid.corner(cell + 2));
        let steps = (self.reach / grid.cell).ceil() as i32;
        let (first, last) = ((cell + 1 - steps).max(IVec3::ZERO), (cell + 1 + steps).min(grid.counts - 1));
        let mut near = Vec::new();
        for z in first.z..=last.z {
            for y in first.y..=last.y {
                for x in self.shore.cells().solid_between(first.x, last.x, y, z) {
                    let number = self.shore.number(IVec3::new(x, y, z)).expect("it was just found");
                    let block = &self.blocks[number];
                    let gap = (block.low - high).max(low - block.high).max(DVec3::ZERO);
                    if gap.length_squared() <= self.reach * self.reach
                        && !block.hides(low - self.sway, high + self.sway)
                    {
                        near.push(number as u32);
                    }
                }
            }
        }
        near
    }
}

/// The cells on a grid that begins one cell before theirs along each axis.
fn moved(cells: &Cells, grid: Grid) -> Cells {
    let counts = cells.grid().counts;
    Cells::from_lines(grid, |j, k, words| {
        if (1..=counts.y).contains(&j) && (1..=counts.z).contains(&k) {
            let mut carried = 0;
            let line = cells.line(j - 1, k - 1).iter().copied().chain([0]);
            for (word, cells) in words.iter_mut().zip(line) {
                *word = cells << 1 | carried;
                carried = cells >> 63;
            }
        }
    })
}

/// The cells beside those of a solid. Those off the grid are left out.
fn beside(solid: &Cells) -> Cells {
    let IVec3 { y: ny, z: nz, .. } = solid.grid().counts;
    let line = |j: i32, k: i32| {
        if (0..ny).contains(&j) && (0..nz).contains(&k) { solid.line(j, k) } else { &[] as &[u64] }
    };
    Cells::from_lines(*solid.grid(), |j, k, words| {
        let here = line(j, k);
        let around = [line(j - 1, k), line(j + 1, k), line(j, k - 1), line(j, k + 1)];
        let word = |line: &[u64], w: usize| line.get(w).copied().unwrap_or(0);
        for (w, beside) in words.iter_mut().enumerate() {
            let before = w.checked_sub(1).map_or(0, |w| here[w] >> 63);
            let along = here[w] << 1 | before | here[w] >> 1 | word(here, w + 1) << 63;
            *beside = around.iter().fold(along, |any, line| any | word(line, w)) & !here[w];
        }
        solid.grid().trim(words);
    })
}

/// From the nearest block's nearest point to `point`; `None` without blocks.
#[must_use]
pub fn nearest<'a>(blocks: impl Iterator<Item = &'a Block>, point: DVec3) -> Option<DVec3> {
    let mut best: Option<(f64, DVec3)> = None;
    for block in blocks {
        let way = block.to(point);
        let squared = way.length_squared();
        if best.is_none_or(|(least, _)| squared < least) {
            best = Some((squared, way));
        }
    }
    best.map(|(_, way)| way)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solid::air;
    use crate::solid::samples::{grid, listed, random_solid};

    #[test]
    fn the_nearest_block_of_any_point_near_a_cell() {
        let one = listed(&[[0, 0, 0]]);
        let mut shore = Shore::of(&one, 1.6, 0.6);
        assert_eq!(shore.blocks(IVec3::ZERO).count(), 0, "no list yet");
        shore.list([IVec3::ZERO]);
        assert_eq!(shore.blocks(IVec3::ZERO).count(), 6);
        for (point, way) in [
            // In the cube: the block on the left is nearest.
            (DVec3::new(0.2, 0.5, 0.5), DVec3::new(0.2, 0.0, 0.0)),
            // In the air on its right: that block holds the point.
            (DVec3::new(1.5, 0.5, 0.5), DVec3::ZERO),
        ] {
            assert_eq!(nearest(shore.blocks(IVec3::ZERO), point), Some(way), "{point}");
        }
    }

    proptest! {
        /// Against every cell of air around, one by one: the definition.
        #[test]
        fn no_block_that_is_nearest_is_left_out(solid in random_solid(), at in 0..1000usize, off: [i8; 3]) {
            let cells: Vec<IVec3> = solid.iter().collect();
            prop_assume!(!cells.is_empty());
            let cell = cells[at % cells.len()];
            let (reach, sway) = (3.0, 0.4);
            let mut shore = Shore::of(&solid, reach, sway);
            shore.list([cell]);
            let off = off.map(|n| f64::from(n) / 128.0 * (0.5 + sway));
            let point = cell.as_dvec3() + 0.5 + DVec3::from_array(off);
            // A point that has left the material has no wall to keep.
            prop_assume!(solid.solid(point.floor().as_ivec3()));
            let around = air(&Cells::empty(grid(IVec3::splat(9))));
            let away = |low: DVec3| (point - point.clamp(low, low + 1.0)).length();
            let near = around.iter().map(|step| cell + step - 4).filter(|&c| !solid.solid(c));
            let least = near.map(|c| away(c.as_dvec3())).fold(f64::INFINITY, f64::min);
            let found = nearest(shore.blocks(cell), point).map_or(f64::INFINITY, |way| way.length());
            prop_assert!(found == least || least > reach - 3f64.sqrt() * sway, "{found} for {least}");
        }
    }
}
