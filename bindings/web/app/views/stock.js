// The stocktake: everything at a station counted on one screen, and what differs from the book.

import { html, nothing } from '../vendor/lit-html.js';
import { act, call, draw, refresh, say, stateOf, takeBack } from '../app.js';
import { choices, field, heading, lotDay } from '../parts.js';
import { egg } from '../pictures.js';
import { day, num, t } from '../words.js';

const STATIONS = ['basket', 'clean', 'cartoned'];
const me = () => stateOf('stock', () => ({ station: 'basket', rows: [], typed: {}, done: null }));

export async function load() {
  const state = me();
  const rows = (await call('home')).on_hand.filter((row) => row.station === state.station);
  state.rows = rows.flatMap((row) => Object.entries(row.lots).filter(([, n]) => n !== 0)
    .map(([lot, expected]) => ({ lot, species: row.species, expected })));
}

const typed = (lot) => me().typed[lot];
const counted = () => me().rows.filter(({ lot }) => Number.isInteger(typed(lot)?.n) && typed(lot).n >= 0);

function save() {
  const state = me();
  return act(async () => {
    const counts = counted().map(({ lot }) => ({ lot, counted: typed(lot).n }));
    state.done = await call('stocktake', { station: state.station, counts });
    state.typed = {};
    const ids = state.done.counted.map((one) => one.record);
    say(t('stock.done', { n: ids.length }), { undo: async () => { state.done = null; await takeBack(ids); } });
    await refresh();
    await load();
  }, 'save');
}

const lotWords = (lot, species) => html`<span class="row-main">${egg(species)}<span>${t(`species.${species}`)}<small>${day(lotDay(lot))}</small></span></span>`;

function outcome(done) {
  const off = done.counted.filter((one) => one.difference !== 0);
  return html`<section class="card"><h2>${t('stock.outcome')}</h2>
    ${off.length ? html`<ul class="rows">${off.map((one) => html`<li>${lotWords(one.of.lot, one.of.lot.split('/')[1])}
      <b class="bad">${one.difference > 0 ? '+' : '−'}${num(Math.abs(one.difference))}</b>
      <small>${t('stock.was', { expected: one.expected, counted: one.counted })}${one.explained_by.length ? html` <a href="#review">${t('stock.explained', { n: one.explained_by.length })}</a>` : nothing}</small></li>`)}</ul>
      <p class="quiet">${t('stock.unaccounted')}</p>` : html`<p class="verdict good">${t('stock.right')}</p>`}
    ${Object.keys(done.not_counted).length ? html`<p class="quiet">${t('stock.left', { n: Object.keys(done.not_counted).length })}</p>` : nothing}</section>`;
}

export function view() {
  const state = me();
  const n = counted().length;
  return html`${heading(t('nav.stock'), t('stock.about'))}
    ${choices(t('station'), STATIONS.map((value) => ({ value, text: t(`flow.${value}`) })), state.station, (one) => {
      Object.assign(state, { station: one, typed: {}, done: null });
      load().then(draw, () => draw());
    })}
    ${state.done ? outcome(state.done) : nothing}
    ${state.rows.length ? html`<div class="card">${state.rows.map(({ lot, species, expected }) => field(
      `${t(`species.${species}`)}, ${day(lotDay(lot))}`, typed(lot)?.text ?? '', (text, value) => { state.typed[lot] = { text, n: value }; },
      { mode: 'numeric', about: t('stock.expected', { n: expected }), id: `count-${lot.replace(/\W+/g, '-')}` }))}
      <button class="wide" @click=${() => {
        for (const { lot, expected } of state.rows) if (!typed(lot)?.text && expected >= 0) state.typed[lot] = { text: String(expected), n: expected };
        draw();
      }}>${t('stock.same')}</button></div>` : html`<p class="card">${t('basket.empty')}</p>`}
    <div class="dock"><button class="main" ?disabled=${!n} @click=${save}>${n ? t('stock.go', { n }) : t('stock.type')}</button></div>`;
}
