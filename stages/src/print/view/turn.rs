//! The piece turning before a viewer: a picture every 5°, designed beside printed, and a film of the printed piece.

use std::f64::consts::TAU;
use std::io;

use glam::DVec3;
use rayon::prelude::*;

use super::camera::Camera;
use super::picture::{Easel, Ground};
use super::{BACKDROP, Subject};
use crate::formats::{animation, jpeg, picture};

/// Pictures in a turn: one every 5°.
pub const STEPS: usize = 72;

/// Pictures that are drawn before the first of them is handed on: enough to keep all threads busy, few to keep in memory.
const AHEAD: usize = 12;

/// Seconds that the film takes for a turn: slow enough to see one colour give way to the next.
const SECONDS: u16 = 6;

/// The least share of the viewer's distance that must be left before the nearest part of the piece.
const CLEAR: f64 = 0.05;

/// Where the viewer stands. The eye looks at the middle of the piece, and the piece turns about the upright axis through
/// the middle of the box around it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Viewer {
    /// From the axis, on the level, in mm.
    pub distance: f64,
    /// Of the eye above the piece's foot, in mm; below it if negative.
    pub height: f64,
}

/// A subject on its turntable before a viewer.
#[derive(Debug)]
pub struct Turn<'a> {
    subject: &'a Subject<'a>,
    /// From the middle of the piece to the eye: on the level, and upwards, in cells.
    out: f64,
    up: f64,
    /// Half the width and the lowest and highest place of the swept cylinder in the picture, as tangents.
    frame: [f64; 3],
}

impl<'a> Turn<'a> {
    /// Puts a viewer before a subject.
    ///
    /// # Errors
    /// A message that completes "could not draw the turn:" if the viewer stands within the piece as it turns, or so near
    /// that parts of it would lie beside or behind the eye.
    pub fn new(subject: &'a Subject<'a>, viewer: &Viewer) -> Result<Self, String> {
        let Viewer { distance, height } = *viewer;
        if !(distance.is_finite() && height.is_finite() && distance >= 0.0) {
            return Err(format!(
                "a viewer cannot stand {distance} mm from the axis at a height of {height} mm; distances are 0 mm or more"
            ));
        }
        let cell = if subject.order.is_empty() { 1.0 } else { subject.sheet.grid.cell };
        let half = (subject.bounds.high.z - subject.bounds.low.z) / 2.0;
        let radius = subject.bounds.radius;
        let (out, up) = (distance / cell, height / cell - half);
        let far = (out * out + up * up).sqrt();
        let reach = (radius * out + half * up.abs()) / far;
        if far.is_nan() || far <= 0.0 || far - reach < CLEAR * far {
            let enough = 1.1 * (radius * radius + half * half).sqrt() * cell;
            return Err(format!(
                "the viewer stands {distance:.0} mm from the axis, within or right before the piece, which reaches {:.0} \
                 mm from it as it turns; {:.0} mm is far enough",
                radius * cell,
                enough.max(1.0).ceil()
            ));
        }
        let mut turn = Self { subject, out, up, frame: [0.0; 3] };
        turn.frame = turn.swept(radius, half);
        Ok(turn)
    }

    /// The angle at which the viewer looks down on the piece's middle, in degrees; negative from below.
    #[must_use]
    pub fn elevation(&self) -> f64 {
        libm::atan2(self.up, self.out).to_degrees()
    }

