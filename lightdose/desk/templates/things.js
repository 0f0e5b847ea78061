// Cards and fields: what is known of a thing, key by key.

const FIRST_KEYS = { coral: ["group", "genus", "height", "diameter", "form", "faces"], fixture: ["at.height", "at.x", "at.y", "output_scale", "enabled"], rock: ["shape", "size.x", "size.y", "size.z", "at.x", "at.y", "at.height", "at.depth", "reflectance"] };
const SINGLES = [["tank", "The tank"], ["water", "The water"], ["cover", "A cover"], ["electricity", "Electricity"], ["uncertainty", "How well things are known"], ["setup", "Names of files"]];
const SEVERAL = [["fixture", "Lamps"], ["rock", "Rock"], ["site", "Places"], ["rack", "Racks"], ["brace", "Braces"], ["meter", "Meters"]];

const LABELS = { group: "What it is", genus: "What it is", "at.x": "From the left", "at.y": "From the front", "at.depth": "Depth", "at.height": "Height", open_sky: "Open sky", dli_band: "Its own usual dose", peak_max: "Its own highest light",
  keep_apart: "Distance to neighbours", pinned: "Stays where it is", faces: "Faces", form: "Form of the colony", diameter: "Width of the colony", passes: "Light through the colony", "growth.diameter": "Grows wider, a month", "growth.height": "Grows taller, a month",
  previous: "Dose it lived in before", on: "Stands on", output_scale: "Share of its output", enabled: "Is lit", turn_deg: "Turned, degrees", "at.rotation_deg": "Turned, degrees", "size.x": "Size along the tank", "size.y": "Size front to back", "size.z": "Size upwards" };
const fieldLabel = path => LABELS[path] ?? `${path[0].toUpperCase()}${path.slice(1).replaceAll("_", " ").replace(".", ", ")}`;

// A coral is named by its genus or by its group: one field says what it is.
function asOneKind(form) {
  if (form.table !== "coral") return form;
  const other = form.fields.find(one => one.path === "genus")?.value ? "group" : "genus";
  const kept = form.fields.find(one => one.path === (other === "group" ? "genus" : "group"));
  if (!kept) return form;
  const given = { ...kept, meaning: "genus, group or trade name", choices: (seen.groups ?? []).map(one => one.key) };
  return { ...form, fields: form.fields.filter(one => one.path !== other).map(one => (one === kept ? given : one)) };
}

function fieldsOf(form, send, only) {
  return form.fields.filter(one => !only || only.includes(one.path)).map(one => typedField({
    key: `${form.table} ${form.of} ${form.name} ${one.path}`, kind: one.kind, choices: one.choices, value: one.value, example: one.example, label: fieldLabel(one.path),
    note: one.meaning }, text => send(one.path, text)));
}

function formBox(given, lead) {
  const form = asOneKind(given);
  const send = (key, text) => change({ do: "set", table: form.table, name: form.name, of: form.of, key, text });
  const first = lead?.filter(path => form.fields.some(one => one.path === path));
  const rest = form.fields.filter(one => !first?.includes(one.path)).map(one => one.path);
  const only = form.only.filter(one => one.value !== "").map(one => make("li", {}, make("b", { text: one.path }), ` ${one.value} `, make("span", { className: "quiet", text: `in the file only: ${one.why}` })));
  return [
    make("div", { className: "fields" }, ...fieldsOf(form, send, first ?? undefined)),
    first && rest.length ? make("details", { "data-key": `more ${form.table} ${form.of} ${form.name}` }, make("summary", { text: "All its keys" }), make("div", { className: "fields" }, ...fieldsOf(form, send, rest))) : "",
    only.length ? make("ul", { className: "plain quiet" }, ...only) : "",
    make("p", { className: "quiet", text: `in ${form.file}` }),
  ];
}

// ---- the card of what is chosen -----------------------------------------------------------------------------

function choose(kind, name, view) {
  const same = chosen?.kind === kind && chosen.name === name;
  chosen = { kind, name };
  if (best && best.name !== name) best = null;
  const coral = kind === "coral" && seen.corals.find(one => one.name === name);
  redraw();
  if (coral) { setDepth(coral.depth_m - coral.height_m); setY(coral.y_m); }
  if (view) document.querySelector(`[data-view="${view}"] [data-mark="${CSS.escape(`${kind} ${name}`)}"]`)?.focus({ preventScroll: true });
  else if (!same && kind !== "unplaced") by("tank").scrollIntoView({ block: "start" });
}

