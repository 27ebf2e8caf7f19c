//! What a determination gives: the number with its uncertainty first, then what limits it, then everything behind it.

use super::agreement::{agreement, one_more};
use super::basis::basis;
use super::frame::{command, drawn, link, path_of};
use super::origin::{self, Spot, whence};
use super::run_table::{self, run_table};
use super::{correction, simulation, what_if};
use crate::calendar;
use crate::drawing::{bars, runs_plot};
use crate::measured;
use crate::text::{filled, t};
use crate::told::Told;
use crate::words;
use maud::{Markup, html};
use notebook::payload::{Evaluated, Stated};
use notebook::state::{Determination, Signature, Status};
use notebook::{Day, EvaluateError, Node, Outcome, World, validity};
use report::{Simulated, shares_by_group};
use store::Recomputed;
use titrimetry::finding::{Finding, Likelihood, Severity};

/// A determination with all that its page needs.
pub(crate) struct Shown<'a> {
    pub(crate) node: &'a Node,
    pub(crate) version: u64,
    pub(crate) determination: &'a Determination,
    pub(crate) world: &'a World,
    /// Whether people sign in, so that a signature asks for the passphrase.
    pub(crate) shared: bool,
    /// Certificates that state it, each with whether it holds.
    pub(crate) certificates: Vec<(Node, bool)>,
    /// A free name for the next certificate.
    pub(crate) next_certificate: Node,
    /// What it was and is by each correction beneath it.
    pub(crate) recomputed: Vec<Recomputed>,
    pub(crate) today: Day,
    pub(crate) outcome: &'a Result<Outcome, EvaluateError>,
    /// The simulation of the first result, once the determination is closed.
    pub(crate) simulated: Option<Simulated>,
}

/// A value and its uncertainty with the digits that they deserve.
pub(crate) fn rounded(value: f64, uncertainty: f64) -> (String, String) {
    let rounded = report::rounded(value, uncertainty);
    (rounded.value_text, rounded.uncertainty_text)
}

fn stated(result: &Stated) -> Markup {
    let (value, _) = rounded(result.value, result.expanded_uncertainty);
    html! {
        p.result.hide-blind { (value) " " span.unit { (result.unit) } }
        (terms(result))
    }
}

/// What a result is about, with its uncertainty and whether it keeps its limits.
fn terms(result: &Stated) -> Markup {
    let (_, uncertainty) = rounded(result.value, result.expanded_uncertainty);
    let expressed = result.expressed_as.as_deref().unwrap_or_default();
    html! {
        p.quiet.hide-blind {
            (result.name) @if !expressed.is_empty() { ", " (expressed) } " · " span translate="no" { (result.of.name()) } br;
            "± " (uncertainty)
            @if let Some(p) = result.probability { " " (filled("result.at", &[("p", &format!("{:.0}", 100.0 * p))])) }
            ", k = " (format!("{:.2}", result.coverage_factor))
        }
        @if let Some(probability) = result.conformity {
            p { (t("result.conformity")) " " (certainty(probability)) ": "
                @if result.conforms == Some(true) { (t("result.kept")) } @else { span.accent { (t("result.not_kept")) } } }
        }
    }
}

/// A probability that is never said to be none or all.
fn certainty(probability: f64) -> String {
    if probability > 0.9995 {
        "> 99.9 %".into()
    } else if probability < 0.0005 {
        "< 0.1 %".into()
    } else {
        format!("{:.1} %", 100.0 * probability)
    }
}

/// What limits the result, as bars.
fn limits(outcome: &Outcome) -> Markup {
    let Some(measured) = measured::find(outcome, None) else {
        return html! {};
    };
    let shares = shares_by_group(measured.formula, measured.budget);
    html! {
        h2 { (t("result.limits")) }
        div.bars.hide-blind {
            @for (index, share) in shares.iter().filter(|s| s.share >= 0.01).take(6).enumerate() {
                div {
                    (words::engine("group", &share.group)) span.quiet { " " (format!("{:.0} %", 100.0 * share.share)) }
                    (drawn(bars::bar(share.share, index == 0)))
                }
            }
        }
    }
}

fn finding(finding: &Finding) -> Markup {
    let weight = match finding.severity {
        Severity::RuleBroken => t("findings.rule"),
        Severity::Doubt => t("findings.doubt"),
        Severity::Note => t("findings.note"),
    };
    html! {
        li {
            @if finding.severity == Severity::RuleBroken { span.accent { (weight) } } @else { span.strong { (weight) } }
            " " (finding.message)
            @for cause in &finding.causes {
                @if cause.likelihood == Likelihood::Likely {
                    div { "· " (t("findings.would")) " " (cause.message) }
                    @if !cause.next_step.is_empty() { div.quiet.step { (cause.next_step) } }
                } @else {
                    div.quiet { "· " (cause.message) }
                }
            }
            @if !finding.next_step.is_empty() { div.quiet.step { (finding.next_step) } }
        }
    }
}

