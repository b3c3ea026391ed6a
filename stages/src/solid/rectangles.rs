//! Faces of one plane and one ink, joined into rectangles; and rectangles in triangles that share their points.
//!
//! Corners are numbers of lines: where line `n` of an axis stands is for whoever asks. Guarantees, for rectangles that
//! together bound a solid and overlap nowhere (checked by the stages that use them, `chain::coupon` and `solid::outside`):
//! every edge lies in exactly two triangles that run along it in opposite directions, unless the solid touches itself in an
//! edge alone; no triangle lacks area; normals look the way the rectangle's side does. There are no T-junctions: a
//! rectangle takes in every corner of others that lies on its edges.

use glam::DVec3;

use crate::Side;
use crate::memo::Weigh;

/// A rectangle of faces, by the numbers of the lines that bound it.
#[derive(Clone, Copy, Debug)]
pub struct Rectangle<I> {
    /// Where it looks.
    pub side: Side,
    /// The line on which it stands, across its side's axis.
    pub plane: u32,
    /// Its low corner, along the two axes after its side's.
    pub low: [u32; 2],
    /// Its high corner.
    pub high: [u32; 2],
    /// What is on it.
    pub ink: I,
}

/// Triangles with shared points, each with its ink.
#[derive(Clone, Debug, PartialEq)]
pub struct Sewn<I> {
    /// Points in mm.
    pub points: Vec<DVec3>,
    /// Triangles, counter-clockwise seen from the air.
    pub triangles: Vec<[u32; 3]>,
    /// For each triangle what is on it.
    pub ink: Vec<I>,
}

impl<I: Send + Sync + 'static> Weigh for Sewn<I> {
    fn bytes(&self) -> usize {
        size_of_val(self.points.as_slice()) + size_of_val(self.triangles.as_slice()) + size_of_val(self.ink.as_slice())
    }
}

/// Takes the faces of a plane, in rows of `width`, away in rectangles of one ink: as wide as possible, then as high. Calls
/// back with the low and the high corner of each.
pub fn join<I: Copy + PartialEq>(faces: &mut [Option<I>], width: usize, mut each: impl FnMut([u32; 2], [u32; 2], I)) {
    for at in 0..faces.len() {
        let Some(ink) = faces[at] else { continue };
        let (u, v) = (at % width, at / width);
        let same = |face: &&Option<I>| **face == Some(ink);
        let wide = faces[at..(v + 1) * width].iter().take_while(same).count();
        let mut high = v + 1;
        while (high + 1) * width <= faces.len()
            && faces[high * width + u..high * width + u + wide].iter().all(|face| *face == Some(ink))
        {
            high += 1;
        }
        for row in v..high {
            faces[row * width + u..row * width + u + wide].fill(None);
        }
        each([u, v].map(|n| n as u32), [u + wide, high].map(|n| n as u32), ink);
    }
}

/// Cuts rectangles into triangles; `place` tells where lines cross, in mm.
pub fn sewn<I: Copy>(rectangles: &[Rectangle<I>], place: impl Fn([u32; 3]) -> DVec3) -> Sewn<I> {
    let corners = Corners::of(rectangles);
    let points = corners.all.iter().map(|&corner| place(corner)).collect();
    let mut sewn = Sewn { points, triangles: Vec::new(), ink: Vec::new() };
    for rectangle in rectangles {
        corners.cut(rectangle, &mut sewn.triangles);
        sewn.ink.resize(sewn.triangles.len(), rectangle.ink);
    }
    sewn
}

impl<I> Rectangle<I> {
    /// The corners as numbers of lines, counter-clockwise seen from the air.
    fn corners(&self) -> [[u32; 3]; 4] {
        let axis = self.side.axis();
        let at = |u: u32, v: u32| {
            let mut corner = [0; 3];
            corner[axis] = self.plane;
            corner[(axis + 1) % 3] = u;
            corner[(axis + 2) % 3] = v;
            corner
        };
        let [low, high] = [self.low, self.high];
        let around = [at(low[0], low[1]), at(high[0], low[1]), at(high[0], high[1]), at(low[0], high[1])];
        if self.side.positive() { around } else { [around[0], around[3], around[2], around[1]] }
    }
}

/// The corners of all rectangles.
struct Corners {
    /// Every corner once, sorted: a corner's place is its number.
    all: Vec<[u32; 3]>,
    /// For each axis the corners, with the coordinate along it last, sorted: those on one line stand together.
    along: [Vec<[u32; 3]>; 3],
}

/// The corner with its coordinate along `axis` last.
fn turned(corner: [u32; 3], axis: usize) -> [u32; 3] {
    [corner[(axis + 1) % 3], corner[(axis + 2) % 3], corner[axis]]
}

fn turned_back(corner: [u32; 3], axis: usize) -> [u32; 3] {
    let mut back = [0; 3];
    back[(axis + 1) % 3] = corner[0];
    back[(axis + 2) % 3] = corner[1];
    back[axis] = corner[2];
    back
}

impl Corners {
    fn of<I>(rectangles: &[Rectangle<I>]) -> Self {
        let mut all: Vec<_> = rectangles.iter().flat_map(Rectangle::corners).collect();
        all.sort_unstable();
        all.dedup();
        let along = [0, 1, 2].map(|axis| {
            let mut along: Vec<_> = all.iter().map(|&corner| turned(corner, axis)).collect();
            along.sort_unstable();
            along
        });
        Self { all, along }
    }

    fn number(&self, corner: [u32; 3]) -> u32 {
        self.all.partition_point(|&other| other < corner) as u32
    }

    /// The corners on the edge from one corner to another, both among them.
    fn edge(&self, from: [u32; 3], to: [u32; 3]) -> Vec<u32> {
        let axis = (0..3).find(|&axis| from[axis] != to[axis]).unwrap_or_default();
        let [a, b] = [turned(from, axis), turned(to, axis)];
        let line = &self.along[axis];
        let first = line.partition_point(|&c| c < a.min(b));
        let on_edge = line[first..].iter().take_while(|&&c| c <= a.max(b));
        let mut numbers: Vec<u32> = on_edge.map(|&c| self.number(turned_back(c, axis))).collect();
        if a > b {
            numbers.reverse();
        }
        numbers
    }

    /// Two ways lead around the rectangle, from one corner to the one across from it. The first triangle takes the corner,
    /// the last one the corner across, and between them each takes a step on one way and looks at the other. All four
    /// sides are straight, and no triangle between has its corners on one of them, so that none lacks area.
    fn cut<I>(&self, rectangle: &Rectangle<I>, triangles: &mut Vec<[u32; 3]>) {
        let [near, right, far, left] = rectangle.corners();
        let way = |over: [u32; 3]| {
            let mut way = self.edge(near, over);
            way.pop();
            way.extend(self.edge(over, far));
            way
        };
        let [a, b] = [way(right), way(left)];
        let (last_a, last_b) = (a.len() - 2, b.len() - 2);
        triangles.push([a[0], a[1], b[1]]);
        let (mut i, mut j) = (1, 1);
        while i < last_a || j < last_b {
            if j == last_b || i < last_a && i * last_b <= j * last_a {
                triangles.push([a[i], a[i + 1], b[j]]);
                i += 1;
            } else {
                triangles.push([a[i], b[j + 1], b[j]]);
                j += 1;
            }
        }
        triangles.push([a[i], a[i + 1], b[j]]);
    }
}
