//! The section: the hollowed piece cut through the axis of its first opening, with walls, cavity and opening measured.
//!
//! It is cut from the body as it will be printed, moved corners and all, and so is every width that is written in it. The
//! plane is upright. Where the opening looks to a side it holds the opening's axis and is seen from the front or from the
//! right; where it looks up or down, from whichever of the two shows more of the piece.
//!
//! Widths are those of the cut: a wall that is cut askew is longer there than it is thick, and never shorter.

use glam::DVec2;

use crate::chain::cut::{
    ASIDE, FOOT, GREY, HEAD, NAMES, Named, PIECE, SHEET, Scale, THIN, bounds, broader, hatch, head, name_all, runs,
    spot, upright,
};
use crate::formats::drawing::{Anchor, BLACK, Drawing, Layer, Stroke, svg};
use crate::solid::section::{Upright, outlines, segments};
use crate::solid::skin::outside_faces;
use crate::solid::{Cells, Patch, Skin};
use crate::stage::{Halt, Shop};
use crate::void::{Opening, Void};
use crate::workpiece::Workpiece;
use crate::{Side, Srgb};

/// The name of the drawing.
pub(crate) const SECTION: &str = "hollow-section.svg";

/// Cavity and shafts.
const HOLLOW: Srgb = Srgb([0xe4, 0xec, 0xf0]);
/// Lines of sizes.
const SIZE: Stroke = Stroke::new(0.22, BLACK);
/// Height of sizes, and of the strokes at their ends, in mm.
const LETTERS: f64 = 2.6;
const TICK: f64 = 1.2;
/// Lines along which the widest place is looked for.
const TRIED: i32 = 48;
/// Left of the section, for the size of a wall.
const MARGIN: f64 = 22.0;

/// Draws the section as an artefact.
pub(super) fn draw(piece: &Workpiece, shop: &mut Shop<'_>) -> Result<(), Halt> {
    let (Some(hull), Some(cells), Some(void)) = (piece.hull(), piece.cells(), piece.void()) else { return Ok(()) };
    let Some(section) = Section::of(&hull.skin, cells, void) else { return Ok(()) };
    let name = shop.free_name(SECTION);
    let text = svg::text(&section.drawing(shop.title()));
    shop.artefact(&name, "section through the first opening, with walls and openings measured: SVG", |out| {
        out.write_all(text.as_bytes())
    })?;
    shop.go_on()
}

/// What the plane cuts.
struct Section<'a> {
    plane: Upright,
    /// Where one stands to see it so.
    from: Side,
    opening: &'a Opening,
    void: &'a Void,
    /// What is printed.
    material: Vec<Vec<DVec2>>,
    /// What would be printed if nothing were taken out.
    whole: Vec<Vec<DVec2>>,
    thinnest: Option<[DVec2; 2]>,
}

/// A length in the section, from end to end.
type Size = [DVec2; 2];

/// A line through wall, cavity and wall.
struct Across {
    walls: [Size; 2],
    cavity: Size,
}

impl<'a> Section<'a> {
    fn of(skin: &Skin, cells: &Cells, void: &'a Void) -> Option<Self> {
        let opening = void.openings.first()?;
        let middle = opening.low.midpoint(opening.high);
        let along = match opening.side.axis() {
            2 => broader(cells)?,
            axis => axis,
        };
        let (plane, from) = upright(middle, along);
        Some(Self {
            plane,
            from,
            opening,
            void,
            material: outlines(&skin.points, &skin.triangles, plane),
            whole: whole(cells, plane, from),
            thinnest: thinnest(skin, void, plane),
        })
    }

    /// Whether a place in the plane is cavity.
    fn is_cavity(&self, at: DVec2) -> bool {
        let grid = self.void.cavity.grid();
        self.void.cavity.solid(((self.plane.place(at) - grid.origin) / grid.cell).floor().as_ivec3())
    }

