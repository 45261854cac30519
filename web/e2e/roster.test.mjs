// A roster from a workbook and from pasted rows, in a browser: read, mapped by hand, confirmed, and read
// again.
import assert from 'node:assert/strict';
import { join } from 'node:path';
import { after, before, test } from 'node:test';
import { crc32 } from 'node:zlib';
import { assertAxe, assertFits, assertFitsTwiceAsLarge, assertLargeTargets, openPage } from './look.mjs';
import { shots, startBrowser, startProgram } from './program.mjs';

const widths = /** @type {const} */ ([390, 1440]);

/** @type {Awaited<ReturnType<typeof startProgram>>} */
let program;
/** @type {import('playwright-core').Browser} */
let browser;
let team = '';

before(async () => {
  [program, browser] = await Promise.all([startProgram(), startBrowser()]);
  const page = await browser.newPage({ baseURL: program.url });
  await page.goto('/teams/new');
  await page.fill('#name', 'Roster team');
  await page.click('button');
  team = new URL(page.url()).pathname;
  await page.close();
}, { timeout: 120_000 });

after(async () => {
  await browser?.close();
  await program?.stop();
});

/**
 * A zip with its parts stored as they are: local headers, the parts, the directory, its end.
 * @param {Record<string, string>} parts
 */
function zip(parts) {
  /** @type {Buffer[]} */
  const out = [];
  /** @type {Buffer[]} */
  const directory = [];
  let at = 0;
  for (const [name, text] of Object.entries(parts)) {
    const body = Buffer.from(text, 'utf8');
    const known = Buffer.alloc(26); // version to end of lengths, the same in both headers
    known.writeUInt16LE(20, 0);
    known.writeUInt16LE(0x21, 8); // 1 January 1980
    known.writeUInt32LE(crc32(body), 10);
    known.writeUInt32LE(body.length, 14);
    known.writeUInt32LE(body.length, 18);
    known.writeUInt16LE(name.length, 22);
    const place = Buffer.alloc(14);
    place.writeUInt32LE(at, 10);
    const local = Buffer.concat([Buffer.from('PK\x03\x04'), known, Buffer.from(name), body]);
    directory.push(Buffer.concat([Buffer.from('PK\x01\x02'), Buffer.from([20, 0]), known, place, Buffer.from(name)]));
    out.push(local);
    at += local.length;
  }
  const size = directory.reduce((sum, b) => sum + b.length, 0);
  const end = Buffer.alloc(22);
  end.write('PK\x05\x06', 'latin1');
  end.writeUInt16LE(directory.length, 8);
  end.writeUInt16LE(directory.length, 10);
  end.writeUInt32LE(size, 12);
  end.writeUInt32LE(at, 16);
  return Buffer.concat([...out, ...directory, end]);
}

/** A formula, and the text that the spreadsheet program last worked out. @typedef {{ formula: string, text: string }} Formula */

/**
 * A workbook of sheets; numbers are days of the calendar.
 * @param {Record<string, (string | number | Formula)[][]>} sheets
 */
