// With the keyboard alone, and heard instead of seen.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { Stage } from './stage.mjs';

let stage;
before(async () => { stage = await Stage.open(); });
after(() => stage.close());

// The accessible name and state of what has the focus.
const focused = (page) => page.evaluate(() => {
  const one = document.activeElement;
  const label = one.getAttribute('aria-label') ?? one.labels?.[0]?.innerText ?? one.innerText;
  return label.replace(/\s+/g, ' ').trim();
});

// Tabs on until something of this name has the focus.
async function tabTo(page, name) {
  const seen = [];
  for (let i = 0; i < 80; i += 1) {
    await page.keyboard.press('Tab');
    const here = await focused(page);
    seen.push(here);
    if (name.test(here)) {
      const ring = await page.evaluate(() => getComputedStyle(document.activeElement).outlineStyle !== 'none');
      assert.ok(ring, `the focus on ${here} can be seen`);
      return;
    }
  }
  assert.fail(`no ${name} among ${seen.join(', ')}`);
}

test('begin, gather, pull, look at the day: no pointer', { timeout: 180_000 }, async () => {
  const phone = await stage.phone('keys');
  const { page } = phone;
  const press = async (name, key = 'Enter') => { await tabTo(page, name); await page.keyboard.press(key); };
  const type = async (name, text) => { await tabTo(page, name); await page.keyboard.type(text); };
  await phone.go();
  await page.getByRole('button', { name: 'Begin a farm' }).waitFor();
  await press(/^Begin a farm/);
  await type(/farm’s name/, 'Larkmeadow');
  await type(/^Your name/, 'Ana');
  await type(/coop’s name/, 'North coop');
  await press(/^United States/, 'Space');
  await press(/^Begin$/);
  await phone.ready();

  await press(/^Add 12 eggs/);
  await press(/^Add 1 egg$/);
  await press(/^Pull some/);
  await page.getByRole('button', { name: 'mud' }).waitFor();
  await press(/^mud/, 'Space');
  await press(/^Pull these/);
  await press(/^Log 13 eggs/);
  await phone.said('13 hen eggs from North coop logged.');

  // A view that was opened says its name: the heading has the focus.
  await press(/^Today/);
  await page.locator('main.view-today .totals').waitFor();
  assert.equal(await focused(page), 'The day');
  const [{ today }] = [await phone.ask('home')];
  const sheet = await phone.ask('sheet', { from: today, to: today });
  assert.equal(sheet.gathered.eggs, 13);
  assert.equal(sheet.pulled.by_reason.mud, 1);

  // What was said can be taken back from the keyboard.
  await press(/^Undo/);
  await phone.said('Taken back.');
  assert.equal((await phone.ask('sheet', { from: today, to: today })).gathered.eggs, 0);
});
