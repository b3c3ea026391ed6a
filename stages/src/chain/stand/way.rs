//! How far a post can go up inside: the free way above the mouth of an opening.
//!
//! Over a rectangle that lies within the mouth there is air from the mouth up to the lowest place of the piece's skin over that
//! rectangle: found exactly, by clipping every triangle of the skin to the upright column over the rectangle (Sutherland &
//! Hodgman 1974, one upright plane after the other). A post is put in from below by a straight move, so a section passes
//! wherever it will stand once it passes below; sections that lie within one another from bottom to top therefore go in
//! whenever each stands free in its place. A narrower column has its lowest place no lower, so the steps rise. What blocks a step
//! is passed on the side where that costs least of the section, down to a core of the least width around the axis: so the post
//! reaches the ceiling over that core, and over it comes a tip.
//!
//! Guarantees: with the clearance c on each side and the gap g above, no place of the post is nearer than the smaller of the two
//! to the piece; beside the post it is c, above each step at least g.

use glam::{DVec2, DVec3};

use super::settings::Settings;
use crate::process::Process;
use crate::solid::Skin;
use crate::stage::Misfit;
use crate::void::Opening;
use crate::{Length, Side};

/// The opening that the stand goes into.
#[derive(Clone, Debug)]
pub(super) struct Mouth {
    /// Its place among `hollow.openings`.
    pub(super) number: usize,
    /// The shaft's lowest and highest corner, seen from above.
    pub(super) low: DVec2,
    pub(super) high: DVec2,
    /// Height of the plane in which it opens.
    pub(super) z: f64,
    /// Height at which the shaft ends and the cavity begins.
    pub(super) end: f64,
}

impl Mouth {
    /// The opening asked for, or the one in the bottom that is nearest to the centre of mass.
    pub(super) fn choose(asked: Option<usize>, openings: &[Opening], centre: DVec3) -> Result<Self, Misfit> {
        let below = || openings.iter().enumerate().filter(|(_, o)| o.side == Side::Bottom);
        let off = |o: &Opening| ((o.low + o.high) / 2.0 - centre).truncate().length();
        let nearest = below().min_by(|a, b| off(a.1).total_cmp(&off(b.1)));
        let remedy = "write `hollow.openings: [{ side: bottom, width: 24 mm }]`";
        let Some((number, opening)) = nearest else {
            return Err(Misfit::new("", "the piece has no opening in its bottom for the post to go into", remedy));
        };
        let Some(asked) = asked else { return Ok(Self::of(number, opening)) };
        let found = asked.checked_sub(1).and_then(|number| Some((number, openings.get(number)?)));
        match found {
            Some((number, opening)) if opening.side == Side::Bottom => Ok(Self::of(number, opening)),
            Some((_, opening)) => {
                let message = format!("opening {asked} is on the {} side, and a post goes in from below", opening.side);
                Err(Misfit::new("opening", message, format!("choose opening {}", number + 1)))
            }
            None => {
                let message = format!("there is no opening {asked}: the piece has {}", openings.len());
                Err(Misfit::new("opening", message, format!("choose opening {}, or leave it out", number + 1)))
            }
        }
    }

    fn of(number: usize, opening: &Opening) -> Self {
        let (low, high) = (opening.low.truncate(), opening.high.truncate());
        Self { number, low, high, z: opening.mouth(), end: opening.high.z }
    }

    /// The axis of the turn.
    pub(super) fn axis(&self) -> DVec2 {
        (self.low + self.high) / 2.0
    }

    /// What lies over it.
    pub(super) fn column(&self) -> Column {
        Column { low: self.low, high: self.high }
    }

    /// Half its widths.
    pub(super) fn half(&self) -> DVec2 {
        (self.high - self.low) / 2.0
    }

    /// Its clear width.
    pub(super) fn width(&self) -> f64 {
        (self.high - self.low).min_element()
    }
}

