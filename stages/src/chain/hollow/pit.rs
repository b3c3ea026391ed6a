//! Hollowing of a part of a piece that was divided: the same cavity as for a whole piece, with openings where two parts meet.

use glam::{DVec3, IVec3};

use super::cavity::Lattice;
use super::openings::{Layers, Shaft};
use crate::findings::Finding;
use crate::solid::{Cells, Grid};
use crate::stage::{Halt, Shop};
use crate::void::{Opening, Void};
use crate::{Length, Side};

/// A part in which a cavity may be dug.
pub(in crate::chain) struct Pit {
    /// The cells from whose outside the wall is measured.
    cells: Cells,
    lattice: Lattice,
    /// Where the wall leaves room.
    room: Cells,
    wall: f64,
    shafts: Cells,
    openings: Vec<Opening>,
}

/// A shaft that fits a part on a seam.
pub(in crate::chain) struct Fit {
    shaft: Shaft,
    /// Columns of the cavity behind it.
    open: i32,
}

impl Fit {
    /// The middle of its mouth and its end.
    pub(in crate::chain) fn middle(&self) -> DVec3 {
        (self.shaft.opening.low + self.shaft.opening.high) / 2.0
    }

    /// How much of the cavity lies behind it, in columns of cells.
    pub(in crate::chain) fn open(&self) -> i32 {
        self.open
    }
}

impl Pit {
    /// Of these cells, behind a wall in mm.
    pub(in crate::chain) fn new(cells: Cells, wall: f64) -> Self {
        let lattice = Lattice::new(&cells, wall);
        let room = lattice.room(wall);
        let shafts = Cells::empty(*cells.grid());
        Self { cells, lattice, room, wall, shafts, openings: Vec::new() }
    }

    /// The bytes that it takes at most, for cells of a grid.
    pub(in crate::chain) fn bytes(grid: &Grid, wall: f64) -> f64 {
        super::cavity::Fineness::of(grid.cell, wall).bytes(grid.len() as f64)
    }

    /// Whether the wall leaves room for any cavity.
    pub(in crate::chain) fn has_room(&self) -> bool {
        self.room.count() > 0
    }

    /// Whether anything leads into it.
    pub(in crate::chain) fn is_open(&self) -> bool {
        !self.openings.is_empty()
    }

    /// Takes an opening that is there already, with the cells that its shaft takes away.
    pub(in crate::chain) fn take(&mut self, opening: &Opening, shaft: &Cells) {
        self.shafts = self.shafts.or(shaft);
        self.openings.push(opening.clone());
    }

    /// Takes an opening on a seam.
    pub(in crate::chain) fn open(&mut self, fit: &Fit) {
        let Shaft { opening, low, high } = &fit.shaft;
        for z in low.z..=high.z {
            for y in low.y..=high.y {
                for x in low.x..=high.x {
                    self.shafts.set(IVec3::new(x, y, z), true);
                }
            }
        }
        self.openings.push(opening.clone());
    }

    /// Looks for places of openings on a side.
    pub(in crate::chain) fn mouths(&self, side: Side, across: i32) -> Mouths {
        let ring = (self.wall / self.cells.grid().cell - 1e-9).ceil() as i32;
        let layers = Layers::new(side, &self.cells, &self.shafts, &self.room, self.lattice.per_cell);
        Mouths { layers, ring, across, grid: *self.cells.grid() }
    }

    /// The void, if anything could be taken out or an opening was there before; a cavity only where it can be emptied past
    /// `gap`.
    pub(in crate::chain) fn dug(self, gap: Length, shop: &Shop<'_>) -> Result<Option<Void>, Halt> {
        let Self { cells, lattice, room, wall, shafts, openings } = self;
        if openings.is_empty() {
            return Ok(None);
        }
        let cavity = Cells::empty(*room.grid());
        let moved = std::collections::BTreeMap::new();
        let void = Void { shafts, openings, cavity, per_cell: lattice.per_cell, moved, wall };
        super::shaped(void, &cells, &lattice, &room, gap.mm(), shop).map(Some)
    }
}

/// The places for openings on a side of a part.
pub(in crate::chain) struct Mouths {
    layers: Layers,
    ring: i32,
    across: i32,
    grid: Grid,
}

impl Mouths {
    /// The lowest corners of all squares within the grid, in its two axes.
    pub(in crate::chain) fn places(&self) -> impl Iterator<Item = [i32; 2]> + use<> {
        let (ring, across, [nu, nv]) = (self.ring, self.across, self.layers.size());
        (ring..=nv - ring - across).flat_map(move |b| (ring..=nu - ring - across).map(move |a| [a, b]))
    }

    /// The shaft at a place whose first cells lie in a layer of the grid, if one fits there.
    pub(in crate::chain) fn fit(&self, [a, b]: [i32; 2], layer: i32) -> Option<Fit> {
        let (from, to, open) = self.layers.fit(a, b, self.across, self.ring)?;
        let shaft = self.layers.shaft(a, b, self.across, from, to, &self.grid);
        let axis = shaft.opening.side.axis();
        let first = if shaft.opening.side.positive() { shaft.high[axis] } else { shaft.low[axis] };
        (first == layer).then_some(Fit { shaft, open })
    }
}

/// What is said of parts that have no cavity.
pub(in crate::chain) fn left_solid(parts: &[usize]) -> Finding {
    let numbers: Vec<String> = parts.iter().map(|part| (part + 1).to_string()).collect();
    Finding::note(
        "parts-left-solid",
        format!(
            "parts {} have no cavity: the wall leaves no room, or nothing through which it could be emptied",
            numbers.join(", ")
        ),
        "nothing needs doing; a thinner `hollow.wall` or a smaller `split.opening` would hollow some of them",
    )
}
