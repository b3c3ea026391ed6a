//! OBJ: vertices, and faces that name them.
//!
//! Read are `v`, `f`, `o` and `g`; normals, texture coordinates, materials and smoothing say nothing about the surface
//! and are stepped over. A material library that the file names is never opened. Lines, points and free-form curves and
//! surfaces are passed over with a note, as are words that are not known.

use std::borrow::Cow;
use std::collections::BTreeMap;

use glam::DVec3;

use super::{About, Builder, Vertices, quoted};

/// What may begin a line without saying anything about the surface: vertex data beside positions, grouping, and how it
/// is drawn.
const SILENT: [&[u8]; 15] = [
    b"vn",
    b"vt",
    b"vp",
    b"s",
    b"mg",
    b"usemtl",
    b"mtllib",
    b"usemap",
    b"maplib",
    b"lod",
    b"bevel",
    b"c_interp",
    b"d_interp",
    b"shadow_obj",
    b"trace_obj",
];

/// What begins a line of something that is no flat face.
const OTHER: [&[u8]; 20] = [
    b"l", b"p", b"curv", b"curv2", b"surf", b"cstype", b"deg", b"bmat", b"step", b"parm", b"trim", b"hole", b"scrv",
    b"sp", b"end", b"con", b"ctech", b"stech", b"call", b"csh",
];

/// Whether the first line that says something begins like one of an OBJ file.
pub(super) fn is_likely(text: &[u8]) -> bool {
    let lines = text.split(|b| matches!(b, b'\n' | b'\r'));
    let first = lines.map(<[u8]>::trim_ascii).find(|line| !line.is_empty() && !line.starts_with(b"#"));
    let Some(first) = first else { return false };
    let word = first_word(first);
    matches!(word, b"v" | b"f" | b"o" | b"g") || SILENT.contains(&word) || OTHER.contains(&word)
}

/// Reads an OBJ file.
pub(super) fn read(bytes: &[u8], builder: &mut Builder) -> Result<About, String> {
    let text = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    // A vertex and its two triangles take about 80 bytes in the form in which programs write them.
    builder.make_room(text.len() / 40);
    let mut reading = Reading {
        vertices: Vertices::with_capacity(text.len() / 80),
        has_objects: has_objects(text),
        builder,
        line: 0,
        bodies: BTreeMap::new(),
        pending: None,
        corners: Vec::new(),
        slight: 0,
        other: 0,
        unknown: 0,
        first_unknown: None,
    };
    for (number, line) in Lines::of(text) {
        reading.line = number;
        reading.statement(&line)?;
    }
    Ok(reading.close())
}

/// Whether the file parts its faces into objects; if not, its groups are taken.
fn has_objects(text: &[u8]) -> bool {
    text.split(|b| matches!(b, b'\n' | b'\r')).any(|line| first_word(line.trim_ascii_start()) == b"o")
}

fn first_word(line: &[u8]) -> &[u8] {
    line.split(u8::is_ascii_whitespace).next().unwrap_or_default()
}

/// Lines with their number, without comments; one that ends with a backslash goes on in the next.
struct Lines<'a> {
    rest: Option<&'a [u8]>,
    number: usize,
}

impl<'a> Lines<'a> {
    fn of(text: &'a [u8]) -> Self {
        Self { rest: Some(text), number: 0 }
    }

    fn physical(&mut self) -> Option<&'a [u8]> {
        let rest = self.rest?;
        self.number += 1;
        let end = rest.iter().position(|b| matches!(b, b'\n' | b'\r'));
        let line = end.map_or(rest, |end| &rest[..end]);
        self.rest = end.map(|end| rest[end..].strip_prefix(b"\r\n").unwrap_or(&rest[end + 1..]));
        let comment = line.iter().position(|&b| b == b'#').unwrap_or(line.len());
        Some(line[..comment].trim_ascii())
    }
}

