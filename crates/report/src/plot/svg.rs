//! A writer of SVG elements: shapes and text, with everything from outside escaped.
//!
//! Only presentation attributes are written (no style sheet, no script), so a picture may stand in a page with a strict
//! content policy and goes into a PDF as it is.

use std::fmt::Write;

/// A picture under construction; coordinates in px, y downwards.
#[derive(Clone, Debug)]
pub struct Svg {
    body: String,
    width: f64,
    height: f64,
    title: String,
    description: String,
}

/// How a shape is filled and drawn.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Look {
    fill: Option<String>,
    opacity: Option<f64>,
    stroke: Option<(String, f64)>,
    dashes: Option<&'static str>,
}

impl Look {
    /// Filled with a colour.
    pub fn filled(colour: &str) -> Self {
        Self {
            fill: Some(colour.to_owned()),
            ..Self::default()
        }
    }

    /// Drawn with a line of this colour and width in px.
    pub fn drawn(colour: &str, width: f64) -> Self {
        Self::default().outlined(colour, width)
    }

    /// The same with a line around.
    #[must_use]
    pub fn outlined(mut self, colour: &str, width: f64) -> Self {
        self.stroke = Some((colour.to_owned(), width));
        self
    }

    /// The same filled with a share of its full strength.
    #[must_use]
    pub fn faint(mut self, opacity: f64) -> Self {
        self.opacity = Some(opacity);
        self
    }

    /// The same with a dashed line.
    #[must_use]
    pub fn dashed(mut self) -> Self {
        self.dashes = Some("4 4");
        self
    }

    fn attributes(&self) -> String {
        let mut text = match &self.fill {
            Some(colour) => format!("fill=\"{}\"", escaped(colour)),
            None => "fill=\"none\"".to_owned(),
        };
        if let Some(opacity) = self.opacity {
            let _ = write!(text, " fill-opacity=\"{opacity}\"");
        }
        if let Some((colour, width)) = &self.stroke {
            let _ = write!(
                text,
                " stroke=\"{}\" stroke-width=\"{width}\" stroke-linejoin=\"round\" stroke-linecap=\"round\"",
                escaped(colour)
            );
        }
        if let Some(dashes) = self.dashes {
            let _ = write!(text, " stroke-dasharray=\"{dashes}\"");
        }
        text
    }
}

/// Where a text stands against its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Anchor {
    /// It begins there.
    Start,
    /// Its middle is there.
    Middle,
    /// It ends there.
    End,
}

/// How a text is set.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Type<'a> {
    /// Height in px.
    pub size: f64,
    /// Colour.
    pub colour: &'a str,
    /// Where it stands against its point.
    pub anchor: Anchor,
    /// Heavier than the text around it.
    pub strong: bool,
    /// Colour of a rim around the letters, for text over a drawing.
    pub rim: Option<&'a str>,
}

impl<'a> Type<'a> {
    /// Text that begins at its point.
    pub fn of(size: f64, colour: &'a str) -> Self {
        Self {
            size,
            colour,
            anchor: Anchor::Start,
            strong: false,
            rim: None,
        }
    }

    /// The same anchored otherwise.
    #[must_use]
    pub fn at(self, anchor: Anchor) -> Self {
        Self { anchor, ..self }
    }

    /// The same heavier.
    #[must_use]
    pub fn strong(self) -> Self {
        Self {
            strong: true,
            ..self
        }
    }

    /// The same with a rim.
    #[must_use]
    pub fn rimmed(self, colour: &'a str) -> Self {
        Self {
            rim: Some(colour),
            ..self
        }
    }
}

impl Svg {
    /// An empty picture. Title and description are what a person hears who does not see it.
    pub fn new(width: f64, height: f64, title: &str, description: &str) -> Self {
        Self {
            body: String::new(),
            width,
            height,
            title: title.to_owned(),
            description: description.to_owned(),
        }
    }

    /// A rectangle: left, top, width, height.
    pub fn rectangle(&mut self, (x, y, width, height): (f64, f64, f64, f64), look: &Look) {
        let _ = writeln!(
            self.body,
            "<rect x=\"{x:.2}\" y=\"{y:.2}\" width=\"{width:.2}\" height=\"{height:.2}\" {}/>",
            look.attributes()
        );
    }

    /// A straight line.
    pub fn line(&mut self, from: (f64, f64), to: (f64, f64), look: &Look) {
        let _ = writeln!(
            self.body,
            "<line x1=\"{:.2}\" y1=\"{:.2}\" x2=\"{:.2}\" y2=\"{:.2}\" {}/>",
            from.0,
            from.1,
            to.0,
            to.1,
            look.attributes()
        );
    }

