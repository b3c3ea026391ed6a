//! Draws a tile of a layer: what is built there, what shows of it in which colour, and what lies below.
//!
//! A cube is a square of nine fields, as seen from above with the front at the lower edge: the middle is its top, the fields at
//! the edges its sides, and the one in the lower right corner its bottom. A field whose side shows has the colour and its letter.

use std::collections::{BTreeMap, BTreeSet};

use glam::{DVec2, IVec3};

use super::building::{Building, Shown};
use super::inks::Inks;
use super::sheet::{Cut, GREY, HEIGHT, Tile, WIDTH, fitted, rectangle, say};
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Line, Mark, Shape, Stroke};
use crate::{Side, Srgb};

/// A cube that shows is white, one that does not grey; where only the layer below has one, a lighter grey.
pub(super) const WHITE: Srgb = Srgb([0xff; 3]);
pub(super) const HIDDEN: Srgb = Srgb([0xd2; 3]);
pub(super) const BELOW: Srgb = Srgb([0xf1; 3]);
const FAINT: Srgb = Srgb([0xb8; 3]);

/// Lines: around a cube, around a field, around a cube that hangs, and of what is not built.
const EDGE: Stroke = Stroke::new(0.18, Srgb([0x40; 3]));
pub(super) const HANGS: Stroke = Stroke::new(0.55, BLACK);
pub(super) const NOT_BUILT: Stroke = Stroke { width: 0.15, colour: GREY, dash: Some([0.7, 0.7]) };

/// Lines are drawn through the field every so many cubes, to count by.
const COUNT_BY: i32 = 5;

/// What all sheets of layers have in common.
pub(super) struct Sheets<'a> {
    pub(super) building: &'a Building,
    pub(super) inks: &'a Inks,
    pub(super) cut: &'a Cut,
    pub(super) title: &'a str,
    /// Edge of a cube in mm.
    pub(super) edge: f64,
    /// The piece seen from the front, as rows of cubes: first, last, layer.
    silhouette: Vec<[i32; 3]>,
    /// Pages in all.
    pub(super) pages: usize,
}

impl<'a> Sheets<'a> {
    pub(super) fn new(
        building: &'a Building,
        inks: &'a Inks,
        cut: &'a Cut,
        title: &'a str,
        edge: f64,
        pages: usize,
    ) -> Self {
        Self { building, inks, cut, title, edge, silhouette: silhouette(building), pages }
    }

    /// The sheet of a tile, which is the page with that number.
    pub(super) fn draw(&self, tile: &Tile, page: usize) -> Drawing {
        let layer = tile.z - self.building.low.z + 1;
        let mut sheet = Drawing::new(format!("{}, layer {layer}", self.title), WIDTH, HEIGHT);
        self.ground(&mut sheet, tile);
        self.cubes(&mut sheet, tile);
        numbers(&mut sheet, tile, self.building.low);
        self.head(&mut sheet, tile, layer);
        self.foot(&mut sheet, tile, page);
        sheet
    }

    /// What is not built in this layer: lines to count by, the layer below, cubes left out, shafts.
    fn ground(&self, sheet: &mut Drawing, tile: &Tile) {
        let (built, left_out) = (&self.building.built, &self.building.left_out);
        let below = |cell: IVec3| !built.solid(cell) && built.solid(cell + Side::Bottom.step());
        squares(sheet, tile, tile.cells().filter(|&c| below(c)), Some(BELOW), Some(Stroke::new(0.1, FAINT)));
        count_lines(sheet, tile, self.building.low);
        squares(sheet, tile, tile.cells().filter(|&c| left_out.solid(c)), None, Some(NOT_BUILT));
        for cell in tile.cells().filter(|&cell| self.building.shafts.solid(cell)) {
            let middle = tile.place(cell) + DVec2::splat(tile.square / 2.0);
            sheet.circle(Layer::Note, EDGE, middle, tile.square * 0.3);
        }
    }

    fn cubes(&self, sheet: &mut Drawing, tile: &Tile) {
        let built = &self.building.built;
        let hidden = |cell: &IVec3| built.solid(*cell) && self.building.shown(*cell).is_none();
        squares(sheet, tile, tile.cells().filter(hidden), Some(HIDDEN), Some(EDGE));
        let within = |cell: &IVec3| {
            let at = [cell.x - tile.low[0], cell.y - tile.low[1]];
            (0..2).all(|axis| (0..tile.counts[axis]).contains(&at[axis]))
        };
        let showing: Vec<(IVec3, &Shown)> = self.building.shown_in(tile.z).filter(|(cell, _)| within(cell)).collect();
        squares(sheet, tile, showing.iter().map(|&(cell, _)| cell), Some(WHITE), None);
        fields(sheet, showing.iter().map(|&(cell, shown)| (tile.place(cell), shown)), tile.square, self.inks);
        squares(sheet, tile, showing.iter().map(|&(cell, _)| cell), None, Some(EDGE));
        squares(sheet, tile, tile.cells().filter(|&c| self.building.hanging.solid(c)), None, Some(HANGS));
    }

