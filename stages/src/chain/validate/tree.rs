//! A tree of boxes over triangles, for the least distance between two sets and for the first hit along an axis.
//!
//! The tree is complete: node `i` of level `l` holds the triangles from `i n / 2^l` to `(i + 1) n / 2^l` in the tree's
//! order, its children are `2 i` and `2 i + 1` of the next level. It takes memory in proportion to the triangles,
//! whatever their sizes.

use glam::DVec3;

use super::mesh::Mesh;
use super::separation::Corners;
use crate::Side;

/// Triangles in a leaf, at most.
const LEAF: usize = 4;

/// A box.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bounds {
    pub(super) low: DVec3,
    pub(super) high: DVec3,
}

impl Bounds {
    const NONE: Self = Self { low: DVec3::INFINITY, high: DVec3::NEG_INFINITY };

    pub(super) fn of(corners: &Corners) -> Self {
        let [a, b, c] = *corners;
        Self { low: a.min(b).min(c), high: a.max(b).max(c) }
    }

    fn with(self, other: Self) -> Self {
        Self { low: self.low.min(other.low), high: self.high.max(other.high) }
    }

    /// Squared distance of two boxes.
    pub(super) fn squared(&self, other: &Self) -> f64 {
        (self.low - other.high).max(other.low - self.high).max(DVec3::ZERO).length_squared()
    }

    /// Length of the diagonal, squared.
    fn extent(&self) -> f64 {
        (self.high - self.low).length_squared()
    }
}

/// A node: its level and its place on it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Node {
    level: u32,
    place: usize,
}

impl Node {
    /// The root.
    pub(super) const ROOT: Self = Self { level: 0, place: 0 };

    fn index(self) -> usize {
        (1 << self.level) - 1 + self.place
    }

    pub(super) fn children(self) -> [Self; 2] {
        [0, 1].map(|side| Self { level: self.level + 1, place: 2 * self.place + side })
    }
}

/// The tree.
pub(super) struct Tree {
    corners: Vec<Corners>,
    triangles: Vec<u32>,
    bounds: Vec<Bounds>,
    levels: u32,
}

impl Tree {
    /// A tree over the triangles of the mesh that `take` takes; `None` if it takes none.
    pub(super) fn new(mesh: &Mesh, take: impl Fn(usize) -> bool) -> Option<Self> {
        let mut items: Vec<(DVec3, u32)> =
            (0..mesh.triangles.len()).filter(|&t| take(t)).map(|t| (mesh.centroid(t), t as u32)).collect();
        if items.is_empty() {
            return None;
        }
        let levels = items.len().div_ceil(LEAF).next_power_of_two().trailing_zeros();
        let count = items.len();
        arrange(&mut items, Node::ROOT, levels, count);
        let triangles: Vec<u32> = items.iter().map(|&(_, t)| t).collect();
        let corners: Vec<Corners> = triangles.iter().map(|&t| mesh.corners(t as usize)).collect();
        let mut tree = Self { corners, triangles, bounds: vec![Bounds::NONE; (2 << levels) - 1], levels };
        tree.bound();
        Some(tree)
    }

    /// Boxes from the leaves up.
    fn bound(&mut self) {
        for level in (0..=self.levels).rev() {
            for place in 0..1 << level {
                let node = Node { level, place };
                self.bounds[node.index()] = if self.is_leaf(node) {
                    self.leaf(node).iter().map(Bounds::of).fold(Bounds::NONE, Bounds::with)
                } else {
                    let [a, b] = node.children();
                    self.bounds[a.index()].with(self.bounds[b.index()])
                };
            }
        }
    }

    pub(super) fn is_leaf(&self, node: Node) -> bool {
        node.level == self.levels
    }

    /// The corners of a leaf's triangles.
    pub(super) fn leaf(&self, node: Node) -> &[Corners] {
        &self.corners[range(node, self.corners.len())]
    }

    /// The numbers in the mesh of a leaf's triangles.
    pub(super) fn names(&self, node: Node) -> &[u32] {
        &self.triangles[range(node, self.corners.len())]
    }

    pub(super) fn bounds(&self, node: Node) -> &Bounds {
        &self.bounds[node.index()]
    }

    /// Which of two nodes of two trees to open: the larger one that is not a leaf.
    pub(super) fn opens_first(&self, node: Node, other: &Self, other_node: Node) -> bool {
        other.is_leaf(other_node)
            || !self.is_leaf(node) && self.bounds(node).extent() >= other.bounds(other_node).extent()
    }

    /// The nodes of the level with at least `count` nodes, or of the last one.
    pub(super) fn front(&self, count: usize) -> Vec<Node> {
        let level = self.levels.min(count.next_power_of_two().trailing_zeros());
        (0..1 << level).map(|place| Node { level, place }).collect()
    }

