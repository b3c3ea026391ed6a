//! Small stages that do what the tests need.

use std::fs;
use std::io;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use turnhue_stages::findings::{Fact, Finding, Unit};
use turnhue_stages::solid::{Cells, Grid};
use turnhue_stages::stage::{AnyStage, Halt, Misfit, Shop, Stage, erase};
use turnhue_stages::workpiece::{OrderedFile, Part, Workpiece};
use turnhue_stages::{Length, Side};

/// All of them.
pub(crate) fn all() -> Vec<Box<dyn AnyStage>> {
    vec![
        erase::<Stretch>(),
        erase::<Blocks>(),
        erase::<Bore>(),
        erase::<Price>(),
        erase::<Pack>(),
        erase::<Validate>(),
        erase::<Mishap>(),
        erase::<Vow>(),
    ]
}

/// Takes exactly one of its settings.
pub(crate) struct Stretch;

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum StretchSettings {
    /// To this height.
    Height(Length),
    /// By this factor.
    Factor(f64),
}

impl Stage for Stretch {
    type Settings = StretchSettings;
    const NAME: &'static str = "stretch";
    const PURPOSE: &'static str = "Stretches the model";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[Part::Surface];
    const GIVES: &'static [Part] = &[Part::Surface];

    fn run(_: &StretchSettings, piece: Workpiece, _: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        Ok(piece)
    }
}

/// Gives cells.
pub(crate) struct Blocks;

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct BlocksSettings {
    /// Edge of a block.
    pub(crate) size: Length,
}

impl Default for BlocksSettings {
    fn default() -> Self {
        Self { size: Length::from_mm(3.0) }
    }
}

impl Stage for Blocks {
    type Settings = BlocksSettings;
    const NAME: &'static str = "blocks";
    const PURPOSE: &'static str = "Makes one block";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[Part::Surface];
    const GIVES: &'static [Part] = &[Part::Cells];

    fn check(settings: &BlocksSettings, _: &Shop<'_>) -> Result<(), Misfit> {
        if settings.size.mm() > 0.0 {
            return Ok(());
        }
        Err(Misfit::new("size", format!("a block of {} has no size", settings.size), "ask for more than 0 mm"))
    }

    fn run(settings: &BlocksSettings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let grid = Grid { origin: glam::DVec3::ZERO, cell: settings.size.mm(), counts: glam::IVec3::ONE };
        shop.fact(Fact::whole("blocks", 1, Unit::Cells));
        Ok(piece.with_cells(Cells::from_fn(grid, |_| true)))
    }
}

