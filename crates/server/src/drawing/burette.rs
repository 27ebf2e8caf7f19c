//! The burette to scale, zero on top, with the level at the last reading; beside it where to run freely, by drops and by
//! half drops, and under a lens the end that is expected, as wide as it is unknown.

use crate::page::result::Shown;
use crate::text::{filled, t};
use notebook::Outcome;
use notebook::payload::Piece;
use std::fmt::Write;
use titrimetry::sheet::{BalanceSpec, PieceSpec};

/// Before the drops begin, mL (common practice).
const DROPS_ML: f64 = 1.5;

/// What is drawn of the burette.
pub(crate) struct Facts {
    pub(crate) capacity: f64,
    pub(crate) graduation: f64,
    /// Decimals that a reading should have: a tenth of a division.
    pub(crate) decimals: usize,
    /// Decimals of the numbers at the scale.
    pub(crate) scale_decimals: usize,
    /// Distance of the long marks, mL.
    pub(crate) major: f64,
    /// Decimals that the balance shows in g, where one is named.
    pub(crate) balance: Option<usize>,
}

impl Facts {
    /// Of the determination's burette: from its evaluation, or from its catalogue name.
    pub(crate) fn of(shown: &Shown<'_>) -> Self {
        let evaluated = match shown.outcome {
            Ok(Outcome::Standardization { evaluation, .. }) => Some(&evaluation.burette),
            Ok(Outcome::Assay { assay, .. }) => Some(&assay.burette),
            Err(_) => None,
        };
        let (capacity, graduation) = evaluated.map_or_else(
            || by_name(shown).unwrap_or((50.0, 0.1)),
            |facts| (facts.capacity, facts.graduation),
        );
        // 0.1 mL is read to 0.01, 0.02 mL to 0.005.
        let decimals = if graduation >= 0.1 - 1e-9 { 2 } else { 3 };
        Self {
            capacity,
            graduation,
            decimals,
            scale_decimals: if graduation >= 0.1 - 1e-9 { 1 } else { 2 },
            major: 10.0 * graduation,
            balance: balance(shown),
        }
    }
}

/// Decimals of the determination's balance.
fn balance(shown: &Shown<'_>) -> Option<usize> {
    let node = shown.determination.opened.balance.as_ref()?;
    let piece = shown.world.apparatus(node)?;
    let Piece::Balance(spec) = piece.piece_at(shown.determination.number)? else {
        return None;
    };
    let readability = match spec {
        BalanceSpec::Name(name) => volumetry::balance::balance(name).ok()?.readability_g,
        BalanceSpec::Own(own) => own.readability.value_in("g"),
    };
    // 0.0005 g is shown with four decimals, as 0.0001 g is.
    (0..=7)
        .find(|decimals| 10_f64.powi(-decimals) <= readability * 1.001)
        .map(|d| d as usize)
}

/// Capacity and graduation by the words of a catalogue name, such as "burette 50 mL A".
fn by_name(shown: &Shown<'_>) -> Option<(f64, f64)> {
    let apparatus = shown.world.apparatus(&shown.determination.opened.burette)?;
    let name = match apparatus.piece()? {
        Piece::Glass(PieceSpec::Name(name)) => name.clone(),
        Piece::Glass(PieceSpec::Own(own)) => own.catalogue.clone(),
        Piece::Balance(_) => return None,
    };
    let capacity: f64 = name.split_whitespace().find_map(|word| word.parse().ok())?;
    let graduation = if capacity >= 25.0 {
        if capacity >= 50.0 { 0.1 } else { 0.05 }
    } else {
        0.02
    };
    Some((capacity, graduation))
}

/// Where the end is expected.
pub(crate) struct Zones {
    /// Initial reading, mL.
    pub(crate) initial: f64,
    /// Expected titre, mL.
    pub(crate) at: f64,
    /// Half-width of what is known of it, mL.
    pub(crate) within: f64,
    /// A reading farther off than this is looked at twice, mL.
    pub(crate) far: f64,
}

impl Zones {
    /// The reading at which the end is expected, mL.
    pub(crate) fn end(&self) -> f64 {
        self.initial + self.at
    }

    /// From where on by drops, by half drops, and until where: readings of the burette, mL.
    fn readings(&self) -> (f64, f64, f64) {
        let end = self.initial + self.at;
        let half_from = end - self.within;
        (
            (half_from - DROPS_ML).max(self.initial),
            half_from,
            end + self.within,
        )
    }

