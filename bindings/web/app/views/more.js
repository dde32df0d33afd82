// What else is logged: holds, birds, feed, the cooler, supplies.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, draw, log, refresh, say, stateOf, call } from '../app.js';
import { choices, field, heading, stepper, textField } from '../parts.js';
import { egg } from '../pictures.js';
import { day, t, temp, toCelsius, toShown, unitOf } from '../words.js';

const KINDS = ['hold', 'reading', 'headcount', 'feed', 'supply'];
const CAUSES = ['medicine', 'illness', 'flood', 'test', 'other'];
const ITEMS = ['brush_replaced', 'cloths_laundered', 'cartons', 'cleaner', 'bedding', 'other'];

const fresh = {
  hold: () => ({ cause: null, coop: null, species: null, from: app.home.today, until: '', given: '' }),
  reading: () => ({ cooler: app.home.coolers[0]?.id ?? null, air: null, name: '' }),
  headcount: () => ({ coop: app.home.coops[0]?.id ?? null, species: null, birds: 0 }),
  feed: () => ({ kg: '', kgN: null, coop: null, cost: '', costN: null }),
  supply: () => ({ item: null, count: '', countN: null, cost: '', costN: null }),
};
const me = () => stateOf('more', () => ({ kind: 'hold', forms: {} }));
const form = () => { me().forms[me().kind] ??= fresh[me().kind](); return me().forms[me().kind]; };

// The address can name the kind, as in `#more/feed`.
export async function load() {
  if (KINDS.includes(app.rest)) { me().kind = app.rest; app.rest = ''; }
}

const save = (draft, said) => act(async () => {
  await log([draft], said);
  delete me().forms[me().kind];
}, 'save');

const coopName = (id) => app.home.names[id] ?? t('more.whole');
const coopChoice = (one, whole) => choices(t('coop'), [
  ...(whole ? [{ value: null, text: t('more.whole') }] : []),
  ...app.home.coops.map((coop) => ({ value: coop.id, text: coop.name })),
], one.coop, (id) => { one.coop = id; one.species = null; });

const dayField = (label, value, set, about = null) => html`<div class="field"><label for=${`d-${label.replace(/\W+/g, '-')}`}>${label}${about ? html`<small>${about}</small>` : nothing}</label>
  <input type="date" id=${`d-${label.replace(/\W+/g, '-')}`} .value=${value} @change=${(event) => { set(event.target.value); draw(); }}></div>`;

const money = (one) => field(t('more.cost'), one.cost, (text, n) => { one.cost = text; one.costN = n; }, { unit: app.home.setting.currency ?? '', id: 'cost' });

