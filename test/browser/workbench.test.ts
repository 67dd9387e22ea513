/**
 * The workbench in a real browser, on a small production made here: wall, picking, frame-exact stepping, undo, every
 * page by keyboard, narrow and wide screens, print. Each test has a workbench of its own. Skips loudly where there is
 * no Chromium; with PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest';
import { Book } from '../../src/book/book.js';
import type { Mark } from '../../src/plate/marks/marks.js';
import { CHROMIUM, look } from './chromium.js';
import { Workbenches, type Workbench } from './own-workbench.js';

const UPRIGHT: Mark = { kind: 'upright', frame: 0, foot: [160, 162], top: [160, 54], height: 1.8 };
let all: Workbenches, bench: Workbench, page: Page, base: string;

/** A workbench whose first shot is picked, unless it is left out. */
async function open(marks?: readonly Mark[]): Promise<void> {
  bench = await all.open(marks);
  ({ page, base } = bench);
}

describe.skipIf(CHROMIUM === undefined)('workbench', () => {
  beforeAll(async () => {
    all = await Workbenches.prepare();
  });
  afterEach(async () => bench.close());
  afterAll(async () => all.close());

  it("shows the film's shots on the wall and pins a pick", async () => {
    await open();
    const errors: string[] = [];
    page.on('pageerror', (e) => errors.push(e.message));
    await page.getByRole('heading', { name: /^Shot 1/ }).waitFor();
    await page.getByRole('button', { name: 'Pick this shot' }).first().click();
    await page.getByRole('link', { name: '1. Shot 1' }).waitFor();
    await look(page, 'wall', false);
    // Of three picks the first goes to the end, and the keyboard with it.
    for (let i = 0; i < 2; i++) await page.getByRole('button', { name: /^Pick/ }).first().click();
    await page.getByRole('link', { name: /^3\. / }).waitFor();
    await page.getByRole('button', { name: 'Move Shot 1 later', exact: true }).focus();
    await page.keyboard.press('Enter');
    await page.getByRole('link', { name: '2. Shot 1', exact: true }).waitFor();
    const focused = () => page.evaluate(() => document.activeElement?.ariaLabel);
    await expect.poll(focused).toBe('Move Shot 1 later');
    await page.keyboard.press('Enter');
    await page.getByRole('link', { name: '3. Shot 1', exact: true }).waitFor();
    await expect.poll(focused).toBe('Move Shot 1 later');
    expect(errors).toEqual([]);
  });

  it('steps to the exact frame with keys, and reads its pixels', async () => {
    await open([]);
    await page.getByRole('button', { name: /Open plate, frame 0 large/ }).click();
    const number = page.getByTestId('frame-number');
    await number.waitFor();
    for (let i = 0; i < 7; i++) await page.keyboard.press('ArrowRight');
    await page.keyboard.press('ArrowLeft');
    expect(await number.textContent()).toContain('frame 6 of');
    // What is shown is frame 6: its left half is as bright as that frame's number says.
    await page.waitForFunction(
      () => document.querySelector<HTMLImageElement>('.sheet-of-glass img')?.alt.endsWith('frame 6') === true,
    );
    const value = await page.evaluate(() => {
      const img = document.querySelector<HTMLImageElement>('.sheet-of-glass img')!;
      const c = document.createElement('canvas');
      c.width = img.naturalWidth;
      c.height = img.naturalHeight;
      const g = c.getContext('2d')!;
      g.drawImage(img, 0, 0);
      return g.getImageData(40, 90, 1, 1).data[0]!;
    });
    expect(Math.abs(value - (40 + 4 * 6))).toBeLessThanOrEqual(2);
    const glass = (await page.locator('.sheet-of-glass svg').boundingBox())!;
    await page.mouse.click(glass.x + glass.width * 0.2, glass.y + glass.height * 0.5);
    await page.waitForFunction(() => /linear/.test(document.querySelector('.readout')?.textContent ?? ''));
    expect(await page.locator('.readout').textContent()).toMatch(/of 255/);
    await page.keyboard.press('End');
    expect(await number.textContent()).toMatch(/frame (\d+) of 0–\1/);
    await page.keyboard.press('Home');
    expect(await number.textContent()).toContain('frame 0 of');
    await look(page, 'viewer', false);
    await page.keyboard.press('Escape');
  });

  it('says in the viewer that a picture comes, and that one can’t be read', async () => {
    await open([]);
    let letGo = (): void => undefined;
    const held = new Promise<void>((go) => {
      letGo = go;
    });
    await page.route(/\/api\/frame\/plate\/shot-1\/(0|5)\?v=/, async (route) => {
      await held;
      if (/shot-1\/5/.test(route.request().url())) await route.fulfill({ status: 404, body: '{}' });
      else await route.continue();
    });
    await page.getByRole('button', { name: /Open plate, frame 0 large/ }).click();
    const glass = page.locator('.sheet-of-glass');
    await glass.getByText('a moment …').waitFor();
    letGo();
    await glass.getByText('a moment …').waitFor({ state: 'detached' });
    for (let i = 0; i < 5; i++) await page.keyboard.press('ArrowRight');
    await glass.getByText(/^no picture: its file can’t be read/).waitFor();
    await page.keyboard.press('ArrowRight');
    await glass.getByText(/^no picture/).waitFor({ state: 'detached' });
  });

  it('takes edits back and does them again', async () => {
    await open([UPRIGHT]);
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.getByRole('toolbar', { name: 'Marks' }).getByRole('button', { name: 'horizon', exact: true }).click();
    await page.mouse.click(...(await bench.onPicture(40, 50)));
    await page.mouse.click(...(await bench.onPicture(280, 52)));
    await page.locator('.mark.horizon').waitFor();
    for (let i = 0; i < 2; i++) await page.keyboard.press('Escape');
    await page.getByText('2 marks: upright, horizon').waitFor();
    await page.getByRole('button', { name: 'Take back' }).click();
    await page.getByText('1 mark: upright').waitFor();
    // With nothing in focus the keyboard takes back and does again all the same.
    await page.evaluate(() => (document.activeElement as HTMLElement | null)?.blur());
    await page.keyboard.press('Control+Shift+KeyZ');
    await page.getByText('2 marks: upright, horizon').waitFor();
    await page.keyboard.press('Control+KeyZ');
    await page.getByText('1 mark: upright').waitFor();
    await page.getByRole('button', { name: 'Do again' }).click();
    await page.getByText('2 marks: upright, horizon').waitFor();
  });

  it('shows shoot day, cut and ledger, and each works by keyboard', async () => {
    await open([]);
    await page.getByRole('link', { name: 'Shoot day' }).focus();
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'Shoot day', exact: true }).waitFor();
    await look(page, 'day', false);
    await page.getByRole('link', { name: 'Cut' }).focus();
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'The cut' }).waitFor();
    await page.getByRole('button', { name: 'Add a title' }).click();
    await page.waitForFunction(() => document.querySelectorAll('.cut-line').length === 3);
    await page.getByRole('button', { name: 'Add it as it is' }).click();
    await page.waitForFunction(() => document.querySelectorAll('.cut-line').length === 4);
    // The keyboard goes along with a line that is moved, and stays where it can't be moved on.
    const lines = () =>
      bench.book().then((b) => b.cut!.entries.map((e) => (e.kind === 'title' ? e.lines.join() : e.kind)));
    const before = await lines();
    await page.getByRole('button', { name: 'Move this line later' }).first().focus();
    for (let i = 1; i < 4; i++) {
      await page.keyboard.press('Enter');
      await expect.poll(async () => (await lines())[i]).toBe(before[0]);
    }
    await page.keyboard.press('Enter');
    expect(await page.evaluate(() => document.activeElement?.ariaLabel)).toBe('Move this line later');
    await page.getByRole('button', { name: 'Move this line earlier' }).last().focus();
    for (let i = 2; i >= 0; i--) {
      await page.keyboard.press('Enter');
      await expect.poll(async () => (await lines())[i]).toBe(before[0]);
    }
    await page.getByLabel(/^captions/).fill('4-9 She waits.');
    await page.getByLabel(/^captions/).press('Tab');
    await expect
      .poll(
        async () =>
          (
            (await (await fetch(`${base}api/documents/cut`)).json()) as {
              captions: unknown[];
              entries: { kind: string }[];
            }[]
          )[0],
      )
      .toMatchObject({ captions: [{ in: 4, out: 10, text: 'She waits.' }] });
    await look(page, 'cut', false);
    await page.getByRole('link', { name: 'Ledger' }).focus();
    await page.keyboard.press('Enter');
    await page.getByText('no legal advice').waitFor();
    await page.getByLabel('what').fill('carrots');
    await page.getByRole('button', { name: 'Write it down' }).click();
    await page.getByRole('rowheader', { name: 'carrots' }).waitFor();
    await look(page, 'ledger', false);
  });

  it('reads well at 390 and at 2560 pixels: nothing wider than the screen', async () => {
    await open([UPRIGHT]);
    for (const [width, height] of [
      [390, 844],
      [2560, 1300],
    ] as const) {
      await page.setViewportSize({ width, height });
      for (const where of ['#/wall', '#/sheet/shot-1', '#/day', '#/cut', '#/ledger']) {
        await page.goto(base + where);
        await page.locator('main h2').first().waitFor();
        // What is folded away is read too.
        await page.evaluate(() => {
          for (const d of document.querySelectorAll('details')) d.open = true;
        });
        const wide = await page.evaluate(() => ({ page: document.documentElement.scrollWidth, screen: innerWidth }));
        // On a phone what was borrowed stands one use under another: seven columns would be cut off.
        if (where === '#/ledger') {
          await page.locator('.uses tbody td').first().waitFor();
          expect(await page.locator('.uses thead').isVisible()).toBe(width > 760);
        }
        expect(wide.page, `${where} at ${width}`).toBeLessThanOrEqual(wide.screen + 1);
        await look(page, `${where.replace(/[#/]/g, '')}-${width}`, false);
      }
    }
  });

  it('prints in ink, without what only a hand on the page could use', async () => {
    await open([UPRIGHT]);
    await page.emulateMedia({ media: 'print' });
    for (const where of ['#/wall', '#/sheet/shot-1', '#/day']) {
      await page.goto(base + where);
      await page.locator('main h2').first().waitFor();
      // Pictures are buttons too, and so are the names in the day's order: they are printed.
      const buttons = page.locator('button:visible:not(.picture):not(.slot button)');
      expect(await buttons.allInnerTexts(), where).toEqual([]);
      expect(await page.locator('.bookmarks').isVisible(), where).toBe(false);
    }
  });

  it('says what went wrong in the margin, with the way out', async () => {
    await open([]);
    await page.locator('main h2').first().waitFor();
    await page.setInputFiles('input[type=file]', {
      name: 'notes.mp4',
      mimeType: 'video/mp4',
      buffer: Buffer.from('no film at all '.repeat(50)),
    });
    await page.getByRole('alert').waitFor({ timeout: 300_000 });
    expect(await page.getByRole('alert').textContent()).toMatch(/PW-MEDIA/);
    await page.getByRole('button', { name: 'Put away' }).click();
  });

  it('takes a film in, gives a take for no pick to one, and takes it out again', async () => {
    await open([]);
    await page.goto(`${base}#/wall`);
    await page.locator('main h2').first().waitFor();
    const same = readFileSync(join(bench.folder, 'film.mp4'));
    const send = (name: string, buffer: Buffer) =>
      page.locator('input[type=file]').last().setInputFiles({ name, mimeType: 'video/mp4', buffer });
    // The film that is there already is not taken in once more.
    await send('again.mp4', same);
    await page.getByText('"again.mp4" is in the book already, as the film').waitFor({ timeout: 300_000 });
    // An empty box at its end (ISO/IEC 14496-12, 8.1.2) makes another file of it.
    await send('Двор.mp4', Buffer.concat([same, Buffer.from('\0\0\0\x08free', 'latin1')]));
    await page.getByRole('heading', { name: 'Двор' }).waitFor({ timeout: 300_000 });
    await page.getByText('Title, credit, licence').last().click();
    await page.getByLabel('who made it').last().fill('a neighbour');
    await page.getByLabel('who made it').last().press('Tab');
    await expect
      .poll(async () => (await bench.book()).films.find((f) => f.title === 'Двор')?.credit)
      .toBe('a neighbour');
    await page.goto(`${base}#/day`);
    const loose = page.locator('section', { has: page.getByRole('heading', { name: 'Takes for no pick' }) });
    await loose
      .locator('input[type=file]')
      .first()
      .setInputFiles({
        name: 'garden.mp4',
        mimeType: 'video/mp4',
        buffer: readFileSync(join(bench.folder, 'film.mp4')),
      });
    await loose.getByText('garden', { exact: true }).waitFor({ timeout: 300_000 });
    await loose.getByRole('combobox').first().selectOption({ label: 'Shot 1' });
    await expect.poll(async () => (await bench.book()).takes.find((t) => t.title === 'garden')?.pick).toBe('shot-1');
    await loose.getByText('garden', { exact: true }).waitFor({ state: 'detached' });
    await page.goto(`${base}#/sheet/shot-1`);
    await page
      .locator('.take-card', { hasText: 'garden' })
      .getByRole('button', { name: 'Take it out of the book' })
      .click();
    await expect.poll(async () => (await bench.book()).takes.some((t) => t.title === 'garden')).toBe(false);
  });

  it('sends several takes at once; one that is taken out leaves no work and no message behind', async () => {
    await open([UPRIGHT, { kind: 'stand', frame: 0, ground: [200, 160], top: [200, 110] }]);
    const same = readFileSync(join(bench.folder, 'film.mp4'));
    // Empty boxes at their ends (ISO/IEC 14496-12, 8.1.2) make three files of one.
    const box = Buffer.from('\0\0\0\x08free', 'latin1');
    const names = ['first try', 'second try', 'third try'];
    await page
      .locator('input[type=file]')
      .first()
      .setInputFiles(
        names.map((name, i) => ({
          name: `${name}.mp4`,
          mimeType: 'video/mp4',
          buffer: Buffer.concat([same, ...Array.from({ length: i + 1 }, () => box)]),
        })),
      );
    const titles = async () => (await bench.book()).takes.map((t) => t.title).sort();
    await expect.poll(titles, { timeout: 300_000 }).toEqual(names);
    const ids = (await bench.book()).takes.map((t) => t.id);
    for (let left = names.length - 1; left >= 0; left--) {
      await page.getByRole('button', { name: 'Take it out of the book' }).first().click();
      await expect.poll(async () => (await titles()).length).toBe(left);
      await bench.caughtUp();
    }
    const theirs = async () => (await bench.book()).jobs.filter((j) => ids.includes(j.subject));
    expect((await theirs()).length).toBeGreaterThan(0);
    await expect
      .poll(async () => (await theirs()).filter((j) => j.state === 'waiting' || j.state === 'running'), {
        timeout: 300_000,
      })
      .toEqual([]);
    await page.reload();
    await page.getByText('No take yet.').waitFor();
    expect(await page.locator('aside.foot').count()).toBe(0);
  });

  it('plans the day that the plan is for, and says of one gone by that it is', async () => {
    await open([]);
    const plan = (date: string): void => {
      const book = Book.open(join(bench.folder, 'production'));
      book.edit('a plan', (e) =>
        e.put('day', { id: 'day', at: '2026-01-01T00:00:00Z', plan: { date, slots: [], unplaced: [], notes: [] } }),
      );
      book.close();
    };
    await page.goto(`${base}#/day`);
    await page.getByText('No day is planned yet.').waitFor();
    const date = page.locator('input[type=date]');
    const now = await date.inputValue();
    // Planned elsewhere while the page is open: the field goes along.
    plan('2999-05-01');
    await page.getByRole('heading', { name: 'The plan for 2999-05-01', exact: true }).waitFor();
    await expect.poll(() => date.inputValue()).toBe('2999-05-01');
    plan('2001-05-01');
    await page.getByRole('heading', { name: 'The plan for 2001-05-01, which has gone by' }).waitFor();
    await expect.poll(() => date.inputValue()).toBe(now);
    await date.fill('2999-06-02');
    plan('2999-05-01');
    await page.getByRole('heading', { name: 'The plan for 2999-05-01', exact: true }).waitFor();
    expect(await date.inputValue()).toBe('2999-06-02');
  });
});
