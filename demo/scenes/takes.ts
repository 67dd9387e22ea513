// The takes made at home: for each pick what fits, and for some of them one thing gone wrong.

import { lookAt, sunFrom, tiltDeg, headingDeg, aim, type Camera } from './camera.js';
import { middle, needed, PICKS, type Pick } from './guests.js';
import { rabbit, RABBIT_HEIGHT, type RabbitPose } from './rabbit.js';
import { wander } from './random.js';
import { CONDUCTOR_TURN, conductorYaw } from './street-shots.js';
import { EVEN, type Screen } from './take-scene.js';
import { ease, lerp, type Vec3 } from './vector.js';

/** Frames before and after the pick that a take should have. */
export const HANDLE_FRAMES = 6;

export type Fault =
  | 'none'
  | 'light from the wrong side'
  | 'camera looks down too steeply'
  | 'turning too slowly'
  | 'uneven screen'
  | 'soft focus'
  | 'feet out of frame';

export interface Take {
  readonly id: string;
  readonly pick: string;
  readonly what: string;
  readonly fault: Fault;
  /** The matter that a verdict should name, and the expected verdict over all. */
  readonly matter: string | null;
  readonly verdict: 'fits' | 'mendable' | 'shoot again';
  readonly use: 'performer' | 'patch' | 'double';
  readonly frames: number;
  readonly rate: string;
  readonly camera: Camera;
  readonly sunAzimuthDeg: number;
  readonly sunElevationDeg: number;
  readonly sun: Vec3;
  readonly screen: Screen;
  readonly wallTurnDeg: number;
  readonly softnessPx: number;
  readonly yaw: (f: number) => number;
  readonly pose: (f: number) => RabbitPose;
  readonly seed: number;
}

interface Wish {
  readonly id: string;
  readonly pick: string;
  readonly what: string;
  readonly fault?: Fault;
  readonly matter?: string;
  readonly verdict?: Take['verdict'];
  readonly use?: Take['use'];
  readonly frames?: number;
  readonly viewOff?: number;
  readonly azimuthOff?: number;
  readonly azimuth?: number;
  readonly elevationOff?: number;
  readonly distance?: number;
  readonly focalPx?: number;
  readonly tiltOff?: number;
  readonly screen?: Screen;
  readonly wallTurnDeg?: number;
  readonly softnessPx?: number;
  readonly yaw?: (f: number) => number;
  readonly act?: (f: number) => Partial<RabbitPose>;
  readonly seed: number;
}

const blinkAt = (f: number, at: number): number => Math.max(0, 1 - Math.abs(f - at) / 2.2);

function make(w: Wish): Take {
  const pick = PICKS.find((p) => p.id === w.pick) as Pick;
  const mid = Math.round((pick.in + pick.out - 1) / 2);
  const need = needed(pick, mid) as { viewElevationDeg: number; sunAzimuthDeg: number; sunElevationDeg: number };
  const distance = w.distance ?? 2.4;
  const focalPx = w.focalPx ?? 1300;
  const elevation = ((need.viewElevationDeg + (w.viewOff ?? 0)) * Math.PI) / 180;
  const target = middle([0, 0, 0]);
  const level = lookAt(
    [0.04, target[1] + distance * Math.sin(elevation), -distance * Math.cos(elevation)],
    target,
    focalPx,
  );
  const camera = w.tiltOff ? aim(level.position, headingDeg(level), tiltDeg(level) + w.tiltOff, focalPx) : level;
  const sunAzimuthDeg = w.azimuth ?? need.sunAzimuthDeg + (w.azimuthOff ?? 0);
  const sunElevationDeg = need.sunElevationDeg + (w.elevationOff ?? 0);
  const frames = w.frames ?? pick.out - pick.in + 2 * HANDLE_FRAMES;
  const guestYaw = pick.guest?.yaw ?? ((): number => 0);
  const yaw = w.yaw ?? ((f: number): number => guestYaw(f - HANDLE_FRAMES + pick.in) + 2.2 * wander(w.seed, f / 24));
  const pose = (f: number): RabbitPose => {
    const t = f / 24;
    return {
      position: [0, 0, 0],
      yaw: yaw(f),
      headYaw: 7 * wander(w.seed + 1, t),
      headPitch: 4 * wander(w.seed + 2, t),
      headRoll: 3 * wander(w.seed + 3, t),
      earLeft: 4 * wander(w.seed + 4, t),
      earRight: 4 * wander(w.seed + 5, t),
      breath: Math.sin(2 * Math.PI * 1.3 * t),
      paws: 0.3 * wander(w.seed + 6, t),
      blink: Math.max(blinkAt(f, 9 + (w.seed % 17)), blinkAt(f, 31 + (w.seed % 13))),
      ...w.act?.(f),
    };
  };
  return {
    id: w.id,
    pick: w.pick,
    what: w.what,
    fault: w.fault ?? 'none',
    matter: w.matter ?? null,
    verdict: w.verdict ?? 'fits',
    use: w.use ?? 'performer',
    frames,
    rate: '24/1',
    camera,
    sunAzimuthDeg,
    sunElevationDeg,
    sun: sunFrom(camera, sunAzimuthDeg, sunElevationDeg),
    screen: w.screen ?? EVEN,
    wallTurnDeg: w.wallTurnDeg ?? 0,
    softnessPx: w.softnessPx ?? 0.5,
    yaw,
    pose,
    seed: w.seed,
  };
}

const SLOW = 0.6;
const slowTurn = (CONDUCTOR_TURN.last - CONDUCTOR_TURN.first) / SLOW;
const yawn = (f: number): number => ease((f - 12) / 9) * (1 - ease((f - 29) / 8));

