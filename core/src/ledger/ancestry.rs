use std::collections::{BTreeMap, BTreeSet};

use automerge::Automerge;

use crate::record::Hash;

/// Which change of a document builds on which.
#[derive(Debug, Clone)]
pub(super) struct Ancestry {
    places: BTreeMap<Hash, usize>,
    /// The changes that each builds on directly; these stand before it.
    deps: Vec<Vec<usize>>,
}

impl Ancestry {
    /// Of all changes of a document.
    pub(super) fn of(automerge: &Automerge) -> Ancestry {
        let (mut places, mut deps) = (BTreeMap::new(), Vec::new());
        for change in automerge.get_changes_meta(&[]) {
            let known = change
                .deps
                .iter()
                .filter_map(|dep| places.get(&Hash(dep.0)));
            deps.push(known.copied().collect());
            places.insert(Hash(change.hash.0), deps.len() - 1);
        }
        Ancestry { places, deps }
    }

    /// Whether a change is another or builds on it, directly or not. Only what stands between the two
    /// is looked at: two gathers of one morning are close to each other in a month of changes.
    pub(super) fn builds_on(&self, change: &Hash, other: &Hash) -> bool {
        let Some(&other) = self.places.get(other) else {
            // What is not here is no change that the maker could have missed.
            return true;
        };
        let Some(&change) = self.places.get(change) else {
            return false;
        };
        let mut open = vec![change];
        let mut met = BTreeSet::new();
        while let Some(at) = open.pop() {
            if at == other {
                return true;
            }
            for &dep in self.deps.get(at).into_iter().flatten() {
                if dep >= other && met.insert(dep) {
                    open.push(dep);
                }
            }
        }
        false
    }
}

#[cfg(test)]
mod tests {
    use automerge::transaction::Transactable;
    use automerge::{ActorId, ChangeHash, ROOT};

    use super::*;

    fn put(document: &mut Automerge, key: &str) {
        let mut tx = document.transaction();
        tx.put(ROOT, key, 1).expect("a value");
        tx.commit();
    }

    /// What Automerge itself tells of its history: a change that is not among those since another
    /// was seen by its maker.
    fn told(document: &Automerge, change: &Hash, other: &Hash) -> bool {
        let since = document.get_changes_meta(&[ChangeHash(change.0)]);
        !since.iter().any(|c| c.hash.0 == other.0)
    }

    #[test]
    fn it_answers_as_automerge_does_for_every_pair() {
        let mut phones: Vec<Automerge> = (1..=3u8)
            .map(|n| Automerge::new().with_actor(ActorId::from([n; 16])))
            .collect();
        // Three write apart, in turns take one another's work, and go on.
        for round in 0..6usize {
            for (n, phone) in phones.iter_mut().enumerate() {
                for i in 0..=(round + n) % 3 {
                    put(phone, &format!("{round}-{n}-{i}"));
                }
            }
            let mut giver = phones[round % 3].clone();
            phones[(round + 1) % 3].merge(&mut giver).expect("a merge");
        }
        let mut whole = phones[0].clone();
        for phone in &mut phones[1..] {
            whole.merge(phone).expect("a merge");
        }
        let ancestry = Ancestry::of(&whole);
        let all: Vec<Hash> = ancestry.places.keys().copied().collect();
        assert!(all.len() > 20);
        let (mut seen, mut unseen) = (0, 0);
        for change in &all {
            for other in &all {
                let expected = told(&whole, change, other);
                assert_eq!(ancestry.builds_on(change, other), expected);
                if expected { seen += 1 } else { unseen += 1 }
            }
        }
        assert!(seen > 50 && unseen > 50, "{seen} and {unseen}");
        let foreign = Hash([7; 32]);
        assert_eq!(
            ancestry.builds_on(&all[0], &foreign),
            told(&whole, &all[0], &foreign)
        );
    }
}
