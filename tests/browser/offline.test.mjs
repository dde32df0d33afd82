// First load, then no network: also after the phone was switched off. And updates that ask.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { Front } from './front.mjs';
import { Stage, until } from './stage.mjs';

let stage;
before(async () => { stage = await Stage.open(); });
after(() => stage.close());

const kept = (page) => until('the app is kept for later', () => page.evaluate(async () => {
  const registration = await navigator.serviceWorker.ready;
  return registration.active?.state === 'activated' && Boolean(navigator.serviceWorker.controller);
}));

test('in flight mode everything works, from a cold start too', { timeout: 240_000 }, async () => {
  const phone = await stage.phone('flight');
  await phone.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop' });
  await kept(phone.page);
  phone.line.cut();
  await phone.kill();
  await phone.start();
  await phone.go();
  await phone.ready();
  await phone.page.getByRole('button', { name: 'Add 12 eggs' }).tap();
  await phone.page.getByRole('button', { name: /^Log 12/ }).tap();
  await phone.said('12 hen eggs');
  for (const view of ['bench', 'basket', 'sink', 'candle', 'pack', 'shelf', 'today', 'review', 'family', 'settings']) {
    await phone.view(view);
    await phone.page.locator(`main.view-${view} h1`).waitFor();
  }
  // Nothing there speaks of an error.
  assert.equal(await phone.page.locator('.toast.bad, .stuck').count(), 0);
  await phone.kill();
  await phone.start();
  await phone.go();
  await phone.ready();
  assert.equal((await phone.ask('home')).gathers.length, 1);
  phone.line.mend();
});

test('a new version waits until it is wanted, and keeps the records', { timeout: 240_000 }, async () => {
  const front = await Front.open(stage.port);
  const phone = await stage.phone('update');
  await phone.line.close();
  phone.origin = `http://localhost:${front.port}`;
  await phone.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop' });
  await kept(phone.page);
  await phone.page.getByRole('button', { name: 'Add 6 eggs' }).tap();
  await phone.page.getByRole('button', { name: /^Log 6/ }).tap();
  await phone.said('6 hen eggs');
  const before = await phone.page.evaluate(() => document.querySelector('script[type="module"]').src);

  front.name = 'feedfacecafe';
  await phone.page.reload();
  await phone.ready();
  // What runs is still the old one, whole, until the person says so.
  assert.equal(await phone.page.evaluate(() => document.querySelector('script[type="module"]').src), before);
  await phone.page.getByRole('button', { name: 'Update now' }).tap();
  await until('the new version runs', () => phone.page.evaluate(() => document.querySelector('script[type="module"]').src.includes('feedfacecafe')));
  await phone.ready();
  assert.equal((await phone.ask('home')).gathers[0].fields.count, 6);
  const caches = await until('the old version is gone', () => phone.page.evaluate(async () => {
    const names = await caches.keys();
    return names.length === 1 && names;
  }));
  assert.deepEqual(caches, ['pointdown-phone-feedfacecafe']);
  phone.line = { close: async () => {} };
  await front.close();
});

test('on plain HTTP from elsewhere it says what is missing, instead of breaking', { timeout: 120_000 }, async () => {
  const phone = await stage.phone('plain', { host: 'plain.test' });
  await phone.go();
  await phone.page.getByText('one that begins with https').waitFor();
  // And how a family comes by a secure address, on a narrow screen too.
  await phone.page.getByRole('heading', { name: 'A secure address at home' }).waitFor();
  await phone.page.getByText('--tls own --tls-name NAME').waitFor();
  await phone.page.setViewportSize({ width: 320, height: 700 });
  assert.ok(await phone.page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), 'nothing sticks out sideways');
  assert.equal(await phone.page.evaluate(() => isSecureContext), false);
});
