// Truth pictures for one pick, kept small: the clean plate, the join as it should be, and a take's matte.

import { execFileSync, spawn, type ChildProcessByStdio } from 'node:child_process';
import { rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Writable } from 'node:stream';

import { HEIGHT, WIDTH, windowOf } from './camera.js';
import { encode } from './encode.js';
import { FILM_RATE, lookahead, printLikeFilm } from './film.js';
import { PICKS, type Guest, type Pick } from './guests.js';
import { develop, encode709, filmFinish } from './look.js';
import { RABBIT_HEIGHT, rabbit, rabbitDeclarations } from './rabbit.js';
import { background, frameOf, GLOBAL, reachOf, type Shot } from './shot.js';
import { HANDLE_FRAMES, performer, TAKES, type Take } from './takes.js';
import { trace, type TraceOptions } from './trace.js';

/** The rabbit alone on black and on white: the difference is what of the ground shows through. */
const ALONE = `${GLOBAL}light_source{<0,50,-50> rgb 0.4 shadowless parallel point_at 0}\n`;

/** The plate without the passenger, of the shot's first frame. */
async function writeClean(png: string, shot: Shot, o: TraceOptions): Promise<void> {
  const clean = develop(await background(shot, 0, o), filmFinish(shot.exposure));
  const bytes = Buffer.from(Uint8Array.from(clean.rgb, (x) => Math.round(255 * encode709(Math.min(1, x)))));
  const ppm = join(o.cache, 'clean.ppm');
  writeFileSync(ppm, Buffer.concat([Buffer.from(`P6\n${WIDTH} ${HEIGHT}\n255\n`), bytes]));
  execFileSync('ffmpeg', ['-v', 'error', '-y', '-i', ppm, '-pix_fmt', 'rgb24', png]);
  rmSync(ppm);
}

/** The pick with its guest as the join should be, with a fresh draw of grain. */
async function writeJoined(
  mp4: string,
  pick: Pick,
  guest: Guest,
  take: Take,
  o: TraceOptions,
  atOnce: number,
): Promise<void> {
  const { shot } = pick;
  const hair = rabbitDeclarations();
  const joined = lookahead(pick.out - pick.in, atOnce, async (f) => {
    const at = guest.at(f + pick.in);
    const pose = { ...take.pose(f + HANDLE_FRAMES), position: at };
    const p = await frameOf(
      shot,
      f + pick.in,
      o,
      hair + rabbit(pose),
      reachOf(at, 0.25, RABBIT_HEIGHT + 0.07, shot.sun),
    );
    return printLikeFilm(p, shot, `joined platform ${f}`);
  });
  await encode(mp4, joined, {
    width: WIDTH,
    height: HEIGHT,
    rate: FILM_RATE,
    crf: 20,
  });
}

/** One byte a pixel, lossless, the same bytes every time. */
function greyEncoder(path: string, rate: string): ChildProcessByStdio<Writable, null, null> {
  return spawn(
    'ffmpeg',
    [
      '-v',
      'error',
      '-y',
      '-f',
      'rawvideo',
      '-pix_fmt',
      'gray',
      '-s',
      `${WIDTH}x${HEIGHT}`,
      '-r',
      rate,
      '-i',
      '-',
      '-c:v',
      'ffv1',
      '-level',
      '3',
      '-g',
      '1',
      '-fflags',
      '+bitexact',
      '-flags:v',
      '+bitexact',
      path,
    ],
    { stdio: ['pipe', 'inherit', 'inherit'] },
  );
}

/** How much of each pixel the performer of a take fills: what of a white ground shows through is not its own. */
async function writeMatte(mkv: string, take: Take, o: TraceOptions, atOnce: number): Promise<void> {
  const hair = rabbitDeclarations();
  const at = windowOf(take.camera, reachOf([0, 0, 0], 0.25, RABBIT_HEIGHT + 0.07, [0, 1, 0]), 12);
  const part = join(o.cache, 'matte.mkv');
  const child = greyEncoder(part, take.rate);
  const done = new Promise<void>((ok, no) =>
    child.on('close', (code) => (code === 0 ? ok() : no(new Error(`ffmpeg ended with ${code}`)))),
  );
  for await (const frame of lookahead(take.frames, atOnce, async (f) => {
    // Without the mirror of the eyes, which would show the ground.
    const body = (hair + performer(take, f)).replaceAll(' reflection 0.04', '');
    const dark = await trace(`${ALONE}background{rgb 0}\n${body}`, take.camera, at, o);
    const bright = await trace(`${ALONE}background{rgb 1}\n${body}`, take.camera, at, o);
    const grey = new Uint8Array(WIDTH * HEIGHT);
    for (let y = 0; y < at.h; y++) {
      for (let x = 0; x < at.w; x++) {
        const q = (y * at.w + x) * 3 + 1;
        grey[(at.y + y) * WIDTH + at.x + x] = Math.round(
          255 * Math.min(1, Math.max(0, 1 - ((bright.rgb[q] ?? 0) - (dark.rgb[q] ?? 0)))),
        );
      }
    }
    return grey;
  })) {
    if (!child.stdin.write(frame)) await new Promise((ok) => child.stdin.once('drain', ok));
  }
  child.stdin.end();
  await done;
  execFileSync('cp', [part, mkv]);
}

/** Writes truth/platform-clean.png, truth/platform-joined.mp4 and truth/takes/platform-1-matte.mkv. */
export async function makeExtras(demo: string, o: TraceOptions, atOnce: number): Promise<void> {
  const pick = PICKS.find((p) => p.id === 'platform');
  const take = TAKES.find((t) => t.id === 'platform-1');
  if (!pick?.guest || !take) throw new Error('the platform pick is gone');
  const truth = join(demo, 'truth');
  await writeClean(join(truth, 'platform-clean.png'), pick.shot, o);
  await writeJoined(join(truth, 'platform-joined.mp4'), pick, pick.guest, take, o, atOnce);
  await writeMatte(join(truth, 'takes', 'platform-1-matte.mkv'), take, o, atOnce);
}
