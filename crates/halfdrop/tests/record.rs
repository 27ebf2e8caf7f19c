//! The record on the command line, from the demo to an export and back.
#![allow(clippy::unwrap_used)]

mod common;

use common::halfdrop;
use std::path::PathBuf;

struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("halfdrop-{name}-{}", std::process::id()));
        std::fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    fn file(&self, name: &str) -> String {
        self.0.join(name).to_str().unwrap().into()
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

fn ok(arguments: &[&str]) -> String {
    let outcome = halfdrop(arguments);
    assert_eq!(
        outcome.status, 0,
        "{arguments:?}: {}{}",
        outcome.err, outcome.out
    );
    outcome.out
}

/// The demo record in a file, begun at a moment.
fn demo(file: &str, begins: &str) {
    ok(&["record", "demo", file, "--begins", begins]);
}

#[test]
fn a_new_record_is_opened_once_and_is_whole() {
    let folder = Folder::new("new-record");
    let file = folder.file("bench.record");
    // What is not there names the command that makes it.
    let missing = halfdrop(&["record", "check", &file]);
    assert_eq!(missing.status, 2, "{}", missing.err);
    assert!(
        missing
            .err
            .contains(&format!("`halfdrop record new {file}`")),
        "{}",
        missing.err
    );
    let made = ok(&["record", "new", &file, "--who", "marsh"]);
    assert!(made.contains("opened by marsh"), "{made}");
    let checked = ok(&["record", "check", &file]);
    assert!(checked.contains("1 events, the chain holds"), "{checked}");
    let again = halfdrop(&["record", "new", &file]);
    assert_eq!(again.status, 2, "{}", again.out);
    assert!(again.err.contains("there is something here already"));
}

#[test]
fn the_demo_is_built_checked_traced_and_exported() {
    let folder = Folder::new("record");
    let file = folder.file("demo.record");
    demo(&file, "2026-03-09T08:00:00+01:00");
    let checked = ok(&["record", "check", &file]);
    assert!(checked.contains("the chain holds"), "{checked}");
    let list = ok(&["record", "list", &file]);
    // Five of the demo's days, and seven weeks of a standardization and a check each before them.
    assert_eq!(list.lines().count(), 20, "{list}");
    let headings: Vec<&str> = list.lines().next().unwrap().split_whitespace().collect();
    assert_eq!(
        headings,
        ["name", "since", "status", "by", "what", "result"]
    );
    let some = [
        "record",
        "list",
        &file,
        "--limit",
        "2",
        "--to",
        "2026-03-10",
    ];
    let some = ok(&some);
    assert!(
        some.lines().count() == 4 && some.contains("and more"),
        "{some}"
    );
    let found = ok(&["record", "list", &file, "--search", "tank 4"]);
    assert!(found.contains("sample/V-231"), "{found}");
    for (option, value, told) in [
        ("--on", "lot/NOPE", "lot/NOPE is not in the record"),
        ("--who", "nobody", "there are: "),
        ("--limit", "0", "0 is not in 1.."),
    ] {
        let wrong = halfdrop(&["record", "list", &file, option, value]);
        assert!(
            wrong.status == 2 && wrong.err.contains(told),
            "{}",
            wrong.err
        );
    }
    assert!(
        list.contains("D-0004") && list.contains("computed again, not usable"),
        "{list}"
    );
    let certificates = ok(&["record", "list", &file, "--kind", "certificate"]);
    assert!(certificates.contains("superseded"), "{certificates}");
    let trace = ok(&["trace", "certificate/C-0004", "--record", &file]);
    assert!(trace.contains("takes its value from lot/S-0107"), "{trace}");
    let trace = ok(&["trace", "lot/S-0107", "--record", &file]);
    assert!(trace.contains("is stated by certificate/C-0004"), "{trace}");
    ok(&["record", "rebuild", &file]);
    let (export, zip) = (folder.file("export"), folder.file("export.zip"));
    ok(&["record", "export", &file, &export]);
    ok(&["record", "export", &file, &zip]);
    let last = checked
        .lines()
        .find(|l| l.starts_with("last link"))
        .unwrap();
    for (from, to) in [(&export, "again.record"), (&zip, "again2.record")] {
        ok(&["record", "import", from, &folder.file(to)]);
        assert!(ok(&["record", "check", &folder.file(to)]).contains(last));
    }
    ok(&["record", "backup", &file, &folder.file("backup")]);
    ok(&[
        "record",
        "restore",
        &folder.file("backup"),
        &folder.file("restored.record"),
    ]);
    assert!(ok(&["record", "check", &folder.file("restored.record")]).contains(last));
}

#[test]
fn what_cannot_be_done_is_said_with_what_to_do() {
    let folder = Folder::new("record-wrong");
    let none = folder.file("none.record");
    for (arguments, told) in [
        (vec!["record", "check", &none], "no record here"),
        (
            vec!["record", "check", "Cargo.toml"],
            "a file of another kind",
        ),
        (vec!["record", "check", "mysql://x/y"], "postgres://"),
        (vec!["record", "new", ""], "name of a file"),
        (
            vec!["record", "new", "no/such/x.record"],
            "there is no folder",
        ),
        (
            vec!["serve", "--record", "no/such/x.record"],
            "there is no folder",
        ),
        (vec!["record", "new", &none, "--who", ""], "--who"),
        (
            vec!["record", "new", &none, "--name", ""],
            "1 to 2000 characters",
        ),
        (
            vec!["record", "import", "Cargo.toml", &none],
            "neither the folder",
        ),
        (vec!["record", "restore", &none, "x.record"], "no such file"),
        (
            vec!["record", "check", &none, "--against", "7:aa"],
            "NUMBER:HASH",
        ),
        (vec!["record", "demo", "Cargo.toml"], "name another place"),
        (
            vec!["trace", "bottle/T-1", "--record", &none],
            "kind of thing",
        ),
        (
            vec!["record", "check", "postgres://127.0.0.1:1/none"],
            "does not answer",
        ),
    ] {
        let outcome = halfdrop(&arguments);
        assert_eq!(outcome.status, 2, "{arguments:?}: {}", outcome.out);
        assert!(outcome.err.contains(told), "{arguments:?}: {}", outcome.err);
    }
}

/// The file alone is the record, whatever command was the last.
#[test]
fn a_copied_file_holds_all() {
    let folder = Folder::new("copied");
    let file = folder.file("demo.record");
    ok(&["record", "demo", &file]);
    ok(&["record", "export", &file, &folder.file("export")]);
    let alone = |place: &str| {
        for end in ["-wal", "-shm"] {
            let beside = std::path::PathBuf::from(format!("{place}{end}"));
            assert!(!beside.exists(), "{beside:?}");
        }
        let copy = folder.file("copy.record");
        std::fs::copy(place, &copy).unwrap();
        let checked = ok(&["record", "check", &copy, "--chain-only"]);
        assert!(
            checked.contains("the lists were not looked at"),
            "{checked}"
        );
        std::fs::remove_file(&copy).unwrap();
        checked
            .lines()
            .find(|l| l.starts_with("last link"))
            .unwrap()
            .to_string()
    };
    let link = alone(&file);
    ok(&["record", "rebuild", &file]);
    assert_eq!(alone(&file), link);
    ok(&["trace", "certificate/C-0004", "--record", &file]);
    ok(&[
        "certificate",
        "print",
        "C-0001",
        "--record",
        &file,
        "-o",
        &folder.file("c.pdf"),
    ]);
    assert_eq!(alone(&file), link);
    let imported = folder.file("imported.record");
    ok(&["record", "import", &folder.file("export"), &imported]);
    assert_eq!(alone(&imported), link);
    let new = folder.file("new.record");
    ok(&["record", "new", &new]);
    assert!(alone(&new).starts_with("last link 1:"));
}

/// As a system stops its services: with the signal that asks, not the one that kills.
#[cfg(unix)]
#[test]
fn a_bench_that_is_told_to_stop_leaves_all_in_its_file() {
    use std::io::{BufRead, BufReader};
    use std::process::{Command, Stdio};
    let folder = Folder::new("told-to-stop");
    let file = folder.file("bench.record");
    for signal in ["-TERM", "-INT"] {
        let mut bench = Command::new(env!("CARGO_BIN_EXE_halfdrop"))
            .args(["serve", "--no-browser", "--record", &file])
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut out = BufReader::new(bench.stdout.take().unwrap());
        let mut line = String::new();
        out.read_line(&mut line).unwrap();
        assert!(line.contains("http://"), "{line}");
        let told = Command::new("kill")
            .args([signal, &bench.id().to_string()])
            .status()
            .unwrap();
        assert!(told.success());
        assert_eq!(bench.wait().unwrap().code(), Some(0));
        line.clear();
        out.read_line(&mut line).unwrap();
        assert!(line.contains("Everything is saved"), "{line}");
        assert!(!folder.0.join("bench.record-wal").exists());
        assert!(ok(&["record", "check", &file]).contains("1 events, the chain holds"));
    }
}

#[test]
fn a_noted_link_is_compared_with() {
    let folder = Folder::new("noted");
    let file = folder.file("demo.record");
    ok(&["record", "demo", &file]);
    let checked = ok(&["record", "check", &file]);
    let link = checked
        .split("last link ")
        .nth(1)
        .unwrap()
        .lines()
        .next()
        .unwrap();
    assert!(checked.contains(&format!("--against {link}")), "{checked}");
    let (number, hash) = link.split_once(':').unwrap();
    for noted in [link, hash] {
        let compared = ok(&["record", "check", &file, "--against", noted]);
        assert!(
            compared.contains(&format!("that of event {number}")),
            "{compared}"
        );
    }
    let other = "0".repeat(64);
    for (noted, told) in [
        (
            format!("{number}:{other}"),
            "has another hash than the one noted",
        ),
        (format!("12:{hash}"), "has another hash than the one noted"),
        (format!("9999:{hash}"), "there are only"),
        (other, "no event has the noted hash"),
    ] {
        let compared = halfdrop(&["record", "check", &file, "--against", &noted]);
        assert_eq!(compared.status, 1, "{}", compared.out);
        assert!(compared.out.contains(told), "{}", compared.out);
        assert!(!compared.out.contains("rebuild"), "{}", compared.out);
    }
}

#[test]
fn an_imported_record_that_is_shared_has_a_way_in() {
    let folder = Folder::new("record-way-in");
    let file = folder.file("bench.record");
    ok(&["record", "new", &file, "--who", "marsh"]);
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        use notebook::payload::{PersonAdded, RecordShared, Role};
        use notebook::{Command, Kind, Node};
        let machine = std::sync::Arc::new(store::Machine::here());
        let store = store::Store::open(&file, machine).await.unwrap();
        let marsh = PersonAdded {
            name: "Marsh".into(),
            roles: vec![Role::Keeper],
        };
        let on = Node::new(Kind::Person, "marsh").unwrap();
        let says = async |command| {
            let order = store::Order::new("marsh", "desk", command);
            store.submit(order).await.unwrap();
        };
        says(Command::new(on, marsh)).await;
        let which = store::Secret::Passphrase;
        store
            .set_secret("marsh", "desk", "marsh", which, "brown bottles")
            .await
            .unwrap();
        says(Command::new(Node::record(), RecordShared {})).await;
        store.close().await;
    });
    let (export, again) = (folder.file("export"), folder.file("again.record"));
    ok(&["record", "export", &file, &export]);
    let readme = std::fs::read_to_string(folder.0.join("export/README.txt")).unwrap();
    assert!(readme.contains("halfdrop record passphrase"), "{readme}");
    let said = ok(&["record", "import", &export, &again]);
    let way = format!("halfdrop record passphrase {again} NAME");
    assert!(
        said.contains(&way) && said.contains("Keepers: marsh."),
        "{said}"
    );
    let set = |person: &str, secret: &str| {
        common::halfdrop_with(&["record", "passphrase", &again, person], secret.as_bytes())
    };
    for (person, secret, told) in [
        ("marsh", "short\n", "at least 10 characters"),
        (
            "nobody",
            "green bottles\n",
            "person/nobody is not in the record",
        ),
    ] {
        let wrong = set(person, secret);
        assert!(
            wrong.status == 2 && wrong.err.contains(told),
            "{}",
            wrong.err
        );
    }
    let done = set("marsh", "green bottles\n");
    assert_eq!(done.status, 0, "{}", done.err);
    runtime.block_on(async {
        let machine = std::sync::Arc::new(store::Machine::here());
        let store = store::Store::open(&again, machine).await.unwrap();
        let which = store::Secret::Passphrase;
        store
            .sign_in("marsh", "desk", which, "green bottles")
            .await
            .unwrap();
        let (number, _) = store.end().await.unwrap();
        let set = store.event(number - 1).await.unwrap().unwrap();
        assert_eq!(set.payload.kind(), "secret-set");
        assert_eq!(set.who, "keeper of the machine");
        store.close().await;
    });
}

