//! Whole jobs with models in every format: the same cells as the STL of the same model, and what a job may say of one.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/workshop.rs"]
#[expect(dead_code, reason = "the jobs here are for the stages that ship, not for those of the tests")]
mod workshop;

use std::fs;
use std::io::{Cursor, Write as _};
use std::path::Path;
use std::sync::LazyLock;
use std::sync::atomic::AtomicBool;

use glam::DVec3;
use turnhue::clock::{Clock as _, SystemClock};
use turnhue::events::Silence;
use turnhue::plan::{Plan, plan};
use turnhue::run::{Surroundings, run};
use turnhue::store::Store;
use turnhue_reports::record::Record;
use turnhue_stages::formats::stl;
use turnhue_stages::shipped;
use turnhue_stages::solid::Surface;
use turnhue_stages::units::Memory;
use workshop::Workshop;
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

/// The demo's model, as it is.
static WHELK: LazyLock<Vec<u8>> =
    LazyLock::new(|| fs::read(Path::new(env!("CARGO_MANIFEST_DIR")).join("jobs/models/whelk.stl")).unwrap());

fn whelk() -> Surface {
    stl::read(&WHELK).unwrap()
}

/// A job that makes cubes of 9 mm of a model 180 mm high.
fn job(model: &str) -> String {
    workshop::HEAD.replace("{ file: model.stl, units: mm }", model)
        + "  - scale: { height: 180 mm }\n  - voxelise: { cell: 9 mm }\n  - repair\n  - colour: { right: red, left: blue, \
           back: gold, front: green, top: white, bottom: navy }\n"
}

fn planned(shop: &Workshop, model: &str) -> Result<Plan, String> {
    let path = shop.put("job.yaml", job(model));
    plan(&path, &shipped()).map_err(|faults| faults.iter().map(|fault| fault.render(false)).collect())
}

fn made(shop: &Workshop, model: &str) -> Record {
    let plan = planned(shop, model).unwrap_or_else(|faults| panic!("{faults}"));
    let (clock, cancel) = (SystemClock::start(), AtomicBool::new(false));
    let store = Store::open(&shop.path("runs/.store"), clock.now()).unwrap();
    let into = shop.path("runs");
    let surroundings =
        Surroundings { into: &into, store: &store, clock: &clock, cancel: &cancel, memory: Memory::usual() };
    run(&plan, &surroundings, &mut Silence).unwrap().record().unwrap()
}

/// The digest of the piece's surface, cube by cube.
fn piece(record: &Record) -> String {
    let made = record.stages.iter().flat_map(|stage| &stage.artefacts).find(|file| file.name == "piece.stl");
    made.unwrap().blake3.clone()
}

fn fact(record: &Record, name: &str) -> String {
    let fact = record.stages.iter().flat_map(|stage| &stage.facts).find(|fact| fact.name == name);
    format!("{:?}", fact.unwrap_or_else(|| panic!("no fact {name}")).value)
}

fn obj(surface: &Surface) -> String {
    let points = surface.points().iter().map(|p| format!("v {} {} {}\n", p.x, p.y, p.z));
    let faces = surface.triangles().iter().map(|[a, b, c]| format!("f {} {} {}\n", a + 1, b + 1, c + 1));
    points.chain(faces).collect()
}

fn ply(surface: &Surface) -> String {
    let mut text = format!(
        "ply\nformat ascii 1.0\nelement vertex {}\nproperty float x\nproperty float y\nproperty float z\n\
         element face {}\nproperty list uchar int vertex_indices\nend_header\n",
        surface.points().len(),
        surface.triangles().len()
    );
    text.extend(surface.points().iter().map(|p| format!("{} {} {}\n", p.x, p.y, p.z)));
    text.extend(surface.triangles().iter().map(|[a, b, c]| format!("3 {a} {b} {c}\n")));
    text
}

