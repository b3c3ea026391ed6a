//! What may be asked of `colour`: what each side carries, and what is laid over it.

use std::borrow::Cow;
use std::fmt;

use glam::DVec3;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::value::MapAccessDeserializer;
use serde::de::{self, Deserializer, MapAccess, Visitor};
use serde::ser::SerializeMap;
use serde::{Deserialize, Serialize, Serializer};

use super::folded::Folded;
use super::guard::GuardWish;
use crate::stage::Misfit;
use crate::{Length, Side, Six, Srgb};

/// Settings of `colour`: for each side a colour, a gradient or a picture. A colour is written `"#rrggbb"`, `"#rgb"` or as a
/// CSS colour name.
///
/// Places and heights are in mm from the lowest corner of the piece as it stands: x to its right, y to its back, z up
/// from its foot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Settings {
    /// Faces that look to +x.
    pub right: Coat,
    /// Faces that look to −x.
    pub left: Coat,
    /// Faces that look to +y.
    pub back: Coat,
    /// Faces that look to −y.
    pub front: Coat,
    /// Faces that look up.
    pub top: Coat,
    /// Faces that look down.
    pub bottom: Coat,
    /// The cavity, and the shafts of its openings.
    #[serde(default = "white")]
    pub inside: Srgb,
    /// Bands and spots laid over the sides, one after the other: a later one hides an earlier.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub over: Vec<Over>,
    /// The folded-paper proof of two neighbouring sides. Left out, there is one of the first two in turn from the front
    /// that both carry a picture or a gradient.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub folded: Option<Folded>,
    /// A band without ink along edges between colours, so that running colour stays on its own side: `none`, `best` (the
    /// width that the print prediction rates best, if any is worth it), or `{ width: 0.2 mm, on: both }`, on both faces or on
    /// the `stronger`.
    #[serde(default)]
    pub guard: GuardWish,
}

/// Most bands and spots: far more than anybody writes by hand.
const MOST_OVER: usize = 256;

fn white() -> Srgb {
    Srgb([0xff; 3])
}

impl Settings {
    /// What each side carries.
    pub(super) fn coats(&self) -> Six<&Coat> {
        Six([&self.right, &self.left, &self.back, &self.front, &self.top, &self.bottom])
    }

    /// The pictures, with their sides.
    pub(super) fn pictures(&self) -> impl Iterator<Item = (Side, &PictureFile)> {
        Side::ALL.into_iter().zip(self.coats().0).filter_map(|(side, coat)| match coat {
            Coat::Picture(picture) => Some((side, picture)),
            Coat::Colour(_) | Coat::Gradient(_) => None,
        })
    }

    /// Checks all that needs no picture.
    pub(super) fn check(&self) -> Result<(), Misfit> {
        for (side, coat) in Side::ALL.into_iter().zip(self.coats().0) {
            if let Coat::Gradient(gradient) = coat {
                gradient.check(side)?;
            }
        }
        if self.over.len() > MOST_OVER {
            let message =
                format!("{} bands and spots are more than the {MOST_OVER} that may be given", self.over.len());
            return Err(Misfit::new("over", message, "a drawing is better laid on a side as a picture"));
        }
        self.over.iter().enumerate().try_for_each(|(at, over)| over.check(at))?;
        self.folded.as_ref().map_or(Ok(()), Folded::check)
    }
}

/// What a side carries: a colour, a gradient or a picture.
#[derive(Clone, Debug, PartialEq)]
pub enum Coat {
    /// One colour.
    Colour(Srgb),
    /// Colours that pass into one another.
    Gradient(Gradient),
    /// A picture.
    Picture(PictureFile),
}

/// From one colour to another along an axis of the piece, from its lowest to its highest extent.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Gradient {
    /// The colour at the axis' lower end: at the left for x, at the front for y, at the foot for z.
    pub from: Srgb,
    /// The colour at its upper end: at the right, at the back, at the top.
    pub to: Srgb,
    /// The axis.
    pub along: Axis,
    /// Colours on the way, in order.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stops: Vec<Stop>,
    /// In what the colours mix.
    #[serde(default)]
    pub mix: Mix,
}

/// An axis of the piece.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Axis {
    /// From left to right.
    X,
    /// From front to back.
    Y,
    /// From the foot up.
    Z,
}

/// A colour on the way.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Stop {
    /// How much of the way lies below it: above 0, below 1.
    pub at: f64,
    /// The colour there.
    pub colour: Srgb,
}

/// In what the colours of a gradient mix.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Mix {
    /// Linear light, as lamps mix.
    #[default]
    Light,
    /// CIELAB under D65: in steps that look alike.
    Lab,
}

