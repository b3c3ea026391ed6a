//! Says what of the model did not convert, and shows where.

use glam::DVec3;

use super::sourceless::{Sourceless, sourceless};
use super::unconverted::{Missed, Piece, any_within, patch_of};
use super::{MOST_LISTED, Thin, counted, percent};
use crate::Length;
use crate::Side;
use crate::findings::{Fact, Finding, Place, Unit};
use crate::marked::Sight;
use crate::solid::{Cells, Surface};
use crate::stage::{Halt, Shop};

/// Places of a kind whose pictures show all of the patch, which has to be gathered; the largest come first.
const MOST_PATCHED: usize = 4;

/// Cubes without source that hang together and are fewer are told in one line: mending a contact adds such.
const FEW: usize = 4;

/// What is compared: the source surface, and the cells before and after the repair.
pub(super) struct Report<'a> {
    pub surface: &'a Surface,
    pub before: &'a Cells,
    pub after: &'a Cells,
    /// In mm.
    pub tolerance: f64,
    pub thin: Thin,
}

impl Report<'_> {
    /// Says which parts of the surface no cube stands for, and which cubes no surface is near.
    pub(super) fn tell(&self, missed: &[Missed], shop: &mut Shop<'_>) -> Result<(), Halt> {
        self.tell_missed(missed, shop)?;
        shop.go_on()?;
        self.tell_sourceless(shop)
    }

    fn tell_missed(&self, missed: &[Missed], shop: &mut Shop<'_>) -> Result<(), Halt> {
        let area: f64 = missed.iter().map(|part| part.area).sum();
        shop.fact(Fact::number("conversion tolerance", self.tolerance, Unit::Mm));
        shop.fact(Fact::number("surface not converted", area, Unit::Mm2));
        let share = percent(area, self.surface.area());
        shop.fact(Fact::number("share of the surface not converted", share, Unit::Percent));
        shop.fact(Fact::whole("places not converted", missed.len(), Unit::Count));
        let Some(bounds) = self.surface.bounds() else { return Ok(()) };

        // What is smaller than one cube face would hardly show if it were there.
        let shows = missed.iter().take_while(|part| part.area >= self.before.grid().cell.powi(2)).count();
        let listed = shows.min(MOST_LISTED);
        for (number, part) in missed[..listed].iter().enumerate() {
            let finding = self.about_missed(part, side_of(part.place, bounds));
            let patch = if number < MOST_PATCHED && !shop.draft() {
                patch_of(part, self.surface, self.after, self.tolerance, || shop.go_on())?
            } else {
                Vec::new()
            };
            shop.finding_seen(finding, || {
                let from = seen_from(&patch, part.place, bounds);
                Sight::of_triangles(patch).from(from)
            });
        }
        for (rest, what) in
            [(&missed[listed..shows], "more places"), (&missed[shows..], "places smaller than a cube face")]
        {
            if !rest.is_empty() {
                let area: f64 = rest.iter().map(|part| part.area).sum();
                let message =
                    format!("{what} without cubes within {}: {}, {area:.1} mm² together", self.limit(), rest.len());
                let places = rest.iter().take(MOST_LISTED).map(|part| Place::at(part.place));
                shop.finding(Finding::note("not-converted-besides", message, self.remedy()).at(places));
            }
        }
        Ok(())
    }

    fn tell_sourceless(&self, shop: &mut Shop<'_>) -> Result<(), Halt> {
        // Without any surface there is nothing to compare with.
        let Some(bounds) = self.surface.bounds() else { return Ok(()) };
        let found = sourceless(self.surface, self.after, self.tolerance, shop)?;
        let cells_of = |places: &[Sourceless]| places.iter().map(|place| place.cells.len()).sum();
        shop.fact(Fact::whole("cubes without source", cells_of(&found), Unit::Cells));
        let area: f64 = found.iter().map(|place| place.area).sum();
        shop.fact(Fact::number("outside without source", area, Unit::Mm2));
        shop.fact(Fact::whole("places without source", found.len(), Unit::Count));

        let (large, small): (Vec<_>, Vec<_>) = found.into_iter().partition(|place| place.cells.len() >= FEW);
        let listed = large.len().min(MOST_LISTED);
        for place in &large[..listed] {
            let middle = self.after.grid().centre(place.place);
            let finding = self.about_sourceless(place, side_of(middle, bounds));
            shop.finding_seen(finding, || {
                let patch = place.patch(self.after);
                let from = seen_from(&patch, middle, bounds);
                Sight::of_triangles(patch).from(from)
            });
        }
        for (rest, what) in [(&large[listed..], "more places"), (&small[..], "places of a few cubes")] {
            if !rest.is_empty() {
                let message = format!(
                    "{what} with cubes that the model's surface is nowhere within {} of: {}, {} together",
                    self.limit(),
                    rest.len(),
                    counted(cells_of(rest), "cube"),
                );
                let places = rest.iter().take(MOST_LISTED).map(|place| self.place(place));
                shop.finding(Finding::note("no-source-besides", message, SOURCELESS_REMEDY).at(places));
            }
        }
        Ok(())
    }

    fn about_sourceless(&self, place: &Sourceless, side: Side) -> Finding {
        let DVec3 { x, y, z } = self.after.grid().centre(place.place);
        let size = place.high - place.low;
        let message = format!(
            "{} near ({x:.1}, {y:.1}, {z:.1}) mm on the {side} side, {:.1} × {:.1} × {:.1} mm in extent with {:.1} mm² to \
             the outside, have no surface of the model within {}: a hole was closed there, or cells were added",
            counted(place.cells.len(), "cube"),
            size.x,
            size.y,
            size.z,
            place.area,
            self.limit(),
        );
        Finding::caution("no-source", message, SOURCELESS_REMEDY).at([self.place(place)])
    }

    /// The tolerance as messages have it.
    fn limit(&self) -> Length {
        Length::from_mm(self.tolerance).rounded()
    }

    fn place(&self, place: &Sourceless) -> Place {
        Place { mm: self.after.grid().centre(place.place).to_array(), cell: Some(place.place.to_array()) }
    }

    fn about_missed(&self, part: &Missed, side: Side) -> Finding {
        let DVec3 { x, y, z } = part.place;
        let size = part.high - part.low;
        let why = if any_within(self.before, part.place, self.tolerance) {
            "its cubes were taken away as an island, or to mend a contact"
        } else {
            "the model is thinner or sharper there than the cells can follow"
        };
        let message = format!(
            "{:.1} mm² of the model's surface near ({x:.1}, {y:.1}, {z:.1}) mm on the {side} side, {:.1} × {:.1} × {:.1} \
             mm in extent, has no cube within {}: {why}; the piece is without this part",
            part.area,
            size.x,
            size.y,
            size.z,
            self.limit(),
        );
        let finding = if self.thin == Thin::Refuse { Finding::fault } else { Finding::caution };
        finding("not-converted", message, self.remedy()).at([Place::at(part.place)])
    }

    fn remedy(&self) -> &'static str {
        match self.thin {
            Thin::Leave => {
                "set `repair.thin: thicken`, make `voxelise.cell` smaller, thicken the model there, or accept that the \
                 piece is without this part"
            }
            Thin::Thicken => "make `voxelise.cell` smaller, or thicken the model there",
            Thin::Refuse => {
                "set `repair.thin: thicken`, make `voxelise.cell` smaller, or thicken the model there; set \
                 `repair.thin: leave` to accept that the piece is without this part"
            }
        }
    }
}

