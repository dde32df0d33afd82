use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use pointdown_core::farm::{Farm, Location, System};

use crate::phone::Phone;

#[test]
fn a_database_that_another_program_has_open_is_said_to_be_in_use() {
    let phone = Phone::with_farm();
    let before = phone.everything();
    let open = Farm::open(&Location::File(phone.db()), Arc::new(System)).expect("opened");
    let began = Instant::now();
    let error = phone.say("log feed kg=1 --json").failed(4);
    assert_eq!(error["error"], "in_use");
    assert!(
        began.elapsed() < Duration::from_secs(20),
        "it does not wait for ever"
    );
    drop(open);
    assert_eq!(phone.everything(), before);
}

/// Several at once: each either waits its turn or says that the database is in use. What was
/// acknowledged is there, what was not is not.
#[test]
fn what_was_acknowledged_is_there_however_many_write() {
    let phone = Phone::with_farm();
    let acknowledged: usize = thread::scope(|scope| {
        let writers: Vec<_> = (0..4)
            .map(|n| {
                let phone = &phone;
                scope.spawn(move || {
                    let mut done = 0;
                    for round in 0..4 {
                        let kg = format!("kg={n}.{round}");
                        let said = phone.run(&["log", "feed", &kg, "--json"]);
                        match said.code {
                            0 => done += 1,
                            _ => assert_eq!(said.failed(4)["error"], "in_use"),
                        }
                    }
                    done
                })
            })
            .collect();
        writers
            .into_iter()
            .map(|w| w.join().expect("no panic"))
            .sum()
    });
    assert!(acknowledged > 0);
    assert_eq!(
        phone.ask("list feed").as_array().map(Vec::len),
        Some(acknowledged)
    );
    assert_eq!(phone.ask("check")["wrong"], serde_json::json!([]));
}
