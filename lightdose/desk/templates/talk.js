// Words with the server, and how elements are made: every text is set as text, never as markup.

const by = id => document.getElementById(id);
const SVG = "http://www.w3.org/2000/svg";

let seen = null;        // what the server showed last
let chosen = null;      // { kind: "coral" | "fixture" | "rock" | "unplaced", name }
let busy = 0;

function filled(element, given, inner) {
  for (const [key, value] of Object.entries(given)) {
    if (value === undefined || value === null || value === false) continue;
    if (key === "text") element.textContent = value;
    else if (key.startsWith("on")) element.addEventListener(key.slice(2), value);
    else if (key in element && !(element instanceof SVGElement) && key !== "list" && key !== "form") element[key] = value;
    else element.setAttribute(key === "className" ? "class" : key, value === true ? "" : value);
  }
  element.append(...inner.flat().filter(one => one !== null && one !== undefined && one !== false));
  return element;
}

const make = (tag, given = {}, ...inner) => filled(document.createElement(tag), given, inner);
const draw = (tag, given = {}, ...inner) => filled(document.createElementNS(SVG, tag), given, inner);

// The server's own drawing of a range bar: numbers alone, no word of a person stands in it.
const barOf = markup => document.importNode(new DOMParser().parseFromString(markup, "text/html").body.firstChild, true);

async function ask(name, body = {}) {
  let reply;
  try {
    reply = await fetch(`/ask/${name}`, {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
    });
  } catch {
    throw { problems: [{ found: "The desk does not answer: it was ended, or this machine slept. Start lightdose desk again; what was not saved is offered then.", allowed: "", cure: "", file: "", line: 0 }] };
  }
  const type = reply.headers.get("content-type") ?? "";
  if (!type.startsWith("application/json")) throw { problems: [{ found: await reply.text(), allowed: "", cure: "", file: "", line: 0 }] };
  const found = await reply.json();
  if (!reply.ok) throw found;
  return found;
}

function tell(text) {
  const box = by("told");
  box.replaceChildren();
  if (!text) return;
  box.append(make("p", { text }), make("button", { type: "button", text: "Close", onclick: () => tell("") }));
}

function wordsOf(trouble) {
  if (!trouble.problems) return String(trouble);
  return trouble.problems.slice(0, 3).map(one => {
    const rest = [one.allowed && one.allowed.length < 240 ? `Allowed: ${one.allowed}.` : "", one.cure ? `Mend it: ${one.cure}.` : ""];
    return [one.found + ".", ...rest].filter(Boolean).join(" ");
  }).join("\n");
}

const refused = trouble => tell(wordsOf(trouble));

// Nothing is drawn anew under a finger that is down: its click would be lost.
let pressing = null;
window.addEventListener("pointerdown", () => {
  if (pressing) return;
  let free;
  pressing = new Promise(done => { free = done; });
  const up = () => {
    for (const name of ["pointerup", "pointercancel"]) window.removeEventListener(name, up, true);
    setTimeout(() => { pressing = null; free(); });
  };
  for (const name of ["pointerup", "pointercancel"]) window.addEventListener(name, up, true);
}, true);
const released = () => pressing ?? Promise.resolve();

// One change after the other; what comes back is shown.
let last = Promise.resolve();
function act(name, body, then) {
  busy += 1;
  last = last.then(async () => {
    try {
      const found = await ask(name, body);
      await released();
      tell(found.notice || "");
      show(found);
      if (then) then(found);
    } catch (trouble) {
      await released();
      refused(trouble);
      if (seen) show(await ask("state").catch(() => seen));
    } finally {
      busy -= 1;
    }
  });
  return last;
}
const change = (what, then) => act("do", { change: what }, then);

// Lengths as the setup has them.
const perMetre = () => (seen?.unit === "in" ? 1 / 0.0254 : 100);
const unit = () => seen?.unit ?? "cm";
const shownLength = metres => `${Math.round(metres * perMetre() * 10) / 10}`;
const lengthIn = text => {
  const number = Number.parseFloat(String(text).replace(",", "."));
  return Number.isFinite(number) ? number / perMetre() : null;
};

function typedField(one, send) {
  const id = `f-${one.key}`;
  const common = { id, "data-key": one.key, "aria-describedby": one.note ? `${id}-n` : undefined };
  let input;
  if (one.kind === "flag") {
    input = make("input", { ...common, type: "checkbox", checked: one.value === "yes", onchange: e => send(e.target.checked ? "yes" : "no") });
    return make("div", { className: "field" },
      make("label", { className: "check" }, input, make("span", { text: one.label })),
      one.note && make("small", { id: `${id}-n`, text: one.note }));
  }
  if (one.kind === "choice") {
    const options = ["", ...one.choices];
    input = make("select", { ...common, onchange: e => send(e.target.value) },
      ...options.map(word => make("option", { value: word, text: word || "-", selected: word === one.value })));
  } else {
    input = make("input", { ...common, value: one.value ?? "", defaultValue: one.value ?? "", autocomplete: "off",
      inputMode: ["number", "whole"].includes(one.kind) ? "decimal" : "text",
      placeholder: one.example ?? "", onchange: e => send(e.target.value) });
    if (one.choices?.length) {
      const list = make("datalist", { id: `${id}-l` }, ...one.choices.map(value => make("option", { value })));
      input.setAttribute("list", list.id);
      input.after(list);
      return make("label", { className: "field" }, make("span", { text: one.label }), input, list, one.note && make("small", { id: `${id}-n`, text: one.note }));
    }
  }
  return make("label", { className: "field" }, make("span", { text: one.label }), input, one.note && make("small", { id: `${id}-n`, text: one.note }));
}

// What stands in a field that is sent by a button outlasts every new drawing, until it is sent.
const halfTyped = {};
function keeps(input) {
  const key = input.dataset.key;
  if (halfTyped[key] !== undefined) input.value = halfTyped[key];
  for (const name of ["input", "change"]) input.addEventListener(name, () => { halfTyped[key] = input.value; });
  return input;
}
const sent = (...keys) => keys.forEach(key => delete halfTyped[key]);

// What a person is typing outlasts a new drawing of the page around it.
function keepingFocus(work) {
  const held = document.activeElement, key = held?.dataset?.key;
  const typed = held?.value !== undefined && held?.defaultValue !== undefined && held.value !== held.defaultValue ? held.value : null;
  const open = [...document.querySelectorAll("details[data-key][open]")].map(one => one.dataset.key);
  work();
  for (const one of open) document.querySelector(`details[data-key="${CSS.escape(one)}"]`)?.setAttribute("open", "");
  if (!key) return;
  const again = document.querySelector(`[data-key="${CSS.escape(key)}"]`);
  if (!again || again === document.activeElement) return;
  again.focus({ preventScroll: true });
  if (typed !== null && again.value !== undefined) again.value = typed;
}
