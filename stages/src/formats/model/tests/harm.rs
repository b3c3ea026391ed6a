//! Files that are cut off, lie, or are made to hurt: refused in one line, in little memory and time.

use proptest::prelude::*;
use zip::CompressionMethod;

use super::*;

/// What every file comes to: a sound model, or one line.
fn check(bytes: &[u8], name: &str) -> Result<usize, String> {
    match read_alone(bytes, name) {
        Ok(model) => {
            let surface = model.surface();
            assert!(surface.points().iter().all(|p| p.is_finite()));
            assert!(!surface.triangles().is_empty());
            assert_eq!(model.bodies().iter().map(|body| body.triangles).sum::<usize>(), surface.triangles().len());
            assert!(model.notes.iter().all(|note| !note.contains('\n')));
            Ok(surface.triangles().len())
        }
        Err(message) => {
            assert!(!message.is_empty() && message.chars().count() <= LONGEST_LINE + 1, "{message}");
            assert!(!message.contains(char::is_control), "{message:?}");
            Err(message)
        }
    }
}

/// Every beginning of every file. Only formats that do not say how long they are can lose their end unnoticed: text of
/// faces, which has fewer of them then.
#[test]
fn files_cut_off_anywhere() {
    for (name, bytes) in letters() {
        let end = bytes.trim_ascii_end().len();
        for cut in 0..end {
            let read = check(&bytes[..cut], name);
            let may_be_read = match name {
                "letter.obj" => true,
                // The last numbers of a text may lose digits, and the word at the end its last letters.
                "text.ply" => cut + 3 >= end,
                "text.stl" => cut + "letter".len() + 1 >= end,
                _ => false,
            };
            assert!(read.is_err() || may_be_read, "{name} cut to {cut} of {end} bytes was read: {read:?}");
            if name == "letter.obj" {
                assert!(read.is_err() || read.unwrap() <= 20);
            }
        }
    }
}

/// The model part cut off within a sound package.
#[test]
fn a_3mf_document_cut_off_anywhere() {
    let document = forms::threemf_document();
    for cut in (0..document.len()).step_by(7) {
        let file = forms::package(&[("3D/m.model", &document[..cut])], CompressionMethod::Stored);
        assert!(check(&file, "a.3mf").is_err(), "{cut}");
    }
}

#[test]
fn counts_that_lie_are_compared_with_the_file() {
    for count in ["4000000000", "184467440737095516"] {
        let ply = |element: &str| {
            forms::ply_text().replace(&format!("element {element} "), &format!("element {element} {count}"))
        };
        refused_with(ply("vertex"), "a.ply", "which take at least");
        refused_with(ply("face"), "a.ply", "which take at least");
        refused_with(ply("edge"), "a.ply", "which take at least");
    }
    // Elements that take no room may be any number, and take no time.
    let hollow = forms::ply_text().replace("element edge", "element none 18446744073709551615\nelement edge");
    assert_letter(&read_alone(hollow.as_bytes(), "a.ply").unwrap(), 1.0);
    refused_with(forms::ply_text().replace("element face 8", "element face -8"), "a.ply", "not understood");
    // A list that promises more entries than there are bytes.
    let mut file = b"ply\nformat binary_little_endian 1.0\nelement vertex 1\nproperty float x\nproperty float y\n\
        property float z\nelement face 1\nproperty list uint int vertex_indices\nend_header\n"
        .to_vec();
    file.extend([0; 12]);
    file.extend(u32::MAX.to_le_bytes());
    file.extend([0; 40]);
    refused_with(&file, "a.ply", "it ends within 'face' 1");
    let at = file.len() - 44;
    let signed = String::from_utf8_lossy(&file[..at]).replace("list uint int", "list int int").into_bytes();
    refused_with([&signed[..], &(-1_i32).to_le_bytes(), &[0; 40]].concat(), "a.ply", "a list of -1 entries");

    let gltf = |old: &str, new: &str| forms::gltf().replace(old, new);
    for count in ["13", "4000000000", "1844674407370955"] {
        refused_with(gltf("\"count\":12,", &format!("\"count\":{count},")), "a.gltf", "accessor 0");
        refused_with(gltf("\"count\":60,", &format!("\"count\":{count}000,")), "a.gltf", "accessor 1");
        refused_with(gltf("\"byteLength\":264", &format!("\"byteLength\":{count}000")), "a.gltf", "buffer 0");
        refused_with(gltf("\"byteLength\":144", &format!("\"byteLength\":{count}000")), "a.gltf", "buffer view 0");
    }
    refused_with(gltf("\"count\":60,", "\"count\":61,"), "a.gltf", "accessor 1");
    refused_with(gltf("\"count\":60,", "\"count\":59,"), "a.gltf", "no whole number of triangles");
    refused_with(gltf("\"count\":60,", "\"count\":-60,"), "a.gltf", "cannot be read");
    refused_with(gltf("\"byteOffset\":144", "\"byteOffset\":18446744073709551615"), "a.gltf", "ends beyond its buffer");
    let mut glb = forms::glb();
    glb[8..12].copy_from_slice(&u32::MAX.to_le_bytes());
    refused_with(&glb, "a.glb", "it says that it has 4294967295 bytes");
    let mut glb = forms::glb();
    glb[12..16].copy_from_slice(&u32::MAX.to_le_bytes());
    refused_with(&glb, "a.glb", "does not fit into the file");
}

