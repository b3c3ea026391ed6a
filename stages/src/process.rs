//! What a printing process can hold. A process file is data that the user edits: each figure stands beside its basis (a
//! source, or the words "common practice" or "invented for the demo").

use std::fmt;
use std::sync::Arc;

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::colorimetry::gamut::{Hull, Printable};
use crate::colorimetry::lab;
use crate::colorimetry::profile::Profile;
use crate::memo::Key;
use crate::stage::Misfit;
use crate::{Length, Srgb};

/// A figure with what it rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound(deserialize = "T: Deserialize<'de>"))]
pub struct Figure<T> {
    /// The figure.
    pub value: T,
    /// The least and the most that it may be, where that is known, the value between them: what is predicted is told with what
    /// this makes of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub range: Option<[T; 2]>,
    /// Its source, or "common practice", or "invented for the demo".
    pub basis: String,
}

/// The process families of ISO/ASTM 52900:2021 that print in full colour or carry a single-colour print.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Family {
    /// BJT: a liquid bonding agent is selectively deposited to join powder.
    BinderJetting,
    /// MJT: droplets of feedstock are selectively deposited.
    MaterialJetting,
    /// PBF: thermal energy selectively fuses regions of a powder bed.
    PowderBedFusion,
    /// MEX: material is selectively dispensed through a nozzle.
    MaterialExtrusion,
    /// VPP: liquid photopolymer in a vat is selectively cured by light.
    VatPhotopolymerization,
}

impl Family {
    /// Whether the part comes out of a bed of loose powder, which has to leave every cavity.
    #[must_use]
    pub const fn leaves_powder(self) -> bool {
        matches!(self, Self::BinderJetting | Self::PowderBedFusion)
    }

    /// The name in ISO/ASTM 52900 with its abbreviation.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::BinderJetting => "binder jetting (BJT)",
            Self::MaterialJetting => "material jetting (MJT)",
            Self::PowderBedFusion => "powder bed fusion (PBF)",
            Self::MaterialExtrusion => "material extrusion (MEX)",
            Self::VatPhotopolymerization => "vat photopolymerization (VPP)",
        }
    }
}

/// What a printing process can hold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Process {
    /// What the process is called in the summary.
    pub name: String,
    /// Its family by ISO/ASTM 52900.
    pub family: Family,
    /// Largest piece along x, y and z.
    pub build_volume: Figure<[Length; 3]>,
    /// Layer thickness.
    pub layer: Figure<Length>,
    /// Thinnest wall that survives printing and cleaning.
    pub minimum_wall: Figure<Length>,
    /// Smallest detail that is held.
    pub detail: Figure<Length>,
    /// Narrowest gap that stays open, and from which loose powder still leaves.
    pub gap: Figure<Length>,
    /// Smallest opening through which a cavity can be emptied.
    pub opening: Figure<Length>,
    /// How far colour runs along the surface: standard deviation of a Gaussian; at most 50 mm.
    pub bleed: Figure<Length>,
    /// Radius to which sharp edges are rounded; at most 50 mm.
    pub edge_radius: Figure<Length>,
    /// Colour of the bare material, on which ink is laid: not darker than L* = 20, where no ink would show. White if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base: Option<Figure<Srgb>>,
    /// Measured colours of solid printed patches; what lies in their convex hull in CIELAB can be printed. At least four that
    /// are no plane: white, black and the strongest colours. Left out, every colour is taken to be printable.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gamut: Option<Figure<Vec<Srgb>>>,
    /// An ICC profile of the process (ISO 15076-1): the name of a file beside this one, an output profile in RGB or CMYK. It
    /// says what is printable in place of `gamut`, by the relative colorimetric intent.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub profile: Option<Figure<ProfileFile>>,
    /// Gap on each side at which two printed parts slide into each other.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearance: Option<Figure<Length>>,
    /// Deviation of a printed size from the ordered one, either way.
    pub tolerance: Figure<Length>,
    /// Density of the finished material in g/cm³.
    pub density: Figure<f64>,
    /// Bending strength of the finished material in MPa. Left out, nothing is said about what breaks.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strength: Option<Figure<f64>>,
    /// Most triangles that a file may hold.
    pub most_triangles: Figure<u64>,
    /// Largest file in bytes.
    pub most_bytes: Figure<u64>,
}

/// The name of an ICC profile's file, relative to the process file; and the profile, once the file has been read. Only the name
/// is written, compared and read back.
#[derive(Clone)]
pub struct ProfileFile {
    name: String,
    profile: Option<Arc<Profile>>,
}

