//! The case as it is put together: sizes, and every panel with its holes and seat.
//!
//! All of it stands square around the axis of the turn. From above: the cover's walls and top; the strips that hold its
//! place; the box's top, on whose upper face the stand's spacer turns; the motor plate, hung from the top by screws with
//! spacers so that the shaft reaches into the stand's socket; the motor below it; the bottom, screwed into battens from below,
//! so that everything can be reached.
//!
//! Guarantees, each tested: the cover's walls and top are no nearer to what turns than asked, and its strips stand beside it;
//! the panels of a finger-jointed box fill its shell without gap or overlap where `box.fit` is 0; no hole leaves its panel.

use glam::{DVec2, DVec3};

use super::panel::{Hole, Panel, Purpose, Rect, Seat, Stuff, outline};
use super::screws::{EDGE, MachineScrew};
use super::settings::{BOSS_FREE, CoverKind, Joint, STRIP, Settings};
use crate::mounts::Mounts;
use crate::stage::Misfit;

/// Least gap between the motor screws' heads and the top, and between hub and motor plate, in mm.
const FREE: f64 = 1.0;
/// Gap on each side of the bottom and of the battens' ends, in mm.
const LOOSE: f64 = 0.5;
/// Distance of a wood screw from the end of its batten, and most between two, in mm.
const SCREW_ENDS: f64 = 15.0;
const SCREW_STEP: f64 = 150.0;
/// What the pillars' nuts need beside the motor, in mm.
const BESIDE_MOTOR: f64 = 1.0;
/// Free rim around the air holes, in mm.
const AIR_RIM: f64 = 12.0;
/// Height of the strips of a lid is that of the cover's sheet; they stay so far from its corners, in mm.
const LID_STRIP: f64 = 10.0;

/// The case.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Design {
    /// The axis of the turn.
    pub(super) axis: DVec2,
    /// Outer size of the box.
    pub(super) outer: DVec3,
    /// Heights: the box's upper face, the lower edge of its walls.
    pub(super) rest: f64,
    pub(super) floor: f64,
    /// The face of the motor: the underside of its plate.
    pub(super) face: f64,
    /// Half of the motor plate along x and y.
    pub(super) plate: DVec2,
    /// Height of the spacers between top and motor plate.
    pub(super) spacer: f64,
    /// How far the shaft reaches into the socket.
    pub(super) reach: f64,
    /// How long the shaft would have to be above its face.
    pub(super) shaft_needed: f64,
    /// Inner width of the cover, and outer size.
    pub(super) cover_inner: f64,
    pub(super) cover_outer: DVec3,
    /// The panels, in the order of their numbers from 1.
    pub(super) panels: Vec<Panel>,
    /// Battens under the motor and above the bottom: how many, and how long.
    pub(super) battens: (usize, f64),
    /// Open area of the air holes in the back, and in the bottom.
    pub(super) air: [f64; 2],
    /// Whether screws go into the edges of butted panels.
    pub(super) edge_screws: bool,
}

/// Lays the case out around the stand.
pub(super) fn design(settings: &Settings, mounts: &Mounts) -> Result<Design, Misfit> {
    let heights = Heights::of(settings, mounts);
    let cover_inner = (2.0 * (mounts.swept.radius + settings.cover.clearance.mm())).ceil();
    let cover_width = cover_inner + 2.0 * settings.cover.sheet.thickness.mm();
    let plate = plate(settings, mounts);
    let outer = outer(settings, mounts, &heights, plate, cover_width)?;
    let mut design = Design {
        axis: mounts.axis,
        outer,
        rest: mounts.rest,
        floor: mounts.rest - outer.z,
        face: heights.face,
        plate,
        spacer: heights.spacer,
        reach: heights.reach,
        shaft_needed: heights.shaft_needed,
        cover_inner,
        cover_outer: DVec3::ZERO,
        panels: Vec::new(),
        battens: (2, outer.y - 2.0 * settings.thickness() - 2.0 * LOOSE),
        air: [0.0; 2],
        edge_screws: settings.body.joint == Joint::Butt
            && settings.thickness() >= EDGE * settings.screws.size.diameters()[0],
    };
    lay_box(&mut design, settings, mounts)?;
    lay_cover(&mut design, settings, mounts);
    Ok(design)
}

