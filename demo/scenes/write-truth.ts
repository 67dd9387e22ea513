// Writes what is known of every shot and take beside the media: truth, marks, and the
// list that ties the production together.

import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';

import { sunAngles, viewFrom } from './camera.js';
import { DISSOLVE, EDIT, FADE_IN, FADE_OUT, FILM_FRAMES, FILM_RATE } from './film.js';
import { middle, needed, PICKS } from './guests.js';
import { HAND_FRAMES, HAND_RATE, HAND_SUN_AZIMUTH, HAND_SUN_ELEVATION, handCamera, handShot } from './home.js';
import { pane } from './indoor-shots.js';
import { dropsAt } from './glass.js';
import { handMarks, headOf } from './head-marks.js';
import { pickMarks, takeMarks } from './marks.js';
import { RABBIT_HEIGHT } from './rabbit.js';
import { PAN_SHUTTER_DEG, poseOf } from './shot.js';
import { PEG_HEIGHT } from './take-scene.js';
import { HANDLE_FRAMES, pegOf, TAKES } from './takes.js';
import { dot } from './vector.js';

const CONVENTIONS =
  'Pixels from the top left corner, pixel centres at +0.5; principal point in the middle of the picture; ' +
  'no lens distortion. Camera frame x right, y down, z forward; world x right, y up, z away (left-handed); ' +
  'metres. ' +
  'rotationWorldToCamera has the camera axes as rows; ' +
  'sunInCamera is the unit vector towards the sun in the camera frame. ' +
  'Sun azimuth relative to the camera heading: 0 from straight behind the camera, positive from camera right; ' +
  'elevation above the horizontal. ' +
  'headingDeg positive to the right, tiltDeg negative looks down, rollDeg positive turns the camera clockwise. ' +
  'yawDeg: 0 faces along -z, positive turns towards the left of a camera that looks along +z (a rotation about ' +
  'the upward axis). ' +
  'viewElevationDeg: elevation of the camera as seen from the middle of the performer. ' +
  'frame counts from the first frame of the shot, filmFrame from the first of the film.';

/** Numbers to five places; arrays of short things on one line. */
function text(value: unknown): string {
  const s = JSON.stringify(value, (_k, x: unknown) => (typeof x === 'number' ? Math.round(x * 1e5) / 1e5 : x), 1);
  return `${s
    .replace(/\[\s+(-?[\d.e-]+),\s+(-?[\d.e-]+)\s+\]/g, '[$1,$2]')
    .replace(/\[\s+(-?[\d.e-]+),\s+(-?[\d.e-]+),\s+(-?[\d.e-]+)\s+\]/g, '[$1,$2,$3]')
    .replace(/\n\s{4,}/g, ' ')}\n`;
}

function save(path: string, value: unknown): void {
  writeFileSync(path, text(value));
}

