//! How safely the piece of the file stands, by its lowest facets and its centre of mass.

use glam::{DVec2, DVec3};
use robust::{Coord, orient2d};

use super::intent::NEAR;
use super::mass::Mass;
use super::mesh::Mesh;
use super::said::Said;
use crate::Side;
use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::{ON_GROUND, Sight};

/// The tilt in degrees that a piece should stand: the one at which household appliances are tried (IEC 60335-1,
/// stability; from memory).
const LEAST_TILT: f64 = 10.0;

const REMEDY: &str = "widen what it stands on with `foot`, turn the model, or fix the piece to a base";

/// Says by how many degrees the ground may tilt until the piece tips over.
pub(super) fn check(mesh: &Mesh, mass: &Mass, said: &mut Said) {
    let facets: Vec<[DVec3; 3]> = lowest_facets(mesh, mass.low.z).collect();
    let rim = rim(facets.as_flattened().iter().map(|corner| corner.truncate()).collect());
    // From below, where it shows what the centre of mass should lie over.
    let caution = |said: &mut Said, code: &str, message: String| {
        let finding = Finding::caution(code, message, REMEDY).at([Place::at(mass.centre)]);
        let sight = Sight::of_triangles(facets.iter().copied()).from(Side::Bottom).saying(ON_GROUND);
        said.finding_seen(finding, sight);
    };
    if rim.len() < 3 {
        let message = "the piece stands on no facet, but on an edge or a point: it falls over";
        caution(said, "falls-over", message.to_owned());
        return;
    }
    let inside = inside(&rim, mass.centre.truncate());
    let height = mass.centre.z - mass.low.z;
    let angle = libm::atan(inside / height).to_degrees();
    said.facts.push(Fact::number("centre of mass inside the standing area", inside, Unit::Mm));
    said.facts.push(Fact::number("tipping angle", angle, Unit::Degrees));
    if angle <= 0.0 {
        let message = format!(
            "the piece falls over: its centre of mass lies {:.1} mm outside of the lowest facets that it stands on",
            -inside
        );
        caution(said, "falls-over", message);
    } else if angle < LEAST_TILT {
        let message = format!("the piece tips over at a tilt of {angle:.1}°, below {LEAST_TILT}°");
        caution(said, "tips-easily", message);
    }
}

/// The triangles that lie in the lowest plane.
fn lowest_facets(mesh: &Mesh, ground: f64) -> impl Iterator<Item = [DVec3; 3]> {
    let lies = move |corners: &[DVec3; 3]| corners.iter().all(|corner| corner.z - ground <= NEAR);
    (0..mesh.triangles.len()).map(|t| mesh.corners(t)).filter(lies)
}

/// The corners of the convex hull, clockwise seen from above; Graham's scan (1972) over points sorted by x.
fn rim(mut points: Vec<DVec2>) -> Vec<DVec2> {
    points.sort_unstable_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
    points.dedup();
    let half = |points: &mut dyn Iterator<Item = DVec2>| {
        let mut kept: Vec<DVec2> = Vec::new();
        for point in points {
            while let [.., before, last] = kept[..] {
                if turn(before, last, point) < 0.0 {
                    break;
                }
                kept.pop();
            }
            kept.push(point);
        }
        kept.pop();
        kept
    };
    let mut rim = half(&mut points.iter().copied());
    rim.extend(half(&mut points.iter().rev().copied()));
    rim
}

/// Above 0 if the way over three points turns left, exactly.
fn turn(a: DVec2, b: DVec2, c: DVec2) -> f64 {
    let [a, b, c] = [a, b, c].map(|p| Coord { x: p.x, y: p.y });
    orient2d(a, b, c)
}

/// How far a point lies inside the nearest of the lines along a clockwise rim; below 0 outside.
fn inside(rim: &[DVec2], point: DVec2) -> f64 {
    let ends = rim.iter().zip(rim.iter().cycle().skip(1));
    ends.map(|(&a, &b)| (point - a).perp_dot(b - a) / (b - a).length()).fold(f64::INFINITY, f64::min)
}
