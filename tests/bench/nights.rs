//! Planning a night: the time should grow with the number of variants and no faster.

use std::fmt::Write as _;
use std::path::Path;

use turnhue::plan::plan_night_bytes;

/// The demo in five sizes of the cell, ten walls, and as many palettes as that takes.
fn night(variants: usize) -> Vec<u8> {
    let mut job = include_str!("../../jobs/harbour-whelk.yaml").replace("advise:", "#");
    job += "variants:\n  every:\n    voxelise.cell: [3 mm, 3.5 mm, 4 mm, 4.5 mm, 5 mm]\n";
    job +=
        "    hollow.wall: [2.2 mm, 2.4 mm, 2.6 mm, 2.8 mm, 3 mm, 3.2 mm, 3.4 mm, 3.6 mm, 3.8 mm, 4 mm]\n    colour:\n";
    for palette in 0..variants / 50 {
        writeln!(
            job,
            "      - {{ as: p{palette}, right: \"#{:06x}\", left: \"#{:06x}\" }}",
            palette * 977,
            palette * 31
        )
        .unwrap();
    }
    job.into_bytes()
}

#[divan::bench(args = [100, 1000, 10_000], sample_count = 3)]
fn plan_a_night(bencher: divan::Bencher<'_, '_>, variants: usize) {
    let (job, stages) = (night(variants), turnhue_stages::shipped());
    bencher.bench(|| {
        let night = plan_night_bytes("night.yaml", job.clone(), Path::new("jobs"), &stages).ok().unwrap();
        assert_eq!(night.plans().len(), variants);
        night
    });
}
