//! Phones that log apart and meet: the same records give the same book, whatever the way.

use pointdown_core::record::{Draft, Kind};
use pointdown_tests::phone::{Phone, meet};

#[test]
fn two_phones_log_apart_and_then_hold_the_same() {
    let ada = Phone::first("Ada", "2026-05-01T06:00:00Z", "America/Chicago");
    let ben = ada.another("Ben");
    ada.gather("Orchard", "hen", 11);
    ben.gather("Pond", "duck", 4);
    ben.log(
        Draft::new(Kind::Wash)
            .with("parts", "2026-05-01/duck=4")
            .with("means", "spray"),
    );
    meet(&ada, &ben);
    assert_eq!(ada.view(), ben.view());
    let today = ada.farm.today().expect("a day");
    let sheet = ada.farm.sheet(today, today).expect("a sheet");
    assert_eq!(sheet.gathered.eggs, 15);
    assert_eq!(sheet.on_hand.len(), 2);
    assert_eq!(
        ada.farm.check().expect("a check").wrong,
        Vec::<String>::new()
    );
}
