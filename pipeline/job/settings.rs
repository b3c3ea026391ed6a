//! Reading values of a [`Text`] into types, with every unknown key shown, not only the first.

use serde::de::DeserializeOwned;
use serde_json::Value;
use turnhue_stages::stage::Misfit;

use super::{Site, Text};
use crate::diagnostic::{Diagnostic, Place, listed, nearest};

/// So many faults of one value are worth listing.
pub(crate) const MOST_FAULTS: usize = 20;

/// Reads the value whose parts stand at `site` with `read`, and adds every fault with its place: a type stops at the
/// first, so what is at fault is taken out and the rest read again. Gives nothing if there was a fault.
pub(crate) fn read_with<T>(
    text: &Text,
    site: &Site,
    mut value: Value,
    faults: &mut Vec<Diagnostic>,
    read: impl Fn(Value) -> Result<T, Misfit>,
) -> Option<T> {
    // What is at fault, or may have been meant by what is: its absence is not one more fault.
    let mut taken: Vec<String> = Vec::new();
    for _ in 0..MOST_FAULTS {
        let misfit = match read(value.clone()) {
            Ok(done) => return taken.is_empty().then_some(done),
            Err(misfit) => misfit,
        };
        let path = misfit.setting.clone();
        if let Some(unknown) = Unknown::field(&misfit.message)
            && let Some(around) = take_unknown(&mut value, &path, &unknown.name)
        {
            faults.push(unknown.fault(site.key_place(text, &join(&around, &unknown.name))));
            taken.extend(unknown.meant().map(|name| join(&around, name)));
            taken.push(join(&around, &unknown.name));
            continue;
        }
        let missing = missing_field(&misfit.message).map(|name| join(&path, name));
        let follows = match &missing {
            Some(missing) => taken.contains(missing),
            // What a type says as a whole may be due to what was taken out of it.
            None => taken.iter().any(|taken| holds(&path, taken)),
        };
        if !follows {
            faults.push(at_setting(text, site, misfit));
        }
        taken.push(take_nearest(&mut value, &path)?);
    }
    None
}

/// Whether the value at `path` holds that at `below`.
pub(crate) fn holds(path: &str, below: &str) -> bool {
    path.is_empty() || below.strip_prefix(path).is_some_and(|rest| rest.starts_with(['.', '[']))
}

fn missing_field(message: &str) -> Option<&str> {
    message.strip_prefix("missing field `")?.strip_suffix('`')
}

/// Reads the value at `at` into a type.
pub(crate) fn read<T: DeserializeOwned>(
    text: &Text,
    at: &str,
    value: Value,
    faults: &mut Vec<Diagnostic>,
) -> Option<T> {
    read_at(text, &Site::at(at), value, faults)
}

/// As [`read`], where parts of the value may stand elsewhere.
pub(crate) fn read_at<T: DeserializeOwned>(
    text: &Text,
    site: &Site,
    value: Value,
    faults: &mut Vec<Diagnostic>,
) -> Option<T> {
    read_with(text, site, value, faults, |value| {
        serde_path_to_error::deserialize(value).map_err(|error| {
            let path = error.path().to_string();
            Misfit::new(if path == "." { String::new() } else { path }, error.into_inner().to_string(), "")
        })
    })
}

/// Attaches the place of a setting at `site` to what a stage or a type says about it.
pub(crate) fn at_setting(text: &Text, site: &Site, misfit: Misfit) -> Diagnostic {
    let path = &misfit.setting;
    let is_missing = missing_field(&misfit.message).is_some();
    let place = if is_missing { site.key_place(text, path) } else { site.place(text, path) };
    if let Some(unknown) = Unknown::variant(&misfit.message) {
        // The name of a choice that takes a value is a key: `height` in `scale: { height: 18 cm }`.
        let key = site.key_place(text, &join(path, &unknown.name));
        let place = if key.text().ends_with(&unknown.name) { key } else { place };
        return Diagnostic::error(format!("`{}` is not known here", unknown.name))
            .at(place)
            .label("unknown")
            .remedy(unknown.remedy());
    }
    let message = match misfit.message.as_str() {
        "invalid value: map, expected map with a single key" => "exactly one setting must be given".to_owned(),
        _ => misfit.message,
    };
    let remedy = match missing_field(&message) {
        Some("units") => "add `units: mm`, or cm, m, in, ft, um: an STL file does not say its unit".to_owned(),
        _ => misfit.remedy,
    };
    let beside = site.beside(text, path);
    let fault = Diagnostic::error(message).at(place).label(misfit.setting).remedy(remedy);
    match beside {
        Some(change) => fault.related(change, "with this, in a variant"),
        None => fault,
    }
}

/// A path and what lies below it.
pub(crate) fn join(at: &str, below: &str) -> String {
    let dot = if at.is_empty() || below.is_empty() || below.starts_with('[') { "" } else { "." };
    format!("{at}{dot}{below}")
}

/// A name that a type does not know, and the names that it does.
struct Unknown {
    name: String,
    known: Vec<String>,
}

impl Unknown {
    /// Reads serde's own message: "unknown field `wal`, expected `wall` or `side`".
    fn field(message: &str) -> Option<Self> {
        Self::after("unknown field `", message)
    }

    fn variant(message: &str) -> Option<Self> {
        Self::after("unknown variant `", message)
    }

    fn after(opening: &str, message: &str) -> Option<Self> {
        let rest = message.strip_prefix(opening)?;
        let (name, rest) = rest.rsplit_once("`, expected ").or_else(|| rest.rsplit_once("`, there are no "))?;
        let known = rest.split('`').skip(1).step_by(2).map(str::to_owned).collect();
        Some(Self { name: name.to_owned(), known })
    }

    fn meant(&self) -> Option<&str> {
        nearest(&self.name, self.known.iter().map(String::as_str))
    }

