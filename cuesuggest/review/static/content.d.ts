/**
 * What the scripts read of what the server tells the page; view.py, server.py and the chart's geometry write it.
 *
 * Times are seconds from the start of the recording. A test holds the names against what is sent.
 */

/** The answer to /song. */
export interface Page {
  revision: number;
  title: string;
  chart: Chart;
  music: Music;
  /** The file that the song is a part of, or all of, and how long that is. */
  recording: { name: string; seconds: number };
  cues: Cue[];
  light: Light;
  looks: Look[];
  sides: string[];
  questions: Question[];
  changed: Changed;
  stated: string[];
  cautions: string[];
  unplaced: string[];
  /** What came along from another take, and what did not. */
  taken_over: string[];
  sound: Sound | null;
  no_sound: string;
  exports: Export[];
  chosen: Chosen;
  evening: Evening;
  /** What would be taken back next. */
  undo: string | null;
}

/** Which of the songs this is, and the ids of those around it that can be opened. */
export interface Evening {
  song: string;
  number: number;
  of: number;
  before: string | null;
  after: string | null;
  /** Whether the songs are those of a set list. */
  night: boolean;
}

/** The answer to /songs. */
export interface SongList {
  songs: SongRow[];
  advice: Advice[];
  /** Null where the songs are not those of a set list. */
  night: ShownNight | null;
}

/** A night as its set list has it. */
export interface ShownNight {
  title: string;
  songs: NightOfSong[];
  /** The biggest first. */
  moments: NightMoment[];
  looks: NightLook[];
  /** What lies before the first song, in a line. */
  before: string;
  remarks: string[];
  /** Null where the set list cannot be read. */
  controls: NightControls | null;
}

/** What can be chosen at sound check: pairs of what is sent and its words. */
export interface NightControls {
  without: string[][];
  /** The least and the most, in percent. */
  ceiling: number[];
  rigs: string[];
  drop: string[][];
  /** The last change, which can be taken back. */
  undo: string | null;
}

/** The answer to /night. */
export interface NightTold {
  told: ToldOfSong[];
  /** What was changed or taken back, in words. */
  said: string;
  /** Of what was looked at; sent along to have it done. */
  seen: string;
}

export interface ToldOfSong {
  /** In the night; 0 where it is not in the set list any more. */
  number: number;
  title: string;
  lines: string[];
  changed: boolean;
}

/** A song in its night. */
export interface NightOfSong {
  song: string;
  number: number;
  /** "301 to 312", as they are printed for the night. */
  cues: string;
  seconds: number;
  /** Of each section its start and end in seconds of the song, and its drive from 0 to 1. */
  energy: number[][];
  /** What is changed on the buttons before it, and what it has of the biggest look. */
  said: string[];
  /** What lies after it, in a line. */
  after: string;
}

export interface NightMoment {
  /** Of its song. */
  number: number;
  /** Seconds of the song. */
  at: number;
  drive: number;
  words: string;
}

export interface NightLook {
  name: string;
  button: string;
  songs: string;
}

/** What can be done for several songs on the command line. */
export interface Advice {
  said: string;
  command: string;
}

/** A line of the list of songs. */
export interface SongRow {
  song: string;
  number: number;
  title: string;
  state: "open" | "done" | "not drafted" | "wrong";
  /** Why it cannot be opened. */
  wrong?: string;
  tempo?: number | null;
  seconds?: number;
  /** Where it starts and ends in a longer recording; null where it is all of one. */
  part?: [number, number] | null;
  questions?: number;
  /** Cues that are as suggested. */
  to_check?: number;
  cues?: number;
  /** Where its house style or rig is not that of the song that is shown, in words. */
  differs?: string;
}

/** What is kept of the page on this machine. */
export interface Chosen {
  /** Side by side at most. */
  bars: number;
  /** Percent. */
  song: number;
  /** Percent. */
  click: number;
  /** Which control of a MIDI controller is which of the hand's, such as "cc 1 7" by "side A". */
  controls: Record<string, string>;
  /** How many ms after the beat presses come; null where it was not measured. */
  late: number | null;
}

/** The answer to /pressed. */
export interface Proposal {
  parts: PressedPart[];
  sections: PressedSection[];
  hits: PressedHit[];
  notes: PressedNote[];
  words: string;
  /** Whether anything to take over lies outside all sections. */
  loose: boolean;
}

/** Bars side by side, and the category that was pressed for them. */
export interface PressedPart {
  /** Id of the section that they are in. */
  section: string | null;
  start: number;
  end: number;
  category: "rest" | "subtle" | "lift" | "intense";
}

export interface PressedSection {
  id: string;
  mark: string;
  start: number;
  drafted: string | null;
  pressed: string | null;
  /** Whether another light was pressed than the draft has. */
  differs: boolean;
  /** Whether there is anything to take over. */
  news: boolean;
  words: string;
  more: string;
}

