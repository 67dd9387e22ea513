// Home takes as shots: what stands still is traced once, the performer in her own window.

import { aim, sunFrom } from './camera.js';
import { glovedHand } from './indoor-shots.js';
import { develop, phoneFinish, print } from './look.js';
import { rabbitDeclarations } from './rabbit.js';
import { wander } from './random.js';
import { frameOf, reachOf, type Shot } from './shot.js';
import { EVEN, homeSet } from './take-scene.js';
import { PERFORMER_HALF_WIDTH, performer, pegOf, RABBIT_HEIGHT, type Take } from './takes.js';
import { type TraceOptions } from './trace.js';
import { add, ease, n, type Vec3 } from './vector.js';

const hair = rabbitDeclarations();

/** A take as a shot of its own. */
export function takeShot(t: Take): Shot {
  return {
    id: t.id,
    what: t.what,
    frames: t.frames,
    how: 'still',
    exposure: 1,
    camera: () => t.camera,
    sun: t.sun,
    set: homeSet(t.sun, t.screen, pegOf(t), true, t.wallTurnDeg).replace(/^global_settings\{[^}]*\}\n/, ''),
    cast: (f) => hair + performer(t, f),
    reach: () => reachOf([0, 0, 0], PERFORMER_HALF_WIDTH, RABBIT_HEIGHT + 0.07, t.sun),
    truth: () => ({}),
  };
}

/** One printed frame of a take as the phone gives it. */
export async function takeFrame(
  shot: Shot,
  f: number,
  softnessPx: number,
  seed: number,
  o: TraceOptions,
): Promise<Uint8Array> {
  const finish = { ...phoneFinish(), softness: softnessPx };
  return print(develop(await frameOf(shot, f, o), finish), finish, seed * 1009 + f);
}

export const HAND_FRAMES = 48;
export const HAND_RATE = '30/1';
export const handCamera = aim([0.02, 0.36, -0.62], 2, -5, 900);
export const HAND_SUN_AZIMUTH = -50;
export const HAND_SUN_ELEVATION = 42;
const handSun = sunFrom(handCamera, HAND_SUN_AZIMUTH, HAND_SUN_ELEVATION);
/** The wrist in one frame: it comes in from the right, pinches, waits, goes. */
export function wristAt(f: number): Vec3 {
  const here = ease((f - 4) / 14) * (1 - ease((f - 38) / 9));
  return add([0.5 - 0.36 * here, 0.27 - 0.02 * here, 0], [0.003 * wander(61, f / 30), 0.004 * wander(62, f / 30), 0]);
}

/** The maker's own gloved hand on green, a body double for the conductor's. */
export const handShot: Shot = {
  id: 'hand-1',
  what: "the maker's own gloved hand reaches in from the right and pinches",
  frames: HAND_FRAMES,
  how: 'still',
  exposure: 1,
  camera: () => handCamera,
  sun: handSun,
  set: homeSet(handSun, EVEN, undefined, false).replace(/^global_settings\{[^}]*\}\n/, ''),
  cast: (f) => {
    const pinch = ease((f - 16) / 6) * (1 - ease((f - 32) / 7));
    const at = wristAt(f);
    return (
      `union{ ${glovedHand(0.25 + 0.7 * pinch)} rotate x*${n(-58 + 6 * wander(63, f / 30))} rotate z*8 ` +
      `translate <${at.map(n).join(',')}> }\n`
    );
  },
  reach: (f) => {
    const w = wristAt(f);
    return [
      add(w, [-0.2, -0.12, -0.08]),
      add(w, [0.45, 0.14, 0.1]),
      ...reachOf(add(w, [0.1, -w[1], 0.2]), 0.45, 0.42, handSun),
    ];
  },
  truth: (f) => ({ wrist: wristAt(f) }),
};
