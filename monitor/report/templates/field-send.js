// Sends the file to the service that made the sheet: it says what the file would do, and stores it once that is
// confirmed. Nothing is sent by a sheet that was opened from a file.
const fieldSend = (uploadTo) => {
  async function answer(path, more = {}) {
    const found = await fetch(path, {credentials: "same-origin", ...more});
    const said = await found.json().catch(() => ({}));
    if (found.status === 401) throw new Error("sign in first, in another tab");
    if (!found.ok) throw new Error(said.detail ?? said.says ?? `the office answered ${found.status}`);
    return said;
  }

  // The sheet may have been open since before the session, so the session's token is asked for each time.
  const post = async (path, body) =>
    answer(path, {method: "POST", headers: {"x-csrf-token": (await answer("/api/session")).csrf}, body});

  const possible = Boolean(uploadTo) && location.protocol !== "file:";
  return {
    possible,
    // Who is signed in, "" where that cannot be told now.
    who: async () => possible ? answer("/api/session").then((said) => said.account, () => "") : "",
    preview: async (text, name) => {
      const form = new FormData();
      form.append("files", new Blob([text], {type: "application/json"}), name);
      const told = await post(uploadTo, form);
      if (told.files[0].problem) throw new Error(told.files[0].problem);
      return told;
    },
    confirm: (told) => post(`${uploadTo}/${told.upload_id}/confirm`),
  };
};
