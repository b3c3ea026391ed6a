//! The first pages: what it is, how a sheet is read, what to buy, how to go about it, and what to take care of.

use std::collections::BTreeMap;

use glam::DVec2;

use super::building::{Building, Shown};
use super::inks::{Ink, Inks};
use super::isometric::{From, Patch, patches};
use super::layer::{BELOW, HIDDEN, WHITE, fields, short, swatch};
use super::list::{Kind, List, letters};
use super::settings::{Hidden, Settings, Way};
use super::sheet::{Cut, Flow, GREY, WIDTH, fitted, rectangle, say, wrapped};
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Paper, Stroke};
use crate::{Side, Six, Srgb};

/// What the pages tell of.
pub(super) struct Content<'a> {
    pub(super) building: &'a Building,
    pub(super) inks: &'a Inks,
    pub(super) list: &'a List,
    pub(super) settings: &'a Settings,
    pub(super) title: &'a str,
    pub(super) cut: &'a Cut,
}

/// The piece from two corners.
pub(super) struct Pictures([Vec<Patch>; 2]);

impl Pictures {
    pub(super) fn of(building: &Building) -> Self {
        Self([From::FrontRight, From::BackLeft].map(|from| patches(building, from)))
    }
}

/// Room for the pictures, for each a column, in mm.
const PICTURE: DVec2 = DVec2::new(92.0, 80.0);

/// The pages, the pictures left blank where there are none: as many either way.
pub(super) fn pages(content: &Content<'_>, pictures: Option<&Pictures>) -> Vec<Drawing> {
    let mut flow = Flow::new(content.title);
    head(&mut flow, content);
    shown_from_corners(&mut flow, content, pictures);
    key(&mut flow, content);
    at_a_glance(&mut flow, content);
    care(&mut flow, content);
    // Page 1 is an overview; what follows it may begin below what it had no room for.
    if flow.pages.len() == 1 {
        flow.turn();
    }
    colours(&mut flow, content);
    cubes(&mut flow, content);
    how(&mut flow, content);
    flow.pages
}

fn head(flow: &mut Flow, content: &Content<'_>) {
    flow.y -= 6.5;
    let y = flow.y;
    let title = fitted(content.title, 5.5, WIDTH);
    say(flow.page(), DVec2::new(0.0, y), 5.5, Anchor::Start, BLACK, title);
    let what = match content.settings.way {
        Way::Cubes => "to build by hand from real cubes, layer by layer",
        Way::Paint => "to paint by hand on a single-colour print, layer by layer",
    };
    say(flow.page(), DVec2::new(0.0, y - 6.0), 3.0, Anchor::Start, BLACK, what);
    flow.page().scale_bar(DVec2::new(0.0, y - 17.0), 100.0);
    flow.y -= 20.0;
}

fn shown_from_corners(flow: &mut Flow, content: &Content<'_>, pictures: Option<&Pictures>) {
    let top = flow.y;
    let captions = ["from above, between front and right", "from above, between back and left"];
    for (n, caption) in captions.into_iter().enumerate() {
        let left = (WIDTH - PICTURE.x) * n as f64;
        if let Some(Pictures(all)) = pictures {
            picture(flow.page(), &all[n], content.inks, DVec2::new(left, top - PICTURE.y));
        }
        let at = DVec2::new(left + PICTURE.x / 2.0, top - PICTURE.y - 4.0);
        say(flow.page(), at, 2.2, Anchor::Middle, GREY, caption);
    }
    flow.y = top - PICTURE.y - 6.0;
}

