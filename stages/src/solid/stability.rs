//! How safely a piece stands: the middle of its mass over what it stands on.
//!
//! A piece on level ground stands on the convex hull of its lowest layer, the *support polygon*. It tips over an edge of
//! that polygon once the ground is tilted so far that the centre of mass lies over the edge: with the centre `h` above the
//! ground and, seen from above, `b` inside the edge, at the angle atan(b / h) (statics, any mechanics text). The least
//! such angle over all edges is the tipping angle. It says nothing of pushes, soft ground or a ground that moves.
//!
//! The hull is found in whole numbers by the monotone chain (Andrew 1979).

use glam::{DVec2, DVec3, IVec3};
use rayon::prelude::*;

use super::{Cells, bits};
use crate::Side;
use crate::findings::{Finding, Place};

/// A piece that stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    /// Centre of mass in mm.
    pub centre: DVec3,
    /// Height of the ground in mm.
    pub ground: f64,
    /// Corners of the support polygon in mm, counter-clockwise seen from above; at least three, none on a line between
    /// its neighbours.
    pub support: Vec<DVec2>,
}

/// The edge of the support polygon over which a piece tips first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tipping {
    /// How far inside the edge the centre of mass lies, in mm; below 0 it lies outside.
    pub inside: f64,
    /// How high above the ground it lies, in mm.
    pub height: f64,
    /// The side to which the edge looks.
    pub to: Side,
}

impl Tipping {
    /// By how many degrees the ground may tilt; below 0 the piece falls over on level ground.
    #[must_use]
    pub fn angle(self) -> f64 {
        libm::atan2(self.inside, self.height).to_degrees()
    }
}

impl Standing {
    /// A piece of that centre of mass on the lowest layer of the cells; `None` without cells.
    #[must_use]
    pub fn on(cells: &Cells, centre: DVec3) -> Option<Self> {
        let [low, _] = cells.extent()?;
        let grid = cells.grid();
        let support = support(cells, low.z)
            .into_iter()
            .map(|[x, y]| grid.corner(IVec3::new(x as i32, y as i32, low.z)).truncate())
            .collect();
        Some(Self { centre, ground: grid.corner(low).z, support })
    }

    /// The cells, solid; `None` without cells.
    #[must_use]
    pub fn of(cells: &Cells) -> Option<Self> {
        Self::on(cells, centre_of_mass(cells)?)
    }

    /// Where it tips first.
    #[must_use]
    pub fn tipping(&self) -> Tipping {
        let foot = self.centre.truncate();
        let height = self.centre.z - self.ground;
        let last = self.support[self.support.len() - 1];
        let mut from = last;
        let mut first = Tipping { inside: f64::INFINITY, height, to: Side::Right };
        for &to in &self.support {
            let along = to - from;
            let inside = along.perp_dot(foot - from) / along.length();
            if inside < first.inside {
                first = Tipping { inside, height, to: looks_to(along) };
            }
            from = to;
        }
        first
    }

    /// What to think of it: a fault if it falls over by itself, a caution if it tips before `least` degrees.
    #[must_use]
    pub fn finding(&self, least: f64, remedy: &str) -> Option<Finding> {
        let tipping = self.tipping();
        let (angle, to) = (tipping.angle(), tipping.to);
        let place = Place::at(self.centre);
        if angle <= 0.0 {
            let message = format!(
                "the piece falls over to the {to}: its centre of mass lies {:.1} mm outside of what it stands on",
                -tipping.inside
            );
            return Some(Finding::caution("falls-over", message, remedy).at([place]));
        }
        (angle < least).then(|| {
            let message = format!(
                "the piece tips over to the {to} at a tilt of {angle:.1}°, below {least}°: its centre of mass lies {:.1} mm \
                 high and {:.1} mm inside of what it stands on",
                tipping.height, tipping.inside
            );
            Finding::caution("tips-easily", message, remedy).at([place])
        })
    }
}

/// The tilt that a piece should stand: the one at which household appliances are tried (IEC 60335-1, stability; from
/// memory).
pub const LEAST_TILT: f64 = 10.0;

/// The side to which an edge looks whose inside is on its left.
fn looks_to(along: DVec2) -> Side {
    let out = DVec2::new(along.y, -along.x);
    if out.x.abs() >= out.y.abs() { Side::along(0, out.x > 0.0) } else { Side::along(1, out.y > 0.0) }
}

/// The centre of mass of solid cells, in mm; `None` without cells.
#[must_use]
pub fn centre_of_mass(cells: &Cells) -> Option<DVec3> {
    let IVec3 { y: ny, z: nz, .. } = cells.grid().counts;
    // Sums of whole numbers are the same in whatever order they are taken.
    let [x, y, z, count] = (0..nz)
        .into_par_iter()
        .map(|k| {
            let mut sums = [0i64; 4];
            for j in 0..ny {
                let (mut along, mut held) = (0, 0);
                for (w, &word) in cells.line(j, k).iter().enumerate().filter(|&(_, &word)| word != 0) {
                    let ones = i64::from(word.count_ones());
                    held += ones;
                    along += ones * 64 * w as i64 + bits(word).map(i64::from).sum::<i64>();
                }
                let (j, k) = (i64::from(j), i64::from(k));
                sums = add(sums, [along, held * j, held * k, held]);
            }
            sums
        })
        .reduce(|| [0; 4], add);
    let mean = DVec3::new(x as f64, y as f64, z as f64) / count as f64 + 0.5;
    (count > 0).then(|| cells.grid().origin + cells.grid().cell * mean)
}

fn add(a: [i64; 4], b: [i64; 4]) -> [i64; 4] {
    std::array::from_fn(|i| a[i] + b[i])
}

