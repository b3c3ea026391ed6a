//! Which of the sizes is recommended, and why, in words.
//!
//! The recommended cell is the smallest whose effect holds, with the next larger one that was tried holding too: the
//! effect should only grow with the cell, so one size that holds alone rests on where the grid happens to sit. It must
//! have no fault, and keep to the budget and the likeness that the job asks for.

use std::str::FromStr;

use rust_decimal::Decimal;
use turnhue_reports::advice::{Advice, Effect, Money, Size};

use crate::job::{AdviseRequest, Amount};

/// What a size must keep to.
pub(super) struct Bounds<'a> {
    pub(super) budget: Option<&'a Amount>,
    pub(super) likeness: Option<f64>,
}

impl<'a> Bounds<'a> {
    pub(super) fn of(request: &'a AdviseRequest) -> Self {
        Self { budget: request.budget.as_ref(), likeness: request.likeness.map(|share| share.percent()) }
    }
}

/// Something that a size can break, in the order in which one would mend it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Limit {
    /// The piece cannot be made at all.
    Made,
    /// The effect does not hold.
    Effect,
    /// It has faults.
    Faults,
    /// It is less like the model than asked for.
    Likeness,
    /// It costs more than asked for.
    Budget,
}

impl Limit {
    const ALL: [Self; 5] = [Self::Made, Self::Effect, Self::Faults, Self::Likeness, Self::Budget];
}

/// The recommendation for these rows, which rise with the cell. `own` is the cell that the job names.
pub(super) fn choose(sizes: Vec<Size>, own: Option<f64>, bounds: &Bounds<'_>, missing: Vec<String>) -> Advice {
    let breaks: Vec<Vec<Limit>> = (0..sizes.len()).map(|at| broken(&sizes, at, bounds)).collect();
    let best = breaks.iter().position(Vec::is_empty);
    let mut words = match best {
        Some(best) => recommended(&sizes, best, bounds),
        None => vec![none_fits(&sizes, &breaks, bounds)],
    };
    let own_row = own.and_then(|own| sizes.iter().position(|size| size.cell == own));
    if let Some(row) = own_row {
        words.push(if best == Some(row) {
            "It is the job's own cell.".to_owned()
        } else {
            about_own(&sizes[row], &breaks[row], bounds)
        });
    }
    words.extend(own_row.and_then(|row| smallest(&sizes[row])));
    let currency = sizes.iter().find_map(|size| size.price.as_ref()).map(|price| price.currency.clone());
    Advice {
        budget: bounds.budget.map(|budget| Money {
            amount: budget.amount.to_string(),
            currency: budget.currency.clone().or(currency).unwrap_or_default(),
        }),
        least_likeness: bounds.likeness,
        own,
        recommended: best.map(|best| sizes[best].cell),
        sizes,
        words,
        missing,
        files: Vec::new(),
    }
}

/// The currency of the prices, where the budget is in another.
pub(super) fn other_currency<'a>(sizes: &'a [Size], bounds: &Bounds<'_>) -> Option<&'a str> {
    let asked = bounds.budget?.currency.as_deref()?;
    let prices = sizes.iter().filter_map(|size| size.price.as_ref());
    prices.map(|price| price.currency.as_str()).find(|&currency| currency != asked)
}

/// What the row breaks.
fn broken(sizes: &[Size], at: usize, bounds: &Bounds<'_>) -> Vec<Limit> {
    let size = &sizes[at];
    if size.refused.is_some() {
        return vec![Limit::Made];
    }
    let breaks = |limit: &Limit| match limit {
        Limit::Made => false,
        Limit::Faults => !size.faults.is_empty(),
        Limit::Effect => !holds_with_the_next(sizes, at),
        Limit::Likeness => size.likeness.zip(bounds.likeness).is_some_and(|(is, least)| is < least),
        Limit::Budget => price(size).zip(bounds.budget).is_some_and(|(price, budget)| price > budget.amount),
    };
    Limit::ALL.into_iter().filter(breaks).collect()
}

fn holds(size: &Size) -> bool {
    size.effect == Some(Effect::Holds)
}

/// Whether the effect holds at a row and at the next larger one, if one was made.
fn holds_with_the_next(sizes: &[Size], at: usize) -> bool {
    let next = sizes[at + 1..].iter().find(|size| size.refused.is_none());
    holds(&sizes[at]) && next.is_none_or(holds)
}

fn price(size: &Size) -> Option<Decimal> {
    Decimal::from_str(&size.price.as_ref()?.amount).ok()
}

