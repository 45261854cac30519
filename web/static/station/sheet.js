// What a station's sheet says together with what this device has kept and the sheet does not show yet.
// Nothing here reads or changes anything but its arguments.

/** @typedef {import('./types.d.ts').Sheet} Sheet */
/** @typedef {import('./types.d.ts').Athlete} Athlete */
/** @typedef {import('./types.d.ts').Cell} Cell */
/** @typedef {import('./types.d.ts').Entry} Entry */
/** @typedef {import('./types.d.ts').Kept} Kept */
/** @typedef {import('./types.d.ts').Measure} Measure */
/** @typedef {{side: 'Left' | 'Right', role: string}} Label */

/** The number and the code of an athlete whom the server does not know yet. */
const newNumber = 0;
const newCode = 'new';

/**
 * The athletes of a sheet with what this device has entered and the sheet does not have yet. A walk-on who
 * is not on the sheet yet stands at the end, with number 0 and code "new".
 * @param {Sheet} sheet
 * @param {Kept[]} kept of the sheet's day, the earliest first
 * @returns {Athlete[]}
 */
export function overlay(sheet, kept) {
  const athletes = sheet.athletes.map((a) => ({ ...a }));
  const counted = kept.filter((k) => k.state !== 'refused');
  const undone = new Set(counted.filter((k) => k.entry.kind === 'undo').map((k) => k.entry.undoes));
  const stands = counted.filter((k) => k.entry.kind !== 'undo' && !undone.has(k.entry.id)).map((k) => k.entry);
  /** @type {Map<string, Athlete>} */
  const byID = new Map(athletes.flatMap((a) => [a.id, ...(a.known_as ?? [])].map((id) => [id, a])));
  for (const k of counted) {
    if (k.entry.kind === 'walk_on') walkOn(sheet, athletes, byID, k);
  }
  for (const k of counted) {
    const athlete = byID.get(k.entry.athlete);
    if (!athlete || !isNews(sheet, k)) continue;
    if (k.entry.kind === 'undo') takeBack(sheet, athlete, stands, counted.find((t) => t.entry.id === k.entry.undoes)?.entry);
    else if (!undone.has(k.entry.id)) enter(sheet, athlete, k.entry);
  }
  for (const a of byID.values()) secondFollows(a);
  return athletes;
}

/** Whether nothing is taken of an athlete: on hold, or without a consent. @param {Athlete | undefined} a */
export const stopped = (a) => Boolean(a?.hold?.length) || a?.consent === false;

/** Whether the sheet cannot show an entry yet. @param {Sheet} sheet @param {Kept} kept */
const isNews = (sheet, kept) => kept.state === 'waiting' || (kept.seq ?? 0) > sheet.seq;

/**
 * @param {Sheet} sheet
 * @param {Athlete[]} athletes
 * @param {Map<string, Athlete>} byID
 * @param {Kept} kept
 */
function walkOn(sheet, athletes, byID, kept) {
  const { athlete: id, person } = kept.entry;
  if (!person || byID.has(id)) return;
  if (!isNews(sheet, kept)) return;
  /** @type {Athlete} */
  const athlete = {
    id, number: newNumber, code: newCode, name: person.name, hand: person.hand,
    arm: ['', ''], leg: ['', ''], first: 'right', twice: false, consent: false, done: '.'.repeat(sheet.cells.length),
  };
  setHand(sheet, athlete, person.hand);
  athletes.push(athlete);
  byID.set(id, athlete);
}

/** @param {Sheet} sheet @param {Athlete} athlete @param {Entry} entry */
function enter(sheet, athlete, entry) {
  switch (entry.kind) {
    case 'reading':
    case 'answer':
      setMark(sheet, athlete, entry, 'x');
      break;
    case 'not_done':
      if (markOf(sheet, athlete, entry) !== 'x') setMark(sheet, athlete, entry, 'n');
      break;
    case 'check_in':
      setMark(sheet, athlete, entry, 'x');
      if (entry.hand) setHand(sheet, athlete, entry.hand);
      break;
    case 'symptom': {
      const symptom = sheet.symptoms.find((s) => s.id === entry.about);
      if (symptom?.referral && !athlete.hold?.includes(symptom.name)) athlete.hold = [...(athlete.hold ?? []), symptom.name];
    }
  }
}

/**
 * Takes back an entry that the sheet may show. A hold that the sheet shows stays until the server lifts it:
 * another station may have seen the same sign.
 * @param {Sheet} sheet
 * @param {Athlete} athlete
 * @param {Entry[]} stands what this device has entered and not taken back
 * @param {Entry | undefined} target
 */
function takeBack(sheet, athlete, stands, target) {
  if (!target) return;
  const at = cellOf(sheet, target);
  if (at < 0) return;
  const others = stands.filter((e) => e.athlete === target.athlete && cellOf(sheet, e) === at && (e.round ?? 1) === (target.round ?? 1));
  const taken = others.some((e) => e.kind !== 'not_done');
  setMark(sheet, athlete, target, taken ? 'x' : others.length > 0 ? 'n' : '.');
}

