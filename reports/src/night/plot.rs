//! Price against another figure: a sign for each variant, and a line through those that nothing beats.
//!
//! Drawn by the template, in lines and signs that take the colours of the page. What a sign means shows in its form: a full
//! square is not beaten, an open one is, a cross has faults; a ring is around the one that was chosen.

use super::Night;
use super::figures::Figure;
use super::front::{Front, Point};
use crate::chart::{Scale, path, tenths};
use crate::numbers;

pub(crate) const WIDTH: f64 = 640.0;
pub(crate) const HEIGHT: f64 = 360.0;
const LEFT: f64 = 52.0;
const RIGHT: f64 = 24.0;
const ABOVE: f64 = 18.0;
const BELOW: f64 = 34.0;
/// The field ends so far from what is least and most, as a share of what lies between.
const AIR: f64 = 0.06;
/// So many variants have a title each; of more, those that are beaten share one.
const MOST_TITLES: usize = 1500;

/// A plot of two figures.
pub(crate) struct Plot {
    pub(crate) title: String,
    /// What is set against the price.
    pub(crate) figure: String,
    pub(crate) words: String,
    /// The line through the best: as price grows, the most that can be had.
    pub(crate) line: String,
    pub(crate) signs: Vec<Sign>,
    /// Beaten ones, where there are too many for a title each.
    pub(crate) crowd: String,
    /// Those that nothing beats, the cheapest first.
    pub(crate) best: Vec<Best>,
    pub(crate) across: Vec<(f64, String)>,
    pub(crate) up: Vec<(f64, String)>,
    /// The field: left, right, top, bottom.
    pub(crate) field: [f64; 4],
    pub(crate) currency: String,
    /// How many variants with faults lie so far away that they would press the others together.
    pub(crate) outside: usize,
    /// How many variants have a price in another currency.
    pub(crate) elsewhere: usize,
}

/// A variant in a plot.
pub(crate) struct Sign {
    pub(crate) form: &'static str,
    pub(crate) path: String,
    pub(crate) title: String,
    /// Where the ring goes, if it was chosen.
    pub(crate) ring: Option<[f64; 2]>,
    /// Place and number among those that nothing beats.
    pub(crate) number: Option<([f64; 2], String)>,
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
    // The drawing reaches as far as what competes: a piece with faults may cost anything.
    let competing: Vec<&Point> = points.iter().filter(|point| point.competes).collect();
    let drawn: Vec<&Point> = if competing.len() < 2 { points.iter().collect() } else { competing };
    let ends = |of: fn(&Point) -> f64| {
        let values = drawn.iter().map(|point| of(point));
        let (least, most) = values.fold((f64::MAX, f64::MIN), |(least, most), v| (least.min(v), most.max(v)));
        let air = AIR * (most - least);
        [least - air, most + air]
    };
    let field = [LEFT, WIDTH - RIGHT, ABOVE, HEIGHT - BELOW];
    let x = Scale::new(ends(|point| point.price), [field[0], field[1]]);
    let y = Scale::new(ends(|point| point.value), [field[3], field[2]]);
    let place = |at: usize| [x.place(points[at].price), y.place(points[at].value)];
    let by_row: std::collections::BTreeMap<usize, usize> =
        points.iter().enumerate().map(|(at, point)| (point.row, at)).collect();
    let words = |row: usize, figure| {
        night.rows[row].made().and_then(|made| made.figure(figure)).map(|v| v.words(figure)).unwrap_or_default()
    };
    let mut best: Vec<Best> = Vec::new();
    let mut corners: Vec<[f64; 2]> = Vec::new();
    for &row in &front.unbeaten {
        let at = by_row[&row];
        let same = best.last().is_some_and(|last| {
            let other = &points[by_row[&last.rows[0]]];
            other.price == points[at].price && other.value == points[at].value
        });
        if let Some(last) = best.last_mut().filter(|_| same) {
            last.rows.push(row);
            continue;
        }
        let [to_x, to_y] = place(at);
        corners.extend(corners.last().map(|&[_, y]| [to_x, y]));
        corners.push([to_x, to_y]);
        best.push(Best {
            number: best.len() + 1,
            rows: vec![row],
            price: words(row, Figure::Price),
            value: words(row, front.figure),
        });
    }
    let numbers: std::collections::BTreeMap<usize, usize> =
        best.iter().map(|best| (best.rows[0], best.number)).collect();
    let is_inside = |at: usize| {
        let [x, y] = place(at);
        (field[0]..=field[1]).contains(&x) && (field[2]..=field[3]).contains(&y)
    };
    let outside = (0..points.len()).filter(|&at| !is_inside(at)).count();
    let many = points.len() > MOST_TITLES;
    let mut crowd = String::new();
    let mut signs: Vec<(u8, Sign)> = Vec::new();
    for (at, point) in points.iter().enumerate().filter(|(at, _)| is_inside(*at)) {
        let (layer, form) = match (point.competes, front.has(point.row)) {
            (_, true) => (2, "unbeaten"),
            (true, false) => (1, "beaten"),
            (false, false) => (0, "faulty"),
        };
        let is_chosen = chosen == Some(point.row);
        if many && form == "beaten" && !is_chosen {
            crowd += &shape(form, place(at));
            continue;
        }
        let sign = Sign {
            form,
            path: shape(form, place(at)),
            title: format!(
                "{}: {}, {} {}{}",
                night.rows[point.row].name,
                words(point.row, Figure::Price),
                front.figure.word(),
                words(point.row, front.figure),
                if point.competes { "" } else { ", has faults" }
            ),
            ring: is_chosen.then(|| place(at).map(tenth)),
            number: numbers.get(&point.row).map(|number| {
                let [x, y] = place(at);
                ([tenth(x - 7.0), tenth(y - 7.0)], number.to_string())
            }),
        };
        signs.push((layer, sign));
    }
    // What is beaten lies below what is not.
    signs.sort_by_key(|(layer, _)| *layer);
    let ticks = |scale: &Scale, most| -> Vec<(f64, String)> {
        scale.marks(most).into_iter().map(|mark| (tenth(scale.place(mark)), numbers::measured(mark))).collect()
    };
    let name = front.figure.word();
    Some(Plot {
        title: format!("Price and {name}"),
        figure: crate::said::capitalised(name),
        words: format!(
            "Price of one copy from left to right, {name} upwards, for {} variants; {} of them nothing beats, listed below",
            points.len(),
            front.unbeaten.len()
        ),
        line: path(corners),
        signs: signs.into_iter().map(|(_, sign)| sign).collect(),
        crowd,
        best,
        across: ticks(&x, 7),
        up: ticks(&y, 6),
        field,
        currency: front.currency.clone().unwrap_or_default(),
        outside,
        elsewhere: front.elsewhere,
    })
}

/// The path of a sign in the key, in the middle of a square of 14.
pub(crate) fn key(form: &str) -> String {
    shape(form, [7.0, 7.0])
}

/// The path of a sign around a place.
fn shape(form: &str, [x, y]: [f64; 2]) -> String {
    let half = if form == "unbeaten" { 4.5 } else { 3.2 };
    let [left, right, top, bottom] = [x - half, x + half, y - half, y + half].map(tenths);
    match form {
        "faulty" => format!("M{left} {top}L{right} {bottom}M{right} {top}L{left} {bottom}"),
        _ => format!("M{left} {top}H{right}V{bottom}H{left}Z"),
    }
}

/// To a tenth of the drawing's unit.
fn tenth(place: f64) -> f64 {
    (place * 10.0).round() / 10.0
}
