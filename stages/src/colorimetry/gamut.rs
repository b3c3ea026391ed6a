//! Which colours a process can print, and the nearest that it can.
//!
//! # What is known of a process
//! - Nothing: every colour is taken to be printable.
//! - **A gamut**: colours of solid printed patches, measured. What lies in their convex hull in CIELAB can be printed. Mixtures
//!   of inks bend, so the true gamut may reach a little beyond the hull between two patches, or fall short of it; more
//!   patches, above all of the strongest colours, make both smaller.
//! - **An ICC profile** ([`crate::colorimetry::profile`]): a colour is sent to the printer's inks and back.
//!
//! # The nearest printable colour
//! Into a hull it is the nearest point in CIELAB, exact (Wolfe 1976), and from there, by steps along the hull and then from
//! level to level, the colour of eight bits with the smallest ΔE00 whose hue is within 20° (or as near as that first point's).
//! Over distances of this size the smallest ΔE00 alone may be a grey of the opposite hue: for the purple #b625d6 and a dull
//! printer it is a greenish one. The formula is made for small differences. A profile says by itself which colour it prints
//! in place of one that it cannot.

use std::sync::Arc;

use glam::DVec3;

use super::profile::Profile;
use super::{Lab, difference, lab, light_of_lab, srgb};
use crate::Srgb;

/// What half a level of eight bits can move a colour in CIELAB: patches and colours are told no finer, so nothing nearer to the
/// hull than this is out of it. The greatest is 0.98, for dark colours of about level 20 (the tests look for it).
pub const HALF_LEVEL: f64 = 1.0;

/// A profile's tables, there and back, may shift what it can print by so much ΔE00 (common practice, no source); what is
/// shifted more is out of its gamut.
pub const TABLES: f64 = 2.0;

/// Fewest patches that can span a volume.
const FEWEST: usize = 4;
/// Most patches: charts of a printer seldom have more, and reckoning goes with the square of it.
const MOST: usize = 2000;

/// Which colours a process can print.
#[derive(Clone, Debug)]
pub enum Printable {
    /// Nothing is known, so every colour.
    Every,
    /// Those in the hull of measured patches.
    Hull(Hull),
    /// Those that a profile leaves as they are.
    Profile(Arc<Profile>),
}

impl Printable {
    /// What is printed in place of a colour: itself where it can be, else the nearest.
    #[must_use]
    pub fn printable(&self, colour: Srgb) -> Srgb {
        match self {
            Self::Every => colour,
            Self::Hull(hull) => hull.nearest(colour),
            Self::Profile(profile) => {
                let proofed = profile.proofed(colour);
                if difference(lab(colour), lab(proofed)) <= TABLES { colour } else { proofed }
            }
        }
    }

    /// Whether a colour can be printed, within [`HALF_LEVEL`] of the hull or [`TABLES`] of the profile.
    #[must_use]
    pub fn is_in_gamut(&self, colour: Srgb) -> bool {
        match self {
            Self::Every => true,
            Self::Hull(hull) => hull.holds(lab(colour)),
            Self::Profile(_) => self.printable(colour) == colour,
        }
    }
}

/// The convex hull of measured patches in CIELAB.
#[derive(Clone, Debug)]
pub struct Hull {
    /// The patches that are corners of it.
    corners: Vec<Srgb>,
    /// The same in CIELAB.
    points: Vec<DVec3>,
}

