//! Pages that are drawn on: text, hairlines, bars and codes at their places, each with its place in the structure.
//!
//! Marks are collected first and written at the end, so that the structure (PDF/A-3 level a) follows the order of reading.

use crate::code::Code;
use crate::error::CertificateError;
use crate::typeface::{Face, Typefaces};
use krilla::color::rgb;
use krilla::configure::{Archival, Configuration, ConfigurationBuilder};
use krilla::embed::EmbeddedFile;
use krilla::error::KrillaError;
use krilla::geom::{Path, PathBuilder, Point, Rect};
use krilla::metadata::{DateTime, Metadata};
use krilla::page::PageSettings;
use krilla::paint::Fill;
use krilla::surface::Surface;
use krilla::tagging::{
    Artifact, ArtifactType, ContentTag, Identifier, SpanTag, TableHeaderScope, Tag, TagGroup,
    TagKind, TagTree,
};
use krilla::{Document, SerializeSettings};
use notebook::Moment;
use std::num::NonZeroU16;

/// Points of a millimetre.
pub(crate) const MM: f32 = 72.0 / 25.4;
/// A4 in points (ISO 216: 210 mm x 297 mm).
pub(crate) const A4: (f32, f32) = (210.0 * MM, 297.0 * MM);

/// The colours, by their role.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ink {
    Dark,
    Quiet,
    Hairline,
    Glass,
    Pink,
}

impl Ink {
    fn fill(self) -> Fill {
        let (r, g, b) = match self {
            Self::Dark => (0x22, 0x30, 0x3a),
            // Darker than on the screen: 5.6:1 on white paper.
            Self::Quiet => (0x5c, 0x6c, 0x76),
            Self::Hairline => (0xd9, 0xe1, 0xe5),
            Self::Glass => (0xe3, 0xea, 0xee),
            Self::Pink => (0xb2, 0x3a, 0x6b),
        };
        Fill {
            paint: rgb::Color::new(r, g, b).into(),
            ..Fill::default()
        }
    }
}

/// What a part of the document is.
#[derive(Clone, Debug)]
pub(crate) enum Part {
    Heading(u16, String),
    Paragraph,
    Table,
    Row,
    ColumnHead,
    RowHead,
    Cell,
    Figure(String),
    Section,
}

impl Part {
    fn tag(&self) -> TagKind {
        match self {
            Self::Heading(level, title) => Tag::Hn(
                NonZeroU16::new(*level).unwrap_or(NonZeroU16::MIN),
                Some(title.clone()),
            )
            .into(),
            Self::Paragraph => Tag::P.into(),
            Self::Table => Tag::Table.into(),
            Self::Row => Tag::TR.into(),
            Self::ColumnHead => Tag::TH(TableHeaderScope::Column).into(),
            Self::RowHead => Tag::TH(TableHeaderScope::Row).into(),
            Self::Cell => Tag::TD.into(),
            Self::Figure(said) => Tag::Figure(Some(said.clone())).into(),
            Self::Section => Tag::Section.into(),
        }
    }
}

/// How text is set.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Type {
    pub(crate) face: Face,
    pub(crate) size: f32,
    pub(crate) ink: Ink,
}

impl Type {
    pub(crate) const fn of(face: Face, size: f32, ink: Ink) -> Self {
        Self { face, size, ink }
    }
}

enum Mark {
    Text {
        at: (f32, f32),
        set: Type,
        text: String,
        in_reading: bool,
    },
    Box {
        rect: (f32, f32, f32, f32),
        ink: Ink,
    },
    Code {
        at: (f32, f32),
        side: f32,
        code: Code,
    },
}

enum Child {
    Group(usize),
    Mark(usize, usize),
}

struct Group {
    part: Part,
    children: Vec<Child>,
}

/// A document that is being drawn.
pub(crate) struct Paper {
    pub(crate) faces: Typefaces,
    size: (f32, f32),
    pages: Vec<Vec<Mark>>,
    groups: Vec<Group>,
    open: Vec<usize>,
}

/// What the document says of itself.
pub(crate) struct About {
    pub(crate) title: String,
    pub(crate) subject: String,
    pub(crate) author: String,
    pub(crate) at: Moment,
    pub(crate) identity: String,
    /// The program that wrote it.
    pub(crate) program: String,
}

