//! Which variants nothing else beats. One beats another if it is at least as good in both of two figures and better in
//! one; those that are left are the Pareto front. Only variants without faults compete.

use super::Row;
use super::figures::Figure;

/// The fronts of a night: price against legibility, and price against likeness.
pub(crate) struct Fronts {
    pub(crate) legibility: Front,
    pub(crate) likeness: Front,
}

/// What is known of the variants in two figures, and which of them nothing beats.
pub(crate) struct Front {
    /// The figure that is set against the price: the more, the better.
    pub(crate) figure: Figure,
    /// The currency of the prices.
    pub(crate) currency: Option<String>,
    /// The variants of which both figures are known, in the order of the rows.
    pub(crate) points: Vec<Point>,
    /// The rows that nothing beats, the cheapest first.
    pub(crate) unbeaten: Vec<usize>,
    /// The same by row.
    is_unbeaten: Vec<bool>,
    /// How many more have a price in another currency, and stay out of it.
    pub(crate) elsewhere: usize,
}

/// A variant by its two figures.
pub(crate) struct Point {
    /// Its place among the rows.
    pub(crate) row: usize,
    pub(crate) price: f64,
    pub(crate) value: f64,
    /// Whether it has no fault, and so competes.
    pub(crate) competes: bool,
}

impl Front {
    /// Whether nothing beats a row.
    pub(crate) fn has(&self, row: usize) -> bool {
        self.is_unbeaten[row]
    }
}

/// The fronts of these rows.
pub(crate) fn of(rows: &[Row]) -> Fronts {
    Fronts { legibility: front(rows, Figure::Legibility), likeness: front(rows, Figure::Likeness) }
}

fn front(rows: &[Row], figure: Figure) -> Front {
    let prices = || rows.iter().filter_map(|row| row.made()?.figure(Figure::Price));
    // Amounts in several currencies cannot be compared: the first that occurs is drawn.
    let currency = prices().next().and_then(|price| price.currency().map(str::to_owned));
    let elsewhere = prices().filter(|price| price.currency() != currency.as_deref()).count();
    let point = |(row, made): (usize, &super::Made)| {
        let price = made.figure(Figure::Price).filter(|price| price.currency() == currency.as_deref())?;
        let value = made.figure(figure)?.number();
        Some(Point { row, price: price.number(), value, competes: made.has_no_fault() })
    };
    let made = rows.iter().enumerate().filter_map(|(row, variant)| Some((row, variant.made()?)));
    let points: Vec<Point> = made.filter_map(point).collect();
    let competing: Vec<&Point> = points.iter().filter(|point| point.competes).collect();
    let pairs: Vec<[f64; 2]> = competing.iter().map(|point| [point.price, point.value]).collect();
    let unbeaten: Vec<usize> = unbeaten(&pairs).into_iter().map(|at| competing[at].row).collect();
    let mut is_unbeaten = vec![false; rows.len()];
    unbeaten.iter().for_each(|&row| is_unbeaten[row] = true);
    Front { figure, currency, unbeaten, is_unbeaten, points, elsewhere }
}

/// The places of the pairs that none beats, where less is better in the first number and more in the second: by the first
/// number, then by place. Equal pairs do not beat each other.
fn unbeaten(pairs: &[[f64; 2]]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..pairs.len()).collect();
    order.sort_by(|&a, &b| {
        pairs[a][0].total_cmp(&pairs[b][0]).then(pairs[b][1].total_cmp(&pairs[a][1])).then(a.cmp(&b))
    });
    // From the cheapest on, each must be better than all before, or the very same as the best of them.
    let mut best: Option<[f64; 2]> = None;
    order.retain(|&at| {
        let stays = best.is_none_or(|best| pairs[at][1] > best[1] || pairs[at] == best);
        if stays {
            best = Some(pairs[at]);
        }
        stays
    });
    order
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// By the definition, each against each.
    fn by_definition(pairs: &[[f64; 2]]) -> Vec<usize> {
        let beats = |a: &[f64; 2], b: &[f64; 2]| a[0] <= b[0] && a[1] >= b[1] && (a[0] < b[0] || a[1] > b[1]);
        (0..pairs.len()).filter(|&at| !pairs.iter().any(|other| beats(other, &pairs[at]))).collect()
    }

    proptest! {
        // Few values, so that many are equal in one figure or in both.
        #[test]
        fn the_front_is_that_of_the_definition(
            pairs in proptest::collection::vec((0_u8..12, 0_u8..12).prop_map(|(a, b)| [f64::from(a), f64::from(b)]), 0..60)
        ) {
            let mut found = unbeaten(&pairs);
            prop_assert!(found.windows(2).all(|two| pairs[two[0]][0] <= pairs[two[1]][0]));
            found.sort_unstable();
            prop_assert_eq!(found, by_definition(&pairs));
        }
    }

    #[test]
    fn equal_pairs_stay_together_and_a_dearer_equal_goes() {
        assert_eq!(unbeaten(&[[2.0, 5.0], [1.0, 5.0], [1.0, 5.0], [3.0, 9.0], [1.0, 4.0]]), [1, 2, 3]);
        assert!(unbeaten(&[]).is_empty());
    }
}
