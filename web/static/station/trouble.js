// What is shown when the device does not keep an entry, or cannot be used at all. It stays until somebody
// has dealt with it.
import { button, byId, fill, h, heading, plural } from './dom.js';

/**
 * Keeps entries, and asks whether to try again as long as the device does not.
 * @param {import('./types.d.ts').Outbox} outbox
 * @param {import('./types.d.ts').Entry[]} entries
 * @param {string} words what is to be kept, as it would be written on paper
 * @returns {Promise<boolean>} false: given up for now, nothing was kept
 */
export async function keepOrSay(outbox, entries, words) {
  for (;;) {
    try {
      await outbox.keep(entries);
      return true;
    } catch (error) {
      if (!await trouble(outbox, error, words)) return false;
    }
  }
}

/** @param {import('./types.d.ts').Outbox} outbox @param {unknown} error @param {string} words @returns {Promise<boolean>} true: try again */
function trouble(outbox, error, words) {
  const notices = byId('notices');
  const kept = outbox.kept();
  const sent = kept.filter((k) => k.state === 'sent').length;
  const safe = kept.length === 0 ? 'Nothing was entered on this device before this.'
    : `Safe are the ${plural(kept.length, 'entry', 'entries')} made here before: ${sent} with the server, ${kept.length - sent} on this device.`;
  return new Promise((resolve) => {
    /** @param {boolean} again */
    const close = (again) => { fill(notices); resolve(again); };
    const retry = button('Try again', () => close(true), { class: 'button go' });
    fill(notices, h('section', { class: 'trouble', role: 'alert' },
      h('h2', null, 'Not saved'),
      h('p', null, error instanceof Error ? error.message : 'This device did not keep it.'),
      h('p', null, 'Write this on the paper sheet: ', h('b', null, words)),
      h('p', null, safe),
      h('div', { class: 'buttons' }, retry, button('Not now', () => close(false)))));
    retry.focus({ preventScroll: true });
    notices.scrollIntoView({ block: 'start' });
  });
}

/** The station cannot work on this device. @param {unknown} error */
export function cannotStart(error) {
  const title = heading('h1', 'This device cannot be used');
  fill(byId('main'), title,
    h('p', { class: 'needs' }, error instanceof Error ? error.message : 'It does not keep what is entered.'),
    h('p', null, 'Open the station on another device, or write on the paper sheets.'));
  title.focus();
}
