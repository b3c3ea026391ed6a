//! Reads a 3MF file as a model: the triangles of its build, whatever else it says about them.
//!
//! `validate` reads the file that is ordered with [`super::read`], which is strict and wants one colour a triangle. Here
//! colours, textures and metadata are stepped over, and objects that are no part of the piece (supports) with a note.
//! The guards are the same: parts are unpacked to a limit, no document type or entity is read, and a component names
//! only objects defined before it, so that none can contain itself. What objects come to is reckoned before any is
//! placed, so that components cannot multiply without end.
//!
//! Of the production extension (1.1.2) the paths are followed: an object may lie in another part of the package, which
//! itself names no further part. Other extensions that a file requires are refused.

use std::collections::BTreeMap;
use std::io::Cursor as Bytes;

use glam::{DAffine3, DVec3};

use super::read::document::{required, transform, values};
use super::read::package::Package;
use super::read::xml::{Cursor, Element, Space, attribute};
use crate::formats::model::{About, Builder, FileUnit, Stance};

/// Namespaces of the core specification, of the materials and the production extension, and of sets of triangles,
/// which change no surface.
const SPACES: [&str; 4] = [
    "http://schemas.microsoft.com/3dmanufacturing/core/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/production/2015/06",
    "http://schemas.microsoft.com/3dmanufacturing/trianglesets/2021/07",
];
const CORE: Space = Space::Known(0);
const PRODUCTION: usize = 2;

/// Components nested deeper than this are refused.
const DEEPEST: u32 = 32;

/// A part may unpack to so many times the size of the whole package, or to [`LEAST_LIMIT`] where that is more. Text of
/// coordinates packs to a tenth or so; a hundred is beyond what any model's does.
const UNPACKING: u64 = 100;
const LEAST_LIMIT: u64 = 16 << 20;
/// No part may unpack to more.
const MOST_LIMIT: u64 = 2 << 30;

/// Most parts of a package that hold objects.
const MOST_PARTS: usize = 10_000;

/// Reads a 3MF file.
pub(in crate::formats) fn read(bytes: &[u8], builder: &mut Builder) -> Result<About, String> {
    read_build(bytes, builder).map_err(|message| format!("the 3MF file cannot be read: {message}; export it again"))
}

fn read_build(bytes: &[u8], builder: &mut Builder) -> Result<About, String> {
    let limit = (bytes.len() as u64).saturating_mul(UNPACKING).clamp(LEAST_LIMIT, MOST_LIMIT);
    let mut package = Package::open(Bytes::new(bytes), limit)?;
    let (start, text) = package.start_part()?;
    let root = Part::parse(&text, true)?;
    builder.allow(text.len() as u64);
    drop(text);
    let mut store = Store::default();
    let mut left = limit;
    for path in root.paths(&start) {
        if store.parts.len() == MOST_PARTS {
            return Err(format!("it holds more than {MOST_PARTS} parts with objects"));
        }
        let text = package.part(path.trim_start_matches('/'))?;
        // Each part is within the limit; so must they be together.
        left = left.checked_sub(text.len() as u64).ok_or_else(|| format!("its parts unpack to over {limit} bytes"))?;
        let part = Part::parse(&text, false).map_err(|message| format!("part '{path}': {message}"))?;
        if part.unit != root.unit {
            return Err(format!("part '{path}' is in another unit than the package's start part"));
        }
        store.add(path, part)?;
    }
    let items = store.add(start, root)?;
    store.place(&items, builder)
}

/// A part with objects, as it stands in the file.
struct Part {
    unit: FileUnit,
    objects: BTreeMap<u32, Object>,
    /// The ids of the objects, in order.
    order: Vec<u32>,
    items: Vec<Use>,
    /// Lattices of beams within meshes.
    lattices: usize,
}

struct Object {
    name: Option<String>,
    is_part_of_piece: bool,
    content: Content,
}

enum Content {
    Mesh(Mesh),
    Components(Vec<Use>),
}

#[derive(Default)]
struct Mesh {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
}

/// A use of an object, in the part that has it.
struct Use {
    path: Option<String>,
    object: u32,
    transform: DAffine3,
}

