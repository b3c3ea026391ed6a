//! From where the piece is seen, and how millimetres become samples.

use std::collections::BTreeMap;
use std::f64::consts::FRAC_1_SQRT_2;

use glam::DVec3;

use super::SAMPLES;
use super::mix::WHOLE;
use super::raster::{FIXED, Triangle};
use crate::Side;
use crate::formats::ColouredMesh;

/// A standard view: a parallel projection.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum View {
    /// Straight onto a side. +z is up; from the top the front is at the lower edge; from the bottom the front is at the
    /// upper edge, as when the piece is tipped over backwards.
    Side(Side),
    /// From the corner between front and right, slightly above: azimuth 45°, elevation [`View::ELEVATION`].
    FrontRight,
    /// From the corner between back and left, slightly above.
    BackLeft,
}

impl View {
    /// The standard views: the six sides in their order, then the two corners.
    pub const ALL: [Self; 8] = [
        Self::Side(Side::Right),
        Self::Side(Side::Left),
        Self::Side(Side::Back),
        Self::Side(Side::Front),
        Self::Side(Side::Top),
        Self::Side(Side::Bottom),
        Self::FrontRight,
        Self::BackLeft,
    ];

    /// Sine and cosine of the corner views' elevation, 22.6°: the exact ones of the 5-12-13 triangle, so that no
    /// platform's trigonometry comes in.
    pub const ELEVATION: [f64; 2] = [5.0 / 13.0, 12.0 / 13.0];

    /// The name of the view's picture in a run folder.
    #[must_use]
    pub fn file_name(self) -> String {
        match self {
            Self::Side(side) => format!("view-{side}.png"),
            Self::FrontRight => "view-corner-front-right.png".to_owned(),
            Self::BackLeft => "view-corner-back-left.png".to_owned(),
        }
    }

    /// The view in words, to go behind "the piece seen".
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Side(Side::Right) => "from the right",
            Self::Side(Side::Left) => "from the left",
            Self::Side(Side::Back) => "from the back",
            Self::Side(Side::Front) => "from the front",
            Self::Side(Side::Top) => "from the top, front at the lower edge",
            Self::Side(Side::Bottom) => "from the bottom, front at the upper edge",
            Self::FrontRight => "from the corner between front and right, slightly above (colours shaded)",
            Self::BackLeft => "from the corner between back and left, slightly above (colours shaded)",
        }
    }

    /// Unit vectors: to the right of the picture, up in it, and towards the viewer.
    #[must_use]
    pub fn axes(self) -> [DVec3; 3] {
        let towards = self.towards();
        let right = match self {
            Self::Side(Side::Top | Side::Bottom) => DVec3::X,
            Self::Side(_) => DVec3::Z.cross(towards),
            Self::FrontRight => DVec3::new(FRAC_1_SQRT_2, FRAC_1_SQRT_2, 0.0),
            Self::BackLeft => DVec3::new(-FRAC_1_SQRT_2, -FRAC_1_SQRT_2, 0.0),
        };
        [right, towards.cross(right), towards]
    }

    /// Unit vector from the piece towards the viewer.
    #[must_use]
    pub fn towards(self) -> DVec3 {
        let [sine, cosine] = Self::ELEVATION;
        let level = cosine * FRAC_1_SQRT_2;
        match self {
            Self::Side(side) => side.normal(),
            Self::FrontRight => DVec3::new(level, -level, sine),
            Self::BackLeft => DVec3::new(-level, level, sine),
        }
    }

    /// How much of its light a face with that unit normal keeps.
    fn shade(self, normal: DVec3) -> f32 {
        match self {
            Self::Side(_) => 1.0,
            Self::FrontRight | Self::BackLeft => {
                let [right, _, towards] = self.axes();
                // A lamp over the viewer's left shoulder; a face turned away from it keeps just over half.
                let lamp = (DVec3::Z * 1.2 - right * 0.45 + towards * 0.6).normalize();
                (0.55 + 0.45 * normal.dot(lamp).max(0.0)) as f32
            }
        }
    }
}

/// The scale and size that all standard views of a mesh share.
pub(super) struct Frame {
    /// Pixels along each edge.
    pub(super) pixels: u32,
    /// Samples for each millimetre.
    scale: f64,
    /// What lies in the middle of the picture, along [`View::axes`], for each of [`View::ALL`].
    middles: [DVec3; 8],
}

/// The share of the picture's edge that stays free on each side.
pub(crate) const MARGIN: f64 = 0.04;

