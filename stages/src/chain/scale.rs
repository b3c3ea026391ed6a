//! `scale`: brings the model to its real size.

use glam::DVec3;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::Length;
use crate::findings::{Fact, Unit};
use crate::outlook::Outlook;
use crate::solid::{Surface, sphere};
use crate::stage::{Halt, Misfit, Shop, Stage};
use crate::workpiece::{Part, Workpiece};

/// See the module's documentation.
pub struct Scale;

/// The size to which the model is brought: exactly one of these.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Size {
    /// Extent along z.
    Height(Length),
    /// Extent along x, from left to right.
    Width(Length),
    /// Extent along y, from front to back.
    Depth(Length),
    /// The largest of the three extents.
    Longest(Length),
    /// Diameter of the smallest sphere around the model.
    Sphere(Length),
    /// A plain factor on the model's own size.
    Factor(f64),
}

impl Stage for Scale {
    type Settings = Size;

    const NAME: &'static str = "scale";
    const PURPOSE: &'static str = "brings the model to its real size";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[Part::Surface];
    const GIVES: &'static [Part] = &[Part::Surface];

    fn outlook(size: &Size, before: Outlook) -> Outlook {
        // Of a sphere around the model all that is known is that it is no smaller than the longest side.
        let factor = match *size {
            Size::Factor(factor) => factor,
            Size::Height(length) => length.mm() / before.size.z,
            Size::Width(length) => length.mm() / before.size.x,
            Size::Depth(length) => length.mm() / before.size.y,
            Size::Longest(length) | Size::Sphere(length) => length.mm() / before.size.max_element(),
        };
        let scaled = Outlook { size: before.size * factor, faces_area: before.faces_area * factor * factor, ..before };
        scaled.after(0.0, before.surface_bytes())
    }

    fn check(size: &Size, _: &Shop<'_>) -> Result<(), Misfit> {
        let (word, value) = match *size {
            Size::Height(length) => ("height", length.mm()),
            Size::Width(length) => ("width", length.mm()),
            Size::Depth(length) => ("depth", length.mm()),
            Size::Longest(length) => ("longest", length.mm()),
            Size::Sphere(length) => ("sphere", length.mm()),
            Size::Factor(factor) => ("factor", factor),
        };
        if value > 0.0 && value.is_finite() {
            return Ok(());
        }
        Err(Misfit::new(word, format!("{word} must be above 0, not {value}"), "give the size of the finished piece"))
    }

    fn run(size: &Size, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let surface = piece.surface().expect("the plan saw to it");
        let [lo, hi] = surface.bounds().unwrap_or_default();
        let factor = factor(*size, surface, hi - lo)?;
        let scaled = surface.mapped(|p| p * factor);
        if scaled.points().iter().any(|p| !p.is_finite()) {
            return Err(Misfit::new("", "the scaled model is too large for numbers", "choose a smaller size").into());
        }
        shop.fact(Fact::number("factor", factor, Unit::One));
        shop.fact(Fact::triple("model size", (hi - lo) * factor, Unit::Mm));
        Ok(piece.with_surface(scaled))
    }
}

fn factor(size: Size, surface: &Surface, extent: DVec3) -> Result<f64, Misfit> {
    let (word, wanted, now) = match size {
        Size::Factor(factor) => return Ok(factor),
        Size::Height(length) => ("height", length, extent.z),
        Size::Width(length) => ("width", length, extent.x),
        Size::Depth(length) => ("depth", length, extent.y),
        Size::Longest(length) => ("longest", length, extent.max_element()),
        // Not `points`: a file may hold points that no triangle uses.
        Size::Sphere(length) => {
            let corners: Vec<DVec3> = surface.each_triangle().flatten().collect();
            ("sphere", length, 2.0 * sphere::around(&corners).radius)
        }
    };
    let factor = wanted.mm() / now;
    if factor.is_finite() && factor > 0.0 {
        return Ok(factor);
    }
    Err(Misfit::new(word, format!("the model has no {word} to scale"), "choose another extent, such as longest"))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::solid::forms;

    /// The extent of a box of 2 × 3 × 4 after scaling.
    fn extent(size: Size) -> DVec3 {
        let model = forms::cuboid(DVec3::ZERO, DVec3::new(2.0, 3.0, 4.0));
        factor(size, &model, DVec3::new(2.0, 3.0, 4.0)).unwrap() * DVec3::new(2.0, 3.0, 4.0)
    }

    #[test]
    fn each_way_of_saying_the_size() {
        let mm = Length::from_mm;
        assert_eq!(extent(Size::Width(mm(20.0))), DVec3::new(20.0, 30.0, 40.0));
        assert_eq!(extent(Size::Depth(mm(30.0))), DVec3::new(20.0, 30.0, 40.0));
        assert_eq!(extent(Size::Height(mm(40.0))), DVec3::new(20.0, 30.0, 40.0));
        assert_eq!(extent(Size::Longest(mm(40.0))), DVec3::new(20.0, 30.0, 40.0));
        assert_eq!(extent(Size::Factor(10.0)), DVec3::new(20.0, 30.0, 40.0));
        // The sphere around a box goes through its corners: its diameter is the diagonal, √(2² + 3² + 4²) = √29.
        assert!((extent(Size::Sphere(mm(29f64.sqrt()))) - DVec3::new(2.0, 3.0, 4.0)).length() < 1e-9);
    }

    #[test]
    fn an_extent_that_is_not_there_cannot_be_scaled() {
        let flat = forms::cuboid(DVec3::ZERO, DVec3::new(2.0, 3.0, 0.0));
        let misfit = factor(Size::Height(Length::from_mm(10.0)), &flat, DVec3::new(2.0, 3.0, 0.0)).unwrap_err();
        assert_eq!(misfit.setting, "height");
    }

    #[test]
    fn points_that_no_triangle_uses_have_no_size() {
        // A right triangle with sides 3, 4 and 5: the sphere over the longest side, 5 across (Thales).
        let points = [[0., 0., 0.], [3., 0., 0.], [0., 4., 0.], [90., 90., 90.]].map(DVec3::from_array);
        let surface = Surface::new(points.to_vec(), vec![[0, 1, 2]]).unwrap();
        let [lo, hi] = surface.bounds().unwrap();
        let mm = Length::from_mm;
        for (size, expected) in [(Size::Sphere(mm(10.0)), 2.0), (Size::Longest(mm(10.0)), 2.5)] {
            assert!((factor(size, &surface, hi - lo).unwrap() - expected).abs() < 1e-12, "{size:?}");
        }
        assert_eq!(factor(Size::Height(mm(10.0)), &surface, hi - lo).unwrap_err().setting, "height");
    }
}
