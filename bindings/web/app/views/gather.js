// Gathering at the coop: one thumb, big counts.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, draw, log, stateOf, takeBack } from '../app.js';
import { choices, heading, stepper } from '../parts.js';
import { egg, tray } from '../pictures.js';
import { blankPull, pullForm, useOf } from './pull.js';
import { num, t, time } from '../words.js';

const COOP = 'pointdown-coop';
const SPECIES = 'pointdown-species';
const DOUBLE_MS = 1500;

const me = () => stateOf('gather', () => ({
  coop: localStorage.getItem(COOP), species: localStorage.getItem(SPECIES),
  count: 0, floor: 0, pulls: [], pulling: null, keys: false, saved: 0,
}));

// The coop and species of the last round; the first of each where these are gone.
function where() {
  const state = me();
  const coop = app.home.coops.find((one) => one.id === state.coop) ?? app.home.coops[0];
  const species = coop?.species.includes(state.species) ? state.species : coop?.species[0];
  return { coop, species };
}

function choose(coop, species) {
  Object.assign(me(), { coop, species });
  localStorage.setItem(COOP, coop);
  localStorage.setItem(SPECIES, species);
}

const pulled = () => me().pulls.reduce((sum, pull) => sum + pull.eggs, 0);

function add(n) {
  const state = me();
  state.count = Math.min(9999, Math.max(0, state.count + n));
  state.floor = Math.min(state.floor, state.count);
  while (pulled() > state.count) state.pulls.pop();
  draw();
}

function press(key) {
  const state = me();
  const text = key === 'back' ? String(state.count).slice(0, -1) : `${state.count}${key}`;
  state.count = Math.min(9999, Number(text) || 0);
  add(0);
}

const keypad = () => html`<div class="keypad" role="group" aria-label=${t('gather.keypad')}>
  ${[1, 2, 3, 4, 5, 6, 7, 8, 9].map((n) => html`<button type="button" @click=${() => press(n)}>${num(n)}</button>`)}
  <button type="button" @click=${() => { me().count = 0; add(0); }}>${t('clear')}</button>
  <button type="button" @click=${() => press(0)}>${num(0)}</button>
  <button type="button" @click=${() => press('back')} aria-label=${t('gather.back')}>⌫</button>
</div>`;

function save() {
  const state = me();
  const { coop, species } = where();
  // The second half of a double tap is no round without eggs.
  if (!state.count && Date.now() - state.saved < DOUBLE_MS) return undefined;
  return act(async () => {
    const lot = [app.home.today, species, ...(app.home.setting.coops_apart ? [coop.id] : [])].join('/');
    const round = { kind: 'gather', coop: coop.id, species, count: state.count };
    if (state.floor) round.floor_laid = state.floor;
    const pulls = state.pulls.map((pull) => ({
      kind: 'cull', station: 'basket', parts: { [lot]: pull.eggs }, reason: pull.reason, use: useOf(pull),
    }));
    const said = t('gather.done', { n: state.count, species: t(`species.${species}`), coop: coop.name });
    await log([round, ...pulls], said);
    choose(coop.id, species);
    Object.assign(state, { count: 0, floor: 0, pulls: [], pulling: null, saved: Date.now() });
  }, 'save');
}

function rounds() {
  const all = app.home.gathers;
  if (!all.length) return html`<p class="quiet">${t('gather.none')}</p>`;
  return html`<ul class="rows">${all.map((row) => html`<li>
    <span class="row-main">${egg(row.fields.species)}<b>${num(row.fields.count)}</b>
      <span>${app.home.names[row.fields.coop] ?? ''}<small>${time(row.at)} · ${app.home.names[row.fields.by] ?? ''}</small></span></span>
    <a class="button plain" href=${`#record/${row.id}`}>${t('record.mend')}<span class="unseen">${t('gather.undo', { n: row.fields.count, at: time(row.at) })}</span></a>
    <button class="plain" @click=${() => act(() => takeBack([row.id]))}>${t('undo')}
      <span class="unseen">${t('gather.undo', { n: row.fields.count, at: time(row.at) })}</span></button></li>`)}</ul>`;
}

export function view() {
  const { coop, species } = where();
  if (!coop) {
    return html`${heading(t('nav.gather'))}<div class="card"><p>${t('gather.no_coop')}</p>
      <a class="button" href="#settings">${t('settings.coops')}</a></div>`;
  }
  const state = me();
  const trays = state.count > 30 ? Math.floor((state.count - 1) / 30) : 0;
  return html`
    ${heading(t('gather.title'))}
    ${choices(t('coop'), app.home.coops.map((one) => ({ value: one.id, text: one.name })), coop.id, (id) => choose(id, species))}
    ${coop.species.length > 1 ? choices(t('species'), coop.species.map((one) => ({ value: one, text: t(`species.${one}`), picture: egg(one) })), species, (one) => choose(coop.id, one)) : nothing}
    <div class="counting">
      <div class="tray-box">${tray(species, state.count, { floor: state.floor, pulled: pulled() })}</div>
      <p class="big"><output aria-label=${t('gather.count')}>${num(state.count)}</output>
        <small>${t('gather.eggs', { n: state.count, species: t(`species.${species}`) })}${trays ? html`<br>${t('gather.trays', { n: trays })}` : nothing}</small></p>
    </div>
    <div class="adders" role="group" aria-label=${t('gather.add')}>
      ${[1, 6, 12].map((n) => html`<button type="button" class="add" aria-label=${t('gather.plus', { n })} @click=${() => add(n)}>+${num(n)}</button>`)}
      <button type="button" class="add less" ?disabled=${!state.count} @click=${() => add(-1)}>−1 <span class="unseen">${t('gather.minus')}</span></button>
      <button type="button" class="add keys" aria-expanded=${state.keys ? 'true' : 'false'} @click=${() => { state.keys = !state.keys; draw(); }}>
        <span aria-hidden="true">⌨</span><span class="unseen">${t('gather.keypad')}</span></button>
    </div>
    ${state.keys ? keypad() : nothing}
    <div class="card tight">
      ${stepper(t('gather.floor'), state.floor, (n) => { state.floor = n; }, { most: state.count, about: t('gather.floor.about') })}
      ${state.pulls.map((pull, i) => html`<div class="pulled-line">${egg(species, pull.reason)}
        <span>${t('gather.pulled', { n: pull.eggs, reason: t(`defect.${pull.reason}`) })}<small>${t(`use.${useOf(pull)}`)}</small></span>
        <button class="plain" @click=${() => { state.pulls.splice(i, 1); draw(); }}>${t('remove')}</button></div>`)}
      ${state.pulling
        ? html`${pullForm(species, state.pulling, state.count - pulled(), 'gathering')}
          <div class="pair"><button type="button" @click=${() => { state.pulling = null; draw(); }}>${t('cancel')}</button>
          <button type="button" ?disabled=${!state.pulling.reason || state.pulling.eggs < 1} @click=${() => { state.pulls.push(state.pulling); state.pulling = null; draw(); }}>${t('gather.pull.add')}</button></div>`
        : html`<button type="button" class="wide" ?disabled=${state.count - pulled() < 1}
            @click=${() => { state.pulling = blankPull(); draw(); }}>${t('gather.pull')}</button>`}
    </div>
    <div class="dock"><button class="main ${state.count ? '' : 'quietly'}" @click=${save}>${state.count
      ? t('gather.log', { n: state.count, coop: coop.name })
      : t('gather.log_none', { coop: coop.name })}</button></div>
    <h2>${t('gather.today')}</h2>
    ${rounds()}`;
}
