//! Writes the coloured piece as GLB, the binary form of glTF 2.0 (ISO/IEC 12113:2022): to be looked at, in a page, a viewer
//! or before a camera.
//!
//! Section numbers are those of the specification, version 2.0.1. Guarantees:
//! - The same mesh and title give the same bytes.
//! - Coordinates are written in mm as `f32`, which hold 180 mm to within 8 nm; the one node makes metres of them and turns
//!   them, so that y points up and the front of the piece looks along +z, as glTF wants (3.4).
//! - A reader that shows what it reads shows the mesh's sRGB colours: what is written is their linear light, so fine that
//!   each of the 256 levels comes back.
//! - No normals are written: readers have to take those of the triangles (3.7.2.1), which is what a cube wants, and points
//!   can be shared by all sides.
//! - No extension is used.
//!
//! A piece of few colours has a material for each. With more than [`MOST_MATERIALS`], as pictures give, each point carries
//! its colour, and a point where colours meet comes once for each.

use std::io::{self, Write};

use serde_json::{Value, json};

use super::{ColouredMesh, check_single, invalid};
use crate::colorimetry::linear;

/// The most colours for which each has a material.
pub const MOST_MATERIALS: usize = 32;

/// Kinds of numbers and uses of a buffer, as they are numbered (5.1.3, 5.11.5).
const UNSIGNED_SHORT: u32 = 5123;
const UNSIGNED_INT: u32 = 5125;
const FLOAT: u32 = 5126;
const OF_POINTS: u32 = 34962;
const OF_INDICES: u32 = 34963;

/// Writes the mesh as one object, under the title.
///
/// # Errors
/// If the mesh is not sound (an index or a colour that does not exist, a coordinate that no `f32` holds), if the file would
/// be larger than 4 GiB, and whatever the writer meets.
pub fn write(mesh: &ColouredMesh<'_>, title: &str, out: &mut dyn Write) -> io::Result<()> {
    mesh.check()?;
    check_single(mesh.points)?;
    // glTF knows no list without entries (5.1), and no scene needs one.
    let scene = if mesh.triangles.is_empty() { Scene::default() } else { Scene::of(mesh) };
    out.write_all(&container(&scene.document(title), &scene.binary)?)
}

/// What the buffer holds, and how it is told.
#[derive(Default)]
struct Scene {
    binary: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
    primitives: Vec<Value>,
    materials: Vec<Value>,
}

impl Scene {
    fn of(mesh: &ColouredMesh<'_>) -> Self {
        let mut scene = Self::default();
        if mesh.colours.len() <= MOST_MATERIALS {
            scene.with_materials(mesh);
        } else {
            scene.with_coloured_points(mesh);
        }
        scene
    }

    /// All colours share the points, and each has its triangles and its material.
    fn with_materials(&mut self, mesh: &ColouredMesh<'_>) {
        let position = self.positions(mesh.points.iter().map(|point| point.as_vec3().to_array()));
        let mut order: Vec<usize> = (0..mesh.triangles.len()).collect();
        order.sort_by_key(|&at| mesh.ink[at]);
        let sorted = order.iter().flat_map(|&at| mesh.triangles[at]);
        let (view, kind) = self.indices(sorted, mesh.points.len());
        let size = if kind == UNSIGNED_SHORT { 2 } else { 4 };
        let mut begun = 0;
        for run in order.chunk_by(|&a, &b| mesh.ink[a] == mesh.ink[b]) {
            let colour = mesh.colours[mesh.ink[run[0]] as usize];
            self.accessors.push(json!({
                "bufferView": view, "byteOffset": 3 * size * begun, "componentType": kind, "count": 3 * run.len(),
                "type": "SCALAR",
            }));
            self.primitives.push(json!({
                "attributes": { "POSITION": position }, "indices": self.accessors.len() - 1,
                "material": self.materials.len(),
            }));
            self.materials.push(material(&colour.to_string(), linear(colour)));
            begun += run.len();
        }
    }

    /// Each point carries its colour.
    fn with_coloured_points(&mut self, mesh: &ColouredMesh<'_>) {
        let corners = || mesh.triangles.iter().zip(mesh.ink).flat_map(|(corners, &ink)| corners.map(|at| (ink, at)));
        let mut points: Vec<(u32, u32)> = corners().collect();
        points.sort_unstable();
        points.dedup();
        let position = self.positions(points.iter().map(|&(_, at)| mesh.points[at as usize].as_vec3().to_array()));
        // Of 16 bits: the darkest levels of sRGB are 20 of these steps apart. An element begins at a multiple of four bytes
        // (3.6.2.4), so a fourth number goes along, which says that nothing shines through.
        let shades = points.iter().map(|&(ink, _)| {
            let [red, green, blue] = linear(mesh.colours[ink as usize]).map(|light| (light * 65535.0).round() as u16);
            [red, green, blue, u16::MAX]
        });
        let view = self.view(OF_POINTS, |binary| binary.extend(shades.flatten().flat_map(u16::to_le_bytes)));
        self.accessors.push(json!({
            "bufferView": view, "componentType": UNSIGNED_SHORT, "normalized": true, "count": points.len(),
            "type": "VEC4",
        }));
        let colour = self.accessors.len() - 1;
        let number = |corner: (u32, u32)| points.partition_point(|&other| other < corner) as u32;
        let (view, kind) = self.indices(corners().map(number), points.len());
        self.accessors.push(json!({
            "bufferView": view, "componentType": kind, "count": 3 * mesh.triangles.len(), "type": "SCALAR",
        }));
        self.primitives.push(json!({
            "attributes": { "POSITION": position, "COLOR_0": colour }, "indices": self.accessors.len() - 1, "material": 0,
        }));
        self.materials.push(material("coloured", [1.0; 3]));
    }

