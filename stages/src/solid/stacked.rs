//! Closed solids put together from convex outlines at heights, without Booleans: walls between two outlines of as many
//! corners, and level plates between an outline and the one inside it.
//!
//! Guarantees, where each outline that is not left open ends in exactly two walls or plates (`tests` in this file):
//! - every edge lies in exactly two triangles, which run along it in opposite directions: corners are shared, not met;
//! - a wall looks away from the axis on the way up and towards it on the way down;
//! - a plate's triangles do not overlap, and none is without area.
//!
//! Not guaranteed: that walls do not cross; that is for whoever chooses the outlines. Outlines are convex,
//! counter-clockwise seen from above, without three corners on a line; one inside another touches it nowhere.

use glam::{DVec2, DVec3};
use robust::{Coord, orient2d};

use super::Surface;

/// A solid in the making.
#[derive(Clone, Debug, Default)]
pub struct Stacked {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

/// An outline at its height: the corners' numbers.
#[derive(Clone, Debug)]
pub struct Ring(Vec<u32>);

/// Which way a plate looks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Looks {
    /// To the air above.
    Up,
    /// To the air below.
    Down,
}

impl Stacked {
    /// Lays an outline at a height.
    pub fn ring(&mut self, z: f64, outline: &[DVec2]) -> Ring {
        let first = self.points.len() as u32;
        self.points.extend(outline.iter().map(|p| p.extend(z)));
        Ring((first..self.points.len() as u32).collect())
    }

    /// A wall from one outline to another with as many corners, corner to corner. Upwards it is an outer wall, downwards
    /// that of a hole.
    ///
    /// # Panics
    /// If the outlines have different numbers of corners.
    pub fn wall(&mut self, from: &Ring, to: &Ring) {
        assert_eq!(from.0.len(), to.0.len(), "a wall joins outlines corner to corner");
        for (at, (&a, &b)) in from.0.iter().zip(&to.0).enumerate() {
            let next = (at + 1) % from.0.len();
            let (an, bn) = (from.0[next], to.0[next]);
            self.triangles.extend([[a, an, bn], [a, bn, b]]);
        }
    }

    /// A level plate over a whole outline: a fan.
    pub fn plate(&mut self, outline: &Ring, looks: Looks) {
        let [hub, rest @ ..] = outline.0.as_slice() else { return };
        for pair in rest.windows(2) {
            self.level([*hub, pair[0], pair[1]], looks);
        }
    }

    /// A level plate between an outline and another inside it.
    ///
    /// From each outer corner in turn the inner edges are joined that it sees, up to where they turn away; then the outer
    /// edge to the next corner. The last inner corner that an outer corner sees is seen by the next one too, since the outer
    /// edge between them keeps clear of the inner outline: so no triangle crosses it.
    pub fn ledge(&mut self, outer: &Ring, inner: &Ring, looks: Looks) {
        let (n, m) = (outer.0.len(), inner.0.len());
        let at = |ring: &Ring, i: usize| ring.0[i % ring.0.len()];
        let sees = |this: &Self, o: usize, h: usize| {
            let [a, b, p] = [at(inner, h), at(inner, h + 1), at(outer, o)].map(|i| this.points[i as usize]);
            let [a, b, p] = [a, b, p].map(|p| Coord { x: p.x, y: p.y });
            orient2d(a, b, p) < 0.0
        };
        // The first corner begins at the last inner corner that it sees.
        let Some(start) = (0..m).find(|&h| sees(self, 0, h + m - 1) && !sees(self, 0, h)) else { return };
        let mut h = start;
        for o in 0..n {
            while sees(self, o, h) && h < start + m {
                self.level([at(outer, o), at(inner, h + 1), at(inner, h)], looks);
                h += 1;
            }
            self.level([at(outer, o), at(outer, o + 1), at(inner, h)], looks);
        }
        while h < start + m {
            self.level([at(outer, 0), at(inner, h + 1), at(inner, h)], looks);
            h += 1;
        }
    }

    /// A triangle that runs counter-clockwise seen from above.
    fn level(&mut self, [a, b, c]: [u32; 3], looks: Looks) {
        self.triangles.push(if looks == Looks::Up { [a, b, c] } else { [a, c, b] });
    }

