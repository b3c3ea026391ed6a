//! The nodes of a scene, and the triangles of their meshes (3.5, 3.7).

use glam::{DAffine3, DMat4, DQuat, DVec3};

use super::super::{About, Builder};
use super::buffers::{Buffers, Reader};
use super::json::{Document, Mesh, Node, Primitive};

/// Reads the default scene, or the first; without a scene, every node that no other holds.
pub(super) fn read(
    document: &Document<'_>,
    buffers: &Buffers<'_>,
    builder: &mut Builder,
    about: &mut About,
) -> Result<(), String> {
    // What the buffers write out in full has no limit but their size; files beside the document count.
    builder.allow(buffers.size());
    let mut walk = Walk { document, buffers, builder, skins: 0, morphs: 0, undrawn: 0, vanished: 0 };
    walk.nodes(&roots(document, about)?)?;
    about.passed_over(walk.undrawn, "primitive of points or lines", "primitives of points or lines");
    about.passed_over(walk.vanished, "node scaled to nothing", "nodes scaled to nothing");
    if walk.skins > 0 {
        about
            .notes
            .push(format!("{} skinned: the skin was passed over, the mesh taken as it rests", nodes(walk.skins)));
    }
    if walk.morphs > 0 {
        about.notes.push("the mesh's morph targets were passed over: it was taken as it rests".to_owned());
    }
    if document.uses("EXT_mesh_gpu_instancing") {
        about.notes.push("instances by EXT_mesh_gpu_instancing were passed over: each mesh was taken once".to_owned());
    }
    Ok(())
}

fn nodes(count: usize) -> String {
    if count == 1 { "1 node is".to_owned() } else { format!("{count} nodes are") }
}

fn roots(document: &Document<'_>, about: &mut About) -> Result<Vec<u32>, String> {
    let scenes = &document.scenes.0;
    if scenes.is_empty() {
        let mut held = vec![false; document.nodes.0.len()];
        for &child in document.nodes.0.iter().flat_map(|node| &node.children.0) {
            if let Some(held) = held.get_mut(child as usize) {
                *held = true;
            }
        }
        return Ok((0..).zip(held).filter(|(_, held)| !held).map(|(at, _)| at).collect());
    }
    let at = document.scene.unwrap_or(0);
    let scene = scenes.get(at as usize).ok_or_else(|| missing("scene", at))?;
    if scenes.len() > 1 {
        about.notes.push(format!("of its {} scenes only number {} was read", scenes.len(), at + 1));
    }
    Ok(scene.nodes.0.clone())
}

fn missing(what: &str, at: u32) -> String {
    format!("the glTF file names {what} {at}, which does not exist; export it again")
}

struct Walk<'w, 'd> {
    document: &'w Document<'d>,
    buffers: &'w Buffers<'w>,
    builder: &'w mut Builder,
    skins: usize,
    morphs: usize,
    undrawn: usize,
    vanished: usize,
}

impl<'w> Walk<'w, '_> {
    /// Visits the nodes in the order of the file, parents before children, each once: nodes are trees (3.5.2).
    fn nodes(&mut self, roots: &[u32]) -> Result<(), String> {
        let document = self.document;
        let mut met = vec![false; document.nodes.0.len()];
        let mut waiting: Vec<(u32, DAffine3)> = roots.iter().rev().map(|&at| (at, DAffine3::IDENTITY)).collect();
        while let Some((at, outer)) = waiting.pop() {
            let node = document.nodes.0.get(at as usize).ok_or_else(|| missing("node", at))?;
            if std::mem::replace(&mut met[at as usize], true) {
                return Err(format!("node {at} of the glTF file is held twice, or holds itself; export it again"));
            }
            let transform = outer * local(node, at)?;
            if let Some(mesh) = node.mesh {
                self.mesh(node, mesh, transform)?;
            }
            waiting.extend(node.children.0.iter().rev().map(|&child| (child, transform)));
        }
        Ok(())
    }

    fn mesh(&mut self, node: &Node<'_>, at: u32, transform: DAffine3) -> Result<(), String> {
        let mesh: &'w Mesh<'_> = self.document.meshes.0.get(at as usize).ok_or_else(|| missing("mesh", at))?;
        let determinant = transform.matrix3.determinant();
        if determinant == 0.0 {
            self.vanished += 1;
            return Ok(());
        }
        self.skins += usize::from(node.skin.is_some());
        let name = node.name.as_ref().or(mesh.name.as_ref());
        self.builder.begin_body(name.map(|name| name.0.as_ref()));
        for (number, primitive) in mesh.primitives.0.iter().enumerate() {
            self.morphs += primitive.targets.0.len();
            // A mirror turns a triangle's winding against its outside (3.7.4).
            let mirrored = determinant < 0.0;
            self.primitive(primitive, transform, mirrored)
                .map_err(|message| format!("primitive {number} of mesh {at}: {message}"))?;
        }
        Ok(())
    }

    fn primitive(&mut self, primitive: &Primitive, transform: DAffine3, mirrored: bool) -> Result<(), String> {
        let Some(mode) = Mode::of(primitive.mode)? else {
            self.undrawn += 1;
            return Ok(());
        };
        // Without positions there is nothing to draw (3.7.2.1).
        let Some(positions) = primitive.attributes.position else {
            self.undrawn += 1;
            return Ok(());
        };
        let positions = Reader::positions(self.document, self.buffers, positions)?;
        let indices = match primitive.indices {
            Some(at) => Some(Reader::indices(self.document, self.buffers, at)?),
            None => None,
        };
        let corners = indices.as_ref().map_or(positions.len(), Reader::len);
        if mode == Mode::Triangles && !corners.is_multiple_of(3) {
            return Err(format!("{corners} corners are no whole number of triangles; export it again"));
        }
        let triangles = mode.triangles(corners);
        self.builder.expect(triangles as u64)?;
        let mut corners = Corners { positions, indices, transform, numbers: Vec::new() };
        corners.make_room(triangles);
        for at in 0..triangles {
            let [a, b, c] = mode.corners(at);
            let [b, c] = if mirrored { [c, b] } else { [b, c] };
            let a = corners.number(a, self.builder)?;
            let b = corners.number(b, self.builder)?;
            let c = corners.number(c, self.builder)?;
            // Strips repeat a vertex to go on elsewhere; what is between is no triangle.
            if mode == Mode::Triangles || (a != b && b != c && c != a) {
                self.builder.triangle([a, b, c])?;
            }
        }
        Ok(())
    }
}

