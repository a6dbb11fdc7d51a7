//! A small typed writer of HTML.
//!
//! Names of elements and attributes are words of the program (`&'static str`); everything else is
//! text and is escaped, always. There is no way to write markup that came from outside. What is
//! written is well-formed XML too, so that a test can parse it strictly.

use super::plots::Svg;
use super::words::visible;

/// HTML in the making.
#[derive(Default)]
pub struct Html {
    out: String,
}

/// An attribute: name and value.
pub type Attribute<'a> = (&'static str, &'a str);

impl Html {
    /// A document with its doctype.
    pub fn document(lang: &str, content: impl FnOnce(&mut Html)) -> String {
        let mut h = Html { out: "<!DOCTYPE html>\n".into() };
        h.element("html", &[("lang", lang)], content);
        h.out
    }

    /// An element with content.
    pub fn element(
        &mut self,
        name: &'static str,
        attributes: &[Attribute],
        content: impl FnOnce(&mut Html),
    ) {
        self.open(name, attributes);
        self.out.push('>');
        content(self);
        self.out.push_str("</");
        self.out.push_str(name);
        self.out.push('>');
        if is_block(name) {
            self.out.push('\n');
        }
    }

    /// An element that holds text only.
    pub fn text_in(&mut self, name: &'static str, text: &str) {
        self.element(name, &[], |h| h.text(text));
    }

    /// An element of a class that holds text only.
    pub fn classed(&mut self, name: &'static str, class: &'static str, text: &str) {
        self.element(name, &[("class", class)], |h| h.text(text));
    }

    /// An element that has no content by the rules of HTML, or an empty one inside of SVG.
    pub fn void(&mut self, name: &'static str, attributes: &[Attribute]) {
        self.open(name, attributes);
        self.out.push_str("/>");
    }

    /// Text: made visible, then escaped.
    pub fn text(&mut self, text: &str) {
        escape(&mut self.out, &visible(text));
    }

    /// The style sheet of the page, a constant of the program.
    pub fn style(&mut self, css: &'static str) {
        self.out.push_str("<style>\n");
        self.out.push_str(css);
        self.out.push_str("</style>\n");
    }

    /// A figure that was drawn here.
    pub fn svg(&mut self, svg: &Svg) {
        self.out.push_str(svg.as_str());
    }

    fn open(&mut self, name: &'static str, attributes: &[Attribute]) {
        self.out.push('<');
        self.out.push_str(name);
        for (attribute, value) in attributes {
            self.out.push(' ');
            self.out.push_str(attribute);
            self.out.push_str("=\"");
            escape(&mut self.out, &visible(value));
            self.out.push('"');
        }
    }
}

fn is_block(name: &str) -> bool {
    !matches!(name, "a" | "b" | "code" | "span" | "strong" | "td" | "th" | "text" | "title")
}

fn escape(out: &mut String, text: &str) {
    for c in text.chars() {
        match c {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            _ => out.push(c),
        }
    }
}
