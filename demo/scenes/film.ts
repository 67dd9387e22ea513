// The film: its shots in order and how they are joined.

import { punchShot, windowShot } from './indoor-shots.js';
import { develop, filmFinish, print } from './look.js';
import { frameOf, type Shot } from './shot.js';
import { arrive, conductorShot, pan, platform } from './street-shots.js';
import { hillShot } from './hill-shot.js';
import { railingShot } from './railing-shot.js';
import { titleShot } from './title.js';
import { picture, type Picture, type TraceOptions } from './trace.js';

export interface Joint {
  readonly shot: Shot;
  readonly entry: 'start' | 'cut' | 'dissolve' | 'fade';
  /** Film frame of the shot's own frame 0. */
  readonly at: number;
  /** First film frame in which it shows, one past the last. */
  readonly in: number;
  readonly out: number;
  /** Film frames of a gradual entry, end exclusive. */
  readonly over?: readonly [number, number];
}

export const FADE_OUT = 8;
export const FADE_IN = 12;
export const DISSOLVE = 12;
export const FILM_RATE = '24/1';

/** The edit: everything joined by hard cuts but one fade through black and one dissolve. */
export const EDIT: readonly Joint[] = (() => {
  const order: readonly [Shot, Joint['entry']][] = [
    [titleShot, 'start'],
    [arrive, 'fade'],
    [platform, 'cut'],
    [pan, 'cut'],
    [punchShot, 'cut'],
    [conductorShot, 'cut'],
    [windowShot, 'cut'],
    [railingShot, 'cut'],
    [hillShot, 'dissolve'],
  ];
  const out: Joint[] = [];
  let at = 0;
  for (const [shot, entry] of order) {
    if (entry === 'dissolve') at -= DISSOLVE;
    const over: [number, number] | undefined =
      entry === 'dissolve' ? [at, at + DISSOLVE] : entry === 'fade' ? [at - FADE_OUT, at + FADE_IN] : undefined;
    out.push({ shot, entry, at, in: at, out: at + shot.frames, ...(over ? { over } : {}) });
    at += shot.frames;
  }
  return out;
})();

export const FILM_FRAMES = EDIT[EDIT.length - 1]?.out ?? 0;

function seedOf(id: string): number {
  let h = 2166136261;
  for (const c of id) h = Math.imul(h ^ c.charCodeAt(0), 16777619);
  return h >>> 0;
}

/** Display-linear picture of one film frame before grain. */
async function mixed(frame: number, o: TraceOptions): Promise<Picture> {
  let sum: Picture | undefined;
  for (const [i, j] of EDIT.entries()) {
    if (frame < j.in || frame >= j.out) continue;
    const f = frame - j.at;
    let weight = 1;
    if (j.entry === 'dissolve' && j.over && frame < j.over[1]) weight = (frame - j.over[0] + 1) / (DISSOLVE + 1);
    if (j.entry === 'fade' && j.over && frame < j.over[1]) weight = f / FADE_IN;
    const next = EDIT[i + 1];
    if (next?.entry === 'dissolve' && next.over && frame >= next.over[0])
      weight = 1 - (frame - next.over[0] + 1) / (DISSOLVE + 1);
    if (next?.entry === 'fade' && next.over && frame >= next.over[0])
      weight = 1 - (frame - next.over[0] + 1) / FADE_OUT;
    const p = develop(await frameOf(j.shot, f, o), filmFinish(j.shot.exposure));
    sum ??= picture(p.w, p.h);
    for (let k = 0; k < p.rgb.length; k++) sum.rgb[k] = (sum.rgb[k] ?? 0) + weight * (p.rgb[k] ?? 0);
  }
  if (!sum) throw new Error(`film frame ${frame} belongs to no shot`);
  return sum;
}

/** One printed film frame, 8-bit R'G'B'. */
export async function filmFrame(frame: number, o: TraceOptions): Promise<Uint8Array> {
  return print(await mixed(frame, o), filmFinish(), seedOf(`film ${frame}`));
}

/** Prints a picture of one shot with the film's finish and a grain of its own. */
export const printLikeFilm = (p: Picture, shot: Shot, key: string): Uint8Array =>
  print(develop(p, filmFinish(shot.exposure)), filmFinish(), seedOf(key));

/** Runs `make` over 0..count−1 with a few at work at a time, in order. */
export async function* lookahead(
  count: number,
  atOnce: number,
  make: (i: number) => Promise<Uint8Array>,
): AsyncGenerator<Uint8Array> {
  const going: Promise<Uint8Array>[] = [];
  for (let i = 0; i < count + atOnce; i++) {
    if (i < count) {
      const p = make(i);
      p.catch(() => undefined);
      going.push(p);
    }
    if (i >= atOnce - 1) {
      const first = going.shift();
      if (first) yield await first;
    }
  }
}
