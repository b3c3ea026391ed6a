//! A closed surface cut by an upright plane: the outlines of what is solid there.
//!
//! Corners that lie on the plane are taken to lie just behind it, so that every triangle that is cut is cut along two of its
//! edges, and the cuts of a closed surface join into closed outlines by the edges that they share: no place is compared with
//! another, and none can be missed.

use std::collections::BTreeMap;

use glam::{DVec2, DVec3};

/// An upright plane.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Upright {
    /// A place on it, seen from above.
    pub through: DVec2,
    /// Its direction, seen from above; of length 1. Outlines have it as their first axis, counted from `through`, and height
    /// as their second.
    pub along: DVec2,
}

impl Upright {
    /// How far in front of the plane a point lies; behind it is below 0.
    fn before(self, point: DVec3) -> f64 {
        -self.along.perp_dot(point.truncate() - self.through)
    }

    /// Where a point in the plane's own axes lies.
    #[must_use]
    pub fn place(self, flat: DVec2) -> DVec3 {
        (self.through + self.along * flat.x).extend(flat.y)
    }

    /// A point on the plane, in its own axes.
    fn flat(self, point: DVec3) -> DVec2 {
        DVec2::new(self.along.dot(point.truncate() - self.through), point.z)
    }
}

/// The outlines in which the plane cuts a closed surface: solid is what an odd number of them surrounds. Where the surface is not
/// closed, outlines that end nowhere are left out.
///
/// # Panics
/// If a triangle names a point that does not exist.
#[must_use]
pub fn outlines(points: &[DVec3], triangles: &[[u32; 3]], plane: Upright) -> Vec<Vec<DVec2>> {
    let front: Vec<bool> = points.iter().map(|&point| plane.before(point) > 0.0).collect();
    // From the edge through which a cut comes into a triangle to the one through which it leaves.
    let mut leaves: BTreeMap<Edge, Vec<Edge>> = BTreeMap::new();
    for &triangle in triangles {
        if let Some([enters, goes]) = cut(triangle, &front) {
            leaves.entry(enters).or_default().push(goes);
        }
    }
    let mut found = Vec::new();
    while let Some((&start, _)) = leaves.first_key_value() {
        let mut edges = Vec::new();
        let mut at = start;
        let closed = loop {
            let Some(next) = take(&mut leaves, at) else { break false };
            edges.push(at);
            at = next;
            if at == start {
                break true;
            }
        };
        if closed {
            found.push(edges.into_iter().map(|edge| plane.flat(crossing(edge, points, plane))).collect());
        }
    }
    found
}

/// The lines in which the plane cuts triangles, each with the number of its triangle.
///
/// # Panics
/// As [`outlines`].
pub fn segments<'a>(
    points: &'a [DVec3],
    triangles: &'a [[u32; 3]],
    plane: Upright,
) -> impl Iterator<Item = (usize, [DVec2; 2])> + 'a {
    let front: Vec<bool> = points.iter().map(|&point| plane.before(point) > 0.0).collect();
    triangles.iter().enumerate().filter_map(move |(at, &triangle)| {
        let ends = cut(triangle, &front)?;
        Some((at, ends.map(|edge| plane.flat(crossing(edge, points, plane)))))
    })
}

/// An edge by its two points, the one in front of the plane first.
type Edge = [u32; 2];

/// The edges through which a cut enters and leaves a triangle, with what is solid on its left.
fn cut(triangle: [u32; 3], front: &[bool]) -> Option<[Edge; 2]> {
    let ahead = triangle.map(|corner| front[corner as usize]);
    let (mut enters, mut goes) = (None, None);
    for i in 0..3 {
        let (from, to) = (i, (i + 1) % 3);
        match (ahead[from], ahead[to]) {
            (true, false) => goes = Some([triangle[from], triangle[to]]),
            (false, true) => enters = Some([triangle[to], triangle[from]]),
            _ => {}
        }
    }
    Some([enters?, goes?])
}

fn take(leaves: &mut BTreeMap<Edge, Vec<Edge>>, at: Edge) -> Option<Edge> {
    let ways = leaves.get_mut(&at)?;
    let next = ways.pop();
    if ways.is_empty() {
        leaves.remove(&at);
    }
    next
}

fn crossing([front, behind]: Edge, points: &[DVec3], plane: Upright) -> DVec3 {
    let (a, b) = (points[front as usize], points[behind as usize]);
    let (da, db) = (plane.before(a), plane.before(b));
    a + (b - a) * (da / (da - db))
}

/// The area that outlines surround, by the even-odd rule where none crosses another: that of outer ones is counted once, that of
/// holes taken off.
#[must_use]
pub fn area(outlines: &[Vec<DVec2>]) -> f64 {
    outlines.iter().map(|outline| signed_area(outline)).sum::<f64>().abs()
}

