//! Where everything lies on the plaque, in µm: +x to the right, +y to the back, the plate's underside at z = 0.
//!
//! Four rows, from the back: patches of cells (C), lines (L), fins (T), and along the front edge slots for the key (F). The
//! key lies in a bay at the right end of the front edge, as a body of its own, in the same position in the machine as the
//! slots, so that both come out equally thick.

use super::blocks::{Block, Dress, Solid, Zone};
use super::digits;
use super::reading::{Ladders, Row};
use crate::Side;
use crate::process::Process;

/// Free rim of the plate, and space between a thing and its number.
const RIM: i32 = 2_000;
const BESIDE: i32 = 800;
/// Space between rows.
const BETWEEN: i32 = 1_500;
/// Edge that a patch is given, as nearly as whole cells make it, and its cells along an edge.
const PATCH: i32 = 7_500;
const CELLS: [i32; 2] = [3, 32];
/// Height of a band of lines, bare strip between bands, and length of the flat pair at the left of a band.
const BAND: i32 = 3_200;
const STRIP: i32 = 800;
const PAIR: i32 = 6_000;
/// Length and height of a fin.
const FIN: [i32; 2] = [6_500, 6_000];
/// Depth of a slot; length of the key's blade; width and length of its handle.
const SLOT: i32 = 5_000;
const BLADE: i32 = 7_000;
const HANDLE: [i32; 2] = [8_000, 4_000];
/// Least space around things that stand free, for powder to leave and fingers to pass.
const FREE: i32 = 2_500;
/// The dots of numbers: least and most edge.
const DOT: [i32; 2] = [800, 1_500];

/// The pairs of neighbouring sides in the bands, in the order of a turn: lines of the second colour in the first.
pub(super) const PAIRS: [[Side; 2]; 4] =
    [[Side::Front, Side::Right], [Side::Right, Side::Back], [Side::Back, Side::Left], [Side::Left, Side::Front]];

/// A rectangle in the plan, in µm.
pub(super) type Rect = [[i32; 2]; 2];

/// The plaque as it is laid out.
pub(super) struct Layout {
    pub(super) solid: Solid,
    pub(super) size: [i32; 2],
    /// Edge of the numbers' dots.
    pub(super) dot: i32,
    pub(super) key: i32,
    /// What the sheet draws, from below.
    pub(super) plan: Vec<Drawn>,
}

/// A thing in the plan.
pub(super) enum Drawn {
    Plate(Rect),
    /// What is not there: a slot, the bay.
    Air(Rect),
    Key(Rect),
    Patch(Rect),
    Colour(Rect, Side),
    Fin(Rect),
    Dot(Rect),
}

/// Lays the plaque out. `thickness` is that of the plate, in µm.
pub(super) fn lay_out(ladders: &Ladders, process: &Process, thickness: i32) -> Layout {
    let um = |mm: f64| (mm * 1000.0).round() as i32;
    let wall = um(process.minimum_wall.value.mm());
    let dot = um((1.3 * process.detail.value.mm()).max(2.0 * process.bleed.value.mm())).clamp(DOT[0], DOT[1]);
    let row = |row: Row| ladders.row(row).iter().map(|&mm| um(mm)).collect();
    let sizes =
        Sizes { cells: row(Row::Cells), lines: row(Row::Lines), gaps: row(Row::Fits), walls: row(Row::Thicknesses) };
    let free = FREE.max(um(process.gap.value.mm()));
    let key = wall.max(3_000);
    Draughtsman::new(sizes, Measures { thickness, dot, free, key, tooth: wall.max(FREE) }).drawn()
}

struct Sizes {
    cells: Vec<i32>,
    lines: Vec<i32>,
    gaps: Vec<i32>,
    walls: Vec<i32>,
}

struct Measures {
    thickness: i32,
    dot: i32,
    free: i32,
    key: i32,
    tooth: i32,
}

impl Measures {
    fn sign(&self) -> [i32; 2] {
        digits::SIZE.map(|dots| dots * self.dot)
    }

    /// The left edge of the rows' content.
    fn left(&self) -> i32 {
        2 * RIM + self.sign()[0]
    }
}

struct Draughtsman {
    sizes: Sizes,
    measures: Measures,
    /// Width of the rows' content.
    width: i32,
    solid: Solid,
    plan: Vec<Drawn>,
}

