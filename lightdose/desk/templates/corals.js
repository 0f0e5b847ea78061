// The sentence, and the list of corals with their range bars, those of concern first.

const STATES = { "": "all", off: "those off", undecided: "undecided", within: "within", not_judged: "not judged" };
const filter = { text: "", group: "", state: "" };

function tellSentence(sentence, how) {
  if (!sentence) return;
  // The sentence keeps its height until all of it is known again: nothing below jumps away from a hand.
  const box = by("answer"), high = box.offsetHeight;
  box.style.minHeight = sentence.sure ? "" : `${high}px`;
  by("basis").textContent = sentence.basis;
  by("headline").textContent = sentence.headline;
  by("in-short").textContent = sentence.headline;
  by("sureness").textContent = how ?? (sentence.sure ? "" : "By the stated values; how sure that is, is being calculated…");
  by("points").replaceChildren(...sentence.points.map(one => make("div", {}, make("dt", { text: one.about }), make("dd", { text: one.text }))));
  by("cautions").hidden = !sentence.cautions.length;
  by("caution-list").replaceChildren(...sentence.cautions.map(one => make("li", {}, one.text, one.about && make("span", { className: "quiet", text: ` Source: ${one.about}` }))));
  by("offers").replaceChildren(...sentence.offers.filter(one => one.changes.length).map((one, n) =>
    make("button", { type: "button", "data-key": `offer ${n}`, text: `Try: ${one.doing}`, onclick: () => change({ do: "several", words: one.doing, changes: one.changes }) })));
}

function drawFilters() {
  const groups = new Map(seen.corals.map(one => [one.group, one.group_name]));
  by("filters").replaceChildren(
    make("label", {}, "Name ", make("input", { type: "search", "data-key": "filter name", value: filter.text, size: 14, oninput: e => { filter.text = e.target.value; drawList(); } })),
    make("label", {}, "Group ", make("select", { "data-key": "filter group", onchange: e => { filter.group = e.target.value; drawList(); } },
      make("option", { value: "", text: "all" }), ...[...groups].sort((a, b) => a[1].localeCompare(b[1])).map(([key, name]) => make("option", { value: key, text: name, selected: key === filter.group })))),
    make("label", {}, "Light ", make("select", { "data-key": "filter state", onchange: e => { filter.state = e.target.value; drawList(); } },
      ...Object.entries(STATES).map(([key, text]) => make("option", { value: key, text, selected: key === filter.state })))),
    make("span", { className: "quiet", id: "shown-count", role: "status" }));
}

function passes(one) {
  if (filter.text && !one.name.toLocaleLowerCase().includes(filter.text.toLocaleLowerCase())) return false;
  if (filter.group && one.group !== filter.group) return false;
  if (!filter.state) return true;
  if (filter.state === "off") return !["within", "undecided", "not_judged"].includes(one.state);
  return one.state === filter.state;
}

function drawList() {
  const words = numbered(), many = seen.corals.length > NAMED_AT_MOST;
  const rows = seen.corals.filter(passes);
  const count = by("shown-count");
  if (count) count.textContent = rows.length === seen.corals.length ? "" : `${rows.length} of ${seen.corals.length} shown`;
  const table = make("table", { className: "list" }, make("thead", {}, make("tr", {},
    make("th", { scope: "col", text: "coral" }), make("th", { scope: "col", text: "light" }), make("th", { scope: "col", className: "n", text: "dose" }), make("th", { scope: "col", className: "n", text: "usual" }),
    make("th", { scope: "col", text: "against floor, usual range and ceiling" }), make("th", { scope: "col", text: "group" }), make("th", { scope: "col", text: "place" }))));
  const body = make("tbody");
  for (const one of rows) {
    const is = chosen?.kind === "coral" && chosen.name === one.name;
    const range = make("td", { className: "range" });
    if (one.bar) range.append(barOf(one.bar));
    const place = one.site || `${shownLength(one.x_m)}, ${shownLength(one.y_m)}, ${shownLength(one.depth_m)} ${unit()}`;
    body.append(make("tr", { className: [one.state.startsWith("far") ? "far" : "", is ? "here-row" : ""].join(" ").trim() },
      make("th", { scope: "row" }, many && make("small", { text: `${words.get(one.name)} ` }),
        make("button", { type: "button", className: "linkish", "data-key": `coral ${one.name}`, "aria-pressed": is ? "true" : "false", text: one.name, onclick: () => choose("coral", one.name) })),
      make("td", { className: "words" }, make("span", {}, smallMark(one.mark), one.words)),
      make("td", { className: "n", "data-head": "dose", text: one.dli }), make("td", { className: "n", "data-head": "usual", text: one.usual }), range,
      make("td", { className: "group", text: one.group_name }), make("td", { className: "place", text: place })));
  }
  table.append(body);
  const box = by("coral-list"), top = box.scrollTop;
  box.replaceChildren(seen.corals.length ? table : make("p", { className: "quiet", text: "No coral has a place yet." }),
    seen.corals.length ? make("p", { className: "quiet", text: "Doses in mol m⁻² d⁻¹. Bars: dark from the low to the high end of the usual range, light from floor to ceiling; the line is the 95 % interval." }) : "");
  box.scrollTop = top;
}

