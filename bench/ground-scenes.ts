/**
 * The ground step by itself against ray tracing: a body in a small set, traced with and without it, of known camera and
 * key. The step is given the true matte, colour, camera and light, so what is measured is its own way of shading and
 * mirroring: a polished floor (sharp and rough), still and rippled water, a pane of glass beside the body, a sky
 * without a sun, two lamps, a large lamp. Needs `povray`. Rows: mean CIEDE2000 where the truth differs from the empty
 * set, of the step's picture and of the empty set's. Run: `npx tsx bench/ground-scenes.ts FOLDER [ids] [--pictures]`.
 */
import { mkdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import { aim, project, type Camera } from '../demo/scenes/camera.js';
import { passenger, PASSENGER_HEIGHT } from '../demo/scenes/people.js';
import { RABBIT_HEIGHT, rabbit, rabbitDeclarations } from '../demo/scenes/rabbit.js';
import { trace, type TraceOptions } from '../demo/scenes/trace.js';
import type { Vec3 } from '../demo/scenes/vector.js';
import { createPicture, type Picture } from '../src/image/picture.js';
import { shadeGround } from '../src/join/ground/ground.js';
import { layPremultiplied } from '../src/join/render/lay-premultiplied.js';
import { layMirrored } from '../src/join/ground/lay-mirrored.js';
import { reflectPerformer } from '../src/join/ground/reflect.js';
import { measureLitGround } from '../src/join/ground/plate-shadow.js';
import { applyShade } from '../src/join/ground/shade.js';
import type { GroundStep } from '../src/join/types.js';
import type { GroundFrame } from '../src/join/ground/types.js';
import { writePng16 } from '../src/media/stills.js';
import { BACK, CASES, type Case, type Lamp } from './ground-cases.js';
import { H, W, beside, compare, darkest, outlineOf, planar, shareOf } from './ground-score.js';
import { SKY_RGB, lampsText, paneText } from './ground-lamps.js';
import { PLACES } from './ground-places.js';

/**
 * The empty set and the set with the body, traced, scene-linear; the body cut out of it: premultiplied, and its matte.
 */
interface Traced {
  readonly base: Picture;
  readonly truth: Picture;
  readonly performer: Picture;
  readonly matte: Float32Array;
}

const cameraOf = (c: Case): Camera => ({
  ...aim([0, c.cameraHeight, -c.far], 0, c.tilt, c.focalPx),
  widthPx: W,
  heightPx: H,
});

/** Where the body stands. */
const POSITION: Vec3 = [0, 0, 0];

async function traced(c: Case, camera: Camera, o: TraceOptions): Promise<Traced> {
  const rect = { x: 0, y: 0, w: W, h: H };
  const head = 'global_settings{assumed_gamma 1.0 max_trace_level 5}\n';
  const lit =
    head + lampsText(c, camera) + BACK + c.floor + (c.set ?? '') + (c.pane === undefined ? '' : paneText(c.pane));
  const body =
    c.body === 'rabbit'
      ? rabbitDeclarations() + rabbit({ position: POSITION, yaw: c.yaw })
      : passenger({ position: POSITION, yaw: c.yaw }, 'plum');
  const base = planar(await trace(lit, camera, rect, o));
  const truth = planar(await trace(lit + body, camera, rect, o));
  // What differs between black and white behind it is no body.
  const before = (rgb: 0 | 1) =>
    trace(
      `${head}background{rgb ${rgb}}\nlight_source{<0,50,-50> rgb 0.4 shadowless}\n` +
        `${body.replaceAll(' reflection 0.04', '')}`,
      camera,
      rect,
      o,
    );
  const dark = await before(0);
  const bright = await before(1);
  const n = W * H;
  const matte = new Float32Array(n);
  for (let i = 0; i < n; i++) matte[i] = Math.min(1, Math.max(0, 1 - (bright.rgb[3 * i + 1]! - dark.rgb[3 * i + 1]!)));
  const performer = createPicture(W, H, 4);
  for (let i = 0; i < n; i++) {
    const a = matte[i]!;
    for (let k = 0; k < 3; k++)
      performer.data[k * n + i] = a <= 0 ? 0 : Math.max(0, truth.data[k * n + i]! - (1 - a) * base.data[k * n + i]!);
    performer.data[3 * n + i] = a;
  }
  return { base, truth, performer, matte };
}

/** The ground under the body as the camera sees it. */
function groundOf(c: Case, camera: Camera): GroundFrame {
  const foot = project(camera, POSITION);
  return {
    frame: 0,
    foot: [foot[0], foot[1]],
    pxPerMetre:
      c.focalPx / (c.far * Math.cos((c.tilt * Math.PI) / 180) - c.cameraHeight * Math.sin((c.tilt * Math.PI) / 180)),
    tiltDeg: c.tilt,
    rollDeg: 0,
    azimuthDeg: c.lamps[0]?.azimuth ?? 0,
  };
}

/** Of a lamp: the light on the ground without it over that with all, per channel. */
function shadesOf(c: Case): (lamp: Lamp) => [number, number, number] {
  const sky = SKY_RGB.map((s) => (s * c.sky) / 1.6);
  const onGround = (l: Lamp): number[] => l.rgb.map((s) => s * Math.sin((l.elevation * Math.PI) / 180));
  const all = [0, 1, 2].map((k) => sky[k]! + c.lamps.reduce((s, l) => s + onGround(l)[k]!, 0));
  return (l) => [0, 1, 2].map((k) => (all[k]! - onGround(l)[k]!) / all[k]!) as [number, number, number];
}

/** Marked surfaces of a case, as the camera sees them on the one frame. */
function receiversOf(c: Case, camera: Camera): unknown {
  const seenAt = (p: Vec3): [number, number] => {
    const q = project(camera, p);
    return [q[0], q[1]];
  };
  return c.receivers?.map((r) => ({
    surface: r.surface,
    ...(r.height === undefined ? {} : { height: r.height }),
    frames: [
      {
        frame: 0,
        polygon: r.outline.map(seenAt),
        ...(r.surface === 'wall' ? { base: [seenAt(r.outline[0]!), seenAt(r.outline[1]!)] } : {}),
      },
    ],
  }));
}

/** The step under the case's own camera and light. */
function stepOf(c: Case, camera: Camera, base: Picture, at: GroundFrame): GroundStep {
  const key = c.lamps[0];
  const without = shadesOf(c);
  const step: GroundStep = {
    step: 'ground',
    on: true,
    shadow: key !== undefined,
    contact: true,
    receiver: 'ground',
    azimuthDeg: key?.azimuth ?? 0,
    proposedAzimuthDeg: key?.azimuth ?? 0,
    elevationDeg: key?.elevation ?? 45,
    transmission: key === undefined ? [1, 1, 1] : without(key),
    softnessDeg: key?.softDeg ?? 0.1,
    contactStrength: 0.7,
    focalPx: c.focalPx,
    frames: [at],
    why: '',
    ...(c.lamps.length < 2
      ? {}
      : {
          keys: c.lamps.slice(1).map((l) => ({
            azimuthDeg: l.azimuth,
            elevationDeg: l.elevation,
            softnessDeg: l.softDeg ?? 0.1,
            transmission: without(l),
          })),
        }),
    ...c.step,
    ...(c.step.reflection === undefined
      ? {}
      : { reflection: { ...c.step.reflection, share: shareOf(c, camera, base, at) } }),
  } as GroundStep;
  if (c.receivers !== undefined) (step as { receivers?: unknown }).receivers = receiversOf(c, camera);
  if (c.lit === true) {
    const spanPx = at.pxPerMetre * (c.body === 'rabbit' ? RABBIT_HEIGHT : PASSENGER_HEIGHT);
    const radius = Math.max(2, Math.round(0.03 * spanPx));
    const measured = measureLitGround(base, at.foot, spanPx, radius);
    if (measured !== null)
      Object.assign(step, { litLinear: measured.linear, litSpread: measured.spread, litRadiusPx: radius });
  }
  return step;
}

/** The empty set with the step's shade and mirror image, and the performer over them. */
function laid(
  c: Case,
  camera: Camera,
  { base, truth, performer, matte }: Traced,
  step: GroundStep,
  at: GroundFrame,
): Picture {
  const out: Picture = { ...base, data: base.data.slice() };
  const box = [0, 0, W, H] as const;
  const touched = new Uint8Array(W * H);
  const shade = shadeGround(step, at, { alpha: matte, matteBox: box, widthPx: W, heightPx: H, softEdgePx: 0.5 });
  // As a plate's own shadow on the same floor would tell it.
  if (shade !== null && c.lamps.length > 0)
    (step as { transmission: readonly [number, number, number] }).transmission = darkest(shade, truth, base, matte);
  if (shade !== null) applyShade(step, shade, base, out, box, touched, null, null);
  const mirror = reflectPerformer(step, at, {
    placed: { picture: performer, box },
    widthPx: W,
    heightPx: H,
    region: c.pane === undefined ? null : outlineOf(c, camera),
    base: c.pane === undefined ? null : ([project(camera, c.pane[0]), project(camera, c.pane[1])] as const),
  });
  if (mirror !== null) layMirrored(out, mirror, box, base, box, touched, null);
  layPremultiplied({ out, box, over: performer, overBox: box, touched, hidden: null, matte: null });
  return out;
}

async function rowOf(c: Case, folder: string, o: TraceOptions, pictures: boolean): Promise<string> {
  const camera = cameraOf(c);
  const set = await traced(c, camera, o);
  const at = groundOf(c, camera);
  const out = laid(c, camera, set, stepOf(c, camera, set.base, at), at);
  const score = compare(out, set.truth, set.base, set.matte);
  if (pictures) await writePng16(join(folder, `${c.id}.png`), beside([set.base, out, set.truth]));
  return `${c.id.padEnd(16)} ${score}`;
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, ids] = process.argv.slice(2).filter((a) => !a.startsWith('--'));
  if (folder === undefined) console.log('usage: npx tsx bench/ground-scenes.ts FOLDER [ids] [--pictures]');
  else {
    mkdirSync(folder, { recursive: true });
    for (const c of [...CASES, ...PLACES])
      if (ids === undefined || ids.split(',').includes(c.id))
        console.log(
          await rowOf(c, folder, { cache: folder, scale: 1.5, kept: new Map() }, process.argv.includes('--pictures')),
        );
  }
}
