//! Weights, the centre of mass and the axis, tipping, and the torque that turns it all.
//!
//! Volumes, centres and moments of inertia are sums over the tetrahedra between a point on the axis and each triangle
//! (divergence theorem; for a tetrahedron with one corner at the origin and the others at a, b, c, ∫x² is its volume times
//! (a² + b² + c² + ab + bc + ca) / 10 along each axis). The rest is statics and the thrust washer of any mechanics text; check
//! values stand in the tests.

use glam::{DVec2, DVec3};

/// Standard gravity in m/s² (3rd CGPM, 1901; exact).
pub(super) const GRAVITY: f64 = 9.80665;

/// A body's mass.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Mass {
    /// In g.
    pub(super) grams: f64,
    /// Where its centre lies, in mm.
    pub(super) centre: DVec3,
    /// Moment of inertia about the axis of the turn, in g·mm².
    pub(super) about_axis: f64,
}

impl Mass {
    /// Of a closed surface of that density in g/cm³, turning about an upright axis.
    pub(super) fn of(triangles: impl Iterator<Item = [DVec3; 3]>, density: f64, axis: DVec2) -> Self {
        let origin = axis.extend(0.0);
        let (mut volume, mut moment, mut second) = (0.0, DVec3::ZERO, 0.0);
        for [a, b, c] in triangles.map(|t| t.map(|p| p - origin)) {
            let tetrahedron = a.dot(b.cross(c)) / 6.0;
            let squares = a * a + b * b + c * c + a * b + b * c + c * a;
            volume += tetrahedron;
            moment += tetrahedron * (a + b + c) / 4.0;
            second += tetrahedron * (squares.x + squares.y) / 10.0;
        }
        // 1 g/cm³ is 10⁻³ g/mm³.
        let density = density / 1000.0;
        let centre = if volume == 0.0 { origin } else { origin + moment / volume };
        Self { grams: volume * density, centre, about_axis: second * density }
    }

    /// Two bodies as one.
    pub(super) fn and(self, other: Self) -> Self {
        let grams = self.grams + other.grams;
        let centre = (self.grams * self.centre + other.grams * other.centre) / grams;
        Self { grams, centre, about_axis: self.about_axis + other.about_axis }
    }

    /// Its weight in N.
    pub(super) fn newtons(self) -> f64 {
        self.grams / 1000.0 * GRAVITY
    }
}

/// How something stands on a round foot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stance {
    /// Weight in N.
    pub(super) weight: f64,
    /// How far inside the edge the centre of mass lies, in mm.
    pub(super) inside: f64,
    /// How high it lies, in mm.
    pub(super) height: f64,
}

impl Stance {
    /// The tilt in degrees at which it tips over.
    pub(super) fn angle(self) -> f64 {
        libm::atan2(self.inside, self.height).to_degrees()
    }

    /// The push in N, level and at that height in mm, at which it tips over.
    pub(super) fn push(self, at: f64) -> f64 {
        self.weight * self.inside.max(0.0) / at
    }

    /// The turns a minute at which it tips over by itself, its centre so far off the axis in mm: m ω² e h = m g b.
    pub(super) fn spin(self, off: f64) -> f64 {
        // 9.80665 m/s² are 9806.65 mm/s².
        let squared = GRAVITY * 1000.0 * self.inside.max(0.0) / (off * self.height);
        squared.sqrt() * 60.0 / std::f64::consts::TAU
    }
}

/// The torque in N·mm that a weight in N takes to turn on a ring from one radius to another, in mm: by uniform wear, and by
/// uniform pressure (the thrust washer or disc clutch of mechanics texts).
pub(super) fn friction(coefficient: f64, weight: f64, [from, to]: [f64; 2]) -> [f64; 2] {
    let cubes = (to.powi(3) - from.powi(3)) / (to.powi(2) - from.powi(2));
    [coefficient * weight * (to + from) / 2.0, coefficient * weight * cubes * 2.0 / 3.0]
}

/// The torque in N·mm that brings a moment of inertia in g·mm² to so many turns a minute in so many seconds.
pub(super) fn acceleration(about_axis: f64, rpm: f64, seconds: f64) -> f64 {
    // g·mm²/s² are 10⁻⁶ N·mm.
    about_axis * rpm * std::f64::consts::TAU / 60.0 / seconds * 1e-6
}

/// The torque in N·mm that lifts a weight in N whose centre lies so far off the axis, in mm, on a ground that slopes by so many
/// degrees.
pub(super) fn uphill(weight: f64, off: f64, slope: f64) -> f64 {
    weight * off * libm::sin(slope.to_radians())
}

/// What turning it takes, in N·mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Torque {
    /// Friction on the spacer, by uniform wear and by uniform pressure.
    pub(super) friction: [f64; 2],
    /// Off the axis, uphill.
    pub(super) uphill: f64,
    /// Coming to speed.
    pub(super) start: f64,
    /// All of it, times the factor.
    pub(super) needed: f64,
}

impl Torque {
    pub(super) fn of(friction: [f64; 2], uphill: f64, start: f64, factor: f64) -> Self {
        let needed = factor * (friction[0].max(friction[1]) + uphill + start);
        Self { friction, uphill, start, needed }
    }
}

/// The smallest radius in mm, in half millimetres and from `least` on, on which what `on` gives for it stands a tilt in degrees.
/// A wider and so heavier base never stands worse.
pub(super) fn radius_for(tilt: f64, least: f64, on: impl Fn(f64) -> Stance) -> f64 {
    const STEPS_A_MM: f64 = 2.0;
    /// Wider than any base.
    const MOST: u32 = 4000;
    let radius = |n: u32| ((least * STEPS_A_MM).ceil() + f64::from(n)) / STEPS_A_MM;
    let (mut low, mut high) = (0, MOST);
    while low < high {
        let middle = (low + high) / 2;
        if on(radius(middle)).angle() >= tilt { high = middle } else { low = middle + 1 }
    }
    radius(high)
}
