//! What the variants of a night have in common: runs of stages that serve several of them.

use std::collections::BTreeMap;

use super::{Night, Plan};

/// How long the stage at a place of a plan took when it was run before, in seconds, where that is known.
pub type Seconds<'a> = &'a dyn Fn(&Plan, usize) -> Option<f64>;

/// The runs of stages that a night takes, each once: a stage serves all variants that are the same up to it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Common {
    /// Runs of stages, if each is made once.
    pub once: usize,
    /// Runs of stages, if each variant were made on its own.
    pub apart: usize,
    /// Of how many of those made once it is known how long they take.
    pub known: usize,
    /// What the known ones take together, in seconds.
    pub seconds: f64,
}

impl Common {
    /// Goes through the plans of a night; asks about each run of a stage once.
    #[must_use]
    pub fn of(night: &Night, seconds: Option<Seconds<'_>>) -> Self {
        let mut common = Self::default();
        // Each beginning that two chains may share has a number: the number of what stands before it, and a line.
        let mut numbers: BTreeMap<(usize, &str), usize> = BTreeMap::new();
        for plan in night.plans() {
            let steps = plan.job.steps.len();
            common.apart += steps;
            let before = plan.chain().count() - steps;
            let mut at = 0;
            for (index, line) in plan.chain().enumerate() {
                let next = numbers.len() + 1;
                let number = *numbers.entry((at, &**line)).or_insert(next);
                if number == next && index >= before {
                    common.once += 1;
                    if let Some(took) = seconds.and_then(|seconds| seconds(plan, index - before)) {
                        common.known += 1;
                        common.seconds += took;
                    }
                }
                at = number;
            }
        }
        common
    }
}
