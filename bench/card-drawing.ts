/**
 * Made pictures of the floor card (scenes: card-scenes.ts): print, code, paper of three cuts, peg or ball, shadow,
 * blur, noise.
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
import { groundCamera, groundPoint, project, unproject, type Pinhole } from '../src/geometry/camera.js';
import { blur } from '../src/image/gaussian.js';
import { createPicture, plane, type Picture } from '../src/image/picture.js';
import { linearToCoded } from '../src/media/convert.js';
import type { CardScene } from './card-scenes.js';

const PAGE = { cut: [CARD_WIDTH_MM, CARD_HEIGHT_MM], a4: [210, 297], letter: [215.9, 279.4] } as const;
/** Light in shadow, and colour of the light. */
const FILL = 0.3;
const LIGHT = [1.05, 1, 0.8] as const;
const PAPER = 0.85;

/** Radius of the ball, height of the peg and half its thickness, metres. */
const BALL_M = BALL_DIAMETER_MM / 2000,
  PEG_M = PEG_HEIGHT_MM / 1000,
  PEG_HALF_M = 0.0035;

/** A scene as it is drawn: its camera, its light, and where the card's axes lie on the floor. */
interface Drawn {
  readonly scene: CardScene;
  readonly camera: Pinhole;
  /** Cosine and sine of the card's turn. */
  readonly c: number;
  readonly d: number;
  readonly spot: readonly [number, number];
  /** The sun's angles, rad, and the way to it. */
  readonly sunAz: number;
  readonly sunEl: number;
  readonly toLight: readonly [number, number, number];
  readonly code: ReturnType<typeof encode>;
  /** Scene-linear. */
  readonly out: Picture;
}

/** Scene-linear picture before blur and noise, then display-coded sRGB. */
export function renderCard(s: CardScene): Picture {
  const sunAz = (s.sun?.azimuthDeg ?? 0) * RAD_PER_DEG;
  const sunEl = (s.sun?.elevationDeg ?? 90) * RAD_PER_DEG;
  const drawn: Drawn = {
    scene: s,
    camera: groundCamera(s),
    c: Math.cos(s.card.turnDeg * RAD_PER_DEG),
    d: Math.sin(s.card.turnDeg * RAD_PER_DEG),
    spot: [s.card.x, s.card.z],
    sunAz,
    sunEl,
    // Azimuth 0 is behind the camera (−z), positive from camera right.
    toLight: [Math.cos(sunEl) * Math.sin(sunAz), Math.sin(sunEl), -Math.cos(sunEl) * Math.cos(sunAz)],
    code: encode(cardCode('Last Tram to Harrow Hill', 'platform'), { ecc: 'M', border: 0 }),
    out: createPicture(s.widthPx, s.heightPx, 3),
  };
  drawFloor(drawn);
  if (s.stands === 'peg') drawPeg(drawn);
  else if (s.stands === 'ball') drawBall(drawn);
  const random = new RandomStream(s.seed);
  const coded = linearToCoded(s.blurPx > 0 ? blur(drawn.out, s.blurPx) : drawn.out, 'srgb');
  for (let i = 0; i < coded.data.length; i++)
    coded.data[i] = Math.max(0, Math.min(1, coded.data[i]! + s.noise * random.normal()));
  return coded;
}

/** Whether what stands on the spot keeps the sun from a place of the floor. */
function shadowed({ scene, spot, sunAz, sunEl, toLight }: Drawn, x: number, z: number): boolean {
  if (scene.sun === null || scene.stands === 'nothing') return false;
  const px = x - spot[0];
  const pz = z - spot[1];
  if (scene.stands === 'ball') {
    // Distance of the ray towards the light from the ball's centre.
    const t = px * -toLight[0] + BALL_M * toLight[1] + pz * -toLight[2];
    return t > 0 && Math.hypot(px + t * toLight[0], t * toLight[1] - BALL_M, pz + t * toLight[2]) < BALL_M;
  }
  const long = PEG_M / Math.tan(sunEl);
  const ex = -long * Math.sin(sunAz);
  const ez = long * Math.cos(sunAz);
  const t = Math.max(0, Math.min(1, (px * ex + pz * ez) / (long * long)));
  return Math.hypot(px - t * ex, pz - t * ez) < PEG_HALF_M;
}