    /// A circle.
    pub fn circle(&mut self, at: (f64, f64), radius: f64, look: &Look) {
        let _ = writeln!(
            self.body,
            "<circle cx=\"{:.2}\" cy=\"{:.2}\" r=\"{radius}\" {}/>",
            at.0,
            at.1,
            look.attributes()
        );
    }

    /// Straight lines from point to point.
    pub fn polyline(&mut self, points: &[(f64, f64)], look: &Look) {
        let mut text = String::new();
        for (x, y) in points {
            let _ = write!(text, "{x:.2},{y:.2} ");
        }
        let _ = writeln!(
            self.body,
            "<polyline points=\"{}\" {}/>",
            text.trim_end(),
            look.attributes()
        );
    }

    /// A line of text; its point lies on the base line.
    pub fn text(&mut self, at: (f64, f64), set: Type<'_>, text: &str) {
        let anchor = match set.anchor {
            Anchor::Start => "start",
            Anchor::Middle => "middle",
            Anchor::End => "end",
        };
        let weight = if set.strong {
            " font-weight=\"600\""
        } else {
            ""
        };
        let rim = set.rim.map_or_else(String::new, |colour| {
            format!(
                " stroke=\"{}\" stroke-width=\"4\" stroke-linejoin=\"round\" paint-order=\"stroke\"",
                escaped(colour)
            )
        });
        let _ = writeln!(
            self.body,
            "<text x=\"{:.2}\" y=\"{:.2}\" text-anchor=\"{anchor}\" font-size=\"{}\" fill=\"{}\"{weight}{rim}>{}</text>",
            at.0,
            at.1,
            set.size,
            escaped(set.colour),
            escaped(text)
        );
    }

    /// A rectangle whose colour runs from its bottom to its top; stops as share of the height and colour.
    pub fn running(&mut self, frame: (f64, f64, f64, f64), stops: &[(f64, String)], opacity: f64) {
        let mut inner = String::new();
        for (at, colour) in stops {
            let _ = write!(
                inner,
                "<stop offset=\"{:.4}\" stop-color=\"{}\"/>",
                at.clamp(0.0, 1.0),
                escaped(colour)
            );
        }
        // The name is made from the content, so pictures in one page cannot take each other's colours.
        let name = format!("run{:016x}", hash(&inner));
        let _ = writeln!(
            self.body,
            "<defs><linearGradient id=\"{name}\" x1=\"0\" y1=\"1\" x2=\"0\" y2=\"0\">{inner}</linearGradient></defs>"
        );
        self.rectangle(
            frame,
            &Look::filled(&format!("url(#{name})")).faint(opacity),
        );
    }

    /// The whole document on a ground of this colour.
    pub fn finish(self, paper: &str) -> String {
        let (title, description) = (escaped(&self.title), escaped(&self.description));
        let name = format!(
            "{:016x}",
            hash(&format!("{title}{description}{}", self.body))
        );
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {w} {h}\" width=\"{w}\" height=\"{h}\" role=\"img\" aria-labelledby=\"t{name} d{name}\" font-family=\"'Helvetica Neue', Helvetica, Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif\" font-variant=\"tabular-nums\">\n<title id=\"t{name}\">{title}</title>\n<desc id=\"d{name}\">{description}</desc>\n<rect width=\"100%\" height=\"100%\" fill=\"{}\"/>\n{}</svg>\n",
            escaped(paper),
            self.body,
            w = self.width,
            h = self.height
        )
    }
}

/// FNV-1a, 64 bits: enough to tell pictures apart.
fn hash(text: &str) -> u64 {
    text.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3)
    })
}

/// Text from outside as it may stand in an element or attribute.
fn escaped(text: &str) -> String {
    crate::lines::without_control(text)
        .replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
        .replace('"', "&quot;")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_from_outside_cannot_become_markup() {
        let mut svg = Svg::new(10.0, 10.0, "x</title>", "y\"");
        svg.text(
            (1.0, 1.0),
            Type::of(12.0, "\"/><script>"),
            "a<script>&\"\u{7}",
        );
        let text = svg.finish("#ffffff");
        assert!(
            text.contains("a&lt;script&gt;&amp;&quot; </text>"),
            "{text}"
        );
        assert!(text.contains("x&lt;/title&gt;</title>"));
        assert!(!text.contains("<script>"), "{text}");
    }

    #[test]
    fn two_pictures_in_a_page_keep_their_colours_apart() {
        let name = |colour: &str| {
            let mut svg = Svg::new(10.0, 10.0, "", "");
            svg.running((0.0, 0.0, 1.0, 1.0), &[(0.0, colour.to_owned())], 1.0);
            let text = svg.finish("#ffffff");
            text[text.find("url(#").unwrap()..][..21].to_owned()
        };
        assert_ne!(name("#ff0000"), name("#00ff00"));
    }
}
