//! Pictures of a coloured mesh, drawn by the project itself: z-buffered, antialiased, on a transparent ground.
//!
//! All eight standard views are parallel projections at one scale with one margin, so that they can be laid side by
//! side and compared. A view from a side shows each face in its exact sRGB colour; the two corner views are shaded a
//! little by the side, so that the edges of cubes can be told. Where one part stands in front of another, a thin dark
//! line is drawn on the farther one.
//!
//! Steps: `camera` turns points into the picture's own axes and finds the scale; `raster` fills triangles into bands
//! of samples, nearest wins; `resolve` says what each pixel shows, as a `mix` of inks, whose light is averaged. Bands have
//! a fixed height and know nothing of each other, so the bytes do not depend on the number of threads, and memory stays
//! small. Up to there the colours of the inks do not matter: [`Views`] keeps that, and puts colours to it as often as one
//! likes.

mod camera;
mod mix;
mod raster;
mod resolve;
mod stencil;

use std::io::{self, Write};

use glam::DVec3;
use rayon::prelude::*;

use super::ColouredMesh;
use crate::Srgb;
use crate::memo::Weigh;
pub(crate) use camera::MARGIN;
pub use camera::View;
use camera::{Frame, Shot};
use mix::{Mix, Mixes};
use raster::{Band, Triangle};
use stencil::Stencil;

/// Samples along the edge of a pixel; a pixel has its square of them.
const SAMPLES: i32 = 4;

/// Pixel rows in a band.
const BAND_ROWS: usize = 32;

/// The largest edge of a picture in pixels; larger wishes are cut to it.
pub const LARGEST: u32 = 2048;

/// A square picture: sRGB with alpha that is not multiplied in, eight bits a channel.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Image {
    edge: u32,
    rgba: Vec<[u8; 4]>,
}

impl Image {
    /// # Panics
    /// If there are not `edge` rows of `edge` pixels.
    pub(crate) fn new(edge: u32, rgba: Vec<[u8; 4]>) -> Self {
        assert_eq!(rgba.len(), edge as usize * edge as usize, "a square picture");
        Self { edge, rgba }
    }

    /// Pixels along each edge.
    #[must_use]
    pub fn edge(&self) -> u32 {
        self.edge
    }

    /// The pixels as red, green, blue, alpha: row by row from the top left.
    #[must_use]
    pub fn pixels(&self) -> &[[u8; 4]] {
        &self.rgba
    }

    /// Writes the picture as PNG (ISO/IEC 15948). The same picture gives the same bytes.
    ///
    /// # Errors
    /// If the writer fails.
    pub fn write_png(&self, to: &mut dyn Write) -> io::Result<()> {
        let mut encoder = png::Encoder::new(to, self.edge, self.edge);
        encoder.set_color(png::ColorType::Rgba);
        encoder.set_depth(png::BitDepth::Eight);
        encoder.set_source_srgb(png::SrgbRenderingIntent::RelativeColorimetric);
        // Measured on eight views of a ball of 39 000 triangles: 230 kB in 22 ms; with filters 297 kB, and with the fast
        // setting 547 kB in 4 ms. Flat areas have nothing for a filter to find.
        encoder.set_compression(png::Compression::Balanced);
        encoder.set_filter(png::Filter::NoFilter);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(self.rgba.as_flattened())?;
        Ok(writer.finish()?)
    }
}

/// One view of the mesh on a square of `pixels` × `pixels`, at the scale that all standard views share.
///
/// Triangles that look away are not drawn. An empty mesh gives an empty picture. `pixels` is held between 1 and
/// [`LARGEST`].
///
/// # Panics
/// If a triangle names a point or a colour that does not exist.
#[must_use]
pub fn render(mesh: &ColouredMesh<'_>, view: View, pixels: u32) -> Image {
    sketch(mesh, view, &Frame::around(mesh.points, pixels.clamp(1, LARGEST))).in_colours(mesh.colours)
}

/// Where [`render`] of a mesh with these points would draw places of its own, in pixels from the top left.
#[must_use]
pub fn places(points: &[DVec3], view: View, pixels: u32, at: &[DVec3]) -> Vec<[f64; 2]> {
    let frame = Frame::around(points, pixels.clamp(1, LARGEST));
    let shot = Shot::new(view, &frame);
    at.iter().map(|&place| shot.pixel(place)).collect()
}

/// All standard views in the order of [`View::ALL`], drawn on all threads. See [`render`].
///
/// # Panics
/// As [`render`].
#[must_use]
pub fn render_all(mesh: &ColouredMesh<'_>, pixels: u32) -> Vec<(View, Image)> {
    let frame = Frame::around(mesh.points, pixels.clamp(1, LARGEST));
    let draw = |view| (view, sketch(mesh, view, &frame).in_colours(mesh.colours));
    View::ALL.into_par_iter().map(draw).collect()
}

