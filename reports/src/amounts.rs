//! What a figure is held against, as people write it: an amount of money, a share, a weight.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::de::{self, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

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

/// A weight in grams, above 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weight(f64);

impl Weight {
    /// The weight in grams.
    #[must_use]
    pub const fn grams(self) -> f64 {
        self.0
    }
}

impl fmt::Display for Weight {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} g", self.0)
    }
}

impl FromStr for Weight {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let (number, grams) = match (text.strip_suffix("kg"), text.strip_suffix('g')) {
            (Some(number), _) => (number, 1000.0),
            (_, Some(number)) => (number, 1.0),
            _ => (text, 1.0),
        };
        let wrong = || format!("'{text}' is not a weight; write a number with its unit, g or kg, such as 400 g");
        let number: f64 = number.trim_end().parse().map_err(|_| wrong())?;
        let weight = number * grams;
        if weight > 0.0 && weight.is_finite() {
            return Ok(Self(weight));
        }
        Err(format!("a weight to keep to must be above 0 g, not {text}"))
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
written!(
    Weight,
    "a weight such as 400 g",
    "A weight with its unit, g or kg; a bare number is in g",
    "^\\s*[0-9]+(\\.[0-9]+)?\\s*(g|kg)?\\s*$"
);

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde_json::{from_value, json, to_value};

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
    fn weights_as_people_write_them() {
        for (written, grams) in
            [(json!("400 g"), 400.0), (json!("1.2 kg"), 1200.0), (json!(12), 12.0), (json!("5g"), 5.0)]
        {
            let weight: Weight = from_value(written).unwrap();
            assert!((weight.grams() - grams).abs() < 1e-9);
            assert_eq!(from_value::<Weight>(to_value(weight).unwrap()).unwrap(), weight);
        }
        for wrong in [json!("0 g"), json!(-1), json!("4 lb"), json!("g"), json!("inf g"), json!("NaN"), json!("1e999")]
        {
            assert!(from_value::<Weight>(wrong.clone()).is_err(), "{wrong}");
        }
    }
}
