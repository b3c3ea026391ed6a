//! Which sizes are tried: a geometric row between sensible ends, rounded to numbers that a maker would write.

use turnhue_stages::outlook::Outlook;
use turnhue_stages::units::Memory;

use super::cell;
use crate::job::AdviseRequest;
use crate::plan::Plan;

/// Cells along the shortest side below which hardly a form is told from another.
const FEWEST_ACROSS: f64 = 12.0;
/// Cube faces on the outside of the finest piece that is tried unasked: so that a dozen sizes take seconds.
const MOST_FACES: f64 = 36_000.0;
/// The largest cell tried is at least so many times the smallest: over less nothing much changes.
const LEAST_SPAN: f64 = 4.0;
/// Sizes nearer to each other than this, in mm, are one.
const SAME: f64 = 1e-6;

/// The smallest and the largest size to try, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Ends {
    low: f64,
    high: f64,
    /// Whether they stay as they are: the job says them.
    exact: [bool; 2],
}

impl Ends {
    /// What the job says, and beside that what process and piece suggest. `before` is the piece as the stage at `index`
    /// finds it.
    pub(super) fn of(plan: &Plan, index: usize, before: Outlook, request: &AdviseRequest) -> Self {
        let exact = [request.from.is_some(), request.to.is_some()];
        let finest = || finest(plan, index, before);
        match [request.from, request.to].map(|length| length.map(|length| length.mm())) {
            [Some(low), Some(high)] => Self { low, high, exact },
            [Some(low), None] => Self { low, high: coarsest(before, low), exact },
            [None, Some(high)] => Self { low: finest().min(high / LEAST_SPAN), high, exact },
            [None, None] => {
                let low = finest();
                Self { low, high: coarsest(before, low), exact }
            }
        }
    }

    /// The smallest size, mm.
    pub(super) fn low(&self) -> f64 {
        self.low
    }
}

/// The smallest cell that makes sense of the piece as the stage at `index` finds it: below the process's smallest detail or twice its bleed no face keeps a colour,
/// and a piece that takes too much memory, or more triangles than a file may hold, cannot be ordered.
fn finest(plan: &Plan, index: usize, before: Outlook) -> f64 {
    let process = &plan.job.process;
    let mut cell = process.detail.value.mm().max(2.0 * process.bleed.value.mm());
    // The faces grow with the square of what a cell shrinks by, so the loop is short; a piece of a kilometre ends it too.
    for _ in 0..400 {
        if is_bearable(plan, index, before, cell) {
            break;
        }
        cell *= 1.05;
    }
    cell
}

fn is_bearable(plan: &Plan, index: usize, before: Outlook, cell: f64) -> bool {
    let Some(after) = outlooks(plan, index, before, cell) else { return false };
    // The stage itself is the first: what it makes of the piece has faces.
    let faces = after.first().map_or(0.0, Outlook::faces);
    let peak = after.iter().map(Outlook::peak).max().unwrap_or(Memory::from_bytes(0));
    peak <= Memory::usual() && faces <= MOST_FACES && 2.0 * faces <= plan.job.process.most_triangles.value as f64
}

/// The most memory that a piece with such cells will hold.
pub(super) fn memory(plan: &Plan, index: usize, before: Outlook, cell: f64) -> Memory {
    let after = outlooks(plan, index, before, cell).unwrap_or_default();
    after.iter().map(Outlook::peak).max().unwrap_or(Memory::from_bytes(0))
}

/// The outlook after each stage from the one at `index` on, with such cells.
fn outlooks(plan: &Plan, index: usize, before: Outlook, mm: f64) -> Option<Vec<Outlook>> {
    let varied = cell::with(&plan.job.steps[index], mm).ok()?;
    let stages = std::iter::once(&varied).chain(&plan.job.steps[index + 1..]);
    let mut known = before;
    let mut next = |stage: &crate::plan::PlannedStep| {
        known = stage.stage.outlook(known);
        known
    };
    Some(stages.map(&mut next).collect())
}

/// The largest cell that makes sense.
fn coarsest(before: Outlook, low: f64) -> f64 {
    let least = LEAST_SPAN * low;
    let most = before.size.max_element() / 2.0;
    (before.size.min_element() / FEWEST_ACROSS).max(least.min(most)).max(1.5 * low)
}

/// So many sizes from one end to the other, the job's own among them, rising, no two the same.
pub(super) fn row(ends: Ends, count: usize, own: Option<f64>) -> Vec<f64> {
    let mut sizes = geometric(ends, count);
    let Some(own) = own else { return sizes };
    if let Some(same) = sizes.iter_mut().find(|size| (**size - own).abs() < SAME) {
        // The very number that the job has.
        *same = own;
        return sizes;
    }
    let beyond = own < ends.low || own > ends.high;
    // The nearest gives way, but for the ends that the job asks for.
    let last = sizes.len() - 1;
    let asked_for = |at: usize| (at == 0 && ends.exact[0]) || (at == last && ends.exact[1]);
    let may_go = |&at: &usize| !beyond && !asked_for(at);
    let ratio = |at: &usize| (sizes[*at] / own).max(own / sizes[*at]);
    match (0..sizes.len()).filter(may_go).min_by(|a, b| ratio(a).total_cmp(&ratio(b))) {
        Some(nearest) if sizes.len() >= count => sizes[nearest] = own,
        _ => sizes.push(own),
    }
    sizes.sort_by(f64::total_cmp);
    sizes
}

