use std::path::Path;

use super::{Played, Script, play};

/// The most times that a script is played to make it shorter.
const MOST_TRIES: usize = 400;

/// Makes a failing script short: leaves out runs of steps, then single ones, while something still
/// does not hold. Gives what is left and how it went.
pub fn shrink(script: &Script, base: &Path) -> (Script, Played) {
    shrink_to(script, base, &|played| played.broken.is_some())
}

/// Makes a script short while it still `shows` something.
pub fn shrink_to(
    script: &Script,
    base: &Path,
    shows: &dyn Fn(&Played) -> bool,
) -> (Script, Played) {
    let mut best = script.clone();
    let mut played = play(&best, base);
    // What comes after the step that showed it is not needed.
    best.steps.truncate(played.steps);
    let mut tries = 0;
    let mut run = (best.steps.len() / 2).max(1);
    loop {
        let mut at = 0;
        let mut shorter = false;
        while at < best.steps.len() && tries < MOST_TRIES {
            tries += 1;
            let mut without = best.clone();
            without.steps.drain(at..(at + run).min(best.steps.len()));
            let again = play(&without, base);
            if shows(&again) {
                (best, played, shorter) = (without, again, true);
            } else {
                at += run;
            }
        }
        if tries >= MOST_TRIES || (run == 1 && !shorter) {
            return (best, played);
        }
        if !shorter {
            run = (run / 2).max(1);
        }
    }
}
