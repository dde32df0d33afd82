use crate::phone::Phone;

/// Each command line, its exit code, the kind of error, and the field to blame.
#[test]
fn what_is_not_allowed_says_why_and_changes_nothing() {
    let phone = Phone::with_farm();
    let id = phone.log("gather coop=North species=hen count=12");
    phone.say("add person Ben").good();
    let before = phone.everything();
    let cases: &[(&str, i32, &str, &str)] = &[
        (
            "log gather coop=North species=hen count=10001",
            1,
            "invalid",
            "count",
        ),
        (
            "log gather coop=North species=hen count=-1",
            1,
            "invalid",
            "count",
        ),
        (
            "log gather coop=North species=hen count=twelve",
            1,
            "invalid",
            "count",
        ),
        ("log gather coop=North species=hen", 1, "invalid", "count"),
        (
            "log gather coop=West species=hen count=1",
            1,
            "invalid",
            "coop",
        ),
        (
            "log gather coop=North species=emu count=1",
            1,
            "invalid",
            "species",
        ),
        (
            "log gather coop=North species=hen count=2 floor_laid=3",
            1,
            "invalid",
            "floor_laid",
        ),
        (
            "log gather coop=North species=hen eggs=2",
            1,
            "invalid",
            "eggs",
        ),
        (
            "log gather coop=North species=hen count=1 count=2",
            1,
            "invalid",
            "count",
        ),
        (
            "log gather coop=North species=hen twelve",
            1,
            "invalid",
            "field",
        ),
        (
            "log gather coop=North species=hen count=1 --at 1999-12-31T00:00:00Z",
            1,
            "invalid",
            "at",
        ),
        (
            "log gather coop=North species=hen count=1 --at 2199-01-01T00:00:00Z",
            1,
            "invalid",
            "at",
        ),
        (
            "log gather coop=North species=hen count=1 --at noon",
            1,
            "invalid",
            "at",
        ),
        (
            "log gather coop=North species=hen count=1 at=07:00 --at 07:30",
            1,
            "invalid",
            "at",
        ),
        (
            "log wash parts=today/hen=0 means=dry",
            1,
            "invalid",
            "parts",
        ),
        (
            "log wash parts=oldest:13/hen means=dry",
            1,
            "invalid",
            "parts",
        ),
        (
            "log wash parts=oldest:1/hen,oldest:1/hen means=dry",
            1,
            "invalid",
            "parts",
        ),
        (
            "log wash parts=oldest:one/hen means=dry",
            1,
            "invalid",
            "parts",
        ),
        (
            "log carton parts=oldest:12/hen species=hen",
            1,
            "invalid",
            "from",
        ),
        (
            "log carton from=basket parts=today/hen=12 species=hen eggs_per_carton=6 cartons=1 packed=today",
            1,
            "invalid",
            "parts",
        ),
        (
            "log carton from=basket parts=today/duck=6 species=hen eggs_per_carton=6 cartons=1 packed=today",
            1,
            "invalid",
            "parts",
        ),
        (
            "log candle parts=today/hen=3 found=a=2",
            1,
            "invalid",
            "found",
        ),
        ("log farm name=Other zone=UTC", 1, "invalid", "kind"),
        ("log amend target=abcdef set=12", 1, "invalid", "set"),
        ("add coop East species=emu", 1, "invalid", "species"),
        ("add coop East", 1, "invalid", "species"),
        ("range --from today --to yesterday", 1, "invalid", "to"),
        ("sheet --day Monday", 1, "invalid", "day"),
        ("list --from 2026-13-01", 1, "invalid", "from"),
        ("write-as Zoe", 1, "invalid", "person"),
        ("join ftp://192.0.2.1 code", 1, "invalid", "url"),
        ("show nothere", 3, "not_found", ""),
        ("amend nothere count=1", 3, "not_found", ""),
        ("void nothere --why x", 3, "not_found", ""),
        (
            "log gather coop=North species=hen count=1 by=Ben",
            3,
            "ambiguous",
            "",
        ),
        ("import /nowhere/farm.bundle", 3, "not_found", ""),
        ("sync", 3, "not_joined", ""),
        ("invite", 3, "not_joined", ""),
    ];
    for (line, code, kind, field) in cases {
        let error = phone.say(&format!("{line} --json")).failed(*code);
        assert_eq!(error["error"], *kind, "{line}");
        assert!(
            error["message"].as_str().is_some_and(|m| !m.is_empty()),
            "{line}"
        );
        if field.is_empty() {
            assert_eq!(error.get("field"), None, "{line}");
        } else {
            assert_eq!(error["field"], *field, "{line}: {error}");
            assert!(
                error["allowed"].as_str().is_some_and(|a| !a.is_empty()),
                "{line}"
            );
            assert!(error["value"].is_string(), "{line}");
        }
        // The same for people: the code is the same, the words stand on standard error.
        let said = phone.say(line);
        assert_eq!(said.code, *code, "{line}");
        assert_eq!(said.out, "", "{line}");
        assert!(said.err.starts_with("pointdown: "), "{line}: {}", said.err);
    }
    for change in [
        "count=10001",
        "count=",
        "floor_laid=13",
        "eggs=2",
        "device=x",
        "at=1999-01-01T00:00:00Z",
        "parts=oldest:1/hen",
    ] {
        phone.say(&format!("amend {id} {change} --json")).failed(1);
    }
    assert_eq!(phone.everything(), before);
    let said = phone.say("log gather coop=North species=hen").err;
    assert!(
        said.starts_with("pointdown: count must be given; allowed are whole numbers"),
        "{said}"
    );
}

