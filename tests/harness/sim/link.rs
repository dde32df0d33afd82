//! What travels between phones and server, and from phone to phone, and what befalls it.

use std::collections::BTreeSet;

use pointdown_core::farm::{ErrorKind, FarmError, Heard};
use pointdown_core::ledger::read_change;
use pointdown_core::sync::{Answer, Ask, unpack};

use super::hall::{Auth, Killed, Reply};
use super::{Dice, World, broken};

/// More messages than any exchange of so few records takes.
const MOST_ROUNDS: usize = 60;

/// A message underway.
pub struct Call {
    ask: Vec<u8>,
    auth: Auth,
}

/// What an answer brought, to be looked for once the phone counts it as known.
pub struct Brought {
    epoch: [u8; 16],
    cursor: u64,
    keys: Vec<String>,
    must_check: bool,
}

impl World {
    /// The phone's next message to the server.
    pub(super) fn send(&mut self, n: usize) -> Result<(), FarmError> {
        let Some(auth) = self.phones[n].auth else {
            return Ok(());
        };
        let ask = self.phones[n].farm().sync_ask()?;
        self.watch_ask(n, &ask)?;
        if self.old_asks.len() < 12 {
            self.old_asks.push((auth, ask.clone()));
        }
        self.phones[n].call = Some(Call { ask, auth });
        Ok(())
    }

    /// What must hold of a message, given the answer before it.
    fn watch_ask(&mut self, n: usize, ask: &[u8]) -> Result<(), FarmError> {
        let ask = Ask::decode(ask).map_err(|e| broken(format!("no message of phone {n}: {e}")))?;
        let slot = &mut self.phones[n];
        if let Some(brought) = slot.brought.take() {
            if brought.must_check && ask.check.is_none() {
                let what = format!("phone {n} heard of a new epoch and does not start over");
                return Err(broken(what));
            }
            let counts = ask.epoch.is_some_and(|e| *e == brought.epoch);
            if counts && ask.cursor >= brought.cursor {
                let farm = slot.farm();
                let strays: BTreeSet<String> = farm.strays()?.into_iter().map(|s| s.key).collect();
                for key in brought.keys {
                    let here = match key.parse() {
                        Ok(id) => farm.record(id)?.is_some(),
                        Err(_) => false,
                    };
                    if !here && !strays.contains(&key) {
                        let cursor = ask.cursor;
                        let what = format!("phone {n} knows the log to {cursor} without {key}");
                        return Err(broken(what));
                    }
                }
            }
        }
        if self.script.calm && ask.check.is_some() && !std::mem::take(&mut slot.hurt) {
            return Err(broken(format!(
                "phone {n} holds all against the server, and nothing had happened"
            )));
        }
        Ok(())
    }

    /// What was asked and answered, in words, where the script asks for them.
    fn trace(&mut self, n: usize, ask: &[u8], answer: &[u8], heard: &Result<Heard, FarmError>) {
        let (Ok(ask), Ok(answer)) = (Ask::decode(ask), Answer::decode(answer)) else {
            return;
        };
        let packed = |bytes: &[u8]| -> usize {
            let docs = unpack(bytes).unwrap_or_default();
            docs.iter().map(|(_, changes)| changes.len()).sum()
        };
        let check = ask.check.as_ref().map(|all| {
            let sums = all.iter().map(|d| format!("{}:{}", d.doc, d.digest.n));
            sums.collect::<Vec<_>>()
        });
        self.said.push(format!(
            "    phone {n} asks: epoch {:?}, cursor {}, {} changes, check {check:?}, fetch {:?}",
            ask.epoch.map(|e| e[0]),
            ask.cursor,
            packed(&ask.pack),
            ask.fetch
        ));
        self.said.push(format!(
            "    answer: epoch {}, cursor {}, {} changes, more {}, docs {:?}, lack {:?}, want {:?}, \
             refused {:?}, holds {}; {heard:?}",
            answer.epoch[0],
            answer.cursor,
            packed(&answer.pack),
            answer.more,
            answer.docs.iter().map(|d| &d.doc).collect::<Vec<_>>(),
            answer.lack,
            answer.want,
            answer.refused,
            answer.digest.n
        ));
    }

