//! The health of a surface, as topology and sizes: bodies, holes, turn, repeats, triangles without area. Where it passes
//! through itself is told by [`super::self_crossings`].
//!
//! Points are the same when their numbers are: readers make equal points one. Triangles with two equal corners count as
//! without area and have no other part in anything here; of triangles that repeat, the first counts. What is told does not
//! depend on the order of triangles and points, so long as no two points have equal coordinates.

use std::cmp::Ordering;

use glam::DVec3;
use rayon::prelude::*;

use super::chain::Patches;
use super::edges::{Edges, Triangles, runs_up};
use super::{Forest, Surface};

/// What is found out about a surface.
#[derive(Clone, Debug, PartialEq)]
pub struct Health {
    /// Triangles, all of them.
    pub triangles: usize,
    /// Sets of triangles that are connected by shared points.
    pub bodies: usize,
    /// Of these the ones without a boundary: every edge has two triangles, or more.
    pub closed_bodies: usize,
    /// Where the surface ends, longest first.
    pub boundary: Boundary,
    /// Edges with more than two triangles.
    pub branching_edges: usize,
    /// Connected patches that are turned against the larger rest of their sheet. A sheet goes on across edges of two
    /// triangles.
    pub flipped_patches: usize,
    /// Triangles in flipped patches.
    pub flipped_triangles: usize,
    /// Sheets with one side only, as a Möbius strip.
    pub one_sided: usize,
    /// Triangles with the same three points as one before them, in whatever order.
    pub repeated: usize,
    /// Triangles without area: see [`NEEDLE`].
    pub without_area: usize,
}

/// A triangle is without area when its height over its longest side is at most this part of the surface's longest extent.
/// It lies between the rounding of coordinates, a few times 10⁻¹⁶ of the extent, and the steps of single precision, 10⁻⁷
/// or so, below which no file format of the trade tells points apart.
pub const NEEDLE: f64 = 1e-12;

/// The edges that have one triangle only, joined to loops.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Boundary {
    /// Longest first; of equals the one whose middle comes first in the order of x, y, z.
    pub loops: Vec<Loop>,
    /// The points of all loops, one loop after the other.
    points: Vec<u32>,
}

/// A closed line, or an open one, of edges that have one triangle only. It passes no point twice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loop {
    /// Length in mm.
    pub length: f64,
    /// Middle of the line (its centre of mass) in mm.
    pub middle: DVec3,
    /// Number of edges.
    pub edges: usize,
    /// Whether it comes back to where it began. An open one ends at edges of more than two triangles.
    pub closed: bool,
    /// Where its points begin.
    first: usize,
}

impl Boundary {
    /// The points along a loop, each once.
    #[must_use]
    pub fn points(&self, of: &Loop) -> &[u32] {
        &self.points[of.first..of.first + of.edges + usize::from(!of.closed)]
    }

    /// The number of edges.
    #[must_use]
    pub fn edges(&self) -> usize {
        self.loops.iter().map(|one| one.edges).sum()
    }

    /// The length of all loops in mm.
    #[must_use]
    pub fn length(&self) -> f64 {
        self.loops.iter().map(|one| one.length).sum()
    }
}

impl Health {
    /// Looks a surface over.
    #[must_use]
    pub fn of(surface: &Surface) -> Self {
        let sound: fn(&&[u32; 3]) -> bool = |[a, b, c]| a != b && b != c && c != a;
        let triangles = surface.triangles();
        let (bodies, (edges, without_area)) = rayon::join(
            || bodies(triangles.iter().filter(sound), surface.points().len()),
            || (Edges::of(triangles), without_area(surface)),
        );
        let found = Found::of(triangles, &edges);
        if !found.repeated.is_empty() {
            // Repeats hide holes, and make edges branch that would not.
            let once = Self::of(&without(surface, &found.repeated));
            return Self { triangles: triangles.len(), repeated: found.repeated.len(), without_area, ..once };
        }
        let turning = Turning::of(surface, &edges);
        let closed_bodies = bodies.closed(&found.ends);
        Self {
            triangles: triangles.len(),
            bodies: bodies.count,
            closed_bodies,
            boundary: Boundary::of(surface.points(), &found.ends),
            branching_edges: found.branching,
            flipped_patches: turning.flipped_patches,
            flipped_triangles: turning.flipped_triangles,
            one_sided: turning.one_sided,
            repeated: 0,
            without_area,
        }
    }
}