/// In a unit of 3MF, with the numbers as they are.
fn threemf(surface: &Surface, unit: &str) -> Vec<u8> {
    let points = surface.points().iter().map(|p| format!(r#"<vertex x="{}" y="{}" z="{}"/>"#, p.x, p.y, p.z));
    let triangles = surface.triangles().iter().map(|[a, b, c]| format!(r#"<triangle v1="{a}" v2="{b}" v3="{c}"/>"#));
    let model = format!(
        r#"<model unit="{unit}" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources>
<object id="1"><mesh><vertices>{}</vertices><triangles>{}</triangles></mesh></object></resources>
<build><item objectid="1"/></build></model>"#,
        points.collect::<String>(),
        triangles.collect::<String>()
    );
    let relationships = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="r" Target="/m" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, text) in [("_rels/.rels", relationships), ("m", &model)] {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

/// The document and its buffer.
fn gltf(surface: &Surface) -> (String, Vec<u8>) {
    let positions = surface.points().iter().flat_map(|p| p.as_vec3().to_array()).flat_map(f32::to_le_bytes);
    let indices = surface.triangles().iter().flatten().flat_map(|at| at.to_le_bytes());
    let (points, corners) = (surface.points().len(), 3 * surface.triangles().len());
    let document = format!(
        r#"{{"asset":{{"version":"2.0"}},"scenes":[{{"nodes":[0]}}],"nodes":[{{"mesh":0}}],
"meshes":[{{"primitives":[{{"attributes":{{"POSITION":0}},"indices":1}}]}}],
"accessors":[{{"bufferView":0,"componentType":5126,"count":{points},"type":"VEC3"}},
{{"bufferView":1,"componentType":5125,"count":{corners},"type":"SCALAR"}}],
"bufferViews":[{{"buffer":0,"byteLength":{split}}},{{"buffer":0,"byteOffset":{split},"byteLength":{rest}}}],
"buffers":[{{"uri":"whelk.bin","byteLength":{all}}}]}}"#,
        split = 12 * points,
        rest = 4 * corners,
        all = 12 * points + 4 * corners
    );
    (document, positions.chain(indices).collect())
}

#[test]
fn every_format_makes_the_same_piece() {
    let shop = Workshop::new();
    let surface = whelk();
    shop.put("whelk.stl", &*WHELK);
    shop.put("whelk.obj", obj(&surface));
    shop.put("whelk.ply", ply(&surface));
    shop.put("whelk.3mf", threemf(&surface, "millimeter"));
    let (document, buffer) = gltf(&surface);
    shop.put("whelk.gltf", document);
    shop.put("whelk.bin", buffer);
    let expected = piece(&made(&shop, "{ file: whelk.stl, units: mm }"));
    for model in [
        "{ file: whelk.obj, units: mm }",
        "{ file: whelk.ply, units: mm }",
        "{ file: whelk.3mf }",
        // What the job says stands for what the format says.
        "{ file: whelk.gltf, units: mm, up: +z, facing: -y }",
    ] {
        assert_eq!(piece(&made(&shop, model)), expected, "{model}");
    }
}

/// By the standard glTF is in metres, +Y up, the front to +Z: such a file stands up right when the job says nothing.
#[test]
fn a_gltf_model_stands_as_the_standard_says() {
    let shop = Workshop::new();
    let surface = whelk();
    shop.put("whelk.stl", &*WHELK);
    // Our x, y, z are its x, −z, y.
    let (document, buffer) = gltf(&surface.mapped(|p| DVec3::new(p.x, p.z, -p.y) / 1000.0));
    shop.put("whelk.gltf", document);
    shop.put("whelk.bin", buffer);
    let (stl, gltf) = (made(&shop, "{ file: whelk.stl, units: mm }"), made(&shop, "{ file: whelk.gltf }"));
    assert_eq!(fact(&stl, "cells"), fact(&gltf, "cells"));
    let size = |record: &Record| {
        let [low, high] = stl::read(&fs::read(shop.path(&format!("runs/C-1/{}/piece.stl", record.run))).unwrap())
            .unwrap()
            .bounds()
            .unwrap();
        high - low
    };
    assert!((size(&stl) - size(&gltf)).abs().max_element() < 1e-3);
    let model = &gltf.resolved["model"];
    assert_eq!((&model["units"], &model["up"], &model["facing"]), (&"m".into(), &"+y".into(), &"+z".into()));
}

#[test]
fn a_3mf_model_is_in_its_own_unit_unless_the_job_says_another() {
    let shop = Workshop::new();
    shop.put("whelk.3mf", threemf(&whelk(), "inch"));
    let height = |model: &str| planned(&shop, model).unwrap().in_words().lines().nth(1).unwrap().to_owned();
    // The model is 90 units high.
    assert!(height("{ file: whelk.3mf }").contains("× 2286.0 mm"), "{}", height("{ file: whelk.3mf }"));
    assert!(height("{ file: whelk.3mf, units: mm }").contains("× 90.0 mm"));
}

#[test]
fn every_file_that_a_model_names_is_in_the_record() {
    let shop = Workshop::new();
    let (document, buffer) = gltf(&whelk());
    fs::create_dir(shop.path("models")).unwrap();
    shop.put("models/whelk.gltf", &document);
    shop.put("models/whelk.bin", &buffer);
    let record = made(&shop, "{ file: models/whelk.gltf }");
    let input = record.inputs.iter().find(|input| input.what == "named by the model").unwrap();
    assert_eq!(input.name.replace('\\', "/"), "models/whelk.bin");
    assert_eq!((input.bytes, &input.blake3), (buffer.len() as u64, &blake3::hash(&buffer).to_hex().to_string()));
    // Another buffer gives the run another name.
    let digest = |record: &Record| record.run.rsplit('-').next().unwrap().to_owned();
    let mut other = buffer.clone();
    other[2] ^= 1;
    shop.put("models/whelk.bin", other);
    assert_ne!(digest(&made(&shop, "{ file: models/whelk.gltf }")), digest(&record));

    fs::remove_file(shop.path("models/whelk.bin")).unwrap();
    let fault = planned(&shop, "{ file: models/whelk.gltf }").err().unwrap();
    assert!(fault.contains("whelk.bin") && fault.contains("must lie beside the model"), "{fault}");
    shop.put("models/whelk.gltf", document.replace("whelk.bin", "../process.yaml"));
    let fault = planned(&shop, "{ file: models/whelk.gltf }").err().unwrap();
    assert!(fault.contains("nothing is fetched") && fault.contains("job.yaml:3:16"), "{fault}");
}

/// Two tetrahedra as objects of an OBJ file, of heights 10 and 20.
const PAIR: &str = "o small\nv 0 0 0\nv 10 0 0\nv 0 10 0\nv 0 0 10\nf 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n\
                    o large\nv 50 0 0\nv 70 0 0\nv 50 20 0\nv 50 0 20\nf -4 -2 -3\nf -4 -3 -1\nf -4 -1 -2\nf -3 -2 -1\n";

#[test]
fn the_bodies_of_a_model_are_listed_and_chosen() {
    let shop = Workshop::new();
    shop.put("pair.obj", PAIR);
    let words =
        |bodies: &str| planned(&shop, &format!("{{ file: pair.obj, units: mm{bodies} }}")).map(|plan| plan.in_words());
    let all = words("").unwrap();
    for part in [
        "8 triangles, 70.0 × 20.0 × 20.0 mm",
        "OBJ in mm, +z up, facing -y",
        "2 bodies, of which the job takes all",
        "1. small: 4 triangles, 10.0 × 10.0 × 10.0 mm",
        "2. large: 4 triangles, 20.0 × 20.0 × 20.0 mm",
    ] {
        assert!(all.contains(part), "'{part}' is not in: {all}");
    }
    assert!(words(", bodies: largest").unwrap().contains("pair.obj: 4 triangles, 20.0 × 20.0 × 20.0 mm"));
    let first = words(", bodies: [1]").unwrap();
    assert!(first.contains("pair.obj: 4 triangles, 10.0 × 10.0 × 10.0 mm") && first.contains("takes 1"), "{first}");
    assert_eq!(
        planned(&shop, "{ file: pair.obj, units: mm, bodies: [2, 1] }").unwrap().resolved()["model"]["bodies"],
        serde_json::json!([1, 2])
    );
    for (bodies, expected) in [
        ("[3]", "there is no body 3: the model has 2"),
        ("[]", "no body is named"),
        ("[1, 1]", "named twice"),
        ("[0]", "counted from 1"),
        ("some", "`all`, `largest`"),
    ] {
        let fault = words(&format!(", bodies: {bodies}")).unwrap_err();
        assert!(fault.contains(expected) && fault.contains("job.yaml:3:"), "{fault}");
    }
}

#[test]
fn what_a_format_does_not_say_the_job_must() {
    let shop = Workshop::new();
    shop.put("pair.obj", PAIR);
    let fault = planned(&shop, "{ file: pair.obj }").err().unwrap();
    assert!(fault.contains("an OBJ file does not say it") && fault.contains("add `units: mm`"), "{fault}");
    let (document, buffer) = gltf(&whelk());
    shop.put("whelk.gltf", document);
    shop.put("whelk.bin", buffer);
    // The file's own front is +z.
    let fault = planned(&shop, "{ file: whelk.gltf, up: +z }").err().unwrap();
    assert!(fault.contains("cannot face along the axis that points up") && fault.contains("job.yaml:3:"), "{fault}");
}

#[test]
fn a_wrong_ending_is_noted() {
    let shop = Workshop::new();
    shop.put("pair.stl", PAIR);
    let plan = planned(&shop, "{ file: pair.stl, units: mm }").unwrap();
    let note = "its name says STL, but its content is OBJ";
    assert!(plan.in_words().contains(note), "{}", plan.in_words());
    assert!(plan.resolved()["model"]["notes"][0].as_str().unwrap().contains(note));
    let record = made(&shop, "{ file: pair.stl, units: mm }");
    let finding = &record.stages[0].findings[0];
    assert!(finding.code == "model-as-read" && finding.message.contains(note), "{finding:?}");
}
