//! What was altered past the program is found, and named.
#![allow(clippy::unwrap_used)]

mod common;

use common::{Folder, attach, beneath, demo, node, places};
use notebook::Hash;
use sqlx::{AssertSqlSafe, Executor};
use std::sync::Arc;
use store::{How, Machine, Store, StoreError};

async fn alter(pool: &sqlx::AnyPool, sql: &str) {
    pool.execute(AssertSqlSafe(sql.to_string())).await.unwrap();
}

async fn opened(place: &str) -> Store {
    Store::open(place, Arc::new(Machine::new(0))).await.unwrap()
}

/// Every list, altered, with a row taken out, and with one put in.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_altered_in_a_list_is_found() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        assert_eq!(store.check_lists().await.unwrap(), []);
        let pool = beneath(&place).await;
        for (sql, told) in [
            (
                "UPDATE thing SET status = 'current' WHERE node = 'certificate/C-0004'",
                "list \"thing\", certificate/C-0004: status is \"current\", its events give \"superseded\"",
            ),
            (
                "UPDATE result SET value = 0.2 WHERE determination = 'determination/D-0001'",
                "list \"result\", determination/D-0001 0: value is",
            ),
            (
                "UPDATE result SET conforms = 1 WHERE determination = 'determination/D-0002'",
                "conforms is \"1\", its events give nothing",
            ),
            (
                "UPDATE edge SET on_what = 'lot/S-9999' WHERE what = 'determination/D-0001' AND on_what LIKE 'lot/%'",
                "the row is gone that its events give",
            ),
            (
                "DELETE FROM finding",
                "list \"finding\", determination/D-0001 reading-corrected: the row is gone",
            ),
            ("UPDATE scatter SET who = 'fennel'", "who is \"fennel\""),
            (
                "DELETE FROM word WHERE node = 'sample/V-231'",
                "list \"word\"",
            ),
            ("UPDATE notice SET text = 'all is well'", "list \"notice\""),
            (
                "INSERT INTO unsettled (number) VALUES (12)",
                "list \"unsettled\", 12: a row was put in that no event gives",
            ),
            (
                "UPDATE command_taken SET last_event = 1 WHERE command_key = 'demo-0004'",
                "list \"command_taken\", demo-0004: last_event is \"1\"",
            ),
            (
                "DELETE FROM fold WHERE node = 'determination/D-0001'",
                "list \"fold\", determination/D-0001: the row is gone",
            ),
            (
                "UPDATE fold SET body = REPLACE(body, '24.', '23.') WHERE node = 'determination/D-0001'",
                "list \"fold\", determination/D-0001: body is",
            ),
        ] {
            alter(&pool, sql).await;
            let found = store.check_lists().await.unwrap();
            let words: Vec<String> = found.iter().map(ToString::to_string).collect();
            assert!(words.iter().any(|w| w.contains(told)), "{sql}: {words:?}");
            assert!(
                store.check().await.unwrap().sound(),
                "the chain knows nothing of lists"
            );
            store.rebuild().await.unwrap();
            assert_eq!(store.check_lists().await.unwrap(), [], "{sql}");
        }
        // Many are not all named.
        alter(&pool, "DELETE FROM command_taken").await;
        let found = store.check_lists().await.unwrap();
        assert_eq!(found.len(), 21);
        assert_eq!(found[20].how, How::More);
    }
}

/// The lists are compared while others write, and what they write is no difference.
#[tokio::test(flavor = "multi_thread")]
async fn lists_are_compared_while_others_write() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let writing = store.clone();
        let writer = tokio::spawn(async move {
            for n in 0..80 {
                let remark = notebook::payload::Remarked {
                    run: None,
                    text: format!("{n}"),
                };
                let command = notebook::Command::new(node("determination/D-0005"), remark);
                let order = store::Order::new("marsh", "tablet", command).keyed(format!("w{n}"));
                writing.submit(order).await.unwrap();
            }
        });
        while !writer.is_finished() {
            assert_eq!(store.check_lists().await.unwrap(), []);
            assert_eq!(store.check().await.unwrap().first(), None);
        }
        writer.await.unwrap();
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn files_and_triggers_that_are_gone_are_found() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let hash = attach(&store, b"a picture").await;
        let pool = beneath(&place).await;
        assert!(store.check().await.unwrap().sound());
        alter(&pool, "DELETE FROM attachment").await;
        let found = store.check().await.unwrap().found;
        assert_eq!(
            found,
            [format!(
                "the file \"meniscus, run 2.png\" is gone that event 368 attaches to determination/D-0005 (SHA-256 {hash})"
            )]
        );
        store.keep_file(b"a picture".to_vec()).await.unwrap();
        assert!(store.check().await.unwrap().sound());
        if place.starts_with("postgres") {
            alter(&pool, "ALTER TABLE event DISABLE TRIGGER event_stays").await;
            let found = store.check().await.unwrap().found;
            assert!(found[0].contains("is switched off"), "{found:?}");
            alter(&pool, "DROP TRIGGER event_stays ON event").await;
        } else {
            alter(
                &pool,
                "CREATE TRIGGER late AFTER INSERT ON event BEGIN DELETE FROM finding; END",
            )
            .await;
            let found = store.check().await.unwrap().found;
            assert!(found[0].contains("a trigger late was put in"), "{found:?}");
            alter(&pool, "DROP TRIGGER late").await;
            alter(&pool, "DROP TRIGGER event_stays").await;
        }
        let found = store.check().await.unwrap().found;
        assert!(
            found[0].contains("the trigger event_stays is gone"),
            "{found:?}"
        );
    }
}

