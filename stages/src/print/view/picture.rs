//! From samples to pixels: averages in linear light (IEC 61966-2-1), over a ground or with coverage as alpha (Porter & Duff
//! 1984).

use std::sync::LazyLock;

use super::Subject;
use super::camera::Camera;
use super::visible::{TURNED, Visible};
use crate::{Srgb, colorimetry};

/// A pixel as red, green, blue, alpha.
pub(super) type Rgba = [u8; 4];

/// What lies behind the piece.
#[derive(Clone, Copy, Debug)]
pub(super) enum Ground {
    /// A colour.
    Colour(Srgb),
    /// Nothing: the picture is transparent there.
    Clear,
}

/// The piece as designed and as printed, from one view.
#[derive(Debug)]
pub(super) struct Pair {
    pub(super) designed: Vec<Rgba>,
    pub(super) printed: Vec<Rgba>,
}

/// What is needed to draw, view after view.
#[derive(Debug)]
pub(super) struct Easel {
    visible: Visible,
    /// Light of each pixel of a row, as designed and as printed.
    light: Vec<[Light; 2]>,
    ground: Ground,
    pub(super) pair: Pair,
}

impl Easel {
    pub(super) fn new(pixels: u32, ground: Ground) -> Self {
        let blank = vec![Light::default().over(ground); (pixels * pixels) as usize];
        Self {
            visible: Visible::new(pixels, TURNED),
            light: vec![[Light::default(); 2]; pixels as usize],
            ground,
            pair: Pair { designed: blank.clone(), printed: blank },
        }
    }

    /// Draws a view. The camera must be made for as many pixels.
    pub(super) fn draw(&mut self, subject: &Subject<'_>, camera: &Camera) {
        self.visible.look(&subject.order, camera, |_, _| ());
        let sheet = subject.sheet;
        let edge = self.visible.edge();
        for row in 0..edge {
            self.light.fill_with(Default::default);
            let light = &mut self.light;
            self.visible.runs(camera, row, |rays, run| {
                let designed = Light::of(sheet.designed[run.face as usize]);
                subject.texture.each(rays, run, |sample, texel| {
                    let [flat, real] = &mut light[sample];
                    flat.add(designed);
                    real.add(Light::of(sheet.printed[texel]));
                });
            });
            let pixels = row * edge..(row + 1) * edge;
            let [designed, printed] = [&mut self.pair.designed[pixels.clone()], &mut self.pair.printed[pixels]];
            for ((light, designed), printed) in self.light.iter().zip(designed).zip(printed) {
                [*designed, *printed] = light.map(|light| light.over(self.ground));
            }
        }
    }
}

/// The light of up to four samples, added up: 20 bits for each of red, green and blue, the number of samples above them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Light(u64);

/// Full light of one sample.
const FULL: f64 = 65535.0;

impl Light {
    fn of(Srgb([r, g, b]): Srgb) -> Self {
        let [r, g, b] = [r, g, b].map(|code| LINEAR[usize::from(code)]);
        Self(r | g << 20 | b << 40 | 1 << 60)
    }

    fn add(&mut self, other: Self) {
        self.0 += other.0;
    }

    fn over(self, ground: Ground) -> Rgba {
        let samples = TURNED.len() as u64;
        let count = self.0 >> 60;
        let light = [0, 20, 40].map(|shift| self.0 >> shift & 0xf_ffff);
        match ground {
            _ if count == samples => opaque(light),
            Ground::Colour(colour) => {
                let behind = Self::of(colour).0;
                let [r, g, b] = [0, 20, 40].map(|shift| (behind >> shift & 0xf_ffff) * (samples - count));
                opaque([light[0] + r, light[1] + g, light[2] + b])
            }
            Ground::Clear if count == 0 => [0; 4],
            Ground::Clear => {
                let [r, g, b, _] = opaque(light.map(|sum| sum * samples / count));
                [r, g, b, (count * 255 / samples) as u8]
            }
        }
    }
}

/// The pixel with that light of four samples.
fn opaque(light: [u64; 3]) -> Rgba {
    let [r, g, b] = light.map(|sum| CODES[(sum >> 4) as usize]);
    [r, g, b, 255]
}

/// The light of each code.
static LINEAR: LazyLock<[u64; 256]> = LazyLock::new(|| {
    std::array::from_fn(|code| {
        let [light, ..] = colorimetry::linear(Srgb([code as u8; 3]));
        (light * FULL).round() as u64
    })
});

/// The code of each sum of four samples' light, less its last four bits. Fine enough that four equal samples keep their
/// code: the codes nearest to each other, the dark ones, are five steps apart.
static CODES: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let code = |step: u32| {
        let light = (f64::from(step) * 16.0 + 8.0) / (4.0 * FULL);
        colorimetry::srgb([light; 3]).0[0]
    };
    (0..1 << 14).map(code).collect()
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_equal_samples_keep_their_colour() {
        for code in 0..=255 {
            let mut light = Light::default();
            (0..4).for_each(|_| light.add(Light::of(Srgb([code, 255 - code, 7]))));
            assert_eq!(light.over(Ground::Clear), [code, 255 - code, 7, 255]);
        }
    }

    #[test]
    fn halves_mix_in_linear_light() {
        // IEC 61966-2-1: half black, half white light is sRGB 188 (0.5 → 187.5).
        let mut light = Light::default();
        (0..2).for_each(|_| light.add(Light::of(Srgb([255; 3]))));
        assert_eq!(light.over(Ground::Clear), [255, 255, 255, 127]);
        assert_eq!(light.over(Ground::Colour(Srgb([0; 3]))), [188, 188, 188, 255]);
        assert_eq!(Light::default().over(Ground::Clear), [0; 4]);
    }
}
