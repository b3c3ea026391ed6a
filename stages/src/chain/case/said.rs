//! What the stage says: sizes, weights, lists, cautions, and what is wrong.

use super::bending;
use super::cutlist;
use super::design::{Design, opening, pillar};
use super::panel::Stuff;
use super::screws::{BITE, EDGE, MachineScrew};
use super::settings::{CoverKind, Joint, Motor, Settings, Supply};
use super::sheets::Nested;
use crate::findings::{Fact, Finding, Unit};
use crate::mounts::Mounts;

/// Most that the top may sag before the stand leans or its hub touches, in mm (our choice).
const TOP_SAGS: f64 = 0.5;
/// Most that the cover's top may sag, as a share of its width (common practice, no source).
const COVER_SAGS: f64 = 1.0 / 300.0;
/// Thinnest clear sheet for a cover that is lifted, in mm (common practice, no source).
const COVER_THIN: f64 = 2.0;

/// A number to a tenth.
fn tenth(number: f64) -> f64 {
    (number * 10.0).round() / 10.0
}

/// Everything measured.
pub(super) fn facts(settings: &Settings, mounts: &Mounts, design: &Design, nested: &Nested) -> Vec<Fact> {
    let mm = |name: &str, value: f64| Fact::number(name, value, Unit::Mm);
    let [case, cover] = cutlist::weights(design, settings);
    let on_shelf = on_shelf(settings, mounts, design);
    let clear = format!("waste of {}", settings.cover.sheet.material);
    let board = format!("waste of {}", settings.board.material);
    let percent = |name: &str, stuff| Fact::number(name, nested.waste(design, settings, stuff) * 100.0, Unit::Percent);
    let sheets: Vec<usize> = nested.laid.iter().map(|laid| laid.sheet).collect();
    let plate = (2.0 * design.plate).extend(settings.thickness());
    vec![
        Fact::triple("box", design.outer, Unit::Mm),
        Fact::triple("cover", design.cover_outer, Unit::Mm),
        mm("height of box and cover", design.outer.z + design.cover_outer.z),
        mm("inner width of the cover", design.cover_inner),
        mm("opening for the hub", opening(settings, mounts)),
        Fact::triple("motor plate", plate, Unit::Mm),
        mm("spacers between top and motor plate", design.spacer),
        mm("shaft in the socket", design.reach),
        Fact::number("open area of the back", design.air[0], Unit::Mm2),
        Fact::number("open area of the bottom", design.air[1], Unit::Mm2),
        Fact::number("weight of the box", case, Unit::Gram),
        Fact::number("weight of the cover", cover, Unit::Gram),
        Fact::number("weight on the shelf", on_shelf, Unit::Gram),
        Fact::number("load on the shelf", bending::newtons(on_shelf), Unit::Newton),
        mm("sag of the box's top", bending::top(design, settings, mounts.mass)),
        mm("sag of the cover's top", bending::cover(design, settings)),
        Fact::whole("sheets for the box", nested.count(Stuff::Board), Unit::Count),
        Fact::whole("sheets for the cover", nested.count(Stuff::Clear), Unit::Count),
        percent(&board, Stuff::Board),
        percent(&clear, Stuff::Clear),
        mm("drill-depth stop", cutlist::stop(settings)),
        Fact::table("cut list", &cutlist::CUT, cutlist::cut(design, settings, &sheets)),
        Fact::table("screws and the rest", &cutlist::HARDWARE, cutlist::hardware(design, settings)),
        Fact::table("how it goes together", &["step", "do"], steps(settings, design)),
        Fact::table("cautions for the workshop", &["about", "mind"], cautions()),
    ]
}

/// What the shelf carries, in g: piece, stand, motor, box and cover. Screws and cables are not known.
fn on_shelf(settings: &Settings, mounts: &Mounts, design: &Design) -> f64 {
    mounts.mass + settings.motor.mass + cutlist::weights(design, settings).iter().sum::<f64>()
}