/// The most inks for which [`Views`] are worth while: with more, 256 mixes cannot tell the edges between them.
pub const FEW_INKS: usize = 32;

/// All standard views of a mesh with few inks, whose colours are left open. Of the pixels on edges between inks those that
/// are rarest take the look of another that is much alike, so that a picture has no more than 256 looks: that is some
/// [`View`] as PNG with a palette, of which another set of colours changes nothing but the palette.
#[derive(Debug)]
pub struct Views(Vec<(View, Stencil)>);

impl Views {
    /// Draws the views on all threads. The colours of the mesh do not matter.
    ///
    /// # Panics
    /// As [`render`].
    #[must_use]
    pub fn of(mesh: &ColouredMesh<'_>, pixels: u32) -> Self {
        let frame = Frame::around(mesh.points, pixels.clamp(1, LARGEST));
        Self(View::ALL.into_par_iter().map(|view| (view, Stencil::of(&sketch(mesh, view, &frame)))).collect())
    }

    /// Each view in the order of [`View::ALL`], with what writes it as PNG in these colours.
    ///
    /// # Panics
    /// What writes, if the mesh has an ink for which there is no colour.
    pub fn in_colours(
        &self,
        colours: &[Srgb],
    ) -> impl Iterator<Item = (View, impl Fn(&mut dyn Write) -> io::Result<()>)> {
        self.0.iter().map(move |(view, stencil)| (*view, move |to: &mut dyn Write| stencil.write_png(colours, to)))
    }
}

impl Weigh for Views {
    fn bytes(&self) -> usize {
        self.0.iter().map(|(_, stencil)| stencil.bytes()).sum()
    }
}

/// A picture whose colours are left open.
struct Sketch {
    edge: u32,
    /// What may be seen at a pixel.
    mixes: Vec<Mix>,
    /// Row by row from the top left, the place of what is seen in `mixes`.
    pixels: Vec<u32>,
}

impl Sketch {
    fn in_colours(&self, colours: &[Srgb]) -> Image {
        let rgba: Vec<[u8; 4]> = self.mixes.iter().map(|mix| mix.rgba(colours)).collect();
        Image { edge: self.edge, rgba: self.pixels.iter().map(|&at| rgba[at as usize]).collect() }
    }
}

fn sketch(mesh: &ColouredMesh<'_>, view: View, frame: &Frame) -> Sketch {
    let edge = frame.pixels as usize;
    let drawn = Shot::new(view, frame).drawn(mesh);
    let bins = bins(&drawn.triangles, edge);
    let draw = |band: &mut Band, (at, bin): (usize, &Vec<u32>)| {
        band.clear(at * BAND_ROWS);
        for &t in bin {
            band.fill(&drawn.triangles[t as usize]);
        }
        let (mut mixes, rows) = (Mixes::default(), BAND_ROWS.min(edge - at * BAND_ROWS));
        let mut pixels = vec![0; rows * edge];
        resolve::resolve(band, &drawn.shown, &mut mixes, &mut pixels);
        (mixes, pixels)
    };
    let bands: Vec<(Mixes, Vec<u32>)> =
        bins.par_iter().enumerate().map_init(|| Band::new(edge, BAND_ROWS), draw).collect();

    // From the mixes of each band to those of the picture, in the order of the bands.
    let (mut mixes, mut pixels) = (Mixes::default(), Vec::with_capacity(edge * edge));
    for (of_band, band) in bands {
        let places: Vec<u32> = of_band.met().iter().map(|mix| mixes.place(mix)).collect();
        pixels.extend(band.into_iter().map(|at| places[at as usize]));
    }
    Sketch { edge: frame.pixels, mixes: mixes.into_met(), pixels }
}

/// For each band the triangles that touch it or the rim of one pixel around it.
fn bins(triangles: &[Triangle], edge: usize) -> Vec<Vec<u32>> {
    let mut bins = vec![Vec::new(); edge.div_ceil(BAND_ROWS)];
    for (t, triangle) in triangles.iter().enumerate() {
        let [top, bottom] = triangle.rows();
        let first = ((top / SAMPLES - 1).max(0) as usize / BAND_ROWS).min(bins.len() - 1);
        let last = ((bottom / SAMPLES + 1).max(0) as usize / BAND_ROWS).min(bins.len() - 1);
        for bin in &mut bins[first..=last] {
            bin.push(t as u32);
        }
    }
    bins
}

#[cfg(test)]
mod tests;
