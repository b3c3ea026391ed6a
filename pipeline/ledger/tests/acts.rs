use std::fs;
use std::path::{Path, PathBuf};

use turnhue_reports::record::Verdict;

use super::commission::{Commission, SMALL, TALL, replace};
use super::{MORNING, Set};
use crate::digest::Digest;
use crate::exit;
use crate::ledger::acts::{ChoiceRequest, DeliveryRequest, NoteRequest, choose, deliver, find_commission, note, order};
use crate::ledger::audit::audit;
use crate::ledger::deeds::Deed;
use crate::ledger::{Trouble, history};

fn last(commission: &Commission) -> Deed {
    commission.ledger_anew().read().unwrap().pop().unwrap().deed
}

fn words(trouble: &Trouble) -> String {
    trouble.faults().iter().map(|fault| fault.render(false) + "\n").collect()
}

#[test]
fn an_order_holds_the_digest_of_its_file() {
    let commission = Commission::new();
    let recorded = order(&commission.order(SMALL, None), &Set::to(MORNING)).unwrap();
    assert!(recorded.cautions.is_empty());
    let Deed::Order(order) = last(&commission) else { panic!() };
    assert_eq!(order.file.blake3, Digest::of(format!("the piece of {SMALL}").as_bytes()));
    assert_eq!((order.on.to_string().as_str(), order.despite), ("2027-03-01", None));
}

#[test]
fn an_order_of_several_parts_holds_all_their_digests() {
    let commission = Commission::new();
    let (run, folder) = ("parts-1", commission.folder.join("parts-1"));
    let deed = commission.run(run, Verdict::ReadyToOrder, &[]);
    let path = folder.join("run.json");
    let mut record: serde_json::Value = serde_json::from_slice(&fs::read(&path).unwrap()).unwrap();
    record["order"] = "part-1.3mf".into();
    record["orders"] = serde_json::json!(["part-1.3mf", "part-2.3mf"]);
    fs::write(&path, record.to_string()).unwrap();
    for part in ["part-1.3mf", "part-2.3mf"] {
        fs::write(folder.join(part), part).unwrap();
    }
    let Deed::Run(mut deed) = deed else { panic!() };
    deed.files = crate::ledger::seal(&folder).unwrap();
    commission.append(&[Deed::Run(deed)]);
    order(&commission.order(run, None), &Set::to(MORNING)).unwrap();
    let Deed::Order(ordered) = last(&commission) else { panic!() };
    let files: Vec<_> = ordered.files().map(|file| (file.name.to_string(), file.blake3)).collect();
    let part = |name: &str| (name.to_owned(), Digest::of(name.as_bytes()));
    assert_eq!(files, [part("part-1.3mf"), part("part-2.3mf")]);
    // What is changed afterwards is found, whichever part it is.
    fs::write(folder.join("part-2.3mf"), "something else").unwrap();
    assert!(order(&commission.order(run, None), &Set::to(MORNING)).is_err());
}

#[test]
fn a_piece_with_faults_is_ordered_against_a_reason_alone() {
    let commission = Commission::new();
    let refused = order(&commission.order(TALL, None), &Set::to(MORNING)).unwrap_err();
    assert!(matches!(refused, Trouble::Refused(_)) && refused.code() == exit::FAULTS);
    assert!(words(&refused).contains("has faults") && words(&refused).contains("--despite"), "{}", words(&refused));
    assert!(matches!(last(&commission), Deed::Night(_)), "a refused order was recorded");

    order(&commission.order(TALL, Some("a study for the shelf")), &Set::to(MORNING)).unwrap();
    let Deed::Order(order) = last(&commission) else { panic!() };
    let despite = order.despite.unwrap();
    assert_eq!((despite.what.len(), despite.why.as_str()), (1, "a study for the shelf"));
}

#[test]
fn a_changed_file_is_not_ordered() {
    let commission = Commission::new();
    // Neither the ordered file nor any other of the run.
    for changed in ["piece.3mf", "run.json"] {
        let path = commission.folder.join(SMALL).join(changed);
        let bytes = fs::read(&path).unwrap();
        let mut other = bytes.clone();
        other.push(b' ');
        replace(&path, &other);
        let refused = order(&commission.order(SMALL, None), &Set::to(MORNING)).unwrap_err();
        let told = words(&refused);
        assert!(matches!(refused, Trouble::Refused(_)) && told.contains(changed) && told.contains("changed"), "{told}");
        replace(&path, &bytes);
    }
    order(&commission.order(SMALL, None), &Set::to(MORNING)).unwrap();
}

