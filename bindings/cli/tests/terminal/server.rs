use std::io::{Read, Write};
use std::net::TcpListener;
use std::thread;

use crate::phone::Phone;

/// A listener that gives these answers, one for each connection, and then is gone.
fn answers(all: Vec<(&'static str, String)>) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    let url = format!("http://{}", listener.local_addr().expect("an address"));
    thread::spawn(move || {
        for (status, body) in all {
            let (mut stream, _) = listener.accept().expect("a connection");
            let mut head = Vec::new();
            let mut byte = [0];
            while !head.ends_with(b"\r\n\r\n") && stream.read(&mut byte).expect("read") == 1 {
                head.push(byte[0]);
            }
            let text = String::from_utf8_lossy(&head).to_lowercase();
            let length = text
                .lines()
                .find_map(|line| line.strip_prefix("content-length: ")?.parse::<usize>().ok());
            let mut ask = vec![0; length.unwrap_or(0)];
            stream.read_exact(&mut ask).expect("the body");
            let answer = format!(
                "HTTP/1.1 {status}\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{body}",
                body.len()
            );
            stream.write_all(answer.as_bytes()).expect("answered");
        }
    });
    url
}

#[test]
fn where_nobody_listens_nothing_is_lost() {
    // A port that was free a moment ago.
    let url = {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
        format!("http://{}", listener.local_addr().expect("an address"))
    };
    let phone = Phone::with_farm();
    let before = phone.everything();
    let error = phone.say(&format!("join {url} code --json")).failed(5);
    assert_eq!(error["error"], "network");
    assert_eq!(phone.everything(), before);
    assert_eq!(
        phone.ask("status")["status"]["server"],
        serde_json::Value::Null
    );

    let new = Phone::new();
    new.say(&format!("join {url} code --person A --device d --json"))
        .failed(5);
    assert!(!new.db().exists());
}

#[test]
fn a_refusal_carries_the_servers_words() {
    let words = r#"{"error":"invite_used","message":"this invite was used already"}"#;
    let url = answers(vec![("403 Forbidden", words.into())]);
    let phone = Phone::with_farm();
    let error = phone.say(&format!("join {url} code --json")).failed(1);
    assert_eq!(error["error"], "refused");
    assert!(
        error["message"]
            .as_str()
            .expect("words")
            .contains("this invite was used already")
    );
}

#[test]
fn a_connection_lost_after_joining_leaves_everything_waiting() {
    let phone = Phone::with_farm();
    let farm = phone.ask("status")["farm"]["id"]
        .as_str()
        .expect("an id")
        .to_string();
    let token = "ab".repeat(32);
    let joined = format!(r#"{{"farm":"{farm}","token":"{token}"}}"#);
    let url = answers(vec![
        ("200 OK", joined),
        ("503 Service Unavailable", String::new()),
    ]);
    assert_eq!(
        phone.say(&format!("join {url} code --json")).failed(5)["error"],
        "network"
    );
    phone.log("gather coop=North species=hen count=12");
    let status = phone.ask("status")["status"].clone();
    assert_eq!(status["server"], url.as_str());
    assert_eq!(status["waiting"], 1);
    assert!(
        phone
            .say("status")
            .good()
            .contains("1 change waiting to be sent")
    );
    assert_eq!(phone.say("sync --json").failed(5)["error"], "network");
    assert_eq!(phone.say("invite --json").failed(5)["error"], "network");
    assert_eq!(phone.ask("today")["gathered"]["eggs"], 12);
}

#[test]
fn a_new_phone_that_lost_the_connection_says_how_to_go_on() {
    let farm = Phone::with_farm().ask("status")["farm"]["id"].clone();
    let joined = format!(r#"{{"farm":{farm},"token":"{}"}}"#, "ab".repeat(32));
    let broken = || ("503 Service Unavailable", String::new());
    let url = answers(vec![("200 OK", joined), broken(), broken()]);
    let phone = Phone::new();
    let line = format!("join {url} code --person Cleo --device tablet --json");
    let error = phone.say(&line).failed(5);
    assert!(
        error["message"]
            .as_str()
            .expect("words")
            .contains("go on with `pointdown sync`")
    );
    let status = phone.ask("status");
    assert_eq!(status["status"]["server"], url.as_str());
    assert_eq!(status["farm"]["id"], farm);
    phone.say("sync --json").failed(5);
    let said = phone.say("status").good();
    let who = "Cleo writes here, on tablet, from the next record or exchange on.";
    assert!(said.contains(who), "{said}");
    // Without the server, the first record settles who writes here.
    phone.log("feed kg=1");
    assert_eq!(phone.ask("status")["person"]["name"], "Cleo");
    assert!(!phone.say("status").good().contains(who));
    assert_eq!(
        phone.ask("list feed")[0]["fields"]["by"],
        phone.ask("status")["person"]["id"]
    );
    assert_eq!(phone.ask("status")["device"]["name"], "tablet");
}

#[test]
fn an_invite_to_another_farm_is_refused() {
    let other = Phone::with_farm();
    let farm = other.ask("status")["farm"]["id"]
        .as_str()
        .expect("an id")
        .to_string();
    let joined = format!(r#"{{"farm":"{farm}","token":"{}"}}"#, "ab".repeat(32));
    let url = answers(vec![("200 OK", joined)]);
    let phone = Phone::with_farm();
    let before = phone.everything();
    assert_eq!(
        phone.say(&format!("join {url} code --json")).failed(1)["error"],
        "other_farm"
    );
    assert_eq!(phone.everything(), before);
    assert_eq!(
        phone.ask("status")["status"]["server"],
        serde_json::Value::Null
    );
}
