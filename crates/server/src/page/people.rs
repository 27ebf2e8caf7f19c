//! Who works here, and how the record is shared.

use super::forms;
use super::frame::{Page, Part, command, link};
use crate::answer::Fault;
use crate::app::App;
use crate::text::t;
use crate::visitor::Visitor;
use crate::words;
use axum::extract::{Form, State};
use axum::response::Redirect;
use maud::{Markup, html};
use notebook::{Kind, Node};
use serde::Deserialize;
use store::{Filter, Secret};

pub(crate) async fn people(State(app): State<App>, visitor: Visitor) -> Result<Markup, Fault> {
    let filter = Filter {
        kind: Some(Kind::Person),
        limit: Some(200),
        ..Filter::default()
    };
    let people = app.store.list(&filter).await?.things;
    let nodes: Vec<Node> = people.iter().map(|thing| thing.node.clone()).collect();
    let world = app.store.world(&nodes).await?;
    let begin = forms::begin(&app, &visitor, &[Kind::Person], "/people").await?;
    let page = Page {
        title: t("people.title"),
        part: Some(Part::Record),
        visitor: Some(&visitor),
        about: None,
        aside: None,
    };
    Ok(page.with(&html! {
        h1 { (t("people.title")) }
        p { @if visitor.shared { (t("people.is_shared")) } @else { (t("people.alone")) } }
        table { tbody {
            @for node in &nodes {
                @if let Some(person) = world.person(node) {
                    tr {
                        td.strong { (link(node)) } td { (person.name) }
                        td.quiet { (person.roles.iter().map(|r| words::role(*r)).collect::<Vec<_>>().join(", "))
                            @if let Some(why) = &person.left { " · " (t("people.left")) " " (why) } }
                    }
                }
            }
        } }
        p.quiet { (t("people.press")) }
        h2 { (t("people.add")) }
        (begin)
        h2 { (t("people.secret")) }
        form method="post" action="/people/secret" {
            label { span { (t("people.whose")) } select name="person" { @for node in &nodes { option selected[node.name() == visitor.who] { (node.name()) } } } }
            label { span { (t("people.which")) } select name="which" { option value="passphrase" { (t("people.passphrase")) } option value="code" { (t("people.code")) } } }
            label { span { (t("people.present")) } input type="password" name="present" required[visitor.shared] autocomplete="current-password"; }
            label { span { (t("people.new_secret")) } input type="password" name="secret" required autocomplete="new-password"; }
            button type="submit" { (t("people.set")) }
        }
        @if !visitor.shared {
            h2 { (t("people.share")) }
            p.quiet { (t("people.share_how")) }
            (command(&Node::record(), "record-shared", "/sign-in", t("people.share"), &html! {
                button type="submit" { (t("people.share_now")) }
            }))
        }
    }))
}

/// What the form says, or a program.
#[derive(Deserialize, schemars::JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct NewSecret {
    /// Whose.
    pub(crate) person: String,
    /// "passphrase" or "code".
    pub(crate) which: String,
    /// The new one.
    pub(crate) secret: String,
    /// The present passphrase of who sets it.
    #[serde(default)]
    pub(crate) present: String,
}

impl NewSecret {
    /// Sets it for who asks.
    pub(crate) async fn set(&self, app: &App, visitor: &Visitor) -> Result<(), Fault> {
        let new = store::NewSecret {
            person: &self.person,
            which: Secret::of(&self.which),
            secret: &self.secret,
            present: &self.present,
        };
        app.store
            .change_secret(&visitor.who, &visitor.device, visitor.session, &new)
            .await?;
        Ok(())
    }
}

pub(crate) async fn secret(
    State(app): State<App>,
    visitor: Visitor,
    Form(form): Form<NewSecret>,
) -> Result<Redirect, Fault> {
    form.set(&app, &visitor).await?;
    Ok(Redirect::to("/people"))
}
