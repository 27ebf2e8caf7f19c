//! The forms by which things are taken in, changed and put away, in one table: what happens, to what, by which fields.

use notebook::Kind;
use notebook::payload::{Payload, Piece};
use notebook::state::State;
use serde_json::{Value, json};

/// How a field is filled in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Input {
    /// Typed; with names to choose from, if a list is named.
    Text(&'static str),
    /// A day.
    Day,
    /// One of these words; each has its text.
    One(&'static [(&'static str, &'static str)]),
    /// A lot or a solution that is here.
    Source,
    /// Any of the roles.
    Roles,
    /// Up to so many lines of fields.
    Rows(usize, &'static [Field]),
}

/// A field.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Field {
    /// Its name, as commands from forms have it; `#0` and so on stand for the lines of rows.
    pub(crate) path: &'static str,
    /// The key of its words.
    pub(crate) word: &'static str,
    pub(crate) input: Input,
    /// What may stand there.
    pub(crate) example: &'static str,
    /// The unit behind a number that is typed alone.
    pub(crate) unit: &'static str,
    pub(crate) required: bool,
    /// Where the same is said once more in the payload.
    pub(crate) also: Option<&'static str>,
}

const fn field(path: &'static str, word: &'static str, input: Input) -> Field {
    Field {
        path,
        word,
        input,
        example: "",
        unit: "",
        required: false,
        also: None,
    }
}

const fn text(path: &'static str, word: &'static str) -> Field {
    field(path, word, Input::Text(""))
}

const fn listed(path: &'static str, word: &'static str, list: &'static str) -> Field {
    field(path, word, Input::Text(list))
}

const fn day(path: &'static str, word: &'static str) -> Field {
    field(path, word, Input::Day)
}

impl Field {
    const fn like(self, example: &'static str) -> Self {
        Self { example, ..self }
    }

    const fn in_unit(self, example: &'static str, unit: &'static str) -> Self {
        Self {
            example,
            unit,
            ..self
        }
    }

    const fn needed(self) -> Self {
        Self {
            required: true,
            ..self
        }
    }

    const fn also(self, path: &'static str) -> Self {
        Self {
            also: Some(path),
            ..self
        }
    }
}

/// A form.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Form {
    /// Its name; its words stand under `form.NAME`.
    pub(crate) name: &'static str,
    /// The event that it makes.
    pub(crate) kind: &'static str,
    /// Its fields, in groups that forms share.
    pub(crate) groups: &'static [&'static [Field]],
    /// Whether it makes sense for a thing that stands so; what begins a thing is for nothing that is there.
    pub(crate) fits: fn(&State) -> bool,
    /// What stands there now, as its payload.
    pub(crate) now: fn(&State) -> Value,
}

impl Form {
    /// The kind of thing that it is about.
    pub(crate) fn about(&self) -> Kind {
        let found = Payload::KINDS.iter().find(|(kind, ..)| *kind == self.kind);
        found.map_or(Kind::Record, |(_, _, about)| *about)
    }

    /// True if it begins a thing.
    pub(crate) fn begins(&self) -> bool {
        BEGINNING.iter().any(|form| form.name == self.name)
    }

    pub(crate) fn fields(&self) -> impl Iterator<Item = &'static Field> {
        self.groups.iter().flat_map(|group| group.iter())
    }
}

const WHY: &[Field] = &[text("p.s.reason", "bench.why").needed()];
const DUE: &[Field] = &[day("p.s.due", "shelf.due")];
const NUMBER: &[Field] = &[text("p.s.certificate.number", "shelf.certificate").needed()];
const STATES: &[Field] = &[
    text("p.s.certificate.purity.value", "shelf.purity").in_unit("99.97 %", "%"),
    text("p.s.certificate.purity.U", "shelf.purity_u").in_unit("0.03 %", "%"),
    text("p.s.certificate.concentration.value", "shelf.concentration")
        .in_unit("0.1000 mol/L", "mol/L"),
    text("p.s.certificate.concentration.U", "shelf.concentration_u")
        .in_unit("0.0002 mol/L", "mol/L"),
];
const SOURCES: &[Field] = &[
    field("from", "form.from", Input::Source),
    text("amount", "form.amount").like("4.1 g"),
];
const GLASS_BY: &[Field] = &[text("p.s.certificate", "form.calibration_by")
    .needed()
    .also("p.s.piece.glass.calibration.certificate")];
