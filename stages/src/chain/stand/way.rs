//! How far a post can go up inside: the free way above the mouth of an opening.
//!
//! Over a rectangle that lies within the mouth there is air from the mouth up to the lowest place of the piece's skin over that
//! rectangle: found exactly, by clipping every triangle of the skin to the upright column over the rectangle (Sutherland &
//! Hodgman 1974, one upright plane after the other). A post is put in from below by a straight move, so a section passes
//! wherever it will stand once it passes below; sections that lie within one another from bottom to top therefore go in
//! whenever each stands free in its place. A narrower column has its lowest place no lower, so the steps rise.
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

    /// Half its widths.
    pub(super) fn half(&self) -> DVec2 {
        (self.high - self.low) / 2.0
    }

    /// Its clear width.
    pub(super) fn width(&self) -> f64 {
        (self.high - self.low).min_element()
    }
}

/// A column that only touches what stands beside it is free of it: columns are narrower by this on each side, in mm. Far below
/// what is printed (1e-3), far above what sums round to (1e-12).
const TOUCHING: f64 = 1e-6;

/// The triangles of the skin over a mouth.
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
        Self { mouth, over: corners.filter(meets).collect() }
    }

    /// The lowest place of the piece over the column of those half widths around the axis; `None` where nothing is above.
    pub(super) fn lowest(&self, half: DVec2) -> Option<DVec3> {
        let axis = self.mouth.axis();
        let (low, high) = (axis - half + TOUCHING, axis + half - TOUCHING);
        let lowest_of = |triangle: &[DVec3; 3]| {
            let mut piece = triangle.to_vec();
            for at in 0..2 {
                piece = clipped(&piece, |p| p[at] - low[at]);
                piece = clipped(&piece, |p| high[at] - p[at]);
            }
            piece.into_iter().filter(|p| p.z > self.mouth.z).min_by(|a, b| a.z.total_cmp(&b.z))
        };
        self.over.iter().filter_map(lowest_of).min_by(|a, b| a.z.total_cmp(&b.z))
    }

    /// Height of the ceiling at the axis.
    pub(super) fn ceiling(&self) -> Option<f64> {
        self.lowest(DVec2::splat(2.0 * TOUCHING)).map(|place| place.z)
    }
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
    /// Its half widths.
    pub(super) half: DVec2,
    /// Height of its top.
    pub(super) top: f64,
    /// Height up to which its way is free, the clearance included.
    pub(super) free: f64,
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
        let mut steps: Vec<Step> = Vec::new();
        let mut tip = None;
        for inset in (0..).map(|n| f64::from(n) * STEP).take_while(|inset| width - 2.0 * inset >= narrowest) {
            let free = way.lowest(mouth.half() - inset).map_or(f64::INFINITY, |place| place.z);
            let mut high = (free - gap).min(most);
            if width - 2.0 * inset < settings.post.least.mm() {
                // Narrow for a post, so only its tip.
                let from = *tip.get_or_insert(steps.last().map_or(mouth.z, |step| step.top));
                high = high.min(from + settings.post.least.mm());
            }
            if steps.last().map_or(mouth.z, |step| step.top) + STEP <= high {
                steps.push(Step { half: mouth.half() - clearance - inset, top: high, free });
            }
        }
        let blocked = way.lowest(mouth.half());
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