/// Alters the table of events past its triggers, and puts them back.
async fn past_the_triggers(pool: &sqlx::AnyPool, statements: &[String]) {
    let triggers: Vec<String> =
        sqlx::query_scalar("SELECT sql FROM sqlite_master WHERE type = 'trigger'")
            .fetch_all(pool)
            .await
            .unwrap();
    for name in ["event_stays", "event_is_kept"] {
        alter(pool, &format!("DROP TRIGGER {name}")).await;
    }
    for statement in statements {
        alter(pool, statement).await;
    }
    for trigger in triggers {
        alter(pool, &trigger).await;
    }
}

/// What differs is told: content or hash, of which event.
#[tokio::test(flavor = "multi_thread")]
async fn a_broken_link_is_told_exactly() {
    let folder = Folder::new();
    let original = folder.file("bench.record");
    let store = demo(&original).await;
    let event = store.event(40).await.unwrap().unwrap();
    let body = event.body().unwrap();
    store.close().await;
    let device = body.replace("\"device\":\"", "\"device\":\"z");
    let told = format!(
        "({} of {}, by {}, {})",
        event.payload.kind(),
        event.stream,
        event.who,
        event.at.day()
    );
    let set = |sql: &str| vec![format!("UPDATE event SET {sql} WHERE number = 40")];
    for (statements, number, what) in [
        (
            set("body = replace(body, '\"device\":\"', '\"device\":\"z')"),
            40,
            "its content was altered; event 41 still names the hash that stands beside it",
        ),
        (
            set("hash = replace(hash, substr(hash, 1, 4), '0000')"),
            40,
            "the hash beside it was altered; its content is the one that event 41 names",
        ),
        (
            set(&format!(
                "body = replace(body, '\"device\":\"', '\"device\":\"z'), hash = '{}'",
                Hash::of(device.as_bytes())
            )),
            40,
            "it was replaced and its hash made anew",
        ),
        (
            set("body = CAST(x'7bff' AS TEXT)"),
            40,
            "its content is not valid UTF-8 from byte 2 on",
        ),
        (
            set("body = CAST(body AS BLOB)"),
            40,
            "its content is no text in the table (blob)",
        ),
        (
            vec!["DELETE FROM event WHERE number = 40".into()],
            40,
            "it is missing; the next one there is event 41",
        ),
        (
            vec!["DELETE FROM event WHERE number > 360".into()],
            361,
            "by its end the record has 367 events, and 360 are there",
        ),
        (
            vec!["DELETE FROM chain_end".into()],
            367,
            "the end of the chain is not written down any more",
        ),
    ] {
        let place = folder.file("altered.record");
        std::fs::copy(&original, &place).unwrap();
        let pool = beneath(&place).await;
        past_the_triggers(&pool, &statements).await;
        pool.close().await;
        let store = Store::open(&place, Arc::new(Machine::new(0)))
            .await
            .unwrap();
        let broken = store.check().await.unwrap().broken.unwrap();
        assert_eq!(broken.number, number, "{statements:?}: {broken}");
        assert!(broken.what.contains(what), "{statements:?}: {broken}");
        if number == 40 && !what.starts_with("it is missing") {
            let which = if what.starts_with("its content is") {
                told.split(',').next().unwrap()
            } else {
                told.as_str()
            };
            assert!(broken.what.contains(which), "{which}: {broken}");
        }
        // The lists are not made again from what was altered; only the end of the chain is.
        let rebuilt = store.rebuild().await;
        match number {
            367 => assert!(rebuilt.unwrap().end_written && store.check().await.unwrap().sound()),
            _ => {
                let error = rebuilt.unwrap_err();
                assert!(matches!(error, StoreError::Altered { .. }), "{error}");
                assert!(store.export(&folder.0.join("export")).await.is_err());
                assert!(!folder.0.join("export").exists());
            }
        }
        store.close().await;
    }
}

