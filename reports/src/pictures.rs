//! Pictures that live in the page itself, as `data:` addresses.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// A picture in the page.
pub(crate) struct Picture {
    /// The whole picture as a `data:` address.
    pub(crate) address: String,
    /// Width in pixels.
    pub(crate) width: u32,
    /// Height in pixels.
    pub(crate) height: u32,
}

impl Picture {
    /// Takes a PNG or a JPEG into the page, told by its content; nothing if it is neither.
    pub(crate) fn of(bytes: &[u8]) -> Option<Self> {
        let (kind, [width, height]) = match png_size(bytes) {
            Some(size) => ("png", size),
            None => ("jpeg", jpeg_size(bytes)?),
        };
        Some(Self { address: format!("data:image/{kind};base64,{}", STANDARD.encode(bytes)), width, height })
    }

    /// Takes an SVG drawing into the page, by the size that it says in mm; nothing if it is no such drawing. As an image it runs
    /// no script and asks for nothing, whatever is in it (SVG Integration, 'secure static mode').
    pub(crate) fn of_drawing(bytes: &[u8]) -> Option<Self> {
        let svg = std::str::from_utf8(bytes).ok().filter(|svg| svg.len() <= LARGEST_DRAWING)?;
        let [width, height] = ["width", "height"].map(|name| svg_length(svg, name));
        Some(Self { address: svg_address(svg), width: width?, height: height? })
    }
}

/// The largest drawing that a page takes in, in bytes.
const LARGEST_DRAWING: usize = 2_000_000;

/// The length in mm that the first tag of a drawing says, in pixels of a screen (96 an inch).
fn svg_length(svg: &str, name: &str) -> Option<u32> {
    let tag = svg.strip_prefix("<svg ")?.split('>').next()?;
    let value = tag.split(&format!(" {name}=\"")).nth(1)?.split('"').next()?;
    let mm: f64 = value.strip_suffix("mm")?.parse().ok()?;
    (mm > 0.0 && mm < 10_000.0).then(|| (mm * 96.0 / 25.4).round() as u32)
}

/// Width and height of a PNG (third edition, 5.2 and 11.2.1): the signature, then the header.
fn png_size(bytes: &[u8]) -> Option<[u32; 2]> {
    let header = bytes.strip_prefix(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR")?;
    let (width, rest) = header.split_first_chunk()?;
    let (height, _) = rest.split_first_chunk()?;
    Some([u32::from_be_bytes(*width), u32::from_be_bytes(*height)])
}

/// Width and height of a JPEG (ITU-T T.81, B.1 and B.2.2): segments one after the other up to the frame header, which
/// has the height first.
fn jpeg_size(bytes: &[u8]) -> Option<[u32; 2]> {
    let mut rest = bytes.strip_prefix(b"\xff\xd8")?;
    loop {
        let &[0xff, marker, high, low, ref segment @ ..] = rest else { return None };
        match marker {
            // Fill bytes before a marker.
            0xff => rest = &rest[1..],
            // Frame headers, without the tables of Huffman and arithmetic codes and the extension between them.
            0xc0..=0xcf if !matches!(marker, 0xc4 | 0xc8 | 0xcc) => {
                let &[_precision, y1, y0, x1, x0, ..] = segment else { return None };
                let size = [u16::from_be_bytes([x1, x0]), u16::from_be_bytes([y1, y0])].map(u32::from);
                return (size[0] > 0 && size[1] > 0).then_some(size);
            }
            // Markers without a segment, and what follows the frame header, cannot come before it.
            0x00..=0x01 | 0xd0..=0xda => return None,
            _ => {
                let length = usize::from(u16::from_be_bytes([high, low]));
                rest = rest.get(2 + length.max(2)..)?;
            }
        }
    }
}

/// An SVG drawing as a `data:` address.
pub(crate) fn svg_address(svg: &str) -> String {
    format!("data:image/svg+xml;base64,{}", STANDARD.encode(svg))
}

/// Whether an artefact is a picture, under a name that cannot lead out of the run folder.
pub(crate) fn is_picture(name: &str) -> bool {
    (name.ends_with(".png") || name.ends_with(".jpg")) && leads_nowhere(name)
}

/// Whether a name is that of a file in the run folder itself.
pub(crate) fn leads_nowhere(name: &str) -> bool {
    let plain = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.');
    !name.starts_with('.') && name.bytes().all(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The segments of a JPEG up to its frame header: 640 × 480 pixels.
    const JPEG: &[u8] = b"\xff\xd8\xff\xe0\0\x04JF\xff\xff\xdb\0\x03q\xff\xc2\0\x08\x08\x01\xe0\x02\x80\x03";

    #[test]
    fn pictures_are_told_by_their_content() {
        let png = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x01\xe0\0\0\0\x10";
        for (bytes, size, kind) in [(&png[..], [480, 16], "png"), (JPEG, [640, 480], "jpeg")] {
            let picture = Picture::of(bytes).unwrap_or_else(|| panic!("this is a picture's beginning"));
            assert_eq!([picture.width, picture.height], size);
            assert!(picture.address.starts_with(&format!("data:image/{kind};base64,")));
        }
        assert!(Picture::of(&png[..20]).is_none());
        for nothing in [&b"<svg onload='x()'>"[..], b"", b"\xff\xd8", b"\xff\xd8\xff\xd9", b"RIFF\0\0\0\0WEBP"] {
            assert!(Picture::of(nothing).is_none(), "{nothing:?}");
        }
        for end in 0..JPEG.len() - 1 {
            assert!(Picture::of(&JPEG[..end]).is_none(), "{end}");
        }
    }

    #[test]
    fn a_drawing_has_the_size_that_it_says() {
        let drawing = |svg: &str| Picture::of_drawing(svg.as_bytes()).map(|picture| [picture.width, picture.height]);
        // 96 px are an inch (CSS Values 3, 6.2).
        let svg = "<svg xmlns=\"x\" width=\"25.4mm\" height=\"50.8mm\" viewBox=\"0 0 1 1\"></svg>";
        assert_eq!(drawing(svg), Some([96, 192]));
        for other in
            ["", "<svg width=\"1mm\"", "<svg  width=\"1px\" height=\"1px\">", "<p width=\"1mm\" height=\"1mm\">"]
        {
            assert_eq!(drawing(other), None, "{other}");
        }
    }

    #[test]
    fn no_name_leads_out_of_the_run_folder() {
        assert!(is_picture("repair-lost.png") && is_picture("turn-printed-071.jpg"));
        for name in ["../view.png", "/etc/view.png", "..png/x.png", ".png", "a\\b.png", "piece.3mf", "x.png\0", "é.png"]
        {
            assert!(!is_picture(name), "{name}");
        }
    }
}
