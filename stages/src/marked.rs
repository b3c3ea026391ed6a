//! Pictures of the piece with places marked on it: one for every finding that has somewhere to look.
//!
//! A stage says what it found, and where. Once it has run, each of its findings that has a place, or a [`Sight`], and no
//! picture of its own is drawn here: the piece in plain grey, whatever its colours will be; around each place a ring; and
//! the patch that is meant, both in one signal colour. The patch lies in front of the piece, as if one saw through the
//! cubes, and triangles have their edges drawn as lines, so that a sheet seen edge on shows too. A single place has four
//! ticks at its ring.
//!
//! The piece is seen from the side from which most of the places can be seen; of sides that are equal in this, from an
//! upright one, and of these from the one that they lie nearest to. However many places there are, a picture has at most twelve
//! rings.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

use glam::{DVec3, IVec3};

use crate::findings::{Finding, Place};
use crate::formats::ColouredMesh;
use crate::formats::picture::{self, Image, View};
use crate::memo::Key;
use crate::outlook::Outlook;
use crate::solid::{Cells, Grid};
use crate::stage::{Halt, Shop};
use crate::workpiece::{Hull, Workpiece};
use crate::{Side, Srgb};

/// Bytes a face of the skin while places are marked on it: the skin, a copy of it in a picture, and its triangles drawn.
const BYTES_A_FACE: f64 = 200.0;
/// Edge of a picture, in pixels.
const PICTURE: u32 = 480;
/// Most places of one finding that get a ring: as many as a finding lists at most.
const MOST_RINGS: usize = 12;
/// Radius of the ring, as a share of the piece's diagonal, and what is left of it where there are many.
const RING: f64 = 0.06;
const OF_MANY: f64 = 0.5;
/// With more places than this a ring is one of many: smaller, and without ticks.
const FEW: usize = 3;
/// Width of the ring and its ticks, and of lines, in pixels or a little less.
const STROKE: f64 = 4.0;
const LINE: f64 = 1.5;
/// Corners of the ring.
const CORNERS: i32 = 48;

/// The colours in use, and their places in the list.
const COLOURS: [Srgb; 3] = [Srgb([0xbd, 0xbc, 0xb8]), Srgb([0xd4, 0x00, 0x7a]), Srgb([0xff, 0xff, 0xff])];
const PIECE: u32 = 0;
const SIGNAL: u32 = 1;
const HALO: u32 = 2;

/// What is marked where a piece stands badly: see [`Sight::saying`].
pub(crate) const ON_GROUND: &str = "what it stands on, and a ring at its centre of mass";

/// What a finding's picture shows beside rings around its places, and from where. Nothing by itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sight {
    from: Option<Side>,
    what: Option<String>,
    cells: Vec<IVec3>,
    grid: Option<Grid>,
    triangles: Vec<[DVec3; 3]>,
}

impl Sight {
    /// Cells of a grid.
    #[must_use]
    pub fn of_cells(grid: &Grid, cells: impl IntoIterator<Item = IVec3>) -> Self {
        Self { cells: cells.into_iter().collect(), grid: Some(*grid), ..Self::default() }
    }

    /// Triangles, in mm; one whose corners lie in a row is a line.
    #[must_use]
    pub fn of_triangles(triangles: impl IntoIterator<Item = [DVec3; 3]>) -> Self {
        Self { triangles: triangles.into_iter().collect(), ..Self::default() }
    }

    /// Seen from a side, whatever could be seen from others.
    #[must_use]
    pub fn from(self, side: Side) -> Self {
        Self { from: Some(side), ..self }
    }

    /// Says what is marked, in words that go on "…, marked on the piece".
    #[must_use]
    pub fn saying(self, what: impl Into<String>) -> Self {
        Self { what: Some(what.into()), ..self }
    }

    /// About the bytes that it takes.
    pub(crate) fn bytes(&self) -> usize {
        size_of::<Self>() + size_of_val(self.cells.as_slice()) + size_of_val(self.triangles.as_slice())
    }