/// Heights around the motor.
struct Heights {
    face: f64,
    spacer: f64,
    reach: f64,
    shaft_needed: f64,
    /// From the box's upper face to the lower edge of its walls, at least.
    least: f64,
}

impl Heights {
    fn of(settings: &Settings, mounts: &Mounts) -> Self {
        let (motor, t) = (&settings.motor, settings.thickness());
        let under_top = mounts.rest - t;
        // The plate's upper side: below the heads of the motor's screws, and clear of the hub.
        let head = MachineScrew::of(motor.thread).pan + FREE;
        let highest = (under_top - head).min(mounts.hub_end - FREE);
        let wanted = mounts.hub_end + motor.reach.mm() - motor.shaft.mm() + t;
        let plate_top = wanted.min(highest);
        let face = plate_top - t;
        let least = mounts.rest - (face - motor.body[2].mm() - settings.body.room.mm() - t);
        Self {
            face,
            spacer: under_top - plate_top,
            reach: face + motor.shaft.mm() - mounts.hub_end,
            shaft_needed: mounts.hub_end + motor.reach.mm() + t - highest,
            least,
        }
    }
}

/// Half of the motor plate, in whole mm: the pillars at its corners stand free of the motor's body, its screws, its boss and the hub.
fn plate(settings: &Settings, mounts: &Mounts) -> DVec2 {
    let motor = &settings.motor;
    // A screw's head is about twice as wide as its thread.
    let around = |half: DVec2, at: &DVec2| half.max(at.abs() + MachineScrew::of(motor.thread).size);
    let holes = motor.fixing().iter().fold(DVec2::ZERO, around);
    let round = (motor.boss.mm() / 2.0 + BOSS_FREE).max(opening(settings, mounts) / 2.0);
    (motor.half().max(holes).max(DVec2::splat(round)) + 2.0 * (BESIDE_MOTOR + pillar().corners / 2.0)).ceil()
}

/// The screw of a pillar.
pub(super) const fn pillar() -> MachineScrew {
    MachineScrew::of(super::screws::Thread::M4)
}

impl Design {
    /// The middles of the pillars around the axis.
    pub(super) fn pillars(&self) -> [DVec2; 4] {
        let at = self.plate - (BESIDE_MOTOR + pillar().corners / 2.0);
        [DVec2::new(1.0, 1.0), DVec2::new(-1.0, 1.0), DVec2::new(-1.0, -1.0), DVec2::new(1.0, -1.0)].map(|to| at * to)
    }
}

/// Outer size of the box: as asked where all fits in, and else what all needs, in whole mm.
fn outer(settings: &Settings, mounts: &Mounts, heights: &Heights, plate: DVec2, cover: f64) -> Result<DVec3, Misfit> {
    let (body, t) = (&settings.body, settings.thickness());
    let rim = 2.0 * body.rim.mm();
    // The plate comes in from below, between the battens and with room around it.
    let motor = 2.0 * plate + 2.0 * t + 2.0 * body.room.mm() + DVec2::X * 2.0 * body.batten.mm();
    let carried = DVec2::splat(cover.max(2.0 * mounts.base) + rim);
    let needed = motor.max(carried).map(f64::ceil);
    let size = match body.size {
        None => needed,
        Some(asked) => {
            let asked = DVec2::from(asked.map(crate::Length::mm));
            let axes = [("box.size[0]", "wide"), ("box.size[1]", "deep")];
            for (axis, (setting, word)) in axes.into_iter().enumerate() {
                let of = |what: &str, needs: f64| (asked[axis] < needs).then(|| (what.to_owned(), needs));
                let short = of("motor", motor[axis].ceil()).or_else(|| of("cover on its top", carried[axis].ceil()));
                let Some((what, needs)) = short else { continue };
                let message = format!(
                    "the {what} does not fit: it needs a box {needs} mm {word} outside, and this one is {} mm",
                    asked[axis]
                );
                return Err(Misfit::new(setting, message, too_small(&what, needs)));
            }
            asked
        }
    };
    let least = heights.least.ceil();
    let height = match body.height {
        None => least,
        Some(asked) if asked.mm() >= least => asked.mm(),
        Some(asked) => {
            let message =
                format!("the motor does not fit: it needs a box {least} mm high outside, and this one is {asked}");
            return Err(Misfit::new("box.height", message, too_small("motor", least)));
        }
    };
    if size.max_element() > 5000.0 || height > 5000.0 {
        let message = format!("the box would be {:.0} × {:.0} × {height:.0} mm", size.x, size.y);
        return Err(Misfit::new("", message, "check the unit of the piece, and the sizes of `motor`"));
    }
    Ok(size.extend(height))
}

