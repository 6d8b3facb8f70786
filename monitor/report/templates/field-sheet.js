// The sheet at work: keys, what is asked, what is kept, the file. The rules stand in fieldRules and fieldRows.
addEventListener("DOMContentLoaded", async () => {
  const $ = (id) => document.getElementById(id), all = (what) => [...document.querySelectorAll(what)];
  const sheet = JSON.parse($("sheet-data").textContent);
  const rules = fieldRules, {at, asked, lineOf, named} = fieldRows;
  const kept = await fieldKept();
  const empty = () => ({technician: "", date: "", slots: {}, marks: {}, walls: {}, instruments: {}, step: 0, gone: "", work: {done: {}, marks: {}, note: ""}});
  const steps = all(".field");
  let state = empty(), open = null, typing = {whole: "", part: "", unit: "in", doubt: ""}, failed = kept.where === "";

  const today = () => {
    const now = new Date();
    return [now.getFullYear(), now.getMonth() + 1, now.getDate()].map((n) => String(n).padStart(2, "0")).join("-");
  };

  // One save after the other; what is on the disk is said only once it is there.
  let saving = Promise.resolve(), changes = 0;
  function keep() {
    const now = {...structuredClone(state), file: fileNow()}, change = ++changes;
    document.body.dataset.kept = "not yet";
    saving = saving.then(() => kept.save(sheet.kept_as, now)).then(() => { failed = kept.where === ""; }, () => { failed = true; })
      .then(() => { if (change === changes) { document.body.dataset.kept = failed ? "no" : "yes"; progress(); warn(); } });
  }

  // Who leaves the page while what was written down is only on it is asked first.
  addEventListener("beforeunload", (event) => {
    if (["not yet", "no"].includes(document.body.dataset.kept) && !state.gone) event.preventDefault();
  });

  function changed() {
    state.gone = "";
    if (!state.date) { state.date = today(); $("date").value = state.date; }
    keep();
    show();
  }

  function warn() {
    const on = state.date || today(), {made_long_ago_days: long, data_old_days: old} = sheet.rules;
    const made = rules.days(sheet.day, on), data = rules.days(sheet.known_until, on), said = [];
    if (failed) said.push("This browser keeps nothing. Do not close or reload this page before the file is saved, or write on paper.");
    if (made > long) said.push(`Stale: this sheet was made for ${sheet.day}, ${made} days before the visit. Its ranges may not hold; ask for a new one.`);
    else if (made < 0) said.push(`This sheet was made for ${sheet.day}, which is still to come.`);
    if (state.date && state.date !== today()) said.push(`The visit is dated ${state.date}, and today is ${today()}. For another visit save and clear this sheet, or change the date.`);
    if (data > old) said.push(`Stale: what it was made from was known ${data} days before the visit.`);
    const text = said.join("\n");
    if ($("warnings").dataset.said === text) return;
    $("warnings").dataset.said = text;
    $("warnings").replaceChildren(...said.map((line) => Object.assign(document.createElement("p"), {className: "told", textContent: line})));
  }

  // what stands on the page

  const slotOf = (place) => state.slots[place];
  // A mixed number is never torn apart at the end of a line: 3 3/16 would be read as 3. What is written down stays plain.
  const together = (text) => text.replace(/(\d) (?=\d+\/\d)/g, "$1\u00a0");
  const shown = (slot) => slot?.not ? slot.not : slot?.typed?.length ? slot.typed[slot.typed.length - 1].text : "";

  // Marks of a wall that are to be read: [place, whether it is done].
  function places(w) {
    const found = [], after = sheet.walls[w].part === "after";
    sheet.walls[w].lines.forEach((line, l) => line.marks.forEach((mark, m) => {
      if (after && state.work.marks[mark.mark]?.fate === "lost") return;
      const asks = asked(sheet, w, l, m, state), again = marksAgain(w, l);
      for (const placing of [0, 1]) {
        const place = at(w, l, m, placing), slot = slotOf(place);
        if (placing && !again.has(mark.mark)) continue;
        found.push([place, slot?.not || (slot?.typed?.length && (placing || asks !== "again"))]);
      }
    }));
    return found;
  }

  // Marks of a line that are read from a second placing: those that asked for it; all where the whole wall is read again,
  // or where a placing stands anywhere, so that one mark alone tells nothing.
  function marksAgain(w, l) {
    const {marks} = sheet.walls[w].lines[l];
    const asking = marks.filter((_, m) => sheet.walls[w].second || ["second", "agreed", "differ"].includes(asked(sheet, w, l, m, state)));
    const all = asking.length && marks.some((mark) => Object.keys(mark.refs).length);
    return new Set((all ? marks : asking).map((mark) => mark.mark));
  }

  function fineText(w, l, m, placing) {
    const line = lineOf(sheet, w, l, state), fine = rules.range(line, line.marks[m], fieldRows.read(line, w, l, placing, state));
    if (!fine) return "";
    const step = line.unit === "in" ? 25.4 / 16 : 1;
    const [low, high] = [Math.ceil(fine.low / step - 1e-9), Math.floor(fine.high / step + 1e-9)].map((n) => rules.written(n * step, line.unit));
    return together(`expect ${rules.written(fine.middle, line.unit)}, fine from ${low} to ${high}`);
  }

  function show() {
    steps.forEach((part, step) => { part.hidden = step !== state.step; });
    for (const button of all(".slot")) {
      const [w, l, m, placing] = button.dataset.at.split(".").map(Number), line = sheet.walls[w].lines[l];
      const text = shown(slotOf(button.dataset.at)), asks = asked(sheet, w, l, m, state);
      button.textContent = together(text);
      button.hidden = placing === 1 && !text && !marksAgain(w, l).size;
      button.classList.toggle("out", text !== "" && asks !== "");
      button.classList.toggle("asked", placing === 1 && text === "" && asks === "second");
      const mark = named(sheet.walls[w], line.marks[m].mark, state);
      if (!placing) button.parentElement.querySelector(".mark").textContent = mark;
      button.setAttribute("aria-label", `${mark}, set-up ${placing ? line.again : line.number}: ${text || "not read yet"}`);
    }
    for (const part of all(".fine")) {
      const [w, l, m] = part.dataset.at.split(".").map(Number);
      part.hidden = sheet.blind && !slotOf(at(w, l, m, 0));
      part.textContent = fineText(w, l, m, 0) || (part.dataset.said ??= part.textContent);
    }
    for (const part of all(".alarm")) {
      const seen = state.walls[part.dataset.at]?.seen ?? [];
      const urgent = all(".seen[data-urgent]").some((box) => box.dataset.at === part.dataset.at && seen.includes(box.value));
      part.textContent = urgent ? "Leave the area by the wall, keep others out, and call the office from outside. See the box at the end." : "";
    }
    const counts = sheet.walls.map((_, w) => places(w)).map((found) => [found.filter(([, done]) => done).length, found.length]);
    all("#chooser button").forEach((button, step) => {
      const {label, wall} = steps[step].dataset;
      button.textContent = wall === undefined ? label : `${label} (${counts[wall][0]} of ${counts[wall][1]})`;
      button.setAttribute("aria-pressed", String(step === state.step));
    });
    for (const part of all(".moved")) part.hidden = state.work.marks[part.dataset.mark]?.fate !== "moved";
    progress();
    warn();
  }

  function progress() {
    const found = sheet.walls.flatMap((_, w) => places(w)), done = found.filter(([, there]) => there).length;
    const kept = {yes: "Kept on this phone.", "not yet": "Keeping it …"}[document.body.dataset.kept] ?? "";
    const gone = {sent: "All of it was sent.", saved: "All of it is in the file saved last; send that file."}[state.gone] ?? "";
    $("progress").textContent = [`${done} of ${found.length} readings are there or have a reason.`, kept, gone].filter(Boolean).join(" ");
  }

  // the keys

  const typedText = () => typing.unit === "in"
    ? [typing.whole, typing.part].filter(Boolean).join(" ") + typing.doubt : typing.whole + typing.doubt;

  function showTyped() {
    $("typed").value = [typedText(), typedText() && typing.unit].filter(Boolean).join(" ");
    $("unit").textContent = typing.unit === "in" ? "mm" : "in";
    $("unit").setAttribute("aria-label", `read in ${typing.unit === "in" ? "mm" : "inches"}`);
    $("parts").hidden = typing.unit === "mm";
    $("point").hidden = typing.unit === "in";
  }

  function openKeys(place) {
    const [w, l, m, placing] = place.split(".").map(Number), line = lineOf(sheet, w, l, state), mark = line.marks[m];
    open = {place, w, l, m, placing};
    typing = {whole: "", part: "", unit: line.unit, doubt: ""};
    $("keys-head").textContent = `${named(sheet.walls[w], mark.mark, state)}: ${line.kind.toUpperCase()}, set-up ${placing ? line.again : line.number}`;
    const said = all(".fine").find((part) => part.dataset.at === at(w, l, m))?.dataset.said ?? "";
    $("keys-fine").textContent = sheet.blind && !slotOf(place) ? "" : fineText(w, l, m, placing) || said;
    $("minus").hidden = line.kind !== "deflection";
    $("asked").textContent = slotOf(place) ? together(`Written down: ${shown(slotOf(place))}. Enter writes what was read again.`) : "";
    const more = state.marks[at(w, l, m)] ?? {};
    for (const name of ["crack", "photos", "note"]) $(name).value = more[name] ?? "";
    for (const part of all("#keys details")) part.open = false;
    showTyped();
    if (!$("keys").open) $("keys").showModal();
  }

  function enter() {
    const text = typedText(), {place, w, l, m, placing} = open;
    if (rules.millimetres(text, typing.unit) === null) { $("asked").textContent = "Type what was read, or say why it could not be."; return; }
    const before = slotOf(place)?.typed ?? [];
    state.slots[place] = {typed: [...before, {text, unit: typing.unit}]};
    changed();
    const asks = asked(sheet, w, l, m, state), mark = named(sheet.walls[w], sheet.walls[w].lines[l].marks[m].mark, state), fine = fineText(w, l, m, placing);
    const outside = `${mark}: ${text} is outside the range (${fine}).`;
    const said = {
      again: `${outside} Read mark ${mark} again.`,
      second: `${outside} The same twice. Photograph the rule at ${mark}. ` + (sheet.walls[w].second
        ? "It is read again in the second set-up." : `Take the set-up down, put it up anew, and read ${[...marksAgain(w, l)].join(", ")} again as set-up ${sheet.walls[w].lines[l].again}.`),
      differ: `${outside} The two set-ups differ. Read both again; if they still differ, leave both as they are.`,
      agreed: `${outside} Two set-ups agree: it is accepted, and the office is told. Call them before you leave.`,
    }[asks] ?? "";
    const anew = placing === 0 && asks === "second";
    if (anew && !sheet.walls[w].second) {
      openKeys(places(w).map(([one]) => one).find((one) => one.startsWith(`${at(w, l)}.`) && one.endsWith(".1") && !slotOf(one)));
    } else if (said && !anew) openKeys(place);
    else next();
    if (said) $("asked").textContent = together(said);
  }

  // On to the next mark of the wall that is not done, in the order of the sheet; else back to the page.
  function next() {
    const order = places(open.w), here = order.findIndex(([place]) => place === open.place);
    const line = [...order.slice(here + 1), ...order.slice(0, here)].find(([place, done]) => !done && place.split(".")[3] === String(open.placing));
    if (line) openKeys(line[0]);
    else $("keys").close();
  }

  for (const key of all(".digits .key")) key.addEventListener("click", () => { typing.whole = (typing.whole + key.value).slice(0, 7); showTyped(); });
  for (const key of all(".part")) key.addEventListener("click", () => { typing.part = key.value; if (!key.value && !typing.whole) typing.whole = "0"; showTyped(); });
  $("minus").addEventListener("click", () => { typing.whole = typing.whole.startsWith("-") ? typing.whole.slice(1) : `-${typing.whole}`; showTyped(); });
  $("point").addEventListener("click", () => { if (!typing.whole.includes(".")) typing.whole += typing.whole ? "." : "0."; showTyped(); });
  $("doubt").addEventListener("click", () => { typing.doubt = typing.doubt ? "" : "?"; showTyped(); });
  $("unit").addEventListener("click", () => { typing = {whole: "", part: "", unit: typing.unit === "in" ? "mm" : "in", doubt: ""}; showTyped(); });
  $("back").addEventListener("click", () => {
    if (typing.doubt) typing.doubt = ""; else if (typing.part) typing.part = ""; else typing.whole = typing.whole.slice(0, -1);
    showTyped();
  });
  $("enter").addEventListener("click", enter);
  $("close").addEventListener("click", () => $("keys").close());
  for (const key of all(".not")) key.addEventListener("click", () => { state.slots[open.place] = {...slotOf(open.place), not: key.value}; changed(); next(); });
  for (const name of ["crack", "photos", "note"]) $(name).addEventListener("input", () => {
    const place = at(open.w, open.l, open.m);
    state.marks[place] = {...state.marks[place], [name]: $(name).value};
    changed();
  });
  for (const button of all(".slot")) button.addEventListener("click", () => openKeys(button.dataset.at));

  // the rest of the page

  const ofWall = (w, more) => { state.walls[w] = {...state.walls[w], ...more}; changed(); };
  for (const box of all(".seen")) box.addEventListener("change", () => ofWall(box.dataset.at, {
    seen: all(".seen").filter((one) => one.dataset.at === box.dataset.at && one.checked).map((one) => one.value),
  }));
  for (const box of all(".weather")) box.addEventListener("change", () => ofWall(box.dataset.at, {weather: box.value}));
  for (const text of all("textarea.note")) text.addEventListener("input", () => ofWall(text.dataset.at, {note: text.value}));
  for (const button of all(".whole")) button.addEventListener("click", () => {
    for (const [place, done] of places(Number(button.dataset.at))) if (!done) state.slots[place] = {...slotOf(place), not: button.value};
    changed();
  });
  for (const list of all(".instrument")) list.addEventListener("change", () => { state.instruments[list.dataset.at] = list.value; changed(); });
  $("technician").addEventListener("input", () => { state.technician = $("technician").value.trim(); changed(); });
  $("date").addEventListener("change", () => { state.date = $("date").value; keep(); show(); });
  const turnTo = (step) => { state.step = step; keep(); show(); };
  if (steps.length > 1) steps.forEach((_, step) => {
    const button = Object.assign(document.createElement("button"), {type: "button", className: "act"});
    button.addEventListener("click", () => turnTo(step));
    $("chooser").append(button);
    if (!steps[step + 1]) return;
    const on = Object.assign(document.createElement("button"), {type: "button", className: "act onscreen", textContent: `On to ${steps[step + 1].dataset.label}`});
    on.addEventListener("click", () => { turnTo(step + 1); steps[step + 1].scrollIntoView(); });
    steps[step].append(on);
  });

  // the record of the work

  const ofMark = (part, more) => {
    state.work.marks[part.dataset.mark] = {...state.work.marks[part.dataset.mark], ...more};
    changed();
  };
  for (const part of all(".done")) part.addEventListener("change", () => { state.work.done[part.name] = part.value.trim(); changed(); });
  for (const part of all(".fate")) part.addEventListener("change", () => ofMark(part, {fate: part.value}));
  for (const part of all(".thickness")) part.addEventListener("input", () => ofMark(part, {thickness: part.value.trim()}));
  for (const part of all(".new")) part.addEventListener("input", () => ofMark(part, {[part.name]: part.value.trim()}));
  $("work-note")?.addEventListener("input", () => { state.work.note = $("work-note").value; changed(); });

  function fill() {
    $("technician").value = state.technician;
    $("date").value = state.date;
    for (const box of all(".seen")) box.checked = (state.walls[box.dataset.at]?.seen ?? []).includes(box.value);
    for (const box of all(".weather")) box.checked = state.walls[box.dataset.at]?.weather === box.value;
    for (const text of all("textarea.note")) text.value = state.walls[text.dataset.at]?.note ?? "";
    for (const list of all(".instrument")) if (list.dataset.at in state.instruments) list.value = state.instruments[list.dataset.at];
    for (const part of all(".done")) part.value = state.work.done[part.name] ?? "";
    for (const part of all(".fate")) part.value = state.work.marks[part.dataset.mark]?.fate ?? "";
    for (const part of all(".thickness")) part.value = state.work.marks[part.dataset.mark]?.thickness ?? "";
    for (const part of all(".new")) part.value = state.work.marks[part.dataset.mark]?.[part.name] ?? "";
    if ($("work-note")) $("work-note").value = state.work.note;
    show();
  }

  // the file

  const content = () => JSON.stringify(fieldRows.file(sheet, state), null, 1);
  const name = () => `visit_${state.date || today()}_${state.technician.replace(/[^\w-]/g, "") || "unnamed"}_${sheet.id}`;
  const fileNow = () => ({name: `${name()}.json`, text: content(), about: `${state.date}, ${[...new Set(sheet.walls.map((wall) => wall.key))].join(", ")}`});
  const tell = (text) => { $("sent").textContent = text; };
  const leave = (how) => { state.gone = how; keep(); };

  function save(file) {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([file.text], {type: "application/json"}));
    link.download = file.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  }

  function whole() {
    if (!state.technician) { tell("Write your id under “Read by” first."); $("technician").focus(); return false; }
    if (!fieldRows.file(sheet, state).tables.readings.length) { tell("Nothing is written down yet."); return false; }
    return true;
  }

  $("save").addEventListener("click", () => {
    if (!whole()) return;
    const file = fileNow();
    save(file);
    leave("saved");
    tell(`Saved as ${file.name}. Send that file to the office. The sheet stays on this phone until you clear it.`);
  });

  // Some browsers pass on no JSON, but text; the file is known by what is in it.
  const files = () => [["json", "application/json"], ["txt", "text/plain"]]
    .map(([end, type]) => ({files: [new File([content()], `${name()}.${end}`, {type})]})).find((one) => navigator.canShare?.(one));
  $("share").hidden = !files();
  $("share").addEventListener("click", () => { if (whole()) navigator.share(files()).then(() => { leave("saved"); tell("Shared."); }, (error) => tell(`Not shared (${error.message}). Save the file.`)); });

  const office = fieldSend(sheet.upload_to);
  $("send").hidden = !office.possible;
  $("no-signal").hidden = office.possible;
  if (office.possible) { $("send").classList.add("main"); $("save").classList.remove("main"); }
  $("send").addEventListener("click", async () => {
    if (!whole()) return;
    tell("Sending …");
    try {
      const told = await office.preview(content(), `${name()}.json`);
      const rows = told.files[0].tables.flatMap((table) => table.messages);
      const more = rows.length > 6 ? [`And ${rows.length - 6} more; the office sees them all.`] : [];
      if (!confirm([`${told.says} Send it?`, ...rows.slice(0, 6), ...more].join("\n\n"))) { tell("Not sent."); return; }
      const done = await office.confirm(told);
      leave("sent");
      const now = done.walls.flatMap((wall) => [`${wall.wall}: ${wall.verdict || "no verdict yet"}.`, ...wall.alarms]);
      tell([`Sent. ${done.says}`, ...now].join("\n"));
    } catch (error) { tell(`Not sent: ${error.message}. It is kept here; send it later, or save the file.`); }
  });

  $("print").addEventListener("click", () => print());
  $("clear").addEventListener("click", () => {
    if (!confirm("Clear all that was written on this sheet? Save or send the file first.")) return;
    state = empty();
    keep();
    fill();
    tell("Cleared.");
  });

  // Readings of other sheets that lie on this phone and went nowhere: their files can be saved from here.
  async function offerOthers() {
    for (const [key, other] of await kept.all().catch(() => [])) {
      const holds = other.file && (Object.keys(other.slots).length || Object.values(other.work.done).some(Boolean));
      if (key === sheet.kept_as || other.gone || !holds) continue;
      const box = Object.assign(document.createElement("p"), {className: "told", textContent: `Readings of another sheet are on this phone and were neither sent nor saved: ${other.file.about}. `});
      const button = Object.assign(document.createElement("button"), {type: "button", className: "act", textContent: "Save their file"});
      button.addEventListener("click", async () => {
        save(other.file);
        await kept.save(key, {...other, gone: "saved"});
        box.textContent = `Saved as ${other.file.name}. Send that file to the office.`;
      });
      box.append(button);
      $("others").append(box);
    }
  }

  for (const part of all(".fine")) part.dataset.said = part.textContent;
  state = {...empty(), ...(await kept.load(sheet.kept_as).catch(() => { failed = true; return null; }))};
  navigator.storage?.persist?.().catch(() => {});
  fill();
  await offerOthers();
  office.who().then((who) => {
    if (state.technician || !sheet.people.includes(who)) return;
    state.technician = $("technician").value = who;
  });
  document.body.dataset.ready = kept.where || "not kept";
});
