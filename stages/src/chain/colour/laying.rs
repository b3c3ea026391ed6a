//! Which colour lies on which face.

use std::sync::Arc;

use glam::IVec3;
use rayon::prelude::*;

use super::facade::{Facade, Seen};
use super::footprints::{self, Laid};
use super::ramp::Ramp;
use super::settings::{Coat, Over, PictureFile, Settings};
use crate::colorimetry::{linear, srgb};
use crate::formats::bitmap::{self, Bitmap, Profile};
use crate::paint::Paint;
use crate::solid::{Face, Grid};
use crate::stage::{Halt, Misfit, Shop};
use crate::void::Void;
use crate::{Side, Six, Srgb};

/// A side, ready to be laid on faces.
pub(super) struct Dressed {
    pub(super) facade: Facade,
    /// What is seen at each place of the facade.
    pub(super) seen: Vec<Seen>,
    look: Look,
}

enum Look {
    Colour(Srgb),
    Gradient(Ramp),
    Picture { laid: Laid, codes: Vec<Srgb>, size: [usize; 2], profile: Profile },
}

/// A picture as it was laid.
pub(super) struct LaidPicture<'a> {
    pub(super) laid: &'a Laid,
    /// Pixels across and down.
    pub(super) size: [usize; 2],
    pub(super) profile: Profile,
}

impl Dressed {
    fn colour(&self, face: Face) -> Srgb {
        match &self.look {
            Look::Colour(colour) => *colour,
            Look::Gradient(ramp) => srgb(ramp.light(face)),
            Look::Picture { codes, .. } => codes[self.facade.place(face.cell)],
        }
    }

    /// The picture on the side, if it carries one.
    pub(super) fn picture(&self) -> Option<LaidPicture<'_>> {
        match &self.look {
            Look::Picture { laid, size, profile, .. } => Some(LaidPicture { laid, size: *size, profile: *profile }),
            Look::Colour(_) | Look::Gradient(_) => None,
        }
    }

    /// Whether the side carries a picture or a gradient.
    pub(super) fn is_varied(&self) -> bool {
        !matches!(self.look, Look::Colour(_))
    }

    /// The colour that is seen at a place.
    pub(super) fn shown(&self, place: usize, paint: &Paint) -> Option<Srgb> {
        match self.seen[place] {
            Seen::Nothing => None,
            Seen::Face(face) => Some(paint.colours[paint.ink[face as usize] as usize]),
            Seen::Inside => Some(paint.inside),
        }
    }
}

/// Reads a picture that a side names.
pub(super) fn read(side: Side, picture: &PictureFile, shop: &Shop<'_>) -> Result<Bitmap, Misfit> {
    bitmap::read(shop.file(&picture.file), bitmap::MOST_PIXELS).map_err(|[what, remedy]| {
        Misfit::new(format!("{side}.picture"), format!("the picture {} {what}", picture.file), remedy)
    })
}

/// Makes the six sides ready, for faces of cells between the lowest and the highest.
pub(super) fn dress(
    settings: &Settings,
    faces: &[Face],
    void: Option<&Void>,
    extent: [IVec3; 2],
    shop: &Shop<'_>,
) -> Result<Six<Dressed>, Halt> {
    let mut sides = Vec::with_capacity(6);
    for (side, coat) in Side::ALL.into_iter().zip(settings.coats().0) {
        shop.go_on()?;
        let facade = Facade::of(side, extent);
        let seen = facade.seen(faces, void);
        let look = match coat {
            Coat::Colour(colour) => Look::Colour(*colour),
            Coat::Gradient(gradient) => Look::Gradient(Ramp::new(gradient, extent)),
            Coat::Picture(picture) => {
                // One at a time: a large one takes much memory.
                let bitmap = read(side, picture, shop)?;
                let laid = footprints::lay(&bitmap, picture.fit, linear(picture.ground), &facade, &seen);
                let codes = laid.light.par_iter().map(|&light| srgb(light)).collect();
                Look::Picture { codes, laid, size: bitmap.size(), profile: bitmap.profile() }
            }
        };
        sides.push(Dressed { facade, seen, look });
    }
    Ok(Six(sides.try_into().unwrap_or_else(|_| unreachable!("there are six"))))
}

/// Paints the faces, and counts the faces that each band and spot covers.
pub(super) fn paint(
    settings: &Settings,
    dressed: &Six<Dressed>,
    faces: Arc<[Face]>,
    grid: &Grid,
    low: IVec3,
) -> (Paint, Vec<usize>) {
    let mut on_faces: Vec<Srgb> = faces.par_iter().map(|&face| dressed[face.side].colour(face)).collect();
    let covered = settings.over.iter().map(|over| lay_over(over, &faces, grid, low, &mut on_faces)).collect();

    let own = Six(settings.coats().0.map(|coat| match coat {
        Coat::Colour(colour) => Some(*colour),
        Coat::Gradient(_) | Coat::Picture(_) => None,
    }));
    let Inks { colours, sorted } = Inks::of(own.0.into_iter().flatten().chain([settings.inside]), &on_faces);
    let place = |colour: &Srgb| sorted[sorted.partition_point(|(c, _)| c < colour)].1;
    let ink = on_faces.par_iter().map(place).collect();

    let mean = |side: &Dressed| {
        let seen = side.seen.iter().filter_map(|seen| match seen {
            Seen::Face(face) => Some(linear(on_faces[*face as usize])),
            Seen::Nothing | Seen::Inside => None,
        });
        let seen: Vec<[f64; 3]> = seen.collect();
        srgb(footprints::mean(seen.iter()))
    };
    let sides = Six::from_fn(|side| own[side].unwrap_or_else(|| mean(&dressed[side])));
    (Paint { colours, faces, ink, sides, inside: settings.inside, guard: None }, covered)
}

/// The colours of a piece: first those that the settings name for sides and inside, in the order of the sides; then all
/// others, sorted. So pieces that differ in their colours alone have the same ink on the same face.
struct Inks {
    colours: Vec<Srgb>,
    /// Sorted, each with its place.
    sorted: Vec<(Srgb, u32)>,
}

impl Inks {
    fn of(named: impl Iterator<Item = Srgb>, on_faces: &[Srgb]) -> Self {
        let mut colours: Vec<Srgb> = Vec::new();
        for colour in named {
            if !colours.contains(&colour) {
                colours.push(colour);
            }
        }
        let mut others: Vec<Srgb> = on_faces.par_iter().copied().filter(|colour| !colours.contains(colour)).collect();
        others.par_sort_unstable();
        others.dedup();
        colours.extend(others);
        let mut sorted: Vec<(Srgb, u32)> = colours.iter().copied().zip(0..).collect();
        sorted.par_sort_unstable();
        Self { colours, sorted }
    }
}

/// Lays a band or a spot over the faces that it covers; gives their number.
fn lay_over(over: &Over, faces: &[Face], grid: &Grid, low: IVec3, colours: &mut [Srgb]) -> usize {
    let covered = faces.par_iter().zip(colours).map(|(face, colour)| {
        let middle = (face.cell - low).as_dvec3() + 0.5 + 0.5 * face.side.normal();
        let covers = over.covers(face.side, middle * grid.cell);
        if covers {
            *colour = over.colour();
        }
        usize::from(covers)
    });
    covered.sum()
}
