//! Generalized winding number of a set of triangles (Jacobson, Kavan & Sorkine-Hornung 2013): the solid angle under
//! which all triangles are seen from a point, divided by 4π. Near triangles are summed exactly, each by the formula of
//! Van Oosterom & Strackee (1983); far groups by an expansion over a tree (Barill et al. 2018).
//!
//! Every answer comes with a bound on its error, and groups are opened, the worst first, until the bound is as small as
//! asked for.
//!
//! # The bound
//! A group of area A within ρ of its middle m adds F(x) = Σ ∫ ∂(1/|y − x|)/∂n dA over its triangles, which is expanded at m
//! to first order in y. The k-th derivative of 1/r along any unit directions is at most k!/r^(k+1) (it is harmonic: Legendre
//! polynomials along one direction, and no other choice of directions gives more: Banach 1938). So with d = |m − x|
//!
//! - the terms left out are at most A · ½ρ² · 3!/(d − ρ)⁴;
//! - over all points within R of x, F differs from F(x) by at most A · R · 2!/(d − ρ − R)³;
//! - and F itself is nowhere larger than A/(d − ρ − R)², nor than 2π for each triangle.
//!
//! Near a wide cap that says little. There the number is found at the ball's centre alone, and what it varies by from there
//! follows from the rims: where no triangle comes into the ball, the gradient of the number is (1/4π) ∮ (r × dl)/r³ along
//! them (the law of Biot and Savart), of which a piece of the length l beyond the distance g adds at most l/(4π g²).

use std::collections::BinaryHeap;
use std::f64::consts::PI;
use std::ops::Range;

use glam::{DMat3, DVec3};

use super::nearest::squared_distance;

/// The largest leaf, in triangles.
const LEAF: usize = 4;
/// Depth to which groups are cut in the middle of their box: enough to part triangles a millionth of the model apart along
/// each axis.
const MIDDLES: u32 = 60;

/// Triangles in a tree, ready to be asked for winding numbers.
#[derive(Clone, Debug)]
pub struct Winding {
    triangles: Vec<[DVec3; 3]>,
    nodes: Vec<Node>,
}

#[derive(Clone, Debug)]
struct Node {
    /// Area-weighted middle.
    middle: DVec3,
    /// No corner lies farther from the middle.
    radius: f64,
    /// Sum of area times normal.
    dipole: DVec3,
    /// Sum of (offset of the triangle's centroid) ⊗ (area times normal).
    spread: DMat3,
    /// Sum of areas.
    area: f64,
    /// Sum of the lengths of the triangles' rims: see [`Winding::new`].
    rim: f64,
    /// Triangles below this node.
    range: Range<usize>,
    /// The second child; the first follows its parent. Zero for a leaf.
    second: usize,
}

/// Points within a radius of a centre.
#[derive(Clone, Copy, Debug)]
pub struct Ball {
    /// Its centre.
    pub centre: DVec3,
    /// Its radius; 0 for one point.
    pub radius: f64,
}

/// What is known of the winding number over a ball: everywhere within `error` of `value`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Estimate {
    /// Near this …
    pub value: f64,
    /// … by no more than that.
    pub error: f64,
}

impl Estimate {
    /// The whole number to which every winding number within the error rounds, if there is one.
    #[must_use]
    pub fn rounded(self) -> Option<i32> {
        let (low, high) = ((self.value - self.error).round(), (self.value + self.error).round());
        (low == high).then_some(low as i32)
    }

    fn take(&mut self, other: Self) {
        self.value += other.value;
        self.error += other.error;
    }
}

/// Groups that together are all triangles, none of them twice: how far the tree has been opened so far.
#[derive(Clone, Debug)]
pub struct Front(Vec<u32>);

impl Winding {
    /// Builds the tree. The first side of each triangle is a rim; the other two must cancel among all of them, as those of
    /// cones over rims do.
    #[must_use]
    pub fn new(mut triangles: Vec<[DVec3; 3]>) -> Self {
        let mut nodes = Vec::new();
        let count = triangles.len();
        if count > 0 {
            build(&mut triangles, 0..count, MIDDLES, &mut nodes);
        }
        Self { triangles, nodes }
    }

    /// The tree unopened.
    #[must_use]
    pub fn front(&self) -> Front {
        Front(if self.nodes.is_empty() { Vec::new() } else { vec![0] })
    }

