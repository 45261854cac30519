// What the server asks about what was sent: to be measured again while the athlete is still there. Kept
// on the device, so that it is still known after the page is opened again.

/** @typedef {import('./types.d.ts').Question} Question */

export class Questions {
  /** @param {import('./types.d.ts').Outbox} outbox */
  constructor(outbox) {
    this.outbox = outbox;
    /** By what they are about. @type {Map<string, Question>} */
    this.asked = new Map(stored(outbox, 'asked'));
    /** @type {Set<string>} */
    this.putOff = new Set(stored(outbox, 'put off'));
    /** Answered at the station before the server could ask. @type {Set<string>} */
    this.settled = new Set(stored(outbox, 'settled'));
  }

  /** @param {string} [athlete] */
  of(athlete) {
    return [...this.asked.values()].filter((q) => !athlete || q.athlete === athlete);
  }

  /** @param {Question[]} list @param {string} station code */
  add(list, station) {
    for (const q of list) {
      if (q.station === station && !this.settled.has([q.athlete, q.measure, q.kind].join('|'))) this.asked.set(key(q), q);
    }
    store(this.outbox, 'asked', [...this.asked]);
  }

  /** An entry answers questions if it was measured again on purpose. @param {import('./types.d.ts').Entry} e */
  answeredBy(e) {
    if (!e.again) return;
    for (const q of this.of(e.athlete)) if (q.measure === e.about) this.drop(q);
  }

  /** @param {Question} q */
  drop(q) {
    this.asked.delete(key(q));
    store(this.outbox, 'asked', [...this.asked]);
  }

  /** @param {Question} q */
  later(q) {
    this.putOff.add(key(q));
    store(this.outbox, 'put off', [...this.putOff]);
  }

  /** @param {Question} q */
  isPutOff(q) {
    return this.putOff.has(key(q));
  }

  /** @param {string} athlete @param {string} measure @param {string} kind */
  settle(athlete, measure, kind) {
    this.settled.add([athlete, measure, kind].join('|'));
    store(this.outbox, 'settled', [...this.settled]);
  }
}

/** @param {Question} q */
function key(q) {
  return [q.athlete, q.measure, q.side, q.kind].join('|');
}

/** A list that was kept as a setting. @param {import('./types.d.ts').Outbox} outbox @param {string} name @returns {any[]} */
export function stored(outbox, name) {
  try {
    return JSON.parse(outbox.get(name) ?? '[]');
  } catch {
    return [];
  }
}

/** What is kept so can be done without: nothing is said where it cannot be kept. @param {import('./types.d.ts').Outbox} outbox @param {string} name @param {unknown} value */
export function store(outbox, name, value) {
  outbox.set(name, JSON.stringify(value)).catch(() => {});
}