export interface PressedHit {
  seconds: number;
  /** Whether the draft has no one-shot there. */
  new: boolean;
}

export interface PressedNote {
  seconds: number;
}

/** The bars that the last action changed. */
export interface Changed {
  /** Of each stretch the seconds at which its bars start. */
  stretches: number[][];
  words: string;
}

export interface Sound {
  start: number;
  seconds: number;
  /** Path with the key that opens it. */
  address: string;
}

/** What was done, or what went wrong, in sentences. */
export interface Told {
  said: string;
  lines: string[];
  remarks: string[];
  /** Id of the cue that was added, if one was. */
  added?: string | null;
  /** Set by the page itself; the server says it by its status. */
  wrong?: boolean;
  /** Whether it would have been done, but could not be written. */
  unsaved?: boolean;
}

/** The answer to /act. */
export type Done = Told & Page;

/** The answer to /disk. */
export interface Disk {
  revision: number;
  disk: "same" | "changed" | "gone";
}

/** A format, and the endings of the files that it writes. */
export interface Export {
  name: string;
  purpose: string;
  files: string[];
}

/** Number, start, end, beats, time signature. */
export type Bar = [number, number, number, number, string];

export interface Music {
  start: number;
  end: number;
  tempo: number | null;
  signature: string | null;
  beats: number[];
  bars: Bar[];
  sections: Section[];
}

export interface Section {
  id: string;
  label: string;
  pass: number;
  name: string;
  words: string;
  vamp: string;
  first: number;
  last: number;
  start: number;
  end: number;
  category: string | null;
  level: number;
  why: string[];
}

export type Status = "suggested" | "accepted" | "edited" | "rejected" | "added";

export interface Cue {
  id: string;
  number: number;
  kind: string;
  trigger: string;
  anchor: string;
  hand: string;
  reasons: string[];
  cautions: string[];
  confidence: number;
  look: string | null;
  side: string | null;
  level: number | null;
  up_beats: number | null;
  down_beats: number | null;
  who: string;
  /** Whether a machine may play it; what does not waits for a person. */
  by_itself: boolean;
  status: Status;
  note: string;
  lock: boolean;
  action: string;
  where: string;
  clock: string;
  seconds: number;
  /** When the hand begins it, each time that it does; a one-shot as early as its look takes to its peak. */
  presses: number[];
  /** When a button that is held is let go. */
  let_go: number | null;
}

/** Seconds and level, 0..1. */
export type LightPoint = [number, number];

export interface Light {
  /** By name the corner points of each side, in order, straight between them. */
  sides: Record<string, LightPoint[]>;
  /** From when until when all is dark, because a button is held. */
  held: [number, number][];
  /** Seconds, level, and whether it comes faster than three a second. */
  shots: [number, number, boolean][];
}

export interface Look {
  id: string;
  name: string;
  colours: number;
  /** How they go together, in words. */
  colour_relation: string;
}

export interface Question {
  id: string;
  text: string;
  listen_at: number;
  cues: number;
  answers: Answer[];
}

export interface Answer {
  id: number;
  label: string;
  /** Where it points, in seconds; null where it is about the whole song. */
  at: number | null;
  /** Where the click falls with it; null where a click tells nothing. */
  reading: string | null;
  hear_from: number;
  hear_to: number;
  /** Whether the song is heard anew for it. */
  hears: boolean;
}

// The chart, as geometry.py draws it up.

export type Point = [number, number];

export interface Chart {
  signs: Record<string, Stroke[]>;
  bars_per_line: 16 | 8 | 4;
  width: number;
  height: number;
  lines: ChartLine[];
  header: Words[];
  legend: { sign: string; x: number; y: number; shown: string; words: Words }[];
  key: { short: Words; meaning: Words }[];
}

export interface Stroke {
  points: Point[];
  width: number;
  closed: boolean;
  filled: boolean;
}

export interface ChartLine {
  x: number;
  y: number;
  width: number;
  height: number;
  staff_x: number;
  staff_to_x: number;
  staff_top: number;
  staff_base: number;
  light_y: number;
  light_half: number;
  bars: ChartBar[];
  drive: Point[];
  sustains: { x: number; to_x: number; weight: number }[];
  hairpins: { x: number; to_x: number; from_open: number; to_open: number; cue: string }[];
  marks: { kind: string; x: number; cue: string | null }[];
  leaders: [number, number, number][];
  words: Words[];
}

export interface ChartBar {
  number: number | null;
  start: number;
  end: number;
  beats: number;
  x: number;
  width: number;
  dashed: boolean;
  opens_section: boolean;
}

export interface Words {
  text: string;
  x: number;
  y: number;
  size: number;
  role: string;
  anchor: "start" | "middle" | "end";
  bold: boolean;
  italic: boolean;
  cue: string | null;
}
