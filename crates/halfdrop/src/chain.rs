//! A sheet and the sheets it rests on: `known.sheet` names another one, whose result is the known concentration.

use crate::failure::Failure;
use crate::sheet_file::{read_file, read_text};
use std::io;
use std::path::{Path, PathBuf};
use titrimetry::evaluation::evaluate;
use titrimetry::sheet::Rules;
use titrimetry::{Evaluation, RuleProfile, Sheet, SheetError};

/// Most sheets that may stand behind one another.
const MAX_DEPTH: usize = 8;

/// A sheet that was read and evaluated.
pub(crate) struct Evaluated {
    pub(crate) evaluation: Evaluation,
    pub(crate) profile: RuleProfile,
}

/// Reads and evaluates a sheet with all that it rests on; `-` is standard input.
pub(crate) fn evaluate_path(path: &Path) -> Result<Evaluated, Failure> {
    let (name, text) = read_input(path)?;
    evaluate_text(path, &name, &text)
}

/// Name and text of a file; `-` is standard input.
pub(crate) fn read_input(path: &Path) -> Result<(String, String), Failure> {
    let (name, text) = if path == Path::new("-") {
        ("standard input".to_string(), read_text(io::stdin().lock()))
    } else {
        (path.display().to_string(), read_file(path))
    };
    let text = text.map_err(|error| Failure::File {
        name: name.clone(),
        error,
    })?;
    Ok((name, text))
}

/// Evaluates a sheet that was read, with all that it rests on.
pub(crate) fn evaluate_text(path: &Path, name: &str, text: &str) -> Result<Evaluated, Failure> {
    let sheet = read_sheet(name, text)?;
    let profile = profile(name, &sheet.rules, text, path)?;
    let evaluation = evaluate_sheet(name, &sheet, text, path, &mut vec![identity(path)])?;
    Ok(Evaluated {
        evaluation,
        profile,
    })
}

fn read_sheet(name: &str, text: &str) -> Result<Sheet, Failure> {
    Sheet::read(text).map_err(|error| Failure::Sheet {
        name: name.to_string(),
        error: error.located(text),
    })
}

/// Evaluates a sheet after those it rests on; `above` are the sheets that wait for this one.
fn evaluate_sheet(
    name: &str,
    sheet: &Sheet,
    text: &str,
    path: &Path,
    above: &mut Vec<PathBuf>,
) -> Result<Evaluation, Failure> {
    let parent = match &sheet.known.sheet {
        Some(file) => Some(evaluate_parent(name, path, file, above)?),
        None => None,
    };
    evaluate(sheet, parent.as_ref()).map_err(|error| Failure::Sheet {
        name: name.to_string(),
        error: error.located(text),
    })
}

fn evaluate_parent(
    name: &str,
    path: &Path,
    file: &str,
    above: &mut Vec<PathBuf>,
) -> Result<Evaluation, Failure> {
    let at = beside(path, file);
    let id = identity(&at);
    let broken = |reason: String| Failure::Chain {
        name: name.to_string(),
        reason,
    };
    if above.contains(&id) {
        return Err(broken(format!(
            "\"{file}\" rests on this sheet itself; a known solution must be known by other means"
        )));
    }
    if above.len() >= MAX_DEPTH {
        return Err(broken(format!(
            "more than {MAX_DEPTH} sheets rest on one another; give the concentration with its certificate instead"
        )));
    }
    let text = read_named(&at, "known.sheet", name)?;
    let name = at.display().to_string();
    let sheet = read_sheet(&name, &text)?;
    above.push(id);
    let evaluation = evaluate_sheet(&name, &sheet, &text, &at, above)?;
    above.pop();
    Ok(evaluation)
}

/// The rules that a sheet asks for.
pub(crate) fn profile(
    name: &str,
    rules: &Rules,
    text: &str,
    path: &Path,
) -> Result<RuleProfile, Failure> {
    let file = rules.file.as_deref().map(|file| beside(path, file));
    let own = file
        .as_ref()
        .map(|at| read_named(at, "rules.file", name))
        .transpose()?;
    RuleProfile::of(rules, own.as_deref()).map_err(|error| match file {
        Some(at) if rules.profile.is_none() => Failure::Rules {
            name: at.display().to_string(),
            error,
        },
        _ => Failure::Sheet {
            name: name.to_string(),
            error: SheetError::entry("rules.profile", error.to_string()).located(text),
        },
    })
}

/// The text of a file that a sheet names.
fn read_named(at: &Path, entry: &'static str, sheet: &str) -> Result<String, Failure> {
    read_file(at).map_err(|error| Failure::Named {
        name: at.display().to_string(),
        error,
        entry,
        sheet: sheet.to_string(),
    })
}

/// A file that a sheet names, looked for beside the sheet.
pub(crate) fn beside(sheet: &Path, file: &str) -> PathBuf {
    match sheet.parent() {
        Some(folder) if sheet != Path::new("-") => folder.join(file),
        _ => PathBuf::from(file),
    }
}

/// What makes two paths the same file.
fn identity(path: &Path) -> PathBuf {
    path.canonicalize().unwrap_or_else(|_| path.to_path_buf())
}
