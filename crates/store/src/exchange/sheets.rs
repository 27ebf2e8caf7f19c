//! The tables of an export: what each is called, what stands in its columns, and where it is found. The README of an
//! export is written from the same list.

/// A column: its heading, what it means, and where it stands in what is known of a thing (the first that is there).
pub(super) type Column = (&'static str, &'static str, &'static [&'static str]);

/// Where the rows of a table come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Rows {
    /// One row a thing of this kind.
    Things(notebook::Kind),
    /// One row a result of a determination.
    Results,
    /// One row an input of a signed result.
    Budget,
    /// One row a run.
    Runs,
    /// One row a reading.
    Readings,
    /// One row a value that was corrected.
    Corrections,
    /// One row a calibration of a piece.
    Calibrations,
    /// One row a thread of the graph.
    Threads,
}

/// A table.
pub(super) struct Sheet {
    pub(super) name: &'static str,
    pub(super) says: &'static str,
    pub(super) rows: Rows,
    pub(super) columns: &'static [Column],
}

/// What stands in every table of things.
pub(super) const OF_ALL: &[Column] = &[
    ("name", "short name, as on the label", &["/line/name"]),
    ("title", "what it is", &["/line/title"]),
    (
        "status",
        "how it stands at the time of the export",
        &["/line/status"],
    ),
    ("who", "who began it", &["/line/who"]),
    ("since", "when it began", &["/line/since"]),
    ("use_before", "last day of use", &["/line/use_before"]),
];

const KIND: notebook::Kind = notebook::Kind::Determination;

macro_rules! computed {
    ($($name:literal $says:literal,)*) => { &[$(($name, $says, &[]),)*] };
}

