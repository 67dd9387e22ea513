/**
 * What a person does on the sheet on the way to a join, in a real browser: a drawing in layers, and more. A small production made
 * here. Skips loudly where there is no Chromium; with PLATEWRIGHT_BROWSER=required a missing browser fails.
 */
import { existsSync, mkdirSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { chromium, type Browser, type Page } from 'playwright-core';
import sharp from 'sharp';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addFilm } from '../../src/book/add-media.js';
import { Book } from '../../src/book/book.js';
import { newProduction } from '../../src/book/new-production.js';
import { rate } from '../../src/core/rational.js';
import { createPicture, plane } from '../../src/image/picture.js';
import { doJob } from '../../src/jobs/run-job.js';
import { VideoWriter } from '../../src/media/video-writer.js';
import type { BookState } from '../../src/server/api-types.js';
import { listen, type RunningService } from '../../src/server/listen.js';

const CHROMIUM = ['/usr/bin/chromium', '/usr/bin/chromium-browser', '/usr/bin/google-chrome'].find((p) => existsSync(p)) ?? process.env['PLATEWRIGHT_CHROMIUM'];
if (CHROMIUM === undefined) {
  if (process.env['PLATEWRIGHT_BROWSER'] === 'required') throw new Error('PLATEWRIGHT_BROWSER=required, but there is no Chromium on this machine (Debian: apt-get install chromium)');
  console.warn('\n*** BROWSER TESTS SKIPPED: there is no Chromium on this machine (Debian: apt-get install chromium) ***\n');
}
const SHOTS = process.env['PLATEWRIGHT_SCREENSHOTS'];
const W = 320, H = 180, PLATE_FRAMES = 12;
let folder: string, service: RunningService, browser: Browser, page: Page, base: string;

async function film(path: string, frames: number, value: (x: number, y: number, f: number, c: number) => number): Promise<void> {
  const w = await VideoWriter.open(path, { widthPx: W, heightPx: H, rate: rate(24), codec: 'h264', crf: 6 });
  for (let f = 0; f < frames; f++) {
    const p = createPicture(W, H, 3);
    for (let c = 0; c < 3; c++) { const q = plane(p, c); for (let y = 0; y < H; y++) for (let x = 0; x < W; x++) q[y * W + x] = value(x, y, f, c); }
    await w.writeCoded(p);
  }
  await w.close();
}

/** The book as the service tells it. */
async function bookNow<T>(read: (b: BookState) => T): Promise<T> {
  return read((await page.evaluate(async () => (await fetch('/api/book')).json() as Promise<unknown>)) as BookState);
}
const layerMark = (frame: number) => (b: BookState): { readonly distance?: number; readonly share?: number } | undefined => b.takes[0]?.marks?.marks.find((m) => m.kind === 'layer' && m.frame === frame) as { distance?: number } | undefined;

async function look(name: string): Promise<void> {
  if (SHOTS === undefined) return;
  mkdirSync(SHOTS, { recursive: true });
  await page.screenshot({ path: join(SHOTS, `${name}.png`), fullPage: true });
}

async function narrow(name: string): Promise<void> {
  await page.setViewportSize({ width: 390, height: 844 });
  const wide = await page.evaluate(() => ({ page: document.documentElement.scrollWidth, screen: innerWidth }));
  expect(wide.page, name).toBeLessThanOrEqual(wide.screen + 1);
  await look(`${name}-390`);
  await page.setViewportSize({ width: 1600, height: 1000 });
  await look(`${name}-1600`);
}

describe.skipIf(CHROMIUM === undefined)('joining on the sheet', () => {
  beforeAll(async () => {
    folder = mkdtempSync(join(tmpdir(), 'platewright-joining-'));
    await film(join(folder, 'film.mp4'), PLATE_FRAMES, (x, y, _f, c) => (y > 90 ? 0.3 : 0.5) + 0.15 * ((((x >> 4) + (y >> 4)) & 1) - 0.5) + 0.03 * c);
    const book = Book.create(join(folder, 'production'));
    book.edit('start', (e) => e.put('production', newProduction('Joining')));
    await addFilm(book, join(folder, 'film.mp4'), { title: 'Film', credit: 'the test' });
    await doJob(book, 'scan', 'film', {});
    book.edit('pick', (e) => e.put('pick', { id: 'street', film: 'film', title: 'Street', in: 0, out: PLATE_FRAMES, order: 1, note: '', action: '', marks: { frame: 0, marks: [{ kind: 'stand', ground: [160, 150], top: [160, 80], height: 0.5 }] } }));
    book.close();
    service = await listen(join(folder, 'production'), { port: 0 });
    base = `http://localhost:${service.port}/`;
    browser = await chromium.launch({ executablePath: CHROMIUM!, args: ['--no-sandbox', '--disable-gpu', '--disable-quic', '--no-first-run', '--disable-background-networking', '--disable-component-update', '--disable-sync'] });
    page = await browser.newPage({ viewport: { width: 1600, height: 1000 } });
    page.setDefaultTimeout(30_000);
    await page.goto(`${base}#/sheet/street`);
    await page.getByRole('heading', { name: 'Takes and verdicts' }).waitFor();
  });
  afterAll(async () => {
    await browser?.close();
    await service?.close();
    rmSync(folder, { recursive: true, force: true });
  });

  it('takes the layers of a drawing, their distances, and joins them', async () => {
    const layer = async (svg: string): Promise<Buffer> => sharp(Buffer.from(`<svg xmlns="http://www.w3.org/2000/svg" width="640" height="360">${svg}</svg>`)).png().toBuffer();
    await page.getByLabel('Add a drawing in layers').setInputFiles([
      { name: 'moon 2.png', mimeType: 'image/png', buffer: await layer('<circle cx="300" cy="230" r="60" fill="#c33"/>') },
      { name: 'moon 10.png', mimeType: 'image/png', buffer: await layer('<circle cx="340" cy="230" r="60" fill="#33c"/>') },
    ]);
    await page.getByLabel('layer 2', { exact: true }).waitFor();
    await page.getByLabel('layer 1', { exact: true }).fill('6,5');
    await page.getByLabel('layer 1', { exact: true }).press('Tab');
    await expect.poll(() => bookNow((b) => layerMark(0)(b)?.distance)).toBe(6.5);
    await page.getByLabel('layer 2', { exact: true }).fill('2');
    await page.getByLabel('layer 2', { exact: true }).press('Tab');
    await expect.poll(() => bookNow((b) => layerMark(1)(b)?.distance)).toBe(2);
    await page.getByLabel('unit of layer 2').selectOption('share');
    await expect.poll(() => bookNow((b) => layerMark(1)(b)?.share)).toBe(2);
    await page.reload();
    await expect.poll(() => page.getByLabel('layer 1', { exact: true }).inputValue()).toBe('6.5');
    await page.getByRole('button', { name: 'Build the join with it' }).click();
    await page.getByText(/2 layers laid over the whole picture.*the camera stands still/).waitFor({ timeout: 60_000 });
    await expect.poll(() => bookNow((b) => b.joins[0]?.render?.frames ?? 0), { timeout: 60_000 }).toBe(PLATE_FRAMES);
    // The nearer (second) layer covers the first: the picture's middle is blue.
    const colour = await page.evaluate(async () => (await (await fetch('/api/pixel/join/street/5?x=155&y=115')).json()) as { coded: number[] });
    expect(colour.coded[2]!).toBeGreaterThan(1.5 * colour.coded[0]!);
    await narrow('layers');
  });
});