/// Cells along the edge of a patch.
fn across(cell: i32) -> i32 {
    ((PATCH + cell / 2) / cell).clamp(CELLS[0], CELLS[1])
}

impl Draughtsman {
    fn new(sizes: Sizes, measures: Measures) -> Self {
        let sign = measures.sign()[0];
        let patches: i32 = sizes.cells.iter().map(|&cell| (across(cell) * cell).max(sign) + BETWEEN).sum();
        let spread = |widest: i32, count: usize| (widest.max(sign) + measures.free) * count as i32;
        let lines = 2 * PAIR + spread(sizes.lines[0], sizes.lines.len());
        let fins = spread(sizes.walls[0], sizes.walls.len());
        let mut this = Self { sizes, measures, width: 0, solid: Solid::default(), plan: Vec::new() };
        let slots = this.slot_pitch() * this.sizes.gaps.len() as i32 + this.measures.free + HANDLE[0];
        this.width = [patches - BETWEEN, lines, fins, slots - RIM].into_iter().max().unwrap_or_default();
        this
    }

    /// From the middle of a slot to that of the next.
    fn slot_pitch(&self) -> i32 {
        let widest = self.sizes.gaps.iter().max().copied().unwrap_or_default();
        (self.measures.key + 2 * widest).max(self.measures.sign()[0]) + self.measures.tooth
    }

    fn drawn(mut self) -> Layout {
        let [sign, left] = [self.measures.sign()[1], self.measures.left()];
        let bay = (BLADE + HANDLE[1] + self.measures.free).max(SLOT + BESIDE + sign + BETWEEN);
        let fins = bay + BETWEEN;
        let lines = fins + sign + BESIDE + FIN[0] + BETWEEN;
        let patches = lines + sign + BESIDE + 4 * BAND + 3 * STRIP + BETWEEN;
        let tallest = self.sizes.cells.iter().map(|&cell| across(cell) * cell).max().unwrap_or_default();
        let size = [left + self.width + RIM, patches + sign + BESIDE + tallest + RIM];

        let plate = [[0, 0], size];
        self.lay(plate, [0, self.measures.thickness], Dress::Bare);
        self.plan.push(Drawn::Plate(plate));
        self.slots(bay, size[0]);
        self.fins(fins);
        self.lines(lines);
        self.patches(patches, tallest);
        for (letter, at) in [('C', patches), ('L', lines), ('T', fins), ('F', SLOT + BESIDE)] {
            self.sign(letter, [RIM + self.measures.sign()[0] / 2, at]);
        }
        Layout { solid: self.solid, size, dot: self.measures.dot, key: self.measures.key, plan: self.plan }
    }

    fn lay(&mut self, [low, high]: Rect, [bottom, top]: [i32; 2], dress: Dress) {
        self.solid.lay(Block { low: [low[0], low[1], bottom], high: [high[0], high[1], top] }, dress);
    }

    fn cut(&mut self, rect: Rect) {
        let [low, high] = rect;
        self.solid.cut(Block { low: [low[0], low[1], 0], high: [high[0], high[1], self.measures.thickness] });
        self.plan.push(Drawn::Air(rect));
    }

    /// A sign with the middle of its lower edge at a place.
    fn sign(&mut self, sign: char, [middle, front]: [i32; 2]) {
        let (dot, top) = (self.measures.dot, self.measures.thickness);
        let [width, height] = self.measures.sign();
        for [column, row] in digits::dots(sign) {
            let low = [middle - width / 2 + column * dot, front + height - (row + 1) * dot];
            let rect = [low, low.map(|c| c + dot)];
            self.lay(rect, [top, top + dot], Dress::Text);
            self.plan.push(Drawn::Dot(rect));
        }
    }

    fn number(&mut self, place: usize, at: [i32; 2]) {
        if let Some(digit) = char::from_digit(place as u32 + 1, 10) {
            self.sign(digit, at);
        }
    }

    /// Where the middles of evenly spread things lie.
    fn spread(&self, count: usize, from: i32) -> Vec<i32> {
        let room = self.measures.left() + self.width - from;
        (0..count as i32).map(|i| from + room * (2 * i + 1) / (2 * count as i32)).collect()
    }

