//! One line of a ledger: how it is sealed, and how it is read.
//!
//! ```json
//! {"form":1,"seq":2,"time":"2027-03-01T09:30:00Z","prev":"…","deed":{"note":{"text":"…"}},"digest":"…"}
//! ```
//!
//! `digest` is BLAKE3 over the bytes of the line before `,"digest":"`, `prev` the digest of the line before. Both are
//! checked on the bytes as they stand: JSON that says the same in other bytes is another line.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::deeds::Deed;
use crate::clock::Moment;
use crate::digest::Digest;

/// The version of a line's form. Raised when a field changes its meaning; a reader takes its own version and older.
pub const FORM: u32 = 1;

const BEFORE_DIGEST: &[u8] = b",\"digest\":\"";
const DIGITS: usize = 64;
const AFTER_DIGEST: &[u8] = b"\"}";

/// What stands in a line besides its digest.
#[derive(Serialize)]
pub(super) struct Content<'a> {
    form: u32,
    seq: u64,
    time: String,
    prev: Digest,
    deed: &'a Deed,
}

impl<'a> Content<'a> {
    pub(super) fn new(seq: u64, time: Moment, prev: Digest, deed: &'a Deed) -> Self {
        Self { form: FORM, seq, time: time.rfc3339(), prev, deed }
    }

    /// The line with its end, and its digest.
    pub(super) fn seal(&self) -> (Vec<u8>, Digest) {
        let mut line = serde_json::to_vec(self).unwrap_or_else(|error| panic!("an entry is JSON: {error}"));
        // The brace that closes it comes after the digest.
        line.pop();
        let digest = Digest::of(&line);
        line.extend(BEFORE_DIGEST);
        line.extend(digest.to_string().bytes());
        line.extend(AFTER_DIGEST);
        line.push(b'\n');
        (line, digest)
    }
}

/// What a line says. Unknown fields are those of an older form.
#[derive(Deserialize)]
pub(super) struct Said {
    pub(super) form: u32,
    pub(super) seq: u64,
    pub(super) time: String,
    pub(super) prev: Digest,
    pub(super) deed: Deed,
}

/// A line that was read: what its digest ought to be, and what it says it is.
pub(super) struct Read {
    /// The digest of the content, where the end of the content can be told.
    pub(super) digest: Option<Digest>,
    /// The digest that stands in the line, if one does.
    pub(super) claimed: Option<Digest>,
    /// What it says, or what is wrong with it.
    pub(super) said: Result<(Said, Moment), Flaw>,
}

/// What is wrong with a line by itself.
#[derive(Debug)]
pub(super) enum Flaw {
    /// It does not end with a digest.
    Unsealed,
    /// Its bytes have another digest than the one that stands in it.
    Changed,
    /// A later version wrote it.
    Newer(u32),
    /// It is sealed, but it is no entry.
    NotAnEntry(String),
}

impl fmt::Display for Flaw {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unsealed => f.write_str("the entry does not end with its digest"),
            Self::Changed => f.write_str("the entry was changed after it was written: its digest does not fit"),
            Self::Newer(form) => {
                write!(f, "the entry has form {form}, and this program reads forms up to {FORM}")
            }
            Self::NotAnEntry(why) => write!(f, "this is not an entry: {why}"),
        }
    }
}

/// Reads a line without its end.
pub(super) fn read(line: &[u8]) -> Read {
    let Some((content, digits)) = split(line) else {
        return Read { digest: None, claimed: None, said: Err(Flaw::Unsealed) };
    };
    let digest = Digest::of(content);
    let claimed: Option<Digest> = std::str::from_utf8(digits).ok().and_then(|digits| digits.parse().ok());
    let said = match claimed {
        None => Err(Flaw::Unsealed),
        Some(claimed) if claimed != digest => Err(Flaw::Changed),
        Some(_) => said(line),
    };
    Read { digest: Some(digest), claimed, said }
}

/// The content, and the digits of the digest.
fn split(line: &[u8]) -> Option<(&[u8], &[u8])> {
    let line = line.strip_suffix(AFTER_DIGEST)?;
    let (rest, digits) = line.split_at_checked(line.len().checked_sub(DIGITS)?)?;
    Some((rest.strip_suffix(BEFORE_DIGEST)?, digits))
}

fn said(line: &[u8]) -> Result<(Said, Moment), Flaw> {
    let said: Said =
        serde_json::from_slice(line).map_err(|error| newer(line).unwrap_or(Flaw::NotAnEntry(error.to_string())))?;
    if said.form > FORM {
        return Err(Flaw::Newer(said.form));
    }
    let time = said.time.parse().map_err(Flaw::NotAnEntry)?;
    Ok((said, time))
}

/// What cannot be read may be of a later form.
fn newer(line: &[u8]) -> Option<Flaw> {
    #[derive(Deserialize)]
    struct Head {
        form: u32,
    }
    let head: Head = serde_json::from_slice(line).ok()?;
    (head.form > FORM).then_some(Flaw::Newer(head.form))
}
