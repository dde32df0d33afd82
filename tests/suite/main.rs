//! Every check that crosses a layer, in one binary.

mod architecture;
mod merging;
