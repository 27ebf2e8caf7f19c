//! Forms out of the table: drawn, filled with what stands there now, read, and shown again with what was typed and the reason
//! beside it when the record says no.

mod table;

use super::choosing::{Filled, Said};
use super::frame::{Page, path_of};
use super::offered;
use crate::answer::Fault;
use crate::app::App;
use crate::command;
use crate::text::{of_record, t};
use crate::visitor::Visitor;
use crate::words;
use maud::{Markup, html};
use notebook::payload::Role;
use notebook::state::State;
use notebook::{Kind, Node, Permissions, Refusal};
use serde_json::Value;
use store::{Filter, StoreError, Thing};
use table::{BEGINNING, CHANGES, Field, Form, Input, named};

/// A form as it is drawn.
struct Drawn<'a> {
    form: &'a Form,
    /// The thing that it is about, or a free name.
    on: &'a str,
    back: &'a str,
    filled: &'a Filled,
    sources: &'a [Thing],
    signs: bool,
}

impl Drawn<'_> {
    fn draw(&self) -> Markup {
        let form = self.form;
        let why = self.filled.1.as_ref().filter(|said| said.field.is_none());
        html! {
            form method="post" action="/do" {
                @if let Some(said) = why { p.notice role="alert" { (said.why) } }
                input type="hidden" name="form" value=(form.name);
                input type="hidden" name="kind" value=(form.kind);
                input type="hidden" name="back" value=(self.back);
                @if form.begins() {
                    label { span { (t(if form.about() == Kind::Person { "people.short" } else { "shelf.name" })) }
                        input name="on" value=(self.on) required autocapitalize="none" autocomplete="off"; (self.filled.beside("on")) }
                } @else {
                    input type="hidden" name="on" value=(self.on);
                }
                @for field in form.fields() { (self.field(field)) }
                @if self.signs {
                    label { span { (t("review.passphrase")) } input type="password" name="passphrase" required autocomplete="current-password"; }
                }
                button.main type="submit" { (t(if form.begins() { "shelf.take_in" } else { "form.write" })) }
            }
        }
    }

    fn field(&self, field: &Field) -> Markup {
        let word = t(field.word);
        let value = self.filled.get(field.path);
        match field.input {
            Input::Rows(most, inner) => self.rows(field, most, inner),
            Input::Roles => html! {
                fieldset {
                    legend.quiet { (word) }
                    @for role in Role::ALL {
                        @let has = self.filled.all(field.path).any(|r| r == role.word());
                        label.tick { input type="checkbox" name=(field.path) value=(role.word()) checked[has]; (words::role(role)) }
                    }
                    (self.filled.beside(field.path))
                }
            },
            Input::Source => {
                html! { label { span { (word) } (self.source(field.path, value)) (self.filled.beside(field.path)) } }
            }
            Input::One(choices) => html! {
                label { span { (word) }
                    select name=(field.path) {
                        @for (choice, words) in choices { option value=(choice) selected[value == Some(choice)] { (t(words)) } }
                    }
                    (self.filled.beside(field.path))
                }
            },
            Input::Day => html! {
                label { span { (word) } input type="date" name=(field.path) value=[value] required[field.required]; (self.filled.beside(field.path)) }
            },
            Input::Text(list) => html! {
                label { span { (word) }
                    input name=(field.path) value=[value] required[field.required] maxlength="500"
                        placeholder=[(!field.example.is_empty()).then_some(field.example)]
                        list=[(!list.is_empty()).then_some(list)] autocomplete="off";
                    (self.filled.beside(field.path))
                }
            },
        }
    }

    fn source(&self, name: &str, value: Option<&str>) -> Markup {
        html! {
            select name=(name) {
                option value="" {}
                @for thing in self.sources {
                    @let node = thing.node.to_string();
                    option value=(node) selected[value == Some(node.as_str())] { (thing.node.name()) " · " (thing.title) }
                }
            }
        }
    }

    fn rows(&self, field: &Field, most: usize, inner: &[Field]) -> Markup {
        html! {
            fieldset {
                legend.quiet { (t(field.word)) }
                (self.filled.beside(field.path))
                div.wide { table.entry {
                    thead { tr { @for column in inner { th { (t(column.word)) } } } }
                    tbody { @for row in 0..most { tr {
                        @for column in inner {
                            @let name = format!("{}.#{row}.{}", field.path, column.path);
                            @let label = format!("{} {}", t(column.word), row + 1);
                            td {
                                @if column.input == Input::Source { (self.source(&name, self.filled.get(&name))) }
                                @else { input name=(name) value=[self.filled.get(&name)] placeholder=[(row == 0).then_some(column.example)] aria-label=(label) autocomplete="off"; }
                                (self.filled.beside(&name))
                            }
                        }
                    } } }
                } }
            }
        }
    }
}

