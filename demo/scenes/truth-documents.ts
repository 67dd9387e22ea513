// What is known of every shot and take of the demo, and the list that ties the production together, as documents.

import { sunAngles, viewFrom } from './camera.js';
import { DISSOLVE, EDIT, FADE_IN, FADE_OUT, FILM_FRAMES, FILM_RATE } from './film.js';
import { middle, needed, PICKS } from './guests.js';
import { HAND_FRAMES, HAND_RATE, HAND_SUN_AZIMUTH, HAND_SUN_ELEVATION, handCamera, handShot } from './home.js';
import { pane } from './indoor-shots.js';
import { dropsAt } from './glass.js';
import { headOf } from './head-marks.js';
import { RABBIT_HEIGHT } from './rabbit.js';
import { PAN_SHUTTER_DEG, poseOf } from './shot.js';
import { PEG_HEIGHT } from './take-scene.js';
import { pegOf, TAKES } from './takes.js';
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

/** One shot of the edited film. */
export type Joint = (typeof EDIT)[number];
/** A pick and the shot that it is made in. */
export type Pick = (typeof PICKS)[number];
/** A home take. */
export type Take = (typeof TAKES)[number];

const moveOf = (shot: Joint['shot']): string =>
  shot.how === 'pan' ? 'pan' : shot.how === 'whole' ? 'handheld' : 'static';

/** The film: its shots, and its cuts as a shot finder should give them. */
export function filmTruth(): unknown {
  return {
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
      move: moveOf(j.shot),
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
  };
}

/** One shot; `pick`: what is put into it, where something is. */
export function shotTruth(j: Joint, pick: Pick | undefined): unknown {
  const { shot } = j;
  const c0 = shot.camera(0);
  return {
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
    move: moveOf(shot),
    sunInWorld: shot.sun,
    heights: { performer: RABBIT_HEIGHT },
    ...(pick ? { pick: { id: pick.id, in: pick.in, out: pick.out, needs: pick.needs } } : {}),
    ...(shot.id === 'window' ? { drops: dropsAt(pane(), 0).length } : {}),
    frames: Array.from({ length: shot.frames }, (_, f) => frameTruth(j, pick, f)),
  };
}

function frameTruth(j: Joint, pick: Pick | undefined, f: number): unknown {
  const { shot } = j;
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
}

/** One take: its camera, light and planted fault, and how far it is off what its pick needs. */
export function takeTruth(t: Take): unknown {
  const pick = PICKS.find((p) => p.id === t.pick);
  const need = pick
    ? (needed(pick, Math.round((pick.in + pick.out - 1) / 2)) as Record<string, number> | undefined)
    : undefined;
  const view = viewFrom(t.camera, middle([0, 0, 0]));
  return {
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
  };
}

/** The take of the maker's own hand. */
export function handTruth(): unknown {
  return {
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
  };
}
