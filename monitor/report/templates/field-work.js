// The record of a day of work as rows of the register's tables, under the names that its CSV files have.
const fieldWork = (() => {
  const marksOf = (state, ...fates) => Object.entries(state.work.marks).filter(([, mark]) => fates.includes(mark.fate));
  const listed = (marks) => marks.map(([name]) => name).join(" ");
  const withUnit = (text, unit) => text && /^[\d\s./,]+$/.test(text) ? `${text} ${unit}` : text;
  const movedTo = (mark) => mark?.fate === "moved" ? (mark.id ?? "").trim() : "";

  // Nothing is recorded until something of the work is entered, or something was read after it.
  function wasDone(sheet, state) {
    const after = sheet.walls.findIndex((wall) => wall.part === "after");
    return Object.values(state.work.done).some(Boolean) || Object.values(state.work.marks).some((mark) => mark.fate)
      || Object.keys(state.slots).some((place) => place.startsWith(`${after}.`));
  }

  function events(sheet, state) {
    const {house, wall, unit} = sheet.work, {done, marks, note} = state.work;
    const common = {house, wall, event_date: state.date};
    const {positions, ...record} = done;
    for (const name of ["bottom_hole_depth", "strap_spacing", "adhesive_margin", "heat_distance", "anchor_gap"]) {
      if (record[name]) record[name] = withUnit(record[name], unit);
    }
    const thick = Object.entries(marks).filter(([, mark]) => mark.thickness).map(([name, mark]) => `${name} ${withUnit(mark.thickness, unit)}`);
    const said = [positions && `straps at ${positions}`, thick.length && `thickness at ${thick.join(", ")}`, note];
    const rows = [{
      ...common, kind: "reinforcement", marks: "", new_mark: "", note: said.filter(Boolean).join("; "), ...record,
      marks_untouched: listed(marksOf(state, "untouched")),
    }];
    const worked = marksOf(state, "surface", "strap");
    if (worked.length) {
      const under = listed(marksOf(state, "strap")), surface = listed(marksOf(state, "surface"));
      const what = [surface && `worked on: ${surface}`, under && `strap over: ${under}`].filter(Boolean).join("; ");
      rows.push({...common, kind: "surface work", marks: listed(worked), new_mark: "", note: what});
    }
    for (const [name, mark] of marksOf(state, "moved", "lost")) {
      rows.push({...common, kind: "lost mark", marks: name, new_mark: movedTo(mark), note: mark.fate});
    }
    return rows;
  }

  // Marks whose own rows change: those given up, those put in their place, those under a strap now.
  function marks(sheet, state) {
    const {house, wall} = sheet.work, rows = [];
    const row = (name, more) => rows.push({house, wall, mark: name, ...sheet.work.marks[name], ...more});
    for (const [name] of marksOf(state, "strap")) row(name, {on_strap: "yes"});
    for (const [name, mark] of marksOf(state, "moved", "lost")) {
      row(name, {retired_on: state.date});
      const id = movedTo(mark), old = sheet.work.marks[name];
      const place = {x: (mark.x ?? "").trim() || old.x, z: (mark.z ?? "").trim() || old.z};
      if (id) rows.push({house, wall, mark: id, ...old, ...place, on_strap: "no", set_on: state.date, retired_on: "", replaces: name, note: ""});
    }
    return rows;
  }

  const tables = (sheet, state) => wasDone(sheet, state) ? {marks: marks(sheet, state), events: events(sheet, state)} : {};
  return {tables, movedTo};
})();
