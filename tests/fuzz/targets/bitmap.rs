//! Any bytes as a picture, read as the stage reads it but for a lower limit on pixels: taken whole, or refused with a
//! message and what to do.

#![no_main]

use libfuzzer_sys::fuzz_target;
use turnhue_stages::formats::bitmap;

/// Half a million: so many take a few megabytes, however few bytes promise them.
const MOST_PIXELS: u64 = 500_000;

fuzz_target!(|bytes: &[u8]| {
    match bitmap::read(bytes, MOST_PIXELS) {
        Err([what, remedy]) => assert!(!what.is_empty() && !remedy.is_empty()),
        Ok(picture) => {
            let [width, height] = picture.size();
            assert!(width > 0 && height > 0 && (width * height) as u64 <= MOST_PIXELS);
            let mut row = Vec::new();
            for y in 0..height {
                picture.row(y, [0.5; 3], &mut row);
                assert!(row.len() == width && row.iter().flatten().all(|light| (0.0..=1.0).contains(light)));
            }
        }
    }
});
