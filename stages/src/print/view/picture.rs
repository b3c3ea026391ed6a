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
        let blank = vec![Light::default().over(ground, &TABLES); (pixels * pixels) as usize];
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
        let (sheet, tables) = (subject.sheet, &*TABLES);
        let edge = self.visible.edge();
        let blank = Light::default().over(self.ground, tables);
        for row in 0..edge {
            let span = self.visible.span(row);
            let light = &mut self.light[..];
            light[span.clone()].fill(Default::default());
            self.visible.runs(camera, row, |rays, run| {
                let designed = Light::of(sheet.designed[run.face as usize], tables);
                subject.texture.each(rays, run, |sample, texel| {
                    let [flat, real] = &mut light[sample];
                    flat.add(designed);
                    real.add(Light::of(sheet.printed[texel], tables));
                });
            });
            let pixels = row * edge..(row + 1) * edge;
            let [designed, printed] = [&mut self.pair.designed[pixels.clone()], &mut self.pair.printed[pixels]];
            for pixels in [&mut *designed, &mut *printed] {
                pixels[..span.start].fill(blank);
                pixels[span.end..].fill(blank);
            }
            let light = &self.light[span.clone()];
            for (which, pixels) in [(0, designed), (1, printed)] {
                // Neighbours often have the same light.
                let mut last = (Light::default(), blank);
                for (light, pixel) in light.iter().zip(&mut pixels[span.clone()]) {
                    if light[which] != last.0 {
                        last = (light[which], light[which].over(self.ground, tables));
                    }
                    *pixel = last.1;
                }
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
    fn of(Srgb([r, g, b]): Srgb, tables: &Tables) -> Self {
        let light = |code: u8| tables.light[usize::from(code)];
        Self(light(r) | light(g) << 20 | light(b) << 40 | 1 << 60)
    }

    fn add(&mut self, other: Self) {
        self.0 += other.0;
    }

    /// The number of samples.
    fn count(self) -> u64 {
        self.0 >> 60
    }

    /// Red, green and blue.
    fn sums(self) -> [u64; 3] {
        [self.0 & 0xf_ffff, self.0 >> 20 & 0xf_ffff, self.0 >> 40 & 0xf_ffff]
    }

    fn over(self, ground: Ground, tables: &Tables) -> Rgba {
        let samples = TURNED.len() as u64;
        let (count, [r, g, b]) = (self.count(), self.sums());
        match ground {
            _ if count == samples => tables.opaque([r, g, b]),
            Ground::Colour(colour) => {
                let behind = Self::of(colour, tables).sums();
                let more = samples - count;
                tables.opaque([r + behind[0] * more, g + behind[1] * more, b + behind[2] * more])
            }
            Ground::Clear if count == 0 => [0; 4],
            Ground::Clear => {
                let whole = |sum: u64| sum * samples / count;
                let [r, g, b, _] = tables.opaque([whole(r), whole(g), whole(b)]);
                [r, g, b, (count * 255 / samples) as u8]
            }
        }
    }
}

/// From codes to light and back.
#[derive(Debug)]
struct Tables {
    /// The light of each code.
    light: [u64; 256],
    /// The code of each sum of four samples' light, less its last four bits. Fine enough that four equal samples keep
    /// their code: the codes nearest to each other, the dark ones, are five steps apart.
    codes: Vec<u8>,
}

impl Tables {
    /// The pixel with that light of four samples.
    fn opaque(&self, [r, g, b]: [u64; 3]) -> Rgba {
        let code = |sum: u64| self.codes[(sum >> 4) as usize];
        [code(r), code(g), code(b), 255]
    }
}

static TABLES: LazyLock<Tables> = LazyLock::new(|| {
    let light = |code: usize| (colorimetry::linear(Srgb([code as u8; 3]))[0] * FULL).round() as u64;
    let code = |step: u32| {
        let light = (f64::from(step) * 16.0 + 8.0) / (4.0 * FULL);
        colorimetry::srgb([light; 3]).0[0]
    };
    Tables { light: std::array::from_fn(light), codes: (0..1 << 14).map(code).collect() }
});

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_equal_samples_keep_their_colour() {
        for code in 0..=255 {
            let mut light = Light::default();
            (0..4).for_each(|_| light.add(Light::of(Srgb([code, 255 - code, 7]), &TABLES)));
            assert_eq!(light.over(Ground::Clear, &TABLES), [code, 255 - code, 7, 255]);
        }
    }

    #[test]
    fn halves_mix_in_linear_light() {
        // IEC 61966-2-1: half black, half white light is sRGB 188 (0.5 → 187.5).
        let mut light = Light::default();
        (0..2).for_each(|_| light.add(Light::of(Srgb([255; 3]), &TABLES)));
        assert_eq!(light.over(Ground::Clear, &TABLES), [255, 255, 255, 127]);
        assert_eq!(light.over(Ground::Colour(Srgb([0; 3])), &TABLES), [188, 188, 188, 255]);
        assert_eq!(Light::default().over(Ground::Clear, &TABLES), [0; 4]);
    }
}
