// One tab owns the records; a second one works through it, and takes over when it goes.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { Stage, until } from './stage.mjs';

let stage;
before(async () => { stage = await Stage.open(); });
after(() => stage.close());

test('two tabs, one set of records', { timeout: 180_000 }, async () => {
  const ana = await stage.phone('tabs');
  await ana.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop' });
  const first = ana.page;
  const second = await ana.browser.newPage();
  ana.watch(second);
  await second.goto(`${ana.origin}/phone/`);
  await second.locator('nav.bar').waitFor();
  await second.getByRole('button', { name: 'Add 6 eggs' }).tap();
  await second.getByRole('button', { name: /^Log 6/ }).tap();
  await second.locator('#live').filter({ hasText: '6 hen eggs' }).waitFor({ state: 'attached' });
  // The first tab shows what the second logged, unasked.
  await first.locator('.rows b').filter({ hasText: '6' }).first().waitFor();

  await first.close();
  ana.page = second;
  await until('the second takes over', async () => (await ana.ask('hello')).owner);
  await second.getByRole('button', { name: 'Add 1 egg' }).tap();
  await second.getByRole('button', { name: /^Log 1 / }).tap();
  await until('both rounds are there', async () => (await ana.ask('home')).gathers.length === 2);
  assert.deepEqual((await ana.ask('check')).wrong, []);
});
