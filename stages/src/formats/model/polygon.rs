//! Cuts polygons into triangles.
//!
//! A convex polygon becomes a fan. Any other loses one ear after the other (Meisters 1975: a simple polygon of four
//! corners or more has two), judged with exact predicates in the plane nearest to it. How long that may take is limited;
//! what is left then, as what is left of a polygon that crosses itself, becomes a fan: its triangles may overlap, but
//! their signed areas still add up to the polygon.

use glam::DVec3;
use robust::{Coord, orient2d};

/// So many looks at a corner for each corner of a polygon are enough for a simple one of some thousand corners,
const PATIENCE: u64 = 4096;
/// as long as all polygons of the file together have not taken so many, some seconds' worth; from then on
const WHOLE_PATIENCE: u64 = 100_000_000;
/// so many, which do for a polygon of a few dozen: no file makes the work grow faster than its size.
const LEAST_PATIENCE: u64 = 64;

/// The last polygon and its triangles; kept so that the next needs no memory of its own.
pub(super) struct Scratch {
    /// Each corner in the plane nearest to the polygon, in which the polygon turns counter-clockwise.
    flat: Vec<Coord<f64>>,
    /// The corners that are left, by their place in the polygon.
    left: Vec<u32>,
    triangles: Vec<[u32; 3]>,
    /// What is left of [`WHOLE_PATIENCE`].
    patience: u64,
}

impl Default for Scratch {
    fn default() -> Self {
        Self { flat: Vec::new(), left: Vec::new(), triangles: Vec::new(), patience: WHOLE_PATIENCE }
    }
}

impl Scratch {
    /// Cuts a polygon; `place` says where a point is.
    pub(super) fn cut(&mut self, corners: &[u32], place: impl Fn(u32) -> DVec3) {
        self.triangles.clear();
        self.left.clear();
        self.left.extend(0..corners.len() as u32);
        self.flatten(corners, place);
        if !self.is_convex() {
            self.clip_ears(corners);
        }
        let fan = self.left.windows(2).skip(1).map(|pair| [self.left[0], pair[0], pair[1]]);
        self.triangles.extend(fan.map(|triangle| triangle.map(|at| corners[at as usize])));
    }

    /// The triangles of the last polygon: two fewer than it has corners.
    pub(super) fn triangles(&self) -> &[[u32; 3]] {
        &self.triangles
    }

    /// Drops the coordinate along which the polygon's normal (Newell 1972) is longest. Taken from its first corner, so
    /// that a polygon far from the origin is as good as one near it.
    fn flatten(&mut self, corners: &[u32], place: impl Fn(u32) -> DVec3) {
        let origin = corners.first().map_or(DVec3::ZERO, |&corner| place(corner));
        let mut normal = DVec3::ZERO;
        for (at, &corner) in corners.iter().enumerate() {
            let next = corners[(at + 1) % corners.len()];
            normal += (place(corner) - origin).cross(place(next) - origin);
        }
        let size = normal.abs();
        let (u, v, along) = if size.x > size.y && size.x > size.z {
            (1, 2, normal.x)
        } else if size.y > size.z {
            (2, 0, normal.y)
        } else {
            (0, 1, normal.z)
        };
        let turn = if along < 0.0 { -1.0 } else { 1.0 };
        self.flat.clear();
        self.flat.extend(corners.iter().map(|&corner| {
            let p = place(corner);
            Coord { x: turn * p[u], y: p[v] }
        }));
    }

    fn turn(&self, [a, b, c]: [u32; 3]) -> f64 {
        let [a, b, c] = [a, b, c].map(|at| self.flat[at as usize]);
        orient2d(a, b, c)
    }

    /// Whether no corner turns right, and all together turn once: then a fan has no triangle turned over.
    fn is_convex(&self) -> bool {
        let count = self.left.len() as u32;
        let whole = (0..count).all(|at| self.turn([at, (at + 1) % count, (at + 2) % count]) >= 0.0);
        whole && (1..count - 1).all(|at| self.turn([0, at, at + 1]) >= 0.0)
    }

    /// Cuts ears until three corners are left, none is found, or patience ends.
    fn clip_ears(&mut self, corners: &[u32]) {
        let count = corners.len() as u64;
        let given = (PATIENCE * count).min(self.patience.max(LEAST_PATIENCE * count));
        let mut patience = given;
        let mut at = 0;
        let mut without = 0;
        while self.left.len() > 3 && without < self.left.len() && patience > 0 {
            let count = self.left.len();
            at %= count;
            let ear = [self.left[(at + count - 1) % count], self.left[at], self.left[(at + 1) % count]];
            patience = patience.saturating_sub(count as u64);
            if self.is_ear(ear) {
                self.triangles.push(ear.map(|at| corners[at as usize]));
                self.left.remove(at);
                without = 0;
                // The corner after the next: cutting beside the last cut makes slivers.
                at += 1;
            } else {
                without += 1;
                at += 1;
            }
        }
        self.patience = self.patience.saturating_sub(given - patience);
    }

