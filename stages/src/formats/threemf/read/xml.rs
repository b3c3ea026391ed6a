//! The little of XML that a 3MF part may hold: elements in namespaces, and text that is passed over. Document types and
//! entities are refused (core 2.3.2).

use std::borrow::Cow;
use std::io::BufRead;
use std::sync::Arc;

use quick_xml::Reader;
use quick_xml::XmlVersion;
use quick_xml::escape::resolve_predefined_entity;
use quick_xml::events::{BytesStart, Event};
use quick_xml::name::{Namespace, NamespaceResolver, PrefixDeclaration, QName, ResolveResult};

use crate::memo::{Key, Recall, Weigh};

/// Elements deeper than this are refused; a 3MF part needs seven levels.
const DEEPEST: u16 = 64;

/// The namespace of an element.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in super::super) enum Space {
    /// One of those that the cursor was told of, by its place.
    Known(usize),
    /// Any other, or none.
    Other,
}

/// An element's start.
pub(in super::super) struct Element<'i> {
    /// Its namespace.
    pub(in super::super) space: Space,
    /// Its name and attributes.
    pub(in super::super) start: BytesStart<'i>,
    empty: bool,
}

impl Element<'_> {
    /// The name without its prefix.
    pub(in super::super) fn name(&self) -> &str {
        self.start.local_name().into_inner()
    }
}

/// What stands in an element, as it was read.
pub(in super::super) struct Content<T> {
    pub(in super::super) content: T,
    /// The bytes of text up to the tag that ends the element.
    bytes: usize,
}

impl<T: Weigh> Weigh for Content<T> {
    fn bytes(&self) -> usize {
        self.content.bytes() + size_of::<usize>()
    }
}

/// Walks through the elements of a part.
pub(in super::super) struct Cursor<'i> {
    reader: Reader<&'i [u8]>,
    resolver: NamespaceResolver,
    spaces: &'static [&'static str],
    depth: u16,
    /// Where the tag begins that ended the last element.
    ended: u64,
}

impl<'i> Cursor<'i> {
    /// Starts before the root element; `spaces` are the namespaces to tell apart.
    pub(in super::super) fn new(text: &'i str, spaces: &'static [&'static str]) -> Self {
        let reader = Reader::from_str(text.trim_start_matches('\u{feff}'));
        Self { reader, resolver: NamespaceResolver::default(), spaces, depth: 0, ended: 0 }
    }

    /// The root element.
    pub(in super::super) fn root(&mut self) -> Result<Element<'i>, String> {
        self.next()?.ok_or_else(|| "the part holds no element".to_owned())
    }

    /// Hands each child of `parent` to `visit`, which must consume it with [`Self::children`] or [`Self::skip`].
    pub(in super::super) fn children(
        &mut self,
        parent: &Element<'i>,
        mut visit: impl FnMut(&mut Self, Element<'i>) -> Result<(), String>,
    ) -> Result<(), String> {
        if parent.empty {
            return Ok(());
        }
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err(format!("<{}> lies more than {DEEPEST} elements deep", parent.name()));
        }
        while let Some(child) = self.next()? {
            visit(self, child)?;
        }
        self.depth -= 1;
        Ok(())
    }

    /// Takes what is in `parent` from `recall`, or lets `read` consume it as with [`Self::children`] and remembers what that
    /// gave. `read` must depend on nothing else.
    pub(in super::super) fn recalled<T: Weigh>(
        &mut self,
        parent: &Element<'i>,
        recall: Recall<'_>,
        purpose: &str,
        read: impl FnOnce(&mut Self) -> Result<T, String>,
    ) -> Result<Arc<Content<T>>, String> {
        let begins = self.reader.buffer_position();
        let key = recall.remembers().then(|| self.rest(purpose));
        let content = recall.try_of(
            || key.expect("asked for where there is a memo only"),
            || {
                let content = read(self)?;
                // An empty element has no tag that ends it.
                Ok::<_, String>(Content { content, bytes: self.ended.saturating_sub(begins) as usize })
            },
        )?;
        if !parent.empty && self.reader.buffer_position() == begins {
            self.reader.stream().consume(content.bytes);
            // The tag at its end.
            self.next()?;
        }
        Ok(content)
    }

