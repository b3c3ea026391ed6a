//! Reads a model in any of the formats that people have: STL, PLY, OBJ, 3MF, glTF.
//!
//! What a file is shows in its content; its name decides only where the content leaves it open. Every reader keeps to
//! the same rules:
//!
//! - Corners with equal coordinates become one point, across bodies too: the seams along which OBJ and glTF part their
//!   vertices close again. Nothing else is merged, moved or left out.
//! - Polygons are cut into triangles; what is no surface (points, lines) is passed over, with a note.
//! - No other file is opened but the buffers of a glTF file, through [`Beside`], by a plain name. Nothing is fetched.
//! - A file is taken as hostile: what it promises is compared with what it holds before memory is taken, what it uses
//!   over and over is counted before it is placed, and what it nests is followed without recursion or to a set depth.
//!   Memory stays within a small multiple of the file's size, and [`MOST_REPEATED`] triangles.
//!
//! Messages complete "could not read the model:", are one line, and say what to do.

mod bodies;
mod builder;
mod content;
mod gltf;
mod obj;
mod ply;
mod polygon;

#[cfg(test)]
mod tests;

pub use bodies::{Body, Choice};
pub(super) use builder::{Builder, Gathered, Vertices};
pub use content::Format;

use glam::DVec3;

use super::{stl, threemf};
use crate::solid::Surface;
use bodies::Parts;

/// Hands out the bytes of a file that lies beside the model, by its name: no folders, no address.
pub type Beside<'a> = &'a mut dyn FnMut(&str) -> Result<Vec<u8>, String>;

/// Most triangles that a file may come to by using a part of itself more than once. What a file writes out in full has
/// no limit but its size.
pub const MOST_REPEATED: u64 = 4_000_000;

/// Longest message or note, in characters: a file's own words within it may be as long as the file.
const LONGEST_LINE: usize = 240;

/// The unit in which a file's numbers are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FileUnit {
    /// Micrometres.
    Micrometre,
    /// Millimetres.
    Millimetre,
    /// Centimetres.
    Centimetre,
    /// Metres.
    Metre,
    /// Inches of 25.4 mm.
    Inch,
    /// Feet of 304.8 mm.
    Foot,
}

/// How a format says that its models stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stance {
    /// +z up, the front faces −y: 3MF.
    ZUp,
    /// +y up, the front faces +z: glTF.
    YUp,
}

/// A model as its file holds it.
#[derive(Debug)]
pub struct Model {
    /// What the file turned out to be.
    pub format: Format,
    /// The unit, where the format says it.
    pub unit: Option<FileUnit>,
    /// How it stands, where the format says it.
    pub stance: Option<Stance>,
    /// What was passed over or taken another way than the file may mean it, a line each.
    pub notes: Vec<String>,
    parts: Parts,
    surface: Surface,
}

impl Model {
    /// The bodies, in the order of the file: what the format keeps apart where it does (solids of a text STL, objects
    /// of an OBJ or else its groups, items of a 3MF's build, nodes of a glTF's scene), and where there is one of those
    /// or none, the pieces that share no point, by their first triangle.
    #[must_use]
    pub fn bodies(&self) -> Vec<Body> {
        self.parts.describe(&self.surface)
    }

    /// Whether the format itself keeps several bodies apart.
    #[must_use]
    pub fn keeps_bodies_apart(&self) -> bool {
        self.parts.are_kept_apart()
    }

    /// The same model with every point mapped. The map must keep coordinates finite.
    #[must_use]
    pub fn mapped(self, map: impl Fn(DVec3) -> DVec3) -> Self {
        Self { surface: self.surface.mapped(map), ..self }
    }

    /// All of its surface.
    #[must_use]
    pub fn surface(&self) -> &Surface {
        &self.surface
    }

    /// The surface of the bodies that are asked for.
    ///
    /// # Errors
    /// A plain message if a body is asked for that is not there.
    pub fn into_surface(self, choice: &Choice) -> Result<Surface, String> {
        self.parts.choose(self.surface, choice)
    }
}

/// The pieces of a surface that share no point, by their first triangle: the bodies of a model whose format keeps none
/// apart.
#[must_use]
pub fn pieces(surface: &Surface) -> Vec<Body> {
    Parts::Together(None).describe(surface)
}

/// What a reader finds beside the triangles.
#[derive(Debug, Default)]
pub(super) struct About {
    pub(super) unit: Option<FileUnit>,
    pub(super) stance: Option<Stance>,
    pub(super) notes: Vec<String>,
}

impl About {
    /// A note that so many things were passed over, if any were.
    pub(super) fn passed_over(&mut self, count: usize, one: &str, many: &str) {
        match count {
            0 => {}
            1 => self.notes.push(format!("1 {one} was passed over")),
            count => self.notes.push(format!("{count} {many} were passed over")),
        }
    }
}

/// Reads a model from the bytes of a file called `name`. `beside` is asked for what a glTF file names, and for nothing
/// else.
///
/// # Errors
/// A message of one line that completes "could not read the model:" and says what to do.
pub fn read(bytes: &[u8], name: &str, beside: Beside<'_>) -> Result<Model, String> {
    read_within(bytes, name, beside, MOST_REPEATED)
}

/// As [`read`], with a limit of the caller's in place of [`MOST_REPEATED`].
///
/// # Errors
/// As there.
pub fn read_within(bytes: &[u8], name: &str, beside: Beside<'_>, repeated: u64) -> Result<Model, String> {
    read_any(bytes, name, beside, repeated).map_err(|message| in_one_line(&message))
}

fn read_any(bytes: &[u8], name: &str, beside: Beside<'_>, repeated: u64) -> Result<Model, String> {
    let format = Format::of(bytes, name)?;
    // A triangle takes 50 bytes in a binary STL or about as many in text, far fewer elsewhere. What is written out in
    // full is limited by the size; a byte a triangle is less than any format takes.
    let mut builder = Builder::new(repeated.max(bytes.len() as u64));
    let about = match format {
        Format::Stl => stl::read_into(bytes, &mut builder),
        Format::Ply => ply::read(bytes, &mut builder),
        Format::Obj => obj::read(bytes, &mut builder),
        Format::ThreeMf => threemf::model::read(bytes, &mut builder),
        Format::Gltf => gltf::read(bytes, &mut builder, beside),
    }?;
    let Gathered { points, triangles, names, runs } = builder.finish();
    if triangles.is_empty() {
        return Err(format!("the {format} file holds no triangles; export the model again"));
    }
    let mut notes: Vec<String> = format.belies(name).into_iter().chain(about.notes).collect();
    notes.iter_mut().for_each(|note| *note = in_one_line(note));
    let surface = Surface::new(points, triangles)?;
    let parts = Parts::of(names, runs);
    Ok(Model { format, unit: about.unit, stance: about.stance, notes, parts, surface })
}

/// A message quotes the file, in which a name may hold line ends and be as long as the file.
fn in_one_line(message: &str) -> String {
    let mut line: String = message.chars().take(LONGEST_LINE).map(|c| if c.is_control() { ' ' } else { c }).collect();
    if message.chars().nth(LONGEST_LINE).is_some() {
        line.push('…');
    }
    line
}

/// A word of a file as it can be quoted: short, and nothing in it that a terminal obeys.
pub(super) fn quoted(word: &[u8]) -> String {
    String::from_utf8_lossy(word).chars().filter(|c| !c.is_control()).take(40).collect()
}
