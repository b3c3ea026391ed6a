//! A plan in words.

use serde_json::Value;
use turnhue_stages::workpiece::Part;

use super::{Plan, source};
use crate::diagnostic::harmless;

impl Plan {
    /// The chain in words, a stage a paragraph.
    #[must_use]
    pub fn in_words(&self) -> String {
        let mut words = format!("{}: {}\n", self.job.commission.as_str(), self.job.title.as_str());
        let size = self.job.surface.bounds().map(|[low, high]| (high - low).to_array()).unwrap_or_default();
        words += &format!(
            "  model    {}: {} triangles, {:.1} × {:.1} × {:.1} mm (width, depth, height)\n",
            self.job.model.file,
            self.job.surface.triangles().len(),
            size[0],
            size[1],
            size[2]
        );
        for line in source::in_words(&self.job.surface, self.job.model.units, &self.job.process) {
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

fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}

fn parts(parts: &[Part]) -> String {
    if parts.is_empty() {
        return "nothing".to_owned();
    }
    parts.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
}
