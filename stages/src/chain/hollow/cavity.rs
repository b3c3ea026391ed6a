//! Which cells of the finer lattice are cavity.

use glam::IVec3;

use crate::solid::distance::{Beyond, Distances};
use crate::solid::reach::{far_from_centres, far_from_cubes};
use crate::solid::{Cells, Components, Grid, Leave, Neighbours, air, make_well_composed};

/// The lattice on which the cavity is laid out.
pub(super) struct Lattice {
    /// The solid on the finer lattice.
    pub(super) solid: Cells,
    /// How many lattice cells lie along the edge of a cell.
    pub(super) per_cell: i32,
    /// The rest of the grid.
    pub(super) outside: Cells,
}

/// The finest share of the wall that a lattice cell may take. The cavity's rounded edges are polygons with sides about as
/// long as a lattice cell. With this share `tests` hold the surplus of material over exact arcs below 5 %.
const SHARE_OF_WALL: f64 = 0.6;

/// A lattice cell is chosen when its centre lies deeper than the wall by at least this share of its edge: room for its
/// corners to give way where the wall is rounded.
pub(super) const SLACK: f64 = 0.1;

impl Lattice {
    pub(super) fn new(cells: &Cells, wall: f64) -> Self {
        let per_cell = Fineness::of(cells.grid().cell, wall).per_cell as i32;
        let solid = refined(cells, per_cell);
        Self { outside: air(&solid), solid, per_cell }
    }

    /// The lattice cells whose centres leave the wall, and a little slack.
    pub(super) fn room(&self, wall: f64) -> Cells {
        far_from_cubes(&self.outside, Beyond::Cubes, wall + SLACK * self.solid.grid().cell)
    }

    /// The largest distance of a lattice cell's centre from the outside, in mm.
    pub(super) fn deepest(&self) -> f64 {
        Distances::to_cubes(&self.outside, Beyond::Cubes).largest()
    }

    /// The same cells on the finer lattice.
    pub(super) fn refine(&self, cells: &Cells) -> Cells {
        refined(cells, self.per_cell)
    }
}

/// How fine the cavity's lattice is.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fineness {
    /// How many lattice cells lie along the edge of a cell: a whole number, but perhaps beyond what integers hold.
    pub(super) per_cell: f64,
}

impl Fineness {
    /// For cells of that edge and a wall, both in mm.
    pub(super) fn of(cell: f64, wall: f64) -> Self {
        Self { per_cell: (cell / (SHARE_OF_WALL * wall)).ceil().max(1.0) }
    }

    /// Lattice cells in a cell.
    pub(super) fn cells_a_cell(self) -> f64 {
        self.per_cell.powi(3)
    }

    /// The most memory that the lattice takes, in bytes, over a grid of so many cells: for each of its own two distances of
    /// four bytes where these have to be made, and one bit for each of the few sets that are alive at once.
    pub(super) fn bytes(self, cells: f64) -> f64 {
        const BYTES_A_CELL: f64 = 9.0;
        cells * self.cells_a_cell() * BYTES_A_CELL
    }
}

fn refined(cells: &Cells, per_cell: i32) -> Cells {
    if per_cell == 1 {
        return cells.clone();
    }
    Cells::from_lines(cells.grid().refined(per_cell), |j, k, words| {
        for i in cells
            .line(j / per_cell, k / per_cell)
            .iter()
            .enumerate()
            .flat_map(|(w, &word)| crate::solid::bits(word).map(move |bit| w * 64 + bit as usize))
        {
            for fine in i * per_cell as usize..(i + 1) * per_cell as usize {
                words[fine / 64] |= 1 << (fine % 64);
            }
        }
    })
}

/// The part of a cavity from which loose powder leaves through the shafts: where a ball of the gap's width can roll to,
/// and the corners beside it. `shafts` lie on the same lattice as the cavity.
///
/// A corner of three walls lies √3 radii from the middle of a ball that touches all three; powder no deeper in a corner
/// than that comes out with the rest.
pub(super) fn emptied(cavity: &Cells, shafts: &Cells, gap: f64) -> Cells {
    let void = cavity.or(shafts);
    let edge = cavity.grid().cell;
    // A lattice cell is itself wide enough for the ball.
    if gap <= edge {
        return reached(&void, shafts).zip(cavity, |a, b| a & b);
    }
    let radius = gap / 2.0;
    // Middles of the ball lie on lattice corners where it is an even number of lattice cells wide, else on centres; so a
    // channel just wide enough, straight along an axis, is found so.
    let beside = if (gap / edge).ceil() as i64 % 2 == 0 {
        let free = far_from_centres(&corners_of(&air(&void), Share::Any), radius);
        let rolled = rolled(&free, &corners_of(shafts, Share::All));
        cells_near_corners(&rolled, radius * 3f64.sqrt(), void.grid())
    } else {
        let rolled = rolled(&far_from_cubes(&air(&void), Beyond::Nothing, radius), shafts);
        air(&far_from_centres(&rolled, radius * 3f64.sqrt() + edge / 2.0))
    };
    reached(&void.zip(&beside, |a, b| a & b).or(shafts), shafts).zip(cavity, |a, b| a & b)
}