/// A picture file, laid on the silhouette as seen from the side: upright, and not mirrored for whoever looks at that side.
/// From the top the front is at the lower edge, from the bottom at the upper.
#[derive(Clone, Debug, PartialEq, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(inline)]
pub struct PictureFile {
    /// PNG, JPEG or WebP; its EXIF orientation and its colour profile are heeded.
    pub file: String,
    /// How it fits a silhouette of another shape.
    #[serde(default)]
    pub fit: Fit,
    /// The colour behind what is transparent, and beside a picture that does not fill the silhouette.
    #[serde(default = "white")]
    pub ground: Srgb,
}

/// How a picture fits a silhouette of another shape. It is never stretched, and its middle is the silhouette's middle.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Fit {
    /// It fills the silhouette's rectangle; what stands over is cut off.
    #[default]
    Fill,
    /// The whole picture is within the rectangle; the rest is ground.
    Whole,
}

/// A band or a spot. A face belongs to it if the face's middle lies in it or on its border.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Over {
    /// All around, between two heights.
    Band(Band),
    /// In a box.
    Spot(Spot),
}

/// All around, between two heights.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Band {
    /// Lower height, from the piece's foot.
    pub from: Length,
    /// Upper height.
    pub to: Length,
    /// The colour.
    pub colour: Srgb,
    /// On these sides alone; left out, on all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sides: Option<Vec<Side>>,
}

/// In a box.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Spot {
    /// Lowest corner of the box: x, y, z.
    pub low: [Length; 3],
    /// Highest corner.
    pub high: [Length; 3],
    /// The colour.
    pub colour: Srgb,
    /// On these sides alone; left out, on all.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sides: Option<Vec<Side>>,
}

impl Over {
    /// Its name in the settings.
    pub(super) fn word(&self) -> &'static str {
        match self {
            Self::Band(_) => "band",
            Self::Spot(_) => "spot",
        }
    }

    pub(super) fn colour(&self) -> Srgb {
        match self {
            Self::Band(band) => band.colour,
            Self::Spot(spot) => spot.colour,
        }
    }

    /// Whether a face belongs to it: where it looks, and its middle in mm from the piece's lowest corner.
    pub(super) fn covers(&self, side: Side, middle: DVec3) -> bool {
        let on = |sides: &Option<Vec<Side>>| sides.as_ref().is_none_or(|sides| sides.contains(&side));
        match self {
            Self::Band(band) => on(&band.sides) && within(middle.z, band.from, band.to),
            Self::Spot(spot) => on(&spot.sides) && (0..3).all(|i| within(middle[i], spot.low[i], spot.high[i])),
        }
    }

    fn check(&self, at: usize) -> Result<(), Misfit> {
        let word = self.word();
        let sides = match self {
            Self::Band(band) => {
                let setting = format!("over[{at}].{word}.to");
                let axis = Extent { name: "a band", of: [band.from, band.to], words: ["from", "to"] };
                axis.check(setting)?;
                &band.sides
            }
            Self::Spot(spot) => {
                for (i, name) in ["a spot along x", "a spot along y", "a spot along z"].into_iter().enumerate() {
                    let axis = Extent { name, of: [spot.low[i], spot.high[i]], words: ["low", "high"] };
                    axis.check(format!("over[{at}].{word}.high[{i}]"))?;
                }
                &spot.sides
            }
        };
        if sides.as_ref().is_some_and(Vec::is_empty) {
            let setting = format!("over[{at}].{word}.sides");
            return Err(Misfit::new(setting, "no side is named", "name one, or leave `sides` out for all six"));
        }
        Ok(())
    }
}

/// Rounding on the way from cells to mm; a cell is a million times larger.
const ROUNDING: f64 = 1e-9;

fn within(at: f64, low: Length, high: Length) -> bool {
    low.mm() - ROUNDING <= at && at <= high.mm() + ROUNDING
}

/// Two lengths of which the second must be the larger.
struct Extent<'a> {
    name: &'a str,
    of: [Length; 2],
    words: [&'a str; 2],
}

impl Extent<'_> {
    fn check(&self, setting: String) -> Result<(), Misfit> {
        let [low, high] = self.of;
        let [from, to] = self.words;
        if low < high {
            return Ok(());
        }
        let message = if low > high {
            format!("{} from {low} to {high} is upside down", self.name)
        } else {
            format!("{} from {low} to {high} holds nothing", self.name)
        };
        Err(Misfit::new(setting, message, format!("`{to}` must be more than `{from}`")))
    }
}

