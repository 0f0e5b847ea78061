// Readings typed in a table, what they say, and the diary.

let readingPlace = null;
let calibrated = null, planned = null;

async function drawReadings() {
  let found;
  const version = seen.version;
  try { found = await ask("readings"); } catch (trouble) { by("readings-in").replaceChildren(make("p", { text: wordsOf(trouble) })); return; }
  await released();
  if (version !== seen.version) return;
  keepingFocus(() => by("readings-in").replaceChildren(
    make("p", { className: "quiet", text: "As the meter shows them: corrections are made here. Keep your face out of the beam. Readings at different places say more than many at one place." }),
    readingForm(), readingTable(found),
    make("p", { className: "acts" },
      make("button", { type: "button", className: "main-act", "data-key": "calibrate", disabled: !found.rows.length, text: "Calibrate by these readings", onclick: () => act("calibrate", {}, answer => { calibrated = answer.told; drawReadings(); }) }),
      make("button", { type: "button", "data-key": "survey", text: "Which readings would tell most?", onclick: survey })),
    pointsBox(calibrated, "What the readings say"), pointsBox(planned?.told, "Readings that would tell most"), plannedTable()));
}

function pointsBox(points, head) {
  if (!points?.length) return "";
  return make("div", { className: "note-box" }, make("h3", { text: head }), ...points.map(one => make("p", {}, one.about && make("b", { text: `${one.about}: ` }), one.text)));
}

async function survey(event) {
  event.target.disabled = true;
  try { planned = await ask("survey"); } catch (trouble) { refused(trouble); }
  drawReadings();
}

function plannedTable() {
  if (!planned?.rows?.length) return "";
  const heads = Object.keys(planned.rows[0]);
  return make("div", { className: "scroll", role: "region", tabIndex: 0, "aria-label": "Planned readings" }, make("table", {}, make("thead", {}, make("tr", {}, ...heads.map(text => make("th", { scope: "col", text })))),
    make("tbody", {}, ...planned.rows.map(row => make("tr", {}, ...heads.map(head => make("td", { text: row[head] })))))));
}

const meterNames = () => seen.meters.map(one => one.name);

function readingForm() {
  const places = [...seen.sites.map(site => site.name), ...seen.corals.filter(one => !one.site).map(one => one.name)];
  const place = keeps(make("select", { "data-key": "reading place" },
    readingPlace && make("option", { value: "", text: `the place clicked: ${shownLength(readingPlace.x_m)}, ${shownLength(readingPlace.y_m)}, ${shownLength(readingPlace.depth_m)} ${unit()}` }),
    ...places.map(name => make("option", { value: name, text: name }))));
  const value = keeps(make("input", { inputMode: "decimal", size: 7, "data-key": "reading value" }));
  const units = keeps(make("select", { "data-key": "reading unit" }, make("option", { value: "umol_m2_s", text: "µmol m⁻² s⁻¹" }), make("option", { value: "lux", text: "lux" })));
  const time = keeps(make("input", { size: 6, placeholder: "14:00", "data-key": "reading time" }));
  const meter = keeps(make("select", { "data-key": "reading meter" }, make("option", { value: "", text: "-" }), ...meterNames().map(name => make("option", { value: name, text: name }))));
  const about = keeps(make("input", { size: 16, "data-key": "reading note" }));
  const label = (text, input) => make("label", { className: "field" }, make("span", { text }), input);
  const add = () => {
    const at = place.value === "" ? readingPlace : null, was = { "reading value": value.value, "reading note": about.value };
    change({ do: "reading", site: place.value, ...(at ? { x_m: at.x_m, y_m: at.y_m, depth_m: at.depth_m } : {}), reading: value.value, unit: units.value, time: time.value, meter: meter.value, note: about.value }, () => {
      // What was typed meanwhile is the next reading, and stays.
      sent(...Object.keys(was).filter(key => halfTyped[key] === was[key]));
      drawReadings();
    });
  };
  return make("div", {}, make("div", { className: "fields" }, label("Place", place), label("Reading", value), label("Unit", units), label("Time of the programme", time), label("Meter", meter), label("Note", about)),
    make("p", { className: "acts" }, make("button", { type: "button", "data-key": "reading add", text: "Add this reading", onclick: add }), make("span", { className: "quiet", text: "A click into the tank offers any other place." })));
}

function readingAt(place) {
  readingPlace = place;
  sent("reading place");
  drawReadings().then(() => { by("readings").scrollIntoView(); document.querySelector('[data-key="reading value"]')?.focus(); });
}

function readingTable(found) {
  if (!found.rows.length) return make("p", { text: "No reading yet." });
  const kept = found.columns.map((name, k) => [name, k]).filter(([, k]) => found.rows.some(row => row[k]));
  return make("div", { className: "scroll", role: "region", tabIndex: 0, "aria-label": "Readings so far" }, make("table", {}, make("caption", { text: `${found.rows.length} readings in readings.csv` }),
    make("thead", {}, make("tr", {}, ...kept.map(([name]) => make("th", { scope: "col", text: name.replaceAll("_", " ") })), make("td"))),
    make("tbody", {}, ...found.rows.map((row, n) => make("tr", {}, ...kept.map(([name, k]) => make("td", {}, name === "reading"
      ? make("input", { className: "cell", "aria-label": `Reading ${n + 1}`, "data-key": `reading ${n}`, value: row[k], defaultValue: row[k], onchange: e => change({ do: "reading-cell", row: n, column: "reading", text: e.target.value }) })
      : row[k])),
      make("td", {}, make("button", { type: "button", text: "Take out", "aria-label": `Take out reading ${n + 1}`, onclick: () => change({ do: "no-reading", row: n }) })))))));
}

// ---- the diary ----------------------------------------------------------------------------------------------

let diary = null;
async function drawDiary(found) {
  try { diary = found ?? await ask("diary"); } catch (trouble) { refused(trouble); return; }
  await released();
  const text = keeps(make("input", { size: 40, "data-key": "tank note", "aria-label": "A note on the tank" }));
  const kind = make("select", { "data-key": "tank note kind", "aria-label": "Kind of note" }, make("option", { value: "care", text: "care" }), make("option", { value: "free", text: "anything else" }));
  keepingFocus(() => by("diary-in").replaceChildren(
    make("p", { className: "row" }, kind, text, make("button", { type: "button", text: "Note it", onclick: () => note({ coral: "", kind: kind.value, value: "", remark: text.value }) })),
    make("p", { className: "quiet", text: "Notes are written at once, and a diary is only ever added to. Saving keeps the state of the tank here, with your reason." }),
    diary.entries.length ? make("div", { className: "scroll", role: "region", tabIndex: 0, "aria-label": "Entries of the diary" }, make("table", {}, make("thead", {}, make("tr", {}, ...["day", "of", "entry"].map(head => make("th", { scope: "col", text: head })))),
      make("tbody", {}, ...diary.entries.map(one => make("tr", {}, make("th", { scope: "row", text: one.date }), make("td", { text: one.what }), make("td", { text: one.text })))))) : make("p", { text: "Nothing stands in the diary yet." }),
    diary.more ? make("p", { className: "quiet", text: `${diary.more} older entries: lightdose history tells them.` }) : ""));
}

async function note(what) {
  try {
    const found = await ask("note", what);
    tell(`Noted: ${found.noted}.`);
    sent("tank note", "coral note");
    for (const field of document.querySelectorAll('[data-key="coral note"]')) field.value = "";
    drawDiary(found);
    if (chosen?.kind === "coral") drawLife(chosen.name);
  } catch (trouble) { refused(trouble); }
}
