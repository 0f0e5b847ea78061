// The page as a whole: what is shown when, saving, taking back, and looking whether files changed elsewhere.

function show(state) {
  const before = seen;
  seen = state;
  seen.unplaced = seen.unplaced?.filter(one => !onTheWay.has(one.name));
  if (seen.tank && levelDepth === null) { levelDepth = 0.4 * seen.tank.depth_m; levelY = seen.tank.width_m / 2; }
  redraw(before);
  if (seen.tank) {
    drawLamps();
    drawReadings();
    if (document.querySelector('details[data-key="files"]')?.open) showFiles();
    for (const [table] of SINGLES) if (document.querySelector(`details[data-key="single ${table}"]`)?.open) showSingle(table);
    for (const [table] of SEVERAL) if (document.querySelector(`details[data-key="several ${table}"]`)?.open && opened[table]) showThing(table, opened[table]);
    wantLevel("depth", levelDepth);
    wantLevel("from_front", levelY);
    makeSure();
  }
  if (before === null || before.version === undefined || state.kept !== undefined) { if (!seen.first) drawDiary(); }
}

function redraw() {
  keepingFocus(() => {
    drawTop();
    drawProblems();
    by("first").hidden = !seen.first;
    by("desk").hidden = !seen.tank;
    if (seen.first) { if (!by("first").childElementCount) drawFirst(); return; }
    by("first").replaceChildren();
    if (!seen.tank) return;
    tellSentence(seen.sentence);
    by("answer").hidden = !seen.sentence;
    const box = by("level");
    if (document.activeElement !== box) { box.value = shownLength(levelDepth); box.defaultValue = box.value; }
    by("level-unit").textContent = unit();
    drawKey();
    drawFilters();
    drawList();
    drawUnplaced();
    drawRest();
    drawTank();
    drawSpot();
  });
  if (seen.tank) drawCard();
  if (seen.tank && !by("add-corals").childElementCount) drawAdder(by("add-corals"), corals => change({ do: "names", corals }, () => { by("new-corals").open = false; drawAgain(); choose("unplaced", corals[0].name); }), "Add these");
}

const drawAgain = () => by("add-corals").replaceChildren();

function drawTop() {
  document.title = `${seen.unsaved.length ? "• " : ""}${seen.title || "A new tank"} - desk`;
  by("title").textContent = seen.title || (seen.first ? "A new tank" : seen.file);
  by("file").textContent = `${seen.folder}/${seen.file}`;
  by("acts").hidden = false;
  const [undo, redo, save] = ["undo", "redo", "save"].map(by);
  undo.disabled = !seen.undo; undo.title = seen.undo ?? ""; undo.setAttribute("aria-label", seen.undo ? `Take back: ${seen.undo}` : "Take back");
  redo.disabled = !seen.redo; redo.title = seen.redo ?? ""; redo.setAttribute("aria-label", seen.redo ? `Do again: ${seen.redo}` : "Do again");
  save.disabled = !seen.unsaved.length;
  by("unsaved").textContent = seen.unsaved.length ? `not saved: ${seen.unsaved.join(", ")}` : "all saved";
  const offered = by("offered");
  offered.hidden = !seen.offered;
  if (seen.offered) offered.replaceChildren(
    make("p", {}, make("b", { text: "Changes were left unsaved here" }), ` (${seen.offered.kept_at.replace("T", " ")}): ${seen.offered.steps.slice(-4).join("; ")}.`),
    make("p", { className: "acts" }, make("button", { type: "button", className: "main-act", text: "Take them up again", onclick: () => act("draft", { take: true }) }), make("button", { type: "button", text: "Drop them", onclick: () => act("draft", { take: false }) })));
}

function drawProblems() {
  const box = by("problems");
  box.hidden = !seen.problems.length;
  if (!seen.problems.length) { box.replaceChildren(); return; }
  const rest = seen.tank && seen.left_out.length ? `Shown without: ${seen.left_out.slice(0, 12).join(", ")}${seen.left_out.length > 12 ? ` and ${seen.left_out.length - 12} more` : ""}.` : seen.tank ? "" : "Nothing else can be shown before this is mended.";
  box.replaceChildren(
    make("h2", { id: "problems-title", text: seen.problems.length === 1 ? "One thing is to be mended" : `${seen.problems.length} things are to be mended` }),
    rest ? make("p", { text: rest }) : "",
    ...seen.problems.map((one, n) => {
      const mend = make("input", { value: one.text, defaultValue: one.text, "data-key": `mend ${n}`, "aria-label": `Line ${one.line} of ${one.file}` });
      return make("div", { className: "problem" },
        make("p", {}, make("b", { text: one.found }), one.file ? make("span", { className: "quiet", text: ` ${one.file}${one.line ? `, line ${one.line}` : ""}` }) : ""),
        one.allowed ? make("p", { className: "quiet", text: `Allowed: ${cut(one.allowed, 300)}` }) : "", one.cure ? make("p", { text: `Mend it: ${one.cure}` }) : "",
        one.text && one.line ? make("p", { className: "row" }, mend, make("button", { type: "button", "data-key": `mend go ${n}`, text: "Put this line there", onclick: () => change({ do: "line", file: one.file, line: one.line, text: mend.value }) })) : "");
    }));
}

