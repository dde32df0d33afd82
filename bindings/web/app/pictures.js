// Drawings. Every egg stands as it is packed: pointed end down, the air cell above.

import { html, nothing, svg } from './vendor/lit-html.js';

const EGG = 'M20 3C30.5 3 36 13.5 36 24.5 36 36.5 28 47 20 47S4 36.5 4 24.5C4 13.5 9.5 3 20 3Z';

const ICONS = {
  // A basket with eggs.
  gather: svg`<path d="M4 11h16l-2 9H6z"/><path d="M7 11a5 6 0 0 1 10 0"/><ellipse cx="9.5" cy="9.5" rx="2" ry="2.5"/><ellipse cx="14.5" cy="9.5" rx="2" ry="2.5"/>`,
  // A table with a lamp.
  bench: svg`<path d="M3 14h18M5 14v6M19 14v6"/><path d="M12 14v-3M8 11a4 5 0 0 1 8 0z"/><path d="M12 6V3"/>`,
  // Shelves with cartons.
  shelf: svg`<path d="M3 10h18M3 20h18"/><path d="M5 10V6h6v4M13 10V6h6v4M5 20v-4h6v4"/>`,
  // A tally.
  today: svg`<path d="M6 5v14M10 5v14M14 5v14M18 5v14M3 17 21 7"/>`,
  // A house.
  family: svg`<path d="M3 11 12 4l9 7M5 10v10h14V10"/><ellipse cx="12" cy="15" rx="2.2" ry="3"/>`,
  stock: svg`<path d="M5 4h14v16H5z"/><path d="M8 9h5M8 13h5M8 17h5M16 9h.1M16 13h.1M16 17h.1"/>`,
  more: svg`<path d="M4 12h16M12 4v16"/>`,
  basket: svg`<path d="M4 11h16l-2 9H6z"/><path d="M7 11a5 6 0 0 1 10 0"/>`,
  sink: svg`<path d="M3 13h18v2a5 5 0 0 1-5 5H8a5 5 0 0 1-5-5z"/><path d="M12 13V6a2 2 0 0 1 4 0M7 8v2M7 4v1"/>`,
  candle: svg`<circle cx="12" cy="12" r="4"/><path d="M12 3v2M12 19v2M3 12h2M19 12h2M5.6 5.6 7 7M17 17l1.4 1.400M18.4 5.6 17 7M7 17l-1.4 1.4"/>`,
  pack: svg`<path d="M3 11h18v8H3zM3 11l2-5h14l2 5"/><path d="M9 11v8M15 11v8M3 15h18"/>`,
  settings: svg`<path d="M4 7h9M17 7h3M4 17h3M11 17h9"/><circle cx="15" cy="7" r="2"/><circle cx="9" cy="17" r="2"/>`,
  review: svg`<path d="M12 4 21 20H3z"/><path d="M12 10v5M12 17.500v.5"/>`,
  synced: svg`<path d="m5 13 4 4L19 7"/>`,
  waiting: svg`<circle cx="12" cy="12" r="8"/><path d="M12 8v4l3 2"/>`,
};

export const icon = (name) => html`<svg class="icon" viewBox="0 0 24 24" aria-hidden="true">${ICONS[name] ?? nothing}</svg>`;

// What the eye or the light finds, drawn over the egg.
const MARKS = {
  mud: svg`<path class="d" d="M8 29c3-4 8 1 12-2s9-1 14 0c-2 10-9 17-14 17S10 38 8 29Z"/>`,
  dung: svg`<path class="d" d="M12 17c4-5 10-2 9 2s-6 3-8 1-3-1-1-3Zm12 12c3-1 5 2 3 4s-6 0-3-4Z"/><path class="w" d="M15 17c2-1 4 0 3 2Z"/>`,
  egg_content: svg`<path class="y" d="M9 14c4-6 13-4 15 1 1 4-1 5-1 9 0 3-4 3-4 0s-2-4-4-3-3 4-5 2-3-5-1-9Z"/>`,
  bedding: svg`<path class="l" d="m9 30 14-9M13 36l13-14M10 20l12 4M19 38l9-6"/>`,
  stain: svg`<ellipse class="s" cx="23" cy="22" rx="8" ry="6"/><ellipse class="s" cx="14" cy="34" rx="4" ry="3"/>`,
  impact_crack: svg`<path class="k" d="m20 22-7-5m7 5 8-6m-8 6-4 9m4-9 8 6m-8-6 1-9m-1 9-10 3"/>`,
  hairline_crack: svg`<path class="k thin" d="m16 5 3 7-4 6 6 6-3 7 5 8"/>`,
  leaker: svg`<path class="k" d="m14 20 5 4-3 4 7 2"/><path class="y" d="M18 30c-4 5-5 9-1 10s5-4 1-10Z"/>`,
  rough_shell: svg`<path class="p" d="M12 15h.1M18 12h.1M24 15h.1M29 22h.1M14 23h.1M20 20h.1M25 26h.1M11 30h.1M18 30h.1M24 34h.1M19 39h.1M29 30h.1"/>`,
  thin_shell: svg`<path class="l" d="M20 7c8 0 12 8 12 17s-6 18-12 18S8 33 8 24 12 7 20 7Z" stroke-dasharray="2 3"/>`,
  soft_shell: svg`<path class="l" d="M6 28c4 5 9-3 14 1s10 3 14-1M8 20c4 3 7-2 12 1s8 2 12-1"/>`,
  pimples: svg`<circle class="b" cx="14" cy="16" r="2"/><circle class="b" cx="24" cy="14" r="1.6"/><circle class="b" cx="19" cy="23" r="2.4"/><circle class="b" cx="28" cy="26" r="1.8"/><circle class="b" cx="13" cy="31" r="1.8"/><circle class="b" cx="22" cy="35" r="2"/>`,
  ridged: svg`<path class="l" d="M6 18c9 4 19 4 28 0M4 25c11 4 21 4 32 0M6 32c9 4 19 4 28 0"/>`,
  double_yolk: svg`<circle class="y" cx="20" cy="19" r="7"/><circle class="y" cx="20" cy="32" r="7"/>`,
  blood_spot: svg`<circle class="y" cx="20" cy="26" r="10"/><circle class="r" cx="24" cy="23" r="3"/>`,
  meat_spot: svg`<circle class="y" cx="20" cy="26" r="10"/><path class="d" d="m12 36 4-2 2 3-4 2Z"/>`,
  mottled_yolk: svg`<circle class="y" cx="20" cy="26" r="11"/><path class="w" d="M14 24c2-2 4 0 3 2s-4 0-3-2Zm9-3c3 0 3 4 0 4s-2-4 0-4Zm-3 10c3-1 5 1 3 3s-5-1-3-3Z"/>`,
  loose_air_cell: svg`<path class="w" d="M10 14c4 5 15 5 20 0-2-7-6-10-10-10S12 7 10 14Z"/><circle class="w" cx="28" cy="22" r="2"/><circle class="w" cx="25" cy="28" r="1.4"/>`,
  rot: svg`<path class="d full" d="M20 8c7 0 11 8 11 16s-5 18-11 18S9 32 9 24 13 8 20 8Z"/><path class="g" d="M13 24c4-6 9 3 14-2"/>`,
  unknown_age: svg`<path class="k" d="M15 19c0-8 11-7 10 0-.5 4-5 4-5 9M20 34v.5"/>`,
  held: svg`<path class="k" d="M14 18v14M20 18v14M26 18v14"/>`,
};

