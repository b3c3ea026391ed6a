//! What to check when the print arrives: what was measured on the ordered file, with what it may differ by.

use turnhue_stages::findings::Unit;

use super::{colours, number, size, table, value};
use crate::numbers;
use crate::record::Record;

/// How far the weight may be off, either way, in per cent: density differs from batch to batch, and a sealer adds to it.
/// Common practice, no source.
const WEIGHT_OFF: f64 = 10.0;

/// Loose powder weighs about so much of the finished material, by volume: grains in a bed fill half to two thirds of it.
/// Common practice, no source.
const LOOSE: f64 = 0.5;

/// A line of the list.
pub(super) struct Check {
    /// What is looked at.
    pub(super) what: String,
    /// What it should be.
    pub(super) should: String,
    /// What it means if it is not.
    pub(super) otherwise: String,
}

/// The list, in the order in which one unpacks.
pub(super) fn checks(record: &Record) -> Vec<Check> {
    let mut checks = vec![check(
        "Nothing broken off",
        "no loose cubes in the wrapping",
        "Keep every piece and photograph it where it lies, before you unpack further: the bureau will ask.",
    )];
    checks.extend(sizes(record));
    checks.extend(weight(record));
    if !colours::patches(record).is_empty() {
        checks.push(check(
            "Each side in its colour",
            "the six patches above, each on the side that carries its letters",
            "Look under daylight, each side straight on. A side in another’s colour is turned or mirrored: that is the file or \
             the printer, not chance. A tint over all is the batch: compare with the predicted patch.",
        ));
    }
    checks.extend(openings(record));
    if record.process.family.leaves_powder() && is_hollow(record) {
        checks.push(check(
            "No powder inside",
            "nothing runs out when it is turned over; nothing rattles",
            "Turn it over a sheet of dark paper, outdoors or at an extraction, with dust mask and eye protection.",
        ));
    }
    if let Some(wall) = value(record, "thinnest wall").or_else(|| value(record, "thinnest part")) {
        checks.push(check(
            "The thinnest places whole",
            &format!("no crack where it is thinnest ({wall}) and at the places pictured under “Packing”"),
            "Look along the surface with a lamp from the side. Hairline cracks grow: do not mount it.",
        ));
    }
    checks
}

fn check(what: &str, should: &str, otherwise: &str) -> Check {
    Check { what: what.to_owned(), should: should.to_owned(), otherwise: otherwise.to_owned() }
}

/// Width, depth and height, with the tolerance of the process.
fn sizes(record: &Record) -> Vec<Check> {
    let Some(size) = size(record) else { return Vec::new() };
    let tolerance = record.process.tolerance.value.mm();
    let line = |(name, length): (&str, f64)| Check {
        what: name.to_owned(),
        should: format!("{} ± {}", numbers::millimetres(&[length]), numbers::millimetres(&[tolerance])),
        otherwise: String::new(),
    };
    let mut lines: Vec<Check> =
        ["Width, left to right", "Depth, front to back", "Height"].into_iter().zip(size).map(line).collect();
    lines[0].otherwise =
        "Measure over the outermost cubes, with callipers and no force. All three off by the same share: it was \
                      scaled. One alone: it shrank or warped."
            .to_owned();
    lines
}

/// The weight; too much of it is powder inside, where the cavity is large enough that scales can tell.
fn weight(record: &Record) -> Option<Check> {
    let grams = number(record, "weight", Unit::Gram)?;
    let show = |grams: f64| numbers::quantity(libm::round(grams), Some(Unit::Gram));
    let off = grams * WEIGHT_OFF / 100.0;
    let mut means = "Much lighter: walls are thinner than ordered, or the material is another.".to_owned();
    if let Some(left) = left_inside(record) {
        means += &if left > 2.0 * off {
            format!(" Heavier: it is not empty. Full of loose powder it would weigh about {} more.", show(left))
        } else {
            format!(
                " The scales alone cannot tell whether it is empty: all its powder would weigh about {}, which is within what \
                 the weight may be off.",
                show(left)
            )
        };
    }
    Some(Check {
        what: "Weight".to_owned(),
        should: format!(
            "{} ± {} % ({} to {}), unsealed and dry",
            show(grams),
            WEIGHT_OFF,
            show(grams - off),
            show(grams + off)
        ),
        otherwise: means,
    })
}

/// What all the powder that the cavity can hold would weigh, in grams.
fn left_inside(record: &Record) -> Option<f64> {
    let void = number(record, "void", Unit::Cm3).filter(|_| record.process.family.leaves_powder())?;
    Some(void * record.process.density.value * LOOSE).filter(|grams| grams.is_finite() && *grams > 0.0)
}

/// Each opening with its side and clear width.
fn openings(record: &Record) -> Vec<Check> {
    let Some(grid) = table(record, "openings") else { return Vec::new() };
    let line = |row: &'_ Vec<String>| {
        let (side, width) = (grid.text(row, "side")?, grid.number(row, "clear width")?);
        Some(Check {
            what: format!("Opening in the {side}"),
            should: format!(
                "clear to {} ± {}, and free right through to the cavity",
                numbers::millimetres(&[width]),
                numbers::millimetres(&[record.process.tolerance.value.mm()])
            ),
            otherwise: "Shine a lamp in. A stand that was drawn for this opening will not fit a narrower one."
                .to_owned(),
        })
    };
    grid.rows.iter().filter_map(line).collect()
}

/// Whether the piece has a cavity.
pub(super) fn is_hollow(record: &Record) -> bool {
    number(record, "void", Unit::Cm3).is_some_and(|void| void > 0.0)
}
