//! Facts and findings.

use glam::IVec3;

use super::Plan;
use super::building::Building;
use super::inks::Inks;
use super::list::{Kind, List};
use super::settings::{Settings, Way};
use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::Sight;
use crate::solid::Cells;
use crate::stage::Shop;

/// More work than this, in hours, is worth a word: a working week.
const MUCH: f64 = 40.0;
/// Cubes smaller than this, in mm, are set with tweezers (common practice, no source).
const SMALL: f64 = 5.0;
/// Places that a finding names at most.
const PLACES: usize = 20;

/// Says what is needed, and what is in the way.
pub(super) fn say(
    building: &Building,
    inks: &Inks,
    list: &List,
    plan: &Plan,
    settings: &Settings,
    shop: &mut Shop<'_>,
) {
    facts(building, inks, list, plan, shop);
    let findings = [
        (many_colours(inks), None),
        (loose(building), None),
        (hangs(building), Some(&building.hanging)),
        (shaft(building, list), Some(&building.shafts)),
        (small(list, settings), None),
        (long(list, settings), None),
    ];
    for (finding, cells) in findings {
        let sight = || cells.map_or_else(Sight::default, |cells| Sight::of_cells(cells.grid(), cells.iter()));
        finding.into_iter().for_each(|finding| shop.finding_seen(finding, sight));
    }
}

fn facts(building: &Building, inks: &Inks, list: &List, plan: &Plan, shop: &mut Shop<'_>) {
    let size = building.counts.as_dvec3() * list.edge;
    shop.fact(Fact::triple("size by hand", size, Unit::Mm));
    shop.fact(Fact::number("edge of a cube", list.edge, Unit::Mm));
    shop.fact(Fact::whole("cubes by hand", list.cubes, Unit::Cells));
    shop.fact(Fact::whole("cubes that do not show", list.kinds[Kind::None as usize], Unit::Cells));
    shop.fact(Fact::whole("cubes left out", list.left_out, Unit::Cells));
    shop.fact(Fact::whole("cells kept open for shafts", list.open, Unit::Cells));
    shop.fact(Fact::whole("cubes that hang from above", building.hanging.count(), Unit::Cells));
    shop.fact(Fact::whole("cubes to buy", list.to_buy, Unit::Cells));
    if let Some(weight) = list.weight {
        shop.fact(Fact::number("weight by hand", weight, Unit::Gram));
    }
    shop.fact(Fact::whole("faces to paint", list.faces, Unit::Faces));
    shop.fact(Fact::number("area to paint", list.area(list.faces), Unit::Cm2));
    shop.fact(Fact::number("paint", list.paint.iter().sum(), Unit::Millilitre));
    shop.fact(Fact::whole("joints between cubes", list.joints, Unit::Count));
    shop.fact(Fact::number("glue", list.glue, Unit::Millilitre));
    shop.fact(Fact::number("hours to build", list.hours[0], Unit::Hours));
    shop.fact(Fact::number("hours to paint", list.hours[1], Unit::Hours));
    shop.fact(Fact::whole("colours to paint with", inks.all.len(), Unit::Count));
    if let Some(loss) = inks.loss {
        shop.fact(Fact::number("mean ΔE00 of colours put together", loss.mean, Unit::One));
        shop.fact(Fact::number("largest ΔE00 of colours put together", loss.most, Unit::One));
    }
    shop.fact(Fact::whole("pages", plan.pages(), Unit::Count));
    shop.fact(Fact::number("edge of a cube on paper", plan.cut.square, Unit::Mm));
    let columns =
        ["letter", "colour", "right", "left", "back", "front", "top", "bottom", "faces", "area, cm²", "paint, ml"];
    let row = |(ink, paint): (&super::inks::Ink, &f64)| {
        let mut row = vec![ink.letter.clone(), ink.colour.to_string()];
        row.extend(ink.faces.0.iter().map(ToString::to_string));
        row.extend([ink.total().to_string(), format!("{:.2}", list.area(ink.total())), format!("{paint:.2}")]);
        row
    };
    shop.fact(Fact::table("faces by colour", &columns, inks.all.iter().zip(&list.paint).map(row).collect()));
    let row = |kind: Kind| vec![kind.words().to_owned(), list.kinds[kind as usize].to_string()];
    shop.fact(Fact::table("cubes by what shows", &["what shows", "cubes"], Kind::ALL.map(row).into()));
}

fn many_colours(inks: &Inks) -> Option<Finding> {
    let loss = inks.loss?;
    Some(Finding::caution(
        "colours-put-together",
        format!(
            "the piece has {} colours, more than can be mixed by hand; they were put together to {}, which moves a face by \
             ΔE00 {:.1} in the mean and {:.1} at most",
            loss.before,
            inks.all.len(),
            loss.mean,
            loss.most
        ),
        "set `handbuild.colours` for more or fewer, up to 60, or give sides a colour rather than a picture",
    ))
}

/// Places of the first few cubes.
fn places(cells: &Cells) -> impl Iterator<Item = Place> {
    cells.iter().take(PLACES).map(|cell| place(cells, cell))
}

fn place(cells: &Cells, cell: IVec3) -> Place {
    Place { mm: cells.grid().centre(cell).to_array(), cell: Some(cell.to_array()) }
}

fn loose(building: &Building) -> Option<Finding> {
    let parts = building.parts();
    (parts.len() > 1).then(|| {
        Finding::caution(
            "loose-by-hand",
            format!(
                "the cubes come in {} parts that no face joins: there is nothing to glue between them",
                parts.len()
            ),
            "set `repair.islands` to bridge or largest, or wire the parts together",
        )
        .at((0..parts.len()).take(PLACES).map(|part| place(&building.built, parts.first_cell(part))))
    })
}

fn hangs(building: &Building) -> Option<Finding> {
    let count = building.hanging.count();
    (count > 0).then(|| {
        Finding::note(
            "hangs-from-above",
            format!("{count} cubes hang from the layers above them: when their layer is built, nothing carries them"),
            "prop them with loose cubes, or set them together with the layer that carries them; they have a thick edge on \
             the sheets",
        )
        .at(places(&building.hanging))
    })
}

fn shaft(building: &Building, list: &List) -> Option<Finding> {
    (list.open > 0).then(|| {
        Finding::note(
            "shaft-stays-open",
            format!("{} cells stay without a cube, for the shaft of an opening; its walls are not painted", list.open),
            "take `hollow` out for a piece without a shaft",
        )
        .at(places(&building.shafts).take(1))
    })
}

fn small(list: &List, settings: &Settings) -> Option<Finding> {
    (settings.way == Way::Cubes && list.edge < SMALL).then(|| {
        Finding::note(
            "small-cubes",
            format!("cubes of {} mm are set with tweezers, and hard to buy", super::layer::short(list.edge)),
            "set `handbuild.cube` to build the same piece larger, such as 10 mm",
        )
    })
}

fn long(list: &List, settings: &Settings) -> Option<Finding> {
    let hours = list.all_hours();
    (hours > MUCH).then(|| {
        let leave_out = if list.left_out == 0 && settings.way == Way::Cubes {
            ", or `handbuild.hidden: leave-out` for fewer cubes"
        } else {
            ""
        };
        Finding::note(
            "much-by-hand",
            format!("it takes some {hours:.0} hours by hand, without breaks and drying"),
            format!("set a larger `voxelise.cell`: twice as large, it is an eighth of the cubes{leave_out}"),
        )
    })
}
