//! From paint and process to the printed surface.

use std::sync::Arc;

use rayon::prelude::*;

use crate::colorimetry::gamut::Printable;
use crate::colorimetry::{linear, pigment};
use crate::paint::{Guard, Paint};
use crate::print::spread::{Field, MIXED, Reach, spread};
use crate::print::{Around, Sheet};
use crate::process::{Figure, Process};
use crate::solid::Grid;
use crate::{Length, Side, Six, Srgb};

/// The figures of a process that the printed surface hangs on, in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Figures {
    /// Standard deviation of the bleed.
    pub bleed: f64,
    /// Radius to which sharp edges are rounded.
    pub radius: f64,
    /// Thickness of a layer.
    pub layer: f64,
}

impl Figures {
    /// As the process states them.
    #[must_use]
    pub fn stated(process: &Process) -> Self {
        Self::pick(process, |figure| figure.value)
    }

    /// The ends of their ranges that are kindest to the effect.
    #[must_use]
    pub fn kindest(process: &Process) -> Self {
        Self::pick(process, |figure| figure.range.map_or(figure.value, |[low, _]| low))
    }

    /// The ends of their ranges that are hardest on the effect.
    #[must_use]
    pub fn harshest(process: &Process) -> Self {
        Self::pick(process, |figure| figure.range.map_or(figure.value, |[_, high]| high))
    }

    fn pick(process: &Process, pick: impl Fn(&Figure<Length>) -> Length) -> Self {
        let mm = |figure| pick(figure).mm();
        Self { bleed: mm(&process.bleed), radius: mm(&process.edge_radius), layer: mm(&process.layer) }
    }

    /// How far colourant runs on cells of that edge. The height of an edge lies anywhere within a layer, which adds the
    /// variance of an even distribution, layer² / 12, to what runs up and down.
    fn reach(&self, cell: f64) -> Reach {
        let upright = if self.bleed > 0.0 { libm::hypot(self.bleed, self.layer / 12f64.sqrt()) } else { 0.0 };
        Reach { level: self.bleed / cell, upright: upright / cell }
    }
}

/// A painted piece on a process, ready to be predicted with any figures.
pub struct Press<'a> {
    grid: Grid,
    around: Arc<Around>,
    paint: &'a Paint,
    inks: Inks,
}

/// The surface as printed.
pub struct Printed {
    /// The colours.
    pub sheet: Sheet,
    /// For each texel how much of the ink lies on it that was laid on faces of each side, in their order; 1 in all, or less
    /// beside a guard band.
    pub shares: Field<6>,
    /// The colour of each side's own where nothing else runs in.
    pub solid: Six<Srgb>,
    /// For each face the colour that it would have alone.
    pub alone: Vec<Srgb>,
}

/// Texels of all faces together; on pieces with more faces, texels get coarser.
const MOST_TEXELS: usize = 24_000_000;

/// Texels along an edge: at least what [`Printed`] needs to tell a middle from a rim, at most what a viewer tells apart.
const PER_EDGE: [usize; 2] = [3, 8];

impl<'a> Press<'a> {
    /// Lays out the paint of a piece. `around` belongs to its faces.
    #[must_use]
    pub fn new(grid: Grid, around: Arc<Around>, paint: &'a Paint, process: &Process) -> Self {
        Self { grid, around, paint, inks: Inks::new(paint, process) }
    }

    /// The same piece with cells of another edge, in mm; a guard band keeps its width.
    #[must_use]
    pub fn scaled(&self, cell: f64) -> Self {
        Self {
            grid: Grid { cell, ..self.grid },
            around: Arc::clone(&self.around),
            paint: self.paint,
            inks: self.inks.clone(),
        }
    }

    /// The edge of a cell, in mm.
    #[must_use]
    pub fn cell(&self) -> f64 {
        self.grid.cell
    }

    /// The paint.
    #[must_use]
    pub fn paint(&self) -> &Paint {
        self.paint
    }

