// Keeps the sheet on the phone, so that a reload or a dead battery loses nothing: in the browser's database, written
// through to the disk, or where there is none in its plain storage. `where` is "" where the browser keeps nothing.
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
      save: async (id, state) => localStorage.setItem(key(id), JSON.stringify(state)),
    };
  }

  const nothing = {where: "", load: async () => null, save: async () => {}};
  return async function open() {
    try { return await database(); } catch { /* some browsers refuse it to files, or in private windows */ }
    try { return plain(); } catch { return nothing; }
  };
})();
