//! From the text of a job file to what it asks for, each part with the type that it must have.

use serde_json::{Map, Value};
use turnhue_reports::night::Rule;
use turnhue_reports::night::choose::MOST_RULES;

use super::settings::{MOST_FAULTS, join, read};
use super::variants::Own;
use super::{AdviseRequest, Commission, ModelRequest, PackageRequest, Site, Text, Title, Variants};
use crate::diagnostic::{Diagnostic, listed, nearest};

/// The keys that a job file must have, in the order in which one is usually written.
pub(crate) const KEYS: [&str; 5] = ["commission", "title", "model", "process", "stages"];
/// The keys that it may have beside them.
const ADVISE: &str = "advise";
const VARIANTS: &str = "variants";
const CHOOSE: &str = "choose";
const PACKAGE: &str = "package";
const ALL_KEYS: [&str; 9] = [KEYS[0], KEYS[1], KEYS[2], KEYS[3], KEYS[4], ADVISE, VARIANTS, CHOOSE, PACKAGE];

/// Longest chain. No stage may come twice, so no sensible one is near it.
const MOST_STAGES: usize = 64;

/// What could be read of a job file. What could not is among the faults.
#[derive(Debug)]
pub struct Draft {
    /// See [`Commission`].
    pub commission: Option<Commission>,
    /// See [`Title`].
    pub title: Option<Title>,
    /// The model and how it stands.
    pub model: Option<ModelRequest>,
    /// The process file, relative to the job file's folder.
    pub process: Option<String>,
    /// The stages in order, as far as each could be read.
    pub steps: Vec<Step>,
    /// The sizes of the cell to compare, where the job asks for it.
    pub advise: Option<AdviseRequest>,
    /// The variants that are made in the place of the job itself, where it asks for some.
    pub variants: Option<Variants>,
    /// How one of the variants is chosen, the rules in the order in which they are tried.
    pub choose: Vec<Rule>,
    /// What the sheets of the order say that the run does not know, where the job tells it.
    pub package: Option<PackageRequest>,
}

/// A stage as the job file asks for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    /// The stage's name.
    pub name: String,
    /// Its settings, not yet looked at.
    pub settings: Value,
    /// The path in the job file below which the settings stand: `stages[2].hollow`.
    pub at: String,
}

impl Draft {
    /// Reads what the job asks for; adds every fault with its place.
    pub fn read(text: &Text, faults: &mut Vec<Diagnostic>) -> Self {
        let mut fields = Fields::of(text, faults);
        let mut draft = Self {
            commission: fields.required("commission", "COMMISSION-1"),
            title: fields.required("title", "what the piece is called"),
            model: fields.required("model", "{ file: models/piece.stl, units: mm }"),
            process: fields.required("process", "processes/powder.yaml"),
            steps: fields
                .required::<Vec<Value>>("stages", "[scale: { height: 18 cm }, …]")
                .map_or_else(Vec::new, |list| fields.steps(list)),
            advise: fields.advise(),
            variants: None,
            choose: fields.choose(),
            package: fields.package(),
        };
        draft.variants = fields.variants(&draft.steps);
        if let Some(model) = &draft.model {
            fields.faults.extend(against_itself(text, &Site::at("model"), model));
        }
        fields.refuse_rest();
        draft
    }
}

struct Fields<'a> {
    text: &'a Text,
    map: Map<String, Value>,
    faults: &'a mut Vec<Diagnostic>,
}

impl<'a> Fields<'a> {
    fn of(text: &'a Text, faults: &'a mut Vec<Diagnostic>) -> Self {
        let map = match text.value() {
            Value::Object(map) => map.clone(),
            _ => Map::new(),
        };
        Self { text, map, faults }
    }

    /// Takes a field out and reads it.
    fn required<T: serde::de::DeserializeOwned>(&mut self, key: &str, example: &str) -> Option<T> {
        if let Some(value) = self.map.remove(key) {
            let before = self.faults.len();
            let done = read(self.text, key, value, self.faults);
            for fault in self.faults[before..].iter_mut().filter(|fault| fault.what_to_do().is_empty()) {
                *fault = fault.clone().remedy(format!("write it like `{key}: {example}`"));
            }
            return done;
        }
        self.faults.push(
            Diagnostic::error(format!("the job has no `{key}`"))
                .at(self.text.place(""))
                .remedy(format!("add a line `{key}: {example}`")),
        );
        None
    }

    /// Takes out what is said of comparing sizes. The bare key asks for the usual ones.
    fn advise(&mut self) -> Option<AdviseRequest> {
        let request: AdviseRequest = match self.map.remove(ADVISE)? {
            Value::Null => AdviseRequest::default(),
            value => read(self.text, ADVISE, value, self.faults)?,
        };
        if let Err((setting, message, remedy)) = request.check() {
            let at = self.text.place(&join(ADVISE, setting));
            self.faults.push(Diagnostic::error(message).at(at).label(setting).remedy(remedy));
        }
        Some(request)
    }

