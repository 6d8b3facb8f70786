// Keeps the sheet on the phone, so that a reload or a dead battery loses nothing: in the browser's database, written
// through to the disk, or where there is none in its plain storage. `where` is "" where the browser keeps nothing.
// `all` gives what is kept of every sheet, as [key, state].
const fieldKept = (() => {
  const NAME = "wallbow-field-sheets";
  const done = (request) => new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });

  async function database() {
    const opening = indexedDB.open(NAME, 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("sheets");
    const base = await done(opening);
    const table = (mode) => base.transaction("sheets", mode, {durability: "strict"});
    return {
      where: "database",
      load: (id) => done(table("readonly").objectStore("sheets").get(id)),
      all: async () => {
        const sheets = table("readonly").objectStore("sheets");
        const [keys, states] = await Promise.all([done(sheets.getAllKeys()), done(sheets.getAll())]);
        return keys.map((key, n) => [key, states[n]]);
      },
      save: (id, state) => new Promise((resolve, reject) => {
        const change = table("readwrite");
        change.oncomplete = resolve;
        change.onerror = change.onabort = () => reject(change.error);
        change.objectStore("sheets").put(state, id);
      }),
    };
  }

  function plain() {
    const key = (id) => `${NAME} ${id}`;
    localStorage.setItem(key("try"), "1");
    localStorage.removeItem(key("try"));
    return {
      where: "storage",
      load: async (id) => JSON.parse(localStorage.getItem(key(id)) ?? "null"),
      all: async () => Object.keys(localStorage).filter((one) => one.startsWith(key("")))
        .map((one) => [one.slice(key("").length), JSON.parse(localStorage.getItem(one))]),
      save: async (id, state) => localStorage.setItem(key(id), JSON.stringify(state)),
    };
  }

  const nothing = {where: "", load: async () => null, all: async () => [], save: async () => {}};
  return async function open() {
    try { return await database(); } catch { /* some browsers refuse it to files, or in private windows */ }
    try { return plain(); } catch { return nothing; }
  };
})();