const SHAPES = {
  misshapen: 'M17 4C30 2 33 14 35 24S31 45 21 47 3 39 6 25 9 5 17 4Z',
  round: 'M20 8a17 17 0 1 1 0 34 17 17 0 0 1 0-34Z',
  long: 'M20 1C27 1 31 12 31 25S26 49 20 49 9 38 9 25 13 1 20 1Z',
  very_small: 'M20 18C26 18 29 24 29 30S25 43 20 43 11 36 11 30 14 18 20 18Z',
};

export const egg = (species, mark = null) => html`<svg class="egg ${species}" viewBox="0 0 40 50" aria-hidden="true">
  <path class="shell" d=${SHAPES[mark] ?? EGG}/>
  ${species === 'quail' || species === 'turkey' ? svg`<path class="speck" d="M13 14h.1M24 11h.1M28 20h.1M17 22h.1M12 29h.1M23 30h.1M19 37h.1M27 34h.1"/>` : nothing}
  ${MARKS[mark] ?? nothing}
</svg>`;

// A tray of 30 as it fills: five rows of six.
export function tray(species, count, { floor = 0, pulled = 0 } = {}) {
  const shown = count === 0 ? 0 : ((count - 1) % 30) + 1;
  const cells = Array.from({ length: 30 }, (_, i) => {
    const x = 26 + (i % 6) * 48;
    const y = 26 + Math.floor(i / 6) * 44;
    let kind = '';
    if (i < shown) {
      const from = shown - i;
      kind = from <= pulled ? 'pulled' : from <= pulled + floor ? 'floor' : 'in';
    }
    return svg`<g transform="translate(${x} ${y})">
      <circle class="cup" r="19"/>
      ${kind ? svg`<ellipse class="shell ${kind}" rx="14" ry="15.5"/>` : nothing}
    </g>`;
  });
  return html`<svg class="tray egg ${species}" viewBox="0 0 292 228" aria-hidden="true">
    <rect class="pulp" x="1" y="1" width="290" height="226" rx="14"/>${cells}</svg>`;
}

// A carton seen from the side of the eggs, two rows; `eggs` are classes of the cells, in order.
export function carton(species, capacity, eggs) {
  const rows = capacity === 30 ? 5 : capacity === 18 ? 3 : 2;
  const columns = Math.ceil(capacity / rows);
  const cells = Array.from({ length: capacity }, (_, i) => {
    const [row, column] = [Math.floor(i / columns), i % columns];
    const kind = eggs[i];
    return svg`<g transform="translate(${8 + column * 40} ${8 + row * 46})">
      <path class="cup" d="M0 22h40v16a8 8 0 0 1-8 8H8a8 8 0 0 1-8-8z"/>
      ${kind ? svg`<path class="shell ${kind}" d=${EGG} transform="translate(3.5 0) scale(.82)"/>` : svg`<path class="empty" d=${EGG} transform="translate(3.5 0) scale(.82)"/>`}
      <path class="lip" d="M0 30h40v8a8 8 0 0 1-8 8H8a8 8 0 0 1-8-8z"/>
    </g>`;
  });
  return html`<svg class="carton egg ${species}" viewBox="0 0 ${16 + columns * 40} ${16 + rows * 46}" aria-hidden="true">${cells}</svg>`;
}

// Squares for a camera, with the quiet zone that readers need.
export function symbol(rows, words) {
  const size = rows.length + 8;
  const path = rows.flatMap((row, y) => [...row].map((dark, x) => (dark === '1' ? `M${x + 4} ${y + 4}h1v1h-1z` : ''))).join('');
  return html`<svg class="symbol" viewBox="0 0 ${size} ${size}" role="img" aria-label=${words} shape-rendering="crispEdges">
    <rect class="quiet" width=${size} height=${size}/><path class="dark" d=${path}/></svg>`;
}
