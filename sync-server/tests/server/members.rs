//! Joining over HTTP.

use pointdown_core::record::Id;
use serde_json::{Value, json};

use crate::support::{Server, error, id};

fn join(server: &Server, invite: &str, farm: Option<Id>, name: &str) -> (u16, Vec<u8>) {
    let mut ask = json!({"invite": invite, "name": name});
    if let Some(farm) = farm {
        ask["farm"] = json!(farm);
    }
    server.post("/v1/join", None, &serde_json::to_vec(&ask).unwrap())
}

#[test]
fn an_invite_is_good_once_and_however_it_is_typed() {
    let server = Server::start();
    let code = server.invite(None).to_uppercase();
    let typed = format!(" {} {} ", &code[..13], &code[13..]);
    let (status, body) = join(&server, &typed, None, "Kitchen phone");
    assert_eq!(status, 200);
    let joined: Value = serde_json::from_slice(&body).unwrap();
    assert_eq!(joined["token"].as_str().unwrap().len(), 64);
    let (status, body) = join(&server, &code, None, "Another");
    assert_eq!((status, error(&body).as_str()), (410, "invite_used"));
    for wrong in [
        "",
        "abc",
        &"a".repeat(26),
        &"1".repeat(26),
        &"a".repeat(5000),
    ] {
        let (status, body) = join(&server, wrong, None, "Another");
        assert_eq!((status, error(&body).as_str()), (403, "invite"), "{wrong}");
    }
}

#[test]
fn a_phone_that_keeps_another_farm_is_told_so_and_the_invite_stays_good() {
    let server = Server::start();
    let farm = server.join(None).farm;
    let code = server.invite(Some(farm));
    let (status, body) = join(&server, &code, Some(id()), "Far phone");
    assert_eq!((status, error(&body).as_str()), (409, "other_farm"));
    assert_eq!(join(&server, &code, Some(farm), "Own phone").0, 200);
}

/// Whether a farm is kept here cannot be learnt with an open invite: bringing a farm that is here
/// is refused in the very words that a code gets which was never made.
#[test]
fn an_open_invite_does_not_tell_which_farms_are_here() {
    let server = Server::start();
    let farm = server.join(None).farm;
    let open = server.invite(None);
    let brought = join(&server, &open, Some(farm), "Stranger");
    let never_made = join(&server, &"a".repeat(26), Some(farm), "Stranger");
    assert_eq!(brought, never_made);
    assert_eq!(brought.0, 403);
    let own = id();
    assert_eq!(join(&server, &open, Some(own), "Stranger").0, 200);
}

#[test]
fn what_is_not_allowed_is_named() {
    let server = Server::start();
    let code = server.invite(None);
    for name in ["", "   ", &"n".repeat(61), "two\nlines"] {
        let (status, body) = join(&server, &code, None, name);
        assert_eq!((status, error(&body).as_str()), (400, "invalid"));
        assert!(String::from_utf8_lossy(&body).contains("name:"));
    }
    let ask = json!({"invite": code, "name": "Phone", "actors": ["xyz"]});
    let (status, body) = server.post("/v1/join", None, &serde_json::to_vec(&ask).unwrap());
    assert_eq!((status, error(&body).as_str()), (400, "invalid"));
    assert!(String::from_utf8_lossy(&body).contains("actors:"));
    assert_eq!(
        join(&server, &code, None, &"é".repeat(60)).0,
        200,
        "nothing was used up"
    );
}

/// Whoever gets hold of the database finds no secret in it.
#[test]
fn neither_codes_nor_tokens_are_kept() {
    let folder = tempfile::tempdir().unwrap();
    let store = pointdown_server::store::Sqlite::open(folder.path()).unwrap();
    let server = Server::with(std::sync::Arc::new(store), Default::default());
    let unused = server.invite(None);
    let joined = server.join(None);
    let token = data_encoding::HEXLOWER
        .decode(joined.token.as_bytes())
        .unwrap();
    let code = data_encoding::BASE32_NOPAD
        .decode(unused.to_uppercase().as_bytes())
        .unwrap();
    let mut looked = 0;
    for file in std::fs::read_dir(folder.path()).unwrap() {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        looked += bytes.len();
        let secrets = [
            &token[..],
            &code,
            joined.token.as_bytes(),
            unused.as_bytes(),
        ];
        for secret in secrets {
            assert!(!bytes.windows(secret.len()).any(|w| w == secret));
        }
    }
    assert!(looked > 4096, "there was a database to look into");
}
