// The kitchen screen: asks for a day's totals, shows them, and asks again when there is news.

import { ago, cartons, count, counted, day as dayText, eggs, moment, word } from "./words.js";

const $ = (id) => document.getElementById(id);
const GUARD = { "pointdown-screen": "1" };

let shown = null; // what was last shown
let chosen = null; // the chosen day; none follows today
let source = null; // the event stream
let asking = 0; // counts requests, so that a late answer does not overwrite a newer one

// --- building the page ------------------------------------------------------------------------

/** An element; a string among the children becomes text, never markup. */
function el(tag, attributes = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== undefined && value !== false) node.setAttribute(name, value);
  }
  node.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return node;
}

/** The server's words begin small and end open, since a program may put them anywhere. */
const sentence = (text) => text && `${text.charAt(0).toUpperCase()}${text.slice(1)}.`;

const entries = (object) => Object.entries(object).filter(([, n]) => n !== 0);
const sum = (object) => Object.values(object).reduce((a, b) => a + b, 0);
const kinds = (object) => entries(object).map(([code, n]) => `${word(code)}\u00a0${count(n)}`).join(", ");

/** A table; a column named with # at its end holds numbers. The first cell of a row heads it. */
function table(caption, columns, rows, none) {
  const box = el("div", { class: "card" });
  if (rows.length === 0) {
    box.append(el("h2", {}, caption), el("p", { class: "none" }, none));
    return box;
  }
  const head = columns.map((name) => name.endsWith("#")
    ? el("th", { scope: "col", class: "num" }, name.slice(0, -1))
    : el("th", { scope: "col" }, name));
  const cell = (value, n) => {
    if (n === 0) return el("th", { scope: "row" }, value);
    if (value instanceof Node) return value;
    return el("td", { class: columns[n].endsWith("#") ? "num" : undefined }, value);
  };
  box.append(el("table", {},
    el("caption", {}, caption),
    el("thead", {}, el("tr", {}, head)),
    el("tbody", {}, rows.map((row) => el("tr", {}, row.map(cell)))),
  ));
  return box;
}

const totals = (caption, first, object, none) =>
  table(caption, [first, "Eggs#"],
    entries(object).sort((a, b) => b[1] - a[1]).map(([code, n]) => [word(code), count(n)]), none);

/** Nothing logged is not known; it is never shown as zero. */
const nobody = (data) =>
  data.day === data.today ? "nobody has gathered yet" : "no gather was logged";

function candle(data) {
  const { gathered } = data.sheet;
  const flocks = gathered.by_coop;
  const unknown = flocks.filter((flock) => flock.eggs === null);
  const known = flocks.length > unknown.length;
  const isToday = data.day === data.today;
  const text = count(gathered.eggs);
  const egg = known
    ? el("p", { class: "egg fresh" }, el("b", { class: text.length > 4 ? "long" : undefined }, text),
        el("span", {}, gathered.eggs === 1 ? "egg gathered" : "eggs gathered"))
    : el("p", { class: "egg unknown" },
        el("b", {}, nobody(data)));
  const kindsList = Object.entries(gathered.by_species).map(([code, n]) =>
    el("li", {}, `${word(code)} `, el("b", {}, count(n))));
  const missing = known && unknown.length > 0
    ? el("p", { class: "waiting" }, isToday
        ? `${counted(unknown.length, "flock is", "flocks are")} still to be gathered`
        : `${counted(unknown.length, "flock", "flocks")} without a logged round: not known, not zero`)
    : null;
  return el("section", { class: "candle card", "aria-label": "Eggs gathered" }, egg,
    kindsList.length > 0 ? el("ul", { class: "kinds" }, kindsList) : null, missing);
}

function place(kind, title, n, details, odd = false) {
  return el("li", { class: `place card ${kind}${odd ? " odd" : ""}` },
    el("h3", {}, title), el("p", { class: "n" }, count(n)),
    details.filter((text) => text).map((text) => el("p", {}, text)));
}

function onHand(data) {
  const station = (code) => {
    const here = data.sheet.on_hand.filter((row) => row.station === code);
    const by = Object.fromEntries(here.map((row) => [row.species, row.eggs]));
    const odd = here.some((row) => row.eggs < 0);
    return place(code, word(code), sum(by),
      [kinds(by), odd ? "More eggs left here than ever came: look for a slip in the log." : ""], odd);
  };
  return [
    el("h2", { id: "hand" }, data.day === data.today ? "On hand now" : "On hand at the day’s end"),
    el("ol", { class: "flow", "aria-labelledby": "hand" }, ["basket", "clean", "cartoned"].map(station)),
  ];
}

