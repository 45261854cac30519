// Keeps what a station enters on the device, sends it, and keeps the station's sheet up to date.
//
// keep() writes to the database and nothing else, and only then is an entry said to be saved. Sending
// reads from the database, so an entry goes out even if the page that made it is gone, from whatever
// station of this device is opened next. What was sent stays on the device as long as its day is at work:
// should the server be set back to an older state, it is sent again.

import { Db, KeepError, askToPersist } from './db.js';
import { newId } from './ids.js';
import { Sending } from './sending.js';
import { Watching } from './watching.js';

export { KeepError };

/** @typedef {import('./types.d.ts').Entry} Entry */
/** @typedef {import('./types.d.ts').Kept} Kept */
/** @typedef {import('./types.d.ts').Outbox} Outbox */
/** @typedef {import('./types.d.ts').Question} Question */
/** @typedef {import('./types.d.ts').Sheet} Sheet */
/** @typedef {import('./types.d.ts').Status} Status */
/** @typedef {import('./db.js').Row} Row */
/** @typedef {import('./db.js').Fate} Fate */
/**
 * What tabs of one device tell each other.
 * @typedef {{what: 'rows'} | {what: 'sheet', sheet: Sheet, etag: string, code: string}
 *   | {what: 'questions', day: string, list: Question[]} | {what: 'setting', day: string, key: string, value: string}} News
 */
/**
 * @typedef {object} Options
 * @property {string} code of the station
 * @property {Sheet} sheet as it came with the page
 * @property {typeof fetch} [fetch]
 * @property {() => number} [now] the device's clock, in milliseconds
 * @property {IDBFactory} [storage]
 * @property {typeof EventSource} [events]
 */

/** Under this name it is kept when the day was first seen closed, by the server's clock. */
const closedKey = '.closed';
const aDay = 24 * 60 * 60 * 1000;

/**
 * Opens the outbox of a station on this device.
 * @param {Options} options
 * @returns {Promise<Outbox>} rejects with a KeepError where the browser cannot keep anything: the station
 *   must then say so and not take entries
 */
export async function openOutbox(options) {
  const box = new Box(options);
  await box.open();
  return box;
}

/** @implements {Outbox} */
class Box {
  device = '';
  #code;
  #db;
  #sheet;
  #etag = '';
  #day;
  /** @type {boolean | null} */
  #online = null;
  #late;
  #closed = false;
  /** All that is kept on the device, by n. @type {Map<number, Row>} */
  #rows = new Map();
  /** Grows with every change of #rows, so that a slower look at the database does not undo one. */
  #writes = 0;
  #reading = false;
  /** @type {Map<string, string>} */
  #settings = new Map();
  /** @type {Status | null} */
  #status = null;
  /** @type {Kept[] | null} */
  #kept = null;
  /** Entries that were sent again because the server had lost them; once is enough. @type {Set<string>} */
  #resent = new Set();
  /** @type {Set<() => void>} */
  #onChange = new Set();
  /** @type {Set<(list: Question[]) => void>} */
  #onQuestions = new Set();
  #stop = new AbortController();
  /** @type {BroadcastChannel | null} */
  #channel = null;
  /** @type {Sending | undefined} */
  #sending;
  /** @type {Watching | undefined} */
  #watching;
  #options;

  /** @param {Options} options */
  constructor(options) {
    const { code, sheet, now = Date.now, storage, events = globalThis.EventSource } = options;
    /** @type {typeof fetch} */
    const get = options.fetch ?? ((...a) => globalThis.fetch(...a));
    this.#options = { fetch: get, now, events };
    this.#code = code;
    this.#sheet = sheet;
    this.#day = sheet.day.id;
    this.#late = sheet.day.closed;
    this.#db = new Db(storage);
  }

