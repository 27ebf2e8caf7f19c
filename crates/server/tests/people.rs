//! A shared record: nobody reads or writes without signing in, and the table of permissions holds for every command.

#![allow(clippy::unwrap_used)] // helpers outside of test functions may not answer for a failure

use axum::Router;
use axum::body::Body;
use axum::http::{Request, StatusCode, header};
use http_body_util::BodyExt;
use notebook::payload::{Payload, PersonAdded, RecordShared, Role};
use notebook::{Command, Kind, Moment, Node, Permissions};
use serde_json::{Value, json};
use server::{App, ROUTES, router};
use std::collections::BTreeMap;
use std::path::Path;
use store::{Order, Secret, Store};
use tower::ServiceExt;

/// 2026-03-12, some day.
const FIRST_DAY: i64 = 1_773_306_000_000;
const PASSPHRASE: &str = "dill seed and mustard";

struct Shared {
    router: Router,
    store: Store,
    _folder: tempfile::TempDir,
}

/// The demo record, shared, with one person for each role, named by it.
async fn shared() -> Shared {
    let folder = tempfile::tempdir().unwrap();
    let place = folder.path().join("demo.record");
    let store = store::build_demo(place.to_str().unwrap(), 1, Moment::new(FIRST_DAY, 60))
        .await
        .unwrap();
    let say = async |on: Node, payload: Payload| {
        let order = Order::new("fennel", "test", Command::new(on, payload));
        store.submit(order).await.unwrap();
    };
    for role in Role::ALL {
        let on = Node::new(Kind::Person, role.word()).unwrap();
        let added = PersonAdded {
            name: role.word().into(),
            roles: vec![role],
        };
        say(on, added.into()).await;
        store
            .set_secret(
                "fennel",
                "test",
                role.word(),
                Secret::Passphrase,
                PASSPHRASE,
            )
            .await
            .unwrap();
    }
    say(Node::record(), RecordShared {}.into()).await;
    Shared {
        router: router(App::new(store.clone(), "nobody")),
        store,
        _folder: folder,
    }
}

impl Shared {
    async fn ask(&self, request: Request<Body>) -> (StatusCode, String, axum::http::HeaderMap) {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (status, headers) = (response.status(), response.headers().clone());
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        (status, String::from_utf8(bytes.to_vec()).unwrap(), headers)
    }

    async fn try_to_sign_in(
        &self,
        person: &str,
        secret: &str,
    ) -> (StatusCode, String, axum::http::HeaderMap) {
        let body = format!("person={person}&secret={}", secret.replace(' ', "+"));
        let request = Request::post("/sign-in")
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from(body))
            .unwrap();
        self.ask(request).await
    }

    /// Signs in; gives the cookie.
    async fn sign_in(&self, person: &str) -> String {
        let (status, body, headers) = self.try_to_sign_in(person, PASSPHRASE).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{body}");
        let set = headers[header::SET_COOKIE].to_str().unwrap();
        assert!(
            set.contains("HttpOnly") && set.contains("SameSite=Strict"),
            "{set}"
        );
        set.split(';').next().unwrap().to_string()
    }

    async fn command(&self, cookie: &str, command: &Value) -> (StatusCode, Value) {
        let request = Request::post("/api/v1/commands")
            .header("cookie", cookie)
            .body(Body::from(command.to_string()))
            .unwrap();
        let (status, body, _) = self.ask(request).await;
        (status, serde_json::from_str(&body).unwrap_or(Value::Null))
    }
}

/// A payload of every kind: those of the demo, and the golden ones of the notebook.
async fn payloads(store: &Store) -> BTreeMap<String, (String, Value)> {
    let mut found = BTreeMap::new();
    for event in store.events(0, 10_000).await.unwrap() {
        let payload = serde_json::to_value(&event.payload).unwrap()["payload"].take();
        found.insert(
            event.payload.kind().to_string(),
            (event.stream.to_string(), payload),
        );
    }
    let golden = Path::new(env!("CARGO_MANIFEST_DIR")).join("../notebook/tests/golden");
    for entry in std::fs::read_dir(golden).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_str().unwrap();
        let Some((kind, "v1.json")) = name.split_once('.') else {
            continue;
        };
        let on = Payload::KINDS
            .iter()
            .find(|(known, ..)| *known == kind)
            .unwrap()
            .2;
        let on = if on == Kind::Record {
            Node::record().to_string()
        } else {
            format!("{on}/nothing")
        };
        let payload = serde_json::from_str(&std::fs::read_to_string(&path).unwrap()).unwrap();
        found.entry(kind.to_string()).or_insert((on, payload));
    }
    found
}

