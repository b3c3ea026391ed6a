//! The model document: resources that are defined before they are used, then the build.

use std::collections::BTreeMap;
use std::fmt::{self, Display};
use std::str::FromStr;
use std::sync::Arc;

use glam::{DAffine3, DVec3};

use super::xml::{self, Cursor, Element, Space, attribute};
use crate::Srgb;
use crate::memo::{Recall, Weigh};

/// Namespaces of the core specification (C.3) and of the materials extension (E.3), in this order.
const SPACES: [&str; 2] = [
    "http://schemas.microsoft.com/3dmanufacturing/core/2015/02",
    "http://schemas.microsoft.com/3dmanufacturing/material/2015/02",
];
const CORE: Space = Space::Known(0);
const MATERIALS: Space = Space::Known(1);

/// A model document.
#[derive(Debug)]
pub(super) struct Document {
    /// Millimetres in a unit of the file.
    pub(super) unit: f64,
    /// Objects by their id.
    pub(super) objects: BTreeMap<u32, Object>,
    /// What to build.
    pub(super) items: Vec<Placed>,
}

/// Components nested deeper than this are refused.
pub(super) const DEEPEST: u32 = 32;

/// An object.
#[derive(Debug)]
pub(super) struct Object {
    /// What it is made of.
    pub(super) content: Content,
    /// What one use of it comes to.
    pub(super) size: Size,
    /// The `type` attribute where it is not `model`: support and the like, which is not part of the piece.
    other_type: Option<String>,
}

/// What one use of an object comes to.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Size {
    pub(super) triangles: u64,
    pub(super) points: u64,
    depth: u32,
}

impl Size {
    /// This and `other` side by side.
    pub(super) fn with(self, other: Self) -> Self {
        Self {
            triangles: self.triangles.saturating_add(other.triangles),
            points: self.points.saturating_add(other.points),
            depth: self.depth.max(other.depth),
        }
    }
}

/// What an object is made of.
#[derive(Debug)]
pub(super) enum Content {
    /// Triangles.
    Mesh(Mesh),
    /// Other objects.
    Components(Vec<Placed>),
}

/// A mesh, and a colour for each triangle.
pub(super) struct Mesh {
    bare: Arc<xml::Content<Bare>>,
    pub(super) colours: Vec<Option<Srgb>>,
}

impl Mesh {
    /// In the file's unit.
    pub(super) fn points(&self) -> &[DVec3] {
        &self.bare.content.points
    }

    pub(super) fn triangles(&self) -> &[[u32; 3]] {
        &self.bare.content.triangles
    }
}

impl fmt::Debug for Mesh {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Mesh").field("bare", &self.bare.content).field("colours", &self.colours).finish()
    }
}

/// What stands in a `<mesh>`: all but the colours.
#[derive(Debug, Default)]
struct Bare {
    points: Vec<DVec3>,
    triangles: Vec<[u32; 3]>,
    /// The property of each triangle, where it has one.
    properties: Vec<Option<Property>>,
}

impl Weigh for Bare {
    fn bytes(&self) -> usize {
        self.points.capacity() * size_of::<DVec3>()
            + self.triangles.capacity() * size_of::<[u32; 3]>()
            + self.properties.capacity() * size_of::<Option<Property>>()
    }
}

/// A property of a triangle: its place in a group, which is the object's unless another is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Property {
    group: Option<u32>,
    index: u32,
}

/// A use of an object.
#[derive(Debug)]
pub(super) struct Placed {
    pub(super) object: u32,
    pub(super) transform: DAffine3,
}

/// Property groups by their id.
#[derive(Default)]
struct Groups(BTreeMap<u32, Group>);

enum Group {
    /// The colours of a `<basematerials>` or `<colorgroup>`.
    Colours(Vec<Srgb>),
    /// Some other kind of group, by its name.
    Unread(String),
}

