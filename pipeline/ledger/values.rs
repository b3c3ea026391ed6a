//! The small values of which entries are made: digests, names of files, days.

use std::fmt;
use std::path::{Component, Path};
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::clock::Moment;

/// A BLAKE3 digest, written as 64 lower-case hexadecimal digits and in no other way: a digit in upper case is a byte that
/// somebody changed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Digest([u8; 32]);

impl Digest {
    /// What stands for "the line before" in the first line of a ledger.
    pub const NONE: Self = Self([0; 32]);

    /// The digest of these bytes.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        Self(*blake3::hash(bytes).as_bytes())
    }
}

impl From<blake3::Hash> for Digest {
    fn from(hash: blake3::Hash) -> Self {
        Self(*hash.as_bytes())
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&blake3::Hash::from_bytes(self.0).to_hex())
    }
}

impl FromStr for Digest {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let lower = text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'a'..=b'f'));
        let hash = blake3::Hash::from_hex(text).ok().filter(|_| lower);
        hash.map(Self::from).ok_or_else(|| format!("'{text}' is no digest: 64 digits 0-9 and a-f are expected"))
    }
}

impl TryFrom<String> for Digest {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

impl From<Digest> for String {
    fn from(digest: Digest) -> Self {
        digest.to_string()
    }
}

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
    fn a_digest_is_that_of_b3sum_and_is_written_in_one_way() {
        // BLAKE3 of "abc": the team's published test value, also printed by `b3sum`.
        let text = "6437b3ac38465133ffb63b75273a8db548c558465d79db03fd359c6cd5bd9d85";
        assert_eq!(Digest::of(b"abc").to_string(), text);
        assert_eq!(text.parse(), Ok(Digest::of(b"abc")));
        for wrong in [text.to_uppercase().as_str(), &text[1..], "", &text.replace('a', "g")] {
            assert!(wrong.parse::<Digest>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_plain_name_leads_nowhere() {
        for wrong in ["", ".", "..", "../x", "a/b", "/x", "a/", "a\\b", "a\0"] {
            assert!(wrong.parse::<PlainName>().is_err(), "{wrong}");
        }
        assert!("cell-3mm-1a2b3c4d".parse::<PlainName>().is_ok());
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
