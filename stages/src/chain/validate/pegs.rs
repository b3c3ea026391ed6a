//! Whether the pins and sockets of a part are there, with the sizes that they should have: by the area of what lies in the
//! square around the foot, on the walls, and on the end, all of which was found to lie nowhere else.

use super::colours::Faces;
use super::intent::{Form, NEAR};
use super::mesh::Mesh;
use super::said::Said;
use crate::division::{Peg, PegKind};
use crate::findings::{Fact, Finding, Place, Unit};

/// Areas in mm² of what belongs to a peg.
#[derive(Clone, Copy, Debug, Default)]
struct Areas {
    frame: f64,
    walls: f64,
    end: f64,
}

/// Says how many pins and sockets there are, and which are not as they should be.
pub(super) fn check(mesh: &Mesh, assigned: &[Faces], form: &Form<'_>, said: &mut Said) {
    if form.pegs.is_none() {
        return;
    }
    let mut areas = vec![Areas::default(); form.pegs().len()];
    for (t, faces) in assigned.iter().enumerate() {
        let Faces::Peg(number) = *faces else { continue };
        let (peg, of_peg) = (&form.pegs()[number as usize], &mut areas[number as usize]);
        let off = mesh.corners(t).map(|corner| (corner - form.middle_of(peg))[peg.side.axis()]);
        let lies_at = |place: f64| off.iter().all(|off| (off - place).abs() <= NEAR);
        let area = mesh.area(t);
        if lies_at(0.0) {
            of_peg.frame += area;
        } else if lies_at(peg.reach()[peg.side.axis()]) {
            of_peg.end += area;
        } else {
            of_peg.walls += area;
        }
    }
    let wrong: Vec<Place> = form
        .pegs()
        .iter()
        .zip(&areas)
        .filter(|(peg, areas)| !is_as_asked(peg, **areas, form.cell()))
        .map(|(peg, _)| Place::at(form.middle_of(peg)))
        .collect();
    let count = |kind: PegKind| form.pegs().iter().filter(|peg| peg.kind == kind).count();
    said.facts.push(Fact::whole("pins", count(PegKind::Pin), Unit::Count));
    said.facts.push(Fact::whole("sockets", count(PegKind::Socket), Unit::Count));
    if !wrong.is_empty() {
        let message =
            format!("{} pins or sockets are not there, or not of the size that `split` has for them", wrong.len());
        let remedy = "do not order this file; make it again with `split`";
        said.findings.push(Finding::fault("peg-wrong", message, remedy).at(wrong));
    }
}

/// Whether all areas are those of a square peg in a square of faces.
fn is_as_asked(peg: &Peg, areas: Areas, cell: f64) -> bool {
    let (square, foot) = ((f64::from(peg.across) * cell).powi(2), peg.width * peg.width);
    let asked = [(areas.frame, square - foot), (areas.end, foot), (areas.walls, 4.0 * peg.width * peg.depth)];
    // Points that are off by NEAR change an area by that much along its rim.
    let rim = 4.0 * f64::from(peg.across) * cell + 4.0 * peg.depth + 8.0 * peg.width;
    asked.iter().all(|(found, asked)| (found - asked).abs() <= NEAR * rim)
}
