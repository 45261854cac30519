// The station: holds what all its screens share and changes from one to the next.
import { makeBar, refusedView, whoView } from './bar.js';
import { makeCheckIn } from './checkin.js';
import { makeChecklist } from './checklist.js';
import { makeRatings } from './choices.js';
import { button, byId, fill, h } from './dom.js';
import { describe, measureOf, numbered } from './entrywords.js';
import { newId } from './ids.js';
import { makeList } from './list.js';
import { makeMeasure } from './measure.js';
import { Questions, store, stored } from './questions.js';
import { makeHold, makeRecord, makeWithout } from './record.js';
import { missing, overlay, stopped } from './sheet.js';
import { keepOrSay } from './trouble.js';
import { makeWalkOn } from './walkon.js';

/** @typedef {import('./types.d.ts').Athlete} Athlete */
/** @typedef {import('./types.d.ts').Entry} Entry */
/** @typedef {import('./types.d.ts').Kind} Kind */
/** @typedef {import('./types.d.ts').Question} Question */
/** @typedef {import('./screens.d.ts').App} App */
/** @typedef {import('./screens.d.ts').Turn} Turn */
/** @typedef {import('./screens.d.ts').View} View */

/** @implements {App} */
export class Station {
  /** @type {Athlete[]} */
  athletes = [];
  /** @type {Map<string, Athlete>} */
  #known = new Map();
  /** @type {string[]} */
  ahead = [];
  /** @type {View | null} */
  #view = null;
  #main = byId('main');
  #said = byId('said');
  /** The athlete of whom the line above the screen speaks. */
  #saidOf = '';
  /** Steps back in the browser's history that are our own. */
  #ownSteps = 0;
  #bar;
  #questions;

  /** @param {import('./types.d.ts').Outbox} outbox */
  constructor(outbox) {
    this.outbox = outbox;
    this.#questions = new Questions(outbox);
    /** @type {Map<string, import('./screens.d.ts').Draft>} */
    this.drafts = new Map(stored(outbox, 'drafts'));
    this.#refresh();
    this.#bar = makeBar(this);
    this.#bar.update();
  }

