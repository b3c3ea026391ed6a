//! The cost, drawn: the parts of a price as a flight of steps that ends at the total, and the price of each copy over the
//! number of copies that are ordered at once.

use std::collections::BTreeMap;
use std::str::FromStr;

use plotters::coord::ranged1d::Ranged;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use turnhue_stages::findings::Unit;

use crate::chart::{self, Along, Axis, Drawing, Frame, Shape, TENTHS};
use crate::facts::{self, Grid};
use crate::numbers;
use crate::record::StageRecord;
use crate::said::capitalised;

/// How wide the flight of steps is, in the units of its drawings.
pub(crate) const RUN: i32 = 1000;

/// In the place of an amount that the rate file does not tell.
const UNKNOWN: &str = "?";

const FRAME: Frame = Frame { width: 420, height: 210, left: 48, right: 12, above: 22, below: 26, grid: false };
/// Numbers of copies are written no nearer to each other, in pixels.
const MARKS_APART: f64 = 26.0;
/// Of so many numbers of copies at most, each sign has its price beside it.
const MOST_PRICES: usize = 6;
/// From the middle of a sign up to its price, in tenths of a pixel.
const TO_PRICE: i32 = 9 * TENTHS;

/// The cost in pictures, as far as the stage told it.
pub(crate) struct Drawn {
    pub(crate) steps: Option<Steps>,
    pub(crate) copies: Option<Copies>,
}

impl Drawn {
    /// What a stage told of the cost.
    pub(crate) fn of(stage: &StageRecord) -> Self {
        Self {
            steps: facts::table(stage, "parts of the price").and_then(Steps::of),
            copies: facts::table(stage, "cost by copies").and_then(Copies::of),
        }
    }
}

/// The parts of a price, each from where the one before ended.
pub(crate) struct Steps {
    /// What the price is of: `1 copy`.
    pub(crate) copies: String,
    pub(crate) steps: Vec<Step>,
}

/// A part of a price, or the total.
pub(crate) struct Step {
    pub(crate) name: String,
    /// The amount, with its currency.
    pub(crate) amount: String,
    /// Its share of the total, in per cent.
    pub(crate) share: String,
    /// `adds`, `takes` off, `total`, or `unknown`: its form.
    pub(crate) form: &'static str,
    /// Where it begins and how far it goes, out of [`RUN`].
    pub(crate) reach: [i32; 2],
}

impl Steps {
    /// The parts of a price. Nothing if they do not add up to its total: such a drawing would lie.
    fn of(parts: Grid<'_>) -> Option<Self> {
        let [_, _, currency] = parts.headings() else { return None };
        let rows: Option<Vec<Part<'_>>> = parts.rows.iter().map(|row| Part::of(row)).collect();
        let mut rows = rows?;
        let all = rows.pop().filter(|last| last.name == "total")?;
        let total = all.amount.filter(|total| *total > Decimal::ZERO)?;
        let mut flight = Vec::new();
        let mut reached = Decimal::ZERO;
        for part in &rows {
            let from = reached;
            reached = reached.checked_add(part.amount.unwrap_or_default())?;
            flight.push((part, [from, reached]));
        }
        if reached != total {
            return None;
        }
        flight.push((&all, [Decimal::ZERO, total]));
        let number = |amount: Decimal| amount.to_f64().unwrap_or_default();
        let (least, most) = flight
            .iter()
            .flat_map(|(_, ends)| ends)
            .fold((0.0, 0.0), |(least, most), &end| (f64::min(least, number(end)), f64::max(most, number(end))));
        let axis = Axis::marked([least, most], Vec::new());
        let last = flight.len() - 1;
        let step = |(at, (part, [from, to])): (usize, (&Part<'_>, [Decimal; 2]))| {
            let [left, right] = [from.min(to), from.max(to)].map(|end| axis.map(&number(end), (0, RUN)));
            Step {
                name: capitalised(part.name),
                amount: part.amount.map_or("not known".to_owned(), |_| numbers::money(part.text, currency)),
                share: part.amount.map_or_else(String::new, |amount| share(number(amount) / number(total))),
                form: match part.amount {
                    None => "unknown",
                    Some(_) if at == last => "total",
                    Some(amount) if amount < Decimal::ZERO => "takes",
                    Some(_) => "adds",
                },
                reach: [left, right - left],
            }
        };
        Some(Self { copies: all.how.replace(' ', "\u{a0}"), steps: flight.into_iter().enumerate().map(step).collect() })
    }
}

impl Steps {
    /// Whether there is a step of this form.
    pub(crate) fn has(&self, form: &str) -> bool {
        self.steps.iter().any(|step| step.form == form)
    }
}

/// A row of the parts of a price.
struct Part<'a> {
    name: &'a str,
    how: &'a str,
    /// The amount as it was told.
    text: &'a str,
    /// The same, unless it is not known.
    amount: Option<Decimal>,
}

