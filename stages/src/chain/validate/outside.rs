//! Which triangles are outside: those that a flood over the surface reaches from an outermost triangle without crossing
//! the rim of an opening. And whether each opening is really there, and how wide.

use glam::DVec3;

use super::bodies::Part;
use super::intent::{Form, NEAR};
use super::mesh::{Mesh, NONE, Topology};
use super::said::Said;
use crate::findings::{Fact, Finding, Place, Unit};
use crate::process::Process;
use crate::void::Opening;

/// For each triangle whether it is outside.
pub(super) fn flood(mesh: &Mesh, topology: &Topology, parts: &[Part], openings: &[Opening]) -> Vec<bool> {
    let rims: Vec<Rim> = openings.iter().map(Rim::new).collect();
    let mut outside = vec![false; mesh.triangles.len()];
    for part in parts.iter().filter(|p| p.volume > 0.0) {
        topology.flood(part.extreme, &mut outside, |half| !rims.iter().any(|rim| rim.has(mesh.ends(half))));
    }
    outside
}

/// The rim of an opening: a rectangle in the plane of its mouth.
struct Rim {
    /// The axis across the mouth.
    across: usize,
    low: DVec3,
    high: DVec3,
}

impl Rim {
    fn new(opening: &Opening) -> Self {
        let across = opening.side.axis();
        let (mut low, mut high) = (opening.low, opening.high);
        low[across] = opening.mouth();
        high[across] = opening.mouth();
        Self { across, low, high }
    }

    /// The two axes in the plane of the mouth.
    fn axes(&self) -> [usize; 2] {
        [(self.across + 1) % 3, (self.across + 2) % 3]
    }

    fn middle(&self) -> DVec3 {
        (self.low + self.high) / 2.0
    }

    fn length(&self) -> f64 {
        let size = self.high - self.low;
        2.0 * (size.x + size.y + size.z)
    }

    /// Whether a point lies in the rectangle, border and all.
    fn covers(&self, point: DVec3) -> bool {
        point.cmpge(self.low - NEAR).all() && point.cmple(self.high + NEAR).all()
    }

    /// Whether an edge lies along one of the four sides.
    fn has(&self, ends: [DVec3; 2]) -> bool {
        ends.iter().all(|&p| self.covers(p))
            && self.axes().iter().any(|&axis| {
                let along = |at: f64| ends.iter().all(|p| (p[axis] - at).abs() <= NEAR);
                along(self.low[axis]) || along(self.high[axis])
            })
    }
}

/// What was measured of an opening.
#[derive(Clone, Copy, Debug)]
struct Measured {
    /// Length in mm of the rim's edges that part outside from inside.
    parting: f64,
    /// Length in mm of the rim's edges that have outside on both sides.
    leaking: f64,
    /// Area in mm² of triangles that lie in the mouth and close it.
    closed: f64,
    /// Smaller extent in mm of the parting edges.
    width: f64,
}

/// Says whether each opening is there and wide enough, and whether the flood got inside some other way.
pub(super) fn check(
    mesh: &Mesh,
    topology: &Topology,
    outside: &[bool],
    openings: &[Opening],
    process: &Process,
    said: &mut Said,
) {
    let inside = outside.iter().filter(|&&o| !o).count();
    said.facts.push(Fact::whole("outside triangles", outside.len() - inside, Unit::Triangles));
    said.facts.push(Fact::whole("inside triangles", inside, Unit::Triangles));
    said.facts.push(Fact::whole("openings", openings.len(), Unit::Count));
    let mut narrowest = f64::INFINITY;
    for (number, opening) in (1..).zip(openings) {
        let rim = Rim::new(opening);
        let measured = measure(mesh, topology, outside, &rim);
        let place = Place::at(rim.middle());
        let name = format!("opening {number} on the {} side", opening.side);
        if let Some(finding) = missing(&name, &rim, measured) {
            said.findings.push(finding.at([place]));
            continue;
        }
        narrowest = narrowest.min(measured.width);
        if process.family.leaves_powder() && measured.width < process.opening.value.mm() - NEAR {
            let message = format!(
                "{name} is {:.2} mm wide; loose powder needs {} to leave",
                measured.width, process.opening.value
            );
            let remedy = "make `hollow.openings[].width` larger";
            said.findings.push(Finding::fault("opening-too-narrow", message, remedy).at([place]));
        }
    }
    if narrowest.is_finite() {
        said.facts.push(Fact::number("narrowest opening", narrowest, Unit::Mm));
    }
}

