//! Roles, tokens and the audit log over HTTP.

use pointdown_core::record::{Actor, Id};
use pointdown_core::sync::{Answer, Ask, JoinAnswer, MOST_PACKED, Why, unpack};
use pointdown_server::exchange::{ExchangeError, exchange};
use pointdown_server::store::{self, Changed, Role};
use serde_bytes::ByteArray;
use serde_json::{Value, json};

use crate::support::{NOW, Phone, Server, agent, error, memory, read};

fn put(server: &Server, path: &str, token: &str, body: Value) -> (u16, Vec<u8>) {
    let request = agent()
        .put(server.url(path))
        .header("authorization", format!("Bearer {token}"));
    read(request.send_json(body).unwrap())
}

fn list(server: &Server, token: &str) -> Vec<Value> {
    let (status, body) = server.get("/v1/devices", Some(token));
    assert_eq!(status, 200);
    serde_json::from_slice(&body).unwrap()
}

fn me(server: &Server, token: &str) -> String {
    let all = list(server, token);
    let me = all.iter().find(|d| d["me"] == true).unwrap();
    me["id"].as_str().unwrap().to_string()
}

fn role_of(server: &Server, token: &str) -> String {
    let all = list(server, token);
    let me = all.iter().find(|d| d["me"] == true).unwrap();
    me["role"].as_str().unwrap().to_string()
}

fn family(server: &Server) -> [JoinAnswer; 3] {
    let owner = server.join(None);
    let helper = server.join(Some(owner.farm));
    let reader = server.join_as(Some(owner.farm), Role::Reader);
    [owner, helper, reader]
}

#[test]
fn only_an_owner_invites_shuts_out_gives_roles_and_reads_the_audit_log() {
    let server = Server::start();
    let [owner, helper, reader] = family(&server);
    let roles = [&owner, &helper, &reader].map(|d| role_of(&server, &d.token));
    assert_eq!(roles, ["owner", "helper", "reader"]);
    let of_owner = format!("/v1/devices/{}", me(&server, &owner.token));
    let of_helper = format!("/v1/devices/{}", me(&server, &helper.token));
    for other in [&helper, &reader] {
        let token = &other.token;
        let give = |path: &str| {
            put(
                &server,
                &format!("{path}/role"),
                token,
                json!({"role": "owner"}),
            )
        };
        for (status, body) in [
            server.post("/v1/invites", Some(token), b""),
            server.get("/v1/audit", Some(token)),
            server.delete(&of_owner, token),
            give(&of_helper),
            give(&of_owner),
        ] {
            assert_eq!((status, error(&body).as_str()), (403, "role"));
        }
        assert_eq!(server.get("/v1/devices", Some(token)).0, 200);
    }
    assert_eq!(role_of(&server, &helper.token), "helper");
    // Each may leave by itself; the last owner may not.
    let of_reader = format!("/v1/devices/{}", me(&server, &reader.token));
    assert_eq!(server.delete(&of_reader, &reader.token).0, 204);
    assert_eq!(server.get("/v1/devices", Some(&reader.token)).0, 401);
    let (status, body) = server.delete(&of_owner, &owner.token);
    assert_eq!((status, error(&body).as_str()), (409, "last_owner"));
    let (status, body) = put(
        &server,
        &format!("{of_owner}/role"),
        &owner.token,
        json!({"role": "helper"}),
    );
    assert_eq!((status, error(&body).as_str()), (409, "last_owner"));
    // A role has effect on the very next request.
    let role = format!("{of_helper}/role");
    assert_eq!(
        put(&server, &role, &owner.token, json!({"role": "owner"})).0,
        204
    );
    assert_eq!(server.post("/v1/invites", Some(&helper.token), b"").0, 201);
    assert_eq!(server.delete(&of_owner, &helper.token).0, 204);
    for wrong in [
        json!({"role": "king"}),
        json!({}),
        json!({"role": "owner", "x": 1}),
    ] {
        assert_eq!(put(&server, &role, &helper.token, wrong).0, 400);
    }
}

#[test]
fn an_invite_carries_a_role_and_a_time() {
    let server = Server::start();
    let owner = server.join(None);
    for (role, hours) in [("owner", 1), ("helper", 720), ("reader", 24)] {
        let ask = json!({"role": role, "hours": hours}).to_string();
        let before = pointdown_core::farm::Env::now(&pointdown_core::farm::System).ms();
        let (status, body) = server.post("/v1/invites", Some(&owner.token), ask.as_bytes());
        assert_eq!(status, 201);
        let invite: Value = serde_json::from_slice(&body).unwrap();
        let left = invite["expires"].as_i64().unwrap() - before - hours * 3_600_000;
        assert!((0..60_000).contains(&left), "{left}");
        assert!(invite.get("pin").is_none(), "plain HTTP has no key");
        let ask = json!({"invite": invite["code"], "name": "New"}).to_string();
        let (_, body) = server.post("/v1/join", None, ask.as_bytes());
        let joined: JoinAnswer = serde_json::from_slice(&body).unwrap();
        assert_eq!(role_of(&server, &joined.token), role);
    }
    for wrong in [
        r#"{"hours":0}"#,
        r#"{"hours":721}"#,
        r#"{"role":"king"}"#,
        r#"{"x":1}"#,
        "{",
    ] {
        let (status, body) = server.post("/v1/invites", Some(&owner.token), wrong.as_bytes());
        assert_eq!((status, error(&body).as_str()), (400, "invalid"), "{wrong}");
    }
}

