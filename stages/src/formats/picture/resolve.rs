//! From samples to pixels: averages in linear light, coverage as alpha (T. Porter and T. Duff, "Compositing digital
//! images", SIGGRAPH 1984), and the dark lines behind whatever stands in front.

use super::SAMPLES;
use super::raster::Band;

/// How far a line reaches onto the farther part, in samples: three quarters of a pixel.
const REACH: usize = 3;

/// How much farther, in samples, a part must lie to get a line. A face seen at the corner views' elevation falls off by
/// 2.4 samples a sample, so 7.2 over [`REACH`]; the step from cube to cube is larger wherever a cube can be seen as one.
const STEP: f32 = 8.0;

/// The opacity of a line behind the smallest step, and behind one of [`DEEP`] or more.
const LINE: [f32; 2] = [0.35, 0.75];

/// The step, as a share of the picture's width, from which lines get no darker.
const DEEP: f32 = 0.25;

const SIDE: usize = SAMPLES as usize;

/// Fills the band's rows of pixels.
pub(super) fn resolve(band: &Band, pixels: &mut [[u8; 4]]) {
    let edge = band.stride / SIDE - 2;
    let depths = Depths::new(band);
    for (row, line) in pixels.chunks_mut(edge).enumerate() {
        for (column, pixel) in line.iter_mut().enumerate() {
            let start = (row + 1) * SIDE * band.stride + (column + 1) * SIDE;
            *pixel = match one_colour(band, start) {
                Some(colour) if depths.flat(row + 1, column + 1) => colour.to_le_bytes(),
                _ => mixed(band, start),
            };
        }
    }
}

/// The colour of a pixel, if all its samples have the same.
fn one_colour(band: &Band, start: usize) -> Option<u32> {
    let first = band.colour[start];
    let same = (0..SIDE).all(|row| {
        let start = start + row * band.stride;
        band.colour[start..start + SIDE].iter().all(|&c| c == first)
    });
    same.then_some(first)
}

/// How near and how far the samples of each pixel are, with the rim.
struct Depths {
    stride: usize,
    nearest: Vec<f32>,
    farthest: Vec<f32>,
}

impl Depths {
    fn new(band: &Band) -> Self {
        let stride = band.stride / SIDE;
        let len = band.near.len() / (SIDE * SIDE);
        let mut depths = Self { stride, nearest: vec![f32::NEG_INFINITY; len], farthest: vec![f32::INFINITY; len] };
        for (row, samples) in band.near.chunks(band.stride).enumerate() {
            let pixels = row / SIDE * stride..(row / SIDE + 1) * stride;
            let targets = depths.nearest[pixels.clone()].iter_mut().zip(&mut depths.farthest[pixels]);
            for ((nearest, farthest), four) in targets.zip(samples.chunks_exact(SIDE)) {
                *nearest = four.iter().copied().fold(*nearest, f32::max);
                *farthest = four.iter().copied().fold(*farthest, f32::min);
            }
        }
        depths
    }

    /// Whether no line can run through the pixel: nothing in or beside it is nearer by [`STEP`].
    fn flat(&self, row: usize, column: usize) -> bool {
        let at = row * self.stride + column;
        let nearest = [at, at - 1, at + 1, at - self.stride, at + self.stride].map(|i| self.nearest[i]);
        nearest.into_iter().fold(f32::NEG_INFINITY, f32::max) <= self.farthest[at] + STEP
    }
}

/// A pixel of several colours, or with a line through it.
fn mixed(band: &Band, start: usize) -> [u8; 4] {
    let mut light = palette::LinSrgb::new(0.0f32, 0.0, 0.0);
    let mut cover = 0.0f32;
    for at in (0..SIDE).flat_map(|row| (0..SIDE).map(move |column| start + row * band.stride + column)) {
        let line = line(band, at);
        let [r, g, b, alpha] = band.colour[at].to_le_bytes();
        if alpha == 0 {
            cover += line;
        } else {
            light += palette::Srgb::<u8>::new(r, g, b).into_linear::<f32>() * (1.0 - line);
            cover += 1.0;
        }
    }
    if cover == 0.0 {
        return [0; 4];
    }
    let colour = palette::Srgb::<u8>::from_linear(light / cover);
    let alpha = (cover / (SIDE * SIDE) as f32 * 255.0).round() as u8;
    [colour.red, colour.green, colour.blue, alpha]
}

/// The opacity of the line through a sample.
fn line(band: &Band, at: usize) -> f32 {
    let beside = [at - REACH, at + REACH, at - REACH * band.stride, at + REACH * band.stride];
    let nearest = beside.into_iter().map(|i| band.near[i]).fold(f32::NEG_INFINITY, f32::max);
    let step = nearest - band.near[at];
    // Nothing behind nothing gives no number, and so no line.
    if step > STEP { LINE[0] + (LINE[1] - LINE[0]) * (step / (DEEP * band.stride as f32)).min(1.0) } else { 0.0 }
}