/// All tables but that of the attached files.
pub(super) const SHEETS: &[Sheet] = &[
    Sheet {
        name: "person.csv",
        says: "people",
        rows: Rows::Things(notebook::Kind::Person),
        columns: &[
            ("roles", "what the person may do", &["/person/roles"]),
            ("left", "why the person left, if so", &["/person/left"]),
        ],
    },
    Sheet {
        name: "lot.csv",
        says: "bottles of bought substances and solutions",
        rows: Rows::Things(notebook::Kind::Lot),
        columns: &[
            (
                "serves_as",
                "standard or reagent",
                &["/lot/received/serves_as"],
            ),
            (
                "makers_lot",
                "the maker's lot number",
                &["/lot/received/makers_lot"],
            ),
            (
                "certificate",
                "number of its certificate",
                &["/lot/certificate/number"],
            ),
            (
                "states",
                "what the certificate states, by the latest correction: purity or concentration",
                &[
                    "/lot/certificate/purity/value",
                    "/lot/certificate/concentration/value",
                ],
            ),
            (
                "U",
                "its expanded uncertainty",
                &[
                    "/lot/certificate/purity/U",
                    "/lot/certificate/concentration/U",
                ],
            ),
            (
                "k",
                "coverage factor of U; 2 if empty",
                &[
                    "/lot/certificate/purity/k",
                    "/lot/certificate/concentration/k",
                ],
            ),
            (
                "u",
                "or its standard uncertainty",
                &[
                    "/lot/certificate/purity/u",
                    "/lot/certificate/concentration/u",
                ],
            ),
            (
                "within",
                "or the half-width of its limits",
                &[
                    "/lot/certificate/purity/within",
                    "/lot/certificate/concentration/within",
                ],
            ),
            ("opened", "when the bottle was opened", &["/lot/opened"]),
            ("gone", "why it is gone, if so", &["/lot/discarded"]),
        ],
    },
    Sheet {
        name: "apparatus.csv",
        says: "glass and balances; their calibrations stand in calibrations.csv",
        rows: Rows::Things(notebook::Kind::Apparatus),
        columns: &[(
            "out_of_service",
            "why it may not be used, if so",
            &["/apparatus/out_of_service"],
        )],
    },
    Sheet {
        name: "calibrations.csv",
        says: "each description that a piece had in its time, by its calibrations",
        rows: Rows::Calibrations,
        columns: computed! {
            "apparatus" "the piece",
            "event" "number of the event that brought it",
            "at" "when",
            "certificate" "number of the calibration's certificate; empty for the piece as it was taken in",
            "piece" "glass or balance, as described; figures as JSON",
        },
    },
    Sheet {
        name: "solution.csv",
        says: "solutions made here",
        rows: Rows::Things(notebook::Kind::Solution),
        columns: &[
            (
                "nominal",
                "the concentration it was made for",
                &["/solution/prepared/nominal"],
            ),
            (
                "volume",
                "how much was made",
                &["/solution/prepared/volume"],
            ),
            ("made_of", "what went into it", &["/solution/made_of"]),
            ("kept", "where it stands", &["/solution/kept"]),
            (
                "concentration",
                "the concentration that holds",
                &["/standing/evaluated/results/0/value"],
            ),
            ("unit", "its unit", &["/standing/evaluated/results/0/unit"]),
            (
                "U",
                "its expanded uncertainty",
                &["/standing/evaluated/results/0/expanded_uncertainty"],
            ),
            (
                "k",
                "coverage factor of U",
                &["/standing/evaluated/results/0/coverage_factor"],
            ),
            (
                "determination",
                "the determination that found it",
                &["/standing/determination"],
            ),
            ("gone", "why it is gone, if so", &["/solution/discarded"]),
        ],
    },
    Sheet {
        name: "sample.csv",
        says: "samples",
        rows: Rows::Things(notebook::Kind::Sample),
        columns: &[
            (
                "role",
                "a sample, or one of known content",
                &["/sample/received/role"],
            ),
            (
                "from",
                "who or where it comes from",
                &["/sample/received/from"],
            ),
            (
                "lower_limit",
                "the least that its result may be",
                &["/sample/received/limits/from"],
            ),
            (
                "upper_limit",
                "the most that its result may be",
                &["/sample/received/limits/to"],
            ),
            (
                "expected",
                "what the result is known to be, for a check sample",
                &["/sample/received/expected/value"],
            ),
            (
                "expected_U",
                "its expanded uncertainty",
                &["/sample/received/expected/U"],
            ),
            ("gone", "why it is gone, if so", &["/sample/discarded"]),
        ],
    },
    Sheet {
        name: "method.csv",
        says: "methods; all versions stand in the events",
        rows: Rows::Things(notebook::Kind::Method),
        columns: &[(
            "withdrawn",
            "why it is no longer used, if so",
            &["/method/withdrawn"],
        )],
    },
    Sheet {
        name: "rules.csv",
        says: "rule profiles; all versions stand in the events",
        rows: Rows::Things(notebook::Kind::Rules),
        columns: &[(
            "withdrawn",
            "why it is no longer used, if so",
            &["/rules/withdrawn"],
        )],
    },
    Sheet {
        name: "determination.csv",
        says: "determinations",
        rows: Rows::Things(KIND),
        columns: &[
            (
                "sought",
                "the solution that is standardized",
                &["/determination/opened/plan/sought"],
            ),
            (
                "method",
                "the method of an assay",
                &["/determination/opened/plan/method"],
            ),
            ("burette", "the burette", &["/determination/opened/burette"]),
            (
                "results",
                "all results in words, each with its expanded uncertainty",
                &["/results"],
            ),
            (
                "rules_kept",
                "true if no rule is broken and every sample keeps its limits",
                &["/determination/evaluated/usable"],
            ),
            (
                "rules",
                "the rules that judged it",
                &["/determination/evaluated/rules"],
            ),
            (
                "findings",
                "codes of what was found",
                &["/determination/evaluated/findings"],
            ),
            (
                "program",
                "the program that computed it",
                &["/determination/evaluated/program"],
            ),
            (
                "reviewed_by",
                "who looked at it",
                &["/determination/reviewed/who"],
            ),
            (
                "signed_by",
                "who signed it",
                &["/determination/approved/who"],
            ),
            ("signed_at", "when", &["/determination/approved/at"]),
            (
                "meaning",
                "what the signature means",
                &["/determination/approved/meaning"],
            ),
            (
                "computed_again_after",
                "numbers of the corrections after which it was computed again",
                &["/determination/recomputed"],
            ),
        ],
    },
    Sheet {
        name: "results.csv",
        says: "what each determination gives now, one line a result",
        rows: Rows::Results,
        columns: computed! {
            "determination" "the determination",
            "of" "the solution or sample that it is about",
            "name" "what it is called",
            "expressed_as" "what it is expressed as",
            "unit" "unit of the numbers beside it",
            "value" "value, unrounded",
            "standard_uncertainty" "standard uncertainty u",
            "expanded_uncertainty" "expanded uncertainty U = k u",
            "coverage_factor" "k",
            "coverage_probability" "probability that U is meant to cover, if one was asked for",
            "degrees_of_freedom" "effective degrees of freedom; empty if infinite",
            "lower_limit" "the least that a sample's result may be, as written",
            "upper_limit" "the most that it may be, as written",
            "probability_of_conformity" "probability that the limits are kept",
            "limits_kept" "yes or no, by the decision rule",
            "rules_kept" "yes or no: no rule broken, every sample within its limits",
            "status" "how far the determination is",
            "signed_by" "who signed it",
            "signed_at" "when",
            "rules" "the rules that judged it",
        },
    },
    Sheet {
        name: "budget.csv",
        says: "what the uncertainty of each signed result is made of, as it is computed now; one line an input",
        rows: Rows::Budget,
        columns: computed! {
            "determination" "the determination",
            "of" "the solution or sample",
            "result" "the result",
            "input" "the input's identity: the same identity is the same quantity everywhere",
            "symbol" "its symbol",
            "what" "what it is",
            "value" "its value",
            "unit" "its unit",
            "distribution" "its distribution",
            "u" "its standard uncertainty",
            "degrees_of_freedom" "of u; empty if infinite",
            "contribution" "sensitivity times u, in the result's unit",
            "share" "share of the variance",
            "from" "where the input comes from",
        },
    },
    Sheet {
        name: "runs.csv",
        says: "runs",
        rows: Rows::Runs,
        columns: computed! {
            "determination" "the determination",
            "run" "number of the run",
            "sample" "the sample, where there are several",
            "kind" "replicate, rough or blank",
            "who" "who began it",
            "at" "when",
            "set_aside" "why it does not count, if so",
            "set_aside_by" "who said so",
            "remarks" "what was remarked",
        },
    },
    Sheet {
        name: "readings.csv",
        says: "every reading with the value that counts and the value that was written first",
        rows: Rows::Readings,
        columns: computed! {
            "determination" "the determination",
            "run" "number of the run; empty for what serves all runs of a sample",
            "sample" "the sample, where there are several",
            "reading" "which reading",
            "value" "the value that counts, as written: its decimals count",
            "first_value" "the value that was written first",
            "corrections" "how often it was corrected; corrections.csv says by whom and why",
            "who" "who took it",
            "at" "when",
        },
    },
    Sheet {
        name: "corrections.csv",
        says: "every value that was replaced, with the reason",
        rows: Rows::Corrections,
        columns: computed! {
            "determination" "the determination",
            "run" "number of the run",
            "sample" "the sample, where there are several",
            "reading" "which reading",
            "was" "what stood there",
            "became" "what took its place",
            "reason" "why",
            "who" "who corrected it",
            "at" "when",
        },
    },
    Sheet {
        name: "certificate.csv",
        says: "certificates",
        rows: Rows::Things(notebook::Kind::Certificate),
        columns: &[
            (
                "determination",
                "the determination that it states",
                &["/certificate/issued/determination"],
            ),
            ("results", "what it states", &["/results"]),
            (
                "meaning",
                "what the signature means",
                &["/certificate/issued/meaning"],
            ),
            ("signed_by", "who issued it", &["/certificate/who"]),
            ("signed_at", "when", &["/certificate/at"]),
            (
                "replaces",
                "the certificate that it replaces",
                &["/certificate/issued/replaces"],
            ),
            (
                "reason",
                "why it no longer holds, if so",
                &[
                    "/certificate/status/superseded/reason",
                    "/certificate/status/withdrawn/reason",
                ],
            ),
        ],
    },
    Sheet {
        name: "threads.csv",
        says: "what rests on what",
        rows: Rows::Threads,
        columns: computed! {
            "what" "what rests",
            "how" "how; \"rests, through others, on\" is what follows from other lines",
            "on" "on what",
        },
    },
];