/// What one walk over the edges finds.
#[derive(Default)]
struct Found {
    /// Edges that have one triangle only.
    ends: Vec<[u32; 2]>,
    /// Edges with more than two.
    branching: usize,
    /// Triangles that came before.
    repeated: Vec<u32>,
}

/// What there is to say of an edge.
enum Seen {
    End([u32; 2]),
    Repeat(u32),
    Branching(Vec<u32>),
}

impl Found {
    fn of(triangles: &[[u32; 3]], edges: &Edges) -> Self {
        let mut all = Self::default();
        for seen in edges.map(|low, high, on| look(triangles, low, high, on)) {
            match seen {
                Seen::End(end) => all.ends.push(end),
                Seen::Repeat(triangle) => all.repeated.push(triangle),
                Seen::Branching(repeats) => {
                    all.branching += 1;
                    all.repeated.extend(repeats);
                }
            }
        }
        all
    }
}

fn look(triangles: &[[u32; 3]], low: u32, high: u32, on: Triangles<'_>) -> Option<Seen> {
    // The third corner: what is left of the three when the edge's ends cancel.
    let third = |t: u32| triangles[t as usize].iter().fold(low ^ high, |rest, corner| rest ^ corner);
    // At the edge of its two lowest corners each repeat is seen once.
    if let Some([a, b]) = on.pair() {
        let apex = third(a);
        return (apex == third(b) && apex > high).then_some(Seen::Repeat(b));
    }
    if on.iter().nth(1).is_none() {
        return Some(Seen::End([low, high]));
    }
    let mut thirds: Vec<(u32, u32)> = on.iter().map(|t| (third(t), t)).collect();
    thirds.sort_unstable();
    let repeats = thirds.windows(2).filter(|pair| pair[0].0 == pair[1].0 && pair[0].0 > high);
    Some(Seen::Branching(repeats.map(|pair| pair[1].1).collect()))
}

/// How the triangles of a surface's sheets are turned.
#[derive(Default)]
struct Turning {
    flipped_patches: usize,
    flipped_triangles: usize,
    one_sided: usize,
}

impl Turning {
    fn of(surface: &Surface, edges: &Edges) -> Self {
        let triangles = surface.triangles();
        let run = |t: u32, low, high| runs_up(triangles[t as usize], low, high);
        let disagree = |low, high, [a, b]: [u32; 2]| run(a, low, high) == run(b, low, high);
        if edges.map(|low, high, on| on.pair().filter(|&pair| disagree(low, high, pair))).is_empty() {
            return Self::default();
        }
        let sheets = Patches::of(surface, edges);
        let mut turned = vec![false; triangles.len()];
        sheets.turned.iter().for_each(|&t| turned[t as usize] = true);
        let mut patches = Forest::of(triangles.len());
        let mut one_sided = vec![false; sheets.count];
        let pairs = edges.map(|low, high, on| on.pair().map(|pair| (pair, disagree(low, high, pair))));
        for ([a, b], disagree) in pairs {
            let [a, b] = [a, b].map(|t| t as usize);
            if disagree == (turned[a] == turned[b]) {
                // Once all are turned the two still disagree: there is no way round the sheet that pleases everybody.
                one_sided[sheets.of[a] as usize] = true;
            } else if turned[a] && turned[b] {
                patches.join(a, b);
            }
        }
        // In a one-sided sheet the two ways meet wherever the walk over it ended: those are no patches of the model.
        let roots = patches.roots();
        let flipped = || sheets.turned.iter().map(|&t| t as usize).filter(|&t| !one_sided[sheets.of[t] as usize]);
        Self {
            flipped_patches: flipped().filter(|&t| roots[t] == t).count(),
            flipped_triangles: flipped().count(),
            one_sided: one_sided.iter().filter(|&&is| is).count(),
        }
    }
}

