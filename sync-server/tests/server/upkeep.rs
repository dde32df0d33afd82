//! Folding, backups, looking everything over, and disks that fail.

use std::path::Path;
use std::process::{Command, Stdio};
use std::sync::Arc;

use pointdown_core::record::{Actor, DocName};
use pointdown_core::sync::Answer;
use pointdown_server::exchange::exchange;
use pointdown_server::store::{self, Sqlite, Store};
use pointdown_server::upkeep::{
    BackupError, Compacted, Verdict, back_up, compact, examine, restore,
};

use crate::support::{NOW, Phone, memory};

/// A farm with two documents, more than a hundred changes, by two phones.
fn grown(store: &dyn Store) -> [Phone; 2] {
    let mut first = Phone::begin(store);
    let mut second = first.another(store);
    for n in 0..70 {
        first.log("2026-10", 40);
        second.log("2026-10", 40);
        if n % 7 == 0 {
            first.log("farm", 40);
        }
    }
    first.sync(store);
    second.sync(store);
    first.sync(store);
    [first, second]
}

#[test]
fn folding_loses_nothing_and_phones_go_on_from_anywhere() {
    let store = memory();
    let [mut first, mut late] = grown(&*store);
    let farm = first.farm;
    let counter = || store::read(&*store, farm, |log| log.counter()).unwrap();
    let (all, hashes) = (counter(), first.hashes());
    assert_eq!(all, 150);
    // The late phone is halfway through the log; a third one knows nothing.
    late.state.cursor = 20;
    let mut new = first.another(&*store);
    assert_eq!(
        compact(&*store, farm, NOW),
        Ok(Compacted::default()),
        "all are too young"
    );
    let done = compact(&*store, farm, NOW + 1).unwrap();
    assert_eq!(done.docs, 1, "the farm's own document is small");
    assert!(done.bytes > 140 * 100, "{done:?}");
    assert_eq!(
        compact(&*store, farm, NOW + 1).unwrap(),
        Compacted::default(),
        "once"
    );
    assert_eq!(counter(), all);
    assert_eq!(examine(&*store, false), Ok(Vec::new()));
    // Logged meanwhile, by the one that has everything and by the one that was away.
    first.log("2026-10", 40);
    late.log("2026-11", 40);
    assert_eq!(
        first.sync(&*store),
        1,
        "for who is up to date nothing changed"
    );
    assert!(late.sync(&*store) <= 3);
    new.sync(&*store);
    first.sync(&*store);
    assert_eq!(
        (late.hashes(), new.hashes()),
        (first.hashes(), first.hashes())
    );
    assert_eq!(first.digest().n, all + 2);
    for (doc, before) in hashes {
        let now = &first.hashes()[&doc];
        assert!(before.iter().all(|hash| now.contains(hash)));
    }
    // What was folded is still known: a phone that sends it again adds nothing.
    let again = late.docs[&"2026-10".parse::<DocName>().unwrap()].changes();
    for bytes in &again[..5] {
        let doc: DocName = "2026-10".parse().unwrap();
        late.outbox
            .push(pointdown_core::ledger::read_change(&doc, bytes).unwrap().0);
    }
    late.sync(&*store);
    assert_eq!(counter(), all + 2);
}

/// Where the answer to the first whole document is lost, the next ask goes on.
#[test]
fn a_phone_that_lost_the_answer_gets_the_documents_again() {
    let store = memory();
    let [first, mut late] = grown(&*store);
    compact(&*store, first.farm, NOW + 1).unwrap();
    late.state.cursor = 3;
    let ask = late.ask();
    let lost = exchange(&*store, late.farm, late.device, &ask, NOW).unwrap();
    let answer = Answer::decode(&lost.answer).unwrap();
    assert!(!answer.docs.is_empty() && answer.pack.is_empty());
    late.docs.clear();
    late.state = Default::default();
    late.sync(&*store);
    assert_eq!(late.hashes(), first.hashes());
}

fn raw(folder: &Path) -> rusqlite::Connection {
    rusqlite::Connection::open(folder.join("server.db")).unwrap()
}

fn examined(folder: &Path, mend: bool) -> Vec<(String, Verdict)> {
    let findings = examine(&Sqlite::open(folder).unwrap(), mend).unwrap();
    findings.into_iter().map(|f| (f.what, f.verdict)).collect()
}

