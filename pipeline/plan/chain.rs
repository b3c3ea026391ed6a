//! Whether each stage of a chain has what it needs when its turn comes.

use turnhue_stages::workpiece::Part;

use super::{PlannedStep, Stages};
use crate::diagnostic::{Diagnostic, listed};
use crate::job::Text;

/// Judges a chain. A stage that could not be read (`None`) might have given anything: what comes after it is not judged.
pub(super) fn check(text: &Text, steps: &[Option<PlannedStep>], stages: &Stages, faults: &mut Vec<Diagnostic>) {
    let mut have = vec![Part::Surface];
    for (index, step) in steps.iter().enumerate() {
        let Some(step) = step else { return };
        for &part in step.stage.needs() {
            if !have.contains(&part) {
                let later: Vec<_> = steps[index + 1..].iter().flatten().collect();
                faults.push(unmet(text, step, part, &later, stages));
                // Say it once: what comes after would lack the same part for the same reason.
                have.push(part);
            }
        }
        let gives = step.stage.gives();
        have.retain(|&part| !gives.iter().any(|&given| part.made_after(given)));
        have.extend(gives);
    }
}

fn unmet(text: &Text, step: &PlannedStep, part: Part, later: &[&PlannedStep], stages: &Stages) -> Diagnostic {
    let name = step.stage.name();
    let fault = Diagnostic::error(format!("`{name}` needs {part}, which no stage before it makes"))
        .at(text.key_place(step.site.own()))
        .label(format!("needs {part}"));
    if let Some(maker) = later.iter().find(|later| later.stage.gives().contains(&part)) {
        let maker_name = maker.stage.name();
        return fault
            .related(text.key_place(maker.site.own()), format!("makes {part}"))
            .remedy(format!("put `{maker_name}` before `{name}`"));
    }
    match makers(part, stages).as_slice() {
        [] => fault.remedy("`turnhue stages` says what each stage is for"),
        [one] => fault.remedy(format!("`{one}` makes {part}: put it before `{name}`")),
        many => fault.remedy(format!("{} make {part}: put one of them before `{name}`", listed(many.iter().copied()))),
    }
}

/// The stages that give a part without needing it themselves.
fn makers(part: Part, stages: &Stages) -> Vec<&'static str> {
    stages.iter().filter(|s| s.gives().contains(&part) && !s.needs().contains(&part)).map(|s| s.name()).collect()
}