#[tokio::test]
async fn without_signing_in_nothing_is_read_and_nothing_is_written() {
    let bench = shared().await;
    for route in ROUTES {
        let open = [
            "/look/{name}",
            "/language/{code}",
            "/room",
            "/sign-in",
            "/sign-out",
            "/api/v1/sign-in",
        ];
        if open.contains(&route.path) {
            continue;
        }
        let name = match route.path.split('/').nth(1) {
            Some("certificates") => "C-0001",
            Some("labels") => "T-0117",
            _ => "D-0001",
        };
        let path = route
            .path
            .replace("{name}", name)
            .replace("{kind}", "determination")
            .replace("{id}", "step:c");
        for cookie in ["", "session=0123456789abcdef"] {
            let request = match route.method {
                "get" => Request::get(&path),
                _ => {
                    Request::post(&path).header("content-type", "application/x-www-form-urlencoded")
                }
            };
            let request = request
                .header("cookie", cookie)
                .body(Body::empty())
                .unwrap();
            let (status, body, _) = bench.ask(request).await;
            let said = path == "/api/v1/openapi.json" && status == StatusCode::OK;
            let refused = status == StatusCode::UNAUTHORIZED || status == StatusCode::SEE_OTHER;
            assert!(refused || said, "{} {path}: {status}", route.method);
            assert!(!body.contains("mol/L") || said, "{path}");
        }
    }
}

#[tokio::test]
async fn a_script_without_a_session_is_told_so_and_keeps_what_it_has() {
    let bench = shared().await;
    // A redirect to the page for signing in would look as if the photograph was taken.
    let request = Request::post("/files")
        .header("accept", "application/json")
        .body(Body::empty())
        .unwrap();
    let (status, body, _) = bench.ask(request).await;
    assert_eq!(status, StatusCode::UNAUTHORIZED, "{body}");
    let cookie = bench.sign_in("analyst").await;
    let page = Request::get("/").header("cookie", &cookie);
    let (_, body, _) = bench.ask(page.body(Body::empty()).unwrap()).await;
    assert!(body.contains("data-who=\"analyst\""), "{body}");
}

#[tokio::test]
async fn every_command_asks_the_table_of_permissions() {
    let bench = shared().await;
    let table = Permissions::shipped();
    let payloads = payloads(&bench.store).await;
    let missing: Vec<_> = Payload::KINDS
        .iter()
        .filter(|(kind, ..)| !payloads.contains_key(*kind))
        .collect();
    assert!(missing.is_empty(), "{missing:?}");
    for role in Role::ALL {
        let cookie = bench.sign_in(role.word()).await;
        for (kind, (on, payload)) in &payloads {
            let command =
                json!({ "on": on, "kind": kind, "payload": payload, "passphrase": PASSPHRASE });
            let (status, answer) = bench.command(&cookie, &command).await;
            let error = answer["error"].as_str().unwrap_or_default();
            let own = "is written by the record itself";
            // Whom one takes in depends on the roles that are given.
            let given = payload["roles"].as_array().cloned().unwrap_or_default();
            let given: Vec<Role> = given
                .into_iter()
                .map(|role| serde_json::from_value(role).unwrap())
                .collect();
            let may = table.allows(kind, &[role])
                && (!on.starts_with("person/") || table.roles_over(&given).contains(&role));
            assert_eq!(
                error.contains(own),
                table.is_record_only(kind),
                "{role:?} {kind}: {error}"
            );
            assert_eq!(
                error.contains("may not do this"),
                !may && !table.is_record_only(kind),
                "{role:?} {kind}: {status} {error}"
            );
        }
    }
}