impl Hull {
    /// The hull of some patches.
    ///
    /// # Errors
    /// If there are fewer than four or more than 2000, or if all lie in a plane of CIELAB: a message that completes
    /// "`gamut` …".
    pub fn of(patches: &[Srgb]) -> Result<Self, String> {
        let mut corners = patches.to_vec();
        corners.sort_unstable();
        corners.dedup();
        if corners.len() < FEWEST {
            return Err(format!(
                "needs at least {FEWEST} different colours of printed patches, but has {}: state white, black and the \
                 strongest colours that the process prints",
                corners.len()
            ));
        }
        if corners.len() > MOST {
            return Err(format!(
                "may hold at most {MOST} colours, but has {}: leave out the paler ones",
                corners.len()
            ));
        }
        let points: Vec<DVec3> = corners.iter().map(|&patch| point(lab(patch))).collect();
        let thickness = thickness(&points);
        if thickness < HALF_LEVEL {
            return Err(format!(
                "spans no volume: in CIELAB its colours lie in a plane, within {thickness:.1}; add patches of other hues, \
                 and lighter and darker ones"
            ));
        }
        Ok(Self::of_corners(corners, points))
    }

    /// Leaves out what lies within the hull of the others.
    fn of_corners(mut corners: Vec<Srgb>, mut points: Vec<DVec3>) -> Self {
        let mut at = 0;
        while at < points.len() {
            let (colour, candidate) = (corners.remove(at), points.remove(at));
            if nearest_in_hull(&points, candidate).distance(candidate) > 1e-6 {
                corners.insert(at, colour);
                points.insert(at, candidate);
                at += 1;
            }
        }
        Self { corners, points }
    }

    /// How far a colour lies outside the hull, in CIELAB; 0 within.
    #[must_use]
    pub fn distance(&self, colour: Lab) -> f64 {
        let from = point(colour);
        nearest_in_hull(&self.points, from).distance(from)
    }

    fn holds(&self, colour: Lab) -> bool {
        self.distance(colour) <= HALF_LEVEL
    }

    fn nearest(&self, colour: Srgb) -> Srgb {
        let wanted = lab(colour);
        if self.holds(wanted) {
            return colour;
        }
        let closest = nearest_in_hull(&self.points, point(wanted));
        let aim = Aim::at(wanted, colour_at(closest));
        let start = self.held(self.slid(&aim, closest)).or_else(|| self.inwards_from(closest));
        start.map_or(colour, |start| self.polished(&aim, start))
    }

    /// A point of the hull in eight bits, if it still lies in it: what sRGB does not have is cut off, and may not.
    fn held(&self, there: DVec3) -> Option<Srgb> {
        Some(srgb(light_of_lab(colour_at(there)))).filter(|&colour| self.holds(lab(colour)))
    }

    /// The first colour that sRGB has and the hull holds, on the way from a point of it to its middle; else a patch.
    fn inwards_from(&self, from: DVec3) -> Option<Srgb> {
        let middle = self.points.iter().sum::<DVec3>() / self.points.len() as f64;
        let way = (0..=32).map(|step| from.lerp(middle, f64::from(step) / 32.0));
        way.filter_map(|there| self.held(there)).next().or_else(|| self.corners.first().copied())
    }

    /// A point of the hull that is nearer by ΔE00 than one in it, whether sRGB has it or not: by steps along the hull.
    fn slid(&self, aim: &Aim, start: DVec3) -> DVec3 {
        let mut best = (aim.off(colour_at(start)), start);
        for step in [4.0, 1.0, 0.25] {
            while let Some(better) = STEPS.iter().find_map(|way| {
                let there = nearest_in_hull(&self.points, best.1 + DVec3::from(way.map(f64::from)) * step);
                let off = aim.off(colour_at(there));
                (off < best.0 - 1e-3).then_some((off, there))
            }) {
                best = better;
            }
        }
        best.1
    }

    /// The colour of eight bits in the hull to which steps lead from one in it, each nearer to what is wanted.
    fn polished(&self, aim: &Aim, start: Srgb) -> Srgb {
        let mut best = (aim.off(lab(start)), start);
        for step in [4, 2, 1] {
            while let Some(better) = STEPS.iter().filter_map(|way| stepped(best.1, way, step)).find_map(|next| {
                let there = lab(next);
                let off = aim.off(there);
                (off < best.0 && self.holds(there)).then_some((off, next))
            }) {
                best = better;
            }
        }
        best.1
    }
}

