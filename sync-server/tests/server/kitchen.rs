//! The kitchen screen: how it is let in, and that it shows what the phones logged.

use std::sync::Arc;

use pointdown_core::farm::{Beginning, Farm, Join, Location, System};
use pointdown_core::record::{Draft, Kind};
use pointdown_server::Config;
use pointdown_server::store::Sqlite;
use serde_json::{Value, json};

use crate::events::Stream;
use crate::support::{Server, agent, error, read};

/// A farm with one coop of hens and one of ducks, kept on one phone that joined.
pub(crate) fn family(server: &Server) -> Farm {
    let fields = json!({"name": "Larkfield", "zone": "America/Chicago"});
    let beginning = Beginning {
        farm: fields.as_object().unwrap().clone(),
        person: "Ada".into(),
        device: "Ada’s phone".into(),
    };
    let farm = Farm::begin(&Location::Memory, Arc::new(System), beginning).unwrap();
    for (name, species) in [("Barn", "hen"), ("Pond", "duck")] {
        let coop = Draft::new(Kind::Coop)
            .with("name", name)
            .with("species", json!([species]));
        farm.log(coop).unwrap();
    }
    join(server, &farm, &server.invite(None));
    farm
}

pub(crate) fn join(server: &Server, farm: &Farm, invite: &str) {
    let join = Join {
        url: &server.url(""),
        invite,
        device: "A phone",
    };
    farm.join(&join).unwrap();
}

pub(crate) fn gather(farm: &Farm, coop: &str, species: &str, count: u32) {
    let coop = farm.find(Kind::Coop, coop).unwrap();
    let gather = Draft::new(Kind::Gather)
        .with("coop", coop.to_string())
        .with("species", species)
        .with("count", count);
    farm.log(gather).unwrap();
}

struct Screen<'a> {
    server: &'a Server,
    cookie: String,
}

impl Screen<'_> {
    fn open<'a>(server: &'a Server, invite: &str) -> Screen<'a> {
        let answer = knock(server, invite, &[("pointdown-screen", "1")]);
        assert_eq!(answer.status(), 204);
        let set = answer.headers()["set-cookie"].to_str().unwrap();
        for part in ["HttpOnly", "SameSite=Strict", "Path=/kitchen"] {
            assert!(set.contains(part), "{set}");
        }
        assert!(
            !set.contains("Secure"),
            "this machine needs no HTTPS: {set}"
        );
        let cookie = set.split(';').next().unwrap().to_string();
        Screen { server, cookie }
    }

    fn sheet(&self, query: &str) -> (u16, Value) {
        let request = agent()
            .get(self.server.url(&format!("/kitchen/sheet{query}")))
            .header("cookie", format!("theme=x; {}", self.cookie));
        let (status, body) = read(request.call().unwrap());
        (status, serde_json::from_slice(&body).unwrap())
    }
}

fn knock(
    server: &Server,
    invite: &str,
    headers: &[(&str, &str)],
) -> ureq::http::Response<ureq::Body> {
    let mut request = agent()
        .post(server.url("/kitchen/join"))
        .header("content-type", "application/json");
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    request.send(json!({"invite": invite}).to_string()).unwrap()
}

#[test]
fn it_shows_what_the_phones_logged_and_says_when_there_is_more() {
    let server = Server::start();
    let farm = family(&server);
    let screen = Screen::open(&server, &farm.invite().unwrap());
    let (status, shown) = screen.sheet("");
    assert_eq!(status, 200);
    assert_eq!(shown["name"], "Larkfield");
    assert_eq!(shown["sheet"]["gathered"]["eggs"], 0);
    let coops = shown["sheet"]["gathered"]["by_coop"].as_array().unwrap();
    assert_eq!(coops.len(), 2);
    assert!(
        coops.iter().all(|c| c["eggs"].is_null()),
        "unknown, not zero"
    );

    assert_eq!(shown["next_due"]["due"], json!([]), "nothing is here yet");
    assert_eq!(screen.sheet("?day=2026-01-01").1["next_due"], Value::Null);

    let mut news = Stream::open(
        &server,
        "/kitchen/events",
        &format!("cookie: {}", screen.cookie),
    );
    let before = news.cursor().unwrap();
    gather(&farm, "Barn", "hen", 17);
    gather(&farm, "Pond", "duck", 0);
    farm.sync().unwrap();
    assert_eq!(news.cursor(), Some(before + 2));
    let (_, shown) = screen.sheet("");
    let today = farm.today().unwrap();
    let gathered = &shown["sheet"]["gathered"];
    assert_eq!(gathered["eggs"], 17);
    assert_eq!(gathered["by_person"], json!({"Ada": 17}));
    assert_eq!(
        gathered["by_coop"][1]["eggs"], 0,
        "a round that found none is zero"
    );
    assert_eq!(shown["day"], today.to_string());
    assert_eq!(shown["next"], Value::Null, "tomorrow has not begun");
    assert_eq!(shown["records"], farm.record_count().unwrap());
    assert_eq!(shown["sheet_hash"], farm.sheet_hash(today, today).unwrap());
    assert_eq!(
        shown["phones"].as_array().unwrap().len(),
        1,
        "the screen is no phone"
    );
    let (_, before) = screen.sheet(&format!("?day={}", shown["previous"].as_str().unwrap()));
    assert_eq!(before["sheet"]["gathered"]["eggs"], 0);
    assert_eq!(before["next"], today.to_string());
    let (status, _) = screen.sheet("?day=yesterday");
    assert_eq!(status, 400);
}