function workbook(sheets) {
  const main = 'http://schemas.openxmlformats.org/spreadsheetml/2006/main';
  const office = 'http://schemas.openxmlformats.org/officeDocument/2006/relationships';
  const links = 'http://schemas.openxmlformats.org/package/2006/relationships';
  const names = Object.keys(sheets);
  /** @param {string} s */
  const escaped = (s) => s.replaceAll('&', '&amp;').replaceAll('<', '&lt;');
  /** @param {string | number | Formula} v */
  const cell = (v) => typeof v === 'number' ? `<c s="1"><v>${v}</v></c>` : typeof v === 'object' ? `<c t="str"><f>${escaped(v.formula)}</f><v>${escaped(v.text)}</v></c>` : `<c t="inlineStr"><is><t>${escaped(v)}</t></is></c>`;
  /** @type {Record<string, string>} */
  const parts = {
    '[Content_Types].xml': `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types"><Default Extension="xml" ContentType="application/xml"/><Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/><Override PartName="/xl/workbook.xml" ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/></Types>`,
    '_rels/.rels': `<Relationships xmlns="${links}"><Relationship Id="r1" Type="${office}/officeDocument" Target="xl/workbook.xml"/></Relationships>`,
    'xl/workbook.xml': `<workbook xmlns="${main}" xmlns:r="${office}"><sheets>${names.map((n, i) => `<sheet name="${n}" sheetId="${i + 1}" r:id="s${i}"/>`).join('')}</sheets></workbook>`,
    'xl/_rels/workbook.xml.rels': `<Relationships xmlns="${links}">${names.map((_, i) => `<Relationship Id="s${i}" Type="${office}/worksheet" Target="worksheets/sheet${i + 1}.xml"/>`).join('')}<Relationship Id="st" Type="${office}/styles" Target="styles.xml"/></Relationships>`,
    'xl/styles.xml': `<styleSheet xmlns="${main}"><cellXfs count="2"><xf numFmtId="0"/><xf numFmtId="14"/></cellXfs></styleSheet>`,
  };
  Object.values(sheets).forEach((sheet, i) => {
    const rows = sheet.map((row, k) => `<row r="${k + 1}">${row.map(cell).join('')}</row>`).join('');
    parts[`xl/worksheets/sheet${i + 1}.xml`] = `<worksheet xmlns="${main}"><sheetData>${rows}</sheetData></worksheet>`;
  });
  return zip(parts);
}

/** @param {import('playwright-core').BrowserContextOptions} [options] */
const open = (options) => openPage(browser, program.url, { javaScriptEnabled: false, ...options });

/** @param {import('playwright-core').Page} page @param {string} name */
async function look(page, name) {
  for (const width of widths) {
    await page.setViewportSize({ width, height: width === 390 ? 844 : 900 });
    await assertFits(page, `${name} at ${width} px`);
    await page.screenshot({ path: join(shots, `${name}-${width}.png`), fullPage: true });
  }
  await assertFitsTwiceAsLarge(page, name);
  await assertAxe(page, name);
  await page.setViewportSize({ width: 390, height: 844 });
  await assertLargeTargets(page, 'main a.button, main button, main select, main textarea, main input:not([type=hidden])', name);
  await page.setViewportSize({ width: 1440, height: 900 });
}

/** @param {import('playwright-core').Page} page */
async function counts(page) {
  return page.locator('#counts dd').allInnerTexts();
}

// Day 40000 is 2009-07-06.
/** @type {(string | number)[][]} */
const large = [['Squad of the spring'], [], ['Who', 'Birthday', 'M/F', 'Bats/Throws', 'Arm', 'Level', 'Remark'],
  ...Array.from({ length: 5000 }, (_, i) => [`Athlete ${i}`, i % 50 === 7 ? '31.2.2010' : 40000 + (i % 700), i % 2 ? 'M' : 'F', 'R/L', i % 3 ? 'R' : 'L', 'school', '=1+1'])];

