//! The edges of a set of triangles, and which triangles lie on each: what tells holes, neighbours and patches.
//!
//! Edges are gathered under their lower point by counting, as in a sparse matrix by rows, and sorted within each point
//! alone: two passes over the triangles and no sort of all of them.

use rayon::prelude::*;

/// Every edge of some triangles. Triangles with two equal corners have none.
#[derive(Clone, Debug)]
pub struct Edges {
    /// The uses of edges whose lower point is `p` are `uses[starts[p]..starts[p + 1]]`.
    starts: Vec<usize>,
    uses: Vec<Use>,
}

/// A triangle on an edge, under the edge's lower point.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
struct Use {
    high: u32,
    triangle: u32,
}

/// Points under which one task sorts, or looks for edges.
const TASK: usize = 1 << 12;

impl Edges {
    /// Gathers the edges of triangles, given as indices of points.
    ///
    /// # Panics
    /// If there are more triangles than 32 bits count.
    #[must_use]
    pub fn of(triangles: &[[u32; 3]]) -> Self {
        assert!(u32::try_from(triangles.len()).is_ok(), "32 bits count triangles");
        let points = triangles.iter().flatten().max().map_or(0, |&p| p as usize + 1);
        let mut starts = vec![0usize; points + 1];
        for (low, _) in triangles.iter().flat_map(|&t| sides(t)) {
            starts[low as usize + 1] += 1;
        }
        for p in 0..points {
            starts[p + 1] += starts[p];
        }
        let mut next = starts.clone();
        let mut uses = vec![Use::default(); starts[points]];
        for (t, &triangle) in triangles.iter().enumerate() {
            for (low, high) in sides(triangle) {
                uses[next[low as usize]] = Use { high, triangle: t as u32 };
                next[low as usize] += 1;
            }
        }
        sort_each(&starts, &mut uses);
        Self { starts, uses }
    }

    /// What `each` gives for the edges, in the order of their lower and higher points, on all threads. It is given both
    /// points and the triangles on the edge in order of their numbers.
    pub fn map<T: Send>(&self, each: impl Fn(u32, u32, Triangles<'_>) -> Option<T> + Sync) -> Vec<T> {
        let points = self.starts.len() - 1;
        let tasks: Vec<usize> = (0..points).step_by(TASK).collect();
        tasks
            .into_par_iter()
            .flat_map_iter(|first| {
                (first..points.min(first + TASK)).flat_map(|low| {
                    let each = &each;
                    let edges = self.uses[self.starts[low]..self.starts[low + 1]].chunk_by(|a, b| a.high == b.high);
                    edges.filter_map(move |uses| each(low as u32, uses[0].high, Triangles(uses)))
                })
            })
            .collect()
    }
}

/// The triangles on one edge.
#[derive(Clone, Copy)]
pub struct Triangles<'a>(&'a [Use]);

impl Triangles<'_> {
    /// Their numbers, in order.
    pub fn iter(&self) -> impl Iterator<Item = u32> + '_ {
        self.0.iter().map(|each| each.triangle)
    }

    /// The two triangles on an edge that has just two.
    #[must_use]
    pub fn pair(&self) -> Option<[u32; 2]> {
        match self.0 {
            [a, b] => Some([a.triangle, b.triangle]),
            _ => None,
        }
    }
}

/// Whether a triangle runs along one of its edges from the lower point to the higher.
#[must_use]
pub fn runs_up([a, b, c]: [u32; 3], low: u32, high: u32) -> bool {
    (a, b) == (low, high) || (b, c) == (low, high) || (c, a) == (low, high)
}

/// The sides of a triangle as lower and higher point; none of one with equal corners.
fn sides([a, b, c]: [u32; 3]) -> impl Iterator<Item = (u32, u32)> {
    let proper = a != b && b != c && c != a;
    [(a, b), (b, c), (c, a)].into_iter().filter(move |_| proper).map(|(p, q)| (p.min(q), p.max(q)))
}

/// Sorts the uses under each point, on all threads: in halves until a task is small.
fn sort_each(starts: &[usize], uses: &mut [Use]) {
    let points = starts.len() - 1;
    if points > TASK {
        let middle = points / 2;
        let (left, right) = uses.split_at_mut(starts[middle] - starts[0]);
        rayon::join(|| sort_each(&starts[..=middle], left), || sort_each(&starts[middle..], right));
        return;
    }
    for p in 0..points {
        uses[starts[p] - starts[0]..starts[p + 1] - starts[0]].sort_unstable();
    }
}
