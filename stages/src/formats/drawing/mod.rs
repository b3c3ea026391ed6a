//! Flat drawings in true size: what is cut, drilled, built by or looked at on paper.
//!
//! A [`Drawing`] is lines, outlines, circles and words on a sheet in mm, with the origin at the sheet's lower left and y
//! upwards, as on the piece. Writers put it down as SVG ([`svg`]), PDF ([`pdf`]) and DXF ([`dxf`]), all 1:1. Each gives the
//! same bytes for the same drawing.

pub mod dxf;
pub mod pdf;
pub mod svg;

use glam::DVec2;

use crate::Srgb;

/// A sheet with what is drawn on it, in order: what comes later lies above.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Drawing {
    /// What it shows, in a few words.
    pub title: String,
    /// Width of the sheet.
    pub width: f64,
    /// Height of the sheet.
    pub height: f64,
    /// What is drawn.
    pub marks: Vec<Mark>,
}

/// Something drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// What it is there for.
    pub layer: Layer,
    /// Its form.
    pub shape: Shape,
    /// Its line, if it has one. Words have none.
    pub stroke: Option<Stroke>,
    /// What fills it, by the even-odd rule; the colour of words.
    pub fill: Option<Srgb>,
}

/// What a mark is there for: a layer of its own where the format has layers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Layer {
    /// Cut along here.
    Cut,
    /// Marked on the material, not cut through: where something comes, or how it lies.
    Mark,
    /// Sizes, and the lines that carry them.
    Measure,
    /// Words, frames and pictures for people.
    Note,
}

/// The form of a mark.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// Lines through points; several are filled together.
    Lines(Vec<Line>),
    /// A full circle.
    Circle {
        /// Its centre.
        centre: DVec2,
        /// Its radius.
        radius: f64,
    },
    /// A line of words, in the sheet's sans-serif.
    Words {
        /// Where the base line begins, is in the middle, or ends.
        at: DVec2,
        /// Height of capitals and figures, in mm.
        height: f64,
        /// What of the words lies at `at`.
        anchor: Anchor,
        /// Turned by so many degrees, counter-clockwise.
        turned: f64,
        /// The words.
        words: String,
    },
}

/// Straight lines from point to point.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// The points.
    pub points: Vec<DVec2>,
    /// Whether it goes back from the last to the first.
    pub closed: bool,
}

/// What of a line of words lies at its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// Its beginning.
    Start,
    /// Its middle.
    Middle,
    /// Its end.
    End,
}

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stroke {
    /// Its width in mm.
    pub width: f64,
    /// Its colour.
    pub colour: Srgb,
    /// Dashes and gaps of these lengths in mm.
    pub dash: Option<[f64; 2]>,
}

impl Stroke {
    /// A full line.
    #[must_use]
    pub const fn new(width: f64, colour: Srgb) -> Self {
        Self { width, colour, dash: None }
    }
}

/// Black.
pub const BLACK: Srgb = Srgb([0; 3]);

/// Height of capitals as a share of the size of a font: that of Helvetica, 718 of 1000 (its metrics, Adobe 1985 and later).
pub const CAPITALS: f64 = 0.718;

impl Drawing {
    /// An empty sheet.
    #[must_use]
    pub fn new(title: impl Into<String>, width: f64, height: f64) -> Self {
        Self { title: title.into(), width, height, marks: Vec::new() }
    }

    /// Draws a closed outline.
    pub fn outline(&mut self, layer: Layer, stroke: Stroke, points: impl Into<Vec<DVec2>>) {
        let lines = vec![Line { points: points.into(), closed: true }];
        self.marks.push(Mark { layer, shape: Shape::Lines(lines), stroke: Some(stroke), fill: None });
    }

    /// Draws a line from point to point.
    pub fn line(&mut self, layer: Layer, stroke: Stroke, points: impl Into<Vec<DVec2>>) {
        let lines = vec![Line { points: points.into(), closed: false }];
        self.marks.push(Mark { layer, shape: Shape::Lines(lines), stroke: Some(stroke), fill: None });
    }

    /// Draws a circle.
    pub fn circle(&mut self, layer: Layer, stroke: Stroke, centre: DVec2, radius: f64) {
        self.marks.push(Mark { layer, shape: Shape::Circle { centre, radius }, stroke: Some(stroke), fill: None });
    }

    /// Fills outlines together, by the even-odd rule.
    pub fn fill(&mut self, layer: Layer, colour: Srgb, stroke: Option<Stroke>, outlines: Vec<Vec<DVec2>>) {
        let lines = outlines.into_iter().map(|points| Line { points, closed: true }).collect();
        self.marks.push(Mark { layer, shape: Shape::Lines(lines), stroke, fill: Some(colour) });
    }

    /// Writes words whose capitals are `height` mm high.
    pub fn words(&mut self, layer: Layer, at: DVec2, height: f64, anchor: Anchor, words: impl Into<String>) {
        let shape = Shape::Words { at, height, anchor, turned: 0.0, words: words.into() };
        self.marks.push(Mark { layer, shape, stroke: None, fill: Some(BLACK) });
    }

    /// Draws a bar of `length` mm with its length beside it, to check on paper whether a printer kept the size.
    pub fn scale_bar(&mut self, at: DVec2, length: f64) {
        let thin = Stroke::new(0.25, BLACK);
        let end = at + DVec2::X * length;
        self.line(Layer::Measure, thin, [at, end]);
        for tick in 0..=10 {
            let foot = at + DVec2::X * length * f64::from(tick) / 10.0;
            let high = if tick % 5 == 0 { 3.0 } else { 1.5 };
            self.line(Layer::Measure, thin, [foot, foot + DVec2::Y * high]);
        }
        let words = format!("{length} mm: measure this bar; if it is not {length} mm long, print again at 100 %");
        self.words(Layer::Measure, at + DVec2::Y * 4.2, 2.2, Anchor::Start, words);
    }

    /// Takes in another drawing with its lower left corner at `at`.
    pub fn place(&mut self, other: &Self, at: DVec2) {
        let moved = |mark: &Mark| {
            let mut mark = mark.clone();
            match &mut mark.shape {
                Shape::Lines(lines) => lines.iter_mut().flat_map(|line| &mut line.points).for_each(|p| *p += at),
                Shape::Circle { centre, .. } => *centre += at,
                Shape::Words { at: place, .. } => *place += at,
            }
            mark
        };
        self.marks.extend(other.marks.iter().map(moved));
    }
}

/// A number for a drawing's text: to a thousandth of a mm, in its shortest form.
fn short(number: f64) -> String {
    let text = format!("{number:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// Paper that people print on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Paper {
    /// ISO 216 A4: 210 × 297 mm.
    A4,
    /// ANSI A, US Letter: 8½ × 11 in.
    Letter,
}

impl Paper {
    /// Both.
    pub const ALL: [Self; 2] = [Self::A4, Self::Letter];

    /// Width and height upright, in mm.
    #[must_use]
    pub const fn size(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }

    /// Its name in file names.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::A4 => "a4",
            Self::Letter => "letter",
        }
    }
}
