// The stage of these tests: the real server, a line to it for each phone that can be cut, and real
// browsers with profiles of their own.

import assert from 'node:assert/strict';
import { spawn, execFile } from 'node:child_process';
import { once } from 'node:events';
import { mkdtemp, mkdir, rm, writeFile } from 'node:fs/promises';
import net from 'node:net';
import { tmpdir } from 'node:os';
import path from 'node:path';
import { promisify } from 'node:util';
import { chromium } from 'playwright-core';
import { Front } from './front.mjs';

const run = promisify(execFile);
export const SERVER = process.env.POINTDOWN_SERVER ?? 'target/debug/pointdown-server';
const CHROMIUM = process.env.POINTDOWN_CHROMIUM ?? '/usr/bin/chromium';
export const SHOTS = process.env.POINTDOWN_SHOTS ?? 'target/browser-shots';
const PATIENCE = Number(process.env.POINTDOWN_PATIENCE ?? 30_000);

// Chromium speaks to nobody by itself; whatever it still tried would be seen as a foreign request.
const FLAGS = ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking',
  '--disable-component-update', '--disable-sync', '--disable-domain-reliability', '--no-default-browser-check'];

async function freePort() {
  const probe = net.createServer().listen(0, '127.0.0.1');
  await once(probe, 'listening');
  const { port } = probe.address();
  probe.close();
  await once(probe, 'close');
  return port;
}

export class Stage {
  static async open() {
    const stage = new Stage();
    stage.folder = await mkdtemp(path.join(tmpdir(), 'pointdown-browser-'));
    stage.port = await freePort();
    await mkdir(SHOTS, { recursive: true });
    await stage.serve();
    if (process.env.POINTDOWN_FRONT) stage.front = await Front.open(stage.port);
    return stage;
  }

  phones = [];

  async serve() {
    this.server = spawn(path.resolve(SERVER), ['serve', '--data', path.join(this.folder, 'data'), '--listen', `127.0.0.1:${this.port}`],
      { stdio: ['ignore', 'ignore', 'pipe'], env: { ...process.env, RUST_LOG: 'warn' } });
    this.said = '';
    this.server.stderr.on('data', (text) => { this.said += text; });
    await until('the server answers', async () => (await fetch(`http://127.0.0.1:${this.port}/`).catch(() => null))?.ok);
  }

  async invite(farm) {
    const words = ['invite', '--data', path.join(this.folder, 'data'), ...(farm ? ['--farm', farm] : [])];
    return (await run(path.resolve(SERVER), words)).stdout.trim();
  }

  async phone(name, options = {}) {
    const phone = await Phone.open(this, name, options);
    this.phones.push(phone);
    return phone;
  }

  // What the server's own replica counts, asked as a kitchen screen asks.
  async kitchen(farm) {
    if (!this.cookie) {
      const joined = await fetch(`http://127.0.0.1:${this.port}/kitchen/join`, {
        method: 'POST', headers: { 'pointdown-screen': '1', 'content-type': 'application/json' },
        body: JSON.stringify({ invite: await this.invite(farm) }),
      });
      assert.equal(joined.status, 204);
      this.cookie = joined.headers.get('set-cookie').split(';')[0];
    }
    const answer = await fetch(`http://127.0.0.1:${this.port}/kitchen/sheet`, { headers: { cookie: this.cookie } });
    assert.equal(answer.status, 200);
    return answer.json();
  }

  async stop() {
    const gone = once(this.server, 'exit');
    this.server.kill('SIGTERM');
    await gone;
  }

  async close() {
    try {
      for (const phone of this.phones) await phone.close();
    } finally {
      // A phone at fault must not keep the tests waiting for its server.
      await this.front?.close();
      await this.stop();
      await rm(this.folder, { recursive: true, force: true });
    }
  }
}

// A line to the server that can be cut, in the middle of an answer too.
class Line {
  static async open(to) {
    const line = new Line();
    line.whole = true;
    line.ends = new Set();
    line.bytes = 0;
    line.hub = net.createServer((near) => {
      if (!line.whole) { near.destroy(); return; }
      const far = net.connect(to, '127.0.0.1');
      for (const end of [near, far]) {
        line.ends.add(end);
        end.on('error', () => end.destroy());
        end.on('close', () => { line.ends.delete(end); near.destroy(); far.destroy(); });
      }
      far.on('data', (part) => {
        line.bytes += part.length;
        if (line.cutAfter !== undefined && line.bytes >= line.cutAfter) line.cut();
      });
      near.pipe(far);
      far.pipe(near);
    }).listen(0, '127.0.0.1');
    await once(line.hub, 'listening');
    line.port = line.hub.address().port;
    return line;
  }

  cut() {
    this.whole = false;
    this.cutAfter = undefined;
    for (const end of this.ends) end.destroy();
  }

  mend() { this.whole = true; }

  async close() {
    this.cut();
    this.hub.close();
    await once(this.hub, 'close');
  }
}