test('5,000 athletes from a workbook, a column mapped by hand, and nobody twice', async () => {
  const { page, close } = await open({ javaScriptEnabled: true }); // the accessibility check needs script, the page none
  const file = { name: 'squad.xlsx', mimeType: 'application/octet-stream', buffer: workbook({ Front: [['Club']], Squad: large }) };
  await page.goto(`${team}/import`);
  await page.click('a:text("roster from a spreadsheet")');
  await look(page, 'roster');
  await page.setInputFiles('#file', file);
  await page.click('button:text("Read it")');
  await page.selectOption('#sheet', { label: 'Squad (5000 rows)' });
  await page.click('button:text("Read it again")');
  assert.match(await page.locator('.needs').innerText(), /say what the columns mean/);
  assert.match(await page.locator('#columns').innerText(), /batting hand and the throwing hand/);
  await look(page, 'roster-columns');
  await page.selectOption('[name=means0]', 'name');
  await page.selectOption('[name=means4]', 'throws');
  const begin = Date.now();
  await page.click('button:text("Read it again")');
  await page.locator('#counts').waitFor();
  assert.ok(Date.now() - begin < 20_000, 'the preview of 5,000 rows takes too long');
  assert.deepEqual(await counts(page), ['4900', '0', '0', '0', '100']);
  const row = page.locator('#faulty tbody tr').first();
  assert.equal(await row.locator('th').innerText(), '11'); // Athlete 7, below three rows
  assert.match(await row.innerText(), /Birthday[\s\S]*no such day[\s\S]*31\.2\.2010[\s\S]*2012-05-03/);
  assert.match(await page.locator('#new tbody tr').first().innerText(), /Athlete 0[\s\S]*6 Jul 2009[\s\S]*female[\s\S]*left/);
  await look(page, 'roster-preview');
  const beside = await page.context().newPage();
  await beside.goto(team);
  assert.equal(await beside.locator('text=Athlete 1').count(), 0, 'the preview wrote something');
  await beside.close();
  await page.click('button:text("Add 4900 athletes, leave out the 100 faulty rows")');
  assert.match(await page.locator('.needs').innerText(), /Added: 4900 athletes/);
  await look(page, 'roster-done');
  await page.goto(`${team}/roster`);
  await page.setInputFiles('#file', file);
  await page.click('button:text("Read it")');
  await page.selectOption('#sheet', { label: 'Squad (5000 rows)' });
  await page.click('button:text("Read it again")');
  await page.selectOption('[name=means0]', 'name');
  await page.selectOption('[name=means4]', 'throws');
  await page.click('button:text("Read it again")');
  assert.deepEqual(await counts(page), ['0', '0', '4900', '0', '100']);
  assert.equal(await page.locator('button:text("Add ")').count(), 0);
  await close();
});

test('pasted rows without script: dates are asked, names are text', async () => {
  const { page, close } = await open();
  const hostile = '<img src=x onerror="document.title=1">';
  await page.goto(`${team}/roster`);
  await page.fill('#text', `First name\tLast name\tDOB\tThrows\tHeight\n${hostile}\tTandrel\t3/5/2012\tR\t5'10"\n=cmd()\tQuillmere\t4/6/2011\tL\t151 cm\n`);
  await page.click('button:text("Read it")');
  await page.selectOption('#all_level', 'youth');
  await page.selectOption('#all_sex', 'female');
  await page.click('button:text("Read it again")');
  assert.match(await page.locator('.needs').innerText(), /the day or the month/);
  await page.selectOption('#dates', 'dmy');
  await page.click('button:text("Read it again")');
  assert.deepEqual(await counts(page), ['2', '0', '0', '0', '0']);
  const text = await page.locator('#new').innerText();
  assert.ok(text.includes(`${hostile} Tandrel`) && text.includes('3 May 2012') && text.includes('177.8 cm') && text.includes('=cmd() Quillmere'), text);
  assert.equal(await page.locator('img').count(), 0);
  await page.screenshot({ path: join(shots, 'roster-pasted-1440.png'), fullPage: true });
  await page.click('button:text("Add 2 athletes")');
  assert.match(await page.locator('.needs').innerText(), /Added: 2 athletes/);
  await close();
});

test('another number with the same name and birth date is asked about', async () => {
  const { page, close } = await open({ javaScriptEnabled: true });
  /** @param {number} number */
  const paste = async (number) => {
    await page.goto(`${team}/roster`);
    await page.fill('#text', `Name,DOB,Sex,Throws,Level,ID\nKim Tandrel,2011-04-02,F,L,youth,${number}\n`);
    await page.click('button:text("Read it")');
  };
  await paste(17);
  await page.click('button:text("Add 1 athlete")');
  await paste(18);
  assert.match(await page.locator('.needs').innerText(), /whether 1 row is about another person/);
  await look(page, 'roster-asked');
  await page.selectOption('[name=same2]', 'same');
  await page.click('button:text("Read it again")');
  assert.deepEqual(await counts(page), ['0', '0', '1', '0', '0', '0']);
  await look(page, 'roster-known');
  await page.selectOption('[name=same2]', 'other');
  await page.click('button:text("Read it again")');
  await page.click('button:text("Add 1 athlete")');
  assert.match(await page.locator('.needs').innerText(), /Added: 1 athlete\./);
  await close();
});