impl ProfileFile {
    /// A file that has not been read.
    #[must_use]
    pub fn named(name: impl Into<String>) -> Self {
        Self { name: name.into(), profile: None }
    }

    /// The file's name, as it is written.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Takes what the file holds.
    ///
    /// # Errors
    /// As [`Profile::read`].
    pub fn take(&mut self, bytes: &[u8]) -> Result<(), String> {
        self.profile = Some(Arc::new(Profile::read(bytes)?));
        Ok(())
    }
}

impl fmt::Debug for ProfileFile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("ProfileFile").field("name", &self.name).field("read", &self.profile.is_some()).finish()
    }
}

impl PartialEq for ProfileFile {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Serialize for ProfileFile {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.name)
    }
}

impl<'de> Deserialize<'de> for ProfileFile {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        String::deserialize(deserializer).map(Self::named)
    }
}

impl JsonSchema for ProfileFile {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "ProfileFile".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "description": "The name of an ICC profile's file, relative to the process file",
            "type": "string"
        })
    }
}

/// No length of a process is longer: 1 m, more than parts are wide that a printer makes in one piece.
const LONGEST_MM: f64 = 1000.0;
/// Colour that runs farther, edges rounder, or parts looser than this hold no piece that anybody orders: 50 mm.
const ABSURD_MM: f64 = 50.0;
/// A build volume is at most so long: 100 m.
const LONGEST_VOLUME_MM: f64 = 100_000.0;
/// Ink laid on a base of a lower L* does not show: the darkest that can be told from black by far.
const DARKEST_BASE: f64 = 20.0;

impl Process {
    /// The colour of the bare material: white where the process does not say.
    #[must_use]
    pub fn bare(&self) -> Srgb {
        self.base.as_ref().map_or(Srgb([0xff; 3]), |base| base.value)
    }

    /// Which colours the process can print, by its profile if it has been read, else by its gamut. Where neither says so, or the
    /// gamut makes no sense, every colour.
    #[must_use]
    pub fn printable(&self) -> Printable {
        if let Some(profile) = self.profile.as_ref().and_then(|figure| figure.value.profile.as_ref()) {
            return Printable::Profile(Arc::clone(profile));
        }
        let hull = self.gamut.as_ref().and_then(|figure| Hull::of(&figure.value).ok());
        hull.map_or(Printable::Every, Printable::Hull)
    }

    /// The digest of what [`Process::printable`] hangs on.
    pub(crate) fn printable_key(&self) -> Key {
        let key = Key::of("printable");
        if let Some(profile) = self.profile.as_ref().and_then(|figure| figure.value.profile.as_ref()) {
            return key.whole(1).key(profile.key()).made();
        }
        let patches = self.gamut.as_ref().map_or(&[][..], |figure| &figure.value);
        key.whole(0).list(patches.iter().map(|patch| patch.0)).made()
    }

    /// Checks that every figure makes sense: that it is finite and within bounds, and that its range, where it has one, runs
    /// from the least to the most and holds it.
    ///
    /// # Errors
    /// For the first that does not, the path of what is wrong, such as `bleed.range`, with a message and what to do.
    pub fn check(&self) -> Result<(), Misfit> {
        for (field, figure) in [
            ("layer", &self.layer),
            ("minimum_wall", &self.minimum_wall),
            ("detail", &self.detail),
            ("gap", &self.gap),
            ("opening", &self.opening),
        ] {
            check_figure(field, figure, |length| length_within(length, true, LONGEST_MM))?;
        }
        for (field, figure) in [
            ("bleed", Some(&self.bleed)),
            ("edge_radius", Some(&self.edge_radius)),
            ("tolerance", Some(&self.tolerance)),
            ("clearance", self.clearance.as_ref()),
        ] {
            if let Some(figure) = figure {
                check_figure(field, figure, |length| length_within(length, false, ABSURD_MM))?;
            }
        }
        self.check_volume()?;
        // Between a light foam and the densest element, osmium at 22.6 g/cm³.
        check_figure("density", &self.density, |density| number_within(*density, 0.01, 23.0, "g/cm³"))?;
        // Between a crumbling powder cake and the hardest ceramics.
        if let Some(strength) = &self.strength {
            check_figure("strength", strength, |strength| number_within(*strength, 0.01, 2000.0, "MPa"))?;
        }
        for (field, figure) in [("most_triangles", &self.most_triangles), ("most_bytes", &self.most_bytes)] {
            check_figure(field, figure, |&limit| {
                if limit == 0 { Err("is a limit on the file and must be above 0, not 0".to_owned()) } else { Ok(()) }
            })?;
        }
        self.check_colours()
    }