fn too_small(what: &str, needs: f64) -> String {
    if what == "motor" {
        format!("make it {needs} mm or more, or leave it out; a smaller `box.room` or motor needs less")
    } else {
        format!("make it {needs} mm or more, or leave it out; a smaller `box.rim` or `cover.clearance` needs less")
    }
}

/// The finger joints of a box.
struct Fingers {
    t: f64,
    width: f64,
    recess: f64,
}

impl Fingers {
    /// The ends of the fingers along an edge: an odd number of equal ones.
    fn ends(&self, [from, to]: [f64; 2]) -> Vec<[f64; 2]> {
        let count = (((to - from) / self.width - 1.0) / 2.0).round().max(1.0) * 2.0 + 1.0;
        let at = |i: usize| from + (to - from) * i as f64 / count;
        (0..count as usize).map(|i| [at(i), at(i + 1)]).collect()
    }

    /// The notches along an edge: every second finger, from the first or from the second, wider by the recess.
    fn notches(&self, edge: [f64; 2], first: usize) -> Vec<[f64; 2]> {
        let wider = |[from, to]: [f64; 2]| [from - self.recess, to + self.recess];
        self.ends(edge).into_iter().skip(first).step_by(2).map(wider).collect()
    }
}

/// Rectangles across the rim of a panel of that size: along the lower, upper, left or right side, `deep` into it.
fn at_rim(size: DVec2, side: Rim, deep: f64, notches: Vec<[f64; 2]>) -> impl Iterator<Item = Rect> {
    // Well beyond the rim, so that no sliver stays.
    const BEYOND: f64 = 1e4;
    notches.into_iter().map(move |[from, to]| match side {
        Rim::Low => [DVec2::new(from, -BEYOND), DVec2::new(to, deep)],
        Rim::High => [DVec2::new(from, size.y - deep), DVec2::new(to, BEYOND)],
        Rim::Left => [DVec2::new(-BEYOND, from), DVec2::new(deep, to)],
        Rim::Right => [DVec2::new(size.x - deep, from), DVec2::new(BEYOND, to)],
    })
}

#[derive(Clone, Copy)]
enum Rim {
    Low,
    High,
    Left,
    Right,
}

fn lay_box(design: &mut Design, settings: &Settings, mounts: &Mounts) -> Result<(), Misfit> {
    let t = settings.thickness();
    let outer = design.outer;
    let low = DVec3::new(design.axis.x - outer.x / 2.0, design.axis.y - outer.y / 2.0, design.floor);
    let wall = outer.z - t;
    let [top, front, back, left, right] = match settings.body.joint {
        Joint::Finger => fingered(settings, outer),
        Joint::Butt => butted(settings, outer),
    };
    let side = if settings.body.joint == Joint::Finger { 0.0 } else { t };
    let seat = |x: f64, y: f64, z: f64, right, up| Seat { origin: low + DVec3::new(x, y, z), right, up };
    let (x, y, z) = (DVec3::X, DVec3::Y, DVec3::Z);
    let panel = |name, (size, outline), seat| Panel { outline, ..Panel::plain(name, Stuff::Board, size, seat) };
    let mut top = panel("box top", top, seat(0.0, 0.0, wall, x, y));
    let mut front = panel("box front", front, seat(0.0, t, 0.0, x, z));
    let mut back = panel("box back", back, seat(outer.x, outer.y - t, 0.0, -x, z));
    let left = panel("box left", left, seat(t, outer.y - side, 0.0, -y, z));
    let right = panel("box right", right, seat(outer.x - t, side, 0.0, y, z));

    let inner = outer.truncate() - 2.0 * t - 2.0 * LOOSE;
    let at = DVec2::splat(t + LOOSE);
    let mut bottom = Panel::plain("box bottom", Stuff::Board, inner, seat(at.x, at.y, 0.0, x, y));
    let plate_low = (design.axis - design.plate).extend(design.face);
    let mut plate =
        Panel::plain("motor plate", Stuff::Board, 2.0 * design.plate, Seat { origin: plate_low, right: x, up: y });

    drill_top(&mut top, design, settings, mounts);
    drill_plate(&mut plate, design, settings);
    design.air = drill_air(&mut back, &mut bottom, settings, wall)?;
    drill_bottom(&mut bottom, settings);
    if design.edge_screws {
        drill_edges(&mut top, &mut front, &mut back, settings);
    }
    design.panels.extend([top, front, back, left, right, bottom, plate]);
    design.panels.extend(strips(design, settings));
    Ok(())
}

