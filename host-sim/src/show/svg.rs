//! A small writer of plain SVG: numbers to a tenth, text escaped, and an estimate of how wide a text comes out.
//!
//! Presentation attributes are used instead of a style sheet, so that several drawings can stand in one HTML page without
//! touching each other.

use std::borrow::Cow;
use std::fmt::{self, Display, Write as _};

/// Nearly black: text, orders, blades.
pub(crate) const INK: &str = "#1a1a1a";
/// Secondary text and reeds.
pub(crate) const MID: &str = "#5f5f5f";
/// Grid lines.
pub(crate) const GRID: &str = "#d9d9d9";
/// Eyes (Okabe–Ito blue; dark in grey).
pub(crate) const EYE: &str = "#0072B2";
/// Trouble (Okabe–Ito vermilion; always with a hatch, a flag or a word).
pub(crate) const TROUBLE: &str = "#C24E00";

/// A number in an attribute: at most one digit after the point, no trailing zero, never "-0".
#[derive(Clone, Copy)]
pub(crate) struct N(pub(crate) f64);

impl Display for N {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tenths = if self.0.is_finite() { libm::round(self.0 * 10.0) } else { 0.0 } as i64;
        if tenths < 0 {
            f.write_char('-')?;
        }
        let (whole, rest) = (tenths.unsigned_abs() / 10, tenths.unsigned_abs() % 10);
        if rest == 0 { write!(f, "{whole}") } else { write!(f, "{whole}.{rest}") }
    }
}

/// Text that is safe in XML content and attributes; characters that XML 1.0 does not know become U+FFFD.
pub(crate) fn escape(text: &str) -> Cow<'_, str> {
    let special = |c: char| matches!(c, '&' | '<' | '>' | '"' | '\'') || (c < ' ' && !matches!(c, '\t' | '\n' | '\r'));
    if !text.contains(special) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len() + 16);
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            c if special(c) => out.push('\u{fffd}'),
            c => out.push(c),
        }
    }
    Cow::Owned(out)
}

/// How wide `text` comes out at `size`, on the wide side for the usual sans-serif faces.
pub(crate) fn text_width(text: &str, size: f64) -> f64 {
    let em: f64 = text
        .chars()
        .map(|c| match c {
            'i' | 'j' | 'l' | '\'' | '|' => 0.29,
            ' ' | '.' | ',' | ':' | ';' | '!' | 'f' | 't' | 'r' | 'I' | '(' | ')' => 0.40,
            'm' | 'w' | 'M' | 'W' | '@' | '%' | '→' | '–' => 0.98,
            'A'..='Z' | '+' | '=' | '−' => 0.78,
            _ => 0.64,
        })
        .sum();
    em * size
}

/// Where a text is anchored.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Anchor {
    /// Its left end.
    Start,
    /// Its middle.
    Middle,
    /// Its right end.
    End,
}

/// A drawing in the making.
pub(crate) struct Canvas {
    body: String,
}

impl Canvas {
    pub(crate) fn new() -> Self {
        Self { body: String::with_capacity(64 * 1024) }
    }

    /// Markup that the caller answers for.
    pub(crate) fn raw(&mut self, markup: &str) {
        self.body.push_str(markup);
    }

    /// Formats into the drawing; writing to a `String` cannot fail.
    pub(crate) fn put(&mut self, args: fmt::Arguments<'_>) {
        let _ = self.body.write_fmt(args);
    }

    pub(crate) fn rect(&mut self, x: f64, y: f64, w: f64, h: f64, attrs: &str) {
        self.put(format_args!(
            "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" {attrs}/>\n",
            N(x),
            N(y),
            N(w.max(0.0)),
            N(h.max(0.0))
        ));
    }

    pub(crate) fn line(&mut self, x1: f64, y1: f64, x2: f64, y2: f64, attrs: &str) {
        self.put(format_args!("<line x1=\"{}\" y1=\"{}\" x2=\"{}\" y2=\"{}\" {attrs}/>\n", N(x1), N(y1), N(x2), N(y2)));
    }

