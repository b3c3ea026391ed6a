//! The piece in the round: its GLB, packed into the page for the script that draws it, and the picture that stands where
//! nothing draws it.

use std::io::Write;

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::write::GzEncoder;

use crate::numbers;
use crate::pictures::Picture;
use crate::record::{File, Record};
use crate::script;
use crate::views::{self, Pictures};

/// The artefact that holds the piece.
const PIECE: &str = "piece.glb";

/// The most that the piece and the script which draws it may take of a page, in bytes: beyond that the turn, which needs no
/// graphics card, would lose its frames.
const LARGEST: usize = 2_500_000;

/// What the page shows in the round.
pub(crate) struct InTheRound {
    /// The picture that stands where nothing is drawn.
    pub(crate) still: Picture,
    /// The piece, as the base64 of the gzip of its GLB; nothing if it is too large for the page.
    pub(crate) packed: Option<String>,
    /// How large the file beside the page is, in words.
    pub(crate) size: String,
}

impl InTheRound {
    /// What the run has; nothing without a GLB or a picture.
    pub(crate) fn of(record: &Record, artefacts: Pictures<'_>) -> Option<Self> {
        let listed = |file: &&File| file.name == PIECE;
        record.stages.iter().flat_map(|stage| &stage.artefacts).find(listed)?;
        let glb = artefacts(PIECE)?;
        let still = views::corner(record, artefacts)?;
        Some(Self { still, packed: packed(&glb), size: numbers::bytes(glb.len() as u64) })
    }
}

/// A file as the page holds it, if there is room for it. The same file gives the same text: its gzip has no time and no name.
fn packed(file: &[u8]) -> Option<String> {
    // What it comes to is four thirds of what comes out of the compressor, which makes it no more than some hundred times less.
    if !file.starts_with(b"glTF") || file.len() > 100 * LARGEST {
        return None;
    }
    let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
    encoder.write_all(file).ok()?;
    let text = STANDARD.encode(encoder.finish().ok()?);
    (text.len() + script::IN_THE_ROUND.len() <= LARGEST).then_some(text)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::io::Read;

    use flate2::read::GzDecoder;

    use super::*;

    #[test]
    fn what_is_packed_comes_back_and_what_is_too_large_stays_out() {
        let small = b"glTF and what follows".repeat(100);
        let text = packed(&small).unwrap();
        let mut back = Vec::new();
        GzDecoder::new(STANDARD.decode(&text).unwrap().as_slice()).read_to_end(&mut back).unwrap();
        assert_eq!(back, small);
        assert_eq!(packed(&small), Some(text));
        assert_eq!(packed(b"<script>"), None);
        // Numbers that no compressor makes smaller (SplitMix64's increments, mixed).
        let noise = (0u64..400_000).flat_map(|n| (n.wrapping_mul(0x9e37_79b9_7f4a_7c15) ^ n << 29).to_le_bytes());
        let large: Vec<u8> = b"glTF".iter().copied().chain(noise).collect();
        assert_eq!(packed(&large), None);
    }
}
