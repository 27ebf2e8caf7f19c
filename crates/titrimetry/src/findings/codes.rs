//! The codes of all findings: stable names for scripts and documents.

/// Every code with what it stands for.
pub const CODES: &[(&str, &str)] = &[
    // Rules of the profile.
    ("too-few-runs", "fewer runs count than the profile asks for"),
    (
        "too-few-analysts",
        "fewer analysts than the profile asks for",
    ),
    (
        "too-few-runs-of-analyst",
        "an analyst did fewer runs than the profile asks for",
    ),
    (
        "not-concordant",
        "titres are not within the profile's limit of one another",
    ),
    (
        "discordant-run-averaged",
        "enough titres are concordant, but one that is not is in the mean",
    ),
    (
        "rsd-too-large",
        "relative standard deviation above the profile's limit",
    ),
    (
        "range-of-analyst-too-large",
        "relative range of one analyst's runs above the profile's limit",
    ),
    (
        "range-too-large",
        "relative range of all runs above the profile's limit",
    ),
    (
        "outside-nominal",
        "further from nominal than the profile allows",
    ),
    (
        "titre-too-small",
        "titre below the profile's share of the burette",
    ),
    (
        "titre-too-large",
        "titre above the profile's share of the burette",
    ),
    (
        "readings-too-coarse",
        "readings written more coarsely than the profile asks for",
    ),
    (
        "uncertainty-too-large",
        "expanded uncertainty above the profile's limit",
    ),
    (
        "rule-not-judged",
        "a rule of the profile that the data do not reach",
    ),
    // One run.
    (
        "slip-of-the-pen",
        "a reading that, written or read another way, brings its run in line",
    ),
    (
        "rough-run-averaged",
        "a run that is called rough or looks like it counts",
    ),
    ("odd-run", "one run stands off the others"),
    // The set.
    (
        "drift",
        "titres fall or rise with the order of the runs or with the clock",
    ),
    (
        "scatter-too-large",
        "titres scatter more than hand and apparatus account for",
    ),
    (
        "titres-too-alike",
        "titres agree better than hand and apparatus can",
    ),
    (
        "titres-copied",
        "one and the same titre although the masses differ",
    ),
    ("small-set", "one or two runs, and what they cannot say"),
    // The result.
    (
        "known-ratio",
        "the result stands to nominal as a known slip makes it",
    ),
    (
        "far-from-nominal",
        "far from nominal, and what the direction excludes",
    ),
    (
        "differs-from-earlier",
        "the result disagrees with what the solution was found to be before",
    ),
    // The blank.
    ("blank-negative", "a blank below zero"),
    ("blank-large", "a blank larger than a blank should be"),
    ("blanks-differ", "blanks that do not agree"),
    (
        "blank-wrong-way",
        "a blank that was taken the wrong way, or exchanged with a sample",
    ),
    // Samples.
    ("check-sample-off", "a check sample off by its zeta score"),
    (
        "check-drift",
        "check samples that differ from bracket to bracket",
    ),
    (
        "titrant-changed",
        "a titrant that is another when it is standardized again",
    ),
    (
        "check-missing",
        "more samples between checks than the sheet asks for",
    ),
    (
        "excess-nearly-all-left",
        "a back titration with nearly all of the excess left",
    ),
    (
        "excess-used-up",
        "a back titration with hardly any excess left",
    ),
    (
        "content-outside-range",
        "a content for which the portion is wrong",
    ),
    ("less-than-none", "a negative amount"),
    ("more-than-all", "more found than the whole sample"),
    (
        "recovery-off",
        "standard addition: another share of what was added is found than all of it",
    ),
    (
        "additions-too-small",
        "standard addition: the additions are small against the content, so the line is drawn out far",
    ),
    (
        "no-line",
        "standard addition: what is found does not rise with what was added",
    ),
    (
        "intercept-not-positive",
        "standard addition: the line meets no content",
    ),
    (
        "line-bent",
        "standard addition: found against added is no straight line",
    ),
    (
        "limits-not-kept",
        "a sample that is not accepted by its limits",
    ),
    (
        "limits-not-surely-kept",
        "a sample too near to its limits to be accepted, no decision rule being declared",
    ),
    (
        "duplicates-apart",
        "runs further apart than the method's repeatability limit",
    ),
    (
        "titrations-disagree",
        "two results of one sample that do not agree",
    ),
    // The burette and its readings.
    (
        "readings-do-not-chain",
        "a run does not begin where the one before ended, nor after a refill",
    ),
    (
        "coarse-readings",
        "readings written more coarsely than the burette allows",
    ),
    (
        "digit-preference",
        "last digits 0 and 5 more often than by chance",
    ),
    ("small-titre", "a titre below the good part of the burette"),
    ("refill-within-run", "the burette was refilled within a run"),
    // The record.
    ("reading-corrected", "a reading was corrected"),
    ("run-set-aside", "a run was set aside"),
    ("no-certificate", "a stated value without certificate"),
    ("assumed-repeatability", "the repeatability was assumed"),
];
