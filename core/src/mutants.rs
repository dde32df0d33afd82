//! Deliberate faults, put in by name while a test looks whether it notices. Without the feature
//! `mutants` none of them exists.

#[cfg(feature = "mutants")]
thread_local! {
    static NAME: std::cell::Cell<Option<&'static str>> = const { std::cell::Cell::new(None) };
}

/// Puts one fault into everything that this thread does from now on, or takes it out.
#[cfg(feature = "mutants")]
pub fn put_in(name: Option<&'static str>) {
    NAME.with(|n| n.set(name));
}

/// Whether the fault of this name is in.
#[cfg(feature = "mutants")]
pub fn mutant(name: &str) -> bool {
    NAME.with(|n| n.get() == Some(name))
}

/// Whether the fault of this name is in: never, in a program that people run.
#[cfg(not(feature = "mutants"))]
#[inline(always)]
pub const fn mutant(_: &str) -> bool {
    false
}
