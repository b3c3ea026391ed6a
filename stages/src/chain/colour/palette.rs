//! Whether the colours of the sides can be printed, and told apart.
//!
//! Twelve pairs of sides share an edge. Each pair's ΔE00 is reckoned as chosen, as printable, and as printable for protan,
//! deutan and tritan vision. A piece is looked at from a distance, where its faces are small, and its colours run into each
//! other; see [`GAP`] and [`GAP_DEFICIENT`] for how much is asked for.
//!
//! # The suggestion
//! Where a pair comes too close, colours are sought that keep the hues and widen the smallest gap. A gap is weighed by what
//! is asked for: for a deficiency half as much will do, so there a ΔE00 counts double. Each side's hue (the angle in CIELAB) is
//! held within [`HUE`], and its chroma stays above half, so that the colour keeps its name; greys stay grey. On a lattice of
//! lightness and chroma, all of it in the gamut, the largest smallest gap is found by bisection over all gaps that occur, each
//! step a search with forward checking (Haralick & Elliott 1980). Among what keeps that gap, each side then takes the colour
//! nearest to the chosen one. Sides of the same colour stay the same, and sides with more than one colour as they are.

use crate::colorimetry::deficiency::Deficiency;
use crate::colorimetry::gamut::Printable;
use crate::colorimetry::{Lab, difference, lab};
use crate::findings::{Fact, Finding};
use crate::memo::{Key, Weigh};
use crate::paint::Paint;
use crate::stage::{Halt, Shop};
use crate::{Side, Six, Srgb};

/// Neighbours nearer to each other than this ΔE00 are too close. Above 5 two colours are seen at a glance (the bands of Mahy et
/// al. 1994 for CIE 1976), on fields that fill the view; twice that leaves two colours where the print keeps half of it.
const GAP: f64 = 10.0;

/// The same for a deficiency: two colours at a glance, without reserve. What is left is mostly a difference of lightness, which
/// the eye resolves some four times finer than one of hue (Mullen 1985), so it carries from a distance; and few colours of given
/// hues keep more.
const GAP_DEFICIENT: f64 = 5.0;

/// A colour that the process shifts by more than this is another colour: a caution, not a note. As for [`GAP`].
const ANOTHER_COLOUR: f64 = 5.0;

/// A suggestion is made if the smallest gap, weighed, grows by this at least: what an untrained eye sees (2 to 3.5).
const NOTICEABLE: f64 = 2.5;

/// How far a suggested hue may be off, in degrees, by rounding to eight bits.
const HUE: f64 = 3.0;

/// Below this chroma a colour is a grey, and has no hue to be kept.
const GREY: f64 = 5.0;

/// Says whether the sides' colours can be printed and told apart, and what would do better.
pub(super) fn say(shop: &mut Shop<'_>, paint: &Paint) -> Result<(), Halt> {
    shop.go_on()?;
    let (chosen, plain) = (paint.sides, plain(paint));
    let process = shop.process();
    let key = || {
        let plain = Side::ALL.into_iter().fold(0, |bits, side| bits << 1 | u64::from(plain[side]));
        Key::of("palette 1").list(chosen.0.iter().map(|c| c.0)).whole(plain).key(process.printable_key()).made()
    };
    let said = shop.recall().of(key, || {
        let printable = process.printable();
        Said::of(&Palette::with(chosen, plain, &printable), &printable)
    });
    said.facts.iter().for_each(|fact| shop.fact(fact.clone()));
    said.findings.iter().for_each(|finding| shop.finding(finding.clone()));
    Ok(())
}

/// Sides all of whose faces have the one colour.
fn plain(paint: &Paint) -> Six<bool> {
    let mut plain = Six([true; 6]);
    for (face, &ink) in paint.faces.iter().zip(&paint.ink) {
        plain[face.side] &= paint.colours[ink as usize] == paint.sides[face.side];
    }
    plain
}

/// What there is to say about a palette.
struct Said {
    facts: [Fact; 2],
    findings: Vec<Finding>,
}

impl Said {
    fn of(palette: &Palette, printable: &Printable) -> Self {
        let mut findings: Vec<Finding> = Side::ALL.into_iter().filter_map(|side| palette.out_of_gamut(side)).collect();
        if let Some(close) = palette.closest().filter(|gap| gap.weighed() < GAP) {
            let better = suggestion::wider(palette, printable);
            findings.push(palette.too_close(&close, better.as_ref()));
        }
        Self { facts: [palette.printable_colours(), palette.neighbours()], findings }
    }
}

impl Weigh for Said {
    fn bytes(&self) -> usize {
        // Two tables of six and twelve rows of short words, and a few sentences.
        8192
    }
}

/// The pairs of sides that share an edge.
fn neighbours() -> impl Iterator<Item = (Side, Side)> {
    let pairs = Side::ALL.into_iter().enumerate();
    pairs
        .flat_map(|(at, a)| Side::ALL.into_iter().skip(at + 1).map(move |b| (a, b)))
        .filter(|(a, b)| a.axis() != b.axis())
}

/// A colour as everybody sees it, and with each deficiency.
#[derive(Clone, Copy)]
struct Seen {
    plain: Lab,
    deficient: [Lab; 3],
}

impl Seen {
    fn of(colour: Srgb) -> Self {
        Self { plain: lab(colour), deficient: Deficiency::ALL.map(|deficiency| deficiency.lab(colour)) }
    }

