/**
 * Made pictures of the floor card with known camera and light: print, code, paper of
 * three cuts, peg or ball, shadow, blur, noise.
 */
import { encode } from 'uqr';
import {
  BALL_DIAMETER_MM,
  CARD_HEIGHT_MM,
  CARD_WIDTH_MM,
  CODE_SPOT,
  PATCHES,
  PEG_HEIGHT_MM,
  cardCode,
  cardReflectance,
} from '../src/brief/card-layout.js';
import { RandomStream } from '../src/core/random.js';
import { RAD_PER_DEG } from '../src/core/angles.js';
import { groundCamera, groundPoint, project, unproject } from '../src/geometry/camera.js';
import { blur } from '../src/image/gaussian.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { linearToCoded } from '../src/media/convert.js';

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

const PAGE = { cut: [CARD_WIDTH_MM, CARD_HEIGHT_MM], a4: [210, 297], letter: [215.9, 279.4] } as const;
/** Light in shadow, and colour of the light. */
const FILL = 0.3;
const LIGHT = [1.05, 1, 0.8] as const;
const PAPER = 0.85;

/** Longest side of the card's outline against the picture's width. */
export function cardSpan(s: CardScene): number {
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

/** Scene-linear picture before blur and noise, then display-coded sRGB. */
export function renderCard(s: CardScene): Picture {
  const { widthPx: W, heightPx: H } = s;
  const camera = groundCamera(s);
  const c = Math.cos(s.card.turnDeg * RAD_PER_DEG);
  const d = Math.sin(s.card.turnDeg * RAD_PER_DEG);
  const out = createPicture(W, H, 3);
  const code = encode(cardCode('Last Tram to Harrow Hill', 'platform'), { ecc: 'M', border: 0 });
  const random = new RandomStream(s.seed);
  const [pageW, pageH] = PAGE[s.paper];
  const spot: readonly [number, number] = [s.card.x, s.card.z];
  const sunAz = (s.sun?.azimuthDeg ?? 0) * RAD_PER_DEG;
  const sunEl = (s.sun?.elevationDeg ?? 90) * RAD_PER_DEG;
  // Towards the light: azimuth 0 is behind the camera (−z), positive from camera right.
  const toLight = [Math.cos(sunEl) * Math.sin(sunAz), Math.sin(sunEl), -Math.cos(sunEl) * Math.cos(sunAz)] as const;
  const R = BALL_DIAMETER_MM / 2000;
  const peg = PEG_HEIGHT_MM / 1000;
  const shadowed = (x: number, z: number): boolean => {
    if (s.sun === null || s.stands === 'nothing') return false;
    const px = x - spot[0];
    const pz = z - spot[1];
    if (s.stands === 'ball') {
      // Distance of the ray towards the light from the ball's centre.
      const t = px * -toLight[0] + R * toLight[1] + pz * -toLight[2];
      return t > 0 && Math.hypot(px + t * toLight[0], t * toLight[1] - R, pz + t * toLight[2]) < R;
    }
    const L = peg / Math.tan(sunEl);
    const ex = -L * Math.sin(sunAz);
    const ez = L * Math.cos(sunAz);
    const t = Math.max(0, Math.min(1, (px * ex + pz * ez) / (L * L)));
    return Math.hypot(px - t * ex, pz - t * ez) < 0.0035;
  };
  const flat = s.sun === null ? 1 : FILL + (1 - FILL);
  const reflectance = (u: number, w: number, k: number): number => {
    const patch = PATCHES.find((p) => u >= p.x && u < p.x + p.width && w >= p.y && w < p.y + p.height);
    if (patch !== undefined) return patch.linear[k]! * PAPER;
    const i = Math.floor(((u - CODE_SPOT.x) / CODE_SPOT.size) * code.size);
    const j = Math.floor(((w - CODE_SPOT.y) / CODE_SPOT.size) * code.size);
    if (i >= 0 && j >= 0 && i < code.size && j < code.size) return code.data[j]![i]! ? 0.04 : PAPER;
    return (cardReflectance(u, w) ?? 1) < 0.5 ? 0.04 : PAPER;
  };
  // Sixteen samples where the page is, four elsewhere.
  const corners = [
    [-1, -1],
    [1, -1],
    [-1, 1],
    [1, 1],
  ].map(([a, b]) =>
    project(camera, [
      s.card.x + (a! * pageW * c + b! * pageH * d) / 2000,
      0,
      s.card.z + (a! * pageW * d - b! * pageH * c) / 2000,
    ]),
  );
  const box = corners.every((q) => q !== null)
    ? [
        Math.min(...corners.map((q) => q!.x)) - 2,
        Math.min(...corners.map((q) => q!.y)) - 2,
        Math.max(...corners.map((q) => q!.x)) + 2,
        Math.max(...corners.map((q) => q!.y)) + 2,
      ]
    : [0, 0, W, H];
  for (let y = 0; y < H; y++)
    for (let x = 0; x < W; x++) {
      const near = x >= box[0]! && x <= box[2]! && y >= box[1]! && y <= box[3]!;
      const n = near ? 4 : 1;
      let r = 0;
      let g = 0;
      let b = 0;
      for (let k = 0; k < n * n; k++) {
        const p = groundPoint(camera, x + ((k % n) + 0.5) / n, y + (Math.floor(k / n) + 0.5) / n);
        if (p === null) {
          r += 0.5;
          g += 0.55;
          b += 0.6;
          continue;
        }
        const X = p[0] - s.card.x;
        const Z = p[2] - s.card.z;
        const u = (X * c + Z * d) * 1000;
        const w = (X * d - Z * c) * 1000;
        const light = 0.8 * (near && shadowed(p[0], p[2]) ? FILL : flat);
        const wood = s.floor * (1 + 0.25 * Math.sin(p[0] * 40) * Math.sin(p[2] * 23));
        if (Math.abs(u) < pageW / 2 && Math.abs(w) < pageH / 2) {
          r += light * reflectance(u, w, 0);
          g += light * reflectance(u, w, 1);
          b += light * reflectance(u, w, 2);
        } else {
          r += light * wood * 1.1;
          g += light * wood;
          b += light * wood * 0.85;
        }
      }
      const at = y * W + x;
      const m = n * n;
      plane(out, 0)[at] = (r / m) * LIGHT[0];
      plane(out, 1)[at] = (g / m) * LIGHT[1];
      plane(out, 2)[at] = (b / m) * LIGHT[2];
    }
  if (s.stands === 'peg') drawPeg();
  else if (s.stands === 'ball') drawBall();
  const coded = linearToCoded(s.blurPx > 0 ? blur(out, s.blurPx) : out, 'srgb');
  for (let i = 0; i < coded.data.length; i++)
    coded.data[i] = Math.max(0, Math.min(1, coded.data[i]! + s.noise * random.normal()));
  return coded;

  /** An upright cylinder, met by the ray of every sub-sample. */
  function drawPeg(): void {
    const foot = project(camera, [spot[0], 0, spot[1]])!;
    const head = project(camera, [spot[0], peg, spot[1]])!;
    const r = (0.006 * s.focalPx) / Math.min(foot.depth, head.depth) + 2;
    for (let y = Math.floor(Math.min(foot.y, head.y) - r); y <= Math.max(foot.y, head.y) + r; y++)
      for (let x = Math.floor(Math.min(foot.x, head.x) - r); x <= Math.max(foot.x, head.x) + r; x++) {
        if (x < 0 || y < 0 || x >= W || y >= H) continue;
        let hit = 0;
        for (let k = 0; k < 16; k++)
          if (meetsPeg(unproject(camera, x + ((k & 3) + 0.5) / 4, y + ((k >> 2) + 0.5) / 4))) hit++;
        if (hit > 0)
          for (let i = 0; i < 3; i++) {
            const v = plane(out, i);
            v[y * W + x] = v[y * W + x]! * (1 - hit / 16) + (hit / 16) * [0.4, 0.25, 0.1][i]!;
          }
      }
  }

  function meetsPeg(d: readonly number[]): boolean {
    const a = d[0]! ** 2 + d[2]! ** 2;
    const b = d[0]! * spot[0] + d[2]! * spot[1];
    const c0 = spot[0] ** 2 + spot[1] ** 2 - 0.0035 ** 2;
    const disc = b * b - a * c0;
    if (disc < 0) return false;
    const height = s.cameraHeight + ((b - Math.sqrt(disc)) / a) * d[1]!;
    if (height >= 0 && height <= peg) return true;
    const t = (peg - s.cameraHeight) / d[1]!;
    return t > 0 && Math.hypot(t * d[0]! - spot[0], t * d[2]! - spot[1]) < 0.0035;
  }

  /** Lambert's ball: the key, a sky that is brighter above, and what the paper throws back from below. */
  function drawBall(): void {
    const q = project(camera, [spot[0], R, spot[1]])!;
    const r = Math.ceil((1.2 * R * s.focalPx) / q.depth) + 1;
    for (let y = Math.floor(q.y - r); y <= q.y + r; y++)
      for (let x = Math.floor(q.x - r); x <= q.x + r; x++) {
        if (x < 0 || y < 0 || x >= W || y >= H) continue;
        let sum = 0;
        let hit = 0;
        for (let k = 0; k < 16; k++) {
          const dir = unproject(camera, x + ((k & 3) + 0.5) / 4, y + ((k >> 2) + 0.5) / 4);
          const o = [-spot[0], s.cameraHeight - R, -spot[1]];
          const b = dir[0] * o[0]! + dir[1] * o[1]! + dir[2] * o[2]!;
          const disc = b * b - (o[0]! ** 2 + o[1]! ** 2 + o[2]! ** 2 - R * R);
          if (disc < 0) continue;
          const t = -b - Math.sqrt(disc);
          const n = [(o[0]! + t * dir[0]) / R, (o[1]! + t * dir[1]) / R, (o[2]! + t * dir[2]) / R];
          const key =
            s.sun === null
              ? 0
              : ((1 - FILL) / Math.sin(sunEl)) *
                Math.max(0, n[0]! * toLight[0] + n[1]! * toLight[1] + n[2]! * toLight[2]);
          const sky = (s.sun === null ? 1 : FILL) * (0.5 + 0.5 * n[1]!);
          const bounce = 0.6 * PAPER * flat * (0.5 - 0.5 * n[1]!);
          sum += 0.8 * PAPER * (key + sky + bounce);
          hit++;
        }
        if (hit === 0) continue;
        for (let i = 0; i < 3; i++) {
          const v = plane(out, i);
          v[y * W + x] = v[y * W + x]! * (1 - hit / 16) + (sum / 16) * LIGHT[i]!;
        }
      }
  }
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
