// Keeps a station's sheet up to date: the server's event stream says that something changed, and then the
// sheet is fetched. While there is no stream, the sheet is asked for from time to time.

/** @typedef {import('./types.d.ts').Sheet} Sheet */
/**
 * @typedef {object} Parts
 * @property {string} code
 * @property {typeof fetch} fetch
 * @property {typeof EventSource | undefined} events
 * @property {() => {seq: number, etag: string, sent: number}} at what is known: the sheet's seq and ETag,
 *   and the highest seq of what this device sent
 * @property {(sheet: Sheet, etag: string, asked: {seq: number, sent: number}) => void} got tells of a sheet, and
 *   what was known when it was asked for
 * @property {(online: boolean) => void} tried tells how an attempt went
 * @property {() => void} opened tells that the stream is open: the server is there
 */

/** Milliseconds. */
const apart = 2_000;
const poll = 15_000;
const answerWithin = 15_000;

export class Watching {
  #parts;
  #closed = false;
  #busy = false;
  #again = false;
  #open = false;
  /** @type {EventSource | null} */
  #stream = null;
  /** @type {ReturnType<typeof setInterval>} */
  #poll;
  /** @type {AbortController | null} */
  #request = null;

  /** @param {Parts} parts */
  constructor(parts) {
    this.#parts = parts;
    this.#poll = setInterval(() => {
      if (hidden()) return;
      this.listen();
      if (!this.#open) this.check();
    }, poll);
  }

  /**
   * Opens the stream, unless it is open. A page that is not seen has none: a browser allows six
   * connections to a host over plain http, and tabs left open would use them up.
   */
  listen() {
    if (this.#closed || hidden()) return this.#hangUp();
    if (this.#stream && this.#stream.readyState !== 2) return;
    if (!this.#parts.events) return;
    this.#hangUp();
    const stream = new this.#parts.events(`${this.#address()}/events`);
    this.#stream = stream;
    stream.onopen = () => {
      this.#open = true;
      this.#parts.opened();
      this.check();
    };
    // The browser opens the stream again by itself, except after an answer that is no stream.
    stream.onerror = () => {
      if (this.#open) this.check();
      this.#open = false;
    };
    stream.addEventListener('changed', (event) => {
      if (!(seqOf(event.data) <= this.#parts.at().seq)) this.check();
    });
  }

  #hangUp() {
    this.#stream?.close();
    this.#stream = null;
    this.#open = false;
  }

  #address() {
    return `/api/v1/stations/${encodeURIComponent(this.#parts.code)}`;
  }

  /** Fetches the sheet soon: at once, or two seconds after it was last fetched. */
  check() {
    if (this.#busy) {
      this.#again = true;
      return;
    }
    this.#busy = true;
    void this.#fetch().finally(() => {
      setTimeout(() => {
        this.#busy = false;
        if (this.#again && !this.#closed) {
          this.#again = false;
          this.check();
        }
      }, apart);
    });
  }

  async #fetch() {
    const request = new AbortController();
    this.#request = request;
    const timer = setTimeout(() => request.abort(), answerWithin);
    const { seq, etag, sent } = this.#parts.at();
    try {
      /** @type {Record<string, string>} */
      const headers = { Accept: 'application/json' };
      if (etag) headers['If-None-Match'] = etag;
      const response = await this.#parts.fetch(this.#address(), { headers, cache: 'no-store', signal: request.signal });
      const sheet = response.status === 200 ? await response.json() : null;
      if (this.#closed) return;
      const whole = sheet !== null && Array.isArray(sheet.athletes) && Number.isFinite(sheet.seq);
      this.#parts.tried(whole || response.status === 304);
      if (whole) this.#parts.got(sheet, response.headers.get('ETag') ?? '', { seq, sent });
    } catch {
      if (!this.#closed) this.#parts.tried(false);
    } finally {
      clearTimeout(timer);
    }
  }

  close() {
    this.#closed = true;
    clearInterval(this.#poll);
    this.#hangUp();
    this.#request?.abort();
  }
}

const hidden = () => globalThis.document?.visibilityState === 'hidden';

/** @param {string} data of an event @returns {number} NaN if it does not say */
function seqOf(data) {
  try {
    return Number(JSON.parse(data)?.seq);
  } catch {
    return NaN;
  }
}
