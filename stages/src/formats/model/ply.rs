//! PLY (Stanford polygon format 1.0): text, and binary in both byte orders.
//!
//! Read are the elements `vertex` (x, y, z of any type), `face` and `tristrips` (lists of vertices, of any type); other
//! elements and properties are stepped over. Elements come in the order of the header, and vertices must come before
//! what names them.
//!
//! A header may promise any number of elements: it is compared with the bytes that so many must take before any is
//! read, so that neither memory nor time grow beyond the file's own size.

use glam::DVec3;

use super::{About, Builder, Vertices, quoted};

/// Longest header, in bytes.
const LONGEST_HEADER: usize = 1 << 20;
/// Most properties of all elements together.
const MOST_PROPERTIES: usize = 10_000;

/// Reads a PLY file, from its first line `ply` on.
pub(super) fn read(bytes: &[u8], builder: &mut Builder) -> Result<About, String> {
    let (header, body) = Header::read(bytes)?;
    match header.form {
        Form::Text => Reading::new(Text { rest: body }, builder).all(&header),
        Form::LittleEndian => Reading::new(Binary { rest: body, big_endian: false }, builder).all(&header),
        Form::BigEndian => Reading::new(Binary { rest: body, big_endian: true }, builder).all(&header),
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    Text,
    LittleEndian,
    BigEndian,
}

struct Header {
    form: Form,
    elements: Vec<Element>,
}

struct Element {
    name: String,
    count: u64,
    properties: Vec<Property>,
}

struct Property {
    name: String,
    kind: Kind,
}

#[derive(Clone, Copy)]
enum Kind {
    Scalar(Scalar),
    List { count: Scalar, item: Scalar },
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Scalar {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}

impl Scalar {
    /// Both sets of names that are in use.
    fn named(name: &str) -> Option<Self> {
        Some(match name {
            "char" | "int8" => Self::I8,
            "uchar" | "uint8" => Self::U8,
            "short" | "int16" => Self::I16,
            "ushort" | "uint16" => Self::U16,
            "int" | "int32" => Self::I32,
            "uint" | "uint32" => Self::U32,
            "float" | "float32" => Self::F32,
            "double" | "float64" => Self::F64,
            _ => return None,
        })
    }

    const fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
}

impl Kind {
    /// Fewest bytes that it takes: a list may be empty.
    const fn least(self, form: Form) -> u64 {
        match (form, self) {
            // A digit and what parts it from the next.
            (Form::Text, _) => 2,
            (_, Self::Scalar(scalar) | Self::List { count: scalar, .. }) => scalar.size() as u64,
        }
    }
}

impl Element {
    fn position(&self, name: &str) -> Option<usize> {
        self.properties.iter().position(|property| property.name == name)
    }

    /// Fewest bytes that one takes.
    fn least(&self, form: Form) -> u64 {
        self.properties.iter().map(|property| property.kind.least(form)).sum()
    }
}

impl Header {
    /// Reads the header; gives it with the bytes after its last line.
    fn read(bytes: &[u8]) -> Result<(Self, &[u8]), String> {
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes).trim_ascii_start();
        let mut lines = Lines { rest: bytes };
        let mut form = None;
        let mut elements: Vec<Element> = Vec::new();
        let mut properties = 0;
        loop {
            if bytes.len() - lines.rest.len() > LONGEST_HEADER {
                return Err(format!("the PLY header is longer than {LONGEST_HEADER} bytes; export it again"));
            }
            let line = lines.next().ok_or("the PLY header is cut off: it has no 'end_header'; export it again")?;
            let text = std::str::from_utf8(line).map_err(|_| bad_line(line))?;
            let words: Vec<&str> = text.split_ascii_whitespace().take(6).collect();
            match *words {
                [] | ["ply"] | ["comment" | "obj_info", ..] => {}
                ["end_header"] => break,
                ["format", kind, version] => {
                    if version != "1.0" {
                        return Err(format!(
                            "the PLY file has version {}, expected 1.0; export it again",
                            quoted(version.as_bytes())
                        ));
                    }
                    form = Some(match kind {
                        "ascii" => Form::Text,
                        "binary_little_endian" => Form::LittleEndian,
                        "binary_big_endian" => Form::BigEndian,
                        _ => return Err(bad_line(line)),
                    });
                }
                ["element", name, count] => elements.push(Element {
                    name: name.to_owned(),
                    count: count.parse().map_err(|_| bad_line(line))?,
                    properties: Vec::new(),
                }),
                ["property", ref kind @ .., name] => {
                    let kind = kind_of(kind).ok_or_else(|| bad_line(line))?;
                    let element = elements.last_mut().ok_or_else(|| bad_line(line))?;
                    properties += 1;
                    if properties > MOST_PROPERTIES {
                        return Err(format!("the PLY header has more than {MOST_PROPERTIES} properties"));
                    }
                    element.properties.push(Property { name: name.to_owned(), kind });
                }
                _ => return Err(bad_line(line)),
            }
        }
        let form = form.ok_or("the PLY header has no line 'format'; export it again")?;
        Ok((Self { form, elements }, lines.rest))
    }
}

fn kind_of(words: &[&str]) -> Option<Kind> {
    Some(match *words {
        [scalar] => Kind::Scalar(Scalar::named(scalar)?),
        ["list", count, item] => Kind::List { count: Scalar::named(count)?, item: Scalar::named(item)? },
        _ => return None,
    })
}

fn bad_line(line: &[u8]) -> String {
    format!("the PLY header has a line that is not understood: '{}'; export it again", quoted(line))
}

/// Lines that end with a line feed, a carriage return, or both.
struct Lines<'a> {
    rest: &'a [u8],
}

