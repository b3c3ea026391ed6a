//! Which patches of a model are inside out: each is turned so that its outside looks out.
//!
//! A model that was put together from parts may have whole parts turned the wrong way, which no neighbour tells. As Takayama,
//! Jacobson, Kavan & Sorkine-Hornung (2014, "A Simple Method for Correcting Facet Orientations in Polygon Meshes Based on
//! Ray Casting") do, rays decide: what is seen from outside shows its front. The rays are the lines of a lattice along each
//! axis, both ends of each line are seen from outside, and a patch is turned when more of them see its back than its front.
//!
//! A sheet that is seen from both sides, and a patch that is not seen from outside, such as the wall of a void, stay as they
//! are.

use glam::DVec3;
use rayon::prelude::*;

use super::chain::Patches;
use super::crossings::{Rule, crossings};

/// Lines along each axis, in each of the two directions across it.
const LINES: i32 = 256;
/// Triangles that one task sends through the lines.
const TASK: usize = 1 << 16;

/// How much more often each patch is seen from its front than from its back: negative for those that are inside out, 0 for
/// those that are not seen, or that are seen from both sides alike.
pub(super) fn votes(points: &[DVec3], triangles: &[[u32; 3]], patches: &Patches) -> Vec<i64> {
    let mut votes = vec![0i64; patches.count];
    for axis in 0..3 {
        for end in ends(points, triangles, axis).into_iter().flatten() {
            for (hit, front) in [(end.first, end.first.enters), (end.last, !end.last.enters)] {
                votes[patches.of[hit.triangle as usize] as usize] += if front { 1 } else { -1 };
            }
        }
    }
    votes
}

/// A triangle on a line.
#[derive(Clone, Copy)]
struct Hit {
    at: f64,
    triangle: u32,
    enters: bool,
}

/// The two ends of what a line meets.
#[derive(Clone, Copy)]
struct Ends {
    first: Hit,
    last: Hit,
}

impl Ends {
    /// Of equal places the lower triangle counts, so that no order of work matters.
    fn take_in(&mut self, other: Self) {
        let before = |a: Hit, b: Hit| a.at.total_cmp(&b.at).then(a.triangle.cmp(&b.triangle)).is_lt();
        if before(other.first, self.first) {
            self.first = other.first;
        }
        let after = |a: Hit, b: Hit| b.at.total_cmp(&a.at).then(a.triangle.cmp(&b.triangle)).is_lt();
        if after(other.last, self.last) {
            self.last = other.last;
        }
    }
}

/// The ends of each line along an axis, where it meets anything.
fn ends(points: &[DVec3], triangles: &[[u32; 3]], axis: usize) -> Vec<Option<Ends>> {
    // Turned so that the axis becomes x; an even permutation mirrors nothing.
    let turned = |p: DVec3| DVec3::new(p[axis], p[(axis + 1) % 3], p[(axis + 2) % 3]);
    let corners = |t: &[u32; 3]| t.map(|i| turned(points[i as usize]));
    let (lo, hi) = triangles
        .par_iter()
        .map(&corners)
        .fold(
            || (DVec3::INFINITY, DVec3::NEG_INFINITY),
            |(lo, hi), [a, b, c]| (lo.min(a).min(b).min(c), hi.max(a).max(b).max(c)),
        )
        .reduce(|| (DVec3::INFINITY, DVec3::NEG_INFINITY), |a, b| (a.0.min(b.0), a.1.max(b.1)));
    let rule = |lo: f64, hi: f64| Rule { origin: lo, step: (hi - lo) / f64::from(LINES), count: LINES };
    let (ys, zs) = (rule(lo.y, hi.y), rule(lo.z, hi.z));
    if !(ys.step > 0.0 && zs.step > 0.0 && ys.step.is_finite() && zs.step.is_finite()) {
        return Vec::new();
    }
    let none = || vec![None::<Ends>; (LINES * LINES) as usize];
    let take_in = |there: &mut Option<Ends>, ends: Ends| match there {
        Some(there) => there.take_in(ends),
        None => *there = Some(ends),
    };
    triangles
        .par_chunks(TASK)
        .enumerate()
        .fold(none, |mut all, (task, chunk)| {
            for (at, triangle) in chunk.iter().enumerate() {
                let number = (task * TASK + at) as u32;
                for crossing in crossings(corners(triangle), ys, zs) {
                    let hit = Hit { at: crossing.x, triangle: number, enters: crossing.enters };
                    let [j, k] = crossing.line;
                    take_in(&mut all[(k * LINES + j) as usize], Ends { first: hit, last: hit });
                }
            }
            all
        })
        .reduce(none, |mut all, other| {
            all.iter_mut().zip(other).filter_map(|(a, b)| Some((a, b?))).for_each(|(a, b)| take_in(a, b));
            all
        })
}