function moved(data) {
  const { sheet } = data;
  // What came back is no egg out of the house.
  const { returned = 0, ...gone } = sheet.out.eggs;
  const boxes = sheet.cartoned.reduce((all, run) => all + run.cartons, 0);
  const packedEggs = sheet.cartoned.reduce((all, run) => all + run.eggs, 0);
  const places = [
    place("pulled", "Pulled", sheet.pulled.eggs, [kinds(sheet.pulled.by_use)]),
    place("washed", "Cleaned", sum(sheet.washed), [kinds(sheet.washed)]),
    place("packed", boxes === 1 ? "Carton packed" : "Cartons packed", boxes, [packedEggs ? eggs(packedEggs) : ""]),
    place("out", "Out of the house", sum(gone), [kinds(gone), returned ? `${eggs(returned)} came back` : ""]),
  ];
  return [
    el("h2", { id: "moved" }, data.day === data.today ? "Done today" : "Done that day"),
    el("ol", { class: "flow four", "aria-labelledby": "moved" }, places),
  ];
}

function unaccounted(data) {
  const lost = entries(data.sheet.unaccounted);
  if (lost.length === 0) return null;
  const said = lost.map(([code, n]) => `${word(code)}: ${eggs(Math.abs(n))} ${n > 0 ? "missing" : "too many"}`);
  return el("p", { class: "card odd lost" }, el("b", {}, "Not accounted for. "),
    `A recount found ${said.join(", ").toLowerCase()}.`);
}

function coops(data) {
  const isToday = data.day === data.today;
  const rows = data.sheet.gathered.by_coop;
  const floor = rows.some((row) => row.floor_laid > 0);
  const columns = ["Coop", "Birds", "Eggs#", ...(floor ? ["Off the nest#"] : [])];
  return table("Gathered, coop by coop", columns, rows.map((row) => row.eggs === null
    ? [row.name, word(row.species), el("td", { class: "nobody num", colspan: floor ? 2 : 1 },
        isToday ? "nobody has gathered yet" : "not known")]
    : [row.name, word(row.species), count(row.eggs), ...(floor ? [count(row.floor_laid)] : [])]),
  isToday ? "No coop has been set up yet." : "No coop was in use that day.");
}

function packed(data) {
  const rows = data.sheet.cartoned.map((run) => {
    const size = run.size ? word(run.size).toLowerCase() : "no size given";
    return [`${word(run.species)}, ${size}, ${count(run.eggs_per_carton)} in each`,
      count(run.cartons), count(run.eggs)];
  });
  return table("Packed into cartons", ["What", "Cartons#", "Eggs#"], rows, "No cartons were packed.");
}

function gone(data) {
  const { eggs: loose, cartons: boxed } = data.sheet.out;
  const rows = Object.entries(loose).map(([way, n]) =>
    [word(way), boxed[way] ? count(boxed[way]) : "–", count(n)]);
  return table("Out of the house", ["How", "Cartons#", "Eggs#"], rows, "No eggs left.");
}

/** Until when, in the farm's own zone; a limit in days ends with its last day. */
function until(line, zone) {
  if (line.due === null) return "no date";
  const last = ["pack", "sell", "best_by", "hold_ends"].includes(line.what);
  return last ? `end of ${moment(line.due - 1, zone).replace(/,[^,]*$/, "")}` : moment(line.due, zone);
}

/** What is due next, each line with its rule and where that is from. */
function due(data) {
  const lines = data.next_due?.due ?? [];
  const box = el("section", { class: "card due", "aria-labelledby": "due" }, el("h2", { id: "due" }, "Due next"));
  if (lines.length === 0) {
    box.append(el("p", { class: "none" }, "Nothing is due."));
    return box;
  }
  const since = (line) => ["set_apart", "cooler"].includes(line.what);
  const item = (line) => {
    const late = line.overdue && !since(line);
    const what = [
      line.eggs > 0 ? eggs(line.eggs) : "",
      line.species ? word(line.species).toLowerCase() : "",
      line.place ? word(line.place).toLowerCase() : "",
      line.code ?? (line.lot ? line.lot.slice(0, 10) : ""),
      line.name ?? "",
      line.held === "may" ? "some may be held" : "",
    ].filter((text) => text).join(", ");
    return el("li", { class: late || since(line) ? "late" : undefined },
      el("p", {}, el("b", {}, word(`due_${line.what}`)), " ",
        since(line) ? `since ${moment(line.due, data.zone)}` : until(line, data.zone),
        late ? el("strong", {}, " overdue") : null),
      el("p", {}, what),
      el("p", { class: "small" }, line.why.map((why) => `${why.rule} (${why.source})`).join("; ")));
  };
  const cautions = [...new Set([...lines.map((line) => line.caution), data.next_due.caution])];
  box.append(el("ol", {}, lines.map(item)), ...cautions.map((text) => el("p", { class: "small" }, text)));
  return box;
}

/** What of the list makes the page anew: not the ages, which rise every minute. */
const dueNow = (data) => JSON.stringify(data.next_due?.due.map((line) =>
  [line.what, line.due, line.overdue, line.eggs, line.lot, line.run, line.held]));

