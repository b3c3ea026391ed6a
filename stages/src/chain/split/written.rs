//! Writes the parts, and pictures them drawn apart.

use std::fmt::Write as _;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use glam::DVec3;

use crate::Srgb;
use crate::chain::colour::inks;
use crate::division::{Division, Segment};
use crate::formats::picture::{self, View};
use crate::formats::{ColouredMesh, stl, threemf};
use crate::solid::Skin;
use crate::stage::{Halt, Shop};
use crate::workpiece::OrderedFile;

/// Edge of the picture of all parts, in pixels.
const PICTURE: u32 = 1200;
/// How much larger than the piece the parts lie when drawn apart, along the axis with the most cuts.
const APART: f64 = 0.35;

/// Writes every part as a file to order and without colour, and the picture.
pub(super) fn write(shop: &mut Shop<'_>, division: &Division) -> Result<Vec<OrderedFile>, Halt> {
    let (bare, title) = (shop.process().bare(), shop.title().to_owned());
    let count = division.segments.len();
    let mut orders = Vec::with_capacity(count);
    for (number, segment) in (1..).zip(&division.segments) {
        let skin = segment.skin();
        let (colours, ink) = inks(&skin, segment.paint(), None, bare);
        let mesh = ColouredMesh { points: &skin.points, triangles: &skin.triangles, colours: &colours, ink: &ink };
        let name = shop.free_name(&format!("part-{number}.3mf"));
        let what = format!("part {number} of {count}, to order: 3MF, a colour for each triangle");
        let titled = if title.is_empty() {
            format!("part {number} of {count}")
        } else {
            format!("{title}, part {number} of {count}")
        };
        let path = shop.artefact(&name, &what, |out| threemf::write(&mesh, &titled, out))?;
        orders.push(OrderedFile { name, path });
        shop.go_on()?;
        if !shop.draft() {
            let name = shop.free_name(&format!("part-{number}.stl"));
            let what = format!("part {number} of {count} without colour as STL");
            shop.artefact(&name, &what, |out| stl::write(&skin.points, &skin.triangles, out))?;
        }
    }
    if !shop.draft() {
        draw(shop, division)?;
        super::inside::draw(shop, division)?;
    }
    Ok(orders)
}

/// All parts, drawn apart.
struct Apart {
    skin: Skin,
    colours: Vec<Srgb>,
    ink: Vec<u32>,
    /// The middle of each part.
    middles: Vec<DVec3>,
}

impl Apart {
    fn of(segments: &[Segment], bare: Srgb) -> Self {
        let gap = gap(segments);
        let mut apart = Self { skin: Skin::default(), colours: Vec::new(), ink: Vec::new(), middles: Vec::new() };
        for segment in segments {
            let way = segment.home.as_dvec3() * gap;
            let skin = segment.skin();
            let (colours, ink) = inks(&skin, segment.paint(), None, bare);
            let (first, first_ink) = (apart.skin.points.len() as u32, apart.colours.len() as u32);
            apart.skin.points.extend(skin.points.iter().map(|&point| point + way));
            apart.skin.triangles.extend(skin.triangles.iter().map(|triangle| triangle.map(|point| point + first)));
            apart.colours.extend(colours);
            apart.ink.extend(ink.into_iter().map(|ink| ink + first_ink));
            let [low, high] = segment.bounds();
            apart.middles.push((low + high) / 2.0 + way);
        }
        apart
    }

    fn mesh(&self) -> ColouredMesh<'_> {
        let Self { skin, colours, ink, .. } = self;
        ColouredMesh { points: &skin.points, triangles: &skin.triangles, colours, ink }
    }
}

/// How far apart neighbours lie, in mm.
fn gap(segments: &[Segment]) -> f64 {
    let bounds = segments.iter().map(Segment::bounds);
    let whole = bounds.reduce(|[low, high], [l, h]| [low.min(l), high.max(h)]).unwrap_or_default();
    let cuts = segments.iter().map(|segment| segment.home.max_element()).max().unwrap_or(0).max(1);
    APART * (whole[1] - whole[0]).max_element() / f64::from(cuts)
}

fn draw(shop: &mut Shop<'_>, division: &Division) -> Result<(), Halt> {
    let apart = Apart::of(&division.segments, shop.process().bare());
    let views = [View::FrontRight, View::BackLeft];
    let mut pictures = Vec::new();
    for view in views {
        let mut png = Vec::new();
        let image = picture::render(&apart.mesh(), view, PICTURE);
        image.write_png(&mut png).map_err(|error| Halt::Shelf { name: "parts.png".to_owned(), error })?;
        pictures.push((view, png));
        shop.go_on()?;
    }
    let name = shop.free_name("parts.png");
    shop.artefact(&name, "the parts drawn apart, from the corner between front and right (colours shaded)", |out| {
        out.write_all(&pictures[0].1)
    })?;
    let svg = numbered(&apart, &pictures, shop.title());
    let name = shop.free_name("parts.svg");
    shop.artefact(&name, "the parts drawn apart with their numbers, from two corners", |out| {
        out.write_all(svg.as_bytes())
    })?;
    Ok(())
}

/// The pictures side by side, with a number on each part.
fn numbered(apart: &Apart, pictures: &[(View, Vec<u8>)], title: &str) -> String {
    let edge = f64::from(PICTURE);
    let width = edge * pictures.len() as f64;
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" width=\"{}mm\" height=\"{}mm\" \
         viewBox=\"0 0 {width} {edge}\" \
         font-family=\"Helvetica, Arial, 'Liberation Sans', sans-serif\" font-size=\"34\" text-anchor=\"middle\">\n\
         <title>{}</title>\n<rect width=\"{width}\" height=\"{edge}\" fill=\"#ffffff\"/>\n",
        // Ten dots a millimetre.
        width / 10.0,
        edge / 10.0,
        quick_xml::escape::escape(if title.is_empty() { "Parts" } else { title }),
    );
    for (at, (view, png)) in pictures.iter().enumerate() {
        let left = edge * at as f64;
        let _ = writeln!(
            svg,
            "<image x=\"{left}\" y=\"0\" width=\"{edge}\" height=\"{edge}\" xlink:href=\"data:image/png;base64,{}\"/>",
            STANDARD.encode(png)
        );
        let places = picture::places(&apart.skin.points, *view, PICTURE, &apart.middles);
        for (number, [x, y]) in (1..).zip(places) {
            let x = left + x;
            let _ = writeln!(
                svg,
                "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"30\" fill=\"#ffffff\" stroke=\"#222222\" stroke-width=\"3\"/>\
                 <text x=\"{x:.1}\" y=\"{:.1}\" fill=\"#222222\">{number}</text>",
                y + 12.0
            );
        }
        let _ = writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" font-size=\"24\" fill=\"#222222\">{}</text>",
            left + edge / 2.0,
            edge - 12.0,
            if *view == View::FrontRight {
                "from the corner between front and right"
            } else {
                "from the corner between back and left"
            }
        );
    }
    svg.push_str("</svg>\n");
    svg
}
