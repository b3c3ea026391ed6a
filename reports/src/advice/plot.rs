//! The sizes of the cell as a plot of small multiples: one panel for each measure, all over the same sizes.
//!
//! A panel is drawn by the template, in lines and signs that take the colours of the page, so that it reads on light,
//! dark and paper, and in black and white: what a sign means shows in its form. Sizes are spread by their logarithm, as
//! they were chosen.

use super::{Advice, Effect, Size};
use crate::chart::{self, Along, Axis, Drawing, Frame, Place, Shape, TENTHS};
use crate::numbers;

const FRAME: Frame = Frame { width: 320, height: 164, left: 46, right: 12, above: 10, below: 26, grid: false };
/// The field ends so far from what is highest and lowest, as a share of what lies between.
const AIR: f64 = 0.1;
const AIR_ACROSS: f64 = 0.03;
/// The radius of the ring around the recommended size, in tenths of a pixel.
const RING: i32 = 8 * TENTHS;

/// A measure over the sizes of the cell.
pub(crate) struct Panel {
    /// What is measured.
    pub(crate) title: &'static str,
    /// Its unit; for money, the currency.
    pub(crate) unit: String,
    /// The panel in words.
    pub(crate) words: String,
    pub(crate) drawing: Drawing,
}

/// The form of a size's sign: `holds`, `marginal`, `fails` or `unknown`.
fn form(size: &Size) -> &'static str {
    size.effect.map_or("unknown", Effect::word)
}

/// The path of a sign in the key, in the middle of a square of 12 pixels.
pub(crate) fn key(form: &str) -> String {
    shape(form, (6 * TENTHS, 6 * TENTHS))
}

/// The path of a sign around a place: a full square, an open one, a cross, a point.
fn shape(form: &str, place: Place) -> String {
    match form {
        "fails" => chart::cross(place, 36),
        "unknown" => chart::square(place, 18),
        _ => chart::square(place, 36),
    }
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
        .filter(|(size, value)| value.is_finite() && has_place(size.cell))
        .collect();
    let ((first, from), (last, to)) = (known.first()?, known.last()?);
    if known.len() < 2 {
        return None;
    }
    let words = format!(
        "{title} over the size of the cell: {} {unit} at {} mm, {} {unit} at {} mm",
        numbers::measured(*from),
        numbers::measured(first.cell),
        numbers::measured(*to),
        numbers::measured(last.cell)
    );
    let cells: Vec<f64> = advice.sizes.iter().map(|size| size.cell).filter(|&cell| has_place(cell)).collect();
    let marks = along(&cells).into_iter().map(|cell| (libm::log(cell), numbers::measured(cell))).collect();
    let across = Axis::marked(ends(cells.iter().map(|&cell| libm::log(cell)), AIR_ACROSS), marks);
    let bound = bound.filter(|bound| bound.is_finite());
    let up = Axis::round(ends(known.iter().map(|&(_, value)| value).chain(bound), AIR), 5, numbers::measured);
    let own = advice.own.filter(|&own| Some(own) != advice.recommended);
    let ([left, right], [low, high]) = (across.ends(), up.ends());
    let upright = |class, cell: Option<f64>| {
        let at = libm::log(cell.filter(|&cell| has_place(cell))?);
        across.has(at).then(|| Along::line(class, [[at, low], [at, high]]))
    };
    let level = |at: f64| Along::line("bound", [[left, at], [right, at]]);
    let mut series: Vec<Along<'_>> =
        [upright("chosen", advice.recommended), upright("own", own), bound.map(level)].into_iter().flatten().collect();
    series.push(Along::line("line", known.iter().map(|&(size, value)| [libm::log(size.cell), value])));
    series.extend(known.iter().map(|&(size, value)| {
        Along::at([libm::log(size.cell), value], move |place| {
            let ring = (advice.recommended == Some(size.cell)).then(|| Shape::circle("ring-around", place, RING));
            let sign = Shape::path(format!("sign {}", form(size)), shape(form(size), place));
            std::iter::once(sign).chain(ring).collect()
        })
    }));
    let drawing = chart::draw(&FRAME, across.clone(), up.clone(), &series)?;
    Some(Panel { title, unit, words, drawing })
}

/// Whether a cell has a place on an axis of logarithms.
fn has_place(cell: f64) -> bool {
    cell > 0.0 && cell.is_finite()
}

/// The least and the greatest of values, with air. Values that are all the same stand in the middle.
fn ends(values: impl Iterator<Item = f64>, air: f64) -> [f64; 2] {
    let (low, high) = values.fold((f64::MAX, f64::MIN), |(low, high), value| (low.min(value), high.max(value)));
    let air = if low < high { air * (high - low) } else { 0.5 * high.abs().max(1.0) };
    [low - air, high + air]
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

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn cells_along_the_axis_are_round_numbers() {
        assert_eq!(along(&[0.8, 1.5, 9.5]), [1.0, 2.0, 3.0, 5.0]);
        assert_eq!(along(&[0.6, 0.8, 0.9]), [0.6, 0.8, 0.9]);
    }

    /// The places of a panel's signs, read from their paths.
    fn signs(panel: &Panel) -> Vec<[f64; 2]> {
        let signs = panel.drawing.shapes.iter().filter(|shape| shape.class.starts_with("sign"));
        let place = |shape: &Shape| {
            let d = &shape.attributes[0].1;
            let corner = d.trim_start_matches('M').split('h').next().unwrap();
            let corner: Vec<f64> = corner.split(' ').map(|part| part.parse().unwrap()).collect();
            [corner[0] + 1.8, corner[1] + 1.8]
        };
        signs.map(place).collect()
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
            let [left, upper, right, lower] = FRAME.field().map(|end| f64::from(end) / f64::from(TENTHS));
            for [x, y] in signs(&panels[0]) {
                assert!((left..=right).contains(&x) && (upper..=lower).contains(&y), "{x} {y}");
            }
            let has = |class| panels[0].drawing.shapes.iter().any(|shape| shape.class == class);
            assert!(has("chosen") && !has("own"));
        }
        // Halfway by the logarithm.
        let places = signs(&of(vec![size(1.0, 5.0), size(2.0, 9.0), size(4.0, 7.0)])[0]);
        assert!((places[0][0] + places[2][0] - 2.0 * places[1][0]).abs() < 0.21, "{places:?}");
        assert!(of(vec![size(f64::NAN, 1.0), size(1.0, f64::INFINITY), size(-1.0, 2.0)]).is_empty());
    }
}
