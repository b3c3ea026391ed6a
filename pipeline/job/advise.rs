//! What a job says about comparing sizes of the cell.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use turnhue_reports::amounts::{Amount, Share};
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

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde_json::{Value, from_value, json};

    use super::*;

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
