//! What the tests share: phones with a clock and randomness of their own, and figures from outside.

pub mod checks;
pub mod fuzz;
pub mod history;
pub mod naive;
pub mod phone;
pub mod postgres;
pub mod raw;
pub mod review;
pub mod sim;
