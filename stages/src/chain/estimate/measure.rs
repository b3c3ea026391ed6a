//! What the piece measures, as far as it is charged for.

use std::str::FromStr;

use glam::IVec3;
use rust_decimal::{Decimal, RoundingStrategy};

use super::invoice::Amounts;
use crate::Side;
use crate::division::Segment;
use crate::findings::{Fact, Unit, Value};
use crate::solid::Cells;
use crate::stage::{Misfit, Shop};
use crate::void::Void;

/// The largest volume (cm³), surface (cm²) or weight (g) that is priced: with the bounds of a rate file every product
/// stays within 28 digits.
const LARGEST: f64 = 1e9;

/// What the piece measures, with its void or, given `None`, as if it were solid.
pub(super) fn measure(cells: &Cells, void: Option<&Void>, shop: &Shop<'_>) -> Result<Amounts, Misfit> {
    let edge = cells.grid().cell / 10.0;
    let cube = edge * edge * edge;
    let solid = cells.count() as f64 * cube;
    let material = void.map_or(solid, |void| hollow_material(solid, cube, void, shop));
    let bounds = cells.extent().map_or(0.0, |[lo, hi]| (hi - lo + 1).as_dvec3().element_product() * cube);
    let material = measured(material, 3)?;
    // The process file's figure as it was written there.
    let density = Decimal::from_str(&shop.process().density.value.to_string()).unwrap_or_default();
    Ok(Amounts {
        material,
        bounds: measured(bounds, 3)?,
        surface: measured(outside_faces(cells, void) as f64 * edge * edge, 2)?,
        weight: (material * density).round_dp_with_strategy(1, RoundingStrategy::MidpointAwayFromZero),
        parts: 1,
    })
}

/// What the parts of a divided piece measure together: each with its pins and sockets, and its own box.
pub(super) fn measure_parts(parts: &[Segment], shop: &Shop<'_>) -> Result<Amounts, Misfit> {
    let density = Decimal::from_str(&shop.process().density.value.to_string()).unwrap_or_default();
    let none = Decimal::ZERO;
    let mut sum = Amounts { material: none, bounds: none, surface: none, weight: none, parts: parts.len() as u32 };
    for part in parts {
        let edge = part.cells().grid().cell / 10.0;
        let [low, high] = part.bounds();
        let material = measured(part.skin().volume() / 1000.0, 3)?;
        sum.material += material;
        sum.bounds += measured((high - low).element_product() / 1000.0, 3)?;
        // Walls of pins and sockets count as surface.
        let pegs: f64 = part.pegs.iter().map(|peg| 4.0 * peg.width * peg.depth / 100.0).sum();
        sum.surface += measured(outside_faces(part.cells(), part.void()) as f64 * edge * edge + pegs, 2)?;
        sum.weight += (material * density).round_dp_with_strategy(1, RoundingStrategy::MidpointAwayFromZero);
    }
    Ok(sum)
}

/// Material of a piece with a void, in cm³: what `validate` measured on the ordered file, or what `hollow` says, or else
/// the solid less the cells of shafts and cavity.
fn hollow_material(solid: f64, cube: f64, void: &Void, shop: &Shop<'_>) -> f64 {
    // A stage before the void was made may have said a volume of its own: more than the solid it can't be.
    let said = ["volume", "material"].into_iter().filter_map(|name| cm3(shop.known(name)?)).find(|&v| v <= solid);
    said.unwrap_or_else(|| {
        let fine = f64::from(void.per_cell);
        solid - void.shafts.count() as f64 * cube - void.cavity.count() as f64 * cube / (fine * fine * fine)
    })
}

fn cm3(fact: &Fact) -> Option<f64> {
    match (&fact.value, fact.unit) {
        (Value::Number(volume), Some(Unit::Cm3)) => Some(*volume),
        (Value::Number(volume), Some(Unit::Mm3)) => Some(*volume / 1000.0),
        _ => None,
    }
}

/// Cube faces that are there to be seen and handled: those of shafts are cut away.
fn outside_faces(cells: &Cells, void: Option<&Void>) -> usize {
    let all: usize = cells.faces_by_side().0.iter().sum();
    let open = |cell: IVec3| Side::ALL.iter().filter(|side| !cells.solid(cell + side.step())).count();
    let cut = |void: &Void| void.shafts.iter().filter(|&cell| cells.solid(cell)).map(open).sum::<usize>();
    all - void.map_or(0, cut)
}

/// A measured amount as a decimal with so many digits behind the point.
fn measured(amount: f64, digits: usize) -> Result<Decimal, Misfit> {
    let text = format!("{amount:.digits$}");
    Decimal::from_str(&text).ok().filter(|_| (0.0..=LARGEST).contains(&amount)).ok_or_else(|| {
        let message = format!("the piece measures {text} cm³ or cm², which is outside what can be priced");
        Misfit::new("", message, "check the piece's size")
    })
}
