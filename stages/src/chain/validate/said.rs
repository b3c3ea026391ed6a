//! What a check has to say, gathered before it goes to the shop, so that checks can run side by side.

use std::collections::BTreeMap;

use glam::{DVec3, IVec3};

use crate::findings::{Fact, Finding, Place};
use crate::marked::Sight;
use crate::stage::Shop;

/// Facts and findings of a check.
#[derive(Debug, Default)]
pub(super) struct Said {
    pub(super) facts: Vec<Fact>,
    pub(super) findings: Vec<Finding>,
    /// What shows some of the findings, by their numbers.
    pub(super) sights: BTreeMap<usize, Sight>,
}

impl Said {
    /// Adds what another check has said.
    pub(super) fn add(&mut self, other: &Self) {
        self.facts.extend_from_slice(&other.facts);
        self.add_findings(other, |finding| finding.clone());
    }

    /// Adds the findings of another check, in other words.
    pub(super) fn add_findings(&mut self, other: &Self, told: impl Fn(&Finding) -> Finding) {
        let first = self.findings.len();
        self.sights.extend(other.sights.iter().map(|(at, sight)| (first + at, sight.clone())));
        self.findings.extend(other.findings.iter().map(told));
    }

    /// Says a finding with what shows it.
    pub(super) fn finding_seen(&mut self, finding: Finding, sight: Sight) {
        self.sights.insert(self.findings.len(), sight);
        self.findings.push(finding);
    }

    /// About the bytes that it takes: a number and its name, a sentence and its places.
    pub(super) fn bytes(&self) -> usize {
        let places: usize = self.findings.iter().map(|finding| finding.places.len()).sum();
        let sights: usize = self.sights.values().map(Sight::bytes).sum();
        512 * self.facts.len() + 1024 * self.findings.len() + size_of::<Place>() * places + sights
    }

    /// Hands everything to the shop, in order.
    pub(super) fn tell(mut self, shop: &mut Shop<'_>) {
        self.facts.into_iter().for_each(|fact| shop.fact(fact));
        for (at, finding) in self.findings.into_iter().enumerate() {
            shop.finding_seen(finding, || self.sights.remove(&at).unwrap_or_default());
        }
    }
}

/// A spot at which something is wrong.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    /// Where, in mm.
    pub(super) mm: DVec3,
    /// The cell, where one is meant.
    pub(super) cell: Option<IVec3>,
    /// The measure by which the worst spot comes first: lower is worse.
    pub(super) measure: f64,
}

impl Spot {
    /// A spot that is as bad as any other.
    pub(super) fn at(mm: DVec3) -> Self {
        Self { mm, cell: None, measure: 0.0 }
    }
}

/// Most places that a finding lists.
const MOST_PLACES: usize = 12;

/// Spots by region.
pub(super) struct Regions {
    /// Number of regions.
    pub(super) count: usize,
    /// The worst spot of each region, worst first, a dozen at most.
    pub(super) places: Vec<Place>,
}

impl Regions {
    /// Sorts spots into cubes of `edge` mm and keeps the worst of each.
    pub(super) fn new(spots: impl IntoIterator<Item = Spot>, edge: f64) -> Self {
        let mut worst: BTreeMap<[i64; 3], Spot> = BTreeMap::new();
        for spot in spots {
            // The cast saturates, which keeps even an absurd coordinate in some cube.
            let cube = (spot.mm / edge).floor().to_array().map(|x| x as i64);
            let held = worst.entry(cube).or_insert(spot);
            if spot.measure < held.measure {
                *held = spot;
            }
        }
        let mut spots: Vec<Spot> = worst.into_values().collect();
        spots.sort_by(|a, b| a.measure.total_cmp(&b.measure));
        let places = spots.iter().take(MOST_PLACES);
        let places = places.map(|s| Place { mm: s.mm.to_array(), cell: s.cell.map(|c| c.to_array()) }).collect();
        Self { count: spots.len(), places }
    }

    /// How many regions, in words that go on after a comma or full stop.
    pub(super) fn words(&self) -> String {
        match self.count {
            1 => "in one region".to_owned(),
            n if n > MOST_PLACES => format!("in {n} regions, of which the worst {MOST_PLACES} are listed"),
            n => format!("in {n} regions"),
        }
    }
}
