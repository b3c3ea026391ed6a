//! Where lines along x meet triangles, decided exactly.
//!
//! Whether a line meets a triangle is told in the (y, z) plane by exact predicates (Shewchuk 1997) with a tie rule, so that
//! a line through an edge or a corner that triangles share meets exactly one of them on each side.

use glam::DVec3;
use robust::{Coord, orient2d};

/// Evenly spaced coordinates on an axis: number `i` lies at `origin + step · (i + ½)`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rule {
    pub(super) origin: f64,
    pub(super) step: f64,
    pub(super) count: i32,
}

impl Rule {
    pub(super) fn at(&self, i: i32) -> f64 {
        self.origin + self.step * (f64::from(i) + 0.5)
    }

    /// The numbers whose coordinates lie between two; one too many rather than one too few.
    fn between(&self, lo: f64, hi: f64) -> std::ops::Range<i32> {
        let first = ((lo - self.origin) / self.step - 0.5).floor().clamp(0.0, f64::from(self.count));
        let last = ((hi - self.origin) / self.step - 0.5).ceil() + 1.0;
        first as i32..last.clamp(first, f64::from(self.count)) as i32
    }
}

/// Where a line along x meets a triangle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Crossing {
    /// The line's numbers along y and z.
    pub(super) line: [i32; 2],
    pub(super) x: f64,
    /// Whether a walk towards +x enters there: the triangle's normal looks back.
    pub(super) enters: bool,
}

/// Every crossing of a triangle with the lines at `ys` and `zs`.
pub(super) fn crossings(triangle: [DVec3; 3], ys: Rule, zs: Rule) -> impl Iterator<Item = Crossing> {
    let [a, b, c] = triangle;
    let (lo, hi) = (a.min(b).min(c), a.max(b).max(c));
    zs.between(lo.z, hi.z).flat_map(move |k| {
        // Most triangles of a fine model lie between two layers of lines, and few reach this.
        ys.between(lo.y, hi.y).filter_map(move |j| {
            let (x, enters) = crossing(&triangle, ys.at(j), zs.at(k))?;
            Some(Crossing { line: [j, k], x, enters })
        })
    })
}

/// At most how many crossings a triangle has with the lines at `ys` and `zs`.
pub(super) fn at_most([a, b, c]: [DVec3; 3], ys: Rule, zs: Rule) -> u64 {
    let (lo, hi) = (a.min(b).min(c), a.max(b).max(c));
    zs.between(lo.z, hi.z).len() as u64 * ys.between(lo.y, hi.y).len() as u64
}

/// Where the line {(x, y, z) : x any} meets the triangle, and whether a walk towards +x enters there.
fn crossing([a, b, c]: &[DVec3; 3], y: f64, z: f64) -> Option<(f64, bool)> {
    let ab = turn(*a, *b, y, z)?;
    if turn(*b, *c, y, z)? != ab || turn(*c, *a, y, z)? != ab {
        return None;
    }
    let normal = (*b - *a).cross(*c - *a);
    let x = a.x - ((y - a.y) * normal.y + (z - a.z) * normal.z) / normal.x;
    let (lo, hi) = (a.x.min(b.x).min(c.x), a.x.max(b.x).max(c.x));
    // Nearly edge-on triangles divide by nearly zero: the crossing still lies within the triangle.
    let x = if x.is_finite() { x.clamp(lo, hi) } else { (lo + hi) / 2.0 };
    // Counter-clockwise in (y, z) means that the normal looks towards +x: the walk leaves.
    Some((x, ab == Turn::Right))
}

/// On which hand of an edge a point lies.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Turn {
    Left,
    Right,
}

/// Where the point (y, z) lies from the edge p → q in the (y, z) plane; `None` if the edge is a point there, as those of
/// needles along x are. A point on the edge's line is taken as if moved by (ε, ε²): the same rule for every edge, so
/// exactly one of two triangles on either side gets it.
fn turn(p: DVec3, q: DVec3, y: f64, z: f64) -> Option<Turn> {
    let det = orient2d(Coord { x: p.y, y: p.z }, Coord { x: q.y, y: q.z }, Coord { x: y, y: z });
    // d/dε of the determinant: −(q.z − p.z) first, then (q.y − p.y).
    let (dy, dz) = (q.y - p.y, q.z - p.z);
    let sign = [det, -dz, dy].into_iter().find(|&d| d != 0.0)?;
    Some(if sign > 0.0 { Turn::Left } else { Turn::Right })
}
