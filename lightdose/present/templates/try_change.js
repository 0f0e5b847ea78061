"use strict";
(() => {
const data = JSON.parse(document.getElementById("try-data").textContent);
const DAY = 24, MOL_PER_UMOL_S_H = 0.0036;
const byId = (id) => document.getElementById(`try-${id}`);
const today = { levels: data.channels.map((c) => c.today), all: 1, plateau: data.plateau };
let now = { ...today, levels: [...today.levels] };

// ---- Programmes: the arithmetic of lightdose/physics/programme.py, in the same order ----

const LEVEL_STEPS = 10000, SECONDS_PER_HOUR = 3600;
const rounded = (value, steps) => Math.floor(value * steps + 0.5) / steps;

// What can be set is hundredths of a percent; under an overall setting it and the levels are rounded each.
function triedLevels(c, factor, all) {
  if (factor * all === 1) return [...c.level];
  if (data.dial === null) return c.level.map((x) => Math.min(rounded(x * (factor * all), LEVEL_STEPS), 1));
  const overall = rounded(data.dial * all, LEVEL_STEPS);
  return c.level.map((x) => Math.min(rounded(x * factor / data.dial, LEVEL_STEPS) * overall, 1));
}

function triedPoints(c, level, all, more) {
  if (!c.time.length || !c.highest) return { t: c.time, v: c.level };
  const v = triedLevels(c, level / c.highest, all);
  const half = rounded(Math.min(Math.max(more, c.topChange[0]), c.topChange[1]) / 2, SECONDS_PER_HOUR);
  if (half === 0) return { t: c.time, v };
  const [first, last] = c.top;
  const t = c.time.slice(0, first + 1).map((x) => x - half);
  const late = c.time.slice(last).map((x) => x + half);
  const begin = c.time[first], end = c.time[last];
  const middle = (begin + end) / 2, stretch = (end - begin + 2 * half) / (end - begin);
  const early = t[first];
  for (let i = first + 1; i < last; i++) {
    const at = rounded(middle + (c.time[i] - middle) * stretch, SECONDS_PER_HOUR);
    t.push(Math.min(Math.max(at, early), late[0]));
  }
  t.push(...late);
  if (first === last) v.splice(first, 0, v[first]);
  const day = t[0] < 0 ? DAY : t[0] >= DAY ? -DAY : 0;
  return { t: t.map((x) => x + day), v };
}

// Output against time: dimming is linear between its knots, so points stand where a level crosses one.
function outputPoints(c, { t, v }) {
  const x = c.dimLevel, y = c.dimOutput, time = [], output = [];
  const dimmed = (level) => {
    let k = 1;
    while (k < x.length - 1 && x[k] < level) k++;
    return x[k] === level ? y[k] : y[k - 1] + (level - x[k - 1]) / (x[k] - x[k - 1]) * (y[k] - y[k - 1]);
  };
  t.forEach((at, i) => {
    if (i && at > t[i - 1]) {
      const from = v[i - 1], rise = v[i] - from, crossed = [];
      for (let k = 1; k < x.length - 1; k++) {
        if (x[k] > Math.min(from, v[i]) && x[k] < Math.max(from, v[i])) crossed.push(k);
      }
      if (rise < 0) crossed.reverse();
      for (const k of crossed) {
        time.push(t[i - 1] + (x[k] - from) / rise * (at - t[i - 1]));
        output.push(y[k]);
      }
    }
    time.push(at);
    output.push(dimmed(v[i]));
  });
  return { t: time, v: output };
}

const within = (t, v, i, at) =>
  at === t[i + 1] ? v[i + 1] : v[i] + (at - t[i]) / (t[i + 1] - t[i] || 1) * (v[i + 1] - v[i]);

// Points of a programme beyond midnight, brought to the day's beginning: [early, late].
function splitAtMidnight({ t, v }) {
  let left = 0, right = 0;
  while (left < t.length - 2 && t[left + 1] < DAY) left++;
  while (right < t.length - 2 && t[right + 1] <= DAY) right++;
  const early = [[0, within(t, v, right, DAY)]], late = [];
  t.forEach((at, i) => {
    if (at > DAY) early.push([Math.min(at - DAY, t[0]), v[i]]);
    if (at < DAY) late.push([at, v[i]]);
  });
  late.push([DAY, within(t, v, left, DAY)]);
  const [ends] = early[early.length - 1], [starts] = late[0];
  if (ends < starts) {
    early.push([ends, 0]);
    late.unshift([starts, 0]);
  }
  // At one time only the values before and after count.
  return [...early, ...late].filter(([at], i, all) =>
    !(i && i < all.length - 1 && all[i - 1][0] === at && all[i + 1][0] === at));
}

function folded(points) {
  const { t, v } = points;
  if (!t.length) return { t: [0, DAY], v: [0, 0] };
  const chain = t[t.length - 1] > DAY ? splitAtMidnight(points) : t.map((at, i) => [at, v[i]]);
  const [start, first] = chain[0], [end, last] = chain[chain.length - 1];
  if (start > 0) chain.unshift(...(first ? [[0, 0], [start, 0]] : [[0, 0]]));
  if (end < DAY) chain.push(...(last ? [[end, 0], [DAY, 0]] : [[DAY, 0]]));
  return { t: chain.map((p) => p[0]), v: chain.map((p) => p[1]) };
}

// ---- The day: outputs of all channels on the union of their breakpoints, linear between ----

function dayOf(settings) {
  const more = settings.plateau - data.plateau;
  const days = data.channels.map((c, i) =>
    folded(outputPoints(c, triedPoints(c, settings.levels[i], settings.all, more))));
  const edges = Float64Array.from(new Set([0, DAY, ...days.flatMap((d) => d.t)])).sort();
  const n = edges.length - 1;
  const channels = days.map(({ t, v }) => {
    const start = new Float64Array(n), end = new Float64Array(n);
    let hours = 0;
    for (let k = 0, i = 0; k < n; k++) {
      while (i < t.length - 2 && t[i + 1] <= edges[k]) i++;
      start[k] = within(t, v, i, edges[k]);
      end[k] = within(t, v, i, edges[k + 1]);
      hours += (edges[k + 1] - edges[k]) / 2 * (start[k] + end[k]);
    }
    return { start, end, hours };
  });
  return { edges, channels, pieces: hourPieces(edges) };
}

// Starts of one-hour windows, cut so that the window's ends each stay within one segment.
function hourPieces(edges) {
  const shifted = Array.from(edges, (e) => (e >= 1 ? e - 1 : e + DAY - 1));
  const starts = Float64Array.from(new Set([...edges, ...shifted])).sort();
  const pieces = [];
  for (let p = 0, i = 0, j = 0, turn = 0; p < starts.length - 1; p++) {
    const from = starts[p], to = starts[p + 1], middle = (from + to) / 2;
    while (edges[i + 1] < middle) i++;
    while (edges[j + 1] + turn < middle + 1) {
      j++;
      if (j === edges.length - 1) { j = 0; turn = DAY; }
    }
    pieces.push({ from, to, i, j, turn });
  }
  return pieces;
}

function lightAt(day, response) {
  const n = day.edges.length - 1, start = new Float64Array(n), end = new Float64Array(n);
  let dli = 0, peak = 0;
  day.channels.forEach((c, i) => {
    const r = response[i];
    if (!c.hours || !r) return;
    dli += r * (MOL_PER_UMOL_S_H * c.hours);
    for (let k = 0; k < n; k++) {
      start[k] += r * c.start[k];
      end[k] += r * c.end[k];
    }
  });
  for (let k = 0; k < n; k++) peak = Math.max(peak, start[k], end[k]);
  return { dli, peak, hour: brightestHour(day, start, end), start, end };
}

function brightestHour({ edges, pieces }, start, end) {
  const at = (k, x) => start[k] + (x - edges[k]) / (edges[k + 1] - edges[k]) * (end[k] - start[k]);
  let held = 0;
  for (let k = 0; edges[k] < 1; k++) {
    const to = Math.min(edges[k + 1], 1);
    held += (to - edges[k]) * (start[k] + at(k, to)) / 2;
  }
  let best = held;
  for (const { from, to, i, j, turn } of pieces) {
    const rises = at(j, from + 1 - turn) - at(i, from), falls = at(j, to + 1 - turn) - at(i, to);
    if (rises > 0 && falls < 0) {
      best = Math.max(best, held + (to - from) * rises * rises / (2 * (rises - falls)));
    }
    held += (to - from) * (rises + falls) / 2;
    best = Math.max(best, held);
  }
  return best;
}

function stateOf(row, dli) {
  if (!row.state || !row.band) return row.state;
  if (dli < row.band[0]) return row.floor !== null && dli < row.floor ? "far_below" : "below";
  if (dli <= row.band[1]) return "within";
  return row.ceiling !== null && dli > row.ceiling ? "far_above" : "above";
}

// ---- Words and numbers, rounded as Python does (an exact half goes to the even digit) ----

function fixed(value, decimals) {
  const text = value.toFixed(decimals);
  if (!Number.isInteger(value * 2 * 10 ** decimals)) return text;
  const rest = value.toFixed(60).slice(decimals ? decimals - 60 : -61).replace(".", "");
  if (!/^50*$/.test(rest) || Number(text.slice(-1)) % 2 === 0) return text;
  return (Number(text) - Math.sign(value) * 10 ** -decimals).toFixed(decimals);
}

function number(value) {
  if (value === 0) return "0";
  const magnitude = Math.floor(Math.log10(Math.abs(value)));
  const text = fixed(value, Math.max(0, Math.min(2 - magnitude, magnitude >= -1 ? 2 : 3)));
  return Number(text) === 0 ? "below 0.001" : text;
}

const percent = (level) => String(Number((100 * level).toFixed(2)));

function change(before, after) {
  if (!(before > 0)) return after > 0 ? "new" : "0 %";
  const share = 100 * (after / before - 1);
  if (Math.abs(share) < 0.5) return "0 %";
  return `${share > 0 ? "+" : "\u2212"}${fixed(Math.abs(share), 0)} %`;
}

function clock(hours) {
  const minutes = Math.round(60 * hours);
  return `${String(Math.floor(minutes / 60)).padStart(2, "0")}:${String(minutes % 60).padStart(2, "0")}`;
}

// ---- The schedule as CSV: a column a channel in percent, off outside its points ----

// The shortest time that is read back to the same float; past midnight with +1.
function timeText(hours) {
  for (let decimals = 0; ; decimals++) {
    const scale = 10 ** decimals, all = Math.round(hours * 3600 * scale);
    if (all / (3600 * scale) !== hours && decimals < 9) continue;
    const day = all >= 86400 * scale, ticks = day ? all - 86400 * scale : all;
    const seconds = Math.floor(ticks / scale), two = (x) => String(x).padStart(2, "0");
    let text = `${two(Math.floor(seconds / 3600))}:${two(Math.floor(seconds / 60) % 60)}`;
    if (seconds % 60 || ticks % scale) text += `:${two(seconds % 60)}`;
    if (ticks % scale) text += `.${String(ticks % scale).padStart(decimals, "0")}`;
    return day ? `${text}+1` : text;
  }
}

// The level's own digits, the point moved by two: it is rounded already where it was changed.
function percentText(level) {
  if (level === 0) return "0";
  const [digits, exponent] = level.toExponential().split("e");
  const all = digits.replace(".", ""), point = Number(exponent) + 3;
  if (point <= 0) return `0.${"0".repeat(-point)}${all}`;
  if (all.length <= point) return all.padEnd(point, "0");
  return `${all.slice(0, point)}.${all.slice(point)}`;
}

// All channels on one line of time of at most 24 h, those before its start a day later; null if none holds them.
function onOneLine(programmes) {
  for (const start of programmes.map(({ t }) => t[0]).sort((a, b) => a - b)) {
    if (!programmes.every(({ t }) => t[t.length - 1] - (t[0] < start ? 0 : DAY) <= start)) continue;
    return programmes.map(({ t, v }) => t.map((at, i) => [t[0] < start ? at + DAY : at, v[i]]));
  }
  return null;
}

function cutAtMidnight(programmes) {
  return programmes.map(({ t, v }) =>
    (t[t.length - 1] > DAY ? splitAtMidnight({ t, v }) : t.map((at, i) => [at, v[i]])));
}

// A level as it stands in a schedule: an overall setting is apart from it; where midnight cuts a ramp it may
// have four digits behind its point.
const overallNow = () => (data.dial === null ? 1 : rounded(data.dial * now.all, LEVEL_STEPS));
const asSet = (level) => Math.min(rounded(level / (overallNow() || 1), LEVEL_STEPS * 100), 1);

// The text of a schedule, and the channels that cannot be off within it although the page has them off.
function scheduleText(fixture) {
  const more = now.plateau - data.plateau, rows = new Map(), percents = [];
  const overall = data.dial === null ? [] : [percentText(overallNow())];
  const all = data.channels.slice(fixture.first, fixture.first + fixture.count)
    .map((c, i) => triedPoints(c, now.levels[fixture.first + i], now.all, more));
  const lit = all.flatMap(({ t }, column) => (t.length ? [column] : []));
  const put = (at, time, second, column, text) => {
    const key = `${time} ${second}`;
    if (!rows.has(key)) rows.set(key, { at, time, second, cells: [...Array(fixture.count).fill(""), ...overall] });
    rows.get(key).cells[column] = text;
  };
  const programmes = lit.map((column) => all[column]), whole = onOneLine(programmes);
  const lines = whole || cutAtMidnight(programmes);
  const glowing = whole ? [] : lit.map((column) => [data.channels[fixture.first + column], all[column].t])
    .filter(([c, t]) => c.dimOutput[0] > 0 && t[t.length - 1] > DAY).map(([c]) => c.shown);
  lines.forEach((chain, n) => chain.forEach(([at, level], i) => {
    const time = timeText(at);
    put(at, time, Number(i > 0 && timeText(chain[i - 1][0]) === time), lit[n], percentText(asSet(level)));
    percents.push(100 * asSet(level));
  }));
  if (!rows.size) [[0, "00:00"], [DAY, "00:00+1"]].forEach(([at, time]) => put(at, time, 0, 0, "0"));
  const order = [...rows.values()].sort((a, b) => a.at - b.at || a.second - b.second);
  const last = order[order.length - 1];
  all.forEach(({ t }, column) => { if (!t.length) order[0].cells[column] = last.cells[column] = "0"; });
  if (last.time === "00:00+1" && lines.every((chain) => chain[0][0] < DAY)) {
    for (const row of order) if (row.time === last.time) row.time = "24:00";
  }
  const doubtful = percents.some((p) => p > 0 && p < 1) && Math.max(...percents) <= 1;
  const body = order.map((row) => `${row.time},${row.cells.join(",")}\n`).join("");
  return { text: `${doubtful ? "# levels in percent\n" : ""}${fixture.header}${body}`, glowing };
}

function save(fixture) {
  const { text, glowing } = scheduleText(fixture), link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([text], { type: "text/csv" }));
  link.download = fixture.file;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  byId("saved").textContent = `Saved ${fixture.file}, the programme of ${fixture.name}.${glowing.length ?
    ` It runs around the clock, and ${glowing.join(", ")} glows at level 0: it gives a little more than shown here.` : ""}`;
}

// ---- The page ----

function make(tag, parent, text, marks = {}) {
  const element = document.createElement(tag);
  if (text !== undefined) element.textContent = text;
  for (const [name, value] of Object.entries(marks)) element.setAttribute(name, value);
  parent.append(element);
  return element;
}

const controls = [];

// One row of settings: a number box and a plain range that show one value.
function settingRow({ name, note, unit, min, max, step, get, set, parse, shown, disabled, today: before }) {
  const row = make("tr", byId("settings"), undefined, { role: "row" });
  const head = make("th", row, name, { scope: "row", role: "rowheader" });
  if (note) make("small", head, note);
  make("td", row, before, { role: "cell", class: "try-n try-today" });
  const box = make("input", make("td", row, undefined, { role: "cell", class: "try-box" }), undefined,
    { type: "number", min, max, step, inputmode: "decimal", autocomplete: "off", "aria-label": `${name}, ${unit}` });
  const slide = make("input", make("td", row, undefined, { role: "cell", class: "try-slide" }), undefined,
    { type: "range", min, max, step, autocomplete: "off", "aria-label": `${name}, slider, ${unit}` });
  const runs = make("td", row, "", { role: "cell", class: "try-n try-runs" });
  box.disabled = slide.disabled = Boolean(disabled);
  const show = (except) => {
    if (except !== box) box.value = shown(get());
    if (except !== slide) slide.value = shown(get());
    slide.setAttribute("aria-valuetext", `${shown(get())} ${unit}`);
  };
  const take = (input) => {
    if (Number.isNaN(input.valueAsNumber)) return;
    set(input.valueAsNumber < min ? parse(String(min)) : input.valueAsNumber > max ? parse(String(max)) : parse(input.value));
    show(input);
    update();
  };
  for (const input of [box, slide]) {
    input.addEventListener("input", () => take(input));
    input.addEventListener("change", () => { show(); arrange(); });
  }
  controls.push({ show, runs });
}

const asLevel = (text) => (/e/i.test(text) ? Number(text) / 100 : Number(`${text}e-2`));
const near = (value, before) => (Math.abs(value - before) < 2e-14 ? before : value);

function settingRows() {
  const dial = data.dial === null ? 1 : data.dial;
  settingRow({
    name: data.dial === null ? "All channels" : "Overall setting",
    note: data.dial === null ? "multiplies every level" : "of all fixtures; multiplies every level",
    unit: "percent", min: 0, max: data.dial === null ? 200 : 100, step: 1, today: `${percent(dial)} %`,
    get: () => now.all * dial, set: (x) => { now.all = near(x / dial, 1); }, parse: asLevel, shown: percent,
  });
  const lead = data.channels[data.leading];
  settingRow({
    name: "Plateau", note: `of ${lead.shown}, which gives most light`, unit: "hours",
    min: data.plateau + lead.topChange[0], max: data.plateau + lead.topChange[1], step: 0.25,
    today: `${Number(data.plateau.toFixed(2))} h`,
    disabled: lead.topChange[0] === lead.topChange[1],
    get: () => now.plateau, set: (x) => { now.plateau = x; }, parse: Number, shown: (x) => String(Number(x.toFixed(4))),
  });
  data.channels.forEach((c, i) => settingRow({
    name: c.shown, unit: "percent", min: 0, max: 100, step: 1, disabled: !c.highest,
    note: c.borrowed ? `off today; takes the shape of ${c.borrowed}` : c.highest ? "" : "has no shape to scale",
    today: `${percent(c.today / dial)} %`,
    get: () => now.levels[i] / dial, set: (x) => { now.levels[i] = near(x * dial, c.today); },
    parse: asLevel, shown: percent,
  }));
}

// ---- What it gives: a row a coral, those furthest off first ----

const lines = [];

// A bar with the usual range in its middle, and marks for today and now.
function rangeBar(parent) {
  const picture = svg("svg", parent, { viewBox: "-5 0 210 18", preserveAspectRatio: "none", "aria-hidden": "true", focusable: "false" });
  const [, floor, low, high, ceiling] = data.edges;
  svg("rect", picture, { class: "bar-limits", x: floor, y: 6, width: ceiling - floor, height: 6 });
  svg("rect", picture, { class: "bar-usual", x: low, y: 4, width: high - low, height: 10 });
  return { today: svg("path", picture, { class: "try-was" }), mark: svg("path", picture, {}) };
}

function onBar(row, dose) {
  const zones = row.zones, n = zones.length - 1;
  if (dose >= zones[n]) return data.edges[n];
  let k = 0;
  while (k < n - 1 && dose >= zones[k + 1]) k++;
  const share = zones[k + 1] > zones[k] ? (dose - zones[k]) / (zones[k + 1] - zones[k]) : 0;
  return data.edges[k] + share * (data.edges[k + 1] - data.edges[k]);
}

const DISC = "m-4.6 0a4.6 4.6 0 1 0 9.2 0a4.6 4.6 0 1 0-9.2 0z", DIAMOND = "m0-6.4l6.2 6.4l-6.2 6.4l-6.2-6.4z";

function resultRows() {
  data.rows.forEach((row, i) => {
    const line = make("tr", byId("results"), undefined, { role: "row", "data-row": i });
    const head = make("th", line, row.coral === null ? row.site : row.coral, { scope: "row", role: "rowheader" });
    if (row.coral !== null && row.coral !== row.site) make("small", head, `at ${row.site}`);
    const cell = (label, text, kind) =>
      make("td", line, text, { role: "cell", "data-label": label, ...(kind && { class: kind }) });
    const usual = cell("usual", row.band ? `${row.band[0]}\u2013${row.band[1]}` : "\u2013", "try-n try-usual");
    const bar = cell("", undefined, "try-bar");
    cell("today", number(row.dli), "try-n try-before-now");
    lines.push({
      line, usual, marks: row.zones ? rangeBar(bar) : null,
      dli: cell("now", "", "try-n try-now"), change: cell("change", "", "try-n try-change"),
      state: cell("state", "", "try-state"), peak: cell("peak", "", "try-n try-peak"),
    });
  });
}

const put = (element, text) => { if (element.textContent !== text) element.textContent = text; };

const isToday = () => now.all === today.all && now.plateau === today.plateau &&
  now.levels.every((level, i) => level === today.levels[i]);

const dayToday = data.leading === null ? null : dayOf(today);
const CONCERN = ["far_below", "far_above", "below", "above"];

// How far off a dose is: the state first, then how many times it lies outside its usual range.
function concern(row, state, dli) {
  if (row.coral === null) return -2;
  if (!row.band) return -1;
  const off = Math.max(row.band[0] / Math.max(dli, 1e-12), dli / row.band[1], 1);
  return (CONCERN.indexOf(state) < 0 ? 0 : state.startsWith("far") ? 2e12 : 1e12) + Math.log2(off);
}

let concerns = [];

// The worst first; not while a slider moves, so that no row runs away from the eye.
function arrange() {
  const order = lines.map((_, i) => i).sort((a, b) => concerns[b] - concerns[a] || a - b);
  byId("results").append(...order.map((i) => lines[i].line));
}

function update() {
  const same = isToday(), day = same ? dayToday : dayOf(now);
  const light = new Map(), counted = {}, rises = [];
  concerns = [];
  data.rows.forEach((row, i) => {
    if (!same && !light.has(row.at)) light.set(row.at, lightAt(day, data.response[row.at]));
    const { dli, peak, hour } = same ? row : light.get(row.at);
    const state = same ? row.state : stateOf(row, dli), cells = lines[i];
    if (row.coral !== null) {
      counted[state] = (counted[state] || 0) + 1;
      rises.push({ name: row.coral, before: row.dli, after: dli });
    }
    const bright = row.peakHigh !== null && hour > row.peakHigh;
    put(cells.dli, number(dli));
    put(cells.change, change(row.dli, dli));
    put(cells.state, state === null ? "no coral" : data.short[state] + (bright ? "; bright at midday" : ""));
    put(cells.peak, number(peak));
    cells.line.setAttribute("class", CONCERN.includes(state) ? "try-off" : "");
    if (cells.marks) {
      cells.marks.today.setAttribute("d", `M${onBar(row, row.dli).toFixed(1)} 2V16`);
      cells.marks.mark.setAttribute("d", `M${onBar(row, dli).toFixed(1)} 9${state === "within" ? DISC : DIAMOND}`);
      cells.marks.mark.setAttribute("class", `bar-mark${state === "within" || state.startsWith("far") ? " bar-full" : ""}`);
    }
    concerns.push(concern(row, state, dli));
  });
  let cut = 0;
  data.channels.forEach((c, i) => {
    const level = now.levels[i] * now.all;
    put(controls[i + 2].runs, !c.highest ? "\u2013" : level > 1 ? "100 %, cut" : `${percent(level)} %`);
    if (level > 1 && c.highest) cut++;
  });
  const before = same ? "" : ` Today ${data.rows.filter((row) => row.coral !== null && row.state === "within").length} ${data.words.within}, calculated.`;
  put(byId("now"), `${same ? "As today. " : ""}${sentence(counted)}${before}${cut ? ` Cut at 100 %: ${cut} of ${data.channels.length} channels.` : ""}`);
  const told = same ? [] : [...cautionsOfDose(rises), ...cautionsOfColour(day)];
  byId("caution").hidden = !told.length;
  put(byId("caution"), told.join(" "));
  draw(day);
}

function sentence(counted) {
  const order = ["within", "far_below", "below", "above", "far_above", "not_judged"];
  const parts = order.filter((state) => counted[state]).map((state) => `${counted[state]} ${data.words[state]}`);
  return parts.length ? `Calculated, corals: ${parts.join(", ")}.` : "No corals are named; the doses stand below.";
}

// ---- Cautions: corals follow more light over weeks, and the look of a tank is part of it ----

function cautionsOfDose(rises) {
  const more = rises.filter((r) => r.after > r.before * (data.aWeek + 1e-9));
  const least = rises.filter((r) => r.after < r.before * (1 - data.atOnce - 1e-9));
  const told = [];
  if (more.length) {
    const most = more.reduce((a, b) => (b.after * a.before > a.after * b.before ? b : a));
    const ratio = most.before > 0 ? most.after / most.before : Infinity;
    const weeks = Math.ceil(Math.log(ratio) / Math.log(data.aWeek) - 1e-9);
    const pace = Number.isFinite(weeks) ? `: take ${weeks} ${weeks === 1 ? "week" : "weeks"} for it, at most 10 % more a week` : ", at most 10 % more a week";
    told.push(`Caution: ${more.length} ${more.length === 1 ? "coral gets" : "corals get"} over 10 % more light, ${most.name} most (${change(most.before, most.after)})${pace} (common practice, no published source).`);
  }
  if (least.length) {
    told.push(`Caution: ${least.length} ${least.length === 1 ? "coral loses" : "corals lose"} more than half of the light: do it in steps (our choice).`);
  }
  return told;
}

function shareOf(colour, day) {
  let part = 0, whole = 0;
  day.channels.forEach((c, i) => { part += colour.part[i] * c.hours; whole += colour.whole[i] * c.hours; });
  return whole > 0 ? part / whole : null;
}

function cautionsOfColour(day) {
  const told = [], moved = [];
  for (const colour of data.colours) {
    const before = shareOf(colour, dayToday), after = shareOf(colour, day);
    if (before === null || after === null) continue;
    const beyond = (share) => (colour.atLeast ? share < colour.bound - 1e-9 : share > colour.bound + 1e-9);
    const limit = `usually ${colour.atLeast ? "at least" : "at most"} ${fixed(100 * colour.bound, 0)} % (our choice)`;
    if (beyond(after)) told.push(`Caution: ${colour.name} is ${number(100 * after)} % of the photons, ${limit}; today ${number(100 * before)} %.`);
    else if (Math.abs(after - before) >= data.seen) moved.push(`${colour.name} from ${fixed(100 * before, 0)} to ${fixed(100 * after, 0)} %`);
  }
  if (moved.length) told.push(`The colour changes too: ${moved.join(", ")} of the photons. The tank looks different, and corals may take on other colours.`);
  return told;
}

// ---- The day curve of one place ----

function svg(tag, parent, marks, text) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(marks)) element.setAttribute(name, value);
  if (text !== undefined) element.textContent = text;
  parent.append(element);
  return element;
}

