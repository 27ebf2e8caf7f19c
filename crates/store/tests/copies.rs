//! Copies of a record: backups, exports, and their way back; those that were altered are refused, and nothing is left.
#![allow(clippy::unwrap_used)]

mod common;

use common::{Folder, attach, beneath, demo, node, places};
use notebook::Command;
use notebook::payload::Remarked;
use std::path::Path;
use std::sync::Arc;
use store::{Machine, Order, Store, StoreError};

fn order(command: Command) -> Order {
    Order::new("marsh", "tablet 1", command)
}

fn machine() -> Arc<Machine> {
    Arc::new(Machine::new(0))
}

/// Whoever alters a file of an export can write its checksums anew as well.
fn summed(export: &Path) {
    let list = std::process::Command::new("sh")
        .args([
            "-c",
            "sha256sum $(find . -type f -not -name SHA256SUMS | sed 's|^./||') > SHA256SUMS",
        ])
        .current_dir(export)
        .status()
        .unwrap();
    assert!(list.success());
}

fn names(folder: &Folder) -> Vec<String> {
    let mut names: Vec<String> = std::fs::read_dir(&folder.0)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

#[tokio::test(flavor = "multi_thread")]
async fn an_export_comes_back_with_equal_hashes() {
    let folder = Folder::new();
    for (n, place) in places(&folder).await.into_iter().enumerate() {
        let store = demo(&place).await;
        let (count, last) = store.end().await.unwrap();
        for to in [format!("export-{n}"), format!("export-{n}.zip")] {
            let to = folder.0.join(to);
            assert_eq!(store.export(&to).await.unwrap(), count);
            let back = folder.file(&format!(
                "{}.record",
                to.file_name().unwrap().to_str().unwrap()
            ));
            let imported = store::import(&to, &back, Arc::new(Machine::new(0)))
                .await
                .unwrap();
            assert_eq!(imported.end().await.unwrap(), (count, last));
            assert_eq!(imported.check().await.unwrap().broken, None);
            assert_eq!(
                imported.projected().await.unwrap(),
                store.projected().await.unwrap()
            );
            assert!(matches!(
                store.export(&to).await,
                Err(StoreError::Exists(_))
            ));
        }
        // Anybody can check it.
        let sums = std::process::Command::new("sha256sum")
            .args(["--quiet", "-c", "SHA256SUMS"])
            .current_dir(folder.0.join(format!("export-{n}")))
            .status()
            .unwrap();
        assert!(sums.success());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_export_holds_files_and_results() {
    let folder = Folder::new();
    for (n, place) in places(&folder).await.into_iter().enumerate() {
        let store = demo(&place).await;
        let hash = attach(&store, b"a picture").await;
        let to = folder.0.join(format!("with-files-{n}"));
        store.export(&to).await.unwrap();
        let file = to.join("files").join(format!("{hash}.png"));
        assert_eq!(std::fs::read(&file).unwrap(), b"a picture");
        let list = std::fs::read_to_string(to.join("files.csv")).unwrap();
        let line = format!("{hash},determination/D-0005,,\"meniscus, run 2.png\",image/png,9,yes");
        assert!(list.lines().any(|l| l == line), "{list}");
        // The results are those of the events: the correction of the acid's certificate changed two of them.
        let results = std::fs::read_to_string(to.join("results.jsonl")).unwrap();
        let lines: Vec<serde_json::Value> = results
            .lines()
            .map(|line| serde_json::from_str(line).unwrap())
            .collect();
        let again: Vec<_> = lines
            .iter()
            .filter(|line| line["when"] == "computed again")
            .collect();
        assert_eq!(again.len(), 2, "{results}");
        let world = store.world(&[node("determination/D-0001")]).await.unwrap();
        let stands = world.determination(&node("determination/D-0001")).unwrap();
        let stands = stands.evaluated.as_ref().unwrap();
        let last = lines.iter().rfind(|line| line["determination"] == "D-0001");
        let last = &last.unwrap()["evaluated"]["results"][0]["value"];
        assert_eq!(last.as_f64(), Some(stands.results[0].value));

        let back = folder.file(&format!("with-files-{n}.record"));
        let imported = store::import(&to, &back, Arc::new(Machine::new(0)))
            .await
            .unwrap();
        assert_eq!(imported.file(hash).await.unwrap().unwrap(), b"a picture");
        std::fs::write(&file, b"another one").unwrap();
        let back = folder.file(&format!("altered-{n}.record"));
        let error = store::import(&to, &back, Arc::new(Machine::new(0)))
            .await
            .unwrap_err();
        let said = format!("files/{hash}.png was altered");
        assert!(error.to_string().contains(&said), "{error}");
        assert!(!std::path::Path::new(&back).exists());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn an_altered_export_is_refused_and_leaves_nothing() {
    let folder = Folder::new();
    let store = demo(&folder.file("bench.record")).await;
    let to = folder.0.join("export");
    store.export(&to).await.unwrap();
    let events = to.join("events.jsonl");
    let text = std::fs::read_to_string(&events).unwrap();
    let lines: Vec<&str> = text.lines().collect();
    let mut swapped = lines.clone();
    swapped.swap(10, 11);
    let mut short = lines.clone();
    short.remove(10);
    for (altered, what) in [
        (text.replacen("99.97 %", "99.79 %", 1), "altered"),
        (swapped.join("\n"), "does not follow"),
        (short.join("\n"), "does not follow"),
        (text.replacen("\"hash\"", "\"hush\"", 1), "hash is missing"),
        ("{}".into(), "hash is missing"),
        ("\u{0}\u{1}".into(), "not JSON"),
    ] {
        assert_ne!(altered, text);
        std::fs::write(&events, altered).unwrap();
        summed(&to);
        let back = folder.file("back.record");
        let error = store::import(&to, &back, Arc::new(Machine::new(0)))
            .await
            .unwrap_err();
        assert!(error.to_string().contains(what), "{what}: {error}");
        assert!(!std::path::Path::new(&back).exists());
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_while_in_use_is_whole() {
    let folder = Folder::new();
    let store = demo(&folder.file("bench.record")).await;
    let writing = store.clone();
    let writer = tokio::spawn(async move {
        for n in 0..60 {
            let remark = Remarked {
                run: None,
                text: format!("remark {n}"),
            };
            writing
                .submit(order(Command::new(node("determination/D-0005"), remark)))
                .await
                .unwrap();
        }
    });
    let mut last = 0;
    for n in 0..4 {
        let to = folder.0.join(format!("backup-{n}"));
        let checked = store.backup(&to).await.unwrap();
        assert!(checked.events >= last);
        last = checked.events;
        let place = folder.0.join(format!("restored-{n}"));
        let restored = store::restore(&to, &place, Arc::new(Machine::new(0)))
            .await
            .unwrap();
        assert_eq!(
            (restored.events, restored.last_hash),
            (checked.events, checked.last_hash)
        );
    }
    writer.await.unwrap();
    // A damaged backup is found out, and nothing is put in place.
    let to = folder.0.join("backup-0");
    let mut bytes = std::fs::read(&to).unwrap();
    let at = bytes.windows(7).position(|w| w == b"99.97 %").unwrap();
    bytes[at + 3] = b'8';
    std::fs::write(&to, bytes).unwrap();
    let place = folder.0.join("restored-damaged");
    let error = store::restore(&to, &place, Arc::new(Machine::new(0)))
        .await
        .unwrap_err();
    assert!(error.to_string().contains("chain breaks"), "{error}");
    assert!(!place.exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn an_export_that_is_not_whole_is_refused_and_named() {
    let folder = Folder::new();
    let store = demo(&folder.file("bench.record")).await;
    let hash = attach(&store, b"a picture").await;
    let to = folder.0.join("export");
    store.export(&to).await.unwrap();
    let there = names(&folder);
    let photograph = format!("files/{hash}.png");
    let read = |name: &str| std::fs::read(to.join(name)).unwrap();
    let events = read("events.jsonl");
    for (name, bytes, told) in [
        (
            "events.jsonl",
            Some(&events[..events.len() / 2]),
            "events.jsonl was altered or cut short",
        ),
        (
            "events.jsonl",
            Some(&[][..]),
            "events.jsonl was altered or cut short",
        ),
        ("events.jsonl", None, "events.jsonl is missing"),
        ("SHA256SUMS", None, "SHA256SUMS is missing"),
        ("SHA256SUMS", Some(&b"x"[..]), "line 1 of SHA256SUMS"),
        ("SHA256SUMS", Some(&[][..]), "does not list events.jsonl"),
        (
            "results.csv",
            Some(&b"5.00"[..]),
            "results.csv was altered or cut short",
        ),
        (
            photograph.as_str(),
            Some(&b"another"[..]),
            "was altered or cut short",
        ),
        (
            photograph.as_str(),
            None,
            "is missing, which SHA256SUMS lists",
        ),
    ] {
        let kept = read(name);
        match bytes {
            Some(bytes) => std::fs::write(to.join(name), bytes).unwrap(),
            None => std::fs::remove_file(to.join(name)).unwrap(),
        }
        let back = folder.file("back.record");
        let error = store::import(&to, &back, machine())
            .await
            .unwrap_err()
            .to_string();
        assert!(error.contains(told), "{name}: {error}");
        assert!(error.contains("nothing was imported"), "{error}");
        assert_eq!(names(&folder), there, "{name}");
        std::fs::write(to.join(name), kept).unwrap();
    }
    // A photograph that is left out of the list as well is missed by its event.
    std::fs::remove_file(to.join(&photograph)).unwrap();
    summed(&to);
    let error = store::import(&to, &folder.file("back.record"), machine())
        .await
        .unwrap_err();
    assert!(
        error
            .to_string()
            .contains("is missing, which event 368 attaches"),
        "{error}"
    );
    assert_eq!(names(&folder), there);
}

/// A zip file that is cut short, or of which a byte is another.
#[tokio::test(flavor = "multi_thread")]
async fn a_damaged_zip_file_is_refused() {
    let folder = Folder::new();
    let store = demo(&folder.file("bench.record")).await;
    let to = folder.0.join("export.zip");
    store.export(&to).await.unwrap();
    let whole = std::fs::read(&to).unwrap();
    let mut other = whole.clone();
    // In the middle, in what is compressed.
    other[whole.len() / 2] ^= 0x10;
    for bytes in [&other[..], &whole[..whole.len() / 2], &whole[..10], &[]] {
        std::fs::write(&to, bytes).unwrap();
        let back = folder.file("back.record");
        let error = store::import(&to, &back, machine())
            .await
            .unwrap_err()
            .to_string();
        assert!(error.contains("export.zip: "), "{error}");
        assert!(!error.contains("EOCD"), "{error}");
        assert!(!Path::new(&back).exists());
    }
}

/// What is altered is not exported with checksums that vouch for it, nor backed up as if it were whole.
#[tokio::test(flavor = "multi_thread")]
async fn an_altered_record_is_not_exported() {
    let folder = Folder::new();
    for (n, place) in places(&folder).await.into_iter().enumerate() {
        let store = demo(&place).await;
        let pool = beneath(&place).await;
        sqlx::query("UPDATE thing SET status = 'current' WHERE node = 'certificate/C-0004'")
            .execute(&pool)
            .await
            .unwrap();
        let there = names(&folder);
        for to in [format!("export-{n}"), format!("export-{n}.zip")] {
            let error = store
                .export(&folder.0.join(to))
                .await
                .unwrap_err()
                .to_string();
            assert!(
                error.contains(
                    "status is \"current\", its events give \"superseded\"; nothing was exported"
                ),
                "{error}"
            );
        }
        // The log of a file comes and goes while it is open.
        let left: Vec<String> = names(&folder)
            .into_iter()
            .filter(|name| !there.contains(name))
            .collect();
        assert!(
            left.iter()
                .all(|name| name.ends_with("-wal") || name.ends_with("-shm")),
            "{left:?}"
        );
        store.rebuild().await.unwrap();
        store
            .export(&folder.0.join(format!("export-{n}")))
            .await
            .unwrap();
    }
}

/// What was written last may stand in the log beside a backup that is a copy of a file in use.
#[tokio::test(flavor = "multi_thread")]
async fn a_backup_is_restored_with_its_log() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    demo(&place).await.close().await;
    let store = Store::open(&place, machine()).await.unwrap();
    let remark = Remarked {
        run: None,
        text: "in the log".into(),
    };
    store
        .submit(order(Command::new(node("determination/D-0005"), remark)))
        .await
        .unwrap();
    let end = store.end().await.unwrap();
    let backup = folder.0.join("backup");
    for end in ["", "-wal"] {
        std::fs::copy(
            format!("{place}{end}"),
            format!("{}{end}", backup.display()),
        )
        .unwrap();
    }
    // What a user has beside it is his own.
    std::fs::write(folder.0.join("restored.part"), "mine").unwrap();
    let before = std::fs::read(folder.0.join("backup-wal")).unwrap();
    let restored = folder.0.join("restored.record");
    let checked = store::restore(&backup, &restored, machine()).await.unwrap();
    assert_eq!((checked.events, checked.last_hash), end);
    assert_eq!(
        std::fs::read(folder.0.join("restored.part")).unwrap(),
        b"mine"
    );
    assert_eq!(std::fs::read(folder.0.join("backup-wal")).unwrap(), before);
    assert!(!folder.0.join("restored.record-wal").exists());
    // The file alone is the record.
    let copy = folder.file("copy.record");
    std::fs::copy(&restored, &copy).unwrap();
    let copied = Store::open(&copy, machine()).await.unwrap();
    assert_eq!(copied.end().await.unwrap(), end);
    copied.close().await;
    // A log of something else beside it is no part of it.
    let mut wrong = before.clone();
    let middle = wrong.len() / 2;
    wrong.truncate(middle);
    std::fs::write(folder.0.join("backup-wal"), wrong).unwrap();
    let other = folder.0.join("other.record");
    let cut = store::restore(&backup, &other, machine()).await;
    assert!(cut.is_err() || cut.unwrap().events < end.0);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_backup_whose_lists_were_altered_is_not_restored() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    let store = demo(&place).await;
    let backup = folder.file("backup");
    store.backup(backup.as_ref()).await.unwrap();
    let pool = beneath(&backup).await;
    sqlx::query("DELETE FROM fold")
        .execute(&pool)
        .await
        .unwrap();
    pool.close().await;
    let to = folder.0.join("restored.record");
    let error = store::restore(backup.as_ref(), &to, machine())
        .await
        .unwrap_err()
        .to_string();
    assert!(
        error.starts_with(&format!("{backup}: list \"fold\"")),
        "{error}"
    );
    assert!(error.contains("nothing was restored"), "{error}");
    assert!(!to.exists());
}

#[tokio::test(flavor = "multi_thread")]
async fn a_closed_record_is_in_its_file_alone() {
    let folder = Folder::new();
    let place = folder.file("bench.record");
    demo(&place).await.close().await;
    assert_eq!(names(&folder), ["bench.record"]);
    let store = Store::open(&place, machine()).await.unwrap();
    let end = store.end().await.unwrap();
    store.rebuild().await.unwrap();
    store.close().await;
    assert_eq!(names(&folder), ["bench.record"]);
    let copy = folder.file("copy.record");
    std::fs::copy(&place, &copy).unwrap();
    let store = Store::open(&copy, machine()).await.unwrap();
    assert_eq!(store.end().await.unwrap(), end);
    store.close().await;
}
