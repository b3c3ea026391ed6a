//! From the lattice to the picture and back. Lengths are in cells from the grid's origin, places in the picture in pixels
//! with x to the right and y down.

use glam::{DVec3, IVec3};

use crate::Side;

/// Where the rays to the picture begin.
#[derive(Clone, Copy, Debug)]
pub(super) enum Eye {
    /// In one place.
    At(DVec3),
    /// So far away that all rays are parallel.
    Far,
}

/// A viewer and a picture.
#[derive(Clone, Copy, Debug)]
pub(super) struct Camera {
    eye: Eye,
    /// Unit vectors: to the right of the picture, up in it, and towards the viewer.
    axes: [DVec3; 3],
    /// What is measured from: the eye, or any point on the ray to the middle.
    base: DVec3,
    /// Pixels for a cell (parallel), or for the tangent of a ray's angle (perspective).
    scale: f64,
    /// Where the picture's middle lies along its axes.
    middle: [f64; 2],
    /// Half the picture's edge.
    half: f64,
}

impl Camera {
    /// Parallel rays; `at` lies in the middle of the picture.
    pub(super) fn parallel(axes: [DVec3; 3], at: DVec3, scale: f64, pixels: u32) -> Self {
        Self { eye: Eye::Far, axes, base: at, scale, middle: [0.0; 2], half: f64::from(pixels) / 2.0 }
    }

    /// Rays from an eye that looks against `axes[2]`; `middle` is what lies in the middle of the picture, as tangents.
    pub(super) fn perspective(axes: [DVec3; 3], eye: DVec3, scale: f64, middle: [f64; 2], pixels: u32) -> Self {
        Self { eye: Eye::At(eye), axes, base: eye, scale, middle, half: f64::from(pixels) / 2.0 }
    }

    /// The eye's coordinates, infinite where it is infinitely far.
    pub(super) fn eye(&self) -> DVec3 {
        match self.eye {
            Eye::At(eye) => eye,
            Eye::Far => {
                let far = |v: f64| if v == 0.0 { 0.0 } else { f64::INFINITY.copysign(v) };
                DVec3::from_array(self.axes[2].to_array().map(far))
            }
        }
    }

    /// Whether a face of a cell looks to the viewer.
    pub(super) fn faces(&self, cell: IVec3, side: Side) -> bool {
        let ahead = match self.eye {
            Eye::At(eye) => eye[side.axis()] - f64::from(cell[side.axis()] + i32::from(side.positive())),
            Eye::Far => self.axes[2][side.axis()],
        };
        if side.positive() { ahead > 0.0 } else { ahead < 0.0 }
    }

    /// Where a corner of the lattice lies in the picture.
    pub(super) fn place(&self, corner: DVec3) -> [f64; 2] {
        let from = corner - self.base;
        let [right, up, towards] = self.axes.map(|axis| from.dot(axis));
        let near = match self.eye {
            Eye::At(_) => -1.0 / towards,
            Eye::Far => 1.0,
        };
        [
            self.half + (right * near - self.middle[0]) * self.scale,
            self.half - (up * near - self.middle[1]) * self.scale,
        ]
    }

    /// The rays through a row of the picture at `y`; the first goes through `x`, the next a pixel beside it.
    pub(super) fn row(&self, x: f64, y: f64) -> Row {
        let [right, up, towards] = self.axes;
        let across = (x - self.half) / self.scale + self.middle[0];
        let along = (self.half - y) / self.scale + self.middle[1];
        let (there, step) = (right * across + up * along, right / self.scale);
        match self.eye {
            Eye::At(eye) => {
                Row { eye: self.eye, from: eye, from_step: DVec3::ZERO, to: there - towards, to_step: step }
            }
            Eye::Far => {
                Row { eye: self.eye, from: self.base + there, from_step: step, to: -towards, to_step: DVec3::ZERO }
            }
        }
    }
}

/// Rays through the samples of a row.
#[derive(Clone, Copy, Debug)]
pub(super) struct Row {
    eye: Eye,
    from: DVec3,
    from_step: DVec3,
    to: DVec3,
    to_step: DVec3,
}

impl Row {
    /// Where the first ray begins, and its direction.
    #[cfg(test)]
    pub(super) fn first(&self) -> [DVec3; 2] {
        [self.from, self.to]
    }

    /// Where the rays meet the plane of a face.
    pub(super) fn on(&self, cell: IVec3, side: Side) -> OnFace {
        let axis = side.axis();
        let (u, v) = ((axis + 1) % 3, (axis + 2) % 3);
        let plane = f64::from(cell[axis] + i32::from(side.positive()));
        let low = cell.as_dvec3();
        let sign = if side.positive() { 1.0 } else { -1.0 };
        // A ray meets the plane at from + to · (plane − from) / to, all along the axis; times the divisor that is linear in
        // the sample's number for either kind of eye, since one of from and to does not change along a row.
        let over = |k: usize| {
            let first = (self.from[k] - low[k]) * self.to[axis] + self.to[k] * (plane - self.from[axis]);
            let step = match self.eye {
                Eye::At(_) => {
                    (self.from[k] - low[k]) * self.to_step[axis] + self.to_step[k] * (plane - self.from[axis])
                }
                Eye::Far => self.from_step[k] * self.to[axis] - self.to[k] * self.from_step[axis],
            };
            [first, step]
        };
        let towards = match self.eye {
            Eye::At(eye) => {
                Towards { at: [eye[u] - low[u], eye[v] - low[v]], ahead: (eye[axis] - plane) * sign, moves: 1.0 }
            }
            Eye::Far => Towards { at: [-self.to[u], -self.to[v]], ahead: -self.to[axis] * sign, moves: 0.0 },
        };
        OnFace { u: over(u), v: over(v), under: [self.to[axis], self.to_step[axis]], towards }
    }
}

/// The places on a face that a row of samples sees, as fractions of linear functions of the sample's number.
#[derive(Clone, Copy, Debug)]
pub(super) struct OnFace {
    u: [f64; 2],
    v: [f64; 2],
    under: [f64; 2],
    pub(super) towards: Towards,
}

impl OnFace {
    /// The place that a sample sees, in cells from the face's low corner.
    pub(super) fn at(&self, sample: usize) -> [f64; 2] {
        let x = sample as f64;
        let under = 1.0 / (self.under[0] + self.under[1] * x);
        [(self.u[0] + self.u[1] * x) * under, (self.v[0] + self.v[1] * x) * under]
    }
}

/// The direction from places on a face to the viewer.
#[derive(Clone, Copy, Debug)]
pub(super) struct Towards {
    at: [f64; 2],
    ahead: f64,
    /// 1 if the direction depends on the place, 0 if not.
    moves: f64,
}

impl Towards {
    /// Its part along the face's first or second axis, and its part along the normal.
    pub(super) fn from(&self, place: [f64; 2], axis: usize) -> [f64; 2] {
        [self.at[axis] - self.moves * place[axis], self.ahead]
    }
}
