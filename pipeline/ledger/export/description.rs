//! The description of an export in JSON-LD: every file, every run with what went in and what came out, and what people
//! recorded.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Map, Value, json};
use turnhue_reports::record;

use super::{Content, ExportRequest, Files, night_folder, place};
use crate::clock::Moment;
use crate::ledger::audit::{DESCRIPTION, PREVIEW};
use crate::ledger::chain::Entry;
use crate::ledger::deeds::{Build, Deed, Input, Sealed};
use crate::ledger::values::PlainName;
use crate::ledger::{INPUTS, history};
use crate::run::RECORD;

const CONTEXT: &str = "https://w3id.org/ro/crate/1.1/context";
const SPECIFICATION: &str = "https://w3id.org/ro/crate/1.1";
const PROFILE: &str = "https://w3id.org/ro/wfrun/process/0.5";
const MAKER: &str = "#maker";
const NO_LICENCE: &str = "#licence";

/// The whole document. Equal arguments give equal bytes.
pub(super) fn of(request: &ExportRequest, entries: &[Entry], files: &Files, date: Moment) -> String {
    let mut crate_ = Crate { files, maker: request.by.is_some(), entities: BTreeMap::new() };
    crate_.add_files();
    let mentioned: Vec<String> = entries.iter().filter_map(|entry| crate_.add_entry(entry)).collect();
    crate_.add_around(request);
    let mut graph = vec![
        json!({
            "@id": DESCRIPTION,
            "@type": "CreativeWork",
            "conformsTo": link(SPECIFICATION),
            "about": link("./"),
        }),
        crate_.root(request, entries, &mentioned, date),
        json!({ "@id": PREVIEW, "@type": "CreativeWork", "name": "The record, for people", "about": link("./") }),
    ];
    graph.extend(crate_.entities.into_iter().map(|(id, mut entity)| {
        entity.insert("@id".to_owned(), id.into());
        Value::Object(entity)
    }));
    format!("{:#}\n", json!({ "@context": CONTEXT, "@graph": graph }))
}

fn link(id: &str) -> Value {
    json!({ "@id": id })
}

/// A single one stands without a list around it, as the specification recommends.
fn links<'a>(ids: impl IntoIterator<Item = &'a String>) -> Value {
    let mut links: Vec<Value> = ids.into_iter().map(|id| link(id)).collect();
    if links.len() == 1 { links.swap_remove(0) } else { links.into() }
}

/// With the offset written out, as the profile has it.
fn moment(moment: Moment) -> String {
    moment.rfc3339().replace('Z', "+00:00")
}

/// A path as a relative reference (RFC 3986): what is not unreserved is escaped.
fn reference(path: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~/".contains(&b);
    path.bytes().map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") }).collect()
}

fn folder_id(folder: &str) -> String {
    format!("{}/", reference(folder))
}

fn file_id(folder: &str, name: &str) -> String {
    folder_id(folder) + &reference(name)
}

struct Crate<'a> {
    files: &'a Files,
    maker: bool,
    /// By their ids, which decide the order.
    entities: BTreeMap<String, Map<String, Value>>,
}

