// Both dictionaries say everything that the screens ask for, with the same blanks.

import assert from 'node:assert/strict';
import { readdir, readFile } from 'node:fs/promises';
import path from 'node:path';
import { test } from 'node:test';

const APP = 'bindings/web/app';
const read = async (name) => (await import(`data:text/javascript,${encodeURIComponent(await readFile(path.join(APP, name), 'utf8'))}`)).default;
const blanks = (text) => JSON.stringify([...new Set([...JSON.stringify(text).matchAll(/\{(\w+)\}/g)].map(([, name]) => name))].sort());

test('English and Spanish have the same keys and blanks', async () => {
  const [en, es] = [await read('words/en.js'), await read('words/es.js')];
  assert.deepEqual(Object.keys(es).sort(), Object.keys(en).sort());
  for (const key of Object.keys(en)) assert.equal(blanks(es[key]), blanks(en[key]), key);
});

test('every key that a screen names is in the dictionaries, and each is named', async () => {
  const en = await read('words/en.js');
  const names = (await readdir(APP, { recursive: true })).filter((name) => name.endsWith('.js') && !/^(words\/|vendor)/.test(name));
  const text = (await Promise.all(names.map((name) => readFile(path.join(APP, name), 'utf8')))).join('\n');
  const asked = [...text.matchAll(/\bt\('([^']+)'/g)].map(([, key]) => key);
  assert.ok(asked.length > 150);
  assert.deepEqual(asked.filter((key) => !(key in en)), []);
  // A key put together at run time begins with what stands before its blank.
  const made = [...text.matchAll(/`([\w.]+\.)\$\{/g)].map(([, stem]) => stem);
  const unused = Object.keys(en).filter((key) => !text.includes(`'${key}'`) && !made.some((stem) => key.startsWith(stem)));
  assert.deepEqual(unused, []);
});

// The core's words as the compiler reads them: a line that ends in a backslash goes on.
const core = async () => {
  const names = (await readdir('core/src', { recursive: true })).filter((name) => /^(trade|book)[/].*[.]rs$/.test(name));
  const text = (await Promise.all(names.map((name) => readFile(path.join('core/src', name), 'utf8')))).join('\n');
  return text.replace(/\\\n\s*/g, '');
};
const literals = (english) => english.split(/\{\w+\}/);

test('each reason that is told in Spanish is one that the core gives', async () => {
  const why = await read('words/why-es.js');
  const said = await core();
  for (const [english, spanish] of why) {
    // Figures are put in by the core in several ways; what stands between them is letter for letter.
    const parts = literals(english).flatMap((one) => one.split(/[,;:()]|until /)).map((one) => one.trim().replace(/ (counting|days after|within|of it)$/, ''));
    for (const part of parts.filter((one) => one.length > 9)) assert.ok(said.includes(part), `the core does not say: ${part}`);
    assert.equal(blanks(english), blanks(spanish), english);
  }
});

// The texts behind which lists and reviews are, with the files that they come from.
test('the reasons of what is due and of broken rules are told in Spanish', async () => {
  const why = await read('words/why-es.js');
  const { BLANKS } = await import(`data:text/javascript,${encodeURIComponent(await readFile(path.join(APP, 'words/why-es.js'), 'utf8'))}`);
  const words = new Set(Object.values(BLANKS).flatMap((kind) => (kind instanceof RegExp ? [] : Object.keys(kind))));
  const told = why.flatMap(([english]) => literals(english)).filter((one) => one.length > 7);
  const files = ['book/due/eggs.rs', 'book/due/here.rs', 'book/due/tools.rs', 'book/due/suggest.rs', 'book/review/breach.rs',
    'trade/clock.rs', 'trade/dates.rs', 'trade/wash_check.rs', 'trade/wash.rs'];
  // What an error says of a field is no reason.
  const fields = /calendar|than this gather|lot code|letters or digits|water temperature|minutes in water|age of the water/;
  const untold = [];
  for (const file of files) {
    const whole = (await readFile(path.join('core/src', file), 'utf8')).split('#[cfg(test)]')[0];
    const text = whole.replace(/\\\n\s*/g, '').replace(/^\s*\/\/.*$/gm, '');
    for (const [, literal] of text.matchAll(/"((?:[^"\\]|\\.)*)"/g)) {
      // Of a text with figures, what stands around them.
      const parts = literal.split(/\{[^}]*\}/).map((one) => one.trim()).filter((one) => one.length > 15 && /\s\w+\s/.test(one));
      for (const part of parts) {
        const known = told.some((one) => one.includes(part) || part.includes(one.trim()));
        if (!known && !words.has(part) && !fields.test(part)) untold.push(`${file}: ${part}`);
      }
    }
  }
  assert.deepEqual(untold, []);
});

test('what becomes of an egg with a fault is told in Spanish, with the same figures', async () => {
  const { DISPOSITIONS } = await import(`data:text/javascript,${encodeURIComponent(await readFile(path.join(APP, 'words/why-es.js'), 'utf8'))}`);
  const table = (await readFile('core/src/trade/defect_table.rs', 'utf8')).split('#[cfg(test)]')[0].replace(/\\\n\s*/g, '');
  const rows = [...table.matchAll(/Defect::(\w+) => \(\s*row\([^"]*"([^"]+)"/g)];
  assert.ok(rows.length > 20);
  const code = (name) => name.replace(/\B[A-Z]/g, (c) => `_${c}`).toLowerCase();
  assert.deepEqual(Object.keys(DISPOSITIONS), rows.map(([, name]) => code(name)));
  const figures = (text) => text.match(/\d+[/.]?\d*/g) ?? [];
  for (const [, name, english] of rows) assert.deepEqual(figures(DISPOSITIONS[code(name)]), figures(english), name);
});

test('what the core can say has a word', async () => {
  const en = await read('words/en.js');
  const code = async (file, pattern) => [...(await readFile(file, 'utf8')).matchAll(pattern)].map(([, word]) => word);
  const wanted = {
    species: await code('core/src/trade/species.rs', /Species::\w+ => "(\w+)"/g),
    defect: await code('core/src/trade/defect.rs', /Defect::\w+ => "(\w+)"/g),
    means: await code('core/src/trade/means.rs', /Means::\w+ => "(\w+)"/g),
    use: await code('core/src/trade/defect_facts.rs', /Disposal::\w+ => "(\w+)"/g),
    rule: await code('core/src/book/review/breach.rs', /"(\w+_\w+)"(?:,|\.into\(\)), (?:Weight::|words)/g),
    due: (await code('core/src/book/due/mod.rs', /^    ([A-Z]\w+),$/gm)).map((word) => word.replace(/\B[A-Z]/g, (c) => `_${c}`).toLowerCase()),
    size: await code('core/src/trade/size/schemes.rs', /(?:class\(|\()"(\w+)", "[A-Z]/g),
  };
  for (const [stem, words] of Object.entries(wanted)) {
    assert.ok(words.length > 3, stem);
    // Sizes that are numbers need no word; `us` and `eu` are the schemes themselves.
    const bare = words.filter((word) => !/^(\d+|us|eu)$/.test(word));
    assert.deepEqual(bare.filter((word) => !(`${stem}.${word}` in en)), [], stem);
  }
});
