/**
 * A production on real, openly licensed clips, from film to reel: scanned, picked, measured, briefed, a take judged,
 * joined, inspected, cut and delivered; the reel is read by ffprobe where it is there. The clips stand beside the
 * checkout in ../shared/footage and are no part of the project: without them this is skipped, loudly.
 *
 * Film: Tears of Steel (CC BY 3.0), first frames of new shots noted by eye. Take: a
 * person before an unevenly lit wall (CC0).
 */
import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { addFilm, addTake } from '../src/book/add-media.js';
import { Book } from '../src/book/book.js';
import { newProduction } from '../src/book/new-production.js';
import { doJob } from '../src/jobs/run-job.js';
import { probe } from '../src/media/probe.js';

const FOOTAGE = fileURLToPath(new URL('../../shared/footage', import.meta.url));
const FILM = join(FOOTAGE, 'tears-of-steel-30s.mp4');
const TAKE = join(FOOTAGE, 'green-wall-person.mp4');
const there = existsSync(FILM) && existsSync(TAKE);
if (!there)
  console.warn(
    '\n*** SKIPPED: the real clips (../shared/footage) are not beside the checkout; ' +
      'the production on real footage was not made ***\n',
  );
const SHOTS = [72, 438, 482, 567, 667, 699];

describe.skipIf(!there)('a production on real footage', () => {
  let folder: string, book: Book;
  beforeAll(() => {
    folder = process.env['PLATEWRIGHT_KEEP'] ?? mkdtempSync(join(tmpdir(), 'platewright-real-'));
    book = Book.create(join(folder, 'production'));
    book.edit('start', (e) => e.put('production', newProduction('On the bridge')));
  });
  afterAll(() => {
    book?.close();
    if (process.env['PLATEWRIGHT_KEEP'] === undefined) rmSync(folder, { recursive: true, force: true });
  });

  it('scans the film and finds the shots that an eye finds', async () => {
    await addFilm(book, FILM, {
      id: 'film',
      title: 'Tears of Steel',
      credit: 'its makers, as named beside the clip',
      licence: 'CC BY 3.0',
    });
    await doJob(book, 'scan', 'film', {});
    const starts = book.need('film', 'film').cutList!.shots.map((s) => s.in);
    for (const s of SHOTS)
      expect(
        starts.some((x) => Math.abs(x - s) <= 2),
        `the shot that starts at ${s}; found ${starts.join(', ')}`,
      ).toBe(true);
    // The glow about 596 to 606 and the whip about 612 to 628 are no cuts.
    expect(starts.filter((x) => x > 590 && x < 640)).toEqual([]);
  });

  it("measures the plate: a camera that stands, film grain, and what it can't know with a reason", async () => {
    book.edit('pick', (e) =>
      e.put('pick', {
        id: 'bridge',
        film: 'film',
        title: 'Between them on the bridge',
        in: 84,
        out: 116,
        order: 1,
        note: '',
        action: 'looks from one to the other',
        marks: {
          frame: 0,
          marks: [
            { kind: 'upright', foot: [246, 330], top: [253, 35], height: 1.8 },
            { kind: 'stand', ground: [318, 250], top: [318, 92], height: 0.9 },
          ],
        },
      }),
    );
    await doJob(book, 'measure', 'bridge', {});
    const m = book.need('measures', 'bridge').measures;
    expect(m.camera?.move).toBe('static');
    expect(m.camera?.focalPx.value).toBeNull();
    expect(m.camera?.focalPx.reason).toMatch(/./);
    const luma = m.look!.grain.table.filter((r) => r.channel === 'luma' && r.samples > 0);
    expect(luma.length).toBeGreaterThan(2);
    for (const r of luma) expect(r.sigma).toBeLessThan(0.05);
    // Rails and clothes, out of focus trees: few straight edges. Either it was measured, or it is said why not.
    const spread = m.look!.edgeSpreadPx;
    if (spread.value === null) expect(spread.reason).toMatch(/edge/);
    else expect(spread.value).toBeGreaterThan(0.8);
    await doJob(book, 'brief', 'bridge', { days: 5 });
    expect(JSON.stringify(book.need('brief', 'bridge').brief)).toMatch(/upright|view|lens/);
  });

  it('judges the take, joins it, inspects the join', async () => {
    await addTake(book, TAKE, {
      id: 'wall',
      pick: 'bridge',
      marks: { frame: 0, marks: [{ kind: 'performer', ground: [150, 192], top: [150, 0], height: 0.9 }] },
    });
    await doJob(book, 'verdict', 'wall', {});
    const verdict = book.need('take', 'wall').verdict!;
    expect(['fits', 'mendable', 'shoot again']).toContain(verdict.verdict);
    // The wall is lit unevenly and the take has 192 rows for a plate that asks for about 158.
    expect(verdict.matters.find((x) => x.matter === 'size')?.measured).toBeGreaterThan(1);
    await doJob(book, 'join', 'bridge', { take: 'wall', quality: 'fast' });
    const join = book.need('join', 'bridge');
    expect(join.render!.frames).toBe(32);
    await doJob(book, 'inspect', 'bridge', {});
    expect(book.need('join', 'bridge').inspection!.matters.length).toBeGreaterThan(9);
  });

  it('delivers a reel that reads back with the right rate, size, colour and sound', async () => {
    book.edit('cut', (e) =>
      e.put('cut', {
        id: 'cut',
        music: null,
        captions: [],
        credits: [],
        thanks: [],
        entries: [
          { kind: 'film', film: 'film', in: 40, out: 64, soundLead: 0, soundTail: 0 },
          { kind: 'pick', pick: 'bridge', trimIn: 0, trimOut: 0, soundLead: 0, soundTail: 0, soundFrom: 'film' },
        ],
      }),
    );
    await doJob(book, 'deliver', '', {});
    const delivery = book.list('delivery')[0]!;
    const reel = book.mediaPath(delivery.files.find((f) => f.endsWith('.mp4'))!);
    const info = await probe(reel);
    expect(info.video).toMatchObject({ widthPx: 640, heightPx: 268, rate: { num: 24, den: 1 }, frameCount: 56 });
    const run = spawnSync(
      'ffprobe',
      [
        '-v',
        'error',
        '-show_entries',
        'stream=codec_type,codec_name,width,height,r_frame_rate,color_space,' +
          'color_transfer,color_primaries,color_range,sample_rate,nb_frames',
        '-of',
        'json',
        reel,
      ],
      { encoding: 'utf8' },
    );
    if (run.error !== undefined) {
      console.warn("*** ffprobe is not on this machine: the reel was read by the project's own door alone ***");
      return;
    }
    const streams = (JSON.parse(run.stdout) as { streams: Record<string, string | number>[] }).streams;
    expect(streams.find((s) => s['codec_type'] === 'video')).toMatchObject({
      codec_name: 'h264',
      width: 640,
      height: 268,
      r_frame_rate: '24/1',
      color_space: 'bt709',
      color_transfer: 'bt709',
      color_primaries: 'bt709',
      color_range: 'tv',
      nb_frames: '56',
    });
    expect(streams.find((s) => s['codec_type'] === 'audio')).toMatchObject({ codec_name: 'aac', sample_rate: '48000' });
  });
});
