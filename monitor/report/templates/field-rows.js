// From what was entered to the rows of the file, under the very names that a CSV file of readings has.
const fieldRows = (() => {
  const rules = fieldRules;
  const at = (...places) => places.join(".");

  // Deflections of one placing so far, by mark: the last value typed of each.
  function read(line, w, l, placing, state) {
    const found = {};
    line.marks.forEach((mark, m) => {
      const typed = typedIn(state.slots[at(w, l, m, placing)]);
      if (typed.length) found[mark.mark] = turned(line, typed[typed.length - 1]);
    });
    return found;
  }

  // A mark by the id that it bears after the work, where it was moved.
  const named = (wall, mark, state) => wall.part === "after" ? fieldWork.movedTo(state.work.marks[mark]) || mark : mark;

  // What was typed in a slot and stands: nothing where the mark could not be read in the end.
  const typedIn = (slot) => slot?.not ? [] : slot?.typed ?? [];
  const turned = (line, one) => rules.deflection(rules.millimetres(one.text, one.unit), line);

  // How far inward of its expectation each reading of a slot lies; null where nothing is foretold.
  function offs(line, mark, w, l, m, placing, state) {
    const middle = rules.expected(line, mark, read(line, w, l, placing, state));
    const typed = typedIn(state.slots[at(w, l, m, placing)]);
    return typed.map((one) => middle === null ? null : turned(line, one) - middle);
  }

  // What a mark still asks for (fieldRules.ask).
  function asked(sheet, w, l, m, state) {
    const line = lineOf(sheet, w, l, state), mark = line.marks[m];
    const both = [0, 1].map((placing) => offs(line, mark, w, l, m, placing, state));
    return rules.ask(mark.fine_mm, both[0], both[1], sheet.rules);
  }

  // A line with the instrument that was chosen for it on site, and its stand-off.
  function lineOf(sheet, w, l, state) {
    const line = sheet.walls[w].lines[l], chosen = state.instruments[at(w, l)];
    if (chosen === undefined || chosen === line.instrument) return line;
    return {...line, instrument: chosen, standoff_mm: sheet.instruments[chosen]?.standoff_mm ?? null};
  }

  const SAID = {
    again: "not read again", second: "read again, no second set-up",
    agreed: "second set-up agrees, told to the office", differ: "second set-up differs",
  };

  function note(sheet, w, l, m, placing, state) {
    const line = lineOf(sheet, w, l, state), mark = line.marks[m];
    const slot = state.slots[at(w, l, m, placing)], said = [];
    const texts = (slot.typed ?? []).map((one) => one.text).join(", ");
    if (slot.not && texts) said.push(`written down before: ${texts}`);
    else if (slot.typed?.length > 1) said.push(`read ${slot.typed.length} times: ${texts}`);
    const asks = asked(sheet, w, l, m, state), fine = rules.range(line, mark, read(line, w, l, placing, state));
    if (asks && fine && !slot.not) {
      const [low, high] = [fine.low, fine.high].map((mm) => rules.written(mm, line.unit));
      said.push(`outside the sheet's range ${low} to ${high} ${line.unit}: ${SAID[asks]}`);
    }
    return [...said, state.marks[at(w, l, m)]?.note].filter(Boolean).join("; ");
  }

  function ofWall(sheet, w, state) {
    const wall = sheet.walls[w], said = state.walls[w] ?? {}, rows = [];
    const common = {house: wall.house, wall: wall.wall, visit_date: state.date, part: wall.part, technician: state.technician};
    for (const placing of [0, 1]) {
      wall.lines.forEach((_, l) => {
        const line = lineOf(sheet, w, l, state);
        line.marks.forEach((mark, m) => {
          const slot = state.slots[at(w, l, m, placing)], more = placing ? {} : state.marks[at(w, l, m)] ?? {};
          if (!slot?.typed?.length && !slot?.not) return;
          const last = slot.not ? {text: "", unit: line.unit} : slot.typed[slot.typed.length - 1];
          rows.push({
            ...common, method: line.method, instrument: line.instrument,
            setup: String(placing ? line.again : line.number), standoff: "", mark: named(wall, mark.mark, state), value: last.text,
            unit: last.unit, kind: line.kind, not_read: slot.not ?? "", seen: "", weather: said.weather ?? "",
            crack_width: more.crack ?? "", photos: more.photos ?? "", note: note(sheet, w, l, m, placing, state),
          });
        });
      });
    }
    const extra = {seen: (said.seen ?? []).join("; "), note: said.note ?? ""};
    if (!extra.seen && !extra.note) return rows;
    if (!rows.length) {  // what was seen counts though no mark was read
      const line = lineOf(sheet, w, 0, state);
      rows.push({
        ...common, method: line.method, instrument: line.instrument, setup: String(line.number), standoff: "",
        mark: line.marks[0].mark, value: "", unit: line.unit, kind: line.kind, not_read: "other", seen: "",
        weather: said.weather ?? "", crack_width: "", photos: "", note: "",
      });
    }
    rows[0] = {...rows[0], seen: extra.seen, note: [rows[0].note, extra.note].filter(Boolean).join("; ")};
    return rows;
  }

  // The whole file.
  function file(sheet, state) {
    const {day, judged_on, known_until, code_version, id} = sheet;
    return {
      kind: "wallbow visit sheet", version: 1, made_from: {sheet: id, day, judged_on, known_until, code_version},
      tables: {
        ...(sheet.work ? fieldWork.tables(sheet, state) : {}),
        readings: sheet.walls.flatMap((_, w) => ofWall(sheet, w, state)),
      },
    };
  }

  return {at, read, asked, named, lineOf, ofWall, file};
})();
