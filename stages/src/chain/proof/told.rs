//! What is said of the prediction.

use super::Prediction;
use crate::colorimetry::srgb;
use crate::findings::{Fact, Finding, Unit};
use crate::marked::{Sight, in_front};
use crate::print::scores::{Effect, Judgement, Scores, SideScore};
use crate::print::view::shares::handovers;
use crate::print::view::{Subject, Turn};
use crate::solid::Cells;
use crate::stage::Shop;
use crate::{Side, Six};

/// A share as per cent with one decimal.
fn percent(share: f64) -> String {
    format!("{:.1}", share * 100.0)
}

fn legibility(scores: &Scores) -> f64 {
    scores.legibility().map_or(0.0, |(named, _)| named)
}

fn separation(scores: &Scores) -> Option<f64> {
    scores.least_separation().map(|pair| pair.kept())
}

/// The verdict and the numbers behind it.
pub(super) fn decided(stated: &Scores, judgement: &Judgement, shop: &mut Shop<'_>) {
    shop.fact(Fact::text("effect", judgement.effect.word()));
    shop.fact(Fact::text("decided by", judgement.decided_by.clone()));
    shop.fact(Fact::number("legibility", legibility(stated) * 100.0, Unit::Percent));
    if let Some(kept) = separation(stated) {
        shop.fact(Fact::number("separation kept", kept * 100.0, Unit::Percent));
    }
}

/// Scores over the ranges of the process, of sides and of neighbours.
pub(super) fn scores(prediction: &Prediction, shop: &mut Shop<'_>) {
    let Prediction { stated, kindest, harshest, .. } = prediction;
    let row = |figures: &str, scores: &Scores| {
        vec![figures.to_owned(), percent(legibility(scores)), separation(scores).map_or("–".to_owned(), percent)]
    };
    let rows = vec![row("as stated", stated), row("kindest", kindest), row("harshest", harshest)];
    let columns = ["process figures", "legibility, %", "least separation, %"];
    shop.fact(Fact::table("legibility by process range", &columns, rows));
    sides(prediction, shop);
    neighbours(stated, shop);
}

fn sides(prediction: &Prediction, shop: &mut Shop<'_>) {
    let Prediction { stated, kindest, harshest, .. } = prediction;
    let row = |side: Side| {
        let score: SideScore = stated.sides[side]?;
        let ends = [harshest, kindest].map(|scores| scores.sides[side].map_or(0.0, |score| score.named));
        // More bleed can also do a light colour good: the ends are those of what comes out.
        let [low, high] = [ends[0].min(ends[1]).min(score.named), ends[0].max(ends[1]).max(score.named)];
        Some(vec![
            side.to_string(),
            srgb(score.designed).to_string(),
            srgb(score.printed).to_string(),
            percent(score.own),
            percent(score.named),
            percent(low),
            percent(high),
        ])
    };
    let columns = ["side", "designed", "printed", "own colour, %", "named right, %", "from, %", "to, %"];
    shop.fact(Fact::table("print by side", &columns, Side::ALL.into_iter().filter_map(row).collect()));
}

fn neighbours(stated: &Scores, shop: &mut Shop<'_>) {
    let row = |pair: &crate::print::scores::Separation| {
        let [a, b] = pair.sides;
        let designed = format!("{:.1}", pair.designed);
        vec![format!("{a}, {b}"), designed, format!("{:.1}", pair.printed), percent(pair.kept())]
    };
    let rows = stated.separations.iter().map(row).collect();
    shop.fact(Fact::table("separation of neighbours", &["sides", "designed ΔE00", "printed ΔE00", "kept, %"], rows));
}

/// The smallest cell that holds, and the size of the piece with it.
pub(super) fn smallest(smallest: Option<f64>, cells: &Cells, shop: &mut Shop<'_>) {
    let Some(cell) = smallest else { return };
    shop.fact(Fact::number("smallest cell that holds", cell, Unit::Mm));
    shop.fact(Fact::text("smallest size that holds", size(cells, cell)));
}

/// The size of the piece with cells of that edge.
fn size(cells: &Cells, cell: f64) -> String {
    let counts = cells.extent().map_or([0; 3], |[low, high]| (high - low + 1).to_array());
    let [x, y, z] = counts.map(|count| f64::from(count) * cell);
    format!("{x:.1} × {y:.1} × {z:.1} mm")
}