impl<'a> Iterator for Lines<'a> {
    type Item = &'a [u8];

    fn next(&mut self) -> Option<&'a [u8]> {
        let end = self.rest.iter().position(|b| matches!(b, b'\n' | b'\r'))?;
        let (line, rest) = self.rest.split_at(end);
        self.rest = rest.strip_prefix(b"\r\n").unwrap_or(&rest[1..]);
        Some(line)
    }
}

/// Why no number comes.
enum Lack {
    /// The file ends.
    End,
    /// What stands there is no number.
    NotANumber(String),
}

/// The numbers of the body, in either form.
trait Numbers {
    fn next(&mut self, scalar: Scalar) -> Result<f64, Lack>;
    fn skip(&mut self, scalar: Scalar, count: u64) -> Result<(), Lack>;
    /// Bytes that are left.
    fn left(&self) -> usize;
    /// Fewest bytes that a number takes.
    fn least(scalar: Scalar) -> u64;
}

struct Text<'a> {
    rest: &'a [u8],
}

impl<'a> Text<'a> {
    fn word(&mut self) -> Result<&'a [u8], Lack> {
        let text = self.rest.trim_ascii_start();
        let end = text.iter().position(u8::is_ascii_whitespace).unwrap_or(text.len());
        let (word, rest) = text.split_at(end);
        self.rest = rest;
        if word.is_empty() { Err(Lack::End) } else { Ok(word) }
    }
}

impl Numbers for Text<'_> {
    fn next(&mut self, _: Scalar) -> Result<f64, Lack> {
        let word = self.word()?;
        let number = std::str::from_utf8(word).ok().and_then(|word| word.parse().ok());
        number.ok_or_else(|| Lack::NotANumber(quoted(word)))
    }

    fn skip(&mut self, _: Scalar, count: u64) -> Result<(), Lack> {
        (0..count).try_for_each(|_| self.word().map(drop))
    }

    fn left(&self) -> usize {
        self.rest.trim_ascii().len()
    }

    fn least(_: Scalar) -> u64 {
        2
    }
}

struct Binary<'a> {
    rest: &'a [u8],
    big_endian: bool,
}

impl Binary<'_> {
    fn take<const N: usize>(&mut self) -> Result<[u8; N], Lack> {
        let (bytes, rest) = self.rest.split_first_chunk::<N>().ok_or(Lack::End)?;
        self.rest = rest;
        let mut bytes = *bytes;
        if self.big_endian {
            bytes.reverse();
        }
        Ok(bytes)
    }
}

impl Numbers for Binary<'_> {
    fn next(&mut self, scalar: Scalar) -> Result<f64, Lack> {
        Ok(match scalar {
            Scalar::I8 => f64::from(i8::from_le_bytes(self.take()?)),
            Scalar::U8 => f64::from(u8::from_le_bytes(self.take()?)),
            Scalar::I16 => f64::from(i16::from_le_bytes(self.take()?)),
            Scalar::U16 => f64::from(u16::from_le_bytes(self.take()?)),
            Scalar::I32 => f64::from(i32::from_le_bytes(self.take()?)),
            Scalar::U32 => f64::from(u32::from_le_bytes(self.take()?)),
            Scalar::F32 => f64::from(f32::from_le_bytes(self.take()?)),
            Scalar::F64 => f64::from_le_bytes(self.take()?),
        })
    }

    fn skip(&mut self, scalar: Scalar, count: u64) -> Result<(), Lack> {
        let bytes = count.checked_mul(scalar.size() as u64).and_then(|bytes| usize::try_from(bytes).ok());
        self.rest = bytes.and_then(|bytes| self.rest.get(bytes..)).ok_or(Lack::End)?;
        Ok(())
    }

    fn left(&self) -> usize {
        self.rest.len()
    }

    fn least(scalar: Scalar) -> u64 {
        scalar.size() as u64
    }
}

