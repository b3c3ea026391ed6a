//! The pictures of the piece from its corners and sides, and its six colours.

use turnhue_stages::findings::{Unit, Value};
use turnhue_stages::{Side, Six, Srgb};

use crate::colours;
use crate::facts::name_and_unit;
use crate::numbers;
use crate::palette;
use crate::pictures::{self, Picture};
use crate::proof::{self, OfSide};
use crate::record::Record;
use crate::said;

/// Gives the bytes of an artefact by its name.
pub(crate) type Pictures<'a> = &'a dyn Fn(&str) -> Option<Vec<u8>>;

/// The two corners that between them show all sides but the bottom, half a turn apart.
const CORNERS: [(&str, &str); 2] =
    [("view-corner-front-right.png", "front and right"), ("view-corner-back-left.png", "back and left")];

/// The sides as they come round on a turntable that turns clockwise seen from above, then the two that do not.
const IN_TURN: [Side; 6] = [Side::Front, Side::Right, Side::Back, Side::Left, Side::Top, Side::Bottom];

/// A picture of the piece across one of its corners.
pub(crate) struct CornerView {
    /// The picture.
    pub(crate) picture: Picture,
    /// The two upright sides that it shows.
    pub(crate) sides: &'static str,
}

/// A side of the piece: its picture, its colour, and what is known about it.
pub(crate) struct SideView {
    /// The side.
    pub(crate) side: Side,
    /// How far the piece has turned from its front, in words; empty for top and bottom.
    pub(crate) turn: &'static str,
    /// The axis along which the side faces, with its sign.
    pub(crate) axis: &'static str,
    /// The side's colour, where the run has one.
    pub(crate) swatch: Option<Swatch>,
    /// The colour that comes out of the printer, where that was predicted.
    pub(crate) printed: Option<Srgb>,
    /// What shows it, where the run has that.
    pub(crate) shot: Shot,
    /// What tables with a row for each side say about this one: name and value with its unit.
    pub(crate) says: Vec<(String, String)>,
}

/// What shows a side.
pub(crate) enum Shot {
    /// As designed and as printed, beside each other.
    Pair([Picture; 2]),
    /// As designed alone.
    Single(Picture),
    /// Nothing.
    None,
}

/// A colour with two letters on it, so that it does not have to speak alone.
pub(crate) struct Swatch {
    /// The colour.
    pub(crate) colour: Srgb,
    /// Two letters for the side.
    pub(crate) symbol: &'static str,
    /// Black or white, to write on the colour.
    pub(crate) ink: &'static str,
}

/// Whether an artefact is a picture of the piece from a side or a corner.
pub(crate) fn is_view(name: &str) -> bool {
    name.starts_with("view-") && pictures::is_picture(name)
}

/// The corner views that the run has.
pub(crate) fn corners(record: &Record, shots: Pictures<'_>) -> Vec<CornerView> {
    let view = |&(name, sides)| Some(CornerView { picture: taken(record, name, shots)?, sides });
    CORNERS.iter().filter_map(view).collect()
}

/// The picture across the corner of front and right, if the run has it.
pub(crate) fn corner(record: &Record, shots: Pictures<'_>) -> Option<Picture> {
    taken(record, CORNERS[0].0, shots)
}

/// The six sides in turn; none if the run has neither pictures nor colours of them.
pub(crate) fn sides(record: &Record, told: Option<Six<Srgb>>, shots: Pictures<'_>) -> Vec<SideView> {
    let mut views: Vec<_> = IN_TURN
        .iter()
        .map(|&side| {
            let predicted = OfSide::of(record, side);
            let printed = predicted.as_ref().and_then(|predicted| predicted.printed);
            let predicted = predicted.into_iter().flat_map(|predicted| predicted.says);
            let nearest = palette::nearest_printable(record, side);
            let nearest = nearest.map(|colour| ("Nearest printable".to_owned(), colour));
            // What was predicted comes first: it shows when the rest is folded.
            let says = predicted.chain(nearest).chain(said_by_side(record, side)).collect();
            SideView {
                side,
                turn: turn(side),
                axis: ["+x", "−x", "+y", "−y", "+z", "−z"][side as usize],
                swatch: told.map(|six| Swatch::of(side, six[side])),
                printed,
                shot: Shot::of(record, side, shots),
                says,
            }
        })
        .collect();
    views.retain(|view| view.swatch.is_some() || !matches!(view.shot, Shot::None));
    views
}

