//! Charts. Scales, round marks, axes and places come from `plotters`, which draws on a sheet of our own ([`sheet`]);
//! `templates/chart.svg` writes what it drew. So text stays text, colours and sizes stay in the stylesheet, and a line may
//! have edges, dashes or words of its own.

mod sheet;

use plotters::chart::{ChartBuilder, LabelAreaPosition};
use plotters::coord::ranged1d::{BoldPoints, KeyPointHint, NoDefaultFormatting, Ranged, ValueFormatter};
use plotters::coord::types::RangedCoordf64;
use plotters::drawing::{DrawingAreaErrorKind, IntoDrawingArea};
use plotters::element::{Drawable, PointCollection};
use plotters_backend::DrawingErrorKind;

use sheet::{Pen, Sheet};
pub(crate) use sheet::{Place, Shape, TENTHS, cross, line, square, tenths};

/// No axis reaches beyond: the extent between its ends must be a number.
const FARTHEST: f64 = 1e300;

/// The least extent of an axis, and as a share of its values: with less, marks would be told apart by rounding alone.
const LEAST_EXTENT: f64 = 1e-9;

/// The size of a drawing and the space around its field, in pixels.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Frame {
    pub(crate) width: i32,
    pub(crate) height: i32,
    pub(crate) left: i32,
    pub(crate) right: i32,
    pub(crate) above: i32,
    pub(crate) below: i32,
    /// Whether lines run across the field at the marks, instead of axes along it.
    pub(crate) grid: bool,
}

impl Frame {
    /// The left, upper, right and lower end of the field, in tenths of a pixel.
    pub(crate) fn field(&self) -> [i32; 4] {
        [self.left, self.above, self.width - self.right, self.height - self.below].map(|end| end * TENTHS)
    }
}

/// A chart, ready for the template.
#[derive(Clone, Debug)]
pub(crate) struct Drawing {
    /// Its width, in pixels.
    pub(crate) width: i32,
    /// Its height, in pixels.
    pub(crate) height: i32,
    /// What it shows, one above the other.
    pub(crate) shapes: Vec<Shape>,
}

impl Drawing {
    /// Whether it shows something of a class.
    pub(crate) fn has(&self, class: &str) -> bool {
        self.shapes.iter().any(|shape| shape.class == class)
    }
}

/// A range of values, least first, with marks.
#[derive(Clone, Debug)]
pub(crate) struct Axis {
    ends: [f64; 2],
    marks: Vec<(f64, String)>,
}

impl Axis {
    /// An axis with at most `most` marks at round values.
    pub(crate) fn round(ends: [f64; 2], most: usize, text: impl Fn(f64) -> String) -> Self {
        let axis = Self::marked(ends, Vec::new());
        let marks = axis.scale().key_points(BoldPoints(most));
        Self { marks: marks.into_iter().map(|mark| (mark, text(mark))).collect(), ..axis }
    }

    /// An axis with these marks.
    pub(crate) fn marked(ends: [f64; 2], marks: Vec<(f64, String)>) -> Self {
        Self { ends: sound(ends), marks }
    }

    /// The ends of the axis, as they are drawn.
    pub(crate) fn ends(&self) -> [f64; 2] {
        self.ends
    }

    /// Whether a value lies on the axis.
    pub(crate) fn has(&self, value: f64) -> bool {
        (self.ends[0]..=self.ends[1]).contains(&value)
    }

    fn scale(&self) -> RangedCoordf64 {
        RangedCoordf64::from(self.ends[0]..self.ends[1])
    }
}

/// Ends that can be drawn: a range without extent is widened, so that every value has a place.
fn sound([least, most]: [f64; 2]) -> [f64; 2] {
    let within = |end: f64| if end.is_nan() { 0.0 } else { end.clamp(-FARTHEST, FARTHEST) };
    let [least, most] = [within(least), within(most)];
    let extent = LEAST_EXTENT * f64::max(least.abs(), most.abs()).max(1.0);
    if most - least > extent {
        return [least, most];
    }
    let half = 0.5_f64.max(extent);
    [least - half, least + half]
}

impl Ranged for Axis {
    type FormatOption = NoDefaultFormatting;
    type ValueType = f64;

    /// Values beyond the ends lie on them.
    fn map(&self, value: &f64, limit: (i32, i32)) -> i32 {
        self.scale().map(&value.clamp(self.ends[0], self.ends[1]), limit)
    }

    fn key_points<Hint: KeyPointHint>(&self, hint: Hint) -> Vec<f64> {
        let marks = self.marks.iter().map(|(value, _)| *value);
        if hint.weight().allow_light_points() { Vec::new() } else { marks.collect() }
    }

    fn range(&self) -> std::ops::Range<f64> {
        self.ends[0]..self.ends[1]
    }
}