export const TAKES: readonly Take[] = [
  make({
    id: 'platform-1',
    pick: 'platform',
    what: 'sits and looks about; light and view as asked',
    viewOff: 1.2,
    azimuthOff: 4,
    elevationOff: -2,
    seed: 110,
  }),
  make({
    id: 'platform-2',
    pick: 'platform',
    what: 'the same, but the window is on the other side',
    fault: 'light from the wrong side',
    matter: 'lightAzimuth',
    verdict: 'shoot again',
    azimuth: -85,
    wallTurnDeg: 32,
    viewOff: 0.8,
    seed: 121,
  }),
  make({
    id: 'platform-3',
    pick: 'platform',
    what: 'camera on the table and tilted down',
    fault: 'camera looks down too steeply',
    matter: 'viewElevation',
    verdict: 'shoot again',
    viewOff: 14,
    azimuthOff: -3,
    elevationOff: 1,
    seed: 133,
  }),
  make({
    id: 'conductor-1',
    pick: 'conductor',
    what: 'turned on the turntable with the ticking cue',
    viewOff: 1.0,
    azimuthOff: 3,
    elevationOff: 2,
    distance: 2.5,
    seed: 140,
    yaw: (f) => conductorYaw(f - HANDLE_FRAMES + 4) + 0.8 * wander(140, f / 24),
    act: (f) => ({ headYaw: 3 * wander(141, f / 24) }),
  }),
  make({
    id: 'conductor-2',
    pick: 'conductor',
    what: 'turned at three fifths of the rate',
    fault: 'turning too slowly',
    matter: 'turnRate',
    verdict: 'mendable',
    viewOff: -0.8,
    azimuthOff: 4,
    elevationOff: 1,
    distance: 2.5,
    seed: 150,
    frames: Math.round(slowTurn) + 9,
    yaw: (f) => lerp(CONDUCTOR_TURN.from, CONDUCTOR_TURN.to, ease((f - 4) / slowTurn)) + 0.8 * wander(150, f / 24),
    act: (f) => ({ headYaw: 3 * wander(151, f / 24) }),
  }),
  make({
    id: 'pan-1',
    pick: 'pan',
    what: 'sits proud, ears up and down',
    viewOff: 0.9,
    azimuthOff: -5,
    elevationOff: 3,
    seed: 160,
    act: (f) => ({
      earLeft: 26 * ease((f - 14) / 5) * (1 - ease((f - 30) / 6)),
      earRight: 12 * ease((f - 18) / 5) * (1 - ease((f - 34) / 6)),
    }),
  }),
  make({
    id: 'pan-2',
    pick: 'pan',
    what: 'cloth not ironed, lamp on one side only',
    fault: 'uneven screen',
    matter: 'screen',
    verdict: 'shoot again',
    viewOff: -1.1,
    azimuthOff: 4,
    elevationOff: -1,
    screen: { fallOff: 0.3, folds: 1 },
    seed: 170,
  }),
  make({
    id: 'punch-1',
    pick: 'punch',
    what: 'leans in and sniffs the ticket',
    viewOff: 0.6,
    azimuthOff: 3,
    elevationOff: -2,
    distance: 2.0,
    focalPx: 1420,
    seed: 180,
    act: (f) => ({
      headPitch: -9 * ease((f - 10) / 8) + 2 * Math.sin(f * 1.6) * ease((f - 16) / 4),
      paws: 0.7 * ease((f - 12) / 8),
    }),
  }),
  make({
    id: 'window-1',
    pick: 'window',
    what: 'looks out, mouth shut',
    viewOff: 1.1,
    azimuthOff: 4,
    elevationOff: 7,
    seed: 190,
  }),
  make({
    id: 'window-2',
    pick: 'window',
    what: 'the big yawn, wanted on the head of window-1',
    use: 'patch',
    viewOff: 1.1,
    azimuthOff: 4,
    elevationOff: 7,
    seed: 190,
    act: (f) => ({ mouth: yawn(f), headPitch: 11 * yawn(f), blink: yawn(f) > 0.4 ? 1 : 0 }),
  }),
  make({
    id: 'railing-1',
    pick: 'railing',
    what: 'sits behind an imagined railing',
    viewOff: 1.0,
    azimuthOff: -4,
    elevationOff: -3,
    seed: 200,
  }),
  make({
    id: 'railing-2',
    pick: 'railing',
    what: 'the phone focused on the wall',
    fault: 'soft focus',
    matter: 'focus',
    verdict: 'shoot again',
    viewOff: 0.5,
    azimuthOff: 3,
    elevationOff: 2,
    softnessPx: 3.4,
    seed: 210,
  }),
  make({
    id: 'railing-3',
    pick: 'railing',
    what: 'framed too high',
    fault: 'feet out of frame',
    matter: 'edges',
    verdict: 'shoot again',
    viewOff: -0.9,
    azimuthOff: 2,
    elevationOff: -1,
    tiltOff: 4.6,
    seed: 220,
  }),
];

/** The performer of a take in one frame, as scene text. */
export const performer = (t: Take, f: number): string => rabbit(t.pose(f));

/** Foot of the peg: on the side that the shadows fall to, clear of her own. */
export function pegOf(t: Take): Vec3 {
  const side = Math.sin((t.sunAzimuthDeg * Math.PI) / 180) > 0 ? -1 : 1;
  return [side * 0.4, 0, -0.14];
}

/** Points that hold her and her shadow. */
export const PERFORMER_HALF_WIDTH = 0.25;
export { RABBIT_HEIGHT };
