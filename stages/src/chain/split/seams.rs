//! Where parts meet, and the pins and sockets that hold them there.
//!
//! Parts are joined along x first, then y, then z: two parts slide together along the last axis along which their boxes
//! differ, and pins stand along that axis only. Pins stand on the part with the lower box; a socket is wider and deeper than
//! its pin by the clearance on every side. The two pins of a seam lie as far apart as they find room and differ in width, so
//! that parts cannot be joined half turned.
//!
//! A peg lies in the middle of a square of cells. That square, a ring of cells around it and the cells behind must be solid
//! and no part of an opening's shaft. When a part is hollowed, the square's cells count as outside down to the depth of the
//! peg ([`Seam::bosses`]), so that the wall of the cavity runs around them.

use std::collections::BTreeMap;

use glam::{DVec3, IVec3};

use super::Pins;
use super::bodies::Body;
use crate::division::{Peg, PegKind};
use crate::process::Process;
use crate::solid::{Cells, Grid};
use crate::stage::Misfit;
use crate::{Length, Side};

/// The sizes of pins and sockets in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Measures {
    /// Widths of the two pins of a seam.
    pub(super) widths: [f64; 2],
    /// How far they stand out.
    pub(super) height: f64,
    /// Gap between pin and socket.
    pub(super) clearance: f64,
    /// What the process holds.
    detail: f64,
    minimum_wall: f64,
}

/// Width of the wider pin where nobody says otherwise, in mm (common practice, no source).
const WIDTH: f64 = 4.0;
/// Gap where the process says none (common practice, no source).
const CLEARANCE: f64 = 0.3;
/// The narrower pin by the wider one.
const NARROWER: f64 = 0.7;
/// Wider pins, and longer ones, hold nothing better.
const LARGEST: f64 = 50.0;

impl Measures {
    /// What the settings and the process make of it.
    pub(super) fn of(pins: &Pins, process: &Process) -> Result<Self, Misfit> {
        let minimum_wall = process.minimum_wall.value.mm();
        let detail = process.detail.value.mm();
        let stated = process.clearance.as_ref().map_or(CLEARANCE, |figure| figure.value.mm());
        let clearance = pins.clearance.map_or(stated, Length::mm);
        let width = pins.width.map_or(WIDTH.max(2.0 * minimum_wall), Length::mm);
        let height = pins.height.map_or(width, Length::mm);
        let wrong = |setting: &str, message: String, remedy: String| {
            Err(Misfit::new(format!("pins.{setting}"), message, remedy))
        };
        if !(0.0..=LARGEST / 10.0).contains(&clearance) {
            let remedy = "write 0.3 mm, or what a `coupon` showed".to_owned();
            return wrong("clearance", format!("a clearance of {clearance} mm holds nothing"), remedy);
        }
        if !(minimum_wall..=LARGEST).contains(&width) {
            let message = format!(
                "pins of {width} mm are narrower than the process's smallest wall ({minimum_wall} mm), or absurd"
            );
            return wrong("width", message, format!("write {} mm", WIDTH.max(2.0 * minimum_wall)));
        }
        if !(detail.max(2.0 * clearance)..=LARGEST).contains(&height) {
            let message = format!("pins of {height} mm do not stand out far enough to hold, or are absurd");
            return wrong("height", message, "write 4 mm".to_owned());
        }
        // The wider pin must not go into the socket of the narrower one.
        let narrow = (NARROWER * width).max(minimum_wall);
        if width < narrow + 2.0 * clearance + detail / 2.0 {
            let least = Length::from_mm(
                (minimum_wall + 2.0 * clearance + detail / 2.0)
                    .max((2.0 * clearance + detail / 2.0) / (1.0 - NARROWER)),
            );
            let message =
                format!("a pin of {width} mm cannot be told from one of {narrow} mm with a gap of {clearance} mm");
            return wrong("width", message, format!("make it at least {:.1} mm", least.mm() + 0.05));
        }
        Ok(Self { widths: [width, narrow], height, clearance, detail, minimum_wall })
    }

    /// Cells along each edge of the square that a peg takes: the wider socket, and what of the square is left around it.
    fn across(&self, cell: f64) -> i32 {
        ((self.widths[0] + 2.0 * (self.clearance + self.detail)) / cell - 1e-9).ceil() as i32
    }

    /// Cells around the square that must be solid: at least one, and with what is left in the square the smallest wall.
    fn ring(&self, cell: f64) -> i32 {
        let left = (f64::from(self.across(cell)) * cell - self.widths[0]) / 2.0 - self.clearance;
        ((self.minimum_wall - left) / cell - 1e-9).ceil().max(1.0) as i32
    }