impl Part {
    /// Parses a part; `is_root` if it is the package's start part, which alone names others.
    fn parse(text: &str, is_root: bool) -> Result<Self, String> {
        let mut cursor = Cursor::new(text, &SPACES);
        let model = cursor.root()?;
        if model.space != CORE || model.name() != "model" {
            return Err(format!("the part begins with <{}>, expected <model> of the 3MF core namespace", model.name()));
        }
        for prefix in attribute(&model, "requiredextensions")?.unwrap_or_default().split_whitespace() {
            if !(1..SPACES.len()).any(|space| cursor.stands_for(prefix, space)) {
                return Err(format!("it requires the extension '{prefix}', which is not read"));
            }
        }
        let unit = unit(attribute(&model, "unit")?.as_deref())?;
        let mut part = Self { unit, objects: BTreeMap::new(), order: Vec::new(), items: Vec::new(), lattices: 0 };
        cursor.children(&model, |cursor, child| match (child.space, child.name()) {
            (CORE, "resources") => cursor.children(&child, |cursor, child| match (child.space, child.name()) {
                (CORE, "object") => part.object(cursor, &child, is_root),
                _ => cursor.skip(&child),
            }),
            (CORE, "build") => cursor.children(&child, |cursor, child| {
                if child.space == CORE && child.name() == "item" {
                    part.items.push(part.used(cursor, &child, is_root)?);
                }
                cursor.skip(&child)
            }),
            _ => cursor.skip(&child),
        })?;
        Ok(part)
    }

    fn object<'i>(&mut self, cursor: &mut Cursor<'i>, element: &Element<'i>, is_root: bool) -> Result<(), String> {
        let id = required(element, "id")?;
        if self.objects.contains_key(&id) {
            return Err(format!("two objects have the id {id}"));
        }
        let name = attribute(element, "name")?.map(std::borrow::Cow::into_owned);
        let kind = attribute(element, "type")?;
        let is_part_of_piece = !matches!(kind.as_deref(), Some("support" | "solidsupport" | "other"));
        let mut content = None;
        cursor.children(element, |cursor, child| {
            let found = match (child.space, child.name()) {
                (CORE, "mesh") => {
                    Content::Mesh(self.mesh(cursor, &child).map_err(|e| format!("mesh of object {id}: {e}"))?)
                }
                (CORE, "components") => {
                    let mut components = Vec::new();
                    cursor.children(&child, |cursor, child| {
                        if child.space == CORE && child.name() == "component" {
                            let used = self.used(cursor, &child, is_root);
                            components.push(used.map_err(|e| format!("object {id}: {e}"))?);
                        }
                        cursor.skip(&child)
                    })?;
                    Content::Components(components)
                }
                _ => return cursor.skip(&child),
            };
            if content.replace(found).is_some() {
                return Err(format!("object {id} holds more than one <mesh> or <components>"));
            }
            Ok(())
        })?;
        let content = content.ok_or_else(|| format!("object {id} holds neither <mesh> nor <components>"))?;
        self.objects.insert(id, Object { name, is_part_of_piece, content });
        self.order.push(id);
        Ok(())
    }

    /// A component or an item of the build: within one part it names an object that is defined already.
    fn used(&self, cursor: &Cursor<'_>, element: &Element<'_>, is_root: bool) -> Result<Use, String> {
        let object = required(element, "objectid")?;
        let path = cursor.attribute_in(element, PRODUCTION, "path")?;
        if path.is_some() && !is_root {
            return Err(format!("<{}> names another part, which only the start part may", element.name()));
        }
        if path.is_none() && !self.objects.contains_key(&object) {
            return Err(format!("<{}> names object {object}, which is not defined before it", element.name()));
        }
        let transform = attribute(element, "transform")?.map_or(Ok(DAffine3::IDENTITY), |text| transform(&text))?;
        Ok(Use { path: path.map(std::borrow::Cow::into_owned), object, transform })
    }

    fn mesh<'i>(&mut self, cursor: &mut Cursor<'i>, parent: &Element<'i>) -> Result<Mesh, String> {
        let mut mesh = Mesh::default();
        cursor.children(parent, |cursor, child| match (child.space, child.name()) {
            (CORE, "vertices") => cursor.children(&child, |cursor, child| {
                if child.space == CORE && child.name() == "vertex" {
                    mesh.points.push(vertex(&child).map_err(|e| format!("vertex {}: {e}", mesh.points.len()))?);
                }
                cursor.skip(&child)
            }),
            (CORE, "triangles") => cursor.children(&child, |cursor, child| {
                if child.space == CORE && child.name() == "triangle" {
                    let triangle = triangle(&child, mesh.points.len());
                    mesh.triangles.push(triangle.map_err(|e| format!("triangle {}: {e}", mesh.triangles.len()))?);
                }
                cursor.skip(&child)
            }),
            (_, name) => {
                self.lattices += usize::from(name == "beamlattice");
                cursor.skip(&child)
            }
        })?;
        Ok(mesh)
    }

    /// The other parts that this one names, each once, in order.
    fn paths(&self, own: &str) -> Vec<String> {
        let components = self.order.iter().filter_map(|id| match &self.objects[id].content {
            Content::Components(components) => Some(components),
            Content::Mesh(_) => None,
        });
        let uses = components.flatten().chain(&self.items);
        let mut met = std::collections::BTreeSet::new();
        let paths = uses.filter_map(|used| used.path.as_deref()).filter(|path| !same_part(path, own));
        paths.filter(|&path| met.insert(path)).map(str::to_owned).collect()
    }
}

