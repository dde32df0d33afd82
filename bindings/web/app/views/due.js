// What is due next and why: the core's one list, each reason told once.

import { html, nothing } from '../vendor/lit-html.js';
import { draw, stateOf } from '../app.js';
import { age, heldWord, lotDay, told } from '../parts.js';
import { egg, icon } from '../pictures.js';
import { day, dayOf, moment, num, t } from '../words.js';

const FEW = 4;
const me = () => stateOf('due', () => ({ all: false }));

// What ends with a day rather than at a moment, and what is so since a moment.
const DAYS = new Set(['pack', 'sell', 'best_by', 'hold_ends']);
const SINCE = new Set(['set_apart', 'cooler']);

function when(line) {
  if (line.due === null) return t('due.no_date');
  if (SINCE.has(line.what)) return t('due.since', { at: moment(line.due) });
  if (DAYS.has(line.what)) return t('due.day', { day: day(dayOf(line.due - 1)) });
  return t('due.by', { at: moment(line.due) });
}

// Which eggs, as they are marked: the code on the cartons, or the day of the lot.
export function which({ species, lot, code, place, name }) {
  const parts = [];
  if (species) parts.push(t(`species.${species}`));
  if (code) parts.push(code);
  else if (lot) parts.push(day(lotDay(lot)));
  if (place) parts.push(t(`flow.${place}`));
  if (name) parts.push(name);
  return parts.join(' · ');
}

function one(line, of) {
  const late = line.overdue && !SINCE.has(line.what);
  return html`<li class=${late || SINCE.has(line.what) ? 'late' : ''}>
    <span class="row-main">${line.species ? egg(line.species) : icon('waiting')}<span>
      <b class="due-what">${t(`due.${line.what}`)}</b> ${when(line)}${late ? html` <em class="late-word">${t('due.overdue')}</em>` : nothing}${heldWord(line.held)}
      <small>${which(line)}${line.age_minutes === null ? nothing : ` · ${age(line.age_minutes)}`}
        <span class="of"><span class="unseen">${t('due.of')}</span> [${of.join(', ')}]</span></small></span></span>
    ${line.eggs ? html`<b>${num(line.eggs)}</b>` : nothing}</li>`;
}

export function dueCard(now) {
  const state = me();
  const shown = state.all ? now.due : now.due.slice(0, FEW);
  const more = now.due.length - shown.length;
  return html`<section class="card due-next"><h2>${t('due.title')}</h2>
    ${now.rules ? nothing : html`<p class="quiet">${t('due.no_rules')} <a href="#settings">${t('nav.settings')}</a></p>`}
    ${now.due.length ? html`<ol class="rows">${shown.map((line, i) => one(line, now.of[i]))}</ol>` : html`<p>${t('due.nothing')}</p>`}
    ${more > 0 || (state.all && now.due.length > FEW) ? html`<button class="plain wide" aria-expanded=${state.all ? 'true' : 'false'} @click=${() => { state.all = !state.all; draw(); }}>
      ${state.all ? t('due.few') : t('due.more', { n: more })}</button>` : nothing}
    ${now.due.length ? html`<details class="why"><summary>${t('why')}</summary>
      <ul class="numbered">${now.reasons.map((why, i) => html`<li>[${i + 1}] ${told(why.rule)}<small>${told(why.source)}</small></li>`)}</ul>
      ${now.cautions.map((text) => html`<p class="caution">${told(text)}</p>`)}</details>` : nothing}</section>`;
}
