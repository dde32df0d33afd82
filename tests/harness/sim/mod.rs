//! A whole family, its phones, its server and everything that can befall them, played in one
//! thread from one number.
//!
//! A [`Script`] follows from a seed: who does what and what breaks, step by step, in virtual time.
//! Each step has dice of its own, so any of them may be left out and the rest still makes sense;
//! that is how a failing script is made short. After the last step all links heal, everyone syncs
//! until nothing moves, and then everything must hold that `oracle` lists.

mod choices;
mod dice;
mod disk;
mod faults;
mod foreign;
mod hall;
mod link;
pub mod model;
pub mod mutants;
mod oracle;
mod people;
pub mod report;
mod script;
mod shrink;
mod world;

use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use pointdown_core::farm::{ErrorKind, FarmError, use_vfs};

pub use dice::Dice;
pub use report::base;
pub use script::{Act, Script, Step};
pub use shrink::{shrink, shrink_to};
pub use world::World;

/// How a script went.
#[derive(Debug, Clone, Default)]
pub struct Played {
    /// Steps that were played.
    pub steps: usize,
    /// What befell the family, and how often.
    pub faults: BTreeMap<&'static str, u64>,
    /// The lines of the review list that were compared with the naive model's, by the first words of
    /// their names.
    pub lines: BTreeMap<String, u64>,
    /// What did not hold.
    pub broken: Option<String>,
    /// What happened, in words.
    pub said: Vec<String>,
}

/// Plays a script in a folder of its own under `base`.
pub fn play(script: &Script, base: &Path) -> Played {
    let folder = match tempfile::Builder::new().prefix("family-").tempdir_in(base) {
        Ok(folder) => folder,
        Err(e) => panic!("a folder for the simulated family: {e}"),
    };
    let mut played = Played::default();
    use_vfs(Some(disk::name()));
    let done = catch_unwind(AssertUnwindSafe(|| {
        let mut world = World::new(script, folder.path())?;
        let mut done = Ok(());
        for (at, step) in script.steps.iter().enumerate() {
            played.steps += 1;
            done = world.step(at, *step);
            if done.is_err() {
                break;
            }
        }
        let done = done.and_then(|()| {
            world.said.push("everything heals".into());
            world.heal().and_then(|()| world.judge())
        });
        played.faults = std::mem::take(&mut world.faults);
        played.lines = std::mem::take(&mut world.lines);
        played.said = std::mem::take(&mut world.said);
        done
    }));
    use_vfs(None);
    played.broken = match done {
        Ok(done) => done.err(),
        Err(panic) => Some(format!("a panic: {}", words(&*panic))),
    };
    played
}

fn words(panic: &(dyn std::any::Any + Send)) -> &str {
    let text = panic.downcast_ref::<&str>().copied();
    text.or_else(|| panic.downcast_ref::<String>().map(String::as_str))
        .unwrap_or("?")
}

/// Something that must not be, where the facade's own errors are handed on.
fn broken(what: String) -> FarmError {
    FarmError::new(ErrorKind::Damaged, what)
}
