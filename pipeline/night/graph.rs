//! What a night has to do: the runs of stages that its variants need, each once.
//!
//! Chains that begin alike have the same keys as far as they are alike, so the runs of stages form a forest: its branches part
//! where two variants differ for the first time. It is known before anything runs.

use std::collections::BTreeMap;

use turnhue_reports::advice::Advice;
use turnhue_stages::units::Memory;

use crate::plan::PlannedStep;
use crate::store::Key;

/// The chain of one variant, settled.
pub(crate) struct Chain {
    /// Its stages with their settings.
    pub(crate) steps: Vec<PlannedStep>,
    /// The key of each stage's result.
    pub(crate) keys: Vec<Key>,
    /// The most memory that is held while each stage runs.
    pub(crate) peaks: Vec<Memory>,
    /// How much work each stage is, beside other runs of the same stage.
    pub(crate) weights: Vec<f64>,
    /// What comparing sizes of the cell came to, where the job asks for it.
    pub(crate) advice: Option<Advice>,
}

/// A run of a stage.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Node {
    /// The key of its result.
    pub(crate) key: Key,
    /// The first variant that needs it; any other has the same stage, settings and chain before it.
    pub(crate) variant: usize,
    /// Its place in the chain, counted from 0.
    pub(crate) step: usize,
    /// The run of the stage before it.
    pub(crate) before: Option<usize>,
    /// The runs of stages that go on from it.
    pub(crate) after: Vec<usize>,
    /// The variants whose chain ends with it.
    pub(crate) ends: Vec<usize>,
}

/// The runs of stages of a night.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Graph {
    /// Each stands behind the one before it in its chain.
    pub(crate) nodes: Vec<Node>,
    /// Those that begin a chain.
    pub(crate) roots: Vec<usize>,
}

impl Graph {
    /// The graph of chains; `None` stands for a variant that needs nothing run.
    pub(crate) fn of<'a>(chains: impl Iterator<Item = Option<&'a [Key]>>) -> Self {
        let mut graph = Self::default();
        let mut known: BTreeMap<Key, usize> = BTreeMap::new();
        for (variant, keys) in chains.enumerate() {
            let mut before = None;
            for (step, &key) in keys.unwrap_or_default().iter().enumerate() {
                let next = graph.nodes.len();
                let at = *known.entry(key).or_insert(next);
                if at == next {
                    graph.nodes.push(Node { key, variant, step, before, after: Vec::new(), ends: Vec::new() });
                    match before {
                        Some(before) => graph.nodes[before].after.push(at),
                        None => graph.roots.push(at),
                    }
                }
                before = Some(at);
            }
            if let Some(last) = before {
                graph.nodes[last].ends.push(variant);
            }
        }
        graph
    }

    /// A run of a stage and all that goes on from it.
    pub(crate) fn below(&self, node: usize) -> Vec<usize> {
        let mut found = vec![node];
        let mut at = 0;
        while let Some(&node) = found.get(at) {
            found.extend(&self.nodes[node].after);
            at += 1;
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeSet;

    use proptest::prelude::*;

    use super::*;

    /// The key of a chain's beginning.
    fn key(beginning: &[u8]) -> Key {
        Key::of([beginning])
    }

    fn keys(chain: &[u8]) -> Vec<Key> {
        (1..=chain.len()).map(|length| key(&chain[..length])).collect()
    }

    proptest! {
        #[test]
        fn every_beginning_of_a_chain_is_run_once(chains in prop::collection::vec(prop::collection::vec(0u8..3, 0..5), 0..12)) {
            let all: Vec<_> = chains.iter().map(|chain| keys(chain)).collect();
            let graph = Graph::of(all.iter().map(|keys| Some(keys.as_slice())));
            // Counted another way: the distinct beginnings.
            let beginnings: BTreeSet<&[u8]> =
                chains.iter().flat_map(|chain| (1..=chain.len()).map(move |length| &chain[..length])).collect();
            prop_assert_eq!(graph.nodes.len(), beginnings.len());
            for (at, node) in graph.nodes.iter().enumerate() {
                prop_assert_eq!(node.key, key(&chains[node.variant][..=node.step]));
                prop_assert!(node.before.is_none_or(|before| before < at && graph.nodes[before].after.contains(&at)));
            }
            let ended: usize = graph.nodes.iter().map(|node| node.ends.len()).sum();
            prop_assert_eq!(ended, chains.iter().filter(|chain| !chain.is_empty()).count());
            let reached: usize = graph.roots.iter().map(|&root| graph.below(root).len()).sum();
            prop_assert_eq!(reached, graph.nodes.len());
        }
    }
}