const openThing = (kind, name) => {
  const box = document.querySelector(`details[data-key="several ${kind}"]`);
  if (box) { box.open = true; showThing(kind, name); box.scrollIntoView(); }
};

function drawCardHead() {
  const coral = chosen?.kind === "coral" && seen.corals.find(one => one.name === chosen.name), box = by("card-head");
  if (!coral || !box) return;
  box.replaceChildren(
    make("p", {}, make("b", { text: coral.words }), `: ${coral.dli} mol m⁻² d⁻¹${coral.by_light ? ` ${coral.by_light}` : ""}${coral.usual ? `, usual ${coral.usual}` : ""}; ${coral.peak} µmol m⁻² s⁻¹ at the brightest.`),
    make("div", { className: "range" }, coral.bar ? barOf(coral.bar) : ""),
    make("p", { text: coral.advice }));
}

let cardForm = null;
async function drawCard() {
  const box = by("card"), bench = document.querySelector(".bench");
  const shown = chosen && ["coral", "fixture", "rock"].includes(chosen.kind) && (chosen.kind !== "coral" || seen.corals.some(one => one.name === chosen.name)) && (chosen.kind !== "fixture" || thingOf("fixture", chosen.name)) && (chosen.kind !== "rock" || thingOf("rock", chosen.name));
  if (bench.classList.contains("with-card") !== Boolean(shown)) { bench.classList.toggle("with-card", Boolean(shown)); drawTank(); }
  box.hidden = !shown;
  if (!shown) { box.replaceChildren(); box.dataset.of = ""; return; }
  const { kind, name } = chosen, key = `${kind} ${name}`;
  if (box.dataset.of !== key) sent("coral note");
  let form = null;
  try { form = await ask("form", { table: kind, name }); } catch (trouble) { refused(trouble); }
  await released();
  if (`${chosen?.kind} ${chosen?.name}` !== key) return;
  const other = box.dataset.of !== key;
  box.dataset.of = key;
  cardForm = form;
  keepingFocus(() => {
    box.replaceChildren(
      make("h2", { id: "card-title", text: name }),
      kind === "coral" ? make("div", { id: "card-head" }) : "",
      make("p", { className: "acts" },
        kind === "coral" && make("button", { type: "button", "data-key": "where", text: "Where could this coral go?", onclick: e => whereTo(name, e.target) }),
        make("button", { type: "button", "data-key": "out", text: "Take out", onclick: () => { chosen = null; change({ do: "drop", table: kind, name }); } }),
        make("button", { type: "button", "data-key": "close card", text: "Close", onclick: () => { chosen = null; best = null; redraw(); } })),
      kind === "coral" && best?.name === name ? bestList() : "",
      kind === "coral" ? noteBox(name) : "",
      ...(form ? formBox(form, FIRST_KEYS[kind]) : []),
      ...(kind === "fixture" ? kindBoxes(name) : []),
      kind === "coral" ? make("div", { id: "life" }) : "");
    drawCardHead();
  });
  if (kind === "coral" && (other || !by("life")?.childElementCount)) drawLife(name);
}

function bestList() {
  if (!best.places.length) return make("p", { text: "No free place was found that would suit it better." });
  const free = best.places.some(one => !one.site) ? make("p", { className: "quiet", text: "Places without a name lie free in the water: is there something to stand on?" }) : "";
  return make("div", {}, free, make("ol", { className: "plain" }, ...best.places.map((one, n) => make("li", {},
    make("button", { type: "button", className: "linkish", "data-key": `best ${n}`, text: one.site || `${shownLength(one.x_m)}, ${shownLength(one.y_m)}, ${shownLength(one.depth_m)} ${unit()} deep`, onclick: () => takeBest(one) }),
    ` ${one.dli} mol m⁻² d⁻¹, ${one.state} by the stated values${one.neighbours.length ? `; near ${one.neighbours.slice(0, 3).join(", ")}` : ""}`))));
}

