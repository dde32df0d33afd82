//! Whatever the order in which phones log, sync, lose answers and servers are restored: in the end
//! all hold the same, and everything that was logged is there once.

use pointdown_server::exchange::exchange;
use pointdown_server::store;
use proptest::prelude::*;

use crate::support::{NOW, Phone, memory};

#[derive(Debug, Clone)]
enum Step {
    Log(usize, usize),
    Sync(usize),
    /// One message gets through, and its answer too.
    Message(usize),
    /// The message arrives, the answer does not.
    LostAnswer(usize),
    /// The message arrives twice.
    Twice(usize),
    NewEpoch,
}

fn step() -> impl Strategy<Value = Step> {
    let phone = 0..3usize;
    prop_oneof![
        6 => (phone.clone(), 0..4usize).prop_map(|(p, doc)| Step::Log(p, doc)),
        2 => phone.clone().prop_map(Step::Sync),
        3 => phone.clone().prop_map(Step::Message),
        2 => phone.clone().prop_map(Step::LostAnswer),
        1 => phone.prop_map(Step::Twice),
        1 => Just(Step::NewEpoch),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn all_phones_end_the_same(steps in proptest::collection::vec(step(), 1..50)) {
        let store = memory();
        let first = Phone::begin(&*store);
        let (second, third) = (first.another(&*store), first.another(&*store));
        let mut phones = [first, second, third];
        let docs = ["farm", "2026-09", "2026-10", "2026-11"];
        let mut logged = 0;
        for step in steps {
            let send = |phone: &Phone, message: &[u8]| {
                exchange(&*store, phone.farm, phone.device, message, NOW).unwrap().answer
            };
            match step {
                Step::Log(p, doc) => {
                    phones[p].log(docs[doc], 30);
                    logged += 1;
                }
                Step::Sync(p) => {
                    phones[p].sync(&*store);
                }
                Step::Message(p) => {
                    let answer = send(&phones[p], &phones[p].ask());
                    phones[p].hear(&answer);
                }
                Step::LostAnswer(p) => {
                    send(&phones[p], &phones[p].ask());
                }
                Step::Twice(p) => {
                    let message = phones[p].ask();
                    send(&phones[p], &message);
                    let answer = send(&phones[p], &message);
                    phones[p].hear(&answer);
                }
                Step::NewEpoch => {
                    store.new_epoch().unwrap();
                }
            }
        }
        for p in [0, 1, 2, 0, 1] {
            phones[p].sync(&*store);
        }
        for phone in &phones {
            prop_assert_eq!(phone.hashes(), phones[0].hashes());
            prop_assert_eq!(phone.digest().n, logged);
        }
        let counter = store::read(&*store, phones[0].farm, |log| log.counter()).unwrap();
        prop_assert_eq!(counter, logged);
    }
}
