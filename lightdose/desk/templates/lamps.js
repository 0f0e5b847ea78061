// The programme as a table of times and levels, the overall setting, and the day drawn beside it.

let programmes = null;

async function drawLamps() {
  const version = seen.version;
  let found;
  try { found = await ask("programmes"); } catch (trouble) { by("lamps-in").replaceChildren(make("p", { text: wordsOf(trouble) })); return; }
  await released();
  if (version !== seen.version) return;
  programmes = found;
  keepingFocus(() => by("lamps-in").replaceChildren(
    make("div", { className: "split" }, make("div", {}, ...hoursAndOverall(found)), dayDrawing(found.day)),
    ...found.programmes.map(programmeTable)));
}

function hoursAndOverall(found) {
  const dials = found.programmes.map(one => one.overall);
  const alike = dials.every(one => one === dials[0]);
  const fixtures = found.programmes.flatMap(one => one.fixtures);
  const send = (names, text) => {
    const percent = Number.parseFloat(text.replace(",", "."));
    if (!Number.isFinite(percent)) { tell("The overall setting is a number of percent."); return; }
    change({ do: "overall", fixtures: names, percent });
  };
  const longer = keeps(make("input", { className: "cell", inputMode: "decimal", value: "0.5", "data-key": "hours", "aria-label": "Hours" }));
  const hours = sign => {
    const value = Number.parseFloat(longer.value.replace(",", "."));
    if (!Number.isFinite(value)) { tell("Hours are a number, such as 0.5."); return; }
    change({ do: "hours", longer_h: sign * value });
  };
  const boxes = alike
    ? [overallBox("Overall setting of all lamps", fixtures, dials[0], send)]
    : found.programmes.map(one => overallBox(`Overall setting: ${one.fixtures.join(", ")}`, one.fixtures, one.overall, send));
  return [
    make("p", { className: "quiet", text: "Whatever is changed here is tried at once on all corals, and written only when you save." }),
    ...boxes,
    make("p", { className: "row" }, "Full light ", make("button", { type: "button", "data-key": "longer", text: "longer by", onclick: () => hours(1) }), make("button", { type: "button", "data-key": "shorter", text: "shorter by", onclick: () => hours(-1) }), longer, " h"),
  ];
}

function overallBox(label, fixtures, value, send) {
  const shown = value === null ? "100" : `${Math.round(value * 10) / 10}`;
  return make("p", { className: "row" }, make("label", {}, `${label} `,
    make("input", { className: "cell", inputMode: "decimal", "data-key": `overall ${fixtures.join(" ")}`, value: shown, defaultValue: shown, onchange: e => send(fixtures, e.target.value) }), " %"));
}

function programmeTable(one) {
  const fixture = one.fixtures[0];
  const caption = `${one.fixtures.join(", ")}: levels in percent`;
  if (one.points) return pointsTable(one, fixture, caption);
  const head = make("tr", {}, make("th", { scope: "col", text: "time" }), ...one.columns.map(name => make("th", { scope: "col", className: "n", text: name === "all_channels" ? "overall" : name })), make("td"));
  const set = (row, column, text) => change({ do: "level", fixture, row, column, text });
  const rows = one.rows.map((row, n) => make("tr", {},
    make("th", { scope: "row" }, make("input", { className: "cell time", "aria-label": `Time of row ${n + 1}`, "data-key": `t ${fixture} ${n}`, value: row.time, defaultValue: row.time, onchange: e => set(n, "time", e.target.value) })),
    ...row.levels.map((level, k) => make("td", { className: "n" }, make("input", { className: "cell", inputMode: "decimal", "aria-label": `${one.columns[k]} at ${row.time}`, "data-key": `l ${fixture} ${n} ${k}`, value: level, defaultValue: level, onchange: e => set(n, one.columns[k], e.target.value) }))),
    make("td", {}, make("button", { type: "button", text: "Take out", "aria-label": `Take out the row at ${row.time}`, onclick: () => change({ do: "no-row", fixture, row: n }) }))));
  const time = keeps(make("input", { className: "cell time", placeholder: "14:30", "data-key": `new row ${fixture}`, "aria-label": "Time of a new row" }));
  const add = () => {
    const before = one.rows.findIndex(row => row.time > time.value);
    change({ do: "row", fixture, time: time.value, before: before < 0 ? one.rows.length : before }, () => sent(`new row ${fixture}`));
  };
  return make("div", {}, make("div", { className: "scroll", role: "region", tabIndex: 0, "aria-label": caption },
    make("table", {}, make("caption", { text: caption }), make("thead", {}, head), make("tbody", {}, ...rows))),
    make("p", { className: "row" }, "A further row at ", time, make("button", { type: "button", text: "Add", onclick: add }), make("span", { className: "quiet", text: `in ${one.file}` })));
}

