//! The colours to paint with, and the letter of each.
//!
//! Letters go by the first face that has the colour, in the order of the sides, so that a piece with a colour a side has A
//! to the right, B to the left, C at the back. I and O are left out: they look like 1 and 0.
//!
//! # Many colours
//! More than can be mixed by hand are put together. The colours, weighed by their faces, are cut in CIELAB: the group with the
//! largest sum of squared distances from its mean is cut across its widest axis at the mean, until there are enough. Then,
//! in rounds, each colour goes to the nearest chosen one by ΔE00, and of each group the colour nearest to its mean is
//! chosen (k-medoids by alternation: Park & Jun 2009), as long as the mean ΔE00 falls. What is chosen is always a colour
//! of the piece. Groups are numbered and ties broken by order, so the result does not depend on the number of threads.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::settings::{MOST_COLOURS, USUAL_COLOURS};
use crate::colorimetry::{Lab, difference, lab, linear};
use crate::formats::drawing::BLACK;
use crate::paint::Paint;
use crate::{Six, Srgb};

/// The colours to paint with.
pub(super) struct Inks {
    /// Each colour, in the order of the letters.
    pub(super) all: Vec<Ink>,
    /// For each of the paint's colours its place in `all`.
    of: Vec<u16>,
    /// What is lost by putting colours together.
    pub(super) loss: Option<Loss>,
}

/// A colour to paint with.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Ink {
    /// Its letter, or letters.
    pub(super) letter: String,
    /// The colour.
    pub(super) colour: Srgb,
    /// Faces to each side.
    pub(super) faces: Six<usize>,
}

impl Ink {
    /// Faces to all sides.
    pub(super) fn total(&self) -> usize {
        self.faces.0.iter().sum()
    }
}

/// What is lost by putting colours together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Loss {
    /// Colours of the piece.
    pub(super) before: usize,
    /// Mean ΔE00 over the faces.
    pub(super) mean: f64,
    /// The largest ΔE00.
    pub(super) most: f64,
}

impl Inks {
    pub(super) fn of_paint(paint: &Paint, asked: Option<u32>) -> Self {
        let used = Used::of(paint);
        let most =
            asked.unwrap_or(if used.colours.len() > MOST_COLOURS as usize { USUAL_COLOURS } else { MOST_COLOURS });
        let most = most as usize;
        let (chosen, loss) = if used.colours.len() > most { used.grouped(most) } else { (used.own(), None) };
        // In the order in which they are met, by the colours' own order.
        let mut places: BTreeMap<usize, u16> = BTreeMap::new();
        let mut all: Vec<Ink> = Vec::new();
        for &of in &chosen {
            places.entry(of).or_insert_with(|| {
                all.push(Ink { letter: letter(all.len()), colour: used.colours[of].0, faces: Six::default() });
                (all.len() - 1) as u16
            });
        }
        let of: Vec<u16> = used.of.iter().map(|&place| place.map_or(0, |place| places[&chosen[place]])).collect();
        for (face, &ink) in paint.faces.iter().zip(&paint.ink) {
            all[usize::from(of[ink as usize])].faces[face.side] += 1;
        }
        Self { all, of, loss }
    }

    /// The place in `all` of one of the paint's colours.
    pub(super) fn of(&self, ink: u32) -> u16 {
        self.of[ink as usize]
    }

    /// Letters of the longest code.
    pub(super) fn longest(&self) -> usize {
        self.all.iter().map(|ink| ink.letter.len()).max().unwrap_or(0)
    }

    /// Black or white, whichever stands out more from a colour.
    pub(super) fn over(colour: Srgb) -> Srgb {
        let [r, g, b] = linear(colour);
        // Contrast (L₁ + 0.05) / (L₂ + 0.05) of the relative luminance is equal to both at √(0.05 · 1.05) − 0.05 (WCAG 2.2).
        if 0.2126 * r + 0.7152 * g + 0.0722 * b > 0.179 { BLACK } else { Srgb([255; 3]) }
    }
}

/// The letter of the `n`th colour: A to Z without I and O, then two of them.
pub(super) fn letter(n: usize) -> String {
    const LETTERS: &[u8; 24] = b"ABCDEFGHJKLMNPQRSTUVWXYZ";
    let one = |n: usize| char::from(LETTERS[n % LETTERS.len()]);
    match n.checked_sub(LETTERS.len()) {
        None => one(n).to_string(),
        Some(n) => [one(n / LETTERS.len()), one(n)].iter().collect(),
    }
}

/// The different colours on the faces.
struct Used {
    /// Each with its faces, in the order in which faces have them.
    colours: Vec<(Srgb, usize)>,
    /// For each of the paint's colours its place in `colours`; `None` where no face has it.
    of: Vec<Option<usize>>,
}

impl Used {
    fn of(paint: &Paint) -> Self {
        let mut used = Self { colours: Vec::new(), of: vec![None; paint.colours.len()] };
        let mut known: BTreeMap<Srgb, usize> = BTreeMap::new();
        for &ink in paint.ink.iter() {
            let colour = paint.colours[ink as usize];
            let place = *known.entry(colour).or_insert_with(|| {
                used.colours.push((colour, 0));
                used.colours.len() - 1
            });
            used.colours[place].1 += 1;
            used.of[ink as usize] = Some(place);
        }
        used
    }

