//! How long a night still takes.
//!
//! Each run of a stage has a weight, what is known beforehand of the work in it: the cells and faces of its outlook. How many
//! seconds a stage takes for its weight is learnt from the runs of the same stage in this night, the later ones counting more,
//! and before the first of them from what the store remembers. A rate over all that is done would be wrong: a few stages
//! at the head of many variants take longest.

use std::collections::BTreeMap;
use std::time::Duration;

/// What is still to be done, by stage.
#[derive(Clone, Debug, Default)]
pub(crate) struct Remaining {
    kinds: BTreeMap<&'static str, Kind>,
}

#[derive(Clone, Copy, Debug, Default)]
struct Kind {
    /// The weight of what is still to be done.
    left: f64,
    /// Seconds and weight of what was measured, older ones counting less.
    measured: (f64, f64),
}

/// Of what was measured before, so much counts beside what is measured now: a mean over some sixteen runs.
const KEPT: f64 = 15.0 / 16.0;

impl Remaining {
    /// A further piece of work. A weight of nothing is taken for a little.
    pub(crate) fn expect(&mut self, kind: &'static str, weight: f64) {
        self.kinds.entry(kind).or_default().left += weight.max(1.0);
    }

    /// A piece of work was found done, or will not be done.
    pub(crate) fn spare(&mut self, kind: &'static str, weight: f64) {
        let kind = self.kinds.entry(kind).or_default();
        kind.left = (kind.left - weight.max(1.0)).max(0.0);
    }

    /// A piece of work took so many seconds.
    pub(crate) fn took(&mut self, kind: &'static str, weight: f64, seconds: f64) {
        self.spare(kind, weight);
        self.learn(kind, weight, seconds);
    }

    /// A piece of work of this kind took so many seconds at some other time.
    pub(crate) fn learn(&mut self, kind: &'static str, weight: f64, seconds: f64) {
        let (sum, weights) = &mut self.kinds.entry(kind).or_default().measured;
        *sum = *sum * KEPT + seconds;
        *weights = *weights * KEPT + weight.max(1.0);
    }

    /// The time that is left with so many workers; `None` while nothing is known of some kind of work.
    pub(crate) fn time(&self, workers: usize) -> Option<Duration> {
        let mut seconds = 0.0;
        for kind in self.kinds.values().filter(|kind| kind.left > 0.0) {
            let (measured, weight) = kind.measured;
            if weight == 0.0 {
                return None;
            }
            seconds += kind.left * measured / weight;
        }
        Duration::try_from_secs_f64(seconds / workers.max(1) as f64).ok()
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_said_before_every_kind_of_work_was_seen() {
        let mut remaining = Remaining::default();
        assert_eq!(remaining.time(2), Some(Duration::ZERO));
        remaining.expect("hollow", 10.0);
        assert_eq!(remaining.time(2), None);
        remaining.learn("hollow", 1.0, 2.0);
        assert_eq!(remaining.time(2), Some(Duration::from_secs(10)));
    }

    /// A night of 4 long stages, each at the head of 100 short ones, by one worker: what is said after each piece of work is
    /// what then passes. Worked by hand: long ones take 50 s, short ones 1 s.
    #[test]
    fn a_few_long_stages_at_the_head_of_many_short_ones_mislead_nobody() {
        let mut remaining = Remaining::default();
        for _ in 0..4 {
            remaining.expect("long", 5.0);
            (0..100).for_each(|_| remaining.expect("short", 1.0));
        }
        let mut left = 4.0 * 150.0;
        for head in 0..4 {
            remaining.took("long", 5.0, 50.0);
            left -= 50.0;
            for at in 0..100 {
                if (head, at) > (0, 0) {
                    let said = remaining.time(1).unwrap().as_secs_f64();
                    assert!((said - left).abs() < 1e-6, "{said} of {left}");
                }
                remaining.took("short", 1.0, 1.0);
                left -= 1.0;
            }
        }
        assert_eq!(remaining.time(1), Some(Duration::ZERO));
    }

    #[test]
    fn what_is_found_in_the_store_is_no_longer_waited_for() {
        let mut remaining = Remaining::default();
        (0..10).for_each(|_| remaining.expect("hollow", 1.0));
        remaining.took("hollow", 1.0, 3.0);
        (0..8).for_each(|_| remaining.spare("hollow", 1.0));
        assert_eq!(remaining.time(1), Some(Duration::from_secs(3)));
    }
}
