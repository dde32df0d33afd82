// The first minutes: begin a farm here, or come into one by an invite.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, refresh, stateOf } from '../app.js';
import { keep } from '../offline.js';
import { choices, textField } from '../parts.js';
import { egg, icon } from '../pictures.js';
import { LANGUAGES, language, speak, t } from '../words.js';

const SPECIES = ['hen', 'duck', 'goose', 'turkey', 'guinea', 'quail'];

const me = () => stateOf('start', () => ({
  way: null, invite: '', person: '', device: t('start.device.word'), name: '',
  zone: Intl.DateTimeFormat().resolvedOptions().timeZone, rules: '', coop: '', species: ['hen'], who: null,
}));

export function invited(code) {
  Object.assign(me(), { way: 'join', invite: code });
}

// The other views wait until a farm, a person and a first coop are all here.
const whole = (work) => act(async () => {
  app.starting = true;
  try { await work(); } finally { app.starting = false; }
});

const done = async () => {
  await refresh();
  location.hash = 'gather';
  app.kept = await keep();
};

async function begin(event) {
  event.preventDefault();
  const state = me();
  await whole(async () => {
    const farm = { name: state.name, zone: state.zone };
    if (state.rules) farm.rule_pack = state.rules;
    if (state.rules === 'us_federal') Object.assign(farm, { temperature: 'F', weight: 'oz', currency: 'USD' });
    if (state.rules === 'eu') Object.assign(farm, { temperature: 'C', weight: 'g', currency: 'EUR' });
    await call('begin', { farm, person: state.person, device: state.device });
    await call('log', { drafts: [{ kind: 'coop', name: state.coop, species: state.species }] });
    await done();
  });
}

async function join(event) {
  event.preventDefault();
  const state = me();
  await whole(async () => {
    await call('join', { invite: state.invite.trim(), device: state.device });
    app.invited = null;
    await refresh();
    state.way = 'who';
    if (state.person) await choose(state.person);
  });
}

// The person of this name, known or new.
async function choose(name) {
  const known = app.home.people.find((one) => one.name.toLowerCase() === name.trim().toLowerCase());
  const id = known?.id ?? (await call('log', { drafts: [{ kind: 'person', name }] }))[0].id;
  await call('person', { person: id });
  if (!app.home.device) await call('device', { name: me().device });
  await done();
}

const languages = () => html`<div class="languages">${choices(t('settings.language'), Object.entries(LANGUAGES).map(([value, text]) => ({ value, text })), language(), (one) => speak(one))}</div>`;

const takeFile = (event) => act(async () => {
  const [file] = event.target.files;
  if (!file) return;
  await call('from_file', null, new Uint8Array(await file.arrayBuffer()));
  await refresh();
});

function door() {
  const state = me();
  return html`
    <div class="hero">${egg('hen')}${egg('duck')}${egg('quail')}</div>
    <h1 tabindex="-1">Pointdown</h1>
    <p class="lead">${t('start.lead')}</p>
    <button class="main" @click=${() => { state.way = 'join'; draw(); }}>${t('start.join')}</button>
    <button class="wide" @click=${() => { state.way = 'begin'; draw(); }}>${t('start.begin')}</button>
    <label class="button wide file">${t('start.file')}<input type="file" class="unseen" @change=${takeFile}></label>
    ${languages()}`;
}

function beginForm() {
  const state = me();
  return html`<form @submit=${begin}>
    <h1 tabindex="-1">${t('start.begin')}</h1>
    ${textField(t('start.farm'), state.name, (v) => { state.name = v; }, { required: true, id: 'farm-name', most: 80 })}
    ${textField(t('start.person'), state.person, (v) => { state.person = v; }, { required: true, id: 'person-name' })}
    ${textField(t('start.device'), state.device, (v) => { state.device = v; }, { required: true, id: 'device-name' })}
    ${textField(t('start.coop'), state.coop, (v) => { state.coop = v; }, { required: true, id: 'coop-name' })}
    <p class="label">${t('start.birds')}</p>
    <div class="choices" role="group" aria-label=${t('start.birds')}>${SPECIES.map((one) => html`
      <button type="button" aria-pressed=${state.species.includes(one) ? 'true' : 'false'} @click=${() => {
        state.species = state.species.includes(one) ? state.species.filter((s) => s !== one) : [...state.species, one];
        draw();
      }}>${egg(one)}<span>${t(`species.${one}`)}</span></button>`)}</div>
    <p class="label">${t('settings.rules')}</p>
    ${choices(t('settings.rules'), [{ value: 'us_federal', text: t('rules.us_federal') }, { value: 'eu', text: t('rules.eu') }, { value: '', text: t('rules.none') }], state.rules, (v) => { state.rules = v; })}
    <p class="quiet">${t('rules.about')}</p>
    ${textField(t('start.zone'), state.zone, (v) => { state.zone = v; }, { required: true, id: 'zone' })}
    <div class="pair"><button type="button" @click=${() => { state.way = null; draw(); }}>${t('back')}</button>
      <button class="main" ?disabled=${!state.species.length}>${t('start.begin.go')}</button></div>
  </form>`;
}

function joinForm() {
  const state = me();
  return html`<form @submit=${join}>
    <h1 tabindex="-1">${t('start.join')}</h1>
    <p class="about">${t('start.join.about')}</p>
    ${textField(t('start.code'), state.invite, (v) => { state.invite = v; }, { required: true, id: 'invite', most: 300 })}
    ${textField(t('start.person'), state.person, (v) => { state.person = v; }, { required: true, id: 'person-name' })}
    ${textField(t('start.device'), state.device, (v) => { state.device = v; }, { required: true, id: 'device-name' })}
    <div class="pair"><button type="button" @click=${() => { state.way = null; draw(); }}>${t('back')}</button>
      <button class="main">${t('start.join.go')}</button></div>
    ${languages()}
  </form>`;
}

// A farm is here, but not yet who writes on this phone.
function whoForm() {
  const state = me();
  const waits = !app.home.name;
  return html`<form @submit=${(event) => { event.preventDefault(); whole(() => choose(state.person)); }}>
    <h1 tabindex="-1">${t('start.who')}</h1>
    ${waits ? html`<p class="about">${icon('waiting')} ${t('farm.coming')}</p>
      <button type="button" class="wide" @click=${() => act(async () => { await call('sync'); await refresh(); })}>${t('sync.now')}</button>` : nothing}
    ${app.home.people.map((one) => html`<button type="button" class="wide" @click=${() => whole(() => choose(one.name))}>${one.name}</button>`)}
    ${textField(t('start.person'), state.person, (v) => { state.person = v; }, { required: true, id: 'person-name' })}
    <button class="main">${t('start.who.go')}</button>
  </form>`;
}

export function view() {
  const state = me();
  if (app.home && !app.starting) return whoForm();
  if (state.way === 'begin') return beginForm();
  if (state.way === 'join') return joinForm();
  return door();
}