    /// Takes out what is said for the sheets of the order. The bare key says nothing.
    fn package(&mut self) -> Option<PackageRequest> {
        let request: PackageRequest = match self.map.remove(PACKAGE)? {
            Value::Null => PackageRequest::default(),
            value => read(self.text, PACKAGE, value, self.faults)?,
        };
        for amiss in request.check() {
            let at = self.text.place(&join(PACKAGE, &amiss.setting));
            self.faults.push(Diagnostic::error(amiss.message).at(at).label(amiss.setting).remedy(amiss.remedy));
        }
        Some(request)
    }

    /// Takes out what is said of variants. What they change are the job's own stages.
    fn variants(&mut self, steps: &[Step]) -> Option<Variants> {
        let value = self.map.remove(VARIANTS)?;
        let listed = self.text.value().get("stages").and_then(Value::as_array).map_or(0, Vec::len);
        let own = Own { text: self.text, steps, whole: listed == steps.len() };
        Variants::read(&own, value, self.faults)
    }

    /// Takes out the rules by which a variant is chosen. Without variants there is nothing to choose from.
    fn choose(&mut self) -> Vec<Rule> {
        let Some(value) = self.map.remove(CHOOSE) else { return Vec::new() };
        if !self.map.contains_key(VARIANTS) {
            self.faults.push(
                Diagnostic::error("there is nothing to choose from: the job has no variants")
                    .at(self.text.key_place(CHOOSE))
                    .remedy("add `variants`, or leave `choose` out"),
            );
        }
        let rules: Vec<Rule> = read(self.text, CHOOSE, value, self.faults).unwrap_or_default();
        if rules.len() > MOST_RULES {
            self.faults.push(
                Diagnostic::error(format!("`choose` has {} rules; at most {MOST_RULES} are taken", rules.len()))
                    .at(self.text.place(&format!("{CHOOSE}[{MOST_RULES}]")))
                    .remedy("the first rule that picks a variant decides: leave out the last ones"),
            );
        }
        rules
    }

    fn steps(&mut self, mut list: Vec<Value>) -> Vec<Step> {
        if list.is_empty() {
            self.faults.push(
                Diagnostic::error("the chain has no stage")
                    .at(self.text.place("stages"))
                    .remedy("list the stages; `turnhue stages` names them"),
            );
        }
        if list.len() > MOST_STAGES {
            self.faults.push(
                Diagnostic::error(format!("the chain has {} stages; at most {MOST_STAGES} are taken", list.len()))
                    .at(self.text.place(&format!("stages[{MOST_STAGES}]")))
                    .remedy("no stage comes twice: leave out what is too much"),
            );
            list.truncate(MOST_STAGES);
        }
        list.into_iter().enumerate().filter_map(|(index, item)| self.step(&format!("stages[{index}]"), item)).collect()
    }

    /// A bare name, or a map of one name to its settings.
    fn step(&mut self, at: &str, item: Value) -> Option<Step> {
        match item {
            Value::String(name) => return Some(Step { name, settings: Value::Object(Map::new()), at: at.to_owned() }),
            Value::Object(map) if map.len() == 1 => {
                return map.into_iter().next().map(|(name, settings)| Step {
                    at: join(at, &name),
                    name,
                    settings: if settings.is_null() { Value::Object(Map::new()) } else { settings },
                });
            }
            Value::Object(map) if map.len() > 1 => self.faults.push(
                Diagnostic::error(format!("{} stand in one entry", listed(map.keys().map(String::as_str))))
                    .at(self.text.place(at))
                    .label("one stage an entry")
                    .remedy("begin each stage with a dash of its own, and indent its settings further than its name"),
            ),
            _ => self.faults.push(
                Diagnostic::error("this is not a stage")
                    .at(self.text.place(at))
                    .label("expected a name, or a name with settings")
                    .remedy("write `- repair`, or `- hollow: { wall: 2.5 mm }`"),
            ),
        }
        None
    }

    fn refuse_rest(&mut self) {
        for key in self.map.keys().take(MOST_FAULTS) {
            let fault = Diagnostic::error(format!("the key `{key}` is not known")).label("unknown key").remedy(
                match nearest(key, ALL_KEYS) {
                    Some(name) => format!("is `{name}` meant?"),
                    None => format!("known here: {}", listed(ALL_KEYS)),
                },
            );
            self.faults.push(fault.at(self.text.key_place(key)));
        }
    }
}

/// What a job says of its model that cannot be: alone, for what it leaves out may come from the model's file.
pub(crate) fn against_itself(text: &Text, site: &Site, model: &ModelRequest) -> Option<Diagnostic> {
    let (up, facing) = model.up.zip(model.facing)?;
    up.is_along(facing).then(|| faces_up(text, site))
}

/// The fault of a model whose front would face up or down.
pub(crate) fn faces_up(text: &Text, site: &Site) -> Diagnostic {
    Diagnostic::error("a model cannot face along the axis that points up")
        .at(site.place(text, "facing"))
        .label("must be across `up`")
        .related(site.place(text, "up"), "points up")
        .remedy("choose two axes of the model, such as `up: +z, facing: -y`")
}
