//! What happens to bytes from outside, one function for each way in. The fuzzer and the replay of its
//! corpus in the ordinary tests call the same functions.
//!
//! Each holds to the same promises: nothing panics; what is refused changes nothing; what is taken
//! leaves a book that is clean, equal to its rebuild, and still travels to an empty phone.

mod bench;
mod files;
mod seeds;
mod told;
mod wire;

pub use bench::{MONTH, NOW, Outcome, chunk, contents};
pub use seeds::seeds;

/// A way in.
pub type Body = fn(&[u8]) -> Outcome;

/// Every way in, by the name of its corpus folder.
pub const TARGETS: [(&str, Body); 14] = [
    ("change", wire::change),
    ("document", wire::document),
    ("bundle", wire::bundle),
    ("envelope", wire::envelope),
    ("answer", wire::answer),
    ("ask", wire::ask),
    ("join", wire::join),
    ("record", told::record),
    ("book", told::book),
    ("draft", told::draft),
    ("rules", told::rules),
    ("words", told::words),
    ("log", files::log),
    ("records", files::records),
];

/// The way in of this name.
pub fn target(name: &str) -> Option<Body> {
    TARGETS.iter().find(|(n, _)| *n == name).map(|(_, b)| *b)
}
