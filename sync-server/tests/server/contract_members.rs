//! What any store must hold to about those who belong to a farm: roles, tokens, the audit log; and
//! about changes whose bytes stand in a saved form.

use std::sync::Arc;

use pointdown_core::record::{Actor, Id};
use pointdown_server::store::{
    self, Changed, DeviceKind, Joined, NewInvite, Noted, Role, Sqlite, Store, StoreError,
};

use crate::contract::{append, change};
use crate::support::{NOW, id, invite, joining, new_device, new_farm, random};

pub(crate) fn members_contract(make: &impl Fn() -> Arc<dyn Store>) {
    roles(&*make());
    a_farm_keeps_an_owner(&*make());
    a_fresh_token_takes_over_at_its_first_use(&*make());
    everything_is_noted(&*make());
    changes_are_folded_into_their_document(&*make());
    assert_eq!(make().ready(), Ok(()));
}

fn join_as(store: &dyn Store, farm: Id, role: Role, kind: DeviceKind, by: Option<Id>) -> Id {
    let code = random();
    let invite = NewInvite {
        code,
        farm: Some(farm),
        made_at: NOW,
        expires: NOW + 1000,
        role,
        by,
    };
    store.add_invite(&invite).unwrap();
    let mut joining = joining(code, None, &[]);
    joining.kind = kind;
    assert_eq!(store.join(&joining).unwrap(), Joined::In(farm));
    joining.device
}

fn standing(store: &dyn Store, farm: Id, device: Id) -> Option<Role> {
    store::read(store, farm, |log| log.standing(device)).unwrap()
}

fn roles(store: &dyn Store) {
    let (farm, first) = new_farm(store, &[]);
    assert_eq!(
        standing(store, farm, first),
        Some(Role::Owner),
        "who begins"
    );
    for role in [Role::Owner, Role::Helper, Role::Reader] {
        let phone = join_as(store, farm, role, DeviceKind::Phone, None);
        assert_eq!(standing(store, farm, phone), Some(role));
        let screen = join_as(store, farm, role, DeviceKind::Screen, None);
        assert_eq!(standing(store, farm, screen), Some(Role::Reader));
        let given = store.change_role(farm, screen, Role::Owner, Some(first), NOW);
        assert_eq!(given, Ok(Changed::NoDevice), "a screen stays a screen");
    }
    let (other, of_other) = new_farm(store, &[]);
    assert_eq!(standing(store, farm, of_other), None);
    let across = store.change_role(farm, of_other, Role::Reader, Some(first), NOW);
    assert_eq!(across, Ok(Changed::NoDevice));
    assert_eq!(standing(store, other, of_other), Some(Role::Owner));
    let helper = new_device(store, farm, &[]);
    let done = store.change_role(farm, helper, Role::Reader, Some(first), NOW);
    assert_eq!(done, Ok(Changed::Done));
    assert_eq!(standing(store, farm, helper), Some(Role::Reader));
    let row = store.devices(farm).unwrap();
    assert_eq!(
        row.iter().find(|d| d.id == helper).unwrap().role,
        Role::Reader
    );
    store.revoke(farm, helper, Some(first), NOW).unwrap();
    assert_eq!(standing(store, farm, helper), None, "shut out");
    let late = store.change_role(farm, helper, Role::Owner, Some(first), NOW);
    assert_eq!(late, Ok(Changed::NoDevice));
}

fn a_farm_keeps_an_owner(store: &dyn Store) {
    let (farm, first) = new_farm(store, &[]);
    let second = new_device(store, farm, &[]);
    let give = |device, role, by| store.change_role(farm, device, role, by, NOW);
    assert_eq!(
        give(first, Role::Helper, Some(first)),
        Ok(Changed::LastOwner)
    );
    assert_eq!(
        store.revoke(farm, first, Some(first), NOW),
        Ok(Changed::LastOwner)
    );
    assert_eq!(give(first, Role::Owner, Some(first)), Ok(Changed::Done));
    assert_eq!(give(second, Role::Owner, Some(first)), Ok(Changed::Done));
    assert_eq!(give(first, Role::Helper, Some(second)), Ok(Changed::Done));
    assert_eq!(
        store.revoke(farm, second, Some(second), NOW),
        Ok(Changed::LastOwner)
    );
    // Whoever runs the server can: a lost phone may be the only owner.
    assert_eq!(store.revoke(farm, second, None, NOW), Ok(Changed::Done));
    assert_eq!(give(first, Role::Owner, None), Ok(Changed::Done));
}

fn a_fresh_token_takes_over_at_its_first_use(store: &dyn Store) {
    let joining = joining(invite(store, None), None, &[]);
    store.join(&joining).unwrap();
    let (old, never, next) = (joining.token, random(), random());
    let knows = |token| store.device(token).unwrap().map(|d| d.id) == Some(joining.device);
    store.renew_token(joining.device, &never, NOW).unwrap();
    assert!(knows(&old) && knows(&never));
    store.renew_token(joining.device, &next, NOW).unwrap();
    assert!(knows(&old) && knows(&next) && !knows(&never));
    store.settle_token(&random()).unwrap();
    store.settle_token(&old).unwrap();
    assert!(knows(&old) && knows(&next), "neither is a next token");
    store.settle_token(&next).unwrap();
    assert!(!knows(&old) && knows(&next));
    let row = store.device(&next).unwrap().unwrap();
    assert_eq!((row.token, row.next_token), (next, None));
}

