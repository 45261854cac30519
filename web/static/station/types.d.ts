// What the station's modules hand to each other. The server's forms are those of /api/v1/stations/{code}.
export type Side = 'left' | 'right' | 'none';
export type Kind = 'reading' | 'not_done' | 'answer' | 'symptom' | 'check_in' | 'walk_on' | 'undo';

export interface Step { kind: 'check_in' | 'measure' | 'checklist'; measure?: string; trials?: number }
/** One thing to be taken of each athlete; left stands before right whichever is measured first. */
export interface Cell { step: number; about: string; side: Side }
/** What is said of a value on either side of zero, after the amount, and of zero itself. */
export interface SayWords { positive: string; negative: string; zero: string }
export interface Measure {
  id: string; name: string; unit: string; paired: boolean; limb?: 'arm' | 'leg' | 'turn';
  scale: 'linear' | 'log' | 'count' | 'category';
  trials: number; most: number; agree_within?: number; step?: number;
  plausible?: number[]; typical?: number[]; swap_margin: number; placing: number; cap?: number; timed: boolean;
  categories?: string[]; say?: SayWords; how?: string; position?: string; instrument?: string;
}
export interface Athlete {
  id: string; number: number; code: string; name: string; hand: 'left' | 'right' | 'both';
  /** Ids that devices made for a late comer who then turned out to be on record. */
  known_as?: string[];
  /** What the left and the right one are to the athlete; empty where sides are only compared. */
  arm: [string, string]; leg: [string, string];
  first: Side; twice: boolean; hold?: string[]; consent?: boolean;
  /** Checked in: asked about symptoms today, or nobody is. */
  asked?: boolean;
  /** A letter for each cell: '.' missing, 'x' taken, 'n' not done. */
  done: string; second?: string;
}
export interface Sheet {
  day: { id: string; team: string; on: string; side_order: string; closed: boolean; demo: boolean };
  station: { code: string; name: string; steps: Step[] };
  cells: Cell[]; measures: Measure[];
  items: { id: string; phase: string; name: string }[];
  symptoms: { id: string; name: string; referral: boolean }[];
  athletes: Athlete[]; helpers: string[]; sport: string; seq: number; now: string; protocol: string;
}

/** One thing that a station keeps and sends. */
export interface Entry {
  id: string; kind: Kind; athlete: string; examiner: string; taken: string;
  about?: string; side?: Side; trials?: number[]; round?: number; again?: boolean;
  reason?: 'pain' | 'refused' | 'absent' | 'no_time'; answer?: 'met' | 'not_met' | 'not_seen'; note?: string;
  threw_in_48h?: boolean; hand?: 'left' | 'right' | 'both'; undoes?: string;
  person?: { name: string; born: string; sex: 'male' | 'female'; hand: 'left' | 'right' | 'both'; level: 'youth' | 'school' | 'college' | 'professional' };
}
/** An entry as the device keeps it. seq is the day's, once the server has it. */
export interface Kept {
  n: number; entry: Entry; state: 'waiting' | 'sent' | 'refused';
  seq?: number; late?: boolean; problem?: string; want?: string;
}
/** Something to look at while the athlete is still there. */
export interface Question { athlete: string; name: string; number: number; station: string; kind: string; measure: string; side: Side; reading?: string; screen: string; text: string }

export interface Status {
  waiting: number; refused: Kept[];
  /** null: not tried yet. */
  online: boolean | null;
  /** The day is closed: what is sent now is marked late. */
  late: boolean;
  sheet: Sheet;
}

/** Keeps entries on the device and sends them. Made by openOutbox in outbox.js. */
export interface Outbox {
  /** An id that this device made for itself. */
  readonly device: string;
  readonly status: Status;
  /**
   * Keeps entries. It resolves once they are on the device for good; only then may the screen say saved.
   * It rejects with a KeepError, and then none of them is kept.
   */
  keep(entries: Entry[]): Promise<void>;
  /** All that was kept on this device for this day, the earliest first. */
  kept(): Kept[];
  /** Tries to send now. */
  send(): Promise<void>;
  /** Forgets a refused entry, after somebody has seen why. */
  dismiss(id: string): Promise<void>;
  /** A small setting of this device for this day: who is entering. */
  get(key: string): string | undefined;
  set(key: string, value: string): Promise<void>;
  /** Tells of changes: of the status, of questions that the server asks about what was just sent. */
  on(type: 'change', fn: () => void): void;
  on(type: 'questions', fn: (list: Question[]) => void): void;
  /** Stops sending and listening. */
  close(): void;
}
