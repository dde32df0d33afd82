// Words for what records call by code, and numbers and dates the way the reader writes them.

// Numbers as the reader writes them. Days and months are words, and the page speaks English.
const english = navigator.languages.find((tag) => tag.startsWith("en")) ?? "en-GB";
const number = new Intl.NumberFormat();
const longDay = new Intl.DateTimeFormat(english, {
  weekday: "long", day: "numeric", month: "long", year: "numeric", timeZone: "UTC",
});
const plural = new Intl.PluralRules("en");

/** A number as the reader writes it. */
export const count = (n) => number.format(n);

/** "1 egg", "12 eggs". */
export const counted = (n, one, many) => `${count(n)} ${plural.select(n) === "one" ? one : many}`;

export const eggs = (n) => counted(n, "egg", "eggs");
export const cartons = (n) => counted(n, "carton", "cartons");

/** A farm day such as 2026-11-25, which has no time and no zone. */
export const day = (text) => {
  const [y, m, d] = text.split("-").map(Number);
  return longDay.format(new Date(Date.UTC(y, m - 1, d)));
};

/** A moment, in the farm's own zone. */
export const moment = (ms, zone) => {
  const shown = { dateStyle: "medium", timeStyle: "short", timeZone: zone };
  return new Intl.DateTimeFormat(english, shown).format(new Date(ms));
};

/** How long ago, roughly; nothing beyond two days. */
export const ago = (ms, now) => {
  const minutes = Math.max(0, Math.round((now - ms) / 60_000));
  if (minutes < 1) return "just now";
  if (minutes < 120) return `${counted(minutes, "minute", "minutes")} ago`;
  if (minutes < 48 * 60) return `${counted(Math.round(minutes / 60), "hour", "hours")} ago`;
  return "";
};

const WORDS = {
  hen: "Hens", duck: "Ducks", goose: "Geese", turkey: "Turkeys", guinea: "Guinea fowl", quail: "Quail",
  basket: "Not cleaned yet", clean: "Clean, not packed", cartoned: "In cartons",
  dung: "Droppings", egg_content: "Egg stuck on", bedding: "Litter stuck on", stain: "Stain that stays",
  impact_crack: "Knocked crack", hairline_crack: "Hairline crack", leaker: "Leaking",
  long: "Too long", round: "Too round", unknown_age: "Age not known", very_small: "Tiny",
  home: "Own kitchen", feed: "Feed", compost: "Compost", discard: "Thrown away", hatch: "Hatching",
  due_set_apart: "Held: set apart", due_cooler: "Look at the cooler", due_chill: "Into the cooler by",
  due_wash: "Clean by", due_candle: "Candle by", due_pack: "Pack by", due_sell: "Sell by",
  due_best_by: "Best by", due_hold_ends: "Hold ends", due_brush: "Replace the brush by",
  cloth: "Single-use cloth", paper_towel: "Paper towel", spray: "Spray", dry: "Dry cleaning",
};

/** The word for a code; a code that is not known yet in its own letters. */
export const word = (code) => {
  if (WORDS[code]) return WORDS[code];
  const text = code.replaceAll("_", " ");
  return text.charAt(0).toUpperCase() + text.slice(1);
};
