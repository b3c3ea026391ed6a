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
    /// Takes a PNG into the page; nothing if it is not one.
    pub(crate) fn png(bytes: &[u8]) -> Option<Self> {
        // PNG (third edition), 5.2 and 11.2.1: the signature, then the header with width and height.
        let header = bytes.strip_prefix(b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR")?;
        let (width, rest) = header.split_first_chunk()?;
        let (height, _) = rest.split_first_chunk()?;
        Some(Self {
            address: format!("data:image/png;base64,{}", STANDARD.encode(bytes)),
            width: u32::from_be_bytes(*width),
            height: u32::from_be_bytes(*height),
        })
    }
}

/// An SVG drawing as a `data:` address.
pub(crate) fn svg_address(svg: &str) -> String {
    format!("data:image/svg+xml;base64,{}", STANDARD.encode(svg))
}

/// Whether an artefact is a picture, under a name that cannot lead out of the run folder.
pub(crate) fn is_picture(name: &str) -> bool {
    let plain = |b: u8| b.is_ascii_alphanumeric() || matches!(b, b'-' | b'_' | b'.');
    name.ends_with(".png") && !name.starts_with('.') && name.bytes().all(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_png_is_taken_in() {
        let png = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\x01\xe0\0\0\0\x10";
        let picture = Picture::png(png).unwrap_or_else(|| panic!("this is a PNG's beginning"));
        assert_eq!((picture.width, picture.height), (480, 16));
        assert!(Picture::png(&png[..20]).is_none());
        assert!(Picture::png(b"<svg onload='x()'>").is_none());
    }

    #[test]
    fn no_name_leads_out_of_the_run_folder() {
        assert!(is_picture("repair-lost.png"));
        for name in ["../view.png", "/etc/view.png", "..png/x.png", ".png", "a\\b.png", "piece.3mf", "x.png\0", "é.png"]
        {
            assert!(!is_picture(name), "{name}");
        }
    }
}
