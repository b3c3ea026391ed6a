//! How the piece will look once it is printed, as the stage `proof` predicts it: the verdict, the turn, what each side
//! keeps.

use turnhue_stages::findings::{Unit, Value};
use turnhue_stages::{Side, Six, Srgb};

use crate::curve::{self, Curve};
use crate::facts::{self, Grid};
use crate::numbers;
use crate::record::{Record, StageRecord};
use crate::said::{self, Table};
use crate::turntable::{self, Turntable};
use crate::views::Pictures;

/// The stage that predicts the print.
pub(crate) const STAGE: &str = "proof";
/// Its fact with a row for each side.
pub(crate) const BY_SIDE: &str = "print by side";
/// The turn as an animated picture, to post. It is far too large to stand in a page.
const ANIMATION: &str = "turn.png";
/// Its fact with the scores at the ends of the process's figures.
const BY_RANGE: &str = "legibility by process range";

/// What the page shows of a prediction.
pub(crate) struct Proof {
    /// The stage's place in the chain, from 1.
    pub(crate) number: usize,
    /// Whether the effect holds; nothing if the stage did not say.
    pub(crate) effect: Option<Effect>,
    /// The figures behind it, with their units.
    pub(crate) figures: Vec<(&'static str, String)>,
    /// The frames of a turn.
    pub(crate) turntable: Option<Turntable>,
    /// The shares of the colours over a turn, drawn wide and narrow.
    pub(crate) curve: Option<[Curve; 2]>,
    /// Where one side gives way to the next.
    pub(crate) handover: Option<Table>,
}

/// Whether the effect holds, in words.
pub(crate) struct Effect {
    /// Its class in the style sheet.
    pub(crate) class: &'static str,
    /// The verdict.
    pub(crate) word: String,
    /// The number and the limit that decided it.
    pub(crate) decided_by: Option<String>,
}

impl Proof {
    /// What the last prediction of a run says, without its turntable; nothing if the run has none.
    pub(crate) fn of(record: &Record, told: Option<Six<Srgb>>) -> Option<Self> {
        let (number, stage) = facts::stage(record, STAGE)?;
        Some(Self {
            number,
            effect: facts::words(stage, "effect").map(|word| Effect::of(word, stage)),
            figures: figures(stage),
            turntable: None,
            curve: facts::table(stage, "turn").and_then(|turn| curve::of(turn, told)),
            handover: facts::table(stage, "handover").and_then(handover),
        })
    }
}

/// The turntable of a run's last prediction, with as many frames as go into `room`, in bytes.
pub(crate) fn turntable(record: &Record, pictures: Pictures<'_>, room: usize) -> Option<Turntable> {
    let (_, stage) = facts::stage(record, STAGE)?;
    Turntable::of(stage, pictures, room)
}

impl Effect {
    fn of(word: &str, stage: &StageRecord) -> Self {
        let (class, word) = match word {
            "holds" => ("ready", "The effect holds".to_owned()),
            "marginal" => ("open", "The effect is marginal".to_owned()),
            "fails" => ("faults", "The effect fails".to_owned()),
            other => ("open", said::capitalised(other)),
        };
        Self { class, word, decided_by: facts::words(stage, "decided by").map(str::to_owned) }
    }
}

/// Where one side gives way to the next, a row for each: `front to right`, and the angles.
fn handover(grid: Grid<'_>) -> Option<Table> {
    let columns: Vec<_> =
        ["sides"].into_iter().chain(grid.headings().iter().skip(2).map(String::as_str)).map(str::to_owned).collect();
    let row = |row: &'_ Vec<String>| match &row[..] {
        [from, to, angles @ ..] => {
            Some([said::capitalised(&format!("{from} to {to}"))].into_iter().chain(angles.iter().cloned()).collect())
        }
        _ => None,
    };
    let rows: Option<Vec<Vec<String>>> = grid.rows.iter().map(row).collect();
    rows.filter(|rows| !rows.is_empty()).map(|rows| Table::of("handover", &columns, &rows))
}

/// Every figure behind the verdict that the stage said.
fn figures(stage: &StageRecord) -> Vec<(&'static str, String)> {
    let by_range = facts::table(stage, BY_RANGE);
    let ends = |heading: &str| {
        let grid = by_range?;
        let at = |name: &str| grid.number(grid.row(name)?, heading);
        Some([at("harshest")?, at("kindest")?])
    };
    let score = |name: &str, column: &str| match &facts::fact(stage, name)?.value {
        Value::Number(score) => Some(share(*score) + &range(ends(column))),
        _ => None,
    };
    let said = |name: &str| facts::fact(stage, name).map(said::value);
    let figures = [
        ("Named right, on the side that does worst", score("legibility", "legibility")),
        ("Separation kept, of the neighbours that lose most", score("separation kept", "least separation")),
        ("Smallest cell that holds", said("smallest cell that holds")),
        ("Smallest size that holds, of as many cells", said("smallest size that holds")),
    ];
    figures.into_iter().filter_map(|(name, value)| Some((name, value?))).collect()
}

/// A share with one decimal: what is predicted is not known to more.
fn share(per_cent: f64) -> String {
    numbers::quantity(libm::round(per_cent * 10.0) / 10.0, Some(Unit::Percent))
}

/// What becomes of a share at the ends of the process's figures; nothing if they have no range.
fn range(ends: Option<[f64; 2]>) -> String {
    let rounded = ends.map(|ends| ends.map(|end| libm::round(end * 10.0) / 10.0));
    match rounded {
        Some([a, b]) if (a - b).abs() > 0.0 => {
            format!(" ({} to {})", numbers::measured(a.min(b)), numbers::measured(a.max(b)))
        }
        _ => String::new(),
    }
}

/// What a prediction says about one side.
pub(crate) struct OfSide {
    /// The mean colour that shows.
    pub(crate) printed: Option<Srgb>,
    /// Name and value with its unit.
    pub(crate) says: Vec<(String, String)>,
}

impl OfSide {
    /// What the prediction of a run says about a side.
    pub(crate) fn of(record: &Record, side: Side) -> Option<Self> {
        let (_, stage) = facts::stage(record, STAGE)?;
        let grid = facts::table(stage, BY_SIDE)?;
        let row = grid.row(side.word())?;
        let mut says = Vec::new();
        if let Some(named) = grid.number(row, "named right") {
            says.push((
                "Named right".to_owned(),
                share(named) + &range(grid.number(row, "from").zip(grid.number(row, "to")).map(<[f64; 2]>::from)),
            ));
        }
        if let Some(own) = grid.number(row, "own colour") {
            says.push(("Own colour, once printed".to_owned(), share(own)));
        }
        Some(Self { printed: grid.text(row, "printed").and_then(|colour| colour.parse().ok()), says })
    }
}

/// The two artefacts that show a side: as designed and as printed.
pub(crate) fn names_of_pair(side: Side) -> [String; 2] {
    ["designed", "printed"].map(|series| format!("proof-{series}-{side}.png"))
}

/// Whether an artefact is one of the pictures of a prediction, which have places of their own on the page.
pub(crate) fn is_picture(name: &str) -> bool {
    name == ANIMATION || turntable::is_frame(name) || is_side(name)
}

/// Whether an artefact shows a side as designed or as printed.
pub(crate) fn is_side(name: &str) -> bool {
    Side::ALL.into_iter().any(|side| names_of_pair(side).iter().any(|known| known == name))
}
