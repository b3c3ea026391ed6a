//! What `colour` says about the piece: areas by side, what the sides carry, and how well pictures are kept.

use super::laying::Dressed;
use super::settings::{Axis, Coat, Fit, Mix, Settings};
use crate::colorimetry::{difference, lab, lab_of_light};
use crate::findings::{Fact, Finding, Unit};
use crate::formats::bitmap::Profile;
use crate::paint::Paint;
use crate::stage::Shop;
use crate::{Side, Six, Srgb};

/// Says all of it. `covered` are the faces under each band and spot.
pub(super) fn tell(
    shop: &mut Shop<'_>,
    settings: &Settings,
    dressed: &Six<Dressed>,
    paint: &Paint,
    covered: &[usize],
    cell: f64,
) {
    faces(shop, paint, cell);
    carried(shop, settings, paint);
    kept(shop, settings, dressed, paint);
    same_look(shop, settings);
    for (at, over) in settings.over.iter().enumerate().filter(|&(at, _)| covered[at] == 0) {
        let word = over.word();
        shop.finding(Finding::caution(
            "nothing-under",
            format!("the {word} over[{at}] lies on no face of the piece, and colours nothing"),
            "its millimetres count from the lowest corner of the piece, and it takes the faces whose middle lies in it: \
             correct them, or take it out",
        ));
    }
}

fn faces(shop: &mut Shop<'_>, paint: &Paint, cell: f64) {
    let mut counts = Six([0usize; 6]);
    for face in paint.faces.iter() {
        counts[face.side] += 1;
    }
    let row = |side: Side| {
        let area = counts[side] as f64 * cell * cell / 100.0;
        vec![side.to_string(), paint.sides[side].to_string(), counts[side].to_string(), format!("{area:.2}")]
    };
    shop.fact(Fact::whole("outside faces", paint.faces.len(), Unit::Faces));
    shop.fact(Fact::number("outside area", paint.faces.len() as f64 * cell * cell / 100.0, Unit::Cm2));
    shop.fact(Fact::table("faces by side", &["side", "colour", "faces", "area, cm²"], Side::ALL.map(row).to_vec()));
    shop.fact(Fact::text("inside colour", paint.inside.to_string()));
    shop.fact(Fact::whole("colours", paint.colours.len(), Unit::Count));
}

/// What the sides carry, where one of them carries more than a colour.
fn carried(shop: &mut Shop<'_>, settings: &Settings, paint: &Paint) {
    let coats = settings.coats();
    if coats.0.iter().all(|coat| matches!(coat, Coat::Colour(_))) {
        return;
    }
    let rows = Side::ALL.into_iter().map(|side| {
        let on = paint.faces.iter().zip(&paint.ink).filter(|(face, _)| face.side == side);
        let mut inks: Vec<u32> = on.map(|(_, &ink)| ink).collect();
        inks.sort_unstable();
        inks.dedup();
        vec![side.to_string(), in_words(coats[side]), inks.len().to_string()]
    });
    shop.fact(Fact::table("carried by each side", &["side", "carries", "colours on its faces"], rows.collect()));
}

fn in_words(coat: &Coat) -> String {
    match coat {
        Coat::Colour(colour) => format!("the colour {colour}"),
        Coat::Gradient(gradient) => {
            let way = match gradient.along {
                Axis::X => "left to right",
                Axis::Y => "front to back",
                Axis::Z => "foot to top",
            };
            let stops = gradient.stops.iter().map(|stop| stop.colour);
            let colours = std::iter::once(gradient.from).chain(stops).chain([gradient.to]);
            let colours: Vec<String> = colours.map(|colour| colour.to_string()).collect();
            let mix = match gradient.mix {
                Mix::Light => "light",
                Mix::Lab => "CIELAB",
            };
            format!("a gradient from {way} through {}, mixed in {mix}", colours.join(", "))
        }
        Coat::Picture(picture) => {
            let fit = match picture.fit {
                Fit::Fill => "filling the silhouette",
                Fit::Whole => "whole",
            };
            format!("the picture {}, {fit}", picture.file)
        }
    }
}

/// A mean ΔE00 of detail from which the picture is worth a second look. Common practice, no source: at 5 a difference is
/// plain to see, at twice that fine lines are gone.
const MUCH_DETAIL: f64 = 10.0;

