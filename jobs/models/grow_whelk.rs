//! Grows the demo's model: a whelk on a low rock. `cargo run --example grow-whelk [FILE]`
//!
//! The form is invented. It is grown, not scanned: a solid tube whose cross-section winds about an axis while it widens,
//! with the four parameters of Raup (1966, Journal of Paleontology 40(5):1178–1190), and a boulder for it to stand on.
//! Both are closed shells that overlap one another, and the tube's whorls overlap themselves, as in a model that somebody
//! has put together by hand: a point is inside where the winding number is above one half.
//!
//! While growing, lengths are in units of the half width of the mouth, the axis is z, the tip of the spire is the
//! origin, and `turn` counts turns about the axis: 0 at the mouth, negative towards the tip.

use std::error::Error;
use std::f64::consts::TAU;
use std::fs::File;
use std::io::{BufWriter, Write};

use glam::{DMat3, DVec2, DVec3};
use turnhue_stages::formats::stl;

/// W: how much wider the tube is after each turn.
const EXPANSION: f64 = 2.0;
/// D: distance of the tube from the axis, as the ratio of its inner to its outer edge.
const AXIS_DISTANCE: f64 = 0.05;
/// T: how far the tube moves along the axis for each step away from it.
const TRANSLATION: f64 = 2.8;
/// S: height of the tube's cross-section in widths.
const SECTION_HEIGHT: f64 = 1.35;
/// Distance of the middle of the mouth from the axis (Raup's r_c for a unit cross-section).
const CENTRE: f64 = (1.0 + AXIS_DISTANCE) / (1.0 - AXIS_DISTANCE);

/// Points around the tube.
const AROUND: usize = 46;
/// Turns from the tip to the mouth; the first rings are then 1/90 of the mouth's size.
const TURNS: f64 = 6.5;
/// The youngest turns, which are finely tessellated for the sake of their folds, and rings a turn before and in them.
const FINE_TURNS: f64 = 2.6;
const COARSE_RINGS: f64 = 24.0;
const FINE_RINGS: f64 = 60.0;

/// Folds across the whorls, a turn.
const FOLDS: f64 = 11.0;
/// Cords along the whorls, counted as if they went all around the tube.
const CORDS: f64 = 15.0;
/// Thickness of the shell at the lip of the mouth.
const LIP: f64 = 0.2;
/// How far the mouth goes in, in turns.
const MOUTH_DEPTH: f64 = 0.17;

/// How far the shell leans to its left and back, in radians: it rests on its last whorl, and the mouth looks up a little.
const LEAN_LEFT: f64 = 0.26;
const LEAN_BACK: f64 = 0.20;
/// Where the tip of the spire is above the ground before everything is brought to size.
const TIP: DVec3 = DVec3::new(-0.75, 0.6, 4.62);

/// Half width, half depth and half height of the boulder, and where its middle is.
const BOULDER: DVec3 = DVec3::new(1.72, 1.5, 1.0);
const BOULDER_CENTRE: DVec3 = DVec3::new(-0.05, 0.25, 0.25);
/// Points around the boulder, and rings from pole to pole.
const BOULDER_AROUND: usize = 48;
const BOULDER_RINGS: usize = 26;

/// Height of the finished model in mm: about that of a large whelk.
const HEIGHT_MM: f64 = 90.0;

fn main() -> Result<(), Box<dyn Error>> {
    let file = std::env::args().nth(1).unwrap_or_else(|| "jobs/models/whelk.stl".to_owned());
    let mut out = BufWriter::new(File::create(file)?);
    let model = whelk_on_rock();
    stl::write(&model.points, &model.triangles, &mut out)?;
    out.flush()?;
    Ok(())
}

fn whelk_on_rock() -> Mesh {
    let mut model = Mesh::default();
    model.add_tube(&shell());
    model.add_tube(&boulder());
    model.stand(HEIGHT_MM);
    model
}

