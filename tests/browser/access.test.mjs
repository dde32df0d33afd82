// Every view for everyone: axe-core, light and dark, narrow screens, large text, fingers.

import assert from 'node:assert/strict';
import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { after, before, test } from 'node:test';
import { Stage, SHOTS, until } from './stage.mjs';
import { furnish, VIEWS, visit } from './views.mjs';

const axeSource = await readFile(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

let stage;
let phone;
const phones = {};

async function furnished(name, options) {
  phone = await stage.phone(name, options);
  await phone.begin({ farm: 'Larkmeadow', person: 'Ana', coop: 'North coop' });
  await furnish(phone);
  await phone.view('family');
  await phone.page.getByLabel('Invite code').fill(await stage.invite());
  await phone.page.getByRole('button', { name: 'Join a server' }).tap();
  await phone.page.getByRole('button', { name: 'Invite someone' }).waitFor();
  return phone;
}

before(async () => {
  stage = await Stage.open();
  phones[100] = await furnished('usual', {});
  phones[200] = await furnished('large', { letters: 32 });
});
after(() => stage.close());

// What would hide something from somebody.
async function faults(page) {
  // The page's own policy lets no foreign script in; the tester comes through the debugger.
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(axeSource);
  const { violations } = await page.evaluate(() => axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }));
  return violations.flatMap(({ id, nodes }) => nodes.map((node) => `${id}: ${node.html.slice(0, 120)} ${node.failureSummary?.split('\n').slice(1, 3).join(' ')}`));
}

// Nothing sticks out sideways, no word is torn apart, and what is tapped is at least 44 by 44.
async function room(page) {
  return page.evaluate(() => {
    const wrong = [];
    if (document.documentElement.scrollWidth > innerWidth + 1) {
      const out = [...document.querySelectorAll('main *')].filter((one) => one.getBoundingClientRect().right > innerWidth + 1);
      wrong.push(`wider than the screen: ${document.documentElement.scrollWidth} of ${innerWidth}; ${out.slice(0, 3).map((one) => one.outerHTML.slice(0, 80)).join(' | ')}`);
    }
    for (const one of document.querySelectorAll('button, a, summary, input:not(.unseen), label.button, label.tick')) {
      const box = one.getBoundingClientRect();
      const inside = one.closest('label.tick');
      if (box.width && !inside && !one.closest('p') && (box.height < 43.5 || box.width < 43.5)) wrong.push(`${Math.round(box.width)} by ${Math.round(box.height)}: ${one.outerHTML.slice(0, 90)}`);
    }
    const pen = document.createElement('canvas').getContext('2d');
    for (const one of document.querySelectorAll('h1, h2, button, .label, .bar-item span:not(.badge, .unseen)')) {
      const box = one.getBoundingClientRect();
      const style = getComputedStyle(one);
      const text = [...one.childNodes].filter((node) => node.nodeType === Node.TEXT_NODE).map((node) => node.data).join(' ');
      pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
      for (const word of text.split(/\s+/)) {
        if (box.width && pen.measureText(word).width > box.width + 1) wrong.push(`“${word}” is wider than its ${Math.round(box.width)} px`);
      }
    }
    return wrong;
  });
}

async function open(view) {
  await phone.page.locator(`main.view-${await visit(phone, view)} h1`).waitFor();
  await until(`${view} is drawn`, () => phone.page.evaluate(() => document.querySelectorAll('main *').length > 8));
  const tap = (name) => phone.page.getByRole('button', { name, exact: true }).first().tap();
  if (view === 'gather' && (await phone.page.locator('.counting output').textContent()) === '0') {
    for (const name of ['Add 12 eggs', 'Add 6 eggs', 'Add 1 egg']) await tap(name);
  }
  if (view === 'sink') {
    await tap('spray');
    await tap('One more: Water now');
    await phone.page.locator('.gauge').waitFor();
  }
  if (view === 'pack') {
    await phone.page.locator('#weight').fill('2.05 2.1 2.12 2.08 2.2 2.15 2.18 2.11 2.07 2.09 2.14 2.16');
    await phone.page.locator('#weight').press('Enter');
    await phone.page.locator('.run').nth(1).waitFor();
  }
}

for (const scheme of ['light', 'dark']) {
  for (const [width, text] of [[390, 100], [320, 100], [390, 200]]) {
    test(`${scheme}, ${width} px, text at ${text} %`, { timeout: 300_000 }, async () => {
      phone = phones[text];
      await phone.page.setViewportSize({ width, height: 844 });
      // A colour on its way from one to another is neither.
      await phone.page.emulateMedia({ colorScheme: scheme, reducedMotion: 'reduce' });
      await phone.page.reload();
      await phone.ready();
      const letters = await phone.page.evaluate(() => parseFloat(getComputedStyle(document.documentElement).fontSize));
      assert.equal(letters, 17 * text / 100, 'the size of text that the reader chose counts');
      const wrong = [];
      for (const view of VIEWS) {
        await open(view);
        if (width === 390) await phone.page.screenshot({ path: `${SHOTS}/${view.replace('/', '-')}-${scheme}${text === 100 ? '' : '-large'}.png` });
        await phone.page.evaluate(() => { for (const more of document.querySelectorAll('main details')) more.open = true; });
        // In a tall window nothing is under the bar, from where it would be scrolled to.
        await phone.page.setViewportSize({ width, height: 12_000 });
        for (const fault of [...await faults(phone.page), ...await room(phone.page)]) wrong.push(`${view}: ${fault}`);
        await phone.page.setViewportSize({ width, height: 844 });
      }
      assert.deepEqual(wrong, []);
    });
  }
}
