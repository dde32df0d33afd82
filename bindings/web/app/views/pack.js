// Weighing, and even cartons of one species each.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, log, say, stateOf } from '../app.js';
import { choices, heading, heldTick, onHand, speciesChoice, speciesHere, stepper, take } from '../parts.js';
import { carton } from '../pictures.js';
import { day, num, readNumber, t, toGrams, unitOf, weight } from '../words.js';
import { sizeWord } from './today.js';

const SIZES = [6, 10, 12, 18, 30];

const me = () => stateOf('pack', () => ({
  way: 'weigh', species: null, sizes: JSON.parse(localStorage.getItem('pointdown-sizes') ?? '[12]'),
  grams: [], typed: '', classes: [], plan: null, label: null, count: null, source: null, held: false,
}));

const species = () => me().species ?? Object.keys(onHand('clean'))[0] ?? Object.keys(onHand('basket'))[0] ?? speciesHere()[0] ?? 'hen';

// From the clean eggs; where nobody cleans, straight from the basket. The oldest first, held ones
// left out unless somebody says that they were packed.
const NOTHING = { from: 'clean', lots: {}, eggs: 0, left_out: 0 };
const source = () => me().source ?? NOTHING;
async function findSource() {
  const state = me();
  const one = species();
  let left = 0;
  for (const from of ['clean', 'basket']) {
    const found = await call('suggest', { station: from, species: one, held: state.held });
    if (!state.held) left += found.held;
    if (found.eggs) return { from, lots: found.parts, eggs: found.eggs, left_out: left };
  }
  return { ...NOTHING, left_out: left };
}

// The lot of each egg on the scale: the oldest are weighed first.
function lotsOf(lots, n) {
  const order = Object.keys(lots).sort().flatMap((lot) => Array(Math.max(0, lots[lot])).fill(lot));
  return Array.from({ length: n }, (_, i) => order[i] ?? order.at(-1));
}

export async function load() {
  const state = me();
  state.source = await findSource();
  const { lots, eggs } = source();
  const kept = lotsOf(lots, state.grams.length);
  if (state.grams.length && kept[0]) {
    state.classes = await call('weights', { species: species(), grams: state.grams });
    const found = await call('fill', { eggs: state.grams.map((grams, i) => ({ lot: kept[i], grams })), sizes: state.sizes });
    state.plan = found.value;
    // The core counts eggs from 1.
    for (const egg of state.plan.groups.flatMap((group) => group.cartons.flatMap((box) => box.eggs))) egg.tag -= 1;
  } else {
    state.classes = [];
    state.plan = null;
  }
  const names = Object.keys(lots).filter((lot) => lots[lot] > 0);
  const n = Math.min(state.count ?? eggs, eggs);
  state.label = names.length ? await call('label', { lots: names, packed: app.home.today, eggs: n, sizes: state.sizes }) : null;
}

const again = () => load().then(draw, (error) => { console.error(error); draw(); });

// One weight, or several said or typed at once.
function addWeights(event) {
  event.preventDefault();
  const state = me();
  // A lone comma between digits is a decimal sign; between numbers with spaces it parts them.
  const found = state.typed.split(/[\s;]+|,\s+/).map(readNumber).filter((n) => n !== null).map(toGrams);
  const room = source().eggs - state.grams.length;
  const likely = found.filter((g) => g >= 1 && g <= 500);
  state.grams.push(...likely.slice(0, Math.max(0, room)).map((g) => Math.round(g * 10) / 10));
  state.typed = '';
  if (likely.length < found.length || !found.length) say(t('pack.not_a_weight', { unit: unitOf('weight') }), { bad: true });
  else if (likely.length > room) say(t('pack.no_more', { n: source().eggs }), { bad: true });
  again();
  document.getElementById('weight')?.focus();
}

function toggleSize(size) {
  const state = me();
  state.sizes = state.sizes.includes(size) ? state.sizes.filter((one) => one !== size) : [...state.sizes, size].sort((a, b) => a - b);
  if (!state.sizes.length) state.sizes = [size];
  localStorage.setItem('pointdown-sizes', JSON.stringify(state.sizes));
  again();
}

const tally = (names) => names.reduce((sum, lot) => ({ ...sum, [lot]: (sum[lot] ?? 0) + 1 }), {});

// The runs of the plan as records: one a class and carton size.
function planned() {
  const state = me();
  const { from, lots } = source();
  const kept = lotsOf(lots, state.grams.length);
  const runs = new Map();
  for (const group of state.plan?.groups ?? []) {
    for (const box of group.cartons) {
      const key = `${group.code ?? ''}/${box.capacity}`;
      const run = runs.get(key) ?? { code: group.code, name: group.class, capacity: box.capacity, boxes: [], lots: [] };
      run.boxes.push(box);
      run.lots.push(...box.eggs.map((one) => kept[one.tag]));
      runs.set(key, run);
    }
  }
  return [...runs.values()].map((run) => ({ ...run, from, parts: tally(run.lots) }));
}

async function cartonDraft({ parts, from, capacity, cartons, code }) {
  const label = await call('label', { lots: Object.keys(parts), packed: app.home.today, eggs: 0, sizes: [capacity] }).catch(() => null);
  return {
    kind: 'carton', parts, from, species: species(), eggs_per_carton: capacity, cartons, packed: app.home.today,
    ...(label?.best_by ? { best_by: label.best_by } : {}), ...(label?.code ? { code: label.code } : {}),
    ...(code ? { size: code } : {}),
  };
}

