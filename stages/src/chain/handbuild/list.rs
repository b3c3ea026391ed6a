//! What is needed: cubes by what shows of them, faces by colour, paint, glue and hours.

use std::collections::BTreeMap;
use std::io::{self, Write};

use super::building::Building;
use super::inks::Inks;
use super::settings::{Settings, Way};
use crate::Side;

/// What of a cube shows, however it is turned.
///
/// Under the 24 rotations of the cube the 64 choices of its sides fall into ten kinds (Burnside's lemma; Pólya 1937).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Kind {
    None,
    One,
    Edge,
    Across,
    Corner,
    Row,
    NotAnEdge,
    Around,
    Five,
    Six,
}

impl Kind {
    /// Every kind.
    pub(super) const ALL: [Self; 10] = [
        Self::None,
        Self::One,
        Self::Edge,
        Self::Across,
        Self::Corner,
        Self::Row,
        Self::NotAnEdge,
        Self::Around,
        Self::Five,
        Self::Six,
    ];

    /// The kind of a cube of which some sides show.
    pub(super) fn of(shows: impl Fn(Side) -> bool) -> Self {
        let sides = Side::ALL.into_iter().filter(|&side| shows(side)).count();
        // Pairs of opposite sides of which both show.
        let pairs =
            [Side::Right, Side::Back, Side::Top].into_iter().filter(|&s| shows(s) && shows(s.opposite())).count();
        match (sides, pairs) {
            (0, _) => Self::None,
            (1, _) => Self::One,
            (2, 0) => Self::Edge,
            (2, _) => Self::Across,
            (3, 0) => Self::Corner,
            (3, _) => Self::Row,
            (4, 1) => Self::NotAnEdge,
            (4, _) => Self::Around,
            (5, _) => Self::Five,
            _ => Self::Six,
        }
    }

    /// The kind in words.
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::None => "no side shows",
            Self::One => "one side shows",
            Self::Edge => "two sides show, at an edge",
            Self::Across => "two opposite sides show",
            Self::Corner => "three sides show, at a corner",
            Self::Row => "three sides show, in a row",
            Self::NotAnEdge => "four sides show, all but two at an edge",
            Self::Around => "four sides show, all around",
            Self::Five => "five sides show",
            Self::Six => "all six sides show",
        }
    }
}

/// The sides of a cube that show, each with the place of its colour.
pub(super) type Pattern = [Option<u16>; 6];

/// What is needed.
pub(super) struct List {
    /// Edge of a cube in mm.
    pub(super) edge: f64,
    /// Cubes that are built.
    pub(super) cubes: usize,
    /// Cubes to buy, with those to spare.
    pub(super) to_buy: usize,
    /// Cubes that are not built since they do not show.
    pub(super) left_out: usize,
    /// Cells that stay open for shafts.
    pub(super) open: usize,
    /// Cubes by kind, in the order of [`Kind::ALL`].
    pub(super) kinds: [usize; 10],
    /// Cubes by the sides that show and their colours; the most first.
    pub(super) patterns: Vec<(Pattern, usize)>,
    /// Faces that show.
    pub(super) faces: usize,
    /// For each colour the paint in ml.
    pub(super) paint: Vec<f64>,
    /// Faces on which two cubes meet.
    pub(super) joints: usize,
    /// Glue in ml, if every joint is glued.
    pub(super) glue: f64,
    /// Hours to build, and to paint.
    pub(super) hours: [f64; 2],
    /// Weight in g, where the density is known.
    pub(super) weight: Option<f64>,
}

