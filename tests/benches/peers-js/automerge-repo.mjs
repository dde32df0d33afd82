// The JavaScript Automerge repository with its file storage and its WebSocket sync server: one
// document a farm. Its storage does not wait for the disk: what it calls flushed may be lost when
// the power fails.

import { once } from 'node:events';
import { mkdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { Repo } from '@automerge/automerge-repo';
import { BrowserWebSocketClientAdapter, NodeWSServerAdapter } from '@automerge/automerge-repo-network-websocket';
import { NodeFSStorageAdapter } from '@automerge/automerge-repo-storage-nodefs';
import { WebSocketServer } from 'ws';
import { Wire, another, bytesIn, disk, fresh, tell, tellExchange, timed, work } from './common.mjs';

const NAME = 'automerge-repo';
const folder = await fresh('repo');
await mkdir(folder, { recursive: true });
const store = (name) => new NodeFSStorageAdapter(path.join(folder, name));
const saved = new Uint8Array(await readFile(path.join(disk, 'Automerge document.saved')));

function gathered(handle) {
  let sum = 0;
  for (const record of Object.values(handle.doc())) {
    if (String(record.kind) === 'gather' && String(record.day) === work.day) sum += Number(record.count);
  }
  return sum;
}

function log(handle) {
  const [id, fields] = another();
  handle.change((doc) => { doc[id] = { ...fields }; });
}

const until = async (what, holds) => {
  const begun = performance.now();
  while (!holds()) {
    if (performance.now() - begun > 120_000) throw new Error(`never: ${what}`);
    await new Promise((done) => { setTimeout(done, 1); });
  }
};
const same = (one, other) => JSON.stringify([...one.heads()].sort()) === JSON.stringify([...other.heads()].sort());

const sockets = new WebSocketServer({ host: '127.0.0.1', port: 0 });
await once(sockets, 'listening');
const wire = await Wire.to(sockets.address().port);
const server = new Repo({ storage: store('server'), network: [new NodeWSServerAdapter(sockets)], sharePolicy: async () => false });
const there = server.import(saved);
await server.flush();
const { url, documentId } = there;

async function phone(name) {
  const repo = new Repo({ storage: store(name) });
  const handle = repo.import(saved, { docId: documentId });
  await repo.flush();
  return { repo, handle };
}
function connect(one) {
  one.adapter = new BrowserWebSocketClientAdapter(`ws://127.0.0.1:${wire.port}`);
  one.repo.networkSubsystem.addNetworkAdapter(one.adapter);
}
async function cut(one) {
  one.repo.networkSubsystem.removeNetworkAdapter(one.adapter);
  await until('the server sees it leave', () => sockets.clients.size === 0);
}

// (a)
let one = await phone('one');
const logged = [];
for (let n = 0; n < work.runs * 5; n += 1) {
  logged.push((await timed(async () => {
    log(one.handle);
    await one.repo.flush();
  }))[0]);
}
tell(NAME, 'a', 'log one record, not durable', logged, 'ms');
if (work.years > 0) tell(NAME, 'g', 'the database', [await bytesIn(path.join(folder, 'one'))], 'bytes');

// (b)
const opened = [];
for (let n = 0; n < Math.min(work.runs, 3); n += 1) {
  opened.push((await timed(async () => {
    const cold = new Repo({ storage: store('one') });
    gathered(await cold.find(url));
  }))[0]);
}
tell(NAME, 'b', "open, and show today's sheet", opened, 'ms');

// (c) The first time is not counted: each learns what the other has.
connect(one);
await until('the first exchange', () => same(one.handle, there));
await one.repo.flush();
await cut(one);
let spent = [];
const passed = [];
for (let run = 0; run < Math.min(work.runs, 3); run += 1) {
  for (let n = 0; n < work.apart; n += 1) {
    log(one.handle);
    log(there);
  }
  await one.repo.flush();
  await server.flush();
  wire.take();
  spent.push((await timed(async () => {
    connect(one);
    await until('both hold the same', () => same(one.handle, there));
    await Promise.all([one.repo.flush(), server.flush()]);
  }))[0]);
  passed.push(wire.take());
  await cut(one);
}
tellExchange(NAME, passed, spent);

// (d)
if (work.years > 0) {
  spent = [];
  const came = [];
  const trips = [];
  for (let run = 0; run < Math.ceil(work.runs / 3); run += 1) {
    const fresh = { repo: new Repo({ storage: store(`new-${run}`) }) };
    wire.take();
    spent.push((await timed(async () => {
      connect(fresh);
      const handle = await fresh.repo.find(url);
      await until('the new phone holds everything', () => same(handle, there));
      gathered(handle);
      await fresh.repo.flush();
    }))[0]);
    const all = wire.take();
    came.push(all.down);
    trips.push(all.trips);
    await cut(fresh);
  }
  tell(NAME, 'd', 'a new phone: everything', spent, 'ms');
  tell(NAME, 'd', "a new phone: today's totals", spent, 'ms');
  tell(NAME, 'd', "today's totals: passed", came, 'bytes');
  tell(NAME, 'd', "today's totals: round trips", trips, 'trips');
  tell(NAME, 'd', 'a new phone: received', came, 'bytes');
}

// (e)
const phones = [];
for (let n = 0; n < work.phones; n += 1) phones.push(await phone(`phone-${n}`));
spent = [];
for (let run = 0; run < Math.ceil(work.runs / 3); run += 1) {
  for (const each of phones) {
    for (let n = 0; n < work.week; n += 1) log(each.handle);
    await each.repo.flush();
  }
  spent.push((await timed(async () => {
    phones.forEach(connect);
    await until('all hold the same', () => phones.every((each) => same(each.handle, there)));
    await Promise.all([server, ...phones.map((each) => each.repo)].map((repo) => repo.flush()));
  }))[0]);
  for (const each of phones) each.repo.networkSubsystem.removeNetworkAdapter(each.adapter);
  await until('the server sees them leave', () => sockets.clients.size === 0);
}
tell(NAME, 'e', 'merge 8 phones after a week', spent, 'ms');
process.exit(0);