    /// The cavity where it is widest along an axis of the plane, with the walls at both ends.
    fn widest(&self, axis: usize) -> Option<Across> {
        // Turned on its side for upright lines.
        let turned = |p: DVec2| if axis == 0 { p } else { DVec2::new(p.y, p.x) };
        let material: Vec<Vec<DVec2>> =
            self.material.iter().map(|outline| outline.iter().map(|&p| turned(p)).collect()).collect();
        let [low, high] = bounds(&material)?;
        let tried = (0..TRIED).flat_map(|line| {
            // Off any place that corners of cells have.
            let y = low.y + (high.y - low.y) * (f64::from(line) + 0.437) / f64::from(TRIED);
            let runs = runs(&material, y);
            let gaps: Vec<Across> = runs
                .windows(2)
                .filter_map(|pair| {
                    let [[a, b], [c, d]] = [pair[0], pair[1]];
                    let size = |from: f64, to: f64| [from, to].map(|x| turned(DVec2::new(x, y)));
                    let middle = turned(DVec2::new(b.midpoint(c), y));
                    self.is_cavity(middle).then(|| Across { walls: [size(a, b), size(c, d)], cavity: size(b, c) })
                })
                .collect();
            gaps
        });
        tried.max_by(|a, b| length(a.cavity).total_cmp(&length(b.cavity)))
    }

    /// The opening's clear width, half a cell behind its mouth.
    fn clear(&self) -> Option<Size> {
        let half = self.void.shafts.grid().cell / 2.0;
        let axis = self.opening.side.axis();
        let mut place = self.opening.low.midpoint(self.opening.high);
        place[axis] = self.opening.mouth() - self.opening.side.normal()[axis] * half;
        let at = DVec2::new(self.plane.along.dot(place.truncate() - self.plane.through), place.z);
        let (turned, line): (fn(DVec2) -> DVec2, f64) =
            if axis == 2 { (|p| p, at.y) } else { (|p| DVec2::new(p.y, p.x), at.x) };
        let material: Vec<Vec<DVec2>> =
            self.material.iter().map(|outline| outline.iter().map(|&p| turned(p)).collect()).collect();
        let level = turned(at).x;
        let runs = runs(&material, line);
        let from = runs.iter().map(|run| run[1]).filter(|&x| x <= level).fold(f64::NEG_INFINITY, f64::max);
        let to = runs.iter().map(|run| run[0]).filter(|&x| x >= level).fold(f64::INFINITY, f64::min);
        (from.is_finite() && to.is_finite()).then(|| [from, to].map(|x| turned(DVec2::new(x, line))))
    }

    fn drawing(&self, title: &str) -> Drawing {
        let name = format!("Section through the opening in the {} · {title}", self.opening.side);
        let name = name.trim_end_matches([' ', '·']).to_owned();
        let Some([low, high]) = bounds(&self.whole) else { return Drawing::new(name, SHEET.x, SHEET.y) };
        let room = DVec2::new(SHEET.x - NAMES - MARGIN, SHEET.y - HEAD - 2.0 * FOOT);
        let scale = Scale::that_fits(high - low, room);
        let size = (high - low) * scale.factor();
        let mut drawing = Drawing::new(name.clone(), SHEET.x, size.y + HEAD + 2.0 * FOOT);
        let from = DVec2::new(MARGIN + (room.x - size.x) / 2.0, 2.0 * FOOT - 4.0);
        let place = |p: DVec2| from + (p - low) * scale.factor();
        let placed = |outline: &[DVec2]| outline.iter().map(|&p| place(p)).collect::<Vec<DVec2>>();

        let all = |outlines: &[Vec<DVec2>]| outlines.iter().map(|outline| placed(outline)).collect::<Vec<_>>();
        drawing.fill(Layer::Note, HOLLOW, None, all(&self.whole));
        drawing.fill(Layer::Note, PIECE, Some(THIN), all(&self.material));
        hatch(&mut drawing, &all(&self.material), false);
        self.axis(&mut drawing, [low, high], &place);
        let named = self.sizes(&mut drawing, &place, [low, high].map(place));
        let solid = spot(&self.material).map(|at| Named { at: place(at), colour: PIECE, name: "material".to_owned() });
        name_all(&mut drawing, solid.into_iter().chain(named).collect(), SHEET.x - NAMES + 2.0);
        let words = format!("Cut through the opening's axis, seen from the {}", self.from);
        head(&mut drawing, &name, &words, scale);
        drawing
    }

