//! The sizes of the cell as a plot of small multiples: one panel for each measure, all over the same sizes.
//!
//! A panel is drawn by the template, in lines and signs that take the colours of the page, so that it reads on light,
//! dark and paper, and in black and white: what a sign means shows in its form. Sizes are spread by their logarithm, as
//! they were chosen.

use super::{Advice, Effect, Size};
use crate::numbers;

/// Width and height of a panel, and the space around its field: left, right, above, below. Units of the drawing.
pub(crate) const WIDTH: f64 = 320.0;
pub(crate) const HEIGHT: f64 = 164.0;
const LEFT: f64 = 46.0;
const RIGHT: f64 = 12.0;
const ABOVE: f64 = 10.0;
const BELOW: f64 = 26.0;
/// The field ends so far from what is highest and lowest, as a share of what lies between.
const AIR: f64 = 0.1;

/// A measure over the sizes of the cell.
pub(crate) struct Panel {
    /// What is measured.
    pub(crate) title: &'static str,
    /// Its unit; for money, the currency.
    pub(crate) unit: String,
    /// The panel in words.
    pub(crate) words: String,
    /// The line through all sizes: points of a polyline.
    pub(crate) line: String,
    /// A sign for each size.
    pub(crate) signs: Vec<Sign>,
    /// Places and texts along the cell axis.
    pub(crate) across: Vec<Tick>,
    /// Places and texts along the measure's axis.
    pub(crate) up: Vec<Tick>,
    /// Where the recommended cell stands.
    pub(crate) chosen: Option<f64>,
    /// Where the job's own stands, if it is another.
    pub(crate) own: Option<f64>,
    /// Where the measure must not be beyond.
    pub(crate) bound: Option<f64>,
    /// The field: left, right, top, bottom.
    pub(crate) field: [f64; 4],
}

/// A size in a panel.
pub(crate) struct Sign {
    pub(crate) x: f64,
    pub(crate) y: f64,
    /// `holds`, `marginal`, `fails` or `unknown`: the form of the sign.
    pub(crate) form: &'static str,
    pub(crate) chosen: bool,
}

impl Sign {
    /// The form of a size's sign.
    fn form(size: &Size) -> &'static str {
        size.effect.map_or("unknown", Effect::word)
    }

    /// The path of the sign: a full square, an open one, a cross, a point.
    pub(crate) fn path(&self) -> String {
        shape(self.form, self.x, self.y)
    }
}

/// The path of a sign around a place.
pub(crate) fn shape(form: &str, x: f64, y: f64) -> String {
    let half = if form == "unknown" { 1.8 } else { 3.6 };
    let [left, right, top, bottom] = [x - half, x + half, y - half, y + half].map(tenth);
    match form {
        "fails" => format!("M{left} {top}L{right} {bottom}M{right} {top}L{left} {bottom}"),
        _ => format!("M{left} {top}H{right}V{bottom}H{left}Z"),
    }
}

/// A place on an axis.
pub(crate) struct Tick {
    pub(crate) at: f64,
    pub(crate) text: String,
}

/// A panel for each measure of which at least two sizes are known.
pub(crate) fn panels(advice: &Advice) -> Vec<Panel> {
    let currency = advice.sizes.iter().find_map(|size| size.price.as_ref()).map(|price| price.currency.clone());
    let amount = |money: &super::Money| money.amount.parse::<f64>().ok();
    type Measure<'a> = (&'static str, String, Box<dyn Fn(&Size) -> Option<f64> + 'a>, Option<f64>);
    let measures: [Measure<'_>; 5] = [
        ("Legibility", "%".to_owned(), Box::new(|size| size.legibility), None),
        ("Likeness", "%".to_owned(), Box::new(|size| size.likeness), advice.least_likeness),
        (
            "Price of one copy",
            currency.unwrap_or_default(),
            Box::new(|size| amount(size.price.as_ref()?)),
            advice.budget.as_ref().and_then(amount),
        ),
        ("Weight", "g".to_owned(), Box::new(|size| size.weight), None),
        ("Smallest wall", "mm".to_owned(), Box::new(|size| size.smallest_wall), None),
    ];
    let all =
        measures.into_iter().filter_map(|(title, unit, measure, bound)| panel(advice, title, unit, &measure, bound));
    all.collect()
}

