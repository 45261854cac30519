// A server with the invented squad and a screening day, and what is asked of it over the API.
import assert from 'node:assert/strict';
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { startServer } from '../program.mjs';
import { squad } from './data.mjs';

/** @typedef {import('./station.mjs').Entered} Entered */

const today = new Date();
/** The day on which the tests run, as the server sees it. */
export const on = `${today.getFullYear()}-${String(today.getMonth() + 1).padStart(2, '0')}-${String(today.getDate()).padStart(2, '0')}`;
export const people = squad();

export class Server {
  /** @param {import('../program.mjs').Program} program @param {string} folder */
  constructor(program, folder) {
    this.program = program;
    this.folder = folder;
    this.cookie = { name: '', value: '' };
  }

  static async start() {
    const folder = mkdtempSync(join(tmpdir(), 'evenhand-day-'));
    const server = new Server(await startServer(join(folder, 'day.db')), folder);
    await server.signUp();
    return server;
  }

  /** Makes the first account by the link that the program prints. Stations need none. */
  async signUp() {
    let link = null;
    for (let i = 0; i < 100 && !link; i++) {
      link = /\/setup\/[\w-]+/.exec(this.program.said());
      if (!link) await new Promise((r) => setTimeout(r, 50));
    }
    assert.ok(link, `the program printed no link for the first account: ${this.program.said()}`);
    const form = new URLSearchParams({ name: 'Day Chief', login: 'chief', password: 'seven quiet herons wade at dusk', again: 'seven quiet herons wade at dusk', looks_after: 'yes' });
    const answer = await fetch(`${this.program.url}${link[0]}`, { method: 'POST', body: form, redirect: 'manual', headers: { Origin: this.program.url } });
    const [name, value] = (answer.headers.getSetCookie()[0] ?? '').split(';')[0]?.split('=') ?? [];
    assert.ok(name && value, `signed up: ${answer.status} ${(await answer.text()).slice(0, 400)}`);
    this.cookie = { name, value };
  }

  /** Signs a page's browser in. @param {import('playwright-core').Page} page */
  async signIn(page) {
    await page.context().addCookies([{ ...this.cookie, url: this.here }]);
  }

  get signedIn() {
    return { Cookie: `${this.cookie.name}=${this.cookie.value}` };
  }

  /** On this machine itself, where the browser gives all it has. */
  get here() {
    return this.program.url;
  }

  /** As phones see it, over plain http: no service worker there. */
  get plain() {
    return `http://gym.test:${this.program.port}`;
  }

  /** The power is cut, and comes back. */
  async killAndRestart() {
    const { port } = this.program;
    await this.program.stop('SIGKILL');
    this.program = await startServer(join(this.folder, 'day.db'), port);
  }

  async stop() {
    await this.program.stop();
    rmSync(this.folder, { recursive: true, force: true });
  }

  /** @param {string} method @param {string} path @param {unknown} [body] */
  async api(method, path, body) {
    const answer = await fetch(`${this.program.url}/api/v1${path}`, { method, headers: { 'Content-Type': 'application/json', ...this.signedIn }, ...(body === undefined ? {} : { body: JSON.stringify(body) }) });
    const text = await answer.text();
    assert.ok(answer.ok, `${method} ${path}: ${answer.status} ${text.slice(0, 400)}`);
    return text ? JSON.parse(text) : null;
  }

  /** @param {number} [n] how many of the squad */
  async enlist(n = people.length) {
    await this.api('PUT', '/teams/team', { name: 'Invented sixty', sport: 'baseball' });
    for (const a of people.slice(0, n)) {
      await this.api('PUT', `/athletes/${a.id}?team=team`, { name: a.name, born: a.born, sex: a.sex, hands: [{ hand: a.hand }], sport: 'baseball', level: 'youth' });
      const ofAge = `${Number(a.born.slice(0, 4)) + 18}${a.born.slice(4)}` <= on;
      await this.api('POST', `/athletes/${a.id}/consents`, { id: `consent-${a.id}`, purpose: 'screening', on, given_by: ofAge ? 'athlete' : 'guardian' });
    }
  }

  /** @param {unknown[]} stations @param {number} [every] */
  async setUp(stations, every = 0) {
    await this.api('PUT', '/days/day', { team: 'team', on, kind: 'preseason', side_order: 'throwing_first', every, stations });
  }

  /** All readings of the day that stand, each as a text. */
  async readings() {
    const day = await this.api('GET', '/days/day');
    /** @type {string[]} */
    const out = [];
    for (const p of day.athletes) out.push(...await this.readingsOf(p.screen, p.athlete));
    return out.sort();
  }

  /** @param {string} screen @param {string} athlete */
  async readingsOf(screen, athlete) {
    const answer = await fetch(`${this.program.url}/api/v1/screens/${screen}/readings`, { headers: this.signedIn });
    if (answer.status === 404) return []; // nothing was entered
    const { items } = /** @type {{ items: any[] }} */ (await answer.json());
    return items.filter((r) => !r.superseded_by && !r.withdrawn).map((r) => reading({ athlete, about: r.measure, side: r.side, trials: r.trials, examiner: r.examiner })).sort();
  }
}

/** A reading as a text, to compare. @param {{ athlete: string, about?: string, side?: string, trials?: number[], examiner: string }} r */
export function reading(r) {
  return JSON.stringify([r.athlete, r.about, r.side, r.trials, r.examiner]);
}

/** What helpers entered, in the same form. @param {{ entered: Entered[] }[]} helpers */
export function readingsBy(helpers) {
  return helpers.flatMap((h) => h.entered).filter((e) => e.kind === 'reading').map(reading).sort();
}
