//! Names by content: the key of a result, the digest of a file.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

/// The BLAKE3 digest of a file's bytes, written as sixty-four lower-case hexadecimal digits.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Digest([u8; 32]);

impl Digest {
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

impl From<[u8; 32]> for Digest {
    fn from(bytes: [u8; 32]) -> Self {
        Self(bytes)
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
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
        let wrong = || format!("'{text}' is not a digest; it has 64 lower-case hexadecimal digits");
        if text.len() != 64 || !text.bytes().all(|b| b.is_ascii_digit() || (b'a'..=b'f').contains(&b)) {
            return Err(wrong());
        }
        let mut bytes = [0; 32];
        for (at, byte) in bytes.iter_mut().enumerate() {
            *byte = u8::from_str_radix(&text[2 * at..2 * at + 2], 16).map_err(|_| wrong())?;
        }
        Ok(Self(bytes))
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

/// Under which a result is kept: what it is the result of, digested. Two results have one key only if everything that
/// could make them differ is the same.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Key(Digest);

impl Key {
    /// The key of a list of parts: each with its length before it, so that nothing can be shifted from one to the next.
    ///
    /// ```
    /// use turnhue::store::Key;
    /// assert_ne!(Key::of([&b"ab"[..], b"c"]), Key::of([&b"a"[..], b"bc"]));
    /// assert_ne!(Key::of([&b"a"[..]]), Key::of([&b"a"[..], b""]));
    /// ```
    #[must_use]
    pub fn of<'a>(parts: impl IntoIterator<Item = &'a [u8]>) -> Self {
        // A context of its own: no file's digest, and no key of another program, is ever a key.
        let mut hasher = blake3::Hasher::new_derive_key("turnhue 2026 key of a stage's result");
        for part in parts {
            hasher.update(&(part.len() as u64).to_le_bytes());
            hasher.update(part);
        }
        Self(hasher.finalize().into())
    }

    /// The key itself.
    #[must_use]
    pub fn bytes(&self) -> &[u8; 32] {
        self.0.bytes()
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl fmt::Debug for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl FromStr for Key {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        text.parse().map(Self)
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
    fn keys_are_read_as_they_are_written() {
        let key = Key::of([&b"voxelise"[..]]);
        let json = serde_json::to_string(&key).unwrap();
        assert_eq!(json, format!("\"{key}\""));
        assert_eq!(serde_json::from_str::<Key>(&json).unwrap(), key);
        assert!(serde_json::from_str::<Key>("\"voxelise\"").is_err());
    }
}
