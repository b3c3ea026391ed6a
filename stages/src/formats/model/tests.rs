#![allow(clippy::unwrap_used)]

mod forms;
mod harm;
mod judges;
mod scenes;

use glam::DVec3;

use super::*;

/// A file that needs nothing beside it.
fn read_alone(bytes: &[u8], name: &str) -> Result<Model, String> {
    read(bytes, name, &mut |asked| Err(format!("there is no {asked}")))
}

/// The message of a refusal: one line, not too long, that says what to do.
fn refused(bytes: &[u8], name: &str) -> String {
    let message = read_alone(bytes, name).unwrap_err();
    assert!(message.chars().count() <= LONGEST_LINE + 1 && !message.contains(char::is_control), "{message}");
    message
}

fn refused_with(bytes: impl AsRef<[u8]>, name: &str, expected: &str) {
    let message = refused(bytes.as_ref(), name);
    assert!(message.contains(expected), "'{expected}' is not in: {message}");
    let remedies = ["again", "finished", "export it", "can be read", "simplify", "repair", "make a surface", "unpack"];
    assert!(remedies.iter().any(|remedy| message.contains(remedy)), "no remedy: {message}");
}

/// Corners of the solid below, and its faces as polygons that turn counter-clockwise seen from outside: a letter L of
/// three cubes of edge 2, so that two faces are not convex. By the count of cubes its volume is 24 and its area 56.
const CORNERS: [[i32; 3]; 12] = [
    [0, 0, 0],
    [4, 0, 0],
    [4, 0, 2],
    [2, 0, 2],
    [2, 0, 4],
    [0, 0, 4],
    [0, 2, 0],
    [4, 2, 0],
    [4, 2, 2],
    [2, 2, 2],
    [2, 2, 4],
    [0, 2, 4],
];
const FACES: [&[usize]; 8] = [
    &[0, 1, 2, 3, 4, 5],
    &[11, 10, 9, 8, 7, 6],
    &[0, 6, 7, 1],
    &[1, 7, 8, 2],
    &[2, 8, 9, 3],
    &[3, 9, 10, 4],
    &[4, 10, 11, 5],
    &[5, 11, 6, 0],
];

/// The same faces as triangles, cut by hand.
fn triangles() -> Vec<[usize; 3]> {
    let letter = |c: [usize; 6]| [[c[0], c[1], c[2]], [c[0], c[2], c[3]], [c[0], c[3], c[5]], [c[3], c[4], c[5]]];
    let mut all = letter([0, 1, 2, 3, 4, 5]).to_vec();
    all.extend(letter([6, 7, 8, 9, 10, 11]).map(|[a, b, c]| [c, b, a]));
    all.extend(FACES[2..].iter().flat_map(|f| [[f[0], f[1], f[2]], [f[0], f[2], f[3]]]));
    all
}

/// The letter L, closed and turned outwards, with nothing more and nothing less.
#[track_caller]
fn assert_letter(model: &Model, scale: f64) {
    let surface = model.surface();
    assert_eq!((surface.points().len(), surface.triangles().len()), (12, 20));
    let (volume, area) = (24.0 * scale.powi(3), 56.0 * scale.powi(2));
    assert!((surface.signed_volume() - volume).abs() < 1e-6 * volume, "volume {}", surface.signed_volume());
    assert!((surface.area() - area).abs() < 1e-6 * area, "area {}", surface.area());
    assert!(is_closed(surface), "an edge has triangles on one side alone");
}

/// Whether every edge is walked as often one way as the other.
fn is_closed(surface: &Surface) -> bool {
    let mut edges: Vec<(u32, u32, i32)> = surface
        .triangles()
        .iter()
        .flat_map(|&[a, b, c]| [(a, b), (b, c), (c, a)])
        .map(|(a, b)| (a.min(b), a.max(b), if a < b { 1 } else { -1 }))
        .collect();
    edges.sort_unstable();
    edges.chunk_by(|a, b| (a.0, a.1) == (b.0, b.1)).all(|edge| edge.iter().map(|(_, _, way)| way).sum::<i32>() == 0)
}

fn points() -> impl Iterator<Item = [f64; 3]> {
    CORNERS.iter().map(|corner| corner.map(f64::from))
}