/// Draws patches as large as they fit, in the middle. Sides are shaded a little, so that the edges of cubes can be told.
fn picture(page: &mut Drawing, patches: &[Patch], inks: &Inks, at: DVec2) {
    let corners = || patches.iter().flat_map(|patch| &patch.corners).copied();
    let (low, high) = (corners().reduce(DVec2::min), corners().reduce(DVec2::max));
    let (Some(low), Some(high)) = (low, high) else { return };
    let scale = (PICTURE / (high - low)).min_element();
    let offset = at + (PICTURE - (high - low) * scale) / 2.0;
    let light = |side: Side| match side {
        Side::Top | Side::Bottom => 1.0,
        Side::Front | Side::Back => 0.92,
        Side::Right | Side::Left => 0.84,
    };
    let mut by_look: BTreeMap<(u16, Side), Vec<Vec<DVec2>>> = BTreeMap::new();
    for patch in patches {
        let corners = patch.corners.iter().map(|&corner| offset + (corner - low) * scale).collect();
        by_look.entry((patch.ink, patch.side)).or_default().push(corners);
    }
    for ((ink, side), outlines) in by_look {
        let Srgb(channels) = inks.all[usize::from(ink)].colour;
        let shaded = Srgb(channels.map(|channel| (f64::from(channel) * light(side)).round() as u8));
        page.fill(Layer::Note, shaded, Some(Stroke::new(0.06, Srgb([0x50; 3]))), outlines);
    }
}

/// How a sheet is read: one cube, large, and what else there is.
fn key(flow: &mut Flow, content: &Content<'_>) {
    flow.heading("How a sheet is read");
    let top = flow.y - 2.0;
    let size = 30.0;
    let corner = DVec2::new(18.0, top - size - 4.0);
    let last = content.inks.all.len() - 1;
    let shown: Shown = Six::from_fn(|side| Some((side as usize).min(last) as u16));
    let page = flow.page();
    let edge = Stroke::new(0.3, BLACK);
    page.fill(Layer::Note, WHITE, None, vec![rectangle(corner, DVec2::splat(size))]);
    fields(page, [(corner, &shown)].into_iter(), size, content.inks);
    page.outline(Layer::Note, edge, rectangle(corner, DVec2::splat(size)));
    let middle = corner + DVec2::splat(size / 2.0);
    let around = [
        (DVec2::new(0.0, size / 2.0 + 1.5), Anchor::Middle, "its back"),
        (DVec2::new(0.0, -size / 2.0 - 4.0), Anchor::Middle, "its front"),
        (DVec2::new(-size / 2.0 - 1.5, -1.0), Anchor::End, "its left"),
        (DVec2::new(size / 2.0 + 1.5, -1.0), Anchor::Start, "its right"),
        (DVec2::new(size / 2.0 + 1.5, -size / 3.0 - 1.0), Anchor::Start, "its bottom"),
    ];
    for (at, anchor, words) in around {
        say(page, middle + at, 2.2, anchor, BLACK, words);
    }
    let x = corner.x + size + 24.0;
    let mut y = top - 3.0;
    let mut line = |page: &mut Drawing, words: &str| {
        for line in wrapped(words, 2.3, WIDTH - x - 9.0) {
            say(page, DVec2::new(x + 9.0, y), 2.3, Anchor::Start, BLACK, line);
            y -= 4.0;
        }
        y -= 1.0;
        y
    };
    line(
        page,
        "A square is a cube from above, the front of the piece at the lower edge. The middle is its top. A field \
                has a letter where that side shows in the end: A, B and so on are the colours of the list.",
    );
    for (words, draw) in key_squares(content) {
        let at = line(page, words);
        draw(page, DVec2::new(x, at + 4.0));
    }
    flow.y = y.min(corner.y - 6.0);
}

type DrawKey = fn(&mut Drawing, DVec2);