const BALANCE_BY: &[Field] = &[text("p.s.certificate", "form.calibration_by")
    .needed()
    .also("p.s.piece.balance.certificate")];
const GLASS: &[Field] = &[
    listed("p.s.piece.glass.catalogue", "shelf.piece", "glass")
        .like("burette 50 mL A")
        .needed(),
    day("p.s.piece.glass.calibration.date", "form.calibrated_on"),
    field(
        "p.s.piece.glass.calibration.points",
        "form.points",
        Input::Rows(10, POINTS),
    ),
];
const POINTS: &[Field] = &[
    text("at", "form.at").in_unit("10 mL", "mL"),
    text("correction", "form.correction").in_unit("0.012 mL", "mL"),
    text("u", "form.u").in_unit("0.004 mL", "mL"),
];
const BALANCE: &[Field] = &[
    text("p.s.piece.balance.readability", "form.readability")
        .in_unit("0.0001 g", "g")
        .needed(),
    text("p.s.piece.balance.repeatability", "form.repeatability").in_unit("0.0001 g", "g"),
    text("p.s.piece.balance.linearity", "form.linearity").in_unit("0.0002 g", "g"),
];

/// What begins a thing.
pub(crate) const BEGINNING: &[Form] = &[
    beginning(
        "solution",
        "solution-prepared",
        &[&[
            listed("p.s.substance", "shelf.substance", "titrants")
                .like("sodium hydroxide")
                .needed(),
            text("p.s.nominal", "shelf.nominal")
                .in_unit("0.1 mol/L", "mol/L")
                .needed(),
            text("p.s.volume", "shelf.volume").in_unit("2000 mL", "mL"),
            field("p.s.made_of", "form.made_of", Input::Rows(2, SOURCES)),
            text("p.s.kept", "shelf.kept"),
            day("p.s.use_before", "shelf.use_before"),
            text("p.s.hazard", "shelf.hazard"),
        ]],
    ),
    beginning(
        "lot",
        "lot-received",
        &[
            &[
                field(
                    "p.s.serves_as",
                    "shelf.serves_as",
                    Input::One(&[("standard", "shelf.standard"), ("reagent", "shelf.reagent")]),
                ),
                listed("p.s.substance", "shelf.substance", "substances")
                    .like("potassium hydrogen phthalate")
                    .needed(),
                text("p.s.makers_lot", "shelf.makers_lot"),
            ],
            &[text("p.s.certificate.number", "shelf.certificate")],
            STATES,
            &[day("p.s.expires", "shelf.expires")],
        ],
    ),
    beginning(
        "glass",
        "apparatus-registered",
        &[
            &[listed("p.s.piece.glass", "shelf.piece", "glass")
                .like("burette 50 mL A")
                .needed()],
            DUE,
        ],
    ),
    beginning(
        "balance",
        "apparatus-registered",
        &[
            &[listed("p.s.piece.balance", "shelf.balance", "balances")
                .like("four-place balance")
                .needed()],
            DUE,
        ],
    ),
    beginning(
        "sample",
        "sample-received",
        &[&[
            text("p.s.what", "shelf.what")
                .like("pickling vinegar, tank 4")
                .needed(),
            text("p.s.from", "shelf.from"),
            text("p.s.limits.from", "form.least").like("5.0 g/100 mL"),
            text("p.s.limits.to", "form.most").like("6.0 g/100 mL"),
        ]],
    ),
    beginning(
        "check-sample",
        "sample-received",
        &[&[
            text("p.s.what", "shelf.what").needed(),
            field(
                "p.s.role",
                "form.is",
                Input::One(&[("check", "form.check")]),
            ),
            text("p.s.expected.value", "form.expected")
                .like("5.00 g/100 mL")
                .needed(),
            text("p.s.expected.U", "new.expanded")
                .like("0.02 g/100 mL")
                .needed(),
        ]],
    ),
    beginning(
        "person",
        "person-added",
        &[&[
            text("p.s.name", "people.printed").needed(),
            field("p.a.roles", "people.role", Input::Roles),
        ]],
    ),
];

