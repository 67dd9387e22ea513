/**
 * Proposals over HTTP, of pictures whose truth is drawn: posts in a plate, a board of green that does not fill a take's
 * picture, and an even grey in which there is nothing.
 */
import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, it } from 'vitest';
import { addFilm, addTake } from '../book/add-media.js';
import { Book } from '../book/book.js';
import { newProduction } from '../book/new-production.js';
import { RandomStream } from '../core/random.js';
import { rate } from '../core/rational.js';
import { createPicture, plane } from '../image/picture.js';
import { VideoWriter } from '../media/video-writer.js';
import type { Mark } from '../plate/marks/marks.js';
import { listen, type RunningService } from './listen.js';

const W = 400;
const H = 240;
const FRAMES = 6;
/** Left edges of the posts, 14 px wide, from the 20th row to the 200th. */
const POSTS = [70, 190, 320];
/** The green board: left, top, right, bottom. */
const BOARD = [80, 30, 340, 200] as const;
type Colour = readonly [number, number, number];
const GREY: Colour = [0.45, 0.45, 0.45];

let folder: string;
let service: RunningService;
beforeAll(async () => {
  folder = mkdtempSync(join(tmpdir(), 'platewright-proposals-'));
  const post = (x: number, y: number): Colour =>
    POSTS.some((p) => x >= p && x < p + 14) && y >= 20 && y < 200 ? [0.85, 0.85, 0.85] : GREY;
  const board = (x: number, y: number): Colour =>
    x >= BOARD[0] && x < BOARD[2] && y >= BOARD[1] && y < BOARD[3] ? [0.15, 0.65, 0.2] : GREY;
  await film('posts.mp4', post);
  await film('even.mp4', () => GREY);
  await film('board.mp4', board);
  const book = Book.create(join(folder, 'production'));
  book.edit('start', (e) => e.put('production', newProduction('Proposals')));
  for (const [k, title] of ['posts', 'even'].entries()) {
    await addFilm(book, join(folder, `${title}.mp4`), { title });
    const span = { in: 0, out: FRAMES, order: k, note: '', action: '' };
    book.edit('pick', (e) => e.put('pick', { id: title, film: title, title, ...span, marks: { frame: 0, marks: [] } }));
  }
  await addTake(book, join(folder, 'board.mp4'), { pick: 'posts' });
  await addTake(book, join(folder, 'even.mp4'), { pick: 'even', id: 'bare' });
  book.close();
  service = await listen(join(folder, 'production'), { port: 0 });
});
afterAll(async () => {
  await service.close();
  rmSync(folder, { recursive: true, force: true });
});

async function film(name: string, at: (x: number, y: number) => Colour): Promise<void> {
  const w = await VideoWriter.open(join(folder, name), {
    widthPx: W,
    heightPx: H,
    rate: rate(24),
    codec: 'h264',
    crf: 8,
  });
  const random = new RandomStream(4);
  for (let f = 0; f < FRAMES; f++) {
    const p = createPicture(W, H, 3);
    for (let c = 0; c < 3; c++)
      for (let i = 0; i < W * H; i++) plane(p, c)[i] = at(i % W, Math.floor(i / W))[c]! + 0.004 * random.normal();
    await w.writeCoded(p);
  }
  await w.close();
}

async function get<T>(path: string): Promise<T> {
  const r = await fetch(`http://localhost:${service.port}${path}`);
  expect(r.status).toBe(200);
  return (await r.json()) as T;
}
const proposals = async (of: string): Promise<{ mark: Mark; why: string }[]> =>
  (await get<{ proposals: { mark: Mark; why: string }[] }>(`/api/propose-marks/${of}`)).proposals;

it('proposes the posts of a plate on the frame that was asked for, and puts no mark', async () => {
  const found = await proposals('plate/posts/2');
  const uprights = found.map((p) => p.mark).filter((m) => m.kind === 'upright');
  expect(uprights).toHaveLength(POSTS.length);
  for (const x of POSTS) {
    const at = uprights.find((m) => Math.abs(m.foot[0] - x) < 16);
    expect(at, `post at ${x}`).toBeDefined();
    expect(at!.frame).toBe(2);
    expect(Math.abs(at!.foot[1] - 200)).toBeLessThan(12);
    expect(Math.abs(at!.top[1] - 20)).toBeLessThan(12);
  }
  for (const p of found) expect(p.why).toMatch(/\w+ \w+/);
  const book = await get<{ picks: { marks: { marks: unknown[] } }[] }>('/api/book');
  expect(book.picks.flatMap((p) => p.marks.marks)).toEqual([]);
});

it('proposes the useful part of a screen that ends within the picture', async () => {
  const screen = (await proposals('take/board/1')).find((p) => p.mark.kind === 'screen')?.mark;
  if (screen?.kind !== 'screen') throw new Error('no screen was proposed');
  expect(screen.frame).toBe(1);
  const xs = screen.polygon.map((p) => p[0]);
  const ys = screen.polygon.map((p) => p[1]);
  const sides = [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  // Within the board, and not much smaller.
  for (const [k, side] of sides.entries()) expect(Math.abs(side - BOARD[k]!), `side ${k}`).toBeLessThan(20);
});

it('proposes nothing where there is nothing, and says of a take without a screen why', async () => {
  expect(await proposals('plate/even/0')).toEqual([]);
  expect(await proposals('take/bare/0')).toEqual([]);
  const screen = await get<{ proposals: unknown[]; why: string }>('/api/propose-screen/bare');
  expect(screen.proposals).toEqual([]);
  expect(screen.why).toMatch(/screen/);
});