function show(data) {
  const fresh = !shown || dueNow(shown) !== dueNow(data) || shown.sheet_hash !== data.sheet_hash || shown.day !== data.day;
  const { sheet } = data;
  const isToday = data.day === data.today;
  $("farm").textContent = data.name ?? "The farm’s set-up has not come yet";
  $("day").textContent = (isToday ? "Today, " : "") + dayText(data.day);
  const known = sheet.gathered.by_coop.some((flock) => flock.eggs !== null);
  const gathered = known ? `${eggs(sheet.gathered.eggs)} gathered` : nobody(data);
  document.title = `${gathered} · ${dayText(data.day)}`;
  $("previous").disabled = !data.previous;
  $("next").disabled = !data.next;
  $("today").setAttribute("aria-pressed", String(isToday));
  if (fresh) {
    $("totals").replaceChildren(
      el("div", { class: "glance" }, candle(data),
        el("div", { class: "stations" }, onHand(data), moved(data), unaccounted(data))),
      data.next_due ? due(data) : "",
      el("div", { class: "tables" },
        coops(data),
        totals("Gathered by", "Person", sheet.gathered.by_person, "No gather was logged."),
        packed(data),
        totals("Pulled, and why", "Reason", sheet.pulled.by_reason, "No egg was pulled."),
        totals("Cleaned", "How", sheet.washed, "No egg was cleaned."),
        gone(data)),
    );
    $("said").textContent = `${dayText(data.day)}: ${gathered}.`;
  }
  synced(data);
  for (const [id, hide] of [["totals", false], ["foot", false], ["days", false], ["door", true]]) {
    $(id).hidden = hide;
  }
  shown = data;
}

function synced(data) {
  const heard = data.phones.map((phone) => phone.heard_at).filter((at) => at !== null);
  const at = (ms) => [moment(ms, data.zone), ago(ms, data.now)].filter((t) => t).join(", ");
  $("synced").textContent = heard.length > 0
    ? `Last synced ${at(Math.max(...heard))}. What a phone has not synced yet is not in here.`
    : "No phone has synced yet.";
  $("phones").replaceChildren(...data.phones.map((phone) => el("li", {}, el("b", {}, phone.name), " ",
    phone.heard_at === null ? "has not synced yet" : at(phone.heard_at))));
}

// --- asking the server ------------------------------------------------------------------------

function trouble(text) {
  $("trouble").textContent = text;
  $("trouble").hidden = text === "";
}

async function load() {
  const mine = ++asking;
  const query = chosen ? `?day=${encodeURIComponent(chosen)}` : "";
  let answer;
  try {
    answer = await fetch(`/kitchen/sheet${query}`, { cache: "no-store" });
  } catch {
    if (mine === asking) {
      trouble("The server cannot be reached. What you see may be old; it tries again by itself.");
    }
    return;
  }
  const data = await answer.json().catch(() => null);
  if (mine !== asking) return;
  if (answer.status === 401) return askForInvite();
  if (!answer.ok || data === null) return trouble(sentence(data?.message ?? `the server answered ${answer.status}`));
  trouble("");
  show(data);
  listen();
}

/** News comes as events; the totals are asked for anew each time. */
function listen() {
  if (source && source.readyState !== EventSource.CLOSED) return;
  source = new EventSource("/kitchen/events");
  source.addEventListener("newer", load);
  source.addEventListener("error", load);
}

function askForInvite(why = "") {
  source?.close();
  source = null;
  shown = null;
  trouble("");
  for (const id of ["totals", "foot", "days"]) $(id).hidden = true;
  $("farm").textContent = "Eggs";
  $("day").textContent = "The kitchen screen";
  $("door").hidden = false;
  $("code-wrong").textContent = sentence(why);
  $("code").focus();
}

async function join(code) {
  let answer;
  try {
    answer = await fetch("/kitchen/join", {
      method: "POST",
      headers: { ...GUARD, "content-type": "application/json" },
      body: JSON.stringify({ invite: code }),
    });
  } catch {
    return askForInvite("the server cannot be reached; try again");
  }
  if (answer.ok) return load();
  const refused = await answer.json().catch(() => null);
  askForInvite(refused?.message ?? `the server answered ${answer.status}`);
}

function go(day) {
  chosen = day === shown?.today ? null : day;
  history.replaceState(null, "", chosen ? `#day=${chosen}` : "/");
  load();
}

$("previous").addEventListener("click", () => go(shown.previous));
$("next").addEventListener("click", () => go(shown.next));
$("today").addEventListener("click", () => go(shown.today));
$("join").addEventListener("submit", (event) => {
  event.preventDefault();
  join($("code").value);
});
$("leave").addEventListener("click", async () => {
  if (!confirm("Forget this screen? It needs a new invite to show the totals again.")) return;
  await fetch("/kitchen/leave", { method: "POST", headers: GUARD }).catch(() => null);
  load();
});

/** The address may carry an invite or a day. An invite leaves the address before anything else. */
function start() {
  const place = new URLSearchParams(location.hash.slice(1));
  const invite = place.get("invite");
  const day = place.get("day");
  chosen = /^\d{4}-\d{2}-\d{2}$/.test(day ?? "") ? day : null;
  if (invite) {
    history.replaceState(null, "", "/");
    join(invite);
  } else {
    load();
  }
}

window.addEventListener("hashchange", start);
// A new day begins without any news.
setInterval(() => { if ($("door").hidden) load(); }, 60_000);
start();
