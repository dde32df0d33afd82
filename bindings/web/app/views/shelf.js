// The shelf: cartons, until when, and out to whom.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, log, stateOf } from '../app.js';
import { choices, field, heading, onHand, stepper, take, textField } from '../parts.js';
import { carton, egg } from '../pictures.js';
import { day, inDays, t } from '../words.js';
import { sizeWord } from './today.js';

const WAYS = ['sold', 'given', 'eaten'];
const me = () => stateOf('shelf', () => ({ runs: null, open: null, loose: null }));

export async function load() {
  me().runs = await call('shelf');
}

const blank = () => ({ way: 'sold', cartons: 1, outlet: null, to: '', price: '', priced: null, station: 'clean', species: null, eggs: 1 });

function details(draft, out) {
  if (out.outlet) draft.outlet = out.outlet;
  if (out.to.trim()) draft.to = out.to.trim();
  if (out.priced !== null) draft.price = out.priced;
  return draft;
}

function saveRun(run, out) {
  return act(async () => {
    const parts = take(run.parts, out.cartons * run.eggs_per_carton);
    if (!parts) throw { kind: 'few', message: '' };
    await log([details({ kind: 'out', way: out.way, carton: run.id, cartons: out.cartons, parts }, out)],
      t('shelf.done', { n: out.cartons, way: t(`way.${out.way}`) }));
    me().open = null;
    await load();
  }, 'save');
}

function saveLoose(out) {
  return act(async () => {
    const parts = take(onHand(out.station)[out.species].lots, out.eggs);
    await log([details({ kind: 'out', way: out.way, station: out.station, parts }, out)],
      t('shelf.done_loose', { n: out.eggs, way: t(`way.${out.way}`) }));
    me().loose = null;
  }, 'save');
}

// To whom, and for how much.
const whom = (out) => html`
  ${choices(t('shelf.way'), WAYS.map((value) => ({ value, text: t(`way.${value}`) })), out.way, (one) => { out.way = one; })}
  ${out.way === 'eaten' ? nothing : html`
    ${app.home.outlets.length ? choices(t('shelf.outlet'), [...app.home.outlets.map((one) => ({ value: one.id, text: one.name })), { value: null, text: t('shelf.other') }], out.outlet, (one) => { out.outlet = one; }) : nothing}
    ${out.outlet ? nothing : textField(t('shelf.to'), out.to, (v) => { out.to = v; }, { id: 'to', most: 120 })}
    ${out.way === 'sold' ? field(t('shelf.price'), out.price, (text, n) => { out.price = text; out.priced = n; }, { unit: app.home.setting.currency ?? '', id: 'price' }) : nothing}`}`;

function dueWords(run) {
  if (run.due === null) return t('shelf.no_due');
  if (run.days_left < 0) return t('shelf.past', { when: inDays(run.days_left) });
  return t('shelf.due', { when: inDays(run.days_left), day: day(run.due) });
}
const urgency = (run) => (run.due === null ? '' : run.days_left < 0 ? 'past' : run.days_left <= 5 ? 'soon' : '');

function oneRun(run) {
  const state = me();
  const open = state.open?.id === run.id ? state.open : null;
  return html`<li class="card shelf-run ${urgency(run)}">
    <div class="run-head">${carton(run.species, run.eggs_per_carton > 18 ? 18 : run.eggs_per_carton, Array(Math.min(18, run.eggs_per_carton)).fill('in'))}
      <p><b>${t('shelf.run', { n: run.cartons, each: run.eggs_per_carton })}</b>
        <span>${t(`species.${run.species}`)}${run.size ? ` · ${sizeWord(run.size)}` : ''}</span>
        <span class="due">${dueWords(run)}</span><small>${t('shelf.packed', { day: day(run.packed) })}${run.code ? ` · ${run.code}` : ''}</small></p></div>
    ${open ? html`
      ${stepper(t('shelf.cartons'), open.cartons, (n) => { open.cartons = n; }, { least: 1, most: run.cartons })}
      ${whom(open)}
      ${run.days_left < 0 ? html`<p class="caution">${t('shelf.past.about')}</p>` : nothing}
      <div class="pair"><button @click=${() => { state.open = null; draw(); }}>${t('cancel')}</button>
        <button class="main" @click=${() => saveRun(run, open)}>${t('shelf.go', { n: open.cartons, way: t(`way.${open.way}`) })}</button></div>`
      : html`<button class="wide" @click=${() => { state.open = { id: run.id, ...blank() }; draw(); }} aria-label=${t('shelf.out.label', { n: run.cartons, species: t(`species.${run.species}`) })}>${t('shelf.out')}</button>`}
  </li>`;
}

function loose() {
  const state = me();
  const stations = ['clean', 'basket'].filter((name) => Object.keys(onHand(name)).length);
  if (!stations.length) return nothing;
  if (!state.loose) return html`<button class="wide" @click=${() => { state.loose = blank(); draw(); }}>${t('shelf.loose')}</button>`;
  const out = state.loose;
  if (!stations.includes(out.station)) [out.station] = stations;
  const here = onHand(out.station);
  if (!here[out.species]) [out.species] = Object.keys(here);
  const most = Object.values(here[out.species].lots).reduce((sum, n) => sum + Math.max(0, n), 0);
  return html`<div class="card"><h2>${t('shelf.loose')}</h2>
    ${choices(t('station'), stations.map((value) => ({ value, text: t(`flow.${value}`) })), out.station, (one) => { out.station = one; out.species = null; })}
    ${choices(t('species'), Object.keys(here).map((value) => ({ value, text: t(`species.${value}`), picture: egg(value) })), out.species, (one) => { out.species = one; })}
    ${stepper(t('shelf.eggs'), out.eggs, (n) => { out.eggs = n; }, { least: 1, most })}
    ${whom(out)}
    <div class="pair"><button @click=${() => { state.loose = null; draw(); }}>${t('cancel')}</button>
      <button class="main" ?disabled=${most < out.eggs} @click=${() => saveLoose(out)}>${t('shelf.go_loose', { n: out.eggs, way: t(`way.${out.way}`) })}</button></div></div>`;
}

export function view() {
  const { runs } = me();
  if (!runs) return heading(t('nav.shelf'));
  const total = runs.reduce((sum, run) => sum + run.cartons, 0);
  return html`${heading(t('nav.shelf'), t('shelf.about', { n: total }))}
    ${runs.length ? html`<ul class="plainlist">${runs.map(oneRun)}</ul>` : html`<p class="card">${t('shelf.empty')}</p>`}
    ${loose()}
    <p class="caution">${t('caution.cold')}</p>`;
}

