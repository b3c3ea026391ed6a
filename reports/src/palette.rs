//! How well the colours of neighbouring sides can be told apart: as chosen, as printable, once printed, and by eyes that
//! see fewer colours.

use turnhue_stages::{Side, Six, Srgb};

use crate::colours;
use crate::facts::{self, Grid};
use crate::numbers;
use crate::proof;
use crate::record::Record;
use crate::said;

/// The fact of the chosen colours: differences between neighbouring sides.
const NEIGHBOURS: &str = "colours of neighbouring sides";
/// The fact of the chosen colours: the nearest that can be printed, a row for each side.
pub(crate) const PRINTABLE: &str = "printable colours";
/// The fact of the printed colours: what is left of those differences.
const SEPARATION: &str = "separation of neighbours";

/// The differences between neighbouring sides, as one table.
pub(crate) struct Palette {
    /// The headings of the differences.
    pub(crate) headings: Vec<String>,
    /// A row for each pair of sides.
    pub(crate) pairs: Vec<Pair>,
    /// What stands below the chosen colour on a swatch, if anything does.
    pub(crate) below: Option<&'static str>,
}

/// A pair of neighbouring sides.
pub(crate) struct Pair {
    /// The two sides in words.
    pub(crate) sides: String,
    /// Their colours, where the piece has one for each.
    pub(crate) swatches: Vec<Halved>,
    /// The differences, in the order of the headings.
    pub(crate) cells: Vec<Cell>,
}

/// A swatch with the colour as chosen, and below it what becomes of it.
pub(crate) struct Halved {
    /// Two letters for the side.
    pub(crate) symbol: &'static str,
    /// As chosen.
    pub(crate) above: Srgb,
    /// As it can be printed, or as it comes out.
    pub(crate) below: Option<Srgb>,
    /// Black or white, to write on the chosen colour.
    pub(crate) ink: &'static str,
}

/// The nearest printable colour of a side, where the chosen one cannot be printed: the colour, and how far off it is.
pub(crate) fn nearest_printable(record: &Record, side: Side) -> Option<String> {
    let grid = record.stages.iter().rev().find_map(|stage| facts::table(stage, PRINTABLE))?;
    let row = grid.row(side.word())?;
    let (chosen, printable) = (grid.text(row, "chosen")?, grid.text(row, "printable")?);
    let off = grid.number(row, "ΔE00").map_or_else(String::new, |off| format!(", ΔE00 {}", numbers::measured(off)));
    (chosen != printable).then(|| format!("{printable}{off}"))
}

/// A difference between two colours.
pub(crate) struct Cell {
    /// The number, or why there is none.
    pub(crate) text: String,
    /// Whether it is the least below its heading.
    pub(crate) least: bool,
    number: Option<f64>,
}

impl Cell {
    fn of(text: Option<&str>) -> Self {
        let number = text.and_then(|text| text.parse().ok()).filter(|number: &f64| number.is_finite());
        Self { text: text.map_or_else(|| "–".to_owned(), numbers::tidy), least: false, number }
    }
}

/// A column of the page's table: where it comes from.
struct Source<'a> {
    grid: Grid<'a>,
    heading: &'a str,
}

impl Palette {
    /// The table of all that stages said about neighbouring sides; none if they said nothing.
    pub(crate) fn of(record: &Record, told: Option<Six<Srgb>>) -> Option<Self> {
        let said = |name: &str| record.stages.iter().rev().find_map(|stage| facts::table(stage, name));
        let (chosen, printed) = (said(NEIGHBOURS), said(SEPARATION));
        let mut sources: Vec<Source<'_>> = Vec::new();
        for grid in [chosen, printed].into_iter().flatten() {
            let headings = grid.headings().iter().skip(1).map(String::as_str);
            // What was designed is what was chosen: that is said already.
            let repeats = |heading: &&str| chosen.is_some() && heading.starts_with("designed");
            sources.extend(headings.filter(|heading| !repeats(heading)).map(|heading| Source { grid, heading }));
        }
        let rows = [chosen, printed].into_iter().flatten().flat_map(|grid| grid.rows).filter_map(|row| row.first());
        let mut names: Vec<&str> = Vec::new();
        for name in rows {
            if !names.iter().any(|known| same_pair(known, name)) {
                names.push(name);
            }
        }
        let below = becomes(record);
        let mut pairs: Vec<_> = names
            .into_iter()
            .map(|name| Pair {
                sides: said::capitalised(name),
                swatches: swatches(name, told, below.map(|(_, colours)| colours)),
                cells: sources.iter().map(|source| Cell::of(source.text(name))).collect(),
            })
            .collect();
        for column in 0..sources.len() {
            mark_least(&mut pairs, column);
        }
        let headings = sources.iter().map(|source| said::capitalised(source.heading)).collect();
        (!pairs.is_empty()).then_some(Self { headings, pairs, below: below.map(|(words, _)| words) })
    }
}

impl Source<'_> {
    fn text(&self, pair: &str) -> Option<&str> {
        let row = self.grid.rows.iter().find(|row| row.first().is_some_and(|name| same_pair(name, pair)))?;
        let column = self.grid.headings().iter().position(|heading| heading == self.heading)?;
        row.get(column).map(String::as_str).filter(|text| !text.is_empty())
    }
}

/// Whether two texts mean the same two sides, in whatever order and words.
fn same_pair(a: &str, b: &str) -> bool {
    let sorted = |text| {
        let mut sides = facts::sides_in(text);
        sides.sort_unstable();
        sides
    };
    a == b || (sorted(a).len() == 2 && sorted(a) == sorted(b))
}

/// Marks the least difference of a column, and all that are shown as the same.
fn mark_least(pairs: &mut [Pair], column: usize) {
    let numbers = pairs.iter().filter_map(|pair| pair.cells[column].number);
    let Some(least) = numbers.min_by(f64::total_cmp) else { return };
    for cell in pairs.iter_mut().map(|pair| &mut pair.cells[column]) {
        cell.least = cell.number == Some(least);
    }
}

/// What becomes of the six chosen colours, and how that is called: the nearest that can be printed, where some cannot
/// themselves, else how they come out.
fn becomes(record: &Record) -> Option<(&'static str, Six<Srgb>)> {
    let by_side = |grid: Grid<'_>, heading: &str| {
        let colour = |side: Side| grid.text(grid.row(side.word())?, heading)?.parse::<Srgb>().ok();
        let colours: Option<Vec<_>> = Side::ALL.into_iter().map(colour).collect();
        colours?.try_into().ok().map(Six)
    };
    let printable = || {
        let grid = record.stages.iter().rev().find_map(|stage| facts::table(stage, PRINTABLE))?;
        let (chosen, printable) = (by_side(grid, "chosen")?, by_side(grid, "printable")?);
        (chosen != printable).then_some(printable)
    };
    let printed = || {
        let (_, stage) = facts::stage(record, proof::STAGE)?;
        by_side(facts::table(stage, proof::BY_SIDE)?, "printed")
    };
    printable().map(|colours| ("as it can be printed", colours)).or_else(|| Some(("as it comes out", printed()?)))
}

fn swatches(pair: &str, told: Option<Six<Srgb>>, below: Option<Six<Srgb>>) -> Vec<Halved> {
    let sides = facts::sides_in(pair);
    let Some(colours) = told.filter(|_| sides.len() == 2) else { return Vec::new() };
    let halved = |side: Side| Halved {
        symbol: colours::symbol(side),
        above: colours[side],
        below: below.map(|below| below[side]),
        ink: colours::ink_on(colours[side]),
    };
    sides.into_iter().map(halved).collect()
}
