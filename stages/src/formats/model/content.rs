//! What a file is, told from its content.

use std::fmt;
use std::path::Path;

use super::{obj, quoted, stl};

/// A format that can be read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// STL, binary or text.
    Stl,
    /// PLY, text or binary.
    Ply,
    /// OBJ.
    Obj,
    /// 3MF.
    ThreeMf,
    /// glTF 2.0, as text or as one binary file (GLB).
    Gltf,
}

impl fmt::Display for Format {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Stl => "STL",
            Self::Ply => "PLY",
            Self::Obj => "OBJ",
            Self::ThreeMf => "3MF",
            Self::Gltf => "glTF",
        })
    }
}

/// How a name may end, and what it then says.
const ENDINGS: [(&str, Format); 6] = [
    ("stl", Format::Stl),
    ("ply", Format::Ply),
    ("obj", Format::Obj),
    ("3mf", Format::ThreeMf),
    ("gltf", Format::Gltf),
    ("glb", Format::Gltf),
];

/// What can be read, in words.
const READABLE: &str = "STL, PLY, OBJ, 3MF and glTF (.gltf or .glb) can be read";

/// First bytes of what people take for a model, and what it is.
const OTHERS: [(&[u8], &str); 14] = [
    (b"\x89PNG", "a PNG picture"),
    (b"\xff\xd8\xff", "a JPEG picture"),
    (b"GIF8", "a GIF picture"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a gzip archive: unpack it"),
    (b"7z\xbc\xaf", "a 7z archive: unpack it"),
    (b"Rar!", "a RAR archive: unpack it"),
    (b"\xfd7zXZ", "an xz archive: unpack it"),
    (b"BZh", "a bzip2 archive: unpack it"),
    (b"<!DOCTYPE", "a web page: the download went wrong"),
    (b"<!doctype", "a web page: the download went wrong"),
    (b"<html", "a web page: the download went wrong"),
    (b"<?xml", "an XML document of another kind"),
    (b"ISO-10303-21", "a STEP file, which holds no triangles"),
];

/// How far to look for a zero byte, which no text has.
const SNIFF: usize = 1024;

impl Format {
    /// Told from the content, and where that leaves it open from the name's ending, so that the reader can say what is
    /// wrong with the file.
    pub(super) fn of(bytes: &[u8], name: &str) -> Result<Self, String> {
        if let Some(format) = Self::shown_by(bytes) {
            return Ok(format);
        }
        let start = without_mark(bytes);
        if let Some((_, what)) = OTHERS.iter().find(|(magic, _)| start.starts_with(magic)) {
            return Err(format!("it looks like {what}; {READABLE}"));
        }
        match Self::named_by(name) {
            // Both may begin with anything, and their readers say best what is wrong.
            Some(Self::Stl) => Ok(Self::Stl),
            Some(Self::Obj) if is_text(bytes) => Ok(Self::Obj),
            _ if bytes.is_empty() => Err("the file is empty; export or download it again".to_owned()),
            _ if is_text(bytes) => {
                let word = start.split(u8::is_ascii_whitespace).next().unwrap_or_default();
                Err(format!("it is text of no known kind, which begins with '{}'; {READABLE}", quoted(word)))
            }
            _ => Err(format!("it is binary data of no known kind; {READABLE}")),
        }
    }

    fn shown_by(bytes: &[u8]) -> Option<Self> {
        // A binary STL may begin with anything: its length tells.
        if stl::is_binary(bytes) {
            return Some(Self::Stl);
        }
        if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
            return Some(Self::ThreeMf);
        }
        if bytes.starts_with(b"glTF") {
            return Some(Self::Gltf);
        }
        let start = without_mark(bytes);
        if start.strip_prefix(b"ply").is_some_and(|rest| rest.first().is_some_and(u8::is_ascii_whitespace)) {
            return Some(Self::Ply);
        }
        if !is_text(bytes) {
            return None;
        }
        if start.starts_with(b"{") {
            return Some(Self::Gltf);
        }
        if start.get(..5).is_some_and(|word| word.eq_ignore_ascii_case(b"solid")) {
            return Some(Self::Stl);
        }
        obj::is_likely(start).then_some(Self::Obj)
    }

    fn named_by(name: &str) -> Option<Self> {
        let ending = Path::new(name).extension()?.to_str()?;
        ENDINGS.iter().find(|(known, _)| ending.eq_ignore_ascii_case(known)).map(|&(_, format)| format)
    }

    /// What to note where the name says something else than the content.
    pub(super) fn belies(self, name: &str) -> Option<String> {
        match Self::named_by(name) {
            Some(said) if said == self => None,
            Some(said) => Some(format!("its name says {said}, but its content is {self}, as which it was read")),
            None => Some(format!("its name does not say what it is; its content is {self}")),
        }
    }
}

/// Without a byte order mark and white space.
fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes).trim_ascii_start()
}

fn is_text(bytes: &[u8]) -> bool {
    !bytes[..bytes.len().min(SNIFF)].contains(&0)
}
