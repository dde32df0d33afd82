// What the scripts share: the workload, figures as lines of JSON, and a wire that counts.

import { once } from 'node:events';
import { readFile, readdir, rm, stat } from 'node:fs/promises';
import net from 'node:net';
import path from 'node:path';

export const [given, disk] = process.argv.slice(2);
export const work = JSON.parse(await readFile(given, 'utf8'));

let next = 0;
// Another record of today: its id and fields.
export const another = () => work.another[next++ % work.another.length];

export function tell(through, letter, what, values, unit) {
  process.stdout.write(`${JSON.stringify({ work: letter, what, through, unit, values })}\n`);
}

export async function timed(task) {
  const begun = performance.now();
  const done = await task();
  return [performance.now() - begun, done];
}

export const median = (all) => {
  const sorted = [...all].sort((a, b) => a - b);
  const half = sorted.length >> 1;
  return sorted.length % 2 ? sorted[half] : (sorted[half - 1] + sorted[half]) / 2;
};

export async function fresh(name) {
  const folder = path.join(disk, name);
  await rm(folder, { recursive: true, force: true });
  return folder;
}

export async function bytesIn(folder) {
  let sum = 0;
  for (const entry of await readdir(folder, { recursive: true, withFileTypes: true })) {
    if (entry.isFile()) sum += (await stat(path.join(entry.parentPath, entry.name))).size;
  }
  return sum;
}

// A wire to a port of this machine. `trips` counts how often the direction turned to the server.
export class Wire {
  static async to(port) {
    const wire = new Wire();
    wire.take();
    wire.server = net.createServer((near) => {
      const far = net.connect(port, '127.0.0.1');
      near.setNoDelay();
      far.setNoDelay();
      near.on('data', (bytes) => {
        wire.up += bytes.length;
        if (!wire.upwards) wire.trips += 1;
        wire.upwards = true;
        far.write(bytes);
      });
      far.on('data', (bytes) => {
        wire.down += bytes.length;
        wire.upwards = false;
        near.write(bytes);
      });
      for (const [one, other] of [[near, far], [far, near]]) {
        one.on('close', () => other.destroy());
        one.on('error', () => other.destroy());
      }
    }).listen(0, '127.0.0.1');
    await once(wire.server, 'listening');
    wire.port = wire.server.address().port;
    return wire;
  }

  take() {
    const passed = { up: this.up, down: this.down, trips: this.trips };
    Object.assign(this, { up: 0, down: 0, trips: 0, upwards: false });
    return passed;
  }
}

// Thirty each way, as the Rust program tells it.
export function tellExchange(name, passed, spent) {
  const of = (key) => passed.map((p) => p[key]);
  tell(name, 'c', 'the same sent, with HTTP heads', of('up'), 'bytes');
  tell(name, 'c', 'the same received, with HTTP heads', of('down'), 'bytes');
  tell(name, 'c', '30 up and 30 down: round trips', of('trips'), 'trips');
  tell(name, 'c', '30 up and 30 down: loopback', spent, 'ms');
  const slow = median(of('trips')) * 200 + (median(of('up')) + median(of('down'))) * 8 / 100 + median(spent);
  tell(name, 'c', '30 up and 30 down: 200 ms, 100 kbit/s', [slow], 'ms computed');
}