impl<'a> Iterator for Lines<'a> {
    type Item = (usize, Cow<'a, [u8]>);

    fn next(&mut self) -> Option<Self::Item> {
        let first = self.physical()?;
        let number = self.number;
        let Some(begun) = first.strip_suffix(b"\\") else { return Some((number, Cow::Borrowed(first))) };
        let mut whole = begun.to_vec();
        while let Some(next) = self.physical() {
            whole.push(b' ');
            match next.strip_suffix(b"\\") {
                Some(more) => whole.extend(more),
                None => {
                    whole.extend(next);
                    break;
                }
            }
        }
        Some((number, Cow::Owned(whole)))
    }
}

struct Reading<'b> {
    builder: &'b mut Builder,
    vertices: Vertices,
    has_objects: bool,
    line: usize,
    /// The bodies that have triangles, by their names: one that is named again goes on.
    bodies: BTreeMap<Vec<u8>, u32>,
    /// The name of the body that was begun last, until its number is known.
    pending: Option<Vec<u8>>,
    corners: Vec<u32>,
    slight: usize,
    other: usize,
    unknown: usize,
    first_unknown: Option<String>,
}

impl Reading<'_> {
    fn statement(&mut self, line: &[u8]) -> Result<(), String> {
        let word = first_word(line);
        let rest = &line[word.len()..];
        match word {
            b"" => {}
            b"v" => self.vertex(rest)?,
            // An older spelling of a face.
            b"f" | b"fo" => self.face(rest)?,
            b"o" => self.body(rest),
            b"g" if !self.has_objects => self.body(rest),
            b"g" => {}
            word if SILENT.contains(&word) => {}
            word if OTHER.contains(&word) => self.other += 1,
            word => {
                self.unknown += 1;
                self.first_unknown.get_or_insert_with(|| quoted(word));
            }
        }
        Ok(())
    }

    /// Three coordinates; a weight or a colour may follow.
    fn vertex(&mut self, rest: &[u8]) -> Result<(), String> {
        let mut words = words(rest);
        let mut position = DVec3::ZERO;
        for axis in 0..3 {
            let word = words.next().ok_or_else(|| {
                format!("line {} of the OBJ file has a vertex of fewer than three numbers; export it again", self.line)
            })?;
            position[axis] = number(word).ok_or_else(|| self.unexpected(word, "a number"))?;
        }
        self.vertices.push(position);
        Ok(())
    }

    /// Corners such as `7`, `7/1`, `7/1/3` or `7//3`, of which the first number is the vertex.
    fn face(&mut self, rest: &[u8]) -> Result<(), String> {
        let mut corners = std::mem::take(&mut self.corners);
        corners.clear();
        for word in words(rest) {
            let index = word.split(|&b| b == b'/').next().unwrap_or_default();
            let index: i64 = number(index).ok_or_else(|| self.unexpected(word, "a vertex's number"))?;
            let count = self.vertices.len();
            // Counted from 1, or backwards from the last vertex so far.
            let at = if index < 0 { (count as i64).checked_add(index) } else { index.checked_sub(1) };
            let at = at.and_then(|at| usize::try_from(at).ok()).filter(|&at| at < count).ok_or_else(|| {
                format!(
                    "line {} of the OBJ file names vertex {index}, but {count} stand before it; export it again",
                    self.line
                )
            })?;
            corners.push(self.vertices.number(at, self.builder)?);
        }
        if corners.len() < 3 {
            self.slight += 1;
        } else {
            self.builder.polygon(&corners)?;
            if let (Some(name), Some(number)) = (self.pending.take(), self.builder.body()) {
                self.bodies.insert(name, number);
            }
        }
        self.corners = corners;
        Ok(())
    }

    fn body(&mut self, rest: &[u8]) {
        let name = rest.trim_ascii();
        let number = self.bodies.get(name).copied();
        self.builder.resume_body(number, std::str::from_utf8(name).ok());
        self.pending = number.is_none().then(|| name.to_vec());
    }

    fn unexpected(&self, word: &[u8], expected: &str) -> String {
        format!("line {} of the OBJ file has '{}' where {expected} should be; export it again", self.line, quoted(word))
    }

    fn close(self) -> About {
        let mut about = About::default();
        about.passed_over(self.slight, "face of fewer than three corners", "faces of fewer than three corners");
        about.passed_over(self.other, "line, point or free-form element", "lines, points or free-form elements");
        if let Some(first) = self.first_unknown {
            let what = format!("line that is not understood, with '{first}',");
            let many = format!("lines that are not understood, the first with '{first}',");
            about.passed_over(self.unknown, &what, &many);
        }
        about
    }
}

fn words(line: &[u8]) -> impl Iterator<Item = &[u8]> {
    line.split(u8::is_ascii_whitespace).filter(|word| !word.is_empty())
}

fn number<T: std::str::FromStr>(word: &[u8]) -> Option<T> {
    std::str::from_utf8(word).ok()?.parse().ok()
}
