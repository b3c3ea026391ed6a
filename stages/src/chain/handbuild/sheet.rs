//! Sheets of paper, and how the layers are laid out on them.
//!
//! Every sheet is [`WIDTH`] × [`HEIGHT`], which both A4 and Letter hold with at least 10 mm to spare on each side; the margins
//! differ, the drawing does not. A layer is drawn with its front at the lower edge. Where it is too large for a sheet, it is
//! cut into tiles of nearly the same size; tiles in which nothing is done are left out.

use glam::{DVec2, IVec3};

use super::building::Building;
use super::settings::{SQUARES, Settings};
use crate::Srgb;
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Mark, Paper, Shape, pdf};

/// Width of what is drawn on a sheet, in mm: A4's less 10 mm on each side.
pub(super) const WIDTH: f64 = 190.0;
/// Its height: Letter's less 10.2 mm above and below.
pub(super) const HEIGHT: f64 = 259.0;

/// The field in which cubes are drawn: its lower left corner and its size. The rest is for words and numbers.
const FIELD: [DVec2; 2] = [DVec2::new(7.0, 21.0), DVec2::new(176.0, 210.0)];

/// The least square that is chosen where none is asked for, by how many letters a colour has, the largest, and the step in
/// which squares are tried, in mm: capitals are then 1.1 mm high at least.
const USUAL_LEAST: [f64; 2] = [SQUARES[0], 6.5];
const USUAL_MOST: f64 = 12.0;
const STEP: f64 = 0.25;

/// Grey for what is only mentioned.
pub(super) const GREY: Srgb = Srgb([0x77; 3]);

/// How the layers are cut into sheets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Cut {
    /// Edge of a cube on paper, in mm.
    pub(super) square: f64,
    /// Tiles along x and y.
    pub(super) tiles: [i32; 2],
    /// Cubes along x and y of a tile; the last may have fewer.
    pub(super) across: [i32; 2],
}

impl Cut {
    /// The fewest tiles, and then the largest squares; or the squares that are asked for.
    pub(super) fn of(counts: IVec3, settings: &Settings, letters: usize) -> Self {
        if let Some(square) = settings.square {
            return Self::with(counts, square.mm());
        }
        let least = USUAL_LEAST[usize::from(letters > 1)];
        let steps = ((USUAL_MOST - least) / STEP) as i32;
        let cuts = (1..=steps).map(|step| Self::with(counts, least + STEP * f64::from(step)));
        cuts.fold(Self::with(counts, least), |best, next| if next.count() <= best.count() { next } else { best })
    }

    fn with(counts: IVec3, square: f64) -> Self {
        // A square of 5 mm goes 42 times into 210 mm, whatever the last digit.
        let room = FIELD[1].to_array().map(|mm| ((mm / square + 1e-9) as i32).max(1));
        let counts = [counts.x, counts.y];
        let tiles = [0, 1].map(|axis| ceil(counts[axis], room[axis]));
        Self { square, tiles, across: [0, 1].map(|axis| ceil(counts[axis], tiles[axis])) }
    }

    fn count(&self) -> i32 {
        self.tiles[0] * self.tiles[1]
    }
}

fn ceil(a: i32, b: i32) -> i32 {
    (a + b - 1) / b
}

/// A tile of a layer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Tile {
    /// The layer's z on the grid.
    pub(super) z: i32,
    /// Which tile, along x and y.
    pub(super) at: [i32; 2],
    /// Its first cell along x and y on the grid.
    pub(super) low: [i32; 2],
    /// Cubes along x and y.
    pub(super) counts: [i32; 2],
    /// Where its lower left corner lies on the sheet.
    pub(super) corner: DVec2,
    /// Edge of a cube on paper, in mm.
    pub(super) square: f64,
}

impl Tile {
    /// Its cells.
    pub(super) fn cells(&self) -> impl Iterator<Item = IVec3> + use<> {
        let Self { z, low, counts, .. } = *self;
        (0..counts[1]).flat_map(move |j| (0..counts[0]).map(move |i| IVec3::new(low[0] + i, low[1] + j, z)))
    }

    /// Where the lower left corner of a cell lies on the sheet.
    pub(super) fn place(&self, cell: IVec3) -> DVec2 {
        let from_low = DVec2::new(f64::from(cell.x - self.low[0]), f64::from(cell.y - self.low[1]));
        self.corner + from_low * self.square
    }

    /// Its size on the sheet.
    pub(super) fn size(&self) -> DVec2 {
        DVec2::from_array(self.counts.map(f64::from)) * self.square
    }
}

/// The tiles of all layers, from the foot up, each layer from the front and the left.
pub(super) fn tiles(building: &Building, cut: &Cut) -> Vec<Tile> {
    let layers = building.low.z..building.low.z + building.counts.z;
    let places = (0..cut.tiles[1]).flat_map(|y| (0..cut.tiles[0]).map(move |x| [x, y]));
    let all = layers.flat_map(|z| places.clone().map(move |at| tile(building, cut, z, at)));
    let done = |cell| building.built.solid(cell) || building.left_out.solid(cell) || building.shafts.solid(cell);
    all.filter(|tile| tile.cells().any(done)).collect()
}

