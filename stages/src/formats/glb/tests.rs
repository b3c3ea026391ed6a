#![allow(clippy::unwrap_used)]

use glam::{DMat4, DVec3};

use super::*;
use crate::Srgb;
use crate::formats::model;

/// A triangle for each colour, one above the other, 7 mm to the right and 3 mm behind the origin.
fn stack(colours: &[Srgb]) -> (Vec<DVec3>, Vec<[u32; 3]>, Vec<u32>) {
    let corners = |z: usize| [[7, 3], [9, 3], [7, 4]].map(|[x, y]| DVec3::new(f64::from(x), f64::from(y), z as f64));
    let points = (0..colours.len()).flat_map(corners).collect();
    let count = colours.len() as u32;
    ((points), (0..count).map(|at| [3 * at, 3 * at + 1, 3 * at + 2]).collect(), (0..count).rev().collect())
}

fn written(colours: &[Srgb], title: &str) -> Vec<u8> {
    let (points, triangles, ink) = stack(colours);
    let mut file = Vec::new();
    write(&ColouredMesh { points: &points, triangles: &triangles, colours, ink: &ink }, title, &mut file).unwrap();
    file
}

/// Corners of each triangle in metres, y up, and its linear light, as the crate `gltf` reads them.
fn judged(file: &[u8]) -> Vec<([DVec3; 3], [f64; 3])> {
    let judge = ::gltf::Gltf::from_slice(file).unwrap();
    let blob = judge.blob.clone().unwrap();
    let node = judge.default_scene().unwrap().nodes().next().unwrap();
    let placed = DMat4::from_cols_array_2d(&node.transform().matrix().map(|column| column.map(f64::from)));
    let mut triangles = Vec::new();
    for primitive in node.mesh().unwrap().primitives() {
        let surface = primitive.material().pbr_metallic_roughness();
        assert_eq!((surface.metallic_factor(), surface.roughness_factor()), (0.0, 1.0));
        let [red, green, blue, alpha] = surface.base_color_factor().map(f64::from);
        assert!((alpha - 1.0).abs() < 1e-9);
        let reader = primitive.reader(|_| Some(&blob));
        let points: Vec<DVec3> =
            reader.read_positions().unwrap().map(|p| placed.transform_point3(p.map(f64::from).into())).collect();
        let shades: Option<Vec<[u16; 4]>> = reader.read_colors(0).map(|colours| colours.into_rgba_u16().collect());
        let corners: Vec<u32> = reader.read_indices().unwrap().into_u32().collect();
        for corners in corners.as_chunks::<3>().0 {
            let own = shades.as_ref().map_or([1.0; 3], |shades| {
                let [first, others @ ..] = corners.map(|at| shades[at as usize]);
                assert!(others.iter().all(|other| *other == first), "one colour a triangle");
                [0, 1, 2].map(|at| f64::from(first[at]) / 65535.0)
            });
            let light = [red * own[0], green * own[1], blue * own[2]];
            triangles.push((corners.map(|at| points[at as usize]), light));
        }
    }
    triangles
}

/// The level that a screen shows for linear light (IEC 61966-2-1, from memory).
fn level(light: f64) -> f64 {
    255.0 * if light <= 0.003_130_8 { 12.92 * light } else { 1.055 * libm::pow(light, 1.0 / 2.4) - 0.055 }
}

#[test]
fn every_level_of_every_colour_comes_back_and_every_point_stands_where_it_should() {
    // As many as have a material each; one more; and all levels.
    for count in [1, 7, MOST_MATERIALS, MOST_MATERIALS + 1, 256] {
        let grey = |at: usize| Srgb([at as u8, 255 - at as u8, (at * 5 % 256) as u8]);
        let colours: Vec<Srgb> = (0..count).map(grey).collect();
        let mut found = judged(&written(&colours, "stack"));
        assert_eq!(found.len(), count);
        found.sort_by(|(a, _), (b, _)| a[0].y.total_cmp(&b[0].y));
        for (at, (corners, light)) in found.into_iter().enumerate() {
            // In metres, y up; what is behind in the piece has a z below zero.
            let z = at as f64 / 1000.0;
            let wanted = [[7.0, 3.0], [9.0, 3.0], [7.0, 4.0]].map(|[x, y]| DVec3::new(x / 1000.0, z, -y / 1000.0));
            assert!(corners.iter().zip(wanted).all(|(a, b)| a.distance(b) < 1e-7), "{corners:?}, {wanted:?}");
            let shown = light.map(level);
            let asked = colours[count - 1 - at].0;
            assert!(shown.iter().zip(asked).all(|(a, b)| (a - f64::from(b)).abs() < 0.05), "{shown:?}, {asked:?}");
        }
    }
}