    fn remedy(&self) -> String {
        match self.meant() {
            Some(name) => format!("is `{name}` meant?"),
            None if self.known.is_empty() => "leave it out: nothing can be set here".to_owned(),
            None => format!("known here: {}", listed(self.known.iter().map(String::as_str))),
        }
    }

    fn fault(&self, key: Place) -> Diagnostic {
        Diagnostic::error(format!("the key `{}` is not known", self.name))
            .at(key)
            .label("unknown key")
            .remedy(self.remedy())
    }
}

/// Takes the key `name` out of the map that the path of an error points at or into; gives the path of that map.
fn take_unknown(value: &mut Value, path: &str, name: &str) -> Option<String> {
    // Whether the path of an unknown key names the key or the map around it is for the deserializer to decide.
    let around = path.strip_suffix(name).map(|path| path.strip_suffix('.').unwrap_or(path));
    [Some(path), around].into_iter().flatten().find(|path| take(value, path, name)).map(str::to_owned)
}

/// Takes out the value at `path`, or what holds it where it is an item of a list: items keep their numbers. Gives the
/// path of what was taken; nothing if that would be the whole.
fn take_nearest(value: &mut Value, path: &str) -> Option<String> {
    let mut path = path;
    while !path.is_empty() {
        let split = path.rfind(['.', '[']);
        let (around, name) = split.map_or(("", path), |at| (&path[..at], &path[at + 1..]));
        if take(value, around, name) {
            return Some(path.to_owned());
        }
        path = around;
    }
    None
}

fn take(value: &mut Value, path: &str, name: &str) -> bool {
    let around = descend(value, path).and_then(Value::as_object_mut);
    around.is_some_and(|map| map.remove(name).is_some())
}

fn descend<'a>(mut value: &'a mut Value, path: &str) -> Option<&'a mut Value> {
    let mut rest = path;
    while !rest.is_empty() {
        match value {
            Value::Array(items) => {
                let (index, tail) = rest.strip_prefix('[')?.split_once(']')?;
                value = items.get_mut(index.parse::<usize>().ok()?)?;
                rest = tail;
            }
            Value::Object(map) => {
                rest = rest.strip_prefix('.').unwrap_or(rest);
                let end = rest.find(['.', '[']).unwrap_or(rest.len());
                value = map.get_mut(&rest[..end])?;
                rest = &rest[end..];
            }
            _ => return None,
        }
    }
    Some(value)
}

/// The path of the first text in a value that equals `wanted`.
pub(crate) fn find_text(value: &Value, wanted: &str) -> Option<String> {
    match value {
        Value::String(text) => (text == wanted).then(String::new),
        Value::Array(items) => items
            .iter()
            .enumerate()
            .find_map(|(index, item)| Some(join(&format!("[{index}]"), &find_text(item, wanted)?))),
        Value::Object(map) => map.iter().find_map(|(key, item)| Some(join(key, &find_text(item, wanted)?))),
        _ => None,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use serde::Deserialize;

    use super::*;

    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Outer {
        #[serde(rename = "first")]
        _first: u8,
        #[serde(rename = "list")]
        _list: Vec<Inner>,
    }

    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Inner {
        #[serde(rename = "width")]
        _width: u8,
    }

    fn faults(text: &str) -> Vec<String> {
        let text = Text::parse("a.yaml", text.as_bytes().to_vec()).unwrap();
        let mut faults = Vec::new();
        read::<Outer>(&text, "", text.value().clone(), &mut faults);
        faults.iter().map(|f| format!("{} {} {}", f.place().unwrap(), f.message(), f.what_to_do())).collect()
    }

    #[test]
    fn every_unknown_key_shows_and_the_next_mistake_too() {
        let found = faults("frist: 1\nlist:\n  - { width: 3 }\n  - { widht: 3, zzzz: 2 }\n");
        assert_eq!(
            found,
            [
                "a.yaml:1:1 the key `frist` is not known is `first` meant?",
                "a.yaml:4:7 the key `widht` is not known is `width` meant?",
                "a.yaml:4:17 the key `zzzz` is not known known here: `width`",
            ]
            .map(String::from)
        );
    }

    #[test]
    fn what_is_missing_shows_where_it_belongs() {
        assert_eq!(faults("first: 1\nlist:\n  - { zzzz: 3 }\n")[1], "a.yaml:3:7 missing field `width` ");
    }

    #[test]
    fn one_mistake_does_not_hide_the_next() {
        let found = faults("first: x\nlist:\n  - { width: wide }\n  - { width: 3, zzzz: 1 }\n");
        assert_eq!(
            found,
            [
                "a.yaml:1:8 invalid type: string \"x\", expected u8 ",
                "a.yaml:3:14 invalid type: string \"wide\", expected u8 ",
            ]
            .map(String::from)
        );
        let found = faults("first: x\nlist: []\nzzzz: 1\n");
        assert_eq!(found.len(), 2, "{found:?}");
    }

    #[test]
    fn a_file_of_mistakes_comes_to_an_end() {
        let keys: String = (0..10_000).map(|n| format!("k{n}: 1\n")).collect();
        assert_eq!(faults(&keys).len(), MOST_FAULTS);
    }

    #[test]
    fn a_wrong_type_shows_at_the_value() {
        let found = faults("first: 1\nlist: [{ width: wide }]\n");
        assert_eq!(found, ["a.yaml:2:17 invalid type: string \"wide\", expected u8 "]);
    }

    #[test]
    fn texts_are_found_where_they_stand() {
        let value = serde_json::json!({ "a": [1, { "b": "x" }] });
        assert_eq!(find_text(&value, "x").unwrap(), "a[1].b");
        assert_eq!(find_text(&value, "y"), None);
    }
}
