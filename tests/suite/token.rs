//! A device's secret that grew old, for apps that carry messages themselves.

use pointdown_core::farm::ErrorKind;
use pointdown_tests::phone::Phone;

const DAY_MS: i64 = 86_400_000;

#[test]
fn an_old_secret_is_to_be_renewed_and_the_fresh_one_kept_in_its_place() {
    let phone = Phone::first("Ada", "2026-05-01T06:00:00Z", "Etc/UTC");
    let farm = &phone.farm;
    let (old, fresh) = ("a1".repeat(32), "b2".repeat(32));
    let none = farm.keep_token(&fresh).unwrap_err();
    assert_eq!(none.kind, ErrorKind::NotJoined);
    farm.joined("http://192.0.2.7:4680/", &old).unwrap();
    let carrier = || farm.carrier().unwrap().unwrap();
    assert!(!carrier().renew);
    phone.env.pass_ms(30 * DAY_MS + 1);
    assert!(carrier().renew);

    for wrong in ["", "b2", &"b2".repeat(33), &"xy".repeat(32)] {
        let refused = farm.keep_token(wrong).unwrap_err();
        assert_eq!(refused.kind, ErrorKind::Damaged, "{wrong}");
    }
    assert_eq!((carrier().token, carrier().renew), (old, true));

    let waiting = farm.status().unwrap().waiting;
    farm.keep_token(&fresh).unwrap();
    let kept = carrier();
    assert_eq!((kept.token.as_str(), kept.renew), (fresh.as_str(), false));
    assert_eq!(kept.url, "http://192.0.2.7:4680");
    // Only the secret is another: nothing has to be sent again for it.
    assert_eq!(farm.status().unwrap().waiting, waiting);
    assert!(!format!("{kept:?}").contains(&fresh));
}