    fn head(&self, sheet: &mut Drawing, tile: &Tile, layer: i32) {
        let top = HEIGHT - 2.4;
        say(sheet, DVec2::new(0.0, top), 2.4, Anchor::Start, GREY, fitted(self.title, 2.4, 135.0));
        let layers = self.building.counts.z;
        let heading = format!("Layer {layer} of {layers}");
        say(sheet, DVec2::new(0.0, top - 8.0), 5.0, Anchor::Start, BLACK, heading);
        let heights = [layer - 1, layer].map(|n| short(f64::from(n) * self.edge));
        let mut place = format!("{} to {} mm above the foot", heights[0], heights[1]);
        if self.cut.tiles != [1, 1] {
            let span = |axis: usize, low: i32| {
                [tile.low[axis] - low + 1, tile.low[axis] - low + tile.counts[axis]].map(|n| n.to_string()).join("–")
            };
            let (columns, rows) = (span(0, self.building.low.x), span(1, self.building.low.y));
            place = format!("columns {columns}, rows {rows}; {place}");
        }
        say(sheet, DVec2::new(0.0, top - 13.0), 2.4, Anchor::Start, BLACK, place);
        say(sheet, DVec2::new(0.0, top - 17.2), 2.4, Anchor::Start, BLACK, self.counted(tile));
        self.elevation(sheet, layer);
        if self.cut.tiles != [1, 1] {
            self.tile_map(sheet, tile);
        }
    }

    /// What is on the sheet, counted.
    fn counted(&self, tile: &Tile) -> String {
        let building = self.building;
        let count = |is: &dyn Fn(IVec3) -> bool| tile.cells().filter(|&cell| is(cell)).count();
        let built = count(&|cell| building.built.solid(cell));
        let showing = count(&|cell| building.built.solid(cell) && building.shown(cell).is_some());
        let mut parts = vec![format!("{built} cubes here: {showing} show, {} do not", built - showing)];
        let mut part = |count: usize, what: &str| {
            if count > 0 {
                parts.push(format!("{count} {what}"));
            }
        };
        part(count(&|cell| building.left_out.solid(cell)), "left out");
        part(count(&|cell| building.shafts.solid(cell)), "stay open");
        part(count(&|cell| building.hanging.solid(cell)), "hang from above");
        parts.join("; ")
    }

    /// The piece from the front, at the sheet's upper right, with the layer in it.
    fn elevation(&self, sheet: &mut Drawing, layer: i32) {
        let counts = self.building.counts;
        let scale = (18.0 / f64::from(counts.z)).min(22.0 / f64::from(counts.x));
        let size = DVec2::new(f64::from(counts.x), f64::from(counts.z)) * scale;
        let corner = DVec2::new(WIDTH - 5.0 - size.x, HEIGHT - size.y);
        let row = |&[first, last, layer]: &[i32; 3]| {
            let at = DVec2::new(f64::from(first), f64::from(layer)) * scale;
            rectangle(corner + at, DVec2::new(f64::from(last - first + 1), 1.0) * scale)
        };
        let (now, others): (Vec<_>, Vec<_>) = self.silhouette.iter().partition(|row| row[2] == layer - 1);
        sheet.fill(Layer::Note, Srgb([0xcc; 3]), None, others.iter().copied().map(row).collect());
        sheet.fill(Layer::Note, BLACK, None, now.iter().copied().map(row).collect());
        let y = corner.y + (f64::from(layer) - 0.5) * scale;
        sheet.line(Layer::Note, Stroke::new(0.2, BLACK), [DVec2::new(WIDTH - 4.0, y), DVec2::new(WIDTH, y)]);
        let at = DVec2::new(corner.x + size.x / 2.0, corner.y - 2.6);
        say(sheet, at, 1.7, Anchor::Middle, GREY, "from the front");
    }

