use serde_json::json;

use crate::phone::Phone;

/// The figures are a worked example: sums done by hand, in the comments.
#[test]
fn a_family_day_from_nest_to_stall() {
    let phone = Phone::with_farm();
    phone.say("add outlet Stall").good();
    phone.log("gather coop=North species=hen count=30 --at 07:30");
    phone.log("gather coop=North species=duck count=0 --at 07:30");
    phone.log("gather coop=north species=hen count=12 floor_laid=2 by=ben --at 10:00");
    phone.log("cull station=basket parts=oldest:2/hen reason=hairline_crack use=home");
    let washed = phone.ask("log wash parts=oldest:38/hen means=dry");
    let today = washed["record"]["day"].as_str().expect("a day").to_string();
    let lot = format!("{today}/hen");
    assert_eq!(
        washed["chosen"],
        json!({"station": "basket", "parts": {&lot: 38}})
    );
    phone.log("candle parts=today/hen=38 found=aa=30,a=7,loss=1");
    phone.log("cull station=clean parts=today/hen=1 reason=blood_spot use=feed");
    let run = phone.log(
        "carton from=clean parts=oldest:36/hen species=hen eggs_per_carton=12 cartons=3 packed=today size=large",
    );
    let way =
        format!("out way=sold parts=oldest:24/hen carton={run} cartons=2 outlet=stall price=9.50");
    phone.log(&way);
    phone.log("weigh lot=today/hen grams=60,62");
    // 42 gathered - 2 pulled - 38 washed leaves 2; someone finds 1.
    phone.log("recount station=basket species=hen counted=1");

    let sheet = phone.ask("today");
    assert_eq!(sheet["from"], today.as_str());
    assert_eq!(sheet["gathered"]["eggs"], 42);
    assert_eq!(sheet["gathered"]["floor_laid"], 2);
    assert_eq!(
        sheet["gathered"]["by_person"],
        json!({"Ada": 30, "Ben": 12})
    );
    assert_eq!(
        sheet["gathered"]["by_species"],
        json!({"hen": 42, "duck": 0})
    );
    let coops = sheet["gathered"]["by_coop"].as_array().expect("rows");
    let rows: Vec<_> = coops
        .iter()
        .map(|row| json!([row["name"], row["species"], row["eggs"], row["rounds"]]))
        .collect();
    assert_eq!(
        json!(rows),
        json!([
            ["North", "hen", 42, 2],
            ["North", "duck", 0, 1],
            ["South", "hen", null, 0]
        ])
    );
    assert_eq!(
        sheet["pulled"]["by_reason"],
        json!({"blood_spot": 1, "hairline_crack": 2})
    );
    assert_eq!(sheet["pulled"]["by_use"], json!({"feed": 1, "home": 2}));
    assert_eq!(sheet["washed"], json!({"dry": 38}));
    assert_eq!(sheet["cartoned"][0]["cartons"], 3);
    assert_eq!(sheet["cartoned"][0]["eggs"], 36);
    assert_eq!(
        sheet["out"],
        json!({"eggs": {"sold": 24}, "cartons": {"sold": 2}})
    );
    assert_eq!(sheet["unaccounted"], json!({"hen": 1}));
    assert_eq!(sheet["mean_grams"], json!({"hen": 61.0}));
    // basket 1 counted; clean 38 - 1 - 36 = 1; cartoned 36 - 24 = 12.
    let on_hand = phone.ask("on-hand");
    assert_eq!(on_hand, sheet["on_hand"]);
    let stations: Vec<_> = on_hand
        .as_array()
        .expect("rows")
        .iter()
        .map(|row| json!([row["station"], row["eggs"]]))
        .collect();
    assert_eq!(
        json!(stations),
        json!([["basket", 1], ["clean", 1], ["cartoned", 12]])
    );
    assert_eq!(phone.ask(&format!("sheet --day {today}")), sheet);
    let range = phone.ask("range --from today");
    for (name, value) in sheet.as_object().expect("a sheet") {
        assert_eq!(&range[name], value, "{name}");
    }
}

