//! Where the grid sits on the form.

use glam::DVec3;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where the grid sits, axis by axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Placing {
    /// Along x.
    #[serde(default = "Placing::corner")]
    pub x: Anchor,
    /// Along y.
    #[serde(default = "Placing::corner")]
    pub y: Anchor,
    /// Along z.
    #[serde(default = "Placing::lowest")]
    pub z: Anchor,
}

impl Placing {
    const fn corner() -> Anchor {
        Anchor::CellCorner
    }

    const fn lowest() -> Anchor {
        Anchor::Lowest
    }
}

impl Default for Placing {
    fn default() -> Self {
        Self { x: Self::corner(), y: Self::corner(), z: Self::lowest() }
    }
}

/// What of the grid lies at what of the form, along one axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Anchor {
    /// The centre of a cell at the middle of the form: an odd number of cells across a symmetric form.
    CellCentre,
    /// The boundary between two cells at the middle of the form: an even number across a symmetric form.
    CellCorner,
    /// The boundary between two cells at the form's lowest point, so that the piece stands flat.
    Lowest,
}

/// The grid's lowest corner in the coordinates of the surface, and the cells along each axis (not yet known to fit).
pub(super) fn place(placing: Placing, [lo, hi]: [DVec3; 2], cell: f64) -> (DVec3, [f64; 3]) {
    let anchors = [placing.x, placing.y, placing.z];
    let mut low = DVec3::ZERO;
    let mut counts = [0.0; 3];
    for axis in 0..3 {
        let boundary = match anchors[axis] {
            Anchor::CellCentre => (lo[axis] + hi[axis] - cell) / 2.0,
            Anchor::CellCorner => (lo[axis] + hi[axis]) / 2.0,
            Anchor::Lowest => lo[axis],
        };
        // A form that ends exactly on a boundary, up to rounding, does not need one more cell.
        let slack = 1e-9;
        let below = ((boundary - lo[axis]) / cell - slack).ceil().max(0.0);
        let above = ((hi[axis] - boundary) / cell - slack).ceil().max(1.0);
        low[axis] = boundary - below * cell;
        counts[axis] = below + above;
    }
    (low, counts)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_grid_sits_where_it_is_asked_to() {
        let place_x = |x, lo: f64, hi: f64| {
            let (low, counts) =
                place(Placing { x, ..Placing::default() }, [DVec3::new(lo, 0., 0.), DVec3::new(hi, 1., 1.)], 1.0);
            (low.x, counts[0])
        };
        assert_eq!(place_x(Anchor::CellCorner, -1.2, 1.2), (-2.0, 4.0));
        assert_eq!(place_x(Anchor::CellCentre, -1.2, 1.2), (-1.5, 3.0));
        assert_eq!(place_x(Anchor::Lowest, -1.2, 1.2), (-1.2, 3.0));
        // A form that fits exactly gets no empty cell.
        assert_eq!(place_x(Anchor::Lowest, 0.0, 3.0), (0.0, 3.0));
    }
}
