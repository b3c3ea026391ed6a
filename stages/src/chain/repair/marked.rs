//! Pictures of the piece with a place marked on it.
//!
//! The piece is drawn in plain grey, whatever its colours will be; the place has a ring with four ticks around it, and
//! the patch that is meant is drawn in, both in one signal colour. The patch lies in front of the piece, as if one saw
//! through the cubes, and its edges are drawn as lines, so that a sheet seen edge on shows too.

use glam::DVec3;

use super::unconverted::Piece;
use crate::formats::ColouredMesh;
use crate::formats::picture::{self, Image, View};
use crate::solid::skin::outside_faces;
use crate::solid::{Cells, Skin};
use crate::stage::{Halt, Shop};
use crate::{Side, Srgb};

/// Edge of a picture, in pixels.
const PICTURE: u32 = 480;
/// Radius of the ring, as a share of the piece's diagonal.
const RING: f64 = 0.06;
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

/// The piece, ready for places to be marked on it.
pub(super) struct Marked {
    skin: Skin,
}

impl Marked {
    pub(super) fn of(cells: &Cells) -> Self {
        Self { skin: Skin::of(cells, None, &outside_faces(cells, None)) }
    }

    /// Draws the piece from a side with a place and its patch marked, as an artefact; gives the artefact's name.
    pub(super) fn draw(
        &self,
        side: Side,
        place: DVec3,
        patch: &[Piece],
        name: &str,
        what: &str,
        shop: &mut Shop<'_>,
    ) -> Result<String, Halt> {
        let image = self.image(side, place, patch);
        let name = shop.free_name(name);
        shop.artefact(&name, what, |out| image.write_png(out))?;
        Ok(name)
    }

    fn image(&self, side: Side, place: DVec3, patch: &[Piece]) -> Image {
        let view = View::Side(side);
        let mut drawing = Drawing::of(&self.skin, patch, view);
        patch.iter().for_each(|&piece| drawing.patch(piece));
        drawing.ring(place);
        let Drawing { points, triangles, ink, .. } = &drawing;
        let mesh = ColouredMesh { points, triangles, colours: &COLOURS, ink };
        picture::render(&mesh, view, PICTURE)
    }
}

/// The piece and what is drawn in front of it.
struct Drawing {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    ink: Vec<u32>,
    /// To the right of the picture, up in it, and towards the viewer.
    axes: [DVec3; 3],
    /// How near the viewer the nearest point of piece and patch is, in mm.
    front: f64,
    /// The diagonal of the box around piece and patch, in mm.
    diagonal: f64,
}

impl Drawing {
    fn of(skin: &Skin, patch: &[Piece], view: View) -> Self {
        let axes = view.axes();
        let all = skin.points.iter().chain(patch.iter().flatten());
        let bounds = |[low, high]: [DVec3; 2], &p: &DVec3| [low.min(p), high.max(p)];
        let [low, high] = all.clone().fold([DVec3::MAX, DVec3::MIN], bounds);
        let front = all.map(|p| p.dot(axes[2])).fold(f64::MIN, f64::max);
        Self {
            points: skin.points.clone(),
            triangles: skin.triangles.clone(),
            ink: vec![PIECE; skin.triangles.len()],
            axes,
            front,
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

    fn patch(&mut self, piece: Piece) {
        let [a, b, c] = piece.map(|corner| self.lifted(corner, 1.0));
        let facing = (b - a).cross(c - a).dot(self.axes[2]) >= 0.0;
        self.triangle(if facing { [a, b, c] } else { [a, c, b] }, SIGNAL);
        for [from, to] in [[a, b], [b, c], [c, a]] {
            self.line(from, to, LINE, SIGNAL);
        }
    }

    /// A ring with ticks around a place, in the signal colour with a light rim.
    fn ring(&mut self, place: DVec3) {
        let (radius, rim) = (RING * self.diagonal, LINE * self.pixel());
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
            for way in [self.axes[0], -self.axes[0], self.axes[1], -self.axes[1]] {
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

    #[test]
    fn the_ring_lies_where_the_place_is() {
        // A cube of 10 mm, and places on its right side: y runs to the right there, and z up.
        let marked = Marked::of(&Cells::from_fn(grid([10, 10, 10]), |_| true));
        let at = |y: f64, z: f64| marked.image(Side::Right, DVec3::new(10.0, y, z), &[]);
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
        let marked = Marked::of(&Cells::from_fn(grid([10, 10, 10]), |_| true));
        let place = DVec3::new(10.0, 2.0, 2.0);
        let (ring, ..) = pixels(&marked.image(Side::Right, place, &[]), COLOURS[SIGNAL as usize]);
        let (_, _, body) = pixels(&marked.image(Side::Right, place, &[]), COLOURS[PIECE as usize]);
        let full = [[3.0, 5.0, 5.0], [3.0, 9.0, 5.0], [3.0, 5.0, 9.0]].map(DVec3::from);
        let turned = [full[0], full[2], full[1]];
        let edge_on = [[3.0, 8.0, 5.0], [7.0, 8.0, 5.0], [3.0, 8.0, 9.0]].map(DVec3::from);
        let square_mm = (body[0] / 10.0).powi(2);
        for (piece, area, slack) in [(full, 8.0, 1.0), (turned, 8.0, 1.0), (edge_on, 0.1, 0.25)] {
            let (all, ..) = pixels(&marked.image(Side::Right, place, &[piece]), COLOURS[SIGNAL as usize]);
            let shown = (all - ring) / square_mm;
            assert!(shown > 0.0 && (shown - area).abs() < slack, "{shown} mm² for {area}");
        }
    }
}
