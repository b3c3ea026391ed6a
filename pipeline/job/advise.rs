//! What a job says about comparing sizes of the cell.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use turnhue_stages::Length;

/// Which sizes of `voxelise.cell` are compared, and what the recommended one must keep to. Everything may be left out.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields, default, expecting = "a map such as { from: 1 mm, to: 6 mm, budget: 250 EUR }")]
pub struct AdviseRequest {
    /// The smallest cell to try. Left out: the smallest that the process can hold, in a piece that is tried in seconds.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub from: Option<Length>,
    /// The largest cell to try. Left out: a twelfth of the piece's shortest side.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub to: Option<Length>,
    /// How many sizes to try, from 2 to 60.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 2, max = 60))]
    pub sizes: Option<u32>,
    /// The most that one copy may cost, such as 250 EUR.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub budget: Option<Amount>,
    /// The least volume that model and cubes must have in common, such as 85 %.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub likeness: Option<Share>,
}

/// A setting that makes no sense: its name, what is wrong, and what to do.
pub(crate) type Amiss = (&'static str, String, &'static str);

impl AdviseRequest {
    /// So many sizes are tried unless the job says otherwise.
    const USUAL: u32 = 12;
    const MOST: u32 = 60;

    /// How many sizes to try.
    #[must_use]
    pub fn count(&self) -> usize {
        self.sizes.unwrap_or(Self::USUAL) as usize
    }

    /// What the types alone cannot tell.
    pub(crate) fn check(&self) -> Result<(), Amiss> {
        for (name, length) in [("from", self.from), ("to", self.to)] {
            if let Some(length) = length.filter(|length| length.mm() <= 0.0) {
                return Err((
                    name,
                    format!("a cell must be larger than 0 mm, not {length}"),
                    "write from: 1 mm, to: 6 mm",
                ));
            }
        }
        if let (Some(from), Some(to)) = (self.from, self.to)
            && from.mm() >= to.mm()
        {
            let message = format!("the largest cell to try, {to}, is not larger than the smallest, {from}");
            return Err(("to", message, "write the smaller of the two after `from`"));
        }
        match self.sizes {
            Some(sizes) if !(2..=Self::MOST).contains(&sizes) => {
                let message = format!("from 2 to {} sizes can be compared, not {sizes}", Self::MOST);
                Err(("sizes", message, "leave it out for 12"))
            }
            _ => Ok(()),
        }
    }
}

/// An amount of money: a decimal number above 0, with or without the ISO 4217 code of its currency.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Amount {
    /// The amount.
    pub amount: Decimal,
    /// Its currency; left out, that of the price list.
    pub currency: Option<String>,
}

impl fmt::Display for Amount {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.amount)?;
        self.currency.as_ref().map_or(Ok(()), |currency| write!(f, " {currency}"))
    }
}

impl FromStr for Amount {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let wrong =
            || format!("'{text}' is not an amount of money; write a number, and its currency if you like: 250 EUR");
        let is_code = |word: &str| word.len() == 3 && word.bytes().all(|byte| byte.is_ascii_uppercase());
        let words: Vec<&str> = text.split_whitespace().collect();
        let (number, currency) = match words[..] {
            [number] => (number, None),
            [number, code] if is_code(code) => (number, Some(code)),
            [code, number] if is_code(code) => (number, Some(code)),
            _ => return Err(wrong()),
        };
        let amount = Decimal::from_str(number).map_err(|_| wrong())?;
        if amount <= Decimal::ZERO {
            return Err(format!("an amount to keep to must be above 0, not {text}"));
        }
        Ok(Self { amount, currency: currency.map(str::to_owned) })
    }
}

/// A share of a whole in per cent, above 0 and at most 100.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Share(f64);

impl Share {
    /// The share in per cent.
    #[must_use]
    pub const fn percent(self) -> f64 {
        self.0
    }
}

impl fmt::Display for Share {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} %", self.0)
    }
}

impl FromStr for Share {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let number = text.trim().trim_end_matches('%').trim_end();
        let percent: f64 =
            number.parse().map_err(|_| format!("'{text}' is not a share; write per cent, such as 85 %"))?;
        if percent > 0.0 && percent <= 100.0 {
            return Ok(Self(percent));
        }
        Err(format!("a share must be above 0 % and at most 100 %, not {text}"))
    }
}