#[test]
fn a_command_line_that_is_not_understood_is_code_2() {
    let phone = Phone::with_farm();
    for line in [
        "lay",
        "log",
        "log egg",
        "amend abcdef",
        "void abcdef",
        "sheet",
        "today --loud",
        "list --most many",
        "add barn North",
    ] {
        let said = phone.say(line);
        assert_eq!((said.code, said.out.as_str()), (2, ""), "{line}");
        assert!(said.err.starts_with("error: "), "{line}");
        let error = phone.say(&format!("{line} --json")).failed(2);
        assert_eq!(error["error"], "usage", "{line}");
    }
    for line in ["--help", "help log", "log --help", "--version"] {
        phone.say(line).good();
    }
    let help = phone.say("--help").good();
    assert!(help.contains("Exit codes:"), "{help}");
}

#[test]
fn without_a_farm_nothing_is_made() {
    let phone = Phone::new();
    for line in [
        "today",
        "list",
        "status",
        "check",
        "sync",
        "log feed kg=1",
        "export x",
    ] {
        let error = phone.say(&format!("{line} --json")).failed(3);
        assert_eq!(error["error"], "not_found", "{line}");
    }
    let begin = [
        "begin", "--name", "F", "--person", "Ada", "--device", "d", "--json", "--zone",
    ];
    for (zone, more, field) in [
        ("Mars/Base", "temperature=C", "zone"),
        ("UTC", "temperature=K", "temperature"),
        ("UTC", "barns=2", "barns"),
    ] {
        let words = [&begin[..], &[zone, more]].concat();
        assert_eq!(phone.run(&words).failed(1)["field"], field);
    }
    let error = phone.say("join http://127.0.0.1:9 code --json").failed(1);
    assert_eq!(error["field"], "person");
    let entries = std::fs::read_dir(phone.folder()).expect("the folder");
    assert_eq!(entries.count(), 0, "no file was made");

    let deep = phone.text_path("no/such/farm.db");
    let words = [&begin[..], &["UTC", "--db", &deep]].concat();
    assert_eq!(phone.run(&words).failed(3)["error"], "not_found");
}

#[test]
fn a_farm_is_begun_once() {
    let phone = Phone::with_farm();
    let before = phone.everything();
    let words = [
        "begin", "--name", "Other", "--zone", "UTC", "--person", "Z", "--device", "Z", "--json",
    ];
    assert_eq!(phone.run(&words).failed(3)["error"], "ambiguous");
    assert_eq!(phone.everything(), before);
}

#[test]
fn the_users_own_data_folder_is_made() {
    let phone = Phone::new();
    let mut command = phone.command(&[
        "begin", "--name", "F", "--zone", "UTC", "--person", "A", "--device", "d",
    ]);
    command
        .env_remove("POINTDOWN_DB")
        .env("XDG_DATA_HOME", phone.path("share"))
        .env("APPDATA", phone.path("share"))
        .env("HOME", phone.folder());
    crate::phone::Said::from(command.output().expect("it runs")).good();
    let made = ["share", "Library/Application Support"]
        .iter()
        .any(|base| phone.path(base).join("pointdown/pointdown.db").is_file());
    assert!(made);
}