/// Parses the model part.
pub(super) fn parse(text: &str, recall: Recall<'_>) -> Result<Document, String> {
    let mut cursor = Cursor::new(text, &SPACES);
    let model = cursor.root()?;
    if model.space != CORE || model.name() != "model" {
        return Err(format!("the part begins with <{}>, expected <model> of the 3MF core namespace", model.name()));
    }
    for prefix in attribute(&model, "requiredextensions")?.unwrap_or_default().split_whitespace() {
        if !cursor.stands_for(prefix, 1) {
            return Err(format!("the file requires the extension '{prefix}', which is not read"));
        }
    }
    let mut document =
        Document { unit: unit(attribute(&model, "unit")?.as_deref())?, objects: BTreeMap::new(), items: Vec::new() };
    let mut groups = Groups::default();
    cursor.children(&model, |cursor, child| match (child.space, child.name()) {
        (CORE, "resources") => resources(cursor, &child, &mut document.objects, &mut groups, recall),
        (CORE, "build") => build(cursor, &child, &mut document),
        (CORE, "metadata" | "metadatagroup") | (Space::Other | MATERIALS, _) => cursor.skip(&child),
        (_, name) => Err(format!("<model> holds <{name}>, expected <metadata>, <resources> or <build>")),
    })?;
    Ok(document)
}

/// Millimetres in a unit (core 3.4).
fn unit(name: Option<&str>) -> Result<f64, String> {
    Ok(match name.unwrap_or("millimeter") {
        "micron" => 0.001,
        "millimeter" => 1.0,
        "centimeter" => 10.0,
        "inch" => 25.4,
        "foot" => 304.8,
        "meter" => 1000.0,
        other => {
            return Err(format!(
                "<model> has the unit '{other}', expected micron, millimeter, centimeter, inch, foot or meter"
            ));
        }
    })
}

fn resources<'i>(
    cursor: &mut Cursor<'i>,
    parent: &Element<'i>,
    objects: &mut BTreeMap<u32, Object>,
    groups: &mut Groups,
    recall: Recall<'_>,
) -> Result<(), String> {
    cursor.children(parent, |cursor, child| {
        let id: u32 = if child.space == Space::Other { return cursor.skip(&child) } else { required(&child, "id")? };
        if objects.contains_key(&id) || groups.0.contains_key(&id) {
            return Err(format!("<{}> has the id {id}, which another resource has already", child.name()));
        }
        match (child.space, child.name()) {
            (CORE, "object") => {
                let object = object(cursor, &child, id, objects, groups, recall)?;
                objects.insert(id, object);
            }
            (CORE, "basematerials") => {
                let colours = colours(cursor, &child, "base", "displaycolor")?;
                groups.0.insert(id, Group::Colours(colours));
            }
            (MATERIALS, "colorgroup") => {
                let colours = colours(cursor, &child, "color", "color")?;
                groups.0.insert(id, Group::Colours(colours));
            }
            (_, name) => {
                groups.0.insert(id, Group::Unread(name.to_owned()));
                cursor.skip(&child)?;
            }
        }
        Ok(())
    })
}

/// The colours of a group: the attribute `from` of each child called `each` (core 5.1; materials 2).
fn colours<'i>(cursor: &mut Cursor<'i>, group: &Element<'i>, each: &str, from: &str) -> Result<Vec<Srgb>, String> {
    let mut colours = Vec::new();
    cursor.children(group, |cursor, child| {
        if child.space == group.space && child.name() == each {
            let text = attribute(&child, from)?.ok_or_else(|| format!("<{each}> has no {from}"))?;
            colours.push(colour(&text).ok_or_else(|| {
                format!("<{each}> has the {from} '{text}', expected #RRGGBB, or #RRGGBBFF as it must be opaque")
            })?);
        }
        cursor.skip(&child)
    })?;
    Ok(colours)
}

/// `#RRGGBB` or `#RRGGBBAA` with full opacity (core 5.1.1).
fn colour(text: &str) -> Option<Srgb> {
    let hex = text.strip_prefix('#')?;
    if !matches!(hex.len(), 6 | 8) || !hex.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    let [_, r, g, b] = u32::from_str_radix(&hex[..6], 16).ok()?.to_be_bytes();
    (hex.len() == 6 || hex[6..].eq_ignore_ascii_case("ff")).then_some(Srgb([r, g, b]))
}

