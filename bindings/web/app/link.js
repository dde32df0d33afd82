// The page's end of the line to the worker.

const listeners = new Set();
const open = new Map();
let worker = null;
let count = 0;

function start() {
  worker = new Worker(new URL('./worker.js', import.meta.url), { type: 'module' });
  worker.onmessage = ({ data }) => {
    if (data.event) {
      for (const listener of listeners) listener(data.event);
      return;
    }
    const question = open.get(data.id);
    if (!question) return;
    open.delete(data.id);
    if (data.error) {
      // A core that stopped in the middle is started anew; what it had said is on the disk.
      if (data.error.kind === 'trap') restart();
      question.fail(data.error);
    } else {
      question.done(data.result);
    }
  };
  worker.onerror = (event) => {
    event.preventDefault();
    for (const [id, question] of open) {
      open.delete(id);
      question.fail({ kind: 'trap', message: event.message ?? 'the core cannot be loaded' });
    }
  };
}

function restart() {
  worker.terminate();
  start();
}

export function call(name, words, bytes) {
  if (!worker) start();
  count += 1;
  const id = count;
  return new Promise((done, fail) => {
    open.set(id, { done, fail });
    worker.postMessage({ id, name, words, bytes });
  });
}

export const wake = () => worker?.postMessage({ wake: true });
export const onEvent = (listener) => listeners.add(listener);