    /// How many cells two squares must lie apart: what is left of both between two sockets must hold.
    pub(super) fn apart(&self, cell: f64) -> i32 {
        let left = f64::from(self.across(cell)) * cell - self.widths[0] - 2.0 * self.clearance;
        self.across(cell) + i32::from(left < self.minimum_wall)
    }

    /// Layers of cells that a socket goes through.
    fn layers(&self, cell: f64) -> i32 {
        ((self.height + self.clearance) / cell - 1e-9).ceil().max(1.0) as i32
    }

    /// Layers behind a socket's floor that must be solid.
    fn floor(&self, cell: f64) -> i32 {
        let left = f64::from(self.layers(cell)) * cell - self.height - self.clearance;
        ((self.minimum_wall - left) / cell - 1e-9).ceil().max(1.0) as i32
    }

    /// Cells along each edge of the square with its ring.
    pub(super) fn block(&self, cell: f64) -> i32 {
        self.across(cell) + 2 * self.ring(cell)
    }
}

/// Where two parts are joined.
#[derive(Clone, Debug)]
pub(super) struct Seam {
    /// The part with the lower box, on which pins stand.
    pub(super) lower: usize,
    /// The part that has the sockets.
    pub(super) upper: usize,
    /// The axis along which they are joined.
    pub(super) axis: usize,
    /// The cells of the lower part behind the seam.
    pub(super) cells: Vec<IVec3>,
    /// Its pins.
    pub(super) pins: Vec<Peg>,
    measures: Measures,
    /// Layers of cells that belong to a peg.
    layers: i32,
}

impl Seam {
    /// The part across the seam.
    pub(super) fn other(&self, part: usize) -> Option<usize> {
        if part == self.lower { Some(self.upper) } else { (part == self.upper).then_some(self.lower) }
    }

    /// The side of a part that lies on the seam.
    pub(super) fn side(&self, part: usize) -> Side {
        Side::along(self.axis, part == self.lower)
    }

    /// The middle of the seam, in mm.
    pub(super) fn middle(&self, grid: &Grid) -> DVec3 {
        let sum: DVec3 = self.cells.iter().map(|&cell| grid.centre(cell)).sum();
        sum / self.cells.len().max(1) as f64 + Side::along(self.axis, true).normal() * grid.cell / 2.0
    }

    /// The pegs of a part on this seam.
    pub(super) fn pegs_of(&self, part: usize) -> Vec<Peg> {
        let socket = |pin: &Peg| Peg {
            kind: PegKind::Socket,
            side: pin.side.opposite(),
            low: pin.low + pin.side.step(),
            width: pin.width + 2.0 * self.measures.clearance,
            depth: pin.depth + self.measures.clearance,
            ..*pin
        };
        if part == self.lower {
            self.pins.clone()
        } else if part == self.upper {
            self.pins.iter().map(socket).collect()
        } else {
            Vec::new()
        }
    }

    /// The cells of a part that stay solid for its pegs.
    pub(super) fn bosses(&self, part: usize) -> impl Iterator<Item = IVec3> {
        let layers = self.layers;
        self.pegs_of(part).into_iter().flat_map(move |peg| {
            let into = peg.side.opposite().step();
            peg.faces().flat_map(move |face| (0..layers).map(move |n| face.cell + n * into))
        })
    }
}

/// The seams between bodies, with their pins; `shafts` are the cells that openings take away.
pub(super) fn between(bodies: &[Body], grid: &Grid, shafts: Option<&Cells>, measures: &Measures) -> Vec<Seam> {
    let owners = Owners::of(bodies, grid);
    let mut found: BTreeMap<(usize, usize), BTreeMap<i32, Vec<IVec3>>> = BTreeMap::new();
    for (number, body) in bodies.iter().enumerate() {
        for axis in 0..3 {
            let step = Side::along(axis, true).step();
            for cell in body.cells.iter() {
                let Some(other) = owners.at(cell + step).filter(|&other| other != number) else { continue };
                if joint_axis(body.home, bodies[other].home) == Some(axis) && body.home[axis] < bodies[other].home[axis]
                {
                    found.entry((number, other)).or_default().entry(cell[axis]).or_default().push(cell);
                }
            }
        }
    }
    let seam = |((lower, upper), planes): ((usize, usize), BTreeMap<i32, Vec<IVec3>>)| {
        // Of several planes the one with the most faces.
        let cells = planes.into_values().reduce(|most, other| if other.len() > most.len() { other } else { most })?;
        let axis = joint_axis(bodies[lower].home, bodies[upper].home)?;
        let ground = Ground::new([&bodies[lower].cells, &bodies[upper].cells], shafts, axis, &cells, measures, grid);
        let pins = ground.pins(measures);
        Some(Seam { lower, upper, axis, cells, pins, measures: *measures, layers: measures.layers(grid.cell) })
    };
    found.into_iter().filter_map(seam).collect()
}

