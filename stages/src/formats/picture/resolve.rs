//! From samples to pixels: averages in linear light, coverage as alpha (T. Porter and T. Duff, "Compositing digital
//! images", SIGGRAPH 1984), and the dark lines behind whatever stands in front.

use super::SAMPLES;
use super::camera::Shown;
use super::mix::{Mix, Mixes, WHOLE};
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

/// What the pixels of a band show: row by row the places of their mixes in `mixes`.
pub(super) fn resolve(band: &Band, shown: &[Shown], mixes: &mut Mixes, pixels: &mut [u32]) {
    let edge = band.stride / SIDE - 2;
    let depths = Depths::new(band);
    let mut last = None;
    for (row, line) in pixels.chunks_mut(edge).enumerate() {
        for (column, pixel) in line.iter_mut().enumerate() {
            let start = (row + 1) * SIDE * band.stride + (column + 1) * SIDE;
            *pixel = match one_alone(band, start) {
                Some(shows) if depths.flat(row + 1, column + 1) => match last {
                    // Most pixels show what the one before them does.
                    Some((before, place)) if before == shows => place,
                    _ => {
                        let place = mixes.place(&whole(shows, shown));
                        last = Some((shows, place));
                        place
                    }
                },
                _ => mixes.place(&mixed(band, start, shown)),
            };
        }
    }
}

/// What a pixel shows, if all its samples show the same.
fn one_alone(band: &Band, start: usize) -> Option<u32> {
    let first = band.shows[start];
    let same = (0..SIDE).all(|row| {
        let start = start + row * band.stride;
        band.shows[start..start + SIDE].iter().all(|&c| c == first)
    });
    same.then_some(first)
}

/// A pixel that shows one thing, or nothing.
fn whole(shows: u32, shown: &[Shown]) -> Mix {
    match shows.checked_sub(1) {
        None => Mix::NOTHING,
        Some(at) => {
            let Shown { ink, light } = shown[at as usize];
            Mix::of(WHOLE, [(ink, light)])
        }
    }
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

/// A pixel that shows several things, or with a line through it.
fn mixed(band: &Band, start: usize, shown: &[Shown]) -> Mix {
    // What the samples show, and how much of it: sixteen at most.
    let mut seen = [(0u32, 0.0f32); SIDE * SIDE];
    let (mut count, mut cover) = (0, 0.0f32);
    for at in (0..SIDE).flat_map(|row| (0..SIDE).map(move |column| start + row * band.stride + column)) {
        let line = line(band, at);
        let shows = band.shows[at];
        if shows == 0 {
            cover += line;
            continue;
        }
        cover += 1.0;
        let known = seen[..count].iter().position(|&(other, _)| other == shows).unwrap_or_else(|| {
            seen[count] = (shows, 0.0);
            count += 1;
            count - 1
        });
        seen[known].1 += 1.0 - line;
    }
    if cover == 0.0 {
        return Mix::NOTHING;
    }
    let parts = seen[..count].iter().map(|&(shows, share)| {
        let Shown { ink, light } = shown[shows as usize - 1];
        // Whole steps, so that pixels that look the same are the same.
        (ink, ((share / cover * STEPS).round() as u32 * light + STEPS as u32 / 2) / STEPS as u32)
    });
    Mix::of((cover / (SIDE * SIDE) as f32 * WHOLE as f32).round() as u32, parts)
}

/// Shares of a mixed pixel are whole numbers of this part: 240 is a multiple of most counts of samples up to sixteen, and
/// half a step is less than half a level of eight bits.
const STEPS: f32 = 240.0;

/// The opacity of the line through a sample.
fn line(band: &Band, at: usize) -> f32 {
    let beside = [at - REACH, at + REACH, at - REACH * band.stride, at + REACH * band.stride];
    let nearest = beside.into_iter().map(|i| band.near[i]).fold(f32::NEG_INFINITY, f32::max);
    let step = nearest - band.near[at];
    // Nothing behind nothing gives no number, and so no line.
    if step > STEP { LINE[0] + (LINE[1] - LINE[0]) * (step / (DEEP * band.stride as f32)).min(1.0) } else { 0.0 }
}
