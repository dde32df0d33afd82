//! pointdown-xtask

fn main() {}
