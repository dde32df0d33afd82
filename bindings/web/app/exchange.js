// Carries messages between the core and the farm's server. What they say is the core's business.

const LINE_MS = 60_000;
const FIRST_PAUSE_MS = 2_000;
const LONGEST_PAUSE_MS = 5 * 60_000;

const fault = (kind, message) => ({ kind, message });

// No connection is no error to the person: it is kept apart from what a server says.
async function reach(path, options) {
  let answer;
  try {
    answer = await fetch(path, { ...options, cache: 'no-store', signal: AbortSignal.timeout(LINE_MS) });
  } catch {
    throw fault('network', 'the server cannot be reached now');
  }
  if (answer.ok) return answer;
  let words = '';
  try { words = (await answer.json()).message; } catch { /* A proxy may answer with anything. */ }
  // Too slow, or too often: both pass.
  const kind = answer.status >= 500 || answer.status === 408 || answer.status === 429 ? 'network' : 'refused';
  throw fault(kind, words || `the server answered ${answer.status}`);
}

export class Exchange {
  constructor(phone, tell) {
    this.phone = phone;
    this.tell = tell;
    this.running = null;
    this.again = false;
    this.pause = FIRST_PAUSE_MS;
    this.timer = null;
    this.stream = null;
    this.state = { line: 'unknown', refused: null };
  }

  call(name, words) {
    return JSON.parse(this.phone.call(name, JSON.stringify(words ?? null)));
  }

  carrier() {
    return this.phone?.has_farm() ? this.call('carrier') : null;
  }

  start() {
    if (this.carrier()) this.now().catch(() => {});
  }

  // Something was logged: send it when the hand is off the screen for a moment.
  soon() {
    if (!this.carrier()) return;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.now().catch(() => {}), 400);
  }

  // The app came back to the front, or the network did.
  wake() {
    this.pause = FIRST_PAUSE_MS;
    this.start();
  }

  // One exchange at a time; whoever asks meanwhile gets another round after it.
  now() {
    if (this.running) {
      this.again = true;
      return this.running;
    }
    clearTimeout(this.timer);
    this.running = this.rounds().then(
      (done) => { this.ended(null); return done; },
      (error) => { this.ended(error); throw error; },
    );
    return this.running;
  }

  ended(error) {
    this.running = null;
    const before = JSON.stringify(this.state);
    if (!error) {
      this.state = { line: 'up', refused: null };
      this.pause = FIRST_PAUSE_MS;
      this.listen();
      if (this.again) { this.again = false; this.soon(); }
    } else {
      const refused = error.kind === 'refused';
      this.state = { line: refused ? 'up' : 'down', refused: refused ? error.message : null };
      this.again = false;
      if (!refused) {
        this.timer = setTimeout(() => this.now().catch(() => {}), this.pause);
        this.pause = Math.min(this.pause * 2, LONGEST_PAUSE_MS);
      }
    }
    if (JSON.stringify(this.state) !== before || !error) this.tell('synced');
  }

  async rounds() {
    const carrier = this.carrier();
    if (!carrier) throw fault('not_joined', 'no server was joined yet');
    let received = 0;
    try {
      for (;;) {
        const answer = await reach('/v1/sync', {
          method: 'POST',
          body: this.phone.ask(),
          headers: { authorization: `Bearer ${carrier.token}`, 'content-type': 'application/cbor' },
        });
        let bytes;
        try {
          bytes = new Uint8Array(await answer.arrayBuffer());
        } catch {
          throw fault('network', 'the answer broke off');
        }
        const heard = JSON.parse(this.phone.hear(bytes));
        received += heard.changes;
        // A long first exchange shows today's totals before it has the history.
        if (heard.changes) this.tell('changed');
        if (!heard.again) break;
      }
    } catch (error) {
      this.call('sync_anew');
      throw error;
    }
    this.call('tidy');
    if (carrier.renew) await this.renew(carrier);
    return { received };
  }

  // A fresh secret in the place of one that was long in use. The server takes both until the fresh
  // one was used: whatever breaks off in between, one that is kept here still opens the door, and the
  // next exchange asks again. So a failure is nobody's trouble.
  async renew(carrier) {
    try {
      const answer = await reach('/v1/token', { method: 'POST', headers: { authorization: `Bearer ${carrier.token}` } });
      this.call('fresh_token', { token: (await answer.json()).token });
    } catch { /* The one before is as good as it was. */ }
  }

  // The server's word that there is something newer, for as long as the line holds.
  async listen() {
    if (this.stream) return;
    const carrier = this.carrier();
    if (!carrier) return;
    const stop = new AbortController();
    this.stream = stop;
    try {
      const answer = await fetch('/v1/events', {
        headers: { authorization: `Bearer ${carrier.token}` }, cache: 'no-store', signal: stop.signal,
      });
      if (!answer.ok) return;
      const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
      let text = '';
      for (;;) {
        const { value, done } = await reader.read();
        if (done) break;
        text += value;
        const events = text.split('\n\n');
        text = events.pop();
        if (events.some((event) => event.startsWith('event: newer'))) this.now().catch(() => {});
      }
    } catch { /* The line went; the next exchange opens it again. */ } finally {
      this.stream = null;
      if (this.state.line === 'up' && !this.state.refused) {
        clearTimeout(this.timer);
        this.timer = setTimeout(() => this.now().catch(() => {}), this.pause);
      }
    }
  }

  // A device without a farm takes the invite's; one with a farm brings it along.
  async join({ invite: typed, device }) {
    // A whole link will do as well as the code within it.
    const invite = /invite=([^&\s]+)/.exec(typed)?.[1] ?? typed.trim();
    const has = this.phone.has_farm();
    const ask = has ? this.call('join_ask', { invite, device }) : { invite, name: device, actors: [] };
    const answer = await (await reach('/v1/join', {
      method: 'POST', body: JSON.stringify(ask), headers: { 'content-type': 'application/json' },
    })).json();
    if (has) this.call('joined', { url: location.origin, token: answer.token });
    else this.phone.take_in(answer.farm, location.origin, answer.token);
    this.tell('changed');
    await this.now();
    return null;
  }

  async members(name, words) {
    const carrier = this.carrier();
    if (!carrier) throw fault('not_joined', 'no server was joined yet');
    const headers = { authorization: `Bearer ${carrier.token}` };
    if (name === 'invite') return (await reach('/v1/invites', { method: 'POST', headers })).json();
    if (name === 'devices') return (await reach('/v1/devices', { headers })).json();
    await reach(`/v1/devices/${encodeURIComponent(words.id)}`, { method: 'DELETE', headers });
    return null;
  }
}
