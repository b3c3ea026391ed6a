//! The workpiece: what goes through the chain. Its parts never change once made and are shared, so that a hundred
//! variants which differ in colour alone hold one voxelised solid.

mod bytes;
#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests;

use std::fmt;
use std::path::PathBuf;
use std::sync::{Arc, OnceLock};

use serde::{Deserialize, Serialize};

use crate::division::Division;
use crate::memo::Key;
use crate::mounts::Mounts;
use crate::paint::Paint;
use crate::solid::skin::outside_faces;
use crate::solid::{Cells, Face, Skin, Surface};
use crate::void::Void;

pub use bytes::{FORM, Unsound};

/// A part of the workpiece that a stage may need or give, in the order in which one is made from the other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Part {
    /// The model's triangles in mm.
    Surface,
    /// The solid of cubes.
    Cells,
    /// The cavity and its openings.
    Void,
    /// A colour for every outside face.
    Paint,
    /// The parts into which a piece that is too large was divided, or that it stays whole.
    Division,
    /// The files that will be ordered, on disk.
    Order,
    /// The stand and what else carries the piece: solids of their own.
    Mounts,
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Surface => "a surface",
            Self::Cells => "cells",
            Self::Void => "a void",
            Self::Paint => "paint",
            Self::Division => "a division",
            Self::Order => "an ordered file",
            Self::Mounts => "mounts",
        })
    }
}

/// A file that will be ordered, as it lies on disk. What is in it is for `validate` to find out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OrderedFile {
    /// Its name in the run folder.
    pub name: String,
    /// Where it lies now.
    pub path: PathBuf,
}

impl Part {
    /// All parts, each before those that are made from it.
    pub const ALL: [Self; 7] =
        [Self::Surface, Self::Cells, Self::Void, Self::Paint, Self::Division, Self::Order, Self::Mounts];

    /// Whether this part is made from the other, directly or not: it is out of date once that one is made again.
    #[must_use]
    pub fn made_after(self, other: Self) -> bool {
        // Mounts fit the form, whatever its colours.
        self > other && !(self == Self::Mounts && matches!(other, Self::Paint | Self::Order))
    }
}

/// The piece so far. A missing part has not been made yet. Giving it a part takes away those that were made from the
/// part's predecessor.
#[derive(Clone, Debug, Default)]
pub struct Workpiece {
    surface: Option<Arc<Surface>>,
    cells: Option<Arc<Cells>>,
    void: Option<Arc<Void>>,
    /// Shared by copies of the piece: whoever needs it first makes it for all.
    hull: Arc<OnceLock<Arc<Hull>>>,
    paint: Option<Arc<Paint>>,
    division: Option<Arc<Division>>,
    order: Option<Arc<[OrderedFile]>>,
    mounts: Option<Arc<Mounts>>,
}

/// What a piece has that an earlier one has not, and the other way round, told by which parts the two share in memory:
/// what a stage hands on untouched is no change, what it made anew is one even where it looks the same.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Change {
    /// Parts that were made, in the order of [`Part::ALL`].
    pub made: Vec<Part>,
    /// Parts that are there no longer, in the same order.
    pub gone: Vec<Part>,
}

/// The outside faces of a piece and its skin: what follows from cells and void alone.
#[derive(Clone, Debug, PartialEq)]
pub struct Hull {
    /// See [`outside_faces`].
    pub faces: Arc<[Face]>,
    /// The boundary of the printed solid.
    pub skin: Skin,
    /// The digest of faces and skin.
    pub key: Key,
}

impl Hull {
    fn of(cells: &Cells, void: Option<&Void>) -> Self {
        let faces: Arc<[Face]> = outside_faces(cells, void).into();
        let skin = Skin::of(cells, void, &faces);
        let key = Key::of("hull").key(faces_key(&faces)).key(skin.key()).made();
        Self { faces, skin, key }
    }
}

/// The digest of faces and their order.
pub(crate) fn faces_key(faces: &[Face]) -> Key {
    let word = |face: &Face| {
        let mut word = [face.side as u8; 13];
        for (bytes, at) in word.chunks_exact_mut(4).zip(face.cell.to_array()) {
            bytes.copy_from_slice(&at.to_le_bytes());
        }
        word
    };
    Key::of("faces").list(faces.iter().map(word)).made()
}

impl Workpiece {
    /// The model's triangles in mm, as read, then scaled and turned.
    #[must_use]
    pub fn surface(&self) -> Option<&Surface> {
        self.surface.as_deref()
    }

    /// The outer solid of cubes, without regard to the void.
    #[must_use]
    pub fn cells(&self) -> Option<&Cells> {
        self.cells.as_deref()
    }

    /// The cavity and its openings, inside the solid.
    #[must_use]
    pub fn void(&self) -> Option<&Void> {
        self.void.as_deref()
    }

    /// A colour for every outside face, and the inside colour.
    #[must_use]
    pub fn paint(&self) -> Option<&Paint> {
        self.paint.as_deref()
    }