fn same_part(one: &str, other: &str) -> bool {
    one.trim_start_matches('/').eq_ignore_ascii_case(other.trim_start_matches('/'))
}

fn unit(name: Option<&str>) -> Result<FileUnit, String> {
    Ok(match name.unwrap_or("millimeter") {
        "micron" => FileUnit::Micrometre,
        "millimeter" => FileUnit::Millimetre,
        "centimeter" => FileUnit::Centimetre,
        "inch" => FileUnit::Inch,
        "foot" => FileUnit::Foot,
        "meter" => FileUnit::Metre,
        other => {
            return Err(format!("its unit is '{other}', expected micron, millimeter, centimeter, inch, foot or meter"));
        }
    })
}

fn vertex(element: &Element<'_>) -> Result<DVec3, String> {
    match values(element, ["x", "y", "z"])? {
        [Some(x), Some(y), Some(z)] => Ok(DVec3::new(x, y, z)),
        _ => Err("needs x, y and z".to_owned()),
    }
}

fn triangle(element: &Element<'_>, points: usize) -> Result<[u32; 3], String> {
    let [Some(v1), Some(v2), Some(v3)] = values(element, ["v1", "v2", "v3"])? else {
        return Err("needs v1, v2 and v3".to_owned());
    };
    match [v1, v2, v3].into_iter().find(|&v: &u32| v as usize >= points) {
        Some(v) => Err(format!("names vertex {v}, expected below {points}")),
        None => Ok([v1, v2, v3]),
    }
}

/// Every object of every part, those that are used before those that use them.
#[derive(Default)]
struct Store {
    objects: Vec<Stored>,
    /// The place of each object, by part and id.
    places: BTreeMap<(String, u32), usize>,
    parts: Vec<String>,
    unit: Option<FileUnit>,
    lattices: usize,
}

struct Stored {
    name: Option<String>,
    is_part_of_piece: bool,
    content: StoredContent,
    size: Size,
}

enum StoredContent {
    Mesh(Mesh),
    Components(Vec<Placed>),
}

struct Placed {
    object: usize,
    transform: DAffine3,
}

/// What one use of an object comes to.
#[derive(Clone, Copy, Default)]
struct Size {
    triangles: u64,
    depth: u32,
}

