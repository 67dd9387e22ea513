/**
 * Scenes with truth for joins, made with the demo's own ray-traced sets: the demo's picks with the performer traced
 * *in* the film's set, and a few made scenes of other suns, cameras, exposures and bodies (a rabbit, a four-legged
 * hound, a person). Each scene gets plate, take, marks as a careful person would make them, and for a few frames three
 * pictures without grain: the join as it should be, the set without the performer, and where the performer is seen.
 * Needs `povray` and `ffmpeg` on the PATH. Run: `npx tsx bench/join-scenes.ts FOLDER [ids]`; read by bench/join-all.ts.
 */
import { execFileSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join, resolve } from 'node:path';
import { fileURLToPath } from 'node:url';
import {
  aim,
  HEIGHT,
  lookAt,
  project,
  shadowOf,
  sunFrom,
  viewFrom,
  WIDTH,
  type Camera,
} from '../demo/scenes/camera.js';
import { encode } from '../demo/scenes/encode.js';
import { EDIT, lookahead } from '../demo/scenes/film.js';
import { PICKS } from '../demo/scenes/guests.js';
import { develop, phoneFinish, print } from '../demo/scenes/look.js';
import { passenger, PASSENGER_HEIGHT } from '../demo/scenes/people.js';
import { RABBIT_HEIGHT, rabbit, rabbitDeclarations } from '../demo/scenes/rabbit.js';
import {
  ground,
  gutter,
  HAZE,
  houses,
  kerb,
  lamp,
  lights,
  POST_HEIGHT,
  SKY,
  stopPost,
  track,
} from '../demo/scenes/set.js';
import { background, frameOf, reachOf, type Shot } from '../demo/scenes/shot.js';
import { standing } from '../demo/scenes/street-shots.js';
import { EVEN, homeSet, PEG_HEIGHT, SEAM_X, SEAM_Z } from '../demo/scenes/take-scene.js';
import { HANDLE_FRAMES, TAKES } from '../demo/scenes/takes.js';
import type { TraceOptions } from '../demo/scenes/trace.js';
import type { Point, Vec3 } from '../demo/scenes/vector.js';
import { plaster } from '../demo/scenes/materials.js';
import { DAY_SKY } from './light-scene-list.js';
import { homeChanged, recoloured } from './light-scenes.js';
import { type SceneFile, printOf, round, saveTruth } from './join-scene-files.js';
import { BODIES } from './join-scene-bodies.js';
import { MADE, type Made } from './join-scene-list.js';

const up = (at: Vec3, h: number): Vec3 => [at[0], at[1] + h, at[2]];
const CLIP = 6;

async function makePick(out: string, demo: string, id: string, takeId: string, o: TraceOptions): Promise<void> {
  const pick = PICKS.find((p) => p.id === id)!;
  const take = TAKES.find((t) => t.id === takeId)!;
  const at = EDIT.find((e) => e.shot === pick.shot)!.at;
  const folder = join(out, id);
  mkdirSync(folder, { recursive: true });
  const plate = join(folder, 'plate.mkv');
  if (!existsSync(plate))
    execFileSync('ffmpeg', [
      '-v',
      'error',
      '-y',
      '-i',
      join(demo, 'media', 'last-tram-to-harrow-hill.mp4'),
      '-an',
      '-vf',
      `trim=start_frame=${at + pick.in}:end_frame=${at + pick.out},setpts=PTS-STARTPTS`,
      '-c:v',
      'ffv1',
      plate,
    ]);
  const n = pick.out - pick.in;
  const frames = [1, 3, 5].map((k) => Math.round((k * (n - 1)) / 6));
  const shown = pick.shot;
  // Whom the pick erases is not in the truth; the window's pane is laid on after tracing.
  const empty: Shot = id === 'pan' ? { ...shown, cast: () => '', reach: () => [] } : shown;
  for (const k of frames) {
    const f = k + pick.in;
    const position = pick.guest!.at(f);
    const body =
      rabbitDeclarations() +
      rabbit({
        ...take.pose(k + HANDLE_FRAMES),
        yaw: id === 'conductor' ? pick.guest!.yaw(f) : take.yaw(k + HANDLE_FRAMES),
        position,
      });
    const painted: Shot = shown.how !== 'painted' ? empty : { ...shown };
    await saveTruth(
      folder,
      k,
      shown,
      f,
      body,
      reachOf(position, 0.25, RABBIT_HEIGHT + 0.07, shown.sun, position[1]),
      painted,
      o,
    );
  }
  writeFileSync(
    join(folder, 'scene.json'),
    JSON.stringify({
      id,
      plate,
      take: join(demo, 'media', 'takes', `${takeId}.mp4`),
      plateMarks: join(demo, 'marks', `${id}.json`),
      takeMarks: join(demo, 'marks', 'takes', `${takeId}.json`),
      frames,
    } satisfies SceneFile),
  );
}

/** A made scene's plate: its shot, and where somebody waits and a post stands. */
interface MadePlate {
  readonly shot: Shot;
  readonly camera: Camera;
  readonly sun: Vec3;
  readonly waiting: Vec3;
  readonly post: Vec3;
}

