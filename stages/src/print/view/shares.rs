//! How much of what is seen has each side's colour, step by step as the piece turns.
//!
//! Seen in parallel, a face with the unit normal n has the area |n · d| of its own from the direction d. What others leave
//! of it is counted: the samples of the picture that see it, over those that it would have alone. Both counts are of the
//! same samples, so an uncovered face has its closed-form area to the last digits, however coarse the picture.

use glam::DVec3;
use rayon::prelude::*;

use super::camera::Camera;
use super::turn::{STEPS, azimuth};
use super::visible::{SINGLE, Visible};
use super::{Bounds, Subject};
use crate::{Side, Six};

/// Samples along the edge of a cell. No simple fraction, so that samples fall on ever other places of the cells: with a
/// whole number all cells would be cut alike.
const PER_CELL: f64 = 5.618;

/// The edge of the picture, in samples: at least, so that the narrow sides of a few cells have some, and at most.
const EDGE: [f64; 2] = [360.0, 2048.0];

/// What shows at a step of a turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shares {
    /// In degrees: 0 looks at the front, 90 at the right.
    pub azimuth: f64,
    /// The share of the visible area that faces of each side have; 1 together, or 0 if nothing is seen.
    pub designed: Six<f64>,
    /// The share of the visible area that is named as each side's colour; 1 together, less what has no name.
    pub named: Six<f64>,
}

/// How one side gives way to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Handover {
    /// The side that goes.
    pub from: Side,
    /// The side that comes.
    pub to: Side,
    /// The angle, in degrees, from where the first has 75 % of what both have to where it has 25 %; nothing if it never
    /// has as much or never as little between looking at the one and at the other.
    pub designed: Option<f64>,
    /// The same for what is named.
    pub printed: Option<f64>,
}

impl Subject<'_> {
    /// The shares at each step of a turn, seen in parallel at an elevation in degrees (0 is level, 90 from above).
    /// `names` says for each texel which side's colour it is taken for, if any.
    ///
    /// # Panics
    /// If there is not a name for each texel.
    #[must_use]
    pub fn shares(&self, names: &[Option<Side>], elevation: f64) -> Vec<Shares> {
        assert_eq!(names.len(), self.sheet.printed.len(), "one name for each texel");
        let (sine, cosine) = libm::sincos(elevation.to_radians());
        let lens = Lens::new(&self.bounds, sine, cosine);
        let steps: Vec<usize> = (0..STEPS).collect();
        steps
            .par_iter()
            .map_init(
                || (Visible::new(lens.pixels, SINGLE), vec![0u32; self.sheet.faces.len()]),
                |(visible, covered), &step| {
                    let camera = lens.camera(azimuth(step));
                    let tally = self.tally(visible, covered, &camera, lens.towards(azimuth(step)), names);
                    tally.shares(step as f64 * 360.0 / STEPS as f64)
                },
            )
            .collect()
    }

    fn tally(
        &self,
        visible: &mut Visible,
        covered: &mut [u32],
        camera: &Camera,
        towards: DVec3,
        names: &[Option<Side>],
    ) -> Tally {
        let mut tally = Tally { area: Six::from_fn(|side| side.normal().dot(towards).max(0.0)), ..Tally::default() };
        visible.look(&self.order, camera, |drawn, samples| {
            covered[drawn.face as usize] = samples;
            tally.faces[drawn.side][usize::from(samples > 0)] += 1;
        });
        for row in 0..visible.edge() {
            visible.runs(camera, row, |rays, run| {
                let side = self.sheet.faces[run.face as usize].side;
                let mut counts = [0u32; 7];
                self.texture.each(rays, run, |_, texel| counts[names[texel].map_or(6, |name| name as usize)] += 1);
                let each = 1.0 / f64::from(covered[run.face as usize]);
                tally.seen[side] += (run.to - run.from) as f64 * each;
                for (named, count) in tally.named[side].iter_mut().zip(counts) {
                    *named += f64::from(count) * each;
                }
            });
        }
        tally
    }
}

/// What is seen of the faces of each side, in faces.
#[derive(Debug, Default)]
struct Tally {
    /// The area that one face has in the picture.
    area: Six<f64>,
    /// The number of faces that are too narrow in the picture to have a sample, and of all others.
    faces: Six<[u32; 2]>,
    seen: Six<f64>,
    named: Six<[f64; 6]>,
}