    /// The opening's axis, past the piece at both ends.
    fn axis(&self, drawing: &mut Drawing, [low, high]: [DVec2; 2], place: &impl Fn(DVec2) -> DVec2) {
        let stroke = Stroke { width: 0.25, colour: GREY, dash: Some([5.0, 1.5]) };
        let z = self.opening.low.z.midpoint(self.opening.high.z);
        let (from, to, past) = if self.opening.side.axis() == 2 {
            (DVec2::new(0.0, low.y), DVec2::new(0.0, high.y), DVec2::Y * 4.0)
        } else {
            (DVec2::new(low.x, z), DVec2::new(high.x, z), DVec2::X * 4.0)
        };
        drawing.line(Layer::Note, stroke, [place(from) - past, place(to) + past]);
    }

    /// Writes the sizes, and says what is named beside the section.
    fn sizes(&self, drawing: &mut Drawing, place: &impl Fn(DVec2) -> DVec2, [low, high]: [DVec2; 2]) -> Vec<Named> {
        let mut named = Vec::new();
        let mut put =
            |size: Size, words: Words| dimension(drawing, size.map(place), &format!("{:.1}", length(size)), words);
        if let Some(across) = self.widest(0) {
            put(across.walls[0], Words::At(DVec2::new(low.x - 3.0, place(across.walls[0][0]).y), Anchor::End));
            put(across.walls[1], Words::At(DVec2::new(high.x + 3.0, place(across.walls[1][0]).y), Anchor::Start));
            put(across.cavity, Words::Third);
            let at = across.cavity[0].lerp(across.cavity[1], 0.85);
            named.push(Named { at: place(at), colour: HOLLOW, name: "cavity".to_owned() });
        }
        if let Some(across) = self.widest(1) {
            let x = place(across.cavity[0]).x;
            put(across.walls[0], Words::At(DVec2::new(x, low.y - 3.5 - 2.0 * LETTERS), Anchor::Middle));
            put(across.walls[1], Words::At(DVec2::new(x, high.y + 2.0), Anchor::Middle));
            put(across.cavity, Words::Third);
        }
        if let Some(clear) = self.clear() {
            let below = DVec2::new(place(clear[0].midpoint(clear[1])).x, low.y - 2.0 - LETTERS);
            put(clear, if self.opening.side == Side::Bottom { Words::At(below, Anchor::Middle) } else { Words::Third });
            named.push(Named { at: place(clear[0].lerp(clear[1], 0.8)), colour: HOLLOW, name: "opening".to_owned() });
        }
        if let Some(thin) = self.thinnest {
            let name = format!("{:.2} thinnest", length(thin));
            drawing.line(Layer::Measure, Stroke::new(0.5, BLACK), thin.map(place));
            named.push(Named { at: place(thin[0].midpoint(thin[1])), colour: PIECE, name });
        }
        named
    }
}

/// Where the words of a size stand.
#[derive(Clone, Copy)]
enum Words {
    /// Beside the first third of its line.
    Third,
    /// At a place of their own, with a line to them.
    At(DVec2, Anchor),
}