    /// What one look over a ball tells, starting from a front, and the front that it opened for it: groups are opened
    /// while that may help more than a smaller ball would.
    #[must_use]
    pub fn look(&self, front: &Front, ball: Ball) -> (Front, Estimate) {
        let mut open = front.0.clone();
        let mut kept = Vec::with_capacity(open.len());
        let mut sum = Estimate::default();
        while let Some(at) = open.pop() {
            let node = &self.nodes[at as usize];
            let estimate = node.estimate(ball);
            if estimate.error > SLIGHT && node.second > 0 && node.radius > ball.radius / 2.0 {
                open.extend([node.second as u32, at + 1]);
            } else {
                sum.take(estimate);
                kept.push(at);
            }
        }
        (Front(kept), sum)
    }

    /// What the number at the centre and the rims around tell of a ball that no triangle comes into: everything there is
    /// within so much of the number at the centre. Nothing where a triangle or a rim comes too near.
    #[must_use]
    pub fn smooth(&self, front: &Front, ball: Ball) -> Option<Estimate> {
        let varies = self.varies(ball)?;
        let mut at_centre = self.refine(front, ball.centre, |sum| sum.error <= SMOOTH);
        at_centre.error += varies;
        Some(at_centre)
    }

    /// By how much the number varies over a ball, at most; `None` where that is half or more, or a triangle comes into it.
    fn varies(&self, ball: Ball) -> Option<f64> {
        let mut varies = 0.0;
        let mut open = self.front().0;
        while let Some(at) = open.pop() {
            let node = &self.nodes[at as usize];
            let gap = (node.middle - ball.centre).length() - node.radius - ball.radius;
            if gap > node.radius {
                varies += ball.radius * node.rim / (4.0 * PI * gap * gap);
            } else if node.second > 0 {
                open.extend([node.second as u32, at + 1]);
            } else {
                for triangle in &self.triangles[node.range.clone()] {
                    let near = squared_distance(ball.centre, *triangle).sqrt() - ball.radius;
                    let [from, to, _] = *triangle;
                    let gap = squared_distance(ball.centre, [from, to, to]).sqrt() - ball.radius;
                    if near <= 0.0 || gap <= 0.0 {
                        return None;
                    }
                    varies += ball.radius * from.distance(to) / (4.0 * PI * gap * gap);
                }
            }
            if varies >= 0.5 {
                return None;
            }
        }
        Some(varies)
    }

    /// The winding number at a point, starting from a front: opened until every number within the error rounds to the
    /// same whole number, or the error is at most `accuracy`.
    #[must_use]
    pub fn settle(&self, front: &Front, point: DVec3, accuracy: f64) -> Estimate {
        self.refine(front, point, |sum| sum.error <= accuracy || sum.rounded().is_some())
    }

    /// The winding number at a point, off by at most `accuracy` and the rounding of sums.
    #[must_use]
    pub fn at(&self, point: DVec3, accuracy: f64) -> f64 {
        self.refine(&self.front(), point, |sum| sum.error <= accuracy).value
    }

    /// Opens the group with the largest error until it is enough, or nothing is left to open.
    fn refine(&self, front: &Front, point: DVec3, enough: impl Fn(Estimate) -> bool) -> Estimate {
        let ball = Ball { centre: point, radius: 0.0 };
        let mut sum = Estimate::default();
        // Errors are positive: their bits are in the same order.
        let mut open: BinaryHeap<(u64, u32)> = BinaryHeap::with_capacity(2 * front.0.len());
        let add = |at: u32, sum: &mut Estimate, open: &mut BinaryHeap<(u64, u32)>| {
            let estimate = self.nodes[at as usize].estimate(ball);
            sum.take(estimate);
            open.push((estimate.error.to_bits(), at));
        };
        for &at in &front.0 {
            add(at, &mut sum, &mut open);
        }
        while !enough(sum) {
            let Some((_, at)) = open.pop() else { break };
            let node = &self.nodes[at as usize];
            let estimate = node.estimate(ball);
            sum.value -= estimate.value;
            sum.error = (sum.error - estimate.error).max(0.0);
            if node.second > 0 {
                add(at + 1, &mut sum, &mut open);
                add(node.second as u32, &mut sum, &mut open);
            } else {
                let exact: f64 = self.triangles[node.range.clone()].iter().map(|t| solid_angle(*t, point)).sum();
                sum.value += exact / (4.0 * PI);
            }
        }
        sum
    }
}

/// How exactly the number at the centre of a ball is found, where what it varies by over the ball comes on top.
const SMOOTH: f64 = 0.02;

/// An error that is not worth opening a group for while a whole ball is looked over.
const SLIGHT: f64 = 1e-3;

