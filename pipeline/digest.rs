//! Names by content: the digest of bytes, as the store, the ledger and records write it.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The BLAKE3 digest of bytes, written as sixty-four lower-case hexadecimal digits and in no other way: a digit in upper case is
/// a byte that somebody changed.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Digest([u8; 32]);

impl Digest {
    /// What stands for "the one before" where there is none.
    pub const NONE: Self = Self([0; 32]);

    /// The digest of bytes at hand.
    #[must_use]
    pub fn of(bytes: &[u8]) -> Self {
        blake3::hash(bytes).into()
    }

    /// The digest itself.
    #[must_use]
    pub fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl From<blake3::Hash> for Digest {
    fn from(hash: blake3::Hash) -> Self {
        Self(hash.into())
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&blake3::Hash::from_bytes(self.0).to_hex())
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
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

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn digests_are_those_of_b3sum() {
        // BLAKE3 of "abc": the team's published test value, also printed by `b3sum`.
        let text = "6437b3ac38465133ffb63b75273a8db548c558465d79db03fd359c6cd5bd9d85";
        assert_eq!(Digest::of(b"abc").to_string(), text);
        assert_eq!(text.parse(), Ok(Digest::of(b"abc")));
        for wrong in ["", &text[1..], &text.to_uppercase(), &text.replace('6', "g"), &format!("{text}0")] {
            assert!(wrong.parse::<Digest>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn digests_are_text_in_json() {
        let digest = Digest::of(b"abc");
        let json = serde_json::to_string(&digest).unwrap();
        assert_eq!(json, format!("\"{digest}\""));
        assert_eq!(serde_json::from_str::<Digest>(&json).unwrap(), digest);
        assert!(serde_json::from_str::<Digest>("\"abc\"").is_err());
    }
}
