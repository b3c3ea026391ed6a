//! Any bytes as an STL file: refused with one line, or read into a sound surface that survives being written and read.

#![no_main]

use libfuzzer_sys::fuzz_target;
use turnhue_stages::formats::stl;

fuzz_target!(|bytes: &[u8]| {
    match stl::read(bytes) {
        Ok(surface) => {
            assert!(surface.triangles().len() <= bytes.len() / 50, "no form takes fewer than 50 bytes a triangle");
            // Text may hold coordinates that the binary form cannot.
            let mut file = Vec::new();
            if stl::write(surface.points(), surface.triangles(), &mut file).is_ok() {
                let again = stl::read(&file).expect("what was written is read");
                assert_eq!(again.triangles().len(), surface.triangles().len());
            }
        }
        Err(message) => assert!(message.len() < 400 && !message.contains('\n'), "{message}"),
    }
});
