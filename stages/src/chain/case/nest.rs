//! Lays rectangles on sheets so that every sheet can be cut apart edge to edge.
//!
//! Guillotine packing (as surveyed by Jylänki, "A thousand ways to pack the bin", 2010, from memory): a rectangle goes into
//! the free field where the shorter of the two left-over sides is shortest, and the field is split in two along one of its
//! sides. All of it is tried in every combination of three orders, three ways to lie and two ways to split, and the one with the fewest sheets
//! wins, then the one that leaves most of the last sheet in one stretch.
//!
//! Maximal rectangles waste a little less, but cannot be cut on a saw; a laser does not mind either.
//!
//! Guarantees, each tested: every rectangle lies on one sheet once, whole, off its margin, and so far from the next; every
//! sheet falls apart by cuts from edge to edge; turned only where it may be.

use std::cmp::Ordering;

use glam::{DVec2, Vec2Swizzles as _};

/// Rectangles that touch by less than this do not, in mm: sums of lengths differ in their last digits, by 10⁻¹², and no
/// panel is cut to the nanometre.
const SLACK: f64 = 1e-6;

/// A rectangle to lay.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Item {
    pub(super) size: DVec2,
    /// Whether it may be turned by a quarter.
    pub(super) turns: bool,
}

/// The stock.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Stock {
    pub(super) sheet: DVec2,
    /// Rim that is not used.
    pub(super) margin: f64,
    /// Least distance of two rectangles.
    pub(super) between: f64,
}

/// Where a rectangle lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Laid {
    /// The sheet, counted from 0.
    pub(super) sheet: usize,
    /// Its lower left.
    pub(super) at: DVec2,
    pub(super) turned: bool,
}

/// Places for the items in their order, or the first that is larger than a sheet.
pub(super) fn nest(items: &[Item], stock: &Stock) -> Result<Vec<Laid>, usize> {
    if let Some(large) = items.iter().position(|item| Field::whole(stock).holds(item, stock.between, None).is_none()) {
        return Err(large);
    }
    let rules = TURNS.iter().flat_map(|&turn| [true, false].map(|short| (turn, short)));
    let tries = rules.flat_map(|(turn, short)| ORDERS.map(|order| lay(items, stock, order, turn, short)));
    let best = tries.min_by(|a, b| a.1.total_cmp(&b.1)).map(|(laid, _)| laid);
    Ok(best.unwrap_or_default())
}

/// Larger first, by area, by the longer side, and by the girth.
const ORDERS: [fn(&Item) -> f64; 3] =
    [|item| item.size.x * item.size.y, |item| item.size.max_element(), |item| item.size.x + item.size.y];

/// How a rectangle that may be turned lies: as it fits most closely; lying where that fits; upright where that fits.
const TURNS: [Option<bool>; 3] = [None, Some(false), Some(true)];

/// A free field of a sheet, with the distance to the next included above and to the right.
#[derive(Clone, Copy)]
struct Field {
    at: DVec2,
    size: DVec2,
}

impl Field {
    fn whole(stock: &Stock) -> Self {
        Self { at: DVec2::splat(stock.margin), size: stock.sheet - 2.0 * stock.margin + stock.between }
    }

    /// The shorter left-over side if the item lies here, and whether it is turned: upright or lying as asked where that
    /// fits, else the better of both.
    fn holds(&self, item: &Item, between: f64, upright: Option<bool>) -> Option<(f64, bool)> {
        let left = |turned: bool| {
            let size = if turned { item.size.yx() } else { item.size } + between;
            let over = self.size - size;
            (over.min_element() >= -SLACK && (!turned || item.turns)).then(|| (over.min_element(), turned))
        };
        let asked = upright.and_then(|upright| left((item.size.y > item.size.x) != upright));
        asked.or_else(|| [left(false), left(true)].into_iter().flatten().min_by(|a, b| a.0.total_cmp(&b.0)))
    }
}

/// Lays all, largest first; gives the places and a number that is less for what is better.
fn lay(items: &[Item], stock: &Stock, order: fn(&Item) -> f64, turn: Option<bool>, short: bool) -> (Vec<Laid>, f64) {
    let mut by_size: Vec<usize> = (0..items.len()).collect();
    // Stable: equal ones stay in their order.
    by_size.sort_by(|&a, &b| order(&items[b]).total_cmp(&order(&items[a])));
    let mut sheets: Vec<Vec<Field>> = Vec::new();
    let mut laid = vec![Laid { sheet: 0, at: DVec2::ZERO, turned: false }; items.len()];
    for i in by_size {
        let item = &items[i];
        let found = sheets.iter().enumerate().find_map(|(sheet, fields)| {
            let better = |a: &(usize, (f64, bool)), b: &(usize, (f64, bool))| {
                a.1.0.partial_cmp(&b.1.0).unwrap_or(Ordering::Equal)
            };
            let fits =
                fields.iter().enumerate().filter_map(|(f, field)| Some((f, field.holds(item, stock.between, turn)?)));
            fits.min_by(better).map(|(field, (_, turned))| (sheet, field, turned))
        });
        let (sheet, field, turned) = found.unwrap_or_else(|| {
            sheets.push(vec![Field::whole(stock)]);
            let turned = Field::whole(stock).holds(item, stock.between, turn).is_some_and(|(_, turned)| turned);
            (sheets.len() - 1, 0, turned)
        });
        let Field { at, size } = sheets[sheet].swap_remove(field);
        laid[i] = Laid { sheet, at, turned };
        let takes = if turned { item.size.yx() } else { item.size } + stock.between;
        sheets[sheet].extend(split(at, size, takes, short));
    }
    let last = laid.iter().enumerate().filter(|(_, laid)| laid.sheet + 1 == sheets.len());
    let ends = last.map(|(i, laid)| laid.at + if laid.turned { items[i].size.yx() } else { items[i].size });
    let end = ends.fold(DVec2::ZERO, DVec2::max) / stock.sheet;
    (laid, sheets.len() as f64 + end.min_element().min(1.0) / 2.0)
}

