//! How inks mix: the single-constant theory of Kubelka and Munk, channel by channel of linear light.
//!
//! An opaque layer that reflects ρ absorbs K / S = (1 − ρ)² / 2ρ for each part that it scatters (Kubelka & Munk 1931).
//! Absorptions of inks add, each by its amount, to that of the bare material (Duncan 1940), and the mixture reflects
//! ρ = 1 + K / S − √((K / S)² + 2 K / S).
//!
//! A surface also throws back a little light before it enters the layer. Without that the blackest black would absorb
//! without limit, and a trace of it would blacken all. As in Saunderson's correction (1942), reduced to its first term,
//! what enters is taken apart from what is thrown back: [`SURFACE`].

/// The share of light that never enters the layer: about that of a matt surface seen off the gloss (common practice, no
/// source). It bounds the absorption of black at K / S = 24.5.
pub const SURFACE: f64 = 0.02;

/// Absorption K / S of an opaque layer that reflects `light`, a share of 0 to 1, channel by channel.
#[must_use]
pub fn absorption(light: [f64; 3]) -> [f64; 3] {
    light.map(|light| {
        let rho = (light.clamp(0.0, 1.0) + SURFACE) / (1.0 + SURFACE);
        (1.0 - rho) * (1.0 - rho) / (2.0 * rho)
    })
}

/// The light that a layer with that absorption reflects; the inverse of [`absorption`].
#[must_use]
pub fn reflected(absorption: [f64; 3]) -> [f64; 3] {
    absorption.map(|a| {
        // 1 + a − √(a² + 2a), in the form that loses no digits where a is large.
        let rho = 1.0 / (1.0 + a + (a * (a + 2.0)).sqrt());
        (rho * (1.0 + SURFACE) - SURFACE).max(0.0)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Srgb;
    use crate::colorimetry::{linear, srgb};

    #[test]
    fn every_grey_comes_back_exactly() {
        for level in 0..=255 {
            let grey = Srgb([level; 3]);
            assert_eq!(srgb(reflected(absorption(linear(grey)))), grey);
        }
    }

    #[test]
    fn half_of_two_inks_reflects_what_the_closed_form_says() {
        // By hand, without the surface's share: ρ = 0.25 has K / S = 1.125, ρ = 1 has none; half of each has 0.5625, and so
        // ρ = 1.5625 − √(1.5625² − 1) = 0.361914.
        let inner = |light: f64| light * (1.0 + SURFACE) - SURFACE;
        let quarter = absorption([inner(0.25); 3])[0];
        assert!((quarter - 1.125).abs() < 1e-12, "{quarter}");
        let half = reflected([quarter / 2.0; 3])[0];
        assert!((half - inner(0.361_914)).abs() < 1e-5, "{half}");
    }
}
