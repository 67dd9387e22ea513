/** Where camera and performer stand on the shoot, from where the performer stands in the plate's scene. */
import { fmt, type BriefNotes } from './brief-notes.js';
import type { BriefRequest } from './brief-request.js';
import { planSetUp } from './set-up.js';
import type { Brief } from './types.js';
import { groundPointAt, viewCamera } from './view-camera.js';
import type { View } from '../plate/types.js';
import { MARK_NOISE } from '../plate/view/view-observations.js';
import { carriedView, subjectView } from '../plate/view/view-derived.js';
import type { Point } from '../plate/marks/marks.js';

/**
 * From this standard deviation on, degrees, how the camera looks down at the performer is said to be rough: what a
 * verdict lets pass as fitting unless its limits were changed. The program's own choice.
 */
const ROUGH_VIEW_DEG = 4;

/**
 * The set-up (null where the view or the performer's place is not known) and the performer's height in the plate, m.
 */
export function setUpOf(r: BriefRequest, notes: BriefNotes): { setUp: Brief['setUp']; platePerformer: number } {
  const { measures: m } = r,
    { instructions, missing } = notes;
  const stand = r.marks.marks.find((x) => x.kind === 'stand');
  const carry = r.marks.marks.find((x) => x.kind === 'carry');
  const heightInPlateM = stand?.height ?? carry?.height;
  let setUp: Brief['setUp'] = null;
  let platePerformer = heightInPlateM ?? r.performer.heightM;
  const camera = m.view === undefined ? null : viewCamera(m.view);
  if (camera === null)
    missing.push(
      'camera height, tilt and lens: mark an upright of known height and two ground lines, or more uprights',
    );
  else {
    const seat = carry?.ground !== undefined && carry.top !== undefined ? carry : stand;
    const at =
      seat?.ground === undefined || seat.top === undefined
        ? null
        : carry === undefined
          ? groundPointAt(camera, seat.ground, seat.top, 0)
          : heightInPlateM === undefined
            ? null
            : groundPointAt(camera, seat.ground, seat.top, null, heightInPlateM);
    if (at === null)
      missing.push(
        carry
          ? 'where the carried performer is in depth: give the carry mark ground, top and height'
          : 'where the performer stands: put a stand mark (ground and top)',
      );
    else {
      platePerformer = heightInPlateM ?? at.heightM;
      setUp = planSetUp({
        plateCameraHeightM: camera.heightM,
        plateDistanceM: at.distanceM,
        plateBaseHeightM: at.baseHeightM,
        platePerformerHeightM: platePerformer,
        plateFocalPx: camera.focalPx,
        performerHeightM: r.performer.heightM,
        camera: r.camera,
        roomLengthM: r.place.roomLengthM,
      });
      instructions.push(
        `Camera: lens ${fmt(setUp.cameraHeightM * 100)} cm above the floor, ` +
          `${fmt(setUp.distanceM, 2)} m from the mark, ` +
          `tilted ${fmt(Math.abs(setUp.tiltDeg), 1)}° ${setUp.tiltDeg < 0 ? 'down' : 'up'}, ` +
          `${r.camera.name} at ${fmt(setUp.focalMm, 1)} mm.`,
      );
      sayIfRough(m.view!, { ground: seat!.ground!, top: seat!.top!, carriedM: carry && heightInPlateM }, notes);
      if (setUp.raiseM > 0.005)
        instructions.push(
          `The performer stands ${fmt(setUp.raiseM * 100)} cm above the floor, for the film's camera looks from below.`,
        );
      if (setUp.tooShort !== null) instructions.push(`Room: ${setUp.tooShort.advice}.`);
      if (setUp.takePxPerPlatePx < 1)
        instructions.push(
          `Only ${fmt(setUp.takePxPerPlatePx, 2)} take pixels a plate pixel: ` +
            'use a longer lens or a finer video mode if there is one.',
        );
    }
  }
  return { setUp, platePerformer };
}

/**
 * Says where a plate's view is known too roughly for the camera's place to be more than a start: lens, tilt and height
 * that rest on usual values give numbers as round and sure as measured ones.
 */
function sayIfRough(
  view: View,
  at: { ground: Point; top: Point; carriedM: number | undefined },
  { instructions, missing }: BriefNotes,
): void {
  const sdPx = 1.5 * MARK_NOISE.pointPx(view.widthPx),
    seen =
      at.carriedM === undefined
        ? subjectView(view, at.ground, at.top, sdPx)
        : carriedView(view, at.ground, at.top, at.carriedM, sdPx),
    sd = seen?.elevationDeg.sd;
  if (sd === undefined || sd <= ROUGH_VIEW_DEG) return;
  const usual = [view.focalPx, view.tiltDeg, view.cameraHeight].some((n) => n.priorLed === true);
  instructions.push(
    `That is rough: how steeply the film's camera looks down is known only within ± ${fmt(sd)}°` +
      `${usual ? ', mostly from usual values' : ''}. Compare by eye before you roll.`,
  );
  missing.push(
    `lens, tilt and height of the film's camera more surely: ` +
      (view.tiltDeg.wouldHelp ?? 'mark a second upright of known height, or lines that run along the ground'),
  );
}
