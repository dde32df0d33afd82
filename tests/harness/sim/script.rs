use super::Dice;

/// What happens in one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Act {
    /// Someone logs a round, a wash, a carton run, eggs leaving.
    Log,
    /// Two people log what may be the same round, apart.
    Twice,
    /// Someone amends a record.
    Amend,
    /// Someone voids a record, an amendment or a void.
    Void,
    /// Someone decides a line of the review list.
    Decide,
    /// Two people decide one line apart from each other.
    DecideApart,
    /// Someone takes a decision back.
    Undo,
    /// Someone counts what is on a shelf.
    Recount,
    /// Someone puts eggs on hold.
    Hold,
    /// Someone changes a set-up fact: a name, a coop retired, the zone.
    SetUp,
    /// A foreign or newer program writes into the documents.
    Foreign,
    /// A phone sends a message, and the answer waits for a later step.
    Ask,
    /// An answer arrives, perhaps damaged, perhaps of an earlier message.
    Hear,
    /// An old message arrives at the server once more.
    Replay,
    /// A phone exchanges with the server until both are done, or the link is cut.
    Sync,
    /// Two phones meet.
    Meet,
    /// A file goes by hand from one phone to another.
    Bundle,
    /// The power fails in the middle of something.
    PowerLoss,
    /// A phone is wiped, and joins anew.
    Wipe,
    /// A phone's files are copied aside.
    BackUp,
    /// A phone's files are put back as they were.
    Restore,
    /// A phone is closed and opened.
    Reopen,
    /// A phone comes from an earlier version: its database has the tables of that one.
    Upgrade,
    /// A phone's clock is put wrong, or right.
    Clock,
    /// Time passes.
    Pass,
    /// A device is shut out.
    Revoke,
    /// A phone joins the server.
    Join,
    /// The server's store is copied aside.
    ServerBackUp,
    /// The server's store is put back as it was.
    ServerRestore,
    /// All server processes are killed and started.
    ServerRestart,
    /// A phone folds its documents, or makes its book anew.
    Upkeep,
}

/// How often each act comes, of all.
const OFTEN: &[(Act, usize)] = &[
    (Act::Log, 22),
    (Act::Twice, 4),
    (Act::Amend, 9),
    (Act::Void, 6),
    (Act::Decide, 6),
    (Act::DecideApart, 3),
    (Act::Undo, 3),
    (Act::Recount, 4),
    (Act::Hold, 3),
    (Act::SetUp, 3),
    (Act::Foreign, 3),
    (Act::Ask, 5),
    (Act::Hear, 5),
    (Act::Replay, 2),
    (Act::Sync, 12),
    (Act::Meet, 6),
    (Act::Bundle, 3),
    (Act::PowerLoss, 3),
    (Act::Wipe, 1),
    (Act::BackUp, 3),
    (Act::Restore, 2),
    (Act::Reopen, 2),
    (Act::Upgrade, 1),
    (Act::Clock, 2),
    (Act::Pass, 3),
    (Act::Revoke, 1),
    (Act::Join, 2),
    (Act::ServerBackUp, 2),
    (Act::ServerRestore, 1),
    (Act::ServerRestart, 1),
    (Act::Upkeep, 2),
];

/// One step: what, and the number that everything else about it follows from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// What happens.
    pub act: Act,
    /// Where its dice start.
    pub dice: u64,
}

/// A family and what happens to it. Any part of the steps may be left out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Script {
    /// Where it came from; the set-up follows from it.
    pub seed: u64,
    /// How many phones there are.
    pub phones: usize,
    /// How many server processes there are.
    pub servers: usize,
    /// Whether nothing breaks: then nothing may be healed either.
    pub calm: bool,
    /// Whether what goes to and from the server is told in words.
    pub trace: bool,
    /// What happens, in order.
    pub steps: Vec<Step>,
}

impl Script {
    /// The script of a seed.
    pub fn of(seed: u64) -> Script {
        let mut dice = Dice::new(seed);
        let calm = dice.once_in(5);
        let phones = [2, 2, 3, 3, 3, 4, 4, 5, 6, 8][dice.below(10)];
        let all: usize = OFTEN.iter().map(|(_, n)| n).sum();
        let steps = (0..dice.from_to(20, 60))
            .map(|_| {
                let mut at = dice.below(all);
                let (act, _) = OFTEN
                    .iter()
                    .find(|(_, n)| {
                        let here = at < *n;
                        at = at.wrapping_sub(*n);
                        here
                    })
                    .unwrap_or(&OFTEN[0]);
                Step {
                    act: *act,
                    dice: dice.any(),
                }
            })
            .filter(|step| !calm || step.act.is_calm())
            .collect();
        Script {
            seed,
            phones,
            servers: 1 + dice.below(3),
            calm,
            trace: false,
            steps,
        }
    }
}

impl Act {
    /// Whether nothing is lost, damaged or put back by it.
    fn is_calm(self) -> bool {
        !matches!(
            self,
            Act::Foreign
                | Act::Ask
                | Act::Hear
                | Act::Replay
                | Act::PowerLoss
                | Act::Wipe
                | Act::BackUp
                | Act::Restore
                | Act::Upgrade
                | Act::Revoke
                | Act::ServerBackUp
                | Act::ServerRestore
        )
    }
}
