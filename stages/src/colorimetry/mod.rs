//! Colour as measured: from sRGB (IEC 61966-2-1) through linear light to CIELAB under D65, differences by CIEDE2000, what
//! people with a colour-vision deficiency see, what a process can print, and inks that mix as pigments do.
//!
//! Linear light is relative: 0 is none, 1 is what an ideal white reflects.
//!
//! ```
//! use turnhue_stages::Srgb;
//! use turnhue_stages::colorimetry::deficiency::Deficiency;
//! use turnhue_stages::colorimetry::{difference, lab};
//!
//! let (brick, weed) = (Srgb([0xc8, 0x55, 0x3d]), Srgb([0x58, 0x81, 0x57]));
//! let apart = difference(lab(brick), lab(weed));
//! let deutan = difference(Deficiency::Deutan.lab(brick), Deficiency::Deutan.lab(weed));
//! assert!(deutan < apart / 2.0); // red and green
//! ```
//!
//! # Limits
//! Lab and ΔE00 hold for flat patches of some degrees of view, side by side under daylight (CIE 015:2018). Faces of a piece
//! are smaller and lit unevenly; what is said here is a bound on how well they can be told apart.

pub mod deficiency;
mod difference;
pub mod gamut;
pub mod pigment;
pub mod profile;

use std::sync::LazyLock;

use palette::LinSrgb;
use palette::convert::IntoColorUnclamped;
use palette::white_point::D65;

pub use self::difference::difference;
use crate::Srgb;

/// A colour in CIELAB under D65 (CIE 015:2018).
pub type Lab = palette::Lab<D65, f64>;

/// The light of each level of eight bits, and where one level ends and the next begins. `palette` has such tables too, but they
/// are off by up to 10⁻⁶ of light and 0.6 of a level.
static LEVELS: LazyLock<Levels> = LazyLock::new(|| Levels {
    light: std::array::from_fn(|level| Srgb64::new(level as f64 / 255.0, 0.0, 0.0).into_linear().red),
    begins: std::array::from_fn(|level| match level {
        0 => f64::NEG_INFINITY,
        256 => f64::INFINITY,
        _ => Srgb64::new((level as f64 - 0.5) / 255.0, 0.0, 0.0).into_linear().red,
    }),
});

struct Levels {
    light: [f64; 256],
    begins: [f64; 257],
}

type Srgb64 = palette::Srgb<f64>;

/// Red, green and blue of a colour in linear light.
#[must_use]
pub fn linear(Srgb(levels): Srgb) -> [f64; 3] {
    let light = &LEVELS.light;
    levels.map(|level| light[usize::from(level)])
}

/// The nearest sRGB colour of eight bits a channel; light below 0 or above 1 is cut.
#[must_use]
pub fn srgb([r, g, b]: [f64; 3]) -> Srgb {
    let begins = &LEVELS.begins;
    let nearly = palette::Srgb::<u8>::from_linear(LinSrgb::new(r, g, b));
    let nearest = |light: f64, nearly: u8| {
        let at = usize::from(nearly);
        if light < begins[at] {
            nearly - 1
        } else if light >= begins[at + 1] {
            nearly + 1
        } else {
            nearly
        }
    };
    Srgb([nearest(r, nearly.red), nearest(g, nearly.green), nearest(b, nearly.blue)])
}

/// CIELAB of linear light.
#[must_use]
pub fn lab_of_light([r, g, b]: [f64; 3]) -> Lab {
    LinSrgb::new(r, g, b).into_color_unclamped()
}

/// CIELAB of a colour.
#[must_use]
pub fn lab(colour: Srgb) -> Lab {
    lab_of_light(linear(colour))
}

/// Linear light of a colour in CIELAB; below 0 or above 1 where sRGB does not have it.
#[must_use]
pub fn light_of_lab(lab: Lab) -> [f64; 3] {
    let light: LinSrgb<f64> = lab.into_color_unclamped();
    [light.red, light.green, light.blue]
}

#[cfg(test)]
mod tests;
