// A new tank: eight questions.

const begun = { channels: [], rows: [["09:00"], ["12:00"], ["18:00"], ["21:00"]], corals: [] };
const SHADES = ["royal blue", "blue", "cool white", "violet"];

function drawFirst() {
  const box = by("first");
  firstGroups = seen.groups_to_choose ?? [];
  if (!begun.channels.length) begun.channels = SHADES.map(colour => ({ name: colour, colour, leds: "" }));
  const get = {};
  const input = (key, label, given = {}, noteText) => {
    const one = make("input", { inputMode: "decimal", "data-key": `first ${key}`, ...given });
    get[key] = () => one.value.trim();
    return make("label", { className: "field" }, make("span", { text: label }), one, noteText && make("small", { text: noteText }));
  };
  const select = (key, label, options, noteText) => {
    const one = make("select", { "data-key": `first ${key}` }, ...options.map(([value, text]) => make("option", { value, text })));
    get[key] = () => one.value;
    return make("label", { className: "field" }, make("span", { text: label }), one, noteText && make("small", { text: noteText }));
  };
  const kinds = [["clean", "clear glass"], ["painted", "painted or film bonded outside"], ["dark", "overgrown or dark inside"]];
  const channels = make("div"), programme = make("div"), coralBox = make("div"), taken = make("p", { className: "quiet", role: "status" });
  get.channels = () => begun.channels;
  const drawProgramme = () => programme.replaceChildren(programmeQuestion());
  const drawChannels = () => { channels.replaceChildren(channelQuestion(drawChannels, drawProgramme)); drawProgramme(); };
  drawAdder(coralBox, corals => { begun.corals = corals; taken.textContent = `${corals.length} corals are taken over. They get their places once the tank is drawn.`; }, "Take these");
  const turned = make("input", { type: "checkbox", "data-key": "first across" });
  get.across = () => turned.checked;
  box.replaceChildren(
    make("h1", { className: "headline", id: "first-title", text: "A new tank in eight questions" }),
    make("p", { text: "No file of the tank is written before you save. The light stands on typical values until you measure; every answer can be changed later." }),
    question(1, "What is the tank called, and how large is it inside?", sizeSketch(),
      make("div", { className: "fields" }, input("title", "Name", { inputMode: "text", placeholder: "Tank in the window" }), select("unit", "Lengths in", [["cm", "centimetres"], ["in", "inches"]]),
        input("length", "Length, left to right", { placeholder: "100" }), input("width", "Width, front to back", { placeholder: "50" }))),
    question(2, "How deep is the water?", make("div", { className: "fields" }, input("water_depth", "From the surface to the floor", { placeholder: "45" }), input("rim", "Dry glass above the water", { placeholder: "3" }), select("floor", "Floor", [["sand", "sand"], ["bare", "bare glass or dark gravel"]]))),
    question(3, "What are the panes like?", make("div", { className: "fields" }, ...["front", "back", "left", "right"].map(side => select(`wall_${side}`, side, side === "back" ? [kinds[1], kinds[0], kinds[2]] : kinds)))),
    question(4, "How many lamps, how large is what shines, and how high do they hang?", make("div", { className: "fields" }, input("lamps", "Lamps, side by side", { value: "1" }), input("lamp_length", "Length of the shining area", { placeholder: "40" }), input("lamp_width", "Its width", { placeholder: "18" }), input("height", "Height above the water", { placeholder: "20" })),
      make("label", { className: "check" }, turned, make("span", { text: "They stand across the tank" }))),
    question(5, "Which colours has a lamp, and what does it draw in all?", make("div", { className: "fields" }, input("watts", "Watts of one lamp, all channels at full", { placeholder: "120" })), channels),
    question(6, "What does the controller run?", make("div", { className: "fields" }, input("overall", "Its overall setting in percent", { value: "100" }, "100 where it has none")), programme),
    question(7, "Which corals live in it?", coralBox, taken),
    question(8, "What do you measure light with?", make("div", { className: "fields" }, select("meter", "Meter", [["none", "nothing yet"], ["umol", "a meter of µmol m⁻² s⁻¹"], ["lux", "a lux meter or telephone"]]))),
    make("p", { className: "acts" }, make("button", { type: "button", className: "main-act", "data-key": "first go", text: "Draw this tank", onclick: () => sendFirst(get) })));
  drawChannels();
}

const question = (n, text, ...inner) => make("fieldset", {}, make("legend", { text: `${n}. ${text}` }), ...inner);

