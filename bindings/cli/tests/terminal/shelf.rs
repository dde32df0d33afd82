//! From the shelf to the customer, as people type it.

use crate::phone::Phone;

/// A farm with eggs of one lot in three cartons, two of them gone.
fn shelf() -> (Phone, String) {
    let phone = Phone::with_farm();
    phone
        .run(&["add", "outlet", "Stall", "contact=555-0100"])
        .good();
    phone.log("gather coop=North species=hen count=20 --at 07:00");
    phone.log("gather coop=South species=hen count=10 by=ben --at 07:30");
    phone.log("wash parts=today/hen=24 means=spray water_start_c=36 --at 08:00");
    let run = phone.log(
        "carton from=clean parts=today/hen=18 species=hen eggs_per_carton=6 cartons=3 packed=today code=A-1 --at 09:00",
    );
    phone.log(&format!(
        "out way=sold parts=today/hen=6 carton={run} cartons=1 outlet=stall price=3.50 --at 10:00"
    ));
    phone.log(&format!(
        "out way=given parts=today/hen=6 carton={run} cartons=1 to=Cora --at 10:30"
    ));
    (phone, run)
}

fn narrow(text: &str) {
    for line in text.lines() {
        assert!(line.chars().count() <= 80, "{line}");
    }
}

#[test]
fn what_is_due_is_told_with_rule_and_caution() {
    let (phone, _) = shelf();
    let farm = phone.ask("list farm");
    let id = farm[0]["id"].as_str().expect("the farm").to_string();
    phone.run(&["amend", &id, "rule_pack=us_federal"]).good();
    let now = phone.ask("now");
    let whats: Vec<_> = now["due"]
        .as_array()
        .expect("lines")
        .iter()
        .map(|d| d["what"].as_str().expect("a word"))
        .collect();
    assert!(
        whats.contains(&"chill") && whats.contains(&"sell"),
        "{whats:?}"
    );
    let text = phone.say("now").good();
    for part in ["clean by", "chill by", "21 CFR 118.4(e)", "Cautions", "A-1"] {
        assert!(text.contains(part), "{part}: {text}");
    }
    let once = text
        .matches("The earliest an egg can have been laid")
        .count();
    assert!(once <= 1, "{text}");
    narrow(&text);
}

#[test]
fn a_carton_is_traced_and_called_back() {
    let (phone, run) = shelf();
    let text = phone.say("trace A-1").good();
    for part in [
        "North",
        "South",
        "Ada",
        "Ben",
        "36 °C",
        "Stall",
        "Cora",
        "left: 6 eggs",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    narrow(&text);
    let trails = phone.ask("trace a-1");
    assert_eq!(trails[0]["run"]["record"], run.as_str());
    assert_eq!(trails[0]["rounds"].as_array().map(Vec::len), Some(2));

    let text = phone.say("call-back --coop South --from today").good();
    for part in [
        "[ ] Stall (555-0100)",
        "[ ] Cora (no contact logged)",
        "up to 1 carton",
        "smallest",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    narrow(&text);
    let list = phone.ask("call-back --coop South --from today");
    assert_eq!(list["people"].as_array().map(Vec::len), Some(2));
    assert_eq!(list["people"][0]["share"], "may");
    let list = phone.ask(&format!("call-back --record {run}"));
    assert_eq!(list["people"][0]["share"], "all");
    assert_eq!(phone.ask("call-back --record a-1"), list, "by the code");
    let nobody = phone.say("call-back --record no-such-code --json");
    assert_eq!(nobody.failed(3)["error"], "not_found");
    assert_eq!(phone.say("call-back --json").failed(1)["field"], "from");
    assert_eq!(
        phone.say("trace nothing-such --json").failed(3)["error"],
        "not_found"
    );
}

#[test]
fn suggestions_name_what_is_held_and_log_nothing() {
    let (phone, _) = shelf();
    phone.log("hold from=today cause=medicine coop=South");
    let before = phone.everything();
    let found = phone.ask("oldest sell hen 6");
    assert_eq!(found["eggs"], 0);
    assert_eq!(found["short"], 6);
    assert_eq!(found["not_to_touch"][0]["held"], "may");
    let text = phone.say("oldest wash hen").good();
    assert!(text.contains("Not to be touched"), "{text}");
    narrow(&text);
    let plan = phone.ask("even duck 70 71 72 73 74 75 --sizes 6");
    assert_eq!(
        plan["value"]["groups"][0]["cartons"]
            .as_array()
            .map(Vec::len),
        Some(1)
    );
    narrow(&phone.say("even hen 57 58 59 60 61 58.5 --sizes 6").good());
    assert_eq!(phone.everything(), before);
}

#[test]
fn takings_orders_and_a_stocktake() {
    let (phone, _) = shelf();
    let text = phone.say("takings --from today").good();
    assert!(text.contains("3.50"), "{text}");
    narrow(&text);
    let all = phone.ask("takings --from today");
    assert_eq!(all["takings"]["all"]["taken"], "3.50");
    assert_eq!(all["takings"]["all"]["given"], 6);
    let text = phone.say("orders").good();
    assert!(text.contains("No outlet has a standing order"), "{text}");
    let stall = phone.ask("list outlet")[0]["id"]
        .as_str()
        .expect("an id")
        .to_string();
    let week = "standing_order=mon=1,tue=1,wed=1,thu=1,fri=1,sat=1,sun=1";
    phone.run(&["amend", &stall, week]).good();
    let orders = phone.ask("orders --days 3");
    assert_eq!(orders[0]["standing"].as_array().map(Vec::len), Some(3));
    narrow(&phone.say("orders").good());

    let found = phone.ask("stocktake basket today/hen=5");
    assert_eq!(found["counted"][0]["expected"], 6);
    assert_eq!(found["counted"][0]["difference"], -1);
    let tag = found["counted"][0]["line"]
        .as_str()
        .expect("a line of its own");
    let text = phone.say("review").good();
    narrow(&text);
    // Wherever the lines were broken.
    let words: Vec<&str> = text.split_whitespace().collect();
    let words = words.join(" ");
    assert!(words.contains(tag), "{text}");
    assert!(words.contains("found 5 eggs of"), "{text}");
    assert!(
        words.contains("where the book says 6: 1 missing."),
        "{text}"
    );
    phone.say(&format!("decide {tag} seen")).good();
    assert!(!phone.say("review").good().contains("found 5 eggs"));
    let text = phone.say("stocktake clean hen=6 duck=0").good();
    assert!(text.contains("+0"), "{text}");
    narrow(&text);
    assert_eq!(
        phone.say("stocktake basket today/hen=x --json").failed(1)["field"],
        "counted"
    );
}
