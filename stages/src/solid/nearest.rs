//! How far a point is from a surface, exactly: triangles in the bins of a lattice, searched from the point outwards.
//!
//! Steps
//! 1. Each triangle is put into every bin that it passes through. Of a triangle wider than two bins these are found by
//!    cutting it into layers along z and each layer into rows along y; of a smaller one all bins of its box are taken.
//! 2. Bins are searched ring by ring around the point, on levels of growing coarseness; see `bins`.
//!
//! Guarantees, each with its test: the distance is that of brute force over all triangles, for points on and off the
//! lattice, on lattices of any fineness; memory is bounded by the number of triangles, whatever they look like, because
//! bins are made coarser until it is.
//!
//! Distances are exact up to rounding: 1e-9 of the surface's extent, for points within a thousand extents of it.
//! Coordinates must be below 1e150, so that squares are finite.

use std::sync::atomic::{AtomicUsize, Ordering};

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use super::bins::{Bin, Bins, SLACK, blocks};
use super::{Grid, Surface};

/// Triangles that one task puts into bins.
const TASK: usize = 4096;

/// Most bins, of which each takes a bit and a half.
const MOST_BINS: f64 = (1u64 << 28) as f64;

/// Most entries of triangles in bins: so many for each triangle, and so many besides for few triangles that are large.
/// Scans of finely meshed surfaces take about two for each triangle.
const ENTRIES_A_TRIANGLE: usize = 8;
const ENTRIES_BESIDES: usize = 1 << 18;

/// The triangles of a surface in bins.
#[derive(Clone, Debug)]
pub struct Nearest<'a> {
    surface: &'a Surface,
    /// Which bins are occupied.
    bins: Bins,
    /// Occupied bins before each word.
    ranks: Vec<u32>,
    /// The triangles of occupied bin `n`: `entries[starts[n]..starts[n + 1]]`.
    starts: Vec<u32>,
    entries: Vec<u32>,
}

impl<'a> Nearest<'a> {
    /// Puts the triangles into bins as wide as the grid's cells, or wider where that would take too much memory. The grid
    /// need not hold the surface.
    #[must_use]
    pub fn new(surface: &'a Surface, grid: Grid) -> Self {
        let [low, high] = surface.bounds().unwrap_or_default();
        let mut lattice = Lattice::over(low, high, grid.cell);
        let most = ENTRIES_A_TRIANGLE * surface.triangles().len() + ENTRIES_BESIDES;
        let parts = loop {
            if let Some(parts) = lattice.occupied_by(surface, most) {
                break parts;
            }
            lattice = Lattice::over(low, high, lattice.edge * 2.0);
        };
        let occupied = parts.iter().flatten().map(|&(bin, _)| bin);
        let bins = Bins::listed(lattice.low, lattice.edge, lattice.counts, occupied);
        let words = bins.words();
        let mut ranks = Vec::with_capacity(words.len());
        let mut occupied = 0;
        for word in words {
            ranks.push(occupied);
            occupied += word.count_ones();
        }
        let rank = |bin: Bin| ranks[bin.word as usize] + (words[bin.word as usize] & bin.below()).count_ones();

        // A counting sort: how many in each bin, where each begins, and each entry to its place.
        let mut starts = vec![0u32; occupied as usize + 1];
        for &(bin, _) in parts.iter().flatten() {
            starts[rank(bin) as usize + 1] += 1;
        }
        for n in 0..occupied as usize {
            starts[n + 1] += starts[n];
        }
        let mut next = starts.clone();
        let mut entries = vec![0u32; starts[occupied as usize] as usize];
        for &(bin, triangle) in parts.iter().flatten() {
            let place = &mut next[rank(bin) as usize];
            entries[*place as usize] = triangle;
            *place += 1;
        }
        Self { surface, bins, ranks, starts, entries }
    }

    /// The distance in mm from a point to the closest triangle, if that is at most `at_most`.
    #[must_use]
    pub fn within(&self, point: DVec3, at_most: f64) -> Option<f64> {
        self.search(point, at_most, 0.0).map(f64::sqrt)
    }

