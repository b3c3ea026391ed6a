//! The smallest sphere around a set of points.
//!
//! The sphere is fixed by two to four of the points, its support (Welzl 1991, "Smallest enclosing disks"). Starting from
//! any sphere, the farthest point outside joins the support, and the smallest sphere around those few points is found by
//! trying the sphere through every subset, grown until it holds the others. The radius grows in every round, so no support comes back and the search ends; after a handful of
//! rounds in practice.

use glam::{DMat3, DVec3};

/// A sphere.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sphere {
    /// Its middle.
    pub centre: DVec3,
    /// Its radius; zero for a single point or none.
    pub radius: f64,
}

impl Sphere {
    /// Whether the point lies inside, up to rounding of the coordinates.
    fn holds(&self, point: DVec3) -> bool {
        let rounding = 1e-12 * self.radius + 4.0 * f64::EPSILON * point.abs().max_element();
        (point - self.centre).length() <= self.radius + rounding
    }
}

/// The smallest sphere around the points.
#[must_use]
pub fn around(points: &[DVec3]) -> Sphere {
    let Some(&first) = points.first() else { return Sphere { centre: DVec3::ZERO, radius: 0.0 } };
    let mut support = vec![first];
    let mut sphere = Sphere { centre: first, radius: 0.0 };
    // Each round raises the radius; the limit guards against rounding alone.
    for _ in 0..1000 {
        let far = |p: &DVec3| (*p - sphere.centre).length_squared();
        let Some(&next) = points.iter().max_by(|a, b| far(a).total_cmp(&far(b))) else { break };
        if sphere.holds(next) {
            break;
        }
        support.push(next);
        (sphere, support) = smallest(&support);
    }
    sphere
}

/// The smallest sphere around at most five points, and the points that fix it.
fn smallest(points: &[DVec3]) -> (Sphere, Vec<DVec3>) {
    (1u32..1 << points.len())
        .map(|subset| (0..points.len()).filter(|i| subset >> i & 1 == 1).map(|i| points[i]).collect::<Vec<_>>())
        .filter(|subset| subset.len() <= 4)
        .filter_map(|subset| Some((through(&subset)?, subset)))
        .map(|(centre, subset)| {
            let radius = points.iter().map(|&p| (p - centre).length()).fold(0.0, f64::max);
            (Sphere { centre, radius }, subset)
        })
        .min_by(|a, b| a.0.radius.total_cmp(&b.0.radius))
        .expect("a single point always fixes a centre")
}

/// The middle of the smallest sphere through all of one to four points, or `None` when they do not fix one.
fn through(points: &[DVec3]) -> Option<DVec3> {
    let base = points[0];
    let to: Vec<DVec3> = points[1..].iter().map(|&p| p - base).collect();
    let offset = match to[..] {
        [] => DVec3::ZERO,
        [a] => a / 2.0,
        [a, b] => solve(a, b, a.cross(b), [a.length_squared() / 2.0, b.length_squared() / 2.0, 0.0])?,
        [a, b, c] => solve(a, b, c, [a.length_squared() / 2.0, b.length_squared() / 2.0, c.length_squared() / 2.0])?,
        _ => return None,
    };
    Some(base + offset)
}

/// The point with the given products with three vectors.
fn solve(a: DVec3, b: DVec3, c: DVec3, products: [f64; 3]) -> Option<DVec3> {
    let matrix = DMat3::from_cols(a, b, c).transpose();
    let point = matrix.inverse() * DVec3::from_array(products);
    (matrix.determinant() != 0.0 && point.is_finite()).then_some(point)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn closed_forms() {
        // A regular tetrahedron with corners at alternate corners of a cube of edge 2: circumradius √3.
        let tetrahedron = [[1., 1., 1.], [1., -1., -1.], [-1., 1., -1.], [-1., -1., 1.]].map(DVec3::from_array);
        assert!((around(&tetrahedron).radius - 3f64.sqrt()).abs() < 1e-12);
        // A flat obtuse triangle is held by the sphere over its longest side.
        let obtuse = [[0., 0., 0.], [10., 0., 0.], [4., 1., 0.]].map(DVec3::from_array);
        let sphere = around(&obtuse);
        assert!((sphere.radius - 5.0).abs() < 1e-12 && (sphere.centre - DVec3::new(5., 0., 0.)).length() < 1e-12);
        // A box: half its diagonal, √(2² + 3² + 4²) / 2.
        let corners: Vec<DVec3> = (0..8)
            .map(|i| DVec3::new(f64::from(i & 1) * 2., f64::from(i >> 1 & 1) * 3., f64::from(i >> 2) * 4.))
            .collect();
        assert!((around(&corners).radius - 29f64.sqrt() / 2.0).abs() < 1e-12);
        assert_eq!(around(&[]).radius, 0.0);
    }

    #[test]
    fn far_from_the_origin_and_nearly_flat() {
        // Points on a circle of radius 2, lifted off its plane by less than rounding at their place and by more.
        for (away, lift) in [(0.0, 1e-13), (0.0, 1e-9), (1e7, 1e-9), (1e9, 0.0), (-1e12, 0.0)] {
            let points: Vec<DVec3> = (0..48)
                .map(|i| {
                    let angle = f64::from(i) / 48.0 * std::f64::consts::TAU;
                    DVec3::new(2.0 * libm::cos(angle), 2.0 * libm::sin(angle), f64::from(i % 5) * lift) + away
                })
                .collect();
            let radius = around(&points).radius;
            let rounding = 1e-9 + away.abs() * 4.0 * f64::EPSILON;
            assert!((radius - 2.0).abs() < rounding, "radius of {radius} at {away:e} with {lift:e}");
        }
    }

    proptest::proptest! {
        #[test]
        fn every_point_lies_inside_and_some_on_it(points in proptest::collection::vec(proptest::array::uniform3(-9.0..9.0f64), 2..60)) {
            let points: Vec<DVec3> = points.into_iter().map(DVec3::from_array).collect();
            let sphere = around(&points);
            let gaps: Vec<f64> = points.iter().map(|p| sphere.radius - (*p - sphere.centre).length()).collect();
            proptest::prop_assert!(gaps.iter().all(|&g| g > -1e-9));
            // Smaller would not do: at least two points hold it open (or all points are one).
            proptest::prop_assert!(gaps.iter().filter(|&&g| g < 1e-9).count() >= 2);
        }
    }
}
