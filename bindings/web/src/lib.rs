//! The core of the phone app: the [`Farm`](pointdown_core::farm::Farm) facade for a web worker.
//!
//! A worker opens the one database of the browser's own file system through `browser::Phone` and
//! asks by name, JSON in and JSON out; the names stand in [`calls`]. Bytes of an exchange and of a
//! file pass as they are. Everything but `browser` compiles anywhere.

mod advice;
#[cfg(all(target_arch = "wasm32", target_os = "unknown"))]
pub mod browser;
pub mod calls;
mod home;
mod packing;
mod qr;
mod shelf;