fn everything_is_noted(store: &dyn Store) {
    let (farm, first) = new_farm(store, &[]);
    let (other, _) = new_farm(store, &[]);
    let second = join_as(store, farm, Role::Helper, DeviceKind::Phone, Some(first));
    store.renew_token(second, &random(), NOW + 1).unwrap();
    store
        .change_role(farm, second, Role::Reader, Some(first), NOW + 2)
        .unwrap();
    store.revoke(farm, second, None, NOW + 3).unwrap();
    // What did not happen is not noted.
    store.revoke(farm, second, None, NOW + 4).unwrap();
    store.revoke(farm, first, Some(first), NOW + 4).unwrap();
    store
        .change_role(farm, id(), Role::Owner, Some(first), NOW + 4)
        .unwrap();
    let line = |n, at, event: &str, by, device, role: Option<Role>| Noted {
        n,
        at,
        event: event.into(),
        by,
        device,
        role: role.map(|r| r.as_str().into()),
    };
    let (a, b) = (Some(first), Some(second));
    let mut lines = vec![
        line(1, NOW, "joined", None, a, Some(Role::Owner)),
        line(2, NOW, "invited", a, None, Some(Role::Helper)),
        line(3, NOW, "joined", a, b, Some(Role::Helper)),
        line(4, NOW + 1, "token", b, b, None),
        line(5, NOW + 2, "role", a, b, Some(Role::Reader)),
        line(6, NOW + 3, "revoked", None, b, None),
    ];
    lines.reverse();
    assert_eq!(store.audit(farm, None, 100).unwrap(), lines);
    assert_eq!(store.audit(farm, Some(4), 2).unwrap(), lines[3..5]);
    assert_eq!(store.audit(farm, Some(1), 2).unwrap(), []);
    assert_eq!(store.audit(other, None, 100).unwrap().len(), 1);
    assert_eq!(store.audit(id(), None, 100).unwrap(), []);
}

fn changes_are_folded_into_their_document(store: &dyn Store) {
    let (farm, device) = new_farm(store, &[]);
    let actor = Actor(random());
    let some: Vec<_> = (1..=4).map(|n| change("2026-11", actor, n)).collect();
    append(store, farm, device, &some[..3]);
    append(store, farm, device, &[change("farm", Actor(random()), 1)]);
    let doc = &some[0].doc;
    store::write(store, farm, |log| {
        assert_eq!(log.fold(doc, i64::MAX)?, 0, "no saved form holds them");
        log.keep_saved(doc, b"saved", 2)?;
        assert_eq!(log.fold(doc, NOW)?, 0, "they were taken at this moment");
        assert_eq!(log.folded()?, 0);
        assert_eq!(log.fold(doc, NOW + 1)?, 200, "two of a hundred bytes");
        assert_eq!(log.fold(doc, NOW + 1)?, 0, "once");
        assert_eq!(log.folded()?, 2);
        Ok(())
    })
    .unwrap();
    store::read(store, farm, |log| {
        assert_eq!(log.last_op(doc, &some[0].hash)?, Some(1), "its name stays");
        assert_eq!(log.actor_number(doc, &actor)?, 3);
        assert_eq!(log.after(2, 1000)?.len(), 2);
        let parts = log.doc(doc)?;
        assert_eq!((parts.changes.len(), parts.upto), (1, 3));
        let names = |cursor| -> Result<Vec<String>, StoreError> {
            let docs = log.changed_since(cursor)?;
            Ok(docs.iter().map(|d| d.as_str().to_string()).collect())
        };
        assert_eq!(names(0)?, ["farm", "2026-11"]);
        assert_eq!(names(3)?, ["farm"]);
        assert_eq!(names(u64::MAX)?, [""; 0]);
        Ok(())
    })
    .unwrap();
}

/// A database as the first layout left it: every phone could do everything.
#[test]
fn the_first_phone_of_an_older_database_becomes_its_owner() {
    let folder = tempfile::tempdir().unwrap();
    let raw = rusqlite::Connection::open(folder.path().join("server.db")).unwrap();
    raw.execute_batch(include_str!("../../src/store/sql/0001_init.sql"))
        .unwrap();
    raw.pragma_update(None, "user_version", 1).unwrap();
    raw.pragma_update(None, "application_id", 0x5064_5376)
        .unwrap();
    raw.execute("INSERT INTO server VALUES (1, ?1)", [[1u8; 16]])
        .unwrap();
    let farm = id();
    raw.execute("INSERT INTO farm VALUES (?1, 0, 1)", [farm.bytes()])
        .unwrap();
    let add = |name: &str, kind: &str, at: i64, out: Option<i64>| {
        let device = id();
        raw.execute(
            "INSERT INTO device VALUES (?1, ?2, ?3, ?4, ?5, ?6, NULL, ?7)",
            rusqlite::params![
                device.bytes(),
                farm.bytes(),
                name,
                kind,
                random::<32>(),
                at,
                out
            ],
        )
        .unwrap();
    };
    add("lost", "phone", 1, Some(9));
    add("kitchen", "screen", 2, None);
    add("second", "phone", 4, None);
    add("first", "phone", 3, None);
    drop(raw);
    let store = Sqlite::open(folder.path()).unwrap();
    let roles: Vec<_> = store
        .devices(farm)
        .unwrap()
        .into_iter()
        .map(|d| (d.name, d.role))
        .collect();
    let expected = [
        ("lost", Role::Helper),
        ("kitchen", Role::Reader),
        ("first", Role::Owner),
        ("second", Role::Helper),
    ];
    assert_eq!(roles, expected.map(|(name, role)| (name.to_string(), role)));
    assert_eq!(store.audit(farm, None, 10), Ok(Vec::new()));
    assert_eq!(store.epoch(), Ok([1; 16]));
}
