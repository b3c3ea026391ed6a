//! The letter L written in every format, by code that shares nothing with the readers.

use std::io::{Cursor, Write as _};

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::*;

/// The twelve triangles of a cube from its lowest corner.
pub(super) fn cube(low: DVec3, edge: f64) -> Vec<[DVec3; 3]> {
    // Corner n lies at the far end of x, y, z where bits 0, 1, 2 of n are set.
    let corner = |n: u32| low + edge * DVec3::from([0, 1, 2].map(|axis| f64::from(n >> axis & 1)));
    let sides = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    sides.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]).map(|t| t.map(corner)).collect()
}

pub(super) fn facet(corners: [DVec3; 3]) -> String {
    let corners: String = corners.iter().map(|p| format!("vertex {} {} {}\n", p.x, p.y, p.z)).collect();
    format!("facet normal 0 0 0\nouter loop\n{corners}endloop\nendfacet\n")
}

fn corners() -> impl Iterator<Item = [DVec3; 3]> {
    triangles().into_iter().map(|t| t.map(|at| CORNERS[at].map(f64::from).into()))
}

pub(super) fn stl() -> Vec<u8> {
    let mut bytes = vec![b' '; 80];
    bytes.extend(20_u32.to_le_bytes());
    for triangle in corners() {
        bytes.extend([0; 12]);
        bytes.extend(triangle.iter().flat_map(|p| p.to_array()).flat_map(|c| (c as f32).to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

pub(super) fn stl_text() -> String {
    format!("solid letter\n{}endsolid letter\n", corners().map(facet).collect::<String>())
}

/// Polygons, with properties and elements that say nothing about the surface between those that do.
const PLY_BODY: &str = "element vertex 12\nproperty uchar red\nproperty float x\nproperty double y\n\
    property list uchar short extra\nproperty int z\nelement edge 2\nproperty list uint double weights\n\
    property char kind\nelement face 8\nproperty ushort flags\nproperty list uchar int vertex_indices\n\
    property list char float texcoord\nend_header\n";

pub(super) fn ply_text() -> String {
    let mut text = format!("ply\nformat ascii 1.0\ncomment a letter\nobj_info none\n{PLY_BODY}");
    for [x, y, z] in points() {
        text += &format!("255 {x} {y:e} 2 7 8 {z}\n");
    }
    text += "3 0.5 1.5 2.5 -1\n0 9\n";
    for face in FACES {
        let list: Vec<String> = face.iter().map(usize::to_string).collect();
        text += &format!("0 {} {} 1 0.5\n", face.len(), list.join(" "));
    }
    text
}

pub(super) fn ply(big_endian: bool) -> Vec<u8> {
    let order = if big_endian { "big" } else { "little" };
    let mut bytes = format!("ply\nformat binary_{order}_endian 1.0\n{PLY_BODY}").into_bytes();
    let mut put = |number: &[u8]| {
        let mut number = number.to_vec();
        if big_endian {
            number.reverse();
        }
        bytes.extend(number);
    };
    for [x, y, z] in points() {
        put(&[255]);
        put(&(x as f32).to_le_bytes());
        put(&y.to_le_bytes());
        put(&[2]);
        put(&7_i16.to_le_bytes());
        put(&8_i16.to_le_bytes());
        put(&(z as i32).to_le_bytes());
    }
    for (count, kind) in [(3_u32, -1_i8), (0, 9)] {
        put(&count.to_le_bytes());
        (0..count).for_each(|_| put(&0.5_f64.to_le_bytes()));
        put(&kind.to_le_bytes());
    }
    for face in FACES {
        put(&0_u16.to_le_bytes());
        put(&[face.len() as u8]);
        face.iter().for_each(|&at| put(&(at as i32).to_le_bytes()));
        put(&[1]);
        put(&0.5_f32.to_le_bytes());
    }
    bytes
}

/// Every way to write a corner, numbers from the end, comments, and a line that goes on in the next.
pub(super) fn obj() -> String {
    let mut text = String::from("# a letter\nmtllib /etc/passwd\no letter\n");
    for [x, y, z] in points() {
        text += &format!("v {x} {y} {z} 1.0 # corner\nvt 0 0\nvn 0 0 1\n");
    }
    text += "usemtl none\ns off\ng front\n";
    for (number, face) in FACES.iter().enumerate() {
        let corners: Vec<String> = face
            .iter()
            .map(|&at| match number % 5 {
                0 => format!("{}", at + 1),
                1 => format!("{}/1", at + 1),
                2 => format!("{}/1/1", at + 1),
                3 => format!("{}//1", at + 1),
                _ => format!("{}", at as i64 - 12),
            })
            .collect();
        let (first, rest) = corners.split_at(2);
        text += &format!("f {} \\\r\n  {}\n", first.join(" "), rest.join("\t"));
    }
    text
}

const RELATIONSHIPS: &str = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="r" Target="/3D/m.model" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>"#;

pub(super) fn package(parts: &[(&str, &str)], method: CompressionMethod) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in [("_rels/.rels", RELATIONSHIPS)].iter().chain(parts) {
        zip.start_file(*name, SimpleFileOptions::default().compression_method(method)).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

pub(super) fn threemf(document: &str) -> Vec<u8> {
    package(&[("3D/m.model", document)], CompressionMethod::Deflated)
}

/// A document with these resources and this build.
pub(super) fn document(resources: &str, build: &str) -> String {
    format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
 xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06" requiredextensions="p">
<metadata name="Title">L</metadata><resources>{resources}</resources><build>{build}</build></model>"#
    )
}

pub(super) fn mesh(points: impl Iterator<Item = [f64; 3]>, triangles: &[[usize; 3]]) -> String {
    let points: String = points.map(|[x, y, z]| format!(r#"<vertex x="{x}" y="{y}" z="{z}"/>"#)).collect();
    let triangles: String = triangles
        .iter()
        .map(|[a, b, c]| format!(r#"<triangle v1="{a}" v2="{b}" v3="{c}" pid="9" p1="1" p2="2"/>"#))
        .collect();
    format!("<mesh><vertices>{points}</vertices><triangles>{triangles}</triangles></mesh>")
}

pub(super) fn threemf_document() -> String {
    let mesh = mesh(points(), &triangles());
    document(&format!(r#"<object id="1" name="letter">{mesh}</object>"#), r#"<item objectid="1"/>"#)
}

/// Positions and 16-bit indices, one after the other.
pub(super) fn buffer() -> Vec<u8> {
    let positions = points().flatten().flat_map(|c| (c as f32).to_le_bytes());
    let indices = triangles().into_iter().flatten().flat_map(|at| (at as u16).to_le_bytes());
    positions.chain(indices).collect()
}

/// A document whose only buffer is given by `uri`, a member of its JSON object or nothing.
pub(super) fn gltf_with(uri: &str) -> String {
    format!(
        r#"{{"asset":{{"version":"2.0"}},"scene":0,"scenes":[{{"nodes":[0]}}],"nodes":[{{"mesh":0,"name":"letter"}}],
"meshes":[{{"primitives":[{{"attributes":{{"POSITION":0}},"indices":1}}]}}],
"accessors":[{{"bufferView":0,"componentType":5126,"count":12,"type":"VEC3","min":[0,0,0],"max":[4,2,4]}},
{{"bufferView":1,"componentType":5123,"count":60,"type":"SCALAR"}}],
"bufferViews":[{{"buffer":0,"byteLength":144}},{{"buffer":0,"byteOffset":144,"byteLength":120}}],
"buffers":[{{{uri}"byteLength":264}}]}}"#
    )
}

pub(super) fn embedded(bytes: &[u8]) -> String {
    format!("\"uri\":\"data:application/octet-stream;base64,{}\",", STANDARD.encode(bytes))
}

pub(super) fn gltf() -> String {
    gltf_with(&embedded(&buffer()))
}

pub(super) fn glb() -> Vec<u8> {
    glb_of(&gltf_with(""), &buffer())
}

pub(super) fn glb_of(json: &str, binary: &[u8]) -> Vec<u8> {
    let padded = |bytes: &[u8], with: u8| {
        let mut bytes = bytes.to_vec();
        bytes.resize(bytes.len().next_multiple_of(4), with);
        bytes
    };
    let chunks = [(b"JSON", padded(json.as_bytes(), b' ')), (b"BIN\0", padded(binary, 0))];
    let length = 12 + chunks.iter().map(|(_, bytes)| 8 + bytes.len()).sum::<usize>();
    let mut file = b"glTF".to_vec();
    file.extend(2_u32.to_le_bytes());
    file.extend((length as u32).to_le_bytes());
    for (kind, bytes) in chunks {
        file.extend((bytes.len() as u32).to_le_bytes());
        file.extend(kind);
        file.extend(bytes);
    }
    file
}
