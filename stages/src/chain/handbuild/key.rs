//! How a sheet is read: one cube, large, and what else occurs on these sheets.

use glam::DVec2;

use super::building::Shown;
use super::front::Content;
use super::layer::{BELOW, HANGS, HIDDEN, NOT_BUILT, WHITE, fields};
use super::list::Kind;
use super::sheet::{Flow, GREY, WIDTH, rectangle, say, wrapped};
use crate::Six;
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Stroke};

/// Edge of the cube that is explained, in mm, and of the squares that are.
const LARGE: f64 = 30.0;
const SMALL: f64 = 5.0;
/// Height of capitals, and from line to line, in mm.
const WORDS: f64 = 2.3;
const LINE: f64 = 4.0;

/// Draws the key.
pub(super) fn draw(flow: &mut Flow, content: &Content<'_>) {
    flow.heading("How a sheet is read");
    let top = flow.y - 2.0;
    let corner = DVec2::new(18.0, top - LARGE - 4.0);
    cube(flow.page(), corner, content);
    let x = corner.x + LARGE + 24.0;
    let mut y = top - 3.0;
    let mut say_lines = |page: &mut Drawing, words: &str| {
        for line in wrapped(words, WORDS, WIDTH - x - 9.0) {
            say(page, DVec2::new(x + 9.0, y), WORDS, Anchor::Start, BLACK, line);
            y -= LINE;
        }
        y -= 1.0;
        y
    };
    say_lines(
        flow.page(),
        "A square is a cube from above, the front of the piece at the lower edge. The middle is its top. A field has a letter \
         where that side shows in the end: A, B and so on are the colours of the list.",
    );
    for (words, draw) in squares(content) {
        let below = say_lines(flow.page(), words);
        draw(flow.page(), DVec2::new(x, below + LINE));
    }
    flow.y = y.min(corner.y - 6.0);
}

/// One cube, large, with all of its sides.
fn cube(page: &mut Drawing, corner: DVec2, content: &Content<'_>) {
    let last = content.inks.all.len().saturating_sub(1);
    let shown: Shown = Six::from_fn(|side| Some((side as usize).min(last) as u16));
    let square = || rectangle(corner, DVec2::splat(LARGE));
    page.fill(Layer::Note, WHITE, None, vec![square()]);
    fields(page, [(corner, &shown)].into_iter(), LARGE, content.inks);
    page.outline(Layer::Note, Stroke::new(0.3, BLACK), square());
    let (middle, half) = (corner + DVec2::splat(LARGE / 2.0), LARGE / 2.0);
    for (at, anchor, words) in [
        (DVec2::new(0.0, half + 1.5), Anchor::Middle, "its back"),
        (DVec2::new(0.0, -half - 4.0), Anchor::Middle, "its front"),
        (DVec2::new(-half - 1.5, -1.0), Anchor::End, "its left"),
        (DVec2::new(half + 1.5, -1.0), Anchor::Start, "its right"),
        (DVec2::new(half + 1.5, -LARGE / 3.0 - 1.0), Anchor::Start, "its bottom"),
    ] {
        say(page, middle + at, 2.2, anchor, BLACK, words);
    }
}

/// Draws a square of the key with its lower left corner at a place.
type DrawSquare = fn(&mut Drawing, DVec2);

/// Squares that occur on these sheets, with what they mean.
fn squares(content: &Content<'_>) -> Vec<(&'static str, DrawSquare)> {
    let list = content.list;
    let all: [(bool, &str, DrawSquare); 5] = [
        (list.kinds[Kind::None as usize] > 0, "Dark grey: a cube of which nothing shows.", |page, at| {
            let frame = Stroke::new(0.18, BLACK);
            page.fill(Layer::Note, HIDDEN, Some(frame), vec![rectangle(at, DVec2::splat(SMALL))]);
        }),
        (true, "Light grey: no cube here; there is one in the layer below.", |page, at| {
            let frame = Stroke::new(0.1, GREY);
            page.fill(Layer::Note, BELOW, Some(frame), vec![rectangle(at, DVec2::splat(SMALL))]);
        }),
        (list.left_out > 0, "Dashed: left out, since nothing of it would show.", |page, at| {
            page.outline(Layer::Note, NOT_BUILT, rectangle(at, DVec2::splat(SMALL)));
        }),
        (list.open > 0, "Ring: stays open, for the shaft of an opening.", |page, at| {
            page.circle(Layer::Note, Stroke::new(0.18, BLACK), at + DVec2::splat(SMALL / 2.0), 0.3 * SMALL);
        }),
        (content.building.hanging.count() > 0, "Thick edge: hangs from above; nothing carries it yet.", |page, at| {
            page.outline(Layer::Note, HANGS, rectangle(at, DVec2::splat(SMALL)));
        }),
    ];
    all.into_iter().filter(|(occurs, ..)| *occurs).map(|(_, words, draw)| (words, draw)).collect()
}