fn without(surface: &Surface, left_out: &[u32]) -> Surface {
    let mut keep = vec![true; surface.triangles().len()];
    left_out.iter().for_each(|&t| keep[t as usize] = false);
    let kept = surface.triangles().iter().zip(keep).filter_map(|(&triangle, keep)| keep.then_some(triangle));
    Surface::new(surface.points().to_vec(), kept.collect()).expect("leaving triangles out keeps the others sound")
}

/// How many triangles are without area.
fn without_area(surface: &Surface) -> usize {
    let extent = surface.bounds().map_or(0.0, |[low, high]| (high - low).max_element());
    let most = (NEEDLE * extent).powi(2);
    let needle = |t: &usize| {
        let [a, b, c] = surface.corners(*t);
        let longest = a.distance_squared(b).max(b.distance_squared(c)).max(c.distance_squared(a));
        // Twice the area is height times longest side.
        (b - a).cross(c - a).length_squared() <= most * longest
    };
    (0..surface.triangles().len()).into_par_iter().filter(needle).count()
}

/// The bodies.
struct Bodies {
    /// The lowest point of each point's body.
    roots: Vec<usize>,
    count: usize,
}

fn bodies<'a>(triangles: impl Iterator<Item = &'a [u32; 3]>, points: usize) -> Bodies {
    let mut forest = Forest::of(points);
    let mut used = vec![false; points];
    for corners in triangles {
        let [a, b, c] = corners.map(|corner| corner as usize);
        used[a] = true;
        used[b] = true;
        used[c] = true;
        forest.join(a, b);
        forest.join(a, c);
    }
    let roots = forest.roots();
    let count = roots.iter().enumerate().filter(|&(point, &root)| root == point && used[point]).count();
    Bodies { roots, count }
}

impl Bodies {
    /// How many have no boundary.
    fn closed(&self, ends: &[[u32; 2]]) -> usize {
        let mut open: Vec<usize> = ends.iter().map(|&[a, _]| self.roots[a as usize]).collect();
        open.sort_unstable();
        open.dedup();
        self.count - open.len()
    }
}

impl Boundary {
    /// Joins edges to loops: from each point on along the edge to the first of its neighbours, in the order of x, y, z,
    /// that is left. Where the line comes back to a point that it has passed, a loop is done. So two holes that touch in
    /// one point are two loops.
    fn of(points: &[DVec3], ends: &[[u32; 2]]) -> Self {
        let net = Net::of(points, ends);
        let mut boundary = Self::default();
        let mut walk = Walk {
            net: &net,
            used: vec![false; ends.len()],
            next: net.starts.clone(),
            on: vec![0; net.len()],
            line: Vec::new(),
        };
        // Lines that end begin at their ends.
        let odd = (0..net.len()).filter(|&at| net.around(at).len() % 2 == 1);
        for start in odd.chain(0..net.len()) {
            while walk.from(start, |line, closed| boundary.add(points, net.numbers(line), closed)) {}
        }
        boundary.loops.sort_by(|a, b| b.length.total_cmp(&a.length).then_with(|| by_place(a.middle, b.middle)));
        boundary
    }

    fn add(&mut self, points: &[DVec3], line: impl Iterator<Item = u32>, closed: bool) {
        let first = self.points.len();
        self.points.extend(line);
        let numbers = &self.points[first..];
        let place = |at: usize| points[numbers[at % numbers.len()] as usize];
        let edges = numbers.len() - usize::from(!closed);
        let (mut length, mut moment) = (0.0, DVec3::ZERO);
        for at in 0..edges {
            let (from, to) = (place(at), place(at + 1));
            length += from.distance(to);
            moment += from.distance(to) * from.midpoint(to);
        }
        let middle = if length > 0.0 { moment / length } else { place(0) };
        self.loops.push(Loop { length, middle, edges, closed, first });
    }
}

fn by_place(a: DVec3, b: DVec3) -> Ordering {
    a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)).then(a.z.total_cmp(&b.z))
}

/// Edges as a net, its points in the order of x, y, z.
struct Net {
    /// The surface's number of each point.
    points: Vec<u32>,
    /// Where the edges from each point begin.
    starts: Vec<u32>,
    /// The other end and the number of each edge from each point.
    edges: Vec<(u32, u32)>,
}

