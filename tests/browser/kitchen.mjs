// The kitchen screen's stage: a small farm logged on two terminal phones, and screens in browsers.

import assert from 'node:assert/strict';
import { execFile } from 'node:child_process';
import { mkdir, writeFile } from 'node:fs/promises';
import path from 'node:path';
import { promisify } from 'node:util';
import { chromium } from 'playwright-core';
import { Stage } from './stage.mjs';

const run = promisify(execFile);
const TERMINAL = path.resolve(process.env.POINTDOWN_TERMINAL ?? 'target/debug/pointdown');
const CHROMIUM = process.env.POINTDOWN_CHROMIUM ?? '/usr/bin/chromium';
const FLAGS = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
  '--disable-component-update', '--disable-sync', '--disable-domain-reliability', '--no-default-browser-check'];

// A person's phone, driven from the terminal.
class Hand {
  constructor(house, name) { Object.assign(this, { house, name, db: path.join(house.stage.folder, `${name}.db`) }); }

  async do(...words) {
    const { stdout } = await run(TERMINAL, ['--db', this.db, ...words]);
    return stdout;
  }

  log(kind, fields, at) { return this.do('log', kind, ...fields.split(' '), ...(at ? ['--at', at] : [])); }

  sync() { return this.do('sync'); }

  async review() {
    await this.sync();
    return JSON.parse(await this.do('--json', 'review')).lines;
  }
}

export class Farmhouse {
  static async open() {
    const house = new Farmhouse();
    house.stage = await Stage.open();
    Object.assign(house, { screens: [], profiles: 0 });
    house.url = `http://127.0.0.1:${house.stage.port}`;
    house.marit = new Hand(house, 'marit');
    house.tobin = new Hand(house, 'tobin');
    const { marit, tobin } = house;
    await marit.do('begin', '--name', 'Larkmeadow', '--zone', 'America/Chicago', '--person', 'Marit', '--device', 'Marit phone',
      'temperature=F', 'weight=oz', 'rule_pack=us_federal');
    await marit.do('add', 'coop', 'Barn', 'species=hen');
    await marit.do('add', 'coop', 'Pond', 'species=duck');
    await marit.do('add', 'coop', 'Orchard', 'species=hen');
    await marit.do('join', house.url, await house.stage.invite());
    await tobin.do('join', house.url, await house.invite('helper'), '--person', 'Tobin', '--device', 'Tobin phone');
    await tobin.sync();
    await marit.log('headcount', 'coop=Barn species=hen birds=24', 'yesterday 08:00');
    await marit.log('gather', 'coop=Barn species=hen count=18', 'yesterday 09:00');
    await marit.log('gather', 'coop=Pond species=duck count=9', 'yesterday 09:20');
    await marit.log('wash', 'parts=oldest:12/hen means=dry');
    await marit.log('candle', 'parts=yesterday/hen=12 found=a=12');
    await marit.log('weigh', 'lot=yesterday/hen grams=58,61,60');
    await marit.log('carton', 'parts=yesterday/hen=12 from=clean species=hen eggs_per_carton=6 cartons=2 packed=today size=large');
    // Nobody has so many clean eggs, so somebody has to count.
    await marit.log('carton', 'parts=yesterday/duck=12 from=clean species=duck eggs_per_carton=6 cartons=2 packed=today');
    // What is in those cartons turns out to be held: the most urgent line.
    await marit.log('hold', 'coop=Barn species=hen from=yesterday until=yesterday cause=medicine');
    // One round, logged by two people who did not know of each other.
    await marit.log('gather', 'coop=Barn species=hen count=12');
    await tobin.log('gather', 'coop=Barn species=hen count=13');
    await tobin.log('gather', 'coop=Pond species=duck count=7');
    for (const hand of [marit, tobin, marit]) await hand.sync();
    house.browser = await chromium.launch({ executablePath: CHROMIUM, args: FLAGS });
    return house;
  }

  // An invite of a role to the farm, made by whoever runs the server.
  async invite(role = 'owner') {
    this.farm ??= JSON.parse(await this.marit.do('--json', 'list', 'farm'))[0].id;
    const words = ['invite', '--data', path.join(this.stage.folder, 'data'), '--role', role, '--farm', this.farm];
    return (await run(path.resolve(process.env.POINTDOWN_SERVER ?? 'target/debug/pointdown-server'), words)).stdout.trim();
  }

  async screen(options = {}) {
    const screen = await Screen.open(this, options);
    this.screens.push(screen);
    return screen;
  }

  // Each test answers for its own screens.
  async putAway() {
    for (const screen of this.screens.splice(0)) await screen.close();
  }

  async close() {
    await this.browser.close();
    await this.stage.close();
  }
}

class Screen {
  static async open(house, { width = 1024, height = 768, scheme = 'light', locale = 'en-US', letters = null, scripts = true, role = 'owner', may = 'Look and decide' } = {}) {
    const screen = new Screen();
    Object.assign(screen, { house, foreign: [], broken: [] });
    const options = { viewport: { width, height }, colorScheme: scheme, locale, javaScriptEnabled: scripts, reducedMotion: 'reduce', timezoneId: 'Europe/Madrid' };
    if (letters) {
      // The browser's own setting for the size of text, in pixels; 16 is usual.
      const profile = path.join(house.stage.folder, `screen-${house.profiles += 1}`);
      await mkdir(path.join(profile, 'Default'), { recursive: true });
      await writeFile(path.join(profile, 'Default', 'Preferences'), JSON.stringify({ webkit: { webprefs: { default_font_size: letters } } }));
      screen.context = await chromium.launchPersistentContext(profile, { executablePath: CHROMIUM, args: FLAGS, ...options });
    } else {
      screen.context = await house.browser.newContext(options);
    }
    screen.context.setDefaultTimeout(30_000);
    screen.context.on('request', (request) => {
      const url = new URL(request.url());
      if (/^https?:$/.test(url.protocol) && url.origin !== house.url) screen.foreign.push(request.url());
    });
    screen.context.on('weberror', (error) => screen.broken.push(String(error.error())));
    screen.page = await screen.context.newPage();
    screen.page.on('console', (message) => {
      if (message.type() === 'error') screen.broken.push(message.text());
    });
    await screen.page.goto(`${house.url}/#invite=${scripts ? await house.invite(role) : ''}`);
    if (!scripts) await screen.page.locator('#invite').fill(await house.invite(role));
    if (locale.startsWith('es')) await screen.page.locator('input[value="decide"]').check();
    else await screen.page.getByLabel(may).check();
    await screen.page.locator('button.main').click();
    await screen.page.locator('.glance').waitFor();
    return screen;
  }

  go(where = '') { return this.page.goto(`${this.house.url}/kitchen${where}`); }

  async close() {
    await this.context.close();
    assert.deepEqual(this.foreign, [], 'no request leaves the origin');
    assert.deepEqual(this.broken, [], 'nothing broke');
  }
}