fn panel(
    advice: &Advice,
    title: &'static str,
    unit: String,
    measure: &dyn Fn(&Size) -> Option<f64>,
    bound: Option<f64>,
) -> Option<Panel> {
    let known: Vec<(&Size, f64)> = advice
        .sizes
        .iter()
        .filter_map(|size| Some((size, measure(size)?)))
        .filter(|(size, value)| value.is_finite() && size.cell > 0.0 && size.cell.is_finite())
        .collect();
    let ((first, from), (last, to)) = (known.first()?, known.last()?);
    if known.len() < 2 {
        return None;
    }
    let cells: Vec<f64> =
        advice.sizes.iter().map(|size| size.cell).filter(|cell| *cell > 0.0 && cell.is_finite()).collect();
    let x = Scale::of(cells.iter().map(|&cell| libm::log(cell)), 0.0, [LEFT + 8.0, WIDTH - RIGHT - 8.0]);
    let y = Scale::of(known.iter().map(|&(_, value)| value).chain(bound), AIR, [HEIGHT - BELOW, ABOVE]);
    let place = |cell: f64| tenth(x.at(libm::log(cell)));
    let is_chosen = |size: &Size| advice.recommended == Some(size.cell);
    let signs: Vec<Sign> = known
        .iter()
        .map(|&(size, value)| Sign {
            x: place(size.cell),
            y: tenth(y.at(value)),
            form: Sign::form(size),
            chosen: is_chosen(size),
        })
        .collect();
    let line = signs.iter().map(|sign| format!("{},{}", sign.x, sign.y)).collect::<Vec<_>>().join(" ");
    let words = format!(
        "{title} over the size of the cell: {} {unit} at {} mm, {} {unit} at {} mm",
        numbers::measured(*from),
        numbers::measured(first.cell),
        numbers::measured(*to),
        numbers::measured(last.cell)
    );
    let tick = |at: f64, value: f64| Tick { at, text: numbers::measured(value) };
    Some(Panel {
        title,
        unit,
        words,
        line,
        signs,
        across: along(&cells).into_iter().map(|cell| tick(place(cell), cell)).collect(),
        up: steps(y.low, y.high).into_iter().map(|value| tick(tenth(y.at(value)), value)).collect(),
        chosen: advice.recommended.map(place),
        own: advice.own.filter(|&own| Some(own) != advice.recommended && own > 0.0).map(place),
        bound: bound.map(|bound| tenth(y.at(bound))),
        field: [LEFT, WIDTH - RIGHT, ABOVE, HEIGHT - BELOW],
    })
}

/// From values to places.
struct Scale {
    low: f64,
    high: f64,
    ends: [f64; 2],
}

impl Scale {
    fn of(values: impl Iterator<Item = f64>, air: f64, ends: [f64; 2]) -> Self {
        let (low, high) = values.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)));
        // Values that are all the same stand in the middle.
        let span = if high - low > 1e-9 * high.abs().max(1e-9) { high - low } else { high.abs().max(1.0) };
        let air = if high - low < span { 0.5 } else { air };
        Self { low: low - air * span, high: high + air * span, ends }
    }

    fn at(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low);
        self.ends[0] + share * (self.ends[1] - self.ends[0])
    }
}

/// Cells to write along the axis: 1, 2, 3, 5, 10, … mm, or three of the sizes where hardly one of those is among them.
fn along(cells: &[f64]) -> Vec<f64> {
    let (Some(&low), Some(&high)) = (cells.first(), cells.last()) else { return Vec::new() };
    let round: Vec<f64> = (-3..5)
        .flat_map(|power| [1.0, 2.0, 3.0, 5.0].map(|part| part * libm::pow(10.0, f64::from(power))))
        .filter(|cell| (low * (1.0 - 1e-9)..=high * (1.0 + 1e-9)).contains(cell))
        .collect();
    if round.len() >= 3 { round } else { vec![low, cells[cells.len() / 2], high] }
}

/// Three or four round numbers between two.
fn steps(low: f64, high: f64) -> Vec<f64> {
    let rough = (high - low) / 3.5;
    let decade = libm::pow(10.0, libm::floor(libm::log10(rough)));
    let step =
        [1.0, 2.0, 2.5, 5.0, 10.0].map(|part| part * decade).into_iter().find(|&step| step >= rough).unwrap_or(rough);
    if !(step.is_normal() && low.is_finite() && high.is_finite()) {
        return Vec::new();
    }
    let first = libm::ceil(low / step);
    (0..5).map(|count| (first + f64::from(count)) * step).take_while(|&value| value <= high).collect()
}

/// To a tenth of the drawing's unit.
fn tenth(place: f64) -> f64 {
    (place * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn axes_carry_round_numbers() {
        assert_eq!(along(&[0.8, 1.5, 9.5]), [1.0, 2.0, 3.0, 5.0]);
        assert_eq!(along(&[0.6, 0.8, 0.9]), [0.6, 0.8, 0.9]);
        assert_eq!(steps(83.0, 98.0), [85.0, 90.0, 95.0]);
        assert_eq!(steps(-0.2, 2.7), [0.0, 1.0, 2.0]);
        assert_eq!(steps(284.0, 307.0), [290.0, 300.0]);
        assert!(steps(1.0, 1.0).is_empty() && steps(f64::MIN, f64::MAX).is_empty());
    }

    #[test]
    fn a_panel_needs_two_sizes_and_keeps_to_its_field() {
        let size = |cell, weight| Size { cell, weight: Some(weight), ..Size::default() };
        let of =
            |sizes: Vec<Size>| panels(&Advice { sizes, recommended: Some(2.0), own: Some(2.0), ..Advice::default() });
        assert!(of(vec![size(1.0, 5.0)]).is_empty());
        for sizes in [vec![size(1.0, 5.0), size(2.0, 9.0), size(4.0, 7.0)], vec![size(1.0, 0.0), size(2.0, 0.0)]] {
            let panels = of(sizes);
            assert_eq!(panels.len(), 1);
            let [left, right, top, bottom] = panels[0].field;
            for sign in &panels[0].signs {
                assert!((left..=right).contains(&sign.x) && (top..=bottom).contains(&sign.y), "{} {}", sign.x, sign.y);
            }
            assert!(panels[0].own.is_none() && panels[0].chosen.is_some());
        }
        // Halfway by the logarithm.
        let panel = &of(vec![size(1.0, 5.0), size(2.0, 9.0), size(4.0, 7.0)])[0];
        assert!((panel.signs[0].x + panel.signs[2].x - 2.0 * panel.signs[1].x).abs() < 0.11);
        assert!(of(vec![size(f64::NAN, 1.0), size(1.0, f64::INFINITY), size(-1.0, 2.0)]).is_empty());
    }
}
