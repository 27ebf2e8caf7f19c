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
use notebook::decide::person;
use notebook::payload::Role;
use notebook::{Kind, Node, Refusal};
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

/// What the form says.
#[derive(Deserialize)]
pub(crate) struct NewSecret {
    person: String,
    which: String,
    secret: String,
}

pub(crate) async fn secret(
    State(app): State<App>,
    visitor: Visitor,
    Form(form): Form<NewSecret>,
) -> Result<Redirect, Fault> {
    let own = form.person == visitor.who;
    if visitor.shared && !own {
        // Somebody else's secret is set by who lets people in.
        let node = person(&visitor.who).map_err(store::StoreError::from)?;
        let world = app.store.world(std::slice::from_ref(&node)).await?;
        let keeps = world
            .person(&node)
            .is_some_and(|p| p.roles.contains(&Role::Keeper));
        if !keeps {
            return Err(store::StoreError::from(Refusal::NotPermitted {
                who: visitor.who,
                kind: "secret-set".into(),
                roles: Role::Keeper.word().into(),
            })
            .into());
        }
    }
    let which = if form.which == "code" {
        Secret::Code
    } else {
        Secret::Passphrase
    };
    app.store
        .set_secret(
            &visitor.who,
            &visitor.device,
            &form.person,
            which,
            &form.secret,
        )
        .await?;
    Ok(Redirect::to("/people"))
}
