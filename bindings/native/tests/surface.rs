//! The interface as an app meets it, from Rust.

use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};
use std::thread::JoinHandle;

use pointdown_native::{
    CancelToken, Draft, Event, Farm, Listener, ListenerError, PointdownError, SetUp, Species,
};

struct Bell(AtomicU32);

impl Listener for Bell {
    fn newer(&self) -> Result<(), ListenerError> {
        self.0.fetch_add(1, Ordering::SeqCst);
        Ok(())
    }
}

fn begin(folder: &tempfile::TempDir) -> Arc<Farm> {
    let set_up = SetUp {
        name: "Larkmeadow".into(),
        zone: "Europe/Dublin".into(),
        person: "Marit".into(),
        device: "phone".into(),
        more_json: None,
    };
    let path = folder.path().join("farm.db").display().to_string();
    let farm = Farm::begin(path, set_up).expect("a farm");
    farm.log(draft(Event::Coop {
        name: "Orchard".into(),
        species: vec![Species::Hen],
    }))
    .expect("a coop");
    farm
}

fn draft(event: Event) -> Draft {
    Draft {
        event,
        at_ms: None,
        by: None,
        note: None,
    }
}

fn gather(farm: &Farm, count: u32) -> Result<String, PointdownError> {
    let event = Event::Gather {
        coop: "Orchard".into(),
        species: Species::Hen,
        count,
        floor_laid: None,
    };
    Ok(farm.log(draft(event))?.id)
}

#[test]
fn a_closed_farm_says_so_and_its_file_is_free() {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = begin(&folder);
    farm.shut_down();
    assert!(matches!(farm.today(), Err(PointdownError::Closed { .. })));
    let path = folder.path().join("farm.db").display().to_string();
    assert!(Farm::open(path).is_ok());
}

#[test]
fn a_listener_is_let_go_with_the_farm() {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = begin(&folder);
    let bell = Arc::new(Bell(AtomicU32::new(0)));
    farm.watch(Some(bell.clone())).expect("watched");
    gather(&farm, 3).expect("logged");
    gather(&farm, 4).expect("logged");
    assert_eq!(bell.0.load(Ordering::SeqCst), 1);
    farm.shut_down();
    assert_eq!(Arc::strong_count(&bell), 1);
}

/// Asks the farm while it is told, as an app in a hurry might.
struct Asker(std::sync::Weak<Farm>, AtomicU32);

impl Listener for Asker {
    fn newer(&self) -> Result<(), ListenerError> {
        let farm = self.0.upgrade().expect("the farm");
        let read = farm.news(0, 100).expect("news").notices.len();
        self.1.store(read as u32, Ordering::SeqCst);
        farm.review().expect("a list");
        Ok(())
    }
}

#[test]
fn a_listener_may_ask_the_farm_while_it_is_told() {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = begin(&folder);
    let asker = Arc::new(Asker(Arc::downgrade(&farm), AtomicU32::new(0)));
    farm.watch(Some(asker.clone())).expect("watched");
    gather(&farm, 3).expect("logged");
    let first = asker.1.load(Ordering::SeqCst);
    gather(&farm, 4).expect("logged");
    assert!(first > 0 && asker.1.load(Ordering::SeqCst) > first);
}

#[test]
fn what_came_from_others_is_told_from_what_was_logged_here() {
    let (one, other) = (
        tempfile::tempdir().expect("a"),
        tempfile::tempdir().expect("b"),
    );
    let farm = begin(&one);
    gather(&farm, 3).expect("logged");
    assert!(
        farm.news(0, 100)
            .expect("news")
            .notices
            .iter()
            .all(|n| n.here)
    );
    let path = other.path().join("farm.db").display().to_string();
    let there = Farm::from_export(path, farm.export_file().expect("a file")).expect("a farm");
    let read = there.news(0, 100).expect("news");
    let logged = gather(&farm, 5).expect("logged");
    there
        .import_file(farm.export_file().expect("a file"))
        .expect("taken");
    let news = there.news(read.after, 100).expect("news");
    let told: Vec<(&str, bool)> = news
        .notices
        .iter()
        .map(|n| (n.record.as_str(), n.here))
        .collect();
    assert_eq!(told, [(logged.as_str(), false)]);
}

