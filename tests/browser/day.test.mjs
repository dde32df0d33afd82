// A day's story by taps alone: gathered, pulled, washed, candled, weighed, packed, sold.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { Stage, until } from './stage.mjs';

let stage;
before(async () => { stage = await Stage.open(); });
after(() => stage.close());

test('from the nest to the stall', { timeout: 240_000 }, async () => {
  const phone = await stage.phone('day');
  const { page } = phone;
  const tap = (name, options = {}) => page.getByRole('button', { name, ...options }).first().tap();
  await phone.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop', birds: ['hen', 'duck'] });

  // Gathered: 26 hens' eggs, two floor-laid, one muddy pulled on the spot; and five ducks' eggs.
  await tap('hen', { exact: true });
  for (const n of [12, 12, 1, 1]) await tap(`Add ${n} egg${n === 1 ? '' : 's'}`, { exact: true });
  await tap('One more: Floor-laid');
  await tap('One more: Floor-laid');
  await tap('Pull some right here');
  await tap('mud', { exact: true });
  await tap('Pull these');
  await tap(/^Log 26 eggs/);
  await phone.said('26 hen eggs');
  await tap('duck', { exact: true });
  await tap('Add 6 eggs', { exact: true });
  await tap(/Take one away/);
  // A double tap is one round.
  await page.getByRole('button', { name: /^Log 5 eggs/ }).dblclick();
  await phone.said('5 duck eggs');

  // A wrong round is taken back, and stays on record as voided.
  await tap('Add 1 egg', { exact: true });
  await tap(/^Log 1 egg/);
  await phone.said('1 duck egg');
  await page.locator('.toast').getByRole('button', { name: 'Undo' }).tap();
  await phone.said('Taken back.');

  // The basket: a knock crack more.
  await page.getByRole('link', { name: 'Bench' }).tap();
  await page.getByRole('link', { name: /The basket/ }).tap();
  await tap('hen', { exact: true });
  await tap('Show every reason');
  await tap('knock crack');
  await tap(/^Pull 1: knock crack/);
  await phone.said('1 egg pulled: knock crack.');

  // The sink: water too cold is said, warmer water is right, one tap logs.
  await page.getByRole('link', { name: 'Bench' }).tap();
  await page.getByRole('link', { name: /The sink/ }).tap();
  await tap('hen', { exact: true });
  await tap('spray');
  await tap('One less: Water now');
  await page.getByText('Too hot: shells crack').or(page.getByText('The water is right')).or(page.getByText('Too cold')).first().waitFor();
  const water = async (way, until_) => {
    for (let i = 0; i < 60 && !(await page.getByText(until_).isVisible()); i += 1) {
      await tap(`${way}: Water now`);
      await page.waitForTimeout(30);
    }
    await page.getByText(until_).waitFor();
  };
  await water('One less', 'Too cold: add warm water.');
  await water('One more', 'The water is right.');
  await page.getByText(/This basin takes about \d+ eggs/).waitFor();
  await tap(/^Log 24 hen eggs cleaned/);
  await phone.said('24 hen eggs cleaned: spray.');

  // Candling: twelve seen, one of them cracked and pulled at once.
  await page.getByRole('link', { name: 'Bench' }).tap();
  await page.getByRole('link', { name: /Candling/ }).tap();
  await tap('hen', { exact: true });
  for (let i = 0; i < 11; i += 1) await tap(/^One more: A /);
  await tap(/^One more: Cracked/);
  await tap('Log 12 eggs candled');
  await phone.said('12 eggs candled.');

  // Weighed and packed: twelve Large fill a carton, pointed end down.
  await page.getByRole('link', { name: 'Bench' }).tap();
  await page.getByRole('link', { name: /Weigh and pack/ }).tap();
  await tap('hen', { exact: true });
  await page.getByLabel(/Weight of the next egg/).fill('2.05 2.1 2.12 2.08 2.2 2.15 2.18 2.11 2.07 2.09 2.14 2.16 1.7');
  await tap('Add', { exact: true });
  await page.getByText('1 carton of 12 · Large').waitFor();
  await page.getByText('1 egg not in a full carton').waitFor();
  await tap('Log 1 carton');
  await phone.said('Logged, with 1 carton.');

  // Sold.
  await page.getByRole('link', { name: 'Shelf' }).tap();
  await page.getByText('1 carton of 12').first().waitFor();
  await tap(/^Out: 1 carton/);
  await tap('1 carton sold');
  await phone.said('1 carton sold.');

  await page.getByRole('link', { name: 'Today' }).tap();
  await page.locator('.totals .big b').filter({ hasText: '31' }).waitFor();
  const { today } = await phone.ask('home');
  const sheet = await phone.ask('sheet', { from: today, to: today });
  assert.equal(sheet.gathered.eggs, 31);
  assert.deepEqual(sheet.gathered.by_species, { hen: 26, duck: 5 });
  assert.equal(sheet.gathered.floor_laid, 2);
  assert.deepEqual(sheet.pulled.by_reason, { hairline_crack: 1, impact_crack: 1, mud: 1 });
  assert.deepEqual(sheet.washed, { spray: 24 });
  assert.deepEqual(sheet.candled, { a: 11, check: 1 });
  assert.deepEqual(sheet.cartoned.map((run) => [run.species, run.size, run.cartons, run.eggs]), [['hen', 'large', 1, 12]]);
  assert.equal(sheet.out.eggs.sold, 12);
  // Eggs in are eggs somewhere: 26 less three pulled less twelve sold are eleven hens' eggs.
  const left = Object.fromEntries(sheet.on_hand.map((row) => [`${row.station} ${row.species}`, row.eggs]));
  assert.deepEqual(left, { 'basket duck': 5, 'clean hen': 11 });
  const records = await phone.ask('list', { kind: 'gather', all: true });
  assert.equal(records.length, 3);
  assert.equal(records.filter((row) => row.standing === 'voided').length, 1);
  assert.deepEqual((await phone.ask('check')).wrong, []);
  await until('nothing to send without a server', async () => (await phone.ask('status')).waiting === 0);
});
