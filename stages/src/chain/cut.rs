//! What a plane cuts, as a drawing: bodies in their colours, their names beside them, at a scale that drawings are made at.

use std::f64::consts::FRAC_1_SQRT_2;

use glam::{DVec2, DVec3};

use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Line, Mark, Shape, Stroke};
use crate::solid::Cells;
use crate::solid::section::Upright;
use crate::{Side, Srgb};

/// Sheet and its margin, in mm: fits on A4 and on Letter.
pub(super) const SHEET: DVec2 = DVec2::new(190.0, 259.0);
/// What is left for words at the top and the foot of the sheet, in mm.
pub(super) const HEAD: f64 = 18.0;
pub(super) const FOOT: f64 = 16.0;
/// Width of the column of names at the right, in mm.
pub(super) const NAMES: f64 = 44.0;

/// Height of a title's letters, in mm, and how wide one is at most on average, as a part of that: in DejaVu Sans, the widest
/// of the fonts that stand in for Helvetica (measured).
const LETTERS: f64 = 4.2;
const WIDE: f64 = 0.86;

/// What is printed of the piece.
pub(super) const PIECE: Srgb = Srgb([0xc9, 0xc2, 0xb2]);
/// Lines beside the piece.
pub(super) const GREY: Srgb = Srgb([0x6a, 0x6a, 0x6a]);
/// The plane lies this much, in mm, on the viewer's side of the place that it should go through, so that it never runs between two layers of
/// cells: far above the rounding of coordinates (1e-13), far below what is written (1e-2).
pub(super) const ASIDE: f64 = 1e-6;
/// From one line of the hatching to the next, in mm on the sheet, and the lines themselves.
const HATCH: f64 = 1.8;
const HATCHING: Stroke = Stroke::new(0.12, Srgb([0x8d, 0x86, 0x77]));
/// Outlines.
pub(super) const THIN: Stroke = Stroke::new(0.18, BLACK);

/// What is cut, in one colour.
pub(super) struct Cut {
    pub(super) name: String,
    pub(super) colour: Srgb,
    pub(super) outlines: Vec<Vec<DVec2>>,
    /// Whether outlines may overlap, so that none is a hole in another.
    pub(super) one_by_one: bool,
}

/// Something named beside the section: a place in it, its colour, and its name.
pub(super) struct Named {
    pub(super) at: DVec2,
    pub(super) colour: Srgb,
    pub(super) name: String,
}

/// One of the scales that drawings are made at (ISO 5455: 1, 2 or 5 times a power of ten).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scale {
    /// 1 : n, or n : 1 where it enlarges.
    ratio: f64,
    enlarges: bool,
}

impl Scale {
    pub(super) fn that_fits(size: DVec2, room: DVec2) -> Self {
        let fits = |scale: &Self| scale.of(size.x) <= room.x && scale.of(size.y) <= room.y;
        let up = [5.0, 2.0, 1.0].map(|ratio| Self { ratio, enlarges: true });
        let down = [1.0, 10.0, 100.0, 1000.0].into_iter().flat_map(|tens| [2.0 * tens, 5.0 * tens, 10.0 * tens]);
        let down = down.map(|ratio| Self { ratio, enlarges: false });
        let last = Self { ratio: 20_000.0, enlarges: false };
        up.into_iter().chain(down).find(fits).unwrap_or(last)
    }

    pub(super) fn factor(self) -> f64 {
        if self.enlarges { self.ratio } else { 1.0 / self.ratio }
    }

    pub(super) fn of(self, length: f64) -> f64 {
        length * self.factor()
    }

    pub(super) fn words(self) -> String {
        if self.enlarges { format!("{} : 1", self.ratio) } else { format!("1 : {}", self.ratio) }
    }
}

/// Title, scale and scale bar. `words` say from where it is seen.
pub(super) fn head(drawing: &mut Drawing, title: &str, words: &str, scale: Scale) {
    let top = drawing.height;
    let letters = f64::min(LETTERS, (SHEET.x - 8.0) / (WIDE * title.chars().count().max(1) as f64));
    drawing.words(Layer::Note, DVec2::new(4.0, top - 8.0), letters, Anchor::Start, title);
    let words = format!("{words}. Scale {} when printed at 100 %. Lengths in mm.", scale.words());
    drawing.words(Layer::Note, DVec2::new(4.0, top - 13.5), 2.4, Anchor::Start, words);
    drawing.scale_bar(DVec2::new(4.0, 4.0), 50.0);
}

/// Draws what is cut: the outlines of a body together, as some are holes in others; panels one by one, as they may overlap where
/// their fingers do.
pub(super) fn fill(drawing: &mut Drawing, cut: &Cut, placed: impl Fn(&[DVec2]) -> Vec<DVec2>) {
    let outlines: Vec<Vec<DVec2>> =
        cut.outlines.iter().map(|outline| placed(outline)).filter(|outline| outline.len() > 2).collect();
    if cut.one_by_one {
        outlines.into_iter().for_each(|outline| drawing.fill(Layer::Note, cut.colour, Some(THIN), vec![outline]));
    } else if !outlines.is_empty() {
        drawing.fill(Layer::Note, cut.colour, Some(THIN), outlines);
    }
}

