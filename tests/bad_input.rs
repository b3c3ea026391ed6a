//! Bad input, through the program and the stages that ship: nothing is written, one clear message says what is wrong,
//! where, and what to do, and neither time nor memory grows with what a file merely promises.
#![allow(clippy::unwrap_used, missing_docs)]

#[path = "own-stages/workshop.rs"]
#[expect(dead_code, reason = "the jobs here are for the stages that ship, not for those of the tests")]
mod workshop;

use std::time::Duration;

use assert_cmd::Command;
use turnhue::exit;
use workshop::Workshop;

/// A job for a cube of 40 mm that is ready to order; the tests spoil one thing each.
const JOB: &str = "\
commission: C-1
title: Cube
model: { file: cube.stl, units: mm }
process: process.yaml
stages:
  - scale: { height: 40 mm }
  - voxelise: { cell: 4 mm }
  - repair
  - hollow: { wall: 2.5 mm, openings: [{ side: bottom, width: 12 mm }] }
  - colour: { right: red, left: blue, back: gold, front: green, top: white, bottom: navy, inside: linen }
  - validate
";

/// All that is done before a refusal takes hundredths of a second; the bound only has to tell that from work that grows
/// with what a file promises.
const SOON: Duration = Duration::from_secs(20);

struct Said {
    code: u8,
    out: String,
    err: String,
}

fn shop() -> Workshop {
    let shop = Workshop::new();
    shop.put("cube.stl", cube([40.0; 3]));
    shop
}

/// A box with a corner in the origin, as binary STL.
fn cube(size: [f32; 3]) -> Vec<u8> {
    // Corner n lies at the far end of x, y, z where bits 0, 1, 2 of n are set; counter-clockwise seen from outside.
    const SIDES: [[u8; 4]; 6] = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]];
    let mut bytes = vec![0; 80];
    bytes.extend(12_u32.to_le_bytes());
    for corner in SIDES.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]) {
        bytes.extend([0; 12]);
        for number in corner.iter().flat_map(|n| [0, 1, 2].map(|axis| f32::from(n >> axis & 1) * size[axis])) {
            bytes.extend(number.to_le_bytes());
        }
        bytes.extend([0; 2]);
    }
    bytes
}

/// The cube with the first coordinate of its first corner replaced.
fn cube_with(number: f32) -> Vec<u8> {
    let mut bytes = cube([40.0; 3]);
    bytes[96..100].copy_from_slice(&number.to_le_bytes());
    bytes
}