fn measure(mesh: &Mesh, topology: &Topology, outside: &[bool], rim: &Rim) -> Measured {
    let mut measured = Measured { parting: 0.0, leaking: 0.0, closed: 0.0, width: 0.0 };
    let (mut low, mut high) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
    for (half, &across) in (0u32..).zip(&topology.twin) {
        // Each edge once: the half-edge with the lower number speaks for it.
        if across == NONE || across < half {
            continue;
        }
        let ends = mesh.ends(half);
        if !rim.has(ends) {
            continue;
        }
        let length = ends[0].distance(ends[1]);
        match (outside[half as usize / 3], outside[across as usize / 3]) {
            (true, true) => measured.leaking += length,
            (false, false) => {}
            _ => {
                measured.parting += length;
                low = low.min(ends[0]).min(ends[1]);
                high = high.max(ends[0]).max(ends[1]);
            }
        }
    }
    let [a, b] = rim.axes().map(|axis| high[axis] - low[axis]);
    measured.width = a.min(b);
    measured.closed = (0..mesh.triangles.len())
        .filter(|&t| mesh.corners(t).iter().all(|&corner| rim.covers(corner)))
        .map(|t| mesh.area(t))
        .sum();
    measured
}

fn missing(name: &str, rim: &Rim, measured: Measured) -> Option<Finding> {
    let (code, what) = if measured.closed > NEAR {
        ("opening-missing", format!("{name} is closed by {:.2} mm² of surface", measured.closed))
    } else if measured.leaking > NEAR {
        ("opening-leaks", format!("{name} is there, but the inside can be reached from outside some other way as well"))
    } else if (measured.parting - rim.length()).abs() > NEAR * 8.0 {
        let (found, asked) = (measured.parting, rim.length());
        ("opening-missing", format!("{name} has {found:.2} mm of rim where the job has {asked:.2} mm"))
    } else {
        return None;
    };
    let remedy = "do not order this file; make it again with `hollow` and `colour`";
    Some(Finding::fault(code, what, remedy))
}

/// Whether a triangle lies on the wall of an opening's shaft: on one of the six sides of its box. A shaft that is shorter than
/// the wall goes on to where the cavity may begin.
pub(super) fn on_shaft(corners: [DVec3; 3], opening: &Opening, wall: f64) -> bool {
    let (mut low, mut high) = (opening.low, opening.high);
    let across = opening.side.axis();
    if opening.side.positive() {
        low[across] = low[across].min(opening.mouth() - wall);
    } else {
        high[across] = high[across].max(opening.mouth() + wall);
    }
    let within = |p: &DVec3| p.cmpge(low - NEAR).all() && p.cmple(high + NEAR).all();
    corners.iter().all(within)
        && (0..3).any(|axis| {
            [opening.low[axis], opening.high[axis]]
                .iter()
                .any(|at| corners.iter().all(|p| (p[axis] - at).abs() <= NEAR))
        })
}

/// For each triangle whether it is inside and not on the wall of a shaft.
pub(super) fn cavity(mesh: &Mesh, outside: &[bool], form: &Form<'_>) -> Vec<bool> {
    let shaft = |t: usize| form.openings.iter().any(|o| on_shaft(mesh.corners(t), o, form.wall.unwrap_or_default()));
    outside.iter().enumerate().map(|(t, &outside)| !outside && !shaft(t)).collect()
}