function noteBox(name) {
  const button = (kind, value) => make("button", { type: "button", text: `${value}`, "aria-label": `${kind} ${value}`, onclick: () => note({ coral: name, kind, value: `${value}`, remark: "" }) });
  const text = keeps(make("input", { size: 22, "data-key": "coral note", "aria-label": `A note on ${name}` }));
  return make("div", {}, make("h3", { text: "Note what it shows today" }),
    make("p", { className: "row" }, "colour, pale to dark ", ...[1, 2, 3, 4, 5, 6].map(n => button("colour", n))),
    make("p", { className: "row" }, "open, closed to wide ", ...[0, 1, 2, 3].map(n => button("open", n))),
    make("p", { className: "row" }, text, make("button", { type: "button", text: "Note it", onclick: () => note({ coral: name, kind: "free", value: "", remark: text.value }) })));
}

async function drawLife(name) {
  let found;
  try { found = await ask("life", { coral: name }); } catch { return; }
  const box = by("life");
  if (!box || chosen?.name !== name) return;
  box.replaceChildren();
  if (!found.spells.length && !found.notes.length) return;
  box.append(make("h3", { text: "What it lived in" }));
  if (found.sentence) box.append(make("p", { text: found.sentence }));
  if (found.spells.length) box.append(lifeDrawing(name, found.spells));
  if (found.notes.length) box.append(make("ul", { className: "plain" }, ...found.notes.slice(-8).reverse().map(one => make("li", { text: [one.date, one.kind === "free" ? "" : one.kind, one.value, one.remark].filter(Boolean).join(" ") }))));
}

function lifeDrawing(name, spells) {
  const wide = 420, high = 130, left = 34, low = 22, day = text => Date.parse(text) / 864e5;
  const first = day(spells[0].from), end = Math.max(day(spells.at(-1).until), first + 1), most = Math.max(...spells.map(s => s.dli)) * 1.1 || 1;
  const x = d => left + (wide - left - 8) * (d - first) / (end - first), y = v => high - low - (high - low - 8) * v / most;
  const d = spells.map((s, n) => `${n ? "L" : "M"}${x(day(s.from)).toFixed(1)} ${y(s.dli).toFixed(1)}H${x(Math.max(day(s.until), day(s.from))).toFixed(1)}`).join("");
  return draw("svg", { class: "day", viewBox: `0 0 ${wide} ${high}`, role: "img", "aria-label": `Daily dose of ${name} from ${spells[0].from} to ${spells.at(-1).until}` },
    draw("path", { class: "axis-line", d: `M${left} ${y(0)}H${wide - 8}M${left} ${y(most / 1.1)}H${wide - 8}` }),
    draw("text", { x: left - 4, y: y(0) + 4, "text-anchor": "end", text: "0" }), draw("text", { x: left - 4, y: y(most / 1.1) + 4, "text-anchor": "end", text: (most / 1.1).toPrecision(2) }),
    draw("text", { x: left, y: high - 6, text: spells[0].from }), draw("text", { x: wide - 8, y: high - 6, "text-anchor": "end", text: spells.at(-1).until }),
    draw("path", { class: "curve", d }));
}

// The kind of a lamp, and its channels: what all lamps of that kind share.
function kindBoxes(lamp) {
  const one = thingOf("fixture", lamp), boxes = [["kind", "", "Its kind, shared by all lamps of that file"], ...one.channels.map(name => ["channel", name, `Channel ${name}`])];
  return boxes.map(([table, name, head]) => {
    const inner = make("div"), key = `of ${lamp} ${table} ${name}`;
    const fill = async () => {
      try { const form = await ask("form", { table, name, of: lamp }); inner.replaceChildren(...formBox(form)); }
      catch (trouble) { inner.replaceChildren(make("p", { text: wordsOf(trouble) })); }
    };
    return make("details", { "data-key": key, ontoggle: e => { if (e.target.open) fill(); } }, make("summary", { text: head }), inner);
  });
}

// ---- everything else ----------------------------------------------------------------------------------------

const opened = {};

