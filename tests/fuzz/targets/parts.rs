//! Any bytes as each part of a piece that has the parts before it: refused with a reason, or a part that has these bytes and
//! no others.

#![no_main]

use libfuzzer_sys::fuzz_target;
use turnhue_stages::workpiece::{FORM, Part, Workpiece};

const LETTERS: [(Part, u8); 6] = [
    (Part::Surface, b'S'),
    (Part::Cells, b'C'),
    (Part::Void, b'V'),
    (Part::Paint, b'P'),
    (Part::Division, b'D'),
    (Part::Mounts, b'M'),
];

fuzz_target!(|bytes: &[u8]| {
    // The first bytes as cells, on which a void and paint can lie.
    let (cells, rest) = bytes.split_at(bytes.len().min(60));
    let under = read(Workpiece::default(), Part::Cells, b'C', cells).unwrap_or_default();
    for (part, letter) in LETTERS {
        for bytes in [bytes, rest] {
            read(under.clone(), part, letter, bytes);
        }
        // As it was found, head and all.
        if let Err(reason) = Workpiece::default().with_bytes(part, bytes) {
            assert!(!reason.to_string().is_empty());
        }
    }
});

fn read(under: Workpiece, part: Part, letter: u8, bytes: &[u8]) -> Option<Workpiece> {
    let bytes = [&FORM.to_le_bytes()[..], &[letter, 0], bytes].concat();
    let piece = under.with_bytes(part, &bytes).ok()?;
    assert_eq!(piece.to_bytes(part), Some(bytes));
    Some(piece)
}