fn findings(outcome: &Outcome) -> Markup {
    let mut all: Vec<&Finding> = outcome.findings().iter().collect();
    all.sort_by_key(|f| std::cmp::Reverse(f.severity));
    html! {
        h2 { (t("findings.title")) }
        @if all.is_empty() { p.quiet { (t("findings.none")) } }
        ul.findings.hide-blind { @for one in all { (finding(one)) } }
    }
}

/// The column beside the bench: what is known so far, and whether one more run is worth it.
pub(crate) fn side(shown: &Shown<'_>) -> Markup {
    match shown.outcome {
        Ok(outcome) => html! {
            h2 { (t("result.so_far")) }
            @for result in outcome.evaluated().results.iter().take(3) { (stated(result)) }
            (one_more(outcome))
            (agreement(outcome))
            (limits(outcome))
            (findings(outcome))
        },
        Err(error) => html! {
            h2 { (t("result.so_far")) }
            p.quiet { (t("result.none_yet")) }
            @if !shown.determination.runs.is_empty() { details { summary { (t("result.why_none")) } p { (error.to_string()) } } }
        },
    }
}

/// The page of a determination that is closed.
pub(crate) fn result(shown: &Shown<'_>) -> Markup {
    let determination = shown.determination;
    let back = path_of(shown.node);
    html! {
        h1 translate="no" { (determination.opened.title) }
        p.quiet { (shown.node.name()) " · " (determination.at.day()) " · " (determination.who) " · " (status(shown)) }
        (old_beside_new(shown))
        @match shown.outcome {
            Ok(outcome) => {
                @let evaluated = outcome.evaluated();
                @let told = Told::of(outcome);
                div.found {
                    div {
                        (sentence(&evaluated, Some((shown.node, outcome))))
                        @if !evaluated.usable { p.notice { (unusable(&evaluated, outcome)) } }
                        @if let [only] = evaluated.results.as_slice() {
                            (terms(only))
                        } @else {
                            @for result in &evaluated.results { (stated(result)) }
                        }
                        (run_table(shown, None))
                        (super::files::photographs(shown))
                        (agreement(outcome))
                        (plot(outcome))
                        (findings(outcome))
                    }
                    div {
                        (basis(shown, outcome, &evaluated))
                        (limits(outcome))
                        (advice(&told))
                    }
                }
                (questions(shown, outcome))
                (working(shown, &told))
            }
            Err(error) => { p.notice { (error.to_string()) } (run_table(shown, None)) }
        }
        (signatures(shown))
        (actions(shown, &back))
        h2 { (t("result.rests_on")) }
        p {
            a href={ "/things/determination/" (super::frame::escaped(shown.node.name())) } { (t("result.trace")) } " · "
            a href={ "/api/v1/determinations/" (super::frame::escaped(shown.node.name())) "/evaluation" } { (t("result.json")) } " · "
            a href={ (back) "/runs.csv" } { (t("result.runs_csv")) } " · "
            a href={ (back) "/budget.csv" } { (t("result.budget_csv")) }
        }
    }
}

/// The result reads as a sentence first.
///
/// The number leads to where it comes from, if the determination is given.
pub(crate) fn sentence(evaluated: &Evaluated, of: Option<(&Node, &Outcome)>) -> Markup {
    let Some(first) = evaluated.results.first() else {
        return html! {};
    };
    let (value, uncertainty) = rounded(first.value, first.expanded_uncertainty);
    let p = first.probability.map_or(95.0, |p| 100.0 * p);
    html! {
        p.big { (pressed(of, &value)) " " span.result { span.unit { (first.unit) } } }
        p { (filled("result.sentence", &[("u", &uncertainty), ("unit", &first.unit), ("p", &format!("{p:.0}"))])) }
    }
}

/// The number of the first result, leading to where it comes from.
fn pressed(of: Option<(&Node, &Outcome)>, value: &str) -> Markup {
    let shown = html! { (value) };
    let spot = of.and_then(|(node, outcome)| {
        let measured = measured::find(outcome, None)?;
        let spot = Spot::of_node(measured.formula, measured.formula.result_index())?;
        Some((node, spot))
    });
    match spot {
        Some((node, spot)) => whence(node, &spot, "", &shown),
        None => shown,
    }
}

