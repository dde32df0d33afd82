use crate::phone::Phone;

/// Clock changes of Europe/Dublin by the IANA time zone database: on 2026-03-29 01:00 to 02:00 is
/// skipped, on 2025-10-26 01:00 to 02:00 comes twice (the EU rule: last Sundays, 01:00 UTC).
#[test]
fn clock_changes_follow_the_zone() {
    let phone = Phone::new();
    phone.begin("Europe/Dublin");
    phone.say("add coop North species=hen --json").good();
    let log = |count: &str, at: &str| {
        let count = format!("count={count}");
        phone.run(&[
            "log",
            "gather",
            "coop=North",
            "species=hen",
            &count,
            "--at",
            at,
            "--json",
        ])
    };
    let skipped = log("1", "2026-03-29 01:30").failed(1);
    assert_eq!(skipped["field"], "at");
    assert!(
        skipped["allowed"].as_str().expect("words").contains("skip"),
        "{skipped}"
    );
    // Half past one in summer time is 00:30 UTC, half past one after the change 01:30 UTC.
    let first = log("10", "2025-10-26 01:30").json();
    assert_eq!(first["record"]["at"], 1_761_438_600_000_i64);
    let second = log("20", "2025-10-26T01:30:00Z").json();
    assert_eq!(second["record"]["at"], 1_761_442_200_000_i64);
    // The day has 25 hours: from 23:00 UTC to midnight UTC of the next.
    log("1", "2025-10-25T22:59:59Z").json();
    log("2", "2025-10-25T23:00:00Z").json();
    log("4", "2025-10-26T23:59:59Z").json();
    log("8", "2025-10-27T00:00:00Z").json();
    let gathered = |day: &str| phone.ask(&format!("sheet --day {day}"))["gathered"]["eggs"].clone();
    assert_eq!(gathered("2025-10-25"), 1);
    assert_eq!(gathered("2025-10-26"), 10 + 20 + 2 + 4);
    assert_eq!(gathered("2025-10-27"), 8);
    let shown = phone
        .say("list gather --from 2025-10-26 --to 2025-10-26")
        .good();
    assert_eq!(shown.matches("2025-10-26 01:30").count(), 2, "{shown}");
}

#[test]
fn words_for_days_mean_farm_days() {
    let phone = Phone::with_farm();
    phone.log("gather coop=South species=hen count=3 --at 00:10");
    let late = [
        "log",
        "gather",
        "coop=South",
        "species=hen",
        "count=5",
        "--at",
        "yesterday 23:50",
    ];
    phone.run(&late).good();
    let lots = phone.ask("on-hand")[0]["lots"].clone();
    assert_eq!(lots.as_object().map(|lots| lots.len()), Some(2));
    let washed = phone.ask("log wash parts=yesterday/hen=4,today/hen=1 means=dry");
    assert_eq!(
        washed["record"]["fields"]["parts"]
            .as_object()
            .map(|p| p.len()),
        Some(2)
    );
    // Oldest first: the one left of yesterday, then one of today.
    let chosen = phone.ask("log wash parts=oldest:2/hen means=dry")["chosen"]["parts"].clone();
    let eggs: Vec<_> = chosen
        .as_object()
        .expect("lots")
        .values()
        .cloned()
        .collect();
    assert_eq!(eggs, [1, 1]);
    assert_eq!(phone.ask("sheet --day yesterday")["gathered"]["eggs"], 5);
    assert_eq!(
        phone.ask("range --from yesterday --to today")["gathered"]["eggs"],
        8
    );
    let moved = phone.ask("list gather --from today")[0]["id"]
        .as_str()
        .expect("an id")
        .to_string();
    phone.run(&["amend", &moved, "at=yesterday 12:00"]).good();
    assert_eq!(phone.ask("sheet --day yesterday")["gathered"]["eggs"], 8);
}
