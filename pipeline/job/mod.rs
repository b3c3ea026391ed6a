//! A job file, in the phases in which it is read: bytes → [`Text`] → [`Draft`].
//!
//! A draft holds what could be read; what could not is in the faults beside it. Only [`crate::plan`] turns a draft
//! without faults into something that can run.

mod advise;
pub mod files;
mod places;
mod read;
pub(crate) mod settings;
mod site;
pub mod text;
mod variants;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
pub use turnhue_reports::amounts::{Amount, Share};
pub use turnhue_reports::package::PackageRequest;
use turnhue_stages::formats::model::Choice;

pub use advise::AdviseRequest;
pub use read::{Draft, Step};
pub(crate) use read::{KEYS, against_itself, faces_up};
pub(crate) use site::{Moved, Site};
pub use text::Text;
pub use variants::{Change, MOST_VARIANTS, Variant, Variants};
pub(crate) use variants::{Part, Pick};

use crate::diagnostic::Diagnostic;

/// Reads the bytes of a job file as far as they can be read, with all that is wrong with them. Touches no other file.
#[must_use]
pub fn read(name: &str, bytes: Vec<u8>) -> (Option<Draft>, Vec<Diagnostic>) {
    let mut faults = Vec::new();
    let draft = match Text::parse(name, bytes) {
        Ok(text) => Some(Draft::read(&text, &mut faults)),
        Err(refused) => {
            faults = refused;
            None
        }
    };
    (draft, faults)
}

/// The name under which the record of a piece is kept: a folder name that is safe on every system.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Commission(String);

impl Commission {
    /// Longest name, in characters.
    pub const LONGEST: usize = 64;

    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Commission {
    type Error = String;

    fn try_from(name: String) -> Result<Self, String> {
        match refused_as_folder(&name, Self::LONGEST) {
            Some(why) => Err(format!("`{name}` cannot name the folder of the commission: {why}")),
            None => Ok(Self(name)),
        }
    }
}

/// Why a name cannot be that of a folder on every system, or is longer than so many characters.
fn refused_as_folder(name: &str, longest: usize) -> Option<String> {
    // Device names on Windows, which no file or folder there can have, whatever follows the first dot.
    const DEVICES: [&str; 4] = ["con", "prn", "aux", "nul"];
    const NUMBERED: [&str; 2] = ["com", "lpt"];
    let stem = name.split('.').next().unwrap_or_default().to_ascii_lowercase();
    let numbered = NUMBERED
        .iter()
        .any(|device| stem.strip_prefix(device).is_some_and(|n| n.len() == 1 && n.as_bytes()[0].is_ascii_digit()));
    if DEVICES.contains(&stem.as_str()) || numbered {
        return Some("it is the name of a device on some systems".to_owned());
    }
    let allowed = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    // Windows drops a dot at the end of a folder's name.
    let fits = name.starts_with(|c: char| c.is_ascii_alphanumeric())
        && name.chars().all(allowed)
        && name.len() <= longest
        && !name.contains("..")
        && !name.ends_with('.');
    (!fits).then(|| {
        format!("use letters a to z, digits, `-`, `_` and `.`, at most {longest} of them, beginning with a letter or a digit")
    })
}

impl From<Commission> for String {
    fn from(commission: Commission) -> Self {
        commission.0
    }
}

/// What the piece is called in reports.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Title(String);

impl Title {
    /// Longest title, in characters.
    pub const LONGEST: usize = 200;

    /// The title.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Title {
    type Error = String;

    fn try_from(title: String) -> Result<Self, String> {
        let length = title.chars().count();
        if title.trim().is_empty() {
            return Err("the title is empty".to_owned());
        }
        if length > Self::LONGEST {
            return Err(format!("the title has {length} characters; at most {} fit", Self::LONGEST));
        }
        Ok(Self(title))
    }
}

impl From<Title> for String {
    fn from(title: Title) -> Self {
        title.0
    }
}

/// The unit in which a model's numbers are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum ModelUnit {
    /// Millimetres.
    Mm,
    /// Centimetres.
    Cm,
    /// Metres.
    M,
    /// Inches of 25.4 mm.
    In,
    /// Feet of 304.8 mm.
    Ft,
    /// Micrometres.
    Um,
}