/// A line from end to end with strokes across its ends, and its length in words.
fn dimension(drawing: &mut Drawing, [from, to]: Size, length: &str, words: Words) {
    drawing.line(Layer::Measure, SIZE, [from, to]);
    for end in [from, to] {
        let stroke = DVec2::splat(TICK / 2.0);
        drawing.line(Layer::Measure, SIZE, [end - stroke, end + stroke]);
    }
    let (at, anchor) = match words {
        Words::At(at, anchor) => {
            let beside = match anchor {
                Anchor::Middle if at.y < from.y => DVec2::Y * (LETTERS + 0.8),
                Anchor::Middle => DVec2::Y * -0.8,
                Anchor::Start => DVec2::new(-0.8, LETTERS / 2.0),
                Anchor::End => DVec2::new(0.8, LETTERS / 2.0),
            };
            drawing.line(Layer::Measure, Stroke::new(0.12, GREY), [from.midpoint(to), at + beside]);
            (at, anchor)
        }
        Words::Third if (to - from).x.abs() > (to - from).y.abs() => {
            (from.lerp(to, 1.0 / 3.0) + DVec2::Y * 1.0, Anchor::Middle)
        }
        Words::Third => (from.lerp(to, 1.0 / 3.0) + DVec2::new(1.2, -LETTERS / 2.0), Anchor::Start),
    };
    drawing.words(Layer::Measure, at, LETTERS, anchor, length);
}

fn length([from, to]: Size) -> f64 {
    from.distance(to)
}

/// What the plane cuts of the cells with nothing taken out of them: those of one layer.
fn whole(cells: &Cells, plane: Upright, from: Side) -> Vec<Vec<DVec2>> {
    let (grid, axis) = (cells.grid(), from.axis());
    let layer = ((plane.place(DVec2::ZERO)[axis] - grid.origin[axis]) / grid.cell).floor() as i32;
    let mut cut = Cells::empty(*grid);
    cells.iter().filter(|cell| cell[axis] == layer).for_each(|cell| cut.set(cell, true));
    let skin = Skin::of(&cut, None, &outside_faces(&cut, None));
    outlines(&skin.points, &skin.triangles, plane)
}

/// The thinnest place that the plane cuts between the inside and the outside, from one to the other. Not between the wall of
/// a shaft and what lies in the plane of its mouth, where the two meet.
fn thinnest(skin: &Skin, void: &Void, plane: Upright) -> Option<Size> {
    let shaft_of = |line: Size| {
        let at = plane.place(line[0].midpoint(line[1]));
        void.openings.iter().find(|o| at.cmpge(o.low - ASIDE).all() && at.cmple(o.high + ASIDE).all())
    };
    let meet = |shaft: Option<&Opening>, line: Size| {
        shaft.is_some_and(|shaft| {
            let off = |at: DVec2| (plane.place(at)[shaft.side.axis()] - shaft.mouth()).abs();
            line.into_iter().all(|end| off(end) <= 2.0 * ASIDE)
        })
    };
    let (mut inner, mut outer) = (Vec::new(), Vec::new());
    for (triangle, line) in segments(&skin.points, &skin.triangles, plane) {
        match skin.patches[triangle] {
            Patch::Outside(_) => outer.push(line),
            Patch::Inside => inner.push((line, shaft_of(line))),
        }
    }
    let mut best: Option<Size> = None;
    for &(a, shaft) in &inner {
        for &b in &outer {
            let apart = a[0].midpoint(a[1]).distance(b[0].midpoint(b[1])) - (length(a) + length(b)) / 2.0;
            if best.is_none_or(|best| apart < length(best)) && !meet(shaft, b) {
                let between = nearest(a, b);
                if best.is_none_or(|best| length(between) < length(best)) {
                    best = Some(between);
                }
            }
        }
    }
    best
}

