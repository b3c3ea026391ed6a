use super::*;
use crate::conformance;

/// What a process with one thing spoilt is refused for: the path, and the message.
fn refused(spoil: impl FnOnce(&mut Process)) -> (String, String) {
    let mut process = conformance::process();
    spoil(&mut process);
    let misfit = process.check().expect_err("must be refused");
    assert!(!misfit.remedy.is_empty(), "{misfit:?}");
    (misfit.setting, misfit.message)
}

fn shows(found: &(String, String), path: &str, part: &str) {
    assert_eq!(found.0, path, "{found:?}");
    assert!(found.1.contains(part), "'{part}' is not in: {found:?}");
}

const fn mm(mm: f64) -> Length {
    Length::from_mm(mm)
}

fn figure<T>(value: T) -> Figure<T> {
    Figure { value, range: None, basis: "invented for tests".to_owned() }
}

#[test]
fn figures_must_be_sane() {
    assert_eq!(conformance::process().check(), Ok(()));
    shows(&refused(|p| p.layer.value = mm(0.0)), "layer.value", "`layer` must be above 0 mm, not 0 mm");
    shows(&refused(|p| p.gap.value = mm(-1.0)), "gap.value", "must be above 0 mm");
    shows(&refused(|p| p.opening.value = mm(2000.0)), "opening.value", "must be at most 1000 mm");
    shows(&refused(|p| p.bleed.value = mm(-0.1)), "bleed.value", "must not be negative, but is -0.1 mm");
    shows(&refused(|p| p.bleed.value = mm(50.5)), "bleed.value", "must be at most 50 mm, not 50.5 mm");
    shows(&refused(|p| p.edge_radius.value = mm(51.0)), "edge_radius.value", "must be at most 50 mm");
    shows(&refused(|p| p.tolerance.value = mm(-1.0)), "tolerance.value", "must not be negative");
    shows(&refused(|p| p.clearance = Some(figure(mm(-0.2)))), "clearance.value", "must not be negative");
    shows(&refused(|p| p.build_volume.value[1] = mm(0.0)), "build_volume.value", "three lengths above 0 mm");
    shows(&refused(|p| p.density.value = 150.0), "density.value", "between 0.01 and 23 g/cm³, not 150");
    shows(&refused(|p| p.strength = Some(figure(0.0))), "strength.value", "between 0.01 and 2000 MPa");
    shows(&refused(|p| p.most_bytes.value = 0), "most_bytes.value", "must be above 0");
    for none in [f64::NAN, f64::INFINITY] {
        shows(&refused(|p| p.bleed.value = mm(none)), "bleed.value", "must be at most 50 mm");
        shows(&refused(|p| p.layer.value = mm(none)), "layer.value", "must be at most 1000 mm");
        shows(&refused(|p| p.density.value = none), "density.value", "must lie between");
    }
    let edge = |bleed: f64| {
        let process = conformance::process();
        Process { bleed: Figure { value: mm(bleed), ..process.bleed.clone() }, ..process }.check()
    };
    assert_eq!([edge(0.0), edge(50.0)], [Ok(()), Ok(())]);
}

#[test]
fn ranges_run_from_least_to_most_and_hold_the_value() {
    let range = |least: f64, most: f64| {
        move |p: &mut Process| {
            p.bleed = Figure { value: mm(0.3), range: Some([mm(least), mm(most)]), basis: String::new() };
        }
    };
    shows(&refused(range(0.4, 0.2)), "bleed.range", "the range of `bleed` runs from 0.4 mm down to 0.2 mm");
    shows(&refused(range(0.31, 0.4)), "bleed.range", "from 0.31 mm to 0.4 mm and does not hold its value, 0.3 mm");
    shows(&refused(range(0.1, 0.2)), "bleed.range", "does not hold its value");
    shows(&refused(range(-0.1, 0.4)), "bleed.range", "must not be negative, but is -0.1 mm");
    shows(&refused(range(0.1, 70.0)), "bleed.range", "must be at most 50 mm, not 70 mm");
    shows(&refused(range(f64::NAN, 0.4)), "bleed.range", "must be at most 50 mm");
    for (least, most) in [(0.3, 0.3), (0.0, 0.3), (0.3, 0.9)] {
        let mut process = conformance::process();
        range(least, most)(&mut process);
        assert_eq!(process.check(), Ok(()), "{least} to {most}");
    }
    shows(&refused(|p| p.density.range = Some([1.6, 1.8])), "density.range", "does not hold its value, 1.5");
    shows(&refused(|p| p.most_triangles.range = Some([2_000_000, 3_000_000])), "most_triangles.range", "does not hold");
    shows(
        &refused(|p| p.build_volume.range = Some([[mm(300.0); 3]; 2])),
        "build_volume.range",
        "does not hold its value",
    );
}

#[test]
fn colours_must_make_sense() {
    let base = |colour: u8| figure(Srgb([colour; 3]));
    shows(
        &refused(|p| p.base = Some(base(40))),
        "base.value",
        "#282828 has a lightness L* of 16; it must be at least 20",
    );
    let ranged = Figure { range: Some([Srgb([200; 3]), Srgb([255; 3])]), ..base(230) };
    shows(&refused(|p| p.base = Some(ranged)), "base.range", "is a colour and can have no range");
    let greys: Vec<Srgb> = (0..5).map(|n| Srgb([50 * n; 3])).collect();
    shows(&refused(|p| p.gamut = Some(figure(greys))), "gamut.value", "`gamut` spans no volume");
    shows(&refused(|p| p.gamut = Some(figure(vec![Srgb([9; 3])]))), "gamut.value", "at least 4 different colours");
    shows(&refused(|p| p.profile = Some(figure(ProfileFile::named(" ")))), "profile.value", "`profile` names no file");
}

#[test]
fn a_profile_goes_before_a_gamut() {
    use crate::colorimetry::profile::tests::invented;

    let mut process = conformance::process();
    assert!(matches!(process.printable(), Printable::Every));
    let patches = [[250, 250, 250], [40, 40, 40], [200, 60, 60], [60, 160, 90], [60, 80, 170]];
    process.gamut = Some(figure(patches.map(Srgb).to_vec()));
    assert!(matches!(process.printable(), Printable::Hull(_)));
    let mut file = ProfileFile::named("printer.icc");
    assert!(file.take(b"no profile").is_err());
    file.take(&invented(b"CMYK")).expect("the invented profile is in order");
    process.profile = Some(figure(file));
    assert!(matches!(process.printable(), Printable::Profile(_)));

    // In a record only its name is kept.
    let written = serde_json::to_value(&process).expect("a process can be written");
    assert_eq!(written["profile"]["value"], "printer.icc");
    let read: Process = serde_json::from_value(written).expect("and read");
    assert_eq!(read, process);
    assert!(matches!(read.printable(), Printable::Hull(_)));
}
