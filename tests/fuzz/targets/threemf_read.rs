//! Any bytes as a 3MF file: refused with one line, or read into a mesh whose triangles name points that exist.

#![no_main]

use std::io::Cursor;

use libfuzzer_sys::fuzz_target;
use turnhue_stages::formats::threemf::read::{Limits, read};

const LIMITS: Limits = Limits { part_bytes: 1 << 20, triangles: 10_000 };

fuzz_target!(|bytes: &[u8]| {
    match read(Cursor::new(bytes), LIMITS) {
        Ok(model) => {
            assert!(model.triangles.len() as u64 <= LIMITS.triangles);
            assert_eq!(model.colours.len(), model.triangles.len());
            assert!(model.triangles.iter().flatten().all(|&point| (point as usize) < model.points.len()));
            assert!(model.points.iter().all(|point| point.is_finite()));
        }
        Err(message) => assert!(!message.is_empty() && !message.contains('\n'), "{message}"),
    }
});