test('a file that is no workbook says what would be right', async () => {
  const { page, close } = await open();
  await page.goto(`${team}/roster`);
  const whole = workbook({ Squad: large });
  await page.setInputFiles('#file', { name: 'squad.xlsx', mimeType: 'application/octet-stream', buffer: whole.subarray(0, whole.length / 2) });
  await page.click('button:text("Read it")');
  assert.match(await page.locator('.faults').innerText(), /damaged[\s\S]*save it again as XLSX or CSV/);
  assert.ok(await page.locator('#file').isVisible());
  await close();
});

test('a workbook with a password, or of the old binary kind, says what would be right', async () => {
  const { page, close } = await open();
  // The container that such files are (its magic number, and a name from its directory).
  const ole = (/** @type {string} */ name) => Buffer.concat([Buffer.from('d0cf11e0a1b11ae1', 'hex'), Buffer.alloc(504), Buffer.from(name, 'utf16le'), Buffer.alloc(512)]);
  for (const [name, says] of /** @type {const} */ ([['EncryptedPackage', /protected by a password[\s\S]*take the password off/i], ['Workbook', /save it as XLSX or CSV/i]])) {
    await page.goto(`${team}/roster`);
    await page.setInputFiles('#file', { name: 'squad.xlsx', mimeType: 'application/octet-stream', buffer: ole(name) });
    await page.click('button:text("Read it")');
    assert.match(await page.locator('.faults').innerText(), says);
  }
  await close();
});

test('a formula is never worked out, and a name that begins with = leaves as text', async () => {
  const { page, close } = await open();
  const row = (/** @type {string | Formula} */ name, /** @type {number} */ id) => [name, 40000 + id, 'F', 'R', 'youth', String(id)];
  await page.goto(`${team}/roster`);
  await page.setInputFiles('#file', { name: 'squad.xlsx', mimeType: 'application/octet-stream', buffer: workbook({ Squad: [['Name', 'Born', 'Sex', 'Throws', 'Level', 'Number'],
    row({ formula: 'HYPERLINK("http://example.invalid","x")', text: 'Orla Quillmere' }, 901), row('=2+3', 902), row('@SUM(A1)', 903)] }) });
  await page.click('button:text("Read it")');
  assert.deepEqual((await counts(page)).slice(0, 1), ['3']);
  const text = await page.locator('#new').innerText();
  assert.ok(text.includes('Orla Quillmere') && text.includes('=2+3') && text.includes('@SUM(A1)') && !text.includes('HYPERLINK'), text);
  await page.click('button:text("Add 3 athletes")');
  const id = team.split('/').pop();
  const { items } = await (await page.request.get(`/api/v1/athletes?team=${id}&limit=20`)).json();
  const sum = items.find((/** @type {{ name: string }} */ a) => a.name === '=2+3');
  assert.ok(sum, 'the name stays as it is');
  await page.request.post(`/api/v1/athletes/${sum.id}/consents`, { data: { id: 'formula-consent', purpose: 'screening', on: '2026-02-09', given_by: 'guardian' } });
  await page.request.put('/api/v1/screens/formula', { data: { athlete: sum.id, team: id, on: '2026-02-10', kind: 'preseason' } });
  await page.request.put('/api/v1/screens/formula/readings', { data: { readings: [{ id: 'formula-1', measure: 'shoulder_internal_rotation', side: 'left', trials: [50] }] } });
  const csv = await (await page.request.get(`/api/v1/teams/${id}/export?format=csv`)).text();
  assert.match(csv, /'=2\+3/, 'a spreadsheet program takes it for text');
  assert.doesNotMatch(csv, /(^|[,"])=2\+3/m);
  await close();
});