fn recommended(sizes: &[Size], best: usize, bounds: &Bounds<'_>) -> Vec<String> {
    let size = &sizes[best];
    let mut kept = Vec::new();
    kept.extend(bounds.budget.map(|budget| format!("within {}", amount_like(budget, size))));
    kept.extend(bounds.likeness.map(|least| format!("with at least {} of the volume in common", percent(least))));
    let kept = if kept.is_empty() { String::new() } else { format!(", {}", kept.join(" and ")) };
    let mut words =
        vec![format!("{} is the smallest cell whose effect holds{kept}: {}.", mm(size.cell), figures(size))];
    let lone = (0..best).find(|&at| holds(&sizes[at]) && !holds_with_the_next(sizes, at));
    words.extend(lone.map(|at| {
        let (alone, above) = (mm(sizes[at].cell), sizes[at + 1..].iter().find(|size| size.refused.is_none()));
        let above = above.map_or(String::new(), |above| format!(" but not at {}", mm(above.cell)));
        format!(
            "The effect holds at {alone} too,{above}: that rests on where the grid happens to sit, and is not advised."
        )
    }));
    if best > 0 && best + 1 == sizes.len() {
        words.push("No larger cell was tried that could confirm it: raise `advise.to`.".to_owned());
    }
    if best == 0 {
        words.push("No smaller cell was tried: lower `advise.from` to look further.".to_owned());
    }
    words
}

/// What a row comes to, as far as it is known.
fn figures(size: &Size) -> String {
    let mut parts = Vec::new();
    parts.extend(size.legibility.map(|share| format!("legibility {}", percent(share))));
    parts.extend(size.separation.map(|share| format!("separation kept {}", percent(share))));
    parts.extend(size.likeness.map(|share| format!("{} of the volume in common with the model", percent(share))));
    parts.extend(size.price.as_ref().map(ToString::to_string));
    parts.extend(size.weight.map(|weight| format!("{weight:.0} g")));
    if parts.is_empty() { "nothing more is known of it".to_owned() } else { parts.join(", ") }
}

/// Why no size is recommended: the limit in the way, and what comes nearest.
fn none_fits(sizes: &[Size], breaks: &[Vec<Limit>], bounds: &Bounds<'_>) -> String {
    if sizes.iter().all(|size| size.refused.is_some()) {
        let why = sizes.first().and_then(|size| size.refused.as_deref()).unwrap_or("none was tried");
        return format!(
            "No size of the cell can be recommended: the piece could be made at none. The smallest: {why}."
        );
    }
    if sizes.iter().all(|size| size.effect.is_none()) {
        return "No size of the cell can be recommended: nothing tells whether the effect holds.".to_owned();
    }
    // A size at which the effect holds is nearer than any at which it does not.
    let alone = Limit::ALL.into_iter().rev().find_map(|limit| {
        let row = breaks.iter().position(|broken| broken.as_slice() == [limit])?;
        Some((limit, nearest(sizes, breaks, limit).unwrap_or(row)))
    });
    match alone {
        Some((limit, row)) => {
            let size = &sizes[row];
            format!(
                "No size of the cell can be recommended. {} The nearest is {}: {}.",
                in_the_way(limit, size, bounds),
                mm(size.cell),
                figures(size)
            )
        }
        None => {
            let fewest = (0..sizes.len()).min_by_key(|&row| (breaks[row].contains(&Limit::Made), breaks[row].len()));
            let row = fewest.unwrap_or_default();
            let faults: Vec<String> = breaks[row].iter().map(|&limit| in_the_way(limit, &sizes[row], bounds)).collect();
            format!(
                "No size of the cell can be recommended, and no single limit stands in the way. The nearest is {}. {}",
                mm(sizes[row].cell),
                faults.join(" ")
            )
        }
    }
}

/// Of the rows that break that limit and nothing else, the one that breaks it least.
fn nearest(sizes: &[Size], breaks: &[Vec<Limit>], limit: Limit) -> Option<usize> {
    let rows = (0..sizes.len()).filter(|&row| breaks[row].as_slice() == [limit]);
    match limit {
        Limit::Made => None,
        // The fewest faults, and of those the smallest cell.
        Limit::Faults => rows.min_by_key(|&row| sizes[row].faults.len()),
        Limit::Effect => rows.max_by(|&a, &b| legible(&sizes[a]).total_cmp(&legible(&sizes[b])).then(b.cmp(&a))),
        Limit::Likeness => rows.max_by(|&a, &b| like(&sizes[a]).total_cmp(&like(&sizes[b])).then(b.cmp(&a))),
        Limit::Budget => rows.min_by_key(|&row| (price(&sizes[row]), row)),
    }
}

fn legible(size: &Size) -> f64 {
    size.legibility.unwrap_or(0.0)
}