    /// Takes in positions; gives their accessor, which has to say the box around them (3.6.2.5).
    fn positions(&mut self, points: impl ExactSizeIterator<Item = [f32; 3]> + Clone) -> usize {
        let [mut low, mut high] = [[f32::MAX; 3], [f32::MIN; 3]];
        for point in points.clone() {
            for axis in 0..3 {
                low[axis] = low[axis].min(point[axis]);
                high[axis] = high[axis].max(point[axis]);
            }
        }
        let count = points.len();
        let view = self.view(OF_POINTS, |binary| binary.extend(points.flatten().flat_map(f32::to_le_bytes)));
        self.accessors.push(json!({
            "bufferView": view, "componentType": FLOAT, "count": count, "type": "VEC3", "min": low, "max": high,
        }));
        self.accessors.len() - 1
    }

    /// Takes in the corners of triangles, as short as numbers of so many points can be; gives their place and their kind.
    /// The largest number of a kind is no index (3.7.2.1).
    fn indices(&mut self, corners: impl Iterator<Item = u32>, points: usize) -> (usize, u32) {
        if points <= usize::from(u16::MAX) {
            let short = corners.flat_map(|corner| (corner as u16).to_le_bytes());
            (self.view(OF_INDICES, |binary| binary.extend(short)), UNSIGNED_SHORT)
        } else {
            (self.view(OF_INDICES, |binary| binary.extend(corners.flat_map(u32::to_le_bytes))), UNSIGNED_INT)
        }
    }

    /// A new stretch of the buffer, which begins at a multiple of four bytes (3.6.2.4).
    fn view(&mut self, target: u32, fill: impl FnOnce(&mut Vec<u8>)) -> usize {
        self.binary.resize(self.binary.len().next_multiple_of(4), 0);
        let start = self.binary.len();
        fill(&mut self.binary);
        let length = self.binary.len() - start;
        self.views.push(json!({ "buffer": 0, "byteOffset": start, "byteLength": length, "target": target }));
        self.views.len() - 1
    }

    fn document(&self, title: &str) -> Value {
        let asset = json!({ "version": "2.0", "generator": concat!("Turnhue ", env!("CARGO_PKG_VERSION")) });
        if self.primitives.is_empty() {
            return json!({ "asset": asset });
        }
        // Half a quarter turn back about x: z, which is up in the piece, becomes y, and the front, −y, becomes z.
        let half = std::f64::consts::FRAC_1_SQRT_2;
        json!({
            "asset": asset,
            "scene": 0,
            "scenes": [{ "nodes": [0] }],
            "nodes": [{ "name": title, "mesh": 0, "rotation": [-half, 0.0, 0.0, half], "scale": [0.001, 0.001, 0.001] }],
            "meshes": [{ "name": title, "primitives": self.primitives }],
            "materials": self.materials,
            "accessors": self.accessors,
            "bufferViews": self.views,
            "buffers": [{ "byteLength": self.binary.len() }],
        })
    }
}

/// Dull all over, as printed powder is.
fn material(name: &str, [red, green, blue]: [f64; 3]) -> Value {
    json!({
        "name": name,
        "pbrMetallicRoughness": {
            "baseColorFactor": [red, green, blue, 1.0], "metallicFactor": 0.0, "roughnessFactor": 1.0,
        },
    })
}

/// Header and chunks of the file (4.4): the document, filled up with spaces, and the buffer, filled up with zeros.
fn container(document: &Value, binary: &[u8]) -> io::Result<Vec<u8>> {
    let mut chunks = vec![(*b"JSON", document.to_string().into_bytes(), b' ')];
    if !binary.is_empty() {
        chunks.push((*b"BIN\0", binary.to_vec(), 0));
    }
    let mut file = b"glTF\x02\0\0\0\0\0\0\0".to_vec();
    for (kind, mut content, filling) in chunks {
        content.resize(content.len().next_multiple_of(4), filling);
        file.extend(size(content.len())?);
        file.extend(kind);
        file.extend(content);
    }
    let whole = size(file.len())?;
    file[8..12].copy_from_slice(&whole);
    Ok(file)
}

fn size(bytes: usize) -> io::Result<[u8; 4]> {
    let size = u32::try_from(bytes);
    size.map(u32::to_le_bytes)
        .map_err(|_| invalid("the GLB file would be larger than 4 GiB; use larger cells".to_owned()))
}

#[cfg(test)]
mod tests;
