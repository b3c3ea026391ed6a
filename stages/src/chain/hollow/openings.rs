//! Where an opening goes: a square shaft of whole cells from the outside into the cavity.
//!
//! A footprint fits when, layer by layer from the side on which it opens, it first meets no material at all, and from
//! then on it and the ring of wall around it are material throughout, until the cavity lies behind it; and so is the layer
//! behind its end, or it would come out into air beside the cavity. So the mouth is flat, and the wall around the shaft is
//! whole. A shaft made before is no material, but no way in from outside either. Of those that fit, the one with the most
//! of the cavity behind it is taken, then the nearest to the place asked for.

use glam::{DVec3, IVec3};

use super::Settings;
use crate::solid::stability::centre_of_mass;
use crate::solid::{Cells, Grid};
use crate::stage::Misfit;
use crate::void::Opening;
use crate::{Length, Side};

/// An opening found, and the cells that its shaft takes away.
pub(super) struct Shaft {
    pub(super) opening: Opening,
    /// Lowest cell.
    pub(super) low: IVec3,
    /// Highest cell.
    pub(super) high: IVec3,
}

/// Looks for the place of opening number `at`, clear of the shafts so far. `cavity` lies on a lattice `per_cell` times finer
/// than the cells; the process empties openings of `least` and wider.
pub(super) fn find(
    settings: &Settings,
    at: usize,
    least: Length,
    cells: &Cells,
    shafts: &Cells,
    cavity: &Cells,
    per_cell: i32,
) -> Result<Shaft, Misfit> {
    let asked = &settings.openings[at];
    let grid = cells.grid();
    let ring = (settings.wall.mm() / grid.cell - 1e-9).ceil() as i32;
    let across = ((asked.width.mm() / grid.cell - 1e-9).ceil() as i32).max(1);
    let layers = Layers::new(asked.side, cells, shafts, cavity, per_cell);
    let aim = asked.at.map_or_else(
        || centre_of_mass(cells).unwrap_or(grid.origin),
        |[u, v]| {
            let mut aim = DVec3::ZERO;
            let [a, b] = layers.plane();
            (aim[a], aim[b]) = (u.mm(), v.mm());
            aim
        },
    );
    if let Some(shaft) = layers.best(across, ring, aim, grid) {
        return Ok(shaft);
    }
    let least = (least.mm() / grid.cell - 1e-9).ceil() as i32;
    let widest =
        (least.max(1)..across.min(layers.narrow_side() + 1)).rev().find(|&n| layers.best(n, ring, aim, grid).is_some());
    Err(none_fits(settings, at, widest.map(|n| f64::from(n) * grid.cell)))
}

fn none_fits(settings: &Settings, at: usize, widest: Option<f64>) -> Misfit {
    let asked = &settings.openings[at];
    let (side, wall) = (asked.side, settings.wall);
    // A foot is made by a stage of its own, at the bottom.
    let foot = match side {
        Side::Bottom => {
            let needed = Length::from_mm(asked.width.mm() + 2.0 * wall.mm());
            format!("; or give the piece a flat foot {needed} wide, with `foot` before `repair`")
        }
        _ => String::new(),
    };
    let hint = match widest {
        Some(widest) => format!("the widest opening that fits there is {widest} mm; or open another side{foot}"),
        None => format!("open another side, or ask for a thinner wall{foot}"),
    };
    Misfit::new(
        format!("openings[{at}]"),
        format!(
            "no place on the {side} side takes an opening {} wide with a wall of {wall} around it and the cavity behind it",
            asked.width
        ),
        hint,
    )
}

/// A solid seen layer by layer from one side, with sums over rectangles at hand.
pub(super) struct Layers {
    side: Side,
    /// Cells across the layer along its two axes.
    size: [i32; 2],
    /// How much of each layer is solid, from the side inwards.
    solid: Vec<Sums>,
    /// How much of that the shafts so far have left.
    left: Vec<Sums>,
    /// In how many columns of each layer the cavity begins with the layer's outer face.
    hollow: Vec<Sums>,
}

impl Layers {
    pub(super) fn new(side: Side, cells: &Cells, shafts: &Cells, cavity: &Cells, per_cell: i32) -> Self {
        let counts = cells.grid().counts;
        let axis = side.axis();
        let [u, v] = plane(axis);
        let size = [counts[u], counts[v]];
        let depth = counts[axis];
        let cell_at = |d: i32, a: i32, b: i32| {
            let mut cell = IVec3::ZERO;
            cell[axis] = if side.positive() { depth - 1 - d } else { d };
            (cell[u], cell[v]) = (a, b);
            cell
        };
        let begins = |cell: IVec3| {
            (0..per_cell * per_cell).all(|at| {
                let mut piece = cell * per_cell;
                piece[axis] += if side.positive() { per_cell - 1 } else { 0 };
                piece[u] += at % per_cell;
                piece[v] += at / per_cell;
                cavity.solid(piece)
            })
        };
        let sums = |holds: &dyn Fn(IVec3) -> bool| {
            (0..depth).map(|d| Sums::new(size, |a, b| holds(cell_at(d, a, b)))).collect()
        };
        Self {
            side,
            size,
            solid: sums(&|cell| cells.solid(cell)),
            left: sums(&|cell| cells.solid(cell) && !shafts.solid(cell)),
            hollow: sums(&begins),
        }
    }

