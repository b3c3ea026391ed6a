//! Lengths, forces and amounts of memory as people write them in a job file. The code reckons in millimetres, newtons and
//! bytes.

use std::fmt;
use std::str::FromStr;

use serde::de::{self, Deserialize, Deserializer, Visitor};
use serde::{Serialize, Serializer};

/// A length. Written `3 mm`, `18 cm`, `7 in`, or as a bare number of millimetres.
///
/// ```
/// use turnhue_stages::Length;
/// let length: Length = "7 in".parse().unwrap();
/// assert!((length.mm() - 177.8).abs() < 1e-9);
/// assert!("7 parsecs".parse::<Length>().is_err());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Length(f64);

/// The units a length may carry, with their size in millimetres (ISO 80000-3; 1 in = 25.4 mm exactly).
const UNITS: [(&str, f64); 7] =
    [("mm", 1.0), ("cm", 10.0), ("m", 1000.0), ("in", 25.4), ("ft", 304.8), ("um", 0.001), ("µm", 0.001)];

impl Length {
    /// A length of so many millimetres.
    #[must_use]
    pub const fn from_mm(mm: f64) -> Self {
        Self(mm)
    }

    /// The length in millimetres.
    #[must_use]
    pub const fn mm(self) -> f64 {
        self.0
    }

    /// The length to the nanometre, for messages: what is reckoned from others has digits that nobody wants to read.
    #[must_use]
    pub fn rounded(self) -> Self {
        Self((self.0 * 1e6).round() / 1e6)
    }
}

impl fmt::Display for Length {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} mm", self.0)
    }
}

impl FromStr for Length {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let split = text.find(|c: char| c.is_alphabetic() && !matches!(c, 'e' | 'E')).unwrap_or(text.len());
        let (number, unit) = (text[..split].trim(), text[split..].trim());
        let number: f64 = number.parse().map_err(|_| expected(text))?;
        let scale = match unit {
            "" => 1.0,
            unit => UNITS.iter().find(|(name, _)| *name == unit).ok_or_else(|| expected(text))?.1,
        };
        let mm = number * scale;
        if mm.is_finite() { Ok(Self(mm)) } else { Err(expected(text)) }
    }
}

fn expected(text: &str) -> String {
    format!("'{text}' is not a length; write a number with mm, cm, m, in, ft or um (a bare number is mm)")
}

impl Serialize for Length {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Length {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct LengthVisitor;
        impl Visitor<'_> for LengthVisitor {
            type Value = Length;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a length such as 3 mm, 18 cm or 7 in")
            }

            fn visit_f64<E: de::Error>(self, mm: f64) -> Result<Length, E> {
                if mm.is_finite() { Ok(Length(mm)) } else { Err(E::custom("a length must be a finite number")) }
            }

            #[expect(clippy::cast_precision_loss, reason = "lengths far below 2^53 mm")]
            fn visit_u64<E: de::Error>(self, mm: u64) -> Result<Length, E> {
                Ok(Length(mm as f64))
            }

            #[expect(clippy::cast_precision_loss, reason = "lengths far below 2^53 mm")]
            fn visit_i64<E: de::Error>(self, mm: i64) -> Result<Length, E> {
                Ok(Length(mm as f64))
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Length, E> {
                text.parse().map_err(E::custom)
            }
        }
        deserializer.deserialize_any(LengthVisitor)
    }
}

impl schemars::JsonSchema for Length {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Length".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "description": "A length: a number with mm, cm, m, in, ft or um; a bare number is mm",
            "anyOf": [
                { "type": "number" },
                { "type": "string", "pattern": "^\\s*[-+]?[0-9.]+([eE][-+]?[0-9]+)?\\s*(mm|cm|m|in|ft|um|µm)?\\s*$" }
            ]
        })
    }
}

/// A force. Written `5 N`, `500 mN`, `0.2 kN`, or as a bare number of newtons.
///
/// ```
/// use turnhue_stages::units::Force;
/// let force: Force = "500 mN".parse().unwrap();
/// assert_eq!(force.newtons(), 0.5);
/// assert!("5 kg".parse::<Force>().is_err()); // a mass is no force
/// ```
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct Force(f64);

/// The units a force may carry, with their size in newtons (ISO 80000-4).
const FORCE_UNITS: [(&str, f64); 3] = [("N", 1.0), ("mN", 0.001), ("kN", 1000.0)];

impl Force {
    /// A force of so many newtons.
    #[must_use]
    pub const fn from_newtons(newtons: f64) -> Self {
        Self(newtons)
    }

