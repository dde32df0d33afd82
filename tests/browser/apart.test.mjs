// Three phones log apart with their lines cut, one loses its battery in the middle; then all meet.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { Stage, until } from './stage.mjs';

let stage;
before(async () => { stage = await Stage.open(); });
after(() => stage.close());

const log = async (phone, coop, taps) => {
  await phone.view('gather');
  await phone.page.getByRole('button', { name: coop, exact: true }).tap();
  for (const tap of taps) await phone.page.getByRole('button', { name: `Add ${tap} egg${tap === 1 ? '' : 's'}`, exact: true }).tap();
  const n = taps.reduce((a, b) => a + b, 0);
  await phone.page.getByRole('button', { name: new RegExp(`^Log ${n} egg`) }).tap();
  await phone.said(`${n} hen egg${n === 1 ? '' : 's'} from ${coop} logged.`);
};

test('what each logged alone, all have in the end', { timeout: 300_000 }, async () => {
  const ana = await stage.phone('ana');
  await ana.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop' });
  await ana.view('family');
  // The whole link does as well as the code within it.
  await ana.page.getByLabel('Invite code').fill(`${ana.origin}/phone/#invite=${await stage.invite()}`);
  await ana.page.getByRole('button', { name: 'Join a server' }).tap();
  await ana.page.getByRole('heading', { name: 'All synced' }).waitFor();
  const { farm } = await ana.ask('home');

  // The invite of the app itself lets the others in.
  const others = [];
  for (const name of ['ben', 'caro']) {
    await ana.page.getByRole('button', { name: 'Invite someone' }).tap();
    const code = await ana.page.locator('.invite .code').textContent();
    await ana.page.getByRole('button', { name: 'Close' }).first().tap();
    const phone = await stage.phone(name);
    await phone.join(code, name);
    assert.equal(new URL(phone.page.url()).hash.includes(code), false, 'the code does not stay in the address');
    others.push(phone);
  }
  const [ben, caro] = others;
  const all = [ana, ben, caro];

  for (const phone of all) phone.line.cut();
  await log(ana, 'North coop', [12, 6]);
  await log(ben, 'North coop', [6, 1]);
  await log(caro, 'North coop', [12]);
  // No signal is nothing to worry about: no alarm, only what waits.
  for (const phone of all) {
    await phone.page.getByText(/changes? to send/).first().waitFor();
    assert.equal(await phone.page.locator('.toast.bad').count(), 0);
  }
  // One more on the way to the disk when the battery goes: what was said to be logged must be there.
  await caro.page.getByRole('button', { name: 'Add 6 eggs' }).tap();
  await caro.page.getByRole('button', { name: 'Log 6 eggs · North coop' }).tap({ noWaitAfter: true });
  await caro.kill();
  await caro.start();
  await caro.go();
  await caro.ready();
  const { today } = await caro.ask('home');
  const kept = (await caro.ask('sheet', { from: today, to: today })).gathered.eggs;
  assert.ok(kept === 12 || kept === 18, `${kept} eggs after the battery went`);

  // Back indoors; the first line breaks once more in the middle of the exchange.
  ana.line.mend();
  ana.line.cutAfter = ana.line.bytes + 400;
  await ana.page.evaluate(() => dispatchEvent(new Event('online')));
  await until('the line broke again', () => !ana.line.whole);
  for (const phone of all) phone.line.mend();
  for (const phone of all) await phone.page.evaluate(() => dispatchEvent(new Event('online')));

  const due = 18 + 7 + kept;
  const span = { from: today, to: today };
  for (const phone of all) {
    await until(`${phone.name} has all`, async () => {
      const status = await phone.ask('status');
      const sheet = await phone.ask('sheet', span);
      return status.waiting === 0 && sheet.gathered.eggs === due;
    }, 60_000);
  }
  const hashes = await Promise.all(all.map((phone) => phone.ask('sheet_hash', span)));
  const kitchen = await until('the server counts them too', async () => {
    const shown = await stage.kitchen(farm);
    return shown.sheet.gathered.eggs === due && shown;
  });
  assert.deepEqual(new Set([...hashes, kitchen.sheet_hash]).size, 1, 'one fingerprint for all');
  for (const phone of all) {
    await phone.view('today');
    assert.equal(await phone.page.locator('.totals .big b').textContent(), String(due));
    assert.deepEqual((await phone.ask('check')).wrong, []);
  }
  // Three rounds of one coop by three people who had not seen each other: the list asks.
  assert.ok((await ana.ask('review')).some((line) => line.what.kind === 'double_log'));
});

test('news comes by itself while the line holds', { timeout: 120_000 }, async () => {
  const [ana, ben] = stage.phones;
  await ana.view('today');
  await log(ben, 'North coop', [1]);
  const span = await ana.ask('home').then(({ today }) => ({ from: today, to: today }));
  const due = (await ben.ask('sheet', span)).gathered.eggs;
  await until('the poke', async () => (await ana.page.locator('.totals .big b').textContent()) === String(due), 20_000);
});

test('a phone that was shut out says so, goes on logging, and comes back by a new invite', { timeout: 120_000 }, async () => {
  const [ana] = stage.phones;
  await ana.view('family');
  // Either of the other two will do; it takes two taps.
  const out = ana.page.locator('section').filter({ hasText: 'Who is in' }).getByRole('button').first();
  await out.tap();
  await ana.page.getByText('Really?').waitFor();
  await out.tap();
  const [shut] = await until('one of the others is told', async () => {
    const told = [];
    for (const phone of stage.phones.slice(1)) {
      await phone.page.evaluate(() => dispatchEvent(new Event('online')));
      if ((await phone.ask('status')).shut) told.push(phone);
    }
    return told.length && told;
  });
  await log(shut, 'North coop', [6]);
  await shut.view('family');
  await shut.page.getByRole('heading', { name: 'The server does not let this phone in' }).waitFor();
  await shut.page.getByLabel('Invite code').fill(await stage.invite((await ana.ask('home')).farm));
  await shut.page.getByRole('button', { name: 'Join', exact: true }).tap();
  const span = await ana.ask('home').then(({ today }) => ({ from: today, to: today }));
  await until('what was logged meanwhile reaches the others', async () => {
    const [here, there] = [await shut.ask('sheet_hash', span), await ana.ask('sheet_hash', span)];
    return here === there && (await shut.ask('status')).waiting === 0;
  }, 40_000);
});
