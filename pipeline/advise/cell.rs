//! The setting whose values are compared: the only place that knows its name.

use serde_json::Value;
use turnhue_stages::Length;
use turnhue_stages::stage::Misfit;

use super::facts;
use crate::diagnostic::Diagnostic;
use crate::job::Text;
use crate::plan::PlannedStep;

/// The stage that makes the cells, and the setting that says how large they are.
const STAGE: &str = "voxelise";
pub(crate) const SETTING: &str = "cell";
/// The setting that may say it in another way.
const INSTEAD: &str = "across";
/// The word in the place of a length that is still to be found.
const WORD: &str = "advise";

/// A length in the place of one that is still to be found, mm: any that the stage takes.
pub(crate) const IN_PLACE: f64 = 1.0;

/// Where the stage stands in a chain.
pub(super) fn stage_in(steps: &[PlannedStep]) -> Option<usize> {
    steps.iter().position(is_the_stage)
}

fn is_the_stage(step: &PlannedStep) -> bool {
    step.stage.name() == STAGE
}

/// Whether the job leaves the cell to be found.
pub(crate) fn is_open(step: &PlannedStep) -> bool {
    is_the_stage(step) && step.stage.settings().get(SETTING).is_some_and(|cell| cell == WORD)
}

/// The cell that the job names, in mm, for a piece that is so long at its longest.
pub(super) fn named(step: &PlannedStep, longest: f64) -> Option<f64> {
    let settings = step.stage.settings();
    let across = settings.get(INSTEAD).and_then(Value::as_f64).map(|across| longest / across);
    across.or_else(|| {
        let cell = settings.get(SETTING)?.clone();
        serde_json::from_value::<Length>(cell).ok().map(Length::mm)
    })
}

/// The same stage with a cell of so many mm, read by the stage itself.
pub(crate) fn with(step: &PlannedStep, mm: f64) -> Result<PlannedStep, Misfit> {
    let mut settings = step.stage.settings();
    if let Value::Object(settings) = &mut settings {
        // Beside a cell it would contradict, and that is for the stage to say.
        if !settings.contains_key(SETTING) {
            settings.remove(INSTEAD);
        }
        settings.insert(SETTING.to_owned(), Length::from_mm(mm).to_string().into());
    }
    step.with(settings)
}

/// What keeps sizes from being compared, where the job asks for it: `asks` by a key of its own, or in the cell's place.
pub(crate) fn check(text: &Text, steps: &[&PlannedStep], asks: bool) -> Option<Diagnostic> {
    let Some(at) = steps.iter().position(|step| is_the_stage(step)) else {
        let fault =
            Diagnostic::error(format!("sizes of `{STAGE}.{SETTING}` cannot be compared: the chain has no `{STAGE}`"));
        return asks
            .then(|| fault.at(text.key_place("advise")).remedy(format!("add `- {STAGE}: {{ {SETTING}: 3 mm }}`")));
    };
    let judged = steps[at..].iter().any(|step| step.stage.name() == facts::JUDGES);
    (is_open(steps[at]) && !judged).then(|| {
        let judges = facts::JUDGES;
        Diagnostic::error(format!(
            "no cell can be found: nothing in the chain tells whether the effect holds, as `{judges}` does"
        ))
        .at(steps[at].site.place(text, SETTING))
        .label(format!("needs `{judges}`"))
        .remedy(format!("add a line `- {judges}` after `colour`, or write a length such as {SETTING}: 3 mm"))
    })
}
