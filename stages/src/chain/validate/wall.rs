//! The wall: the least distance between the cavity's triangles and the outside ones, exact for every pair; and the
//! thinnest part of the whole piece, along rays from the outside inwards.

use std::sync::atomic::{AtomicU64, Ordering};

use glam::DVec3;
use rayon::prelude::*;

use super::colours::Faces;
use super::intent::Form;
use super::mesh::Mesh;
use super::said::{Regions, Said, Spot};
use super::separation;
use super::tree::{Bounds, Node, Tree};
use crate::findings::{Fact, Finding, Unit};
use crate::process::Process;

/// A wall may fall short by this many mm: more than the rounding of sums of exact coordinates (1e-12), less than
/// anything that shows in print (1e-3).
const SLACK: f64 = 1e-6;

/// A distance that many threads make smaller. Positive numbers order like their bits.
struct Least(AtomicU64);

impl Least {
    fn new(value: f64) -> Self {
        Self(AtomicU64::new(value.to_bits()))
    }

    fn get(&self) -> f64 {
        f64::from_bits(self.0.load(Ordering::Relaxed))
    }

    fn lower(&self, value: f64) {
        self.0.fetch_min(value.to_bits(), Ordering::Relaxed);
    }
}

/// The least distance between the triangles of two trees. The result does not depend on which thread comes first: a
/// pair is passed over only when it cannot be closer than one that was measured.
pub(super) fn least_distance(a: &Tree, b: &Tree) -> f64 {
    let least = Least::new(f64::INFINITY);
    a.front(256).into_par_iter().for_each(|node| descend(a, node, b, Node::ROOT, &least));
    least.get()
}

fn descend(a: &Tree, node: Node, b: &Tree, other: Node, least: &Least) {
    let reach = least.get();
    if a.bounds(node).squared(b.bounds(other)) >= reach * reach {
        return;
    }
    if a.is_leaf(node) && b.is_leaf(other) {
        leaves(a, node, b, other, least);
    } else if a.opens_first(node, b, other) {
        for child in node.children() {
            descend(a, child, b, other, least);
        }
    } else {
        let mut children = other.children();
        let squared = |child: Node| a.bounds(node).squared(b.bounds(child));
        if squared(children[1]) < squared(children[0]) {
            children.swap(0, 1);
        }
        for child in children {
            descend(a, node, b, child, least);
        }
    }
}

fn leaves(a: &Tree, node: Node, b: &Tree, other: Node, least: &Least) {
    for p in a.leaf(node) {
        let bounds = Bounds::of(p);
        for q in b.leaf(other) {
            let reach = least.get();
            if bounds.squared(&Bounds::of(q)) < reach * reach
                && let Some(distance) = separation::below(p, q, reach)
            {
                least.lower(distance);
            }
        }
    }
}

/// Every triangle of `a` that is closer than `reach` to one of `b`, with that distance.
fn closer(mesh: &Mesh, a: &Tree, b: &Tree, reach: f64) -> Vec<Spot> {
    let thin = |t: u32| {
        let corners = mesh.corners(t as usize);
        let distance = nearest(&corners, &Bounds::of(&corners), b, Node::ROOT, reach);
        (distance < reach).then(|| Spot { mm: mesh.centroid(t as usize), cell: None, measure: distance })
    };
    a.front(usize::MAX >> 1)
        .into_par_iter()
        .flat_map_iter(|leaf| a.names(leaf).iter().filter_map(|&t| thin(t)))
        .collect()
}

fn nearest(corners: &separation::Corners, bounds: &Bounds, tree: &Tree, node: Node, reach: f64) -> f64 {
    if bounds.squared(tree.bounds(node)) >= reach * reach {
        return reach;
    }
    if tree.is_leaf(node) {
        return tree.leaf(node).iter().fold(reach, |reach, q| separation::below(corners, q, reach).unwrap_or(reach));
    }
    node.children().into_iter().fold(reach, |reach, child| nearest(corners, bounds, tree, child, reach))
}

/// Says how thick the wall between cavity and outside is at its thinnest.
pub(super) fn check_wall(
    mesh: &Mesh,
    outside: &[bool],
    cavity: &[bool],
    form: &Form<'_>,
    process: &Process,
    said: &mut Said,
) {
    let (inner, outer) = rayon::join(|| Tree::new(mesh, |t| cavity[t]), || Tree::new(mesh, |t| outside[t]));
    let (Some(inner), Some(outer)) = (inner, outer) else { return };
    let thinnest = least_distance(&inner, &outer);
    said.facts.push(Fact::number("thinnest wall", thinnest, Unit::Mm));
    let Some(asked) = form.wall else { return };
    said.facts.push(Fact::number("wall asked for", asked, Unit::Mm));
    let least = process.minimum_wall.value.mm();
    let thin_spots = |reach: f64| Regions::new(closer(mesh, &inner, &outer, reach), form.region());
    if thinnest < asked - SLACK {
        let regions = thin_spots(asked - SLACK);
        let message = format!(
            "the wall between cavity and outside is {thinnest:.4} mm thick at its thinnest, {}; {asked} mm were asked for",
            regions.words()
        );
        let remedy = "make `hollow.wall` larger; do not order this file";
        said.findings.push(Finding::fault("wall-too-thin", message, remedy).at(regions.places));
    }
    if thinnest < least - SLACK {
        let regions = thin_spots(least - SLACK);
        let message = format!(
            "the wall is {thinnest:.4} mm thick at its thinnest, {}; the process holds {least} mm",
            regions.words()
        );
        let remedy = "make `hollow.wall` at least the process's minimum_wall";
        said.findings.push(Finding::fault("wall-below-process", message, remedy).at(regions.places));
    }
}

/// Says how thick the whole piece is at its thinnest, measured from the middle of each outside triangle inwards.
pub(super) fn check_thickness(
    mesh: &Mesh,
    tree: &Tree,
    assigned: &[Faces],
    form: &Form<'_>,
    process: &Process,
    said: &mut Said,
) {
    let spots: Vec<Spot> = assigned
        .par_iter()
        .enumerate()
        .filter_map(|(t, faces)| {
            let Faces::Painted(face) = *faces else { return None };
            let (cell, side) = form.face(face as usize);
            let from: DVec3 = mesh.centroid(t);
            // The ray starts on the triangle itself, which lies within rounding of 0 mm.
            let (distance, _) = tree.first_hit(from, side.opposite(), SLACK)?;
            Some(Spot { mm: from - side.normal() * distance / 2.0, cell: Some(cell), measure: distance })
        })
        .collect();
    let thinnest = spots.iter().map(|s| s.measure).fold(f64::INFINITY, f64::min);
    if !thinnest.is_finite() {
        return;
    }
    said.facts.push(Fact::number("thinnest part", thinnest, Unit::Mm));
    let least = process.minimum_wall.value.mm();
    if thinnest < least - SLACK {
        let thin = spots.into_iter().filter(|s| s.measure < least - SLACK);
        let regions = Regions::new(thin, form.region());
        let message = format!(
            "the piece is {thinnest:.2} mm thick at its thinnest, {}; parts below {least} mm may break in cleaning",
            regions.words()
        );
        let remedy = "use larger cells in `voxelise`, a larger `scale`, or a thicker `hollow.wall`";
        said.findings.push(Finding::caution("thin-part", message, remedy).at(regions.places));
    }
}