/// The shell's rings, from the tip over the whorls to the lip, and from there back into the mouth.
fn shell() -> Vec<Vec<DVec3>> {
    let coarse = steps(-TURNS, -FINE_TURNS, COARSE_RINGS);
    let fine = steps(-FINE_TURNS, 0.0, FINE_RINGS);
    let outside = coarse.chain(fine).map(|turn| ring(turn, 0.0));
    let lip = [ring(0.006, 0.25 * LIP), ring(0.008, 0.5 * LIP), ring(0.006, 0.75 * LIP)].into_iter();
    let inside = steps(0.0, MOUTH_DEPTH, FINE_RINGS).map(|depth| {
        let closing = depth / MOUTH_DEPTH;
        ring(-depth, LIP + 0.35 * closing * closing * closing)
    });
    let lean = lean();
    outside.chain(lip).chain(inside).map(|ring| ring.into_iter().map(|p| TIP + lean * p).collect()).collect()
}

/// From `start` up to but without `end`, at least `a_turn` steps to one turn.
fn steps(start: f64, end: f64, a_turn: f64) -> impl Iterator<Item = f64> {
    let count = ((end - start) * a_turn).ceil();
    (0..count as usize).map(move |n| start + (end - start) * n as f64 / count)
}

/// The tube's cross-section at a turn, drawn in from the outside by `inset` mouth half widths.
fn ring(turn: f64, inset: f64) -> Vec<DVec3> {
    let size = libm::pow(EXPANSION, turn);
    // Clockwise seen from the tip: a right-handed shell, its mouth to the front and on the right.
    let (sin, cos) = libm::sincos(-TAU * turn);
    let place = |n| {
        let section = section(TAU * n as f64 / AROUND as f64, turn);
        let section = section * (1.0 - inset / section.length());
        let from_axis = size * (CENTRE + section.x);
        DVec3::new(from_axis * cos, from_axis * sin, size * (section.y - CENTRE * TRANSLATION))
    };
    (0..AROUND).map(place).collect()
}

/// A point of the cross-section: x away from the axis, y towards the tip, `angle` from the one to the other.
fn section(angle: f64, turn: f64) -> DVec2 {
    let (sin, cos) = libm::sincos(angle);
    // Folds and cords fade out towards the smooth lip; the lip itself flares.
    let grown = 1.0 - bump(turn, 0.05);
    let shoulder = 0.10 * bump(turned(angle, 0.95), 0.38);
    let folds = 0.075 * grown * bump(turned(angle, 0.75), 0.55) * libm::cos(TAU * FOLDS * turn);
    let cords = 0.014 * grown * bump(turned(angle, 0.0), 1.1) * libm::cos(CORDS * angle);
    let flare = 0.07 * bump(turn, 0.025) * bump(turned(angle, -0.2), 1.1);
    let reach = 1.0 + shoulder + folds + cords + flare;
    // The canal for the siphon: the lower inner end of the section, drawn out downwards.
    let canal = 0.55 * bump(turned(angle, -1.95), 0.42);
    DVec2::new(reach * cos, SECTION_HEIGHT * reach * sin - canal)
}

/// 1 at 0, falling to both sides as a Gaussian of the given standard deviation.
fn bump(x: f64, width: f64) -> f64 {
    libm::exp(-0.5 * (x / width) * (x / width))
}

/// The angle from `zero` to `angle`, between −π and π.
fn turned(angle: f64, zero: f64) -> f64 {
    libm::remainder(angle - zero, TAU)
}

/// The rotation by which the shell leans.
fn lean() -> DMat3 {
    let (left_sin, left_cos) = libm::sincos(LEAN_LEFT);
    let (back_sin, back_cos) = libm::sincos(LEAN_BACK);
    let left = DMat3::from_cols_array(&[left_cos, 0.0, left_sin, 0.0, 1.0, 0.0, -left_sin, 0.0, left_cos]);
    let back = DMat3::from_cols_array(&[1.0, 0.0, 0.0, 0.0, back_cos, -back_sin, 0.0, back_sin, back_cos]);
    back * left
}

/// The boulder's rings from its flat underside to its top.
fn boulder() -> Vec<Vec<DVec3>> {
    let ring = |r: usize| {
        let latitude = TAU * ((r as f64 + 0.5) / BOULDER_RINGS as f64 - 0.5) / 2.0;
        (0..BOULDER_AROUND).map(|n| boulder_point(TAU * n as f64 / BOULDER_AROUND as f64, latitude)).collect()
    };
    (0..BOULDER_RINGS).map(ring).collect()
}

