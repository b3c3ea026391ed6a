//! Puts the objects of the build in their places.

use glam::DAffine3;

use super::Model;
use super::document::{Content, Document, Mesh, Placed, Size};

/// The whole build as one mesh of `most` triangles at most.
pub(super) fn place(document: &Document, most: u64) -> Result<Model, String> {
    let total = document.items.iter().fold(Size::default(), |sum, item| sum.with(document.objects[&item.object].size));
    if total.triangles == 0 {
        return Err("the <build> is empty".to_owned());
    }
    if total.triangles > most {
        return Err(format!("the <build> holds {} triangles, expected {most} at most", total.triangles));
    }
    // Three points a triangle is a mesh that shares none; and an index must fit 32 bits.
    let most_points = most.saturating_mul(3).min(u64::from(u32::MAX));
    if total.points > most_points {
        return Err(format!("the <build> holds {} vertices, expected {most_points} at most", total.points));
    }
    let mut model = Model::default();
    for item in &document.items {
        add(&mut model, document, item, DAffine3::IDENTITY);
    }
    for point in &mut model.points {
        *point *= document.unit;
    }
    match model.points.iter().position(|p| !p.is_finite()) {
        Some(at) => Err(format!("vertex {at} of the <build> lies too far away for a finite number")),
        None => Ok(model),
    }
}

/// Adds one use of an object; the recursion is as deep as [`super::document::DEEPEST`] allows.
fn add(model: &mut Model, document: &Document, placed: &Placed, outer: DAffine3) {
    let transform = outer * placed.transform;
    match &document.objects[&placed.object].content {
        Content::Mesh(mesh) => add_mesh(model, mesh, transform),
        Content::Components(components) => {
            for component in components {
                add(model, document, component, transform);
            }
        }
    }
}

fn add_mesh(model: &mut Model, mesh: &Mesh, transform: DAffine3) {
    let first = model.points.len() as u32;
    if transform == DAffine3::IDENTITY {
        model.points.extend_from_slice(mesh.points());
    } else {
        model.points.extend(mesh.points().iter().map(|&p| transform.transform_point3(p)));
    }
    // A mirror turns a triangle's winding against its outside; turned back, outside stays outside.
    let mirrored = transform.matrix3.determinant() < 0.0;
    model.triangles.extend(mesh.triangles().iter().map(|&[a, b, c]| {
        let [b, c] = if mirrored { [c, b] } else { [b, c] };
        [first + a, first + b, first + c]
    }));
    model.colours.extend_from_slice(&mesh.colours);
}
