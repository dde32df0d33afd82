// The shelf: what is due next, cartons and until when, out to whom, and what came back.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, log, stateOf } from '../app.js';
import { choices, field, heading, heldTick, heldWord, oldest, onHand, stepper, textField } from '../parts.js';
import { carton, egg, icon } from '../pictures.js';
import { day, inDays, t } from '../words.js';
import { backCard, loadOuts } from './back.js';
import { dueCard } from './due.js';
import { sizeWord } from './today.js';

const WAYS = ['sold', 'given', 'eaten'];
const me = () => stateOf('shelf', () => ({ now: null, open: null, loose: null, here: null }));

export async function load() {
  me().now = await call('now');
  await loadOuts();
  await look();
}

// How many eggs of the chosen species are free to take, and how many are held.
async function look() {
  const { loose } = me();
  if (!loose?.species) return;
  me().here = await call('suggest', { station: loose.station, species: loose.species });
}
const relook = () => { look().then(draw, () => draw()); };

const blank = () => ({ way: 'sold', cartons: 1, outlet: null, to: '', price: '', priced: null, station: 'clean', species: null, eggs: 1, held: false });

function details(draft, out) {
  if (out.outlet) draft.outlet = out.outlet;
  if (out.to.trim()) draft.to = out.to.trim();
  if (out.priced !== null) draft.price = out.priced;
  return draft;
}

function saveRun(run, out) {
  return act(async () => {
    const parts = await call('of_run', { run: run.id, cartons: out.cartons });
    await log([details({ kind: 'out', way: out.way, carton: run.id, cartons: out.cartons, parts }, out)],
      t('shelf.done', { n: out.cartons, way: t(`way.${out.way}`) }));
    me().open = null;
    await load();
  }, 'save');
}

function saveLoose(out) {
  return act(async () => {
    const parts = await oldest(out.station, out.species, out.eggs, out.held);
    await log([details({ kind: 'out', way: out.way, station: out.station, parts }, out)],
      t('shelf.done_loose', { n: out.eggs, way: t(`way.${out.way}`) }));
    me().loose = null;
    await load();
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
  if (run.days_left < 0) return t('shelf.past', { what: t(`due.${run.what}`), when: inDays(run.days_left) });
  return t('shelf.due', { what: t(`due.${run.what}`), when: inDays(run.days_left), day: day(run.due) });
}
const urgency = (run) => (run.held ? 'past' : run.due === null ? '' : run.days_left < 0 ? 'past' : run.days_left <= 5 ? 'soon' : '');

function oneRun(run) {
  const state = me();
  const open = state.open?.id === run.id ? state.open : null;
  return html`<li class="card shelf-run ${urgency(run)}">
    <div class="run-head">${carton(run.species, run.eggs_per_carton > 18 ? 18 : run.eggs_per_carton, Array(Math.min(18, run.eggs_per_carton)).fill('in'))}
      <p><b>${t('shelf.run', { n: run.cartons, each: run.eggs_per_carton })}</b>${run.loose ? html`<span>${t('shelf.open', { n: run.loose })}</span>` : nothing}${heldWord(run.held)}
        <span>${t(`species.${run.species}`)}${run.size ? ` · ${sizeWord(run.size)}` : ''}</span>
        <span class="due">${dueWords(run)}</span><small>${t('shelf.packed', { day: day(run.packed) })}${run.code ? ` · ${run.code}` : ''}</small></p></div>
    ${open ? html`
      ${stepper(t('shelf.cartons'), open.cartons, (n) => { open.cartons = n; }, { least: 1, most: run.cartons })}
      ${whom(open)}
      ${run.days_left !== null && run.days_left < 0 ? html`<p class="caution">${t('shelf.past.about')}</p>` : nothing}
      ${run.held ? html`<p class="caution">${t('caution.held')}</p>` : nothing}
      <div class="pair"><button @click=${() => { state.open = null; draw(); }}>${t('cancel')}</button>
        <button class="main" @click=${() => saveRun(run, open)}>${t('shelf.go', { n: open.cartons, way: t(`way.${open.way}`) })}</button></div>`
      : !run.cartons ? nothing : html`<button class="wide" @click=${() => { state.open = { id: run.id, ...blank() }; draw(); }} aria-label=${t('shelf.out.label', { n: run.cartons, species: t(`species.${run.species}`) })}>${t('shelf.out')}</button>`}
  </li>`;
}

function loose() {
  const state = me();
  const stations = ['clean', 'basket'].filter((name) => Object.keys(onHand(name)).length);
  if (!stations.length) return nothing;
  if (!state.loose) {
    return html`<button class="wide" @click=${() => {
      state.loose = blank();
      [state.loose.station] = stations;
      [state.loose.species] = Object.keys(onHand(state.loose.station));
      relook();
    }}>${t('shelf.loose')}</button>`;
  }
  const out = state.loose;
  if (!stations.includes(out.station)) [out.station] = stations;
  const here = onHand(out.station);
  const free = state.here ?? { eggs: 0, held: 0 };
  const most = free.eggs + (out.held ? free.held : 0);
  return html`<div class="card"><h2>${t('shelf.loose')}</h2>
    ${choices(t('station'), stations.map((value) => ({ value, text: t(`flow.${value}`) })), out.station, (one) => { out.station = one; [out.species] = Object.keys(onHand(one)); relook(); })}
    ${choices(t('species'), Object.keys(here).map((value) => ({ value, text: t(`species.${value}`), picture: egg(value) })), out.species, (one) => { out.species = one; relook(); })}
    ${stepper(t('shelf.eggs'), out.eggs, (n) => { out.eggs = n; }, { least: 1, most: Math.max(1, most) })}
    ${heldTick(free.held, out.held, (on) => { out.held = on; })}
    ${whom(out)}
    <div class="pair"><button @click=${() => { state.loose = null; draw(); }}>${t('cancel')}</button>
      <button class="main" ?disabled=${most < out.eggs} @click=${() => saveLoose(out)}>${t('shelf.go_loose', { n: out.eggs, way: t(`way.${out.way}`) })}</button></div></div>`;
}

export function view() {
  const { now } = me();
  if (!now) return heading(t('nav.shelf'));
  const { runs } = now;
  const total = runs.reduce((sum, run) => sum + run.cartons, 0);
  return html`${heading(t('nav.shelf'), t('shelf.about', { n: total }))}
    ${dueCard(now)}
    ${runs.length ? html`<ul class="plainlist">${runs.map(oneRun)}</ul>` : html`<p class="card">${t('shelf.empty')}</p>`}
    ${loose()}
    ${backCard(load)}
    <a class="button wide" href="#stock">${icon('stock')} ${t('nav.stock')}</a>
    <p class="caution">${t('caution.cold')}</p>`;
}
