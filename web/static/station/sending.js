// Sends what waits on the device. An entry carries an id of its own, so sending it twice is harmless and
// not sending it is the only fault: whatever is unclear (no answer, a broken answer, an answer of some
// other machine on the way) is tried again. Only the server's own refusal ends the waiting of an entry,
// and even then it stays on the device.

/** @typedef {import('./types.d.ts').Entry} Entry */
/** @typedef {import('./types.d.ts').Question} Question */
/** @typedef {import('./db.js').Row} Row */
/** @typedef {import('./db.js').Fate} Fate */
/** @typedef {{id: string, status: 'added' | 'already' | 'refused', message?: string, want?: string}} Result */
/** @typedef {{results: Result[], questions?: Question[], late?: boolean, seq: number}} Answer */
/** @typedef {{problem: string, want: string}} Words */
/**
 * What became of a request: the server's answer; nothing that counts as one (away); the server broke on
 * it; the station is not there for us (shut); the batch is at fault (fault).
 * @typedef {{kind: 'ok', answer: Answer} | {kind: 'away' | 'broken'} | ({kind: 'shut' | 'fault'} & Words)} Outcome
 */
/**
 * @typedef {object} Parts
 * @property {Pick<import('./db.js').Db, 'waiting' | 'settle'>} db
 * @property {string} device
 * @property {typeof fetch} fetch
 * @property {() => number} now
 * @property {(rows: Map<number, Fate>, answer: Answer | null) => void} settled tells what became of entries
 * @property {(online: boolean) => void} tried tells how an attempt went
 */

/** Entries in a request at most; the server takes 500. */
const batchSize = 200;
/** Milliseconds. */
const answerWithin = 15_000;
const longestPause = 15_000;
const lockWithin = 20_000;

export class Sending {
  #parts;
  #limit = batchSize;
  #failures = 0;
  #closed = false;
  #again = false;
  /** @type {Promise<void> | null} */
  #running = null;
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  #timer;
  /** @type {AbortController | null} */
  #request = null;
  /** Athletes on whose entry the server breaks; those of others go on. @type {Set<string>} */
  #stuck = new Set();
  /** What could not be written down, on a full device say: it must not be sent for ever. @type {Map<number, Fate>} */
  #unwritten = new Map();

  /** @param {Parts} parts */
  constructor(parts) {
    this.#parts = parts;
  }

  /** What became of entries whose rows do not say so yet. @returns {ReadonlyMap<number, Fate>} */
  get unwritten() {
    return this.#unwritten;
  }

