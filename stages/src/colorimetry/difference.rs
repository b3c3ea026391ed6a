//! The difference of two colours, ΔE00 (CIEDE2000).
//!
//! Written out from Sharma, Wu & Dalal (2005), with their numbers of equations, rather than taken from `palette`: its mean of two
//! hues is a full turn too high where their sum is above 360°, which moves large differences by up to 10⁻⁴; and hues that lie
//! opposite each other to the last digit go either way.

use super::Lab;

/// The difference ΔE00 of two colours (CIEDE2000; Sharma, Wu & Dalal 2005). Below 1 nobody sees it; 5 is plain to see.
#[must_use]
pub fn difference(a: Lab, b: Lab) -> f64 {
    // (2)–(7): a* is stretched for colours near grey, and the plane goes over into chroma and hue.
    let chroma = |colour: Lab| (colour.a * colour.a + colour.b * colour.b).sqrt();
    let stretch = 1.0 + 0.5 * (1.0 - strong(f64::midpoint(chroma(a), chroma(b))));
    let (first, second) = (Polar::of(a, stretch), Polar::of(b, stretch));
    // (8)–(11), and (14) for the mean of the hues.
    let lightness = b.l - a.l;
    let chroma = second.chroma - first.chroma;
    let (turn, mean_hue) = turn_and_mean(&first, &second);
    let hue = 2.0 * (first.chroma * second.chroma).sqrt() * libm::sin((turn / 2.0).to_radians());
    // (12), (13), (15)–(21).
    let mean_chroma = f64::midpoint(first.chroma, second.chroma);
    let cos = |degrees: f64| libm::cos(degrees.to_radians());
    let t = 1.0 - 0.17 * cos(mean_hue - 30.0) + 0.24 * cos(2.0 * mean_hue) + 0.32 * cos(3.0 * mean_hue + 6.0)
        - 0.20 * cos(4.0 * mean_hue - 63.0);
    let from_middle = f64::midpoint(a.l, b.l) - 50.0;
    let square = from_middle * from_middle;
    let lightness = lightness / (1.0 + 0.015 * square / (20.0 + square).sqrt());
    let chroma = chroma / (1.0 + 0.045 * mean_chroma);
    let hue = hue / (1.0 + 0.015 * mean_chroma * t);
    let from_blue = (mean_hue - 275.0) / 25.0;
    let rotation = -2.0 * strong(mean_chroma) * libm::sin((60.0 * libm::exp(-from_blue * from_blue)).to_radians());
    // (22). The rotation is above −2, so the sum is never below 0 but by rounding.
    (lightness * lightness + chroma * chroma + hue * hue + rotation * chroma * hue).max(0.0).sqrt()
}

/// √(C⁷ / (C⁷ + 25⁷)): near 0 for greys, near 1 for strong colours.
fn strong(chroma: f64) -> f64 {
    let cube = chroma * chroma * chroma;
    let seventh = cube * cube * chroma;
    (seventh / (seventh + 6_103_515_625.0)).sqrt()
}

struct Polar {
    chroma: f64,
    /// In degrees from 0 to 360; 0 for greys.
    hue: f64,
}

impl Polar {
    fn of(colour: Lab, stretch: f64) -> Self {
        let a = stretch * colour.a;
        let chroma = (a * a + colour.b * colour.b).sqrt();
        if chroma == 0.0 {
            return Self { chroma, hue: 0.0 };
        }
        let hue = libm::atan2(colour.b, a).to_degrees();
        Self { chroma, hue: if hue < 0.0 { hue + 360.0 } else { hue } }
    }
}

/// Hues that lie opposite but for so much, in degrees, are opposite: rounding leaves 10⁻¹³, and the nearest pairs of the
/// published table are 2·10⁻³ off.
const OPPOSITE: f64 = 1e-9;

/// How far it is from one hue to another, from −180° to 180°, and the hue in the middle. Of opposite hues, the middle that does
/// not go over 0°, as in pair 14 of the published table.
fn turn_and_mean(from: &Polar, to: &Polar) -> (f64, f64) {
    let (turn, sum) = (to.hue - from.hue, from.hue + to.hue);
    if from.chroma == 0.0 || to.chroma == 0.0 {
        (0.0, sum)
    } else if turn.abs() <= 180.0 + OPPOSITE {
        (turn, sum / 2.0)
    } else {
        let turn = if turn > 0.0 { turn - 360.0 } else { turn + 360.0 };
        (turn, if sum < 360.0 { (sum + 360.0) / 2.0 } else { (sum - 360.0) / 2.0 })
    }
}
