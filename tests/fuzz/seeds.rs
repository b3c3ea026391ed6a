//! Writes a small sound file of each kind for the fuzz targets to begin with: `seeds CORPUS-FOLDER`.

use std::path::Path;
use std::{env, fs, io};

/// A tetrahedron with a quad for one of its faces.
const OBJ: &str = "mtllib none.mtl\no a\nv 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nf 4 3 2 1\ng b\nf 1/1 2/2 5/3\n\
                   f -4//1 -3//1 -1//1\nf 3 4 \\\n 5\nusemtl m\nf 4 1 5\nl 1 2\n";

const PLY_ELEMENTS: &str = "element vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\n\
                            property uchar red\nproperty list uchar int vertex_indices\n";

const MODEL: &str = r#"<model unit="inch" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
xmlns:p="http://schemas.microsoft.com/3dmanufacturing/production/2015/06" requiredextensions="p"><resources>
<object id="1" name="a"><mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/>
</vertices><triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>
<object id="2"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 5 0 0"/><component objectid="1"/>
</components></object></resources><build><item objectid="2"/><item objectid="1"/></build></model>"#;

const GLTF: &str = r#"{"asset":{"version":"2.0"},"scene":0,"scenes":[{"nodes":[0]}],"nodes":[{"children":[1],
"rotation":[0,0,0,1]},{"mesh":0,"scale":[1,2,3]}],"meshes":[{"primitives":[{"attributes":{"POSITION":0},"indices":1,
"mode":5}]}],"accessors":[{"bufferView":0,"componentType":5126,"count":9,"type":"VEC3","sparse":{"count":1,"indices":
{"bufferView":1,"componentType":5121},"values":{"bufferView":0}}},{"bufferView":1,"byteOffset":4,"componentType":5121,
"count":6,"type":"SCALAR"}],"bufferViews":[{"buffer":0,"byteLength":108,"byteStride":12},{"buffer":0,"byteOffset":108,
"byteLength":12}],"buffers":[{"byteLength":256}]}"#;

const STL_TEXT: &str = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\n\
                        endfacet\nendsolid a\n";

/// Small pictures of each kind, in hexadecimal.
const PICTURES: [(&str, &str); 4] = [
    (
        "png",
        "89504e470d0a1a0a0000000d4948445200000004000000030806000000b4f4aec60000001a4944415478da636460d0f86fc3c0f0\
         0886591802185000860000cb05052bfa6dbfb10000000049454e44ae426082",
    ),
    (
        "webp",
        "5249464644000000574542505650384c380000002f038000105f40906d33c422dcdfe30e0281247f9e11061b14814012c9f67bf6\
         a00eb0750114b46dc3467b289442c195c2282ca2ff315fbe",
    ),
    (
        "webp-lossy",
        "524946466a00000057454250565038580a00000010000000030000020000414c50480c000000011f70f1ff888840c923fa1f5650\
         382038000000b001009d012a0400030004006825b00274010efe02ec00feac68681cbe9795d107f96c3f0c87cc5e84fdc2b5f72b\
         dc328a8c7dd32f880000",
    ),
    (
        "jpeg",
        "ffd8ffe000104a46494600010100000100010000ffdb00430050373c463c32504641465a55505f78c882786e6e78f5afb991c8ff\
         ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffdb004301555a5a786978eb8282eb\
         ffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffffff\
         ffffffc20011080010001003012200021101031101ffc400160001010100000000000000000000000000020103ffc40015010101\
         00000000000000000000000000000001ffda000c03010002100310000001c9551fffc40014100100000000000000000000000000\
         000020ffda00080101000105021fffc4001511010100000000000000000000000000000100ffda0008010301013f011bffc40015\
         11010100000000000000000000000000000011ffda0008010201013f01afffc40014100100000000000000000000000000000020\
         ffda0008010100063f021fffc4001510010100000000000000000000000000000011ffda0008010100013f218888ffda000c0301\
         000200030000001027ffc40014110100000000000000000000000000000000ffda0008010301013f105fffc40015110101000000\
         00000000000000000000000001ffda0008010201013f10a7ffc4001510010100000000000000000000000000000100ffda000801\
         0100013f10142884ffd9",
    ),
];

