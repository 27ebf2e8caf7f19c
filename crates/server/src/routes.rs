//! Everything that can be asked, in one table.

use crate::app::App;
use crate::{api, command, entry, guard, live, page, room};
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware;
use axum::routing::{MethodRouter, get, post};

/// Longest body that is read, in bytes; a command is far shorter.
const MAX_BODY: usize = 64 * 1024;
/// Longest photograph that is taken, with the form around it.
pub(crate) const MAX_PHOTO: usize = 12 * 1024 * 1024;
/// What takes photographs.
const PHOTOS: [&str; 3] = ["/new/find", "/files", "/api/v1/files"];

/// One thing that can be asked.
#[derive(Clone, Copy, Debug)]
pub struct Route {
    /// GET or POST.
    pub method: &'static str,
    /// Path, with members in braces.
    pub path: &'static str,
    /// What it answers, in a sentence.
    pub says: &'static str,
    handler: fn() -> MethodRouter<App>,
}

macro_rules! routes {
    ($($method:ident $path:literal $says:literal $handler:path;)*) => {
        /// The table of routes.
        pub const ROUTES: &[Route] = &[$(Route {
            method: stringify!($method),
            path: $path,
            says: $says,
            handler: || $method($handler),
        },)*];
    };
}

routes! {
    get "/" "The bench: what is open, what was found last." page::home::home;
    post "/demo" "Open the demo of the pickle works beside this record." page::demo::open;
    post "/demo/seen" "Put away what the demo says to look at." page::demo::seen;
    get "/language/{code}" "Speak another language on this device." page::language::language;
    get "/look/{name}" "Style sheet and script." page::assets::asset;
    get "/determinations" "Determinations, newest first; search and filters." page::list::determinations;
    get "/determinations/{name}" "A determination: at the bench while it is open, then its result." page::determination::determination;
    get "/things.csv" "A list as CSV; search and filters as on its page." page::tables::list;
    get "/determinations/{name}/runs.csv" "The readings and titres as CSV." page::tables::runs;
    get "/determinations/{name}/budget.csv" "The budget as CSV." page::tables::budget;
    get "/determinations/{name}/where/{id}" "Where a number of a determination comes from." page::origin::origin;
    get "/determinations/{name}/working" "The worked solution with the run table." page::working::page;
    get "/determinations/{name}/working.pdf" "The worked solution as PDF." page::working::as_pdf;
    get "/determinations/{name}/working.html" "The worked solution as one HTML file." page::working::as_html;
    get "/determinations/{name}/what-if" "What a result would be with other inputs; not recorded." page::what_if::what_if;
    get "/new" "Open a determination." page::new::new;
    post "/new" "Open a determination." page::new::open;
    post "/new/find" "Choose a thing by its short id or a photograph of its code." page::scan::find;
    post "/files" "Keep a photograph of a reading." page::files::attach;
    get "/files/{hash}" "A photograph, by its hash." page::files::file;
    get "/codes/{kind}/{name}" "A thing's code for the camera, to be printed." page::code::code;
    get "/plan" "Plan a determination before a drop is poured." page::plan::plan;
    get "/shelf" "Lots, solutions, apparatus and samples, with what may be used today." page::shelf::shelf;
    get "/things/{kind}/{name}" "A thing: what it is, what it is made of, what rests on it, its history." page::thing::thing;
    get "/things/{kind}/{name}/history.csv" "The events of a thing as CSV." page::tables::history;
    get "/things/{kind}/{name}/values.csv" "What a bottle or a check sample was found to be, as CSV." page::tables::values;
    get "/certificates/{name}" "A certificate, to be printed." page::certificate::certificate;
    get "/certificates/{name}/pdf" "A certificate as PDF/A-3 with its data attached." page::pdf::certificate;
    get "/labels/{name}" "A bottle's label, to be printed." page::label::label;
    get "/labels/{name}/pdf" "A bottle's label as PDF, 70 mm x 37 mm: copies, on a sheet of 24 (sheet), its first places left blank (skip)." page::pdf::label;
    get "/record" "The record: its last events and the check of its chain." page::record::record;
    get "/record.csv" "Events as CSV, after a number." page::tables::record;
    post "/record/check" "Hash the whole chain again." page::record::check;
    get "/corrections/{number}" "What a correction brought about, old beside new." page::correction::correction;
    get "/notices" "What came out otherwise of what a person did." page::correction::notices;
    get "/people" "Who works here, and how the record is shared." page::people::people;
    post "/people/secret" "Set a passphrase or a code." page::people::secret;
    get "/sign-in" "Sign in." page::sign_in::page;
    post "/sign-in" "Sign in." page::sign_in::sign_in;
    post "/sign-out" "Sign out." page::sign_in::sign_out;
    post "/room" "The light of the room: dark, light, or as the device says." room::choose;
    post "/do" "A command from a form." command::form;
    get "/live" "Changes as they happen (server-sent events)." live::live;
    post "/api/v1/commands" "A command as JSON; answered once it is durable." api::command;
    get "/api/v1/things" "A page of a list, with filters." api::things;
    get "/api/v1/things/{kind}/{name}" "A thing as it is now." api::thing;
    get "/api/v1/things/{kind}/{name}/history" "The events of a thing." api::history;
    get "/api/v1/things/{kind}/{name}/trace" "What it is made of, and what rests on it." api::trace;
    get "/api/v1/determinations/{name}/evaluation" "A determination, evaluated." api::evaluation;
    get "/api/v1/determinations/{name}/what-if" "What a result would be with other inputs (v.INPUT, u.INPUT); not recorded." page::what_if::answer;
    get "/api/v1/events" "Events after a number." api::events;
    post "/api/v1/files" "Keep a photograph (multipart/form-data): `on`, `file`, and if wanted `about` (\"2 final\"), `key`, `at`." page::files::attach;
    get "/api/v1/files/{hash}" "The bytes of a photograph, by its hash." page::files::file;
    post "/api/v1/check" "Hash the whole chain again, and the attached files." entry::check;
    get "/api/v1/notices" "What of one's own work came out otherwise after a correction." entry::notices;
    post "/api/v1/secrets" "Set a passphrase or a code; the present passphrase proves who asks." entry::secret;
    post "/api/v1/sign-in" "Begin a session; its token goes with each request as `Authorization: Bearer TOKEN`." entry::sign_in;
    post "/api/v1/sign-out" "End the session." entry::sign_out;
    get "/api/v1/corrections/{number}" "What a correction brought about, old beside new." api::correction;
    get "/api/v1/usable" "What may be used today, until when, and why not." api::usable;
    get "/api/v1/openapi.json" "This interface, described." api::openapi;
}

/// The router over a record.
pub fn router(app: App) -> Router {
    let mut router = Router::new();
    for route in ROUTES {
        let mut handler = (route.handler)();
        if PHOTOS.contains(&route.path) {
            handler = handler.layer(DefaultBodyLimit::max(MAX_PHOTO));
        }
        router = router.route(route.path, handler);
    }
    router
        .fallback(page::missing)
        .layer(DefaultBodyLimit::max(MAX_BODY))
        .layer(middleware::from_fn(room::known))
        .layer(middleware::from_fn(guard::guard))
        .layer(middleware::from_fn(entry::in_json))
        .with_state(app)
}