    /// Texels along an edge that tell the bleed: two thirds of its standard deviation, within bounds.
    #[must_use]
    pub fn texels(&self, figures: &Figures) -> usize {
        let faces = self.paint.faces.len().max(1);
        let affordable = ((MOST_TEXELS / faces) as f64).sqrt() as usize;
        let fine = 1.5 * self.grid.cell / figures.bleed.max(self.grid.cell / 100.0);
        (fine.ceil() as usize).clamp(PER_EDGE[0], PER_EDGE[1]).min(affordable.max(1))
    }

    /// Predicts the printed surface, with `per_edge` texels along each edge of a face.
    #[must_use]
    pub fn print(&self, figures: &Figures, per_edge: usize) -> Printed {
        let reach = figures.reach(self.grid.cell);
        let bands = self.paint.guard.map(|guard| Bands::new(self, guard));
        let shares = self.spread(per_edge, reach, bands.as_ref(), |face| {
            let mut share = [0.0; 6];
            share[self.paint.faces[face].side as usize] = 1.0;
            share
        });
        let absorbed = (!self.plain())
            .then(|| self.spread(per_edge, reach, bands.as_ref(), |face| self.inks.of[self.paint.ink[face] as usize]));
        let printed = match &absorbed {
            Some(absorbed) => self.inks.colours(absorbed.values(), |&absorbed| absorbed),
            None => self.inks.colours(shares.values(), |share| mixed(share, &self.inks.of_sides)),
        };
        let sheet = Sheet {
            grid: self.grid,
            faces: Arc::clone(&self.paint.faces),
            around: Arc::clone(&self.around),
            radius: figures.radius.min(self.grid.cell / 2.0),
            designed: self.paint.ink.iter().map(|&ink| self.paint.colours[ink as usize]).collect(),
            per_edge,
            printed,
        };
        let alone: Vec<Srgb> = self.inks.of.iter().map(|&ink| self.inks.colour(ink)).collect();
        let solid = Six::from_fn(|side| self.inks.colour(self.inks.of_sides[side as usize]));
        let alone = self.paint.ink.iter().map(|&ink| alone[ink as usize]).collect();
        Printed { sheet, shares, solid, alone }
    }

    /// Whether each side has one colour.
    fn plain(&self) -> bool {
        let own = |side: Side| self.paint.sides[side];
        let faces = self.paint.faces.iter().zip(&self.paint.ink);
        faces.into_iter().all(|(face, &ink)| self.paint.colours[ink as usize] == own(face.side))
    }

    fn spread<const C: usize>(
        &self,
        per_edge: usize,
        reach: Reach,
        bands: Option<&Bands>,
        laid: impl Fn(usize) -> [f32; C] + Sync,
    ) -> Field<C> {
        let faces = &self.paint.faces;
        let kind = |face: usize| match bands {
            Some(bands) if bands.any(face) => MIXED,
            _ => self.paint.ink[face] * 6 + faces[face].side as u32,
        };
        let kinds: Vec<u32> = (0..faces.len()).map(kind).collect();
        let field = Field::from_faces(faces.len(), per_edge, |face, texels| {
            let full = laid(face as usize);
            match bands {
                Some(bands) if bands.any(face as usize) => bands.lay(face as usize, full, per_edge, texels),
                _ => texels.fill(full),
            }
        });
        spread(&field, &kinds, faces, &self.around, reach)
    }
}

fn mixed(share: &[f32; 6], of_sides: &[[f32; 3]; 6]) -> [f32; 3] {
    let mut sum = [0.0; 3];
    for (share, ink) in share.iter().zip(of_sides) {
        for (sum, ink) in sum.iter_mut().zip(ink) {
            *sum += share * ink;
        }
    }
    sum
}

/// What the inks of a paint absorb.
#[derive(Clone)]
struct Inks {
    /// What the bare material absorbs.
    base: [f32; 3],
    /// What each of the paint's colours absorbs beside that.
    of: Vec<[f32; 3]>,
    /// The same for the colour that each side is known by.
    of_sides: [[f32; 3]; 6],
}