#[test]
fn the_replica_is_there_after_a_restart_and_made_anew_where_it_does_not_fit() {
    let folder = tempfile::tempdir().unwrap();
    let start = || {
        let store = Arc::new(Sqlite::open(folder.path()).unwrap());
        let config = Config {
            data: Some(folder.path().into()),
            ..Config::default()
        };
        Server::with(store, config)
    };
    let mut server = start();
    let farm = family(&server);
    gather(&farm, "Barn", "hen", 5);
    farm.sync().unwrap();
    let cookie = Screen::open(&server, &farm.invite().unwrap()).cookie;
    let eggs = |server: &Server| {
        let cookie = cookie.clone();
        let (status, shown) = Screen { server, cookie }.sheet("");
        assert_eq!(status, 200, "{shown}");
        shown["sheet"]["gathered"]["eggs"].as_i64().unwrap()
    };
    assert_eq!(eggs(&server), 5);
    server.stop();
    drop(server);
    let mut server = start();
    assert_eq!(eggs(&server), 5);
    server.stop();
    drop(server);
    // The replica is only a cache: without it, or with a damaged one, the log makes it again.
    let replica = folder
        .path()
        .join("replicas")
        .join(farm.id().uuid().to_string());
    std::fs::write(replica.join("cursor"), "nonsense").unwrap();
    let mut server = start();
    assert_eq!(eggs(&server), 5);
    server.stop();
    drop(server);
    std::fs::remove_dir_all(&replica).unwrap();
    let server = start();
    assert_eq!(eggs(&server), 5);
    server.store.new_epoch().unwrap();
    assert_eq!(eggs(&server), 5);
}

#[test]
fn no_other_page_can_let_a_screen_in() {
    let server = Server::start();
    let farm = family(&server);
    let invite = farm.invite().unwrap();
    let host = format!("http://{}", server.address);
    let guard = ("pointdown-screen", "1");
    for headers in [
        &[][..],
        &[("origin", host.as_str())],
        &[guard, ("origin", "http://elsewhere.example")],
        &[guard, ("origin", "null")],
        &[guard, ("sec-fetch-site", "cross-site")],
        &[
            guard,
            ("origin", host.as_str()),
            ("sec-fetch-site", "same-site"),
        ],
    ] {
        let (status, body) = read(knock(&server, &invite, headers));
        assert_eq!(
            (status, error(&body).as_str()),
            (403, "forged"),
            "{headers:?}"
        );
    }
    let answer = knock(&server, &invite, &[guard, ("origin", &host)]);
    assert_eq!(answer.status(), 204);
}

#[test]
fn behind_a_proxy_the_cookie_travels_over_https_only() {
    let config = Config {
        behind_proxy: true,
        ..Config::default()
    };
    let server = Server::with(crate::support::memory(), config);
    let farm = family(&server);
    for header in [("x-forwarded-proto", "https"), ("host", "eggs.example")] {
        let invite = farm.invite().unwrap();
        let answer = knock(&server, &invite, &[("pointdown-screen", "1"), header]);
        let set = answer.headers()["set-cookie"].to_str().unwrap();
        assert!(set.ends_with("; Secure"), "{set}");
    }
}

#[test]
fn a_screen_reads_totals_and_nothing_else() {
    let server = Server::start();
    let farm = family(&server);
    let screen = Screen::open(&server, &farm.invite().unwrap());
    let token = screen.cookie.split_once('=').unwrap().1;
    for path in ["/v1/devices", "/v1/events"] {
        assert_eq!(server.get(path, Some(token)).0, 401);
    }
    assert_eq!(server.post("/v1/invites", Some(token), b"").0, 401);
    // An open invite begins a farm on a phone, never on a screen.
    let open = server.invite(None);
    let (status, _) = read(knock(&server, &open, &[("pointdown-screen", "1")]));
    assert_eq!(status, 403);
    // Forgetting the screen shuts it out.
    let leave = agent()
        .post(server.url("/kitchen/leave"))
        .header("cookie", &screen.cookie)
        .header("pointdown-screen", "1");
    assert_eq!(leave.send_empty().unwrap().status(), 204);
    assert_eq!(screen.sheet("").0, 401);
}
