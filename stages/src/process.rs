//! What a printing process can hold. A process file is data that the user edits: each figure stands beside its basis (a
//! source, or the words "common practice" or "invented for the demo").

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::{Length, Srgb};

/// A figure with what it rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, bound(deserialize = "T: Deserialize<'de>"))]
pub struct Figure<T> {
    /// The figure.
    pub value: T,
    /// The least and the most that it may be, where that is known: what is predicted is told with what this makes of it.
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
    /// How far colour runs along the surface: standard deviation of a Gaussian.
    pub bleed: Figure<Length>,
    /// Radius to which sharp edges are rounded.
    pub edge_radius: Figure<Length>,
    /// Colour of the bare material, on which ink is laid. White if left out.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub base: Option<Figure<Srgb>>,
    /// Measured colours of solid printed patches; what lies in their convex hull in CIELAB can be printed. Left out, every
    /// colour is taken to be printable.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub gamut: Option<Figure<Vec<Srgb>>>,
    /// An ICC profile of the process (ISO 15076-1), a file beside this one. It says what is printable in place of `gamut`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub profile: Option<Figure<String>>,
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

impl Process {
    /// The colour of the bare material: white where the process does not say.
    #[must_use]
    pub fn bare(&self) -> Srgb {
        self.base.as_ref().map_or(Srgb([0xff; 3]), |base| base.value)
    }

    /// Checks that every figure makes sense.
    ///
    /// # Errors
    /// The field's name and a plain message for the first that does not.
    pub fn check(&self) -> Result<(), (&'static str, String)> {
        let lengths = [
            ("layer", &self.layer),
            ("minimum_wall", &self.minimum_wall),
            ("detail", &self.detail),
            ("gap", &self.gap),
            ("opening", &self.opening),
        ];
        for (field, figure) in lengths {
            if figure.value.mm() <= 0.0 {
                return Err((field, format!("must be above 0 mm, not {}", figure.value)));
            }
        }
        for (field, figure) in
            [("bleed", &self.bleed), ("edge_radius", &self.edge_radius), ("tolerance", &self.tolerance)]
        {
            if figure.value.mm() < 0.0 {
                return Err((field, format!("must not be negative, but is {}", figure.value)));
            }
        }
        if self.build_volume.value.iter().any(|side| side.mm() <= 0.0) {
            return Err(("build_volume", "needs three lengths above 0 mm".to_owned()));
        }
        // Between a light foam and the densest element, osmium at 22.6 g/cm³.
        if !(0.01..=23.0).contains(&self.density.value) {
            return Err(("density", format!("must lie between 0.01 and 23 g/cm³, not {}", self.density.value)));
        }
        // Between a crumbling powder cake and the hardest ceramics.
        if let Some(Figure { value, .. }) = self.strength
            && !(0.01..=2000.0).contains(&value)
        {
            return Err(("strength", format!("must lie between 0.01 and 2000 MPa, not {value}")));
        }
        for (field, figure) in [("most_triangles", &self.most_triangles), ("most_bytes", &self.most_bytes)] {
            if figure.value == 0 {
                return Err((field, "a limit on the file must be above 0".to_owned()));
            }
        }
        Ok(())
    }
}