    /// The parts into which the piece was divided.
    #[must_use]
    pub fn division(&self) -> Option<&Division> {
        self.division.as_deref()
    }

    /// The file that will be ordered; of several the first.
    #[must_use]
    pub fn order(&self) -> Option<&OrderedFile> {
        self.orders().first()
    }

    /// The files that will be ordered: one, or one for each part of a divided piece, in the order of the parts.
    #[must_use]
    pub fn orders(&self) -> &[OrderedFile] {
        self.order.as_deref().unwrap_or_default()
    }

    /// The stand and what else carries the piece.
    #[must_use]
    pub fn mounts(&self) -> Option<&Mounts> {
        self.mounts.as_deref()
    }

    /// The piece with that surface and nothing else.
    #[must_use]
    pub fn with_surface(self, surface: impl Into<Arc<Surface>>) -> Self {
        Self { surface: Some(surface.into()), ..Self::default() }
    }

    /// The piece with those cells, solid so far.
    #[must_use]
    pub fn with_cells(self, cells: impl Into<Arc<Cells>>) -> Self {
        Self { surface: self.surface, cells: Some(cells.into()), ..Self::default() }
    }

    /// The piece with that void, without paint.
    #[must_use]
    pub fn with_void(self, void: impl Into<Arc<Void>>) -> Self {
        Self { surface: self.surface, cells: self.cells, void: Some(void.into()), ..Self::default() }
    }

    /// The piece with that paint, not written yet.
    #[must_use]
    pub fn with_paint(self, paint: impl Into<Arc<Paint>>) -> Self {
        Self { paint: Some(paint.into()), division: None, order: None, ..self }
    }

    /// The piece divided so, not written yet. What carries it has to be made anew.
    #[must_use]
    pub fn with_division(self, division: impl Into<Arc<Division>>) -> Self {
        Self { division: Some(division.into()), order: None, mounts: None, ..self }
    }

    /// The piece that stays whole although it may be divided: with the files to order that it has.
    #[must_use]
    pub fn undivided(self) -> Self {
        let order = self.order.clone();
        Self { order, ..self.with_division(Division::default()) }
    }

    /// The piece with the file to order.
    #[must_use]
    pub fn with_order(self, order: OrderedFile) -> Self {
        self.with_orders([order])
    }

    /// The piece with the files to order, at least one.
    #[must_use]
    pub fn with_orders(self, orders: impl IntoIterator<Item = OrderedFile>) -> Self {
        Self { order: Some(orders.into_iter().collect()), ..self }
    }

    /// The piece with those mounts.
    #[must_use]
    pub fn with_mounts(self, mounts: impl Into<Arc<Mounts>>) -> Self {
        Self { mounts: Some(mounts.into()), ..self }
    }

    /// The outside faces and the skin, made at the first call for this piece and all copies of it; `None` without cells.
    #[must_use]
    pub fn hull(&self) -> Option<Arc<Hull>> {
        let (cells, void) = (self.cells.as_deref()?, self.void.as_deref());
        // Not `get_or_init`: making it takes threads, and one that waits here might be what it waits for. Two that come at
        // once make the same.
        let made = || Arc::new(Hull::of(cells, void));
        Some(self.hull.get().cloned().unwrap_or_else(|| {
            let _ = self.hull.set(made());
            self.hull.get().cloned().unwrap_or_else(made)
        }))
    }

    /// Whether the part is there.
    #[must_use]
    pub fn has(&self, part: Part) -> bool {
        match part {
            Part::Surface => self.surface.is_some(),
            Part::Cells => self.cells.is_some(),
            Part::Void => self.void.is_some(),
            Part::Paint => self.paint.is_some(),
            Part::Division => self.division.is_some(),
            Part::Order => self.order.is_some(),
            Part::Mounts => self.mounts.is_some(),
        }
    }

    /// What became of the parts since `before`.
    #[must_use]
    pub fn change_since(&self, before: &Self) -> Change {
        let changed = |part: &Part| match part {
            Part::Surface => differs(self.surface.as_ref(), before.surface.as_ref()),
            Part::Cells => differs(self.cells.as_ref(), before.cells.as_ref()),
            Part::Void => differs(self.void.as_ref(), before.void.as_ref()),
            Part::Paint => differs(self.paint.as_ref(), before.paint.as_ref()),
            Part::Division => differs(self.division.as_ref(), before.division.as_ref()),
            Part::Order => differs(self.order.as_ref(), before.order.as_ref()),
            Part::Mounts => differs(self.mounts.as_ref(), before.mounts.as_ref()),
        };
        let (made, gone) = Part::ALL.into_iter().filter(changed).partition(|&part| self.has(part));
        Change { made, gone }
    }
}

fn differs<T: ?Sized>(now: Option<&Arc<T>>, before: Option<&Arc<T>>) -> bool {
    match (now, before) {
        (Some(now), Some(before)) => !Arc::ptr_eq(now, before),
        (None, None) => false,
        _ => true,
    }
}