export class Phone {
  static async open(stage, name, options) {
    const phone = new Phone();
    Object.assign(phone, { stage, name, options, foreign: [], broken: [] });
    phone.line = await Line.open(stage.front?.port ?? stage.port);
    phone.origin = `http://${options.host ?? 'localhost'}:${phone.line.port}`;
    phone.profile = path.join(stage.folder, `profile-${name}`);
    if (options.letters) {
      // The browser's own setting for the size of text, in pixels; 16 is usual.
      await mkdir(path.join(phone.profile, 'Default'), { recursive: true });
      await writeFile(path.join(phone.profile, 'Default', 'Preferences'), JSON.stringify({ webkit: { webprefs: { default_font_size: options.letters } } }));
    }
    await phone.start();
    return phone;
  }

  // Starts the browser with this phone's profile.
  async start() {
    const { locale = 'en-US', scheme = 'light', width = 390, height = 844 } = this.options;
    this.browser = await chromium.launchPersistentContext(this.profile, {
      executablePath: CHROMIUM, args: [...FLAGS, '--host-resolver-rules=MAP plain.test 127.0.0.1'], viewport: { width, height }, locale, colorScheme: scheme,
      hasTouch: true, deviceScaleFactor: 2, acceptDownloads: true, timezoneId: 'Europe/Madrid',
    });
    this.browser.setDefaultTimeout(PATIENCE);
    this.browser.on('request', (request) => {
      const url = new URL(request.url());
      if (/^https?:$/.test(url.protocol) && url.origin !== this.origin) this.foreign.push(request.url());
    });
    this.browser.on('weberror', (error) => this.broken.push(String(error.error())));
    await this.browser.addInitScript(() => {
      addEventListener('securitypolicyviolation', (event) => console.error(`policy: ${event.violatedDirective} ${event.blockedURI} ${event.sourceFile}`));
    });
    this.page = this.browser.pages()[0] ?? await this.browser.newPage();
    this.watch(this.page);
  }

  watch(page) {
    page.on('console', (message) => {
      // A cut line is part of the plot, and so is a browser that says what plain HTTP takes away.
      const plot = /Failed to load resource|net::ERR|Opener-Policy header has been ignored, because the URL's origin was untrustworthy/;
      if (message.type() === 'error' && !plot.test(message.text())) this.broken.push(message.text());
    });
  }

  async go(where = '') {
    await this.page.goto(`${this.origin}/phone/${where}`);
  }

  view(name) {
    return this.page.evaluate((to) => { location.hash = to; }, name);
  }

  // Comes in by an invite, by taps and typing.
  async join(code, person) {
    await this.go(`#invite=${code}`);
    await this.page.getByLabel(/your name|tu nombre/i).fill(person);
    await this.page.getByRole('button', { name: /^(join|entrar)$/i }).click();
    await this.ready();
  }

  async begin({ farm, person, coop, birds = ['hen'], rules = 'United States' }) {
    await this.go();
    await this.page.getByRole('button', { name: 'Begin a farm' }).click();
    await this.page.getByLabel('The farm’s name').fill(farm);
    await this.page.getByLabel('Your name').fill(person);
    await this.page.getByLabel('First coop’s name').fill(coop);
    for (const bird of birds.filter((one) => one !== 'hen')) await this.page.getByRole('button', { name: bird, exact: true }).click();
    await this.page.getByRole('button', { name: rules }).click();
    await this.page.getByRole('button', { name: 'Begin', exact: true }).click();
    await this.ready();
  }

  ready() {
    return this.page.locator('nav.bar').waitFor();
  }

  // Asks the core through the app's own module, to compare, never to act.
  ask(name, words) {
    return this.page.evaluate(async ([name, words]) => {
      const main = document.querySelector('script[type="module"]').src;
      const { call } = await import(new URL('./link.js', main));
      return call(name, words).catch((error) => { throw new Error(`${name}: ${JSON.stringify(error)}`); });
    }, [name, words]);
  }

  said(text) {
    return this.page.locator('#live').filter({ hasText: text }).waitFor({ state: 'attached' });
  }

  // Ends the browser's processes at once, as a dead battery does.
  async kill() {
    const pids = (await run('pgrep', ['-f', `user-data-dir=${this.profile}`])).stdout.trim().split('\n').filter(Boolean);
    assert.ok(pids.length, 'the browser runs');
    const gone = new Promise((done) => { this.browser.once('close', done); });
    for (const pid of pids) {
      try { process.kill(Number(pid), 'SIGKILL'); } catch { /* It ended with its parent. */ }
    }
    await gone;
    await rm(path.join(this.profile, 'SingletonLock'), { force: true });
  }

  async close() {
    await this.browser.close().catch(() => {});
    await this.line.close();
    assert.deepEqual(this.foreign, [], `${this.name}: no request leaves the origin`);
    assert.deepEqual(this.broken, [], `${this.name}: nothing broke`);
  }
}

// Asks until it holds, or says what never came.
export async function until(what, holds, patience = PATIENCE) {
  const end = Date.now() + patience;
  let last;
  for (;;) {
    try {
      last = await holds();
      if (last) return last;
    } catch (error) { last = error; }
    if (Date.now() > end) throw new Error(`${what}: never came; last seen ${last instanceof Error ? last.message : JSON.stringify(last)}`);
    await new Promise((done) => { setTimeout(done, 100); });
  }
}
