/**
 * One short from an empty book to the finished reel, all of it in a real browser: the film sent, a shot picked, marked
 * and measured, the brief, a take given, judged, joined (with a reload in the middle), inspected, cut, delivered and
 * revealed. The film's size is odd and its rate another than the take's and the reel's. Skips loudly where there is no
 * Chromium; with PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { Book } from '../../src/book/book.js';
import { newProduction } from '../../src/book/new-production.js';
import { rate } from '../../src/core/rational.js';
import type { JobKind } from '../../src/jobs/job-store.js';
import { probe } from '../../src/media/probe.js';
import type { BookState } from '../../src/server/api-types.js';
import { listen, type RunningService } from '../../src/server/listen.js';
import { CHROMIUM, launchChromium, look } from './chromium.js';
import { makeClip } from './made-clip.js';
import { caughtUp } from './own-workbench.js';

const W = 321;
const H = 183;
const FRAMES = 14;
/** Loaded machines are slow: what is waited for comes, or the test fails by this. */
const LONG = { timeout: 300_000 };
let folder: string, production: string, service: RunningService, browser: Browser, page: Page;

async function bookNow<T>(read: (b: BookState) => T): Promise<T> {
  return read((await page.evaluate(async () => (await fetch('/api/book')).json() as Promise<unknown>)) as BookState);
}
/** Waits until the newest job of a kind is done; fails at once with its error. */
async function done(kind: JobKind): Promise<void> {
  await expect
    .poll(
      () =>
        bookNow((b) => {
          const j = b.jobs.find((x) => x.kind === kind);
          return j?.state === 'failed' ? j.error : j?.state;
        }),
      LONG,
    )
    .toBe('done');
}
async function press(name: string): Promise<void> {
  await page.getByRole('button', { name, exact: true }).first().focus();
  await page.keyboard.press('Enter');
}

