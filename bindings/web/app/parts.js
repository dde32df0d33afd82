// Pieces that several screens are made of.

import { html, nothing } from './vendor/lit-html.js';
import { app, call, draw } from './app.js';
import { egg, icon } from './pictures.js';
import { dayAndTime, num, readNumber, reason, t } from './words.js';

export const heading = (text, about = nothing) => html`<h1 tabindex="-1">${text}</h1>${about === nothing ? nothing : html`<p class="about">${about}</p>`}`;

// A row of choices of which one holds. Each is a button that says whether it is pressed.
export const choices = (label, options, chosen, choose, { pictured = false } = {}) => html`
  <div class="choices ${pictured ? 'pictured' : ''}" role="group" aria-label=${label}>
    ${options.map(({ value, text, picture, note }) => html`
      <button type="button" aria-pressed=${value === chosen ? 'true' : 'false'}
        @click=${() => { choose(value); draw(); }}>
        ${picture ?? nothing}<span>${text}</span>${note ? html`<small>${note}</small>` : nothing}
      </button>`)}
  </div>`;

export const speciesChoice = (all, chosen, choose) => choices(
  t('species'), all.map((value) => ({ value, text: t(`species.${value}`), picture: egg(value) })), chosen, choose);

// A count with a button on either side.
export function stepper(label, value, set, { least = 0, most = 9999, step = 1, shown = null, about = null } = {}) {
  const id = `s-${label.replace(/\W+/g, '-')}`;
  const put = (to) => { set(Math.min(most, Math.max(least, to))); draw(); };
  return html`<div class="stepper" role="group" aria-labelledby=${id}>
    <span class="label" id=${id}>${label}${about ? html`<small>${about}</small>` : nothing}</span>
    <button type="button" ?disabled=${value <= least} aria-label=${`${t('less')}: ${label}`} @click=${() => put(value - step)}>−</button>
    <output class=${shown && !/\d/.test(shown) ? 'words' : ''}>${shown ?? num(value)}</output>
    <button type="button" ?disabled=${value >= most} aria-label=${`${t('more')}: ${label}`} @click=${() => put(value + step)}>+</button>
  </div>`;
}

// A number that is typed; what cannot be read is left as it stands and counts as nothing.
export function field(label, value, set, { unit = null, about = null, mode = 'decimal', id = null } = {}) {
  const name = id ?? `f-${label.replace(/\W+/g, '-')}`;
  return html`<div class="field">
    <label for=${name}>${label}${about ? html`<small>${about}</small>` : nothing}</label>
    <span class="with-unit"><input id=${name} inputmode=${mode} autocomplete="off" .value=${value ?? ''}
      @input=${(event) => { set(event.target.value, readNumber(event.target.value)); draw(); }}>
    ${unit ? html`<span class="unit">${unit}</span>` : nothing}</span>
  </div>`;
}

export function textField(label, value, set, { about = null, id = null, most = 60, required = false } = {}) {
  const name = id ?? `t-${label.replace(/\W+/g, '-')}`;
  return html`<div class="field"><label for=${name}>${label}${about ? html`<small>${about}</small>` : nothing}</label>
    <input id=${name} maxlength=${most} ?required=${required} autocomplete="off" .value=${value ?? ''} @input=${(event) => { set(event.target.value); draw(); }}></div>`;
}

export const tick = (label, on, set, about = null) => html`
  <label class="tick"><input type="checkbox" .checked=${on} @change=${(event) => { set(event.target.checked); draw(); }}>
    <span>${label}${about ? html`<small>${about}</small>` : nothing}</span></label>`;

// A text of the core, in the reader's language where that is known.
export const told = (text) => {
  const said = reason(text);
  return html`<span lang=${said.lang}>${said.text}</span>`;
};

// Why, with the source, for those who want to know.
export const reasons = (why, caution) => html`<details class="why"><summary>${t('why')}</summary>
  <ul>${why.map((one) => html`<li>${told(one.rule)}<small>${told(one.source)}</small></li>`)}</ul>
  ${caution ? html`<p class="caution">${told(caution)}</p>` : nothing}</details>`;

// The oldest eggs of a station as the core suggests them; held ones only where somebody says that
// they were taken.
export async function oldest(station, species, eggs, held = false) {
  const found = await call('suggest', { station, species, eggs, held });
  if (found.short > 0 || !found.eggs) throw { kind: 'few', message: '' };
  return found.parts;
}

// Held eggs are left alone, unless somebody says what was really done.
export const heldTick = (n, on, set) => (n ? html`<div class="card notice held">
  ${tick(t('held.too', { n }), on, set, t('held.too.about'))}
  <p class="caution">${t('caution.held')}</p></div>` : nothing);

export const heldWord = (held) => (held ? html` <em class="held-word">${t(held === 'all' ? 'held.all' : 'held.may')}</em>` : nothing);

// How old, from the earliest moment of laying.
export const age = (minutes) => (minutes < 48 * 60 ? t('age.hours', { n: Math.floor(minutes / 60) }) : t('age.days', { n: Math.floor(minutes / 1440) }));

// One quiet line: what waits and since when. Having no signal is nothing to worry about.
export function syncLine(status) {
  const waits = status.waiting;
  let words;
  if (!status.server) words = t('sync.alone');
  else if (status.shut) words = t('sync.shut');
  else if (waits) words = t('sync.waiting', { n: waits });
  else words = t('sync.done');
  return html`<a class="sync ${waits || status.shut ? 'waits' : ''}" href="#family">
    ${icon(status.server && !waits && !status.shut ? 'synced' : 'waiting')}<span>${words}</span></a>`;
}

export const since = (status) => (status.heard_at ? t('sync.heard', { at: dayAndTime(status.heard_at) }) : t('sync.never'));

// Eggs at a station by species.
export function onHand(station) {
  const found = {};
  for (const row of app.home.on_hand) {
    if (row.station === station) found[row.species] = { eggs: row.eggs, lots: row.lots };
  }
  return found;
}

// Every species that any coop keeps, those with eggs first.
export function speciesHere() {
  const all = new Set(app.home.coops.flatMap((coop) => coop.species));
  for (const row of app.home.on_hand) all.add(row.species);
  return [...all];
}

export const lotDay = (lot) => lot.split('/')[0];
export const lotSpecies = (lot) => lot.split('/')[1];

// So many eggs from lots, in order; `null` where there are fewer.
export function take(lots, eggs) {
  const parts = {};
  let left = eggs;
  for (const lot of Object.keys(lots).sort()) {
    const n = Math.min(left, Math.max(0, lots[lot]));
    if (n > 0) parts[lot] = n;
    left -= n;
  }
  return left > 0 || eggs === 0 ? null : parts;
}
