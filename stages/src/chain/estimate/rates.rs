//! A rate file: the price list of a bureau, as data that the user edits.

use std::fmt;

use rust_decimal::{Decimal, RoundingStrategy};
use serde::de::Error as _;
use serde::{Deserialize, Deserializer};

/// The largest rate file that is read, in bytes.
const LARGEST: usize = 64 * 1024;

/// The deepest nesting of brackets; a price list needs two.
const DEEPEST: usize = 16;

/// The price list of a bureau. What a list doesn't have costs nothing.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Rates {
    /// What the list is called in the summary.
    pub(super) name: String,
    /// What the prices rest on: an offer, a published list, or "invented for the demo".
    pub(super) basis: String,
    /// Until when or on what terms they hold, in words.
    #[serde(default)]
    pub(super) valid: Option<String>,
    /// In what money.
    pub(super) currency: Currency,
    /// What one copy costs to print.
    pub(super) print: Print,
    /// Quantity breaks, fewest copies first.
    #[serde(default)]
    pub(super) breaks: Vec<Break>,
    /// The least that printing and finishing of an order come to.
    #[serde(default)]
    pub(super) minimum_order: Amount,
    /// What can be done to a printed copy.
    #[serde(default)]
    pub(super) finishing: Vec<Finishing>,
    /// Shipping by weight.
    #[serde(default)]
    pub(super) shipping: Option<Shipping>,
    /// Tax on everything, in per cent.
    #[serde(default)]
    pub(super) tax: Amount,
    /// How long it takes.
    #[serde(default)]
    pub(super) lead_time: Option<LeadTime>,
}

/// What one copy costs to print: the sum of these.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub(super) struct Print {
    /// For each copy.
    pub(super) per_part: Amount,
    /// For each cm³ of printed material.
    pub(super) per_cm3_material: Amount,
    /// For each cm³ of the box around the piece.
    pub(super) per_cm3_box: Amount,
    /// For each cm² of outside surface.
    pub(super) per_cm2_surface: Amount,
}

/// A quantity break.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Break {
    /// From so many copies,
    pub(super) from: u32,
    /// so many per cent off the printing of all of them.
    pub(super) off: Amount,
}

/// Something that can be done to a printed copy.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Finishing {
    /// What it is.
    pub(super) name: String,
    /// For each copy.
    #[serde(default)]
    pub(super) per_part: Amount,
    /// For each cm² of outside surface.
    #[serde(default)]
    pub(super) per_cm2: Amount,
    /// Whether it is done unless the job names others.
    #[serde(default)]
    pub(super) usual: bool,
    /// Working days that it adds to an order.
    #[serde(default)]
    pub(super) days: u32,
}

/// Shipping by weight.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Shipping {
    /// What the wrapping of each copy weighs, in g.
    #[serde(default)]
    pub(super) packaging_g: Amount,
    /// What a parcel costs, lightest first.
    pub(super) steps: Vec<ShippingStep>,
}

/// What a parcel costs.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ShippingStep {
    /// A parcel of up to so many kg
    pub(super) up_to_kg: Amount,
    /// costs so much.
    pub(super) price: Amount,
}

/// How long an order takes, in working days.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct LeadTime {
    /// For the first copies.
    pub(super) days: u32,
    /// How many copies are made in a day: each further so many take one day more. Left out, their number doesn't matter.
    #[serde(default)]
    pub(super) copies_a_day: Option<u32>,
}

impl LeadTime {
    /// Working days for so many copies, without finishing.
    pub(super) fn of(&self, copies: u32) -> u32 {
        self.days + self.copies_a_day.map_or(0, |a_day| copies.div_ceil(a_day) - 1)
    }
}

/// A number of a price list: decimal as written, from 0 to ten million, with up to four digits behind the point. The
/// bounds keep every product in an invoice within the 28 digits that are exact.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Amount(pub(super) Decimal);

impl Amount {
    const MOST: Decimal = Decimal::from_parts(10_000_000, 0, 0, false, 0);
    const DIGITS: u32 = 4;