    /// Each colour by itself.
    fn own(&self) -> Vec<usize> {
        (0..self.colours.len()).collect()
    }

    /// For each colour the one that stands for it, of which there are `most`.
    fn grouped(&self, most: usize) -> (Vec<usize>, Option<Loss>) {
        let labs: Vec<Lab> = self.colours.iter().map(|&(colour, _)| lab(colour)).collect();
        let weights: Vec<f64> = self.colours.iter().map(|&(_, faces)| faces as f64).collect();
        let groups = cut(&labs, &weights, most);
        let mut best = Chosen::nearest(&labs, &weights, medoids(&labs, &weights, &groups));
        // Enough rounds to settle, fewer where each takes long.
        let rounds = (20_000_000 / (labs.len() * most)).clamp(1, 10);
        for _ in 0..rounds {
            let next = Chosen::nearest(&labs, &weights, medoids(&labs, &weights, &best.groups()));
            if next.mean >= best.mean {
                break;
            }
            best = next;
        }
        let loss = Loss { before: labs.len(), mean: best.mean, most: best.most };
        (best.of, Some(loss))
    }
}

/// Colours that stand for others.
struct Chosen {
    medoids: Vec<usize>,
    of: Vec<usize>,
    mean: f64,
    most: f64,
}

impl Chosen {
    fn nearest(labs: &[Lab], weights: &[f64], medoids: Vec<usize>) -> Self {
        let nearest = |&colour: &Lab| {
            medoids
                .iter()
                .map(|&m| (difference(colour, labs[m]), m))
                .fold((f64::INFINITY, 0), |best, next| if next.0 < best.0 { next } else { best })
        };
        let found: Vec<(f64, usize)> = labs.par_iter().map(nearest).collect();
        let total: f64 = weights.iter().sum();
        let mean = found.iter().zip(weights).map(|((apart, _), weight)| apart * weight).sum::<f64>() / total;
        let most = found.iter().map(|&(apart, _)| apart).fold(0.0, f64::max);
        Self { of: found.into_iter().map(|(_, m)| m).collect(), medoids, mean, most }
    }

    fn groups(&self) -> Vec<Vec<usize>> {
        let members = |m: usize| (0..self.of.len()).filter(|&i| self.of[i] == m).collect::<Vec<_>>();
        self.medoids.iter().map(|&m| members(m)).filter(|group| !group.is_empty()).collect()
    }
}

/// The coordinates of a colour.
fn axes(colour: Lab) -> [f64; 3] {
    [colour.l, colour.a, colour.b]
}

/// The mean of some colours, and the sum of squared distances from it along each axis.
fn spread(labs: &[Lab], weights: &[f64], group: &[usize]) -> ([f64; 3], [f64; 3]) {
    let total: f64 = group.iter().map(|&i| weights[i]).sum();
    let sum = |value: &dyn Fn(usize) -> f64| group.iter().map(|&i| weights[i] * value(i)).sum::<f64>();
    let mean = [0, 1, 2].map(|axis| sum(&|i| axes(labs[i])[axis]) / total);
    (mean, [0, 1, 2].map(|axis| sum(&|i| (axes(labs[i])[axis] - mean[axis]) * (axes(labs[i])[axis] - mean[axis]))))
}

/// Cuts the colours into groups, as the module says.
fn cut(labs: &[Lab], weights: &[f64], most: usize) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = vec![(0..labs.len()).collect()];
    while groups.len() < most {
        let sums: Vec<([f64; 3], [f64; 3])> = groups.iter().map(|group| spread(labs, weights, group)).collect();
        let widest = (0..groups.len()).fold(0, |best, next| {
            let sum = |at: usize| sums[at].1.iter().sum::<f64>();
            if sum(next) > sum(best) { next } else { best }
        });
        let (mean, squares) = sums[widest];
        let axis = (0..3).fold(0, |best, next| if squares[next] > squares[best] { next } else { best });
        let (below, above): (Vec<usize>, Vec<usize>) =
            groups[widest].iter().partition(|&&i| axes(labs[i])[axis] < mean[axis]);
        if below.is_empty() || above.is_empty() {
            break;
        }
        groups[widest] = below;
        groups.push(above);
    }
    groups
}

/// Of each group the colour nearest to its mean.
fn medoids(labs: &[Lab], weights: &[f64], groups: &[Vec<usize>]) -> Vec<usize> {
    let middle = |group: &Vec<usize>| {
        let ([l, a, b], _) = spread(labs, weights, group);
        let apart = |&i: &usize| difference(labs[i], Lab::new(l, a, b));
        group.iter().fold((f64::INFINITY, group[0]), |best, i| {
            let next = apart(i);
            if next < best.0 { (next, *i) } else { best }
        })
    };
    groups.iter().map(|group| middle(group).1).collect()
}