let sureTimer = 0;
function makeSure() {
  clearTimeout(sureTimer);
  const version = seen.version;
  if (!seen.sentence || seen.sentence.sure) return;
  sureTimer = setTimeout(async () => {
    try {
      const found = await ask("sure", { version });
      await released();
      if (found.superseded || seen.version !== version || held) return;
      seen.sentence = found.sentence;
      seen.corals = found.corals;
      keepingFocus(() => { tellSentence(found.sentence); drawFilters(); drawList(); drawTank(); drawCardHead(); drawSpot(); });
    } catch (trouble) { by("sureness").textContent = wordsOf(trouble); }
  }, 180);
}

const lines = n => (n === 1 ? "1 line" : `${n} lines`);

// ---- saving -------------------------------------------------------------------------------------------------

function linesBox(one) {
  const box = make("div", { className: "lines", tabIndex: 0, role: "region", "aria-label": `Lines of ${one.file}` });
  for (const [sign, number, text] of one.lines) box.append(make("div", { className: sign === "-" ? "out" : "in", text: `${sign === "-" ? "before" : "after "} ${number}: ${text}` }));
  if (one.more) box.append(make("div", { text: `and ${one.more} lines more` }));
  return box;
}

async function openSave() {
  let found;
  try { found = await ask("pending"); } catch (trouble) { refused(trouble); return; }
  if (found.conflicts.length) { openConflict(found.conflicts); return; }
  const why = make("input", { "data-key": "why", size: 40, maxLength: 300 });
  const box = by("save-box");
  const go = () => { box.close(); act("save", { why: why.value }, answer => {
    if (answer.conflicts?.length) { openConflict(answer.conflicts); return; }
    tell(`Saved ${answer.saved.join(", ")}. ${answer.kept}`);
    drawDiary();
  }); };
  box.replaceChildren(
    make("h2", { id: "save-title", text: "Save these changes?" }),
    ...found.files.flatMap(one => [make("h3", { text: `${one.file}: ${one.new ? "a new file" : `${lines(one.added)} new or changed, ${lines(one.removed)} gone or replaced`}` }), one.new && one.lines.length > 40 ? make("details", {}, make("summary", { text: lines(one.added) }), linesBox(one)) : linesBox(one)]),
    make("form", { onsubmit: e => { e.preventDefault(); go(); } }, make("label", { className: "field" }, make("span", { text: "Why? Your reason stands in the diary" }), why),
      make("p", { className: "acts" }, make("button", { className: "main-act", text: "Save and keep in the diary" }), make("button", { type: "button", text: "Not yet", onclick: () => box.close() }))));
  box.showModal();
  why.focus();
}

function openConflict(conflicts) {
  const box = by("save-box");
  const settle = name => { box.close(); act(name, {}, answer => { if (answer.files?.length) tell(`Your texts stand beside, as ${answer.files.join(", ")}; the page shows what is on the disk.`); drawDiary(); }); };
  box.replaceChildren(
    make("h2", { id: "save-title", text: "Changed elsewhere" }),
    make("p", { text: "Somebody has changed a file since the desk read it. Nothing is written over; look at both." }),
    ...conflicts.flatMap(one => [make("h3", { text: one.file }), make("p", { text: "What was done there:" }), linesBox({ file: `${one.file}, there`, lines: one.there, more: 0 }), make("p", { text: "What would change there by what you did here:" }), linesBox({ file: `${one.file}, here`, lines: one.here, more: 0 })]),
    make("p", { className: "acts" }, make("button", { type: "button", className: "main-act", text: "Read what is there, put mine beside it", onclick: () => settle("mine") }), make("button", { type: "button", text: "Read what is there, drop mine", onclick: () => settle("theirs") }), make("button", { type: "button", text: "Decide later", onclick: () => box.close() })));
  if (!box.open) box.showModal();
}

watchHands();
by("undo").addEventListener("click", () => act("undo", {}));
by("redo").addEventListener("click", () => act("redo", {}));
by("save").addEventListener("click", openSave);
by("level").addEventListener("change", event => { const depth = lengthIn(event.target.value); if (depth !== null) setDepth(depth); });
by("contours").addEventListener("change", () => { redraw(); wantLevel("depth", levelDepth); wantLevel("from_front", levelY); });
window.addEventListener("beforeunload", event => { if (seen?.unsaved.length) event.preventDefault(); });
document.addEventListener("keydown", event => {
  if (!(event.ctrlKey || event.metaKey) || event.altKey) return;
  const typing = event.target.matches?.("input:not([type=checkbox]), textarea");
  const key = event.key.toLowerCase();
  if (key === "s") { event.preventDefault(); if (seen?.unsaved.length && !by("save-box").open) openSave(); }
  if (typing || by("save-box").open) return;
  if (key === "z" && !event.shiftKey && seen?.undo) { event.preventDefault(); act("undo", {}); }
  if ((key === "y" || (key === "z" && event.shiftKey)) && seen?.redo) { event.preventDefault(); act("redo", {}); }
});
let resized = 0;
window.addEventListener("resize", () => { clearTimeout(resized); resized = setTimeout(() => { if (seen?.tank) { drawTank(); drawSpot(); } }, 120); });

async function stillThere() {
  try {
    const found = await ask("alive");
    if (found.version !== seen?.version && !busy && !held) { const state = await ask("state"); await released(); show(state); if (found.notice) tell(found.notice); }
    else if (found.elsewhere.length) tell(`${found.elsewhere.join(", ")} was changed elsewhere while you have unsaved changes here. Saving will show both.`);
  } catch (trouble) { refused(trouble); }
}
setInterval(stillThere, 15000);
document.addEventListener("visibilitychange", () => { if (!document.hidden && seen) stillThere(); });

ask("state").then(show, refused);