/// From a line to another that does not cross it, the shortest way: one of its ends is an end of one of the two.
fn nearest(a: Size, b: Size) -> Size {
    let onto = |p: DVec2, [from, to]: Size| {
        let along = to - from;
        let part =
            if along == DVec2::ZERO { 0.0 } else { ((p - from).dot(along) / along.length_squared()).clamp(0.0, 1.0) };
        from + along * part
    };
    let ways = [[a[0], onto(a[0], b)], [a[1], onto(a[1], b)], [onto(b[0], a), b[0]], [onto(b[1], a), b[1]]];
    ways.into_iter().reduce(|best, way| if length(way) < length(best) { way } else { best }).unwrap_or(a)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::solid::samples::grid;

    /// A block of 12 × 10 × 11 cells of 1 mm with a cavity of 6 × 4 × 5 cells and a shaft of 2 × 2 below it, none moved.
    fn block() -> (Workpiece, Void) {
        let grid = grid([12, 10, 11]);
        let within = |low: [i32; 3], high: [i32; 3]| {
            Cells::from_fn(grid, move |c| (0..3).all(|a| (low[a]..high[a]).contains(&c[a])))
        };
        let place = |at: [i32; 3]| grid.corner(glam::IVec3::from(at));
        let void = Void {
            shafts: within([5, 4, 0], [7, 6, 3]),
            openings: vec![Opening { side: Side::Bottom, low: place([5, 4, 0]), high: place([7, 6, 3]) }],
            cavity: within([3, 3, 3], [9, 7, 8]),
            per_cell: 1,
            moved: std::collections::BTreeMap::new(),
            wall: 3.0,
        };
        (Workpiece::default().with_cells(Cells::from_fn(grid, |_| true)).with_void(void.clone()), void)
    }

    #[test]
    fn a_block_is_cut_in_the_areas_and_widths_that_it_was_made_with() {
        let (piece, void) = block();
        let hull = piece.hull().unwrap();
        let section = Section::of(&hull.skin, piece.cells().unwrap(), &void).unwrap();
        assert_eq!(section.from, Side::Front);
        let area = |outlines: &[Vec<DVec2>]| crate::solid::section::area(outlines);
        assert!((area(&section.whole) - 12.0 * 11.0).abs() < 1e-9);
        assert!((area(&section.material) - (12.0 * 11.0 - 6.0 * 5.0 - 2.0 * 3.0)).abs() < 1e-9);
        let lengths = |across: Across| [across.walls[0], across.cavity, across.walls[1]].map(length);
        assert_eq!(lengths(section.widest(0).unwrap()), [3.0, 6.0, 3.0]);
        // The tallest line runs up the shaft, or beside it: 3 mm of roof either way.
        let [_, cavity, roof] = lengths(section.widest(1).unwrap());
        assert!((cavity - 5.0).abs() < 1e-9 && (roof - 3.0).abs() < 1e-9, "{cavity} {roof}");
        assert!((length(section.clear().unwrap()) - 2.0).abs() < 1e-9);
        assert!((length(section.thinnest.unwrap()) - 3.0).abs() < 1e-9);
    }

    #[test]
    fn an_opening_to_a_side_is_cut_along_its_axis() {
        let (piece, void) = block();
        for (side, from) in [(Side::Left, Side::Front), (Side::Back, Side::Right), (Side::Top, Side::Front)] {
            let void = Void { openings: vec![Opening { side, ..void.openings[0].clone() }], ..void.clone() };
            let hull = piece.hull().unwrap();
            let section = Section::of(&hull.skin, piece.cells().unwrap(), &void).unwrap();
            assert_eq!(section.from, from, "{side}");
            assert!(svg::text(&section.drawing("")).contains(&format!("seen from the {from}")), "{side}");
        }
    }

    #[test]
    fn the_shortest_way_between_two_lines() {
        let line = |a: [f64; 2], b: [f64; 2]| [DVec2::from(a), DVec2::from(b)];
        let level = line([0.0, 0.0], [4.0, 0.0]);
        assert_eq!(length(nearest(level, line([1.0, 3.0], [2.0, 2.0]))), 2.0);
        assert_eq!(length(nearest(level, line([7.0, 4.0], [8.0, 9.0]))), 5.0);
        assert_eq!(length(nearest(line([1.0, 3.0], [1.0, 3.0]), level)), 3.0);
    }
}
