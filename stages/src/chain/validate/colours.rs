//! Whether every outside triangle faces a side and carries the colour that the job has there, and whether every painted
//! face is there in full.

use glam::{DVec3, IVec3};
use rayon::prelude::*;

use super::intent::{Form, Intent, NEAR};
use super::mesh::{Coloured, Mesh};
use super::said::{Regions, Said, Spot};
use crate::findings::{Fact, Finding, Unit};
use crate::{Side, Six, Srgb};

/// How far a unit normal may lie off a side's: exact coordinates leave 1e-16; a corner that strays by a hundredth of a
/// micron from a face of 10 mm already makes 1e-6.
const SQUARE: f64 = 1e-6;

/// What an outside triangle turned out to be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Faces {
    /// Inside: not looked at.
    Inside,
    /// It faces none of the six sides.
    None,
    /// It faces a side, where the job has no painted face.
    Unpainted(Side),
    /// It lies on the painted face with this number.
    Painted(u32),
    /// It lies on the pin or socket with this number, or in the square around its foot.
    Peg(u32),
}

/// Looks up the painted face under each outside triangle.
pub(super) fn assign(mesh: &Mesh, outside: &[bool], form: &Form<'_>) -> Vec<Faces> {
    (0..mesh.triangles.len())
        .into_par_iter()
        .map(|t| if outside[t] { faces(mesh, t, form) } else { Faces::Inside })
        .collect()
}

fn faces(mesh: &Mesh, t: usize, form: &Form<'_>) -> Faces {
    if let Some(peg) = form.peg_under(&mesh.corners(t)) {
        return Faces::Peg(peg as u32);
    }
    let normal = mesh.cross(t).normalize_or_zero();
    let Some(side) = Side::ALL.into_iter().find(|side| (normal - side.normal()).length() <= SQUARE) else {
        return Faces::None;
    };
    // The cell behind the face is the one in which the point half a cell below the triangle lies.
    let below = (mesh.centroid(t) - form.origin()) / form.cell() - 0.5 * side.normal();
    let cell = below.floor();
    let slack = NEAR / form.cell();
    let low = cell + 0.5 + 0.5 * side.normal() - 0.5 * (DVec3::ONE - side.normal().abs());
    let high = low + (DVec3::ONE - side.normal().abs());
    let within = mesh.corners(t).iter().all(|&corner| {
        let at = (corner - form.origin()) / form.cell();
        at.cmpge(low - slack).all() && at.cmple(high + slack).all()
    });
    match form.find(cell.as_ivec3(), side) {
        Some(face) if within => Faces::Painted(face as u32),
        _ => Faces::Unpainted(side),
    }
}

/// Says what the assignment shows.
pub(super) fn check(file: &Coloured, assigned: &[Faces], intent: &Intent<'_>, said: &mut Said) {
    let (Coloured { mesh, colours }, form) = (file, &intent.form);
    let mut area_by_side = Six([0.0; 6]);
    let mut covered = vec![0.0; form.faces()];
    let mut bare = vec![0.0; form.faces()];
    let (mut no_side, mut unpainted, mut wrong, mut inside_wrong) = (vec![], vec![], vec![], vec![]);
    let mut uncoloured = 0;
    for (t, &faces) in assigned.iter().enumerate() {
        let spot = |cell| Spot { mm: mesh.centroid(t), cell, measure: 0.0 };
        uncoloured += usize::from(colours[t].is_none());
        match faces {
            Faces::Inside if colours[t] != Some(intent.inside()) => inside_wrong.push(spot(None)),
            Faces::Inside => {}
            // Seams have the colour of the inside, which nobody sees.
            Faces::Peg(_) if colours[t] != Some(intent.inside()) => inside_wrong.push(spot(None)),
            Faces::Peg(_) => {}
            Faces::None => no_side.push(spot(None)),
            Faces::Unpainted(side) => {
                area_by_side[side] += mesh.area(t);
                unpainted.push(spot(None));
            }
            Faces::Painted(face) => {
                let (cell, side) = form.face(face as usize);
                area_by_side[side] += mesh.area(t);
                covered[face as usize] += mesh.area(t);
                if is_band(file, t, face as usize, intent) {
                    bare[face as usize] += mesh.area(t);
                } else if colours[t] != Some(intent.colour(face as usize)) {
                    wrong.push((side, face, colours[t], spot(Some(cell))));
                }
            }
        }
    }
    said.facts.push(Fact::table(
        "outside area by side",
        &["side", "area mm²"],
        area_by_side.iter().map(|(side, area)| vec![side.to_string(), format!("{area:.2}")]).collect(),
    ));
    said.facts.push(Fact::whole("triangles without a colour", uncoloured, Unit::Triangles));
    wrong_colour(&wrong, intent, said);
    let again = "do not order this file; make it again with `colour`";
    let region = form.region();
    let mut fault = |code: &str, spots: Vec<Spot>, what: &str| {
        if !spots.is_empty() {
            let regions = Regions::new(spots.iter().copied(), region);
            let message = format!("{} {what}, {}", spots.len(), regions.words());
            said.findings.push(Finding::fault(code, message, again).at(regions.places));
        }
    };
    fault(
        "inside-wrong-colour",
        inside_wrong,
        &format!("inside triangles do not carry the inside colour {}", intent.inside()),
    );
    fault(
        "faces-no-side",
        no_side,
        "outside triangles face none of the six sides, so they show no colour of their own",
    );
    fault("off-the-cells", unpainted, "outside triangles lie where the job has no painted cube face");
    fault("face-missing", uncovered(&covered, form), "painted cube faces are not there in full");
    if intent.guarded() {
        fault(
            "guard-wrong",
            wrong_bands(&bare, intent),
            "cube faces do not have the guard bands that the job asks for",
        );
        said.facts.push(Fact::number("area of guard bands", bare.iter().sum::<f64>() / 100.0, Unit::Cm2));
    }
}

