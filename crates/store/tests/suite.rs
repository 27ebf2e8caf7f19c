//! What a store promises, on both databases.
#![allow(clippy::unwrap_used)]

mod common;

use common::{Folder, beneath, demo, node, places};
use notebook::payload::{ReadingCorrected, ReadingTaken, Remarked, RunStarted, Slot};
use notebook::state::CertificateStatus;
use notebook::{Command, Kind, Ledger, Node, demo as script};
use std::collections::BTreeSet;
use std::sync::Arc;
use store::{Filter, Machine, Order, Store, StoreError};

fn reading(run: u32, reading: Slot, value: &str) -> Command {
    let payload = ReadingTaken {
        run,
        sample: None,
        reading,
        value: value.into(),
        refilled: false,
    };
    Command::new(node("determination/D-0005"), payload)
}

fn start(run: u32) -> Command {
    let payload = RunStarted {
        run,
        run_kind: titrimetry::sheet::RunKind::Replicate,
        sample: Some(node("sample/V-234")),
        titration: None,
        name: None,
    };
    Command::new(node("determination/D-0005"), payload)
}

fn order(command: Command) -> Order {
    Order::new("marsh", "tablet 1", command)
}

#[tokio::test(flavor = "multi_thread")]
async fn the_demo_is_the_record_that_the_ledger_writes() {
    let folder = Folder::new();
    let mut ledger = Ledger::default();
    for step in script::script(1, common::first_day()).unwrap() {
        ledger.submit(&step.stamp, &step.command).unwrap();
    }
    for place in places(&folder).await {
        let store = demo(&place).await;
        let events = store.events(0, 10_000).await.unwrap();
        // Identities are drawn by each, so the hashes differ; all that happened is the same, in the same order.
        let what = |e: &notebook::Event| {
            (
                e.number,
                e.stream.clone(),
                e.stream_version,
                e.at,
                e.payload.clone(),
            )
        };
        let ours: Vec<_> = events.iter().map(what).collect();
        let theirs: Vec<_> = ledger.events().iter().map(what).collect();
        assert_eq!(ours, theirs);
        let checked = store.check().await.unwrap();
        assert_eq!(checked.broken, None);
        assert_eq!(checked.events, events.len() as u64);
        assert_eq!(checked.last_hash, store.end().await.unwrap().1);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_key_is_taken_once_and_answered_the_same() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        store.submit(order(start(3)).keyed("a")).await.unwrap();
        let taken = order(reading(3, Slot::Initial, "0.05 mL")).keyed("b");
        let first = store.submit(taken.clone()).await.unwrap();
        let end = store.end().await.unwrap();
        let second = store.submit(taken).await.unwrap();
        assert!(second.repeated && !first.repeated);
        assert_eq!(second.events, first.events);
        assert_eq!(second.version, first.version);
        assert_eq!(store.end().await.unwrap(), end);
        // The same key for another command is a mistake, not a repetition.
        let other = order(start(4)).keyed("b");
        let error = store.submit(other).await.unwrap_err();
        assert!(matches!(error, StoreError::KeyReused { .. }), "{error}");
        // So is another value: it is told what stands there, and that this one is not.
        let other = order(reading(3, Slot::Initial, "0.07 mL")).keyed("b");
        let error = store.submit(other).await.unwrap_err();
        let said = error.to_string();
        assert!(
            said.contains("holds \"0.05 mL\", now \"0.07 mL\""),
            "{said}"
        );
        assert_eq!(store.end().await.unwrap(), end);
        // What the record fills in itself makes no difference.
        let slip = ReadingCorrected {
            run: 3,
            sample: None,
            reading: Slot::Initial,
            value: "0.06 mL".into(),
            was: None,
            refilled: None,
            reason: "read from above".into(),
        };
        let slip = order(Command::new(node("determination/D-0005"), slip)).keyed("c");
        store.submit(slip.clone()).await.unwrap();
        assert!(store.submit(slip).await.unwrap().repeated);
        // Without a key the reading is there already, and the first value is told.
        let again = store
            .submit(order(reading(3, Slot::Initial, "0.08 mL")))
            .await
            .unwrap_err();
        assert!(again.to_string().contains("0.06 mL already"), "{again}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_second_of_two_writers_is_told_what_happened() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let version = store
            .thing(&node("determination/D-0005"))
            .await
            .unwrap()
            .unwrap()
            .version;
        store
            .submit(order(start(3)).expecting(version))
            .await
            .unwrap();
        let late = Order::new("sorrel", "tablet 2", start(3)).expecting(version);
        let StoreError::Conflict(conflict) = store.submit(late).await.unwrap_err() else {
            panic!("no conflict")
        };
        assert_eq!((conflict.expected, conflict.found), (version, version + 1));
        assert_eq!(conflict.meanwhile.len(), 1);
        assert_eq!(conflict.meanwhile[0].who, "marsh");
        assert!(
            conflict.to_string().contains("run-started by marsh"),
            "{conflict}"
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn many_benches_at_once_leave_one_chain() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        // A second process on the same record.
        let other = Store::open(&place, Arc::new(Machine::new(60)))
            .await
            .unwrap();
        let before = store.end().await.unwrap().0;
        let mut tasks = Vec::new();
        for bench in 0..40 {
            let store = if bench % 2 == 0 {
                store.clone()
            } else {
                other.clone()
            };
            tasks.push(tokio::spawn(async move {
                for n in 0..5 {
                    let remark = Remarked {
                        run: None,
                        text: format!("bench {bench}, {n}"),
                    };
                    let command = Command::new(node("determination/D-0005"), remark);
                    store
                        .submit(order(command).keyed(format!("{bench}/{n}")))
                        .await
                        .unwrap();
                }
            }));
        }
        for task in tasks {
            task.await.unwrap();
        }
        assert_eq!(store.end().await.unwrap().0, before + 200);
        assert_eq!(store.check().await.unwrap().broken, None);
        let world = store.world(&[node("determination/D-0005")]).await.unwrap();
        let remarks = &world
            .determination(&node("determination/D-0005"))
            .unwrap()
            .remarks;
        assert_eq!(remarks.len(), 200);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn lists_made_again_are_the_same() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let before = store.projected().await.unwrap();
        assert!(before.len() > 100, "{}", before.len());
        let count = store.rebuild().await.unwrap().events;
        assert_eq!(count, store.end().await.unwrap().0);
        assert_eq!(store.projected().await.unwrap(), before);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn lists_are_filtered() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let names = async |filter: Filter| -> Vec<String> {
            let page = store.list(&filter).await.unwrap();
            page.things
                .iter()
                .map(|t| t.node.name().to_string())
                .collect()
        };
        // From the first day on; what the demo holds of earlier weeks comes after it.
        let all = || Filter {
            from: Some("2026-03-09".parse().unwrap()),
            ..Filter::default()
        };
        assert_eq!(
            names(all()).await,
            ["D-0005", "D-0004", "D-0003", "D-0002", "D-0001"]
        );
        let by = |thing: &str| Filter {
            rests_on: Some(node(thing)),
            ..all()
        };
        assert_eq!(
            names(by("solution/T-0123")).await,
            ["D-0005", "D-0004", "D-0002"]
        );
        // The lot, also through the base that it gave the concentration of.
        assert_eq!(
            names(by("lot/S-0107")).await,
            ["D-0005", "D-0004", "D-0002"]
        );
        assert_eq!(
            names(Filter {
                who: Some("sorrel".into()),
                ..all()
            })
            .await,
            ["D-0001"]
        );
        assert_eq!(
            names(Filter {
                status: Some("open".into()),
                ..all()
            })
            .await,
            ["D-0005"]
        );
        assert_eq!(
            names(Filter {
                finding: Some("run-set-aside".into()),
                ..all()
            })
            .await,
            ["D-0001"]
        );
        assert_eq!(
            names(Filter {
                to: Some("2026-03-10".parse().unwrap()),
                ..all()
            })
            .await,
            ["D-0001"]
        );
        for (text, found) in [
            ("phthalate", vec!["D-0001"]),
            ("vinegar", vec!["D-0005", "D-0004", "D-0003"]),
            ("VINEG", vec!["D-0005", "D-0004", "D-0003"]),
            ("vinegar v-231", vec!["D-0003"]),
            ("nothing-of-this", vec![]),
        ] {
            assert_eq!(
                names(Filter {
                    search: Some(text.into()),
                    ..all()
                })
                .await,
                found,
                "{text}"
            );
        }
        // Pages follow on one another without gap and without a line twice.
        let mut seen = Vec::new();
        let mut after = None;
        loop {
            let filter = Filter {
                limit: Some(2),
                after: after.clone(),
                ..Filter::default()
            };
            let page = store.list(&filter).await.unwrap();
            seen.extend(page.things.iter().map(|t| t.node.name().to_string()));
            after = page.next;
            if after.is_none() {
                break;
            }
        }
        assert_eq!(seen, names(Filter::default()).await);
        let lots = names(Filter {
            kind: Some(Kind::Lot),
            ..Filter::default()
        })
        .await;
        assert_eq!(lots.len(), 3);
    }
}

/// A list by a thing gives what its trace gives, for every thing of the record and every kind.
#[tokio::test(flavor = "multi_thread")]
async fn a_list_by_a_thing_is_its_trace() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let mut compared = 0;
        for of in Kind::ALL {
            let filter = Filter {
                kind: Some(*of),
                limit: Some(200),
                ..Filter::default()
            };
            for thing in store.list(&filter).await.unwrap().things {
                let trace = store.rests_on(&thing.node).await.unwrap();
                for kind in Kind::ALL {
                    let traced: BTreeSet<Node> = trace
                        .threads
                        .iter()
                        .map(|(_, edge)| edge.what.clone())
                        .filter(|node| node.kind() == *kind && *node != thing.node)
                        .collect();
                    // Page by page, so that what comes by several ways comes once.
                    let mut listed = Vec::new();
                    let mut filter = Filter {
                        kind: Some(*kind),
                        rests_on: Some(thing.node.clone()),
                        limit: Some(2),
                        ..Filter::default()
                    };
                    loop {
                        let page = store.list(&filter).await.unwrap();
                        listed.extend(page.things.into_iter().map(|thing| thing.node));
                        filter.after = page.next;
                        if filter.after.is_none() {
                            break;
                        }
                    }
                    listed.retain(|node| *node != thing.node);
                    let once: BTreeSet<Node> = listed.iter().cloned().collect();
                    assert_eq!(once, traced, "{kind} on {}", thing.node);
                    assert_eq!(listed.len(), once.len(), "{kind} on {}", thing.node);
                    compared += once.len();
                }
            }
        }
        assert!(compared > 200, "{compared}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_not_known_is_told_and_all_is_searched() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let none = Filter::default;
        for (filter, told) in [
            (
                Filter {
                    rests_on: Some(node("lot/NOPE")),
                    ..none()
                },
                "lot/NOPE is not in the record",
            ),
            (
                Filter {
                    who: Some("nobody".into()),
                    ..none()
                },
                "no person is called \"nobody\"; there are: ",
            ),
            (
                Filter {
                    status: Some("foo".into()),
                    ..none()
                },
                "no status is called \"foo\"; there are: open, closed",
            ),
            (
                Filter {
                    finding: Some("foo".into()),
                    ..none()
                },
                "run-set-aside",
            ),
        ] {
            let error = store.list(&filter).await.unwrap_err().to_string();
            assert!(error.contains(told), "{error}");
        }
        let withdrawn = Filter {
            kind: Some(Kind::Certificate),
            status: Some("withdrawn".into()),
            ..none()
        };
        assert!(store.list(&withdrawn).await.unwrap().things.is_empty());
        // By the number of a certificate, by who began it, by words of things of any kind.
        let lot = store.world(&[node("lot/S-0107")]).await.unwrap();
        let lot = lot.lot(&node("lot/S-0107")).unwrap();
        let number = lot.certificate.as_ref().unwrap().number.clone();
        for (words, found) in [
            (number.as_str(), "lot/S-0107"),
            ("Sorrel", "determination/D-0001"),
            ("tank 4", "sample/V-231"),
        ] {
            let filter = Filter {
                any_kind: true,
                search: Some(words.into()),
                limit: Some(200),
                ..none()
            };
            let page = store.list(&filter).await.unwrap();
            let found = page.things.iter().any(|thing| thing.node == node(found));
            assert!(found, "{words}: {:?}", page.things);
        }
        for kind in Kind::ALL {
            let filter = Filter {
                kind: Some(*kind),
                limit: Some(200),
                ..none()
            };
            for thing in store.list(&filter).await.unwrap().things {
                let by = Filter {
                    status: Some(thing.status.clone()),
                    who: Some("nobody".into()),
                    ..filter.clone()
                };
                // A status that the record gives is known: what is told is the name.
                let error = store.list(&by).await.unwrap_err().to_string();
                assert!(error.contains("no person"), "{error}");
            }
        }
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn the_graph_is_followed_both_ways() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let down = store.made_of(&node("certificate/C-0004")).await.unwrap();
        let found = |text: &str| down.threads.iter().any(|(_, e)| e.on == node(text));
        for thing in [
            "determination/D-0004",
            "solution/T-0123",
            "determination/D-0002",
            "lot/S-0107",
            "lot/R-0012",
            "apparatus/P-25-1",
            "sample/V-232",
        ] {
            assert!(found(thing), "{thing}");
        }
        assert!(!found("lot/S-0041"), "the other base's standard");
        let up = store.rests_on(&node("lot/S-0107")).await.unwrap();
        let found = |text: &str| up.threads.iter().any(|(_, e)| e.what == node(text));
        for thing in [
            "determination/D-0002",
            "determination/D-0004",
            "certificate/C-0002",
            "certificate/C-0004",
        ] {
            assert!(found(thing), "{thing}");
        }
        assert!(!found("determination/D-0001"));
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_correction_supersedes_and_tells_people() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let world = store.world(&[node("certificate/C-0004")]).await.unwrap();
        let status = &world
            .certificate(&node("certificate/C-0004"))
            .unwrap()
            .status;
        assert!(
            matches!(
                status,
                CertificateStatus::Superseded {
                    because: Some(_),
                    ..
                }
            ),
            "{status:?}"
        );
        let told = store.notices("marsh", 0).await.unwrap();
        assert_eq!(told.len(), 2);
        assert!(told[1].text.contains("verdict changes"), "{told:?}");
        // All is settled; asked again nothing changes.
        assert_eq!(store.settle_all().await.unwrap(), 0);
        assert_eq!(store.changes_after(&node("lot/S-0107")).await.unwrap(), []);
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn earlier_work_gives_repeatability() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let pooled = store
            .pooled_repeatability("method/vinegar-acidity", Some("marsh"), None)
            .await
            .unwrap()
            .unwrap();
        // Three samples and seven weekly checks, of three runs each.
        assert_eq!(pooled.sets, 10);
        assert!((pooled.degrees_of_freedom - 20.0).abs() < 1e-12);
        // The demo scatters titres of about 21 mL with 0.013 mL, 0.06 %; twenty degrees of freedom leave it this wide
        // (chi-squared, 99.9 %).
        assert!((0.0003..0.0011).contains(&pooled.relative), "{pooled:?}");
        assert_eq!(
            store
                .pooled_repeatability("method/none", None, None)
                .await
                .unwrap(),
            None
        );
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn events_are_never_changed_or_deleted() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        drop(store);
        let pool = beneath(&place).await;
        for sql in [
            "UPDATE event SET body = '{}' WHERE number = 3",
            "DELETE FROM event WHERE number = 3",
        ] {
            let error = sqlx::query(sql)
                .execute(&pool)
                .await
                .unwrap_err()
                .to_string();
            assert!(error.contains("an event is never"), "{error}");
        }
    }
}

#[tokio::test]
async fn what_is_no_record_is_said_to_be_none() {
    let folder = Folder::new();
    let machine = || Arc::new(Machine::new(0));
    let missing = folder.file("none.record");
    let error = Store::open(&missing, machine()).await.unwrap_err();
    assert!(
        error.to_string().contains("there is no record here"),
        "{error}"
    );
    let text = folder.file("sheet.toml");
    std::fs::write(&text, "title = 'x'\n".repeat(1000)).unwrap();
    let error = Store::open(&text, machine()).await.unwrap_err();
    assert!(
        error.to_string().contains("no record of halfdrop"),
        "{error}"
    );
    let error = Store::create(&text, machine()).await.unwrap_err();
    assert!(matches!(error, StoreError::Exists(_)), "{error}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_filled_in_bulk_is_the_same() {
    let folder = Folder::new();
    for (index, place) in places(&folder).await.into_iter().enumerate() {
        let store = demo(&folder.file(&format!("first-{index}.record"))).await;
        let events = store.events(0, 100_000).await.unwrap();
        let filled = Store::create(&place, Arc::new(Machine::new(0)))
            .await
            .unwrap();
        let mut rest = events.iter();
        store::fill(&filled, || {
            Ok(rest
                .next()
                .map(|event| (event.clone(), event.body().unwrap())))
        })
        .await
        .unwrap();
        assert_eq!(filled.end().await.unwrap(), store.end().await.unwrap());
        assert_eq!(
            filled.projected().await.unwrap(),
            store.projected().await.unwrap()
        );
        assert_eq!(filled.check().await.unwrap().broken, None);
        // One left out does not follow.
        let other = Store::create(
            &folder.file(&format!("gap-{index}.record")),
            Arc::new(Machine::new(0)),
        )
        .await
        .unwrap();
        let mut rest = events.iter().filter(|event| event.number != 40);
        let gap = store::fill(&other, || {
            Ok(rest
                .next()
                .map(|event| (event.clone(), event.body().unwrap())))
        })
        .await;
        assert!(gap.unwrap_err().to_string().contains("event 41"));
    }
}