fn steps(settings: &Settings, design: &Design) -> Vec<Vec<String>> {
    let joint = match settings.body.joint {
        Joint::Finger => "Put front, back, left and right together dry, then the top; glue them square.",
        Joint::Butt => "Glue left and right between front and back, then the top on them, square and clamped.",
    };
    let edge = cutlist::mm(settings.body.batten.mm());
    let cover = match settings.cover.kind {
        CoverKind::SlipOver => {
            "Glue the cover’s left and right between its front and back, and its top on them. It stands around the strips and is lifted off whole."
        }
        CoverKind::Lid => {
            "Glue the cover’s left and right between its front and back; stand them around the strips on the box and fix them. Glue the lid strips under the lid."
        }
    };
    let text = [
        "Check the panel numbers against the cut list; break all edges with fine paper.".to_owned(),
        joint.to_owned(),
        format!(
            "Glue the battens ({edge} × {edge} mm) to the left and right walls, {} mm above their lower edges, so that the bottom lies flush.",
            cutlist::mm(settings.thickness())
        ),
        "Glue the cover strips on the top, along the inner of the two marked squares.".to_owned(),
        "Screw the motor under the motor plate. Countersink the top’s four holes, and hang the plate under it with spacers and nuts.".to_owned(),
        format!(
            "The shaft should stand {} mm deep in the stand’s socket with the spacer lying on the top; mend it by other spacers (now {} mm).",
            cutlist::mm(tenth(design.reach)),
            cutlist::mm(tenth(design.spacer))
        ),
        "Lead the cable through the notch in the back and tie it inside, so that a pull does not reach the motor.".to_owned(),
        "Screw the bottom on. Drill with the stop set, so that no point comes through.".to_owned(),
        cover.to_owned(),
    ];
    text.into_iter().enumerate().map(|(i, text)| vec![(i + 1).to_string(), text]).collect()
}

/// What to mind in the workshop and after. Local codes and licensed trades come first.
fn cautions() -> Vec<Vec<String>> {
    [
        ["Electricity", "Prefer a motor on safety extra-low voltage from a tested plug-in supply. One on mains voltage is wired, earthed and fused by a licensed electrician under the local code, and nobody else opens the box."],
        ["Eyes and dust", "Wear eye protection at every saw, drill and laser, and a dust mask where wood or plastic is sawn or sanded. Extract the dust; some wood dusts are harmful."],
        ["Lasers and routers", "Stay with the machine: acrylic and plywood can flame. Never laser anything with chlorine in it, such as PVC. The machine’s and the material’s rules come first."],
        ["Drilling", "Clamp the work, set the depth stop, and keep the hand out from under it."],
        ["Edges of the cover", "Cut edges of clear sheet are sharp and chip: break them, and lift the cover by two sides with both hands."],
        ["Glues and solvents", "Work with fresh air, gloves and eye protection and without flames, by the safety data sheet."],
        ["Children and small parts", "Not a toy. Screws, nuts and cubes can be swallowed; a turning stand can catch hair, cords and fingers. Keep the cover on and the bottom screwed."],
        ["On the shelf", "Check that the shelf carries the weight told, level and below head height, and secure it against being pulled by its cable."],
        ["Heat", "Leave the air holes free, and the feet on. Feel the motor after its first hour, and do not let it run unwatched before."],
    ]
    .map(|row| row.map(str::to_owned).to_vec())
    .to_vec()
}

/// Everything that is wrong, or worth a look.
pub(super) fn findings(settings: &Settings, mounts: &Mounts, design: &Design, nested: &Nested) -> Vec<Finding> {
    let all = [
        shaft(settings, design),
        torque(settings, mounts),
        motor_screws(settings),
        bottom_screws(settings),
        edges(settings, design),
        sunk_heads(settings),
        top_sags(settings, mounts, design),
        cover_sags(settings, design),
        supply(settings),
        shelf(settings, mounts, design),
        assumed(settings),
    ];
    let stocks = [Stuff::Board, Stuff::Clear].map(|stuff| stock(settings, nested, stuff));
    all.into_iter().chain(stocks).flatten().collect()
}

fn shaft(settings: &Settings, design: &Design) -> Option<Finding> {
    let (motor, reach) = (&settings.motor, design.reach);
    let wanted = motor.reach.mm();
    if reach >= wanted - 1e-9 {
        return None;
    }
    let message = format!(
        "the motor's shaft stands {} above its face and would reach {:.1} mm into the stand's socket instead of {wanted} mm",
        motor.shaft,
        reach.max(0.0)
    );
    let remedy = format!(
        "take a motor with a shaft of {:.1} mm, a thinner `board.thickness`, a longer peg (`stand.peg.panel`), or a smaller \
         `motor.reach`",
        design.shaft_needed
    );
    // With half of it the shaft still turns the peg; with less it slips out or rounds the socket (our choice).
    let found = if reach < wanted / 2.0 { Finding::fault } else { Finding::caution };
    Some(found("case-shaft-too-short", message, remedy))
}