/// The letter L as a file in each format, with the name of each form.
fn letters() -> Vec<(&'static str, Vec<u8>)> {
    vec![
        ("binary.stl", forms::stl()),
        ("text.stl", forms::stl_text().into_bytes()),
        ("text.ply", forms::ply_text().into_bytes()),
        ("little.ply", forms::ply(false)),
        ("big.ply", forms::ply(true)),
        ("letter.obj", forms::obj().into_bytes()),
        ("letter.3mf", forms::threemf(&forms::threemf_document())),
        ("letter.gltf", forms::gltf().into_bytes()),
        ("letter.glb", forms::glb()),
    ]
}

#[test]
fn every_format_gives_the_same_letter() {
    for (name, bytes) in letters() {
        let model = read_alone(&bytes, name).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert_letter(&model, 1.0);
        assert_eq!(model.notes, [""; 0], "{name}");
        assert_eq!(model.bodies().len(), 1, "{name}");
    }
}

#[test]
fn the_content_tells_the_format() {
    for (name, bytes) in letters() {
        let ending = Format::of(&bytes, name).unwrap();
        for other in ["letter.stl", "letter.ply", "letter.obj", "letter.3mf", "letter.glb", "letter.dat", "letter"] {
            let model = read_alone(&bytes, other).unwrap_or_else(|error| panic!("{name} as {other}: {error}"));
            assert_eq!(model.format, ending);
            let agrees = ending.belies(other).is_none();
            assert_eq!(model.notes.len(), usize::from(!agrees), "{name} as {other}: {:?}", model.notes);
            assert!(agrees || model.notes[0].contains(&format!("its content is {ending}")), "{:?}", model.notes);
        }
    }
}

#[test]
fn what_is_no_model_says_what_it_looks_like() {
    for (bytes, expected) in [
        (&b"\x89PNG\r\n\x1a\n\0\0"[..], "a PNG picture"),
        (b"%PDF-1.7\n", "a PDF document"),
        (b"\x1f\x8b\x08\0", "a gzip archive"),
        (b"<!DOCTYPE html><html>", "a web page"),
        (b"<?xml version=\"1.0\"?><scene/>", "an XML document"),
        (b"ISO-10303-21;\nHEADER;", "a STEP file"),
        (b"Dear Sir or Madam", "text of no known kind, which begins with 'Dear'"),
        (b"\x01\x02\0\x04", "binary data of no known kind"),
        (b"", "the file is empty"),
    ] {
        refused_with(bytes, "piece.ply", expected);
    }
    refused_with(b"PK\x03\x04 but nothing else", "piece.3mf", "not a ZIP package");
    refused_with(b"", "piece.stl", "0 bytes are too few");
    refused_with(b"", "piece.obj", "holds no triangles");
}

#[test]
fn units_and_stance_come_from_the_formats_that_say_them() {
    let said = |name: &str| {
        let bytes = letters().into_iter().find(|(known, _)| *known == name).unwrap().1;
        let model = read_alone(&bytes, name).unwrap();
        (model.unit, model.stance)
    };
    for name in ["binary.stl", "text.stl", "little.ply", "letter.obj"] {
        assert_eq!(said(name), (None, None), "{name}");
    }
    // glTF 2.0.1, 3.4: metres, +Y up, the front faces +Z. 3MF core 1.4.0, 3.3 and 3.4: +z up, and the unit of the file.
    assert_eq!(said("letter.glb"), (Some(FileUnit::Metre), Some(Stance::YUp)));
    assert_eq!(said("letter.3mf"), (Some(FileUnit::Millimetre), Some(Stance::ZUp)));
    for (name, unit) in [
        ("micron", FileUnit::Micrometre),
        ("centimeter", FileUnit::Centimetre),
        ("inch", FileUnit::Inch),
        ("foot", FileUnit::Foot),
        ("meter", FileUnit::Metre),
    ] {
        let document = forms::threemf_document().replace("millimeter", name);
        assert_eq!(read_alone(&forms::threemf(&document), "a.3mf").unwrap().unit, Some(unit));
    }
}

