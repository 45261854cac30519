// A station whose server is played here: its page from the real template, the real modules and styles, an
// invented sheet, and a server that takes everything unless told otherwise.
import { readFileSync } from 'node:fs';
import { dirname, extname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

const web = join(dirname(fileURLToPath(import.meta.url)), '..');
const types = { '.js': 'text/javascript', '.css': 'text/css', '.svg': 'image/svg+xml' };
export const origin = 'http://127.0.0.1:9';

/** @typedef {import('../static/station/types.d.ts').Sheet} Sheet */
/** @typedef {import('../static/station/types.d.ts').Athlete} Athlete */
/** @typedef {import('../static/station/types.d.ts').Entry} Entry */
/** @typedef {import('../static/station/types.d.ts').Question} Question */

// Ranges and margins as in the protocol's files; the two counts of trials are those of a day.
const arm = { paired: true, limb: 'arm', scale: 'linear', unit: '°', trials: 2, most: 10, step: 1, agree_within: 5, swap_margin: 16, placing: 3, timed: false, instrument: 'inclinometer', how: 'The shoulder blade is held down; the forearm is turned until it begins to lift.' };
export const measures = {
  internal: { ...arm, id: 'shoulder_internal_rotation', name: 'Shoulder internal rotation', plausible: [0, 130], typical: [20, 100], position: 'on the back, arm out at 90 degrees' },
  external: { ...arm, id: 'shoulder_external_rotation', name: 'Shoulder external rotation', plausible: [30, 180], typical: [70, 150], position: 'on the back, arm out at 90 degrees' },
  flexion: { ...arm, id: 'shoulder_flexion', name: 'Shoulder flexion', plausible: [90, 220], typical: [140, 200] },
  adduction: { ...arm, id: 'shoulder_horizontal_adduction', name: 'Shoulder horizontal adduction', plausible: [0, 90], typical: [5, 60] },
  elbow: { ...arm, id: 'elbow_extension', name: 'Elbow extension', plausible: [-60, 30], typical: [-15, 20], say: { positive: 'beyond straight', negative: 'short of straight', zero: 'straight' } },
  forearm: { ...arm, id: 'forearm_pronation', name: 'Forearm pronation', plausible: [20, 130], typical: [60, 110] },
  hip: { ...arm, limb: 'leg', id: 'hip_internal_rotation', name: 'Hip internal rotation', plausible: [0, 90], typical: [15, 65] },
  scapula: { ...arm, id: 'scapula_rating', name: 'Scapular motion, rating', unit: '', scale: 'category', trials: 1, most: 1, categories: ['normal', 'subtle', 'obvious'], position: 'standing, five weighted lifts forward and five sideways' },
  errors: { ...arm, limb: 'leg', id: 'stance_errors', name: 'Single-leg stance, errors in 20 s', unit: '', scale: 'count', trials: 1, plausible: [0, 10], typical: [0, 10], agree_within: 0, cap: 10 },
  stance: { ...arm, limb: 'leg', id: 'stance_time', name: 'Single-leg stance, eyes closed', unit: 's', timed: true, step: 0.1, plausible: [0, 120], typical: [1, 60], agree_within: 0, trials: 1 },
  limb: { ...arm, limb: undefined, paired: false, id: 'chest', name: 'Chest girth', unit: 'cm', step: 0.5, plausible: [40, 160], typical: [60, 130] },
};

const names = ['Ana Ruiz', 'Ben Adeyemi', 'Cleo Lindqvist', 'Dmitri Falk', 'Eshe Tanaka', 'Finn O\'Malley', 'Greta Novak', 'Hugo Silva', 'Ines Moreau', 'Jonas Weber'];

/**
 * @param {(keyof typeof measures | 'check_in' | 'checklist')[]} takes
 * @param {Partial<Sheet>} [more]
 * @returns {Sheet}
 */
export function makeSheet(takes, more = {}) {
  const items = takes.includes('checklist') ? [['stride', 'Leads with the hips'], ['stride', 'Hand on top of the ball as the arm comes up'], ['foot_contact', 'Arm up in throwing position'], ['foot_contact', 'Front shoulder closed'], ['ball_release', 'Stride foot points to the target']].map(([phase, name], i) => ({ id: `item${i}`, phase: phase ?? '', name: name ?? '' })) : [];
  const steps = takes.map((t) => (t === 'check_in' || t === 'checklist' ? { kind: t } : { kind: 'measure', measure: measures[t].id, trials: 0 }));
  const cells = takes.flatMap((t, step) => {
    if (t === 'check_in') return [{ step, about: 'check_in', side: 'none' }];
    if (t === 'checklist') return items.map((i) => ({ step, about: i.id, side: 'none' }));
    return (measures[t].paired ? ['left', 'right'] : ['none']).map((side) => ({ step, about: measures[t].id, side }));
  });
  const athletes = Array.from({ length: 60 }, (_, i) => athlete(i, cells.length));
  return /** @type {Sheet} */ ({
    day: { id: 'day-1', team: 'North Harbour', on: '2026-03-10', side_order: 'throwing_first', closed: false, demo: true },
    station: { code: 'fake', name: takes[0] === 'check_in' ? 'Check-in' : 'Shoulder and scapula', steps }, cells,
    measures: takes.filter((t) => t !== 'check_in' && t !== 'checklist').map((t) => measures[/** @type {keyof typeof measures} */ (t)]),
    items, symptoms: [
      { id: 'pain_at_rest_or_night', name: 'Pain at rest or at night', referral: true }, { id: 'numbness_or_tingling', name: 'Numbness or tingling', referral: true },
      { id: 'muscle_soreness', name: 'Ordinary muscle soreness that is gone by the next session', referral: false }, { id: 'tiredness', name: 'General tiredness', referral: false },
    ],
    athletes, helpers: ['Dana', 'Mo K.'], sport: 'baseball', seq: 0, now: '2026-03-10T09:00:00Z', protocol: 'default 1', ...more,
  });
}

/** Every fourth throws left, the ninth with both hands; the fifth is measured twice, the tenth is on hold. @param {number} i @param {number} cells @returns {Athlete} */
function athlete(i, cells) {
  const hand = i === 8 ? 'both' : i % 4 === 2 ? 'left' : 'right';
  const sides = (/** @type {string} */ mine, /** @type {string} */ other) => /** @type {[string, string]} */ (hand === 'both' ? ['', ''] : hand === 'left' ? [mine, other] : [other, mine]);
  return {
    id: `athlete-${i + 1}`, number: i + 1, code: `${i + 1}-K${'ABCDEFGHIJ'[i % 10]}M`, name: `${names[i % 10]}${i >= 10 ? ` ${Math.floor(i / 10) + 1}` : ''}`, hand,
    arm: sides('throwing', 'non-throwing'), leg: sides('trail', 'lead'), first: hand === 'left' ? 'left' : 'right', twice: i === 4,
    done: (i < 2 ? 'x' : '.').repeat(cells), ...(i === 4 ? { second: '.'.repeat(cells) } : {}), ...(i === 9 ? { hold: ['Numbness or tingling'] } : {}),
  };
}

/** @param {Sheet} sheet */
function html(sheet) {
  const filled = readFileSync(join(web, 'templates/station.html'), 'utf8')
    .replace(/^\{\{define [^}]*\}\}/, '').replace(/\{\{end\}\}\s*$/, '')
    .replace(/\{\{- if \.Script\}\}([\s\S]*?)\{\{- else\}\}[\s\S]*?\{\{- end\}\}\n(?=<\/head>)/, '$1').replace('{{asset .Script}}', '/assets/station.js')
    .replace(/\{\{- range \.Cautions\}\}[\s\S]*?\{\{- end\}\}/, '<li>A screen is not a diagnosis and does not foretell injury.</li>')
    .replace(/\{\{- if \.Demo\}\}([\s\S]*?)\{\{end\}\}/, '$1').replace(/\{\{if \.Version\}\}[\s\S]*?\{\{end\}\}/, '')
    .replaceAll(/\{\{asset "([^"]+)"\}\}/g, '/assets/$1').replaceAll('{{.Title}}', sheet.station.name).replaceAll('{{.Sheet.Day.Team}}', sheet.day.team)
    .replaceAll('{{day .Sheet.Day.On}}', '10 Mar 2026').replaceAll('{{.Code}}', sheet.station.code).replaceAll('{{.Protocol}}', sheet.protocol);
  if (filled.replace('{{.Sheet}}', '').includes('{{')) throw new Error(`the template has something that is not filled here: ${/\{\{[^}]*\}\}/.exec(filled)?.[0]}`);
  return filled.replace('{{.Sheet}}', () => JSON.stringify(sheet).replaceAll('<', '\\u003c'));
}

/**
 * Plays the server for a context.
 * @param {import('playwright-core').BrowserContext} context
 * @param {Sheet} sheet
 */
export async function playServer(context, sheet) {
  const server = {
    sheet, seq: 0, down: false, late: false,
    /** All that came in, the earliest first. @type {Entry[]} */
    got: [],
    /** What is asked about the next entries. @type {Question[]} */
    questions: [],
    /** What is refused, and why. @type {(e: Entry) => { message: string, want: string } | null} */
    refuse: () => null,
  };
  await context.route(`${origin}/**`, async (route) => {
    const { pathname } = new URL(route.request().url());
    const name = pathname.split('/').pop() ?? '';
    if (pathname.startsWith('/s/')) return route.fulfill({ contentType: 'text/html; charset=utf-8', body: html(sheet) });
    if (pathname.startsWith('/assets/')) {
      const file = [`static/built/${name}`, `static/${name}`].find((f) => { try { return readFileSync(join(web, f)); } catch { return false; } });
      if (!file) return route.fulfill({ status: 404, body: '' });
      return route.fulfill({ contentType: types[/** @type {keyof typeof types} */ (extname(name))], body: readFileSync(join(web, file)) });
    }
    if (server.down) return route.abort('internetdisconnected');
    if (pathname.endsWith('/events')) return route.fulfill({ status: 404, body: '' });
    if (route.request().method() === 'GET') return route.fulfill({ contentType: 'application/json', headers: { ETag: `"${server.seq}"` }, body: JSON.stringify({ ...server.sheet, day: { ...server.sheet.day, closed: server.late } }) });
    const { entries } = /** @type {{ entries: Entry[] }} */ (route.request().postDataJSON());
    const results = entries.map((e) => {
      const no = server.refuse(e);
      if (no) return { id: e.id, status: 'refused', ...no };
      if (server.got.some((g) => g.id === e.id)) return { id: e.id, status: 'already' };
      server.got.push(e);
      server.seq++;
      return { id: e.id, status: 'added' };
    });
    const questions = server.questions.splice(0);
    return route.fulfill({ contentType: 'application/json', body: JSON.stringify({ results, questions, late: server.late, seq: server.seq }) });
  });
  return server;
}
