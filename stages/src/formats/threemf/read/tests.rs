#![allow(clippy::unwrap_used)]

use std::io::{Cursor, Write};

use proptest::prelude::*;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::*;
use crate::memo::Memo;

const LIMITS: Limits = Limits { part_bytes: 1 << 20, triangles: 10_000 };

const RELS: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Target="/3D/3dmodel.model" Id="rel0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/>
</Relationships>"#;

/// Triangles of a corner tetrahedron of edge 1 with outward normals.
const TETRAHEDRON: &str = r#"<mesh><vertices>
<vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/>
</vertices><triangles>
<triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/><triangle v1="0" v2="3" v3="2"/>
<triangle v1="1" v2="2" v3="3"/>
</triangles></mesh>"#;

fn zipped(parts: &[(&str, &[u8])], method: CompressionMethod) -> Vec<u8> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        zip.start_file(*name, SimpleFileOptions::default().compression_method(method)).unwrap();
        zip.write_all(bytes).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

fn package(model: &str) -> Vec<u8> {
    zipped(&[("_rels/.rels", RELS.as_bytes()), ("3D/3dmodel.model", model.as_bytes())], CompressionMethod::Deflated)
}

fn document(attributes: &str, resources: &str, build: &str) -> String {
    format!(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<model xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
 xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02" {attributes}>
<metadata name="Title">Whelk &amp; harbour &#233;</metadata>
<resources>{resources}</resources><build>{build}</build></model>"#
    )
}

fn of(attributes: &str, resources: &str, build: &str) -> Result<Model, String> {
    read(Cursor::new(package(&document(attributes, resources, build))), LIMITS)
}

fn refused(resources: &str, build: &str, expected: &str) {
    let error = of("", resources, build).unwrap_err();
    assert!(error.contains(expected), "'{error}' does not say '{expected}'");
}

fn volume(model: &Model) -> f64 {
    let corner = |i: u32| model.points[i as usize];
    model.triangles.iter().map(|&[a, b, c]| corner(a).dot(corner(b).cross(corner(c))) / 6.0).sum()
}

