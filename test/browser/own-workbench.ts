/**
 * A workbench that a single test has for itself: a production with a small film of two shots, made once a file of
 * tests and copied for each, with its own service and page. A step that fails or is slow is that test's alone.
 */
import { cpSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { expect } from 'vitest';
import { addFilm } from '../../src/book/add-media.js';
import { Book } from '../../src/book/book.js';
import { newProduction } from '../../src/book/new-production.js';
import { doJob } from '../../src/jobs/run-job.js';
import type { Mark } from '../../src/plate/marks/marks.js';
import type { BookState } from '../../src/server/api-types.js';
import { listen } from '../../src/server/listen.js';
import { launchChromium } from './chromium.js';
import { makeClip } from './made-clip.js';

/** Size of the film's picture, px; frames of its two shots, a half each. */
export const FILM = { widthPx: 320, heightPx: 180, frames: 48 } as const;

export interface Workbench {
  readonly page: Page;
  /** Address of the service, with its closing slash. */
  readonly base: string;
  /** Holds `film.mp4` and the production. */
  readonly folder: string;
  book(): Promise<BookState>;
  /** Waits until the page shows the book as it is: what was asked for and is in the book can be pressed on then. */
  caughtUp(): Promise<void>;
  /** A place on the viewer's picture, in its pixels, as one on the page. */
  onPicture(x: number, y: number): Promise<[number, number]>;
  close(): Promise<void>;
}

/** Waits until the page shows the state of the book that `pulse` tells. */
export async function caughtUp(page: Page, pulse: () => Promise<string>): Promise<void> {
  await expect
    .poll(async () => (await page.locator('.desk').getAttribute('data-pulse')) === (await pulse()))
    .toBe(true);
}

export class Workbenches {
  private readonly template: string;
  private readonly browser: Browser;

  private constructor(template: string, browser: Browser) {
    this.template = template;
    this.browser = browser;
  }

  /** Frames whose brightness tells their number: (40 + 4 n) of 255 in the film's left half. */
  static async prepare(): Promise<Workbenches> {
    const template = mkdtempSync(join(tmpdir(), 'platewright-browser-'));
    await makeClip(
      join(template, 'film.mp4'),
      FILM.frames,
      (x, y, f) =>
        x < 160
          ? (40 + 4 * f) / 255
          : f < 24
            ? 0.15 + 0.5 * (((x >> 4) + (y >> 4)) & 1)
            : 0.2 + (0.6 * (((x >> 3) * 7 + (y >> 5) * 3) % 5)) / 5,
      { crf: 4 },
    );
    const book = Book.create(join(template, 'production'));
    book.edit('start', (e) => e.put('production', newProduction('Browser walk')));
    await addFilm(book, join(template, 'film.mp4'), { title: 'Film', credit: 'the test' });
    await doJob(book, 'scan', 'film', {});
    book.close();
    return new Workbenches(template, await launchChromium());
  }

  /**
   * A workbench of its own.
   * @param marks of a pick `shot-1` of the film's first shot; none is picked where they are left out
   */
  async open(marks?: readonly Mark[]): Promise<Workbench> {
    const folder = mkdtempSync(join(tmpdir(), 'platewright-bench-'));
    cpSync(this.template, folder, { recursive: true });
    const production = join(folder, 'production');
    if (marks !== undefined) {
      const book = Book.open(production);
      book.edit('pick Shot 1', (e) =>
        e.put('pick', {
          id: 'shot-1',
          film: 'film',
          title: 'Shot 1',
          in: 0,
          out: FILM.frames / 2,
          order: 1,
          note: '',
          marks: { frame: 0, marks: [...marks] },
          action: '',
        }),
      );
      book.close();
    }
    const service = await listen(production, { port: 0 });
    const page = await this.browser.newPage({ viewport: { width: 1280, height: 860 } });
    page.setDefaultTimeout(120_000);
    const base = `http://localhost:${service.port}/`;
    await page.goto(marks === undefined ? base : `${base}#/sheet/shot-1`);
    const book = async () => (await (await fetch(`${base}api/book`)).json()) as BookState;
    return {
      page,
      base,
      folder,
      book,
      caughtUp: () => caughtUp(page, async () => (await book()).pulse),
      onPicture: async (x, y) => {
        const glass = (await page.locator('.sheet-of-glass svg').boundingBox())!;
        return [glass.x + (glass.width * x) / FILM.widthPx, glass.y + (glass.height * y) / FILM.heightPx];
      },
      close: async () => {
        await page.close();
        await service.close();
        rmSync(folder, { recursive: true, force: true });
      },
    };
  }

  async close(): Promise<void> {
    await this.browser.close();
    rmSync(this.template, { recursive: true, force: true });
  }
}