    fn read(text: &str) -> Result<Self, String> {
        let number = Decimal::from_str_exact(text.trim())
            .map_err(|_| format!("'{text}' is not a plain decimal number such as 12.50"))?
            .normalize();
        if number.is_sign_negative() && !number.is_zero() {
            Err(format!("must not be negative, but is {number}"))
        } else if number > Self::MOST {
            Err(format!("must not be above {}, but is {number}", Self::MOST))
        } else if number.scale() > Self::DIGITS {
            Err(format!("has more than {} digits behind the point: {number}", Self::DIGITS))
        } else {
            Ok(Self(number))
        }
    }
}

impl<'de> Deserialize<'de> for Amount {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        // As text, so that no binary float comes between the file and the number.
        struct Text;
        impl serde::de::Visitor<'_> for Text {
            type Value = Amount;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a decimal number such as 12.50")
            }

            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Amount, E> {
                Amount::read(text).map_err(E::custom)
            }
        }
        deserializer.deserialize_str(Text)
    }
}

/// A currency by its ISO 4217 code.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Currency {
    code: String,
}

impl Currency {
    /// The currencies whose minor unit is not a hundredth, with its decimal digits (ISO 4217, list one).
    const UNUSUAL: [(&str, u32); 23] = [
        ("BHD", 3),
        ("BIF", 0),
        ("CLP", 0),
        ("DJF", 0),
        ("GNF", 0),
        ("IQD", 3),
        ("ISK", 0),
        ("JOD", 3),
        ("JPY", 0),
        ("KMF", 0),
        ("KRW", 0),
        ("KWD", 3),
        ("LYD", 3),
        ("OMR", 3),
        ("PYG", 0),
        ("RWF", 0),
        ("TND", 3),
        ("UGX", 0),
        ("VND", 0),
        ("VUV", 0),
        ("XAF", 0),
        ("XOF", 0),
        ("XPF", 0),
    ];

    /// The ISO 4217 code.
    pub(super) fn code(&self) -> &str {
        &self.code
    }

    /// Decimal digits of the smallest unit.
    pub(super) fn digits(&self) -> u32 {
        Self::UNUSUAL.iter().find(|(code, _)| *code == self.code).map_or(2, |(_, digits)| *digits)
    }

    /// Rounds to the smallest unit, halves away from zero, as invoices do.
    pub(super) fn round(&self, amount: Decimal) -> Decimal {
        amount.round_dp_with_strategy(self.digits(), RoundingStrategy::MidpointAwayFromZero)
    }

    /// The amount with as many digits as the smallest unit has, and no sign before a zero.
    pub(super) fn text(&self, amount: Decimal) -> String {
        let rounded = self.round(amount);
        let signed = if rounded.is_zero() { Decimal::ZERO } else { rounded };
        format!("{signed:.*}", self.digits() as usize)
    }

    /// A rate with all its digits, and at least as many as the smallest unit has.
    pub(super) fn rate(&self, rate: Decimal) -> String {
        format!("{rate:.*}", self.digits().max(rate.scale()) as usize)
    }
}

impl<'de> Deserialize<'de> for Currency {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let code = String::deserialize(deserializer)?;
        if code.len() == 3 && code.bytes().all(|b| b.is_ascii_uppercase()) {
            Ok(Self { code })
        } else {
            Err(D::Error::custom(format!("'{code}' is not a currency code of ISO 4217 such as EUR, GBP or JPY")))
        }
    }
}

impl Rates {
    /// Reads a rate file and checks it.
    ///
    /// # Errors
    /// What is wrong, beginning with the field.
    pub(super) fn read(bytes: &[u8]) -> Result<Self, String> {
        if bytes.len() > LARGEST {
            return Err(format!("is larger than {LARGEST} bytes"));
        }
        let text = std::str::from_utf8(bytes).map_err(|e| format!("is not UTF-8 text (byte {})", e.valid_up_to()))?;
        if depth(text) > DEEPEST {
            return Err(format!("nests brackets deeper than {DEEPEST}"));
        }
        let rates: Self = serde_path_to_error::deserialize(serde_yaml::Deserializer::from_str(text)).map_err(|e| {
            let field = e.path().to_string();
            let message = e.into_inner().to_string();
            // Some of the parser's messages begin with the path, too.
            let message = match message.split_once(": ") {
                Some((path, rest)) if field.starts_with(path) => rest,
                _ => &message,
            };
            if field == "." { message.to_owned() } else { format!("{field}: {message}") }
        })?;
        rates.check()?;
        Ok(rates)
    }

