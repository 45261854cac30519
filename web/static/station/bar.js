// The bar above every screen: the station, who is entering, and what is not sent yet. And the two
// screens behind it.
import { button, byId, fill, h, heading, plural, say } from './dom.js';
import { describe, numbered } from './entrywords.js';

/** @typedef {import('./screens.d.ts').App} App */
/** @typedef {import('./screens.d.ts').View} View */

/** What is not sent yet, in words. @param {import('./types.d.ts').Status} status */
export function sentWords({ waiting, online }) {
  if (online === false) return waiting > 0 ? `No network: ${waiting} kept on this device` : 'No network: all sent so far';
  return waiting > 0 ? `${waiting} not yet sent` : 'All sent';
}

/** @param {App} app */
export function makeBar(app) {
  const who = button('', () => app.who(), { class: 'button who' });
  const sent = h('p', { class: 'sent', role: 'status' });
  const refused = button('', () => app.refused(), { class: 'button', hidden: true });
  const late = h('p', { class: 'late', hidden: true }, 'The day is closed. What you still have is sent and marked late.');
  const bar = byId('bar');
  // With large text the bar would cover what is worked on; then it scrolls away.
  new ResizeObserver(() => bar.classList.toggle('below', bar.offsetHeight > 0.18 * innerHeight)).observe(bar);
  bar.append(h('div', { class: 'state' }, who, sent, refused), late);
  return {
    update() {
      const { status } = app.outbox;
      say(who, app.examiner || 'Who is entering?');
      who.hidden = !app.examiner;
      who.setAttribute('aria-label', app.examiner ? `Entering: ${app.examiner}. Change` : 'Who is entering?');
      say(sent, sentWords(status));
      sent.classList.toggle('waiting', status.waiting > 0 || status.online === false);
      say(refused, status.refused.length === 1 ? '1 was not taken' : `${status.refused.length} were not taken`);
      refused.hidden = status.refused.length === 0;
      late.hidden = !status.late;
    },
  };
}

/** Asks once who is entering, and again when helpers change. @param {App} app @param {() => void} [then] @returns {View} */
export function whoView(app, then = () => app.list()) {
  const title = heading('h1', 'Who is entering?');
  const input = h('input', { id: 'who', name: 'who', autocomplete: 'off', autocapitalize: 'words', maxlength: '60', enterkeyhint: 'done' });
  const fault = h('p', { class: 'fault', role: 'alert', hidden: true }, 'Type your name or initials, so that the day knows who measured.');
  /** @param {string} name */
  const choose = async (name) => {
    fault.hidden = name !== '';
    if (!name) return input.focus();
    try {
      await app.setExaminer(name);
    } catch (error) {
      say(fault, error instanceof Error ? error.message : 'This device did not keep the name.');
      fault.hidden = false;
      return;
    }
    then();
  };
  /** @param {Event} event */
  const submit = (event) => {
    event.preventDefault();
    void choose(input.value.trim());
  };
  const names = [...new Set([...app.sheet.helpers, ...(app.examiner ? [app.examiner] : [])])];
  const el = h('section', { class: 'narrow' }, title,
    h('p', null, 'It is written beside what you enter. The arms of one athlete are best measured by one person.'),
    names.length > 0 && h('div', { class: 'stack' }, names.map((n) => button(n, () => void choose(n), { class: 'button large', 'aria-current': n === app.examiner && 'true' }))),
    h('form', { onsubmit: submit },
      h('p', null, h('label', { for: 'who' }, names.length > 0 ? 'Somebody else: name or initials' : 'Your name or initials'), input), fault,
      h('p', null, h('button', { class: 'button go large' }, 'Go on'))));
  return { el, focus: () => title.focus() };
}

/** What the server did not take, why, and what would be right. @param {App} app @returns {View} */
export function refusedView(app) {
  const title = heading('h1', 'Not taken');
  const body = h('div', null);
  function update() {
    const list = app.outbox.status.refused;
    fill(body, list.length === 0 && h('p', null, 'Everything else was taken.'), list.map((k) => {
      const a = app.athlete(k.entry.athlete);
      return h('article', { class: 'card' },
        h('h2', null, a ? numbered(a) : 'An athlete who is not on the list'),
        h('p', null, h('b', null, describe(app.sheet, [k.entry]))),
        h('p', null, `Why: ${k.problem ?? 'the server gave no reason'}.`),
        k.want && h('p', null, `What would be right: ${k.want}.`),
        h('div', { class: 'buttons' },
          a && button('Enter it again', () => again(k)),
          button('Seen, take it off this list', () => void app.outbox.dismiss(k.entry.id).then(update, () => {}))));
    }));
  }
  /** @param {import('./types.d.ts').Kept} k */
  function again(k) {
    const step = app.sheet.station.steps.findIndex((s) => s.measure && s.measure === k.entry.about);
    app.open({ athlete: k.entry.athlete, round: k.entry.round === 2 ? 2 : 1, ...(step < 0 ? {} : { step }) });
  }
  update();
  const el = h('section', { class: 'narrow' }, back(app), title,
    h('p', null, plural(app.outbox.status.refused.length, 'entry was', 'entries were'), ' not taken. It is still on this device and nothing else is held up by it.'), body);
  return { el, focus: () => title.focus(), update };
}

/** @param {App} app */
function back(app) {
  return button('Back to the list', () => app.list());
}