fn like(size: &Size) -> f64 {
    size.likeness.unwrap_or(0.0)
}

/// What a row breaks, as a sentence.
fn in_the_way(limit: Limit, size: &Size, bounds: &Bounds<'_>) -> String {
    match limit {
        Limit::Made => format!("It cannot be made: {}.", size.refused.as_deref().unwrap_or("nobody said why")),
        Limit::Faults => format!("It has faults: {}.", size.faults.join(", ")),
        Limit::Effect => {
            let decided = size.decided_by.as_ref().map_or(String::new(), |by| format!(": {by}"));
            match size.effect {
                Some(Effect::Holds) => "The effect holds here, but not at the next larger cell.".to_owned(),
                Some(Effect::Marginal) => format!("The effect is marginal at best{decided}."),
                Some(Effect::Fails) => format!("The effect fails{decided}."),
                None => "Nothing tells whether the effect holds.".to_owned(),
            }
        }
        Limit::Likeness => format!(
            "The likeness stands in the way: at least {} of the volume must be in common with the model.",
            percent(bounds.likeness.unwrap_or_default())
        ),
        Limit::Budget => {
            let budget = bounds.budget.map_or(String::new(), |budget| format!(" of {}", amount_like(budget, size)));
            format!("The budget{budget} stands in the way.")
        }
    }
}

/// What the job's own cell comes to, where another is recommended or none.
fn about_own(size: &Size, breaks: &[Limit], bounds: &Bounds<'_>) -> String {
    let own = format!("The job's own cell is {}", mm(size.cell));
    if breaks.is_empty() {
        return format!("{own}: its effect holds too, {}.", figures(size));
    }
    let faults: Vec<String> = breaks.iter().map(|&limit| in_the_way(limit, size, bounds)).collect();
    format!("{own}. {}", faults.join(" "))
}

/// From which finished size on the effect holds with as many cells.
fn smallest(size: &Size) -> Option<String> {
    let cell = mm(size.smallest_cell_that_holds?);
    let finished =
        size.smallest_size_that_holds.as_ref().map_or(String::new(), |finished| format!(": a piece of {finished}"));
    Some(format!("With as many cells as the job asks for the effect holds from a cell of {cell} on{finished}."))
}

/// A budget with its currency, or with that of the price where the job leaves it out.
fn amount_like(budget: &Amount, size: &Size) -> String {
    match (&budget.currency, &size.price) {
        (None, Some(price)) => format!("{} {}", budget.amount, price.currency),
        _ => budget.to_string(),
    }
}

/// A length, as short as it is exact.
pub(super) fn mm(length: f64) -> String {
    turnhue_stages::Length::from_mm(length).rounded().to_string()
}

fn percent(share: f64) -> String {
    format!("{} %", tenths(share))
}

