//! JSON Schema of a job file with every stage's settings, and the settings of a stage in words.

use std::collections::BTreeMap;

use schemars::Schema;
use serde_json::{Map, Value, json};
use turnhue_reports::night::Rule;
use turnhue_reports::night::choose::MOST_RULES;
use turnhue_stages::stage::AnyStage;

use crate::job::{AdviseRequest, Commission, KEYS, ModelRequest, PackageRequest, Title};
use crate::plan::Stages;

/// JSON Schema (draft 2020-12) of a job file, for editors that complete and check while one types.
#[must_use]
pub fn of_job(stages: &Stages) -> Value {
    let mut definitions = Map::new();
    let model = adopt("model", schemars::schema_for!(ModelRequest), &mut definitions);
    let choose = adopt("choose", schemars::schema_for!(Vec<Rule>), &mut definitions);
    let advise = adopt("advise", schemars::schema_for!(AdviseRequest), &mut definitions);
    let package = adopt("package", schemars::schema_for!(PackageRequest), &mut definitions);
    let steps: Vec<Value> = stages
        .iter()
        .flat_map(|stage| {
            let settings = adopt(stage.name(), stage.schema(), &mut definitions);
            step(stage.as_ref(), &settings)
        })
        .collect();
    json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "A Turnhue job",
        "type": "object",
        "additionalProperties": false,
        "required": KEYS,
        "properties": {
            "commission": {
                "description": "The name under which the record is kept: the folder of the runs",
                "type": "string", "pattern": "^[A-Za-z0-9][A-Za-z0-9._-]*$", "maxLength": Commission::LONGEST,
            },
            "title": {
                "description": "What the piece is called in reports",
                "type": "string", "minLength": 1, "maxLength": Title::LONGEST,
            },
            "model": model,
            "process": {
                "description": "The process file, relative to the job file's folder",
                "type": "string",
            },
            "stages": {
                "description": "The chain, in order",
                "type": "array", "minItems": 1, "items": { "anyOf": steps },
            },
            "variants": variants(stages),
            "choose": {
                "description": "How one of the variants is chosen: rules that are tried in order until one picks",
                "type": "array", "maxItems": MOST_RULES, "items": choose["items"],
            },
            // The bare key asks for the usual sizes.
            "advise": { "description": advise["description"], "anyOf": [advise, { "type": "null" }] },
            "package": { "description": package["description"], "anyOf": [package, { "type": "null" }] },
        },
        "$defs": definitions,
    })
}

/// What a job says of variants. Their settings are paths, whose values only the stages can judge.
fn variants(stages: &Stages) -> Value {
    let owners: Vec<&str> = stages.iter().map(|stage| stage.name()).collect();
    let path = format!(r"^(process|(model|{})([.\[].+)?)$", owners.join("|"));
    let or_as = format!("^as$|{path}");
    let name = json!({ "pattern": "^[A-Za-z0-9][A-Za-z0-9._-]*$" });
    let list = json!({ "type": "array", "minItems": 1 });
    let lists = |pattern: &str, about: &str| {
        json!({
            "description": about,
            "type": "object",
            "minProperties": 1,
            "propertyNames": { "pattern": pattern },
            "additionalProperties": list,
        })
    };
    let together = lists(&or_as, "Settings whose lists go in step; `as` names each step");
    json!({
        "description": "Variants of the job, each made in its place",
        "type": "object",
        "minProperties": 1,
        "additionalProperties": false,
        "properties": {
            "every": lists(&path, "Settings with a list of values each: every value with every other"),
            "together": { "anyOf": [together, { "type": "array", "minItems": 1, "items": together }] },
            "named": {
                "description": "Single variants beside these: a name, and the settings that it changes",
                "type": "object",
                "minProperties": 1,
                "propertyNames": name,
                "additionalProperties": { "type": ["object", "null"], "propertyNames": { "pattern": path } },
            },
            "skip": {
                "description": "Combinations to leave out: all settings of a rule must have the value that it gives",
                "type": "array",
                "minItems": 1,
                "items": { "type": "object", "minProperties": 1, "propertyNames": { "pattern": or_as } },
            },
        },
    })
}

