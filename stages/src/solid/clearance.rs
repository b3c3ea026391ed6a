//! Distance from any point to the outside of a solid of cubes, exactly: the outside is a set of closed cubes, and the
//! distance to a cube is the length of what is left after clamping the point to it.

use glam::{BVec3, DVec3, IVec3};

use super::{Cells, Grid};
use crate::Side;

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

/// The air around a solid, ready to be asked for its blocks near a point.
#[derive(Clone, Debug)]
pub struct Shore<'a> {
    cells: &'a Cells,
    /// The cells of air that have material beside them, on a grid one cell larger all around.
    shore: Cells,
}

impl<'a> Shore<'a> {
    /// Finds the shore. Cells off the grid are air.
    #[must_use]
    pub fn of(cells: &'a Cells) -> Self {
        let grid = cells.grid();
        let around = Grid { origin: grid.origin - grid.cell, cell: grid.cell, counts: grid.counts + 2 };
        let beside = |cell: IVec3| Side::ALL.iter().any(|side| cells.solid(cell + side.step()));
        let shore = Cells::from_fn(around, |at| !cells.solid(at - 1) && beside(at - 1));
        Self { cells, shore }
    }

    /// The blocks of the shore within `radius` of a point; the nearest block of air to a point in the solid is one of
    /// them, if any is that near.
    pub fn blocks_near(&self, point: DVec3, radius: f64, blocks: &mut Vec<Block>) {
        blocks.clear();
        let grid = self.shore.grid();
        let (low, high) = ((point - grid.origin - radius) / grid.cell, (point - grid.origin + radius) / grid.cell);
        let low = low.floor().as_ivec3().max(IVec3::ZERO);
        let high = high.floor().as_ivec3().min(grid.counts - 1);
        if low.x > high.x {
            return;
        }
        for z in low.z..=high.z {
            for y in low.y..=high.y {
                for x in self.shore.solid_between(low.x, high.x, y, z) {
                    let block = Block::of(self.cells, IVec3::new(x, y, z) - 1);
                    if block.to(point).length_squared() <= radius * radius {
                        blocks.push(block);
                    }
                }
            }
        }
    }
}

/// From the nearest block's nearest point to `point`; `None` without blocks.
#[must_use]
pub fn nearest(blocks: &[Block], point: DVec3) -> Option<DVec3> {
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
    use super::*;
    use crate::solid::samples::listed;

    #[test]
    fn the_nearest_block_of_any_point_and_none_far_off() {
        let one = listed(&[[0, 0, 0]]);
        let shore = Shore::of(&one);
        let mut blocks = Vec::new();
        for (point, count, way) in [
            // In the cube: the six blocks beside it, the one on the left nearest.
            (DVec3::new(0.2, 0.5, 0.5), 6, Some(DVec3::new(0.2, 0.0, 0.0))),
            // In the air on its right: that block holds the point.
            (DVec3::new(1.5, 0.5, 0.5), 6, Some(DVec3::ZERO)),
            (DVec3::new(-9.0, 0.5, 0.5), 0, None),
            (DVec3::new(0.5, 0.5, 9.0), 0, None),
            (DVec3::splat(1e12), 0, None),
        ] {
            shore.blocks_near(point, 1.6, &mut blocks);
            assert_eq!(blocks.len(), count, "{point}");
            assert_eq!(nearest(&blocks, point), way, "{point}");
        }
    }
}
