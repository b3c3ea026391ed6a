//! Where the grid sits on the form.

use std::borrow::Cow;
use std::fmt;

use glam::DVec3;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::value::MapAccessDeserializer;
use serde::de::{self, Deserializer, MapAccess, Visitor};
use serde::{Deserialize, Serialize};

/// Where the grid sits, axis by axis. Written as a map, or as `best` for `{ x: best, y: best, z: lowest }`: the piece
/// stands flat all the same.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Placing {
    /// Along x.
    pub x: Anchor,
    /// Along y.
    pub y: Anchor,
    /// Along z.
    pub z: Anchor,
}

impl Placing {
    /// Where the grid sits when nobody says otherwise, and where trying begins.
    const USUAL: Self = Self { x: Anchor::CellCorner, y: Anchor::CellCorner, z: Anchor::Lowest };

    /// See [`Placing`].
    const BEST: Self = Self { x: Anchor::Best, y: Anchor::Best, z: Anchor::Lowest };

    /// The axes along which several places are tried.
    pub(super) fn tried(self) -> [bool; 3] {
        [self.x, self.y, self.z].map(|anchor| anchor == Anchor::Best)
    }
}

impl Default for Placing {
    fn default() -> Self {
        Self::USUAL
    }
}

/// The map.
#[derive(Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(inline)]
struct Axes {
    /// Along x.
    #[serde(default = "Axes::corner")]
    x: Anchor,
    /// Along y.
    #[serde(default = "Axes::corner")]
    y: Anchor,
    /// Along z.
    #[serde(default = "Axes::lowest")]
    z: Anchor,
}

impl Axes {
    const fn corner() -> Anchor {
        Placing::USUAL.x
    }

    const fn lowest() -> Anchor {
        Placing::USUAL.z
    }
}

impl<'de> Deserialize<'de> for Placing {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct PlacingVisitor;
        impl<'de> Visitor<'de> for PlacingVisitor {
            type Value = Placing;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("`best`, or a map such as { x: cell-centre, y: best, z: lowest }")
            }

            fn visit_str<E: de::Error>(self, word: &str) -> Result<Placing, E> {
                if word == "best" { Ok(Placing::BEST) } else { Err(E::invalid_value(de::Unexpected::Str(word), &self)) }
            }

            fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Placing, A::Error> {
                let Axes { x, y, z } = Axes::deserialize(MapAccessDeserializer::new(map))?;
                Ok(Placing { x, y, z })
            }
        }
        deserializer.deserialize_any(PlacingVisitor)
    }
}

impl JsonSchema for Placing {
    fn schema_name() -> Cow<'static, str> {
        "Placing".into()
    }

    fn json_schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({ "anyOf": [{ "const": "best" }, Axes::json_schema(generator)] })
    }
}

/// What of the grid lies at what of the form, along one axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Anchor {
    /// The centre of a cell at the middle of the form: an odd number of cells across a symmetric form.
    CellCentre,
    /// The boundary between two cells at the middle of the form: an even number across a symmetric form.
    CellCorner,
    /// The boundary between two cells at the form's lowest point, so that the piece stands flat.
    Lowest,
    /// Where the cubes have the most volume in common with the model, of places a quarter of a cell apart; half a cell
    /// across the middle of a symmetric form, which keeps it symmetric.
    Best,
}

/// The grid's lowest corner in the coordinates of the surface, and the cells along each axis (not yet known to fit). The
/// grid is moved by `shift` mm from where the placing puts it, which is the usual place where several are tried.
pub(super) fn place(placing: Placing, shift: DVec3, [lo, hi]: [DVec3; 2], cell: f64) -> (DVec3, [f64; 3]) {
    let usual = [Placing::USUAL.x, Placing::USUAL.y, Placing::USUAL.z];
    let anchors = [placing.x, placing.y, placing.z];
    let mut low = DVec3::ZERO;
    let mut counts = [0.0; 3];
    for axis in 0..3 {
        let anchor = if anchors[axis] == Anchor::Best { usual[axis] } else { anchors[axis] };
        let boundary = shift[axis]
            + match anchor {
                Anchor::CellCentre => (lo[axis] + hi[axis] - cell) / 2.0,
                Anchor::CellCorner => (lo[axis] + hi[axis]) / 2.0,
                Anchor::Lowest | Anchor::Best => lo[axis],
            };
        // A form that ends exactly on a boundary, up to rounding, does not need one more cell.
        let slack = 1e-9;
        let below = ((boundary - lo[axis]) / cell - slack).ceil().max(0.0);
        let above = ((hi[axis] - boundary) / cell - slack).ceil().max(1.0);
        low[axis] = boundary - below * cell;
        counts[axis] = below + above;
    }
    (low, counts)
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn the_grid_sits_where_it_is_asked_to() {
        let place_x = |x, lo: f64, hi: f64| {
            let (low, counts) = place(
                Placing { x, ..Placing::default() },
                DVec3::ZERO,
                [DVec3::new(lo, 0., 0.), DVec3::new(hi, 1., 1.)],
                1.0,
            );
            (low.x, counts[0])
        };
        assert_eq!(place_x(Anchor::CellCorner, -1.2, 1.2), (-2.0, 4.0));
        assert_eq!(place_x(Anchor::CellCentre, -1.2, 1.2), (-1.5, 3.0));
        assert_eq!(place_x(Anchor::Lowest, -1.2, 1.2), (-1.2, 3.0));
        // A form that fits exactly gets no empty cell.
        assert_eq!(place_x(Anchor::Lowest, 0.0, 3.0), (0.0, 3.0));
        // Trying begins at the usual place.
        assert_eq!(place_x(Anchor::Best, -1.2, 1.2), (-2.0, 4.0));
    }

    #[test]
    fn a_word_or_a_map() {
        use Anchor::{Best, CellCentre, CellCorner, Lowest};
        for (written, x, y, z) in [
            (json!("best"), Best, Best, Lowest),
            (json!({}), CellCorner, CellCorner, Lowest),
            (json!({ "x": "cell-centre", "z": "best" }), CellCentre, CellCorner, Best),
            (json!({ "y": "best" }), CellCorner, Best, Lowest),
        ] {
            let placing: Placing = serde_json::from_value(written.clone()).unwrap_or_else(|e| panic!("{written}: {e}"));
            assert_eq!(placing, Placing { x, y, z }, "{written}");
            let kept = serde_json::to_value(placing).unwrap_or_default();
            assert_eq!(serde_json::from_value::<Placing>(kept).ok(), Some(placing));
        }
        for (wrong, part) in [
            (json!("centre"), "expected `best`, or a map such as"),
            (json!(3), "expected `best`, or a map such as"),
            (json!({ "w": "best" }), "expected one of `x`, `y`, `z`"),
            (json!({ "x": "middle" }), "unknown variant `middle`, expected one of `cell-centre`"),
        ] {
            let message = serde_json::from_value::<Placing>(wrong).err().map(|e| e.to_string()).unwrap_or_default();
            assert!(message.contains(part), "{message}");
        }
    }
}
