"use strict";
// The rules that a sheet must know without signal. Each is held against the tool's own on the same cases.
const fieldRules = (() => {
  const MM_PER_INCH = 25.4;

  // "1 3/16" or "30.5", in inches or millimetres, to millimetres; null where it is no number. A "?" says in doubt.
  function millimetres(text, unit) {
    const found = /^(-?)(?:(\d+)(?: (\d+)\/(\d+))?|(\d+)\/(\d+)|(\d*\.\d+))\??$/.exec(text.trim());
    if (!found) return null;
    const [, minus, whole, over, under, alone, below, decimal] = found;
    const size = Number(decimal ?? whole ?? 0) + (over ? over / under : 0) + (alone ? alone / below : 0);
    return (minus ? -1 : 1) * size * (unit === "in" ? MM_PER_INCH : 1);
  }

  // A length as a carpenter writes it, to the nearest sixteenth, halves up; or millimetres to a tenth.
  function written(mm, unit) {
    if (unit !== "in") return String(Math.round(mm * 10) / 10);
    let steps = Math.floor(Math.abs(mm) / MM_PER_INCH * 16 + 0.5), under = 16;
    const sign = mm < 0 && steps ? "-" : "", whole = Math.floor(steps / 16);
    steps -= 16 * whole;
    while (steps && steps % 2 === 0) { steps /= 2; under /= 2; }
    return sign + [whole || !steps ? String(whole) : "", steps ? `${steps}/${under}` : ""].filter(Boolean).join(" ");
  }

  // Deflection, inward positive, from what is read; and back. standoff in millimetres, null where there is none.
  function deflection(mm, line) {
    if (line.kind === "deflection") return mm;
    return (line.kind === "gap" ? line.standoff_mm ?? 0 : 0) - mm;
  }
  const reading = deflection;  // the same turn about the stand-off, either way

  // What a mark should read, in millimetres of deflection; null where nothing is foretold, or not before others are
  // read. read: deflections of the line's marks so far, by mark.
  function expected(line, mark, read) {
    if (mark.expected_mm === null || mark.fine_mm === null || mark.mark in mark.refs) return null;
    if (line.method === "string" && line.kind === "gap" && line.standoff_mm === null) return null;
    let mm = mark.expected_mm;
    for (const [name, weight] of Object.entries(mark.refs)) {
      const other = line.marks.find((one) => one.mark === name);
      if (read[name] === undefined || !other || other.expected_mm === null) return null;
      mm += weight * (read[name] - other.expected_mm);
    }
    return mm;
  }

  // From where to where a reading is fine, low first, in what is read.
  function range(line, mark, read) {
    const middle = expected(line, mark, read);
    if (middle === null) return null;
    const ends = [middle - mark.fine_mm, middle + mark.fine_mm].map((mm) => reading(mm, line));
    return {low: Math.min(...ends), high: Math.max(...ends), middle: reading(middle, line)};
  }

  // What to ask for, given how far inward of the expectation each reading of a mark lies: first placing, then second.
  // "" nothing; "again": read it again; "second": a second placing; "agreed": two placings agree, so it is accepted and
  // told; "differ": they do not. A mark of which nothing is foretold asks for nothing.
  function ask(fine, first, second, rules) {
    if (!first.length || first.includes(null)) return "";
    const off = first[first.length - 1];
    if (Math.abs(off) <= fine + 1e-9) return "";
    if (first.length < 2 || Math.abs(off - first[first.length - 2]) > rules.agree_mm + 1e-9) return "again";
    if (!second.length || second.includes(null)) return "second";
    return second[second.length - 1] / off > rules.confirmed_share ? "agreed" : "differ";
  }

  // Days from one ISO day to another.
  const days = (from, to) => Math.round((Date.parse(to.slice(0, 10)) - Date.parse(from.slice(0, 10))) / 86400000);

  return {millimetres, written, deflection, reading, expected, range, ask, days};
})();
