//! The history of a bottle and of a check sample: each value with its U, what happened meanwhile, the control chart with its
//! run rules, and the drift with its forecast.

use super::frame::{drawn, link, path_of};
use super::result::rounded;
use crate::answer::Fault;
use crate::app::App;
use crate::calendar;
use crate::series::{self, Series};
use crate::text::{filled, t};
use crate::words;
use maud::{Markup, html};
use metrology::control::ControlLimits;
use metrology::drift::Drift;
use notebook::graph::How;
use notebook::state::{Sample, Solution};
use notebook::{Day, Event, Node, Payload};
use report::plot::{Dated, Level, LevelLook, Palette, Timeline, timeline_svg};
use report::significant;
use store::Trace;
use titrimetry::assay::SampleKind;
use titrimetry::control::{ControlSettings, RunRule, Signal};

/// What is asked of a chart, as it came: which rules, what tolerance.
pub(crate) type Asked = Vec<(String, String)>;

/// Uses of a bottle that are listed one by one.
const USES: usize = 40;
/// Points of a drawn line.
const POINTS: usize = 40;

fn said<'a>(asked: &'a Asked, name: &str) -> Option<&'a str> {
    let found = asked.iter().find(|(key, _)| key == name);
    found.map(|(_, v)| v.trim()).filter(|v| !v.is_empty())
}

/// Whether a rule is applied: as the settings say, or as was ticked.
fn applied(asked: &Asked, rule: &RunRule) -> bool {
    if said(asked, "rules").is_none() {
        return rule.on;
    }
    asked.iter().any(|(key, v)| key == "rule" && *v == rule.id)
}

/// The tolerance in per cent.
fn tolerance(asked: &Asked) -> Result<f64, Fault> {
    let settings = ControlSettings::shipped();
    let Some(text) = said(asked, "tolerance") else {
        return Ok(settings.drift.tolerance_percent.value);
    };
    text.replace(',', ".")
        .parse::<f64>()
        .ok()
        .filter(|percent| *percent > 0.0 && *percent <= 100.0)
        .ok_or_else(|| Fault::Form(filled("history.no_percent", &[("text", text)])))
}

/// Everything about a bottle in time.
///
/// # Errors
/// [`Fault`] if the record cannot be read, or a tolerance cannot.
pub(crate) async fn of_bottle(
    app: &App,
    node: &Node,
    solution: &Solution,
    (events, rests_on): (&[Event], &Trace),
    asked: &Asked,
) -> Result<Markup, Fault> {
    let today = app.store.now().day();
    let series = series::of_solution(solution);
    let lines = happenings(app, events, (node, rests_on), today).await?;
    let drift = series::drift(app, node, &series).await?;
    let percent = tolerance(asked)?;
    Ok(html! {
        @if !series.found.is_empty() {
            h2 { (t("history.bottle")) }
            (figure(&with_marks(history_picture(&series, today), &lines, &series)))
        }
        (table(&lines))
        @if let Some((drift, own)) = &drift { (drifting(node, &series, (drift, own), percent, today, asked)) }
        (chart(node, &series, None, today, asked))
    })
}

/// Everything about a check sample in time; nothing for other samples.
///
/// # Errors
/// [`Fault`] if the record cannot be read.
pub(crate) async fn of_check(
    app: &App,
    node: &Node,
    sample: &Sample,
    asked: &Asked,
) -> Result<Markup, Fault> {
    if sample.received.role != SampleKind::Check {
        return Ok(html! {});
    }
    let today = app.store.now().day();
    let series = series::of_sample(app, node).await?;
    // Both in the unit that the trade writes, or not compared.
    let expected = sample.received.expected.as_ref().and_then(|stated| {
        let number = stated.value.quantity().number.value();
        let unit = stated.value.quantity().unit.symbol().to_string();
        let alike = unit == series.unit || (unit == "% m/V" && series.unit == "g/100 mL");
        alike.then_some(number)
    });
    Ok(chart(node, &series, expected, today, asked))
}

fn figure(timeline: &Timeline) -> Markup {
    html! {
        div.picture.broad tabindex="0" role="group" aria-label=(timeline.title) { (drawn(timeline_svg(timeline, &Palette::PAGE))) }
    }
}

/// Something that happened to a bottle.
struct Happening {
    day: Day,
    what: Markup,
    who: String,
    /// A word for the picture, where it changes what is in the bottle.
    mark: Option<&'static str>,
}

