//! Where a surface passes through itself: the pairs of triangles that cross.
//!
//! # What counts
//! Two triangles that share no point *cross* when some point lies inside both, off their sides: each has corners strictly
//! on both sides of the other's plane, and the two stretches that they cut out of the line common to the planes overlap
//! in more than a point. Two triangles in one plane *overlap* when their insides do. Touching is neither, be it with a
//! corner, along a side, or flat against each other's sides. Nor is a triangle without area ever found to cross.
//!
//! The answer is exact for the coordinates as they are. Coordinates themselves are rounded, though, when a model is scaled:
//! slanted parts that should just touch may then come out either way.
//!
//! # Steps
//! 1. Triangles are put in the order of a Z-curve through their boxes' middles (Morton 1966), and a tree of their boxes is
//!    built over them, eight by eight, in single precision, rounded outwards.
//! 2. Each leaf of eight triangles is taken down the tree against itself and all leaves after it, eight boxes at a time.
//! 3. Pairs whose boxes overlap are decided by the signs of determinants alone (Guigue & Devillers 2003), each exact
//!    (Shewchuk 1997): most by the first stage of Shewchuk's filter, of which the part that depends on one triangle alone
//!    is kept from pair to pair.
//!
//! Takes 60 bytes a triangle. A mesh made to have all boxes overlap all others would take time by the square: the search
//! ends after so many steps ([`Effort`]), the same ones on any number of threads, and says that it is not complete.

use glam::{DVec2, DVec3};
use rayon::prelude::*;
use robust::{Coord, Coord3D, orient2d, orient3d};

use super::Surface;

/// Pairs of triangles that share no point and meet; see the notes of this module.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SelfCrossings {
    /// Pairs that pass through each other.
    pub crossing: usize,
    /// Pairs that lie in one plane and overlap.
    pub overlapping: usize,
    /// Whether all were counted; otherwise there are at least so many.
    pub complete: bool,
    /// Such pairs by the points of their triangles, [`MOST_SHOWN`] at most, to show where.
    pub shown: Vec<[[u32; 3]; 2]>,
}

/// Pairs that are kept to show where a surface passes through itself: in all, and of one leaf.
pub const MOST_SHOWN: usize = 4096;
const SHOWN_A_LEAF: usize = 64;

/// The line along which two triangles cross, from end to end; nothing where they lie in one plane or do not cross. Not exact:
/// to be looked at.
#[must_use]
pub fn line_between(a: [DVec3; 3], b: [DVec3; 3]) -> Option<[DVec3; 2]> {
    let mut ends: Vec<DVec3> = through(a, b).into_iter().chain(through(b, a)).collect();
    let along = (*ends.last()? - ends[0]).try_normalize().or_else(|| (*ends.get(1)? - ends[0]).try_normalize())?;
    ends.sort_by(|p, q| p.dot(along).total_cmp(&q.dot(along)));
    // Of the stretches that the two cut out of the line that their planes share, what is in both.
    (ends.len() == 4).then(|| [ends[1], ends[2]])
}

/// Where the sides of a triangle pass through the plane of another: at two places, or at none.
fn through(sides: [DVec3; 3], plane: [DVec3; 3]) -> Vec<DVec3> {
    let [origin, b, c] = plane;
    let normal = (b - origin).cross(c - origin);
    let above = |p: DVec3| normal.dot(p - origin);
    let crossed = (0..3).filter_map(|i| {
        let (from, to) = (sides[i], sides[(i + 1) % 3]);
        let (f, t) = (above(from), above(to));
        ((f > 0.0) != (t > 0.0)).then(|| from + (to - from) * (f / (f - t)))
    });
    crossed.collect()
}

/// How long to search: in looks at eight boxes; a pair of triangles counts as `PAIR` of them. A closed scan takes 12 a
/// triangle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// Steps for the whole surface.
    pub whole: u64,
    /// Steps for one leaf of eight triangles before it has to wait until the others are through.
    pub leaf: u64,
}

impl Effort {
    /// Ten times what a surface of so many triangles usually takes, or about a second, whichever is more.
    #[must_use]
    pub fn usual(triangles: usize) -> Self {
        Self { whole: (1 << 26).max(120 * triangles as u64), leaf: 1 << 14 }
    }
}

