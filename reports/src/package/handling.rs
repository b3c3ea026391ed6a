//! How a print is emptied, cleaned and handled, by the family of its process: general practice, no source. The bureau's own
//! instructions and the material's safety data sheet come first, and every sheet says so.

use turnhue_stages::process::Family;

/// What to do, and what to mind: a heading and a text.
pub(super) type Step = (&'static str, &'static str);

/// The steps for a family, the first ones first. `hollow` pieces have to be emptied.
pub(super) fn steps(family: Family, hollow: bool) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    if hollow {
        steps.push(match family {
            Family::BinderJetting | Family::PowderBedFusion => (
                "Empty it",
                "Turn each opening downwards in turn and let the powder run out; tap gently with something soft, never against \
                 an edge. Then dry air at low pressure through one opening, until nothing comes out any more and the weight \
                 agrees. Work at an extraction or outdoors, with a fitted dust mask and eye protection, and with no flame or \
                 spark near: fine powder can burn, and can explode as a cloud.",
            ),
            Family::MaterialJetting => (
                "Empty it",
                "Support material has to leave the cavity through the openings, by the bureau’s own way: rinsed, melted or \
                 dissolved. Hot water and lye burn: gloves, eye protection, and nothing sharp put in from outside.",
            ),
            Family::VatPhotopolymerization => (
                "Empty it",
                "Drain uncured resin from the cavity, wash the cavity through the openings, and cure the inside as well: what \
                 stays liquid in there seeps out later and can split the piece. Gloves and eye protection; solvents need \
                 fresh air and no flame.",
            ),
            Family::MaterialExtrusion => (
                "Empty it",
                "Leave no support in the cavity that could rattle. What has to come out is taken through the openings, not \
                 broken through a wall.",
            ),
        });
    }
    steps.push(match family {
        Family::BinderJetting => (
            "Clean it",
            "A soft dry brush, and air at low pressure. No water and no solvent unless the instructions for the finished \
             material allow it: before it is sealed, such a print is weak and its colours run.",
        ),
        Family::PowderBedFusion => (
            "Clean it",
            "A soft brush and air at low pressure. Blasting only as far as the bureau knows that colours and corners stand it.",
        ),
        Family::MaterialJetting | Family::VatPhotopolymerization => (
            "Clean it",
            "Sticky places are uncured resin or support: do not touch them with bare hands, they irritate skin. Gloves; then as \
             the resin’s safety data sheet says.",
        ),
        Family::MaterialExtrusion => (
            "Clean it",
            "Supports come off away from yourself, with eye protection: splinters are sharp. Do not lever against single cubes.",
        ),
    });
    steps.push((
        "Leave corners as they are",
        "No tumbling, no vibratory finishing, no sanding: each face carries its own colour up to its edge, and a rounded edge \
         shows two.",
    ));
    steps.push((
        "Seal it",
        "If it is infiltrated, sealed or varnished: in fresh air, with gloves and eye protection, no flame, by the maker’s \
         safety data sheet. Try it on a spare print first, for it can shift colours. Keep openings free of it.",
    ));
    steps.push((
        "Handle it",
        "With both hands from below, by its largest part; never by an arm, an edge or a single cube.",
    ));
    steps
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Whatever dusts, burns skin or splinters has its protection beside it.
    #[test]
    fn every_family_names_its_protection() {
        for (family, words) in [
            (Family::BinderJetting, &["dust mask", "eye protection", "flame", "No water"][..]),
            (Family::PowderBedFusion, &["dust mask", "eye protection", "flame"]),
            (Family::MaterialJetting, &["Gloves", "eye protection", "safety data sheet"]),
            (Family::VatPhotopolymerization, &["Gloves", "eye protection", "flame"]),
            (Family::MaterialExtrusion, &["eye protection"]),
        ] {
            let all: String = steps(family, true).iter().map(|(name, text)| format!("{name}: {text}\n")).collect();
            for word in words {
                assert!(all.contains(word), "{family:?}: {word}");
            }
            assert!(
                steps(family, false).iter().all(|(name, _)| *name != "Empty it"),
                "{family:?} has nothing to empty"
            );
        }
    }
}
