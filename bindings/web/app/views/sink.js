// The sink: what the water has to be, how many eggs it can take, a timer, and one tap to log.

import { html, nothing, svg } from '../vendor/lit-html.js';
import { act, app, call, draw, log, stateOf } from '../app.js';
import { choices, field, heading, heldTick, oldest, onHand, reasons, speciesChoice, speciesHere, stepper, tick, told } from '../parts.js';
import { num, t, temp, toCelsius, toShown } from '../words.js';

const MEANS = ['dry', 'spray', 'brush', 'cloth', 'paper_towel', 'sponge', 'basin'];
// Of one egg, where nobody weighed any; only the basin's capacity leans on it.
const GRAMS = { hen: 58, duck: 72, goose: 145, turkey: 82, guinea: 40, quail: 11 };

const me = () => stateOf('sink', () => ({
  species: null, means: localStorage.getItem('pointdown-means') ?? 'dry', eggs: null,
  egg: null, water: null, end: null, room: 20, litres: 6, each: 1, cleaned: false, ppm: null,
  began: null, answer: null, asked: 0, free: null, held: false,
}));

const chosenSpecies = () => me().species ?? Object.keys(onHand('basket'))[0] ?? speciesHere()[0] ?? 'hen';

// A cool room's eggs, unless measured.
const eggC = () => me().egg ?? 18;
const minutes = () => (me().began ? Math.max(0.1, Math.round((Date.now() - me().began) / 6000) / 10) : null);

export async function load() {
  const state = me();
  const species = chosenSpecies();
  state.asked += 1;
  const asked = state.asked;
  const answer = await call('sink', {
    species, means: state.means, egg_c: eggC(), water_c: state.means === 'dry' ? null : state.water,
    water_end_c: state.end, litres: state.litres, room_c: state.room, each: state.each,
    grams: GRAMS[species] ?? 58, sanitiser_ppm: state.ppm, sink_cleaned: state.cleaned,
  });
  const free = await call('suggest', { station: 'basket', species });
  // A slower answer to an older question is no longer wanted.
  if (asked === state.asked) Object.assign(state, { answer, free });
}

const ask = () => { load().then(draw, () => draw()); };
const put = (name) => (value) => { me()[name] = value; ask(); };

let ticking = null;
function timer() {
  const state = me();
  state.began = state.began ? null : Date.now();
  clearInterval(ticking);
  if (state.began) ticking = setInterval(() => (app.view === 'sink' ? draw() : nothing), 1000);
  draw();
}

function clock() {
  const s = Math.floor((Date.now() - me().began) / 1000);
  return `${Math.floor(s / 60)}:${String(s % 60).padStart(2, '0')}`;
}

// A thermometer lying down: the window that is right, the eggs, the water.
function gauge(answer) {
  const state = me();
  const [from, to] = [0, 60];
  const x = (c) => 10 + Math.min(1, Math.max(0, (c - from) / (to - from))) * 300;
  const low = answer.window?.low;
  const high = answer.window?.high ?? 60;
  const marks = [0, 10, 20, 30, 40, 50, 60];
  return html`<svg class="gauge" viewBox="0 0 320 78" role="img" aria-label=${windowWords(answer)}>
    <rect class="tube" x="10" y="30" width="300" height="16" rx="8"/>
    ${low === undefined || low === null ? nothing : svg`<rect class="right" x=${x(low)} y="30" width=${Math.max(4, x(high) - x(low))} height="16" rx="4"/>`}
    ${marks.map((c) => svg`<text x=${x(c)} y="68">${num(toShown(c))}</text>`)}
    <path class="mark-egg" d="M${x(eggC())} 28c-6 0-9-8-9-13 0-6 4-11 9-11s9 5 9 11c0 5-3 13-9 13Z"/>
    ${state.water === null ? nothing : svg`<path class="mark-water ${answer.verdict}" d="M${x(state.water)} 4c5 8 8 12 8 16a8 8 0 0 1-16 0c0-4 3-8 8-16Z"/>`}
  </svg>`;
}

function windowWords(answer) {
  if (answer.temper !== null) return t('sink.temper', { to: temp(answer.temper) });
  if (!answer.window) return t('sink.measure');
  const low = temp(answer.window.low);
  return answer.window.high === null ? t('sink.from', { low }) : t('sink.window', { low, high: temp(answer.window.high) });
}

function verdict(answer) {
  if (answer.rules === null) return html`<p class="verdict">${t('sink.no_rules')} <a href="#settings">${t('nav.settings')}</a></p>`;
  const dry = me().means === 'dry';
  if (dry) return html`<p class="verdict good">${t('sink.dry')}</p>`;
  return html`
    ${answer.permission === 'forbidden' ? html`<p class="verdict bad">${t('sink.forbidden', { rules: answer.rules })}</p>` : nothing}
    ${answer.permission === 'loses_class' ? html`<p class="verdict warn">${t('sink.loses_class', { rules: answer.rules })}</p>` : nothing}
    ${answer.permission === 'forbidden' ? nothing : html`
      ${gauge(answer)}
      <p class="verdict ${answer.verdict === 'right' ? 'good' : answer.verdict === 'unknown' ? '' : 'bad'}">
        <b>${windowWords(answer)}</b>
        ${answer.verdict === 'unknown' ? nothing : html`<br>${t(`sink.${answer.verdict}`)}`}</p>`}
    ${answer.capacity ? html`<p>${t('sink.capacity', { n: answer.capacity.eggs, end: temp(answer.capacity.end), minutes: Math.round(answer.capacity.time) })}</p>` : nothing}`;
}

