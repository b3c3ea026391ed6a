//! What stages say of how well the cubes keep the form; what is measured is told in [`crate::solid::likeness`].

use glam::DVec3;

use super::voxelise::telling;
use crate::Length;
use crate::Side;
use crate::findings::{Fact, Finding, Unit};
use crate::outlook::Outlook;
use crate::solid::{Cells, Grid, Likeness, Surface, likeness};
use crate::stage::{Halt, Shop};

/// The least volume overlap without a caution, in per cent. The cubes of a ball that is six cells across overlap with it
/// by 76 to 79 %, wherever the grid sits (numeric integration): cubes that do worse are coarser for their form than that.
const LEAST_OVERLAP: f64 = 75.0;

/// How far from the cubes' boundary, in cells, the farthest twentieth of the surface may lie without a caution. Nothing of
/// a form that is nowhere thinner or sharper than the cells can follow is farther off than half a cell's diagonal, 0.87.
const FARTHEST: f64 = 1.0;

/// Bytes that measuring takes: to tell the samples of the volume and for a bit each, and for the cubes and the air around
/// them two bits a cell, as they lie and in bins.
pub(super) fn takes(piece: &Outlook) -> f64 {
    let Some((cell, counts)) = piece.grid else { return 0.0 };
    let samples = likeness::samples(&Grid { origin: DVec3::ZERO, cell, counts: counts.as_ivec3() });
    telling(piece, cell / samples.cell) + samples.len() as f64 / 8.0 + 4.0 * piece.cells() / 8.0
}

/// Measures the cubes against the surface and says the facts. For a comparison alone the volume in common is enough.
pub(super) fn tell(surface: &Surface, cells: &Cells, shop: &mut Shop<'_>) -> Result<Option<Likeness>, Halt> {
    if shop.brief() {
        let overlap = likeness::overlap_of(surface, cells);
        shop.fact(Fact::number("volume overlap", 100.0 * overlap, Unit::Percent));
        return Ok(None);
    }
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
    Ok(Some(like))
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
    let message = format!(
        "the cubes keep the form poorly: {what}; parts of it are thin or small for a cell of {}",
        Length::from_mm(cell).rounded()
    );
    let remedy =
        "look at the pictures; make `voxelise.cell` smaller, the piece larger with `scale`, or thicken the model";
    Some(Finding::caution("likeness-poor", message, remedy))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::collections::BTreeMap;

    use glam::DVec3;
    use serde_json::json;

    use crate::conformance::Trial;
    use crate::findings::{Severity, Value};
    use crate::solid::Surface;
    use crate::solid::forms::{cuboid, sphere, together};
    use crate::stage::{Outcome, erase};
    use crate::workpiece::Workpiece;

    /// What `voxelise` and then `repair` say of a form with cells of 1 mm.
    fn said(surface: Surface) -> [Outcome; 2] {
        let folder = tempfile::tempdir().unwrap();
        let mut piece = Workpiece::default().with_surface(surface);
        let voxelise = (erase::<super::super::voxelise::Voxelise>(), json!({ "cell": "1 mm" }));
        let repair = (erase::<super::super::repair::Repair>(), json!({}));
        [voxelise, repair].map(|(stage, settings)| {
            let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece: piece.clone() };
            let (next, outcome) = trial.run(folder.path().to_path_buf()).unwrap();
            piece = next;
            outcome
        })
    }

    fn number(outcome: &Outcome, name: &str) -> Option<f64> {
        outcome.facts.iter().find(|fact| fact.name == name).map(|fact| match fact.value {
            Value::Number(number) => number,
            ref other => panic!("{other:?}"),
        })
    }

    fn poor(outcome: &Outcome) -> bool {
        outcome.findings.iter().any(|finding| {
            let poor = finding.code == "likeness-poor";
            assert!(!poor || (finding.severity == Severity::Caution && finding.remedy.contains("voxelise.cell")));
            poor
        })
    }

    #[test]
    fn balls_are_kept_poorly_by_a_few_cubes_alone() {
        // Numeric integration with NumPy: 91.2 % eight cells from the middle, 61.6 % one and a half.
        for (radius, low, high) in [(8.0, 91.0, 93.0), (1.5, 59.0, 65.0)] {
            let [outcome, _] = said(sphere(radius, 5));
            let overlap = number(&outcome, "volume overlap").unwrap();
            assert!((low..high).contains(&overlap), "{overlap}");
            assert_eq!(poor(&outcome), radius < 2.0);
        }
    }

    #[test]
    fn sheets_that_no_cube_stands_for_are_a_caution_however_small_their_volume() {
        let block = cuboid(DVec3::ZERO, DVec3::splat(10.0));
        let sheet = cuboid(DVec3::new(10.0, 4.7, 0.0), DVec3::new(20.0, 4.8, 10.0));
        let [outcome, _] = said(together(&[block, sheet]));
        assert!(number(&outcome, "volume overlap").unwrap() > 95.0);
        assert!(poor(&outcome));
    }

    #[test]
    fn repair_says_it_again_if_it_changed_the_cubes() {
        let [before, after] = said(sphere(8.0, 5));
        assert!(number(&before, "volume overlap").is_some() && number(&after, "volume overlap").is_none());
        // A block of 8 cells less that goes as an island: 1000 of 1008 mm³ are left in common.
        let apart =
            [cuboid(DVec3::ZERO, DVec3::splat(10.0)), cuboid(DVec3::new(14.0, 0.0, 0.0), DVec3::new(16.0, 2.0, 2.0))];
        let [before, after] = said(together(&apart));
        let overlaps = [before, after].map(|outcome| number(&outcome, "volume overlap").unwrap());
        assert!(
            (overlaps[0] - 100.0).abs() < 1e-9 && (overlaps[1] - 100.0 * 1000.0 / 1008.0).abs() < 0.2,
            "{overlaps:?}"
        );
    }

    #[test]
    fn every_side_is_told_its_silhouette() {
        let [outcome, _] = said(cuboid(DVec3::ZERO, DVec3::splat(10.0)));
        let table = outcome.facts.iter().find(|fact| fact.name == "silhouettes").unwrap();
        let Value::Table { rows, .. } = &table.value else { panic!("{table:?}") };
        let sides: Vec<_> = rows.iter().map(|row| (row[0].as_str(), row[1].as_str())).collect();
        assert_eq!(sides, ["right", "left", "back", "front", "top", "bottom"].map(|side| (side, "100.00")));
    }
}
