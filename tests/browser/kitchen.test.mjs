// The kitchen screen in real browsers: with and without scripts, by keyboard alone, live on two
// screens, for everyone, on paper.

import assert from 'node:assert/strict';
import { execFile } from 'node:child_process';
import { readFile, writeFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import path from 'node:path';
import { after, afterEach, before, test } from 'node:test';
import { promisify } from 'node:util';
import { Farmhouse } from './kitchen.mjs';
import { SHOTS, until } from './stage.mjs';

const run = promisify(execFile);
const axeSource = await readFile(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

let house;
before(async () => { house = await Farmhouse.open(); }, { timeout: 180_000 });
afterEach(() => house?.putAway());
after(() => house?.close());

const text = (page, what) => page.locator(what).innerText();
const total = (page) => text(page, '.egg b');

// What would hide something from somebody.
async function faults(page) {
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(axeSource);
  const { violations } = await page.evaluate(() => axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }));
  return violations.flatMap(({ id, nodes }) => nodes.map((node) => `${id}: ${node.html.slice(0, 120)} ${node.failureSummary?.split('\n').slice(1, 3).join(' ')}`));
}

// Nothing sticks out sideways, and what is tapped is at least 44 by 44.
async function room(page) {
  return page.evaluate(() => {
    const wrong = [];
    if (document.documentElement.scrollWidth > innerWidth + 1) {
      const out = [...document.querySelectorAll('body *')].filter((one) => one.getBoundingClientRect().right > innerWidth + 1);
      wrong.push(`wider than the screen: ${document.documentElement.scrollWidth} of ${innerWidth}; ${out.slice(0, 3).map((one) => one.outerHTML.slice(0, 80)).join(' | ')}`);
    }
    for (const one of document.querySelectorAll('button, a, summary, select, input:not([type="hidden"]):not([type="radio"]), label.tick')) {
      const box = one.getBoundingClientRect();
      if (box.width > 1 && !one.closest('p:not(.languages):not(.heard)') && (box.height < 43.5 || box.width < 43.5)) wrong.push(`${Math.round(box.width)} by ${Math.round(box.height)}: ${one.outerHTML.slice(0, 90)}`);
    }
    return wrong;
  });
}

// An owner's own screen shows every form that there is.
async function pages(screen) {
  const { page } = screen;
  const me = await page.locator('#leave').getAttribute('href').catch(() => null);
  return ['', '/review', '/trends', '/trends?by=day&species=hen', '/people', me?.replace('/kitchen', '')].filter((one) => one !== undefined);
}

