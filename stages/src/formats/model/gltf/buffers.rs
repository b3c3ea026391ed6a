//! Buffers, the views into them, and accessors, which say how numbers lie there (3.6).
//!
//! Nothing is copied out of a buffer: an accessor is checked against the bytes that it needs, then read element by
//! element. So an accessor that is long without bytes of its own, which stands for zeros, takes no memory.

use std::borrow::Cow;
use std::collections::BTreeMap;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use glam::DVec3;

use super::super::{Beside, quoted};
use super::json::{Accessor, Document, Shape, Sparse, View};

/// Most bytes of all buffers together.
const MOST_BYTES: u64 = 2 << 30;

/// The bytes of every buffer that a view of the document looks into.
pub(super) struct Buffers<'a>(Vec<Source<'a>>);

enum Source<'a> {
    /// No view looks into it.
    Unused,
    Bytes(Cow<'a, [u8]>),
    /// As an earlier buffer, whose name it bears.
    Again(usize),
}

impl<'a> Buffers<'a> {
    /// Loads what is used: the binary part of a GLB file, data within the document, and files beside it.
    pub(super) fn load(
        document: &'a Document<'a>,
        binary: Option<&'a [u8]>,
        beside: Beside<'_>,
    ) -> Result<Self, String> {
        let mut used = vec![false; document.buffers.0.len()];
        for view in &document.buffer_views.0 {
            if let Some(used) = used.get_mut(view.buffer as usize) {
                *used = true;
            }
        }
        let mut sources = Vec::new();
        let mut files: BTreeMap<String, usize> = BTreeMap::new();
        let mut total = 0;
        for (at, (buffer, used)) in document.buffers.0.iter().zip(used).enumerate() {
            let source = match &buffer.uri {
                _ if !used => Source::Unused,
                None => Source::Bytes(Cow::Borrowed(binary.filter(|_| at == 0).ok_or_else(|| {
                    format!("buffer {at} of the glTF file has no data; export it as .glb, or with its .bin file")
                })?)),
                Some(uri) if uri.0.starts_with("data:") => Source::Bytes(Cow::Owned(embedded(&uri.0, at)?)),
                Some(uri) => {
                    let name = file_name(&uri.0)?;
                    match files.get(&name) {
                        Some(&first) => Source::Again(first),
                        None => {
                            let bytes = beside(&name)?;
                            files.insert(name, at);
                            Source::Bytes(Cow::Owned(bytes))
                        }
                    }
                }
            };
            if let Source::Bytes(Cow::Owned(bytes)) = &source {
                total += bytes.len() as u64;
            }
            if total > MOST_BYTES {
                return Err(format!(
                    "the buffers of the glTF file hold more than {MOST_BYTES} bytes; simplify the model"
                ));
            }
            sources.push(source);
        }
        let buffers = Self(sources);
        for (at, buffer) in document.buffers.0.iter().enumerate() {
            let there = buffers.bytes(at).map_or(buffer.byte_length, |bytes| bytes.len() as u64);
            if buffer.byte_length > there {
                return Err(format!(
                    "buffer {at} of the glTF file is cut off: it promises {} bytes, but has {there}; export or download \
                     it again",
                    buffer.byte_length
                ));
            }
        }
        Ok(buffers)
    }

    fn bytes(&self, buffer: usize) -> Option<&[u8]> {
        match self.0.get(buffer)? {
            Source::Unused => None,
            Source::Bytes(bytes) => Some(bytes),
            Source::Again(first) => self.bytes(*first),
        }
    }

    /// How many bytes there are in all.
    pub(super) fn size(&self) -> u64 {
        let sizes = self.0.iter().map(|source| match source {
            Source::Bytes(bytes) => bytes.len() as u64,
            Source::Unused | Source::Again(_) => 0,
        });
        sizes.sum()
    }