impl SelfCrossings {
    fn add(&mut self, search: &Search) {
        self.crossing += search.crossing;
        self.overlapping += search.overlapping;
        self.complete &= search.complete;
        let room = MOST_SHOWN - self.shown.len();
        self.shown.extend(search.shown.iter().take(room));
    }
}

/// Boxes in a node.
const EIGHT: usize = 8;

/// What the decision about a pair of triangles costs, in looks at eight boxes.
const PAIR: u64 = 4;

/// Leaves that are worked on between two looks at the clock of effort.
const ROUND: usize = 4096;

/// Counts the pairs. `go_on` is asked now and then.
///
/// # Errors
/// What `go_on` says.
pub fn self_crossings<E>(
    surface: &Surface,
    effort: Effort,
    go_on: impl Fn() -> Result<(), E>,
) -> Result<SelfCrossings, E> {
    let mut found = SelfCrossings { crossing: 0, overlapping: 0, complete: true, shown: Vec::new() };
    let Some(tree) = Tree::of(surface) else { return Ok(found) };
    let leaves = tree.levels[0].len();
    let mut left = effort.whole;
    let mut heavy = Vec::new();
    for first in (0..leaves).step_by(ROUND) {
        go_on()?;
        let round: Vec<Search> = (first..leaves.min(first + ROUND))
            .into_par_iter()
            .with_min_len(16)
            .map(|leaf| tree.search(leaf, effort.leaf))
            .collect();
        for (leaf, search) in (first..).zip(round) {
            left = left.saturating_sub(search.steps);
            if search.complete {
                found.add(&search);
            } else {
                heavy.push((leaf, search));
            }
        }
        if left == 0 {
            found.complete = first + ROUND >= leaves;
            break;
        }
    }
    for (leaf, mut search) in heavy {
        go_on()?;
        if left > search.steps {
            search = tree.search(leaf, left);
            left = left.saturating_sub(search.steps);
        }
        found.add(&search);
    }
    Ok(found)
}

/// A box in single precision, rounded outwards.
#[derive(Clone, Copy)]
struct Bounds {
    low: [f32; 3],
    high: [f32; 3],
}

impl Bounds {
    fn around([a, b, c]: [DVec3; 3]) -> Self {
        let (low, high) = (a.min(b).min(c), a.max(b).max(c));
        Self { low: [below(low.x), below(low.y), below(low.z)], high: [above(high.x), above(high.y), above(high.z)] }
    }

    fn with(self, other: &Self) -> Self {
        Self {
            low: std::array::from_fn(|axis| self.low[axis].min(other.low[axis])),
            high: std::array::from_fn(|axis| self.high[axis].max(other.high[axis])),
        }
    }
}

/// The largest number in single precision that is not above `x`.
fn below(x: f64) -> f32 {
    let near = x as f32;
    if f64::from(near) > x { near.next_down() } else { near }
}

/// The smallest number in single precision that is not below `x`.
fn above(x: f64) -> f32 {
    let near = x as f32;
    if f64::from(near) < x { near.next_up() } else { near }
}

/// Up to eight boxes, coordinate by coordinate, so that one is compared with all of them in a few instructions.
#[derive(Clone, Copy)]
struct Node {
    low: [[f32; EIGHT]; 3],
    high: [[f32; EIGHT]; 3],
}

impl Node {
    fn of(boxes: impl IntoIterator<Item = Bounds>) -> Self {
        // Where there is no box, one that meets nothing.
        let mut node = Self { low: [[f32::INFINITY; EIGHT]; 3], high: [[f32::NEG_INFINITY; EIGHT]; 3] };
        for (at, bounds) in boxes.into_iter().enumerate() {
            for axis in 0..3 {
                node.low[axis][at] = bounds.low[axis];
                node.high[axis][at] = bounds.high[axis];
            }
        }
        node
    }

    fn at(&self, at: usize) -> Bounds {
        let (low, high) = (&self.low, &self.high);
        Bounds { low: [low[0][at], low[1][at], low[2][at]], high: [high[0][at], high[1][at], high[2][at]] }
    }

    fn around(&self) -> Bounds {
        (1..EIGHT).fold(self.at(0), |all, at| all.with(&self.at(at)))
    }

