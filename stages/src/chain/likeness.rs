//! What stages say of how well the cubes keep the form; what is measured is told in [`crate::solid::likeness`].

use crate::Side;
use crate::findings::{Fact, Finding, Unit};
use crate::solid::{Cells, Likeness, Surface};
use crate::stage::{Halt, Shop};

/// The least volume overlap without a caution, in per cent. The cubes of a ball that is six cells across overlap with it
/// by 76 to 79 %, wherever the grid sits (numeric integration): cubes that do worse are coarser for their form than that.
const LEAST_OVERLAP: f64 = 75.0;

/// How far from the cubes' boundary, in cells, the farthest twentieth of the surface may lie without a caution. Nothing of
/// a form that is nowhere thinner or sharper than the cells can follow is farther off than half a cell's diagonal, 0.87.
const FARTHEST: f64 = 1.0;

/// Measures the cubes against the surface and says the facts.
pub(super) fn tell(surface: &Surface, cells: &Cells, shop: &mut Shop<'_>) -> Result<Likeness, Halt> {
    let like = Likeness::of(surface, cells, || shop.go_on())?;
    let cell = cells.grid().cell;
    shop.fact(Fact::number("volume overlap", 100.0 * like.overlap, Unit::Percent));
    shop.fact(Fact::whole("samples of the volume", like.samples, Unit::Count));
    for (name, distance) in [
        ("mean surface distance", like.mean()),
        ("95th percentile of the surface distance", like.high()),
        ("largest surface distance", like.largest()),
    ] {
        shop.fact(Fact::number(name, distance, Unit::Mm));
        shop.fact(Fact::number(&format!("{name} in cells"), distance / cell, Unit::Cells));
    }
    let row = |side: Side| {
        let axis = side as usize / 2;
        vec![side.to_string(), format!("{:.2}", 100.0 * like.silhouettes[axis])]
    };
    let rows = Side::ALL.into_iter().map(row).collect();
    shop.fact(Fact::table("silhouettes", &["side", "silhouette overlap, %"], rows));
    Ok(like)
}

/// The caution that the cubes keep the form poorly, if they do.
pub(super) fn caution(like: &Likeness, cell: f64) -> Option<Finding> {
    let overlap = 100.0 * like.overlap;
    let off = like.to_cubes.high;
    let what = if overlap < LEAST_OVERLAP {
        format!("only {overlap:.0} % of the volume of model and cubes is common to both")
    } else if off > FARTHEST * cell {
        format!("a twentieth of the model's surface lies {off:.1} mm or more, {:.1} cells, off the cubes", off / cell)
    } else {
        return None;
    };
    let message =
        format!("the cubes keep the form poorly: {what}; parts of it are thin or small for a cell of {cell} mm");
    let remedy =
        "look at the pictures; make `voxelise.cell` smaller, the piece larger with `scale`, or thicken the model";
    Some(Finding::caution("likeness-poor", message, remedy))
}