/// The lines of a text that hold a word.
fn with<'a>(text: &'a str, word: &str) -> Vec<&'a str> {
    text.lines().filter(|line| line.contains(word)).collect()
}

#[test]
fn a_correction_shows_old_beside_new() {
    let folder = Folder::new("corrected");
    let file = folder.file("bench.record");
    demo(&file, "2026-03-09T08:00:00+01:00");
    let lot = ok(&["trace", "lot/S-0107", "--record", &file]);
    let line = with(&lot, "halfdrop record correction")[0];
    let number = line.trim_end_matches(')').rsplit(' ').next().unwrap();
    let table = ok(&["record", "correction", &file, number]);
    assert!(
        table.contains("from 0.10041 mol/L to 0.10014 mol/L"),
        "{table}"
    );
    assert!(
        table.contains(
            "came out otherwise: 2; verdicts that changed: 1; certificates superseded: 2"
        ),
        "{table}"
    );
    // The base is proportional to the acid: 0.10052 x 0.10014 / 0.10041 = 0.10025.
    let base = with(&table, "D-0002")[0];
    assert!(
        base.contains("(0.10052 ± 0.00016) mol/L  ->  (0.10025 ± 0.00016) mol/L"),
        "{base}"
    );
    let flipped = with(&table, "FLIPS");
    assert_eq!(flipped.len(), 1, "{table}");
    assert!(flipped[0].contains("V-232") && flipped[0].contains("accepted -> not accepted"));
    let of = ok(&["trace", "determination/D-0004", "--record", &file]);
    assert!(
        of.contains("(computed again)") && of.contains("Nobody has approved"),
        "{of}"
    );
    assert_eq!(with(&of, "FLIPS").len(), 1, "{of}");
    let old = ok(&["trace", "certificate/C-0002", "--record", &file]);
    assert!(
        old.contains("it was superseded on") && old.contains("replaced by C-0005"),
        "{old}"
    );
    let told = ok(&["record", "notices", &file, "--who", "marsh"]);
    let about = with(&told, "D-0004")[0];
    assert!(
        about.contains("-> ") && about.contains("superseded: C-0004"),
        "{about}"
    );
    // An event that corrects nothing says so.
    let nothing = halfdrop(&["record", "correction", &file, "1"]);
    assert_eq!(nothing.status, 2, "{}", nothing.out);
}

#[test]
fn what_may_be_used_is_said_with_the_day_and_the_reason() {
    let folder = Folder::new("usable");
    let file = folder.file("bench.record");
    // Long ago: the bottles were standardized for two weeks.
    demo(&file, "2024-03-09T08:00:00+01:00");
    let all = ok(&["record", "usable", &file]);
    let bottle = with(&all, "solution/T-0123")[0];
    assert!(
        bottle.starts_with("no ") && bottle.contains("its standardization held until 2024-03-25"),
        "{bottle}"
    );
    let pipette = with(&all, "apparatus/P-25-1")[0];
    assert!(pipette.starts_with("yes"), "{pipette}");
    let list = ok(&["record", "list", &file, "--kind", "solution"]);
    assert!(
        with(&list, "T-0123")[0].contains("not to be used since 2024-03-25"),
        "{list}"
    );
}
