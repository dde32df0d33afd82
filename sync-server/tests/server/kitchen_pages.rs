//! The kitchen screen's pages and forms: what they show, who may decide there, and that what is
//! decided is a record like a phone's.

use std::sync::Arc;

use pointdown_core::book::review::What;
use pointdown_core::farm::{Farm, Join, Location, System};
use pointdown_core::record::Kind;
use pointdown_server::store::Role;

use crate::kitchen::{family, gather};
use crate::support::{Server, read};

/// A screen that came in by the page's own form, as a browser sends it.
pub(crate) struct Kitchen<'a> {
    pub(crate) server: &'a Server,
    pub(crate) cookie: String,
    pub(crate) key: String,
}

/// What a form came to.
#[derive(Debug, PartialEq)]
pub(crate) struct Came {
    pub(crate) status: u16,
    pub(crate) to: String,
    pub(crate) body: String,
}

impl Came {
    fn of(answer: ureq::http::Response<ureq::Body>) -> Came {
        let to = answer.headers().get("location");
        let to = to.map_or(String::new(), |to| to.to_str().unwrap().to_string());
        let (status, body) = read(answer);
        let body = String::from_utf8_lossy(&body).into_owned();
        Came { status, to, body }
    }

    pub(crate) fn get(server: &Server, path: &str, cookie: &str) -> Came {
        let request = still_agent().get(server.url(path));
        Came::of(request.header("cookie", cookie).call().unwrap())
    }

    pub(crate) fn post(server: &Server, path: &str, cookie: &str, body: &str) -> Came {
        let request = still_agent()
            .post(server.url(path))
            .header("content-type", "application/x-www-form-urlencoded");
        Came::of(request.header("cookie", cookie).send(body).unwrap())
    }
}

fn still_agent() -> ureq::Agent {
    let config = ureq::Agent::config_builder()
        .http_status_as_error(false)
        .max_redirects(0)
        .build();
    ureq::Agent::new_with_config(config)
}

fn post(
    server: &Server,
    path: &str,
    headers: &[(&str, &str)],
    fields: &[(&str, &str)],
) -> ureq::http::Response<ureq::Body> {
    let mut request = still_agent().post(server.url(path));
    for (name, value) in headers {
        request = request.header(*name, *value);
    }
    request.send_form(fields.iter().copied()).unwrap()
}

impl Kitchen<'_> {
    pub(crate) fn enter<'a>(server: &'a Server, invite: &str, may: &str) -> Kitchen<'a> {
        let origin = format!("http://{}", server.address);
        let fields = [("invite", invite), ("may", may)];
        let answer = post(server, "/kitchen/in", &[("origin", &origin)], &fields);
        assert_eq!(answer.status(), 303);
        let set = answer.headers()["set-cookie"].to_str().unwrap().to_string();
        for part in ["HttpOnly", "SameSite=Strict", "Path=/kitchen"] {
            assert!(set.contains(part), "{set}");
        }
        let cookie = set.split(';').next().unwrap().to_string();
        let mut kitchen = Kitchen {
            server,
            cookie,
            key: String::new(),
        };
        // Every screen has a form on this page: the one with which it leaves.
        let me = devices(server, &kitchen.cookie);
        let page = kitchen.page(&format!("/kitchen/people?sure={me}"));
        kitchen.key = between(&page, "name=\"key\" value=\"", "\"").to_string();
        kitchen
    }

    pub(crate) fn page(&self, path: &str) -> String {
        self.page_in(path, "en-US")
    }

    fn page_in(&self, path: &str, language: &str) -> String {
        let request = still_agent()
            .get(self.server.url(path))
            .header("cookie", &self.cookie)
            .header("accept-language", language);
        let answer = request.call().unwrap();
        assert_eq!(answer.headers()["referrer-policy"], "same-origin");
        let (status, body) = read(answer);
        let text = String::from_utf8(body).unwrap();
        assert_eq!(status, 200, "{path}: {text}");
        text
    }

    pub(crate) fn form(&self, path: &str, fields: &[(&str, &str)]) -> Came {
        let mut all = vec![("key", self.key.as_str())];
        all.extend_from_slice(fields);
        self.sent(path, &[], &all)
    }

    fn sent(&self, path: &str, headers: &[(&str, &str)], fields: &[(&str, &str)]) -> Came {
        let mut all = vec![("cookie", self.cookie.as_str())];
        all.extend_from_slice(headers);
        Came::of(post(self.server, path, &all, fields))
    }

    /// The fields of the choice of the first line whose button says this.
    pub(crate) fn choice(&self, says: &str) -> Vec<(String, String)> {
        let page = self.page("/kitchen/review");
        let forms = page
            .split("<form")
            .filter(|f| f.contains("/kitchen/choose"));
        let mut found = forms.filter(|f| between(f, "<button", "</button>").ends_with(says));
        let form = found.next().unwrap_or_else(|| panic!("{says}: {page}"));
        let field = |name: &str| {
            let from = format!("name=\"{name}\" value=\"");
            (name.to_string(), between(form, &from, "\"").to_string())
        };
        ["line", "tag", "choice"].map(field).to_vec()
    }

    pub(crate) fn choose(&self, says: &str) -> Came {
        let fields = self.choice(says);
        let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (&**k, &**v)).collect();
        self.form("/kitchen/choose", &fields)
    }
}