#[test]
fn a_reader_takes_everything_and_brings_nothing() {
    let server = Server::start();
    let [owner, _, reader] = family(&server);
    let device = |token: &str| -> Id { me(&server, token).parse().unwrap() };
    let mut writes = Phone::new(owner.farm, device(&owner.token), Actor([1; 16]));
    writes.log("2026-11", 40);
    let (_, answer) = server.post("/v1/sync", Some(&owner.token), &writes.ask());
    writes.hear(&answer);
    let mut reads = Phone::new(owner.farm, device(&reader.token), Actor([2; 16]));
    let own = reads.log("2026-11", 40);
    let (status, answer) = server.post("/v1/sync", Some(&reader.token), &reads.ask());
    assert_eq!(status, 200);
    let decoded = Answer::decode(&answer).unwrap();
    assert_eq!(decoded.refused.len(), 1);
    assert_eq!(decoded.refused[0].why, Why::ReadOnly);
    assert_eq!(*decoded.refused[0].hash.unwrap(), own.hash.0);
    assert!(
        decoded.want.is_empty(),
        "nothing is asked for that would be refused"
    );
    assert_eq!(decoded.digest.n, 1);
    reads.hear(&answer);
    assert_eq!(
        reads.docs.values().next().unwrap().changes().len(),
        2,
        "its own and the owner's"
    );
    assert_eq!(reads.outbox.len(), 1, "its own stays with it");
    // Made a helper, it is taken.
    let path = format!("/v1/devices/{}/role", me(&server, &reader.token));
    assert_eq!(
        put(&server, &path, &owner.token, json!({"role": "helper"})).0,
        204
    );
    let (_, answer) = server.post("/v1/sync", Some(&reader.token), &reads.ask());
    assert_eq!(Answer::decode(&answer).unwrap().refused, []);
    assert_eq!(Answer::decode(&answer).unwrap().digest.n, 2);
}

#[test]
fn a_token_is_exchanged_without_a_moment_in_which_none_is_good() {
    let server = Server::start();
    let old = server.join(None).token;
    let fresh = |token: &str| -> String {
        let (status, body) = server.post("/v1/token", Some(token), b"");
        assert_eq!(status, 201);
        let fresh: Value = serde_json::from_slice(&body).unwrap();
        fresh["token"].as_str().unwrap().to_string()
    };
    let good = |token: &str| server.get("/v1/devices", Some(token)).0 == 200;
    let lost = fresh(&old);
    assert!(good(&old), "the answer may have been lost");
    let next = fresh(&old);
    assert!(next != lost && next.len() == 64);
    assert!(!good(&lost), "only the last one counts");
    assert!(good(&old));
    assert!(good(&next), "its first use");
    assert!(!good(&old) && good(&next), "the old one is dead");
    let newest = fresh(&next);
    assert!(good(&newest) && !good(&next) && !good(&old));
    let path = format!("/v1/devices/{}", me(&server, &newest));
    let helper = server.join(Some(server.store.farms().unwrap()[0]));
    let of_helper = format!("/v1/devices/{}", me(&server, &helper.token));
    let unused = fresh(&helper.token);
    assert_eq!(server.delete(&of_helper, &newest).0, 204);
    assert!(!good(&helper.token) && !good(&unused), "neither lets it in");
    assert_eq!(server.delete(&path, &newest).0, 409);
}

