//! `stand`: makes what carries the piece on a turntable, and says how it balances.
//!
//! Three bodies, to be printed each by itself without supports: the *stand* (a post with the opening's own outline, drawn
//! inwards by a clearance and rising to the cavity's ceiling; a collar on which the piece rests; a base), the *peg* between base
//! and the motor's shaft, and the *spacer* on which it all turns.
//!
//! Guarantees:
//! - every body is closed, and lies within its printer's limits or is told not to;
//! - put together, no place of the stand is nearer to the piece than the clearance or the gap, but for the collar, on which the
//!   piece rests (`way`); the stand goes in by a straight move from below;
//! - what is said of weights and centres is of the very surfaces that are printed, as full as the settings say.
//!
//! Not guaranteed: that the axis goes through the centre of mass, as the opening lies where `hollow` put it; how far off it is,
//! and where the opening could move, is told.

mod balance;
mod bearing;
mod bodies;
mod moved;
mod outline;
mod said;
mod settings;
mod way;

#[cfg(test)]
mod tests;

use glam::DVec3;

use crate::Srgb;
use crate::chain::assembly;
use crate::division;
use crate::formats::{ColouredMesh, stl, threemf};
use crate::mounts::{Mount, Mounts, Swept};
use crate::solid::{Skin, Surface};
use crate::stage::{Halt, Misfit, Shop, Stage, some_cubes};
use crate::workpiece::{Part, Workpiece};

use balance::{Mass, Stance, Torque};
use bearing::Collar;
use bodies::Measures;
use moved::Better;
use way::{Mouth, Post, Way};

pub use settings::{
    Base, Collar as CollarAsked, Motor, Peg, Post as PostAsked, Printer, Section, Settings, Shaft, Spacer, Turn,
};

/// See the module's documentation.
pub struct Stand;

impl Stage for Stand {
    type Settings = Settings;

    const NAME: &'static str = "stand";
    const PURPOSE: &'static str =
        "makes the stand, the peg for the motor's shaft and the spacer, and says how the piece balances";
    const VERSION: u32 = 2;
    const NEEDS: &'static [Part] = &[Part::Cells, Part::Void];
    const GIVES: &'static [Part] = &[Part::Mounts];

    fn check(settings: &Settings, _: &Shop<'_>) -> Result<(), Misfit> {
        settings.check()
    }

    fn run(settings: &Settings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        some_cubes(piece.cells().expect("the plan saw to it"))?;
        let skin = division::put_together(&piece);
        let design = Design::of(settings, &piece, &skin, shop)?;
        shop.go_on()?;
        said::say(settings, &design, shop);
        if !shop.draft() {
            write(&design, shop)?;
        }
        let mounts = design.mounts();
        if !shop.draft() {
            assembly::draw("stand", &piece, &mounts, &[], shop)?;
        }
        Ok(piece.with_mounts(mounts))
    }
}

/// All that was worked out.
struct Design {
    mouth: Mouth,
    post: Post,
    collar: Collar,
    measures: Measures,
    /// Radius of the base and of the spacer.
    base: f64,
    spacer: f64,
    bodies: Vec<Body>,
    piece: Mass,
    /// The stand without peg and spacer.
    stand: Mass,
    /// Piece and stand, which the spacer carries.
    all: Mass,
    /// Tipping over the spacer's edge, and over the base's.
    stance: Stance,
    on_base: Stance,
    torque: Torque,
    swept: Swept,
    better: Option<Better>,
}

/// A body with how it is printed.
struct Body {
    name: &'static str,
    file: &'static str,
    what: &'static str,
    surface: Surface,
    mass: Mass,
    /// Printed upside down.
    turned: bool,
}

impl Body {
    /// As it lies for printing, in the octant where all coordinates are positive, and by how much it was moved there.
    fn laid(&self) -> (Surface, DVec3) {
        let turned = if self.turned { self.surface.mapped(bodies::upside_down) } else { self.surface.clone() };
        let [low, _] = turned.bounds().expect("a body has triangles");
        (turned.mapped(|p| p - low), -low)
    }

    fn size(&self) -> DVec3 {
        self.surface.bounds().map_or(DVec3::ZERO, |[low, high]| high - low)
    }
}

