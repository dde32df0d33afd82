// How the flocks lay over days, weeks, months and years, what is pulled, and what changed.

import { html, nothing, svg } from '../vendor/lit-html.js';
import { act, app, call, stateOf } from '../app.js';
import { choices, heading, told } from '../parts.js';
import { egg } from '../pictures.js';
import { addDays, num, percent, t } from '../words.js';

// How far back each step looks, in days.
const BACK = { day: 27, week: 83, month: 364, year: 5 * 365 };
const me = () => stateOf('trends', () => ({ step: 'week', found: null }));

export async function load() {
  const state = me();
  const to = app.home.today;
  state.found = await call('trends', { from: addDays(to, -BACK[state.step]), to, step: state.step });
}

const known = (span) => span.days.known + span.days.zero;
const there = (span) => known(span) + span.days.unknown > 0;
const aDay = (span) => (known(span) && span.eggs !== null ? span.eggs / known(span) : null);
const label = (span) => span.label.replace(/^\d{4}-(?=W|\d{2}-)/, '');

// What is unknown is hatched, never zero; a span before there were birds is empty.
function chart(spans) {
  const most = Math.max(1, ...spans.map((span) => aDay(span) ?? 0));
  const width = 320 / spans.length;
  const every = Math.ceil(spans.length / 6);
  const words = spans.filter(there).map((span) => `${span.label}: ${aDay(span) === null ? t('today.unknown') : num(aDay(span), 1)}`).join('; ');
  return html`<svg class="trend" viewBox="0 0 320 120" role="img" aria-label=${`${t('trends.a_day')}. ${words}`}>
    ${spans.map((span, i) => {
      const n = aDay(span);
      const tall = n === null ? 88 : Math.max(2, n / most * 88);
      return svg`${there(span) ? svg`<rect class=${n === null ? 'unknown' : span.days.unknown ? 'part' : 'bar'} x=${i * width + 1.5} y=${100 - tall} width=${Math.max(2, width - 3)} height=${tall} rx="3"/>` : nothing}
        ${i % every === (spans.length - 1) % every ? svg`<text x=${Math.min(300, Math.max(20, i * width + width / 2))} y="115">${label(span)}</text>` : nothing}`;
    })}</svg>`;
}

const rate = ({ rate: laid }) => (laid ? html`${percent(laid.per_hen_day)}${laid.interval ? html` <small>${percent(laid.interval.low)}–${percent(laid.interval.high)}</small>` : nothing}` : '');

function table(spans, whose) {
  return html`<div class="wide-table" tabindex="0" role="region" aria-label=${`${t('trends.table')}: ${whose}`}><table>
    <thead><tr><th scope="col">${t('trends.when')}</th><th scope="col">${t('trends.eggs')}</th><th scope="col">${t('trends.rate')}</th><th scope="col">${t('trends.days')}</th></tr></thead>
    <tbody>${spans.filter(there).toReversed().map((span) => html`<tr><th scope="row">${span.label}</th>
      <td>${span.eggs === null ? html`<span class="unknown">${t('today.unknown')}</span>` : num(span.eggs)}</td><td>${rate(span)}</td>
      <td>${num(known(span))}${span.days.unknown ? html` <span class="unknown">${t('trends.unknown', { n: span.days.unknown })}</span>` : nothing}</td></tr>`)}</tbody></table></div>`;
}

function pulled(spans) {
  const all = {};
  for (const span of spans) for (const [reason, n] of Object.entries(span.pulled)) all[reason] = (all[reason] ?? 0) + n;
  const rows = Object.entries(all).sort(([, a], [, b]) => b - a);
  return rows.length ? html`<h3>${t('trends.pulled')}</h3><ul class="rows">${rows.map(([reason, n]) => html`<li><span class="row-main">${egg('hen', reason)}<span>${t(`defect.${reason}`)}</span></span><b>${num(n)}</b></li>`)}</ul>` : nothing;
}

function one(trend) {
  const changed = trend.changes.filter((change) => change.more_than_luck);
  const whose = `${trend.coop ? trend.name : t('trends.all')} · ${t(`species.${trend.species}`)}`;
  return html`<section class="card"><h2>${whose}</h2>
    <p class="quiet">${t('trends.a_day')}</p>${chart(trend.spans)}
    ${changed.length ? html`<ul class="faults">${changed.map((change) => html`<li>${told(change.why)}</li>`)}</ul>`
      : trend.changes.length ? html`<p class="quiet">${t('trends.luck')}</p>` : nothing}
    ${trend.watch?.alarm ? html`<p class="verdict bad">${trend.watch.why.map((why) => html`${told(why)} `)}</p>` : nothing}
    <details><summary>${t('trends.table')}</summary>${table(trend.spans, whose)}${pulled(trend.spans)}</details></section>`;
}

export function view() {
  const state = me();
  return html`${heading(t('nav.trends'), t('trends.about'))}
    ${choices(t('trends.step'), Object.keys(BACK).map((value) => ({ value, text: t(`step.${value}`) })), state.step, (value) => { state.step = value; act(load); })}
    ${state.found ? html`${state.found.trends.map(one)}<p class="quiet">${t('today.hatched')}</p><p class="caution">${told(state.found.caution)}</p>` : nothing}`;
}