const degrees = (label, name, about = null) => {
  const state = me();
  const value = state[name];
  return html`<div class="degrees">${stepper(label, Math.round(toShown(value ?? (name === 'water' ? 35 : name === 'egg' ? 18 : 32))), (n) => put(name)(toCelsius(n)), {
    least: Math.round(toShown(name === 'egg' ? -4 : 0)), most: Math.round(toShown(name === 'egg' ? 45 : 60)),
    shown: value === null ? (name === 'egg' ? `${temp(18)} ?` : t('unmeasured')) : temp(value), about,
  })}</div>`;
};

function save(species, eggs) {
  const state = me();
  return act(async () => {
    const parts = await oldest('basket', species, eggs, state.held);
    const draft = { kind: 'wash', parts, means: state.means };
    if (state.means !== 'dry') {
      if (state.egg !== null) draft.egg_c = round(state.egg);
      if (state.water !== null) draft.water_start_c = round(state.water);
      if (state.end !== null) draft.water_end_c = round(state.end);
      if (state.cleaned) draft.sink_cleaned = true;
      if (Number.isInteger(state.ppm)) draft.sanitiser_ppm = state.ppm;
      const spent = minutes();
      if (spent && state.means === 'basin') draft.minutes = Math.min(240, spent);
    }
    await log([draft], t('sink.done', { n: eggs, species: t(`species.${species}`), means: t(`means.${state.means}`) }));
    localStorage.setItem('pointdown-means', state.means);
    clearInterval(ticking);
    Object.assign(state, { eggs: null, end: null, began: null, cleaned: false, held: false });
    await load();
  }, 'save');
}
const round = (c) => Math.round(c * 10) / 10;

export function view() {
  const state = me();
  const species = chosenSpecies();
  const free = state.free ?? { eggs: 0, held: 0 };
  const most = free.eggs + (state.held ? free.held : 0);
  const eggs = Math.min(state.eggs ?? most, most);
  const wet = state.means !== 'dry';
  const { answer } = state;
  return html`${heading(t('nav.sink'), t('sink.about'))}
    ${speciesChoice(speciesHere(), species, (one) => { state.species = one; state.eggs = null; ask(); })}
    ${choices(t('sink.means'), MEANS.map((value) => ({ value, text: t(`means.${value}`) })), state.means, put('means'))}
    ${wet ? html`<div class="card tight">
      ${degrees(t('sink.egg'), 'egg', t('sink.egg.about'))}
      ${degrees(t('sink.water'), 'water')}</div>` : nothing}
    ${answer ? html`<div class="card">${verdict(answer)}
      ${answer.faults.length ? html`<ul class="faults">${answer.faults.flatMap((fault) => fault.why.slice(0, 1).map((why) => html`<li>${told(why.rule)}</li>`))}</ul>` : nothing}
      ${wet ? reasons(answer.why ?? [], answer.caution) : nothing}</div>` : nothing}
    ${wet ? html`
      <div class="timer card"><p><b>${state.began ? clock() : '0:00'}</b><small>${t('sink.timer')}</small></p>
        <button @click=${timer}>${state.began ? t('sink.stop') : t('sink.start')}</button></div>
      <details class="card"><summary>${t('sink.more')}</summary>
        ${degrees(t('sink.end'), 'end')}
        ${stepper(t('sink.litres'), state.litres, put('litres'), { least: 1, most: 60, shown: t('litres', { n: state.litres }) })}
        ${stepper(t('sink.each'), state.each, put('each'), { least: 1, most: 10, shown: t('minutes', { n: state.each }) })}
        ${degrees(t('sink.room'), 'room')}
        ${field(t('sink.ppm'), state.ppmText, (text, n) => { state.ppmText = text; put('ppm')(n); }, { unit: 'ppm', mode: 'numeric', about: t('sink.ppm.about') })}
        ${tick(t('sink.cleaned'), state.cleaned, put('cleaned'))}</details>` : nothing}
    ${heldTick(free.held, state.held, (on) => { state.held = on; })}
    <div class="card tight">${stepper(t('sink.eggs'), eggs, (n) => { state.eggs = n; }, { least: 0, most })}</div>
    <div class="dock"><button class="main" ?disabled=${!eggs} @click=${() => save(species, eggs)}>${eggs
      ? t('sink.log', { n: eggs, species: t(`species.${species}`) }) : t('sink.none')}</button></div>
    <p class="caution">${t('caution.wash')}</p>`;
}

