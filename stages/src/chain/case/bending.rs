//! How far panels sag, by the theory of thin plates held up along all four edges (Timoshenko and Woinowsky-Krieger, "Theory of
//! plates and shells", from memory): for a square of edge a, 0.00406 q a⁴/D under a load spread evenly and 0.0116 P a²/D under
//! one in the middle, with D = E t³ / 12 (1 − ν²). An oblong panel is reckoned as a square of its longer side, which sags
//! more. Stiffnesses are low ones (from memory): fibreboard for wood, cast acrylic for what is clear.

use super::design::Design;
use super::settings::Settings;

/// Standard gravity in m/s² (ISO 80000-3).
const GRAVITY: f64 = 9.80665;
/// Young's modulus in N/mm², and Poisson's ratio.
const WOOD: [f64; 2] = [3000.0, 0.3];
const ACRYLIC: [f64; 2] = [2800.0, 0.37];

/// Flexural rigidity in N·mm of a plate that is `thick` mm thick.
fn rigidity([modulus, ratio]: [f64; 2], thick: f64) -> f64 {
    modulus * thick.powi(3) / (12.0 * (1.0 - ratio * ratio))
}

/// Weight in N of so many g.
pub(super) fn newtons(grams: f64) -> f64 {
    grams / 1000.0 * GRAVITY
}

/// How far the box's top sags in the middle under the piece, the stand and the motor, in mm.
pub(super) fn top(design: &Design, settings: &Settings, grams: f64) -> f64 {
    let span = design.outer.truncate().max_element() - 2.0 * settings.thickness();
    0.0116 * newtons(grams + settings.motor.mass) * span * span / rigidity(WOOD, settings.thickness())
}

/// How far the cover's top sags in the middle under itself, in mm.
pub(super) fn cover(design: &Design, settings: &Settings) -> f64 {
    let sheet = &settings.cover.sheet;
    let thick = sheet.thickness.mm();
    let load = newtons(sheet.density / 1000.0) * thick;
    0.00406 * load * design.cover_inner.powi(4) / rigidity(ACRYLIC, thick)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plate_sags_as_reckoned_by_hand() {
        // 4 mm of E = 2800 N/mm² and ν = 0.37: 2800 · 64 / (12 · 0.8631) = 17 302 N·mm.
        assert!((rigidity(ACRYLIC, 4.0) - 17_302.0).abs() < 1.0);
        // 1 kg weighs 9.80665 N.
        assert_eq!(newtons(1000.0), 9.80665);
    }
}