impl Shot {
    fn of(record: &Record, side: Side, shots: Pictures<'_>) -> Self {
        let [designed, printed] = proof::names_of_pair(side).map(|name| taken(record, &name, shots));
        match (designed, printed) {
            (Some(designed), Some(printed)) => Self::Pair([designed, printed]),
            _ => taken(record, &format!("view-{side}.png"), shots).map_or(Self::None, Self::Single),
        }
    }
}

impl Swatch {
    fn of(side: Side, colour: Srgb) -> Self {
        Self { colour, symbol: colours::symbol(side), ink: colours::ink_on(colour) }
    }
}

fn turn(side: Side) -> &'static str {
    match side {
        Side::Front => "as it stands",
        Side::Right => "a quarter turn on",
        Side::Back => "half a turn on",
        Side::Left => "three quarters on",
        Side::Top | Side::Bottom => "",
    }
}

/// A picture that the record lists among its artefacts.
fn taken(record: &Record, name: &str, shots: Pictures<'_>) -> Option<Picture> {
    let listed = record.stages.iter().flat_map(|stage| &stage.artefacts).any(|file| file.name == name);
    Picture::of(&listed.then(|| shots(name)).flatten()?)
}

/// What the tables say that have a row for each of the six sides, such as `Area` and `211.2 cm²`. What is said of the
/// same thing again, in whatever unit, takes the place of what was said before: the last stage knows best.
fn said_by_side(record: &Record, side: Side) -> Vec<(String, String)> {
    let mut says: Vec<(String, String)> = Vec::new();
    for fact in record.stages.iter().flat_map(|stage| &stage.facts) {
        // What was predicted, and what can be printed, is told in words of its own.
        if [proof::BY_SIDE, palette::PRINTABLE].contains(&fact.name.as_str()) {
            continue;
        }
        let Value::Table { columns, rows } = &fact.value else { continue };
        let row_of = |side: Side| rows.iter().find(|row| row.first().is_some_and(|cell| cell == side.word()));
        let Some(row) = row_of(side).filter(|_| Side::ALL.iter().all(|&side| row_of(side).is_some())) else { continue };
        for (heading, text) in columns.iter().zip(row).skip(1) {
            // The colour is on the swatch already.
            if text.parse::<Srgb>().is_ok() {
                continue;
            }
            let (name, unit) = name_and_unit(heading);
            let (name, value) = (said::capitalised(name), with_unit(text, unit));
            match says.iter_mut().find(|(known, _)| *known == name) {
                Some((_, known)) => *known = value,
                None => says.push((name, value)),
            }
        }
    }
    says
}

/// A cell of a table with its column's unit. Areas of sides are read in cm².
fn with_unit(text: &str, unit: Option<Unit>) -> String {
    match (text.parse::<f64>(), unit) {
        (Ok(area), Some(Unit::Mm2)) => numbers::quantity(area / 100.0, Some(Unit::Cm2)),
        (Ok(number), Some(_)) => numbers::quantity(number, unit),
        _ => numbers::tidy(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn areas_of_sides_are_read_in_square_centimetres() {
        assert_eq!(with_unit("21123.00", Some(Unit::Mm2)), "211.2\u{a0}cm²");
        assert_eq!(with_unit("-3", Some(Unit::Mm)), "\u{2212}3\u{a0}mm");
        assert_eq!(with_unit("99.997", Some(Unit::Percent)), "over 99.99\u{a0}%");
        assert_eq!(with_unit("2347", None), "2\u{202f}347");
        assert_eq!(with_unit("none", Some(Unit::Mm2)), "none");
    }
}
