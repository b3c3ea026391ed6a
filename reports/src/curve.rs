//! The curve of colours over a turn: how much of what is seen is named with each side's colour, step by step.

use turnhue_stages::{Side, Six, Srgb};

use crate::chart::{self, Along, Axis, Drawing, Frame, Place, Shape, TENTHS};
use crate::colours;
use crate::facts::Grid;

/// Dashes of a side's line, in the order of the project, so that no line is known by its colour alone.
const DASHES: [&str; 6] = ["11 3", "11 3 3 3", "5 3", "none", "2 3", "18 4"];

/// Sides whose share stays below this, in per cent, have no line: it would lie on the axis.
const LEAST_SHARE: f64 = 0.5;

/// Width and height of the chip with a side's letters, and how far above its line it stands, in tenths of a pixel.
const CHIP: [i32; 2] = [26 * TENTHS, 18 * TENTHS];
const ABOVE_LINE: i32 = 15 * TENTHS;
/// From the end of a line to the middle of its chip, in tenths of a pixel.
const BEHIND_LINE: i32 = 20 * TENTHS;

/// The curve in a drawing of one width.
pub(crate) struct Curve {
    /// What tells its parts from those of another drawing on the page.
    pub(crate) name: &'static str,
    pub(crate) drawing: Drawing,
    /// What it shows, in words.
    pub(crate) says: String,
}

/// The shares of a side over the turn, in per cent.
struct Shares {
    side: Side,
    designed: Vec<f64>,
    printed: Vec<f64>,
}

impl Shares {
    fn greatest(&self) -> f64 {
        self.designed.iter().chain(&self.printed).copied().fold(0.0, f64::max)
    }

    /// Whether the side comes and goes over the turn.
    fn comes_round(&self) -> bool {
        matches!(self.side, Side::Right | Side::Back | Side::Left)
    }

    /// Where the printed share is greatest.
    fn peak(&self) -> usize {
        let places = 0..self.printed.len();
        places.max_by(|&a, &b| self.printed[a].total_cmp(&self.printed[b]).then(b.cmp(&a))).unwrap_or(0)
    }
}

/// The curve, drawn wide and narrow.
pub(crate) fn of(turn: Grid<'_>, told: Option<Six<Srgb>>) -> Option<[Curve; 2]> {
    let mut azimuths = turn.numbers("azimuth")?;
    let in_order = azimuths.is_sorted_by(|a, b| a < b) && azimuths.iter().all(|at| (0.0..360.0).contains(at));
    if azimuths.len() < 2 || !in_order {
        return None;
    }
    let over_turn = |series: &str, side: Side| {
        let shares = turn.numbers(&format!("{series} {side}"))?;
        shares.iter().all(|share| (0.0..=100.5).contains(share)).then_some(closed(shares))
    };
    let shares: Option<Vec<_>> = Side::ALL
        .into_iter()
        .map(|side| Some(Shares { side, designed: over_turn("designed", side)?, printed: over_turn("printed", side)? }))
        .collect();
    let mut shares = shares?;
    shares.retain(|shares| shares.greatest() >= LEAST_SHARE);
    if shares.is_empty() {
        return None;
    }
    // Where the turn began.
    azimuths.push(azimuths[0] + 360.0);
    let turn = Turn { azimuths, shares, colours: told.unwrap_or(colours::GREYS) };
    Some([turn.drawn("wide", [780, 330])?, turn.drawn("narrow", [360, 300])?])
}

/// A whole turn, back to where it began.
fn closed(mut shares: Vec<f64>) -> Vec<f64> {
    shares.extend(shares.first().copied());
    shares
}

/// A turn, with the sides that are seen.
struct Turn {
    azimuths: Vec<f64>,
    shares: Vec<Shares>,
    colours: Six<Srgb>,
}

