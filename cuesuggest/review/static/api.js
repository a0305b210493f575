/** What goes over the wire to the server that this page came from. */

/** An answer that is no success: `behind` if the song has changed meanwhile, with `page` as it is now. */
export class Refused extends Error {
  constructor(message, page = null) {
    super(message);
    this.page = page;
  }
}

const GONE = "The program has stopped. Start cuesuggest review again; all that was done before is saved.";

async function asked(path, options) {
  try {
    return await fetch(path, { credentials: "same-origin", cache: "no-store", ...options });
  } catch {
    throw new Refused(GONE);
  }
}

async function told(response) {
  if (response.status === 403) {
    throw new Refused("The program was started again. Open the address that it printed last.");
  }
  const body = await response.json();
  if (!response.ok) throw new Refused(body.error, body.behind ? body : null);
  return body;
}

/** The page's content: the song, its chart for this width, what may be asked. */
export async function fetchSong(room) {
  return told(await asked(`/song?bars=${room.bars}&width=${room.width}`));
}

/** What the server holds by now: {revision, disk}. */
export async function fetchDisk() {
  return told(await asked("/disk"));
}

/** Do something; the answer is what was done and the page's content after it. */
export async function post(values, room) {
  return told(
    await asked(`/act?bars=${room.bars}&width=${room.width}`, {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify(values),
    }),
  );
}

/** A file to take away: {name, blob}. */
export async function fetchExport(ending) {
  const response = await asked(`/export/${encodeURIComponent(ending)}`, {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: "{}",
  });
  if (!response.ok) await told(response);
  return { name: decodeURIComponent(response.headers.get("x-file-name")), blob: await response.blob() };
}