  /** Reads what is on the device, then begins to send and to listen. */
  async open() {
    this.device = (await this.#db.settings('')).get('device') ?? (await this.#db.setOnce('', 'device', newId));
    this.#settings = await this.#db.settings(this.#day);
    const stored = await this.#db.sheet(this.#code);
    if (stored && stored.sheet.day?.id === this.#day && isNewer(stored.sheet, this.#sheet)) {
      this.#sheet = stored.sheet;
      this.#etag = stored.etag;
    } else {
      this.#store();
    }
    this.#late = this.#sheet.day.closed;
    await this.#forget((day) => day !== this.#day);
    await this.#read();
    await this.#tryShut();
    this.#begin();
    void askToPersist();
  }

  #begin() {
    const { fetch, now, events } = this.#options;
    this.#sending = new Sending({
      db: this.#db, device: this.device, fetch, now,
      settled: (fates, answer) => this.#settled(fates, answer),
      tried: (online) => this.#tried(online),
    });
    this.#watching = new Watching({
      code: this.#code, fetch, events,
      at: () => ({ seq: this.#sheet.seq, etag: this.#etag, sent: this.#lastSent() }),
      got: (sheet, etag, asked) => this.#got(sheet, etag, asked),
      tried: (online) => this.#tried(online),
      opened: () => void this.#sending?.fresh(),
    });
    this.#listen();
    this.#watching.listen();
    this.#watching.check();
    void this.#sending.wake();
    void this.#tidy();
  }

  #listen() {
    const { signal } = this.#stop;
    const awake = () => {
      this.#watching?.listen();
      if (globalThis.document?.visibilityState === 'hidden') return;
      void this.#read();
      this.#watching?.check();
      void this.#sending?.fresh();
    };
    globalThis.addEventListener?.('online', awake, { signal });
    globalThis.addEventListener?.('pageshow', awake, { signal });
    globalThis.document?.addEventListener('visibilitychange', awake, { signal });
    if (!globalThis.BroadcastChannel) return;
    this.#channel = new BroadcastChannel('evenhand');
    this.#channel.onmessage = (event) => this.#heard(event.data);
  }

  /** @param {News} news of another tab */
  #heard(news) {
    switch (news.what) {
      case 'rows':
        void this.#read();
        break;
      case 'sheet':
        if (news.code === this.#code && isNewer(news.sheet, this.#sheet)) this.#use(news.sheet, news.etag);
        break;
      case 'questions':
        if (news.day === this.#day) for (const fn of this.#onQuestions) fn(news.list);
        break;
      case 'setting':
        if (news.day !== this.#day) break;
        this.#settings.set(news.key, news.value);
        this.#changed();
    }
  }

  /** @param {News} news */
  #tell(news) {
    this.#channel?.postMessage(news);
  }

  get status() {
    this.#status ??= {
      waiting: this.#list((r) => r.state === 'waiting').length,
      refused: this.#list((r) => r.state === 'refused'),
      online: this.#online, late: this.#late, sheet: this.#sheet,
    };
    return this.#status;
  }

  kept() {
    this.#kept ??= this.#list((r) => r.day === this.#day);
    return this.#kept;
  }

  /** @param {(row: Row) => boolean} which */
  #list(which) {
    return [...this.#rows.values()].filter(which).sort((a, b) => a.n - b.n);
  }

  /** @param {Entry[]} entries */
  async keep(entries) {
    if (this.#closed) throw new KeepError('This page was left, so nothing was saved. Load it again.');
    const rows = await this.#db.add(this.#day, this.#code, entries);
    for (const row of rows) if (!this.#rows.has(row.n)) this.#rows.set(row.n, row);
    this.#writes++;
    this.#changed();
    this.#tell({ what: 'rows' });
    void this.#sending?.wake();
  }

  async send() {
    await this.#tryShut();
    await this.#sending?.fresh();
  }

  /** @param {string} id */
  async dismiss(id) {
    await this.#db.dismiss(id);
    for (const row of this.#rows.values()) if (row.id === id && row.state === 'refused') this.#rows.delete(row.n);
    this.#writes++;
    this.#changed();
    this.#tell({ what: 'rows' });
  }

  /** @param {string} key */
  get(key) {
    return this.#settings.get(key);
  }

  /** @param {string} key @param {string} value */
  async set(key, value) {
    await this.#db.set(this.#day, key, value);
    this.#settings.set(key, value);
    this.#tell({ what: 'setting', day: this.#day, key, value });
    this.#changed();
  }

  /** @param {'change' | 'questions'} type @param {any} fn */
  on(type, fn) {
    (type === 'change' ? this.#onChange : this.#onQuestions).add(fn);
  }

  close() {
    this.#closed = true;
    this.#stop.abort();
    this.#channel?.close();
    this.#sending?.close();
    this.#watching?.close();
    this.#db.close();
  }

  #changed() {
    this.#status = null;
    this.#kept = null;
    if (!this.#closed) for (const fn of this.#onChange) fn();
  }

  /** Reads what is on the device, which another tab may have changed. */
  async #read() {
    if (this.#reading) {
      this.#writes++;
      return;
    }
    this.#reading = true;
    try {
      for (let before = -1; before !== this.#writes; ) {
        before = this.#writes;
        const rows = await this.#db.all();
        if (before !== this.#writes) continue;
        const unwritten = this.#sending?.unwritten;
        this.#rows = new Map(rows.map((r) => [r.n, { ...r, ...unwritten?.get(r.n) }]));
      }
    } catch (e) {
      if (!this.#sending) throw e; // the page is being opened, and must know
    } finally {
      this.#reading = false;
    }
    this.#changed();
  }

  /** @param {Map<number, Fate>} fates @param {import('./sending.js').Answer | null} answer */
  #settled(fates, answer) {
    for (const [n, fate] of fates) {
      const row = this.#rows.get(n);
      if (row?.state === 'waiting') this.#rows.set(n, { ...row, ...fate });
    }
    this.#writes++;
    if (answer?.late) this.#late = true;
    this.#changed();
    this.#tell({ what: 'rows' });
    const list = answer?.questions ?? [];
    if (list.length > 0) {
      for (const fn of this.#onQuestions) fn(list);
      this.#tell({ what: 'questions', day: this.#day, list });
    }
    if (answer && answer.seq > this.#sheet.seq) this.#watching?.check();
  }

  /** @param {boolean} online */
  #tried(online) {
    if (online === this.#online) return;
    this.#online = online;
    this.#changed();
  }

  /** The day's number of what this device sent last. */
  #lastSent() {
    let last = 0;
    for (const r of this.#rows.values()) if (r.day === this.#day && r.state === 'sent') last = Math.max(last, r.seq ?? 0);
    return last;
  }

  /**
   * Takes a sheet that the server gave. A number below one that the server had given to this device
   * before it was asked means that the server was set back, by a backup perhaps: what it has lost is here.
   * @param {Sheet} sheet
   * @param {string} etag
   * @param {{seq: number, sent: number}} asked
   */
  #got(sheet, etag, asked) {
    if (sheet.day?.id !== this.#day) return;
    if (sheet.seq < this.#sheet.seq && this.#sheet.seq !== asked.seq) return; // another tab's is newer
    this.#use(sheet, etag);
    this.#tell({ what: 'sheet', sheet, etag, code: this.#code });
    this.#store();
    if (sheet.seq < asked.sent) void this.#sendAgain(sheet.seq);
    void this.#tidy();
  }

  /** @param {Sheet} sheet @param {string} etag */
  #use(sheet, etag) {
    this.#sheet = sheet;
    this.#etag = etag;
    this.#late = sheet.day.closed;
    this.#changed();
  }

  /** Keeps the sheet for an opening without network. Without room for it the work goes on. */
  #store() {
    const sheet = { code: this.#code, day: this.#day, sheet: this.#sheet, etag: this.#etag };
    this.#db.putSheet(sheet).catch(() => {});
  }

  /** @param {number} seq that the server has reached */
  async #sendAgain(seq) {
    const lost = this.#list((r) => r.day === this.#day && r.state === 'sent' && (r.seq ?? 0) > seq && !this.#resent.has(r.id));
    for (const r of lost) this.#resent.add(r.id);
    await this.#requeue(lost);
  }

  /** Lets those wait again that were refused only because the server did not know the station. */
  #tryShut() {
    return this.#requeue(this.#list((r) => r.state === 'refused' && r.gone === true));
  }

  /** @param {Row[]} rows */
  async #requeue(rows) {
    if (rows.length === 0) return;
    try {
      await this.#db.requeue(rows.map((r) => r.n));
    } catch {
      return; // they stay as they were
    }
    this.#writes++;
    await this.#read();
    this.#tell({ what: 'rows' });
    void this.#sending?.wake();
  }

  /**
   * Health data should not stay on a device longer than the work needs them. Of a day of which all is sent,
   * everything is deleted once another day is opened here, or once the day has been closed for more than
   * 24 hours. A day with anything that waits or was refused is left whole.
   * @param {(day: string) => boolean} old
   */
  async #forget(old) {
    try {
      await this.#db.forget(old);
    } catch {
      // It is tried again with the next opening.
    }
  }

  /** Notes when the day was first seen closed, and forgets it a day later. Both by the server's clock. */
  async #tidy() {
    const since = this.#settings.get(closedKey) ?? '';
    const now = this.#sheet.day.closed ? this.#sheet.now : '';
    try {
      if (!now !== !since) {
        await this.#db.set(this.#day, closedKey, now);
        this.#settings.set(closedKey, now);
      } else if (now && Date.parse(now) - Date.parse(since) > aDay) {
        await this.#forget((day) => day === this.#day);
        await this.#read();
      }
    } catch {
      // It is tried again with the next sheet.
    }
  }
}

/**
 * Whether a is a later state of the sheet than b.
 * @param {Sheet} a
 * @param {Sheet} b
 */
function isNewer(a, b) {
  return a.seq > b.seq || (a.seq === b.seq && Date.parse(a.now) > Date.parse(b.now));
}
