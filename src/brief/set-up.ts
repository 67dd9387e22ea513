/**
 * Where to put the camera so that the performer is seen as the plate's camera would see it. Perspective depends on
 * position alone: a performer k times the height it has in the plate's scene is shot from k times the distance at k
 * times the height; the lens then only frames (same angle of view, same picture; a longer lens, more pixels). Scaling
 * rule: similar triangles (test/published/optics.json, "scaled match").
 */
import { DEG_PER_RAD } from '../core/angles.js';
import { angleOfViewDeg, focalInPixels, viewElevationDeg } from './optics.js';
import type { ScreenNeed, SetUp, ShootCamera } from './types.js';

/** What a set-up is reckoned from. */
export interface SetUpRequest {
  /**
   * In the plate's scene: camera height above the ground the performer's base is on,
   * along-ground distance, base height above that ground.
   */
  readonly plateCameraHeightM: number;
  readonly plateDistanceM: number;
  readonly plateBaseHeightM: number;
  readonly platePerformerHeightM: number;
  readonly plateFocalPx: number;
  readonly performerHeightM: number;
  readonly camera: ShootCamera;
  readonly roomLengthM: number;
  /** Space to leave behind the performer for screen and gap, and behind the camera for a person. */
  readonly behindM?: number;
  readonly cameraManM?: number;
}

/**
 * Largest share of the frame's height that the performer may fill, so that ears and moves stay inside. Common practice,
 * no source.
 */
const FILL_SHARE = 0.62;

/**
 * Distance, height and lens for a performer of another size; lengths in metres. Where the room is too short it stays on
 * the line of sight, and says what is lost.
 */
export function planSetUp(r: SetUpRequest): SetUp {
  const k = r.performerHeightM / r.platePerformerHeightM;
  const behind = r.behindM ?? 1.2;
  const man = r.cameraManM ?? 0.5;
  const relative = (r.plateCameraHeightM - r.plateBaseHeightM) * k;
  let distanceM = r.plateDistanceM * k;
  const middle = r.performerHeightM / 2;
  const wantedElevation = viewElevationDeg(relative, middle, distanceM);
  const haveM = r.roomLengthM - behind - man;
  let tooShort: SetUp['tooShort'] = null;
  let height = relative;
  if (distanceM > haveM && haveM > 0.3) {
    // Nearer on the same sight line: the view's elevation stays, near and far parts of the body differ more in size.
    const near = haveM;
    const depth = r.performerHeightM * 0.7;
    const error = (near + depth / 2) / (near - depth / 2) / ((distanceM + depth / 2) / (distanceM - depth / 2)) - 1;
    tooShort = {
      neededM: distanceM + behind + man,
      haveM: r.roomLengthM,
      perspectiveErrorPercent: error * 100,
      advice:
        `the room gives ${haveM.toFixed(2)} m of the ${distanceM.toFixed(2)} m wanted: ` +
        `stand on the same sight line at ${near.toFixed(2)} m; ` +
        `the near side of the body then looks ${(error * 100).toFixed(0)} % larger against the far side than in ` +
        'the film. Through an open door, or in the garden, the full distance costs nothing',
    };
    height = middle + (relative - middle) * (near / distanceM);
    distanceM = near;
  }
  // A camera below the floor can't be had: then the performer stands higher.
  const lowest = 0.12;
  const raiseM = height < lowest ? lowest - height : 0;
  const cameraHeightM = height + raiseM;
  const tiltDeg = -Math.atan2(height - middle, distanceM) * DEG_PER_RAD;
  const slant = Math.hypot(distanceM, height - middle);
  const shareAt = (focalMm: number): number =>
    (focalInPixels(focalMm, r.camera.sensorWidthMm, r.camera.videoWidthPx) *
      r.performerHeightM *
      Math.cos(tiltDeg / DEG_PER_RAD)) /
    slant /
    r.camera.videoHeightPx;
  let focalMm = 0;
  for (const [lo, hi] of r.camera.lensesMm) {
    const wanted = FILL_SHARE / shareAt(1);
    const f = Math.min(hi, Math.max(lo, wanted));
    if (shareAt(f) <= FILL_SHARE * 1.02 ? f > focalMm : focalMm === 0) focalMm = f;
  }
  const focalPx = focalInPixels(focalMm, r.camera.sensorWidthMm, r.camera.videoWidthPx);
  const plateSlant = Math.hypot(
    r.plateDistanceM,
    r.plateCameraHeightM - r.plateBaseHeightM - r.platePerformerHeightM / 2,
  );
  const platePx = (r.plateFocalPx * r.platePerformerHeightM) / plateSlant;
  return {
    distanceM,
    cameraHeightM,
    tiltDeg,
    focalMm,
    focalPx,
    horizontalFovDeg: angleOfViewDeg(r.camera.sensorWidthMm, focalMm),
    viewElevationDeg: wantedElevation,
    raiseM,
    takePxPerPlatePx: (focalPx * r.performerHeightM) / slant / platePx,
    performerHeightShare: shareAt(focalMm),
    tooShort,
  };
}

/**
 * Screen that covers the performer with room to move, seen from the planned camera. Gap and margins: common practice,
 * no source.
 */
export function planScreen(
  setUp: SetUp,
  performerHeightM: number,
  platePaletteIsGreen: boolean,
  carried: boolean,
): ScreenNeed {
  const behindM = Math.max(0.8, performerHeightM * 1.5);
  const grow = (setUp.distanceM + behindM) / setUp.distanceM;
  const span = carried ? 2.2 : 2.6;
  const widthM = performerHeightM * span * grow;
  // The sight line over the performer's head meets the screen this high.
  const top =
    setUp.cameraHeightM - setUp.raiseM + (performerHeightM * 1.3 - (setUp.cameraHeightM - setUp.raiseM)) * grow;
  return {
    widthM: Math.ceil(widthM * 10) / 10,
    heightM: Math.ceil(Math.max(top, performerHeightM * 1.2) * 10) / 10,
    behindM: Math.ceil(behindM * 10) / 10,
    floorM: Math.ceil((behindM + performerHeightM * 1.5) * 10) / 10,
    colour: platePaletteIsGreen ? 'blue' : 'green',
    why: platePaletteIsGreen
      ? 'the performer or its costume holds green: use a blue screen'
      : 'green: phones record it with least noise',
  };
}
