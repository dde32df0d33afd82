//! main

fn main() {}
