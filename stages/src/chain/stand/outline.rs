//! Convex outlines around the axis, counter-clockwise seen from above.
//!
//! A circle is a polygon whose edges leave the arc by at most [`CHORD`]: a body's lies within its circle and a hole's around
//! it, so that no gap is smaller than asked for.

use std::f64::consts::{PI, TAU};

use glam::DVec2;

use super::settings::{Section, Shaft};

/// How far a polygon may leave the circle that it stands for, in mm: a tenth of what common printers place.
pub(super) const CHORD: f64 = 0.01;
/// Corners nearer than this to each other, in mm, are one: far below what is printed, far above what sums round to.
const ONE: f64 = 1e-6;

/// What an outline bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Of {
    /// Material inside: the polygon lies within the circle.
    Body,
    /// Air inside: the polygon lies around the circle.
    Hole,
}

/// A circle around a point. The corners come in fours, so that a body is exactly as wide as its circle.
pub(super) fn circle(middle: DVec2, radius: f64, of: Of) -> Vec<DVec2> {
    let half = match of {
        Of::Body => libm::acos(1.0 - CHORD / radius),
        Of::Hole => libm::acos(radius / (radius + CHORD)),
    };
    let corners = ((PI / half / 4.0).ceil().max(3.0) as u32) * 4;
    let out = match of {
        Of::Body => radius,
        Of::Hole => radius / libm::cos(PI / f64::from(corners)),
    };
    regular(middle, out, corners)
}

/// A regular polygon with corners so far out; the first on the +x side, on the axis or half an edge off, so that square and
/// hexagon lie with flats to the front or the sides.
fn regular(middle: DVec2, out: f64, corners: u32) -> Vec<DVec2> {
    let turn = |i: u32| {
        let first = if corners == 4 { 0.5 } else { 0.0 };
        (f64::from(i) + first) / f64::from(corners) * TAU
    };
    (0..corners).map(|i| middle + out * DVec2::new(libm::cos(turn(i)), libm::sin(turn(i)))).collect()
}

/// A hexagon by its size across flats.
pub(super) fn hexagon(middle: DVec2, across: f64) -> Vec<DVec2> {
    regular(middle, across / 2.0 / libm::cos(PI / 6.0), 6)
}

/// How far out the corners of a hexagon lie.
pub(super) fn hexagon_corner(across: f64) -> f64 {
    across / 2.0 / libm::cos(PI / 6.0)
}

/// A rectangle by its half widths, its corners cut off by `cut` along each side.
pub(super) fn rectangle(middle: DVec2, half: DVec2, cut: f64) -> Vec<DVec2> {
    let corner = |x: f64, y: f64| middle + half * DVec2::new(x, y);
    let corners = [corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0), corner(-1.0, -1.0)];
    if cut < ONE {
        return corners.to_vec();
    }
    let towards = |from: DVec2, to: DVec2| from + (to - from).normalize_or_zero() * cut;
    let ends = |i: usize| [towards(corners[i], corners[(i + 3) % 4]), towards(corners[i], corners[(i + 1) % 4])];
    (0..4).flat_map(ends).collect()
}

/// The socket of a shaft.
pub(super) fn socket(middle: DVec2, shaft: &Shaft) -> Vec<DVec2> {
    let (across, clearance) = (shaft.across.mm(), shaft.clearance.mm());
    let half = across / 2.0 + clearance;
    match shaft.shape {
        Section::Square => rectangle(middle, DVec2::splat(half), 0.0),
        Section::Hex => hexagon(middle, 2.0 * half),
        Section::Round => circle(middle, half, Of::Hole),
        Section::Flatted => {
            let flat = shaft.flat.map_or(across * 11.0 / 12.0, crate::Length::mm);
            cut_off(&circle(middle, half, Of::Hole), middle.x + flat - across / 2.0 + clearance)
        }
    }
}

/// What of a convex outline lies on the left of an upright line.
fn cut_off(outline: &[DVec2], x: f64) -> Vec<DVec2> {
    let mut kept: Vec<DVec2> = Vec::new();
    let mut keep = |point: DVec2| {
        if kept.last().is_none_or(|last| (*last - point).length() > ONE) {
            kept.push(point);
        }
    };
    for (i, &a) in outline.iter().enumerate() {
        let b = outline[(i + 1) % outline.len()];
        if a.x <= x {
            keep(a);
        }
        if (a.x < x) != (b.x < x) && a.x != b.x {
            let y = a.y + (b.y - a.y) * ((x - a.x) / (b.x - a.x));
            keep(DVec2::new(x, y));
        }
    }
    while kept.len() > 1 && (kept[0] - kept[kept.len() - 1]).length() <= ONE {
        kept.pop();
    }
    kept
}

/// How far from the middle the farthest corner lies.
pub(super) fn farthest(outline: &[DVec2], middle: DVec2) -> f64 {
    outline.iter().map(|p| (*p - middle).length()).fold(0.0, f64::max)
}