/// Where the middle of the ball gets to, starting in the shafts, where it has room.
fn rolled(free: &Cells, shafts: &Cells) -> Cells {
    reached(free, &shafts.zip(free, |a, b| a & b))
}

/// The components of a set that hold any of the seeds.
fn reached(set: &Cells, seeds: &Cells) -> Cells {
    let components = Components::of(set, Neighbours::Faces);
    let mut touched = vec![false; components.len()];
    for component in seeds.iter().filter_map(|cell| components.at(cell)) {
        touched[component] = true;
    }
    components.cells_where(|c| touched[c])
}

/// How many of the eight cells around a corner must be in a set.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Share {
    Any,
    All,
}

/// The corners of a lattice, as the cells of another whose centres they are.
fn corners_of(cells: &Cells, share: Share) -> Cells {
    let grid = cells.grid();
    let corners = Grid { origin: grid.origin - grid.cell / 2.0, cell: grid.cell, counts: grid.counts + 1 };
    let all = share == Share::All;
    Cells::from_lines(corners, |j, k, words| {
        let lines = lines_around(cells, j - 1, k - 1);
        let mut before = 0;
        for (w, word) in words.iter_mut().enumerate() {
            let here = lines.iter().map(|line| line.get(w).copied().unwrap_or(0));
            let held = if all { here.fold(u64::MAX, |a, b| a & b) } else { here.fold(0, |a, b| a | b) };
            // Corner i lies between the cells i − 1 and i.
            let moved = held << 1 | before;
            *word = if all { held & moved } else { held | moved };
            before = held >> 63;
        }
    })
}

/// The cells with a corner no farther than `reach` from one of the given corners.
fn cells_near_corners(corners: &Cells, reach: f64, grid: &Grid) -> Cells {
    let near = air(&far_from_centres(corners, reach * (1.0 + 1e-9)));
    Cells::from_lines(*grid, |j, k, words| {
        let lines = lines_around(&near, j, k);
        let any = |w: usize| lines.iter().map(|line| line.get(w).copied().unwrap_or(0)).fold(0, |a, b| a | b);
        for (w, word) in words.iter_mut().enumerate() {
            // Cell i lies between the corners i and i + 1.
            *word = any(w) | any(w) >> 1 | any(w + 1) << 63;
        }
        grid.trim(words);
    })
}

/// The lines along x at j and j + 1, k and k + 1; empty off the grid.
fn lines_around(cells: &Cells, j: i32, k: i32) -> [&[u64]; 4] {
    let counts = cells.grid().counts;
    let line = |j: i32, k: i32| {
        if (0..counts.y).contains(&j) && (0..counts.z).contains(&k) { cells.line(j, k) } else { &[] as &[u64] }
    };
    [line(j, k), line(j + 1, k), line(j, k + 1), line(j + 1, k + 1)]
}

/// Gives back to the material the cavity cells with which the printed solid would touch itself in an edge or a corner
/// only, and those that are cut off from the shafts by that; until none is left.
pub(super) fn mended(lattice: &Lattice, mut cavity: Cells, shafts: &Cells, gap: f64) -> Cells {
    loop {
        let before = cavity.count();
        let mut printed = lattice.solid.minus(&cavity).minus(shafts);
        make_well_composed(&mut printed, Leave::to_add(cavity.clone()));
        cavity = emptied(&cavity.minus(&printed), shafts, gap);
        if cavity.count() == before {
            return cavity;
        }
    }
}

/// The lattice cells around a lattice corner.
pub(super) fn around(corner: IVec3) -> impl Iterator<Item = IVec3> {
    (0..8).map(move |i| corner - IVec3::new(i & 1, i >> 1 & 1, i >> 2))
}