/// The finding of a piece whose effect does not hold.
pub(super) fn verdict(
    prediction: &Prediction,
    judgement: &Judgement,
    smallest: Option<f64>,
    cells: &Cells,
    shop: &mut Shop<'_>,
) {
    let (cell, across) = (cells.grid().cell, cells.extent().map_or(0, |[low, high]| (high - low + 1).max_element()));
    let remedy = match smallest {
        Some(enough) => {
            let keeping = f64::from(across) * cell / enough;
            format!(
                "with `voxelise.cell` of about {enough:.2} mm it would hold: as many cells make a piece of {}, the same size \
                 has about {keeping:.0} cells along its longest side; `turnhue advise` compares cell sizes",
                size(cells, enough)
            )
        }
        None => "no cell size helps: choose colours that are farther apart, or a process with less `bleed`".to_owned(),
    };
    let because = &judgement.decided_by;
    let finding = match judgement.effect {
        Effect::Holds => return,
        Effect::Marginal => Finding::caution(
            "effect-marginal",
            format!("the effect may not hold once printed with cells of {cell:.2} mm: {because}"),
            remedy,
        ),
        Effect::Fails => Finding::fault(
            "effect-fails",
            format!(
                "the effect fails once printed with cells of {cell:.2} mm, colours run into one another: {because}"
            ),
            remedy,
        ),
    };
    shop.finding_seen(finding, || lost(prediction));
}

/// The faces that are taken for another side's, on the side of which the least is named right.
fn lost(prediction: &Prediction) -> Sight {
    let named = |side: Side| prediction.stated.sides[side].map(|score| score.named);
    let scored = Side::ALL.into_iter().filter_map(|side| Some((side, named(side)?)));
    let Some((side, _)) = scored.reduce(|least, other| if other.1 < least.1 { other } else { least }) else {
        return Sight::default();
    };
    let sheet = &prediction.printed.sheet;
    let texels = sheet.per_edge * sheet.per_edge;
    let faces = sheet.faces.iter().zip(prediction.names.chunks_exact(texels)).filter(|(face, _)| face.side == side);
    let wrong = |names: &[u8]| 2 * names.iter().filter(|&&name| name != side as u8).count() > texels;
    let seen = in_front(side, faces.map(|(face, names)| (face.cell, wrong(names))));
    let lost = seen.filter(|&(_, wrong)| wrong).map(|(cell, _)| cell);
    Sight::of_cells(&sheet.grid, lost)
        .from(side)
        .saying("faces of which more than half is taken for another side's colour")
}

/// The shares of the sides over a turn, and how they give way.
pub(super) fn turn(subject: &Subject<'_>, turn: &Turn<'_>, prediction: &Prediction, shop: &mut Shop<'_>) {
    let names: Vec<Option<Side>> = prediction.names.iter().map(|&name| Some(Side::ALL[name as usize])).collect();
    let shares = subject.shares(&names, turn.elevation());
    let columns: Vec<String> = std::iter::once("azimuth, °".to_owned())
        .chain(["designed", "printed"].iter().flat_map(|how| Side::ALL.map(|side| format!("{how} {side}"))))
        .collect();
    let columns: Vec<&str> = columns.iter().map(String::as_str).collect();
    let row = |at: &crate::print::view::Shares| {
        let all = |shares: &Six<f64>| shares.0.map(percent);
        std::iter::once(format!("{:.0}", at.azimuth)).chain(all(&at.designed)).chain(all(&at.named)).collect()
    };
    shop.fact(Fact::number("viewed from above by", turn.elevation(), Unit::Degrees));
    shop.fact(Fact::table("turn", &columns, shares.iter().map(row).collect()));
    let angle = |angle: Option<f64>| angle.map_or("–".to_owned(), |angle| format!("{angle:.1}"));
    let row = |h: &crate::print::view::Handover| {
        vec![h.from.to_string(), h.to.to_string(), angle(h.designed), angle(h.printed)]
    };
    let rows = handovers(&shares).iter().map(row).collect();
    shop.fact(Fact::table("handover", &["from", "to", "designed, °", "printed, °"], rows));
}