/// A point of the boulder: an ellipsoid with a few broad swellings, cut off at the ground.
fn boulder_point(longitude: f64, latitude: f64) -> DVec3 {
    let (sin, cos) = libm::sincos(latitude);
    let (east_sin, east_cos) = libm::sincos(longitude);
    let direction = DVec3::new(cos * east_cos, cos * east_sin, sin);
    let wave = |along: DVec3, phase: f64| libm::sin(along.dot(direction) + phase);
    let swelling = 0.05 * wave(DVec3::new(3.1, 1.7, 1.2), 0.4)
        + 0.04 * wave(DVec3::new(-2.3, 4.1, 2.9), 1.9)
        + 0.02 * wave(DVec3::new(5.9, -3.7, 6.1), 0.7);
    // Highest at the back on the left, where the shell rests, and low before the mouth.
    let slope = 1.0 - 0.45 * direction.dot(DVec3::new(0.75, -0.65, 0.0));
    let point = BOULDER_CENTRE + BOULDER * direction * DVec3::new(1.0, 1.0, slope) * (1.0 + swelling);
    point.with_z(point.z.max(0.0))
}

#[derive(Default)]
struct Mesh {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

impl Mesh {
    /// Adds a closed tube through rings of one length, which go counter-clockwise seen against the way from the first to
    /// the last. Both ends are closed with a fan about their middle.
    fn add_tube(&mut self, rings: &[Vec<DVec3>]) {
        let around = rings[0].len() as u32;
        let first = self.points.len() as u32;
        self.points.extend(rings.iter().flatten());
        let last = self.points.len() as u32 - around;
        for low in (first..last).step_by(around as usize) {
            for n in 0..around {
                let next = (n + 1) % around;
                let (a, b, c, d) = (low + n, low + next, low + around + next, low + around + n);
                self.triangles.extend([[a, b, c], [a, c, d]]);
            }
        }
        let (start, end) = (self.add_middle(&rings[0]), self.add_middle(&rings[rings.len() - 1]));
        for n in 0..around {
            let next = (n + 1) % around;
            self.triangles.extend([[start, first + next, first + n], [end, last + n, last + next]]);
        }
    }

    fn add_middle(&mut self, ring: &[DVec3]) -> u32 {
        self.points.push(ring.iter().sum::<DVec3>() / ring.len() as f64);
        self.points.len() as u32 - 1
    }

    /// Brings the model to its height, with the ground at z = 0.
    fn stand(&mut self, height: f64) {
        let (low, high) = self.points.iter().fold((f64::MAX, f64::MIN), |(lo, hi), p| (lo.min(p.z), hi.max(p.z)));
        let scale = height / (high - low);
        for point in &mut self.points {
            *point = scale * (*point - low * DVec3::Z);
        }
    }
}

#[cfg(test)]
mod tests {
    use turnhue_stages::solid::Surface;

    use super::*;

    #[test]
    fn the_model_in_the_folder_is_what_grows() -> Result<(), Box<dyn Error>> {
        let model = whelk_on_rock();
        let mut file = Vec::new();
        stl::write(&model.points, &model.triangles, &mut file)?;
        assert!(file == include_bytes!("whelk.stl"), "grow it again: cargo run --example grow-whelk");
        Ok(())
    }

    #[test]
    fn each_shell_is_closed_and_turned_outwards() -> Result<(), Box<dyn Error>> {
        for rings in [shell(), boulder()] {
            let mut mesh = Mesh::default();
            mesh.add_tube(&rings);
            let mut edges: Vec<_> = mesh.triangles.iter().flat_map(|&[a, b, c]| [[a, b], [b, c], [c, a]]).collect();
            edges.sort_unstable();
            let mut against: Vec<_> = edges.iter().map(|&[a, b]| [b, a]).collect();
            against.sort_unstable();
            assert_eq!(edges, against, "each edge is run along once in each direction");
            assert!(edges.windows(2).all(|pair| pair[0] != pair[1]));
            assert!(Surface::new(mesh.points, mesh.triangles)?.signed_volume() > 0.0);
        }
        Ok(())
    }
}
