//! What is said of the stand and of how the piece balances on it.

use glam::{DVec2, DVec3};

use super::settings::{Section, Settings};
use super::{Body, Design};
use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::Sight;
use crate::stage::Shop;
use crate::{Length, Side};

/// Turns a minute that are usual for what is exhibited, and for sculpture (from memory).
const USUAL_SPEED: [f64; 2] = [0.5, 3.0];
const SCULPTURE: [f64; 2] = [1.0, 2.0];
/// The share of the swept radius that the centre of mass may lie off the axis: more is seen and heard as it turns (common
/// practice, no source).
const MOST_OFF: f64 = 0.1;
/// A speed beyond which nothing of a turntable is told, in turns a minute.
const FAST: f64 = 10_000.0;

/// Says facts and findings.
pub(super) fn say(settings: &Settings, design: &Design, shop: &mut Shop<'_>) {
    let (_, basis) = settings.clearance(shop.process());
    let facts = [
        fit(design, &basis),
        measures(design),
        balance(settings, design),
        turning(settings, design),
        printing(settings, design),
    ];
    facts.into_iter().flatten().for_each(|fact| shop.fact(fact));
    let findings = [
        blocked(settings, design),
        off_axis(design),
        on_the_collar(settings, design),
        tips(settings, design),
        rocks(settings, design),
        weak(settings, design),
        round(settings),
        speed(settings, design),
    ];
    for finding in findings.into_iter().flatten().chain(too_large(settings, design)) {
        let sight = sight(&finding, design);
        shop.finding_seen(finding, || sight);
    }
}

/// What shows a finding: how far the centre of mass lies off the axis, and over what it should lie.
fn sight(finding: &Finding, design: &Design) -> Sight {
    let centre = design.piece.centre;
    match finding.code.as_str() {
        "off-axis" => {
            let axis = design.measures.axis.extend(centre.z);
            let line = Sight::of_triangles([[axis, centre, centre]]);
            line.from(Side::Top).saying("a line from the axis to the centre of mass")
        }
        "leans-on-the-post" => {
            let corner = |at: &DVec2| at.extend(design.mouth.z);
            let fan = design.collar.support.windows(2).map(|edge| {
                let first = design.collar.support[0];
                [&first, &edge[0], &edge[1]].map(corner)
            });
            Sight::of_triangles(fan).from(Side::Bottom).saying("what it rests on, and a ring at its centre of mass")
        }
        _ => Sight::default(),
    }
}

fn mm(name: &str, value: f64) -> Fact {
    Fact::number(name, value, Unit::Mm)
}

/// A number in a table: to the micrometre, without zeros behind.
fn short(value: f64) -> String {
    ((value * 1000.0).round() / 1000.0 + 0.0).to_string()
}

/// A number in a table that others reckon with: to the nanometre.
fn exact(value: f64) -> String {
    ((value * 1e6).round() / 1e6 + 0.0).to_string()
}

fn fit(design: &Design, basis: &str) -> Vec<Fact> {
    let Design { mouth, post, collar, .. } = design;
    let rows = post.steps.iter().scan(mouth.z, |from, step| {
        let low = std::mem::replace(from, step.top);
        let [x, y] = (step.section.half() * 2.0).to_array();
        let [u, v] = step.section.middle().to_array();
        let free = if step.free.is_finite() { short(step.free) } else { "open".to_owned() };
        let mut row = [x, y, low, step.top].map(short).to_vec();
        row.push(free);
        row.extend([u, v, step.beside].map(short));
        Some(row)
    });
    let columns = [
        "width, mm",
        "depth, mm",
        "from z, mm",
        "to z, mm",
        "free up to z, mm",
        "middle x, mm",
        "middle y, mm",
        "air beside it, mm",
    ];
    let mut facts = vec![
        Fact::text("stand goes into", format!("opening {} of `hollow.openings`, in the bottom", mouth.number + 1)),
        mm("opening width", mouth.width()),
        mm("clearance", post.clearance),
        Fact::text("clearance rests on", basis),
        mm("post width", post.steps[0].section.width()),
        mm("post height", post.top() - mouth.z),
        mm("gap over the post", post.gap),
        Fact::table("post", &columns, rows.collect()),
        mm("rest around the opening", collar.ledge),
        Fact::number("area that the piece rests on", collar.area, Unit::Mm2),
    ];
    if post.ceiling.is_finite() {
        facts.push(mm("ceiling at the axis", post.ceiling - mouth.z));
        facts.push(mm("left under the ceiling at the axis", post.ceiling - post.top()));
    }
    facts
}

