//! Labels for bottles: one, or 24 on a sheet of A4 (3 x 8 labels of 70 mm x 37 mm; common practice).

use crate::code::Code;
use crate::error::CertificateError;
use crate::paper::{A4, About, Ink, MM, Paper, Part, Type};
use crate::typeface::Face;
use notebook::{Day, Moment, Node, World, validity};
use report::rounded;

const WIDTH: f32 = 70.0 * MM;
const HEIGHT: f32 = 37.0 * MM;
const COLUMNS: usize = 3;
/// Labels of a sheet.
pub const ON_A_SHEET: usize = 24;
/// Printers leave the rim of a sheet blank, and labels are cut with some play.
const INSET: f32 = 4.5 * MM;
const CODE: f32 = 15.5 * MM;
/// Sizes in which the hazard line is tried, largest first; it is never cut.
const HAZARD: [f32; 6] = [7.0, 6.5, 6.0, 5.5, 5.0, 4.5];
const HAZARD_HEIGHT: f32 = 22.0;

/// What stands on a label.
#[derive(Clone, Debug, PartialEq)]
pub struct LabelSheet {
    /// The solution.
    pub solution: Node,
    /// What is in the bottle.
    pub substance: String,
    /// The concentration it was made for, as written.
    pub nominal: String,
    /// What was found by standardization, if that holds.
    pub found: Option<Found>,
    /// When it was made.
    pub made: Moment,
    /// By whom.
    pub who: String,
    /// Last day of use.
    pub until: Option<Day>,
    /// The hazard line that a person entered.
    pub hazard: Option<String>,
}

/// A concentration that was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// Value.
    pub value: f64,
    /// Expanded uncertainty.
    pub expanded: f64,
    /// Its coverage factor.
    pub factor: f64,
    /// Unit.
    pub unit: String,
    /// When.
    pub at: Moment,
    /// By which determination.
    pub by: Node,
}

/// How labels are laid out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LabelForm {
    /// Each on a page of its own size.
    Single,
    /// On sheets, the first labels of the first sheet left blank.
    Sheet {
        /// How many are used up already.
        skip: usize,
    },
}

impl LabelSheet {
    /// The label of a solution.
    ///
    /// # Errors
    /// [`CertificateError::Missing`].
    pub fn of(world: &World, node: &Node) -> Result<Self, CertificateError> {
        let solution = world
            .solution(node)
            .ok_or_else(|| CertificateError::Missing(node.clone()))?;
        let found = solution.standing().and_then(|standing| {
            let first = standing.evaluated.results.first()?;
            Some(Found {
                value: first.value,
                expanded: first.expanded_uncertainty,
                factor: first.coverage_factor,
                unit: first.unit.clone(),
                at: standing.at,
                by: standing.determination.clone(),
            })
        });
        Ok(Self {
            solution: node.clone(),
            substance: solution.prepared.substance.clone(),
            nominal: solution.prepared.nominal.to_string(),
            found,
            made: solution.at,
            who: solution.who.clone(),
            until: validity::last_day(world, node),
            hazard: solution.prepared.hazard.clone(),
        })
    }
}

/// Labels as PDF, in order. The same labels give the same bytes.
///
/// # Errors
/// [`CertificateError::NoLabel`], or a text that does not fit on a label.
pub fn label_pdf(labels: &[LabelSheet], form: LabelForm) -> Result<Vec<u8>, CertificateError> {
    let last = labels
        .iter()
        .map(|l| l.found.as_ref().map_or(l.made, |f| f.at))
        .max_by_key(|at| at.milliseconds());
    let at = last.ok_or(CertificateError::NoLabel)?;
    let (size, skip) = match form {
        LabelForm::Single => ((WIDTH, HEIGHT), 0),
        LabelForm::Sheet { skip } => (A4, skip % ON_A_SHEET),
    };
    let mut paper = Paper::new(size)?;
    for (index, label) in labels.iter().enumerate() {
        let place = match form {
            LabelForm::Single => {
                if index > 0 {
                    paper.new_page();
                }
                (0.0, 0.0)
            }
            LabelForm::Sheet { .. } => {
                let place = (index + skip) % ON_A_SHEET;
                if place == 0 && index > 0 {
                    paper.new_page();
                }
                let rows = ON_A_SHEET / COLUMNS;
                let top = (A4.1 - rows as f32 * HEIGHT) / 2.0;
                (
                    (place % COLUMNS) as f32 * WIDTH,
                    top + (place / COLUMNS) as f32 * HEIGHT,
                )
            }
        };
        paper.part(Part::Section, |paper| draw(paper, place, label))?;
    }
    let names: Vec<&str> = labels.iter().map(|l| l.solution.name()).collect();
    let about = About {
        title: if labels.len() == 1 {
            format!("Label {}", names[0])
        } else {
            "Labels".into()
        },
        subject: names.join(", ").chars().take(200).collect(),
        author: labels[0].who.clone(),
        at,
        identity: format!("labels {} {at}", names.join(" ")),
        program: notebook::PROGRAM.into(),
    };
    paper.finish(&about, None)
}

