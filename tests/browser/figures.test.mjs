// What it weighs and how long it takes, with five years of records. The limits are those of the
// project on a quiet machine; on a busy one POINTDOWN_LENIENT multiplies the times.

import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { Stage, until } from './stage.mjs';

const LENIENT = Number(process.env.POINTDOWN_LENIENT ?? 1);
const FIRST_LOAD = 1_500_000;
const COLD_START_MS = 1500 * LENIENT;
const DURABLE_MS = 50 * LENIENT;
const YEARS = 5;
const TAPS = 21;

let stage;
before(async () => { stage = await Stage.open(); });
after(() => stage.close());

const median = (all) => all.toSorted((a, b) => a - b)[Math.floor(all.length / 2)];

test('small, quick to open, and durable at once', { timeout: 900_000 }, async (t) => {
  const phone = await stage.phone('figures');
  const { page } = phone;
  await phone.go();
  await page.getByRole('button', { name: 'Begin a farm' }).waitFor();
  await page.evaluate(() => navigator.serviceWorker.ready);
  await until('the worker has its files', () => page.evaluate(async () => (await caches.keys()).length === 1
    && (await (await caches.open((await caches.keys())[0])).keys()).length > 20));
  const transfer = phone.line.bytes;
  await phone.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop', birds: ['hen', 'duck'] });

  const home = await phone.ask('home');
  const [coop] = home.coops;
  const began = Date.now();
  let drafts = [];
  for (let back = YEARS * 365; back >= 1; back -= 1) {
    const at = (hour) => Date.parse(`${home.today}T00:00:00Z`) - back * 86_400_000 + hour * 3_600_000;
    drafts.push({ kind: 'gather', at: at(7), coop: coop.id, species: 'hen', count: 14 + (back % 9) });
    drafts.push({ kind: 'gather', at: at(8), coop: coop.id, species: 'duck', count: 3 + (back % 4) });
    const day = new Date(at(7)).toISOString().slice(0, 10);
    drafts.push({ kind: 'out', at: at(18), way: 'eaten', station: 'basket', parts: { [`${day}/hen`]: 14 + (back % 9) } });
    if (drafts.length >= 300 || back === 1) {
      await phone.ask('log', { drafts });
      drafts = [];
    }
  }
  const records = await phone.ask('record_count');
  const filled = Date.now() - began;
  await phone.ask('tidy');

  const opened = [];
  for (let i = 0; i < 5; i += 1) {
    await phone.browser.close();
    await phone.start();
    await phone.go();
    await phone.ready();
    opened.push(await phone.page.evaluate(() => performance.getEntriesByName('usable')[0].startTime));
  }
  const taps = [];
  for (let i = 0; i < TAPS; i += 1) {
    await phone.page.getByRole('button', { name: 'Add 1 egg', exact: true }).tap();
    // From the tap to the worker's word that the commit is done; the page says so in words then.
    taps.push(await phone.page.evaluate(() => new Promise((done) => {
      const live = document.getElementById('live');
      live.textContent = '';
      const start = performance.now();
      const seen = new MutationObserver(() => {
        if (!live.textContent) return;
        seen.disconnect();
        done(performance.now() - start);
      });
      seen.observe(live, { childList: true, characterData: true, subtree: true });
      document.querySelector('.dock .main').click();
    })));
    await until('the count is back at none', async () => (await phone.page.locator('.counting output').textContent()) === '0');
  }
  t.diagnostic(`first load: ${transfer} bytes over the line (allowed ${FIRST_LOAD})`);
  t.diagnostic(`records: ${records}, logged one by one in ${filled} ms`);
  t.diagnostic(`cold start to usable with them: ${opened.map(Math.round).join(', ')} ms (allowed ${COLD_START_MS} at the median)`);
  t.diagnostic(`tap to durable: median ${median(taps).toFixed(1)} ms, longest ${Math.max(...taps).toFixed(1)} ms (allowed ${DURABLE_MS} at the median)`);
  assert.ok(transfer <= FIRST_LOAD, `${transfer} bytes`);
  assert.ok(median(opened) <= COLD_START_MS, `${median(opened)} ms to open`);
  assert.ok(median(taps) <= DURABLE_MS, `${median(taps)} ms to durable`);
});
