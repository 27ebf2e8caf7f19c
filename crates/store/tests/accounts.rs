//! People: sign-ins, lock-outs, sessions, permissions; on both databases.
#![allow(clippy::unwrap_used)]

mod common;

use common::{Folder, first_day, node, places};
use notebook::payload::{
    DeterminationReopened, DeterminationReviewed, PersonAdded, PersonLeft, RecordOpened,
    RecordShared, Role, SampleReceived,
};
use notebook::{Command, Kind, Node, Payload, Refusal};
use std::sync::Arc;
use store::{IDLE_MS, LONGEST_MS, MOST_FAILURES, Order, Secret, Store, StoreError, Told};

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
    says("record/record", RecordShared {}.into()).await;
    for id in ["fennel", "sorrel"] {
        store
            .set_secret("fennel", "desk", id, Secret::Passphrase, GOOD)
            .await
            .unwrap();
    }
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
        // An unknown name is told no more than a known one, and leaves its trace.
        let error = store
            .sign_in("nobody", "tablet", Secret::Code, "4711")
            .await
            .unwrap_err();
        assert!(matches!(error, StoreError::SignIn { .. }), "{error}");
        assert_eq!(
            store
                .history(&node("access/nobody"), 0)
                .await
                .unwrap()
                .len(),
            1
        );
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
