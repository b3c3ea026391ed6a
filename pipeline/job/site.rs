//! Where the settings of a stage, or of the model, stand in a job file.

use super::Text;
use super::settings::{holds, join};
use crate::diagnostic::Place;

/// Settings stand together below one path, `stages[2].hollow`; those that a variant changes stand elsewhere, in the
/// job's `variants`.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Site {
    at: String,
    moved: Vec<Moved>,
}

/// A setting that stands in the job's `variants`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Moved {
    /// Its path below the stage: `openings[0].width`.
    pub(crate) setting: String,
    /// The path of its key in the job file.
    pub(crate) key: String,
    /// The path of its value there.
    pub(crate) value: String,
}

impl Site {
    /// Settings that all stand below a path.
    pub(crate) fn at(path: impl Into<String>) -> Self {
        Self { at: path.into(), moved: Vec::new() }
    }

    /// The same settings, of which some stand elsewhere.
    pub(crate) fn with(self, moved: Vec<Moved>) -> Self {
        Self { moved, ..self }
    }

    /// Whether a variant changes any of them.
    pub(crate) fn is_changed(&self) -> bool {
        !self.moved.is_empty()
    }

    /// The path below which the settings stand that no variant changes: that of the stage itself.
    pub(crate) fn own(&self) -> &str {
        &self.at
    }

    /// Where the value of a setting stands, or what would hold it.
    pub(crate) fn place(&self, text: &Text, setting: &str) -> Place {
        match self.around(setting) {
            Some((moved, below)) => text.place(&join(&moved.value, below)),
            None => text.place(&join(&self.at, setting)),
        }
    }

    /// Where the key of a setting stands.
    pub(crate) fn key_place(&self, text: &Text, setting: &str) -> Place {
        match self.around(setting) {
            Some((moved, "")) => text.key_place(&moved.key),
            Some((moved, below)) => text.key_place(&join(&moved.value, below)),
            None => text.key_place(&join(&self.at, setting)),
        }
    }

    /// A change of the variant, to be shown beside a setting of the job itself that something is said of: it may be what
    /// does not agree with it.
    pub(crate) fn beside(&self, text: &Text, setting: &str) -> Option<Place> {
        let change = self.moved.first().filter(|_| self.around(setting).is_none());
        change.map(|moved| text.place(&moved.value))
    }

    /// The change that sets a setting, or what holds it, and the rest of the path.
    fn around<'a>(&self, setting: &'a str) -> Option<(&Moved, &'a str)> {
        self.moved.iter().find_map(|moved| {
            let is_it = moved.setting == setting || holds(&moved.setting, setting);
            is_it.then(|| (moved, setting[moved.setting.len()..].trim_start_matches('.')))
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn what_a_variant_changes_is_shown_where_the_variant_says_it() {
        let text = "stages:\n  - hollow: { wall: 1, openings: [{ width: 2 }] }\nvariants:\n  every:\n    hollow.openings[0].width: [3, 4]\n    hollow.hull: [{ a: 5 }]\n";
        let text = Text::parse("a.yaml", text.as_bytes().to_vec()).unwrap();
        let moved = |setting: &str, key: &str, value: &str| Moved {
            setting: setting.to_owned(),
            key: key.to_owned(),
            value: value.to_owned(),
        };
        let (width, hull) = ("variants.every.hollow.openings[0].width", "variants.every.hollow.hull");
        let site = Site::at("stages[0].hollow").with(vec![
            moved("openings[0].width", width, &format!("{width}[1]")),
            moved("hull", hull, &format!("{hull}[0]")),
        ]);
        assert_eq!(site.place(&text, "wall").text(), "1");
        assert_eq!(site.place(&text, "openings[0].width").text(), "4");
        assert_eq!(site.key_place(&text, "openings[0].width").text(), "hollow.openings[0].width");
        assert_eq!(site.place(&text, "hull.a").text(), "5");
        // What is said of several settings together is said once, of the job's own: the change is shown beside it.
        assert_eq!(site.place(&text, "").text(), "hollow");
        assert_eq!(site.beside(&text, "wall").unwrap().text(), "4");
        assert_eq!(site.beside(&text, "hull"), None);
        assert_eq!(Site::at("stages[0].hollow").key_place(&text, "wall").text(), "wall");
    }
}