impl Node {
    /// What this group adds to the winding number over a ball.
    fn estimate(&self, ball: Ball) -> Estimate {
        let offset = self.middle - ball.centre;
        let gap = offset.length() - self.radius - ball.radius;
        let blind = self.range.len() as f64 / 2.0;
        if gap <= 0.0 {
            return Estimate { value: 0.0, error: blind };
        }
        let beyond = gap + ball.radius;
        let left_out = 3.0 * self.radius.powi(2) / beyond.powi(4) + 2.0 * ball.radius / gap.powi(3);
        let error = self.area * left_out / (4.0 * PI);
        let blind = blind.min(self.area / (gap * gap) / (4.0 * PI));
        if error < blind {
            Estimate { value: self.expansion(offset) / (4.0 * PI), error }
        } else {
            Estimate { value: 0.0, error: blind }
        }
    }

    /// Dipole and its first derivative: ∇G·Σ n A + ∇∇G : Σ (c − m) ⊗ n A, with ∇G = r/|r|³ for r from point to middle.
    fn expansion(&self, r: DVec3) -> f64 {
        let d2 = r.length_squared();
        let inv3 = 1.0 / (d2 * d2.sqrt());
        let first = self.dipole.dot(r) * inv3;
        let trace = self.spread.x_axis.x + self.spread.y_axis.y + self.spread.z_axis.z;
        first + trace * inv3 - 3.0 * r.dot(self.spread * r) * inv3 / d2
    }
}

/// Cuts a group in the middle of its box, so that triangles far apart, such as those of different holes, part early; after
/// `depth` such cuts in halves by number, so that no arrangement makes the tree deep. A group is a leaf when its triangles
/// are few and together hardly larger than one of them.
fn build(triangles: &mut [[DVec3; 3]], range: Range<usize>, depth: u32, nodes: &mut Vec<Node>) -> usize {
    let at = nodes.len();
    let part = &mut triangles[range.clone()];
    nodes.push(gather(part, range.clone()));
    let largest = part.iter().map(|t| farthest(t, centroid(t))).fold(0.0, f64::max);
    if range.len() == 1 || range.len() <= LEAF && nodes[at].radius <= 2.0 * largest {
        return at;
    }
    let (lo, hi) =
        part.iter().map(centroid).fold((DVec3::INFINITY, DVec3::NEG_INFINITY), |(lo, hi), c| (lo.min(c), hi.max(c)));
    let size = hi - lo;
    let axis = if size.x >= size.y && size.x >= size.z { 0 } else { 1 + usize::from(size.z > size.y) };
    let middle = lo[axis] + size[axis] / 2.0;
    let mut cut = if depth > 0 { partition(part, |t| centroid(t)[axis] < middle) } else { 0 };
    if cut == 0 || cut == part.len() {
        cut = part.len() / 2;
        part.select_nth_unstable_by(cut, |a, b| centroid(a)[axis].total_cmp(&centroid(b)[axis]));
    }
    let depth = depth.saturating_sub(1);
    build(triangles, range.start..range.start + cut, depth, nodes);
    nodes[at].second = build(triangles, range.start + cut..range.end, depth, nodes);
    at
}

/// Moves those for which `first` holds before the others; gives how many they are.
fn partition(triangles: &mut [[DVec3; 3]], first: impl Fn(&[DVec3; 3]) -> bool) -> usize {
    let mut count = 0;
    for at in 0..triangles.len() {
        if first(&triangles[at]) {
            triangles.swap(count, at);
            count += 1;
        }
    }
    count
}

/// How far the farthest corner lies from a point.
fn farthest(corners: &[DVec3; 3], from: DVec3) -> f64 {
    corners.iter().map(|p| p.distance_squared(from)).fold(0.0, f64::max).sqrt()
}

fn centroid([a, b, c]: &[DVec3; 3]) -> DVec3 {
    (*a + *b + *c) / 3.0
}

fn gather(triangles: &[[DVec3; 3]], range: Range<usize>) -> Node {
    let mut area = 0.0;
    let mut weighted = DVec3::ZERO;
    let mut plain = DVec3::ZERO;
    let mut dipole = DVec3::ZERO;
    for t in triangles {
        let normal = (t[1] - t[0]).cross(t[2] - t[0]) / 2.0;
        area += normal.length();
        weighted += centroid(t) * normal.length();
        plain += centroid(t);
        dipole += normal;
    }
    let middle = if area > 0.0 { weighted / area } else { plain / triangles.len() as f64 };
    let mut spread = DMat3::ZERO;
    let mut rim = 0.0;
    let mut radius = 0.0f64;
    for t in triangles {
        let normal = (t[1] - t[0]).cross(t[2] - t[0]) / 2.0;
        let offset = centroid(t) - middle;
        spread += DMat3::from_cols(offset * normal.x, offset * normal.y, offset * normal.z);
        radius = radius.max(farthest(t, middle));
        rim += t[0].distance(t[1]);
    }
    Node { middle, radius, dipole, spread, area, rim, range, second: 0 }
}

