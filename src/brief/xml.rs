//! XML for the faces that other programs read.

use quick_xml::Writer;
use quick_xml::events::{BytesDecl, BytesText, Event};
use std::io;

/// A document under construction.
pub(super) type Xml = Writer<Vec<u8>>;

/// A document with what the closure writes.
pub(super) fn document(root: impl FnOnce(&mut Xml) -> io::Result<()>) -> io::Result<String> {
    let mut xml = Writer::new_with_indent(Vec::new(), b' ', 2);
    xml.write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))?;
    root(&mut xml)?;
    let mut text = String::from_utf8(xml.into_inner()).map_err(io::Error::other)?;
    text.push('\n');
    Ok(text)
}

/// An element that holds text alone.
pub(super) fn leaf(xml: &mut Xml, name: &str, text: &str) -> io::Result<()> {
    xml.create_element(name)
        .write_text_content(BytesText::new(&legal(text)))?;
    Ok(())
}

/// A text with what XML 1.0 has no character for (most control characters; section 2.2 of the recommendation) replaced.
pub(super) fn legal(text: &str) -> String {
    let fits = |c: char| matches!(c, '\t' | '\n' | '\r' | '\u{20}'..='\u{d7ff}' | '\u{e000}'..='\u{fffd}' | '\u{10000}'..);
    text.chars()
        .map(|c| if fits(c) { c } else { '\u{fffd}' })
        .collect()
}
