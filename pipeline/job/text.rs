//! The text of a YAML file, guarded: what is read from it later cannot hurt, and every value has a place.

use std::ops::Range;
use std::path::Path;
use std::sync::Arc;

use serde_json::Value;

use super::files;
use super::places::{Places, Refusal};
use crate::diagnostic::{Diagnostic, Place, Source};
use crate::input;

/// Largest YAML file, in bytes.
pub const LARGEST: u64 = 1 << 20;

/// A YAML file that has passed the guard: UTF-8, at most 1 MiB, one document, nested at most 32 deep, every key a text
/// that comes once, every number finite, no anchors, aliases or tags.
#[derive(Debug)]
pub struct Text {
    source: Arc<Source>,
    places: Places,
    value: Value,
    bytes: Arc<[u8]>,
    digest: blake3::Hash,
}

impl Text {
    /// Reads a file from disk.
    ///
    /// # Errors
    /// As [`Text::parse`], and if the file cannot be read.
    pub fn open(path: &Path) -> Result<Self, Vec<Diagnostic>> {
        let name = path.display().to_string();
        let bytes = input::read(path, LARGEST).map_err(|mut trouble| {
            if trouble.missing && files::is_pattern(&name) {
                trouble.remedy =
                    "no file matches it: write the name of a job file, or a pattern such as jobs/*.yaml".to_owned();
            } else if trouble.missing && trouble.remedy.is_empty() {
                trouble.remedy = "check the name, and the folder in which it is looked for".to_owned();
            }
            vec![Diagnostic::error(trouble.message).remedy(trouble.remedy)]
        })?;
        Self::parse(&name, bytes)
    }

    /// Reads bytes that came from the file `name`. Takes time and memory linear in their number.
    ///
    /// # Errors
    /// Everything that keeps the file from passing the guard, each with its place.
    pub fn parse(name: &str, bytes: Vec<u8>) -> Result<Self, Vec<Diagnostic>> {
        if bytes.len() as u64 > LARGEST {
            let message = format!("{name}: is {} bytes long, over the 1 MiB limit", bytes.len());
            return Err(vec![Diagnostic::error(message).remedy("use a smaller file")]);
        }
        let (kept, digest): (Arc<[u8]>, _) = (Arc::from(bytes.as_slice()), blake3::hash(&bytes));
        let mut text = String::from_utf8(bytes).map_err(|error| vec![not_utf8(name, &error)])?;
        if text.starts_with('\u{feff}') {
            text.drain(..'\u{feff}'.len_utf8());
        }
        let source = Arc::new(Source { name: name.to_owned(), text });
        let places = Places::of(&source.text)
            .map_err(|refusals| refusals.into_iter().map(|refusal| refused(&source, refusal)).collect::<Vec<_>>())?;
        let value = serde_yaml::from_str(&source.text).map_err(|error| vec![unread(&source, &error)])?;
        Ok(Self { source, places, value, bytes: kept, digest })
    }

    /// The bytes of the file, byte order mark and all, and their BLAKE3 digest.
    pub(crate) fn bytes_and_digest(&self) -> (&Arc<[u8]>, blake3::Hash) {
        (&self.bytes, self.digest)
    }

    /// The values, as JSON.
    #[must_use]
    pub fn value(&self) -> &Value {
        &self.value
    }

    /// The file's name and text.
    #[must_use]
    pub fn source(&self) -> &Source {
        &self.source
    }

    /// Where the value at `path` stands (`stages[2].hollow.wall`), or what would hold it.
    #[must_use]
    pub fn place(&self, path: &str) -> Place {
        place(&self.source, self.places.value(path))
    }

    /// Where the key of the value at `path` stands.
    #[must_use]
    pub fn key_place(&self, path: &str) -> Place {
        place(&self.source, self.places.key(path))
    }
}

fn place(source: &Arc<Source>, chars: Range<usize>) -> Place {
    let byte = |count| source.text.char_indices().nth(count).map_or(source.text.len(), |(at, _)| at);
    Place::new(Arc::clone(source), byte(chars.start)..byte(chars.end))
}

fn not_utf8(name: &str, error: &std::string::FromUtf8Error) -> Diagnostic {
    let at = error.utf8_error().valid_up_to();
    let line = error.as_bytes()[..at].iter().filter(|&&byte| byte == b'\n').count() + 1;
    Diagnostic::error(format!("{name}:{line}: is not UTF-8 text from byte {at} on")).remedy("save the file as UTF-8")
}

fn refused(source: &Arc<Source>, refusal: Refusal) -> Diagnostic {
    let diagnostic = Diagnostic::error(refusal.message).at(place(source, refusal.at)).remedy(refusal.remedy);
    match refusal.first {
        Some(first) => diagnostic.label("again here").related(place(source, first), "first here"),
        None => diagnostic,
    }
}

fn unread(source: &Arc<Source>, error: &serde_yaml::Error) -> Diagnostic {
    let at = error.location().map_or(0, |location| location.index());
    Diagnostic::error(format!("is not YAML: {error}"))
        .at(Place::new(Arc::clone(source), at..at))
        .remedy("look for a quote, a bracket or an indentation that does not fit, here or just above")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_byte_order_mark_shifts_no_place_and_counts_in_the_digest() {
        let bytes = "\u{feff}a: 1\r\nb: x\r\n".as_bytes().to_vec();
        let text = Text::parse("a.yaml", bytes.clone()).unwrap();
        assert_eq!(text.value()["b"], "x");
        assert_eq!(text.place("b").line_and_column(), (2, 4));
        assert_eq!(text.place("a").line_and_column(), (1, 4));
        let (kept, digest) = text.bytes_and_digest();
        assert_eq!((kept.len(), digest), (15, blake3::hash(&bytes)));
    }

    #[test]
    fn the_broken_byte_is_named() {
        let refused = Text::parse("a.yaml", b"a: 1\nb: \xc3(".to_vec()).unwrap_err();
        assert_eq!(refused[0].message(), "a.yaml:2: is not UTF-8 text from byte 8 on");
    }

    /// The guard's parser and the one that reads the values must agree on what stands where.
    #[test]
    fn places_and_values_agree() {
        let text = "a: |\n  x: 1\nb: 'it''s'\n\"c d\": [1, {e: ~}]\nf: 0x1f\n? g\n: h # no\n";
        let text = Text::parse("a.yaml", text.as_bytes().to_vec()).unwrap();
        let expected = serde_json::json!({
            "a": "x: 1\n", "b": "it's", "c d": [1, { "e": null }], "f": 31, "g": "h",
        });
        assert_eq!(text.value(), &expected);
        for (path, marked) in [("b", "'it''s'"), ("c d[0]", "1"), ("c d[1].e", "~"), ("f", "0x1f"), ("g", "h")] {
            assert_eq!(text.place(path).text(), marked, "{path}");
        }
    }
}
