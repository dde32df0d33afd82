// Language and look of this phone; units, rules, house policy and places of the farm.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, refresh, say, stateOf } from '../app.js';
import { choices, field, heading, textField, tick, told } from '../parts.js';
import { egg } from '../pictures.js';
import { LANGUAGES, language, speak, t, useUnits } from '../words.js';

const SPECIES = ['hen', 'duck', 'goose', 'turkey', 'guinea', 'quail'];
const me = () => stateOf('settings', () => ({ coop: '', birds: ['hen'], outlet: '', cooler: '', best: null, apart: null, sure: null }));

const setFarm = (set) => act(async () => {
  await call('amend', { target: app.home.farm, set });
  await refresh();
  useUnits(app.home);
  say(t('saved'));
});

const house = () => app.home.setting.house ?? {};
const setHouse = (change) => setFarm({ house: { ...house(), ...change } });

const theme = () => localStorage.getItem('pointdown-theme') ?? 'auto';
function setTheme(value) {
  localStorage.setItem('pointdown-theme', value);
  document.documentElement.dataset.theme = value;
}

const add = (draft, done) => act(async () => {
  await call('log', { drafts: [draft] });
  done();
  await refresh();
  say(t('saved'));
});

const retire = (one) => act(async () => {
  const state = me();
  if (state.sure !== one.id) { state.sure = one.id; return; }
  state.sure = null;
  await call('amend', { target: one.id, set: { retired: app.home.today } });
  await refresh();
  say(t('saved'));
});

const places = (all) => html`<ul class="rows">${all.map((one) => html`<li><span>${one.name}${one.species ? html`<small>${one.species.map((s) => t(`species.${s}`)).join(', ')}</small>` : nothing}</span>
  <button class="plain" @click=${() => retire(one)} aria-label=${t(me().sure === one.id ? 'settings.retire.sure' : 'settings.retire.label', { name: one.name })}>${t(me().sure === one.id ? 'settings.retire.sure_short' : 'settings.retire')}</button></li>`)}</ul>`;

function days(label, key, about) {
  const state = me();
  const now = house()[key] ?? null;
  const typed = state[key] ?? (now === null ? '' : String(now));
  return html`${field(label, typed, (text, n) => { state[key] = text; state[`${key}_n`] = n; }, { unit: t('unit.days'), mode: 'numeric', about, id: key })}
    ${state[key] !== null && state[key] !== undefined && String(now ?? '') !== state[key]
      ? html`<button class="wide" @click=${() => setHouse({ [key]: state[`${key}_n`] })}>${t('save')}</button>` : nothing}`;
}

export function view() {
  const state = me();
  const setting = app.home.setting ?? {};
  return html`${heading(t('nav.settings'))}
    <section class="card"><h2>${t('settings.phone')}</h2>
      <p class="label">${t('settings.language')}</p>
      ${choices(t('settings.language'), Object.entries(LANGUAGES).map(([value, text]) => ({ value, text })), language(), speak)}
      <p class="label">${t('settings.theme')}</p>
      ${choices(t('settings.theme'), ['auto', 'light', 'dark'].map((value) => ({ value, text: t(`theme.${value}`) })), theme(), setTheme)}</section>
    <section class="card"><h2>${t('settings.farm')}</h2><p class="quiet">${t('settings.farm.about')}</p>
      <p class="label">${t('settings.temperature')}</p>
      ${choices(t('settings.temperature'), [{ value: 'C', text: '°C' }, { value: 'F', text: '°F' }], setting.temperature ?? 'C', (v) => setFarm({ temperature: v }))}
      <p class="label">${t('settings.weight')}</p>
      ${choices(t('settings.weight'), [{ value: 'g', text: t('unit.g') }, { value: 'oz', text: t('unit.oz') }], setting.weight ?? 'g', (v) => setFarm({ weight: v }))}
      <p class="label">${t('settings.rules')}</p>
      ${choices(t('settings.rules'), ['us_federal', 'eu'].map((value) => ({ value, text: t(`rules.${value}`) })), setting.rule_pack ?? null, (v) => setFarm({ rule_pack: v }))}
      ${app.home.pack ? html`<p class="caution">${told(app.home.pack.caution)}</p>` : html`<p class="quiet">${t('rules.about')}</p>`}</section>
    <section class="card"><h2>${t('settings.house')}</h2><p class="quiet">${t('settings.house.about')}</p>
      ${tick(t('settings.bloom'), house().keep_bloom ?? false, (on) => setHouse({ keep_bloom: on }), t('settings.bloom.about'))}
      ${days(t('settings.best_by'), 'best_by_days', t('settings.best_by.about'))}
      ${days(t('settings.apart'), 'ages_apart_max_days', t('settings.apart.about'))}</section>
    <section class="card"><h2>${t('settings.coops')}</h2>${places(app.home.coops)}
      ${textField(t('settings.coop.new'), state.coop, (v) => { state.coop = v; }, { id: 'coop' })}
      <div class="choices" role="group" aria-label=${t('start.birds')}>${SPECIES.map((one) => html`<button type="button" aria-pressed=${state.birds.includes(one) ? 'true' : 'false'} @click=${() => {
        state.birds = state.birds.includes(one) ? state.birds.filter((s) => s !== one) : [...state.birds, one];
        draw();
      }}>${egg(one)}<span>${t(`species.${one}`)}</span></button>`)}</div>
      <button class="wide" ?disabled=${!state.coop.trim() || !state.birds.length} @click=${() => add({ kind: 'coop', name: state.coop, species: state.birds }, () => { state.coop = ''; })}>${t('settings.coop.add')}</button></section>
    <section class="card"><h2>${t('settings.coolers')}</h2>${places(app.home.coolers)}
      ${textField(t('settings.cooler.new'), state.cooler, (v) => { state.cooler = v; }, { id: 'cooler' })}
      <button class="wide" ?disabled=${!state.cooler.trim()} @click=${() => add({ kind: 'cooler', name: state.cooler }, () => { state.cooler = ''; })}>${t('settings.cooler.add')}</button></section>
    <section class="card"><h2>${t('settings.outlets')}</h2>${places(app.home.outlets)}
      ${textField(t('settings.outlet.new'), state.outlet, (v) => { state.outlet = v; }, { id: 'outlet' })}
      <button class="wide" ?disabled=${!state.outlet.trim()} @click=${() => add({ kind: 'outlet', name: state.outlet }, () => { state.outlet = ''; })}>${t('settings.outlet.add')}</button></section>`;
}
