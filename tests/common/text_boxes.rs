//! Where the letters of a drawing are, by another library than the one that placed them: `usvg` lays the text out and gives the outline
//! of its letters.
#![allow(dead_code, reason = "each test binary uses its own part")]

use resvg::usvg;
use std::sync::{Arc, OnceLock};

/// Letters and the box around their ink, in the units of the drawing.
#[derive(Debug, Clone)]
pub struct Text {
    pub words: String,
    pub left: f32,
    pub top: f32,
    pub right: f32,
    pub bottom: f32,
}

impl Text {
    fn meets(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }
}

fn fonts() -> Arc<usvg::fontdb::Database> {
    static FONTS: OnceLock<Arc<usvg::fontdb::Database>> = OnceLock::new();
    let make = || {
        let mut fonts = usvg::fontdb::Database::new();
        fonts.load_font_data(dejavu::sans::regular().to_vec());
        fonts.load_font_data(dejavu::sans::bold().to_vec());
        Arc::new(fonts)
    };
    FONTS.get_or_init(make).clone()
}

/// Every text of a drawing.
pub fn texts(svg: &str) -> (Vec<Text>, usvg::Size) {
    let options = usvg::Options {
        fontdb: fonts(),
        ..usvg::Options::default()
    };
    let tree = usvg::Tree::from_str(svg, &options).expect("SVG");
    let mut all = Vec::new();
    collect(tree.root(), &mut all);
    (all, tree.size())
}

fn collect(group: &usvg::Group, all: &mut Vec<Text>) {
    for node in group.children() {
        match node {
            usvg::Node::Group(g) => collect(g, all),
            usvg::Node::Text(t) => {
                let ink = t.flattened().abs_bounding_box();
                let words: Vec<&str> = t.chunks().iter().map(usvg::TextChunk::text).collect();
                all.push(Text {
                    words: words.concat(),
                    left: ink.left(),
                    top: ink.top(),
                    right: ink.right(),
                    bottom: ink.bottom(),
                });
            }
            _ => {}
        }
    }
}

/// Panics if a text leaves the sheet or two of them meet; gives the texts.
pub fn none_meets(svg: &str) -> Vec<Text> {
    let (all, size) = texts(svg);
    assert!(all.len() > 20, "only {} texts", all.len());
    for (i, t) in all.iter().enumerate() {
        assert!(
            t.left >= 0.0 && t.top >= 0.0 && t.right <= size.width() && t.bottom <= size.height(),
            "{t:?} leaves the sheet"
        );
        assert!(t.right > t.left && t.bottom > t.top, "{t:?} has no ink");
        for other in &all[..i] {
            assert!(!t.meets(other), "{t:?} meets {other:?}");
        }
    }
    all
}