    fn view<'b>(&'b self, document: &'b Document<'_>, at: u32) -> Result<(&'b View, &'b [u8]), String> {
        let view = document.buffer_views.0.get(at as usize).ok_or_else(|| does_not_exist("buffer view", at))?;
        let bytes = self.bytes(view.buffer as usize).ok_or_else(|| does_not_exist("buffer", view.buffer))?;
        let end = view.byte_offset.checked_add(view.byte_length).filter(|&end| end <= bytes.len() as u64);
        let end = end.ok_or_else(|| {
            format!(
                "buffer view {at} of the glTF file ends beyond its buffer of {} bytes; export it again",
                bytes.len()
            )
        })?;
        Ok((view, &bytes[view.byte_offset as usize..end as usize]))
    }
}

fn does_not_exist(what: &str, at: u32) -> String {
    format!("the glTF file names {what} {at}, which does not exist; export it again")
}

/// The bytes of a `data:` address.
fn embedded(uri: &str, at: usize) -> Result<Vec<u8>, String> {
    let encoded = uri.split_once(',').filter(|(head, _)| head.ends_with(";base64")).map(|(_, encoded)| encoded);
    encoded.and_then(|encoded| STANDARD.decode(encoded).ok()).ok_or_else(|| {
        format!("the data within buffer {at} of the glTF file is not base64, or cut off; export it again")
    })
}

/// The plain name of a file beside the document. Whatever leads elsewhere is refused, and nothing is ever fetched.
fn file_name(uri: &str) -> Result<String, String> {
    let name = unescaped(uri).filter(|name| {
        let leads_elsewhere = |c: char| matches!(c, '/' | '\\' | ':' | '?' | '#') || c.is_control();
        !name.is_empty() && name != "." && name != ".." && !name.contains(leads_elsewhere)
    });
    name.ok_or_else(|| {
        format!(
            "the glTF file names its buffer '{}', which is no file beside it, and nothing is fetched; export it as .glb",
            quoted(uri.as_bytes())
        )
    })
}

/// A text with `%20` and its like made plain (RFC 3986, 2.1).
fn unescaped(text: &str) -> Option<String> {
    let mut parts = text.split('%');
    let mut bytes = parts.next()?.as_bytes().to_vec();
    for part in parts {
        let (digits, rest) = part.split_at_checked(2)?;
        if !digits.bytes().all(|digit| digit.is_ascii_hexdigit()) {
            return None;
        }
        bytes.push(u8::from_str_radix(digits, 16).ok()?);
        bytes.extend(rest.as_bytes());
    }
    String::from_utf8(bytes).ok()
}

/// The type of a number in a buffer (3.6.2.2).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Component {
    I8,
    U8,
    I16,
    U16,
    U32,
    F32,
}

impl Component {
    fn of(code: u32) -> Result<Self, String> {
        Ok(match code {
            5120 => Self::I8,
            5121 => Self::U8,
            5122 => Self::I16,
            5123 => Self::U16,
            5125 => Self::U32,
            5126 => Self::F32,
            _ => return Err(format!("the glTF file has numbers of the unknown type {code}; export it again")),
        })
    }

    const fn size(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::U32 | Self::F32 => 4,
        }
    }

    /// The number at the beginning of `bytes`, which must hold it.
    fn read(self, bytes: &[u8]) -> f64 {
        fn take<const N: usize>(bytes: &[u8]) -> [u8; N] {
            bytes.first_chunk().copied().unwrap_or([0; N])
        }
        match self {
            Self::I8 => f64::from(i8::from_le_bytes(take(bytes))),
            Self::U8 => f64::from(u8::from_le_bytes(take(bytes))),
            Self::I16 => f64::from(i16::from_le_bytes(take(bytes))),
            Self::U16 => f64::from(u16::from_le_bytes(take(bytes))),
            Self::U32 => f64::from(u32::from_le_bytes(take(bytes))),
            Self::F32 => f64::from(f32::from_le_bytes(take(bytes))),
        }
    }

    /// A whole number as part of its range (3.6.2.2, the formulas of the last table).
    fn normalized(self, number: f64) -> f64 {
        match self {
            Self::I8 => (number / 127.0).max(-1.0),
            Self::U8 => number / 255.0,
            Self::I16 => (number / 32767.0).max(-1.0),
            Self::U16 => number / 65535.0,
            Self::U32 | Self::F32 => number,
        }
    }
}

