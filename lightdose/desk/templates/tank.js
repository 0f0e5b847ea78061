// The tank from above and from the front, to scale: what stands in it, what hangs over it, and its light.

const NAMED_AT_MOST = 12, SIDE_PX = 6.5, SNAP_M = 0.012, KEY_STEP_M = 0.01;
const VIEWS = { depth: { key: "plan", head: "From above, the front below" }, from_front: { key: "front", head: "From the front" } };

let levelDepth = null, levelY = null;   // where the lines of equal dose lie
const planes = { depth: null, from_front: null };
let best = null;                         // the best places of the chosen coral
let spot = null;                         // the free place that was clicked
const onTheWay = new Set();              // corals that are being placed
let held = null;                         // what a hand holds: { kind, name, x_m, y_m, depth_m, ... }

function scaleOf(kind) {
  const box = by("views"), tank = seen.tank;
  const two = getComputedStyle(box).gridTemplateColumns.split(" ").length > 1;
  const width = Math.max(240, (two ? (box.clientWidth - 24) / 2 : box.clientWidth));
  const rows = kind === "depth" ? tank.plan_m : tank.front_m;
  const across = tank.across_m[1] - tank.across_m[0];
  const foot = 20, s = width / across;
  return {
    s, width, height: (rows[1] - rows[0]) * s + foot,
    x: m => (m - tank.across_m[0]) * s,
    y: kind === "depth" ? m => (rows[1] - m) * s : m => (m - rows[0]) * s,
    backX: px => px / s + tank.across_m[0],
    backY: kind === "depth" ? px => rows[1] - px / s : px => px / s + rows[0],
  };
}

function markOf(kind, x, y, side = SIDE_PX) {
  if (kind === "disc" || kind === "open") return draw("circle", { class: `shape${kind === "disc" ? " full" : ""}`, cx: x, cy: y, r: side * 0.85 });
  if (kind === "cross") return draw("path", { class: "shape", d: `M${x - side * .7} ${y - side * .7}l${side * 1.4} ${side * 1.4}m0 ${-side * 1.4}l${-side * 1.4} ${side * 1.4}` });
  return draw("path", { class: `shape${kind === "full-diamond" ? " full" : ""}`, d: `M${x} ${y - side}l${side} ${side}l${-side} ${side}l${-side} ${-side}z` });
}

const smallMark = kind => draw("svg", { class: "mark", viewBox: "0 0 16 16", "aria-hidden": "true" }, markOf(kind, 8, 8, 6));

function drawKey() {
  const words = { disc: "within", diamond: "below or above usual", "full-diamond": "far below or far above", open: "undecided", cross: "not judged by light" };
  by("key").replaceChildren(...Object.entries(words).map(([kind, text]) => make("span", {}, smallMark(kind), text)));
}

// Corals are numbered from left to right where their names have no room.
function numbered() {
  const order = [...seen.corals].sort((a, b) => a.x_m - b.x_m || a.y_m - b.y_m || (a.name < b.name ? -1 : 1));
  const many = order.length > NAMED_AT_MOST;
  return new Map(order.map((one, n) => [one.name, many ? String(n + 1) : one.name]));
}

