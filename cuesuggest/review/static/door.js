// @ts-check
/** Where the page comes in: with a key it starts, without one it says how to get in. */

import { enter, fetchFirst, keepShown, Refused } from "./api.js";
import { el, find } from "./dom.js";

/** Takes the token out of the address, where it would be seen and kept. */
function takeToken() {
  const token = location.hash.slice(1);
  if (token) history.replaceState(null, "", location.pathname);
  return token;
}

/** @param {() => Promise<unknown>} attempt */
async function refusalOf(attempt) {
  try {
    await attempt();
    return null;
  } catch (error) {
    if (error instanceof Refused) return error.message;
    throw error;
  }
}

// A new address of this server, put in this window.
addEventListener("hashchange", () => location.reload());

const token = takeToken();
const refused = token ? await refusalOf(() => enter(token)) : null;
// Also where the token was used before: this may be the window that used it.
const closed = await refusalOf(async () => keepShown(await fetchFirst()));
if (closed === null) await import("./main.js");
else {
  const [first, ...more] = (refused ?? closed).split(/(?<=[.]) /);
  const notice = find("#closed", HTMLElement);
  notice.replaceChildren(el("h2", {}, first), ...more.map((each) => el("p", {}, each)));
  notice.hidden = false;
}