/// The keys of all texts of the table.
#[cfg(test)]
pub(crate) fn texts() -> Vec<String> {
    fn of(field: &Field) -> Vec<String> {
        let mut keys = vec![field.word.to_string()];
        match field.input {
            Input::Rows(_, inner) => keys.extend(inner.iter().flat_map(of)),
            Input::One(choices) => keys.extend(choices.iter().map(|(_, key)| (*key).to_string())),
            _ => {}
        }
        keys
    }
    let forms = || BEGINNING.iter().chain(CHANGES);
    let titles = forms().map(|form| format!("form.{}", form.name));
    titles
        .chain(forms().flat_map(Form::fields).flat_map(of))
        .collect()
}

/// The names that forms offer where one is typed.
pub(crate) fn lists() -> Markup {
    html! { (offered::titrants()) (offered::all_substances()) (offered::glass()) (offered::balances()) }
}

/// Lots and solutions that something can be taken from.
async fn sources(app: &App) -> Result<Vec<Thing>, Fault> {
    let mut found = Vec::new();
    for kind in [Kind::Lot, Kind::Solution] {
        let filter = Filter {
            kind: Some(kind),
            limit: Some(200),
            ..Filter::default()
        };
        found.extend(app.store.list(&filter).await?.things);
    }
    found.retain(|thing| thing.status != "gone");
    Ok(found)
}

fn has_sources(form: &Form) -> bool {
    form.fields()
        .any(|f| matches!(f.input, Input::Rows(_, inner) if inner.iter().any(|f| f.input == Input::Source)))
}

fn signs(visitor: &Visitor, form: &Form) -> bool {
    visitor.shared && Permissions::shipped().needs_signature(form.kind)
}

fn folded(drawn: &Drawn<'_>) -> Markup {
    html! { details.noprint { summary { (of_record("form", drawn.form.name)) } (drawn.draw()) } }
}

/// The forms that begin things of these kinds, each with the next free name; `back` is where they lead.
pub(crate) async fn begin(
    app: &App,
    visitor: &Visitor,
    kinds: &[Kind],
    back: &str,
) -> Result<Markup, Fault> {
    let (sources, empty) = (sources(app).await?, Filled::default());
    let mut drawn = Vec::new();
    for form in BEGINNING
        .iter()
        .filter(|form| kinds.contains(&form.about()))
    {
        let free = free_name(app, form).await?;
        drawn.push(folded(&Drawn {
            form,
            on: &free,
            back,
            filled: &empty,
            sources: &sources,
            signs: signs(visitor, form),
        }));
    }
    Ok(html! { @for form in &drawn { (form) } })
}

/// The next free name, without its kind; none for people, who have their own.
async fn free_name(app: &App, form: &Form) -> Result<String, Fault> {
    if form.about() == Kind::Person {
        return Ok(String::new());
    }
    Ok(app.store.free_name(form.about()).await?.name().to_string())
}

/// The forms for what can happen to a thing that stands so.
pub(crate) async fn change(
    app: &App,
    visitor: &Visitor,
    node: &Node,
    state: &State,
    back: &str,
) -> Result<Markup, Fault> {
    let fitting: Vec<&Form> = CHANGES.iter().filter(|form| (form.fits)(state)).collect();
    let needs = fitting.iter().any(|form| has_sources(form));
    let sources = if needs {
        sources(app).await?
    } else {
        Vec::new()
    };
    let on = node.to_string();
    Ok(html! { @for form in fitting {
        @let filled = stands(form, state);
        (folded(&Drawn { form, on: &on, back, filled: &filled, sources: &sources, signs: signs(visitor, form) }))
    } })
}

/// What stands there now, as the fields of a form.
fn stands(form: &Form, state: &State) -> Filled {
    let now = (form.now)(state);
    let mut filled = Filled::default();
    for field in form.fields() {
        let Some(value) = at(&now, field.path) else {
            continue;
        };
        match (field.input, value) {
            (Input::Rows(_, inner), Value::Array(lines)) => {
                for (n, line) in lines.iter().enumerate() {
                    for column in inner {
                        if let Some(text) = line.get(column.path).and_then(Value::as_str) {
                            filled.set(&format!("{}.#{n}.{}", field.path, column.path), text);
                        }
                    }
                }
            }
            (_, Value::Array(several)) => {
                let words = several.iter().filter_map(Value::as_str);
                filled
                    .0
                    .extend(words.map(|word| (field.path.to_string(), word.to_string())));
            }
            (_, Value::String(text)) => filled.set(field.path, text),
            _ => {}
        }
    }
    filled
}

/// What a payload says in the place of a field.
fn at<'a>(payload: &'a Value, path: &str) -> Option<&'a Value> {
    path.splitn(3, '.')
        .nth(2)?
        .split('.')
        .try_fold(payload, |value, member| value.get(member))
}