function drawUnplaced() {
  const box = by("no-place");
  box.replaceChildren();
  if (!seen.unplaced?.length) return;
  box.append(make("h3", { text: `Without a place: ${seen.unplaced.length}` }),
    make("p", { className: "quiet", text: "Choose one, then click into the tank where it stands: from above it goes to the depth that is set there, from the front to the line in the other view." }),
    make("ul", { className: "acts plain" }, ...seen.unplaced.map(one => {
      const is = chosen?.kind === "unplaced" && chosen.name === one.name;
      return make("li", {}, make("button", { type: "button", "data-key": `unplaced ${one.name}`, "aria-pressed": is ? "true" : "false", className: is ? "main-act" : "", text: one.name, onclick: () => choose("unplaced", one.name) }));
    })));
}

// ---- more corals --------------------------------------------------------------------------------------------

function groupSelect(value, given) {
  return make("select", given, make("option", { value: "", text: "choose its group" }),
    ...(seen.groups ?? firstGroups).map(g => make("option", { value: g.key, text: `${g.name}: ${cut(g.look, 60)}`, selected: g.key === value })));
}

let firstGroups = [];
function drawAdder(box, done, verb) {
  const area = make("textarea", { rows: 5, cols: 40, "data-key": "new names", "aria-describedby": "names-note" });
  const found = make("div");
  const look = async () => {
    try {
      const { corals } = await ask("names", { text: area.value });
      showNames(found, corals, done, verb);
    } catch (trouble) { refused(trouble); }
  };
  box.replaceChildren(
    make("label", { className: "field" }, make("span", { text: "Names, one a line" }), area,
      make("small", { id: "names-note", text: "What a coral is may stand in its name (“green hammer”, “Acropora blue”) or behind a comma (“Moon, staghorn”)." })),
    make("p", {}, make("button", { type: "button", text: "Look at these names", onclick: look })), found);
}

function showNames(box, corals, done, verb) {
  const selects = [];
  const rows = corals.map((one, n) => {
    const known = one.words !== "";
    const select = known ? null : groupSelect("", { "aria-label": `Group of ${one.name}` });
    selects.push(() => ({ name: one.name, group: known ? one.group : select.value }));
    return make("tr", {}, make("th", { scope: "row", text: one.name }), make("td", {}, known ? make("span", { text: one.words }) : select));
  });
  const unknown = corals.filter(one => !one.words).length;
  const all = unknown > 1 ? groupSelect("", { "aria-label": "Group of all that are not known", onchange: e => box.querySelectorAll("tbody select").forEach(s => { if (!s.value) s.value = e.target.value; }) }) : null;
  box.replaceChildren(
    make("p", { text: unknown ? `${corals.length - unknown} of ${corals.length} names tell what they are. For the others choose the group that looks like it.` : `All ${corals.length} names tell what they are.` }),
    all && make("p", { className: "row" }, "For all the others: ", all),
    make("div", { className: "scroll" }, make("table", {}, make("tbody", {}, ...rows))),
    make("p", {}, make("button", { type: "button", className: "main-act", text: verb, onclick: () => {
      const taken = selects.map(get => get());
      const missing = taken.filter(one => !one.group);
      if (missing.length) { tell(`Choose a group for ${missing.slice(0, 4).map(one => one.name).join(", ")}${missing.length > 4 ? ` and ${missing.length - 4} more` : ""}.`); return; }
      done(taken);
    } })));
}