impl Design {
    fn of(settings: &Settings, piece: &Workpiece, skin: &Skin, shop: &Shop<'_>) -> Result<Self, Halt> {
        let (cells, void) = (piece.cells().expect("the plan saw to it"), piece.void().expect("the plan saw to it"));
        let process = shop.process();
        let corners = || skin.triangles.iter().map(|t| t.map(|i| skin.points[i as usize]));
        let mouth = Mouth::choose(settings.opening, &void.openings, skin.centre())?;
        let axis = mouth.axis();
        let [lowest, highest] =
            corners().flatten().fold([f64::INFINITY, f64::NEG_INFINITY], |[l, h], p| [l.min(p.z), h.max(p.z)]);

        let way = Way::over(skin, &mouth);
        let inside = highest - void.wall - settings.gap(process);
        let post = Post::of(settings, process, &mouth, &way, inside)?;
        shop.go_on()?;
        let collar = Collar::of(settings, post.clearance, cells, void, skin, &mouth)?;
        let measures = Measures::of(settings, process, &mouth, collar.half, &post, lowest)?;

        let piece = Mass::of(corners(), process.density.value, axis);
        let density = settings.printer.density * settings.printer.filled;
        let weigh = |surface: &Surface| Mass::of(surface.each_triangle(), density, axis);
        let stance = |all: Mass, radius: f64| Stance {
            weight: all.newtons(),
            inside: radius - (all.centre.truncate() - axis).length(),
            height: all.centre.z - measures.foot,
        };
        let spacer = |base: f64| settings.spacer.diameter.map_or(Measures::spacer_under(base), |d| d.mm() / 2.0);
        // What piece and stand tip over; where the job has a narrow spacer, the base alone can be chosen.
        let carried = |base: f64| settings.spacer.diameter.map_or(spacer(base), |_| base);
        let on = |base: f64| stance(piece.and(weigh(&measures.stand(&post, base))), carried(base));
        let base = match settings.base.diameter {
            Some(diameter) => wide_enough(diameter.mm() / 2.0, &measures)?,
            None => balance::radius_for(settings.base.tilt, measures.least_base, on),
        };
        let spacer = spacer(base);
        check_spacer(settings, &measures, spacer, base)?;

        let surface = measures.stand(&post, base);
        let stand = weigh(&surface);
        let all = piece.and(stand);
        let off = (all.centre.truncate() - axis).length();
        let stance_on_spacer = stance(all, spacer);
        let friction = settings.spacer.friction.range.map_or(settings.spacer.friction.value, |[_, most]| most);
        let turn = &settings.turn;
        let torque = Torque::of(
            balance::friction(friction, all.newtons(), [measures.bearing_from(), spacer]),
            balance::uphill(all.newtons(), off, turn.slope),
            balance::acceleration(all.about_axis, turn.speed, turn.start),
            turn.factor,
        );
        let reach = corners().flatten().map(|p| (p.truncate() - axis).length()).fold(base, f64::max);
        let swept = Swept { radius: reach, low: measures.foot, high: highest };
        let better = moved::better(cells, void, &mouth, piece.centre.truncate());

        let body = |name, file, what, surface: Surface, turned| {
            let mass = weigh(&surface);
            Body { name, file, what, surface, mass, turned }
        };
        let bodies = vec![
            body("stand", "stand", "post, collar and base", surface, false),
            body("peg", "stand-peg", "the peg between base and shaft", measures.peg(settings), true),
            body("spacer", "stand-spacer", "the washer between base and panel", measures.spacer(spacer), false),
        ];
        let on_base = stance(all, base);
        Ok(Self {
            mouth,
            post,
            collar,
            measures,
            base,
            spacer,
            bodies,
            piece,
            stand,
            all,
            stance: stance_on_spacer,
            on_base,
            torque,
            swept,
            better,
        })
    }

    /// How far off the axis the centre of piece and stand lies, in mm.
    fn off(&self) -> f64 {
        (self.all.centre.truncate() - self.measures.axis).length()
    }

    fn mounts(self) -> Mounts {
        let Self { measures, base, bodies, all, torque, swept, .. } = self;
        let mass = all.grams + bodies.iter().filter(|b| b.name == "peg").map(|b| b.mass.grams).sum::<f64>();
        let mount =
            |body: Body| Mount { name: body.name.to_owned(), what: body.what.to_owned(), surface: body.surface };
        Mounts {
            axis: measures.axis,
            foot: measures.foot,
            rest: measures.rest,
            hub: measures.hub,
            hub_end: measures.hub_end,
            swept,
            mass,
            torque: torque.needed,
            base,
            bodies: bodies.into_iter().map(mount).collect(),
        }
    }
}

/// The radius of a base that was asked for, where all that it carries has room on it.
fn wide_enough(radius: f64, measures: &Measures) -> Result<f64, Misfit> {
    if radius >= measures.least_base {
        return Ok(radius);
    }
    let least = crate::Length::from_mm((measures.least_base * 2.0 * 10.0).ceil() / 10.0);
    let message = format!("a base {} mm across has no room for the collar and the peg's recess", radius * 2.0);
    Err(Misfit::new("base.diameter", message, format!("make it at least {least}, or leave it out")))
}

fn check_spacer(settings: &Settings, measures: &Measures, radius: f64, base: f64) -> Result<(), Misfit> {
    let least = measures.bearing_from() + settings.printer.smallest_wall.mm();
    if (least..=base).contains(&radius) {
        return Ok(());
    }
    let [least, most] = [least, base].map(|r| crate::Length::from_mm((r * 20.0).ceil() / 10.0));
    let message =
        format!("a spacer {} mm across does not lie between the peg's recess and the base's edge", radius * 2.0);
    Err(Misfit::new("spacer.diameter", message, format!("make it {least} to {most}, or leave it out")))
}

/// The bodies' colour in their files: a grey.
const GREY: Srgb = Srgb([0x9a, 0x9a, 0x9a]);

fn write(design: &Design, shop: &mut Shop<'_>) -> Result<(), Halt> {
    for body in &design.bodies {
        let (laid, _) = body.laid();
        let ink = vec![0; laid.triangles().len()];
        let mesh = ColouredMesh { points: laid.points(), triangles: laid.triangles(), colours: &[GREY], ink: &ink };
        let title = match shop.title() {
            "" => body.what.to_owned(),
            title => format!("{title}: {}", body.what),
        };
        shop.artefact(&format!("{}.3mf", body.file), &format!("{}, lying for the printer: 3MF", body.what), |out| {
            threemf::write(&mesh, &title, out)
        })?;
        shop.artefact(
            &format!("{}.stl", body.file),
            &format!("{}, lying for the printer: STL in mm", body.what),
            |out| stl::write(laid.points(), laid.triangles(), out),
        )?;
        shop.go_on()?;
    }
    Ok(())
}
