//! Choosing things for a determination: lists to choose from, filled in with what was typed or scanned before.

use super::frame::escaped;
use crate::answer::Fault;
use crate::app::App;
use crate::text::t;
use crate::words;
use maud::{Markup, html};
use notebook::{Kind, Node};
use store::{Filter, Thing};

/// What a form says already: names and values, in the order of the form.
#[derive(Clone, Debug, Default)]
pub(crate) struct Filled(pub(crate) Vec<(String, String)>, pub(crate) Option<Said>);

/// Why a form was not taken, and the field that it is about.
#[derive(Clone, Debug, Default)]
pub(crate) struct Said {
    pub(crate) field: Option<String>,
    pub(crate) why: String,
}

impl Filled {
    pub(crate) fn of(fields: Vec<(String, String)>) -> Self {
        Self(fields, None)
    }

    /// What is said beside a field.
    pub(crate) fn beside(&self, name: &str) -> Markup {
        let said = self.1.as_ref().filter(|s| s.field.as_deref() == Some(name));
        html! { @if let Some(said) = said { span.accent role="alert" { (said.why) } } }
    }

    pub(crate) fn get(&self, name: &str) -> Option<&str> {
        self.0
            .iter()
            .find(|(n, v)| n == name && !v.trim().is_empty())
            .map(|(_, value)| value.trim())
    }

    pub(crate) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0
            .iter()
            .filter(move |(n, v)| n == name && !v.trim().is_empty())
            .map(|(_, value)| value.trim())
    }

    pub(crate) fn set(&mut self, name: &str, value: &str) {
        self.0.retain(|(n, _)| n != name);
        self.0.push((name.into(), value.into()));
    }

    /// As the query of an address.
    pub(crate) fn query(&self) -> String {
        let pairs: Vec<String> = self
            .0
            .iter()
            .filter(|(_, value)| !value.trim().is_empty())
            .map(|(name, value)| format!("{}={}", escaped(name), escaped(value)))
            .collect();
        pairs.join("&")
    }
}

/// Everything on the shelf that a determination may use.
pub(crate) struct Stock {
    pub(crate) solutions: Vec<Thing>,
    pub(crate) lots: Vec<Thing>,
    pub(crate) samples: Vec<Thing>,
    pub(crate) methods: Vec<Thing>,
    pub(crate) rules: Vec<Thing>,
    apparatus: Vec<Thing>,
}

impl Stock {
    pub(crate) async fn of(app: &App) -> Result<Self, Fault> {
        Ok(Self {
            solutions: all(app, Kind::Solution).await?,
            lots: all(app, Kind::Lot).await?,
            samples: all(app, Kind::Sample).await?,
            methods: all(app, Kind::Method).await?,
            rules: all(app, Kind::Rules).await?,
            apparatus: all(app, Kind::Apparatus).await?,
        })
    }

    /// Lots and solutions.
    pub(crate) fn known(&self) -> Vec<&Thing> {
        self.lots.iter().chain(&self.solutions).collect()
    }

    /// Pieces of a kind; all of them where the catalogue names tell nothing.
    pub(crate) fn pieces(&self, word: &str) -> Vec<&Thing> {
        let found: Vec<&Thing> = self.apparatus.iter().filter(|a| is(a, word)).collect();
        if found.is_empty() {
            self.apparatus.iter().collect()
        } else {
            found
        }
    }

    pub(crate) fn has_apparatus(&self) -> bool {
        !self.apparatus.is_empty()
    }
}

async fn all(app: &App, kind: Kind) -> Result<Vec<Thing>, Fault> {
    let filter = Filter {
        kind: Some(kind),
        limit: Some(200),
        ..Filter::default()
    };
    Ok(app.store.list(&filter).await?.things)
}

fn is(piece: &Thing, word: &str) -> bool {
    piece.title.to_lowercase().contains(word)
}

/// The kind of piece that a catalogue name means, by its first words.
pub(crate) fn kind_of_piece(catalogue: &str) -> &'static str {
    let name = catalogue.to_lowercase();
    ["burette", "balance", "flask", "pipette"]
        .into_iter()
        .find(|word| name.contains(word))
        .unwrap_or("pipette")
}

/// A list to choose from. What is out of use is not offered, and nothing is chosen before a person chose it, unless there
/// is but one.
pub(crate) fn choice(
    name: &str,
    word: &str,
    things: &[&Thing],
    none: Option<&str>,
    form: &Filled,
) -> Markup {
    let chosen = form.get(name);
    let gone = ["gone", "out of service", "withdrawn"];
    let things: Vec<&&Thing> = things
        .iter()
        .filter(|thing| !gone.contains(&thing.status.as_str()))
        .collect();
    let only = things.len() == 1 && none.is_none();
    html! {
        label {
            span { (word) }
            select name=(name) required[none.is_none()] translate="no" {
                @if let Some(none) = none { option value="" { (none) } } @else if !only { option value="" { (t("new.choose")) } }
                @for thing in things {
                    @let node = thing.node.to_string();
                    option value=(node) selected[chosen == Some(node.as_str())] { (thing.node.name()) " · " (thing.title) }
                }
            }
            (form.beside(name))
        }
    }
}

