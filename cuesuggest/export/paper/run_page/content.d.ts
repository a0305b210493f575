/** What run_html.py writes into the page; a test holds the names against what is written. */

export interface Song {
  bpm: number | null;
  /** Null where nobody knows: then only beats are counted. */
  beats_in_bar: number | null;
  home: string;
  all_out: string;
  cues: Cue[];
  sections: Section[];
}

export interface Cue {
  number: string;
  where: string;
  action: string;
  hand: string;
  look: string;
  standby: string;
  mine: boolean;
  /** Index of its section; -1 outside the sections. */
  section: number;
  /** Beats from the first bar on; null without bars. */
  beat: number | null;
}

export interface Section {
  label: string;
  title: string;
  bars: number;
  safe: boolean;
  light: string;
  beat: number;
  first_cue: number;
}
