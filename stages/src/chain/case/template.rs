//! Drilling templates on paper, in true size: the top's opening and the motor plate's holes around their common axis.
//!
//! A page shows what fits on it around the axis. A motor plate nearly always fits whole; of the top it shows the opening and
//! the holes of the motor plate's screws, with the axis's lines drawn out to the page's rim, to be laid on the panel's middle
//! lines. What is not on the page is in the drilling list.

use glam::DVec2;

use super::cutlist::{mm, number};
use super::design::Design;
use super::panel::{Hole, Panel};
use super::sheets::MEASURE;
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Paper, Stroke};

/// Margin that every printer leaves white, in mm.
const MARGIN: f64 = 10.0;
/// What the heading and the scale bar take, in mm.
const HEAD: f64 = 24.0;
const FOOT: f64 = 20.0;
const LINE: Stroke = Stroke::new(0.25, BLACK);
const THIN: Stroke = Stroke::new(0.12, BLACK);

/// The panels with a template, with the word for their files.
pub(super) const DRILLED: [(&str, &str); 2] = [("box top", "top"), ("motor plate", "motor-plate")];

/// The template of a panel.
pub(super) fn page(design: &Design, i: usize, paper: Paper, title: &str) -> Drawing {
    let panel = &design.panels[i];
    let [width, height] = paper.size();
    let heading = format!("Drilling template: {} (number {})", panel.name, i + 1);
    let whose = if title.is_empty() { heading.clone() } else { format!("{title}. {heading}") };
    let mut page = Drawing::new(whose, width, height);
    let room = [DVec2::new(MARGIN, MARGIN + FOOT), DVec2::new(width - MARGIN, height - MARGIN - HEAD)];
    let axis = (room[0] + room[1]) / 2.0;
    let half = (room[1] - room[0]) / 2.0;
    let whole = (panel.size / 2.0).cmple(half).all();
    let origin = axis - panel.size / 2.0;

    for (down, text, size) in [(4.0, heading.as_str(), 4.0), (10.0, HOW, 2.4), (14.0, UP, 2.4)] {
        page.words(Layer::Note, DVec2::new(MARGIN, height - MARGIN - down), size, Anchor::Start, text);
    }
    if !title.is_empty() {
        page.words(Layer::Note, DVec2::new(width - MARGIN, height - MARGIN - 4.0), 2.4, Anchor::End, title);
    }
    let shown = |hole: &Hole| whole || ((hole.at - panel.size / 2.0).abs() + hole.diameter).cmple(half).all();
    let left_out = panel.holes.iter().filter(|hole| !shown(hole)).count();
    let extent = if whole {
        "The whole panel is drawn.".to_owned()
    } else {
        format!(
            "The panel is larger than the page: lay the long lines on its middle lines. {}",
            if left_out == 0 {
                "All its holes are here.".to_owned()
            } else {
                format!("{left_out} of its holes are only in the drilling list.")
            }
        )
    };
    page.words(Layer::Note, DVec2::new(MARGIN, height - MARGIN - 18.0), 2.4, Anchor::Start, extent);

    let reach = if whole { (panel.size / 2.0 + 4.0).min(half) } else { half };
    for to in [DVec2::X * reach.x, DVec2::Y * reach.y] {
        page.line(Layer::Measure, Stroke { dash: Some([6.0, 1.5]), ..MEASURE }, [axis - to, axis + to]);
    }
    if whole {
        page.outline(Layer::Cut, LINE, panel.outline.iter().map(|&at| origin + at).collect::<Vec<_>>());
        for mark in &panel.marks {
            let dashed = Stroke { dash: Some([2.0, 1.5]), ..MEASURE };
            page.outline(Layer::Mark, dashed, mark.iter().map(|&at| origin + at).collect::<Vec<_>>());
        }
    }
    for (n, hole) in panel.holes.iter().enumerate().filter(|(_, hole)| shown(hole)) {
        drill(&mut page, hole, origin, &number(i, n), panel);
    }
    // Beside the axis's line: below a panel that is drawn whole, where there is room.
    let below = if whole { panel.size.y / 2.0 + 4.5 } else { reach.y - 2.0 };
    let front = axis - DVec2::Y * below + DVec2::X * 3.0;
    page.words(Layer::Note, front, 3.0, Anchor::Start, "FRONT");
    page.scale_bar(DVec2::splat(MARGIN), 100.0);
    page
}

const HOW: &str = "Print at 100 % (not “fit to page”) and measure the bar below. Tape it on, prick the crosses through, take it off, drill.";
const UP: &str =
    "Seen from above: it lies on the panel’s upper face. Clamp the panel on waste wood; wear eye protection.";

fn drill(page: &mut Drawing, hole: &Hole, origin: DVec2, name: &str, panel: &Panel) {
    let at = origin + hole.at;
    let radius = hole.diameter / 2.0;
    page.circle(Layer::Cut, LINE, at, radius);
    let arm = radius + 2.0;
    for to in [DVec2::X, DVec2::Y] {
        page.line(Layer::Mark, THIN, [at - to * arm, at + to * arm]);
    }
    // Beside the cross, away from the panel's rim.
    let right = hole.at.x <= panel.size.x / 2.0;
    let (side, anchor) = if right { (arm, Anchor::Start) } else { (-arm, Anchor::End) };
    let words = format!("{name}  Ø {}", mm(hole.diameter));
    page.words(Layer::Note, at + DVec2::new(side + if right { 0.6 } else { -0.6 }, 0.8), 2.0, anchor, words);
}
