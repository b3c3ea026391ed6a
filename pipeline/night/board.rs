//! What of a night is waiting, ready, under way and done. Knows nothing of threads and files.
//!
//! A run of a stage is first looked up in the store, which takes no memory; if it is not there it is made, once its memory fits
//! beside what is under way. What is deeper in a chain goes first, so that variants are finished one after the other and what
//! they share is held no longer than needed.

use std::cmp::Reverse;
use std::collections::BTreeSet;

use turnhue_stages::units::Memory;

use super::graph::Graph;

/// A piece of work.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Task {
    /// Put the run folder of a variant together.
    Finish(usize),
    /// Look for the result of a stage in the store.
    Find(usize),
    /// Run a stage.
    Make(usize),
}

/// What a worker is to do next.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Next {
    /// This.
    Do(Task),
    /// Nothing until something else is done.
    Wait,
    /// Nothing any more.
    End,
}

/// The order of what is ready: what ends a variant, then what is deepest, then the first.
type Rank = (bool, Reverse<usize>, usize, Task);

/// The state of a night.
pub(crate) struct Board<'a> {
    graph: &'a Graph,
    peaks: Vec<Memory>,
    ready: BTreeSet<Rank>,
    under_way: BTreeSet<Task>,
    budget: Memory,
    in_use: u64,
}

impl<'a> Board<'a> {
    /// A night in which nothing has begun. `peaks` is the most memory that each run of a stage holds.
    pub(crate) fn new(graph: &'a Graph, peaks: Vec<Memory>, budget: Memory) -> Self {
        let (ready, under_way) = (BTreeSet::new(), BTreeSet::new());
        let mut board = Self { graph, peaks, ready, under_way, budget, in_use: 0 };
        graph.roots.iter().for_each(|&root| board.add(Task::Find(root)));
        board
    }

    fn add(&mut self, task: Task) {
        let rank = match task {
            Task::Finish(variant) => (false, Reverse(0), variant, task),
            Task::Find(node) | Task::Make(node) => (true, Reverse(self.graph.nodes[node].step), node, task),
        };
        self.ready.insert(rank);
    }

    /// Takes the next piece of work. What does not fit into memory waits, unless nothing else is made: then it would wait
    /// for ever.
    pub(crate) fn next(&mut self) -> Next {
        let fits = |task: &Task| match self.takes(*task) {
            // Also beside a run of a stage that alone takes more than all.
            0 => true,
            takes => self.in_use == 0 || self.in_use.saturating_add(takes) <= self.budget.bytes(),
        };
        let found = self.ready.iter().find(|(.., task)| fits(task)).copied();
        match found {
            Some(rank) => {
                let task = rank.3;
                self.ready.remove(&rank);
                self.in_use += self.takes(task);
                self.under_way.insert(task);
                Next::Do(task)
            }
            None if self.under_way.is_empty() => Next::End,
            None => Next::Wait,
        }
    }

    /// Memory that a piece of work takes, in bytes; at least one for what is made, so that it counts as under way.
    fn takes(&self, task: Task) -> u64 {
        match task {
            Task::Make(node) => self.peaks[node].bytes().max(1),
            Task::Find(_) | Task::Finish(_) => 0,
        }
    }

    fn end(&mut self, task: Task) {
        // Its worker may have come to grief after it was done.
        if self.under_way.remove(&task) {
            self.in_use -= self.takes(task);
        }
    }

    /// The result of a stage is there: what goes on from it is ready.
    pub(crate) fn done(&mut self, task: Task) {
        self.end(task);
        if let Task::Find(node) | Task::Make(node) = task {
            let node = &self.graph.nodes[node];
            node.after.iter().for_each(|&after| self.add(Task::Find(after)));
            node.ends.iter().for_each(|&variant| self.add(Task::Finish(variant)));
        }
    }

    /// A stage is not in the store: it has to be run.
    pub(crate) fn absent(&mut self, node: usize) {
        self.end(Task::Find(node));
        self.add(Task::Make(node));
    }

    /// A piece of work failed: nothing goes on from it.
    pub(crate) fn failed(&mut self, task: Task) {
        self.end(task);
    }

