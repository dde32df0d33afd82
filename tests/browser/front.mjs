// The app's files straight from the folder that was built, before the real server for the rest: so
// that a changed screen is seen without building the server again, and a version can change.

import { once } from 'node:events';
import { readFile } from 'node:fs/promises';
import http from 'node:http';
import path from 'node:path';
import { gunzipSync } from 'node:zlib';

const FOLDER = process.env.POINTDOWN_PHONE ?? 'target/phone';
const KINDS = { html: 'text/html; charset=utf-8', js: 'text/javascript; charset=utf-8', css: 'text/css; charset=utf-8', svg: 'image/svg+xml', png: 'image/png', wasm: 'application/wasm', webmanifest: 'application/manifest+json' };
const POLICY = "default-src 'none'; script-src 'self' 'wasm-unsafe-eval'; style-src 'self'; img-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

export class Front {
  static async open(server) {
    const front = new Front();
    front.version = (await readFile(path.join(FOLDER, 'version'), 'utf8')).trim();
    // The name under which the version is given out.
    front.name = front.version;
    front.hub = http.createServer((ask, answer) => {
      if (ask.url.startsWith('/phone/')) front.file(ask.url, answer);
      else front.pass(ask, answer, server);
    }).listen(0, '127.0.0.1');
    await once(front.hub, 'listening');
    front.port = front.hub.address().port;
    return front;
  }

  async file(url, answer) {
    const asked = url.slice('/phone/'.length) || 'index.html';
    try {
      let bytes = gunzipSync(await readFile(path.join(FOLDER, `${asked.replace(this.name, this.version)}.gz`)));
      if (!asked.startsWith('v/')) bytes = Buffer.from(bytes.toString().replaceAll(this.version, this.name));
      answer.writeHead(200, { 'content-type': KINDS[asked.split('.').at(-1)], 'cache-control': 'no-cache', 'content-security-policy': POLICY }).end(bytes);
    } catch {
      answer.writeHead(404).end();
    }
  }

  pass(ask, answer, port) {
    const on = http.request({ port, host: '127.0.0.1', method: ask.method, path: ask.url, headers: ask.headers }, (got) => {
      answer.writeHead(got.statusCode, got.headers);
      got.pipe(answer);
    });
    on.on('error', () => answer.destroy());
    answer.on('close', () => on.destroy());
    ask.pipe(on);
  }

  async close() {
    this.hub.closeAllConnections();
    this.hub.close();
    await once(this.hub, 'close');
  }
}
