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

test('what the core can say has a word', async () => {
  const en = await read('words/en.js');
  const code = async (file, pattern) => [...(await readFile(file, 'utf8')).matchAll(pattern)].map(([, word]) => word);
  const wanted = {
    species: await code('core/src/trade/species.rs', /Species::\w+ => "(\w+)"/g),
    defect: await code('core/src/trade/defect.rs', /Defect::\w+ => "(\w+)"/g),
    means: await code('core/src/trade/means.rs', /Means::\w+ => "(\w+)"/g),
    use: await code('core/src/trade/defect_facts.rs', /Disposal::\w+ => "(\w+)"/g),
    rule: await code('core/src/book/review/breach.rs', /"(\w+_\w+)"(?:,|\.into\(\)), (?:Weight::|words)/g),
    size: await code('core/src/trade/size/schemes.rs', /(?:class\(|\()"(\w+)", "[A-Z]/g),
  };
  for (const [stem, words] of Object.entries(wanted)) {
    assert.ok(words.length > 3, stem);
    // Sizes that are numbers need no word; `us` and `eu` are the schemes themselves.
    const bare = words.filter((word) => !/^(\d+|us|eu)$/.test(word));
    assert.deepEqual(bare.filter((word) => !(`${stem}.${word}` in en)), [], stem);
  }
});
