// The day's combined totals: everyone's, as far as they are here.

import { html, nothing, svg } from '../vendor/lit-html.js';
import { act, app, call, draw, stateOf, takeBack } from '../app.js';
import { heading, since } from '../parts.js';
import { egg, icon } from '../pictures.js';
import { copyDue } from './family.js';
import { canMend } from './record.js';
import { addDays, day, has, nearDay, num, t, time, weight } from '../words.js';

const SPAN = 14;
const me = () => stateOf('today', () => ({ day: null, sheet: null, days: [], rows: [] }));

const shown = () => me().day ?? app.home.today;

export async function load() {
  const state = me();
  const at = shown();
  const [sheet, days, rows] = await Promise.all([
    call('sheet', { from: at, to: at }),
    call('days', { from: addDays(at, 1 - SPAN), to: at }),
    call('list', { from: at, to: at, most: 60 }),
  ]);
  Object.assign(state, { sheet, days, rows: rows.filter((row) => !SETUP.has(row.kind)) });
}

const SETUP = new Set(['farm', 'coop', 'person', 'device', 'cooler', 'outlet', 'amend', 'void', 'decision', 'clock']);

const go = (n) => act(async () => {
  const to = addDays(shown(), n);
  me().day = to >= app.home.today ? null : to;
  await load();
});

const STATIONS = ['basket', 'clean', 'cartoned'];

function flow(sheet) {
  const eggs = (station) => sheet.on_hand.filter((row) => row.station === station).reduce((sum, row) => sum + row.eggs, 0);
  const out = Object.entries(sheet.out.eggs).filter(([way]) => way !== 'returned').reduce((sum, [, n]) => sum + n, 0);
  const steps = [
    ['gathered', sheet.gathered.eggs], ...STATIONS.map((station) => [station, eggs(station)]), ['out', out],
  ];
  return html`<ol class="flow">${steps.map(([name, n]) => html`<li class=${n < 0 ? 'bad' : ''}>
    <b>${num(n)}</b><span>${t(`flow.${name}`)}</span></li>`)}</ol>`;
}

function coops(sheet) {
  if (!sheet.gathered.by_coop.length) return nothing;
  return html`<div class="card"><h2>${t('today.coops')}</h2><ul class="rows">
    ${sheet.gathered.by_coop.map((row) => html`<li><span class="row-main">${egg(row.species)}
      <span>${row.name}<small>${t(`species.${row.species}`)}${row.floor_laid ? ` · ${t('today.floor', { n: row.floor_laid })}` : ''}</small></span></span>
      ${row.eggs === null ? html`<span class="unknown">${t('today.unknown')}</span>` : html`<b>${num(row.eggs)}</b>`}</li>`)}
  </ul></div>`;
}

// Two weeks as columns; a day that nobody logged is hatched, not empty.
function trend(days) {
  const most = Math.max(1, ...days.map((one) => one.eggs ?? 0));
  const width = 320 / SPAN;
  const words = days.map((one) => `${day(one.day)}: ${one.eggs === null ? t('today.unknown') : num(one.eggs)}`).join('; ');
  return html`<figure class="card"><figcaption><h2>${t('today.trend', { n: SPAN })}</h2></figcaption>
    <svg class="trend" viewBox="0 0 320 120" role="img" aria-label=${words}>
      ${days.map((one, i) => {
        const tall = one.eggs === null ? 88 : Math.max(2, one.eggs / most * 88);
        return svg`<rect class=${one.eggs === null ? 'unknown' : i === days.length - 1 ? 'now' : 'bar'}
          x=${i * width + 2} y=${100 - tall} width=${width - 4} height=${tall} rx="3"/>
          ${i % 2 === (days.length - 1) % 2 ? svg`<text x=${i * width + width / 2} y="115">${day(one.day, { day: 'numeric' })}</text>` : nothing}`;
      })}
    </svg>${days.some((one) => one.eggs === null) ? html`<p class="quiet">${t('today.hatched')}</p>` : nothing}</figure>`;
}

function pulled(sheet) {
  if (!sheet.pulled.eggs) return nothing;
  const reasons = Object.entries(sheet.pulled.by_reason).sort(([, a], [, b]) => b - a);
  return html`<div class="card"><h2>${t('today.pulled', { n: sheet.pulled.eggs })}</h2><ul class="rows">
    ${reasons.map(([reason, n]) => html`<li><span class="row-main">${egg('hen', reason)}<span>${t(`defect.${reason}`)}</span></span><b>${num(n)}</b></li>`)}</ul></div>`;
}