/// How far it is; a value that nobody approved is not called approved.
pub(crate) fn status(shown: &Shown<'_>) -> Markup {
    let d = shown.determination;
    let Some(last) = d.recomputed.last().filter(|_| d.unapproved) else {
        return html! { (words::status(d.status.word())) };
    };
    let day = |at: notebook::Moment| calendar::short(at.day(), shown.today);
    let again = day(last.at);
    html! {
        @match &d.approved {
            Some(approved) => { (filled("correction.approved_then", &[("day", &day(approved.at)), ("again", &again)])) }
            None => { (filled("correction.computed", &[("again", &again)])) }
        }
        " " (correction::link_to(last.because))
    }
}

/// What it was and what it is, where something beneath was corrected.
fn old_beside_new(shown: &Shown<'_>) -> Markup {
    let d = shown.determination;
    html! {
        @if d.failed.is_some() { p.notice role="alert" { (t("correction.lost")) } }
        @if !shown.recomputed.is_empty() {
            h2 { (t("correction.old_and_new")) }
            (correction::old_beside_new(&shown.recomputed))
            @if d.unapproved && d.failed.is_none() { p.notice { (t("correction.unapproved")) } }
        }
    }
}

/// Why a result may not be used: a broken rule, or how many samples do not keep their limits.
fn unusable(evaluated: &Evaluated, outcome: &Outcome) -> String {
    let broken = outcome.findings().iter();
    let broken = broken
        .filter(|f| f.severity == Severity::RuleBroken)
        .count();
    let judged = evaluated.results.iter().filter(|r| r.conforms.is_some());
    let outside = judged.clone().filter(|r| r.conforms == Some(false));
    let names: Vec<&str> = outside.map(|r| r.of.name()).collect();
    let mut said = Vec::new();
    if broken > 0 {
        said.push(filled("result.rules_broken", &[("n", &broken.to_string())]));
    }
    if !names.is_empty() {
        let (n, of) = (names.len().to_string(), judged.count().to_string());
        let places = [("n", n.as_str()), ("of", &of), ("names", &names.join(", "))];
        said.push(filled("result.outside", &places));
    }
    if said.is_empty() {
        said.push(t("result.not_usable").into());
    }
    said.join(" ")
}

fn plot(outcome: &Outcome) -> Markup {
    match outcome {
        Outcome::Standardization { evaluation, .. } => {
            html! { h2 { (t("result.plot")) } div.picture tabindex="0" role="group" aria-label=(t("result.plot")) { (drawn(runs_plot::runs(evaluation))) } }
        }
        Outcome::Assay { .. } => html! {},
    }
}

fn advice(told: &Told<'_>) -> Markup {
    let Outcome::Standardization { evaluation, .. } = told.outcome else {
        return html! {};
    };
    html! {
        @if !told.advice.is_empty() {
            h2 { (t("result.advice")) }
            table { tbody {
                @for one in &told.advice {
                    @let text = |u: f64| rounded(evaluation.concentration(), u).1;
                    tr { td { (words::engine("advice", &one.action)) } td.number { "U " (text(one.expanded_before)) " → " (text(one.expanded_after)) " mol/L" } }
                }
            } }
        }
    }
}

/// The budget line by line, and what would be with other inputs.
fn questions(shown: &Shown<'_>, outcome: &Outcome) -> Markup {
    let Some(measured) = measured::find(outcome, None) else {
        return html! {};
    };
    let sliders = what_if::section(shown.node, outcome, &Vec::new()).unwrap_or_default();
    html! {
        details { summary { (t("result.budget")) } (origin::budget(shown.node, &measured)) }
        @if let Some(simulated) = &shown.simulated { (simulation::section(&measured, simulated)) }
        section.noprint {
            h2 { (t("what_if.title")) }
            p.quiet { (t("what_if.how")) }
            (sliders)
            @let all = measured::all(outcome);
            @if all.len() > 1 {
                p { (filled("what_if.only", &[("name", &measured.name)])) " "
                    a href={ (path_of(shown.node)) "/what-if" } { (t("what_if.others")) } }
            }
        }
    }
}

/// The worked solution, to be looked at and kept; the whole report, as text.
fn working(shown: &Shown<'_>, told: &Told<'_>) -> Markup {
    let at = format!("{}/working", path_of(shown.node));
    html! {
        h2 { (t("result.working")) }
        p {
            a href=(at) { (t("working.look")) } " · " a href={ (at) ".pdf" } { (t("working.pdf")) } " · "
            a href={ (at) ".html" } { (t("working.html")) }
        }
        details { summary { (t("result.whole")) } pre tabindex="0" { (told.whole()) } }
    }
}

fn signature(word: &str, signature: &Signature) -> Markup {
    html! { p { (word) ": " span.strong { (signature.name.as_deref().unwrap_or(&signature.who)) } ", “" (signature.meaning) "”, " (signature.at.day()) " " (signature.at.clock()) } }
}

