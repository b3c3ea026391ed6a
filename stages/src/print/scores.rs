//! How well the effect holds: what each side shows straight on, and how far sides stay apart.

use rayon::prelude::*;
use serde::{Deserialize, Serialize};

use crate::colorimetry::{difference, lab_of_light, linear};
use crate::print::naming::names;
use crate::print::press::{Figures, Press, Printed};
use crate::print::rounding::seen_straight_on;
use crate::print::{Bend, Edge, Sheet};
use crate::{Side, Six, Srgb};

/// What a side shows to a viewer straight before it, from far.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SideScore {
    /// Area that is seen, in mm².
    pub area: f64,
    /// Of the ink that is seen, the share that was laid on faces of this side: 0 to 1.
    pub own: f64,
    /// Of the area that is seen, the share that an observer takes for this side's colour: 0 to 1.
    pub named: f64,
    /// Whether all that is seen has one colour as designed.
    pub plain: bool,
    /// Mean of what is seen, in linear light: as designed.
    pub designed: [f64; 3],
    /// Mean of what is seen, in linear light: as printed.
    pub printed: [f64; 3],
}

/// How far two neighbouring sides are apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Separation {
    /// The sides.
    pub sides: [Side; 2],
    /// ΔE00 of what they show as designed, by the means.
    pub designed: f64,
    /// ΔE00 of what they show as printed.
    pub printed: f64,
}

impl Separation {
    /// What is left of the designed separation; more than 1 where the print sets the sides farther apart.
    #[must_use]
    pub fn kept(&self) -> f64 {
        self.printed / self.designed
    }
}

/// The scores of a printed piece.
#[derive(Clone, Debug, PartialEq)]
pub struct Scores {
    /// What each side shows; nothing where it has no face.
    pub sides: Six<Option<SideScore>>,
    /// The pairs of neighbouring sides that have one colour each, and different ones by design. The mean of a picture is
    /// nobody's colour, so a side that carries one has no separation.
    pub separations: Vec<Separation>,
}

/// Sides whose designed means are closer than this, in ΔE00, have one colour: nothing is there to be kept.
pub const ONE_COLOUR: f64 = 1.0;

/// The sides that a viewer of a piece on its stand can see.
pub const SEEN: [Side; 5] = [Side::Right, Side::Left, Side::Back, Side::Front, Side::Top];

impl Scores {
    /// Scores a piece printed with those figures.
    #[must_use]
    pub fn of(press: &Press<'_>, figures: &Figures) -> Self {
        Self::of_print(&press.print(figures, press.texels(figures)))
    }

    /// Scores a print.
    #[must_use]
    pub fn of_print(printed: &Printed) -> Self {
        Self::with_names(printed, &names(printed))
    }

    /// Scores a print whose texels have been named.
    #[must_use]
    pub fn with_names(printed: &Printed, names: &[u8]) -> Self {
        let look = Look { printed, names };
        let sides = Six::from_fn(|side| look.at(side));
        Self { separations: separations(&sides), sides }
    }

    /// The least share of a seen side that is named right, and the side; nothing on a piece without faces.
    #[must_use]
    pub fn legibility(&self) -> Option<(f64, Side)> {
        let named = SEEN.into_iter().filter_map(|side| Some((self.sides[side]?.named, side)));
        named.min_by(|a, b| a.0.total_cmp(&b.0))
    }

    /// How far the weakest of the scores is on its way from failing, at 0, to holding, at 1: what decides the verdict, as one
    /// number. Nothing on a piece that shows nothing.
    #[must_use]
    pub fn margin(&self) -> Option<f64> {
        let named = self.legibility().map(|(named, _)| NAMED.progress(named));
        let kept = self.least_separation().map(|pair| KEPT.progress(pair.kept()));
        named.into_iter().chain(kept).min_by(f64::total_cmp)
    }

    /// The seen neighbours that keep least of their separation; nothing where all have one colour.
    #[must_use]
    pub fn least_separation(&self) -> Option<&Separation> {
        let seen = self.separations.iter().filter(|pair| !pair.sides.contains(&Side::Bottom));
        seen.min_by(|a, b| a.kept().total_cmp(&b.kept()))
    }
}

fn separations(sides: &Six<Option<SideScore>>) -> Vec<Separation> {
    let mut pairs = Vec::new();
    for a in Side::ALL {
        for b in Side::ALL.into_iter().filter(|&b| b > a && b != a.opposite()) {
            let (Some(one), Some(other)) = (sides[a], sides[b]) else { continue };
            if !(one.plain && other.plain) {
                continue;
            }
            let apart = |x: [f64; 3], y: [f64; 3]| difference(lab_of_light(x), lab_of_light(y));
            let designed = apart(one.designed, other.designed);
            if designed >= ONE_COLOUR {
                pairs.push(Separation { sides: [a, b], designed, printed: apart(one.printed, other.printed) });
            }
        }
    }
    pairs
}

/// A print, looked at straight on.
struct Look<'a> {
    printed: &'a Printed,
    names: &'a [u8],
}