function chain(day, row) {
  const { start, end, peak } = lightAt(day, data.response[row.at]), points = [];
  start.forEach((value, k) => points.push([day.edges[k], value], [day.edges[k + 1], end[k]]));
  return { points, peak };
}

function lit({ points, peak }) {
  if (!(peak > 0)) return "no light";
  const [at] = points.find(([, value]) => value >= peak * (1 - 1e-12));
  return `peak ${number(peak)} at ${clock(at)}`;
}

function draw(day) {
  const row = data.rows[byId("place").selectedIndex], holder = byId("curve");
  const width = Math.max(260, Math.round(holder.clientWidth)), height = 210;
  const left = 44, right = width - 14, top = 12, bottom = height - 36;
  const curves = [chain(dayToday, row), chain(day, row)];
  const highest = Math.max(curves[0].peak, curves[1].peak, 1);
  const unit = 10 ** Math.floor(Math.log10(highest / 4));
  const step = [1, 2, 2.5, 5, 10].map((x) => x * unit).find((x) => highest / x <= 5);
  const most = Math.ceil(highest / step) * step;
  const x = (h) => (left + (right - left) * h / DAY).toFixed(1);
  const y = (p) => (bottom - (bottom - top) * p / most).toFixed(1);
  const words = `Now ${lit(curves[1])}; today ${lit(curves[0])} \u00b5mol m\u207b\u00b2 s\u207b\u00b9.`;
  const picture = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  for (const [name, value] of Object.entries({
    viewBox: `0 0 ${width} ${height}`, width, height, role: "img", "aria-labelledby": "try-curve-title try-curve-words",
  })) picture.setAttribute(name, value);
  svg("title", picture, { id: "try-curve-title" }, `Day curve of ${row.coral === null ? row.site : row.coral}`);
  svg("desc", picture, { id: "try-curve-words" }, words);
  for (let value = 0; value <= most * 1.001; value += step) {
    svg("line", picture, { x1: left, x2: right, y1: y(value), y2: y(value), class: "try-rule" });
    svg("text", picture, { x: left - 6, y: Number(y(value)) + 4, "text-anchor": "end" }, String(Number(value.toFixed(2))));
  }
  for (let hour = 0; hour <= DAY; hour += 3) {
    svg("line", picture, { x1: x(hour), x2: x(hour), y1: bottom, y2: bottom + 4, class: "try-tick" });
    if (width > 420 || hour % 6 === 0) {
      svg("text", picture, { x: x(hour), y: bottom + 17, "text-anchor": "middle" }, String(hour));
    }
  }
  svg("text", picture, { x: (left + right) / 2, y: height - 4, "text-anchor": "middle" }, "hour of the day");
  ["try-before", "try-after"].forEach((kind, i) => svg("polyline", picture,
    { class: kind, points: curves[i].points.map(([h, p]) => `${x(h)},${y(p)}`).join(" ") }));
  holder.replaceChildren(picture);
  put(byId("words"), words);
}

function begin() {
  byId("body").hidden = false;
  settingRows();
  resultRows();
  for (const row of data.rows) {
    make("option", byId("place"), row.coral === null || row.coral === row.site ? row.site : `${row.coral}, at ${row.site}`);
  }
  if (data.leftOut) put(byId("left-out"), `${data.leftOut} more: too many for this part, see the tables.`);
  for (const fixture of data.fixtures) {
    make("button", byId("save"), `Save the programme of ${fixture.name}`, { type: "button" })
      .addEventListener("click", () => save(fixture));
  }
  byId("reset").addEventListener("click", () => {
    now = { ...today, levels: [...today.levels] };
    controls.forEach((control) => control.show());
    update();
    arrange();
  });
  byId("place").addEventListener("change", update);
  window.addEventListener("resize", update);
  controls.forEach((control) => control.show());
  update();
  arrange();
  // The browser compiles what has run: one day calculated in an idle moment makes the first touch a quick one.
  setTimeout(() => {
    const day = dayOf({ ...today, all: 0.5 });
    data.rows.forEach((row) => lightAt(day, data.response[row.at]));
  }, 100);
}

if (data.leading === null || !data.rows.length) byId("none").hidden = false;
else begin();
})();
