//! Separate bodies and sealed cavities: the connected parts of the surface, told apart by the sign of their volume.

use glam::DVec3;

use super::mesh::{Mesh, Topology};
use super::said::{Regions, Said, Spot};
use crate::findings::{Fact, Finding, Unit};
use crate::process::Process;

/// A connected part of the surface.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    /// Signed volume in mm³: negative where the surface is turned inwards, round a sealed cavity.
    pub(super) volume: f64,
    /// Box around it in mm.
    pub(super) low: DVec3,
    pub(super) high: DVec3,
    /// A triangle that certainly looks out: of those at the largest x, one that faces +x the most.
    pub(super) extreme: usize,
}

impl Part {
    fn holds(&self, other: &Self) -> bool {
        self.low.cmple(other.low).all() && other.high.cmple(self.high).all()
    }

    fn middle(&self) -> DVec3 {
        (self.low + self.high) / 2.0
    }
}

/// Measures each connected part.
pub(super) fn measure(mesh: &Mesh, topology: &Topology) -> Vec<Part> {
    let (part, count) = topology.parts();
    let none = Part { volume: 0.0, low: DVec3::INFINITY, high: DVec3::NEG_INFINITY, extreme: 0 };
    let mut parts = vec![none; count];
    for (t, &p) in part.iter().enumerate() {
        let held = &mut parts[p as usize];
        for corner in mesh.corners(t) {
            held.low = held.low.min(corner);
            held.high = held.high.max(corner);
        }
    }
    let mut facing = vec![-1.0; count];
    for (t, &p) in part.iter().enumerate() {
        let held = &mut parts[p as usize];
        let corners = mesh.corners(t);
        // From the part's own corner, so that a far origin costs no digits.
        let [a, b, c] = corners.map(|corner| corner - held.low);
        held.volume += a.dot(b.cross(c)) / 6.0;
        let towards = mesh.cross(t).normalize_or_zero().x.abs();
        if corners.iter().any(|c| c.x == held.high.x) && towards > facing[p as usize] {
            facing[p as usize] = towards;
            held.extreme = t;
        }
    }
    parts
}

/// Says how many bodies and sealed cavities there are. Returns whether there is a body to measure at all.
pub(super) fn check(parts: &[Part], process: &Process, region: f64, said: &mut Said) -> bool {
    let (bodies, inward): (Vec<&Part>, Vec<&Part>) = parts.iter().partition(|p| p.volume > 0.0);
    let (sealed, inverted): (Vec<&Part>, Vec<&Part>) = inward.iter().partition(|p| bodies.iter().any(|b| b.holds(p)));
    said.facts.push(Fact::whole("bodies", bodies.len(), Unit::Count));
    said.facts.push(Fact::whole("sealed cavities", sealed.len(), Unit::Count));
    let trapped: f64 = sealed.iter().map(|p| -p.volume).sum();
    said.facts.push(Fact::number("sealed volume", trapped, Unit::Mm3));

    if !inverted.is_empty() {
        let regions = Regions::new(inverted.iter().map(|p| Spot::at(p.middle())), region);
        let message = format!(
            "{} parts of the surface are turned inside out: by the file they are holes in nothing",
            inverted.len()
        );
        said.findings.push(
            Finding::fault("inside-out", message, "do not order this file; make it again with `colour`")
                .at(regions.places),
        );
    }
    if bodies.len() > 1 {
        let message = format!(
            "the piece falls into {} separate bodies; if `repair` was asked to keep islands this is meant",
            bodies.len()
        );
        let regions = Regions::new(bodies.iter().map(|p| Spot::at(p.middle())), region);
        said.findings.push(
            Finding::caution(
                "separate-bodies",
                message,
                "let `repair` drop islands, or use larger cells in `voxelise`",
            )
            .at(regions.places),
        );
    }
    if !sealed.is_empty() {
        said.findings.push(sealed_finding(&sealed, trapped, process));
    }
    !bodies.is_empty()
}

fn sealed_finding(sealed: &[&Part], trapped: f64, process: &Process) -> Finding {
    let places = Regions::new(
        sealed.iter().map(|p| Spot { mm: p.middle(), cell: None, measure: p.volume }),
        // One region for each cavity, unless they lie within a micron of each other.
        1e-3,
    )
    .places;
    let amount = format!("{} sealed cavities hold {:.2} cm³", sealed.len(), trapped / 1000.0);
    let remedy = "give `hollow` an opening into each, or let `repair` fill enclosed voids";
    if process.family.leaves_powder() {
        let message =
            format!("{amount} of loose powder that cannot leave: the piece is heavier and leaks if it cracks");
        Finding::fault("trapped-powder", message, remedy).at(places)
    } else {
        let message = format!("{amount}, which nobody can reach to clean or to drain");
        Finding::caution("sealed-cavity", message, remedy).at(places)
    }
}