/// What happened to a bottle, in order: made, standardized, used, topped up, moved, gone.
async fn happenings(
    app: &App,
    events: &[Event],
    (node, rests_on): (&Node, &Trace),
    today: Day,
) -> Result<Vec<Happening>, Fault> {
    let mut lines = Vec::new();
    for event in events {
        let (what, mark) = match &event.payload {
            Payload::SolutionPrepared(p) => (
                html! { (t("history.made")) @for part in &p.made_of { ", " (part.amount.to_string()) " " (link(&part.from)) } },
                None,
            ),
            Payload::SolutionStandardized(p) => {
                let Some(result) = p.evaluated.results.first() else {
                    continue;
                };
                let (value, u) = rounded(result.value, result.expanded_uncertainty);
                (
                    html! {
                        (t("history.standardized")) " " (link(&p.determination)) ": " span.strong { (value) " ± " (u) " " (result.unit) }
                        @if let Some(day) = p.use_before { span.quiet { ", " (t("history.holds")) " " (calendar::short(day, today)) } }
                    },
                    None,
                )
            }
            Payload::SolutionToppedUp(p) => (
                html! { (t("history.topped_up")) @for part in &p.with { ", " (part.amount.to_string()) " " (link(&part.from)) } ": " (p.reason) },
                Some(t("history.topped_up_mark")),
            ),
            Payload::SolutionMoved(p) => (html! { (t("history.moved")) " " (p.kept) }, None),
            Payload::SolutionDiscarded(p) => (
                html! { (t("history.gone")) ": " (p.reason) },
                Some(t("history.gone_mark")),
            ),
            _ => continue,
        };
        lines.push(Happening {
            day: event.at.day(),
            what,
            who: event.who.clone(),
            mark,
        });
    }
    let uses = rests_on
        .threads
        .iter()
        .filter(|(_, edge)| edge.how == How::Uses && edge.on == *node)
        .map(|(_, edge)| &edge.what);
    for user in uses.take(USES) {
        if let Some(thing) = app.store.thing(user).await? {
            lines.push(Happening {
                day: thing.since.day(),
                what: html! { (t("history.used")) " " (link(user)) span.quiet { ", " (thing.title) } },
                who: thing.who.clone(),
                mark: None,
            });
        }
    }
    lines.sort_by_key(|line| line.day);
    Ok(lines)
}

fn table(lines: &[Happening]) -> Markup {
    html! {
        details {
            summary { @if let [_] = lines { (t("history.line")) } @else { (filled("history.lines", &[("n", &lines.len().to_string())])) } }
            div.wide { table {
                thead { tr { th { (t("thing.when")) } th { (t("thing.what")) } th { (t("thing.who")) } } }
                tbody { @for line in lines.iter().rev() { tr { td { (line.day) } td { (line.what) } td.quiet { (line.who) } } } }
            } }
        }
    }
}

/// The points of a series, each with its U.
fn dated(series: &Series, seen: &[Signal], with_u: bool) -> Vec<Dated> {
    let days = series.days();
    series
        .found
        .iter()
        .enumerate()
        .map(|(index, found)| Dated {
            x: days[index],
            y: found.value,
            within: if with_u { found.expanded } else { 0.0 },
            flag: seen
                .iter()
                .any(|signal| signal.at == index)
                .then(|| (index + 1).to_string()),
        })
        .collect()
}

fn day_names(series: &Series, today: Day) -> Vec<(f64, String)> {
    let days = series.days();
    let name = |index: usize| calendar::short(series.found[index].day, today);
    (0..days.len()).map(|i| (days[i], name(i))).collect()
}

/// Each standardization with its U.
fn history_picture(series: &Series, today: Day) -> Timeline {
    let values: Vec<String> = series
        .found
        .iter()
        .map(|found| {
            let (value, u) = rounded(found.value, found.expanded);
            format!("{}: {value} ± {u}", calendar::short(found.day, today))
        })
        .collect();
    Timeline {
        title: t("history.picture").into(),
        description: format!("{} ({})", values.join("; "), series.unit),
        axis: series.unit.clone(),
        points: dated(series, &[], true),
        days: day_names(series, today),
        ..Timeline::default()
    }
}

fn with_marks(mut timeline: Timeline, lines: &[Happening], series: &Series) -> Timeline {
    if let Some(first) = series.found.first() {
        timeline.marks = lines
            .iter()
            .filter_map(|line| Some((first.day.days_to(line.day) as f64, line.mark?.to_string())))
            .collect();
    }
    timeline
}