impl Inks {
    /// Where the process says what is printable, the ink for a colour is what makes a solid patch come out as that, bare
    /// material and all; where it does not, the ink for an ideal white is laid on whatever the material is.
    fn new(paint: &Paint, process: &Process) -> Self {
        let base = process.base.as_ref().map_or([0.0; 3], |base| absorption(base.value));
        let printable = process.printable();
        let ink = |&colour: &Srgb| {
            if matches!(printable, Printable::Every) {
                return absorption(colour);
            }
            let whole = absorption(printable.printable(colour));
            std::array::from_fn(|i| (whole[i] - base[i]).max(0.0))
        };
        let of = paint.colours.par_iter().with_min_len(64).map(ink).collect();
        Self { base, of, of_sides: paint.sides.0.map(|colour| ink(&colour)) }
    }

    fn colour(&self, ink: [f32; 3]) -> Srgb {
        let whole: [f64; 3] = std::array::from_fn(|i| f64::from(ink[i]) + f64::from(self.base[i]));
        let [r, g, b] = pigment::reflected(whole).map(|light| light as f32);
        let coded = palette::Srgb::<u8>::from_linear(palette::LinSrgb::new(r, g, b));
        Srgb([coded.red, coded.green, coded.blue])
    }

    fn colours<T: Sync + PartialEq>(&self, texels: &[T], ink: impl Fn(&T) -> [f32; 3] + Sync) -> Vec<Srgb> {
        let mut colours = vec![Srgb([0; 3]); texels.len()];
        colours.par_chunks_mut(1 << 14).zip(texels.par_chunks(1 << 14)).for_each(|(colours, texels)| {
            // Most texels are like the one before them.
            let mut last: Option<(&T, Srgb)> = None;
            for (colour, texel) in colours.iter_mut().zip(texels) {
                *colour = match last {
                    Some((before, colour)) if before == texel => colour,
                    _ => self.colour(ink(texel)),
                };
                last = Some((texel, *colour));
            }
        });
        colours
    }
}

fn absorption(colour: Srgb) -> [f32; 3] {
    pigment::absorption(linear(colour)).map(|a| a as f32)
}

/// For each face the edges along which a guard leaves a band, in the order of [`crate::print::Edge::ALL`]. A face at the rim of an opening
/// has none: a cut there would end on the wall of the shaft.
#[must_use]
pub fn held_edges(paint: &Paint, around: &Around, guard: Guard) -> Vec<[bool; 4]> {
    let colour = |face: u32| paint.colours[paint.ink[face as usize] as usize];
    let of_face = |face: u32| {
        let beside = around.of_face(face);
        let whole = beside.iter().all(Option::is_some);
        beside.map(|beside| whole && beside.is_some_and(|beside| guard.holds_back(colour(face), colour(beside.face))))
    };
    (0..paint.faces.len() as u32).map(of_face).collect()
}

/// Where ink is held back: for each face the edges along which it has a band.
struct Bands {
    /// Share of an edge that a band takes, up to a half.
    width: f64,
    edges: Vec<[bool; 4]>,
}

impl Bands {
    fn new(press: &Press<'_>, guard: Guard) -> Self {
        let edges = held_edges(press.paint, &press.around, guard);
        Self { width: (guard.width / press.grid.cell).clamp(0.0, 0.5), edges }
    }

    fn any(&self, face: usize) -> bool {
        self.edges[face].contains(&true)
    }

    /// Lays ink on what the bands leave, texel by texel as much as there is room.
    fn lay<const C: usize>(&self, face: usize, full: [f32; C], per_edge: usize, texels: &mut [[f32; C]]) {
        let n = per_edge as f64;
        let bare = |band: bool| if band { self.width } else { 0.0 };
        let [low_u, high_u, low_v, high_v] = self.edges[face].map(bare);
        let room = |at: usize, low: f64, high: f64| {
            let (from, to) = ((at as f64 / n).max(low), ((at + 1) as f64 / n).min(1.0 - high));
            (to - from).max(0.0) * n
        };
        for (at, texel) in texels.iter_mut().enumerate() {
            let room = room(at % per_edge, low_u, high_u) * room(at / per_edge, low_v, high_v);
            *texel = full.map(|ink| ink * room as f32);
        }
    }
}

#[cfg(test)]
mod tests;