/// Sums over what is seen, weighted with mm².
#[derive(Clone, Copy, Default)]
struct Sums {
    area: f64,
    ink: f64,
    own: f64,
    named: f64,
    designed: [f64; 3],
    printed: [f64; 3],
}

impl Sums {
    fn add(&mut self, other: &Self) {
        self.area += other.area;
        self.ink += other.ink;
        self.own += other.own;
        self.named += other.named;
        for (a, b) in self.designed.iter_mut().zip(other.designed) {
            *a += b;
        }
        for (a, b) in self.printed.iter_mut().zip(other.printed) {
            *a += b;
        }
    }
}

impl Look<'_> {
    fn at(&self, side: Side) -> Option<SideScore> {
        let seen = seen_from(side, &self.printed.sheet);
        let piece = |faces: &[u32]| {
            let mut sums = Sums::default();
            faces.iter().for_each(|&face| self.face(side, face, &mut sums));
            sums
        };
        let pieces: Vec<Sums> = seen.par_chunks(512).map(piece).collect();
        let mut sums = Sums::default();
        pieces.iter().for_each(|piece| sums.add(piece));
        let share = |part: f64, whole: f64| if whole > 0.0 { part / whole } else { 0.0 };
        let colour = |face: &u32| self.printed.sheet.designed[*face as usize];
        (sums.area > 0.0).then(|| SideScore {
            area: sums.area,
            plain: seen.iter().all(|face| colour(face) == colour(&seen[0])),
            own: share(sums.own, sums.ink),
            named: sums.named / sums.area,
            designed: sums.designed.map(|light| light / sums.area),
            printed: sums.printed.map(|light| light / sums.area),
        })
    }

    fn face(&self, side: Side, face: u32, sums: &mut Sums) {
        let sheet = &self.printed.sheet;
        let n = sheet.per_edge;
        let beside = Edge::ALL.map(|edge| {
            sheet.around.beyond(face, edge).filter(|beside| beside.bend == Bend::Convex && sheet.radius > 0.0)
        });
        let lane = |low: usize, high: usize| Lane::new(sheet, beside[low].is_some(), beside[high].is_some());
        let (u, v) = (lane(0, 1), lane(2, 3));
        for (j, &height) in v.own.iter().enumerate() {
            for (i, &width) in u.own.iter().enumerate() {
                self.texel(side, sheet.texel(face, i, j), width * height, sums);
            }
        }
        // The strips of the neighbours; where two meet in a corner it counts for the first axis.
        let strips = [(0, &u.low, &v), (1, &u.high, &v), (2, &v.low, &u), (3, &v.high, &u)];
        for (edge, strip, along) in strips {
            let Some(beside) = beside[edge] else { continue };
            for (depth, &width) in strip.iter().enumerate() {
                let row = if beside.edge.is_high() { n - 1 - depth } else { depth };
                for (at, &length) in along.own.iter().enumerate() {
                    // Of a corner the first axis takes all, the second none.
                    let corner = if edge < 2 { along.corner(at) } else { 0.0 };
                    let texel = if (beside.edge as usize) < 2 {
                        sheet.texel(beside.face, row, at)
                    } else {
                        sheet.texel(beside.face, at, row)
                    };
                    self.texel(side, texel, width * (length + corner), sums);
                }
            }
        }
        let light = linear(sheet.designed[face as usize]);
        let area = sheet.grid.cell * sheet.grid.cell;
        sums.area += area;
        for (sum, light) in sums.designed.iter_mut().zip(light) {
            *sum += area * light;
        }
    }

    fn texel(&self, side: Side, texel: usize, area: f64, sums: &mut Sums) {
        let shares = &self.printed.shares.values()[texel];
        sums.own += area * f64::from(shares[side as usize]);
        sums.ink += area * f64::from(shares.iter().sum::<f32>());
        if self.names[texel] == side as u8 {
            sums.named += area;
        }
        let light = linear_of(self.printed.sheet.printed[texel]);
        for (sum, light) in sums.printed.iter_mut().zip(light) {
            *sum += area * light;
        }
    }
}

fn linear_of(Srgb([r, g, b]): Srgb) -> [f64; 3] {
    let light: palette::LinSrgb<f32> = palette::Srgb::<u8>::new(r, g, b).into_linear();
    [light.red, light.green, light.blue].map(f64::from)
}

/// What is seen along one axis of a face: lengths in mm of the face's own texels, and of the texels beyond its low and its
/// high edge, the nearest first. They add up to the cell.
struct Lane {
    own: Vec<f64>,
    low: Vec<f64>,
    high: Vec<f64>,
}

impl Lane {
    fn new(sheet: &Sheet, low: bool, high: bool) -> Self {
        let (n, cell) = (sheet.per_edge, sheet.grid.cell);
        let radius = |rounded: bool| if rounded { sheet.radius } else { 0.0 };
        let (low, high) = (radius(low), radius(high));
        let at = |texels: usize| texels as f64 * cell / n as f64;
        // Places are seen from the nearer of the two edges; the radius is at most half a cell.
        let seen = |place: f64| {
            if place <= cell / 2.0 { seen_straight_on(place, low) } else { cell - seen_straight_on(cell - place, high) }
        };
        let own = (0..n).map(|k| seen(at(k + 1)) - seen(at(k))).collect();
        let strip = |radius: f64| {
            let depth = (radius * n as f64 / cell).ceil() as usize;
            let beyond = |texels: usize| seen_straight_on(-at(texels), radius);
            (0..depth).map(|k| beyond(k) - beyond(k + 1)).collect()
        };
        Self { own, low: strip(low), high: strip(high) }
    }

