#![allow(clippy::unwrap_used)]

use image::codecs::jpeg::JpegEncoder;
use image::codecs::png::PngEncoder;
use image::{ExtendedColorType, ImageBuffer, ImageEncoder, Luma, LumaA, Rgb, Rgba};
use moxcms::ColorProfile;

use super::*;

fn coded(pixels: impl Into<DynamicImage>, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    pixels.into().write_to(&mut bytes, format).unwrap();
    bytes.into_inner()
}

fn rows(bytes: &[u8]) -> Vec<Vec<[f64; 3]>> {
    let bitmap = read(bytes, 1 << 20).unwrap();
    let mut row = Vec::new();
    (0..bitmap.size()[1])
        .map(|y| {
            bitmap.row(y, [1.0; 3], &mut row);
            row.clone()
        })
        .collect()
}

/// What is wrong with a file, and what to do, in one text.
fn refusal(bytes: &[u8]) -> String {
    read(bytes, 10_000).unwrap_err().join("; ")
}

fn shows(text: &str, parts: &[&str]) {
    parts.iter().for_each(|part| assert!(text.contains(part), "'{part}' is not in: {text}"));
}

/// Four different corners: red, green over blue, white.
fn corners() -> image::RgbImage {
    let colours = [[255, 0, 0], [0, 255, 0], [0, 0, 255], [255; 3]];
    ImageBuffer::from_fn(2, 2, |x, y| Rgb(colours[(2 * y + x) as usize]))
}

const RED: [f64; 3] = [1.0, 0.0, 0.0];
const GREEN: [f64; 3] = [0.0, 1.0, 0.0];
const BLUE: [f64; 3] = [0.0, 0.0, 1.0];
const WHITE: [f64; 3] = [1.0; 3];

#[test]
fn every_depth_and_kind_of_pixel_gives_its_light() {
    // IEC 61966-2-1: code 188 of 255 is the light 0.5029, which is code 48316 of 65535.
    let half = ((188.0_f64 / 255.0 + 0.055) / 1.055).powf(2.4);
    let close = |bytes: &[u8], expected: [f64; 3]| {
        let found = rows(bytes)[0][0];
        let near = found.iter().zip(expected).all(|(a, b)| (a - b).abs() < 1e-4);
        assert!(near, "{found:?} instead of {expected:?}");
    };
    for format in [ImageFormat::Png, ImageFormat::WebP, ImageFormat::Jpeg] {
        close(&coded(ImageBuffer::from_pixel(8, 8, Rgb([188_u8; 3])), format), [half; 3]);
    }
    close(&coded(ImageBuffer::from_pixel(1, 1, Luma([188_u8])), ImageFormat::Png), [half; 3]);
    close(&coded(ImageBuffer::from_pixel(1, 1, Luma([48316_u16])), ImageFormat::Png), [half; 3]);
    close(&coded(ImageBuffer::from_pixel(1, 1, Rgb([65535_u16, 48316, 0])), ImageFormat::Png), [1.0, half, 0.0]);
    // Black, half there, over white.
    close(&coded(ImageBuffer::from_pixel(1, 1, Rgba([0, 0, 0, 51_u8])), ImageFormat::Png), [0.8; 3]);
    close(&coded(ImageBuffer::from_pixel(1, 1, LumaA([0, 13107_u16])), ImageFormat::Png), [0.8; 3]);
    close(&coded(ImageBuffer::from_pixel(1, 1, LumaA([0, 0_u8])), ImageFormat::Png), [1.0; 3]);
}

#[test]
fn the_content_counts_and_the_camera_says_where_up_is() {
    assert_eq!(rows(&coded(corners(), ImageFormat::Png)), [[RED, GREEN], [BLUE, WHITE]]);
    assert_eq!(rows(&coded(corners(), ImageFormat::WebP)), [[RED, GREEN], [BLUE, WHITE]]);
    // EXIF 2.3, tag 274: 6 means that the first row is the right side, 3 that it is the bottom.
    for (orientation, expected) in [
        (1, [[RED, GREEN], [BLUE, WHITE]]),
        (3, [[WHITE, BLUE], [GREEN, RED]]),
        (6, [[BLUE, RED], [WHITE, GREEN]]),
        (8, [[GREEN, WHITE], [RED, BLUE]]),
    ] {
        let mut exif = b"II*\0\x08\0\0\0\x01\0\x12\x01\x03\0\x01\0\0\0".to_vec();
        exif.extend([orientation, 0, 0, 0, 0, 0, 0, 0]);
        let mut bytes = Vec::new();
        let mut encoder = PngEncoder::new(&mut bytes);
        encoder.set_exif_metadata(exif).unwrap();
        encoder.write_image(corners().as_raw(), 2, 2, ExtendedColorType::Rgb8).unwrap();
        assert_eq!(rows(&bytes), expected, "{orientation}");
    }
}

#[test]
fn a_profile_is_applied() {
    let png = |profile: Option<Vec<u8>>| {
        let mut bytes = Vec::new();
        let mut encoder = PngEncoder::new(&mut bytes);
        profile.into_iter().for_each(|profile| encoder.set_icc_profile(profile).unwrap());
        encoder.write_image(&[200, 100, 50], 1, 1, ExtendedColorType::Rgb8).unwrap();
        bytes
    };
    let plain = rows(&png(None));
    let srgb = png(Some(ColorProfile::new_srgb().encode().unwrap()));
    assert_eq!((rows(&srgb), read(&srgb, 9).unwrap().profile()), (plain.clone(), Profile::None));
    // SMPTE EG 432-1 primaries under D65 to those of BT.709, by their matrices: (200, 100, 50) becomes (215, 93, 31).
    let wide = png(Some(ColorProfile::new_display_p3().encode().unwrap()));
    let found = crate::colorimetry::srgb(rows(&wide)[0][0]);
    let near = found.0.iter().zip([215, 93, 31_u8]).all(|(a, b)| a.abs_diff(b) <= 1);
    assert!(near && read(&wide, 9).unwrap().profile() == Profile::Applied, "{found}");
    let broken = png(Some(b"no profile".to_vec()));
    assert_eq!((rows(&broken), read(&broken, 9).unwrap().profile()), (plain, Profile::Unread));
}

