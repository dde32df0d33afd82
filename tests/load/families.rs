//! Made-up families: phones with tokens, a little history, and records that they will log.

use std::collections::VecDeque;

use pointdown_core::farm::{Env as _, System};
use pointdown_core::ledger::Document;
use pointdown_core::record::{Actor, Change, DocName, Fields, Hash, Id, encode};
use pointdown_server::store::{
    self, DeviceKind, Joining, NewChange, NewInvite, Role, Store, StoreError,
};
use serde_json::json;
use sha2::{Digest as _, Sha256};

/// Records that each family has logged before.
pub(crate) const HISTORY: usize = 10;

/// Records that each phone may log while it is measured.
const AHEAD: usize = 6;

/// Who writes into the store at once while it is filled.
const SEEDERS: usize = 32;

pub(crate) struct Family {
    pub(crate) id: Id,
    pub(crate) phones: [Phone; 2],
    pub(crate) history: Vec<Change>,
    /// What the server acknowledged.
    pub(crate) kept: Vec<Hash>,
}

pub(crate) struct Phone {
    pub(crate) device: Id,
    token: [u8; 32],
    actor: Actor,
    pub(crate) ahead: VecDeque<Change>,
    pub(crate) cursor: u64,
    pub(crate) epoch: Option<[u8; 16]>,
}

fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    System.fill(&mut bytes);
    bytes
}

fn now() -> i64 {
    System.now().ms()
}

impl Phone {
    fn new() -> Phone {
        Phone {
            device: Id::at(now(), random()),
            token: random(),
            actor: Actor(random()),
            ahead: VecDeque::new(),
            cursor: 0,
            epoch: None,
        }
    }

    pub(crate) fn token(&self) -> String {
        data_encoding::HEXLOWER.encode(&self.token)
    }
}

/// Families with everything that they will log already written down.
pub(crate) fn make(many: usize) -> Vec<Family> {
    let month = DocName::month_of(System.now());
    (0..many)
        .map(|_| {
            let id = Id::at(now(), random());
            let mut family = Family {
                id,
                phones: [Phone::new(), Phone::new()],
                history: Vec::new(),
                kept: Vec::new(),
            };
            for (n, phone) in family.phones.iter_mut().enumerate() {
                let mut doc = Document::new(id, month.clone(), phone.actor);
                let before = if n == 0 { HISTORY } else { 0 };
                for n in 0..before + AHEAD {
                    let record = (Id::at(now(), random()), gather(n as u32));
                    let Ok((change, _)) = doc.append(&[record], now() / 1000) else {
                        continue;
                    };
                    if n < before {
                        family.history.push(change);
                    } else {
                        phone.ahead.push_back(change);
                    }
                }
            }
            family
        })
        .collect()
}

fn gather(n: u32) -> Vec<u8> {
    let fields = json!({
        "kind": "gather", "at": now(), "by": "0GmVYbYkTn2Hq5wJ8fKx1A", "device": "Blue phone",
        "coop": "0GmVYbYkTn2Hq5wJ8fKx1B", "species": "hen", "count": 7 + n, "floor": n % 3,
    });
    encode(fields.as_object().unwrap_or(&Fields::new()))
}

/// Lets every family join, with its history.
pub(crate) fn seed(store: &dyn Store, families: &[Family]) -> Result<(), StoreError> {
    let part = families.len().div_ceil(SEEDERS);
    std::thread::scope(|scope| {
        let all: Vec<_> = families
            .chunks(part)
            .map(|some| scope.spawn(move || some.iter().try_for_each(|f| seed_one(store, f))))
            .collect();
        all.into_iter().try_for_each(|one| {
            let panicked = |_| StoreError::Backend("seeding panicked".into());
            one.join().map_err(panicked)?
        })
    })
}

fn seed_one(store: &dyn Store, family: &Family) -> Result<(), StoreError> {
    for (n, phone) in family.phones.iter().enumerate() {
        let code = random();
        store.add_invite(&NewInvite {
            code,
            farm: (n > 0).then_some(family.id),
            made_at: now(),
            expires: now() + 3_600_000,
            role: Role::Helper,
            by: None,
        })?;
        store.join(&Joining {
            code,
            farm: Some(family.id),
            begin: None,
            device: phone.device,
            name: format!("Phone {n}"),
            kind: DeviceKind::Phone,
            token: Sha256::digest(phone.token).into(),
            actors: vec![phone.actor],
            now: now(),
        })?;
    }
    store::write(store, family.id, |log| {
        let new: Vec<_> = family
            .history
            .iter()
            .map(|change| NewChange {
                change,
                relayed: false,
            })
            .collect();
        log.append(family.phones[0].device, &new, now())
    })?;
    Ok(())
}
