//! The frame around every page.

use crate::decimals::localized;
use crate::room::{Room, room};
use crate::text::{languages, spoken, t};
use crate::visitor::Visitor;
use maud::{DOCTYPE, Markup, PreEscaped, html};
use notebook::Node;

/// A part of the bench, for the navigation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Part {
    Bench,
    Results,
    Plan,
    Shelf,
    Record,
}

/// A page of a part.
pub(crate) struct Page<'a> {
    pub(crate) title: &'a str,
    pub(crate) part: Option<Part>,
    pub(crate) visitor: Option<&'a Visitor>,
    /// What it is about, so that its changes are followed.
    pub(crate) about: Option<&'a Node>,
    /// Where the small words at the top right stand.
    pub(crate) aside: Option<Markup>,
}

impl Page<'_> {
    pub(crate) fn with(&self, body: &Markup) -> Markup {
        PreEscaped(localized(self.around(body).into_string()))
    }

    fn around(&self, body: &Markup) -> Markup {
        let parts = [
            (Part::Bench, "/", t("nav.bench")),
            (Part::Results, "/determinations", t("nav.results")),
            (Part::Plan, "/plan", t("nav.plan")),
            (Part::Shelf, "/shelf", t("nav.shelf")),
            (Part::Record, "/record", t("nav.record")),
        ];
        html! {
            (DOCTYPE)
            html lang=(spoken().code) data-room=[room().word()] {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    title translate="no" { (self.title) " · halfdrop" }
                    link rel="icon" href="/look/icon.svg" type="image/svg+xml";
                    link rel="stylesheet" href="/look/halfdrop.css";
                    script type="module" src="/look/bench.js" {}
                }
                body data-about=[self.about.map(ToString::to_string)] data-who=[self.visitor.filter(|visitor| visitor.shared).map(|visitor| &visitor.who)] {
                    a.skip href="#main" { (t("nav.skip")) }
                    header.top {
                        a.name href="/" { "halfdrop" }
                        nav aria-label=(t("nav.label")) {
                            @for (part, path, word) in parts {
                                a href=(path) aria-current=[(self.part == Some(part)).then_some("page")] { (word) }
                            }
                        }
                        span.where {
                            @if let Some(aside) = &self.aside { (aside) " · " }
                            @if let Some(visitor) = self.visitor {
                                a href="/people" { (visitor.who) }
                                @if visitor.shared { form.inline method="post" action="/sign-out" { button type="submit" { (t("people.sign_out")) } } }
                            }
                        }
                    }
                    main #main { (queue()) (body) }
                    footer.noprint {
                        p.languages {
                            @for language in languages() {
                                @if language.code == spoken().code { span lang=(language.code) { (language.name) } }
                                @else { a href={ "/language/" (language.code) } lang=(language.code) hreflang=(language.code) { (language.name) } }
                            }
                        }
                        (light())
                    }
                }
            }
        }
    }
}

/// Where the words appear for what waits in this browser, and for what of it was refused; outside of what is drawn anew.
fn queue() -> Markup {
    html! {
        p #queued.waiting.noprint role="status" hidden data-waiting=(t("bench.waiting")) data-missed=(t("bench.missed")) {}
        div #refused.notice.noprint role="alert" hidden data-lost=(t("photo.lost")) { p {} button #dismiss type="button" { (t("bench.dismiss")) } }
    }
}

/// The switch for the light of the room: a plain form, remembered in a cookie, which comes back to the page that it
/// stands on.
fn light() -> Markup {
    let now = room();
    let choices = [
        (Room::Dark, "dark", t("room.dark")),
        (Room::Light, "light", t("room.light")),
        (Room::Device, "device", t("room.device")),
    ];
    html! {
        form.room method="post" action="/room" {
            span.quiet { (t("room.label")) }
            @for (room, word, said) in choices {
                button type="submit" name="room" value=(word) aria-pressed=(if room == now { "true" } else { "false" }) { (said) }
            }
        }
    }
}

/// A page without a part or a person.
pub(crate) fn plain(title: &str, body: &Markup) -> Markup {
    Page {
        title,
        part: None,
        visitor: None,
        about: None,
        aside: None,
    }
    .with(body)
}

/// Our own SVG text, which is escaped where it is made.
pub(crate) fn drawn(svg: String) -> Markup {
    PreEscaped(svg)
}

/// Where a thing has its page.
pub(crate) fn path_of(node: &Node) -> String {
    let name = escaped(node.name());
    match node.kind() {
        notebook::Kind::Determination => format!("/determinations/{name}"),
        notebook::Kind::Certificate => format!("/certificates/{name}"),
        kind => format!("/things/{kind}/{name}"),
    }
}

/// A name in a path.
pub(crate) fn escaped(name: &str) -> String {
    let mut out = String::new();
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-_.~".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

/// A thing by its name, with its page behind it.
pub(crate) fn link(node: &Node) -> Markup {
    html! { a.together href=(path_of(node)) translate="no" { (node.name()) } }
}

/// The unit of a field: it stands behind a number that is typed alone.
pub(crate) fn unit_of(field: &str, unit: &str) -> Markup {
    html! { input type="hidden" name={ "unit." (field) } value=(unit); }
}

/// A form that is a command; what is inside are its fields and buttons.
pub(crate) fn command(on: &Node, kind: &str, back: &str, label: &str, inside: &Markup) -> Markup {
    html! {
        form.command method="post" action="/do" data-label=(label) {
            input type="hidden" name="on" value=(on);
            input type="hidden" name="kind" value=(kind);
            input type="hidden" name="back" value=(back);
            (inside)
        }
    }
}
