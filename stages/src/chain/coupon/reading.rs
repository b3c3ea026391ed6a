//! What is read off a coupon, and which figures of the process follow.
//!
//! Ink that runs by a Gaussian of standard deviation σ leaves a strip of width w, between others, the mean share
//! s(w) = erf x − (1 − e^(−x²)) / (x √π) of its own ink, with x = w / (σ √2): the mean over the strip of
//! ½ (erf((w − t) / (σ √2)) + erf(t / (σ √2))). A lone square face of edge a keeps s(a)², since the Gaussian is a product.
//! In a field of steps along the diagonal every face is such a lone face: across each of its four edges lies another colour.
//!
//! A patch or line is taken to read while it keeps half of its own ink or more: then no other colour has a larger part in it
//! ([`READS`]; an assumption, no source). This is the closed form on purpose and not the whole print prediction: the coupon is made
//! to be read against a form that one can check by hand, and one number is all that a look at it gives. Its limits: strong
//! inks count for more than their share where pigments mix, and rounding of edges takes a little more from small cells;
//! both make σ come out on the large, the safe, side.

use std::f64::consts::SQRT_2;

use serde::{Deserialize, Serialize};

use crate::Length;
use crate::findings::{Fact, Value};

/// The share of its own ink from which on a patch or a line reads.
pub const READS: f64 = 0.5;

/// The mean share of its own ink that a strip keeps, of a width in mm, at a bleed σ in mm.
#[must_use]
pub fn strip_share(width: f64, sigma: f64) -> f64 {
    let x = width / (sigma * SQRT_2);
    if width <= 0.0 {
        0.0
    } else if x.is_finite() {
        libm::erf(x) + libm::expm1(-x * x) / (x * std::f64::consts::PI.sqrt())
    } else {
        1.0
    }
}

/// The mean share of its own ink that a lone square face keeps, of an edge in mm, at a bleed σ in mm.
#[must_use]
pub fn face_share(edge: f64, sigma: f64) -> f64 {
    let share = strip_share(edge, sigma);
    share * share
}

/// No wall is thinner, in mm: a grain of fine powder, or a droplet (order of magnitude; no source).
pub const GRAIN: f64 = 0.01;

/// How many σ a cell's edge measures that just reads: about 2.7.
#[must_use]
pub fn reading_cell() -> f64 {
    width_of(READS.sqrt())
}

/// How many σ a line's width measures that just reads: about 1.5.
#[must_use]
pub fn reading_line() -> f64 {
    width_of(READS)
}

/// The width, in σ, of the strip that keeps that share, between 0 and 1. Halves an interval that holds every share up to
/// 0.99 until it is as narrow as `f64` tells.
fn width_of(share: f64) -> f64 {
    let (mut low, mut high) = (0.0, 128.0);
    for _ in 0..64 {
        let middle = f64::midpoint(low, high);
        if strip_share(middle, 1.0) < share { low = middle } else { high = middle }
    }
    high
}

/// The sizes on a coupon in mm, in the order of their numbers, which begin at 1.
#[derive(Clone, Debug, PartialEq)]
pub struct Ladders {
    /// Edges of the cells of the patches, falling.
    pub cells: Vec<f64>,
    /// Widths of the lines, falling.
    pub lines: Vec<f64>,
    /// Gaps on each side of the key, rising.
    pub gaps: Vec<f64>,
    /// Thicknesses of the fins, falling.
    pub walls: Vec<f64>,
}

/// One of the four ladders.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Row {
    /// Patches of cells.
    Cells,
    /// Lines of one colour in another.
    Lines,
    /// Slots for the key.
    Fits,
    /// Fins.
    Thicknesses,
}

impl Row {
    /// In the order of the plaque, from the back.
    pub const ALL: [Self; 4] = [Self::Cells, Self::Lines, Self::Thicknesses, Self::Fits];

    /// The letter beside the row.
    #[must_use]
    pub const fn letter(self) -> char {
        match self {
            Self::Cells => 'C',
            Self::Lines => 'L',
            Self::Fits => 'F',
            Self::Thicknesses => 'T',
        }
    }

