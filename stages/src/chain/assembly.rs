//! Piece, stand and case put together, as drawings: a section through the axis of the turn with the fit beside it at a larger
//! scale, and a view from the front right.
//!
//! The section is cut from the bodies themselves as they will be printed, not drawn from what they should be.

use std::collections::BTreeMap;

use glam::{DVec2, DVec3};

use crate::Srgb;
use crate::formats::ColouredMesh;
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Mark, Shape, Stroke};
use crate::formats::picture::{Image, View, render};
use crate::mounts::Mounts;
use crate::paint::Paint;
use crate::solid::section::{Upright, clipped, outlines};
use crate::solid::{Patch, Skin};
use crate::workpiece::Workpiece;

/// A panel of the case, where it sits: a box.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Slab {
    /// Its lowest corner, in mm.
    pub(crate) low: DVec3,
    /// Its highest corner, in mm.
    pub(crate) high: DVec3,
    /// Whether one sees through it.
    pub(crate) clear: bool,
}

/// What is drawn together.
pub(crate) struct Assembly<'a> {
    piece: Vec<&'a Skin>,
    mounts: &'a Mounts,
    slabs: &'a [Slab],
    /// Where the post goes in: half the width of the opening at the cut, and the height of its mouth.
    mouth: Option<DVec2>,
}

/// What is cut, in one colour.
struct Cut {
    name: String,
    colour: Srgb,
    outlines: Vec<Vec<DVec2>>,
}

/// Sheet and its margin, in mm: fits on A4 and on Letter.
const SHEET: DVec2 = DVec2::new(190.0, 259.0);
/// What is left for words at the top and the foot of the sheet, in mm.
const HEAD: f64 = 18.0;
const FOOT: f64 = 16.0;
/// Width of the column of names at the right, in mm.
const NAMES: f64 = 44.0;
/// Edge of a picture of the fit on the sheet, in mm, and how much larger than the piece it is.
const CLOSE: f64 = 52.0;
const CLOSER: f64 = 5.0;

const PIECE: Srgb = Srgb([0xc9, 0xc2, 0xb2]);
const STAND: Srgb = Srgb([0x6f, 0x86, 0x96]);
const PEG: Srgb = Srgb([0x3f, 0x51, 0x5e]);
const SPACER: Srgb = Srgb([0xd9, 0xa4, 0x41]);
const PANEL: Srgb = Srgb([0xb9, 0x93, 0x67]);
const CLEAR: Srgb = Srgb([0xa9, 0xc4, 0xcf]);

const THIN: Stroke = Stroke::new(0.18, BLACK);
const GREY: Srgb = Srgb([0x6a, 0x6a, 0x6a]);

impl<'a> Assembly<'a> {
    /// The piece by the skins of what is printed of it, with its mounts, and the panels of a case, if there is one.
    pub(crate) fn of(piece: &'a Workpiece, skins: Vec<&'a Skin>, mounts: &'a Mounts, slabs: &'a [Slab]) -> Self {
        let at = |axis: usize| mounts.axis[axis];
        let opening = piece.void().into_iter().flat_map(|void| &void.openings).find(|opening| {
            opening.side == crate::Side::Bottom && (0..2).all(|a| opening.low[a] < at(a) && at(a) < opening.high[a])
        });
        let mouth = opening.map(|opening| DVec2::new(opening.high.x - mounts.axis.x, opening.low.z));
        Self { piece: skins, mounts, slabs, mouth }
    }

    fn plane(&self) -> Upright {
        Upright { through: self.mounts.axis, along: DVec2::X }
    }