fn run(shop: &Workshop, arguments: &[&str]) -> Said {
    let mut command = Command::new(env!("CARGO_BIN_EXE_turnhue"));
    command.current_dir(shop.path("")).arg("run").arg("job.yaml").args(arguments).timeout(SOON);
    let output = command.output().unwrap();
    let code = output.status.code().expect("ended by itself, in time");
    Said {
        code: u8::try_from(code).unwrap(),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

/// Runs the job: it must be refused as wrong at `place` ("line:column"), with a message and a remedy that hold `parts`,
/// and leave the folder as it was.
fn refused(shop: &Workshop, job: impl AsRef<[u8]>, place: &str, parts: &[&str]) {
    shop.put("job.yaml", job);
    let before = shop.content();
    let said = run(shop, &["--quiet"]);
    assert_eq!(said.code, exit::WRONG_JOB, "{}", said.err);
    assert_eq!(said.out, "");
    assert_eq!(said.err.matches("error: ").count(), 1, "one fault, one message: {}", said.err);
    let at = format!("job.yaml:{place}");
    for part in parts.iter().copied().chain([at.as_str()]) {
        assert!(said.err.contains(part), "'{part}' is not in: {}", said.err);
    }
    assert!(said.err.lines().next().unwrap().chars().count() < 400, "{}", said.err);
    assert_eq!(shop.content(), before, "something was written");
}

/// Runs the job with one text in it replaced.
fn refused_with(old: &str, new: &str, place: &str, parts: &[&str]) {
    assert_eq!(JOB.matches(old).count(), 1, "{old}");
    refused(&shop(), JOB.replace(old, new), place, parts);
}

fn refused_model(bytes: impl AsRef<[u8]>, parts: &[&str]) {
    let shop = shop();
    shop.put("cube.stl", bytes);
    refused(&shop, JOB, "3:16", parts);
}

#[test]
fn the_job_that_the_others_spoil_is_ready_to_order() {
    let shop = shop();
    shop.put("job.yaml", JOB);
    let said = run(&shop, &["--quiet"]);
    assert_eq!(said.code, exit::READY, "{}", said.err);
    assert!(shop.path("runs/C-1").is_dir());
}

#[test]
fn a_model_that_cannot_be_read_is_shown_where_it_is_named() {
    let shop = shop();
    let named = |name: &str| JOB.replace("cube.stl", name);
    refused(&shop, named("cub.stl"), "3:16", &["could not read cub.stl", "`cube.stl` beside it"]);
    refused(&shop, named("piece.stl"), "3:16", &["could not read piece.stl", "relative to the job file's folder"]);
    std::fs::create_dir(shop.path("folder.stl")).unwrap();
    refused(&shop, named("folder.stl"), "3:16", &["it is not a file", "name a file"]);
    refused(&shop, named("\"cu\\0be.stl\""), "3:16", &["NUL byte", "see that the name leads to a file"]);
}

/// A pipe that nobody writes to would be waited for without end.
#[cfg(unix)]
#[test]
fn no_pipe_device_or_circle_of_links_is_waited_for() {
    let shop = shop();
    std::os::unix::fs::symlink("circle.stl", shop.path("circle.stl")).unwrap();
    assert!(std::process::Command::new("mkfifo").arg(shop.path("pipe.stl")).status().unwrap().success());
    std::os::unix::fs::symlink("/dev/zero", shop.path("zero.stl")).unwrap();
    let named = |name: &str| JOB.replace("cube.stl", name);
    refused(&shop, named("circle.stl"), "3:16", &["symbolic links", "see that the name leads to a file"]);
    for name in ["pipe.stl", "zero.stl"] {
        refused(&shop, named(name), "3:16", &["it is not a file"]);
    }
}

#[test]
fn a_model_that_is_cut_off_says_how_much_is_missing() {
    refused_model(&cube([40.0; 3])[..200], &["promises 12 triangles", "684 bytes", "has 200", "export or download it"]);
    refused_model([], &["0 bytes are too few", "export or download"]);
    refused_model("solid cube\nfacet normal 0 0 1\nouter loop\nvertex 0 0", &["could not read the model cube.stl"]);
}

/// The promise is compared with the file, never believed: within 256 MB of address space there is no room for it.
#[test]
fn a_promise_of_four_thousand_million_triangles_takes_no_memory() {
    let shop = shop();
    let mut bytes = cube([40.0; 3]);
    bytes[80..84].copy_from_slice(&4_000_000_000_u32.to_le_bytes());
    shop.put("cube.stl", bytes);
    refused(&shop, JOB, "3:16", &["promises 4000000000 triangles", "200000000084 bytes", "has 684"]);
    if cfg!(target_os = "linux") {
        let mut command = Command::new("sh");
        command.current_dir(shop.path("")).timeout(SOON);
        command.args(["-c", "ulimit -v 262144 && exec \"$0\" run job.yaml --quiet --threads 1"]);
        let output = command.arg(env!("CARGO_BIN_EXE_turnhue")).output().unwrap();
        assert_eq!(output.status.code(), Some(exit::WRONG_JOB.into()), "{output:?}");
    }
}

/// Files of some kilobytes that promise, repeat or nest without end, each in 256 MB of address space.
#[test]
fn models_made_to_hurt_take_little_memory() {
    let shop = shop();
    let ply = "ply\nformat ascii 1.0\nelement vertex 4000000000\nproperty float x\nproperty float y\nproperty float z\n\
               element face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n";
    let zeros = r#"{"asset":{"version":"2.0"},"nodes":[{"mesh":0}],"meshes":[{"primitives":[{"attributes":{"POSITION":0}}]}],
        "accessors":[{"componentType":5126,"count":3999999999,"type":"VEC3"}]}"#;
    let deep = format!("{{\"asset\":{}", "[".repeat(1_000_000));
    let doubling: String = (2..32)
        .map(|id| {
            let one = format!("<component objectid=\"{}\"/>", id - 1);
            format!("<object id=\"{id}\"><components>{one}{one}</components></object>")
        })
        .collect();
    let doubling = document(&doubling, "<item objectid=\"31\"/>");
    let spaces = document(&" ".repeat(20 << 20), "<item objectid=\"1\"/>");
    for (name, bytes, part) in [
        ("lying.ply", ply.into(), "promises 4000000000 of the element 'vertex'"),
        ("zeros.gltf", zeros.into(), "more than 4000000 triangles"),
        ("deep.gltf", deep.into_bytes(), "the JSON of the glTF file cannot be read"),
        ("doubling.3mf", package(&doubling), "more than 4000000 triangles"),
        ("swelling.3mf", package(&spaces), "unpacks to more than 16777216 bytes"),
    ] {
        shop.put(name, bytes);
        let job = JOB.replace("cube.stl", name);
        refused(&shop, &job, "3:16", &[part]);
        if cfg!(target_os = "linux") {
            let mut command = Command::new("sh");
            command.current_dir(shop.path("")).timeout(SOON);
            command.args(["-c", "ulimit -v 262144 && exec \"$0\" run job.yaml --quiet --threads 1"]);
            let output = command.arg(env!("CARGO_BIN_EXE_turnhue")).output().unwrap();
            assert_eq!(output.status.code(), Some(exit::WRONG_JOB.into()), "{name}: {output:?}");
        }
    }
}

/// A 3MF document with a triangle as object 1, and more.
fn document(resources: &str, build: &str) -> String {
    format!(
        r#"<model xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02"><resources><object id="1"><mesh>
<vertices><vertex x="0" y="0" z="0"/><vertex x="1" y="0" z="0"/><vertex x="0" y="1" z="0"/></vertices>
<triangles><triangle v1="0" v2="1" v3="2"/></triangles></mesh></object>{resources}</resources><build>{build}</build></model>"#
    )
}

/// A package with this document as its model (3MF core 1.4.0, 2.1.1).
fn package(model: &str) -> Vec<u8> {
    let relationships = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="r" Target="/m" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;
    let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, text) in [("_rels/.rels", relationships), ("m", model)] {
        let packed = zip::write::SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
        zip.start_file(name, packed).unwrap();
        std::io::Write::write_all(&mut zip, text.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}

#[test]
fn coordinates_must_be_finite() {
    for number in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
        refused_model(
            cube_with(number),
            &["triangle 1 has a coordinate that is not a finite number", "export it again"],
        );
    }
    let text = "solid t\nfacet normal 0 0 1\nouter loop\nvertex nan 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid";
    refused_model(text, &["not a finite number"]);
}

#[test]
fn a_model_without_a_body_is_refused() {
    refused_model([0; 84], &["holds no triangles", "export the model again"]);
    refused_model("solid nothing\nendsolid nothing\n", &["holds no triangles"]);
    refused_model(cube([40.0, 40.0, 0.0]), &["it is flat: its height (z)", "give it thickness"]);
    refused_model(cube([0.0, 40.0, 40.0]), &["it is flat: its width (x)"]);
}

#[test]
fn a_job_file_made_to_hurt_is_refused_at_once() {
    let shop = shop();
    let doublings: String = (1..40).map(|n| format!("b{n}: &b{n} [*b{}, *b{}]\n", n - 1, n - 1)).collect();
    refused(&shop, format!("b0: &b0 [x, x]\n{doublings}"), "1:5", &["anchors", "write the value out"]);
    let deep = "nested deeper than 32 levels";
    refused(&shop, format!("{JOB}x: {}", "[".repeat(100_000)), "12:", &[deep, "a bracket that is not closed"]);
    refused(&shop, JOB.replace("Cube", &"{a: ".repeat(100_000)), "2:", &[deep]);
    refused(&shop, JOB.replace("Cube", &"- ".repeat(100_000)), "2:", &[]);
}

#[test]
fn keys_come_once_and_are_known() {
    let twice = "keep one; give the other its own name";
    refused(&shop(), format!("{JOB}title: Again\n"), "12:1", &["`title` comes twice", "first here", twice]);
    refused_with("height: 40 mm", "height: 40 mm, height: 4 cm", "6:29", &["`height` comes twice", twice]);
    refused(&shop(), format!("{JOB}tilte: Cube\n"), "12:1", &["`tilte` is not known", "is `title` meant?"]);
    refused_with("wall: 2.5 mm", "wal: 2.5 mm", "9:15", &["`wal` is not known", "is `wall` meant?"]);
    refused_with("side: bottom", "side: botom", "9:48", &["`botom` is not known", "is `bottom` meant?"]);
    refused_with("- repair", "- repiar", "8:5", &["no stage `repiar`", "is `repair` meant?"]);
}

#[test]
fn values_of_the_wrong_type_show_what_is_expected() {
    refused_with("title: Cube", "title: [Cube]", "2:1", &["expected a string", "write it like `title: "]);
    refused_with("title: Cube", "title: ''", "2:8", &["the title is empty", "write it like `title: "]);
    refused_with("process: process.yaml", "process: 7", "4:10", &["expected a string", "processes/powder.yaml"]);
    refused_with("units: mm", "units: 7", "3:33", &["write it like `model: { file"]);
    let lists = "`turnhue stages voxelise` lists its settings";
    refused_with("cell: 4 mm", "cell: [4]", "7:17", &["expected a length such as 3 mm", lists]);
    refused_with("cell: 4 mm", "cell: true", "7:23", &["expected a length such as 3 mm", lists]);
    refused_with("cell: 4 mm", "cell: four", "7:23", &["'four' is not a length", lists]);
    refused_with("[{ side: bottom, width: 12 mm }]", "bottom", "9:39", &["`turnhue stages hollow` lists"]);
    let forms = ["write \"#rrggbb\" or \"#rgb\" in quotes, or a CSS colour name such as teal"];
    for (colour, shown) in [("rde", "rde"), ("'#12345'", "#12345"), ("'rgb(1,2,3)'", "rgb(1,2,3)")] {
        let said = [forms[0], &format!("'{shown}' is not a colour")];
        refused_with("right: red", &format!("right: {colour}"), "10:22", &said);
    }
}

#[test]
fn a_job_file_that_is_not_utf8_shows_the_line() {
    let mut job = JOB.as_bytes().to_vec();
    job.extend(b"# caf\xe9\n");
    refused(&shop(), job, "12:", &["not UTF-8", "save the file as UTF-8"]);
    refused(&shop(), [0xff, 0xfe, b't', 0], "1:", &["not UTF-8"]);
}

#[test]
fn a_cell_must_fit_the_piece_and_the_memory() {
    let cell = |new: &str, parts: &[&str]| refused_with("cell: 4 mm", &format!("cell: {new}"), "7:23", parts);
    cell("100 mm", &["a cell of 100 mm is larger than the whole piece (40 mm", "choose a smaller cell"]);
    cell("0 mm", &["larger than 0 mm", "write cell: 3 mm"]);
    // 4000³ cells of one byte are 6.4e10 bytes, or 59.6 GiB.
    cell("0.01 mm", &["4000 × 4000 × 4000 cells", "about 59.6 GiB", "limit of 4 GiB", "choose a larger cell"]);
    // 4e10³ cells of one byte are 6.4e31 bytes, or 5.8e19 TiB: far beyond what 64 bits count.
    cell("1e-9 mm", &["4.0e10 × 4.0e10 × 4.0e10 cells", "about 5.8e19 TiB", "limit of 4 GiB"]);
    refused_with("height: 40 mm", "height: 1e30 mm", "7:23", &["limit of 4 GiB", "a smaller piece"]);
}

/// The memory would do; the grid is too long all the same, and more memory would be no remedy.
#[test]
fn a_grid_may_be_too_long_for_any_memory() {
    let shop = shop();
    shop.put("cube.stl", cube([1e6, 2.0, 2.0]));
    let job = JOB.replace("height: 40 mm", "factor: 1").replace("cell: 4 mm", "cell: 2 mm");
    refused(&shop, job, "7:23", &["a grid of 500000 × ", "longer than the 100000 cells", "choose a larger cell"]);
}

#[test]
fn a_wall_must_leave_room_for_a_cavity() {
    refused_with("wall: 2.5 mm", "wall: 30 mm", "9:21", &["a wall of 30 mm leaves no cavity", "a thinner wall"]);
}

/// A plate of half a millimetre has no cube of 4 mm with its middle inside: whichever stage needs one says so, unless
/// `repair` is asked to make cubes of it.
#[test]
fn a_form_thinner_than_a_cube_is_refused_unless_it_is_thickened() {
    let shop = shop();
    shop.put("cube.stl", cube([40.0, 40.0, 0.5]));
    let job = JOB.replace("height: 40 mm", "width: 40 mm");
    let hollow = job.lines().find(|line| line.contains("hollow")).unwrap();
    let solid = job.replace(&format!("{hollow}\n"), "");
    let parts = ["thinner than the cells everywhere", "set `repair.thin: thicken`"];
    refused(&shop, &solid, "8:5", &parts);
    refused(&shop, solid.replace("  - repair\n", ""), "8:5", &parts);
    refused(&shop, job.replace("  - repair\n", ""), "8:5", &parts);

    shop.put("job.yaml", solid.replace("- repair", "- repair: { thin: thicken }"));
    let said = run(&shop, &["--json", "--quiet"]);
    assert_eq!(said.code, exit::READY, "{}", said.err);
    let json: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    let record = shop.path(json["summary"].as_str().unwrap()).with_file_name("run.json");
    let record = turnhue_reports::record::read(&record).unwrap();
    let whole = |name| record.fact("repair", name).map(|fact| fact.value.clone());
    let count = turnhue_stages::findings::Value::Whole;
    // Ten by ten cubes, and the rim: the plate's sides lie between two columns, of which one is off the grid.
    assert_eq!(whole("cells added to thicken"), Some(count(100)));
    assert_eq!(whole("places not converted"), Some(count(0)));
}

#[test]
fn settings_for_thin_parts_are_few() {
    let wrong = ["`thick` is not known here", "settings of `repair`", "is `thicken` meant?"];
    refused_with("- repair", "- repair: { thin: thick }", "8:21", &wrong);
}

#[test]
fn a_commission_leads_nowhere_else() {
    for name in ["../x", "a/b", "..", "/tmp/x", "'a\\b'"] {
        let parts = ["cannot name the folder of the commission", "use letters a to z", "write it like `commission: "];
        refused_with("C-1", name, "1:13", &parts);
    }
}

#[test]
fn markup_in_a_title_stays_text() {
    let shop = shop();
    let title = "<script>alert(1)</script><img src=x onerror=alert(2)>";
    shop.put("job.yaml", JOB.replace("title: Cube", &format!("title: '{title}'")));
    let said = run(&shop, &["--json", "--quiet"]);
    assert_eq!(said.code, exit::READY, "{}", said.err);
    let json: serde_json::Value = serde_json::from_str(&said.out).unwrap();
    let page = std::fs::read_to_string(shop.path(json["summary"].as_str().unwrap())).unwrap();
    assert!(page.contains("&#60;script&#62;alert(1)&#60;/script&#62;"), "the title is on the page, escaped");
    assert!(!page.contains("<script>alert") && !page.contains("<img src=x"), "the title became markup");
}

#[test]
fn a_file_in_the_place_of_the_output_folder_stays() {
    let shop = shop();
    shop.put("job.yaml", JOB);
    for (name, into) in [("runs", "runs"), ("taken", "taken"), ("taken", "taken/below")] {
        shop.put(name, "a file");
        let before = shop.content();
        let said = run(&shop, &["--quiet", "--into", into]);
        assert_eq!(said.code, exit::FAILED, "{}", said.err);
        assert!(said.err.contains(&format!("could not make a run folder in {into}")), "{}", said.err);
        assert!(said.err.contains("name a folder that can be written with `--into DIR`"), "{}", said.err);
        assert_eq!(shop.content(), before);
        assert_eq!(std::fs::read(shop.path(name)).unwrap(), b"a file");
    }
}

/// A file system of 2 MB in memory, taken away with the value.
#[cfg(target_os = "linux")]
struct SmallDisk(std::path::PathBuf);

#[cfg(target_os = "linux")]
impl SmallDisk {
    /// Nothing where mounting is not permitted.
    fn mounted_at(folder: std::path::PathBuf) -> Option<Self> {
        std::fs::create_dir(&folder).unwrap();
        let mut mount = std::process::Command::new("mount");
        mount.args(["-t", "tmpfs", "-o", "size=2m", "none"]).arg(&folder);
        mount.output().is_ok_and(|done| done.status.success()).then_some(Self(folder))
    }
}

#[cfg(target_os = "linux")]
impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = std::process::Command::new("umount").arg(&self.0).status();
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_disk_that_fills_up_keeps_nothing_of_the_run() {
    let shop = shop();
    let Some(disk) = SmallDisk::mounted_at(shop.path("disk")) else {
        eprintln!("skipped: mounting is not permitted here");
        return;
    };
    shop.put("job.yaml", JOB);
    // The run's files take about 0.6 MB: full from the start, after the first files, and near the end.
    for filled in [2 << 20, 1_900_000, 1_700_000, 1_550_000] {
        std::fs::write(disk.0.join("filler"), vec![0; filled]).unwrap();
        let before = shop.content();
        let said = run(&shop, &["--quiet", "--into", "disk"]);
        assert_eq!(said.code, exit::FAILED, "{filled}: {}", said.err);
        assert!(said.err.contains("No space left on device"), "{filled}: {}", said.err);
        assert!(said.err.contains("--into DIR"), "{filled}: {}", said.err);
        assert_eq!(shop.content(), before, "{filled}");
    }
}
