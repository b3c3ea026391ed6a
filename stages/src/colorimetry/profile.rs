//! ICC profiles (ISO 15076-1) of a printer: what it makes of a colour.
//!
//! A colour goes from sRGB to the printer's inks by the profile's table for the **relative colorimetric** intent, and back to
//! sRGB: a proof. That intent keeps what can be printed and takes the nearest on the rim of the gamut for what cannot; white
//! becomes the bare material's white. A profile without tables for it is used by those for the perceptual intent. The material's own tint is not in the proof: a process says it as `base`.

use std::fmt;
use std::sync::Arc;

use moxcms::{
    ColorProfile, DataColorSpace, Layout, LutWarehouse, ProfileClass, RenderingIntent, TransformF32Executor,
    TransformOptions,
};

use crate::Srgb;
use crate::memo::Key;

/// Largest profile in bytes. Those of printers with four inks have one to four million.
pub const LARGEST: u64 = 10 << 20;

/// A printer's profile that has been read.
pub struct Profile {
    inks: Inks,
    to_printer: Arc<TransformF32Executor>,
    to_srgb: Arc<TransformF32Executor>,
    key: Key,
}

/// What a printer is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Inks {
    /// Red, green and blue, which it makes inks of by itself.
    Rgb,
    /// Cyan, magenta, yellow and black.
    Cmyk,
}

impl fmt::Debug for Profile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Profile").field("inks", &self.inks).finish_non_exhaustive()
    }
}

impl Profile {
    /// Reads a profile.
    ///
    /// # Errors
    /// What keeps it from being one of a printer, as a message that completes "the profile …".
    pub fn read(bytes: &[u8]) -> Result<Self, String> {
        check_header(bytes)?;
        let mut profile = ColorProfile::new_from_slice(bytes)
            .map_err(|error| format!("is damaged: {}", plain(&error.to_string())))?;
        if profile.profile_class != ProfileClass::OutputDevice {
            return Err(format!("is for {}, not the output profile of a printer", class(profile.profile_class)));
        }
        let (inks, layout) = match profile.color_space {
            DataColorSpace::Rgb => (Inks::Rgb, Layout::Rgb),
            DataColorSpace::Cmyk => (Inks::Cmyk, Layout::Rgba),
            other => return Err(format!("has the colours {other:?}, not RGB or CMYK")),
        };
        check_tables(&profile, inks)?;
        // Where a profile has no table for the intent, that for the perceptual one does (ISO 15076-1, 8.10).
        for (wanted, instead) in [
            (&mut profile.lut_b_to_a_colorimetric, &profile.lut_b_to_a_perceptual),
            (&mut profile.lut_a_to_b_colorimetric, &profile.lut_a_to_b_perceptual),
        ] {
            if wanted.is_none() {
                wanted.clone_from(instead);
            }
        }
        let options = TransformOptions {
            rendering_intent: RenderingIntent::RelativeColorimetric,
            prefer_fixed_point: false,
            ..TransformOptions::default()
        };
        let screen = ColorProfile::new_srgb();
        let unusable = |error: moxcms::CmsError| format!("cannot be used: {}", plain(&error.to_string()));
        let to_printer = screen.create_transform_f32(Layout::Rgb, &profile, layout, options).map_err(unusable)?;
        let to_srgb = profile.create_transform_f32(layout, &screen, Layout::Rgb, options).map_err(unusable)?;
        let key = Key::of("profile").bytes(bytes).made();
        let profile = Self { inks, to_printer, to_srgb, key };
        profile.try_proofed(Srgb([0x80; 3])).ok_or("cannot be used: it gives no colour for a middle grey")?;
        Ok(profile)
    }

    /// The digest of the file.
    pub(crate) fn key(&self) -> Key {
        self.key
    }

    /// The colour that is printed in place of one.
    #[must_use]
    pub fn proofed(&self, colour: Srgb) -> Srgb {
        // What did for one colour does for all.
        self.try_proofed(colour).unwrap_or(colour)
    }

    fn try_proofed(&self, Srgb(colour): Srgb) -> Option<Srgb> {
        let (mut inks, mut seen) = ([0.0; 4], [0.0; 3]);
        let inks = match self.inks {
            Inks::Rgb => &mut inks[..3],
            Inks::Cmyk => &mut inks[..],
        };
        self.to_printer.transform(&colour.map(|level| f32::from(level) / 255.0), inks).ok()?;
        inks.iter_mut().for_each(|ink| *ink = ink.clamp(0.0, 1.0));
        self.to_srgb.transform(inks, &mut seen).ok()?;
        if seen.iter().any(|level| level.is_nan()) {
            return None;
        }
        Some(Srgb(seen.map(|level| (level.clamp(0.0, 1.0) * 255.0).round() as u8)))
    }
}

/// What the header promises (ISO 15076-1, 7.2), so that a file that is none, or is cut off, is told from one that is damaged.
fn check_header(bytes: &[u8]) -> Result<(), String> {
    if bytes.len() < 132 || &bytes[36..40] != b"acsp" {
        return Err("is no ICC profile: it has no such header".to_owned());
    }
    let promised = u32::from_be_bytes([bytes[0], bytes[1], bytes[2], bytes[3]]) as usize;
    if promised > bytes.len() {
        return Err(format!("is cut off: it promises {promised} bytes, but has {}", bytes.len()));
    }
    Ok(())
}

/// Every table that may be used has as many channels as the printer has and the connection space has.
fn check_tables(profile: &ColorProfile, inks: Inks) -> Result<(), String> {
    let printer = if inks == Inks::Rgb { 3 } else { 4 };
    let there = [&profile.lut_b_to_a_perceptual, &profile.lut_b_to_a_colorimetric, &profile.lut_b_to_a_saturation];
    let back = [&profile.lut_a_to_b_perceptual, &profile.lut_a_to_b_colorimetric, &profile.lut_a_to_b_saturation];
    let ways = [(there, (3, printer), "to inks"), (back, (printer, 3), "from inks")];
    for (tables, channels, way) in ways {
        let tables: Vec<&LutWarehouse> = tables.into_iter().flatten().collect();
        if tables.is_empty() && !profile.is_matrix_shaper() {
            return Err(format!("has no table {way}"));
        }
        for table in tables {
            let has = match table {
                LutWarehouse::Lut(table) => (table.num_input_channels, table.num_output_channels),
                LutWarehouse::Multidimensional(table) => (table.num_input_channels, table.num_output_channels),
            };
            if has != channels {
                return Err(format!(
                    "is damaged: a table {way} leads from {} channels to {}, not from {} to {}",
                    has.0, has.1, channels.0, channels.1
                ));
            }
        }
    }
    Ok(())
}

fn class(class: ProfileClass) -> &'static str {
    match class {
        ProfileClass::InputDevice => "a scanner or camera",
        ProfileClass::DisplayDevice => "a screen",
        ProfileClass::OutputDevice => "a printer",
        ProfileClass::DeviceLink => "a link between two devices",
        ProfileClass::ColorSpace => "a space of colours",
        ProfileClass::Abstract => "an effect",
        ProfileClass::Named => "named colours",
    }
}

/// The library's message as the middle of a sentence.
fn plain(message: &str) -> String {
    let mut letters = message.chars();
    letters.next().map_or_else(String::new, |first| first.to_lowercase().chain(letters).collect())
}

#[cfg(test)]
pub(crate) mod tests;