/// The points of some edges in the order of x, y, z.
fn in_order(points: &[DVec3], ends: &[[u32; 2]]) -> Vec<u32> {
    let mut used = vec![false; if ends.is_empty() { 0 } else { points.len() }];
    ends.iter().flatten().for_each(|&number| used[number as usize] = true);
    // The bits of a number as `f64::total_cmp` orders them, so that whole keys are compared and not looked up.
    let bits = |x: f64| {
        let bits = x.to_bits();
        if bits >> 63 > 0 { !bits } else { bits | 1 << 63 }
    };
    let mut keys: Vec<([u64; 3], u32)> = used
        .into_iter()
        .zip(0..)
        .filter(|&(used, _)| used)
        .map(|(_, number)| (points[number as usize].to_array().map(bits), number))
        .collect();
    keys.par_sort_unstable();
    keys.into_iter().map(|(_, number)| number).collect()
}

impl Net {
    fn of(points: &[DVec3], ends: &[[u32; 2]]) -> Self {
        let numbers = in_order(points, ends);
        let mut ranks = vec![0u32; points.len()];
        for (rank, &number) in (0..).zip(&numbers) {
            ranks[number as usize] = rank;
        }
        let mut starts = vec![0u32; numbers.len() + 1];
        ends.iter().flatten().for_each(|&number| starts[ranks[number as usize] as usize] += 1);
        // From counts to the ends of the buckets; filling them from behind leaves the starts.
        let mut end = 0;
        for start in &mut starts {
            end += *start;
            *start = end;
        }
        let mut edges = vec![(0, 0); end as usize];
        for (end, edge) in ends.iter().zip(0..) {
            let [a, b] = end.map(|number| ranks[number as usize]);
            for (from, to) in [(a, b), (b, a)] {
                starts[from as usize] -= 1;
                edges[starts[from as usize] as usize] = (to, edge);
            }
        }
        for bucket in starts.windows(2) {
            edges[bucket[0] as usize..bucket[1] as usize].sort_unstable();
        }
        Self { points: numbers, starts, edges }
    }

    fn len(&self) -> usize {
        self.points.len()
    }

    fn around(&self, at: usize) -> &[(u32, u32)] {
        &self.edges[self.starts[at] as usize..self.starts[at + 1] as usize]
    }

    fn numbers<'a>(&'a self, line: &'a [u32]) -> impl Iterator<Item = u32> + 'a {
        line.iter().map(|&at| self.points[at as usize])
    }
}

/// A walk along the edges of a net that takes each edge once.
struct Walk<'a> {
    net: &'a Net,
    used: Vec<bool>,
    /// Where the edges from each point begin that were not looked at yet.
    next: Vec<u32>,
    /// The place of each point on the line, from 1; 0 off the line.
    on: Vec<u32>,
    line: Vec<u32>,
}

impl Walk<'_> {
    /// Walks from a point until there is no edge left to take; tells the loops met, and the open line that is left.
    /// Says whether there was an edge to take at all.
    fn from(&mut self, start: usize, mut tell: impl FnMut(&[u32], bool)) -> bool {
        let Some(mut to) = self.step(start as u32) else { return false };
        self.line.push(start as u32);
        self.on[start] = 1;
        loop {
            let met = self.on[to as usize] as usize;
            if met > 0 {
                tell(&self.line[met - 1..], true);
                self.line.drain(met..).for_each(|passed| self.on[passed as usize] = 0);
            } else {
                self.line.push(to);
                self.on[to as usize] = self.line.len() as u32;
            }
            match self.step(self.line[self.line.len() - 1]) {
                Some(next) => to = next,
                None => break,
            }
        }
        if self.line.len() > 1 {
            tell(&self.line, false);
        }
        self.line.drain(..).for_each(|at| self.on[at as usize] = 0);
        true
    }

    /// Takes the first edge that is left at a point, and says where it leads.
    fn step(&mut self, at: u32) -> Option<u32> {
        let end = self.net.starts[at as usize + 1];
        let next = &mut self.next[at as usize];
        while *next < end {
            let (to, edge) = self.net.edges[*next as usize];
            *next += 1;
            if !std::mem::replace(&mut self.used[edge as usize], true) {
                return Some(to);
            }
        }
        None
    }
}

#[cfg(test)]
mod tests;
