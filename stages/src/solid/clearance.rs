//! Distance from any point to the outside of a solid of cubes, exactly: the outside is a set of closed cubes, and the
//! distance to a cube is the length of what is left after clamping the point to it.

use glam::{DVec3, IVec3};

use super::Cells;

/// A closed cube of air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Block {
    low: DVec3,
    high: DVec3,
}

impl Block {
    /// From the block's nearest point to `point`.
    #[must_use]
    pub fn to(&self, point: DVec3) -> DVec3 {
        point - point.clamp(self.low, self.high)
    }
}

/// The blocks of air that can be nearest to any point within `reach` of `point`, as far as they lie within `radius` of
/// it. Cells off the grid are air.
///
/// On each line of cells along x the nearest block on either side is kept; those behind it are farther from every point
/// between the two.
pub fn blocks_near(cells: &Cells, point: DVec3, radius: f64, blocks: &mut Vec<Block>) {
    blocks.clear();
    let grid = cells.grid();
    let local = (point - grid.origin) / grid.cell;
    let reach = radius / grid.cell;
    let lo = (local - reach).floor().as_ivec3();
    let hi = (local + reach).floor().as_ivec3();
    let own = (local.x.floor() as i32).clamp(-1, grid.counts.x);
    let mut keep = |cell: IVec3| {
        let low = grid.corner(cell);
        let block = Block { low, high: grid.corner(cell + 1) };
        if block.to(point).length_squared() <= radius * radius {
            blocks.push(block);
        }
    };
    for k in lo.z..=hi.z {
        for j in lo.y..=hi.y {
            if let Some(i) = (lo.x..=own).rev().find(|&i| !cells.solid(IVec3::new(i, j, k))) {
                keep(IVec3::new(i, j, k));
            }
            if let Some(i) = (own + 1..=hi.x).find(|&i| !cells.solid(IVec3::new(i, j, k))) {
                keep(IVec3::new(i, j, k));
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