/// Whether a triangle on a painted face is bare where the job wants it bare.
pub(super) fn is_band(file: &Coloured, t: usize, face: usize, intent: &Intent<'_>) -> bool {
    if !intent.guarded() {
        return false;
    }
    let (bands, form) = (intent.bands(face), &intent.form);
    let low = form.origin() + form.cell() * form.face(face).0.as_dvec3();
    file.colours[t] == Some(bands.bare) && bands.hold(&file.mesh.corners(t).map(|corner| corner - low), form.cell())
}

/// Painted faces with more or less bare than their bands: what is bare elsewhere has been told as a wrong colour.
fn wrong_bands(bare: &[f64], intent: &Intent<'_>) -> Vec<Spot> {
    let form = &intent.form;
    let slack = 4.0 * NEAR * form.cell();
    let wanted = |f: usize| intent.bands(f).area(form.face(f).1, form.cell());
    (0..bare.len())
        .filter(|&f| (bare[f] - wanted(f)).abs() > slack && !form.in_mouth(f))
        .map(|f| Spot { mm: form.face_middle(f), cell: Some(cell_of(form, f)), measure: bare[f] })
        .collect()
}

fn wrong_colour(wrong: &[(Side, u32, Option<Srgb>, Spot)], intent: &Intent<'_>, said: &mut Said) {
    let Some(&(side, face, found, _)) = wrong.first() else { return };
    let regions = Regions::new(wrong.iter().map(|w| w.3), intent.form.region());
    let found = found.map_or("no colour".to_owned(), |c| c.to_string());
    let message = format!(
        "{} outside triangles do not carry their side's colour, {}; the first faces the {side} and has {found} instead of {}",
        wrong.len(),
        regions.words(),
        intent.colour(face as usize)
    );
    said.findings.push(
        Finding::fault("wrong-colour", message, "do not order this file; make it again with `colour`")
            .at(regions.places),
    );
}

/// Painted faces, other than those that an opening has cut away, of which more or less is there than a whole face.
fn uncovered(covered: &[f64], form: &Form<'_>) -> Vec<Spot> {
    let whole = form.cell() * form.cell();
    // Points that are off by NEAR change the area by four strips of that breadth at most.
    let slack = 4.0 * NEAR * form.cell();
    (0..covered.len())
        .filter(|&f| (covered[f] - whole).abs() > slack && !form.in_mouth(f) && !form.in_peg(f))
        .map(|f| Spot { mm: form.face_middle(f), cell: Some(cell_of(form, f)), measure: covered[f] })
        .collect()
}

fn cell_of(form: &Form<'_>, f: usize) -> IVec3 {
    form.face(f).0
}