#[test]
fn enormous_pictures_are_refused_before_their_pixels_are_made() {
    // A header that promises 4 · 10⁹ pixels, and nothing behind it.
    let mut bytes = coded(corners(), ImageFormat::Png);
    bytes[16..24].copy_from_slice(&[0, 0, 0xf0, 0, 0, 1, 0, 0]);
    let crc = crc(&bytes[12..29]);
    bytes[29..33].copy_from_slice(&crc.to_be_bytes());
    shows(&refusal(&bytes), &["61440 × 65536 pixels", "make it smaller"]);
    let wide = coded(ImageBuffer::from_pixel(101, 100, Luma([0_u8])), ImageFormat::Jpeg);
    shows(&refusal(&wide), &["101 × 100 pixels"]);
    // In 16 bits half as many.
    let deep = coded(ImageBuffer::from_pixel(100, 100, Rgb([0_u16; 3])), ImageFormat::Png);
    shows(&refusal(&deep), &["half of that in 16 bits"]);
    assert!(read(&coded(ImageBuffer::from_pixel(100, 100, Rgb([0_u8; 3])), ImageFormat::Png), 10_000).is_ok());
}

/// ISO/IEC 15948, annex D.
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(!0, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| if crc & 1 == 1 { 0xedb8_8320 ^ (crc >> 1) } else { crc >> 1 })
    })
}

#[test]
fn what_is_no_picture_says_what_it_is() {
    shows(&refusal(b""), &["is empty", "PNG, JPEG or WebP"]);
    shows(&refusal(b"GIF89a and more"), &["Gif", "save it as PNG"]);
    shows(&refusal(b"BM and more"), &["Bmp"]);
    shows(&refusal(b"<svg xmlns='http://www.w3.org/2000/svg'/>"), &["is not a picture"]);
    shows(&refusal(b"\x89PNG\r\n\x1a\n"), &["is broken"]);
    let mut none = coded(corners(), ImageFormat::Png);
    none[16..24].fill(0);
    let crc = crc(&none[12..29]);
    none[29..33].copy_from_slice(&crc.to_be_bytes());
    shows(&refusal(&none), &[""]);
}

#[test]
fn a_picture_that_moves_is_refused() {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, 1, 1);
    encoder.set_animated(2, 0).unwrap();
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&[0]).unwrap();
    writer.write_image_data(&[255]).unwrap();
    writer.finish().unwrap();
    shows(&refusal(&bytes), &["moves", "one still picture"]);
}

#[test]
fn a_picture_cut_short_anywhere_is_refused() {
    let noise =
        ImageBuffer::from_fn(40, 40, |x, y| Rgb([(x * 37 % 256) as u8, (y * 91 % 256) as u8, (x * y % 251) as u8]));
    for format in [ImageFormat::Png, ImageFormat::Jpeg, ImageFormat::WebP] {
        let bytes = coded(noise.clone(), format);
        assert!(read(&bytes, 10_000).is_ok(), "{format:?}");
        // What may be missing at the very end: the end mark of PNG is 12 bytes, and the checksum before it 4.
        let spare = if format == ImageFormat::Png { 20 } else { 3 };
        for cut in (0..bytes.len() - spare).step_by(7) {
            assert!(read(&bytes[..cut], 10_000).is_err(), "{format:?} cut to {cut} of {}", bytes.len());
        }
    }
}

#[test]
fn the_inks_of_a_press_are_refused() {
    // A frame of four components (ITU-T T.81, B.2.2), as CMYK has.
    let mut bytes = vec![0xff, 0xd8, 0xff, 0xc0, 0, 20, 8, 0, 1, 0, 1, 4];
    bytes.extend([1, 0x11, 0, 2, 0x11, 0, 3, 0x11, 0, 4, 0x11, 0, 0xff, 0xd9]);
    shows(&refusal(&bytes), &["CMYK", "save it as RGB"]);
    let mut grey = Vec::new();
    JpegEncoder::new(&mut grey).write_image(&[128; 64], 8, 8, ExtendedColorType::L8).unwrap();
    assert!(read(&grey, 64).is_ok());
}

proptest::proptest! {
    #[test]
    fn spoilt_files_never_panic(at in 0..300_usize, value: u8, format in 0..3_usize) {
        let pixels = ImageBuffer::from_fn(12, 9, |x, y| Rgba([x as u8 * 20, y as u8 * 25, 7, 255 - x as u8]));
        let (pixels, format) = match format {
            0 => (DynamicImage::from(pixels), ImageFormat::Png),
            1 => (DynamicImage::from(DynamicImage::from(pixels).into_rgb8()), ImageFormat::Jpeg),
            _ => (DynamicImage::from(pixels), ImageFormat::WebP),
        };
        let mut bytes = coded(pixels, format);
        let at = at % bytes.len();
        bytes[at] = value;
        if let Ok(picture) = read(&bytes, 10_000) {
            let mut row = Vec::new();
            for y in 0..picture.size()[1] {
                picture.row(y, [0.5; 3], &mut row);
                proptest::prop_assert!(row.iter().flatten().all(|light| (0.0..=1.0).contains(light)));
            }
        }
    }
}
