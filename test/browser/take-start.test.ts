/**
 * Where a take begins, in a real browser: chosen by its pictures with mouse and keyboard, or by its number; the recipe
 * follows, an undo takes it back, what does not fit is refused with the way out. Skips loudly where there is no
 * Chromium; with PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Locator, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addTake } from '../../src/book/add-media.js';
import { madeProduction } from '../../src/book/made-production.js';
import { doJob } from '../../src/jobs/run-job.js';
import type { BookState } from '../../src/server/api-types.js';
import { listen, type RunningService } from '../../src/server/listen.js';
import { CHROMIUM, launchChromium } from './chromium.js';
import { makeClip } from './made-clip.js';

const PLATE = 8,
  TAKE = 45;
const LONG = { timeout: 300_000 };
let folder: string, service: RunningService, browser: Browser, page: Page;

const paceNow = () =>
  page.evaluate(async () => {
    const book = (await (await fetch('/api/book')).json()) as BookState;
    const pace = book.joins[0]!.recipe.steps.find((s) => s.step === 'pace');
    return pace?.step === 'pace' ? { from: pace.curve[0], start: pace.start ?? null } : null;
  });
const part = (): Locator => page.locator('.take-start');
const begin = (): Locator => part().getByRole('button', { name: 'Begin it there' });

describe.skipIf(CHROMIUM === undefined)('where a take begins', () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-take-start-'));
    await makeClip(
      join(folder, 'film.mp4'),
      PLATE,
      (x, y, _, c) => 0.45 + 0.1 * (((x >> 4) + (y >> 4)) & 1) + 0.02 * c,
    );
    await makeClip(join(folder, 'guest.mp4'), TAKE, (x, y, f, c) =>
      Math.hypot((x - 110 - 2 * f) / 26, (y - 100) / 44) < 1 ? [0.62, 0.5, 0.38][c]! : [0.2, 0.62, 0.25][c]!,
    );
    const book = await madeProduction(folder, 'Start', join(folder, 'film.mp4'), {
      id: 'street',
      title: 'Street',
      in: 0,
      out: PLATE,
      marks: { frame: 0, marks: [{ kind: 'stand', ground: [200, 160], top: [200, 90], height: 0.5 }] },
    });
    const { id } = await addTake(book, join(folder, 'guest.mp4'), { pick: 'street' });
    book.edit('marks', (e) =>
      e.put('take', {
        ...book.need('take', id),
        marks: { frame: 0, marks: [{ kind: 'performer', ground: [110, 143], top: [110, 57] }] },
      }),
    );
    await doJob(book, 'join', 'street', { take: id, recipeOnly: true });
    book.close();
    service = await listen(join(folder, 'production'), { port: 0 });
    browser = await launchChromium();
    page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
    page.setDefaultTimeout(120_000);
    await page.goto(`http://localhost:${service.port}/#/sheet/street`);
    await part().waitFor();
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('says which frames the join shows, and is chosen by a picture of the take', async () => {
    expect((await part().innerText()).replace(/\s/g, ' ')).toContain(
      'frames 0 to 7 of guest, which has 0 to 44, as the program proposes',
    );
    expect(await begin().isDisabled()).toBe(true);
    const radios = part().getByRole('radio');
    expect(await radios.count()).toBe(12);
    await radios.nth(5).click();
    await part().getByText('the take’s frame 20, with it').waitFor();
    // By keyboard: the next picture, then one frame back.
    await radios.nth(5).press('ArrowRight');
    await part().getByText('the take’s frame 24, with it').waitFor();
    await part().getByRole('button', { name: 'one frame earlier' }).press('Enter');
    await begin().click();
    await expect.poll(paceNow, LONG).toEqual({ from: 23, start: { frame: 23 } });
    await part().getByText('frames 23 to 30 of guest').waitFor();
    expect(await begin().isDisabled()).toBe(true);
  });

  it('refuses a start from which the take ends too soon, and says what fits', async () => {
    const refused = part().getByRole('alert');
    await part().getByLabel('begins at frame').fill('42');
    await begin().click();
    await refused.waitFor(LONG);
    // The page sets spaces that no line breaks at.
    expect((await refused.innerText()).replace(/\s/g, ' ')).toMatch(
      /5 frames are missing; begin at frame 37 or earlier, play it at 0\.28/,
    );
    expect(await paceNow()).toEqual({ from: 23, start: { frame: 23 } });
    await part().getByLabel('begins at frame').fill('37');
    await begin().click();
    await expect.poll(paceNow, LONG).toEqual({ from: 37, start: { frame: 37 } });
    // The page hears of it a moment later.
    await expect.poll(() => refused.count()).toBe(0);
  });

  it('takes a speed, an undo takes it back, and the program has it again when asked', async () => {
    await part().getByLabel('times its speed').fill('0,5');
    await begin().click();
    await expect.poll(paceNow, LONG).toEqual({ from: 37, start: { frame: 37, speed: 0.5 } });
    await expect.poll(() => part().getByLabel('times its speed').inputValue(), LONG).toBe('0.5');
    await page.getByRole('button', { name: 'Take back' }).first().click();
    await expect.poll(paceNow, LONG).toEqual({ from: 37, start: { frame: 37 } });
    await expect.poll(() => part().getByLabel('times its speed').inputValue()).toBe('');
    await part().getByRole('button', { name: 'As the program proposes' }).click();
    await expect.poll(paceNow, LONG).toEqual({ from: 0, start: null });
  });

  it('is paced by points: by keyboard, mouse and number, taken back one by one, kept as one edit', async () => {
    const pace = page.locator('.pace-part'),
      points = pace.getByRole('slider'),
      drawn = (): Promise<(string | null)[]> =>
        points.evaluateAll((all) => all.map((p) => p.getAttribute('aria-valuetext')));
    await pace.getByText('all 8 frames are the take’s own').click();
    await expect.poll(drawn, LONG).toEqual(['take frame 0', 'take frame 7']);
    const put = pace.getByRole('button', { name: 'Pace it so' });
    expect(await put.isDisabled()).toBe(true);
    await points.nth(1).press('Shift+ArrowUp');
    await points.nth(1).press('ArrowUp');
    await points.nth(1).press('ArrowUp');
    expect(await drawn()).toEqual(['take frame 0', 'take frame 14']);
    await pace.getByRole('button', { name: 'One change back' }).click();
    expect(await drawn()).toEqual(['take frame 0', 'take frame 13']);
    await points.nth(1).press('ArrowUp');
    // A double click on the sheet adds a point on the curve there; it is dragged up by a hand.
    const sheet = pace.locator('svg'),
      over = 50 + (((await sheet.boundingBox())!.width - 66) * 4) / 7;
    await sheet.dblclick({ position: { x: over, y: 60 } });
    expect(await drawn()).toEqual(['take frame 0', 'take frame 8', 'take frame 14']);
    const dot = (await points.nth(1).locator('.dot').boundingBox())!,
      [x, y] = [dot.x + dot.width / 2, dot.y + dot.height / 2];
    await page.mouse.move(x, y);
    await page.mouse.down();
    await page.mouse.move(x, y - 10);
    // Far above: it stops at the point after it, for the take goes forwards.
    await page.mouse.move(x, y - 200, { steps: 4 });
    await page.mouse.up();
    expect(await drawn()).toEqual(['take frame 0', 'take frame 14', 'take frame 14']);
    // The whole drag is one change.
    await page.keyboard.press('Control+z');
    expect(await drawn()).toEqual(['take frame 0', 'take frame 8', 'take frame 14']);
    await pace.getByLabel('take frame', { exact: true }).fill('4,5');
    await pace.getByLabel('take frame', { exact: true }).press('Enter');
    expect(await drawn()).toEqual(['take frame 0', 'take frame 4.5', 'take frame 14']);
    // Played as it is drawn, round and round: plate and take go together, the book does not hear of it.
    await pace.getByRole('button', { name: 'Play it as drawn' }).click();
    const words = (): Promise<string> =>
      pace.locator('[data-playing]').evaluateAll((all) => all.map((b) => b.textContent).join());
    await expect.poll(words, { ...LONG, interval: 10 }).toMatch(/^frame 7 of the plate.*take’s frame 14$/);
    await expect.poll(words, { ...LONG, interval: 10 }).toMatch(/^frame 0 of the plate.*take’s frame 0$/);
    await expect.poll(words, { ...LONG, interval: 10 }).toMatch(/^frame 4 of the plate.*take’s frame 5, for 4\.5$/);
    await pace.getByRole('button', { name: 'Stop' }).click();
    expect(await pace.locator('[data-playing]').count()).toBe(0);
    expect(await paceNow()).toEqual({ from: 0, start: null });
    await put.click();
    const through = [
      { at: 0, take: 0 },
      { at: 4, take: 4.5 },
      { at: 7, take: 14 },
    ];
    await expect.poll(paceNow, LONG).toEqual({ from: 0, start: { through } });
    await expect.poll(() => put.isDisabled(), LONG).toBe(true);
    await pace.getByText('paced by hand').waitFor();
    // Taken away again and let run backwards: the book follows only when asked.
    await points.nth(1).press('Delete');
    await pace.getByLabel('may run backwards').check();
    await points.nth(0).press('Shift+ArrowUp');
    for (let k = 0; k < 4; k++) await points.nth(0).press('Shift+ArrowUp');
    expect(await drawn()).toEqual(['take frame 25', 'take frame 14']);
    expect(await paceNow()).toEqual({ from: 0, start: { through } });
    await put.click();
    await expect
      .poll(paceNow, LONG)
      .toEqual({ from: 25, start: { through: [{ at: 0, take: 25 }, through[2]], backwards: true } });
    // The page has heard of it: neither being worked on nor still to be asked for. An undo before that leaves the draft.
    await expect.poll(() => pace.getByRole('status').innerText(), LONG).toBe('');
    await page.getByRole('button', { name: 'Take back' }).first().click();
    await expect.poll(paceNow, LONG).toEqual({ from: 0, start: { through } });
    await expect.poll(drawn, LONG).toEqual(['take frame 0', 'take frame 4.5', 'take frame 14']);
    await pace.getByRole('button', { name: 'As the program proposes' }).click();
    await expect.poll(paceNow, LONG).toEqual({ from: 0, start: null });
  });

  it('fits a phone: the row scrolls, the page does not', async () => {
    await page.setViewportSize({ width: 390, height: 844 });
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(390);
    const shots = process.env['PLATEWRIGHT_PICTURES'];
    if (shots === undefined) return;
    for (const width of [390, 1280, 2560]) {
      await page.setViewportSize({ width, height: 1000 });
      await part().scrollIntoViewIfNeeded();
      await page.waitForTimeout(1500);
      await part().screenshot({ path: join(shots, `take-start-${width}.png`) });
      await page.locator('.pace-part').screenshot({ path: join(shots, `pace-${width}.png`) });
    }
  });
});
