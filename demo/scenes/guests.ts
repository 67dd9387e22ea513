// Where Clementine belongs in each pick: her place, size and yaw in the film's set, frame by frame.

import { project, sunAngles, viewFrom, type Camera } from './camera.js';
import { pane, punchShot, WINDOW_SILL_Y, windowShot } from './indoor-shots.js';
import { ofPerson, SHOULDER_SEAT } from './people.js';
import { RABBIT_HEIGHT } from './rabbit.js';
import { type Shot } from './shot.js';
import { arrive, conductorShot, conductorYaw, pan, platform } from './street-shots.js';
import { railingShot } from './railing-shot.js';
import { add, type Vec3 } from './vector.js';

export interface Guest {
  readonly at: (f: number) => Vec3;
  readonly yaw: (f: number) => number;
}

export interface Pick {
  readonly id: string;
  readonly title: string;
  readonly shot: Shot;
  /** First and one past the last frame of the pick within its shot. */
  readonly in: number;
  readonly out: number;
  readonly order: number;
  readonly needs: readonly string[];
  readonly guest?: Guest;
}

const fixed = (p: Vec3, yaw: number): Guest => ({ at: () => p, yaw: () => yaw });

export const PICKS: readonly Pick[] = [
  { id: 'poster', title: 'Clementine is famous already', shot: arrive, in: 14, out: 58, order: 1, needs: ['ride'] },
  {
    id: 'platform',
    title: 'Clementine waits for the tram',
    shot: platform,
    in: 8,
    out: 44,
    order: 2,
    needs: ['ground', 'light'],
    guest: fixed([-0.45, 0, -0.2], -24),
  },
  {
    id: 'pan',
    title: 'She was here first',
    shot: pan,
    in: 4,
    out: 44,
    order: 3,
    needs: ['erase', 'ground'],
    guest: fixed([-0.2, 0, 1.3], -14),
  },
  {
    id: 'punch',
    title: 'One single to Harrow Hill',
    shot: punchShot,
    in: 6,
    out: 40,
    order: 4,
    needs: ['widen', 'light'],
    guest: fixed([-0.53, 0, 0.75], -34),
  },
  {
    id: 'conductor',
    title: 'Promoted to inspector',
    shot: conductorShot,
    in: 4,
    out: 56,
    order: 5,
    needs: ['ride', 'turn'],
    guest: {
      at: (f) => ofPerson({ position: [-0.08, 0, 1.7], yaw: conductorYaw(f) }, SHOULDER_SEAT),
      yaw: conductorYaw,
    },
  },
  {
    id: 'window',
    title: 'The yawn that stopped the tram',
    shot: windowShot,
    in: 6,
    out: 42,
    order: 6,
    needs: ['veil', 'patch'],
    guest: fixed([0.2, WINDOW_SILL_Y, 0.4], 16),
  },
  {
    id: 'railing',
    title: 'Mind the gap',
    shot: railingShot,
    in: 4,
    out: 44,
    order: 7,
    needs: ['front', 'ground', 'steady'],
    guest: fixed([0, 0, 0.35], 12),
  },
];

/** Middle of the performer, what views are measured to. */
export const middle = (at: Vec3): Vec3 => add(at, [0, RABBIT_HEIGHT / 2, 0]);

/** What the home shoot must match in one frame of a pick. */
export function needed(pick: Pick, f: number): Record<string, unknown> | undefined {
  if (!pick.guest) return undefined;
  const c: Camera = pick.shot.camera(f);
  const at = pick.guest.at(f);
  const bearingDeg = (Math.atan2((project(c, middle(at))[0] - c.widthPx / 2) / c.focalPx, 1) * 180) / Math.PI;
  const sun = sunAngles(c, pick.shot.sun);
  return {
    position: at,
    yawDeg: pick.guest.yaw(f),
    ground: project(c, at),
    top: project(c, add(at, [0, RABBIT_HEIGHT, 0])),
    ...viewFrom(c, middle(at)),
    bearingDeg,
    sunAzimuthDeg: sun.azimuthDeg,
    sunElevationDeg: sun.elevationDeg,
    ...(pick.id === 'window' ? { pane: pane().corners } : {}),
  };
}
