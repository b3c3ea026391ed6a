//! Bad input to the program itself, with the stages that ship: nothing is written, one line says what is wrong and what
//! to do, and the exit code tells whose fault it is.

#![allow(missing_docs)]
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use assert_cmd::cargo::cargo_bin;
use tempfile::TempDir;

/// A folder with a job for a model that is yet to come.
struct Bench(TempDir);

impl Bench {
    /// A job with these stages behind `scale`, for a model of that name.
    fn new(stages: &str) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let process = Path::new(env!("CARGO_MANIFEST_DIR")).join("jobs/processes/powder-full-colour.yaml");
        fs::copy(process, folder.path().join("process.yaml")).unwrap();
        let stages: String = stages.lines().map(|line| format!("  - {line}\n")).collect();
        let job = format!(
            "commission: BAD-1\ntitle: Bad input\nmodel: {{ file: model.stl, units: mm }}\nprocess: process.yaml\n\
             stages:\n  - scale: {{ longest: 60 mm }}\n{stages}"
        );
        fs::write(folder.path().join("job.yaml"), job).unwrap();
        Self(folder)
    }

    fn model(self, bytes: impl AsRef<[u8]>) -> Self {
        fs::write(self.0.path().join("model.stl"), bytes).unwrap();
        self
    }

    /// Runs the job and expects that exit code, all of these words in what it says, and nothing written.
    fn refuses(&self, code: i32, words: &[&str]) {
        let before = listing(self.0.path());
        let output = Command::new(cargo_bin("turnhue"))
            .args(["run", "job.yaml"])
            .current_dir(self.0.path())
            .stdin(Stdio::null())
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(code), "{said}");
        for word in words {
            assert!(said.contains(word), "'{word}' is not in: {said}");
        }
        assert!(!said.contains("panicked"), "{said}");
        assert_eq!(listing(self.0.path()), before, "something was written: {said}");
    }
}

/// Every file below a folder.
fn listing(folder: &Path) -> Vec<std::path::PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            // An empty folder for runs holds no result.
            found.extend(listing(&path));
        } else {
            found.push(path);
        }
    }
    found.sort();
    found
}

/// A binary STL of triangles.
fn stl(triangles: &[[[f32; 3]; 3]]) -> Vec<u8> {
    let mut bytes = vec![0; 80];
    bytes.extend((triangles.len() as u32).to_le_bytes());
    for corners in triangles {
        bytes.extend([0; 12]);
        bytes.extend(corners.iter().flatten().flat_map(|x| x.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

/// A cube of edge 1.
fn cube() -> Vec<[[f32; 3]; 3]> {
    let corner = |i: u8| [f32::from(i & 1), f32::from(i >> 1 & 1), f32::from(i >> 2)];
    [[1, 3, 7, 5], [0, 4, 6, 2], [2, 6, 7, 3], [0, 1, 5, 4], [4, 5, 7, 6], [0, 2, 3, 1]]
        .into_iter()
        .flat_map(|[a, b, c, d]| [[a, b, c], [a, c, d]])
        .map(|triangle| triangle.map(corner))
        .collect()
}

#[test]
fn models_that_cannot_be_read() {
    let job = "voxelise: { cell: 3 mm }";
    Bench::new(job).refuses(2, &["job.yaml:3:", "model.stl"]);
    let whole = stl(&cube());
    Bench::new(job).model(&whole[..whole.len() - 20]).refuses(2, &["job.yaml:3:", "bytes"]);
    let mut lies = whole.clone();
    lies[80..84].copy_from_slice(&4_000_000_000u32.to_le_bytes());
    Bench::new(job).model(lies).refuses(2, &["4000000000 triangles"]);
    for bad in [f32::NAN, f32::INFINITY] {
        let mut triangles = cube();
        triangles[7][1][2] = bad;
        Bench::new(job).model(stl(&triangles)).refuses(2, &["triangle"]);
    }
    Bench::new(job).model(stl(&[])).refuses(2, &["no triangle"]);
    Bench::new(job).model("").refuses(2, &["job.yaml:3:"]);
    let flat: Vec<_> = cube().into_iter().map(|t| t.map(|[x, y, _]| [x, y, 0.0])).collect();
    Bench::new(job).model(stl(&flat)).refuses(2, &["job.yaml:3:", "flat"]);
}

#[test]
fn settings_that_do_not_fit_the_piece() {
    let bench = |stages| Bench::new(stages).model(stl(&cube()));
    bench("voxelise: { cell: 70 mm }").refuses(2, &["job.yaml:7:", "larger than the whole piece"]);
    bench("voxelise: { cell: 0.005 mm }").refuses(2, &["job.yaml:7:", "TiB", "the limit of 4 GiB"]);
    bench("voxelise: { cell: 3 parsec }").refuses(2, &["job.yaml:7:", "is not a length"]);
    let hollow = "voxelise: { cell: 3 mm }\nhollow: { wall: 31 mm, openings: [{ side: bottom, width: 9 mm }] }";
    bench(hollow).refuses(2, &["job.yaml:8:", "leaves no cavity", "thinner wall"]);
    let wide = "voxelise: { cell: 3 mm }\nhollow: { wall: 3 mm, openings: [{ side: bottom, width: 57 mm }] }";
    bench(wide)
        .refuses(2, &["job.yaml:8:", "no place on the bottom side", "the widest opening that fits there is 54 mm"]);
    bench("hollow: { wall: 3 mm, openings: [{ side: bottom, width: 9 mm }] }")
        .refuses(2, &["job.yaml:7:", "`voxelise`"]);
}