/// A stage in a chain: its name with settings, or its bare name where every setting has a default.
fn step(stage: &dyn AnyStage, settings: &Value) -> Vec<Value> {
    let name = stage.name();
    let mut forms = vec![json!({
        "type": "object",
        "description": stage.purpose(),
        "properties": { name: settings },
        "required": [name],
        "additionalProperties": false,
    })];
    if stage.read(json!({})).is_ok() {
        forms.push(json!({ "const": name, "description": stage.purpose() }));
    }
    forms
}

/// Takes a schema of its own into a larger one: its definitions move to the larger one's, under names that begin with
/// `owner`, and what points at them follows.
fn adopt(owner: &str, schema: Schema, definitions: &mut Map<String, Value>) -> Value {
    let mut schema = schema.to_value();
    redirect(&mut schema, owner);
    if let Value::Object(map) = &mut schema {
        map.remove("$schema");
        map.remove("title");
        if let Some(Value::Object(own)) = map.remove("$defs") {
            definitions.extend(own.into_iter().map(|(name, definition)| (format!("{owner}.{name}"), definition)));
        }
    }
    schema
}

const DEFINITIONS: &str = "#/$defs/";

fn redirect(schema: &mut Value, owner: &str) {
    match schema {
        Value::Object(map) => {
            if let Some(Value::String(target)) = map.get_mut("$ref")
                && let Some(name) = target.strip_prefix(DEFINITIONS)
            {
                *target = format!("{DEFINITIONS}{owner}.{name}");
            }
            map.values_mut().for_each(|value| redirect(value, owner));
        }
        Value::Array(items) => items.iter_mut().for_each(|item| redirect(item, owner)),
        _ => {}
    }
}

/// The stages, a line each.
#[must_use]
pub fn stages_in_words(stages: &Stages) -> String {
    let width = stages.iter().map(|stage| stage.name().len()).max().unwrap_or(0);
    stages.iter().map(|stage| format!("{:width$}  {}\n", stage.name(), stage.purpose())).collect()
}

/// A stage with every setting: its name, what it takes, its default, and what it is for.
#[must_use]
pub fn stage_in_words(stage: &dyn AnyStage) -> String {
    let schema = stage.schema().to_value();
    let mut words = format!("{} (version {}): {}\n", stage.name(), stage.version(), stage.purpose());
    let mut settings = Settings { root: &schema, words: &mut words, any: false, said: BTreeMap::new() };
    settings.within(&schema, 1);
    if !settings.any {
        words += "  It takes no settings.\n";
    }
    words
}

struct Settings<'a> {
    root: &'a Value,
    words: &'a mut String,
    /// Whether there was one.
    any: bool,
    /// The definitions that were said already, and under which setting.
    said: BTreeMap<&'a str, &'a str>,
}

/// A schema may point at itself; settings within settings are shown so far.
const DEEPEST: usize = 6;

impl<'a> Settings<'a> {
    /// Says the settings within a schema: of a map, of a list's items, of each alternative.
    fn within(&mut self, schema: &'a Value, depth: usize) {
        let schema = self.follow(schema);
        let required = texts(schema.get("required"));
        for (name, property) in properties(schema) {
            let default = match property.get("default") {
                Some(Value::Null) | None if required.contains(&name.as_str()) => "; required".to_owned(),
                Some(Value::Null) | None => "; optional".to_owned(),
                Some(value) => format!("; default {}", plain(value)),
            };
            self.one(name, property, &default, property, depth);
        }
        if depth < DEEPEST {
            if let Some(items) = schema.get("items") {
                self.within(items, depth);
            }
            self.choices(schema, depth);
        }
    }

    /// Says the settings of which one must be given; a lone alternative is no choice.
    fn choices(&mut self, schema: &'a Value, depth: usize) {
        let maps = alternatives(schema).filter(|one| properties(self.follow(one)).next().is_some());
        match maps.collect::<Vec<_>>().as_slice() {
            [] => {}
            [only] => self.within(only, depth),
            several => {
                self.line(depth, "exactly one of:");
                for choice in several {
                    for (name, property) in properties(self.follow(choice)) {
                        self.one(name, property, "", choice, depth + 1);
                    }
                }
            }
        }
    }