fn draw(paper: &mut Paper, (x, y): (f32, f32), label: &LabelSheet) -> Result<(), CertificateError> {
    let (left, right) = (x + INSET, x + WIDTH - INSET);
    let width = right - left - CODE - 2.0 * MM;
    let set = |face, size, ink| Type::of(face, size, ink);
    let line = |paper: &mut Paper, base: f32, set: Type, width: f32, text: &str| {
        paper.part(Part::Paragraph, |p| {
            let text = p.faces.drawable(set.face, text);
            let text = p.faces.cut_to(set.face, set.size, width, &text);
            p.text((left, base), set, &text)
        });
    };
    let top = y + INSET;
    line(
        paper,
        top + 8.0,
        set(Face::Strong, 10.0, Ink::Dark),
        width,
        &label.substance,
    );
    match &label.found {
        Some(found) => {
            let r = rounded(found.value, found.expanded);
            let text = format!(
                "c = {} ± {} {}",
                r.value_text, r.uncertainty_text, found.unit
            );
            // The number is never cut: it is set smaller where it is long.
            let size = (8..=22)
                .rev()
                .map(|half| half as f32 / 2.0)
                .find(|size| paper.faces.width(Face::Text, *size, &text) <= width)
                .ok_or_else(|| CertificateError::Long(label.solution.clone(), "concentration"))?;
            line(
                paper,
                top + 23.0,
                set(Face::Text, size, Ink::Dark),
                width,
                &text,
            );
            let said = format!("k = {:.2} · standardized {}", found.factor, found.at.day());
            line(
                paper,
                top + 32.0,
                set(Face::Text, 6.0, Ink::Quiet),
                width,
                &said,
            );
        }
        None => {
            line(
                paper,
                top + 23.0,
                set(Face::Text, 11.0, Ink::Dark),
                width,
                &format!("about {}", label.nominal),
            );
            line(
                paper,
                top + 32.0,
                set(Face::Text, 6.0, Ink::Pink),
                width,
                "not standardized: not for calculation",
            );
        }
    }
    // The days come first: a long name may be cut, a day may not.
    let by = label
        .found
        .as_ref()
        .map_or_else(String::new, |f| format!(" · {}", f.by.name()));
    let said = format!("made {} · {}{by}", label.made.day(), label.who);
    line(
        paper,
        top + 40.0,
        set(Face::Text, 6.0, Ink::Quiet),
        width,
        &said,
    );
    if let Some(day) = label.until {
        line(
            paper,
            top + 49.5,
            set(Face::Strong, 7.0, Ink::Dark),
            width,
            &format!("use until {day}"),
        );
    }
    let code = Code::of(&label.solution.to_string())?;
    paper.code((right - CODE, top), CODE, code);
    paper.part(Part::Paragraph, |p| {
        let set = set(Face::Strong, 8.0, Ink::Dark);
        let name = p.faces.drawable(set.face, label.solution.name());
        let name = p.faces.cut_to(set.face, set.size, CODE + 2.0 * MM, &name);
        let width = p.faces.width(set.face, set.size, &name);
        p.text(
            (right - CODE / 2.0 - width / 2.0, top + CODE + 9.0),
            set,
            &name,
        )
    });
    hazard(paper, (left, y + HEIGHT - INSET), right - left, label)
}

/// The hazard line at the foot of the label, as large as fits.
fn hazard(
    paper: &mut Paper,
    (x, bottom): (f32, f32),
    width: f32,
    label: &LabelSheet,
) -> Result<(), CertificateError> {
    let sheet = Type::of(Face::Text, 6.0, Ink::Quiet);
    let says_sheet = label
        .hazard
        .as_ref()
        .is_some_and(|h| h.to_lowercase().contains("safety data sheet"));
    if let Some(hazard) = &label.hazard {
        let hazard = paper.faces.drawable(Face::Strong, hazard);
        let (size, lines) = HAZARD
            .iter()
            .map(|size| {
                (
                    *size,
                    paper.faces.lines(Face::Strong, *size, width, &hazard),
                )
            })
            .find(|(size, lines)| lines.len() as f32 * size * 1.2 <= HAZARD_HEIGHT)
            .ok_or_else(|| CertificateError::Long(label.solution.clone(), "hazard line"))?;
        let mut y =
            bottom - if says_sheet { 0.0 } else { 8.0 } - (lines.len() - 1) as f32 * size * 1.2;
        paper.part(Part::Paragraph, |p| {
            for line in &lines {
                p.text((x, y), Type::of(Face::Strong, size, Ink::Dark), line);
                y += size * 1.2;
            }
        });
    }
    if !says_sheet {
        paper.part(Part::Paragraph, |p| {
            p.text((x, bottom), sheet, "See safety data sheet.")
        });
    }
    Ok(())
}
