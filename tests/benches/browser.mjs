// The phone app's own core, compiled for the browser, in its worker in a real Chromium: logging,
// opening and looking, with a history that came as a file. Prints one figure a line as JSON.

import { readFile } from 'node:fs/promises';

const { Stage } = await import('../browser/stage.mjs');
const given = JSON.parse(await readFile(process.argv[2], 'utf8'));
const tell = (work, what, values, unit = 'ms') => process.stdout.write(`${JSON.stringify({ work, what, through: 'Pointdown in a browser', unit, values })}\n`);

const stage = await Stage.open();
try {
  const phone = await stage.phone('measured');
  await phone.go();
  const bundle = (await readFile(given.bundle)).toString('base64');
  const taken = await phone.page.evaluate(async (text) => {
    const main = document.querySelector('script[type="module"]').src;
    const { call } = await import(new URL('./link.js', main));
    const bytes = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const begun = performance.now();
    await call('from_file', null, bytes);
    return performance.now() - begun;
  }, bundle);
  tell('d', 'all records from a file', [taken]);

  // The app asks who it is that writes here; the first person of the farm will do.
  const people = await phone.ask('list', { kind: 'person' });
  await phone.ask('person', { person: people[0].id });
  const [coop] = await phone.ask('list', { kind: 'coop' });
  const draft = { kind: 'gather', coop: coop.id, species: 'hen', count: 12 };

  // (a) Asked in the page, so that the wire to the browser is not counted; the first loads the month.
  const logged = await phone.page.evaluate(async ([one, runs]) => {
    const main = document.querySelector('script[type="module"]').src;
    const { call } = await import(new URL('./link.js', main));
    await call('log', { drafts: [one] }).catch((error) => { throw new Error(JSON.stringify(error)); });
    const all = [];
    for (let n = 0; n < runs * 10; n += 1) {
      const begun = performance.now();
      await call('log', { drafts: [one] });
      all.push(performance.now() - begun);
    }
    return all;
  }, [draft, given.runs]);
  tell('a', 'log one record, durable', logged);

  // (b) From the page's first byte to the answer; everything of the app is in the browser's own cache.
  const day = given.to;
  const opened = [];
  for (let n = 0; n < given.runs; n += 1) {
    await phone.go();
    opened.push(await phone.page.evaluate(async (today) => {
      const main = document.querySelector('script[type="module"]').src;
      const { call } = await import(new URL('./link.js', main));
      await call('sheet', { from: today, to: today });
      return performance.now();
    }, day));
  }
  tell('b', 'open, and show today\'s sheet', opened);

  // (f)
  const questions = {
    'the sheet of a day': ['sheet', { from: day, to: day }],
    'the sheet of a year': ['sheet', { from: given.from, to: day }],
    'the review list': ['review', null],
    'the first screen': ['home', null],
  };
  for (const [what, [name, words]] of Object.entries(questions)) {
    const spent = await phone.page.evaluate(async ([name, words, runs]) => {
      const main = document.querySelector('script[type="module"]').src;
      const { call } = await import(new URL('./link.js', main));
      const all = [];
      for (let n = 0; n < runs; n += 1) {
        const begun = performance.now();
        await call(name, words);
        all.push(performance.now() - begun);
      }
      return all;
    }, [name, words, given.runs]);
    tell('f', what, spent);
  }
} finally {
  await stage.close();
}
