// The shelf's one list, what is not to be touched, what came back, the stocktake, what else is logged,
// and mending a number; and the list in Spanish.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { Stage, until } from './stage.mjs';
import { furnish, VIEWS, visit } from './views.mjs';

let stage;
let phone;
before(async () => {
  stage = await Stage.open();
  phone = await stage.phone('shelf');
  await phone.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop' });
  await furnish(phone);
});
after(() => stage.close());

const tap = (name, options = {}) => phone.page.getByRole('button', { name, ...options }).first().tap();
const open = async (view) => { await phone.page.locator(`main.view-${await visit(phone, view)} h1`).waitFor(); };
const sum = (parts) => Object.values(parts).reduce((a, b) => a + b, 0);

test('what is due is the core’s own list, in its order, each reason once', { timeout: 120_000 }, async () => {
  const { page } = phone;
  await open('shelf');
  await page.locator('.due-next li').first().waitFor();
  const now = await phone.ask('now');
  assert.ok(now.due.length > 12, 'a list that is worth folding');
  assert.deepEqual(now.due.map((line) => line.due ?? Infinity), now.due.map((line) => line.due ?? Infinity).toSorted((a, b) => a - b));
  await tap(/^Show \d+ more/);
  const lines = page.locator('.due-next ol li');
  assert.equal(await lines.count(), now.due.length);
  const eggs = await lines.evaluateAll((all) => all.map((one) => one.querySelector(':scope > b')?.textContent ?? '0'));
  assert.deepEqual(eggs, now.due.map((line) => String(line.eggs)));
  const numbers = await lines.evaluateAll((all) => all.map((one) => /\[([\d, ]+)\]/.exec(one.textContent)[1]));
  assert.deepEqual(numbers, now.of.map((of) => of.join(', ')));
  const reasons = await page.locator('.due-next .numbered li').allTextContents();
  assert.equal(reasons.length, now.reasons.length);
  assert.equal(new Set(reasons.map((text) => text.replace(/^\[\d+\]/, ''))).size, reasons.length, 'each once');
  await page.locator('.due-next li').filter({ hasText: 'Cooler' }).filter({ hasText: 'Pantry fridge' }).waitFor();
});

test('held eggs are left alone until somebody says what was done', { timeout: 120_000 }, async () => {
  const { page } = phone;
  const free = await phone.ask('suggest', { station: 'basket', species: 'duck' });
  assert.ok(free.held > 0 && free.eggs > 0, JSON.stringify(free));
  await open('sink');
  await tap('duck', { exact: true });
  await tap('dry', { exact: true });
  await page.getByText(`${free.held} eggs here are or may be on hold`).waitFor();
  await page.getByRole('button', { name: `Log ${free.eggs} duck eggs cleaned` }).waitFor();
  await page.getByRole('checkbox').first().check();
  await page.getByRole('button', { name: `Log ${free.eggs + free.held} duck eggs cleaned` }).waitFor();
  await page.getByRole('checkbox').first().uncheck();
  await tap(`Log ${free.eggs} duck eggs cleaned`);
  await phone.said(`${free.eggs} duck eggs cleaned`);
  const after = await phone.ask('suggest', { station: 'basket', species: 'duck' });
  assert.deepEqual([after.eggs, after.held], [0, free.held]);
});

test('cartons go, and one comes back', { timeout: 120_000 }, async () => {
  const { page } = phone;
  await open('shelf');
  const before = (await phone.ask('now')).runs.find((run) => run.eggs_per_carton === 12);
  await page.getByRole('listitem').filter({ hasText: `${before.cartons} cartons of 12` }).getByRole('button', { name: /^Out: / }).tap();
  await tap('Saturday stall');
  await tap('One more: Cartons');
  await tap('2 cartons sold');
  await phone.said('2 cartons sold.');
  assert.equal((await phone.ask('now')).runs.find((run) => run.id === before.id).cartons, before.cartons - 2);
  await tap('Something came back');
  await tap(/^Saturday stall/);
  await tap('Log 1 carton back');
  await phone.said('1 carton came back from Saturday stall.');
  assert.equal((await phone.ask('now')).runs.find((run) => run.id === before.id).cartons, before.cartons - 1);
  const outs = await phone.ask('list', { kind: 'out' });
  const back = outs.find((row) => row.fields.way === 'returned');
  assert.deepEqual([back.fields.cartons, sum(back.fields.parts), back.fields.carton], [1, 12, before.id]);
});