type Cut = (DVec2, Vec<DVec2>);

/// Top, front, back, left and right of a finger-jointed box. Its edges are fingers in turn, the first and last of an upright
/// edge the front's and back's, those of an edge at the top the top's, which has the corners too.
fn fingered(settings: &Settings, outer: DVec3) -> [Cut; 5] {
    let t = settings.thickness();
    let fingers = Fingers { t, width: settings.body.finger.mm(), recess: settings.body.fit.mm() / 2.0 };
    let upright = [0.0, outer.z - t];
    let along = |length: f64| [t, length - t];
    let wall = |width: f64, first: usize| {
        let size = DVec2::new(width, outer.z);
        let mut away: Vec<Rect> = Vec::new();
        for side in [Rim::Left, Rim::Right] {
            away.extend(at_rim(size, side, t, fingers.notches(upright, first)));
        }
        away.extend(at_rim(size, Rim::High, t, fingers.notches(along(width), 0)));
        let r = fingers.recess;
        let corners = vec![[-t, t + r], [width - t - r, width + t]];
        away.extend(at_rim(size, Rim::High, t, corners));
        (size, away)
    };
    let made = |(size, away): (DVec2, Vec<Rect>)| (size, outline(size, &away));
    let top = {
        let size = outer.truncate();
        let mut away = Vec::new();
        for (side, length) in [(Rim::Low, outer.x), (Rim::High, outer.x), (Rim::Left, outer.y), (Rim::Right, outer.y)] {
            away.extend(at_rim(size, side, fingers.t, fingers.notches(along(length), 1)));
        }
        made((size, away))
    };
    let back = {
        let (size, mut away) = wall(outer.x, 1);
        away.push(cable(settings, outer.x));
        made((size, away))
    };
    let [left, right] = [(); 2].map(|()| made(wall(outer.y, 0)));
    [top, made(wall(outer.x, 1)), back, left, right]
}

/// The same of a butted box: the top on all walls, the front and back over the ends of the others.
fn butted(settings: &Settings, outer: DVec3) -> [Cut; 5] {
    let cut = |width: f64, height: f64, away: &[Rect]| {
        let size = DVec2::new(width, height);
        (size, outline(size, away))
    };
    let t = settings.thickness();
    let wall = outer.z - t;
    let side = cut(outer.y - 2.0 * t, wall, &[]);
    let back = cut(outer.x, wall, &[cable(settings, outer.x)]);
    [cut(outer.x, outer.y, &[]), cut(outer.x, wall, &[]), back, side.clone(), side]
}

/// The notch for the cable in the lower edge of the back, over the bottom.
fn cable(settings: &Settings, width: f64) -> Rect {
    let across = settings.body.cable.mm() + 2.0;
    let high = settings.thickness() + across;
    [DVec2::new((width - across) / 2.0, -1e4), DVec2::new((width + across) / 2.0, high)]
}

fn drill_top(top: &mut Panel, design: &Design, settings: &Settings, mounts: &Mounts) {
    let middle = top.size / 2.0;
    let hole = |at, diameter, purpose| Hole { at: middle + at, diameter, purpose };
    top.holes.push(hole(DVec2::ZERO, opening(settings, mounts), Purpose::Hub));
    top.holes.extend(design.pillars().map(|at| hole(at, pillar().clearance, Purpose::Pillar)));
    // Where the cover stands.
    for half in [design.cover_inner / 2.0, design.cover_inner / 2.0 + settings.cover.sheet.thickness.mm()] {
        let corner = |x: f64, y: f64| middle + DVec2::new(x, y) * half;
        top.marks.push(vec![corner(-1.0, -1.0), corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0)]);
    }
}

/// Diameter of the opening for the hub: the next half mm, as drills come.
pub(super) fn opening(settings: &Settings, mounts: &Mounts) -> f64 {
    (4.0 * (mounts.hub + settings.body.opening.mm()) - 1e-6).ceil() / 2.0
}