    /// Which of the boxes share a point with another.
    fn that_meet(&self, other: &Bounds) -> Lanes {
        let mut meets = [true; EIGHT];
        for axis in 0..3 {
            for (at, meets) in meets.iter_mut().enumerate() {
                *meets &= (self.low[axis][at] <= other.high[axis]) & (other.low[axis] <= self.high[axis][at]);
            }
        }
        Lanes(u64::from_le_bytes(meets.map(u8::from)))
    }
}

/// Some of the eight places in a node: a byte each.
#[derive(Clone, Copy)]
struct Lanes(u64);

impl Lanes {
    /// Without the places before this one.
    fn from(self, at: usize) -> Self {
        Self(if at < EIGHT { self.0 >> (8 * at) << (8 * at) } else { 0 })
    }
}

impl Iterator for Lanes {
    type Item = usize;

    fn next(&mut self) -> Option<usize> {
        let at = self.0.trailing_zeros() as usize / 8;
        self.0 &= self.0.wrapping_sub(1);
        (at < EIGHT).then_some(at)
    }
}

/// The triangles along the Z-curve, and their boxes.
struct Tree<'a> {
    points: &'a [DVec3],
    triangles: Vec<[u32; 3]>,
    /// The boxes of every eight triangles, of every eight of those, and so on up to the root.
    levels: Vec<Vec<Node>>,
    /// The boxes around the leaves.
    leaves: Vec<Bounds>,
}

/// What the search of one leaf found.
struct Search {
    crossing: usize,
    overlapping: usize,
    steps: u64,
    complete: bool,
    shown: Vec<[[u32; 3]; 2]>,
}

impl<'a> Tree<'a> {
    /// `None` without triangles.
    fn of(surface: &'a Surface) -> Option<Self> {
        let order = z_order(surface)?;
        let boxes = |eight: &[u32]| Node::of(eight.iter().map(|&t| Bounds::around(surface.corners(t as usize))));
        let mut levels: Vec<Vec<Node>> = vec![order.par_chunks(EIGHT).map(boxes).collect()];
        while levels[levels.len() - 1].len() > 1 {
            let below = levels[levels.len() - 1].par_chunks(EIGHT);
            levels.push(below.map(|nodes| Node::of(nodes.iter().map(Node::around))).collect());
        }
        let leaves = levels[0].par_iter().map(Node::around).collect();
        let triangles = order.into_par_iter().map(|t| surface.triangles()[t as usize]).collect();
        Some(Self { points: surface.points(), triangles, levels, leaves })
    }

    fn corners(&self, at: usize) -> [DVec3; 3] {
        let [a, b, c] = self.triangles[at];
        [self.points[a as usize], self.points[b as usize], self.points[c as usize]]
    }

    /// Looks at the pairs of one leaf's triangles with each other and with those of later leaves.
    fn search(&self, leaf: usize, most: u64) -> Search {
        let mut search = Search { crossing: 0, overlapping: 0, steps: 0, complete: true, shown: Vec::new() };
        let bounds = &self.leaves[leaf];
        let mut stack = vec![(self.levels.len() - 1, 0)];
        while let Some((level, node)) = stack.pop() {
            search.steps += 1;
            if level == 0 {
                self.compare(leaf, node, &mut search);
            } else {
                // The child above this leaf, if it is in this node, and those after it.
                let first = (leaf >> (3 * (level - 1))).saturating_sub(node * EIGHT);
                let children = self.levels[level][node].that_meet(bounds).from(first);
                stack.extend(children.map(|child| (level - 1, node * EIGHT + child)));
            }
            if search.steps > most {
                search.complete = false;
                break;
            }
        }
        search
    }