impl Tally {
    fn shares(&self, azimuth: f64) -> Shares {
        // Faces without a sample are taken to be hidden as much as the others of their side.
        let weights = Six::from_fn(|side| {
            let [without, with] = self.faces[side].map(f64::from);
            self.area[side] * if with > 0.0 { (with + without) / with } else { 0.0 }
        });
        let areas = Six::from_fn(|side| {
            let [without, with] = self.faces[side].map(f64::from);
            if with > 0.0 { weights[side] * self.seen[side] } else { self.area[side] * without }
        });
        let total: f64 = areas.0.iter().sum();
        let over = |area: f64| if total > 0.0 { area / total } else { 0.0 };
        let named = |name: Side| Side::ALL.iter().map(|&side| weights[side] * self.named[side][name as usize]).sum();
        Shares {
            azimuth,
            designed: Six::from_fn(|side| over(areas[side])),
            named: Six::from_fn(|name| over(named(name))),
        }
    }
}

/// A parallel view that holds the piece from everywhere around it.
struct Lens {
    sine: f64,
    cosine: f64,
    at: DVec3,
    scale: f64,
    pixels: u32,
}

impl Lens {
    fn new(bounds: &Bounds, sine: f64, cosine: f64) -> Self {
        let high = (bounds.high.z - bounds.low.z) * cosine.abs() + 2.0 * bounds.radius * sine.abs();
        let widest = high.max(2.0 * bounds.radius);
        let widest = widest.max(1.0);
        let scale = PER_CELL.clamp(EDGE[0] / widest, EDGE[1] / widest);
        Self { sine, cosine, at: bounds.middle(), scale, pixels: (widest * scale).ceil() as u32 + 2 }
    }

    fn towards(&self, [sine, cosine]: [f64; 2]) -> DVec3 {
        DVec3::new(self.cosine * sine, -self.cosine * cosine, self.sine)
    }

    fn camera(&self, [sine, cosine]: [f64; 2]) -> Camera {
        let towards = self.towards([sine, cosine]);
        let right = DVec3::new(cosine, sine, 0.0);
        Camera::parallel([right, towards.cross(right), towards], self.at, self.scale, self.pixels)
    }
}

/// The four sides in the order in which they come by.
const ROUND: [Side; 5] = [Side::Front, Side::Right, Side::Back, Side::Left, Side::Front];

/// How each of the four sides gives way to the next, from the shares of a turn as [`Subject::shares`] gives them.
#[must_use]
pub fn handovers(turn: &[Shares]) -> Vec<Handover> {
    let quarter = turn.len() / 4;
    let pairs = ROUND.windows(2).enumerate();
    pairs
        .map(|(at, pair)| {
            let [from, to] = [pair[0], pair[1]];
            let steps = || (at * quarter..=(at + 1) * quarter).filter_map(|step| turn.get(step % turn.len().max(1)));
            let angle = |share: fn(&Shares) -> &Six<f64>| {
                let mixes: Vec<f64> = steps().map(|step| mix(share(step)[from], share(step)[to])).collect();
                crossing(&mixes).map(|steps| steps * 360.0 / turn.len() as f64)
            };
            Handover { from, to, designed: angle(|s| &s.designed), printed: angle(|s| &s.named) }
        })
        .collect()
}

/// The angle whose tangent is the ratio of the coming share to the going one. For a lone cube seen level that is the angle
/// of the turn, so that going between steps along a straight line is exact there.
fn mix(going: f64, coming: f64) -> f64 {
    libm::atan2(coming, going)
}

/// Steps from where the going share has 75 % of both to where it has 25 %.
fn crossing(mixes: &[f64]) -> Option<f64> {
    let [early, late] = [mix(3.0, 1.0), mix(1.0, 3.0)];
    let at = |level: f64, step: usize| {
        let [before, after] = [mixes[step], mixes[step + 1]];
        step as f64 + if after > before { (level - before) / (after - before) } else { 0.0 }
    };
    let passes = |level: f64, step: usize| mixes[step] <= level && mixes[step + 1] > level;
    let pairs = 0..mixes.len().saturating_sub(1);
    let end = pairs.clone().find(|&step| mixes[step] < late && mixes[step + 1] >= late)?;
    let start = pairs.take(end + 1).rev().find(|&step| passes(early, step))?;
    Some(at(late, end) - at(early, start))
}