/// How the corners of a primitive make triangles (3.7.2.1).
#[derive(Clone, Copy, PartialEq, Eq)]
enum Mode {
    Triangles,
    Strip,
    Fan,
}

impl Mode {
    /// Nothing for points and lines.
    fn of(code: u32) -> Result<Option<Self>, String> {
        match code {
            0..=3 => Ok(None),
            4 => Ok(Some(Self::Triangles)),
            5 => Ok(Some(Self::Strip)),
            6 => Ok(Some(Self::Fan)),
            _ => Err(format!("mode {code} is not known; export it again")),
        }
    }

    const fn triangles(self, corners: usize) -> usize {
        match self {
            Self::Triangles => corners / 3,
            Self::Strip | Self::Fan => corners.saturating_sub(2),
        }
    }

    const fn corners(self, at: usize) -> [usize; 3] {
        match self {
            Self::Triangles => [3 * at, 3 * at + 1, 3 * at + 2],
            // Every second triangle of a strip is turned.
            Self::Strip => [at, at + 1 + at % 2, at + 2 - at % 2],
            Self::Fan => [at + 1, at + 2, 0],
        }
    }
}

/// The corners of a primitive in their place, each vertex numbered when it is first met.
struct Corners<'b> {
    positions: Reader<'b>,
    indices: Option<Reader<'b>>,
    transform: DAffine3,
    /// One more than the number of each vertex, or 0; empty where that would take more room than it saves work.
    numbers: Vec<u32>,
}

impl Corners<'_> {
    /// A list of the vertices' numbers is worth its room where most are used more than once. An accessor without bytes
    /// of its own may promise any number of vertices.
    fn make_room(&mut self, triangles: usize) {
        if self.indices.is_some() && self.positions.len() <= 3 * triangles {
            self.numbers = vec![0; self.positions.len()];
        }
    }

    fn number(&mut self, corner: usize, builder: &mut Builder) -> Result<u32, String> {
        let count = self.positions.len();
        let vertex = self.indices.as_ref().map_or(corner, |indices| indices.index(corner));
        if vertex >= count {
            return Err(format!("index {vertex} names no vertex, there are {count}, counted from 0; export it again"));
        }
        match self.numbers.get(vertex).copied().unwrap_or(0).checked_sub(1) {
            Some(number) => Ok(number),
            None => {
                let position = self.transform.transform_point3(self.positions.position(vertex));
                let number = builder.point(position, || format!("vertex {vertex}"))?;
                if let Some(place) = self.numbers.get_mut(vertex) {
                    *place = number + 1;
                }
                Ok(number)
            }
        }
    }
}

/// The transform of a node against its parent: a matrix by columns, or scale, then rotation, then translation (3.5.3).
fn local(node: &Node<'_>, at: u32) -> Result<DAffine3, String> {
    let wrong = || format!("node {at} of the glTF file has a transform that is none; export it again");
    if let Some(matrix) = &node.matrix {
        let matrix = DMat4::from_cols_array(matrix);
        if matrix.row(3) != glam::DVec4::W {
            return Err(wrong());
        }
        return Ok(DAffine3::from_mat4(matrix));
    }
    let rotation = match node.rotation {
        None => DQuat::IDENTITY,
        Some(rotation) => {
            let length = rotation.iter().map(|part| part * part).sum::<f64>().sqrt();
            if !length.is_normal() {
                return Err(wrong());
            }
            DQuat::from_array(rotation.map(|part| part / length))
        }
    };
    let scale = node.scale.map_or(DVec3::ONE, DVec3::from_array);
    let translation = node.translation.map_or(DVec3::ZERO, DVec3::from_array);
    Ok(DAffine3::from_scale_rotation_translation(scale, rotation, translation))
}