fn signatures(shown: &Shown<'_>) -> Markup {
    let d = shown.determination;
    html! {
        @if d.reviewed.is_some() || d.approved.is_some() { h2 { (t("result.signed")) } }
        @if let Some(reviewed) = &d.reviewed {
            (signature(t("result.reviewed"), reviewed))
            @if d.changed.milliseconds() > reviewed.at.milliseconds() { p.notice { (t("result.changed_since")) } }
        }
        @if let Some(approved) = &d.approved { (signature(t("result.approved"), approved)) }
    }
}

/// What was changed since it was entered, for the second look.
fn changes(shown: &Shown<'_>) -> Markup {
    let lines = run_table::changes(shown);
    html! {
        @if lines.is_empty() { p { (t("review.unchanged")) } } @else {
            p { (t("review.changed")) }
            ul { @for line in lines { li { (line) } } }
        }
    }
}

/// What can be done with it now.
fn actions(shown: &Shown<'_>, back: &str) -> Markup {
    let expects = html! { input type="hidden" name="expects" value=(shown.version); };
    let proof = html! {
        @if shown.shared { label { span { (t("review.passphrase")) } input type="password" name="passphrase" required autocomplete="current-password"; } }
    };
    html! {
        div.noprint {
            @match shown.determination.status {
                Status::Closed => {
                    h2 { (t("review.title")) }
                    p.quiet { (t("review.how")) }
                    (changes(shown))
                    div.row {
                        (command(shown.node, "determination-reviewed", back, t("review.accept"), &html! {
                            (expects) input type="hidden" name="p.b.accepted" value="true"; (proof)
                            button.main type="submit" { (t("review.accept")) }
                        }))
                        (command(shown.node, "determination-reopened", back, t("review.reopen"), &html! {
                            label { span { (t("bench.why")) } input name="p.s.reason" required maxlength="300"; }
                            button type="submit" { (t("review.reopen")) }
                        }))
                    }
                }
                Status::Reviewed => {
                    h2 { (t("review.sign")) }
                    (approval(shown, back, t("review.sign"), &proof))
                }
                // No result, nothing to sign.
                Status::Approved if shown.determination.failed.is_some() => { (issued(shown)) }
                Status::Approved if shown.determination.unapproved => {
                    h2 { (t("correction.approve")) }
                    p { (t("correction.unapproved")) }
                    (approval(shown, back, t("correction.approve"), &proof))
                    (issued(shown))
                }
                Status::Approved => {
                    (issued(shown))
                    @if shown.certificates.iter().all(|(_, holds)| !holds) { (issue(shown, &proof)) }
                }
                Status::Open | Status::GivenUp => {}
            }
        }
    }
}

/// The form by which a value is approved.
fn approval(shown: &Shown<'_>, back: &str, label: &str, proof: &Markup) -> Markup {
    command(
        shown.node,
        "determination-approved",
        back,
        label,
        &html! {
            input type="hidden" name="expects" value=(shown.version);
            div.row {
                label { span { (t("review.meaning")) } select name="p.s.meaning" {
                    option { (t("review.approved_for_use")) } option { (t("review.approved_for_training")) }
                } }
                (proof)
                button.main type="submit" { (t("review.sign_button")) }
            }
        },
    )
}

/// The certificates that state it.
fn issued(shown: &Shown<'_>) -> Markup {
    html! {
        h2 { (t("review.certificate")) }
        @if !shown.certificates.is_empty() {
            p { (t("review.is_issued")) @for (certificate, holds) in &shown.certificates {
                " " (link(certificate)) @if !holds { span.quiet { " (" (t("correction.not_current")) ")" } }
            } }
        }
    }
}

/// The form by which a certificate is issued.
fn issue(shown: &Shown<'_>, proof: &Markup) -> Markup {
    let certificate = &shown.next_certificate;
    let until = validity::holds_until(shown.world, shown.node);
    let word = if shown.certificates.is_empty() {
        t("review.issue")
    } else {
        t("correction.issue_new")
    };
    // Not one that is sent beside the page: it leads to the certificate.
    html! {
        form method="post" action="/do" {
            input type="hidden" name="on" value=(certificate);
            input type="hidden" name="kind" value="certificate-issued";
            input type="hidden" name="back" value=(path_of(certificate));
            input type="hidden" name="p.s.determination" value=(shown.node);
            div.row {
                label { span { (t("correction.signature")) } input name="p.s.meaning" required maxlength="300" value=(t("review.issued")); }
                label { span { (t("correction.usable_until")) } input type="date" name="p.s.use_before" value=[until] max=[until]; }
                (proof)
                button.main type="submit" { (word) }
            }
        }
    }
}
