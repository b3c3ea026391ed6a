//! The curve of colours over a turn: how much of what is seen is named with each side's colour, step by step.

use turnhue_stages::{Side, Six, Srgb};

use crate::chart::{self, Scale};
use crate::colours;
use crate::facts::Grid;

/// Dashes of a side's line, in the order of the project, so that no line is known by its colour alone.
const DASHES: [&str; 6] = ["11 3", "11 3 3 3", "5 3", "none", "2 3", "18 4"];

/// Sides whose share stays below this, in per cent, have no line: it would lie on the axis.
const LEAST_SHARE: f64 = 0.5;

/// The curve in a drawing of one width.
pub(crate) struct Curve {
    /// What tells its parts from those of another drawing on the page.
    pub(crate) name: &'static str,
    /// The drawing's width, in pixels.
    pub(crate) width: f64,
    /// The drawing's height, in pixels.
    pub(crate) height: f64,
    /// The left, upper, right and lower end of the plot, in pixels.
    pub(crate) plot: [f64; 4],
    /// Marks along the turn: where, the angle, and the side that then faces the viewer.
    pub(crate) angles: Vec<(String, String, &'static str)>,
    /// Marks up the shares: where, and the share in per cent.
    pub(crate) shares: Vec<(String, String)>,
    /// A line for each side that is seen.
    pub(crate) lines: Vec<Line>,
    /// What it shows, in words.
    pub(crate) says: String,
}

/// The line of a side.
pub(crate) struct Line {
    /// Two letters for the side.
    pub(crate) symbol: &'static str,
    /// The side's colour.
    pub(crate) colour: Srgb,
    /// Black or white, to write on the colour.
    pub(crate) ink: &'static str,
    /// Its dashes.
    pub(crate) dashes: &'static str,
    /// The share as designed, as a path.
    pub(crate) designed: String,
    /// The share as printed, as a path.
    pub(crate) printed: String,
    /// The middle of its label, in pixels.
    label: [f64; 2],
}

impl Line {
    /// Where its label stands.
    pub(crate) fn label(&self) -> [String; 2] {
        self.label.map(chart::tenths)
    }
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
    // Where the turn began.
    azimuths.push(azimuths[0] + 360.0);
    let colours = told.unwrap_or(colours::GREYS);
    Some([
        Curve::drawn("wide", [780.0, 330.0], &azimuths, &shares, colours),
        Curve::drawn("narrow", [360.0, 300.0], &azimuths, &shares, colours),
    ])
}

/// A whole turn, back to where it began.
fn closed(mut shares: Vec<f64>) -> Vec<f64> {
    shares.extend(shares.first().copied());
    shares
}

impl Curve {
    fn drawn(
        name: &'static str,
        [width, height]: [f64; 2],
        azimuths: &[f64],
        shares: &[Shares],
        colours: Six<Srgb>,
    ) -> Self {
        const FACES: [(f64, &str); 5] =
            [(0.0, "front"), (90.0, "right"), (180.0, "back"), (270.0, "left"), (360.0, "front")];
        // Room for marks on the left and below, and for labels on the right and above.
        let plot = [44.0, 28.0, width - 40.0, height - 42.0];
        let [left, upper, right, lower] = plot;
        let along = Scale::new([0.0, 360.0], [left, right]);
        let greatest = shares.iter().map(Shares::greatest).fold(10.0, f64::max);
        let up = Scale::new([0.0, greatest], [lower, upper]);
        let line =
            |of: &[f64]| chart::path(azimuths.iter().zip(of).map(|(&at, &share)| [along.place(at), up.place(share)]));
        let mut lines: Vec<_> = shares
            .iter()
            .map(|shares| Line {
                symbol: colours::symbol(shares.side),
                colour: colours[shares.side],
                ink: colours::ink_on(colours[shares.side]),
                dashes: DASHES[shares.side as usize],
                designed: line(&shares.designed),
                printed: line(&shares.printed),
                label: label(shares, azimuths, along, up),
            })
            .collect();
        // The marks below are left free.
        part_labels(&mut lines, right, [upper, lower - 8.0]);
        Self {
            name,
            width,
            height,
            plot,
            angles: FACES.map(|(at, side)| (chart::tenths(along.place(at)), format!("{at}°"), side)).into(),
            shares: up.marks(6).into_iter().map(|at| (chart::tenths(up.place(at)), format!("{at}"))).collect(),
            lines,
            says: says(shares, azimuths),
        }
    }

    /// How wide the plot is, in pixels.
    pub(crate) fn plot_width(&self) -> String {
        chart::tenths(self.plot[2] - self.plot[0])
    }

    /// A place of the plot, as it stands in the drawing: 0 is left, 1 upper, 2 right, 3 lower.
    pub(crate) fn end(&self, place: usize) -> String {
        chart::tenths(self.plot[place])
    }
}

/// Over its peak for a side that comes and goes, behind its end for one that is seen all the time or at the ends.
fn label(shares: &Shares, azimuths: &[f64], along: Scale, up: Scale) -> [f64; 2] {
    let comes_round = matches!(shares.side, Side::Right | Side::Back | Side::Left);
    if comes_round {
        let peak = shares.peak();
        let share = shares.printed[peak].max(shares.designed[peak]);
        [along.place(azimuths[peak]), up.place(share) - 15.0]
    } else {
        let end = shares.printed.last().copied().unwrap_or_default();
        [along.place(360.0) + 20.0, up.place(end)]
    }
}

/// Keeps the labels behind the ends of lines out of each other's way.
fn part_labels(lines: &mut [Line], right: f64, within: [f64; 2]) {
    let behind: Vec<_> = (0..lines.len()).filter(|&place| lines[place].label[0] > right).collect();
    let mut heights: Vec<_> = behind.iter().map(|&place| lines[place].label[1]).collect();
    chart::spread_apart(&mut heights, 19.0, within);
    for (place, height) in behind.into_iter().zip(heights) {
        lines[place].label[1] = height;
    }
}

/// The greatest share of each side and where it is.
fn says(shares: &[Shares], azimuths: &[f64]) -> String {
    let peaks: Vec<_> = shares
        .iter()
        .map(|shares| {
            let peak = shares.peak();
            let least = shares.printed.iter().copied().fold(f64::INFINITY, f64::min);
            let angle = azimuths[peak] % 360.0;
            format!(
                "{side}: printed from {least:.0} % to {most:.0} %, most at {angle}°, where {designed:.0} % were designed",
                side = shares.side,
                most = shares.printed[peak],
                designed = shares.designed[peak],
            )
        })
        .collect();
    peaks.join("; ")
}