    /// Nothing more is begun.
    pub(crate) fn stop(&mut self) {
        self.ready.clear();
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::store::Key;

    fn graph(chains: &[Vec<u8>]) -> Graph {
        let keys = |chain: &[u8]| -> Vec<Key> { (1..=chain.len()).map(|n| Key::of([&chain[..n]])).collect() };
        let all: Vec<_> = chains.iter().map(|chain| keys(chain)).collect();
        Graph::of(all.iter().map(|keys| Some(keys.as_slice())))
    }

    /// Beside a run of a stage that takes more than all memory, results are looked up and run folders put together.
    #[test]
    fn what_takes_no_memory_waits_for_none() {
        let graph = graph(&[vec![0], vec![1]]);
        let peaks = vec![Memory::from_bytes(1000), Memory::from_bytes(1)];
        let mut board = Board::new(&graph, peaks, Memory::from_bytes(10));
        assert_eq!(board.next(), Next::Do(Task::Find(0)));
        board.absent(0);
        assert_eq!(board.next(), Next::Do(Task::Make(0)));
        assert_eq!(board.next(), Next::Do(Task::Find(1)));
        board.done(Task::Find(1));
        assert_eq!(board.next(), Next::Do(Task::Finish(1)));
        board.done(Task::Finish(1));
        assert_eq!(board.next(), Next::Wait);
        board.done(Task::Make(0));
        // Ended once: a second time changes nothing.
        board.failed(Task::Make(0));
        assert_eq!(board.next(), Next::Do(Task::Finish(0)));
    }

    proptest! {
        /// Whatever ends when, and whatever is in the store: each run of a stage is looked up once and made at most once, after
        /// the one before it, and never more is under way than the memory allows.
        #[test]
        fn everything_is_done_once_and_in_order(
            chains in prop::collection::vec(prop::collection::vec(0u8..3, 1..5), 1..10),
            stored in prop::collection::vec(any::<bool>(), 60),
            peaks in prop::collection::vec(1u64..50, 60),
            choices in prop::collection::vec(0usize..4, 400),
            failing in prop::collection::vec(0u8..20, 60),
            budget in 1u64..100,
        ) {
            let graph = graph(&chains);
            let memory = (0..graph.nodes.len()).map(|node| Memory::from_bytes(peaks[node])).collect();
            let mut board = Board::new(&graph, memory, Memory::from_bytes(budget));
            let (mut under_way, mut finished, mut known) = (Vec::new(), BTreeSet::new(), BTreeSet::new());
            let mut failed = BTreeSet::new();
            let mut choices = choices.into_iter().cycle();
            loop {
                match board.next() {
                    Next::Do(task) => {
                        if let Task::Find(node) | Task::Make(node) = task {
                            prop_assert!(graph.nodes[node].before.is_none_or(|before| known.contains(&before)));
                            prop_assert!(!known.contains(&node));
                        }
                        under_way.push(task);
                        let made: Vec<u64> = under_way.iter().filter_map(|task| match task {
                            Task::Make(node) => Some(peaks[*node]),
                            _ => None,
                        }).collect();
                        prop_assert!(made.len() <= 1 || made.iter().sum::<u64>() <= budget);
                        if choices.next() > Some(1) { continue; }
                    }
                    Next::Wait => prop_assert!(!under_way.is_empty()),
                    Next::End => break,
                }
                let task = under_way.swap_remove(choices.next().unwrap_or(0) % under_way.len());
                match task {
                    Task::Find(node) if !stored[node] => board.absent(node),
                    Task::Make(node) if failing[node] == 0 => {
                        board.failed(task);
                        failed.extend(graph.below(node));
                    }
                    Task::Find(node) | Task::Make(node) => {
                        known.insert(node);
                        board.done(task);
                    }
                    Task::Finish(variant) => {
                        prop_assert!(finished.insert(variant));
                        board.done(task);
                    }
                }
            }
            prop_assert!(under_way.is_empty());
            prop_assert_eq!(known.len() + failed.len(), graph.nodes.len());
            let lost: usize = failed.iter().map(|&node| graph.nodes[node].ends.len()).sum();
            prop_assert_eq!(finished.len() + lost, chains.len());
        }
    }
}
