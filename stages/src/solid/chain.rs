//! The boundary of a set of triangles as a chain, and the way the triangles are turned.
//!
//! Every oriented triangle adds its three edges; where two neighbours are turned alike, their common edge cancels. What
//! remains is the 1-chain ∂S: empty for a closed, consistently turned surface, the rims of holes for an open one. As
//! ∂∂S = 0, joining ∂S to any point by a cone of triangles closes the surface.

use std::cmp::Ordering;
use std::collections::{BTreeMap, VecDeque};

use glam::DVec3;
use rayon::prelude::*;

use super::edges::{Edges, Side};
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
    let points = triangles.par_iter().flatten_iter().max().map_or(0, |&last| last as usize + 1);
    rim_of(&Edges::of(triangles, points))
}

/// The 1-chain ∂S of the surface with these edges, in the order of the point indices.
#[must_use]
pub fn rim_of(edges: &Edges) -> Vec<RimEdge> {
    let pieces = edges.gather(|rim: &mut Vec<RimEdge>, low, along| {
        let up = along.iter().filter(|side| side.up()).count();
        let (down, high) = (along.len() - up, along[0].high());
        match up.cmp(&down) {
            Ordering::Equal => {}
            Ordering::Greater => rim.push(RimEdge { from: low, to: high, times: (up - down) as u32 }),
            Ordering::Less => rim.push(RimEdge { from: high, to: low, times: (down - up) as u32 }),
        }
    });
    pieces.concat()
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
    let edges = Edges::of(surface.triangles(), surface.points().len());
    let mut triangles = surface.triangles().to_vec();
    let turned = to_turn(surface, &edges).turned;
    for &t in &turned {
        triangles[t].swap(1, 2);
    }
    let alike = Surface::new(surface.points().to_vec(), triangles).expect("turning a triangle keeps its corners");
    (alike, turned.len())
}

/// Which triangles are turned against the rest.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Turning {
    /// Triangles to turn so that neighbours agree, in the order of the surface's patches.
    pub turned: Vec<usize>,
    /// Connected patches of such triangles, without those in one-sided patches.
    pub patches: usize,
    /// Triangles in the patches counted.
    pub in_patches: usize,
    /// Connected patches of the surface that have one side only, as a Möbius strip, so that neighbours cannot all agree.
    pub one_sided: usize,
}

/// Two neighbours across an edge, and whether both run along it the same way: then they disagree.
type Across = Option<(usize, bool)>;

/// Finds the triangles to turn so that neighbours agree wherever they share an edge that no third triangle touches: in
/// each connected patch those of the smaller area.
#[must_use]
pub fn to_turn(surface: &Surface, edges: &Edges) -> Turning {
    let disagree = |along: &[Side]| matches!(along, [a, b] if a.up() == b.up());
    let any = edges.gather(|any: &mut bool, _, along| *any |= disagree(along)).into_iter().any(|any| any);
    if any { agree(surface, &neighbours(surface.triangles(), edges)) } else { Turning::default() }
}

/// Makes neighbours agree, patch by patch.
fn agree(surface: &Surface, across: &[[Across; 3]]) -> Turning {
    let mut flip: Vec<Option<bool>> = vec![None; across.len()];
    let mut turning = Turning::default();
    let mut seen = vec![false; across.len()];
    for start in 0..across.len() {
        if flip[start].is_some() {
            continue;
        }
        flip[start] = Some(false);
        let mut one_sided = false;
        let patch = reached(start, |t, queue| {
            for &(other, same_way) in across[t].iter().flatten() {
                let wanted = flip[t].map(|f| f != same_way);
                if flip[other].is_none() {
                    flip[other] = wanted;
                    queue.push_back(other);
                } else {
                    one_sided |= flip[other] != wanted;
                }
            }
        });
        let area = |flipped: bool| -> f64 {
            patch.iter().filter(|&&t| flip[t] == Some(flipped)).map(|&t| triangle_area(surface.corners(t))).sum()
        };
        let wrong = Some(area(true) <= area(false));
        let turned = patch.iter().copied().filter(|&t| flip[t] == wrong);
        if one_sided {
            // Where the two ways meet depends on where the walk began: those are no patches of the model.
            turning.one_sided += 1;
        } else {
            for t in turned.clone() {
                turning.in_patches += 1;
                if !std::mem::replace(&mut seen[t], true) {
                    turning.patches += 1;
                    reached(t, |t, queue| {
                        for &(other, _) in across[t].iter().flatten() {
                            if flip[other] == wrong && !std::mem::replace(&mut seen[other], true) {
                                queue.push_back(other);
                            }
                        }
                    });
                }
            }
        }
        turning.turned.extend(turned);
    }
    turning
}

/// What a walk from neighbour to neighbour reaches: `visit` puts the neighbours that are new into the queue.
fn reached(start: usize, mut visit: impl FnMut(usize, &mut VecDeque<usize>)) -> Vec<usize> {
    let (mut queue, mut reached) = (VecDeque::from([start]), Vec::new());
    while let Some(t) = queue.pop_front() {
        reached.push(t);
        visit(t, &mut queue);
    }
    reached
}

fn triangle_area([a, b, c]: [DVec3; 3]) -> f64 {
    (b - a).cross(c - a).length() / 2.0
}

/// Across each side of each triangle its one neighbour there; none where the edge has one triangle, or more than two.
fn neighbours(triangles: &[[u32; 3]], edges: &Edges) -> Vec<[Across; 3]> {
    let mut across = vec![[None; 3]; triangles.len()];
    for (low, pair) in edges
        .gather(|pairs: &mut Vec<(u32, [Side; 2])>, low, along| {
            if let &[a, b] = along {
                pairs.push((low, [a, b]));
            }
        })
        .into_iter()
        .flatten()
    {
        let [a, b] = pair;
        for (side, other) in [(a, b), (b, a)] {
            let from = if side.up() { low } else { side.high() };
            if let Some(at) = triangles[side.triangle()].iter().position(|&corner| corner == from) {
                across[side.triangle()][at] = Some((other.triangle(), a.up() == b.up()));
            }
        }
    }
    across
}
