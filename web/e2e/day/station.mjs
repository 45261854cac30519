// A helper at a station: opens it on a device of its own and enters athlete after athlete with the keys.
import assert from 'node:assert/strict';
import { cutOff } from '../program.mjs';
import { measures, readings, seen, signs } from './data.mjs';

/** @typedef {import('./data.mjs').Athlete} Athlete */
/** @typedef {{ kind: string, athlete: string, about?: string, side?: string, trials?: number[], answer?: string, round?: number, examiner: string, hand?: string }} Entered */

const patience = { timeout: 30_000 };

export class Helper {
  /** @type {Entered[]} */
  entered = [];
  /** Athletes whom the station did not take, because they are on hold. @type {Set<number>} */
  stopped = new Set();
  through = 0;
  /** @type {import('playwright-core').BrowserContext | undefined} */
  context;
  /** @type {import('playwright-core').Page | undefined} */
  page;
  /** As the page had it when it was opened. @type {any} */
  sheet;

  /**
   * @param {import('playwright-core').Browser} browser
   * @param {{ origin: string, station: { code: string, name: string, steps: { kind: string, measure?: string, trials?: number }[] }, name: string }} at
   */
  constructor(browser, { origin, station, name }) {
    this.browser = browser;
    this.url = `${origin}/s/${station.code}`;
    this.station = station;
    this.name = name;
    /** @type {string[]} */
    this.wrong = [];
  }

  async open() {
    this.context ??= await this.browser.newContext({ viewport: { width: 390, height: 740 } });
    this.page = await this.context.newPage();
    this.page.on('pageerror', (error) => this.wrong.push(String(error)));
    await this.page.goto(this.url, patience);
    await this.page.locator('#who, h1:has-text("Who is next?")').first().waitFor(patience);
    if (await this.page.locator('#who').count() > 0) {
      await this.page.locator('#who').fill(this.name);
      await this.page.keyboard.press('Enter');
    }
    await this.list();
  }

  get p() {
    assert.ok(this.page);
    return this.page;
  }

  /** Waits for one of some texts in one of some places; looked at with every frame, which is quicker than a locator looks. @param {Record<string, string>} places selector and text that it begins with */
  shows(places) {
    return this.p.waitForFunction((all) => Object.entries(all).some(([selector, text]) => document.querySelector(selector)?.textContent?.startsWith(text)), places, patience);
  }

  async list() {
    await this.shows({ h1: 'Who is next?' });
  }

  /** @param {boolean} off */
  async cut(off) {
    if (off && this.page) await cutOff(this.page);
    else await this.context?.setOffline(off);
  }

  /** The tab is gone, as when a phone needs its memory. */
  async killTab() {
    await this.p.close();
    this.page = undefined;
  }

  /** @param {Athlete} a @param {number} round */
  async take(a, round = 1) {
    const page = this.p;
    await page.locator('#find').fill(String(a.number));
    await page.keyboard.press('Enter');
    const stop = page.locator('.stop');
    await this.shows({ h1: `${a.number} `, '.stop': '' });
    if (await stop.count() > 0) {
      this.stopped.add(a.number);
      await page.getByRole('button', { name: 'Back to the list' }).click();
      return this.list();
    }
    for (const step of this.station.steps) {
      if (step.kind === 'check_in') await this.checkIn(a);
      else if (step.kind === 'checklist' && round === 1) await this.checklist(a);
      else if (step.measure) await this.measure(a, step.measure, round, step.trials);
    }
    await this.list();
    this.through++;
  }

  /** @param {Athlete} a */
  async checkIn(a) {
    const page = this.p;
    await page.getByRole('button', { name: 'Yes', exact: true }).click();
    await page.getByRole('button', { name: 'No', exact: true }).click();
    const sign = signs[a.number];
    if (!sign) {
      await page.getByRole('button', { name: 'None of these' }).click();
    } else {
      await page.getByLabel(sign.name).check();
      await page.getByRole('button', { name: `Side of it: ${sign.side}` }).click();
      await page.getByRole('button', { name: 'Save 1 sign' }).click();
      this.entered.push({ kind: 'symptom', athlete: a.id, about: sign.id, side: sign.side.toLowerCase(), examiner: this.name });
      const stop = page.locator('.stop');
      await stop.or(page.locator('h1', { hasText: 'Who is next?' })).first().waitFor(patience);
      if (await stop.count() > 0) await page.getByRole('button', { name: 'Back to the list' }).click();
    }
    this.entered.push({ kind: 'check_in', athlete: a.id, hand: a.hand, examiner: this.name });
  }

