// @ts-check
/**
 * Which key does what. One table: the page listens by it, the buttons show it, the help is made of it.
 *
 * `keys` are names as `keyOf` gives them; the first is shown. `when` names the mode in which it counts; without one
 * it counts in the chart.
 */

/**
 * The name of a key press: "Shift+ArrowLeft", "Ctrl+z", "x", "?". Shift is not named where it makes another sign.
 *
 * @param {KeyboardEvent} event
 */
export function keyOf(event) {
  const control = event.ctrlKey || event.metaKey ? "Ctrl+" : "";
  const key = event.key === " " ? "Space" : event.key;
  const shift = event.shiftKey && (key.length > 1 || /[a-z]/i.test(key)) ? "Shift+" : "";
  return `${control}${shift}${key.length === 1 ? key.toLowerCase() : key}`;
}

/** @type {Record<string, string>} */
const SHOWN = {
  ArrowLeft: "←", ArrowRight: "→", ArrowUp: "↑", ArrowDown: "↓", Escape: "Esc", Delete: "Del", Enter: "Enter",
};

/**
 * A key's name as it is shown on a button.
 *
 * @param {string} key
 */
export function shown(key) {
  const held = key === "+" ? [] : key.split("+").slice(0, -1);
  const last = key === "+" ? key : key.slice(key.lastIndexOf("+") + 1);
  return [...held, SHOWN[last] ?? (last.length === 1 ? last.toUpperCase() : last)].join(" ");
}

/** @typedef {"section" | "music" | "ends" | "sound" | "press" | "late" | "pressed" | "songs"} Menu */

/** @typedef {{group: string, id: string, keys: string[], label: string, when?: Menu}} Command */

/**
 * @param {string} group
 * @param {string} id
 * @param {string} keys
 * @param {string} label
 * @param {{when?: Menu}} extra
 * @returns {Command}
 */
const command = (group, id, keys, label, extra = {}) => ({ group, id, keys: keys.split(" "), label, ...extra });