fn torque(settings: &Settings, mounts: &Mounts) -> Option<Finding> {
    let torque = settings.motor.torque.filter(|torque| *torque < mounts.torque)?;
    let message = format!(
        "the motor holds {torque} N·mm, and turning the piece takes {:.1} N·mm with its factor of safety",
        mounts.torque
    );
    let remedy = "take a stronger or more slowly geared motor, or a spacer of less friction (`stand.spacer.friction`)";
    Some(Finding::fault("case-motor-too-weak", message, remedy))
}

fn motor_screws(settings: &Settings) -> Option<Finding> {
    let (motor, t) = (&settings.motor, settings.thickness());
    let screw = MachineScrew::of(motor.thread);
    let most = t + motor.thread_depth.mm();
    let longest = MachineScrew::longest(most).filter(|longest| *longest >= t + screw.size);
    let length = super::cutlist::motor_screw(settings);
    if let Some(length) = length.filter(|length| *length > most) {
        let message = format!(
            "the motor's screws of {length} mm would go {:.1} mm into a thread of {}: they would press on what lies inside",
            length - t,
            motor.thread_depth
        );
        let fits = longest.map_or_else(String::new, |longest| format!("set `motor.screw: {longest} mm`, or "));
        return Some(Finding::fault("case-motor-screw", message, format!("{fits}put washers under their heads")));
    }
    let bites = length.map_or(0.0, |length| length - t);
    if bites >= screw.size {
        return None;
    }
    let message = format!(
        "the motor's screws would hold by {:.1} mm of thread, less than their diameter of {} mm",
        bites.max(0.0),
        screw.size
    );
    let remedy = match longest {
        Some(longest) => format!("set `motor.screw: {longest} mm`"),
        None => "take a thinner `board.thickness`, or screws cut to length".to_owned(),
    };
    Some(Finding::caution("case-motor-screw", message, remedy))
}

fn bottom_screws(settings: &Settings) -> Option<Finding> {
    let (screws, t, batten) = (&settings.screws, settings.thickness(), settings.body.batten.mm());
    let seat = screws.seat(t, batten);
    let [size, ..] = screws.size.diameters();
    if seat.left < super::screws::BEFORE_POINT {
        let what = if seat.left < 0.0 {
            format!("come through by {:.1} mm", -seat.left)
        } else {
            format!("leave only {:.1} mm of the wood before their points", seat.left)
        };
        let message =
            format!("wood screws of {} through a panel of {t} mm into a batten of {batten} mm {what}", screws.length);
        let fits = seat.longest.map_or_else(
            || "take thicker battens (`box.batten`)".to_owned(),
            |longest| format!("set `screws.length: {longest} mm`, the longest usual one that fits"),
        );
        return Some(Finding::fault("case-screw-comes-through", message, fits));
    }
    if seat.bite < BITE * size {
        let message = format!(
            "wood screws of {} bite {:.1} mm behind a panel of {t} mm, less than {BITE} times their diameter",
            screws.length,
            seat.bite.max(0.0)
        );
        let longer = screws.shortest(t).filter(|shortest| screws_fit(settings, *shortest));
        let remedy = longer.map_or_else(
            || "take thicker battens (`box.batten`) and longer screws (`screws.length`)".to_owned(),
            |longer| format!("set `screws.length: {longer} mm`"),
        );
        return Some(Finding::caution("case-screw-short", message, remedy));
    }
    // A screw in a pilot hole stands twice its diameter from an edge (common practice, no source).
    (batten / 2.0 < 2.0 * size).then(|| {
        let message = format!("a wood screw of {size} mm in the middle of a batten of {batten} mm may split it");
        let remedy = format!("take battens of {} mm (`box.batten`), or thinner screws (`screws.size`)", 4.0 * size);
        Finding::caution("case-batten-thin", message, remedy)
    })
}

