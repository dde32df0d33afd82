// What the screens share: what is known, where the person is, how things are drawn and done.

import { render } from './vendor/lit-html.js';
import { call, onEvent, wake } from './link.js';
import { has, t } from './words.js';

export const app = {
  // The answer to `home`, or nothing before a farm is here.
  home: null,
  // What keeps the app from opening, as an error.
  stuck: null,
  opened: false,
  // The view and what stands behind its name in the address.
  view: 'gather',
  rest: '',
  // What each view has typed and loaded, by its name.
  views: {},
  toast: null,
  // A new version that waits to be taken.
  update: null,
  kept: null,
};

let screen = null;
let host = null;
let queued = false;

export function begin(element, draw) {
  host = element;
  // What the entry page showed meanwhile goes.
  host.textContent = '';
  screen = draw;
}

// Draws once, however often it is asked before the next frame.
export function draw() {
  if (queued) return;
  queued = true;
  queueMicrotask(() => {
    queued = false;
    render(screen(), host);
  });
}

// The state of one view, made on first use.
export function stateOf(name, fresh) {
  app.views[name] ??= fresh();
  return app.views[name];
}

export async function refresh() {
  try {
    app.home = await call('home');
  } catch (error) {
    if (error.kind !== 'not_found') throw error;
    app.home = null;
  }
}

// Says something to eyes and to a screen reader alike. `undo` takes the last thing back.
let toastTimer = null;
export function say(text, { undo = null, bad = false } = {}) {
  app.toast = { text, undo, bad };
  const live = document.getElementById('live');
  // Said twice in a row, it would not be read out again.
  live.textContent = '';
  live.textContent = text;
  clearTimeout(toastTimer);
  toastTimer = setTimeout(() => { app.toast = null; draw(); }, bad ? 12_000 : 8_000);
  draw();
}

export function hush() {
  app.toast = null;
  draw();
}

// An error in the reader's words. Having no connection is none.
export function explain(error) {
  if (error.kind === 'invalid' && error.invalid) {
    const { field, value, allowed } = error.invalid;
    return t('error.invalid', { field, value, allowed });
  }
  const key = `error.${error.kind}`;
  return has(key) ? t(key, { message: error.message }) : error.message;
}

let underway = Promise.resolve();
const keys = new Set();
// One thing after the other. With a key, a second tap before the first is on the disk is no second
// record: it is dropped.
export function act(work, key = null) {
  if (key && keys.has(key)) return underway;
  if (key) keys.add(key);
  underway = underway.then(async () => {
    try {
      await work();
    } catch (error) {
      if (error instanceof Error) console.error(error);
      say(explain(error), { bad: true });
    } finally {
      keys.delete(key);
      draw();
    }
  });
  return underway;
}

// Logs records and shows what came of it. What was logged is durable when this returns.
export async function log(drafts, said) {
  const logged = await call('log', { drafts });
  say(said, { undo: () => takeBack(logged.map((one) => one.id)) });
  await refresh();
  return logged;
}

export async function takeBack(ids) {
  for (const target of ids.toReversed()) await call('void', { target, why: t('undo.why') });
  await refresh();
  await reload();
  say(t('undo.done'));
}

let loader = null;
export const setLoader = (load) => { loader = load; };
export async function reload() {
  if (loader && app.home) await loader();
  draw();
}

onEvent(async (event) => {
  try {
    if (event === 'synced') {
      if (app.home) app.home.status = await call('status');
      draw();
      return;
    }
    await refresh();
    await reload();
  } catch (error) {
    if (error.kind !== 'elsewhere') console.error(error);
  }
});

document.addEventListener('visibilitychange', () => { if (!document.hidden) wake(); });
addEventListener('online', wake);

export { call };