describe.skipIf(CHROMIUM === undefined)('a whole production', () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-whole-'));
    production = join(folder, 'production');
    // A still set of bricks, then another; a performer who nods before a green cloth.
    await makeClip(
      join(folder, 'Yard.mkv'),
      2 * FRAMES,
      (x, y, f, c) =>
        f < FRAMES
          ? (y > 120 ? 0.4 : 0.56) + 0.14 * ((((x >> 4) + (y >> 3)) & 1) - 0.5) + 0.03 * c
          : 0.25 + (0.5 * (((x >> 5) + 2 * (y >> 5)) % 3)) / 3,
      { widthPx: W, heightPx: H, rate: rate(24000, 1001) },
    );
    await makeClip(
      join(folder, 'guest.mp4'),
      24,
      (x, y, f, c) =>
        Math.hypot((x - 90 - f / 4) / 30, (y - 130) / 58) < 1 ? [0.62, 0.5, 0.38][c]! : [0.2, 0.62, 0.25][c]!,
      { widthPx: 180, heightPx: 240, rate: rate(25) },
    );
    const book = Book.create(production);
    book.edit('start', (e) => e.put('production', { ...newProduction('Whole'), rate: '25/1' }));
    book.close();
    service = await listen(production, { port: 0 });
    browser = await launchChromium();
    page = await browser.newPage({ viewport: { width: 1280, height: 900 } });
    page.setDefaultTimeout(120_000);
    await page.goto(service.url);
    await page.getByText('No film yet').waitFor();
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('takes the film in, finds its shots, and one is picked, marked, measured and briefed', async () => {
    // Nothing was done yet that could be taken back.
    expect(await page.getByRole('button', { name: 'Take back' }).isDisabled()).toBe(true);
    await page.getByLabel('Add the film').setInputFiles(join(folder, 'Yard.mkv'));
    await done('scan');
    expect(await bookNow((b) => b.films[0]!.cutList!.shots.map((s) => [s.in, s.out]))).toEqual([
      [0, FRAMES],
      [FRAMES, 2 * FRAMES],
    ]);
    await press('Pick this shot');
    await page.getByRole('link', { name: '1. Shot 1' }).click();
    const next = () => page.locator('.next').textContent();
    expect(await next()).toBe('Next: mark where the performer goes');
    await press('Put marks on it');
    await page
      .getByRole('toolbar', { name: 'Marks' })
      .getByRole('group', { name: 'the performer' })
      .getByRole('button', { name: 'stands here' })
      .click();
    await page.getByLabel('its height, m').fill('0.5');
    const glass = (await page.locator('.sheet-of-glass svg').boundingBox())!;
    for (const [x, y] of [
      [160, 160],
      [160, 80],
    ] as const)
      await page.mouse.click(glass.x + (x / W) * glass.width, glass.y + (y / H) * glass.height);
    await expect.poll(() => bookNow((b) => b.picks[0]!.marks.marks.length)).toBe(1);
    // Its place is put right by numbers.
    await page.getByLabel('x', { exact: true }).fill('150');
    await page.getByLabel('x', { exact: true }).press('Tab');
    await expect.poll(() => bookNow((b) => (b.picks[0]!.marks.marks[0] as { ground: number[] }).ground[0])).toBe(150);
    await page.getByRole('button', { name: 'Close', exact: true }).click();
    await expect.poll(next).toBe('Next: measure the plate');
    // The keyboard is where it was, and goes down the sheet by its parts.
    expect(await page.evaluate(() => document.activeElement?.textContent)).toBe('Put marks on it');
    await page.getByRole('link', { name: 'Measured' }).focus();
    await page.keyboard.press('Enter');
    await page.keyboard.press('Tab');
    expect(await page.evaluate(() => document.activeElement?.textContent)).toBe('Measure the plate');
    await page.keyboard.press('Enter');
    await done('measure');
    await press('Write the brief');
    await done('brief');
    await page.locator('.instructions li').first().waitFor();
    // The skip link stays on its page.
    await page.evaluate(() => {
      (document.querySelector('.skip') as HTMLElement).focus();
    });
    await page.keyboard.press('Enter');
    await page.getByRole('heading', { name: 'The brief' }).waitFor();
    expect(await page.evaluate(() => document.activeElement?.id)).toBe('page');
  });

  it('judges a take, shows it on the plate, joins it through a reload, and inspects the join', async () => {
    await page.getByLabel('Add a take').setInputFiles(join(folder, 'guest.mp4'));
    await page.locator('.take-card').waitFor();
    await done('verdict');
    await done('quick');
    // H.264 holds no odd size: the quick join goes without the last column and line.
    await expect
      .poll(() =>
        page.getByLabel('quick join of guest').evaluate((v: HTMLVideoElement) => [v.videoWidth, v.videoHeight]),
      )
      .toEqual([W - 1, H - 1]);
    await press('Build the join with it');
    await page.locator('.job', { hasText: 'Building the join' }).waitFor();
    await page.reload();
    await done('join');
    const render = await bookNow((b) => b.joins[0]!.render!);
    const file = (await probe(join(production, render.file))).video!;
    expect([file.widthPx, file.heightPx, file.frameCount]).toEqual([W, H, FRAMES]);
    // What fits is folded away, and how a judged take was shot: both are one press off.
    const card = page.locator('.take-card');
    const matters = await bookNow((b) => b.takes[0]!.verdict!.matters);
    const fitting = matters.filter((m) => m.verdict === 'fits').length;
    expect(fitting).toBeGreaterThan(0);
    expect(await card.locator('.matters tbody tr').count()).toBe(matters.length - fitting);
    await card.getByRole('button', { name: /^Show the \d+ matters? that fits?$/ }).press('Enter');
    expect(await card.locator('.matters tbody tr').count()).toBe(matters.length);
    expect(await card.getByLabel('set is empty on frame').isVisible()).toBe(false);
    await card.getByText('How it was shot').click();
    await card.getByLabel('set is empty on frame').waitFor();
    await press('Inspect');
    await done('inspect');
    await page.locator('#inspection tbody tr').first().waitFor();
    await look(page, 'whole-sheet');
  });

  it('cuts, delivers and reveals it', async () => {
    await page.getByRole('link', { name: 'Cut', exact: true }).click();
    await page.getByLabel(/^credits/).fill('Moss as itself');
    await page.getByLabel(/^credits/).press('Tab');
    await page.getByText('a card of credits').waitFor();
    // A delivery that fails says what is missing and leaves nothing behind.
    await page.getByLabel('music, a file on this machine').fill(join(folder, 'no.wav'));
    await page.getByLabel('music, a file on this machine').press('Tab');
    await expect.poll(() => bookNow((b) => b.cut?.music?.gainDb)).toBe(0);
    await caughtUp(page, () => bookNow((b) => b.pulse));
    // Answers of the book that come late, from before the delivery failed, do not take its failure away.
    const film = await bookNow((b) => b.films[0]!.id);
    const late: (() => Promise<void>)[] = [];
    await page.route('**/api/book', async (route) => {
      const response = await route.fetch();
      late.push(() => route.fulfill({ response }));
    });
    // The page asks for the book as it has just changed.
    await page.evaluate(
      async (film) =>
        fetch('/api/edit', {
          method: 'POST',
          headers: { 'content-type': 'application/json' },
          body: JSON.stringify({
            title: 'purpose',
            changes: [{ do: 'put', kind: 'purpose', document: { id: film, text: 'a joke' } }],
          }),
        }),
      film,
    );
    await expect.poll(() => late.length).toBeGreaterThan(0);
    await press('Web file only');
    const failure = page.locator('.job', { hasText: /music is not there: .*no\.wav/ });
    await failure.waitFor(LONG);
    for (const answer of late) await answer();
    await page.unroute('**/api/book');
    expect(await failure.count()).toBe(1);
    // Read and put away it does not come back with the next page load.
    await failure.getByRole('button', { name: 'Put away' }).click();
    await failure.waitFor({ state: 'detached' });
    await page.reload();
    await page.getByRole('heading', { name: 'The cut' }).waitFor();
    expect(await failure.count()).toBe(0);
    await page.getByLabel('music, a file on this machine').fill('');
    await page.getByLabel('music, a file on this machine').press('Tab');
    await expect.poll(() => bookNow((b) => b.cut?.music ?? null)).toBeNull();
    await press('Web file only');
    await page.getByRole('heading', { name: 'The reel' }).waitFor(LONG);
    expect(await bookNow((b) => b.deliveries[0]!.id)).toBe('whole');
    await press('Make the reveal');
    await page.getByRole('heading', { name: 'The reveal' }).waitFor(LONG);
    // The cut's own count of seconds is the reel's, within a frame a line.
    const said = Number(/([\d.]+) s at 25/.exec((await page.locator('main section').first().textContent())!)![1]);
    const [reel, reveal] = await Promise.all(
      ['.mp4"]', 'reveal.mp4"]'].map((end) =>
        page
          .locator(`video[aria-label$="${end}`)
          .first()
          .evaluate(
            (v: HTMLVideoElement) =>
              new Promise<number[]>((ok, no) => {
                const tell = (): void => ok([v.videoWidth, v.videoHeight, v.duration]);
                if (v.readyState > 0) tell();
                else {
                  v.onloadedmetadata = tell;
                  v.onerror = () => no(new Error(v.error?.message));
                }
              }),
          ),
      ),
    );
    expect(reel!.slice(0, 2)).toEqual([W - 1, H - 1]);
    expect(Math.abs(reel![2]! - said)).toBeLessThan(0.15);
    // Captions stand below the picture, not on it.
    expect(reveal![0]).toBe(W - 1);
    expect(reveal![1]!).toBeGreaterThan(1.1 * H);
    await look(page, 'whole-cut');
  });
});
