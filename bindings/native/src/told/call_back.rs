use pointdown_core::book::trace;

use super::{Between, Place, Run, Share, Species};
use crate::mirror::mirror_record;

/// From what a call-back goes out.
#[derive(Debug, Clone, PartialEq, uniffi::Enum)]
pub enum Question {
    /// The eggs of a coop, gathered on a span of farm days.
    Coop {
        /// First farm day.
        first: String,
        /// Last farm day.
        last: String,
        /// The coop's id; every coop where there is none.
        #[uniffi(default = None)]
        coop: Option<String>,
        /// Only this species.
        #[uniffi(default = None)]
        species: Option<Species>,
    },
    /// A record: a gather, a cleaning batch, a carton run, a hold, or a cooler reading.
    Record {
        /// Its id.
        record: String,
    },
}

mirror_record! {
    /// Every carton that may be concerned, on the shelf and out, and whom to call.
    CallBack of trace::CallBack {
        /// Whom to call: those who surely have such eggs first, then by the latest.
        people: Vec<ToCall>,
        /// The carton runs concerned, the latest first, with what is left on the shelf.
        runs: Vec<RunReached>,
        /// Eggs that are not packed yet: to be set aside too.
        standing: Vec<Standing>,
        /// Eggs that were pulled out of the flow, or missed by a count.
        pulled: Vec<PulledReached>,
        /// Lots whose records contradict one another; of them times and numbers were not used.
        contradicting: Vec<String>,
        /// How sure the answer is, in words.
        said: Vec<String>,
        /// What a careful person would add.
        cautions: Vec<String>,
    }
}

mirror_record! {
    /// Someone who got eggs.
    ToCall of trace::Person {
        /// The outlet's name, or whom the record names; nothing where nobody wrote it down.
        who: Option<String>,
        /// How to reach them, where that is known.
        contact: Option<String>,
        /// The surest of what they have.
        share: Share,
        /// Cartons that they got, as logged.
        cartons: u32,
        /// Eggs that they got of the lots concerned, at most.
        eggs: u32,
        /// Eggs that came back from them.
        returned: u32,
        /// What they got or brought back, the earliest first.
        outs: Vec<OutReached>,
    }
}

mirror_record! {
    /// Eggs that left, or came back.
    OutReached of trace::OutReached {
        /// The record.
        record: String,
        /// When.
        at_ms = at: i64,
        /// Sold, given, eaten or returned.
        way: String,
        /// The outlet's id.
        outlet: Option<String>,
        /// Who, in words.
        who: Option<String>,
        /// The carton run, where the record names it.
        run: Option<String>,
        /// The code printed on the cartons, where one was logged.
        code: Option<String>,
        /// Cartons, where they went in cartons.
        cartons: Option<u32>,
        /// Eggs of the lots concerned, at most.
        eggs: u32,
        /// How sure it is.
        share: Share,
    }
}

mirror_record! {
    /// A run of cartons concerned.
    RunReached of trace::RunReached {
        /// The run.
        run: Run,
        /// How sure it is.
        share: Share,
        /// Eggs left on the shelf.
        left: Between,
        /// Cartons to set aside, at most; an open one counts.
        cartons_left: u32,
    }
}

mirror_record! {
    /// Eggs at a station that are not packed, or stand on the shelf without a run.
    Standing of trace::Standing {
        /// Where.
        place: Place,
        /// Which lot.
        lot: String,
        /// How many of the lot are there.
        eggs: i64,
        /// How sure it is.
        share: Share,
    }
}

mirror_record! {
    /// Eggs that are out of the flow.
    PulledReached of trace::Pulled {
        /// The cull, or the recount that missed them.
        record: String,
        /// When.
        at_ms = at: i64,
        /// What became of them; nothing where a count missed them.
        used_for: Option<String>,
        /// How many of the lots concerned, at most.
        eggs: u32,
        /// How sure it is.
        share: Share,
    }
}