/// How well each picture is kept.
fn kept(shop: &mut Shop<'_>, settings: &Settings, dressed: &Six<Dressed>, paint: &Paint) {
    let (mut rows, mut worst) = (Vec::new(), None::<[f64; 2]>);
    for (side, asked) in settings.pictures() {
        let Some(picture) = dressed[side].picture() else { continue };
        let kept = Kept::of(&dressed[side], &picture.laid.light, &picture.laid.detail, paint);
        let [width, height] = picture.size;
        rows.push(vec![
            side.to_string(),
            asked.file.clone(),
            format!("{width} × {height}"),
            format!("{:.1}", picture.laid.pixels_a_cell),
            format!("{:.1}", 100.0 * picture.laid.shown),
            format!("{:.2}", kept.off),
            format!("{:.2}", kept.detail),
        ]);
        worst = Some(worst.map_or([kept.off, kept.detail], |[a, b]| [a.max(kept.off), b.max(kept.detail)]));
        if picture.profile == Profile::Unread {
            let message =
                format!("the colour profile in the picture on the {side} cannot be used: it is taken for sRGB");
            let remedy = format!("see view-{side}.png; if its colours are off, save {} in sRGB", asked.file);
            shop.finding(Finding::note("picture-profile-unread", message, remedy));
        }
        if picture.laid.pixels_a_cell < 1.0 {
            let message = format!(
                "the picture on the {side} has {:.2} pixels for a cell: several cells show one pixel",
                picture.laid.pixels_a_cell
            );
            let remedy = format!("give the {side} a picture of more pixels, unless its blocks are meant");
            shop.finding(Finding::note("picture-coarse", message, remedy));
        }
        if kept.detail > MUCH_DETAIL {
            let message = format!(
                "the picture on the {side} has detail that no cell shows: on average its quarters of a cell differ from \
                 the cell by ΔE00 {:.1}",
                kept.detail
            );
            let remedy =
                format!("see view-{side}.png; larger forms in the picture, or a smaller `voxelise.cell`, keep more");
            shop.finding(Finding::note("picture-detail-lost", message, remedy));
        }
    }
    let Some([off, detail]) = worst else { return };
    let columns = [
        "side",
        "picture",
        "pixels",
        "pixels along a cell",
        "of it on the silhouette, %",
        "off at cell resolution, ΔE00",
        "detail lost below a cell, ΔE00",
    ];
    shop.fact(Fact::table("pictures kept", &columns, rows));
    shop.fact(Fact::number("largest mean ΔE00 of a picture at cell resolution", off, Unit::One));
    shop.fact(Fact::number("largest mean ΔE00 of detail lost below a cell", detail, Unit::One));
}

/// How far a side is from its picture, as seen straight from it: means over the silhouette.
pub(super) struct Kept {
    /// ΔE00 between the picture's mean on a cell and the colour that is seen there. It is that of eight bits a channel
    /// unless a band, a spot or an opening stands before the picture.
    pub(super) off: f64,
    /// ΔE00 between a sixteenth of a cell, as the picture has it, and the cell's mean.
    pub(super) detail: f64,
}

impl Kept {
    pub(super) fn of(side: &Dressed, light: &[[f64; 3]], detail: &[f64], paint: &Paint) -> Self {
        let places = (0..side.facade.len()).filter_map(|place| Some((place, side.shown(place, paint)?)));
        let (mut sums, mut count) = ([0.0; 2], 0usize);
        for (place, shown) in places {
            sums[0] += difference(lab_of_light(light[place]), lab(shown));
            sums[1] += detail[place];
            count += 1;
        }
        let [off, detail] = sums.map(|sum| sum / count.max(1) as f64);
        Self { off, detail }
    }
}

fn same_look(shop: &mut Shop<'_>, settings: &Settings) {
    let coats = settings.coats();
    for (i, a) in Side::ALL.into_iter().enumerate() {
        for b in Side::ALL.into_iter().skip(i + 1).filter(|&b| coats[a] == coats[b]) {
            let (what, other) = match coats[a] {
                Coat::Colour(colour) => (format!("have the same colour {colour}"), "colour"),
                Coat::Gradient(_) => ("carry the same gradient".to_owned(), "gradient"),
                Coat::Picture(picture) => (format!("carry the same picture {}", picture.file), "picture"),
            };
            shop.finding(Finding::caution(
                "same-colour",
                format!("{a} and {b} {what}: no change shows when the piece turns from one to the other"),
                format!("choose another {other} for {b}, unless that is what you want"),
            ));
        }
    }
}

/// The colours at each place of a side, as it is seen; nothing beside the silhouette.
pub(super) fn shown(side: &Dressed, paint: &Paint) -> Vec<Option<Srgb>> {
    (0..side.facade.len()).map(|place| side.shown(place, paint)).collect()
}
