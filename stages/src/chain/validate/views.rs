//! What is seen from each of the six sides: parallel views in which every outside surface must show the colour of the
//! side from which it is seen.

use std::collections::BTreeSet;

use glam::DVec3;
use rayon::prelude::*;

use super::colours::{Faces, is_band};
use super::intent::{Form, Intent};
use super::mesh::Coloured;
use super::said::Said;
use super::tree::Tree;
use crate::findings::{Fact, Finding, Unit};
use crate::marked::Sight;
use crate::{Side, Six};

/// Rays along each edge of a cell. Visible outside surface ends at cell borders only, so any number gives its area
/// exactly; two tell the two triangles of a face apart. What guard bands cover is taken from the triangles of each face.
const RAYS: i32 = 2;

/// What is seen from a side, in mm².
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct View {
    /// Outside surface.
    pub(super) outside: f64,
    /// Of it, what faces the side and carries its colour.
    pub(super) own: f64,
    /// Of it, what is neither that nor a guard band that the job asked for.
    pub(super) other: f64,
    /// Inside surface, seen through an opening.
    pub(super) through: f64,
}

impl View {
    /// Share of the outside surface seen that carries the side's own colour, in per cent.
    pub(super) fn share(&self) -> f64 {
        if self.outside > 0.0 { 100.0 * self.own / self.outside } else { 100.0 }
    }
}

/// The triangle that each ray meets, row by row.
pub(super) struct Rays {
    columns: usize,
    /// The area that a ray stands for, in mm².
    area: f64,
    met: Vec<Option<u32>>,
}

impl Rays {
    pub(super) fn bytes(&self) -> usize {
        size_of::<Self>() + self.met.capacity() * size_of::<Option<u32>>()
    }
}

/// Looks from all six sides, at no colour yet.
pub(super) fn look(tree: &Tree, form: &Form<'_>) -> Six<Rays> {
    Six::from_fn(|side| look_from(side, tree, form))
}

fn look_from(side: Side, tree: &Tree, form: &Form<'_>) -> Rays {
    let (u, v) = ((side.axis() + 1) % 3, (side.axis() + 2) % 3);
    let step = form.cell() / f64::from(RAYS);
    let (columns, rows) = (form.counts()[u] * RAYS, form.counts()[v] * RAYS);
    // Beyond everything, so that nothing hides behind the eye.
    let eye = tree.beyond(side);
    let meet = |row: i32, column: i32| {
        let mut from = DVec3::ZERO;
        from[side.axis()] = eye;
        from[u] = form.origin()[u] + step * (f64::from(column) + 0.5);
        from[v] = form.origin()[v] + step * (f64::from(row) + 0.5);
        tree.first_hit(from, side.opposite(), 0.0).map(|(_, t)| t)
    };
    let met: Vec<Vec<Option<u32>>> =
        (0..rows).into_par_iter().map(|row| (0..columns).map(|column| meet(row, column)).collect()).collect();
    Rays { columns: columns as usize, area: step * step, met: met.concat() }
}

/// What is seen from all six sides, in the colours of the file.
pub(super) fn see(rays: &Six<Rays>, file: &Coloured, assigned: &[Faces], intent: &Intent<'_>) -> Six<View> {
    let bare = bare_shares(file, assigned, intent);
    Six::from_fn(|side| see_from(side, &rays[side], file, assigned, intent, &bare))
}

/// The share of each painted face that is bare as a guard band; empty where the job has no guard.
fn bare_shares(file: &Coloured, assigned: &[Faces], intent: &Intent<'_>) -> Vec<f64> {
    if !intent.guarded() {
        return Vec::new();
    }
    let mut shares = vec![0.0; intent.form.faces()];
    for (t, faces) in assigned.iter().enumerate() {
        if let Faces::Painted(face) = *faces
            && is_band(file, t, face as usize, intent)
        {
            shares[face as usize] += file.mesh.area(t) / (intent.form.cell() * intent.form.cell());
        }
    }
    shares
}

fn see_from(side: Side, rays: &Rays, file: &Coloured, assigned: &[Faces], intent: &Intent<'_>, bare: &[f64]) -> View {
    let sum_row = |row: &[Option<u32>]| {
        let mut hits = [0.0f64; 4];
        for &t in row.iter().flatten() {
            match seen(side, file, t as usize, assigned, intent) {
                Seen::Own(face) => {
                    let bare = bare.get(face).copied().unwrap_or(0.0);
                    hits[0] += 1.0 - bare;
                    hits[3] += bare;
                }
                Seen::Other => hits[1] += 1.0,
                Seen::Through => hits[2] += 1.0,
            }
        }
        hits
    };
    let rows: Vec<[f64; 4]> = rays.met.par_chunks(rays.columns.max(1)).map(sum_row).collect();
    let sums = rows.iter().fold([0.0; 4], |sums, row| std::array::from_fn(|i| sums[i] + row[i]));
    let [own, other, through, bare] = sums.map(|hits| hits * rays.area);
    View { outside: own + other + bare, own, other, through }
}

enum Seen {
    /// The side's own colour, or its guard band, on the painted face with that number.
    Own(usize),
    Other,
    Through,
}

fn seen(side: Side, file: &Coloured, t: usize, assigned: &[Faces], intent: &Intent<'_>) -> Seen {
    match assigned[t] {
        Faces::Inside | Faces::Peg(_) => Seen::Through,
        Faces::Painted(face) => {
            let face = face as usize;
            let own = file.colours[t] == Some(intent.colour(face)) || is_band(file, t, face, intent);
            if own && intent.form.face(face).1 == side { Seen::Own(face) } else { Seen::Other }
        }
        Faces::None | Faces::Unpainted(_) => Seen::Other,
    }
}

/// The triangles that show another colour than that of the side from which they are seen.
pub(super) fn others(
    side: Side,
    rays: &Six<Rays>,
    file: &Coloured,
    assigned: &[Faces],
    intent: &Intent<'_>,
) -> Vec<[DVec3; 3]> {
    let met: BTreeSet<u32> = rays[side].met.iter().flatten().copied().collect();
    let other = |&t: &u32| matches!(seen(side, file, t as usize, assigned, intent), Seen::Other);
    met.into_iter().filter(other).map(|t| file.mesh.corners(t as usize)).collect()
}

/// Says what is seen; `others` gives what shows another colour than a side's.
pub(super) fn check(views: &Six<View>, others: impl Fn(Side) -> Vec<[DVec3; 3]>, said: &mut Said) {
    let rows = views.iter().map(|(side, view)| {
        vec![
            side.to_string(),
            format!("{:.2}", view.outside),
            // Rounded down: what is not the whole must not read as the whole.
            format!("{:.2}", (view.share() * 100.0).floor() / 100.0),
            format!("{:.2}", view.through),
        ]
    });
    said.facts.push(Fact::table(
        "views",
        &["from", "outside seen mm²", "in its own colour %", "seen through openings mm²"],
        rows.collect(),
    ));
    let least = views.iter().map(|(_, view)| view.share()).fold(100.0, f64::min);
    said.facts.push(Fact::number("least share in the side's own colour", least, Unit::Percent));
    for (side, view) in views.iter().filter(|(_, view)| view.other > 0.0) {
        let message = format!(
            "from the {side}, {:.2} mm² of {:.2} mm² show another colour than the {side}'s",
            view.other, view.outside
        );
        let remedy = "see the findings about colours; do not order this file, make it again with `colour`";
        let sight = Sight::of_triangles(others(side)).from(side).saying("what shows another colour");
        said.finding_seen(Finding::fault("view-not-its-colour", message, remedy), sight);
    }
}
