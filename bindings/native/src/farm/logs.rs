use std::sync::Arc;

use pointdown_core::farm::{self, Answer};
use pointdown_core::record::InvalidRecord;

use super::{Farm, day, id, kind};
use crate::event::object;
use crate::mirror::Mirror;
use crate::watch::signal;
use crate::{Draft, Listener, Logged, News, PointdownError, Row};

/// Which records to list; everything unless said.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct Filter {
    /// Only this kind, by word.
    #[uniffi(default = None)]
    pub kind: Option<String>,
    /// Only from this farm day on.
    #[uniffi(default = None)]
    pub first: Option<String>,
    /// Only up to this farm day.
    #[uniffi(default = None)]
    pub last: Option<String>,
    /// Voided and refused ones too.
    #[uniffi(default = false)]
    pub all: bool,
    /// At most so many, the newest.
    #[uniffi(default = None)]
    pub most: Option<u32>,
}

#[uniffi::export]
impl Farm {
    /// Logs a record: when this returns, it is on the disk, in the book, and on its way to the server
    /// if there is one. A draft that is not allowed changes nothing.
    pub fn log(&self, draft: Draft) -> Result<Logged, PointdownError> {
        Ok(self.core()?.log(draft.try_into()?)?.mirror())
    }

    /// Logs later values for fields of a record, given as a JSON object; `null` takes an optional
    /// field away, and `at` moves the event in time.
    pub fn amend(
        &self,
        record: String,
        set_json: String,
        why: Option<String>,
    ) -> Result<Logged, PointdownError> {
        let set = object("set_json", &set_json)?;
        let target = id("record", &record)?;
        Ok(self.core()?.amend(target, set, why.as_deref())?.mirror())
    }

    /// Says that a record should not stand. Voiding a void undoes it.
    pub fn void(&self, record: String, why: String) -> Result<Logged, PointdownError> {
        let target = id("record", &record)?;
        Ok(self.core()?.void(target, &why)?.mirror())
    }

    /// Carries out one choice of a line of the review list: `tag` as it was shown, and the choice by
    /// its place in the list, from 0. `counted` goes with a choice to count. Gives what was logged.
    ///
    /// A line that changed since it was shown is an error, and nothing is done.
    pub fn decide(
        &self,
        tag: String,
        choice: u32,
        counted: Option<u32>,
    ) -> Result<Vec<Logged>, PointdownError> {
        let farm = self.core()?;
        let finding = farm.find_line(&tag)?;
        let Some(chosen) = finding.choices.get(choice as usize) else {
            let allowed = format!("allowed is 0 to {}", finding.choices.len() - 1);
            return Err(InvalidRecord::new("choice", choice, allowed).into());
        };
        let mut answer = Answer::from(chosen).as_shown(&finding);
        if let Some(counted) = counted {
            answer = answer.counted(counted);
        }
        Ok(farm.decide(&finding.line, answer)?.mirror())
    }

    /// Takes back what a choice or a log wrote, by voiding each record, the latest first.
    pub fn undo(&self, records: Vec<String>, why: String) -> Result<Vec<Logged>, PointdownError> {
        let farm = self.core()?;
        let ids: Vec<_> = records
            .iter()
            .map(|record| id("records", record))
            .collect::<Result<_, _>>()?;
        let mut voids = Vec::new();
        for record in ids.into_iter().rev() {
            voids.push(farm.void(record, &why)?.mirror());
        }
        Ok(voids)
    }

    /// Records, the newest first.
    pub fn list(&self, filter: Filter) -> Result<Vec<Row>, PointdownError> {
        let filter = farm::Filter {
            kind: filter.kind.as_deref().map(kind).transpose()?,
            from: filter.first.map(|d| day("first", &d)).transpose()?,
            to: filter.last.map(|d| day("last", &d)).transpose()?,
            all: filter.all,
            most: filter.most,
        };
        Ok(self.core()?.list(&filter)?.mirror())
    }

    /// One record as it stands.
    pub fn record(&self, record: String) -> Result<Option<Row>, PointdownError> {
        Ok(self.core()?.record(id("record", &record)?)?.mirror())
    }

    /// The id of a set-up record of this kind and name, in use.
    pub fn find(&self, kind: String, name: String) -> Result<String, PointdownError> {
        let kind = super::kind(&kind)?;
        Ok(self.core()?.find(kind, &name)?.to_string())
    }

    /// How many records there are, set-up facts aside.
    pub fn record_count(&self) -> Result<u64, PointdownError> {
        Ok(self.core()?.record_count()?)
    }

    /// From now on this listener is told when there is something newer, until another one is set or
    /// the farm is closed; it is told again only after [`Farm::news`] was read. None ends it.
    pub fn watch(&self, listener: Option<Arc<dyn Listener>>) -> Result<(), PointdownError> {
        self.core()?.watch(listener.map(signal));
        Ok(())
    }

    /// What changed after the notice of this number, at most so many; 0 begins with the oldest that
    /// is kept. Numbers begin anew when the database is opened.
    pub fn news(&self, after: u64, most: u32) -> Result<News, PointdownError> {
        Ok(self.core()?.news(after, most).mirror())
    }
}
