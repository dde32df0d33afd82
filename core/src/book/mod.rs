//! Pure folds over records: moves of eggs, balances, day sheets.
//!
//! Every record that touches eggs moves a whole number of eggs of a lot from one place to another.
//! A balance is a sum of moves, so it does not depend on the order in which records arrive, and a
//! balance below zero is shown, never clamped.

pub mod due;
mod fold;
mod line;
pub mod money;
mod moves;
mod recount;
pub mod review;
mod sheet;
pub mod span;
pub mod trace;
pub mod trends;

pub use fold::{Balances, Book, fold};
pub use line::{Line, Measure, lines};
pub use moves::{Move, Place, moves};
pub use recount::{Moment, settle};
pub use sheet::{
    Cartoned, CoopRow, Days, Flock, Gathered, Names, OnHand, Out, Pulled, Sheet, SheetInput,
    on_hand, sheet,
};