test('a station is counted on one screen', { timeout: 120_000 }, async () => {
  const { page } = phone;
  await open('stock');
  const fields = page.locator('main input');
  await fields.first().waitFor();
  const n = await fields.count();
  assert.ok(n > 3);
  const expected = Number(/on record: (-?\d+)/.exec(await page.locator('main .field label').first().textContent())[1]);
  await fields.first().fill(String(expected + 2));
  await tap('The rest is as on record');
  await tap(`Log ${n} counts`);
  await phone.said(`${n} counts logged.`);
  await page.getByText(`on record ${expected}, found ${expected + 2}`).waitFor();
  assert.equal(await page.locator('main .rows li').count(), 1, 'only what differs');
  assert.equal((await phone.ask('list', { kind: 'recount' })).length, n);
});

test('holds, the cooler, birds, feed and supplies are logged', { timeout: 120_000 }, async () => {
  const { page } = phone;
  const latest = async (kind) => (await phone.ask('list', { kind, most: 1 }))[0].fields;
  const home = await phone.ask('home');
  const [north] = home.coops;

  await open('more/hold');
  assert.ok(await page.getByRole('button', { name: /^Put on hold/ }).isDisabled(), 'not without a cause');
  await tap('illness', { exact: true });
  await tap('North coop', { exact: true });
  await page.getByLabel(/^Last day held/).fill('2020-01-01');
  await page.getByText('The last day is before the first.').waitFor();
  await page.getByLabel(/^Last day held/).fill('');
  await page.getByLabel(/^What was given/).fill('drops, by the vet');
  await tap('Put on hold · North coop');
  await phone.said('North coop');
  let logged = await latest('hold');
  assert.deepEqual([logged.cause, logged.coop, logged.from, logged.until, logged.given], ['illness', north.id, home.today, undefined, 'drops, by the vet']);
  await page.locator('.toast').getByRole('button', { name: 'Undo' }).tap();
  await phone.said('Taken back.');

  await open('more/reading');
  // 39 °F is 3.9 °C.
  assert.ok(await page.getByRole('button', { name: 'Set what it shows' }).isDisabled(), 'nothing is logged that nobody read');
  await tap('One less: Air inside');
  await tap('Log 38 °F');
  await phone.said('Pantry fridge: 38 °F logged.');
  logged = await latest('reading');
  assert.ok(Math.abs(logged.air_c - (38 - 32) * 5 / 9) < 0.06, logged.air_c);

  await open('more/headcount');
  await page.getByLabel(/^Laying birds now/).fill('31');
  await tap('Log headcount');
  await phone.said('31 birds in North coop.');
  assert.equal((await latest('headcount')).birds, 31);

  await open('more/feed');
  await page.getByLabel('Feed', { exact: true }).fill('50');
  await page.getByLabel('Cost of all of it').fill('18.40');
  await tap('Log feed');
  await phone.said('Feed logged.');
  logged = await latest('feed');
  // 50 lb, by the pound of 0.45359237 kg.
  assert.deepEqual([logged.kg, Number(logged.cost)], [22.68, 18.4]);

  await open('more/supply');
  await tap('brush replaced');
  await tap('Log it');
  await phone.said('Logged: brush replaced.');
  assert.equal((await latest('supply')).item, 'brush_replaced');
});