fn screws_fit(settings: &Settings, length: f64) -> bool {
    length <= settings.thickness() + settings.body.batten.mm() - super::screws::BEFORE_POINT
}

fn edges(settings: &Settings, design: &Design) -> Option<Finding> {
    if settings.body.joint == Joint::Finger || design.edge_screws {
        return None;
    }
    let [size, ..] = settings.screws.size.diameters();
    let message = format!(
        "panels of {} are too thin for screws of {size} mm in their edges: the box is only glued",
        settings.board.thickness
    );
    let remedy = format!(
        "set `box.joint: finger`, or take panels of {} mm or thinner screws; else glue with square blocks in the corners",
        EDGE * size
    );
    Some(Finding::caution("case-edges-only-glued", message, remedy))
}

/// The screws of the motor plate end flush with the top, over which the base turns.
fn sunk_heads(settings: &Settings) -> Option<Finding> {
    let (t, head) = (settings.thickness(), pillar().sunk);
    (t < head + 1.0).then(|| {
        let message =
            format!("a top of {t} mm is too thin to sink the {head} mm high heads of the motor plate's screws");
        Finding::caution("case-top-thin", message, "take a `board.thickness` of 4 mm or more")
    })
}

fn top_sags(settings: &Settings, mounts: &Mounts, design: &Design) -> Option<Finding> {
    let sag = bending::top(design, settings, mounts.mass);
    (sag > TOP_SAGS).then(|| {
        let message =
            format!("the box's top would sag by {sag:.1} mm under the piece and the motor, and the stand would lean");
        Finding::caution("case-top-sags", message, "take a thicker `board.thickness`, or glue a frame under the top")
    })
}

fn cover_sags(settings: &Settings, design: &Design) -> Option<Finding> {
    let (sheet, sag) = (settings.cover.sheet.thickness, bending::cover(design, settings));
    let too_much = sag > COVER_SAGS * design.cover_inner;
    (too_much || sheet.mm() < COVER_THIN).then(|| {
        let why = if too_much {
            format!("its top would sag by {sag:.1} mm over {} mm", design.cover_inner)
        } else {
            format!("less than {COVER_THIN} mm breaks when it is lifted")
        };
        let message = format!("a cover of {sheet} is thin for its size: {why}");
        Finding::caution("case-cover-thin", message, "take a thicker `cover.sheet.thickness`")
    })
}

fn supply(settings: &Settings) -> Option<Finding> {
    (settings.motor.supply == Supply::Mains).then(|| {
        let message = "the motor runs on mains voltage, in a wooden box: it must be wired, earthed and fused by a licensed \
                       electrician under the local code";
        Finding::caution("case-mains-motor", message, "prefer a motor on safety extra-low voltage from a tested plug-in supply")
    })
}

fn shelf(settings: &Settings, mounts: &Mounts, design: &Design) -> Option<Finding> {
    let kg = on_shelf(settings, mounts, design) / 1000.0;
    let limit = settings.shelf?;
    (kg > limit).then(|| {
        let message = format!("piece, stand, motor, box and cover weigh {kg:.1} kg, and the shelf carries {limit} kg");
        Finding::fault("case-shelf-overloaded", message, "choose another place, or a lighter `board` and `cover.sheet`")
    })
}

fn assumed(settings: &Settings) -> Option<Finding> {
    (settings.motor == Motor::default()).then(|| {
        let message = "no motor is given: the motor plate and the height of the box are those of an invented motor";
        let remedy = "measure the motor that you have and write it under `motor` before anything is cut";
        Finding::caution("case-motor-assumed", message, remedy)
    })
}

fn stock(settings: &Settings, nested: &Nested, stuff: Stuff) -> Option<Finding> {
    let board = settings.stock(stuff);
    let (needs, has) = (nested.count(stuff), board.sheets.filter(|&has| (has as usize) < nested.count(stuff))?);
    let setting = if stuff == Stuff::Board { "board.sheets" } else { "cover.sheet.sheets" };
    let message = format!(
        "the panels take {needs} sheets of {}, {} × {}, and {has} are in stock",
        board.material, board.sheet[0], board.sheet[1]
    );
    Some(Finding::fault("case-too-few-sheets", message, format!("get {needs} and raise `{setting}`, or larger sheets")))
}