    /// Whether a triangle comes within `radius` mm of a point.
    #[must_use]
    pub fn any_within(&self, point: DVec3, radius: f64) -> bool {
        self.search(point, radius, radius).is_some()
    }

    /// The squared distance to the closest triangle, if at most `at_most²`; or to any that is no farther than `enough`.
    fn search(&self, point: DVec3, at_most: f64, enough: f64) -> Option<f64> {
        self.bins.search(point, at_most, enough, |bin| {
            let triangles = self.triangles(Bin::of(bin, self.bins.blocks())).iter();
            let squared = |&triangle: &u32| squared_distance(point, self.surface.corners(triangle as usize));
            triangles.map(squared).fold(f64::INFINITY, f64::min)
        })
    }

    /// The triangles in a bin, which must be occupied.
    fn triangles(&self, bin: Bin) -> &[u32] {
        let rank = self.ranks[bin.word as usize] + (self.bins.words()[bin.word as usize] & bin.below()).count_ones();
        &self.entries[self.starts[rank as usize] as usize..self.starts[rank as usize + 1] as usize]
    }
}

/// Where the bins lie.
#[derive(Clone, Copy, Debug)]
struct Lattice {
    low: DVec3,
    /// Edge of a bin, in mm.
    edge: f64,
    counts: IVec3,
}

impl Lattice {
    /// Bins over a box, as wide as `edge` or wider by a power of two.
    fn over(low: DVec3, high: DVec3, mut edge: f64) -> Self {
        loop {
            let counts = ((high - low) / edge).floor() + 1.0;
            if !counts.is_finite() && edge > f64::MAX / 4.0 {
                // A box wider than any number: all is one bin.
                return Self { low, edge, counts: IVec3::ONE };
            }
            if counts.element_product() <= MOST_BINS {
                return Self { low, edge, counts: counts.as_ivec3() };
            }
            edge *= 2.0;
        }
    }

    /// The bin that holds a point, or the nearest to it.
    fn bin(&self, point: DVec3) -> IVec3 {
        ((point - self.low) / self.edge).floor().as_ivec3().clamp(IVec3::ZERO, self.counts - 1)
    }

    /// Blocks along each axis.
    fn blocks(&self) -> IVec3 {
        blocks(self.counts)
    }

    /// The triangles with the bins that they pass through, in the order of triangles; `None` if those are more than
    /// `most` in all.
    fn occupied_by(&self, surface: &Surface, most: usize) -> Option<Vec<Vec<(Bin, u32)>>> {
        let total = AtomicUsize::new(0);
        surface
            .triangles()
            .par_chunks(TASK)
            .enumerate()
            .map(|(part, triangles)| {
                let mut entries = Vec::with_capacity(2 * triangles.len());
                for at in 0..triangles.len() {
                    let triangle = part * TASK + at;
                    let before = entries.len();
                    // The last one may go far beyond: a triangle that is too large by itself is stopped on the way.
                    let room = most.saturating_sub(before);
                    self.bins_of(surface.corners(triangle), room, |bin| {
                        entries.push((Bin::of(bin, self.blocks()), triangle as u32));
                    });
                    // Whether the limit is passed depends on the whole sum alone, not on who adds first.
                    let added = entries.len() - before;
                    if total.fetch_add(added, Ordering::Relaxed) + added > most {
                        return None;
                    }
                }
                Some(entries)
            })
            .collect()
    }

