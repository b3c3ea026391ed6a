//! The void: the cavity and its openings, inside the solid.
//!
//! The wall between cavity and outside is a straight distance, not a whole number of cells, so the cavity has a lattice
//! of its own: each cell cut `per_cell` times along each axis, and the corners of the cavity's boundary moved from their
//! lattice places onto the surface at the wall's distance. Which lattice cells belong to the cavity fixes the topology;
//! the moved corners fix the shape.

use std::collections::BTreeMap;

use glam::{DVec3, IVec3};

use crate::Side;
use crate::solid::{Cells, Grid};

/// An opening: a shaft of whole cells from the outside into the cavity.
#[derive(Clone, Debug, PartialEq)]
pub struct Opening {
    /// The side on which it opens.
    pub side: Side,
    /// Lowest corner of the shaft, in mm.
    pub low: DVec3,
    /// Highest corner of the shaft, in mm.
    pub high: DVec3,
}

impl Opening {
    /// The coordinate, along the side's axis, of the plane in which the shaft opens to the outside.
    #[must_use]
    pub fn mouth(&self) -> f64 {
        if self.side.positive() { self.high[self.side.axis()] } else { self.low[self.side.axis()] }
    }

    /// Clear width across the shaft: the smaller of its two extents in the mouth's plane.
    #[must_use]
    pub fn width(&self) -> f64 {
        let size = self.high - self.low;
        let axis = self.side.axis();
        size[(axis + 1) % 3].min(size[(axis + 2) % 3])
    }
}

/// The cavity and its openings.
#[derive(Clone, Debug, PartialEq)]
pub struct Void {
    /// The cells that the openings take away, on the grid of the solid.
    pub shafts: Cells,
    /// Where the openings are.
    pub openings: Vec<Opening>,
    /// The cells of the finer lattice that are cavity; shafts are not among them.
    pub cavity: Cells,
    /// How many lattice cells lie along the edge of a cell.
    pub per_cell: i32,
    /// Corners of the cavity's boundary (lattice coordinates as `[z, y, x]`) that lie off their lattice place, in mm.
    pub moved: BTreeMap<[i32; 3], DVec3>,
    /// The wall asked for, in mm.
    pub wall: f64,
}

impl Void {
    /// Where a corner of the finer lattice lies, in mm.
    #[must_use]
    pub fn corner(&self, at: IVec3) -> DVec3 {
        self.moved.get(&[at.z, at.y, at.x]).copied().unwrap_or_else(|| self.place(at))
    }

    /// The place of a corner on the finer lattice, moved or not, in mm. Counted in whole cells, so that corners of cells
    /// come out the same as on the solid's own grid.
    #[must_use]
    pub fn place(&self, at: IVec3) -> DVec3 {
        place(self.shafts.grid(), self.per_cell, at)
    }
}

/// The place of a corner of a lattice with `per_cell` cells along the edge of each of the grid's, in mm. See
/// [`Void::place`].
#[must_use]
pub fn place(grid: &Grid, per_cell: i32, at: IVec3) -> DVec3 {
    grid.origin + grid.cell * (at.as_dvec3() / f64::from(per_cell))
}