    /// Looks at the pairs of two leaves' triangles, or of one leaf's.
    fn compare(&self, leaf: usize, other: usize, search: &mut Search) {
        let (own, others) = (&self.levels[0][leaf], &self.levels[0][other]);
        for a in own.that_meet(&self.leaves[other]) {
            search.steps += 1;
            let first = self.triangles[leaf * EIGHT + a];
            let mut plane = None;
            for b in others.that_meet(&own.at(a)).from(if leaf == other { a + 1 } else { 0 }) {
                let b = other * EIGHT + b;
                if !share(first, self.triangles[b]) {
                    search.steps += PAIR;
                    let plane = plane.get_or_insert_with(|| Plane::of(self.corners(leaf * EIGHT + a)));
                    match meeting(plane, self.corners(b)) {
                        Meeting::Apart => continue,
                        Meeting::Crossing => search.crossing += 1,
                        Meeting::Overlapping => search.overlapping += 1,
                    }
                    if search.shown.len() < SHOWN_A_LEAF {
                        search.shown.push([first, self.triangles[b]]);
                    }
                }
            }
        }
    }
}

/// The triangles in the order of a Z-curve through the middles of their boxes; `None` without triangles.
fn z_order(surface: &Surface) -> Option<Vec<u32>> {
    let [low, high] = surface.bounds()?;
    let count = surface.triangles().len();
    // A key is the place on the curve followed by the triangle's number, in as many bits as that needs.
    let number_bits = usize::BITS - count.leading_zeros();
    let bits = (64 - number_bits) / 3;
    let steps = DVec3::splat((1u64 << bits) as f64) / (high - low);
    let last = (1u64 << bits) - 1;
    let mut keys: Vec<u64> = (0..count)
        .into_par_iter()
        .map(|t| {
            let [a, b, c] = surface.corners(t);
            let middle = (a.min(b).min(c) - low + (a.max(b).max(c) - low)) / 2.0;
            // Not a number where the surface is flat along an axis: taken as 0.
            let place = middle * steps;
            let along = |x: f64| spread((x as u64).min(last));
            (along(place.x) | along(place.y) << 1 | along(place.z) << 2) << number_bits | t as u64
        })
        .collect();
    keys.par_sort_unstable();
    let number = (1u64 << number_bits) - 1;
    Some(keys.into_par_iter().map(|key| (key & number) as u32).collect())
}

/// The low 21 bits of a number, each followed by two zeros.
fn spread(mut x: u64) -> u64 {
    x = (x | x << 32) & 0x001f_0000_0000_ffff;
    x = (x | x << 16) & 0x001f_0000_ff00_00ff;
    x = (x | x << 8) & 0x100f_00f0_0f00_f00f;
    x = (x | x << 4) & 0x10c3_0c30_c30c_30c3;
    (x | x << 2) & 0x1249_2492_4924_9249
}

fn share(a: [u32; 3], b: [u32; 3]) -> bool {
    let among = |p: u32| (p == b[0]) | (p == b[1]) | (p == b[2]);
    among(a[0]) | among(a[1]) | among(a[2])
}

/// How two triangles meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Meeting {
    Apart,
    Crossing,
    Overlapping,
}

/// A triangle's plane, with what the first stage of Shewchuk's filter needs of it.
struct Plane {
    corners: [DVec3; 3],
    normal: DVec3,
    /// The sums of magnitudes that go with the normal's components.
    magnitude: DVec3,
}

/// Shewchuk's bound on the first stage of the orientation in space: (7 + 56 ε) ε, with ε = 2⁻⁵³.
const FIRST_STAGE: f64 = (7.0 + 28.0 * f64::EPSILON) * f64::EPSILON / 2.0;

impl Plane {
    fn of(corners: [DVec3; 3]) -> Self {
        let (u, v) = (corners[1] - corners[0], corners[2] - corners[0]);
        let (yz, zy) = (u.y * v.z, u.z * v.y);
        let (zx, xz) = (u.z * v.x, u.x * v.z);
        let (xy, yx) = (u.x * v.y, u.y * v.x);
        Self {
            corners,
            normal: DVec3::new(yz - zy, zx - xz, xy - yx),
            magnitude: DVec3::new(yz.abs() + zy.abs(), zx.abs() + xz.abs(), xy.abs() + yx.abs()),
        }
    }

    /// A number with the sign of the point's height above the plane; exactly 0 in the plane.
    fn height(&self, point: DVec3) -> f64 {
        let off = point - self.corners[0];
        let height = self.normal.dot(off);
        let bound = FIRST_STAGE * self.magnitude.dot(off.abs());
        // A bound of 0 means that every product is 0: so is the determinant, as it often is on flat parts.
        if height.abs() > bound || bound == 0.0 { height } else { height_above(self.corners, point) }
    }

