//! The same changes by any way, in any order, give the same book to the byte.

use std::collections::BTreeSet;

use pointdown_core::book::{Measure, fold};
use pointdown_core::farm::{Farm, Filter};
use pointdown_core::record::{DocName, Record};
use pointdown_tests::phone::Phone;
use pointdown_tests::raw::{Loose, changes, empty};
use proptest::prelude::*;

use crate::family::{Family, Step};
use pointdown_tests::naive;

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let step = (0u8..17, 0u8..4, any::<u16>(), any::<u16>(), any::<u16>());
    prop::collection::vec(step, 8..60)
}

/// A small generator of its own, so that an order follows from one number of the test case.
struct Dice(u64);

impl Dice {
    fn below(&mut self, n: usize) -> usize {
        // The multiplier of Knuth's MMIX generator.
        self.0 = self
            .0
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (self.0 >> 33) as usize % n.max(1)
    }
}

/// Any order in which each change follows those that it builds on, with some of them twice.
fn shuffled(all: &[Loose], dice: &mut Dice) -> Vec<(DocName, Vec<u8>)> {
    let known: BTreeSet<_> = all.iter().map(|c| (&c.doc, c.hash)).collect();
    let mut left: Vec<&Loose> = all.iter().collect();
    let mut done = BTreeSet::new();
    let mut order = Vec::new();
    while !left.is_empty() {
        let ready: Vec<usize> = (0..left.len())
            .filter(|i| {
                left[*i].deps.iter().all(|d| {
                    done.contains(&(&left[*i].doc, *d)) || !known.contains(&(&left[*i].doc, *d))
                })
            })
            .collect();
        let next = left.remove(ready[dice.below(ready.len())]);
        done.insert((&next.doc, next.hash));
        order.push((next.doc.clone(), next.bytes.clone()));
        if dice.below(4) == 0 {
            let again: (DocName, Vec<u8>) = order[dice.below(order.len())].clone();
            order.push(again);
        }
    }
    order
}

/// The balances and lines of the tables against one plain fold over what the lists show.
fn same_as_fold(farm: &Farm) {
    let zone = farm.zone().expect("a zone");
    let rows = farm.list(&Filter::default()).expect("a list");
    let records: Vec<Record> = rows
        .iter()
        .map(|row| Record::read(row.id, &row.fields).expect("a live record"))
        .collect();
    let book = fold(&records, zone, None);
    assert!(book.conserved());
    let view = farm.view().expect("a view");
    let count = |table: &str| view.iter().filter(|row| row.starts_with(table)).count();
    assert_eq!(count("balance|"), book.balances.len());
    assert_eq!(count("line|"), book.lines.len());
    let eggs: i64 = book
        .lines
        .iter()
        .filter(|((_, measure, ..), _)| *measure == Measure::Gathered)
        .map(|(_, n)| n)
        .sum();
    let from = "2026-01-01".parse().expect("a day");
    let to = "2026-12-31".parse().expect("a day");
    assert_eq!(farm.sheet(from, to).expect("a sheet").gathered.eggs, eggs);
    assert_eq!(farm.check().expect("a check").wrong, Vec::<String>::new());
}

/// How many cases, unless `PROPTEST_CASES` says otherwise.
fn cases(usual: u32) -> u32 {
    let asked = std::env::var("PROPTEST_CASES").ok();
    asked.and_then(|n| n.parse().ok()).unwrap_or(usual)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: cases(40), max_shrink_iters: 300, ..Default::default() })]

    #[test]
    fn any_order_and_any_way_give_the_same_book(
        phones in 2usize..=4, steps in steps(), seed in any::<u64>(),
    ) {
        let mut family = Family::new(phones, "America/Chicago");
        family.play(&steps);
        family.gather_round();
        let first: &Phone = &family.phones[0];
        let view = first.view();
        for other in &family.phones[1..] {
            prop_assert_eq!(&view, &other.view());
        }
        // Most steps must have been allowed, or this would show little.
        prop_assert!(family.refused * 2 <= steps.len(), "{} of {}", family.refused, steps.len());
        same_as_fold(&first.farm);
        naive::same(&first.farm);

        let all = changes(&first.farm);
        let mut dice = Dice(seed);

        // Change by change or in batches, in any order, some twice.
        for _ in 0..2 {
            let farm = empty(first.farm.id(), seed);
            let order = shuffled(&all, &mut dice);
            let mut rest = order.as_slice();
            while !rest.is_empty() {
                let (batch, more) = rest.split_at(1 + dice.below(rest.len().min(12)));
                farm.take(batch).expect("changes");
                rest = more;
            }
            prop_assert_eq!(&view, &farm.view().expect("a view"));
            farm.rebuild().expect("a rebuild");
            prop_assert_eq!(&view, &farm.view().expect("a view"));
        }
        // A file, twice; then folded; then the rest by a meeting.
        let farm = empty(first.farm.id(), seed);
        let file = first.farm.export().expect("an export");
        farm.import(&file).expect("an import");
        prop_assert_eq!(farm.import(&file).expect("an import").changes, 0);
        prop_assert_eq!(&view, &farm.view().expect("a view"));
        same_as_fold(&farm);

        // Half by hand, the other half by meeting a phone.
        let phone = first.another("Eve");
        prop_assert_eq!(phone.farm.view().expect("a view").len() > view.len(), true);
        let farm = empty(first.farm.id(), seed);
        let half = shuffled(&all, &mut dice);
        farm.take(&half[..half.len() / 2]).expect("changes");
        let (mut a, mut b) = (farm.peer(), first.farm.peer());
        for _ in 0..100 {
            b.listen(&a.say().expect("a word")).expect("heard");
            a.listen(&b.say().expect("a word")).expect("heard");
            if a.is_done() && b.is_done() { break; }
        }
        prop_assert_eq!(&view, &farm.view().expect("a view"));

        first.farm.rebuild().expect("a rebuild");
        prop_assert_eq!(&view, &first.view());
    }
}