/// The hue may be off by so much, in degrees, for the sake of a smaller ΔE00; or by what it is off at the nearest in CIELAB.
const TURN: f64 = 20.0;

/// Below this chroma a colour has no hue to speak of.
const GREY: f64 = 5.0;

/// What is wanted, and how far its hue may be off.
struct Aim {
    wanted: Lab,
    turn: f64,
}

impl Aim {
    fn at(wanted: Lab, closest: Lab) -> Self {
        Self { wanted, turn: turn(wanted, closest).max(TURN) }
    }

    /// ΔE00 to what is wanted; endless for another hue.
    fn off(&self, found: Lab) -> f64 {
        if turn(self.wanted, found) > self.turn + 1e-6 { f64::INFINITY } else { difference(self.wanted, found) }
    }
}

/// How far two hues are apart, in degrees; 0 for greys.
fn turn(a: Lab, b: Lab) -> f64 {
    if libm::hypot(a.a, a.b) < GREY {
        return 0.0;
    }
    libm::atan2(a.a * b.b - a.b * b.a, a.a * b.a + a.b * b.b).to_degrees().abs()
}

/// The ways to the neighbours in a cubic lattice: across a face, an edge or a corner.
const STEPS: [[i32; 3]; 26] = {
    let mut steps = [[0; 3]; 26];
    let (mut at, mut n) = (0, 0);
    while n < 27 {
        if n != 13 {
            steps[at] = [n / 9 - 1, n / 3 % 3 - 1, n % 3 - 1];
            at += 1;
        }
        n += 1;
    }
    steps
};

fn stepped(Srgb(from): Srgb, way: &[i32; 3], step: i32) -> Option<Srgb> {
    let mut to = from;
    for (level, way) in to.iter_mut().zip(way) {
        *level = u8::try_from(i32::from(*level) + way * step).ok()?;
    }
    Some(Srgb(to))
}

fn point(Lab { l, a, b, .. }: Lab) -> DVec3 {
    DVec3::new(l, a, b)
}

fn colour_at(DVec3 { x: l, y: a, z: b }: DVec3) -> Lab {
    Lab::new(l, a, b)
}

/// How far points reach out of a plane: the height of a large tetrahedron among them.
fn thickness(points: &[DVec3]) -> f64 {
    let farthest = |off: &dyn Fn(DVec3) -> f64| {
        points.iter().copied().max_by(|&a, &b| off(a).total_cmp(&off(b))).unwrap_or_default()
    };
    let a = points.first().copied().unwrap_or_default();
    let b = farthest(&|point| point.distance(a));
    let along = (b - a).normalize_or_zero();
    let c = farthest(&|point| (point - a).reject_from_normalized(along).length());
    let normal = along.cross(c - a).normalize_or_zero();
    let height = |point: DVec3| (point - a).dot(normal).abs();
    height(farthest(&height))
}

/// The search for the nearest point ends where no corner lies farther along than this, in squared units of CIELAB: the point is
/// then within 3·10⁻⁵ of the nearest.
const CLOSE: f64 = 1e-9;

/// The point of the convex hull of `corners` that is nearest to `from`: the algorithm of Wolfe (1976, Mathematical Programming
/// 11:128–149). A corral of at most four corners is grown by the corner farthest towards `from`, and cut back to those between
/// which the nearest point of their affine hull lies.
fn nearest_in_hull(corners: &[DVec3], from: DVec3) -> DVec3 {
    let toward = |direction: DVec3| {
        corners.iter().map(|&corner| corner - from).min_by(|a, b| direction.dot(*a).total_cmp(&direction.dot(*b)))
    };
    let Some(first) = corners.iter().map(|&corner| corner - from).min_by(|a, b| {
        let (a, b) = (a.length_squared(), b.length_squared());
        a.total_cmp(&b)
    }) else {
        return from;
    };
    let mut corral = Corral { points: [first; 4], weights: [1.0, 0.0, 0.0, 0.0], count: 1 };
    let mut nearest = first;
    // Each round brings the point nearer, so that no corral comes twice; the bound only guards against rounding.
    for _ in 0..200 {
        let Some(next) = toward(nearest) else { break };
        if nearest.dot(nearest - next) <= CLOSE || !corral.grown(next) {
            break;
        }
        nearest = corral.point();
    }
    from + nearest
}

