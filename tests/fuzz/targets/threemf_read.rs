//! Any bytes as a 3MF file, and as the model part of a sound one, where no checksum keeps them from the XML reader:
//! refused with one message, or read into a mesh that keeps what `Model` promises and stays within the limits. A memo that
//! knows what was read changes nothing.

#![no_main]

mod package;

use std::io::Cursor;

use libfuzzer_sys::fuzz_target;
use turnhue_stages::formats::threemf::read::{Limits, read, read_recalling};
use turnhue_stages::memo::{Memo, Recall};

/// Tight, so that a file that swells meets them.
const LIMITS: Limits = Limits { part_bytes: 1 << 18, triangles: 1000 };

fuzz_target!(|bytes: &[u8]| {
    check(bytes);
    check(&package::of(bytes));
});

fn check(file: &[u8]) {
    let (memo, fresh) = (Memo::new(1 << 20), read(Cursor::new(file), LIMITS));
    for _ in 0..2 {
        assert_eq!(read_recalling(Cursor::new(file), LIMITS, Recall::from(&memo)), fresh);
    }
    match fresh {
        Ok(model) => {
            assert!(model.triangles.len() as u64 <= LIMITS.triangles);
            assert!(model.points.len() as u64 <= 3 * LIMITS.triangles);
            assert_eq!(model.colours.len(), model.triangles.len(), "a colour, or none, for each triangle");
            assert!(model.points.iter().all(|point| point.is_finite()));
            assert!(model.triangles.iter().flatten().all(|&corner| (corner as usize) < model.points.len()));
        }
        Err(message) => assert!(!message.is_empty() && message.len() < 900 && !message.contains('\n'), "{message}"),
    }
}
