// The first module: opens the records, shows the frame, and follows the address.

import { html, nothing } from './vendor/lit-html.js';
import { app, begin, call, draw, explain, hush, refresh, reload, setLoader } from './app.js';
import { offline } from './offline.js';
import { icon } from './pictures.js';
import { num, t, useUnits } from './words.js';
import { syncLine } from './parts.js';
import { secureHelp } from './views/secure.js';
import * as basket from './views/basket.js';
import * as bench from './views/bench.js';
import * as candle from './views/candle.js';
import * as family from './views/family.js';
import * as gather from './views/gather.js';
import * as more from './views/more.js';
import * as pack from './views/pack.js';
import * as record from './views/record.js';
import * as review from './views/review.js';
import * as settings from './views/settings.js';
import * as shelf from './views/shelf.js';
import * as sink from './views/sink.js';
import * as start from './views/start.js';
import * as stock from './views/stock.js';
import * as today from './views/today.js';
import * as trends from './views/trends.js';

const VIEWS = { gather, bench, basket, sink, candle, pack, more, shelf, stock, today, trends, record, review, family, settings };
// Where each view stands in the bar below.
const BAR = [
  ['gather', ['gather']],
  ['bench', ['bench', 'basket', 'sink', 'candle', 'pack', 'more', 'stock']],
  ['shelf', ['shelf']],
  ['today', ['today', 'trends', 'review', 'record']],
  ['family', ['family', 'settings']],
];

function current() {
  if (!app.home?.person || app.starting) return start;
  return VIEWS[app.view] ?? gather;
}

function bar() {
  return html`<nav class="bar" aria-label=${t('nav')}>
    ${BAR.map(([name, views]) => {
      const here = views.includes(app.view);
      const count = name === 'today' ? app.home.review : 0;
      return html`<a href="#${name}" class="bar-item" aria-current=${here ? 'page' : nothing}>
        ${icon(name)}
        <span>${t(`nav.${name}`)}</span>
        ${count ? html`<span class="badge ${app.home.urgent ? 'urgent' : ''}"><span aria-hidden="true">${num(count)}</span><span class="unseen">${t('review.count', { n: count })}</span></span>` : nothing}
      </a>`;
    })}
  </nav>`;
}

function toast() {
  if (!app.toast) return nothing;
  const { text, undo, bad } = app.toast;
  return html`<div class="toast ${bad ? 'bad' : ''}">
    <p>${text}</p>
    ${undo ? html`<button class="plain" @click=${undoToast}>${t('undo')}</button>` : nothing}
    <button class="plain close" @click=${hush} aria-label=${t('close')}>×</button>
  </div>`;
}

async function undoToast() {
  const { undo } = app.toast;
  hush();
  try { await undo(); } catch (error) { app.toast = { text: explain(error), bad: true }; draw(); }
}

function frame() {
  document.body.dataset.view = current() === start ? 'start' : app.view;
  document.body.toggleAttribute('data-toast', Boolean(app.toast));
  if (app.stuck) {
    return html`<main class="stuck" tabindex="-1"><h1>Pointdown</h1>
      <p>${explain(app.stuck)}</p>
      ${app.stuck.kind === 'insecure' ? secureHelp() : nothing}
      <button class="main" @click=${() => location.reload()}>${t('again')}</button></main>`;
  }
  if (!app.opened) return html`<p class="opening">Pointdown</p>`;
  const view = current();
  if (view === start) return html`<main tabindex="-1">${start.view()}</main>${toast()}`;
  return html`
    <header class="top">
      <a class="farm" href="#today">${app.home.name ?? t('farm.coming')}</a>
      ${syncLine(app.home.status)}
    </header>
    <main tabindex="-1" class="view-${app.view}">
      ${app.update ? html`<div class="card notice"><p>${t('update.here')}</p>
        <button @click=${app.update}>${t('update.take')}</button></div>` : nothing}
      ${view.view()}
    </main>
    ${toast()}
    ${bar()}`;
}

async function load() {
  useUnits(app.home);
  const view = current();
  if (view.load) await view.load();
}
setLoader(load);

// The part behind `#` says which view; an invite arrives the same way.
async function follow() {
  const words = decodeURIComponent(location.hash.slice(1));
  const invite = /^invite=([^&]+)/.exec(words)?.[1];
  if (invite) {
    start.invited(invite);
    app.invited = invite;
    // A code is a secret: it does not stay in the address.
    history.replaceState(null, '', app.home?.person ? '#family' : location.pathname);
  }
  const [view, rest] = location.hash.slice(1).split('/');
  const before = app.view;
  app.view = VIEWS[view] ? view : 'gather';
  app.rest = rest ?? '';
  try {
    await load();
  } catch (error) {
    app.toast = { text: explain(error), bad: true };
  }
  draw();
  if (before !== app.view) {
    scrollTo(0, 0);
    // The reader of a screen reader hears where they are.
    queueMicrotask(() => document.querySelector('main h1')?.focus());
    document.title = `${t(`nav.${app.view}`)} · Pointdown`;
  }
}
addEventListener('hashchange', follow);

async function open() {
  begin(document.getElementById('app'), frame);
  document.documentElement.dataset.theme = localStorage.getItem('pointdown-theme') ?? 'auto';
  draw();
  // On plain HTTP from elsewhere a browser gives no files, no locks and no way to open offline.
  if (!isSecureContext || !navigator.locks || !navigator.storage?.getDirectory) {
    app.stuck = { kind: isSecureContext ? 'too_old' : 'insecure' };
    draw();
    return;
  }
  try {
    const { farm } = await call('hello');
    if (farm) await refresh();
    app.opened = true;
    await follow();
  } catch (error) {
    app.stuck = error;
    draw();
  }
  performance.mark('usable');
  offline((take) => { app.update = take; draw(); });
  app.kept = (await navigator.storage?.persisted?.()) ?? false;
  reload().catch(() => {});
}

open();