/// Puts beside the fields of a form of the table what they leave unsaid: the unit of a number alone, what stands twice in the
/// payload. Other forms stay as they are.
pub(crate) fn complete(fields: &mut Vec<(String, String)>) {
    let Some(form) = form_of(fields) else {
        return;
    };
    let mut more = Vec::new();
    for field in form.fields() {
        if let Input::Rows(most, inner) = field.input {
            for column in inner.iter().filter(|column| !column.unit.is_empty()) {
                more.extend((0..most).map(|row| {
                    let name = format!("unit.{}.#{row}.{}", field.path, column.path);
                    (name, column.unit.to_string())
                }));
            }
        }
        if !field.unit.is_empty() {
            more.push((format!("unit.{}", field.path), field.unit.into()));
        }
        // Said twice only where the other place has anything beside it.
        if let Some(also) = field.also
            && let Some((beside, _)) = also.rsplit_once('.')
            && fields
                .iter()
                .any(|(name, value)| name.starts_with(beside) && !value.trim().is_empty())
            && let Some((_, value)) = fields.iter().find(|(name, _)| name == field.path)
        {
            more.push((also.into(), value.clone()));
        }
    }
    fields.extend(more);
}

fn form_of(fields: &[(String, String)]) -> Option<&'static Form> {
    let (_, name) = fields.iter().find(|(name, _)| name == "form")?;
    named(name)
}

/// The form once more, with what was typed and why it was not taken; none if it is no form of the table.
pub(crate) async fn again(
    app: &App,
    visitor: &Visitor,
    fields: Vec<(String, String)>,
    fault: &Fault,
) -> Result<Option<Markup>, Fault> {
    let Some(form) = form_of(&fields) else {
        return Ok(None);
    };
    let why = words::fault(fault);
    let field = wrong(form, &fields, fault);
    let filled = Filled(fields, Some(Said { field, why }));
    let mut on = filled.get("on").unwrap_or_default().to_string();
    if form.begins() {
        on = on.rsplit('/').next().unwrap_or_default().to_string();
        // A name that is taken gives way to the next free one.
        if matches!(fault, Fault::Store(StoreError::Refused(Refusal::Taken(_)))) {
            on = free_name(app, form).await?;
        }
    }
    let back = command::own_path(filled.get("back").unwrap_or("/")).to_string();
    let title = of_record("form", form.name);
    let drawn = Drawn {
        form,
        on: &on,
        back: &back,
        filled: &filled,
        sources: &sources(app).await?,
        signs: signs(visitor, form),
    };
    let thing: Option<Node> = on.parse().ok();
    let page = Page {
        title,
        part: None,
        visitor: Some(visitor),
        about: None,
        aside: None,
    };
    Ok(Some(page.with(&html! {
        h1 { (title) @if let Some(node) = thing.filter(|_| !form.begins()) { " " a href=(path_of(&node)) { (node.name()) } } }
        p.quiet { (t("form.refused")) }
        (lists())
        (drawn.draw())
        p { a href=(back) { (t("form.leave")) } }
    })))
}

/// The field that a refusal is about, as far as it can be told.
fn wrong(form: &Form, fields: &[(String, String)], fault: &Fault) -> Option<String> {
    let said = fault.to_string();
    let typed = || {
        fields
            .iter()
            .filter(|(name, value)| name.starts_with("p.") && !value.trim().is_empty())
    };
    match fault {
        Fault::Store(StoreError::Refused(refusal)) => match refusal {
            Refusal::Taken(_) | Refusal::WrongKind { .. } if form.begins() => Some("on".into()),
            Refusal::Reason => Some("p.s.reason".into()),
            _ => {
                let of_form = typed().filter(|(name, _)| !name.ends_with(".reason"));
                let about = of_form
                    .filter(|(_, value)| said.contains(value.trim()))
                    .max_by_key(|(_, value)| value.len());
                about.map(|(name, _)| name.clone())
            }
        },
        // What cannot be read: the field without which the form is read further.
        Fault::Form(_) => typed()
            .map(|(name, _)| name.as_str())
            .chain(["on"])
            .find(|name| {
                let without: Vec<(String, String)> = fields
                    .iter()
                    .map(|(n, value)| {
                        let example = form
                            .fields()
                            .find(|f| f.path == n)
                            .map_or("", |f| f.example);
                        let value = if n == name { example } else { value };
                        (n.clone(), value.to_string())
                    })
                    .collect();
                match command::read(&without) {
                    Ok(_) => true,
                    Err(other) => {
                        other.to_string() != said && !other.to_string().contains("missing field")
                    }
                }
            })
            .map(str::to_string),
        _ => None,
    }
}