fn one(mesh: &str) -> String {
    format!(r#"<object id="1">{mesh}</object>"#)
}

const ITEM: &str = r#"<item objectid="1"/>"#;

#[test]
fn a_tetrahedron_in_every_unit() {
    // Volume 1/6 of the corner tetrahedron; sizes of the units: 3MF core 1.4.0, 3.4, and 1 in = 25.4 mm, 1 ft = 12 in.
    for (unit, mm) in
        [("micron", 1e-3), ("millimeter", 1.0), ("centimeter", 10.0), ("inch", 25.4), ("foot", 304.8), ("meter", 1e3)]
    {
        let model = of(&format!("unit=\"{unit}\""), &one(TETRAHEDRON), ITEM).unwrap();
        assert_eq!((model.points.len(), model.triangles.len()), (4, 4));
        let expected = mm * mm * mm / 6.0;
        assert!((volume(&model) - expected).abs() < 1e-12 * expected, "{unit}");
        assert_eq!(model.colours, [None; 4]);
    }
    assert!(of("unit=\"furlong\"", &one(TETRAHEDRON), ITEM).unwrap_err().contains("'furlong'"));
}

#[test]
fn stored_and_deflated_parts_read_alike() {
    let text = document("", &one(TETRAHEDRON), ITEM);
    let parts: [(&str, &[u8]); 2] = [("_rels/.rels", RELS.as_bytes()), ("3D/3dmodel.model", text.as_bytes())];
    let [stored, deflated] = [CompressionMethod::Stored, CompressionMethod::Deflated]
        .map(|method| read(Cursor::new(zipped(&parts, method)), LIMITS).unwrap());
    assert_eq!(stored, deflated);
}

#[test]
fn any_prefix_may_stand_for_a_namespace() {
    let text = document("", &one(TETRAHEDRON), ITEM)
        .replace("xmlns=", "xmlns:core=")
        .replace("</", "</core:")
        .replace('<', "<core:")
        .replace("<core:/core:", "</core:")
        .replace("<core:?", "<?");
    assert_eq!(read(Cursor::new(package(&text)), LIMITS).unwrap().triangles.len(), 4);

    // A namespace ends with the element that declares it, empty or not.
    let inner = r#"<other xmlns="urn:other"><object id="1"/></other><other xmlns="urn:other"/>"#;
    assert_eq!(of("", &format!("{inner}{}", one(TETRAHEDRON)), ITEM).unwrap().triangles.len(), 4);
    let elsewhere = TETRAHEDRON.replacen("<vertex ", "<vertex xmlns=\"urn:other\" ", 1);
    refused(&one(&elsewhere), ITEM, "<vertices> holds <vertex>");
}

#[test]
fn transforms_nest_and_mirrors_keep_the_outside_out() {
    // Component: 2 x stretch, then moved by (1, 0, 0); item: mirrored at x = 0 and moved by (0, 5, 0). Determinant -8.
    let resources = format!(
        r#"<object id="7">{TETRAHEDRON}</object><object id="3"><components>
        <component objectid="7" transform="2 0 0 0 2 0 0 0 2 1 0 0"/></components></object>"#
    );
    let model = of("", &resources, r#"<item objectid="3" transform="-1 0 0 0 1 0 0 0 1 0 5 0"/>"#).unwrap();
    let expected = [[-1.0, 5.0, 0.0], [-3.0, 5.0, 0.0], [-1.0, 7.0, 0.0], [-1.0, 5.0, 2.0]].map(DVec3::from_array);
    assert_eq!(model.points, expected);
    assert!((volume(&model) - 8.0 / 6.0).abs() < 1e-12, "{}", volume(&model));
}

#[test]
fn rows_of_a_transform_are_the_images_of_the_axes() {
    // Core 3.3: a quarter turn about z takes x to y when the first row is 0 1 0.
    let model = of("", &one(TETRAHEDRON), r#"<item objectid="1" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/>"#).unwrap();
    assert_eq!(model.points[1], DVec3::Y);
    assert_eq!(model.points[2], -DVec3::X);
}

#[test]
fn colours_come_from_triangle_object_and_group() {
    let mesh = TETRAHEDRON
        .replacen(r#"v3="1"/>"#, r#"v3="1" p1="2"/>"#, 1)
        .replacen(r#"v3="3"/>"#, r#"v3="3" pid="9" p1="1"/>"#, 1)
        .replacen(r#"v2="3" v3="2"/>"#, r#"v2="3" v3="2" pid="9" p1="0" p2="0" p3="0"/>"#, 1);
    let resources = format!(
        r##"<m:colorgroup id="5"><m:color color="#c8553d"/><m:color color="#2A6F97"/><m:color color="#588157FF"/></m:colorgroup>
        <basematerials id="9"><base name="a" displaycolor="#010203"/><base name="b" displaycolor="#040506"/></basematerials>
        <object id="1" pid="5" pindex="1">{mesh}</object>"##
    );
    let model = of("requiredextensions=\"m\"", &resources, ITEM).unwrap();
    let expected = ["#588157", "#040506", "#010203", "#2a6f97"].map(|text| Some(text.parse().unwrap()));
    assert_eq!(model.colours, expected);
}

#[test]
fn properties_that_do_not_exist_are_refused() {
    let with = |group: &str, object: &str, triangle: &str| {
        let mesh = TETRAHEDRON.replacen(r#"v3="1"/>"#, &format!(r#"v3="1" {triangle}/>"#), 1);
        format!(r#"{group}<object id="1" {object}>{mesh}</object>"#)
    };
    let group = r##"<m:colorgroup id="5"><m:color color="#c8553d"/></m:colorgroup>"##;
    let default = r#"pid="5" pindex="0""#;
    for (resources, expected) in [
        (with(group, default, r#"p1="1""#), "property 1 of group 5 does not exist, expected below 1"),
        (with(group, default, r#"pid="6" p1="0""#), "property group 6 is not defined"),
        (with(group, r#"pid="5" pindex="3""#, ""), "object 1: property 3 of group 5"),
        (with(group, r#"pid="5""#, ""), "one of pid and pindex"),
        (with(group, "", r#"pid="5" p1="0""#), "its object must have a pid"),
        (with(group, default, r#"p1="0" p2="1" p3="0""#), "expected one for all"),
        (with(group, default, r#"p1="x""#), "triangle 0: p1 is 'x', expected a number"),
        (with(r#"<m:texture2dgroup id="5" texid="1"/>"#, default, ""), "is a <texture2dgroup>"),
        (with(&group.replace("#c8553d", "#F00"), default, ""), "expected #RRGGBB"),
        (with(&group.replace("#c8553d", "#c8553d80"), default, ""), "opaque"),
        (with(&format!("{group}{group}"), default, ""), "another resource has already"),
    ] {
        refused(&resources, ITEM, expected);
    }
}

#[test]
fn damaged_meshes_are_refused() {
    for (from, to, expected) in [
        (r#"v1="1""#, r#"v1="4""#, "triangle 3 names vertex 4, expected below 4"),
        (r#"v1="1""#, r#"v1="-1""#, "triangle 3: v1 is '-1', expected a number"),
        (r#"v1="1""#, r#"v1="2""#, "names one vertex twice"),
        (r#"v1="1""#, "", "needs v1, v2 and v3"),
        (r#"x="1""#, r#"x="inf""#, "vertex 1 has a coordinate that is not a finite"),
        (r#"x="1""#, r#"x="1e999""#, "vertex 1 has a coordinate that is not a finite"),
        (r#"x="1""#, r#"x="NaN""#, "vertex 1 has a coordinate that is not a finite"),
        (r#"x="1""#, r#"x="1,5""#, "vertex 1: x is '1,5'"),
        (r#"x="1""#, "", "vertex 1 needs x, y and z"),
        (r#"x="1""#, r#"x="1" x="2""#, "vertex 1: x is given twice"),
        (r#"x="1""#, r#"x="1" y=2"#, "vertex 1: damaged attribute"),
        ("<triangles>", "<triangles/><strange/><triangles>", "holds <strange>"),
    ] {
        refused(&one(&TETRAHEDRON.replacen(from, to, 1)), ITEM, expected);
    }
    refused(&one("<mesh><vertices/><triangles/></mesh>"), ITEM, "holds no triangle");
    refused(&one(""), ITEM, "neither <mesh> nor <components>");
    refused(&one(TETRAHEDRON), "", "<build> is empty");
    refused(&one(TETRAHEDRON), r#"<item objectid="2"/>"#, "object 2, which is not defined");
    refused(&one(TETRAHEDRON), r#"<item objectid="1" transform="1 0 0"/>"#, "12 finite numbers");
    refused(&one(TETRAHEDRON), r#"<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>"#, "keep a volume");
    refused(&format!(r#"<object id="1" type="support">{TETRAHEDRON}</object>"#), ITEM, "type 'support'");
}

#[test]
fn components_cannot_go_round_in_a_circle_or_without_end() {
    let itself = r#"<object id="1"><components><component objectid="1"/></components></object>"#;
    refused(itself, ITEM, "object 1, which is not defined before it");
    let circle = r#"<object id="1"><components><component objectid="2"/></components></object>
        <object id="2"><components><component objectid="1"/></components></object>"#;
    refused(circle, ITEM, "object 2, which is not defined before it");

    // Each object twice the one before: 4 · 2^30 triangles from two kilobytes.
    let chain = |copies: usize, length: u32| {
        (2..=length).fold(one(TETRAHEDRON), |text, id| {
            let component = format!(r#"<component objectid="{}"/>"#, id - 1);
            format!(r#"{text}<object id="{id}"><components>{}</components></object>"#, component.repeat(copies))
        })
    };
    refused(&chain(2, 31), r#"<item objectid="31"/>"#, "4294967296 triangles, expected 10000 at most");
    refused(&chain(1, 40), r#"<item objectid="40"/>"#, "more than 32 deep");
    let vertices = format!("<vertices>{}", r#"<vertex x="0" y="0" z="0"/>"#.repeat(1000));
    let wasteful = one(&TETRAHEDRON.replacen("<vertices>", &vertices, 1));
    refused(&wasteful, &ITEM.repeat(100), "100400 vertices, expected 30000 at most");
}

#[test]
fn document_types_entities_and_unread_extensions_are_refused() {
    let text = document("", &one(TETRAHEDRON), ITEM);
    let bomb = r#"<!DOCTYPE model [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;">]><model"#;
    for (text, expected) in [
        (text.replacen("<model", bomb, 1), "document type"),
        (text.replace("&amp;", "&b;"), "entity '&b;' is not allowed"),
        (text.replace("x=\"1\"", "x=\"&one;\""), "expected a number"),
        (text.replace("UTF-8", "UTF-16"), "expected UTF-8"),
        (text.replace("<model", "<model requiredextensions=\"p\""), "requires the extension 'p'"),
        (text.replace("core/2015/02", "core/1999/01"), "expected <model> of the 3MF core namespace"),
        (text.replace("<resources>", "<resources><"), "not well-formed"),
        (text.replace("</build>", "</bild>"), "not well-formed"),
        (text.replace("<build>", &format!("<build>{}", "<m:x>".repeat(100_000))), "elements deep"),
        (String::new(), "middle"),
    ] {
        let error = read(Cursor::new(package(&text)), LIMITS).unwrap_err();
        assert!(error.contains(expected), "'{error}' does not say '{expected}'");
    }
}

#[test]
fn bombs_are_not_unpacked() {
    let bomb = vec![b' '; 64 << 20];
    let rels = RELS.as_bytes();
    for parts in [[("_rels/.rels", rels), ("3D/3dmodel.model", &bomb)], [("_rels/.rels", &bomb), ("a", rels)]] {
        let error = read(Cursor::new(zipped(&parts, CompressionMethod::Deflated)), LIMITS).unwrap_err();
        assert!(error.contains("unpacks to more than 1048576 bytes"), "{error}");
    }
}

#[test]
fn packages_without_a_model_are_refused() {
    let text = document("", &one(TETRAHEDRON), ITEM);
    let model = ("3D/3dmodel.model", text.as_bytes());
    let external = RELS.replace("Target=", "TargetMode=\"External\" Target=");
    let other = RELS.replace("2013/01/3dmodel", "2013/01/thumbnail");
    for (parts, expected) in [
        (vec![model], "no part '_rels/.rels'"),
        (vec![("_rels/.rels", RELS.as_bytes())], "no part '3D/3dmodel.model'"),
        (vec![("_rels/.rels", external.as_bytes()), model], "outside the package"),
        (vec![("_rels/.rels", other.as_bytes()), model], "names no 3D model"),
        (vec![("_rels/.rels", text.as_bytes()), model], "expected <Relationships>"),
        (vec![("_rels/.rels", b"\xff\xfe".as_slice()), model], "not UTF-8"),
    ] {
        let error = read(Cursor::new(zipped(&parts, CompressionMethod::Stored)), LIMITS).unwrap_err();
        assert!(error.contains(expected), "'{error}' does not say '{expected}'");
    }
    assert!(read(Cursor::new(b"solid whelk".to_vec()), LIMITS).unwrap_err().contains("not a ZIP package"));
}

#[test]
fn every_truncation_is_an_error() {
    let bytes = package(&document("", &one(TETRAHEDRON), ITEM));
    for length in 0..bytes.len() {
        assert!(read(Cursor::new(&bytes[..length]), LIMITS).is_err(), "{length} bytes");
    }
    let text = document("", &one(TETRAHEDRON), ITEM);
    for (length, _) in text.char_indices() {
        assert!(document::parse(&text[..length], Recall::NOTHING).is_err(), "{length} bytes of the model");
    }
}

proptest! {
    /// Whatever happens to the bytes, the reader answers, and what it takes holds no index out of range.
    #[test]
    fn mutated_files_do_not_panic(changes in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..8)) {
        let mut bytes = package(&document("", &one(TETRAHEDRON), ITEM));
        let mut text = document("", &one(TETRAHEDRON), ITEM).into_bytes();
        for (at, byte) in changes {
            let (in_bytes, in_text) = (at.index(bytes.len()), at.index(text.len()));
            bytes[in_bytes] = byte;
            text[in_text] = byte;
        }
        let rels = ("_rels/.rels", RELS.as_bytes());
        let repacked = zipped(&[rels, ("3D/3dmodel.model", &text)], CompressionMethod::Stored);
        for file in [bytes, repacked] {
            // A memo that knows the sound mesh changes nothing.
            let memo = Memo::new(1 << 20);
            let recall = Recall::from(&memo);
            read_recalling(Cursor::new(package(&document("", &one(TETRAHEDRON), ITEM))), LIMITS, recall).unwrap();
            let read = read(Cursor::new(&file), LIMITS);
            for _ in 0..2 {
                prop_assert_eq!(&read_recalling(Cursor::new(&file), LIMITS, recall), &read);
            }
            if let Ok(model) = read {
                prop_assert!(model.triangles.iter().flatten().all(|&i| (i as usize) < model.points.len()));
                prop_assert_eq!(model.triangles.len(), model.colours.len());
            }
        }
    }
}

#[test]
fn a_mesh_that_is_recalled_gets_the_colours_of_its_own_file() {
    let mesh = TETRAHEDRON.replacen("v3=\"1\"/>", "v3=\"1\" pid=\"7\" p1=\"1\"/>", 1);
    let file = |colours: [&str; 2], object: &str| {
        let group: String = colours.map(|colour| format!("<m:color color='{colour}'/>")).concat();
        let resources = format!("<m:colorgroup id='7'>{group}</m:colorgroup><object id='1' {object}>{mesh}</object>");
        package(&document("", &resources, ITEM))
    };
    let memo = Memo::new(1 << 20);
    let read_with = |bytes: &[u8], recall| read_recalling(Cursor::new(bytes), LIMITS, recall);
    let coloured = "pid='7' pindex='0'";
    for (colours, object) in [
        (["#010203", "#040506"], coloured),
        (["#0a0b0c", "#0d0e0f"], coloured),
        (["#0a0b0c", "#0d0e0f"], ""), // refused: a property needs an object with one
        (["#010203", "#010203"], "pid='7' pindex='2'"),
        (["#010203", "#040506"], coloured),
    ] {
        let bytes = file(colours, object);
        assert_eq!(read_with(&bytes, Recall::from(&memo)), read_with(&bytes, Recall::NOTHING), "{colours:?} {object}");
    }
    let model = read_with(&file(["#0a0b0c", "#0d0e0f"], coloured), Recall::from(&memo)).unwrap();
    let [first, second] = [[10, 11, 12], [13, 14, 15]].map(|c| Some(Srgb(c)));
    assert_eq!(model.colours, [second, first, first, first]);
}

#[test]
fn what_a_prefix_stands_for_belongs_to_what_is_recalled() {
    // The same text of the mesh and after it, once in the core namespace and once in one that is passed over.
    let mesh = TETRAHEDRON.replace('<', "<c:").replace("<c:/", "</c:").replace("<c:mesh>", "").replace("</c:mesh>", "");
    let file = |space: &str| {
        let resources = format!("<object id='1'><mesh xmlns:c='{space}'>{mesh}</mesh></object>");
        package(&document("", &resources, ITEM))
    };
    let memo = Memo::new(1 << 20);
    let core = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02";
    for _ in 0..2 {
        let read = |space| read_recalling(Cursor::new(file(space)), LIMITS, Recall::from(&memo));
        assert_eq!(read(core).unwrap().triangles.len(), 4);
        assert!(read("http://example.org/other").unwrap_err().contains("holds no triangle"));
    }
}

#[test]
fn meshes_side_by_side_are_recalled_each() {
    let mesh = |x: u8| TETRAHEDRON.replace("x=\"1\"", &format!("x=\"{x}\""));
    let objects = (1..=3).map(|x| format!("<object id='{x}'>{}</object>", mesh(x))).collect::<String>();
    let build = "<item objectid='1'/><item objectid='3'/><item objectid='2'/>";
    let bytes = package(&document("", &objects, build));
    let memo = Memo::new(1 << 20);
    let [fresh, first, again] = [Recall::NOTHING, Recall::from(&memo), Recall::from(&memo)]
        .map(|recall| read_recalling(Cursor::new(&bytes), LIMITS, recall).unwrap());
    assert!(fresh == first && fresh == again);
    assert!((volume(&again) - 6.0 / 6.0).abs() < 1e-12);
}

#[test]
fn a_message_stays_one_short_line_whatever_it_quotes() {
    let long = format!("<a{}\n\u{1b}[31m", "x".repeat(100_000));
    for (resources, build) in [
        (format!("<basematerials id='1'></basematerials{long}>"), String::new()),
        (format!("<basematerials id='{long}'/>").replace('<', "&#60;").replacen("&#60;", "<", 1), String::new()),
        (String::new(), "<item objectid='1' transform='1\n2\n3'/>".to_owned()),
    ] {
        let message = of("", &resources, &build).unwrap_err();
        assert!(message.chars().count() <= LONGEST_MESSAGE + 1 && !message.contains(char::is_control), "{message:?}");
    }
}