    fn plane(&self) -> [usize; 2] {
        plane(self.side.axis())
    }

    /// Cells along the two axes of a layer.
    pub(super) fn size(&self) -> [i32; 2] {
        self.size
    }

    /// Cells along the shorter side of a layer.
    fn narrow_side(&self) -> i32 {
        self.size[0].min(self.size[1])
    }

    fn best(&self, across: i32, ring: i32, aim: DVec3, grid: &Grid) -> Option<Shaft> {
        let mut best: Option<((i64, f64), Shaft)> = None;
        for b in ring..=self.size[1] - ring - across {
            for a in ring..=self.size[0] - ring - across {
                let Some((from, to, open)) = self.fit(a, b, across, ring) else { continue };
                let shaft = self.shaft(a, b, across, from, to, grid);
                let [u, v] = self.plane();
                let middle = (shaft.opening.low + shaft.opening.high) / 2.0 - aim;
                // More of the cavity behind it first, then the nearest; ties go to the first in order.
                let merit = (-i64::from(open), middle[u] * middle[u] + middle[v] * middle[v]);
                if best.as_ref().is_none_or(|(least, _)| merit < *least) {
                    best = Some((merit, shaft));
                }
            }
        }
        best.map(|(_, shaft)| shaft)
    }

    /// The first and last layer of a shaft with its lowest corner at (a, b), and how many columns of the cavity lie
    /// behind it; `None` if it does not fit.
    pub(super) fn fit(&self, a: i32, b: i32, across: i32, ring: i32) -> Option<(i32, i32, i32)> {
        let all = across * across;
        let ringed = (across + 2 * ring) * (across + 2 * ring);
        let first = self.solid.iter().position(|layer| layer.over(a, b, across) > 0)?;
        let mut best: Option<(i32, i32, i32)> = None;
        let whole = |depth: usize| self.left[depth].over(a - ring, b - ring, across + 2 * ring) == ringed;
        for depth in first..self.solid.len() - 1 {
            if !whole(depth) || !whole(depth + 1) {
                break;
            }
            let open = self.hollow[depth + 1].over(a, b, across);
            if open > best.map_or(0, |(_, _, most)| most) {
                best = Some((first as i32, depth as i32, open));
            }
            if open == all {
                break;
            }
        }
        best
    }

    pub(super) fn shaft(&self, a: i32, b: i32, across: i32, from: i32, to: i32, grid: &Grid) -> Shaft {
        let axis = self.side.axis();
        let [u, v] = self.plane();
        let (mut low, mut high) = (IVec3::ZERO, IVec3::ZERO);
        (low[u], low[v]) = (a, b);
        (high[u], high[v]) = (a + across - 1, b + across - 1);
        let last = grid.counts[axis] - 1;
        (low[axis], high[axis]) = if self.side.positive() { (last - to, last - from) } else { (from, to) };
        let opening = Opening { side: self.side, low: grid.corner(low), high: grid.corner(high + 1) };
        Shaft { opening, low, high }
    }
}

/// The two axes across a side's own axis, in ascending order.
fn plane(axis: usize) -> [usize; 2] {
    [[1, 2], [0, 2], [0, 1]][axis]
}

/// How many places of a rectangle hold something, by a summed-area table (Crow 1984).
struct Sums {
    width: usize,
    sums: Vec<i32>,
}

impl Sums {
    fn new(size: [i32; 2], holds: impl Fn(i32, i32) -> bool) -> Self {
        let width = size[0] as usize + 1;
        let mut sums = vec![0; width * (size[1] as usize + 1)];
        for b in 0..size[1] as usize {
            let mut row = 0;
            for a in 0..size[0] as usize {
                row += i32::from(holds(a as i32, b as i32));
                sums[(b + 1) * width + a + 1] = sums[b * width + a + 1] + row;
            }
        }
        Self { width, sums }
    }

    /// Over the square with its lowest corner at (a, b); it must lie within the layer.
    fn over(&self, a: i32, b: i32, across: i32) -> i32 {
        let at = |a: i32, b: i32| self.sums[b as usize * self.width + a as usize];
        at(a + across, b + across) + at(a, b) - at(a + across, b) - at(a, b + across)
    }
}