/// The drift: what the line says, and when it leaves the tolerance.
fn drifting(
    node: &Node,
    series: &Series,
    (drift, own): (&Drift, &[f64]),
    percent: f64,
    today: Day,
    asked: &Asked,
) -> Markup {
    let settings = ControlSettings::shipped();
    let p = settings.drift.probability.value;
    let (Some(first), Some(latest)) = (series.found.first(), series.found.last()) else {
        return html! {};
    };
    let now = first.day.days_to(today) as f64;
    let bounds = (
        latest.value * (1.0 - percent / 100.0),
        latest.value * (1.0 + percent / 100.0),
    );
    let leaving = drift.leaves(bounds, now, p);
    let k = drift.coverage_factor(p);
    // In per cent of the latest value for a week: that is how people think of it.
    let weekly = |slope: f64| 700.0 * slope / latest.value;
    let (slope, u) = rounded(weekly(drift.slope), k * weekly(drift.u_slope()));
    let places = [("slope", slope.as_str()), ("u", u.as_str())];
    let day = |at: f64| first.day.plus(at.round() as i64);
    let named = |at: Option<f64>| {
        at.filter(|at| *at - now < 3650.0)
            .map(|at| calendar::said(day(at), today))
    };
    let percent_text = significant(percent, 2);
    let (verdict, stretch) = if drift.is_seen(p) {
        let seen = filled("history.drift_seen", &places);
        let forecast = forecast(
            (
                named(leaving.expected),
                named(leaving.earliest),
                named(leaving.latest),
            ),
            &percent_text,
        );
        let stretch = match (leaving.earliest, leaving.expected, leaving.latest) {
            (Some(a), Some(b), Some(c)) => Some((a, b, c, t("history.leaves_mark").to_string())),
            _ => None,
        };
        (format!("{seen} {forecast}"), stretch)
    } else {
        let unseen = filled("history.drift_unseen", &places);
        let earliest = named(leaving.earliest).map(|day| {
            let places = [("percent", percent_text.as_str()), ("day", day.as_str())];
            filled("history.not_before", &places)
        });
        (format!("{unseen} {}", earliest.unwrap_or_default()), None)
    };
    let to = stretch
        .as_ref()
        .map_or(now.max(drift.origin), |s| {
            s.2.min(s.1 + 3.0 * (s.1 - now).max(14.0))
        })
        .max(now);
    let mut names = day_names(series, today);
    names.push((now, t("history.today").to_string()));
    if let Some((_, at, ..)) = &stretch {
        names.push((*at, calendar::short(day(*at), today)));
    }
    let timeline = Timeline {
        title: t("history.drift_picture").into(),
        description: verdict.clone(),
        axis: series.unit.clone(),
        points: dated(series, &[], false)
            .into_iter()
            .zip(own)
            .map(|(point, u)| Dated {
                within: k * u,
                ..point
            })
            .collect(),
        days: names,
        tolerance: Some((
            bounds.0,
            bounds.1,
            filled("history.tolerance_is", &[("percent", &percent_text)]),
        )),
        line: (0..=POINTS)
            .map(|i| {
                let x = to * i as f64 / POINTS as f64;
                let (y, u) = drift.at(x);
                (x, y, k * u)
            })
            .collect(),
        stretch,
        ..Timeline::default()
    };
    html! {
        h2 { (t("history.drift")) }
        p { (verdict) }
        @if drift.widened > 1.0 { p.quiet { (filled("history.widened", &[("n", &significant(drift.widened, 2))])) } }
        (figure(&timeline))
        p.quiet { (t("history.drift_how")) }
        form.row.noprint method="get" action=(path_of(node)) {
            @for (key, value) in asked.iter().filter(|(key, _)| key != "tolerance") { input type="hidden" name=(key) value=(value); }
            label { span { (t("history.tolerance")) } input type="text" inputmode="decimal" name="tolerance" value=(percent_text); }
            button type="submit" { (t("history.ask")) }
        }
    }
}

