//! Eggs that came back are said on the call-back list, and set aside again.

use pointdown_core::book::trace::{Question, Share};
use pointdown_core::record::{Draft, Kind};
use pointdown_tests::phone::{Phone, at, gather};

#[test]
fn what_came_back_is_said_and_set_aside_again() {
    let phone = Phone::first("Ada", "2026-05-04T08:00:00Z", "Etc/UTC");
    phone.log(gather("Orchard", "hen", 40));
    phone.env.set(at("2026-05-06T20:00:00Z"));
    let run = phone.log(
        Draft::new(Kind::Carton)
            .with("parts", "2026-05-04/hen=12")
            .with("from", "basket")
            .with("species", "hen")
            .with("eggs_per_carton", 6)
            .with("cartons", 2)
            .with("packed", "2026-05-06")
            .at(at("2026-05-06T18:00:00Z")),
    );
    let out = |way: &str, to: &str, cartons: u32, when: &str| {
        let draft = Draft::new(Kind::Out)
            .with("way", way)
            .with("carton", run.to_string())
            .with("cartons", cartons)
            .with("parts", format!("2026-05-04/hen={}", 6 * cartons))
            .with("to", to);
        phone.log(draft.at(at(when)));
    };
    out("sold", "Noor", 1, "2026-05-06T18:10:00Z");
    out("sold", "Per", 1, "2026-05-06T18:20:00Z");
    let question = Question::Record { record: run };
    let list = phone.farm.call_back(question.clone()).unwrap();
    assert_eq!(list.runs[0].cartons_left, 0);
    out("returned", "Per", 1, "2026-05-06T19:00:00Z");
    let list = phone.farm.call_back(question).unwrap();
    let told: Vec<_> = list
        .people
        .iter()
        .map(|p| (p.who.as_deref().unwrap(), p.eggs, p.returned, p.still_out))
        .collect();
    // Per's came later, and would be first if nothing had come back.
    assert_eq!(told, [("Noor", 6, 0, 6), ("Per", 6, 6, 0)]);
    assert_eq!(
        (list.runs[0].cartons_left, list.runs[0].share),
        (1, Share::All)
    );
    assert!(list.said.iter().any(|said| said.contains("came back")));
}