fn object<'i>(
    cursor: &mut Cursor<'i>,
    element: &Element<'i>,
    id: u32,
    objects: &BTreeMap<u32, Object>,
    groups: &Groups,
    recall: Recall<'_>,
) -> Result<Object, String> {
    let pid: Option<u32> = optional(element, "pid")?;
    let pindex: Option<u32> = optional(element, "pindex")?;
    let default = match (pid, pindex) {
        (Some(pid), Some(pindex)) => Some((pid, groups.colour(pid, pindex).map_err(|e| format!("object {id}: {e}"))?)),
        (None, None) => None,
        _ => return Err(format!("object {id} has one of pid and pindex, expected both or none")),
    };
    let other_type = attribute(element, "type")?.filter(|t| t != "model").map(std::borrow::Cow::into_owned);
    let mut content = None;
    cursor.children(element, |cursor, child| {
        let found = match (child.space, child.name()) {
            (CORE, "mesh") => Content::Mesh(mesh(cursor, &child, default, groups, recall).map_err(|e| of(id, &e))?),
            (CORE, "components") => {
                if default.is_some() {
                    return Err(format!("object {id} has components, so it must have no pid"));
                }
                Content::Components(components(cursor, &child, id, objects)?)
            }
            (CORE, "metadatagroup") | (Space::Other | MATERIALS, _) => return cursor.skip(&child),
            (_, name) => return Err(format!("object {id} holds <{name}>, expected <mesh> or <components>")),
        };
        if content.replace(found).is_some() {
            return Err(format!("object {id} holds more than one <mesh> or <components>"));
        }
        Ok(())
    })?;
    let content = content.ok_or_else(|| format!("object {id} holds neither <mesh> nor <components>"))?;
    let size = match &content {
        Content::Mesh(mesh) => {
            Size { triangles: mesh.triangles().len() as u64, points: mesh.points().len() as u64, depth: 0 }
        }
        Content::Components(components) => {
            let sum = components.iter().fold(Size::default(), |sum, c| sum.with(objects[&c.object].size));
            Size { depth: sum.depth + 1, ..sum }
        }
    };
    if size.depth > DEEPEST {
        return Err(format!("object {id} nests components more than {DEEPEST} deep"));
    }
    Ok(Object { content, size, other_type })
}

fn of(id: u32, message: &str) -> String {
    format!("mesh of object {id}: {message}")
}

/// Uses of objects that are all defined already, so that no object can contain itself.
fn components<'i>(
    cursor: &mut Cursor<'i>,
    parent: &Element<'i>,
    id: u32,
    objects: &BTreeMap<u32, Object>,
) -> Result<Vec<Placed>, String> {
    let mut components = Vec::new();
    cursor.children(parent, |cursor, child| {
        if child.space == CORE && child.name() == "component" {
            components.push(placed(&child, objects).map_err(|e| format!("object {id}: {e}"))?);
        }
        cursor.skip(&child)
    })?;
    if components.is_empty() { Err(format!("object {id} has no component")) } else { Ok(components) }
}

fn build<'i>(cursor: &mut Cursor<'i>, parent: &Element<'i>, document: &mut Document) -> Result<(), String> {
    cursor.children(parent, |cursor, child| {
        if child.space == CORE && child.name() == "item" {
            document.items.push(placed(&child, &document.objects)?);
        }
        cursor.skip(&child)
    })
}

fn placed(element: &Element<'_>, objects: &BTreeMap<u32, Object>) -> Result<Placed, String> {
    let object = required(element, "objectid")?;
    let found = objects
        .get(&object)
        .ok_or_else(|| format!("<{}> names object {object}, which is not defined before it", element.name()))?;
    if let Some(other) = &found.other_type {
        return Err(format!("<{}> names object {object} of type '{other}', expected model", element.name()));
    }
    let transform = attribute(element, "transform")?.map_or(Ok(DAffine3::IDENTITY), |text| transform(&text))?;
    Ok(Placed { object, transform })
}