/// When the tolerance is left, as far as it can be said.
fn forecast(
    (expected, earliest, latest): (Option<String>, Option<String>, Option<String>),
    percent: &str,
) -> String {
    match (expected, earliest, latest) {
        (Some(day), Some(from), Some(to)) => filled(
            "history.leaves_between",
            &[
                ("percent", percent),
                ("day", &day),
                ("from", &from),
                ("to", &to),
            ],
        ),
        (Some(day), Some(from), None) => filled(
            "history.leaves_from",
            &[("percent", percent), ("day", &day), ("from", &from)],
        ),
        (Some(day), None, _) => filled("history.leaves", &[("percent", percent), ("day", &day)]),
        (None, Some(from), _) => filled(
            "history.not_before",
            &[("percent", percent), ("day", &from)],
        ),
        (None, None, _) => filled("history.stays", &[("percent", percent)]),
    }
}

/// The control chart.
fn chart(node: &Node, series: &Series, expected: Option<f64>, today: Day, asked: &Asked) -> Markup {
    let settings = ControlSettings::shipped();
    let values = series.values();
    let Ok(limits) = settings.limits_of(&values) else {
        let least = settings.least_values.to_string();
        let have = values.len().to_string();
        return html! {
            h2 { (t("history.chart")) }
            p.quiet { (filled("history.too_few", &[("least", &least), ("n", &have)])) }
        };
    };
    let seen = settings.signals(&values, &limits, |rule| applied(asked, rule));
    let number = |x: f64| rounded(x, limits.s).0;
    let timeline = Timeline {
        title: t("history.chart").into(),
        description: filled(
            "history.chart_words",
            &[
                ("n", &values.len().to_string()),
                ("mean", &number(limits.mean)),
                ("s", &rounded(limits.mean, limits.s).1),
                ("unit", &series.unit),
                ("signals", &seen.len().to_string()),
            ],
        ),
        axis: series.unit.clone(),
        points: dated(series, &seen, false),
        joined: true,
        days: day_names(series, today),
        levels: levels(&limits, expected),
        ..Timeline::default()
    };
    html! {
        h2 #chart { (t("history.chart")) }
        @if seen.is_empty() { p { (t("history.nothing_seen")) } }
        (figure(&timeline))
        @if !seen.is_empty() {
            ul.findings { @for signal in &seen {
                @let found = &series.found[signal.at];
                li {
                    span.strong { (filled("history.value_n", &[("n", &(signal.at + 1).to_string())])) } " "
                    (calendar::short(found.day, today)) ", " (link(&found.by)) ": " (words::engine("signal", &settings.rule[signal.rule].says)) "."
                }
            } }
            p.quiet { (t("history.look")) }
        }
        (rules(node, settings, &limits, asked))
    }
}

fn levels(limits: &ControlLimits, expected: Option<f64>) -> Vec<Level> {
    let settings = ControlSettings::shipped();
    let (warning, action) = (settings.limits.warning.value, settings.limits.action.value);
    let mut levels = vec![Level {
        y: limits.mean,
        word: t("history.mean").into(),
        look: LevelLook::Mean,
    }];
    for (times, look, word) in [
        (warning, LevelLook::Warning, t("history.warning")),
        (action, LevelLook::Action, t("history.action")),
    ] {
        let (lower, upper) = limits.at(times);
        for (y, sign) in [(lower, "\u{2212}"), (upper, "+")] {
            levels.push(Level {
                y,
                word: format!("{word} {sign}{times} s"),
                look,
            });
        }
    }
    if let Some(expected) = expected {
        levels.push(Level {
            y: expected,
            word: t("history.expected").into(),
            look: LevelLook::Mean,
        });
    }
    levels
}

/// The run rules, each with its source, to be switched on and off.
fn rules(node: &Node, settings: &ControlSettings, limits: &ControlLimits, asked: &Asked) -> Markup {
    let spread = match limits.spread {
        metrology::control::Spread::MovingRange => t("history.moving_range"),
        metrology::control::Spread::StandardDeviation => t("history.standard_deviation"),
    };
    html! {
        details.noprint open[said(asked, "rules").is_some()] {
            summary { (t("history.rules")) }
            form method="get" action={ (path_of(node)) "#chart" } {
                input type="hidden" name="rules" value="chosen";
                @if let Some(tolerance) = said(asked, "tolerance") { input type="hidden" name="tolerance" value=(tolerance); }
                @for rule in &settings.rule {
                    label {
                        input type="checkbox" name="rule" value=(rule.id) checked[applied(asked, rule)];
                        (words::engine("signal", &rule.says))
                        small { " · " (settings.sources.get(&rule.source).map(String::as_str).unwrap_or_default()) }
                    }
                }
                button type="submit" { (t("history.apply")) }
            }
            p.quiet { (spread) }
        }
    }
}