/// What happens to a thing that is there.
pub(crate) const CHANGES: &[Form] = &[
    change(
        "lot-opened",
        "lot-opened",
        &[&[day("p.s.expires", "form.expires_opened")]],
        |s| matches!(s, State::Lot(lot) if lot.opened.is_none() && lot.discarded.is_none()),
    ),
    Form {
        name: "lot-certificate",
        kind: "lot-certificate-corrected",
        groups: &[NUMBER, STATES, WHY],
        fits: |s| matches!(s, State::Lot(lot) if lot.discarded.is_none()),
        now: |s| match s {
            State::Lot(lot) => json!({ "certificate": lot.certificate }),
            _ => Value::Null,
        },
    },
    Form {
        name: "calibration",
        kind: "apparatus-calibrated",
        groups: &[GLASS_BY, GLASS, DUE],
        fits: is_glass,
        now: |s| match s {
            State::Apparatus(a) => {
                json!({ "piece": { "glass": { "catalogue": catalogue(a.piece()) } } })
            }
            _ => Value::Null,
        },
    },
    Form {
        name: "balance-calibration",
        kind: "apparatus-calibrated",
        groups: &[BALANCE_BY, BALANCE, DUE],
        fits: is_balance,
        now: |_| Value::Null,
    },
    Form {
        name: "calibration-corrected",
        kind: "calibration-corrected",
        groups: &[GLASS_BY, GLASS, WHY],
        fits: |s| is_glass(s) && last_calibration(s).is_some(),
        now: |s| last_calibration(s).unwrap_or_default(),
    },
    Form {
        name: "balance-calibration-corrected",
        kind: "calibration-corrected",
        groups: &[BALANCE_BY, BALANCE, WHY],
        fits: |s| is_balance(s) && last_calibration(s).is_some(),
        now: |s| last_calibration(s).unwrap_or_default(),
    },
    change(
        "topped-up",
        "solution-topped-up",
        &[
            &[field("p.s.with", "form.with", Input::Rows(2, SOURCES))],
            WHY,
        ],
        is_bottle,
    ),
    Form {
        name: "moved",
        kind: "solution-moved",
        groups: &[&[text("p.s.kept", "shelf.kept").needed()]],
        fits: is_bottle,
        now: |s| match s {
            State::Solution(solution) => json!({ "kept": solution.kept }),
            _ => Value::Null,
        },
    },
    change(
        "lot-discarded",
        "lot-discarded",
        &[WHY],
        |s| matches!(s, State::Lot(lot) if lot.discarded.is_none()),
    ),
    change(
        "solution-discarded",
        "solution-discarded",
        &[WHY],
        is_bottle,
    ),
    change(
        "sample-discarded",
        "sample-discarded",
        &[WHY],
        |s| matches!(s, State::Sample(sample) if sample.discarded.is_none()),
    ),
    change(
        "out-of-service",
        "apparatus-out-of-service",
        &[WHY],
        |s| matches!(s, State::Apparatus(a) if a.out_of_service.is_none()),
    ),
    change(
        "returned",
        "apparatus-returned",
        &[&[text("p.s.reason", "form.done_about_it").needed()]],
        |s| matches!(s, State::Apparatus(a) if a.out_of_service.is_some()),
    ),
    change(
        "method-withdrawn",
        "method-withdrawn",
        &[WHY],
        |s| matches!(s, State::Method(card) if card.withdrawn.is_none()),
    ),
    change(
        "rules-withdrawn",
        "rules-withdrawn",
        &[WHY],
        |s| matches!(s, State::Rules(card) if card.withdrawn.is_none()),
    ),
    Form {
        name: "roles",
        kind: "roles-changed",
        groups: &[&[field("p.a.roles", "people.role", Input::Roles)], WHY],
        fits: |s| matches!(s, State::Person(person) if person.left.is_none()),
        now: |s| match s {
            State::Person(person) => json!({ "roles": person.roles }),
            _ => Value::Null,
        },
    },
    change(
        "left",
        "person-left",
        &[WHY],
        |s| matches!(s, State::Person(person) if person.left.is_none()),
    ),
    change(
        "certificate-withdrawn",
        "certificate-withdrawn",
        &[WHY],
        |s| matches!(s, State::Certificate(certificate) if certificate.is_current()),
    ),
    Form {
        name: "record-named",
        kind: "record-named",
        groups: &[&[text("p.s.name", "form.record_name").needed()]],
        fits: |s| matches!(s, State::Record(_)),
        now: |s| match s {
            State::Record(record) => json!({ "name": record.name }),
            _ => Value::Null,
        },
    },
];