impl Frame {
    /// The largest scale at which every standard view of the points fits.
    pub(super) fn around(points: &[DVec3], pixels: u32) -> Self {
        let extents = View::ALL.map(|view| extent(points, view));
        let widest = extents.iter().map(|[lo, hi]| (hi - lo).truncate().max_element()).fold(0.0, f64::max);
        let room = f64::from(pixels) * f64::from(SAMPLES) * (1.0 - 2.0 * MARGIN);
        let scale = if widest > 0.0 && widest.is_finite() { room / widest } else { 1.0 };
        Self { pixels, scale, middles: extents.map(|[lo, hi]| lo.midpoint(hi)) }
    }
}

/// Lowest and highest coordinate of the points along the view's axes.
fn extent(points: &[DVec3], view: View) -> [DVec3; 2] {
    let axes = view.axes();
    let Some((first, rest)) = points.split_first() else { return [DVec3::ZERO; 2] };
    let start = along(*first, axes);
    rest.iter().fold([start; 2], |[lo, hi], &p| {
        let p = along(p, axes);
        [lo.min(p), hi.max(p)]
    })
}

fn along(p: DVec3, axes: [DVec3; 3]) -> DVec3 {
    DVec3::new(p.dot(axes[0]), p.dot(axes[1]), p.dot(axes[2]))
}

/// A view in a frame: turns triangles of the mesh into triangles of the picture.
pub(super) struct Shot<'a> {
    view: View,
    axes: [DVec3; 3],
    frame: &'a Frame,
    middle: DVec3,
}

impl<'a> Shot<'a> {
    pub(super) fn new(view: View, frame: &'a Frame) -> Self {
        let place = View::ALL.iter().position(|&v| v == view).expect("every view is among the standard ones");
        Self { view, axes: view.axes(), frame, middle: frame.middles[place] }
    }

    /// The triangles that look towards the viewer.
    pub(super) fn drawn(&self, mesh: &ColouredMesh<'_>) -> Drawn {
        let places: Vec<([i32; 2], f32)> = mesh.points.iter().map(|&p| self.place(p)).collect();
        let mut drawn = Drawn { triangles: Vec::with_capacity(mesh.triangles.len() / 2), shown: Vec::new() };
        let mut known: BTreeMap<Shown, u32> = BTreeMap::new();
        for (corners, &ink) in mesh.triangles.iter().zip(mesh.ink) {
            let [a, b, c] = corners.map(|i| places[i as usize]);
            let Some(mut triangle) = Triangle::facing([a.0, b.0, c.0], [a.1, b.1, c.1]) else { continue };
            let shown = Shown { ink, light: self.light(mesh.points, *corners) };
            triangle.shows = *known.entry(shown).or_insert_with(|| {
                drawn.shown.push(shown);
                drawn.shown.len() as u32
            });
            drawn.triangles.push(triangle);
        }
        drawn
    }

    /// Where a point lies in the picture, x to the right and y down in fixed-point samples, and how near it is, in
    /// samples.
    fn place(&self, p: DVec3) -> ([i32; 2], f32) {
        let at = (along(p, self.axes) - self.middle) * self.frame.scale;
        let half = f64::from(self.frame.pixels) * f64::from(SAMPLES) / 2.0;
        // Far beyond the largest picture, and small enough that edge functions stay within 64 bits.
        let fixed = |v: f64| ((half + v) * f64::from(FIXED)).round().clamp(-1e8, 1e8) as i32;
        ([fixed(at.x), fixed(-at.y)], at.z as f32)
    }

    /// Where a point lies in the picture, in pixels from the top left.
    pub(super) fn pixel(&self, p: DVec3) -> [f64; 2] {
        let at = (along(p, self.axes) - self.middle) * (self.frame.scale / f64::from(SAMPLES));
        let half = f64::from(self.frame.pixels) / 2.0;
        [half + at.x, half - at.y]
    }

    /// The share of its light that a triangle keeps, in [`WHOLE`].
    fn light(&self, points: &[DVec3], corners: [u32; 3]) -> u32 {
        if matches!(self.view, View::Side(_)) {
            return WHOLE;
        }
        let [a, b, c] = corners.map(|i| points[i as usize]);
        let shade = self.view.shade((b - a).cross(c - a).normalize_or_zero());
        (shade * WHOLE as f32).round() as u32
    }
}

/// The triangles of a picture, and what they show.
pub(super) struct Drawn {
    pub(super) triangles: Vec<Triangle>,
    pub(super) shown: Vec<Shown>,
}

/// An ink, and the share of its light that is kept, in [`WHOLE`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Shown {
    pub(super) ink: u32,
    pub(super) light: u32,
}
