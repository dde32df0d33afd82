// The reader's language: words, numbers, days, temperatures, weights.

import en from './words/en.js';
import es from './words/es.js';
import whyEs, { BLANKS, DISPOSITIONS } from './words/why-es.js';

const ALL = { en, es };
export const LANGUAGES = { en: 'English', es: 'Español' };

const KEY = 'pointdown-language';
const wanted = () => localStorage.getItem(KEY) ?? navigator.languages.find((l) => ALL[l.slice(0, 2)]) ?? 'en';

let locale = wanted();
export const language = () => locale.slice(0, 2);
let words = ALL[language()] ?? en;
let plural = new Intl.PluralRules(locale);
let units = { temperature: 'C', weight: 'g', zone: undefined, currency: 'USD' };

export function speak(chosen) {
  localStorage.setItem(KEY, chosen);
  locale = chosen;
  words = ALL[language()] ?? en;
  plural = new Intl.PluralRules(locale);
  patterns = null;
  document.documentElement.lang = language();
}
document.documentElement.lang = language();

// The farm's units; a time is told as the farm's clocks show it.
export function useUnits(home) {
  const setting = home?.setting ?? {};
  units = {
    temperature: setting.temperature ?? 'C',
    weight: setting.weight ?? 'g',
    currency: setting.currency ?? 'USD',
    zone: home?.zone,
  };
}
export const unitOf = (what) => units[what];

// A text by its key. Where it differs by number, `n` decides; `{name}` is filled in.
export function t(key, values = {}) {
  let text = words[key] ?? en[key] ?? key;
  if (typeof text === 'object') text = text[plural.select(values.n)] ?? text.other;
  return text.replace(/\{(\w+)\}/g, (_, name) => {
    const value = values[name];
    return typeof value === 'number' ? num(value) : String(value ?? '');
  });
}

// The trade's reasons come in English from the core; those that are known are told in the reader's
// language, with their figures. `lang` says which language it came to be.
const WHY = { es: whyEs };
// Every reason for which eggs can be pulled: the faults, and what is no fault of the egg.
export const PULLED = Object.keys(en).filter((key) => key.startsWith('defect.')).map((key) => key.slice(7));
// It is named in a reason as in English, and told as it stands on its button.
const defects = () => Object.fromEntries(PULLED.map((one) => [one.replaceAll('_', ' '), t(`defect.${one}`)]));
const kindOf = (name) => (name === 'defect' ? defects() : BLANKS[name.replace(/\d+$/, '')]);
const plain = (text) => text.replace(/[.*+?^${}()|[\]\\]/g, '\\$&');
const pattern = (english) => new RegExp(english.split(/\{(\w+)\}/).map((part, i) => {
  if (i % 2 === 0) return plain(part);
  const kind = kindOf(part);
  return `(?<${part}>${kind instanceof RegExp ? kind.source : Object.keys(kind).map(plain).join('|')})`;
}).join(''), 'g');
let patterns = null;
export function reason(text) {
  if (!WHY[language()]) return { text, lang: 'en' };
  patterns ??= WHY[language()].map(([english, own]) => [pattern(english), own]);
  let told = text;
  for (const [found, own] of patterns) {
    told = told.replace(found, (...all) => {
      const values = all.at(-1);
      return own.replace(/\{(\w+)\}/g, (_, name) => {
        const kind = kindOf(name);
        return kind instanceof RegExp ? values[name] : kind[values[name]];
      });
    });
  }
  return { text: told, lang: told === text ? 'en' : language() };
}

// What becomes of an egg with a fault.
export function dispositionOf({ defect, disposition }) {
  const told = { es: DISPOSITIONS }[language()]?.[defect];
  return told ? { text: told, lang: language() } : { text: disposition, lang: 'en' };
}

export const has = (key) => key in words || key in en;
export const num = (n, digits = 0) => new Intl.NumberFormat(locale, { maximumFractionDigits: digits }).format(n);
export const percent = (n) => new Intl.NumberFormat(locale, { style: 'percent', maximumFractionDigits: 1 }).format(n);
export const money = (minor) => new Intl.NumberFormat(locale, { style: 'currency', currency: units.currency }).format(minor);

const utc = (day) => new Date(`${day}T00:00:00Z`);
export const day = (iso, form = { weekday: 'short', day: 'numeric', month: 'short' }) => (
  new Intl.DateTimeFormat(locale, { ...form, timeZone: 'UTC' }).format(utc(iso)));
export const time = (at) => (
  new Intl.DateTimeFormat(locale, { hour: 'numeric', minute: '2-digit', timeZone: units.zone }).format(new Date(at)));
export const dayAndTime = (at) => (
  new Intl.DateTimeFormat(locale, { weekday: 'short', hour: 'numeric', minute: '2-digit', timeZone: units.zone }).format(new Date(at)));
// A moment of some other week says its day of the month too.
export const moment = (at) => (Math.abs(at - Date.now()) < 6 * 86_400_000 ? dayAndTime(at)
  : new Intl.DateTimeFormat(locale, { day: 'numeric', month: 'short', hour: 'numeric', minute: '2-digit', timeZone: units.zone }).format(new Date(at)));
// A moment as the farm's clocks show it, in the form of a field for date and time.
export const wallTime = (at) => new Intl.DateTimeFormat('sv-SE', {
  year: 'numeric', month: '2-digit', day: '2-digit', hour: '2-digit', minute: '2-digit', hourCycle: 'h23', timeZone: units.zone,
}).format(new Date(at)).replace(' ', 'T');
// The farm day of a moment.
export const dayOf = (at) => new Intl.DateTimeFormat('en-CA', { timeZone: units.zone, dateStyle: 'short' }).format(new Date(at));

export const daysBetween = (from, to) => Math.round((utc(to) - utc(from)) / 86_400_000);
export const addDays = (iso, n) => new Date(utc(iso).getTime() + n * 86_400_000).toISOString().slice(0, 10);

// "today", "yesterday", or the day.
export function nearDay(iso, today) {
  const back = daysBetween(iso, today);
  if (back < 0 || back > 1) return day(iso);
  return new Intl.RelativeTimeFormat(locale, { numeric: 'auto' }).format(-back, 'day');
}
export const inDays = (n) => new Intl.RelativeTimeFormat(locale, { numeric: 'auto' }).format(n, 'day');

export const toShown = (celsius) => (units.temperature === 'F' ? celsius * 9 / 5 + 32 : celsius);
export const toCelsius = (shown) => (units.temperature === 'F' ? (shown - 32) * 5 / 9 : shown);
export const temp = (celsius, digits = 0) => `${num(toShown(celsius), digits)} °${units.temperature}`;

const OUNCE = 28.349523125;
export const toGrams = (shown) => (units.weight === 'oz' ? shown * OUNCE : shown);
export const weight = (grams) => (
  units.weight === 'oz' ? `${num(grams / OUNCE, 2)} oz` : `${num(grams, 1)} g`);

// What a person typed: one comma or point is a decimal sign.
export function readNumber(text) {
  const value = Number(String(text).trim().replace(',', '.'));
  return String(text).trim() === '' || Number.isNaN(value) ? null : value;
}

export const list = (items) => new Intl.ListFormat(locale, { type: 'conjunction' }).format(items);