fn drill_plate(plate: &mut Panel, design: &Design, settings: &Settings) {
    let (motor, middle) = (&settings.motor, design.plate);
    let screw = MachineScrew::of(motor.thread);
    let hole = |at, diameter, purpose| Hole { at: middle + at, diameter, purpose };
    plate.holes.push(hole(DVec2::ZERO, motor.boss.mm() + 2.0 * BOSS_FREE, Purpose::Boss));
    plate.holes.extend(motor.fixing().into_iter().map(|at| hole(at, screw.clearance, Purpose::Motor)));
    plate.holes.extend(design.pillars().map(|at| hole(at, pillar().clearance, Purpose::Pillar)));
    let half = DVec2::new(motor.body[0].mm(), motor.body[1].mm()) / 2.0;
    let body = middle - DVec2::from(motor.offset.map(crate::Length::mm));
    let corner = |x: f64, y: f64| body + DVec2::new(x, y) * half;
    plate.marks.push(vec![corner(-1.0, -1.0), corner(1.0, -1.0), corner(1.0, 1.0), corner(-1.0, 1.0)]);
}

/// Air holes high in the back, and in the middle of the bottom, in rows. Gives their open areas.
fn drill_air(back: &mut Panel, bottom: &mut Panel, settings: &Settings, wall: f64) -> Result<[f64; 2], Misfit> {
    let (t, body) = (settings.thickness(), &settings.body);
    let diameter = body.vent_hole.mm();
    let one = std::f64::consts::PI / 4.0 * diameter * diameter;
    let count = (body.vent / one).ceil() as usize;
    let rim = t + AIR_RIM + diameter / 2.0;
    let over_bottom = cable(settings, 0.0)[1].y + AIR_RIM;
    let behind: Rect = [DVec2::new(rim, over_bottom), DVec2::new(back.size.x - rim, wall - AIR_RIM)];
    let beside = rim + body.batten.mm();
    let below: Rect = [DVec2::new(beside, rim), bottom.size - DVec2::new(beside, rim)];
    for (panel, room, high) in [(&mut *back, behind, true), (&mut *bottom, below, false)] {
        let Some(places) = rows(room, 2.0 * diameter, count, high) else {
            let message = format!(
                "{count} air holes of {} do not fit into the {}, which has room for fewer",
                body.vent_hole, panel.name
            );
            return Err(Misfit::new(
                "box.vent",
                message,
                "ask for a smaller area, a larger `box.vent_hole`, or a larger box",
            ));
        };
        panel.holes.extend(places.into_iter().map(|at| Hole { at, diameter, purpose: Purpose::Air }));
    }
    Ok([count as f64 * one; 2])
}

/// Places in rows of a room, so far from each other: from its upper side, or around its middle. `None` where they do not fit.
fn rows(room: Rect, step: f64, count: usize, high: bool) -> Option<Vec<DVec2>> {
    if count == 0 {
        return Some(Vec::new());
    }
    let across = room[1] - room[0];
    if across.min_element() < 0.0 {
        return None;
    }
    let fit = across.map(|mm| (mm / step).floor() + 1.0);
    let widest = if high { fit.x } else { fit.x.min((count as f64).sqrt().ceil()) };
    let rows = (count as f64 / widest).ceil();
    if rows > fit.y {
        return None;
    }
    let (middle, rows) = ((room[0] + room[1]) / 2.0, rows as usize);
    let top = if high { room[1].y } else { middle.y + step * (rows as f64 - 1.0) / 2.0 };
    let place = |i: usize| {
        let (row, of) = (i / widest as usize, widest as usize);
        let in_row = if row + 1 == rows { count - row * of } else { of };
        let x = middle.x + step * ((i - row * of) as f64 - (in_row as f64 - 1.0) / 2.0);
        DVec2::new(x, top - step * row as f64)
    };
    Some((0..count).map(place).collect())
}

/// Holes for the screws into the battens at its left and right.
fn drill_bottom(bottom: &mut Panel, settings: &Settings) {
    let [_, through, _] = settings.screws.size.diameters();
    let batten = settings.body.batten.mm() / 2.0 - LOOSE;
    for x in [batten, bottom.size.x - batten] {
        for y in spread(bottom.size.y, SCREW_ENDS) {
            bottom.holes.push(Hole { at: DVec2::new(x, y), diameter: through, purpose: Purpose::Wood });
        }
    }
}

