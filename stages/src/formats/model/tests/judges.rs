//! What other people's readers make of the same files: `ply-rs-bw`, `tobj` and `gltf`. None of them is used beyond the
//! tests, for none can be held to what a hostile file may make it allocate.

use std::io::Cursor;

use ply_rs_bw::parser::Parser;
use ply_rs_bw::ply::{DefaultElement, Property};
use proptest::prelude::*;

use super::*;

/// Volume and area of triangles, which together notice a corner out of place, a turned triangle and a lost one.
fn measures(triangles: impl Iterator<Item = [DVec3; 3]>) -> (usize, f64, f64) {
    triangles.fold((0, 0.0, 0.0), |(count, volume, area), [a, b, c]| {
        (count + 1, volume + a.dot(b.cross(c)) / 6.0, area + (b - a).cross(c - a).length() / 2.0)
    })
}

#[track_caller]
fn assert_alike(model: &Model, judged: impl Iterator<Item = [DVec3; 3]>) {
    let own = measures(model.surface().each_triangle());
    let other = measures(judged);
    assert_eq!(own.0, other.0);
    assert!((own.1 - other.1).abs() <= 1e-9 * own.1.abs().max(1.0), "{own:?}, {other:?}");
    assert!((own.2 - other.2).abs() <= 1e-9 * own.2.max(1.0), "{own:?}, {other:?}");
}

/// A fan, which is what the judges make of a convex polygon.
fn fan(corners: &[DVec3]) -> Vec<[DVec3; 3]> {
    corners.windows(2).skip(1).map(|pair| [corners[0], pair[0], pair[1]]).collect()
}

/// A closed band of quads and triangles around an axis, with corners at `radii`.
fn shape(radii: &[f64]) -> (Vec<[f64; 3]>, Vec<Vec<usize>>) {
    let count = radii.len();
    let mut points = vec![[0.0, 0.0, -1.0], [0.0, 0.0, 2.0]];
    for (at, radius) in radii.iter().enumerate() {
        let (sin, cos) = libm::sincos(std::f64::consts::TAU * at as f64 / count as f64);
        for z in [0.0, 1.0] {
            // Numbers that single precision holds, so that every format can.
            points.push([radius * cos, radius * sin, z].map(|c| f64::from(c as f32)));
        }
    }
    let corner = |at: usize, top: usize| 2 + 2 * (at % count) + top;
    let mut faces = Vec::new();
    for at in 0..count {
        faces.push(vec![corner(at, 0), corner(at + 1, 0), corner(at + 1, 1), corner(at, 1)]);
        faces.push(vec![0, corner(at + 1, 0), corner(at, 0)]);
        faces.push(vec![1, corner(at, 1), corner(at + 1, 1)]);
    }
    (points, faces)
}

fn ply_elements(bytes: &[u8]) -> Vec<[DVec3; 3]> {
    let ply = Parser::<DefaultElement>::new().read_ply(&mut Cursor::new(bytes)).unwrap();
    let number = |property: &Property| match *property {
        Property::Float(n) => f64::from(n),
        Property::Double(n) => n,
        Property::Int(n) => f64::from(n),
        Property::UChar(n) => f64::from(n),
        _ => panic!("{property:?}"),
    };
    let points: Vec<DVec3> = ply.payload["vertex"]
        .iter()
        .map(|vertex| DVec3::new(number(&vertex["x"]), number(&vertex["y"]), number(&vertex["z"])))
        .collect();
    let faces = ply.payload["face"].iter().map(|face| match &face["vertex_indices"] {
        Property::ListInt(list) => list.iter().map(|&at| points[at as usize]).collect::<Vec<_>>(),
        other => panic!("{other:?}"),
    });
    faces.flat_map(|corners| fan(&corners)).collect()
}

#[test]
fn ply_rs_reads_the_same_letter() {
    for bytes in [forms::ply_text().into_bytes(), forms::ply(false), forms::ply(true)] {
        let judged = ply_elements(&bytes);
        let own = read_alone(&bytes, "a.ply").unwrap();
        // A fan of a letter has triangles turned over, so only the signed volume is the same.
        let volume = measures(judged.into_iter()).1;
        assert!((own.surface().signed_volume() - volume).abs() < 1e-9);
    }
}

