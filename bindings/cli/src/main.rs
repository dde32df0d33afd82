//! pointdown-cli

fn main() {}
