/**
 * The placed performer's colour, as the recipe has it: relit, graded, lit as the shot is on the frame, and softened to
 * the plate.
 */
import { applyCdlPicture } from '../../colour/cdl.js';
import { gaussianPlane } from '../../image/gaussian.js';
import { plane } from '../../image/picture.js';
import type { ComposeTools } from './active-steps.js';
import { layTones } from '../light/film-toning.js';
import { lightOfFrame } from '../light/light-of-frame.js';
import { relight } from '../light/relight.js';
import type { Placed } from './place-performer.js';

/** Performer's colour: relit, graded and blurred to the plate. In place where it can. */
export function dressPerformer(tools: ComposeTools, placed: Placed, frame: number): Placed {
  const { light, air, ride } = tools.active;
  const { picture } = placed;
  const { width: w, height: h } = picture;
  if (light !== null) {
    const r = light.relight;
    if (r !== undefined && r.strength > 0) {
      relight(
        [plane(picture, 0), plane(picture, 1), plane(picture, 2)],
        plane(picture, 3),
        w,
        h,
        {
          towards:
            ride?.mirror === true && ride.upright !== undefined
              ? [-r.fromCamera[0], r.fromCamera[1], r.fromCamera[2]]
              : r.fromCamera,
          fill: r.fromFill,
        },
        { towards: r.toCamera, fill: r.toFill },
        r.strength,
      );
    }
    applyCdlPicture(
      { slope: light.slope, offset: light.offset, power: light.power, saturation: light.saturation },
      picture,
      false,
      picture,
    );
    if (light.tones !== undefined) layTones(picture, light.tones);
    if (light.overShot !== undefined) lightOfFrame(picture, light.overShot, frame);
  }
  if (air !== null && air.softenPx > 0.05)
    for (let c = 0; c < 4; c++)
      gaussianPlane(plane(picture, c), w, h, air.softenPx, air.softenPx, plane(picture, c), 'zero');
  return placed;
}