impl Store {
    /// Takes in a part whose other parts are in already; gives the uses of its build.
    fn add(&mut self, path: String, mut part: Part) -> Result<Vec<Placed>, String> {
        let key = path.trim_start_matches('/').to_ascii_lowercase();
        self.parts.push(path);
        self.unit = Some(part.unit);
        self.lattices += part.lattices;
        for id in part.order {
            let Some(Object { name, is_part_of_piece, content }) = part.objects.remove(&id) else { continue };
            let (content, size) = match content {
                Content::Mesh(mesh) => {
                    let triangles = mesh.triangles.len() as u64;
                    (StoredContent::Mesh(mesh), Size { triangles, depth: 0 })
                }
                Content::Components(uses) => {
                    let placed = uses.into_iter().map(|used| self.placed(&key, used)).collect::<Result<Vec<_>, _>>()?;
                    let size = placed.iter().fold(Size::default(), |sum, used| {
                        let size = self.objects[used.object].size;
                        Size {
                            triangles: sum.triangles.saturating_add(size.triangles),
                            depth: sum.depth.max(size.depth + 1),
                        }
                    });
                    (StoredContent::Components(placed), size)
                }
            };
            if size.depth > DEEPEST {
                return Err(format!("object {id} nests components more than {DEEPEST} deep"));
            }
            self.places.insert((key.clone(), id), self.objects.len());
            self.objects.push(Stored { name, is_part_of_piece, content, size });
        }
        part.items.into_iter().map(|item| self.placed(&key, item)).collect()
    }

    fn placed(&self, own: &str, used: Use) -> Result<Placed, String> {
        let part = used.path.map(|path| path.trim_start_matches('/').to_ascii_lowercase());
        let part = part.unwrap_or_else(|| own.to_owned());
        match self.places.get(&(part, used.object)) {
            Some(&object) => Ok(Placed { object, transform: used.transform }),
            None => Err(format!("object {} is used, but not defined in the part that is named", used.object)),
        }
    }

    /// Places the items of the build, each a body.
    fn place(&self, items: &[Placed], builder: &mut Builder) -> Result<About, String> {
        let unit = self.unit;
        let mut about = About { unit, stance: Some(Stance::ZUp), notes: Vec::new() };
        let (pieces, others): (Vec<_>, Vec<_>) =
            items.iter().partition(|item| self.objects[item.object].is_part_of_piece);
        about.passed_over(others.len(), "item that is a support or the like", "items that are supports or the like");
        about.passed_over(self.lattices, "lattice of beams", "lattices of beams");
        let total = pieces.iter().fold(0_u64, |sum, item| sum.saturating_add(self.objects[item.object].size.triangles));
        if total == 0 {
            return Err("its build holds no triangle".to_owned());
        }
        builder.expect(total)?;
        for item in pieces {
            let name = self.objects[item.object].name.as_deref();
            builder.begin_body(name);
            self.add_use(item, DAffine3::IDENTITY, builder)?;
        }
        Ok(about)
    }

    /// Adds one use of an object; the recursion is as deep as [`DEEPEST`] allows, and every branch ends in triangles.
    fn add_use(&self, used: &Placed, outer: DAffine3, builder: &mut Builder) -> Result<(), String> {
        let object = &self.objects[used.object];
        if object.size.triangles == 0 {
            return Ok(());
        }
        let transform = outer * used.transform;
        match &object.content {
            StoredContent::Mesh(mesh) => add_mesh(mesh, transform, builder),
            StoredContent::Components(components) => {
                components.iter().try_for_each(|component| self.add_use(component, transform, builder))
            }
        }
    }
}

fn add_mesh(mesh: &Mesh, transform: DAffine3, builder: &mut Builder) -> Result<(), String> {
    // A mirror turns a triangle's winding against its outside; turned back, outside stays outside.
    let mirrored = transform.matrix3.determinant() < 0.0;
    let mut numbers = vec![None; mesh.points.len()];
    for triangle in &mesh.triangles {
        let mut corners = [0; 3];
        for (corner, &at) in corners.iter_mut().zip(triangle) {
            *corner = match numbers[at as usize] {
                Some(number) => number,
                None => {
                    let point = transform.transform_point3(mesh.points[at as usize]);
                    let number = builder.point(point, || format!("vertex {at}"))?;
                    *numbers[at as usize].insert(number)
                }
            };
        }
        if mirrored {
            corners.swap(1, 2);
        }
        builder.triangle(corners)?;
    }
    Ok(())
}