    /// The same in words, for those who do not look at the picture.
    pub(crate) fn words(&self) -> String {
        let (drops, half, _) = self.readings();
        let number = |reading: f64| format!("{reading:.1}");
        filled(
            "burette.words",
            &[
                ("drops", &number(drops)),
                ("half", &number(half)),
                ("end", &number(self.initial + self.at)),
            ],
        )
    }
}

const TOP: f64 = 14.0;
const HEIGHT: f64 = 560.0;

/// The picture.
pub(crate) fn burette(facts: &Facts, level: Option<f64>, zones: Option<&Zones>) -> String {
    let mut svg = String::new();
    let scale = HEIGHT / facts.capacity;
    let y = |reading: f64| TOP + reading.clamp(0.0, facts.capacity) * scale;
    let words = level.map_or_else(String::new, |l| format!("{} {l} mL. ", t("burette.level")));
    let _ = write!(
        svg,
        "<svg viewBox=\"0 0 316 640\" role=\"img\" aria-label=\"{words}\"><g class=\"tube\"><rect class=\"glass\" x=\"42\" y=\"{:.1}\" width=\"44\" height=\"{:.1}\" rx=\"6\"/>",
        TOP - 8.0,
        HEIGHT + 16.0
    );
    if let Some(level) = level {
        let at = y(level);
        let _ = write!(
            svg,
            "<rect class=\"liquid\" x=\"43\" y=\"{at:.1}\" width=\"42\" height=\"{:.1}\"/><path class=\"meniscus\" d=\"M43 {:.1} Q 64 {:.1} 85 {:.1}\"/>",
            TOP + HEIGHT + 6.0 - at,
            at - 4.0,
            at + 4.0,
            at - 4.0
        );
    }
    let step = if facts.capacity >= 20.0 {
        5.0
    } else {
        facts.capacity / 10.0
    };
    let decimals = usize::from(step < 0.999);
    let mut mark = 0.0;
    while mark <= facts.capacity + 1e-9 {
        let at = y(mark);
        let _ = write!(
            svg,
            "<line class=\"mark\" x1=\"43\" x2=\"64\" y1=\"{at:.1}\" y2=\"{at:.1}\"/><text class=\"quiet\" x=\"34\" y=\"{:.1}\" text-anchor=\"end\" font-size=\"18\">{mark:.decimals$}</text>",
            at + 6.0
        );
        let half = y(mark + step / 2.0);
        if mark + step / 2.0 < facts.capacity {
            let _ = write!(
                svg,
                "<line class=\"mark\" x1=\"43\" x2=\"54\" y1=\"{half:.1}\" y2=\"{half:.1}\"/>"
            );
        }
        mark += step;
    }
    let foot = TOP + HEIGHT + 8.0;
    let _ = write!(
        svg,
        "<rect class=\"glass\" x=\"58\" y=\"{foot:.1}\" width=\"12\" height=\"14\"/><rect class=\"glass\" x=\"46\" y=\"{:.1}\" width=\"36\" height=\"9\" rx=\"4\"/><path class=\"glass\" d=\"M60 {:.1} h8 l-2 26 h-4 z\"/></g>",
        foot + 14.0,
        foot + 23.0
    );
    if let Some(zones) = zones {
        svg.push_str("<g class=\"hide-blind\">");
        beside(&mut svg, facts, zones, y);
        svg.push_str("</g>");
    }
    svg.push_str("</svg>");
    svg
}

/// The lens alone, lying: where the last millilitres run, on a screen that has no room for a burette.
pub(crate) fn lens(facts: &Facts, zones: &Zones) -> String {
    let end = zones.end();
    let (drops_from, half_from, half_to) = zones.readings();
    let (first, last) = (
        (drops_from - 1.0).max(zones.initial),
        (half_to + 0.5).min(facts.capacity),
    );
    let x = |reading: f64| 4.0 + (reading - first) / (last - first) * 332.0;
    let mut svg = format!(
        "<svg viewBox=\"0 0 340 70\" role=\"img\" aria-label=\"{}\">",
        zones.words()
    );
    for (class, from, to) in [
        ("free", first, drops_from),
        ("drops", drops_from, half_from),
        ("half", half_from, half_to),
        ("drops", half_to, last),
    ] {
        let _ = write!(
            svg,
            "<rect class=\"{class}\" x=\"{:.1}\" y=\"30\" width=\"{:.1}\" height=\"14\"/>",
            x(from),
            (x(to) - x(from)).max(0.0)
        );
    }
    let deviation = zones.within / 2.0;
    let mut curve = String::new();
    for step in 0..=40 {
        let off = (f64::from(step) / 20.0 - 1.0) * 3.0 * deviation;
        let _ = write!(
            curve,
            "{}{:.1} {:.1}",
            if step == 0 { "M" } else { " L" },
            x((end + off).clamp(first, last)),
            30.0 - 24.0 * (-0.5 * (off / deviation).powi(2)).exp()
        );
    }
    let _ = write!(svg, "<path class=\"curve\" d=\"{curve}\"/>");
    for (at, anchor, class, text) in [
        (
            4.0,
            "start",
            "",
            format!("{} {} {half_from:.1}", t("burette.drops"), t("burette.to")),
        ),
        (
            336.0,
            "end",
            "accent",
            format!("{end:.1} {}", t("burette.near")),
        ),
    ] {
        let _ = write!(
            svg,
            "<text class=\"{class}\" x=\"{at:.1}\" y=\"62\" text-anchor=\"{anchor}\" font-size=\"14\">{text}</text>"
        );
    }
    svg.push_str("</svg>");
    svg
}