fn measures(design: &Design) -> Vec<Fact> {
    let m = &design.measures;
    vec![
        mm("base diameter", 2.0 * design.base),
        mm("base thickness", m.deck - m.foot),
        mm("collar height", m.mouth - m.deck),
        mm("spacer diameter", 2.0 * design.spacer),
        mm("spacer hole", 2.0 * m.hole),
        mm("hub diameter", 2.0 * m.hub),
        mm("hub below the panel's upper side", m.rest - m.hub_end),
        mm("swept diameter", 2.0 * design.swept.radius),
        mm("swept height", design.swept.high - design.swept.low),
    ]
}

/// Where, seen from above, in the words for sides; nothing where it is in the middle.
fn towards(off: DVec2) -> String {
    let word = |axis: usize| {
        (off[axis].abs() * 2.5 > off.abs().max_element()).then(|| Side::along(axis, off[axis] > 0.0).word())
    };
    // Front and back first, as people say it.
    let words: Vec<&str> = [1, 0].into_iter().filter_map(word).collect();
    words.join(" and ")
}

fn balance(settings: &Settings, design: &Design) -> Vec<Fact> {
    let Design { piece, stand, all, stance, on_base, .. } = design;
    let off = (piece.centre.truncate() - design.measures.axis).length();
    let top = design.swept.high - design.measures.foot;
    let mut facts = vec![
        Fact::number("weight of the piece", piece.grams, Unit::Gram),
        Fact::number("weight of the stand", stand.grams, Unit::Gram),
        Fact::number("weight that turns", all.grams, Unit::Gram),
        Fact::triple("centre of mass of the piece", piece.centre, Unit::Mm),
        Fact::triple("centre of mass with the stand", all.centre, Unit::Mm),
        mm("axis to the piece's centre of mass", off),
        Fact::text(
            "piece is heavier to the",
            match off {
                1e-6.. => towards(piece.centre.truncate() - design.measures.axis),
                _ => "middle".to_owned(),
            },
        ),
        Fact::number("moment of the piece off the axis", piece.newtons() * off, Unit::NewtonMm),
        mm("axis to the centre of mass with the stand", design.off()),
    ];
    if let Some(better) = &design.better {
        let at = format!("[{}, {}]", short(better.at.x), short(better.at.y));
        facts.push(Fact::text("opening better at", format!("`hollow.openings[{}].at: {at}`", design.mouth.number)));
        facts.push(mm("axis to the piece's centre of mass then", better.off));
    }
    facts.extend([
        Fact::number("tipping angle on the stand", stance.angle(), Unit::Degrees),
        Fact::number("tipping angle over the base's edge", on_base.angle(), Unit::Degrees),
        Fact::number("tilt asked for", settings.base.tilt, Unit::Degrees),
        Fact::number("push at the top that tips it", stance.push(top), Unit::Newton),
        Fact::number("tipping angle of the piece on the collar", on_collar(design), Unit::Degrees),
    ]);
    facts
}

/// The tilt at which the piece would lift off the collar if no post held it.
fn on_collar(design: &Design) -> f64 {
    let inside = design.collar.inside(design.piece.centre.truncate());
    libm::atan2(inside, design.piece.centre.z - design.mouth.z).to_degrees()
}

fn turning(settings: &Settings, design: &Design) -> Vec<Fact> {
    let (torque, turn) = (&design.torque, &settings.turn);
    let friction = &settings.spacer.friction;
    let range = friction.range.map_or(String::new(), |[least, most]| format!(", {least} to {most}"));
    let number = |name: &str, value: f64| Fact::number(name, value, Unit::NewtonMm);
    let spin = design.stance.spin(design.off());
    let mut facts = vec![
        Fact::number("friction reckoned with", friction.range.map_or(friction.value, |[_, most]| most), Unit::One),
        Fact::text("friction rests on", format!("{}{range}: {}", friction.value, friction.basis)),
        mm("turns on a ring from radius", design.measures.bearing_from()),
        mm("turns on a ring to radius", design.spacer),
        number("torque of friction, uniform wear", torque.friction[0]),
        number("torque of friction, uniform pressure", torque.friction[1]),
        number("torque off the axis on the slope", torque.uphill),
        number("torque of coming to speed", torque.start),
        Fact::number("torque factor", turn.factor, Unit::One),
        number("torque needed", torque.needed),
        Fact::number("slowest recommended speed", USUAL_SPEED[0], Unit::Rpm),
        // Half of what would tip it over keeps three quarters of the hold.
        Fact::number("fastest recommended speed", USUAL_SPEED[1].min(spin / 2.0), Unit::Rpm),
        Fact::text(
            "speed for a sculpture",
            format!(
                "{} to {} turns a minute (from memory of exhibits); at {} a side passes in {} s",
                SCULPTURE[0],
                SCULPTURE[1],
                turn.speed,
                short(15.0 / turn.speed)
            ),
        ),
        Fact::number("speed reckoned with", turn.speed, Unit::Rpm),
    ];
    if spin < FAST {
        facts.push(Fact::number("speed at which it would tip by itself", spin, Unit::Rpm));
    }
    facts
}

