// The page of a station: reads its sheet, opens what keeps the entries, and starts the screens.
import { Station } from './app.js';
import { byId } from './dom.js';
import { keepOffline } from './offline.js';
import { openOutbox } from './outbox.js';
import { cannotStart } from './trouble.js';

/** @type {import('./types.d.ts').Sheet} */
const sheet = JSON.parse(byId('sheet').textContent ?? '');

try {
  new Station(await openOutbox({ code: document.body.dataset.code ?? sheet.station.code, sheet })).start();
} catch (error) {
  cannotStart(error);
}

// With https or on the machine itself, the page then also opens again without network.
void keepOffline(sheet.day.id);