#[test]
fn the_projects_own_reader_reads_it() {
    for count in [2, 100] {
        let colours: Vec<Srgb> = (0..count).map(|at| Srgb([at; 3])).collect();
        let file = written(&colours, "stack");
        let nothing = &mut |name: &str| -> Result<Vec<u8>, String> { panic!("{name}") };
        let read = model::read(&file, "piece.glb", nothing).unwrap();
        assert_eq!((read.unit, read.stance), (Some(model::FileUnit::Metre), Some(model::Stance::YUp)));
        assert!(read.notes.is_empty(), "{:?}", read.notes);
        // A square millimetre each.
        let area: f64 = read.surface().each_triangle().map(|[a, b, c]| (b - a).cross(c - a).length() / 2.0).sum();
        assert!((area * 1e6 - f64::from(count)).abs() < 1e-4, "{area}");
    }
}

#[test]
fn more_points_than_sixteen_bits_count() {
    // 65 535 points have numbers up to 65 534, the last that is no restart of a strip (3.7.2.1).
    for (triangles, kind) in [(21_845, UNSIGNED_SHORT), (21_846, UNSIGNED_INT)] {
        let colours = [Srgb([1, 2, 3])];
        let (points, corners, _) = stack(&vec![colours[0]; triangles]);
        let ink = vec![0; triangles];
        let mut file = Vec::new();
        let mesh = ColouredMesh { points: &points, triangles: &corners, colours: &colours, ink: &ink };
        write(&mesh, "", &mut file).unwrap();
        let found = judged(&file);
        assert_eq!(found.len(), triangles);
        assert!((found[triangles - 1].0[2].y - (triangles - 1) as f64 / 1000.0).abs() < 1e-4);
        let text = String::from_utf8_lossy(&file);
        assert!(text.contains(&format!("\"componentType\":{kind}")));
    }
}

#[test]
fn the_file_is_as_the_container_wants_it() {
    // 4.4: a header of twelve bytes with the whole length, chunks that begin and end at multiples of four.
    for title in ["", "x", "\"}<script>\u{1}é\u{1f41a}", "xyz"] {
        let file = written(&[Srgb([200, 85, 61])], title);
        let word = |at: usize| u32::from_le_bytes(*file[at..].first_chunk().unwrap()) as usize;
        assert_eq!((&file[..4], word(4), word(8)), (&b"glTF"[..], 2, file.len()));
        let json = word(12);
        assert_eq!((&file[16..20], json % 4), (&b"JSON"[..], 0));
        let document: Value = serde_json::from_slice(&file[20..20 + json]).unwrap();
        assert_eq!(document["nodes"][0]["name"], title);
        assert_eq!((&file[24 + json..28 + json], word(20 + json)), (&b"BIN\0"[..], file.len() - 28 - json));
        // Three points, and three numbers with two bytes after them.
        assert_eq!(word(20 + json), 36 + 8);
    }
}

#[test]
fn nothing_and_nonsense() {
    let points = [DVec3::ZERO];
    let colours = [Srgb([0; 3])];
    let written = |points: &[DVec3], triangles: &[[u32; 3]], ink: &[u32]| {
        let mut file = Vec::new();
        write(&ColouredMesh { points, triangles, colours: &colours, ink }, "", &mut file).map(|()| file)
    };
    let empty = written(&points, &[], &[]).unwrap();
    assert!(::gltf::Gltf::from_slice(&empty).unwrap().blob.is_none());
    assert!(written(&points, &[[0, 1, 0]], &[0]).is_err());
    assert!(written(&points, &[[0, 0, 0]], &[1]).is_err());
    assert!(written(&points, &[[0, 0, 0]], &[]).is_err());
    assert!(written(&[DVec3::splat(1e300)], &[[0, 0, 0]], &[0]).is_err());
}