    /// Whether the corner turns left and no other corner lies in its triangle or on its edges.
    fn is_ear(&self, [a, b, c]: [u32; 3]) -> bool {
        if self.turn([a, b, c]) <= 0.0 {
            return false;
        }
        let flat = |at: u32| self.flat[at as usize];
        self.left.iter().all(|&other| {
            // Corners in the same place as the ear's own, where a polygon touches itself, do not spoil it.
            if [a, b, c].iter().any(|&own| own == other || flat(own) == flat(other)) {
                return true;
            }
            self.turn([a, b, other]) < 0.0 || self.turn([b, c, other]) < 0.0 || self.turn([c, a, other]) < 0.0
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::f64::consts::TAU;

    use glam::DMat3;
    use proptest::prelude::*;

    use super::*;

    fn area(points: &[DVec3], triangle: [u32; 3]) -> DVec3 {
        let [a, b, c] = triangle.map(|at| points[at as usize]);
        (b - a).cross(c - a) / 2.0
    }

    /// Cuts the polygon of all the points.
    fn cut(points: &[DVec3]) -> Vec<[u32; 3]> {
        let corners: Vec<u32> = (0..points.len() as u32).collect();
        let mut scratch = Scratch::default();
        scratch.cut(&corners, |at| points[at as usize]);
        scratch.triangles().to_vec()
    }

    /// Every triangle turns as the polygon does, and their areas add up to its own (the shoelace formula).
    fn check_sound(points: &[DVec3], normal: DVec3, expected: f64) {
        let triangles = cut(points);
        assert_eq!(triangles.len(), points.len() - 2);
        let areas: Vec<f64> = triangles.iter().map(|&t| area(points, t).dot(normal)).collect();
        assert!(areas.iter().all(|&a| a >= -1e-12), "{triangles:?}: {areas:?}");
        let sum: f64 = areas.iter().sum();
        assert!((sum - expected).abs() < 1e-9 * expected.max(1.0), "{sum}, expected {expected}");
    }

    fn shoelace(points: &[DVec3]) -> f64 {
        (0..points.len()).map(|at| points[at].cross(points[(at + 1) % points.len()]).z / 2.0).sum()
    }

    /// A letter L, a comb and a spiral, whose areas are counted in squares.
    #[test]
    fn corners_that_turn_inwards() {
        let flat = |corners: &[[i32; 2]]| -> Vec<DVec3> {
            corners.iter().map(|&[x, y]| DVec3::new(f64::from(x), f64::from(y), 0.0)).collect()
        };
        let arrow = flat(&[[0, 0], [4, 2], [0, 4], [1, 2]]);
        let letter = flat(&[[0, 0], [3, 0], [3, 1], [1, 1], [1, 4], [0, 4]]);
        let comb =
            flat(&[[0, 0], [7, 0], [7, 3], [6, 3], [6, 1], [4, 1], [4, 3], [3, 3], [3, 1], [1, 1], [1, 3], [0, 3]]);
        let spiral =
            flat(&[[0, 0], [5, 0], [5, 5], [1, 5], [1, 2], [3, 2], [3, 3], [2, 3], [2, 4], [4, 4], [4, 1], [0, 1]]);
        for (points, area) in [(arrow, 6.0), (letter, 6.0), (comb, 13.0), (spiral, 15.0)] {
            for first in 0..points.len() {
                let mut points = points.clone();
                points.rotate_left(first);
                check_sound(&points, DVec3::Z, area);
                // In every axis plane, on both sides, and askew.
                for turn in [DMat3::from_rotation_x(1.0), DMat3::from_rotation_y(2.5), DMat3::from_rotation_z(4.0)] {
                    let turned: Vec<DVec3> = points.iter().map(|&p| turn * p).collect();
                    check_sound(&turned, turn * DVec3::Z, area);
                }
            }
        }
    }

    #[test]
    fn corners_in_a_row_and_corners_that_touch() {
        let square = [[0, 0], [1, 0], [2, 0], [2, 1], [2, 2], [1, 2], [0, 2], [0, 1]];
        let points: Vec<DVec3> = square.iter().map(|&[x, y]| DVec3::new(f64::from(x), f64::from(y), 5.0)).collect();
        check_sound(&points, DVec3::Z, 4.0);
        // A square with a square hole, cut open by a slit that is walked twice.
        let ring = [[0, 0], [4, 0], [4, 4], [0, 4], [0, 0], [1, 1], [1, 3], [3, 3], [3, 1], [1, 1]];
        let points: Vec<DVec3> = ring.iter().map(|&[x, y]| DVec3::new(f64::from(x), f64::from(y), 0.0)).collect();
        check_sound(&points, DVec3::Z, 12.0);
    }

    /// Whatever the polygon, two fewer triangles than corners, in time that grows with its size alone.
    #[test]
    fn polygons_without_sense_come_to_an_end() {
        for count in [4, 5, 100, 3000, 30_000] {
            let same = vec![DVec3::ONE; count];
            assert_eq!(cut(&same).len(), count - 2);
            // A star that crosses itself over and over.
            let star: Vec<DVec3> = (0..count)
                .map(|at| {
                    let (sin, cos) = libm::sincos(TAU * (at * (count / 2 - 1)) as f64 / count as f64);
                    DVec3::new(cos, sin, 0.0)
                })
                .collect();
            assert_eq!(cut(&star).len(), count - 2);
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(500) })]

        /// Polygons that are seen whole from their middle are simple, and some of their corners turn inwards.
        #[test]
        fn star_shaped_polygons(radii in prop::collection::vec(0.2f64..1.0, 4..60)) {
            let count = radii.len() as f64;
            let points: Vec<DVec3> = radii
                .iter()
                .enumerate()
                .map(|(at, radius)| {
                    let (sin, cos) = libm::sincos(TAU * at as f64 / count);
                    DVec3::new(radius * cos, radius * sin, 0.0)
                })
                .collect();
            check_sound(&points, DVec3::Z, shoelace(&points));
        }
    }
}
