// The device's secret grows old: the app takes a fresh one, and no break in between shuts it out.

import assert from 'node:assert/strict';
import { test } from 'node:test';
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { Stage, until } from './stage.mjs';

const { Exchange } = await import(pathToFileURL(path.resolve('bindings/web/app/exchange.js')));

// A server as far as secrets go: a fresh one is good at once, the old one until the fresh one was
// used; see the server's own tests of `renew_token`.
class Door {
  constructor(secret) { Object.assign(this, { good: secret, next: null, given: 0, loseAnswer: false, synced: 0 }); }

  lets(header) {
    const token = header.replace('Bearer ', '');
    if (token === this.next) { this.good = this.next; this.next = null; }
    return token === this.good;
  }

  async fetch(address, { headers }) {
    if (!this.lets(headers.authorization)) return { ok: false, status: 401, json: async () => ({ message: 'shut out' }) };
    if (address === '/v1/token') {
      this.given += 1;
      this.next = `fresh-${this.given}`;
      if (this.loseAnswer) throw new TypeError('the line broke');
      return { ok: true, json: async () => ({ token: this.next }) };
    }
    this.synced += 1;
    return { ok: true, arrayBuffer: async () => new ArrayBuffer(0) };
  }
}

// A phone's core as far as secrets go.
const core = (kept) => ({
  has_farm: () => true, ask: () => new Uint8Array(), hear: () => '{"changes":0,"again":false}',
  call(name, words) {
    if (name === 'fresh_token') {
      if (kept.full) throw JSON.stringify({ kind: 'disk_full', message: 'full' });
      Object.assign(kept, { token: JSON.parse(words).token, renew: false });
    }
    return JSON.stringify(name === 'carrier' ? { url: '', token: kept.token, renew: kept.renew } : null);
  },
});

async function exchange(door, kept) {
  const real = globalThis.fetch;
  globalThis.fetch = (address, options) => door.fetch(address, options);
  try {
    const line = new Exchange(core(kept), () => {});
    line.listen = async () => {};
    await line.now();
  } finally {
    globalThis.fetch = real;
  }
}

test('an old secret is changed for a fresh one after an exchange, once', async () => {
  const [door, kept] = [new Door('old'), { token: 'old', renew: true }];
  await exchange(door, kept);
  assert.deepEqual([kept.token, door.given], ['fresh-1', 1]);
  await exchange(door, kept);
  assert.deepEqual([door.good, door.given, door.synced], ['fresh-1', 1, 2]);
});

test('an answer that is lost, or cannot be kept, leaves the old secret good', async () => {
  const [door, kept] = [new Door('old'), { token: 'old', renew: true }];
  door.loseAnswer = true;
  await exchange(door, kept);
  door.loseAnswer = false;
  kept.full = true;
  await exchange(door, kept);
  assert.deepEqual([kept.token, kept.renew, door.given], ['old', true, 2], 'nobody was told, nothing broke');
  kept.full = false;
  await exchange(door, kept);
  await exchange(door, kept);
  assert.deepEqual([kept.token, door.good], ['fresh-3', 'fresh-3']);
});

test('a crash after keeping, before the first use, does no harm', async () => {
  const [door, kept] = [new Door('old'), { token: 'old', renew: true }];
  await exchange(door, kept);
  // The app starts anew with what it kept.
  await exchange(door, { ...kept });
  assert.equal(door.good, kept.token);
});

test('the real server takes the fresh one, and then the old one no more', { timeout: 240_000 }, async () => {
  const stage = await Stage.open();
  try {
    const phone = await stage.phone('token');
    await phone.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop' });
    await phone.view('family');
    await phone.page.getByLabel('Invite code').fill(await stage.invite());
    await phone.page.getByRole('button', { name: 'Join a server' }).tap();
    await phone.page.getByRole('heading', { name: 'All synced' }).waitFor();
    const old = (await phone.ask('carrier')).token;
    const opens = (token) => fetch(`http://127.0.0.1:${stage.port}/v1/devices`, { headers: { authorization: `Bearer ${token}` } }).then((answer) => answer.status);
    assert.equal(await opens(old), 200);
    // A month later: the worker's clock is set on. What is kept for offline use would come unchanged.
    await phone.page.evaluate(async () => {
      for (const one of await navigator.serviceWorker.getRegistrations()) await one.unregister();
      for (const name of await caches.keys()) await caches.delete(name);
    });
    await phone.browser.route(/\/(sw|worker)\.js$/, async (route) => {
      if (route.request().url().endsWith('/sw.js')) { await route.fulfill({ contentType: 'text/javascript', body: '// Keeps nothing.' }); return; }
      const answer = await route.fetch();
      const later = 'const real = Date.now.bind(Date); Date.now = () => real() + 31 * 86_400_000;\n';
      await route.fulfill({ response: answer, body: later + await answer.text() });
    });
    await phone.go();
    await phone.ready();
    const fresh = await until('a fresh secret is kept', async () => {
      const { token, renew } = await phone.ask('carrier');
      return token !== old && !renew && token;
    });
    await phone.page.getByRole('button', { name: 'Add 6 eggs' }).tap();
    await phone.page.getByRole('button', { name: /^Log 6/ }).tap();
    await phone.said('6 hen eggs');
    await until('what was logged went out', async () => (await phone.ask('status')).waiting === 0);
    assert.deepEqual([await opens(fresh), await opens(old)], [200, 401]);
  } finally {
    await stage.close();
  }
});