/** Writes demo/truth, demo/marks and demo/production.json. */
export function writeTruth(demo: string): void {
  const truth = join(demo, 'truth');
  const marks = join(demo, 'marks');
  mkdirSync(join(truth, 'takes'), { recursive: true });
  mkdirSync(join(marks, 'takes'), { recursive: true });

  save(join(truth, 'film.json'), {
    file: 'media/last-tram-to-harrow-hill.mp4',
    rate: FILM_RATE,
    frames: FILM_FRAMES,
    width: 854,
    height: 480,
    note:
      `One fade through black (the card goes down over ${FADE_OUT} frames, ` +
      `the next shot comes up over ${FADE_IN}) and one dissolve of ${DISSOLVE} frames; all else hard cuts. ` +
      'A shot is listed from the first frame in which it shows at all; over is end exclusive.',
    shots: EDIT.map((j) => ({
      shot: j.shot.id,
      in: j.in,
      out: j.out,
      entry: j.entry,
      ...(j.over ? { over: j.over } : {}),
      move: j.shot.how === 'pan' ? 'pan' : j.shot.how === 'whole' ? 'handheld' : 'static',
    })),
    cuts: {
      rate: FILM_RATE,
      frames: FILM_FRAMES,
      shots: EDIT.map((j, i) => ({
        in: j.in,
        out: EDIT[i + 1]?.in ?? j.out,
        entry: j.entry,
        ...(j.over ? { over: j.over } : {}),
      })),
    },
  });

  for (const j of EDIT) {
    const { shot } = j;
    const pick = PICKS.find((p) => p.shot === shot);
    const c0 = shot.camera(0);
    save(join(truth, `${shot.id}.json`), {
      shot: shot.id,
      what: shot.what,
      file: 'media/last-tram-to-harrow-hill.mp4',
      film: { in: j.in, out: j.out },
      width: c0.widthPx,
      height: c0.heightPx,
      rate: FILM_RATE,
      focalPx: c0.focalPx,
      principal: [c0.widthPx / 2, c0.heightPx / 2],
      shutterDeg: shot.how === 'pan' ? PAN_SHUTTER_DEG : 0,
      conventions: CONVENTIONS,
      move: shot.how === 'pan' ? 'pan' : shot.how === 'whole' ? 'handheld' : 'static',
      sunInWorld: shot.sun,
      heights: { performer: RABBIT_HEIGHT },
      ...(pick ? { pick: { id: pick.id, in: pick.in, out: pick.out, needs: pick.needs } } : {}),
      ...(shot.id === 'window' ? { drops: dropsAt(pane(), 0).length } : {}),
      frames: Array.from({ length: shot.frames }, (_, f) => {
        const c = shot.camera(f);
        const need = pick ? needed(pick, f) : undefined;
        return {
          frame: f,
          filmFrame: j.at + f,
          ...poseOf(c),
          sunInCamera: [dot(shot.sun, c.right), dot(shot.sun, c.down), dot(shot.sun, c.forward)],
          sun: sunAngles(c, shot.sun),
          ...shot.truth(f),
          ...(need ? { performer: need } : {}),
        };
      }),
    });
    if (pick) save(join(marks, `${pick.id}.json`), pickMarks(pick));
  }

  for (const t of TAKES) {
    const pick = PICKS.find((p) => p.id === t.pick);
    const need = pick
      ? (needed(pick, Math.round((pick.in + pick.out - 1) / 2)) as Record<string, number> | undefined)
      : undefined;
    const view = viewFrom(t.camera, middle([0, 0, 0]));
    save(join(truth, 'takes', `${t.id}.json`), {
      take: t.id,
      file: `media/takes/${t.id}.mp4`,
      pick: t.pick,
      what: t.what,
      use: t.use,
      fault: t.fault,
      expected: { verdict: t.verdict, matter: t.matter },
      width: t.camera.widthPx,
      height: t.camera.heightPx,
      rate: t.rate,
      frames: t.frames,
      focalPx: t.camera.focalPx,
      conventions: CONVENTIONS,
      ...poseOf(t.camera),
      sun: { azimuthDeg: t.sunAzimuthDeg, elevationDeg: t.sunElevationDeg },
      sunInWorld: t.sun,
      view,
      performerHeight: RABBIT_HEIGHT,
      against: need
        ? {
            viewElevationOffDeg: view.viewElevationDeg - (need['viewElevationDeg'] ?? 0),
            sunAzimuthOffDeg: t.sunAzimuthDeg - (need['sunAzimuthDeg'] ?? 0),
            sunElevationOffDeg: t.sunElevationDeg - (need['sunElevationDeg'] ?? 0),
            turnRateShare: t.fault === 'turning too slowly' ? 0.6 : 1,
          }
        : null,
      screen: t.screen,
      softnessSigmaPx: t.softnessPx,
      peg: { foot: pegOf(t), height: PEG_HEIGHT },
      yaw: Array.from({ length: t.frames }, (_, f) => Math.round(t.yaw(f) * 100) / 100),
      mouth: Array.from({ length: t.frames }, (_, f) => Math.round((t.pose(f).mouth ?? 0) * 100) / 100),
      heads: Array.from({ length: t.frames }, (_, f) => {
        const h = headOf(t, f);
        return [h.centre[0], h.centre[1], h.rx];
      }),
    });
    save(join(marks, 'takes', `${t.id}.json`), takeMarks(t));
  }
  save(join(truth, 'takes', 'hand-1.json'), {
    take: 'hand-1',
    file: 'media/takes/hand-1.mp4',
    pick: 'punch',
    what: handShot.what,
    use: 'double',
    fault: 'none',
    expected: { verdict: 'fits', matter: null },
    width: 854,
    height: 480,
    rate: HAND_RATE,
    frames: HAND_FRAMES,
    focalPx: handCamera.focalPx,
    ...poseOf(handCamera),
    sun: { azimuthDeg: HAND_SUN_AZIMUTH, elevationDeg: HAND_SUN_ELEVATION },
  });
  save(join(marks, 'takes', 'hand-1.json'), handMarks());

  save(join(demo, 'production.json'), {
    title: 'Clementine Takes the Last Tram',
    performer: { name: 'Clementine', kind: 'lop-eared rabbit', heightM: RABBIT_HEIGHT },
    rate: FILM_RATE,
    film: {
      id: 'film',
      file: 'media/last-tram-to-harrow-hill.mp4',
      title: 'Last Tram to Harrow Hill',
      truth: 'truth/film.json',
    },
    music: { file: 'media/harrow-hill-tune.wav', title: 'The Harrow Hill Waltz' },
    handleFrames: HANDLE_FRAMES,
    picks: PICKS.map((p) => {
      const j = EDIT.find((x) => x.shot === p.shot);
      const at = j?.at ?? 0;
      return {
        id: p.id,
        shot: p.shot.id,
        in: at + p.in,
        out: at + p.out,
        order: p.order,
        title: p.title,
        needs: p.needs,
        marks: `marks/${p.id}.json`,
        truth: `truth/${p.shot.id}.json`,
      };
    }),
    takes: [
      ...TAKES.map((t) => ({
        id: t.id,
        file: `media/takes/${t.id}.mp4`,
        pick: t.pick,
        use: t.use,
        ...(t.use === 'patch' ? { patchOnto: 'window-1', patch: 'mouth' } : {}),
        marks: `marks/takes/${t.id}.json`,
        truth: `truth/takes/${t.id}.json`,
        fault: t.fault,
        expected: { verdict: t.verdict, matter: t.matter },
        what: t.what,
      })),
      {
        id: 'hand-1',
        file: 'media/takes/hand-1.mp4',
        pick: 'punch',
        use: 'double',
        marks: 'marks/takes/hand-1.json',
        truth: 'truth/takes/hand-1.json',
        fault: 'none',
        expected: { verdict: 'fits', matter: null },
        what: handShot.what,
      },
      {
        id: 'poster',
        file: 'media/takes/poster.png',
        pick: 'poster',
        use: 'still',
        marks: null,
        truth: null,
        fault: 'none',
        expected: { verdict: 'fits', matter: null },
        what: 'a drawn poster, to be carried by the board on the tram',
      },
      {
        id: 'paper',
        file: 'media/takes/paper',
        pick: 'railing',
        use: 'still',
        marks: 'marks/takes/paper.json',
        truth: null,
        fault: 'none',
        expected: { verdict: 'fits', matter: null },
        what: 'a paper stage in three layers, moved by the camera that passes it',
      },
    ],
    joins: [
      { pick: 'poster', take: 'poster' },
      { pick: 'platform', take: 'platform-1' },
      { pick: 'pan', take: 'pan-1' },
      { pick: 'punch', take: 'punch-1' },
      { pick: 'conductor', take: 'conductor-1' },
      { pick: 'window', take: 'window-1', patch: 'window-2' },
      { pick: 'railing', take: 'railing-1' },
    ],
    cut: [
      { kind: 'film', shot: 'title', ...span('title') },
      ...[...PICKS].sort((a, b) => a.order - b.order).map((p) => ({ kind: 'join', pick: p.id })),
      { kind: 'film', shot: 'hill', ...span('hill', DISSOLVE) },
    ],
    titles: [
      { text: 'Clementine Takes the Last Tram', at: 'open' },
      { text: 'Harrow Hill. All change.', at: 'close' },
    ],
    credits: [
      'Clementine: herself',
      'The conductor, the passengers, the tram: carved and dressed for the demo',
      "The Harrow Hill Waltz: made by the demo's own code",
      'Media by the Platewright project, CC0',
    ],
    supporters: ['The Carrot Fund', 'Friends of the Number 7', 'Three anonymous hedgehogs'],
  });
}

/** Film frames of a shot that is used as it is, from `skip` frames after its start (past a gradual entry). */
function span(id: string, skip = 0): { in: number; out: number } {
  const i = EDIT.findIndex((x) => x.shot.id === id);
  const j = EDIT[i];
  const next = EDIT[i + 1];
  return { in: (j?.in ?? 0) + skip, out: next?.over ? next.over[0] : (next?.in ?? j?.out ?? 0) };
}