for (const scheme of ['light', 'dark']) {
  for (const [width, height, letters] of [[1024, 768, null], [320, 640, null], [1024, 768, 32]]) {
    test(`everyone can read it: ${scheme}, ${width} px, text at ${letters ? 200 : 100} %`, { timeout: 300_000 }, async () => {
      const screen = await house.screen({ scheme, width, height, letters });
      const { page } = screen;
      await screen.go('/people');
      const wrong = [];
      for (const where of await pages(screen)) {
        await screen.go(where);
        await page.evaluate(() => { for (const more of document.querySelectorAll('main details')) more.open = true; });
        for (const fault of [...await faults(page), ...await room(page)]) wrong.push(`${where}: ${fault}`);
        const name = where.replace(/^\//, '').replace(/\?.*/, '') || 'today';
        await screen.go(where);
        await page.screenshot({ path: `${SHOTS}/kitchen-${name}-${scheme}-${width}${letters ? '-large' : ''}.png`, fullPage: true });
      }
      await screen.go('/people');
      await page.getByLabel('What it may do').selectOption('helper');
      await page.locator('button#invite').click();
      await page.locator('.code-picture').waitFor();
      for (const fault of [...await faults(page), ...await room(page)]) wrong.push(`invite: ${fault}`);
      await page.screenshot({ path: `${SHOTS}/kitchen-invite-${scheme}-${width}${letters ? '-large' : ''}.png`, fullPage: true });
      const letterSize = await page.evaluate(() => parseFloat(getComputedStyle(document.documentElement).fontSize));
      assert.equal(letterSize, 17 * (letters ? 2 : 1), 'the size of text that the reader chose counts');
      assert.deepEqual(wrong, []);
    });
  }
}

test('the door says what is wrong with an invite, for everyone', { timeout: 120_000 }, async () => {
  const screen = await house.screen({ may: 'Only look' });
  const { page } = screen;
  await screen.go('/review');
  assert.equal(await page.locator('form').count(), 0, 'a screen that only looks has no forms');
  await page.context().clearCookies();
  await screen.go();
  await page.getByLabel('Invite code').fill('z'.repeat(26));
  // A refusal has a status of its own, which the console repeats.
  await page.getByRole('button', { name: 'Let it in' }).click();
  await page.getByText('This code lets nobody in').waitFor();
  screen.broken = screen.broken.filter((said) => !/status of 403/.test(said));
  assert.deepEqual([...await faults(page), ...await room(page)], []);
  await page.screenshot({ path: `${SHOTS}/kitchen-door.png` });
});

test('without scripts it shows the same, after a reload', { timeout: 120_000 }, async () => {
  const screen = await house.screen({ scripts: false });
  const { page } = screen;
  const before = Number(await total(page));
  await house.tobin.log('gather', 'coop=Orchard species=hen count=4');
  await house.tobin.sync();
  await page.reload();
  assert.equal(Number(await total(page)), before + 4);
  await page.goto(`${house.url}/kitchen/review`);
  await page.getByRole('button', { name: 'Marit' }).click();
  const lines = await page.locator('.findings > li').count();
  await page.getByRole('button', { name: 'Both are right' }).first().click();
  await page.getByText('Decided.').waitFor();
  assert.equal(await page.locator('.findings > li').count(), lines - 1);
  await page.getByRole('button', { name: 'Undo' }).click();
  await page.getByText('Taken back').waitFor();
  assert.equal(await page.locator('.findings > li').count(), lines);
});

test('two screens follow the phones, and each other, without a reload', { timeout: 180_000 }, async () => {
  const [one, other] = [await house.screen(), await house.screen({ may: 'Only look' })];
  for (const { page } of [one, other]) await page.evaluate(() => { window.same = true; });
  const before = Number(await total(one.page));
  await house.tobin.log('gather', 'coop=Orchard species=hen count=6');
  await house.tobin.sync();
  for (const { page } of [one, other]) {
    await until('the new total', async () => Number(await total(page)) === before + 6);
    assert.match(await page.locator('#said').textContent(), new RegExp(`${before + 6} eggs gathered`), 'it is said aloud too');
    assert.equal(await page.evaluate(() => window.same), true, 'nothing was loaded anew');
  }
  await one.go('/review');
  await other.go('/review');
  await one.page.getByRole('button', { name: 'Marit' }).click();
  const lines = await other.page.locator('.findings > li').count();
  await one.page.getByRole('button', { name: 'Both are right' }).first().click();
  await one.page.getByText('Decided.').waitFor();
  await until('the line goes on the other screen', async () => await other.page.locator('.findings > li').count() === lines - 1);
  assert.equal((await house.marit.review()).length, lines - 1, 'and on a phone');
  await one.page.getByRole('button', { name: 'Undo' }).click();
  await until('it comes back on the other screen', async () => await other.page.locator('.findings > li').count() === lines);
});

test('a server that is gone is said to be, and its return is noticed', { timeout: 120_000 }, async () => {
  const screen = await house.screen();
  const { page } = screen;
  const trouble = page.getByRole('alert').filter({ hasText: 'cannot be reached' });
  assert.equal(await trouble.count(), 0);
  await house.stage.stop();
  await trouble.waitFor();
  assert.deepEqual(await faults(page), []);
  await house.stage.serve();
  await trouble.waitFor({ state: 'hidden' });
  const before = Number(await total(page));
  await house.tobin.log('gather', 'coop=Orchard species=hen count=1');
  await house.tobin.sync();
  await until('the news after the break', async () => Number(await total(page)) === before + 1);
  screen.broken = screen.broken.filter((said) => !/ERR_/.test(said));
});

test('a screen that is shut out shows nothing any more', { timeout: 120_000 }, async () => {
  const out = await house.screen({ may: 'Only look' });
  const owner = await house.screen();
  await owner.go('/people');
  await owner.page.locator('.devices > li').filter({ hasNotText: 'this one' }).last().getByRole('link', { name: 'Shut out Kitchen screen' }).click();
  await owner.page.getByRole('button', { name: 'Really shut out Kitchen screen' }).click();
  await owner.page.getByText('It is shut out.').waitFor();
  await out.page.getByRole('heading', { name: 'Let this screen in' }).waitFor();
  assert.equal(await out.page.locator('.glance').count(), 0);
  out.broken = out.broken.filter((said) => !/status of 401/.test(said));
});

test('news takes away no number that is being typed', { timeout: 120_000 }, async () => {
  const screen = await house.screen();
  const { page } = screen;
  await screen.go('/review');
  await page.getByRole('button', { name: 'Tobin' }).click();
  const field = page.locator('input[name="counted"]').first();
  await field.fill('11');
  // News that changes this very page; another screen has drawn it by the time that this one would have.
  const other = await house.screen();
  await other.go('/review');
  await house.marit.do('add', 'person', 'Olu');
  await house.marit.sync();
  await other.page.getByRole('button', { name: 'Olu' }).waitFor();
  assert.equal(await page.getByRole('button', { name: 'Olu' }).count(), 0, 'it waits');
  assert.equal(await field.inputValue(), '11');
  await field.press('Enter');
  await page.getByText('Decided.').waitFor();
  await page.getByRole('button', { name: 'Olu' }).waitFor();
  const lines = await house.marit.review();
  assert.ok(!lines.some((line) => line.line.startsWith('over/')), JSON.stringify(lines));
  await page.getByRole('button', { name: 'Undo' }).click();
  await page.getByText('Taken back').waitFor();
});

test('a choice is made and taken back with the keyboard alone', { timeout: 120_000 }, async () => {
  const screen = await house.screen();
  const { page } = screen;
  const on = () => page.evaluate(() => document.activeElement?.textContent?.trim() ?? '');
  async function tabTo(name) {
    for (let i = 0; i < 60; i += 1) {
      await page.keyboard.press('Tab');
      if (name.test(await on())) {
        const ring = await page.evaluate(() => getComputedStyle(document.activeElement).outlineStyle);
        assert.notEqual(ring, 'none', 'what is in focus can be seen');
        return;
      }
    }
    throw new Error(`no way to ${name} by keyboard`);
  }
  await page.keyboard.press('Tab');
  assert.equal(await on(), 'Skip to the content');
  await tabTo(/^Review list/);
  await page.keyboard.press('Enter');
  await page.locator('.findings').waitFor();
  await tabTo(/^Tobin$/);
  await page.keyboard.press('Enter');
  await page.locator('button[aria-pressed="true"]').waitFor();
  const lines = await page.locator('.findings > li').count();
  await tabTo(/^Take the round of 13 back$/);
  await page.keyboard.press('Enter');
  await page.getByText('Decided.').waitFor();
  assert.match(await on(), /Decided/, 'the focus is where it is said');
  assert.equal(await page.locator('.findings > li').count(), lines - 1);
  await house.tobin.sync();
  const voided = JSON.parse(await house.tobin.do('--json', 'list', 'void', '--most', '1'));
  const people = JSON.parse(await house.tobin.do('--json', 'list', 'person'));
  assert.equal(people.find((one) => one.id === voided[0].fields.by).fields.name, 'Tobin');
  await tabTo(/^Undo$/);
  await page.keyboard.press('Enter');
  await page.getByText('Taken back').waitFor();
  assert.equal(await page.locator('.findings > li').count(), lines);
});

test('the day prints on one page of either paper', { timeout: 120_000 }, async () => {
  const screen = await house.screen({ scheme: 'dark' });
  const { page } = screen;
  for (const format of ['A4', 'Letter']) {
    await screen.go();
    const eggs = await total(page);
    const file = path.resolve(SHOTS, `kitchen-${format}.pdf`);
    await writeFile(file, await page.pdf({ format, preferCSSPageSize: false, printBackground: false }));
    let said;
    try {
      assert.match((await run('pdfinfo', [file])).stdout, /Pages:\s+1\n/, format);
      said = (await run('pdftotext', ['-layout', file, '-'])).stdout;
    } catch (error) {
      if (error.code !== 'ENOENT') throw error;
      console.error('SKIPPED: the printed text was not read: pdftotext (Debian: poppler-utils) is not here');
      continue;
    }
    for (const word of ['Larkmeadow', 'Today', eggs, 'From nest to out', 'Due next', 'By coop', 'Barn', 'Marit', 'Counts only']) {
      assert.ok(said.includes(word), `${format}: ${word} is on paper: ${said}`);
    }
    for (const word of ['The day before', 'Skip to', 'Español']) assert.ok(!said.includes(word), `${format}: ${word} is not`);
    await run('pdftoppm', ['-r', '60', '-png', file, file.replace('.pdf', '')]);
  }
});

test('it speaks Spanish, and weighs as the farm does', { timeout: 120_000 }, async () => {
  const screen = await house.screen({ locale: 'es-ES' });
  const { page } = screen;
  await page.getByText('huevos recogidos').first().waitFor();
  assert.equal(await page.locator('html').getAttribute('lang'), 'es');
  await screen.go('?day=2026-01-01');
  await page.getByText('Sin anotar, así que no se sabe').first().waitFor();
  await screen.go('/review');
  assert.match(await text(page, 'main'), /Las dos valen/);
  for (const where of ['', '/review', '/trends', '/people']) {
    await screen.go(where);
    assert.deepEqual(await faults(page), [], where);
    await page.screenshot({ path: `${SHOTS}/kitchen-es-${where.slice(1) || 'today'}.png`, fullPage: true });
  }
  await page.getByRole('link', { name: 'English' }).click();
  await page.getByRole('heading', { level: 1, name: 'Family' }).waitFor();
  await screen.go();
  await page.getByText(/2\.1\soz/).first().waitFor();
});

test('its styles ask for nothing that old tablets lack', async () => {
  for (const name of ['screen.css', 'pages.css']) {
    const style = (await readFile(`sync-server/src/kitchen/page/${name}`, 'utf8')).replace(/\/\*[^]*?\*\//g, '');
    for (const newer of [/color-mix/, /:has\(/, /aspect-ratio/, /\bclamp\(/, /\d[dsl]v[hw]/, /(^|[^-])inset:/, /@layer/, /@container/, /^\s+&/m, /subgrid/]) assert.doesNotMatch(style, newer, name);
    // Room between grid cells under its older name first; between flex items not at all.
    for (const rule of style.match(/\{[^{}]*\bgap:[^{}]*\}/g) ?? []) assert.match(rule, /grid-gap:|column-gap:/, rule);
  }
});

test('its script is older than the tablets on which it runs', async () => {
  const script = await readFile('sync-server/src/kitchen/page/screen.js', 'utf8');
  const code = script.replace(/\/\/.*$/gm, '');
  for (const [what, newer] of [['arrow functions', /=>/], ['const and let', /\b(const|let)\s/], ['?. and ??', /\?\.[a-z]|\?\?/], ['modules', /\b(import|export)\b/], ['async', /\basync\b/], ['templates', /`/]]) {
    assert.doesNotMatch(code, newer, what);
  }
});
