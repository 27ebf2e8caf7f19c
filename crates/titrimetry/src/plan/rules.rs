//! What the rules will say: a profile, and published procedures, held against what is expected.

use super::candidate::Dose;
use super::case::{Case, Opposite};
use super::forward::Expectation;
use crate::rule_profile::{Rule, RuleProfile};
use metrology::quantiles::chi_square_lower_tail;
use serde::{Deserialize, Serialize};
use std::sync::LazyLock;

/// How a rule is expected to come out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome {
    /// It is met.
    Meets,
    /// It may be met or not; the text says how likely.
    AtRisk,
    /// It is broken.
    Breaks,
}

/// One rule held against the plan.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Verdict {
    /// The rule, as the profile calls it.
    pub rule: &'static str,
    /// How it comes out.
    pub outcome: Outcome,
    /// What is expected and what is asked.
    pub text: String,
    /// Where the rule comes from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub source: Option<String>,
}

/// Chance below which a random rule counts as at risk, and below which as broken (own choice).
const SAFE: f64 = 0.95;
const HOPELESS: f64 = 0.5;

/// Largest expected range over standard deviation with 95 % probability, n = 2 to 8 (upper 5 % points of the
/// studentized range at infinite degrees of freedom; Pearson and Hartley, from memory).
const RANGE_95: [f64; 7] = [2.77, 3.31, 3.63, 3.86, 4.03, 4.17, 4.29];

/// All rules of a profile against an expectation.
pub fn verdicts(case: &Case, expected: &Expectation, profile: &RuleProfile) -> Vec<Verdict> {
    let mut out = Vec::new();
    let n = expected.candidate.runs;
    let capacity = expected.candidate.burette.nominal_ml;
    let (lowest, highest) = expected.titre_limits_ml;
    let percent = |x: f64| x * 100.0;
    let s = expected.relative_scatter;
    let mut say = |rule: &'static str, outcome: Outcome, text: String, source: Option<String>| {
        out.push(Verdict {
            rule,
            outcome,
            text,
            source,
        });
    };
    if let Some(rule) = &profile.least_runs {
        let text = format!("{n} runs planned, at least {} asked", rule.limit);
        say(
            "least_runs",
            met(n >= rule.limit),
            text,
            profile.origin(rule),
        );
    }
    if let Some(rule) = &profile.titre_least_percent {
        let least = rule.limit / 100.0 * capacity;
        let outcome = if expected.titre_ml < least {
            Outcome::Breaks
        } else if lowest < least {
            Outcome::AtRisk
        } else {
            Outcome::Meets
        };
        let text = format!(
            "titre {:.1} mL ({:.1} to {:.1}) on the {capacity} mL burette, at least {:.0} % = {least:.1} mL asked",
            expected.titre_ml, lowest, highest, rule.limit
        );
        say("titre_least_percent", outcome, text, profile.origin(rule));
    }
    if let Some(rule) = &profile.titre_most_percent {
        let most = rule.limit / 100.0 * capacity;
        let outcome = if expected.titre_ml > most {
            Outcome::Breaks
        } else if highest > most * (1.0 + 1e-9) {
            Outcome::AtRisk
        } else {
            Outcome::Meets
        };
        let text = format!(
            "titre at most {highest:.1} mL on the {capacity} mL burette, at most {:.0} % = {most:.1} mL asked",
            rule.limit
        );
        say("titre_most_percent", outcome, text, profile.origin(rule));
    }
    if let Some(rule) = &profile.rsd_percent
        && n >= 2
    {
        let nu = f64::from(n) - 1.0;
        let chance = chi_square_lower_tail(nu * (rule.limit / 100.0 / s).powi(2), nu);
        let text = format!(
            "expected scatter {:.2} %, at most {} % asked: {n} runs pass {:.0} times in 100",
            percent(s),
            rule.limit,
            percent(chance)
        );
        say("rsd_percent", likely(chance), text, profile.origin(rule));
    }
    if let Some(rule) = &profile.concordant_within_ml
        && n >= 2
    {
        let of = profile
            .concordant_runs
            .as_ref()
            .map_or(n, |r| r.limit.min(n));
        ranged(
            "concordant_within_ml",
            rule,
            s * expected.titre_ml,
            of,
            "mL",
            profile,
            &mut say,
        );
    }
    if let Some(rule) = &profile.range_percent
        && n >= 2
    {
        ranged("range_percent", rule, percent(s), n, "%", profile, &mut say);
    }
    if let Some(rule) = &profile.range_percent_per_analyst {
        let each = profile
            .analysts
            .as_ref()
            .map_or(n, |a| n.div_ceil(a.limit))
            .max(2);
        ranged(
            "range_percent_per_analyst",
            rule,
            percent(s),
            each,
            "%",
            profile,
            &mut say,
        );
    }
    if let (Some(analysts), Some(each)) = (&profile.analysts, &profile.least_runs_per_analyst) {
        let needed = analysts.limit * each.limit;
        let text = format!(
            "{n} runs planned, {} analysts with {} runs each = {needed} asked",
            analysts.limit, each.limit
        );
        say(
            "least_runs_per_analyst",
            met(n >= needed),
            text,
            profile.origin(each),
        );
    }
    if let (Some(rule), Opposite::Standard { .. }) =
        (&profile.nominal_within_percent, &case.opposite)
    {
        let within = percent(case.strength_within);
        let outcome = if within <= rule.limit {
            Outcome::Meets
        } else {
            Outcome::AtRisk
        };
        let text = format!(
            "strength expected within {within:.0} % of nominal, {} % allowed",
            rule.limit
        );
        say(
            "nominal_within_percent",
            outcome,
            text,
            profile.origin(rule),
        );
    }
    if let Some(rule) = &profile.reading_step_ml {
        let step = reading_step_ml(case, expected);
        let text = format!(
            "burette read to {step} mL, {} mL or finer asked",
            rule.limit
        );
        say(
            "reading_step_ml",
            met(step <= rule.limit * (1.0 + 1e-9)),
            text,
            profile.origin(rule),
        );
    }
    if let Some(rule) = &profile.expanded_uncertainty_percent {
        let text = format!(
            "expected U = {:.2} %, at most {} % asked",
            percent(expected.relative_uncertainty),
            rule.limit
        );
        let outcome = met(percent(expected.relative_uncertainty) <= rule.limit);
        say(
            "expanded_uncertainty_percent",
            outcome,
            text,
            profile.origin(rule),
        );
    }
    out
}