fn tile(building: &Building, cut: &Cut, z: i32, at: [i32; 2]) -> Tile {
    let (low, counts) = ([building.low.x, building.low.y], [building.counts.x, building.counts.y]);
    let first = [0, 1].map(|axis| at[axis] * cut.across[axis]);
    let counts = [0, 1].map(|axis| cut.across[axis].min(counts[axis] - first[axis]).max(0));
    let low = [0, 1].map(|axis| low[axis] + first[axis]);
    let tile = Tile { z, at, low, counts, corner: DVec2::ZERO, square: cut.square };
    Tile { corner: FIELD[0] + (FIELD[1] - tile.size()) / 2.0, ..tile }
}

/// A drawing on paper, in the middle.
pub(super) fn on_paper(sheet: &Drawing, paper: Paper) -> Drawing {
    let [width, height] = paper.size();
    let mut page = Drawing::new(sheet.title.clone(), width, height);
    page.place(sheet, DVec2::new((width - WIDTH) / 2.0, (height - HEIGHT) / 2.0));
    page
}

/// Writes words in a colour.
pub(super) fn say(to: &mut Drawing, at: DVec2, height: f64, anchor: Anchor, colour: Srgb, words: impl Into<String>) {
    let shape = Shape::Words { at, height, anchor, turned: 0.0, words: words.into() };
    to.marks.push(Mark { layer: Layer::Note, shape, stroke: None, fill: Some(colour) });
}

/// Words cut to the room that they have.
pub(super) fn fitted(words: &str, height: f64, room: f64) -> String {
    if pdf::width(words, height) <= room {
        return words.to_owned();
    }
    let mut cut: String = words.to_owned();
    while !cut.is_empty() && pdf::width(&cut, height) + pdf::width("…", height) > room {
        cut.pop();
    }
    format!("{}…", cut.trim_end())
}

/// The corners of an upright rectangle.
pub(super) fn rectangle(at: DVec2, size: DVec2) -> Vec<DVec2> {
    vec![at, at + size.with_y(0.0), at + size, at + size.with_x(0.0)]
}

/// Words that flow from page to page.
pub(super) struct Flow {
    /// The pages so far.
    pub(super) pages: Vec<Drawing>,
    title: String,
    /// Height of the next line's top.
    pub(super) y: f64,
}

/// Height of capitals in running words, and from line to line, in mm.
const RUNNING: f64 = 2.5;
const LINE: f64 = 4.6;
/// Nothing flows below this: the page's number comes there.
const FOOT: f64 = 10.0;

impl Flow {
    /// Begins on a page of its own.
    pub(super) fn new(title: &str) -> Self {
        let mut flow = Self { pages: Vec::new(), title: title.to_owned(), y: 0.0 };
        flow.turn();
        flow
    }

    /// Begins a new page.
    pub(super) fn turn(&mut self) {
        let mut page = Drawing::new(self.title.clone(), WIDTH, HEIGHT);
        if !self.pages.is_empty() {
            let title = fitted(&self.title, 2.2, WIDTH);
            say(&mut page, DVec2::new(0.0, HEIGHT - 2.2), 2.2, Anchor::Start, GREY, title);
        }
        self.y = if self.pages.is_empty() { HEIGHT } else { HEIGHT - 7.0 };
        self.pages.push(page);
    }

    /// The page that is being written.
    pub(super) fn page(&mut self) -> &mut Drawing {
        let last = self.pages.len() - 1;
        &mut self.pages[last]
    }

    /// Sees to it that so much room is left on the page.
    pub(super) fn room(&mut self, height: f64) {
        if self.y - height < FOOT {
            self.turn();
        }
    }

    /// A heading, with room for a few lines below it.
    pub(super) fn heading(&mut self, words: &str) {
        self.room(20.0);
        self.y -= 8.0;
        let at = DVec2::new(0.0, self.y);
        say(self.page(), at, 3.6, Anchor::Start, BLACK, words);
        self.y -= 3.0;
    }

    /// A paragraph; `mark` stands before its first line.
    pub(super) fn paragraph(&mut self, mark: &str, words: &str) {
        let indent = if mark.is_empty() { 0.0 } else { 6.0 };
        for (i, line) in wrapped(words, RUNNING, WIDTH - indent).into_iter().enumerate() {
            self.room(LINE);
            self.y -= LINE;
            let y = self.y;
            if i == 0 {
                say(self.page(), DVec2::new(1.0, y), RUNNING, Anchor::Start, BLACK, mark);
            }
            say(self.page(), DVec2::new(indent, y), RUNNING, Anchor::Start, BLACK, line);
        }
        self.y -= 1.2;
    }
}

/// Words in lines that are at most so wide.
pub(super) fn wrapped(words: &str, height: f64, room: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in words.split_whitespace() {
        match lines.last_mut() {
            Some(line) if pdf::width(&format!("{line} {word}"), height) <= room => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}
