//! Stoichiometric ends of an acid-base titration.

use super::curve::AcidBaseCurve;
use crate::equilibrium_error::EquilibriumError;
use crate::titration_curve::equivalence::{Candidate, EquivalencePoint, settle};

const LN_10: f64 = std::f64::consts::LN_10;

/// A proton that can be given off: its pK, the acid it belongs to, its step.
#[derive(Debug, Clone, Copy)]
struct Group {
    pk: f64,
    acid: usize,
    step: usize,
}

impl AcidBaseCurve {
    /// Equivalence points in the order in which they are met.
    ///
    /// Every gap between two constants of the mixture is a possible end: all groups below it have given their proton, all
    /// above it have kept theirs. Its volume follows from the balance with those sharp counts. Groups that only the titrant
    /// brings (carbonate in lye) make no end of their own.
    ///
    /// # Errors
    /// As [`ph_at`](Self::ph_at).
    pub fn equivalence_points(&self) -> Result<Vec<EquivalencePoint>, EquilibriumError> {
        let balance = &self.balance;
        let mut groups: Vec<Group> = Vec::new();
        for (acid, system) in balance.systems.iter().enumerate() {
            if system.flask + system.titrant > 0.0 {
                groups.extend(
                    system
                        .ln_beta
                        .windows(2)
                        .enumerate()
                        .map(|(step, beta)| Group {
                            pk: (beta[0] - beta[1]) / LN_10,
                            acid,
                            step: step + 1,
                        }),
                );
            }
        }
        groups.sort_by(|a, b| a.pk.total_cmp(&b.pk));
        let base = self.adds_base();
        let mut candidates: Vec<Candidate> = Vec::new();
        for gap in 0..=groups.len() {
            let (mut flask, mut titrant) = (-balance.excess_flask, -balance.excess_titrant);
            for (acid, system) in balance.systems.iter().enumerate() {
                let lost = groups[..gap]
                    .iter()
                    .filter(|group| group.acid == acid)
                    .count();
                let mean = system.reference as f64 - lost as f64;
                flask += system.flask * mean;
                titrant += system.titrant * mean;
            }
            // the group just titrated: below the gap when base is added, above it when acid is added
            let titrated = if base {
                gap.checked_sub(1).map(|g| groups[g])
            } else {
                groups.get(gap).copied()
            };
            let what = match titrated {
                None if base => "strong acid".to_owned(),
                None => "strong base".to_owned(),
                Some(group) => {
                    let forms = &self.acids[group.acid].forms;
                    let (protonated, bare) =
                        (&forms[group.step - 1].label, &forms[group.step].label);
                    if base {
                        format!("{protonated} to {bare}")
                    } else {
                        format!("{bare} to {protonated}")
                    }
                }
            };
            let own = titrated.is_none_or(|group| balance.systems[group.acid].flask > 0.0);
            candidates.push(Candidate {
                volume_ml: -balance.flask_ml * flask / titrant,
                what,
                own,
            });
        }
        settle(candidates, balance.flask_ml, 1.0, |volume| {
            self.ph_at(volume)
        })
    }

    /// Whether the titrant raises the pH.
    #[must_use]
    pub fn adds_base(&self) -> bool {
        let neutral = -0.5 * self.balance.ln_kw;
        let conditional = self.balance.conditional(0.0);
        let mut burette = self.balance.clone();
        burette.excess_flask = burette.excess_titrant;
        for system in &mut burette.systems {
            system.flask = system.titrant;
        }
        burette.balance(&conditional, -neutral, 0.0).0 > 0.0
    }
}
