//! Price against another figure: a sign for each variant, and a line through those that nothing beats.
//!
//! Signs and lines take the colours of the page. What a sign means shows in its form: a full square is not beaten, an open
//! one is, a cross has faults; a ring is around the one that was chosen. Each sign says in `data-row` which row it is.

use std::collections::BTreeMap;

use super::Night;
use super::figures::Figure;
use super::front::{Front, Point};
use crate::chart::{self, Along, Axis, Drawing, Frame, Place, Shape, TENTHS};
use crate::numbers;

const FRAME: Frame = Frame { width: 640, height: 360, left: 52, right: 24, above: 18, below: 34, grid: false };
/// The field ends so far from what is least and most, as a share of what lies between.
const AIR: f64 = 0.06;
/// So many variants have a title each; of more, those that are beaten have none.
const MOST_TITLES: usize = 1500;
/// From the middle of a sign to its number, in tenths of a pixel: leftwards and upwards.
const TO_NUMBER: i32 = 70;
/// Width and height that a numeral has on a phone, where it is largest, in tenths of a pixel.
const NUMERAL: [i32; 2] = [13 * TENTHS, 18 * TENTHS];
/// The radius of the ring, in tenths of a pixel.
const RING: i32 = 90;

/// A plot of two figures.
pub(crate) struct Plot {
    pub(crate) title: String,
    /// What is set against the price.
    pub(crate) figure: String,
    pub(crate) words: String,
    pub(crate) drawing: Drawing,
    /// Those that nothing beats, the cheapest first.
    pub(crate) best: Vec<Best>,
    pub(crate) currency: String,
    /// How many variants with faults lie so far away that they would press the others together.
    pub(crate) outside: usize,
    /// How many variants have a price in another currency.
    pub(crate) elsewhere: usize,
}

/// A variant that nothing beats, or several that are alike in both figures.
pub(crate) struct Best {
    pub(crate) number: usize,
    /// The rows, in the order of the job.
    pub(crate) rows: Vec<usize>,
    pub(crate) price: String,
    pub(crate) value: String,
}

/// The plot of a front; nothing where fewer than two variants have both figures.
pub(crate) fn of(night: &Night, front: &Front, chosen: Option<usize>) -> Option<Plot> {
    let points = &front.points;
    if points.len() < 2 {
        return None;
    }
    let [across, up] = axes(points);
    let best = best(night, front);
    let inside: Vec<&Point> = points.iter().filter(|point| across.has(point.price) && up.has(point.value)).collect();
    let signs = Signs { night, front, chosen };
    let mut series = vec![Along::line("line", steps(front, &best))];
    // What is beaten lies below what is not.
    for form in ["faulty", "beaten", "unbeaten"] {
        let such = inside.iter().filter(|point| form_of(front, point) == form);
        series.extend(such.map(|&point| Along::at([point.price, point.value], |place| signs.of(point, place))));
    }
    series.push(ordinals(front, &best));
    let name = front.figure.word();
    Some(Plot {
        title: format!("Price and {name}"),
        figure: crate::said::capitalised(name),
        words: format!(
            "Price of one copy from left to right, {name} upwards, for {} variants; {} of them nothing beats, listed below",
            points.len(),
            front.unbeaten.len()
        ),
        drawing: chart::draw(&FRAME, across, up, &series)?,
        outside: points.len() - inside.len(),
        best,
        currency: front.currency.clone().unwrap_or_default(),
        elsewhere: front.elsewhere,
    })
}

/// Price across and the other figure up. They reach as far as what competes: a piece with faults may cost anything.
fn axes(points: &[Point]) -> [Axis; 2] {
    let competing: Vec<&Point> = points.iter().filter(|point| point.competes).collect();
    let drawn: Vec<&Point> = if competing.len() < 2 { points.iter().collect() } else { competing };
    let axis = |of: fn(&Point) -> f64, most| {
        let values = drawn.iter().map(|point| of(point));
        let (least, greatest) = values.fold((f64::MAX, f64::MIN), |(least, most), v| (least.min(v), most.max(v)));
        let air = AIR * (greatest - least);
        Axis::round([least - air, greatest + air], most, numbers::measured)
    };
    [axis(|point| point.price, 7), axis(|point| point.value, 6)]
}