function sizeSketch() {
  const text = (x, y, words, anchor = "middle") => draw("text", { x, y, "text-anchor": anchor, text: words });
  return draw("svg", { class: "sketch", viewBox: "-30 0 380 200", role: "img", "aria-label": "A tank: length from left to right, width from front to back, both inside the glass; water depth from the surface to the floor; the lamp's height above the water" },
    draw("path", { class: "wet", d: "M40 90H230L280 55H90Z M40 90V165H230V90Z M230 90L280 55V130L230 165Z" }),
    draw("path", { class: "thick", d: "M40 70V165H230V70M230 165L280 130V35M40 70L90 35H280L230 70Z" }),
    draw("path", { class: "thin", d: "M40 178H230M40 174v8M230 174v8M238 172L288 137M235 168l6 8M285 133l6 8M28 90V165M24 90h8M24 165h8" }),
    text(135, 194, "length"), text(288, 168, "width", "start"), text(22, 132, "depth", "end"), draw("path", { class: "thick", d: "M120 12h80v8h-80z" }), draw("path", { class: "thin", d: "M160 22V70M156 22h8M156 70h8" }), text(208, 20, "height above the water", "start"));
}

function channelQuestion(again, programme) {
  const colours = seen.colours ?? [];
  const set = (n, key, value) => { begun.channels[n][key] = value; if (key === "name") programme(); };
  return make("div", {}, make("div", { className: "scroll", role: "region", tabIndex: 0, "aria-label": "Channels" }, make("table", {}, make("thead", {}, make("tr", {}, make("th", { scope: "col", text: "channel, as the controller calls it" }), make("th", { scope: "col", text: "colour" }), make("th", { scope: "col", text: "LEDs, if known" }), make("td"))),
    make("tbody", {}, ...begun.channels.map((one, n) => make("tr", {},
      make("td", {}, make("input", { value: one.name, size: 14, "aria-label": `Name of channel ${n + 1}`, "data-key": `first channel ${n}`, onchange: e => set(n, "name", e.target.value) })),
      make("td", {}, make("select", { "aria-label": `Colour of channel ${n + 1}`, "data-key": `first colour ${n}`, onchange: e => set(n, "colour", e.target.value) }, ...colours.map(word => make("option", { value: word, text: word, selected: word === one.colour })))),
      make("td", {}, make("input", { className: "cell", inputMode: "decimal", value: one.leds, "aria-label": `LEDs of channel ${n + 1}`, "data-key": `first leds ${n}`, onchange: e => set(n, "leds", e.target.value) })),
      make("td", {}, make("button", { type: "button", text: "Take out", "aria-label": `Take out channel ${n + 1}`, onclick: () => { begun.channels.splice(n, 1); begun.rows.forEach(row => row.splice(n + 1, 1)); again(); } })))))) ),
    make("button", { type: "button", text: "Another channel", "data-key": "first more channels", onclick: () => { const colour = colours.find(word => !begun.channels.some(one => one.name === word)) ?? colours[0]; begun.channels.push({ name: colour, colour, leds: "" }); again(); } }));
}

function programmeQuestion() {
  const rows = begun.rows;
  const cell = (n, k, given) => make("input", { value: rows[n][k] ?? "", defaultValue: rows[n][k] ?? "", "data-key": `first row ${n} ${k}`, onchange: e => { rows[n][k] = e.target.value; }, ...given });
  const table = make("div");
  const again = () => table.replaceChildren(make("div", { className: "scroll", role: "region", tabIndex: 0, "aria-label": "Programme" }, make("table", {}, make("caption", { text: "Levels in percent; from row to row the light runs evenly" }),
    make("thead", {}, make("tr", {}, make("th", { scope: "col", text: "time" }), ...begun.channels.map(one => make("th", { scope: "col", className: "n", text: one.name })), make("td"))),
    make("tbody", {}, ...rows.map((_, n) => make("tr", {}, make("th", { scope: "row" }, cell(n, 0, { className: "cell time", "aria-label": `Time of row ${n + 1}` })),
      ...begun.channels.map((one, k) => make("td", { className: "n" }, cell(n, k + 1, { className: "cell", inputMode: "decimal", "aria-label": `${one.name} in row ${n + 1}` }))),
      make("td", {}, make("button", { type: "button", text: "Take out", "aria-label": `Take out row ${n + 1}`, onclick: () => { rows.splice(n, 1); again(); } }))))))),
    make("button", { type: "button", text: "Another row", onclick: () => { rows.push([...(rows.at(-1) ?? [""])]); again(); } }));
  again();
  return table;
}

function sendFirst(get) {
  const walls = Object.fromEntries(["front", "back", "left", "right"].map(side => [side, get[`wall_${side}`]()]));
  const words = Object.fromEntries(["title", "unit", "length", "width", "water_depth", "rim", "floor", "lamps", "lamp_length", "lamp_width", "height", "watts", "overall", "meter"].map(key => [key, get[key]()]));
  const last = begun.rows.length - 1;
  const rows = begun.rows.map((row, n) => ({ time: row[0] ?? "", levels: begun.channels.map((_, k) => row[k + 1] || (n === 0 || n === last ? "0" : "")) }));
  change({ do: "begin", ...words, walls, across: get.across(), channels: begun.channels, rows, corals: begun.corals }, () => {
    if (seen.unplaced?.length) choose("unplaced", seen.unplaced[0].name);
  });
}