/// Holes for screws into the edges of the walls: through the top along its rim, through front and back along theirs.
fn drill_edges(top: &mut Panel, front: &mut Panel, back: &mut Panel, settings: &Settings) {
    let (t, [_, through, _]) = (settings.thickness(), settings.screws.size.diameters());
    let hole = |x, y| Hole { at: DVec2::new(x, y), diameter: through, purpose: Purpose::Wood };
    let size = top.size;
    for x in spread(size.x, SCREW_ENDS) {
        top.holes.extend([t / 2.0, size.y - t / 2.0].map(|y| hole(x, y)));
    }
    for y in spread(size.y - 2.0 * t, SCREW_ENDS) {
        top.holes.extend([t / 2.0, size.x - t / 2.0].map(|x| hole(x, y + t)));
    }
    // Below the points of those that come from above.
    let ends = SCREW_ENDS.max(settings.screws.length.mm() - t + 2.0 * through);
    for wall in [front, back] {
        for y in spread(wall.size.y, ends) {
            let width = wall.size.x;
            wall.holes.extend([t / 2.0, width - t / 2.0].map(|x| hole(x, y)));
        }
    }
}

/// Where screws go along a length, off its ends.
fn spread(length: f64, ends: f64) -> Vec<f64> {
    let ends = ends.min(length / 4.0);
    let steps = ((length - 2.0 * ends) / SCREW_STEP).ceil().max(1.0);
    (0..=steps as usize).map(|i| ends + (length - 2.0 * ends) * i as f64 / steps).collect()
}

/// The four strips on the box's top that hold the place of the cover's walls from within.
fn strips(design: &Design, settings: &Settings) -> Vec<Panel> {
    let outer = design.cover_inner - 2.0 * settings.cover.play.mm();
    ring("cover strip", Stuff::Board, outer, STRIP, design.axis, design.rest)
}

/// Four strips that lie in a square: two as long as it, two between them.
fn ring(name: &'static str, stuff: Stuff, outer: f64, width: f64, axis: DVec2, z: f64) -> Vec<Panel> {
    let short = outer - 2.0 * width;
    let low = (axis - outer / 2.0).extend(z);
    let seat = |x: f64, y: f64| Seat { origin: low + DVec3::new(x, y, 0.0), right: DVec3::X, up: DVec3::Y };
    // All lie with their length along their width, as they are cut.
    let turned = |x: f64| Seat { origin: low + DVec3::new(x, width, 0.0), right: DVec3::Y, up: DVec3::NEG_X };
    let panel = |length, seat| Panel::plain(name, stuff, DVec2::new(length, width), seat);
    vec![
        panel(outer, seat(0.0, 0.0)),
        panel(outer, seat(0.0, outer - width)),
        panel(short, turned(width)),
        panel(short, turned(outer)),
    ]
}

fn lay_cover(design: &mut Design, settings: &Settings, mounts: &Mounts) {
    let (cover, s) = (&settings.cover, settings.cover.sheet.thickness.mm());
    let inner = design.cover_inner;
    let width = inner + 2.0 * s;
    let high = (mounts.swept.high - mounts.rest + cover.clearance.mm()).ceil();
    design.cover_outer = DVec3::new(width, width, high + s);
    let low = (design.axis - width / 2.0).extend(mounts.rest);
    let (x, y, z) = (DVec3::X, DVec3::Y, DVec3::Z);
    let seat = |at: DVec3, right, up| Seat { origin: low + at, right, up };
    let panel = |name, size, seat| Panel::plain(name, Stuff::Clear, size, seat);
    let (long, short) = (DVec2::new(width, high), DVec2::new(inner, high));
    let lid = if cover.kind == CoverKind::Lid { "cover lid" } else { "cover top" };
    design.panels.extend([
        panel("cover front", long, seat(y * s, x, z)),
        panel("cover back", long, seat(DVec3::new(width, width - s, 0.0), -x, z)),
        panel("cover left", short, seat(DVec3::new(s, width - s, 0.0), -y, z)),
        panel("cover right", short, seat(DVec3::new(width - s, s, 0.0), y, z)),
        panel(lid, DVec2::splat(width), seat(z * high, x, y)),
    ]);
    if cover.kind == CoverKind::Lid {
        let outer = inner - 2.0 * cover.play.mm();
        let below = mounts.rest + high - s;
        design.panels.extend(ring("lid strip", Stuff::Clear, outer, LID_STRIP, design.axis, below));
    }
}