    /// Says one setting; `about` is the schema that describes it.
    fn one(&mut self, name: &'a str, property: &'a Value, default: &str, about: &'a Value, depth: usize) {
        self.any = true;
        let definition = property.get("$ref").and_then(Value::as_str).filter(|_| self.holds_settings(property));
        let before = definition.and_then(|definition| self.said.get(definition)).copied();
        let as_before = before.map_or(String::new(), |before| format!("; as `{before}` above"));
        self.line(depth, &format!("{name}: {}{default}{as_before}", self.taken(property, 0)));
        let about = about.get("description").and_then(Value::as_str).unwrap_or_default();
        for line in about.lines().filter(|line| !line.is_empty()) {
            self.line(depth + 2, line);
        }
        if depth < DEEPEST && before.is_none() {
            self.said.extend(definition.map(|definition| (definition, name)));
            self.within(property, depth + 1);
        }
    }

    /// Whether there are settings within a schema.
    fn holds_settings(&self, schema: &'a Value) -> bool {
        let schema = self.follow(schema);
        let within = alternatives(schema).any(|one| properties(self.follow(one)).next().is_some());
        within || properties(schema).next().is_some()
    }

    fn line(&mut self, depth: usize, text: &str) {
        self.words.push_str(&format!("{}{text}\n", "  ".repeat(depth)));
    }

    fn follow(&self, schema: &'a Value) -> &'a Value {
        let target = schema.get("$ref").and_then(Value::as_str).and_then(|target| target.strip_prefix(DEFINITIONS));
        target.and_then(|name| self.root.get("$defs")?.get(name)).unwrap_or(schema)
    }

    /// What a setting takes, in words.
    fn taken(&self, schema: &'a Value, depth: usize) -> String {
        let named = schema.get("$ref").and_then(Value::as_str).and_then(|target| target.rsplit('/').next());
        let schema = self.follow(schema);
        match named {
            // The two types of the project that are written as text.
            Some("Length") => return "length (mm, or with a unit: 3 mm, 18 cm, 7 in)".to_owned(),
            Some("Colour") => return "colour (\"#rrggbb\" or a CSS name)".to_owned(),
            _ => {}
        }
        if let Some(value) = schema.get("const") {
            return plain(value);
        }
        let values = schema.get("enum").and_then(Value::as_array);
        if let Some(values) = values {
            return values.iter().filter(|value| !value.is_null()).map(plain).collect::<Vec<_>>().join(" | ");
        }
        if depth < DEEPEST {
            let words: Vec<String> = alternatives(schema)
                .filter(|alternative| alternative.get("type").and_then(Value::as_str) != Some("null"))
                .map(|alternative| self.taken(alternative, depth + 1))
                .collect();
            if !words.is_empty() {
                return words.join(" | ");
            }
            if let Some(items) = schema.get("items") {
                let of = self.taken(items, depth + 1);
                return match (schema.get("minItems"), schema.get("maxItems")) {
                    (Some(least), Some(most)) if least == most => format!("list of {least}, each {of}"),
                    _ => format!("list of {of}"),
                };
            }
        }
        self.simple(schema)
    }

    fn simple(&self, schema: &Value) -> String {
        let kind = schema.get("type");
        let kinds = kind.and_then(Value::as_str).map_or_else(|| texts(kind), |kind| vec![kind]);
        let word = match kinds.iter().find(|&&kind| kind != "null") {
            Some(&"integer") => "whole number",
            Some(&"number") => "number",
            Some(&"string") => "text",
            Some(&"boolean") => "true | false",
            Some(&"array") => "list",
            Some(&"object") => "map",
            _ => "value",
        };
        let bound = |key: &str| schema.get(key).map(ToString::to_string);
        match (bound("minimum"), bound("maximum")) {
            (Some(low), Some(high)) => format!("{word} from {low} to {high}"),
            (Some(low), None) => format!("{word} from {low}"),
            (None, Some(high)) => format!("{word} to {high}"),
            (None, None) => word.to_owned(),
        }
    }
}

fn alternatives(schema: &Value) -> impl Iterator<Item = &Value> {
    ["oneOf", "anyOf", "allOf"].into_iter().filter_map(|key| schema.get(key)?.as_array()).flatten()
}

fn properties(schema: &Value) -> impl Iterator<Item = (&String, &Value)> {
    schema.get("properties").and_then(Value::as_object).into_iter().flatten()
}

fn texts(value: Option<&Value>) -> Vec<&str> {
    value.and_then(Value::as_array).into_iter().flatten().filter_map(Value::as_str).collect()
}

fn plain(value: &Value) -> String {
    value.as_str().map_or_else(|| value.to_string(), str::to_owned)
}
