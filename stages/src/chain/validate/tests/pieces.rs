//! Pieces built by hand: what the job asks for, and the mesh of the file, each of which a test may change.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{Cursor, Write as _};

use glam::{DVec3, IVec3};
use zip::ZipWriter;
use zip::write::SimpleFileOptions;

use crate::paint::Paint;
use crate::solid::{Cells, Face, Grid};
use crate::void::{Opening, Void};
use crate::workpiece::Workpiece;
use crate::{Side, Six, Srgb};

const SIX: [Srgb; 6] = [
    Srgb([200, 85, 61]),
    Srgb([42, 111, 151]),
    Srgb([233, 196, 106]),
    Srgb([88, 129, 87]),
    Srgb([244, 241, 222]),
    Srgb([61, 64, 91]),
];
const INSIDE: Srgb = Srgb([128, 128, 128]);

/// The mesh that goes into the file.
#[derive(Clone, Default)]
pub(super) struct FileMesh {
    pub(super) points: Vec<DVec3>,
    pub(super) triangles: Vec<[u32; 3]>,
    pub(super) colours: Vec<Option<Srgb>>,
}

/// The job's intent and the file's mesh.
pub(super) struct Piece {
    cells: Cells,
    paint: Paint,
    void: Option<Void>,
    pub(super) mesh: FileMesh,
}

impl Piece {
    /// A solid of cubes, each with its faces in their side's colour.
    pub(super) fn of(cell: f64, counts: [i32; 3], solid: impl Fn(IVec3) -> bool) -> Self {
        let grid = Grid { origin: DVec3::ZERO, cell, counts: IVec3::from_array(counts) };
        let mut cells = Cells::empty(grid);
        for z in 0..counts[2] {
            for y in 0..counts[1] {
                for x in 0..counts[0] {
                    let at = IVec3::new(x, y, z);
                    cells.set(at, solid(at));
                }
            }
        }
        let faces: Vec<Face> = Side::ALL
            .into_iter()
            .flat_map(|side| cells.iter().map(move |cell| Face { cell, side }))
            .filter(|f| !cells.solid(f.cell + f.side.step()))
            .collect();
        let ink = faces.iter().map(|f| f.side as u32).collect();
        let mut mesh = FileMesh::default();
        mesh.add_cubes(&cells, |f| SIX[f.side as usize]);
        let paint =
            Paint { colours: SIX.to_vec(), faces: faces.into(), ink, sides: Six(SIX), inside: INSIDE, guard: None };
        Self { cells, paint, void: None, mesh }
    }

    pub(super) fn box_of(counts: [i32; 3], cell: f64) -> Self {
        Self::of(cell, counts, |_| true)
    }

    /// Edge 20, wall 2, an opening of 4 × 4 in the middle of the bottom.
    pub(super) fn hollow_cube() -> Self {
        Self::cube_without(|c| is_cavity(c) || is_shaft(c))
    }

    /// As [`Self::hollow_cube`], and in the file a hole in the top as well.
    pub(super) fn hollow_cube_with_a_second_hole() -> Self {
        Self::cube_without(|c| is_cavity(c) || is_shaft(c) || c == IVec3::new(3, 3, 9))
    }

    fn cube_without(air: impl Fn(IVec3) -> bool) -> Self {
        let mut piece = Self::box_of([10; 3], 2.0);
        let mut printed = piece.cells.clone();
        for cell in piece.cells.iter().filter(|&c| air(c)) {
            printed.set(cell, false);
        }
        let outer = &piece.cells;
        piece.mesh = FileMesh::default();
        piece
            .mesh
            .add_cubes(&printed, |f| if outer.solid(f.cell + f.side.step()) { INSIDE } else { SIX[f.side as usize] });
        let opening = Opening { side: Side::Bottom, low: DVec3::new(8.0, 8.0, 0.0), high: DVec3::new(12.0, 12.0, 2.0) };
        piece.void = Some(void(&piece.cells, vec![opening], 2.0));
        piece
    }

    /// The hollow cube without its opening, in job and file.
    pub(super) fn sealed(self) -> Self {
        let void = void(&self.cells, Vec::new(), 2.0);
        Self { void: Some(void), ..Self::cube_without(is_cavity) }
    }