#[test]
fn people_read_unknown_where_nobody_looked() {
    let phone = Phone::with_farm();
    let text = phone.say("today").good();
    assert!(text.contains("Gathered: unknown"), "{text}");
    phone.log("gather coop=North species=duck count=0");
    let text = phone.say("today").good();
    assert!(
        text.contains("Gathered: 0 eggs, 2 flocks unknown"),
        "{text}"
    );
    let row = |start: &str| -> Vec<String> {
        let line = text
            .lines()
            .find(|line| line.trim_start().starts_with(start));
        let words = line.expect("the row").split_whitespace();
        words.map(str::to_string).collect()
    };
    assert_eq!(row("North  duck"), ["North", "duck", "0", "0", "1"]);
    assert_eq!(row("South"), ["South", "hen", "unknown", "unknown", "0"]);
    let last = text.lines().last().expect("lines");
    assert_eq!(
        last,
        "Where food is touched, local rules, labels and vets decide; this only counts."
    );
    assert!(
        text.lines().all(|line| line.chars().count() <= 80),
        "{text}"
    );

    let text = phone.say("range --from yesterday").good();
    assert!(text.contains("days known"), "{text}");
    assert!(text.ends_with("this only counts.\n"), "{text}");
}

#[test]
fn an_overdraw_is_said_and_shown() {
    let phone = Phone::with_farm();
    phone.log("gather coop=South species=hen count=3");
    let said = phone.say("log wash parts=today/hen=5 means=dry").good();
    assert!(
        said.contains("short of") && said.contains("(-2 eggs)"),
        "{said}"
    );
    let said = phone.ask("log wash parts=today/hen=1 means=dry");
    assert_eq!(said["overdrawn"][0]["eggs"], -3);
    assert!(phone.say("on-hand").good().contains("-3"));
    assert!(phone.say("today").good().contains("Below zero"));
}

#[test]
fn an_amendment_and_a_void_can_be_undone() {
    let phone = Phone::with_farm();
    let id = phone.log("gather coop=South species=hen count=18 note=x");
    let short = &id[16..];
    let amended = phone.ask(&format!("amend {short} count=20 note= coop=north"));
    assert_eq!(amended["target"]["fields"]["count"], 20);
    assert_eq!(amended["target"]["fields"].get("note"), None);
    assert_eq!(phone.ask("today")["gathered"]["by_coop"][0]["eggs"], 20);
    let text = phone.run(&["void", short, "--why", "logged twice"]).good();
    assert!(text.starts_with("Voided gather"), "{text}");
    assert_eq!(phone.ask("today")["gathered"]["eggs"], 0);
    assert_eq!(phone.ask("list gather"), json!([]));
    let listed = phone.say("list gather --all").good();
    assert!(
        listed.contains("[voided: logged") && listed.contains("twice]"),
        "{listed}"
    );
    let shown = phone.say(&format!("show {short}")).good();
    assert!(
        shown.contains("logged twice") && shown.contains("Said about it"),
        "{shown}"
    );

    let undo = text.lines().last().expect("how to undo it");
    let void = undo.split_whitespace().nth(5).expect("the id of the void");
    phone.run(&["void", void, "--why", "it was right"]).good();
    assert_eq!(phone.ask("today")["gathered"]["eggs"], 20);
    let amendment = amended["id"].as_str().expect("an id");
    phone
        .run(&["void", amendment, "--why", "first count was right"])
        .good();
    assert_eq!(phone.ask(&format!("show {id}"))["fields"]["count"], 18);
}

#[test]
fn packing_or_selling_what_is_on_hold_is_said_at_once() {
    let phone = Phone::with_farm();
    phone.log("gather coop=North species=hen count=6");
    phone.log("gather coop=North species=duck count=6");
    let pack = "carton from=basket eggs_per_carton=2 cartons=1 packed=today";
    let hens = format!("log {pack} species=hen parts=today/hen=2");
    let ducks = format!("log {pack} species=duck parts=today/duck=2");
    // Another coop, another species, another day: none of these eggs.
    phone.log("hold from=yesterday cause=illness coop=South");
    phone.log("hold from=yesterday until=yesterday cause=test");
    phone.log("hold from=tomorrow cause=flood");
    assert_eq!(phone.ask(&hens).get("held"), None);
    let hold = phone.log("hold from=yesterday cause=medicine coop=North species=hen");
    let packed = phone.ask(&hens);
    assert_eq!(packed["held"][0]["hold"], hold.as_str());
    assert_eq!(packed["held"][0]["cause"], "medicine");
    assert_eq!(phone.ask(&ducks).get("held"), None);
    let said = phone.say("log out way=sold parts=oldest:2/hen").good();
    assert!(
        said.contains("Caution: ") && said.contains("on hold"),
        "{said}"
    );
    let back = phone.ask("log out way=returned parts=today/hen=1");
    assert_eq!(back.get("held"), None);
    phone.run(&["void", &hold, "--why", "other coop"]).good();
    assert_eq!(phone.ask(&hens).get("held"), None);
}
