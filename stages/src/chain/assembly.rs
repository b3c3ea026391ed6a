//! Piece, stand and case put together, as drawings: a section through the axis of the turn with the fit beside it at a larger
//! scale, and a view from the front right.
//!
//! The section is cut from the bodies themselves as they will be printed, not drawn from what they should be.

use std::collections::BTreeMap;

use glam::{DVec2, DVec3};

use super::cut::{Cut, FOOT, GREY, HEAD, NAMES, Named, PIECE, SHEET, Scale, fill, head, name_all, runs, spot};
use crate::Srgb;
use crate::division::Division;
use crate::formats::ColouredMesh;
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Stroke, svg};
use crate::formats::picture::{Image, View, render};
use crate::mounts::Mounts;
use crate::paint::Paint;
use crate::solid::section::{Upright, clipped, outlines};
use crate::solid::{Patch, Skin};
use crate::stage::{Halt, Shop};
use crate::workpiece::Workpiece;

/// Edge of the view, in pixels.
const VIEW: u32 = 900;

/// Draws piece, stand and the panels of a case, if there are any: `NAME-section.svg` and `NAME-view.png`.
pub(crate) fn draw(
    name: &str,
    piece: &Workpiece,
    mounts: &Mounts,
    slabs: &[Slab],
    shop: &mut Shop<'_>,
) -> Result<(), Halt> {
    let assembly = Assembly::of(piece, mounts, slabs);
    let section = svg::text(&assembly.section(shop.title()));
    shop.artefact(&format!("{name}-section.svg"), "section through the axis, with the fit larger: SVG", |out| {
        out.write_all(section.as_bytes())
    })?;
    shop.go_on()?;
    let view = assembly.view(VIEW);
    shop.artefact(
        &format!("{name}-view.png"),
        if slabs.is_empty() {
            "piece and stand taken apart along the axis"
        } else {
            "all of it put together, from the front right"
        },
        |out| view.write_png(out),
    )?;
    shop.go_on()
}

/// A panel of the case, where it sits: a box.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Slab {
    /// Its lowest corner, in mm.
    pub(crate) low: DVec3,
    /// Its highest corner, in mm.
    pub(crate) high: DVec3,
    /// What it is of.
    pub(crate) stuff: Stuff,
}

/// What a panel is of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Stuff {
    /// The box.
    Board,
    /// What one sees through.
    Clear,
    /// The motor, as a block.
    Motor,
}

/// What is drawn together.
struct Assembly<'a> {
    /// What is printed of the piece, each with the colours of its triangles.
    piece: Vec<(Skin, Vec<Srgb>)>,
    mounts: &'a Mounts,
    slabs: &'a [Slab],
    /// Where the post goes in: half the width of the opening at the cut, and the height of its mouth.
    mouth: Option<DVec2>,
}

/// Edge of a picture of the fit on the sheet, in mm, and how much larger than the piece it is.
const CLOSE: f64 = 52.0;
const CLOSER: f64 = 5.0;
/// How far apart bodies are drawn that are taken apart, in mm.
const APART: f64 = 22.0;

const STAND: Srgb = Srgb([0x6f, 0x86, 0x96]);
const PEG: Srgb = Srgb([0x3f, 0x51, 0x5e]);
const SPACER: Srgb = Srgb([0xd9, 0xa4, 0x41]);
const PANEL: Srgb = Srgb([0xb9, 0x93, 0x67]);
const MOTOR: Srgb = Srgb([0x8a, 0x84, 0x7c]);
const CLEAR: Srgb = Srgb([0xa9, 0xc4, 0xcf]);

impl<'a> Assembly<'a> {
    fn of(piece: &Workpiece, mounts: &'a Mounts, slabs: &'a [Slab]) -> Self {
        let at = |axis: usize| mounts.axis[axis];
        let opening = piece.void().into_iter().flat_map(|void| &void.openings).find(|opening| {
            opening.side == crate::Side::Bottom && (0..2).all(|a| opening.low[a] < at(a) && at(a) < opening.high[a])
        });
        let mouth = opening.map(|opening| DVec2::new(opening.high.x - mounts.axis.x, opening.low.z));
        Self { piece: printed(piece), mounts, slabs, mouth }
    }

