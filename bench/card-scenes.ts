/**
 * Scenes of the floor card with known camera and light, drawn by card-drawing.ts: print of three cuts, peg or ball, how
 * soft and how noisy.
 */
import { RandomStream } from '../src/core/random.js';
import { RAD_PER_DEG } from '../src/core/angles.js';
import { groundCamera, project } from '../src/geometry/camera.js';

export interface CardScene {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly focalPx: number;
  readonly tiltDeg: number;
  readonly rollDeg: number;
  readonly cameraHeight: number;
  readonly card: { readonly x: number; readonly z: number; readonly turnDeg: number };
  readonly sun: { readonly azimuthDeg: number; readonly elevationDeg: number } | null;
  readonly stands: 'peg' | 'ball' | 'nothing';
  /** How far the white page goes beyond the layout. */
  readonly paper: 'cut' | 'a4' | 'letter';
  readonly floor: number;
  readonly blurPx: number;
  /** Standard deviation of the noise, display-coded. */
  readonly noise: number;
  readonly seed: number;
}

/** The card as at home: a phone at chest height, the sun over the right shoulder, a peg on the spot. */
export const CARD_WITH_PEG: CardScene = {
  widthPx: 960,
  heightPx: 540,
  floor: 0.2,
  stands: 'peg',
  paper: 'cut',
  focalPx: 750,
  tiltDeg: -32,
  rollDeg: 1.5,
  cameraHeight: 0.9,
  card: { x: 0.1, z: 1.35, turnDeg: 8 },
  sun: { azimuthDeg: 50, elevationDeg: 48 },
  blurPx: 0.8,
  noise: 0.01,
  seed: 1,
};

/** The same with a ball on the spot, from another place. */
export const CARD_WITH_BALL: CardScene = {
  ...CARD_WITH_PEG,
  stands: 'ball',
  focalPx: 900,
  tiltDeg: -30,
  rollDeg: 1,
  cameraHeight: 0.8,
  card: { x: 0.05, z: 1.3, turnDeg: -12 },
  sun: { azimuthDeg: 65, elevationDeg: 40 },
  blurPx: 1,
  seed: 6,
};

/** Longest side of the card's outline against the picture's width. */
function cardSpan(s: CardScene): number {
  const camera = groundCamera(s);
  const c = Math.cos(s.card.turnDeg * RAD_PER_DEG);
  const d = Math.sin(s.card.turnDeg * RAD_PER_DEG);
  let lo = Infinity;
  let hi = -Infinity;
  for (const [u, v] of [
    [-0.09, -0.125],
    [0.09, -0.125],
    [-0.09, 0.125],
    [0.09, 0.125],
  ] as const) {
    const q = project(camera, [s.card.x + u * c + v * d, 0, s.card.z + u * d - v * c]);
    if (q === null) return 0;
    lo = Math.min(lo, q.x);
    hi = Math.max(hi, q.x);
  }
  return (hi - lo) / s.widthPx;
}

export interface SceneRange {
  readonly span: readonly [number, number];
  readonly blurPx: readonly [number, number];
  readonly stands: CardScene['stands'] | 'any';
}

/** Seeded scenes as at home: a phone or camera at knee to chest height, the card on the floor, seen aslant. */
export function makeCardScenes(
  seed: number,
  count: number,
  o: SceneRange,
  widthPx = 1280,
  heightPx = 720,
): CardScene[] {
  const random = new RandomStream(seed);
  const between = (a: number, b: number): number => a + (b - a) * random.uniform();
  const scenes: CardScene[] = [];
  for (let guard = 0; scenes.length < count && guard < 5000; guard++) {
    const focalPx = between(0.7, 1.3) * widthPx;
    const want = between(o.span[0], o.span[1]);
    // From how large it is to be: distance; from the angle under which the floor is seen: height.
    const distance = (0.19 * focalPx) / (want * widthPx);
    const depression = between(18, 50);
    const cameraHeight = distance * Math.sin(depression * RAD_PER_DEG);
    const z = distance * Math.cos(depression * RAD_PER_DEG);
    const blurPx = between(o.blurPx[0], o.blurPx[1]);
    const stands = o.stands === 'any' ? (['peg', 'ball', 'nothing'] as const)[random.below(3)]! : o.stands;
    const s: CardScene = {
      widthPx,
      heightPx,
      focalPx,
      tiltDeg: -(depression + between(-8, 8)),
      rollDeg: between(-3, 3),
      cameraHeight,
      card: { x: between(-0.2, 0.2) * distance, z, turnDeg: between(-30, 30) },
      sun:
        stands === 'nothing' && random.uniform() < 0.5
          ? null
          : { azimuthDeg: between(-150, 150), elevationDeg: between(35, 65) },
      stands,
      paper: (['cut', 'a4', 'letter'] as const)[random.below(3)]!,
      floor: between(0.08, 0.35),
      blurPx,
      noise: between(0.006, 0.015),
      seed: seed * 1000 + scenes.length,
    };
    const span = cardSpan(s);
    if (span < o.span[0] || span > o.span[1] * 1.3 || s.cameraHeight < 0.2 || s.cameraHeight > 2.2) continue;
    if (!inFrame(s)) continue;
    scenes.push(s);
  }
  return scenes;
}

function inFrame(s: CardScene): boolean {
  const camera = groundCamera(s);
  const c = Math.cos(s.card.turnDeg * RAD_PER_DEG);
  const d = Math.sin(s.card.turnDeg * RAD_PER_DEG);
  return [
    [-0.11, -0.15],
    [0.11, -0.15],
    [-0.11, 0.15],
    [0.11, 0.15],
  ].every(([u, v]) => {
    const q = project(camera, [s.card.x + u! * c + v! * d, 0, s.card.z + u! * d - v! * c]);
    return q !== null && q.x > 4 && q.y > 4 && q.x < s.widthPx - 4 && q.y < s.heightPx - 4;
  });
}