    /// The mean of what it shows.
    fn middle(&self) -> Option<DVec3> {
        let cells = self.grid.iter().flat_map(|grid| self.cells.iter().map(|&cell| grid.centre(cell)));
        let corners = self.triangles.as_flattened().iter().copied();
        let (sum, count) = cells.chain(corners).fold((DVec3::ZERO, 0.0), |(sum, count), at| (sum + at, count + 1.0));
        (count > 0.0).then(|| sum / count)
    }

    /// Whether it adds nothing to see.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.cells.is_empty() && self.triangles.is_empty()
    }
}

/// The outlook of a stage whose findings are drawn once it has done its work.
pub(crate) fn outlook(stage: Outlook) -> Outlook {
    Outlook { takes: stage.takes.max(BYTES_A_FACE * stage.skin_faces()), ..stage }
}

/// Draws a picture for each of a stage's findings that has somewhere to look and no picture yet, on the piece as the stage
/// gave it. Nothing in a draft, and nothing where the piece has neither cells nor a surface.
///
/// # Errors
/// If somebody asked to stop, or a picture could not be written.
pub(crate) fn show(piece: &Workpiece, shop: &mut Shop<'_>) -> Result<(), Halt> {
    let due = if shop.draft() { Vec::new() } else { shop.unpictured() };
    if due.is_empty() {
        return Ok(());
    }
    let hull = piece.hull();
    let Some(body) = Body::of(piece, hull.as_deref()) else { return Ok(()) };
    for (at, sight) in due {
        shop.go_on()?;
        let name = Name::of(at, shop.findings());
        let shot = Shot::of(&shop.findings()[at].places, sight, &body);
        let (file, what) = (shop.free_name(&name.file(shot.side)), shot.words(&name));
        let key = || Key::of("marked 1").key(body.key()).key(shot.key()).made();
        let png = shop.recall().try_of(key, || {
            let mut png = Vec::new();
            shot.image(&body).write_png(&mut png).map(|()| png)
        });
        let png = png.map_err(|error| Halt::Shelf { name: file.clone(), error })?;
        shop.artefact(&file, &what, |out| out.write_all(&png))?;
        shop.picture(at, file);
    }
    Ok(())
}

/// What a finding's picture is named after: the finding's code, and which of those with this code it is.
struct Name<'a> {
    code: &'a str,
    number: usize,
    alone: bool,
}

impl<'a> Name<'a> {
    fn of(at: usize, findings: &'a [Finding]) -> Self {
        let code = findings[at].code.as_str();
        let alike = |findings: &[Finding]| findings.iter().filter(|finding| finding.code == code).count();
        Self { code, number: alike(&findings[..=at]), alone: alike(findings) == 1 }
    }

    /// The name of the file: a code is short and lower-case, but a stage from elsewhere may have others.
    fn file(&self, from: Side) -> String {
        let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
        let code: String = self.code.chars().map(plain).take(60).collect();
        format!("{}-{}-{from}.png", code.trim_matches('-'), self.number)
    }

    fn words(&self) -> String {
        let words = self.code.replace('-', " ");
        if self.alone { words } else { format!("{words} {}", self.number) }
    }
}

/// What is drawn in grey.
struct Body<'a> {
    points: &'a [DVec3],
    triangles: &'a [[u32; 3]],
    bounds: [DVec3; 2],
    cells: Option<&'a Cells>,
    hull: Option<Key>,
}

impl<'a> Body<'a> {
    /// The piece's cubes if there are any, otherwise its surface.
    fn of(piece: &'a Workpiece, hull: Option<&'a Hull>) -> Option<Self> {
        if let Some(hull) = hull.filter(|hull| !hull.skin.triangles.is_empty()) {
            return Self::new(&hull.skin.points, &hull.skin.triangles, piece.cells(), Some(hull.key));
        }
        let surface = piece.surface()?;
        Self::new(surface.points(), surface.triangles(), None, None)
    }

    fn new(
        points: &'a [DVec3],
        triangles: &'a [[u32; 3]],
        cells: Option<&'a Cells>,
        hull: Option<Key>,
    ) -> Option<Self> {
        let (first, rest) = points.split_first()?;
        let bounds = rest.iter().fold([*first; 2], |[low, high], &point| [low.min(point), high.max(point)]);
        Some(Self { points, triangles, bounds, cells, hull })
    }

