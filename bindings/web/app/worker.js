// The worker: it owns the database, or passes questions on to the tab that does.
//
// Only one worker of an origin can hold the browser's files. A web lock decides which; the others
// ask it over a channel, and the next in line takes over when its tab goes away.

import init, { Phone } from './core/pointdown.js';
import { Exchange } from './exchange.js';

const LOCK = 'pointdown-farm';
// Longer than any answer takes; a tab that a phone has put to sleep never answers.
const PATIENCE_MS = 8000;
// What may be asked again without harm when the owner went away before it answered.
const SAFE = new Set([
  'hello', 'home', 'sheet', 'days', 'list', 'record', 'now', 'trends', 'suggest', 'of_run', 'review', 'sink', 'defects',
  'weights', 'fill', 'label', 'qr', 'status', 'devices', 'sheet_hash', 'record_count', 'check', 'to_file',
]);

const channel = new BroadcastChannel(LOCK);
const me = crypto.randomUUID();
const waiting = new Map();
let phone = null;
let owner = false;
let broken = null;
let exchange = null;
let ready;
const opened = new Promise((done) => { ready = done; });

const tell = (event) => {
  postMessage({ event });
  channel.postMessage({ event });
};

function failure(error) {
  if (typeof error === 'string') {
    try { return JSON.parse(error); } catch { return { kind: 'storage', message: error }; }
  }
  if (error && error.kind) return { kind: error.kind, message: error.message };
  // A trap: the core stopped in the middle. The page starts this worker anew.
  return { kind: 'trap', message: String(error) };
}

// Answers a question here. Whatever it logged is durable when the answer goes out.
async function answer(name, words, bytes) {
  if (broken) throw broken;
  switch (name) {
    case 'hello':
      return { owner, farm: phone.has_farm() };
    case 'begin':
      phone.begin(JSON.stringify(words));
      return null;
    case 'join':
      return exchange.join(words);
    case 'sync':
      return exchange.now();
    case 'invite':
    case 'devices':
    case 'shut_out':
      return exchange.members(name, words);
    case 'to_file':
      return phone.to_file();
    case 'from_file':
      return phone.has_farm() ? phone.take_file(bytes) : phone.from_file(bytes);
    default: {
      const told = JSON.parse(phone.call(name, JSON.stringify(words ?? null)));
      // The core knows what waits; only the carrier knows whether the server still lets it in.
      if (name === 'status') told.shut = exchange.state.refused;
      if (name === 'home') told.status.shut = exchange.state.refused;
      return told;
    }
  }
}

const CHANGES = new Set(['begin', 'join', 'log', 'stocktake', 'amend', 'void', 'decide', 'person', 'device', 'from_file']);

async function serve(name, words, bytes) {
  const result = await answer(name, words, bytes);
  if (CHANGES.has(name)) {
    tell('changed');
    exchange.soon();
  }
  return result;
}

// Asks the tab that owns the database.
function pass(question) {
  return new Promise((done, fail) => {
    const timer = setTimeout(() => {
      waiting.delete(question.id);
      fail({ kind: 'elsewhere', message: 'the tab that has the records open does not answer' });
    }, PATIENCE_MS);
    waiting.set(question.id, { question, done, fail, timer });
    channel.postMessage({ ask: question });
  });
}

channel.onmessage = async ({ data }) => {
  if (data.event) postMessage({ event: data.event });
  if (data.ask && owner) {
    const { id, from, name, words, bytes } = data.ask;
    try {
      channel.postMessage({ to: from, id, result: await serve(name, words, bytes) });
    } catch (error) {
      channel.postMessage({ to: from, id, error: failure(error) });
    }
  }
  if (data.to === me && waiting.has(data.id)) {
    const { done, fail, timer } = waiting.get(data.id);
    clearTimeout(timer);
    waiting.delete(data.id);
    if (data.error) fail(data.error); else done(data.result);
  }
};

async function own() {
  owner = true;
  try {
    phone = await openPool();
  } catch (error) {
    broken = failure(error);
    if (broken.kind === 'storage') broken.kind = 'no_files';
  }
  exchange = new Exchange(phone, tell);
  ready();
  // What was asked of the owner before is asked here, where that does no harm.
  for (const [id, { question, done, fail, timer }] of waiting) {
    clearTimeout(timer);
    waiting.delete(id);
    if (SAFE.has(question.name)) serve(question.name, question.words).then(done, (e) => fail(failure(e)));
    else fail({ kind: 'unsure', message: 'the other tab closed in the middle; look whether this was logged' });
  }
  tell('owner');
  exchange.start();
  // The lock is held for as long as this worker lives.
  await new Promise(() => {});
}

// The browser lets go of a closed tab's files a moment after its lock.
async function openPool() {
  for (let tries = 0; ; tries += 1) {
    try {
      return await Phone.open();
    } catch (error) {
      if (failure(error).kind !== 'in_use' || tries > 40) throw error;
      await new Promise((done) => { setTimeout(done, 50); });
    }
  }
}

onmessage = async ({ data }) => {
  if (data.wake) {
    exchange?.wake();
    return;
  }
  const { id, name, words, bytes } = data;
  try {
    await opened;
    const result = owner
      ? await serve(name, words, bytes)
      : await pass({ id: `${me}${id}`, from: me, name, words, bytes });
    postMessage({ id, result });
  } catch (error) {
    postMessage({ id, error: failure(error) });
  }
};

await init({ module_or_path: new URL('./core/pointdown_bg.wasm', import.meta.url) });
const held = await navigator.locks.query();
navigator.locks.request(LOCK, own);
if (held.held.some((lock) => lock.name === LOCK)) ready();