/// The statements that hash all events anew from one on, as somebody would who can write the file.
fn hashed_anew(events: Vec<notebook::Event>, before: Hash) -> (Vec<String>, Hash) {
    let (mut statements, mut last) = (Vec::new(), before);
    for mut event in events {
        event.previous = last;
        let body = event.body().unwrap();
        last = Hash::of(body.as_bytes());
        let body = body.replace('\'', "''");
        statements.push(format!(
            "UPDATE event SET body = '{body}', hash = '{last}', stream = '{}', stream_version = {}, kind = '{}' WHERE number = {}",
            event.stream,
            event.stream_version,
            event.payload.kind(),
            event.number
        ));
    }
    statements.push(format!("UPDATE chain_end SET hash = '{last}'"));
    (statements, last)
}

/// Who can write the file can hash all of the chain anew; a link that was noted elsewhere tells.
#[tokio::test(flavor = "multi_thread")]
async fn a_chain_hashed_anew_is_found_by_a_noted_link() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    let store = demo(&place).await;
    let (number, noted) = store.end().await.unwrap();
    let mut events = store.events(39, 1000).await.unwrap();
    let before = store.hash_of(39).await.unwrap().unwrap();
    store.close().await;
    events[0].device.push('z');
    let pool = beneath(&place).await;
    past_the_triggers(&pool, &hashed_anew(events, before).0).await;
    pool.close().await;
    let store = opened(&place).await;
    assert!(store.check().await.unwrap().sound());
    assert_ne!(store.hash_of(number).await.unwrap(), Some(noted));
    assert_eq!(store.number_of(noted).await.unwrap(), None);
    assert_eq!(store.hash_of(39).await.unwrap(), Some(before));
    assert_eq!(store.number_of(before).await.unwrap(), Some(39));
    assert_eq!(store.hash_of(number + 1).await.unwrap(), None);
}

/// An event taken out, those after it numbered and hashed anew: its thing has a gap.
#[tokio::test(flavor = "multi_thread")]
async fn an_event_taken_out_leaves_a_gap_in_its_thing() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    let store = demo(&place).await;
    let (last, _) = store.end().await.unwrap();
    let mut events = store.events(39, 1000).await.unwrap();
    let before = store.hash_of(39).await.unwrap().unwrap();
    store.close().await;
    let out = events.remove(0);
    for event in &mut events {
        event.number -= 1;
    }
    let (mut statements, _) = hashed_anew(events, before);
    // Each place is taken by the next, so none may be taken meanwhile.
    statements.insert(
        0,
        "UPDATE event SET stream_version = stream_version + 100000".into(),
    );
    statements.insert(
        1,
        "UPDATE event SET stream_version = stream_version - 100000 WHERE number < 40".into(),
    );
    statements.push(format!("DELETE FROM event WHERE number = {last}"));
    statements.push(format!("UPDATE chain_end SET number = {}", last - 1));
    let pool = beneath(&place).await;
    past_the_triggers(&pool, &statements).await;
    pool.close().await;
    let store = opened(&place).await;
    assert_eq!(store.check().await.unwrap().first(), None);
    let found = store.check_lists().await.unwrap();
    assert_eq!(found.len(), 1, "{found:?}");
    let told = found[0].to_string();
    assert!(
        told.starts_with(&format!("{}: the last of its events", out.stream)),
        "{told}"
    );
    let error = store.rebuild().await.unwrap_err().to_string();
    assert!(
        error.contains("the lists were left as they were"),
        "{error}"
    );
}

/// A record of an earlier layout has lists that an earlier program made: they are made again when it is opened.
#[tokio::test(flavor = "multi_thread")]
async fn lists_of_an_earlier_layout_are_made_again() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    let store = demo(&place).await;
    let lists = store.projected().await.unwrap();
    store.close().await;
    let pool = beneath(&place).await;
    for sql in [
        "DROP TABLE fold",
        "DROP INDEX edge_up; CREATE INDEX edge_up ON edge (on_what, at_ms, what)",
        "DELETE FROM _sqlx_migrations WHERE version = 3",
        "UPDATE thing SET title = 'as it was said then'",
    ] {
        alter(&pool, sql).await;
    }
    pool.close().await;
    let store = opened(&place).await;
    assert_eq!(store.projected().await.unwrap(), lists);
    let checked = store.check().await.unwrap();
    assert_eq!(checked.first(), None);
    assert!(
        checked.notes.iter().any(|note| note.contains("made again")),
        "{checked:?}"
    );
    assert_eq!(store.check_lists().await.unwrap(), []);
}

