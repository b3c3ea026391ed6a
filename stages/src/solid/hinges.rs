//! Cells on which parts of a solid hang: those without which the solid, joined by faces, would fall apart.
//!
//! In a graph they are its *articulation points*, found by one depth-first search (Hopcroft & Tarjan 1973). A solid has too
//! many cells for that, so the search runs over a small graph:
//! 1. Only a cell whose face neighbours do not hang together within the 18 cells that share a face or an edge with it can
//!    be an articulation point: the others leave a way round. Those are the *hinges*; a thick solid has few.
//! 2. The rest of the solid is taken apart into its components. They and the hinges are the nodes of the graph. Merging
//!    nodes that hang together without a cell changes nothing about whether the graph falls apart without it.
//!
//! Time grows with the number of cells, memory with the surface; the search keeps its own stack.
//!
//! Guarantees (`tests`): the cells found are exactly those whose removal leaves more pieces, and what hangs on each is
//! counted cell by cell.

use std::ops::Range;

use glam::{DVec3, IVec3};

use super::{Cells, Components, Neighbours, bits};
use crate::Side;

/// What hangs on a cell: everything that falls off without it but the largest piece.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    /// How many cells.
    pub cells: usize,
    /// The mean of their middles, in cells from the lowest corner of the grid.
    pub centre: DVec3,
    /// Lowest and highest cell of a box that holds them.
    pub within: [IVec3; 2],
}

/// The cells on which parts of a solid hang, and what hangs on them.
pub struct Hinges {
    graph: Graph,
    walk: Walk,
    found: Vec<Hinge>,
}

/// A cell on which a part of the solid hangs.
#[derive(Clone, Debug, PartialEq)]
pub struct Hinge {
    /// The cell.
    pub cell: IVec3,
    /// What hangs on it.
    pub load: Load,
    /// The nodes that hang on it, as places in the order of the walk.
    spans: Vec<Range<u32>>,
}

impl Hinges {
    /// Finds them.
    #[must_use]
    pub fn of(cells: &Cells) -> Self {
        let graph = Graph::of(cells);
        let walk = Walk::through(&graph);
        let found = walk.hinges(&graph);
        Self { graph, walk, found }
    }

    /// The cells, z slowest, x fastest.
    #[must_use]
    pub fn found(&self) -> &[Hinge] {
        &self.found
    }

    /// The farthest of the cells that hang on a hinge.
    #[must_use]
    pub fn farthest(&self, hinge: &Hinge) -> IVec3 {
        let hangs = |node: usize| {
            let place = self.walk.place[node];
            self.graph.cell(node) != Some(hinge.cell) && hinge.spans.iter().any(|span| span.contains(&place))
        };
        let mut farthest = hinge.cell;
        let mut look = |cell: IVec3| {
            if squared(cell - hinge.cell) > squared(farthest - hinge.cell) {
                farthest = cell;
            }
        };
        // The farthest cell of a row is one of its ends.
        for (_, ends) in self.graph.bulk.rows().filter(|&(label, _)| hangs(label)) {
            ends.into_iter().for_each(&mut look);
        }
        let loose = self.graph.bulk.len();
        (loose..self.graph.len()).filter(|&node| hangs(node)).filter_map(|node| self.graph.cell(node)).for_each(look);
        farthest
    }
}

fn squared(step: IVec3) -> i64 {
    step.as_i64vec3().length_squared()
}

/// What a node, or several, weigh and reach.
#[derive(Clone, Copy)]
struct Bulk {
    cells: i64,
    /// Sum of their coordinates.
    sum: glam::I64Vec3,
    low: IVec3,
    high: IVec3,
}

impl Bulk {
    const NONE: Self = Self { cells: 0, sum: glam::I64Vec3::ZERO, low: IVec3::MAX, high: IVec3::MIN };

    /// A row of cells along x.
    fn row([first, last]: [IVec3; 2]) -> Self {
        let cells = i64::from(last.x - first.x) + 1;
        let mut sum = first.as_i64vec3() * cells;
        sum.x = (i64::from(first.x) + i64::from(last.x)) * cells / 2;
        Self { cells, sum, low: first, high: last }
    }

