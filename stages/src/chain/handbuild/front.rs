//! The first pages: what it is, what to buy and to paint; with [`key`], how a sheet is read, and [`advice`], how to go about
//! it and what to take care of.

use std::collections::BTreeMap;

use glam::DVec2;

use super::building::Building;
use super::inks::{Ink, Inks};
use super::isometric::{From, Patch, patches};
use super::layer::{short, swatch};
use super::list::{Kind, List, letters};
use super::settings::{Settings, Way};
use super::sheet::{Cut, Flow, GREY, WIDTH, fitted, say};
use super::{advice, key};
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Paper, Stroke};
use crate::{Side, Srgb};

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
    key::draw(&mut flow, content);
    at_a_glance(&mut flow, content);
    advice::care(&mut flow, content);
    // Page 1 is an overview; what follows it may begin below what it had no room for.
    if flow.pages.len() == 1 {
        flow.turn();
    }
    colours(&mut flow, content);
    cubes(&mut flow, content);
    advice::how(&mut flow, content);
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

/// What a paper is called.
pub(super) const fn paper(paper: Paper) -> &'static str {
    match paper {
        Paper::A4 => "A4",
        Paper::Letter => "Letter",
    }
}