#[test]
fn gltf_reads_the_same_letter_and_the_same_scene() {
    let placed = r#"{"children":[1],"translation":[10,0,0],"rotation":[0.18257418583505536,0.3651483716701107,
        0.5477225575051661,0.7302967433402214]},{"mesh":0,"scale":[-1,2,3]}"#;
    let moved = forms::gltf_with("").replace(r#"{"mesh":0,"name":"letter"}"#, placed);
    for json in [forms::gltf_with(""), moved] {
        let bytes = forms::glb_of(&json, &forms::buffer());
        let judge = ::gltf::Gltf::from_slice(&bytes).unwrap();
        let blob = judge.blob.clone().unwrap();
        let mut judged = Vec::new();
        let mut nodes: Vec<(::gltf::Node<'_>, glam::DMat4)> =
            judge.default_scene().unwrap().nodes().map(|node| (node, glam::DMat4::IDENTITY)).collect();
        while let Some((node, outer)) = nodes.pop() {
            let local = node.transform().matrix().map(|column| column.map(f64::from));
            let transform = outer * glam::DMat4::from_cols_array_2d(&local);
            for primitive in node.mesh().iter().flat_map(::gltf::Mesh::primitives) {
                let reader = primitive.reader(|_| Some(&blob));
                let points: Vec<DVec3> = reader
                    .read_positions()
                    .unwrap()
                    .map(|p| transform.transform_point3(p.map(f64::from).into()))
                    .collect();
                let indices: Vec<u32> = reader.read_indices().unwrap().into_u32().collect();
                let mirrored = transform.determinant() < 0.0;
                judged.extend(indices.chunks(3).map(|t| {
                    let [a, b, c] = [t[0], t[1], t[2]].map(|at| points[at as usize]);
                    if mirrored { [a, c, b] } else { [a, b, c] }
                }));
            }
            nodes.extend(node.children().map(|child| (child, transform)));
        }
        let own = read_alone(&bytes, "a.glb").unwrap();
        let (own, other) = (measures(own.surface().each_triangle()), measures(judged.into_iter()));
        assert_eq!(own.0, other.0);
        // The judge reckons transforms in single precision.
        assert!((own.1 / other.1 - 1.0).abs() < 1e-5, "{own:?}, {other:?}");
        assert!((own.2 / other.2 - 1.0).abs() < 1e-5, "{own:?}, {other:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(100) })]

    #[test]
    fn the_judges_agree_on_any_shape(radii in prop::collection::vec(0.5f64..2.0, 3..30)) {
        let (points, faces) = shape(&radii);
        let mut obj = String::from("o shape\n");
        let mut ply = format!(
            "ply\nformat ascii 1.0\nelement vertex {}\nproperty double x\nproperty double y\nproperty double z\n\
             element face {}\nproperty list uchar int vertex_indices\nend_header\n",
            points.len(),
            faces.len()
        );
        for [x, y, z] in &points {
            obj += &format!("v {x} {y} {z}\n");
            ply += &format!("{x} {y} {z}\n");
        }
        for face in &faces {
            obj += &format!("f {}\n", face.iter().map(|at| (at + 1).to_string()).collect::<Vec<_>>().join(" "));
            let list = face.iter().map(usize::to_string).collect::<Vec<_>>().join(" ");
            ply += &format!("{} {list}\n", face.len());
        }
        let own_obj = read_alone(obj.as_bytes(), "a.obj").unwrap();
        let own_ply = read_alone(ply.as_bytes(), "a.ply").unwrap();
        prop_assert_eq!(own_obj.surface(), own_ply.surface());
        prop_assert!(is_closed(own_obj.surface()));

        let options = tobj::LoadOptions { triangulate: true, ..Default::default() };
        let (models, _) =
            tobj::load_obj_buf(&mut Cursor::new(&obj), &options, |_| Err(tobj::LoadError::OpenFileFailed)).unwrap();
        let judged = models.iter().flat_map(|model| {
            let points = model.mesh.positions.as_chunks::<3>().0;
            model.mesh.indices.as_chunks::<3>().0.iter().map(|t| t.map(|at| DVec3::from(points[at as usize])))
        });
        // Quads may be cut along either diagonal; those here are flat, so that measures are the same.
        assert_alike(&own_obj, judged);
        assert_alike(&own_ply, ply_elements(ply.as_bytes()).into_iter());
    }
}