/// Corners of which the nearest point is a mixture.
struct Corral {
    points: [DVec3; 4],
    weights: [f64; 4],
    count: usize,
}

impl Corral {
    fn point(&self) -> DVec3 {
        (0..self.count).map(|at| self.points[at] * self.weights[at]).sum()
    }

    /// Takes in a corner and finds the point nearest to the origin anew. Says no where rounding leaves nothing to gain.
    fn grown(&mut self, corner: DVec3) -> bool {
        if self.count == 4 || self.points[..self.count].contains(&corner) {
            return false;
        }
        self.points[self.count] = corner;
        self.weights[self.count] = 0.0;
        self.count += 1;
        loop {
            let Some(target) = self.affine_weights() else {
                self.count -= 1;
                return false;
            };
            if target[..self.count].iter().all(|&weight| weight >= 0.0) {
                self.weights = target;
                return true;
            }
            // As far towards the target as all weights stay at 0 or above; who is at 0 leaves.
            let share = (0..self.count)
                .filter(|&at| target[at] < 0.0)
                .map(|at| self.weights[at] / (self.weights[at] - target[at]))
                .fold(1.0, f64::min);
            let mut kept = 0;
            for (at, target) in target.into_iter().enumerate().take(self.count) {
                let weight = self.weights[at] + share * (target - self.weights[at]);
                if weight > 1e-14 {
                    (self.points[kept], self.weights[kept]) = (self.points[at], weight);
                    kept += 1;
                }
            }
            if kept == 0 || kept == self.count {
                return false;
            }
            self.count = kept;
            let sum: f64 = self.weights[..kept].iter().sum();
            self.weights[..kept].iter_mut().for_each(|weight| *weight /= sum);
        }
    }

    /// Weights, of sum 1 but of either sign, of the point nearest to the origin in the affine hull. Nothing where the corners
    /// span less than they should.
    fn affine_weights(&self) -> Option<[f64; 4]> {
        let base = self.points[0];
        let edges: [DVec3; 3] = std::array::from_fn(|at| self.points[(at + 1).min(3)] - base);
        let mut weights = [1.0, 0.0, 0.0, 0.0];
        // What remains of the way from the base to the origin is square to every edge.
        match self.count {
            1 => {}
            2 => weights[1] = -base.dot(edges[0]) / nonzero(edges[0].length_squared())?,
            3 => {
                let normal = edges[0].cross(edges[1]);
                let square = nonzero(normal.length_squared())?;
                weights[1] = -base.cross(edges[1]).dot(normal) / square;
                weights[2] = -edges[0].cross(base).dot(normal) / square;
            }
            _ => {
                let volume = nonzero(edges[0].cross(edges[1]).dot(edges[2]))?;
                weights[1] = -base.cross(edges[1]).dot(edges[2]) / volume;
                weights[2] = -edges[0].cross(base).dot(edges[2]) / volume;
                weights[3] = -edges[0].cross(edges[1]).dot(base) / volume;
            }
        }
        weights[0] = 1.0 - weights[1] - weights[2] - weights[3];
        Some(weights)
    }
}