/// The axis along which the parts of two boxes are joined: the last along which these differ.
fn joint_axis(a: IVec3, b: IVec3) -> Option<usize> {
    (0..3).rev().find(|&axis| a[axis] != b[axis])
}

/// Which body a cell belongs to.
struct Owners {
    grid: Grid,
    owners: Vec<u8>,
}

impl Owners {
    fn of(bodies: &[Body], grid: &Grid) -> Self {
        let mut owners = Self { grid: *grid, owners: vec![0; grid.len()] };
        for (number, body) in bodies.iter().enumerate() {
            for cell in body.cells.iter() {
                let place = owners.place(cell);
                owners.owners[place] = number as u8 + 1;
            }
        }
        owners
    }

    fn place(&self, cell: IVec3) -> usize {
        let IVec3 { x: nx, y: ny, .. } = self.grid.counts;
        (cell.z as usize * ny as usize + cell.y as usize) * nx as usize + cell.x as usize
    }

    fn at(&self, cell: IVec3) -> Option<usize> {
        if !self.grid.holds(cell) {
            return None;
        }
        (self.owners[self.place(cell)] as usize).checked_sub(1)
    }
}

/// Where pins may stand on a seam.
struct Ground {
    side: Side,
    across: i32,
    /// How many cells two of them must lie apart.
    apart: i32,
    /// The lowest cells of squares that have room, in order.
    places: Vec<IVec3>,
}

impl Ground {
    fn new(
        parts: [&Cells; 2],
        shafts: Option<&Cells>,
        axis: usize,
        seam: &[IVec3],
        measures: &Measures,
        grid: &Grid,
    ) -> Self {
        let side = Side::along(axis, true);
        let [u, v] = [(axis + 1) % 3, (axis + 2) % 3];
        let (across, ring) = (measures.across(grid.cell), measures.ring(grid.cell));
        let behind = [2, measures.layers(grid.cell) + measures.floor(grid.cell)];
        let whole =
            |cell: IVec3, part: usize| parts[part].solid(cell) && !shafts.is_some_and(|shafts| shafts.solid(cell));
        let column = |cell: IVec3| {
            (0..behind[0]).all(|n| whole(cell - n * side.step(), 0))
                && (1..=behind[1]).all(|n| whole(cell + n * side.step(), 1))
        };
        let fit: std::collections::BTreeSet<[i32; 3]> =
            seam.iter().filter(|&&cell| column(cell)).map(|cell| cell.to_array()).collect();
        let has_room = |low: &IVec3| {
            let around = -ring..across + ring;
            around.clone().all(|a| {
                around.clone().all(|b| {
                    let mut cell = *low;
                    cell[u] += a;
                    cell[v] += b;
                    fit.contains(&cell.to_array())
                })
            })
        };
        let places = seam.iter().copied().filter(has_room).collect();
        Self { side, across, apart: measures.apart(grid.cell), places }
    }

    /// Two pins as far apart as there is room, or one, or none.
    fn pins(&self, measures: &Measures) -> Vec<Peg> {
        let middle = self.places.iter().map(|place| place.as_dvec3()).sum::<DVec3>() / self.places.len().max(1) as f64;
        let far = |from: DVec3| move |place: &&IVec3| (place.as_dvec3() - from).length_squared();
        let farthest = |from: DVec3, among: &dyn Fn(&IVec3) -> bool| {
            let key = far(from);
            // Of equals the first.
            self.places.iter().filter(|place| among(place)).rev().max_by(|a, b| key(a).total_cmp(&key(b))).copied()
        };
        let Some(first) = farthest(middle, &|_| true) else { return Vec::new() };
        let apart = |place: &IVec3| (*place - first).abs().max_element() >= self.apart;
        let second = farthest(first.as_dvec3(), &apart);
        let peg = |(low, width): (IVec3, f64)| Peg {
            kind: PegKind::Pin,
            side: self.side,
            low,
            across: self.across,
            width,
            depth: measures.height,
        };
        [Some(first), second].into_iter().flatten().zip(measures.widths).map(peg).collect()
    }
}