pub(crate) fn between<'a>(text: &'a str, from: &str, to: &str) -> &'a str {
    let (_, rest) = text
        .split_once(from)
        .unwrap_or_else(|| panic!("{from}: {text}"));
    rest.split_once(to).unwrap().0
}

/// The id of the device whose cookie this is: the last that joined.
fn devices(server: &Server, cookie: &str) -> String {
    assert!(cookie.starts_with("pointdown_screen="));
    let farms = server.store.farms().unwrap();
    let all = farms
        .into_iter()
        .flat_map(|f| server.store.devices(f).unwrap());
    all.max_by_key(|d| (d.joined_at, d.id))
        .unwrap()
        .id
        .to_string()
}

/// Two phones of one farm that each logged the same round, out of reach of each other.
pub(crate) fn logged_twice(server: &Server) -> (Farm, Farm) {
    let one = family(server);
    one.sync().unwrap();
    let other = Farm::make(&Location::Memory, Arc::new(System), one.id()).unwrap();
    let join = Join {
        url: &server.url(""),
        invite: &one.invite().unwrap(),
        device: "Bea’s phone",
    };
    other.join(&join).unwrap();
    other
        .write_as(other.find(Kind::Person, "Ada").unwrap())
        .unwrap();
    gather(&one, "Barn", "hen", 12);
    gather(&other, "Barn", "hen", 13);
    one.sync().unwrap();
    other.sync().unwrap();
    one.sync().unwrap();
    let lines = one.review().unwrap();
    let double = |what: &What| matches!(what, What::DoubleLog { .. });
    assert!(lines.len() == 1 && double(&lines[0].what), "{lines:#?}");
    (one, other)
}

#[test]
fn a_screen_that_only_looks_has_no_choices_and_makes_none() {
    let server = Server::start();
    let (phone, _) = logged_twice(&server);
    let deciding = Kitchen::enter(&server, &phone.invite().unwrap(), "decide");
    let fields = deciding.choice("Both are right");
    let fields: Vec<(&str, &str)> = fields.iter().map(|(k, v)| (&**k, &**v)).collect();
    let readers = server.invite_as(Some(phone.id()), Role::Reader);
    for (invite, may) in [(phone.invite().unwrap(), "look"), (readers, "decide")] {
        let looking = Kitchen::enter(&server, &invite, may);
        for path in [
            "/kitchen",
            "/kitchen/review",
            "/kitchen/trends",
            "/kitchen/people",
        ] {
            assert!(!looking.page(path).contains("<form"), "{path}");
        }
        let head = server.store.head(phone.id()).unwrap();
        for (path, fields) in [
            ("/kitchen/choose", fields.as_slice()),
            ("/kitchen/undo", &[("made", "x")]),
            ("/kitchen/invite", &[("role", "owner")]),
            (
                "/kitchen/role",
                &[("device", &*phone.id().to_string()), ("role", "owner")],
            ),
            ("/kitchen/out", &[("device", &*phone.id().to_string())]),
        ] {
            let came = looking.form(path, fields);
            assert_eq!(came.status, 403, "{path}: {came:?}");
            assert!(came.body.contains("\"role\""), "{path}: {came:?}");
        }
        assert_eq!(server.store.head(phone.id()).unwrap(), head);
    }
}