function pointsTable(one, fixture, caption) {
  const rows = one.points.flatMap(({ channel, points }) => points.map(([time, level], n) => make("tr", {},
    make("th", { scope: "row", text: n ? "" : channel }),
    make("td", {}, make("input", { className: "cell time", "aria-label": `Time of point ${n + 1} of ${channel}`, "data-key": `pt ${fixture} ${channel} ${n}`, value: time, defaultValue: time, onchange: e => change({ do: "level", fixture, row: n, column: "time", channel, text: e.target.value }) })),
    make("td", {}, make("input", { className: "cell", inputMode: "decimal", "aria-label": `${channel} at ${time}`, "data-key": `pl ${fixture} ${channel} ${n}`, value: level, defaultValue: level, onchange: e => change({ do: "level", fixture, row: n, column: channel, text: e.target.value }) })))));
  return make("div", { className: "scroll", role: "region", tabIndex: 0, "aria-label": caption }, make("table", {}, make("caption", { text: `${caption} (points in ${one.file}; an overall setting gives them a file of their own)` }),
    make("thead", {}, make("tr", {}, make("th", { scope: "col", text: "channel" }), make("th", { scope: "col", text: "time" }), make("th", { scope: "col", text: "level" }))), make("tbody", {}, ...rows)));
}

function dayDrawing(day) {
  if (!day.length) return make("p", { className: "quiet", text: "The day is drawn once a coral has a place." });
  const wide = 460, high = 210, left = 40, right = 8, top = 10, low = 26;
  const most = Math.max(1, ...day.flatMap(one => one.points.map(p => p[1])));
  const x = h => left + (wide - left - right) * h / 24, y = v => high - low - (high - low - top) * v / most;
  const svg = draw("svg", { class: "day", viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": `Light through the day: ${day.map(one => `${one.name} ${one.dli} mol m⁻² d⁻¹`).join("; ")}` });
  for (let h = 0; h <= 24; h += 3) svg.append(draw("path", { class: "axis-line", d: `M${x(h)} ${top}V${high - low}` }), draw("text", { x: x(h), y: high - 8, "text-anchor": "middle", text: `${h}` }));
  const step = [10, 20, 50, 100, 200, 500, 1000].find(n => most / n <= 5) ?? 2000;
  for (let v = 0; v <= most; v += step) svg.append(draw("path", { class: "axis-line", d: `M${left} ${y(v)}H${wide - right}` }), draw("text", { x: left - 5, y: y(v) + 4, "text-anchor": "end", text: `${v}` }));
  day.forEach((one, n) => svg.append(draw("path", { class: `curve${["", " second", " third"][n]}`, d: one.points.map(([h, v], i) => `${i ? "L" : "M"}${x(h).toFixed(1)} ${y(v).toFixed(1)}`).join("") })));
  return make("figure", {}, make("figcaption", { text: "The day at three corals, µmol m⁻² s⁻¹ against the hour" }), svg,
    make("p", { className: "key" }, ...day.map((one, n) => make("span", {}, draw("svg", { viewBox: "0 0 16 16", "aria-hidden": "true", class: "day" }, draw("path", { class: `curve${["", " second", " third"][n]}`, d: "M0 8H16" })), `${one.name}: ${one.dli} mol m⁻² d⁻¹`))));
}
