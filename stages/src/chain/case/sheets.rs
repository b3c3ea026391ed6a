//! The panels on sheets of stock, and the sheets as drawings in true size.
//!
//! A drawing's lower left is the sheet's. What is cut is on layer `CUT`; numbers and places of neighbours are marked on
//! `MARK`; sizes are on `MEASURE`; the sheet's own rim and its heading, above it, on `NOTE`.

use glam::DVec2;

use super::cutlist::mm;
use super::design::Design;
use super::nest::{Item, Laid, Stock, nest};
use super::panel::{Panel, Stuff, grown};
use super::settings::{Board, KerfIn, Settings};
use crate::Srgb;
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Mark, Shape, Stroke};
use crate::stage::Misfit;

/// Colours of lines: what is cut red, what is marked blue, sizes grey, as the layers of the DXF.
pub(super) const CUT: Stroke = Stroke::new(0.1, Srgb([0xd0, 0x10, 0x10]));
pub(super) const MARK: Stroke = Stroke::new(0.1, Srgb([0x10, 0x30, 0xd0]));
pub(super) const MEASURE: Stroke = Stroke::new(0.1, Srgb([0x70; 3]));
const RIM: Stroke = Stroke { width: 0.1, colour: BLACK, dash: Some([4.0, 2.0]) };
/// Height of the heading above a sheet, in mm.
const HEADING: f64 = 14.0;
/// Height of words in a panel, and of those that tell sizes, in mm.
const WORDS: f64 = 3.0;
const SIZES: f64 = 2.2;

/// Where every panel lies.
pub(super) struct Nested {
    /// For every panel, in their order.
    pub(super) laid: Vec<Laid>,
    /// What every sheet is of; `Laid::sheet` counts through all.
    pub(super) sheets: Vec<Stuff>,
}

/// Lays every panel on a sheet of its stuff.
pub(super) fn nested(design: &Design, settings: &Settings) -> Result<Nested, Misfit> {
    let mut laid = vec![Laid { sheet: 0, at: DVec2::ZERO, turned: false }; design.panels.len()];
    let mut sheets = Vec::new();
    for stuff in [Stuff::Board, Stuff::Clear] {
        let of: Vec<usize> = (0..design.panels.len()).filter(|&i| design.panels[i].stuff == stuff).collect();
        let board = settings.stock(stuff);
        let item = |&i: &usize| Item { size: design.panels[i].size, turns: !board.grain };
        let items: Vec<Item> = of.iter().map(item).collect();
        let cut = &settings.cut;
        let sheet = DVec2::from(board.sheet.map(crate::Length::mm));
        // Half a kerf goes beside each panel, also at the margin.
        let (kerf, margin) = (cut.kerf.mm(), cut.margin.mm() + cut.kerf.mm() / 2.0);
        let stock = Stock { sheet, margin, between: cut.between.mm() + kerf };
        let placed = nest(&items, &stock).map_err(|i| too_large(&design.panels[of[i]], stuff, &board, margin))?;
        for (&i, place) in of.iter().zip(&placed) {
            laid[i] = Laid { sheet: place.sheet + sheets.len(), ..*place };
        }
        let count = placed.iter().map(|place| place.sheet + 1).max().unwrap_or(0);
        sheets.extend(std::iter::repeat_n(stuff, count));
    }
    Ok(Nested { laid, sheets })
}

fn too_large(panel: &Panel, stuff: Stuff, board: &Board, margin: f64) -> Misfit {
    let (setting, smaller) = match stuff {
        Stuff::Board => ("board.sheet", "`box.rim`, `box.room` or `cover.clearance`"),
        Stuff::Clear => ("cover.sheet.sheet", "`cover.clearance`"),
    };
    let message = format!(
        "the {} of {} × {} mm is larger than a sheet of {} × {} less its margin of {} mm{}",
        panel.name,
        mm(panel.size.x),
        mm(panel.size.y),
        board.sheet[0],
        board.sheet[1],
        mm(margin),
        if board.grain { ", and the grain keeps it from being turned" } else { "" }
    );
    let needs = panel.size + 2.0 * margin;
    let remedy = format!(
        "ask for sheets of {} × {} mm or more; a smaller `cut.margin`, {smaller} makes it smaller",
        needs.x.ceil(),
        needs.y.ceil()
    );
    Misfit::new(setting, message, remedy)
}

impl Nested {
    /// The panels on a sheet.
    pub(super) fn on(&self, sheet: usize) -> impl Iterator<Item = usize> {
        (0..self.laid.len()).filter(move |&i| self.laid[i].sheet == sheet)
    }

    /// How many sheets of a stuff there are.
    pub(super) fn count(&self, stuff: Stuff) -> usize {
        self.sheets.iter().filter(|&&of| of == stuff).count()
    }

    /// What of the sheets of a stuff is no panel, as a share.
    pub(super) fn waste(&self, design: &Design, settings: &Settings, stuff: Stuff) -> f64 {
        let [width, height] = settings.stock(stuff).sheet.map(crate::Length::mm);
        let used: f64 = design.panels.iter().filter(|panel| panel.stuff == stuff).map(Panel::area).sum();
        1.0 - used / (width * height * self.count(stuff) as f64)
    }