#[tokio::test]
async fn a_signature_asks_once_more_who_it_is() {
    let bench = shared().await;
    let cookie = bench.sign_in("reviewer").await;
    let review = |passphrase: Value| json!({ "on": "determination/D-0005", "kind": "determination-reviewed", "payload": { "accepted": true }, "passphrase": passphrase });
    // What is missing is said and burns no attempt, however often.
    for _ in 0..7 {
        let (status, answer) = bench.command(&cookie, &review(Value::Null)).await;
        assert_eq!(status, StatusCode::FORBIDDEN, "{answer}");
        let error = answer["error"].as_str().unwrap();
        assert!(error.contains("passphrase is missing"), "{error}");
    }
    let wrong = review(json!("dill seed and mustar"));
    let (status, answer) = bench.command(&cookie, &wrong).await;
    assert_eq!(status, StatusCode::FORBIDDEN, "{answer}");
    assert!(
        answer["error"].as_str().unwrap().contains("4 more"),
        "{answer}"
    );
    // With the right one it comes to the record, which says that the determination is still open.
    let (status, answer) = bench.command(&cookie, &review(json!(PASSPHRASE))).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{answer}");
    assert!(
        answer["error"].as_str().unwrap().contains("open"),
        "{answer}"
    );
}

#[tokio::test]
async fn a_name_is_locked_after_failures_and_a_session_ends() {
    let bench = shared().await;
    let cookie = bench.sign_in("analyst").await;
    let page = |cookie: &str| {
        Request::get("/")
            .header("cookie", cookie)
            .body(Body::empty())
            .unwrap()
    };
    assert_eq!(bench.ask(page(&cookie)).await.0, StatusCode::OK);
    let out = Request::post("/sign-out")
        .header("cookie", &cookie)
        .body(Body::empty())
        .unwrap();
    bench.ask(out).await;
    assert_eq!(bench.ask(page(&cookie)).await.0, StatusCode::SEE_OTHER);
    let mut locked = false;
    for _ in 0..12 {
        let (status, body, _) = bench.try_to_sign_in("student", "not the passphrase").await;
        assert_eq!(status, StatusCode::FORBIDDEN);
        locked |= body.contains("too many failures");
    }
    assert!(locked);
    let (status, body, _) = bench.try_to_sign_in("student", PASSPHRASE).await;
    assert_eq!(
        status,
        StatusCode::FORBIDDEN,
        "the right one does not open a locked name"
    );
    assert!(body.contains("try again after"), "{body}");
}