    fn check(&self) -> Result<(), String> {
        self.check_breaks()?;
        self.check_finishing()?;
        if let Some(shipping) = &self.shipping {
            shipping.check()?;
        }
        if self.tax.0 > Decimal::ONE_HUNDRED {
            return Err(format!("tax: must be between 0 and 100 per cent, but is {}", self.tax.0));
        }
        if let Some(lead) = &self.lead_time {
            if lead.copies_a_day == Some(0) {
                return Err("lead_time.copies_a_day: must be at least 1".to_owned());
            }
            at_most_a_year("lead_time.days", lead.days)?;
        }
        Ok(())
    }

    fn check_breaks(&self) -> Result<(), String> {
        for (i, step) in self.breaks.iter().enumerate() {
            if step.off.0 > Decimal::ONE_HUNDRED {
                return Err(format!("breaks[{i}].off: must be between 0 and 100 per cent, but is {}", step.off.0));
            }
            if step.from < 2 {
                return Err(format!("breaks[{i}].from: must be at least 2 copies, but is {}", step.from));
            }
        }
        for (i, pair) in self.breaks.windows(2).enumerate() {
            if pair[0].from >= pair[1].from {
                return Err(format!("breaks[{}].from: must be more than the {} copies before it", i + 1, pair[0].from));
            }
            if pair[0].off > pair[1].off {
                return Err(format!("breaks[{}].off: must not be less than the {} % before it", i + 1, pair[0].off.0));
            }
        }
        Ok(())
    }

    fn check_finishing(&self) -> Result<(), String> {
        for (i, option) in self.finishing.iter().enumerate() {
            if option.name.trim().is_empty() {
                return Err(format!("finishing[{i}].name: must not be empty"));
            }
            if self.finishing[..i].iter().any(|other| other.name == option.name) {
                return Err(format!("finishing[{i}].name: '{}' stands there twice", option.name));
            }
            at_most_a_year(&format!("finishing[{i}].days"), option.days)?;
        }
        Ok(())
    }

    /// The per cent off the printing for so many copies.
    pub(super) fn off(&self, copies: u32) -> Decimal {
        self.breaks.iter().rev().find(|step| copies >= step.from).map_or(Decimal::ZERO, |step| step.off.0)
    }
}

impl Shipping {
    fn check(&self) -> Result<(), String> {
        let Some(first) = self.steps.first() else {
            return Err("shipping.steps: needs at least one step".to_owned());
        };
        if first.up_to_kg.0.is_zero() {
            return Err("shipping.steps[0].up_to_kg: must be above 0".to_owned());
        }
        for (i, pair) in self.steps.windows(2).enumerate() {
            if pair[0].up_to_kg >= pair[1].up_to_kg {
                let before = pair[0].up_to_kg.0;
                return Err(format!("shipping.steps[{}].up_to_kg: must be more than the {before} kg before it", i + 1));
            }
            if pair[0].price > pair[1].price {
                let before = pair[0].price.0;
                return Err(format!("shipping.steps[{}].price: must not be less than the {before} before it", i + 1));
            }
        }
        Ok(())
    }
}

fn at_most_a_year(field: &str, days: u32) -> Result<(), String> {
    if days <= 365 { Ok(()) } else { Err(format!("{field}: must not be above 365 working days, but is {days}")) }
}

/// How deep brackets are nested; those within words count, too.
fn depth(text: &str) -> usize {
    let mut open = 0usize;
    let mut deepest = 0;
    for byte in text.bytes() {
        match byte {
            b'[' | b'{' => open += 1,
            b']' | b'}' => open = open.saturating_sub(1),
            _ => {}
        }
        deepest = deepest.max(open);
    }
    deepest
}