impl<'a> Part<'a> {
    fn of(row: &'a [String]) -> Option<Self> {
        let [name, how, text] = row else { return None };
        let amount = if text == UNKNOWN { None } else { Some(Decimal::from_str(text).ok()?) };
        Some(Self { name, how, text, amount })
    }
}

/// A share of the whole in tenths of a per cent; of one that is hardly any it says so.
fn share(share: f64) -> String {
    let percent = libm::round(share * 1000.0) / 10.0;
    let text = |percent: f64| numbers::quantity(percent, Some(Unit::Percent));
    if percent == 0.0 && share != 0.0 { format!("below {}", text(0.1)) } else { text(percent) }
}

/// The price of each copy over the number of copies.
pub(crate) struct Copies {
    pub(crate) currency: String,
    pub(crate) words: String,
    pub(crate) drawing: Drawing,
    /// Whether shipping is in none of the prices, for it is not known.
    pub(crate) lacks_shipping: bool,
}

impl Copies {
    /// The prices of copies; nothing of fewer than two numbers of copies.
    fn of(costs: Grid<'_>) -> Option<Self> {
        let heading = costs.headings().iter().find(|heading| heading.starts_with("each ("))?;
        let currency = heading.trim_start_matches("each (").trim_end_matches(')');
        let prices: Option<BTreeMap<u32, &str>> = costs
            .rows
            .iter()
            .map(|row| Some((costs.text(row, "copies")?.parse().ok().filter(|&n| n > 0)?, costs.text(row, heading)?)))
            .collect();
        let prices = prices?;
        let amounts: Option<Vec<(u32, f64, &str)>> = prices
            .iter()
            .map(|(&copies, &text)| Some((copies, text.parse().ok().filter(|amount: &f64| *amount >= 0.0)?, text)))
            .collect();
        let amounts = amounts?;
        let ([first, .., last], true) = (&amounts[..], amounts.iter().all(|(_, amount, _)| amount.is_finite())) else {
            return None;
        };
        let word = |&(copies, _, text): &(u32, f64, &str)| format!("{} for {copies}", numbers::money(text, currency));
        let words = amounts.iter().map(word).collect::<Vec<_>>().join(", ");
        // Twice as many copies are as far away wherever one begins.
        let [from, to] = [first, last].map(|(copies, ..)| libm::log(f64::from(*copies)));
        let air = 0.12 * (to - from);
        let dearest = amounts.iter().map(|(_, amount, _)| *amount).fold(0.0, f64::max);
        let has_prices = amounts.len() <= MOST_PRICES;
        let points = amounts.iter().map(|(copies, amount, text)| ([libm::log(f64::from(*copies)), *amount], *text));
        let mut series = vec![Along::line("line", points.clone().map(|(point, _)| point))];
        series.extend(points.map(|(point, text)| {
            Along::at(point, move |place| {
                let price = has_prices
                    .then(|| Shape::text("price", (place.0, place.1 - TO_PRICE), "middle", numbers::tidy(text)));
                std::iter::once(Shape::path("sign", chart::square(place, 36))).chain(price).collect()
            })
        }));
        let across = Axis::marked([from - air, to + air], marks(prices.keys().copied(), to - from));
        // From nothing, so that a height is a price.
        let up = Axis::round([0.0, dearest * 1.08], 5, numbers::measured);
        let unknown = |row: &Vec<String>| row.iter().any(|text| text == UNKNOWN);
        Some(Self {
            currency: currency.to_owned(),
            words: format!("The price of each copy: {words}"),
            drawing: chart::draw(&FRAME, across, up, &series)?,
            lacks_shipping: costs.rows.iter().any(unknown),
        })
    }
}