impl Gradient {
    fn check(&self, side: Side) -> Result<(), Misfit> {
        let mut last = 0.0;
        for (i, stop) in self.stops.iter().enumerate() {
            // Written so that what is no number is refused too.
            if !(stop.at > last && stop.at < 1.0) {
                let message = format!("a stop at {} does not lie between {last} and 1", stop.at);
                let remedy = "stops stand in order, each above 0 and below 1: at: 0.5 is half way";
                return Err(Misfit::new(format!("{side}.gradient.stops[{i}].at"), message, remedy));
            }
            last = stop.at;
        }
        Ok(())
    }
}

/// What a coat may be, for messages.
const COATS: &str = "a colour such as \"#c8553d\" or teal, { gradient: { from: gold, to: teal, along: z } }, or \
                     { picture: faces/right.png }";

/// The map of a coat.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct CoatMap {
    gradient: Option<Gradient>,
    picture: Option<PictureFile>,
}

impl<'de> Deserialize<'de> for Coat {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct CoatVisitor;
        impl<'de> Visitor<'de> for CoatVisitor {
            type Value = Coat;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(COATS)
            }

            fn visit_str<E: de::Error>(self, word: &str) -> Result<Coat, E> {
                let message = match word.parse() {
                    Ok(colour) => return Ok(Coat::Colour(colour)),
                    Err(_) if names_a_file(word) => {
                        format!("'{word}' is not a colour; a picture is written {{ picture: {word} }}")
                    }
                    Err(message) => format!("{message}; or a gradient or a picture"),
                };
                Err(E::custom(message))
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Coat, A::Error> {
                match CoatMap::deserialize(MapAccessDeserializer::new(map))? {
                    CoatMap { gradient: Some(gradient), picture: None } => Ok(Coat::Gradient(gradient)),
                    CoatMap { gradient: None, picture: Some(picture) } => Ok(Coat::Picture(picture)),
                    CoatMap { gradient: None, picture: None } => Err(de::Error::custom(format!("expected {COATS}"))),
                    _ => Err(de::Error::custom("a side carries a gradient or a picture, not both")),
                }
            }
        }
        deserializer.deserialize_any(CoatVisitor)
    }
}

/// Whether a text reads as the name of a picture file.
fn names_a_file(word: &str) -> bool {
    let word = word.to_ascii_lowercase();
    [".png", ".jpg", ".jpeg", ".webp"].iter().any(|ending| word.ends_with(ending))
}

impl Serialize for Coat {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = match self {
            Self::Colour(colour) => return colour.serialize(serializer),
            Self::Gradient(_) | Self::Picture(_) => serializer.serialize_map(Some(1))?,
        };
        match self {
            Self::Colour(_) => {}
            Self::Gradient(gradient) => map.serialize_entry("gradient", gradient)?,
            Self::Picture(picture) => map.serialize_entry("picture", picture)?,
        }
        map.end()
    }
}

impl JsonSchema for Coat {
    fn schema_name() -> Cow<'static, str> {
        "Coat".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        let alone = |key: &str, schema: Schema, about: &str| {
            json_schema!({
                "type": "object", "description": about,
                "properties": { key: schema }, "required": [key], "additionalProperties": false,
            })
        };
        let gradient = generator.subschema_for::<Gradient>();
        let picture = PictureFile::json_schema(generator);
        json_schema!({ "anyOf": [
            generator.subschema_for::<Srgb>(),
            alone("gradient", gradient, "Colours that pass into one another along an axis"),
            alone("picture", json_schema!({ "anyOf": [{ "type": "string" }, picture] }),
                  "A picture file, laid on the silhouette as seen from that side; its name alone is enough"),
        ] })
    }
}

/// The map of a picture.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PictureMap {
    file: String,
    #[serde(default)]
    fit: Fit,
    #[serde(default = "white")]
    ground: Srgb,
}

impl<'de> Deserialize<'de> for PictureFile {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct PictureVisitor;
        impl<'de> Visitor<'de> for PictureVisitor {
            type Value = PictureFile;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(
                    "a picture file such as faces/right.png, or { file: faces/right.png, fit: whole, ground: white }",
                )
            }

            fn visit_str<E: de::Error>(self, file: &str) -> Result<PictureFile, E> {
                Ok(PictureFile { file: file.to_owned(), fit: Fit::default(), ground: white() })
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<PictureFile, A::Error> {
                let PictureMap { file, fit, ground } = PictureMap::deserialize(MapAccessDeserializer::new(map))?;
                Ok(PictureFile { file, fit, ground })
            }
        }
        deserializer.deserialize_any(PictureVisitor)
    }
}