#[test]
fn a_choice_that_is_not_offered_is_refused_with_those_that_are() {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = begin(&folder);
    let twin = Event::Coop {
        name: "orchard".into(),
        species: vec![Species::Hen],
    };
    farm.log(draft(twin)).expect("a coop");
    let line = farm.review().expect("a list").remove(0);
    match farm.decide(line.tag.clone(), 99, None) {
        Err(PointdownError::Invalid { field, value, .. }) => {
            assert_eq!(
                (field.as_deref(), value.as_deref()),
                (Some("choice"), Some("99"))
            );
        }
        other => panic!("{other:?}"),
    }
    let logged = farm.decide(line.tag.clone(), 0, None).expect("decided");
    assert!(farm.decide(line.tag, 0, None).is_err(), "the line is gone");
    let ids = logged.into_iter().map(|one| one.id).collect();
    farm.undo(ids, "looked again".into()).expect("undone");
    assert_eq!(farm.review().expect("a list").len(), 1);
}

#[test]
fn notices_that_nobody_read_in_time_are_said_to_be_missed() {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = begin(&folder);
    let mut rows = "date,coop,eggs\n".to_string();
    let first = chrono::NaiveDate::from_ymd_opt(2000, 1, 2).expect("a day");
    for (n, day) in first.iter_days().take(9_000).enumerate() {
        rows += &format!("{day},Orchard,{}\n{day},Orchard,{}\n", n % 30, n % 30 + 40);
    }
    let map = "date=date,coop=coop,eggs=eggs".to_string();
    let report = farm
        .import_table(rows.into_bytes(), map, false)
        .expect("taken");
    assert_eq!(report.added, 18_000, "{:?}", report.errors.first());
    let news = farm.news(0, 10).expect("news");
    assert!(news.missed && news.more && news.notices.len() == 10);
    let rest = farm.news(news.after, u32::MAX).expect("news");
    assert!(!rest.missed && !rest.more);
    assert_eq!(news.notices.len() + rest.notices.len(), 16_384);
}

/// A token that is cancelled once somebody has connected, so that what asked is under way; nobody ever
/// answers. The connection is kept until the end is waited for.
fn cancelled_by(listener: TcpListener) -> (Arc<CancelToken>, JoinHandle<impl Sized>) {
    let token = Arc::new(CancelToken::new());
    let waiting = token.clone();
    let stop = std::thread::spawn(move || {
        let connection = listener.accept().expect("a connection");
        waiting.cancel();
        (listener, connection)
    });
    (token, stop)
}

#[test]
fn a_token_that_was_cancelled_stops_at_once() {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = begin(&folder);
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let url = format!("http://{}", listener.local_addr().expect("an address"));
    farm.joined(url, "ab".repeat(32)).expect("joined");
    let (token, stop) = cancelled_by(listener);
    let stopped = farm.sync(Some(token));
    assert!(
        matches!(stopped, Err(PointdownError::Cancelled { .. })),
        "{stopped:?}"
    );
    stop.join().expect("ended");
}

#[test]
fn a_token_stops_joining_and_nothing_was_joined() {
    let folder = tempfile::tempdir().expect("a folder");
    let farm = begin(&folder);
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let url = format!("http://{}", listener.local_addr().expect("an address"));
    let (token, stop) = cancelled_by(listener);
    let stopped = farm.join(url, "abcd".into(), "phone".into(), Some(token));
    assert!(
        matches!(stopped, Err(PointdownError::Cancelled { .. })),
        "{stopped:?}"
    );
    stop.join().expect("ended");
    assert_eq!(farm.status().expect("a status").server, None);
    let not = farm.sync(None);
    assert!(
        matches!(not, Err(PointdownError::NotJoined { .. })),
        "{not:?}"
    );
    gather(&farm, 3).expect("logged");
}

#[test]
fn own_code_has_nothing_unsafe() {
    let mut folders = vec![std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src")];
    let word = ["un", "safe"].concat();
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("a folder").flatten() {
            let path = entry.path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let text = std::fs::read_to_string(&path).expect("a source");
                assert!(!text.contains(&word), "{}", path.display());
            }
        }
    }
}
