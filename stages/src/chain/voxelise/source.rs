//! What is told about the source: the model's surface at its real size and in its final place, before it is converted.

use glam::DVec3;

use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::Sight;
use crate::size::Doubt;
use crate::solid::Surface;
use crate::solid::health::{Boundary, Health, Loop};
use crate::solid::self_crossings::{Effort, SelfCrossings, line_between, self_crossings};
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
    let findings =
        [about_units(size, shop), about_holes(&health.boundary), about_turn(&health), about_one_sided(&health)];
    findings.into_iter().flatten().for_each(|finding| shop.finding(finding));
    if let Some(finding) = about_crossings(&crossings) {
        shop.finding_seen(finding, || {
            let corners = |of: [u32; 3]| of.map(|corner| surface.points()[corner as usize]);
            // A line where two cross, and where they lie in one plane one of the two.
            let shown = crossings.shown.iter().map(|&[a, b]| match line_between(corners(a), corners(b)) {
                Some([from, to]) => [from, to, to],
                None => corners(a),
            });
            Sight::of_triangles(shown).saying("where its parts pass through each other")
        });
    }
    about_blemishes(&health).into_iter().for_each(|finding| shop.finding(finding));
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

fn about_crossings(found: &SelfCrossings) -> Option<Finding> {
    let SelfCrossings { crossing, overlapping, complete, .. } = *found;
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

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use std::collections::BTreeMap;

    use super::*;
    use crate::chain::voxelise::Voxelise;
    use crate::conformance::Trial;
    use crate::findings::{Severity, Value};
    use crate::solid::forms;
    use crate::stage::Outcome;
    use crate::workpiece::Workpiece;

    fn outcome(surface: Surface, cell: f64) -> Result<Outcome, Halt> {
        let stage = crate::stage::erase::<Voxelise>();
        let folder = tempfile::tempdir().unwrap();
        let settings = serde_json::json!({ "cell": cell });
        let piece = Workpiece::default().with_surface(surface);
        let trial = Trial { stage: stage.as_ref(), settings, files: BTreeMap::new(), piece };
        trial.run(folder.path().to_path_buf()).map(|(_, outcome)| outcome)
    }

    fn finding<'a>(outcome: &'a Outcome, code: &str) -> Option<&'a Finding> {
        outcome.findings.iter().find(|finding| finding.code == code)
    }

    fn whole(outcome: &Outcome, name: &str) -> i64 {
        match outcome.facts.iter().find(|fact| fact.name == name).unwrap().value {
            Value::Whole(value) => value,
            ref other => panic!("{name}: {other:?}"),
        }
    }

    #[test]
    fn a_sound_model_has_facts_and_no_findings() {
        let outcome = outcome(forms::cuboid(DVec3::splat(-20.0), DVec3::splat(20.0)), 4.0).unwrap();
        assert_eq!(outcome.findings, []);
        assert_eq!(
            ["source triangles", "source bodies", "closed source bodies"].map(|n| whole(&outcome, n)),
            [12, 1, 1]
        );
        assert_eq!(["holes", "self-crossings", "flipped triangles"].map(|n| whole(&outcome, n)), [0; 3]);
        assert_eq!(outcome.facts[0].name, "source triangles", "the source comes before anything else");
    }

    /// The hole of a box that stands at (−20, −20, 30): its middle is the middle of the floor, at (20, 20, 0) once the
    /// grid's lowest corner is the origin.
    #[test]
    fn holes_are_told_with_length_and_place_in_the_grid() {
        let block = forms::cuboid(DVec3::new(-20.0, -20.0, 30.0), DVec3::new(20.0, 20.0, 70.0));
        let open = forms::with_triangles(&block, block.triangles()[..10].to_vec());
        let outcome = outcome(open, 4.0).unwrap();
        let found = finding(&outcome, "model-open").unwrap();
        assert_eq!(found.severity, Severity::Note);
        assert!(found.message.contains("160.0 mm round (20.0, 20.0, 0.0) mm"), "{}", found.message);
        assert_eq!(found.places, [Place::at(DVec3::new(20.0, 20.0, 0.0))]);
        assert_eq!((whole(&outcome, "holes"), whole(&outcome, "edges of holes")), (1, 4));
    }

    #[test]
    fn of_many_holes_ten_are_listed() {
        let parts: Vec<Surface> = (0..15)
            .map(|n| {
                let at = DVec3::X * 30.0 * f64::from(n);
                let block = forms::cuboid(at, at + 10.0 + f64::from(n));
                forms::with_triangles(&block, block.triangles()[..10].to_vec())
            })
            .collect();
        let outcome = outcome(forms::together(&parts), 4.0).unwrap();
        let found = finding(&outcome, "model-open").unwrap();
        assert!(found.message.contains("15 holes"), "{}", found.message);
        assert_eq!(found.places.len(), MOST_LISTED);
        assert_eq!((whole(&outcome, "source bodies"), whole(&outcome, "closed source bodies")), (15, 0));
    }

    #[test]
    fn blemishes_are_notes_and_stop_nothing() {
        let block = forms::cuboid(DVec3::ZERO, DVec3::splat(40.0));
        let both = forms::together(&[block.clone(), block.mapped(|p| p + 15.0)]);
        let mut triangles = both.triangles().to_vec();
        triangles[3].swap(0, 1);
        triangles.extend([triangles[0], [1, 1, 2]]);
        let worn = forms::with_triangles(&both, triangles);
        let outcome = outcome(worn, 4.0).unwrap();
        assert!(outcome.findings.iter().all(|finding| finding.severity == Severity::Note));
        let unclean = &finding(&outcome, "model-unclean").unwrap().message;
        assert!(unclean.contains("1 repeated triangle, 1 triangle without area"), "{unclean}");
        let turned = &finding(&outcome, "triangles-turned").unwrap().message;
        assert!(turned.contains("1 triangle of the model in 1 patch"), "{turned}");
        assert!(finding(&outcome, "model-crosses-itself").is_some());
        assert!(whole(&outcome, "self-crossings") > 0);
    }

    #[test]
    fn sizes_that_make_no_sense_name_the_unit() {
        let small = outcome(forms::cuboid(DVec3::ZERO, DVec3::splat(0.18)), 0.01).unwrap();
        let found = finding(&small, "unit-doubtful").unwrap();
        assert_eq!(found.severity, Severity::Caution);
        for part in ["0.18 × 0.18 × 0.18 mm", "is the model in m, not mm (180 mm at its longest)"] {
            assert!(found.message.contains(part), "{}", found.message);
        }
        assert!(found.remedy.contains("`model.units`"));
        let Err(Halt::Misfit(misfit)) = outcome(forms::cuboid(DVec3::ZERO, DVec3::splat(0.18)), 3.0) else {
            panic!("a cell larger than the piece")
        };
        assert!(misfit.message.contains("larger than the whole piece (0.18 mm at its longest); is the model in m"));
        assert!(misfit.remedy.contains("`model.units`"));
    }

    #[test]
    fn nouns_have_plurals() {
        for (number, noun, expected) in [
            (1, "patch", "1 patch"),
            (2, "patch", "2 patches"),
            (2, "pair of triangles", "2 pairs of triangles"),
            (3, "triangle without area", "3 triangles without area"),
            (2, "edge of more than two triangles", "2 edges of more than two triangles"),
        ] {
            assert_eq!(counted(number, noun), expected);
        }
    }
}