  /** @param {Athlete} a */
  async checklist(a) {
    await this.shows({ '.item': '' });
    const ids = await this.itemIDs();
    assert.ok(ids.length >= 5, 'the checklist is shown');
    for (const [i, id] of ids.entries()) {
      const answer = seen(a, i);
      await this.p.evaluate(([n, to]) => /** @type {HTMLElement} */ (document.querySelectorAll('.item')[Number(n)]?.querySelector(`[data-answer=${to}]`)).click(), [i, answer]);
      await this.p.waitForFunction(([n, to]) => {
        const item = document.querySelectorAll('.item')[Number(n)];
        return !item || item.querySelector(`[data-answer=${to}]`)?.getAttribute('aria-pressed') === 'true';
      }, [i, answer], patience);
      this.entered.push({ kind: 'answer', athlete: a.id, about: id, answer, examiner: this.name });
    }
  }

  /** @returns {Promise<string[]>} */
  itemIDs() {
    return this.p.evaluate(() => JSON.parse(document.getElementById('sheet')?.textContent ?? '{}').items.map((/** @type {{id: string}} */ i) => i.id));
  }

  /** @param {Athlete} a @param {string} about @param {number} round @param {number} [trials] as the station takes, if not as planned */
  async measure(a, about, round, trials) {
    const page = this.p;
    const { name, plausible } = await this.sheetMeasure(about);
    await this.shows({ 'h2.measure': name });
    const both = readings(a, about, round).map((r) => ({ ...r, trials: r.trials.slice(0, trials) }));
    // The arm that throws is first; of the legs, the side is the same: the list says one side for all.
    const order = a.hand === 'left' ? both : [...both].reverse();
    for (const r of order) for (const t of r.trials) await this.value(about, t, plausible[1]);
    for (;;) {
      const state = await page.waitForFunction((was) => {
        if (document.querySelector('.ask')) return 'ask';
        return document.querySelector('h2.measure')?.textContent?.includes(was) ? '' : 'on';
      }, name, patience).then((h) => h.jsonValue());
      if (state !== 'ask') break;
      await page.locator('.ask button').filter({ hasText: /^(Keep|Yes, it is right)/ }).first().click();
    }
    for (const r of order) this.entered.push({ kind: 'reading', athlete: a.id, about, side: r.side, trials: r.trials, round, examiner: this.name });
  }

  /** @param {string} about @returns {Promise<{ name: string, plausible: [number, number] }>} as the page has it */
  async sheetMeasure(about) {
    this.sheet ??= await this.p.evaluate(() => JSON.parse(document.getElementById('sheet')?.textContent ?? '{}'));
    return this.sheet.measures.find((/** @type {{id: string}} */ m) => m.id === about);
  }

  /**
   * Types a value. The next field comes by itself once no further digit could follow; else Enter says so.
   * @param {string} about @param {number} value @param {number} most plausible
   */
  async value(about, value, most) {
    const m = measures[/** @type {import('./data.mjs').MeasureID} */ (about)];
    if (!('words' in m)) {
      const open = m.step < 1 ? Number.isInteger(value) : value * 10 <= most;
      return this.p.keyboard.type(open ? `${value}\n` : String(value));
    }
    const word = value < 0 ? 'short of straight' : value > 0 ? 'beyond straight' : 'straight';
    if (value !== 0) await this.p.keyboard.type(String(Math.abs(value)));
    await this.p.locator('.bottom').getByRole('button', { name: word, exact: true }).click();
  }

  /** What the bar says of entries not yet sent. */
  sent() {
    return this.p.locator('#bar .sent').textContent();
  }

  async close() {
    await this.context?.close();
    this.context = this.page = undefined;
  }

  async allSent() {
    await this.p.locator('#bar .sent', { hasText: 'All sent' }).waitFor({ timeout: 60_000 });
  }
}
