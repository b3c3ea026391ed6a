//! The ZIP file around the parts of a 3MF file, for parts that are compressed already (PKWARE APPNOTE 6.3.10; section
//! numbers are its).
//!
//! A library is not used here because none takes a part whose pieces were compressed apart from each other: the mesh is
//! the same for all colours of a piece, and is compressed once, on all threads.
//!
//! Guarantees: entries carry no time (the first day that the format can tell, 1 January 1980) and no system's traits but
//! that everybody may read them; the same parts give the same bytes.

use std::io;

use crc32fast::Hasher;
use flate2::{Compress, Compression, FlushCompress};

/// Of 9. On 200 000 triangles of a smooth form, level 3 takes a third of the time of level 6 and 3 % more bytes; level 2
/// saves a fifth of that time and takes 18 % more bytes.
const LEVEL: u32 = 3;

/// A stretch of text, compressed so that it ends on a whole byte and refers to nothing before itself: stretches may be set
/// behind each other.
#[derive(Clone, Debug, Default)]
pub(super) struct Packed {
    deflated: Vec<u8>,
    /// The text's CRC-32, with its length.
    crc: Hasher,
    bytes: u64,
}

/// Whether a stretch is followed by others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ends {
    /// By others.
    GoesOn,
    /// It is the part's last.
    Last,
}

impl Packed {
    /// Compresses a stretch of text.
    pub(super) fn of(text: &[u8], ends: Ends) -> Self {
        let mut crc = Hasher::new();
        crc.update(text);
        Self { deflated: deflate(text, ends), crc, bytes: text.len() as u64 }
    }

    /// Sets another stretch behind this one.
    pub(super) fn append(&mut self, next: &Self) {
        self.deflated.extend_from_slice(&next.deflated);
        self.crc.combine(&next.crc);
        self.bytes += next.bytes;
    }

    /// The bytes that it takes.
    pub(super) fn held(&self) -> usize {
        self.deflated.capacity() + size_of::<Self>()
    }
}

/// Deflates the text (RFC 1951). What goes on ends with an empty stored block, which fills the last byte (3.2.4).
fn deflate(text: &[u8], ends: Ends) -> Vec<u8> {
    let flush = match ends {
        Ends::GoesOn => FlushCompress::Sync,
        Ends::Last => FlushCompress::Finish,
    };
    let mut compressor = Compress::new(Compression::new(LEVEL), false);
    // More than stored blocks would take; so one call does.
    let mut deflated = Vec::with_capacity(text.len() + text.len() / 1000 + 1024);
    loop {
        let before = compressor.total_in() as usize;
        let called = compressor.compress_vec(&text[before..], &mut deflated, flush);
        called.expect("nothing fails but a wrong order of calls");
        if compressor.total_in() as usize == text.len() && deflated.len() < deflated.capacity() {
            break;
        }
        deflated.reserve(deflated.capacity());
    }
    deflated.shrink_to_fit();
    deflated
}

/// A part of the package: its name, and its text.
pub(super) struct Part<'a> {
    pub(super) name: &'a str,
    /// Stretches to be set behind each other, the last of which ends.
    pub(super) text: &'a [&'a Packed],
}

/// "Version needed to extract": 2.0, for deflate (4.4.3).
const VERSION: u16 = 20;
/// "Version made by": Unix, whose file modes [`MODE`] is of (4.4.2).
const MADE_BY: u16 = 3 << 8 | VERSION;
/// A plain file that everybody may read and its owner write.
const MODE: u32 = 0o100_644 << 16;
/// Compression method (4.4.5).
const DEFLATED: u16 = 8;
/// Midnight, and 1 January 1980 (4.4.6).
const TIME: u16 = 0;
const DATE: u16 = 1 << 5 | 1;

/// What both headers of an entry hold (4.3.7, 4.3.12).
struct Entry {
    crc: u32,
    deflated: u32,
    bytes: u32,
    name: u16,
    at: u32,
}