/// Squares that occur on these sheets, with what they mean.
fn key_squares(content: &Content<'_>) -> Vec<(&'static str, DrawKey)> {
    let building = content.building;
    let mut squares: Vec<(&str, DrawKey)> = Vec::new();
    if content.list.kinds[Kind::None as usize] > 0 {
        squares.push(("Dark grey: a cube of which nothing shows.", |page, at| {
            let frame = Stroke::new(0.18, BLACK);
            page.fill(Layer::Note, HIDDEN, Some(frame), vec![rectangle(at, DVec2::splat(5.0))]);
        }));
    }
    squares.push(("Light grey: no cube here; there is one in the layer below.", |page, at| {
        let frame = Stroke::new(0.1, GREY);
        page.fill(Layer::Note, BELOW, Some(frame), vec![rectangle(at, DVec2::splat(5.0))]);
    }));
    if content.list.left_out > 0 {
        squares.push(("Dashed: left out, since nothing of it would show.", |page, at| {
            let dashed = Stroke { width: 0.15, colour: GREY, dash: Some([0.7, 0.7]) };
            page.outline(Layer::Note, dashed, rectangle(at, DVec2::splat(5.0)));
        }));
    }
    if content.list.open > 0 {
        squares.push(("Ring: stays open, for the shaft of an opening.", |page, at| {
            page.circle(Layer::Note, Stroke::new(0.18, BLACK), at + DVec2::splat(2.5), 1.6);
        }));
    }
    if building.hanging.count() > 0 {
        squares.push(("Thick edge: hangs from above; nothing carries it yet.", |page, at| {
            page.outline(Layer::Note, Stroke::new(0.55, BLACK), rectangle(at, DVec2::splat(5.0)));
        }));
    }
    squares
}

fn at_a_glance(flow: &mut Flow, content: &Content<'_>) {
    let Content { building, list, settings, cut, .. } = content;
    flow.heading("At a glance");
    let size = building.counts.to_array().map(|n| short(f64::from(n) * list.edge)).join(" × ");
    let cubes = building.counts.to_array().map(|n| n.to_string()).join(" × ");
    flow.paragraph("", &format!("{size} mm (width, depth, height), {cubes} cubes of {} mm.", short(list.edge)));
    let mut work = Vec::new();
    if settings.way == Way::Cubes {
        work.push(format!("{} cubes to set", list.cubes));
    }
    work.push(format!("{} faces to paint in {} colours", list.faces, content.inks.all.len()));
    let hours = list.hours.map(|hours| format!("{hours:.0} h"));
    let hours = match settings.way {
        Way::Cubes => format!("some {} to build and {} to paint", hours[0], hours[1]),
        Way::Paint => format!("some {}", hours[1]),
    };
    flow.paragraph("", &format!("{}: {hours}, without breaks and drying.", work.join(", ")));
    let [x, y] = cut.tiles;
    let sheets = if cut.tiles == [1, 1] {
        "A sheet a layer".to_owned()
    } else {
        format!("A layer is cut into up to {} sheets ({x} across, {y} deep)", x * y)
    };
    flow.paragraph("", &format!("{sheets}; a cube is {} mm on paper.", short(cut.square)));
}