    /// Draws all steps as designed and as printed on the backdrop, each a square of `pixels` × `pixels` (held between 1
    /// and [`picture::LARGEST`]) and hands them on in order: the step, then both pictures as JPEG of that quality (1 to
    /// 100). The turn begins at the front; then come right, back and left. Only a few steps are held at a time.
    ///
    /// # Errors
    /// What `hand_on` gives.
    pub fn frames<E>(
        &self,
        pixels: u32,
        quality: u8,
        mut hand_on: impl FnMut(usize, Vec<u8>, Vec<u8>) -> Result<(), E>,
    ) -> Result<(), E> {
        let pixels = pixels.clamp(1, picture::LARGEST);
        let steps: Vec<usize> = (0..STEPS).collect();
        for some in steps.chunks(AHEAD) {
            let frames: Vec<[Vec<u8>; 2]> = some
                .par_iter()
                .map_init(
                    || Easel::new(pixels, Ground::Colour(BACKDROP)),
                    |easel, &step| {
                        easel.draw(self.subject, &self.camera(step, pixels));
                        [&easel.pair.designed, &easel.pair.printed].map(|rgba| jpeg::encode(rgba, pixels, quality))
                    },
                )
                .collect();
            for (&step, [designed, printed]) in some.iter().zip(frames) {
                hand_on(step, designed, printed)?;
            }
        }
        Ok(())
    }

    /// The printed piece as an animated PNG that turns for ever, `pixels` × `pixels`, in the 256 colours that suit it best.
    ///
    /// # Errors
    /// If the writer fails.
    pub fn film(&self, pixels: u32) -> io::Result<Vec<u8>> {
        let pixels = pixels.clamp(1, picture::LARGEST);
        let draw = |easel: &mut Easel, step: usize| easel.draw(self.subject, &self.camera(step, pixels));
        let easel = || Easel::new(pixels, Ground::Colour(BACKDROP));
        animation::write(pixels, STEPS, SECONDS, BACKDROP, easel, |easel, step| {
            draw(easel, step);
            &easel.pair.printed
        })
    }

    /// The camera of a step. The piece fills the picture as far as it can without ever leaving it; the scale is the same
    /// at every step, so that the piece does not breathe.
    pub(super) fn camera(&self, step: usize, pixels: u32) -> Camera {
        let (axes, eye) = self.stand(azimuth(step));
        let [wide, low, high] = self.frame;
        let widest = (2.0 * wide).max(high - low);
        let room = f64::from(pixels) * (1.0 - 2.0 * picture::MARGIN);
        let scale = if widest > 0.0 { room / widest } else { 1.0 };
        Camera::perspective(axes, eye, scale, [0.0, low.midpoint(high)], pixels)
    }

    /// The axes of the picture, and the eye.
    fn stand(&self, [sine, cosine]: [f64; 2]) -> ([DVec3; 3], DVec3) {
        let out = DVec3::new(sine, -cosine, 0.0) * self.out + DVec3::Z * self.up;
        let towards = out.normalize();
        let right = DVec3::new(cosine, sine, 0.0);
        ([right, towards.cross(right), towards], self.subject.bounds.middle() + out)
    }

    /// Where the cylinder that the turning piece sweeps lies in the picture.
    fn swept(&self, radius: f64, half: f64) -> [f64; 3] {
        let (axes, eye) = self.stand([0.0, 1.0]);
        let middle = self.subject.bounds.middle();
        let rims = (0..720).flat_map(|at| {
            let (sine, cosine) = libm::sincos(f64::from(at) * TAU / 720.0);
            [-half, half].map(|z| DVec3::new(radius * cosine, radius * sine, z))
        });
        let start = [0.0, f64::INFINITY, f64::NEG_INFINITY];
        let [wide, low, high] = rims.fold(start, |[wide, low, high], p| {
            let [x, y, z] = axes.map(|axis| (middle + p - eye).dot(axis));
            [wide.max((x / z).abs()), low.min(-y / z), high.max(-y / z)]
        });
        [wide, low, high]
    }
}

/// Sine and cosine of a step's azimuth: 0 looks at the front, a quarter of a turn later at the right. Exact at the four
/// sides.
pub(super) fn azimuth(step: usize) -> [f64; 2] {
    let quarter = STEPS / 4;
    let (sine, cosine) = libm::sincos((step % quarter) as f64 * TAU / STEPS as f64);
    match step / quarter % 4 {
        0 => [sine, cosine],
        1 => [cosine, -sine],
        2 => [-sine, -cosine],
        _ => [-cosine, sine],
    }
}
