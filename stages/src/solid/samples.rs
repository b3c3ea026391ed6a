//! Solids for tests.

use glam::{DVec3, IVec3};
use proptest::prelude::*;

use super::{Cells, Grid};

/// A grid of 1 mm cells at the origin.
pub(crate) fn grid(counts: impl Into<IVec3>) -> Grid {
    Grid { origin: DVec3::ZERO, cell: 1.0, counts: counts.into() }
}

/// The listed cells, on a grid that just holds them.
pub(crate) fn listed(cells: &[[i32; 3]]) -> Cells {
    let counts = cells.iter().fold(IVec3::ZERO, |most, &c| most.max(IVec3::from(c) + 1));
    Cells::from_fn(grid(counts), |c| cells.contains(&c.to_array()))
}

/// Cells centred on the lattice points whose squared distance from the middle cell lies above `above` and up to `n²`.
pub(crate) fn lattice_shell(n: i32, above: i32) -> Cells {
    Cells::from_fn(grid(IVec3::splat(2 * n + 1)), |c| {
        let squared = (c - n).length_squared();
        above < squared && squared <= n * n
    })
}

/// The solid seen in a mirror across an axis.
pub(crate) fn mirrored(cells: &Cells, axis: usize) -> Cells {
    let last = cells.grid().counts[axis] - 1;
    Cells::from_fn(*cells.grid(), |mut c| {
        c[axis] = last - c[axis];
        cells.solid(c)
    })
}

/// Random solids from sparse to dense, on grids whose widths lie on both sides of one and two words.
pub(crate) fn random_solid() -> impl Strategy<Value = Cells> {
    (prop_oneof![1..9, 62..67, 126..131], 1..7i32, 1..7i32, 1..8u64, any::<u64>()).prop_map(|(x, y, z, share, seed)| {
        Cells::from_fn(grid([x, y, z]), |c| {
            let place = c.x as u64 | (c.y as u64) << 20 | (c.z as u64) << 40;
            scrambled(place ^ seed) % 8 < share
        })
    })
}

/// A number that looks random: the finaliser of SplitMix64 (Steele, Lea & Flood 2014).
fn scrambled(mut z: u64) -> u64 {
    z = (z ^ z >> 30).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ z >> 27).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ z >> 31
}