/// Twelve numbers, row by row; points are rows multiplied from the left (core 3.3). So each row is the image of an axis.
pub(in super::super) fn transform(text: &str) -> Result<DAffine3, String> {
    let wrong = || format!("transform '{text}' must be 12 finite numbers that keep a volume");
    let numbers: Vec<f64> =
        text.split_whitespace().take(13).map(str::parse).collect::<Result<_, _>>().map_err(|_| wrong())?;
    let transform = DAffine3::from_cols_array(&numbers.try_into().map_err(|_| wrong())?);
    let determinant = transform.matrix3.determinant();
    if transform.is_finite() && determinant.is_finite() && determinant != 0.0 { Ok(transform) } else { Err(wrong()) }
}

fn mesh<'i>(
    cursor: &mut Cursor<'i>,
    parent: &Element<'i>,
    default: Option<(u32, Srgb)>,
    groups: &Groups,
    recall: Recall<'_>,
) -> Result<Mesh, String> {
    let bare = cursor.recalled(parent, recall, "3mf mesh 1", |cursor| bare(cursor, parent))?;
    let colours = colours_of(&bare.content.properties, default, groups)?;
    Ok(Mesh { bare, colours })
}

fn bare<'i>(cursor: &mut Cursor<'i>, parent: &Element<'i>) -> Result<Bare, String> {
    let mut mesh = Bare::default();
    cursor.children(parent, |cursor, child| match (child.space, child.name()) {
        (CORE, "vertices") => vertices(cursor, &child, &mut mesh),
        (CORE, "triangles") => triangles(cursor, &child, &mut mesh),
        (CORE, name) => Err(format!("holds <{name}>, expected <vertices> and <triangles>")),
        _ => cursor.skip(&child),
    })?;
    if mesh.triangles.is_empty() { Err("holds no triangle".to_owned()) } else { Ok(mesh) }
}

fn vertices<'i>(cursor: &mut Cursor<'i>, parent: &Element<'i>, mesh: &mut Bare) -> Result<(), String> {
    cursor.children(parent, |cursor, child| {
        let at = mesh.points.len();
        if child.space != CORE || child.name() != "vertex" {
            return Err(format!("<vertices> holds <{}>, expected <vertex>", child.name()));
        }
        let [x, y, z] = values(&child, ["x", "y", "z"]).map_err(|e| format!("vertex {at}: {e}"))?;
        let (Some(x), Some(y), Some(z)) = (x, y, z) else {
            return Err(format!("vertex {at} needs x, y and z"));
        };
        let point = DVec3::new(x, y, z);
        if !point.is_finite() {
            return Err(format!("vertex {at} has a coordinate that is not a finite number"));
        }
        mesh.points.push(point);
        cursor.skip(&child)
    })
}

fn triangles<'i>(cursor: &mut Cursor<'i>, parent: &Element<'i>, mesh: &mut Bare) -> Result<(), String> {
    cursor.children(parent, |cursor, child| {
        let at = mesh.triangles.len();
        if child.space != CORE || child.name() != "triangle" {
            return Err(format!("<triangles> holds <{}>, expected <triangle>", child.name()));
        }
        let names = ["v1", "v2", "v3", "pid", "p1", "p2", "p3"];
        let [v1, v2, v3, pid, p1, p2, p3] =
            values::<u32, 7>(&child, names).map_err(|e| format!("triangle {at}: {e}"))?;
        let (Some(v1), Some(v2), Some(v3)) = (v1, v2, v3) else {
            return Err(format!("triangle {at} needs v1, v2 and v3"));
        };
        let points = mesh.points.len();
        if let Some(v) = [v1, v2, v3].into_iter().find(|&v| v as usize >= points) {
            return Err(format!("triangle {at} names vertex {v}, expected below {points}"));
        }
        if v1 == v2 || v2 == v3 || v3 == v1 {
            return Err(format!("triangle {at} names one vertex twice ({v1}, {v2}, {v3})"));
        }
        let property = property(pid, [p1, p2, p3]).map_err(|e| format!("triangle {at}: {e}"))?;
        mesh.triangles.push([v1, v2, v3]);
        mesh.properties.push(property);
        cursor.skip(&child)
    })
}