function saveWeighed() {
  const state = me();
  return act(async () => {
    const { lots } = source();
    const kept = lotsOf(lots, state.grams.length);
    const drafts = Object.keys(tally(kept)).map((lot) => ({ kind: 'weigh', lot, grams: state.grams.filter((_, i) => kept[i] === lot) }));
    const runs = planned();
    for (const run of runs) drafts.push(await cartonDraft({ ...run, cartons: run.boxes.length }));
    const boxes = runs.reduce((sum, run) => sum + run.boxes.length, 0);
    await log(drafts, t('pack.done', { n: boxes }));
    // Eggs that are in no carton stay on the bench, to be weighed with the next.
    Object.assign(state, { grams: [], plan: null, classes: [] });
    await load();
  }, 'save');
}

function saveCounted() {
  const state = me();
  return act(async () => {
    const { from, lots } = source();
    let left = { ...lots };
    const drafts = [];
    for (const [capacity, cartons] of state.label.cartons.filter(([, n]) => n > 0)) {
      const parts = take(left, capacity * cartons);
      drafts.push(await cartonDraft({ parts, from, capacity, cartons }));
      left = Object.fromEntries(Object.entries(left).map(([lot, n]) => [lot, n - (parts[lot] ?? 0)]));
    }
    const boxes = drafts.reduce((sum, one) => sum + one.cartons, 0);
    await log(drafts, t('pack.done', { n: boxes }));
    state.count = null;
    await load();
  }, 'save');
}

function weighing() {
  const state = me();
  const one = species();
  const runs = planned();
  const inBoxes = new Set((state.plan?.groups ?? []).flatMap((group) => group.cartons.flatMap((box) => box.eggs.map((x) => x.tag))));
  const open = state.grams.map((grams, tag) => ({ grams, tag })).filter(({ tag }) => !inBoxes.has(tag));
  const shown = state.sizes.at(-1);
  return html`
    <form class="weigh" @submit=${addWeights}>
      <label for="weight">${t('pack.weight', { unit: unitOf('weight') })}<small>${t('pack.weight.about')}</small></label>
      <span><input id="weight" inputmode="decimal" autocomplete="off" enterkeyhint="next" .value=${state.typed} @input=${(e) => { state.typed = e.target.value; draw(); }}>
      <button>${t('pack.add')}</button></span></form>
    ${runs.map((run) => html`<section class="card run"><h2>${t('pack.run', { n: run.boxes.length, each: run.capacity, size: sizeWord(run.code) || t(`species.${one}`) })}</h2>
      ${run.boxes.map((box) => html`${carton(one, box.capacity, box.eggs.map(() => 'in'))}
        <p class="quiet">${t('pack.box', { net: weight(box.net), range: weight(box.range) })}</p>`)}</section>`)}
    <section class="card run"><h2>${t('pack.open', { n: open.length })}</h2>
      ${carton(one, shown, open.slice(0, shown).map(() => 'in'))}
      <ul class="weights">${open.map(({ grams, tag }) => html`<li><button class="plain" aria-label=${t('pack.remove', { weight: weight(grams) })}
        @click=${() => { state.grams.splice(tag, 1); again(); }}>${weight(grams)}<small>${state.classes[tag] ? sizeWord(state.classes[tag].code) : ''}</small></button></li>`)}</ul>
      <p class="quiet">${t('pack.pointed')}</p></section>
    <div class="dock"><button class="main" ?disabled=${!state.grams.length} @click=${saveWeighed}>${runs.length
      ? t('pack.log', { n: runs.reduce((sum, run) => sum + run.boxes.length, 0) }) : t('pack.log_weights', { n: state.grams.length })}</button></div>`;
}

function counting() {
  const state = me();
  const { eggs } = source();
  const n = Math.min(state.count ?? eggs, eggs);
  const boxes = state.label?.cartons.filter(([, count]) => count > 0) ?? [];
  const total = boxes.reduce((sum, [, count]) => sum + count, 0);
  return html`<div class="card tight">${stepper(t('pack.eggs'), n, (to) => { state.count = to; again(); }, { most: eggs })}</div>
    <section class="card run">${boxes.length ? boxes.map(([capacity, count]) => html`
      <h2>${t('pack.run', { n: count, each: capacity, size: t(`species.${species()}`) })}</h2>${carton(species(), capacity, Array(capacity).fill('in'))}`)
      : html`<p>${t('pack.too_few')}</p>`}
      ${state.label?.left_over ? html`<p class="quiet">${t('pack.left', { n: state.label.left_over })}</p>` : nothing}
      <p class="quiet">${t('pack.pointed')}</p></section>
    <div class="dock"><button class="main" ?disabled=${!total} @click=${saveCounted}>${t('pack.log', { n: total })}</button></div>`;
}

export function view() {
  const state = me();
  const { from, eggs, left_out: leftOut } = source();
  return html`${heading(t('nav.pack'), t('pack.about', { n: num(eggs), from: t(`flow.${from}`) }))}
    ${speciesChoice(speciesHere(), species(), (one) => { Object.assign(state, { species: one, grams: [], plan: null, count: null, held: false }); again(); })}
    ${heldTick(leftOut || (state.held ? eggs : 0), state.held, (on) => { state.held = on; state.grams = []; again(); })}
    <div class="choices" role="group" aria-label=${t('pack.sizes')}>${SIZES.map((size) => html`<button type="button" aria-pressed=${state.sizes.includes(size) ? 'true' : 'false'}
      @click=${() => toggleSize(size)}><span>${num(size)}</span></button>`)}</div>
    ${choices(t('pack.way'), [{ value: 'weigh', text: t('pack.by_weight') }, { value: 'count', text: t('pack.by_count') }], state.way, (one) => { state.way = one; again(); })}
    ${state.way === 'weigh' ? weighing() : counting()}
    ${state.label?.best_by ? html`<p class="quiet">${t('pack.best_by', { day: day(state.label.best_by) })}</p>` : nothing}
    <p class="caution">${t('caution.local')}</p>`;
}
