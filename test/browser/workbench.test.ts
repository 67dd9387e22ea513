/**
 * The workbench in a real browser, on a small production made here: wall, picking, marks by mouse, frame-exact
 * stepping, undo, reload, keyboard, narrow and wide screens. Skips loudly where there is no Chromium; with
 * PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { mkdtempSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addFilm } from '../../src/book/add-media.js';
import { Book } from '../../src/book/book.js';
import { newProduction } from '../../src/book/new-production.js';
import { doJob } from '../../src/jobs/run-job.js';
import { listen, type RunningService } from '../../src/server/listen.js';
import { CHROMIUM, launchChromium, look } from './chromium.js';
import { makeClip } from './made-clip.js';

let folder: string, service: RunningService, browser: Browser, page: Page, base: string;

/** Frames whose brightness tells their number: (40 + 4 n) of 255 in the film, with a second shot from frame 24. */
const makeFilm = (path: string): Promise<void> =>
  makeClip(
    path,
    48,
    (x, y, f) =>
      x < 160
        ? (40 + 4 * f) / 255
        : f < 24
          ? 0.15 + 0.5 * (((x >> 4) + (y >> 4)) & 1)
          : 0.2 + (0.6 * (((x >> 3) * 7 + (y >> 5) * 3) % 5)) / 5,
    { crf: 4 },
  );