/// The one property of a triangle (core 4.1.4.1), if it has any.
fn property(group: Option<u32>, p: [Option<u32>; 3]) -> Result<Option<Property>, String> {
    let Some(p1) = p[0] else { return Ok(None) };
    if let [_, Some(p2), Some(p3)] = p
        && (p2, p3) != (p1, p1)
    {
        return Err(format!("its corners have the properties {p1}, {p2} and {p3}, expected one for all"));
    }
    Ok(Some(Property { group, index: p1 }))
}

/// The colour of each triangle: its own where it has a property, else the object's.
fn colours_of(
    properties: &[Option<Property>],
    default: Option<(u32, Srgb)>,
    groups: &Groups,
) -> Result<Vec<Option<Srgb>>, String> {
    let mut last = None;
    let colour = |(at, property): (usize, &Option<Property>)| match property {
        None => Ok(default.map(|(_, colour)| colour)),
        // Neighbours mostly have the same one.
        Some(property) => match last {
            Some((known, colour)) if known == *property => Ok(Some(colour)),
            _ => {
                let colour = property_colour(*property, default, groups).map_err(|e| format!("triangle {at}: {e}"))?;
                last = Some((*property, colour));
                Ok(Some(colour))
            }
        },
    };
    properties.iter().enumerate().map(colour).collect()
}

fn property_colour(property: Property, default: Option<(u32, Srgb)>, groups: &Groups) -> Result<Srgb, String> {
    let Some((default, _)) = default else {
        return Err("has a property, so its object must have a pid and a pindex".to_owned());
    };
    groups.colour(property.group.unwrap_or(default), property.index)
}

impl Groups {
    fn colour(&self, pid: u32, index: u32) -> Result<Srgb, String> {
        match self.0.get(&pid) {
            Some(Group::Colours(colours)) => colours.get(index as usize).copied().ok_or_else(|| {
                format!("property {index} of group {pid} does not exist, expected below {}", colours.len())
            }),
            Some(Group::Unread(kind)) => Err(format!("group {pid} is a <{kind}>, expected a group of colours")),
            None => Err(format!("property group {pid} is not defined before it")),
        }
    }
}

/// The numbers of an element by the names of their attributes, in one pass.
pub(in super::super) fn values<T: FromStr, const N: usize>(
    element: &Element<'_>,
    names: [&str; N],
) -> Result<[Option<T>; N], String> {
    let mut values = [const { None }; N];
    // Attributes given twice are noticed below, without the library's list of all names seen.
    for attribute in element.start.attributes().with_checks(false) {
        let attribute = attribute.map_err(|e| format!("damaged attribute: {e}"))?;
        if let Some(at) = names.iter().position(|name| *name == attribute.key.into_inner())
            && values[at].replace(number(names[at], &attribute.value)?).is_some()
        {
            return Err(format!("{} is given twice", names[at]));
        }
    }
    Ok(values)
}

fn number<T: FromStr>(name: impl Display, text: &str) -> Result<T, String> {
    text.trim().parse().map_err(|_| format!("{name} is '{text}', expected a number"))
}

fn optional(element: &Element<'_>, name: &str) -> Result<Option<u32>, String> {
    attribute(element, name)?
        .map(|text| number(name, &text).map_err(|e| format!("<{}>: {e}", element.name())))
        .transpose()
}

pub(in super::super) fn required(element: &Element<'_>, name: &str) -> Result<u32, String> {
    optional(element, name)?.ok_or_else(|| format!("<{}> has no {name}", element.name()))
}
