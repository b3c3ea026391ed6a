#![allow(missing_docs)]
use std::{collections::BTreeMap, path::PathBuf, sync::Arc};
use turnhue_stages::{conformance::Trial, formats::stl, shipped, workpiece::Workpiece};
fn main() {
    let a: Vec<String> = std::env::args().collect();
    let surface = stl::read(&std::fs::read(&a[1]).unwrap()).unwrap();
    let cell = &a[2];
    let wall = &a[3];
    let mut piece = Workpiece { surface: Some(Arc::new(surface)), ..Default::default() };
    let out = PathBuf::from(&a[4]);
    let _ = std::fs::remove_dir_all(&out);
    std::fs::create_dir_all(&out).unwrap();
    for (name, s) in [
        ("scale", serde_json::json!({"height": a[5]})),
        ("voxelise", serde_json::json!({"cell": cell})),
        ("repair", serde_json::json!({})),
        ("hollow", serde_json::json!({"wall": wall, "openings":[{"side":"bottom","width":a[6]}]})),
        (
            "colour",
            serde_json::json!({"right":"#c8553d","left":"#2a6f97","back":"#e9c46a","front":"#588157","top":"#f4f1de","bottom":"#3d405b"}),
        ),
        ("validate", serde_json::json!({})),
    ] {
        let all = shipped();
        let Some(st) = all.iter().find(|s| s.name() == name) else {
            println!("no {name}");
            continue;
        };
        let t = std::time::Instant::now();
        let tr = Trial { stage: st.as_ref(), settings: s, files: BTreeMap::new(), piece };
        let (p, o) = tr.run(out.clone()).unwrap_or_else(|h| panic!("{name}: {h:?}"));
        println!("== {name} {:?}", t.elapsed());
        for f in o.facts {
            println!("   {} = {:?} {:?}", f.name, f.value, f.unit.map(|u| u.sign()));
        }
        for f in o.findings {
            println!("   ! {:?} {} {} -> {}", f.severity, f.code, f.message, f.remedy);
        }
        if name == "hollow" {
            let c = p.cells.as_ref().unwrap();
            let g = c.grid();
            let mut b = Vec::new();
            for z in 0..g.counts.z {
                for y in 0..g.counts.y {
                    for x in 0..g.counts.x {
                        let q = glam::IVec3::new(x, y, z);
                        b.push(u8::from(c.solid(q)) + 2 * u8::from(p.void.as_ref().unwrap().shafts.solid(q)));
                    }
                }
            }
            std::fs::write(out.join("cells.raw"), &b).unwrap();
            std::fs::write(out.join("grid.txt"), format!("{} {} {} {}", g.counts.x, g.counts.y, g.counts.z, g.cell))
                .unwrap();
        }
        piece = p;
    }
}