/// Elements of one type that lie one after the other.
struct Elements<'b> {
    component: Component,
    bytes: &'b [u8],
    stride: usize,
}

impl<'b> Elements<'b> {
    /// Checks that `count` elements of `width` numbers lie in the view from `offset` on.
    fn of(
        what: &str,
        component: Component,
        [width, count, offset]: [u64; 3],
        (view, bytes): (&View, &'b [u8]),
    ) -> Result<Self, String> {
        let size = width * component.size() as u64;
        let stride = view.byte_stride.unwrap_or(size);
        if stride < size || stride > 1 << 16 {
            return Err(format!("{what} has a stride of {stride} bytes for elements of {size}; export it again"));
        }
        let end =
            count.checked_sub(1).and_then(|last| last.checked_mul(stride)?.checked_add(size)?.checked_add(offset));
        match end {
            Some(end) if end <= bytes.len() as u64 => {
                Ok(Self { component, bytes: &bytes[offset as usize..], stride: stride as usize })
            }
            _ => Err(format!(
                "{what} promises {count} elements, for which its view of {} bytes is too short; export or download the \
                 file again",
                bytes.len()
            )),
        }
    }

    fn number(&self, element: usize, place: usize) -> f64 {
        self.component.read(&self.bytes[element * self.stride + place * self.component.size()..])
    }
}

/// An accessor whose every element can be read.
pub(super) struct Reader<'b> {
    count: usize,
    elements: Option<Elements<'b>>,
    normalized: bool,
    component: Component,
    /// The elements that stand for others: their places, ascending, and their numbers.
    replaced: Option<(usize, Elements<'b>, Elements<'b>)>,
}

impl<'b> Reader<'b> {
    /// The positions of vertices.
    pub(super) fn positions(document: &'b Document<'_>, buffers: &'b Buffers<'_>, at: u32) -> Result<Self, String> {
        Self::of(document, buffers, at, Shape::Vec3, 3)
    }

    /// Indices of vertices.
    pub(super) fn indices(document: &'b Document<'_>, buffers: &'b Buffers<'_>, at: u32) -> Result<Self, String> {
        let reader = Self::of(document, buffers, at, Shape::Scalar, 1)?;
        if reader.normalized || !matches!(reader.component, Component::U8 | Component::U16 | Component::U32) {
            return Err(format!(
                "accessor {at} of the glTF file has indices that are no whole numbers; export it again"
            ));
        }
        Ok(reader)
    }

    fn of(
        document: &'b Document<'_>,
        buffers: &'b Buffers<'_>,
        at: u32,
        shape: Shape,
        width: u64,
    ) -> Result<Self, String> {
        let accessor: &Accessor =
            document.accessors.0.get(at as usize).ok_or_else(|| does_not_exist("accessor", at))?;
        let what = format!("accessor {at} of the glTF file");
        if accessor.shape != shape {
            return Err(format!(
                "{what} is not of type {}; export it again",
                if width == 3 { "VEC3" } else { "SCALAR" }
            ));
        }
        let component = Component::of(accessor.component_type)?;
        let count = usize::try_from(accessor.count)
            .ok()
            .filter(|&count| count > 0 && count <= u32::MAX as usize)
            .ok_or_else(|| format!("{what} promises {} elements; export it again", accessor.count))?;
        let elements = match accessor.buffer_view {
            // Without a view all elements are zero (3.6.2.1).
            None => None,
            Some(view) => {
                let view = buffers.view(document, view)?;
                Some(Elements::of(&what, component, [width, accessor.count, accessor.byte_offset], view)?)
            }
        };
        let replaced = match &accessor.sparse {
            None => None,
            Some(sparse) => Some(replaced(document, buffers, &what, accessor, sparse, component, width)?),
        };
        Ok(Self { count, elements, normalized: accessor.normalized, component, replaced })
    }

    pub(super) fn len(&self) -> usize {
        self.count
    }