    /// One of the things in the row.
    #[must_use]
    pub const fn item(self) -> &'static str {
        match self {
            Self::Cells => "patch",
            Self::Lines => "line",
            Self::Fits => "slot",
            Self::Thicknesses => "fin",
        }
    }

    /// What of it is measured.
    #[must_use]
    pub const fn measure(self) -> &'static str {
        match self {
            Self::Cells => "cell",
            Self::Lines => "width",
            Self::Fits => "gap on each side",
            Self::Thicknesses => "thickness",
        }
    }

    /// The name of the fact with its sizes.
    #[must_use]
    pub const fn fact(self) -> &'static str {
        match self {
            Self::Cells => "coupon patches",
            Self::Lines => "coupon lines",
            Self::Fits => "coupon slots",
            Self::Thicknesses => "coupon fins",
        }
    }

    const fn rises(self) -> bool {
        matches!(self, Self::Fits)
    }
}

impl Ladders {
    /// The sizes of a row.
    #[must_use]
    pub fn row(&self, row: Row) -> &[f64] {
        match row {
            Row::Cells => &self.cells,
            Row::Lines => &self.lines,
            Row::Fits => &self.gaps,
            Row::Thicknesses => &self.walls,
        }
    }

    /// The sizes as facts, from which [`Ladders::of_facts`] makes them again.
    #[must_use]
    pub fn facts(&self) -> Vec<Fact> {
        let fact = |row: Row| {
            let measure = format!("{}, mm", row.measure());
            let rows = self.row(row).iter().zip(1..).map(|(mm, number)| vec![number.to_string(), mm.to_string()]);
            Fact::table(row.fact(), &["number", &measure], rows.collect())
        };
        Row::ALL.map(fact).into()
    }

    /// The sizes that a coupon's facts tell.
    ///
    /// # Errors
    /// A plain message if a row is missing, or its sizes are no lengths that fall or rise as they should.
    pub fn of_facts(facts: &[Fact]) -> Result<Self, String> {
        let row = |row: Row| {
            let fact = facts.iter().rfind(|fact| fact.name == row.fact());
            let fact = fact.ok_or_else(|| format!("it has no fact `{}`", row.fact()))?;
            sizes(&fact.value, row).ok_or_else(|| format!("its fact `{}` is damaged", row.fact()))
        };
        Ok(Self {
            cells: row(Row::Cells)?,
            lines: row(Row::Lines)?,
            gaps: row(Row::Fits)?,
            walls: row(Row::Thicknesses)?,
        })
    }
}

/// The sizes in a table of facts, if they make sense.
fn sizes(value: &Value, row: Row) -> Option<Vec<f64>> {
    let Value::Table { rows, .. } = value else { return None };
    let size = |row: &Vec<String>| row.get(1)?.parse::<f64>().ok().filter(|mm| mm.is_finite() && *mm > 0.0);
    let sizes: Vec<f64> = rows.iter().map(size).collect::<Option<_>>()?;
    let ordered = sizes.windows(2).all(|pair| if row.rises() { pair[0] < pair[1] } else { pair[0] > pair[1] });
    (ordered && !sizes.is_empty()).then_some(sizes)
}

/// What the maker read off: places in the ladders, counted from 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Readings {
    /// The smallest patch that still reads.
    pub patch: Option<usize>,
    /// The thinnest line that still shows its own colour.
    pub line: Option<usize>,
    /// The narrowest slot into which the key slides.
    pub slot: Option<usize>,
    /// The thinnest fin that is whole.
    pub fin: Option<usize>,
}

/// A figure that was measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    /// The figure to reckon with.
    pub value: Length,
    /// The least and the most that it may be.
    pub range: [Length; 2],
}

/// The figures of the process that follow from a coupon.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Calibration {
    /// How far colour runs, σ.
    pub bleed: Option<Measured>,
    /// The gap on each side at which parts slide.
    pub clearance: Option<Measured>,
    /// The thinnest wall that is held.
    pub minimum_wall: Option<Measured>,
}