#[tokio::test]
async fn a_secret_is_set_with_the_passphrase_alone() {
    let bench = shared().await;
    let set = async |cookie: &str, body: &str| {
        let request = Request::post("/people/secret")
            .header("cookie", cookie)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(Body::from(body.to_string()))
            .unwrap();
        let (status, body, _) = bench.ask(request).await;
        (status, body)
    };
    let passphrase = PASSPHRASE.replace(' ', "+");
    let own = bench.sign_in("analyst").await;
    let code = format!("person=analyst&which=code&secret=4711&present={passphrase}");
    assert_eq!(set(&own, &code).await.0, StatusCode::SEE_OTHER);
    // A session by that code sets nothing, not even with the passphrase.
    let (_, _, headers) = bench.try_to_sign_in("analyst", "4711").await;
    let by_code = headers[header::SET_COOKIE].to_str().unwrap();
    let by_code = by_code.split(';').next().unwrap();
    for present in ["", passphrase.as_str()] {
        let body =
            format!("person=analyst&which=passphrase&secret=onions+in+a+jar&present={present}");
        let (status, said) = set(by_code, &body).await;
        assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{said}");
        assert!(said.contains("signed in with a code"), "{said}");
    }
    // Nor does one's own session without it, or for another person without being a keeper.
    let body = "person=analyst&which=passphrase&secret=onions+in+a+jar";
    assert_eq!(set(&own, body).await.0, StatusCode::FORBIDDEN);
    let other = "person=keeper&which=passphrase&secret=onions+in+a+jar&present=";
    let (status, said) = set(&own, &format!("{other}{passphrase}")).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{said}");
    let keeper = bench.sign_in("keeper").await;
    let body = "person=analyst&which=passphrase&secret=onions+in+a+jar&present=";
    let body = format!("{body}{passphrase}");
    assert_eq!(set(&keeper, &body).await.0, StatusCode::SEE_OTHER);
    let (status, ..) = bench.try_to_sign_in("analyst", "onions in a jar").await;
    assert_eq!(status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn a_student_reads_in_determinations_of_his_own() {
    let bench = shared().await;
    let cookie = bench.sign_in("student").await;
    let remark = json!({ "on": "determination/D-0005", "kind": "remarked", "payload": { "text": "a bubble" } });
    let (status, answer) = bench.command(&cookie, &remark).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{answer}");
    let error = answer["error"].as_str().unwrap();
    assert!(error.contains("another person's"), "{error}");
    let instructor = bench.sign_in("instructor").await;
    let (status, answer) = bench.command(&instructor, &remark).await;
    assert_eq!(status, StatusCode::OK, "{answer}");
}

#[tokio::test]
async fn a_program_signs_in_and_does_what_the_pages_do() {
    let bench = shared().await;
    let ask = async |method: &str, path: &str, token: &str, body: Value| {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header("authorization", format!("Bearer {token}"))
            .header("content-type", "application/json")
            .body(match body {
                Value::Null => Body::empty(),
                body => Body::from(body.to_string()),
            })
            .unwrap();
        let (status, body, headers) = bench.ask(request).await;
        let kind = headers[header::CONTENT_TYPE].to_str().unwrap();
        assert!(
            kind.starts_with("application/json"),
            "{path}: {kind} {body}"
        );
        (status, serde_json::from_str::<Value>(&body).unwrap())
    };
    let wrong = json!({ "person": "analyst", "secret": "not this one" });
    let (status, said) = ask("POST", "/api/v1/sign-in", "", wrong).await;
    assert_eq!(status, StatusCode::FORBIDDEN, "{said}");
    let right = json!({ "person": "analyst", "secret": PASSPHRASE });
    let (status, said) = ask("POST", "/api/v1/sign-in", "", right).await;
    assert_eq!(status, StatusCode::OK, "{said}");
    let token = said["token"].as_str().unwrap();
    let code =
        json!({ "person": "analyst", "which": "code", "secret": "4711", "present": PASSPHRASE });
    let (status, said) = ask("POST", "/api/v1/secrets", token, code).await;
    assert_eq!(status, StatusCode::OK, "{said}");
    let (_, checked) = ask("POST", "/api/v1/check", token, Value::Null).await;
    assert_eq!(checked["sound"], true, "{checked}");
    let (_, notices) = ask("GET", "/api/v1/notices", token, Value::Null).await;
    assert_eq!(notices["person"], "analyst");
    // An event says by what it is proved, and why it came about.
    let (_, events) = ask("GET", "/api/v1/events?limit=2", token, Value::Null).await;
    assert_eq!(events[1]["previous"], events[0]["hash"], "{events}");
    assert!(events[0]["cause"].is_object());
    // Errors are JSON, whoever makes them.
    let long = json!({ "on": "x".repeat(100_000) });
    let strange = json!({ "on": "determination/D-0005", "kind": "remarked", "payload": { "text": "a bubble" }, "expexts": 3 });
    for (method, path, body, expected, told) in [
        (
            "GET",
            "/api/v1/nothing",
            Value::Null,
            404,
            "/api/v1/nothing",
        ),
        ("GET", "/api/v1/events?after=x", Value::Null, 400, "after"),
        ("POST", "/api/v1/commands", long, 413, "length limit"),
        ("POST", "/api/v1/events", Value::Null, 405, "openapi.json"),
        ("POST", "/api/v1/commands", strange, 422, "expexts"),
        (
            "GET",
            "/api/v1/things?status=foo",
            Value::Null,
            422,
            "open, closed",
        ),
        ("GET", "/api/v1/files/00", Value::Null, 404, ""),
    ] {
        let (status, said) = ask(method, path, token, body).await;
        assert_eq!(status.as_u16(), expected, "{path}: {said}");
        let error = said["error"].as_str().unwrap();
        assert!(error.contains(told), "{path}: {error}");
    }
    let (status, _) = ask("POST", "/api/v1/sign-out", token, Value::Null).await;
    assert_eq!(status, StatusCode::OK);
    let (status, said) = ask("GET", "/api/v1/notices", token, Value::Null).await;
    assert_eq!(status, StatusCode::UNAUTHORIZED, "{said}");
}
