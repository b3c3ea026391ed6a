//! The mesh as it was read, and how its triangles hang together.

use glam::DVec3;
use rayon::prelude::*;

use crate::Srgb;
use crate::formats::threemf::read::Model;

/// No half-edge.
pub(super) const NONE: u32 = u32::MAX;

/// The mesh of the ordered file, without its colours.
pub(super) struct Mesh {
    pub(super) points: Vec<DVec3>,
    pub(super) triangles: Vec<[u32; 3]>,
}

/// The mesh with its colours.
pub(super) struct Coloured {
    pub(super) mesh: Mesh,
    /// The colour of each triangle, where it has one.
    pub(super) colours: Vec<Option<Srgb>>,
}

impl From<Model> for Coloured {
    fn from(model: Model) -> Self {
        Self { mesh: Mesh { points: model.points, triangles: model.triangles }, colours: model.colours }
    }
}

impl Mesh {
    pub(super) fn corners(&self, t: usize) -> [DVec3; 3] {
        self.triangles[t].map(|i| self.points[i as usize])
    }

    /// The normal with twice the triangle's area as its length.
    pub(super) fn cross(&self, t: usize) -> DVec3 {
        let [a, b, c] = self.corners(t);
        (b - a).cross(c - a)
    }

    pub(super) fn area(&self, t: usize) -> f64 {
        self.cross(t).length() / 2.0
    }

    pub(super) fn centroid(&self, t: usize) -> DVec3 {
        let [a, b, c] = self.corners(t);
        (a + b + c) / 3.0
    }

    /// The two ends of a half-edge.
    pub(super) fn ends(&self, half: u32) -> [DVec3; 2] {
        let corners = self.corners(half as usize / 3);
        let from = half as usize % 3;
        [corners[from], corners[(from + 1) % 3]]
    }

    /// For each point the first one that lies at exactly the same place.
    pub(super) fn welded(&self) -> Vec<u32> {
        // Adding zero makes -0 and 0 one number.
        let key = |i: u32| (self.points[i as usize] + 0.0).to_array().map(f64::to_bits);
        let mut order: Vec<u32> = (0..self.points.len() as u32).collect();
        order.par_sort_unstable_by_key(|&i| (key(i), i));
        let mut first = vec![0; order.len()];
        for run in order.chunk_by(|&a, &b| key(a) == key(b)) {
            for &i in run {
                first[i as usize] = run[0];
            }
        }
        first
    }
}

/// How triangles hang together. Half-edge `3 t + i` runs from corner `i` of triangle `t` to its next corner.
pub(super) struct Topology {
    /// For each half-edge the one across it, or [`NONE`] unless exactly two triangles share the edge.
    pub(super) twin: Vec<u32>,
    /// A half-edge of each edge with one triangle only.
    pub(super) open: Vec<u32>,
    /// A half-edge of each edge with more than two triangles.
    pub(super) crowded: Vec<u32>,
    /// A half-edge of each edge along which two triangles run in the same direction.
    pub(super) misturned: Vec<u32>,
    /// Number of edges.
    pub(super) edges: usize,
}

impl Topology {
    pub(super) fn new(triangles: &[[u32; 3]]) -> Self {
        let ends = |half: u32| {
            let triangle = triangles[half as usize / 3];
            let from = half as usize % 3;
            [triangle[from], triangle[(from + 1) % 3]]
        };
        let mut halves: Vec<(u64, u32)> = (0..triangles.len() as u32 * 3)
            .map(|half| {
                let [a, b] = ends(half);
                (u64::from(a.min(b)) << 32 | u64::from(a.max(b)), half)
            })
            .collect();
        halves.par_sort_unstable();
        let mut topology = Self {
            twin: vec![NONE; halves.len()],
            open: Vec::new(),
            crowded: Vec::new(),
            misturned: Vec::new(),
            edges: 0,
        };
        for edge in halves.chunk_by(|a, b| a.0 == b.0) {
            topology.edges += 1;
            match *edge {
                [(_, half)] => topology.open.push(half),
                [(_, a), (_, b)] => {
                    topology.twin[a as usize] = b;
                    topology.twin[b as usize] = a;
                    if ends(a) == ends(b) {
                        topology.misturned.push(a);
                    }
                }
                _ => topology.crowded.push(edge[0].1),
            }
        }
        topology
    }

    /// Whether every edge has two triangles that run along it in opposite directions.
    pub(super) fn is_closed(&self) -> bool {
        self.open.is_empty() && self.crowded.is_empty() && self.misturned.is_empty()
    }

    /// Marks in `reached` the triangles that can be reached from `start`, going only over half-edges that `pass`.
    pub(super) fn flood(&self, start: usize, reached: &mut [bool], pass: impl Fn(u32) -> bool) {
        let mut ahead = vec![start];
        reached[start] = true;
        while let Some(t) = ahead.pop() {
            for half in 3 * t as u32..3 * t as u32 + 3 {
                let across = self.twin[half as usize];
                if across == NONE {
                    continue;
                }
                let next = across as usize / 3;
                if !reached[next] && pass(half) {
                    reached[next] = true;
                    ahead.push(next);
                }
            }
        }
    }

    /// For each triangle the number of its connected part, counted from 0 in the order of the first triangles.
    pub(super) fn parts(&self) -> (Vec<u32>, usize) {
        let mut part = vec![NONE; self.twin.len() / 3];
        let mut count = 0;
        let mut ahead = Vec::new();
        for start in 0..part.len() {
            if part[start] != NONE {
                continue;
            }
            part[start] = count;
            ahead.push(start);
            while let Some(t) = ahead.pop() {
                for &across in &self.twin[3 * t..3 * t + 3] {
                    if across != NONE && part[across as usize / 3] == NONE {
                        part[across as usize / 3] = count;
                        ahead.push(across as usize / 3);
                    }
                }
            }
            count += 1;
        }
        (part, count as usize)
    }
}