/// Rounded as coarsely as leaves all apart; the finest rounding that is tried may leave fewer.
fn geometric(ends: Ends, count: usize) -> Vec<f64> {
    let at = |i: usize| {
        let share = i as f64 / (count.max(2) - 1) as f64;
        ends.low * libm::pow(ends.high / ends.low, share)
    };
    let rounded = |finer: f64| {
        let low = if ends.exact[0] { ends.low } else { to_step(ends.low, finer, f64::ceil) };
        let high = if ends.exact[1] { ends.high } else { to_step(ends.high, finer, f64::floor).max(low) };
        let between = (1..count - 1).map(|i| to_step(at(i), finer, f64::round).clamp(low, high));
        let mut sizes: Vec<f64> = std::iter::once(low).chain(between).chain([high]).collect();
        sizes.dedup_by(|a, b| (*a - *b).abs() < SAME);
        sizes
    };
    let mut last = Vec::new();
    for finer in [10.0, 20.0, 50.0, 100.0, 200.0, 500.0, 1000.0] {
        last = rounded(finer);
        if last.len() == count {
            break;
        }
    }
    last
}

/// To a multiple of the largest of …, 0.1, 0.25, 0.5, 1, 2.5, … mm that is at most so fine a part of the length.
fn to_step(mm: f64, finer: f64, round: impl Fn(f64) -> f64) -> f64 {
    let most = mm / finer;
    // Not quite the power, so that a step that is just as large counts.
    let decade = libm::pow(10.0, libm::floor(libm::log10(most * (1.0 + 1e-12))));
    let step = [5.0, 2.5, 1.0].map(|part| part * decade).into_iter().find(|&step| step <= most * (1.0 + 1e-12));
    let step = step.unwrap_or(decade);
    let steps = mm / step;
    // What is a whole number of steps but for rounding is one.
    let whole = if (steps - steps.round()).abs() < 1e-9 { steps.round() } else { round(steps) };
    // To the micrometre: 3 steps of 0.1 mm are 0.3 mm. What is smaller than that stays as it is.
    let micrometres = (whole * step * 1e3).round();
    if micrometres > 0.0 { micrometres / 1e3 } else { mm }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const FREE: [bool; 2] = [false, false];

    #[test]
    fn sizes_are_numbers_that_a_maker_would_write() {
        // By hand: 0.6 · (2.5/0.6)^(i/11), to 0.05 mm below 1 mm and to 0.1 mm above.
        let ball = row(Ends { low: 0.6, high: 2.5, exact: FREE }, 12, Some(0.6));
        assert_eq!(ball, [0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.3, 1.5, 1.7, 1.9, 2.2, 2.5]);
        // By hand: 1.47 · (9.9/1.47)^(i/11), to 0.1, 0.25 and 0.5 mm.
        let whelk = row(Ends { low: 1.47, high: 9.9, exact: FREE }, 12, Some(3.0));
        assert_eq!(whelk, [1.5, 1.7, 2.1, 2.5, 3.0, 3.5, 4.25, 5.0, 6.0, 7.0, 8.5, 9.5]);
    }

    #[test]
    fn ends_that_the_job_names_stay() {
        let exact = [true, true];
        let sizes = row(Ends { low: 1.234, high: 5.678, exact }, 5, Some(3.21));
        assert_eq!((sizes[0], sizes[4], sizes.len()), (1.234, 5.678, 5));
        assert!(sizes.contains(&3.21));
        // A cell of its own beyond them comes on top.
        assert_eq!(row(Ends { low: 1.0, high: 2.0, exact }, 2, Some(3.0)), [1.0, 2.0, 3.0]);
        assert_eq!(row(Ends { low: 1.0, high: 2.0, exact }, 2, Some(1.5)), [1.0, 1.5, 2.0]);
    }

    proptest! {
        #[test]
        fn rows_rise_keep_to_their_ends_and_hold_the_jobs_own(
            low in 0.01..50.0f64, span in 1.2..40.0f64, count in 2usize..60, place in 0.0..1.0f64, exact in any::<[bool; 2]>(),
        ) {
            let high = low * span;
            let own = low + place * (high - low);
            for own in [None, Some(own)] {
                let sizes = row(Ends { low, high, exact }, count, own);
                prop_assert!(sizes.len() <= count + 1 && !sizes.is_empty());
                prop_assert!(sizes.windows(2).all(|pair| pair[0] < pair[1]), "{:?}", sizes);
                prop_assert!(own.is_none_or(|own| sizes.contains(&own)));
                let slack = 0.1 * low;
                prop_assert!(sizes[0] >= low - slack && sizes[sizes.len() - 1] <= high.max(low + slack) + slack, "{:?}", sizes);
            }
        }
    }
}
