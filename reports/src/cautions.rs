//! What whoever handles the piece must know so that nobody is hurt and nothing breaks.

use turnhue_stages::findings::{Unit, Value};
use turnhue_stages::process::Family;

use crate::numbers;
use crate::record::Record;

/// A caution: what it is about, and what to mind.
pub(crate) struct Caution {
    /// What it is about.
    pub(crate) about: &'static str,
    /// What to mind.
    pub(crate) text: String,
}

/// The cautions for a piece, those for everybody first, those for whoever finishes and mounts it last.
pub(crate) fn of(record: &Record) -> Vec<Caution> {
    let mut cautions = vec![
        Caution {
            about: "For display, not for play",
            text:
                "This is not a toy. Cubes can break off and be swallowed: keep it from children under three, and away \
                   from food."
                    .to_owned(),
        },
        Caution {
            about: "Fragile",
            text:
                "Walls are thin and cubes stand out. Carry it with both hands from below, never by an arm or an edge."
                    .to_owned(),
        },
        Caution {
            about: "Sharp corners",
            text:
                "Cube corners can scratch skin, eyes and furniture. Place it where nobody brushes past or falls on it."
                    .to_owned(),
        },
        Caution { about: "On a shelf", text: shelf(record) },
    ];
    if record.process.family.leaves_powder() {
        cautions.push(Caution {
            about: "Loose powder is dust",
            text: "Powder may still trickle from openings. Empty the piece outdoors or at an extraction, with a dust mask \
                   and eye protection, never near a flame. The bureau’s instructions, the powder’s safety data sheet and \
                   local rules come first."
                .to_owned(),
        });
    }
    if matches!(record.process.family, Family::MaterialJetting | Family::VatPhotopolymerization) {
        cautions.push(Caution {
            about: "Resin that is not cured",
            text: "Sticky places are uncured resin, which irritates skin: wear gloves and return the piece to the bureau. \
                   The resin’s safety data sheet comes first."
                .to_owned(),
        });
    }
    cautions.extend([
        Caution {
            about: "Sealing and glueing",
            text: "Resins, lacquers and solvents need fresh air, gloves and eye protection, and no flame. Follow the \
                   maker’s safety data sheet and local rules, and try them on a spare print: they can shift colours."
                .to_owned(),
        },
        Caution {
            about: "Cutting, drilling, sanding",
            text:
                "Hold the work in a vice, not in the hand. Wear eye protection and a dust mask, and sand wet where the \
                   material allows it."
                    .to_owned(),
        },
        Caution {
            about: "Turntable",
            text:
                "A motor that runs on mains voltage is fitted by a licensed electrician under the local code. Prefer \
                   one on safe low voltage, keep hair, cords and fingers clear, and check the weight it may carry."
                    .to_owned(),
        },
    ]);
    if record.stages.iter().any(|stage| stage.name == "case") {
        cautions.extend(of_case());
    }
    cautions
}

/// Those for whoever builds the box and the cover, and for where they stand.
fn of_case() -> [Caution; 2] {
    let caution = |about, text: &str| Caution { about, text: text.to_owned() };
    [
        caution(
            "Building the box",
            "Saws, routers, lasers and drills need eye protection, a dust mask and extraction; stay with a laser while it \
             cuts, and never laser PVC. Set the drill’s depth stop. The machine’s own rules come first.",
        ),
        caution(
            "Box and cover in use",
            "Cut edges of clear sheet are sharp: break them, and lift the cover with both hands. Leave the air holes free, \
             keep children and fingers from the turning stand, and check that the shelf carries all of it.",
        ),
    ]
}

/// Says how heavy the piece is, where a stage weighed it.
fn shelf(record: &Record) -> String {
    let weight = record.stages.iter().flat_map(|stage| &stage.facts).rfind(|fact| fact.name == "weight");
    let says = match weight.map(|fact| (&fact.value, fact.unit)) {
        Some((Value::Number(grams), Some(Unit::Gram))) => {
            format!("It weighs about {}, before finishing and stand. ", numbers::quantity(*grams, Some(Unit::Gram)))
        }
        _ => String::new(),
    };
    says + "A piece that falls can hurt: choose a level shelf that carries it, below head height, and secure it."
}
