"use strict";
// Helps to find a wall in a long list: by text, by choice, by column. Without it the page says the same.
addEventListener("DOMContentLoaded", () => {
  const form = document.getElementById("finder");
  const bodies = [...document.querySelectorAll(".list tbody")];
  const rows = bodies.flatMap((body) => [...body.rows]).map((row, place) => ({
    row, place, body: row.parentNode, part: row.closest("section[data-list]"), words: row.textContent.toLowerCase(),
  }));
  const parts = [...document.querySelectorAll("section[data-list]")];
  const order = new Intl.Collator("en", {numeric: true}).compare;
  let column = "", down = false;

  function fits(item, wanted) {
    return Object.entries(wanted).every(([name, value]) => name === "text"
      ? value.toLowerCase().split(/\s+/).every((word) => item.words.includes(word))
      : !value || (item.row.dataset[name] ?? item.part.dataset[name]) === value);
  }

  function filter() {
    const {sort, ...wanted} = Object.fromEntries(new FormData(form));
    const seen = new Set();
    let shown = 0;
    for (const item of rows) {
      const fit = fits(item, wanted);
      if (item.row.hidden === fit) item.row.hidden = !fit;
      if (fit) { shown += 1; seen.add(item.part); }
    }
    const all = !Object.values(wanted).some(Boolean);
    for (const part of parts) part.hidden = !all && !seen.has(part);
    document.getElementById("shown").value = `${shown} of ${rows.length} walls shown`;
  }

  function compare(one, two) {
    const a = one.key, b = two.key;
    if (a === b) return one.place - two.place;
    if (a === "" || b === "") return a === "" ? 1 : -1;  // what is not known comes last, whichever way
    return (typeof a === "number" ? a - b : order(a, b)) * (down ? -1 : 1);
  }

  function sort() {
    for (const item of rows) {
      const text = column ? item.row.querySelector(`[data-col="${column}"]`)?.dataset.v ?? "" : "";
      item.key = !column ? item.place : text !== "" && !isNaN(text) ? Number(text) : text;
    }
    if (!column) down = false;
    rows.sort(compare);
    for (const body of bodies) body.append(...rows.filter((item) => item.body === body).map((item) => item.row));
    for (const head of document.querySelectorAll("th[data-sort]")) {
      const ours = head.dataset.sort === column;
      if (ours) head.setAttribute("aria-sort", down ? "descending" : "ascending");
      else head.removeAttribute("aria-sort");
      head.lastChild.textContent = ours ? (down ? "▼" : "▲") : "▹";
    }
    form.elements.sort.value = column;
  }

  for (const head of document.querySelectorAll("th[data-sort]")) {
    const button = document.createElement("button");
    button.type = "button";
    button.setAttribute("aria-label", `Sort by ${head.textContent.toLowerCase()}`);
    button.textContent = "▹";
    button.addEventListener("click", () => {
      down = head.dataset.sort === column ? !down : head.dataset.first === "down";
      column = head.dataset.sort;
      sort();
    });
    head.append(" ", button);
  }
  form.addEventListener("input", (event) => {
    if (event.target.name !== "sort") { filter(); return; }
    column = event.target.value;
    down = document.querySelector(`th[data-sort="${column}"]`)?.dataset.first === "down";
    sort();
  });
  form.addEventListener("submit", (event) => event.preventDefault());
  form.addEventListener("click", (event) => {
    if (event.target.type !== "reset") return;
    event.preventDefault();  // the form's own reset comes after its event: what is chosen next would not stand
    form.reset();
    column = "";
    sort();
    filter();
  });
  form.hidden = false;
  for (const part of form.querySelectorAll("[hidden]")) part.hidden = false;
  filter();
});
