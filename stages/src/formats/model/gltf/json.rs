//! The JSON document, as far as it says something about the surface. What is not listed here is not kept.

use std::borrow::Cow;
use std::fmt;
use std::marker::PhantomData;

use serde::de::{self, Deserialize, Deserializer, SeqAccess, Visitor};

/// Most entries of one list: a model has some thousand nodes at the most, and an entry takes memory also when a file
/// writes no more of it than `{}`.
const MOST_ENTRIES: usize = 250_000;

/// Extensions that say nothing about the surface, by the first letters of their names, beside those of which the reader
/// knows what they change.
const HARMLESS: [&str; 9] = [
    "KHR_materials_",
    "KHR_texture_",
    "EXT_texture_",
    "KHR_lights_",
    "EXT_lights_",
    "KHR_xmp",
    "KHR_animation_",
    "KHR_audio",
    "KHR_mesh_quantization",
];

/// Whether a file that uses the extension can be read without knowing it.
pub(super) fn is_harmless(extension: &str) -> bool {
    HARMLESS.iter().any(|harmless| extension.starts_with(harmless))
}

/// A list that is not longer than [`MOST_ENTRIES`].
#[derive(Debug)]
pub(super) struct List<T>(pub(super) Vec<T>);

impl<T> Default for List<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<'de, T: Deserialize<'de>> Deserialize<'de> for List<T> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct ListVisitor<T>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>> Visitor<'de> for ListVisitor<T> {
            type Value = List<T>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a list")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut entries: A) -> Result<List<T>, A::Error> {
                let mut list = Vec::new();
                while let Some(entry) = entries.next_element()? {
                    if list.len() == MOST_ENTRIES {
                        return Err(de::Error::custom(format!("a list has more than {MOST_ENTRIES} entries")));
                    }
                    list.push(entry);
                }
                Ok(List(list))
            }
        }
        deserializer.deserialize_seq(ListVisitor(PhantomData))
    }
}

/// A text that is taken from the file as it stands where it can be.
#[derive(Debug, serde::Deserialize)]
pub(super) struct Text<'a>(#[serde(borrow)] pub(super) Cow<'a, str>);

#[derive(Debug, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Document<'a> {
    #[serde(borrow)]
    asset: Asset<'a>,
    #[serde(borrow, default)]
    extensions_required: List<Text<'a>>,
    #[serde(borrow, default)]
    extensions_used: List<Text<'a>>,
    pub(super) scene: Option<u32>,
    #[serde(default)]
    pub(super) scenes: List<Scene>,
    #[serde(borrow, default)]
    pub(super) nodes: List<Node<'a>>,
    #[serde(borrow, default)]
    pub(super) meshes: List<Mesh<'a>>,
    #[serde(default)]
    pub(super) accessors: List<Accessor>,
    #[serde(default)]
    pub(super) buffer_views: List<View>,
    #[serde(borrow, default)]
    pub(super) buffers: List<Buffer<'a>>,
}

#[derive(Debug, serde::Deserialize)]
struct Asset<'a> {
    #[serde(borrow)]
    version: Text<'a>,
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct Scene {
    #[serde(default)]
    pub(super) nodes: List<u32>,
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct Node<'a> {
    #[serde(borrow)]
    pub(super) name: Option<Text<'a>>,
    #[serde(default)]
    pub(super) children: List<u32>,
    pub(super) mesh: Option<u32>,
    pub(super) skin: Option<u32>,
    pub(super) matrix: Option<Box<[f64; 16]>>,
    pub(super) translation: Option<[f64; 3]>,
    pub(super) rotation: Option<[f64; 4]>,
    pub(super) scale: Option<[f64; 3]>,
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct Mesh<'a> {
    #[serde(borrow)]
    pub(super) name: Option<Text<'a>>,
    pub(super) primitives: List<Primitive>,
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct Primitive {
    pub(super) attributes: Attributes,
    pub(super) indices: Option<u32>,
    #[serde(default = "Primitive::triangles")]
    pub(super) mode: u32,
    #[serde(default)]
    pub(super) targets: List<de::IgnoredAny>,
}

impl Primitive {
    const fn triangles() -> u32 {
        4
    }
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct Attributes {
    #[serde(rename = "POSITION")]
    pub(super) position: Option<u32>,
}

#[derive(Debug, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Accessor {
    pub(super) buffer_view: Option<u32>,
    #[serde(default)]
    pub(super) byte_offset: u64,
    pub(super) component_type: u32,
    #[serde(default)]
    pub(super) normalized: bool,
    pub(super) count: u64,
    #[serde(rename = "type")]
    pub(super) shape: Shape,
    pub(super) sparse: Option<Box<Sparse>>,
}

/// How many numbers an element of an accessor has.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
pub(super) enum Shape {
    #[serde(rename = "SCALAR")]
    Scalar,
    #[serde(rename = "VEC3")]
    Vec3,
    #[serde(other)]
    Other,
}

#[derive(Debug, serde::Deserialize)]
pub(super) struct Sparse {
    pub(super) count: u64,
    pub(super) indices: SparseIndices,
    pub(super) values: SparseValues,
}

#[derive(Debug, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct SparseIndices {
    pub(super) buffer_view: u32,
    #[serde(default)]
    pub(super) byte_offset: u64,
    pub(super) component_type: u32,
}

#[derive(Debug, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct SparseValues {
    pub(super) buffer_view: u32,
    #[serde(default)]
    pub(super) byte_offset: u64,
}

#[derive(Debug, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct View {
    pub(super) buffer: u32,
    #[serde(default)]
    pub(super) byte_offset: u64,
    pub(super) byte_length: u64,
    pub(super) byte_stride: Option<u64>,
}

#[derive(Debug, serde::Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Buffer<'a> {
    #[serde(borrow)]
    pub(super) uri: Option<Text<'a>>,
    pub(super) byte_length: u64,
}

impl<'a> Document<'a> {
    /// Parses the document and refuses what cannot be read whole.
    pub(super) fn parse(json: &'a [u8]) -> Result<Self, String> {
        // The parser nests 128 deep and no deeper.
        let document: Self = serde_json::from_slice(json).map_err(|error| {
            format!("the JSON of the glTF file cannot be read: {error}; export or download it again")
        })?;
        let version = document.asset.version.0.as_ref();
        if version.split('.').next() != Some("2") {
            return Err(format!("the glTF file has version {version}, expected 2.0; export it as glTF 2.0"));
        }
        match document.extensions_required.0.iter().find(|name| !is_harmless(&name.0)) {
            Some(name) => Err(format!(
                "the glTF file requires the extension {}, which cannot be read; export it without compression and \
                 without extensions",
                name.0
            )),
            None => Ok(document),
        }
    }

    /// Whether the file uses an extension.
    pub(super) fn uses(&self, extension: &str) -> bool {
        self.extensions_used.0.iter().any(|name| name.0 == extension)
    }
}