/// Step to which the burette is read, mL: as wished, else a tenth of the graduation, not below 0.005 mL.
pub(super) fn reading_step_ml(case: &Case, expected: &Expectation) -> f64 {
    match &case.wishes.shelf.read_to {
        Some(step) => step.value(),
        None => expected
            .candidate
            .burette
            .graduation_ml
            .map_or(0.01, |g| (g / 10.0).max(0.005)),
    }
}

fn met(yes: bool) -> Outcome {
    if yes { Outcome::Meets } else { Outcome::Breaks }
}

fn likely(chance: f64) -> Outcome {
    if chance >= SAFE {
        Outcome::Meets
    } else if chance >= HOPELESS {
        Outcome::AtRisk
    } else {
        Outcome::Breaks
    }
}

/// A rule on the range of n values whose standard deviation is expected.
fn ranged(
    name: &'static str,
    rule: &Rule<f64>,
    s: f64,
    n: u32,
    unit: &str,
    profile: &RuleProfile,
    say: &mut impl FnMut(&'static str, Outcome, String, Option<String>),
) {
    let index = (n.clamp(2, 8) - 2) as usize;
    let wide = RANGE_95[index] * s;
    let outcome = if wide <= rule.limit {
        Outcome::Meets
    } else if s <= rule.limit {
        Outcome::AtRisk
    } else {
        Outcome::Breaks
    };
    let text = format!(
        "range of {n} values below {wide:.2} {unit} in 95 of 100 sets, at most {} {unit} asked",
        rule.limit
    );
    say(name, outcome, text, profile.origin(rule));
}

/// How the plan stands under a profile as a whole.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ProfileOutlook {
    /// Name of the profile.
    pub profile: String,
    /// The worst outcome of its rules.
    pub outcome: Outcome,
    /// The rules that are not safely kept, in words.
    pub why: Vec<String>,
}

/// The plan under every shipped profile.
pub fn under_every_profile(case: &Case, expected: &Expectation) -> Vec<ProfileOutlook> {
    RuleProfile::shipped()
        .iter()
        .map(|profile| {
            let verdicts = verdicts(case, expected, profile);
            let outcome = verdicts
                .iter()
                .map(|v| v.outcome)
                .max()
                .unwrap_or(Outcome::Meets);
            let why = verdicts
                .into_iter()
                .filter(|v| v.outcome != Outcome::Meets)
                .map(|v| v.text)
                .collect();
            ProfileOutlook {
                profile: profile.name.clone(),
                outcome,
                why,
            }
        })
        .collect()
}

