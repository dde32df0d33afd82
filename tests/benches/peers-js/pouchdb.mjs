// PouchDB over LevelDB, with express-pouchdb as its server. LevelDB does not wait for the disk here
// and PouchDB has no setting for it: what it calls done may be lost when the power fails.

import { createHash } from 'node:crypto';
import { once } from 'node:events';
import { cp, mkdir } from 'node:fs/promises';
import path from 'node:path';
import PouchDB from 'pouchdb-node';
import expressPouchDB from 'express-pouchdb';
import { Wire, another, bytesIn, fresh, tell, tellExchange, timed, work } from './common.mjs';

const NAME = 'PouchDB';
const folder = await fresh('pouch');
await mkdir(path.join(folder, 'server'), { recursive: true });
const at = (name) => path.join(folder, name);

const doc = ([id, fields]) => ({ _id: id, ...fields });
// The same revision wherever a record of the history is laid down, as if it had been synced.
const laid = ([id, fields]) => {
  const text = JSON.stringify(fields);
  return { _id: id, ...fields, _rev: `1-${createHash('md5').update(text).digest('hex')}` };
};

async function lay(db) {
  for (let n = 0; n < work.records.length; n += 1000) {
    await db.bulkDocs(work.records.slice(n, n + 1000).map(laid), { new_edits: false });
  }
}

// Ids begin with the time, so today's stand together at the end: no view has to be built.
async function gathered(db) {
  const { rows } = await db.allDocs({ include_docs: true, descending: true, limit: 200 });
  const today = rows.filter((row) => row.doc.kind === 'gather' && row.doc.day === work.day);
  return today.reduce((sum, row) => sum + row.doc.count, 0);
}

const Served = PouchDB.defaults({ prefix: at('server/') });
const app = expressPouchDB(Served, { mode: 'minimumForPouchDB', inMemoryConfig: true, logPath: at('log.txt') });
const server = app.listen(0, '127.0.0.1');
await once(server, 'listening');
const wire = await Wire.to(server.address().port);
const there = new Served('farm');
await lay(there);
const remote = () => new PouchDB(`http://127.0.0.1:${wire.port}/farm`);

const one = new PouchDB(at('one'));
await lay(one);
await one.close();
if (work.years > 0) tell(NAME, 'g', 'the database', [await bytesIn(at('one'))], 'bytes');
for (let n = 0; n < work.phones; n += 1) await cp(at('one'), at(`phone-${n}`), { recursive: true });

// (a)
let db = new PouchDB(at('one'));
const logged = [];
for (let n = 0; n < work.runs * 20; n += 1) {
  const record = doc(another());
  logged.push((await timed(() => db.put(record)))[0]);
}
tell(NAME, 'a', 'log one record, not durable', logged, 'ms');
await db.close();

// (b)
const opened = [];
for (let n = 0; n < work.runs; n += 1) {
  const [spent, open] = await timed(async () => {
    const cold = new PouchDB(at('one'));
    await gathered(cold);
    return cold;
  });
  opened.push(spent);
  await open.close();
}
tell(NAME, 'b', "open, and show today's sheet", opened, 'ms');

// (c)
db = new PouchDB(at('one'));
let far = remote();
await db.sync(far, { batch_size: 1000 });
let passed = [];
let spent = [];
for (let run = 0; run < Math.min(work.runs, 5); run += 1) {
  for (let n = 0; n < work.apart; n += 1) {
    await db.put(doc(another()));
    await there.put(doc(another()));
  }
  wire.take();
  spent.push((await timed(() => db.sync(far)))[0]);
  passed.push(wire.take());
}
tellExchange(NAME, passed, spent);
await db.close();

// (d)
if (work.years > 0) {
  spent = [];
  passed = [];
  for (let run = 0; run < Math.ceil(work.runs / 3); run += 1) {
    const fresh = new PouchDB(at(`new-${run}`));
    wire.take();
    spent.push((await timed(async () => {
      await fresh.replicate.from(far, { batch_size: 1000 });
      await gathered(fresh);
    }))[0]);
    passed.push(wire.take());
    await fresh.close();
  }
  tell(NAME, 'd', 'a new phone: everything', spent, 'ms');
  // The oldest come first, so today's totals stand when everything does.
  tell(NAME, 'd', "a new phone: today's totals", spent, 'ms');
  tell(NAME, 'd', "today's totals: passed", passed.map((p) => p.up + p.down), 'bytes');
  tell(NAME, 'd', "today's totals: round trips", passed.map((p) => p.trips), 'trips');
  tell(NAME, 'd', 'a new phone: received', passed.map((p) => p.down), 'bytes');
}
await far.close();

// (e) Each phone is told from where on to read, which spares it the search for a checkpoint.
const phones = [];
for (let n = 0; n < work.phones; n += 1) phones.push(new PouchDB(at(`phone-${n}`)));
far = remote();
spent = [];
for (let run = 0; run < Math.ceil(work.runs / 3); run += 1) {
  const { update_seq: since } = await there.info();
  const own = [];
  for (const phone of phones) {
    own.push((await phone.info()).update_seq);
    for (let n = 0; n < work.week; n += 1) await phone.put(doc(another()));
  }
  spent.push((await timed(async () => {
    for (const [n, phone] of phones.entries()) {
      await phone.replicate.to(far, { since: own[n], checkpoint: false });
    }
    for (const phone of phones) await phone.replicate.from(far, { since, checkpoint: false });
  }))[0]);
  const counts = await Promise.all(phones.map(async (phone) => (await phone.info()).doc_count));
  if (new Set(counts).size !== 1) throw new Error(`the phones hold ${counts} records`);
}
tell(NAME, 'e', 'merge 8 phones after a week', spent, 'ms');
process.exit(0);
