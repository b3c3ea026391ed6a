//! The colours of an order as patches with numbers: what was designed, and what is predicted to come out.

use turnhue_stages::colorimetry::{Lab, difference, lab};
use turnhue_stages::{Side, Srgb};

use super::table;
use crate::colours;
use crate::numbers;
use crate::proof::{self, OfSide};
use crate::record::Record;

/// A colour of the piece.
pub(super) struct Patch {
    /// What carries it: a side, or the inside.
    pub(super) of: &'static str,
    /// Two letters for that.
    pub(super) symbol: &'static str,
    /// Along which axis the side faces; nothing for the inside.
    pub(super) axis: &'static str,
    /// As designed.
    pub(super) designed: Tone,
    /// As it is predicted to come out.
    pub(super) printed: Option<Tone>,
    /// The difference between the two, ΔE00.
    pub(super) off: Option<String>,
    /// What a side carries that is more than one colour.
    pub(super) carries: Option<String>,
}

/// A colour with its numbers.
pub(super) struct Tone {
    /// The colour.
    pub(super) colour: Srgb,
    /// Black or white, to write on it.
    pub(super) ink: &'static str,
    /// CIELAB under D65, in words.
    pub(super) lab: String,
}

impl Tone {
    fn of(colour: Srgb) -> Self {
        let Lab { l, a, b, .. } = lab(colour);
        // A minus before a zero says nothing.
        let [l, a, b] = [l, a, b].map(|value| numbers::tidy(&format!("{:.1}", libm::round(value * 10.0) / 10.0 + 0.0)));
        Self { colour, ink: colours::ink_on(colour), lab: format!("{l}, {a}, {b}") }
    }
}

/// The sides as the piece shows them when it turns clockwise, as seen from above, then the two that do not change.
pub(super) const IN_TURN: [Side; 6] = [Side::Front, Side::Right, Side::Back, Side::Left, Side::Top, Side::Bottom];

/// The colours of the six sides and of the inside, as far as the run has them.
pub(super) fn patches(record: &Record) -> Vec<Patch> {
    let told = colours::of_sides(record);
    let mut patches: Vec<Patch> = IN_TURN
        .into_iter()
        .filter_map(|side| {
            let designed = told?[side];
            let printed = printed(record, side);
            Some(Patch {
                of: side.word(),
                symbol: colours::symbol(side),
                axis: ["+x", "−x", "+y", "−y", "+z", "−z"][side as usize],
                off: printed.map(|printed| numbers::tidy(&format!("{:.1}", difference(lab(designed), lab(printed))))),
                designed: Tone::of(designed),
                printed: printed.map(Tone::of),
                carries: carries(record, side),
            })
        })
        .collect();
    patches.extend(colours::of_inside(record).map(|inside| Patch {
        of: "inside",
        symbol: "In",
        axis: "",
        designed: Tone::of(inside),
        printed: None,
        off: None,
        carries: None,
    }));
    patches
}

/// What comes out of the printer for a side: as the print was predicted, else the nearest that can be printed.
fn printed(record: &Record, side: Side) -> Option<Srgb> {
    let nearest = || {
        let grid = table(record, crate::palette::PRINTABLE)?;
        grid.text(grid.row(side.word())?, "printable")?.parse().ok()
    };
    OfSide::of(record, side).and_then(|predicted| predicted.printed).or_else(nearest)
}

/// Whether colours are as predicted, or the nearest printable ones.
pub(super) fn is_predicted(record: &Record) -> bool {
    table(record, proof::BY_SIDE).is_some()
}

/// What a side carries, where that is a picture or a gradient.
fn carries(record: &Record, side: Side) -> Option<String> {
    let grid = table(record, "carried by each side")?;
    let says = grid.text(grid.row(side.word())?, "carries")?;
    says.parse::<Srgb>().is_err().then(|| says.to_owned())
}