function drawRest() {
  const lists = { fixture: seen.fixtures.map(one => one.name), rock: seen.rocks.filter(one => !one.coral).map(one => one.name), site: seen.sites.filter(one => !one.rack).map(one => one.name),
    rack: seen.named?.rack ?? [], brace: seen.named?.brace ?? [], meter: meterNames() };
  keepingFocus(() => by("rest-in").replaceChildren(
    make("details", { "data-key": "files", ontoggle: e => { if (e.target.open) showFiles(); } }, make("summary", { text: "The files as they would be written" }), make("div", { id: "file-texts" })),
    ...SINGLES.map(([table, head]) => make("details", { "data-key": `single ${table}`, ontoggle: e => { if (e.target.open) showSingle(table); } }, make("summary", { text: head }), make("div", { id: `single-${table}` }))),
    ...SEVERAL.map(([table, head]) => make("details", { "data-key": `several ${table}`, ontoggle: e => { if (e.target.open && opened[table]) showThing(table, opened[table]); } },
      make("summary", { text: `${head}: ${lists[table].length}` }),
      make("p", { className: "row" }, make("label", {}, "Look at ", make("select", { "data-key": `pick ${table}`, onchange: e => showThing(table, e.target.value) }, make("option", { value: "", text: "-" }), ...lists[table].map(name => make("option", { value: name, text: name, selected: name === opened[table] })))),
        table !== "meter" && make("button", { type: "button", "data-key": `new ${table}`, text: "Add one", onclick: () => newThing(table) }),
        table !== "meter" && make("button", { type: "button", "data-key": `less ${table}`, text: "Take it out", onclick: () => { if (opened[table]) { const name = opened[table]; opened[table] = ""; change({ do: "drop", table, name }); } } })),
      make("div", { id: `several-${table}` })))));
}

async function showFiles() {
  try {
    const { files } = await ask("files");
    by("file-texts")?.replaceChildren(make("p", { className: "quiet", text: "What no field on this page holds is changed in the files, with a text editor; the desk notices." }),
      ...files.map(one => make("details", { "data-key": `file ${one.file}` }, make("summary", { text: one.file }), make("pre", { className: "lines", tabIndex: 0, text: one.whole ? one.text : `${one.text}\n…` }))));
  } catch (trouble) { refused(trouble); }
}

async function showSingle(table) {
  try {
    const form = await ask("form", { table });
    await released();
    keepingFocus(() => by(`single-${table}`)?.replaceChildren(...formBox(form)));
  } catch (trouble) { refused(trouble); }
}

async function showThing(table, name) {
  opened[table] = name;
  const box = by(`several-${table}`);
  if (!name) { box?.replaceChildren(); return; }
  try {
    const form = await ask("form", { table, name });
    await released();
    if (opened[table] === name) keepingFocus(() => by(`several-${table}`)?.replaceChildren(make("h3", { text: name }), ...formBox(form)));
  } catch (trouble) { refused(trouble); }
}

function newThing(table) {
  const t = seen.tank, mid = [t.length_m / 2, t.width_m / 2, t.depth_m / 2].map(shownLength);
  const taken = new Set([...seen.sites, ...seen.fixtures, ...seen.rocks].map(one => one.name));
  let n = 1;
  while (taken.has(`${table} ${n}`)) n += 1;
  const name = `${table} ${n}`, small = shownLength(0.1), sample = seen.fixtures[0] && seen.named?.fixture?.[0];
  const values = {
    site: { name, "at.x": mid[0], "at.y": mid[1], "at.depth": mid[2] },
    rack: { name: String.fromCharCode(65 + (n + 15) % 26), "corner.x": small, "corner.y": small, "corner.depth": mid[2], "pitch.x": shownLength(0.05), "pitch.y": shownLength(0.05), columns: "4", rows: "2" },
    rock: { name, shape: "ellipsoid", "at.x": mid[0], "at.y": mid[1], "at.height": small, "size.x": small, "size.y": small, "size.z": small },
    brace: { name, "from.x": mid[0], "from.y": "0", "to.x": mid[0], "to.y": shownLength(t.width_m), width: shownLength(0.05) },
    fixture: sample && { name, type: sample.type, schedule: sample.schedule, "at.x": mid[0], "at.y": mid[1], "at.height": shownLength(0.2) },
  }[table];
  if (!values) { tell("A first lamp is described in the file: lightdose guide fixture."); return; }
  change({ do: "add", table, values }, () => { opened[table] = table === "rack" ? values.name : name; openThing(table, opened[table]); });
}
