/** Clips into which something is pasted that is then erased, one row each. */
import { fileURLToPath } from 'node:url';

export const SHARED = fileURLToPath(new URL('../../shared/', import.meta.url));

interface Case {
  readonly file: string;
  readonly from: number;
  readonly count: number;
  readonly animal: 'camel' | 'dog';
  /**
   * Height of the animal, and where its foot's middle is on the first and the last frame,
   * in frame heights and shares of width and height.
   */
  readonly height: number;
  readonly path: readonly [readonly [number, number], readonly [number, number]];
  /** Exposure on the last frame over the first's, in coded values. */
  readonly exposure?: number;
  /**
   * The animal is there from this frame on only, its place being marked by one outline, and the camera opens by itself
   * as it comes: by `opens` of the coded value in the dark and by half of that in the light, as a phone's curve does.
   */
  readonly arrives?: number;
  readonly opens?: number;
}

export const CASES: Readonly<Record<string, Case>> = {
  /** Travel round a thing on a table, by hand. */
  table: {
    file: 'footage/handheld-round-object.mp4',
    from: 0,
    count: 40,
    animal: 'dog',
    height: 0.35,
    path: [
      [0.1, 0.75],
      [0.85, 0.7],
    ],
  },
  /** Tripod pan over leaves and planks, and once more while the exposure drifts. */
  fence: {
    file: 'footage/davis/camel/frames/%05d.jpg',
    from: 20,
    count: 40,
    animal: 'dog',
    height: 0.4,
    path: [
      [1, 0.66],
      [0.8, 0.66],
    ],
  },
  exposed: {
    file: 'footage/davis/camel/frames/%05d.jpg',
    from: 20,
    count: 40,
    animal: 'dog',
    height: 0.4,
    path: [
      [1, 0.66],
      [0.8, 0.66],
    ],
    exposure: 1.18,
  },
  /** Hand-held over dry grass, with motion blur. */
  grass: {
    file: 'footage/davis/dog/frames/%05d.jpg',
    from: 0,
    count: 40,
    animal: 'camel',
    height: 0.35,
    path: [
      [0.75, 0.4],
      [0.95, 0.95],
    ],
  },
  /** Hand-held film shot out of focus behind, dark, and one at a push-in. */
  dark: {
    file: 'footage/tears-of-steel-30s.mp4',
    from: 482,
    count: 48,
    animal: 'camel',
    height: 0.5,
    path: [
      [0.2, 0.8],
      [0.8, 0.9],
    ],
  },
  aerial: {
    file: 'footage/nasa-13013.mp4',
    from: 202,
    count: 48,
    animal: 'camel',
    height: 0.4,
    path: [
      [0.15, 0.7],
      [0.85, 0.6],
    ],
  },
  /** Locked-off, while the exposure drifts. */
  locked: {
    file: 'footage/locked-off-people.mp4',
    from: 0,
    count: 40,
    animal: 'dog',
    height: 0.5,
    path: [
      [0.1, 0.9],
      [0.9, 0.9],
    ],
    exposure: 0.85,
  },
  /** The same room and a platform in the sun, into which somebody comes. */
  arrives: {
    file: 'footage/locked-off-people.mp4',
    from: 0,
    count: 40,
    animal: 'dog',
    height: 0.6,
    path: [
      [0.55, 0.9],
      [0.55, 0.9],
    ],
    arrives: 10,
    opens: 0.12,
  },
  platform: {
    file: 'truth/stand/clean.mp4',
    from: 0,
    count: 24,
    animal: 'camel',
    height: 0.6,
    path: [
      [0.45, 0.85],
      [0.45, 0.85],
    ],
    arrives: 6,
    opens: -0.1,
  },
  /** The practice pan while the camera opens. */
  panned: {
    file: 'truth/pan/clean.mp4',
    from: 0,
    count: 36,
    animal: 'dog',
    height: 0.45,
    path: [
      [0.15, 0.9],
      [0.85, 0.9],
    ],
    exposure: 1.15,
  },
  /** Push-in with shake before a set in depth. */
  push: {
    file: 'truth/push/clean.mp4',
    from: 0,
    count: 36,
    animal: 'dog',
    height: 0.45,
    path: [
      [0.1, 0.9],
      [0.9, 0.8],
    ],
  },
};
