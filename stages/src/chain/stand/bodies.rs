//! The three bodies: stand, peg and spacer, in the piece's own coordinates, as put together.
//!
//! From above: the post in the piece; the collar under it; the base. In the base's underside a hexagonal recess with a roof at
//! 45° that needs no support; in it the peg's head, which lies on the spacer; the peg's hub goes through the spacer and the
//! panel and takes the shaft from below. So the peg moves up and down freely: the panel carries all the weight by the spacer,
//! and the motor none.

use glam::{DVec2, DVec3};

use super::outline::{self, Of};
use super::settings::{Settings, too_thin};
use super::way::{Mouth, Post};
use crate::Length;
use crate::process::Process;
use crate::solid::Surface;
use crate::solid::stacked::{Looks, Stacked};
use crate::stage::Misfit;

/// By how much the peg's head is wider than its hub, on each side, in mm: it lies on the spacer by this less the play.
const SHOULDER: f64 = 1.2;
/// Air between the peg's head and the recess's roof, and between the shaft's end and the socket's, in mm.
const AIR: f64 = 0.5;
/// Half of the level part of the recess's roof, in mm: a bridge of twice that prints without support (common practice).
const BRIDGE: f64 = 2.0;
/// By how much the hub stands out below the panel, at least, in mm.
const BELOW: f64 = 1.0;
/// By how much the base is wider than the spacer, on each side, in mm: the spacer does not show.
const RIM: f64 = 1.0;
/// The base's thickness where nobody asks for another and the recess needs no more, in mm.
const THICKNESS: f64 = 6.0;
/// Least width of the ring on which all turns, in mm.
const RING: f64 = 3.0;

/// The measures that follow from the settings and the opening, in mm; heights in the piece's own coordinates.
#[derive(Clone, Debug)]
pub(super) struct Measures {
    pub(super) axis: DVec2,
    /// Half widths of the collar.
    pub(super) collar: DVec2,
    /// Corners of the post are cut off by this, to go past rounded corners of the opening.
    pub(super) cut: f64,
    /// Height of the mouth: the collar's upper side.
    pub(super) mouth: f64,
    /// Height of the base's upper side, underside, and of the spacer's underside.
    pub(super) deck: f64,
    pub(super) foot: f64,
    pub(super) rest: f64,
    /// Of the recess: its size across flats, the height of its straight part's end and of its roof.
    pub(super) recess: f64,
    pub(super) straight: f64,
    pub(super) roof: f64,
    /// Of the peg: size across flats and top of its head, radius and lower end of its hub, roof of its socket.
    pub(super) head: f64,
    pub(super) head_top: f64,
    pub(super) hub: f64,
    pub(super) hub_end: f64,
    pub(super) socket_roof: f64,
    /// Of the spacer: its hole's radius.
    pub(super) hole: f64,
    /// The base's least radius.
    pub(super) least_base: f64,
}

impl Measures {
    pub(super) fn of(
        settings: &Settings,
        process: &Process,
        mouth: &Mouth,
        collar: DVec2,
        post: &Post,
        lowest: f64,
    ) -> Result<Self, Misfit> {
        let wall = settings.printer.smallest_wall.mm();
        let socket = outline::farthest(&outline::socket(DVec2::ZERO, &settings.shaft), DVec2::ZERO);
        let hub = socket + settings.peg_wall();
        let head = 2.0 * (hub + SHOULDER.max(settings.spacer.play.mm() + wall));
        let recess = head + 2.0 * settings.peg.clearance.mm();
        let grip = settings.peg.grip.mm();
        let depth = grip + AIR;
        let height = depth + (recess / 2.0 - BRIDGE).max(0.0);

        let deck = lowest - settings.collar.lift.mm();
        let enclosed = Enclosed {
            recess,
            depth,
            height,
            wall,
            deck,
            mouth: mouth.z,
            collar,
            axis: mouth.axis(),
            post: &post.steps[0],
        };
        let thickness = enclosed.thickness(settings)?;
        let foot = deck - thickness;
        let rest = foot - settings.spacer.thickness.mm();
        let head_top = foot + grip;
        // The socket's end leaves a floor of a wall below the head's top.
        let socket_depth = settings.shaft.length.mm() + AIR;
        let through = rest - settings.peg.panel.mm() - BELOW;
        let hub_end = through.min(head_top - wall - socket_depth);
        let out = outline::hexagon_corner(recess);
        let least_base = (collar.length() + RIM).max(out + wall.max(RING) + RIM);
        // A rounded corner of radius r in the opening leaves the corner by r (√2 − 1) along the diagonal, the post's corner
        // by the clearance times √2: cut by (2 − √2)(r − c) the two keep the clearance.
        let radius = process.edge_radius.range.map_or(process.edge_radius.value, |[_, most]| most).mm();
        let cut = ((2.0 - std::f64::consts::SQRT_2) * (radius - post.clearance)).max(0.0);
        Ok(Self {
            axis: mouth.axis(),
            collar,
            cut,
            mouth: mouth.z,
            deck,
            foot,
            rest,
            recess,
            straight: foot + depth,
            roof: foot + height,
            head,
            head_top,
            hub,
            hub_end,
            socket_roof: hub_end + socket_depth,
            hole: hub + settings.spacer.play.mm(),
            least_base,
        })
    }

    /// The radius within which nothing turns on the spacer, as the recess is over it.
    pub(super) fn bearing_from(&self) -> f64 {
        outline::hexagon_corner(self.recess)
    }

    /// The radius of the spacer under a base, where the settings name none.
    pub(super) fn spacer_under(base: f64) -> f64 {
        base - RIM
    }

