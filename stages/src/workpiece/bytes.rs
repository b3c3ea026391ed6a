//! The parts of a workpiece as bytes, and back, for whoever keeps what a stage made.
//!
//! Little-endian throughout. Each part begins with [`FORM`] in two bytes and its letter in two more; what follows fills
//! the rest to the last byte. Counts have eight bytes, lengths in mm are `f64` with every bit kept, and nothing can be
//! written in two ways, so equal parts have equal bytes and the other way round.
//!
//! | part | letter | what follows |
//! | --- | --- | --- |
//! | surface | `S` | counts of points and triangles; points; triangles |
//! | cells | `C` | solid |
//! | void | `V` | shafts and cavity as solids; lattice cells along a cell; wall; openings; moved corners |
//! | paint | `P` | colours; faces; ink of each; colours of the sides and the inside; guard |
//! | division | `D` | for each part: its box; its cells as a solid; its void, if it has one; its paint; pins and sockets |
//! | mounts | `M` | the numbers of [`Mounts`] in order; its bodies, each with its name and a surface |
//!
//! A solid is a grid (origin, cell, counts) and its cells: for each 64 words of them a mask of those that differ from the
//! word one line before, then these. So long as a line is like the one before, as in a solid they mostly are, it costs a
//! bit a word. The file to order is only a name, and has no bytes of its own.
//!
//! Guarantees: reading takes no memory that the bytes do not warrant (a solid at most 65 times its bytes), refuses what no
//! piece can be with a reason, and never panics.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use glam::{DVec2, DVec3, IVec3};

use super::{Part, Workpiece};
use crate::division::{Division, Peg, PegKind, Segment};
use crate::mounts::{Mount, Mounts, Swept};
use crate::paint::{Guard, GuardOn, Paint};
use crate::solid::{Cells, Face, Grid, Surface};
use crate::void::{Opening, Void};
use crate::{Side, Six, Srgb};

/// The version of the form. Raised when the same bytes would mean another part.
pub const FORM: u16 = 1;

/// Why bytes are not a part: a fragment that completes "could not read a part:".
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unsound(String);

impl fmt::Display for Unsound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Unsound {}

impl From<String> for Unsound {
    fn from(reason: String) -> Self {
        Self(reason)
    }
}

fn unsound<T>(reason: impl Into<String>) -> Result<T, Unsound> {
    Err(Unsound(reason.into()))
}

impl Workpiece {
    /// A part as bytes; `None` if it is not there, or is the file to order, which lies on disk. Paint whose faces are those
    /// of the hull says so rather than list them.
    #[must_use]
    pub fn to_bytes(&self, part: Part) -> Option<Vec<u8>> {
        let mut out = Writer(FORM.to_le_bytes().to_vec());
        out.0.extend([letter(part)?, 0]);
        match part {
            Part::Surface => out.surface(self.surface()?),
            Part::Cells => out.solid(self.cells()?),
            Part::Void => out.void(self.void()?),
            Part::Paint => {
                let paint = self.paint()?;
                out.paint(paint, self.is_on_hull(paint));
            }
            Part::Division => out.division(self.division()?),
            Part::Mounts => out.mounts(self.mounts()?),
            Part::Order => return None,
        }
        Some(out.0)
    }