/// Reckons the figures.
///
/// # Errors
/// A plain message if a reading names a size that the ladder does not have, or if patch and line contradict each other.
pub fn calibrate(ladders: &Ladders, readings: &Readings) -> Result<Calibration, String> {
    let between = |row: Row, place: Option<usize>| place.map(|place| bounds(ladders.row(row), place, row)).transpose();
    let by_patch = between(Row::Cells, readings.patch)?.map(|bounds| bounds.map(|mm| mm / reading_cell()));
    let by_line = between(Row::Lines, readings.line)?.map(|bounds| bounds.map(|mm| mm / reading_line()));
    let bleed = match (by_patch, by_line) {
        (Some(patch), Some(line)) => Some(common(patch, line)?),
        (either, other) => either.or(other),
    };
    let safe = |[low, high]: [f64; 2]| Measured { value: length(high), range: [length(low), length(high)] };
    Ok(Calibration {
        bleed: bleed.map(|[low, high]| {
            // Sizes fall by ratios, and so the middle is that of ratios; where every patch reads, only the largest σ is known.
            let value = if low > 0.0 { (low * high).sqrt() } else { high };
            Measured { value: length(value), range: [length(low), length(high)] }
        }),
        clearance: between(Row::Fits, readings.slot)?.map(safe),
        minimum_wall: between(Row::Thicknesses, readings.fin)?.map(|[low, high]| safe([low.max(GRAIN), high])),
    })
}

/// The size that held and the one beside it that did not, the smaller first; 0 if there was none beside it.
fn bounds(sizes: &[f64], place: usize, row: Row) -> Result<[f64; 2], String> {
    let held = *sizes.get(place).ok_or_else(|| {
        format!("there is no {} {}: the row {} has {}", row.item(), place + 1, row.letter(), sizes.len())
    })?;
    let failed = if row.rises() { place.checked_sub(1) } else { Some(place + 1) };
    Ok([failed.and_then(|failed| sizes.get(failed)).copied().unwrap_or(0.0), held])
}

fn common(patch: [f64; 2], line: [f64; 2]) -> Result<[f64; 2], String> {
    let both = [patch[0].max(line[0]), patch[1].min(line[1])];
    if both[0] < both[1] {
        return Ok(both);
    }
    let said = |[low, high]: [f64; 2]| format!("between {} and {}", length(low), length(high));
    Err(format!("the patch and the line contradict each other: they put σ {} and {}", said(patch), said(line)))
}

