// One record, and mending a field of it: a wrong number is the most usual thing in a day.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, refresh, say, stateOf, takeBack } from '../app.js';
import { choices, field, heading, lotDay, lotSpecies, textField } from '../parts.js';
import { egg } from '../pictures.js';
import { PULLED, day, dayAndTime, num, readNumber, t, toCelsius, toGrams, toShown, unitOf, wallTime } from '../words.js';

// What can be mended of each kind, and what it is.
const FIELDS = {
  gather: { count: 'whole', floor_laid: 'whole', coop: 'coop', species: 'species' },
  cull: { parts: 'parts', reason: 'reason', use: 'use' },
  wash: { parts: 'parts', means: 'means', egg_c: 'degrees', water_start_c: 'degrees', water_end_c: 'degrees', rinse_c: 'degrees', sanitiser_ppm: 'number', minutes: 'number' },
  candle: { parts: 'parts', found: 'found' },
  weigh: { grams: 'grams' },
  carton: { parts: 'parts', cartons: 'whole', eggs_per_carton: 'whole', best_by: 'day', code: 'text' },
  out: { parts: 'parts', cartons: 'whole', price: 'number', to: 'text', way: 'way' },
  recount: { counted: 'whole' },
  hold: { from: 'day', until: 'day', given: 'text' },
  headcount: { birds: 'whole' },
  feed: { kg: 'number', cost: 'number' },
  reading: { air_c: 'degrees' },
  supply: { count: 'whole', cost: 'number' },
};
// Of any kind: it may have been logged later than it was done.
const COMMON = { at: 'moment', note: 'text' };
const fieldsOf = (kind) => ({ ...FIELDS[kind], ...COMMON });
export const canMend = (row) => row.kind in FIELDS && row.standing === 'live';

const MEANS = ['dry', 'spray', 'brush', 'cloth', 'paper_towel', 'sponge', 'basin'];
const WAYS = ['sold', 'given', 'eaten', 'returned'];
const USES = ['home', 'feed', 'compost', 'discard', 'hatch'];

const me = () => stateOf('record', () => ({ row: null, typed: {} }));

export async function load() {
  const state = me();
  if (state.row?.id !== app.rest) state.typed = {};
  state.row = app.rest ? await call('record', { id: app.rest }) : null;
}

const isText = (type) => ['text', 'whole', 'number', 'degrees', 'grams', 'day', 'moment'].includes(type);

// A value as it is typed, and what was typed as a value; `undefined` where it cannot be read.
function show(type, value) {
  if (value === undefined || value === null) return '';
  if (type === 'moment') return wallTime(value);
  if (type === 'degrees') return String(Math.round(toShown(value) * 10) / 10);
  if (type === 'grams') return value.map((one) => (unitOf('weight') === 'oz' ? num(one / toGrams(1), 2) : num(one, 1))).join(' ');
  return String(value);
}
function understood(type, text) {
  // Every record has its time.
  if (text.trim() === '') return type === 'moment' ? undefined : null;
  if (type === 'text' || type === 'day' || type === 'moment') return text.trim();
  if (type === 'grams') {
    const all = text.split(/[\s;]+|,\s+/).filter(Boolean).map(readNumber);
    return all.includes(null) ? undefined : all.map((n) => Math.round(toGrams(n) * 10) / 10);
  }
  const n = readNumber(text);
  if (n === null || (type === 'whole' && !Number.isInteger(n))) return undefined;
  return type === 'degrees' ? Math.round(toCelsius(n) * 10) / 10 : n;
}

const nowOf = (name) => (name === 'at' ? me().row.at : me().row.fields[name]);

// What differs from what stands. `null` takes a field away.
function changes() {
  const { row, typed } = me();
  const set = {};
  let unread = false;
  for (const [name, value] of Object.entries(typed)) {
    const type = fieldsOf(row.kind)[name];
    const now = nowOf(name);
    if (isText(type)) {
      if (value === show(type, now)) continue;
      const read = understood(type, value);
      if (read === undefined) unread = true;
      else if (read !== null || now !== undefined) set[name] = read;
    } else if (type === 'parts' || type === 'found') {
      const whole = { ...now };
      for (const [key, text] of Object.entries(value)) {
        const n = readNumber(text);
        if (!Number.isInteger(n) || n < 0) unread = true;
        else if (n === 0) delete whole[key];
        else whole[key] = n;
      }
      if (JSON.stringify(whole) !== JSON.stringify(now)) set[name] = whole;
    } else if (value !== now) set[name] = value;
  }
  return { set, unread };
}