    /// The piece with a part that [`Self::to_bytes`] wrote. Parts that are made from it are gone then, so they are given in
    /// the order of [`Part::ALL`]. Paint whose faces are those of the hull makes the hull.
    ///
    /// # Errors
    /// [`Unsound`] if the bytes are not that part, or do not fit the parts that are there.
    pub fn with_bytes(self, part: Part, bytes: &[u8]) -> Result<Self, Unsound> {
        let Some(letter) = letter(part) else { return unsound(format!("{part} has no bytes of its own")) };
        let mut bytes = Reader(bytes);
        let form = u16::from_le_bytes(bytes.array()?);
        if form != FORM {
            return unsound(format!("it has form {form}, and this program reads form {FORM}"));
        }
        if bytes.array()? != [letter, 0] {
            return unsound(format!("it is not {part}"));
        }
        let piece = match part {
            Part::Surface => self.with_surface(bytes.surface()?),
            Part::Cells => self.with_cells(bytes.solid()?),
            Part::Void => {
                let void = bytes.void()?;
                if self.cells().is_none_or(|cells| cells.grid() != void.shafts.grid()) {
                    return unsound("its shafts lie on another grid than the cells");
                }
                self.with_void(void)
            }
            Part::Paint => {
                let piece = self;
                let paint = bytes.paint(&piece)?;
                piece.with_paint(paint)
            }
            Part::Division => {
                let division = bytes.division(self.cells())?;
                self.with_division(division)
            }
            Part::Mounts => self.with_mounts(bytes.mounts()?),
            Part::Order => self,
        };
        if bytes.0.is_empty() { Ok(piece) } else { unsound(format!("{} bytes too many follow it", bytes.0.len())) }
    }
}

impl Workpiece {
    /// Whether paint lies on the very faces of the hull.
    fn is_on_hull(&self, paint: &Paint) -> bool {
        self.hull.get().is_some_and(|hull| Arc::ptr_eq(&hull.faces, &paint.faces))
    }
}

fn letter(part: Part) -> Option<u8> {
    match part {
        Part::Surface => Some(b'S'),
        Part::Cells => Some(b'C'),
        Part::Void => Some(b'V'),
        Part::Paint => Some(b'P'),
        Part::Division => Some(b'D'),
        Part::Mounts => Some(b'M'),
        Part::Order => None,
    }
}

/// How the faces of paint are given.
const LISTED: u8 = 0;
const OF_THE_HULL: u8 = 1;

/// Whether a part of a division has a void.
const SOLID: u8 = 0;
const HOLLOW: u8 = 1;

/// What a peg is.
const PIN: u8 = 0;
const SOCKET: u8 = 1;

/// How the guard is given.
const NO_GUARD: u8 = 0;
const ON_BOTH: u8 = 1;
const ON_STRONGER: u8 = 2;

/// Words of cells under one mask.
const GROUP: usize = 64;

/// A grid without cells has no bytes to warrant its lines, which others walk along; it has no more along an axis.
const LARGEST_EMPTY: i32 = 1000;

/// No peg takes more cube faces along an edge.
const LARGEST_PEG: i32 = 1000;

/// Sizes in bytes.
const POINT: usize = 24;
const TRIANGLE: usize = 12;
const OPENING: usize = 1 + 2 * POINT;
const MOVED: usize = 12 + POINT;
const FACE: usize = 13;
const COLOUR: usize = 3;
const INK: usize = 4;
const PEG: usize = 1 + 1 + 3 * 4 + 4 + 2 * 8;
/// What a part of a division has at least: its box, the grid of its cells, the word on its void, counts.
const SEGMENT: usize = 12 + 44 + 1 + 24;

struct Writer(Vec<u8>);

impl Writer {
    fn count(&mut self, count: usize) {
        self.0.extend((count as u64).to_le_bytes());
    }

    fn number(&mut self, number: f64) {
        self.0.extend(number.to_bits().to_le_bytes());
    }

    fn point(&mut self, point: DVec3) {
        let mut bytes = [0; POINT];
        for (to, from) in bytes.chunks_exact_mut(8).zip(point.to_array()) {
            to.copy_from_slice(&from.to_bits().to_le_bytes());
        }
        self.0.extend(bytes);
    }

    fn place(&mut self, place: [i32; 3]) {
        place.iter().for_each(|n| self.0.extend(n.to_le_bytes()));
    }

    fn surface(&mut self, surface: &Surface) {
        self.count(surface.points().len());
        self.count(surface.triangles().len());
        self.0.reserve(surface.points().len() * POINT + surface.triangles().len() * TRIANGLE);
        surface.points().iter().for_each(|&point| self.point(point));
        surface.triangles().iter().flatten().for_each(|corner| self.0.extend(corner.to_le_bytes()));
    }

