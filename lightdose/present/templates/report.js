"use strict";
// A list of corals that can be searched, sorted and folded; without scripts it stands whole, as it was written.
(() => {
const collator = new Intl.Collator(undefined, { numeric: true });

function shorten(list) {
  const table = list.querySelector("table"), body = table.tBodies[0], rows = [...body.rows];
  const heads = [...table.tHead.rows[0].cells];
  const find = list.querySelector("input"), picks = [...list.querySelectorAll("[data-pick]:not(tr)")];
  const sort = list.querySelector("[data-sort]"), turn = list.querySelector("[data-turn]");
  const told = list.querySelector("[data-told]"), more = list.querySelector("[data-more]");
  const calm = rows.filter((row) => row.classList.contains("calm"));
  let whole = false, backward = false;

  function show() {
    const words = find.value.trim().toLocaleLowerCase();
    const asked = words || picks.some((pick) => pick.value);
    for (const row of rows) {
      const fits = (!words || row.textContent.toLocaleLowerCase().includes(words))
        && picks.every((pick, n) => !pick.value || row.dataset[`pick${n}`] === pick.value);
      row.hidden = !fits;
      row.classList.toggle("folded", fits && !asked && !whole && row.classList.contains("calm"));
    }
    const shown = rows.filter((row) => !row.hidden && !row.classList.contains("folded")).length;
    told.textContent = `${shown} of ${rows.length} shown.`;
    more.hidden = !calm.length || Boolean(asked);
    more.textContent = whole ? `Fold ${calm.length} ${more.dataset.calm}` : `Show ${calm.length} more ${more.dataset.calm}`;
  }

  // Figures by size, words by the alphabet, dashes last.
  function order(one, other, column) {
    const texts = [one, other].map((row) => row.cells[column].textContent.trim());
    const values = texts.map(Number.parseFloat);
    if (values.every(Number.isFinite)) return values[0] - values[1];
    if (texts.includes("-")) return texts[0] === "-" ? 1 : -1;
    return collator.compare(...texts);
  }

  function arrange() {
    const column = sort.value === "" ? null : Number(sort.value), way = backward ? -1 : 1;
    const sorted = [...rows];
    if (column !== null) sorted.sort((one, other) => way * order(one, other, column));
    else if (backward) sorted.reverse();
    body.append(...sorted);
    heads.forEach((head, n) => {
      if (n === column) head.setAttribute("aria-sort", backward ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
    });
  }

  heads.forEach((head, n) => {
    if (head.classList.contains("range")) return;
    // Not a button element: a browser does not repeat those at the head of each printed sheet.
    const button = document.createElement("span"), option = document.createElement("option");
    option.value = n;
    option.textContent = head.firstChild.textContent.trim();
    sort.append(option);
    button.setAttribute("role", "button");
    button.tabIndex = 0;
    button.append(...head.childNodes);
    head.append(button);
    const press = () => {
      backward = sort.value === option.value && !backward;
      sort.value = option.value;
      arrange();
    };
    button.addEventListener("click", press);
    button.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" && event.key !== " ") return;
      event.preventDefault();
      press();
    });
  });
  find.addEventListener("input", show);
  picks.forEach((pick) => pick.addEventListener("change", show));
  sort.addEventListener("change", () => { backward = false; arrange(); });
  turn.addEventListener("click", () => { backward = !backward; arrange(); });
  more.addEventListener("click", () => { whole = !whole; show(); });
  list.querySelectorAll(".tools").forEach((tools) => { tools.hidden = false; });
  show();
}

document.querySelectorAll(".listed").forEach(shorten);
// What is folded on the screen but belongs on paper is opened for the printer.
addEventListener("beforeprint", () => document.querySelectorAll("details:not(.screen)").forEach((d) => { d.open = true; }));
})();
