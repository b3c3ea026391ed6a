//! The small values of which entries are made: names of files and of their folders, days.

use std::fmt;
use std::path::{Component, Path};
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::clock::Moment;

/// The name of a file or folder in its folder: one component that leads nowhere else. Entries may have been changed by
/// anybody, and what they name is opened.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct PlainName(String);

impl PlainName {
    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl AsRef<Path> for PlainName {
    fn as_ref(&self) -> &Path {
        Path::new(&self.0)
    }
}

impl fmt::Display for PlainName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for PlainName {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let mut parts = Path::new(text).components();
        let one = matches!((parts.next(), parts.next()), (Some(Component::Normal(_)), None));
        if one && !text.contains(['/', '\\', '\0']) {
            Ok(Self(text.to_owned()))
        } else {
            Err(format!("'{text}' is no plain name of a file or folder"))
        }
    }
}

impl TryFrom<String> for PlainName {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<PlainName> for String {
    fn from(name: PlainName) -> Self {
        name.0
    }
}

/// The name of a file in the folder of a run or a night: a plain name, or that of a folder there and a plain name in it.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct FileName(String);

impl FileName {
    /// The name.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }

    /// The folder that it names, if it names one, and the plain name.
    #[must_use]
    pub fn parts(&self) -> (Option<&str>, &str) {
        self.0.split_once('/').map_or((None, &self.0), |(folder, name)| (Some(folder), name))
    }
}

impl AsRef<Path> for FileName {
    fn as_ref(&self) -> &Path {
        Path::new(&self.0)
    }
}

impl fmt::Display for FileName {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for FileName {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let (folder, name) = text.split_once('/').map_or((None, text), |(folder, name)| (Some(folder), name));
        let plain = |part: &str| part.parse::<PlainName>().is_ok();
        if plain(name) && folder.is_none_or(plain) {
            Ok(Self(text.to_owned()))
        } else {
            Err(format!("'{text}' is no name of a file, alone or in one folder"))
        }
    }
}

impl From<PlainName> for FileName {
    fn from(PlainName(name): PlainName) -> Self {
        Self(name)
    }
}

impl TryFrom<String> for FileName {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<FileName> for String {
    fn from(name: FileName) -> Self {
        name.0
    }
}

/// A day in the calendar: `2027-03-01`.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Day(String);

impl Day {
    /// The day of a moment, in UTC.
    #[must_use]
    pub fn of(moment: Moment) -> Self {
        Self(moment.rfc3339()[..10].to_owned())
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl FromStr for Day {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let day = format!("{text}T00:00:00Z").parse::<Moment>();
        day.map(|_| Self(text.to_owned())).map_err(|_| format!("'{text}' is no day such as 2027-03-01"))
    }
}

impl TryFrom<String> for Day {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Day> for String {
    fn from(day: Day) -> Self {
        day.0
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_plain_name_leads_nowhere() {
        for wrong in ["", ".", "..", "../x", "a/b", "/x", "a/", "a\\b", "a\0"] {
            assert!(wrong.parse::<PlainName>().is_err(), "{wrong}");
        }
        assert!("cell-3mm-1a2b3c4d".parse::<PlainName>().is_ok());
    }

    #[test]
    fn a_file_lies_at_most_one_folder_deep() {
        for wrong in [
            "", "/", "..", "../x", "a/..", "a/../b", "a/b/c", "/x", "a/", "a//b", "./a", "a/.", "a\\b", "a/b\\c",
            "a/b\0",
        ] {
            assert!(wrong.parse::<FileName>().is_err(), "{wrong}");
        }
        let name = |text: &str| text.parse::<FileName>().unwrap();
        assert_eq!(name("order/piece.3mf").parts(), (Some("order"), "piece.3mf"));
        assert_eq!(name("run.json").parts(), (None, "run.json"));
    }

    #[test]
    fn a_day_is_in_the_calendar() {
        assert!("2028-02-29".parse::<Day>().is_ok());
        for wrong in ["2027-02-29", "2027-13-01", "2027-3-1", "2027-03-01Z", "1 March"] {
            assert!(wrong.parse::<Day>().is_err(), "{wrong}");
        }
        assert_eq!(Day::of(Moment(1_803_893_400)).to_string(), "2027-03-01");
    }
}