    fn watch_answer(&mut self, n: usize, ask: &[u8], answer: &[u8]) {
        let (Ok(ask), Ok(answer)) = (Ask::decode(ask), Answer::decode(answer)) else {
            return;
        };
        let mut keys = Vec::new();
        for (doc, list) in unpack(&answer.pack).unwrap_or_default() {
            for bytes in list {
                if let Ok((_, entries)) = read_change(&doc, &bytes) {
                    keys.extend(entries.into_iter().map(|e| e.key));
                }
            }
        }
        let other = ask.epoch.is_some_and(|e| e != answer.epoch);
        self.phones[n].brought = Some(Brought {
            epoch: *answer.epoch,
            cursor: answer.cursor,
            keys,
            must_check: other && ask.check.is_none(),
        });
    }

    /// The message underway arrives, and its answer comes back; gives whether to ask again.
    fn carry(&mut self, n: usize, dice: &mut Dice, faulty: bool) -> Result<bool, FarmError> {
        let Some(call) = self.phones[n].call.take() else {
            return Ok(false);
        };
        let faulty = faulty && !self.script.calm;
        let mut body = call.ask.clone();
        let mut killed = Killed::No;
        let fault = if faulty { dice.below(30) } else { 99 };
        match fault {
            0 => self.befell("message lost"),
            1 => {
                self.befell("message cut");
                body.truncate(dice.below(body.len()));
            }
            2 => {
                self.befell("message garbled");
                self.phones[n].fooled = true;
                flip(&mut body, dice);
            }
            3 => killed = Killed::Before,
            4 => killed = Killed::Within,
            5 => killed = Killed::After,
            // A commit is a few writes and a sync; opening a new farm a few more.
            26..30 if self.hall.has_power() => {
                let within = 1 << dice.below(6);
                killed = Killed::Power(dice.below(within) as u32);
            }
            _ => {}
        }
        if fault < 6 || killed != Killed::No {
            self.phones[n].hurt = true;
        }
        match killed {
            Killed::No => {}
            Killed::Power(_) => {
                self.befell("server power lost");
                // Whatever was acknowledged to anyone is looked for after this step.
                self.phones.iter_mut().for_each(|slot| slot.fresh = true);
            }
            _ => self.befell("server killed"),
        }
        if fault == 0 {
            return Ok(false);
        }
        let now = self.now;
        let reply = self
            .hall
            .ask(&call.auth, &body, now, killed, dice)
            .map_err(broken)?;
        if fault == 6 {
            self.befell("message doubled");
            let again = self.hall.ask(&call.auth, &body, now, Killed::No, dice);
            again.map_err(broken)?;
        }
        let mut answer = match reply {
            Reply::Answer(answer) => answer,
            Reply::Nothing => return Ok(false),
            Reply::NotIn => {
                self.befell("device not let in");
                self.phones[n].auth = None;
                return Ok(false);
            }
        };
        if self.stale.len() < 8 {
            self.stale.push(answer.clone());
        }
        match fault {
            7 => {
                self.befell("answer lost");
                self.phones[n].hurt = true;
                return Ok(false);
            }
            8 => {
                self.befell("answer cut");
                answer.truncate(dice.below(answer.len()));
                return match self.phones[n].farm().sync_hear(&answer) {
                    Err(e) if e.kind == ErrorKind::Damaged => Ok(false),
                    Err(e) => Err(e),
                    Ok(_) => Err(broken("an answer that was cut short was taken".into())),
                };
            }
            9 => {
                self.befell("answer garbled");
                flip(&mut answer, dice);
                self.phones[n].hurt = true;
                self.phones[n].fooled = true;
                return damaged(self.phones[n].farm().sync_hear(&answer).map(|h| h.again));
            }
            10 => {
                self.befell("answer of another message");
                let stale = dice.pick(&self.stale).clone();
                self.phones[n].hurt = true;
                self.phones[n].fooled = true;
                return damaged(self.phones[n].farm().sync_hear(&stale).map(|h| h.again));
            }
            _ => {}
        }
        let heard = self.phones[n].farm().sync_hear(&answer);
        if self.script.trace {
            self.trace(n, &body, &answer, &heard);
        }
        if fault == 2 {
            // The answer to a message that nobody sent.
            return damaged(heard.map(|h| h.again));
        }
        let heard = heard?;
        self.watch_answer(n, &call.ask, &answer);
        Ok(heard.again)
    }

