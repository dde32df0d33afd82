// The bench: each step of the work with what waits for it.

import { html, nothing } from '../vendor/lit-html.js';
import { heading, onHand } from '../parts.js';
import { icon } from '../pictures.js';
import { num, t } from '../words.js';

const total = (station) => Object.values(onHand(station)).reduce((sum, one) => sum + one.eggs, 0);

export function view() {
  const waits = { basket: total('basket'), sink: total('basket'), candle: total('clean'), pack: total('clean'), stock: 0, more: 0 };
  return html`${heading(t('nav.bench'), t('bench.about'))}
    <ul class="tiles">${Object.entries(waits).map(([name, n]) => html`<li><a class="tile" href="#${name}">
      ${icon(name)}<b>${t(`nav.${name}`)}</b><span>${t(`bench.${name}`)}</span>
      ${n ? html`<em>${t('bench.waits', { n })}</em>` : nothing}</a></li>`)}</ul>
    <p class="quiet">${t('bench.total', { n: num(total('basket') + total('clean') + total('cartoned')) })}</p>`;
}
