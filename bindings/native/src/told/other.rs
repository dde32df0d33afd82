use pointdown_core::farm;
use pointdown_core::paper;
use pointdown_core::sync;
use pointdown_core::trade::cartons;
use pointdown_core::trade::label::LabelLine as Line;

use super::{Reason, Species};
use crate::mirror::{Mirror, mirror_record};

mirror_record! {
    /// What an exchange with the server did.
    #[derive(Copy, Eq)]
    Exchange of farm::Exchange {
        /// Changes that were not here before.
        received: u64,
        /// Changes that left the outbox.
        sent: u64,
        /// Changes that still wait.
        waiting: u64,
        /// Messages sent.
        rounds: u32,
    }
}

mirror_record! {
    /// What came of an answer that the app carried.
    #[derive(Copy, Eq)]
    Heard of farm::Heard {
        /// Changes that were not here before.
        changes: u64,
        /// Whether to ask again at once.
        again: bool,
    }
}

mirror_record! {
    /// What is synced and what is not, for a quiet line on the screen.
    Status of farm::Status {
        /// The address of the server, if one was joined.
        server: Option<String>,
        /// Changes that wait to be sent.
        waiting: u64,
        /// When the server last answered, by this device's clock.
        heard_at_ms = heard_at: Option<i64>,
        /// Server clock minus this device's clock, milliseconds.
        offset_ms: Option<i64>,
        /// Whether both sides were found to hold the same at the last exchange.
        agreed: bool,
        /// Changes that the server did not take, and why.
        refused: Vec<String>,
    }
}

mirror_record! {
    /// Where an app carries the messages itself, and the secret that lets it in. Keep it out of logs.
    Carrier of farm::Carrier {
        /// The server's address without a slash at the end; messages go to `/v1/sync` under it.
        url: String,
        /// The device's secret, for the header `Authorization: Bearer`.
        token: String,
    }
}

/// An invite for one device of this farm.
#[derive(Debug, Clone, PartialEq, Eq, uniffi::Record)]
pub struct Invite {
    /// The server's address.
    pub url: String,
    /// The code.
    pub code: String,
    /// Both, and by which key the server is known, as a link to type, show as a QR code or send.
    pub link: String,
}

impl Mirror<Invite> for sync::InviteLink {
    fn mirror(self) -> Invite {
        Invite {
            link: self.to_string(),
            url: self.url,
            code: self.code,
        }
    }
}

mirror_record! {
    /// What a look over the whole database found.
    Check of farm::Check {
        /// Records that were looked at.
        records: u64,
        /// What does not hold, in words; empty where all is well.
        wrong: Vec<String>,
    }
}

mirror_record! {
    /// A backup that was read back and found whole.
    Backup of farm::Backup {
        /// The farm's id.
        farm: String,
        /// Its name, if its set-up is in it.
        name: Option<String>,
        /// Records that stand.
        records: u64,
        /// The size of the file in bytes.
        bytes: u64,
        /// When it was made; nothing for a plain copy of a database, which carries no seal.
        made_ms = made: Option<i64>,
    }
}

mirror_record! {
    /// A page, ready to be opened in a browser or a web view and printed at 100 %.
    Page of paper::Page {
        /// What stands in the title of the window.
        title: String,
        /// The whole file.
        html: String,
        /// The content security policy that the page carries.
        policy: String,
    }
}

mirror_record! {
    /// A page of labels, and what came of the order.
    LabelPage of paper::LabelPage {
        /// The page.
        page: Page,
        /// Sheets that it prints.
        sheets: u32,
        /// Labels to a carton: two or three where they are too small for all that has to be said.
        labels_per_carton: u32,
        /// The first label of the last sheet that stays free, from 1; nothing if it is used up.
        next_free: Option<u32>,
        /// What the person at the printer should know.
        cautions: Vec<String>,
    }
}

mirror_record! {
    /// What stands on the label of a carton, under the rules in force.
    Label of paper::CartonLabel {
        /// The lines, each with the rule behind it.
        lines: Vec<LabelLine>,
        /// What the person at the printer should know; none of it stands on the label.
        cautions: Vec<String>,
    }
}

mirror_record! {
    /// One line of a label.
    LabelLine of Line {
        /// The text.
        text: String,
        /// Whether the rules require it.
        required: bool,
        /// The rule behind it.
        why: Reason,
    }
}

/// Even cartons from single weights: every egg once, in a carton or left over with a reason. Eggs go
/// by their place in the weights, from 1.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct EvenCartons {
    /// Full cartons.
    pub cartons: Vec<EvenCarton>,
    /// Eggs that are in none.
    pub left_over: Vec<LeftOver>,
    /// Which rules, from which sources.
    pub why: Vec<Reason>,
    /// What a careful person would add.
    pub caution: String,
}

/// An egg on the scale whose lot is known.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct EggOfLot {
    /// The lot.
    pub lot: String,
    /// What it weighs, g.
    pub grams: f64,
}

/// One full carton.
#[derive(Debug, Clone, PartialEq, uniffi::Record)]
pub struct EvenCarton {
    /// Whose eggs.
    pub species: Species,
    /// The class's name.
    pub class: String,
    /// Eggs in it.
    pub capacity: u32,
    /// The eggs in the order in which to set them.
    pub eggs: Vec<u64>,
    /// What they weigh together, g.
    pub net_grams: f64,
    /// Heaviest less lightest, g.
    pub range_grams: f64,
}

mirror_record! {
    /// An egg that is in no carton.
    LeftOver of cartons::LeftOver {
        /// The egg.
        egg = tag: u64,
        /// Why, in words.
        why: String,
    }
}

impl Mirror<EvenCartons> for pointdown_core::trade::Finding<cartons::Plan> {
    fn mirror(self) -> EvenCartons {
        let mut all = Vec::new();
        for group in self.value.groups {
            for carton in group.cartons {
                all.push(EvenCarton {
                    species: group.species.mirror(),
                    class: group.class.clone(),
                    capacity: carton.capacity.into(),
                    eggs: carton.eggs.iter().map(|egg| egg.tag).collect(),
                    net_grams: carton.net.0,
                    range_grams: carton.range.0,
                });
            }
        }
        EvenCartons {
            cartons: all,
            left_over: self.value.left_over.mirror(),
            why: self.why.mirror(),
            caution: self.caution,
        }
    }
}