/** Light on flat ground in the sun, or under a sky alone. */
const flatLight = (s: CardScene): number => (s.sun === null ? 1 : FILL + (1 - FILL));

/** Reflectance of the print at a place (mm from the card's middle) in channel k. */
function reflectance({ code }: Drawn, u: number, w: number, k: number): number {
  const patch = PATCHES.find((p) => u >= p.x && u < p.x + p.width && w >= p.y && w < p.y + p.height);
  if (patch !== undefined) return patch.linear[k]! * PAPER;
  const i = Math.floor(((u - CODE_SPOT.x) / CODE_SPOT.size) * code.size);
  const j = Math.floor(((w - CODE_SPOT.y) / CODE_SPOT.size) * code.size);
  if (i >= 0 && j >= 0 && i < code.size && j < code.size) return code.data[j]![i]! ? 0.04 : PAPER;
  return (cardReflectance(u, w) ?? 1) < 0.5 ? 0.04 : PAPER;
}

/** Box round the page in the picture, [x0, y0, x1, y1]; the whole picture where a corner lies behind the camera. */
function pageBox({ scene: s, camera, c, d }: Drawn): readonly [number, number, number, number] {
  const [pageW, pageH] = PAGE[s.paper];
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
  if (corners.some((q) => q === null)) return [0, 0, s.widthPx, s.heightPx];
  const xs = corners.map((q) => q!.x);
  const ys = corners.map((q) => q!.y);
  return [Math.min(...xs) - 2, Math.min(...ys) - 2, Math.max(...xs) + 2, Math.max(...ys) + 2];
}

/** Scene-linear light of the floor or the page under a place of the picture; a pale sky above the horizon. */
function lightOfFloor(drawn: Drawn, x: number, y: number, near: boolean): readonly [number, number, number] {
  const { scene: s, camera, c, d } = drawn;
  const p = groundPoint(camera, x, y);
  if (p === null) return [0.5, 0.55, 0.6];
  const X = p[0] - s.card.x;
  const Z = p[2] - s.card.z;
  const u = (X * c + Z * d) * 1000;
  const w = (X * d - Z * c) * 1000;
  const light = 0.8 * (near && shadowed(drawn, p[0], p[2]) ? FILL : flatLight(s));
  const [pageW, pageH] = PAGE[s.paper];
  if (Math.abs(u) < pageW / 2 && Math.abs(w) < pageH / 2)
    return [
      light * reflectance(drawn, u, w, 0),
      light * reflectance(drawn, u, w, 1),
      light * reflectance(drawn, u, w, 2),
    ];
  const wood = s.floor * (1 + 0.25 * Math.sin(p[0] * 40) * Math.sin(p[2] * 23));
  return [light * wood * 1.1, light * wood, light * wood * 0.85];
}

/** The floor and the page: sixteen samples a pixel where the page is, one elsewhere. */
function drawFloor(drawn: Drawn): void {
  const { scene: s, out } = drawn;
  const box = pageBox(drawn);
  const planes = [plane(out, 0), plane(out, 1), plane(out, 2)] as const;
  for (let y = 0; y < s.heightPx; y++)
    for (let x = 0; x < s.widthPx; x++) {
      const near = x >= box[0] && x <= box[2] && y >= box[1] && y <= box[3];
      const n = near ? 4 : 1;
      let r = 0;
      let g = 0;
      let b = 0;
      for (let k = 0; k < n * n; k++) {
        const light = lightOfFloor(drawn, x + ((k % n) + 0.5) / n, y + (Math.floor(k / n) + 0.5) / n, near);
        r += light[0];
        g += light[1];
        b += light[2];
      }
      const at = y * s.widthPx + x;
      const m = n * n;
      planes[0][at] = (r / m) * LIGHT[0];
      planes[1][at] = (g / m) * LIGHT[1];
      planes[2][at] = (b / m) * LIGHT[2];
    }
}

