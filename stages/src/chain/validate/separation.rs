//! Distances of triangles: the exact distance of two, and cheap bounds below it.

use glam::DVec3;

/// Three corners.
pub(super) type Corners = [DVec3; 3];

/// The distance of two triangles, or `None` where it is at least `bound`.
///
/// 1. A plane between them, across the way from one's middle to the other, is often proof that they are far enough.
/// 2. Otherwise the distance is the least of six from a corner to a triangle and nine from an edge to an edge,
/// 3. unless they cross, when an edge of one pierces the other.
pub(super) fn below(a: &Corners, b: &Corners, bound: f64) -> Option<f64> {
    let middle = (a[0] + a[1] + a[2]) / 3.0;
    let way = middle - closest(middle, b);
    let gap = gap_along(a, b, way.normalize_or_zero());
    if gap >= bound {
        return None;
    }
    if gap <= 0.0 && (pierces(a, b) || pierces(b, a)) {
        return (bound > 0.0).then_some(0.0);
    }
    let squared = squared(a, b);
    (squared < bound * bound).then(|| squared.sqrt())
}

/// How far apart the two lie along a unit direction from `b` to `a`; their distance is no less.
fn gap_along(a: &Corners, b: &Corners, direction: DVec3) -> f64 {
    let low = a.iter().map(|p| p.dot(direction)).fold(f64::INFINITY, f64::min);
    let high = b.iter().map(|p| p.dot(direction)).fold(f64::NEG_INFINITY, f64::max);
    low - high
}

fn squared(a: &Corners, b: &Corners) -> f64 {
    let mut least = f64::INFINITY;
    for &p in a {
        least = least.min(p.distance_squared(closest(p, b)));
    }
    for &p in b {
        least = least.min(p.distance_squared(closest(p, a)));
    }
    for i in 0..3 {
        for j in 0..3 {
            least = least.min(edges([a[i], a[(i + 1) % 3]], [b[j], b[(j + 1) % 3]]));
        }
    }
    least
}

/// The point of a triangle that is closest to `p`: by the region of the plane, corner, edge or face, in which `p` falls
/// (Ericson, Real-Time Collision Detection, 2005, 5.1.5).
pub(super) fn closest(p: DVec3, &[a, b, c]: &Corners) -> DVec3 {
    let (ab, ac) = (b - a, c - a);
    let (d1, d2) = (ab.dot(p - a), ac.dot(p - a));
    if d1 <= 0.0 && d2 <= 0.0 {
        return a;
    }
    let (d3, d4) = (ab.dot(p - b), ac.dot(p - b));
    if d3 >= 0.0 && d4 <= d3 {
        return b;
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return a + ab * (d1 / (d1 - d3));
    }
    let (d5, d6) = (ab.dot(p - c), ac.dot(p - c));
    if d6 >= 0.0 && d5 <= d6 {
        return c;
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return a + ac * (d2 / (d2 - d6));
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        return b + (c - b) * ((d4 - d3) / ((d4 - d3) + (d5 - d6)));
    }
    let sum = va + vb + vc;
    // Flat triangles have no face; one of their edges has answered above, but for rounding.
    if sum == 0.0 { a } else { a + ab * (vb / sum) + ac * (vc / sum) }
}

/// Squared distance of two edges (Ericson, 5.1.9).
fn edges([p1, q1]: [DVec3; 2], [p2, q2]: [DVec3; 2]) -> f64 {
    let (d1, d2, r) = (q1 - p1, q2 - p2, p1 - p2);
    let (a, e) = (d1.length_squared(), d2.length_squared());
    let (b, c, f) = (d1.dot(d2), d1.dot(r), d2.dot(r));
    if a == 0.0 || e == 0.0 {
        // An edge without length is a corner, whose distance has been measured.
        return f64::INFINITY;
    }
    let cross = a * e - b * b;
    let s = if cross > 0.0 { ((b * f - c * e) / cross).clamp(0.0, 1.0) } else { 0.0 };
    let t = (b * s + f) / e;
    let (s, t) = if t < 0.0 {
        ((-c / a).clamp(0.0, 1.0), 0.0)
    } else if t > 1.0 {
        (((b - c) / a).clamp(0.0, 1.0), 1.0)
    } else {
        (s, t)
    };
    (p1 + d1 * s).distance_squared(p2 + d2 * t)
}

