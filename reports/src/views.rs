//! The pictures of the piece from its corners and sides, and its six colours.

use turnhue_stages::findings::Value;
use turnhue_stages::{Side, Six, Srgb};

use crate::colours;
use crate::numbers;
use crate::pictures::Picture;
use crate::record::Record;

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
    /// The picture, where the run has one.
    pub(crate) picture: Option<Picture>,
    /// What tables with a row for each side say about this one: heading and text.
    pub(crate) says: Vec<(String, String)>,
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

/// The corner views that the run has.
pub(crate) fn corners(record: &Record, pictures: Pictures<'_>) -> Vec<CornerView> {
    let view = |&(name, sides)| Some(CornerView { picture: taken(record, name, pictures)?, sides });
    CORNERS.iter().filter_map(view).collect()
}

/// The six sides in turn; none if the run has neither pictures nor colours of them.
pub(crate) fn sides(record: &Record, told: Option<Six<Srgb>>, pictures: Pictures<'_>) -> Vec<SideView> {
    let mut views: Vec<_> = IN_TURN
        .iter()
        .map(|&side| SideView {
            side,
            turn: turn(side),
            axis: ["+x", "−x", "+y", "−y", "+z", "−z"][side as usize],
            swatch: told.map(|six| Swatch::of(side, six[side])),
            picture: taken(record, &format!("view-{side}.png"), pictures),
            says: said_by_side(record, side),
        })
        .collect();
    views.retain(|view| view.swatch.is_some() || view.picture.is_some());
    views
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
fn taken(record: &Record, name: &str, pictures: Pictures<'_>) -> Option<Picture> {
    let listed = record.stages.iter().flat_map(|stage| &stage.artefacts).any(|file| file.name == name);
    Picture::png(&listed.then(|| pictures(name)).flatten()?)
}

/// What the tables say whose first column names the sides; of equal headings the last counts.
fn said_by_side(record: &Record, side: Side) -> Vec<(String, String)> {
    let mut says: Vec<(String, String)> = Vec::new();
    for fact in record.stages.iter().flat_map(|stage| &stage.facts) {
        let Value::Table { columns, rows } = &fact.value else { continue };
        let Some(row) = rows.iter().find(|row| row.first().is_some_and(|cell| cell == side.word())) else { continue };
        for (heading, text) in columns.iter().zip(row).skip(1) {
            says.retain(|(known, _)| known != heading);
            // The colour is on the swatch already.
            if text.parse::<Srgb>().is_err() {
                says.push((heading.clone(), numbers::tidy(text)));
            }
        }
    }
    says
}