impl Paper {
    pub(crate) fn new(size: (f32, f32)) -> Result<Self, CertificateError> {
        Ok(Self {
            faces: Typefaces::read()?,
            size,
            pages: vec![Vec::new()],
            groups: vec![Group {
                part: Part::Section,
                children: Vec::new(),
            }],
            open: vec![0],
        })
    }

    pub(crate) fn new_page(&mut self) {
        self.pages.push(Vec::new());
    }

    pub(crate) fn pages(&self) -> usize {
        self.pages.len()
    }

    /// Everything drawn by `inside` belongs to this part.
    pub(crate) fn part<T>(&mut self, part: Part, inside: impl FnOnce(&mut Self) -> T) -> T {
        let parent = self.open.last().copied().unwrap_or(0);
        let group = self.groups.len();
        self.groups.push(Group {
            part,
            children: Vec::new(),
        });
        self.groups[parent].children.push(Child::Group(group));
        self.open.push(group);
        let given = inside(self);
        self.open.pop();
        given
    }

    fn mark(&mut self, page: usize, mark: Mark, structured: bool) {
        if structured {
            let child = Child::Mark(page, self.pages[page].len());
            let group = self.open.last().copied().unwrap_or(0);
            self.groups[group].children.push(child);
        }
        self.pages[page].push(mark);
    }

    /// A line of text with its baseline at `at`; gives its width.
    pub(crate) fn text(&mut self, at: (f32, f32), set: Type, text: &str) -> f32 {
        let text = self.faces.drawable(set.face, text);
        let width = self.faces.width(set.face, set.size, &text);
        if !text.trim().is_empty() {
            self.mark(
                self.pages.len() - 1,
                Mark::Text {
                    at,
                    set,
                    text,
                    in_reading: true,
                },
                true,
            );
        }
        width
    }

    /// The same, ending at `right`.
    pub(crate) fn text_to(&mut self, (right, y): (f32, f32), set: Type, text: &str) -> f32 {
        let drawn = self.faces.drawable(set.face, text);
        let width = self.faces.width(set.face, set.size, &drawn);
        self.text((right - width, y), set, text)
    }

    /// A text at the foot of a page, which is no part of the reading.
    pub(crate) fn foot(&mut self, page: usize, at: (f32, f32), set: Type, text: &str) {
        let text = self.faces.drawable(set.face, text);
        self.mark(
            page,
            Mark::Text {
                at,
                set,
                text,
                in_reading: false,
            },
            false,
        );
    }

    /// A hairline.
    pub(crate) fn rule(&mut self, (x, y): (f32, f32), width: f32, ink: Ink) {
        self.bar((x, y - 0.25, width, 0.5), ink);
    }

    /// A filled rectangle.
    pub(crate) fn bar(&mut self, rect: (f32, f32, f32, f32), ink: Ink) {
        self.mark(self.pages.len() - 1, Mark::Box { rect, ink }, false);
    }

    /// A code for a camera, with its words.
    pub(crate) fn code(&mut self, at: (f32, f32), side: f32, code: Code) {
        let said = code.said().to_string();
        self.part(Part::Figure(said), |paper| {
            paper.mark(paper.pages.len() - 1, Mark::Code { at, side, code }, true);
        });
    }

    /// The file.
    pub(crate) fn finish(
        self,
        about: &About,
        attached: Option<EmbeddedFile>,
    ) -> Result<Vec<u8>, CertificateError> {
        let mut document = Document::new_with(SerializeSettings {
            configuration: standard()?,
            ..SerializeSettings::default()
        });
        let mut identifiers: Vec<Vec<Option<Identifier>>> = Vec::new();
        for marks in &self.pages {
            let settings = PageSettings::from_wh(self.size.0, self.size.1)
                .ok_or_else(|| CertificateError::Standard("a page without size".into()))?;
            let mut page = document.start_page_with(settings);
            let mut surface = page.surface();
            let drawn = marks
                .iter()
                .map(|mark| self.draw(&mut surface, mark))
                .collect();
            surface.finish();
            page.finish();
            identifiers.push(drawn);
        }
        let mut tree = TagTree::new().with_lang(Some("en".into()));
        let root = self.group(0, &mut identifiers);
        tree.push(root);
        document.set_tag_tree(tree);
        document.set_metadata(
            Metadata::new()
                .title(about.title.clone())
                .description(about.subject.clone())
                .authors(vec![about.author.clone()])
                .creator(about.program.clone())
                .producer(about.program.clone())
                .language("en".into())
                .document_id(about.identity.clone())
                .creation_date(date(about.at)),
        );
        if let Some(file) = attached {
            document.embed_file(file);
        }
        document.finish().map_err(|error| {
            CertificateError::Standard(match error {
                KrillaError::Validation(broken) => {
                    format!(
                        "{:?}",
                        broken.iter().map(|(rule, _)| rule).collect::<Vec<_>>()
                    )
                }
                other => format!("{other:?}"),
            })
        })
    }