    fn check_volume(&self) -> Result<(), Misfit> {
        const NAME: &str = "build_volume";
        let sides = |sides: &[Length; 3]| {
            let wrong = sides.iter().find_map(|side| length_within(side, true, LONGEST_VOLUME_MM).err());
            wrong.map_or(Ok(()), |_| {
                Err(format!("needs three lengths above 0 mm and of at most {} m", LONGEST_VOLUME_MM / 1000.0))
            })
        };
        check_value(NAME, &self.build_volume.value, sides)?;
        let Some([least, most]) = self.build_volume.range else { return Ok(()) };
        for axis in 0..3 {
            let of = |sides: [Length; 3]| sides[axis];
            let figure =
                Figure { value: of(self.build_volume.value), range: Some([of(least), of(most)]), basis: String::new() };
            check_figure(NAME, &figure, |length| length_within(length, true, LONGEST_VOLUME_MM))?;
        }
        Ok(())
    }

    fn check_colours(&self) -> Result<(), Misfit> {
        if let Some(base) = &self.base {
            refuse_range("base", base, "a colour")?;
            check_value("base", &base.value, |&colour| {
                let lightness = lab(colour).l;
                if lightness >= DARKEST_BASE {
                    return Ok(());
                }
                Err(format!(
                    "{colour} has a lightness L* of {lightness:.0}; it must be at least {DARKEST_BASE:.0}, for ink darkens \
                     what it is laid on: state the colour of the bare material"
                ))
            })?;
        }
        if let Some(gamut) = &self.gamut {
            refuse_range("gamut", gamut, "a list of colours")?;
            check_value("gamut", &gamut.value, |patches| Hull::of(patches).map(|_| ()))?;
        }
        if let Some(profile) = &self.profile {
            refuse_range("profile", profile, "a file")?;
            check_value("profile", &profile.value, |file| {
                if file.name.trim().is_empty() { Err("names no file".to_owned()) } else { Ok(()) }
            })?;
        }
        Ok(())
    }
}

/// What a rule says of a figure's value and of both ends of its range; and whether the range is in order and holds the value.
fn check_figure<T: PartialOrd + fmt::Display>(
    field: &str,
    figure: &Figure<T>,
    rule: impl Fn(&T) -> Result<(), String>,
) -> Result<(), Misfit> {
    check_value(field, &figure.value, &rule)?;
    let Some([least, most]) = &figure.range else { return Ok(()) };
    let wrong = |message: String, remedy: &str| {
        Err(Misfit::new(format!("{field}.range"), format!("the range of `{field}` {message}"), remedy))
    };
    for end in [least, most] {
        if let Err(message) = rule(end) {
            return wrong(message, REPLACE);
        }
    }
    let value = &figure.value;
    if least > most {
        return wrong(format!("runs from {least} down to {most}"), "write the least first: `range: [least, most]`");
    }
    if value < least || value > most {
        return wrong(
            format!("runs from {least} to {most} and does not hold its value, {value}"),
            "widen the range, or correct the value: least ≤ value ≤ most",
        );
    }
    Ok(())
}

const REPLACE: &str = "put in the figure that the bureau states, or that you have measured";

fn check_value<T>(field: &str, value: &T, rule: impl Fn(&T) -> Result<(), String>) -> Result<(), Misfit> {
    rule(value).map_err(|message| Misfit::new(format!("{field}.value"), format!("`{field}` {message}"), REPLACE))
}

fn refuse_range<T>(field: &str, figure: &Figure<T>, what: &str) -> Result<(), Misfit> {
    if figure.range.is_none() {
        return Ok(());
    }
    let message = format!("`{field}` is {what} and can have no range");
    Err(Misfit::new(format!("{field}.range"), message, "leave the range out"))
}

/// A length of at most `most` mm, above 0 or from 0 on.
fn length_within(length: &Length, above: bool, most: f64) -> Result<(), String> {
    let mm = length.mm();
    if above && mm <= 0.0 {
        Err(format!("must be above 0 mm, not {length}"))
    } else if mm < 0.0 {
        Err(format!("must not be negative, but is {length}"))
    } else if mm <= most {
        Ok(())
    } else {
        // Also what is no number.
        Err(format!("must be at most {most} mm, not {length}"))
    }
}

fn number_within(number: f64, least: f64, most: f64, unit: &str) -> Result<(), String> {
    if (least..=most).contains(&number) {
        return Ok(());
    }
    Err(format!("must lie between {least} and {most} {unit}, not {number}"))
}

#[cfg(test)]
mod tests;