/// Pages of the file overwritten: told up to which event it can be read.
#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_page_is_told_by_the_first_event_behind_it() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    let store = demo(&place).await;
    let body = store.event(200).await.unwrap().unwrap().body().unwrap();
    store.close().await;
    let mut bytes = std::fs::read(&place).unwrap();
    let at = bytes
        .windows(body.len())
        .position(|w| w == body.as_bytes())
        .unwrap();
    let page = at / 4096 * 4096;
    bytes[page..page + 4096].fill(0xff);
    std::fs::write(&place, bytes).unwrap();
    let store = opened(&place).await;
    let broken = store.check().await.unwrap().broken.unwrap();
    assert!(broken.what.contains("the file is damaged here"), "{broken}");
    assert!((150..=200).contains(&broken.number), "{broken}");
}

/// What is no record is told what it is, and not a byte of it is touched.
#[tokio::test(flavor = "multi_thread")]
async fn files_of_others_are_left_as_they_are() {
    let folder = Folder::new();
    let machine = || Arc::new(Machine::new(0));
    let other = folder.file("other.db");
    std::fs::write(&other, "").unwrap();
    let pool = beneath(&other).await;
    alter(&pool, "CREATE TABLE customers (name TEXT)").await;
    pool.close().await;
    let database = std::fs::read(&other).unwrap();
    let record = folder.file("bench.record");
    demo(&record).await.close().await;
    let whole = std::fs::read(&record).unwrap();
    for (name, bytes, told) in [
        ("empty", &[][..], "an empty file"),
        ("one", &b"x"[..], "a file of another kind"),
        ("zip", &b"PK\x03\x04...."[..], "record import"),
        (
            "database",
            &database[..],
            "a database of another program, with the tables customers",
        ),
        ("short", &whole[..whole.len() / 2], "cut short"),
        ("shorter", &whole[..8], "cut short"),
    ] {
        let place = folder.file(name);
        std::fs::write(&place, bytes).unwrap();
        let error = Store::open(&place, machine())
            .await
            .unwrap_err()
            .to_string();
        assert!(error.contains(told), "{name}: {error}");
        let restored = store::restore(place.as_ref(), &folder.0.join("restored"), machine()).await;
        assert!(restored.unwrap_err().to_string().contains(told), "{name}");
        assert_eq!(std::fs::read(&place).unwrap(), bytes, "{name}");
        assert!(!folder.0.join(format!("{name}-wal")).exists());
    }
    for (place, told) in [
        ("", "needs the name of a file"),
        ("mysql://x/y", "postgres://"),
        ("no/such/folder.record", "there is no folder no/such"),
    ] {
        let error = Store::create(place, machine())
            .await
            .unwrap_err()
            .to_string();
        assert!(error.contains(told), "{place}: {error}");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_altered_file_is_found() {
    let folder = Folder::new();
    for place in places(&folder).await {
        let store = demo(&place).await;
        let hash = attach(&store, b"a picture").await;
        attach(&store, b"another one").await;
        assert!(store.check().await.unwrap().sound());
        let pool = beneath(&place).await;
        sqlx::query("UPDATE attachment SET bytes = $1 WHERE sha256 = $2")
            .bind(b"a pictura".to_vec())
            .bind(hash.to_string())
            .execute(&pool)
            .await
            .unwrap();
        let checked = store.check().await.unwrap();
        assert!(!checked.sound());
        assert_eq!(checked.altered_files, [hash.to_string()]);
    }
}

/// Every class of byte in an event: each altered in the file, each found, with the number of the event.
#[tokio::test(flavor = "multi_thread")]
async fn every_class_of_altered_byte_is_found() {
    let folder = Folder::new();
    let store = demo(&folder.file("bench.record")).await;
    let event = store.event(40).await.unwrap().unwrap();
    let body = event.body().unwrap();
    store.close().await;
    let original = std::fs::read(folder.file("bench.record")).unwrap();
    let at = original
        .windows(body.len())
        .position(|w| w == body.as_bytes())
        .unwrap();
    let mut positions: Vec<usize> = [
        "\"at\":\"",
        "\"device\":\"",
        "\"id\":\"",
        "\"kind\":\"",
        "\"number\":",
        "\"payload\":{\"",
        "\"previous\":\"",
        "\"stream\":\"",
        "\"stream_version\":",
        "\"version\":",
        "\"who\":\"",
        "\"command\":\"",
    ]
    .iter()
    .map(|name| body.find(name).unwrap() + name.len())
    .collect();
    positions.extend([0, 1, body.len() - 1, body.len()]);
    for position in positions {
        let mut bytes = original.clone();
        // The byte after the body is the first of the hash.
        bytes[at + position] ^= 1;
        let place = folder.file("altered.record");
        std::fs::write(&place, bytes).unwrap();
        let altered = Store::open(&place, Arc::new(Machine::new(0)))
            .await
            .unwrap();
        let broken = altered.check().await.unwrap().broken;
        assert_eq!(
            broken.as_ref().map(|b| b.number),
            Some(40),
            "position {position}: {broken:?}"
        );
        altered.close().await;
    }
}
