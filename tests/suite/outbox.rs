//! What waits for the server.

use pointdown_core::record::{DocName, Hash};
use pointdown_core::store::{Location, Store, StoreError};

/// A refusal whose hash was damaged on the way names a change that nobody has: it must not wait to
/// be sent for ever.
#[test]
fn a_refused_change_that_never_waited_does_not_wait_now() {
    let mut store = Store::open(&Location::Memory).expect("a database");
    let (doc, ours, other) = (DocName::farm(), Hash([1; 32]), Hash([2; 32]));
    let waiting = store.write::<_, StoreError>(|tx| {
        tx.send_later(&doc, &ours)?;
        tx.refused(&doc, &ours, false)?;
        tx.refused(&doc, &other, true)?;
        Ok((tx.unsent()?, tx.outbox(9, true)?))
    });
    let ((all, ready), outbox) = waiting.expect("a transaction");
    assert_eq!((all, ready), (1, 0));
    assert_eq!(outbox.len(), 1);
    assert_eq!(outbox[0].hash, ours);
}