struct Reading<'b, N> {
    numbers: N,
    builder: &'b mut Builder,
    vertices: Option<Vertices>,
    /// The corners of the polygon that is being read.
    corners: Vec<u32>,
    /// Faces of fewer than three corners.
    slight: usize,
}

impl<'b, N: Numbers> Reading<'b, N> {
    fn new(numbers: N, builder: &'b mut Builder) -> Self {
        Self { numbers, builder, vertices: None, corners: Vec::new(), slight: 0 }
    }

    fn all(mut self, header: &Header) -> Result<About, String> {
        for element in &header.elements {
            self.check_room(element, header.form)?;
            match element.name.as_str() {
                "vertex" => self.read_vertices(element)?,
                "face" => self.read_lists(element, Self::face)?,
                "tristrips" => self.read_lists(element, Self::strips)?,
                _ => self.skip(element)?,
            }
        }
        if !header.elements.iter().any(|e| matches!(e.name.as_str(), "face" | "tristrips") && e.count > 0) {
            return Err("the PLY file holds points alone, no faces; make a surface of them first".to_owned());
        }
        let mut about = About::default();
        about.passed_over(self.slight, "face of fewer than three corners", "faces of fewer than three corners");
        about.passed_over(self.numbers.left(), "byte after the last element", "bytes after the last element");
        Ok(about)
    }

    /// Refuses a count of elements that cannot fit into what is left of the file.
    fn check_room(&self, element: &Element, form: Form) -> Result<(), String> {
        let least = element.count.saturating_mul(element.least(form));
        // What parts the last number of a text from the next may be missing.
        let left = self.numbers.left() as u64 + u64::from(form == Form::Text);
        if least <= left {
            return Ok(());
        }
        Err(format!(
            "the PLY file is cut off: its header promises {} of the element '{}', which take at least {least} bytes, but \
             {left} are left; export or download it again",
            element.count,
            quoted(element.name.as_bytes())
        ))
    }

    fn read_vertices(&mut self, element: &Element) -> Result<(), String> {
        let mut places = [0; 3];
        for (place, name) in places.iter_mut().zip(["x", "y", "z"]) {
            *place = element
                .position(name)
                .filter(|&at| matches!(element.properties[at].kind, Kind::Scalar(_)))
                .ok_or_else(|| format!("the vertices of the PLY file have no number '{name}'; export it again"))?;
        }
        // So many were found to fit into the file.
        let mut vertices = Vertices::with_capacity(element.count as usize);
        for row in 0..element.count {
            let mut position = DVec3::ZERO;
            for (at, property) in element.properties.iter().enumerate() {
                match property.kind {
                    Kind::Scalar(scalar) => {
                        let number = self.numbers.next(scalar).map_err(|lack| lacking(element, row, &lack))?;
                        if let Some(axis) = places.iter().position(|&place| place == at) {
                            position[axis] = number;
                        }
                    }
                    kind => self.skip_property(element, row, kind)?,
                }
            }
            vertices.push(position);
        }
        if self.vertices.replace(vertices).is_some() {
            return Err("the PLY file has two elements 'vertex'; export it again".to_owned());
        }
        Ok(())
    }

    /// Reads the vertex list of each row and hands it on.
    fn read_lists(
        &mut self,
        element: &Element,
        mut add: impl FnMut(&mut Self, u64, &[f64]) -> Result<(), String>,
    ) -> Result<(), String> {
        let place = element
            .position("vertex_indices")
            .or_else(|| element.position("vertex_index"))
            .filter(|&at| matches!(element.properties[at].kind, Kind::List { .. }));
        if element.count == 0 {
            return Ok(());
        }
        let place = place.ok_or_else(|| {
            format!("the element '{}' of the PLY file has no list 'vertex_indices'; export it again", element.name)
        })?;
        if self.vertices.is_none() {
            return Err(format!("the PLY file has '{}' before 'vertex'; export it again", element.name));
        }
        if self.builder.len() == 0 {
            // A triangle takes a byte for the length of its list, and one for each corner, at the very least.
            self.builder.make_room(element.count.min(self.numbers.left() as u64 / 4) as usize);
        }
        let mut list = Vec::new();
        for row in 0..element.count {
            for (at, property) in element.properties.iter().enumerate() {
                match property.kind {
                    Kind::List { count, item } if at == place => {
                        self.read_list(element, row, count, item, &mut list)?;
                        add(self, row, &list)?;
                    }
                    kind => self.skip_property(element, row, kind)?,
                }
            }
        }
        Ok(())
    }