    /// The smallest gap of two colours over all eyes, each weighed so that [`GAP`] is what is asked for.
    fn weighed(&self, other: &Self) -> f64 {
        let deficient = self.deficient.iter().zip(&other.deficient).map(|(&a, &b)| difference(a, b));
        deficient.fold(difference(self.plain, other.plain), |least, gap| least.min(gap * (GAP / GAP_DEFICIENT)))
    }
}

/// The colours of a piece.
struct Palette {
    chosen: Six<Srgb>,
    printed: Six<Srgb>,
    /// As printed.
    seen: Six<Seen>,
    /// Sides all of whose faces have the one colour.
    plain: Six<bool>,
}

/// The gap between two sides: ΔE00 as chosen, as printable, and as printable for each deficiency.
struct Gap {
    sides: (Side, Side),
    chosen: f64,
    printed: f64,
    deficient: [f64; 3],
}

impl Gap {
    /// Against [`GAP`], like [`Seen::weighed`]; the colours as chosen count too.
    fn weighed(&self) -> f64 {
        let plain = self.chosen.min(self.printed);
        self.deficient.iter().fold(plain, |least, gap| least.min(gap * (GAP / GAP_DEFICIENT)))
    }
}

impl Palette {
    fn with(chosen: Six<Srgb>, plain: Six<bool>, printable: &Printable) -> Self {
        let printed = Six(chosen.0.map(|colour| printable.printable(colour)));
        Self { chosen, printed, seen: Six(printed.0.map(Seen::of)), plain }
    }

    fn gap(&self, sides: (Side, Side)) -> Gap {
        let (a, b) = sides;
        let (seen, other) = (&self.seen[a], &self.seen[b]);
        Gap {
            sides,
            chosen: difference(lab(self.chosen[a]), lab(self.chosen[b])),
            printed: difference(seen.plain, other.plain),
            deficient: [0, 1, 2].map(|at| difference(seen.deficient[at], other.deficient[at])),
        }
    }

    /// The pair that is hardest to tell apart. Two sides of the same colour are meant to be, or told by a finding of their own.
    fn closest(&self) -> Option<Gap> {
        let gaps = neighbours().filter(|&(a, b)| self.chosen[a] != self.chosen[b]).map(|sides| self.gap(sides));
        gaps.min_by(|a, b| a.weighed().total_cmp(&b.weighed()))
    }

    fn shift(&self, side: Side) -> f64 {
        difference(lab(self.chosen[side]), self.seen[side].plain)
    }

    fn printable_colours(&self) -> Fact {
        let row = |side: Side| {
            let [chosen, printed] = [self.chosen[side], self.printed[side]].map(|colour| colour.to_string());
            vec![side.to_string(), chosen, printed, format!("{:.1}", self.shift(side))]
        };
        let columns = ["side", "chosen", "printable", "ΔE00"];
        Fact::table("printable colours", &columns, Side::ALL.map(row).to_vec())
    }

    fn neighbours(&self) -> Fact {
        let row = |sides: (Side, Side)| {
            let gap = self.gap(sides);
            let [protan, deutan, tritan] = gap.deficient;
            let numbers = [gap.chosen, gap.printed, protan, deutan, tritan].map(|apart| format!("{apart:.1}"));
            std::iter::once(format!("{} and {}", sides.0, sides.1)).chain(numbers).collect()
        };
        let columns = ["sides", "as chosen", "as printable", "protan", "deutan", "tritan"];
        Fact::table("colours of neighbouring sides", &columns, neighbours().map(row).collect())
    }

    fn out_of_gamut(&self, side: Side) -> Option<Finding> {
        let (chosen, printed, shift) = (self.chosen[side], self.printed[side], self.shift(side));
        if chosen == printed {
            return None;
        }
        let mean = if self.plain[side] { "" } else { "mean " };
        let message = format!(
            "the process cannot print the {mean}colour {chosen} of {side}; the nearest that it can is {printed}, ΔE00 {shift:.1} off"
        );
        let finding = if shift > ANOTHER_COLOUR { Finding::caution } else { Finding::note };
        let remedy = format!(
            "set `colour.{side}: \"{printed}\"`, or choose another colour that it can print; the process file says which by \
             `gamut` or `profile`"
        );
        Some(finding("out-of-gamut", message, remedy))
    }

    fn too_close(&self, gap: &Gap, better: Option<&suggestion::Wider>) -> Finding {
        let (a, b) = gap.sides;
        let [protan, deutan, tritan] = gap.deficient;
        let message = format!(
            "{a} and {b} are the neighbours that are hardest to tell apart: ΔE00 {:.1} as chosen, {:.1} as printable, {protan:.1} \
             for protan, {deutan:.1} for deutan and {tritan:.1} for tritan vision; {GAP:.0} is asked for, and {GAP_DEFICIENT:.0} for a \
             deficiency, so that the change shows from a distance",
            gap.chosen, gap.printed
        );
        let remedy = match better {
            Some(better) => better.in_words(),
            None => format!("choose colours for {a} and {b} that differ more, above all in lightness"),
        };
        // A deficiency that nobody asked to mind is worth knowing; colours that nobody tells apart are worth stopping at.
        let everybody = gap.chosen.min(gap.printed) < GAP;
        let finding = if everybody { Finding::caution } else { Finding::note };
        finding("colours-too-close", message, remedy)
    }
}

mod suggestion;

#[cfg(test)]
mod tests;
