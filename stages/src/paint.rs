//! Colours, and which colour lies on which face.

use std::fmt;
use std::str::FromStr;
use std::sync::Arc;

use serde::de::Error as _;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::Six;
use crate::colorimetry::{linear, pigment};
use crate::solid::Face;

/// An sRGB colour (IEC 61966-2-1), eight bits a channel. Written `"#c8553d"`, `"#c53"` or as a CSS colour name.
///
/// ```
/// use turnhue_stages::Srgb;
/// assert_eq!("#c53".parse(), Ok(Srgb([0xcc, 0x55, 0x33])));
/// assert_eq!("rebeccapurple".parse::<Srgb>().unwrap().to_string(), "#663399");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Srgb(pub [u8; 3]);

impl fmt::Display for Srgb {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [r, g, b] = self.0;
        write!(f, "#{r:02x}{g:02x}{b:02x}")
    }
}

impl FromStr for Srgb {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || {
            format!(
                "'{text}' is not a colour; write \"#rrggbb\" or \"#rgb\" in quotes, or a CSS colour name such as teal"
            )
        };
        let name = text.trim().to_ascii_lowercase();
        if let Some(hex) = name.strip_prefix('#') {
            if !hex.bytes().all(|b| b.is_ascii_hexdigit()) {
                return Err(wrong());
            }
            let digit = |i: usize| u8::from_str_radix(&hex[i..=i], 16).map_err(|_| wrong());
            return match hex.len() {
                3 => Ok(Self([digit(0)? * 17, digit(1)? * 17, digit(2)? * 17])),
                6 => Ok(Self([digit(0)? * 16 + digit(1)?, digit(2)? * 16 + digit(3)?, digit(4)? * 16 + digit(5)?])),
                _ => Err(wrong()),
            };
        }
        // The one name of CSS Color 4 that SVG 1.1, and so the list used here, does not have.
        if name == "rebeccapurple" {
            return Ok(Self([0x66, 0x33, 0x99]));
        }
        palette::named::from_str(&name).map(|c| Self([c.red, c.green, c.blue])).ok_or_else(wrong)
    }
}

impl Serialize for Srgb {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Srgb {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer)?.parse().map_err(D::Error::custom)
    }
}

impl schemars::JsonSchema for Srgb {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Colour".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "description": "An sRGB colour: \"#rrggbb\", \"#rgb\" or a CSS colour name",
            "type": "string",
            "pattern": "^(#[0-9a-fA-F]{3}|#[0-9a-fA-F]{6}|[a-zA-Z]+)$"
        })
    }
}

/// Which colour lies on which outside face, and the colour of the inside.
#[derive(Clone, Debug, PartialEq)]
pub struct Paint {
    /// The colours in use.
    pub colours: Vec<Srgb>,
    /// Every outside face, side by side in the order of [`crate::Side::ALL`].
    pub faces: Arc<[Face]>,
    /// For each of `faces` the place of its colour in `colours`.
    pub ink: Vec<u32>,
    /// The colour that each side is known by: its own where it has one, the mean over its faces where it has many.
    pub sides: Six<Srgb>,
    /// The colour of the cavity and of the shafts of its openings.
    pub inside: Srgb,
    /// Where ink is held back along edges between different colours.
    pub guard: Option<Guard>,
}

/// A thin band along edges between faces of different colours that is left without ink, so that what runs over the edge
/// runs onto bare material.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guard {
    /// Width of the band on a face, in mm: more than 0, less than half a cell.
    pub width: f64,
    /// On which of the two faces at such an edge.
    pub on: GuardOn,
}

impl Guard {
    /// Whether a face of a colour has a band at an edge to a face of another.
    #[must_use]
    pub fn holds_back(&self, own: Srgb, other: Srgb) -> bool {
        let strength = |colour| pigment::absorption(linear(colour)).iter().sum::<f64>();
        own != other && (self.on == GuardOn::Both || strength(own) > strength(other))
    }
}

/// The faces at an edge between two colours that are held back.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, schemars::JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum GuardOn {
    /// Both faces.
    Both,
    /// The face with the stronger ink, the one that shows more where the two mix.
    Stronger,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn colours_as_people_write_them() {
        // CSS Color Module Level 4, named colours.
        for (text, hex) in [
            ("#C8553D", "#c8553d"),
            ("#fff", "#ffffff"),
            ("teal", "#008080"),
            ("Tomato", "#ff6347"),
            ("lightgoldenrodyellow", "#fafad2"),
        ] {
            assert_eq!(text.parse::<Srgb>().map(|c| c.to_string()), Ok(hex.to_owned()), "{text}");
        }
        for text in ["", "#", "#12", "#12345", "#gggggg", "#ééé", "no such colour", "rgb(1,2,3)"] {
            assert!(text.parse::<Srgb>().is_err(), "{text}");
        }
    }
}
