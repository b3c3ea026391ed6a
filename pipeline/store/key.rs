//! The keys of results.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::digest::Digest;

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
    fn keys_are_read_as_they_are_written() {
        let key = Key::of([&b"voxelise"[..]]);
        let json = serde_json::to_string(&key).unwrap();
        assert_eq!(json, format!("\"{key}\""));
        assert_eq!(serde_json::from_str::<Key>(&json).unwrap(), key);
        assert!(serde_json::from_str::<Key>("\"voxelise\"").is_err());
    }
}