/// The thing that a label or a person names: its whole name, or the short one alone.
pub(crate) async fn find(app: &App, said: &str) -> Result<Thing, Fault> {
    // A certificate's code has the hash behind its name.
    let said = said.split_whitespace().next().unwrap_or_default();
    let name = said.rsplit('/').next().unwrap_or_default();
    let kinds = [
        Kind::Solution,
        Kind::Lot,
        Kind::Apparatus,
        Kind::Sample,
        Kind::Method,
    ];
    let whole: Option<Node> = said.parse().ok();
    for kind in kinds {
        let fits = whole.as_ref().is_none_or(|node| node.kind() == kind);
        for name in [name.to_string(), name.to_uppercase()] {
            if fits
                && let Ok(node) = Node::new(kind, &name)
                && let Some(thing) = app.store.thing(&node).await?
            {
                return Ok(thing);
            }
        }
    }
    Err(Fault::Missing(t("find.nothing").into()))
}

/// Puts a thing where the form asks for one like it.
pub(crate) fn put(form: &mut Filled, thing: &Thing) {
    let value = thing.node.to_string();
    let assay = form.get("method").is_some();
    let field = match thing.node.kind() {
        Kind::Apparatus if is(thing, "burette") => "burette".into(),
        Kind::Apparatus if is(thing, "balance") => "balance".into(),
        Kind::Apparatus if assay => step_for(form, thing),
        Kind::Apparatus => "pipette".into(),
        Kind::Sample => {
            if !form.all("sample").any(|sample| sample == value) {
                form.0.push(("sample".into(), value));
            }
            return;
        }
        Kind::Method => "method".into(),
        Kind::Solution if !assay && form.get("sought").is_none() => "sought".into(),
        _ if assay => next_free(form, "titrant", "reagent."),
        _ => "known".into(),
    };
    form.set(&field, &value);
}

/// The first, or where it is taken the first empty one of those that begin so.
fn next_free(form: &Filled, first: &str, rest: &str) -> String {
    if form.get(first).is_none() {
        return first.into();
    }
    form.0
        .iter()
        .find(|(name, value)| name.starts_with(rest) && value.trim().is_empty())
        .map_or_else(|| first.into(), |(name, _)| name.clone())
}

/// The step that foresees a piece of this name, else the first free one.
fn step_for(form: &Filled, thing: &Thing) -> String {
    let foreseen = form
        .get("method")
        .and_then(|name| titrimetry::method::find(name.rsplit('/').next().unwrap_or(name)).ok())
        .and_then(|method| {
            method
                .step
                .iter()
                .find(|step| super::opening::piece_of(step).is_some_and(|p| p == thing.title))
                .map(|step| format!("piece.{}", step.name()))
        });
    foreseen.unwrap_or_else(|| {
        form.0
            .iter()
            .find(|(name, value)| name.starts_with("piece.") && value.trim().is_empty())
            .map_or_else(|| "pipette".into(), |(name, _)| name.clone())
    })
}

/// The part of a form that finds a thing by its label: a short id, or a photograph of the code. `at` is where the form
/// goes for it; it comes back with everything that was filled in.
pub(crate) fn by_label(at: &str, form: &Filled) -> Markup {
    let found: Option<Node> = form.get("found").and_then(|text| text.parse().ok());
    let refused = form.get("refused").map(|why| match why {
        "no-code" => t("find.no_code"),
        "no-picture" => t("find.no_picture"),
        "too-large" => t("photo.too_large"),
        _ => t("find.nothing"),
    });
    html! {
        script type="module" src="/look/camera.js" {}
        fieldset.find {
            legend.quiet { (t("find.title")) }
            div.row {
                label { span { (t("find.id")) } input name="id" autocapitalize="characters" autocomplete="off" placeholder="B-3" value=[form.get("id").filter(|_| refused.is_some())]; }
                button type="submit" formaction=(at) formmethod="post" formenctype="multipart/form-data" formnovalidate { (t("find.choose")) }
                label { span { (t("find.photo")) } input type="file" name="photo" accept="image/jpeg,image/png" capture="environment"; }
                button type="submit" formaction=(at) formmethod="post" formenctype="multipart/form-data" formnovalidate { (t("find.read")) }
                button #look type="button" hidden data-stop=(t("find.stop")) { (t("find.look")) }
            }
            video #viewfinder muted playsinline hidden {}
            p #found role="status" {
                @if let Some(found) = &found { span.strong { "✓ " (words::kind(found.kind())) " " (found.name()) } }
                @if let Some(refused) = refused { span.accent { (refused) } }
            }
        }
    }
}