/// Needs cells, checks nested settings.
pub(crate) struct Bore;

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct BoreSettings {
    /// What stays around the bore.
    pub(crate) wall: Length,
    /// Where it comes out.
    #[serde(default)]
    pub(crate) mouths: Vec<Mouth>,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Mouth {
    /// On which side.
    pub(crate) side: Side,
    /// How wide.
    pub(crate) width: Length,
}

impl Stage for Bore {
    type Settings = BoreSettings;
    const NAME: &'static str = "bore";
    const PURPOSE: &'static str = "Bores a hole";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[Part::Cells];
    const GIVES: &'static [Part] = &[];

    fn run(settings: &BoreSettings, piece: Workpiece, _: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        if settings.wall.mm() > 10.0 {
            let message = format!("a wall of {} is thicker than the piece", settings.wall);
            return Err(Misfit::new("wall", message, "ask for at most 10 mm").into());
        }
        Ok(piece)
    }
}

/// Reads a file that its settings name.
pub(crate) struct Price;

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct PriceSettings {
    /// The price list.
    pub(crate) rates: String,
}

impl Stage for Price {
    type Settings = PriceSettings;
    const NAME: &'static str = "price";
    const PURPOSE: &'static str = "Says what it costs";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[];
    const GIVES: &'static [Part] = &[];

    fn files(settings: &PriceSettings) -> Vec<String> {
        vec![settings.rates.clone()]
    }

    fn run(settings: &PriceSettings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        shop.fact(Fact::whole("rates", shop.file(&settings.rates).len(), Unit::Bytes));
        Ok(piece)
    }
}

/// Writes the file to order.
pub(crate) struct Pack;

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct NoSettings {}

impl Stage for Pack {
    type Settings = NoSettings;
    const NAME: &'static str = "pack";
    const PURPOSE: &'static str = "Writes the file to order";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[Part::Cells];
    const GIVES: &'static [Part] = &[Part::Order];

    fn run(_: &NoSettings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let path = shop.artefact("piece.txt", "the piece", |out| out.write_all(b"abc"))?;
        Ok(piece.with_order(OrderedFile { name: "piece.txt".to_owned(), path }))
    }
}

/// Reads the ordered file back.
pub(crate) struct Validate;

#[derive(Default, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default)]
pub(crate) struct ValidateSettings {
    /// Find a fault.
    pub(crate) strict: bool,
}

impl Stage for Validate {
    type Settings = ValidateSettings;
    const NAME: &'static str = "validate";
    const PURPOSE: &'static str = "Measures the ordered file";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[Part::Order];
    const GIVES: &'static [Part] = &[];

    fn run(settings: &ValidateSettings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        let order = piece.order().expect("the plan saw to it");
        let bytes = fs::read(&order.path).map_err(|error| Halt::Shelf { name: order.name.clone(), error })?;
        shop.fact(Fact::whole("length", bytes.len(), Unit::Bytes));
        if settings.strict {
            shop.finding(Finding::fault("too-plain", "The piece is too plain.", "Raise `blocks.size`."));
        }
        Ok(piece)
    }
}

/// Fails in the way that is asked for.
pub(crate) struct Mishap;

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct MishapSettings {
    /// In which way.
    pub(crate) kind: Kind,
}

#[derive(Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Kind {
    Panic,
    Disk,
    Stop,
    Wait,
    Squat,
    Parcel,
}

impl Stage for Mishap {
    type Settings = MishapSettings;
    const NAME: &'static str = "mishap";
    const PURPOSE: &'static str = "Fails";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[];
    const GIVES: &'static [Part] = &[];

    fn run(settings: &MishapSettings, piece: Workpiece, shop: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        match settings.kind {
            Kind::Panic => panic!("a defect, made for a test"),
            Kind::Disk => {
                shop.artefact("half.txt", "half a file", |out| {
                    out.write_all(b"half")?;
                    Err(io::Error::new(io::ErrorKind::StorageFull, "the disk is full"))
                })?;
            }
            Kind::Stop => return Err(Halt::Cancelled),
            Kind::Squat => {
                shop.artefact("summary.html", "a page of its own", |out| out.write_all(b"half"))?;
            }
            Kind::Parcel => {
                shop.artefact("order.zip", "a parcel of its own", |out| out.write_all(b"half"))?;
            }
            // Until somebody asks it to stop; an hour at most.
            Kind::Wait => {
                shop.artefact("half.txt", "half a file", |out| out.write_all(b"half"))?;
                for _ in 0..360_000 {
                    shop.go_on()?;
                    std::thread::sleep(std::time::Duration::from_millis(10));
                }
            }
        }
        Ok(piece)
    }
}

/// Promises paint and does not give it.
pub(crate) struct Vow;

impl Stage for Vow {
    type Settings = NoSettings;
    const NAME: &'static str = "vow";
    const PURPOSE: &'static str = "Promises paint";
    const VERSION: u32 = 1;
    const NEEDS: &'static [Part] = &[];
    const GIVES: &'static [Part] = &[Part::Paint];

    fn run(_: &NoSettings, piece: Workpiece, _: &mut Shop<'_>) -> Result<Workpiece, Halt> {
        Ok(piece)
    }
}
