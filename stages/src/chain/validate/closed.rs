//! Whether the surface is closed, turned outwards everywhere, and touches itself nowhere.

use super::mesh::{Mesh, NONE, Topology};
use super::said::{Regions, Said, Spot};
use crate::findings::{Fact, Finding, Unit, Value};

/// Triangles of this area in mm² or less are flat. Above it lies the smallest that a cavity's corner can leave, some
/// 1e-6 mm² (a micron by two); below it lies what rounding makes of three points on a line of 1 m, some 1e-11 mm².
const FLAT: f64 = 1e-9;

/// Says what is wrong with the surface, and gives the topology to go on with: that of the file's own indices or, where
/// these tear the surface along repeated points, that of the places.
pub(super) fn check(mesh: &Mesh, region: f64, said: &mut Said) -> Topology {
    let by_index = Topology::new(&mesh.triangles);
    let first = mesh.welded();
    let repeats = first.iter().enumerate().any(|(i, &f)| i != f as usize);
    let by_place = repeats.then(|| Topology::new(&welded_triangles(mesh, &first)));

    let places = by_place.as_ref().unwrap_or(&by_index);
    open(mesh, &by_index, places, region, said);
    misturned(mesh, places, region, said);
    touching(mesh, &by_index, places, &first, region, said);
    flat(mesh, region, said);
    let used = used_points(mesh);
    let euler = used as i64 - by_index.edges as i64 + mesh.triangles.len() as i64;
    said.facts.push(Fact {
        name: "Euler characteristic".to_owned(),
        value: Value::Whole(euler),
        unit: Some(Unit::One),
    });

    match by_place {
        Some(by_place) if !by_index.open.is_empty() => by_place,
        _ => by_index,
    }
}

fn welded_triangles(mesh: &Mesh, first: &[u32]) -> Vec<[u32; 3]> {
    mesh.triangles.iter().map(|t| t.map(|i| first[i as usize])).collect()
}

fn used_points(mesh: &Mesh) -> usize {
    let mut used = vec![false; mesh.points.len()];
    mesh.triangles.iter().flatten().for_each(|&i| used[i as usize] = true);
    used.iter().filter(|&&u| u).count()
}

fn middle(mesh: &Mesh, half: u32) -> Spot {
    let [a, b] = mesh.ends(half);
    Spot::at((a + b) / 2.0)
}

fn open(mesh: &Mesh, by_index: &Topology, by_place: &Topology, region: f64, said: &mut Said) {
    said.facts.push(Fact::whole("open edges", by_index.open.len(), Unit::Count));
    if by_index.open.is_empty() {
        return;
    }
    let regions = Regions::new(by_index.open.iter().map(|&half| middle(mesh, half)), region);
    let torn = if by_place.open.is_empty() {
        " The triangles meet there, but the file repeats the points between them."
    } else {
        ""
    };
    let message = format!(
        "the surface is not closed: {} edges have one triangle only, {}.{torn} It has no inside that could be printed.",
        by_index.open.len(),
        regions.words()
    );
    said.findings.push(
        Finding::fault(
            "not-closed",
            message,
            "do not order this file; make it again with `colour`, and check the disk",
        )
        .at(regions.places),
    );
}

fn misturned(mesh: &Mesh, by_place: &Topology, region: f64, said: &mut Said) {
    if by_place.misturned.is_empty() {
        return;
    }
    let regions = Regions::new(by_place.misturned.iter().map(|&half| middle(mesh, half)), region);
    let message = format!(
        "neighbouring triangles are turned against each other along {} edges, {}: what is inside there is not defined",
        by_place.misturned.len(),
        regions.words()
    );
    said.findings.push(
        Finding::fault("turned-wrong", message, "do not order this file; make it again with `colour`")
            .at(regions.places),
    );
}

fn touching(mesh: &Mesh, by_index: &Topology, by_place: &Topology, first: &[u32], region: f64, said: &mut Said) {
    let points = touching_points(mesh, by_index, first);
    said.facts.push(Fact::whole("touching edges", by_place.crowded.len(), Unit::Count));
    said.facts.push(Fact::whole("touching points", points.len(), Unit::Count));
    let edges = by_place.crowded.iter().map(|&half| middle(mesh, half));
    let spots: Vec<Spot> = edges.chain(points.iter().map(|&i| Spot::at(mesh.points[i as usize]))).collect();
    if spots.is_empty() {
        return;
    }
    let regions = Regions::new(spots, region);
    let message = format!(
        "the surface touches itself along {} edges and at {} points, {}: such a joint has no thickness and breaks",
        by_place.crowded.len(),
        points.len(),
        regions.words()
    );
    said.findings.push(
        Finding::fault("touches-itself", message, "put `repair` before `colour` and let it mend contacts")
            .at(regions.places),
    );
}

/// Places at which the triangles form more than one fan. Told only for a surface that is closed by its indices: on any
/// other, the edges have been found already.
fn touching_points(mesh: &Mesh, topology: &Topology, first: &[u32]) -> Vec<u32> {
    if !topology.is_closed() {
        return Vec::new();
    }
    let mut fans = vec![0u32; mesh.points.len()];
    let mut seen = vec![false; topology.twin.len()];
    for start in 0..topology.twin.len() {
        if seen[start] {
            continue;
        }
        let point = mesh.triangles[start / 3][start % 3];
        fans[first[point as usize] as usize] += 1;
        // Once round the point: back along the half-edge that ends here, over to the one that leaves.
        let mut half = start;
        while !seen[half] {
            seen[half] = true;
            let before = half - half % 3 + (half + 2) % 3;
            let across = topology.twin[before];
            debug_assert_ne!(across, NONE);
            half = across as usize;
        }
    }
    (0..).zip(&fans).filter(|&(_, &fans)| fans > 1).map(|(i, _)| i).collect()
}

fn flat(mesh: &Mesh, region: f64, said: &mut Said) {
    let flat: Vec<usize> = (0..mesh.triangles.len()).filter(|&t| mesh.area(t) <= FLAT).collect();
    if flat.is_empty() {
        return;
    }
    let regions = Regions::new(flat.iter().map(|&t| Spot::at(mesh.centroid(t))), region);
    let message = format!("{} triangles have no area, {}: they face nowhere", flat.len(), regions.words());
    said.findings.push(
        Finding::fault("flat-triangle", message, "do not order this file; make it again with `colour`")
            .at(regions.places),
    );
}