    /// Everything that the plane cuts, the piece first.
    fn cuts(&self) -> Vec<Cut> {
        let plane = self.plane();
        let piece = self.piece.iter().flat_map(|skin| outlines(&skin.points, &skin.triangles, plane)).collect();
        let mut cuts = vec![Cut { name: "piece".to_owned(), colour: PIECE, outlines: piece }];
        for body in &self.mounts.bodies {
            let outlines = outlines(body.surface.points(), body.surface.triangles(), plane);
            cuts.push(Cut { name: body.name.clone(), colour: colour_of(&body.name), outlines });
        }
        for (clear, name, colour) in [(false, "panel", PANEL), (true, "clear cover", CLEAR)] {
            let of_kind = self.slabs.iter().filter(|slab| slab.clear == clear);
            let outlines: Vec<_> = of_kind.filter_map(|slab| self.slab_cut(slab)).collect();
            cuts.push(Cut { name: name.to_owned(), colour, outlines });
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
    pub(crate) fn section(&self, title: &str) -> Drawing {
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
        let from = DVec2::new((room.x - scale.of(high.x - low.x)) / 2.0 + 4.0, FOOT + close);
        let place = |p: DVec2| from + (p - low) * scale.factor();
        for cut in &cuts {
            let placed = cut.outlines.iter().map(|outline| outline.iter().map(|&p| place(p)).collect()).collect();
            drawing.fill(Layer::Note, cut.colour, Some(THIN), placed);
        }
        self.axis_line(&mut drawing, place(DVec2::new(0.0, low.y)), place(DVec2::new(0.0, high.y)));
        name_all(&mut drawing, &cuts, &place, SHEET.x - NAMES + 2.0);
        head(&mut drawing, title, &scale);
        if let Some(mouth) = self.mouth {
            let top = self.post_top();
            close_up(&mut drawing, &cuts, mouth, DVec2::new(8.0, FOOT), "Post in the opening", CLOSER);
            close_up(
                &mut drawing,
                &cuts,
                DVec2::new(0.0, top),
                DVec2::new(CLOSE + 22.0, FOOT),
                "Post below the ceiling",
                CLOSER,
            );
        }
        drawing
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

    /// Everything from the front right, in the colours of the piece; what is clear is shown by its edges.
    pub(crate) fn view(&self, colours: &[(&Skin, Vec<Srgb>)], pixels: u32) -> Image {
        let mut scene = Scene::default();
        for (skin, inks) in colours {
            scene.mesh(&skin.points, &skin.triangles, |at| inks[at]);
        }
        for body in &self.mounts.bodies {
            scene.mesh(body.surface.points(), body.surface.triangles(), |_| colour_of(&body.name));
        }
        let all = self
            .slabs
            .iter()
            .fold((DVec3::MAX, DVec3::MIN), |(low, high), slab| (low.min(slab.low), high.max(slab.high)));
        let bar = (all.1 - all.0).max_element() / 250.0;
        for slab in self.slabs {
            if slab.clear { scene.frame(slab, bar, CLEAR) } else { scene.block(slab.low, slab.high, PANEL) }
        }
        scene.picture(pixels)
    }
}

fn colour_of(body: &str) -> Srgb {
    match body {
        "stand" => STAND,
        "spacer" => SPACER,
        _ => PEG,
    }
}

/// One of the scales that drawings are made at (ISO 5455: 1, 2 or 5 times a power of ten).
#[derive(Clone, Copy, Debug, PartialEq)]
struct Scale {
    /// 1 : n, or n : 1 where it enlarges.
    ratio: f64,
    enlarges: bool,
}

impl Scale {
    fn that_fits(size: DVec2, room: DVec2) -> Self {
        let fits = |scale: &Self| scale.of(size.x) <= room.x && scale.of(size.y) <= room.y;
        let up = [5.0, 2.0, 1.0].map(|ratio| Self { ratio, enlarges: true });
        let down = [1.0, 10.0, 100.0, 1000.0].into_iter().flat_map(|tens| [2.0 * tens, 5.0 * tens, 10.0 * tens]);
        let down = down.map(|ratio| Self { ratio, enlarges: false });
        let last = Self { ratio: 20_000.0, enlarges: false };
        up.into_iter().chain(down).find(fits).unwrap_or(last)
    }

    fn factor(self) -> f64 {
        if self.enlarges { self.ratio } else { 1.0 / self.ratio }
    }

    fn of(self, length: f64) -> f64 {
        length * self.factor()
    }

    fn words(self) -> String {
        if self.enlarges { format!("{} : 1", self.ratio) } else { format!("1 : {}", self.ratio) }
    }
}

fn head(drawing: &mut Drawing, title: &str, scale: &Scale) {
    let top = drawing.height;
    drawing.words(
        Layer::Note,
        DVec2::new(4.0, top - 8.0),
        4.2,
        Anchor::Start,
        format!("Section through the axis · {title}"),
    );
    let words = format!("Seen from the front. Scale {} when printed at 100 %. Lengths in mm.", scale.words());
    drawing.words(Layer::Note, DVec2::new(4.0, top - 13.5), 2.4, Anchor::Start, words);
    drawing.scale_bar(DVec2::new(4.0, 4.0), 50.0);
}

/// Names everything that is cut, in a column at the right, in the order of height, so that no two leaders cross.
fn name_all(drawing: &mut Drawing, cuts: &[Cut], place: &impl Fn(DVec2) -> DVec2, column: f64) {
    let mut named: Vec<(DVec2, &Cut)> =
        cuts.iter().filter_map(|cut| Some((place(spot(&cut.outlines)?), cut))).collect();
    named.sort_by(|(a, _), (b, _)| b.y.total_cmp(&a.y));
    let mut next = f64::MAX;
    for (at, cut) in named {
        let y = at.y.min(next - 7.0).max(FOOT);
        next = y;
        let end = DVec2::new(column, y);
        drawing.line(Layer::Note, Stroke::new(0.18, GREY), [at, end - DVec2::X * 5.0, end - DVec2::X * 1.0]);
        drawing.marks.push(Mark {
            layer: Layer::Note,
            shape: Shape::Circle { centre: at, radius: 0.6 },
            stroke: None,
            fill: Some(BLACK),
        });
        let low = end - DVec2::Y * 1.4;
        let patch = [low, low + DVec2::X * 4.0, low + DVec2::new(4.0, 2.8), low + DVec2::Y * 2.8].to_vec();
        drawing.fill(Layer::Note, cut.colour, Some(THIN), vec![patch]);
        drawing.words(Layer::Note, end + DVec2::new(5.5, -1.2), 2.6, Anchor::Start, cut.name.clone());
    }
}

/// A place within what is cut, as far to the right as there is much of it: the middle of the longest run along one of some lines.
fn spot(outlines: &[Vec<DVec2>]) -> Option<DVec2> {
    let all = outlines.iter().flatten();
    let (low, high) = all.fold((f64::MAX, f64::MIN), |(low, high), p| (low.min(p.y), high.max(p.y)));
    let runs = (1..16).flat_map(|line| {
        // Off any height that corners of cells have.
        let y = low + (high - low) * (f64::from(line) + 0.137) / 16.0;
        let mut at: Vec<f64> = outlines.iter().flat_map(|outline| crossings(outline, y)).collect();
        at.sort_by(f64::total_cmp);
        at.chunks_exact(2).map(|run| (DVec2::new((run[0] + run[1]) / 2.0, y), run[1] - run[0])).collect::<Vec<_>>()
    });
    let score = |(at, long): &(DVec2, f64)| long.min(8.0) * 4.0 + at.x;
    runs.max_by(|a, b| score(a).total_cmp(&score(b))).map(|(at, _)| at)
}

fn crossings(outline: &[DVec2], y: f64) -> Vec<f64> {
    let next = outline.iter().cycle().skip(1);
    let cross =
        |(a, b): (&DVec2, &DVec2)| ((a.y < y) != (b.y < y)).then(|| a.x + (b.x - a.x) * (y - a.y) / (b.y - a.y));
    outline.iter().zip(next).filter_map(cross).collect()
}

/// A square around a place, so many times larger than it is.
fn close_up(drawing: &mut Drawing, cuts: &[Cut], around: DVec2, at: DVec2, words: &str, times: f64) {
    let half = DVec2::splat(CLOSE / times / 2.0);
    let place = |p: DVec2| at + (p - around + half) * times;
    for cut in cuts {
        let kept = cut.outlines.iter().map(|outline| clipped(outline, around - half, around + half));
        let kept: Vec<Vec<DVec2>> =
            kept.filter(|k| k.len() > 2).map(|outline| outline.into_iter().map(place).collect()).collect();
        if !kept.is_empty() {
            drawing.fill(Layer::Note, cut.colour, Some(THIN), kept);
        }
    }
    let frame = [at, at + DVec2::X * CLOSE, at + DVec2::splat(CLOSE), at + DVec2::Y * CLOSE];
    drawing.outline(Layer::Note, Stroke::new(0.3, BLACK), frame);
    drawing.words(Layer::Note, at + DVec2::Y * (CLOSE + 2.0), 2.6, Anchor::Start, format!("{words}, {times} : 1"));
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
    fn mesh(&mut self, points: &[DVec3], triangles: &[[u32; 3]], colour: impl Fn(usize) -> Srgb) {
        let first = self.points.len() as u32;
        self.points.extend(points);
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
        self.mesh(&corners, &triangles, |_| colour);
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

/// The colour of each triangle of a skin whose outside faces have these inks.
pub(crate) fn inks(skin: &Skin, paint: Option<&Paint>) -> Vec<Srgb> {
    let of = |patch: &Patch| match (patch, paint) {
        (Patch::Outside(face), Some(paint)) => paint.colours[paint.ink[*face as usize] as usize],
        (Patch::Inside, Some(paint)) => paint.inside,
        (_, None) => PIECE,
    };
    skin.patches.iter().map(of).collect()
}
