//! Steps that the tests of the review list share.

use pointdown_core::book::review::{Choice, Finding};
use pointdown_core::farm::{Answer, Farm, Logged};
use pointdown_core::record::{Draft, Fields, Id, Kind};
use pointdown_server::exchange::exchange;
use pointdown_server::store::{DeviceKind, Joined, Joining, NewInvite, Role, Sqlite, Store};
use serde_json::Value;

use crate::phone::{Phone, meet};

/// The list as it stands.
pub fn list(phone: &Phone) -> Vec<Finding> {
    phone.farm.review().expect("a review list")
}

/// The names of its lines, in order.
pub fn lines(phone: &Phone) -> Vec<String> {
    list(phone).into_iter().map(|f| f.line).collect()
}

/// The one line whose name begins so.
#[track_caller]
pub fn line(phone: &Phone, begins: &str) -> Finding {
    let mut all = list(phone);
    all.retain(|f| f.line.starts_with(begins));
    assert_eq!(all.len(), 1, "lines that begin with {begins}: {all:?}");
    all.remove(0)
}

/// Takes the first choice of a line for which this holds.
#[track_caller]
pub fn decide(phone: &Phone, begins: &str, holds: impl Fn(&Choice) -> bool) -> Vec<Logged> {
    let finding = line(phone, begins);
    let choice = finding.choices.iter().find(|choice| holds(choice));
    let choice = choice.unwrap_or_else(|| panic!("no such choice: {:?}", finding.choices));
    phone.env.pass_ms(1000);
    phone
        .farm
        .decide(&finding.line, Answer::from(choice).as_shown(&finding))
        .unwrap_or_else(|e| panic!("{choice:?}: {e}"))
}

/// Undoes a choice: voids everything that it logged.
#[track_caller]
pub fn undo(phone: &Phone, logged: &[Logged]) {
    for one in logged {
        phone.env.pass_ms(1000);
        phone.farm.void(one.id, "undone").expect("a void");
    }
}

/// The records behind a line are these, in any order.
#[track_caller]
pub fn behind(finding: &Finding, records: &[Id]) {
    let mut ours = finding.records.clone();
    ours.sort();
    let mut theirs = records.to_vec();
    theirs.sort();
    assert_eq!(ours, theirs, "{finding:?}");
}

/// Everyone concerned, by name, in order.
pub fn who(phone: &Phone, finding: &Finding) -> Vec<String> {
    let names = phone.farm.names().expect("names");
    let mut all: Vec<String> = finding.people.iter().map(|id| names[id].clone()).collect();
    all.sort();
    all
}

/// Lets all phones meet until they hold the same; their books and lists are alike then, and stay
/// so when they are made anew.
#[track_caller]
pub fn alike(phones: &[&Phone]) {
    for _ in 0..2 {
        for one in phones {
            for other in phones {
                if one.farm.device() != other.farm.device() {
                    meet(one, other);
                }
            }
        }
    }
    for phone in phones {
        assert_eq!(phone.view(), phones[0].view());
        assert_eq!(list(phone), list(phones[0]));
        let check = phone.farm.check().expect("a check");
        assert_eq!(check.wrong, Vec::<String>::new());
    }
    let (view, list_before) = (phones[0].view(), list(phones[0]));
    phones[0].farm.rebuild().expect("a rebuild");
    assert_eq!(view, phones[0].view());
    assert_eq!(list_before, list(phones[0]));
}

/// Amends a record a second later.
#[track_caller]
pub fn amend(phone: &Phone, id: Id, set: Value) -> Id {
    phone.env.pass_ms(1000);
    let set: Fields = set.as_object().expect("values").clone();
    phone.farm.amend(id, set, None).expect("an amendment").id
}

/// Voids a record a second later.
#[track_caller]
pub fn void(phone: &Phone, id: Id) -> Id {
    phone.env.pass_ms(1000);
    phone.farm.void(id, "by mistake").expect("a void").id
}

/// A run of cartons of six, straight from the basket, from one lot.
pub fn carton(lot: &str, cartons: u32) -> Draft {
    Draft::new(Kind::Carton)
        .with("parts", format!("{lot}={}", cartons * 6))
        .with("from", "basket")
        .with("species", lot.rsplit('/').next().unwrap_or("hen"))
        .with("eggs_per_carton", 6)
        .with("cartons", cartons)
        .with("packed", "2026-05-02")
}

/// Cartons of a run leaving or coming back.
pub fn out(way: &str, run: Id, lot: &str, cartons: u32, to: &str) -> Draft {
    Draft::new(Kind::Out)
        .with("way", way)
        .with("parts", format!("{lot}={}", cartons * 6))
        .with("carton", run.to_string())
        .with("cartons", cartons)
        .with("to", to)
}

/// A server in a folder, and the place of one phone there.
pub struct Server {
    store: Sqlite,
    farm: Id,
    device: Id,
    // Its files go with it.
    _folder: tempfile::TempDir,
}

impl Server {
    /// A server that this phone joins.
    pub fn joined_by(phone: &Phone) -> Server {
        let folder = tempfile::tempdir().expect("a folder");
        let store = Sqlite::open(&folder.path().join("server")).expect("a store");
        let (farm, now) = (phone.farm.id(), 1_777_000_000_000);
        let device = Id::at(now, [3; 10]);
        let invite = NewInvite {
            code: [5; 32],
            farm: None,
            made_at: now,
            expires: now + 1000,
            role: Role::Helper,
            by: None,
        };
        store.add_invite(&invite).expect("an invite");
        let joining = Joining {
            code: [5; 32],
            farm: Some(farm),
            begin: None,
            device,
            name: "a phone".into(),
            kind: DeviceKind::Phone,
            token: [9; 32],
            actors: Vec::new(),
            now,
        };
        let joined = store.join(&joining).expect("a join");
        assert!(matches!(joined, Joined::In(_)), "{joined:?}");
        phone.farm.joined("http://a", "token").expect("joined");
        Server {
            store,
            farm,
            device,
            _folder: folder,
        }
    }

    /// What the server answers to a message.
    pub fn answer(&self, ask: &[u8], now: &str) -> Vec<u8> {
        let now = crate::phone::at(now).ms();
        let done = exchange(&self.store, self.farm, self.device, ask, now);
        done.expect("an answer").answer
    }

    /// One whole exchange, at this moment of the server's clock.
    pub fn sync(&self, phone: &Phone, now: &str) {
        self.sync_farm(&phone.farm, now);
    }

    /// The same, for a database without a phone around it.
    pub fn sync_farm(&self, farm: &Farm, now: &str) {
        for _ in 0..100 {
            let ask = farm.sync_ask().expect("a message");
            let answer = self.answer(&ask, now);
            if !farm.sync_hear(&answer).expect("it is understood").again {
                return;
            }
        }
        panic!("an exchange without an end");
    }
}
