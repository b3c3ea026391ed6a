//! The six sides of a piece, always in the order right, left, back, front, top, bottom.

use glam::{DVec3, IVec3};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A side of the piece: the direction in which a cube face looks. The front faces −y, +z is up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// Faces +x.
    Right,
    /// Faces −x.
    Left,
    /// Faces +y.
    Back,
    /// Faces −y.
    Front,
    /// Faces +z.
    Top,
    /// Faces −z.
    Bottom,
}

impl Side {
    /// All sides, in the order of the project.
    pub const ALL: [Self; 6] = [Self::Right, Self::Left, Self::Back, Self::Front, Self::Top, Self::Bottom];

    /// The axis across the side: 0 for x, 1 for y, 2 for z.
    #[must_use]
    pub const fn axis(self) -> usize {
        self as usize / 2
    }

    /// Whether the side looks along the positive direction of its axis.
    #[must_use]
    pub const fn positive(self) -> bool {
        (self as usize).is_multiple_of(2)
    }

    /// The side that looks along `axis`, in its positive direction or against it.
    ///
    /// # Panics
    /// If `axis` is not 0, 1 or 2.
    #[must_use]
    pub const fn along(axis: usize, positive: bool) -> Self {
        assert!(axis < 3);
        Self::ALL[axis * 2 + if positive { 0 } else { 1 }]
    }

    /// The step from a cell to its neighbour on this side.
    #[must_use]
    pub fn step(self) -> IVec3 {
        let mut step = IVec3::ZERO;
        step[self.axis()] = if self.positive() { 1 } else { -1 };
        step
    }

    /// The outward unit normal.
    #[must_use]
    pub fn normal(self) -> DVec3 {
        self.step().as_dvec3()
    }

    /// The side across the piece.
    #[must_use]
    pub const fn opposite(self) -> Self {
        Self::along(self.axis(), !self.positive())
    }

    /// The word for it in job files and reports.
    #[must_use]
    pub const fn word(self) -> &'static str {
        ["right", "left", "back", "front", "top", "bottom"][self as usize]
    }
}

impl std::fmt::Display for Side {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.word())
    }
}

/// One value a side.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Six<T>(pub [T; 6]);

impl<T> Six<T> {
    /// Builds the six values from their sides.
    pub fn from_fn(mut make: impl FnMut(Side) -> T) -> Self {
        Self(Side::ALL.map(&mut make))
    }

    /// The sides with their values, in order.
    pub fn iter(&self) -> impl Iterator<Item = (Side, &T)> {
        Side::ALL.into_iter().zip(&self.0)
    }
}

impl<T> std::ops::Index<Side> for Six<T> {
    type Output = T;

    fn index(&self, side: Side) -> &T {
        &self.0[side as usize]
    }
}

impl<T> std::ops::IndexMut<Side> for Six<T> {
    fn index_mut(&mut self, side: Side) -> &mut T {
        &mut self.0[side as usize]
    }
}
