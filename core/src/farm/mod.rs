//! The facade that an app sees: one object for one database, safe to share between threads.
//!
//! It holds the only lock and the only clock and source of randomness ([`Env`]); everything below
//! it is handed what it needs. Nothing here waits for a network: logging returns when the record
//! is durable, and an exchange with a server or another phone is bytes in and bytes out.

mod asking;
#[cfg(feature = "native")]
mod backup;
#[cfg(feature = "files")]
mod book;
mod bundle;
mod carrier;
mod check;
mod decide;
mod env;
mod error;
mod exchange;
mod facade;
#[cfg(feature = "faults")]
mod faults;
#[cfg(feature = "files")]
mod files;
mod fork;
#[cfg(feature = "native")]
mod http;
mod log;
#[cfg(feature = "native")]
mod mark;
mod money;
mod names;
#[cfg(feature = "native")]
mod nearby;
mod newcomer;
mod news;
mod now;
#[cfg(feature = "paper")]
mod paper;
mod peer;
#[cfg(feature = "native")]
mod pin;
mod read;
mod review;
mod sink;
mod span;
mod stocktake;
#[cfg(feature = "native")]
mod stop;
mod take;
mod trace;
mod trends;
mod upkeep;

#[cfg(feature = "native")]
pub use backup::Backup;
pub use carrier::Carrier;
pub use check::{Check, HOLDS};
pub use decide::Answer;
pub use env::Env;
#[cfg(feature = "native")]
pub use env::System;
pub use error::{ErrorKind, FarmError};
pub use exchange::{Heard, Status};
pub use facade::{Beginning, Farm};
#[cfg(feature = "native")]
pub use http::{Exchange, Join};
pub use log::Logged;
#[cfg(feature = "native")]
pub use nearby::{Interfaces, SERVICE, nearby};
pub use newcomer::Newcomer;
pub use news::{News, Notice, Signal};
#[cfg(feature = "paper")]
pub use paper::LabelWish;
pub use peer::PeerSession;
pub use sink::{Bowl, Sink, SinkAdvice, Verdict};
pub use stocktake::{CountOf, Counted, Stocktake};
pub use take::Taken;

#[cfg(feature = "faults")]
pub use crate::store::{Fault, use_vfs};
pub use crate::store::{Filter, Location, Row, Stray};