/** An upright cylinder, met by the ray of every sub-sample. */
function drawPeg(drawn: Drawn): void {
  const { scene: s, camera, spot, out } = drawn;
  const foot = project(camera, [spot[0], 0, spot[1]])!;
  const head = project(camera, [spot[0], PEG_M, spot[1]])!;
  const r = (0.006 * s.focalPx) / Math.min(foot.depth, head.depth) + 2;
  for (let y = Math.floor(Math.min(foot.y, head.y) - r); y <= Math.max(foot.y, head.y) + r; y++)
    for (let x = Math.floor(Math.min(foot.x, head.x) - r); x <= Math.max(foot.x, head.x) + r; x++) {
      if (x < 0 || y < 0 || x >= s.widthPx || y >= s.heightPx) continue;
      let hit = 0;
      for (let k = 0; k < 16; k++)
        if (meetsPeg(drawn, unproject(camera, x + ((k & 3) + 0.5) / 4, y + ((k >> 2) + 0.5) / 4))) hit++;
      if (hit > 0)
        for (let i = 0; i < 3; i++) {
          const v = plane(out, i);
          const at = y * s.widthPx + x;
          v[at] = v[at]! * (1 - hit / 16) + (hit / 16) * [0.4, 0.25, 0.1][i]!;
        }
    }
}

function meetsPeg({ scene: s, spot }: Drawn, ray: readonly number[]): boolean {
  const a = ray[0]! ** 2 + ray[2]! ** 2;
  const b = ray[0]! * spot[0] + ray[2]! * spot[1];
  const c = spot[0] ** 2 + spot[1] ** 2 - PEG_HALF_M ** 2;
  const disc = b * b - a * c;
  if (disc < 0) return false;
  const height = s.cameraHeight + ((b - Math.sqrt(disc)) / a) * ray[1]!;
  if (height >= 0 && height <= PEG_M) return true;
  const t = (PEG_M - s.cameraHeight) / ray[1]!;
  return t > 0 && Math.hypot(t * ray[0]! - spot[0], t * ray[2]! - spot[1]) < PEG_HALF_M;
}

/** Light of Lambert's ball where a ray meets it; null where it misses. */
function lightOfBall({ scene: s, spot, sunEl, toLight }: Drawn, ray: readonly number[]): number | null {
  const o = [-spot[0], s.cameraHeight - BALL_M, -spot[1]] as const;
  const b = ray[0]! * o[0] + ray[1]! * o[1] + ray[2]! * o[2];
  const disc = b * b - (o[0] ** 2 + o[1] ** 2 + o[2] ** 2 - BALL_M * BALL_M);
  if (disc < 0) return null;
  const t = -b - Math.sqrt(disc);
  const n = [(o[0] + t * ray[0]!) / BALL_M, (o[1] + t * ray[1]!) / BALL_M, (o[2] + t * ray[2]!) / BALL_M] as const;
  const key =
    s.sun === null
      ? 0
      : ((1 - FILL) / Math.sin(sunEl)) * Math.max(0, n[0] * toLight[0] + n[1] * toLight[1] + n[2] * toLight[2]);
  // A sky that is brighter above, and what the paper throws back from below.
  const sky = (s.sun === null ? 1 : FILL) * (0.5 + 0.5 * n[1]);
  const bounce = 0.6 * PAPER * flatLight(s) * (0.5 - 0.5 * n[1]);
  return 0.8 * PAPER * (key + sky + bounce);
}

function drawBall(drawn: Drawn): void {
  const { scene: s, camera, spot, out } = drawn;
  const q = project(camera, [spot[0], BALL_M, spot[1]])!;
  const r = Math.ceil((1.2 * BALL_M * s.focalPx) / q.depth) + 1;
  for (let y = Math.floor(q.y - r); y <= q.y + r; y++)
    for (let x = Math.floor(q.x - r); x <= q.x + r; x++) {
      if (x < 0 || y < 0 || x >= s.widthPx || y >= s.heightPx) continue;
      let sum = 0;
      let hit = 0;
      for (let k = 0; k < 16; k++) {
        const light = lightOfBall(drawn, unproject(camera, x + ((k & 3) + 0.5) / 4, y + ((k >> 2) + 0.5) / 4));
        if (light === null) continue;
        sum += light;
        hit++;
      }
      if (hit === 0) continue;
      for (let i = 0; i < 3; i++) {
        const v = plane(out, i);
        const at = y * s.widthPx + x;
        v[at] = v[at]! * (1 - hit / 16) + (sum / 16) * LIGHT[i]!;
      }
    }
}