    fn key(&self) -> Key {
        self.hull.unwrap_or_else(|| Key::of("body").points(self.points).triangles(self.triangles).made())
    }

    /// How far a place lies from the middle, in half sizes.
    fn off_middle(&self, place: DVec3) -> DVec3 {
        let [low, high] = self.bounds;
        (place - low.midpoint(high)) / ((high - low) / 2.0).max(DVec3::splat(f64::MIN_POSITIVE))
    }
}

/// What is marked, and from where it is seen.
struct Shot {
    side: Side,
    rings: Vec<DVec3>,
    /// Whether something lies in front of a place, as seen from there.
    through: bool,
    sight: Sight,
}

impl Shot {
    fn of(places: &[Place], sight: Sight, body: &Body<'_>) -> Self {
        let places = &places[..places.len().min(MOST_RINGS)];
        let seen = |side: Side| places.iter().filter(|place| is_seen(place, side, body.cells)).count();
        let mean = if places.is_empty() {
            sight.middle().map_or(DVec3::ZERO, |middle| body.off_middle(middle))
        } else {
            places.iter().map(|place| body.off_middle(DVec3::from(place.mm))).sum::<DVec3>()
        };
        let off = |side: Side| mean.dot(side.normal());
        // Of sides that are equal in both the first in their order.
        let better = |best: Side, side: Side| {
            let order = seen(side).cmp(&seen(best)).then(is_upright(side).cmp(&is_upright(best)));
            if order.then(off(side).total_cmp(&off(best))) == Ordering::Greater { side } else { best }
        };
        let mut sight = sight;
        if let (None, Some(cells)) = (sight.grid, body.cells) {
            let named = places.iter().filter_map(|place| place.cell.map(IVec3::from));
            sight = Sight { cells: named.collect(), grid: Some(*cells.grid()), ..sight };
        }
        let side = sight.from.unwrap_or_else(|| Side::ALL.into_iter().fold(Side::Right, better));
        Self {
            side,
            rings: places.iter().map(|place| DVec3::from(place.mm)).collect(),
            through: seen(side) < places.len(),
            sight,
        }
    }

    fn key(&self) -> Key {
        let Sight { cells, triangles, grid, .. } = &self.sight;
        let cells: Vec<u32> = cells.iter().flat_map(|cell| cell.to_array().map(i32::cast_unsigned)).collect();
        let mut key = Key::of("shot").whole(self.side as u64).points(&self.rings).wholes(&cells);
        if let Some(grid) = grid {
            key = key.points(&[grid.origin]).number(grid.cell);
        }
        key.points(triangles.as_flattened()).made()
    }

    /// What the picture shows, in words.
    fn words(&self, name: &Name<'_>) -> String {
        let marked = match (&self.sight.what, self.rings.len()) {
            (Some(what), _) => what.clone(),
            (None, 1) => "the place".to_owned(),
            (None, n) => format!("{n} places"),
        };
        let through = match (self.through && self.sight.what.is_none(), self.rings.len()) {
            (false, _) => "",
            (true, 1) => "; the ring shows through the piece",
            (true, _) => "; rings show through the piece",
        };
        format!("{}: {marked}, marked on the piece seen from the {}{through}", name.words(), self.side)
    }

    fn image(&self, body: &Body<'_>) -> Image {
        let view = View::Side(self.side);
        let mut drawing = Drawing::of(body, &self.sight.triangles, view);
        if let Some(grid) = &self.sight.grid {
            drawing.cells(&self.sight.cells, grid, self.side);
        }
        self.sight.triangles.iter().for_each(|&triangle| drawing.patch(triangle));
        drawing.rings(&self.rings);
        let Drawing { points, triangles, ink, .. } = &drawing;
        picture::render(&ColouredMesh { points, triangles, colours: &COLOURS, ink }, view, PICTURE)
    }
}

