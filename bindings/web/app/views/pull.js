// Pulling eggs: what is wrong, by picture, and what becomes of them.

import { html, nothing } from '../vendor/lit-html.js';
import { call, draw } from '../app.js';
import { choices, stepper, told } from '../parts.js';
import { egg } from '../pictures.js';
import { dispositionOf, t } from '../words.js';

let facts = null;
// What the trade knows of each fault; it never changes while the app runs.
export async function loadFacts() {
  facts ??= Object.fromEntries((await call('defects')).map((one) => [one.defect, one]));
}

export const blankPull = () => ({ eggs: 1, reason: null, use: null, all: false });

// What usually becomes of such an egg, unless something else was chosen.
export const useOf = (pull) => pull.use ?? facts?.[pull.reason]?.uses[0] ?? 'discard';

export function pullForm(species, pull, most, step, { count = true } = {}) {
  if (!facts) {
    loadFacts().then(draw);
    return nothing;
  }
  const all = Object.keys(facts);
  const usual = all.filter((one) => facts[one].seen_at.includes(step));
  const shown = pull.all ? all : usual;
  const chosen = pull.reason && facts[pull.reason];
  const uses = chosen ? chosen.uses : [];
  const becomes = chosen && dispositionOf(chosen);
  return html`<div class="pull">
    ${choices(t('pull.reason'), shown.map((one) => ({ value: one, text: t(`defect.${one}`), picture: egg(species, one) })),
      pull.reason, (one) => { pull.reason = one; pull.use = null; }, { pictured: true })}
    ${pull.all || usual.length === all.length ? nothing
      : html`<button type="button" class="plain wide" @click=${() => { pull.all = true; draw(); }}>${t('pull.all')}</button>`}
    ${chosen ? html`
      ${uses.length ? choices(t('pull.use'), uses.map((one) => ({ value: one, text: t(`use.${one}`) })), useOf(pull), (one) => { pull.use = one; }) : nothing}
      <p class="advice"><span lang=${becomes.lang}>${becomes.text}</span><small>${told(chosen.source)}</small></p>` : nothing}
    ${count ? stepper(t('pull.eggs'), pull.eggs, (n) => { pull.eggs = n; }, { least: 1, most: Math.max(1, most) }) : nothing}
  </div>`;
}