/// An upright column, seen from above: a rectangle along the axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Column {
    pub(super) low: DVec2,
    pub(super) high: DVec2,
}

impl Column {
    pub(super) fn around(middle: DVec2, half: f64) -> Self {
        Self { low: middle - half, high: middle + half }
    }

    /// Narrower by that on each side.
    fn inset(self, by: f64) -> Self {
        Self { low: self.low + by, high: self.high - by }
    }

    /// With one side drawn in, though not into the core.
    fn drawn_in(mut self, side: Side, by: f64, core: Self) -> Self {
        let axis = side.axis();
        if side.positive() {
            self.high[axis] = (self.high[axis] - by).max(core.high[axis].min(self.high[axis]));
        } else {
            self.low[axis] = (self.low[axis] + by).min(core.low[axis].max(self.low[axis]));
        }
        self
    }

    pub(super) fn middle(self) -> DVec2 {
        self.low.midpoint(self.high)
    }

    pub(super) fn half(self) -> DVec2 {
        (self.high - self.low) / 2.0
    }

    /// The smaller of its widths.
    pub(super) fn width(self) -> f64 {
        (self.high - self.low).min_element()
    }

    fn area(self) -> f64 {
        (self.high - self.low).element_product()
    }

    /// How far a place lies inside it, at least.
    pub(super) fn around_place(self, place: DVec2) -> f64 {
        (place - self.low).min(self.high - place).min_element()
    }
}

/// A column that only touches what stands beside it is free of it: columns are narrower by this on each side, in mm. Far below
/// what is printed (1e-3), far above what sums round to (1e-12).
const TOUCHING: f64 = 1e-6;

/// The triangles of the skin over a mouth, those that begin lowest first.
pub(super) struct Way<'a> {
    mouth: &'a Mouth,
    over: Vec<[DVec3; 3]>,
}

impl<'a> Way<'a> {
    pub(super) fn over(skin: &Skin, mouth: &'a Mouth) -> Self {
        let corners = skin.triangles.iter().map(|t| t.map(|i| skin.points[i as usize]));
        let meets = |t: &[DVec3; 3]| {
            let low = t.iter().fold(DVec3::INFINITY, |low, p| low.min(*p));
            let high = t.iter().fold(DVec3::NEG_INFINITY, |high, p| high.max(*p));
            high.z > mouth.z && low.truncate().cmplt(mouth.high).all() && high.truncate().cmpgt(mouth.low).all()
        };
        let mut over: Vec<[DVec3; 3]> = corners.filter(meets).collect();
        over.sort_by(|a, b| foot_of(a).total_cmp(&foot_of(b)));
        Self { mouth, over }
    }

    /// The lowest place of the piece over a column within the mouth; `None` where nothing is above.
    pub(super) fn lowest(&self, column: Column) -> Option<DVec3> {
        let Column { low, high } = column.inset(TOUCHING);
        let mut lowest: Option<DVec3> = None;
        for triangle in &self.over {
            // They come from below: from here on none has a lower place.
            if lowest.is_some_and(|place| place.z <= foot_of(triangle)) {
                break;
            }
            let mut piece = triangle.to_vec();
            for at in 0..2 {
                piece = clipped(&piece, |p| p[at] - low[at]);
                piece = clipped(&piece, |p| high[at] - p[at]);
            }
            let places = piece.into_iter().filter(|p| p.z > self.mouth.z).chain(lowest);
            lowest = places.min_by(|a, b| a.z.total_cmp(&b.z));
        }
        lowest
    }

    /// Height of the ceiling at the axis.
    pub(super) fn ceiling(&self) -> Option<f64> {
        self.lowest(Column::around(self.mouth.axis(), 2.0 * TOUCHING)).map(|place| place.z)
    }
}

/// Height of a triangle's lowest corner.
fn foot_of(triangle: &[DVec3; 3]) -> f64 {
    triangle.iter().fold(f64::INFINITY, |low, corner| low.min(corner.z))
}