/// Of cells behind each other, as seen from a side, the ones in front, each with what is said of it.
pub(crate) fn in_front<T>(side: Side, cells: impl IntoIterator<Item = (IVec3, T)>) -> impl Iterator<Item = (IVec3, T)> {
    let axis = side.axis();
    let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
    let depth = |cell: IVec3| if side.positive() { cell[axis] } else { -cell[axis] };
    let mut front: BTreeMap<[i32; 2], (IVec3, T)> = BTreeMap::new();
    for (cell, said) in cells {
        let place = [cell[v], cell[u]];
        if front.get(&place).is_none_or(|(held, _)| depth(cell) > depth(*held)) {
            front.insert(place, (cell, said));
        }
    }
    front.into_values()
}

fn is_upright(side: Side) -> bool {
    side.axis() != 2
}

/// Whether no cell lies between a place and somebody who looks at a side. Without cells nobody can tell, and it is.
fn is_seen(place: &Place, side: Side, cells: Option<&Cells>) -> bool {
    let Some(cells) = cells else { return true };
    let grid = cells.grid();
    let own = || ((DVec3::from(place.mm) - grid.origin) / grid.cell).floor().as_ivec3();
    let mut cell = place.cell.map_or_else(own, IVec3::from);
    // A place beside the grid has nothing in front of it, or all of it.
    cell = cell.clamp(-IVec3::ONE, grid.counts) + side.step();
    while cell.cmpge(-IVec3::ONE).all() && cell.cmple(grid.counts).all() {
        if cells.solid(cell) {
            return false;
        }
        cell += side.step();
    }
    true
}

/// The piece and what is drawn in front of it.
struct Drawing {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    ink: Vec<u32>,
    /// To the right of the picture, up in it, and towards the viewer.
    axes: [DVec3; 3],
    /// How near the viewer piece and patch come, in mm.
    front: f64,
    /// The diagonal of the box around piece and patch, in mm.
    diagonal: f64,
}

impl Drawing {
    fn of(body: &Body<'_>, patch: &[[DVec3; 3]], view: View) -> Self {
        let axes = view.axes();
        let bounds = |[low, high]: [DVec3; 2], &p: &DVec3| [low.min(p), high.max(p)];
        let [low, high] = patch.as_flattened().iter().fold(body.bounds, bounds);
        Self {
            points: body.points.to_vec(),
            triangles: body.triangles.to_vec(),
            ink: vec![PIECE; body.triangles.len()],
            axes,
            // A side looks along an axis: one of the two corners is the nearest.
            front: f64::max(low.dot(axes[2]), high.dot(axes[2])),
            diagonal: (high - low).length(),
        }
    }

    /// The width of a pixel in mm, or a little more.
    fn pixel(&self) -> f64 {
        self.diagonal / f64::from(PICTURE)
    }

    /// The point in front of the piece that covers `point`, on one of a few levels, the higher the nearer.
    fn lifted(&self, point: DVec3, level: f64) -> DVec3 {
        let towards = self.axes[2];
        point + (self.front + level * self.pixel() - point.dot(towards)) * towards
    }

    fn patch(&mut self, triangle: [DVec3; 3]) {
        let [a, b, c] = triangle.map(|corner| self.lifted(corner, 1.0));
        let facing = (b - a).cross(c - a).dot(self.axes[2]) >= 0.0;
        self.triangle(if facing { [a, b, c] } else { [a, c, b] }, SIGNAL);
        for [from, to] in [[a, b], [b, c], [c, a]] {
            self.line(from, to, LINE, SIGNAL);
        }
    }

    /// Cells as squares, joined along rows: however many lie behind each other, there is one.
    fn cells(&mut self, cells: &[IVec3], grid: &Grid, side: Side) {
        let (u, v) = ((side.axis() + 1) % 3, (side.axis() + 2) % 3);
        let places: BTreeSet<[i32; 2]> = cells.iter().map(|cell| [cell[v], cell[u]]).collect();
        let mut places = places.into_iter().peekable();
        while let Some([row, from]) = places.next() {
            let mut to = from + 1;
            while places.next_if_eq(&[row, to]).is_some() {
                to += 1;
            }
            let [low, high] = [[from, row], [to, row + 1]].map(|[along, across]| {
                let mut corner = IVec3::ZERO;
                (corner[u], corner[v]) = (along, across);
                grid.corner(corner)
            });
            self.rectangle(low, high);
        }
    }