function drawTank() {
  const box = by("views");
  const focused = document.activeElement?.closest?.("#views [data-mark]")?.dataset.mark;
  box.replaceChildren(...Object.entries(VIEWS).map(([kind, view]) => make("figure", {},
    make("figcaption", { text: view.head }), drawView(kind, view))));
  if (focused) box.querySelector(`[data-mark="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
}

function drawView(kind, view) {
  const t = seen.tank, to = scaleOf(kind), plan = kind === "depth";
  const svg = draw("svg", { class: "view", viewBox: `0 0 ${to.width} ${to.height}`, role: "group", "aria-label": `The tank, ${view.head.toLowerCase()}`, "data-view": kind });
  const down = plan ? t.width_m : t.depth_m, g = t.glass_m;
  const rect = (cls, x0, x1, y0, y1) => {
    const [top, low] = [to.y(y0), to.y(y1)].sort((a, b) => a - b);
    return draw("rect", { class: cls, x: to.x(x0), y: top, width: (x1 - x0) * to.s, height: low - top });
  };
  svg.append(rect("water", 0, t.length_m, 0, down));
  if (plan) {
    svg.append(rect(`pane ${t.walls.left}`, -g, 0, -g, down + g), rect(`pane ${t.walls.right}`, t.length_m, t.length_m + g, -g, down + g),
      rect(`pane ${t.walls.front}`, 0, t.length_m, -g, 0), rect(`pane ${t.walls.back}`, 0, t.length_m, down, down + g));
  } else {
    svg.append(rect(`pane ${t.walls.left}`, -g, 0, -t.rim_m, down), rect(`pane ${t.walls.right}`, t.length_m, t.length_m + g, -t.rim_m, down),
      rect("floor", -g, t.length_m + g, down, down + g));
  }
  svg.append(draw("clipPath", { id: `water-${kind}` }, rect("", 0, t.length_m, 0, down)));  // rock ends at floor and panes
  svg.append(draw("g", { "data-part": "rocks", "clip-path": `url(#water-${kind})` }, ...seen.rocks.map(rock => drawRock(rock, to, plan))));
  svg.append(draw("g", { "data-part": "iso" }));
  svg.append(draw("path", { class: "edge", d: `M${to.x(0)} ${to.y(0)}L${to.x(0)} ${to.y(down)}L${to.x(t.length_m)} ${to.y(down)}L${to.x(t.length_m)} ${to.y(0)}` }),
    draw("path", { class: `edge${plan ? "" : " surface"}`, d: `M${to.x(0)} ${to.y(0)}H${to.x(t.length_m)}` }));
  svg.append(...axis(to, t));
  svg.append(...seen.sites.map(site => drawSite(site, to, plan)));
  svg.append(...seen.fixtures.map(lamp => drawLamp(lamp, to, plan)));
  svg.append(draw("path", { class: "here", "data-part": "plane" }));
  const words = numbered();
  const taken = [];
  const order = [...seen.corals].sort((a, b) => (a.name === chosen?.name) - (b.name === chosen?.name));
  svg.append(...order.map(coral => drawCoral(coral, to, plan, words.get(coral.name), taken)));
  svg.append(draw("g", { "data-part": "best" }), draw("g", { "data-part": "spot" }));
  drawIso(svg, kind, to);
  drawBest(svg, to, plan);
  return svg;
}

function axis(to, t) {
  const span = t.length_m * perMetre(), step = [1, 2, 5, 10, 20, 50, 100].find(n => span / n <= 8) ?? 100;
  const low = to.height - 6, found = [];
  for (let at = 0; at <= span + 1e-9; at += step) {
    const x = to.x(at / perMetre()), last = at + step > span + 1e-9, text = last ? `${at} ${unit()}` : `${at}`;
    found.push(draw("text", { class: "axis", x: last ? Math.min(x + 12, to.width) : x, y: low, "font-size": 11, "text-anchor": last && x + 24 > to.width ? "end" : "middle", text }));
  }
  return found;
}

function drawRock(rock, to, plan) {
  const held_ = held && held.kind === "rock" && held.name === rock.name ? held : null;
  const [dx, dy] = held_ ? [held_.x_m - rock.x_m, plan ? held_.y_m - rock.y_m : -held_.rise_m] : [0, 0];
  const points = (plan ? rock.plan : rock.front).map(([x, y]) => `${to.x(x + dx).toFixed(1)},${to.y(y + dy).toFixed(1)}`).join(" ");
  if (rock.coral) return draw("polygon", { class: "colony", points });
  const is = chosen?.kind === "rock" && chosen.name === rock.name;
  return draw("g", { class: is ? "chosen" : "", "data-mark": `rock ${rock.name}`, "data-kind": "rock", "data-name": rock.name, tabindex: is ? "0" : "-1", role: "button", "aria-label": `Rock ${rock.name}` },
    draw("polygon", { class: "rock", points }), draw("title", { text: rock.name }));
}

function drawSite(site, to, plan) {
  const x = to.x(site.x_m), y = to.y(plan ? site.y_m : site.depth_m);
  return draw("path", { class: "site", d: `M${x - 3} ${y}h6m-3 -3v6` }, draw("title", { text: site.name }));
}

function drawLamp(lamp, to, plan) {
  const at = held && held.kind === "fixture" && held.name === lamp.name ? held : lamp;
  const dx = at.x_m - lamp.x_m, dy = at.y_m - lamp.y_m;
  const is = chosen?.kind === "fixture" && chosen.name === lamp.name;
  const xs = lamp.outline_m.map(([x]) => x + dx);
  let shape, wordX, wordY;
  if (plan) {
    const corners = lamp.outline_m.map(([x, y]) => [to.x(x + dx), to.y(y + dy)]);
    const flat = Math.max(...xs) - Math.min(...xs) < 1e-4;
    shape = flat ? draw("circle", { class: "lamp", cx: to.x(at.x_m), cy: to.y(at.y_m), r: 9 })
      : draw("polygon", { class: "lamp", points: corners.map(c => c.map(v => v.toFixed(1)).join(",")).join(" ") });
    wordX = to.x(at.x_m); wordY = Math.min(...corners.map(c => c[1])) - 4;
    if (wordY < 10) wordY = Math.max(...corners.map(c => c[1])) + 12;
  } else {
    const y = Math.max(3, to.y(-at.height_m)), left = to.x(Math.min(...xs)), right = to.x(Math.max(...xs));
    shape = draw("rect", { class: "lamp", x: left - 2, y: y - 3, width: Math.max(10, right - left + 4), height: 9 });
    wordX = to.x(at.x_m); wordY = y + 18;
  }
  const label = `Lamp ${lamp.name}, ${shownLength(at.height_m)} ${unit()} above the water${lamp.enabled ? "" : ", dark"}`;
  const grip = shape.cloneNode();
  grip.setAttribute("class", "lamp-grip");
  return draw("g", { class: is ? "chosen" : "", "data-mark": `fixture ${lamp.name}`, "data-kind": "fixture", "data-name": lamp.name, tabindex: is ? "0" : "-1", role: "button", "aria-label": label },
    shape, grip, draw("text", { class: "lamp-word", x: wordX, y: wordY, "font-size": 11, "text-anchor": "middle", text: cut(lamp.name, 24) }), draw("title", { text: label }));
}

const cut = (text, most) => ([...text].length > most ? `${[...text].slice(0, most - 1).join("")}…` : text);

function drawCoral(coral, to, plan, word, taken) {
  const at = held && held.kind === "coral" && held.name === coral.name ? held : coral;
  const x = to.x(at.x_m), y = to.y(plan ? at.y_m : at.depth_m - coral.height_m);
  const is = chosen?.kind === "coral" && chosen.name === coral.name;
  const label = `${coral.name}, ${coral.words}, ${coral.dli} mol m⁻² d⁻¹, at ${shownLength(at.x_m)}, ${shownLength(at.y_m)}, ${shownLength(at.depth_m)} ${unit()} deep`;
  const group = draw("g", { class: `coral${is ? " chosen" : ""}`, "data-mark": `coral ${coral.name}`, "data-kind": "coral", "data-name": coral.name, tabindex: is ? "0" : "-1", role: "button", "aria-label": label, "aria-pressed": is ? "true" : "false" });
  if (coral.normal) {
    const [nx, ny, nz] = coral.normal, [ax, ay] = plan ? [nx, -ny] : [nx, -nz];
    if (Math.hypot(ax, ay) > 0.1) group.append(draw("path", { class: "faces", d: `M${x} ${y}l${ax * 15} ${ay * 15}` }));
  }
  group.append(draw("circle", { class: "grab", cx: x, cy: y, r: 12 }), markOf(coral.mark, x, y), draw("title", { text: label }));
  const text = cut(word, 22), wide = 6.3 * [...text].length + 3;
  const places = [[10, 4, "start"], [-10, 4, "end"], [0, -10, "middle"], [0, 18, "middle"]];
  for (const [dx, dy, anchor] of places) {
    const left = x + dx - (anchor === "end" ? wide : anchor === "middle" ? wide / 2 : 0), top = y + dy - 9;
    if (left < 0 || left + wide > to.width || top < 0) continue;
    if (!is && taken.some(b => left < b[1] && b[0] < left + wide && top < b[3] && b[2] < top + 11)) continue;
    taken.push([left, left + wide, top, top + 11]);
    group.append(draw("text", { class: "mark-word", x: x + dx, y: y + dy, "font-size": 11, "text-anchor": anchor, text }));
    break;
  }
  taken.push([x - 7, x + 7, y - 7, y + 7]);
  return group;
}

// ---- lines of equal dose ------------------------------------------------------------------------------------

const waiting = { depth: null, from_front: null };
async function wantLevel(kind, at) {
  if (!by("contours").checked || !seen?.tank) return;
  const step = seen.rocks.length ? 0.02 : 0.01;
  const round = Math.round(at / step) * step;
  if (planes[kind]?.at === round && planes[kind].version === seen.version) return;
  if (waiting[kind] !== null) { waiting[kind] = at; return; }
  waiting[kind] = at;
  try {
    const version = seen.version, found = await ask("level", { kind, at_m: round });
    planes[kind] = { ...found, at: round, version };
    const svg = document.querySelector(`[data-view="${kind}"]`);
    if (svg && seen.tank) drawIso(svg, kind, scaleOf(kind));
  } catch { planes[kind] = null; }
  const next = waiting[kind];
  waiting[kind] = null;
  if (next !== null && Math.abs(next - round) > step / 2) wantLevel(kind, next);
}

function niceLevels(values) {
  const most = Math.max(...values), found = [];
  if (!(most > 0)) return found;
  const raw = most / 6, ten = 10 ** Math.floor(Math.log10(raw)), step = [1, 2, 5, 10].map(n => n * ten).find(n => n >= raw);
  for (let v = step; v < most; v += step) found.push(Number(v.toPrecision(6)));
  return found;
}

function drawIso(svg, kind, to) {
  const part = svg.querySelector('[data-part="iso"]'), plane = planes[kind];
  part.replaceChildren();
  markPlane();
  if (!plane || !by("contours").checked) return;
  const { columns_m: xs, rows_m: ys, dli } = plane, n = xs.length;
  const plan = kind === "depth", taken = seen.corals.map(one => [to.x(one.x_m), to.y(plan ? one.y_m : one.depth_m - one.height_m)]);
  for (const level of niceLevels(dli)) {
    const pieces = [];
    for (let j = 0; j + 1 < ys.length; j++) for (let i = 0; i + 1 < n; i++) {
      const v = [dli[j * n + i], dli[j * n + i + 1], dli[(j + 1) * n + i + 1], dli[(j + 1) * n + i]];
      const at = [[xs[i], ys[j]], [xs[i + 1], ys[j]], [xs[i + 1], ys[j + 1]], [xs[i], ys[j + 1]]];
      const cuts = [];
      for (let k = 0; k < 4; k++) {
        const a = v[k], b = v[(k + 1) % 4];
        if ((a < level) !== (b < level)) {
          const f = (level - a) / (b - a), p = at[k], q = at[(k + 1) % 4];
          cuts.push([to.x(p[0] + f * (q[0] - p[0])), to.y(p[1] + f * (q[1] - p[1]))]);
        }
      }
      for (let k = 0; k + 1 < cuts.length; k += 2) pieces.push(cuts[k], cuts[k + 1]);
    }
    if (!pieces.length) continue;
    let d = "";
    for (let k = 0; k < pieces.length; k += 2) d += `M${pieces[k][0].toFixed(1)} ${pieces[k][1].toFixed(1)}L${pieces[k + 1][0].toFixed(1)} ${pieces[k + 1][1].toFixed(1)}`;
    part.append(draw("path", { class: "iso", d }));
    // The number stands where its line is furthest from the edges, from marks and from other numbers.
    const [left, right] = [to.x(0), to.x(seen.tank.length_m)], [top, low] = [to.y(ys[0]), to.y(ys.at(-1))].sort((a, b) => a - b);
    const room = ([x, y]) => Math.min(x - left, right - x, y - top, low - y, ...taken.map(p => Math.hypot(p[0] - x, p[1] - y)));
    const at = pieces.reduce((a, b) => (room(b) > room(a) ? b : a));
    if (room(at) < 9) continue;
    taken.push(at);
    part.append(draw("text", { class: "iso-word", x: at[0], y: at[1] + 3.5, "font-size": 10, "text-anchor": "middle", text: `${level}` }));
  }
}

function markPlane() {
  for (const kind of Object.keys(VIEWS)) {
    const svg = document.querySelector(`[data-view="${kind}"]`);
    const line = svg?.querySelector('[data-part="plane"]');
    if (!line) continue;
    const to = scaleOf(kind), at = kind === "depth" ? levelY : levelDepth;
    line.setAttribute("stroke-dasharray", "2 4");
    line.setAttribute("d", at === null || !by("contours").checked ? "" : `M${to.x(0)} ${to.y(at)}H${to.x(seen.tank.length_m)}`);
  }
}

function setDepth(depth, typed = false) {
  levelDepth = Math.min(Math.max(depth, 0), seen.tank.depth_m);
  if (!typed) { const box = by("level"); box.value = shownLength(levelDepth); box.defaultValue = box.value; }
  markPlane();
  wantLevel("depth", levelDepth);
}

function setY(y) {
  levelY = Math.min(Math.max(y, 0), seen.tank.width_m);
  markPlane();
  wantLevel("from_front", levelY);
}

// ---- hands --------------------------------------------------------------------------------------------------

let trying = false, tryNext = null;
async function tryOut(at) {
  tryNext = { name: at.name, x_m: at.x_m, y_m: at.y_m, depth_m: at.depth_m };
  if (trying) return;
  trying = true;
  while (tryNext) {
    const now = tryNext;
    tryNext = null;
    try {
      const found = await ask("try", now);
      if (held) { tellSentence(found.sentence, "calculated, while you hold it"); takeCorals(found.corals); }
    } catch { /* the place is told when it is let go */ }
  }
  trying = false;
}

function takeCorals(corals) {
  seen.corals = corals;
  drawList();
  drawCardHead();
  if (held) drawTankSoon();
}

let soon = 0;
function drawTankSoon() {
  if (soon) return;
  soon = requestAnimationFrame(() => { soon = 0; if (seen?.tank) drawTank(); });
}

function pointOf(event, svg, to) {
  const box = svg.getBoundingClientRect();
  const px = (event.clientX - box.left) * (to.width / box.width), py = (event.clientY - box.top) * (to.height / box.height);
  return [to.backX(px), to.backY(py)];
}

function thingOf(kind, name) {
  if (kind === "coral") return seen.corals.find(one => one.name === name);
  if (kind === "fixture") return seen.fixtures.find(one => one.name === name);
  return seen.rocks.find(one => !one.coral && one.name === name);
}

// The views are drawn anew all the time, so hands are watched on what holds them.
function watchHands() {
  const views = by("views");
  const seenIn = event => {
    const svg = event.target.closest?.("[data-view]");
    return svg && { svg, kind: svg.dataset.view, plan: svg.dataset.view === "depth", to: scaleOf(svg.dataset.view) };
  };
  const inWater = (plan, [x, y]) => x >= 0 && x <= seen.tank.length_m && y >= 0 && y <= (plan ? seen.tank.width_m : seen.tank.depth_m);

  views.addEventListener("pointerdown", event => {
    const at = seenIn(event);
    if (event.button !== 0 || !at || event.target.closest("[data-best]")) return;
    const mark = event.target.closest("[data-mark]");
    const thing = mark && thingOf(mark.dataset.kind, mark.dataset.name);
    const start = pointOf(event, at.svg, at.to), from = thing && { ...thing, kind: mark.dataset.kind, rise_m: 0 };
    if (from) event.preventDefault();
    let moved = false;
    const move = e => {
      if (e.pointerId !== event.pointerId) return;
      moved ||= Math.hypot(e.clientX - event.clientX, e.clientY - event.clientY) > 4;
      if (!moved || !from) return;
      const now = pointOf(e, document.querySelector(`[data-view="${at.kind}"]`), at.to);
      held = shifted(from, at.plan, now[0] - start[0], now[1] - start[1]);
      drawTankSoon();
      if (held.kind === "coral") tryOut(held);
    };
    const up = e => {
      if (e.pointerId !== event.pointerId) return;
      for (const name of ["pointermove", "pointerup", "pointercancel"]) window.removeEventListener(name, name === "pointermove" ? move : up);
      if (e.type === "pointercancel") { held = null; drawTankSoon(); return; }
      if (from && moved) { letGo(); return; }
      if (moved) return;
      if (from && chosen?.kind !== "unplaced") { held = null; choose(from.kind, from.name, at.kind); return; }
      if (!inWater(at.plan, start)) return;
      const [x, y] = start, t = seen.tank;
      clicked({ x_m: x, y_m: at.plan ? y : levelY ?? t.width_m / 2, depth_m: at.plan ? levelDepth ?? 0.4 * t.depth_m : y });
    };
    window.addEventListener("pointermove", move);
    window.addEventListener("pointerup", up);
    window.addEventListener("pointercancel", up);
  });
  views.addEventListener("pointermove", event => {
    const at = seenIn(event);
    if (!at || held || event.pointerType !== "mouse" || event.buttons) return;
    const point = pointOf(event, at.svg, at.to);
    if (!inWater(at.plan, point)) return;
    if (at.plan) setY(point[1]); else setDepth(point[1]);
  });
  views.addEventListener("keydown", event => {
    const at = seenIn(event), mark = event.target.closest("[data-mark]");
    if (!at || !mark) return;
    if (event.key === "Enter" || event.key === " ") { event.preventDefault(); choose(mark.dataset.kind, mark.dataset.name, at.kind); return; }
    if (event.key === "Escape") { held = null; clearTimeout(keyTimer); redraw(); return; }
    const step = { ArrowLeft: [-1, 0, 0], ArrowRight: [1, 0, 0], ArrowUp: at.plan ? [0, 1, 0] : [0, 0, -1], ArrowDown: at.plan ? [0, -1, 0] : [0, 0, 1], PageUp: [0, 0, -1], PageDown: [0, 0, 1] }[event.key];
    if (!step) return;
    event.preventDefault();
    stepped(mark.dataset.kind, mark.dataset.name, step.map(n => n * KEY_STEP_M));
  });
}

function shifted(from, plan, dx, dy) {
  const t = seen.tank, now = { ...from };
  const within = (v, most) => Math.min(Math.max(v, 0), most);
  if (from.kind === "coral") {
    now.x_m = within(from.x_m + dx, t.length_m);
    if (plan) now.y_m = within(from.y_m + dy, t.width_m); else now.depth_m = within(from.depth_m + dy, t.depth_m);
  } else if (from.kind === "fixture") {
    now.x_m = from.x_m + dx;
    if (plan) now.y_m = from.y_m + dy; else now.height_m = Math.max(0.01, from.height_m - dy);
  } else {
    now.x_m = from.x_m + dx;
    if (plan) now.y_m = from.y_m + dy; else now.rise_m = (from.rise_m ?? 0) - dy;
  }
  return now;
}

let keyTimer = 0;
function stepped(kind, name, [dx, dy, dz]) {
  const base = held && held.kind === kind && held.name === name ? held : { ...thingOf(kind, name), kind, rise_m: 0 };
  held = shifted(shifted(base, true, dx, dy), false, 0, dz);
  drawTank();
  if (kind === "coral") tryOut(held);
  clearTimeout(keyTimer);
  keyTimer = setTimeout(letGo, 450);
}

const round = metres => Math.round(metres * 1e4) / 1e4;

// What was held is let go: the change is made in the files' texts, and can be taken back.
function letGo() {
  const now = held;
  clearTimeout(keyTimer);
  if (!now) return;
  const done = () => { held = null; };
  chosen = { kind: now.kind, name: now.name };
  if (now.kind === "coral") {
    const free = seen.sites.find(site => site.free && Math.hypot(site.x_m - now.x_m, site.y_m - now.y_m) < SNAP_M && Math.abs(site.depth_m - now.depth_m) < SNAP_M);
    held = null;
    if (free) change({ do: "seat", name: now.name, site: free.name }, done);
    else change({ do: "put", kind: "coral", name: now.name, x_m: round(now.x_m), y_m: round(now.y_m), depth_m: round(now.depth_m) }, done);
  } else if (now.kind === "fixture") {
    held = null;
    change({ do: "put", kind: "fixture", name: now.name, x_m: round(now.x_m), y_m: round(now.y_m), height_m: round(now.height_m) }, done);
  } else {
    held = null;
    change({ do: "put", kind: "rock", name: now.name, x_m: round(now.x_m), y_m: round(now.y_m), rise_m: round(now.rise_m) }, done);
  }
}

// ---- a free place -------------------------------------------------------------------------------------------

async function clicked(place) {
  spot = place;
  if (chosen?.kind === "unplaced") {
    const name = chosen.name, rest = seen.unplaced.filter(one => one.name !== name);
    chosen = rest.length ? { kind: "unplaced", name: rest[0].name } : { kind: "coral", name };
    onTheWay.add(name);   // a next click may come before the answer to this one
    seen.unplaced = rest;
    spot = null;
    drawUnplaced();
    change({ do: "put", kind: "coral", name, x_m: round(place.x_m), y_m: round(place.y_m), depth_m: round(place.depth_m) }).then(() => {
      onTheWay.delete(name);
      drawUnplaced();
    });
    return;
  }
  drawSpot();
  try {
    const found = await ask("spot", place);
    if (spot === place) showSpot(place, found);
  } catch (trouble) { refused(trouble); }
}

function drawSpot() {
  for (const kind of Object.keys(VIEWS)) {
    const part = document.querySelector(`[data-view="${kind}"] [data-part="spot"]`);
    if (!part) continue;
    part.replaceChildren();
    if (!spot) continue;
    const to = scaleOf(kind), x = to.x(spot.x_m), y = to.y(kind === "depth" ? spot.y_m : spot.depth_m);
    part.append(draw("path", { class: "here", d: `M${x - 8} ${y}h16M${x} ${y - 8}v16` }));
  }
}

function showSpot(place, found) {
  const where = `${shownLength(place.x_m)} from the left, ${shownLength(place.y_m)} from the front, ${shownLength(place.depth_m)} ${unit()} deep`;
  const suits = found.suits.length ? `Usual for: ${found.suits.map(g => `${g.name} (${g.usual})`).join("; ")}.` : "Usual for no group.";
  const box = by("spot");
  box.hidden = false;
  box.replaceChildren(
    make("p", {}, make("b", { text: `${found.dli} mol m⁻² d⁻¹` }), `, ${found.peak} µmol m⁻² s⁻¹ at the brightest, under open sky; ${where}.`),
    make("p", { text: suits }),
    make("p", { className: "acts" },
      chosen?.kind === "coral" && make("button", { type: "button", text: `Put ${cut(chosen.name, 30)} here`, onclick: () => { closeSpot(); change({ do: "put", kind: "coral", name: chosen.name, x_m: round(place.x_m), y_m: round(place.y_m), depth_m: round(place.depth_m) }); } }),
      make("button", { type: "button", text: "Type a reading taken here", onclick: () => readingAt(place) }),
      make("button", { type: "button", text: "Name this place", onclick: () => namePlace(place) }),
      make("button", { type: "button", text: "Close", onclick: closeSpot })));
}

function closeSpot() {
  spot = null;
  by("spot").hidden = true;
  drawSpot();
}

function namePlace(place) {
  const taken = new Set(seen.sites.map(site => site.name));
  let n = 1;
  while (taken.has(`place ${n}`)) n += 1;
  const values = { name: `place ${n}`, "at.x": shownLength(place.x_m), "at.y": shownLength(place.y_m), "at.depth": shownLength(place.depth_m) };
  closeSpot();
  change({ do: "add", table: "site", values }, () => openThing("site", values.name));
}

// ---- the best places ----------------------------------------------------------------------------------------

async function whereTo(name, button) {
  button.disabled = true;
  button.textContent = "Looking…";
  try {
    const found = await ask("where", { coral: name });
    if (found.superseded) { redraw(); return; }
    best = { name, places: found.places };
  } catch (trouble) { best = null; refused(trouble); }
  redraw();
}

function drawBest(svg, to, plan) {
  if (!best || best.name !== chosen?.name) return;
  const part = svg.querySelector('[data-part="best"]');
  best.places.forEach((one, n) => {
    const x = to.x(one.x_m), y = to.y(plan ? one.y_m : one.depth_m);
    const label = `Place ${n + 1}: ${one.dli} mol m⁻² d⁻¹${one.site ? `, ${one.site}` : ""}`;
    const take = () => takeBest(one);
    part.append(draw("g", { "data-best": n, tabindex: "0", role: "button", "aria-label": label, onclick: take, onkeydown: e => { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); take(); } } },
      draw("circle", { class: "best", cx: x, cy: y, r: 12 }), draw("text", { class: "best-word", x: x + 13, y: y - 8, "font-size": 12, text: `${n + 1}` }), draw("title", { text: label })));
  });
}

function takeBest(one) {
  const name = best.name;
  best = null;
  if (one.site) change({ do: "seat", name, site: one.site });
  else change({ do: "put", kind: "coral", name, x_m: round(one.x_m), y_m: round(one.y_m), depth_m: round(one.depth_m) });
}