const FORMS = {
  hold(one) {
    const kinds = app.home.coops.find((coop) => coop.id === one.coop)?.species ?? [];
    const wrong = one.until && one.until < one.from;
    return html`<p class="caution">${t('caution.held')}</p>
      ${choices(t('hold.cause'), CAUSES.map((value) => ({ value, text: t(`cause.${value}`) })), one.cause, (value) => { one.cause = value; })}
      ${coopChoice(one, true)}
      ${kinds.length > 1 ? choices(t('species'), [{ value: null, text: t('hold.all') }, ...kinds.map((value) => ({ value, text: t(`species.${value}`), picture: egg(value) }))], one.species, (value) => { one.species = value; }) : nothing}
      ${dayField(t('hold.from'), one.from, (value) => { one.from = value; }, t('hold.from.about'))}
      ${dayField(t('hold.until'), one.until, (value) => { one.until = value; }, t('hold.until.about'))}
      ${one.cause === 'medicine' || one.cause === 'illness' ? textField(t('hold.given'), one.given, (value) => { one.given = value; }, { id: 'given', most: 200 }) : nothing}
      ${wrong ? html`<p class="warn-text">${t('hold.wrong')}</p>` : nothing}
      <div class="dock"><button class="main" ?disabled=${!one.cause || !one.from || wrong} @click=${() => save({
        kind: 'hold', cause: one.cause, from: one.from, ...(one.until ? { until: one.until } : {}), ...(one.coop ? { coop: one.coop } : {}),
        ...(one.species ? { species: one.species } : {}), ...(one.given.trim() ? { given: one.given.trim() } : {}),
      }, t('hold.done', { coop: coopName(one.coop), day: day(one.from) }))}>${t('hold.go', { coop: coopName(one.coop) })}</button></div>`;
  },
  reading(one) {
    if (!app.home.coolers.length) {
      return html`<p>${t('reading.none')}</p>${textField(t('reading.name'), one.name, (value) => { one.name = value; }, { id: 'cooler' })}
        <div class="dock"><button class="main" ?disabled=${!one.name.trim()} @click=${() => act(async () => {
          await call('log', { drafts: [{ kind: 'cooler', name: one.name.trim() }] });
          await refresh();
          delete me().forms.reading;
          say(t('saved'));
        }, 'save')}>${t('reading.add')}</button></div>`;
    }
    const shown = one.air ?? 4;
    return html`${choices(t('reading.cooler'), app.home.coolers.map((cooler) => ({ value: cooler.id, text: cooler.name })), one.cooler, (id) => { one.cooler = id; })}
      ${stepper(t('reading.air'), Math.round(toShown(shown)), (n) => { one.air = toCelsius(n); }, { least: Math.round(toShown(-20)), most: Math.round(toShown(40)), shown: one.air === null ? `${temp(shown)} ?` : temp(one.air), about: t('reading.about') })}
      <p class="caution">${t('caution.cold')}</p>
      <div class="dock"><button class="main" ?disabled=${one.air === null} @click=${() => save({ kind: 'reading', cooler: one.cooler, air_c: Math.round(shown * 10) / 10 }, t('reading.done', { cooler: app.home.names[one.cooler], at: temp(shown) }))}>${one.air === null ? t('reading.set') : t('reading.go', { at: temp(shown) })}</button></div>`;
  },
  headcount(one) {
    const kinds = app.home.coops.find((coop) => coop.id === one.coop)?.species ?? [];
    const species = kinds.includes(one.species) ? one.species : kinds[0];
    if (!one.coop) return html`<p>${t('gather.no_coop')}</p>`;
    return html`${coopChoice(one, false)}
      ${kinds.length > 1 ? choices(t('species'), kinds.map((value) => ({ value, text: t(`species.${value}`), picture: egg(value) })), species, (value) => { one.species = value; }) : nothing}
      ${field(t('headcount.birds', { species: t(`species.${species}`) }), one.text, (text, n) => { one.text = text; one.birds = n; }, { mode: 'numeric', about: t('headcount.about'), id: 'birds' })}
      <div class="dock"><button class="main" ?disabled=${!one.text || !Number.isInteger(one.birds) || one.birds < 0} @click=${() => save({ kind: 'headcount', coop: one.coop, species, birds: one.birds }, t('headcount.done', { n: one.birds, coop: coopName(one.coop) }))}>${t('headcount.go')}</button></div>`;
  },
  feed(one) {
    return html`${field(t('feed.kg'), one.kg, (text, n) => { one.kg = text; one.kgN = n; }, { unit: unitOf('weight') === 'oz' ? 'lb' : 'kg', id: 'kg' })}
      ${coopChoice(one, true)}${money(one)}
      <div class="dock"><button class="main" ?disabled=${!(one.kgN > 0)} @click=${() => save({
        kind: 'feed', kg: kilograms(one.kgN), ...(one.coop ? { coop: one.coop } : {}), ...(one.costN === null ? {} : { cost: one.costN }),
      }, t('feed.done'))}>${t('feed.go')}</button></div>`;
  },
  supply(one) {
    return html`${choices(t('supply.item'), ITEMS.map((value) => ({ value, text: t(`item.${value}`) })), one.item, (value) => { one.item = value; })}
      ${field(t('supply.count'), one.count, (text, n) => { one.count = text; one.countN = n; }, { mode: 'numeric', id: 'count' })}${money(one)}
      <div class="dock"><button class="main" ?disabled=${!one.item} @click=${() => save({
        kind: 'supply', item: one.item, ...(Number.isInteger(one.countN) ? { count: one.countN } : {}), ...(one.costN === null ? {} : { cost: one.costN }),
      }, t('supply.done', { item: t(`item.${one.item}`) }))}>${t('supply.go')}</button></div>`;
  },
};

// Feed is weighed in pounds where eggs are in ounces; 1 lb is 0.45359237 kg by definition.
const kilograms = (n) => Math.round(n * (unitOf('weight') === 'oz' ? 0.45359237 : 1) * 1000) / 1000;

export function view() {
  const state = me();
  return html`${heading(t('nav.more'), t('more.about'))}
    ${choices(t('more.kind'), KINDS.map((value) => ({ value, text: t(`kind.${value}`) })), state.kind, (value) => { state.kind = value; })}
    <section class="card">${FORMS[state.kind](form())}</section>`;
}