    /// The rectangle that two corners span in the picture.
    fn rectangle(&mut self, one: DVec3, other: DVec3) {
        let [right, up, _] = self.axes;
        let [one, other] = [one, other].map(|corner| self.lifted(corner, 1.0));
        let across = (other - one).dot(right) * right;
        let along = (other - one).dot(up) * up;
        let quad = [one, one + across, one + across + along, one + along];
        let facing = across.cross(along).dot(self.axes[2]) >= 0.0;
        self.quad(if facing { quad } else { [quad[0], quad[3], quad[2], quad[1]] }, SIGNAL);
    }

    /// Rings around places. Where one would lie with its middle in another, one does for both.
    fn rings(&mut self, places: &[DVec3]) {
        let few = places.len() <= FEW;
        let radius = RING * self.diagonal * if few { 1.0 } else { OF_MANY };
        let mut put: Vec<DVec3> = Vec::new();
        for &place in places {
            if put.iter().all(|other| (*other - place).reject_from_normalized(self.axes[2]).length() > radius) {
                put.push(place);
            }
        }
        put.into_iter().for_each(|place| self.ring(place, radius, few));
    }

    /// A ring around a place, in the signal colour with a light rim; with ticks where there are few.
    fn ring(&mut self, place: DVec3, radius: f64, few: bool) {
        let rim = LINE * self.pixel();
        let stroke = STROKE * self.pixel();
        for (level, more, ink) in [(2.0, rim, HALO), (3.0, 0.0, SIGNAL)] {
            let middle = self.lifted(place, level);
            let at = |corner: i32, radius: f64| {
                let turn = f64::from(corner % CORNERS) / f64::from(CORNERS) * std::f64::consts::TAU;
                middle + radius * (libm::cos(turn) * self.axes[0] + libm::sin(turn) * self.axes[1])
            };
            let (inner, outer) = (radius - more, radius + stroke + more);
            let quads: Vec<[DVec3; 4]> =
                (0..CORNERS).map(|n| [at(n, inner), at(n, outer), at(n + 1, outer), at(n + 1, inner)]).collect();
            quads.into_iter().for_each(|quad| self.quad(quad, ink));
            let ways = [self.axes[0], -self.axes[0], self.axes[1], -self.axes[1]];
            for way in ways.into_iter().filter(|_| few) {
                let [from, to] = [0.55 * radius - more, 1.75 * radius + more].map(|far| middle + far * way);
                self.line(from, to, STROKE + 2.0 * LINE * (more / rim), ink);
            }
        }
    }

    /// A line so many pixels wide; a point gets a dot.
    fn line(&mut self, from: DVec3, to: DVec3, pixels: f64, ink: u32) {
        let half = pixels * self.pixel() / 2.0;
        let along = (to - from).try_normalize().unwrap_or(self.axes[0]) * half;
        let across = self.axes[2].cross(along);
        self.quad([from - along - across, to + along - across, to + along + across, from - along + across], ink);
    }

    /// Four corners counter-clockwise as seen by the viewer.
    fn quad(&mut self, [a, b, c, d]: [DVec3; 4], ink: u32) {
        self.triangle([a, b, c], ink);
        self.triangle([a, c, d], ink);
    }