/// What a published procedure fixes for one run.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
struct Procedure {
    titrant: String,
    flask: String,
    #[serde(default)]
    application: Application,
    #[serde(default)]
    strength: Option<f64>,
    #[serde(default)]
    mass_g: Option<f64>,
    #[serde(default)]
    titre_least_ml: Option<f64>,
    #[serde(default)]
    titre_most_ml: Option<f64>,
    source: String,
    mark: crate::rule_profile::Mark,
}

#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(rename_all = "snake_case")]
enum Application {
    #[default]
    Standardization,
    Sample,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Procedures {
    procedure: Vec<Procedure>,
}

static PROCEDURES: LazyLock<Vec<Procedure>> = LazyLock::new(|| {
    let text = include_str!("../../../../reference/planning/procedures.toml");
    match toml::from_str::<Procedures>(text) {
        Ok(file) => file.procedure,
        Err(error) => {
            panic!("the embedded file reference/planning/procedures.toml is broken: {error}")
        }
    }
});

/// Two demands that cannot both be kept as planned, and what would reconcile them.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Contradiction {
    /// The two demands, with what they make here.
    pub text: String,
    /// What would keep both, or that nothing does.
    pub way_out: String,
}

/// Procedures against procedures and against the profile's bounds on the titre.
pub fn contradictions(
    case: &Case,
    expected: &Expectation,
    profile: &RuleProfile,
) -> Vec<Contradiction> {
    let mut out = Vec::new();
    // Where the profile leaves the titre open, the strictest shipped one is held against it.
    let strictest = RuleProfile::shipped().iter().max_by(|a, b| {
        let least = |p: &RuleProfile| p.titre_least_percent.as_ref().map_or(0.0, |r| r.limit);
        least(a).total_cmp(&least(b))
    });
    let profile = match strictest {
        Some(strictest) if profile.titre_least_percent.is_none() => strictest,
        _ => profile,
    };
    let bounds = TitreRules::of(profile);
    let titre_per_gram = match &expected.candidate.dose {
        Dose::Weighed { mass_g } => Some(expected.titre_ml / mass_g),
        _ => None,
    };
    // What the wishes or a procedure fix as a mass gives a titre; the profile bounds the titre.
    let mut masses: Vec<(f64, String)> = Vec::new();
    if let Some(mass) = &case.wishes.run.mass {
        let by = case
            .wishes
            .run
            .procedure
            .clone()
            .unwrap_or_else(|| "the wishes".into());
        masses.push((mass.value(), by));
    }
    for procedure in matching(case, expected) {
        let same = |m: f64| {
            masses
                .iter()
                .any(|(known, _)| (known / m - 1.0).abs() < 1e-6)
        };
        if let Some(mass) = procedure.mass_g.filter(|m| !same(*m)) {
            masses.push((mass, named(procedure)));
        }
    }
    if let Some(per_gram) = titre_per_gram {
        for (mass, by) in &masses {
            let titre = mass * per_gram;
            let share = titre / expected.candidate.burette.nominal_ml;
            if let Some(demand) = bounds.broken_by(share) {
                out.push(Contradiction {
                    text: format!(
                        "{mass} g a run ({by}) is a titre of {titre:.2} mL, {:.0} % of the {} mL burette; {demand}",
                        share * 100.0,
                        expected.candidate.burette.nominal_ml
                    ),
                    way_out: bounds.way_out(case, titre, |least, most| {
                        format!("{:.2} to {:.2} g on this burette", least / per_gram, most / per_gram)
                    }, expected.candidate.burette.nominal_ml),
                });
            }
        }
    }
    for procedure in matching(case, expected) {
        let least = procedure.titre_least_ml.unwrap_or(0.0);
        let most = procedure.titre_most_ml.unwrap_or(f64::INFINITY);
        if least == 0.0 && most.is_infinite() {
            continue;
        }
        let capacity = expected.candidate.burette.nominal_ml;
        let by = named(procedure);
        if bounds.least * capacity >= most {
            out.push(Contradiction {
                text: format!(
                    "at most {most} mL ({by}); at least {:.0} % of the {capacity} mL burette = {:.1} mL ({})",
                    bounds.least * 100.0,
                    bounds.least * capacity,
                    profile.name
                ),
                way_out: smaller_burette(case, bounds.least, most),
            });
        } else if expected.titre_ml <= most && expected.titre_limits_ml.1 > most {
            out.push(Contradiction {
                text: format!(
                    "planned titre {:.1} mL, but it may reach {:.1} mL; a procedure asks for at most {most} mL ({by})",
                    expected.titre_ml, expected.titre_limits_ml.1
                ),
                way_out: "where the rough run passes it, take less for the others".into(),
            });
        } else if expected.titre_ml < least || expected.titre_ml > most {
            let asked = match (procedure.titre_least_ml, procedure.titre_most_ml) {
                (Some(least), Some(most)) => format!("{least} to {most} mL"),
                (Some(least), None) => format!("at least {least} mL"),
                _ => format!("at most {most} mL"),
            };
            out.push(Contradiction {
                text: format!(
                    "planned titre {:.1} mL; a procedure asks for {asked} ({by})",
                    expected.titre_ml
                ),
                way_out: format!(
                    "write [run] titre = \"{:.0} mL\" to follow the procedure",
                    if expected.titre_ml < least {
                        1.1 * least
                    } else {
                        0.9 * most
                    }
                ),
            });
        }
    }
    out
}

