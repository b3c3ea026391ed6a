//! The sheet that charts are drawn on: shapes for `templates/chart.svg`, which take their looks from the stylesheet.

use std::convert::Infallible;

use plotters_backend::text_anchor::{HPos, VPos};
use plotters_backend::{BackendColor, BackendStyle, BackendTextStyle, DrawingBackend, DrawingErrorKind};

/// A place on a sheet, in tenths of a pixel from its left and upper edge.
pub(crate) type Place = (i32, i32);

/// Tenths in a pixel: the library knows whole numbers only, and a pixel is too coarse for a line.
pub(crate) const TENTHS: i32 = 10;

/// From one line of a text to the next, in heights of its letters.
const LEADING: f64 = 1.35;

/// An SVG element of a chart. The template escapes whatever is text.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Shape {
    /// The element's name.
    pub(crate) element: &'static str,
    /// What it is, for the stylesheet.
    pub(crate) class: String,
    /// Its attributes.
    pub(crate) attributes: Vec<(&'static str, String)>,
    /// What it says to whoever points at it.
    pub(crate) title: Option<String>,
    /// The words of a text.
    pub(crate) text: Option<String>,
}

impl Shape {
    /// A path.
    pub(crate) fn path(class: impl Into<String>, d: String) -> Self {
        Self { element: "path", class: class.into(), attributes: vec![("d", d)], title: None, text: None }
    }

    /// A circle around a place; its radius in tenths of a pixel.
    pub(crate) fn circle(class: &str, (x, y): Place, radius: i32) -> Self {
        let attributes = vec![("cx", tenths(x)), ("cy", tenths(y)), ("r", tenths(radius))];
        Self { element: "circle", class: class.to_owned(), attributes, title: None, text: None }
    }

    /// A rectangle with a place in its middle; width and height in tenths of a pixel.
    pub(crate) fn rectangle(class: &str, (x, y): Place, [width, height]: [i32; 2]) -> Self {
        let corner = [("x", tenths(x - width / 2)), ("y", tenths(y - height / 2))];
        let attributes = corner.into_iter().chain([("width", tenths(width)), ("height", tenths(height))]).collect();
        Self { element: "rect", class: class.to_owned(), attributes, title: None, text: None }
    }

    /// Words in one line, where `anchor` says how they stand across a place; they stand on it.
    pub(crate) fn text(class: &str, (x, y): Place, anchor: &str, words: impl Into<String>) -> Self {
        let attributes = vec![("x", tenths(x)), ("y", tenths(y)), ("text-anchor", anchor.to_owned())];
        Self { element: "text", class: class.to_owned(), attributes, title: None, text: Some(words.into()) }
    }

    /// With an attribute more.
    pub(crate) fn with(mut self, name: &'static str, value: &(impl ToString + ?Sized)) -> Self {
        self.attributes.push((name, value.to_string()));
        self
    }

    /// With words for whoever points at it.
    pub(crate) fn titled(mut self, title: String) -> Self {
        self.title = Some(title);
        self
    }
}

/// A coordinate in pixels, without a needless `.0`.
pub(crate) fn tenths(units: i32) -> String {
    let text = format!("{:.1}", f64::from(units) / f64::from(TENTHS));
    text.strip_suffix(".0").map(str::to_owned).unwrap_or(text)
}

/// A line through places, as the `d` of a path.
pub(crate) fn line(places: &[Place]) -> String {
    let command = |at| if at == 0 { 'M' } else { 'L' };
    places.iter().enumerate().map(|(at, &(x, y))| format!("{}{} {}", command(at), tenths(x), tenths(y))).collect()
}

/// A square around a place, half as wide as `half` says in tenths of a pixel, as the `d` of a path.
pub(crate) fn square((x, y): Place, half: i32) -> String {
    let side = tenths(2 * half);
    format!("M{} {}h{side}v{side}h-{side}Z", tenths(x - half), tenths(y - half))
}

/// A cross on a place, half as wide as `half` says in tenths of a pixel, as the `d` of a path.
pub(crate) fn cross((x, y): Place, half: i32) -> String {
    let side = tenths(2 * half);
    let [left, upper, lower] = [x - half, y - half, y + half].map(tenths);
    format!("M{left} {upper}l{side} {side}M{left} {lower}l{side} -{side}")
}

/// A line that the library draws by itself. It hands colours to a backend: here a colour is nothing but the number of the
/// pen, for what a pen looks like is the stylesheet's to say, by light, by dark and on paper.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Pen {
    /// Axes and the marks on them.
    Axis,
    /// Lines across the field at the marks.
    Grid,
}

impl Pen {
    const ALL: [Self; 2] = [Self::Axis, Self::Grid];

    fn class(self) -> &'static str {
        match self {
            Self::Axis => "axis",
            Self::Grid => "grid",
        }
    }

    /// The number of the pen, as a colour.
    pub(super) fn colour(self) -> plotters::style::RGBColor {
        plotters::style::RGBColor(0, 0, self as u8)
    }

    fn of(colour: BackendColor) -> Self {
        let (_, _, number) = colour.rgb;
        Self::ALL.into_iter().find(|pen| *pen as u8 == number).unwrap_or(Self::Axis)
    }
}

/// What the library draws on: shapes, one above the other.
pub(super) struct Sheet<'a> {
    pub(super) size: (u32, u32),
    pub(super) shapes: &'a mut Vec<Shape>,
}

type Drawn = Result<(), DrawingErrorKind<Infallible>>;

/// Lines and texts are what the library draws here by itself; everything else comes as shapes.
impl DrawingBackend for Sheet<'_> {
    type ErrorType = Infallible;

    fn get_size(&self) -> (u32, u32) {
        self.size
    }

    fn ensure_prepared(&mut self) -> Drawn {
        Ok(())
    }

    fn present(&mut self) -> Drawn {
        Ok(())
    }

    fn draw_pixel(&mut self, point: Place, colour: BackendColor) -> Drawn {
        self.draw_line(point, (point.0 + 1, point.1), &colour)
    }

    fn draw_line<S: BackendStyle>(&mut self, from: Place, to: Place, style: &S) -> Drawn {
        self.draw_path([from, to], style)
    }

    fn draw_path<S: BackendStyle, I: IntoIterator<Item = Place>>(&mut self, path: I, style: &S) -> Drawn {
        let colour = style.color();
        if colour.alpha > 0.0 {
            let places: Vec<_> = path.into_iter().collect();
            self.shapes.push(Shape::path(Pen::of(colour).class(), line(&places)));
        }
        Ok(())
    }

    fn draw_text<S: BackendTextStyle>(&mut self, text: &str, style: &S, (x, y): Place) -> Drawn {
        let anchor = match style.anchor().h_pos {
            HPos::Left => "start",
            HPos::Center => "middle",
            HPos::Right => "end",
        };
        // From the place to the foot of the first line, in heights of letters, which the stylesheet says.
        let first = match style.anchor().v_pos {
            VPos::Top => 0.9,
            VPos::Center => 0.35,
            VPos::Bottom => -0.25,
        };
        for (number, words) in text.lines().enumerate() {
            let down = first + LEADING * number as f64;
            self.shapes.push(Shape::text("mark", (x, y), anchor, words).with("dy", &format!("{down:.2}em")));
        }
        Ok(())
    }
}