/// Whether an edge of `a` goes through `b`.
fn pierces(a: &Corners, b: &Corners) -> bool {
    let normal = (b[1] - b[0]).cross(b[2] - b[0]);
    let height = a.map(|p| normal.dot(p - b[0]));
    (0..3).any(|i| {
        let j = (i + 1) % 3;
        let (h, k) = (height[i], height[j]);
        if (h > 0.0) == (k > 0.0) && h != 0.0 && k != 0.0 || h == k {
            return false;
        }
        let through = a[i] + (a[j] - a[i]) * (h / (h - k));
        (0..3).all(|e| normal.dot((b[(e + 1) % 3] - b[e]).cross(through - b[e])) >= 0.0)
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]

    use super::*;

    const FLOOR: Corners = [DVec3::ZERO, DVec3::X, DVec3::Y];

    fn moved(corners: Corners, by: DVec3) -> Corners {
        corners.map(|p| p + by)
    }

    #[test]
    fn distances_of_known_pairs() {
        let standing = [DVec3::new(0.2, 0.2, -1.0), DVec3::new(0.2, 0.2, 1.0), DVec3::new(5.0, 5.0, 0.0)];
        let above =
            moved([DVec3::ZERO, DVec3::new(1.0, 0.0, 1.0), DVec3::new(0.0, 1.0, 1.0)], DVec3::new(0.2, 0.2, 0.5));
        for (other, expected) in [
            // Parallel, one over the other.
            (moved(FLOOR, DVec3::new(0.1, 0.1, 2.0)), 2.0),
            // Corner over face.
            (above, 0.5),
            // Beside each other along x: from (1, 0, 0) to (3, 0, 0).
            (moved(FLOOR, 3.0 * DVec3::X), 2.0),
            // Edge to edge, crosswise at a height of 1: x axis against a line along y.
            ([DVec3::new(0.5, -1.0, 1.0), DVec3::new(0.5, 1.0, 1.0), DVec3::new(0.5, 0.0, 4.0)], 1.0),
            // Along the diagonal: from the line x + y = 1 to (2, 2, 0), (2 + 2 - 1) / sqrt 2.
            (moved(FLOOR, DVec3::new(2.0, 2.0, 0.0)), 3.0 / std::f64::consts::SQRT_2),
            // Touching in a corner, and crossing.
            (moved(FLOOR, DVec3::X), 0.0),
            (standing, 0.0),
        ] {
            for (a, b) in [(FLOOR, other), (other, FLOOR)] {
                let found = below(&a, &b, 100.0).unwrap();
                assert!((found - expected).abs() < 1e-12, "{found} is not {expected}");
                assert_eq!(below(&a, &b, expected - 1e-9), None);
            }
        }
    }

    #[test]
    fn no_sampled_pair_of_points_is_closer() {
        // A fixed scatter of triangles; the distance must be below that of every pair of sampled points, and within the
        // sampling's step of the least.
        let mut state = 1u64;
        let mut next = || {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 40) as f64 / f64::from(1 << 24)
        };
        for _ in 0..200 {
            let mut corners = || std::array::from_fn(|_| DVec3::new(next(), next(), next()));
            let (a, b): (Corners, Corners) = (corners(), moved(corners(), DVec3::new(0.7, 0.3, 0.1)));
            let found = below(&a, &b, f64::INFINITY).unwrap();
            let samples = |t: &Corners| {
                let t = *t;
                (0..=30).flat_map(move |i| {
                    (0..=30 - i)
                        .map(move |j| t[0] + (t[1] - t[0]) * f64::from(i) / 30.0 + (t[2] - t[0]) * f64::from(j) / 30.0)
                })
            };
            let sampled =
                samples(&a).flat_map(|p| samples(&b).map(move |q| p.distance(q))).fold(f64::INFINITY, f64::min);
            assert!(found <= sampled + 1e-12 && sampled - found < 0.1, "{found} against {sampled}");
        }
    }
}