impl Turn {
    fn drawn(&self, name: &'static str, [width, height]: [i32; 2]) -> Option<Curve> {
        // Room for marks on the left and below, and for labels on the right and above.
        let frame = Frame { width, height, left: 48, right: 40, above: 28, below: 42, grid: true };
        let [left, upper, right, lower] = frame.field();
        let faces = [(0.0, "front"), (90.0, "right"), (180.0, "back"), (270.0, "left"), (360.0, "front")];
        let faces = faces.map(|(angle, side)| (angle, format!("{angle}°\n{side}")));
        let across = Axis::marked([0.0, 360.0], faces.into());
        let greatest = self.shares.iter().map(Shares::greatest).fold(10.0, f64::max);
        let up = Axis::round([0.0, greatest], 6, |share| format!("{share} %"));
        let cursor = move |_: &[Place]| {
            let line = chart::line(&[(left, upper), (left, lower)]);
            vec![Shape::path("cursor", line).with("data-width", &chart::tenths(right - left))]
        };
        let mut series = vec![Along::new([], cursor)];
        series.extend(self.shares.iter().map(|shares| self.printed(shares)));
        let designed = |shares: &Shares| Along::line("designed", self.over_turn(&shares.designed));
        series.extend(self.shares.iter().map(designed));
        let (rounding, staying) = self.shares.iter().partition::<Vec<&Shares>, _>(|shares| shares.comes_round());
        series.extend(rounding.into_iter().map(|shares| self.chip_above(shares)));
        // The marks below are left free.
        series.push(self.chips_behind(&staying, [upper, lower - 8 * TENTHS]));
        Some(Curve { name, drawing: chart::draw(&frame, across, up, &series)?, says: self.says() })
    }

    fn over_turn<'a>(&'a self, shares: &'a [f64]) -> impl Iterator<Item = [f64; 2]> + 'a {
        self.azimuths.iter().zip(shares).map(|(&angle, &share)| [angle, share])
    }

    /// The share as printed: the side's colour in dashes of its own, between two edges.
    fn printed(&self, shares: &Shares) -> Along<'_> {
        let (colour, dashes) = (self.colours[shares.side], DASHES[shares.side as usize]);
        Along::new(self.over_turn(&shares.printed), move |places| {
            let line = chart::line(places);
            let [casing, gap] = ["casing", "gap"].map(|class| Shape::path(class, line.clone()));
            let coloured = Shape::path("printed", line).with("stroke", &colour).with("stroke-dasharray", dashes);
            vec![casing, gap, coloured]
        })
    }

    /// Two letters over the peak of a side that comes and goes.
    fn chip_above(&self, shares: &Shares) -> Along<'_> {
        let (peak, side) = (shares.peak(), shares.side);
        let share = shares.printed[peak].max(shares.designed[peak]);
        Along::at([self.azimuths[peak], share], move |(x, y)| self.chip(side, (x, y - ABOVE_LINE)))
    }

    /// Two letters behind the ends of lines of sides that are seen all the time or at the ends, out of each other's way.
    fn chips_behind(&self, sides: &[&Shares], within: [i32; 2]) -> Along<'_> {
        let ends: Vec<_> =
            sides.iter().map(|shares| [360.0, shares.printed.last().copied().unwrap_or_default()]).collect();
        let sides: Vec<_> = sides.iter().map(|shares| shares.side).collect();
        Along::new(ends, move |places| {
            let mut heights: Vec<_> = places.iter().map(|&(_, y)| y).collect();
            chart::spread_apart(&mut heights, 19 * TENTHS, within);
            let chips = sides.iter().zip(places).zip(heights);
            chips.flat_map(|((&side, &(x, _)), y)| self.chip(side, (x + BEHIND_LINE, y))).collect()
        })
    }

    /// A side's two letters on its colour.
    fn chip(&self, side: Side, place: Place) -> Vec<Shape> {
        let colour = self.colours[side];
        let ground = Shape::rectangle("chip", place, CHIP).with("rx", "2").with("fill", &colour);
        let letters = Shape::text("letters", place, "middle", colours::symbol(side)).with("dy", ".36em");
        vec![ground, letters.with("fill", colours::ink_on(colour))]
    }

    /// The greatest share of each side and where it is.
    fn says(&self) -> String {
        let peaks = self.shares.iter().map(|shares| {
            let peak = shares.peak();
            let least = shares.printed.iter().copied().fold(f64::INFINITY, f64::min);
            let angle = self.azimuths[peak] % 360.0;
            format!(
                "{side}: printed from {least:.0} % to {most:.0} %, most at {angle}°, where {designed:.0} % were designed",
                side = shares.side,
                most = shares.printed[peak],
                designed = shares.designed[peak],
            )
        });
        peaks.collect::<Vec<_>>().join("; ")
    }
}
