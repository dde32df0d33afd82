use serde_json::{Value, json};

use crate::phone::Phone;

/// A second phone of the farm, on which Ben writes.
fn ben(ada: &Phone) -> Phone {
    let ben = Phone::new();
    pass(ada, &ben, "--person Ben --device tablet");
    ben
}

/// Carries everything from one phone to another by hand.
fn pass(from: &Phone, to: &Phone, names: &str) {
    let count = std::fs::read_dir(from.folder()).expect("a folder").count();
    let file = from.text_path(&format!("pass-{count}.farm"));
    from.run(&["export", &file]).good();
    let mut words = vec!["import", file.as_str()];
    words.extend(names.split(' ').filter(|word| !word.is_empty()));
    to.run(&words).good();
}

/// Ada amends a gather to 12 eggs, Ben apart from her to 13, and Ada has heard of it; its id last.
fn disagreeing() -> (Phone, Phone, String) {
    let ada = Phone::with_farm();
    let id = ada.log("gather coop=North species=hen count=11");
    let ben = ben(&ada);
    ada.say(&format!("amend {id} count=12")).good();
    ben.say(&format!("amend {id} count=13")).good();
    pass(&ben, &ada, "");
    (ada, ben, id)
}

fn lines(phone: &Phone) -> Vec<Value> {
    phone.ask("review")["lines"]
        .as_array()
        .expect("lines")
        .clone()
}

#[track_caller]
fn line(phone: &Phone, begins: &str) -> Value {
    let mut all = lines(phone);
    all.retain(|l| {
        l["line"]
            .as_str()
            .is_some_and(|line| line.starts_with(begins))
    });
    assert_eq!(all.len(), 1, "{begins}: {all:?}");
    all.remove(0)
}

fn tag(line: &Value) -> String {
    line["tag"].as_str().expect("a tag").to_string()
}

/// The last characters of an id, as they are printed.
fn short(id: &str) -> &str {
    &id[id.len() - 6..]
}

/// The text with its lines joined, wherever they were broken.
fn in_one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn nothing_waits_on_a_new_farm() {
    let phone = Phone::with_farm();
    assert_eq!(
        phone.say("review").good(),
        "Review: nothing waits for a decision.\n"
    );
    assert_eq!(
        phone.ask("review"),
        json!({"waiting": 0, "urgent": 0, "lines": []})
    );
    assert_eq!(
        phone.ask("today")["review"],
        json!({"waiting": 0, "urgent": 0})
    );
    assert!(!phone.say("today").good().contains("Review:"));
}

#[test]
fn a_disagreement_names_both_and_is_decided_by_number() {
    let (ada, _ben, id) = disagreeing();
    let text = ada.say("review").good();
    assert!(
        text.starts_with("Review: 1 line waits, none urgent.\n"),
        "{text}"
    );
    let words = in_one_line(&text);
    let part = "Two people changed the count of a gather apart from each other";
    assert!(words.contains(part), "{text}");
    for part in [
        "  Ada says 12\n",
        "  Ben says 13\n",
        "; Ada, Ben\n",
        &format!("  - gather {}", short(&id)),
        "  1) keep count 12\n",
        "  2) keep count 13\n",
        "pointdown decide LINE CHOICE",
        "Local rules, labels and vets decide",
    ] {
        assert!(text.contains(part), "{part:?} in {text}");
    }
    let shown = line(&ada, "field/");
    assert!(text.contains(&tag(&shown)), "the name to decide it by");
    assert_eq!(shown["names"], json!(["Ada", "Ben"]));
    assert_eq!(shown["weight"], "soon");
    let today = ada.say("today").good();
    assert!(
        today.contains("Review: 1 line waits, none urgent. See them: pointdown review"),
        "{today}"
    );
    let said = ada.run(&["decide", &tag(&shown), "2"]).good();
    assert!(
        said.starts_with("Decided: keep count 13.\nLogged amend "),
        "{said}"
    );
    assert!(said.ends_with("Review: nothing else waits.\n"), "{said}");
    let undo = said
        .lines()
        .find_map(|l| l.strip_prefix("To undo it: pointdown void "));
    let undo = undo
        .and_then(|rest| rest.split(' ').next())
        .expect("how to undo it");
    assert_eq!(ada.ask(&format!("show {id}"))["fields"]["count"], 13);
    assert!(lines(&ada).is_empty());
    ada.say(&format!("void {undo} --why no")).good();
    assert_eq!(
        tag(&line(&ada, "field/")),
        tag(&shown),
        "the same question again"
    );
}

