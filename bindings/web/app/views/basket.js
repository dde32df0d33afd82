// What waits at a station, how old it is, and pulling with a reason.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, log, stateOf } from '../app.js';
import { age, choices, field, heading, heldWord, lotDay, onHand, take } from '../parts.js';
import { egg } from '../pictures.js';
import { blankPull, loadFacts, pullForm, useOf } from './pull.js';
import { nearDay, num, t } from '../words.js';

const STATIONS = ['basket', 'clean', 'cartoned'];
const me = () => stateOf('basket', () => ({ station: 'basket', species: null, pull: blankPull(), recount: null, counted: null, here: [] }));

export async function load() {
  await loadFacts();
  me().here = (await call('now')).here;
}

// Eggs as the core says how they stand: how old from the earliest moment of laying, and whether held.
const hereLine = (one) => html`<li><span class="row-main">${egg(one.species)}<span>${t(`species.${one.species}`)}${heldWord(one.held)}
      <small>${one.code ?? (one.lot ? nearDay(lotDay(one.lot), app.home.today) : '')} · ${age(one.age_minutes)}</small></span></span>
    <b class=${one.age_minutes > 48 * 60 ? 'old' : ''}>${num(one.eggs)}</b></li>`;

// More left than ever came: the review list says more.
const missing = (kinds, here) => kinds.flatMap((one) => Object.entries(here[one].lots).filter(([, n]) => n < 0).map(([lot, n]) => html`<li>
    <span class="row-main">${egg(one)}<span>${t(`species.${one}`)}<small>${nearDay(lotDay(lot), app.home.today)} · <a href="#review">${t('nav.review')}</a></small></span></span>
    <b class="bad">${num(n)}</b></li>`));

function pullSome(species, here) {
  const state = me();
  return act(async () => {
    const parts = take(here.lots, state.pull.eggs);
    const { eggs, reason } = state.pull;
    await log([{ kind: 'cull', station: state.station, parts, reason, use: useOf(state.pull) }],
      t('basket.pulled', { n: eggs, reason: t(`defect.${reason}`) }));
    state.pull = blankPull();
  }, 'save');
}

function recount(species) {
  const state = me();
  return act(async () => {
    await log([{ kind: 'recount', station: state.station, species, counted: state.counted }],
      t('basket.recounted', { n: state.counted, species: t(`species.${species}`) }));
    state.recount = null;
    state.counted = null;
  }, 'save');
}

export function view() {
  const state = me();
  const here = onHand(state.station);
  const kinds = Object.keys(here);
  const species = kinds.includes(state.species) ? state.species : kinds[0];
  const mine = here[species];
  const most = mine ? Object.values(mine.lots).reduce((sum, n) => sum + Math.max(0, n), 0) : 0;
  return html`${heading(t('nav.basket'), t('basket.about'))}
    ${choices(t('station'), STATIONS.map((value) => ({ value, text: t(`flow.${value}`) })), state.station, (one) => { state.station = one; })}
    <ul class="rows card">${kinds.length
      ? [...state.here.filter((one) => one.place === state.station).map(hereLine), ...missing(kinds, here)]
      : html`<li>${t('basket.empty')}</li>`}</ul>
    ${mine ? html`
      ${kinds.length > 1 ? choices(t('species'), kinds.map((one) => ({ value: one, text: t(`species.${one}`), picture: egg(one) })), species, (one) => { state.species = one; }) : nothing}
      <div class="card"><h2>${t('basket.pull')}</h2>
        ${pullForm(species, state.pull, most, state.station === 'basket' ? 'gathering' : 'packing')}
        <button class="main" ?disabled=${!state.pull.reason || most < 1} @click=${() => pullSome(species, mine)}>
          ${state.pull.reason ? t('basket.pull.go', { n: state.pull.eggs, reason: t(`defect.${state.pull.reason}`) }) : t('basket.pull.choose')}</button></div>
      <details class="card" .open=${state.recount ?? false}><summary>${t('basket.recount')}</summary>
        <p class="quiet">${t('basket.recount.about')}</p>
        ${field(t('basket.counted', { species: t(`species.${species}`) }), state.recount, (text, n) => { state.recount = text; state.counted = n; }, { mode: 'numeric', id: 'counted' })}
        <button ?disabled=${!Number.isInteger(state.counted) || state.counted < 0} @click=${() => recount(species)}>${t('basket.recount.go')}</button></details>` : nothing}`;
}