  /** Shows the first screen and listens. */
  start() {
    this.outbox.on('change', () => { this.#refresh(); this.#bar.update(); this.#view?.update?.(); });
    this.outbox.on('questions', (list) => { this.#questions.add(list, this.sheet.station.code); this.#view?.update?.(); });
    addEventListener('popstate', () => {
      if (this.#ownSteps > 0) this.#ownSteps--;
      else this.#show(makeList(this));
    });
    addEventListener('keydown', (event) => {
      if (event.key !== 'Escape' || event.defaultPrevented || this.#view?.escape?.()) return;
      if (history.state?.inside) this.list();
    });
    document.addEventListener('visibilitychange', () => {
      if (document.visibilityState === 'hidden') store(this.outbox, 'drafts', [...this.drafts]);
    });
    const back = history.state?.inside ? String(history.state.athlete ?? '') : '';
    if (!this.examiner) this.#show(whoView(this));
    else if (this.#known.has(back)) this.open({ athlete: back, round: 1 });
    else this.list();
  }

  get sheet() { return this.outbox.status.sheet; }
  get examiner() { return this.outbox.get('examiner') ?? ''; }

  #refresh() {
    this.athletes = overlay(this.sheet, this.outbox.kept());
    this.#known = new Map(this.athletes.map((a) => [a.id, a]));
  }

  /** @param {string} id */
  athlete(id) { return this.#known.get(id); }

  /** @param {string} id */
  standing(id) {
    const all = this.outbox.kept().filter((k) => k.entry.athlete === id && k.state !== 'refused');
    const undone = new Set(all.map((k) => k.entry.undoes).filter(Boolean));
    return all.filter((k) => k.entry.kind !== 'undo' && !undone.has(k.entry.id));
  }

  /** @param {Kind} kind @param {string} athlete @param {Partial<Entry>} [fields] @returns {Entry} */
  entry(kind, athlete, fields) {
    return { id: newId(), kind, athlete, examiner: this.examiner, taken: new Date().toISOString(), ...fields };
  }

  /** @param {Entry[]} entries @param {string} words */
  async keep(entries, words) {
    const first = entries[0];
    if (!first) return true;
    for (const e of entries) e.taken = first.taken; // what is kept together is taken back together
    const a = this.athlete(first.athlete);
    if (!await keepOrSay(this.outbox, entries, a && !words.includes(a.name) ? `${numbered(a)}: ${words}` : words)) {
      this.ahead.length = 0;
      return false;
    }
    this.#refresh();
    for (const e of entries) this.#questions.answeredBy(e);
    const ids = entries.map((e) => e.id);
    this.#saidOf = first.athlete;
    fill(this.#said, h('span', null, `Saved: ${words}.`), ' ',
      button('Undo', () => void this.undo(ids), { class: 'button undo', 'aria-label': `Undo: ${words}` }));
    return true;
  }

  /** @param {string[]} ids @param {boolean} [stay] */
  async undo(ids, stay = false) {
    const back = this.outbox.kept().filter((k) => ids.includes(k.entry.id)).map((k) => k.entry);
    const first = back[0];
    if (!first) return;
    const words = describe(this.sheet, back);
    if (!await keepOrSay(this.outbox, back.map((e) => this.entry('undo', e.athlete, { undoes: e.id })), `taken back: ${words}`)) return;
    this.#refresh();
    this.#saidOf = first.athlete;
    fill(this.#said, `Taken back: ${words}.`);
    if (stay) this.#view?.update?.();
    else if (first.kind === 'walk_on' || !this.athlete(first.athlete)) this.list();
    else this.open({ athlete: first.athlete, round: first.round === 2 ? 2 : 1, step: this.#stepOf(first) });
  }

  /** @param {Entry} e */
  #stepOf(e) {
    const kind = { answer: 'checklist', symptom: 'check_in', check_in: 'check_in' }[/** @type {string} */ (e.kind)];
    const at = this.sheet.station.steps.findIndex((s) => (kind ? s.kind === kind : s.measure === e.about));
    return at < 0 ? undefined : at;
  }

  /** @param {Turn} turn */
  open(turn) {
    const a = this.athlete(turn.athlete);
    if (!a) return this.list();
    if (!this.examiner) return this.#enter(a.id, whoView(this, () => this.open(turn)));
    if (a.hold?.length) return this.#enter(a.id, makeHold(this, a));
    if (a.consent === false) return this.#enter(a.id, makeWithout(this, a));
    const { cells, station } = this.sheet;
    const at = turn.step ?? cells[missing(a, cells, turn.round)[0] ?? -1]?.step;
    const step = at === undefined ? undefined : station.steps[at];
    const now = { ...turn, step: at };
    const m = measureOf(this.sheet, step?.measure);
    if (step?.kind === 'check_in') this.#enter(a.id, makeCheckIn(this, a, now));
    else if (step?.kind === 'checklist') this.#enter(a.id, makeChecklist(this, a, now));
    else if (m) this.#enter(a.id, m.scale === 'category' ? makeRatings(this, a, m, now) : makeMeasure(this, a, m, now));
    else this.#enter(a.id, makeRecord(this, a));
  }

  /** @param {Turn} turn */
  next({ athlete, round }) {
    const a = this.athlete(athlete);
    if (a && !stopped(a) && missing(a, this.sheet.cells, round).length > 0) this.open({ athlete, round });
    else this.list();
  }

  /** @param {string} id */
  record(id) {
    const a = this.athlete(id);
    if (a) this.#enter(id, makeRecord(this, a));
  }

  list() {
    if (history.state?.inside) {
      this.#ownSteps++;
      history.back();
    }
    this.#show(makeList(this));
  }

  walkOn() { this.#enter('', makeWalkOn(this)); }
  who() { this.#enter('', whoView(this)); }
  refused() { this.#enter('', refusedView(this)); }

  /** @param {string} name */
  async setExaminer(name) {
    await this.outbox.set('examiner', name);
    this.#bar.update();
  }

  /** @param {string} text @param {string} athlete */
  say(text, athlete) {
    this.#saidOf = athlete;
    fill(this.#said, text);
  }

  /** @param {string} [athlete] */
  questions(athlete) { return this.#questions.of(athlete); }

  /** @param {Question} q */
  isPutOff(q) { return this.#questions.isPutOff(q); }

  /** @param {Question} q */
  notNow(q) {
    this.#questions.later(q);
    this.#view?.update?.();
  }

  /** @param {Question} q */
  drop(q) {
    this.#questions.drop(q);
    this.#view?.update?.();
  }

  /** @param {Question} q */
  take(q) {
    this.open({ athlete: q.athlete, round: 1, step: this.sheet.station.steps.findIndex((s) => s.measure === q.measure), again: true });
  }

  /** @param {string} athlete @param {string} measure @param {string} kind */
  answered(athlete, measure, kind) { this.#questions.settle(athlete, measure, kind); }

  /** Shows a screen behind which the list lies: the phone's own back key leads there. @param {string} athlete @param {View} view */
  #enter(athlete, view) {
    if (!history.state?.inside) history.pushState({ inside: true, athlete }, '');
    else if (history.state.athlete !== athlete) history.replaceState({ inside: true, athlete }, '');
    if (athlete && this.#saidOf && athlete !== this.#saidOf) this.say('', '');
    this.#show(view);
  }

  /** @param {View} view */
  #show(view) {
    this.#view?.leave?.();
    this.#view = view;
    fill(this.#main, view.el);
    window.scrollTo(0, 0);
    view.focus();
    for (const key of this.ahead.splice(0)) view.press?.(key);
  }
}