#[test]
fn the_doctor_mends_what_is_certain_and_names_the_rest() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    {
        let store = Sqlite::open(path).unwrap();
        let [first, _] = grown(&store);
        store::write(&store, first.farm, |log| {
            let doc: DocName = "farm".parse().unwrap();
            log.keep_saved(&doc, &first.docs[&doc].save(), 150)
        })
        .unwrap();
    }
    assert_eq!(examined(path, true), []);
    let spoil = |sql: &str| raw(path).execute(sql, []).unwrap();
    // Both follow from the log.
    assert_eq!(spoil("UPDATE doc SET n = n + 1 WHERE name = 'farm'"), 1);
    assert_eq!(
        spoil("UPDATE snapshot SET saved = x'00ff' WHERE doc = 'farm'"),
        1
    );
    let seen = examined(path, false);
    assert_eq!(seen.len(), 2, "{seen:?}");
    assert!(
        seen.iter().all(|(_, v)| *v == Verdict::Mendable),
        "{seen:?}"
    );
    let mended = examined(path, true);
    assert!(mended.len() == 2 && mended.iter().all(|(_, v)| *v == Verdict::Mended));
    assert_eq!(examined(path, false), []);
    // A change whose bytes are another's; one that is gone; a counter too high: nobody can make
    // these again from what is here, so nothing is touched.
    let before: Vec<u8> = raw(path)
        .query_row("SELECT bytes FROM change WHERE n = 5", [], |r| r.get(0))
        .unwrap();
    spoil("UPDATE change SET bytes = (SELECT bytes FROM change WHERE n = 6) WHERE n = 5");
    spoil("DELETE FROM change WHERE n = 9");
    spoil("UPDATE farm SET n = 155");
    let lost = examined(path, true);
    let named = |word: &str| {
        lost.iter()
            .any(|(what, v)| what.contains(word) && *v == Verdict::Lost)
    };
    assert!(
        named("change 5: ") && named("changes 9 to 9") && named("151 to 155"),
        "{lost:?}"
    );
    raw(path)
        .execute("UPDATE change SET bytes = ?1 WHERE n = 5", [&before])
        .unwrap();
    assert!(
        !examined(path, false)
            .iter()
            .any(|(what, _)| what.contains("change 5: "))
    );
}

#[test]
fn folded_changes_whose_document_is_gone_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path();
    {
        let store = Sqlite::open(path).unwrap();
        let [first, _] = grown(&store);
        compact(&store, first.farm, NOW + 1).unwrap();
    }
    let said = crate::program::said(&crate::program::run(path, &["doctor"]));
    assert_eq!(said, "all is well\n");
    let gone = raw(path).execute("DELETE FROM snapshot WHERE doc = '2026-10'", []);
    assert_eq!(gone, Ok(1));
    let lost = examined(path, true);
    assert!(
        lost.iter()
            .any(|(what, v)| what.contains("were folded") && *v == Verdict::Lost),
        "{lost:?}"
    );
    let program = crate::program::run(path, &["doctor"]);
    assert!(!program.status.success());
    assert!(String::from_utf8_lossy(&program.stderr).contains("restore a backup"));
}

