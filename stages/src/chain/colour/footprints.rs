//! A picture on a lattice of squares: each takes the mean of the light that falls on it.
//!
//! The mean is that of areas, with the fraction of each pixel that a square covers, so no light is lost or counted twice.
//! Squares are cut into quarters each way first; the square is the mean of its sixteen parts, and how far they differ from
//! it is the detail that no cell can show.
//!
//! Rows of squares are worked out one by one from the rows of pixels that they cover. Rejected: a summed-area table, which
//! takes 24 bytes a pixel and loses digits in large pictures, for squares that are all of one size.

use rayon::prelude::*;

use super::facade::{Facade, Seen};
use super::settings::Fit;
use crate::colorimetry::{difference, lab_of_light};
use crate::formats::bitmap::Bitmap;

/// Parts of a square along each edge.
const PARTS: usize = 4;

/// A picture laid on a facade.
#[derive(Clone, Debug)]
pub(super) struct Laid {
    /// The mean light on each place of the facade.
    pub(super) light: Vec<[f64; 3]>,
    /// The mean ΔE00 between that mean and a sixteenth of the place; 0 beside the silhouette.
    pub(super) detail: Vec<f64>,
    /// The share of the picture's area that falls on the silhouette.
    pub(super) shown: f64,
    /// Pixels along the edge of a cell.
    pub(super) pixels_a_cell: f64,
}

/// Lays a picture on a facade, over a ground. `seen` tells the silhouette.
pub(super) fn lay(picture: &Bitmap, fit: Fit, ground: [f64; 3], facade: &Facade, seen: &[Seen]) -> Laid {
    let [width, height] = picture.size().map(|pixels| pixels as f64);
    let (columns, rows) = (facade.columns as f64, facade.rows as f64);
    let pixels_a_cell = match fit {
        Fit::Fill => (width / columns).min(height / rows),
        Fit::Whole => (width / columns).max(height / rows),
    };
    // Middle on middle.
    let across = Cut::new(width, facade.columns, pixels_a_cell);
    let down = Cut::new(height, facade.rows, pixels_a_cell);
    let spans = across.spans();
    let lines: Vec<Line> = (0..facade.rows)
        .into_par_iter()
        .map_init(Vec::new, |pixels, row| {
            let parts: Vec<_> = (row * PARTS..(row + 1) * PARTS)
                .map(|part| part_row(picture, ground, &down.span(part), &spans, pixels))
                .collect();
            let seen = &seen[row * facade.columns..(row + 1) * facade.columns];
            let covers_row: f64 = (row * PARTS..(row + 1) * PARTS).map(|part| down.span(part).covered()).sum();
            Line::of(&parts, seen, &spans, covers_row)
        })
        .collect();
    let covered: f64 = lines.iter().map(|line| line.covered).sum();
    Laid {
        shown: covered * pixels_a_cell * pixels_a_cell / (width * height),
        pixels_a_cell,
        detail: lines.iter().flat_map(|line| &line.detail).copied().collect(),
        light: lines.into_iter().flat_map(|line| line.light).collect(),
    }
}

/// A row of a facade.
struct Line {
    light: Vec<[f64; 3]>,
    detail: Vec<f64>,
    /// Cells of the silhouette that the picture covers; a cell may be covered in part.
    covered: f64,
}

impl Line {
    fn of(parts: &[Vec<[f64; 3]>], seen: &[Seen], spans: &[Span], covers_row: f64) -> Self {
        let mut line = Self { light: Vec::new(), detail: Vec::new(), covered: 0.0 };
        for (column, seen) in seen.iter().enumerate() {
            let span = column * PARTS..(column + 1) * PARTS;
            let squares = || parts.iter().flat_map(|part| &part[span.clone()]);
            let mean = mean(squares());
            let in_silhouette = *seen != Seen::Nothing;
            line.light.push(mean);
            line.detail.push(if in_silhouette { spread(squares(), mean) } else { 0.0 });
            if in_silhouette {
                let covers: f64 = spans[span.clone()].iter().map(Span::covered).sum();
                line.covered += covers * covers_row / (PARTS * PARTS) as f64;
            }
        }
        line
    }
}

/// The mean of light.
pub(super) fn mean<'a>(light: impl Iterator<Item = &'a [f64; 3]>) -> [f64; 3] {
    let (sum, count) = light.fold(([0.0; 3], 0usize), |(sum, count), light| (add(sum, *light, 1.0), count + 1));
    sum.map(|channel| channel / count.max(1) as f64)
}

fn spread<'a>(light: impl Iterator<Item = &'a [f64; 3]>, mean: [f64; 3]) -> f64 {
    let lab = lab_of_light(mean);
    let (sum, count) = light.fold((0.0, 0usize), |(sum, count), &part| {
        // Light that differs by rounding alone has no colour of its own.
        let same = part.iter().zip(mean).all(|(a, b)| (a - b).abs() < 1e-12);
        (sum + if same { 0.0 } else { difference(lab_of_light(part), lab) }, count + 1)
    });
    sum / count.max(1) as f64
}

fn add(sum: [f64; 3], light: [f64; 3], weight: f64) -> [f64; 3] {
    std::array::from_fn(|c| sum[c] + weight * light[c])
}

/// The light on a row of parts.
fn part_row(
    picture: &Bitmap,
    ground: [f64; 3],
    down: &Span,
    across: &[Span],
    pixels: &mut Vec<[f64; 3]>,
) -> Vec<[f64; 3]> {
    let mut parts = vec![[0.0; 3]; across.len()];
    for (y, &weight) in (down.first..).zip(&down.weights) {
        picture.row(y, ground, pixels);
        for (part, span) in parts.iter_mut().zip(across) {
            let light = span.weights.iter().zip(&pixels[span.first..]).fold([0.0; 3], |sum, (&w, &p)| add(sum, p, w));
            *part = add(*part, light, weight);
        }
    }
    for (part, span) in parts.iter_mut().zip(across) {
        let beside = 1.0 - down.covered() * span.covered();
        *part = add(*part, ground, beside.max(0.0));
    }
    parts
}

/// An edge of a picture, cut into parts of one length.
struct Cut {
    pixels: f64,
    parts: usize,
    /// Where the first part begins, and the length of each, in pixels.
    from: f64,
    step: f64,
}

impl Cut {
    fn new(pixels: f64, cells: usize, pixels_a_cell: f64) -> Self {
        let from = (pixels - cells as f64 * pixels_a_cell) / 2.0;
        Self { pixels, parts: cells * PARTS, from, step: pixels_a_cell / PARTS as f64 }
    }

    fn spans(&self) -> Vec<Span> {
        (0..self.parts).map(|part| self.span(part)).collect()
    }

    fn span(&self, part: usize) -> Span {
        let end = |part: usize| (self.from + part as f64 * self.step).clamp(0.0, self.pixels);
        let (from, to) = (end(part), end(part + 1));
        let first = from.floor();
        let weight = |pixel: f64| (to.min(pixel + 1.0) - from.max(pixel)) / self.step;
        let weights = (0..).map(|n| first + f64::from(n)).take_while(|&pixel| pixel < to).map(weight).collect();
        Span { first: first as usize, weights }
    }
}

/// The pixels under a part, with the share of the part that each covers.
struct Span {
    first: usize,
    weights: Vec<f64>,
}

impl Span {
    /// The share of the part that lies on the picture.
    fn covered(&self) -> f64 {
        let covered: f64 = self.weights.iter().sum();
        // All of it, up to rounding.
        if covered > 1.0 - 1e-9 { 1.0 } else { covered }
    }
}