    fn plane(&self) -> Upright {
        Upright { through: self.mounts.axis, along: DVec2::X }
    }

    /// Everything that the plane cuts, the piece first.
    fn cuts(&self) -> Vec<Cut> {
        let plane = self.plane();
        let piece = self.piece.iter().flat_map(|(skin, _)| outlines(&skin.points, &skin.triangles, plane)).collect();
        let mut cuts = vec![Cut { name: "piece".to_owned(), colour: PIECE, outlines: piece, one_by_one: false }];
        for body in &self.mounts.bodies {
            let outlines = outlines(body.surface.points(), body.surface.triangles(), plane);
            cuts.push(Cut { name: body.name.clone(), colour: colour_of(&body.name), outlines, one_by_one: false });
        }
        for (stuff, name) in [(Stuff::Board, "box"), (Stuff::Motor, "motor"), (Stuff::Clear, "clear cover")] {
            let (of_kind, colour) = (self.slabs.iter().filter(|slab| slab.stuff == stuff), stuff.colour());
            let outlines: Vec<_> = of_kind.filter_map(|slab| self.slab_cut(slab)).collect();
            cuts.push(Cut { name: name.to_owned(), colour, outlines, one_by_one: true });
        }
        cuts.retain(|cut| !cut.outlines.is_empty());
        cuts
    }

    fn slab_cut(&self, slab: &Slab) -> Option<Vec<DVec2>> {
        let axis = self.mounts.axis;
        let (low, high) = (DVec2::new(slab.low.x - axis.x, slab.low.z), DVec2::new(slab.high.x - axis.x, slab.high.z));
        (slab.low.y <= axis.y && axis.y <= slab.high.y)
            .then(|| vec![low, DVec2::new(high.x, low.y), high, DVec2::new(low.x, high.y)])
    }

    /// The section, with two pictures of the fit.
    fn section(&self, title: &str) -> Drawing {
        let cuts = self.cuts();
        let mut drawing = Drawing::new(format!("Section through the axis: {title}"), SHEET.x, SHEET.y);
        let all = || cuts.iter().flat_map(|cut| cut.outlines.iter().flatten().copied());
        let (low, high) = all().fold((DVec2::MAX, DVec2::MIN), |(low, high), p| (low.min(p), high.max(p)));
        if low.x > high.x {
            return drawing;
        }
        let close = if self.mouth.is_some() { CLOSE + 14.0 } else { 0.0 };
        let room = DVec2::new(SHEET.x - NAMES - 8.0, SHEET.y - HEAD - FOOT - close);
        let scale = Scale::that_fits(high - low, room);
        let left = room - (high - low) * scale.factor();
        let from = DVec2::new(left.x / 2.0 + 4.0, FOOT + close + left.y / 2.0);
        let place = |p: DVec2| from + (p - low) * scale.factor();
        for cut in &cuts {
            fill(&mut drawing, cut, |outline| outline.iter().map(|&p| place(p)).collect());
        }
        self.axis_line(&mut drawing, place(DVec2::new(0.0, low.y)), place(DVec2::new(0.0, high.y)));
        let named = cuts.iter().filter_map(|cut| {
            let at = place(spot(&cut.outlines)?);
            Some(Named { at, colour: cut.colour, name: cut.name.clone() })
        });
        name_all(&mut drawing, named.collect(), SHEET.x - NAMES + 2.0);
        head(&mut drawing, &format!("Section through the axis · {title}"), "Seen from the front", scale);
        if let Some(mouth) = self.mouth {
            let at = |number: f64| DVec2::new(8.0 + number * (CLOSE + 14.0), FOOT);
            close_up(&mut drawing, &cuts, &self.in_the_mouth(&cuts, mouth), at(0.0));
            if let Some(below) = self.below_the_ceiling(&cuts) {
                close_up(&mut drawing, &cuts, &below, at(1.0));
            }
        }
        drawing
    }