    fn number(&self, element: usize, place: usize) -> f64 {
        let number = match self.replacement(element) {
            Some((values, at)) => values.number(at, place),
            None => self.elements.as_ref().map_or(0.0, |elements| elements.number(element, place)),
        };
        if self.normalized { self.component.normalized(number) } else { number }
    }

    fn replacement(&self, element: usize) -> Option<(&Elements<'b>, usize)> {
        let (count, places, values) = self.replaced.as_ref()?;
        let (mut low, mut high) = (0, *count);
        while low < high {
            let middle = low + (high - low) / 2;
            if (places.number(middle, 0) as usize) < element {
                low = middle + 1;
            } else {
                high = middle;
            }
        }
        (low < *count && places.number(low, 0) as usize == element).then_some((values, low))
    }

    /// The index of element `at`, which must exist.
    pub(super) fn index(&self, at: usize) -> usize {
        self.number(at, 0) as usize
    }

    /// The position of element `at`, which must exist.
    pub(super) fn position(&self, at: usize) -> DVec3 {
        DVec3::new(self.number(at, 0), self.number(at, 1), self.number(at, 2))
    }
}

/// The elements of a sparse accessor that stand for others (3.6.2.3).
fn replaced<'b>(
    document: &'b Document<'_>,
    buffers: &'b Buffers<'_>,
    what: &str,
    accessor: &Accessor,
    sparse: &Sparse,
    component: Component,
    width: u64,
) -> Result<(usize, Elements<'b>, Elements<'b>), String> {
    let kind = Component::of(sparse.indices.component_type)?;
    if !matches!(kind, Component::U8 | Component::U16 | Component::U32) {
        return Err(format!("{what} has sparse indices that are no whole numbers; export it again"));
    }
    let places = buffers.view(document, sparse.indices.buffer_view)?;
    let places = Elements::of(what, kind, [1, sparse.count, sparse.indices.byte_offset], places)?;
    let values = buffers.view(document, sparse.values.buffer_view)?;
    let values = Elements::of(what, component, [width, sparse.count, sparse.values.byte_offset], values)?;
    // So many lie in the buffer.
    let count = sparse.count as usize;
    let ascending = (1..count).all(|at| places.number(at - 1, 0) < places.number(at, 0));
    if !ascending || places.number(count - 1, 0) >= accessor.count as f64 {
        return Err(format!("{what} has sparse indices that do not ascend within it; export it again"));
    }
    Ok((count, places, values))
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn buffers_are_files_beside_the_document() {
        for (uri, name) in [("piece.bin", "piece.bin"), ("a%20piece.bin", "a piece.bin"), ("%C3%A9.bin", "é.bin")] {
            assert_eq!(file_name(uri).unwrap(), name);
        }
        for uri in [
            "",
            ".",
            "..",
            "../piece.bin",
            "a/piece.bin",
            "/etc/passwd",
            "a\\b.bin",
            "C:piece.bin",
            "http://a.example/b",
            "file:///etc/passwd",
            "//a.example/b.bin",
            "%2e%2e%2fpiece.bin",
            "%2E%2E",
            "a%2fb.bin",
            "a%00.bin",
            "a.bin?b",
            "a.bin#b",
            "%",
            "%4",
            "%zz.bin",
            "%ff.bin",
            "%+1.bin",
            "%é",
        ] {
            let message = file_name(uri).unwrap_err();
            assert!(message.contains("no file beside it, and nothing is fetched"), "{message}");
        }
    }

    /// The values of the specification's table of formulas, 3.6.2.2, at the ends of each range.
    #[test]
    fn normalized_numbers() {
        for (component, number, expected) in [
            (Component::I8, -128.0, -1.0),
            (Component::I8, 127.0, 1.0),
            (Component::U8, 255.0, 1.0),
            (Component::I16, -32768.0, -1.0),
            (Component::I16, 32767.0, 1.0),
            (Component::U16, 65535.0, 1.0),
            (Component::U16, 0.0, 0.0),
        ] {
            assert_eq!(component.normalized(number), expected);
        }
    }
}