/// Below this, lengths squared, areas and volumes of CIELAB say nothing: levels of eight bits lie hundredths apart at least.
fn nonzero(measure: f64) -> Option<f64> {
    (measure.abs() > 1e-12).then_some(measure)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn cloud() -> impl Strategy<Value = Vec<DVec3>> {
        let number = -50.0..50.0f64;
        proptest::collection::vec((number.clone(), number.clone(), number).prop_map(DVec3::from), 1..30)
    }

    fn hull(patches: &[[u8; 3]]) -> Hull {
        Hull::of(&patches.iter().map(|&patch| Srgb(patch)).collect::<Vec<_>>()).expect("the patches span a volume")
    }

    /// A dull printer: its primaries are pale and its black is grey.
    fn dull() -> Hull {
        hull(&[
            [240, 238, 230],
            [52, 50, 50],
            [190, 60, 50],
            [60, 120, 70],
            [50, 60, 130],
            [60, 140, 160],
            [170, 60, 110],
            [220, 190, 70],
        ])
    }

    proptest! {
        /// Necessary and sufficient (Karush, Kuhn & Tucker): no corner lies beyond the plane through the nearest point, square to
        /// the way there; and the point is one of the hull, for it lies beyond none of many planes that the corners do not.
        #[test]
        fn no_point_of_the_hull_is_nearer(corners in cloud(), from in (-90.0..90.0f64, -90.0..90.0f64, -90.0..90.0f64)) {
            let from = DVec3::from(from);
            let nearest = nearest_in_hull(&corners, from);
            for &corner in &corners {
                prop_assert!((nearest - from).dot(corner - nearest) >= -1e-6, "{corner} is nearer than {nearest}");
            }
            for n in 0..200 {
                let n = f64::from(n);
                let direction = DVec3::new(libm::sin(n), libm::cos(1.7 * n), libm::sin(2.3 * n + 1.0));
                let reach = corners.iter().map(|corner| corner.dot(direction)).fold(f64::MIN, f64::max);
                prop_assert!(nearest.dot(direction) <= reach + 1e-4);
            }
        }

        /// In a box the nearest point is found coordinate by coordinate.
        #[test]
        fn nearest_in_a_box(from in (-9.0..9.0f64, -9.0..9.0f64, -9.0..9.0f64), size in 0.0..5.0f64) {
            let size = DVec3::new(1.0, 2.0, size);
            let corners: Vec<DVec3> = (0..8)
                .map(|n| size * DVec3::new(f64::from(n & 1), f64::from(n >> 1 & 1), f64::from(n >> 2)))
                .collect();
            let from = DVec3::from(from);
            let nearest = nearest_in_hull(&corners, from);
            prop_assert!(nearest.distance(from.clamp(DVec3::ZERO, size)) < 1e-4, "{nearest}");
        }

        #[test]
        fn half_a_level_moves_a_colour_by_no_more_than_said(colour: [u8; 3], ways in 0..8u8) {
            let coded = [0, 1, 2].map(|at| {
                let half = if ways >> at & 1 == 1 { 0.5 } else { -0.5 };
                ((f64::from(colour[at]) + half) / 255.0).clamp(0.0, 1.0)
            });
            let light = coded.map(|c| if c <= 0.040_45 { c / 12.92 } else { libm::pow((c + 0.055) / 1.055, 2.4) });
            let moved = point(crate::colorimetry::lab_of_light(light)).distance(point(lab(Srgb(colour))));
            prop_assert!(moved <= HALF_LEVEL, "{moved}");
        }

        #[test]
        fn what_is_printed_can_be_printed_and_stays(colour: [u8; 3]) {
            let printable = Printable::Hull(dull());
            let printed = printable.printable(Srgb(colour));
            prop_assert!(printable.is_in_gamut(printed));
            prop_assert_eq!(printable.printable(printed), printed);
            prop_assert_eq!(printable.is_in_gamut(Srgb(colour)), printed == Srgb(colour));
        }
    }

    #[test]
    fn dark_levels_move_most() {
        let most = (0..=255u8).flat_map(|g| (0..=255u8).step_by(3).map(move |b| [0, g, b]));
        let light = |c: f64| if c <= 0.040_45 { c / 12.92 } else { libm::pow((c + 0.055) / 1.055, 2.4) };
        let moved = |[r, g, b]: [u8; 3]| {
            let coded = [f64::from(r) + 0.5, (f64::from(g) - 0.5).max(0.0), f64::from(b) + 0.5];
            let moved = crate::colorimetry::lab_of_light(coded.map(|c| light((c / 255.0).min(1.0))));
            point(moved).distance(point(lab(Srgb([r, g, b]))))
        };
        let most = most.map(moved).fold(0.0, f64::max);
        assert!((0.7..=HALF_LEVEL).contains(&most), "{most}");
    }

    /// Against every fifth level of each channel: none of those in the hull with a hue as near is nearer by more than half a
    /// unit, and in the mean they are farther.
    #[test]
    fn no_colour_of_a_fine_lattice_is_nearer() {
        let hull = dull();
        let levels = || (0..=255u8).step_by(5);
        let lattice: Vec<Lab> = levels()
            .flat_map(|r| levels().flat_map(move |g| levels().map(move |b| lab(Srgb([r, g, b])))))
            .filter(|lab| hull.holds(*lab))
            .collect();
        assert!(lattice.len() > 5000, "{}", lattice.len());
        let vivid = (0..60u32).map(|n| [n * 37, n * 101, n * 211].map(|level| level as u8)).chain([[0; 3], [255; 3]]);
        let mut sum = 0.0;
        for colour in vivid.chain([[255, 0, 0], [0, 255, 0], [0, 0, 255], [255, 0, 255], [0xb6, 0x25, 0xd6]]) {
            let wanted = lab(Srgb(colour));
            let aim = Aim::at(wanted, colour_at(nearest_in_hull(&hull.points, point(wanted))));
            let found = aim.off(lab(hull.nearest(Srgb(colour))));
            let least = lattice.iter().map(|lab| aim.off(*lab)).fold(f64::INFINITY, f64::min);
            assert!(hull.holds(wanted) || found <= least + 0.5, "{colour:?}: {found}, the lattice has {least}");
            sum += found - least;
        }
        assert!(sum < 0.0, "{sum}");
    }

    /// The purple is answered by a purple.
    #[test]
    fn the_nearest_has_the_hue_that_is_wanted() {
        for colour in [[0xb6, 0x25, 0xd6], [255, 0, 255], [0, 255, 0], [255, 0, 0], [255, 255, 0]] {
            let (wanted, found) = (lab(Srgb(colour)), lab(dull().nearest(Srgb(colour))));
            assert!(turn(wanted, found) < 30.0, "{colour:?}: {found:?}");
        }
    }

    #[test]
    fn inner_patches_change_nothing() {
        let mut patches = dull().corners;
        patches.push(Srgb([128, 128, 128]));
        assert_eq!(Hull::of(&patches).expect("as before").corners, dull().corners);
    }

    #[test]
    fn patches_must_span_a_volume() {
        let refused = |patches: &[Srgb]| Hull::of(patches).expect_err("must be refused");
        assert!(refused(&[]).contains("at least 4 different colours"));
        assert!(refused(&[Srgb([9; 3]); 7]).contains("but has 1"));
        let greys: Vec<Srgb> = (0..9).map(|n| Srgb([n * 20; 3])).collect();
        assert!(refused(&greys).contains("spans no volume"));
        let many: Vec<Srgb> = (0..2001u16).map(|n| Srgb([(n >> 8) as u8, n as u8, 7])).collect();
        assert!(refused(&many).contains("at most 2000"));
    }

    #[test]
    fn where_nothing_is_known_every_colour_is_printable() {
        assert!(Printable::Every.is_in_gamut(Srgb([255, 0, 255])));
        assert_eq!(Printable::Every.printable(Srgb([0, 255, 0])), Srgb([0, 255, 0]));
    }
}
