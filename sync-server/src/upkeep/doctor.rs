use std::collections::{BTreeMap, BTreeSet};

use pointdown_core::ledger::{genesis, read_change};
use pointdown_core::record::{DocName, Hash, Id};
use pointdown_core::sync::Digest;

use crate::exchange::document;
use crate::store::{self, DocParts, Log, Logged, Role, Store, StoreError};

/// What was done about a finding.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// It was mended from what is certain.
    Mended,
    /// It can be mended from what is certain, and was left as it is.
    Mendable,
    /// Something is lost here: restore a backup, or let the phones bring it again under a new epoch.
    Lost,
    /// Nothing is broken; a person should know all the same.
    Notice,
}

impl Verdict {
    /// The word for it.
    pub fn as_str(self) -> &'static str {
        match self {
            Verdict::Mended => "mended",
            Verdict::Mendable => "can be mended",
            Verdict::Lost => "LOST",
            Verdict::Notice => "notice",
        }
    }
}

/// Something that is not as it should be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// In which farm; nothing where it is the whole store.
    pub farm: Option<Id>,
    /// What.
    pub what: String,
    /// What was or can be done.
    pub verdict: Verdict,
}

/// How many bytes of changes are looked at in one go.
const PAGE: usize = 1024 * 1024;

/// Looks everything over. With `mend`, what follows with certainty from the log is made anew: the
/// digests of documents, and saved forms that do not fit while all their changes are there.
///
/// # Errors
/// [`StoreError`] where the store cannot even be read.
pub fn examine(store: &dyn Store, mend: bool) -> Result<Vec<Finding>, StoreError> {
    let mut findings: Vec<Finding> = store
        .check()?
        .into_iter()
        .map(|what| Finding {
            farm: None,
            what,
            verdict: Verdict::Lost,
        })
        .collect();
    // What is that damaged is not written to.
    let mend = mend && findings.is_empty();
    let farms = match store.farms() {
        Err(StoreError::Damaged(_)) if !findings.is_empty() => return Ok(findings),
        farms => farms?,
    };
    for farm in farms {
        let mut found = Vec::new();
        let done =
            members(store, farm, &mut found).and_then(|()| log(store, farm, mend, &mut found));
        match done {
            Ok(()) => {}
            Err(e @ (StoreError::Damaged(_) | StoreError::Backend(_))) => {
                found.push((e.to_string(), Verdict::Lost));
            }
            Err(e) => return Err(e),
        }
        findings.extend(found.into_iter().map(|(what, verdict)| Finding {
            farm: Some(farm),
            what,
            verdict,
        }));
    }
    Ok(findings)
}

type Found = Vec<(String, Verdict)>;

fn members(store: &dyn Store, farm: Id, found: &mut Found) -> Result<(), StoreError> {
    let devices = store.devices(farm)?;
    let owners = devices
        .iter()
        .filter(|d| d.revoked_at.is_none() && d.role == Role::Owner);
    if owners.count() == 0 {
        let what = "it has no owner left; `role DEVICE owner` makes one".to_string();
        found.push((what, Verdict::Notice));
    }
    Ok(())
}

/// What the log says of a document.
#[derive(Default)]
struct Told {
    digest: Digest,
    /// Changes whose bytes are there.
    whole: BTreeSet<Hash>,
    /// Changes of which only the name is there.
    folded: BTreeSet<Hash>,
}

