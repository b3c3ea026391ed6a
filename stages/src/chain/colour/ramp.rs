//! A gradient along an axis of the piece.

use glam::IVec3;
use palette::{FromColor, LinSrgb};

use super::settings::{Gradient, Mix};
use crate::colorimetry::{Lab, lab, linear};
use crate::solid::Face;

/// Colours on the way from the lowest to the highest extent, which is counted from 0 to 1.
#[derive(Clone, Debug)]
pub(super) struct Ramp {
    axis: usize,
    /// Lowest cell, and number of cells, along the axis.
    low: i32,
    count: i32,
    /// Where each colour lies, and its coordinates in what they mix in.
    knots: Vec<(f64, [f64; 3])>,
    mix: Mix,
}

impl Ramp {
    pub(super) fn new(gradient: &Gradient, [low, high]: [IVec3; 2]) -> Self {
        let axis = gradient.along as usize;
        let stops = gradient.stops.iter().map(|stop| (stop.at, stop.colour));
        let knots = std::iter::once((0.0, gradient.from)).chain(stops).chain([(1.0, gradient.to)]);
        let coordinates = |colour| match gradient.mix {
            Mix::Light => linear(colour),
            Mix::Lab => <[f64; 3]>::from(lab(colour)),
        };
        Self {
            axis,
            low: low[axis],
            count: high[axis] - low[axis] + 1,
            knots: knots.map(|(at, colour)| (at, coordinates(colour))).collect(),
            mix: gradient.mix,
        }
    }

    /// The light of a face: the mean over the way that it takes up.
    pub(super) fn light(&self, face: Face) -> [f64; 3] {
        let at = face.cell[self.axis] - self.low;
        let [from, to] = match (face.side.axis() == self.axis, face.side.positive()) {
            (false, _) => [at, at + 1],
            (true, true) => [at + 1; 2],
            (true, false) => [at; 2],
        };
        let [from, to] = [from, to].map(|cells| f64::from(cells) / f64::from(self.count));
        let mean = if from == to { self.at(from) } else { self.mean(from, to) };
        match self.mix {
            Mix::Light => mean,
            Mix::Lab => {
                let light = LinSrgb::from_color(Lab::from(mean));
                // Between two colours of sRGB there are some that it does not hold.
                [light.red, light.green, light.blue].map(|channel| channel.clamp(0.0, 1.0))
            }
        }
    }

    fn at(&self, at: f64) -> [f64; 3] {
        let pair = self.knots.windows(2).find(|pair| at <= pair[1].0);
        pair.map_or_else(|| self.knots[self.knots.len() - 1].1, |pair| between(pair[0], pair[1], at))
    }

    /// The mean over a stretch: on each piece of it, half way between its ends.
    fn mean(&self, from: f64, to: f64) -> [f64; 3] {
        let mut sum = [0.0; 3];
        for pair in self.knots.windows(2) {
            let (a, b) = (from.max(pair[0].0), to.min(pair[1].0));
            if a < b {
                let middle = between(pair[0], pair[1], a.midpoint(b));
                sum = std::array::from_fn(|c| sum[c] + middle[c] * (b - a));
            }
        }
        sum.map(|channel| channel / (to - from))
    }
}

fn between((a, low): (f64, [f64; 3]), (b, high): (f64, [f64; 3]), at: f64) -> [f64; 3] {
    let share = (at - a) / (b - a);
    std::array::from_fn(|c| low[c] + share * (high[c] - low[c]))
}
