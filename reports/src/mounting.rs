//! How the piece will stand: stand, piece and case together, in section and in a view, and the figures of its balance.

use crate::facts;
use crate::pictures::{self, Picture};
use crate::record::{Record, StageRecord};
use crate::said::{self, Table};
use crate::views::Pictures;

/// The stages that put a piece on its stand: the later one has drawn more of it.
const STAGES: [&str; 2] = ["case", "stand"];
/// The stage that reckons the balance.
const BALANCE: &str = "stand";
/// What the names of the two drawings end in.
const SECTION: &str = "-section.svg";
const VIEW: &str = "-view.png";

/// What the page shows of it.
pub(crate) struct Mounting {
    /// The place in the chain, from 1, of the stage that reckoned the balance.
    pub(crate) number: usize,
    /// The section through the axis, with the fit.
    pub(crate) section: Option<Picture>,
    /// All of it from the front right.
    pub(crate) view: Option<Picture>,
    /// Whether a case is drawn too.
    pub(crate) has_case: bool,
    /// The figures of the balance, with their units.
    pub(crate) figures: Vec<(&'static str, String)>,
}

impl Mounting {
    /// What the stages of a run say of its stand; nothing if it has none.
    pub(crate) fn of(record: &Record, pictures: Pictures<'_>) -> Option<Self> {
        let (number, balance) = facts::stage(record, BALANCE)?;
        let (_, drawn) = STAGES.iter().find_map(|name| facts::stage(record, name))?;
        let bytes = |ending: &str| pictures(artefact(drawn, ending)?);
        Some(Self {
            number,
            section: bytes(SECTION).and_then(|svg| Picture::of_drawing(&svg)),
            view: bytes(VIEW).and_then(|png| Picture::of(&png)),
            has_case: drawn.name != BALANCE,
            figures: figures(balance),
        })
    }
}

/// The stage that divides a piece, its drawing of the parts, and its table of them.
const DIVIDES: &str = "split";
const PARTS: &str = "parts.svg";
const CUT: &str = "parts-section.svg";
const BY_PART: &str = "parts of the piece";

/// The parts into which a piece was divided.
pub(crate) struct Divided {
    /// The place in the chain, from 1, of the stage that divided it.
    pub(crate) number: usize,
    /// The parts drawn apart, each with its number.
    pub(crate) picture: Option<Picture>,
    /// The parts put together, in section.
    pub(crate) section: Option<Picture>,
    /// A row for each.
    pub(crate) table: Table,
}

impl Divided {
    /// The parts of a run; nothing if the piece is whole.
    pub(crate) fn of(record: &Record, pictures: Pictures<'_>) -> Option<Self> {
        let (number, stage) = facts::stage(record, DIVIDES)?;
        let table = Table::of_fact(facts::fact(stage, BY_PART)?)?;
        let drawing = |name: &str| {
            let drawn = stage.artefacts.iter().find(|file| file.name == name)?;
            Picture::of_drawing(&pictures(&drawn.name)?)
        };
        Some(Self { number, picture: drawing(PARTS), section: drawing(CUT), table })
    }
}

/// Whether the page shows a picture of that name under its stand.
pub(crate) fn is_picture(name: &str) -> bool {
    name.ends_with(VIEW)
}

fn artefact<'a>(stage: &'a StageRecord, ending: &str) -> Option<&'a str> {
    let mut names = stage.artefacts.iter().map(|file| file.name.as_str());
    names.find(|name| name.ends_with(ending) && pictures::leads_nowhere(name))
}

/// The figures that decide where and how it can stand, as far as the stage said them.
fn figures(stage: &StageRecord) -> Vec<(&'static str, String)> {
    const ASKED: [(&str, &str); 8] = [
        ("Weight that turns", "weight that turns"),
        ("Tips over at a tilt of", "tipping angle on the stand"),
        ("Centre of mass off the axis", "axis to the piece's centre of mass"),
        ("Torque that turns it, with its factor", "torque needed"),
        ("Turns at most", "fastest recommended speed"),
        ("Swept diameter", "swept diameter"),
        ("Swept height", "swept height"),
        ("Clearance of the post, on each side", "clearance"),
    ];
    ASKED.iter().filter_map(|&(label, name)| Some((label, said::value(facts::fact(stage, name)?)))).collect()
}