    fn with(self, other: Self) -> Self {
        Self {
            cells: self.cells + other.cells,
            sum: self.sum + other.sum,
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    /// As far as cells go; the box stays.
    fn without(self, other: Self) -> Self {
        Self { cells: self.cells - other.cells, sum: self.sum - other.sum, ..self }
    }

    fn load(self) -> Load {
        Load {
            cells: self.cells as usize,
            centre: self.sum.as_dvec3() / self.cells.max(1) as f64 + 0.5,
            within: [self.low, self.high],
        }
    }
}

/// The components of the solid without the cells that may be hinges, then those cells.
struct Graph {
    bulk: Components,
    /// In grid order.
    cells: Vec<IVec3>,
    /// What each node weighs.
    weight: Vec<Bulk>,
    /// The neighbours of node `n`: `links[starts[n]..starts[n + 1]]`.
    links: Vec<u32>,
    starts: Vec<u32>,
}

impl Graph {
    fn of(solid: &Cells) -> Self {
        let may = may_be_hinges(solid);
        let cells: Vec<IVec3> = may.iter().collect();
        let bulk = Components::of(&solid.minus(&may), Neighbours::Faces);
        let mut weight = vec![Bulk::NONE; bulk.len()];
        for (label, ends) in bulk.rows() {
            weight[label] = weight[label].with(Bulk::row(ends));
        }
        weight.extend(cells.iter().map(|&cell| Bulk::row([cell; 2])));

        let node = |cell: IVec3| -> Option<u32> {
            let among = cells.binary_search_by_key(&order(cell), |&c| order(c)).ok().map(|at| at + bulk.len());
            among.or_else(|| bulk.at(cell)).map(|node| node as u32)
        };
        let mut pairs = Vec::new();
        for (at, &cell) in cells.iter().enumerate() {
            let own = (bulk.len() + at) as u32;
            for other in Side::ALL.into_iter().filter_map(|side| node(cell + side.step())) {
                pairs.extend([[own, other], [other, own]]);
            }
        }
        pairs.sort_unstable();
        pairs.dedup();
        let mut starts = vec![0; weight.len() + 1];
        for pair in &pairs {
            starts[pair[0] as usize + 1] += 1;
        }
        for n in 0..weight.len() {
            starts[n + 1] += starts[n];
        }
        Self { bulk, cells, weight, links: pairs.into_iter().map(|[_, to]| to).collect(), starts }
    }

    fn len(&self) -> usize {
        self.weight.len()
    }

    /// The cell of a node that is one.
    fn cell(&self, node: usize) -> Option<IVec3> {
        node.checked_sub(self.bulk.len()).map(|at| self.cells[at])
    }
}

/// z slowest, x fastest.
fn order(cell: IVec3) -> [i32; 3] {
    [cell.z, cell.y, cell.x]
}

/// A depth-first walk through every node.
struct Walk {
    /// The nodes in the order in which they were met.
    order: Vec<u32>,
    /// The place of each node in that order.
    place: Vec<u32>,
    /// For each node the earliest place that it or anything met after it from there reaches by one link back.
    back: Vec<u32>,
    /// For each node the one from which it was met; itself for the first of a piece.
    from: Vec<u32>,
    /// For each node the place past the last that was met from it on.
    past: Vec<u32>,
}

impl Walk {
    fn through(graph: &Graph) -> Self {
        const UNMET: u32 = u32::MAX;
        let n = graph.len();
        let mut walk = Self {
            order: Vec::with_capacity(n),
            place: vec![UNMET; n],
            back: vec![UNMET; n],
            from: vec![UNMET; n],
            past: vec![0; n],
        };
        let mut next = graph.starts[..n].to_vec();
        for root in 0..n as u32 {
            if walk.place[root as usize] != UNMET {
                continue;
            }
            walk.meet(root, root);
            let mut at = root;
            loop {
                let node = at as usize;
                if next[node] < graph.starts[node + 1] {
                    let to = graph.links[next[node] as usize];
                    next[node] += 1;
                    if walk.place[to as usize] == UNMET {
                        walk.meet(to, at);
                        at = to;
                    } else {
                        walk.back[node] = walk.back[node].min(walk.place[to as usize]);
                    }
                    continue;
                }
                walk.past[node] = walk.order.len() as u32;
                if at == root {
                    break;
                }
                at = walk.from[node];
                walk.back[at as usize] = walk.back[at as usize].min(walk.back[node]);
            }
        }
        walk
    }

    fn meet(&mut self, node: u32, from: u32) {
        let place = self.order.len() as u32;
        self.order.push(node);
        (self.place[node as usize], self.back[node as usize], self.from[node as usize]) = (place, place, from);
    }

    /// The nodes that are cells and articulation points, with what hangs on them.
    fn hinges(&self, graph: &Graph) -> Vec<Hinge> {
        let weight = |place: usize| graph.weight[self.order[place] as usize];
        // What hangs below each node, and what lies before and from each place on.
        let mut below: Vec<Bulk> = graph.weight.clone();
        for &node in self.order.iter().rev() {
            let (node, from) = (node as usize, self.from[node as usize] as usize);
            if from != node {
                below[from] = below[from].with(below[node]);
            }
        }
        let mut before = vec![Bulk::NONE; self.order.len() + 1];
        let mut after = before.clone();
        let (mut root, mut roots) = (0, Vec::with_capacity(self.order.len()));
        for place in 0..self.order.len() {
            let node = self.order[place] as usize;
            if self.from[node] as usize == node {
                root = node;
            }
            roots.push(root);
            // Nothing of other pieces counts.
            let earlier = if root == node { Bulk::NONE } else { before[place] };
            before[place + 1] = earlier.with(weight(place));
        }
        for place in (0..self.order.len()).rev() {
            let ends = place + 1 == self.past[roots[place]] as usize;
            after[place] = weight(place).with(if ends { Bulk::NONE } else { after[place + 1] });
        }

        let hinge = |node: usize| -> Option<Hinge> {
            let cell = graph.cell(node)?;
            let place = self.place[node];
            let root = roots[place as usize];
            let links = &graph.links[graph.starts[node] as usize..graph.starts[node + 1] as usize];
            let mut parts: Vec<usize> = links
                .iter()
                .map(|&to| to as usize)
                .filter(|&to| self.from[to] as usize == node && to != root && self.back[to] >= place)
                .collect();
            parts.sort_unstable_by_key(|&part| self.place[part]);
            let all = below[root].without(graph.weight[node]);
            let off = parts.iter().fold(Bulk::NONE, |off, &part| off.with(below[part]));
            let rest = all.cells - off.cells;
            let span = |part: usize| self.place[part]..self.past[part];
            // The largest piece holds the others; of equals the one that was met first.
            let largest = parts.iter().copied().reduce(|a, b| if below[b].cells > below[a].cells { b } else { a })?;
            if rest >= below[largest].cells {
                return Some(Hinge { cell, load: off.load(), spans: parts.into_iter().map(span).collect() });
            }
            if parts.len() == 1 && rest == 0 {
                return None;
            }
            let held = span(largest);
            let first = self.place[root];
            let ends = self.past[root];
            let around =
                before[held.start as usize].with(if held.end == ends { Bulk::NONE } else { after[held.end as usize] });
            let hanging = Bulk { low: around.low, high: around.high, ..all.without(below[largest]) };
            Some(Hinge { cell, load: hanging.load(), spans: vec![first..held.start, held.end..ends] })
        };
        (graph.bulk.len()..graph.len()).filter_map(hinge).collect()
    }
}

/// The solid cells whose face neighbours do not hang together within the 18 cells that share a face or an edge.
fn may_be_hinges(solid: &Cells) -> Cells {
    let IVec3 { y: ny, z: nz, .. } = solid.grid().counts;
    Cells::from_lines(*solid.grid(), |j, k, words| {
        let line = |dj: i32, dk: i32| -> &[u64] {
            let (j, k) = (j + dj, k + dk);
            if (0..ny).contains(&j) && (0..nz).contains(&k) { solid.line(j, k) } else { &[] }
        };
        let own = line(0, 0);
        let beside = [line(-1, 0), line(1, 0), line(0, -1), line(0, 1)];
        let diagonal = [line(-1, -1), line(1, -1), line(-1, 1), line(1, 1)];
        for (w, word) in words.iter_mut().enumerate() {
            // The 18 neighbours of 64 cells at once; most cells of a thick solid have them all, and are no hinges.
            let all = |all: u64, line: &&[u64]| all & near(line, w) & left(line, w) & right(line, w);
            let full = beside.iter().fold(left(own, w) & right(own, w), all);
            let full = diagonal.iter().fold(full, |full, line| full & near(line, w));
            for bit in bits(own[w] & !full) {
                let cell = IVec3::new(w as i32 * 64 + bit, j, k);
                *word |= u64::from(parts_neighbours(solid, cell)) << bit;
            }
        }
    })
}

/// The cells of a word of a line.
fn near(line: &[u64], w: usize) -> u64 {
    line.get(w).copied().unwrap_or(0)
}

/// Their neighbours towards −x.
fn left(line: &[u64], w: usize) -> u64 {
    near(line, w) << 1 | w.checked_sub(1).map_or(0, |before| near(line, before) >> 63)
}

/// Their neighbours towards +x.
fn right(line: &[u64], w: usize) -> u64 {
    near(line, w) >> 1 | near(line, w + 1) << 63
}

/// Whether a cell's face neighbours hang together only through it, as far as the cells beside it tell.
fn parts_neighbours(solid: &Cells, cell: IVec3) -> bool {
    let faces: Vec<IVec3> = Side::ALL.iter().map(|side| side.step()).filter(|&s| solid.solid(cell + s)).collect();
    let Some(&first) = faces.first() else { return false };
    let (mut met, mut todo) = (vec![first], vec![first]);
    while let Some(a) = todo.pop() {
        for &b in &faces {
            if !met.contains(&b) && a + b != IVec3::ZERO && solid.solid(cell + a + b) {
                met.push(b);
                todo.push(b);
            }
        }
    }
    met.len() < faces.len()
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::solid::samples::{grid, listed, random_solid};

    /// Takes the cell away and looks at what is left of its piece: the definition.
    fn hangs_on(solid: &Cells, cell: IVec3) -> Option<Cells> {
        let pieces = Components::of(solid, Neighbours::Faces);
        let own = pieces.at(cell).unwrap();
        let mut rest = pieces.cells_where(|at| at == own);
        rest.set(cell, false);
        let parts = Components::of(&rest, Neighbours::Faces);
        let largest = parts.largest()?;
        (parts.len() > 1).then(|| parts.cells_where(|at| at != largest))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(100))]
        #[test]
        fn hinges_are_the_cells_without_which_a_piece_falls_apart(cells in random_solid()) {
            let hinges = Hinges::of(&cells);
            let mut found = hinges.found().iter().peekable();
            for cell in cells.iter() {
                let Some(hanging) = hangs_on(&cells, cell) else {
                    prop_assert!(found.peek().is_none_or(|hinge| hinge.cell != cell), "{} is no hinge", cell);
                    continue;
                };
                let hinge = found.next().unwrap();
                prop_assert_eq!(hinge.cell, cell);
                prop_assert_eq!(hinge.load.cells, hanging.count());
                let far = |c: IVec3| squared(c - cell);
                let farthest = hinges.farthest(hinge);
                // Of pieces as large as each other any may hold the others.
                let pieces = Components::of(&cells, Neighbours::Faces);
                let mut rest = pieces.cells_where(|at| at == pieces.at(cell).unwrap());
                rest.set(cell, false);
                let parts = Components::of(&rest, Neighbours::Faces);
                let most = parts.sizes().iter().max();
                if parts.sizes().iter().filter(|&size| Some(size) == most).count() == 1 {
                    prop_assert_eq!(far(farthest), hanging.iter().map(far).max().unwrap());
                    let sum: DVec3 = hanging.iter().map(|c| c.as_dvec3() + 0.5).sum();
                    prop_assert!((hinge.load.centre - sum / hanging.count() as f64).length() < 1e-9);
                    let [low, high] = hinge.load.within;
                    prop_assert!(hanging.iter().all(|c| c.cmpge(low).all() && c.cmple(high).all()));
                }
            }
            prop_assert!(found.next().is_none());
        }
    }

    #[test]
    fn a_chain_of_a_hundred_thousand_cells_needs_no_deep_stack() {
        let n = 100_000;
        let hinges = Hinges::of(&Cells::from_fn(grid([n, 1, 1]), |_| true));
        assert_eq!(hinges.found().len(), n as usize - 2);
        assert_eq!(hinges.found()[0].load.cells, 1);
        assert_eq!(hinges.found()[n as usize / 2].load.cells, n as usize / 2 - 2);
    }

    #[test]
    fn two_blocks_that_share_one_face_hang_on_a_cell_each() {
        let cells = Cells::from_fn(grid([7, 3, 3]), |c| c.x != 3 || (c.y == 1 && c.z == 1));
        let cells_of = |cells: &Cells| Hinges::of(cells).found().iter().map(|hinge| hinge.cell).collect::<Vec<_>>();
        assert_eq!(cells_of(&cells), [2, 3, 4].map(|x| IVec3::new(x, 1, 1)));
        assert!(cells_of(&listed(&[[0, 0, 0], [1, 0, 0]])).is_empty());
        assert!(cells_of(&Cells::empty(grid([0, 0, 0]))).is_empty());
    }
}