/// The package with these parts.
///
/// # Errors
/// If the package or one of its parts is larger than 4 GiB, which this form of ZIP cannot tell.
pub(super) fn package(parts: &[Part<'_>]) -> io::Result<Vec<u8>> {
    let mut file = Vec::with_capacity(parts.iter().flat_map(|part| part.text).map(|text| text.held() + 256).sum());
    let mut entries = Vec::with_capacity(parts.len());
    for part in parts {
        let mut crc = Hasher::new();
        part.text.iter().for_each(|text| crc.combine(&text.crc));
        let entry = Entry {
            crc: crc.finalize(),
            deflated: small(part.text.iter().map(|text| text.deflated.len() as u64).sum())?,
            bytes: small(part.text.iter().map(|text| text.bytes).sum())?,
            name: part.name.len() as u16,
            at: small(file.len() as u64)?,
        };
        file.extend_from_slice(b"PK\x03\x04");
        traits(&entry, &mut file);
        file.extend_from_slice(part.name.as_bytes());
        part.text.iter().for_each(|text| file.extend_from_slice(&text.deflated));
        entries.push(entry);
    }
    let directory = small(file.len() as u64)?;
    for (part, entry) in parts.iter().zip(&entries) {
        file.extend_from_slice(b"PK\x01\x02");
        file.extend_from_slice(&MADE_BY.to_le_bytes());
        traits(entry, &mut file);
        // No comment, on the first disk, of no kind.
        file.extend_from_slice(&[0; 6]);
        file.extend_from_slice(&MODE.to_le_bytes());
        file.extend_from_slice(&entry.at.to_le_bytes());
        file.extend_from_slice(part.name.as_bytes());
    }
    let size = small(file.len() as u64)? - directory;
    let count = (entries.len() as u16).to_le_bytes();
    file.extend_from_slice(b"PK\x05\x06\0\0\0\0");
    file.extend_from_slice(&count);
    file.extend_from_slice(&count);
    file.extend_from_slice(&size.to_le_bytes());
    file.extend_from_slice(&directory.to_le_bytes());
    file.extend_from_slice(&[0; 2]); // no comment
    Ok(file)
}

/// From "version needed" to "extra field length".
fn traits(entry: &Entry, file: &mut Vec<u8>) {
    const FLAGS: u16 = 0;
    for short in [VERSION, FLAGS, DEFLATED, TIME, DATE] {
        file.extend_from_slice(&short.to_le_bytes());
    }
    for long in [entry.crc, entry.deflated, entry.bytes] {
        file.extend_from_slice(&long.to_le_bytes());
    }
    file.extend_from_slice(&entry.name.to_le_bytes());
    file.extend_from_slice(&[0; 2]); // no extra field
}

/// A size or a place that 32 bits can tell; the greatest of them means that it stands elsewhere.
fn small(bytes: u64) -> io::Result<u32> {
    u32::try_from(bytes).ok().filter(|&bytes| bytes < u32::MAX).ok_or_else(|| {
        let message = "the file would hold more than 4 GiB of text; use larger cells".to_owned();
        io::Error::new(io::ErrorKind::InvalidInput, message)
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::io::{Cursor, Read};

    use proptest::prelude::*;

    use super::*;

    /// What the `zip` crate, which shares nothing with this, finds in the package; it checks every CRC-32.
    fn unpacked(package: &[u8]) -> Vec<(String, Vec<u8>)> {
        let mut archive = zip::ZipArchive::new(Cursor::new(package)).unwrap();
        (0..archive.len())
            .map(|at| {
                let mut file = archive.by_index(at).unwrap();
                assert_eq!(file.last_modified(), Some(zip::DateTime::default()));
                assert_eq!(file.unix_mode(), Some(0o100_644));
                let mut text = Vec::new();
                file.read_to_end(&mut text).unwrap();
                (file.name().unwrap().into_owned(), text)
            })
            .collect()
    }

    proptest! {
        #[test]
        fn parts_of_any_stretches_read_back(
            parts in prop::collection::vec(prop::collection::vec(prop::collection::vec(any::<u8>(), 0..3000), 1..5), 1..4)
        ) {
            let packed: Vec<Vec<Packed>> = parts.iter().map(|stretches| {
                let last = stretches.len() - 1;
                let ends = |at| if at == last { Ends::Last } else { Ends::GoesOn };
                stretches.iter().enumerate().map(|(at, text)| Packed::of(text, ends(at))).collect()
            }).collect();
            let names: Vec<String> = (0..parts.len()).map(|at| format!("part {at}")).collect();
            let texts: Vec<Vec<&Packed>> = packed.iter().map(|stretches| stretches.iter().collect()).collect();
            let list: Vec<Part<'_>> = names.iter().zip(&texts).map(|(name, text)| Part { name, text }).collect();
            let package = package(&list).unwrap();
            let expected: Vec<(String, Vec<u8>)> = names.iter().cloned().zip(parts.iter().map(|p| p.concat())).collect();
            prop_assert_eq!(unpacked(&package), expected);
        }
    }

    #[test]
    fn stretches_can_be_joined_before_they_are_packed() {
        let long: Vec<u8> = (0..400_000u32).flat_map(|n| (n / 7 % 251).to_le_bytes()).collect();
        let (first, last) = long.split_at(123_457);
        let mut joined = Packed::of(first, Ends::GoesOn);
        joined.append(&Packed::of(last, Ends::Last));
        let package = package(&[Part { name: "a", text: &[&joined] }]).unwrap();
        assert_eq!(unpacked(&package), [("a".to_owned(), long)]);
    }

    #[test]
    fn what_32_bits_cannot_tell_is_refused() {
        assert_eq!(small(u64::from(u32::MAX) - 1).unwrap(), u32::MAX - 1);
        for bytes in [u64::from(u32::MAX), 1 << 32, u64::MAX] {
            assert!(small(bytes).unwrap_err().to_string().contains("larger cells"));
        }
    }
}
