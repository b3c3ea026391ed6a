//! The boundary of a set of triangles as a chain, and the way the triangles are turned.
//!
//! Every oriented triangle adds its three edges; where two neighbours are turned alike, their common edge cancels. What
//! remains is the 1-chain ∂S: empty for a closed, consistently turned surface, the rims of holes for an open one. As
//! ∂∂S = 0, joining ∂S to any point by a cone of triangles closes the surface.

use std::collections::BTreeMap;

use glam::DVec3;

use super::edges::{Edges, runs_up};
use super::{Forest, Surface};

/// An oriented edge with its multiplicity in ∂S.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RimEdge {
    /// From this point …
    pub from: u32,
    /// … to this one.
    pub to: u32,
    /// So many times; positive.
    pub times: u32,
}

/// The 1-chain ∂S of triangles, whose edges are `edges` whichever way they are turned, in the order of the point indices.
#[must_use]
pub fn rim(triangles: &[[u32; 3]], edges: &Edges) -> Vec<RimEdge> {
    edges.map(|low, high, on| {
        let net: i64 = on.iter().map(|t| if runs_up(triangles[t as usize], low, high) { 1 } else { -1 }).sum();
        let times = net.unsigned_abs() as u32;
        match net {
            0 => None,
            1.. => Some(RimEdge { from: low, to: high, times }),
            _ => Some(RimEdge { from: high, to: low, times }),
        }
    })
}

/// Triangles that close the surface: each connected part of the rim joined to its own middle by a cone.
#[must_use]
pub fn cap(points: &[DVec3], rim: &[RimEdge]) -> Vec<[DVec3; 3]> {
    let mut cap = Vec::with_capacity(rim.len());
    for part in connected(rim) {
        let middle = part.iter().map(|e| points[e.from as usize] + points[e.to as usize]).sum::<DVec3>()
            / (2.0 * part.len() as f64);
        for edge in part {
            // Against the rim: the cone's own rim must cancel it.
            let triangle = [points[edge.to as usize], points[edge.from as usize], middle];
            cap.extend(std::iter::repeat_n(triangle, edge.times as usize));
        }
    }
    cap
}

/// The rim split into parts that share points, each in the order of the rim.
fn connected(rim: &[RimEdge]) -> Vec<Vec<RimEdge>> {
    let mut points: Vec<u32> = rim.iter().flat_map(|e| [e.from, e.to]).collect();
    points.sort_unstable();
    points.dedup();
    let place = |p: u32| points.partition_point(|&q| q < p);
    let mut forest = Forest::of(points.len());
    for edge in rim {
        forest.join(place(edge.from), place(edge.to));
    }
    let roots = forest.roots();
    let mut parts: BTreeMap<usize, Vec<RimEdge>> = BTreeMap::new();
    for &edge in rim {
        parts.entry(roots[place(edge.from)]).or_default().push(edge);
    }
    parts.into_values().collect()
}

/// Patches of triangles: joined through edges that have just two of them.
#[derive(Clone, Debug)]
pub struct Patches {
    /// The patch of each triangle. Patches are numbered in the order of their first triangles.
    pub of: Vec<u32>,
    /// How many there are.
    pub count: usize,
    /// The triangles that are turned the other way than the larger part, by area, of their patch.
    pub turned: Vec<u32>,
}

impl Patches {
    /// Finds the patches of a surface whose edges are `edges`.
    #[must_use]
    pub fn of(surface: &Surface, edges: &Edges) -> Self {
        let triangles = surface.triangles();
        let across = neighbours(triangles, edges);
        let mut of = vec![u32::MAX; triangles.len()];
        let mut flipped = vec![false; triangles.len()];
        let (mut count, mut turned) = (0, Vec::new());
        let mut patch = Vec::new();
        for start in 0..triangles.len() {
            if of[start] != u32::MAX {
                continue;
            }
            of[start] = count;
            patch.clear();
            patch.push(start as u32);
            let mut next = 0;
            while next < patch.len() {
                let t = patch[next] as usize;
                next += 1;
                for (other, agree) in across[t].iter().filter_map(|link| link.neighbour()) {
                    if of[other as usize] == u32::MAX {
                        of[other as usize] = count;
                        flipped[other as usize] = flipped[t] == agree;
                        patch.push(other);
                    }
                }
            }
            count += 1;
            turned.extend(minority(surface, &patch, &flipped));
        }
        turned.sort_unstable();
        Self { of, count: count as usize, turned }
    }
}

/// The triangles of a patch that are turned the way of the smaller area; of equal areas, the other way than the first.
fn minority<'a>(surface: &Surface, patch: &'a [u32], flipped: &'a [bool]) -> impl Iterator<Item = u32> + 'a {
    let any = patch.iter().any(|&t| flipped[t as usize]);
    let area = |way: bool| -> f64 {
        patch.iter().filter(|&&t| flipped[t as usize] == way).map(|&t| triangle_area(surface.corners(t as usize))).sum()
    };
    let wrong = !any || area(true) <= area(false);
    patch.iter().copied().filter(move |&t| any && flipped[t as usize] == wrong)
}

fn triangle_area([a, b, c]: [DVec3; 3]) -> f64 {
    (b - a).cross(c - a).length() / 2.0
}

/// The way across an edge to a neighbour: its number, and in the lowest bit whether both are turned alike.
#[derive(Clone, Copy)]
struct Link(u64);

impl Link {
    const NONE: Self = Self(u64::MAX);

    fn to(triangle: u32, agree: bool) -> Self {
        Self(u64::from(triangle) << 1 | u64::from(agree))
    }

    fn neighbour(self) -> Option<(u32, bool)> {
        (self.0 != u64::MAX).then_some(((self.0 >> 1) as u32, self.0 & 1 == 1))
    }
}

/// The neighbours of each triangle across the edges that have just two triangles.
fn neighbours(triangles: &[[u32; 3]], edges: &Edges) -> Vec<[Link; 3]> {
    let pairs = edges.map(|low, high, on| {
        let [a, b] = on.pair()?;
        // Neighbours that are turned alike run along their common edge in opposite ways.
        let agree = runs_up(triangles[a as usize], low, high) != runs_up(triangles[b as usize], low, high);
        Some((a, b, agree))
    });
    let mut across = vec![[Link::NONE; 3]; triangles.len()];
    let mut put = |at: u32, link: Link| {
        if let Some(free) = across[at as usize].iter_mut().find(|link| link.neighbour().is_none()) {
            *free = link;
        }
    };
    for (a, b, agree) in pairs {
        put(a, Link::to(b, agree));
        put(b, Link::to(a, agree));
    }
    across
}