function plateOf(m: Made): MadePlate {
  const l = m.light;
  const camera = aim([0, m.cameraHeight, -4.2], 1, m.tilt, m.focalPx);
  const sun = sunFrom(camera, m.sun[0], m.sun[1]);
  const waiting: Vec3 = [1.0, 0, 1.9];
  const post: Vec3 = [-1.6, 0, 3.2];
  const shot: Shot = {
    id: m.id,
    what: m.id,
    frames: CLIP,
    how: 'still',
    exposure: m.exposure,
    camera: () => camera,
    sun,
    set:
      (l?.day === true ? DAY_SKY : SKY + HAZE) +
      lights(sun, 0.62 * (l?.fill ?? 1), l?.sunRgb) +
      (l?.ground === undefined ? ground() : `plane{y,0 ${plaster(...l.ground)}}\n`) +
      kerb(5.2, 6.3) +
      track(8) +
      houses(13, -19, 13, l?.houses ?? 5) +
      gutter(-1.5, -4, 5.2) +
      gutter(2.15, -4, 5.2) +
      stopPost(post[0], post[2]) +
      lamp(-2.7, 5) +
      passenger({ position: waiting, yaw: 22 }, l?.tone ?? 'mustard'),
    cast: () => '',
    reach: () => [],
    truth: () => ({}),
  };
  return { shot, camera, sun, waiting, post };
}

/** The take at home of a made scene, with a peg beside the performer. */
interface MadeTake {
  readonly home: Shot;
  readonly tc: Camera;
  readonly takeSun: Vec3;
  readonly peg: Vec3;
}

function takeOf(m: Made, { camera }: MadePlate): MadeTake {
  const l = m.light,
    body = BODIES[m.body];
  const mid: Vec3 = up(m.at, body.height / 2);
  const view = viewFrom(camera, mid);
  const e = ((view.viewElevationDeg + m.off[0]) * Math.PI) / 180;
  const target: Vec3 = [0, body.height / 2, 0];
  // How far beside the camera's heading (1°) the performer is seen.
  const turn = Math.atan2(m.at[0] - camera.position[0], m.at[2] - camera.position[2]) * (180 / Math.PI) - 1;
  const tc = lookAt(
    [0.02, target[1] + body.distance * Math.sin(e), -body.distance * Math.cos(e)],
    target,
    body.focalPx,
  );
  // The key and the performer stand beside the line of sight as in the film, but for what the take is off.
  const takeSun = sunFrom(tc, m.sun[0] - turn + m.off[1], m.sun[1] + m.off[2]);
  const peg: Vec3 = [(Math.sin((m.sun[0] * Math.PI) / 180) > 0 ? -1 : 1) * (body.half + 0.18), 0, -0.14];
  const home: Shot = {
    id: `${m.id}-take`,
    what: m.id,
    frames: CLIP,
    how: 'still',
    exposure: 1,
    camera: () => tc,
    sun: takeSun,
    set: homeChanged(homeSet(takeSun, EVEN, peg).replace(/^global_settings\{[^}]*\}\n/, ''), l),
    cast: () => recoloured(body.text([0, 0, 0], m.yaw - turn), l),
    reach: () => reachOf([0, 0, 0], body.half, body.height + 0.08, takeSun),
    truth: () => ({}),
  };
  return { home, tc, takeSun, peg };
}

/** A line along the ground away from the camera, as its picture shows it. */
const groundLine = (c: Camera, x: number, z0: number, z1: number): [number, number][] => [
  round(project(c, [x, 0, z0])),
  round(project(c, [x, 0, z1])),
];

function plateMarksOf(m: Made, { camera, sun, waiting, post }: MadePlate): object {
  const body = BODIES[m.body];
  const p = standing(camera, waiting, PASSENGER_HEIGHT, sun) as { foot: Point; top: Point; shadowTip: Point };
  const s = standing(camera, post, POST_HEIGHT, sun) as { foot: Point; top: Point };
  return {
    frame: 0,
    marks: [
      { kind: 'upright', frame: 0, foot: round(p.foot), top: round(p.top), height: PASSENGER_HEIGHT },
      { kind: 'shadow', frame: 0, foot: round(p.foot), tip: round(p.shadowTip), height: PASSENGER_HEIGHT },
      { kind: 'upright', frame: 0, foot: round(s.foot), top: round(s.top), height: POST_HEIGHT },
      {
        kind: 'groundLines',
        frame: 0,
        lines: [groundLine(camera, -1.5, 1.6, 5.1), groundLine(camera, 2.15, 1.6, 5.1)],
      },
      {
        kind: 'stand',
        frame: 0,
        ground: round(project(camera, m.at)),
        top: round(project(camera, up(m.at, body.height))),
        height: body.height,
      },
    ],
  };
}