/// What of a polygon lies where `inside` is not negative.
fn clipped(polygon: &[DVec3], inside: impl Fn(&DVec3) -> f64) -> Vec<DVec3> {
    let mut kept = Vec::with_capacity(polygon.len() + 1);
    for (i, a) in polygon.iter().enumerate() {
        let b = &polygon[(i + 1) % polygon.len()];
        let (at_a, at_b) = (inside(a), inside(b));
        if at_a >= 0.0 {
            kept.push(*a);
        }
        if (at_a < 0.0) != (at_b < 0.0) {
            kept.push(*a + (*b - *a) * (at_a / (at_a - at_b)));
        }
    }
    kept
}

/// A part of the post: as wide as that up to a height.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Step {
    /// Seen from above.
    pub(super) section: Column,
    /// Height of its top.
    pub(super) top: f64,
    /// Height up to which its way is free, with `beside` around it.
    pub(super) free: f64,
    /// Air beside it, at least.
    pub(super) beside: f64,
}

/// Steps of a post, as far as they are found.
struct Steps {
    steps: Vec<Step>,
    /// Height of the last one's top.
    from: f64,
    /// No step goes higher.
    most: f64,
    clearance: f64,
    gap: f64,
}

impl Steps {
    /// Puts on what stands free in a column, if it rises enough to show; gives the place that stands over it.
    fn add(&mut self, way: &Way<'_>, column: Column) -> Option<DVec3> {
        let blocked = way.lowest(column);
        let free = blocked.map_or(f64::INFINITY, |place| place.z);
        let top = (free - self.gap).min(self.most);
        if self.from + STEP <= top {
            let beside = self.clearance + LEDGE * self.steps.len() as f64;
            self.steps.push(Step { section: column.inset(beside), top, free, beside });
            self.from = top;
        }
        blocked.filter(|place| place.z - self.gap < self.most)
    }

    /// Steps from the whole mouth to the core around the axis: each gives way to what blocks the one below on the side where
    /// that costs least of its section, so that a wall on one side does not make it thin on all.
    fn up_to_the_core(&mut self, way: &Way<'_>, mouth: Column, core: Column) {
        let mut column = mouth;
        while let Some(blocked) = self.add(way, column).filter(|_| column != core) {
            let past = |side: Side| {
                let sides = (1..).map(|steps| column.drawn_in(side, f64::from(steps) * STEP, core));
                // It ends at the core's own side at the latest.
                let mut last = column;
                for tried in sides {
                    if tried == last {
                        return None;
                    }
                    if way.lowest(tried).is_none_or(|place| place.z > blocked.z + STEP) {
                        return Some(tried);
                    }
                    last = tried;
                }
                None
            };
            let sides = [Side::Right, Side::Left, Side::Back, Side::Front];
            let widest = sides.into_iter().filter_map(past).max_by(|a, b| a.area().total_cmp(&b.area()));
            column = widest.unwrap_or_else(|| sides.into_iter().fold(column, |c, side| c.drawn_in(side, STEP, core)));
        }
    }
}

/// The post.
#[derive(Clone, Debug)]
pub(super) struct Post {
    /// From the widest, at the mouth, to the narrowest; never empty.
    pub(super) steps: Vec<Step>,
    /// Height of the ceiling at the axis.
    pub(super) ceiling: f64,
    /// Where the cavity first stands in the way of the whole outline.
    pub(super) blocked: Option<DVec3>,
    pub(super) clearance: f64,
    pub(super) gap: f64,
}

/// By how much a step is narrower than the one below, on each side, and the least that it rises, in mm: what shows as a step
/// and not as a bad wall.
const STEP: f64 = 1.0;
/// By how much each step lies within the one below on every side, at least, in mm: outlines that share an edge would make a ledge
/// of no width there.
const LEDGE: f64 = 0.05;

