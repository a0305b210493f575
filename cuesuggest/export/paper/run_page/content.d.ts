/** What run_html.py writes into the page; a test holds the names against what is written. */

export interface Night {
  /** In the order in which they are played. */
  songs: Song[];
}

export interface Song {
  title: string;
  /** In the list of songs, with its number. */
  label: string;
  /** What paper says at its foot, in lines. */
  paper: string[];
  /** The one sentence for a volunteer who has nothing to do; empty where there is something. */
  nothing: string;
  bpm: number | null;
  /** Null where nobody knows: then only beats are counted. */
  beats_in_bar: number | null;
  home: string;
  all_out: string;
  /** Where one who went home comes back; empty where no part says so. */
  back_in: string;
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
  /** It goes round until a sign, so nobody knows when the next part begins. */
  round: boolean;
  light: string;
  beat: number;
  first_cue: number;
}