/// Marks at numbers of copies, least first, as far as they keep out of each other's way; `extent` is from the least to the
/// most by the logarithm.
fn marks(copies: impl Iterator<Item = u32>, extent: f64) -> Vec<(f64, String)> {
    let [left, _, right, _] = FRAME.field();
    let apart = MARKS_APART * f64::from(TENTHS) / f64::from(right - left) * extent;
    let mut marks: Vec<(f64, String)> = Vec::new();
    for number in copies {
        let at = libm::log(f64::from(number));
        if marks.last().is_none_or(|(last, _)| at - last >= apart) {
            marks.push((at, numbers::whole(i64::from(number))));
        }
    }
    marks
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use turnhue_stages::findings::Fact;

    use super::*;

    fn fact(name: &str, columns: &[&str], rows: &[&[&str]]) -> Fact {
        Fact::table(name, columns, rows.iter().map(|row| row.iter().map(|text| (*text).to_owned()).collect()).collect())
    }

    fn steps(rows: &[&[&str]]) -> Option<Steps> {
        let fact = fact("parts of the price", &["part", "how it comes about", "EUR"], rows);
        Steps::of(Grid::of(&fact).unwrap())
    }

    /// By hand: of 100 the material is 60, the surface 50, a tenth is off, shipping is not known.
    #[test]
    fn each_step_begins_where_the_one_before_it_ends() {
        let steps = steps(&[
            &["material", "6 cm³ × 10", "60.00"],
            &["outside surface", "5 cm² × 10", "50.00"],
            &["quantity break", "10 off", "-10.00"],
            &["shipping", "900 g", "?"],
            &["total", "2 copies", "100.00"],
        ])
        .unwrap();
        assert_eq!(steps.copies, "2\u{a0}copies");
        let told: Vec<_> = steps.steps.iter().map(|step| (step.form, step.reach)).collect();
        // The axis ends at 110, the most that is reached.
        let at = |amount: i32| RUN * amount / 110;
        let expected = [
            ("adds", [0, at(60)]),
            ("adds", [at(60), RUN - at(60)]),
            ("takes", [at(100), RUN - at(100)]),
            ("unknown", [at(100), 0]),
            ("total", [0, at(100)]),
        ];
        assert_eq!(told, expected);
        let gap = '\u{a0}';
        let shares: Vec<_> = steps.steps.iter().map(|step| step.share.replace(gap, " ")).collect();
        assert_eq!(shares, ["60 %", "50 %", "\u{2212}10 %", "", "100 %"]);
        assert_eq!(steps.steps[2].amount.replace(gap, " "), "EUR \u{2212}10.00");
        assert_eq!(steps.steps[3].amount, "not known");
    }

    #[test]
    fn what_does_not_add_up_is_not_drawn() {
        let total: &[&str] = &["total", "1 copy", "100.00"];
        assert!(steps(&[&["material", "", "100.00"], total]).is_some());
        for wrong in ["99.99", "much", "", "79228162514264337593543950335"] {
            assert!(steps(&[&["material", "", wrong], total]).is_none(), "{wrong}");
        }
        assert!(steps(&[&["material", "", "100.00"], &["all", "1 copy", "100.00"]]).is_none());
        assert!(steps(&[&["material", "100.00"], total]).is_none());
        assert!(steps(&[&["gift", "", "0.00"], &["total", "1 copy", "0.00"]]).is_none());
        assert!(steps(&[]).is_none());
    }

    fn copies(rows: &[&[&str]]) -> Option<Copies> {
        let fact = fact("cost by copies", &["copies", "shipping (EUR)", "each (EUR)"], rows);
        Copies::of(Grid::of(&fact).unwrap())
    }

    #[test]
    fn prices_of_copies_stand_by_their_number_and_each_says_itself() {
        let drawn = copies(&[&["10", "5.00", "80.00"], &["1", "5.00", "100.00"], &["100", "?", "60.00"]]).unwrap();
        assert_eq!(drawn.currency, "EUR");
        assert!(drawn.lacks_shipping);
        let said = drawn.words.replace('\u{a0}', " ");
        assert_eq!(said, "The price of each copy: EUR 100.00 for 1, EUR 80.00 for 10, EUR 60.00 for 100");
        let signs: Vec<f64> = drawn
            .drawing
            .shapes
            .iter()
            .filter(|shape| shape.class == "price")
            .map(|shape| shape.attributes[0].1.parse().unwrap())
            .collect();
        // Ten times as many are as far away, from 1 to 10 and from 10 to 100.
        assert!(signs.len() == 3 && (signs[1] - signs[0] - (signs[2] - signs[1])).abs() < 0.21, "{signs:?}");
    }

    #[test]
    fn numbers_of_copies_keep_out_of_each_others_way() {
        let texts: Vec<[String; 3]> = (1..=24).map(|n| [n.to_string(), "1.00".to_owned(), "9.00".to_owned()]).collect();
        let rows: Vec<Vec<&str>> = texts.iter().map(|row| row.iter().map(String::as_str).collect()).collect();
        let rows: Vec<&[&str]> = rows.iter().map(Vec::as_slice).collect();
        let drawing = copies(&rows).unwrap().drawing;
        let marks = drawing.shapes.iter().filter(|shape| shape.class == "mark");
        let below = marks.filter(|mark| mark.attributes[2].1 == "middle");
        let places: Vec<f64> = below.map(|mark| mark.attributes[0].1.parse().unwrap()).collect();
        assert!(places.len() > 4 && places.windows(2).all(|two| two[1] - two[0] > 20.0), "{places:?}");
        assert!(!drawing.has("price"));
    }

    #[test]
    fn what_is_no_price_of_copies_is_not_drawn() {
        let five: &[&str] = &["5", "1.00", "9.00"];
        for wrong in [
            ["0", "1.00", "9.00"],
            ["many", "1.00", "9.00"],
            ["7", "1.00", "?"],
            ["7", "1.00", "inf"],
            ["5", "1.00", "8.00"],
        ] {
            assert!(copies(&[five, &wrong]).is_none(), "{wrong:?}");
        }
        assert!(copies(&[five]).is_none());
        assert!(copies(&[five, &["6", "1.00", "0.00"]]).is_some());
    }
}