    /// A cube of edge 20 round a sealed ball with corners on its axes.
    pub(super) fn cube_with_ball(radius: f64) -> Self {
        let mut piece = Self::box_of([10; 3], 2.0);
        piece.void = Some(void(&piece.cells, Vec::new(), 2.5));
        piece.mesh.add_ball(DVec3::splat(10.0), radius);
        piece
    }

    /// Moves the opening in the job, not in the file.
    pub(super) fn move_opening(&mut self, by: DVec3) {
        for opening in &mut self.void.as_mut().unwrap().openings {
            opening.low += by;
            opening.high += by;
        }
    }

    pub(super) fn workpiece(&self) -> Workpiece {
        let solid = Workpiece::default().with_cells(self.cells.clone());
        let piece = if let Some(void) = &self.void { solid.with_void(void.clone()) } else { solid };
        piece.with_paint(self.paint.clone())
    }
}

fn is_cavity(cell: IVec3) -> bool {
    cell.cmpge(IVec3::ONE).all() && cell.cmple(IVec3::splat(8)).all()
}

fn is_shaft(cell: IVec3) -> bool {
    cell.z == 0 && (4..6).contains(&cell.x) && (4..6).contains(&cell.y)
}

fn void(cells: &Cells, openings: Vec<Opening>, wall: f64) -> Void {
    let empty = Cells::empty(*cells.grid());
    Void { shafts: empty.clone(), openings, cavity: empty, per_cell: 1, moved: BTreeMap::new(), wall }
}

impl FileMesh {
    /// Two triangles for each face between solid and air, points shared.
    fn add_cubes(&mut self, solid: &Cells, colour: impl Fn(Face) -> Srgb) {
        let mut index: BTreeMap<[i32; 3], u32> = BTreeMap::new();
        for side in Side::ALL {
            for cell in solid.iter().filter(|&c| !solid.solid(c + side.step())) {
                let corner = |[u, v]: [i32; 2]| {
                    let mut at = cell;
                    at[side.axis()] += i32::from(side.positive());
                    at[(side.axis() + 1) % 3] += u;
                    at[(side.axis() + 2) % 3] += v;
                    at
                };
                let square = [[0, 0], [1, 0], [1, 1], [0, 1]].map(|uv| {
                    let at = corner(uv);
                    *index.entry(at.to_array()).or_insert_with(|| {
                        self.points.push(solid.grid().corner(at));
                        self.points.len() as u32 - 1
                    })
                });
                let [a, b, c, d] = square;
                for [a, b, c] in [[a, b, c], [a, c, d]] {
                    self.triangles.push(if side.positive() { [a, b, c] } else { [a, c, b] });
                    self.colours.push(Some(colour(Face { cell, side })));
                }
            }
        }
    }