/// Corners of the convex hull of the cells of a layer, as lattice coordinates, counter-clockwise.
fn support(cells: &Cells, k: i32) -> Vec<[i64; 2]> {
    let mut corners = Vec::new();
    for j in 0..cells.grid().counts.y {
        let line = cells.line(j, k);
        let Some(first) = line.iter().position(|&word| word != 0) else { continue };
        let last = line.iter().rposition(|&word| word != 0).unwrap_or(first);
        let low = first as i64 * 64 + i64::from(line[first].trailing_zeros());
        let high = last as i64 * 64 + 64 - i64::from(line[last].leading_zeros());
        let j = i64::from(j);
        corners.extend([[low, j], [high, j], [low, j + 1], [high, j + 1]]);
    }
    convex_hull(corners)
}

/// The monotone chain: first the lower side from left to right, then the upper one back.
fn convex_hull(mut points: Vec<[i64; 2]>) -> Vec<[i64; 2]> {
    points.sort_unstable();
    points.dedup();
    let mut hull: Vec<[i64; 2]> = Vec::new();
    for side in 0..2 {
        let start = hull.len();
        for &point in &points {
            while hull.len() >= start + 2 && !turns_left(hull[hull.len() - 2], hull[hull.len() - 1], point) {
                hull.pop();
            }
            hull.push(point);
        }
        // The end of one side is the start of the other.
        hull.pop();
        if side == 0 {
            points.reverse();
        }
    }
    hull
}

fn turns_left(a: [i64; 2], b: [i64; 2], c: [i64; 2]) -> bool {
    (b[0] - a[0]) * (c[1] - a[1]) > (b[1] - a[1]) * (c[0] - a[0])
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::findings::Severity;
    use crate::solid::Grid;
    use crate::solid::samples::{grid, listed, random_solid};

    #[test]
    fn tipping_angles_are_those_of_a_block() {
        // A block stands on a face of width 2 b with its middle h high and tips at atan(b / h): 50 over 100, 40 over
        // 120, 60 over 90. To two decimals by a pocket calculator.
        for (b, h, degrees) in [(50, 100, 26.565), (40, 120, 18.435), (60, 90, 33.690)] {
            let cell = 10.0;
            let counts = IVec3::new(2 * b / 10, 2 * b / 10 + 4, 2 * h / 10);
            let block = Cells::from_fn(Grid { cell, ..grid(counts) }, |_| true);
            let tipping = Standing::of(&block).unwrap().tipping();
            assert!((tipping.angle() - degrees).abs() < 5e-4, "{b}, {h}: {}", tipping.angle());
            assert!((tipping.inside - f64::from(b)).abs() < 1e-9 && (tipping.height - f64::from(h)).abs() < 1e-9);
            assert_eq!(tipping.to.axis(), 0);
        }
    }

    #[test]
    fn a_piece_that_leans_too_far_is_told_to_fall_over() {
        // One cube below, four in a row on top: the centre lies at x = (0.5 + 0.5 + 1.5 + 2.5 + 3.5) / 5 = 1.7, that is
        // 0.7 beyond the edge at x = 1.
        let arm = listed(&[[0, 0, 0], [0, 0, 1], [1, 0, 1], [2, 0, 1], [3, 0, 1]]);
        let standing = Standing::of(&arm).unwrap();
        let tipping = standing.tipping();
        assert!((tipping.inside + 0.7).abs() < 1e-12 && tipping.to == Side::Right, "{tipping:?}");
        assert!(tipping.angle() < 0.0);
        let finding = standing.finding(LEAST_TILT, "do something").unwrap();
        assert_eq!((finding.severity, finding.code.as_str()), (Severity::Caution, "falls-over"));
        // A tower of one by one by twelve: atan(0.5 / 6) = 4.76°.
        let tower = Standing::of(&Cells::from_fn(grid([1, 1, 12]), |_| true)).unwrap();
        assert_eq!(tower.finding(LEAST_TILT, "").unwrap().severity, Severity::Caution);
        assert!(tower.finding(4.7, "").is_none());
    }

    #[test]
    fn without_cells_nothing_stands() {
        assert_eq!(Standing::of(&Cells::empty(grid([3, 3, 3]))), None);
        assert_eq!(Standing::of(&Cells::empty(grid([0, 0, 0]))), None);
    }

    proptest! {
        #[test]
        fn the_support_holds_every_corner_and_bends_one_way(cells in random_solid()) {
            prop_assume!(cells.count() > 0);
            let low = cells.extent().unwrap()[0].z;
            let hull = support(&cells, low);
            prop_assert!(hull.len() >= 4);
            let corners: Vec<[i64; 2]> = cells.iter().filter(|c| c.z == low)
                .flat_map(|c| [[0, 0], [1, 0], [0, 1], [1, 1]].map(|[x, y]| [i64::from(c.x) + x, i64::from(c.y) + y]))
                .collect();
            for (i, &a) in hull.iter().enumerate() {
                let (b, c) = (hull[(i + 1) % hull.len()], hull[(i + 2) % hull.len()]);
                prop_assert!(turns_left(a, b, c));
                prop_assert!(corners.contains(&a));
                prop_assert!(corners.iter().all(|&p| !turns_left(b, a, p)), "a corner outside the edge {a:?} {b:?}");
            }
        }

        #[test]
        fn the_centre_is_the_mean_of_the_cells(cells in random_solid()) {
            prop_assume!(cells.count() > 0);
            let sum: DVec3 = cells.iter().map(|c| cells.grid().centre(c)).sum();
            let mean = sum / cells.count() as f64;
            prop_assert!((centre_of_mass(&cells).unwrap() - mean).length() < 1e-9);
        }
    }
}