#[test]
fn the_audit_log_says_who_did_what_to_whom() {
    let server = Server::start();
    let owner = server.join(None);
    let (_, body) = server.post("/v1/invites", Some(&owner.token), b"");
    let invite: Value = serde_json::from_slice(&body).unwrap();
    let ask = json!({"invite": invite["code"], "name": "Ben's phone"}).to_string();
    let (_, body) = server.post("/v1/join", None, ask.as_bytes());
    let ben: JoinAnswer = serde_json::from_slice(&body).unwrap();
    let path = format!("/v1/devices/{}", me(&server, &ben.token));
    put(
        &server,
        &format!("{path}/role"),
        &owner.token,
        json!({"role": "reader"}),
    );
    server.post("/v1/token", Some(&ben.token), b"");
    server.delete(&path, &owner.token);
    let (status, body) = server.get("/v1/audit", Some(&owner.token));
    assert_eq!(status, 200);
    let lines: Vec<Value> = serde_json::from_slice(&body).unwrap();
    let short: Vec<_> = lines
        .iter()
        .map(|l| {
            let word = |key: &str| l[key].as_str().unwrap_or("-").to_string();
            [
                word("event"),
                word("by_name"),
                word("device_name"),
                word("role"),
            ]
            .join(" / ")
        })
        .collect();
    assert_eq!(
        short,
        [
            "revoked / Red phone / Ben's phone / -",
            "token / Ben's phone / Ben's phone / -",
            "role / Red phone / Ben's phone / reader",
            "joined / Red phone / Ben's phone / helper",
            "invited / Red phone / - / helper",
            "joined / - / Red phone / owner",
        ]
    );
    assert!(
        lines
            .windows(2)
            .all(|w| w[0]["n"].as_u64() > w[1]["n"].as_u64())
    );
    let (_, body) = server.get("/v1/audit?before=3", Some(&owner.token));
    let older: Vec<Value> = serde_json::from_slice(&body).unwrap();
    assert_eq!(older, lines[4..]);
    assert_eq!(server.get("/v1/audit?before=x", Some(&owner.token)).0, 400);
}

/// A message that was on its way when its device was shut out brings nothing in any more, whatever
/// was found out about its token before.
#[test]
fn a_device_that_was_shut_out_meanwhile_gets_nothing_in() {
    let store = memory();
    let first = Phone::begin(&*store);
    let mut second = first.another(&*store);
    second.log("2026-11", 40);
    let ask = second.ask();
    let out = store.revoke(first.farm, second.device, Some(first.device), NOW);
    assert_eq!(out, Ok(Changed::Done));
    let refused = exchange(&*store, second.farm, second.device, &ask, NOW);
    assert_eq!(refused, Err(ExchangeError::ShutOut));
    let elsewhere = Phone::begin(&*store);
    let refused = exchange(&*store, elsewhere.farm, first.device, &ask, NOW);
    assert_eq!(
        refused,
        Err(ExchangeError::ShutOut),
        "another farm's device"
    );
    let counter = store::read(&*store, first.farm, |log| log.counter());
    assert_eq!(counter, Ok(0));
}

#[test]
fn lists_longer_than_any_phone_sends_are_refused() {
    let store = memory();
    let phone = Phone::begin(&*store);
    let ask = Ask::decode(&phone.ask()).unwrap();
    let actors = (0..10_001u64).map(|n| {
        let mut actor = [0; 16];
        actor[..8].copy_from_slice(&n.to_be_bytes());
        ByteArray::new(actor)
    });
    for (list, ask) in [
        (
            "actors",
            Ask {
                actors: actors.clone().collect(),
                ..ask.clone()
            },
        ),
        (
            "vouched",
            Ask {
                vouched: actors.clone().collect(),
                ..ask.clone()
            },
        ),
        (
            "fetch",
            Ask {
                fetch: vec!["farm".parse().unwrap(); 10_001],
                ..ask.clone()
            },
        ),
    ] {
        let refused = exchange(&*store, phone.farm, phone.device, &ask.encode(), NOW).unwrap_err();
        let words = refused.to_string();
        assert!(
            words.contains(list) && words.contains("10001") && words.contains("10000"),
            "{words}"
        );
    }
}

/// Neither does a small body ask for millions of small lists. RFC 8949: an array of one, in it an
/// array of two, a text, and an array of n empty byte strings; in one stored block of RFC 1951.
#[test]
fn a_pack_holds_so_many_changes_and_no_more() {
    let packed = |n: u32| {
        let mut plain = b"\x81\x82\x64farm\x9a".to_vec();
        plain.extend(n.to_be_bytes());
        plain.resize(plain.len() + n as usize, 0x40);
        let length = u16::try_from(plain.len()).unwrap();
        let head = [
            [1].as_slice(),
            &length.to_le_bytes(),
            &(!length).to_le_bytes(),
        ]
        .concat();
        [head, plain].concat()
    };
    let most = MOST_PACKED as u32;
    assert_eq!(unpack(&packed(most)).unwrap()[0].1.len(), MOST_PACKED);
    let refused = unpack(&packed(most + 1)).unwrap_err().to_string();
    assert!(refused.contains("20000"), "{refused}");
    let store = memory();
    let phone = Phone::begin(&*store);
    let ask = Ask {
        pack: packed(most + 1).into(),
        ..Ask::decode(&phone.ask()).unwrap()
    };
    let refused = exchange(&*store, phone.farm, phone.device, &ask.encode(), NOW);
    assert!(
        matches!(refused, Err(ExchangeError::Message(_))),
        "{refused:?}"
    );
}