/// What is left of a field beside and above what lies at its lower left: split along the shorter or longer left-over side.
fn split(at: DVec2, size: DVec2, takes: DVec2, short: bool) -> impl Iterator<Item = Field> {
    let over = size - takes;
    let flat = (over.x < over.y) == short;
    // Flat: what is above goes on to the right; else what is beside goes on upwards.
    let above = DVec2::new(if flat { size.x } else { takes.x }, over.y);
    let beside = DVec2::new(over.x, if flat { takes.y } else { size.y });
    let fields =
        [Field { at: at + DVec2::Y * takes.y, size: above }, Field { at: at + DVec2::X * takes.x, size: beside }];
    fields.into_iter().filter(|field| field.size.min_element() > SLACK)
}

#[cfg(test)]
#[expect(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn item(x: f64, y: f64) -> Item {
        Item { size: DVec2::new(x, y), turns: true }
    }

    fn rect(item: &Item, laid: &Laid) -> [DVec2; 2] {
        let size = if laid.turned { item.size.yx() } else { item.size };
        [laid.at, laid.at + size]
    }

    /// Whether cuts from edge to edge take rectangles apart, by the definition.
    fn falls_apart(rects: &[[DVec2; 2]]) -> bool {
        if rects.len() < 2 {
            return true;
        }
        (0..2).any(|axis| {
            rects.iter().any(|cut| {
                let line = cut[1][axis];
                type Rects = Vec<[DVec2; 2]>;
                let (before, after): (Rects, Rects) = rects.iter().copied().partition(|r| r[1][axis] <= line + SLACK);
                !after.is_empty()
                    && after.iter().all(|r| r[0][axis] >= line - SLACK)
                    && falls_apart(&before)
                    && falls_apart(&after)
            })
        })
    }

    #[test]
    fn four_quarters_fill_a_sheet() {
        let stock = Stock { sheet: DVec2::new(100.0, 60.0), margin: 0.0, between: 0.0 };
        let laid = nest(&[item(50.0, 30.0), item(50.0, 30.0), item(30.0, 50.0), item(50.0, 30.0)], &stock).unwrap();
        assert!(laid.iter().all(|laid| laid.sheet == 0), "{laid:?}");
        let five = nest(&[item(50.0, 30.0); 5], &stock).unwrap();
        assert_eq!(five.iter().map(|laid| laid.sheet).max(), Some(1));
        // The kerf goes between them, not around them.
        let kerf = Stock { sheet: DVec2::new(103.0, 63.0), margin: 0.0, between: 3.0 };
        assert!(nest(&[item(50.0, 30.0); 4], &kerf).unwrap().iter().all(|laid| laid.sheet == 0));
    }

    #[test]
    fn what_is_larger_than_a_sheet_is_named() {
        let stock = Stock { sheet: DVec2::new(100.0, 60.0), margin: 5.0, between: 2.0 };
        assert_eq!(nest(&[item(90.0, 50.0), item(90.1, 20.0)], &stock), Err(1));
        assert!(nest(&[item(50.0, 90.0)], &stock).unwrap()[0].turned);
        let grained = Item { turns: false, ..item(50.0, 90.0) };
        assert_eq!(nest(&[grained], &stock), Err(0));
        assert_eq!(nest(&[], &stock), Ok(Vec::new()));
    }

    proptest! {
        #[test]
        fn all_lie_on_sheets_apart_and_fall_apart(
            sizes in prop::collection::vec((1.0..90.0f64, 1.0..50.0f64, any::<bool>()), 0..20),
            margin in 0.0..5.0f64, between in 0.0..4.0f64,
        ) {
            let stock = Stock { sheet: DVec2::new(100.0, 60.0), margin, between };
            let items: Vec<Item> = sizes.iter().map(|&(x, y, turns)| Item { size: DVec2::new(x, y), turns }).collect();
            let laid = match nest(&items, &stock) {
                Ok(laid) => laid,
                Err(i) => {
                    let room = stock.sheet - 2.0 * margin;
                    prop_assert!(items[i].size.cmpgt(room).any());
                    return Ok(());
                }
            };
            prop_assert_eq!(laid.len(), items.len());
            let sheets = laid.iter().map(|laid| laid.sheet + 1).max().unwrap_or(0);
            for sheet in 0..sheets {
                let on: Vec<usize> = (0..items.len()).filter(|&i| laid[i].sheet == sheet).collect();
                prop_assert!(!on.is_empty());
                let rects: Vec<_> = on.iter().map(|&i| rect(&items[i], &laid[i])).collect();
                for (n, a) in rects.iter().enumerate() {
                    prop_assert!(items[on[n]].turns || !laid[on[n]].turned);
                    prop_assert!(a[0].cmpge(DVec2::splat(margin - SLACK)).all());
                    prop_assert!(a[1].cmple(stock.sheet - margin + SLACK).all());
                    for b in &rects[..n] {
                        let apart = (a[0] - b[1]).max(b[0] - a[1]).max_element();
                        prop_assert!(apart >= between - SLACK, "{a:?} {b:?}");
                    }
                }
                prop_assert!(falls_apart(&rects), "{rects:?}");
            }
        }
    }
}
