// Candling: the screen is the dark room and, at need, the light. Count what is found.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, draw, log, stateOf } from '../app.js';
import { heading, onHand, speciesHere, take } from '../parts.js';
import { egg } from '../pictures.js';
import { loadFacts, useOf } from './pull.js';
import { num, t } from '../words.js';

const GRADES = { us_federal: ['aa', 'a', 'b'], eu: ['extra', 'a', 'b'] };
const FAULTS = ['dirty', 'check', 'leaker', 'loss', 'inedible'];
// What a find is pulled as, unless somebody says more.
const REASON = { dirty: 'dung', check: 'hairline_crack', leaker: 'leaker', loss: 'blood_spot', inedible: 'rot' };

const me = () => stateOf('candle', () => ({ species: null, found: {}, bright: false, pullToo: true }));

export const load = loadFacts;

// The lamp keeps the screen awake while this is in front.
let awake = null;
async function lamp() {
  const state = me();
  state.bright = !state.bright;
  draw();
  if (state.bright) awake = await navigator.wakeLock?.request('screen').catch(() => null);
  else { await awake?.release(); awake = null; }
}

// Grades are written for hens; other eggs are sound or they are not.
const qualities = (species) => [...(species === 'hen' ? GRADES[app.home.pack?.code] ?? ['a', 'b'] : ['a']), ...FAULTS];
const word = (species, quality) => (species !== 'hen' && quality === 'a' ? t('quality.sound') : t(`quality.${quality}`));

function station(species, eggs) {
  for (const name of ['clean', 'basket', 'cartoned']) {
    const lots = onHand(name)[species]?.lots;
    const parts = lots && take(lots, eggs);
    if (parts) return { name, parts, lots };
  }
  return null;
}

function save(species, total) {
  const state = me();
  return act(async () => {
    const at = station(species, total);
    if (!at) throw { kind: 'few', message: '' };
    const drafts = [{ kind: 'candle', parts: at.parts, found: { ...state.found } }];
    let left = { ...at.lots };
    if (state.pullToo && at.name !== 'cartoned') {
      for (const fault of FAULTS.filter((one) => state.found[one])) {
        const parts = take(left, state.found[fault]);
        const reason = REASON[fault];
        drafts.push({ kind: 'cull', station: at.name, parts, reason, use: useOf({ reason }) });
        left = Object.fromEntries(Object.entries(left).map(([lot, n]) => [lot, n - (parts[lot] ?? 0)]));
      }
    }
    await log(drafts, t('candle.done', { n: total }));
    state.found = {};
  }, 'save');
}

export function view() {
  const state = me();
  const all = speciesHere();
  const species = state.species ?? Object.keys(onHand('clean'))[0] ?? all[0] ?? 'hen';
  const total = Object.values(state.found).reduce((a, b) => a + b, 0);
  const put = (quality, n) => {
    state.found[quality] = Math.max(0, (state.found[quality] ?? 0) + n);
    if (!state.found[quality]) delete state.found[quality];
    draw();
  };
  const bad = FAULTS.some((one) => state.found[one]);
  return html`<div class="dark ${state.bright ? 'lit' : ''}">
    ${heading(t('nav.candle'))}
    <button class="lamp" aria-pressed=${state.bright ? 'true' : 'false'} @click=${lamp}>
      <span class="field" aria-hidden="true"></span><span>${state.bright ? t('candle.dim') : t('candle.light')}</span></button>
    <p class="about">${t('candle.about')}</p>
    ${all.length > 1 ? html`<div class="choices" role="group" aria-label=${t('species')}>${all.map((one) => html`<button type="button"
      aria-pressed=${one === species ? 'true' : 'false'} @click=${() => { state.species = one; state.found = {}; draw(); }}>${egg(one)}<span>${t(`species.${one}`)}</span></button>`)}</div>` : nothing}
    <ul class="finds">${qualities(species).map((quality) => html`<li class=${FAULTS.includes(quality) ? 'fault' : ''}>
      <button class="find" @click=${() => put(quality, 1)}>
        <span><span class="unseen">${t('candle.add')}</span> ${word(species, quality)}<small>${t(`quality.${quality}.about`)}</small></span><b>${num(state.found[quality] ?? 0)}</b></button>
      <button class="find-less" ?disabled=${!state.found[quality]} aria-label=${t('candle.less', { quality: word(species, quality) })} @click=${() => put(quality, -1)}>−</button></li>`)}</ul>
    ${bad ? html`<label class="tick"><input type="checkbox" .checked=${state.pullToo} @change=${(e) => { state.pullToo = e.target.checked; draw(); }}><span>${t('candle.pull')}</span></label>` : nothing}
    <div class="dock"><button class="main" ?disabled=${!total} @click=${() => save(species, total)}>${total ? t('candle.log', { n: total }) : t('candle.none')}</button></div>
  </div>`;
}