#[test]
fn the_verdict_is_that_of_the_ledger() {
    let commission = Commission::new();
    let path = commission.folder.join(TALL).join("run.json");
    let record = fs::read_to_string(&path).unwrap().replace("has-faults", "ready-to-order");
    replace(&path, record.as_bytes());
    let refused = words(&order(&commission.order(TALL, None), &Set::to(MORNING)).unwrap_err());
    assert!(refused.contains("has faults") && refused.contains("run.json was changed"), "{refused}");
}

#[test]
fn what_was_not_measured_is_ordered_with_a_caution() {
    let commission = Commission::new();
    let run = commission.run("plain-1", Verdict::NotValidated, &[]);
    commission.append(&[run]);
    let recorded = order(&commission.order("plain-1", Some("no reason needed")), &Set::to(MORNING)).unwrap();
    assert_eq!(recorded.cautions.len(), 2, "{:#?}", recorded.cautions);
    assert!(matches!(last(&commission), Deed::Order(order) if order.despite.is_none()));
}

#[test]
fn choices_deliveries_and_notes_are_recorded() {
    let commission = Commission::new();
    let clock = Set::to(MORNING);
    let choice =
        ChoiceRequest { run: commission.folder.join(SMALL), why: "the client's".into(), by: Some("Ada".into()) };
    assert!(choose(&choice, &clock).unwrap().cautions.is_empty());
    let delivery =
        DeliveryRequest { run: commission.folder.join(SMALL), on: Some("2027-04-01".parse().unwrap()), to: None };
    let early = deliver(&delivery, &clock).unwrap().cautions;
    assert!(early[0].message().contains("ordered"), "a delivery without an order passes unnoticed");
    let folder = commission.folder.clone();
    for run in [Some(PathBuf::from(SMALL)), Some(folder.join(SMALL)), None] {
        let request = NoteRequest { commission: folder.clone(), text: "a\u{1b}[2Jb".into(), by: None, run };
        note(&request, &clock).unwrap();
    }
    let entries = commission.ledger_anew().read().unwrap();
    let told: String = entries.iter().map(history::in_words).collect();
    for words in
        ["small-1a2b3c4d chosen by Ada", "delivered on 2027-04-01", "note about small-1a2b3c4d", "ready to order"]
    {
        assert!(told.contains(words), "{words}: {told}");
    }
    assert!(!told.contains('\u{1b}'));
    assert!(audit(&folder, None).unwrap().is_whole());
}

#[test]
fn what_makes_no_sense_is_refused() {
    let commission = Commission::new();
    let clock = Set::to(MORNING);
    let (folder, elsewhere) = (commission.folder.clone(), Commission::new());
    let note_of = |text: &str, run: Option<PathBuf>| {
        note(&NoteRequest { commission: folder.clone(), text: text.into(), by: None, run }, &clock)
    };
    let wrong = |trouble: Trouble| assert!(matches!(trouble, Trouble::Wrong(_)), "{trouble:#?}");
    wrong(note_of(" \n", None).unwrap_err());
    wrong(note_of("x", Some("no-such-run".into())).unwrap_err());
    wrong(note_of("x", Some(elsewhere.folder.join(SMALL))).unwrap_err());
    wrong(order(&commission.order("inputs", None), &clock).unwrap_err());
    wrong(order(&commission.order("no-such-run", None), &clock).unwrap_err());
    // A run folder that the ledger does not know.
    commission.run("unknown-1", Verdict::ReadyToOrder, &[]);
    wrong(order(&commission.order("unknown-1", None), &clock).unwrap_err());
    assert_eq!(commission.ledger_anew().read().unwrap().len(), 4);
}

#[test]
fn a_commission_is_found_by_name_and_by_path() {
    let commission = Commission::new();
    let into = commission.folder.parent().unwrap();
    assert_eq!(find_commission(Path::new("HB-1"), into).unwrap(), commission.folder);
    assert_eq!(find_commission(&commission.folder, Path::new("runs")).unwrap(), commission.folder);
    let refused = words(&find_commission(Path::new("HB-2"), into).unwrap_err());
    assert!(refused.contains("`HB-1` meant"), "{refused}");
}
