//! A folder with a job and all that it names.

use std::fs;
use std::path::{Path, PathBuf};

use tempfile::TempDir;

/// A folder that goes away with the test.
pub(crate) struct Workshop(TempDir);

const PROCESS: &str = "\
name: Demo powder, invented
family: binder-jetting
build_volume: { value: [250 mm, 350 mm, 200 mm], basis: invented for the demo }
layer: { value: 0.1 mm, basis: invented for the demo }
minimum_wall: { value: 2 mm, basis: invented for the demo }
detail: { value: 0.5 mm, basis: invented for the demo }
gap: { value: 1 mm, basis: invented for the demo }
opening: { value: 10 mm, basis: invented for the demo }
bleed: { value: 0.3 mm, basis: invented for the demo }
edge_radius: { value: 0.3 mm, basis: invented for the demo }
tolerance: { value: 0.3 mm, basis: invented for the demo }
density: { value: 1.5, basis: invented for the demo }
most_triangles: { value: 1000000, basis: invented for the demo }
most_bytes: { value: 100000000, basis: invented for the demo }
";

/// A job that is in order, but for its stages.
pub(crate) const HEAD: &str = "\
commission: C-1
title: Whelk
model: { file: model.stl, units: mm }
process: process.yaml
stages:
";

impl Workshop {
    /// With a process, a price list, and a model: the tetrahedron of the origin and three points at 10 on the axes.
    pub(crate) fn new() -> Self {
        let shop = Self(tempfile::tempdir().unwrap());
        shop.put("process.yaml", PROCESS);
        shop.put("rates.yaml", "currency: EUR\n");
        shop.put("model.stl", tetrahedron(10.0));
        shop
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.0.path().join(name)
    }

    pub(crate) fn put(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        fs::write(&path, bytes).unwrap();
        path
    }

    /// A job with these stages, a line each.
    pub(crate) fn job(&self, stages: &str) -> PathBuf {
        let stages: String = stages.lines().map(|line| format!("  - {line}\n")).collect();
        self.put("job.yaml", format!("{HEAD}{stages}"))
    }

    /// Whether a file of that name is anywhere in it.
    #[allow(dead_code, reason = "not every test that has a workshop looks for one")]
    pub(crate) fn holds(&self, name: &str) -> bool {
        let mut found = Vec::new();
        walk(self.0.path(), &mut found);
        found.iter().any(|path| path.file_name().is_some_and(|other| other == name))
    }

    /// Every file and folder in it by name, sorted, but for what is kept beside runs: the store, the ledger with its page and inputs,
    /// and folders that hold nothing else.
    #[allow(dead_code, reason = "not every test that has a workshop looks at all of it")]
    pub(crate) fn content(&self) -> Vec<String> {
        let mut found = Vec::new();
        walk(self.0.path(), &mut found);
        let mut names: Vec<String> = found
            .iter()
            .map(|path| path.strip_prefix(self.0.path()).unwrap().to_string_lossy().replace('\\', "/"))
            .collect();
        let beside = |name: &String| {
            let parts: Vec<&str> = name.split('/').collect();
            let kept =
                |part: &&str| matches!(*part, ".store" | ".unfinished" | "ledger" | "inputs" | "commission.html");
            parts.iter().any(kept) || matches!(parts[..], ["runs"] | ["runs", _] | ["disk", "C-1"])
        };
        names.retain(|name| !beside(name));
        names.sort();
        names
    }
}

#[allow(dead_code, reason = "as above")]
fn walk(folder: &Path, found: &mut Vec<PathBuf>) {
    // What runs meanwhile may take a folder away.
    for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            walk(&path, found);
        }
        found.push(path);
    }
}

/// Binary STL.
pub(crate) fn tetrahedron(size: f32) -> Vec<u8> {
    let points = [[0.0; 3], [size, 0.0, 0.0], [0.0, size, 0.0], [0.0, 0.0, size]];
    let triangles: [[usize; 3]; 4] = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]];
    let mut bytes = vec![0; 80];
    bytes.extend(4_u32.to_le_bytes());
    for triangle in triangles {
        bytes.extend([0; 12]);
        for number in triangle.into_iter().flat_map(|corner| points[corner]) {
            bytes.extend(number.to_le_bytes());
        }
        bytes.extend([0; 2]);
    }
    bytes
}