/// Accessors without bytes of their own stand for zeros, any number of them.
#[test]
fn accessors_without_bytes_take_no_memory() {
    let zeros = |count: &str, indices: &str| {
        format!(
            r#"{{"asset":{{"version":"2.0"}},"nodes":[{{"mesh":0}}],"meshes":[{{"primitives":[
{{"attributes":{{"POSITION":0}}{indices}}}]}}],"accessors":[{{"componentType":5126,"count":{count},"type":"VEC3"}},
{{"componentType":5125,"count":4000000002,"type":"SCALAR"}}]}}"#
        )
    };
    refused_with(zeros("3999999999", ""), "a.gltf", "more than 4000000 triangles");
    refused_with(zeros("3999999999", r#","indices":1"#), "a.gltf", "more than 4000000 triangles");
    // One mesh, used by many primitives: each is within the limit, all together are not.
    let primitive = r#"{"attributes":{"POSITION":0}},"#.repeat(2000);
    let many = zeros("30000", "")
        .replace(r#"{"attributes":{"POSITION":0}}]"#, &format!("{}]", primitive.trim_end_matches(',')));
    refused_with(many, "a.gltf", "more than 4000000 triangles");
}

#[test]
fn coordinates_must_be_finite_where_they_are_used() {
    let not_finite = "has a coordinate that is not a finite number";
    for word in ["nan", "inf", "-inf", "1e999"] {
        refused_with(forms::stl_text().replacen("vertex 0", &format!("vertex {word}"), 1), "a.stl", not_finite);
        refused_with(forms::ply_text().replacen("255 0 ", &format!("255 {word} "), 1), "a.ply", not_finite);
        refused_with(forms::obj().replacen("v 0 ", &format!("v {word} "), 1), "a.obj", not_finite);
        let document = forms::threemf_document().replacen("x=\"0\"", &format!("x=\"{word}\""), 1);
        refused_with(forms::threemf(&document), "a.3mf", not_finite);
    }
    for number in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        let mut buffer = forms::buffer();
        buffer[..4].copy_from_slice(&number.to_le_bytes());
        refused_with(forms::gltf_with(&forms::embedded(&buffer)), "a.gltf", not_finite);
    }
    refused_with(
        forms::gltf()
            .replace(r#""mesh":0"#, r#""mesh":0,"scale":[1e300,1,1],"translation":[1e308,0,0]"#)
            .replace("[1e300", "[1e308"),
        "a.gltf",
        not_finite,
    );
    // A vertex that no face names may be anything.
    let spare = forms::obj().replace("usemtl", "v nan nan nan\nusemtl").replace("f -", "f -");
    assert!(check(spare.as_bytes(), "a.obj").is_ok());
}

#[test]
fn indices_must_name_what_exists() {
    let ply = |to: &str| forms::ply_text().replace("\n0 6 0 1 2", &format!("\n0 6 {to} 1 2"));
    for index in ["12", "-1", "1.5", "4000000000", "1e300", "nan"] {
        refused_with(ply(index), "a.ply", "face 1 names vertex");
    }
    let obj = |to: &str| forms::obj().replacen("f 1 ", &format!("f {to} "), 1);
    for index in ["0", "13", "-13", "9223372036854775807", "-9223372036854775808"] {
        refused_with(obj(index), "a.obj", &format!("names vertex {index}, but 12 stand before it"));
    }
    for index in ["x", "/1", "1.5", "9223372036854775808"] {
        refused_with(obj(index), "a.obj", "where a vertex's number should be");
    }
    let document = forms::threemf_document();
    for index in ["12", "4294967295"] {
        refused_with(
            forms::threemf(&document.replacen("v1=\"0\"", &format!("v1=\"{index}\""), 1)),
            "a.3mf",
            "expected below 12",
        );
    }
    for index in ["-1", "4294967296", "x"] {
        refused_with(
            forms::threemf(&document.replacen("v1=\"0\"", &format!("v1=\"{index}\""), 1)),
            "a.3mf",
            "expected a number",
        );
    }
    let mut buffer = forms::buffer();
    buffer[144..146].copy_from_slice(&12_u16.to_le_bytes());
    refused_with(forms::gltf_with(&forms::embedded(&buffer)), "a.gltf", "index 12 names no vertex");
    for (old, new, expected) in [
        (r#""indices":1"#, r#""indices":2"#, "accessor 2, which does not exist"),
        (r#""POSITION":0"#, r#""POSITION":9"#, "accessor 9, which does not exist"),
        (r#""mesh":0"#, r#""mesh":1"#, "mesh 1, which does not exist"),
        (r#""nodes":[0]"#, r#""nodes":[1]"#, "node 1, which does not exist"),
        (r#""bufferView":1"#, r#""bufferView":2"#, "buffer view 2, which does not exist"),
        (r#"{"buffer":0,"byteO"#, r#"{"buffer":1,"byteO"#, "buffer 1, which does not exist"),
        (r#""componentType":5123"#, r#""componentType":5122"#, "indices that are no whole numbers"),
        (r#""componentType":5126"#, r#""componentType":7"#, "unknown type 7"),
        (r#""type":"VEC3""#, r#""type":"VEC2""#, "not of type VEC3"),
    ] {
        refused_with(forms::gltf().replacen(old, new, 1), "a.gltf", expected);
    }
}

#[test]
fn nodes_in_a_circle_are_refused() {
    let node = r#"{"mesh":0,"name":"letter"}"#;
    for nodes in [
        r#"{"mesh":0,"children":[0]}"#,
        r#"{"children":[1]},{"children":[2]},{"mesh":0,"children":[0]}"#,
        r#"{"children":[1,2]},{"mesh":0,"children":[2]},{"mesh":0}"#,
        r#"{"children":[1,1]},{"mesh":0}"#,
    ] {
        refused_with(forms::gltf().replace(node, nodes), "a.gltf", "is held twice, or holds itself");
    }
    // A circle that no root leads to is not met, and a chain may be as long as it likes: nothing recurs.
    let chain: String = (1..100_000).map(|child| format!(r#"{{"children":[{child}]}},"#)).collect();
    assert_letter(&read_alone(forms::gltf().replace(node, &(chain + node)).as_bytes(), "a.gltf").unwrap(), 1.0);
}

#[test]
fn json_made_to_hurt() {
    refused_with("{\"asset\":".repeat(100_000), "a.gltf", "cannot be read");
    refused_with(format!("{{\"extras\":{}", "[".repeat(1_000_000)), "a.gltf", "cannot be read");
    let nodes = "{},".repeat(250_001);
    let many = forms::gltf().replace(r#""nodes":[{"#, &format!(r#""nodes":[{nodes}{{"#));
    refused_with(many, "a.gltf", "more than 250000 entries");
    refused_with(forms::gltf().replace("\"2.0\"", "\"1.0\""), "a.gltf", "version 1.0, expected 2.0");
    refused_with("{}", "a.gltf", "missing field `asset`");
    refused_with(forms::gltf().replace("[0]", "[1e999]"), "a.gltf", "cannot be read");
}

#[test]
fn text_that_is_none() {
    for (old, new, expected) in [
        ("property float x", "property quad x", "'property quad x'"),
        ("property float x", "property float w", "no number 'x'"),
        ("ascii 1.0", "ascii 2.0", "version 2.0"),
        ("vertex_indices", "corners", "no list 'vertex_indices'"),
        ("element vertex", "element vertices", "before 'vertex'"),
        ("end_header", "end_headers", "not understood"),
        ("255 0 0", "255 0 zero", "'vertex' 1 of the PLY file has 'zero' where a number should be"),
    ] {
        refused_with(
            forms::ply_text()
                .replace("property double y", "property float y")
                .replacen(" 0e0 ", " 0 ", 1)
                .replacen(old, new, 1),
            "a.ply",
            expected,
        );
    }
    let points = forms::ply_text();
    let points = &points[..points.find("element face").unwrap()];
    refused_with(format!("{points}end_header\n{}", "1 ".repeat(100)), "a.ply", "points alone");
    refused_with("v 1 2\n", "a.obj", "line 1 of the OBJ file has a vertex of fewer than three numbers");
    refused_with("v 1 2 \\\n x\n", "a.obj", "'x' where a number should be");
    let noted =
        read_alone(format!("{}l 1 2\ncsh rm\nf 1 2\nhello \u{1b}[2J\n", forms::obj()).as_bytes(), "a.obj").unwrap();
    assert_letter(&noted, 1.0);
    assert_eq!(
        noted.notes,
        [
            "1 face of fewer than three corners was passed over",
            "2 lines, points or free-form elements were passed over",
            "1 line that is not understood, with 'hello', was passed over",
        ]
    );
}

#[derive(Clone, Debug)]
enum Harm {
    Cut(usize),
    Flip(usize, u8),
    Repeat(usize, usize),
    Number(usize, u32),
}

fn harm() -> impl Strategy<Value = Harm> {
    prop_oneof![
        any::<usize>().prop_map(Harm::Cut),
        (any::<usize>(), any::<u8>()).prop_map(|(at, mask)| Harm::Flip(at, mask)),
        (any::<usize>(), 1usize..400).prop_map(|(at, length)| Harm::Repeat(at, length)),
        (any::<usize>(), any::<u32>()).prop_map(|(at, number)| Harm::Number(at, number)),
    ]
}

fn harmed(mut file: Vec<u8>, harms: &[Harm]) -> Vec<u8> {
    for harm in harms {
        let length = file.len().max(1);
        match *harm {
            Harm::Cut(at) => file.truncate(at % (length + 1)),
            Harm::Flip(at, mask) => file.iter_mut().skip(at % length).take(1).for_each(|byte| *byte ^= mask),
            Harm::Repeat(at, count) => {
                let at = (at % length).min(file.len());
                let again = file[at..file.len().min(at + count)].to_vec();
                file.splice(at..at, again);
            }
            Harm::Number(at, number) => {
                let bytes = number.to_le_bytes();
                file.iter_mut().skip(at % length).zip(bytes).for_each(|(byte, new)| *byte = new);
            }
        }
    }
    file
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(1500) })]

    #[test]
    fn harmed_files_are_read_or_refused(at in 0usize..9, harms in prop::collection::vec(harm(), 1..6)) {
        let (name, bytes) = letters().swap_remove(at);
        let _ = check(&harmed(bytes, &harms), name);
    }

    /// Where no checksum of the package keeps harm from the reader.
    #[test]
    fn harmed_3mf_documents_are_read_or_refused(harms in prop::collection::vec(harm(), 1..4)) {
        let document = harmed(forms::threemf_document().into_bytes(), &harms);
        let document = String::from_utf8_lossy(&document);
        let _ = check(&forms::package(&[("3D/m.model", &document)], CompressionMethod::Stored), "a.3mf");
    }

    #[test]
    fn any_bytes_are_refused(bytes: Vec<u8>, start in 0usize..6) {
        let start = [&b""[..], b"ply\n", b"v 1 2 3\n", b"PK\x03\x04", b"{", b"glTF\x02\0\0\0"][start];
        prop_assert!(check(&[start, &bytes].concat(), "a.obj").is_err());
    }
}
