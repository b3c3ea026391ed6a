//! The six sides, straight on.

use glam::DVec3;
use rayon::prelude::*;

use super::Subject;
use super::camera::Camera;
use super::picture::{Easel, Ground};
use crate::Side;
use crate::formats::picture::{self, Image, View};

/// A side as designed and as printed, on a transparent ground.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SidePictures {
    /// The side.
    pub side: Side,
    /// As designed.
    pub designed: Image,
    /// As printed.
    pub printed: Image,
}

impl Subject<'_> {
    /// The six sides in their order, each on a square of `pixels` × `pixels` (held between 1 and
    /// [`picture::LARGEST`]): turned as the standard views ([`View::Side`]) and at their scale, so that both can be laid
    /// side by side.
    #[must_use]
    pub fn sides(&self, pixels: u32) -> Vec<SidePictures> {
        let pixels = pixels.clamp(1, picture::LARGEST);
        let scale = self.standard_scale(pixels);
        let draw = |side: Side| {
            let axes = View::Side(side).axes();
            let camera = Camera::parallel(axes, self.bounds.middle(), scale, pixels);
            let mut easel = Easel::new(pixels, Ground::Clear);
            easel.draw(self, &camera);
            let [designed, printed] = [easel.pair.designed, easel.pair.printed].map(|rgba| Image::new(pixels, rgba));
            SidePictures { side, designed, printed }
        };
        Side::ALL.into_par_iter().map(draw).collect()
    }

    /// Pixels for a cell at which every standard view fits.
    fn standard_scale(&self, pixels: u32) -> f64 {
        let widest = View::ALL.map(|view| {
            let [right, up, _] = view.axes();
            self.extent(right).max(self.extent(up))
        });
        let widest = widest.into_iter().fold(0.0, f64::max);
        let room = f64::from(pixels) * (1.0 - 2.0 * picture::MARGIN);
        if widest > 0.0 { room / widest } else { 1.0 }
    }

    /// The length of the piece along a direction.
    fn extent(&self, along: DVec3) -> f64 {
        let ends = |[low, high]: [f64; 2], at: f64| [low.min(at), high.max(at)];
        let [low, high] = self.order.corners().map(|p| p.dot(along)).fold([f64::INFINITY, f64::NEG_INFINITY], ends);
        (high - low).max(0.0)
    }
}
