// A foreign program at the open door: the stock automerge-repo client, told what to do on standard
// input, one JSON object a line, and telling what it sees on standard output.
import { createInterface } from "node:readline";
import { Repo, cbor } from "@automerge/automerge-repo";
import { WebSocketClientAdapter } from "@automerge/automerge-repo-network-websocket";

const say = (what) => process.stdout.write(JSON.stringify(what) + "\n");

// The stock adapter only writes errors to its debug log; the test wants to see them.
class Adapter extends WebSocketClientAdapter {
  receiveMessage(bytes) {
    const message = cbor.decode(new Uint8Array(bytes));
    if (message.type === "error") say({ error: message.message });
    super.receiveMessage(bytes);
  }
}

const repo = new Repo({ network: [new Adapter(process.argv[2], 60_000)] });
const handles = {};

const keys = (doc) => Object.keys(doc).filter((key) => key.length === 22);

async function find(url) {
  try {
    const handle = await repo.find(url, { signal: AbortSignal.timeout(20_000) });
    handles[url] = handle;
    handle.on("change", ({ doc }) => say({ changed: keys(doc).length }));
    say({ found: keys(handle.doc()).length, schema: Number(handle.doc()._schema) });
  } catch (e) {
    say({ missing: String(e.message ?? e) });
  }
}

for await (const line of createInterface({ input: process.stdin })) {
  const told = JSON.parse(line);
  if (told.find) await find(told.find);
  // The same facts under a new id: a record that any phone could have logged.
  if (told.copy) {
    handles[told.copy].change((doc) => {
      const last = keys(doc).sort().at(-1);
      doc[told.as] = new Uint8Array(doc[last]);
    });
  }
  if (told.scribble) handles[told.scribble].change((doc) => (doc.title = "not a record"));
}
process.exit(0);
