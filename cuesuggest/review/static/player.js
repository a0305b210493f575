// @ts-check
/** @typedef {{start: number, end: number, name: string}} Stretch */

/** Of full speed, the pitch kept. */
const PACES = [0.5, 0.6, 0.75, 0.9, 1];

/**
 * The song's sound. Its clock is the audio element's: what is marked is what is heard.
 *
 * Times are seconds from the start of the recording; the sound served begins at the song's own start. Events:
 * "change" when it plays or pauses, when pace, click or loop change; "problem" with a sentence.
 */
export class Player extends EventTarget {
  #audio;
  #address = "";
  #offset = 0;
  /** @type {Stretch | null} */
  #loop = null;
  /** @type {Stretch | null} */
  #from = null;
  #loud = { song: 100, click: 50 };
  #click = false;
  #reading = "";
  #revision = 0;
  /** @type {number | null} */
  #wanted = null;

  /** @param {HTMLAudioElement} audio */
  constructor(audio) {
    super();
    this.#audio = audio;
    audio.preservesPitch = true;
    for (const name of ["play", "pause", "ratechange"]) audio.addEventListener(name, () => this.#changed());
    audio.addEventListener("timeupdate", () => this.keepLoop());
    audio.addEventListener("loadedmetadata", () => {
      if (this.#wanted !== null) audio.currentTime = this.#wanted;
      this.#wanted = null;
    });
    audio.addEventListener("error", () =>
      this.dispatchEvent(new CustomEvent("problem", { detail: "The sound cannot be played. Open the page again." })),
    );
  }

  /**
   * Give it the sound of a song whose beats are those of a revision. Another song's begins at its start, and paused;
   * of the same song, whose start or end has moved, the place that was heard is heard on.
   *
   * @param {string} address where the sound is
   * @param {number} offset seconds of the recording at which the sound begins
   * @param {number} revision
   */
  open(address, offset, revision) {
    const [there, playing] = [this.seconds, this.playing];
    const moved = this.#audio.src && address !== this.#address;
    if (moved) this.close();
    this.#address = address;
    this.#offset = offset;
    if (moved) this.#wanted = Math.max(0, there - offset);
    if (!this.#audio.src || (this.#click && revision !== this.#revision)) {
      this.#revision = revision;
      this.#load();
    }
    this.#revision = revision;
    if (moved && playing) this.#play();
  }

  /** Let the sound go, and with it what goes round. */
  close() {
    this.#audio.pause();
    this.#audio.removeAttribute("src");
    this.#audio.load();
    this.#address = this.#reading = "";
    this.#loop = this.#from = null;
    this.#wanted = this.#offset = 0;
    this.#changed();
  }

  #load() {
    if (!this.#address) return;
    const playing = this.playing;
    this.#wanted = this.#wanted ?? this.#audio.currentTime;
    const reading = this.#reading ? `&reading=${encodeURIComponent(this.#reading)}` : "";
    const { song, click } = this.#loud;
    // With a click the server mixes both, so that each is as loud as was asked for.
    this.#audio.src = this.#click ? `${this.#address}&click=${this.#revision}&level=${click}&loud=${song}${reading}` : this.#address;
    this.#audio.volume = this.#click ? 1 : song / 100;
    const rate = this.#audio.playbackRate;
    this.#audio.load();
    this.#audio.playbackRate = rate;
    if (playing) this.#play();
  }

  get playing() {
    return !this.#audio.paused;
  }

  get seconds() {
    return (this.#wanted ?? this.#audio.currentTime) + this.#offset;
  }

  get rate() {
    return this.#audio.playbackRate;
  }

  get click() {
    return this.#click;
  }

  /** What goes round, or null. */
  get loop() {
    return this.#loop;
  }

  /** The bar from which something is to go round whose end is not told yet, or null. */
  get from() {
    return this.#from;
  }

  toggle() {
    if (this.playing) this.#audio.pause();
    else this.#play();
  }

  /** @param {number} seconds */
  playFrom(seconds) {
    this.seek(seconds);
    if (!this.playing) this.#play();
  }

  /** @param {number} seconds */
  seek(seconds) {
    const time = Math.max(0, seconds - this.#offset);
    // While a sound loads, its start would take the place of what is set now.
    if (this.#wanted === null) this.#audio.currentTime = time;
    else this.#wanted = time;
    this.#changed();
  }

  /**
   * Half to full speed, the pitch kept.
   *
   * @param {1 | -1} step
   */
  pace(step) {
    const index = PACES.indexOf(this.rate) + step;
    this.#audio.defaultPlaybackRate = this.#audio.playbackRate = PACES[Math.min(Math.max(index, 0), PACES.length - 1)];
    this.#changed();
  }

  /**
   * How loud song and click are, in percent.
   *
   * @param {{song: number, click: number}} loud
   */
  setLoud({ song, click }) {
    const same = song === this.#loud.song && click === this.#loud.click;
    this.#loud = { song, click };
    if (this.#click && !same) this.#load();
    else if (!this.#click) this.#audio.volume = song / 100;
  }

  /** Where the click falls, if not on the beats as they are told: "half", "shift 2", "3/4"; "" is as told. */
  get reading() {
    return this.#reading;
  }

  toggleClick() {
    this.clickOn(!this.#click);
  }

  /**
   * Click, or not, on the beats as they are told or in another reading.
   *
   * @param {boolean} click
   * @param {string} reading
   */
  clickOn(click, reading = "") {
    if (click === this.#click && reading === this.#reading) return;
    this.#click = click;
    this.#reading = reading;
    this.#load();
    this.#changed();
  }

  /**
   * Let a stretch go round; the same again ends it.
   *
   * @param {Stretch} stretch
   */
  setLoop(stretch) {
    const same = this.#loop && stretch.start === this.#loop.start && stretch.end === this.#loop.end;
    this.#loop = same ? null : stretch;
    this.#from = null;
    this.#changed();
  }

  /**
   * From here, then to here, then no more: a bar at a time, in whichever order.
   *
   * @param {Stretch} here the bar that is heard
   */
  loopHere(here) {
    const from = this.#from;
    if (this.#loop) this.setLoop(this.#loop);
    else if (from) {
      const [first, last] = here.start < from.start ? [here, from] : [from, here];
      const name = first.start === last.start ? first.name : `${first.name} to ${last.name}`;
      this.setLoop({ start: first.start, end: last.end, name });
    } else {
      this.#from = here;
      this.#changed();
    }
  }

  /** Go back to the start of the loop once its end is reached; called on every picture, too. */
  keepLoop() {
    if (this.#loop && this.playing && this.seconds >= this.#loop.end) this.seek(this.#loop.start);
  }

  #play() {
    this.#audio.play().catch((error) => {
      // A new sound while the old one was about to play is no problem.
      if (error.name === "AbortError") return;
      this.dispatchEvent(new CustomEvent("problem", { detail: "The browser does not let the sound play. Press play." }));
    });
  }

  #changed() {
    this.dispatchEvent(new Event("change"));
  }
}
