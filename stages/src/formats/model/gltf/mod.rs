//! glTF 2.0 (ISO/IEC 12113:2022): a JSON document with buffers within it or beside it, or both in one binary file
//! (GLB). Section numbers in the code are those of the specification, version 2.0.1.
//!
//! Read are the nodes of the default scene with their transforms, and of their meshes the positions and indices:
//! triangles, strips and fans, sparse accessors, strides, quantized positions. Not read are materials, cameras and
//! lights, which say nothing about the surface; skins, morph targets and animations, of which a note says so: a model is
//! taken as it rests. A file that requires an extension by which its geometry is stored otherwise is refused.

mod buffers;
mod json;
mod scene;

use self::buffers::Buffers;
use self::json::Document;
use super::{About, Beside, Builder, FileUnit, Stance, quoted};

/// Header of a GLB file and of a chunk in it, in bytes (4.4).
const HEADER: usize = 12;
const CHUNK_HEADER: usize = 8;

/// Reads a glTF file, text or binary.
pub(super) fn read(bytes: &[u8], builder: &mut Builder, beside: Beside<'_>) -> Result<About, String> {
    let container = Container::of(bytes)?;
    let document = Document::parse(container.json)?;
    let mut about = About { unit: Some(FileUnit::Metre), stance: Some(Stance::YUp), notes: Vec::new() };
    let buffers = Buffers::load(&document, container.binary, beside)?;
    scene::read(&document, &buffers, builder, &mut about)?;
    Ok(about)
}

/// The two parts of a file.
struct Container<'a> {
    json: &'a [u8],
    binary: Option<&'a [u8]>,
}

impl<'a> Container<'a> {
    fn of(bytes: &'a [u8]) -> Result<Self, String> {
        if !bytes.starts_with(b"glTF") {
            return Ok(Self { json: bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes), binary: None });
        }
        let cut_off = || format!("the GLB file is cut off after {} bytes; export or download it again", bytes.len());
        let word = |at: usize| -> Result<u32, String> {
            let word = bytes.get(at..).and_then(<[u8]>::first_chunk).ok_or_else(cut_off)?;
            Ok(u32::from_le_bytes(*word))
        };
        let version = word(4)?;
        if version != 2 {
            return Err(format!("the GLB file has version {version}, expected 2; export it as glTF 2.0"));
        }
        let length = word(8)? as usize;
        if length > bytes.len() {
            return Err(format!(
                "the GLB file is cut off: it says that it has {length} bytes, but has {}; export or download it again",
                bytes.len()
            ));
        }
        let mut chunks = Vec::new();
        let mut at = HEADER;
        // JSON first, then the binary part; what follows belongs to extensions (4.4.3).
        while at < length && chunks.len() < 2 {
            let (size, kind) = (word(at)? as usize, word(at + 4)?);
            let content = at + CHUNK_HEADER;
            let end = content.checked_add(size).filter(|&end| end <= length).ok_or_else(|| {
                format!("a part of the GLB file of {size} bytes does not fit into the file; export it again")
            })?;
            chunks.push((kind.to_le_bytes(), &bytes[content..end]));
            at = end;
        }
        match chunks[..] {
            [(kind, json), ref rest @ ..] if kind == *b"JSON" => {
                let binary = rest.first().filter(|(kind, _)| kind == b"BIN\0").map(|&(_, binary)| binary);
                Ok(Self { json, binary })
            }
            [(kind, _), ..] => {
                Err(format!("the GLB file begins with '{}', expected JSON; export it again", quoted(&kind)))
            }
            [] => Err(cut_off()),
        }
    }
}
