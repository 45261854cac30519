// A stand-in for the server that the tests of the outbox can put out of order: it stores entries by their
// ids as the real one does, and hangs, breaks, refuses or cuts the connection when told to.
import { readFileSync } from 'node:fs';
import { createServer } from 'node:http';
import { basename, dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const station = join(dirname(fileURLToPath(import.meta.url)), '../static/station');

/** @typedef {import('../static/station/types.d.ts').Entry} Entry */
/** @typedef {import('../static/station/types.d.ts').Sheet} Sheet */
/** @typedef {import('node:http').IncomingMessage} Request */
/** @typedef {import('node:http').ServerResponse} Response */
/**
 * What becomes of a request that sends entries. hang: it is never answered; cut: the connection ends before
 * anything is stored; cut after: once all is stored; half: in the middle of the answer; a number: that status with a problem document;
 * portal: the sign-in page of a guest network.
 * @typedef {'hang' | 'cut' | 'cut after' | 'half' | 'portal' | 'portal 403' | number} Trouble
 */

export class StationServer {
  /** Entries by id, in the order in which they came in. @type {Map<string, {entry: Entry, code: string, seq: number}>} */
  stored = new Map();
  /** Ids that came again with other content. @type {string[]} */
  clashes = [];
  /** Bodies of the requests that sent entries. @type {{code: string, device: string, sent: string, ids: string[]}[]} */
  batches = [];
  /** For the next requests, one each; then for all. @type {Trouble[]} */
  next = [];
  /** @type {Trouble | null} */
  always = null;
  /** Refused one by one. @type {Set<string>} */
  refused = new Set();
  /** A batch with such an entry is refused as a whole. @type {Set<string>} */
  faulty = new Set();
  /** The server breaks on such an entry. @type {Set<string>} */
  breaking = new Set();
  /** @type {Set<string>} */
  gone = new Set();
  /** @type {Map<string, string>} station code -> day */
  days = new Map([['ALPHA', 'day-1'], ['BRAVO', 'day-1'], ['NEXT', 'day-2']]);
  /** What is asked with every answer. @type {import('../static/station/types.d.ts').Question[]} */
  questions = [];
  closed = false;
  seq = 1;
  sheetsGiven = 0;
  now = '2026-02-10T10:00:00Z';
  streams = /** @type {Set<Response>} */ (new Set());
  hanging = /** @type {Set<Response>} */ (new Set());
  /** @type {Set<() => void>} */
  #waiting = new Set();
  #server = createServer((request, response) => void this.#answer(request, response));
  port = 0;

  async start() {
    await new Promise((resolve) => this.#server.listen(0, '127.0.0.1', () => resolve(null)));
    this.port = /** @type {import('node:net').AddressInfo} */ (this.#server.address()).port;
    return this;
  }

  async stop() {
    this.#server.closeAllConnections();
    await new Promise((resolve) => this.#server.close(resolve));
  }

  /**
   * Waits until something is so; it is looked at after every request.
   * @param {() => boolean} so
   * @param {string} what
   * @returns {Promise<void>}
   */
  until(so, what) {
    return new Promise((resolve, reject) => {
      const late = setTimeout(() => {
        this.#waiting.delete(look);
        reject(new Error(`waited in vain: ${what}`));
      }, 30_000);
      const look = () => {
        if (!so()) return;
        clearTimeout(late);
        this.#waiting.delete(look);
        resolve();
      };
      this.#waiting.add(look);
      look();
    });
  }

  /** @param {string} code @returns {Sheet} */
  sheet(code) {
    return {
      day: { id: this.days.get(code) ?? '', team: 'Team', on: '2026-02-10', side_order: 'throwing_first', closed: this.closed, demo: false },
      station: { code, name: code, steps: [] }, cells: [{ step: 0, about: 'ir', side: 'left' }], measures: [], items: [], symptoms: [],
      athletes: [{ id: 'a1', number: 1, code: '1-QRT', name: 'Ana Ruiz', hand: 'right', arm: ['non-throwing', 'throwing'], leg: ['lead', 'trail'], first: 'right', twice: false, done: '.' }],
      helpers: [], sport: 'baseball', seq: this.seq, now: this.now, protocol: 'p 1',
    };
  }

  /** Something of the day changed. */
  change() {
    this.seq++;
    for (const stream of this.streams) stream.write(`event: changed\ndata: {"seq": ${this.seq}}\n\n`);
  }

  /** @param {Request} request @param {Response} response */
  async #answer(request, response) {
    const path = new URL(request.url ?? '/', 'http://x').pathname;
    const api = /^\/api\/v1\/stations\/([^/]+)(\/entries|\/events)?$/.exec(path);
    if (api && this.gone.has(api[1] ?? '')) problem(response, 404, 'there is no such station', 'ask for today\'s link');
    else if (api && api[2] === '/entries') await this.#take(api[1] ?? '', request, response);
    else if (api && api[2] === '/events') this.#stream(response);
    else if (api) this.#give(api[1] ?? '', request, response);
    else this.#file(path, response);
    for (const look of [...this.#waiting]) look();
  }

  /** @param {string} code @param {Request} request @param {Response} response */
  async #take(code, request, response) {
    let text = '';
    try {
      for await (const part of request) text += part;
    } catch {
      return; // the browser was killed in the middle of it
    }
    const { entries, device, sent } = JSON.parse(text);
    const ids = entries.map((/** @type {Entry} */ e) => e.id);
    this.batches.push({ code, device, sent, ids });
    const trouble = this.next.shift() ?? this.always;
    if (trouble === 'hang') return this.#hang(response);
    if (trouble === 'cut') return void request.socket.destroy();
    if (trouble === 'portal' || trouble === 'portal 403') {
      response.writeHead(trouble === 'portal' ? 200 : 403, { 'Content-Type': 'text/html' }).end('<h1>Sign in</h1>');
      return;
    }
    if (typeof trouble === 'number') return problem(response, trouble, `trouble ${trouble}`);
    if (ids.some((/** @type {string} */ id) => this.breaking.has(id))) return problem(response, 500, 'something went wrong inside');
    if (ids.some((/** @type {string} */ id) => this.faulty.has(id))) return problem(response, 422, 'the batch cannot be read', 'another form');
    const results = entries.map((/** @type {Entry} */ e) => this.#store(code, e));
    if (trouble === 'cut after') return void request.socket.destroy();
    const answer = { results, questions: this.questions, late: this.closed, seq: this.seq };
    if (trouble === 'half') {
      const text = JSON.stringify(answer);
      response.writeHead(200, { 'Content-Type': 'application/json', 'Content-Length': text.length });
      response.write(text.slice(0, text.length / 2), () => request.socket.destroy());
      return;
    }
    json(response, 200, answer);
  }

  /** @param {Response} response */
  #hang(response) {
    this.hanging.add(response);
    response.on('close', () => {
      this.hanging.delete(response);
      for (const look of [...this.#waiting]) look();
    });
  }

  /** @param {string} code @param {Entry} entry */
  #store(code, entry) {
    const { id } = entry;
    if (this.refused.has(id)) return { id, status: 'refused', location: 'trials[0]', message: 'it cannot be', want: 'something else' };
    const old = this.stored.get(id);
    if (old) {
      if (JSON.stringify(old.entry) !== JSON.stringify(entry)) this.clashes.push(id);
      return { id, status: 'already' };
    }
    this.seq++;
    this.stored.set(id, { entry, code, seq: this.seq });
    return { id, status: 'added' };
  }

  /** @param {Response} response */
  #stream(response) {
    response.writeHead(200, { 'Content-Type': 'text/event-stream', 'Cache-Control': 'no-store' });
    response.write(':\n\n');
    this.streams.add(response);
    response.on('close', () => {
      this.streams.delete(response);
      for (const look of [...this.#waiting]) look();
    });
  }

  /** @param {string} code @param {Request} request @param {Response} response */
  #give(code, request, response) {
    if (this.always === 'cut') return void request.socket.destroy();
    const sheet = this.sheet(code);
    const tag = `"${sheet.seq}.${sheet.now}"`;
    if (request.headers['if-none-match'] === tag) return void response.writeHead(304, { ETag: tag }).end();
    this.sheetsGiven++;
    json(response, 200, sheet, { ETag: tag });
  }

  /** Pages and modules; modules also under addresses with a hash. @param {string} path @param {Response} response */
  #file(path, response) {
    if (path === '/s/sw.js') return script(response, join(station, '../sw.js'));
    if (path.startsWith('/assets/')) return script(response, join(station, basename(path).replace(/\.[0-9a-f]{12}\./, '.')));
    if (!path.startsWith('/s/')) return void response.writeHead(404).end();
    const module = '<script type="module" src="/assets/ids.0123456789ab.js"></script>';
    response.writeHead(200, { 'Content-Type': 'text/html', 'Cache-Control': 'no-store' }).end(`<!doctype html><meta charset="utf-8"><title>Station</title>${module}<p>seq ${this.seq}</p>`);
  }
}

/** @param {Response} response @param {string} file */
function script(response, file) {
  response.writeHead(200, { 'Content-Type': 'text/javascript', 'Cache-Control': 'no-cache' }).end(readFileSync(file));
}

/** @param {Response} response @param {number} status @param {unknown} body @param {Record<string, string>} [headers] */
function json(response, status, body, headers) {
  response.writeHead(status, { 'Content-Type': 'application/json', ...headers }).end(JSON.stringify(body));
}

/** @param {Response} response @param {number} status @param {string} detail @param {string} [want] */
function problem(response, status, detail, want) {
  response.writeHead(status, { 'Content-Type': 'application/problem+json' }).end(JSON.stringify({ type: 'about:blank', title: 'Problem', status, detail, want }));
}
