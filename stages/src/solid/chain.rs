//! The boundary of a set of triangles as a chain, and the way the triangles are turned.
//!
//! Every oriented triangle adds its three edges; where two neighbours are turned alike, their common edge cancels. What
//! remains is the 1-chain ∂S: empty for a closed, consistently turned surface, the rims of holes for an open one. As
//! ∂∂S = 0, joining ∂S to any point by a cone of triangles closes the surface.

use std::cmp::Ordering;
use std::collections::{BTreeMap, VecDeque};

use glam::DVec3;
use rayon::prelude::*;

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

/// The 1-chain ∂S of the surface, in the order of the point indices. Triangles with two equal corners add nothing.
#[must_use]
pub fn rim(triangles: &[[u32; 3]]) -> Vec<RimEdge> {
    let mut edges: Vec<(u64, i8)> = triangles
        .par_iter()
        .filter(|[a, b, c]| a != b && b != c && c != a)
        .flat_map_iter(|&[a, b, c]| [(a, b), (b, c), (c, a)])
        .map(|(from, to)| if from < to { (key(from, to), 1) } else { (key(to, from), -1) })
        .collect();
    edges.par_sort_unstable();
    edges
        .chunk_by(|a, b| a.0 == b.0)
        .filter_map(|run| {
            let net: i64 = run.iter().map(|&(_, turn)| i64::from(turn)).sum();
            let (low, high) = ((run[0].0 >> 32) as u32, run[0].0 as u32);
            let times = net.unsigned_abs() as u32;
            match net.cmp(&0) {
                Ordering::Equal => None,
                Ordering::Greater => Some(RimEdge { from: low, to: high, times }),
                Ordering::Less => Some(RimEdge { from: high, to: low, times }),
            }
        })
        .collect()
}

fn key(low: u32, high: u32) -> u64 {
    u64::from(low) << 32 | u64::from(high)
}

/// Triangles that close the surface: each connected part of the rim joined to its own middle by a cone.
#[must_use]
pub fn cap(surface: &Surface, rim: &[RimEdge]) -> Vec<[DVec3; 3]> {
    let points = surface.points();
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

/// Turns triangles so that neighbours agree wherever they share an edge that no third triangle touches, keeping in each
/// connected patch the way of the larger area; and says how many it turned.
#[must_use]
pub fn turned_alike(surface: &Surface) -> (Surface, usize) {
    let mut triangles = surface.triangles().to_vec();
    let turned = if rim(&triangles).is_empty() { 0 } else { agree(surface, &mut triangles) };
    let alike = Surface::new(surface.points().to_vec(), triangles).expect("turning a triangle keeps its corners");
    (alike, turned)
}

/// Makes neighbours agree, patch by patch; gives the number of triangles turned.
fn agree(surface: &Surface, triangles: &mut [[u32; 3]]) -> usize {
    let across = neighbours(triangles);
    let mut flip: Vec<Option<bool>> = vec![None; triangles.len()];
    let mut turned = 0;
    let mut queue = VecDeque::new();
    for start in 0..triangles.len() {
        if flip[start].is_some() {
            continue;
        }
        flip[start] = Some(false);
        queue.push_back(start);
        let mut patch = Vec::new();
        while let Some(t) = queue.pop_front() {
            patch.push(t);
            for (other, same_way) in across[t].into_iter().flatten() {
                if flip[other].is_none() {
                    flip[other] = flip[t].map(|f| f != same_way);
                    queue.push_back(other);
                }
            }
        }
        let area = |flipped: bool| -> f64 {
            patch.iter().filter(|&&t| flip[t] == Some(flipped)).map(|&t| triangle_area(surface.corners(t))).sum()
        };
        let wrong = area(true) <= area(false);
        for &t in patch.iter().filter(|&&t| flip[t] == Some(wrong)) {
            triangles[t].swap(1, 2);
            turned += 1;
        }
    }
    turned
}

fn triangle_area([a, b, c]: [DVec3; 3]) -> f64 {
    (b - a).cross(c - a).length() / 2.0
}

/// Across each side of each triangle, its one neighbour there, and whether both run along the common edge the same way
/// (then they disagree). No neighbour where the edge has one triangle, or more than two.
fn neighbours(triangles: &[[u32; 3]]) -> Vec<[Option<(usize, bool)>; 3]> {
    let mut edges: Vec<(u64, bool, u32, u8)> = triangles
        .par_iter()
        .enumerate()
        .filter(|(_, [a, b, c])| a != b && b != c && c != a)
        .flat_map_iter(|(t, &tri)| {
            (0..3u8).map(move |side| {
                let (from, to) = (tri[side as usize], tri[(side as usize + 1) % 3]);
                (key(from.min(to), from.max(to)), from < to, t as u32, side)
            })
        })
        .collect();
    edges.par_sort_unstable();
    let mut across = vec![[None; 3]; triangles.len()];
    for run in edges.chunk_by(|a, b| a.0 == b.0) {
        if let [(_, up_a, a, side_a), (_, up_b, b, side_b)] = *run {
            across[a as usize][side_a as usize] = Some((b as usize, up_a == up_b));
            across[b as usize][side_b as usize] = Some((a as usize, up_a == up_b));
        }
    }
    across
}