describe.skipIf(CHROMIUM === undefined)('workbench', () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-browser-'));
    await makeFilm(join(folder, 'film.mp4'));
    const book = Book.create(join(folder, 'production'));
    book.edit('start', (e) => e.put('production', newProduction('Browser walk')));
    await addFilm(book, join(folder, 'film.mp4'), { title: 'Film', credit: 'the test' });
    await doJob(book, 'scan', 'film', {});
    book.close();
    service = await listen(join(folder, 'production'), { port: 0 });
    base = `http://localhost:${service.port}/`;
    browser = await launchChromium();
    page = await browser.newPage({ viewport: { width: 1280, height: 860 } });
    page.setDefaultTimeout(20_000);
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it("shows the film's shots on the wall and pins a pick", async () => {
    const errors: string[] = [];
    page.on('pageerror', (e) => errors.push(e.message));
    await page.goto(base);
    await page.getByRole('heading', { name: /^Shot 0/ }).waitFor();
    await page.getByRole('button', { name: 'Pick this shot' }).first().click();
    await page.getByRole('link', { name: '1. Shot 0' }).waitFor();
    await look(page, 'wall', false);
    expect(errors).toEqual([]);
  });

  it('steps to the exact frame with keys, and reads its pixels', async () => {
    await page.getByRole('link', { name: '1. Shot 0' }).click();
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

  it('draws marks with the mouse, moves one, and loses nothing on reload', async () => {
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.getByRole('button', { name: 'upright', exact: true }).click();
    await page.locator('.tools input').fill('1,8');
    const glass = (await page.locator('.sheet-of-glass svg').boundingBox())!;
    const at = (x: number, y: number): [number, number] => [glass.x + glass.width * x, glass.y + glass.height * y];
    await page.mouse.click(...at(0.5, 0.9));
    await page.mouse.click(...at(0.5, 0.3));
    await page.locator('.mark.upright').waitFor();
    await page.getByRole('button', { name: 'erase', exact: true }).click();
    for (const [x, y] of [
      [0.1, 0.2],
      [0.3, 0.2],
      [0.3, 0.6],
    ] as const)
      await page.mouse.click(...at(x, y));
    await page.keyboard.press('Enter');
    await page.locator('.mark.erase').waitFor();
    // Put the tool away and drag the upright's top.
    await page.getByRole('button', { name: 'erase', exact: true }).click();
    await page.mouse.move(...at(0.5, 0.3));
    await page.mouse.down();
    await page.mouse.move(...at(0.52, 0.4), { steps: 4 });
    await page.mouse.up();
    await page.waitForTimeout(600);
    await look(page, 'marks', false);
    await page.reload();
    await page.getByText('2 marks: upright, erase').waitFor();
    const picks = (await (await fetch(`${base}api/documents/pick`)).json()) as {
      marks: { marks: { kind: string; top?: number[]; height?: number }[] };
    }[];
    const upright = picks[0]!.marks.marks.find((m) => m.kind === 'upright')!;
    expect(upright.height).toBe(1.8);
    expect(upright.top![1]!).toBeGreaterThan(180 * 0.36);
    expect(upright.top![1]!).toBeLessThan(180 * 0.44);
  });

  it('proposes marks on the frame in view and puts only what is taken', async () => {
    await page.goto(`${base}#/sheet/${new URL(page.url()).hash.split('/').pop()}`);
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.getByRole('button', { name: 'Propose marks' }).click();
    await page.locator('.proposals li').first().waitFor();
    const before = await page.locator('.sheet-of-glass svg > .mark').count();
    const offered = await page.locator('.proposals button', { hasText: 'Take it' }).count();
    if (offered > 0) {
      await page.locator('.proposals button', { hasText: 'Take it' }).first().click();
      await expect.poll(() => page.locator('.sheet-of-glass svg > .mark').count()).toBe(before + 1);
      await page.keyboard.press('Escape');
      await page.getByRole('button', { name: 'Take back' }).click();
    } else {
      await page.keyboard.press('Escape');
    }
  });

  it('gives a chosen mark its number afterwards, and takes it back in the viewer', async () => {
    const height = async (): Promise<number | undefined> =>
      (
        (await (await fetch(`${base}api/documents/pick`)).json()) as {
          marks: { marks: { kind: string; height?: number }[] };
        }[]
      )[0]!.marks.marks.find((m) => m.kind === 'upright')!.height;
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.locator('.mark.upright path').dispatchEvent('click');
    const chosen = page.getByRole('group', { name: 'The chosen mark' });
    await chosen.getByLabel('height, m').fill('nonsense');
    await chosen.getByLabel('height, m').press('Tab');
    await expect.poll(() => chosen.getByLabel('height, m').getAttribute('aria-invalid')).toBe('true');
    expect(await height()).toBe(1.8);
    await chosen.getByLabel('height, m').fill('2,05');
    await chosen.getByLabel('height, m').press('Tab');
    await expect.poll(height).toBe(2.05);
    await page.getByRole('dialog').getByRole('button', { name: 'Take back' }).click();
    await expect.poll(height).toBe(1.8);
    await page.keyboard.press('Escape');
    await page.getByRole('dialog').waitFor({ state: 'detached' });
  });

  it('takes edits back and does them again', async () => {
    await page.getByRole('button', { name: 'Take back' }).click();
    await page.getByRole('button', { name: 'Take back' }).click();
    await page.getByText('1 mark: upright').waitFor();
    // With nothing in focus the keyboard takes back and does again all the same.
    await page.evaluate(() => (document.activeElement as HTMLElement | null)?.blur());
    await page.keyboard.press('Control+Shift+KeyZ');
    await page.getByText('2 marks: upright, erase').waitFor();
    await page.keyboard.press('Control+KeyZ');
    await page.getByText('1 mark: upright').waitFor();
    await page.getByRole('button', { name: 'Do again' }).click();
    await page.getByText('2 marks: upright, erase').waitFor();
  });

  it('measures from the page, with progress, and shows numbers with units and uncertainty', async () => {
    await page.getByRole('button', { name: 'Measure the plate' }).click();
    await page.getByRole('button', { name: 'Measure again' }).waitFor({ timeout: 90_000 });
    expect(await page.locator('.measure-columns').textContent()).toMatch(/±/);
    await page.getByRole('button', { name: 'Write the brief' }).click();
    await page.locator('.instructions li').first().waitFor({ timeout: 60_000 });
    await look(page, 'sheet', false);
  });

  it('says that numbers are of marks that were changed since, and of no mark what is missing', async () => {
    expect(await page.locator('.stale').count()).toBe(0);
    await page.getByRole('button', { name: 'Put marks on it' }).click();
    await page.locator('.mark.upright path').dispatchEvent('click');
    await page.getByRole('button', { name: 'Remove (Del)' }).click();
    await page.locator('.mark.upright').waitFor({ state: 'detached' });
    await page.keyboard.press('Escape');
    await page.locator('#measures .stale').waitFor();
    await page.getByRole('button', { name: 'Measure again' }).click();
    // What is being done can be read, not only its bar: the words have a width.
    await page.locator('.job .stage', { hasText: '%' }).waitFor();
    expect((await page.locator('.job .stage').first().boundingBox())!.width).toBeGreaterThan(40);
    await page.locator('#measures .stale').waitFor({ state: 'detached', timeout: 90_000 });
    await page.locator('#brief .stale').waitFor();
    expect(await page.locator('.measure-columns').textContent()).toMatch(/no mark tells how the camera looks/);
  });

  it("changes a pick's name and span, and its marks stay on their pictures", async () => {
    const pick = async () =>
      (
        (await (await fetch(`${base}api/documents/pick`)).json()) as {
          title: string;
          in: number;
          out: number;
          marks: { marks: { kind: string; frame: number }[] };
        }[]
      )[0]!;
    const before = await pick();
    await page.getByText('Name, span, action').click();
    await page.getByLabel('first frame of the film').fill(String(before.in + 2));
    await page.getByLabel('first frame of the film').press('Tab');
    await expect.poll(async () => (await pick()).in).toBe(before.in + 2);
    expect((await pick()).marks.marks.length).toBe(0);
    await page.getByRole('button', { name: 'Take back' }).click();
    await expect.poll(async () => (await pick()).marks.marks.length).toBe(before.marks.marks.length);
    await page.getByLabel('last frame', { exact: true }).fill('100000');
    await page.getByLabel('last frame', { exact: true }).press('Tab');
    await page.getByText('a span lies between frames').waitFor();
    expect((await pick()).out).toBe(before.out);
  });

  it('shows shoot day, cut and ledger, and each works by keyboard', async () => {
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
    for (const [width, height] of [
      [390, 844],
      [2560, 1300],
    ] as const) {
      await page.setViewportSize({ width, height });
      for (const where of ['#/wall', '#/sheet/shot-0', '#/day', '#/cut', '#/ledger']) {
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
    await page.setViewportSize({ width: 1280, height: 860 });
  });

  it('prints in ink, without what only a hand on the page could use', async () => {
    await page.emulateMedia({ media: 'print' });
    for (const where of ['#/wall', '#/sheet/shot-0', '#/day']) {
      await page.goto(base + where);
      await page.locator('main h2').first().waitFor();
      // Pictures are buttons too, and so are the names in the day's order: they are printed.
      const buttons = page.locator('button:visible:not(.picture):not(.slot button)');
      expect(await buttons.allInnerTexts(), where).toEqual([]);
      expect(await page.locator('.bookmarks').isVisible(), where).toBe(false);
    }
    await page.emulateMedia({ media: 'screen' });
  });

  it('says what went wrong in the margin, with the way out', async () => {
    await page.goto(`${base}#/sheet/shot-0`);
    await page.locator('main h2').first().waitFor();
    await page.setInputFiles('input[type=file]', {
      name: 'notes.mp4',
      mimeType: 'video/mp4',
      buffer: Buffer.from('no film at all '.repeat(50)),
    });
    await page.getByRole('alert').waitFor({ timeout: 40_000 });
    expect(await page.getByRole('alert').textContent()).toMatch(/PW-MEDIA/);
    await page.getByRole('button', { name: 'Put away' }).click();
  });

  it('draws a mark by the keyboard alone, and begins a second one on a point of the first', async () => {
    const marks = async () =>
      (
        (await (await fetch(`${base}api/documents/pick/shot-0`)).json()) as {
          marks: { marks: { kind: string; foot?: number[]; top?: number[]; tip?: number[] }[] };
        }
      ).marks.marks;
    const edits = async () =>
      ((await (await fetch(`${base}api/book`)).json()) as { history: { title: string }[] }).history[0]!.title;
    await page.goto(`${base}#/sheet/shot-0`);
    await page.reload();
    await page.getByRole('button', { name: 'Put marks on it' }).focus();
    await page.keyboard.press('Enter');
    await page.getByRole('button', { name: 'upright', exact: true }).focus();
    await page.keyboard.press('Enter');
    // The first arrow shows the crosshair in the middle (160, 90); with shift it goes 10 px.
    await page.keyboard.press('ArrowRight');
    for (let i = 0; i < 3; i++) await page.keyboard.press('Shift+ArrowDown');
    for (let i = 0; i < 4; i++) await page.keyboard.press('ArrowLeft');
    await page.keyboard.press(' ');
    for (let i = 0; i < 7; i++) await page.keyboard.press('Shift+ArrowUp');
    await page.keyboard.press(' ');
    await expect
      .poll(async () => (await marks()).filter((m) => m.kind === 'upright'))
      .toMatchObject([{ foot: [156, 120], top: [156, 50] }]);
    // A click on the upright's foot with another tool in hand puts a point there and moves nothing.
    await page.getByRole('button', { name: 'shadow', exact: true }).click();
    const glass = (await page.locator('.sheet-of-glass svg').boundingBox())!;
    const at = (x: number, y: number): [number, number] => [
      glass.x + (glass.width * x) / 320,
      glass.y + (glass.height * y) / 180,
    ];
    await page.mouse.click(...at(157, 120));
    await page.mouse.click(...at(220, 140));
    await expect
      .poll(async () => (await marks()).filter((m) => m.kind === 'shadow').map((m) => m.foot))
      .toEqual([[156, 120]]);
    expect((await marks()).find((m) => m.kind === 'upright')!.foot).toEqual([156, 120]);
    expect(await edits()).toBe('mark shadow');
    // Out of a field by Escape, then out of the tool, then out of the viewer.
    await page.locator('.chosen input').first().focus();
    for (let i = 0; i < 3; i++) await page.keyboard.press('Escape');
    await page.locator('dialog.viewer').waitFor({ state: 'detached' });
  });

  it('takes a film in, gives a take for no pick to one, and takes it out again', async () => {
    const state = async () =>
      (await (await fetch(`${base}api/book`)).json()) as {
        films: { title: string; credit: string }[];
        takes: { id: string; title: string; pick: string | null }[];
      };
    await page.goto(`${base}#/wall`);
    await page.locator('main h2').first().waitFor();
    const same = readFileSync(join(folder, 'film.mp4'));
    const send = (name: string, buffer: Buffer) =>
      page.locator('input[type=file]').last().setInputFiles({ name, mimeType: 'video/mp4', buffer });
    // The film that is there already is not taken in once more.
    await send('again.mp4', same);
    await page.getByText('"again.mp4" is in the book already, as the film').waitFor({ timeout: 60_000 });
    // An empty box at its end (ISO/IEC 14496-12, 8.1.2) makes another file of it.
    await send('Двор.mp4', Buffer.concat([same, Buffer.from('\0\0\0\x08free', 'latin1')]));
    await page.getByRole('heading', { name: 'Двор' }).waitFor({ timeout: 60_000 });
    await page.getByText('Title, credit, licence').last().click();
    await page.getByLabel('who made it').last().fill('a neighbour');
    await page.getByLabel('who made it').last().press('Tab');
    await expect.poll(async () => (await state()).films.find((f) => f.title === 'Двор')?.credit).toBe('a neighbour');
    await page.goto(`${base}#/day`);
    const loose = page.locator('section', { has: page.getByRole('heading', { name: 'Takes for no pick' }) });
    await loose
      .locator('input[type=file]')
      .first()
      .setInputFiles({ name: 'garden.mp4', mimeType: 'video/mp4', buffer: readFileSync(join(folder, 'film.mp4')) });
    await loose.getByText('garden', { exact: true }).waitFor({ timeout: 60_000 });
    await loose.getByRole('combobox').first().selectOption({ label: 'Shot 0' });
    await expect.poll(async () => (await state()).takes.find((t) => t.title === 'garden')?.pick).toBe('shot-0');
    await loose.getByText('garden', { exact: true }).waitFor({ state: 'detached' });
    await page.goto(`${base}#/sheet/shot-0`);
    await page
      .locator('.take-card', { hasText: 'garden' })
      .getByRole('button', { name: 'Take it out of the book' })
      .click();
    await expect.poll(async () => (await state()).takes.some((t) => t.title === 'garden')).toBe(false);
  });
});