/// A length to the micrometre: more digits than any reading has.
fn length(mm: f64) -> Length {
    Length::from_mm((mm * 1000.0).round() / 1000.0)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Mean shares of a lone face by a / σ, from the project's reference table; the last was confirmed there by 10⁶
    /// samples (0.7753 with a = 2 and σ = 0.3).
    const MEANS: [(f64, f64); 7] = [
        (1.0, 0.1360),
        (2.0, 0.3715),
        (2.5, 0.4657),
        (5.0, 0.7063),
        (10.0, 0.8468),
        (20.0, 0.9218),
        (2.0 / 0.3, 0.7750),
    ];

    #[test]
    fn shares_of_lone_faces() {
        for (ratio, mean) in MEANS {
            assert!((face_share(ratio * 0.3, 0.3) - mean).abs() < 1e-4, "{ratio}");
        }
        assert_eq!(face_share(1.0, 0.0), 1.0);
        assert_eq!(face_share(0.0, 0.3), 0.0);
    }

    #[test]
    fn a_strip_keeps_what_numerical_integration_says() {
        // The midpoint rule over 20 000 places of ½ (erf(t / σ√2) + erf((w − t) / σ√2)).
        for (width, sigma) in [(0.5, 0.3), (1.0, 0.2), (0.1, 0.4)] {
            let n = 20_000;
            let at = |i: i32| (f64::from(i) + 0.5) / f64::from(n) * width;
            let own = |t: f64| (libm::erf(t / (sigma * SQRT_2)) + libm::erf((width - t) / (sigma * SQRT_2))) / 2.0;
            let mean = (0..n).map(|i| own(at(i))).sum::<f64>() / f64::from(n);
            assert!((strip_share(width, sigma) - mean).abs() < 1e-7, "{width} {sigma}");
        }
    }

    #[test]
    fn what_just_reads_keeps_half() {
        assert!((face_share(reading_cell(), 1.0) - 0.5).abs() < 1e-12);
        assert!((strip_share(reading_line(), 1.0) - 0.5).abs() < 1e-12);
        // Between the rows 2.5 and 5 of the table.
        assert!((2.5..5.0).contains(&reading_cell()));
    }

    fn ladders() -> Ladders {
        Ladders {
            cells: vec![3.0, 2.0, 1.5, 1.0, 0.7, 0.5],
            lines: vec![2.0, 1.2, 0.8, 0.5, 0.3, 0.2],
            gaps: vec![0.1, 0.2, 0.3, 0.4],
            walls: vec![3.0, 2.0, 1.0],
        }
    }

    /// The last of falling sizes that still reads.
    fn last(sizes: &[f64], share: impl Fn(f64) -> f64) -> Option<usize> {
        sizes.iter().rposition(|&mm| share(mm) >= READS)
    }

    proptest! {
        #[test]
        fn the_true_bleed_lies_in_the_range(sigma in 0.05f64..1.0) {
            let ladders = ladders();
            let patch = last(&ladders.cells, |mm| face_share(mm, sigma));
            let line = last(&ladders.lines, |mm| strip_share(mm, sigma));
            for (patch, line) in [(patch, None), (None, line), (patch, line)] {
                let Some(bleed) = calibrate(&ladders, &Readings { patch, line, ..Readings::default() }).unwrap().bleed else {
                    continue;
                };
                let [low, high] = bleed.range.map(Length::mm);
                // The range is told to the micrometre.
                prop_assert!(low - 1e-3 <= sigma && sigma <= high + 1e-3, "{sigma}: {bleed:?}");
                prop_assert!((low..=high).contains(&bleed.value.mm()));
            }
        }
    }

    #[test]
    fn slots_and_fins_give_the_safe_end() {
        let read = |slot, fin| calibrate(&ladders(), &Readings { slot, fin, ..Readings::default() }).unwrap();
        let mm = |measured: Option<Measured>| measured.map(|m| (m.value.mm(), m.range.map(Length::mm))).unwrap();
        assert_eq!(mm(read(Some(2), None).clearance), (0.3, [0.2, 0.3]));
        assert_eq!(mm(read(Some(0), None).clearance), (0.1, [0.0, 0.1]));
        assert_eq!(mm(read(None, Some(1)).minimum_wall), (2.0, [1.0, 2.0]));
        assert_eq!(mm(read(None, Some(2)).minimum_wall), (1.0, [0.01, 1.0]));
        assert_eq!(read(None, None), Calibration::default());
    }

    #[test]
    fn nonsense_is_refused() {
        let read = |readings| calibrate(&ladders(), &readings).unwrap_err();
        let wrong = read(Readings { patch: Some(6), ..Readings::default() });
        assert_eq!(wrong, "there is no patch 7: the row C has 6");
        // The largest patch alone reads: σ above 0.7; the thinnest line reads too: σ below 0.14.
        let wrong = read(Readings { patch: Some(0), line: Some(5), ..Readings::default() });
        assert!(wrong.starts_with("the patch and the line contradict each other"), "{wrong}");
    }

    #[test]
    fn facts_tell_the_sizes_and_damage_is_seen() {
        let facts = ladders().facts();
        assert_eq!(Ladders::of_facts(&facts).unwrap(), ladders());
        for (at, text) in [(0, "-1"), (1, "nan"), (2, ""), (3, "1e999"), (0, "0.1")] {
            let mut facts = facts.clone();
            if let Value::Table { rows, .. } = &mut facts[at].value {
                rows[1][1] = text.to_owned();
            }
            assert!(Ladders::of_facts(&facts).is_err(), "{at} {text}");
        }
        assert!(Ladders::of_facts(&facts[1..]).is_err());
    }
}