#[test]
fn a_line_that_changed_or_is_gone_is_not_decided() {
    let (ada, ben, id) = disagreeing();
    let shown = tag(&line(&ada, "field/"));
    ada.say(&format!("decide {shown} 1")).good();
    // Ben decided too, the other way: the question is a new one.
    pass(&ada, &ben, "");
    let before = ada.everything();
    let gone = ada.say(&format!("decide {shown} 1 --json")).failed(3);
    assert_eq!(gone["error"], "not_found");
    assert!(
        gone["message"]
            .as_str()
            .expect("words")
            .contains("it was decided, or its cause is gone")
    );
    assert_eq!(ada.everything(), before);
    ada.say(&format!("amend {id} count=20")).good();
    ben.say(&format!("amend {id} count=21")).good();
    pass(&ben, &ada, "");
    let changed = ada.say(&format!("decide {shown} 1 --json")).failed(1);
    assert_eq!(changed["field"], "line");
    assert!(
        changed["allowed"]
            .as_str()
            .expect("words")
            .contains("changed since it was shown")
    );
    let now = tag(&line(&ada, "field/"));
    assert_eq!(now[..4], shown[..4]);
    for wrong in ["0", "3", "seen", "never"] {
        let error = ada.say(&format!("decide {now} {wrong} --json")).failed(1);
        assert_eq!(error["field"], "choice");
        assert!(
            error["allowed"].as_str().expect("words").contains("1 to 2"),
            "{error}"
        );
    }
    let error = ada.say(&format!("decide {now} keep --json")).failed(3);
    assert_eq!(error["error"], "ambiguous");
    let error = ada
        .say(&format!("decide {now} 1 --counted 4 --json"))
        .failed(1);
    assert_eq!(error["field"], "counted");
    assert_eq!(ada.say("decide").code, 2);
    assert_eq!(ada.say(&format!("decide {now} 1 --counted many")).code, 2);
    // The whole name of the line does as well.
    let whole = line(&ada, "field/")["line"]
        .as_str()
        .expect("a name")
        .to_string();
    let done = ada.ask(&format!("decide {whole} 1"));
    assert_eq!(done["line"], whole.as_str());
    assert_eq!(done["undo"], json!([done["logged"][0]["id"]]));
    assert_eq!(done["waiting"], 0);
}

#[test]
fn an_overdraw_is_settled_by_counting() {
    let ada = Phone::with_farm();
    ada.log("gather coop=North species=hen count=12");
    let ben = ben(&ada);
    let pack = "carton parts=today/hen=12 from=basket species=hen eggs_per_carton=6 cartons=2 packed=today";
    let (hers, his) = (ada.log(pack), ben.log(pack));
    pass(&ben, &ada, "");
    let shown = line(&ada, "over/");
    let text = ada.say("review").good();
    let words = in_one_line(&text);
    assert!(words.contains("12 more eggs of "), "{text}");
    assert!(
        words.contains("left the basket than ever reached it"),
        "{text}"
    );
    assert!(words.contains("1) count the eggs of "), "{text}");
    assert!(words.contains("with --counted N"), "{text}");
    assert!(
        words.contains(&format!("void Ben's carton {}", short(&his))),
        "{text}"
    );
    assert!(
        words.contains(&format!("void Ada's carton {}", short(&hers))),
        "{text}"
    );
    let tag = tag(&shown);
    let error = ada.say(&format!("decide {tag} recount --json")).failed(1);
    assert_eq!(error["field"], "counted");
    let said = ada.say(&format!("decide {tag} recount --counted 0")).good();
    assert!(said.contains("Logged recount "), "{said}");
    assert!(said.contains("expected -12 eggs"), "{said}");
    assert!(lines(&ada).is_empty());
    assert_eq!(ada.ask("check")["wrong"], json!([]));
}

#[test]
fn held_eggs_are_urgent_and_say_what_is_here_and_where_the_rest_went() {
    let ada = Phone::with_farm();
    ada.log("gather coop=North species=hen count=24");
    let ben = ben(&ada);
    let run = ada.log(
        "carton parts=today/hen=24 from=basket species=hen eggs_per_carton=6 cartons=4 packed=today code=N-7",
    );
    ada.log(&format!(
        "out way=sold parts=today/hen=12 carton={run} cartons=2 to=Mira"
    ));
    ben.log("hold coop=North from=today cause=medicine");
    // A note beside it: a second coop of the same name.
    ben.say("add coop South species=hen").good();
    pass(&ben, &ada, "");
    let text = ada.say("review").good();
    let first = text.lines().nth(2).expect("a line");
    assert!(first.contains("  URGENT: Eggs on hold are"), "{text}");
    let words = in_one_line(&text);
    for part in [
        "URGENT: Eggs on hold are in cartons or gone; 2 cartons on the shelf; once out, to call back.",
        "More than one coop is called South: the same one, or two?",
    ] {
        assert!(words.contains(part), "{part:?} in {text}");
    }
    for part in [
        "Review: 2 lines wait, 1 URGENT.\n",
        &format!(
            "  on the shelf: 2 cartons of run {}, code N-7\n",
            short(&run)
        ),
        "  out: 2 cartons to Mira, ",
        "; Ada, Ben\n",
        "  1) pull the cartons that are still here",
        "they are not the same",
        "retire South ",
    ] {
        assert!(text.contains(part), "{part:?} in {text}");
    }
    assert!(
        ada.say("sheet --day today")
            .good()
            .contains("Review: 2 lines wait, 1 URGENT. See them: pointdown review")
    );
    assert_eq!(ada.ask("sheet --day yesterday")["review"]["urgent"], 1);
    let held = tag(&line(&ada, "held/"));
    let done = ada.ask(&format!("decide {held} pull_held"));
    let cull = &done["logged"][0]["record"];
    assert_eq!(
        (&cull["kind"], &cull["fields"]["reason"]),
        (&json!("cull"), &json!("held"))
    );
    assert_eq!((&done["waiting"], &done["urgent"]), (&json!(2), &json!(1)));
    let left = line(&ada, "held/");
    assert_eq!(left["what"]["on_shelf"], json!({}));
    let said = ada.say(&format!("decide {} seen", tag(&left))).good();
    assert!(
        said.contains("Review: 1 line waits, none urgent."),
        "{said}"
    );
}