    /// Which part of the layer the sheet shows, left of the elevation.
    fn tile_map(&self, sheet: &mut Drawing, tile: &Tile) {
        let counts = self.building.counts;
        let scale = (18.0 / f64::from(counts.y)).min(22.0 / f64::from(counts.x));
        let size = DVec2::new(f64::from(counts.x), f64::from(counts.y)) * scale;
        let corner = DVec2::new(WIDTH - 32.0 - size.x, HEIGHT - size.y);
        let low =
            DVec2::new(f64::from(tile.low[0] - self.building.low.x), f64::from(tile.low[1] - self.building.low.y));
        let here = rectangle(corner + low * scale, DVec2::from_array(tile.counts.map(f64::from)) * scale);
        sheet.fill(Layer::Note, BLACK, None, vec![here]);
        let thin = Stroke::new(0.15, GREY);
        sheet.outline(Layer::Note, thin, rectangle(corner, size));
        for (axis, along) in [DVec2::X, DVec2::Y].into_iter().enumerate() {
            for n in 1..self.cut.tiles[axis] {
                let from = corner + along * f64::from(n * self.cut.across[axis]) * scale;
                sheet.line(Layer::Note, thin, [from, from + size * (DVec2::ONE - along)]);
            }
        }
        let at = DVec2::new(corner.x + size.x / 2.0, corner.y - 2.6);
        say(sheet, at, 1.7, Anchor::Middle, GREY, "this sheet, from above");
    }

    /// The letters' colours, and the page's number. Where the piece has more colours than there is room for, those that
    /// occur here.
    fn foot(&self, sheet: &mut Drawing, tile: &Tile, page: usize) {
        number_page(sheet, page, self.pages);
        let here = || {
            let inks = tile.cells().filter_map(|cell| self.building.shown(cell)).flat_map(|shown| shown.0);
            inks.flatten().collect::<BTreeSet<u16>>()
        };
        let all: BTreeSet<u16> =
            if self.inks.all.len() > LEGEND { here() } else { (0..self.inks.all.len() as u16).collect() };
        if all.len() > LEGEND {
            say(sheet, DVec2::ZERO, 2.0, Anchor::Start, BLACK, "The letters' colours are listed on the first pages.");
            return;
        }
        let rows = all.len().div_ceil(A_ROW);
        for (n, ink) in all.into_iter().map(|ink| &self.inks.all[usize::from(ink)]).enumerate() {
            let at = DVec2::new(27.0 * (n % A_ROW) as f64, 4.2 * (rows - 1 - n / A_ROW) as f64);
            swatch(sheet, at, 3.4, &ink.letter, ink.colour);
            let code = at + DVec2::new(4.4, 0.7);
            say(sheet, code, 2.0, Anchor::Start, BLACK, ink.colour.to_string());
        }
    }
}

/// As many colours as the foot of a sheet has room for, and as one row of it has.
const LEGEND: usize = 18;
const A_ROW: usize = 6;

/// Writes the page's number at its foot.
pub(super) fn number_page(sheet: &mut Drawing, page: usize, pages: usize) {
    say(sheet, DVec2::new(WIDTH, 0.0), 2.0, Anchor::End, GREY, format!("page {page} of {pages}"));
}

/// A square in a colour, with its letter.
pub(super) fn swatch(sheet: &mut Drawing, at: DVec2, size: f64, letter: &str, colour: Srgb) {
    let frame = Stroke::new(0.15, BLACK);
    sheet.fill(Layer::Note, colour, Some(frame), vec![rectangle(at, DVec2::splat(size))]);
    in_field(sheet, at, size, letter, colour);
}

/// Writes a letter into a field of a colour.
fn in_field(sheet: &mut Drawing, at: DVec2, size: f64, letter: &str, colour: Srgb) {
    let height = size * if letter.len() > 1 { 0.52 } else { 0.68 };
    let at = at + DVec2::new(size / 2.0, (size - height) / 2.0);
    say(sheet, at, height, Anchor::Middle, Inks::over(colour), letter);
}

/// Where a side's field lies in the square of a cube, in thirds of its edge.
fn field(side: Side) -> DVec2 {
    match side {
        Side::Right => DVec2::new(2.0, 1.0),
        Side::Left => DVec2::new(0.0, 1.0),
        Side::Back => DVec2::new(1.0, 2.0),
        Side::Front => DVec2::new(1.0, 0.0),
        Side::Top => DVec2::new(1.0, 1.0),
        Side::Bottom => DVec2::new(2.0, 0.0),
    }
}

