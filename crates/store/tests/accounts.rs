//! People: sign-ins, lock-outs, sessions, permissions; on both databases.
#![allow(clippy::unwrap_used)]

mod common;

use common::{Folder, first_day, node, places};
use notebook::payload::{
    DeterminationReopened, DeterminationReviewed, PersonAdded, PersonLeft, RecordOpened,
    RecordShared, Role, RolesChanged, SampleReceived,
};
use notebook::{Command, Kind, Node, Payload, Refusal};
use std::sync::Arc;
use store::{
    IDLE_MS, LONGEST_MS, MOST_FAILURES, NewSecret, Order, Secret, Store, StoreError, Told,
};

const GOOD: &str = "four old brown bottles";

async fn shared(place: &str) -> (Store, Arc<Told>) {
    let clock = Arc::new(Told::at(first_day(), 7));
    let store = Store::create(place, clock.clone()).await.unwrap();
    let says = async |on: &str, payload: Payload| {
        let command = Command::new(node(on), payload);
        store
            .submit(Order::new("fennel", "desk", command))
            .await
            .unwrap();
    };
    says(
        "record/record",
        RecordOpened {
            name: "bench".into(),
        }
        .into(),
    )
    .await;
    for (id, role) in [
        ("fennel", Role::Keeper),
        ("sorrel", Role::Analyst),
        ("marsh", Role::Reviewer),
    ] {
        says(
            &format!("person/{id}"),
            PersonAdded {
                name: id.into(),
                roles: vec![role],
            }
            .into(),
        )
        .await;
    }
    // Nobody could sign in: it is not shared before a keeper has a passphrase.
    store
        .set_secret("fennel", "desk", "sorrel", Secret::Passphrase, GOOD)
        .await
        .unwrap();
    let share = Command::new(node("record/record"), RecordShared {});
    let early = store
        .submit(Order::new("fennel", "desk", share.clone()))
        .await;
    assert!(
        matches!(early, Err(StoreError::Refused(Refusal::NoKeeper))),
        "{early:?}"
    );
    store
        .set_secret("fennel", "desk", "fennel", Secret::Passphrase, GOOD)
        .await
        .unwrap();
    says("record/record", share.payload).await;
    store
        .set_secret("sorrel", "tablet", "sorrel", Secret::Code, "4711")
        .await
        .unwrap();
    (store, clock)
}