    /// A ball that is turned inwards: an octahedron whose sides are cut 16 times and whose points lie on the sphere.
    fn add_ball(&mut self, centre: DVec3, radius: f64) {
        const CUTS: i32 = 16;
        let mut index: BTreeMap<[i32; 3], u32> = BTreeMap::new();
        let mut point = |at: IVec3| {
            *index.entry(at.to_array()).or_insert_with(|| {
                self.points.push(centre + radius * at.as_dvec3().normalize());
                self.points.len() as u32 - 1
            })
        };
        for octant in 0..8 {
            let sign = IVec3::new(1 - 2 * (octant & 1), 1 - (octant & 2), 1 - (octant & 4) / 2);
            let mut at = |i: i32, j: i32| point(sign * IVec3::new(i, j, CUTS - i - j));
            for i in 0..CUTS {
                for j in 0..CUTS - i {
                    let mut add = |t: [u32; 3]| {
                        let outwards = sign.element_product() > 0;
                        self.triangles.push(if outwards { [t[0], t[2], t[1]] } else { t });
                        self.colours.push(Some(INSIDE));
                    };
                    add([at(i, j), at(i + 1, j), at(i, j + 1)]);
                    if i + j < CUTS - 1 {
                        add([at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)]);
                    }
                }
            }
        }
    }

    pub(super) fn move_points(&mut self, which: impl Fn(DVec3) -> bool, by: DVec3) {
        let before = self.points.clone();
        self.points.iter_mut().filter(|p| which(**p)).for_each(|p| *p += by);
        assert_ne!(self.points, before, "no point was moved");
    }

    /// A triangle over `at` that faces `side`.
    pub(super) fn triangle_at(&self, at: DVec3, side: Side) -> usize {
        let corners = |t: [u32; 3]| t.map(|i| self.points[i as usize]);
        self.triangles
            .iter()
            .position(|&t| {
                let [a, b, c] = corners(t);
                let facing = (b - a).cross(c - a).normalize().dot(side.normal()) > 0.99;
                let low = a.min(b).min(c);
                facing && at.cmpge(low).all() && at.cmple(a.max(b).max(c)).all()
            })
            .unwrap()
    }

    /// The same triangles, with points of its own for each twelve of them that come from one cube.
    pub(super) fn with_own_points_for_each_cube(&self) -> Self {
        let mut own = Self { colours: self.colours.clone(), ..Self::default() };
        let mut index: BTreeMap<(bool, u32), u32> = BTreeMap::new();
        for t in &self.triangles {
            let middle: DVec3 = t.iter().map(|&i| self.points[i as usize]).sum::<DVec3>() / 3.0;
            let second = middle.x + middle.y > 2.0;
            own.triangles.push(t.map(|i| {
                *index.entry((second, i)).or_insert_with(|| {
                    own.points.push(self.points[i as usize]);
                    own.points.len() as u32 - 1
                })
            }));
        }
        own
    }

    /// Splits one side of the first triangle at its middle and fills the slit with a triangle that has no area.
    pub(super) fn add_flat_triangle(&mut self) {
        let [a, b, c] = self.triangles[0];
        let middle = self.points.len() as u32;
        self.points.push((self.points[a as usize] + self.points[b as usize]) / 2.0);
        self.triangles[0] = [middle, b, c];
        self.triangles.push([a, middle, c]);
        self.triangles.push([a, b, middle]);
        self.colours.extend([self.colours[0]; 2]);
    }
}

/// A 3MF file, written by hand by the core and materials specifications.
pub(super) fn packed(mesh: &FileMesh) -> Vec<u8> {
    let mut colours: Vec<Srgb> = mesh.colours.iter().flatten().copied().collect();
    colours.sort_unstable();
    colours.dedup();
    let place = |c: Srgb| colours.binary_search(&c).unwrap();
    let mut text = String::from(
        r#"<?xml version="1.0" encoding="UTF-8"?>
<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02" xmlns:m="http://schemas.microsoft.com/3dmanufacturing/material/2015/02"><resources><m:colorgroup id="1">"#,
    );
    for colour in &colours {
        write!(text, r#"<m:color color="{colour}"/>"#).unwrap();
    }
    // A triangle without a property takes the object's, so an object has colours throughout or none at all.
    text.push_str("</m:colorgroup>");
    let default = if colours.is_empty() { "" } else { r#" pid="1" pindex="0""# };
    write!(text, r#"<object id="2"{default}><mesh><vertices>"#).unwrap();
    for p in &mesh.points {
        write!(text, r#"<vertex x="{}" y="{}" z="{}"/>"#, p.x, p.y, p.z).unwrap();
    }
    text.push_str("</vertices><triangles>");
    for (t, colour) in mesh.triangles.iter().zip(&mesh.colours) {
        write!(text, r#"<triangle v1="{}" v2="{}" v3="{}""#, t[0], t[1], t[2]).unwrap();
        if let Some(colour) = colour {
            write!(text, r#" p1="{}""#, place(*colour)).unwrap();
        }
        text.push_str("/>");
    }
    text.push_str(r#"</triangles></mesh></object></resources><build><item objectid="2"/></build></model>"#);
    let rels = r#"<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/piece.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>"#;
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for (name, content) in [("_rels/.rels", rels), ("3D/piece.model", &text)] {
        zip.start_file(name, SimpleFileOptions::default()).unwrap();
        zip.write_all(content.as_bytes()).unwrap();
    }
    zip.finish().unwrap().into_inner()
}
