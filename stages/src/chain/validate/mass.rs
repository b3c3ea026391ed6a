//! Volume, surface, box, centre of mass, weight, and whether the piece fits the machine and the file its limits.

use glam::DVec3;

use super::mesh::Mesh;
use super::said::Said;
use crate::findings::{Fact, Finding, Unit};
use crate::process::Process;

/// What the closed surface holds.
#[derive(Clone, Copy, Debug)]
pub(super) struct Mass {
    /// Volume in mm³.
    pub(super) volume: f64,
    /// Surface in mm².
    pub(super) area: f64,
    /// Centre of mass in mm; the middle of the box where there is no volume.
    pub(super) centre: DVec3,
    /// Box in mm.
    pub(super) low: DVec3,
    pub(super) high: DVec3,
}

impl Mass {
    /// Sums the tetrahedra between each triangle and one corner of the box (the divergence theorem).
    pub(super) fn of(mesh: &Mesh) -> Self {
        let corners = || mesh.triangles.iter().flatten().map(|&i| mesh.points[i as usize]);
        let low = corners().fold(DVec3::INFINITY, DVec3::min);
        let high = corners().fold(DVec3::NEG_INFINITY, DVec3::max);
        let (mut volume, mut area, mut moment) = (0.0, 0.0, DVec3::ZERO);
        for t in 0..mesh.triangles.len() {
            let [a, b, c] = mesh.corners(t).map(|corner| corner - low);
            let tetrahedron = a.dot(b.cross(c)) / 6.0;
            volume += tetrahedron;
            moment += tetrahedron * (a + b + c) / 4.0;
            area += mesh.area(t);
        }
        let centre = if volume == 0.0 { (low + high) / 2.0 } else { low + moment / volume };
        Self { volume, area, centre, low, high }
    }

    /// Says what was measured, and whether the piece fits the build volume.
    pub(super) fn check(&self, process: &Process, said: &mut Said) {
        let size = self.high - self.low;
        said.facts.extend([
            Fact::number("volume", self.volume / 1000.0, Unit::Cm3),
            Fact::number("surface area", self.area / 100.0, Unit::Cm2),
            Fact::triple("size", size, Unit::Mm),
            Fact::triple("centre of mass", self.centre, Unit::Mm),
            Fact::number("weight", self.volume / 1000.0 * process.density.value, Unit::Gram),
        ]);
        let room = DVec3::from_array(process.build_volume.value.map(crate::Length::mm));
        match LAID.iter().find(|(axes, _)| fits(size, *axes, room)) {
            Some((_, words)) => said.facts.push(Fact::text("fits the build volume", *words)),
            None => said.findings.push(Finding::fault(
                "too-large",
                format!(
                    "the piece measures {:.1} × {:.1} × {:.1} mm and fits the build volume of {} × {} × {} mm in no position",
                    size.x, size.y, size.z, room.x, room.y, room.z
                ),
                "make it smaller in `scale`, or choose a process with a larger build_volume",
            )),
        }
    }
}

/// Which axis of the piece lies along x, y and z of the machine, the ways to lay it down that change least first.
const LAID: [([usize; 3], &str); 6] = [
    ([0, 1, 2], "as it stands"),
    ([1, 0, 2], "turned a quarter about z"),
    ([0, 2, 1], "laid on its back"),
    ([2, 1, 0], "laid on its side"),
    ([1, 2, 0], "laid on its back and turned a quarter about z"),
    ([2, 0, 1], "laid on its side and turned a quarter about z"),
];

/// A size may exceed the room by what sums of binary fractions of a millimetre leave (1e-12), not by what a machine
/// could tell (1e-3).
fn fits(size: DVec3, axes: [usize; 3], room: DVec3) -> bool {
    DVec3::from_array(axes.map(|axis| size[axis])).cmple(room + 1e-6).all()
}

/// Says how large the file is, and whether that is within the process's limits.
pub(super) fn check_file(mesh: &Mesh, bytes: u64, process: &Process, said: &mut Said) {
    let triangles = mesh.triangles.len();
    said.facts.push(Fact::whole("triangles", triangles, Unit::Triangles));
    said.facts.push(Fact::whole("file size", usize::try_from(bytes).unwrap_or(usize::MAX), Unit::Bytes));
    let remedy = "use larger cells in `voxelise`";
    if triangles as u64 > process.most_triangles.value {
        let message =
            format!("the file holds {triangles} triangles; the process takes {} at most", process.most_triangles.value);
        said.findings.push(Finding::fault("too-many-triangles", message, remedy));
    }
    if bytes > process.most_bytes.value {
        let message = format!("the file has {bytes} bytes; the process takes {} at most", process.most_bytes.value);
        said.findings.push(Finding::fault("file-too-large", message, remedy));
    }
}