/// Where columns of a table begin or, for numbers, end, in mm.
struct Columns(&'static [(f64, Anchor)]);

impl Columns {
    fn row(&self, page: &mut Drawing, y: f64, height: f64, colour: Srgb, texts: &[String]) {
        for (&(x, anchor), text) in self.0.iter().zip(texts) {
            say(page, DVec2::new(x, y), height, anchor, colour, text.clone());
        }
    }
}

const COLOUR_COLUMNS: Columns = Columns(&[
    (9.0, Anchor::Start),
    (46.0, Anchor::End),
    (62.0, Anchor::End),
    (78.0, Anchor::End),
    (94.0, Anchor::End),
    (110.0, Anchor::End),
    (126.0, Anchor::End),
    (143.0, Anchor::End),
    (166.0, Anchor::End),
    (190.0, Anchor::End),
]);

fn colours(flow: &mut Flow, content: &Content<'_>) {
    let Content { inks, list, settings, .. } = content;
    flow.heading("Colours: faces to paint");
    let coats = match settings.coats {
        1 => "one coat".to_owned(),
        n => format!("{n} coats"),
    };
    flow.paragraph("", &format!(
        "Paint for {coats} at {} m² a litre, and {} % for what stays in brush and pot. Codes are sRGB: mix by eye beside the \
         printed patch, or have the shade matched; a screen or printer shows it only nearly.",
        settings.spread, settings.waste
    ));
    if let Some(loss) = inks.loss {
        flow.paragraph("", &format!(
            "The piece has {} colours, too many to mix; they were put together to {}. A face is off by a colour difference \
             of {:.1} in the mean and {:.1} at most (CIEDE2000; below 1 nobody sees it, 5 is plain).",
            loss.before, inks.all.len(), loss.mean, loss.most
        ));
    }
    let table_head: Vec<String> =
        ["colour", "right", "left", "back", "front", "top", "bottom", "all", "area, cm²", "paint, ml"]
            .map(Into::into)
            .into();
    let head = |flow: &mut Flow| {
        flow.y -= 4.6;
        let y = flow.y;
        COLOUR_COLUMNS.row(flow.page(), y, 2.0, GREY, &table_head);
        flow.page().line(Layer::Note, Stroke::new(0.2, BLACK), [DVec2::new(0.0, y - 1.2), DVec2::new(WIDTH, y - 1.2)]);
        flow.y -= 1.0;
    };
    head(flow);
    let mut page = flow.pages.len();
    for (ink, paint) in inks.all.iter().zip(&list.paint) {
        flow.room(5.6);
        if flow.pages.len() != page {
            head(flow);
            page = flow.pages.len();
        }
        flow.y -= 5.6;
        let y = flow.y;
        swatch(flow.page(), DVec2::new(0.0, y - 0.8), 4.2, &ink.letter, ink.colour);
        let mut texts = vec![ink.colour.to_string()];
        texts.extend(ink.faces.0.iter().map(ToString::to_string));
        texts.extend([ink.total().to_string(), format!("{:.1}", list.area(ink.total())), millilitres(*paint)]);
        COLOUR_COLUMNS.row(flow.page(), y, 2.2, BLACK, &texts);
    }
    flow.room(6.0);
    flow.y -= 6.0;
    let mut texts = vec!["all".to_owned()];
    texts.extend(Side::ALL.map(|side| inks.all.iter().map(|ink: &Ink| ink.faces[side]).sum::<usize>().to_string()));
    let paint: f64 = list.paint.iter().sum();
    texts.extend([list.faces.to_string(), format!("{:.1}", list.area(list.faces)), millilitres(paint)]);
    let y = flow.y;
    flow.page().line(Layer::Note, Stroke::new(0.2, BLACK), [DVec2::new(0.0, y + 4.0), DVec2::new(WIDTH, y + 4.0)]);
    COLOUR_COLUMNS.row(flow.page(), y, 2.2, BLACK, &texts);
    flow.y -= 2.0;
}

/// Millilitres to a tenth, or to a hundredth where there are few.
fn millilitres(ml: f64) -> String {
    if ml < 1.0 { format!("{ml:.2}") } else { format!("{ml:.1}") }
}

/// As many patterns of cubes as are listed on paper; the table has all. A piece with a colour a side has 63 at most.
const MOST_PATTERNS: usize = 64;

fn cubes(flow: &mut Flow, content: &Content<'_>) {
    let Content { list, settings, .. } = content;
    let building = settings.way == Way::Cubes;
    flow.heading(if building { "Cubes" } else { "Cubes of the print, by what shows" });
    if building {
        let mut words = format!(
            "{} cubes of {} mm to build; buy {} with {} % to spare.",
            list.cubes,
            short(list.edge),
            list.to_buy,
            settings.spare
        );
        if list.left_out > 0 {
            words.push_str(&format!(
                " {} of which nothing shows are left out; {} that do not show either join the others face to face.",
                list.left_out,
                list.kinds[Kind::None as usize]
            ));
        }
        words.push_str(&format!(" Glue on all {} joints: some {} ml.", list.joints, short(list.glue)));
        if let Some(weight) = list.weight {
            words.push_str(&format!(" It will weigh some {:.1} kg.", weight / 1000.0));
        }
        flow.paragraph("", &words);
    }
    let kinds: Vec<String> = Kind::ALL
        .into_iter()
        .filter(|&kind| list.kinds[kind as usize] > 0)
        .map(|kind| format!("{}: {}", kind.words(), list.kinds[kind as usize]))
        .collect();
    flow.paragraph("", &format!("By what shows: {}.", kinds.join("; ")));
    if !building {
        return;
    }
    let told = if list.patterns.len() > MOST_PATTERNS {
        format!("The {MOST_PATTERNS} commonest of {} cubes by the colours of their sides", list.patterns.len())
    } else {
        "Cubes by the colours of their sides".to_owned()
    };
    flow.paragraph("", &format!("{told} (right, left, back, front, top, bottom; a dot where nothing shows):"));
    patterns(flow, content);
    flow.y -= 2.0;
}

/// The patterns, four a line.
fn patterns(flow: &mut Flow, content: &Content<'_>) {
    let shown: Vec<_> = content.list.patterns.iter().take(MOST_PATTERNS).collect();
    for four in shown.chunks(4) {
        flow.room(4.6);
        flow.y -= 4.6;
        let y = flow.y;
        for (n, (pattern, count)) in four.iter().enumerate() {
            let left = 48.0 * n as f64;
            for (side, letter) in letters(pattern, content.inks).into_iter().enumerate() {
                let letter = if letter.is_empty() { "·".to_owned() } else { letter };
                let at = DVec2::new(left + 2.0 + 4.2 * side as f64, y);
                say(flow.page(), at, 2.2, Anchor::Middle, BLACK, letter);
            }
            say(flow.page(), DVec2::new(left + 40.0, y), 2.2, Anchor::End, BLACK, count.to_string());
        }
    }
}

fn how(flow: &mut Flow, content: &Content<'_>) {
    let Content { building, list, settings, .. } = content;
    flow.heading("How to go about it");
    let mut steps: Vec<String> =
        vec!["Print at 100 %, and measure the bar on page 1. Letters can be read without colour: a black-and-white print will do."
            .into()];
    match settings.way {
        Way::Cubes => {
            steps.push(
                "Measure ten of the cubes in a row: if they are not ten times as long as one should be, the layers come \
                 out at other heights: ask for sheets with a tenth of that length (`handbuild.cube`)."
                    .into(),
            );
            steps.push(
                "Paint before gluing: the table of cubes says how many there are of each kind. Keep glue off faces that show, \
                 and paint off faces that are glued."
                    .into(),
            );
            steps.push(
                "Build on a flat board with paper that does not stick, a square edge along the front and the left. Begin with \
                 layer 1. Glue each cube to the one below and to those beside it; let every few layers set."
                    .into(),
            );
            if building.hanging.count() > 0 {
                steps.push(
                    "Cubes with a thick edge hang from the layers above. Glue such a group together, and set it when the layer \
                     that carries it is there; or prop it with loose cubes, paper between, and take these out at the end."
                        .into(),
                );
            }
            if list.open > 0 {
                steps.push(
                    "Keep the ringed cells free of cubes and glue: the stand goes in there. Their walls stay bare."
                        .into(),
                );
            }
            if settings.hidden == Hidden::LeaveOut {
                steps.push(
                    "The piece is hollow: floors and roofs reach over nothing and hold by their sides alone. Prop them until the \
                     glue has set."
                        .into(),
                );
            }
        }
        Way::Paint => {
            steps.push(
                "Clean the print of powder, resin or support first, and let it dry; prime it if the paint asks for it. Try the paint \
                 on a spare print."
                    .into(),
            );
            steps.push(
                "Paint one colour over the whole piece, the lightest first, and let it dry; then the next. Where a side has one \
                 colour, hold the piece so that only that side looks at you. Count layers from the foot."
                    .into(),
            );
            if list.open > 0 {
                steps.push("Keep paint out of the ringed shaft: a stand has to fit in it.".into());
            }
        }
    }
    for (n, step) in steps.iter().enumerate() {
        flow.paragraph(&format!("{}.", n + 1), step);
    }
}

fn care(flow: &mut Flow, content: &Content<'_>) {
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

/// What a paper is called.
pub(super) const fn paper(paper: Paper) -> &'static str {
    match paper {
        Paper::A4 => "A4",
        Paper::Letter => "Letter",
    }
}