fn printing(settings: &Settings, design: &Design) -> Vec<Fact> {
    let row = |body: &Body| {
        let (_, moved) = body.laid();
        let volume = body.surface.signed_volume() / 1000.0;
        let size = body.size().to_array().map(short).join(" × ");
        let mut row =
            vec![body.name.to_owned(), format!("{}.3mf", body.file), size, exact(volume), exact(body.mass.grams)];
        row.push(if body.turned { "upside down" } else { "as it stands" }.to_owned());
        row.push(moved.to_array().map(exact).join(", "));
        row
    };
    let columns =
        ["body", "file", "size, mm", "volume, cm³", "weight, g", "printed", "moved by x, y, z for printing, mm"];
    let p = &settings.printer;
    let [x, y, z] = p.build.map(Length::mm);
    vec![
        Fact::table("bodies to print", &columns, design.bodies.iter().map(row).collect()),
        Fact::text(
            "stand's printer",
            format!(
                "{x} × {y} × {z} mm, nozzle {}, walls from {}, {} g/cm³, {} % filled: {}",
                p.nozzle,
                p.smallest_wall,
                p.density,
                p.filled * 100.0,
                p.basis
            ),
        ),
        Fact::text(
            "take care",
            "small parts and a turning table are not for small children; a heavy or brittle piece is put on by two hands, straight \
             down over the post; what runs on mains is for a qualified person and local codes",
        ),
    ]
}

fn blocked(settings: &Settings, design: &Design) -> Option<Finding> {
    let Design { mouth, post, .. } = design;
    let needed = settings.post.reach.map_or(mouth.width(), Length::mm);
    let asked = settings.post.most.map_or(f64::INFINITY, Length::mm);
    let whole = post.steps[0].section.width() + 2.0 * post.clearance >= mouth.width() - 1e-9;
    let reached = post.top() - mouth.z;
    if reached + 1e-9 >= needed.min(asked) && whole {
        return None;
    }
    let place = post.blocked?;
    let n = mouth.number;
    Some(
        Finding::fault(
            "post-blocked",
            format!(
                "the cavity stands in the way of the post: the way up is free for {:.1} mm at the opening's width, and the post \
                 reaches {reached:.1} mm into the piece where {needed:.1} mm are needed to hold it",
                place.z - mouth.z
            ),
            format!(
                "move the opening with `hollow.openings[{n}].at` to where the cavity is higher, make `hollow.openings[{n}].width` \
                 or `hollow.wall` smaller, or set `stand.post.reach` lower"
            ),
        )
        .at([Place::at(place)]),
    )
}

fn off_axis(design: &Design) -> Option<Finding> {
    let centre = design.piece.centre;
    let off = (centre.truncate() - design.measures.axis).length();
    let moment = design.piece.newtons() * off;
    let far = off > MOST_OFF * design.swept.radius;
    let message = format!(
        "the piece's centre of mass lies {off:.1} mm off the axis, to the {}: {moment:.0} N·mm",
        towards(centre.truncate() - design.measures.axis)
    );
    let (message, remedy) = match &design.better {
        Some(better) => (
            format!("{message}; with the opening elsewhere it would be {:.1} mm", better.off),
            format!(
                "write `at: [{}, {}]` in `hollow.openings[{}]`",
                short(better.at.x), short(better.at.y), design.mouth.number
            ),
        ),
        None if !far => return None,
        None => (
            format!("{message}, and nowhere nearer does the bottom take such an opening"),
            "widen the bottom with `foot` under the centre of mass, turn the model, or weight the base on the other side".to_owned(),
        ),
    };
    let finding =
        if far { Finding::caution("off-axis", message, remedy) } else { Finding::note("off-axis", message, remedy) };
    Some(finding.at([Place::at(centre)]))
}