function save() {
  const state = me();
  return act(async () => {
    const { set } = changes();
    if (set.at) set.at = new Date(await call('moment', { local: set.at })).toISOString();
    const logged = await call('amend', { target: state.row.id, set });
    say(t('record.done'), { undo: () => takeBack([logged.id]) });
    state.typed = {};
    await refresh();
    await load();
  }, 'save');
}

const word = (name) => t(`field.${name}`);
const unit = (type, name) => (type === 'degrees' ? `°${unitOf('temperature')}` : type === 'grams' ? t(`unit.${unitOf('weight')}`)
  : name === 'kg' ? 'kg' : name === 'price' || name === 'cost' ? app.home.setting.currency ?? null : name === 'sanitiser_ppm' ? 'ppm' : null);

function one(name, type) {
  const { typed } = me();
  const now = nowOf(name);
  const put = (value) => { typed[name] = value; };
  const chosen = name in typed ? typed[name] : now;
  const some = (values, text, picture) => html`<p class="label">${word(name)}</p>${choices(
    word(name), values.map((value) => ({ value, text: text(value), picture: picture?.(value) })), chosen, put, { pictured: !!picture })}`;
  const dated = (kind) => html`<div class="field"><label for=${`m-${name}`}>${word(name)}</label><input type=${kind} id=${`m-${name}`} .value=${typed[name] ?? show(type, now)} @change=${(event) => { put(event.target.value); draw(); }}></div>`;
  switch (type) {
    case 'coop': return some(app.home.coops.map((coop) => coop.id), (id) => app.home.names[id]);
    case 'species': return some([...new Set(app.home.coops.flatMap((coop) => coop.species))], (value) => t(`species.${value}`));
    case 'means': return some(MEANS, (value) => t(`means.${value}`));
    case 'way': return some(WAYS, (value) => t(`way.${value}`));
    case 'use': return some(USES, (value) => t(`use.${value}`));
    case 'parts':
    case 'found': return Object.entries(now ?? {}).map(([key, n]) => field(
      type === 'found' ? t(`quality.${key}`) : `${t(`species.${lotSpecies(key)}`)}, ${day(lotDay(key))}`,
      typed[name]?.[key] ?? String(n), (text) => { typed[name] = { ...typed[name], [key]: text }; }, { mode: 'numeric', id: `m-${name}-${key.replace(/\W+/g, '-')}` }));
    case 'text': return textField(word(name), typed[name] ?? show(type, now), put, { id: `m-${name}`, most: name === 'note' ? 500 : 200 });
    case 'day': return dated('date');
    case 'moment': return dated('datetime-local');
    case 'reason': return some(PULLED, (value) => t(`defect.${value}`), (value) => egg(lotSpecies(Object.keys(me().row.fields.parts)[0]), value));
    default: return field(word(name), typed[name] ?? show(type, now), put, { unit: unit(type, name), mode: type === 'whole' ? 'numeric' : 'decimal', id: `m-${name}` });
  }
}

export function view() {
  const { row } = me();
  if (!row || !(row.kind in FIELDS)) return html`${heading(t('nav.record'))}<p class="card">${t('record.gone')}</p>`;
  const { set, unread } = changes();
  const voided = row.standing !== 'live';
  return html`${heading(t('record.title', { kind: t(`kind.${row.kind}`) }), t('record.about', { at: dayAndTime(row.at), who: app.home.names[row.fields.by] ?? '?' }))}
    ${voided ? html`<p class="card">${t('record.voided')}</p>` : html`
      <section class="card">${Object.entries(fieldsOf(row.kind)).map(([name, type]) => one(name, type))}</section>
      <p class="quiet">${t('record.kept')}</p>
      ${unread ? html`<p class="warn-text">${t('record.unread')}</p>` : nothing}
      <div class="dock"><button class="main" ?disabled=${unread || !Object.keys(set).length} @click=${save}>${t('record.save')}</button></div>
      <button class="wide" @click=${() => act(async () => { await takeBack([row.id]); await load(); })}>${t('record.void')}</button>`}`;
}