    /// The post beside the opening's right edge, with the gap between the two as it is cut.
    fn in_the_mouth(&self, cuts: &[Cut], mouth: DVec2) -> CloseUp {
        // Half a millimetre up, where the opening is no wider than its mouth.
        let y = mouth.y + 0.5;
        let [piece, stand] = [0, 1].map(|cut| runs(&cuts[cut].outlines, y));
        let edge = stand.iter().map(|run| run[1]).filter(|&x| x > 0.0).fold(0.0, f64::max);
        let wall = piece.iter().map(|run| run[0]).filter(|&x| x > edge).fold(f64::INFINITY, f64::min);
        let words = format!("Post in the opening: {:.2} mm free", wall - edge);
        CloseUp { around: mouth, words, times: CLOSER }
    }

    /// The post's top below what is over it on the axis, if both fit into one picture.
    fn below_the_ceiling(&self, cuts: &[Cut]) -> Option<CloseUp> {
        let top = self.post_top();
        // Turned on its side, so that runs are upright ones; off the axis by a hair, where no corner lies.
        let turned: Vec<Vec<DVec2>> =
            cuts[0].outlines.iter().map(|outline| outline.iter().map(|p| DVec2::new(p.y, p.x)).collect()).collect();
        let above = runs(&turned, 1e-4).into_iter().map(|run| run[0]).filter(|&z| z > top);
        let ceiling = above.fold(f64::INFINITY, f64::min);
        let times = [CLOSER, 2.0, 1.0].into_iter().find(|times| (ceiling - top) * times < CLOSE * 0.8)?;
        let words = format!("Post below the ceiling: {:.2} mm free", ceiling - top);
        Some(CloseUp { around: DVec2::new(0.0, top.midpoint(ceiling)), words, times })
    }

    fn axis_line(&self, drawing: &mut Drawing, low: DVec2, high: DVec2) {
        let stroke = Stroke { width: 0.25, colour: GREY, dash: Some([5.0, 1.5]) };
        drawing.line(Layer::Note, stroke, [low - DVec2::Y * 4.0, high + DVec2::Y * 4.0]);
        drawing.words(Layer::Note, high + DVec2::Y * 5.0, 2.2, Anchor::Middle, "axis");
    }

    /// The highest place of the stand.
    fn post_top(&self) -> f64 {
        let heights = self.mounts.bodies.iter().flat_map(|body| body.surface.points()).map(|point| point.z);
        heights.fold(f64::MIN, f64::max)
    }

    /// Everything from the front right, in the colours of the piece; what is clear is shown by its edges. Without a case it is
    /// drawn taken apart along the axis, as the piece would hide the stand.
    fn view(&self, pixels: u32) -> Image {
        let mut scene = Scene::default();
        let apart = self.slabs.is_empty();
        let lift =
            if apart { self.post_top() - self.mouth.map_or(self.mounts.foot, |mouth| mouth.y) + APART } else { 0.0 };
        for (skin, inks) in &self.piece {
            scene.mesh(&skin.points, &skin.triangles, lift, |at| inks[at]);
        }
        for (number, body) in (0..).map(f64::from).zip(&self.mounts.bodies) {
            let drop = if apart { -APART * number } else { 0.0 };
            scene.mesh(body.surface.points(), body.surface.triangles(), drop, |_| colour_of(&body.name));
        }
        let all = self
            .slabs
            .iter()
            .fold((DVec3::MAX, DVec3::MIN), |(low, high), slab| (low.min(slab.low), high.max(slab.high)));
        let bar = (all.1 - all.0).max_element() / 250.0;
        for slab in self.slabs {
            let colour = slab.stuff.colour();
            if slab.stuff == Stuff::Clear {
                scene.frame(slab, bar, colour);
            } else {
                scene.block(slab.low, slab.high, colour);
            }
        }
        scene.picture(pixels)
    }
}

impl Stuff {
    const fn colour(self) -> Srgb {
        match self {
            Self::Board => PANEL,
            Self::Clear => CLEAR,
            Self::Motor => MOTOR,
        }
    }
}

fn colour_of(body: &str) -> Srgb {
    match body {
        "stand" => STAND,
        "spacer" => SPACER,
        _ => PEG,
    }
}

/// A square around a place, so many times larger than it is.
struct CloseUp {
    around: DVec2,
    words: String,
    times: f64,
}