/// Area within an outline, above 0 where it runs counter-clockwise.
#[must_use]
pub fn signed_area(outline: &[DVec2]) -> f64 {
    let next = outline.iter().cycle().skip(1);
    outline.iter().zip(next).map(|(a, b)| a.perp_dot(*b)).sum::<f64>() / 2.0
}

/// What of an outline lies in a box, by Sutherland & Hodgman 1974: edges of the box may come in twice, which fills nothing.
#[must_use]
pub fn clipped(outline: &[DVec2], low: DVec2, high: DVec2) -> Vec<DVec2> {
    let mut kept = outline.to_vec();
    for (axis, bound, sign) in [(0, low.x, 1.0), (0, high.x, -1.0), (1, low.y, 1.0), (1, high.y, -1.0)] {
        let inside = |p: DVec2| sign * (p[axis] - bound);
        let before = std::mem::take(&mut kept);
        for (i, &to) in before.iter().enumerate() {
            let from = before[(i + before.len() - 1) % before.len()];
            let (a, b) = (inside(from), inside(to));
            if (a < 0.0) != (b < 0.0) {
                kept.push(from + (to - from) * (a / (a - b)));
            }
            if b >= 0.0 {
                kept.push(to);
            }
        }
    }
    kept
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solid::Skin;
    use crate::solid::samples::{lattice_shell, random_solid};
    use crate::solid::skin::outside_faces;

    fn plane(x: f64, degrees: f64) -> Upright {
        let (sin, cos) = libm::sincos(degrees.to_radians());
        Upright { through: DVec2::new(x, 0.0), along: DVec2::new(cos, sin) }
    }

    #[test]
    fn a_ball_of_cubes_is_cut_in_the_cells_of_its_middle_layer() {
        // Points of the square lattice within 10 of the middle: 317 (OEIS A000328), for a ball around the middle of a cube.
        let ball = lattice_shell(10, -1);
        let skin = Skin::of(&ball, None, &outside_faces(&ball, None));
        let middle = ball.grid().origin + ball.grid().counts.as_dvec3() * ball.grid().cell / 2.0;
        let plane = Upright { through: middle.truncate(), along: DVec2::X };
        let cut = outlines(&skin.points, &skin.triangles, plane);
        assert!((area(&cut) - 317.0).abs() < 1e-9, "{}", area(&cut));
        assert_eq!(cut.len(), 1);
    }

    #[test]
    fn a_cut_askew_is_longer_by_the_cosine() {
        // A 4 × 4 × 4 block cut through its upright middle at 30°: 4 / cos 30° wide and 4 high.
        let block = crate::solid::Cells::from_fn(crate::solid::samples::grid([4, 4, 4]), |_| true);
        let skin = Skin::of(&block, None, &outside_faces(&block, None));
        let middle = block.grid().origin + DVec3::splat(2.0);
        let cut = outlines(&skin.points, &skin.triangles, Upright { through: middle.truncate(), ..plane(0.0, 30.0) });
        assert!((area(&cut) - 16.0 / libm::cos(30f64.to_radians())).abs() < 1e-9);
    }

    #[test]
    fn a_box_keeps_what_lies_in_it() {
        let square = [DVec2::ZERO, DVec2::X * 4.0, DVec2::splat(4.0), DVec2::Y * 4.0];
        let kept = clipped(&square, DVec2::new(1.0, -1.0), DVec2::new(9.0, 2.0));
        assert!((signed_area(&kept) - 6.0).abs() < 1e-12, "{kept:?}");
        assert!(clipped(&square, DVec2::splat(5.0), DVec2::splat(6.0)).is_empty());
    }

    proptest! {
        #[test]
        fn what_is_cut_is_what_is_solid_there(cells in random_solid(), at in 0.0..1.0f64) {
            prop_assume!(cells.count() > 0);
            let skin = Skin::of(&cells, None, &outside_faces(&cells, None));
            let grid = cells.grid();
            // Through the middles of a row of cells, so that no cell is touched at its edge.
            let row = (at * f64::from(grid.counts.y)) as i32;
            let through = DVec2::new(grid.origin.x, grid.origin.y + (f64::from(row) + 0.5) * grid.cell);
            let cut = outlines(&skin.points, &skin.triangles, Upright { through, along: DVec2::X });
            let solid = cells.iter().filter(|cell| cell.y == row).count() as f64 * grid.cell * grid.cell;
            prop_assert!((area(&cut) - solid).abs() < 1e-9, "{} {}", area(&cut), solid);
        }
    }
}