fn on_the_collar(settings: &Settings, design: &Design) -> Option<Finding> {
    let angle = on_collar(design);
    if angle >= settings.base.tilt {
        return None;
    }
    let inside = design.collar.inside(design.piece.centre.truncate());
    let message = if angle <= 0.0 {
        format!(
            "the piece's centre of mass lies {:.1} mm outside of what it rests on: it leans on the post all the time",
            -inside
        )
    } else {
        format!("the piece lifts off the collar at a tilt of {angle:.1}°, and then leans on the post")
    };
    let remedy = "ask for a wider opening, for a wider `stand.collar.ledge` on a wider `foot`, or move the opening under the centre \
                  of mass";
    Some(Finding::caution("leans-on-the-post", message, remedy).at([Place::at(design.piece.centre)]))
}

fn tips(settings: &Settings, design: &Design) -> Option<Finding> {
    // What was chosen for a tilt stands it to the last digit.
    let angle = design.on_base.angle();
    if angle + 1e-9 >= settings.base.tilt {
        return None;
    }
    let message = if angle <= 0.0 {
        "piece and stand fall over: their centre of mass lies outside of the base".to_owned()
    } else {
        format!("piece and stand tip over at a tilt of {angle:.1}°, below {}°", settings.base.tilt)
    };
    let remedy = "make `stand.base.diameter` larger, or leave it out";
    Some(Finding::caution("stand-tips", message, remedy).at([Place::at(design.all.centre)]))
}

fn rocks(settings: &Settings, design: &Design) -> Option<Finding> {
    let angle = design.stance.angle();
    if angle + 1e-9 >= settings.base.tilt || design.spacer + 1e-9 >= super::Measures::spacer_under(design.base) {
        return None;
    }
    let message = format!(
        "piece and stand rock over the spacer's edge at a tilt of {angle:.1}°, before the base's edge holds them at {:.1}°",
        design.on_base.angle()
    );
    Some(Finding::caution("stand-rocks", message, "make `stand.spacer.diameter` larger, or leave it out"))
}

fn weak(settings: &Settings, design: &Design) -> Option<Finding> {
    let motor = settings.motor.as_ref()?;
    let needed = design.torque.needed;
    (motor.torque < needed).then(|| {
        let message = format!("the motor gives {} N·mm, and turning takes {needed:.0} N·mm with the factor {}", motor.torque, settings.turn.factor);
        Finding::caution(
            "motor-too-weak",
            message,
            "choose a motor with more torque at its shaft, a narrower `stand.spacer.diameter`, or a spacer with less friction",
        )
    })
}

fn round(settings: &Settings) -> Option<Finding> {
    (settings.shaft.shape == Section::Round).then(|| {
        Finding::caution(
            "round-shaft",
            "a round shaft turns the peg by friction alone",
            "file a flat and write `shaft: { shape: flatted }`, or fix it with a screw or glue that can be taken apart",
        )
    })
}

fn speed(settings: &Settings, design: &Design) -> Option<Finding> {
    let speed = settings.turn.speed;
    let spin = design.stance.spin(design.off());
    let remedy = "set `stand.turn.speed` lower, or bring the opening under the centre of mass";
    if speed >= spin {
        let message = format!("at {speed} turns a minute piece and stand tip over by themselves, from {spin:.0} on");
        return Some(Finding::caution("too-fast", message, remedy));
    }
    (!(USUAL_SPEED[0]..=USUAL_SPEED[1]).contains(&speed)).then(|| {
        let [least, most] = USUAL_SPEED;
        let message = format!("{speed} turns a minute are not between the {least} and {most} that exhibits turn at");
        Finding::note(
            "unusual-speed",
            message,
            format!("a sculpture is seen well at {} to {}", SCULPTURE[0], SCULPTURE[1]),
        )
    })
}

fn too_large<'a>(settings: &'a Settings, design: &'a Design) -> impl Iterator<Item = Finding> + 'a {
    let room = DVec3::from_array(settings.printer.build.map(Length::mm));
    let fits = move |size: DVec3| {
        let turned = DVec3::new(size.y, size.x, size.z);
        [size, turned].iter().any(|size| size.cmple(room + 1e-6).all())
    };
    design.bodies.iter().filter(move |body| !fits(body.size())).map(move |body| {
        let size = body.size();
        Finding::fault(
            "stand-too-large",
            format!(
                "the {} is {:.1} × {:.1} × {:.1} mm, and the stand's printer makes {} × {} × {} mm",
                body.name, size.x, size.y, size.z, room.x, room.y, room.z
            ),
            "set `stand.post.most`, `stand.base.diameter` or `stand.base.tilt` lower, or put in the printer's own `stand.printer.build`",
        )
    })
}