/// Names what is cut, in a column at the right, in the order of height, so that no two leaders cross.
pub(super) fn name_all(drawing: &mut Drawing, mut named: Vec<Named>, column: f64) {
    named.sort_by(|a, b| b.at.y.total_cmp(&a.at.y));
    let mut next = f64::MAX;
    for Named { at, colour, name } in named {
        let y = at.y.min(next - 7.0).max(FOOT);
        next = y;
        let end = DVec2::new(column, y);
        drawing.line(Layer::Note, Stroke::new(0.18, GREY), [at, end - DVec2::X * 5.0, end - DVec2::X * 1.0]);
        drawing.marks.push(Mark {
            layer: Layer::Note,
            shape: Shape::Circle { centre: at, radius: 0.6 },
            stroke: None,
            fill: Some(BLACK),
        });
        let low = end - DVec2::Y * 1.4;
        let patch = [low, low + DVec2::X * 4.0, low + DVec2::new(4.0, 2.8), low + DVec2::Y * 2.8].to_vec();
        drawing.fill(Layer::Note, colour, Some(THIN), vec![patch]);
        drawing.words(Layer::Note, end + DVec2::new(5.5, -1.2), 2.6, Anchor::Start, name);
    }
}

/// A place within what is cut, as far to the right as there is much of it: the middle of the longest run along one of some lines.
pub(super) fn spot(outlines: &[Vec<DVec2>]) -> Option<DVec2> {
    let all = outlines.iter().flatten();
    let (low, high) = all.fold((f64::MAX, f64::MIN), |(low, high), p| (low.min(p.y), high.max(p.y)));
    let runs = (1..16).flat_map(|line| {
        // Off any height that corners of cells have.
        let y = low + (high - low) * (f64::from(line) + 0.137) / 16.0;
        runs(outlines, y).into_iter().map(move |[from, to]| (DVec2::new(from.midpoint(to), y), to - from))
    });
    let score = |(at, long): &(DVec2, f64)| long.min(8.0) * 4.0 + at.x;
    runs.max_by(|a, b| score(a).total_cmp(&score(b))).map(|(at, _)| at)
}

/// Where a level line is within outlines: from and to.
pub(super) fn runs(outlines: &[Vec<DVec2>], y: f64) -> Vec<[f64; 2]> {
    let mut at: Vec<f64> = outlines.iter().flat_map(|outline| crossings(outline, y)).collect();
    at.sort_by(f64::total_cmp);
    at.chunks_exact(2).map(|run| [run[0], run[1]]).collect()
}

fn crossings(outline: &[DVec2], y: f64) -> Vec<f64> {
    let next = outline.iter().cycle().skip(1);
    let cross =
        |(a, b): (&DVec2, &DVec2)| ((a.y < y) != (b.y < y)).then(|| a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y));
    outline.iter().zip(next).filter_map(cross).collect()
}

/// An upright plane through a place, along a level axis, and the side from which it is seen.
pub(super) fn upright(through: DVec3, axis: usize) -> (Upright, Side) {
    let (from, along) = if axis == 0 { (Side::Front, DVec2::X) } else { (Side::Right, DVec2::Y) };
    (Upright { through: (through + ASIDE * from.normal()).truncate(), along }, from)
}

/// The level axis along which the cells reach farther.
pub(super) fn broader(cells: &Cells) -> Option<usize> {
    let [low, high] = cells.extent()?;
    Some(usize::from(high.y - low.y > high.x - low.x))
}

/// The box around outlines.
pub(super) fn bounds(outlines: &[Vec<DVec2>]) -> Option<[DVec2; 2]> {
    let mut points = outlines.iter().flatten();
    let first = *points.next()?;
    Some(points.fold([first; 2], |[low, high], &p| [low.min(p), high.max(p)]))
}

/// Lines at 45° over what outlines surround, as sections have them (ISO 128-50); the other way where they fall, for what lies
/// beside it.
pub(super) fn hatch(drawing: &mut Drawing, outlines: &[Vec<DVec2>], falling: bool) {
    // Turned so that the lines are level.
    let up = if falling { -FRAC_1_SQRT_2 } else { FRAC_1_SQRT_2 };
    let (turn, back) = (DVec2::new(FRAC_1_SQRT_2, -up), DVec2::new(FRAC_1_SQRT_2, up));
    let turned: Vec<Vec<DVec2>> =
        outlines.iter().map(|outline| outline.iter().map(|&p| turn.rotate(p)).collect()).collect();
    let Some([low, high]) = bounds(&turned) else { return };
    let mut y = low.y + HATCH / 2.0;
    let mut lines = Vec::new();
    while y < high.y {
        let ends = |[from, to]: [f64; 2]| [from, to].map(|x| back.rotate(DVec2::new(x, y))).to_vec();
        lines.extend(runs(&turned, y).into_iter().map(|run| Line { points: ends(run), closed: false }));
        y += HATCH;
    }
    drawing.marks.push(Mark { layer: Layer::Note, shape: Shape::Lines(lines), stroke: Some(HATCHING), fill: None });
}