export const COMMANDS = [
  command("Listen", "play", "Space", "play, pause"),
  command("Listen", "bar-back", "ArrowLeft", "a bar back"),
  command("Listen", "bar-on", "ArrowRight", "a bar on"),
  command("Listen", "section-back", "Shift+ArrowLeft", "a section back"),
  command("Listen", "section-on", "Shift+ArrowRight", "a section on"),
  command("Listen", "line-back", "[", "a line back"),
  command("Listen", "line-on", "]", "a line on"),
  command("Listen", "cue-back", "ArrowUp", "the cue before"),
  command("Listen", "cue-on", "ArrowDown", "the next cue"),
  command("Listen", "start", "Home", "to the start"),
  command("Listen", "last-section", "End", "to the last section"),
  command("Listen", "hear-cue", "p", "play into the cue"),
  command("Listen", "loop-section", "l", "loop the section"),
  command("Listen", "loop-bar", "Shift+l", "loop the bar"),
  command("Listen", "loop-here", "f", "loop from here, to here, no more"),
  command("Listen", "slower", "-", "slower"),
  command("Listen", "faster", "= +", "faster"),
  command("Listen", "click", "k", "click on the beats"),
  command("Listen", "patch", "b", "show the light"),
  command("Listen", "sound", "v", "how loud, how wide …"),
  command("Listen", "through", "Shift+r", "run through it, for practice …"),
  command("Listen", "song-softer", "ArrowLeft", "the song softer", { when: "sound" }),
  command("Listen", "song-louder", "ArrowRight", "the song louder", { when: "sound" }),
  command("Listen", "click-softer", "ArrowDown", "the click softer", { when: "sound" }),
  command("Listen", "click-louder", "ArrowUp", "the click louder", { when: "sound" }),
  command("Listen", "bars-a-line", "w", "16, 8 or 4 bars a line", { when: "sound" }),

  command("Questions", "question", "q", "next question"),

  command("Cue", "accept", "Enter a", "accept"),
  command("Cue", "reject", "x", "reject"),
  command("Cue", "reopen", "z", "suggestion again"),
  command("Cue", "accept-section", "Shift+a", "accept all of the section"),
  command("Cue", "accept-all", "Shift+Enter", "accept the whole draft"),
  command("Cue", "edit", "e", "edit …"),
  command("Cue", "earlier", ",", "a beat earlier"),
  command("Cue", "later", ".", "a beat later"),
  command("Cue", "bar-earlier", "<", "a bar earlier"),
  command("Cue", "bar-later", ">", "a bar later"),
  command("Cue", "brighter", "PageUp", "5 % more"),
  command("Cue", "darker", "PageDown", "5 % less"),
  command("Cue", "longer", "Shift+ArrowUp", "fade a beat longer"),
  command("Cue", "shorter", "Shift+ArrowDown", "fade a beat shorter"),
  command("Cue", "twice-long", "Shift+PageUp", "fade twice as long"),
  command("Cue", "half-long", "Shift+PageDown", "fade half as long"),
  command("Cue", "trigger", "t", "next trigger"),
  command("Cue", "anchor", "g", "starts or lands here"),
  command("Cue", "by-itself", "Shift+h", "by hand, or by itself"),
  command("Cue", "lock", "o", "lock, unlock"),
  command("Cue", "note", "n", "note …"),
  command("Cue", "copy", "d", "copy to every pass"),
  command("Cue", "colours", "Shift+c", "its colours …"),
  command("Cue", "one-shot", "j", "one-shot on this bar"),
  command("Cue", "one-shot-beat", "Shift+j", "one-shot on this beat"),
  command("Cue", "dark", "w", "dark on this stop"),
  command("Cue", "add", "i", "add a cue here …"),
  command("Cue", "call", "c", "add a line for somebody …"),
  command("Cue", "remove", "Delete Backspace", "remove an added cue"),

  command("Section", "section", "s", "light of the section …"),
  command("Section", "rest", "0", "rest", { when: "section" }),
  command("Section", "subtle", "1", "subtle", { when: "section" }),
  command("Section", "lift", "2", "lift", { when: "section" }),
  command("Section", "intense", "3", "intense", { when: "section" }),
  command("Section", "passes", "r", "this section, or every pass", { when: "section" }),
  command("Section", "vamp", "v", "vamp: round until …", { when: "section" }),

  command("Music", "music", "m", "put the music right …"),
  command("Music", "bar-one", "1", "bar 1 is here", { when: "music" }),
  command("Music", "shift-later", "ArrowRight", "bars a beat later", { when: "music" }),
  command("Music", "shift-earlier", "ArrowLeft", "bars a beat earlier", { when: "music" }),
  command("Music", "swap", "3", "swap 1 and 3", { when: "music" }),
  command("Music", "half", "h", "half as fast", { when: "music" }),
  command("Music", "double", "d", "twice as fast", { when: "music" }),
  command("Music", "tempo", "b", "tempo …", { when: "music" }),
  command("Music", "signature", "t", "time signature …", { when: "music" }),
  command("Music", "tap", "a", "tap along …", { when: "music" }),
  command("Music", "boundary-earlier", "[", "section starts a bar earlier", { when: "music" }),
  command("Music", "boundary-later", "]", "section starts a bar later", { when: "music" }),
  command("Music", "boundary-add", "n", "new section at this bar", { when: "music" }),
  command("Music", "boundary-remove", "Delete Backspace", "join with the section before", { when: "music" }),
  command("Music", "name", "s", "name the section …", { when: "music" }),
  command("Music", "words", "w", "its first words …", { when: "music" }),
  command("Music", "form", "f", "type the form …", { when: "music" }),
  command("Music", "here-on", "o", "from here on, or everywhere", { when: "music" }),
  command("Music", "repeats", "r", "this section, or every pass", { when: "music" }),
  command("Music", "ends", "e", "where the song starts and ends …", { when: "music" }),
  command("Music", "starts-earlier", "[", "starts a bar earlier", { when: "ends" }),
  command("Music", "starts-later", "]", "starts a bar later", { when: "ends" }),
  command("Music", "starts-here", "s", "starts here", { when: "ends" }),
  command("Music", "ends-earlier", ",", "ends a bar earlier", { when: "ends" }),
  command("Music", "ends-later", ".", "ends a bar later", { when: "ends" }),
  command("Music", "ends-here", "e", "ends here", { when: "ends" }),
  command("Music", "forget", "0", "forget all that was stated …", { when: "music" }),

  command("Press along", "press-along", "Shift+k", "press along with the song"),
  command("Press along", "press-rest", "0", "rest", { when: "press" }),
  command("Press along", "press-subtle", "1", "subtle", { when: "press" }),
  command("Press along", "press-lift", "2", "lift", { when: "press" }),
  command("Press along", "press-intense", "3", "intense", { when: "press" }),
  command("Press along", "press-hit", "j", "hit", { when: "press" }),
  command("Press along", "press-note", "n", "note", { when: "press" }),
  command("Press along", "press-back", "Backspace", "take back the last", { when: "press" }),
  command("Press along", "press-late", "l", "how late you press", { when: "press" }),
  command("Press along", "press-done", "Enter", "done", { when: "press" }),
  command("Press along", "late-tap", "t 0 1 2 3 j Space", "tap", { when: "late" }),
  command("Press along", "late-done", "Enter", "done", { when: "late" }),
  command("Press along", "pressed-take", "Enter", "take over the section", { when: "pressed" }),
  command("Press along", "pressed-leave", "x", "leave it as drafted", { when: "pressed" }),
  command("Press along", "pressed-all", "Shift+Enter", "take over all", { when: "pressed" }),
  command("Press along", "pressed-on", "ArrowDown", "to the next that differs", { when: "pressed" }),
  command("Press along", "pressed-back", "ArrowUp", "to the one before", { when: "pressed" }),
  command("Press along", "pressed-more", "p", "press on from here", { when: "pressed" }),
  command("Press along", "pressed-drop", "Delete", "drop what you pressed …", { when: "pressed" }),

  command("Page", "undo", "u Ctrl+z", "undo"),
  command("Page", "redo", "Shift+u Ctrl+Shift+z Ctrl+y", "redo"),
  command("Songs", "songs", "Shift+s", "all songs"),
  command("Songs", "sound-check", "c", "sound check, for a night …", { when: "songs" }),
  command("Songs", "song-before", "Shift+p", "the song before"),
  command("Songs", "song-after", "Shift+n", "the next song"),

  command("Page", "list", "r", "running order"),
  command("Page", "export", "Shift+e", "export …"),
  command("Page", "title", "Shift+t", "title …"),
  command("Page", "scheme", "y", "dark, light"),
  command("Page", "help", "? h", "all acts"),
];

/**
 * The command that a key means in a mode ("" is the chart), or null.
 *
 * @param {string} key
 * @param {string} mode
 */
export function meant(key, mode) {
  return COMMANDS.find((each) => (each.when ?? "") === mode && each.keys.includes(key)) ?? null;
}
