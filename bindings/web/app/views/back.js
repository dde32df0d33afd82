// Cartons that came back from somebody.

import { html, nothing } from '../vendor/lit-html.js';
import { act, app, call, draw, log, stateOf } from '../app.js';
import { choices, stepper, take } from '../parts.js';
import { addDays, day, dayOf, t } from '../words.js';

const DAYS = 60;
const me = () => stateOf('back', () => ({ outs: [], open: false, out: null, cartons: 1 }));

export async function loadOuts() {
  const from = addDays(app.home.today, -DAYS);
  const rows = await call('list', { kind: 'out', from, to: app.home.today });
  const back = {};
  for (const row of rows.filter((one) => one.fields.way === 'returned' && one.fields.carton)) {
    back[row.fields.carton] = (back[row.fields.carton] ?? 0) + (row.fields.cartons ?? 0);
  }
  me().outs = rows.filter((row) => row.fields.way !== 'returned' && row.fields.carton && row.fields.cartons)
    // What came back already is taken off the latest that went.
    .map((row) => {
      const off = Math.min(row.fields.cartons, back[row.fields.carton] ?? 0);
      back[row.fields.carton] = (back[row.fields.carton] ?? 0) - off;
      return { row, cartons: row.fields.cartons - off };
    })
    .filter((one) => one.cartons > 0);
}

const who = (row) => app.home.names[row.fields.outlet] ?? row.fields.to ?? t(`way.${row.fields.way}`);

function save(out, n, done) {
  return act(async () => {
    const { fields } = out.row;
    const each = Object.values(fields.parts).reduce((a, b) => a + b, 0) / fields.cartons;
    const draft = { kind: 'out', way: 'returned', carton: fields.carton, cartons: n, parts: take(fields.parts, n * each) };
    if (fields.outlet) draft.outlet = fields.outlet;
    if (fields.to) draft.to = fields.to;
    await log([draft], t('back.done', { n, who: who(out.row) }));
    Object.assign(me(), { open: false, out: null, cartons: 1 });
    await done();
  }, 'save');
}

export function backCard(done) {
  const state = me();
  if (!state.outs.length) return nothing;
  if (!state.open) return html`<button class="wide" @click=${() => { state.open = true; draw(); }}>${t('back.title')}</button>`;
  const out = state.outs.find((one) => one.row.id === state.out) ?? state.outs[0];
  const n = Math.min(state.cartons, out.cartons);
  return html`<div class="card"><h2>${t('back.title')}</h2>
    ${choices(t('back.which'), state.outs.slice(0, 12).map((one) => ({
      value: one.row.id, text: who(one.row), note: t('back.of', { n: one.cartons, day: day(dayOf(new Date(one.row.at).getTime())) }),
    })), out.row.id, (id) => { state.out = id; })}
    ${stepper(t('shelf.cartons'), n, (to) => { state.cartons = to; }, { least: 1, most: out.cartons })}
    <p class="caution">${t('back.about')}</p>
    <div class="pair"><button @click=${() => { state.open = false; draw(); }}>${t('cancel')}</button>
      <button class="main" @click=${() => save(out, n, done)}>${t('back.go', { n })}</button></div></div>`;
}
