//! The same quantity found again and again: the concentration of a bottle at each standardization, the content of a check
//! sample each time.

use crate::answer::Fault;
use crate::app::App;
use crate::measured::{self, Measured};
use metrology::drift::Drift;
use metrology::{Input, Role, covariances_between};
use notebook::graph::How;
use notebook::payload::Stated;
use notebook::state::Solution;
use notebook::{Day, Node, Outcome};

/// Most values of a series: the latest.
const MOST: usize = 60;

/// One value.
pub(crate) struct Found {
    /// By which determination.
    pub(crate) by: Node,
    pub(crate) day: Day,
    pub(crate) value: f64,
    /// Expanded uncertainty.
    pub(crate) expanded: f64,
    pub(crate) u: f64,
}

/// The values in their order, in one unit.
pub(crate) struct Series {
    pub(crate) unit: String,
    pub(crate) found: Vec<Found>,
}

impl Series {
    pub(crate) fn values(&self) -> Vec<f64> {
        self.found.iter().map(|f| f.value).collect()
    }

    /// Days since the first.
    pub(crate) fn days(&self) -> Vec<f64> {
        let Some(first) = self.found.first() else {
            return Vec::new();
        };
        let since = |day: Day| first.day.days_to(day) as f64;
        self.found.iter().map(|f| since(f.day)).collect()
    }

    /// Takes a value in; one of another unit begins anew, so that numbers are comparable.
    fn take(&mut self, by: &Node, day: Day, stated: &Stated) {
        if self.unit != stated.unit {
            self.found.clear();
            self.unit.clone_from(&stated.unit);
        }
        // Computed again after a correction: the latest holds.
        self.found.retain(|f| f.by != *by);
        self.found.push(Found {
            by: by.clone(),
            day,
            value: stated.value,
            expanded: stated.expanded_uncertainty,
            u: stated.standard_uncertainty,
        });
    }

    fn in_order(mut self) -> Self {
        self.found.sort_by_key(|f| f.day);
        let more = self.found.len().saturating_sub(MOST);
        self.found.drain(..more);
        self
    }
}

/// A series without values.
pub(crate) fn nothing() -> Series {
    Series {
        unit: String::new(),
        found: Vec::new(),
    }
}

/// What a bottle was found to be, each time.
pub(crate) fn of_solution(solution: &Solution) -> Series {
    let mut series = nothing();
    for standing in &solution.standardized {
        if let Some(result) = standing.evaluated.results.first() {
            series.take(&standing.determination, standing.at.day(), result);
        }
    }
    series.in_order()
}

/// What was found in a sample, each time it was closed.
///
/// # Errors
/// [`Fault`] if the record cannot be read.
pub(crate) async fn of_sample(app: &App, sample: &Node) -> Result<Series, Fault> {
    let about: Vec<Node> = app
        .store
        .rests_on(sample)
        .await?
        .threads
        .into_iter()
        .filter(|(_, edge)| edge.how == How::About && edge.on == *sample)
        .map(|(_, edge)| edge.what)
        .collect();
    let latest = &about[about.len().saturating_sub(MOST)..];
    let world = app.store.world(latest).await?;
    let mut series = nothing();
    for node in latest {
        let Some(determination) = world.determination(node) else {
            continue;
        };
        let evaluated = determination.evaluated.as_ref();
        let result = evaluated.and_then(|e| e.results.iter().find(|r| r.of == *sample));
        if let Some(result) = result {
            series.take(node, determination.at.day(), result);
        }
    }
    Ok(series.in_order())
}

/// The line through the standardizations of a bottle, and for each the standard uncertainty of what differs between them.
///
/// What some of them share (a lot of standard, a burette) is one input of their formulas, so their covariances are read off.
/// What all of them share moves the line and the label alike and says nothing of a drift: it is left out. Inputs that bear
/// the bottle's own name (readings, repeatability, temperature of the day) belong to each alone. Where one cannot be evaluated
/// any more, the u of each stands for itself.
///
/// # Errors
/// [`Fault`] if the record cannot be read.
pub(crate) async fn drift(
    app: &App,
    bottle: &Node,
    series: &Series,
) -> Result<Option<(Drift, Vec<f64>)>, Fault> {
    if series.found.len() < 3 {
        return Ok(None);
    }
    let mut outcomes: Vec<Outcome> = Vec::new();
    for found in &series.found {
        if let Ok(outcome) = app.store.evaluate(&found.by).await?.outcome {
            outcomes.push(outcome);
        }
    }
    let results: Vec<_> = outcomes
        .iter()
        .filter_map(|outcome| measured::find(outcome, None))
        .collect();
    let covariances = if results.len() == series.found.len() {
        let of_all = |input: &Input| {
            let same = |other: &Measured<'_>| {
                let at = other.formula.input_index(&input.id);
                at.is_some_and(|at| other.formula.inputs()[at].is_same_quantity(input))
            };
            results.iter().all(same)
        };
        let own = |input: &Input| {
            let rest = input.id.strip_prefix(bottle.name());
            rest.is_some_and(|rest| rest.is_empty() || rest.starts_with([' ', '/', ',']))
        };
        let pairs: Vec<_> = results.iter().map(|m| (m.formula, m.budget)).collect();
        covariances_between(&pairs, |input| {
            if own(input) {
                Role::Own
            } else if of_all(input) {
                Role::LeftOut
            } else {
                Role::Shared
            }
        })
    } else {
        let of = |i: usize, j: usize| {
            if i == j {
                series.found[i].u.powi(2)
            } else {
                0.0
            }
        };
        let all = 0..series.found.len();
        all.clone()
            .map(|i| all.clone().map(|j| of(i, j)).collect())
            .collect()
    };
    let own = (0..covariances.len())
        .map(|i| covariances[i][i].sqrt())
        .collect();
    let drift = Drift::of(&series.days(), &series.values(), &covariances).ok();
    Ok(drift.map(|drift| (drift, own)))
}