    /// Calls `take` with every bin that a triangle passes through, and perhaps with some that it only comes near to; stops
    /// soon after `room` bins.
    fn bins_of(&self, corners: [DVec3; 3], room: usize, mut take: impl FnMut(IVec3)) {
        let [a, b, c] = corners;
        let (low, high) = (self.bin(a.min(b).min(c)), self.bin(a.max(b).max(c)));
        if (high - low).max_element() < 2 {
            for z in low.z..=high.z {
                for y in low.y..=high.y {
                    (low.x..=high.x).for_each(|x| take(IVec3::new(x, y, z)));
                }
            }
            return;
        }
        // In bins from the lattice's corner.
        let corners = corners.map(|corner| (corner - self.low) / self.edge);
        let whole = Outline::of(&corners);
        let slack = SLACK * (1.0 + self.counts.as_dvec3().max_element());
        let mut taken = 0;
        for z in low.z..=high.z {
            let layer = whole.between(2, f64::from(z) - slack, f64::from(z + 1) + slack);
            let Some((first, last)) = layer.span(1, slack, low.y, high.y) else { continue };
            for y in first..=last {
                let row = layer.between(1, f64::from(y) - slack, f64::from(y + 1) + slack);
                let Some((first, last)) = row.span(0, slack, low.x, high.x) else { continue };
                (first..=last).for_each(|x| take(IVec3::new(x, y, z)));
                taken += (last - first + 1) as usize;
                if taken > room {
                    return;
                }
            }
        }
    }
}

/// A convex polygon: a triangle cut by up to four planes.
#[derive(Clone, Copy)]
struct Outline {
    points: [DVec3; 7],
    count: usize,
}

impl Outline {
    fn of(points: &[DVec3]) -> Self {
        let mut outline = Self { points: [DVec3::ZERO; 7], count: points.len() };
        outline.points[..points.len()].copy_from_slice(points);
        outline
    }

    /// What lies between two planes across an axis.
    fn between(&self, axis: usize, low: f64, high: f64) -> Self {
        self.beyond(|p| p[axis] - low).beyond(|p| high - p[axis])
    }

    /// What lies on the side of a plane on which `height` is not negative.
    fn beyond(&self, height: impl Fn(DVec3) -> f64) -> Self {
        let mut kept = Self { points: [DVec3::ZERO; 7], count: 0 };
        let mut keep = |point| {
            // A convex polygon gains one corner at most from a cut; rounding may not make it more.
            if kept.count < kept.points.len() {
                kept.points[kept.count] = point;
                kept.count += 1;
            }
        };
        for n in 0..self.count {
            let (p, q) = (self.points[n], self.points[(n + 1) % self.count]);
            let (hp, hq) = (height(p), height(q));
            if hp >= 0.0 {
                keep(p);
            }
            if (hp >= 0.0) != (hq >= 0.0) {
                keep(p.lerp(q, hp / (hp - hq)));
            }
        }
        kept
    }

    /// The bins that it spans along an axis, of those from `first` to `last`.
    fn span(&self, axis: usize, slack: f64, first: i32, last: i32) -> Option<(i32, i32)> {
        let along = self.points[..self.count].iter().map(|p| p[axis]);
        let (low, high) = along.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
        let (from, to) = (((low - slack).floor() as i32).max(first), ((high + slack).floor() as i32).min(last));
        (self.count > 0 && from <= to).then_some((from, to))
    }
}

/// The squared distance from a point to a triangle: to its plane if the point lies above it, and otherwise to the nearest
/// of its edges (the regions of Ericson, Real-Time Collision Detection, 2005, 5.1.5). Distances are taken to points of
/// the triangle, so that needles, whose planes are uncertain, give no distance that is too small.
pub(super) fn squared_distance(point: DVec3, [a, b, c]: [DVec3; 3]) -> f64 {
    let (ab, ac, ap) = (b - a, c - a, point - a);
    let normal = ab.cross(ac);
    let area = normal.length_squared();
    let (to_b, to_c) = (ap.cross(ac).dot(normal), ab.cross(ap).dot(normal));
    let longest = ab.length_squared().max(ac.length_squared());
    // The needle whose height is a billionth of its length is taken for its edges.
    if to_b >= 0.0 && to_c >= 0.0 && to_b + to_c <= area && area > 1e-18 * longest * longest {
        return (ap - (to_b * ab + to_c * ac) / area).length_squared();
    }
    let to_edge = |from: DVec3, along: DVec3| {
        let share = from.dot(along) / along.length_squared();
        // An edge without length has no direction: its share is no number, which counts as its beginning.
        (from - share.clamp(0.0, 1.0).max(0.0) * along).length_squared()
    };
    to_edge(ap, ab).min(to_edge(ap, ac)).min(to_edge(point - b, c - b))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;
