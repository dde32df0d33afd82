// What waits at a station, how old it is, and pulling with a reason.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, draw, log, stateOf } from '../app.js';
import { choices, field, heading, lotDay, onHand, take } from '../parts.js';
import { egg } from '../pictures.js';
import { blankPull, loadFacts, pullForm, useOf } from './pull.js';
import { daysBetween, nearDay, num, t } from '../words.js';

const STATIONS = ['basket', 'clean', 'cartoned'];
const me = () => stateOf('basket', () => ({ station: 'basket', species: null, pull: blankPull(), recount: null, counted: null }));

export const load = loadFacts;

// Since the first round of today, whose eggs are the ones that wait.
function sinceToday(species) {
  const first = app.home.gathers.filter((row) => row.fields.species === species && row.fields.count > 0).at(-1);
  return first ? Math.floor((Date.now() - new Date(first.at).getTime()) / 3_600_000) : null;
}

function lotLine(species, lot, eggs) {
  const age = daysBetween(lotDay(lot), app.home.today);
  const hours = age === 0 ? sinceToday(species) : null;
  return html`<li><span class="row-main">${egg(species)}<span>${t(`species.${species}`)}
      <small>${nearDay(lotDay(lot), app.home.today)}${hours ? ` · ${t('basket.hours', { n: hours })}` : ''}</small></span></span>
    <b class=${eggs < 0 ? 'bad' : age > 1 ? 'old' : ''}>${num(eggs)}</b></li>`;
}

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
      ? kinds.flatMap((one) => Object.entries(here[one].lots).map(([lot, n]) => lotLine(one, lot, n)))
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