    /// An answer arrives in a step of its own.
    pub(super) fn hear(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        self.carry(n, dice, true).map(drop)
    }

    /// An exchange, message after message, until both sides are done or the link is cut.
    pub(super) fn sync(
        &mut self,
        n: usize,
        dice: &mut Dice,
        faulty: bool,
    ) -> Result<(), FarmError> {
        for _ in 0..MOST_ROUNDS {
            self.send(n)?;
            if !self.carry(n, dice, faulty)? {
                return Ok(());
            }
        }
        let check = self.phones[n].farm().check()?;
        Err(broken(format!(
            "phone {n} and the server talk in circles; it checks: {:?}; strays {:?}",
            check.wrong,
            self.phones[n].farm().strays()
        )))
    }

    /// An old message arrives at the server once more.
    pub(super) fn replay(&mut self, dice: &mut Dice) -> Result<(), String> {
        if self.old_asks.is_empty() {
            return Ok(());
        }
        self.befell("old message again");
        let (auth, ask) = dice.pick(&self.old_asks).clone();
        let now = self.now;
        match self.hall.ask(&auth, &ask, now, Killed::No, dice)? {
            Reply::Answer(answer) if self.stale.len() < 8 => self.stale.push(answer),
            _ => {}
        }
        Ok(())
    }

    /// Two phones meet; the exchange may break off or carry damaged bytes.
    pub(super) fn meet(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let other = (n + 1 + dice.below(self.phones.len() - 1)) % self.phones.len();
        self.say(format!("with phone {other}"));
        let calm = self.script.calm;
        let (cut, hurt) = match dice.below(4) {
            0 if !calm => (Some(dice.below(5)), None),
            1 if !calm => (None, Some(dice.below(6))),
            _ => (None, None),
        };
        if cut.is_some() {
            self.befell("meeting cut");
        }
        if hurt.is_some() {
            self.befell("meeting garbled");
        }
        let (mut a, mut b) = (
            self.phones[n].farm().peer(),
            self.phones[other].farm().peer(),
        );
        for turn in 0..100 {
            if cut == Some(turn) {
                return Ok(());
            }
            for (from, to) in [(true, turn * 2), (false, turn * 2 + 1)] {
                let (says, hears) = if from {
                    (&mut a, &mut b)
                } else {
                    (&mut b, &mut a)
                };
                let mut message = says.say()?;
                if hurt == Some(to) {
                    if dice.once_in(2) {
                        message.truncate(dice.below(message.len()));
                    } else {
                        flip(&mut message, dice);
                    }
                    return damaged(hears.listen(&message).map(|_| false)).map(drop);
                }
                hears.listen(&message)?;
            }
            if a.is_done() && b.is_done() {
                return Ok(());
            }
        }
        Err(broken(format!("phones {n} and {other} talk in circles")))
    }

    /// A file by hand.
    pub(super) fn bundle(&mut self, n: usize, dice: &mut Dice) -> Result<(), FarmError> {
        let other = (n + 1 + dice.below(self.phones.len() - 1)) % self.phones.len();
        self.say(format!("to phone {other}"));
        let mut file = self.phones[n].farm().export()?;
        if !self.script.calm && dice.once_in(3) {
            self.befell("file damaged");
            if dice.once_in(2) {
                file.truncate(dice.below(file.len()));
            } else {
                flip(&mut file, dice);
            }
            return match self.phones[other].farm().import(&file) {
                Err(_) => Ok(()),
                Ok(_) => Err(broken("a damaged file was taken".into())),
            };
        }
        self.phones[other].farm().import(&file).map(drop)
    }
}

/// Changes one bit.
fn flip(bytes: &mut [u8], dice: &mut Dice) {
    if !bytes.is_empty() {
        bytes[dice.below(bytes.len())] ^= 1 << dice.below(8);
    }
}

/// Damaged bytes may be refused by any word but one of the storage's, or do no harm.
fn damaged(done: Result<bool, FarmError>) -> Result<bool, FarmError> {
    match done {
        Ok(again) => Ok(again),
        Err(e) if e.kind == ErrorKind::Storage => Err(e),
        Err(_) => Ok(false),
    }
}