impl ValueFormatter<f64> for Axis {
    fn format_ext(&self, value: &f64) -> String {
        self.marks.iter().find(|(mark, _)| mark == value).map(|(_, text)| text.clone()).unwrap_or_default()
    }
}

/// Shapes for places on the sheet.
type Draw<'a> = dyn Fn(&[Place]) -> Vec<Shape> + 'a;

/// Shapes at or along points of a chart.
pub(crate) struct Along<'a> {
    points: Vec<(f64, f64)>,
    shapes: Box<Draw<'a>>,
}

impl<'a> Along<'a> {
    /// What is drawn where these points lie, each of which is across and up.
    pub(crate) fn new(
        points: impl IntoIterator<Item = [f64; 2]>,
        shapes: impl Fn(&[Place]) -> Vec<Shape> + 'a,
    ) -> Self {
        Self { points: points.into_iter().map(<(f64, f64)>::from).collect(), shapes: Box::new(shapes) }
    }

    /// What is drawn at one point.
    pub(crate) fn at(point: [f64; 2], shapes: impl Fn(Place) -> Vec<Shape> + 'a) -> Self {
        Self::new([point], move |places| places.iter().flat_map(|&place| shapes(place)).collect())
    }

    /// A line through points.
    pub(crate) fn line(class: &'static str, points: impl IntoIterator<Item = [f64; 2]>) -> Self {
        Self::new(points, move |places| vec![Shape::path(class, line(places))])
    }
}

impl<'p> PointCollection<'p, (f64, f64)> for &'p Along<'_> {
    type Point = &'p (f64, f64);
    type IntoIter = std::slice::Iter<'p, (f64, f64)>;

    fn point_iter(self) -> Self::IntoIter {
        self.points.iter()
    }
}

impl Drawable<Sheet<'_>> for Along<'_> {
    fn draw<I: Iterator<Item = Place>>(
        &self,
        places: I,
        sheet: &mut Sheet<'_>,
        _: (u32, u32),
    ) -> Result<(), DrawingErrorKind<std::convert::Infallible>> {
        sheet.shapes.extend((self.shapes)(&places.collect::<Vec<_>>()));
        Ok(())
    }
}

/// Draws a chart: axes with their marks, then what lies between them, one above the other. Nothing if the frame leaves no
/// room for a field.
pub(crate) fn draw(frame: &Frame, across: Axis, up: Axis, series: &[Along<'_>]) -> Option<Drawing> {
    let mut shapes = Vec::new();
    draw_on(&mut shapes, frame, across, up, series).ok()?;
    Some(Drawing { width: frame.width, height: frame.height, shapes })
}

fn draw_on(
    shapes: &mut Vec<Shape>,
    frame: &Frame,
    across: Axis,
    up: Axis,
    series: &[Along<'_>],
) -> Result<(), DrawingAreaErrorKind<std::convert::Infallible>> {
    let units = |pixels: i32| (pixels * TENTHS).max(0);
    // To the library an area ends before its last unit; the field ends on it.
    let size = [frame.width, frame.height].map(|pixels| units(pixels).unsigned_abs() + 1);
    let area = Sheet { size: size.into(), shapes }.into_drawing_area();
    let mut chart = ChartBuilder::on(&area)
        .margin_top(units(frame.above))
        .margin_right(units(frame.right))
        .set_label_area_size(LabelAreaPosition::Left, units(frame.left))
        .set_label_area_size(LabelAreaPosition::Bottom, units(frame.below))
        .build_cartesian_2d(across, up)?;
    let mut mesh = chart.configure_mesh();
    mesh.bold_line_style(Pen::Grid.colour()).axis_style(Pen::Axis.colour());
    if frame.grid {
        // Lines across the field need neither an axis nor marks on it, but the room of the marks.
        mesh.axis_style(plotters::style::TRANSPARENT);
    } else {
        mesh.disable_mesh();
    }
    mesh.set_all_tick_mark_size(4 * TENTHS).draw()?;
    series.iter().try_for_each(|along| chart.plotting_area().draw(along))
}

/// Moves places along one line apart until neighbours are `apart` from each other, as little as a pass upwards and one
/// downwards can, within `[from, to]` if they fit. The order is kept.
pub(crate) fn spread_apart(places: &mut [i32], apart: i32, [from, to]: [i32; 2]) {
    let mut order: Vec<_> = (0..places.len()).collect();
    order.sort_by_key(|&place| places[place]);
    let mut least = from;
    for &place in &order {
        places[place] = places[place].max(least);
        least = places[place] + apart;
    }
    let mut most = to;
    for &place in order.iter().rev() {
        places[place] = places[place].min(most);
        most = places[place] - apart;
    }
}

#[cfg(test)]
mod tests;
