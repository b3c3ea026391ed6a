//! The advice as the summary page shows it.

use turnhue_stages::findings::Fact;

use super::plot::{self, Panel};
use super::{Advice, Effect, Size};
use crate::numbers;
use crate::said::{Said, Table};

/// What comparing sizes of the cell came to, as the page shows it.
pub(crate) struct AdviceView<'a> {
    /// The recommendation: what it comes to, then what is to be said beside it.
    pub(crate) words: &'a [String],
    pub(crate) missing: &'a [String],
    pub(crate) panels: Vec<Panel>,
    /// The signs in use, each with what it means: path and words.
    pub(crate) signs: Vec<(&'static str, String, &'static str)>,
    /// What the lines in the panels mean.
    pub(crate) lines: Vec<(&'static str, String)>,
    pub(crate) table: Option<Table>,
}

impl<'a> AdviceView<'a> {
    pub(crate) fn of(advice: &'a Advice) -> Self {
        let panels = plot::panels(advice);
        let has = |class: &str| panels.iter().any(|panel| panel.drawing.has(class));
        let meanings =
            [("holds", "the effect holds"), ("marginal", "marginal"), ("fails", "fails"), ("unknown", "not told")];
        let signs = meanings.into_iter().filter(|(form, _)| has(&format!("sign {form}")));
        let mut lines = Vec::new();
        lines.extend(
            advice.recommended.map(|cell| ("chosen", format!("recommended, {}", numbers::millimetres(&[cell])))),
        );
        let own = advice.own.filter(|&own| Some(own) != advice.recommended);
        lines.extend(own.map(|cell| ("own", format!("the job’s own, {}", numbers::millimetres(&[cell])))));
        if has("bound") {
            lines.push(("bound", "what the job asks to keep to".to_owned()));
        }
        Self {
            words: &advice.words,
            missing: &advice.missing,
            signs: signs.map(|(form, words)| (form, plot::key(form), words)).collect(),
            panels,
            lines,
            table: table(advice),
        }
    }
}

/// The sizes, a row each. Columns of which nothing is known are left out.
fn table(advice: &Advice) -> Option<Table> {
    let number =
        |number: Option<f64>, decimals: usize| number.map_or(String::new(), |number| format!("{number:.decimals$}"));
    type Column = (&'static str, Vec<String>);
    let column =
        |heading, cell: &dyn Fn(&Size) -> String| -> Column { (heading, advice.sizes.iter().map(cell).collect()) };
    let columns: Vec<Column> = [
        column("cell, mm", &|size| turnhue_stages::Length::from_mm(size.cell).rounded().mm().to_string()),
        column("effect", &|size| size.effect.map_or("", Effect::word).to_owned()),
        column("legibility, %", &|size| number(size.legibility, 1)),
        column("separation kept, %", &|size| number(size.separation, 1)),
        column("likeness, %", &|size| number(size.likeness, 1)),
        column("price", &|size| size.price.as_ref().map_or(String::new(), ToString::to_string)),
        column("weight, g", &|size| number(size.weight, 1)),
        column("smallest wall, mm", &|size| number(size.smallest_wall, 2)),
        column("cells", &|size| size.cells.map_or(String::new(), |cells| cells.to_string())),
        column("", &|size| remark(size, advice)),
    ]
    .into_iter()
    .filter(|(_, cells)| cells.iter().any(|cell| !cell.is_empty()))
    .collect();
    let headings: Vec<&str> = columns.iter().map(|(heading, _)| *heading).collect();
    let rows =
        (0..advice.sizes.len()).map(|row| columns.iter().map(|(_, cells)| cells[row].clone()).collect()).collect();
    Said::of(&[Fact::table("sizes that were tried", &headings, rows)]).tables.pop()
}

fn remark(size: &Size, advice: &Advice) -> String {
    let mut remarks = Vec::new();
    if advice.recommended == Some(size.cell) {
        remarks.push("recommended".to_owned());
    }
    if advice.own == Some(size.cell) {
        remarks.push("the job’s own".to_owned());
    }
    if !size.faults.is_empty() {
        remarks.push(format!("faults: {}", size.faults.join(", ")));
    }
    remarks.extend(size.refused.clone());
    remarks.join("; ")
}
