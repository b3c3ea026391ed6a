//! The rules by which a job chooses among its variants, as they are read.

#![allow(clippy::unwrap_used)]

use std::path::Path;

use turnhue::diagnostic::Diagnostic;
use turnhue::plan::{Night, plan_night_bytes};

const DEMO: &str = include_str!("../jobs/harbour-whelk.yaml");

/// The demo's job with a variant and something more said.
fn planned(more: &str, without: &str) -> Result<Night, Vec<Diagnostic>> {
    let kept: Vec<&str> = DEMO.lines().filter(|line| without.is_empty() || !line.contains(without)).collect();
    let variants = "variants: { named: { sturdy: { hollow.wall: 3 mm } } }";
    let text = format!("{}\n{variants}\n{more}\n", kept.join("\n"));
    plan_night_bytes("job.yaml", text.into_bytes(), Path::new("jobs"), &turnhue_stages::shipped())
}

const RULES: &str = "choose:\n  - { lowest: price, where: { legibility: at least 60 %, weight: at most 400 g } }\n  \
                     - { highest: legibility }";

#[test]
fn rules_are_read_in_their_order_and_change_nothing_of_what_is_made() {
    let night = planned(RULES, "").unwrap();
    assert_eq!(night.rules().len(), 2);
    assert!(night.cautions().is_empty());
    let written = serde_json::to_value(night.rules()).unwrap();
    assert_eq!(written[1], serde_json::json!({ "highest": "legibility" }));
    let alone = plan_night_bytes(
        "job.yaml",
        format!("{DEMO}\n{RULES}\n").into_bytes(),
        Path::new("jobs"),
        &turnhue_stages::shipped(),
    );
    assert!(format!("{:?}", alone.map(|_| ()).unwrap_err()).contains("nothing to choose from"));
    let plain = planned("", "").unwrap();
    assert_eq!(night.job().resolved(), plain.job().resolved());
    assert!(plain.rules().is_empty());
}

#[test]
fn a_rule_that_can_never_pick_is_a_caution_at_its_place() {
    let night = planned(RULES, "  - proof").unwrap();
    let said: Vec<String> = night.cautions().iter().map(|caution| format!("{caution:?}")).collect();
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said.iter().all(|caution| caution.contains("legibility") && caution.contains("`proof`")), "{said:?}");
}

#[test]
fn wrong_rules_are_faults_at_their_places() {
    for (rule, says) in [
        ("{ lowest: beauty }", "beauty"),
        ("{ lowest: price, where: { legibility: 60 % } }", "at least 60 %"),
        ("{ where: { legibility: at least 60 % } }", "lowest: price"),
        ("{ lowest: price, where: { weight: at most 3 mm } }", "g or kg"),
    ] {
        let faults = planned(&format!("choose:\n  - {rule}"), "").map(|_| ()).unwrap_err();
        assert_eq!(faults.len(), 1, "{rule}: {faults:?}");
        let said = format!("{:?}", faults[0]);
        assert!(said.contains(says) && said.contains("choose"), "{rule}: {said}");
    }
}