/// What nothing beats, the cheapest first; those that are alike in both figures stand together.
fn best(night: &Night, front: &Front) -> Vec<Best> {
    let by_row = by_row(front);
    let mut best: Vec<Best> = Vec::new();
    for &row in &front.unbeaten {
        let is_like = |last: &Best| {
            let (one, other) = (by_row[&last.rows[0]], by_row[&row]);
            one.price == other.price && one.value == other.value
        };
        match best.last_mut().filter(|last| is_like(last)) {
            Some(last) => last.rows.push(row),
            None => best.push(Best {
                number: best.len() + 1,
                rows: vec![row],
                price: words(night, row, Figure::Price),
                value: words(night, row, front.figure),
            }),
        }
    }
    best
}

/// The line through the best, in steps: as price grows, the most that can be had.
fn steps(front: &Front, best: &[Best]) -> Vec<[f64; 2]> {
    let by_row = by_row(front);
    let mut corners: Vec<[f64; 2]> = Vec::new();
    for point in best.iter().map(|best| by_row[&best.rows[0]]) {
        corners.extend(corners.last().map(|&[_, value]| [point.price, value]));
        corners.push([point.price, point.value]);
    }
    corners
}

/// The numbers beside those that nothing beats, the cheapest first, as far as they keep out of each other's way. The list
/// below the plot has them all.
fn ordinals(front: &Front, best: &[Best]) -> Along<'static> {
    let by_row = by_row(front);
    let points = best.iter().map(|best| by_row[&best.rows[0]]).map(|point| [point.price, point.value]);
    Along::new(points, |places| {
        let mut shapes: Vec<Shape> = Vec::new();
        let mut taken: Vec<[i32; 4]> = Vec::new();
        for (number, &(x, y)) in (1_u32..).zip(places) {
            let (right, lower) = (x - TO_NUMBER, y - TO_NUMBER);
            let width = NUMERAL[0] * (number.ilog10().cast_signed() + 1);
            let place = [right - width, right, lower - NUMERAL[1], lower];
            let meets = |other: &[i32; 4]| {
                place[0] < other[1] && other[0] < place[1] && place[2] < other[3] && other[2] < place[3]
            };
            if !taken.iter().any(meets) {
                taken.push(place);
                shapes.push(Shape::text("ordinal-of", (right, lower), "end", number.to_string()));
            }
        }
        shapes
    })
}

fn by_row(front: &Front) -> BTreeMap<usize, &Point> {
    front.points.iter().map(|point| (point.row, point)).collect()
}

fn words(night: &Night, row: usize, figure: Figure) -> String {
    night.rows[row].made().and_then(|made| made.figure(figure)).map(|value| value.words(figure)).unwrap_or_default()
}

/// The form of a variant's sign.
fn form_of(front: &Front, point: &Point) -> &'static str {
    match (front.has(point.row), point.competes) {
        (true, _) => "unbeaten",
        (false, true) => "beaten",
        (false, false) => "faulty",
    }
}

/// The signs of a plot.
struct Signs<'a> {
    night: &'a Night,
    front: &'a Front,
    chosen: Option<usize>,
}

impl Signs<'_> {
    /// A variant's sign, with its ring.
    fn of(&self, point: &Point, place: Place) -> Vec<Shape> {
        let form = form_of(self.front, point);
        let is_chosen = self.chosen == Some(point.row);
        let sign = Shape::path(format!("sign {form}"), shape(form, place)).with("data-row", &point.row);
        let has_title = self.front.points.len() <= MOST_TITLES || form != "beaten" || is_chosen;
        let sign = if has_title { sign.titled(self.title(point)) } else { sign };
        let ring = is_chosen.then(|| Shape::circle("ring-around", place, RING));
        std::iter::once(sign).chain(ring).collect()
    }

    fn title(&self, point: &Point) -> String {
        let Self { night, front, .. } = self;
        format!(
            "{}: {}, {} {}{}",
            night.rows[point.row].name,
            words(night, point.row, Figure::Price),
            front.figure.word(),
            words(night, point.row, front.figure),
            if point.competes { "" } else { ", has faults" }
        )
    }
}

/// The path of a sign in the key, in the middle of a square of 14 pixels.
pub(crate) fn key(form: &str) -> String {
    shape(form, (7 * TENTHS, 7 * TENTHS))
}

/// The path of a sign around a place.
fn shape(form: &str, place: Place) -> String {
    match form {
        "unbeaten" => chart::square(place, 45),
        "faulty" => chart::cross(place, 32),
        _ => chart::square(place, 32),
    }
}
