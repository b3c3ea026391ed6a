//! Any bytes as an ICC profile, and as what follows a sound header: refused with one line, or a profile that gives a colour for
//! every colour.

#![no_main]

use libfuzzer_sys::fuzz_target;
use turnhue_stages::Srgb;
use turnhue_stages::colorimetry::profile::Profile;

fuzz_target!(|bytes: &[u8]| {
    check(bytes);
    for inks in [b"RGB ", b"CMYK"] {
        check(&headed(inks, bytes));
    }
});

/// A header that passes, so that what follows is read at all.
fn headed(inks: &[u8; 4], tags: &[u8]) -> Vec<u8> {
    let mut file = vec![0; 128];
    file[8] = 2;
    file[12..16].copy_from_slice(b"prtr");
    file[16..20].copy_from_slice(inks);
    file[20..24].copy_from_slice(b"Lab ");
    file[24..30].copy_from_slice(&[7, 235, 0, 3, 0, 1]);
    file[36..40].copy_from_slice(b"acsp");
    file[68..80].copy_from_slice(&[0, 0, 0xf6, 0xd6, 0, 1, 0, 0, 0, 0, 0xd3, 0x2d]);
    file.extend(tags);
    let size = u32::try_from(file.len()).unwrap_or(u32::MAX).to_be_bytes();
    file[..4].copy_from_slice(&size);
    file
}

fn check(bytes: &[u8]) {
    match Profile::read(bytes) {
        Ok(profile) => {
            for colour in [[0; 3], [255; 3], [255, 0, 0], [20, 200, 90]] {
                let _ = profile.proofed(Srgb(colour));
            }
        }
        Err(message) => assert!(!message.is_empty() && message.len() < 300 && !message.contains('\n'), "{message}"),
    }
}