    /// A coordinate along the side's axis from which everything lies behind when looking back from the side.
    pub(super) fn beyond(&self, side: Side) -> f64 {
        let all = self.bounds(Node::ROOT);
        if side.positive() { all.high[side.axis()] + 1.0 } else { all.low[side.axis()] - 1.0 }
    }

    /// The first triangle that lies further than `from` mm away from `origin` in the direction in which `side` looks,
    /// with its distance. Rays that graze an edge hit.
    pub(super) fn first_hit(&self, origin: DVec3, side: Side, from: f64) -> Option<(f64, u32)> {
        let ray = Ray { origin, side, way: side.normal(), from };
        let mut best = (f64::INFINITY, u32::MAX);
        if ray.enters(self.bounds(Node::ROOT)).is_some() {
            self.hit(Node::ROOT, &ray, &mut best);
        }
        best.0.is_finite().then_some(best)
    }

    /// Looks into a node that the ray enters, the child that it enters first before the other.
    fn hit(&self, node: Node, ray: &Ray, best: &mut (f64, u32)) {
        if self.is_leaf(node) {
            for (corners, &t) in self.leaf(node).iter().zip(self.names(node)) {
                // Among triangles at one distance the lowest number wins, whatever the order in the tree.
                if let Some(distance) = ray.meets(corners)
                    && (distance, t) < *best
                {
                    *best = (distance, t);
                }
            }
            return;
        }
        let mut children = node.children().map(|child| (ray.enters(self.bounds(child)), child));
        if matches!(children, [(Some(a), _), (Some(b), _)] if b < a) {
            children.swap(0, 1);
        }
        for (entered, child) in children {
            if entered.is_some_and(|distance| distance <= best.0) {
                self.hit(child, ray, best);
            }
        }
    }
}

fn range(node: Node, count: usize) -> std::ops::Range<usize> {
    // In 128 bits, as count times places could pass 64.
    let at = |place: usize| ((place as u128 * count as u128) >> node.level) as usize;
    at(node.place)..at(node.place + 1)
}

/// Parts the items at the middle of their longest extent, and each half again, on all threads.
fn arrange(items: &mut [(DVec3, u32)], node: Node, levels: u32, count: usize) {
    if node.level == levels || items.len() < 2 {
        return;
    }
    let low = items.iter().fold(DVec3::INFINITY, |low, item| low.min(item.0));
    let high = items.iter().fold(DVec3::NEG_INFINITY, |high, item| high.max(item.0));
    let size = high - low;
    let axis = (0..3).fold(0, |best, axis| if size[axis] > size[best] { axis } else { best });
    let [a, b] = node.children();
    let middle = range(a, count).len();
    if middle > 0 && middle < items.len() {
        items.select_nth_unstable_by(middle, |p, q| p.0[axis].total_cmp(&q.0[axis]).then(p.1.cmp(&q.1)));
    }
    let (left, right) = items.split_at_mut(middle);
    // Below some thousand items a task costs more than it saves.
    if left.len() > 2048 {
        rayon::join(|| arrange(left, a, levels, count), || arrange(right, b, levels, count));
    } else {
        arrange(left, a, levels, count);
        arrange(right, b, levels, count);
    }
}

/// A ray along an axis.
struct Ray {
    origin: DVec3,
    /// The side towards which it runs, and its unit vector.
    side: Side,
    way: DVec3,
    from: f64,
}

impl Ray {
    /// How far away it enters a box, where it does beyond `from`.
    fn enters(&self, bounds: &Bounds) -> Option<f64> {
        let within = bounds.low.cmple(self.origin) & bounds.high.cmpge(self.origin);
        if within.bitmask() | 1 << self.side.axis() != 0b111 {
            return None;
        }
        // Products with 0 and ±1 are exact.
        let (a, b) = ((bounds.low - self.origin).dot(self.way), (bounds.high - self.origin).dot(self.way));
        (a.max(b) > self.from).then_some(a.min(b))
    }

    /// How far away it meets a triangle, border and all, where it does beyond `from`. A triangle seen edge-on is not
    /// met: its neighbours are.
    fn meets(&self, corners: &Corners) -> Option<f64> {
        let (u, v) = ((self.side.axis() + 1) % 3, (self.side.axis() + 2) % 3);
        let corners = corners.map(|p| p - self.origin);
        let cross = |i: usize, j: usize| corners[i][u] * corners[j][v] - corners[i][v] * corners[j][u];
        let weights = [cross(1, 2), cross(2, 0), cross(0, 1)];
        let sum = weights[0] + weights[1] + weights[2];
        if sum == 0.0 || weights.iter().any(|w| w * sum.signum() < 0.0) {
            return None;
        }
        let depth: f64 = (0..3).map(|i| weights[i] * corners[i].dot(self.way)).sum();
        let distance = depth / sum;
        (distance > self.from).then_some(distance)
    }
}