#[tokio::test(flavor = "multi_thread")]
async fn a_session_begins_and_ends() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let (store, clock) = shared(&place).await;
        let token = store
            .sign_in("sorrel", "tablet", Secret::Code, "4711")
            .await
            .unwrap();
        assert_eq!(store.session(&token).await.unwrap().person, "sorrel");
        store.sign_out(&token).await.unwrap();
        assert!(matches!(
            store.session(&token).await,
            Err(StoreError::SessionEnded)
        ));
        // Left alone it ends; used it lasts, but not for ever.
        let token = store
            .sign_in("sorrel", "tablet", Secret::Passphrase, GOOD)
            .await
            .unwrap();
        clock.set(first_day().plus(IDLE_MS - 1));
        store.session(&token).await.unwrap();
        let mut at = IDLE_MS - 1;
        while at + IDLE_MS / 2 < LONGEST_MS {
            at += IDLE_MS / 2;
            clock.set(first_day().plus(at));
            store.session(&token).await.unwrap();
        }
        clock.set(first_day().plus(LONGEST_MS));
        assert!(matches!(
            store.session(&token).await,
            Err(StoreError::SessionEnded)
        ));
        let idle = store
            .sign_in("sorrel", "tablet", Secret::Passphrase, GOOD)
            .await
            .unwrap();
        clock.set(first_day().plus(LONGEST_MS + IDLE_MS));
        assert!(matches!(
            store.session(&idle).await,
            Err(StoreError::SessionEnded)
        ));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn failures_in_a_row_lock_a_name_for_a_while() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let (store, clock) = shared(&place).await;
        for n in 1..MOST_FAILURES {
            let error = store
                .sign_in("sorrel", "tablet", Secret::Code, "0815")
                .await
                .unwrap_err();
            assert!(
                matches!(error, StoreError::SignIn { left } if left == MOST_FAILURES - n),
                "{error}"
            );
        }
        let error = store
            .sign_in("sorrel", "tablet", Secret::Code, "0815")
            .await
            .unwrap_err();
        assert!(matches!(error, StoreError::LockedOut { .. }), "{error}");
        // Now the right one does not help, and another process knows it too.
        let other = Store::open(&place, clock.clone()).await.unwrap();
        let error = other
            .sign_in("sorrel", "tablet", Secret::Code, "4711")
            .await
            .unwrap_err();
        assert!(matches!(error, StoreError::LockedOut { .. }), "{error}");
        // The passphrase is another secret.
        store
            .sign_in("sorrel", "desk", Secret::Passphrase, GOOD)
            .await
            .unwrap();
        clock.set(first_day().plus(16 * 60_000));
        store
            .sign_in("sorrel", "tablet", Secret::Code, "4711")
            .await
            .unwrap();
        let kinds: Vec<&str> = store
            .history(&node("access/sorrel"), 0)
            .await
            .unwrap()
            .iter()
            .map(|e| e.payload.kind())
            .collect();
        assert_eq!(
            kinds.iter().filter(|k| **k == "sign-in-failed").count(),
            MOST_FAILURES as usize
        );
        assert_eq!(kinds.iter().filter(|k| **k == "locked-out").count(), 1);
        // A name that nobody has, and one that has no code, are told word for word what a known one is told.
        let mut told = Vec::new();
        for who in ["sorrel", "nobody", "marsh"] {
            let mut words = Vec::new();
            for _ in 0..MOST_FAILURES + 2 {
                let error = store.sign_in(who, "tablet", Secret::Code, "0815").await;
                words.push(error.unwrap_err().to_string());
            }
            told.push(words);
        }
        assert_eq!(told[0], told[1]);
        assert_eq!(told[0], told[2]);
        // What a name that nobody has tries within a minute is one event, and so is what is tried at a locked name; how
        // often comes with the next.
        let times = async |who: &str| -> Vec<u64> {
            let node = node(&format!("access/{who}"));
            let events = store.history(&node, 0).await.unwrap();
            let times = events.iter().filter_map(|event| match &event.payload {
                Payload::AttemptRefused(refused) => Some(refused.times),
                _ => None,
            });
            times.collect()
        };
        // Once at the locked name in the first round, once in the second.
        assert_eq!(times("sorrel").await, [1, 1]);
        assert_eq!(times("nobody").await, [1]);
        clock.set(first_day().plus(18 * 60_000));
        for who in ["sorrel", "nobody"] {
            store
                .sign_in(who, "tablet", Secret::Code, "0815")
                .await
                .unwrap_err();
        }
        assert_eq!(times("sorrel").await, [1, 1, 2]);
        assert_eq!(times("nobody").await, [1, 7]);
        // Failures that are as long ago as a lock lasts are forgotten, for every name alike.
        clock.set(first_day().plus(40 * 60_000));
        for who in ["sorrel", "nobody"] {
            let error = store.sign_in(who, "tablet", Secret::Code, "0815").await;
            assert!(
                matches!(error, Err(StoreError::SignIn { left }) if left == MOST_FAILURES - 1),
                "{who}: {error:?}"
            );
        }
        assert_eq!(store.check().await.unwrap().broken, None);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_a_role_may_not_do_is_refused_and_written_down() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let (store, _) = shared(&place).await;
        let determination = node("determination/D-1");
        let reopen = Command::new(
            determination.clone(),
            DeterminationReopened { reason: "x".into() },
        );
        let error = store
            .submit(Order::new("sorrel", "tablet", reopen))
            .await
            .unwrap_err();
        assert!(
            matches!(error, StoreError::Refused(Refusal::NotPermitted { .. })),
            "{error}"
        );
        assert!(error.to_string().contains("reviewer"), "{error}");
        let review = DeterminationReviewed {
            accepted: true,
            note: None,
        };
        let stranger = Order::new("stranger", "tablet", Command::new(determination, review));
        assert!(matches!(
            store.submit(stranger).await,
            Err(StoreError::Refused(Refusal::Unknown(_)))
        ));
        for who in ["sorrel", "stranger"] {
            let last = store
                .history(&node(&format!("access/{who}")), 0)
                .await
                .unwrap()
                .pop()
                .unwrap();
            assert!(
                matches!(last.payload, Payload::AttemptRefused(_)),
                "{last:?}"
            );
        }
        // Who left may do nothing, and a session of his ends.
        let token = store
            .sign_in("sorrel", "tablet", Secret::Code, "4711")
            .await
            .unwrap();
        let left = Command::new(
            node("person/sorrel"),
            PersonLeft {
                reason: "moved away".into(),
            },
        );
        store
            .submit(Order::new("fennel", "desk", left))
            .await
            .unwrap();
        assert!(matches!(
            store.session(&token).await,
            Err(StoreError::SessionEnded)
        ));
        assert!(
            store
                .sign_in("sorrel", "tablet", Secret::Code, "4711")
                .await
                .is_err()
        );
        let sample = SampleReceived {
            what: "v".into(),
            role: Default::default(),
            from: None,
            limits: None,
            expected: None,
            density: None,
        };
        let order = Order::new(
            "sorrel",
            "tablet",
            Command::new(Node::new(Kind::Sample, "V-1").unwrap(), sample),
        );
        assert!(matches!(
            store.submit(order).await,
            Err(StoreError::Refused(Refusal::Left { .. }))
        ));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn weak_secrets_are_not_taken_and_none_is_in_the_record() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let (store, _) = shared(&place).await;
        for (which, weak) in [
            (Secret::Passphrase, "short"),
            (Secret::Code, "12"),
            (Secret::Code, "1111"),
            (Secret::Code, "12a4"),
            (Secret::Code, ""),
        ] {
            let error = store
                .set_secret("fennel", "desk", "marsh", which, weak)
                .await
                .unwrap_err();
            assert!(matches!(error, StoreError::WeakSecret(_)), "{error}");
        }
        for event in store.events(0, 1000).await.unwrap() {
            let body = event.body().unwrap();
            assert!(
                !body.contains(GOOD) && !body.contains("4711") && !body.contains("argon2"),
                "{body}"
            );
        }
        let bytes = b"picture".to_vec();
        let hash = store.keep_file(bytes.clone()).await.unwrap();
        assert_eq!(store.keep_file(bytes.clone()).await.unwrap(), hash);
        assert_eq!(store.file(hash).await.unwrap(), Some(bytes));
        assert_eq!(
            store.file(notebook::Hash::of(b"other")).await.unwrap(),
            None
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_secret_is_set_by_who_proves_the_passphrase() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let (store, _) = shared(&place).await;
        let code = Some(Secret::Code);
        let whole = Some(Secret::Passphrase);
        let new = |person, present| NewSecret {
            person,
            which: Secret::Passphrase,
            secret: "three new green bottles",
            present,
        };
        // Neither a session by code, nor another's secret without being a keeper, nor a wrong or no passphrase.
        for (by, session, new, expected) in [
            ("sorrel", code, new("sorrel", GOOD), "signed in with a code"),
            ("sorrel", whole, new("fennel", GOOD), "it takes: keeper"),
            ("sorrel", whole, new("sorrel", "wrong"), "4 more failures"),
            ("sorrel", whole, new("sorrel", ""), "is missing"),
            ("fennel", whole, new("sorrel", "wrong"), "4 more failures"),
        ] {
            let error = store.change_secret(by, "desk", session, &new).await;
            let error = error.unwrap_err().to_string();
            assert!(error.contains(expected), "{error}");
        }
        for (by, new) in [
            ("sorrel", new("sorrel", GOOD)),
            ("fennel", new("marsh", GOOD)),
        ] {
            store.change_secret(by, "desk", whole, &new).await.unwrap();
            store
                .prove(new.person, "desk", Secret::Passphrase, new.secret)
                .await
                .unwrap();
        }
        let events = store.history(&node("access/sorrel"), 0).await.unwrap();
        let refused = events.iter().filter_map(|event| match &event.payload {
            Payload::AttemptRefused(refused) => Some((refused.asked.as_str(), refused.times)),
            _ => None,
        });
        // Two within a minute: the second is counted.
        assert_eq!(refused.collect::<Vec<_>>(), [("secret-set", 1)]);
        let failed = |event: &&notebook::Event| event.payload.kind() == "sign-in-failed";
        assert_eq!(events.iter().filter(failed).count(), 1);
        // A token that no session has.
        store.session("0123").await.unwrap_err();
        let strange = store.history(&node("access/no session"), 0).await.unwrap();
        assert_eq!(strange.len(), 1);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_shared_record_keeps_a_keeper() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let (store, _) = shared(&place).await;
        let says = async |who: &str, on: &str, payload: Payload| {
            let command = Command::new(node(on), payload);
            store.submit(Order::new(who, "desk", command)).await
        };
        let added = |roles: &[Role]| PersonAdded {
            name: "x".into(),
            roles: roles.to_vec(),
        };
        let changed = |roles: &[Role]| RolesChanged {
            roles: roles.to_vec(),
            reason: "other work".into(),
        };
        let left = || PersonLeft {
            reason: "moved away".into(),
        };
        says("fennel", "person/dill", added(&[Role::Instructor]).into())
            .await
            .unwrap();
        // An instructor takes in and lets go students, nobody else.
        says("dill", "person/cress", added(&[Role::Student]).into())
            .await
            .unwrap();
        for (on, payload) in [
            ("person/a", added(&[Role::Keeper, Role::Reviewer]).into()),
            ("person/b", added(&[Role::Student, Role::Reviewer]).into()),
            ("person/fennel", left().into()),
            ("person/sorrel", left().into()),
            ("person/cress", changed(&[Role::Keeper]).into()),
        ] {
            let refused = says("dill", on, payload).await;
            assert!(
                matches!(
                    refused,
                    Err(StoreError::Refused(Refusal::NotPermitted { .. }))
                ),
                "{on}: {refused:?}"
            );
        }
        says("dill", "person/cress", left().into()).await.unwrap();
        // Who left has no roles to change, and does not leave twice.
        for payload in [changed(&[Role::Analyst]).into(), left().into()] {
            let refused = says("fennel", "person/cress", payload).await;
            assert!(
                matches!(refused, Err(StoreError::Refused(Refusal::Already(_)))),
                "{refused:?}"
            );
        }
        // The last keeper stays one; another keeper without a passphrase is no help.
        says("fennel", "person/caper", added(&[Role::Keeper]).into())
            .await
            .unwrap();
        for payload in [left().into(), changed(&[Role::Analyst]).into()] {
            let refused = says("fennel", "person/fennel", payload).await;
            assert!(
                matches!(refused, Err(StoreError::Refused(Refusal::NoKeeper))),
                "{refused:?}"
            );
        }
        store
            .set_secret("fennel", "desk", "caper", Secret::Passphrase, GOOD)
            .await
            .unwrap();
        says("fennel", "person/fennel", left().into())
            .await
            .unwrap();
        assert_eq!(store.keepers().await.unwrap(), ["caper"]);
        assert_eq!(store.check().await.unwrap().broken, None);
    }
}