impl ModelUnit {
    /// Its sign, as a job has it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::Cm => "cm",
            Self::M => "m",
            Self::In => "in",
            Self::Ft => "ft",
            Self::Um => "um",
        }
    }

    /// Its length in millimetres.
    #[must_use]
    pub const fn mm(self) -> f64 {
        match self {
            Self::Mm => 1.0,
            Self::Cm => 10.0,
            Self::M => 1000.0,
            Self::In => 25.4,
            Self::Ft => 304.8,
            Self::Um => 0.001,
        }
    }
}

/// A direction along an axis of the model.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum Axis {
    /// +x
    #[serde(rename = "+x")]
    PlusX,
    /// −x
    #[serde(rename = "-x")]
    MinusX,
    /// +y
    #[serde(rename = "+y")]
    PlusY,
    /// −y
    #[serde(rename = "-y")]
    MinusY,
    /// +z
    #[serde(rename = "+z")]
    PlusZ,
    /// −z
    #[serde(rename = "-z")]
    MinusZ,
}

impl Axis {
    /// Place of the axis (0 for x, 1 for y, 2 for z) and the sign along it.
    #[must_use]
    pub const fn parts(self) -> (usize, f64) {
        match self {
            Self::PlusX => (0, 1.0),
            Self::MinusX => (0, -1.0),
            Self::PlusY => (1, 1.0),
            Self::MinusY => (1, -1.0),
            Self::PlusZ => (2, 1.0),
            Self::MinusZ => (2, -1.0),
        }
    }

    /// Whether the other lies along the same axis.
    #[must_use]
    pub const fn is_along(self, other: Self) -> bool {
        self.parts().0 == other.parts().0
    }

    /// How a job file writes it.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::PlusX => "+x",
            Self::MinusX => "-x",
            Self::PlusY => "+y",
            Self::MinusY => "-y",
            Self::PlusZ => "+z",
            Self::MinusZ => "-z",
        }
    }
}

/// The model and how it stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, expecting = "a map such as { file: models/piece.stl, units: mm }")]
pub struct ModelRequest {
    /// The model, relative to the job file's folder: STL, PLY, OBJ, 3MF or glTF (.gltf or .glb).
    pub file: String,
    /// The unit of the numbers in the file: mm, cm, m, in, ft or um. A 3MF file says its own and glTF is in metres, so
    /// for them it may be left out; given, it stands for theirs.
    #[serde(default)]
    pub units: Option<ModelUnit>,
    /// Which direction of the model points up: +z if left out, for glTF +y.
    #[serde(default)]
    pub up: Option<Axis>,
    /// Which direction of the model its front faces: -y if left out, for glTF +z.
    #[serde(default)]
    pub facing: Option<Axis>,
    /// Which bodies of the file make the piece: all, largest (by its surface), or a list of numbers such as [1, 3] as
    /// `turnhue check` shows them.
    #[serde(default)]
    pub bodies: Choice,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn commissions_are_safe_folder_names() {
        for name in ["HB-2027-03", "a", "x_1.v2", "7", "comet", "com10", &"a".repeat(64)] {
            assert!(Commission::try_from(name.to_owned()).is_ok(), "{name}");
        }
        let long = "a".repeat(65);
        for name in [
            "", ".", "..", "../x", "a/b", "a\\b", ".hidden", "-x", "a..b", "a.", "con", "CON.txt", "nul", "com1",
            "LPT9.x", "a b", "é", "a\0b", "a\nb", "C:", &long,
        ] {
            assert!(Commission::try_from(name.to_owned()).is_err(), "{name:?}");
        }
    }

    #[test]
    fn titles_have_words_and_an_end() {
        assert!(Title::try_from("<script>".to_owned()).is_ok());
        assert!(Title::try_from("ü".repeat(200)).is_ok());
        assert!(Title::try_from("x".repeat(201)).is_err());
        assert!(Title::try_from("  ".to_owned()).is_err());
    }
}