    fn heights(&self, [a, b, c]: [DVec3; 3]) -> [f64; 3] {
        [self.height(a), self.height(b), self.height(c)]
    }
}

/// A number with the sign of the point's height above a triangle that is counter-clockwise from above; exact.
fn height_above([a, b, c]: [DVec3; 3], point: DVec3) -> f64 {
    let at = |p: DVec3| Coord3D { x: p.x, y: p.y, z: p.z };
    -orient3d(at(a), at(b), at(c), at(point))
}

fn meeting(first: &Plane, other: [DVec3; 3]) -> Meeting {
    let heights = first.heights(other);
    if heights == [0.0; 3] {
        return if overlap(first, other) { Meeting::Overlapping } else { Meeting::Apart };
    }
    let Some((mut second, up)) = lone_first(other, heights) else { return Meeting::Apart };
    let Some((mut first, other_up)) = lone_first(first.corners, Plane::of(other).heights(first.corners)) else {
        return Meeting::Apart;
    };
    // Each triangle turned so that the other's lone corner is above it.
    if !up {
        first.swap(1, 2);
    }
    if !other_up {
        second.swap(1, 2);
    }
    // The ends of the two stretches on the common line, compared by orientation.
    let [[p, q, r], [s, t, u]] = [first, second];
    if height_above([p, q, s], t) < 0.0 && height_above([p, r, u], s) < 0.0 {
        Meeting::Crossing
    } else {
        Meeting::Apart
    }
}

/// The triangle with that corner first that is alone on its side of a plane, the others being in the plane or on the
/// other side; and whether the lone one is above. `None` unless there are corners strictly on both sides.
fn lone_first([a, b, c]: [DVec3; 3], heights: [f64; 3]) -> Option<([DVec3; 3], bool)> {
    let [ha, hb, hc] = heights;
    let above = [ha > 0.0, hb > 0.0, hc > 0.0];
    let below = [ha < 0.0, hb < 0.0, hc < 0.0];
    if (above[0] | above[1] | above[2]) & (below[0] | below[1] | below[2]) {
        let lone = |sides: [bool; 3]| match sides {
            [true, false, false] => Some([a, b, c]),
            [false, true, false] => Some([b, c, a]),
            [false, false, true] => Some([c, a, b]),
            _ => None,
        };
        lone(above).map(|corners| (corners, true)).or_else(|| lone(below).map(|corners| (corners, false)))
    } else {
        None
    }
}

/// Whether the insides of two triangles in one plane overlap.
fn overlap(plane: &Plane, other: [DVec3; 3]) -> bool {
    // Seen along the axis that the plane faces most, or along another should the triangle be a line from there.
    let seen = |axis: usize, p: DVec3| DVec2::new(p[(axis + 1) % 3], p[(axis + 2) % 3]);
    let facing = plane.normal.abs();
    let most = (1..3).fold(0, |most, axis| if facing[axis] > facing[most] { axis } else { most });
    (0..3).map(|step| (most + step) % 3).any(|axis| {
        let triangles = [plane.corners, other].map(|corners| leftwards(corners.map(|p| seen(axis, p))));
        let [Some(first), Some(second)] = triangles else { return false };
        !apart(first, second) && !apart(second, first)
    })
}

/// The triangle counter-clockwise; `None` if it has no area.
fn leftwards([a, b, c]: [DVec2; 3]) -> Option<[DVec2; 3]> {
    let turn = left_of(a, b, c);
    (turn != 0.0).then_some(if turn > 0.0 { [a, b, c] } else { [a, c, b] })
}

/// Whether one side of the first triangle, which is counter-clockwise, has all of the second on its far side or on it.
fn apart(first: [DVec2; 3], second: [DVec2; 3]) -> bool {
    (0..3).any(|side| second.iter().all(|&p| left_of(first[side], first[(side + 1) % 3], p) <= 0.0))
}

/// A number with the sign of how far the point lies to the left of the line from `a` to `b`; exact.
fn left_of(a: DVec2, b: DVec2, point: DVec2) -> f64 {
    let at = |p: DVec2| Coord { x: p.x, y: p.y };
    orient2d(at(a), at(b), at(point))
}

#[cfg(test)]
mod tests;