function takeMarksOf(m: Made, { tc, takeSun, peg }: MadeTake): object {
  const body = BODIES[m.body];
  return {
    frame: 0,
    focalPx: body.focalPx,
    cameraHeight: Math.round(tc.position[1] * 100) / 100,
    marks: [
      {
        kind: 'upright',
        frame: 0,
        foot: round(project(tc, peg)),
        top: round(project(tc, up(peg, PEG_HEIGHT))),
        height: PEG_HEIGHT,
      },
      {
        kind: 'shadow',
        frame: 0,
        foot: round(project(tc, peg)),
        tip: round(project(tc, shadowOf(up(peg, PEG_HEIGHT), takeSun))),
        height: PEG_HEIGHT,
      },
      { kind: 'groundLines', frame: 0, lines: SEAM_X.map((x) => SEAM_Z.map((z) => round(project(tc, [x, 0, z])))) },
      {
        kind: 'performer',
        frame: 0,
        ground: round(project(tc, [0, 0, 0])),
        top: round(project(tc, up([0, 0, 0], body.height))),
        height: body.height,
      },
    ],
  };
}

/** Traces a made scene's plate and take with their truth, unless they are there, and writes their marks. */
async function makeMade(out: string, m: Made, o: TraceOptions): Promise<void> {
  const l = m.light;
  const folder = join(out, m.id);
  const body = BODIES[m.body];
  mkdirSync(folder, { recursive: true });
  const made = plateOf(m);
  const { shot, sun } = made;
  const reach = reachOf(m.at, body.half, body.height + 0.08, sun);
  await saveTruth(folder, 2, shot, 0, recoloured(body.text(m.at, m.yaw), l), reach, shot, o, l);
  const base = await background(shot, 0, o);
  const finishFilm = printOf(m.exposure, l);
  const dev = develop(base, finishFilm);
  const plate = join(folder, 'plate.mp4');
  const take = join(folder, 'take.mp4');
  if (!existsSync(plate))
    await encode(
      plate,
      lookahead(CLIP, 1, async (f) => print(dev, finishFilm, 900 + 31 * f + m.id.length)),
      { width: WIDTH, height: HEIGHT, rate: '24/1', crf: 18 },
    );
  const filmed = takeOf(m, made);
  const finish = phoneFinish(m.takeExposure);
  const shown = develop(await frameOf(filmed.home, 0, o), finish);
  if (!existsSync(take))
    await encode(
      take,
      lookahead(CLIP, 1, async (f) => print(shown, finish, 77 * f + m.id.length)),
      { width: WIDTH, height: HEIGHT, rate: '24/1', crf: 20 },
    );
  writeFileSync(join(folder, 'plate.json'), JSON.stringify(plateMarksOf(m, made)));
  writeFileSync(join(folder, 'take.json'), JSON.stringify(takeMarksOf(m, filmed)));
  writeFileSync(
    join(folder, 'scene.json'),
    JSON.stringify({
      id: m.id,
      plate,
      take,
      plateMarks: join(folder, 'plate.json'),
      takeMarks: join(folder, 'take.json'),
      frames: [2],
    } satisfies SceneFile),
  );
}

/** Demo picks whose truth can be traced here; `poster` is a flat still and `window`'s pane is painted over. */
const PICK_TAKES: readonly (readonly [string, string])[] = [
  ['platform', 'platform-1'],
  ['railing', 'railing-1'],
  ['conductor', 'conductor-1'],
  ['punch', 'punch-1'],
  ['pan', 'pan-1'],
];

/** Makes what is missing of the scenes named (all, where none is). */
export async function makeScenes(out: string, ids: readonly string[] = []): Promise<void> {
  const demo = resolve(dirname(fileURLToPath(import.meta.url)), '..', 'demo');
  const cache = join(out, 'cache');
  mkdirSync(cache, { recursive: true });
  const o: TraceOptions = { cache, scale: 1.5, kept: new Map() };
  const wanted = (id: string): boolean => ids.length === 0 || ids.includes(id);
  for (const m of MADE)
    if (wanted(m.id)) {
      const t = Date.now();
      await makeMade(out, m, o);
      console.log(m.id, Math.round((Date.now() - t) / 1000), 's');
    }
  for (const [id, take] of PICK_TAKES)
    if (wanted(id)) {
      const t = Date.now();
      await makePick(out, demo, id, take, o);
      console.log(id, Math.round((Date.now() - t) / 1000), 's');
    }
}

/** Scenes that a folder holds. */
export function readScenes(out: string, ids: readonly string[] = []): SceneFile[] {
  return [...PICK_TAKES.map(([id]) => id), ...MADE.map((m) => m.id)]
    .filter((id) => (ids.length === 0 || ids.includes(id)) && existsSync(join(out, id, 'scene.json')))
    .map((id) => JSON.parse(readFileSync(join(out, id, 'scene.json'), 'utf8')) as SceneFile);
}

if (process.argv[1] !== undefined && resolve(process.argv[1]) === fileURLToPath(import.meta.url)) {
  const [folder, ids] = process.argv.slice(2);
  if (folder === undefined) console.log('usage: npx tsx bench/join-scenes.ts FOLDER [ids]');
  else await makeScenes(resolve(folder), ids === undefined ? [] : ids.split(','));
}