    /// A sheet in true size.
    pub(super) fn drawing(&self, design: &Design, settings: &Settings, sheet: usize, title: &str) -> Drawing {
        let board = settings.stock(self.sheets[sheet]);
        let size = DVec2::from(board.sheet.map(crate::Length::mm));
        let heading = format!(
            "Sheet {} of {}: {}, {} thick, {} × {} mm",
            sheet + 1,
            self.sheets.len(),
            board.material,
            board.thickness,
            mm(size.x),
            mm(size.y)
        );
        let whose = if title.is_empty() { heading.clone() } else { format!("{title}. {heading}") };
        let mut drawing = Drawing::new(whose.clone(), size.x, size.y + HEADING);
        let corners = [DVec2::ZERO, DVec2::X * size.x, size, DVec2::Y * size.y];
        drawing.outline(Layer::Note, RIM, corners);
        drawing.words(Layer::Note, DVec2::new(2.0, size.y + 8.0), 3.5, Anchor::Start, whose);
        drawing.words(Layer::Note, DVec2::new(2.0, size.y + 2.5), 2.5, Anchor::Start, kerf(settings));
        for i in self.on(sheet) {
            draw(&mut drawing, design, settings, i, &self.laid[i]);
        }
        drawing
    }
}

fn kerf(settings: &Settings) -> String {
    let kerf = settings.cut.kerf;
    match settings.cut.kerf_in {
        KerfIn::Cutter => {
            format!("1:1, mm. Lines are at the finished size: let the cutter allow for its kerf ({kerf}).")
        }
        KerfIn::Drawing => {
            format!(
                "1:1, mm. Lines lie half the kerf of {kerf} outside what stays: cut along their middle. Holes in blue are drilled."
            )
        }
    }
}

fn draw(drawing: &mut Drawing, design: &Design, settings: &Settings, i: usize, laid: &Laid) {
    let panel = &design.panels[i];
    let size = panel.size;
    let turn = |at: DVec2| laid.at + if laid.turned { DVec2::new(size.y - at.y, at.x) } else { at };
    let all = |points: &[DVec2]| points.iter().map(|&at| turn(at)).collect::<Vec<_>>();
    let half = if settings.cut.kerf_in == KerfIn::Drawing { settings.cut.kerf.mm() / 2.0 } else { 0.0 };
    let words = |drawing: &mut Drawing, layer, colour, at, height, words: String| {
        let turned = if laid.turned { 90.0 } else { 0.0 };
        let shape = Shape::Words { at: turn(at), height, anchor: Anchor::Middle, turned, words };
        drawing.marks.push(Mark { layer, shape, stroke: None, fill: Some(colour) });
    };
    drawing.outline(Layer::Cut, CUT, all(&grown(&panel.outline, half)));
    for hole in &panel.holes {
        // What is narrower than two cuts is drilled: it would close, or leave no core.
        if hole.diameter > 4.0 * half {
            drawing.circle(Layer::Cut, CUT, turn(hole.at), hole.diameter / 2.0 - half);
        } else {
            drawing.circle(Layer::Mark, MARK, turn(hole.at), hole.diameter / 2.0);
        }
    }
    for mark in &panel.marks {
        drawing.outline(Layer::Mark, MARK, all(mark));
    }
    let name = format!("{} {}", i + 1, panel.name);
    let t = settings.thickness();
    if size.y < 30.0 {
        let low = (size.y - WORDS) / 2.0;
        words(drawing, Layer::Mark, MARK.colour, DVec2::new(size.x / 3.0, low), WORDS.min(size.y / 2.0), name);
        let told = format!("{} × {} mm", mm(size.x), mm(size.y));
        words(drawing, Layer::Measure, MEASURE.colour, DVec2::new(size.x * 0.75, low), SIZES.min(size.y / 2.0), told);
        return;
    }
    // Off the notch in the middle of the back's lower edge.
    let along = if panel.name == "box back" { 0.25 } else { 0.5 };
    words(drawing, Layer::Mark, MARK.colour, DVec2::new(size.x * along, t + 2.0), WORDS, name);
    let inside = t + 3.0;
    let tick = |drawing: &mut Drawing, from: DVec2, to: DVec2| {
        let across = (to - from).perp().normalize_or_zero() * 1.2;
        for line in [[from, to], [from - across, from + across], [to - across, to + across]] {
            drawing.line(Layer::Measure, MEASURE, all(&line));
        }
    };
    let (y, x) = (size.y - inside, size.x - inside);
    tick(drawing, DVec2::new(0.0, y), DVec2::new(size.x, y));
    words(drawing, Layer::Measure, MEASURE.colour, DVec2::new(size.x / 2.0, y + 0.8), SIZES, mm(size.x));
    tick(drawing, DVec2::new(x, 0.0), DVec2::new(x, size.y));
    words(drawing, Layer::Measure, MEASURE.colour, DVec2::new(x - 6.0, size.y / 2.0), SIZES, mm(size.y));
}

/// Upper right of a panel where it lies on its sheet.
#[cfg(test)]
pub(super) fn end(panel: &Panel, laid: &Laid) -> DVec2 {
    laid.at + if laid.turned { DVec2::new(panel.size.y, panel.size.x) } else { panel.size }
}
