//! The statement of an equilibrium: components, species made of them, phases, and what is known of each component.
//!
//! # Formula
//! For species s of components j: `c_s g_s = K_s prod_j a_j^(n_sj)`; for every component with a known total
//! `T_j = sum_s n_sj c_s + sum_p n_pj m_p`; for a precipitate p either `m_p = 0` and its ion product stays below `K_p`, or
//! `m_p > 0` and the ion product equals `K_p`. Electrons may be a component: they have totals and an activity, but no
//! dissolved species of their own. Water is the solvent and has activity 1; OH- is a species with -1 H+.

use crate::activity::Activity;

/// What is known of a component.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Its total concentration, mol/L; negative totals are meant for H+ (base in excess) and electrons (oxidant in excess).
    Total(f64),
    /// The natural logarithm of its activity (a buffered pH, a fixed potential).
    LnActivity(f64),
}

/// A building block of species.
#[derive(Debug, Clone, PartialEq)]
pub struct Component {
    /// Label with the charge last.
    pub label: String,
    /// What is known of it.
    pub known: Known,
}

/// A dissolved species.
#[derive(Debug, Clone, PartialEq)]
pub struct Species {
    /// Label with the charge last.
    pub label: String,
    /// Charge number.
    pub charge: i32,
    /// Ion size, angstrom.
    pub size: f64,
    /// Natural logarithm of its formation constant from the components.
    pub ln_k: f64,
    /// Component index and stoichiometric number.
    pub terms: Vec<(usize, f64)>,
}

/// How much of a phase there can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Supply {
    /// It forms when its ion product is exceeded, and only then.
    Precipitate,
    /// It is always there, in any amount: a gas at fixed pressure, an excess of a solid.
    Unlimited,
}

/// A solid or a gas.
#[derive(Debug, Clone, PartialEq)]
pub struct Phase {
    /// Label.
    pub label: String,
    /// Natural logarithm of the ion product at saturation.
    pub ln_k: f64,
    /// Component index and stoichiometric number.
    pub terms: Vec<(usize, f64)>,
    /// How much there can be.
    pub supply: Supply,
}

/// A whole equilibrium to be solved.
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    /// Building blocks.
    pub components: Vec<Component>,
    /// Dissolved species, the free components among them.
    pub species: Vec<Species>,
    /// Solids and gases.
    pub phases: Vec<Phase>,
    /// Half the sum of c z^2 over ions that take no part, mol/L.
    pub bystanders: f64,
    /// Activity model.
    pub activity: Activity,
}

impl Problem {
    /// A problem without components.
    #[must_use]
    pub fn new(activity: Activity) -> Self {
        Self {
            components: Vec::new(),
            species: Vec::new(),
            phases: Vec::new(),
            bystanders: 0.0,
            activity,
        }
    }

    /// Adds a component with a dissolved species of its own and returns its index.
    pub fn add_component(&mut self, label: &str, charge: i32, size: f64, known: Known) -> usize {
        let index = self.add_hidden_component(label, known);
        self.species.push(Species {
            label: label.to_owned(),
            charge,
            size,
            ln_k: 0.0,
            terms: vec![(index, 1.0)],
        });
        index
    }

    /// Adds a component that has no dissolved species of its own (the electron) and returns its index.
    pub fn add_hidden_component(&mut self, label: &str, known: Known) -> usize {
        self.components.push(Component {
            label: label.to_owned(),
            known,
        });
        self.components.len() - 1
    }

    /// Adds a species made of components.
    pub fn add_species(
        &mut self,
        label: &str,
        charge: i32,
        size: f64,
        log10_k: f64,
        terms: &[(usize, f64)],
    ) {
        let ln_k = log10_k * std::f64::consts::LN_10;
        self.species.push(Species {
            label: label.to_owned(),
            charge,
            size,
            ln_k,
            terms: terms.to_vec(),
        });
    }

    /// Adds a phase; `log10_k` is its ion product at saturation.
    pub fn add_phase(&mut self, label: &str, log10_k: f64, terms: &[(usize, f64)], supply: Supply) {
        let ln_k = log10_k * std::f64::consts::LN_10;
        self.phases.push(Phase {
            label: label.to_owned(),
            ln_k,
            terms: terms.to_vec(),
            supply,
        });
    }

    /// Index of a component.
    #[must_use]
    pub fn component(&self, label: &str) -> Option<usize> {
        self.components
            .iter()
            .position(|component| component.label == label)
    }
}
