// Who is in, what is not yet synced, inviting, and a copy for a bad day.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, refresh, say, stateOf } from '../app.js';
import { keep } from '../offline.js';
import { choices, heading, since, textField } from '../parts.js';
import { icon, symbol } from '../pictures.js';
import { day, dayAndTime, daysBetween, t } from '../words.js';

const SAVED = 'pointdown-saved';
// After so many days without a copy, a word about it.
const COPY_DAYS = 14;

// Whether a copy is due: a farm on this phone alone has no other.
export function copyDue() {
  const saved = localStorage.getItem(SAVED);
  return !saved || daysBetween(saved, app.home.today) > COPY_DAYS;
}

const me = () => stateOf('family', () => ({ devices: null, invite: null, code: app.invited ?? '', sure: null }));

export async function load() {
  const state = me();
  if (app.invited) state.code = app.invited;
  app.kept = (await navigator.storage?.persisted?.()) ?? false;
  if (!app.home.status.server) return;
  // Without a signal the list is left as it was last seen.
  call('devices').then((all) => { state.devices = all; draw(); }, () => {});
}

const syncNow = () => act(async () => {
  try {
    await call('sync');
    say(t('sync.done'));
  } catch (error) {
    if (error.kind !== 'network') throw error;
    say(t('sync.later'));
  }
  await refresh();
});

const makeInvite = () => act(async () => {
  const state = me();
  try {
    const { code, expires } = await call('invite');
    const address = `${location.origin}/phone/#invite=${code}`;
    state.invite = { code, expires, address, rows: await call('qr', { text: address }) };
  } catch (error) {
    if (error.kind !== 'network') throw error;
    say(t('family.invite.signal'));
  }
});

const join = (event) => {
  event.preventDefault();
  return act(async () => {
    await call('join', { invite: me().code.trim(), device: app.home.names[app.home.device] ?? t('start.device.word') });
    app.invited = null;
    me().code = '';
    await refresh();
    say(t('family.joined'));
  });
};

const share = () => act(async () => {
  const { address } = me().invite;
  if (navigator.share) await navigator.share({ url: address, title: 'Pointdown' }).catch(() => {});
  else { await navigator.clipboard.writeText(address); say(t('copied')); }
});

const saveCopy = () => act(async () => {
  const bytes = await call('to_file');
  const address = URL.createObjectURL(new Blob([bytes], { type: 'application/octet-stream' }));
  const link = Object.assign(document.createElement('a'), { href: address, download: `pointdown-${app.home.today}.farm` });
  link.click();
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
  localStorage.setItem(SAVED, app.home.today);
  say(t('copy.saved'));
});

const takeCopy = (event) => act(async () => {
  const [file] = event.target.files;
  if (!file) return;
  const n = await call('from_file', null, new Uint8Array(await file.arrayBuffer()));
  event.target.value = '';
  say(t('copy.taken', { n: n ?? 0 }));
  await refresh();
});

const shutOut = (device) => act(async () => {
  const state = me();
  if (state.sure !== device.id) { state.sure = device.id; return; }
  state.sure = null;
  await call('shut_out', { id: device.id });
  state.devices = await call('devices');
});

function syncCard() {
  const { status } = app.home;
  if (!status.server) {
    return html`<form class="card" @submit=${join}><h2>${t('sync.alone')}</h2><p>${t('sync.alone.about')}</p>
      ${textField(t('start.code'), me().code, (v) => { me().code = v; }, { id: 'invite', most: 300, required: true })}
      <button class="main">${t('family.join')}</button></form>`;
  }
  if (status.shut) {
    return html`<form class="card" @submit=${join}><h2>${t('family.shut')}</h2><p>${t('family.shut.about')}</p><p class="quiet" lang="en">${status.shut}</p>
      ${textField(t('start.code'), me().code, (v) => { me().code = v; }, { id: 'invite', most: 300, required: true })}
      <button class="main">${t('start.join.go')}</button></form>`;
  }
  return html`<section class="card sync-card"><h2>${icon(status.waiting ? 'waiting' : 'synced')} ${status.waiting ? t('sync.waiting', { n: status.waiting }) : t('sync.done')}</h2>
    <p class="quiet">${since(status)}${status.waiting ? html`<br>${t('sync.waiting.about')}` : nothing}</p>
    ${status.refused.length ? html`<details class="why"><summary>${t('sync.refused', { n: status.refused.length })}</summary><ul lang="en">${status.refused.map((why) => html`<li>${why}</li>`)}</ul></details>` : nothing}
    <button class="wide" @click=${syncNow}>${t('sync.now')}</button></section>`;
}

function inviteCard() {
  if (!app.home.status.server) return nothing;
  const { invite } = me();
  if (!invite) return html`<button class="main" @click=${makeInvite}>${t('family.invite')}</button>`;
  return html`<section class="card invite"><h2>${t('family.invite.scan')}</h2>
    ${symbol(invite.rows, t('family.invite.symbol'))}
    <p>${t('family.invite.or')}</p><p class="code">${invite.code}</p>
    <p class="quiet">${t('family.invite.until', { at: dayAndTime(invite.expires) })}</p>
    <div class="pair"><button @click=${() => { me().invite = null; draw(); }}>${t('close')}</button><button @click=${share}>${t('family.invite.share')}</button></div></section>`;
}

function devicesCard() {
  const { devices, sure } = me();
  if (!devices) return nothing;
  const inside = devices.filter((one) => !one.revoked_at);
  return html`<section class="card"><h2>${t('family.devices')}</h2><ul class="rows">${inside.map((one) => html`<li>
    <span>${one.name}${one.me ? html` <em>${t('family.this')}</em>` : nothing}<small>${one.heard_at ? t('sync.heard', { at: dayAndTime(one.heard_at) }) : t('sync.never')}</small></span>
    ${one.me ? nothing : html`<button class="plain ${sure === one.id ? 'bad' : ''}" @click=${() => shutOut(one)} aria-label=${t(sure === one.id ? 'family.out.sure' : 'family.out.label', { name: one.name })}>${sure === one.id ? t('family.out.sure_short') : t('family.out')}</button>`}</li>`)}</ul></section>`;
}

function copyCard() {
  const saved = localStorage.getItem(SAVED);
  const late = copyDue();
  return html`<section class="card"><h2>${t('copy.title')}</h2>
    ${app.kept ? html`<p class="quiet">${t('copy.kept')}</p>` : html`<p class="warn-text">${t('copy.evict')}</p>
      <button class="wide" @click=${() => act(async () => { app.kept = await keep(); say(t(app.kept ? 'copy.kept' : 'copy.not_kept')); })}>${t('copy.ask')}</button>`}
    <p class=${late ? 'warn-text' : 'quiet'}>${saved ? t('copy.last', { day: day(saved) }) : t('copy.none')}</p>
    <button class="wide" @click=${saveCopy}>${t('copy.save')}</button>
    <label class="button wide file">${t('copy.take')}<input type="file" class="unseen" @change=${takeCopy}></label></section>`;
}

export function view() {
  return html`${heading(app.home.name ?? t('nav.family'))}
    ${syncCard()}
    ${inviteCard()}
    <section class="card"><h2>${t('family.people')}</h2><p class="quiet">${t('family.people.about')}</p>
      ${choices(t('family.people'), app.home.people.map((one) => ({ value: one.id, text: one.name })), app.home.person, (id) => act(async () => { await call('person', { person: id }); await refresh(); }))}</section>
    ${devicesCard()}
    ${copyCard()}
    <a class="button wide" href="#settings">${icon('settings')} ${t('nav.settings')}</a>`;
}