fn matching<'a>(
    case: &'a Case,
    expected: &'a Expectation,
) -> impl Iterator<Item = &'static Procedure> + 'a {
    let application = match case.opposite {
        Opposite::Standard { .. } => Application::Standardization,
        Opposite::Sample { .. } => Application::Sample,
    };
    PROCEDURES.iter().filter(move |p| {
        p.titrant == case.titrant.name
            && p.flask == case.flask.name
            && p.application == application
            && p.strength
                .is_none_or(|s| (s / expected.candidate.strength.value() - 1.0).abs() < 0.01)
    })
}

fn named(procedure: &Procedure) -> String {
    format!("{} ({})", procedure.source, procedure.mark.describe())
}

/// The profile's bounds on the titre, as shares of the burette.
struct TitreRules {
    least: f64,
    most: f64,
    name: String,
}

impl TitreRules {
    fn of(profile: &RuleProfile) -> Self {
        Self {
            least: profile
                .titre_least_percent
                .as_ref()
                .map_or(0.0, |r| r.limit / 100.0),
            most: profile
                .titre_most_percent
                .as_ref()
                .map_or(1.0, |r| r.limit / 100.0),
            name: profile.name.clone(),
        }
    }

    fn broken_by(&self, share: f64) -> Option<String> {
        if share < self.least {
            Some(format!(
                "{} asks for at least {:.0} %",
                self.name,
                self.least * 100.0
            ))
        } else if share > self.most * (1.0 + 1e-9) {
            Some(format!(
                "{} allows at most {:.0} %",
                self.name,
                self.most * 100.0
            ))
        } else {
            None
        }
    }

    fn way_out(
        &self,
        case: &Case,
        titre: f64,
        amounts: impl Fn(f64, f64) -> String,
        capacity: f64,
    ) -> String {
        let amounts = amounts(self.least * capacity, self.most * capacity);
        let fits: Vec<String> = case
            .cupboard
            .burettes
            .iter()
            .filter(|b| self.broken_by(titre / b.nominal_ml).is_none())
            .map(|b| format!("{} ({:.0} %)", b.name, titre / b.nominal_ml * 100.0))
            .collect();
        if fits.is_empty() {
            let stocked = stocked(titre, self.least, self.most);
            let stocked = stocked.map_or_else(String::new, |b| {
                format!("; or a {b}, which is not on the shelf")
            });
            format!("{amounts}{stocked}")
        } else {
            format!("{amounts}; or with that mass {}", fits.join(", "))
        }
    }
}

/// The catalogue's class A burette whose capacity a titre suits.
fn stocked(titre: f64, least: f64, most: f64) -> Option<String> {
    use volumetry::catalogue::{Class, Kind, entries};
    entries()
        .iter()
        .filter(|e| e.kind == Kind::Burette && e.class == Some(Class::A))
        .filter(|e| titre >= least * e.nominal_ml && titre <= most * e.nominal_ml)
        .min_by(|a, b| {
            let off = |nominal: f64| (titre / nominal - 0.7).abs();
            off(a.nominal_ml).total_cmp(&off(b.nominal_ml))
        })
        .map(ToString::to_string)
}

fn smaller_burette(case: &Case, least: f64, most_ml: f64) -> String {
    let fits: Vec<&str> = case
        .cupboard
        .burettes
        .iter()
        .filter(|b| least * b.nominal_ml < most_ml)
        .map(|b| b.name.as_str())
        .collect();
    if fits.is_empty() {
        "no burette on the shelf keeps both; a smaller one does".into()
    } else {
        format!("{} keeps both", fits.join(" or "))
    }
}
