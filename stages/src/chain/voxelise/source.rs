//! What is told about the source: the model's surface at its real size and in its final place, before it is converted.

use glam::DVec3;

use crate::findings::{Fact, Finding, Place, Unit};
use crate::size::Doubt;
use crate::solid::Surface;
use crate::solid::health::{Boundary, Health, Loop};
use crate::solid::self_crossings::{Effort, SelfCrossings, self_crossings};
use crate::stage::{Halt, Misfit, Shop};

/// Places that are listed one by one.
const MOST_LISTED: usize = 10;

/// Looks the surface over, and says how it is as facts and findings. None of them is a fault: cubes can be made of it.
pub(super) fn tell(surface: &Surface, shop: &mut Shop<'_>) -> Result<(), Halt> {
    let health = Health::of(surface);
    shop.go_on()?;
    let effort = Effort::usual(surface.triangles().len());
    let crossings = self_crossings(surface, effort, || shop.go_on())?;
    let size = surface.bounds().map_or(DVec3::ZERO, |[low, high]| high - low);
    for (name, value, unit) in [
        ("source triangles", health.triangles, Unit::Triangles),
        ("source bodies", health.bodies, Unit::Count),
        ("closed source bodies", health.closed_bodies, Unit::Count),
        ("holes", health.boundary.loops.len(), Unit::Count),
        ("edges of holes", health.boundary.edges(), Unit::Count),
        ("flipped patches", health.flipped_patches, Unit::Count),
        ("flipped triangles", health.flipped_triangles, Unit::Triangles),
        ("one-sided sheets", health.one_sided, Unit::Count),
        ("repeated triangles", health.repeated, Unit::Triangles),
        ("triangles without area", health.without_area, Unit::Triangles),
        ("edges of more than two triangles", health.branching_edges, Unit::Count),
        ("self-crossings", crossings.crossing, Unit::Count),
        ("overlaps in one plane", crossings.overlapping, Unit::Count),
    ] {
        shop.fact(Fact::whole(name, value, unit));
    }
    shop.fact(Fact::number("length of holes' edges", health.boundary.length(), Unit::Mm));
    shop.fact(Fact::triple("source size", size, Unit::Mm));
    let findings = [
        about_units(size, shop),
        about_holes(&health.boundary),
        about_turn(&health),
        about_one_sided(&health),
        about_crossings(crossings),
        about_blemishes(&health),
    ];
    findings.into_iter().flatten().for_each(|finding| shop.finding(finding));
    Ok(())
}

/// Adds to what is wrong with a cell the unit in which the model may be.
pub(super) fn with_doubt(misfit: Misfit, size: DVec3, shop: &Shop<'_>) -> Misfit {
    match Doubt::of(size, shop.process(), None) {
        Some(doubt) if !doubt.guesses.is_empty() => Misfit {
            message: format!("{}; {}", misfit.message, doubt.guesses_in_words()),
            remedy: format!("set `model.units` if that is so; otherwise {}", misfit.remedy),
            ..misfit
        },
        _ => misfit,
    }
}

fn about_units(size: DVec3, shop: &Shop<'_>) -> Option<Finding> {
    let doubt = Doubt::of(size, shop.process(), None)?;
    Some(Finding::caution(
        "unit-doubtful",
        doubt.in_words(),
        "set `model.units` to the unit of the file's numbers, or the size with `scale`; nothing to do if the piece is \
         meant to have this size",
    ))
}

fn about_holes(boundary: &Boundary) -> Option<Finding> {
    let holes = &boundary.loops;
    let largest = holes.first()?;
    let measure = |hole: &Loop| {
        let DVec3 { x, y, z } = hole.middle;
        format!("{:.1} mm round ({x:.1}, {y:.1}, {z:.1}) mm", hole.length)
    };
    let message = if holes.len() == 1 {
        format!("the model has a hole with an edge of {}; it is closed by winding number", measure(largest))
    } else {
        let listed: Vec<String> = holes.iter().take(3).map(measure).collect();
        format!(
            "the model has {} holes with edges of {:.1} mm in all, the longest {}; they are closed by winding number",
            holes.len(),
            boundary.length(),
            listed.join(", "),
        )
    };
    let remedy = "look at the pictures; close the holes in the model if the form is not what you meant";
    let places = holes.iter().take(MOST_LISTED).map(|hole| Place::at(hole.middle));
    Some(Finding::note("model-open", message, remedy).at(places))
}

fn about_turn(health: &Health) -> Option<Finding> {
    (health.flipped_patches > 0).then(|| {
        let message = format!(
            "{} of the model in {} looked the other way than the rest of their sheet and were turned",
            counted(health.flipped_triangles, "triangle"),
            counted(health.flipped_patches, "patch"),
        );
        Finding::note("triangles-turned", message, "nothing to do; mend the model if you use it elsewhere")
    })
}

fn about_one_sided(health: &Health) -> Option<Finding> {
    (health.one_sided > 0).then(|| {
        let message = format!(
            "the model has {} with one side only, like a Möbius strip: what is inside there cannot be told by how its \
             triangles are turned",
            counted(health.one_sided, "sheet"),
        );
        Finding::caution("model-one-sided", message, "look at the pictures; give the sheet thickness in the model")
    })
}

fn about_crossings(found: SelfCrossings) -> Option<Finding> {
    let SelfCrossings { crossing, overlapping, complete } = found;
    (crossing + overlapping > 0 || !complete).then(|| {
        let message = format!(
            "the model passes through itself: {}{} cross, {} in one plane overlap; what lies within several parts is \
             solid once",
            if complete { "" } else { "at least " },
            counted(crossing, "pair of triangles"),
            counted(overlapping, "pair"),
        );
        Finding::note("model-crosses-itself", message, "nothing to do; look at the pictures where parts overlap")
    })
}

/// What hardly matters for cubes, in one note.
fn about_blemishes(health: &Health) -> Option<Finding> {
    let blemishes = [
        (health.repeated, "repeated triangle"),
        (health.without_area, "triangle without area"),
        (health.branching_edges, "edge of more than two triangles"),
    ];
    let said: Vec<String> =
        blemishes.into_iter().filter(|&(count, _)| count > 0).map(|(count, what)| counted(count, what)).collect();
    (!said.is_empty()).then(|| {
        let message = format!("the model's triangles do not make one clean surface: {}", said.join(", "));
        Finding::note("model-unclean", message, "nothing to do; mend the model if you use it elsewhere")
    })
}

/// A number with its noun, of which the first word takes the plural.
fn counted(number: usize, noun: &str) -> String {
    let (head, rest) = noun.find(" of ").or_else(|| noun.find(" without ")).map_or((noun, ""), |at| noun.split_at(at));
    let end = match number {
        1 => "",
        _ if head.ends_with("ch") => "es",
        _ => "s",
    };
    format!("{number} {head}{end}{rest}")
}