    fn solid(&mut self, cells: &Cells) {
        let grid = cells.grid();
        self.point(grid.origin);
        self.number(grid.cell);
        self.place(grid.counts.to_array());
        let (words, line) = (cells.words(), words_a_line(grid));
        for (group, of_group) in words.chunks(GROUP).enumerate() {
            let mask_at = self.0.len();
            self.0.extend([0; 8]);
            let mut mask = 0_u64;
            for (bit, &word) in of_group.iter().enumerate() {
                if word != before(words, group * GROUP + bit, line) {
                    mask |= 1 << bit;
                    self.0.extend(word.to_le_bytes());
                }
            }
            self.0[mask_at..mask_at + 8].copy_from_slice(&mask.to_le_bytes());
        }
    }

    fn void(&mut self, void: &Void) {
        self.solid(&void.shafts);
        self.solid(&void.cavity);
        self.0.extend(void.per_cell.to_le_bytes());
        self.number(void.wall);
        self.count(void.openings.len());
        for opening in &void.openings {
            self.0.push(opening.side as u8);
            self.point(opening.low);
            self.point(opening.high);
        }
        self.count(void.moved.len());
        self.0.reserve(void.moved.len() * MOVED);
        for (&corner, &place) in &void.moved {
            self.place(corner);
            self.point(place);
        }
    }

    fn paint(&mut self, paint: &Paint, of_hull: bool) {
        self.count(paint.colours.len());
        paint.colours.iter().for_each(|colour| self.0.extend(colour.0));
        self.0.push(if of_hull { OF_THE_HULL } else { LISTED });
        self.count(paint.faces.len());
        if of_hull {
            self.0.extend(mark(&paint.faces).to_le_bytes());
        } else {
            paint.faces.iter().for_each(|face| self.face(face));
        }
        self.0.reserve(paint.ink.len() * INK);
        paint.ink.iter().for_each(|ink| self.0.extend(ink.to_le_bytes()));
        paint.sides.0.iter().for_each(|colour| self.0.extend(colour.0));
        self.0.extend(paint.inside.0);
        match paint.guard {
            None => self.0.push(NO_GUARD),
            Some(guard) => {
                self.0.push(if guard.on == GuardOn::Both { ON_BOTH } else { ON_STRONGER });
                self.number(guard.width);
            }
        }
    }

    fn division(&mut self, division: &Division) {
        self.count(division.segments.len());
        for segment in &division.segments {
            self.place(segment.home.to_array());
            self.solid(segment.cells());
            match segment.void() {
                None => self.0.push(SOLID),
                Some(void) => {
                    self.0.push(HOLLOW);
                    self.void(void);
                }
            }
            self.paint(segment.paint(), segment.piece().is_on_hull(segment.paint()));
            self.count(segment.pegs.len());
            segment.pegs.iter().for_each(|peg| self.peg(peg));
        }
    }

    fn peg(&mut self, peg: &Peg) {
        self.0.extend([if peg.kind == PegKind::Pin { PIN } else { SOCKET }, peg.side as u8]);
        self.place(peg.low.to_array());
        self.0.extend(peg.across.to_le_bytes());
        self.number(peg.width);
        self.number(peg.depth);
    }

    fn text(&mut self, text: &str) {
        self.count(text.len());
        self.0.extend(text.as_bytes());
    }

    fn mounts(&mut self, mounts: &Mounts) {
        mounts.numbers().into_iter().for_each(|number| self.number(number));
        self.count(mounts.bodies.len());
        for body in &mounts.bodies {
            self.text(&body.name);
            self.text(&body.what);
            self.surface(&body.surface);
        }
    }

    fn face(&mut self, face: &Face) {
        self.place(face.cell.to_array());
        self.0.push(face.side as u8);
    }
}

fn words_a_line(grid: &Grid) -> usize {
    (grid.counts.x as usize).div_ceil(64)
}

/// The word one line before.
fn before(words: &[u64], at: usize, line: usize) -> u64 {
    at.checked_sub(line).map_or(0, |at| words[at])
}