/// Reads a number, or a text by [`FromStr`].
struct Written<T>(&'static str, std::marker::PhantomData<T>);

impl<T: FromStr<Err = String>> Visitor<'_> for Written<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0)
    }

    // A number has the digits with which it was written: at most 15 of them come back from an `f64` unchanged.
    fn visit_f64<E: de::Error>(self, number: f64) -> Result<T, E> {
        self.visit_str(&number.to_string())
    }

    fn visit_u64<E: de::Error>(self, number: u64) -> Result<T, E> {
        self.visit_str(&number.to_string())
    }

    fn visit_i64<E: de::Error>(self, number: i64) -> Result<T, E> {
        self.visit_str(&number.to_string())
    }

    fn visit_str<E: de::Error>(self, text: &str) -> Result<T, E> {
        text.parse().map_err(E::custom)
    }
}

/// Reading, writing and schema of a type that is a number or a text.
macro_rules! written {
    ($type:ident, $expected:literal, $description:literal, $pattern:literal) => {
        impl Serialize for $type {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                serializer.collect_str(self)
            }
        }

        impl<'de> Deserialize<'de> for $type {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                deserializer.deserialize_any(Written($expected, std::marker::PhantomData))
            }
        }

        impl JsonSchema for $type {
            fn schema_name() -> std::borrow::Cow<'static, str> {
                stringify!($type).into()
            }

            fn json_schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({
                    "description": $description,
                    "anyOf": [
                        { "type": "number", "exclusiveMinimum": 0 },
                        { "type": "string", "pattern": $pattern }
                    ]
                })
            }
        }
    };
}

written!(
    Amount,
    "an amount of money such as 250 EUR",
    "An amount of money: a decimal number, with or without an ISO 4217 code",
    "^\\s*([A-Z]{3}\\s+)?[0-9]+(\\.[0-9]+)?(\\s+[A-Z]{3})?\\s*$"
);
written!(Share, "a share such as 85 %", "A share in per cent, above 0 and at most 100", "^\\s*[0-9.]+\\s*%?\\s*$");

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde_json::{Value, from_value, json, to_value};

    use super::*;

    #[test]
    fn amounts_as_people_write_them() {
        for (written, kept) in [
            (json!("250 EUR"), "250 EUR"),
            (json!("EUR 249.50"), "249.50 EUR"),
            (json!(250), "250"),
            (json!(0.1), "0.1"),
            (json!("1234567890.05 CHF"), "1234567890.05 CHF"),
        ] {
            let amount: Amount = from_value(written).unwrap();
            assert_eq!(amount.to_string(), kept);
            assert_eq!(from_value::<Amount>(to_value(&amount).unwrap()).unwrap(), amount);
        }
        for wrong in
            [json!(""), json!("EUR"), json!("250 euro"), json!("250 EUR each"), json!(0), json!(-5), json!("1e999")]
        {
            assert!(from_value::<Amount>(wrong.clone()).is_err(), "{wrong}");
        }
    }

    #[test]
    fn shares_as_people_write_them() {
        for (written, percent) in
            [(json!("85 %"), 85.0), (json!("85%"), 85.0), (json!(99.5), 99.5), (json!(100), 100.0)]
        {
            let share: Share = from_value(written).unwrap();
            assert_eq!(share.percent(), percent);
            assert_eq!(from_value::<Share>(to_value(share).unwrap()).unwrap(), share);
        }
        for wrong in [json!("0 %"), json!(101), json!("-1 %"), json!("NaN"), json!("much"), json!(null), json!("%")] {
            assert!(from_value::<Share>(wrong.clone()).is_err(), "{wrong}");
        }
    }

    #[test]
    fn what_makes_no_sense_names_its_setting() {
        let amiss = |value: Value| from_value::<AdviseRequest>(value).unwrap().check().map_err(|(name, ..)| name);
        assert_eq!(amiss(json!({})), Ok(()));
        assert_eq!(amiss(json!({ "from": "1 mm", "to": "6 mm", "sizes": 2 })), Ok(()));
        for (value, name) in [
            (json!({ "from": "0 mm" }), "from"),
            (json!({ "to": -3 }), "to"),
            (json!({ "from": 3, "to": 3 }), "to"),
            (json!({ "sizes": 1 }), "sizes"),
            (json!({ "sizes": 61 }), "sizes"),
        ] {
            assert_eq!(amiss(value.clone()), Err(name), "{value}");
        }
    }
}