/// The signed solid angle of a triangle seen from a point (Van Oosterom & Strackee 1983, IEEE Trans. Biomed. Eng. 30(2)):
/// positive when the point lies behind the triangle, within ±2π; zero in its plane.
#[must_use]
pub fn solid_angle([a, b, c]: [DVec3; 3], point: DVec3) -> f64 {
    let (a, b, c) = (a - point, b - point, c - point);
    let (la, lb, lc) = (a.length(), b.length(), c.length());
    let above = a.dot(b.cross(c));
    let below = la * lb * lc + a.dot(b) * lc + b.dot(c) * la + c.dot(a) * lb;
    2.0 * libm::atan2(above, below)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A cube from −1 to 1 with `n`² squares a side, two triangles each.
    fn cube(n: i32) -> Vec<[DVec3; 3]> {
        let mut triangles = Vec::new();
        for side in crate::Side::ALL {
            let normal = side.normal();
            let u = if side.axis() == 0 { DVec3::Y } else { DVec3::X };
            let v = normal.cross(u);
            let at = |i: i32, j: i32| {
                normal + u * (f64::from(2 * i) / f64::from(n) - 1.0) + v * (f64::from(2 * j) / f64::from(n) - 1.0)
            };
            for i in 0..n {
                for j in 0..n {
                    triangles.push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
                    triangles.push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
                }
            }
        }
        triangles
    }

    #[test]
    fn an_octant_is_an_eighth() {
        // A triangle with corners on the three axes fills one octant seen from the origin: 4π/8.
        let angle = solid_angle([DVec3::X, DVec3::Y, DVec3::Z], DVec3::ZERO);
        assert!((angle - PI / 2.0).abs() < 1e-15);
    }

    #[test]
    fn a_cube_winds_once_inside_and_not_at_all_outside() {
        let cube = Winding::new(cube(12));
        for (point, wind) in [
            (DVec3::ZERO, 1.0),
            (DVec3::new(0.9, -0.9, 0.3), 1.0),
            (DVec3::new(1.1, 0.0, 0.0), 0.0),
            (DVec3::splat(9.0), 0.0),
        ] {
            let got = cube.at(point, 1e-4);
            assert!((got - wind).abs() <= 1e-4 + 1e-12, "{point}: {got}");
        }
    }

    /// Points all around a cube from −1 to 1, inside and out.
    fn around() -> impl Iterator<Item = DVec3> {
        (0..200).map(|i| {
            let f = f64::from(i);
            DVec3::new(libm::sin(f) * 2.0, libm::cos(f * 1.7) * 2.0, libm::sin(f * 0.37) * 2.0)
        })
    }

    fn plain(triangles: &[[DVec3; 3]], point: DVec3) -> f64 {
        triangles.iter().map(|t| solid_angle(*t, point)).sum::<f64>() / (4.0 * PI)
    }

    #[test]
    fn the_tree_is_as_accurate_as_asked() {
        let mut open = cube(12);
        open.truncate(open.len() * 5 / 6);
        let tree = Winding::new(open.clone());
        for accuracy in [0.1, 0.01, 1e-4, 1e-7, 0.0] {
            for point in around() {
                let (got, exact) = (tree.at(point, accuracy), plain(&open, point));
                assert!((got - exact).abs() <= accuracy + 1e-13, "{point} within {accuracy}: {got} against {exact}");
            }
        }
    }

    #[test]
    fn what_holds_over_a_ball_holds_at_its_points() {
        let mut open = cube(12);
        open.truncate(open.len() * 5 / 6);
        let tree = Winding::new(open.clone());
        let mut told = 0;
        for (at, centre) in around().enumerate() {
            let radius = [0.3, 0.1, 0.01, 0.0][at % 4];
            let (front, estimate) = tree.look(&tree.front(), Ball { centre, radius });
            told += usize::from(estimate.rounded().is_some());
            for direction in around().take(20) {
                let point = centre + direction.normalize() * radius;
                let exact = plain(&open, point);
                assert!((estimate.value - exact).abs() <= estimate.error + 1e-12, "{point}: {estimate:?}, {exact}");
                // The front holds every triangle once.
                let settled = tree.settle(&front, point, 0.0);
                assert!((settled.value - exact).abs() <= settled.error + 1e-12, "{point}: {settled:?}, {exact}");
            }
        }
        assert!(told > 50, "a bound that never tells anything is of no use: {told} of 200");
    }
}