    /// All that reading on from here can depend on: the text, what its prefixes stand for, and how deep it lies.
    fn rest(&self, purpose: &str) -> Key {
        let key = Key::of(purpose).whole(u64::from(self.depth));
        let bindings = self.resolver.bindings().fold(key, |key, (prefix, Namespace(name))| {
            let (kind, prefix) = match prefix {
                PrefixDeclaration::Default => (0, ""),
                PrefixDeclaration::Named(prefix) => (1, prefix),
            };
            key.whole(kind).bytes(prefix.as_bytes()).bytes(name.as_bytes())
        });
        bindings.bytes(self.reader.get_ref()).made()
    }

    /// Passes over what is in an element.
    pub(in super::super) fn skip(&mut self, element: &Element<'i>) -> Result<(), String> {
        self.children(element, |cursor, child| cursor.skip(&child))
    }

    /// Whether a prefix stands for the namespace `space` here.
    pub(in super::super) fn stands_for(&self, prefix: &str, space: usize) -> bool {
        let name = format!("{prefix}:any");
        self.space(QName(&name)) == Space::Known(space)
    }

    /// The value of an attribute in the namespace `space`, which an attribute is only where a prefix says so.
    pub(in super::super) fn attribute_in<'e>(
        &self,
        element: &'e Element<'_>,
        space: usize,
        name: &str,
    ) -> Result<Option<Cow<'e, str>>, String> {
        for attribute in element.start.attributes() {
            let attribute = attribute.map_err(|e| damaged(element, &e))?;
            let (local, prefix) = attribute.key.decompose();
            if local.into_inner() == name && prefix.is_some_and(|prefix| self.stands_for(prefix.into_inner(), space)) {
                let value = attribute.normalized_value(XmlVersion::Implicit1_0);
                return value.map(Some).map_err(|e| damaged(element, &e));
            }
        }
        Ok(None)
    }

    fn space(&self, name: QName<'_>) -> Space {
        match self.resolver.resolve_element(name) {
            (ResolveResult::Bound(Namespace(name)), _) => {
                self.spaces.iter().position(|known| *known == name).map_or(Space::Other, Space::Known)
            }
            (ResolveResult::Unbound | ResolveResult::Unknown(_), _) => Space::Other,
        }
    }

    /// Takes in the namespaces that an element declares, after dropping those of elements that have ended.
    fn declare(&mut self, start: &BytesStart<'_>) -> Result<(), String> {
        self.resolver.set_level(self.depth);
        // Nearly no element declares any, and a text search costs a fraction of a walk through the attributes.
        if start.attributes_raw().contains("xmlns") {
            self.resolver.push(start).map_err(|error| format!("<{}>: {error}", start.name().into_inner()))?;
        }
        Ok(())
    }

    /// The next start of an element, or `None` where the current one ends.
    fn next(&mut self) -> Result<Option<Element<'i>>, String> {
        loop {
            let at = self.reader.buffer_position();
            let event = self.reader.read_event().map_err(|e| format!("not well-formed XML at byte {at}: {e}"))?;
            let empty = matches!(event, Event::Empty(_));
            match event {
                Event::Start(start) | Event::Empty(start) => {
                    self.declare(&start)?;
                    return Ok(Some(Element { space: self.space(start.name()), start, empty }));
                }
                Event::End(_) => {
                    self.ended = at;
                    return Ok(None);
                }
                Event::Eof => return Err(format!("the part ends at byte {at} in the middle of an element")),
                Event::DocType(_) => return Err("a document type is not allowed".to_owned()),
                Event::GeneralRef(name) if !name.is_char_ref() && resolve_predefined_entity(&name).is_none() => {
                    return Err(format!("entity '&{};' is not allowed", name.into_inner()));
                }
                Event::Decl(declaration) => {
                    if let Some(Ok(encoding)) = declaration.encoding()
                        && !encoding.eq_ignore_ascii_case("utf-8")
                    {
                        return Err(format!("the encoding is '{encoding}', expected UTF-8"));
                    }
                }
                Event::Text(_) | Event::CData(_) | Event::Comment(_) | Event::PI(_) | Event::GeneralRef(_) => {}
            }
        }
    }
}

/// The value of an attribute, by its name without namespace.
pub(in super::super) fn attribute<'e>(element: &'e Element<'_>, name: &str) -> Result<Option<Cow<'e, str>>, String> {
    for attribute in element.start.attributes() {
        let attribute = attribute.map_err(|e| damaged(element, &e))?;
        if attribute.key.into_inner() == name {
            return attribute.normalized_value(XmlVersion::Implicit1_0).map(Some).map_err(|e| damaged(element, &e));
        }
    }
    Ok(None)
}

fn damaged(element: &Element<'_>, error: &dyn std::fmt::Display) -> String {
    format!("<{}> has a damaged attribute: {error}", element.name())
}