  /**
   * Sends now all that waits. It resolves when nothing waits, or when the next attempt is set for later.
   * @returns {Promise<void>}
   */
  wake() {
    clearTimeout(this.#timer);
    if (this.#running) {
      this.#again = true;
      return this.#running;
    }
    const run = async () => {
      try {
        do {
          this.#again = false;
          while (!this.#closed && (await this.#alone(() => this.#step())) === 'more');
        } while (this.#again && !this.#closed);
      } finally {
        this.#running = null;
      }
    };
    this.#running = run();
    return this.#running;
  }

  /** Forgets earlier failures: the network is back, or somebody asks. */
  fresh() {
    this.#failures = 0;
    this.#stuck.clear();
    return this.wake();
  }

  close() {
    this.#closed = true;
    clearTimeout(this.#timer);
    this.#request?.abort();
  }

  /**
   * Lets one tab of this device send at a time where the browser has locks (not on plain http). It saves
   * work and is not needed: a tab that holds the lock for too long, asleep perhaps, is passed by.
   * @template T
   * @param {() => Promise<T>} work
   * @returns {Promise<T>}
   */
  async #alone(work) {
    const locks = globalThis.navigator?.locks;
    if (!locks) return work();
    const patience = new AbortController();
    const timer = setTimeout(() => patience.abort(), lockWithin);
    let began = false;
    try {
      return await locks.request('evenhand-sending', { signal: patience.signal }, () => {
        began = true;
        clearTimeout(timer);
        return work();
      });
    } catch (e) {
      if (began) throw e;
      return work();
    } finally {
      clearTimeout(timer);
    }
  }

  /** Sends one batch. @returns {Promise<'more' | 'rest'>} */
  async #step() {
    if (this.#closed) return 'rest';
    try {
      await this.#write();
      const batch = await this.#next();
      if (batch.length === 0) return 'rest';
      return await this.#send(batch);
    } catch {
      // The database did not answer. What waits is still there.
      return this.#pause();
    }
  }

  /** The earliest entries that wait, all of one station, since each station has an address of its own. */
  async #next() {
    const all = await this.#parts.db.waiting(this.#stuck.size + this.#unwritten.size > 0 ? undefined : this.#limit);
    const waiting = all.filter((r) => !this.#unwritten.has(r.n));
    const free = waiting.filter((r) => !this.#stuck.has(r.entry.athlete));
    if (free.length === 0 && waiting.length > 0) {
      this.#stuck.clear();
      this.#pause();
    }
    const end = free.findIndex((r) => r.code !== free[0]?.code);
    return free.slice(0, Math.min(end < 0 ? free.length : end, this.#limit));
  }

  /** @param {Row[]} batch @returns {Promise<'more' | 'rest'>} */
  async #send(batch) {
    const outcome = await this.#put(batch);
    if (this.#closed) return 'rest';
    this.#parts.tried(outcome.kind !== 'away' && outcome.kind !== 'broken');
    switch (outcome.kind) {
      case 'ok':
        return this.#taken(batch, outcome.answer);
      case 'shut':
        // Not the entries are at fault: they are tried again when the station is opened anew.
        await this.#settle(batch, { state: 'refused', problem: outcome.problem, want: outcome.want, gone: true });
        return 'more';
      case 'fault':
        if (batch.length > 1) this.#limit = Math.ceil(batch.length / 2);
        else await this.#settle(batch, { state: 'refused', problem: outcome.problem, want: outcome.want });
        return 'more';
      case 'broken':
        if (batch.length > 1) this.#limit = Math.ceil(batch.length / 2);
        else this.#stuck.add(batch[0]?.entry.athlete ?? '');
    }
    return this.#pause();
  }

  /** @param {Row[]} batch @param {Answer} answer */
  async #taken(batch, answer) {
    const results = new Map(answer.results.map((r) => [r.id, r]));
    /** @type {Map<number, Fate>} */
    const fates = new Map();
    for (const row of batch) {
      const r = results.get(row.id);
      if (r?.status === 'refused') fates.set(row.n, { state: 'refused', problem: r.message ?? '', want: r.want ?? '' });
      else if (r?.status === 'added' || r?.status === 'already') fates.set(row.n, { state: 'sent', seq: answer.seq, late: answer.late ?? false });
    }
    if (fates.size === 0) return this.#pause();
    this.#failures = 0;
    this.#limit = Math.min(batchSize, this.#limit * 2);
    await this.#record(fates, answer);
    return 'more';
  }

  /** @param {Row[]} batch @param {Fate} fate */
  #settle(batch, fate) {
    this.#failures = 0;
    return this.#record(new Map(batch.map((r) => [r.n, fate])), null);
  }

  /** @param {Map<number, Fate>} fates @param {Answer | null} answer */
  async #record(fates, answer) {
    for (const [n, fate] of fates) this.#unwritten.set(n, fate);
    await this.#write();
    this.#parts.settled(fates, answer);
  }

  async #write() {
    if (this.#unwritten.size === 0) return;
    const fates = new Map(this.#unwritten);
    try {
      await this.#parts.db.settle(fates);
    } catch {
      return; // it is tried again with the next batch; after a reload the server says "already"
    }
    for (const [n, fate] of fates) if (this.#unwritten.get(n) === fate) this.#unwritten.delete(n);
  }

  /** @returns {'rest'} */
  #pause() {
    const pause = Math.min(longestPause, 1000 * 2 ** this.#failures) * (0.8 + 0.4 * Math.random());
    this.#failures = Math.min(this.#failures + 1, 10);
    clearTimeout(this.#timer);
    if (!this.#closed) this.#timer = setTimeout(() => void this.wake(), pause);
    return 'rest';
  }

  /** @param {Row[]} batch @returns {Promise<Outcome>} */
  async #put(batch) {
    const request = new AbortController();
    this.#request = request;
    const timer = setTimeout(() => request.abort(), answerWithin);
    try {
      const response = await this.#parts.fetch(`/api/v1/stations/${encodeURIComponent(batch[0]?.code ?? '')}/entries`, {
        method: 'PUT',
        headers: { 'Content-Type': 'application/json', Accept: 'application/json, application/problem+json' },
        body: JSON.stringify({ sent: timeWords(this.#parts.now()), device: this.#parts.device, entries: batch.map((r) => r.entry) }),
        cache: 'no-store',
        signal: request.signal,
      });
      return outcomeOf(response.status, await response.text());
    } catch {
      return { kind: 'away' };
    } finally {
      clearTimeout(timer);
    }
  }
}

/** A time of the device for the server; left out if its clock is so wrong that it cannot be written. @param {number} ms */
function timeWords(ms) {
  const at = new Date(ms);
  const year = at.getUTCFullYear();
  return year >= 1 && year <= 9999 ? at.toISOString() : undefined;
}

/**
 * What an answer means. An answer that our server cannot have given (the sign-in page of a guest network,
 * say) counts as none.
 * @param {number} status
 * @param {string} text
 * @returns {Outcome}
 */
export function outcomeOf(status, text) {
  const body = parsed(text);
  if (status === 200 || status === 201) {
    return Array.isArray(body?.results) && Number.isFinite(body.seq) ? { kind: 'ok', answer: body } : { kind: 'away' };
  }
  if (status === 500) return { kind: 'broken' };
  if (status === 413) return { kind: 'fault', problem: 'The entry is larger than the server takes.', want: 'a shorter note' };
  const waits = status === 408 || status === 425 || status === 429;
  if (status < 400 || status > 499 || waits || !body || (body.status !== status && !body.title)) return { kind: 'away' };
  const words = wordsOf(body, status);
  return { kind: [401, 403, 404, 410, 421].includes(status) ? 'shut' : 'fault', ...words };
}

/** @param {string} text @returns {any} */
function parsed(text) {
  try {
    const body = JSON.parse(text);
    return body !== null && typeof body === 'object' ? body : null;
  } catch {
    return null;
  }
}

/**
 * The words of a problem document (RFC 9457).
 * @param {{title?: string, detail?: string, want?: string, errors?: {message?: string, want?: string}[]}} body
 * @param {number} status
 * @returns {Words}
 */
function wordsOf(body, status) {
  const first = Array.isArray(body.errors) ? body.errors[0] : undefined;
  const problem = first?.message ?? body.detail ?? body.title ?? `The server refused it (${status}).`;
  return { problem: String(problem), want: String(first?.want ?? body.want ?? '') };
}