    fn group(&self, index: usize, identifiers: &mut [Vec<Option<Identifier>>]) -> TagGroup {
        let group = &self.groups[index];
        let mut tagged = TagGroup::new(group.part.tag());
        for child in &group.children {
            match child {
                Child::Group(inner) => tagged.push(self.group(*inner, identifiers)),
                Child::Mark(page, mark) => {
                    if let Some(identifier) = identifiers[*page][*mark].take() {
                        tagged.push(identifier);
                    }
                }
            }
        }
        tagged
    }

    /// Draws a mark; what takes part in the reading gives its identifier.
    fn draw(&self, surface: &mut Surface<'_>, mark: &Mark) -> Option<Identifier> {
        match mark {
            Mark::Text {
                at,
                set,
                text,
                in_reading,
            } => {
                let tag = if *in_reading {
                    ContentTag::Span(SpanTag::empty())
                } else {
                    ContentTag::Artifact(Artifact::with_kind(ArtifactType::Footer))
                };
                let identifier = surface.start_tagged(tag);
                surface.set_fill(Some(set.ink.fill()));
                let glyphs = self.faces.glyphs(set.face, text);
                surface.draw_glyphs(
                    Point::from_xy(at.0, at.1),
                    &glyphs,
                    self.faces.font(set.face),
                    text,
                    set.size,
                    false,
                );
                surface.end_tagged();
                in_reading.then_some(identifier)
            }
            Mark::Box { rect, ink } => {
                surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(
                    ArtifactType::Layout,
                )));
                if let Some(path) = path(std::iter::once(*rect)) {
                    surface.set_fill(Some(ink.fill()));
                    surface.draw_path(&path);
                }
                surface.end_tagged();
                None
            }
            Mark::Code { at, side, code } => {
                let identifier = surface.start_tagged(ContentTag::Other);
                let squares = code.squares(*at, *side);
                if let Some(path) = path(squares.into_iter()) {
                    surface.set_fill(Some(Ink::Dark.fill()));
                    surface.draw_path(&path);
                }
                surface.end_tagged();
                Some(identifier)
            }
        }
    }
}

fn path(rects: impl Iterator<Item = (f32, f32, f32, f32)>) -> Option<Path> {
    let mut builder = PathBuilder::new();
    for (x, y, width, height) in rects {
        if let Some(rect) = Rect::from_xywh(x, y, width, height) {
            builder.push_rect(rect);
        }
    }
    builder.finish()
}

fn standard() -> Result<Configuration, CertificateError> {
    ConfigurationBuilder::new()
        .with_archival_validator(Archival::A3_A)
        .finish()
        .map_err(|error| CertificateError::Standard(format!("{error:?}")))
}

/// A moment as the document writes it.
pub(crate) fn date(at: Moment) -> DateTime {
    let text = at.to_string();
    let number = |from: usize, to: usize| {
        text.get(from..to)
            .and_then(|t| t.parse().ok())
            .unwrap_or(0_u8)
    };
    let year = text.get(0..4).and_then(|t| t.parse().ok()).unwrap_or(0);
    let offset = at.offset_minutes();
    DateTime::new(year)
        .month(number(5, 7))
        .day(number(8, 10))
        .hour(number(11, 13))
        .minute(number(14, 16))
        .second(number(17, 19))
        .utc_offset_hour(i8::try_from(offset / 60).unwrap_or(0))
        .utc_offset_minute(u8::try_from((offset % 60).unsigned_abs()).unwrap_or(0))
}