function more(sheet) {
  const lines = [
    ...Object.entries(sheet.washed).map(([means, n]) => [t('today.washed', { means: t(`means.${means}`) }), num(n)]),
    ...Object.entries(sheet.candled).map(([quality, n]) => [t('today.candled', { quality: t(`quality.${quality}`) }), num(n)]),
    ...sheet.cartoned.map((run) => [t('today.cartoned', {
      n: run.cartons, each: run.eggs_per_carton, species: t(`species.${run.species}`), size: sizeWord(run.size),
    }), num(run.eggs)]),
    ...Object.entries(sheet.out.eggs).map(([way, n]) => [t(`way.${way}`), num(n)]),
    ...Object.entries(sheet.mean_grams).map(([species, grams]) => [t('today.mean', { species: t(`species.${species}`) }), weight(grams)]),
    ...Object.entries(sheet.unaccounted).filter(([, n]) => n).map(([species, n]) => [t('today.unaccounted', { species: t(`species.${species}`) }), num(n)]),
  ];
  if (!lines.length) return nothing;
  return html`<div class="card"><h2>${t('today.work')}</h2><ul class="rows">${lines.map(([text, n]) => html`<li><span>${text}</span><b>${n}</b></li>`)}</ul></div>`;
}

// A class that the dictionary does not know, from the farm's own rules, is shown as it is written.
export const sizeWord = (code) => (code ? (has(`size.${code}`) ? t(`size.${code}`) : code) : '');

function what(row) {
  const eggs = row.fields.count ?? row.fields.counted ?? row.fields.birds
    ?? (row.fields.parts ? Object.values(row.fields.parts).reduce((a, b) => a + b, 0) : row.fields.grams?.length);
  return eggs === undefined ? '' : num(eggs);
}

function records(rows) {
  return html`<details class="card"><summary>${t('today.records', { n: rows.length })}</summary><ul class="rows">
    ${rows.map((row) => html`<li><span class="row-main"><b>${what(row)}</b><span>${t(`kind.${row.kind}`)}
      <small>${time(row.at)} · ${app.home.names[row.fields.by] ?? ''}${row.fields.coop ? ` · ${app.home.names[row.fields.coop] ?? ''}` : ''}</small></span></span>
      ${canMend(row) ? html`<a class="button plain" href=${`#record/${row.id}`}>${t('record.mend')}<span class="unseen">${t('today.undo', { kind: t(`kind.${row.kind}`), at: time(row.at) })}</span></a>` : nothing}
      <button class="plain" @click=${() => act(async () => { await takeBack([row.id]); await load(); })}>${t('undo')}
        <span class="unseen">${t('today.undo', { kind: t(`kind.${row.kind}`), at: time(row.at) })}</span></button></li>`)}</ul></details>`;
}

export function view() {
  const { sheet, days, rows } = me();
  if (!sheet) return heading(t('today.title'));
  const isToday = shown() === app.home.today;
  return html`
    ${heading(t('today.title'))}
    <div class="day-bar"><button aria-label=${t('today.before')} @click=${() => go(-1)}>‹</button>
      <p>${nearDay(shown(), app.home.today)}<small>${day(shown(), { weekday: 'long', day: 'numeric', month: 'long' })}</small></p>
      <button aria-label=${t('today.after')} ?disabled=${isToday} @click=${() => go(1)}>›</button></div>
    ${app.home.review ? html`<a class="card notice ${app.home.urgent ? 'urgent' : ''}" href="#review">${icon('review')}<span>${t('review.count', { n: app.home.review })}</span></a>` : nothing}
    ${!app.home.status.server && copyDue() ? html`<a class="card notice" href="#family">${icon('waiting')}<span>${t('copy.due')}</span></a>` : nothing}
    <div class="totals"><p class="big"><b>${num(sheet.gathered.eggs)}</b><small>${t('today.gathered', { n: sheet.gathered.eggs })}</small></p>
      <ul>${Object.entries(sheet.gathered.by_species).map(([species, n]) => html`<li>${egg(species)}<b>${num(n)}</b><span>${t(`species.${species}`)}</span></li>`)}</ul></div>
    ${flow(sheet)}
    ${coops(sheet)}
    ${pulled(sheet)}
    ${more(sheet)}
    ${trend(days)}
    <a class="button wide" href="#trends">${icon('today')} ${t('nav.trends')}</a>
    ${records(rows)}
    <p class="quiet">${app.home.status.server ? since(app.home.status) : t('sync.alone.about')}</p>`;
}
