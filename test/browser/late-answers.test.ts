/**
 * A hand that is faster than the service: answers are held back while it goes on, and nothing of what it did is lost,
 * undone or done to something else. Skips loudly where there is no Chromium; with PLATEWRIGHT_BROWSER=required a missing
 * browser fails.
 */
import type { Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import type { Mark } from '../../src/plate/marks/marks.js';
import { CHROMIUM } from './chromium.js';
import { Workbenches, type Workbench } from './own-workbench.js';

const STAND: Mark = { kind: 'stand', frame: 0, ground: [200, 160], top: [200, 110] };
const upright = (x: number): Mark => ({ kind: 'upright', frame: 0, foot: [x, 150], top: [x, 60] });
/** Edits, and the book that a page reads after each and when it is told of a change. */
const BOOK = /\/api\/(edit|book)$/;
let all: Workbenches, bench: Workbench, page: Page;

async function open(marks?: readonly Mark[]): Promise<void> {
  bench = await all.open(marks);
  page = bench.page;
  await page.locator('main h2').first().waitFor();
}

/** Answers of that address wait from now on; returns what lets them go, and those after them. */
async function hold(address: RegExp): Promise<() => void> {
  let letGo = (): void => undefined;
  const held = new Promise<void>((go) => {
    letGo = go;
  });
  await page.route(address, async (route) => {
    const response = await route.fetch();
    await held;
    await route.fulfill({ response });
  });
  return letGo;
}

/** What the page sends to change something, in its order, with what each was answered. */
function sent(): string[] {
  const list: string[] = [];
  const name = (url: string): string => new URL(url).pathname.replace('/api/', '');
  page.on('request', (r) => {
    if (r.method() === 'POST') list.push(name(r.url()));
  });
  page.on('requestfinished', (r) => {
    if (r.method() === 'POST') list.push(`${name(r.url())} answered`);
  });
  return list;
}

describe.skipIf(CHROMIUM === undefined)('a hand that is faster than the service', () => {
  beforeAll(async () => {
    all = await Workbenches.prepare();
  });
  afterEach(async () => bench.close());
  afterAll(async () => all.close());

  it('picks two shots one right after the other: both are there', async () => {
    await open();
    const letGo = await hold(BOOK);
    const picks = page.getByRole('button', { name: 'Pick this shot' });
    await picks.nth(0).click();
    await picks.nth(0).click();
    letGo();
    await expect.poll(async () => (await bench.book()).picks.map((p) => p.title)).toEqual(['Shot 1', 'Shot 1 (2)']);
  });

  it('goes on typing in the next field while the one before is being kept', async () => {
    await open([STAND]);
    await page.getByText('Name, span, action').click();
    const letGo = await hold(BOOK);
    await page.getByLabel('what the performer does').fill('hops off');
    await page.getByLabel('what the performer does').press('Tab');
    const note = page.getByLabel('note', { exact: true });
    await note.pressSequentially('ears up');
    letGo();
    await expect.poll(async () => (await bench.book()).picks[0]!.action).toBe('hops off');
    await bench.caughtUp();
    expect(await note.inputValue()).toBe('ears up');
    await note.press('Tab');
    await expect.poll(async () => (await bench.book()).picks[0]!.note).toBe('ears up');
  });

  it('moves both ends of a span: neither goes back', async () => {
    await open([STAND]);
    await page.getByText('Name, span, action').click();
    const letGo = await hold(BOOK);
    await page.getByLabel('first frame of the film').fill('4');
    await page.getByLabel('first frame of the film').press('Tab');
    await page.getByLabel('last frame').fill('19');
    await page.getByLabel('last frame').press('Tab');
    letGo();
    await expect
      .poll(async () => (await bench.book()).picks.map((p) => [p.in, p.out, p.title])[0])
      .toEqual([4, 20, 'Shot 1']);
  });

  it('asks for work after what was changed before it, and takes back what was changed last', async () => {
    await open([STAND]);
    await page.getByText('Name, span, action').click();
    const letGo = await hold(BOOK);
    const list = sent();
    await page.getByLabel('what the performer does').fill('hops off');
    // The press takes the hand off the field, which makes its text an edit.
    await page.getByRole('button', { name: 'Measure the plate' }).click();
    await expect.poll(() => list).toEqual(['edit']);
    letGo();
    await expect.poll(() => list).toEqual(['edit', 'edit answered', 'jobs', 'jobs answered']);
    await page.unroute(BOOK);
    await page.goto(`${bench.base}#/day`);
    await page.getByText(/^The studio:/).click();
    const studio = await hold(/\/api\/studio$/);
    const camera = page.locator('.studio-line input').first();
    await camera.fill('Clementine');
    await camera.press('Tab');
    list.length = 0;
    await page.getByRole('button', { name: 'Take back' }).click();
    studio();
    await expect.poll(() => list.filter((x) => x !== 'studio')).toEqual(['studio answered', 'undo', 'undo answered']);
  });

  it('removes two marks: those two, and not another that has come to stand in the place of one', async () => {
    await open([upright(60), upright(120), upright(180)]);
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    const letGo = await hold(BOOK);
    const choice = page.locator('.chosen select').first();
    for (const place of ['0', '1']) {
      await choice.selectOption(place);
      await page.getByRole('button', { name: 'Remove (Del)' }).click();
    }
    letGo();
    const feet = async () =>
      (await bench.book()).picks[0]!.marks.marks.map((m) => (m.kind === 'upright' ? m.foot[0] : 0));
    await expect.poll(feet).toEqual([180]);
  });

  it('keeps a dragged point under the hand until the book has it there', async () => {
    await open([upright(60)]);
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    const line = page.locator('.mark.upright');
    await line.waitFor();
    const letGo = await hold(BOOK);
    await page.mouse.move(...(await bench.onPicture(60, 150)));
    await page.mouse.down();
    await page.mouse.move(...(await bench.onPicture(90, 150)), { steps: 3 });
    const dragged = await line.boundingBox();
    await page.mouse.up();
    expect(await line.boundingBox()).toEqual(dragged);
    letGo();
    await expect
      .poll(async () =>
        (await bench.book()).picks[0]!.marks.marks.map((m) => m.kind === 'upright' && Math.round(m.foot[0])),
      )
      .toEqual([90]);
    await bench.caughtUp();
    expect((await line.boundingBox())!.width).toBeCloseTo(dragged!.width, 0);
  });

  it('tells the pixel that was clicked last, whichever answer comes last', async () => {
    await open([STAND]);
    await page.getByRole('button', { name: /Open plate, frame 0 large/ }).click();
    await page.locator('.sheet-of-glass svg').waitFor();
    const letGo = await hold(/\/api\/pixel\/.*x=40&/);
    await page.mouse.click(...(await bench.onPicture(40.5, 90.5)));
    await page.mouse.click(...(await bench.onPicture(240.5, 90.5)));
    const told = page.locator('.readout');
    await told.getByText(/^240, 90:/).waitFor();
    const late = page.waitForResponse(/\/api\/pixel\/.*x=40&/);
    letGo();
    await (await late).finished();
    await page.evaluate(() => new Promise(requestAnimationFrame));
    expect(await told.textContent()).toMatch(/240, 90:/);
  });

  it('takes two lines out of the cut: those two', async () => {
    await open([STAND]);
    await page.goto(`${bench.base}#/cut`);
    for (let i = 0; i < 2; i++) await page.getByRole('button', { name: 'Add a title' }).click();
    const lines = async () => (await bench.book()).cut?.entries.map((e) => e.kind);
    await expect.poll(lines).toEqual(['title', 'pick', 'title', 'title']);
    await bench.caughtUp();
    const letGo = await hold(BOOK);
    for (const i of [0, 1]) await page.getByRole('button', { name: 'Take this line out' }).nth(i).click();
    letGo();
    await expect.poll(lines).toEqual(['title', 'title']);
  });

  it('changes both numbers of a limit: neither goes back', async () => {
    await open([STAND]);
    await page.goto(`${bench.base}#/ledger`);
    const row = page.locator('.limits tbody tr', { has: page.getByRole('spinbutton').nth(1) }).first();
    await row.waitFor();
    const numbers = await Promise.all([0, 1].map((i) => row.getByRole('spinbutton').nth(i).inputValue()));
    const wanted = numbers.map((v, i) => Number((Number(v) * (i === 0 ? 0.9 : 1.1)).toPrecision(4)));
    const letGo = await hold(/\/api\/(settings|book)$/);
    for (const i of [0, 1]) {
      await row.getByRole('spinbutton').nth(i).fill(String(wanted[i]));
      await row.getByRole('spinbutton').nth(i).press('Tab');
    }
    letGo();
    await expect
      .poll(async () =>
        (await bench.book()).settings.tolerances.filter((t) => t.changed).map((t) => [t.fits, t.mendable]),
      )
      .toEqual([wanted]);
  });

  it('says the book’s number again where what was typed is none', async () => {
    await open([STAND]);
    await page.goto(`${bench.base}#/ledger`);
    const field = page.locator('.limits tbody tr').first().getByRole('spinbutton').first();
    const before = await field.inputValue();
    const wanted = String(Number(before) * 1.1);
    await field.fill(wanted);
    await field.press('Tab');
    await expect.poll(() => field.inputValue()).toBe(wanted);
    await field.fill('');
    await field.press('Tab');
    await expect.poll(() => field.inputValue()).toBe(wanted);
  });

  it('hears of a job that fails at once, and what is next is said again', async () => {
    await open([STAND]);
    const next = page.locator('.next');
    await next.getByText('measure the plate').waitFor();
    // There is no join to be inspected. The book is read while that waits or runs.
    const letGo = await hold(/\/api\/book$/);
    const asked = page.waitForRequest(/\/api\/book$/);
    await page.evaluate(async () => {
      const post = (path: string, body: unknown) =>
        fetch(path, {
          method: 'POST',
          headers: { 'content-type': 'application/json' },
          body: JSON.stringify(body),
        });
      await post('/api/jobs', { kind: 'inspect', subject: 'shot-1', spec: {} });
      await post('/api/edit', {
        title: 'note',
        changes: [{ do: 'change', kind: 'pick', id: 'shot-1', fields: { note: 'by the stairs' } }],
      });
    });
    await asked;
    const failed = page.locator('.job[data-state=failed]', { hasText: 'Inspecting' });
    await failed.waitFor();
    letGo();
    await page
      .getByText(/by the stairs/)
      .first()
      .waitFor();
    await next.getByText('measure the plate').waitFor();
    expect(await failed.count()).toBe(1);
  });
});