    fn patches(&mut self, front: i32, tallest: i32) {
        let (top, [sign, height]) = (self.measures.thickness, self.measures.sign());
        let cells = self.sizes.cells.clone();
        let wide = |cell: i32| (across(cell) * cell).max(sign);
        let taken: i32 = cells.iter().map(|&cell| wide(cell)).sum();
        let between = (self.width - taken) / (cells.len() as i32 - 1).max(1);
        let mut left = self.measures.left();
        let middle_y = front + height + BESIDE + tallest / 2;
        for (place, cell) in cells.into_iter().enumerate() {
            let (n, middle) = (across(cell), left + wide(cell) / 2);
            left += wide(cell) + between;
            self.number(place, [middle, front]);
            let corner = [middle - n * cell / 2, middle_y - n * cell / 2];
            for at in 0..n * n {
                let [i, j] = [at % n, at / n];
                // Steps along the diagonals, from the middle down: every face has other colours beyond its four edges.
                let away = ((2 * i - (n - 1)).abs() + (2 * j - (n - 1)).abs()) / 2;
                let steps = n / 2 + 1 - away;
                if steps > 0 {
                    let low = [corner[0] + i * cell, corner[1] + j * cell];
                    self.lay([low, low.map(|c| c + cell)], [top, top + steps * cell], Dress::Sides);
                }
            }
            self.plan.push(Drawn::Patch([corner, corner.map(|c| c + n * cell)]));
        }
    }

    fn zone(&mut self, rect: Rect, colour: Side) {
        let [low, high] = rect;
        self.solid.paint(Zone { low, high, z: self.measures.thickness, colour });
        self.plan.push(Drawn::Colour(rect, colour));
    }

    fn lines(&mut self, front: i32) {
        let left = self.measures.left();
        let middles = self.spread(self.sizes.lines.len(), left + 2 * PAIR);
        let bands = front + self.measures.sign()[1] + BESIDE;
        for (place, &middle) in middles.iter().enumerate() {
            self.number(place, [middle, front]);
        }
        for (band, [field, line]) in PAIRS.into_iter().enumerate() {
            // The first pair at the back, where one begins to read.
            let low = bands + (PAIRS.len() - 1 - band) as i32 * (BAND + STRIP);
            self.zone([[left, low], [left + self.width, low + BAND]], field);
            self.zone([[left, low], [left + PAIR, low + BAND]], line);
            for (&middle, width) in middles.iter().zip(self.sizes.lines.clone()) {
                let from = middle - width / 2;
                self.zone([[from, low], [from + width, low + BAND]], line);
            }
        }
    }

    fn fins(&mut self, front: i32) {
        let (top, low) = (self.measures.thickness, front + self.measures.sign()[1] + BESIDE);
        for (place, middle) in self.spread(self.sizes.walls.len(), self.measures.left()).into_iter().enumerate() {
            let thick = self.sizes.walls[place];
            let rect = [[middle - thick / 2, low], [middle - thick / 2 + thick, low + FIN[0]]];
            self.lay(rect, [top, top + FIN[1]], Dress::Bare);
            self.plan.push(Drawn::Fin(rect));
            self.number(place, [middle, front]);
        }
    }

    fn slots(&mut self, depth: i32, right: i32) {
        let pitch = self.slot_pitch();
        for (place, gap) in self.sizes.gaps.clone().into_iter().enumerate() {
            let middle = self.measures.left() + pitch / 2 + pitch * place as i32;
            let width = self.measures.key + 2 * gap;
            self.cut([[middle - width / 2, 0], [middle - width / 2 + width, SLOT]]);
            self.number(place, [middle, SLOT + BESIDE]);
        }
        let bay = right - HANDLE[0] - self.measures.free;
        self.cut([[bay, 0], [right, depth]]);
        let (key, top) = (self.measures.key, self.measures.thickness);
        let middle = right - HANDLE[0] / 2;
        for rect in [
            [[middle - key / 2, HANDLE[1]], [middle - key / 2 + key, HANDLE[1] + BLADE]],
            [[right - HANDLE[0], 0], [right, HANDLE[1]]],
        ] {
            self.lay(rect, [0, top], Dress::Bare);
            self.plan.push(Drawn::Key(rect));
        }
    }
}