    /// The stand, on a base of that radius.
    pub(super) fn stand(&self, post: &Post, base: f64) -> Surface {
        let axis = self.axis;
        let mut body = Stacked::default();
        let disc = outline::circle(axis, base, Of::Body);
        let collar = outline::rectangle(axis, self.collar, 0.0);
        let recess = outline::hexagon(axis, self.recess);

        let (under, over) = (body.ring(self.foot, &disc), body.ring(self.deck, &disc));
        body.wall(&under, &over);
        let (low, high) = (body.ring(self.deck, &collar), body.ring(self.mouth, &collar));
        body.ledge(&over, &low, Looks::Up);
        body.wall(&low, &high);
        let (mut below, mut level) = (high, self.mouth);
        for step in &post.steps {
            let (middle, half) = (step.section.middle(), step.section.half());
            let section = outline::rectangle(middle, half, self.cut.min(half.min_element() / 2.0));
            let (low, high) = (body.ring(level, &section), body.ring(step.top, &section));
            body.ledge(&below, &low, Looks::Up);
            body.wall(&low, &high);
            (below, level) = (high, step.top);
        }
        body.plate(&below, Looks::Up);

        let (rim, end) = (body.ring(self.foot, &recess), body.ring(self.straight, &recess));
        body.ledge(&under, &rim, Looks::Down);
        body.wall(&end, &rim);
        let top = if self.roof > self.straight {
            let top = body.ring(self.roof, &outline::hexagon(axis, 2.0 * BRIDGE));
            body.wall(&top, &end);
            top
        } else {
            end
        };
        body.plate(&top, Looks::Down);
        closed(body)
    }

    /// The peg.
    pub(super) fn peg(&self, settings: &Settings) -> Surface {
        let axis = self.axis;
        let mut body = Stacked::default();
        let head = outline::hexagon(axis, self.head);
        let hub = outline::circle(axis, self.hub, Of::Body);
        let socket = outline::socket(axis, &settings.shaft);
        let (end, shoulder) = (body.ring(self.hub_end, &hub), body.ring(self.foot, &hub));
        let (under, over) = (body.ring(self.foot, &head), body.ring(self.head_top, &head));
        let (mouth, roof) = (body.ring(self.hub_end, &socket), body.ring(self.socket_roof, &socket));
        body.ledge(&end, &mouth, Looks::Down);
        body.wall(&end, &shoulder);
        body.ledge(&under, &shoulder, Looks::Down);
        body.wall(&under, &over);
        body.plate(&over, Looks::Up);
        body.wall(&roof, &mouth);
        body.plate(&roof, Looks::Down);
        closed(body)
    }

    /// The spacer of that radius.
    pub(super) fn spacer(&self, radius: f64) -> Surface {
        let mut body = Stacked::default();
        let disc = outline::circle(self.axis, radius, Of::Body);
        let hole = outline::circle(self.axis, self.hole, Of::Hole);
        let (under, over) = (body.ring(self.rest, &disc), body.ring(self.foot, &disc));
        let (low, high) = (body.ring(self.rest, &hole), body.ring(self.foot, &hole));
        body.ledge(&under, &low, Looks::Down);
        body.wall(&under, &over);
        body.ledge(&over, &high, Looks::Up);
        body.wall(&high, &low);
        closed(body)
    }
}

fn closed(body: Stacked) -> Surface {
    body.surface().expect("measures are finite")
}

/// How far the recess reaches up, and what is around it.
struct Enclosed<'a> {
    recess: f64,
    depth: f64,
    height: f64,
    wall: f64,
    deck: f64,
    mouth: f64,
    collar: DVec2,
    axis: DVec2,
    post: &'a super::way::Step,
}

impl Enclosed<'_> {
    /// The base's thickness: as asked for, or the usual one and more where the recess needs it.
    fn thickness(&self, settings: &Settings) -> Result<f64, Misfit> {
        // As thick as the whole recess and a wall over it always does.
        let whole = self.height + self.wall;
        let holds = |&thickness: &f64| thickness >= whole || self.holds(thickness);
        let tried =
            (0..).map(|n| THICKNESS + 0.5 * f64::from(n)).take_while(|&t| t < whole).chain([whole.max(THICKNESS)]);
        let usual = tried.into_iter().find(holds).unwrap_or(whole);
        let Some(asked) = settings.base.thickness else { return Ok(usual) };
        if holds(&asked.mm()) {
            return Ok(asked.mm());
        }
        let mut misfit = too_thin(
            "base.thickness",
            "the wall around the recess for the peg",
            self.least(asked.mm()),
            settings.printer.smallest_wall,
        );
        misfit.remedy = format!(
            "make the base {} thick, ask for a wider opening, or take a motor with a thinner shaft",
            Length::from_mm(usual).rounded()
        );
        Err(misfit)
    }

    fn holds(&self, thickness: f64) -> bool {
        self.least(thickness) >= self.wall
    }

    /// The thinnest wall around the recess in collar and post, or over it.
    fn least(&self, thickness: f64) -> f64 {
        let foot = self.deck - thickness;
        let out_at = |z: f64| {
            let risen = (z - foot - self.depth).max(0.0);
            outline::hexagon_corner((self.recess - 2.0 * risen).max(2.0 * BRIDGE.min(self.recess / 2.0)))
        };
        let roof = foot + self.height;
        let post = self.post.section.around_place(self.axis);
        let beside = [(self.deck, self.collar.min_element()), (self.mouth, post)];
        let beside = beside.iter().filter(|(z, _)| *z < roof).map(|(z, half)| half - out_at(*z));
        beside.chain([self.post.top - roof]).fold(f64::INFINITY, f64::min)
    }
}

/// Turned half about x, for a body that is printed upside down.
pub(super) fn upside_down(point: DVec3) -> DVec3 {
    DVec3::new(point.x, -point.y, -point.z)
}
