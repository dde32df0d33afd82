//! What only a browser has: its clock, its randomness, its private file system.

use std::cell::OnceCell;
use std::path::Path;
use std::sync::Arc;

use pointdown_core::farm::{Beginning, Env, ErrorKind, Farm, FarmError, Location};
use pointdown_core::record::{Id, Instant};
use serde_json::{Value, json};
use wasm_bindgen::prelude::*;

use crate::calls;

/// The database's name within the pool of files.
const FILE: &str = "farm.db";

#[wasm_bindgen]
extern "C" {
    #[wasm_bindgen(js_namespace = Date, js_name = now)]
    fn milliseconds() -> f64;

    #[wasm_bindgen(js_namespace = crypto, js_name = getRandomValues)]
    fn randomness(buffer: &mut [u8]);
}

/// The clock and randomness of the browser.
struct Browser;

impl Env for Browser {
    fn now(&self) -> Instant {
        Instant::from_ms(milliseconds() as i64)
    }

    fn fill(&self, buffer: &mut [u8]) {
        // A browser gives no more at a time.
        buffer.chunks_mut(65_536).for_each(randomness);
    }
}

fn location() -> Location {
    Location::from(Path::new(FILE))
}

/// The farm on this device. Every error is a string of JSON: `kind`, `message`, and `invalid` with
/// field, value and what is allowed, where a field is to blame.
#[wasm_bindgen]
#[derive(Default)]
pub struct Phone {
    farm: OnceCell<Farm>,
}

#[wasm_bindgen]
impl Phone {
    /// Takes hold of the pool of files and opens the farm, if one was begun here. Only one worker of
    /// an origin can; another one hears `in_use`.
    pub async fn open() -> Result<Phone, String> {
        let pool = sqlite_wasm_vfs::sahpool::OpfsSAHPoolCfg::default();
        sqlite_wasm_vfs::sahpool::install::<sqlite_wasm_rs::WasmOsCallback>(&pool, true)
            .await
            .map_err(|e| {
                let message = format!("the browser's files cannot be opened: {e:?}");
                // Another worker holds them, or this browser has none (a private window, perhaps).
                let held = message.contains("NoModificationAllowed");
                let kind = if held {
                    ErrorKind::InUse
                } else {
                    ErrorKind::Storage
                };
                said(FarmError::new(kind, message))
            })?;
        let phone = Phone::default();
        match Farm::open(&location(), Arc::new(Browser)) {
            Ok(farm) => phone.keep(farm),
            Err(e) if e.kind == ErrorKind::NotFound => {}
            Err(e) => return Err(calls::error_json(&e)),
        }
        Ok(phone)
    }

    /// Whether a farm is here.
    pub fn has_farm(&self) -> bool {
        self.farm.get().is_some()
    }

    /// Begins a farm: `{"farm": {"name", "zone", ...}, "person", "device"}`.
    pub fn begin(&self, words: &str) -> Result<(), String> {
        self.none_yet()?;
        let words: calls::Begin = calls::read(words)?;
        let beginning = Beginning {
            farm: words.farm,
            person: words.person,
            device: words.device,
        };
        let farm = Farm::begin(&location(), Arc::new(Browser), beginning).map_err(said)?;
        self.keep(farm);
        Ok(())
    }

    /// Makes the database for a farm that a server let this device into.
    pub fn take_in(&self, farm: &str, url: &str, token: &str) -> Result<(), String> {
        self.none_yet()?;
        let id: Id = farm.parse().map_err(|_| {
            said(FarmError::new(
                ErrorKind::Damaged,
                "the server's answer cannot be read",
            ))
        })?;
        let farm = Farm::make(&location(), Arc::new(Browser), id).map_err(said)?;
        farm.joined(url, token).map_err(said)?;
        self.keep(farm);
        Ok(())
    }

    /// Begins from a file that another phone, or this one, saved.
    pub fn from_file(&self, file: &[u8]) -> Result<(), String> {
        self.none_yet()?;
        let farm = Farm::from_export(&location(), Arc::new(Browser), file).map_err(said)?;
        self.keep(farm);
        Ok(())
    }

    /// Answers one question or logs something; see [`calls::call`].
    pub fn call(&self, name: &str, words: &str) -> Result<String, String> {
        calls::call(self.here()?, name, words)
    }

    /// The next message to the server.
    pub fn ask(&self) -> Result<Vec<u8>, String> {
        self.here()?.sync_ask().map_err(said)
    }

    /// Takes the server's answer: `{"changes", "again"}`.
    pub fn hear(&self, answer: &[u8]) -> Result<String, String> {
        let heard = self.here()?.sync_hear(answer).map_err(said)?;
        let said: Value = json!({ "changes": heard.changes, "again": heard.again });
        Ok(said.to_string())
    }

    /// Everything as one file.
    pub fn to_file(&self) -> Result<Vec<u8>, String> {
        self.here()?.export().map_err(said)
    }

    /// Takes what another phone saved; how many changes were new.
    pub fn take_file(&self, file: &[u8]) -> Result<usize, String> {
        let taken = self.here()?.import(file).map_err(said)?;
        Ok(taken.changes)
    }
}

impl Phone {
    fn here(&self) -> Result<&Farm, String> {
        self.farm.get().ok_or_else(|| {
            said(FarmError::new(
                ErrorKind::NotFound,
                "no farm is kept here yet",
            ))
        })
    }

    fn none_yet(&self) -> Result<(), String> {
        if self.has_farm() {
            let message = "a farm is kept here already";
            return Err(said(FarmError::new(ErrorKind::Ambiguous, message)));
        }
        Ok(())
    }

    fn keep(&self, farm: Farm) {
        // It was empty: whoever calls this looked, and a worker is one thread.
        let _ = self.farm.set(farm);
    }
}

fn said(e: FarmError) -> String {
    calls::error_json(&e)
}