/// Two boxes apart from each other and a third that shares a corner with the second, as one mesh: STL keeps none apart.
#[test]
fn pieces_that_share_no_point_are_bodies() {
    let boxes = [([0.0; 3], 1.0), ([5.0, 0.0, 0.0], 2.0), ([7.0, 2.0, 2.0], 1.0)];
    let mut text = String::from("solid three\n");
    // Turn about, so that no body's triangles stand together.
    let all: Vec<Vec<[DVec3; 3]>> = boxes.iter().map(|&(at, edge)| forms::cube(at.into(), edge)).collect();
    for at in 0..12 {
        for triangles in &all {
            text += &forms::facet(triangles[at]);
        }
    }
    text += "endsolid\n";
    let read = || read_alone(text.as_bytes(), "a.stl").unwrap();
    let bodies = read().bodies();
    let counts: Vec<usize> = bodies.iter().map(|body| body.triangles).collect();
    assert_eq!(counts, [12, 24]);
    // The areas of the boxes: 6 a².
    assert_eq!(bodies.iter().map(|body| body.area).collect::<Vec<_>>(), [6.0, 30.0]);
    assert_eq!(bodies[1].bounds, [DVec3::new(5.0, 0.0, 0.0), DVec3::new(8.0, 3.0, 3.0)]);

    let volume = |choice| read().into_surface(&choice).unwrap().signed_volume();
    assert!((volume(Choice::All) - 10.0).abs() < 1e-9);
    assert!((volume(Choice::Largest) - 9.0).abs() < 1e-9);
    assert!((volume(Choice::Numbers(vec![1])) - 1.0).abs() < 1e-9);
    assert!((volume(Choice::Numbers(vec![1, 2])) - 10.0).abs() < 1e-9);
    let first = read().into_surface(&Choice::Numbers(vec![1])).unwrap();
    assert_eq!((first.points().len(), first.triangles().len()), (8, 12), "points of other bodies are left out");
    let error = read().into_surface(&Choice::Numbers(vec![3])).unwrap_err();
    assert!(error.contains("there is no body 3: the model has 2"), "{error}");
}

#[test]
fn bodies_that_a_format_keeps_apart_have_their_names() {
    let cube = |at: f64| forms::cube(DVec3::splat(at), 1.0);
    let stl = |at| cube(at).into_iter().map(forms::facet).collect::<String>();
    let solids = format!("solid a lid\n{}endsolid\nsolid\n{}endsolid\n", stl(0.0), stl(5.0));
    let obj = |at: f64, base: usize| -> String {
        let corners = cube(at).into_iter().flatten().map(|p| format!("v {} {} {}\n", p.x, p.y, p.z));
        let faces = (0..12).map(|t| format!("f {} {} {}\n", base + 3 * t + 1, base + 3 * t + 2, base + 3 * t + 3));
        corners.chain(faces).collect()
    };
    // Objects are taken, their groups are not; a group that is named again goes on; one without faces is none.
    let objects = format!("o a lid\ng x\n{}g y\no none\no \n{}", obj(0.0, 0), obj(5.0, 36));
    let groups = format!("g a lid\n{}g\n{}g a lid\nf 1 2 3\n", obj(0.0, 0), obj(5.0, 36));
    for (name, text, triangles) in
        [("a.stl", solids, [12, 12]), ("a.obj", objects, [12, 12]), ("a.obj", groups, [13, 12])]
    {
        let model = read_alone(text.as_bytes(), name).unwrap();
        assert!(model.keeps_bodies_apart());
        let bodies = model.bodies();
        let names: Vec<Option<&str>> = bodies.iter().map(|body| body.name.as_deref()).collect();
        assert_eq!(names, [Some("a lid"), None], "{name}");
        assert_eq!(bodies.iter().map(|body| body.triangles).collect::<Vec<_>>(), triangles);
    }
}

#[test]
fn bodies_are_chosen_by_a_word_or_by_numbers() {
    let read = |json: &str| serde_json::from_str::<Choice>(json).map_err(|error| error.to_string());
    for (json, choice) in
        [("\"all\"", Choice::All), ("\"largest\"", Choice::Largest), ("[3, 1]", Choice::Numbers(vec![1, 3]))]
    {
        assert_eq!(read(json).unwrap(), choice);
        let written = serde_json::to_string(&choice).unwrap();
        assert_eq!(read(&written).unwrap(), choice);
    }
    for (json, expected) in [
        ("\"biggest\"", "`all`, `largest`, or a list of numbers"),
        ("3", "`all`, `largest`, or a list of numbers"),
        ("[]", "no body is named"),
        ("[0]", "counted from 1"),
        ("[2, 1, 2]", "body 2 is named twice"),
        ("[-1]", "-1"),
        ("[1.5]", "1.5"),
    ] {
        let error = read(json).unwrap_err();
        assert!(error.contains(expected), "{json}: {error}");
    }
}
