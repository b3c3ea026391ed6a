//! Colour as measured: from sRGB (IEC 61966-2-1) through linear light to CIELAB under D65, differences by CIEDE2000, and
//! inks that mix as pigments do.
//!
//! Linear light is relative: 0 is none, 1 is what an ideal white reflects.

pub mod pigment;

use palette::color_difference::Ciede2000;
use palette::white_point::D65;
use palette::{FromColor, IntoColor, LinSrgb};

use crate::Srgb;

/// A colour in CIELAB under D65 (CIE 015:2018).
pub type Lab = palette::Lab<D65, f64>;

/// Red, green and blue of a colour in linear light.
#[must_use]
pub fn linear(Srgb([r, g, b]): Srgb) -> [f64; 3] {
    let light: LinSrgb<f64> = palette::Srgb::<u8>::new(r, g, b).into_linear();
    [light.red, light.green, light.blue]
}

/// The nearest sRGB colour of eight bits a channel; light below 0 or above 1 is cut.
#[must_use]
pub fn srgb([r, g, b]: [f64; 3]) -> Srgb {
    let coded = palette::Srgb::<u8>::from_linear(LinSrgb::new(r, g, b));
    Srgb([coded.red, coded.green, coded.blue])
}

/// CIELAB of linear light.
#[must_use]
pub fn lab_of_light([r, g, b]: [f64; 3]) -> Lab {
    LinSrgb::new(r, g, b).into_color()
}

/// CIELAB of a colour.
#[must_use]
pub fn lab(colour: Srgb) -> Lab {
    Lab::from_color(LinSrgb::from(linear(colour)))
}

/// The difference ΔE00 of two colours (CIEDE2000; Sharma, Wu & Dalal 2005). Below 1 nobody sees it; 5 is plain to see.
#[must_use]
pub fn difference(a: Lab, b: Lab) -> f64 {
    a.difference(b)
}
