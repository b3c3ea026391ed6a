use std::fs;
use std::path::Path;

use serde_json::Value;

use super::commission::{Commission, SMALL, files, replace};
use crate::clock::Moment;
use crate::ledger::Trouble;
use crate::ledger::audit::audit;
use crate::ledger::export::{ExportRequest, export};

fn request(commission: &Commission, to: &Path) -> ExportRequest {
    ExportRequest {
        commission: commission.folder.clone(),
        to: to.to_owned(),
        by: Some("Studio Kestrel".into()),
        licence: None,
        epoch: None,
    }
}

fn graph(folder: &Path) -> Vec<Value> {
    let text = fs::read_to_string(folder.join("ro-crate-metadata.json")).unwrap();
    let document: Value = serde_json::from_str(&text).unwrap();
    document["@graph"].as_array().unwrap().clone()
}

fn entity<'a>(graph: &'a [Value], id: &str) -> &'a Value {
    graph.iter().find(|entity| entity["@id"] == id).unwrap_or_else(|| panic!("{id} is missing"))
}

/// Every `@id` that some entity points to.
fn pointed_at(value: &Value, into: &mut Vec<String>) {
    match value {
        Value::Array(list) => list.iter().for_each(|value| pointed_at(value, into)),
        Value::Object(fields) if fields.len() == 1 && fields.contains_key("@id") => {
            into.push(fields["@id"].as_str().unwrap().to_owned());
        }
        Value::Object(fields) => fields.values().for_each(|value| pointed_at(value, into)),
        _ => {}
    }
}

#[test]
fn an_export_is_a_whole_commission_and_describes_every_file() {
    let commission = Commission::new().with_the_rest();
    let home = tempfile::tempdir().unwrap();
    let to = home.path().join("HB-1");
    let copied = export(&request(&commission, &to)).unwrap();
    assert_eq!(copied, commission.files().len());
    let found = audit(&to, None).unwrap();
    assert!(found.is_whole() && found.cautions.len() == 2, "{:#?}", found.faults);

    let graph = graph(&to);
    // The page stands under the name by which pages of runs lead to it, and under that of RO-Crate 1.1.
    let page = fs::read_to_string(to.join("commission.html")).unwrap();
    assert!(page.contains("Bureau One") && page.contains("were as recorded when this copy was made"));
    assert_eq!(fs::read_to_string(to.join("ro-crate-preview.html")).unwrap(), page);
    assert_eq!(entity(&graph, "ro-crate-preview.html")["about"]["@id"], "./");
    let beside = ["ro-crate-metadata.json", "ro-crate-preview.html", "commission.html"];
    for path in files(&to).into_iter().filter(|path| !beside.iter().any(|name| path.ends_with(name))) {
        let id = path.strip_prefix(&to).unwrap().to_str().unwrap().to_owned();
        let file = entity(&graph, &id);
        assert_eq!(file["contentSize"], fs::metadata(&path).unwrap().len().to_string());
        assert_eq!(file["identifier"], format!("blake3:{}", blake3::hash(&fs::read(&path).unwrap())));
    }
    let root = entity(&graph, "./");
    // The last entry's time: the note, two hours after the runs.
    assert_eq!(root["datePublished"], "2027-03-01T11:30:00+00:00");
    assert_eq!(root["mentions"].as_array().unwrap().len(), 8);
    let mut ids = Vec::new();
    graph.iter().for_each(|entity| entity.as_object().unwrap().values().for_each(|value| pointed_at(value, &mut ids)));
    for id in ids {
        assert!(id.starts_with("https://w3id.org/ro/crate/") || graph.iter().any(|entity| entity["@id"] == id), "{id}");
    }
    let run = entity(&graph, "#entry-1");
    assert_eq!(
        (&run["startTime"], &run["endTime"]),
        (&"2027-03-01T09:28:59+00:00".into(), &"2027-03-01T09:30:00+00:00".into())
    );
    assert_eq!(run["result"].as_array().unwrap().len(), 3);
    assert_eq!(entity(&graph, "#entry-3")["error"], "no opening fits");
    assert_eq!(entity(&graph, "#by-Ada")["@type"], "Person");
}

#[test]
fn the_same_record_gives_the_same_bytes() {
    let commission = Commission::new().with_the_rest();
    let home = tempfile::tempdir().unwrap();
    let [one, other, dated] = ["a/HB-1", "b/HB-1", "c/HB-1"].map(|name| home.path().join(name));
    for to in [&one, &other, &dated] {
        fs::create_dir(to.parent().unwrap()).unwrap();
        let epoch = (to == &dated).then_some(Moment(951_782_400));
        export(&ExportRequest { epoch, ..request(&commission, to) }).unwrap();
    }
    for path in files(&one) {
        let same = other.join(path.strip_prefix(&one).unwrap());
        assert!(fs::read(&path).unwrap() == fs::read(&same).unwrap(), "{}", path.display());
    }
    assert_eq!(entity(&graph(&dated), "./")["datePublished"], "2000-02-29T00:00:00+00:00");
    // An export of an export is the same too.
    let again = home.path().join("d");
    fs::create_dir(&again).unwrap();
    let again = again.join("HB-1");
    export(&ExportRequest { commission: one.clone(), ..request(&commission, &again) }).unwrap();
    let description = |folder: &Path| fs::read(folder.join("ro-crate-metadata.json")).unwrap();
    assert!(description(&again) == description(&one));
}

#[test]
fn nothing_is_exported_that_is_not_whole_or_would_write_over_something() {
    let commission = Commission::new();
    let home = tempfile::tempdir().unwrap();
    assert!(matches!(export(&request(&commission, home.path())), Err(Trouble::Wrong(_))));
    let to = home.path().join("new");
    let bad = ExportRequest { licence: Some("mine".into()), ..request(&commission, &to) };
    assert!(matches!(export(&bad), Err(Trouble::Wrong(_))));
    replace(&commission.folder.join(SMALL).join("piece.3mf"), b"x");
    assert!(matches!(export(&request(&commission, &to)), Err(Trouble::NotWhole(_))));
    assert!(fs::read_dir(home.path()).unwrap().next().is_none(), "something was left behind");
}
