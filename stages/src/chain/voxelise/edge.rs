//! The edge of a cube, as a job has it.

use std::borrow::Cow;
use std::fmt;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use crate::Length;

/// The edge of a cube: a length, or the word `advise` in the place of one that is still to be found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Edge {
    /// So long.
    Length(Length),
    /// To be found by comparing sizes, before the stage runs.
    Advise,
}

impl Edge {
    /// The word for a size that is still to be found.
    pub const ADVISE: &'static str = "advise";

    /// The length, where it is known.
    #[must_use]
    pub const fn length(self) -> Option<Length> {
        match self {
            Self::Length(length) => Some(length),
            Self::Advise => None,
        }
    }
}

impl Serialize for Edge {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Length(length) => length.serialize(serializer),
            Self::Advise => serializer.serialize_str(Self::ADVISE),
        }
    }
}

impl<'de> Deserialize<'de> for Edge {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct EdgeVisitor;
        impl Visitor<'_> for EdgeVisitor {
            type Value = Edge;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a length such as 3 mm, or `advise`")
            }

            fn visit_f64<E: de::Error>(self, mm: f64) -> Result<Edge, E> {
                let finite = mm.is_finite().then(|| Edge::Length(Length::from_mm(mm)));
                finite.ok_or_else(|| E::custom("a length must be a finite number"))
            }

            #[expect(clippy::cast_precision_loss, reason = "lengths far below 2^53 mm")]
            fn visit_u64<E: de::Error>(self, mm: u64) -> Result<Edge, E> {
                self.visit_f64(mm as f64)
            }

            #[expect(clippy::cast_precision_loss, reason = "lengths far below 2^53 mm")]
            fn visit_i64<E: de::Error>(self, mm: i64) -> Result<Edge, E> {
                self.visit_f64(mm as f64)
            }

            fn visit_str<E: de::Error>(self, text: &str) -> Result<Edge, E> {
                if text.trim() == Edge::ADVISE {
                    return Ok(Edge::Advise);
                }
                text.parse()
                    .map(Edge::Length)
                    .map_err(|error| E::custom(format!("{error}; or write `{}`", Edge::ADVISE)))
            }
        }
        deserializer.deserialize_any(EdgeVisitor)
    }
}

impl JsonSchema for Edge {
    fn schema_name() -> Cow<'static, str> {
        "Edge".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "description": "A length, or the word `advise` for the smallest cell whose effect holds",
            "anyOf": [generator.subschema_for::<Length>(), { "const": Self::ADVISE }]
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn an_edge_is_a_length_or_the_word() {
        for (written, mm) in
            [(json!(3), Some(3.0)), (json!(0.5), Some(0.5)), (json!("1 cm"), Some(10.0)), (json!("advise"), None)]
        {
            let edge: Edge = serde_json::from_value(written.clone()).unwrap();
            assert_eq!(edge.length().map(Length::mm), mm, "{written}");
            let again: Edge = serde_json::from_value(serde_json::to_value(edge).unwrap()).unwrap();
            assert_eq!(again, edge, "{written}");
        }
        for wrong in [json!("advice"), json!("Advise"), json!(true), json!(["3 mm"]), json!("")] {
            assert!(serde_json::from_value::<Edge>(wrong.clone()).is_err(), "{wrong}");
        }
        let message = serde_json::from_value::<Edge>(json!("small")).unwrap_err().to_string();
        assert!(message.contains("is not a length") && message.contains("or write `advise`"), "{message}");
    }
}