const SOURCELESS_REMEDY: &str =
    "look at the pictures; where the form is not what you meant, close the hole in the model or join its parts there";

/// The side of the model that a place is nearest to, measured from the middle in half sizes.
fn side_of(place: DVec3, bounds: [DVec3; 2]) -> Side {
    let off = off_middle(place, bounds);
    let axis = (1..3).fold(0, |most, axis| if off[axis].abs() > off[most].abs() { axis } else { most });
    Side::along(axis, off[axis] >= 0.0)
}

/// The side from which a patch is drawn: the one that its place is nearest to, unless it shows less than half of what it
/// shows along another axis, as a fin that sticks out does.
fn seen_from(patch: &[Piece], place: DVec3, bounds: [DVec3; 2]) -> Side {
    let nearest = side_of(place, bounds);
    let shown: DVec3 = patch.iter().map(|[a, b, c]| (*b - *a).cross(*c - *a).abs()).sum();
    if 2.0 * shown[nearest.axis()] >= shown.max_element() {
        return nearest;
    }
    let axis = (1..3).fold(0, |most, axis| if shown[axis] > shown[most] { axis } else { most });
    Side::along(axis, off_middle(place, bounds)[axis] >= 0.0)
}

/// How far a place lies from the middle, in half sizes.
fn off_middle(place: DVec3, [low, high]: [DVec3; 2]) -> DVec3 {
    let half = (high - low) / 2.0;
    (place - low.midpoint(high)) / half.max(DVec3::splat(f64::MIN_POSITIVE))
}
