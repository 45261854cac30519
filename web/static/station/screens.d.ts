// What the screens of a station are given and what they give back.
import type { Athlete, Entry, Kept, Kind, Outbox, Question, Sheet, Side } from './types.d.ts';

/** A screen: its element, where the focus goes, and what it does with keys and news. */
export interface View {
  el: HTMLElement;
  focus(): void;
  /** Something was kept, sent or came in. */
  update?(): void;
  /** Escape was pressed; true: the screen has dealt with it. */
  escape?(): boolean;
  /** A key of the pad. */
  press?(key: string): void;
  /** The screen goes away. */
  leave?(): void;
}

/** What is to be done with an athlete. Without a step: whatever is missing first. */
export interface Turn { athlete: string; round: 1 | 2; step?: number; again?: boolean; side?: Side }

/** What was typed and is not saved yet, by side. */
export type Draft = Record<string, { text: string; sign: number }[]>;

export interface App {
  readonly outbox: Outbox;
  readonly sheet: Sheet;
  /** With what this device has kept. */
  readonly athletes: Athlete[];
  readonly drafts: Map<string, Draft>;
  readonly examiner: string;
  /** Keys typed while the measure before was being saved: they belong to the next one. */
  readonly ahead: string[];
  athlete(id: string): Athlete | undefined;
  /** What this device has kept of an athlete and what still stands: nothing undone, nothing refused. */
  standing(athlete: string): Kept[];
  /** An entry with an id, who enters and the time. */
  entry(kind: Kind, athlete: string, fields?: Partial<Entry>): Entry;
  /**
   * Keeps entries and then says so. Where the device cannot, it says that and waits until somebody tries
   * again; false: given up for now, and nothing was kept.
   */
  keep(entries: Entry[], words: string): Promise<boolean>;
  /** Takes back what was entered together. stay: the screen stays as it is. */
  undo(ids: string[], stay?: boolean): Promise<void>;
  open(turn: Turn): void;
  /** All that was entered of an athlete, and what is missing. */
  record(athlete: string): void;
  /** After something was kept: the next thing that is missing, or the list. */
  next(turn: Turn): void;
  list(): void;
  walkOn(): void;
  who(): void;
  refused(): void;
  setExaminer(name: string): Promise<void>;
  /** Says something of an athlete above the screen. */
  say(text: string, athlete: string): void;
  /** Open questions of the server, of one athlete or of all. */
  questions(athlete?: string): Question[];
  /** The question stays in the list and no longer in the way. */
  notNow(question: Question): void;
  /** It is left as it is. */
  drop(question: Question): void;
  isPutOff(question: Question): boolean;
  take(question: Question): void;
  /** Remembers that a question of this kind was answered at the station, so that it is not asked twice. */
  answered(athlete: string, measure: string, kind: string): void;
}
