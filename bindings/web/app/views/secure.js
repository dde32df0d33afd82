// How a family gets an address that begins with https: for whoever runs the server.

import { html } from '../vendor/lit-html.js';
import { t } from '../words.js';

// Commands are the same in every language.
const OWN = 'pointdown-server --listen 0.0.0.0:4680 --tls own --tls-name NAME --announce';
const AUTHORITY = `openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 3650 \\
  -subj '/CN=Farm authority' -keyout authority.key -out authority.pem \\
  -addext 'basicConstraints=critical,CA:TRUE,pathlen:0' -addext 'keyUsage=critical,keyCertSign'
openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 397 \\
  -subj '/CN=Farm server' -keyout server.key -out server.pem \\
  -CA authority.pem -CAkey authority.key -addext 'subjectAltName=IP:ADDRESS,DNS:NAME' \\
  -addext 'basicConstraints=critical,CA:FALSE' -addext 'extendedKeyUsage=serverAuth'
pointdown-server --listen 0.0.0.0:4680 --tls-cert server.pem --tls-key server.key --announce`;

const code = (text) => html`<pre tabindex="0">${text}</pre>`;

export const secureHelp = () => html`<section class="card secure">
  <h2>${t('secure.title')}</h2>
  <p>${t('secure.why')}</p>
  <h3>${t('secure.domain')}</h3><p>${t('secure.domain.about')}</p>
  <h3>${t('secure.authority')}</h3><p>${t('secure.authority.about')}</p>
  ${code(AUTHORITY)}
  <ul><li>${t('secure.android')}</li><li>${t('secure.apple')}</li><li>${t('secure.computer')}</li></ul>
  <p class="caution">${t('secure.keep')}</p>
  <h3>${t('secure.own')}</h3><p>${t('secure.own.about')}</p>
  ${code(OWN)}
  <h3>${t('secure.demands')}</h3>
  <ul>${['trusted', 'name', 'days', 'kind'].map((one) => html`<li>${t(`secure.demand.${one}`)}</li>`)}</ul>
</section>`;