const fn beginning(
    name: &'static str,
    kind: &'static str,
    groups: &'static [&'static [Field]],
) -> Form {
    Form {
        name,
        kind,
        groups,
        fits: |_| false,
        now: |_| Value::Null,
    }
}

const fn change(
    name: &'static str,
    kind: &'static str,
    groups: &'static [&'static [Field]],
    fits: fn(&State) -> bool,
) -> Form {
    Form {
        name,
        kind,
        groups,
        fits,
        now: |_| Value::Null,
    }
}

/// The form of a name.
pub(crate) fn named(name: &str) -> Option<&'static Form> {
    BEGINNING
        .iter()
        .chain(CHANGES)
        .find(|form| form.name == name)
}

fn is_glass(state: &State) -> bool {
    matches!(state, State::Apparatus(a) if matches!(a.piece(), Some(Piece::Glass(_))))
}

fn is_balance(state: &State) -> bool {
    matches!(state, State::Apparatus(a) if matches!(a.piece(), Some(Piece::Balance(_))))
}

fn is_bottle(state: &State) -> bool {
    matches!(state, State::Solution(solution) if solution.discarded.is_none())
}

fn catalogue(piece: Option<&Piece>) -> &str {
    match piece {
        Some(Piece::Glass(spec)) => spec.catalogue(),
        _ => "",
    }
}

/// The last calibration as it was entered.
fn last_calibration(state: &State) -> Option<Value> {
    let State::Apparatus(apparatus) = state else {
        return None;
    };
    let last = apparatus.calibrations.last()?;
    Some(json!({ "certificate": last.by.as_ref()?, "piece": last.is }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use notebook::Permissions;

    #[test]
    fn every_form_makes_an_event_that_people_may_ask_for() {
        for form in BEGINNING.iter().chain(CHANGES) {
            assert!(
                Permissions::shipped().may.contains_key(form.kind),
                "{}: {}",
                form.name,
                form.kind
            );
            assert_eq!(named(form.name).unwrap().name, form.name);
        }
    }

    #[test]
    fn every_event_of_the_shelf_has_a_form() {
        let here = [
            Kind::Lot,
            Kind::Apparatus,
            Kind::Solution,
            Kind::Sample,
            Kind::Person,
        ];
        for (kind, _, about) in Payload::KINDS {
            if here.contains(about) && Permissions::shipped().may.contains_key(*kind) {
                let mut forms = BEGINNING.iter().chain(CHANGES);
                assert!(forms.any(|form| form.kind == *kind), "{kind}");
            }
        }
    }
}
