use std::sync::Arc;

use serde::{Deserialize, Serialize};
use serde_bytes::{ByteArray, ByteBuf};
use sha2::{Digest as _, Sha256};

use super::facade::Inner;
use super::take::Ready;
use super::{Env, ErrorKind, Farm, FarmError, Taken};
use crate::mutants::mutant;
use crate::record::{DocName, Id};
use crate::store::Location;

/// The first bytes of a bundle file.
const MAGIC: &[u8; 16] = b"pointdown bundle";

/// Everything of a farm in one file: its documents, each in Automerge's own saved form.
#[derive(Serialize, Deserialize)]
struct Bundle {
    v: u8,
    farm: ByteArray<16>,
    docs: Vec<(DocName, ByteBuf)>,
}

impl Farm {
    /// Everything that is here as one file, to be passed by hand: 16 bytes of name, the SHA-256 of
    /// the rest, then CBOR.
    pub fn export(&self) -> Result<Vec<u8>, FarmError> {
        let mut inner = self.lock();
        let names = inner.store.read::<_, FarmError>(|tx| Ok(tx.docs()?))?;
        let mut docs = Vec::new();
        for (name, _) in names {
            let saved = inner.read_document(&name)?.save();
            docs.push((name, ByteBuf::from(saved)));
        }
        let bundle = Bundle {
            v: 1,
            farm: ByteArray::new(*inner.me.farm.bytes()),
            docs,
        };
        let mut body = Vec::new();
        ciborium::into_writer(&bundle, &mut body)
            .map_err(|e| FarmError::new(ErrorKind::Storage, e.to_string()))?;
        let mut file = MAGIC.to_vec();
        file.extend(Sha256::digest(&body));
        file.extend(body);
        Ok(file)
    }

    /// Takes what another phone exported: all of it, or nothing where the file is damaged or of
    /// another farm. Importing again adds nothing.
    pub fn import(&self, file: &[u8]) -> Result<Taken, FarmError> {
        let bundle = read(file)?;
        let mut inner = self.lock();
        if *bundle.farm != *inner.me.farm.bytes() {
            return Err(FarmError::new(
                ErrorKind::OtherFarm,
                "this file holds another farm; nothing was taken",
            ));
        }
        let mut ready = Ready::default();
        for (doc, saved) in &bundle.docs {
            inner.ready_document(doc, saved, &mut ready)?;
        }
        inner.keep_by_hand(ready)
    }

    /// Makes a database for the farm in an exported file, and takes what it holds.
    pub fn from_export(
        location: &Location,
        env: Arc<dyn Env>,
        file: &[u8],
    ) -> Result<Farm, FarmError> {
        let bundle = read(file)?;
        let was_there = matches!(location, Location::File(path) if path.exists());
        let farm = Farm::make(location, env, Id::from_bytes(*bundle.farm))?;
        let taken = farm.import(file);
        match (taken, location) {
            (Ok(_), _) => Ok(farm),
            (Err(e), Location::File(path)) if !was_there => {
                // An empty database left behind would keep the next try from beginning.
                drop(farm);
                for end in ["", "-wal", "-shm", "-mark"] {
                    let mut file = path.as_os_str().to_owned();
                    file.push(end);
                    let _ = std::fs::remove_file(file);
                }
                Err(e)
            }
            (Err(e), _) => Err(e),
        }
    }
}

impl Inner {
    /// Keeps changes that came by hand from another phone: they go on to the server, and this
    /// phone answers for whoever made them.
    pub(super) fn keep_by_hand(&mut self, ready: Ready) -> Result<Taken, FarmError> {
        let own = self.me.actors.clone();
        let makers: Vec<String> = ready
            .changes
            .iter()
            .map(|c| c.actor.to_string())
            .filter(|hex| !own.contains(hex) && !mutant("vouching_forgotten"))
            .collect();
        self.keep(ready, true, |tx| {
            let mut vouched: Vec<String> = tx.meta("vouched")?.unwrap_or_default();
            vouched.extend(makers);
            vouched.sort();
            vouched.dedup();
            Ok(tx.set_meta("vouched", &vouched)?)
        })
    }
}

fn read(file: &[u8]) -> Result<Bundle, FarmError> {
    let damaged = |what: &str| {
        FarmError::new(
            ErrorKind::Damaged,
            format!("the file {what}; nothing was taken"),
        )
    };
    let rest = file
        .strip_prefix(MAGIC.as_slice())
        .ok_or_else(|| damaged("is no export of Pointdown"))?;
    let (sum, body) = rest
        .split_at_checked(32)
        .ok_or_else(|| damaged("is cut short"))?;
    if Sha256::digest(body).as_slice() != sum {
        return Err(damaged("is damaged or cut short"));
    }
    let bundle: Bundle = ciborium::from_reader(body).map_err(|_| damaged("cannot be read"))?;
    if bundle.v != 1 {
        return Err(FarmError::new(
            ErrorKind::TooNew,
            format!("the file has form {}; this program reads form 1", bundle.v),
        ));
    }
    Ok(bundle)
}