/// Draws the fields of cubes that show.
pub(super) fn fields<'s>(
    sheet: &mut Drawing,
    cubes: impl Iterator<Item = (DVec2, &'s Shown)> + Clone,
    square: f64,
    inks: &Inks,
) {
    let third = square / 3.0;
    let of_cube = |(corner, shown): (DVec2, &'s Shown)| {
        Side::ALL.into_iter().filter_map(move |side| Some((corner + field(side) * third, shown[side]?)))
    };
    let mut by_ink: BTreeMap<u16, Vec<Vec<DVec2>>> = BTreeMap::new();
    for (at, ink) in cubes.clone().flat_map(of_cube) {
        by_ink.entry(ink).or_default().push(rectangle(at, DVec2::splat(third)));
    }
    for (ink, outlines) in by_ink {
        let frame = Stroke::new(0.1, GREY);
        sheet.fill(Layer::Note, inks.all[usize::from(ink)].colour, Some(frame), outlines);
    }
    for (at, ink) in cubes.flat_map(of_cube) {
        let ink = &inks.all[usize::from(ink)];
        in_field(sheet, at, third, &ink.letter, ink.colour);
    }
}

/// Draws the squares of cells.
fn squares(
    sheet: &mut Drawing,
    tile: &Tile,
    cells: impl Iterator<Item = IVec3>,
    fill: Option<Srgb>,
    stroke: Option<Stroke>,
) {
    let square = |cell| Line { points: rectangle(tile.place(cell), DVec2::splat(tile.square)), closed: true };
    let lines: Vec<Line> = cells.map(square).collect();
    if !lines.is_empty() {
        sheet.marks.push(Mark { layer: Layer::Note, shape: Shape::Lines(lines), stroke, fill });
    }
}

/// A frame around the tile, and lines to count by.
fn count_lines(sheet: &mut Drawing, tile: &Tile, low: IVec3) {
    let thin = Stroke::new(0.12, FAINT);
    sheet.outline(Layer::Note, thin, rectangle(tile.corner, tile.size()));
    for (axis, along) in [DVec2::X, DVec2::Y].into_iter().enumerate() {
        let first = tile.low[axis] - low.to_array()[axis];
        for n in (1..tile.counts[axis]).filter(|n| (first + n) % COUNT_BY == 0) {
            let from = tile.corner + along * f64::from(n) * tile.square;
            sheet.line(Layer::Note, thin, [from, from + tile.size() * (DVec2::ONE - along)]);
        }
    }
}

/// Numbers of columns and rows at all four edges, and which edge is the front.
fn numbers(sheet: &mut Drawing, tile: &Tile, low: IVec3) {
    let (size, square) = (tile.size(), tile.square);
    let height = (square * 0.34).min(2.4);
    for i in 0..tile.counts[0] {
        let (x, number) = ((f64::from(i) + 0.5) * square, tile.low[0] - low.x + i + 1);
        for y in [-height - 1.2, size.y + 1.2] {
            say(sheet, tile.corner + DVec2::new(x, y), height, Anchor::Middle, BLACK, number.to_string());
        }
    }
    for j in 0..tile.counts[1] {
        let (y, number) = ((f64::from(j) + 0.5) * square - height / 2.0, tile.low[1] - low.y + j + 1);
        for (x, anchor) in [(-1.2, Anchor::End), (size.x + 1.2, Anchor::Start)] {
            say(sheet, tile.corner + DVec2::new(x, y), height, anchor, BLACK, number.to_string());
        }
    }
    let middle = tile.corner.x + size.x / 2.0;
    let front = if tile.low[1] == low.y { "FRONT" } else { "towards the front" };
    let y = tile.corner.y - height - 5.0;
    say(sheet, DVec2::new(middle, y), 2.4, Anchor::Middle, BLACK, front);
    let bar = [DVec2::new(tile.corner.x, y + 1.2), DVec2::new(middle - 18.0, y + 1.2)];
    for [from, to] in [bar, bar.map(|p| DVec2::new(2.0 * middle - p.x, p.y))] {
        if (to.x - from.x) * (middle - from.x) > 0.0 {
            sheet.line(Layer::Note, Stroke::new(0.5, BLACK), [from, to]);
        }
    }
}

/// The piece from the front: rows of cubes, each with its first and last column and its layer, counted from 0.
fn silhouette(building: &Building) -> Vec<[i32; 3]> {
    let (low, counts) = (building.low, building.counts);
    let mut rows: Vec<[i32; 3]> = Vec::new();
    for k in 0..counts.z {
        let solid = |i: i32| {
            (0..counts.y).any(|j| {
                let cell = low + IVec3::new(i, j, k);
                building.built.solid(cell) || building.left_out.solid(cell)
            })
        };
        let start = rows.len();
        for i in (0..counts.x).filter(|&i| solid(i)) {
            match rows[start..].last_mut() {
                Some(row) if row[1] == i - 1 => row[1] = i,
                _ => rows.push([i, i, k]),
            }
        }
    }
    rows
}

/// A length in mm to a hundredth, without zeros behind.
pub(super) fn short(mm: f64) -> String {
    let text = format!("{mm:.2}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}
