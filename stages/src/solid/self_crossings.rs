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
//! 1. Triangles are put in the order of a Z-curve through their boxes' middles (Morton 1966), eight to a leaf, and a tree
//!    of boxes is built over the leaves, in single precision, rounded outwards.
//! 2. Each leaf is taken down the tree against itself and all leaves after it.
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
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SelfCrossings {
    /// Pairs that pass through each other.
    pub crossing: usize,
    /// Pairs that lie in one plane and overlap.
    pub overlapping: usize,
    /// Whether all were counted; otherwise there are at least so many.
    pub complete: bool,
}

/// How long to search: steps down the tree and pairs of boxes looked at. A closed scan takes about 30 a triangle.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Effort {
    /// Steps for the whole surface.
    pub whole: u64,
    /// Steps for one leaf of eight triangles before it has to wait until the others are through.
    pub leaf: u64,
}

impl Effort {
    /// A hundred times what a surface of so many triangles usually takes, and a few seconds at most for a hostile one.
    #[must_use]
    pub fn usual(triangles: usize) -> Self {
        Self { whole: (1 << 28).max(300 * triangles as u64), leaf: 1 << 16 }
    }
}

impl SelfCrossings {
    fn add(&mut self, search: &Search) {
        self.crossing += search.crossing;
        self.overlapping += search.overlapping;
        self.complete &= search.complete;
    }
}

/// Triangles in a leaf.
const LEAF: usize = 8;

/// Children of a node.
const CHILDREN: usize = 4;

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
    let mut found = SelfCrossings { crossing: 0, overlapping: 0, complete: true };
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
        Self {
            low: a.min(b).min(c).to_array().map(|x| {
                let near = x as f32;
                if f64::from(near) > x { near.next_down() } else { near }
            }),
            high: a.max(b).max(c).to_array().map(|x| {
                let near = x as f32;
                if f64::from(near) < x { near.next_up() } else { near }
            }),
        }
    }

    fn with(self, other: &Self) -> Self {
        Self {
            low: std::array::from_fn(|axis| self.low[axis].min(other.low[axis])),
            high: std::array::from_fn(|axis| self.high[axis].max(other.high[axis])),
        }
    }

    /// Whether the boxes share a point. Without branches: neighbours in the tree mostly do.
    fn meets(&self, other: &Self) -> bool {
        (0..3).fold(true, |meets, axis| {
            meets & (self.low[axis] <= other.high[axis]) & (other.low[axis] <= self.high[axis])
        })
    }
}

/// The triangles along the Z-curve, and boxes around runs of them.
struct Tree<'a> {
    points: &'a [DVec3],
    triangles: Vec<[u32; 3]>,
    bounds: Vec<Bounds>,
    /// Boxes of the leaves, of every four leaves, and so on up to the root.
    levels: Vec<Vec<Bounds>>,
}

/// What the search of one leaf found.
struct Search {
    crossing: usize,
    overlapping: usize,
    steps: u64,
    complete: bool,
}

impl<'a> Tree<'a> {
    /// `None` without triangles.
    fn of(surface: &'a Surface) -> Option<Self> {
        let order = z_order(surface)?;
        let (triangles, bounds): (Vec<_>, Vec<_>) = order
            .into_par_iter()
            .map(|t| (surface.triangles()[t as usize], Bounds::around(surface.corners(t as usize))))
            .unzip();
        let around = |boxes: &[Bounds]| boxes[1..].iter().fold(boxes[0], |all, one| all.with(one));
        let mut levels: Vec<Vec<Bounds>> = vec![bounds.par_chunks(LEAF).map(around).collect()];
        while levels[levels.len() - 1].len() > 1 {
            levels.push(levels[levels.len() - 1].par_chunks(CHILDREN).map(around).collect());
        }
        Some(Self { points: surface.points(), triangles, bounds, levels })
    }

    fn corners(&self, at: usize) -> [DVec3; 3] {
        self.triangles[at].map(|i| self.points[i as usize])
    }

    /// Looks at the pairs of one leaf's triangles with each other and with those of later leaves.
    fn search(&self, leaf: usize, most: u64) -> Search {
        let mut search = Search { crossing: 0, overlapping: 0, steps: 0, complete: true };
        let bounds = self.levels[0][leaf];
        let top = self.levels.len() - 1;
        let mut stack = vec![(top, 0)];
        while let Some((level, node)) = stack.pop() {
            if level == 0 {
                self.compare(leaf, node, &mut search);
            } else {
                let children = node * CHILDREN..self.levels[level - 1].len().min((node + 1) * CHILDREN);
                search.steps += children.len() as u64;
                for child in children {
                    // The last leaf below the child.
                    let last = ((child + 1) << (2 * (level - 1))) - 1;
                    if last >= leaf && bounds.meets(&self.levels[level - 1][child]) {
                        stack.push((level - 1, child));
                    }
                }
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
        let range = |leaf: usize| leaf * LEAF..self.triangles.len().min((leaf + 1) * LEAF);
        let bounds = &self.levels[0][other];
        for a in range(leaf).filter(|&a| self.bounds[a].meets(bounds)) {
            let mut plane = None;
            let others = range(other);
            let others = others.start.max(if leaf == other { a + 1 } else { 0 })..others.end;
            search.steps += others.len() as u64;
            for b in others {
                if self.bounds[a].meets(&self.bounds[b]) && !share(self.triangles[a], self.triangles[b]) {
                    let plane = plane.get_or_insert_with(|| Plane::of(self.corners(a)));
                    match meeting(plane, self.corners(b)) {
                        Meeting::Apart => {}
                        Meeting::Crossing => search.crossing += 1,
                        Meeting::Overlapping => search.overlapping += 1,
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
            let place = (middle * steps).to_array().map(|x| spread((x as u64).min(last)));
            (place[0] | place[1] << 1 | place[2] << 2) << number_bits | t as u64
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
    a.iter().fold(false, |share, p| share | (*p == b[0]) | (*p == b[1]) | (*p == b[2]))
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

    fn heights(&self, corners: [DVec3; 3]) -> [f64; 3] {
        corners.map(|corner| self.height(corner))
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
    let above = heights.map(|height| height > 0.0);
    let below = heights.map(|height| height < 0.0);
    if above.contains(&true) && below.contains(&true) {
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