#[test]
fn a_backup_made_while_phones_sync_is_whole_and_comes_back_under_a_new_epoch() {
    let folder = tempfile::tempdir().unwrap();
    let (data, copy, again) = (
        folder.path().join("data"),
        folder.path().join("copy"),
        folder.path().join("again"),
    );
    let store: Arc<dyn Store> = Arc::new(Sqlite::open(&data).unwrap());
    let [mut first, mut second] = grown(&*store);
    std::fs::create_dir(data.join("tls")).unwrap();
    std::fs::write(data.join("tls/key.pem"), "key").unwrap();
    let stop = Arc::new(std::sync::atomic::AtomicBool::new(false));
    let writer = {
        let (store, stop) = (store.clone(), stop.clone());
        std::thread::spawn(move || {
            while !stop.load(std::sync::atomic::Ordering::Relaxed) {
                second.log("2026-11", 40);
                second.sync(&*store);
            }
            second
        })
    };
    assert_eq!(back_up(&data, &copy).unwrap(), []);
    stop.store(true, std::sync::atomic::Ordering::Relaxed);
    let mut second = writer.join().unwrap();
    // After the backup.
    first.log("2026-11", 40);
    first.sync(&*store);
    let epoch = store.epoch().unwrap();
    assert!(matches!(back_up(&data, &copy), Err(BackupError::There(_))));
    assert!(
        matches!(restore(&copy, &data), Err(BackupError::There(_))),
        "never over a database"
    );
    assert!(matches!(
        restore(folder.path(), &again),
        Err(BackupError::Nothing(_))
    ));
    assert_eq!(restore(&copy, &again).unwrap(), []);
    assert_eq!(std::fs::read(again.join("tls/key.pem")).unwrap(), b"key");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        for folder in [&data, &copy, &again] {
            let rights = std::fs::metadata(folder).unwrap().permissions().mode();
            assert_eq!(rights & 0o777, 0o700, "{}", folder.display());
        }
    }
    let restored = Sqlite::open(&again).unwrap();
    assert_ne!(restored.epoch().unwrap(), epoch);
    let held = store::read(&restored, first.farm, |log| log.counter()).unwrap();
    assert!(held >= 150, "{held}");
    // Both phones bring what the copy lacks.
    for _ in 0..2 {
        second.sync(&restored);
        first.sync(&restored);
    }
    second.sync(&restored);
    assert_eq!(first.hashes(), second.hashes());
    assert_eq!(examine(&restored, false), Ok(Vec::new()));
    // A damaged copy is not taken.
    let bytes = std::fs::read(copy.join("server.db")).unwrap();
    let mut spoilt = bytes.clone();
    let middle = spoilt.len() / 2;
    spoilt[middle..middle + 4096].fill(0xa5);
    std::fs::write(copy.join("server.db"), spoilt).unwrap();
    let other = folder.path().join("other");
    assert!(restore(&copy, &other).is_err());
    assert!(!other.exists() && !folder.path().join("other.unfinished").exists());
}

/// Real: a page in the middle of the file is overwritten under a running server.
#[test]
fn a_damaged_page_is_said_so_and_nothing_is_acknowledged() {
    let folder = tempfile::tempdir().unwrap();
    let mut phone = {
        let store = Sqlite::open(folder.path()).unwrap();
        grown(&store)[0].another(&store)
    };
    let file = folder.path().join("server.db");
    let mut bytes = std::fs::read(&file).unwrap();
    let page: usize = 4096;
    let root: u32 = raw(folder.path())
        .query_row(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'change'",
            [],
            |r| r.get(0),
        )
        .unwrap();
    let end = root as usize * page;
    bytes[end - page..end].fill(0xa5);
    std::fs::write(&file, bytes).unwrap();
    let store: Arc<dyn Store> = Arc::new(Sqlite::open(folder.path()).unwrap());
    let token = {
        let next = [7u8; 32];
        let hash = <[u8; 32]>::from(<sha2::Sha256 as sha2::Digest>::digest(next));
        store.renew_token(phone.device, &hash, NOW).unwrap();
        data_encoding::HEXLOWER.encode(&next)
    };
    let server = crate::support::Server::with(store.clone(), Default::default());
    assert_eq!(
        server.get("/health/ready", None).0,
        200,
        "nobody has seen it yet"
    );
    phone.log("2026-10", 40);
    let (status, body) = server.post("/v1/sync", Some(&token), &phone.ask());
    assert_eq!(
        (status, crate::support::error(&body).as_str()),
        (503, "damaged")
    );
    let (status, body) = server.get("/health/ready", None);
    assert_eq!(
        (status, crate::support::error(&body).as_str()),
        (503, "damaged")
    );
    assert_eq!(server.get("/health/live", None).0, 200);
    let found = examine(&*store, true).unwrap();
    assert!(
        found.iter().any(|f| f.verdict == Verdict::Lost),
        "{found:?}"
    );
}

