// The review list: what merging brought to light, each line with what can be done in one tap.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, log, refresh, say, stateOf, takeBack } from '../app.js';
import { field, heading, lotDay, lotSpecies, told } from '../parts.js';
import { icon } from '../pictures.js';
import { day, dayAndTime, list, num, t, temp, weight } from '../words.js';

const me = () => stateOf('review', () => ({ lines: null, counting: null }));

export async function load() {
  const state = me();
  state.lines = await call('review');
}

const name = (id) => app.home.names[id] ?? '?';
const lotWords = (lot) => `${t(`species.${lotSpecies(lot)}`)}, ${day(lotDay(lot))}`;

// A value as a person reads it.
function shown(field, value) {
  if (value === null || value === undefined) return t('review.nothing');
  if (typeof value === 'string' && app.home.names[value]) return app.home.names[value];
  if (field === 'at') return dayAndTime(value);
  if (field.endsWith('_c')) return temp(value, 1);
  if (field === 'grams') return list(value.map((grams) => weight(grams)));
  if (field === 'parts') return Object.entries(value).map(([lot, n]) => `${num(n)} ${lotWords(lot)}`).join('; ');
  if (field === 'species' && typeof value === 'string') return t(`species.${value}`);
  if (typeof value === 'number') return num(value, 1);
  return typeof value === 'object' ? JSON.stringify(value) : String(value);
}

const fieldWord = (field) => t(`field.${field}`);

function words({ what, people }) {
  const who = list(people.map(name));
  switch (what.kind) {
    case 'held_eggs': {
      const left = Object.values(what.on_shelf).reduce((a, b) => a + b, 0);
      const gone = Object.values(what.gone);
      return t(what.certain ? 'review.held' : 'review.held_maybe', { n: left, gone: gone.length ? list(gone) : t('review.nobody') });
    }
    case 'overdraw': return t('review.overdraw', { n: what.eggs, place: t(`flow.${what.place}`), lot: lotWords(what.lot) });
    case 'double_log': return t('review.double_log', { a: what.counts[0], b: what.counts[1], who });
    case 'both_voided': return t('review.both_voided', { who });
    case 'disagreement': return t('review.disagreement', { field: fieldWord(what.field), who });
    case 'amended_and_voided': return t('review.amended_and_voided', { who });
    case 'does_not_add_up': return t('review.does_not_add_up', { problem: what.problem });
    case 'clock_off': return t('review.clock_off', { who, minutes: Math.round(what.shift_s / 60) });
    case 'breach': return t(`rule.${what.rule}`) === `rule.${what.rule}` ? what.rule : t(`rule.${what.rule}`);
    case 'same_name': return t('review.same_name', { name: what.name });
    case 'retired_use': return t('review.retired_use', { species: t(`species.${what.species}`) });
    case 'misdated': return t(`review.misdated.${what.how}`, { who });
    case 'count_overtaken': return t('review.count_overtaken', { n: what.counted, then: what.then, now: what.now });
    case 'stocktake': {
      const off = what.counted - what.booked;
      const of = what.lot ? lotWords(what.lot) : t(`species.${what.species}`);
      return t(off < 0 ? 'review.stock_short' : 'review.stock_over', { n: Math.abs(off), counted: what.counted, booked: what.booked, place: t(`flow.${what.place}`), of, who: what.by ? name(what.by) : '?' });
    }
    case 'farm_voided': return t('review.farm_voided', { who });
    case 'cannot_read': return t('review.cannot_read', { why: what.why });
    default: return what.kind;
  }
}

function choiceWords(choice, line) {
  switch (choice.choice) {
    case 'keep': return t('choice.keep', { field: fieldWord(choice.field), value: shown(choice.field, choice.value) });
    case 'void': {
      const nth = line.records.indexOf(choice.record);
      return line.what.kind === 'double_log' && nth >= 0
        ? t('choice.void_of', { n: line.what.counts[nth] ?? '' }) : t('choice.void');
    }
    case 'restore': return t('choice.restore');
    case 'shift': return t('choice.shift', { minutes: Math.round(choice.by_s / 60) });
    default: return t(`choice.${choice.choice}`);
  }
}

const COUNTS = new Set(['recount', 'recount_all']);

function decide(line, choice) {
  return act(async () => {
    const logged = await call('decide', { line: line.line, state: line.state, choice });
    say(t('review.done'), { undo: () => takeBack(logged.map((one) => one.id)) });
    await refresh();
    await load();
  }, 'save');
}

// What was really found settles a line about too many or too few eggs; its note says that it answers
// the list, so that the answer is no question of its own.
function count(line, choice, counted) {
  const { place: station, lot, species } = choice;
  const note = `review: ${line.line.split('/')[0]}`;
  return act(async () => {
    await log([{ kind: 'recount', station, counted, note, ...(lot ? { lot } : { species }) }], t('review.done'));
    await load();
  }, 'save');
}

function countForm(line, choice) {
  const state = me();
  const key = `${line.line} ${choice.choice}`;
  const open = state.counting?.key === key ? state.counting : null;
  if (!open) return html`<button class="wide" @click=${() => { state.counting = { key, text: '', n: null }; draw(); }}>${choiceWords(choice, line)}</button>`;
  return html`${field(t('review.counted', { place: t(`flow.${choice.place}`) }), open.text, (text, n) => { Object.assign(open, { text, n }); }, { mode: 'numeric', id: 'found' })}
    <button class="main" ?disabled=${!Number.isInteger(open.n) || open.n < 0} @click=${() => count(line, choice, open.n)}>${t('basket.recount.go')}</button>`;
}

function one(line) {
  return html`<li class="card finding ${line.weight}">
    <p class="kind">${icon('review')}<b>${t(`weight.${line.weight}`)}</b><small>${dayAndTime(line.since)}</small></p>
    <p>${words(line)}</p>
    ${line.what.kind === 'breach' ? html`<details class="why"><summary>${t('why')}</summary><p class="advice">${told(line.what.why)}</p></details>` : nothing}
    ${line.what.kind === 'held_eggs' ? html`<p class="caution">${t('caution.held')}</p>` : nothing}
    <div>${line.choices.map((choice) => (COUNTS.has(choice.choice) ? countForm(line, choice)
      : html`<button class="wide" @click=${() => decide(line, choice)}>${choiceWords(choice, line)}</button>`))}</div>
  </li>`;
}

export function view() {
  const { lines } = me();
  if (!lines) return heading(t('nav.review'));
  return html`${heading(t('nav.review'), t('review.about'))}
    ${lines.length ? html`<ul class="plainlist">${lines.map(one)}</ul>` : html`<p class="card calm">${icon('synced')} ${t('review.empty')}</p>`}`;
}