impl Post {
    /// The highest post that goes in.
    pub(super) fn of(
        settings: &Settings,
        process: &Process,
        mouth: &Mouth,
        way: &Way<'_>,
        top: f64,
    ) -> Result<Self, Misfit> {
        let (clearance, _) = settings.clearance(process);
        let gap = settings.gap(process);
        let narrowest = settings.printer.smallest_wall.mm();
        let width = mouth.width() - 2.0 * clearance;
        wide_enough(settings, mouth, width)?;
        // Where nothing is above, the post stays inside all the same.
        let most = settings.post.most.map_or(top, |most| mouth.z + most.mm()).min(top);
        let mut steps = Steps { steps: Vec::new(), from: mouth.z, most, clearance, gap };
        // As wide as a post must be after some steps.
        let core = Column::around(mouth.axis(), settings.post.least.mm() / 2.0 + clearance + 8.0 * LEDGE);
        steps.up_to_the_core(way, mouth.column(), core);
        // Narrow for a post, so only its tip.
        steps.most = most.min(steps.from + settings.post.least.mm());
        let mut tip = core.inset(STEP);
        while tip.width() - 2.0 * clearance >= narrowest {
            steps.add(way, tip);
            tip = tip.inset(STEP);
        }
        let steps = steps.steps;
        let blocked = way.lowest(mouth.column());
        let ceiling = way.ceiling().unwrap_or(f64::INFINITY);
        let post = Self { steps, ceiling, blocked, clearance, gap };
        if post.steps.is_empty() { Err(post.no_way(settings, mouth)) } else { Ok(post) }
    }

    fn no_way(&self, settings: &Settings, mouth: &Mouth) -> Misfit {
        let free = self.blocked.map_or(0.0, |place| place.z - mouth.z);
        let setting = if settings.post.gap.is_some_and(|gap| gap.mm() > free / 2.0) { "post.gap" } else { "" };
        Misfit::new(
            setting,
            format!(
                "nothing of a post goes in: the way up is free for {free:.2} mm, of which {} mm are its gap",
                self.gap
            ),
            format!(
                "ask for a smaller `post.gap`, or move the opening with `hollow.openings[{}].at` to where the cavity is higher",
                mouth.number
            ),
        )
    }

    /// Height of its top.
    pub(super) fn top(&self) -> f64 {
        self.steps[self.steps.len() - 1].top
    }
}

/// Whether the post is wide enough for what it is to carry and to be printed.
fn wide_enough(settings: &Settings, mouth: &Mouth, width: f64) -> Result<(), Misfit> {
    let least = settings.printer.smallest_wall;
    let clearance = (mouth.width() - width) / 2.0;
    let opening = format!("hollow.openings[{}].width", mouth.number);
    let [wide, post] = [mouth.width(), width].map(|w| Length::from_mm(w).rounded());
    if width < least.mm() {
        let needed = Length::from_mm(least.mm() + 2.0 * clearance).rounded();
        return Err(Misfit::new(
            "printer.smallest_wall",
            format!(
                "an opening {wide} wide leaves {post} for the post, and the stand's printer makes none thinner than {least}"
            ),
            format!("make `{opening}` at least {needed}, or ask for a smaller `clearance`"),
        ));
    }
    // A post thinner than the shaft would be the weakest link between motor and piece.
    let shaft = settings.shaft.across;
    let needed = shaft.mm().max(settings.post.least.mm());
    if width >= needed {
        return Ok(());
    }
    let (setting, what) = if needed > shaft.mm() {
        ("post.least", format!("the {} that a post needs", settings.post.least))
    } else {
        ("shaft.across", format!("the shaft of {shaft} that turns it"))
    };
    Err(Misfit::new(
        setting,
        format!("an opening {wide} wide leaves {post} for the post: less than {what}"),
        format!(
            "make `{opening}` at least {}, or choose a motor with a thinner shaft and a smaller `post.least`",
            Length::from_mm(needed + 2.0 * clearance).rounded()
        ),
    ))
}
