//! The colour profile within a picture file (ISO 15076-1), applied: its pixels become sRGB.

use image::DynamicImage;
use moxcms::{ColorProfile, Layout, TransformExecutor, TransformOptions};

/// What became of the colour profile within a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Profile {
    /// There is none, it is that of sRGB, or the picture is grey: the pixels were taken as they are.
    None,
    /// The pixels were turned into sRGB by it.
    Applied,
    /// It cannot be read, or is not one for such pixels: they were taken for sRGB.
    Unread,
}

/// Turns the pixels into sRGB.
pub(super) fn apply(pixels: &mut DynamicImage, profile: &[u8]) -> Profile {
    let layout = match pixels {
        DynamicImage::ImageRgb8(_) | DynamicImage::ImageRgb16(_) => Layout::Rgb,
        DynamicImage::ImageRgba8(_) | DynamicImage::ImageRgba16(_) => Layout::Rgba,
        _ => return Profile::None,
    };
    let Ok(profile) = ColorProfile::new_from_slice(profile) else { return Profile::Unread };
    match is_srgb(&profile) {
        Some(true) => return Profile::None,
        Some(false) => {}
        None => return Profile::Unread,
    }
    let (srgb, options) = (ColorProfile::new_srgb(), TransformOptions::default());
    let width = pixels.width() as usize * layout.channels();
    let eight = || profile.create_transform_8bit(layout, &srgb, layout, options).ok();
    let sixteen = || profile.create_transform_16bit(layout, &srgb, layout, options).ok();
    let done = match pixels {
        DynamicImage::ImageRgb8(pixels) => eight().and_then(|by| turn(pixels, width, by.as_ref())),
        DynamicImage::ImageRgba8(pixels) => eight().and_then(|by| turn(pixels, width, by.as_ref())),
        DynamicImage::ImageRgb16(pixels) => sixteen().and_then(|by| turn(pixels, width, by.as_ref())),
        DynamicImage::ImageRgba16(pixels) => sixteen().and_then(|by| turn(pixels, width, by.as_ref())),
        _ => None,
    };
    done.map_or(Profile::Unread, |()| Profile::Applied)
}

fn turn<T: Copy + Default>(pixels: &mut [T], width: usize, by: &dyn TransformExecutor<T>) -> Option<()> {
    pixels.chunks_exact_mut(width.max(1)).try_for_each(|row| by.transform(&row.to_vec(), row).ok())
}

/// Whether the profile leaves sRGB as it is, to a step of eight bits: most do, and rounding would change those for nothing.
fn is_srgb(profile: &ColorProfile) -> Option<bool> {
    const STEPS: [u8; 6] = [0, 51, 102, 153, 204, 255];
    let from: Vec<u8> = STEPS
        .iter()
        .flat_map(|&r| STEPS.iter().flat_map(move |&g| STEPS.iter().flat_map(move |&b| [r, g, b])))
        .collect();
    let mut to = vec![0; from.len()];
    let (srgb, options) = (ColorProfile::new_srgb(), TransformOptions::default());
    let by = profile.create_transform_8bit(Layout::Rgb, &srgb, Layout::Rgb, options).ok()?;
    by.transform(&from, &mut to).ok()?;
    Some(from.iter().zip(&to).all(|(a, b)| a.abs_diff(*b) <= 1))
}