fn log(store: &dyn Store, farm: Id, mend: bool, found: &mut Found) -> Result<(), StoreError> {
    let counter = store::read(store, farm, |log| log.counter())?;
    let mut told: BTreeMap<DocName, Told> = BTreeMap::new();
    let mut cursor = 0;
    loop {
        let page = store::read(store, farm, |log| log.after(cursor, PAGE))?;
        let Some(last) = page.last().map(|last| last.n) else {
            break;
        };
        for logged in page {
            if logged.n != cursor + 1 {
                let what = format!("changes {} to {} are missing", cursor + 1, logged.n - 1);
                found.push((what, Verdict::Lost));
            }
            cursor = logged.n;
            let doc = told.entry(logged.doc.clone()).or_default();
            if let Err(what) = change(farm, &logged, doc) {
                found.push((format!("change {}: {what}", logged.n), Verdict::Lost));
            }
        }
        cursor = last;
    }
    if cursor < counter {
        let what = format!("the last changes, {} to {counter}, are missing", cursor + 1);
        found.push((what, Verdict::Lost));
    }
    store::write(store, farm, |log| {
        // What came meanwhile is not in `told`; then there is nothing to compare.
        if log.counter()? != counter.max(cursor) {
            return Ok(());
        }
        for (name, told) in &told {
            digest(log, name, told, mend, found)?;
            saved(log, farm, name, told, mend, found)?;
        }
        Ok(())
    })
}

/// Checks one change against its own bytes and what came before it.
fn change(farm: Id, logged: &Logged, doc: &mut Told) -> Result<(), String> {
    doc.digest.add(&logged.hash);
    if logged.bytes.is_empty() {
        doc.folded.insert(logged.hash);
        return Ok(());
    }
    let (read, _) = read_change(&logged.doc, &logged.bytes).map_err(|e| e.to_string())?;
    doc.whole.insert(logged.hash);
    if read.hash != logged.hash {
        return Err("its bytes are of another change".into());
    }
    let root = genesis(farm, &logged.doc).hash;
    let known = |dep: &Hash| *dep == root || doc.whole.contains(dep) || doc.folded.contains(dep);
    match read.deps.iter().all(known) {
        true => Ok(()),
        false => Err("what it builds on is not there".into()),
    }
}

fn digest(
    log: &dyn Log,
    name: &DocName,
    told: &Told,
    mend: bool,
    found: &mut Found,
) -> Result<(), StoreError> {
    let kept = log.docs()?.into_iter().find(|d| d.doc == *name);
    if kept.is_some_and(|kept| kept.digest == told.digest) {
        return Ok(());
    }
    let what = format!("the digest of {name} is not that of its changes");
    if mend {
        log.mend_digest(name, &told.digest)?;
    }
    found.push((what, mended(mend)));
    Ok(())
}

fn mended(mend: bool) -> Verdict {
    if mend {
        Verdict::Mended
    } else {
        Verdict::Mendable
    }
}

fn saved(
    log: &dyn Log,
    farm: Id,
    name: &DocName,
    told: &Told,
    mend: bool,
    found: &mut Found,
) -> Result<(), StoreError> {
    let parts = log.doc(name)?;
    let Some(bytes) = parts.saved else {
        if !told.folded.is_empty() {
            let n = told.folded.len();
            let what = format!("{n} changes of {name} were folded, and their saved form is gone");
            found.push((what, Verdict::Lost));
        }
        return Ok(());
    };
    let alone = DocParts {
        saved: Some(bytes),
        ..DocParts::default()
    };
    let why = match document(farm, name, &alone) {
        Err(e) => e.to_string(),
        Ok(document) => {
            let holds: BTreeSet<Hash> = document
                .changes()
                .iter()
                .filter_map(|bytes| Some(read_change(name, bytes).ok()?.0.hash))
                .collect();
            let strange = holds
                .iter()
                .any(|h| !told.whole.contains(h) && !told.folded.contains(h));
            let lacks = told.folded.iter().any(|h| !holds.contains(h));
            match (strange, lacks) {
                (false, false) => return Ok(()),
                (true, _) => "it holds changes that are not in the log".into(),
                (_, true) => "it lacks changes that were folded into it".into(),
            }
        }
    };
    let what = format!("the saved form of {name} cannot be used: {why}");
    if !told.folded.is_empty() {
        found.push((what, Verdict::Lost));
        return Ok(());
    }
    if mend {
        log.drop_saved(name)?;
    }
    found.push((what, mended(mend)));
    Ok(())
}