    /// The solid's surface.
    ///
    /// # Errors
    /// If a coordinate is not finite.
    pub fn surface(self) -> Result<Surface, String> {
        Surface::new(self.points, self.triangles)
    }
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "tests")]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;

    /// Corners on an ellipse at falling or rising angles: convex, and no three on a line.
    fn ellipse(corners: &[f64], size: DVec2, middle: DVec2) -> Vec<DVec2> {
        corners
            .iter()
            .map(|&turn| {
                let angle = turn * std::f64::consts::TAU;
                middle + size * DVec2::new(libm::cos(angle), libm::sin(angle))
            })
            .collect()
    }

    fn area(outline: &[DVec2]) -> f64 {
        let next = outline.iter().cycle().skip(1);
        outline.iter().zip(next).map(|(a, b)| a.perp_dot(*b) / 2.0).sum()
    }

    fn is_closed(surface: &Surface) -> bool {
        let mut edges: BTreeMap<[u32; 2], i32> = BTreeMap::new();
        for &[a, b, c] in surface.triangles() {
            for [from, to] in [[a, b], [b, c], [c, a]] {
                *edges.entry([from.min(to), from.max(to)]).or_default() += if from < to { 1 } else { 1 << 16 };
            }
        }
        edges.values().all(|&uses| uses == 1 + (1 << 16))
    }

    /// A tube with a floor: outer outline, and a hole from above that ends at a height.
    fn cup(outer: &[DVec2], inner: &[DVec2]) -> Surface {
        let mut cup = Stacked::default();
        let (low, high) = (cup.ring(0.0, outer), cup.ring(3.0, outer));
        let (floor, mouth) = (cup.ring(1.0, inner), cup.ring(3.0, inner));
        cup.plate(&low, Looks::Down);
        cup.wall(&low, &high);
        cup.ledge(&high, &mouth, Looks::Up);
        cup.wall(&mouth, &floor);
        cup.plate(&floor, Looks::Up);
        cup.surface().unwrap()
    }

    fn angles() -> impl Strategy<Value = Vec<f64>> {
        // Steps between corners below half a turn, so that the middle lies inside.
        (3..40usize, any::<u64>()).prop_map(|(count, seed)| {
            let mut state = seed | 1;
            let mut step = || {
                state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                0.5 + (state >> 40) as f64 / (1u64 << 24) as f64
            };
            let steps: Vec<f64> = (0..count).map(|_| step()).collect();
            let total: f64 = steps.iter().sum();
            let mut turn = step();
            steps
                .iter()
                .map(|step| {
                    turn += step / total;
                    turn
                })
                .collect()
        })
    }

    proptest! {
        #[test]
        fn what_is_stacked_is_closed_and_has_the_volume_of_its_prisms(
            outer in angles(), inner in angles(), narrow in 0.05..0.99f64, aside in -0.3..0.3f64
        ) {
            let outer = ellipse(&outer, DVec2::new(10.0, 8.0), DVec2::new(3.0, -2.0));
            // As large as the outer outline lets it be: the largest circle within, about a point of its own.
            let middle = DVec2::new(3.0 + aside, -2.0 + aside);
            let next = outer.iter().cycle().skip(1);
            let room = outer.iter().zip(next).map(|(&a, &b)| (b - a).perp_dot(middle - a) / (b - a).length()).fold(f64::INFINITY, f64::min);
            prop_assume!(room > 0.5);
            let inner = ellipse(&inner, DVec2::splat(room * narrow), middle);
            let cup = cup(&outer, &inner);
            prop_assert!(is_closed(&cup));
            let volume = 3.0 * area(&outer) - 2.0 * area(&inner);
            prop_assert!((cup.signed_volume() - volume).abs() < 1e-9 * volume);
            // Areas add up only where nothing overlaps and every triangle is turned right.
            let around = |p: &[DVec2]| p.iter().zip(p.iter().cycle().skip(1)).map(|(a, b)| (*b - *a).length()).sum::<f64>();
            let skin = 2.0 * area(&outer) + 3.0 * around(&outer) + 2.0 * around(&inner);
            prop_assert!((cup.area() - skin).abs() < 1e-9 * skin, "{} {skin}", cup.area());
            prop_assert!(cup.each_triangle().all(|[a, b, c]| (b - a).cross(c - a).length() > 0.0));
        }
    }

    #[test]
    fn a_square_hole_in_a_fine_circle_and_the_other_way_round() {
        let fine: Vec<f64> = (0..96).map(|i| f64::from(i) / 96.0).collect();
        let square: Vec<f64> = (0..4).map(|i| f64::from(i) / 4.0 + 0.125).collect();
        for (outer, inner) in [(&fine, &square), (&square, &fine)] {
            // The square of half diagonal 1.5 holds the circle of 1.05, and the circle of 1.5 the square of half diagonal 1.05.
            let outer = ellipse(outer, DVec2::splat(1.5), DVec2::ZERO);
            let inner = ellipse(inner, DVec2::splat(1.05), DVec2::ZERO);
            let cup = cup(&outer, &inner);
            assert!(is_closed(&cup));
            assert!((cup.signed_volume() - (3.0 * area(&outer) - 2.0 * area(&inner))).abs() < 1e-12);
        }
    }
}