fn close_up(drawing: &mut Drawing, cuts: &[Cut], shown: &CloseUp, at: DVec2) {
    let CloseUp { around, words, times } = shown;
    let half = DVec2::splat(CLOSE / times / 2.0);
    let place = |p: DVec2| at + (p - around + half) * *times;
    for cut in cuts {
        fill(drawing, cut, |outline| clipped(outline, around - half, around + half).into_iter().map(place).collect());
    }
    let frame = [at, at + DVec2::X * CLOSE, at + DVec2::splat(CLOSE), at + DVec2::Y * CLOSE];
    drawing.outline(Layer::Note, Stroke::new(0.3, BLACK), frame);
    drawing.words(Layer::Note, at + DVec2::Y * (CLOSE + 2.0), 2.2, Anchor::Start, format!("{words}, {times} : 1"));
}

/// Triangles in colours, put together for one picture.
#[derive(Default)]
struct Scene {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    colours: Vec<Srgb>,
    inks: BTreeMap<Srgb, u32>,
    ink: Vec<u32>,
}

impl Scene {
    fn mesh(&mut self, points: &[DVec3], triangles: &[[u32; 3]], lift: f64, colour: impl Fn(usize) -> Srgb) {
        let first = self.points.len() as u32;
        self.points.extend(points.iter().map(|&point| point + DVec3::Z * lift));
        for (at, triangle) in triangles.iter().enumerate() {
            self.triangles.push(triangle.map(|corner| corner + first));
            let ink = self.ink_of(colour(at));
            self.ink.push(ink);
        }
    }

    fn ink_of(&mut self, colour: Srgb) -> u32 {
        let next = self.colours.len() as u32;
        let ink = *self.inks.entry(colour).or_insert(next);
        if ink == next {
            self.colours.push(colour);
        }
        ink
    }

    fn block(&mut self, low: DVec3, high: DVec3, colour: Srgb) {
        let corner = |n: usize| {
            DVec3::from_array(std::array::from_fn(|axis| if n >> axis & 1 == 1 { high[axis] } else { low[axis] }))
        };
        let corners: Vec<DVec3> = (0..8).map(corner).collect();
        let quads = [[1, 3, 7, 5], [0, 4, 6, 2], [2, 6, 7, 3], [0, 1, 5, 4], [4, 5, 7, 6], [0, 2, 3, 1]];
        let triangles: Vec<[u32; 3]> = quads.iter().flat_map(|&[a, b, c, d]| [[a, b, c], [a, c, d]]).collect();
        self.mesh(&corners, &triangles, 0.0, |_| colour);
    }

    /// The twelve edges of a box as bars.
    fn frame(&mut self, slab: &Slab, bar: f64, colour: Srgb) {
        let half = DVec3::splat(bar / 2.0);
        for axis in 0..3 {
            let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
            for corner in 0..4 {
                let mut from = slab.low;
                from[u] = if corner & 1 == 1 { slab.high[u] } else { slab.low[u] };
                from[v] = if corner & 2 == 2 { slab.high[v] } else { slab.low[v] };
                let mut to = from;
                to[axis] = slab.high[axis];
                self.block(from - half, to + half, colour);
            }
        }
    }

    fn picture(&self, pixels: u32) -> Image {
        let Self { points, triangles, colours, ink, .. } = self;
        render(&ColouredMesh { points, triangles, colours, ink }, View::FrontRight, pixels)
    }
}

/// What is printed of a piece: all of it, or its parts.
fn printed(piece: &Workpiece) -> Vec<(Skin, Vec<Srgb>)> {
    let coloured = |skin: Skin, paint: Option<&Paint>| {
        let inks = inks(&skin, paint);
        (skin, inks)
    };
    match piece.division().and_then(Division::parts) {
        Some(parts) => parts.iter().map(|part| coloured(part.skin(), Some(part.paint()))).collect(),
        None => piece.hull().map(|hull| coloured(hull.skin.clone(), piece.paint())).into_iter().collect(),
    }
}

/// The colour of each triangle of a skin whose outside faces have these inks.
fn inks(skin: &Skin, paint: Option<&Paint>) -> Vec<Srgb> {
    let of = |patch: &Patch| match (patch, paint) {
        (Patch::Outside(face), Some(paint)) => paint.colours[paint.ink[*face as usize] as usize],
        (Patch::Inside, Some(paint)) => paint.inside,
        (_, None) => PIECE,
    };
    skin.patches.iter().map(of).collect()
}