    fn triangle(&mut self, corners: [DVec3; 3], ink: u32) {
        let first = self.points.len() as u32;
        self.points.extend(corners);
        self.triangles.push([first, first + 1, first + 2]);
        self.ink.push(ink);
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::solid::samples::grid;

    /// The places of the pixels of a colour: how many, their mean, and their extent, x to the right and y down.
    fn pixels(image: &Image, Srgb([r, g, b]): Srgb) -> (f64, [f64; 2], [f64; 2]) {
        let wanted = |&(_, pixel): &(usize, &[u8; 4])| *pixel == [r, g, b, 255];
        let edge = image.edge() as usize;
        let places: Vec<[f64; 2]> = (image.pixels().iter().enumerate().filter(wanted))
            .map(|(at, _)| [(at % edge) as f64, (at / edge) as f64])
            .collect();
        let count = places.len() as f64;
        let mean = [0, 1].map(|n| places.iter().map(|p| p[n]).sum::<f64>() / count);
        let ends = |n: usize| places.iter().fold((f64::MAX, f64::MIN), |(lo, hi), p| (lo.min(p[n]), hi.max(p[n])));
        (count, mean, [0, 1].map(|n| ends(n).1 - ends(n).0 + 1.0))
    }

    /// A cube of 10 mm, from the right, with rings and a patch: y runs to the right there, and z up.
    fn cube(places: &[[f64; 3]], sight: Sight) -> Image {
        let cells = Cells::from_fn(grid([10, 10, 10]), |_| true);
        let piece = Workpiece::default().with_cells(cells);
        let hull = piece.hull();
        let body = Body::of(&piece, hull.as_deref()).unwrap();
        let places: Vec<Place> = places.iter().map(|&mm| Place { mm, cell: None }).collect();
        Shot::of(&places, sight.from(Side::Right), &body).image(&body)
    }

    #[test]
    fn the_ring_lies_where_the_place_is() {
        let at = |y: f64, z: f64| cube(&[[10.0, y, z]], Sight::default());
        let (_, middle, size) = pixels(&at(5.0, 5.0), COLOURS[SIGNAL as usize]);
        let (_, body, extent) = pixels(&at(5.0, 5.0), COLOURS[PIECE as usize]);
        assert!((0..2).all(|n| (middle[n] - body[n]).abs() < 0.5), "{middle:?} in {body:?}");
        // Ticks reach 1.75 radii to either side, and half their own width.
        let pixels_a_mm = extent[0] / 10.0;
        let reach = 2.0 * (1.75 * RING + STROKE / 2.0 / f64::from(PICTURE)) * 300f64.sqrt() * pixels_a_mm;
        assert!((0..2).all(|n| (size[n] - reach).abs() < 4.0), "{size:?} for {reach}");
        let (_, moved, _) = pixels(&at(7.0, 6.0), COLOURS[SIGNAL as usize]);
        let by = [moved[0] - middle[0], middle[1] - moved[1]];
        assert!((by[0] - 2.0 * pixels_a_mm).abs() < 0.5 && (by[1] - pixels_a_mm).abs() < 0.5, "{by:?}");
    }

    #[test]
    fn a_patch_shows_through_the_piece_and_edge_on() {
        // Two triangles inside the cube: one seen in full from the right, the other edge on.
        let place = [[10.0, 2.0, 2.0]];
        let (ring, ..) = pixels(&cube(&place, Sight::default()), COLOURS[SIGNAL as usize]);
        let (_, _, body) = pixels(&cube(&place, Sight::default()), COLOURS[PIECE as usize]);
        let full = [[3.0, 5.0, 5.0], [3.0, 9.0, 5.0], [3.0, 5.0, 9.0]].map(DVec3::from);
        let turned = [full[0], full[2], full[1]];
        let edge_on = [[3.0, 8.0, 5.0], [7.0, 8.0, 5.0], [3.0, 8.0, 9.0]].map(DVec3::from);
        let square_mm = (body[0] / 10.0).powi(2);
        for (triangle, area, slack) in [(full, 8.0, 1.0), (turned, 8.0, 1.0), (edge_on, 0.1, 0.25)] {
            let (all, ..) = pixels(&cube(&place, Sight::of_triangles([triangle])), COLOURS[SIGNAL as usize]);
            let shown = (all - ring) / square_mm;
            assert!(shown > 0.0 && (shown - area).abs() < slack, "{shown} mm² for {area}");
        }
    }

    #[test]
    fn cells_are_squares_of_their_size_from_every_side() {
        // An L of four cells and one behind it: from the right, where x goes into the picture, four squares.
        let l = [[9, 1, 1], [9, 2, 1], [9, 3, 1], [9, 3, 2], [0, 3, 2]].map(IVec3::from);
        let image = cube(&[], Sight::of_cells(&grid([10, 10, 10]), l));
        let (_, _, body) = pixels(&cube(&[], Sight::default()), COLOURS[PIECE as usize]);
        let (count, _, size) = pixels(&image, COLOURS[SIGNAL as usize]);
        let pixels_a_mm = body[0] / 10.0;
        // Pixels along the rim, ten edges of cells, may be mixed and are not counted then.
        let full = |count: f64, cells: f64, edges: f64| {
            let missing = cells - count / pixels_a_mm.powi(2);
            (-0.01..=edges / pixels_a_mm).contains(&missing)
        };
        assert!(full(count, 4.0, 10.0), "{count}");
        assert!((size[0] - 3.0 * pixels_a_mm).abs() < 2.0 && (size[1] - 2.0 * pixels_a_mm).abs() < 2.0, "{size:?}");
        let piece = Workpiece::default().with_cells(Cells::from_fn(grid([10, 10, 10]), |_| true));
        let hull = piece.hull();
        let body = Body::of(&piece, hull.as_deref()).unwrap();
        for side in Side::ALL {
            let shot = Shot::of(&[], Sight::of_cells(&grid([10, 10, 10]), [IVec3::new(4, 4, 4)]).from(side), &body);
            let (count, ..) = pixels(&shot.image(&body), COLOURS[SIGNAL as usize]);
            assert!(full(count, 1.0, 4.0), "{side}: {count}");
        }
    }

    #[test]
    fn a_picture_is_taken_from_where_most_places_show() {
        // A cup, open above: what lies on its floor shows from the top alone, what lies on its outside from there too.
        let cup = |c: IVec3| c.z == 0 || c.x % 8 == 0 || c.y % 8 == 0;
        let piece = Workpiece::default().with_cells(Cells::from_fn(grid([9, 9, 9]), cup));
        let hull = piece.hull();
        let body = Body::of(&piece, hull.as_deref()).unwrap();
        let shot = |cells: &[[i32; 3]]| {
            let place = |&cell: &[i32; 3]| Place { mm: cell.map(|n| f64::from(n) + 0.5), cell: Some(cell) };
            let places: Vec<Place> = cells.iter().map(place).collect();
            let shot = Shot::of(&places, Sight::default(), &body);
            (shot.side, shot.through)
        };
        assert_eq!(shot(&[[4, 4, 0]]), (Side::Bottom, false), "the floor's own cell shows from both, and lies lower");
        assert_eq!(shot(&[[4, 4, 1], [3, 3, 1]]), (Side::Top, false));
        assert_eq!(shot(&[[0, 4, 4]]), (Side::Left, false));
        assert_eq!(shot(&[[0, 4, 4], [0, 2, 4], [4, 4, 1]]), (Side::Left, true));
        // Shut in on all sides: from the side that is nearest.
        let full = Workpiece::default().with_cells(Cells::from_fn(grid([9, 9, 9]), |_| true));
        let hull = full.hull();
        let body = Body::of(&full, hull.as_deref()).unwrap();
        let place = Place { mm: [4.5, 6.5, 4.5], cell: Some([4, 6, 4]) };
        let shot = Shot::of(&[place], Sight::default(), &body);
        assert_eq!((shot.side, shot.through), (Side::Back, true));
    }

    #[test]
    fn many_places_take_no_more_than_a_dozen_rings() {
        let places: Vec<[f64; 3]> =
            (0..5000).map(|n| [10.0, f64::from(n % 71) / 7.1, f64::from(n % 97) / 9.7]).collect();
        assert_eq!(cube(&places, Sight::default()), cube(&places[..MOST_RINGS], Sight::default()));
    }

    #[test]
    fn names_of_pictures_are_plain() {
        let findings = ["weak-neck", "../Über", "weak-neck"].map(|code| Finding::note(code, "", ""));
        let name = |at: usize| (Name::of(at, &findings).file(Side::Top), Name::of(at, &findings).words());
        assert_eq!(name(2), ("weak-neck-2-top.png".to_owned(), "weak neck 2".to_owned()));
        assert_eq!(name(1).0, "ber-1-top.png");
    }
}
