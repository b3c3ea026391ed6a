//! The edges of a surface, each with the triangles that share it.
//!
//! Every side of every triangle goes into the bucket of its lower point, and each bucket is put in order: two passes over
//! the triangles and many tiny sorts in place of a large one. Several questions (where does the surface end, which
//! triangles are turned against their neighbours, which come twice) are then answered by one walk over the buckets.

use rayon::prelude::*;

/// One side of a triangle, as it lies in the bucket of its lower point: upper point, whether the triangle runs from the
/// lower to the upper one, and the triangle, in one number that sorts in this order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Side(u64);

/// Bit that says whether a triangle runs up along its side.
const UP: u64 = 1 << 31;

impl Side {
    fn new(high: u32, up: bool, triangle: usize) -> Self {
        Self(u64::from(high) << 32 | if up { UP } else { 0 } | triangle as u64)
    }

    /// The upper point of the edge.
    pub(crate) fn high(self) -> u32 {
        (self.0 >> 32) as u32
    }

    /// Whether the triangle runs from the lower point to the upper one.
    pub(crate) fn up(self) -> bool {
        self.0 & UP != 0
    }

    /// The triangle.
    pub(crate) fn triangle(self) -> usize {
        (self.0 & (UP - 1)) as usize
    }
}

/// The sides of all triangles by edge: by lower point, then by upper point. Triangles with two equal corners have none.
///
/// Takes 24 bytes a triangle and 4 bytes a point. Holds fewer than 2³¹ triangles, which would take 26 GB alone.
pub struct Edges {
    /// Sides whose lower point is `p`: `sides[starts[p]..starts[p + 1]]`.
    starts: Vec<u32>,
    sides: Vec<Side>,
}

/// Points whose buckets are worked on as one piece.
const PIECE: usize = 4096;

impl Edges {
    /// The edges of these triangles, whose corners are below `points`.
    #[must_use]
    pub fn of(triangles: &[[u32; 3]], points: usize) -> Self {
        let mut starts = vec![0u32; points + 1];
        for &[a, b, c] in triangles {
            if a != b && b != c && c != a {
                starts[a.min(b) as usize] += 1;
                starts[b.min(c) as usize] += 1;
                starts[c.min(a) as usize] += 1;
            }
        }
        // From counts to the ends of the buckets; filling them from behind leaves the starts.
        let mut end = 0;
        for start in &mut starts {
            end += *start;
            *start = end;
        }
        let mut sides = vec![Side(0); end as usize];
        for (t, &[a, b, c]) in triangles.iter().enumerate() {
            if a != b && b != c && c != a {
                for (from, to) in [(a, b), (b, c), (c, a)] {
                    let (low, high, up) = if from < to { (from, to, true) } else { (to, from, false) };
                    let at = &mut starts[low as usize];
                    *at -= 1;
                    sides[*at as usize] = Side::new(high, up, t);
                }
            }
        }
        let mut edges = Self { starts, sides };
        edges.sort_buckets();
        edges
    }

    fn sort_buckets(&mut self) {
        let mut rest = self.sides.as_mut_slice();
        let mut pieces = Vec::new();
        for starts in pieces_of(&self.starts) {
            let (piece, after) = rest.split_at_mut((starts[starts.len() - 1] - starts[0]) as usize);
            pieces.push((starts, piece));
            rest = after;
        }
        pieces.into_par_iter().for_each(|(starts, piece)| {
            for bucket in starts.windows(2) {
                piece[(bucket[0] - starts[0]) as usize..(bucket[1] - starts[0]) as usize].sort_unstable();
            }
        });
    }

    /// Walks over the edges on all threads. `visit` gets what was gathered so far in its piece, the lower point, and the
    /// sides along the edge, of which there is at least one; the pieces come back in the order of the points.
    pub(crate) fn gather<T: Default + Send>(&self, visit: impl Fn(&mut T, u32, &[Side]) + Sync) -> Vec<T> {
        pieces_of(&self.starts)
            .enumerate()
            .collect::<Vec<_>>()
            .into_par_iter()
            .map(|(piece, starts)| {
                let mut gathered = T::default();
                for (at, bucket) in starts.windows(2).enumerate() {
                    let low = (piece * PIECE + at) as u32;
                    for along in
                        self.sides[bucket[0] as usize..bucket[1] as usize].chunk_by(|a, b| a.high() == b.high())
                    {
                        visit(&mut gathered, low, along);
                    }
                }
                gathered
            })
            .collect()
    }
}

/// The starts of the buckets of so many points at a time, each piece with the end of its last one.
fn pieces_of(starts: &[u32]) -> impl Iterator<Item = &[u32]> {
    (0..starts.len() - 1).step_by(PIECE).map(|first| &starts[first..=(first + PIECE).min(starts.len() - 1)])
}