fn main() -> io::Result<()> {
    let folder = env::args().nth(1).ok_or_else(|| io::Error::other("name the folder of the corpora"))?;
    let put = |target: &str, name: &str, bytes: &[u8]| {
        let folder = Path::new(&folder).join(target);
        fs::create_dir_all(&folder)?;
        fs::write(folder.join(name), bytes)
    };
    put("obj", "piece", OBJ.as_bytes())?;
    put("ply", "text", format!("format ascii 1.0\n{PLY_ELEMENTS}end_header\n0 0 0 1 0 0 0 1 0 9 3 0 1 2\n").as_bytes())?;
    for (order, big_endian) in [("little", false), ("big", true)] {
        put("ply", order, &ply(order, big_endian))?;
    }
    put("stl", "text", STL_TEXT.as_bytes())?;
    put("stl", "binary", &[&[0; 80][..], &1_u32.to_le_bytes(), &[0; 50]].concat())?;
    for target in ["threemf_read", "threemf_model"] {
        put(target, "model", MODEL.as_bytes())?;
    }
    put("gltf", "document", GLTF.as_bytes())?;
    put("job", "demo", include_bytes!("../../jobs/harbour-whelk.yaml"))?;
    put("job", "night", include_bytes!("../../jobs/harbour-night.yaml"))?;
    for (name, hex) in PICTURES {
        let byte = |at| u8::from_str_radix(&hex[at..at + 2], 16).map_err(io::Error::other);
        put("bitmap", name, &(0..hex.len()).step_by(2).map(byte).collect::<io::Result<Vec<u8>>>()?)?;
    }
    put("rates", "demo", include_bytes!("../../jobs/rates/bureau-demo.yaml"))?;
    put("profile", "rgb", &tags_of_a_profile(3))?;
    put("profile", "cmyk", &tags_of_a_profile(4))
}

/// What follows the header of a printer's profile (ISO 15076-1, 7.3 and 10.10): a table from so many inks, and one back.
fn tags_of_a_profile(inks: u8) -> Vec<u8> {
    let table = |inputs: u8, outputs: u8| {
        let mut bytes = b"mft2\0\0\0\0".to_vec();
        bytes.extend([inputs, outputs, 2, 0]);
        (0..9).for_each(|at| bytes.extend(if at % 4 == 0 { 0x1_0000_u32 } else { 0 }.to_be_bytes()));
        bytes.extend([0, 2, 0, 2]);
        let line = [0, 0, 0xff, 0xff];
        (0..inputs).for_each(|_| bytes.extend(line));
        (0..usize::from(outputs) << inputs).for_each(|n| bytes.extend((n as u16 * 997).to_be_bytes()));
        (0..outputs).for_each(|_| bytes.extend(line));
        bytes
    };
    let (from, to) = (table(inks, 3), table(3, inks));
    let mut bytes = 2_u32.to_be_bytes().to_vec();
    let mut at = 128 + 4 + 2 * 12;
    for (name, table) in [(b"A2B0", &from), (b"B2A0", &to)] {
        bytes.extend(name);
        bytes.extend((at as u32).to_be_bytes());
        bytes.extend((table.len() as u32).to_be_bytes());
        at += table.len();
    }
    [bytes, from, to].concat()
}

fn ply(order: &str, big_endian: bool) -> Vec<u8> {
    let mut bytes = format!("format binary_{order}_endian 1.0\n{PLY_ELEMENTS}end_header\n").into_bytes();
    let mut put = |number: [u8; 4]| {
        let mut number = number;
        if big_endian {
            number.reverse();
        }
        bytes.extend(number);
    };
    [0.0, 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 0.0_f32].into_iter().for_each(|c| put(c.to_le_bytes()));
    bytes.extend([9, 3]);
    for at in 0..3_u32 {
        let at = if big_endian { at.to_be_bytes() } else { at.to_le_bytes() };
        bytes.extend(at);
    }
    bytes
}