    pub(crate) fn path(&mut self, d: &str, attrs: &str) {
        if !d.is_empty() {
            self.put(format_args!("<path d=\"{d}\" {attrs}/>\n"));
        }
    }

    /// A line of text; `attrs` may add weight, fill, or a class.
    pub(crate) fn text(&mut self, x: f64, y: f64, size: f64, anchor: Anchor, attrs: &str, text: &str) {
        let anchor = match anchor {
            Anchor::Start => "",
            Anchor::Middle => " text-anchor=\"middle\"",
            Anchor::End => " text-anchor=\"end\"",
        };
        let space = if attrs.is_empty() { "" } else { " " };
        self.put(format_args!(
            "<text x=\"{}\" y=\"{}\" font-size=\"{}\"{anchor}{space}{attrs}>{}</text>\n",
            N(x),
            N(y),
            N(size),
            escape(text)
        ));
    }

    /// Text broken into lines no wider than `width`; returns the y below the last line.
    pub(crate) fn paragraph(&mut self, x: f64, y: f64, width: f64, size: f64, text: &str) -> f64 {
        let mut y = y;
        for line in wrap(text, width, size) {
            self.text(x, y, size, Anchor::Start, &format!("fill=\"{MID}\""), &line);
            y += size * 1.4;
        }
        y
    }

    /// The finished file. `id` keeps names of several drawings in one page apart.
    pub(crate) fn finish(self, id: &str, width: f64, height: f64, title: &str, desc: &str) -> String {
        let (w, h) = (N(width), N(height));
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" \
             font-family=\"sans-serif\" fill=\"{INK}\" role=\"img\" aria-labelledby=\"{id}-title {id}-desc\">\n\
             <title id=\"{id}-title\">{}</title>\n<desc id=\"{id}-desc\">{}</desc>\n\
             <rect width=\"{w}\" height=\"{h}\" fill=\"#ffffff\"/>\n{}</svg>\n",
            escape(title),
            escape(desc),
            self.body
        )
    }
}

/// Breaks `text` at spaces into lines no wider than `width`; a single longer word stays whole.
pub(crate) fn wrap(text: &str, width: f64, size: f64) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match lines.last_mut() {
            Some(line) if text_width(line, size) + text_width(word, size) + 0.4 * size <= width => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// Shortens `text` to `width` with an ellipsis.
pub(crate) fn clip(text: &str, width: f64, size: f64) -> String {
    if text_width(text, size) <= width {
        return text.to_owned();
    }
    let mut out = String::new();
    for c in text.chars() {
        if text_width(&out, size) + text_width("…", size) + text_width(c.encode_utf8(&mut [0; 4]), size) > width {
            break;
        }
        out.push(c);
    }
    out.push('…');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_short_and_never_minus_zero() {
        let s = |v: f64| N(v).to_string();
        assert_eq!(
            (s(1.0), s(-0.04), s(2.25), s(-3.16), s(f64::NAN)),
            ("1".into(), "0".into(), "2.3".into(), "-3.2".into(), "0".into())
        );
    }

    #[test]
    fn escaping_leaves_no_markup_and_no_control_character() {
        assert_eq!(escape("a<b>&\"'\u{7}"), "a&lt;b&gt;&amp;&quot;&#39;\u{fffd}");
        assert!(matches!(escape("plain – text"), Cow::Borrowed(_)));
    }

    #[test]
    fn wrapped_lines_fit_and_lose_no_word() {
        let text = "steady all through: chain, guard, air, drive, upstream ready";
        let lines = wrap(text, 120.0, 10.0);
        assert!(lines.len() > 2 && lines.iter().all(|l| text_width(l, 10.0) <= 120.0), "{lines:?}");
        assert_eq!(lines.join(" "), text);
        assert!(text_width(&clip(text, 100.0, 10.0), 10.0) <= 100.0);
    }
}