/** @param {Sheet} sheet @param {Entry} entry @returns {number} -1 if it is about no cell of the station */
function cellOf(sheet, entry) {
  if (entry.kind === 'symptom' || entry.kind === 'walk_on' || entry.kind === 'undo') return -1;
  const about = entry.kind === 'check_in' ? 'check_in' : entry.about;
  const side = entry.kind === 'reading' || entry.kind === 'not_done' ? (entry.side ?? 'none') : 'none';
  return sheet.cells.findIndex((c) => c.about === about && c.side === side);
}

/** @param {Sheet} sheet @param {Athlete} athlete @param {Entry} entry */
function markOf(sheet, athlete, entry) {
  return (entry.round === 2 ? athlete.second : athlete.done)?.[cellOf(sheet, entry)];
}

/** @param {Sheet} sheet @param {Athlete} athlete @param {Entry} entry @param {string} mark */
function setMark(sheet, athlete, entry, mark) {
  const at = cellOf(sheet, entry);
  if (at < 0) return;
  const put = (/** @type {string} */ marks) => marks.slice(0, at) + mark + marks.slice(at + 1);
  if (entry.round !== 2) athlete.done = put(athlete.done);
  else if (athlete.second !== undefined) athlete.second = put(athlete.second);
}

/** What was not done the first time is not asked for a second time. @param {Athlete} athlete */
function secondFollows(athlete) {
  if (athlete.second === undefined) return;
  athlete.second = [...athlete.second].map((mark, i) => (mark === '.' && athlete.done[i] === 'n' ? 'n' : mark)).join('');
}

/**
 * Another throwing hand, as far as the sheet tells whether one arm throws in the team's sport.
 * @param {Sheet} sheet
 * @param {Athlete} athlete
 * @param {'left' | 'right' | 'both'} hand
 */
function setHand(sheet, athlete, hand) {
  const throws = sheet.athletes.some((a) => a.arm[0] !== '');
  const left = hand === 'left';
  athlete.hand = hand;
  athlete.arm = !throws || hand === 'both' ? ['', ''] : left ? ['throwing', 'non-throwing'] : ['non-throwing', 'throwing'];
  athlete.leg = !throws || hand === 'both' ? ['', ''] : left ? ['trail', 'lead'] : ['lead', 'trail'];
  const leftFirst = sheet.day.side_order === 'left_first' || (sheet.day.side_order === 'throwing_first' && throws && left);
  athlete.first = leftFirst ? 'left' : 'right';
}

/**
 * The places in cells of what is still to be taken of an athlete.
 * @param {Athlete} athlete
 * @param {Cell[]} cells
 * @param {number} [round] 2: the second measurement of an athlete who is measured twice
 * @returns {number[]}
 */
export function missing(athlete, cells, round = 1) {
  const marks = round === 2 ? athlete.second : athlete.done;
  if (marks === undefined) return [];
  return cells.map((_, i) => i).filter((i) => (marks[i] ?? '.') === '.');
}

/** Text without case, accents and outer spaces; letters that are not a letter with a mark are spelled out. @param {string} text */
function folded(text) {
  return text.normalize('NFD').replace(/\p{M}/gu, '').toLowerCase()
    .replaceAll('ß', 'ss').replaceAll('ø', 'o').replaceAll('ł', 'l').replaceAll('đ', 'd').replaceAll('æ', 'ae').replaceAll('œ', 'oe').replaceAll('ı', 'i')
    .replace(/\s+/g, ' ').trim();
}

/**
 * The athletes that a text means: by number, by the code on the athlete's sheet as a scanner types it, or
 * by two letters and more of any part of the name. The whole list for an empty text, nobody for one letter.
 * @param {Athlete[]} athletes
 * @param {string} text
 * @returns {Athlete[]}
 */
export function search(athletes, text) {
  const asked = folded(text);
  if (asked === '') return athletes;
  const code = plain(asked);
  const scanned = athletes.filter((a) => a.number > 0 && code !== '' && plain(folded(a.code)) === code);
  if (scanned.length > 0) return scanned;
  if (/^\d+$/.test(asked)) return athletes.filter((a) => a.number > 0 && a.number === Number(asked));
  if ([...asked].length < 2) return [];
  const words = asked.split(' ');
  return athletes.filter((a) => {
    const parts = folded(a.name).split(/[\s'’.,-]+/);
    const name = folded(a.name);
    return name.includes(asked) || words.every((w) => parts.some((p) => p.includes(w)));
  });
}

/** @param {string} text */
const plain = (text) => text.replace(/[^a-z0-9]/g, '');

/**
 * What the sides of a measure are called for an athlete. A role is empty where sides are only compared.
 * @param {Measure} measure
 * @param {Athlete} athlete
 * @returns {{left: Label, right: Label}}
 */
export function labels(measure, athlete) {
  const names = measure.limb === 'leg' ? athlete.leg : athlete.arm;
  const role = (/** @type {string} */ name) => {
    if (!name || !measure.limb) return '';
    if (measure.limb === 'turn') return `to the ${name} side`;
    return `${name} ${measure.limb}`;
  };
  return { left: { side: 'Left', role: role(names[0]) }, right: { side: 'Right', role: role(names[1]) } };
}