test('a wrong number is mended, and undone', { timeout: 120_000 }, async () => {
  const { page } = phone;
  await phone.view('today');
  await page.locator('main.view-today details').last().evaluate((one) => { one.open = true; });
  await page.locator('main.view-today').getByRole('link', { name: /^Mend.*gather/i }).first().tap();
  await page.locator('main.view-record h1').waitFor();
  const id = new URL(page.url()).hash.split('/')[1];
  const before = (await phone.ask('record', { id })).fields;
  const save = page.getByRole('button', { name: 'Save what changed' });
  assert.ok(await save.isDisabled(), 'nothing changed yet');
  const count = page.getByLabel('count', { exact: true });
  await count.fill('many');
  await page.getByText('not a number').waitFor();
  assert.ok(await save.isDisabled());
  await count.fill(String(before.count + 10));
  await save.tap();
  await phone.said('Mended.');
  const after = (await phone.ask('record', { id })).fields;
  assert.deepEqual([after.count, after.coop, after.floor_laid], [before.count + 10, before.coop, before.floor_laid]);
  // What cannot be is refused in words, and nothing changes.
  await count.fill('1');
  await page.getByLabel('floor-laid').fill('5');
  await save.tap();
  await phone.page.locator('.toast.bad').waitFor();
  assert.equal((await phone.ask('record', { id })).fields.count, before.count + 10);
});

test('a time and the reason of a pull are mended', { timeout: 120_000 }, async () => {
  const { page } = phone;
  const save = () => tap('Save what changed');
  const [cull] = await phone.ask('list', { kind: 'cull' });
  const mend = async () => {
    await phone.view('today');
    await phone.view(`record/${cull.id}`);
    await page.locator('main.view-record h1').waitFor();
  };
  await mend();
  await tap('soft shell', { exact: true });
  const shown = await page.getByLabel('time', { exact: true }).inputValue();
  assert.match(shown, /^\d{4}-\d\d-\d\dT\d\d:\d\d$/);
  // An hour earlier by the farm's clock, on whatever day that is.
  const hour = new Date(Date.parse(`${shown}:00Z`) - 3_600_000).toISOString().slice(0, 16);
  await page.getByLabel('time', { exact: true }).fill(hour);
  await save();
  await phone.said('Mended.');
  const after = await phone.ask('record', { id: cull.id });
  assert.equal(after.fields.reason, 'soft_shell');
  assert.deepEqual(after.fields.parts, cull.fields.parts);
  const moved = Date.parse(new Date(cull.at).toISOString()) - Date.parse(new Date(after.at).toISOString());
  assert.ok(moved >= 3_600_000 && moved < 3_660_000, `an hour and its seconds: ${moved}`);
  // A day that is to come is refused in words, and the record stays as it was.
  await page.getByLabel('time', { exact: true }).fill('2199-01-01T08:00');
  await save();
  await page.locator('.toast.bad').waitFor();
  assert.equal((await phone.ask('record', { id: cull.id })).at, after.at);
});

test('in Spanish the reasons are Spanish too', { timeout: 120_000 }, async () => {
  const { page } = phone;
  await phone.ask('amend', { target: (await phone.ask('home')).farm, set: { rule_pack: 'us_federal' } });
  await open('settings');
  await tap('Español');
  for (const rules of ['us_federal', 'eu']) {
    await phone.ask('amend', { target: (await phone.ask('home')).farm, set: { rule_pack: rules } });
    await phone.view('gather');
    await open('shelf');
    await page.getByRole('heading', { name: 'Lo que toca' }).waitFor();
    await until('the list is of these rules', async () => (await page.locator('.due-next .numbered li').count()) === (await phone.ask('now')).reasons.length);
    const english = await page.locator('.due-next .numbered li > [lang="en"], .due-next .caution [lang="en"]').allTextContents();
    assert.deepEqual(english, [], rules);
  }
  for (const view of VIEWS) {
    await open(view);
    const raw = await page.locator('main').evaluate((main) => main.innerText.match(/\b(?:due|hold|item|cause|field|record|stock|nav|age|held)\.[a-z_]+/g));
    assert.equal(raw, null, `${view}: every word is in the dictionary`);
  }
  // What becomes of an egg with a fault, and what changed in the pulled ones.
  await open('basket');
  const pull = page.locator('.pull');
  await pull.getByRole('button', { name: 'heces', exact: true }).tap();
  await pull.getByText('huevo sucio, no va al cartón').waitFor();
  assert.equal(await pull.locator('.advice [lang="en"]').count(), 1, 'only its source is a publication');
});