    /// The force in newtons.
    #[must_use]
    pub const fn newtons(self) -> f64 {
        self.0
    }
}

impl fmt::Display for Force {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} N", self.0)
    }
}

impl FromStr for Force {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("'{text}' is not a force; write a number with N, mN or kN (a bare number is N)");
        let text = text.trim();
        let split = text.find(|c: char| c.is_alphabetic() && !matches!(c, 'e' | 'E')).unwrap_or(text.len());
        let number: f64 = text[..split].trim().parse().map_err(|_| wrong())?;
        let size = match text[split..].trim() {
            "" => 1.0,
            unit => FORCE_UNITS.iter().find(|(name, _)| *name == unit).ok_or_else(wrong)?.1,
        };
        let newtons = number * size;
        if newtons.is_finite() { Ok(Self(newtons)) } else { Err(wrong()) }
    }
}

impl Serialize for Force {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Force {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct ForceVisitor;
        impl Visitor<'_> for ForceVisitor {
            type Value = Force;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a force such as 5 N or 500 mN")
            }

            fn visit_f64<E: de::Error>(self, newtons: f64) -> Result<Force, E> {
                if newtons.is_finite() { Ok(Force(newtons)) } else { Err(E::custom("a force must be a finite number")) }
            }

            #[expect(clippy::cast_precision_loss, reason = "forces far below 2^53 N")]
            fn visit_u64<E: de::Error>(self, newtons: u64) -> Result<Force, E> {
                Ok(Force(newtons as f64))
            }

            #[expect(clippy::cast_precision_loss, reason = "forces far below 2^53 N")]
            fn visit_i64<E: de::Error>(self, newtons: i64) -> Result<Force, E> {
                Ok(Force(newtons as f64))
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Force, E> {
                text.parse().map_err(E::custom)
            }
        }
        deserializer.deserialize_any(ForceVisitor)
    }
}

impl schemars::JsonSchema for Force {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Force".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "description": "A force: a number with N, mN or kN; a bare number is N",
            "anyOf": [
                { "type": "number" },
                { "type": "string", "pattern": "^\\s*[-+]?[0-9.]+([eE][-+]?[0-9]+)?\\s*(N|mN|kN)?\\s*$" }
            ]
        })
    }
}

/// An amount of memory. Written `4 GiB`, `512 MiB`, or as a bare number of bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Memory(u64);

/// The units an amount of memory may carry (IEC 80000-13), with their size in bytes, largest first.
const MEMORY_UNITS: [(&str, u64); 5] =
    [("TiB", 1 << 40), ("GiB", 1 << 30), ("MiB", 1 << 20), ("KiB", 1 << 10), ("B", 1)];

impl Memory {
    /// What a stage may take when nobody says otherwise: 4 GiB.
    #[must_use]
    pub const fn usual() -> Self {
        Self(4 << 30)
    }

    /// So many bytes.
    #[must_use]
    pub const fn from_bytes(bytes: u64) -> Self {
        Self(bytes)
    }

    /// The amount in bytes.
    #[must_use]
    pub const fn bytes(self) -> u64 {
        self.0
    }

    /// The amount in whole MiB, and from 10 GiB on in whole GiB: as exact as something reckoned beforehand can be.
    #[must_use]
    pub const fn rounded(self) -> Self {
        let unit: u64 = if self.0 < 10 << 30 { 1 << 20 } else { 1 << 30 };
        Self(self.0.div_ceil(unit).saturating_mul(unit))
    }
}

impl fmt::Display for Memory {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (unit, size) = MEMORY_UNITS.iter().find(|(_, size)| self.0 >= *size).unwrap_or(&("B", 1));
        if self.0.is_multiple_of(*size) {
            write!(f, "{} {unit}", self.0 / size)
        } else {
            write!(f, "{:.1} {unit}", self.0 as f64 / *size as f64)
        }
    }
}

impl FromStr for Memory {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong = || format!("'{text}' is not an amount of memory; write a number with B, KiB, MiB, GiB or TiB");
        let text = text.trim();
        let split = text.find(char::is_alphabetic).unwrap_or(text.len());
        let number: f64 = text[..split].trim().parse().map_err(|_| wrong())?;
        let unit = text[split..].trim();
        let size = match unit {
            "" => 1,
            unit => MEMORY_UNITS.iter().find(|(name, _)| *name == unit).ok_or_else(wrong)?.1,
        };
        let bytes = number * size as f64;
        if (1.0..=u64::MAX as f64 / 2.0).contains(&bytes) { Ok(Self(bytes as u64)) } else { Err(wrong()) }
    }
}