impl List {
    pub(super) fn of(building: &Building, inks: &Inks, edge: f64, settings: &Settings) -> Self {
        let cubes = building.built.count();
        let mut kinds = [0; 10];
        let mut patterns: BTreeMap<Pattern, usize> = BTreeMap::new();
        for shown in building.each_shown() {
            kinds[Kind::of(|side| shown[side].is_some()) as usize] += 1;
            *patterns.entry(shown.0).or_default() += 1;
        }
        kinds[Kind::None as usize] = cubes - building.showing();
        let mut patterns: Vec<(Pattern, usize)> = patterns.into_iter().collect();
        patterns.sort_by_key(|&(_, count)| std::cmp::Reverse(count));
        let faces = inks.all.iter().map(super::inks::Ink::total).sum();
        let built = settings.way == Way::Cubes;
        let coats = f64::from(settings.coats);
        let [building_s, painting_s] = [
            if built { cubes as f64 * settings.seconds_a_cube } else { 0.0 },
            faces as f64 * coats * settings.seconds_a_face,
        ];
        // Each cube has six faces; those that are open meet nothing, the others each other.
        let open: usize = building.built.faces_by_side().0.iter().sum();
        let joints = (6 * cubes - open) / 2;
        let spare = (cubes as f64 * settings.spare / 100.0 - 1e-9).ceil();
        let paint = inks.all.iter().map(|ink| millilitres(ink.total(), edge, settings));
        Self {
            edge,
            cubes,
            to_buy: if built { cubes + spare as usize } else { 0 },
            left_out: building.left_out.count(),
            open: building.shafts.count(),
            kinds,
            patterns,
            faces,
            paint: paint.collect(),
            joints,
            glue: if built { joints as f64 * edge * edge * settings.glue.mm() / 1000.0 } else { 0.0 },
            hours: [building_s / 3600.0, painting_s / 3600.0],
            weight: settings
                .density
                .filter(|_| built)
                .map(|density| cubes as f64 * edge * edge * edge / 1000.0 * density),
        }
    }

    /// Area of so many faces, in cm².
    pub(super) fn area(&self, faces: usize) -> f64 {
        faces as f64 * self.edge * self.edge / 100.0
    }

    /// Hours in all.
    pub(super) fn all_hours(&self) -> f64 {
        self.hours.iter().sum()
    }

    /// Writes the list as CSV (RFC 4180): a row each for cubes by kind, cubes by the colours of their sides, and colours.
    pub(super) fn write(&self, inks: &Inks, out: &mut dyn Write) -> io::Result<()> {
        write!(out, "what,kind,letter,colour,right,left,back,front,top,bottom,count,area_cm2,paint_ml\r\n")?;
        write!(out, "cubes,built,,,,,,,,,{},,\r\n", self.cubes)?;
        write!(out, "cubes,to buy,,,,,,,,,{},,\r\n", self.to_buy)?;
        write!(out, "cubes,left out,,,,,,,,,{},,\r\n", self.left_out)?;
        write!(out, "cells,open shaft,,,,,,,,,{},,\r\n", self.open)?;
        for kind in Kind::ALL {
            write!(out, "cubes by kind,\"{}\",,,,,,,,,{},,\r\n", kind.words(), self.kinds[kind as usize])?;
        }
        for (pattern, count) in &self.patterns {
            let letters = letters(pattern, inks).join(",");
            write!(out, "cubes by sides,,,,{letters},{count},,\r\n")?;
        }
        for (ink, paint) in inks.all.iter().zip(&self.paint) {
            let sides: Vec<String> = ink.faces.0.iter().map(ToString::to_string).collect();
            let (area, total) = (self.area(ink.total()), ink.total());
            write!(
                out,
                "faces by colour,,{},{},{},{total},{area:.2},{paint:.2}\r\n",
                ink.letter,
                ink.colour,
                sides.join(",")
            )?;
        }
        Ok(())
    }
}

/// The letters of a cube's sides, empty where a side does not show.
pub(super) fn letters(pattern: &Pattern, inks: &Inks) -> [String; 6] {
    pattern.map(|ink| ink.map_or_else(String::new, |ink| inks.all[usize::from(ink)].letter.clone()))
}

/// Paint for so many faces, with all coats and what is wasted.
fn millilitres(faces: usize, edge: f64, settings: &Settings) -> f64 {
    let square_metres = faces as f64 * edge * edge / 1e6;
    square_metres / settings.spread * 1000.0 * f64::from(settings.coats) * (1.0 + settings.waste / 100.0)
}
