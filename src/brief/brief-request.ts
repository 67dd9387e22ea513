/** What a brief is made from: the plate's measures and marks, and the performer, camera and place of the shoot. */
import type { MarksFile } from '../plate/marks/marks.js';
import type { PlateMeasures } from '../plate/types.js';
import type { Attention } from './cautions.js';
import type { ShootCamera, ShootPlace } from './types.js';

/** What a brief is made from. */
export interface BriefRequest {
  readonly pick: string;
  readonly title: string;
  readonly action: string;
  readonly measures: PlateMeasures;
  readonly marks: MarksFile;
  /** Its real height, metres, and how many tries it gives in a day. */
  readonly performer: { readonly name: string; readonly heightM: number; readonly triesADay: number };
  /** How long the performer is asked to attend; the program's defaults unless told. */
  readonly attention?: Attention;
  readonly camera: ShootCamera;
  readonly place: ShootPlace;
  /** First date of the sun search and how many days. */
  readonly fromDate: string;
  readonly days: number;
  /** Allowed error of the light: half-widths in degrees (the 'fits' tolerances). */
  readonly tolerance?: { readonly elevationDeg: number; readonly azimuthDeg: number };
}