    fn read_list(
        &mut self,
        element: &Element,
        row: u64,
        count: Scalar,
        item: Scalar,
        list: &mut Vec<f64>,
    ) -> Result<(), String> {
        let count = self.list_length(element, row, count)?;
        list.clear();
        if count.saturating_mul(N::least(item)) > self.numbers.left() as u64 + 1 {
            return Err(lacking(element, row, &Lack::End));
        }
        for _ in 0..count {
            list.push(self.numbers.next(item).map_err(|lack| lacking(element, row, &lack))?);
        }
        Ok(())
    }

    fn list_length(&mut self, element: &Element, row: u64, count: Scalar) -> Result<u64, String> {
        let count = self.numbers.next(count).map_err(|lack| lacking(element, row, &lack))?;
        whole(count)
            .and_then(|count| u64::try_from(count).ok())
            .ok_or_else(|| format!("{} has a list of {} entries; export it again", shown(element, row), plain(count)))
    }

    fn skip(&mut self, element: &Element) -> Result<(), String> {
        // Elements without properties take no room, and may be any number.
        let rows = if element.properties.is_empty() { 0 } else { element.count };
        for row in 0..rows {
            for property in &element.properties {
                self.skip_property(element, row, property.kind)?;
            }
        }
        Ok(())
    }

    fn skip_property(&mut self, element: &Element, row: u64, kind: Kind) -> Result<(), String> {
        let (scalar, count) = match kind {
            Kind::Scalar(scalar) => (scalar, 1),
            Kind::List { count, item } => (item, self.list_length(element, row, count)?),
        };
        self.numbers.skip(scalar, count).map_err(|lack| lacking(element, row, &lack))
    }

    fn vertex(&mut self, index: f64, row: u64) -> Result<u32, String> {
        let Some(vertices) = &mut self.vertices else { return Err("the PLY file has no vertices".to_owned()) };
        let count = vertices.len();
        let at =
            whole(index).and_then(|index| usize::try_from(index).ok()).filter(|&at| at < count).ok_or_else(|| {
                format!(
                    "face {} names vertex {}, but there are {count}, counted from 0; export it again",
                    row + 1,
                    plain(index)
                )
            })?;
        vertices.number(at, self.builder)
    }

    fn face(&mut self, row: u64, list: &[f64]) -> Result<(), String> {
        if list.len() < 3 {
            self.slight += 1;
            return Ok(());
        }
        let mut corners = std::mem::take(&mut self.corners);
        corners.clear();
        for &index in list {
            corners.push(self.vertex(index, row)?);
        }
        self.builder.polygon(&corners)?;
        self.corners = corners;
        Ok(())
    }

    /// Strips of triangles, each ended by −1: every corner from the third on makes a triangle with the two before it,
    /// and every second one is turned.
    fn strips(&mut self, row: u64, list: &[f64]) -> Result<(), String> {
        for strip in list.split(|&index| index == -1.0) {
            let mut last = [0; 2];
            for (at, &index) in strip.iter().enumerate() {
                let next = self.vertex(index, row)?;
                // A strip repeats a corner to turn the other way; what is between has no area and is no triangle.
                if at >= 2 && last[0] != last[1] && next != last[0] && next != last[1] {
                    let [a, b] = if at % 2 == 0 { last } else { [last[1], last[0]] };
                    self.builder.triangle([a, b, next])?;
                }
                last = [last[1], next];
            }
        }
        Ok(())
    }
}

/// A number without a fraction that 64 bits hold.
fn whole(number: f64) -> Option<i64> {
    (number.fract() == 0.0 && number.abs() < 9e15).then_some(number as i64)
}

/// A number as people write it, however large.
fn plain(number: f64) -> String {
    whole(number).map_or_else(|| format!("{number:?}"), |whole| whole.to_string())
}

fn shown(element: &Element, row: u64) -> String {
    format!("'{}' {} of the PLY file", quoted(element.name.as_bytes()), row + 1)
}

fn lacking(element: &Element, row: u64, lack: &Lack) -> String {
    match lack {
        Lack::End => {
            format!("the PLY file is cut off: it ends within {}; export or download it again", shown(element, row))
        }
        Lack::NotANumber(word) => {
            format!("{} has '{word}' where a number should be; export it again", shown(element, row))
        }
    }
}