impl Crate<'_> {
    fn add(&mut self, id: &str, entity: Value) {
        if let Value::Object(entity) = entity {
            self.entities.insert(id.to_owned(), entity);
        }
    }

    fn add_files(&mut self) {
        let files = self.files;
        for (folder, files) in files {
            for (name, content) in files {
                let entity = json!({
                    "@type": "File",
                    "name": name,
                    "contentSize": content.bytes.to_string(),
                    "encodingFormat": format_of(name),
                    "identifier": format!("blake3:{}", content.digest),
                });
                self.add(&file_id(folder, name), entity);
            }
            let parts: Vec<String> = files.keys().map(|name| file_id(folder, name)).collect();
            self.add(&folder_id(folder), json!({ "@type": "Dataset", "name": folder, "hasPart": links(&parts) }));
        }
    }

    /// Adds what an entry tells; gives the id.
    fn add_entry(&mut self, entry: &Entry) -> Option<String> {
        let id = format!("#entry-{}", entry.seq);
        let (name, rest) = history::told(&entry.deed);
        let mut entity = match &entry.deed {
            Deed::Run(run) => json!({
                "@type": "CreateAction",
                "actionStatus": "http://schema.org/CompletedActionStatus",
                "instrument": self.instrument(&run.tool),
                "object": self.inputs(&run.inputs),
                "result": self.present(run.run.as_str(), &run.files),
            }),
            Deed::FailedRun(failed) => json!({
                "@type": "CreateAction",
                "actionStatus": "http://schema.org/FailedActionStatus",
                "error": failed.why,
                "instrument": self.instrument(&failed.tool),
                "object": self.inputs(&failed.inputs),
            }),
            Deed::Redrawn(redrawn) => json!({
                "@type": "UpdateAction",
                "actionStatus": "http://schema.org/CompletedActionStatus",
                "instrument": self.instrument(&redrawn.tool),
                "object": self.runs(std::slice::from_ref(&redrawn.run)),
                "result": self.present(redrawn.run.as_str(), &redrawn.files),
            }),
            Deed::Night(night) => json!({
                "@type": "CreateAction",
                "actionStatus": "http://schema.org/CompletedActionStatus",
                "instrument": self.instrument(&night.tool),
                "object": self.runs(&night.runs),
                "result": self.present(&night_folder(night.night.as_str()), &night.files),
            }),
            Deed::Choice(choice) => {
                json!({ "@type": "ChooseAction", "object": self.runs(std::slice::from_ref(&choice.run)) })
            }
            Deed::Order(order) => json!({
                "@type": "OrderAction",
                "object": self.present(order.run.as_str(), &order.files().cloned().collect::<Vec<_>>()),
            }),
            Deed::Delivery(delivery) => {
                json!({ "@type": "SendAction", "object": self.runs(std::slice::from_ref(&delivery.run)) })
            }
            Deed::Note(note) => json!({ "@type": "Comment", "text": note.text, "dateCreated": moment(entry.time) }),
        };
        let Value::Object(fields) = &mut entity else { return None };
        let seconds = if let Deed::Run(run) = &entry.deed { run.seconds } else { None };
        if let Some(start) = seconds.and_then(|seconds| before(entry.time, seconds)) {
            fields.insert("startTime".to_owned(), moment(start).into());
        }
        let description = if rest.is_empty() { name.clone() } else { rest.join("; ") };
        fields.insert("name".to_owned(), name.into());
        fields.insert("description".to_owned(), description.into());
        if !matches!(entry.deed, Deed::Note(_)) {
            fields.insert("endTime".to_owned(), moment(entry.time).into());
        }
        self.add_agent(&entry.deed, fields);
        fields.retain(|_, value| value.as_array().is_none_or(|list| !list.is_empty()));
        self.add(&id, entity);
        Some(id)
    }

    /// Who did it, where somebody is named: in the entry, or by the user for all that the program did.
    fn add_agent(&mut self, deed: &Deed, fields: &mut Map<String, Value>) {
        let (role, by) = match deed {
            Deed::Note(note) => ("author", note.by.as_ref()),
            Deed::Choice(choice) => ("agent", choice.by.as_ref()),
            _ => ("agent", None),
        };
        let id = match by {
            Some(by) => {
                let id = format!("#by-{}", reference(by).replace('/', "%2F"));
                self.add(&id, json!({ "@type": "Person", "name": by }));
                id
            }
            None if self.maker => MAKER.to_owned(),
            None => return,
        };
        fields.insert(role.to_owned(), link(&id));
    }

    fn instrument(&mut self, tool: &Build) -> Value {
        let build = tool.blake3.map(|digest| digest.to_string());
        let short = build.as_ref().map(|digest| format!("-{}", &digest[..16])).unwrap_or_default();
        let id = format!("#{}-{}{short}", reference(&tool.name), reference(&tool.version));
        let mut entity = json!({ "@type": "SoftwareApplication", "name": tool.name, "softwareVersion": tool.version });
        if let (Some(build), Some(fields)) = (build, entity.as_object_mut()) {
            fields.insert("identifier".to_owned(), format!("blake3:{build}").into());
        }
        self.add(&id, entity);
        link(&id)
    }

    fn inputs(&self, inputs: &[Input]) -> Value {
        let ids: BTreeSet<String> = inputs.iter().map(|input| file_id(INPUTS, input.kept.as_str())).collect();
        links(&ids)
    }

    /// Folders of runs that are in the export: a run may have failed since.
    fn runs(&self, runs: &[PlainName]) -> Value {
        let there = runs.iter().filter(|run| self.files.contains_key(run.as_str()));
        let ids: BTreeSet<String> = there.map(|run| folder_id(run.as_str())).collect();
        links(&ids)
    }

    /// Those of these files that are still what they were: a later run of the same name may have changed them.
    fn present(&self, folder: &str, sealed: &[Sealed]) -> Value {
        let same = sealed.iter().filter_map(|file| {
            let content = Content { bytes: file.bytes, digest: file.blake3 };
            let (folder, name) = place(folder, file);
            let now = self.files.get(&folder).and_then(|files| files.get(&name));
            (now == Some(&content)).then(|| file_id(&folder, &name))
        });
        let ids: BTreeSet<String> = same.collect();
        links(&ids)
    }

    fn add_around(&mut self, request: &ExportRequest) {
        self.add(PROFILE, json!({ "@type": "CreativeWork", "name": "Process Run Crate", "version": "0.5" }));
        match &request.licence {
            Some(url) => self.add(url, json!({ "@type": "CreativeWork", "name": url, "url": url })),
            None => self.add(
                NO_LICENCE,
                json!({
                    "@type": "CreativeWork",
                    "name": "No licence",
                    "description": "No licence is granted: all rights are reserved.",
                }),
            ),
        }
        if let Some(by) = &request.by {
            self.add(MAKER, json!({ "@type": "Organization", "name": by }));
        }
    }

    fn root(&self, request: &ExportRequest, entries: &[Entry], mentioned: &[String], date: Moment) -> Value {
        let commission = name_of(request);
        let folders: BTreeSet<String> = self.files.keys().map(|folder| folder_id(folder)).collect();
        let runs: BTreeSet<&PlainName> = entries
            .iter()
            .filter(|entry| matches!(entry.deed, Deed::Run(_)))
            .filter_map(|entry| entry.deed.run())
            .collect();
        let title = title(request, entries).map(|title| format!(" '{title}'")).unwrap_or_default();
        let head = entries.last().map(|entry| entry.digest.to_string()).unwrap_or_default();
        let mut root = json!({
            "@id": "./",
            "@type": "Dataset",
            "conformsTo": link(PROFILE),
            "name": format!("Record of commission {commission}"),
            "description": format!(
                "What was made from what for commission {commission}{title}: {} entries, {} runs, with every file that went \
                 in and came out. The entries in ledger/ are chained by their BLAKE3 digests; the last one is {head}.",
                entries.len(),
                runs.len(),
            ),
            "datePublished": moment(date),
            "license": link(request.licence.as_deref().unwrap_or(NO_LICENCE)),
            "hasPart": links(&folders),
            "mentions": links(mentioned),
        });
        if let (true, Some(fields)) = (self.maker, root.as_object_mut()) {
            fields.insert("author".to_owned(), link(MAKER));
            fields.insert("publisher".to_owned(), link(MAKER));
        }
        root
    }
}

