//! Surfaces for tests, with known shapes.

use std::collections::HashMap;

use glam::DVec3;

use super::Surface;

/// A sphere of that radius around the origin: an octahedron with each edge cut `cuts` times. Inscribed: corners lie on
/// the sphere, faces up to radius·(1 − cos of half an edge) inside.
pub(crate) fn sphere(radius: f64, cuts: u32) -> Surface {
    let mut points: Vec<DVec3> = [DVec3::X, -DVec3::X, DVec3::Y, -DVec3::Y, DVec3::Z, -DVec3::Z].to_vec();
    let mut triangles: Vec<[u32; 3]> =
        vec![[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]];
    for _ in 0..cuts {
        let mut middles: HashMap<[u32; 2], u32> = HashMap::new();
        let mut middle = |a: u32, b: u32| {
            *middles.entry([a.min(b), a.max(b)]).or_insert_with(|| {
                points.push((points[a as usize] + points[b as usize]).normalize());
                points.len() as u32 - 1
            })
        };
        triangles = triangles
            .iter()
            .flat_map(|&[a, b, c]| {
                let [ab, bc, ca] = [middle(a, b), middle(b, c), middle(c, a)];
                [[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]
            })
            .collect();
    }
    made(points.into_iter().map(|p| p * radius).collect(), triangles)
}

/// A box from `low` to `high`, two triangles a side.
pub(crate) fn cuboid(low: DVec3, high: DVec3) -> Surface {
    let points = (0..8u32).map(|i| DVec3::select(glam::BVec3::new(i & 1 > 0, i & 2 > 0, i & 4 > 0), high, low));
    let quads = [[1, 3, 7, 5], [0, 4, 6, 2], [2, 6, 7, 3], [0, 1, 5, 4], [4, 5, 7, 6], [0, 2, 3, 1]];
    let triangles = quads.into_iter().flat_map(|[a, b, c, d]| [[a, b, c], [a, c, d]]).collect();
    made(points.collect(), triangles)
}

/// A torus around z: distance of the tube's middle from the axis, radius of the tube, sections around each.
pub(crate) fn torus(middle: f64, tube: f64, sections: u32) -> Surface {
    let angle = |i: u32| f64::from(i) / f64::from(sections) * std::f64::consts::TAU;
    let mut points = Vec::new();
    let mut triangles = Vec::new();
    for i in 0..sections {
        for j in 0..sections {
            let (around, across) = (angle(i), angle(j));
            let out = middle + tube * libm::cos(across);
            points.push(DVec3::new(out * libm::cos(around), out * libm::sin(around), tube * libm::sin(across)));
            let at = |i: u32, j: u32| (i % sections) * sections + j % sections;
            triangles.push([at(i, j), at(i + 1, j), at(i + 1, j + 1)]);
            triangles.push([at(i, j), at(i + 1, j + 1), at(i, j + 1)]);
        }
    }
    made(points, triangles)
}

/// Several surfaces as one.
pub(crate) fn together(parts: &[Surface]) -> Surface {
    let mut points = Vec::new();
    let mut triangles = Vec::new();
    for part in parts {
        let first = points.len() as u32;
        points.extend_from_slice(part.points());
        triangles.extend(part.triangles().iter().map(|t| t.map(|i| i + first)));
    }
    made(points, triangles)
}

/// The same points with other triangles.
pub(crate) fn with_triangles(surface: &Surface, triangles: Vec<[u32; 3]>) -> Surface {
    made(surface.points().to_vec(), triangles)
}

fn made(points: Vec<DVec3>, triangles: Vec<[u32; 3]>) -> Surface {
    Surface::new(points, triangles).expect("forms for tests are sound")
}
