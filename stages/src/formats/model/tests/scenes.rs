//! What a scene does with its meshes: transforms, uses, strips, strides, and what is passed over.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use zip::CompressionMethod;

use super::*;

/// The document of the letter with one text in it replaced.
fn gltf_but(old: &str, new: &str) -> Vec<u8> {
    let text = forms::gltf();
    assert_eq!(text.matches(old).count(), 1, "{old}");
    text.replace(old, new).into_bytes()
}

fn bounds(model: &Model) -> [[f64; 3]; 2] {
    model.surface().bounds().unwrap().map(|p| p.to_array())
}

const NODE: &str = r#"{"mesh":0,"name":"letter"}"#;

#[test]
fn nodes_are_placed_by_their_transforms() {
    // The letter reaches from 0 to 4, 2 and 4 along x, y and z.
    let half = std::f64::consts::FRAC_1_SQRT_2;
    for (members, expected) in [
        (r#""translation":[10,20,30]"#.to_owned(), [[10.0, 20.0, 30.0], [14.0, 22.0, 34.0]]),
        (r#""scale":[2,3,4]"#.to_owned(), [[0.0; 3], [8.0, 6.0, 16.0]]),
        // A quarter turn about z takes x to y and y to −x.
        (format!(r#""rotation":[0,0,{half},{half}]"#), [[-2.0, 0.0, 0.0], [0.0, 4.0, 4.0]]),
        // A quaternion of another length turns as far.
        (r#""rotation":[0,0,3,3]"#.to_owned(), [[-2.0, 0.0, 0.0], [0.0, 4.0, 4.0]]),
        // Scale, then turn, then move (3.5.3).
        (
            format!(r#""scale":[2,1,1],"rotation":[0,0,{half},{half}],"translation":[1,0,0]"#),
            [[-1.0, 0.0, 0.0], [1.0, 8.0, 4.0]],
        ),
        // By columns: the same.
        (r#""matrix":[0,2,0,0,-1,0,0,0,0,0,1,0,1,0,0,1]"#.to_owned(), [[-1.0, 0.0, 0.0], [1.0, 8.0, 4.0]]),
        // A mirror keeps the outside outside.
        (r#""scale":[-1,1,1]"#.to_owned(), [[-4.0, 0.0, 0.0], [0.0, 2.0, 4.0]]),
    ] {
        let file = gltf_but(NODE, &format!(r#"{{"mesh":0,"name":"letter",{members}}}"#));
        let model = read_alone(&file, "a.gltf").unwrap();
        let got = bounds(&model);
        let off = got.iter().flatten().zip(expected.iter().flatten()).map(|(a, b): (&f64, &f64)| (a - b).abs());
        assert!(off.fold(0.0, f64::max) < 1e-12, "{members}: {got:?}");
        assert!(model.surface().signed_volume() > 0.0 && is_closed(model.surface()), "{members}");
    }
}

#[test]
fn children_go_with_their_parents_and_each_use_is_a_body() {
    let nodes = r#"{"children":[1,2],"translation":[100,0,0]},{"mesh":0,"scale":[2,2,2]},
        {"mesh":0,"name":"small","translation":[0,50,0],"children":[3]},{"mesh":0,"scale":[0,0,0]}"#;
    let model = read_alone(&gltf_but(NODE, nodes), "a.gltf").unwrap();
    let bodies = model.bodies();
    assert_eq!(bodies.len(), 2);
    assert_eq!(bodies[0].bounds, [DVec3::new(100.0, 0.0, 0.0), DVec3::new(108.0, 4.0, 8.0)]);
    assert_eq!(bodies[1].bounds, [DVec3::new(100.0, 50.0, 0.0), DVec3::new(104.0, 52.0, 4.0)]);
    assert_eq!((bodies[0].name.as_deref(), bodies[1].name.as_deref()), (None, Some("small")));
    assert_eq!(model.notes, ["1 node scaled to nothing was passed over"]);
}

#[test]
fn without_a_scene_every_root_is_taken_and_of_several_the_default() {
    let file = gltf_but(r#""scene":0,"scenes":[{"nodes":[0]}],"#, "");
    assert_letter(&read_alone(&file, "a.gltf").unwrap(), 1.0);
    let file = gltf_but(r#""scene":0,"scenes":[{"nodes":[0]}]"#, r#""scene":1,"scenes":[{},{"nodes":[0]}]"#);
    let model = read_alone(&file, "a.gltf").unwrap();
    assert_letter(&model, 1.0);
    assert_eq!(model.notes, ["of its 2 scenes only number 2 was read"]);
    refused_with(gltf_but(r#""scene":0"#, r#""scene":1"#), "a.gltf", "names scene 1, which does not exist");
}

/// Points, indices and the primitive's members as a document of its own.
fn primitive(points: &[[f32; 3]], indices: Option<&[u8]>, members: &str) -> Vec<u8> {
    let mut bytes: Vec<u8> = points.iter().flatten().flat_map(|c| c.to_le_bytes()).collect();
    let split = bytes.len();
    bytes.extend(indices.unwrap_or_default());
    let count = indices.map_or(1, <[u8]>::len);
    let attribute = if indices.is_some() { r#","indices":1"# } else { "" };
    format!(
        r#"{{"asset":{{"version":"2.0"}},"nodes":[{{"mesh":0}}],
"meshes":[{{"primitives":[{{"attributes":{{"POSITION":0}}{attribute}{members}}}]}}],
"accessors":[{{"bufferView":0,"componentType":5126,"count":{},"type":"VEC3"}},
{{"bufferView":1,"componentType":5121,"count":{count},"type":"SCALAR"}}],
"bufferViews":[{{"buffer":0,"byteLength":{split}}},{{"buffer":0,"byteOffset":{split},"byteLength":{}}}],
"buffers":[{{{}"byteLength":{}}}]}}"#,
        points.len(),
        bytes.len() - split,
        forms::embedded(&bytes),
        bytes.len()
    )
    .into_bytes()
}

/// glTF 2.0.1, 3.7.2.1: the triangles of strips and fans, written out there as formulas of the index.
#[test]
fn strips_and_fans() {
    // A strip around a square tube without ends, then its caps as fans.
    let tube: Vec<[f32; 3]> = [[0, 0], [1, 0], [1, 1], [0, 1]]
        .iter()
        .flat_map(|&[x, y]| [[x, y, 0], [x, y, 1]])
        .map(|p| p.map(|c| c as f32))
        .collect();
    let strip = [1, 0, 3, 2, 5, 4, 7, 6, 1, 0];
    let model = read_alone(&primitive(&tube, Some(&strip), r#","mode":5"#), "a.gltf").unwrap();
    assert_eq!(model.surface().triangles().len(), 8);
    assert!((model.surface().area() - 4.0).abs() < 1e-12);
    // The sides that look along x and y give two thirds of the volume of the unit cube about its middle; from the
    // origin, in which two sides lie, they give two thirds too: each of the other two is a pyramid of 1/3.
    assert!((model.surface().signed_volume() - 2.0 / 3.0).abs() < 1e-12, "{}", model.surface().signed_volume());

    let fan = [0, 2, 4, 6];
    let model = read_alone(&primitive(&tube, Some(&fan), r#","mode":6"#), "a.gltf").unwrap();
    let normals: Vec<f64> = model.surface().each_triangle().map(|[a, b, c]| (b - a).cross(c - a).z).collect();
    assert_eq!(normals, [1.0, 1.0]);
    // Corners that are repeated to go on elsewhere make no triangle.
    let model = read_alone(&primitive(&tube, Some(&[0, 2, 4, 4, 1, 1, 3, 5]), r#","mode":5"#), "a.gltf").unwrap();
    assert_eq!(model.surface().triangles().len(), 2);
    // Points and lines are none.
    for mode in 0..4 {
        let file = primitive(&tube, Some(&[0, 1, 2]), &format!(r#","mode":{mode}"#));
        refused_with(file, "a.gltf", "holds no triangles");
    }
    refused_with(primitive(&tube, Some(&[0, 1, 2]), r#","mode":7"#), "a.gltf", "mode 7 is not known");
}

#[test]
fn without_indices_three_points_make_a_triangle() {
    let corners = forms::cube(DVec3::ZERO, 2.0).into_iter().flatten().map(|p| p.as_vec3().to_array());
    let model = read_alone(&primitive(&corners.collect::<Vec<_>>(), None, ""), "a.gltf").unwrap();
    assert_eq!((model.surface().points().len(), model.surface().triangles().len()), (8, 12));
    assert!((model.surface().signed_volume() - 8.0).abs() < 1e-12);
}

/// Vertices with their normals between them, and one that a sparse accessor moves.
#[test]
fn strides_and_sparse_accessors() {
    let mut bytes = Vec::new();
    for (at, corner) in points().enumerate() {
        // The corner 4, 0, 0 is written elsewhere.
        let corner = if at == 1 { [9.0; 3] } else { corner };
        bytes.extend(corner.iter().chain(&[0.0, 0.0, 1.0]).flat_map(|c| (*c as f32).to_le_bytes()));
    }
    let indices = bytes.len();
    bytes.extend(triangles().into_iter().flatten().flat_map(|at| (at as u32).to_le_bytes()));
    let sparse = bytes.len();
    bytes.extend(1_u16.to_le_bytes());
    bytes.extend([0; 2]);
    bytes.extend([4.0_f32, 0.0, 0.0].iter().flat_map(|c| c.to_le_bytes()));
    let document = format!(
        r#"{{"asset":{{"version":"2.0"}},"nodes":[{{"mesh":0}}],
"meshes":[{{"primitives":[{{"attributes":{{"POSITION":0,"NORMAL":2}},"indices":1}}]}}],
"accessors":[{{"bufferView":0,"componentType":5126,"count":12,"type":"VEC3","sparse":{{"count":1,
"indices":{{"bufferView":2,"componentType":5123}},"values":{{"bufferView":2,"byteOffset":4}}}}}},
{{"bufferView":1,"componentType":5125,"count":60,"type":"SCALAR"}},
{{"bufferView":0,"byteOffset":12,"componentType":5126,"count":12,"type":"VEC3"}}],
"bufferViews":[{{"buffer":0,"byteLength":{indices},"byteStride":24}},
{{"buffer":0,"byteOffset":{indices},"byteLength":240}},{{"buffer":0,"byteOffset":{sparse},"byteLength":16}}],
"buffers":[{{"byteLength":{}}}]}}"#,
        bytes.len()
    );
    assert_letter(&read_alone(&forms::glb_of(&document, &bytes), "a.glb").unwrap(), 1.0);
    let unsorted = document.replace(r#""sparse":{"count":1"#, r#""sparse":{"count":2"#);
    refused_with(forms::glb_of(&unsorted, &bytes), "a.glb", "accessor 0");
    let beyond = document.replace(r#""count":12,"type":"VEC3","sparse""#, r#""count":1,"type":"VEC3","sparse""#);
    refused_with(forms::glb_of(&beyond, &bytes), "a.glb", "sparse indices that do not ascend within it");
}

/// Bytes of 0 to 255 for 0 to 1, as KHR_mesh_quantization allows.
#[test]
fn quantized_positions() {
    let mut bytes = Vec::new();
    for corner in CORNERS {
        bytes.extend(corner.map(|c| (c * 51) as u8));
        bytes.push(0);
    }
    let indices = bytes.len();
    bytes.extend(triangles().into_iter().flatten().map(|at| at as u8));
    let document = format!(
        r#"{{"asset":{{"version":"2.0"}},"extensionsRequired":["KHR_mesh_quantization"],
"nodes":[{{"mesh":0,"scale":[5,5,5]}}],"meshes":[{{"primitives":[{{"attributes":{{"POSITION":0}},"indices":1}}]}}],
"accessors":[{{"bufferView":0,"componentType":5121,"normalized":true,"count":12,"type":"VEC3"}},
{{"bufferView":1,"componentType":5121,"count":60,"type":"SCALAR"}}],
"bufferViews":[{{"buffer":0,"byteLength":{indices},"byteStride":4}},
{{"buffer":0,"byteOffset":{indices},"byteLength":60}}],"buffers":[{{"byteLength":{}}}]}}"#,
        bytes.len()
    );
    // 51 of 255 is a fifth, and the node makes it 1 again.
    assert_letter(&read_alone(&forms::glb_of(&document, &bytes), "a.glb").unwrap(), 1.0);
}

#[test]
fn extensions_that_hide_the_geometry_are_refused_by_name() {
    let with = |list: &str| gltf_but(r#""scene":0"#, &format!(r#""scene":0,"extensionsRequired":[{list}]"#));
    for name in ["KHR_draco_mesh_compression", "EXT_meshopt_compression", "EXT_mesh_gpu_instancing", "X_\\u001b[2J"] {
        let shown = name.split('\\').next().unwrap();
        refused_with(with(&format!("\"KHR_materials_unlit\",\"{name}\"")), "a.gltf", shown);
    }
    assert_letter(&read_alone(&with("\"KHR_materials_unlit\",\"KHR_texture_transform\""), "a.gltf").unwrap(), 1.0);
}

#[test]
fn skins_and_morph_targets_are_passed_over_with_a_note() {
    let skinned = gltf_but(NODE, r#"{"mesh":0,"skin":0}"#);
    let model = read_alone(&skinned, "a.gltf").unwrap();
    assert_letter(&model, 1.0);
    assert!(model.notes[0].contains("1 node is skinned"), "{:?}", model.notes);
    let morphed = gltf_but(r#""indices":1"#, r#""indices":1,"targets":[{"POSITION":0}]"#);
    let model = read_alone(&morphed, "a.gltf").unwrap();
    assert!(model.notes[0].contains("morph targets"), "{:?}", model.notes);
}

#[test]
fn buffers_lie_within_the_file_or_beside_it() {
    let document = forms::gltf_with(r#""uri":"a%20letter.bin","#);
    let mut asked = Vec::new();
    let model = read(document.as_bytes(), "a.gltf", &mut |name| {
        asked.push(name.to_owned());
        Ok(forms::buffer())
    });
    assert_letter(&model.unwrap(), 1.0);
    assert_eq!(asked, ["a letter.bin"]);
    // A file is asked for once, however many buffers name it, and not at all where nothing looks into it.
    let twice = document.replace(
        r#"byteLength":264}]"#,
        r#"byteLength":264},{"uri":"a letter.bin","byteLength":9},{"uri":"no.bin","byteLength":9}]"#,
    );
    let twice = twice.replace(r#""buffer":0,"byteOffset":144"#, r#""buffer":1,"byteOffset":144"#);
    let mut asked = 0;
    let model = read(twice.as_bytes(), "a.gltf", &mut |_| {
        asked += 1;
        Ok(forms::buffer())
    });
    assert_letter(&model.unwrap(), 1.0);
    assert_eq!(asked, 1);
    for uri in ["../letter.bin", "/etc/passwd", "http://a.example/letter.bin", "file:///etc/passwd", "%2e%2e/x"] {
        let document = forms::gltf_with(&format!("\"uri\":\"{uri}\","));
        let error = read(document.as_bytes(), "a.gltf", &mut |name| panic!("{name} was asked for")).unwrap_err();
        assert!(error.contains("nothing is fetched") && error.contains(&uri[..5]), "{error}");
    }
    let missing = read_alone(document.as_bytes(), "a.gltf").unwrap_err();
    assert_eq!(missing, "there is no a letter.bin");
    let short = read(document.as_bytes(), "a.gltf", &mut |_| Ok(vec![0; 263])).unwrap_err();
    assert!(short.contains("promises 264 bytes, but has 263"), "{short}");
}

// ---- 3MF ----

fn letter_object(id: u32) -> String {
    format!(r#"<object id="{id}">{}</object>"#, forms::mesh(points(), &triangles()))
}

fn threemf(resources: &str, build: &str) -> Vec<u8> {
    forms::threemf(&forms::document(resources, build))
}

/// 3MF core 1.4.0, 3.3: twelve numbers, row by row; the last row moves.
#[test]
fn components_and_items_are_placed_by_their_transforms() {
    let pair = r#"<object id="2" name="pair"><components>
        <component objectid="1" transform="2 0 0 0 2 0 0 0 2 100 0 0"/>
        <component objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 50 0"/></components></object>"#;
    let build = r#"<item objectid="1"/><item objectid="2" transform="-1 0 0 0 1 0 0 0 1 0 0 7"/>"#;
    let model = read_alone(&threemf(&(letter_object(1) + pair), build), "a.3mf").unwrap();
    let bodies = model.bodies();
    assert_eq!(bodies.len(), 2);
    assert_eq!((bodies[0].triangles, bodies[1].triangles), (20, 40));
    assert_eq!(bodies[1].name.as_deref(), Some("pair"));
    // The first component reaches over x 100 to 108, z 0 to 8; the second, a quarter turn, x −2 to 0, y 50 to 54; then
    // both are mirrored in x and lifted by 7.
    assert_eq!(bodies[1].bounds, [DVec3::new(-108.0, 0.0, 7.0), DVec3::new(2.0, 54.0, 15.0)]);
    // One letter, one of twice the size, one as it is: 24 · (1 + 8 + 1), and none is turned inside out by the mirror.
    assert!((model.surface().signed_volume() - 240.0).abs() < 1e-9);
}

#[test]
fn supports_and_lattices_are_passed_over_with_a_note() {
    let support = letter_object(2).replace(r#"id="2""#, r#"id="2" type="support""#);
    let file = threemf(&(letter_object(1) + &support), r#"<item objectid="2"/><item objectid="1"/>"#);
    let model = read_alone(&file, "a.3mf").unwrap();
    assert_letter(&model, 1.0);
    assert_eq!(model.notes, ["1 item that is a support or the like was passed over"]);
}

#[test]
fn objects_may_lie_in_another_part_of_the_package() {
    let part = forms::document(&letter_object(7), "");
    let root = |path: &str| {
        let component =
            format!(r#"<object id="1"><components><component objectid="7" p:path="{path}"/></components></object>"#);
        forms::document(&component, r#"<item objectid="1" transform="3 0 0 0 3 0 0 0 3 0 0 0"/>"#)
    };
    let packed = |root: &str, part: &str| {
        forms::package(&[("3D/m.model", root), ("3D/Objects/a.model", part)], CompressionMethod::Deflated)
    };
    let model = read_alone(&packed(&root("/3D/Objects/a.model"), &part), "a.3mf").unwrap();
    assert_letter(&model, 3.0);
    refused_with(packed(&root("/3D/b.model"), &part), "a.3mf", "no part '3D/b.model'");
    // A part that names a further one, and with it perhaps itself.
    let ring = root("/3D/m.model").replace(r#"<object id="1">"#, r#"<object id="7">"#);
    refused_with(
        packed(&root("/3D/Objects/a.model"), &ring),
        "a.3mf",
        "names another part, which only the start part may",
    );
    let own = root("/3D/m.model");
    refused_with(packed(&own, &part), "a.3mf", "object 7 is used, but not defined");
}

#[test]
fn components_in_a_circle_are_refused() {
    let itself = r#"<object id="1"><components><component objectid="1"/></components></object>"#;
    refused_with(threemf(itself, r#"<item objectid="1"/>"#), "a.3mf", "names object 1, which is not defined before it");
    let circle = r#"<object id="1"><components><component objectid="2"/></components></object>
        <object id="2"><components><component objectid="1"/></components></object>"#;
    refused_with(threemf(circle, r#"<item objectid="1"/>"#), "a.3mf", "names object 2, which is not defined before it");
}

/// Each object is twice the one before: 20 · 2³⁰ triangles from a file of a few kilobytes.
#[test]
fn components_that_double_without_end_are_refused_before_they_are_placed() {
    let doubled = |levels: u32| -> Vec<u8> {
        let objects: String = (2..levels + 2)
            .map(|id| {
                let one = format!(r#"<component objectid="{}"/>"#, id - 1);
                format!(r#"<object id="{id}"><components>{one}{one}</components></object>"#)
            })
            .collect();
        threemf(&(letter_object(1) + &objects), &format!(r#"<item objectid="{}"/>"#, levels + 1))
    };
    assert_eq!(read_alone(&doubled(5), "a.3mf").unwrap().surface().triangles().len(), 20 << 5);
    refused_with(doubled(30), "a.3mf", "more than 4000000 triangles");
    refused_with(doubled(40), "a.3mf", "more than 32 deep");
    // Uses of what holds nothing take no time either.
    let nothing = r#"<object id="1"><mesh><vertices/><triangles/></mesh></object>"#;
    let objects: String = (2..32)
        .map(|id| {
            let one = format!(r#"<component objectid="{}"/>"#, id - 1);
            format!(r#"<object id="{id}"><components>{one}{one}</components></object>"#)
        })
        .collect();
    let file = threemf(&(nothing.to_owned() + &objects), r#"<item objectid="31"/>"#);
    refused_with(file, "a.3mf", "its build holds no triangle");
}

#[test]
fn a_package_that_swells_is_refused_where_it_does() {
    // 17 MiB of spaces pack to some 17 kB: a thousand to one.
    let mut bomb = forms::threemf_document();
    bomb.insert_str(bomb.find("<resources>").unwrap(), &" ".repeat(17 << 20));
    let file = forms::threemf(&bomb);
    assert!(file.len() < 100_000, "{}", file.len());
    refused_with(file, "a.3mf", "unpacks to more than 16777216 bytes");
}

#[test]
fn document_types_and_entities_are_refused() {
    let document = forms::threemf_document();
    let with = |declaration: &str| document.replacen("?>", &format!("?>{declaration}"), 1);
    let laughs = r#"<!DOCTYPE m [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;"><!ENTITY c "&b;&b;">]>"#;
    refused_with(forms::threemf(&with(laughs)), "a.3mf", "a document type is not allowed");
    let outside = r#"<!DOCTYPE m SYSTEM "file:///etc/passwd">"#;
    refused_with(forms::threemf(&with(outside)), "a.3mf", "a document type is not allowed");
    let entity = document.replace(">L<", ">&c;<");
    refused_with(forms::threemf(&entity), "a.3mf", "entity '&c;' is not allowed");
    let deep = document.replace("<resources>", &format!("<resources>{}", "<x>".repeat(100_000)));
    refused_with(forms::threemf(&deep), "a.3mf", "elements deep");
}

#[test]
fn extensions_that_a_3mf_file_requires_are_refused() {
    let document = forms::threemf_document().replace(r#"requiredextensions="p""#, r#"requiredextensions="p b""#);
    refused_with(forms::threemf(&document), "a.3mf", "requires the extension 'b'");
}

#[test]
fn data_that_is_not_base64_is_refused() {
    let cut = STANDARD.encode(forms::buffer());
    for data in ["data:application/octet-stream,abc", "data:;base64,@@@@", &format!("data:;base64,{}", &cut[..101])] {
        let document = forms::gltf_with(&format!("\"uri\":\"{data}\","));
        refused_with(document, "a.gltf", "is not base64, or cut off");
    }
}
