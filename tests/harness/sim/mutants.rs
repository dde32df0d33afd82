//! The deliberate faults: each must be noticed, or the simulator shows nothing.

/// Name and meaning of each; the code asks for them by `mutant("name")`.
pub const ALL: &[(&str, &str)] = &[
    (
        "outbox_skipped",
        "a logged change is not put into the outbox",
    ),
    (
        "change_dropped",
        "one change of a page is not kept, though the cursor moves",
    ),
    (
        "page_dropped",
        "the cursor moves, though nothing of the page is kept",
    ),
    ("moves_doubled", "a wash moves its eggs twice"),
    (
        "dependency_unchecked",
        "the server takes a change without what it builds on",
    ),
    ("balance_clamped", "a balance below zero is kept as zero"),
    ("zone_ignored", "the farm day is the day in UTC"),
    (
        "doubles_by_clock",
        "double logs go by the time alone, not by who had seen what",
    ),
    ("epoch_kept", "a store older than a cursor keeps its epoch"),
    ("epoch_ignored", "a phone takes a new epoch for the old one"),
    ("actor_kept", "a restored copy writes under the old actor"),
    (
        "ack_before_commit",
        "now and then a record is acknowledged and not committed",
    ),
    ("synchronous_off", "the database never waits for the disk"),
    (
        "synchronous_normal",
        "the database waits for the disk at a checkpoint, not at a commit",
    ),
    (
        "server_synchronous_normal",
        "the server waits for the disk at a checkpoint, not at a commit",
    ),
    (
        "answer_before_commit",
        "now and then the server answers and has not committed",
    ),
    (
        "over_ignored",
        "an amendment overrules nothing that its writer had seen",
    ),
    ("void_counted", "a voided record still moves its eggs"),
    (
        "count_before_unread",
        "a stocktake is explained with what moved before the count before it too",
    ),
    ("recounts_unsettled", "recounts are not settled"),
    ("digest_unread", "both sides' digests are not compared"),
    (
        "second_facts_win",
        "of two writes under one id the later one stands",
    ),
    (
        "vouching_forgotten",
        "a phone does not answer for what it took by hand",
    ),
    (
        "want_ignored",
        "a phone does not send again what the server lacks",
    ),
    (
        "decision_for_good",
        "a line once seen never comes back, however it changes",
    ),
    (
        "sent_before_acked",
        "a change leaves the outbox when it is sent",
    ),
    (
        "void_of_void_ignored",
        "a void that was voided still takes a record away",
    ),
    (
        "checksum_unread",
        "a change whose checksum was altered is kept",
    ),
    (
        "unknown_ignored",
        "a server that has forgotten an actor is not told again",
    ),
];

/// Puts one fault into all that this thread does, or takes it out.
#[cfg(feature = "mutants")]
pub fn put_in(name: Option<&'static str>) {
    pointdown_core::mutants::put_in(name);
}

/// Without the feature there are none.
#[cfg(not(feature = "mutants"))]
pub fn put_in(_: Option<&'static str>) {}

/// Whether they are compiled in.
pub const HERE: bool = cfg!(feature = "mutants");