/// Tells lists of faces apart: FNV-1a (Fowler, Noll & Vo; RFC 9923) over their places and sides. Guards against a program
/// that would list the same faces in another order, not against malice, which digests of the whole are for.
fn mark(faces: &[Face]) -> u64 {
    const OFFSET: u64 = 0xcbf2_9ce4_8422_2325;
    const PRIME: u64 = 0x0000_0100_0000_01b3;
    let mix = |mark: u64, word: i32| (mark ^ u64::from(word.cast_unsigned())).wrapping_mul(PRIME);
    faces.iter().fold(OFFSET, |mark, face| face.cell.to_array().into_iter().chain([face.side as i32]).fold(mark, mix))
}

struct Reader<'a>(&'a [u8]);

impl<'a> Reader<'a> {
    fn take(&mut self, count: usize) -> Result<&'a [u8], Unsound> {
        let Some((taken, rest)) = self.0.split_at_checked(count) else {
            return unsound(format!("it ends {} bytes too early", count - self.0.len()));
        };
        self.0 = rest;
        Ok(taken)
    }

    fn array<const N: usize>(&mut self) -> Result<[u8; N], Unsound> {
        let mut array = [0; N];
        array.copy_from_slice(self.take(N)?);
        Ok(array)
    }

    /// A count of things of `size` bytes each that follow, at once or later.
    fn count(&mut self, size: usize) -> Result<usize, Unsound> {
        let count = u64::from_le_bytes(self.array()?);
        match usize::try_from(count).ok().filter(|count| count.checked_mul(size).is_some_and(|n| n <= self.0.len())) {
            Some(count) => Ok(count),
            None => unsound(format!("it promises {count} of {size} bytes each, and {} bytes follow", self.0.len())),
        }
    }

    fn number(&mut self) -> Result<f64, Unsound> {
        let number = f64::from_bits(u64::from_le_bytes(self.array()?));
        if number.is_finite() { Ok(number) } else { unsound(format!("{number} is no length")) }
    }

    fn point(&mut self) -> Result<DVec3, Unsound> {
        Ok(DVec3::new(self.number()?, self.number()?, self.number()?))
    }

    fn place(&mut self) -> Result<[i32; 3], Unsound> {
        Ok([self.whole()?, self.whole()?, self.whole()?])
    }

    fn whole(&mut self) -> Result<i32, Unsound> {
        Ok(i32::from_le_bytes(self.array()?))
    }

    fn side(&mut self) -> Result<Side, Unsound> {
        let [side] = self.array()?;
        Side::ALL.get(usize::from(side)).copied().ok_or_else(|| Unsound(format!("there is no side {side}")))
    }

    fn colour(&mut self) -> Result<Srgb, Unsound> {
        self.array().map(Srgb)
    }

    fn surface(&mut self) -> Result<Surface, Unsound> {
        let points = self.count(POINT)?;
        let triangles = self.count(TRIANGLE)?;
        let points = self.take(points.saturating_mul(POINT))?.chunks_exact(POINT).map(point_of).collect();
        let triangles =
            self.take(triangles.saturating_mul(TRIANGLE))?.chunks_exact(TRIANGLE).map(triangle_of).collect();
        Ok(Surface::new(points, triangles)?)
    }

    fn solid(&mut self) -> Result<Cells, Unsound> {
        let grid = Grid { origin: self.point()?, cell: self.number()?, counts: IVec3::from_array(self.place()?) };
        if grid.counts.cmplt(IVec3::ZERO).any() {
            return unsound(format!("a grid of {} cells makes no sense", grid.counts));
        }
        if grid.counts.min_element() == 0 && grid.counts.max_element() > LARGEST_EMPTY {
            return unsound(format!("a grid of {} cells has none, and is too large for that", grid.counts));
        }
        let line = words_a_line(&grid);
        let counts = [grid.counts.y as usize, grid.counts.z as usize];
        let total = counts.iter().try_fold(line, |n, &m| n.checked_mul(m));
        let Some(total) = total.filter(|total| total.div_ceil(GROUP).checked_mul(8).is_some_and(|n| n <= self.0.len()))
        else {
            return unsound(format!("a grid of {} cells is larger than what follows", grid.counts));
        };
        let mut words: Vec<u64> = Vec::with_capacity(total);
        while words.len() < total {
            let in_group = GROUP.min(total - words.len());
            let mask = u64::from_le_bytes(self.array()?);
            if in_group < GROUP && mask >> in_group != 0 {
                return unsound("a mask reaches past the end of its solid");
            }
            for bit in 0..in_group {
                let like = before(&words, words.len(), line);
                let word = if mask >> bit & 1 == 0 { like } else { u64::from_le_bytes(self.array()?) };
                if mask >> bit & 1 == 1 && word == like {
                    return unsound("a word is written that is like the one before");
                }
                words.push(word);
            }
        }
        Ok(Cells::from_words(grid, words)?)
    }

    fn void(&mut self) -> Result<Void, Unsound> {
        let (shafts, cavity) = (self.solid()?, self.solid()?);
        let per_cell = self.whole()?;
        if per_cell < 1 {
            return unsound(format!("a cell cannot be cut {per_cell} times"));
        }
        let fine = shafts.grid().counts.to_array().map(|n| n.checked_mul(per_cell));
        if fine != cavity.grid().counts.to_array().map(Some) {
            return unsound("its cavity lies on another lattice than that of its cells cut");
        }
        let wall = self.number()?;
        let openings = self.count(OPENING)?;
        let opening = |_| Ok(Opening { side: self.side()?, low: self.point()?, high: self.point()? });
        let openings = (0..openings).map(opening).collect::<Result<_, Unsound>>()?;
        let moved = self.count(MOVED)?;
        let moved = (0..moved).map(|_| Ok((self.place()?, self.point()?))).collect::<Result<Vec<_>, Unsound>>()?;
        if !moved.is_sorted_by(|(a, _), (b, _)| a < b) {
            return unsound("moved corners are out of order");
        }
        Ok(Void { shafts, openings, cavity, per_cell, moved: BTreeMap::from_iter(moved), wall })
    }

    /// A division of a piece with these cells.
    fn division(&mut self, whole: Option<&Cells>) -> Result<Division, Unsound> {
        let segments = self.count(SEGMENT)?;
        let segments = (0..segments).map(|_| self.segment(whole)).collect::<Result<_, Unsound>>()?;
        Ok(Division { segments })
    }

    fn segment(&mut self, whole: Option<&Cells>) -> Result<Segment, Unsound> {
        let home = IVec3::from_array(self.place()?);
        let cells = self.solid()?;
        if whole.is_none_or(|whole| whole.grid() != cells.grid()) {
            return unsound("its parts lie on another grid than the cells");
        }
        let piece = Workpiece::default().with_cells(cells);
        let piece = match self.array()? {
            [SOLID] => piece,
            [HOLLOW] => {
                let void = self.void()?;
                if piece.cells().is_none_or(|cells| cells.grid() != void.shafts.grid()) {
                    return unsound("the shafts of a part lie on another grid than its cells");
                }
                piece.with_void(void)
            }
            [other] => return unsound(format!("a part is neither solid nor hollow, but {other}")),
        };
        let paint = self.paint(&piece)?;
        let pegs = self.count(PEG)?;
        let pegs = (0..pegs).map(|_| self.peg()).collect::<Result<_, Unsound>>()?;
        Ok(Segment::new(home, piece.with_paint(paint), pegs))
    }

    fn peg(&mut self) -> Result<Peg, Unsound> {
        let kind = match self.array()? {
            [PIN] => PegKind::Pin,
            [SOCKET] => PegKind::Socket,
            [other] => return unsound(format!("there is no peg of kind {other}")),
        };
        let (side, low, across) = (self.side()?, IVec3::from_array(self.place()?), self.whole()?);
        // Beyond, the squares of its faces would not be counted by 32 bits; no seam is so wide.
        if !(1..=LARGEST_PEG).contains(&across) || low.abs().max_element() > i32::MAX / 2 {
            return unsound(format!("a peg cannot lie in {across} faces from {low} on"));
        }
        Ok(Peg { kind, side, low, across, width: self.number()?, depth: self.number()? })
    }

    fn text(&mut self) -> Result<String, Unsound> {
        let length = self.count(1)?;
        String::from_utf8(self.take(length)?.to_vec()).or_else(|_| unsound("a name is not UTF-8"))
    }

    fn mounts(&mut self) -> Result<Mounts, Unsound> {
        let mut number = || self.number();
        let axis = DVec2::new(number()?, number()?);
        let (foot, rest, hub, hub_end) = (number()?, number()?, number()?, number()?);
        let swept = Swept { radius: number()?, low: number()?, high: number()? };
        let (mass, torque, base) = (number()?, number()?, number()?);
        let bodies = self.count(2 * 8 + 2 * 8)?;
        let body = |_| Ok(Mount { name: self.text()?, what: self.text()?, surface: self.surface()? });
        let bodies = (0..bodies).map(body).collect::<Result<_, Unsound>>()?;
        Ok(Mounts { axis, foot, rest, hub, hub_end, swept, mass, torque, base, bodies })
    }

    /// Paint, on the hull of the piece where it says so.
    fn paint(&mut self, piece: &Workpiece) -> Result<Paint, Unsound> {
        let colours = self.count(COLOUR)?;
        let colours: Vec<Srgb> = (0..colours).map(|_| self.colour()).collect::<Result<_, _>>()?;
        let faces = self.faces(piece)?;
        let ink = self.take(faces.len().saturating_mul(INK))?;
        let ink: Vec<u32> = ink.chunks_exact(INK).map(|b| u32::from_le_bytes([b[0], b[1], b[2], b[3]])).collect();
        if ink.iter().any(|&ink| ink as usize >= colours.len()) {
            return unsound(format!("a face has an ink that is none of its {} colours", colours.len()));
        }
        let mut sides = [Srgb([0; 3]); 6];
        for side in &mut sides {
            *side = self.colour()?;
        }
        let inside = self.colour()?;
        Ok(Paint { colours, faces, ink, sides: Six(sides), inside, guard: self.guard()? })
    }

    fn faces(&mut self, piece: &Workpiece) -> Result<Arc<[Face]>, Unsound> {
        match self.array()? {
            [LISTED] => {
                let faces = self.count(FACE + INK)?;
                let face = |_| Ok(Face { cell: IVec3::from_array(self.place()?), side: self.side()? });
                (0..faces).map(face).collect()
            }
            [OF_THE_HULL] => {
                let (count, marked) = (self.count(INK)?, u64::from_le_bytes(self.array()?));
                match piece.hull() {
                    Some(hull) if hull.faces.len() == count && mark(&hull.faces) == marked => {
                        Ok(Arc::clone(&hull.faces))
                    }
                    _ => unsound("it was laid on other faces than the piece has"),
                }
            }
            [other] => unsound(format!("there is no way {other} to give faces")),
        }
    }

    fn guard(&mut self) -> Result<Option<Guard>, Unsound> {
        let on = match self.array()? {
            [NO_GUARD] => return Ok(None),
            [ON_BOTH] => GuardOn::Both,
            [ON_STRONGER] => GuardOn::Stronger,
            [other] => return unsound(format!("there is no guard of kind {other}")),
        };
        Ok(Some(Guard { width: self.number()?, on }))
    }
}

/// From [`POINT`] bytes; whether they are finite is for the surface to say.
fn point_of(bytes: &[u8]) -> DVec3 {
    let number = |at: usize| {
        let mut number = [0; 8];
        number.copy_from_slice(&bytes[at..at + 8]);
        f64::from_bits(u64::from_le_bytes(number))
    };
    DVec3::new(number(0), number(8), number(16))
}

/// From [`TRIANGLE`] bytes.
fn triangle_of(bytes: &[u8]) -> [u32; 3] {
    [0, 4, 8].map(|at| u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]]))
}
