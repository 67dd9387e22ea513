// Makes the demo's media from the scenes: npx tsx demo/scenes/make.ts [--only NAME] [--quality
// draft|final] [--cache DIR] [--at-once N] [--trace-only] Finished windows of frames are kept in the
// cache, so that a stopped run goes on where it was.

import { mkdirSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';

import { HEIGHT, WIDTH } from './camera.js';
import { encode } from './encode.js';
import { makeExtras } from './extras.js';
import { EDIT, FILM_FRAMES, FILM_RATE, filmFrame, lookahead } from './film.js';
import { HAND_FRAMES, HAND_RATE, handShot, takeFrame, takeShot } from './home.js';
import { makePaper } from './paper.js';
import { makePoster } from './poster.js';
import { frameOf } from './shot.js';
import { makeSound } from './sound.js';
import { TAKES } from './takes.js';
import { type TraceOptions } from './trace.js';
import { writeTruth } from './write-truth.js';

const here = dirname(fileURLToPath(import.meta.url));
const demo = resolve(here, '..');

function flag(name: string): string | undefined {
  const i = process.argv.indexOf(`--${name}`);
  return i < 0 ? undefined : process.argv[i + 1];
}

const only = flag('only');
const atOnce = Number(flag('at-once') ?? 2);
const draft = flag('quality') === 'draft';
const options: TraceOptions = {
  cache: resolve(flag('cache') ?? join(demo, '.frames')),
  scale: draft ? 1 : 1.5,
  kept: new Map(),
};
const traceOnly = process.argv.includes('--trace-only');
const media = join(demo, 'media');
mkdirSync(join(media, 'takes'), { recursive: true });
mkdirSync(options.cache, { recursive: true });

const wanted = (id: string): boolean => only === undefined || only.split(',').includes(id);
const started = Date.now();
const say = (what: string): void => {
  process.stderr.write(`${((Date.now() - started) / 1000).toFixed(0).padStart(5)} s  ${what}\n`);
};

async function drain(frames: AsyncIterable<Uint8Array>): Promise<void> {
  for await (const frame of frames) if (frame.length === 0) throw new Error('empty frame');
}

for (const j of EDIT) {
  if (only !== j.shot.id && !(traceOnly && wanted('film'))) continue;
  say(`shot ${j.shot.id}: ${j.shot.frames} frames`);
  await drain(
    lookahead(j.shot.frames, atOnce, async (f) => {
      await frameOf(j.shot, f, options);
      return new Uint8Array(1);
    }),
  );
}
if (!traceOnly && (only === undefined || only === 'film')) {
  const tune = join(media, 'harrow-hill-tune.wav');
  const sound = join(options.cache, 'film-sound.wav');
  makeSound(sound, tune, FILM_FRAMES / 24);
  say(`film: ${FILM_FRAMES} frames`);
  await encode(
    join(media, 'last-tram-to-harrow-hill.mp4'),
    lookahead(FILM_FRAMES, atOnce, (f) => filmFrame(f, options)),
    { width: WIDTH, height: HEIGHT, rate: FILM_RATE, crf: 19, sound },
  );
}
for (const t of TAKES) {
  if (!wanted(t.id) && !wanted('takes')) continue;
  say(`take ${t.id}: ${t.frames} frames`);
  const shot = takeShot(t);
  // What is out of focus needs no fine rays.
  const rays = t.softnessPx > 2 ? { ...options, scale: 1 } : options;
  const frames = lookahead(t.frames, atOnce, (f) => takeFrame(shot, f, t.softnessPx, t.seed, rays));
  if (traceOnly) await drain(frames);
  else
    await encode(join(media, 'takes', `${t.id}.mp4`), frames, { width: WIDTH, height: HEIGHT, rate: t.rate, crf: 20 });
}
if (wanted('hand-1') || wanted('takes')) {
  say(`take hand-1: ${HAND_FRAMES} frames`);
  const frames = lookahead(HAND_FRAMES, atOnce, (f) => takeFrame(handShot, f, 0.5, 900, options));
  if (traceOnly) await drain(frames);
  else
    await encode(join(media, 'takes', 'hand-1.mp4'), frames, {
      width: WIDTH,
      height: HEIGHT,
      rate: HAND_RATE,
      crf: 20,
    });
}
if (!traceOnly && (wanted('poster') || wanted('takes'))) await makePoster(join(media, 'takes', 'poster.png'), options);
if (!traceOnly && (wanted('paper') || wanted('takes'))) await makePaper(join(media, 'takes', 'paper'));
if (!traceOnly && wanted('extras')) {
  say('extras');
  await makeExtras(demo, options, atOnce);
}
if (!traceOnly && (only === undefined || only === 'truth')) writeTruth(demo);
say('done');