/// A file system of two megabytes, in a name space of the child's own.
#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_said_so_and_what_was_acknowledged_is_there() {
    let allowed = Command::new("unshare")
        .args(["-rm", "sh", "-c", "mount -t tmpfs tmpfs /tmp"])
        .stderr(Stdio::null())
        .status();
    if !allowed.is_ok_and(|status| status.success()) {
        eprintln!("SKIPPED: this system lets nobody mount a small file system (unshare -rm)");
        return;
    }
    let folder = tempfile::tempdir().unwrap();
    let data = folder.path().join("small");
    std::fs::create_dir(&data).unwrap();
    let server = crate::program::Running::in_a_small_space(&data, "2m");
    let inside = std::path::PathBuf::from(format!("/proc/{}/root{}", server.pid(), data.display()));
    let ballast = inside.join("ballast");
    std::fs::write(&ballast, vec![0u8; 1024 * 1024]).unwrap();
    let code = std::fs::read_to_string(folder.path().join("small.invite")).unwrap();
    let agent = crate::support::agent();
    let ask = serde_json::json!({"invite": code.trim(), "name": "Phone"});
    let (status, body) =
        crate::support::read(agent.post(server.at("/v1/join")).send_json(ask).unwrap());
    assert_eq!(status, 200);
    let joined: pointdown_core::sync::JoinAnswer = serde_json::from_slice(&body).unwrap();
    let device = crate::support::id();
    let mut phone = Phone::new(joined.farm, device, Actor([3; 16]));
    let sync = |phone: &mut Phone| {
        let request = agent
            .post(server.at("/v1/sync"))
            .header("authorization", format!("Bearer {}", joined.token));
        let (status, body) = crate::support::read(request.send(phone.ask().as_slice()).unwrap());
        if status == 200 {
            phone.hear(&body);
            return None;
        }
        Some((status, crate::support::error(&body)))
    };
    let mut acknowledged = 0;
    let refused = loop {
        phone.log("2026-10", 20_000);
        match sync(&mut phone) {
            None => acknowledged += 1,
            Some(refused) => break refused,
        }
        assert!(acknowledged < 200, "the disk is larger than it should be");
    };
    assert_eq!(refused, (503, "full".to_string()));
    assert!(acknowledged > 3, "{acknowledged}");
    let ready = || crate::support::read(agent.get(server.at("/health/ready")).call().unwrap());
    let (status, body) = ready();
    assert_eq!(
        (status, crate::support::error(&body).as_str()),
        (503, "full")
    );
    assert_eq!(phone.outbox.len(), 1, "it waits on the phone");
    // Killed at this moment, what it acknowledged is there.
    let copy = folder.path().join("copy");
    std::fs::create_dir(&copy).unwrap();
    for file in ["server.db", "server.db-wal"] {
        std::fs::copy(inside.join(file), copy.join(file)).unwrap();
    }
    let there = Sqlite::open(&copy).unwrap();
    let n = store::read(&there, joined.farm, |log| log.counter()).unwrap();
    assert_eq!(n, acknowledged);
    // With room again it goes on by itself.
    std::fs::remove_file(&ballast).unwrap();
    let began = std::time::Instant::now();
    while ready().0 != 200 {
        assert!(began.elapsed() < std::time::Duration::from_secs(30));
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    assert_eq!(sync(&mut phone), None);
    assert_eq!(phone.outbox.len(), 0);
}

/// A file system that can only be read: it does not start, and says why.
#[cfg(target_os = "linux")]
#[test]
fn on_a_disk_that_can_only_be_read_it_does_not_start() {
    let folder = tempfile::tempdir().unwrap();
    let script = "mount -t tmpfs -o size=2m tmpfs $1 && $2 invite --data $1 >/dev/null \
                  && mount -o remount,ro $1 && exec $2 --listen 127.0.0.1:0 --data $1";
    let out = Command::new("unshare")
        .args(["-rm", "sh", "-c", script, "sh"])
        .arg(folder.path())
        .arg(env!("CARGO_BIN_EXE_pointdown-server"))
        .output();
    let said = match out {
        Ok(out) => String::from_utf8_lossy(&out.stderr).into_owned(),
        Err(e) => e.to_string(),
    };
    if !said.contains("good for one device") {
        eprintln!("SKIPPED: this system lets nobody mount a small file system: {said}");
        return;
    }
    assert!(
        said.contains("cannot be written; check its rights"),
        "{said}"
    );
}
