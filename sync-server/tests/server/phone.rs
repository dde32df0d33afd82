//! The phone app over HTTP: where it is, what it may do, and what is said where it is not.

use std::io::Read;

use crate::support::{Server, agent};

fn header<'a>(answer: &'a ureq::http::Response<ureq::Body>, name: &str) -> &'a str {
    let value = answer.headers().get(name);
    value.and_then(|v| v.to_str().ok()).unwrap_or_default()
}

fn text(answer: ureq::http::Response<ureq::Body>) -> String {
    let mut text = String::new();
    answer
        .into_body()
        .into_reader()
        .read_to_string(&mut text)
        .unwrap();
    text
}

#[test]
fn its_address_leads_to_it_and_it_is_there_or_said_not_to_be() {
    let server = Server::start();
    // The redirect is followed; a fragment with an invite stays with the browser.
    let answer = agent().get(server.url("/phone")).call().unwrap();
    if pointdown_server::carries_phone_app() {
        assert_eq!(answer.status(), 200);
        assert_eq!(header(&answer, "content-type"), "text/html; charset=utf-8");
        assert_eq!(header(&answer, "cache-control"), "no-cache");
        assert!(text(answer).contains("<title>Pointdown</title>"));
    } else {
        assert_eq!(answer.status(), 404);
        assert!(text(answer).contains("was not built into this server"));
    }
}

#[test]
fn it_may_ask_nobody_but_its_own_server_and_names_every_file_by_version() {
    let server = Server::start();
    let answer = agent().get(server.url("/phone/")).call().unwrap();
    if !pointdown_server::carries_phone_app() {
        return;
    }
    let policy = header(&answer, "content-security-policy").to_owned();
    for part in [
        "default-src 'none'",
        "script-src 'self' 'wasm-unsafe-eval'",
        "connect-src 'self'",
    ] {
        assert!(policy.contains(part), "{part}");
    }
    assert!(
        !policy.contains("unsafe-inline") && !policy.contains("http"),
        "{policy}"
    );
    let page = text(answer);
    let named: Vec<&str> = page
        .split('"')
        .filter(|part| part.starts_with("/phone/v/"))
        .collect();
    assert!(named.len() > 20);
    for path in named {
        let file = agent().get(server.url(path)).call().unwrap();
        assert_eq!(file.status(), 200, "{path}");
        assert!(
            header(&file, "cache-control").contains("immutable"),
            "{path}"
        );
    }
    let unknown = agent()
        .get(server.url("/phone/v/0/main.js"))
        .call()
        .unwrap();
    assert_eq!(unknown.status(), 404);
}