/// The commission's name is that of its folder.
fn name_of(request: &ExportRequest) -> String {
    let folder = std::fs::canonicalize(&request.commission).unwrap_or_else(|_| request.commission.clone());
    folder.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default()
}

/// The title of the piece in the newest run.
fn title(request: &ExportRequest, entries: &[Entry]) -> Option<String> {
    let run = entries.iter().rev().find(|entry| matches!(entry.deed, Deed::Run(_)))?.deed.run()?;
    record::read(&request.commission.join(run).join(RECORD)).ok().map(|record| record.title)
}

fn before(time: Moment, seconds: f64) -> Option<Moment> {
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "whole seconds; saturates")]
    let seconds = seconds.max(0.0).round() as u64;
    time.0.checked_sub(seconds).map(Moment)
}

/// The media type of a file, by its ending.
fn format_of(name: &str) -> &'static str {
    match name.rsplit('.').next().unwrap_or_default() {
        "3mf" => "model/3mf",
        "stl" => "model/stl",
        "obj" => "model/obj",
        "gltf" => "model/gltf+json",
        "glb" => "model/gltf-binary",
        "png" => "image/png",
        "jpg" | "jpeg" => "image/jpeg",
        "webp" => "image/webp",
        "svg" => "image/svg+xml",
        "html" => "text/html",
        "csv" => "text/csv",
        "json" => "application/json",
        "jsonl" => "application/jsonl",
        "yaml" | "yml" => "application/yaml",
        "icc" | "icm" => "application/vnd.iccprofile",
        _ => "application/octet-stream",
    }
}
