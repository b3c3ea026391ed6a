//! A plan in words.

use serde_json::Value;
use turnhue_stages::formats::model::Choice;
use turnhue_stages::workpiece::Part;

use super::{Plan, source};
use crate::advise;
use crate::diagnostic::harmless;

impl Plan {
    /// The chain in words, a stage a paragraph.
    #[must_use]
    pub fn in_words(&self) -> String {
        let mut words = format!("{}: {}\n", self.job.commission.as_str(), self.job.title.as_str());
        let surface = &self.job.model.surface;
        let size = surface.bounds().map(|[low, high]| (high - low).to_array()).unwrap_or_default();
        words += &format!(
            "  model    {}: {} triangles, {:.1} × {:.1} × {:.1} mm (width, depth, height)\n",
            self.job.model_file,
            surface.triangles().len(),
            size[0],
            size[1],
            size[2]
        );
        self.add_model(&mut words);
        for line in source::in_words(&self.job.model.surface, self.job.model.units, &self.job.process) {
            words += &format!("           {line}\n");
        }
        words += &format!(
            "  process  {}: {}, {}\n",
            self.job.process_file,
            self.job.process.name,
            self.job.process.family.name()
        );
        if let Some((memory, stage)) = self.memory() {
            words += &format!("  memory   about {} at most, in {stage}\n", memory.rounded());
        }
        if self.compares_sizes() {
            words += &format!("  advise   {}\n", advise::planned(self));
        }
        let outlook = self.outlook();
        for (index, step) in self.job.steps.iter().enumerate() {
            let stage = &step.stage;
            words += &format!("  {:>2}. {}: {}\n", index + 1, stage.name(), step.purpose);
            words += &format!("      takes {}; gives {}\n", parts(stage.needs()), parts(stage.gives()));
            words += &format!("      memory: about {}\n", outlook[index].peak().rounded());
            if let Value::Object(settings) = stage.settings() {
                for (name, value) in settings.iter().filter(|(_, value)| !value.is_null()) {
                    words += &format!("      {name}: {}\n", plain(value));
                }
            }
        }
        harmless(&words)
    }
}

/// So many bodies are listed one by one.
const MOST_BODIES: usize = 20;

impl Plan {
    /// How the model was read, what was passed over, and its bodies where there are several.
    fn add_model(&self, words: &mut String) {
        let model = &self.job.model;
        *words += &format!(
            "           {} in {}, {} up, facing {}\n",
            model.format,
            model.units.name(),
            model.up.name(),
            model.facing.name()
        );
        for note in &model.notes {
            *words += &format!("           note: {note}\n");
        }
        let bodies = model.bodies();
        if bodies.len() < 2 {
            return;
        }
        *words += &format!("           {} bodies, of which the job takes {}:\n", bodies.len(), chosen(&model.chosen));
        for (at, body) in bodies.iter().enumerate().take(MOST_BODIES) {
            let size = body.bounds[1] - body.bounds[0];
            let name = body.name.as_ref().map_or(String::new(), |name| format!("{name}: "));
            *words += &format!(
                "           {:>3}. {name}{} triangles, {:.1} × {:.1} × {:.1} mm\n",
                at + 1,
                body.triangles,
                size.x,
                size.y,
                size.z
            );
        }
        if bodies.len() > MOST_BODIES {
            *words += &format!("           … and {} more\n", bodies.len() - MOST_BODIES);
        }
    }
}

fn chosen(choice: &Choice) -> String {
    match choice {
        Choice::All => "all".to_owned(),
        Choice::Largest => "the largest".to_owned(),
        Choice::Numbers(numbers) => numbers.iter().map(u32::to_string).collect::<Vec<_>>().join(", "),
    }
}

fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

fn parts(parts: &[Part]) -> String {
    if parts.is_empty() {
        return "nothing".to_owned();
    }
    parts.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}
