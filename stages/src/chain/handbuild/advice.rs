//! How to go about it, and what to take care of.

use super::front::Content;
use super::settings::{Hidden, Way};
use super::sheet::Flow;

/// What to do, in order.
pub(super) fn how(flow: &mut Flow, content: &Content<'_>) {
    flow.heading("How to go about it");
    let first = "Print at 100 %, and measure the bar on page 1. Letters can be read without colour: a black-and-white print will do.";
    let steps = match content.settings.way {
        Way::Cubes => to_build(content),
        Way::Paint => to_paint(content),
    };
    for (n, step) in std::iter::once(first).chain(steps).enumerate() {
        flow.paragraph(&format!("{}.", n + 1), step);
    }
}

fn to_build(content: &Content<'_>) -> Vec<&'static str> {
    let mut steps = vec![
        "Measure ten of the cubes in a row: if they are not ten times as long as one should be, the layers come out at other \
         heights: ask for sheets with a tenth of that length (`handbuild.cube`).",
        "Paint before gluing: the table of cubes says how many there are of each kind. Keep glue off faces that show, and paint \
         off faces that are glued.",
        "Build on a flat board with paper that does not stick, a square edge along the front and the left. Begin with layer 1. \
         Glue each cube to the one below and to those beside it; let every few layers set.",
    ];
    if content.building.hanging.count() > 0 {
        steps.push(
            "Cubes with a thick edge hang from the layers above. Glue such a group together, and set it when the layer that \
             carries it is there; or prop it with loose cubes, paper between, and take these out at the end.",
        );
    }
    if content.list.open > 0 {
        steps.push("Keep the ringed cells free of cubes and glue: the stand goes in there. Their walls stay bare.");
    }
    if content.settings.hidden == Hidden::LeaveOut {
        steps.push(
            "The piece is hollow: floors and roofs reach over nothing and hold by their sides alone. Prop them until the glue \
             has set.",
        );
    }
    steps
}

fn to_paint(content: &Content<'_>) -> Vec<&'static str> {
    let mut steps = vec![
        "Clean the print of powder, resin or support first, and let it dry; prime it if the paint asks for it. Try the paint on a \
         spare print.",
        "Paint one colour over the whole piece, the lightest first, and let it dry; then the next. Where a side has one colour, \
         hold the piece so that only that side looks at you. Count layers from the foot.",
    ];
    if content.list.open > 0 {
        steps.push("Keep paint out of the ringed shaft: a stand has to fit in it.");
    }
    steps
}

/// The usual cautions.
pub(super) fn care(flow: &mut Flow, content: &Content<'_>) {
    flow.heading("Take care");
    let mut points = vec![
        "Glues, paints, primers, solvents: fresh air, gloves, eye protection, no flame. The label and the safety data sheet come \
         first, and so do local rules.",
        "Small parts can be swallowed and choked on: keep cubes, blades and glue from children under three and from animals. \
         The piece is not a toy.",
        "Knives and saws: cut away from the hand, on a mat, the work held fast. Sanding and sawing make dust: dust mask and eye \
         protection, outdoors or at an extraction.",
        "Corners are sharp, pieces heavy, and what falls hurts: choose a shelf that carries the piece, and secure it.",
    ];
    if content.settings.way == Way::Paint {
        points.push(
            "Powder and uncured resin: gloves, eye protection, dust mask; clean as the printer's instructions say.",
        );
    }
    for point in points {
        flow.paragraph("–", point);
    }
}