    /// What the strips of this lane take beside its own texel at an end.
    fn corner(&self, at: usize) -> f64 {
        let low = if at == 0 { self.low.iter().sum() } else { 0.0 };
        let high = if at + 1 == self.own.len() { self.high.iter().sum() } else { 0.0 };
        low + high
    }
}

/// The faces that look to a side and that nothing hides from a viewer straight before it, from far.
#[must_use]
pub fn seen_from(side: Side, sheet: &Sheet) -> Vec<u32> {
    let (axis, counts) = (side.axis(), sheet.grid.counts);
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    const NONE: u32 = u32::MAX;
    let mut nearest = vec![NONE; (counts[u] * counts[v]) as usize];
    for (place, face) in sheet.faces.iter().enumerate().filter(|(_, face)| face.side == side) {
        let slot = &mut nearest[(face.cell[v] * counts[u] + face.cell[u]) as usize];
        let nearer = |other: u32| {
            let other = sheet.faces[other as usize].cell[axis];
            if side.positive() { face.cell[axis] > other } else { face.cell[axis] < other }
        };
        if *slot == NONE || nearer(*slot) {
            *slot = place as u32;
        }
    }
    nearest.retain(|&face| face != NONE);
    nearest
}

/// What the prediction comes to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Effect {
    /// Each side shows its colour.
    Holds,
    /// It shows, but not surely.
    Marginal,
    /// Colours run into one another.
    Fails,
}

impl Effect {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Holds => "holds",
            Self::Marginal => "marginal",
            Self::Fails => "fails",
        }
    }

    /// The effect with that word.
    #[must_use]
    pub fn named(word: &str) -> Option<Self> {
        [Self::Holds, Self::Marginal, Self::Fails].into_iter().find(|effect| effect.word() == word)
    }
}

/// What a limit asks for: at least the first for the effect to hold, less than the second and it fails.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bounds {
    /// From here on it holds.
    pub holds: f64,
    /// Below this it fails.
    pub fails: f64,
}

/// Share of what a side shows that must be named right: two thirds, and no less than half (common practice, no source).
pub const NAMED: Bounds = Bounds { holds: 2.0 / 3.0, fails: 0.5 };

/// Share of the designed separation of neighbours that must be left: three quarters, and no less than half (common
/// practice, no source).
pub const KEPT: Bounds = Bounds { holds: 0.75, fails: 0.5 };

/// A verdict with the number and the limit that decided it.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// The verdict.
    pub effect: Effect,
    /// What decided it, in words.
    pub decided_by: String,
}

impl Bounds {
    fn judge(&self, value: f64) -> Effect {
        if value >= self.holds {
            Effect::Holds
        } else if value >= self.fails {
            Effect::Marginal
        } else {
            Effect::Fails
        }
    }

    /// How far a value is on its way from failing, at 0, to holding, at 1: what makes different limits comparable.
    fn progress(&self, value: f64) -> f64 {
        (value - self.fails) / (self.holds - self.fails)
    }
}

/// Judges a piece by the weakest of its scores as stated. A piece that holds as stated and fails with the harshest figures
/// is marginal.
#[must_use]
pub fn judge(stated: &Scores, harshest: &Scores) -> Judgement {
    let (as_stated, at_worst) = (weakest(stated), weakest(harshest));
    if as_stated.effect == Effect::Holds && at_worst.effect == Effect::Fails {
        let decided_by = format!("with the harshest figures of the process, {}", at_worst.decided_by);
        return Judgement { effect: Effect::Marginal, decided_by };
    }
    as_stated
}

fn weakest(scores: &Scores) -> Judgement {
    let named = scores.legibility().map(|(named, side)| {
        let words =
            format!("{:.1} % of what {side} shows is named right, {:.0} % wanted", named * 100.0, NAMED.holds * 100.0);
        (NAMED.progress(named), NAMED.judge(named), words)
    });
    let kept = scores.least_separation().map(|pair| {
        let [a, b] = pair.sides;
        let words = format!(
            "{a} and {b} keep {:.1} % of their separation, {:.0} % wanted",
            pair.kept() * 100.0,
            KEPT.holds * 100.0
        );
        (KEPT.progress(pair.kept()), KEPT.judge(pair.kept()), words)
    });
    let limits = named.into_iter().chain(kept);
    let least = limits.min_by(|a, b| a.0.total_cmp(&b.0));
    least.map_or(
        Judgement { effect: Effect::Fails, decided_by: "no side shows anything".to_owned() },
        |(_, effect, decided_by)| Judgement { effect, decided_by },
    )
}

#[cfg(test)]
mod tests;