/// The zones beside the tube, and the lens.
fn beside(svg: &mut String, facts: &Facts, zones: &Zones, y: impl Fn(f64) -> f64) {
    let end = zones.initial + zones.at;
    let (drops_from, half_from, half_to) = zones.readings();
    let bar = |svg: &mut String, class: &str, x: f64, width: f64, from: f64, to: f64| {
        let _ = write!(
            svg,
            "<rect class=\"{class}\" x=\"{x}\" y=\"{from:.1}\" width=\"{width}\" height=\"{:.1}\"/>",
            (to - from).max(0.0)
        );
    };
    bar(svg, "free", 96.0, 8.0, y(zones.initial), y(drops_from));
    bar(svg, "drops", 96.0, 8.0, y(drops_from), y(half_from));
    bar(svg, "half", 96.0, 8.0, y(half_from), y(half_to));
    // The lens opens the last millilitres over 240 px.
    let (first, last) = (drops_from - 0.5, (half_to + 0.5).min(facts.capacity));
    let (top, height) = (330.0_f64.min(y(drops_from)).max(150.0), 250.0);
    let lens = |reading: f64| top + (reading - first) / (last - first) * height;
    let _ = write!(
        svg,
        "<path class=\"thread\" d=\"M104 {:.1} L120 {top:.1} M104 {:.1} L120 {:.1}\"/>",
        y(first),
        y(last),
        top + height
    );
    bar(svg, "free", 120.0, 14.0, lens(first), lens(drops_from));
    bar(svg, "drops", 120.0, 14.0, lens(drops_from), lens(half_from));
    bar(svg, "half", 120.0, 14.0, lens(half_from), lens(half_to));
    bar(svg, "drops", 120.0, 14.0, lens(half_to), lens(last));
    // What is known of the end, as the curve of a normal distribution: the half-width is two of its deviations.
    let deviation = zones.within / 2.0;
    let mut curve = String::new();
    for step in 0..=40 {
        let off = (f64::from(step) / 20.0 - 1.0) * 3.0 * deviation;
        let x = 134.0 + 34.0 * (-0.5 * (off / deviation).powi(2)).exp();
        let at = lens((end + off).clamp(first, last));
        let _ = write!(
            curve,
            "{}{x:.1} {at:.1}",
            if step == 0 { "M" } else { " L" }
        );
    }
    let _ = write!(svg, "<path class=\"curve\" d=\"{curve}\"/>");
    let mut word = |at: f64, class: &str, text: &str| {
        let _ = write!(
            svg,
            "<text class=\"{class}\" x=\"142\" y=\"{at:.1}\" font-size=\"18\">{text}</text>"
        );
    };
    let free = (y(zones.initial) + 40.0).min(top - 46.0).max(24.0);
    word(free, "", t("burette.free"));
    word(
        free + 20.0,
        "quiet",
        &format!("{} {drops_from:.1}", t("burette.to")),
    );
    let drops = (lens(drops_from) + 18.0).min(lens(half_from) - 24.0);
    word(drops, "", t("burette.drops"));
    word(
        drops + 20.0,
        "quiet",
        &format!("{} {half_from:.1}", t("burette.to")),
    );
    let low = lens(end);
    let _ = write!(
        svg,
        "<text x=\"174\" y=\"{:.1}\" font-size=\"18\">{}</text><text class=\"accent\" x=\"174\" y=\"{:.1}\" font-size=\"18\">{end:.1} {}</text>",
        low + 2.0,
        t("burette.half"),
        low + 22.0,
        t("burette.near")
    );
}