/// To a tenth of a per cent, downwards: what is below a limit must not read as if it kept to it.
fn tenths(share: f64) -> f64 {
    (share * 10.0 + 1e-6).floor() / 10.0
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Rows from cell, effect, likeness and price.
    fn rows(rows: &[(f64, &str, f64, &str)]) -> Vec<Size> {
        let row = |&(cell, effect, likeness, price): &(f64, &str, f64, &str)| Size {
            cell,
            effect: Effect::named(effect),
            legibility: Some(20.0 * cell),
            likeness: Some(likeness),
            price: Some(Money { amount: price.to_owned(), currency: "EUR".to_owned() }),
            ..Size::default()
        };
        rows.iter().map(row).collect()
    }

    fn usual() -> Vec<Size> {
        rows(&[
            (1.0, "fails", 98.0, "290.00"),
            (2.0, "marginal", 96.0, "295.00"),
            (3.0, "holds", 94.0, "300.54"),
            (4.0, "holds", 90.0, "299.99"),
            (5.0, "holds", 80.0, "310.00"),
        ])
    }

    fn advice(sizes: Vec<Size>, budget: Option<&str>, likeness: Option<f64>) -> Advice {
        let budget = budget.map(|text| text.parse().unwrap());
        choose(sizes, None, &Bounds { budget: budget.as_ref(), likeness }, Vec::new())
    }

    #[test]
    fn the_smallest_that_holds_is_recommended_within_the_bounds() {
        for (budget, likeness, cell) in [
            (None, None, Some(3.0)),
            // Money is compared as decimals: 300.54 is not above 300.54.
            (Some("300.54 EUR"), None, Some(3.0)),
            (Some("300.53"), None, Some(4.0)),
            (Some("299.98"), None, None),
            (Some("300"), Some(90.0), Some(4.0)),
            (Some("300"), Some(90.1), None),
            (None, Some(94.1), None),
        ] {
            assert_eq!(advice(usual(), budget, likeness).recommended, cell, "{budget:?} {likeness:?}");
        }
    }

    #[test]
    fn a_size_that_holds_alone_is_not_advised_and_that_is_said() {
        let mut sizes = usual();
        sizes[0].effect = Some(Effect::Holds);
        let advice = advice(sizes, None, None);
        assert_eq!(advice.recommended, Some(3.0));
        assert!(advice.words[1].starts_with("The effect holds at 1 mm too, but not at 2 mm"), "{:?}", advice.words);
        // One that could not be made between two that hold confirms nothing and spoils nothing.
        let mut sizes = usual();
        sizes[3] = Size { cell: 4.0, refused: Some("no place".to_owned()), ..Size::default() };
        assert_eq!(super::tests::advice(sizes, None, None).recommended, Some(3.0));
    }

    #[test]
    fn faults_keep_a_size_from_being_recommended() {
        let mut sizes = usual();
        sizes[2].faults = vec!["too-many-triangles".to_owned()];
        assert_eq!(advice(sizes.clone(), None, None).recommended, Some(4.0));
        sizes[3].faults = vec!["a".to_owned(), "b".to_owned()];
        sizes[4].faults = vec!["a".to_owned()];
        let advice = advice(sizes, None, None);
        assert_eq!(advice.recommended, None);
        assert!(
            advice.words[0].contains("It has faults: too-many-triangles. The nearest is 3 mm"),
            "{:?}",
            advice.words
        );
    }

    #[test]
    fn if_none_fits_the_limit_in_the_way_is_named_with_the_nearest() {
        for (budget, likeness, parts) in [
            (Some("250 EUR"), None, ["The budget of 250 EUR stands in the way.", "The nearest is 4 mm"]),
            (None, Some(95.0), ["at least 95 % of the volume", "The nearest is 3 mm"]),
            (Some("1"), Some(99.0), ["no single limit", "The nearest is 3 mm"]),
        ] {
            let words = advice(usual(), budget, likeness).words;
            assert!(parts.iter().all(|part| words[0].contains(part)), "{words:?}");
        }
        let mut sizes = usual();
        sizes.truncate(2);
        sizes[1].decided_by = Some("the bleed".to_owned());
        let words = advice(sizes, None, None).words;
        assert!(words[0].contains("marginal at best: the bleed. The nearest is 2 mm: legibility 40 %"), "{words:?}");
        let unknown = usual().into_iter().map(|size| Size { effect: None, ..size }).collect();
        assert!(advice(unknown, None, None).words[0].contains("nothing tells whether the effect holds"));
        let refused = |cell| Size { cell, refused: Some("no place for the opening".to_owned()), ..Size::default() };
        let words = advice(vec![refused(1.0), refused(2.0)], None, None).words;
        assert!(words[0].contains("could be made at none. The smallest: no place for the opening."), "{words:?}");
    }

    #[test]
    fn the_jobs_own_cell_has_its_own_words() {
        let bounds = Bounds { budget: None, likeness: None };
        let mut sizes = usual();
        sizes[0].smallest_cell_that_holds = Some(2.75);
        sizes[0].smallest_size_that_holds = Some("137.5 × 137.5 × 137.5 mm".to_owned());
        sizes[0].decided_by = Some("the bleed".to_owned());
        let words = choose(sizes.clone(), Some(1.0), &bounds, Vec::new()).words;
        let told = words.join(" ");
        assert!(told.contains("The job's own cell is 1 mm. The effect fails: the bleed."), "{told}");
        assert!(told.contains("holds from a cell of 2.75 mm on: a piece of 137.5 × 137.5 × 137.5 mm."), "{told}");
        assert!(choose(sizes, Some(3.0), &bounds, Vec::new()).words.contains(&"It is the job's own cell.".to_owned()));
    }

    #[test]
    fn shares_are_never_rounded_up_to_a_limit() {
        assert_eq!(percent(84.99), "84.9 %");
        assert_eq!(percent(85.0), "85 %");
        assert_eq!(percent(0.3), "0.3 %");
    }

    #[test]
    fn a_budget_in_another_currency_is_seen() {
        let budget: Amount = "5 CHF".parse().unwrap();
        let bounds = Bounds { budget: Some(&budget), likeness: None };
        assert_eq!(other_currency(&usual(), &bounds), Some("EUR"));
        let budget: Amount = "5".parse().unwrap();
        assert_eq!(other_currency(&usual(), &Bounds { budget: Some(&budget), likeness: None }), None);
    }
}