#[test]
fn a_form_of_another_page_does_nothing() {
    let server = Server::start();
    let (phone, _) = logged_twice(&server);
    let kitchen = Kitchen::enter(&server, &phone.invite().unwrap(), "decide");
    let choice = kitchen.choice("Both are right");
    let mut fields: Vec<(&str, &str)> = choice.iter().map(|(k, v)| (&**k, &**v)).collect();
    let wrong = "0".repeat(64);
    fields.push(("key", &wrong));
    assert_eq!(kitchen.sent("/kitchen/choose", &[], &fields).status, 403);
    fields.pop();
    fields.push(("key", &kitchen.key));
    for header in [
        ("origin", "http://elsewhere.example"),
        ("origin", "null"),
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
    ] {
        let came = kitchen.sent("/kitchen/choose", &[header], &fields);
        assert_eq!(came.status, 403, "{header:?}");
        assert!(came.body.contains("forged"), "{came:?}");
    }
    // Letting a screen in asks for a browser's own word, since no secret says who asks.
    let invite = phone.invite().unwrap();
    let join = [("invite", invite.as_str()), ("may", "look")];
    for headers in [
        &[][..],
        &[("origin", "null")],
        &[("sec-fetch-site", "none")],
    ] {
        let (status, _) = read(post(&server, "/kitchen/in", headers, &join));
        assert_eq!(status, 403, "{headers:?}");
    }
    let headers = [("sec-fetch-site", "same-origin")];
    // An open invite begins a farm on a phone, never here.
    let open = server.invite(None);
    let begin = [("invite", open.as_str()), ("may", "decide")];
    let farms = server.store.farms().unwrap();
    let (status, _) = read(post(&server, "/kitchen/in", &headers, &begin));
    assert_eq!((status, server.store.farms().unwrap()), (403, farms));
    let (status, _) = read(post(&server, "/kitchen/in", &headers, &join));
    assert_eq!(status, 303);
    let answer = post(&server, "/kitchen/in", &headers, &join);
    let (status, body) = read(answer);
    assert_eq!(status, 410);
    assert!(String::from_utf8_lossy(&body).contains("used already"));
}

#[test]
fn an_owner_invites_gives_roles_and_shuts_out_here() {
    let server = Server::start();
    let phone = family(&server);
    phone.sync().unwrap();
    let owners = server.invite_as(Some(phone.id()), Role::Owner);
    let kitchen = Kitchen::enter(&server, &owners, "decide");
    let came = kitchen.form("/kitchen/invite", &[("role", "helper")]);
    assert_eq!(came.status, 200);
    let code = between(&came.body, "<p class=\"code\">", "</p>");
    assert!(came.body.contains("<svg class=\"code-picture\""));
    let other = Farm::make(&Location::Memory, Arc::new(System), phone.id()).unwrap();
    crate::kitchen::join(&server, &other, code);
    let page = kitchen.page("/kitchen/people");
    assert!(
        page.contains("invite made") && page.contains("A phone"),
        "{page}"
    );
    assert!(!page.contains(code), "it is shown once");
    let devices = || server.store.devices(phone.id()).unwrap();
    let joined = devices().last().unwrap().id;
    let give = |role| {
        kitchen.form(
            "/kitchen/role",
            &[("device", &joined.to_string()), ("role", role)],
        )
    };
    assert_eq!(give("reader").to, "/kitchen/people?said=role");
    assert_eq!(devices().last().unwrap().role, Role::Reader);
    let out = |id: &str| kitchen.form("/kitchen/out", &[("device", id)]);
    assert_eq!(out(&joined.to_string()).to, "/kitchen/people?said=out");
    assert!(devices().last().unwrap().revoked_at.is_some());
    assert_eq!(out(&joined.to_string()).to, "/kitchen/people?said=failed");
    // Forgetting the screen is a form, too.
    let came = kitchen.form("/kitchen/leave", &[]);
    assert_eq!((came.status, came.to.as_str()), (303, "/kitchen"));
    assert!(kitchen.page("/kitchen").contains("Let this screen in"));
}

#[test]
fn the_pages_speak_the_readers_language_and_show_the_farms_numbers() {
    let server = Server::start();
    let phone = family(&server);
    gather(&phone, "Barn", "hen", 17);
    phone.sync().unwrap();
    let kitchen = Kitchen::enter(&server, &phone.invite().unwrap(), "look");
    let english = kitchen.page("/kitchen");
    for text in [
        "<html lang=\"en\">",
        "Larkfield",
        "eggs gathered",
        "<b>17</b>",
        "Ada",
        "1 flock still to be gathered",
    ] {
        assert!(english.contains(text), "{text}: {english}");
    }
    let spanish = kitchen.page_in("/kitchen", "es-ES,en;q=0.5");
    for text in [
        "<html lang=\"es\">",
        "huevos recogidos",
        "Falta recoger en 1 grupo",
    ] {
        assert!(spanish.contains(text), "{text}: {spanish}");
    }
    let trends = kitchen.page("/kitchen/trends?by=day&species=hen");
    assert!(
        trends.contains("Barn, hen") && !trends.contains("Pond, duck"),
        "{trends}"
    );
    let (status, chart) = read(
        still_agent()
            .get(server.url("/kitchen/chart"))
            .header("cookie", &kitchen.cookie)
            .call()
            .unwrap(),
    );
    assert_eq!(status, 200);
    assert!(String::from_utf8(chart).unwrap().contains("</svg>"));
    // No page carries a style or a script inside it, or asks for anything from elsewhere.
    for path in [
        "/kitchen",
        "/kitchen/review",
        "/kitchen/trends",
        "/kitchen/people",
    ] {
        let page = kitchen.page(path);
        for never in [
            " style=", "<style", "onclick", "http://", "https://", "<script>",
        ] {
            assert!(!page.contains(never), "{path}: {never}");
        }
    }
}