impl Serialize for Memory {
    /// In the largest unit of which it is a whole number, so that nothing is lost; `Display` rounds.
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let (unit, size) = MEMORY_UNITS.iter().find(|(_, size)| self.0.is_multiple_of(*size)).unwrap_or(&("B", 1));
        serializer.collect_str(&format_args!("{} {unit}", self.0 / size))
    }
}

impl<'de> Deserialize<'de> for Memory {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct MemoryVisitor;
        impl Visitor<'_> for MemoryVisitor {
            type Value = Memory;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an amount of memory such as 4 GiB or 512 MiB")
            }

            fn visit_u64<E: de::Error>(self, bytes: u64) -> Result<Memory, E> {
                if bytes > 0 { Ok(Memory(bytes)) } else { Err(E::custom("an amount of memory must be above 0 B")) }
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Memory, E> {
                text.parse().map_err(E::custom)
            }
        }
        deserializer.deserialize_any(MemoryVisitor)
    }
}

impl schemars::JsonSchema for Memory {
    fn schema_name() -> std::borrow::Cow<'static, str> {
        "Memory".into()
    }

    fn json_schema(_: &mut schemars::SchemaGenerator) -> schemars::Schema {
        schemars::json_schema!({
            "description": "An amount of memory: a number with B, KiB, MiB, GiB or TiB; a bare number is bytes",
            "anyOf": [
                { "type": "integer", "minimum": 1 },
                { "type": "string", "pattern": "^\\s*[0-9.]+\\s*(B|KiB|MiB|GiB|TiB)?\\s*$" }
            ]
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_as_people_write_them() {
        // 1 in = 25.4 mm exactly: international yard and pound agreement of 1959.
        for (text, mm) in [
            ("3 mm", 3.0),
            ("3", 3.0),
            ("18cm", 180.0),
            ("0.5 m", 500.0),
            ("7 in", 177.8),
            ("1 ft", 304.8),
            ("200 um", 0.2),
            ("-2.5 mm", -2.5),
            ("1e1 mm", 10.0),
        ] {
            let length: Length = text.parse().unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((length.mm() - mm).abs() < 1e-12, "{text}");
        }
    }

    #[test]
    fn what_is_not_a_length_is_refused() {
        for text in ["", "mm", "3 parsecs", "three mm", "3 mm mm", "NaN", "inf mm", "1e999", "3,5 mm"] {
            assert!(text.parse::<Length>().is_err(), "{text}");
        }
    }

    #[test]
    fn forces_as_people_write_them() {
        // ISO 80000-1: m is 10⁻³, k is 10³.
        for (text, newtons) in [("5 N", 5.0), ("5", 5.0), ("500mN", 0.5), ("0.2 kN", 200.0), ("1e1 N", 10.0)] {
            let force: Force = text.parse().unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((force.newtons() - newtons).abs() < 1e-12, "{text}");
            let written = serde_json::to_value(force).unwrap_or_default();
            assert_eq!(serde_json::from_value::<Force>(written).ok(), Some(force), "{text}");
        }
        for text in ["", "N", "5 kg", "NaN", "inf N", "1e999", "5 N N"] {
            assert!(text.parse::<Force>().is_err(), "{text}");
        }
    }

    #[test]
    fn amounts_of_memory_as_people_write_them() {
        // IEC 80000-13: 1 KiB = 1024 B.
        for (written, bytes, kept) in [
            (serde_json::json!("4 GiB"), 4 << 30, "4 GiB"),
            (serde_json::json!("1500 MiB"), 1500 << 20, "1500 MiB"),
            (serde_json::json!("1.5 KiB"), 1536, "1536 B"),
            (serde_json::json!("1000001 B"), 1_000_001, "1000001 B"),
            (serde_json::json!("4096"), 4096, "4 KiB"),
            (serde_json::json!(1_000_001), 1_000_001, "1000001 B"),
        ] {
            let memory: Memory = serde_json::from_value(written.clone()).unwrap_or_else(|e| panic!("{written}: {e}"));
            assert_eq!(memory.bytes(), bytes, "{written}");
            assert_eq!(serde_json::to_value(memory).ok(), Some(kept.into()), "{written}");
        }
        for wrong in [serde_json::json!("4 GB"), serde_json::json!("0 B"), serde_json::json!(0), serde_json::json!(-1)]
        {
            assert!(serde_json::from_value::<Memory>(wrong.clone()).is_err(), "{wrong}");
        }
        assert_eq!(Memory::from_bytes(5 << 29).to_string(), "2.5 GiB");
    }
}
